#!/bin/bash
# SPDX-License-Identifier: MIT
# EDIF as yosys writes it (write_edif), hierarchy and all, against yosys' own flat design as JSON
# (write_json): the same pins on the same nets.
command -v yosys > /dev/null || { echo "skipped: no yosys"; exit 77; }
command -v python3 > /dev/null || { echo "skipped: no python3"; exit 77; }
tmp=$(mktemp -d) && trap 'rm -rf "$tmp"' EXIT
cd "$tmp" || exit 1
yosys -q -p "read_verilog $LU_TOP/tests/netlists/tide.v; hierarchy -top tide; proc; techmap; opt_clean;
  write_edif deep.edf; flatten; opt_clean; write_json flat.json; write_edif flat.edf" || exit 1
for form in deep flat; do
  "$LU_BUILD/tests/netlist_dump" $form.edf > $form.txt || exit 1
done
tail -1 deep.txt
python3 - << 'END'
import json
def plain(ref): # "$flatten\\high.\\b3.$auto$.." names what stood as high/b3/$auto$..
    return ref.replace('$flatten', '').replace('\\', '').replace('/', '.')
def ours(path):
    nets = {}
    for line in open(path):
        if line.startswith('# '):
            continue
        net, ref, pin = line.rstrip('\n').split('\t')
        nets.setdefault(net, set()).add((plain(ref), pin))
    return nets
def theirs():
    top, nets = json.load(open('flat.json'))['modules']['tide'], {}
    def add(ref, port, bits):
        # yosys gives no ranges in its EDIF: bits are counted from the right, as its JSON lists them
        for i, bit in enumerate(bits):
            name = port if len(bits) == 1 else '%s[%d]' % (port, i)
            nets.setdefault(bit, set()).add((plain(ref), name))
    for name, cell in top['cells'].items():
        for port, bits in cell['connections'].items():
            add(name, port, bits)
    for name, port in top['ports'].items():
        add('tide', name, port['bits'])
    return nets
a = {frozenset(v) for v in theirs().values() if len(v) > 1}
assert len(a) > 40, len(a)
for path in ('deep.txt', 'flat.txt'):
    b = {frozenset(v) for v in ours(path).values() if len(v) > 1}
    pins = lambda s: {p for v in s for p in v}
    if a != b:
        print(path, 'differs: only in JSON', sorted(map(sorted, a - b))[:3], 'only in EDIF',
              sorted(map(sorted, b - a))[:3])
        raise SystemExit(1)
    print(path, len(b), 'nets,', len(pins(b)), 'pins: same as the JSON')
END
