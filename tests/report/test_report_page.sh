#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# lineup report: the page's form and parts, hostile names, the picture read back, outputs that cannot be written.
set -u
export LC_ALL=C PYTHONDONTWRITEBYTECODE=1
command -v python3 >/dev/null || { echo "skipped: no python3"; exit 77; }
L=${LU_PROGRAM:?}
here=${LU_TOP:?}/tests/report
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
cp -r "$LU_TOP/docs" "$dir" && cd "$dir" || exit 2
failed=0
bad() { echo "FAILED: $*"; failed=1; }
page() { # FILE PART...
  python3 "$here/check_page.py" "$@" || bad "$1"
}
below() { # FILE BYTES
  [ "$(wc -c <"$1")" -lt "$2" ] || bad "$1 has $(wc -c <"$1") bytes, at most $2 are meant"
}
demo=(--board docs/demo/tide.yaml)
boot=("${demo[@]}" --block 'boot ROM' --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin)

"$L" report "${demo[@]}" --run docs/demo/as-found.yaml -o run.html || bad "report --run: status $?"
page run.html verdict suspects explanations symptoms maps board lines worksheet cautions
below run.html 1000000
for word in 'There are faults' BA10 DRA3 U8.21 'boot ROM' 'src="data:image/png' 'alkali' licence capacitors; do
  grep -qF "$word" run.html || bad "run.html says nothing of $word"
done

"$L" report "${boot[@]}" -o boot.html --png boot.png || bad "report of a dump: status $?"
page boot.html verdict suspects lines
python3 "$here/check_png.py" boot.png docs/demo/found-boot.bin docs/demo/tide-rom.bin || bad "the picture"
command -v pngcheck >/dev/null || echo "left out: pngcheck is not here"
sound() { ! command -v pngcheck >/dev/null || pngcheck -q "$1" || bad "pngcheck, $1"; }
sound boot.png
grep -qF "$(base64 -w0 boot.png)" boot.html || bad "the page has another picture"

# A chip's own rows and columns: a bad row of U20 (D4), a bad column of U31 (D15).
record=("${demo[@]}" --block 'record RAM' --wrote prbs23)
"$L" simulate "${record[@]}" -o good.bin 2>err && "$L" simulate "${record[@]}" --fault 'row U20 5 high' -o row.bin 2>err &&
  "$L" simulate "${record[@]}" --fault 'column U31 7 low' -o column.bin 2>err || bad "simulate: $(cat err)"
"$L" report "${record[@]}" row.bin -o row.html --png row.png --chip U20 || bad "report of a row: status $?"
python3 "$here/check_png.py" row.png row.bin good.bin 4 512 || bad "the map of U20"
"$L" report "${record[@]}" column.bin --png column.png --chip U31 || bad "the map of a column: status $?"
python3 "$here/check_png.py" column.png column.bin good.bin 15 512 || bad "the map of U31"
sound row.png
sound column.png
grep -qF "$(base64 -w0 row.png)" row.html && grep -q 'most in row 4' row.html || bad "the page does not show the chip's map"
"$L" report "${record[@]}" row.bin --png x.png --chip U99 2>err
[ $? = 2 ] && grep -q "no memory chip 'U99'" err || bad "--chip U99: $(cat err)"
"$L" decode "${record[@]}" row.bin --map --chip U20 >map
[ $? = 1 ] && grep -q '^       0  @' map && awk 'length > 80 { exit 1 }' map || bad "the chip's map in a terminal"

"$L" report --width 16 --byte-order big --wrote address docs/demo/found-record.bin -o plain.html || bad "without a board: status $?"
page plain.html verdict suspects maps
"$L" report --width 16 --byte-order big docs/demo/tide-rom.bin -o blind.html || bad "nothing known: status $?"
page blind.html verdict maps

if "$L" job new "${demo[@]}" tide.job >/dev/null 2>err; then
  "$L" report tide.job -o empty.html || bad "a job without readings: status $?"
  page empty.html verdict history
  "$L" decode --job tide.job --run docs/demo/as-found.yaml >/dev/null
  "$L" reading tide.job U8.21:leg U16.12 open >/dev/null
  "$L" reading tide.job U8.21:pad U16.12 open >/dev/null
  "$L" reading tide.job --undo 6 >/dev/null || bad "undo"
  "$L" job note tide.job 'crust <b>brushed</b> off' >/dev/null
  "$L" report tide.job -o job.html || bad "report of a job: status $?"
  page job.html verdict suspects maps board wires lines worksheet readings repairs changes checks history cautions
  "$L" wires tide.job >wires.txt
  for words in '38.0\|37.9' 'U8.21 (MA3) at 150.0, 84.2 mm' 'it sits in a socket'; do
    grep -q "$words" wires.txt && grep -q "$words" job.html || bad "wires: the page is without $words"
  done
  below job.html 1000000
  grep -qF 'U8.21:leg to U16.12: open' job.html || bad "the reading is not on the page"
  grep -qF 'crust &lt;b&gt;brushed&lt;/b&gt; off' job.html || bad "the note is not on the page"
  grep -q '<s>U8.21:pad to U16.12: open</s> (taken back)' job.html || bad "what was taken back is not marked"
  grep -q 'class="box"' job.html || bad "no boxes to tick"
  "$L" report tide.job --for owner -o owner.html || bad "owner: status $?"
  page owner.html verdict suspects cautions
  [ "$(wc -c <owner.html)" -lt $(($(wc -c <job.html) / 4)) ] || bad "the owner's page is not short"
  "$L" report tide.job --for nobody -o x.html 2>err && bad "--for nobody"
  "$L" repair tide.job 'contact U8.21 cleaned' >/dev/null || bad "repair"
  "$L" report tide.job -o after.html || bad "after a repair: status $?"
  page after.html verdict
  # As lineup verify writes it into a job; made by hand, since no reader is here.
  "$L" job export tide.job folder >/dev/null && python3 - <<'PY' && "$L" job import folder checked.job >/dev/null || bad "an entry of verify"
import json
job = json.load(open("folder/job.json"))
entries = job["history"]
new = dict(entries[-1], id=entries[-1]["id"] + 1, kind="verify", text="pass of record RAM", files=[],
           body={"block": "record RAM", "verdict": "pass", "words": 262144, "reads": 3932160, "writes": 2621440, "errors": 0, "rounds": 2,
                 "seconds": 5400.5, "coverage": {"patterns": ["prbs23", "march-c-minus"], "lines": {"open": {"detected": 118, "of": 120}},
                                                 "cells": ["stuck cell"]}})
if isinstance(entries[-1]["body"], str):
    new["body"] = json.dumps(new["body"])
entries.append(new)
json.dump(job, open("folder/job.json", "w"))
PY
  "$L" report checked.job -o checked.html && "$L" report checked.job --for owner -o checked-owner.html || bad "report with a verification"
  page checked.html checks
  for words in 'record RAM: pass' '3932160 reads' '0 errors' 'prbs23, march-c-minus' 'open 118 of 120' 'This proves' 'It does not prove'; do
    grep -qF "$words" checked.html || bad "verification: '$words' is missing"
  done
  grep -qF 'This proves' checked-owner.html || bad "the owner does not learn what was proved"
  # Read again, a good board: before and after.
  "$L" simulate "${demo[@]}" --block 'record RAM' --wrote address -o again.bin 2>err
  "$L" decode --job tide.job --block 'record RAM' --wrote address again.bin >/dev/null || bad "decode after the repair"
  "$L" report tide.job -o mended.html || bad "mended: status $?"
  page mended.html changes
  grep -qF '<td class="n">262144</td><td class="n">196608</td><td class="n">196608</td><td class="n">0</td><td class="n">196608</td><td class="n">0</td>' mended.html ||
    bad "before and after: other figures than compare has"
  grep -q 'cleared</dt><dd>BA10, DRA3</dd>' mended.html || bad "the suspects that are cleared"
  grep -qF 'read it again' after.html || bad "a page older than the repair does not say so"
else
  echo "left out: jobs ($(cat err))"
fi

# Names from files are not trusted: markup, escape codes, text that turns the direction, bytes that are no UTF-8.
mkdir hostile && cp docs/demo/*.bin hostile
python3 - <<'PY' || bad "no hostile board"
name = b"x<script>alert(1)</script>&\"'\x1b[31m\xe2\x80\xae\xff"
net = open("docs/demo/tide.net", "rb").read()
quoted = b'"' + name.replace(b'"', b'\\"') + b'"'
import re
net, n = re.subn(rb'\(name "?DRA3"?\)', lambda m: b"(name " + quoted + b")", net)
assert n == 1, n
open("hostile/tide.net", "wb").write(net)
board = open("docs/demo/tide.yaml").read()
board = re.sub(r"(?m)^layout:.*\n", "", board)
title = 'title: "</title><script>alert(2)</script>\\x1b[32m"'
board = re.sub(r"(?m)^title:.*$", lambda m: title, board)
board = re.sub(r"(?m)^damage:\n(  .*\n)*", "", board)
open("hostile/tide.yaml", "w").write(board)
PY
"$L" report --board hostile/tide.yaml --block 'record RAM' --wrote address docs/demo/found-record.bin -o hostile.html 2>err
status=$?
if [ $status = 0 ]; then
  page hostile.html verdict suspects
  grep -qF 'x&lt;script&gt;alert(1)&lt;/script&gt;&amp;' hostile.html || bad "the hostile name is not there, escaped"
  grep -qiF '<script>alert' hostile.html && bad "a script came through"
else
  bad "hostile names: status $status: $(head -n 2 err)"
fi

# The same names elsewhere: the terminal, JSON, SVG. No control character, no turned text, no bytes that are no UTF-8.
clean() { # WHAT FILE
  LC_ALL=C.UTF-8 python3 - "$2" <<'PY' || bad "$1: control characters"
import sys
text = open(sys.argv[1], "rb").read().decode("utf-8")
assert not [c for c in text if (ord(c) < 32 and c not in "\n\t") or 0x7f <= ord(c) <= 0x9f or 0x202a <= ord(c) <= 0x202e or 0x2066 <= ord(c) <= 0x2069]
PY
}
hostile=(--board hostile/tide.yaml --block 'record RAM' --wrote address)
for how in '' --map --color=never; do
  # shellcheck disable=SC2086 # empty: no option
  "$L" decode "${hostile[@]}" docs/demo/found-record.bin $how >said 2>&1
  [ $? -le 1 ] && grep -qF 'x<script>alert(1)</script>' said || bad "decode $how: the name is not there"
  clean "decode $how" said
done
"$L" decode "${hostile[@]}" docs/demo/found-record.bin --json >said
python3 -c 'import json, sys; d = json.load(open("said")); assert "<script>" in d["suspects"][0]["net"]' || bad "JSON of hostile names"
clean "decode --json" said
"$L" board pins hostile/tide.yaml U8 --svg hostile/u8.svg >said 2>err && python3 -c 'import xml.dom.minidom as m; m.parse("hostile/u8.svg")' || bad "SVG of hostile names: $(cat err)"
clean "board pins" said
"$L" board show hostile/tide.yaml >said 2>&1
clean "board show" said
"$L" decode --board "$(printf 'no\033[31msuch.yaml')" x.bin >said 2>&1
clean "a message" said

# Disk full: a limit on the size of files, and a file system of 64 KiB where we may make one.
(ulimit -f 16; exec "$L" report tide.job -o small.html) 2>err
[ $? = 3 ] || bad "file size limit: status is not 3: $(cat err)"
ls small.html* .small* 2>/dev/null | grep -q . && bad "file size limit: something is left"
mkdir full
if mount -t tmpfs -o size=64k tmpfs full 2>/dev/null; then
  "$L" report "${boot[@]}" -o full/page.html 2>err
  [ $? = 3 ] || bad "disk full: status is not 3: $(cat err)"
  [ -z "$(ls -A full)" ] || bad "disk full: left behind: $(ls -A full)"
  umount full
else
  echo "left out: a full disk (no right to mount one)"
fi

# An output that cannot be written: status 3, nothing left.
mkdir out
"$L" report "${boot[@]}" -o missing/page.html 2>err
[ $? = 3 ] || bad "a missing folder: status is not 3"
[ -e missing ] && bad "a folder was made"
mkdir out/page.html
"$L" report "${boot[@]}" -o out/page.html 2>err
[ $? = 3 ] || bad "a folder in the way: status is not 3"
[ "$(ls -A out)" = page.html ] || bad "left behind: $(ls -A out)"
"$L" report "${boot[@]}" 2>err
[ $? = 2 ] || bad "neither -o nor --png: status is not 2"

# In the terminal: plain ASCII when that is all there is, and half blocks with colours.
"$L" decode "${boot[@]}" --map >map || [ $? = 1 ] || bad "decode --map"
grep -q '^    8000  ' map && grep -qE '@@' map || bad "no map in ASCII"
grep -qP '[^\x20-\x7e\n]' map && bad "the map is not plain ASCII"
if command -v script >/dev/null && locale -a 2>/dev/null | grep -qi '^C.utf-\?8$'; then
  # shellcheck disable=SC2016 # expanded by the shell inside
  L=$L TERM=xterm LC_ALL=C.UTF-8 script -qec '"$L" decode --board docs/demo/tide.yaml --block "boot ROM" --expect docs/demo/tide-rom.bin \
    docs/demo/found-boot.bin --map --color always' /dev/null </dev/null >map
  grep -qF $'\xe2\x96\x80' map && grep -qF $'\033[48;2;' map || bad "no half blocks with colours on a terminal"
else
  echo "left out: the coloured map (no script, or no C.UTF-8)"
fi
exit $failed
