#!/bin/bash
# SPDX-License-Identifier: MIT
# A job is written by a scripted session (notes, readings, a reading taken back, dumps and their results) that is killed
# (SIGKILL) at random moments, then by two sessions at once, then by one whose files may not grow (RLIMIT_FSIZE).
# After each: `job check` passes and every note and reading that was acknowledged is there.
# LU_KILLS: how many kills (default 25; with LU_CASES=all, as `tests/run --long` sets, 500). Random moments
# come from a seed that is printed.
set -u
few=25
[ "${LU_CASES:-}" = all ] && few=500
kills=${LU_KILLS:-$few}
seed=${LU_SEED:-20260301}
RANDOM=$seed
echo "seed $seed, $kills kills"
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
job=$tmp/a.job
board=$LU_TOP/docs/demo/tide.yaml good=$LU_TOP/docs/demo/tide-rom.bin
"$LU_PROGRAM" job new --board "$board" "$job" >/dev/null || exit 1
head -c 300000 /dev/urandom >"$tmp/dump.bin"

# What was acknowledged goes to a file, one line each, as the history shows it. $1: a number of its own below 1000.
session() {
  local n=0
  while :; do
    n=$((n + 1))
    "$LU_PROGRAM" job note "$job" "round $1 note $n" >/dev/null 2>&1 && echo "note     round $1 note $n" >>"$tmp/acknowledged"
    "$LU_PROGRAM" reading "$job" U8.21:leg U16.12 $(($1 * 1000 + n)) >"$tmp/said.$1" 2>/dev/null &&
      echo "reading  U8.21:leg to U16.12: open ($(($1 * 1000 + n)) ohms)" >>"$tmp/acknowledged"
    [ $((n % 3)) -eq 2 ] && "$LU_PROGRAM" reading "$job" --undo "$(awk 'NR == 1 {print $1}' "$tmp/said.$1")" >/dev/null 2>&1
    [ $((n % 4)) -eq 1 ] && "$LU_PROGRAM" decode --job "$job" --block "boot ROM" --expect "$good" "$good" >/dev/null 2>&1
  done
}
start() { # in a process group of its own; its leader's number is the group's
  setsid bash -c "$(declare -f session); LU_PROGRAM='$LU_PROGRAM' job='$job' tmp='$tmp' good='$good'; session $1" &
}
# Lost: acknowledged, and not in the history. The last acknowledgement may have been cut off in the middle of its line.
none_lost() {
  "$LU_PROGRAM" job history "$job" | sed 's/^ *[0-9]*  [^ ]*  //; s/  (taken back by [0-9]*)$//' | sort >"$tmp/kept"
  grep -E '^(note     round [0-9]+ note [0-9]+|reading  .* ohms\))$' "$tmp/acknowledged" | sort -u >"$tmp/said"
  lost=$(comm -23 "$tmp/said" "$tmp/kept" | wc -l)
  echo "$1: $(grep -c ^note "$tmp/said") notes and $(grep -c ^reading "$tmp/said") readings acknowledged, $lost lost; history of $(wc -l <"$tmp/kept")"
  [ "$lost" -eq 0 ] && grep -q ^note "$tmp/said" && grep -q ^reading "$tmp/said"
}

# On a busy machine the group may not be there yet.
stop() {
  until kill -KILL -- "-$1" 2>/dev/null || ! kill -0 "$1" 2>/dev/null; do sleep 0.01; done
  wait "$1" 2>/dev/null
}

failed=0
touch "$tmp/acknowledged"
for round in $(seq "$kills"); do
  start "$round"
  pid=$!
  sleep "0.$(printf '%03d' $((30 + RANDOM % 270)))"
  stop "$pid"
  if ! "$LU_PROGRAM" job check "$job" >/dev/null 2>"$tmp/err"; then
    echo "round $round: check fails"; cat "$tmp/err"; failed=1; break
  fi
done
none_lost "killed" || failed=1

# Two processes that write one job at once, and a third that reads it.
start 901; one=$!
start 902; two=$!
for _ in 1 2 3 4; do
  sleep 0.5
  "$LU_PROGRAM" job history "$job" >/dev/null || { echo "cannot be read while two write"; failed=1; }
done
stop "$one"
stop "$two"
"$LU_PROGRAM" job check "$job" >/dev/null || failed=1
none_lost "two at once" || failed=1
for n in 901 902; do
  grep -q "round $n note" "$tmp/said" || { echo "session $n came to nothing"; failed=1; }
done

# Files that may not grow: at most `blocks` KiB each. The job must refuse, stay sound and keep what it had: a reading into
# the job above, a dump into a small job.
small=$tmp/small.job
"$LU_PROGRAM" job new "$small" >/dev/null || exit 1
refused=0
for blocks in 1 4 8 16 32 64 128 256 512; do
  for at in "$job" "$small"; do
    before=$("$LU_PROGRAM" job history "$at" | wc -l)
    what=(decode --width 8 --job "$at" "$tmp/dump.bin")
    [ "$at" = "$job" ] && what=(reading "$at" U8.21:leg U16.12 "$blocks")
    out=$( (ulimit -f "$blocks"; trap '' XFSZ; "$LU_PROGRAM" "${what[@]}") 2>&1 >/dev/null)
    code=$?
    [ "$code" -eq 3 ] && refused=$((refused + 1))
    [ "$code" -ge 128 ] && { echo "limit $blocks: ended by a signal"; failed=1; }
    "$LU_PROGRAM" job check "$at" >/dev/null 2>"$tmp/err" || { echo "limit $blocks: check fails: $(cat "$tmp/err") after: $out"; failed=1; }
    after=$("$LU_PROGRAM" job history "$at" | wc -l)
    [ "$after" -ge "$before" ] || { echo "limit $blocks: history got shorter"; failed=1; }
    [ "$code" -le 1 ] && [ "$after" -eq "$before" ] && { echo "limit $blocks: acknowledged, and not there"; failed=1; }
  done
done
echo "$refused of 18 writes refused"
[ "$refused" -ge 2 ] || failed=1
none_lost "after all" || failed=1
exit $failed
