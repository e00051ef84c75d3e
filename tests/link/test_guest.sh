#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: boots a virtual machine without hardware help
# lineup inside a virtual machine (QEMU, no KVM needed): the real Linux USB and tty stack, ftdi_sio, libserialport, libusb and
# libftdi1, in front of them QEMU's emulated FTDI chip (0403:6001), behind it the reader's firmware on a simulated chip. Only with
# tests/run --long (LU_CASES=all). The kernel is Debian's, fetched with apt-get and unpacked, not installed.
if [ "${LU_CASES:-}" != all ]; then
  echo "skipped: only with tests/run --long"
  exit 77
fi
bed=$LU_BUILD/tests/sock_bed
elf=$LU_BUILD/lineup-reader-2560.elf
for need in qemu-system-x86_64 busybox cpio dpkg-deb apt-get; do
  command -v $need >/dev/null || { echo "skipped: needs $need (qemu-system-x86 busybox-static cpio)"; exit 77; }
done
file -L "$(command -v busybox)" 2>/dev/null | grep -q dynamically && { echo "skipped: needs busybox-static"; exit 77; }
[ -x "$bed" ] && [ -f "$elf" ] || { echo "skipped: needs gcc-avr avr-libc binutils-avr libsimavr-dev libelf-dev"; exit 77; }
if ldd "$LU_PROGRAM" | grep -q asan || grep -q __asan_init "$LU_PROGRAM"; then
  echo "skipped: the sanitizers' memory does not fit into the virtual machine"
  exit 77
fi
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"; [ -n "$peer" ] && kill "$peer" 2>/dev/null' EXIT
peer=
kernel=$LU_BUILD/guest-kernel
if ! ls "$kernel"/boot/vmlinuz-* >/dev/null 2>&1; then
  name=$(apt-cache depends linux-image-amd64 2>/dev/null | awk '/Depends: linux-image-/ { print $2; exit }')
  if [ -z "$name" ] || ! (cd "$dir" && apt-get download "$name" >apt.log 2>&1); then
    echo "skipped: no kernel package to be had: $(tail -n 1 "$dir/apt.log" 2>/dev/null || echo "apt knows no linux-image-amd64 (apt-get update)")"
    exit 77
  fi
  mkdir -p "$kernel" && dpkg-deb -x "$dir/$name"_*.deb "$kernel" || exit 2
fi

# the first file system: busybox, USB modules, the program with its libraries, those too that it loads itself
root=$dir/root
mkdir -p "$root"/{bin,dev,proc,sys,tmp,lib/modules}
cp "$(command -v busybox)" "$root/bin/busybox"
for a in sh mount insmod poweroff ls sleep mkdir sha1sum head; do ln -s busybox "$root/bin/$a"; done
for m in usb-common usbcore xhci-hcd xhci-pci usbserial ftdi_sio; do
  cp "$(find "$kernel/lib/modules" -name "$m.ko" | head -n 1)" "$root/lib/modules/" || exit 2
done
with_libraries() { # what the loader finds for it, and itself if it is one
  local l
  { ldd "$1" | grep -o '/[^ )]*'; case $1 in *.so*) echo "$1" ;; esac; } | sort -u | while read -r l; do
    mkdir -p "$root$(dirname "$l")"
    cp -Lu "$l" "$root$l"
  done
}
cp "$LU_PROGRAM" "$root/bin/lineup"
with_libraries "$LU_PROGRAM"
for l in libserialport.so.0 libftdi1.so.2; do
  path=$(ldconfig -p 2>/dev/null | awk -v l="$l" '$1 == l { print $NF; exit }')
  [ -n "$path" ] || { echo "skipped: needs ${l%.so*}"; exit 77; }
  with_libraries "$path"
done
cp "$LU_TOP/tests/link/guest-init" "$root/init"
chmod +x "$root/init"
(cd "$root" && find . | cpio -o -H newc --quiet) | gzip -1 >"$dir/initrd.gz" || exit 2

# three readings of 4 KiB, then the fourth is cut
"$bed" -u 24000 "$dir/line" "$elf" >/dev/null 2>"$dir/bed.log" &
peer=$!
start=$(date +%s)
timeout 240 qemu-system-x86_64 -accel tcg -cpu max -m 256 -display none -no-reboot -nodefaults \
  -kernel "$(ls "$kernel"/boot/vmlinuz-* | head -n 1)" -initrd "$dir/initrd.gz" \
  -append "console=ttyS0 quiet panic=-1 mitigations=off tsc=reliable" -serial stdio \
  -device qemu-xhci -chardev "socket,id=c,path=$dir/line,server=on,wait=off" -device usb-serial,chardev=c \
  </dev/null 2>"$dir/qemu.log" | tr -d '\r' >"$dir/out"
echo "the virtual machine ran for $(($(date +%s) - start)) s"
failed=0
expect() { # what, text
  if grep -qF -- "$2" "$dir/out"; then
    echo "ok: $1"
  else
    echo "FAILED: $1: expected '$2' in:"
    tail -n 40 "$dir/out" "$dir/qemu.log" "$dir/bed.log"
    failed=1
  fi
}
sum=$(awk 'BEGIN { for (a = 0; a < 4096; a++) printf "\\%03o", (a * 5 + int(a / 256)) % 256 }' | xargs -0 printf | sha1sum)
expect "the kernel's port is listed with its USB texts" "GUEST list: /dev/ttyUSB0     usb 0403:6001"
expect "a ROM through ftdi_sio and libserialport" "GUEST port-sum: $sum"
expect "a ROM through libftdi1, the kernel's driver detached" "GUEST ftdi-sum: $sum"
expect "the driver is put back" "GUEST driver-back: /dev/ttyUSB0"
expect "a port that is not there" "no serial port '/dev/ttyUSB1'; there is /dev/ttyUSB0"
expect "verify against an image" "GUEST verify: pass: 4096 words read, 0 differ"
expect "unplugged in the middle, as the kernel tells it" "GUEST unplugged: lineup: /dev/ttyUSB0: unplugged"
expect "what was read is kept" "what was read is kept"
expect "and is right" "GUEST kept-sum: $sum"
expect "plugged in again it reads" "GUEST again-sum: $sum"
expect "it came to its end" "GUEST end"
exit $failed
