#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: compiles the example against an installed tree, which sanitizers would not survive
# liblineup as another program sees it: installed, found through pkg-config, the example of docs/ compiled with the
# shared and with the static library, and run on the demo dump. Nothing but lineup_ names is visible.
set -u
export LC_ALL=C
build=${LU_BUILD:?} top=${LU_TOP:?}
command -v pkg-config >/dev/null && command -v cmake >/dev/null || { echo "skipped: no pkg-config or cmake"; exit 77; }
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
bad() { echo "FAILED: $*"; failed=1; }
for part in library development; do
  cmake --install "$build" --prefix "$dir/moved" --component $part >"$dir/log" 2>&1 || { cat "$dir/log"; exit 1; }
done
pc=$(find "$dir/moved" -name lineup.pc)
[ -n "$pc" ] || { echo "no lineup.pc"; exit 1; }
export PKG_CONFIG_PATH=${pc%/*} PKG_CONFIG_ALLOW_SYSTEM_CFLAGS=1
lib=$(dirname "${pc%/*}")
cc=${CC:-cc}

nm -D --defined-only "$lib/liblineup.so" | awk '{ print $3 }' | grep -v '^lineup_' | grep . && bad "visible in the shared library"
nm -g --defined-only "$lib/liblineup.a" | awk 'NF == 3 { print $3 }' | grep -v '^lineup_' | grep . && bad "visible in the static library"
readelf -d "$lib/liblineup.so" | grep -q 'SONAME.*\[liblineup\.so\.0\]' || bad "no versioned name in the shared library"
nm -D --undefined-only "$lib/liblineup.so" | grep -wE 'exit|_exit|abort|printf|puts|stdout|stderr' && bad "the library can end the process or print"

# shellcheck disable=SC2046 # flags are words
$cc -std=c99 -Wall -Wextra -Wpedantic -Werror "$top/docs/example.c" $(pkg-config --cflags --libs lineup) -o "$dir/shared" || bad "shared"
# shellcheck disable=SC2046
$cc -std=c99 "$top/docs/example.c" $(pkg-config --cflags lineup) "$lib/liblineup.a" $(pkg-config --libs yaml-0.1) -lm -o "$dir/static" || bad "static"
printf '#include <lineup.h>\nint main() { return lineup_version()[0] == 0; }\n' >"$dir/x.cc"
if command -v c++ >/dev/null; then
  # shellcheck disable=SC2046
  c++ -Wall -Wextra -Werror "$dir/x.cc" $(pkg-config --cflags --libs lineup) -o "$dir/x" && LD_LIBRARY_PATH=$lib "$dir/x" || bad "from C++"
fi

cd "$top/docs/demo" || exit 2
ldd "$dir/static" | grep -q liblineup && bad "the static example needs the shared library"
for way in shared static; do
  LD_LIBRARY_PATH=$lib "$dir/$way" tide.yaml 'boot ROM' tide-rom.bin found-boot.bin >"$dir/out" 2>&1
  [ $? = 1 ] && sed -n 2p "$dir/out" | grep -qE '^ *(9[0-9]|100) %  BA10 at U2\.24' || bad "$way: $(cat "$dir/out")"
  LD_LIBRARY_PATH=$lib "$dir/$way" tide.yaml 'boot ROM' tide-rom.bin tide-rom.bin >"$dir/out" 2>&1 || bad "$way, clean: $(cat "$dir/out")"
  LD_LIBRARY_PATH=$lib "$dir/$way" tide.yaml 'boot ROM' tide-rom.bin no-such.bin >"$dir/out" 2>&1
  [ $? -ge 2 ] && grep -q '^no-such.bin: ' "$dir/out" || bad "$way, no dump: $(cat "$dir/out")"
done
exit $failed
