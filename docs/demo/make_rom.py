#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Writes the contents of the harbour tide recorder's two boot ROMs, as the processor sees them.

  make_rom.py OUT [SEED]    64 KiB: word addresses ascending, high byte (even ROM, U2) first

Nothing in it runs.  It has the make-up of a program of its time, which is what matters to an analysis of
faults: a table of addresses, code with its uneven use of values, text, tables, and blank cells (FF) at the end.
"""
import math
import random
import sys

SIZE = 65536
TEXT = ['TIDE RECORDER READY', 'CLOCK LOST POWER, SET DATE', 'GAUGE NOT ANSWERING', 'RECORD FULL AFTER %d DAYS',
        'HIGH WATER %2d:%02d  %3d CM', 'LOW WATER  %2d:%02d  %3d CM', 'SLACK', 'DATUM SHIFTED BY %d MM', 'BATTERY LOW',
        'PRINTER OFF LINE', 'TAKE CARTRIDGE OUT', 'MEAN OF THE DAY %3d CM', 'NO ECHO', 'SURGE WARNING', 'HARBOUR OFFICE',
        'EBB', 'FLOOD', 'CALIBRATE: HOLD FLOAT AT MARK']
# (first word, mask of the bits that vary, how often): moves, arithmetic, branches, calls, returns
WORDS = [(0x2000, 0x0e3f, 14), (0x3000, 0x0e3f, 16), (0x1000, 0x0e3f, 8), (0x6000, 0x0f7e, 14), (0x4eb9, 0, 8),
         (0x4e75, 0, 4), (0x7000, 0x0eff, 8), (0xd040, 0x0e07, 5), (0x9040, 0x0e07, 4), (0xb040, 0x0e07, 4),
         (0x41f9, 0x0e00, 5), (0x4a40, 0x0007, 3), (0xe048, 0x0e87, 3), (0x48e7, 0, 2), (0x4cdf, 0, 2), (0x0c40, 0x0007, 4)]
LONG = {0x4eb9, 0x41f9}                  # followed by an address of two words
EXTRA = {0x48e7, 0x4cdf, 0x0c40}         # followed by one word


def code(rnd, words):
    out = []
    kinds, weights = [w[:2] for w in WORDS], [w[2] for w in WORDS]
    while len(out) < words:
        base, mask = rnd.choices(kinds, weights)[0]
        out.append(base | (rnd.getrandbits(16) & mask))
        if base in LONG:
            where = rnd.choice((0x000000, 0x010000, 0x080000)) + 2 * rnd.randrange(0x5000)
            out += [where >> 16, where & 0xffff]
        elif base in EXTRA:
            out.append(rnd.choice((0x0001, 0x7f00, 0x00fe, rnd.getrandbits(10))))
    return out[:words]


def image(seed):
    rnd = random.Random(seed)
    words = [0x0001, 0xfffe, 0x0000, 0x0400]             # first stack, first instruction
    while len(words) < 0x200:                            # a handler each
        where = 0x0400 + 2 * rnd.randrange(0x1000)
        words += [0, where]
    words += code(rnd, 0x3600)
    data = bytearray(b''.join(w.to_bytes(2, 'big') for w in words))
    for n in range(160):                                 # messages, each ended by 0, at even addresses
        line = b'%03d ' % n + rnd.choice(TEXT).encode('ascii') + b'\0'
        data += line + b'\0' * (len(line) % 2)
    for k in range(6):                                   # tide tables: one constituent each, hourly, in mm
        period, size = (12.42, 12.0, 12.66, 25.82, 23.93, 6.21)[k], (1420, 480, 290, 95, 130, 60)[k]
        for hour in range(512):
            data += (int(size * math.cos(2 * math.pi * hour / period + k)) & 0xffff).to_bytes(2, 'big')
    data += b''.join(w.to_bytes(2, 'big') for w in code(rnd, 0x1000))
    assert len(data) < SIZE
    return bytes(data + b'\xff' * (SIZE - len(data)))


if __name__ == '__main__':
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    with open(sys.argv[1], 'wb') as f:
        f.write(image(int(sys.argv[2]) if len(sys.argv) > 2 else 1991))
