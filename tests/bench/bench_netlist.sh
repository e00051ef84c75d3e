#!/bin/bash
# SPDX-License-Identifier: MIT
# Reading a board of 100,000 nets and 400,000 pins in three forms: the whole process netlist_dump
# --quiet and general-purpose peers on the same file in turn, processor time (user and system, so that
# what else the machine does counts less), medians, ratios pair by pair. In-process times come from
# netlist_dump --time. Peers: netlist_peer.py, libsexp (when it was there at build time), wc -l.
#   LU_BUILD=build LU_SHARED=... tests/bench/bench_netlist.sh [RUNS [NETS]]     (default 5, 100000)
# gen_netlist.py of the shared folder makes the files; without it there is nothing to measure.
here=$(cd "$(dirname "$0")" && pwd)
top=${LU_TOP:-$here/../..}
build=${LU_BUILD:-$top/build}
make=${LU_SHARED:-$top/../shared}/bench/gen_netlist.py
runs=${1:-5} nets=${2:-100000}
[ -x "$build/tests/netlist_dump" ] || { echo "no netlist_dump in $build: build first"; exit 1; }
[ -f "$make" ] && command -v python3 > /dev/null || { echo "skipped: no generator or python3"; exit 77; }
tmp=$(mktemp -d -p "${TMPDIR:-/dev/shm}") && trap 'rm -rf "$tmp"' EXIT
for form in kicad ipc356 edif; do
  python3 "$make" $form -n "$nets" -p $((nets * 4)) "$tmp/board.$form" || exit 1
  python3 - "$form" "$tmp/board.$form" "$build/tests" "$here" "$runs" <<'END' || exit 1
import json, os, re, statistics, subprocess, sys
form, file, programs, here, runs = *sys.argv[1:5], int(sys.argv[5])
ours = [programs + '/netlist_dump', '--quiet', file]
way = 'slice' if form == 'ipc356' else 'tree'
peers = {'python_' + way: ['python3', here + '/netlist_peer.py', way, file], 'wc': ['wc', '-l', file]}
if form == 'kicad' and os.path.exists(programs + '/sexp_peer'):
    peers['libsexp'] = [programs + '/sexp_peer', file]

def run(command):
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    said = child.stdout.read()
    _, status, used = os.wait4(child.pid, 0)
    if status:
        sys.exit('%s failed' % command[0])
    return 1e3 * (used.ru_utime + used.ru_stime), used.ru_maxrss * 1024, said

pins = int(re.search(r' pins (\d+) ', run(ours)[2]).group(1))
times, ratios, peak, inside = [], {p: [] for p in peers}, 0, []
for _ in range(runs):
    for peer, command in peers.items():
        ms, peak, _ = run(ours)
        times.append(ms)
        ratios[peer].append(run(command)[0] / ms)
    inside.append(float(re.search(r'ms (\S+)', run([ours[0], '--time', file])[2]).group(1)))
ms, size = statistics.median(times), os.path.getsize(file)
print(json.dumps({'name': form, 'bytes': size, 'pins': pins, 'whole_ms': round(ms, 1),
                  'whole_best_ms': round(min(times), 1),
                  'pins_per_s': round(pins / ms * 1e3), 'in_process_ms': round(statistics.median(inside), 1),
                  'in_process_pins_per_s': round(pins / statistics.median(inside) * 1e3),
                  **{'times_' + p: round(statistics.median(r), 2) for p, r in ratios.items()},
                  'peak_per_byte': round(peak / size, 2)}))
END
done
