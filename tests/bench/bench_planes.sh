#!/bin/bash
# Dump kernels beside general-purpose tools on the same files, ours and theirs alternately.
#   tests/bench/bench_planes.sh BUILD_DIR [MEGABYTES]
# Whole-process wall times (medians of 5 after a warm-up), files in /dev/shm. Peers: cmp, wc, sha1sum,
# and numpy where python3 has it (in-process, its own start not counted). Ratio = theirs / ours.
set -eu
build=${1:?usage: bench_planes.sh BUILD_DIR [MEGABYTES]}
mb=${2:-256}
dir=$(mktemp -d /dev/shm/planes.XXXXXX)
trap 'rm -rf "$dir"' EXIT
head -c "${mb}M" /dev/urandom > "$dir/a"
cp "$dir/a" "$dir/same"
# about 1 % of the bytes differ: 16 bytes of zero in every 1600 (random bytes, so nearly all change)
perl -e 'local $/ = \1600; while (<STDIN>) { substr($_, 0, 16) = "\0" x 16 if length > 16; print }' < "$dir/a" > "$dir/b"
# an address bit without effect (bit 20 of the word address): both halves of every 4 MiB alike
perl -e 'local $/ = \2097152; while (<STDIN>) { $h = $_ if $. % 2; print $h }' < "$dir/a" > "$dir/dead"

ms() { # command... -> wall milliseconds
  local t0 t1
  t0=$(date +%s%N); "$@" > /dev/null 2>&1 || true; t1=$(date +%s%N)
  echo $(((t1 - t0) / 1000))
}
median() { sort -n | awk '{a[NR]=$1} END {print a[int((NR+1)/2)]}'; }
ours() { "$build/tests/bench_planes" "$@"; }
numpy() { # expression over a, b: microseconds, best of what numpy needs for it
  python3 - "$dir/a" "$dir/b" "$1" <<'PY'
import sys, time
try:
    import numpy as np
except ImportError:
    sys.exit(0)
a, b = (np.fromfile(p, dtype=np.uint16) for p in sys.argv[1:3])
def ones(x): # masks over cache-sized pieces
    return [sum(int(np.count_nonzero(x[i:i+131072] & (1 << k))) for i in range(0, len(x), 131072)) for k in range(16)]
def both(x, y): # set and cleared, a piece at a time
    return [ones(x & ~y), ones(y & ~x)]
def cooc(x, y): # joint byte histograms, weighted
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1).astype(np.float64)
    out = []
    for s in (0, 8):
        for t in (0, 8):
            h = np.bincount(((x >> s) & 255).astype(np.int64) * 256 + ((y >> t) & 255), minlength=65536)
            out.append(bits.T @ h.reshape(256, 256) @ bits)
    return out
def alias(x):
    return [int(np.count_nonzero(np.not_equal(*np.moveaxis(x.reshape(-1, 2, 1 << k), 1, 0)))) for k in range(24) if len(x) % (2 << k) == 0]
t = time.perf_counter(); eval(sys.argv[3]); print(int((time.perf_counter() - t) * 1e6))
PY
}
row() { # name, peer's name, peer command as function, our arguments...
  local name=$1 peer=$2 fn=$3; shift 3
  local o="" p="" k
  "$fn" > /dev/null 2>&1 || true; ours "$@" > /dev/null
  for k in 1 2 3 4 5; do
    o+="$(ms ours "$@")"$'\n'
    if [[ $fn == np_* ]]; then p+="$($fn)"$'\n'; else p+="$(ms "$fn")"$'\n'; fi
  done
  o=$(printf %s "$o" | median); p=$(printf %s "$p" | median)
  if [ -z "$p" ]; then echo "$name: $peer is not here, skipped"; return; fi
  awk -v n="$name" -v q="$peer" -v o="$o" -v p="$p" 'BEGIN {printf "%-34s ours %8.1f ms  %-18s %9.1f ms  ratio %.2f\n", n, o/1000, q, p/1000, p/o}'
}
cmp_same() { cmp "$dir/a" "$dir/same"; }
cmp_l() { cmp -l "$dir/a" "$dir/b" | wc -l; }
wc_l() { wc -l "$dir/a"; }
sha1() { sha1sum "$dir/a"; }
np_ones() { numpy 'ones(a)'; }
np_both() { numpy 'both(a, b)'; }
np_cooc() { numpy 'cooc(a, b)'; }
np_alias() { numpy 'alias(a)'; }
d4() { ours diff "$dir/a" "$dir/b"; }
d3() { ours fold "$dir/a"; }

echo "$mb MiB, 16-bit words, $(nproc) processors, load $(cut -d' ' -f1 /proc/loadavg)"
row "D1 equal" "cmp" cmp_same equal "$dir/a" "$dir/same"
row "D2 1 % differ, per bit" "cmp -l | wc -l" cmp_l diff "$dir/a" "$dir/b"
row "D3 ones, AND, OR" "wc -l" wc_l fold "$dir/a"
row "D3 ones, AND, OR" "numpy" np_ones fold "$dir/a"
row "D4 set and cleared" "cmp, equal files" cmp_same diff "$dir/a" "$dir/b"
row "D4 set and cleared" "numpy" np_both diff "$dir/a" "$dir/b"
row "D5 16x16 co-occurrence" "sha1sum" sha1 cooc "$dir/a" "$dir/b"
row "D5 16x16 co-occurrence" "numpy" np_cooc cooc "$dir/a" "$dir/b"
row "D6 the same, default" "our D4" d4 cooc-default "$dir/a" "$dir/b"
row "D7 aliasing, 24 lines" "sha1sum" sha1 alias "$dir/a"
row "D7 aliasing, 24 lines" "numpy" np_alias alias "$dir/a"
row "D8 default, one dead line" "our D3" d3 alias-default "$dir/dead"
row "D8 default, sound" "our D3" d3 alias-default "$dir/a"
row "D9 symptoms, before and after" "cmp, equal files" cmp_same report "$dir/a" "$dir/b"
row "D9 symptoms, before and after" "sha1sum" sha1 report "$dir/a" "$dir/b"
