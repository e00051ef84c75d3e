#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Sizes of the smallest diagnoses against a general SAT solver: the same circuits and observations as CNF
# with at most k gates broken, k raised until it is satisfiable. Needs minisat.
set -u
tool=$LU_BUILD/tests/circuit_tool
command -v minisat >/dev/null || { echo "skipped: no minisat"; exit 77; }
[[ -x $tool ]] || { echo "skipped: no $tool"; exit 77; }
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
failed=0 count=0
# compare NAME FAULTS OBSERVATIONS SEED
compare() {
  local ours sat=0 bound
  "$tool" make "$1" "$2" "$3" "$4" "$work/c" >/dev/null || return
  ours=$("$tool" least "$work/c" 3 | sed -n '1s/^size \([0-9]*\).*/\1/p')
  for bound in 1 2 3 4; do
    [[ $bound == 4 ]] && break
    "$tool" cnf "$work/c" "$bound" "$work/c.cnf" || return
    minisat -verb=0 "$work/c.cnf" >"$work/out" 2>&1
    sat=$?
    [[ $sat == 10 ]] && break
    [[ $sat == 20 ]] || { echo "minisat: status $sat"; failed=1; return; }
  done
  count=$((count + 1))
  [[ $ours == "$bound" ]] || { echo "$*: smallest set ${ours:-none}, minisat $bound"; failed=1; }
}
for seed in 1 2 3; do
  for faults in 1 2 3; do
    compare "$LU_TOP/tests/circuits/c17.bench" $faults 2 $seed
    compare rand160 $faults 1 $seed
    compare rand160 $faults 4 $seed
    compare mult6 $faults 1 $seed
    compare mult6 $faults 5 $seed
  done
  compare rand900 3 1 $seed
done
echo "$count problems compared"
exit $failed
