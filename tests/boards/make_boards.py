#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Writes the netlists and the layout of the invented boards that tests and the demo use.

  make_boards.py TOP        writes TOP/docs/demo/tide.{net,d356}, TOP/tests/boards/log8.net and quay16.csv
  make_boards.py --check TOP   writes nothing; says which committed file differs, exit status 1

The fourth board, buoy8, has its nets typed into its board file and no netlist.  Nothing here is a
real machine.  Pin numbers are those of the makers' data sheets as docs/parts.md lists them; the
behavioural models in tests/verilog/parts.v number the pins a second time, by hand, so that a slip in
either shows as a board that does not work.
"""
import math
import os
import sys

# Pin functions in pin order, '#' = active low.
DIP = {
    '68000': 'D4 D3 D2 D1 D0 AS# UDS# LDS# R/W# DTACK# BG# BGACK# BR# VCC CLK GND HALT# RESET# VMA# E VPA# BERR# '
             'IPL2# IPL1# IPL0# FC2 FC1 FC0 A1 A2 A3 A4 A5 A6 A7 A8 A9 A10 A11 A12 A13 A14 A15 A16 A17 A18 A19 A20 '
             'VCC A21 A22 A23 GND D15 D14 D13 D12 D11 D10 D9 D8 D7 D6 D5',
    'Z80': 'A11 A12 A13 A14 A15 CLK D4 D3 D5 D6 VCC D2 D7 D0 D1 INT# NMI# HALT# MREQ# IORQ# RD# WR# BUSAK# WAIT# '
           'BUSRQ# RESET# M1# RFSH# GND A0 A1 A2 A3 A4 A5 A6 A7 A8 A9 A10',
    '27256': 'VPP A12 A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND D3 D4 D5 D6 D7 CE# A10 OE# A11 A9 A8 A13 A14 VCC',
    '62256': 'A14 A12 A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND D3 D4 D5 D6 D7 CS# A10 OE# A11 A9 A8 A13 WE# VCC',
    '27C1024': 'VPP CE# D15 D14 D13 D12 D11 D10 D9 D8 VSS D7 D6 D5 D4 D3 D2 D1 D0 OE# A0 A1 A2 A3 A4 A5 A6 A7 A8 '
               'VSS A9 A10 A11 A12 A13 A14 A15 NC PGM# VCC',
    '41256': 'A8 D W# RAS# A0 A2 A1 VCC A7 A5 A4 A3 A6 Q CAS# VSS',
    '74245': 'DIR A1 A2 A3 A4 A5 A6 A7 A8 GND B8 B7 B6 B5 B4 B3 B2 B1 OE# VCC',
    '74244': '1G# 1A1 2Y4 1A2 2Y3 1A3 2Y2 1A4 2Y1 GND 2A1 1Y4 2A2 1Y3 2A3 1Y2 2A4 1Y1 2G# VCC',
    '74541': 'G1# A1 A2 A3 A4 A5 A6 A7 A8 GND Y8 Y7 Y6 Y5 Y4 Y3 Y2 Y1 G2# VCC',
    '74138': 'A B C G2A# G2B# G1 Y7# GND Y6# Y5# Y4# Y3# Y2# Y1# Y0# VCC',
    '74139': '1G# 1A 1B 1Y0# 1Y1# 1Y2# 1Y3# GND 2Y3# 2Y2# 2Y1# 2Y0# 2B 2A 2G# VCC',
    '7432': '1A 1B 1Y 2A 2B 2Y GND 3Y 3B 3A 4Y 4B 4A VCC',
    '7404': '1A 1Y 2A 2Y 3A 3Y GND 4Y 4A 5Y 5A 6Y 6A VCC',
    # invented: the tide recorder's gate array and its clock
    'TR-GA1': 'CLK GND A1 A2 A3 A4 A5 A6 A7 A8 A9 A10 A11 A12 A13 A14 VCC MA0 MA1 MA2 MA3 MA4 MA5 MA6 MA7 MA8 '
              'RAS# CASU# CASL# WE# GND AS# UDS# LDS# R/W# DTACK# A15 A16 A17 A18 A19 CKD CKS VCC NC NC NC NC',
    'TR-CK1': 'X1 X2 VBAT GND CKD CKS INT# VCC',
    'R_Pack08': 'R1.1 R2.1 R3.1 R4.1 R5.1 R6.1 R7.1 R8.1 R8.2 R7.2 R6.2 R5.2 R4.2 R3.2 R2.2 R1.2',
    'R_Network08': 'common R1 R2 R3 R4 R5 R6 R7 R8',
    'Battery': '+ -', 'R': '~ ~', 'C': '~ ~', 'D': 'K A', 'Crystal': '1 2',
    'Conn_02x32': ' '.join('Pin_%d' % n for n in range(1, 65)),
}
LIBS = {'68000': 'CPU_NXP_68000', 'Z80': 'CPU', '27256': 'Memory_EPROM', '27C1024': 'Memory_EPROM',
        '62256': 'Memory_RAM', '41256': 'Memory_RAM', 'TR-GA1': 'harbour', 'TR-CK1': 'harbour',
        'Conn_02x32': 'Connector_Generic'}


def lines(prefix, first, last, to=None, shift=0):
    """{'A1': 'A1', ...}: pin functions first..last of prefix on nets to<n + shift>."""
    return {prefix + str(n): (prefix if to is None else to) + str(n + shift) for n in range(first, last + 1)}


class Board:
    def __init__(self, title, slash=''):
        self.title, self.slash = title, slash
        self.parts = {}       # ref -> (type, value)
        self.net_of = {}      # (ref, pin number) -> net
        self.places = {}      # ref -> (x mm, y mm of pin 1)

    def add(self, ref, kind, value, nets, at=None):
        functions = DIP[kind].split()
        self.parts[ref] = (kind, value)
        used = set()
        for number, function in enumerate(functions, 1):
            key = str(number) if function in ('~', 'NC') or kind in ('Crystal',) else function
            net = nets.get(key)
            if net is None and function in ('VCC', 'VPP', 'PGM#'):
                net = '+5V'
            if net is None and function in ('GND', 'VSS'):
                net = 'GND'
            used.add(key)
            if net is not None:
                power = net in ('+5V', 'GND')
                self.net_of[ref, number] = net if power else self.slash + net
        wrong = set(nets) - used
        if wrong:
            raise SystemExit('%s: no such pins: %s' % (ref, sorted(wrong)))
        if at:
            self.places[ref] = at

    def nets(self):
        out = {}
        for (ref, number), net in self.net_of.items():
            out.setdefault(net, []).append((ref, number))
        for pins in out.values():
            pins.sort(key=lambda p: (ref_key(p[0]), p[1]))
        return dict(sorted(out.items()))

    def function(self, ref, number):
        return DIP[self.parts[ref][0]].split()[number - 1]


def ref_key(ref):
    head = ref.rstrip('0123456789')
    return head, int(ref[len(head):])


def kicad_name(function):
    """R/W# -> R/~{W}, AS# -> ~{AS}: the bar notation of the netlist format's writer."""
    if function == 'R/W#':
        return 'R/~{W}'
    return '~{%s}' % function[:-1] if function.endswith('#') else function


def pin_type(kind, function):
    if function in ('VCC', 'GND', 'VSS', 'VPP', 'VBAT'):
        return 'power_in'
    if kind in ('R', 'C', 'D', 'Crystal', 'Battery') or kind.startswith(('R_', 'Conn')):
        return 'passive'
    f = function.rstrip('#')
    if kind in ('68000', 'Z80'):
        if f[0] == 'D' and f[1:].isdigit():
            return 'bidirectional'
        return 'output' if (f[0] == 'A' and f[1:].isdigit()) or f in (
            'AS', 'UDS', 'LDS', 'R/W', 'MREQ', 'RD', 'WR', 'IORQ', 'RFSH', 'M1') else 'input'
    if (f[0] == 'D' and f[1:].isdigit()) or f == 'Q':
        return 'tri_state'
    if 'Y' in f or (kind == 'TR-GA1' and f in ('RAS', 'CASU', 'CASL', 'WE', 'DTACK') or f.startswith('MA')):
        return 'output'
    return 'bidirectional' if kind == '74245' and f[0] in 'AB' else 'input'


def kicad(board, source):
    out = ['(export (version "E")', '  (design', '    (source "%s")' % source,
           '    (date "1991-03-04 09:30:00")', '    (tool "make_boards.py")',
           '    (sheet (number "1") (name "/") (tstamps "/")', '      (title_block', '        (title "%s")' % board.title,
           '        (company)', '        (rev)', '        (date)', '        (source "%s"))))' % source, '  (components']
    refs = sorted(board.parts, key=ref_key)
    for n, ref in enumerate(refs):
        kind, value = board.parts[ref]
        lib = LIBS.get(kind, '74xx' if kind.startswith('74') else 'Device')
        out += ['    (comp (ref "%s")' % ref, '      (value "%s")' % value,
                '      (libsource (lib "%s") (part "%s") (description ""))' % (lib, kind),
                '      (property (name "Sheetname") (value ""))', '      (property (name "Sheetfile") (value "%s"))' % source,
                '      (sheetpath (names "/") (tstamps "/"))',
                '      (tstamps "%08x-0000-4000-8000-%012x"))' % (n + 1, n + 1)]
    out += ['  )', '  (libparts']
    for kind in sorted({k for k, _ in board.parts.values()}):
        lib = LIBS.get(kind, '74xx' if kind.startswith('74') else 'Device')
        out += ['    (libpart (lib "%s") (part "%s")' % (lib, kind), '      (pins']
        out += ['        (pin (num "%d") (name "%s") (type "%s"))' % (i, kicad_name(f), pin_type(kind, f))
                for i, f in enumerate(DIP[kind].split(), 1)]
        out[-1] += '))'
    out += ['  )', '  (libraries)', '  (nets']
    nets = dict(board.nets())
    for ref in refs:                         # a pin on no net is a net of its own in this format
        for number in range(1, len(DIP[board.parts[ref][0]].split()) + 1):
            if (ref, number) not in board.net_of:
                nets['unconnected-(%s-%s-Pad%d)' % (ref, kicad_name(board.function(ref, number)), number)] = [(ref, number)]
    for code, (name, pins) in enumerate(sorted(nets.items()), 1):
        out.append('    (net (code "%d") (name "%s")' % (code, name))
        for ref, number in pins:
            function = board.function(ref, number)
            kind = pin_type(board.parts[ref][0], function) + ('+no_connect' if name.startswith('unconnected-') else '')
            named = '' if function == '~' else ' (pinfunction "%s")' % kicad_name(function)
            out.append('      (node (ref "%s") (pin "%d")%s (pintype "%s"))' % (ref, number, named, kind))
        out[-1] += ')'
    out[-1] += '))'
    return '\n'.join(out) + '\n'


def csv(board):
    out = ['net,ref,pin']
    for name, pins in board.nets().items():
        out += ['%s,%s,%d' % (name, ref, number) for ref, number in pins]
    return '\n'.join(out) + '\n'


def pad_at(board, ref, number):
    """Pin position in mm; pin 1 top left, numbers run down and come back up; y grows upwards."""
    x, y = board.places[ref]
    kind = board.parts[ref][0]
    count = len(DIP[kind].split())
    if kind == 'R_Network08':
        return x + 2.54 * (number - 1), y
    if kind.startswith('Conn'):
        return x + 2.54 * ((number - 1) // 2), y - 2.54 * ((number - 1) % 2)
    if count == 2:
        return x + (number - 1) * {'Battery': 15.24, 'Crystal': 5.08}.get(kind, 10.16), y
    width = {64: 22.86, 48: 15.24, 40: 15.24, 28: 15.24}.get(count, 7.62)
    half = count // 2
    return (x, y - 2.54 * (number - 1)) if number <= half else (x + width, y - 2.54 * (count - number))


def ipc356(board):
    out = ['C  Layout of an invented board: %s' % board.title, 'P  JOB   %s' % board.title, 'P  UNITS CUST 0', 'P  DIM   N']
    inch = lambda mm: int(round(mm / 25.4 * 10000))
    taken, rows, tracks = [], [], []
    for name, pins in board.nets().items():
        for ref, number in pins:
            x, y = pad_at(board, ref, number)
            taken.append((x, y))
            rows.append((name, ref, '-' + str(number), ' ', 350, x, y, 600))
    for ref in board.parts:                  # pins on no net have pads too
        for number in range(1, len(DIP[board.parts[ref][0]].split()) + 1):
            if (ref, number) not in board.net_of:
                x, y = pad_at(board, ref, number)
                taken.append((x, y))
                rows.append(('N/C', ref, '-' + str(number), ' ', 350, x, y, 600))
    for name, pins in board.nets().items():  # one or two vias a signal net, where no pad is
        if name in ('+5V', 'GND') or len(pins) < 2:
            continue
        spots = [pad_at(board, *p) for p in pins]
        for turns, (a, b) in enumerate(zip(spots, spots[1:])):
            if turns > 1:                    # pin to pin on the solder side
                tracks.append((name, 2, a, b))
                continue
            mid_x, mid_y = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
            x, y, turn = mid_x, mid_y, 0
            while any(math.hypot(x - px, y - py) < 1.2 for px, py in taken):
                turn += 1                    # outwards in a spiral
                x, y = mid_x + 0.3 * turn * math.cos(turn), mid_y + 0.3 * turn * math.sin(turn)
            taken.append((x, y))
            rows.append((name, 'VIA', '', 'M', 160, x, y, 280))
            tracks += [(name, 1, a, (x, y)), (name, 2, (x, y), b)]
    for name, ref, pin, middle, hole, x, y, width in sorted(rows, key=lambda r: r[0]):
        out.append('317%-14s   %-6s%-5s%sD%04dPA00X%+07dY%+07dX%04dY0000R000 S0' % (
            name.upper(), ref, pin, middle, hole, inch(x), inch(y), width))
    for name, layer, a, b in sorted(tracks):
        out.append('378%-14s L%02d X0100 X%+07dY%+07dX%+07dY%+07d' % (
            name.upper(), layer, inch(a[0]), inch(a[1]), inch(b[0]), inch(b[1])))
    xs, ys = [inch(x) for x, y in taken], [inch(y) for x, y in taken]
    left, right, low, high = min(xs) - 2000, max(xs) + 2000, min(ys) - 2000, max(ys) + 2000
    corners = [(left, low), (right, low), (right, high), (left, high), (left, low)]
    for a, b in zip(corners, corners[1:]):
        out.append('389BOARD_EDGE      X%+07dY%+07dX%+07dY%+07d' % (a + b))
    return '\n'.join(out) + '\n999\n'


def tide():
    """16 bits: buffered ROM and SRAM, 512 KiB of dynamic RAM behind a gate array."""
    b = Board('Harbour tide recorder, main board')
    cpu = {**lines('A', 1, 23), **lines('D', 0, 15)}
    cpu['R/W#'] = 'RW'
    cpu.update({f: f for f in ('AS#', 'UDS#', 'LDS#', 'DTACK#', 'CLK', 'RESET#', 'HALT#', 'BERR#', 'VPA#',
                               'IPL0#', 'IPL1#', 'IPL2#', 'BR#', 'BGACK#')})
    b.add('U1', '68000', 'MC68000P8', cpu, (20, 205))
    for ref, lane, at in (('U2', 8, (60, 205)), ('U3', 0, (85, 205))):
        b.add(ref, '27256', '27256-25', {**lines('A', 0, 14, 'BA', 1), **lines('D', 0, 7, 'MD', lane),
                                         'CE#': 'ROMCS#', 'OE#': 'MRD#'}, at)
    for ref, lane, we, at in (('U4', 8, 'WEU#', (110, 205)), ('U5', 0, 'WEL#', (135, 205))):
        b.add(ref, '62256', 'HM62256LP-10', {**lines('A', 0, 14, 'BA', 1), **lines('D', 0, 7, 'MD', lane),
                                             'CS#': 'RAMCS#', 'OE#': 'MRD#', 'WE#': we, 'VCC': 'VRAM'}, at)
    b.add('U6', 'TR-CK1', 'TR-CK1', {'X1': 'X1', 'X2': 'X2', 'VBAT': 'VBAT', 'CKD': 'CKD', 'CKS': 'CKS'}, (112, 70))
    b.add('U7', '7404', 'SN74LS04N', {'1A': 'RW', '1Y': 'WRITE', '2A': 'GND', '3A': 'GND', '4A': 'GND', '5A': 'GND',
                                      '6A': 'GND'}, (60, 110))
    ga = {**lines('A', 1, 19), **lines('MA', 0, 8, 'DRA'), 'CLK': 'CLK', 'RAS#': 'DRAS#', 'CASU#': 'DCASU#',
          'CASL#': 'DCASL#', 'WE#': 'DWE#', 'CKD': 'CKD', 'CKS': 'CKS'}
    ga.update({**{f: f for f in ('AS#', 'UDS#', 'LDS#', 'DTACK#')}, 'R/W#': 'RW'})
    b.add('U8', 'TR-GA1', 'TR-GA1', ga, (150, 135))
    for ref, lane, strobe, at in (('U10', 8, 'UDS#', (60, 150)), ('U11', 0, 'LDS#', (75, 150))):
        b.add(ref, '74245', 'SN74LS245N', {**lines('A', 1, 8, 'MD', lane - 1), **lines('B', 1, 8, 'D', lane - 1),
                                           'DIR': 'RW', 'OE#': strobe}, at)
    b.add('U12', '74541', 'SN74LS541N', {**lines('A', 1, 8), **lines('Y', 1, 8, 'BA'), 'G1#': 'GND', 'G2#': 'GND'},
          (90, 150))
    b.add('U13', '74244', 'SN74LS244N', {**lines('1A', 1, 4, 'A', 8), **lines('1Y', 1, 4, 'BA', 8),
                                         **lines('2A', 1, 3, 'A', 12), **lines('2Y', 1, 3, 'BA', 12), '2A4': 'GND',
                                         '1G#': 'GND', '2G#': 'GND'}, (105, 150))
    b.add('U14', '74138', 'SN74LS138N', {'A': 'A16', 'B': 'A17', 'C': 'A18', 'G1': '+5V', 'G2A#': 'A19', 'G2B#': 'AS#',
                                         'Y0#': 'ROMCS#', 'Y1#': 'RAMCS#'}, (75, 110))
    b.add('U15', '7432', 'SN74LS32N', {'1A': 'RW', '1B': 'UDS#', '1Y': 'WEU#', '2A': 'RW', '2B': 'LDS#', '2Y': 'WEL#',
                                       '3A': 'WRITE', '3B': 'AS#', '3Y': 'MRD#', '4A': 'GND', '4B': 'GND'}, (90, 110))
    for bit in range(16):
        b.add('U%d' % (16 + bit), '41256', '41256-15',
              {**lines('A', 0, 8, 'DRA'), 'D': 'RD%d' % bit, 'Q': 'RD%d' % bit, 'W#': 'DWE#', 'RAS#': 'DRAS#',
               'CAS#': 'DCASU#' if bit > 7 else 'DCASL#'}, (175 + 15 * (bit % 8), 75 if bit < 8 else 45))
    for ref, first, at in (('RN1', 0, (205, 105)), ('RN2', 8, (225, 105))):
        b.add(ref, 'R_Pack08', '8x33', {**{'R%d.1' % (n + 1): 'MD%d' % (first + n) for n in range(8)},
                                        **{'R%d.2' % (n + 1): 'RD%d' % (first + n) for n in range(8)}}, at)
    b.add('RN3', 'R_Network08', '8x4k7', {'common': '+5V', 'R1': 'IPL0#', 'R2': 'IPL1#', 'R3': 'IPL2#', 'R4': 'BERR#',
                                          'R5': 'VPA#', 'R6': 'BR#', 'R7': 'BGACK#', 'R8': 'DTACK#'}, (20, 118))
    b.add('R1', 'R', '1k', {'1': '+5V', '2': 'VBAT'}, (130, 45))
    b.add('R2', 'R', '4k7', {'1': '+5V', '2': 'RESET#'}, (20, 110))
    b.add('R3', 'R', '4k7', {'1': '+5V', '2': 'HALT#'}, (20, 105))
    b.add('D1', 'D', '1N5817', {'K': 'VRAM', 'A': 'VBAT'}, (130, 40))
    b.add('D2', 'D', '1N5817', {'K': 'VRAM', 'A': '+5V'}, (130, 35))
    b.add('Y1', 'Crystal', '32768Hz', {'1': 'X1', '2': 'X2'}, (112, 52))
    b.add('BT1', 'Battery', '3.6V NiCd', {'+': 'VBAT', '-': 'GND'}, (138, 68))
    edge = ['+5V', 'GND'] + ['A%d' % n for n in range(1, 24)] + ['D%d' % n for n in range(16)]
    edge += ['AS#', 'UDS#', 'LDS#', 'RW', 'DTACK#', 'CLK', 'RESET#', 'HALT#', 'BERR#', 'VPA#', 'IPL0#', 'IPL1#', 'IPL2#']
    b.add('J1', 'Conn_02x32', 'EXPANSION', {'Pin_%d' % (n + 1): net for n, net in enumerate(edge)}, (20, 20))
    return b


def log8():
    """8 bits: one ROM and one SRAM, everything buffered.  Net names carry the sheet's slash."""
    b = Board('Harbour level logger', '/')
    cpu = {**lines('A', 0, 15), **lines('D', 0, 7)}
    cpu.update({f: f for f in ('MREQ#', 'RD#', 'WR#', 'RFSH#', 'CLK', 'RESET#')})
    cpu.update({f: '+5V' for f in ('INT#', 'NMI#', 'WAIT#', 'BUSRQ#')})
    b.add('U1', 'Z80', 'Z80A CPU', cpu)
    memory = {**lines('A', 0, 14, 'BA'), **lines('D', 0, 7, 'MD')}
    b.add('U2', '27256', '27C256-20', {**memory, 'CE#': 'ROMCS#', 'OE#': 'MRD#'})
    b.add('U3', '62256', 'HY62256ALP-70', {**memory, 'CS#': 'RAMCS#', 'OE#': 'MRD#', 'WE#': 'MWR#'})
    b.add('U4', '74244', '74HCT244N', {**lines('1A', 1, 4, 'A', -1), **lines('1Y', 1, 4, 'BA', -1), **lines('2A', 1, 4, 'A', 3),
                                       **lines('2Y', 1, 4, 'BA', 3), '1G#': 'GND', '2G#': 'GND'})
    b.add('U5', '74244', '74HCT244N', {**lines('1A', 1, 4, 'A', 7), **lines('1Y', 1, 4, 'BA', 7), **lines('2A', 1, 3, 'A', 11),
                                       **lines('2Y', 1, 3, 'BA', 11), '2A4': 'GND', '1G#': 'GND', '2G#': 'GND'})
    b.add('U6', '74245', '74HCT245N', {**lines('A', 1, 8, 'D', -1), **lines('B', 1, 8, 'MD', -1), 'DIR': 'RD#', 'OE#': 'MREQ#'})
    b.add('U7', '74138', '74LS138', {'A': 'A15', 'B': 'GND', 'C': 'GND', 'G1': 'RFSH#', 'G2A#': 'MREQ#', 'G2B#': 'GND',
                                     'Y0#': 'ROMCS#', 'Y1#': 'RAMCS#'})
    b.add('U8', '7432', '74LS32', {'1A': 'MREQ#', '1B': 'RD#', '1Y': 'MRD#', '2A': 'MREQ#', '2B': 'WR#', '2Y': 'MWR#',
                                   '3A': 'GND', '3B': 'GND', '4A': 'GND', '4B': 'GND'})
    return b


def quay16():
    """16 bits without any buffer; the SRAMs' pins are permuted as the tracks fell best."""
    b = Board('Quay crane load recorder')
    cpu = {**lines('A', 1, 23), **lines('D', 0, 15)}
    cpu['R/W#'] = 'RW'
    cpu.update({f: f for f in ('AS#', 'UDS#', 'LDS#', 'CLK', 'RESET#', 'HALT#')})
    cpu.update({f: '+5V' for f in ('BERR#', 'VPA#', 'IPL0#', 'IPL1#', 'IPL2#', 'BR#', 'BGACK#')})
    cpu['DTACK#'] = 'GND'
    b.add('U1', '68000', 'MC68000P10', cpu)
    b.add('U2', '27C1024', '27C1024-12', {**lines('A', 0, 15, 'A', 1), **lines('D', 0, 15), 'CE#': 'ROMCS#', 'OE#': 'RD#'})
    even_a = [3, 7, 1, 12, 9, 15, 2, 6, 14, 4, 11, 8, 13, 5, 10]     # chip's A0..A14 <- bus A<n>
    odd_a = [8, 1, 13, 6, 2, 11, 15, 9, 4, 12, 3, 14, 7, 10, 5]
    even_d = [10, 8, 15, 13, 9, 12, 11, 14]                          # chip's D0..D7 <- bus D<n>
    odd_d = [2, 7, 0, 5, 6, 1, 4, 3]
    for ref, a, d, we in (('U3', even_a, even_d, 'WEU#'), ('U4', odd_a, odd_d, 'WEL#')):
        b.add(ref, '62256', 'KM62256BLP-10', {**{'A%d' % n: 'A%d' % a[n] for n in range(15)},
                                              **{'D%d' % n: 'D%d' % d[n] for n in range(8)},
                                              'CS#': 'RAMCS#', 'OE#': 'RD#', 'WE#': we})
    b.add('U5', '74139', '74LS139', {'1G#': 'AS#', '1A': 'A17', '1B': 'A18', '1Y0#': 'ROMCS#', '1Y1#': 'RAMCS#',
                                     '2G#': 'RW', '2A': 'UDS#', '2B': 'GND', '2Y0#': 'WEU#'})
    b.add('U6', '74139', '74LS139', {'1G#': 'RW', '1A': 'LDS#', '1B': 'GND', '1Y0#': 'WEL#',
                                     '2G#': 'AS#', '2A': 'RW', '2B': 'GND', '2Y1#': 'RD#'})
    return b


def main(args):
    check = args[:1] == ['--check']
    if len(args) != 1 + check:
        raise SystemExit(__doc__)
    top = args[-1]
    t = tide()
    files = {'docs/demo/tide.net': kicad(t, 'tide.kicad_sch'), 'docs/demo/tide.d356': ipc356(t),
             'tests/boards/log8.net': kicad(log8(), 'log8.kicad_sch'), 'tests/boards/quay16.csv': csv(quay16())}
    differ = 0
    for name, text in files.items():
        path = os.path.join(top, name)
        if check:
            with open(path, encoding='ascii') as f:
                if f.read() != text:
                    print('%s: differs from what make_boards.py writes' % name)
                    differ = 1
        else:
            with open(path, 'w', encoding='ascii', newline='\n') as f:
                f.write(text)
    return differ


sys.exit(main(sys.argv[1:]))
