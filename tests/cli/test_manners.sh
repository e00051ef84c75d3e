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
says 2 "the nearest is check" board chek docs/demo/tide.yaml
says 2 "the nearest is 'list'" pattern lst
says 2 "the nearest is history" job hstory tide.job
says 2 "the nearest is manual" papers manul
says 2 "the nearest is 'boot ROM'" decode --board docs/demo/tide.yaml --block 'bot ROM' docs/demo/found-boot.bin
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
  tty() { script -qec "$* 2>/dev/null" /dev/null </dev/null; } # progress has escape codes, too
  plain=$(printf '%q ' "$L" "${decode[@]}")
  export TERM=xterm
  tty "$plain" | grep -q "$esc" || bad "a terminal: no colours"
  tty "CLICOLOR=0 $plain" | grep -q "$esc" && bad "CLICOLOR=0: colours"
  tty "NO_COLOR=1 $plain" | grep -q "$esc" && bad "NO_COLOR: colours"
  tty "TERM=dumb $plain" | grep -q "$esc" && bad "TERM=dumb: colours"
fi
# Whatever is written for people fits 80 columns, in UTF-8 and in ASCII; COLUMNS (POSIX) asks for another width.
job=$dir/tide.job
"$L" job new --board docs/demo/tide.yaml "$job" >/dev/null 2>"$dir/err" || echo "left out: jobs ($(cat "$dir/err"))"
if [ -e "$job" ]; then
  "$L" decode --job "$job" --run docs/demo/as-found.yaml >/dev/null
  "$L" reading "$job" U8.20 U16.12 joined >/dev/null
  "$L" repair "$job" 'contact U8.21 bent back, cleaned, looked at under the glass, and bent again and again' >/dev/null
fi
cat >"$dir/calls" <<'END'
decode --board docs/demo/tide.yaml --run docs/demo/as-found.yaml --map
decode --width 16 --byte-order big --wrote address docs/demo/found-work.bin
compare --board docs/demo/tide.yaml --block 'boot ROM' --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin docs/demo/tide-rom.bin
compare JOB JOB
board check docs/demo/tide.yaml
board show docs/demo/tide.yaml
board pins docs/demo/tide.yaml U8 --mark 21
board pins docs/demo/tide.yaml U1
wires JOB
wires --board docs/demo/tide.yaml --net DRA3 --cut U8.21
job show JOB
job history JOB
job check JOB
probe JOB --sheet 8
probe JOB --part U8
pattern list
pattern show march-c-minus --board docs/demo/tide.yaml --block 'work RAM' --rate 20000
pattern check march-c-minus --missed
pattern check mats-plus walking-ones
pattern check march-c-minus data-modified-counting --board docs/demo/tide.yaml --block 'work RAM' --missed
pattern choose --board docs/demo/tide.yaml --block 'work RAM'
pattern next --board docs/demo/tide.yaml --block 'record RAM' --wrote address --result docs/demo/found-record.bin
watch docs/demo/work.vcd
watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --check
watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --cycles
watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --around 1.2us
take --list
END
[ -e "$job" ] || sed -i '/JOB/d' "$dir/calls"
while read -r call; do
  eval "set -- ${call//JOB/\"\$job\"}"
  "$L" "$@" >"$dir/out" 2>"$dir/err"
  [ $? -le 1 ] || bad "lineup $call: $(cat "$dir/err")"
  LC_ALL=C.UTF-8 awk -v c="$call" 'length > 80 { print "FAILED: " c ": " length " columns: " $0; n = 1 } END { exit n }' "$dir/out" || failed=1
  grep -q ' $' "$dir/out" && bad "lineup $call: blanks at an end of line"
  [ -s "$dir/out" ] || bad "lineup $call: nothing was printed"
done <"$dir/calls"
COLUMNS=300 "$L" board show docs/demo/tide.yaml --block 'work RAM' | awk 'length > 85 { n = 1 } END { exit !n }' || bad "COLUMNS=300 has no effect"
# A message is one write, not one for each of its characters.
if command -v strace >/dev/null && strace -o /dev/null true 2>/dev/null; then
  ASAN_OPTIONS=detect_leaks=0 strace -f -e trace=write -e write=2 -o "$dir/trace" "$L" decode no-such-file 2>/dev/null
  [ "$(grep -c '^[0-9]* *write(2' "$dir/trace")" = 1 ] || bad "a message takes $(grep -c 'write(2' "$dir/trace") writes"
else
  echo "left out: writes of a message (no strace)"
fi
# Progress: on a terminal only, after a second, with rate; gone when the work is over.
if command -v script >/dev/null; then
  export L
  slow='(cat docs/demo/work.vcd; sleep 2.5) | "$L" watch - >/dev/null'
  TERM=xterm script -qec "$slow" /dev/null </dev/null >"$dir/shown"
  grep -q 'bytes read, [0-9]* a second\|bytes read, [0-9]* k a second' "$dir/shown" || bad "no progress of reading: $(cat "$dir/shown")"
  [ "$(tail -c 4 "$dir/shown" | od -An -tx1)" = ' 0d 1b 5b 4b' ] || bad "the line of progress is not taken away"
  bash -c "$slow" 2>"$dir/err"
  [ -s "$dir/err" ] && bad "progress where there is no terminal"
  # Noise that nothing explains takes long; what is tried is counted, with the time left where its end is known.
  head -c 2097152 /dev/urandom >"$dir/noise"
  DIR=$dir TERM=xterm script -qec 'timeout 20 "$L" decode --wrote address "$DIR/noise" >/dev/null' /dev/null </dev/null >"$dir/shown"
  grep -qE 'kinds of fault held against every word|faults tried|sets of faults' "$dir/shown" || bad "no progress of reasoning: $(head -c 300 "$dir/shown")"
else
  echo "left out: progress (no script)"
fi
"$L" "${decode[@]}" >/dev/full 2>"$dir/err"
[ $? = 3 ] || bad "a full disk: no status 3"
# - is standard input wherever a file is read.
from() { # STATUS FILE ARGUMENT...
  local want=$1 file=$2
  shift 2
  (cd docs/demo && "$L" "$@" <"$file") >"$dir/out" 2>"$dir/err"
  local got=$?
  [ $got = "$want" ] || bad "lineup $* <$file: status $got: $(cat "$dir/err")"
}
boot=(--block 'boot ROM')
from 1 found-boot.bin decode --width 16 --byte-order big --expect tide-rom.bin -
from 1 tide-rom.bin decode --board tide.yaml "${boot[@]}" --expect - found-boot.bin
from 1 tide.yaml decode --board - "${boot[@]}" --expect tide-rom.bin found-boot.bin
from 1 as-found.yaml decode --board tide.yaml --run -
printf '0x100 00 04\n0x101 00 04\n' >"$dir/log"
from 1 "$dir/log" decode --log -
from 1 found-boot.bin compare --width 16 --byte-order big - tide-rom.bin
from 0 found-boot.bin report --board tide.yaml "${boot[@]}" --expect tide-rom.bin -o - -
from 0 work.vcd watch -
from 0 work-bus.yaml watch work.vcd --signals - --check
from 0 tide.yaml board check -
from 0 tide.yaml board show -
from 0 tide.yaml board pins - U8
from 0 tide.net board guess -
from 0 tide.yaml simulate -b - "${boot[@]}" -e tide-rom.bin -f 'stuck A5 low'
from 0 tide.yaml wires --board - --net DRA3 --cut U8.21
from 0 "$LU_TOP/patterns/march-x.pattern" pattern show -
printf '1 7 0x00 0xff\n' >"$dir/reads"
from 1 "$dir/reads" pattern check march-c-minus --size 256 --failures -
exit $failed
