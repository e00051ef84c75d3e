#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: compiles every pattern with each compiler
# Every pattern as C: built for the host and run against simulated memories; built for m68k and AVR
# where those compilers are.
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
cc=${CC:-cc}
command -v "$cc" >/dev/null || { echo "skipped: no compiler $cc"; exit 77; }
flags="-std=c99 -O0 -Wall -Wextra -Werror"
bad=0
run() { # pattern, bytes of the block, width, bytes a word, mask
  "$LU_PROGRAM" pattern expand "$1" --size "$2" --width "$3" --base 0x400 --c "$dir/t.c" --ops "$dir/t.ops" || return 1
  "$cc" $flags -DTEST="\"$dir/t.c\"" -DSTEP="$4" -DMASK="UINT64_C($5)" -o "$dir/t" "$LU_TOP/tests/pattern/harness.c" || return 1
  "$dir/t" "$dir/t.ops" >"$dir/t.out" || { cat "$dir/t.out"; return 1; }
}
count=0
names=()
for name in $(COLUMNS=2000 "$LU_PROGRAM" pattern list | awk '{print $1}'); do
  names+=("$name")
  [ "$name" = lane-march ] && { run lane-march 64 16 1 0xff || { echo "FAILED: lane-march"; bad=1; }; continue; }
  # sizes that are and are not powers of two, both widths over the whole set
  if (( count % 2 )); then
    run "$name" 64 8 1 0xff || { echo "FAILED: $name, 8 bits"; bad=1; }
  else
    run "$name" 92 16 2 0xffff || { echo "FAILED: $name, 16 bits"; bad=1; }
  fi
  count=$((count + 1))
done
[ "$count" -gt 60 ] || { echo "only $count patterns"; bad=1; }

# march-c-minus sees all the faults but the bridge of equal bits; word-march sees that too
run march-c-minus 64 8 1 0xff || bad=1
read -r good open stuck bridged cell dead <"$dir/t.out"
(( good == 0 && open > 0 && stuck > 0 && bridged == 0 && cell > 0 && dead > 0 )) || { echo "march-c-minus: $(cat "$dir/t.out")"; bad=1; }
run word-march 64 8 1 0xff || bad=1
read -r good open stuck bridged cell dead <"$dir/t.out"
(( good == 0 && bridged > 0 )) || { echo "word-march: $(cat "$dir/t.out")"; bad=1; }

# other machines: compiled only. Memory at address 0 is memory: a compiler must not take it for a pointer to nothing, of
# which it makes a trap
for target in "m68k-linux-gnu-gcc -m68000 -O2 16" "avr-gcc -mmcu=atmega328p -Os 8" "$cc -O3 16"; do
  compiler=${target%% *}
  width=${target##* }
  target=${target% *}
  command -v "$compiler" >/dev/null || { echo "no $compiler: that part left out"; continue; }
  for name in "${names[@]}"; do
    "$LU_PROGRAM" pattern expand "$name" --size 1k --width "$width" --byte-order big --c "$dir/x.c" &&
    $target -std=c99 -ffreestanding -Wall -Wextra -Werror '-DLU_WAIT_US(us)=(void)0' -S -o "$dir/x.s" "$dir/x.c" ||
      { echo "FAILED: $name, $width bits, $target"; bad=1; }
    grep -wE 'trap|illegal|ud2|brk|abort' "$dir/x.s" && { echo "FAILED: $name at address 0 traps, $target"; bad=1; }
  done
done
# a block so small that every address is known
for compiler in m68k-linux-gnu-gcc "$cc"; do
  command -v "$compiler" >/dev/null || continue
  "$LU_PROGRAM" pattern expand march-c-minus --size 8 --width 16 --c "$dir/x.c" && "$compiler" -O3 -std=c99 -ffreestanding -S -o "$dir/x.s" "$dir/x.c" || bad=1
  grep -wE 'trap|illegal|ud2|brk|abort' "$dir/x.s" && { echo "FAILED: a small block at address 0 traps, $compiler"; bad=1; }
done
# on a 68000 the whole march fits the registers: no stack, no calls
if command -v m68k-linux-gnu-gcc >/dev/null; then
  "$LU_PROGRAM" pattern expand march-c-minus --size 64k --width 16 --base 0x10000 --c "$dir/x.c" &&
  m68k-linux-gnu-gcc -m68000 -O2 -std=c99 -ffreestanding -fomit-frame-pointer -S -o "$dir/x.s" "$dir/x.c" || bad=1
  grep -E '%sp|jsr|bsr' "$dir/x.s" && { echo "FAILED: the 68000 needs memory for march-c-minus"; bad=1; }
fi
exit $bad
