#!/bin/bash
# SPDX-License-Identifier: MIT
# Rate of reading VCD captures, side by side with general tools on the same file:
#   tests/bench/bench_vcd.sh PROGRAM GEN_VCD.c [MEGABYTES [ROUNDS]]
# GEN_VCD.c is a generator of captures: gen -n SIZE -style vector|scalar|oneline -x OUT. One JSON line a
# form: medians in seconds, and how many times as long grep and vcd2fst take. Times are wall and user +
# system: on a busy machine only the second can be compared.
set -e
program=$1 generator=$2 megabytes=${3:-100} rounds=${4:-5}
[ -x "$program" ] && [ -f "$generator" ] || { echo "usage: $0 PROGRAM GEN_VCD.c [MEGABYTES [ROUNDS]]" >&2; exit 2; }
dir=$(mktemp -d -p "${TMPDIR:-/dev/shm}")
trap 'rm -rf "$dir"' EXIT
cc -O2 -o "$dir/gen" "$generator" 2>/dev/null
strobes='strobes:
  read: {pin: [uds_n, lds_n], active: low, when: {rw: high}}
  write: {pin: [uds_n, lds_n], active: low, when: {rw: low}}
lanes: {D0-D7: {pin: lds_n}, D8-D15: {pin: uds_n}}'
printf 'address: addr\ndata: data\n%s\n' "$strobes" > "$dir/vector.yaml"
printf 'address: [A0-A23]\ndata: [D0-D15]\n%s\n' "$strobes" > "$dir/scalar.yaml"
cp "$dir/scalar.yaml" "$dir/oneline.yaml"
median() { sort -n "$1" | awk '{v[NR] = $1} END {print v[int((NR + 1) / 2)]}'; }
timed() { # name, command...
  local name=$1; shift
  /usr/bin/time -f '%e %U %S' -o "$dir/t" "$@" > "$dir/out" 2>/dev/null || true
  awk '{print $1}' "$dir/t" >> "$dir/$name.wall"; awk '{print $2 + $3}' "$dir/t" >> "$dir/$name.cpu"
}
for style in vector scalar oneline; do
  "$dir/gen" -n "${megabytes}m" -style $style -x "$dir/x.vcd" 2>/dev/null
  rm -f "$dir"/*.wall "$dir"/*.cpu
  for i in $(seq "$rounds"); do
    timed ours "$program" watch "$dir/x.vcd" --signals "$dir/$style.yaml" --count
    timed lines "$program" watch "$dir/x.vcd" --signals "$dir/$style.yaml"
    timed pipe bash -c 'cat "$1" | "$2" watch - --signals "$3" --count' - "$dir/x.vcd" "$program" "$dir/$style.yaml"
    timed grep grep -c '^#' "$dir/x.vcd"
    if command -v vcd2fst > /dev/null; then timed fst vcd2fst "$dir/x.vcd" "$dir/x.fst"; fi
  done
  peak=$(cat "$dir/x.vcd" | /usr/bin/time -f %M "$program" watch - --signals "$dir/$style.yaml" --count 2>&1 >/dev/null | tail -1)
  printf '{"name": "vcd %s", "bytes": %s, "peak_kib_on_pipe": %s' $style "$(stat -c %s "$dir/x.vcd")" "$peak"
  for name in ours lines pipe grep fst; do
    [ -f "$dir/$name.wall" ] || continue
    printf ', "%s_s": %s, "%s_cpu_s": %s' $name "$(median "$dir/$name.wall")" $name "$(median "$dir/$name.cpu")"
    case $name in
      grep|fst) awk -v a="$(median "$dir/$name.wall")" -v b="$(median "$dir/ours.wall")" -v c="$(median "$dir/$name.cpu")" \
                    -v d="$(median "$dir/ours.cpu")" -v n=$name 'BEGIN {printf ", \"%s_over_ours\": %.2f, \"%s_over_ours_cpu\": %.2f", n, a / b, n, c / d}' ;;
    esac
  done
  printf '}\n'
done
