#!/bin/bash
# SPDX-License-Identifier: MIT
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
run() { umockdev-wrapper "$bed" "$@" >"$dir/out" 2>"$dir/err"; code=$?; }
expect() { # what, exit status, text in the output
  if [ "$code" != "$2" ] || ! grep -qF -- "$3" "$dir/out" "$dir/err"; then
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
run avr "$elf" "$LU_PROGRAM" take "${port[@]}" --levels
expect "levels of the lines" 0 "CAS"
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
  good=$(sha1sum <"$dir/rom.bin" | cut -d' ' -f1)
  run -k rom avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 13 --sha1 "$good" --image "$dir/rom.bin"
  expect "a ROM against its digest and image" 0 "as it must be"
  run -k rom -f D0=0 avr "$elf" "$LU_PROGRAM" verify "${port[@]}" --address-bits 10 --image "$dir/rom.bin"
  expect "a ROM with a data line stuck" 1 "expected 05, got 04"
fi
exit $failed
