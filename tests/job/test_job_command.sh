#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup job and decode --job on the demo board.
set -u
export COLUMNS=2000 # lines as they are, not folded
cd "$LU_TOP" || exit 1
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
job=$tmp/tide.job
failed=0
fail() { echo "FAILED: $*"; failed=1; }
expect_code() { local want=$1; shift; "$@" >"$tmp/out" 2>"$tmp/err"; local got=$?; [ $got -eq "$want" ] || fail "exit $got, expected $want: $* : $(cat "$tmp/err")"; }

expect_code 0 "$LU_PROGRAM" job new --board docs/demo/tide.yaml "$job"
expect_code 2 "$LU_PROGRAM" job new --board docs/demo/tide.yaml "$job"
expect_code 2 "$LU_PROGRAM" job new --board docs/demo/no.yaml "$tmp/x.job"
[ -e "$tmp/x.job" ] && fail "a job was left behind by a failed 'new'"
expect_code 1 "$LU_PROGRAM" decode --job "$job" --block "boot ROM" --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin
expect_code 2 "$LU_PROGRAM" decode --job "$job" --board docs/demo/tide.yaml --block "boot ROM" docs/demo/found-boot.bin
expect_code 0 "$LU_PROGRAM" job note "$job" battery taken out
expect_code 0 "$LU_PROGRAM" job history "$job"
[ "$(wc -l <"$tmp/out")" -eq 5 ] || fail "expected 5 entries: $(cat "$tmp/out")"
grep -q 'note     battery taken out' "$tmp/out" || fail "the note is not in the history"
grep -q 'BA10' "$tmp/out" || fail "the result is not in the history"
expect_code 0 "$LU_PROGRAM" job show "$job"
expect_code 0 "$LU_PROGRAM" job check "$job"
# the job is enough: no file is read from where it came
(cd /; "$LU_PROGRAM" job history --json "$job" >"$tmp/h.json") || fail "history --json"
python3 - "$tmp/h.json" <<'PY' || fail "history --json"
import json, sys, hashlib
h = json.load(open(sys.argv[1]))["history"]
assert [e["id"] for e in h] == list(range(1, 6)), h
board = [e for e in h if e["kind"] == "board"][0]
for f in board["files"]:
    data = open(f["name"], "rb").read()
    assert hashlib.sha256(data).hexdigest() == f["sha256"] and len(data) == f["bytes"], f
result = [e for e in h if e["kind"] == "result"][0]
assert result["body"]["finding"]["suspects"][0]["net"] == "BA10"
PY
expect_code 0 "$LU_PROGRAM" job export "$job" "$tmp/out-dir"
expect_code 0 "$LU_PROGRAM" job import "$tmp/out-dir" "$tmp/again.job"
"$LU_PROGRAM" job history --json "$tmp/again.job" | cmp -s - "$tmp/h.json" || fail "import is not the same job"
expect_code 2 "$LU_PROGRAM" job check docs/demo/tide.yaml
expect_code 2 "$LU_PROGRAM" job frobnicate "$job"
# a disk that takes no writes: read-only bind mount in a mount namespace of our own
if unshare -m true 2>/dev/null; then
  cp "$job" "$tmp/out-dir/ro.job"
  unshare -m bash -c "
    mount --bind '$tmp/out-dir' '$tmp/out-dir' && mount -o remount,ro,bind '$tmp/out-dir' || exit 77
    '$LU_PROGRAM' job history '$tmp/out-dir/ro.job' >'$tmp/ro' 2>&1 || exit 1
    '$LU_PROGRAM' job note '$tmp/out-dir/ro.job' x >'$tmp/ro2' 2>&1; [ \$? -eq 3 ] || exit 2
    grep -q 'cannot be written' '$tmp/ro2' || exit 4"
  case $? in 0) ;; 77) echo "no read-only mount here: that part skipped" ;; *) fail "read-only disk: $(cat "$tmp/ro" "$tmp/ro2" 2>/dev/null)" ;; esac
else
  echo "no mount namespace here: the read-only disk is not tried"
fi
exit $failed
