#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A memory with a fault, a march test run over it, and what a test would print of the reads that fail. Written for
tests of `decode --log`: shares nothing with the program but the notation of docs/patterns.md.

march_bench.py MARCH WORDS WIDTH BASE FAULT [OPTION ...] > log
  FAULT: good | address-stuck BIT LEVEL | address-and BIT BIT | data-stuck BIT LEVEL | data-and BIT BIT
       | cell WORD BIT LEVEL | slow WORD BIT LEVEL (never gets to LEVEL by a write)
       | coupled WORD BIT FROM LEVEL up|down (a write that moves cell FROM up or down sets it to LEVEL)
  faults may be joined by +.  OPTION: name=NAME to print, first=N failures only, columns, words (backgrounds of
  log2(width)+1 words), turns (address orders), counted (operations over the whole march, from 0)."""
import re
import sys

march, words, width, base = sys.argv[1], *(int(x, 0) for x in sys.argv[2:5])
rest = sys.argv[5:]
faults, options, now = [], {}, []
for word in rest:
    key = word.split("=")[0]
    if key in ("name", "first", "columns", "words", "turns", "counted"):
        options[key] = word.partition("=")[2]
    elif word == "+":
        faults.append(now)
        now = []
    else:
        now.append(word)
faults.append(now)
bits = (words - 1).bit_length()
ones = (1 << width) - 1


def parse():
    out = []
    for direction, ops in re.findall(r"(up|down|any)\s*\(([^)]*)\)", march):
        out.append((direction, [(op.strip()[0], int(op.strip()[1])) for op in ops.split(",")]))
    return out


def backgrounds():
    yield 0
    k = 1
    while "words" in options and k < width:
        yield sum(1 << i for i in range(width) if i // k % 2 == 0)
        k *= 2


def orders():
    if "turns" not in options:
        yield range(words)
        return
    for line in range(bits):
        for down in (False, True):
            others = [b for b in range(bits) if b != line]
            low = [sum(1 << b for i, b in enumerate(others) if k >> i & 1) for k in range(1 << bits - 1)]
            if down:
                low.reverse()
            yield [w | top << line for top in (0, 1) for w in low if w | top << line < words]


cells = [0] * words
last = []


def address(a):
    for f in faults:
        if f[0] == "address-stuck":
            a = a | 1 << int(f[1]) if int(f[2]) else a & ~(1 << int(f[1]))
        if f[0] == "address-and":
            i, k = int(f[1]), int(f[2])
            if (a >> i & 1) != (a >> k & 1):
                a &= ~(1 << i | 1 << k)
    return a


def lines(v):
    for f in faults:
        if f[0] == "data-stuck":
            v = v | 1 << int(f[1]) if int(f[2]) else v & ~(1 << int(f[1]))
        if f[0] == "data-and":
            i, k = int(f[1]), int(f[2])
            if (v >> i & 1) != (v >> k & 1):
                v &= ~(1 << i | 1 << k)
    return v


def hold(a):
    for f in faults:
        if f[0] == "cell" and int(f[1], 0) == a:
            b = 1 << int(f[2])
            cells[a] = cells[a] | b if int(f[3]) else cells[a] & ~b


def write(a, v):
    a, v = address(a), lines(v)
    old, new = cells[a], v
    for f in faults:
        if f[0] == "slow" and int(f[1], 0) == a:
            b = 1 << int(f[2])
            if (new & b != 0) == bool(int(f[3])) and old & b != new & b:
                new ^= b
    cells[a] = new
    for f in faults:
        if f[0] == "coupled" and int(f[3], 0) == a:
            b = 1 << int(f[2])
            if (f[5] == "up" and new & b > old & b) or (f[5] == "down" and new & b < old & b):
                victim = int(f[1], 0)
                cells[victim] = cells[victim] | b if int(f[4]) else cells[victim] & ~b
    hold(a)


def read(a):
    a = address(a)
    hold(a)
    return lines(cells[a])


def main():
    seen, number, digits = 0, 0, (width + 3) // 4
    step = 2 if width > 8 else 1
    most = int(options.get("first", 0) or 0)
    elements = parse()
    name = options.get("name", "")
    for order in orders():
        order = list(order)
        for background in backgrounds():
            number += 1
            counted = 0
            for e, (direction, ops) in enumerate(elements):
                for a in (order[::-1] if direction == "down" else order):
                    for o, (kind, value) in enumerate(ops):
                        want = background ^ ones if value else background
                        if kind == "w":
                            write(a, want)
                            continue
                        got = read(a)
                        if got == want:
                            continue
                        seen += 1
                        if most and seen > most:
                            print("stopped")
                            return
                        where = base + a * step
                        what = (f"operation {counted + o}" if "counted" in options else
                                f"{name}, pass {number}, element {e + 1}, operation {o + 1}".lstrip(", "))
                        if "columns" in options:
                            print(f"{where:04x} {want:0{digits}x} {got:0{digits}x}  {what}")
                        else:
                            print(f"0x{where:06x}: expected {want:0{digits}x}, got {got:0{digits}x}  ({what})")
                counted += len(ops)
    print(f"# tested {base:x}-{base + words * step - 1:x}")
    print(f"# finished: {seen} errors")


main()
