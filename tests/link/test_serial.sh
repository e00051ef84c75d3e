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
expect "and that rate was set" 0 "tty_bed: 123456 baud"
for peer in srec ihex raw; do
  run $peer "$LU_PROGRAM" take "${port[@]}" --text --send 'go\r' --idle 300 --from 0x100 -o "$dir/b.hex"
  expect "$peer is recognised" 0 "256 bytes: 0x100 to 0x1ff"
  run $peer "$LU_PROGRAM" take "${port[@]}" --text --send 'go\r' --idle 300 --from 0x100 -o "$dir/b.bin"
  holds "$dir/b.bin" 256 256
done
# a CRC sender is asked with C, one that knows only the sum with NAK; blocks are filled up with 1A
for peer in crc sum; do
  run $peer "$LU_PROGRAM" take "${port[@]}" --text --send 'go\r' --idle 300 --from 0x100 --count 300 -o "$dir/x.bin"
  expect "XMODEM ($peer) is recognised" 0 "300 bytes: 0x100 to 0x22b"
  holds "$dir/x.bin" 256 300
done
run sum "$LU_PROGRAM" take "${port[@]}" --text --as xmodem-sum --send 'go\r' -o "$dir/x.bin"
expect "XMODEM when it is known to come" 0 "384 bytes: 0x0 to 0x17f"
run crc "$LU_PROGRAM" take "${port[@]}" --text --as xmodem --send 'go\r' --from 0x100 --count 300 -o "$dir/x.bin"
holds "$dir/x.bin" 256 300
# pacing and flow control
memory=(--text --prompt 'ok>' --send 'show {from} {to}\r' --from 0x1000 --count 0x20)
run monitor "$LU_PROGRAM" take "${port[@]}" "${memory[@]}" --char-delay 20 --line-delay 150 --flow rts -o "$dir/p.bin"
expect "RTS and CTS" 0 "115200 baud, RTS/CTS"
read -r chars ms < <(sed -n 's/^tty_bed: typed \([0-9]*\) characters in \([0-9]*\) ms$/\1 \2/p' "$dir/err")
# each character but the last has its pause, and the empty line that wakes the monitor has its own
[ "${ms:-0}" -ge $(((${chars:-999} - 1) * 20 + 150)) ] || { echo "FAILED: typed too fast: $chars characters in $ms ms"; failed=1; }
run -t monitor "$LU_PROGRAM" take "${port[@]}" --text --send 'show 1000 101F\r' --flow rts -o "$dir/e.bin"
expect "CTS that never comes" 3 "CTS stays off"
run choosy "$LU_PROGRAM" take "${port[@]}" "${memory[@]}" --char-delay 50 --flow xon -o "$dir/p.bin"
expect "XON and XOFF" 0 " 0 characters came while the line was held"
expect "set at the line" 0 ", XON/XOFF"
run choosy "$LU_PROGRAM" take "${port[@]}" "${memory[@]}" --char-delay 50 -o "$dir/p.bin"
grep -q ' 0 characters came while' "$dir/err" && { echo "FAILED: the bed does not notice what it must"; failed=1; }
run silent "$LU_PROGRAM" take "${port[@]}" --text --wait 300 -o "$dir/e.bin"
expect "a silent device" 3 "nothing came within 300 ms"
run silent "$LU_PROGRAM" take "${port[@]}" --text -o "$dir/none/e.bin"
expect "a folder that is not there, before anything is read" 3 "cannot write there"
run silent "$LU_PROGRAM" verify "${port[@]}" --image "$dir/none.bin"
expect "an image that is not there, the same" 2 "none.bin"
run silent "$LU_PROGRAM" take "${port[@]}" --text --send 'show {form}\r' -o "$dir/e.bin"
expect "a template with a wrong word" 2 "expected"
run monitor "$LU_PROGRAM" take "${port[@]}" --text --prompt 'hm>' --send 'x\r' --idle 200 -o "$dir/e.bin"
expect "a prompt that never comes, and what came instead" 3 "the prompt 'hm>' did not come; the last was"
run silent "$LU_PROGRAM" take --port /dev/ttyUSB1 -o "$dir/c.bin"
expect "no such port, the nearest named" 3 "no serial port '/dev/ttyUSB1'; there is /dev/ttyUSB0"
run -u 500 monitor "$LU_PROGRAM" take "${port[@]}" --text --send 'show 1000 1FFF\r' -o "$dir/d.bin"
expect "unplugged in the middle of a text" 3 "unplugged"
expect "what came is kept, whole lines of it" 3 "128 bytes: 0x1000 to 0x107f"
holds "$dir/d.bin" 4096 128
run -u 500 ihex "$LU_PROGRAM" take "${port[@]}" --text --send 'go\r' -o "$dir/d.bin"
expect "half a record does not spoil the others" 3 "176 bytes: 0x100 to 0x1af"
run -c 500 monitor "$LU_PROGRAM" take "${port[@]}" --text --send 'show 1000 1FFF\r' -o "$dir/d.bin"
expect "Ctrl-C keeps what came" 3 "; what came is kept"
n=$(stat -c %s "$dir/d.bin")
[ "$n" -ge 16 ] && holds "$dir/d.bin" 4096 "$n"
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
  run -m silent "$LU_PROGRAM" take "${port[@]}" -o "$dir/all/e.bin"
  expect "no permission, and what to do" 3 "no permission; become a member of its group: usermod -aG"
fi
[ -e "$dir/e.bin" ] || [ -e "$dir/all/e.bin" ] && { echo "FAILED: something was written"; failed=1; }
exit $failed
