#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A board and its faults as Verilog: an electrical model to judge the program by.

Shares no code with the program: own readers for the board file and the netlists, and faults that are made
of wires, drivers and strengths instead of logic:

  open    the net becomes two nets; whichever of them nobody drives floats to a level by a weak pull
          (level high or low) or by a weak keeper of the last level (level keep)
  stuck   a supply holds the net
  bridge  two nets become one; drivers sink more than they source (strong 0, pull 1: acts and), or
          the other way round (acts or), or the drivers of one net are the stronger ones (first, second)
  swap    two nets exchanged at one part
  dead    a part's drivers are left out, or it takes no writes, or both

Every net floats high (weak1) unless a fault says otherwise: TTL.  Nets joined by a series resistor are
joined by tran, which keeps strengths; a fault's level then stands for both sides of the resistor.
"""
import re
import sys

# ---- the board file: the part of YAML that our board files use -------------------------------------


def yaml_logical(text):
    """(indent, text) for each line; comments gone, flow collections joined to one line."""
    out, depth = [], 0
    for raw in text.split('\n'):
        line, quote = '', None
        for n, c in enumerate(raw):
            if quote:
                quote = None if c == quote else quote
            elif c in '"\'':
                quote = c
            elif c == '#' and (n == 0 or raw[n - 1] in ' \t'):
                break
            line += c
        if not line.strip():
            continue
        if depth:
            out[-1][1] += ' ' + line.strip()
        else:
            out.append([len(line) - len(line.lstrip(' ')), line.strip()])
        bare = re.sub(r'"[^"]*"|\'[^\']*\'', '', line)
        depth += sum(bare.count(c) for c in '[{') - sum(bare.count(c) for c in ']}')
    return out


def yaml_scalar(text):
    text = text.strip()
    if text[:1] in '"\'' and text[:1]:
        return text[1:-1]
    if re.fullmatch(r'0x[0-9a-fA-F]+', text):
        return int(text, 16)
    return int(text) if re.fullmatch(r'-?\d+', text) else text


def yaml_flow(text, at):
    """One flow value from text[at:]; gives (value, where it ends)."""
    while text[at] == ' ':
        at += 1
    if text[at] in '[{':
        is_map, at = text[at] == '{', at + 1
        out = {} if is_map else []
        while True:
            while text[at] in ' ,':
                at += 1
            if text[at] in ']}':
                return out, at + 1
            if is_map:
                key, at = yaml_flow(text, at)
                while text[at] in ' :':
                    at += 1
                out[str(key)], at = yaml_flow(text, at)
            else:
                value, at = yaml_flow(text, at)
                out.append(value)
    if text[at] in '"\'':
        end = text.index(text[at], at + 1)
        return text[at + 1:end], end + 1
    end = at
    while end < len(text) and text[end] not in ',]}' and not (text[end] == ':' and text[end + 1:end + 2] in (' ', '')):
        end += 1
    return yaml_scalar(text[at:end]), end


def yaml_value(text):
    return yaml_flow(text, 0)[0] if text[0] in '[{' else yaml_scalar(text)


def yaml_block(rows, at, indent):
    if rows[at][1].startswith('- '):
        out = []
        while at < len(rows) and rows[at][0] == indent and rows[at][1].startswith('- '):
            inner = rows[at][1][2:]
            if re.match(r'[^\[{"]+:( |$)', inner):
                rows[at] = [indent + 2, inner]
                value, at = yaml_block(rows, at, indent + 2)
            else:
                value, at = yaml_value(inner), at + 1
            out.append(value)
        return out, at
    out = {}
    while at < len(rows) and rows[at][0] == indent and not rows[at][1].startswith('- '):
        m = re.match(r'("[^"]*"|[^:]+(?::(?! |$)[^:]*)*):(?: +(.*))?$', rows[at][1])
        key = str(yaml_scalar(m.group(1)))
        if m.group(2):
            out[key], at = yaml_value(m.group(2)), at + 1
        else:
            out[key], at = yaml_block(rows, at + 1, rows[at + 1][0])
    return out, at


def yaml_load(text):
    rows = yaml_logical(text)
    return yaml_block(rows, 0, rows[0][0])[0]


# ---- netlists: {net: [(ref, pin)]} and {ref: type} -------------------------------------------------


def read_sexpr(text):
    stack, top = [[]], None
    for m in re.finditer(r'\(|\)|"((?:[^"\\]|\\.)*)"|[^\s()"]+', text):
        t = m.group(0)
        if t == '(':
            stack.append([])
        elif t == ')':
            top = stack.pop()
            stack[-1].append(top)
        else:
            stack[-1].append(m.group(1) if t[0] == '"' else t)
    return stack[0][0]


def child(node, name):
    return next((c for c in node if isinstance(c, list) and c and c[0] == name), [name, ''])


def read_kicad(text):
    root, nets, types = read_sexpr(text), {}, {}
    for comp in child(root, 'components')[1:]:
        types[child(comp, 'ref')[1]] = child(child(comp, 'libsource'), 'part')[1]
    for net in child(root, 'nets')[1:]:
        nets[child(net, 'name')[1]] = [(child(n, 'ref')[1], int(child(n, 'pin')[1])) for n in net if n[0] == 'node']
    return nets, types


def read_csv(text):
    nets = {}
    for line in text.split('\n')[1:]:
        if line:
            net, ref, pin = line.split(',')
            nets.setdefault(net, []).append((ref, int(pin)))
    return nets, {}


def load(path):
    """The board: {'nets', 'types', 'memory'} from a board file and the netlist that it names."""
    with open(path, encoding='utf-8') as f:
        doc = yaml_load(f.read())
    nets, types = {}, {}
    if 'netlist' in doc:
        with open(re.sub(r'[^/]*$', '', path) + doc['netlist'], encoding='utf-8') as f:
            text = f.read()
        nets, types = read_kicad(text) if text.startswith('(') else read_csv(text)
    for net, pins in doc.get('nets', {}).items():
        nets.setdefault(net, []).extend((p.split('.')[0], int(p.split('.')[1])) for p in pins)
    for ref, part in doc.get('parts', {}).items():
        if 'type' in part:
            types[ref] = str(part['type'])
    return {'nets': nets, 'types': types, 'memory': {m['name']: m for m in doc['memory']}}


# ---- parts: pins and those that can drive ---------------------------------------------------------


def span(*ranges):
    return [n for a, b in ranges for n in range(a, b + 1)]


ROM8 = span((11, 13), (15, 19))
PARTS = {  # type: (model, pins, pins that can drive)
    '27256': ('m_27256', 28, ROM8), '2764': ('m_2764', 28, ROM8), '62256': ('m_62256', 28, ROM8),
    '27C1024': ('m_27C1024', 40, span((3, 10), (12, 19))), '41256': ('m_41256', 16, [14]), '4164': ('m_4164', 16, [14]),
    '74245': ('m_74245', 20, span((2, 9), (11, 18))), '74244': ('m_74244', 20, [3, 5, 7, 9, 12, 14, 16, 18]),
    '74541': ('m_74541', 20, span((11, 18))), '74138': ('m_74138', 16, span((7, 7), (9, 15))),
    '74139': ('m_74139', 16, span((4, 7), (9, 12))), '74157': ('m_74157', 16, [4, 7, 9, 12]),
    '7432': ('m_7432', 14, [3, 6, 8, 11]), '7400': ('m_7400', 14, [3, 6, 8, 11]), '7404': ('m_7404', 14, [2, 4, 6, 8, 10, 12]),
    '7474': ('m_7474', 14, [5, 6, 8, 9]), 'TR-GA1': ('m_TRGA1', 48, span((18, 30), (36, 36))),
    'CLOCK': ('m_CLOCK', 5, [1]),
    '68000': ('m_68000', 64, span((1, 9), (29, 48), (50, 52), (54, 64))),
    'Z80': ('m_Z80', 40, span((1, 5), (7, 10), (12, 15), (19, 22), (27, 28), (30, 40))),
    '6502': ('m_6502', 40, span((9, 20), (22, 25), (26, 34), (39, 39))),
}
ROMS = ('27256', '2764', '27C1024')
RAMS = ('62256', '41256', '4164')
MASTERS = ('68000', 'Z80', '6502')
SUPPLIES = {'+5V': 1, 'GND': 0}
AND, OR, STRONG, PULL = '(strong0, pull1)', '(pull0, strong1)', '(strong0, strong1)', '(pull0, pull1)'


def joined_by_resistors(nets, types):
    """{net: set of nets that series resistors make one with it}, and the pairs."""
    at = {pin: net for net, pins in nets.items() for pin in pins}
    pairs = []
    for ref, kind in types.items():
        if kind == 'R_Pack08':
            pairs += [(at[ref, n], at[ref, 17 - n]) for n in range(1, 9) if (ref, n) in at and (ref, 17 - n) in at]
    group = {net: {net} for net in nets}
    for a, b in pairs:
        both = group[a] | group[b]
        for net in both:
            group[net] = both
    return group, [p for p in pairs if p[0] != p[1]]


def pin(text):
    ref, number = text.rsplit('.', 1)
    return ref, int(number)


def apply(board, faults):
    """The faulty board's nets, and what stands beside them: how nets float, supplies, drivers."""
    nets = {n: list(p) for n, p in board['nets'].items()}
    types, floats, held, how, dead, merged, contacts = board['types'], {}, {}, {}, {}, {}, []
    name = lambda n: merged.get(n, n)
    for f in (f for f in faults if f['kind'] == 'swap'):
        a, b = f['nets']
        at_a, at_b = ([p for p in nets[n] if p[0] == f['at']] for n in (a, b))
        nets[a] = [p for p in nets[a] if p not in at_a] + at_b
        nets[b] = [p for p in nets[b] if p not in at_b] + at_a
    for f in (f for f in faults if f['kind'] == 'open'):
        gone = [pin(p) for p in f['cut_off']]
        stray = [p for p in gone if p not in nets[f['net']]]
        if stray:
            raise ValueError('%s: not on net %s' % (stray, f['net']))
        part = '%s cut %d' % (f['net'], len(floats))
        nets[f['net']] = [p for p in nets[f['net']] if p not in gone]
        nets[part] = gone
        if f.get('level', 'high') not in ('high', 'low', 'keep', 'keeps'):
            raise ValueError('no model of a net that floats %s' % f['level'])
        floats[part] = f.get('level', 'high')
        if f.get('unsteady'):
            contacts.append((f['net'], part))
        else:
            floats[f['net']] = floats[part]
    for f in (f for f in faults if f['kind'] == 'bridge'):
        a, b = f['nets']
        group, _ = joined_by_resistors(nets, types)
        for n in group[a] | group[b]:
            first = n in group[a]
            drive = {'and': AND, 'or': OR, 'first': STRONG if first else PULL, 'second': PULL if first else STRONG}[f['acts']]
            for p in nets[n]:
                how[p] = drive
        a, b = name(a), name(b)
        if a != b:
            nets[a] += nets.pop(b)
            merged.update({n: a for n in list(merged) if merged[n] == b})
            merged[b] = a
    for f in (f for f in faults if f['kind'] == 'stuck'):
        held[name(f['net'])] = 1 if f['level'] == 'high' else 0
    for f in (f for f in faults if f['kind'] == 'dead'):
        dead[f['part']] = f['lost']
    group, pairs = joined_by_resistors(nets, types)
    for n, level in list(floats.items()):
        for other in group.get(n, ()):
            floats.setdefault(other, level)
    return nets, pairs, floats, held, how, dead, contacts


def verilog(board, faults, rom_files):
    """The text of module board for iverilog, test bench included; rom_files: {ref: hex file}. An open with
    'unsteady' is a contact that opens in some of the reads, as the bench's arguments say."""
    nets, pairs, floats, held, how, dead, contacts = apply(board, faults)
    types = dict(board['types'])
    for ref, number in nets.get('CLK8', []):
        if ref.startswith('J'):
            types[ref] = 'CLOCK'
    wire = {n: 'n%d' % i for i, n in enumerate(nets)}
    at = {p: n for n, pins in nets.items() for p in pins}
    out = ['`timescale 1ns/1ns', 'module tb;']
    for n, w in wire.items():
        out.append('  tri %s; // %s' % (w, n))
        if n in SUPPLIES or n in held:
            out.append('  assign (supply1, supply0) %s = 1\'b%d;' % (w, SUPPLIES.get(n, held.get(n))))
        elif floats.get(n, '').startswith('keep'):
            out.append('  reg k%s = 1; always @(%s) if (%s === 0 || %s === 1) k%s = %s;' % (w, w, w, w, w, w))
            out.append('  assign (weak1, weak0) %s = k%s;' % (w, w))
        else:
            out.append('  assign (weak1, weak0) %s = 1\'b%d;' % (w, floats.get(n) != 'low'))
    out += ['  tran(%s, %s);' % (wire[a], wire[b]) for a, b in pairs]
    out.append('  reg contact = 1;')
    out += ['  tranif1(%s, %s, contact);' % (wire[a], wire[b]) for a, b in contacts]
    master = None
    for n, ref in enumerate(sorted(types)):
        if types[ref] not in PARTS:
            continue
        model, count, drivers = PARTS[types[ref]]
        level = [wire[at[ref, k]] if (ref, k) in at else "1'b1" for k in range(count, 0, -1)]
        extra = ''
        if types[ref] in ROMS:
            extra = '#(.FILE("%s")) ' % rom_files[ref]
        elif types[ref] in RAMS:
            extra = '#(.N(%d), .NO_WRITES(%d)) ' % (n, dead.get(ref) in ('writes', 'all'))
        elif types[ref] in MASTERS:
            master = ref
        out.append('  wire [%d:1] i_%s = {%s};' % (count, ref, ', '.join(level)))
        out.append('  wire [%d:1] o_%s;' % (count, ref))
        out.append('  %s %s%s(.i(i_%s), .o(o_%s));' % (model, extra, ref, ref, ref))
        if dead.get(ref) in ('outputs', 'all'):
            continue
        out += ['  assign %s %s = o_%s[%d];' % (how.get((ref, k), AND), wire[at[ref, k]], ref, k) for k in drivers if (ref, k) in at]
    out.append(BENCH.replace('MASTER', master) + 'endmodule')
    return '\n'.join(out) + '\n'


# Writes all words in the order of the list (if asked), then reads them all in the same order, once or
# +passes=N times. An unsteady contact is open in +open=PERCENT of the reads.
BENCH = '''
  reg [31:0] addr [0:262143];
  reg [15:0] data [0:262143];
  reg [15:0] v;
  reg [8*256-1:0] name;
  integer n, count, out, pass, passes, open, seed;
  initial begin
    if (!$value$plusargs("count=%d", count)) count = 0;
    if ($value$plusargs("addr=%s", name)) $readmemh(name, addr, 0, count - 1);
    #20;
    if ($value$plusargs("data=%s", name)) begin
      $readmemh(name, data, 0, count - 1);
      for (n = 0; n < count; n = n + 1) MASTER.write(addr[n], data[n]);
    end
    if ($value$plusargs("out=%s", name)) begin
      out = $fopen(name);
      if (!$value$plusargs("passes=%d", passes)) passes = 1;
      if (!$value$plusargs("open=%d", open)) open = 0;
      if (!$value$plusargs("seed=%d", seed)) seed = 1;
      for (pass = 0; pass < passes; pass = pass + 1)
        for (n = 0; n < count; n = n + 1) begin
          contact = $urandom(seed) % 100 >= open;
          #10 MASTER.read(addr[n], v);
          $fdisplay(out, "%h", v);
        end
    end
    $finish(0);
  end
'''

if __name__ == '__main__':
    sys.stdout.write(verilog(load(sys.argv[1]), [], dict(a.split('=') for a in sys.argv[2:])))
