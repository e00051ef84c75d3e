#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Several passes where a contact opens in one of them: not "nothing wrong" because most passes are right, and the line is
# named; evenly spread noise stays nothing wrong. The passes are made by python3, apart from the program.
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
bad=0
rom=$LU_TOP/docs/demo/tide-rom.bin
python3 - "$rom" "$dir" <<'P'
import random, sys
rom, out = open(sys.argv[1], 'rb').read(), sys.argv[2]
draw = random.Random(20)
def write(name, passes):
    for n, p in enumerate(passes):
        open('%s/%s%d' % (out, name, n), 'wb').write(bytes(p))
def noisy(share):
    p = bytearray(rom)
    for _ in range(int(len(rom) * 8 * share)):
        p[draw.randrange(len(rom))] ^= 1 << draw.randrange(8)
    return p
def one(change):
    p = bytearray(rom)
    change(p)
    return [rom, p, rom]
def data(p):  # D15 floats high: the high byte comes first
    for i in range(20000, 30000, 2):
        p[i] |= 0x80
def address(p):  # A5 (A1 is the lowest) at the other level
    for i in range(20000, 40000):
        p[i] = rom[i ^ 32]
def silent(p):  # nothing answers
    p[20000:24000] = b'\xff' * 4000
def flipped(p):
    p[100] ^= 1
for n, share in (('few', 0.0001), ('one', 0.01), ('two', 0.02)):
    write(n, [noisy(share) for _ in range(3)])
for n, change in (('data', data), ('address', address), ('silent', silent), ('flipped', flipped)):
    write(n, one(change))
P

check() { # NAME, STATUS, VERDICT, NET (or -)
  "$LU_PROGRAM" decode --board "$LU_TOP/docs/demo/tide.yaml" --block 'boot ROM' --expect "$rom" --json "$dir/$1"[012] >"$dir/out" 2>&1
  local got=$?
  local said
  said=$(python3 -c 'import json, sys
f = json.load(open(sys.argv[1]))
print(f["verdict"], f["suspects"][0]["net"] if f["suspects"] else "-")' "$dir/out")
  [[ $got == "$2" && $said == "$3 $4" ]] || { echo "$1: exit $got, '$said'; expected $2, '$3 $4'"; bad=1; }
}
check few 0 clean -
check one 0 clean -
check two 0 clean -
check flipped 0 clean -
check data 1 unknown D15
check address 1 unknown A5
check silent 0 unknown -
exit $bad
