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
if command -v pngcheck >/dev/null; then pngcheck -q boot.png || bad "pngcheck"; fi
grep -qF "$(base64 -w0 boot.png)" boot.html || bad "the page has another picture"

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
  page job.html verdict suspects maps lines worksheet readings repairs history cautions
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
