#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The test that decode says to run next, run: does it give what was promised?

For each first fault a dump is simulated and decoded. Then every explanation that is left is taken to be the truth in turn:
the suggested test is simulated with it and both readings are decoded together. The doubt that is left, weighed by the
explanations' probabilities, must be the doubt before less the expected gain: that is what an expected gain means
(J. de Kleer, B. Williams, Artificial Intelligence 32(1), 1987, from memory). The entropies are worked out here.

adaptive.py LINEUP TOP [FAULTS]: prints a row for each first fault; exit status 1 when a promise is not kept."""
import json
import math
import os
import subprocess
import sys
import tempfile

LINEUP, TOP = sys.argv[1], sys.argv[2]
COUNT = int(sys.argv[3]) if len(sys.argv) > 3 else 4
BOARD = os.path.join(TOP, "docs/demo/tide.yaml")
IMAGE = os.path.join(TOP, "docs/demo/tide-rom.bin")
BLOCK = "work RAM"
# what was written first, and the fault then
FIRST = [("checkerboard", "stuck BA6 low"), ("address", "open D4 U1.1 high"), ("walking-ones", "bridge BA4 BA5 and"),
         ("address", "stuck MD5 low"), ("address", "open BA6 U4.5,U5.5 high"), ("checkerboard", "bridge D9 D10 and"),
         ("address", "open D13 U10.13 low"), ("address", "bridge D9 D10 and"), ("solid-0", "stuck MD9 high"),
         ("address", "open D0 U11.18 low")]


def lineup(*args):
    return subprocess.run([LINEUP, *args], capture_output=True)


def decode(*args):
    got = lineup("decode", "--board", BOARD, "--json", *args)
    assert got.returncode in (0, 1), got.stderr.decode()
    return json.loads(got.stdout)


def words(fault):
    """A fault of the JSON as simulate takes it."""
    kind = fault["kind"]
    if kind == "open":
        return f"open {fault['net']} {','.join(fault['cut_off'])} {fault['level']}"
    if kind == "stuck":
        return f"stuck {fault['net']} {fault['level']}"
    if kind == "bridge":
        return f"bridge {fault['nets'][0]} {fault['nets'][1]} {fault['acts']}"
    return f"dead {fault['part']} {fault['lost']}" if kind == "dead" else None


def blamed(explanation):
    names = set()
    for f in explanation["faults"]:
        names |= set(f.get("nets", [])) | {f[k] for k in ("net",) if k in f}
        if "net" not in f and "nets" not in f:
            names.add(f["part"])
    return frozenset(names)


def left(found):
    """Explanations that give every bit, with shares of 1."""
    rows = [e for e in found["explanations"] if e["explained"] >= 0.999 and e["probability"] >= 0.002][:24]
    total = sum(e["probability"] for e in rows)
    return [(e, e["probability"] / total) for e in rows]


def doubt(rows):
    sums = {}
    for e, p in rows:
        sums[blamed(e)] = sums.get(blamed(e), 0) + p
    return -sum(p * math.log2(p) for p in sums.values() if p > 0)


def simulate(path, block, what, faults):
    args = ["simulate", "--board", BOARD, "--block", block, *what, "-o", path]
    for f in faults:
        args += ["--fault", f]
    got = lineup(*args)
    return got.returncode == 0 or "no net" in got.stderr.decode() and simulate(path, block, what, [])


def try_fault(folder, fill, first):
    d1, d2, run = (os.path.join(folder, n) for n in ("1.bin", "2.bin", "run.yaml"))
    if not simulate(d1, BLOCK, ["--wrote", fill], [first]):
        sys.exit(f"cannot simulate {first}")
    found = decode("--block", BLOCK, "--wrote", fill, d1)
    rows, test = left(found), found.get("next_test")
    before = doubt(rows)
    if not test:
        return before, None, None, None, None
    assert abs(test["doubt_bits"] - before) < 0.01, (test, before)
    test = test.get("by_dump", test)  # what simulate can play
    if test["kind"] == "pattern":
        return before, None, None, None, None
    what = ["--wrote", test["pattern"]] if test["kind"] == "write" else ["--expect", IMAGE]
    after = mass = 0
    for e, p in rows:
        faults = [words(f) for f in e["faults"]]
        if p < 0.01 or None in faults or not simulate(d2, test["block"], what, faults):
            continue
        with open(run, "w") as out:
            out.write(f"runs:\n  - {{block: {BLOCK}, wrote: {fill}, dump: 1.bin}}\n"
                      f"  - {{block: {test['block']}, {what[0][2:]}: {what[1]}, dump: 2.bin}}\n")
        after += p * doubt(left(decode("--run", run)))
        mass += p
    return before, test["gain_bits"], before - after / mass, mass, test["pattern"] or f"read {test['block']}"


def main():
    faults = FIRST[:COUNT]
    kept = promised = 0
    with tempfile.TemporaryDirectory() as folder:
        for fill, first in faults:
            before, promise, got, mass, name = try_fault(folder, fill, first)
            if promise is None:
                print(f"{fill:13}{first:26} doubt {before:.2f}: no test would split it")
                continue
            print(f"{fill:13}{first:26} doubt {before:.2f}, {name}: promised {promise:.2f}, got {got:.2f} (over {mass:.0%} of the explanations)")
            promised += promise
            kept += got
            if got < 0.8 * promise - 0.05:
                print("  less than promised")
    print(f"promised {promised:.2f} bits, got {kept:.2f}")
    return 0 if promised > 0 and abs(kept - promised) <= 0.15 * promised + 0.05 else 1


sys.exit(main())
