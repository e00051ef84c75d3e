#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Writes work.vcd: 48 words of the work RAM written and read back, as a logic analyser on the processor's
socket would have seen it, at 8 MHz (cycles of 500 ns).  One read in three is of a word written long before.
Timing is rough: four states a cycle, data 30 ns behind the strobe.  Usage: make_capture.py > work.vcd"""

WORDS = 48


def main():
    lines = [("A[15:1]", "a", 15), ("D[15:0]", "d", 16), ("AS#", "s", 1), ("RD#", "r", 1), ("WR#", "w", 1)]
    print("$comment harbour tide recorder, work RAM, from make_capture.py $end")
    print("$timescale 1ns $end\n$scope module board $end")
    for name, code, width in lines:
        base, _, bits = name.partition("[")
        print(f"$var wire {width} {code} {base}{' [' + bits if bits else ''} $end")
    print("$upscope $end\n$enddefinitions $end\n$dumpvars")
    print("bx a\nbz d\n1s\n1r\n1w\n$end")
    now = 1000
    work = [(True, n) for n in range(WORDS)] + [(False, n * 31 % WORDS) for n in range(WORDS)]
    for write, n in work:
        word = 0x8000 + n * 5 % 64  # word address: the block begins at byte 0x10000
        value = (word * 0x9E37 ^ 0x5A5A) & 0xFFFF
        print(f"#{now}\nb{word & 0x7FFF:b} a\n#{now + 60}\n0s")
        if write:
            print(f"b{value:b} d\n#{now + 125}\n0w\n#{now + 375}\n1w\n1s\n#{now + 420}\nbz d")
        else:
            print(f"0r\n#{now + 155}\nb{value:b} d\n#{now + 375}\n1r\n1s\n#{now + 410}\nbz d")
        now += 500
    print(f"#{now}")


main()
