#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup over libftdi1 and libusb themselves, on emulated chips (umockdev).
# umockdev is loaded before the sanitizer, and its GLib keeps memory until the end
export ASAN_OPTIONS=verify_asan_link_order=0:detect_leaks=0
bed=$LU_BUILD/tests/usb_bed
if ! command -v umockdev-wrapper >/dev/null || [ ! -x "$bed" ]; then
  echo "skipped: needs umockdev and libumockdev-dev"
  exit 77
fi
if ! "$LU_PROGRAM" take --list 2>&1 | grep -qv "libftdi1" || "$LU_PROGRAM" take --list 2>&1 | grep -q "without libftdi1\|needs libftdi1"; then
  echo "skipped: needs libftdi1"
  exit 77
fi
dir=$(mktemp -d) || exit 2
mkdir -m 777 "$dir/all" && chmod 755 "$dir" # for the user without rights
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
awk 'BEGIN { for (a = 0; a < 65536; a++) printf "%02x", (a * 5 + int(a / 256)) % 256 }' >"$dir/good"
same() { [ "$(od -An -v -tx1 "$1" | tr -d ' \n')" = "$(cat "$dir/good")" ]; }
bus=("$LU_PROGRAM" take --ftdi any --via bus)

run -p 6010 "$LU_PROGRAM" take --list
expect "a chip is listed" 0 "TIDE0001"
start=$(date +%s%N)
run -p 6010 "${bus[@]}" -o "$dir/a.bin"
took=$((($(date +%s%N) - start) / 1000000))
# batches: one second of the bus at most, and nowhere near 64 Ki round trips
read -r transfers ms < <(sed -n 's/^usb_bed: \([0-9]*\) bulk transfers, \([0-9]*\) ms .*/\1 \2/p' "$dir/err")
expect "64 KiB over the host bus: $transfers transfers, $ms ms of the bus, whole run $took ms" 0 "65536 bytes"
[ "${transfers:-65536}" -le 1000 ] && [ "${ms:-9999}" -le 1000 ] || { echo "FAILED: too many transfers, or too long"; failed=1; }
same "$dir/a.bin" || { echo "FAILED: the dump is not what the memory holds"; failed=1; }
run -d -p 6010 "${bus[@]}" --count 4096 -o "$dir/b.bin"
expect "a chip that answers twice until its divider is off" 0 "4096 bytes"
cmp -n 4096 "$dir/a.bin" "$dir/b.bin" || failed=1
run -s -p 6010 "${bus[@]}" --count 16k -o "$dir/b.bin"
expect "packets that end anywhere, with empty ones between" 0 "16384 bytes"
cmp -n 16384 "$dir/a.bin" "$dir/b.bin" || { echo "FAILED: short packets spoil the dump"; failed=1; }
run -q -p 6010 "${bus[@]}" --count 4096 -o "$dir/b.bin"
expect "a chip that sends no empty packets" 0 "4096 bytes"
cmp -n 4096 "$dir/a.bin" "$dir/b.bin" || failed=1
run -p 6010 -f A3=0 "${bus[@]}" --count 32 -o "$dir/c.bin"
expect "an address line stuck" 0 "32 bytes"
[ "$(od -An -tx1 -N8 "$dir/c.bin")" = "$(od -An -tx1 -j8 -N8 "$dir/c.bin")" ] || { echo "FAILED: A3 does not show"; failed=1; }
run -u 30000 -p 6010 "${bus[@]}" -o "$dir/d.bin"
expect "unplugged in the middle" 3 "what was read is kept"
[ -s "$dir/d.bin" ] && cmp -n "$(stat -c %s "$dir/d.bin")" "$dir/a.bin" "$dir/d.bin" || { echo "FAILED: what was kept is wrong"; failed=1; }
run -p 6014 "${bus[@]}" -o "$dir/e.bin"
expect "a chip without a host bus" 3 "does not answer as a host bus"
run -p 6010 -p 6014 "${bus[@]}" -o "$dir/e.bin"
expect "two chips, none chosen" 3 "2 FTDI chips: TIDE0001, TIDE0002"
run -p 6014 -p 6010 "$LU_PROGRAM" take --ftdi TIDE0002 --via bus --count 256 -o "$dir/f.bin"
expect "two chips, chosen by serial number" 0 "256 bytes"
run -p 6010 "$LU_PROGRAM" take --ftdi TIDE0003 --via bus -o "$dir/e.bin"
expect "a serial number that is not there" 3 "there is TIDE0001"
run "${bus[@]}" -o "$dir/e.bin"
expect "no chip" 3 "no FTDI chip on USB"
run -p 6014 "$LU_PROGRAM" take --ftdi any --text --idle 200 --send '0100 01 02 03 04\r' -o "$dir/g.bin"
expect "as a serial line, looped back" 0 "4 bytes: 0x100 to 0x103"
for how in -q -s; do
  run $how -p 6014 "$LU_PROGRAM" take --ftdi any --text --idle 200 --send '0100 01 02 03 04\r' -o "$dir/g.bin"
  expect "the same, with $how" 0 "4 bytes: 0x100 to 0x103"
  start=$(date +%s%N)
  run $how -p 6014 "$LU_PROGRAM" take --ftdi any --text --as hextext --wait 300 -o "$dir/e.bin"
  expect "a line on which nothing comes, with $how" 3 "nothing came within 300 ms"
  [ $((($(date +%s%N) - start) / 1000000)) -lt 5000 ] || { echo "FAILED: it waits longer than it was told"; failed=1; }
done
for how in -q -s -D; do
  run $how -R -p 6014 "$LU_PROGRAM" take --ftdi any --kind rom --address-bits 12 -o "$dir/r.bin"
  expect "our reader on that line, without the system's driver, with $how" 0 "4096 bytes: 0x0 to 0xfff"
  cmp -n 4096 "$dir/a.bin" "$dir/r.bin" || failed=1
done
expect "which is put back" 0 "the system's driver has the chip again"
run -R -p 6014 "$LU_PROGRAM" verify --ftdi any --address-bits 10 --pattern march-c-minus
expect "and verify over it" 0 "0 errors"
run -R -u 9000 -p 6014 "$LU_PROGRAM" take --ftdi any --kind rom --address-bits 14 -o "$dir/r.bin"
expect "unplugged there" 3 "what was read is kept"
cmp -n "$(stat -c %s "$dir/r.bin")" "$dir/a.bin" "$dir/r.bin" || failed=1
run -p 6014 "$LU_PROGRAM" take --ftdi any --text --flow xon --idle 200 --send '0100 01 02 03 04\r' -o "$dir/g.bin"
expect "XON/XOFF, by the chip itself" 0 "flow control 0401 with 1311"
run -p 6014 "$LU_PROGRAM" take --ftdi any --text --flow rts --idle 200 --send '0100 01 02 03 04\r' -o "$dir/g.bin"
expect "RTS and CTS" 0 "flow control 0101 with"
run -p 6014 "$LU_PROGRAM" take --ftdi any --sample --name CS --name OE --count 3000 -o "$dir/h.vcd"
expect "as a sampler" 0 "3000 samples"
[ "$(grep -c '^#' "$dir/h.vcd")" = 3001 ] && grep -q 'wire 1 a CS' "$dir/h.vcd" || { echo "FAILED: the capture is wrong"; failed=1; }
run -p 6014 "$LU_PROGRAM" take --ftdi any -o "$dir/e.bin"
expect "our reader is not behind that line" 3 "lineup: FTDI TIDE0001"
run -p 6010 -f P3=0 -f P12=1 "${bus[@]}" -o "$dir/i.bin"
expect "lines that something else holds" 3 "something else holds AD3 A12; remove the processor"
run -p 6010 -f P3=0 "${bus[@]}" --drive-anyway --count 64 -o "$dir/j.bin"
expect "driven nevertheless" 0 "64 bytes"
run -p 6010 "${bus[@]}" --count 64 -o "$dir/j.bin"
expect "what the chip cannot check is said" 0 "it cannot check CS#, ALE, RD#, WR#, nor see whether the board has its 5 V"
test_bus=("$LU_PROGRAM" verify --ftdi any --via bus)
run -p 6010 "${test_bus[@]}" --address-bits 10 --pattern march-c-minus --pattern checkerboard --hold 1s
expect "verify writes and reads over the host bus" 0 "0 errors"
run -s -p 6010 -f D2=1 "${test_bus[@]}" --address-bits 10 --pattern march-c-minus --most-errors 50
expect "verify finds a data line stuck behind it" 1 "expected 00, got 04"
run -p 6010 -f A4=0 "${test_bus[@]}" -b "$LU_TOP/tests/boards/log8.yaml" --block 'log RAM' --most-errors 50
expect "and names the net of an address line" 1 "A4"
sed -n '/^Suspects/,/^$/p' "$dir/out" | grep -E '^ *1\. ' | grep -qE '%  /B?A4  ' || { echo "FAILED: not the first suspect:"; cat "$dir/out"; failed=1; }
run -u 20000 -p 6010 "${test_bus[@]}" --pattern march-c-minus
expect "unplugged in the middle of verify" 3 "not finished"
run -D -p 6010 "${bus[@]}" --count 64 -o "$dir/j.bin"
expect "a driver of the system gives the chip, and gets it back" 0 "the system's driver has the chip again"
if [ "$(id -u)" != 0 ] || setpriv --reuid=65534 --regid=65534 --clear-groups "$LU_PROGRAM" --version >/dev/null 2>&1; then
  run -m -p 6010 "${bus[@]}" -o "$dir/all/i.bin"
  expect "no permission, and the rule that gives it" 3 "70-lineup-ftdi.rules"
fi
[ -e "$dir/i.bin" ] || [ -e "$dir/all/i.bin" ] && { echo "FAILED: something was written"; failed=1; }
exit $failed
