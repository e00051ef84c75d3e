#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A capture of a Verilog model of a test board with faults in it.

  cap_board.py BOARD BLOCK FAULTS OUT [turns] [address|walking-ones] [PIN ...]

FAULTS: JSON as board2v takes them.  Writes OUT.vcd (by the simulator's own writer), OUT.yaml (which of its
wires is which net) and OUT.bin (the contents: for a RAM what was written, in ascending order; for a ROM the image).
As in cases.py, a RAM is filled where at most three address bits are 0, so that the last of the addresses that fall
together is among them; a ROM is read where at most two bits are 1.  turns: each word is read right after it is written.
address, walking-ones: the test's contents (of bytes) instead of random ones.  PINs (U3.10) are probed at the leg as well: what a fault cuts off is seen there.
"""
import json
import os
import random
import re
import subprocess
import sys

import board2v

HERE = os.path.dirname(os.path.abspath(__file__))


def main(board, block, faults, out, turns=False, probes=(), fill=None):
    model = board2v.load(board)
    memory = model['memory'][block]
    base, size, rom = memory['base'], memory['size'], memory['kind'] == 'rom'
    bits, rnd = (size - 1).bit_length(), random.Random(block)
    image = {'address': bytes(a & 255 for a in range(size)), 'walking-ones': bytes(1 << a % 8 for a in range(size))}.get(fill) or rnd.randbytes(size)
    with open(out + '.bin', 'wb') as f:
        f.write(image)
    files = {}
    for ref, kind in model['types'].items():
        if kind in board2v.ROMS:
            files[ref] = '%s.%s' % (out, ref)
            with open(files[ref], 'w', encoding='ascii') as f:
                f.write('\n'.join('%02x' % b for b in (image if rom else b'\xff')) + '\n')
    at = [a for a in range(size) if (bin(a).count('1') <= 2 if rom else bits - bin(a).count('1') <= 3)]
    for what, rows in (('addr', [base + a for a in at]), ('data', [image[a] for a in at])):
        with open('%s.%s' % (out, what), 'w', encoding='ascii') as f:
            f.write('\n'.join('%x' % v for v in rows) + '\n')
    text = board2v.verilog(model, faults, files)
    if turns:
        text = text.replace('write(addr[n], data[n]);', 'begin M.write(addr[n], data[n]); M.read(addr[n], v); end')
        master = next(r for r, k in model['types'].items() if k in board2v.MASTERS)
        text = text.replace(master + '.begin M.', 'begin %s.' % master).replace(' M.read', ' %s.read' % master)
    text = re.sub(r'\bn(\d+)\b', r'w\1', text)  # n1 would also be bit 1 of the bench's n
    wires = {net: wire for wire, net in re.findall(r'^  tri (\w+); // (.*)$', text, re.M)}
    at = {'%s.%s' % (p[0], p[1]): n for n, pins in board2v.apply(model, faults)[0].items() for p in pins}
    end = text.rindex('endmodule')
    text = text[:end] + ''.join('  wire leg%d; assign leg%d = %s;\n' % (i, i, wires[at[p]]) for i, p in enumerate(probes)) + (
        text[end:])
    end = text.rindex('endmodule')
    text = text[:end] + '  initial begin $dumpfile("%s.vcd"); $dumpvars(1, tb); end\n' % out + text[end:]
    with open(out + '.v', 'w', encoding='ascii') as f:
        f.write(text)
    with open(out + '.yaml', 'w', encoding='ascii') as f:
        for line in text.split('\n'):
            if line.startswith('  tri ') and ' cut ' not in line:
                wire, net = line[6:].split('; // ')
                f.write('%s: "%s"\n' % (wire, net))
        f.write(''.join('leg%d: %s\n' % x for x in enumerate(probes)))
    subprocess.run(['iverilog', '-g2005-sv', '-o', out + '.vvp', '-s', 'tb', out + '.v', os.path.join(HERE, 'parts.v')], check=True)
    args = ['+count=%d' % len(at), '+addr=%s.addr' % out, '+out=%s.out' % out] + ([] if rom else ['+data=%s.data' % out])
    subprocess.run(['vvp', '-n', out + '.vvp'] + args, check=True, stdout=subprocess.DEVNULL)


if __name__ == '__main__':
    main(sys.argv[1], sys.argv[2], json.loads(sys.argv[3]), sys.argv[4], 'turns' in sys.argv[5:],
         [a for a in sys.argv[5:] if '.' in a], ([a for a in sys.argv[5:] if a in ('address', 'walking-ones')] or [None])[0])
