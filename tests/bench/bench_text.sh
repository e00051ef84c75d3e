#!/bin/bash
# SPDX-License-Identifier: MIT
# Text forms of dumps: ours and the general-purpose tools on the same file, run in turn (A B A B).
#
#   tests/bench/bench_text.sh READ_DUMP [MIB] [ROUNDS]
#
# READ_DUMP is build/tests/read_dump. Prints the median of each and how many times as long the tool takes.
# The tools also write their result to a file in memory (they have no way not to). A tool that is missing is left out.
set -eu
ours=${1:?usage: bench_text.sh READ_DUMP [MIB] [ROUNDS]}
mib=${2:-36} rounds=${3:-7}
dir=$(mktemp -d "$([ -d /dev/shm ] && echo /dev/shm || echo /tmp)/lu-bench-XXXXXX")
trap 'rm -rf "$dir"' EXIT
for form in ihex srec hextext; do "$ours" -make $form $((mib << 20)) > "$dir/$form"; done

# Nanoseconds that a command takes.
clock() { local t=$EPOCHREALTIME; "$@" > "$dir/said" 2>&1; local u=$EPOCHREALTIME; echo $(( (${u/./} - ${t/./}) * 1000 )); }
median() { sort -n | awk '{v[NR]=$1} END {print v[int((NR+1)/2)]}'; }

# versus FORM GOAL LABEL COMMAND...: GOAL is what the ratio should reach
versus() {
  local form=$1 goal=$2 label=$3; shift 3
  command -v "${1}" > /dev/null || { printf '%-8s %-10s not installed\n' "$form" "$label"; return; }
  clock "$ours" "$dir/$form" > /dev/null; clock "$@" > /dev/null
  : > "$dir/a"; : > "$dir/b"; : > "$dir/r"
  for ((i = 0; i < rounds; i++)); do
    a=$(clock "$ours" "$dir/$form"); b=$(clock "$@")
    echo "$a" >> "$dir/a"; echo "$b" >> "$dir/b"; echo "$b $a" | awk '{print $1 / $2}' >> "$dir/r"
  done
  printf '%-8s %-10s ours %7.1f ms  tool %8.1f ms  ratio %6.2f  (goal %s)\n' "$form" "$label" \
    "$(median < "$dir/a" | awk '{print $1 / 1e6}')" "$(median < "$dir/b" | awk '{print $1 / 1e6}')" \
    "$(median < "$dir/r")" "$goal"
}

versus ihex 8 objcopy objcopy -I ihex -O binary "$dir/ihex" "$dir/out"
versus ihex 25 srec_cat srec_cat "$dir/ihex" -intel -o "$dir/out" -binary
versus ihex 0.25 'wc -l' wc -l "$dir/ihex"
versus srec 8 objcopy objcopy -I srec -O binary "$dir/srec" "$dir/out"
versus srec 25 srec_cat srec_cat "$dir/srec" -motorola -o "$dir/out" -binary
versus hextext 8 'xxd -r' xxd -r "$dir/hextext" "$dir/out"
for form in ihex srec hextext; do versus $form - 'plain C' "$ours" -plain "$dir/$form"; done
