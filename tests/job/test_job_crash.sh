#!/bin/bash
# SPDX-License-Identifier: MIT
# A job is written by a scripted session that is killed (SIGKILL) at random moments, and one whose files may not grow
# (RLIMIT_FSIZE). After each: `job check` passes and every note that was acknowledged is there.
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
"$LU_PROGRAM" job new "$job" >/dev/null || exit 1
head -c 300000 /dev/urandom >"$tmp/dump.bin"

# Notes one after the other; what was acknowledged goes to a file, one line each.
session() {
  local n=0
  while :; do
    n=$((n + 1))
    "$LU_PROGRAM" job note "$job" "round $1 note $n" >/dev/null 2>&1 && echo "round $1 note $n" >>"$tmp/acknowledged"
  done
}

failed=0
touch "$tmp/acknowledged"
for round in $(seq "$kills"); do
  setsid bash -c "$(declare -f session); LU_PROGRAM='$LU_PROGRAM' job='$job' tmp='$tmp'; session $round" &
  pid=$!
  sleep "0.$(printf '%03d' $((30 + RANDOM % 170)))"
  kill -KILL -- "-$pid" 2>/dev/null
  wait "$pid" 2>/dev/null
  if ! "$LU_PROGRAM" job check "$job" >/dev/null 2>"$tmp/err"; then
    echo "round $round: check fails"; cat "$tmp/err"; failed=1; break
  fi
done
# The last acknowledgement may have been cut off in the middle of its line: whole lines only.
"$LU_PROGRAM" job history --kind note "$job" | sed 's/.*note     //' | sort >"$tmp/kept"
sort -u "$tmp/acknowledged" | grep -E '^round [0-9]+ note [0-9]+$' >"$tmp/said"
lost=$(comm -23 "$tmp/said" "$tmp/kept" | wc -l)
echo "$(wc -l <"$tmp/said") acknowledged, $(wc -l <"$tmp/kept") kept, $lost lost"
[ "$lost" -eq 0 ] && [ -s "$tmp/said" ] || failed=1

# Files that may not grow: at most `blocks` KiB each. The job must refuse, stay sound and keep what it had.
before=$("$LU_PROGRAM" job history "$job" | wc -l)
refused=0
for blocks in 1 4 8 16 32 64 128 256 512; do
  out=$( (ulimit -f "$blocks"; trap '' XFSZ; "$LU_PROGRAM" decode --width 8 --job "$job" "$tmp/dump.bin") 2>&1 >/dev/null)
  code=$?
  [ "$code" -ge 2 ] && refused=$((refused + 1))
  [ "$code" -ge 128 ] && { echo "limit $blocks: ended by a signal"; failed=1; }
  "$LU_PROGRAM" job check "$job" >/dev/null 2>"$tmp/err" || { echo "limit $blocks: check fails: $(cat "$tmp/err") after: $out"; failed=1; }
  after=$("$LU_PROGRAM" job history "$job" | wc -l)
  [ "$after" -ge "$before" ] || { echo "limit $blocks: history got shorter"; failed=1; }
done
echo "$refused of 9 limits refused"
[ "$refused" -ge 1 ] || failed=1
exit $failed
