#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The pattern that decode says to run next, run: on a memory of our own, whose faults the program does not know of.

The memory (32768 bytes behind faulty lines, as the log RAM of tests/boards/log8.yaml sees it) is filled and dumped; decode
names a pattern; `pattern expand` lists its operations, the memory here does them, what fails is logged; decode takes dump
and log together. The truth must stay among the suspects, and the doubt must shrink.

next_pattern.py LINEUP TOP"""
import json
import math
import os
import subprocess
import sys
import tempfile

LINEUP, TOP = sys.argv[1], sys.argv[2]
BOARD = os.path.join(TOP, "tests/boards/log8.yaml")
BLOCK, BASE, WORDS = "log RAM", 0x8000, 32768

# what is filled in first, the fault: lines between tester and memory, and the nets that are to blame
CASES = [("address", ("address", 4, 1), {"/A4", "/BA4"}), ("address", ("data", 5, 1), {"/D5", "/MD5"}),
         ("address", ("data-and", 2, 3), {"/D2", "/D3", "/MD2", "/MD3"}), ("address", ("address-and", 1, 9), {"/A1", "/A9", "/BA1", "/BA9"}),
         ("address-inverse", ("address", 6, 0), {"/A6", "/BA6"}), ("checkerboard", ("data-and", 5, 6), {"/D5", "/D6", "/MD5", "/MD6"})]


def both(v, i, k):
    return v & ~(1 << i | 1 << k) if (v >> i ^ v >> k) & 1 else v


class Memory:
    def __init__(self, fault):
        self.fault, self.cells = fault, [0] * WORDS

    def line(self, kind, v):
        name, a, b = self.fault
        if name == kind:
            return v | 1 << a if b else v & ~(1 << a)
        return both(v, a, b) if name == kind + "-and" else v

    def write(self, a, v):
        self.cells[self.line("address", a)] = self.line("data", v)

    def read(self, a):
        return self.line("data", self.cells[self.line("address", a)])


def lineup(*args):
    got = subprocess.run([LINEUP, *args], capture_output=True, text=True)
    assert got.returncode in (0, 1), got.stderr
    return got.stdout


def decode(*args):
    return json.loads(lineup("decode", "-b", BOARD, "--json", *args))


def blamed(e):
    return frozenset(n for f in e["faults"] for n in f.get("nets", [f.get("net") or f.get("part")]))


def doubt(found):
    """Entropy of what is blamed, as docs/patterns.md has it."""
    rows = [e for e in found["explanations"] if e["explained"] >= 0.999 and e["probability"] >= 0.002][:24]
    total, sums = sum(e["probability"] for e in rows), {}
    for e in rows:
        sums[blamed(e)] = sums.get(blamed(e), 0) + e["probability"] / total
    return -sum(p * math.log2(p) for p in sums.values())


def likely(found):
    return {s["net"] for s in found["suspects"] if s["probability"] > 0.02}


def run(memory, name, log):
    """The pattern's operations on the memory; what its test would print. The number of operations."""
    count = 0
    where = element = ""
    with open(log, "w") as out:
        for line in lineup("pattern", "expand", name, "-b", BOARD, "--block", BLOCK).splitlines():
            word = line.split()
            if word[0] == "#":
                where = f"pass {word[2].rstrip(':')}" if word[1] == "pass" else where
                element = f"element {word[2]}" if word[1] == "element" else element
                continue
            if word[0] == "wait":
                continue
            a, v = int(word[1], 0), int(word[2], 0)
            count += 1
            if word[0] == "w":
                memory.write(a - BASE, v)
            elif memory.read(a - BASE) != v:
                out.write(f"0x{a:06x}: expected {v:02x}, got {memory.read(a - BASE):02x}  ({name}, {where}, {element})\n")
        out.write(f"pattern: {name}\n# finished\n")
    return count


def try_case(fill, fault, nets):
    memory = Memory(fault)
    lineup("pattern", "expand", fill, "--size", str(WORDS), "--pass", "1", "--image", "fill.bin") if fill != "checkerboard" else None
    if fill == "checkerboard":
        open("fill.bin", "wb").write(bytes([0x55, 0xAA] * (WORDS // 2)))
    for a, v in enumerate(open("fill.bin", "rb").read()):
        memory.write(a, v)
    open("dump.bin", "wb").write(bytes(memory.read(a) for a in range(WORDS)))
    first = decode("--block", BLOCK, "--wrote", "fill.bin", "dump.bin")
    before, test = doubt(first), first.get("next_test")
    assert likely(first) & nets, (fill, fault, likely(first))
    test = test and (test if test["kind"] == "pattern" else test.get("by_pattern"))
    if not test or test["block"] != BLOCK:
        print(f"{fill:16}{fault!s:26} doubt {before:.2f}: no pattern would split it")
        return 0, 0
    count = run(memory, test["pattern"], "log.txt")
    assert count == test["operations"], (count, test)
    with open("run.yaml", "w") as out:
        out.write(f"runs:\n  - {{block: {BLOCK}, wrote: fill.bin, dump: dump.bin}}\n  - {{block: {BLOCK}, log: log.txt, pattern: {test['pattern']}}}\n")
    second = decode("--run", "run.yaml")
    after = doubt(second)
    print(f"{fill:16}{fault!s:26} doubt {before:.2f}, {test['pattern']} ({count} operations): promised {test['gain_bits']:.2f}, got {before - after:.2f}; "
          f"suspects {sorted(likely(second))}")
    assert likely(second) & nets and likely(second) <= likely(first), (likely(first), likely(second))
    assert after <= before + 0.01, (before, after)
    return test["gain_bits"], before - after


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        gains = [try_case(*c) for c in CASES]
    promised, got = (sum(g[k] for g in gains) for k in (0, 1))
    print(f"promised {promised:.2f} bits, got {got:.2f}")
    assert sum(g[0] > 0 for g in gains) >= 3 and got > 0.5 * promised


main()
