/* SPDX-License-Identifier: MIT */
/* Runs a command with an emulated USB serial port /dev/ttyUSB0 in front of it (umockdev).
 *
 *   umockdev-wrapper tty_bed [-u BYTES] [-c BYTES] [-m] [-l] [-t] PEER COMMAND...
 *   umockdev-wrapper tty_bed [-u BYTES] [-c BYTES] [-f FAULT]... [-g N] [-k sram|rom|dram] [-r BITS] [-K MS]
 *     avr FIRMWARE.elf COMMAND...
 *
 * -m: the user may not open the port. -t: CTS is never on. -l: another program has it. elder: a reader that speaks protocol version 2.
 * monitor prints memory on request ("show FROM TO"), choosy is one that holds the line off (XOFF) for 600 ms after every
 * fourth character, ihex, srec and raw send 256 bytes from 100 on once they hear something, crc and sum send 300 with XMODEM,
 * which sum knows without CRC alone; avr is our reader's firmware on a simulated chip. -u: unplugged, -c: Ctrl-C,
 * after so many bytes to the command. At the end the bed says what the command set of the line and how it typed. Memory byte i holds
 * i * 5 + i / 256. -g: the faults go away after N accesses. -r, -K: of a dynamic memory, its row bits (9)
 * and how long a row lasts without refresh (for ever). libserialport wants more than a pty gives: the modem lines are answered here. */
#define _GNU_SOURCE
#ifdef WITH_AVR
#  include "avrbed.h"
#endif

#include "link/codes.h"
#include "link/wire.h"

#include <umockdev.h>

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define TTY "/dev/ttyUSB0"
enum { NOBODY = 65534, QUIET_MS = 3000, RUN_THE_REAL_ONE = -100 }; /* umockdev's own code for it */

static int fd;
static long unplug_after = -1, interrupt_after = -1;
static pid_t child;
static bool unplugged;
static unsigned modem = TIOCM_RTS | TIOCM_DTR; /* as a driver has them once the port is open */
static bool untied;

static gboolean on_ioctl(UMockdevIoctlBase *self, UMockdevIoctlClient *client, gpointer user)
{
  (void)self;
  (void)user;
  unsigned long request = umockdev_ioctl_client_get_request(client);
  if (request == TIOCMGET || request == TIOCMSET || request == TIOCMBIS || request == TIOCMBIC) {
    UMockdevIoctlData *d =
        umockdev_ioctl_data_resolve(umockdev_ioctl_client_get_arg(client), 0, sizeof(int), NULL);
    unsigned *v = (unsigned *)(void *)d->data;
    if (request == TIOCMSET)
      modem = *v;
    else if (request == TIOCMBIS)
      modem |= *v;
    else if (request == TIOCMBIC)
      modem &= ~*v;
    modem &= (unsigned)~(TIOCM_CTS | TIOCM_DSR); /* a straight cable: RTS to CTS, DTR to DSR */
    modem |= (modem & TIOCM_RTS && !untied ? TIOCM_CTS : 0) | (modem & TIOCM_DTR ? TIOCM_DSR : 0);
    if (request == TIOCMGET)
      *v = modem;
    g_object_unref(d);
    umockdev_ioctl_client_complete(client, 0, 0);
    return TRUE;
  }
  umockdev_ioctl_client_complete(client, RUN_THE_REAL_ONE, 0);
  return TRUE;
}

static gboolean pass(UMockdevIoctlBase *self, UMockdevIoctlClient *client, gpointer user)
{
  (void)self;
  (void)user;
  umockdev_ioctl_client_complete(client, RUN_THE_REAL_ONE, 0);
  return TRUE;
}

static void say(const void *at, size_t len)
{
  const uint8_t *p = at;
  size_t whole = len;
  if (unplug_after >= 0 && (long)len > unplug_after)
    len = (size_t)unplug_after;
  while (len && !unplugged) {
    ssize_t n = write(fd, p, len);
    if (n < 0 && errno != EINTR && errno != EAGAIN)
      return;
    if (n > 0) {
      p += n;
      len -= (size_t)n;
      if (unplug_after >= 0)
        unplug_after -= n;
    }
  }
  if (interrupt_after >= 0 && (interrupt_after -= (long)whole) < 0) {
    interrupt_after = -1;
    kill(child, SIGINT);
  }
  if (unplug_after == 0 && !unplugged) {
    /* the command must get what is on its way before the line goes */
    usleep(1000000);
    close(fd);
    unplugged = true;
  }
}

static uint8_t memory_at(unsigned a)
{
  return (uint8_t)(a * 5 + (a >> 8));
}

static void monitor(uint8_t byte)
{
  static char line[128];
  static size_t len;
  char text[128];
  unsigned from, to;
  if (byte != '\r') {
    say(&byte, 1);
    if (len < sizeof line - 1)
      line[len++] = (char)byte;
    return;
  }
  line[len] = '\0';
  len = 0;
  say("\r\n", 2);
  if (sscanf(line, "show %x %x", &from, &to) == 2)
    for (unsigned a = from; a <= to; a += 16) {
      int n = snprintf(text, sizeof text, "%04X ", a);
      for (unsigned i = 0; i < 16; i++)
        n += snprintf(text + n, sizeof text - (size_t)n, " %02X", memory_at(a + i));
      n += snprintf(text + n, sizeof text - (size_t)n, "\r\n");
      say(text, (size_t)n);
    }
  say("ok> ", 4);
}

/* 256 bytes from 100 on: Intel HEX, S-records, or themselves. */
static void image(const char *peer)
{
  bool intel = !strcmp(peer, "ihex"), motorola = !strcmp(peer, "srec");
  char text[128];
  for (unsigned a = 0x100; a < 0x200; a += 16) {
    unsigned sum = (intel ? 16 : 19) + (a >> 8) + (a & 0xFF);
    int n = snprintf(text, sizeof text, intel ? ":10%04X00" : "S113%04X", a);
    for (unsigned i = 0; i < 16; i++) {
      n += snprintf(text + n, sizeof text - (size_t)n, "%02X", memory_at(a + i));
      sum += memory_at(a + i);
    }
    n += snprintf(text + n, sizeof text - (size_t)n, "%02X\r\n", (intel ? -sum : ~sum) & 0xFF);
    for (unsigned i = 0; !intel && !motorola && i < 16; i++)
      text[i] = (char)memory_at(a + i);
    say(text, intel || motorola ? (size_t)n : 16);
  }
  if (intel)
    say(":00000001FF\r\n", 13);
  if (motorola)
    say("S9030000FC\r\n", 12);
}

/* Sends 300 bytes from 100 on with XMODEM. crc: knows the CRC, and is asked for it with C. */
static void xmodem(uint8_t heard, bool crc)
{
  static unsigned block;
  static bool started, by_crc;
  uint8_t b[3 + 128 + 2];
  if (!started && heard == '\r')
    say("start your receiver\r\n", 21);
  if (!started && heard != 0x15 && (heard != 'C' || !crc))
    return;
  by_crc = started ? by_crc : heard == 'C';
  block += !started || heard == 0x06;
  started = true;
  if (block > 3) {
    if (block == 4)
      say("\x04", 1);
    return;
  }
  b[0] = 1;
  b[1] = (uint8_t)block;
  b[2] = (uint8_t)~block;
  uint8_t sum = 0;
  for (unsigned i = 0; i < 128; i++) {
    unsigned at = 128 * (block - 1) + i;
    b[3 + i] = at < 300 ? memory_at(0x100 + at) : 0x1A;
    sum = (uint8_t)(sum + b[3 + i]);
  }
  uint16_t check = lu_crc16(LU_CRC16_XMODEM, b + 3, 128);
  b[131] = by_crc ? (uint8_t)(check >> 8) : sum;
  b[132] = (uint8_t)check;
  say(b, by_crc ? 133 : 132);
}

static uint64_t now_us(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u;
}

/* How fast the command types: a bed that wakes late sees pauses shrink, but never their sum. */
static uint64_t first_heard, last_heard;
static unsigned typed;

static void typing(void)
{
  last_heard = now_us();
  if (!typed++)
    first_heard = last_heard;
}

/* ---- flow control ---- */
static uint64_t held_since;
static unsigned came_while_held;
enum { HOLD_US = 600000, ON_ITS_WAY_US = 150000 };

static void choosy(uint8_t byte)
{
  static unsigned count;
  /* what was typed before the XOFF arrived does not count */
  came_while_held += held_since && now_us() - held_since > ON_ITS_WAY_US;
  if (++count % 4 == 0 && !held_since) {
    say("\x13", 1);
    held_since = now_us();
  }
  monitor(byte);
}

static void release_line(void)
{
  if (held_since && now_us() - held_since >= HOLD_US) {
    held_since = 0;
    say("\x11", 1);
  }
}

/* What the kernel's TCGETS2 fills: the rates stand there as numbers (asm-generic/termbits.h, which termios.h bars). */
typedef struct line_settings {
  unsigned input, output, control, local;
  unsigned char discipline, characters[19];
  unsigned in_rate, out_rate;
} line_settings;

static void tell_settings(const char *peer)
{
  line_settings l = {0};
  if (unplugged || ioctl(fd, _IOR('T', 0x2A, line_settings), &l))
    return;
  fprintf(stderr, "tty_bed: %u baud%s%s\n", l.out_rate, l.control & (unsigned)CRTSCTS ? ", RTS/CTS" : "",
          l.input & IXON && l.input & IXOFF ? ", XON/XOFF" : "");
  if (typed && strcmp(peer, "avr"))
    fprintf(stderr, "tty_bed: typed %u characters in %u ms\n", typed, (unsigned)((last_heard - first_heard) / 1000));
  if (!strcmp(peer, "choosy"))
    fprintf(stderr, "tty_bed: %u characters came while the line was held\n", came_while_held);
}

#ifdef WITH_AVR
static uint8_t batch[4096];
static size_t batch_len;

static void collect(void *to, uint8_t byte)
{
  (void)to;
  batch[batch_len++] = byte;
  if (batch_len == sizeof batch) {
    say(batch, batch_len);
    batch_len = 0;
  }
}
#endif

/* A millisecond of the chip's life; whether it had something to say. */
static bool slice(void)
{
#ifdef WITH_AVR
  bed_run(16000, collect, NULL);
  bool any = batch_len > 0;
  say(batch, batch_len);
  batch_len = 0;
  return any;
#else
  return false;
#endif
}

/* Answers any request with a sound frame of another protocol version (docs/reader-protocol.md, status 8). */
static void elder(uint8_t byte)
{
  static uint8_t frame[700];
  static size_t len;
  uint8_t reply[16] = {2, 0, 0, 0, LU_WIRE_OTHER_VERSION, 2, 0, 9}, coded[24];
  if (byte) {
    if (len < sizeof frame)
      frame[len++] = byte;
    return;
  }
  bool request = lu_cobs_decode(frame, len, frame, &len) && len >= 4;
  len = 0;
  if (!request)
    return;
  memcpy(reply + 1, frame + 1, 3);
  reply[1] |= LU_WIRE_REPLY;
  uint16_t crc = lu_crc16(LU_CRC16_FRAME, reply, 8);
  reply[8] = (uint8_t)(crc >> 8);
  reply[9] = (uint8_t)crc;
  size_t n = lu_cobs_encode(reply, 10, coded);
  coded[n++] = 0;
  say(coded, n);
}

static void hear(const char *peer, uint8_t byte)
{
  typing();
  if (!strcmp(peer, "monitor"))
    monitor(byte);
  if (!strcmp(peer, "choosy"))
    choosy(byte);
  if (!strcmp(peer, "crc") || !strcmp(peer, "sum"))
    xmodem(byte, *peer == 'c');
  if (!strcmp(peer, "elder"))
    elder(byte);
#ifdef WITH_AVR
  if (!strcmp(peer, "avr"))
    bed_hear(byte);
#endif
}

static int serve(const char *peer)
{
  bool sent = false, sends = !strcmp(peer, "ihex") || !strcmp(peer, "srec") || !strcmp(peer, "raw"), avr = !strcmp(peer, "avr");
  unsigned quiet = 0;
  for (;;) {
    int status;
    if (waitpid(child, &status, WNOHANG) == child)
      return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    if (unplugged) {
      usleep(10000);
      continue;
    }
    struct pollfd w = {fd, POLLIN, 0};
    release_line();
    /* a chip that has said nothing for so long waits for the host: do not burn the processor */
    if (avr && quiet < QUIET_MS && slice())
      quiet = 0;
    quiet++;
    if (poll(&w, 1, avr && quiet < QUIET_MS ? 0 : 10) <= 0)
      continue;
    if (!(w.revents & POLLIN)) { /* nobody has it open */
      usleep(1000);
      continue;
    }
    uint8_t in[256];
    ssize_t n = read(fd, in, sizeof in);
    quiet = 0;
    for (ssize_t i = 0; i < n; i++)
      hear(peer, in[i]);
    if (sends && !sent && n > 0) {
      image(peer);
      sent = true;
    }
  }
}

static const char fixture[] =
    "P: /devices/pci0000:00/0000:00:14.0/usb1\n"
    "E: DEVTYPE=usb_device\nE: SUBSYSTEM=usb\nA: busnum=1\\n\nA: devnum=1\\n\n\n"
    "P: /devices/pci0000:00/0000:00:14.0/usb1/1-2\n"
    "E: DEVTYPE=usb_device\nE: SUBSYSTEM=usb\nA: busnum=1\\n\nA: devnum=7\\n\n"
    "A: idVendor=0403\\n\nA: idProduct=6001\\n\nA: manufacturer=Tide Works\\n\n"
    "A: product=bench line\\n\nA: serial=TIDE0042\\n\n\n"
    "P: /devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0\n"
    "E: DEVTYPE=usb_interface\nE: SUBSYSTEM=usb\n\n"
    "P: /devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/ttyUSB0\n"
    "E: SUBSYSTEM=usb-serial\n\n"
    "P: /devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/ttyUSB0/tty/ttyUSB0\n"
    "N: ttyUSB0\nE: DEVNAME=/dev/ttyUSB0\nE: SUBSYSTEM=tty\nE: MAJOR=188\nE: MINOR=0\n"
    "A: dev=188:0\\n\nL: device=../../../ttyUSB0\n\n";

static bool forbidden, locked;
static unsigned long heal_after, row_bits = 9, keep_ms;

static bool start_avr(const char *elf, const char *kind, char **faults, unsigned count)
{
#ifdef WITH_AVR
  bed_kind k = !strcmp(kind, "rom") ? BED_ROM : !strcmp(kind, "dram") ? BED_DRAM : BED_SRAM;
  if (!bed_start(elf, k))
    return false;
  bed.heal_after = heal_after;
  bed.row_bits = bed.column_bits = (unsigned)row_bits;
  bed.keep_ms = (unsigned)keep_ms;
  for (unsigned a = 0; a < BED_WORDS; a++)
    bed.memory[a] = memory_at(a);
  for (unsigned i = 0; i < count; i++)
    if (!bed_fault(faults[i]))
      return false;
  return true;
#else
  (void)elf;
  (void)kind;
  (void)faults;
  (void)count;
  (void)heal_after, (void)row_bits, (void)keep_ms;
  return false;
#endif
}

int main(int argc, char **argv)
{
  const char *kind = "sram";
  char *faults[8];
  unsigned fault_count = 0;
  GError *e = NULL;
  for (int o; (o = getopt(argc, argv, "+u:c:f:k:g:r:K:mlt")) != -1;) {
    if (o == 'u')
      unplug_after = atol(optarg);
    else if (o == 'c')
      interrupt_after = atol(optarg);
    else if (o == 'k')
      kind = optarg;
    else if (o == 'm')
      forbidden = true;
    else if (o == 'l')
      locked = true;
    else if (o == 't')
      untied = true;
    else if (o == 'g')
      heal_after = strtoul(optarg, NULL, 10);
    else if (o == 'r')
      row_bits = strtoul(optarg, NULL, 10);
    else if (o == 'K')
      keep_ms = strtoul(optarg, NULL, 10);
    else if (o == 'f' && fault_count < 8)
      faults[fault_count++] = optarg;
    else
      return 2;
  }
  if (optind + 2 > argc)
    return 2;
  const char *peer = argv[optind++];
  if (!strcmp(peer, "avr") && !start_avr(argv[optind++], kind, faults, fault_count)) {
    fprintf(stderr, "tty_bed: the simulated chip does not start\n");
    return 2;
  }
  UMockdevTestbed *bed_of_devices = umockdev_testbed_new();
  if (!umockdev_testbed_add_from_string(bed_of_devices, fixture, &e)) {
    fprintf(stderr, "tty_bed: %s\n", e->message);
    return 2;
  }
  UMockdevIoctlBase *handler = umockdev_ioctl_base_new();
  g_signal_connect(handler, "handle-ioctl", G_CALLBACK(on_ioctl), NULL);
  g_signal_connect(handler, "handle-read", G_CALLBACK(pass), NULL);
  g_signal_connect(handler, "handle-write", G_CALLBACK(pass), NULL);
  if (!umockdev_testbed_attach_ioctl(bed_of_devices, TTY, handler, &e)) {
    fprintf(stderr, "tty_bed: %s (run me under umockdev-wrapper)\n", e->message);
    return 2;
  }
  fd = umockdev_testbed_get_dev_fd(bed_of_devices, TTY);
  fcntl(fd, F_SETFD, FD_CLOEXEC); /* or the command itself would keep the line open */
  int other = locked ? open(ptsname(fd), O_RDWR | O_NOCTTY | O_CLOEXEC) : -1;
  if (locked && (other < 0 || flock(other, LOCK_EX)))
    perror("tty_bed: the other program");
  gchar *root = umockdev_testbed_get_root_dir(bed_of_devices);
  gchar *open_to_all = g_strdup_printf("chmod -R a+rwX '%s'", root); /* the bed itself is not what is forbidden */
  if (forbidden && (system(open_to_all) || chmod(ptsname(fd), 0)))
    perror("tty_bed: chmod");
  g_free(open_to_all);
  g_free(root);
  child = fork();
  if (child == 0) {
    if (forbidden && geteuid() == 0 && (setgid(NOBODY) || setuid(NOBODY))) /* root may do anything */
      _exit(126);
    execvp(argv[optind], argv + optind);
    perror(argv[optind]);
    _exit(127);
  }
  int code = serve(peer);
  tell_settings(peer);
  g_object_unref(handler);
  g_object_unref(bed_of_devices);
  return code;
}
