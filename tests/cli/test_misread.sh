#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Dumps that are right but were read the wrong way round, and names of contents with more than one reading. The turned
# files are made by python3, apart from the program.
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
bad=0

check() { # WHAT, STATUS, PATTERN..., -- COMMAND...
  local what=$1 want=$2 patterns=() p
  shift 2
  while [[ $1 != -- ]]; do patterns+=("$1"); shift; done
  shift
  "$@" >"$dir/out" 2>&1
  local got=$?
  [[ $got == "$want" ]] || { echo "$what: exit $got, expected $want"; bad=1; }
  for p in "${patterns[@]}"; do
    tr -s '\n ' '  ' <"$dir/out" | grep -qF -- "$p" || { echo "$what: no '$p' in:"; head -30 "$dir/out"; bad=1; }
  done
}

board=$LU_TOP/docs/demo/tide.yaml rom=$LU_TOP/docs/demo/tide-rom.bin
"$LU_PROGRAM" simulate --board "$board" --block 'boot ROM' --expect "$rom" --fault 'stuck D15 low' --output "$dir/fault.bin" >/dev/null
python3 - "$rom" "$dir" <<'P'
import sys
rom, out = open(sys.argv[1], 'rb').read(), sys.argv[2]
def exchanged(d):
    s = bytearray(d)
    s[0::2], s[1::2] = d[1::2], d[0::2]
    return s
open(out + '/exchanged.bin', 'wb').write(exchanged(rom))
open(out + '/inverted.bin', 'wb').write(bytes(b ^ 255 for b in rom))
open(out + '/fault-exchanged.bin', 'wb').write(exchanged(open(out + '/fault.bin', 'rb').read()))
P
decode() { "$LU_PROGRAM" decode --board "$board" "$@"; }
check 'bytes exchanged' 0 'Nothing wrong' 'bytes of each word exchanged' -- decode --block 'boot ROM' --expect "$rom" "$dir/exchanged.bin"
check 'inverted' 0 'Nothing wrong' 'every bit inverted' -- decode --block 'boot ROM' --expect "$rom" "$dir/inverted.bin"
check 'fault, bytes exchanged' 1 'D15 stuck low' 'bytes of each word exchanged' -- decode --block 'boot ROM' --expect "$rom" "$dir/fault-exchanged.bin"

# work RAM lies at word 8000 hex: whoever counts from the machine's address 0 writes D15 high throughout
"$LU_PROGRAM" simulate --board "$board" --block 'work RAM' --wrote address --fault 'stuck D15 high' --output "$dir/d15.bin" >/dev/null
check 'D15 stuck under address' 1 'D15 U10.11' 'taken as: word address' -- decode --block 'work RAM' --wrote address "$dir/d15.bin"
exit $bad
