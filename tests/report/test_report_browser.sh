#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: it starts a browser and opens two dozen pages.
# Report pages in headless Chromium through playwright-core, opened from file://: nets marked by pointer, keyboard and
# tap, three widths, light and dark, scripts off, paper; axe-core must find nothing, html-validate neither. The tools
# come from npm into the build folder; skipped where there is no Chromium or npm cannot be reached.
set -u
export LC_ALL=C
L=${LU_PROGRAM:?}
cd "${LU_TOP:?}" || exit 2
browser=$(command -v chromium || command -v chromium-browser) || { echo "skipped: no chromium"; exit 77; }
. tests/report/npm.sh
why=$(lu_npm playwright-core@1.65.1 axe-core@4.14.1 html-validate@10.17.0) || { echo "skipped: $why"; exit 77; }
modules=${LU_NPM:-${LU_BUILD:?}/npm}/node_modules
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
bad() { echo "FAILED: $*"; failed=1; }
demo=(--board docs/demo/tide.yaml)

# A job as it looks after a repair that did not help altogether, with more written down than a sheet of paper holds.
job=$dir/tide.job
if "$L" job new "${demo[@]}" "$job" >/dev/null 2>&1; then
  "$L" decode --job "$job" --run docs/demo/as-found.yaml >/dev/null
  "$L" reading "$job" U8.21:leg U16.12 open >/dev/null
  "$L" report "$job" -o "$dir/bench.html" || bad "bench: status $?"
  for i in 1 2 3 4 5 6 7 8 9; do
    "$L" repair "$job" "number $i: $(printf 'contact U8.21 bent back, cleaned, looked at under the glass, and bent again; %.0s' 1 2 3 4 5 6 7)" >/dev/null
  done
  "$L" simulate "${demo[@]}" --block 'record RAM' --wrote address --fault 'row U20 5 high' -o "$dir/after.bin" 2>/dev/null
  "$L" decode --job "$job" --block 'record RAM' --wrote address "$dir/after.bin" >/dev/null
  "$L" report "$job" --for owner -o "$dir/owner.html" || bad "owner: status $?"
  "$L" report "$job" -o "$dir/after.html" || bad "after: status $?"
  grep -q 'id="changes"' "$dir/after.html" || bad "no before and after"
else
  "$L" report "${demo[@]}" --run docs/demo/as-found.yaml -o "$dir/bench.html"
  "$L" report "${demo[@]}" --run docs/demo/as-found.yaml --for owner -o "$dir/owner.html"
  cp "$dir/bench.html" "$dir/after.html"
fi

# The standard's rules and what is deprecated in it; indentation and the like are nobody's business.
echo '{"root": true, "extends": ["html-validate:standard"]}' >"$dir/.htmlvalidate.json"
for page in bench owner after; do
  node "$modules/html-validate/bin/html-validate.mjs" -c "$dir/.htmlvalidate.json" "$dir/$page.html" >"$dir/said" 2>&1 ||
    bad "html-validate, $page: $(head -n 20 "$dir/said")"
done

mkdir "$dir/out"
timeout 500 node tests/report/browse.mjs "$modules" "$browser" "$dir/bench.html" "$dir/owner.html" "$dir/out" 2>"$dir/err" || { bad "in the browser"; head -n 5 "$dir/err"; }
[ -z "${LU_SHOTS-}" ] || cp "$dir"/out/* "$LU_SHOTS" # to look at
python3 - "$dir/out" <<'PY' || bad "PDF"
import re, sys
count = {}
for name in ("bench-A4", "bench-Letter", "owner-A4", "owner-Letter"):
    raw = open(f"{sys.argv[1]}/{name}.pdf", "rb").read()
    assert raw[:5] == b"%PDF-"
    count[name] = len(re.findall(rb"/Type\s*/Page\b(?!s)", raw))
print("pages printed:", count)
assert count["owner-A4"] == 1 and count["owner-Letter"] == 1 and 3 <= count["bench-A4"] <= 40, count
PY
if command -v pdftotext >/dev/null; then # the last line of the page is on the paper
  for f in A4 Letter; do
    pdftotext "$dir/out/owner-$f.pdf" - | grep -q 'a measurement' || bad "owner on $f: its end is not on the paper"
  done
else
  echo "left out: the text of the PDFs (no pdftotext; Debian: poppler-utils)"
fi
exit $failed
