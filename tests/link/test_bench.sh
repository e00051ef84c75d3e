#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: simulates the reader for a minute or two under the sanitizers
# The whole way: lineup, libserialport, an emulated port, the built firmware on a simulated chip, a
# memory with faulty wires.
# umockdev is loaded before the sanitizer, and its GLib keeps memory until the end
export ASAN_OPTIONS=verify_asan_link_order=0:detect_leaks=0
bed=$LU_BUILD/tests/tty_bed
elf=$LU_BUILD/lineup-reader-2560.elf
if ! command -v umockdev-wrapper >/dev/null || [ ! -x "$bed" ] || [ ! -f "$elf" ] ||
  ! grep -q bed_start "$bed"; then
  echo "skipped: needs umockdev libumockdev-dev gcc-avr avr-libc binutils-avr libsimavr-dev libelf-dev"
  exit 77
fi
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
# Text for people is folded at blanks: a text is there, however its lines are broken.
has() { cat "$dir/out" "$dir/err" | tr -s ' \n' ' ' | grep -qF -- "$(tr -s ' ' <<<"$1")"; }
run() { umockdev-wrapper "$bed" "$@" >"$dir/out" 2>"$dir/err"; code=$?; }
expect() { # what, exit status, text in the output
  if [ "$code" != "$2" ] || ! has "$3"; then
    echo "FAILED: $1: exit $code (expected $2), expected '$3' in:"
    cat "$dir/out" "$dir/err"
    failed=1
  else
    echo "ok: $1"
  fi
}
sum_of() { awk -v n="$1" 'BEGIN { for (a = 0; a < n; a++) printf "%02x", (a * 5 + int(a / 256)) % 256 }' | sha1sum; }
port=(--port /dev/ttyUSB0)

run -k rom avr "$elf" "$LU_PROGRAM" take "${port[@]}" --kind rom --address-bits 13 -o "$dir/rom.bin"
expect "a ROM of 8 KiB" 0 "8192 bytes: 0x0 to 0x1fff"
if [ "$(od -An -v -tx1 "$dir/rom.bin" | tr -d ' \n' | sha1sum)" = "$(sum_of 8192)" ]; then
  echo "ok: byte for byte"
else
  echo "FAILED: the dump is not what the chip holds"
  failed=1
fi
run -k rom -f A4=0 avr "$elf" "$LU_PROGRAM" take "${port[@]}" --kind rom --address-bits 10 --rate 1000000 -o "$dir/bad.bin"
expect "with an address line stuck" 0 "1024 bytes"
if [ "$(od -An -v -tx1 -N16 "$dir/bad.bin")" != "$(od -An -v -tx1 -j16 -N16 "$dir/bad.bin")" ]; then
  echo "FAILED: A4 stuck does not show in the dump"
  failed=1
fi
run -u 3000 -k rom avr "$elf" "$LU_PROGRAM" take "${port[@]}" --kind rom --address-bits 13 -o "$dir/part.bin"
expect "unplugged in the middle keeps what was read" 3 "what was read is kept"
[ -s "$dir/part.bin" ] || { echo "FAILED: nothing was kept"; failed=1; }
rom() { # what, exit status, text, options of the bed -- options of take
  local what=$1 status=$2 text=$3 bed_options=()
  shift 3
  while [ "$1" != -- ]; do bed_options+=("$1"); shift; done
  shift
  run "${bed_options[@]}" -k rom avr "$elf" "$LU_PROGRAM" take "${port[@]}" --kind rom --address-bits 13 "$@"
  expect "$what" "$status" "$text"
}
whole() { cmp "$1" "$dir/rom.bin" || { echo "FAILED: $1 is not the whole"; failed=1; }; }
cmp -n "$(stat -c %s "$dir/part.bin")" "$dir/part.bin" "$dir/rom.bin" || { echo "FAILED: what was kept is wrong"; failed=1; }
rom "with its extent" 3 "the same call with --resume goes on there" -u 3000 -- -o "$dir/part.hex"
for part in part.bin part.hex; do
  rom "--resume takes the rest ($part)" 0 "of 8192 words are there" -- --resume -o "$dir/$part"
done
whole "$dir/part.bin"
"$LU_PROGRAM" decode --expect "$dir/rom.bin" "$dir/part.hex" >"$dir/out" 2>&1 || { echo "FAILED: the parts do not make the whole"; cat "$dir/out"; failed=1; }
rom "Ctrl-C keeps what was read and says so" 3 "stopped after 4096 of 8192 words; what was read is kept" -c 3000 -- -o "$dir/stop.bin"
log8=$LU_TOP/tests/boards/log8.yaml
run -c 3000 -k rom avr "$elf" "$LU_PROGRAM" take "${port[@]}" -b "$log8" --block 'program ROM' -o "$dir/block.bin"
expect "a part of a block" 3 "decode takes this part with --at 0x0"
run -k rom avr "$elf" "$LU_PROGRAM" take "${port[@]}" -b "$log8" --block 'program ROM' --rate 1000000 -o "$dir/image.bin"
"$LU_PROGRAM" decode -b "$log8" --block 'program ROM' --at 0 --expect "$dir/image.bin" "$dir/block.bin" >"$dir/out" 2>&1; code=$?
expect "decode judges it" 0 "4096 words"
"$LU_PROGRAM" job new --board "$log8" "$dir/log8.job" >/dev/null || failed=1
run -c 3000 -k rom -f A6=0 avr "$elf" "$LU_PROGRAM" take "${port[@]}" --job "$dir/log8.job" --block 'program ROM'
expect "a part into a job" 3 "stopped after 4096"
name=$(sed -n 's/.* \.\.\. \(.*\) judges it/\1/p' "$dir/err")
"$LU_PROGRAM" decode --job "$dir/log8.job" --block 'program ROM' --expect "$dir/image.bin" "$name" >"$dir/out" 2>&1; code=$?
expect "decode finds the fault's net in it" 1 "/BA6 "
rom "and --resume goes on" 0 "4096 of 8192 words are there" -- --resume -o "$dir/stop.bin"
whole "$dir/stop.bin"
head -c 1000 "$dir/rom.bin" >"$dir/part.bin"
rom "another memory is not taken for the rest" 2 "is not what the memory gives now" -f D1=1 -- --resume -o "$dir/part.bin"
[ "$(stat -c %s "$dir/part.bin")" = 1000 ] || { echo "FAILED: the part was changed"; failed=1; }
if command -v script >/dev/null; then
  script -qec "umockdev-wrapper '$bed' -k rom avr '$elf' '$LU_PROGRAM' take --port /dev/ttyUSB0 --kind rom --address-bits 16 -o '$dir/t.bin'" /dev/null </dev/null >"$dir/out" 2>&1
  code=$?
  expect "progress on a terminal, with rate and time left" 0 " of 65536 words, "
  grep -qE '[0-9.]+ kwords/s, [0-9]+ s left' "$dir/out" || { echo "FAILED: no rate, no time left"; failed=1; }
fi
rom "no 5 V at the board" 3 "no 5 V at the board or chip, so nothing was driven" -f dead -- -o "$dir/x.bin"
rom "lines that something else holds" 3 "held by something else, or shorted: A2 D3; remove or hold the processor" \
  -f '!D3=0' -f '!A2=1' -f '!A17=0' -- -o "$dir/x.bin"
[ -e "$dir/x.bin" ] && { echo "FAILED: something was written"; failed=1; }
rom "driven anyway" 0 "8192 bytes" -f '!A20=1' -f '!D9=0' -f '!A2=1' -- --drive-anyway -o "$dir/held.bin"
rom "5 V levels, processor out: said each time" 0 "processor out or held, its bus let go; 5 V levels only; nothing live from the mains" -- --count 16 -o "$dir/few.bin"
run -f '!D3=0' avr "$elf" "$LU_PROGRAM" take "${port[@]}" --levels --watch 5
expect "levels of the lines" 0 "CAS"
expect "and which is held" 0 "held low, or shorted to ground"
fits() { # SCHEMA: what the command before printed
  mkdir -p "$dir/json" && rm -f "$dir"/json/* && sed -n '/^{/,/^}/p' "$dir/out" >"$dir/json/1.$1.json"
  if python3 -c 'import jsonschema' 2>/dev/null; then
    PYTHONWARNINGS=ignore PYTHONDONTWRITEBYTECODE=1 python3 "$LU_TOP/tests/json/validate.py" "$LU_TOP/docs/schema" "$dir/json" || { echo "FAILED: $1 --json"; failed=1; }
  else
    echo "left out: $1 --json against its schema (Debian: python3-jsonschema)"
  fi
}
run avr "$elf" "$LU_PROGRAM" take "${port[@]}" --levels --json
expect "levels as JSON" 0 '"driven_high"'
fits take
if "$LU_PROGRAM" verify --help >/dev/null 2>&1; then
  run avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 10 --pattern march-c-minus
  expect "sound memory passes" 0 "pass"
  run -f D2=1 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 10 --pattern march-c-minus --json
  expect "verify as JSON" 1 '"wrong_bits": 4'
  fits verify
  run -f D2=1 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 10 --pattern march-c-minus --log "$dir/log"
  expect "a stuck data line fails" 1 "fail"
  grep -qi '0 00 04' "$dir/log" || { echo "FAILED: no such line in the log:"; head -3 "$dir/log"; failed=1; }
  run -f D2=1 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 6 --first "$dir/log" --pattern walking-ones
  expect "addresses that failed before come first" 2 "inside the memory"
  head -20 "$dir/log" >"$dir/few"
  run avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 10 --first "$dir/few" --pattern walking-ones
  expect "and pass after the repair" 0 "tried, 0 errors"
  run -k dram avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --kind dram --address-bits 18 --data-bits 1 --count 2048
  expect "dynamic memory passes" 0 "pass"
  run -c 300 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --for 1h
  expect "Ctrl-C ends verify, with its figures" 3 "not finished"
  run avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 4 --pattern march-c-minus --for 3s --rest 0.1
  expect "rounds for a time" 0 "0 errors, "
  n=$(sed -n 's/.*0 errors, \([0-9]*\) rounds.*/\1/p' "$dir/out")
  [ "${n:-0}" -ge 2 ] || { echo "FAILED: ${n:-0} rounds in 3 s"; failed=1; }
  run -f 'D5?' avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 10 --pattern march-c-minus --most-errors 20
  expect "an open data line, whose near end keeps what was driven" 1 "data bits that were wrong: 0020"
  run -f 'A3?' avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --rate 1000000 --address-bits 10 --pattern address --most-errors 20
  expect "an open address line" 1 "fail"
  good=$(sha1sum <"$dir/rom.bin" | cut -d' ' -f1)
  run -k rom avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 13 --sha1 "$good" --image "$dir/rom.bin"
  expect "a ROM against its digest and image" 0 "as it must be"
  # zlib, whose CRC-32 is that of ISO 3309 and ITU-T V.42
  crc=$(python3 -c 'import sys, zlib; print("%08x" % zlib.crc32(open(sys.argv[1], "rb").read()))' "$dir/rom.bin")
  run -k rom avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 13 --crc32 "$crc"
  expect "a ROM against its CRC-32" 0 "CRC-32 $crc, as it must be"
  run -k rom -f A3=0 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 13 --crc32 "$crc"
  expect "another CRC-32" 1 "expected $crc"
  run -k rom avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 13 --crc32 12345
  expect "a CRC-32 of five digits" 2 "expects 8 hex digits"
  run -k rom -f D0=0 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 10 --image "$dir/rom.bin"
  expect "a ROM with a data line stuck" 1 "expected 05, got 04"
fi
exit $failed
