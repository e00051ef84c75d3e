#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: simulates some minutes of the reader's life
# Whole runs with a board file: take and verify over libserialport, an emulated port and the built firmware on a
# simulated chip find the net of the fault that was put on the memory's wires. 64 KiB at 1 Mbaud.
# umockdev is loaded before the sanitizer, and its GLib keeps memory until the end
export ASAN_OPTIONS=verify_asan_link_order=0:detect_leaks=0
bed=$LU_BUILD/tests/tty_bed
elf=$LU_BUILD/lineup-reader-2560.elf
if ! command -v umockdev-wrapper >/dev/null || [ ! -x "$bed" ] || [ ! -f "$elf" ] || ! grep -q bed_start "$bed"; then
  echo "skipped: needs umockdev libumockdev-dev gcc-avr avr-libc binutils-avr libsimavr-dev libelf-dev"
  exit 77
fi
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
link=(--port /dev/ttyUSB0 --rate 1000000)
tide=$LU_TOP/docs/demo/tide.yaml log8=$LU_TOP/tests/boards/log8.yaml buoy8=$LU_TOP/tests/boards/buoy8.yaml
# Text for people is folded at blanks: a text is there, however its lines are broken.
has() { cat "$dir/out" "$dir/err" | tr -s ' \n' ' ' | grep -qF -- "$(tr -s ' ' <<<"$1")"; }
run() { umockdev-wrapper "$bed" "$@" >"$dir/out" 2>"$dir/err"; code=$?; }
expect() { # what, exit status, texts in the output
  local what=$1 status=$2 text
  shift 2
  for text; do
    if [ "$code" != "$status" ] || ! has "$text"; then
      echo "FAILED: $what: exit $code (expected $status), expected '$text' in:"
      head -60 "$dir/out" "$dir/err"
      failed=1
      return
    fi
  done
  echo "ok: $what"
}
# The suspects, first to last, with the line that each stands on.
suspects() { sed -n '/^Suspects/,/^$/p' "$dir/out" | grep -E '^ *[0-9]+\. '; }
first() { # what, exit status, one of these nets is the first suspect
  local what=$1 status=$2 top net
  shift 2
  top=$(suspects | head -1)
  for net; do
    if [ "$code" = "$status" ] && [[ $top == *"%  $net  "* ]]; then
      echo "ok: $what: ${top:0:40}"
      return
    fi
  done
  echo "FAILED: $what: exit $code (expected $status), first suspect '$top', expected one of: $*"
  head -60 "$dir/out" "$dir/err"
  failed=1
}

# A job from the first failure to the pass after the repair; SRAM, 64 KiB of 16 bits.
job=$dir/tide.job
"$LU_PROGRAM" job new --board "$tide" "$job" >/dev/null || exit 2
ram=("$LU_PROGRAM" verify "${link[@]}" --job "$job" --block 'work RAM')
run -f A4=0 avr "$elf" "${ram[@]}" --most-errors 100
# word address line 4 is A5 of the board; behind its buffer it is called BA5
first "SRAM: an address line stuck" 1 A5 BA5
expect "figures and coverage of a failure" 1 "fail: 32768 words" "coverage of the block's lines: open 3"
"$LU_PROGRAM" job history "$job" >"$dir/history"
grep -q 'result   faulty: B*A5' "$dir/history" && grep -q 'verify   fail of work RAM' "$dir/history" || { echo "FAILED: not in the job:"; cat "$dir/history"; failed=1; }
"$LU_PROGRAM" probe "$job" >"$dir/out" 2>&1
grep -q 'U12' "$dir/out" || { cat "$dir/out"; echo "FAILED: probe does not go on from what verify put into the job"; failed=1; }
"$LU_PROGRAM" repair "$job" "wire U1.33 to U12.6" >/dev/null || failed=1
run avr "$elf" "${ram[@]}"
expect "after the repair what failed comes first, then all" 0 "addresses that failed before ($job, entry " "tried, 0 errors" \
  "pass: 32768 words" "0 errors, 1 round" "This proves" "It does not prove" "for the cells"
run avr "$elf" "${ram[@]}" --pattern address -n 2
expect "what passed since is not tried again; two rounds of a named pattern" 0 "0 errors, 2 rounds"
grep -q "failed before" "$dir/out" && { echo "FAILED: it tries addresses that passed since"; failed=1; }
run -f D6~D7 avr "$elf" "$LU_PROGRAM" verify "${link[@]}" -b "$tide" --block 'work RAM' --most-errors 100
expect "SRAM: two data lines joined" 1 "Decoded at once"
suspects | head -4 | grep -q '%  M*D6 ' && suspects | head -4 | grep -q '%  M*D7 ' || { echo "FAILED: D6 and D7 are not on top:"; suspects; failed=1; }
run -f D3=1 -g 33000 avr "$elf" "$LU_PROGRAM" verify "${link[@]}" -b "$log8" --block 'log RAM' --pattern march-c-minus --most-errors 100
first "SRAM: a fault that goes away before it is looked at" 1 /D3 /MD3
expect "and that is said" 1 "the fault comes and goes"

# ROM
rom=(--kind rom)
run -k rom avr "$elf" "$LU_PROGRAM" take "${link[@]}" -b "$log8" --block 'program ROM' -o "$dir/rom.bin"
expect "take reads a block by its name" 0 "32768 bytes: 0x0 to 0x7fff" "processor out or held"
run -k rom -f A6=0 avr "$elf" "$LU_PROGRAM" verify "${link[@]}" -b "$log8" --block 'program ROM' --image "$dir/rom.bin"
first "ROM: an address line stuck, against an image" 1 /A6 /BA6
sha=$(sha256sum <"$dir/rom.bin" | cut -d' ' -f1)
run -k rom avr "$elf" "$LU_PROGRAM" verify "${link[@]}" -b "$log8" --block 'program ROM' --sha256 "$sha"
expect "ROM: a digest" 0 "pass: 32768 words read" "This proves"
job=$dir/log8.job
"$LU_PROGRAM" job new --board "$log8" "$job" >/dev/null || exit 2
run -k rom -f A6=0 avr "$elf" "$LU_PROGRAM" take "${link[@]}" --job "$job" --block 'program ROM' -n 2
expect "take puts two passes into the job" 0 "entry 3"
"$LU_PROGRAM" decode --job "$job" --block 'program ROM' --expect "$dir/rom.bin" program-ROM-taken.3.bin program-ROM-taken.3.pass2.bin >"$dir/out" 2>"$dir/err"
code=$?
first "and decode finds them there by their name" 1 /A6 /BA6
run -k rom avr "$elf" "$LU_PROGRAM" take "${link[@]}" -b "$log8" --block 'program ROM' --from 0x1000 --count 0x200 -o "$dir/part.bin"
expect "take reads a range of a block" 0 "512 bytes: 0x1000 to 0x11ff"
cmp -n 512 -i 4096:0 "$dir/rom.bin" "$dir/part.bin" || { echo "FAILED: the range is not what stands there"; failed=1; }

# dynamic memory, rows that lose their charge within 4 ms: a 4164 out of circuit
dram=(-k dram -r 8 -K 4)
chip=("$LU_PROGRAM" verify "${link[@]}" -b "$buoy8" --vantage chip:U9)
run "${dram[@]}" avr "$elf" "${chip[@]}" --pattern march-c-minus --hold 1s
expect "DRAM: 64 Ki words pass while they are refreshed" 0 "pass: 65536 words" "0 errors"
run "${dram[@]}" -f A3=0 avr "$elf" "${chip[@]}" --pattern address-powers
first "DRAM: a multiplexed line stuck" 1 U9.12
# fewer row bits are refreshed than the memory has: most rows decay while nobody looks at them
run "${dram[@]}" avr "$elf" "${chip[@]}" --refresh-bits 4 --pattern address-powers --hold 1s --most-errors 200
expect "DRAM: rows that are not refreshed" 1 "fail: 65536 words" "expected 01, got 00"

# bad calls
run avr "$elf" "$LU_PROGRAM" take "${link[@]}" -b "$log8" --block 'log ROM' -o "$dir/x.bin"
expect "no such block" 2 "the nearest is"
run avr "$elf" "$LU_PROGRAM" take "${link[@]}" -b "$log8" --block 'log RAM' --from 0x7000 -o "$dir/x.bin"
expect "a range outside the block" 2 "0x8000 to 0xffff"
run avr "$elf" "$LU_PROGRAM" take "${link[@]}" -b "$log8" --block 'log RAM' --address-bits 15 -o "$dir/x.bin"
expect "a width that the board file knows" 2 "leave out --address-bits"
[ -e "$dir/x.bin" ] && { echo "FAILED: something was written"; failed=1; }
exit $failed
