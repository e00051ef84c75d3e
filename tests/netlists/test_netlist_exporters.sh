#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: starts an EDA suite's editors on a screen of its own; only in tests/run --long (LU_CASES=all)
# The demo designs of Debian's kicad-demos, exported here and now by KiCad itself, then compared as
# test_netlist_demos.sh compares. Layouts come from its Python module, without a screen. For netlists
# KiCad 6 has no command, so the schematic editor runs under Xvfb and is told by keys what to do; where
# that fails after a second try the design is named and passed over, but seven netlists there must be.
set -u
demos=${LU_DEMO_DESIGNS:-/usr/share/kicad/demos}
[ "${LU_CASES:-}" = all ] || { echo "skipped: only in long runs"; exit 77; }
[ -d "$demos" ] && /usr/bin/python3 -c 'import pcbnew' 2>/dev/null || { echo "skipped: no kicad, kicad-demos"; exit 77; }
for tool in eeschema Xvfb openbox xdotool; do
  command -v $tool >/dev/null || { echo "skipped: no $tool"; exit 77; }
done
dir=$(mktemp -d) screen=
trap '[ -n "$screen" ] && kill $screen 2>/dev/null; rm -rf "$dir"' EXIT
mkdir -p "$dir/shared/data/kicad-demos"
to=$dir/shared/data/kicad-demos

# ---- layouts ----
/usr/bin/python3 - "$demos" "$to" <<'PY' 2>/dev/null
import glob, os, sys, pcbnew
demos, to = sys.argv[1:]
for path in sorted(glob.glob(demos + '/*/*.kicad_pcb')):
    name = os.path.basename(path)[:-10].replace(' ', '_')
    pcbnew.IPC356D_WRITER(pcbnew.LoadBoard(path)).Write(os.path.join(to, name + '.d356'))
PY

# ---- netlists ----
export HOME=$dir/home XDG_CONFIG_HOME=$dir/home/config XDG_CACHE_HOME=$dir/home/cache
config=$XDG_CONFIG_HOME/kicad/6.0
mkdir -p "$config"
# what the editor would ask at its first start, and a key for the command that has none
echo '(sym_lib_table)' >"$config/sym-lib-table"
echo '(fp_lib_table)' >"$config/fp-lib-table"
echo '{"system": {"first_run_shown": true}, "meta": {"filename": "kicad_common.json", "version": 3}}' >"$config/kicad_common.json"
printf 'eeschema.EditorControl.exportNetlist\tCtrl+Shift+K\n' >"$config/user.hotkeys"

exec 3<>"$dir/number"
Xvfb -displayfd 3 -screen 0 1600x1000x24 -nolisten tcp >/dev/null 2>&1 &
screen=$!
for _ in $(seq 100); do [ -s "$dir/number" ] && break; sleep 0.1; done
export DISPLAY=:$(cat "$dir/number")
openbox >/dev/null 2>&1 &
screen="$screen $!"
window() { # title, tenths of a second: prints the window's number
  local found
  for _ in $(seq "$2"); do
    found=$(xdotool search --onlyvisible --name "$1" 2>/dev/null | tail -1)
    [ -n "$found" ] && { echo "$found"; return 0; }
    sleep 0.1
  done
  return 1
}
keys() { # window, then what xdotool shall do
  xdotool windowactivate --sync "$1" 2>/dev/null && sleep 0.5
  shift
  xdotool "$@"
}
tell_editor() { # sheet's name, netlist
  local editor dialog save
  editor=$(window "^$1 .*Schematic Editor\$" 600) || return 1 # before it has this title the sheet is empty
  shift
  sleep 2
  for _ in 1 2 3 4 5; do
    keys "$editor" mousemove 120 880 click 1 # the sheet must have the focus
    keys "$editor" key --clearmodifiers ctrl+shift+k
    dialog=$(window '^Export Netlist$' 40) && break
  done
  [ -n "$dialog" ] || return 1
  keys "$dialog" key Return
  save=$(window '^Save Netlist File$' 80) || return 1
  keys "$save" key ctrl+a type --delay 10 "$1"
  xdotool key Return
  for _ in $(seq 100); do
    [ -s "$1" ] && sleep 1 && return 0
    sleep 0.1
  done
  return 1
}
export_netlist() { # schematic, netlist
  local copy=$dir/copy editor done
  rm -rf "$copy" && cp -r "$(dirname "$1")" "$copy"
  # the project remembers which form was written last
  sed -i 's/"net_format_name": "[^"]*"/"net_format_name": ""/' "$copy"/*.kicad_pro
  eeschema "$copy/$(basename "$1")" >/dev/null 2>&1 &
  editor=$!
  tell_editor "$(basename "$1" .kicad_sch)" "$dir/out.net"
  done=$?
  kill $editor && wait $editor
  [ $done = 0 ] && grep -q '(node' "$dir/out.net" && mv "$dir/out.net" "$2"
} 2>/dev/null

netlists=0
for layout in "$to"/*.d356; do
  [ "$netlists" -lt "${LU_DEMO_MOST:-99}" ] || break
  name=$(basename "$layout" .d356)
  for sheet in "$demos"/*/"$name.kicad_sch" "$demos"/*/"${name//_/ }.kicad_sch"; do
    [ -f "$sheet" ] || continue
    export_netlist "$sheet" "$to/$name.net" || export_netlist "$sheet" "$to/$name.net" ||
      { echo "$name: the editor wrote no netlist"; continue; }
    netlists=$((netlists + 1))
    break
  done
done
layouts=$(find "$to" -name '*.d356' | wc -l)
echo "$layouts layouts and $netlists netlists exported by KiCad $(dpkg-query -W -f '${Version}' kicad 2>/dev/null)"
least=$((${LU_DEMO_MOST:-7} < 7 ? ${LU_DEMO_MOST:-7} : 7))
[ "$layouts" -ge 9 ] && [ "$netlists" -ge $least ] || exit 1
LU_SHARED=$dir/shared LU_DEMO_FILES=$((layouts + netlists)) LU_DEMO_PAIRS=$netlists bash "$(dirname "$0")/test_netlist_demos.sh"
