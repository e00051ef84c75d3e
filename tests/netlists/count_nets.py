#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Independent look at a netlist or layout file, sharing nothing with the program.

count_nets.py FOLDER FILE...  every pin of each file, "net TAB ref TAB pin", to FOLDER/name-of-FILE;
and for NAME.net with a NAME.d356 a line "NAME, pins in both, nets that differ" is printed
"""
import os
import re
import sys


def kicad(text):
    """Pins by regular expressions, net by net; no tree is built."""
    body = text[text.index('(nets'):]
    atom = r'("(?:[^"\\]|\\.)*"|[^\s()"]+)'
    un = lambda s: re.sub(r'\\(.)', r'\1', s[1:-1]) if s.startswith('"') else s
    for net in re.split(r'\(net\s+\(code', body)[1:]:
        name = un(re.search(r'\(name\s+' + atom, net).group(1))
        for m in re.finditer(r'\(node\s+\(ref\s+' + atom + r'\)\s+\(pin\s+' + atom, net):
            yield name, un(m.group(1)), un(m.group(2))


def ipc356(text):
    """Fixed columns; unconnected pins and points without part or pin are left out."""
    for line in text.splitlines():
        if line[:3] in ('317', '327') and line[20:26].strip() not in ('VIA', ''):
            net, ref, pin = line[3:17].strip(), line[20:26].strip(), line[27:31].strip()
            if pin:
                yield ('N/C %s.%s' % (ref, pin) if net == 'N/C' else net), ref, pin


def read(path):
    text = open(path, encoding='utf-8', errors='surrogateescape').read()
    return kicad(text) if text.lstrip().startswith('(') else ipc356(text)


def partition(pins):
    """{frozenset of (ref, pin)} of all nets with at least two of the common pins."""
    nets = {}
    for net, ref, pin in pins:
        nets.setdefault(net, set()).add((ref, pin))
    return {frozenset(v) for v in nets.values() if len(v) > 1}


def main(folder, *files):
    pins = {os.path.basename(f): list(read(f)) for f in files}
    for name, all_pins in pins.items():
        with open(os.path.join(folder, name), 'w', encoding='utf-8', errors='surrogateescape') as f:
            f.writelines(line + '\n' for line in sorted({'\t'.join(p) for p in all_pins}))
    for name in pins:
        layout = name[:-4] + '.d356'
        if name.endswith('.net') and layout in pins:
            a, b = pins[name], pins[layout]
            both = {p[1:] for p in a} & {p[1:] for p in b}
            pa, pb = (partition(p for p in x if p[1:] in both) for x in (a, b))
            print(name[:-4], len(both), len(pa ^ pb))


main(*sys.argv[1:])
