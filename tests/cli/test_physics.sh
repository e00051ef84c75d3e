#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# docs/physics.md: its table of priors is src/reason/priors.def, row by row; shares that must add up to 1 do; every
# kind of fault that decode's JSON can name stands in the table of faults.
set -u
export LC_ALL=C
cd "${LU_TOP:?}" || exit 2
failed=0
bad() { echo "FAILED: $*"; failed=1; }
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
sed -nE 's/^LU_PRIOR\((\w+), ([0-9.e-]+), "(.*)"\)$/| `\1` | \2 | \3 |/p' src/reason/priors.def >"$dir/table"
sed -n '/^<!-- priors:/,/^$/p' docs/physics.md | grep '^| `' >"$dir/docs"
[ -s "$dir/table" ] || bad "no priors were found"
diff "$dir/docs" "$dir/table" || bad "docs/physics.md and src/reason/priors.def differ"
grep -c '^LU_PRIOR(' src/reason/priors.def | grep -qx "$(wc -l <"$dir/table" | tr -d ' ')" || bad "a prior is written in another form"
awk -F'|' '/`float_/ { sum += $3 } END { exit !(sum > 0.9999 && sum < 1.0001) }' "$dir/docs" || bad "what floats: the shares are not 1"
for kind in open stuck bridge swap dead cell row column; do
  grep -qE "^\\| ([a-z]+, )*$kind(, [a-z]+)* \\|" docs/physics.md || bad "docs/physics.md has no row for $kind"
done
exit $failed
