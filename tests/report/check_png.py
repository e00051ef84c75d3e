#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""check_png.py PNG GOT KNOWN: the fail map of two files of 16-bit big-endian words, pixel by pixel.
check_png.py PNG GOT KNOWN BIT ROWS: the map of the memory chip behind that data bit, whose row is the lower half of the word
address and whose column the upper half (the demo's record RAM: docs/demo/README.md), ROWS of each.
check_png.py PNG --worst ROW COLUMN ROWS COLUMNS: one square alone is not of the shade for nothing wrong, and it has that of the worst.

PNG is read here from ISO/IEC 15948 with zlib alone, and by ImageMagick's convert where that is installed; the map is
worked out anew from the two files.
"""
import shutil
import struct
import subprocess
import sys
import zlib

SIDE, MOST = 512, 256
SHADES = {"none": 0xe9efea, "few": 0xe3c07a, "some": 0xc98a3a, "many": 0x96501f, "all": 0x4a2210, "worst": 0x2440a8}


def read_png(path):
    raw = open(path, "rb").read()
    assert raw[:8] == b"\x89PNG\r\n\x1a\n"
    at, data, palette = 8, b"", []
    while at < len(raw):
        n, kind = struct.unpack(">I4s", raw[at:at + 8])
        body = raw[at + 8:at + 8 + n]
        assert struct.unpack(">I", raw[at + 8 + n:at + 12 + n])[0] == zlib.crc32(kind + body), "CRC"
        if kind == b"IHDR":
            width, height, depth, color, _, _, laced = struct.unpack(">IIBBBBB", body)
            assert color == 3 and not laced
        elif kind == b"PLTE":
            palette = [int.from_bytes(body[i:i + 3], "big") for i in range(0, n, 3)]
        elif kind == b"IDAT":
            data += body
        at += 12 + n
    lines, stride, before, out = zlib.decompress(data), (width * depth + 7) // 8, None, []
    for y in range(height):
        kind, row = lines[y * (stride + 1)], bytearray(lines[y * (stride + 1) + 1:(y + 1) * (stride + 1)])
        assert kind in (0, 1, 2), f"filter {kind}"
        for i in range(stride):
            if kind == 1 and i:
                row[i] = (row[i] + row[i - 1]) & 255
            if kind == 2 and before:
                row[i] = (row[i] + before[i]) & 255
        before = row
        out.append([palette[row[x * depth // 8] >> (8 - depth - x * depth % 8) & ((1 << depth) - 1)] for x in range(width)])
    return out


def expected(got, known):
    n = len(got) // 2
    span = 1
    while (n + span - 1) // span > MOST:
        span *= 2
    rows = (n + span - 1) // span
    wrong = [[0] * 16 for _ in range(rows)]
    for i in range(n):
        x = int.from_bytes(got[2 * i:2 * i + 2], "big") ^ int.from_bytes(known[2 * i:2 * i + 2], "big")
        for bit in range(16):
            wrong[i // span][15 - bit] += x >> bit & 1
    worst = max(max(r) for r in wrong)
    # the first of equals, rows downwards, then D0 first
    first = next((y, x) for y in range(rows) for x in reversed(range(16)) if wrong[y][x] == worst) if worst else None

    def shade(y, x):
        share = wrong[y][x] / min(span, n - y * span)
        if (y, x) == first:
            return "worst"
        return "none" if not share else "few" if share < 1 / 64 else "some" if share < 1 / 4 else "many" if share < 63 / 64 else "all"

    return [[SHADES[shade(y, x)] for x in range(16)] for y in range(rows)]


def shade_of(wrong, seen):
    share = wrong / seen
    return "none" if not share else "few" if share < 1 / 64 else "some" if share < 1 / 4 else "many" if share < 63 / 64 else "all"


def expected_chip(got, known, bit, side):
    span = max(1, side // MOST)
    n = side // span
    wrong = [[0] * n for _ in range(n)]
    for i in range(len(got) // 2):
        x = int.from_bytes(got[2 * i:2 * i + 2], "big") ^ int.from_bytes(known[2 * i:2 * i + 2], "big")
        wrong[i % side // span][i // side // span] += x >> bit & 1
    worst = max(max(r) for r in wrong)
    first = next((y, x) for y in range(n) for x in range(n) if wrong[y][x] == worst) if worst else None
    return [[SHADES["worst" if (y, x) == first else shade_of(wrong[y][x], span * span)] for x in range(n)] for y in range(n)]


def another_program(path):
    """The pixels as ImageMagick reads them: binary PPM."""
    raw = subprocess.run(["convert", path, "ppm:-"], check=True, capture_output=True).stdout
    magic, width, height, most, body = raw.split(maxsplit=3)[:3] + raw.split(maxsplit=3)[3].split(b"\n", 1)
    assert magic == b"P6" and most == b"255"
    w = int(width)
    flat = [int.from_bytes(body[i:i + 3], "big") for i in range(0, 3 * w * int(height), 3)]
    return [flat[i:i + w] for i in range(0, len(flat), w)]


def imagemagick():
    """Whether convert is ImageMagick's, not something else of that name."""
    if not shutil.which("convert"):
        return False
    said = subprocess.run(["convert", "-version"], capture_output=True).stdout
    return said.startswith(b"Version: ImageMagick")


def hold_against_another_program():
    if imagemagick():
        assert another_program(sys.argv[1]) == pixels, "ImageMagick sees other pixels"
    else:
        print("left out: the picture through ImageMagick (Debian: imagemagick)")


pixels = read_png(sys.argv[1])
if sys.argv[2] == "--worst":
    row, column, rows, columns = map(int, sys.argv[3:])
    down, across = SIDE // rows, SIDE // columns
    hold_against_another_program()
    for y, line in enumerate(pixels):
        for x, color in enumerate(line):
            want = SHADES["worst" if (y // down, x // across) == (row, column) else "none"]
            assert color == want, f"pixel {x}, {y}: {color:06x}, expected {want:06x}"
    sys.exit(0)
got, known = (open(name, "rb").read() for name in sys.argv[2:4])
want = expected_chip(got, known, int(sys.argv[4]), int(sys.argv[5])) if len(sys.argv) > 4 else expected(got, known)
down, across = SIDE // len(want), SIDE // len(want[0])
assert len(pixels) == down * len(want) and len(pixels[0]) == SIDE, (len(pixels), len(pixels[0]))
hold_against_another_program()
for y, row in enumerate(pixels):
    for x, color in enumerate(row):
        assert color == want[y // down][x // across], f"pixel {x}, {y}: {color:06x}, expected {want[y // down][x // across]:06x}"
