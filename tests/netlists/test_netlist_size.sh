#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: memory, which under sanitizers says nothing
# A made board of 100,000 nets and 400,000 pins in each form: every pin is read, and the memory above what
# the program takes for a small file is at most four times the file. (A plain list of REF.PIN has 15 bytes
# a pin, less than a pin needs: there the limit is 128 bytes a pin.)
set -u
dir=$(mktemp -d) && trap 'rm -rf "$dir"' EXIT
command -v python3 >/dev/null && [ -x /usr/bin/time ] || { echo "skipped: no python3 or time"; exit 77; }
python3 - "$dir" <<'PY' || exit 1
import sys
NETS, EACH = 100000, 4
name = lambda i: '/sheet%d/block%d/D%d' % (i // 300, i % 9, i)
pins = [[('U%d' % ((i * EACH + k) * 7919 % (NETS * EACH) // 20), (i * EACH + k) * 7919 % (NETS * EACH) % 20 + 1)
         for k in range(EACH)] for i in range(NETS)]
parts = range(NETS * EACH // 20)
def write(form, nets):
    n = pins[:nets]
    used = sorted({r for net in n for r, p in net})
    size = 'board' if nets == NETS else 'small'
    with open('%s/%s.%s' % (sys.argv[1], size, form), 'w') as f:
        w = f.write
        if form == 'kicad':
            w('(export (version "E")\n  (components\n')
            for r in used:
                w('    (comp (ref "%s")\n      (value "74LS245")\n      (footprint "Package_DIP:DIP-20_W7.62mm"))\n' % r)
            w('  )\n  (nets\n')
            for i, net in enumerate(n):
                w('    (net (code "%d") (name "%s")' % (i + 1, name(i)))
                w(''.join('\n      (node (ref "%s") (pin "%d") (pinfunction "P%d") (pintype "input"))' % (r, p, p) for r, p in net))
                w(')\n')
            w('  ))\n')
        elif form == 'edif':
            w('(edif b (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))\n (external p (edifLevel 0) (technology)\n'
              '  (cell C (cellType GENERIC) (view v (viewType NETLIST) (interface\n')
            w(''.join('   (port &%d (direction INOUT))\n' % k for k in range(1, 21)))
            w('  ))))\n (library w (edifLevel 0) (technology)\n  (cell t (cellType GENERIC) (view v (viewType NETLIST) (interface) (contents\n')
            w(''.join('   (instance %s (viewRef v (cellRef C (libraryRef p))) (property VALUE (string "74LS245")))\n' % r for r in used))
            for i, net in enumerate(n):
                w('   (net (rename N%d "%s") (joined' % (i, name(i)))
                w(''.join('\n    (portRef &%d (instanceRef %s))' % (p, r) for r, p in net) + '))\n')
            w('  )))) (design d (cellRef t (libraryRef w))))\n')
        elif form == 'ipc356':
            w('P  UNITS CUST 1\n')
            w(''.join('P  NNAME%-6d%s\n' % (i, name(i)) for i in range(nets)))
            for i, net in enumerate(n):
                for r, p in net:
                    w('317%-14s   %-6s-%-4d D0800PA00X+%06dY+%06dX1500Y1500R000S0\n' % ('NNAME%d' % i, r, p, i * 7 % 400000, p * 2540))
            w('999\n')
        else:
            sep = ',' if form == 'csv' else None
            for i, net in enumerate(n):
                if form == 'csv':
                    w(''.join('%s,%s,%d\n' % (name(i), r, p) for r, p in net))
                else:
                    w('%s: %s\n' % (name(i), ' '.join('%s.%d' % x for x in net)))
for form in ('kicad', 'edif', 'ipc356', 'csv', 'nettext'):
    write(form, NETS)
    write(form, 3)
PY
bad=0
for form in kicad edif ipc356 csv nettext; do
  file=$dir/board.$form
  small=$(/usr/bin/time -f %M "$LU_BUILD/tests/netlist_dump" --quiet "$dir/small.$form" 2>&1 >/dev/null | tail -1)
  peak=$(/usr/bin/time -f %M -o "$dir/peak" "$LU_BUILD/tests/netlist_dump" --quiet "$file" >"$dir/said"; cat "$dir/peak")
  size=$(($(wc -c <"$file") / 1024))
  echo "$form: $size kB, $((peak - small)) kB above $small kB, $(cat "$dir/said")"
  grep -qE "^# $form parts 20000 nets 100000 pins 400000 " "$dir/said" || { echo "FAILED: $form: counts"; bad=1; }
  most=$((4 * size))
  [ $form = nettext ] && most=$((128 * 400000 / 1024))
  [ $((peak - small)) -le $most ] || { echo "FAILED: $form: memory"; bad=1; }
done
exit $bad
