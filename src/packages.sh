# SPDX-License-Identifier: MIT
# The Debian 12 packages that the project uses, in one place; sourced by src/quickstart and tests/run.
# Each row: kind, package, what it is for. Kinds: build (needed), link (optional at build time, without it
# a kind of link, the job's store or pictures are not in the program), test (tests/run cannot do without), check (without it some tests are
# skipped and say so), long (the same, of tests/run --long alone).

lu_packages='
build gcc               the compiler
build libc6-dev         headers of the C library
build cmake             the build
build ninja-build       the build, faster than make
build pkg-config        finds libraries
build libyaml-dev       board files, run files
build libjansson-dev    JSON
link  libserialport-dev serial ports
link  libftdi1-dev      FTDI chips
link  libsqlite3-dev    jobs
link  libpng-dev        pictures
test  git               scratch copies of the tree
test  libcmocka-dev     unit tests
test  clang             the second compiler, with sanitizers
test  libclang-rt-14-dev run-time libraries of clang: sanitizers, libFuzzer
test  ccache            the second build of the same file is free
test  python3           scripts of the tests
check python3-yaml      board files read by another program
check python3-jsonschema JSON against docs/schema
check python3-networkx  spanning trees by another program
check python3-scipy     the same
check iverilog          electrical models of boards
check gtkwave           vcd2fst and fst2vcd
check yosys             netlists by another program
check srecord           dump forms by another program
check binutils          objcopy: dump forms by another program
check xxd               the same
check bsdextrautils     hexdump: the same
check time              peak memory of a command
check umockdev          emulated serial ports and USB chips
check libumockdev-dev   the same
check gcc-avr           firmware of the reader
check avr-libc          the same
check binutils-avr      the same
check libsimavr-dev     firmware under a simulated chip
check libelf-dev        the same
long  qemu-system-x86   a virtual machine with the real USB stack
long  busybox-static    the same
long  cpio              the same
check gcc-m68k-linux-gnu patterns as C for a 68000
check mandoc            manual pages
check dpkg-dev          the .deb: shlibdeps
check fakeroot          the .deb
check lintian           the .deb
check minisat           smallest diagnoses of circuits
check chromium          the report page in a browser
check pngcheck         pictures by another program
check imagemagick       the same
check poppler-utils     the printed page
check strace            writes of a message
check zsh               completions
check fish              completions
long  kicad             netlists and layouts as another program exports them
long  kicad-demos       the designs
long  xvfb              a screen for it
long  openbox           windows on it
long  xdotool           hands for it
'

# lu_packages_of KIND...: the names of these kinds.
lu_packages_of() {
  local kind name rest
  while read -r kind name rest; do
    [[ -n $name && " $* " == *" $kind "* ]] && echo "$name"
  done <<<"$lu_packages"
  return 0
}

# lu_packages_missing KIND...: those of them that are not installed.
lu_packages_missing() {
  local name
  for name in $(lu_packages_of "$@"); do
    [[ $(dpkg-query -W -f '${db:Status-Status}' "$name" 2>/dev/null) == installed ]] || echo "$name"
  done
}

# lu_packages_install KIND...: installs what is missing, with apt-get, as root or through sudo.
# Status 1, with a message, when that cannot be done.
lu_packages_install() {
  local missing as=() log status
  if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
    missing=$(lu_packages_of "$@")
    echo "This system has no apt-get. lineup's packages, by their Debian names: ${missing//$'\n'/ }" >&2
    return 1
  fi
  missing=$(lu_packages_missing "$@")
  missing=${missing//$'\n'/ }
  [[ -n $missing ]] || return 0
  if [[ $(id -u) != 0 ]]; then
    if ! command -v sudo >/dev/null; then
      echo "Missing packages, and neither root nor sudo to install them. As root: apt-get install $missing" >&2
      return 1
    fi
    as=(sudo)
  fi
  echo "Installing: $missing"
  log=$(mktemp) || return 1
  # The package lists of a fresh machine are empty or old: fetch them when the names are not known.
  # shellcheck disable=SC2086 # the names are words
  { apt-get install -s --no-install-recommends $missing >/dev/null 2>&1 || "${as[@]}" apt-get update; } >"$log" 2>&1 &&
    "${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $missing >>"$log" 2>&1
  status=$?
  if [[ $status != 0 ]]; then
    tail -n 20 "$log" >&2
    echo "apt-get could not install: $missing" >&2
  fi
  rm -f "$log"
  return $((status != 0))
}
