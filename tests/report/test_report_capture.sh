#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# lineup report of a capture: the window around the first wrong read. The captures are made here, with the fault and the read
# that must decide known from the model below; it shares no code with the program.
set -u
export LC_ALL=C PYTHONDONTWRITEBYTECODE=1
command -v python3 >/dev/null || { echo "skipped: no python3"; exit 77; }
L=${LU_PROGRAM:?}
here=${LU_TOP:?}/tests/report
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
cp "$LU_TOP"/tests/boards/log8.{yaml,net} "$dir" && cd "$dir" || exit 2
failed=0
bad() { echo "FAILED: $*"; failed=1; }
page() { python3 "$here/check_page.py" "$@" || bad "$1"; }
log=(--board log8.yaml --block 'log RAM')

cat >make.py <<'PY'
# make.py FAULT OUT: writes then reads of the log RAM at 0x8000, bus cycles of 400 ns, strobes of 200 ns. d3: data line 3 is
# low at the memory. a2: address line 2 is high there. OUT.vcd, OUT.yaml (one signal has a hostile name) and OUT.json: the first read that is wrong.
import json, random, sys
fault, out = sys.argv[1:]
rnd, memory, first, now, lines, level = random.Random(5), {}, None, 0, [], {}
names = ['A%d' % i for i in range(16)] + ['D%d' % i for i in range(8)] + ['RD#', 'WR#']
hostile = 'x<script>alert(1)</script>&"\''
code = {n: chr(33 + i) for i, n in enumerate(names)}
def put(values):
    rows = ['%s%s' % (v, code[n]) for n, v in values.items() if level.get(n) != v]
    level.update(values)
    if rows:
        lines.append('#%d' % now)
        lines.extend(rows)
def bus(name, count, value):
    return {'%s%d' % (name, i): value if value == 'z' else value >> i & 1 for i in range(count)}
def at(address):
    return address | 4 if fault == 'a2' else address
def seen(value):
    return value & ~8 if fault == 'd3' else value
put({**bus('A', 16, 0), **bus('D', 8, 'z'), 'RD#': 1, 'WR#': 1})
cells = [a for a in range(0x8000) if bin(a).count('1') >= 12]
data = {a: rnd.randrange(256) for a in cells}
for read in (False, True):
    for a in cells:
        now += 100
        put(bus('A', 16, 0x8000 + a))
        now += 50
        begin = now
        strobe = 'RD#' if read else 'WR#'
        if not read:
            memory[at(a)] = seen(data[a])
        got = memory[at(a)] if read else data[a]
        put({**bus('D', 8, got), strobe: 0})
        now += 200
        put({strobe: 1})
        if read and got != data[a] and not first:
            first = {'begin': begin, 'end': now, 'address': '0x%x' % (0x8000 + a), 'got': '0x%02x' % got, 'expected': '0x%02x' % data[a]}
        now += 50
        put(bus('D', 8, 'z'))
with open(out + '.vcd', 'w') as f:
    f.write('$timescale 1 ns $end\n' + ''.join('$var wire 1 %s %s $end\n' % (code[n], hostile if n == 'D3' else n) for n in names))
    f.write('$enddefinitions $end\n' + '\n'.join(lines) + '\n#%d\n' % (now + 100))
open(out + '.yaml', 'w').write(json.dumps(hostile) + ': "/D3"\n')
json.dump(first, open(out + '.json', 'w'))
PY

cat >check.py <<'PY'
# check.py PAGE JSON NET ROW...: the section's picture and words; ROWs are the lines that are drawn, and no others.
import html, json, re, sys
import xml.etree.ElementTree as ET
page, want, net, rows = open(sys.argv[1]).read(), json.load(open(sys.argv[2])), sys.argv[3], sys.argv[4:]
part = re.search(r'<section aria-labelledby="capture">.*?</section>', page, re.S).group(0)
svg = ET.fromstring(re.search(r'<svg.*?</svg>', part, re.S).group(0))
ns = '{http://www.w3.org/2000/svg}'
texts = [(t.get('text-anchor'), float(t.get('x')), t.text) for t in svg.iter(ns + 'text')]
wrong = []
drawn = [t for a, x, t in texts if a == 'end' and x == 142]
if drawn != rows:
    wrong.append('rows %s' % drawn)
if len([p for p in svg.iter(ns + 'path') if p.get('class') == 'w']) != len(rows):
    wrong.append('as many lines as names are meant')
# The marked cycle by the axis: where it begins and ends.
def ns_of(text):
    return float(text.split()[0]) * {'ns': 1, 'us': 1e3, 'ms': 1e6}[text.split()[1]]
left = next(t for a, x, t in texts if x == 150 and a == 'start')
right = next(t for a, x, t in texts if x == 950 and a == 'end')
band = [r for r in svg.iter(ns + 'rect') if r.get('class') == 's']
mark = [p for p in svg.iter(ns + 'path') if p.get('class') == 'm']
if len(band) != 1 or len(mark) != 1 or 'deciding cycle' not in [t for _, _, t in texts]:
    wrong.append('the deciding cycle is not marked once, with its words')
else:
    x = float(band[0].get('x'))
    for at, which in ((x, 'begin'), (x + float(band[0].get('width')), 'end'), (float(re.match('M([0-9.]+)', mark[0].get('d')).group(1)), 'end')):
        time = ns_of(left) + (at - 150) / 800 * (ns_of(right) - ns_of(left))
        if abs(time - want[which]) > 1:
            wrong.append('marked at %s ns, %s is %s' % (time, which, want[which]))
if float(svg.get('viewBox').split()[2]) > 1000 or svg.get('width'):
    wrong.append('it is not scaled to the page')
desc = svg.find(ns + 'desc').text
told = {html.unescape(a): html.unescape(b) for a, b in re.findall('<dt>(.*?)</dt><dd>(.*?)</dd>', part)}
for k in ('address', 'got', 'expected'):
    if told[k.capitalize()] != want[k] or '%s %s' % (k, want[k]) not in desc:
        wrong.append('%s: %s, meant %s' % (k, told[k.capitalize()], want[k]))
if ns_of(told['Time'].split(',')[0]) != want['end']:
    wrong.append('time: ' + told['Time'])
if net not in desc or not re.search('class="net"[^>]*>%s<' % re.escape(net), part):
    wrong.append('the suspect %s is not named' % net)
if '.wave text' not in part or re.search(r'<style>(?!\.wave )', part) or re.search(r'}(?!\.wave |<)', re.search('<style>(.*?)</style>', part).group(1) + '<'):
    wrong.append('the style holds beyond the picture')
sys.exit('\n'.join(wrong) or 0)
PY

for fault in d3 a2 none; do
  python3 make.py $fault $fault || bad "no capture with $fault"
done
"$L" report "${log[@]}" --signals d3.yaml d3.vcd -o d3.html 2>err || bad "d3: $(cat err)"
page d3.html verdict suspects capture lines
python3 check.py d3.html d3.json /D3 '/D3 (x<script>alert' /RD# /WR# || bad "d3: picture"
grep -qF '/D3 (x&lt;script&gt;alert(1)&lt;/script&gt;&amp;&quot;&#39;)' d3.html || bad "the hostile name is not there, escaped"
grep -qiF '<script>alert' d3.html && bad "a script came through"
grep -q '<a href="#capture">Capture</a>' d3.html || bad "no way to the section"

# An address line: it alone is drawn, no data line.
"$L" report "${log[@]}" --signals a2.yaml a2.vcd -o a2.html 2>err || bad "a2: $(cat err)"
page a2.html capture
python3 check.py a2.html a2.json /A2 /A2 /RD# /WR# || bad "a2: picture"

# Of a run file, and of a job, from which the capture's file is gone.
printf 'runs:\n  - {block: log RAM, dump: d3.vcd, signals: d3.yaml}\n' >run.yaml
"$L" report --board log8.yaml --run run.yaml -o run.html || bad "report --run"
python3 check.py run.html d3.json /D3 '/D3 (x<script>alert' /RD# /WR# || bad "run: picture"
if "$L" job new --board log8.yaml log.job >/dev/null 2>err; then
  cp d3.vcd gone.vcd
  "$L" decode --job log.job --block 'log RAM' --signals d3.yaml gone.vcd >/dev/null
  rm gone.vcd
  "$L" report log.job -o job.html || bad "report of a job"
  page job.html capture history
  python3 check.py job.html d3.json /D3 '/D3 (x<script>alert' /RD# /WR# || bad "job: picture"
else
  echo "left out: jobs ($(cat err))"
fi

# No section: the owner's page, a sound board, a dump.
"$L" report "${log[@]}" --signals d3.yaml d3.vcd --for owner -o owner.html || bad "owner"
"$L" report "${log[@]}" --signals none.yaml none.vcd -o none.html || bad "undamaged"
"$L" simulate "${log[@]}" --wrote address --fault 'stuck /MD3 low' -o dump.bin 2>err || bad "simulate: $(cat err)"
"$L" report "${log[@]}" --wrote address dump.bin -o dump.html || bad "dump"
for f in owner none dump; do
  page $f.html verdict
  grep -q '"#\?capture"\|class="wave"' $f.html && bad "$f.html has the section"
done
exit $failed
