#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""General-purpose ways to get the pins out of a netlist, as peers for the benchmark.

netlist_peer.py tree FILE    any s-expression: tokens by one regular expression, tree by a stack
netlist_peer.py slice FILE   IPC-D-356A: lines sliced by columns
Prints the number of pins, so that nothing is left undone.
"""
import re
import sys


def tree(text):
    token = re.compile(r'"((?:[^"\\]|\\.)*)"|([()])|([^\s()"]+)')
    top = here = []
    stack = []
    for m in token.finditer(text):
        bracket = m.group(2)
        if bracket == '(':
            stack.append(here)
            here = []
            stack[-1].append(here)
        elif bracket == ')':
            here = stack.pop()
        else:
            here.append(m.group(1) if m.group(1) is not None else m.group(3))
    pins, lists = 0, [top]
    while lists:
        x = lists.pop()
        pins += bool(x) and x[0] in ('node', 'portRef')
        lists += [y for y in x if type(y) is list]
    return pins


def columns(text):
    nets = {}
    for line in text.split('\n'):
        if line[:3] in ('317', '327'):
            nets.setdefault(line[3:17].rstrip(), []).append(
                (line[20:26].rstrip(), line[27:31].rstrip(), int(line[42:49]), int(line[50:57])))
    return sum(map(len, nets.values()))


print({'tree': tree, 'slice': columns}[sys.argv[1]](open(sys.argv[2], encoding='utf-8').read()))
