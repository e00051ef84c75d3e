#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# What a person at a terminal meets: help that fits 80 columns, the nearest name for a mistyped one, exit
# statuses, colours by the environment (no-color.org's rule from memory: set and not empty means none).
set -u
export LC_ALL=C
unset NO_COLOR CLICOLOR CLICOLOR_FORCE
L=${LU_PROGRAM:?}
cd "${LU_TOP:?}" || exit 2
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
bad() { echo "FAILED: $*"; failed=1; }
# says STATUS TEXT ARGUMENT...: the status, and TEXT on standard error, nothing on standard output
says() {
  local status=$1 text=$2
  shift 2
  "$L" "$@" >"$dir/out" 2>"$dir/err"
  local got=$?
  [ $got = "$status" ] || bad "lineup $*: status $got, expected $status"
  grep -qF -- "$text" "$dir/err" || bad "lineup $*: expected '$text', found: $(cat "$dir/err")"
  [ -s "$dir/out" ] && bad "lineup $*: something on standard output"
}

for command in '' $("$L" papers commands) papers; do
  # shellcheck disable=SC2086 # empty: the program itself
  "$L" $command --help >"$dir/help" || bad "$command --help: status $?"
  awk -v c="$command" 'length > 79 { print "FAILED: help of " c ": " length " columns: " $0; n = 1 } END { exit n }' "$dir/help" || failed=1
  grep -q '[[:space:]]$' "$dir/help" && bad "$command --help: blanks at an end of line"
  [ -z "$command" ] || "$L" help "$command" | cmp -s - "$dir/help" || bad "help $command is not $command --help"
done
"$L" >"$dir/out" || bad "lineup alone: status $?"
[ "$(wc -l <"$dir/out")" -le 24 ] || bad "lineup alone takes more than one screen"
"$L" --version | grep -qx 'lineup [0-9.]*' || bad "--version"

says 2 "the nearest is 'decode'" decod
says 2 "the nearest is 'verify'" verfy
says 2 "the nearest is 'watch'" help wach
says 2 "lineup --help lists them" qqqqqqqq
says 2 "the nearest is --expect" decode --expct x y
says 2 "the nearest is --board" decode --bord=x y
says 2 "decode: unknown option -Z" decode -Z
says 2 "--color expects auto, always or never" decode --color=red x
says 2 "--json takes no value" decode --json=1 x
says 2 "--width expects 1 to 64" decode --width 65 x
says 2 "no-such-file" decode no-such-file
says 2 "decode: expects a DUMP" decode

decode=(decode --board docs/demo/tide.yaml --block 'boot ROM' --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin)
esc=$(printf '\033')
# colours WANTED(yes/no) WHAT ENV... : decode to a file, with the environment and options given
colours() {
  local want=$1 what=$2
  shift 2
  env "$@" >"$dir/out" 2>"$dir/err"
  [ $? = 1 ] || bad "$what: status"
  grep -q "$esc" "$dir/out" && local found=yes || local found=no
  [ $found = "$want" ] || bad "$what: colours $found, expected $want"
}
colours no "a file" TERM=xterm "$L" "${decode[@]}"
colours yes "--color=always" TERM=xterm "$L" "${decode[@]}" --color=always
colours yes "--color before NO_COLOR" NO_COLOR=1 "$L" "${decode[@]}" --color=always
colours yes "CLICOLOR_FORCE" CLICOLOR_FORCE=1 "$L" "${decode[@]}"
colours no "CLICOLOR_FORCE and NO_COLOR" CLICOLOR_FORCE=1 NO_COLOR=1 "$L" "${decode[@]}"
colours yes "an empty NO_COLOR" CLICOLOR_FORCE=1 NO_COLOR= "$L" "${decode[@]}"
colours no "--color=never" CLICOLOR_FORCE=1 "$L" "${decode[@]}" --color=never
if command -v script >/dev/null; then # a real pseudo-terminal
  tty() { script -qec "$*" /dev/null </dev/null; }
  plain=$(printf '%q ' "$L" "${decode[@]}")
  export TERM=xterm
  tty "$plain" | grep -q "$esc" || bad "a terminal: no colours"
  tty "CLICOLOR=0 $plain" | grep -q "$esc" && bad "CLICOLOR=0: colours"
  tty "NO_COLOR=1 $plain" | grep -q "$esc" && bad "NO_COLOR: colours"
  tty "TERM=dumb $plain" | grep -q "$esc" && bad "TERM=dumb: colours"
fi
"$L" "${decode[@]}" >"$dir/out"
awk 'length > 80 { print "FAILED: decode: " length " columns: " $0; n = 1 } END { exit n }' "$dir/out" || failed=1
"$L" "${decode[@]}" >/dev/full 2>"$dir/err"
[ $? = 3 ] || bad "a full disk: no status 3"
"$L" decode --width 16 --byte-order big --expect docs/demo/tide-rom.bin - <docs/demo/found-boot.bin >"$dir/out" 2>"$dir/err"
[ $? = 1 ] || bad "- for standard input: $(cat "$dir/err")"
exit $failed
