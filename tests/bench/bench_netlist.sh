#!/bin/bash
# SPDX-License-Identifier: MIT
# Reading a board of 100,000 nets and 400,000 pins in three forms: whole process, ours and a
# general-purpose peer in turn, median of the runs. Peers: netlist_peer.py and wc -l.
#   LU_BUILD=build LU_SHARED=... tests/bench/bench_netlist.sh [RUNS [NETS]]     (default 5, 100000)
# gen_netlist.py of the shared folder makes the files; without it there is nothing to measure.
here=$(cd "$(dirname "$0")" && pwd)
top=${LU_TOP:-$here/../..}
dump=${LU_BUILD:-$top/build}/tests/netlist_dump
make=${LU_SHARED:-$top/../shared}/bench/gen_netlist.py
runs=${1:-5} nets=${2:-100000}
[ -x "$dump" ] || { echo "no $dump: build first"; exit 1; }
[ -f "$make" ] && command -v python3 > /dev/null || { echo "skipped: no generator or python3"; exit 77; }
tmp=$(mktemp -d -p "${TMPDIR:-/dev/shm}") && trap 'rm -rf "$tmp"' EXIT

ms() { local a b; a=$(date +%s%N); "$@" > /dev/null || exit 1; b=$(date +%s%N); echo $(((b - a) / 1000)); }
median() { sort -n | sed -n "$(((runs + 1) / 2))p"; }
for form in kicad ipc356 edif; do
  file=$tmp/board.$form
  python3 "$make" $form -n "$nets" -p $((nets * 4)) "$file" || exit 1
  way=tree; [ $form = ipc356 ] && way=slice
  pins=$("$dump" --quiet "$file" | sed 's/.* pins \([0-9]*\) .*/\1/')
  ms "$dump" --quiet "$file" > /dev/null
  : > "$tmp/ours"; : > "$tmp/peer"; : > "$tmp/wc"
  for ((i = 0; i < runs; i++)); do
    ms "$dump" --quiet "$file" >> "$tmp/ours"
    ms python3 "$here/netlist_peer.py" $way "$file" >> "$tmp/peer"
    ms wc -l "$file" >> "$tmp/wc"
  done
  paste "$tmp/ours" "$tmp/peer" | awk '{print $2 / $1}' | median > "$tmp/ratio"
  paste "$tmp/ours" "$tmp/wc" | awk '{print $2 / $1}' | median > "$tmp/limit"
  peak=$(/usr/bin/env python3 -c 'import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024)' "$dump" --quiet "$file")
  awk -v us="$(median < "$tmp/ours")" -v peer="$(median < "$tmp/peer")" -v pins="$pins" \
    -v ratio="$(cat "$tmp/ratio")" -v limit="$(cat "$tmp/limit")" -v form=$form -v way=$way \
    -v size="$(stat -c %s "$file")" -v peak="$peak" 'BEGIN {
      printf "{\"name\": \"%s\", \"bytes\": %d, \"ms\": %.1f, \"pins_per_s\": %.0f, \"peer\": \"python %s\", \"peer_ms\": %.1f, \"times_peer\": %.1f, \"share_of_wc\": %.3f, \"peak_per_byte\": %.2f}\n",
        form, size, us / 1000, pins / us * 1e6, way, peer / 1000, ratio, limit, peak / size }'
done
