#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Patterns beside general-purpose tools, in turns, medians of the whole process: processor time (user and system), and wall.

bench_patterns.py LINEUP TOP [TURNS]"""
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time

LINEUP, TOP = sys.argv[1], sys.argv[2]
TURNS = int(sys.argv[3]) if len(sys.argv) > 3 else 11
BOARD = os.path.join(TOP, "docs/demo/tide.yaml")
ON = ["--board", BOARD, "--block"]
NOTHING = ["/usr/bin/python3", "-c", "pass"]


def cpu(command):
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, wall


def compare(what, ours, peer, peer_name, turns=TURNS):
    times = [(cpu(ours), cpu(peer)) for _ in range(turns)]
    a, b = (statistics.median(t[k][0] for t in times) for k in (0, 1))
    ratio, wall = (statistics.median(t[0][k] / t[1][k] for t in times if t[1][k] > 0) for k in (0, 1))
    print(f"{what:48} {a * 1000:8.1f} ms   {peer_name} {b * 1000:7.1f} ms   ratio {ratio:.2f}, wall {wall:.2f}", flush=True)


def main():
    with tempfile.TemporaryDirectory() as folder:
        image, dump = os.path.join(folder, "image"), os.path.join(folder, "dump")
        for name in ("march-c-minus", "march-sl", "march-raw1", "rows-and-columns", "aggressor"):
            compare(f"coverage, 44 models: {name}", [LINEUP, "pattern", "check", name], NOTHING, "python3 -c pass")
        for name in ("checkerboard", "address", "prbs23", "qrss"):
            make = [LINEUP, "pattern", "expand", name, "--size", "64m", "--width", "16", "--image", image]
            cpu(make)
            compare(f"image of 64 MiB: {name}", make, ["sha1sum", image], "sha1sum", 7)
        subprocess.run([LINEUP, "simulate", *ON, "work RAM", "--wrote", "address", "--fault", "open D4 U1.1", "-o", dump], check=True)
        compare("decode, 64 KiB, with the test to run next", [LINEUP, "decode", *ON, "work RAM", "--wrote", "address", dump], NOTHING,
                "python3 -c pass")
        compare("choose, record RAM, all patterns", [LINEUP, "pattern", "choose", *ON, "record RAM"], NOTHING, "python3 -c pass", 3)


main()
