#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: a memory of 64 MiB
# One wrong bit stays visible in the fail map of 1 KiB and of 64 MiB; the picture is read back by pngcheck and ImageMagick, too.
set -u
export LC_ALL=C PYTHONDONTWRITEBYTECODE=1
command -v python3 >/dev/null || { echo "skipped: no python3"; exit 77; }
L=${LU_PROGRAM:?}
here=${LU_TOP:?}/tests/report
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 2
failed=0
bad() { echo "FAILED: $*"; failed=1; }
# Bit 3 of byte 345 (a row of the map has 4 bytes), of byte 0x2345678 (a row has 256 KiB).
for size in 1024 67108864; do
  at=345 square=86
  [ $size = 1024 ] || { at=36984440 square=141; }
  truncate -s $size known.bin && cp --sparse=always known.bin got.bin && printf '\010' | dd of=got.bin bs=1 seek=$at conv=notrunc status=none
  "$L" report --expect known.bin got.bin --png one.png -o one.html || bad "$size bytes: status $?"
  python3 "$here/check_png.py" one.png --worst $square 4 256 8 || bad "the map of $size bytes"
  if command -v pngcheck >/dev/null; then pngcheck -q one.png || bad "pngcheck: $size bytes"; else echo "left out: pngcheck is not here"; fi
  [ "$(wc -c <one.html)" -lt 100000 ] || bad "the page of $size bytes has $(wc -c <one.html) bytes"
done
exit $failed
