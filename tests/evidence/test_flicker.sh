#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Three passes of a ROM and of a RAM with a contact that opens now and then: its net comes first, with its pins; steady faults beside it are
# told; noise of up to 2 % of the bits, alone, is nothing wrong, and hides no contact. The passes are made by python3 from the board's
# drawing, apart from the program: A5 goes through U12 to both ROMs as BA5, U3 holds the low byte.
# slow: some thirty decodes of 64 KiB in three passes, half a minute of processor time
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
bad=0
rom=$LU_TOP/docs/demo/tide-rom.bin
python3 - "$rom" "$dir" <<'P'
import random, sys
out, draw = sys.argv[2], random.Random(20)
rom = open(sys.argv[1], 'rb').read()
W = [rom[n] << 8 | rom[n + 1] for n in range(0, len(rom), 2)]
N = len(W)
def write(name, words):
    open('%s/%s' % (out, name), 'wb').write(b''.join(bytes((w >> 8, w & 255)) for w in words))
def noisy(words, share):
    for _ in range(int(N * 16 * share)):
        words[draw.randrange(N)] ^= 1 << draw.randrange(16)
    return words
def passes(name, opened, often, noise, sound=lambda n: W[n]):
    """Three passes in which the contact is open in so many of the reads: opened(address, word, word read before)."""
    for k in range(3):
        words, before = [], 0
        for n in range(N):
            before = opened(n, sound(n), before) if draw.random() < often else sound(n)
            words.append(before)
        write('%s-%d' % (name, k), noisy(words, noise))
def burst(name, opened, first, last):
    for k in range(3):
        write('%s-%d' % (name, k), [opened(n) if k == 1 and first <= n < last else W[n] for n in range(N)])
dead = lambda n: W[n & ~4] | 2 # A3 floats low, D1 stuck high: in every read
for tag, share in (('', 0), ('-2', 0.02)):
    passes('none' + tag, lambda n, w, before: w, 0, share or 0.0001)
    passes('data' + tag, lambda n, w, before: w | 1 << 15, 0.1, share)
    passes('address' + tag, lambda n, w, before: W[n | 16], 0.1, share)
    passes('chip' + tag, lambda n, w, before: w & 0xff00 | W[n | 16] & 0xff, 0.1, share)
    passes('last' + tag, lambda n, w, before: w & ~8 | before & 8, 0.3, share)
    passes('kept' + tag, lambda n, w, before: W[n & ~16 | n - 1 & 16], 0.3, share)
    passes('beside' + tag, lambda n, w, before: dead(n | 64), 0.1, share, dead)
    passes('steady' + tag, lambda n, w, before: w, 0, share, dead)
passes('none-1', lambda n, w, before: w, 0, 0.01)
passes('chip-1', lambda n, w, before: w & 0xff00 | W[n | 16] & 0xff, 0.1, 0.01)
burst('burst', lambda n: W[n] | 1 << 15, 10000, 15000)
burst('moved', lambda n: W[n | 16], 10000, 15000)
burst('silent', lambda n: 0xffff, 10000, 12000)
burst('flipped', lambda n: W[n] ^ 1, 50, 51)
# a RAM: the contact is open at times while it is filled, too
want = [draw.randrange(65536) for _ in range(N)]
cells = [draw.randrange(65536) for _ in range(N)]
now_and_then = lambda n: n | 16 if draw.random() < 0.1 else n
for n in range(N):
    cells[now_and_then(n)] = want[n]
write('want', want)
for k in range(3):
    write('filled-%d' % k, [cells[now_and_then(n)] for n in range(N)])
P

ask() { # NAME, further arguments
  local name=$1
  shift
  "$LU_PROGRAM" decode --board "$LU_TOP/docs/demo/tide.yaml" "$@" --json "$dir/$name"-[012] >"$dir/out" 2>&1
}
check() { # NAME, STATUS, VERDICT, then NET or NET:PIN, each among as many first suspects, or -; the first explanation's unsteady contact is the first net's
  local name=$1 status=$2 verdict=$3 block=(--block 'boot ROM' --expect "$rom")
  shift 3
  [[ $name == filled ]] && block=(--block 'work RAM' --wrote "$dir/want")
  ask "$name" "${block[@]}"
  local got=$?
  python3 - "$dir/out" "$got" "$status" "$verdict" "$@" <<'P' || { echo "FAILED: $name"; bad=1; }
import json, sys
path, got, status, verdict, *nets = sys.argv[1:]
f = json.load(open(path))
first = f['suspects'][:len(nets)]
text = '%s %s %s' % (got, f['verdict'], [(s['net'], [p['pin'] for p in s['pins']], s['probability']) for s in first])
ok = got == status and f['verdict'] == verdict and (bool(f['suspects']) or nets == ['-'])
for net in nets if nets != ['-'] else []:
    name, _, pin = net.partition(':')
    ok &= any(s['net'] == name and pin in [''] + [p['pin'] for p in s['pins']] for s in first)
if nets != ['-'] and ok:
    loose = [x for x in f['explanations'][0]['faults'] if x.get('unsteady')]
    ok = [(x['kind'], x['net']) for x in loose] == ([('open', nets[0].partition(':')[0])] if nets[-1] != 'D1' or len(nets) > 2 else [])
    ok &= f['suspects'][0]['probability'] > 0.5 and f['read']['passes'] == 3
if not ok:
    print(text, f['reason'])
sys.exit(not ok)
P
}
for tag in '' -2; do
  check "none$tag" 0 clean -
  check "data$tag" 1 faulty D15:U1.54
  check "address$tag" 1 faulty A5:U12.6
  check "chip$tag" 1 faulty BA5:U3.6
  check "last$tag" 1 faulty D3
  check "kept$tag" 1 faulty A5:U12.6
  check "beside$tag" 1 faulty A7:U12.8 A3:U12.4 D1
  check "steady$tag" 1 faulty A3:U12.4 D1
done
check none-1 0 clean -
check chip-1 1 faulty BA5:U3.6
check flipped 0 clean -
check burst 1 faulty D15
check moved 1 faulty A5
check filled 1 faulty A5:U12.6

# A contact before the select: which one of the lines to it, nobody can tell.
ask silent --block 'boot ROM' --expect "$rom"
[[ $? == 1 ]] && python3 -c 'import json, sys
f = json.load(open(sys.argv[1]))
sys.exit(not {"ROMCS#", "AS#", "A17", "A18", "A19"} <= {s["net"] for s in f["suspects"]} or f["suspects"][0]["probability"] > 0.5)' "$dir/out" ||
  { echo "FAILED: silent"; bad=1; }

# In words: what to do with a contact that a meter may find closed.
"$LU_PROGRAM" decode --board "$LU_TOP/docs/demo/tide.yaml" --block 'boot ROM' --expect "$rom" "$dir"/chip-1-[012] >"$dir/out"
tr -s '\n ' ' ' <"$dir/out" | grep -q 'The passes differ as if now and then U3.6 did not follow U12.14 but floated high' &&
  grep -q 'open now and then' "$dir/out" && tr -s '\n ' ' ' <"$dir/out" | grep -q 'while you press on both chips' || { echo "FAILED: words"; bad=1; }

# With nothing known of the contents.
ask address --block 'boot ROM'
python3 -c 'import json, sys
f = json.load(open(sys.argv[1]))
sys.exit(f["verdict"] != "faulty" or f["suspects"][0]["net"] != "A5")' "$dir/out" || { echo "FAILED: nothing known"; bad=1; }
exit $bad
