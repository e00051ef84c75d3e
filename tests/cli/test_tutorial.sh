#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: two dozen commands, some of which decode several times
# docs/tutorial.md is real: its commands are run in their order in a scratch copy of docs/, and print what the page
# shows; times are put in a fixed form. After a change of what is printed: bash tests/cli/test_tutorial.sh --write (with
# LU_TOP and LU_PROGRAM set), and read it again: the words around may no longer be true.
set -u
export LC_ALL=C
unset CLICOLOR_FORCE
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
page=${LU_TOP:?}/docs/tutorial.md
mkdir "$dir/bin" "$dir/bench" && ln -s "${LU_PROGRAM:?}" "$dir/bin/lineup" && cp -r "$LU_TOP/docs" "$dir/bench" || exit 2
PATH=$dir/bin:$PATH
cd "$dir/bench" || exit 2
lineup job new probe.job >/dev/null 2>&1 || { echo "skipped: jobs are not in this program"; exit 77; }
rm -f probe.job*
inside=no pending=no count=0
while IFS= read -r line; do
  if [ "$line" = '<!-- session -->' ]; then
    pending=yes
  elif [ "$line" = '```' ]; then
    if [ $inside = yes ]; then inside=no; elif [ $pending = yes ]; then inside=yes pending=no; fi
  elif [ $inside = yes ]; then
    case $line in
    '$ '*)
      echo "$line"
      bash -c "${line#??}" 2>&1 </dev/null | sed -E 's/20[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z/2026-05-04T10:00:00Z/g'
      ;;
    esac
    continue
  fi
  printf '%s\n' "$line"
done <"$page" >"$dir/new"
if [ "${1-}" = --write ]; then
  cp "$dir/new" "$page"
else
  diff "$page" "$dir/new" || { echo "docs/tutorial.md shows what the program does not print; see the head of this test"; exit 1; }
fi
# What the page promises of the files that it made.
for file in bench.html owner.html map.png wires.svg; do
  [ -s "$dir/bench/$file" ] || { echo "FAILED: the tutorial made no $file"; exit 1; }
done
