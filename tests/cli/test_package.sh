#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: builds the program once more
# Installed below a DESTDIR, lineup and its papers are where they belong; the .debs (program, library, development) have
# the dependencies of their libraries and no error in lintian's eyes.
set -u
export LC_ALL=C
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
bad() { echo "FAILED: $*"; failed=1; }
launcher=()
command -v ccache >/dev/null && launcher=(-DCMAKE_C_COMPILER_LAUNCHER=ccache)
umask 022
{ cmake -S "${LU_TOP:?}" -B "$dir/b" -DCMAKE_BUILD_TYPE=Release -DLU_TESTS=OFF -DCMAKE_INSTALL_PREFIX=/usr "${launcher[@]}" &&
  cmake --build "$dir/b" --parallel 2 && DESTDIR=$dir/root cmake --install "$dir/b"; } >"$dir/log" 2>&1 ||
  { tail -n 20 "$dir/log"; exit 1; }
for file in bin/lineup share/lineup/patterns/march-c-minus.pattern share/doc/lineup/demo/tide.yaml \
  share/doc/lineup/README.md share/man/man1/lineup.1.gz share/man/man1/lineup-decode.1.gz \
  share/bash-completion/completions/lineup share/zsh/vendor-completions/_lineup \
  share/fish/vendor_completions.d/lineup.fish; do
  [ -f "$dir/root/usr/$file" ] || bad "not installed: $file"
done
(cd "$dir/root" && find . -type f -o -type l | grep -v '^\./usr/' | grep -v '^\./lib/udev/') && bad "installed outside of /usr"
(cd "$dir/root/usr/share/doc/lineup/demo" &&
  "$dir/root/usr/bin/lineup" decode --board tide.yaml --block 'boot ROM' --expect tide-rom.bin found-boot.bin) >"$dir/out"
[ $? = 1 ] && grep -q 'BA10' "$dir/out" || bad "the installed program on the installed demo"

if command -v dpkg-shlibdeps >/dev/null; then
  (cd "$dir/b" && cpack -G DEB >>"$dir/log" 2>&1) || { tail -n 20 "$dir/log"; exit 1; }
  deb=$(ls "$dir"/b/lineup_*.deb)
  dpkg-deb -f "$deb" Depends >"$dir/depends"
  shared=$(ls "$dir"/b/liblineup0_*.deb) development=$(ls "$dir"/b/liblineup-dev_*.deb)
  dpkg-deb -f "$shared" Depends | grep -q 'libyaml-0-2' || bad "liblineup0 does not depend on libyaml-0-2"
  dpkg-deb -c "$shared" | grep -q 'lib/.*liblineup\.so\.0 ->' || bad "liblineup0 has no liblineup.so.0"
  dpkg-deb -I "$shared" shlibs | grep -q '^liblineup 0 liblineup0' || bad "liblineup0 says no shlibs"
  dpkg-deb -f "$development" Depends | grep -q 'liblineup0 (= ' || bad "liblineup-dev does not depend on its library"
  for file in include/lineup.h pkgconfig/lineup.pc liblineup.a 'liblineup.so ->'; do
    dpkg-deb -c "$development" | grep -q "/$file" || bad "not in liblineup-dev: $file"
  done
  for library in libc6 libjansson4 libyaml-0-2; do
    grep -q "$library" "$dir/depends" || bad "the package does not depend on $library: $(cat "$dir/depends")"
  done
  if command -v lintian >/dev/null; then
    lintian --fail-on error --allow-root "$deb" "$shared" "$development" >"$dir/lintian" 2>&1 || bad "lintian: $(cat "$dir/lintian")"
    cat "$dir/lintian"
  else
    echo "left out: lintian is not here"
  fi
else
  echo "left out: the .deb (no dpkg-dev)"
fi
exit $failed
