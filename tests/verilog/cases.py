#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Faults put into Verilog models of the test boards, and what `lineup decode` makes of the dumps.

  cases.py check                 the models against hand-made expectations (no lineup needed)
  cases.py make OUT [COUNT]      cases as OUT/cases.jsonl, with dumps and contents beside it (all, or about COUNT)
  cases.py judge OUT             runs $LU_PROGRAM decode on each case, prints a table; exit status 1 if too many are not found
  cases.py demo OUT              the demo's dumps, found-*.bin: the tide recorder with two contacts gone (minutes)

A case is right when its true net is among the first k suspects, k = the number of nets of which a
fault gives the very same dump.  k is not taken from the program: each suspect that stands before the
truth must earn its place by an explanation that, put into the Verilog model, gives that dump bit by bit.
Of a case with several faults, each fault that changes the dump (with and without it, the others staying)
must be found.

Choices made here:
- A dump holds some of the block's addresses, as Intel HEX.  Of a RAM: those with at most 3 address bits at
  0.  After an ascending fill the last of the addresses that fall together under an address fault is one with
  no more bits at 0 than the others, so it is in the set too, and the dump is bit by bit what a complete fill
  would have left there: `--wrote` gets the complete contents.  Of a ROM: addresses with few ones, and random
  ones with their neighbours at one bit's distance.
- An unsteady contact is open in some of the reads, at random, and closed while RAM is filled; on address lines of RAM
  what floats reads high, for at a low one addresses would be read that nothing was written to here.  A suspect before
  the truth earns its place if each word of each pass is right or what its own contact, open, would give.
- RAMs power up with arbitrary, fixed contents.  Cases whose dump shows nothing, or has an undefined bit (a row
  address never latched, say), are drawn again.
- Data lines are not bridged to address lines: the result hangs on analogue things that no model here has.
- Fixed seed; all draws come from one random.Random a block.
"""
import concurrent.futures
import itertools
import json
import os
import random
import re
import subprocess
import sys
import tempfile

import board2v

HERE = os.path.dirname(os.path.abspath(__file__))
TOP = os.path.dirname(os.path.dirname(HERE))
WORKERS = 2

# Lanes: ROM chip -> (first byte, step, bytes a cell); groups: nets by what they do for the block.
BLOCKS = [
    {'board': 'docs/demo/tide.yaml', 'block': 'boot ROM', 'width': 2, 'lanes': {'U2': (0, 2, 1), 'U3': (1, 2, 1)},
     'groups': ['A([1-9]|1[0-5])', 'BA.*', 'D[0-9]+', 'MD.*', 'ROMCS#|MRD#|WRITE|[UL]DS#|A1[6-9]'],
     'swap_at': {'BA.*': 'U2 U3', 'MD.*': 'U2 U3 U10 U11', 'A([1-9]|1[0-5])': 'U12 U13'}, 'dead': 'U2 U3 U10 U12 U14'},
    {'board': 'docs/demo/tide.yaml', 'block': 'work RAM', 'width': 2,
     'groups': ['A([1-9]|1[0-5])', 'BA.*', 'D[0-9]+', 'MD.*', 'RAMCS#|MRD#|WE[UL]#|[UL]DS#|A1[6-9]'], 'dead': 'U4 U5 U11 U13'},
    {'board': 'docs/demo/tide.yaml', 'block': 'record RAM', 'width': 2,
     'groups': ['A([1-9]|1[0-8])', 'DRA[0-8]', 'DRA[0-8]', 'RD.*', 'MD.*', 'DRAS#|DCAS[UL]#|DWE#|[UL]DS#|A19'],
     'dead': 'U16 U23 U30 U10'},
    {'board': 'tests/boards/log8.yaml', 'block': 'program ROM', 'width': 1, 'lanes': {'U2': (0, 1, 1)},
     'groups': ['/A([0-9]|1[0-4])', '/BA.*', '/D[0-7]', '/MD.*', '/(ROMCS#|MRD#|A15|MREQ#)'],
     'swap_at': {'/BA.*': 'U2 U4', '/MD.*': 'U2 U6'}, 'dead': 'U2 U5 U6'},
    {'board': 'tests/boards/log8.yaml', 'block': 'log RAM', 'width': 1,
     'groups': ['/A([0-9]|1[0-4])', '/BA.*', '/D[0-7]', '/MD.*', '/(RAMCS#|MRD#|MWR#|A15|WR#)'], 'dead': 'U3 U4'},
    {'board': 'tests/boards/quay16.yaml', 'block': 'program ROM', 'width': 2, 'lanes': {'U2': (0, 2, 2)},
     'groups': ['A([1-9]|1[0-6])', 'A([1-9]|1[0-6])', 'D[0-9]+', 'ROMCS#|RD#|A1[78]'],
     'swap_at': {'A([1-9]|1[0-6])': 'U2', 'D[0-9]+': 'U2'}, 'dead': 'U2 U5'},
    {'board': 'tests/boards/quay16.yaml', 'block': 'load RAM', 'width': 2,
     'groups': ['A([1-9]|1[0-5])', 'A([1-9]|1[0-5])', 'D[0-9]+', 'RAMCS#|RD#|WE[UL]#|A1[78]'], 'dead': 'U3 U4'},
    {'board': 'tests/boards/buoy8.yaml', 'block': 'program ROM', 'width': 1, 'lanes': {'U2': (0, 1, 1)},
     'groups': ['A([0-9]|1[0-2])', 'D[0-7]', 'ROMCS#|RD#'], 'swap_at': {'A([0-9]|1[0-2])': 'U2', 'D[0-7]': 'U2'}, 'dead': 'U2'},
    {'board': 'tests/boards/buoy8.yaml', 'block': 'log RAM', 'width': 1,
     'groups': ['A([0-9]|1[0-5])', 'MA.*', 'MA.*', 'D[0-7]', 'Q[0-7]', 'CAS#|RAMRD#|RAS#'], 'dead': 'U9 U13 U4 U8'},
]
# The demo board as found: a leg of the even ROM out of its socket's contact, and the gate array's of DRA3.
FOUND = [{'kind': 'open', 'net': 'BA10', 'cut_off': ['U2.24'], 'level': 'high'},
         {'kind': 'open', 'net': 'DRA3', 'cut_off': ['U%d.12' % n for n in range(16, 32)], 'level': 'high'}]
# How often each kind is drawn a block: (kind, on RAM, on ROM).  'mixed' is a control line and another fault;
# 'unsteady' a contact that opens now and then while the block is read three times.
DRAWS = [('open', 5, 5), ('stuck', 3, 3), ('bridge', 3, 3), ('swap', 0, 2), ('dead', 1, 1), ('control', 2, 2), ('double', 4, 4),
         ('triple', 14, 14), ('control', 6, 6), ('mixed', 5, 5), ('unsteady', 13, 13)]
ADDRESSES = r'/?(B?A[0-9]+|MA[0-9]+|DRA[0-9])'
FAULTS = {'double': 2, 'triple': 3, 'mixed': 2}
# Share of a sort's cases that must be found for `judge` to be content; of the last four only when there are
# many, as a handful says little.  Raise them as the search gets better.
DEMANDED = {'single': 1, 'control': 1, 'double': 0.97, 'control and another': 0.5, 'triple': 0.3, 'unsteady': 0.97}
MANY = 20
PASSES = 3


class Block:
    """One memory block of a board in its model: contents, the addresses looked at, runs with faults."""

    def __init__(self, spec, work, whole=False):
        self.__dict__.update(spec)
        self.whole = whole    # the demo: all addresses, and RAM filled with each word's number
        self.file = os.path.join(TOP, self.board)
        self.model = board2v.load(self.file)
        memory = self.model['memory'][self.block]
        self.base, self.size, self.rom = memory['base'], memory['size'], memory['kind'] == 'rom'
        self.name = os.path.basename(self.board)[:-5] + '-' + self.block.replace(' ', '-')
        self.rnd = random.Random(self.name)
        self.work, self.runs, self.seen = work, itertools.count(), {}
        self.words = self.size // self.width
        self.image = self.contents()
        self.at = self.addresses()
        self.want = [self.word(a) for a in self.at]
        self.rom_files = self.program_roms()
        self.put('addr', ['%x' % (self.base + a * self.width) for a in self.at])
        self.put('data', ['%x' % w for w in self.want])
        self.nets = {n: p for n, p in self.model['nets'].items() if not n.startswith('unconnected-')}

    def contents(self):
        if not self.rom and self.whole:
            return b''.join((n & 0xffff).to_bytes(2, 'big') for n in range(self.words))
        if not self.rom:
            return random.Random('fill').randbytes(self.size)
        with open(os.path.join(TOP, 'docs/demo/tide-rom.bin'), 'rb') as f:
            image = f.read()
        image += image[::-1]
        start = 0 if self.size > 8192 else 16384
        return image[start:start + self.size]

    def word(self, at):
        return int.from_bytes(self.image[at * self.width:(at + 1) * self.width], 'big')

    def addresses(self):
        bits = (self.words - 1).bit_length()
        if self.whole:
            return list(range(self.words))
        if self.rom:
            out = {a for a in range(self.words) if bin(a).count('1') <= 2}
            for _ in range(30):
                a = self.rnd.randrange(self.words)
                out |= {a} | {a ^ 1 << k for k in range(bits)}
        else:
            out = {a for a in range(self.words) if bits - bin(a).count('1') <= 3}
        return sorted(out)

    def path(self, what):
        return os.path.join(self.work, '%s.%s' % (self.name, what))

    def put(self, what, rows):
        with open(self.path(what), 'w', encoding='ascii') as f:
            f.write('\n'.join(rows) + '\n')

    def program_roms(self):
        """A hex file for every ROM on the board; those outside this block are blank."""
        files = {}
        for ref, kind in self.model['types'].items():
            if kind not in board2v.ROMS:
                continue
            cells = ['ff']
            if self.rom and ref in self.lanes:
                first, step, count = self.lanes[ref]
                cells = ['%0*x' % (2 * count, int.from_bytes(self.image[n:n + count], 'big'))
                         for n in range(first, self.size, step)]
            self.put(ref, cells)
            files[ref] = self.path(ref)
        return files

    def run(self, faults, passes=1, percent=100, seed=1):
        """What is read at self.at with these faults: numbers, None where a bit is undefined; the passes one after
        the other.  Unsteady contacts are open in that many per cent of the reads."""
        key = json.dumps([faults, passes, percent, seed], sort_keys=True)
        if key in self.seen:
            return self.seen[key]
        stem = self.path('run%d' % next(self.runs))
        with open(stem + '.v', 'w', encoding='ascii') as f:
            f.write(board2v.verilog(self.model, faults, self.rom_files))
        subprocess.run(['iverilog', '-g2005-sv', '-o', stem + '.vvp', '-s', 'tb', stem + '.v', os.path.join(HERE, 'parts.v')],
                       check=True)
        args = ['+count=%d' % len(self.at), '+addr=' + self.path('addr'), '+out=' + stem + '.out', '+passes=%d' % passes,
                '+open=%d' % percent, '+seed=%d' % seed]
        subprocess.run(['vvp', '-n', stem + '.vvp'] + args + ([] if self.rom else ['+data=' + self.path('data')]), check=True,
                       stdout=subprocess.DEVNULL)
        mask = (1 << 8 * self.width) - 1
        with open(stem + '.out', encoding='ascii') as f:
            out = [int(line, 16) & mask if re.fullmatch('[0-9a-f]+\n', line) else None for line in f]
        for end in ('.v', '.vvp', '.out'):
            os.unlink(stem + end)
        if len(out) != passes * len(self.at):
            raise RuntimeError('%s: %d words of %d' % (self.name, len(out), len(self.at)))
        self.seen[key] = out
        return out

    # ---- drawing faults ----
    def group(self, pattern):
        return sorted((n for n in self.nets if re.fullmatch(pattern, n)), key=lambda n: [int(t) if t.isdigit() else t
                                                                                   for t in re.split(r'(\d+)', n)])

    def draw_open(self, net, levels):
        pins = self.nets[net]
        count = 1 if self.rnd.random() < 0.6 else self.rnd.randrange(1, len(pins))
        cut = self.rnd.sample(pins[1:], min(count, len(pins) - 1))
        return {'kind': 'open', 'net': net, 'cut_off': ['%s.%d' % p for p in sorted(cut)], 'level': self.rnd.choice(levels)}

    def draw(self, kind):
        rnd = self.rnd
        if kind == 'dead':
            ram = self.model['types'][(part := rnd.choice(self.dead.split()))] in board2v.RAMS
            return {'kind': 'dead', 'part': part, 'lost': rnd.choice(['outputs', 'all', 'writes']) if ram else 'outputs'}
        if kind == 'control':
            net = rnd.choice(self.group(self.groups[-1]))
            if rnd.random() < 0.7:
                return self.draw_open(net, ['high'])
            return {'kind': 'stuck', 'net': net, 'level': rnd.choice(['high', 'high', 'low'])}
        pattern = rnd.choice(list(self.swap_at) if kind == 'swap' else self.groups[:-1])
        nets = self.group(pattern)
        first = rnd.randrange(len(nets) - 1)
        if kind == 'open':
            return self.draw_open(rnd.choice(nets), ['high', 'high', 'low'])
        if kind == 'stuck':
            return {'kind': 'stuck', 'net': rnd.choice(nets), 'level': rnd.choice(['high', 'low'])}
        pair = [nets[first], nets[first + 1] if rnd.random() < 0.7 else rnd.choice([n for n in nets if n != nets[first]])]
        if kind == 'bridge':
            return {'kind': 'bridge', 'nets': pair, 'acts': rnd.choice(['and', 'and', 'or', 'first', 'second'])}
        fit = [(a, b, part) for part in self.swap_at[pattern].split() for a, b in itertools.combinations(nets, 2)
               if all(any(p[0] == part for p in self.nets[n]) for n in (a, b))]
        a, b, part = rnd.choice(fit)
        return {'kind': 'swap', 'nets': [a, b], 'at': part}

    def shows(self, faults):
        got = self.run(faults)
        return None not in got and got != self.want

    def draw_case(self, kind, old):
        """The faults of one more case of that kind, unlike the old ones; None if 40 draws bring none."""
        for _ in range(40):
            kinds = [kind]
            if kind in FAULTS:
                kinds = [self.rnd.choice(['open', 'stuck', 'bridge', 'open']) for _ in range(FAULTS[kind])]
            if kind == 'mixed':
                kinds[0] = 'control'
            if kind == 'unsteady':
                kinds = ['open']
            faults = [self.draw(k) for k in kinds]
            if kind == 'unsteady':
                faults[0]['unsteady'] = True
                if not self.rom and re.fullmatch(ADDRESSES, faults[0]['net']):
                    faults[0]['level'] = 'high'
            touched = [n for f in faults for n in nets_of(f)]
            if len(set(touched)) != len(touched) or faults in old or not self.shows(faults):
                continue
            if all(self.run([g for g in faults if g is not f]) != self.run(faults) for f in faults): # else one hides another
                return faults
        return None

    def cases(self, few, turn):
        """All cases of the block, or a few, which differ in kind from those of other turns."""
        plan = [kind for kind, on_ram, on_rom in DRAWS for _ in range(on_rom if self.rom else on_ram)]
        if few is not None:
            plan = [plan[(7 * turn + n * len(plan) // few) % len(plan)] for n in range(few)]
        out = []
        for kind in plan:
            faults = self.draw_case(kind, out)
            if faults:
                out.append(faults)
        return out


def nets_of(fault):
    return fault.get('nets') or ([fault['net']] if 'net' in fault else [fault.get('part')])


# ---- files -----------------------------------------------------------------------------------------


def intel_hex(rows):
    """Intel HEX of [(byte address, bytes)]; records of one row each, 04 records where the upper half changes."""
    def record(kind, address, data):
        body = bytes([len(data), address >> 8 & 255, address & 255, kind]) + data
        return ':%s%02X' % (body.hex().upper(), -sum(body) & 255)
    out, upper = [], 0
    for address, data in rows:
        if address >> 16 != upper:
            upper = address >> 16
            out.append(record(4, 0, upper.to_bytes(2, 'big')))
        out.append(record(0, address & 0xffff, data))
    return '\n'.join(out + [':00000001FF']) + '\n'


def rows_of(block, words):
    """Neighbouring words in one record, at most 16 bytes, never across 64 KiB."""
    rows = []
    for at, word in zip(block.at, words):
        address, data = block.base + at * block.width, word.to_bytes(block.width, 'big')
        if rows and rows[-1][0] + len(rows[-1][1]) == address and len(rows[-1][1]) < 16 and address & 0xffff:
            rows[-1][1].extend(data)
        else:
            rows.append((address, bytearray(data)))
    return [(a, bytes(d)) for a, d in rows]


def unsteady(faults):
    return any(f.get('unsteady') for f in faults)


def passes_of(block, case):
    """The dumps of a case: one, or several passes where a contact is unsteady."""
    count = PASSES if unsteady(case['faults']) else 1
    words = block.run(case['faults'], count, case['percent'])
    return [words[n * len(block.at):(n + 1) * len(block.at)] for n in range(count)]


def dump_path(out, case, n):
    return os.path.join(out, '%s-%d.hex' % (case['dump'], n))


def make(out, count=None):
    os.makedirs(out, exist_ok=True)
    few = None if count is None else -(-count // len(BLOCKS))
    lines = []

    def one(spec):
        block = Block(spec, out)
        contents = '%s.contents' % block.name
        with open(os.path.join(out, contents), 'wb') as f:
            f.write(block.image)
        assert block.run([]) == block.want, block.name + ': the faultless model does not work'
        rows = []
        for n, faults in enumerate(block.cases(few, BLOCKS.index(spec))):
            case = {'board': block.board, 'block': block.block, 'mode': 'expect' if block.rom else 'wrote', 'contents': contents,
                    'dump': '%s-%02d' % (block.name, n), 'faults': faults, 'percent': block.rnd.choice([5, 10, 20, 30, 40]) if
                    unsteady(faults) else 100}
            for k, words in enumerate(passes_of(block, case)):
                with open(dump_path(out, case, k), 'w', encoding='ascii') as f:
                    f.write(intel_hex(rows_of(block, words)))
            rows.append(case)
        return rows
    with concurrent.futures.ThreadPoolExecutor(WORKERS) as pool:
        for rows in pool.map(one, BLOCKS):
            lines += rows
    with open(os.path.join(out, 'cases.jsonl'), 'w', encoding='ascii') as f:
        f.write(''.join(json.dumps(row) + '\n' for row in lines))
    print('%d cases: %s' % (len(lines), ', '.join('%d %s' % (sum(sort_of(row) == s for row in lines), s) for s in SORTS)))


def demo(out):
    for spec in BLOCKS[:3]:
        with tempfile.TemporaryDirectory() as work:
            block = Block(spec, work, whole=True)
            with open(os.path.join(out, 'found-%s.bin' % block.block.split()[0]), 'wb') as f:
                f.write(b''.join(w.to_bytes(2, 'big') for w in block.run(FOUND)))


# ---- judging ---------------------------------------------------------------------------------------


def same_fault(a, b):
    keys = {'open': ('net',), 'stuck': ('net', 'level'), 'dead': ('part',)}.get(a['kind'])
    if a['kind'] != b['kind']:
        return False
    return all(a[k] == b[k] for k in keys) if keys else sorted(a['nets']) == sorted(b['nets'])


def gives(block, faults, dumps):
    """Do these faults, as the program names them, give that dump in the model?  Of an unsteady contact: is each
    word of each pass either right or what it is with the contact open?"""
    usable = ('open', 'stuck', 'bridge', 'swap', 'dead')
    if any(f['kind'] not in usable for f in faults):
        return False
    try:
        if len(dumps) == 1:
            return block.run(faults) == dumps[0]
        if any(f['kind'] != 'open' for f in faults):
            return False
        bad = block.run([dict(f, unsteady=True) for f in faults])
        return all(w in (g, b) for words in dumps for w, g, b in zip(words, block.want, bad))
    except (ValueError, KeyError, subprocess.CalledProcessError):
        return False


SORTS = ('single', 'double', 'triple', 'control', 'control and another', 'unsteady')


def sort_of(case):
    """For the table: a row's name."""
    spec = next(s for s in BLOCKS if (s['board'], s['block']) == (case['board'], case['block']))
    control = [f for f in case['faults'] if any(re.fullmatch(spec['groups'][-1], n) for n in nets_of(f) if n)]
    if unsteady(case['faults']):
        return 'unsteady'
    if control and len(case['faults']) < 3:
        return 'control' if len(case['faults']) == 1 else 'control and another'
    return ('single', 'double', 'triple')[len(case['faults']) - 1]


def judge_case(block, case, out, program):
    """(verdict, remark): verdict is first, tied or missed."""
    files = [dump_path(out, case, n) for n in range(PASSES if unsteady(case['faults']) else 1)]
    dump = []
    for path in files:
        with open(path, encoding='ascii') as f:
            dump.append(words_of(block, f.read()))
    got = subprocess.run([program, 'decode', '--board', block.file, '--block', case['block'], '--' + case['mode'],
                          os.path.join(out, case['contents']), '--json'] + files,
                         stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=120, check=False)
    if got.returncode != 1:
        return 'missed', 'exit status %d: %s' % (got.returncode, got.stderr.decode()[:200].strip())
    answer = json.loads(got.stdout)
    suspects = [s['net'] or s.get('part') for s in answer['suspects']]  # a dead part has no net
    explanations = [e['faults'] for e in answer['explanations']]
    earned = {}

    def earns(net):
        """Is there an explanation with that net that gives the dump?  Else the net at a level, as the simplest try."""
        if net not in earned:
            own = [e for e in explanations if any(net in nets_of(f) for f in e)][:6]
            if net in block.model['types']:
                own += [[{'kind': 'dead', 'part': net, 'lost': v}] for v in ('outputs', 'writes', 'all')]
            elif net in block.model['nets']:
                own += [[{'kind': 'stuck', 'net': net, 'level': v}] for v in ('high', 'low')]
                if len(dump) > 1:                # each contact of it, and all but the first pin
                    pins = ['%s.%d' % p for p in block.model['nets'][net]]
                    own += [[{'kind': 'open', 'net': net, 'cut_off': cut, 'level': v}] for v in ('high', 'low')
                            for cut in [pins[1:]] + [[p] for p in pins[1:]]]
            earned[net] = any(gives(block, e, dump) for e in own if len(e) <= len(case['faults']))
        return earned[net]
    place = 'first'
    true_nets = [n for f in case['faults'] if f['kind'] != 'dead' for n in nets_of(f)]
    for fault in case['faults']:
        if fault['kind'] == 'dead':          # a part is no suspect net: look among the explanations
            right = [n for n, e in enumerate(explanations) if any(same_fault(fault, f) for f in e)]
            if not right:
                return 'missed', 'no explanation has %s dead; first: %s' % (fault['part'], json.dumps(explanations[:1]))
            ahead = [e for e in explanations[:right[0]]]
            if any(not gives(block, e, dump) for e in ahead):
                return 'missed', 'ahead of the truth: %s' % json.dumps(ahead[:2])
            place = 'tied' if ahead else place
            continue
        ranks = [suspects.index(n) for n in nets_of(fault) if n in suspects]
        if not ranks:
            return 'missed', '%s is no suspect; suspects %s, first explanation %s' % (
                nets_of(fault), suspects[:4], json.dumps(explanations[:1]))
        ahead = [n for n in suspects[:min(ranks)] if n not in true_nets]
        wrong = [n for n in ahead if not earns(n)]
        if wrong:
            return 'missed', '%s before %s' % (wrong[:4], nets_of(fault))
        place = 'tied' if ahead else place
    remark = ''
    for e in answer['explanations'][:3 if len(dump) == 1 else 0]:     # what claims to explain everything must do so in the model
        if e['explained'] == 1.0 and len(e['faults']) <= 2 and not gives(block, e['faults'], dump):
            remark = 'claims too much: %s' % json.dumps(e['faults'])
            break
    return place, remark


def words_of(block, text):
    held, upper = {}, 0
    for line in text.split():
        body = bytes.fromhex(line[1:])
        if body[3] == 4:
            upper = int.from_bytes(body[4:6], 'big') << 16
        elif body[3] == 0:
            start = upper + (body[1] << 8 | body[2])
            held.update({start + n: b for n, b in enumerate(body[4:-1])})
    return [int.from_bytes(bytes(held[block.base + a * block.width + k] for k in range(block.width)), 'big') for a in block.at]


def judge(out):
    program = os.environ.get('LU_PROGRAM', 'lineup')
    with open(os.path.join(out, 'cases.jsonl'), encoding='ascii') as f:
        cases = [json.loads(line) for line in f]
    blocks = {(s['board'], s['block']): Block(s, out) for s in BLOCKS}
    table, over = {s: {'first': 0, 'tied': 0, 'missed': 0} for s in SORTS}, 0

    def one(case):
        try:
            return judge_case(blocks[case['board'], case['block']], case, out, program)
        except (subprocess.TimeoutExpired, ValueError, KeyError, IndexError) as error:
            return 'missed', repr(error)[:200]
    with concurrent.futures.ThreadPoolExecutor(WORKERS) as pool:
        for case, (verdict, remark) in zip(cases, pool.map(one, cases)):
            table[sort_of(case)][verdict] += 1
            over += bool(remark) and verdict != 'missed'
            if remark:
                print('%-7s %s %s\n        %s' % (verdict, case['dump'], json.dumps(case['faults']), remark))
    print('%-20s %6s %6s %6s' % ('', 'first', 'tied', 'missed'))
    for sort, tally in table.items():
        print('%-20s %6d %6d %6d' % (sort, tally['first'], tally['tied'], tally['missed']))
    tally = {v: sum(t[v] for t in table.values()) for v in ('first', 'tied', 'missed')}
    print('%d cases: truth first %d, behind its equals %d, missed %d; explanations that claim too much %d' % (
        len(cases), tally['first'], tally['tied'], tally['missed'], over))
    short = [s for s, t in table.items() if (DEMANDED[s] == 1 or sum(t.values()) >= MANY) and
             t['first'] + t['tied'] < DEMANDED[s] * sum(t.values())]
    if short:
        print('too many missed: %s' % ', '.join(short))
    return bool(short) or over > 0


# ---- the models against expectations made by hand --------------------------------------------------


def check():
    failed = 0
    with tempfile.TemporaryDirectory() as work:
        blocks = {'%s %s' % (os.path.basename(s['board'])[:-5], s['block']): Block(s, work) for s in BLOCKS}

        def expect(name, faults, want):
            nonlocal failed
            block = blocks[name]
            got = block.run(faults)
            wrong = [n for n, (g, w) in enumerate(zip(got, want)) if g != w]
            if wrong:
                failed += 1
                print('%s %s: %d of %d words wrong, first at %x: %s instead of %x' % (
                    name, json.dumps(faults), len(wrong), len(want), block.at[wrong[0]], got[wrong[0]], want[wrong[0]]))
        for name, block in blocks.items():
            expect(name, [], block.want)
            expect(name, [{'kind': 'stuck', 'net': block.group(block.groups[-2])[1], 'level': 'high'}],
                   [w | 2 for w in block.want])
        t, q, b, l = (blocks[n] for n in (
            'tide boot ROM', 'quay16 program ROM', 'buoy8 log RAM', 'log8 log RAM'))
        tide_dram = blocks['tide record RAM']
        names = {id(v): k for k, v in blocks.items()}

        def known(block, faults, address):   # contents known from outside: the address that is really read
            expect(names[id(block)], faults, [block.word(address(a)) for a in block.at])

        def filled(block, faults, address):  # after an ascending fill the last word of a class is in all of it
            last = {}
            for a in range(block.words):
                last[address(a)] = a
            expect(names[id(block)], faults, [block.word(last[address(a)]) for a in block.at])
        both = lambda v, m: v | m if v & m else v
        known(t, [{'kind': 'open', 'net': 'BA4', 'cut_off': ['U2.7', 'U3.7'], 'level': 'low'}], lambda a: a & ~8)
        known(t, [{'kind': 'bridge', 'nets': ['A3', 'A4'], 'acts': 'and'}], lambda a: a if a & 12 == 12 else a & ~12)
        known(q, [{'kind': 'bridge', 'nets': ['A3', 'A4'], 'acts': 'or'}], lambda a: both(a, 12))
        known(q, [{'kind': 'swap', 'nets': ['A1', 'A9'], 'at': 'U2'}], lambda a: a & ~257 | (a & 1) << 8 | a >> 8 & 1)
        known(q, [{'kind': 'bridge', 'nets': ['A1', 'A2'], 'acts': 'first'}], lambda a: a & ~2 | (a & 1) << 1)
        dra3 = 1 << 3 | 1 << 12
        filled(tide_dram, [{'kind': 'stuck', 'net': 'DRA3', 'level': 'low'}], lambda a: a & ~dra3)
        filled(tide_dram, [{'kind': 'open', 'net': 'A12', 'cut_off': ['U8.14'], 'level': 'high'}], lambda a: a | 1 << 11)
        filled(b, [{'kind': 'open', 'net': 'MA2', 'cut_off': ['U%d.6' % n for n in range(9, 17)], 'level': 'high'}],
               lambda a: a | 1 << 2 | 1 << 10)
        filled(l, [{'kind': 'bridge', 'nets': ['/BA3', '/BA4'], 'acts': 'and'}], lambda a: a if a & 24 == 24 else a & ~24)
        expect(names[id(tide_dram)], [{'kind': 'open', 'net': 'DCASU#', 'cut_off': ['U8.28'], 'level': 'high'}],
               [w | 0xff00 for w in tide_dram.want])
        expect(names[id(t)], [{'kind': 'dead', 'part': 'U3', 'lost': 'outputs'}], [w | 0xff for w in t.want])
        # one memory chip's own pin open: only its bit goes, and the others stay right
        for chip, bit in (('U16', 0), ('U29', 13)):
            faults = [{'kind': 'open', 'net': 'DRA3', 'cut_off': [chip + '.12'], 'level': 'high'}]
            want = [w & ~(1 << bit) | tide_dram.word(a | dra3) & 1 << bit for a, w in zip(tide_dram.at, tide_dram.want)]
            expect(names[id(tide_dram)], faults, want)
    print('the models %s hand-made expectations' % ('differ from' if failed else 'agree with'))
    return failed > 0


def main(args):
    if args == ['check']:
        return check()
    if args[:1] == ['make'] and len(args) in (2, 3):
        return make(args[1], int(args[2]) if len(args) == 3 else None)
    if args[:1] == ['demo'] and len(args) == 2:
        return demo(args[1])
    if args[:1] == ['judge'] and len(args) == 2:
        return judge(args[1])
    sys.exit(__doc__)


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
