#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Which room may include which: DEVELOPERS.md, "Rooms". A wrong arrow is named with file and line.
set -u
cd "${LU_TOP:?}" || exit 2
declare -A may=(
  [base]="base"
  [data]="base data"
  [formats]="base data formats"
  [board]="base data board"
  [pattern]="base data pattern"
  [reason]="base data board pattern reason"
  [link]="base data pattern link"
  [job]="base data board link job"
  [report]="base data board report"
  [api]="base data formats board pattern reason api"
  [cli]="base data formats board pattern reason link job report api cli"
  [firmware]="link firmware"
)
# Pure rooms: no files, no clock, no environment, nothing printed but into a stream that was handed in.
pure="data board pattern reason"
impure='\b(fopen|open|fdopen|popen|system|getenv|time|clock|clock_gettime|gettimeofday|printf|puts|rand|srand)\('
failed=0
# check TOP: prints each wrong arrow below TOP/src; status 1 if there is one.
check() {
  local bad=0 file line room to text
  while IFS=: read -r file line text; do
    room=${file#"$1"/src/}
    room=${room%%/*}
    to=$(sed -E 's/^ *# *include *"([^"]*)".*/\1/' <<<"$text")
    [[ $to == */* ]] || continue # beside the file itself
    to=${to#../}
    to=${to%%/*}
    if [[ -z ${may[$room]-} ]]; then
      echo "$file:$line: '$room' is no room that this test knows"
      bad=1
    elif [[ " ${may[$room]} " != *" $to "* ]]; then
      echo "$file:$line: $room may not include $to, only: ${may[$room]}"
      bad=1
    fi
  done < <(grep -rnE '^ *# *include *"' "$1/src" --include='*.c' --include='*.h' --include='*.inc')
  for room in $pure; do
    if grep -rnE "$impure" "$1/src/$room" --include='*.c' | grep -vE ':[0-9]+: *(/?\*|//)' | grep -E '(^|[^_a-zA-Z>.])'"${impure#\\b}"; then
      echo "src/$room: pure rooms do no input or output and ask for no time"
      bad=1
    fi
  done
  return $bad
}
check . || failed=1

# The check itself: a wrong arrow and a clock must be seen.
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
mkdir -p "$scratch/src/reason" "$scratch/src/board" "$scratch/src/data" "$scratch/src/pattern"
echo '#include "formats/vcd.h"' >"$scratch/src/reason/a.c"
check "$scratch" >/dev/null && { echo "a wrong arrow was not seen"; failed=1; }
echo 'int f(void) { return (int)time(0); }' >"$scratch/src/reason/a.c"
check "$scratch" >/dev/null && { echo "a clock in a pure room was not seen"; failed=1; }
echo 'int f(void) { return lu_time(0) + x.time(0); }' >"$scratch/src/reason/a.c"
check "$scratch" || { echo "names that end alike are taken for a clock"; failed=1; }
exit $failed
