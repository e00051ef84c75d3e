# SPDX-License-Identifier: MIT
"""What numpy needs for a dump kernel's work, in the best of the ways that we know; bench_planes.sh runs it.

    numpy_peer.py ones|both|cooc|alias FILE_A FILE_B

Prints the seconds of the work alone, by the clock and of the processor: reading the files and starting are not counted.
"""
import sys
import time

import numpy as np

PIECE = 131072  # words: 256 KiB stay in the cache


def ones(x):
    """Ones of each bit: a mask at a time, over pieces."""
    return [sum(int(np.count_nonzero(x[i:i + PIECE] & (1 << k))) for i in range(0, len(x), PIECE)) for k in range(16)]


def both(x, y):
    """Set and cleared of each bit, over pieces."""
    up, down = [0] * 16, [0] * 16
    for i in range(0, len(x), PIECE):
        p, q = x[i:i + PIECE], y[i:i + PIECE]
        s, c = ~p & q, p & ~q
        for k in range(16):
            up[k] += int(np.count_nonzero(s & (1 << k)))
            down[k] += int(np.count_nonzero(c & (1 << k)))
    return up, down


def cooc(x, y):
    """16 x 16 co-occurrence: four joint histograms of bytes, weighed by the bits."""
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1).astype(np.float64)
    out = []
    for s in (0, 8):
        for t in (0, 8):
            h = np.zeros(65536, dtype=np.int64)
            for i in range(0, len(x), PIECE):
                p, q = x[i:i + PIECE], y[i:i + PIECE]
                h += np.bincount((((p >> s) & 255) << 8) | ((q >> t) & 255), minlength=65536)
            out.append(bits.T @ h.reshape(256, 256) @ bits)
    return out


def alias(x):
    """Pairs that differ under each of 24 index bits."""
    out = []
    for k in range(24):
        if len(x) % (2 << k) == 0:
            r = x.reshape(-1, 2, 1 << k)
            out.append(int(np.count_nonzero(r[:, 0] != r[:, 1])))
    return out


def main():
    a, b = (np.fromfile(p, dtype=np.uint16) for p in sys.argv[2:4])
    job = {"ones": lambda: ones(a), "both": lambda: both(a, b), "cooc": lambda: cooc(a, b), "alias": lambda: alias(a)}[sys.argv[1]]
    start, used = time.perf_counter(), time.process_time()
    job()
    print(time.perf_counter() - start, time.process_time() - used)


main()
