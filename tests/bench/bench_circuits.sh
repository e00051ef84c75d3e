#!/bin/bash
# SPDX-License-Identifier: MIT
# Diagnosis of gate circuits beside minisat driven from outside: CPU time of whole processes, in turn, median
# of the runs. Making the CNF is not counted for minisat; reading the circuit is counted for us.
#   LU_BUILD=build tests/bench/bench_circuits.sh [RUNS]      (default 5)
# least: the smallest set of gates; minisat's calls with at most 1, 2, ... gates until one is satisfiable.
# rank: every gate stuck at 0 and at 1 against 64 observations, beside one call of minisat for at most two
# gates and 8 observations of the same circuit.
here=$(cd "$(dirname "$0")" && pwd)
top=${LU_TOP:-$here/../..}
tool=${LU_BUILD:-$top/build}/tests/circuit_tool
runs=${1:-5}
[ -x "$tool" ] || { echo "no $tool: build first"; exit 1; }
command -v minisat > /dev/null && command -v python3 > /dev/null || { echo "skipped: no minisat or python3"; exit 77; }
tmp=$(mktemp -d -p "${TMPDIR:-/dev/shm}") && trap 'rm -rf "$tmp"' EXIT
export tool tmp runs
python3 - <<'END'
import json, os, resource, statistics, subprocess
tool, tmp, runs = os.environ['tool'], os.environ['tmp'], int(os.environ['runs'])

def cpu(*args):
    """CPU milliseconds of a process, and its exit status."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    status = subprocess.run(args, stdout=subprocess.DEVNULL).returncode
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return 1000 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime), status

def paired(ours, peer):
    rows = [(ours(), peer()) for _ in range(runs)]
    return (statistics.median(r[0] for r in rows), statistics.median(r[1] for r in rows),
            statistics.median(r[1] / r[0] for r in rows))

def make(circuit, faults, observations, seed, stem):
    return subprocess.run([tool, 'make', circuit, str(faults), str(observations), str(seed), stem], stdout=subprocess.DEVNULL).returncode == 0

def sat(bounds):
    return sum(cpu('minisat', '-verb=0', '%s/b%d.cnf' % (tmp, b))[0] for b in bounds)

def least(circuit, faults, observations, seed):
    stem = tmp + '/c'
    if not make(circuit, faults, observations, seed, stem):
        return
    size = int(subprocess.run([tool, 'least', stem, '3'], stdout=subprocess.PIPE).stdout.split()[1])
    bounds = range(1, size + 1)
    for b in bounds:
        subprocess.run([tool, 'cnf', stem, str(b), '%s/b%d.cnf' % (tmp, b)], check=True)
        status = cpu('minisat', '-verb=0', '%s/b%d.cnf' % (tmp, b))[1]
        assert status == (10 if b == size else 20), 'minisat disagrees'
    ours, peer, ratio = paired(lambda: cpu(tool, 'least', stem, '3')[0], lambda: sat(bounds))
    print(json.dumps({'name': 'least', 'circuit': circuit, 'injected': faults, 'observations': observations, 'seed': seed, 'size': size,
                      'ms': round(ours, 1), 'minisat_ms': round(peer, 1), 'times_minisat': round(ratio, 2)}), flush=True)

def rank(circuit, seed):
    assert make(circuit, 1, 64, seed, tmp + '/r') and make(circuit, 2, 8, seed, tmp + '/c')
    subprocess.run([tool, 'cnf', tmp + '/c', '2', tmp + '/b2.cnf'], check=True)
    ours, peer, ratio = paired(lambda: cpu(tool, 'rank', tmp + '/r')[0], lambda: sat([2]))
    print(json.dumps({'name': 'rank', 'circuit': circuit, 'observations': 64, 'seed': seed, 'ms': round(ours, 1),
                      'minisat_ms': round(peer, 1), 'times_minisat': round(ratio, 2)}), flush=True)

for circuit in 'rand160', 'rand900', 'mult16', 'rand3500':
    for faults in 1, 2, 3:
        for seed in 1, 2, 3:
            least(circuit, faults, 1, seed)
    least(circuit, 2, 8, 1)
for circuit in 'rand900', 'mult16', 'rand3500':
    rank(circuit, 1)
END
