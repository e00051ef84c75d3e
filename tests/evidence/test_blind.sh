#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# With nothing known of the contents: an address line joined with a data line leaves that data bit at one level in half of the words (where
# one wins, it is the address bit), and both are named; undamaged contents, random, half empty or those of a program, are not called
# faulty. Dumps are made by python3 from the words that such lines give, apart from the program.
# slow: fifteen decodes, a quarter of a minute of processor time
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
bad=0
python3 - "$LU_TOP/docs/demo/tide-rom.bin" "$dir" <<'P'
import random, sys
rom, out = open(sys.argv[1], 'rb').read(), sys.argv[2]
draw = random.Random(3)
W = [rom[n] << 8 | rom[n + 1] for n in range(0, len(rom), 2)]
N = len(W)
def write(name, words, width=2):
    open('%s/%s' % (out, name), 'wb').write(b''.join(w.to_bytes(width, 'big') for w in words))
def joined(W, address, data, high):
    """Wired AND (high: OR) of an address line with a data line, for memory that answers after the address stands: read until both agree."""
    a, d, words = 1 << address, 1 << data, []
    for n in range(len(W)):
        at = n
        for _ in range(4):
            line = (n & a != 0 or W[at] & d != 0) if high else (n & a != 0 and W[at] & d != 0)
            at, word = (at | a if line else at & ~a), W[at] | d if line else W[at] & ~d
        words.append(word)
    return words
for name, words in (('text', W), ('noise', [draw.randrange(65536) for _ in range(N)])):
    write(name, words)
    write(name + '-and', joined(words, 2, 2, False))
    write(name + '-or', joined(words, 9, 5, True))
    write(name + '-wins', [w & ~4 | n & 4 for n, w in enumerate(words)])
write('half', W[:N // 2] + [0xffff] * (N // 2))
for seed in range(3): # no power of two
    open('%s/log%d' % (out, seed), 'wb').write(random.Random(seed).randbytes(57344))
P
check() { # DUMP, STATUS, VERDICT, nets among the first four suspects
  local name=$1 status=$2 verdict=$3
  shift 3
  local where=(--board "$LU_TOP/docs/demo/tide.yaml" --block 'boot ROM')
  [[ $name == log* ]] && where=(--board "$LU_TOP/tests/boards/buoy8.yaml" --block 'log RAM')
  "$LU_PROGRAM" decode "${where[@]}" --json "$dir/$name" >"$dir/out"
  local got=$?
  python3 - "$dir/out" "$got" "$status" "$verdict" "$@" <<'P' || { echo "FAILED: $name"; bad=1; }
import json, sys
path, got, status, verdict, *nets = sys.argv[1:]
f = json.load(open(path))
first = [s['net'] for s in f['suspects'][:4]]
ok = got == status and f['verdict'] == verdict and all(n in first for n in nets) and bool(f['suspects']) == bool(nets)
if not ok:
    print(got, f['verdict'], first, f['reason'])
sys.exit(not ok)
P
}
for name in text noise half log0 log1 log2; do
  check $name 0 clean
done
for name in text noise; do
  check $name-and 1 faulty A3 D2
  check $name-or 1 faulty A10 D5
  check $name-wins 1 faulty A3 D2
done
exit $bad
