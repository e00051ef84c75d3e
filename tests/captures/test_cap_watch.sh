#!/bin/bash
# SPDX-License-Identifier: MIT
# The watch command from outside: exit statuses, messages, pieces through a pipe, constant memory.
export COLUMNS=2000 # lines as they are, not folded
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 1
status=0
wrong() { echo "wrong: $*"; status=1; }

# A capture of `cycles` read cycles, as an exporter of single lines writes it; A2 never moves.
make_vcd() {
  awk -v cycles="$1" 'BEGIN {
    print "$timescale 1 ns $end\n$scope module tide $end"
    for (i = 0; i < 6; i++) printf "$var wire 1 %c A%d $end\n", 97 + i, i
    print "$var wire 8 d D [7:0] $end\n$var wire 1 R RD $end\n$var wire 1 W WR $end"
    print "$upscope $end\n$enddefinitions $end\n#0\n1R 1W b0 d 0a 0b 0c 0d 0e 0f"
    seed = 7
    for (n = 0; n < cycles; n++) {
      printf "#%d\n", n * 500 + 100
      for (i = 0; i < 6; i++) if (i != 2) printf "%d%c\n", int(n / 2 ^ i) % 2, 97 + i
      seed = (seed * 1103515245 + 12345) % 2147483648
      v = int(seed / 65536) % 256; b = ""
      for (i = 7; i >= 0; i--) b = b int(v / 2 ^ i) % 2
      printf "#%d\n0R\n#%d\nb%s d\n#%d\n1R\n", n * 500 + 150, n * 500 + 200, b, n * 500 + 400
    }
  }' | sed 's/\$var wire 8 d D/$var wire 8 z D/; s/^\(.*b[01]*\) d/\1 z/'
}
make_vcd 400 > tide.vcd
cat > bus.yaml <<'Y'
address: [A0-A5]
data: D
strobes:
  read: {pin: RD, active: low}
  write: {pin: WR, active: low}
Y
"$LU_PROGRAM" watch tide.vcd > out.txt; [ $? = 1 ] || wrong "a still address line should give status 1"
grep -q '^! A2 .*stands still while bits above and below it move' out.txt || wrong "A2 was not found"
[ "$(grep -c '^!' out.txt)" = 1 ] || wrong "more than A2 is marked"
"$LU_PROGRAM" watch tide.vcd -s bus.yaml --count > out.txt || wrong "count: status $?"
grep -q '^cycles: 400 read$' out.txt || wrong "400 reads expected"
[ "$("$LU_PROGRAM" watch - -s bus.yaml --cycles --csv < tide.vcd | wc -l)" = 401 ] || wrong "the table"
"$LU_PROGRAM" watch tide.vcd -s bus.yaml --json > out.json; [ $? = 1 ] || wrong "json: status"
grep -q '"verdict": "faulty"' out.json && grep -q '"reads": 400' out.json || wrong "json"
"$LU_PROGRAM" watch tide.vcd -s bus.yaml --around 10us > out.txt || wrong "around: status $?"
grep -q '^RD ' out.txt && grep -q '\^ 10 us' out.txt || wrong "the picture"
"$LU_PROGRAM" watch tide.vcd -s bus.yaml --around 10us --show A0-A5,RD --svg out.svg || wrong "svg: status $?"
grep -q '</svg>' out.svg || wrong "svg"

# Renamed signals: CH names of an exporter.
sed 's/ RD \$end/ CH0 $end/' tide.vcd > renamed.vcd
{ cat bus.yaml; echo 'CH0: RD'; } > renamed.yaml
"$LU_PROGRAM" watch renamed.vcd -s renamed.yaml --count | grep -q '400 read' || wrong "renamed signals"

# Reads against an image: word a of a memory of 64 bytes holds 3a + 1; what the capture writes (to 5) goes before it.
awk 'BEGIN {
  print "$timescale 1 ns $end\n$var wire 6 A A [5:0] $end\n$var wire 8 D D [7:0] $end\n$var wire 1 R RD $end\n$var wire 1 W WR $end"
  print "$enddefinitions $end\n#0\n1R 1W b0 A b0 D"
  for (n = 0; n < 65; n++) {
    a = n % 64; v = n == 64 ? 200 : 3 * a + 1; if (n == 64) a = 5
    t = n * 100; s = n == 64 ? "W" : "R"; x = ""; y = ""
    for (i = 5; i >= 0; i--) x = x int(a / 2 ^ i) % 2
    for (i = 7; i >= 0; i--) y = y int(v / 2 ^ i) % 2
    printf "#%d\nb%s A b%s D\n#%d\n0%s\n#%d\n1%s\n", t + 10, x, y, t + 20, s, t + 70, s
  }
  printf "#7010\nb101 A b11001000 D\n#7020\n0R\n#7070\n1R\n" # 5 holds 200 now
}' > image.vcd
python3 -c 'import sys; sys.stdout.buffer.write(bytes((3 * a + 1) % 256 for a in range(64)))' > image.bin
cat > image.yaml <<'Y'
address: A
data: D
strobes: {read: {pin: RD}, write: {pin: WR}}
Y
"$LU_PROGRAM" watch image.vcd -s image.yaml --expect image.bin > out.txt || { wrong "expect: status $?"; cat out.txt; }
grep -q 'memory: 65 of 65 reads could be checked, 0 differ from what was expected' out.txt || { wrong "expect"; cat out.txt; }
{ head -c 40 image.bin; printf '\x00'; tail -c 23 image.bin; } > other.bin
"$LU_PROGRAM" watch image.vcd -s image.yaml --expect other.bin > out.txt; [ $? = 1 ] || wrong "expect, one byte: status"
grep -q '1 differ' out.txt && grep -q 'address 28 expected 00 got 79 at 4.07 us' out.txt || { wrong "expect, one byte"; cat out.txt; }
tail -c 32 image.bin > half.bin
"$LU_PROGRAM" watch image.vcd -s image.yaml --expect half.bin --at 0x20 > out.txt || wrong "expect --at: status $?"
grep -q 'memory: 33 of 65 reads could be checked, 0 differ' out.txt || { wrong "expect --at"; cat out.txt; }
"$LU_PROGRAM" watch image.vcd -s image.yaml --expect half.bin > out.txt; [ $? = 1 ] || wrong "expect, wrong place: status"
# :LLAAAATT by hand: 4 bytes at 0x20 (97, 100, 103, 106), checksum -(4 + 0x20 + 0x61 + 0x64 + 0x67 + 0x6a).
printf ':040020006164676A46\n:00000001FF\n' > four.hex
"$LU_PROGRAM" watch image.vcd -s image.yaml --expect four.hex --json > out.json || wrong "expect, Intel HEX: status $?"
python3 -c 'import json; m = json.load(open("out.json"))["memory"]; assert m["checked"] == 5 and m["differ"] == 0, m' || { wrong "expect, json"; cat out.json; }

# Cut in the middle: used up to the cut, with a warning.
head -c 9000 tide.vcd > cut.vcd
"$LU_PROGRAM" watch cut.vcd -s bus.yaml --count > out.txt 2> err.txt || wrong "cut: status $?"
grep -q 'cut.vcd:[0-9]*:[0-9]*: warning: the capture is cut off' err.txt || wrong "cut: no warning"
grep -q ' read$' out.txt || wrong "cut: nothing used"

# Bad input: status 2, file, line and column, nothing on standard output.
bad() {
  local name=$1 want=$2; shift 2
  "$LU_PROGRAM" watch "$@" > out.txt 2> err.txt
  local got=$?
  [ $got = 2 ] || wrong "$name: status $got"
  [ -s out.txt ] && wrong "$name: half-written output"
  grep -q "$want" err.txt || { wrong "$name: message"; cat err.txt; }
  grep -Eq 'sanit|runtime' err.txt && wrong "$name: sanitizer"
}
printf '$var wire 1 ! a $end $enddefinitions $end\n#0\n1?\n' > b1.vcd
printf '$var wire 1 ! a $end $enddefinitions $end\n#5\n1!\n#4\n' > b2.vcd
printf '$var wire 2 ! a $end $enddefinitions $end\n#0\nb101 !\n' > b3.vcd
printf '$var wire 1 ! a $end\n#0\n1!\n' > b4.vcd
head -c 3000 "$LU_PROGRAM" > b5.vcd
sed 's/RD, active/RDY, active/' bus.yaml > b6.yaml
grep -v 'strobes\|pin' bus.yaml > b7.yaml
bad undeclared "b1.vcd:3:2: expected a declared identifier code, found '?'" b1.vcd
bad backwards 'b2.vcd:4:1: time goes backwards' b2.vcd
bad wide 'b3.vcd:3:1: expected at most' b3.vcd
bad head 'b4.vcd:2:1: expected $enddefinitions' b4.vcd
bad binary 'b5.vcd:1:1: expected' b5.vcd
bad empty ': the capture is empty' /dev/null
bad missing "b6.yaml:4:15: expected a signal of the capture, found 'RDY'; the nearest is 'RD'" tide.vcd -s b6.yaml
bad strobes 'b7.yaml:1:1: no strobe is defined' tide.vcd -s b7.yaml --cycles
bad nofile 'cannot open' nofile.vcd
bad late "expected a declared identifier code, found '%'" <(cat tide.vcd; echo '1%') -s bus.yaml --cycles
bad image 'cannot open' image.vcd -s image.yaml --expect none.bin
bad image-at 'at needs --expect' image.vcd -s image.yaml --at 32
bad image-nodata 'expect needs data' image.vcd -s <(grep -v data image.yaml) --expect image.bin
bad around 'around expects a time' tide.vcd --around noon
bad nothing 'no signal\|found' tide.vcd --around 1us --show NOPE

# Constant memory: a capture a hundred times as long needs no more. (Sanitizers need more, so not there.)
if command -v /usr/bin/time > /dev/null && ! grep -q __asan_init "$LU_PROGRAM"; then
  peak() { make_vcd "$1" | /usr/bin/time -f %M -o peak.txt "$LU_PROGRAM" watch - -s bus.yaml > /dev/null; cat peak.txt | tail -1; }
  small=$(peak 200) large=$(peak 20000)
  [ "$large" -lt 16384 ] || wrong "peak memory $large KiB"
  [ $((large - small)) -lt 1024 ] || wrong "memory grows: $small to $large KiB"
fi
exit $status
