#!/bin/bash
# SPDX-License-Identifier: MIT
# tests/data/netlists: ok-* must be read as the form they are named after; bad-* must be refused
# with exit 2, one line, and the place and words of their .err file.
dump=$LU_BUILD/tests/netlist_dump
bad=0 seen=0
for file in "$LU_TOP"/tests/data/netlists/{ok,bad}-*; do
  name=$(basename "$file")
  [[ $name == *.err ]] && continue
  seen=$((seen + 1))
  out=$("$dump" --quiet "$file" 2>&1)
  status=$?
  if [[ $name == ok-* ]]; then
    form=${name#ok-}
    [[ $status = 0 && $out == "# ${form%.*} "* ]] || { echo "FAILED $name: $status $out"; bad=1; }
  else
    want=$(cat "${file%.*}.err")
    [[ $status = 2 && "$out" == "$file:${want/ /: }" ]] ||
      { echo "FAILED $name: exit $status, $out"; echo "wanted: $want"; bad=1; }
  fi
done
echo "$seen samples"
[ "$seen" -ge 30 ] && [ "$bad" = 0 ]
