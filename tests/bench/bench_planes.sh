#!/bin/bash
# SPDX-License-Identifier: MIT
# Dumps: our kernels, compare and decode beside general-purpose tools on the same files, in turn.
#
#   tests/bench/bench_planes.sh BUILD_DIR [MEGABYTES] [ROUNDS]
#
# Whole processes, files in memory (/dev/shm); each row is ROUNDS (default 9) pairs of runs, ours then theirs, and
# prints the median times, the median of theirs / ours, and the target that it is held against (docs/speed.md). Peers:
# cmp, wc, sha1sum, numpy (package python3-numpy; its own start is taken off), true and python3.
# A peer that is missing is left out. One thread. LU_PYTHON names another python3.
set -eu
build=${1:?usage: bench_planes.sh BUILD_DIR [MEGABYTES] [ROUNDS]}
mb=${2:-256} rounds=${3:-9}
here=$(cd "$(dirname "$0")" && pwd) top=$(cd "$(dirname "$0")/../.." && pwd)
python=${LU_PYTHON:-/usr/bin/python3}
dir=$(mktemp -d /dev/shm/lu-planes-XXXXXX)
trap 'rm -rf "$dir"' EXIT
ours="$build/tests/bench_planes" lineup="$build/lineup"

# make: a; same; u = 1 % of the bytes differ, anywhere; dead = bit 20 of the word address has no effect;
# m, m7, m3 = 16 MiB, the same with address line 7 dead, with data line 3 stuck
"$ours" make "$dir" "$mb"

row() { # target name ours... -- theirs...
  local target=$1 name=$2; shift 2
  "$build/tests/pairs" -n "$rounds" -t "$target" "$name" -- "$@"
}
numpy() { # target name job ours...: numpy's own time, which its program prints, instead of its process
  local target=$1 name=$2 job=$3; shift 3
  "$python" -c 'import numpy' 2> /dev/null || { echo "$name: no numpy, left out"; return; }
  "$build/tests/pairs" -n "$(((rounds + 1) / 2))" -s -t "$target" "$name" -- "$@" -- "$python" "$here/numpy_peer.py" "$job" "$dir/a" "$dir/u"
}

echo "$mb MiB, 16-bit words, $(nproc) processors, load $(cut -d' ' -f1 /proc/loadavg)"
row 1.4 "D1 compare, equal dumps : cmp" "$lineup" compare --width 16 "$dir/a" "$dir/same" -- cmp "$dir/a" "$dir/same"
row 6 "D2 1 % differ, per bit : cmp -l | wc -l" "$ours" diff "$dir/a" "$dir/u" -- sh -c "cmp -l '$dir/a' '$dir/u' | wc -l"
row 6 "D2 compare, whole : cmp -l | wc -l" "$lineup" compare --width 16 "$dir/a" "$dir/u" -- sh -c "cmp -l '$dir/a' '$dir/u' | wc -l"
row 1 "D3 ones, AND, OR : wc -l" "$ours" fold "$dir/a" -- wc -l "$dir/a"
numpy 8 "D3 ones, AND, OR : numpy" ones "$ours" fold "$dir/a"
row 1 "D4 set and cleared : cmp, equal files" "$ours" diff "$dir/a" "$dir/u" -- cmp "$dir/a" "$dir/same"
numpy 8 "D4 set and cleared : numpy" both "$ours" diff "$dir/a" "$dir/u"
row 1.6 "D5 16x16 co-occurrence : sha1sum" "$ours" cooc "$dir/a" "$dir/u" -- sha1sum "$dir/a"
numpy 8 "D5 16x16 co-occurrence : numpy" cooc "$ours" cooc "$dir/a" "$dir/u"
for width in 8 16 32 64; do # at most 1.3 times D4's time: 1 / 1.3
  row 0.77 "D6 default, $width bits : our D4" "$ours" "cooc-default:$width" "$dir/a" "$dir/u" -- "$ours" "diff:$width" "$dir/a" "$dir/u"
done
row 2.5 "D7 aliasing, 24 lines : sha1sum" "$ours" alias "$dir/a" -- sha1sum "$dir/a"
numpy 10 "D7 aliasing, 24 lines : numpy" alias "$ours" alias "$dir/a"
row 0.77 "D8 default, one dead line : our D3" "$ours" alias-default "$dir/dead" -- "$ours" fold "$dir/a"
row 0.77 "D8 default, sound : our D3" "$ours" alias-default "$dir/a" -- "$ours" fold "$dir/a"
row 0.67 "D9 symptoms : cmp, equal files" "$ours" report "$dir/a" "$dir/u" -- cmp "$dir/a" "$dir/same"
row 0.67 "D9 compare : cmp, equal files" "$lineup" compare --width 16 "$dir/a" "$dir/u" -- cmp "$dir/a" "$dir/same"
row 1 "D9 compare : sha1sum of one" "$lineup" compare --width 16 "$dir/a" "$dir/u" -- sha1sum "$dir/a"

echo "decode of 16 MiB, 23 address lines, 16 bits (at most 10 times sha1sum)"
row 0.1 "known, A7 dead : sha1sum" "$lineup" decode --width 16 --expect "$dir/m" "$dir/m7" -- sha1sum "$dir/m7"
row 0.1 "known, D3 stuck : sha1sum" "$lineup" decode --width 16 --expect "$dir/m" "$dir/m3" -- sha1sum "$dir/m3"
row 0.1 "nothing known, A7 dead : sha1sum" "$lineup" decode --width 16 "$dir/m7" -- sha1sum "$dir/m7"
row 0.1 "nothing known, D3 stuck : sha1sum" "$lineup" decode --width 16 "$dir/m3" -- sha1sum "$dir/m3"

echo "start, and decode of 64 KiB with a board (at most twice true; at most 3 times python3 -c pass)"
head -c 1024 "$dir/a" > "$dir/small"
row 0.5 "S1 decode of 1 KiB : true" "$lineup" decode "$dir/small" -- /bin/true
demo="$top/docs/demo"
row 0.33 "64 KiB, boot ROM : python3 -c pass" "$lineup" decode --board "$demo/tide.yaml" --block 'boot ROM' \
  --expect "$demo/tide-rom.bin" "$demo/found-boot.bin" -- "$python" -c pass
row 0.33 "64 KiB, work RAM : python3 -c pass" "$lineup" decode --board "$demo/tide.yaml" --block 'work RAM' \
  --wrote address "$demo/found-work.bin" -- "$python" -c pass
row 0.33 "64 KiB, nothing wrong : python3 -c pass" "$lineup" decode --board "$demo/tide.yaml" --block 'boot ROM' \
  --expect "$demo/tide-rom.bin" "$demo/tide-rom.bin" -- "$python" -c pass
