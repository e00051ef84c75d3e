#!/bin/bash
# SPDX-License-Identifier: MIT
# The report page: time beside `python3 -c pass`, run in turn (A B A B), and size.
#
#   tests/bench/bench_report.sh LINEUP [ROUNDS]
#
# Prints the medians of wall and processor time of each and their ratios. Pages: a job of the demo board; a module of 16 MiB of
# DRAM (eight chips of 16M x 1, rows and columns multiplexed, with its board file) with 100,000 wrong bits in random
# places, with 100,000 in one chip, and with a dead address line. Files are made anew, with fixed seeds.
set -eu
lineup=$(realpath "${1:?usage: bench_report.sh LINEUP [ROUNDS]}") rounds=${2:-7}
top=$(realpath "$(dirname "$0")/../..")
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
cd "$dir"
cp -r "$top/docs" .
"$lineup" job new --board docs/demo/tide.yaml tide.job >/dev/null
"$lineup" decode --job tide.job --run docs/demo/as-found.yaml >/dev/null || true
python3 - <<'PY'
import random
pins = ["A%d" % i for i in range(12)] + ["D", "Q", "RAS", "CAS", "W"]
at = {p: i + 1 for i, p in enumerate(pins)}
chips = range(1, 9)
nets = {"MA%d" % i: ["J1.%d" % (i + 1)] + ["U%d.%d" % (c, at["A%d" % i]) for c in chips] for i in range(12)}
nets.update({"MD%d" % b: ["J1.%d" % (13 + b), "U%d.%d" % (b + 1, at["D"]), "U%d.%d" % (b + 1, at["Q"])] for b in range(8)})
nets.update({"M" + k: ["J1.%d" % n] + ["U%d.%d" % (c, at[k]) for c in chips] for k, n in (("RAS", 21), ("CAS", 22), ("W", 23))})
roles = ["A%d: %d" % (i, i + 1) for i in range(12)] + ["D%d: %d" % (b, 13 + b) for b in range(8)] + ["RAS: 21", "CAS: 22", "W: 23"]
with open("module.yaml", "w") as f:
    f.write("title: Memory module of 16 MiB\nnets:\n")
    f.writelines("  %s: [%s]\n" % (k, ", ".join(v)) for k, v in nets.items())
    f.write("parts:\n")
    f.writelines("  U%d: {pins: {%s}}\n" % (c, ", ".join("%s: %d" % (p, at[p]) for p in pins)) for c in chips)
    f.write("  J1: {pins: {%s}}\nvantages:\n  module:\n    at: J1\n" % ", ".join(roles))
    f.write("    address: {row: [A0-A11], column: [A0-A11]}\n    data: [D0-D7]\n    strobes:\n      read: {pin: CAS, active: low}\n")
    f.write("memory:\n  - {name: module RAM, seen_from: module, base: 0, size: 16777216, kind: ram, chips: [%s]}\n" % ", ".join("U%d" % c for c in chips))
random.seed(5)
known = random.randbytes(1 << 24)
open("known.bin", "wb").write(known)
bits = bytearray(known)
for k in random.sample(range(1 << 27), 100000):
    bits[k >> 3] ^= 1 << (k & 7)
open("bits.bin", "wb").write(bits)
chip = bytearray(known)
for k in random.sample(range(1 << 24), 100000):
    chip[k] ^= 16
open("chip.bin", "wb").write(chip)
PY
"$lineup" simulate -b module.yaml --block 'module RAM' -e known.bin -f 'open MA3 U1.4,U2.4,U3.4,U4.4,U5.4,U6.4,U7.4,U8.4 high' -o line.bin
cat >turns.py <<'PY'
import os, resource, statistics, subprocess, sys, time
name, rounds, page, call = sys.argv[1], int(sys.argv[2]), sys.argv[3], sys.argv[4:]
def run(words):
    before, t = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(words, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.perf_counter() - t, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
ours, theirs = [], []
for _ in range(rounds):
    ours.append(run(call))
    theirs.append(run(["/usr/bin/python3", "-c", "pass"]))
mid = lambda rows, k: statistics.median(r[k] for r in rows)
print("%-28s wall %7.1f ms  cpu %7.1f ms  python wall %6.1f ms  cpu %5.1f ms  ratio wall %5.1f  cpu %5.1f  page %7d bytes" % (
    name, 1e3 * mid(ours, 0), 1e3 * mid(ours, 1), 1e3 * mid(theirs, 0), 1e3 * mid(theirs, 1),
    mid(ours, 0) / mid(theirs, 0), mid(ours, 1) / mid(theirs, 1), os.path.getsize(page)))
PY
turns() { # NAME ARGUMENT...
  local name=$1
  shift
  /usr/bin/python3 turns.py "$name" "$rounds" page.html "$lineup" report "$@" -o page.html
}
turns 'demo job' tide.job
module=(--board module.yaml --block 'module RAM' --expect known.bin)
turns '16 MiB, 100,000 bits' "${module[@]}" bits.bin
turns '16 MiB, 100,000 in a chip' "${module[@]}" chip.bin
turns '16 MiB, an address line' "${module[@]}" line.bin
