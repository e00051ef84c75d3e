#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: it starts a browser six times.
# The report page in headless Chromium, opened from file://: a net marked by focus and by hovering, narrow and wide
# windows, scripts off, printed to PDF. Skipped where there is no Chromium.
set -u
browser=$(command -v chromium || command -v chromium-browser) || { echo "skipped: no chromium"; exit 77; }
command -v python3 >/dev/null || { echo "skipped: no python3"; exit 77; }
L=${LU_PROGRAM:?}
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
bad() { echo "FAILED: $*"; failed=1; }
cd "${LU_TOP:?}" || exit 2
"$L" report --board docs/demo/tide.yaml --run docs/demo/as-found.yaml -o "$dir/page.html" || bad "report: status $?"
look() { timeout 60 "$browser" --headless --no-sandbox --disable-gpu --user-data-dir="$dir/profile" "$@" 2>"$dir/log"; }

# A copy without the policy and with a script that plays the person; what it saw stands in the title.
python3 - "$dir" <<'PY' || bad "no copy"
import re, sys
d = sys.argv[1]
page = open(d + "/page.html", encoding="utf-8").read()
page, n = re.subn(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
assert n == 1
play = """<script>
var a = document.querySelector('a[data-n]'), n = a.getAttribute('data-n');
var on = function () { return document.querySelectorAll('.on').length; };
var all = document.querySelectorAll('[data-n="' + n + '"]').length, seen = [];
// A headless window may not have the focus; then the events that focus brings are sent by hand.
a.focus(); if (!on()) a.dispatchEvent(new FocusEvent('focusin', {bubbles: true}));
seen.push(document.activeElement === a && on() === all && all > 3);
a.blur(); if (on()) a.dispatchEvent(new FocusEvent('focusout', {bubbles: true}));
seen.push(on() === 0);
a.dispatchEvent(new MouseEvent('mouseover', {bubbles: true})); seen.push(on() === all);
a.dispatchEvent(new MouseEvent('mouseout', {bubbles: true})); seen.push(on() === 0);
a.dispatchEvent(new MouseEvent('click', {bubbles: true})); a.dispatchEvent(new MouseEvent('mouseout', {bubbles: true}));
seen.push(on() === all);
var root = document.documentElement;
document.title = 'seen ' + seen.join(' ') + ' svg ' + (document.querySelectorAll('svg [data-n]').length > 0) +
  ' wide ' + (root.scrollWidth <= root.clientWidth) + ' ' + root.clientWidth;
</script>"""
open(d + "/play.html", "w", encoding="utf-8").write(page.replace("</body>", play + "</body>"))
PY
for width in 500 1600; do # headless Chromium makes no window narrower than 500
  title=$(look --window-size=$width,900 --dump-dom "file://$dir/play.html" | grep -o '<title>seen [^<]*')
  [[ $title == '<title>seen true true true true true svg true wide true '* ]] || bad "$width wide: $title"
done
# The page itself, policy in force: the script runs, nothing is refused.
look --enable-logging=stderr --dump-dom "file://$dir/page.html" >"$dir/dom"
grep -i 'refused\|violates' "$dir/log" && bad "the page's policy stops the page"

look --print-to-pdf="$dir/page.pdf" --no-pdf-header-footer "file://$dir/page.html" >/dev/null
# Without its script (as where scripts are off) the page has everything, too.
python3 -c 'import re, sys; sys.stdout.write(re.sub("<script>.*?</script>", "", sys.stdin.read()))' <"$dir/page.html" >"$dir/off.html"
grep -q '<script' "$dir/off.html" && bad "the script is still there"
look --print-to-pdf="$dir/off.pdf" --no-pdf-header-footer "file://$dir/off.html" >/dev/null
python3 - "$dir/page.pdf" "$dir/off.pdf" <<'PY' || bad "PDF"
import re, sys
count = []
for name in sys.argv[1:]:
    raw = open(name, "rb").read()
    assert raw[:5] == b"%PDF-"
    count.append(len(re.findall(rb"/Type\s*/Page\b(?!s)", raw)))
print(count, "pages printed, with and without scripts")
assert 3 <= count[0] <= 40 and count[0] == count[1]
PY
exit $failed
