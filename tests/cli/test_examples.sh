#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# The examples that --help shows are taken from there and run, in a scratch copy of what they name, in
# their order. Status 0 and 1 are answers. Those that name a port or a chip on USB need a device: not run.
set -u
export LC_ALL=C
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
mkdir "$scratch/tests" && cp -r "${LU_TOP:?}/docs" "$LU_TOP/patterns" "$scratch" && cp -r "$LU_TOP/tests/boards" "$scratch/tests" || exit 2
mkdir "$scratch/bin" && ln -s "${LU_PROGRAM:?}" "$scratch/bin/lineup" || exit 2
cd "$scratch" || exit 2
PATH=$scratch/bin:$PATH
# A job that examples may go on with.
lineup job new --board docs/demo/tide.yaml bench.job >/dev/null && lineup decode --job bench.job --run docs/demo/as-found.yaml >/dev/null
[ $? = 1 ] || echo "no job: examples with bench.job will fail"
failed=0 run=0 left=0
for command in $(lineup papers commands) papers; do
  lineup "$command" --help >help 2>err || { echo "FAILED: $command --help: $(cat err)"; failed=1; continue; }
  # Lines that a backslash ends go on in the next.
  sed -n '/^Examples:$/,$p' help | sed -e '1d' -e :a -e '/\\$/N; s/\\\n *//; ta' -e 's/^ *//' >examples
  [ "$(wc -l <examples)" -ge 2 ] || { echo "FAILED: $command --help shows fewer than two examples"; failed=1; }
  while IFS= read -r line; do
    case $line in
    "lineup $command "*) ;;
    *) echo "FAILED: $command: no example of this command: $line"; failed=1; continue ;;
    esac
    case $line in *' --port '* | *' -p '* | *' --ftdi '*) left=$((left + 1)); continue ;; esac
    bash -c "$line" >out 2>err </dev/null
    status=$?
    run=$((run + 1))
    if [ $status -gt 1 ] || [ -s err ] && [ ! -s out ] && [ $status != 0 ]; then
      echo "FAILED: status $status: $line"
      head -n 5 err
      failed=1
    fi
  done <examples
done
echo "$run examples run, $left need a device"
exit $failed
