#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# The sessions in README.md are real: each block behind a <!-- session --> line is run and compared.
# After a change of what is printed: bash tests/cli/test_readme.sh --write (with LU_TOP and LU_PROGRAM set).
set -u
export LC_ALL=C
unset CLICOLOR_FORCE
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
ln -s "${LU_PROGRAM:?}" "$dir/lineup" || exit 2
PATH=$dir:$PATH
cd "${LU_TOP:?}" || exit 2
inside=no pending=no
while IFS= read -r line; do
  if [ "$line" = '<!-- session -->' ]; then
    pending=yes
  elif [ "$line" = '```' ]; then
    if [ $inside = yes ]; then inside=no; elif [ $pending = yes ]; then inside=yes pending=no; fi
  elif [ $inside = yes ]; then
    case $line in
    '$ '*) echo "$line"; bash -c "${line#??}" 2>&1 </dev/null ;;
    esac
    continue
  fi
  printf '%s\n' "$line"
done <README.md >"$dir/new"
if [ "${1-}" = --write ]; then
  cp "$dir/new" README.md
else
  diff README.md "$dir/new" || { echo "README.md shows what the program does not print; see the head of this test"; exit 1; }
fi
