#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# An option of one name has one letter, or none, in every command; and -b is the board wherever there is one.
set -u
export LC_ALL=C
L=${LU_PROGRAM:?}
status=0
rows=$(for command in $("$L" papers commands); do
  "$L" "$command" --help | sed -nE "/^Examples:/q; s/^ +(-(.), )?--([a-z0-9-]+).*/\3 \2- $command/p"
done)
names=$(cut -d' ' -f1 <<<"$rows" | sort -u)
[ "$(wc -l <<<"$names")" -gt 60 ] || { echo "the help texts were not understood: $names"; status=1; }
for name in $names; do
  letters=$(grep "^$name " <<<"$rows" | cut -d' ' -f2 | sort -u)
  [ "$(wc -l <<<"$letters")" = 1 ] || { echo "--$name has more than one letter:"; grep "^$name " <<<"$rows"; status=1; }
done
grep -q '^board b- pattern$' <<<"$rows" || { echo "pattern -b is not --board"; status=1; }
demo=$LU_TOP/docs/demo/tide.yaml
a=$("$L" pattern show march-c-minus -b "$demo" --block 'work RAM') && b=$("$L" pattern show march-c-minus --board "$demo" --block 'work RAM') &&
  [ "$a" = "$b" ] || { echo "pattern show -b"; status=1; }
exit $status
