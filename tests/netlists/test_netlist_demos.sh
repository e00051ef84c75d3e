#!/bin/bash
# SPDX-License-Identifier: MIT
# Netlists and layouts that an EDA suite's own exporters wrote: every pin of every file as an
# independent script finds it, and the same connectivity from both files of a board.
demos=${LU_SHARED:-$LU_TOP/../shared}/data/kicad-demos
dump=$LU_BUILD/tests/netlist_dump
count=$LU_TOP/tests/netlists/count_nets.py
[ -d "$demos" ] || { echo "skipped: no folder of demo netlists ($demos)"; exit 77; }
command -v python3 > /dev/null || { echo "skipped: no python3"; exit 77; }
tmp=$(mktemp -d) && trap 'rm -rf "$tmp"' EXIT
files=0 bad=0 pairs=0
mkdir "$tmp/script"
python3 "$count" "$tmp/script" "$demos"/*.net "$demos"/*.d356 > "$tmp/pairs" || exit 1

for file in "$demos"/*.net "$demos"/*.d356; do
  files=$((files + 1))
  "$dump" "$file" > "$tmp/all" || { echo "FAILED to read $file"; bad=$((bad + 1)); continue; }
  theirs=$tmp/script/$(basename "$file")
  grep -v '^# ' "$tmp/all" | LC_ALL=C sort > "$tmp/ours"
  LC_ALL=C sort -o "$theirs" "$theirs"
  # A cut reference may stand on two nets in a layout; ours then keeps the first place only.
  if [[ $file == *.d356 ]]; then
    cut -f2,3 "$tmp/ours" | sort -u > "$tmp/o"
    cut -f2,3 "$theirs" | sort -u > "$tmp/t"
    cmp -s "$tmp/o" "$tmp/t" && [ -z "$(LC_ALL=C comm -23 "$tmp/ours" "$theirs")" ]
  else
    cmp -s "$tmp/ours" "$theirs"
  fi || { echo "DIFFERENT pins in $file"; bad=$((bad + 1)); }
done

while read -r name common differing; do
  pairs=$((pairs + 1))
  "$dump" --merge "$demos/$name.net" "$demos/$name.d356" > "$tmp/merge" || { bad=$((bad + 1)); continue; }
  ours=$(grep -c -e ' in the netlist and ' -e ' in pieces ' "$tmp/merge")
  echo "$name: $common pins in both, $differing nets differ by the script, $ours differences by the program"
  if [ "$differing" = 0 ] && [ "$ours" != 0 ]; then
    echo "DIFFERENT connectivity in $name:"
    grep -e ' in the netlist and ' -e ' in pieces ' "$tmp/merge" | head -5
    bad=$((bad + 1))
  fi
done < "$tmp/pairs"
echo "$files files, $pairs boards, $bad bad"
[ "$files" -ge "${LU_DEMO_FILES:-20}" ] && [ "$pairs" -ge "${LU_DEMO_PAIRS:-9}" ] && [ "$bad" = 0 ]
