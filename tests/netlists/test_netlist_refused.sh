#!/bin/bash
# SPDX-License-Identifier: MIT
# What a person sees of a bad netlist: lineup board check (netlist or layout named in a board file) and
# lineup board guess say one message with the file's name, line and column (below it the line itself, cut to
# a screen's width, and a caret), exit 2, write nothing else and stay small. The samples of tests/data/netlists, and files made here: brackets 10,000 deep, names too
# long, the demo's files cut off at many places.
set -u
dir=$(mktemp -d) && trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 1
bad=0 tried=0
fail() { echo "FAILED: $*"; bad=1; }
refused() { # file, ways
  local file=$1 way status
  shift
  for way in "$@"; do
    tried=$((tried + 1))
    case $way in
    guess) "$LU_PROGRAM" board guess "$file" -o out.yaml >out 2>err ;;
    *) echo "$way: $file" >b.yaml; "$LU_PROGRAM" board check b.yaml >out 2>err ;;
    esac
    status=$?
    [ $status = 2 ] || fail "$way $file: exit $status"
    [ "$(grep -c '^lineup: ' err)" = 1 ] && [ "$(wc -l <err)" -le 3 ] && [ "$(wc -c <err)" -lt 800 ] &&
      head -1 err | grep -qE "^lineup: $file:[0-9]+:[0-9]+: expected " || fail "$way $file: $(head -c 300 err)"
    [ ! -s out ] && [ ! -e out.yaml ] || fail "$way $file: something was written"
  done
}

cp "$LU_TOP"/tests/data/netlists/bad-* . && rm -f ./*.err
for file in bad-*; do
  case $file in
  *.d356) refused "$file" netlist layout guess ;;
  *) refused "$file" netlist guess ;;
  esac
done

deep() { # opening, closing, depth
  awk -v a="$1" -v b="$2" -v n="$3" 'BEGIN { for (i = 0; i < n; i++) printf "%s", a; for (i = 0; i < n; i++) printf "%s", b }'
}
letters() { awk -v n="$1" 'BEGIN { for (i = 0; i < n; i++) printf "x" }'; }
{ printf '(export (version "E")\n (nets (net (code 1) (name "A") '; deep '(x ' ')' 10000; printf ')))\n'; } >deep.net
{ printf '(edif t (edifVersion 2 0 0)\n '; deep '(comment ' ')' 10000; printf ')\n'; } >deep.edf
printf '(export (version "E")\n (nets (net (code 1) (name "%s"))))\n' "$(letters 5000)" >long.net
printf '(edif t (edifVersion 2 0 0)\n (library %s))\n' "$(letters 5000)" >long.edf
printf 'A0,U1,12\n%s,U1,13\n' "$(letters 5000)" >long.csv
printf 'A0: U1.12\nA1: U%s.13\n' "$(letters 5000)" >long.txt
printf 'P  UNITS CUST 1\nP  NNAME1     %s\n999\n' "$(letters 5000)" >long.d356
for file in deep.net deep.edf long.net long.edf long.csv long.txt long.d356; do refused $file netlist guess; done

# every tenth of the demo's netlist and layout is a truncated file
for source in tide.net tide.d356; do
  size=$(wc -c <"$LU_TOP/docs/demo/$source")
  for part in 1 2 3 4 5 6 7 8 9; do
    head -c $((size * part / 10)) "$LU_TOP/docs/demo/$source" >"cut$part-$source"
    refused "cut$part-$source" netlist
  done
done

# memory, in kB: the program itself takes a few thousand
if command -v /usr/bin/time >/dev/null && ! grep -qa __asan_init "$LU_PROGRAM"; then
  for file in deep.net deep.edf long.net; do
    peak=$(/usr/bin/time -f %M "$LU_PROGRAM" board guess $file 2>&1 >/dev/null | tail -1)
    [ "$peak" -lt 32768 ] || fail "$file took $peak kB"
  done
fi
echo "$tried refused"
[ "$tried" -ge 80 ] && exit $bad
