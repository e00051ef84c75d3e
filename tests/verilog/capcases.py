#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Faults in Verilog models of the test boards, captured at the processor: is the net named from the capture alone?

  capcases.py [COUNT]      runs $LU_PROGRAM on each case (all, or about COUNT of the same) and prints the table; status 1 if one is missed

The simulator writes the capture (value change dump) of what a probe on the processor's legs sees.  The program gets
the capture and the board file; of a ROM also its image.  Nothing else tells it what was written.

A case is right when its true net is the first suspect, or when each net before it earns its place: one of the program's
own explanations with that net (or that net held at a level), put into the Verilog model, gives the same evidence: the
same levels at all of the processor's legs at the end of each read and write strobe.
Choices as in cases.py: a RAM is filled in ascending order and read back where at most three address bits are 0, a ROM
is read where at most two bits are 1 and around some random addresses; fixed seeds.
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
import cases

HERE = os.path.dirname(os.path.abspath(__file__))
# How many of each: (kind, group of the block's nets).
PLAN = {'ram': [('open', 'address'), ('stuck', 'address'), ('open', 'data'), ('bridge', 'address'), ('open', 'select'), ('bridge', 'data'),
                ('stuck', 'data'), ('open', 'address'), ('stuck', 'select'), ('open', 'data'), ('stuck', 'address')],
        'rom': [('open', 'address'), ('open', 'data'), ('stuck', 'address'), ('open', 'select'), ('bridge', 'address'), ('stuck', 'data')]}
# A run of some takes the first EACH of each of these, by turns static and dynamic memories and ROMs.
EACH = 6
FIRST = [('tests/boards/quay16.yaml', 'load RAM'), ('tests/boards/buoy8.yaml', 'log RAM'), ('tests/boards/log8.yaml', 'program ROM'),
         ('tests/boards/log8.yaml', 'log RAM'), ('docs/demo/tide.yaml', 'work RAM'), ('tests/boards/quay16.yaml', 'program ROM')]
# Pins of the processors' strobes, and the level with which they end.
STROBES = {'Z80': {21: '1', 22: '1'}, '6502': {39: '0'}, '68000': {7: '1', 8: '1'}}
USES = {'data': re.compile(r'/?(D|MD|RD|Q)[0-9]+$'), 'select': None}


class Case(cases.Block):
    def __init__(self, spec, work):
        super().__init__(spec, work)
        self.master = next(r for r, k in self.model['types'].items() if k in board2v.MASTERS)
        self.legs = {n: [p for p in pins if p[0] == self.master] for n, pins in self.nets.items() if n not in board2v.SUPPLIES}
        self.legs = {n: p[0] for n, p in self.legs.items() if p}
        with open(self.file, encoding='utf-8') as f:
            asked = re.findall(r'pin: "net:([^"]+)", active', f.read())
        self.more = [n for n in asked if n not in self.legs]  # strobes that the board file wants to see
        self.tables = {}

    def pick(self, use):
        """A net of that use."""
        if use == 'select':
            return self.rnd.choice(self.group(self.groups[-1]))
        data = [g for g in self.groups[:-1] if all(USES['data'].match(n) for n in self.group(g))]
        return self.rnd.choice(self.group(self.rnd.choice(data if use == 'data' else [g for g in self.groups[:-1] if g not in data])))

    def one_fault(self, kind, use):
        net = self.pick(use)
        levels = ['high'] if use == 'select' else ['high', 'high', 'low']
        if kind == 'open':
            return self.draw_open(net, levels)
        if kind == 'stuck':
            return {'kind': 'stuck', 'net': net, 'level': self.rnd.choice(['high', 'low'] if use != 'select' else ['high'])}
        pattern = next(g for g in self.groups if net in self.group(g))
        near = self.group(pattern)
        k = near.index(net)
        return {'kind': 'bridge', 'nets': [net, near[k + 1 if k + 1 < len(near) else k - 1]], 'acts': self.rnd.choice(['and', 'and', 'or'])}

    def capture(self, faults, stem):
        """stem.vcd and stem.yaml: the wires at the processor's legs, and which net each is."""
        text = board2v.verilog(self.model, faults, self.rom_files)
        text = re.sub(r'\bn(\d+)\b', r'w\1', text)  # n1 would also be bit 1 of the bench's n
        wires = {}
        for line in text.split('\n'):
            if line.startswith('  tri '):
                wire, net = line[6:].split('; // ')
                wires[net] = wire
        at = {p: n for n, pins in board2v.apply(self.model, faults)[0].items() for p in pins}
        seen = {'p%d' % n: (net, wires[at[leg]]) for n, (net, leg) in enumerate(sorted(self.legs.items())) if leg in at}
        seen.update({'q%d' % n: (net, wires[net]) for n, net in enumerate(self.more)})
        end = text.rindex('endmodule')
        text = text[:end] + ''.join('  wire %s; assign %s = %s; // at the leg\n' % (p, p, w) for p, (_, w) in seen.items()) + (
            '  initial begin $dumpfile("%s.vcd"); $dumpvars(0, %s); end\nendmodule\n' % (stem, ', '.join(seen)))
        with open(stem + '.v', 'w', encoding='ascii') as f:
            f.write(text)
        with open(stem + '.yaml', 'w', encoding='ascii') as f:
            f.write(''.join('%s: "%s"\n' % (p, net) for p, (net, _) in seen.items()))
        subprocess.run(['iverilog', '-g2005-sv', '-o', stem + '.vvp', '-s', 'tb', stem + '.v', os.path.join(HERE, 'parts.v')], check=True)
        args = ['+count=%d' % len(self.at), '+addr=' + self.path('addr'), '+out=' + stem + '.out']
        subprocess.run(['vvp', '-n', stem + '.vvp'] + args + ([] if self.rom else ['+data=' + self.path('data')]), check=True,
                       stdout=subprocess.DEVNULL)

    def evidence(self, faults, stem):
        """What the probe sees, without times: the levels of all legs just before each strobe ends."""
        key = json.dumps(faults, sort_keys=True)
        if key not in self.tables:
            self.capture(faults, stem)
            strobes = STROBES[self.model['types'][self.master]]
            ends = {net: strobes[leg[1]] for net, leg in self.legs.items() if leg[1] in strobes}
            self.tables[key] = sampled(stem + '.vcd', stem + '.yaml', ends)
        return self.tables[key]


def sampled(vcd, names, ends):
    """The state of all nets before each change of one of the nets in ends to the level given there."""
    with open(names, encoding='ascii') as f:
        net = dict(re.match('(.*): "(.*)"', line).groups() for line in f)
    codes, state, now, out, moments = {}, {}, {}, [], 0
    with open(vcd, encoding='ascii') as f:
        for line in itertools.chain(f, ['#end']):
            if line.startswith('$var'):
                word = line.split()
                codes.setdefault(word[3], []).append(net[word[4]])
            elif line.startswith('#'):
                if any(now.get(n, state.get(n)) == v != state.get(n) for n, v in ends.items()) and moments > 1:
                    out.append(tuple(sorted(state.items())))
                state.update(now)
                now, moments = {}, moments + 1
            elif line[0] in '01xz':
                now.update({n: line[0] for n in codes[line[1:].strip()]})
    return out


def judge(block, n, kind, use, program):
    """(verdict, remark, faults): first, tied, held or missed."""
    stem = block.path('case%d' % n)
    for _ in range(40):
        faults = [block.one_fault(kind, use)]
        if faults not in block.drawn and block.evidence(faults, stem) != block.evidence([], stem + 'ok'):
            break
    else:
        return None
    block.drawn.append(faults)
    block.tables = {k: v for k, v in block.tables.items() if k == '[]'}
    true = block.evidence(faults, stem)
    got = subprocess.run([program, 'decode', '--board', block.file, '--block', block.block, '--signals', stem + '.yaml', '--json'] +
                         ([] if not block.rom else ['--expect', block.path('image')]) + [stem + '.vcd'],
                         stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=120, check=False)
    nets = faults[0].get('nets') or [faults[0]['net']]
    if got.returncode not in (0, 1):
        return 'missed', 'exit status %d: %s' % (got.returncode, got.stderr.decode()[:300].strip()), faults
    answer = json.loads(got.stdout)
    suspects = [s['net'] or s.get('part') for s in answer['suspects']]
    ranks = [suspects.index(x) for x in nets if x in suspects]
    if answer['verdict'] == 'clean' or not ranks:
        return 'missed', '%s: suspects %s; %s' % (answer['verdict'], suspects[:4], answer['explanations'][:1]), faults
    for ahead in [x for x in suspects[:min(ranks)] if x not in nets]:
        own = [e['faults'] for e in answer['explanations'] if len(e['faults']) == 1 and any(ahead in cases.nets_of(f) for f in e['faults'])][:6]
        if ahead in block.model['types']:
            own += [[{'kind': 'dead', 'part': ahead, 'lost': v}] for v in ('outputs', 'writes', 'all')]
        elif ahead in block.model['nets']:
            own += [[{'kind': 'stuck', 'net': ahead, 'level': v}] for v in ('high', 'low')]
        if not any(same(block, e, true, stem + 'x') for e in own):
            return 'missed', '%s before %s; %s' % (ahead, nets, answer['explanations'][:1]), faults
    return ('tied' if min(ranks) else 'first'), '', faults


def same(block, faults, true, stem):
    if any(f['kind'] not in ('open', 'stuck', 'bridge', 'swap', 'dead') for f in faults):
        return False
    try:
        return block.evidence(faults, stem) == true
    except (ValueError, KeyError, subprocess.CalledProcessError):
        return False


def run_block(spec, plan, work, program):
    block = Case(spec, work)
    block.drawn = []
    with open(block.path('image'), 'wb') as f:
        f.write(block.image)
    rows = []
    for n, (kind, use) in enumerate(plan):
        row = judge(block, n, kind, use, program)
        if row:
            rows.append((block.name, use) + row)
    return rows


def main(count):
    program = os.environ.get('LU_PROGRAM', 'lineup')
    plans = {}
    for spec in cases.BLOCKS:
        rom = 'ROM' in spec['block']
        plans[spec['board'], spec['block']] = list(PLAN['rom' if rom else 'ram'])
    only = os.environ.get('LU_ONLY')
    if count:  # the beginnings of some plans: the same faults as in a run of all
        some = [k for k in FIRST if k in plans][:max(1, count // EACH)]
        plans = {k: plans[k][:EACH] for k in some}
    tally, missed = {}, 0
    with tempfile.TemporaryDirectory() as work, concurrent.futures.ThreadPoolExecutor(2) as pool:
        jobs = [pool.submit(run_block, s, plans[s['board'], s['block']], work, program) for s in cases.BLOCKS
                if (s['board'], s['block']) in plans and (not only or re.search(only, s['board'] + ' ' + s['block']))]
        for name, use, verdict, remark, faults in itertools.chain.from_iterable(j.result() for j in jobs):
            tally.setdefault((name, use), {'first': 0, 'tied': 0, 'missed': 0})[verdict] += 1
            missed += verdict == 'missed'
            if remark:
                print('%s %s %s\n        %s' % (verdict, name, json.dumps(faults), remark))
    print('%-22s %-8s %6s %6s %6s' % ('block', 'fault in', 'first', 'tied', 'missed'))
    for (name, use), t in sorted(tally.items()):
        print('%-22s %-8s %6d %6d %6d' % (name, use, t['first'], t['tied'], t['missed']))
    print('%d cases: net first %d, behind its equals %d, missed %d' % (
        sum(sum(t.values()) for t in tally.values()), *(sum(t[k] for t in tally.values()) for k in ('first', 'tied', 'missed'))))
    return missed > 0


if __name__ == '__main__':
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else None))
