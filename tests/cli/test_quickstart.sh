#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: builds the program once more
# src/quickstart in a copy of the tree, without installing: it must build, and name what is wrong with the demo
# board (it looks at the answers itself). And src/packages.sh where nothing can be installed.
set -u
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
cd "${LU_TOP:?}" || exit 2
failed=0
mkdir "$dir/tree" && cp -r CMakeLists.txt README.md LICENSE src docs patterns "$dir/tree" || exit 2
command -v ccache >/dev/null && export CMAKE_C_COMPILER_LAUNCHER=ccache
"$dir/tree/src/quickstart" --no-install >"$dir/out" 2>&1 || { echo "FAILED: status $?"; tail -n 20 "$dir/out"; failed=1; }
for text in 'Built build/release/lineup' 'BA10  U2.24' 'DRA3' 'Nothing wrong in work RAM'; do
  grep -qF "$text" "$dir/out" || { echo "FAILED: quickstart did not say '$text'"; failed=1; }
done
"$dir/tree/src/quickstart" --nonsense >"$dir/out" 2>&1
[ $? = 2 ] || { echo "FAILED: an unknown option is not refused"; failed=1; }

# Stand-ins: a system where nothing is installed, for a person who is not root and has no sudo.
if command -v dpkg-query >/dev/null; then
  mkdir "$dir/bin"
  printf '#!/bin/sh\nexit 1\n' >"$dir/bin/dpkg-query"
  printf '#!/bin/sh\necho 1000\n' >"$dir/bin/id"
  cp "$dir/bin/dpkg-query" "$dir/bin/apt-get"
  for tool in bash cat; do ln -s "$(command -v $tool)" "$dir/bin/$tool"; done
  chmod +x "$dir/bin/"*
  PATH=$dir/bin bash -c '. src/packages.sh; lu_packages_install build' >"$dir/out" 2>&1 && { echo "FAILED: nothing could be installed, and status 0"; failed=1; }
  grep -q 'As root: apt-get install .*libyaml-dev' "$dir/out" || { echo "FAILED: no word of how to install: $(cat "$dir/out")"; failed=1; }
fi
exit $failed
