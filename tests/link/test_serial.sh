#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup take over libserialport itself, on an emulated /dev/ttyUSB0 (umockdev).
# umockdev is loaded before the sanitizer, and its GLib keeps memory until the end
export ASAN_OPTIONS=verify_asan_link_order=0:detect_leaks=0
bed=$LU_BUILD/tests/tty_bed
if ! command -v umockdev-wrapper >/dev/null || [ ! -x "$bed" ]; then
  echo "skipped: needs umockdev and libumockdev-dev"
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
python_memory() { # from count: the bytes that the beds hold
  awk -v from="$1" -v n="$2" 'BEGIN { for (a = from; a < from + n; a++) printf "%02x", (a * 5 + int(a / 256)) % 256 }'
}
holds() { # file from count
  if [ "$(od -An -v -tx1 "$1" | tr -d ' \n')" = "$(python_memory "$2" "$3")" ]; then
    echo "ok: $1 holds the memory"
  else
    echo "FAILED: $1 does not hold the memory"
    failed=1
  fi
}
port=(--port /dev/ttyUSB0)

run silent "$LU_PROGRAM" take --list
expect "ports are listed with their USB texts" 0 "usb 0403:6001  Tide Works  bench line  TIDE0042"
run monitor "$LU_PROGRAM" take "${port[@]}" --text --prompt 'ok>' --send 'show {from:4} {to:4}\r' \
  --from 0x1000 --count 0x200 --step 0x100 --baud 19200 --idle 300 -o "$dir/a.bin"
expect "a monitor program is read in steps" 0 "512 bytes: 0x1000 to 0x11ff"
holds "$dir/a.bin" 4096 512
[ -s "$dir/a.bin.raw" ] || { echo "FAILED: no raw bytes beside the dump"; failed=1; }
run ihex "$LU_PROGRAM" take "${port[@]}" --text --send 'go\r' --idle 300 --baud 123456 -o "$dir/b.hex"
expect "Intel HEX at an odd rate" 0 "256 bytes: 0x100 to 0x1ff"
run silent "$LU_PROGRAM" take "${port[@]}" --text --wait 300 -o "$dir/c.bin"
expect "a silent device" 3 "nothing came within 300 ms"
run silent "$LU_PROGRAM" take --port /dev/ttyUSB1 -o "$dir/c.bin"
expect "no such port, the nearest named" 3 "no serial port '/dev/ttyUSB1'; there is /dev/ttyUSB0"
run -u 500 monitor "$LU_PROGRAM" take "${port[@]}" --text --send 'show 1000 1FFF\r' -o "$dir/d.bin"
expect "unplugged in the middle of a text" 3 "unplugged"
run monitor "$LU_PROGRAM" take "${port[@]}" -o "$dir/e.bin"
expect "a device that speaks something else, its bytes in hex" 3 "it begins with"
grep -qE 'begins with( [0-9a-f]{2}){4,}' "$dir/err" || { echo "FAILED: no bytes in hex:"; cat "$dir/err"; failed=1; }
run elder "$LU_PROGRAM" take "${port[@]}" -o "$dir/e.bin"
expect "firmware of another version, both named" 3 "speaks protocol version 2, this program 1"
run silent "$LU_PROGRAM" take "${port[@]}" -o "$dir/e.bin"
expect "a reader that does not answer" 3 "nothing answers"
run -l silent "$LU_PROGRAM" take "${port[@]}" -o "$dir/e.bin"
expect "a port that another program has" 3 "busy; another program has it open"
# a directory that the program may read is needed for the user without rights
if [ "$(id -u)" != 0 ] || setpriv --reuid=65534 --regid=65534 --clear-groups "$LU_PROGRAM" --version >/dev/null 2>&1; then
  run -m silent "$LU_PROGRAM" take "${port[@]}" -o "$dir/e.bin"
  expect "no permission, and what to do" 3 "no permission; become a member of its group: usermod -aG"
fi
[ -e "$dir/e.bin" ] && { echo "FAILED: something was written"; failed=1; }
exit $failed
