#!/bin/bash
# SPDX-License-Identifier: MIT
# Spanning trees and wires of random layouts against networkx and scipy (Debian: python3-networkx, python3-scipy).
set -u
here=$(dirname "$0")
py=
for p in python3 /usr/bin/python3; do
  if "$p" -c 'import networkx, scipy' 2>/dev/null; then py=$p; break; fi
done
[ -n "$py" ] || { echo "skipped: python3 with networkx and scipy is missing"; exit 77; }
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
bad=0
for seed in 1 2 3; do
  "$py" "$here/peer_trees.py" make $seed "$dir/r.d356" || bad=1
  "$LU_BUILD/tests/places_dump" "$dir/r.d356" | "$py" "$here/peer_trees.py" trees || { echo "FAILED: trees, seed $seed"; bad=1; }
  echo 'layout: r.d356' >"$dir/r.yaml"
  for net in 3 7 11 19 23; do
    [ "$(grep -c "^317N$net " "$dir/r.d356")" -ge 3 ] || continue
    "$LU_PROGRAM" wires --board "$dir/r.yaml" --net N$net --cut U$net.2 --json >"$dir/w.json" 2>"$dir/err" || { cat "$dir/err"; bad=1; }
    "$py" "$here/peer_trees.py" wires "$dir/r.d356" "$dir/w.json" N$net U$net.2 || { echo "FAILED: wires, seed $seed, net $net"; bad=1; }
  done
done
exit $bad
