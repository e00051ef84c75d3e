/* SPDX-License-Identifier: MIT */
/* Runs a command with emulated FTDI chips on an emulated USB bus (umockdev): the command's libftdi1
 * and libusb are the real ones, their requests to the kernel are answered here.
 *
 *   umockdev-wrapper usb_bed [-p 6010|6014]... [-u BYTES] [-d] [-m] [-D] [-q] [-s] [-R] [-f FAULT]... COMMAND...
 *
 * -p: a chip (two for two of them)   -u: unplugged after so many bulk bytes
 * -m: the user may not open it   -D: a driver of the system holds it; at the end the bed says whether it came back
 * -f P3=0: something else holds channel A's line 3
 * -R: the reader's program (simpeer.h) is at the end of the serial line, which is looped back otherwise
 * -q: sends nothing, not even its status, while it has nothing to say   -s: packets end anywhere, and empty ones come between
 * -d: a bus read gives two bytes until opcode 8A   -f: "A3=0", "D2=1" on the bus
 * A memory of 64 KiB hangs on the host bus; byte i holds i * 5 + i / 256. In bit-bang mode the lines
 * count up with each sample. The 6014 has no host bus. What the chip does follows the published
 * request and opcode tables; it is no measurement of a real chip. At the end the bed says how many bulk transfers there
 * were, how long a high-speed bus needs for them (a microframe of 125 us each, 13 packets of 512 in one: USB 2.0, 5.8.4),
 * and which flow control was set last. */
#define _GNU_SOURCE
#include "simpeer.h"

#include <umockdev.h>

#include <errno.h>
#include <linux/usbdevice_fs.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { NOBODY = 65534, PACKET = 512, STATUS = 2, QUEUE = 1 << 17, URBS = 64 };

typedef struct urb {
  UMockdevIoctlData *self, *buffer;
  bool done;
} urb;

typedef struct chip {
  unsigned pid, address;
  char serial[16], node[32];
  uint8_t queue[QUEUE]; /* to the host, channel A */
  size_t head, tail;
  uint8_t command[4];
  size_t have;
  uint8_t mode, latency, counter;
  bool flush, double_read, slow_clock;
  uint64_t waiting_us;
  urb urbs[URBS];
  unsigned urb_count;
} chip;

static chip chips[2];
static unsigned chip_count;
static long unplug_after = -1;
static bool unplugged, double_read, quiet, ragged, reader;
static unsigned transfers, microframes, flow_index, flow_value;
static uint8_t memory[65536];
static unsigned pin_held_low, pin_held_high; /* channel A's lines that something else holds */
static bool forbidden, driver, driver_there;
static unsigned address_low, address_high, data_low, data_high;

static uint64_t now_us(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u;
}

/* ---- the chip ---- */
static size_t level(const chip *c)
{
  return (c->head - c->tail) % QUEUE;
}

static void push(chip *c, uint8_t byte)
{
  c->queue[c->head] = byte;
  c->head = (c->head + 1) % QUEUE;
}

static unsigned wired(unsigned address)
{
  return ((address | address_high) & ~address_low) & 0xFFFF;
}

static void bus_byte(chip *c, uint8_t byte)
{
  c->command[c->have++] = byte;
  uint8_t op = c->command[0];
  size_t want = op == 0x93 ? 4 : op == 0x91 ? 3 : op == 0x92 ? 3 : op == 0x90 ? 2
                : op == 0x87 || op == 0x8A || op == 0x8B ? 1 : 0;
  if (!want) {
    push(c, 0xFA);
    push(c, op);
    c->have = 0;
    return;
  }
  if (c->have < want)
    return;
  unsigned address = (unsigned)c->command[1] << 8 | c->command[2];
  if (op == 0x91) {
    uint8_t v = (uint8_t)((memory[wired(address)] | data_high) & ~data_low);
    push(c, v);
    if (c->double_read && c->slow_clock)
      push(c, v);
  } else if (op == 0x93) {
    memory[wired(address)] = (uint8_t)((c->command[3] | data_high) & ~data_low);
  } else if (op == 0x87) {
    c->flush = true;
  } else if (op == 0x8A || op == 0x8B) {
    c->slow_clock = op == 0x8B;
  }
  c->have = 0;
}

/* Pins of the serial engine mode: a line that is not driven reads high. */
static void engine_byte(chip *c, uint8_t byte)
{
  static unsigned value, direction;
  c->command[c->have++] = byte;
  uint8_t op = c->command[0];
  if (c->have < ((op == 0x80 || op == 0x82) ? 3u : 1u))
    return;
  unsigned shift = op >= 0x82 ? 8 : 0, pins;
  c->have = 0;
  switch (op) {
  case 0x80:
  case 0x82:
    value = (value & ~(0xFFu << shift)) | (unsigned)c->command[1] << shift;
    direction = (direction & ~(0xFFu << shift)) | (unsigned)c->command[2] << shift;
    return;
  case 0x81:
  case 0x83:
    pins = ((value | ~direction) | pin_held_high) & ~pin_held_low;
    push(c, (uint8_t)(pins >> shift));
    return;
  case 0x87:
    c->flush = true;
    return;
  default:
    push(c, 0xFA);
    push(c, op);
  }
}

static int counted(size_t n)
{
  if (unplug_after >= 0 && (unplug_after -= (long)n) < 0)
    unplugged = true;
  return unplugged ? -ENODEV : (int)n;
}

static void on_the_bus(size_t n)
{
  transfers++;
  microframes += 1 + (unsigned)(n / (13 * PACKET));
}

static int bulk_out(chip *c, const uint8_t *at, size_t n)
{
  on_the_bus(n);
  if (counted(n) < 0)
    return -ENODEV;
  for (size_t i = 0; i < n; i++) {
    if (c->mode == 0x08 && c->pid == 0x6010)
      bus_byte(c, at[i]);
    else if (c->mode == 0x02)
      engine_byte(c, at[i]);
    else if (c->mode == 0x04)
      push(c, c->counter++);
    else if (c->mode == 0 && !reader)
      push(c, at[i]); /* the serial line is looped back */
  }
  lu_transport t = sim_transport();
  if (c->mode == 0 && reader && t.write(t.self, at, n, 0, NULL) != LU_OK)
    return -ENODEV;
  return (int)n;
}

/* A few milliseconds of the reader's life; what it says goes into the chip's queue. */
static void let_reader_live(chip *c)
{
  uint8_t piece[1024];
  size_t got = 1;
  lu_transport t = sim_transport();
  while (got && level(c) < QUEUE / 2)
    if (t.read(t.self, piece, sizeof piece, 5, &got, NULL) != LU_OK)
      return;
    else
      for (size_t i = 0; i < got; i++)
        push(c, piece[i]);
}

/* Packets of 512 with two status bytes each. A short one goes on a flush, or after the latency. */
static int bulk_in(chip *c, uint8_t *to, size_t room)
{
  size_t n = 0;
  static unsigned turn;
  if (reader && c->mode == 0)
    let_reader_live(c);
  if (quiet && !level(c))
    return -EAGAIN;
  if (ragged && level(c)) { /* 0, 1, 62, 510 ... bytes, whatever waits */
    static const unsigned sizes[] = {1, 0, 62, 510, 0, 0, 7, 300};
    to[n++] = 0x02;
    to[n++] = 0x60;
    for (unsigned i = sizes[turn++ % 8]; i && n < room && level(c); i--, c->tail = (c->tail + 1) % QUEUE)
      to[n++] = c->queue[c->tail];
    return counted(n);
  }
  while (room - n >= PACKET && level(c) >= PACKET - STATUS) {
    to[n++] = 0x02;
    to[n++] = 0x60;
    for (unsigned i = 0; i < PACKET - STATUS; i++, c->tail = (c->tail + 1) % QUEUE)
      to[n++] = c->queue[c->tail];
  }
  if (!c->waiting_us)
    c->waiting_us = now_us();
  bool late = now_us() - c->waiting_us >= c->latency * 1000u;
  if (room - n >= STATUS && (c->flush || late || n)) {
    if (!n || room - n >= PACKET) {
      to[n++] = 0x02;
      to[n++] = 0x60;
      for (; n < room && level(c); c->tail = (c->tail + 1) % QUEUE)
        to[n++] = c->queue[c->tail];
    }
    c->flush = false;
  }
  if (!n)
    return -EAGAIN;
  c->waiting_us = 0;
  if (n > STATUS)
    on_the_bus(n);
  return counted(n);
}

static size_t descriptors(const chip *c, uint8_t *to)
{
  unsigned channels = c->pid == 0x6010 ? 2 : 1, release = c->pid == 0x6010 ? 0x0700 : 0x0900;
  uint8_t total = (uint8_t)(9 + 23 * channels);
  const uint8_t device[18] = {18, 1, 0, 2, 0, 0, 0, 64, 0x03, 0x04, (uint8_t)c->pid,
                              (uint8_t)(c->pid >> 8), 0, (uint8_t)(release >> 8), 1, 2, 3, 1};
  const uint8_t config[9] = {9, 2, total, 0, (uint8_t)channels, 1, 0, 0x80, 50};
  memcpy(to, device, 18);
  memcpy(to + 18, config, 9);
  size_t n = 27;
  for (unsigned i = 0; i < channels; i++) {
    const uint8_t part[23] = {9, 4, (uint8_t)i, 0, 2, 0xFF, 0xFF, 0xFF, 2,
                              7, 5, (uint8_t)(0x81 + 2 * i), 2, 0, 2, 0,
                              7, 5, (uint8_t)(0x02 + 2 * i), 2, 0, 2, 0};
    memcpy(to + n, part, 23);
    n += 23;
  }
  return n;
}

static int string_of(const chip *c, unsigned which, uint8_t *to, size_t room)
{
  const char *texts[] = {"", "Tide Works", c->pid == 0x6010 ? "two-channel bridge" : "one-channel bridge", c->serial};
  uint8_t d[64] = {4, 3, 9, 4};
  if (which > 3)
    return -EPIPE;
  if (which) {
    size_t len = strlen(texts[which]);
    d[0] = (uint8_t)(2 + 2 * len);
    for (size_t i = 0; i < len; i++)
      d[2 + 2 * i] = (uint8_t)texts[which][i], d[3 + 2 * i] = 0;
  }
  size_t n = d[0] < room ? d[0] : room;
  memcpy(to, d, n);
  return (int)n;
}

static int control(chip *c, const uint8_t *setup, uint8_t *data)
{
  unsigned type = setup[0], request = setup[1], value = setup[2] | (unsigned)setup[3] << 8;
  size_t len = setup[6] | (size_t)setup[7] << 8;
  uint8_t d[128];
  if (type == 0x80 && request == 6) {
    size_t all = descriptors(c, d), from = value >> 8 == 2 ? 18 : 0, n = from ? all - 18 : 18;
    if (value >> 8 == 3)
      return string_of(c, value & 0xFF, data, len);
    n = n < len ? n : len;
    memcpy(data, d + from, n);
    return (int)n;
  }
  if (type == 0x40) {
    if (request == 0 && value != 2)
      c->have = 0;
    if (request == 0 && value != 1)
      c->head = c->tail = 0;
    if (request == 9)
      c->latency = (uint8_t)value;
    if (request == 2) {
      flow_value = value;
      flow_index = setup[4] | (unsigned)setup[5] << 8;
    }
    if (request == 0x0B) {
      c->mode = (uint8_t)(value >> 8);
      c->slow_clock = true;
      c->have = 0;
    }
    return (int)len;
  }
  if (type == 0xC0) {
    memset(data, request == 0x90 ? 0xFF : 0, len);
    return (int)len;
  }
  return type == 0 ? (int)len : -EPIPE;
}

/* ---- the kernel's side ---- */
static struct usbdevfs_urb *urb_at(const urb *u)
{
  return (struct usbdevfs_urb *)(void *)u->self->data;
}

/* Tries to finish urb i; an endpoint serves its urbs in order. */
static void work(chip *c, unsigned i)
{
  urb *u = &c->urbs[i];
  struct usbdevfs_urb *k = urb_at(u);
  for (unsigned j = 0; j < i; j++)
    if (!c->urbs[j].done && urb_at(&c->urbs[j])->endpoint == k->endpoint)
      return;
  if (u->done)
    return;
  uint8_t *b = u->buffer ? u->buffer->data : NULL;
  int r = unplugged                             ? -ENODEV
          : k->type == USBDEVFS_URB_TYPE_CONTROL ? control(c, b, b + 8)
          : k->endpoint == 0x81                  ? bulk_in(c, b, (size_t)k->buffer_length)
          : k->endpoint == 0x02                  ? bulk_out(c, b, (size_t)k->buffer_length)
                                                 : -EPIPE;
  if (r == -EAGAIN)
    return;
  k->status = r < 0 ? r : 0;
  k->actual_length = r < 0 ? 0 : r;
  u->done = true;
}

static void complete(UMockdevIoctlClient *client, long r, int e)
{
  umockdev_ioctl_client_complete(client, r, e);
}

static bool reap(chip *c, UMockdevIoctlClient *client)
{
  for (unsigned i = 0; i < c->urb_count; i++)
    work(c, i);
  for (unsigned i = 0; i < c->urb_count; i++) {
    urb u = c->urbs[i];
    if (!u.done)
      continue;
    memmove(&c->urbs[i], &c->urbs[i + 1], (--c->urb_count - i) * sizeof u);
    UMockdevIoctlData *to = umockdev_ioctl_data_resolve(umockdev_ioctl_client_get_arg(client), 0,
                                                        sizeof(void *), NULL);
    umockdev_ioctl_data_set_ptr(to, 0, u.self); /* takes urb and buffer back to the command */
    g_object_unref(to);
    complete(client, 0, 0);
    g_object_unref(u.self);
    if (u.buffer)
      g_object_unref(u.buffer);
    return true;
  }
  return false;
}

typedef struct later {
  chip *c;
  UMockdevIoctlClient *client;
} later;

static gboolean look_again(gpointer p)
{
  later *l = p;
  if (!reap(l->c, l->client))
    complete(l->client, -1, EAGAIN);
  g_object_unref(l->client);
  g_free(l);
  return G_SOURCE_REMOVE;
}

static void submit(chip *c, UMockdevIoctlClient *client)
{
  urb u = {.self = umockdev_ioctl_data_resolve(umockdev_ioctl_client_get_arg(client), 0,
                                               sizeof(struct usbdevfs_urb), NULL)};
  struct usbdevfs_urb *k = urb_at(&u);
  if (c->urb_count == URBS) {
    complete(client, -1, ENOMEM);
    return;
  }
  if (k->buffer_length > 0)
    u.buffer = umockdev_ioctl_data_resolve(u.self, offsetof(struct usbdevfs_urb, buffer),
                                           (gsize)k->buffer_length, NULL);
  c->urbs[c->urb_count++] = u;
  work(c, c->urb_count - 1);
  complete(client, 0, 0);
}

static void discard(chip *c, UMockdevIoctlClient *client)
{
  gulong wanted = *(gulong *)(void *)umockdev_ioctl_client_get_arg(client)->data;
  for (unsigned i = 0; i < c->urb_count; i++)
    if (c->urbs[i].self->client_addr == wanted && !c->urbs[i].done) {
      urb_at(&c->urbs[i])->status = -ENOENT;
      urb_at(&c->urbs[i])->actual_length = 0;
      c->urbs[i].done = true;
      complete(client, 0, 0);
      return;
    }
  complete(client, -1, EINVAL);
}

static gboolean on_ioctl(UMockdevIoctlBase *self, UMockdevIoctlClient *client, gpointer user)
{
  (void)self;
  chip *c = user;
  unsigned long request = umockdev_ioctl_client_get_request(client);
  if (request == USBDEVFS_REAPURBNDELAY) {
    if (reap(c, client))
      return TRUE;
    if (!c->urb_count) {
      complete(client, -1, unplugged ? ENODEV : EAGAIN);
      return TRUE;
    }
    /* the node is an ordinary file and so always ready: without a pause libusb would spin */
    later *l = g_new(later, 1);
    *l = (later){c, g_object_ref(client)};
    GSource *s = g_timeout_source_new(1);
    g_source_set_callback(s, look_again, l, NULL);
    g_source_attach(s, g_main_context_get_thread_default());
    g_source_unref(s);
  } else if (request == USBDEVFS_DISCARDURB) {
    discard(c, client);
  } else if (unplugged && request != USBDEVFS_RELEASEINTERFACE) {
    complete(client, -1, ENODEV);
  } else if (request == USBDEVFS_SUBMITURB) {
    submit(c, client);
  } else if (request == USBDEVFS_GET_CAPABILITIES) {
    UMockdevIoctlData *d =
        umockdev_ioctl_data_resolve(umockdev_ioctl_client_get_arg(client), 0, sizeof(__u32), NULL);
    *(__u32 *)(void *)d->data = USBDEVFS_CAP_ZERO_PACKET | USBDEVFS_CAP_BULK_CONTINUATION |
                                USBDEVFS_CAP_NO_PACKET_SIZE_LIM | USBDEVFS_CAP_REAP_AFTER_DISCONNECT;
    g_object_unref(d);
    complete(client, 0, 0);
  } else if (request == USBDEVFS_GETDRIVER && driver_there) {
    UMockdevIoctlData *d =
        umockdev_ioctl_data_resolve(umockdev_ioctl_client_get_arg(client), 0, sizeof(struct usbdevfs_getdriver), NULL);
    snprintf(((struct usbdevfs_getdriver *)(void *)d->data)->driver, USBDEVFS_MAXDRIVERNAME, "ftdi_sio");
    g_object_unref(d);
    complete(client, 0, 0);
  } else if (request == USBDEVFS_CLAIMINTERFACE && driver_there) {
    complete(client, -1, EBUSY);
  } else if (request == USBDEVFS_IOCTL && driver) {
    UMockdevIoctlData *d =
        umockdev_ioctl_data_resolve(umockdev_ioctl_client_get_arg(client), 0, sizeof(struct usbdevfs_ioctl), NULL);
    driver_there = ((struct usbdevfs_ioctl *)(void *)d->data)->ioctl_code == (int)USBDEVFS_CONNECT;
    g_object_unref(d);
    complete(client, 0, 0);
  } else if (request == USBDEVFS_GETDRIVER || request == USBDEVFS_IOCTL) {
    complete(client, -1, ENODATA); /* no driver of the system holds the chip */
  } else {
    complete(client, 0, 0);
  }
  return TRUE;
}

/* ---- the bed ---- */
static void add_hex(GString *s, const uint8_t *at, size_t len)
{
  for (size_t i = 0; i < len; i++)
    g_string_append_printf(s, "%02X", at[i]);
}

static bool add_devices(UMockdevTestbed *bed)
{
  static const uint8_t hub[] = {18, 1, 0, 2, 9, 0, 1, 64, 0x6B, 0x1D, 2, 0, 1, 6, 0, 0, 0, 1, 9, 2, 25, 0,
                                1, 1, 0, 0xE0, 0, 9, 4, 0, 0, 1, 9, 0, 0, 0, 7, 5, 0x81, 3, 4, 0, 12};
  const char *common = "A: busnum=1\\n\nA: speed=480\\n\nA: bConfigurationValue=1\\n\n";
  GString *s = g_string_new("P: /devices/pci0000:00/0000:00:14.0/usb1\nN: bus/usb/001/001\n"
                            "E: SUBSYSTEM=usb\nE: DEVTYPE=usb_device\nE: DEVNAME=/dev/bus/usb/001/001\n"
                            "E: BUSNUM=001\nE: DEVNUM=001\nE: MAJOR=189\nE: MINOR=0\nA: devnum=1\\n\n");
  g_string_append_printf(s, "%sH: descriptors=", common);
  add_hex(s, hub, sizeof hub);
  g_string_append(s, "\n\n");
  for (unsigned i = 0; i < chip_count; i++) {
    chip *c = &chips[i];
    uint8_t d[128];
    g_string_append_printf(
        s, "P: /devices/pci0000:00/0000:00:14.0/usb1/1-%u\nN: bus/usb/001/%03u\nE: SUBSYSTEM=usb\n"
           "E: DEVTYPE=usb_device\nE: DEVNAME=%s\nE: BUSNUM=001\nE: DEVNUM=%03u\nE: MAJOR=189\n"
           "E: MINOR=%u\nA: devnum=%u\\n\nA: idVendor=0403\\n\nA: idProduct=%04x\\n\n%sH: descriptors=",
        i + 2, c->address, c->node, c->address, c->address - 1, c->address, c->pid, common);
    add_hex(s, d, descriptors(c, d));
    g_string_append(s, "\n\n");
  }
  GError *e = NULL;
  bool ok = umockdev_testbed_add_from_string(bed, s->str, &e);
  if (!ok)
    fprintf(stderr, "usb_bed: %s\n", e->message);
  g_string_free(s, TRUE);
  return ok;
}

static bool fault(const char *text)
{
  char bus, v;
  unsigned bit;
  if (sscanf(text, "P%u=%c", &bit, &v) == 2 && bit < 16) {
    *(v == '0' ? &pin_held_low : &pin_held_high) |= 1u << bit;
    return true;
  }
  if (sscanf(text, "%c%u=%c", &bus, &bit, &v) != 3 || bit > 15)
    return false;
  unsigned *to = bus == 'A' ? (v == '0' ? &address_low : &address_high) : v == '0' ? &data_low : &data_high;
  *to |= 1u << bit;
  return true;
}

int main(int argc, char **argv)
{
  for (int o; (o = getopt(argc, argv, "+p:u:df:mDqsR")) != -1;) {
    if (o == 'p' && chip_count < 2)
      chips[chip_count++].pid = (unsigned)strtoul(optarg, NULL, 16);
    else if (o == 'u')
      unplug_after = atol(optarg);
    else if (o == 'd')
      double_read = true;
    else if (o == 'm')
      forbidden = true;
    else if (o == 'q')
      quiet = true;
    else if (o == 's')
      ragged = true;
    else if (o == 'R')
      reader = true;
    else if (o == 'D')
      driver = driver_there = true;
    else if (o != 'f' || !fault(optarg))
      return 2;
  }
  if (optind >= argc)
    return 2;
  sim_start();
  for (unsigned i = 0; i < 65536; i++)
    sim.memory[i] = memory[i] = (uint8_t)(i * 5 + (i >> 8));
  UMockdevTestbed *bed = umockdev_testbed_new();
  UMockdevIoctlBase *handlers[2];
  for (unsigned i = 0; i < chip_count; i++) {
    chips[i].address = 7 + i;
    chips[i].latency = 16;
    chips[i].double_read = double_read;
    snprintf(chips[i].serial, sizeof chips[i].serial, "TIDE%04u", i + 1);
    snprintf(chips[i].node, sizeof chips[i].node, "/dev/bus/usb/001/%03u", 7 + i);
  }
  if (!add_devices(bed))
    return 2;
  for (unsigned i = 0; i < chip_count; i++) {
    GError *e = NULL;
    handlers[i] = umockdev_ioctl_base_new();
    g_signal_connect(handlers[i], "handle-ioctl", G_CALLBACK(on_ioctl), &chips[i]);
    if (!umockdev_testbed_attach_ioctl(bed, chips[i].node, handlers[i], &e)) {
      fprintf(stderr, "usb_bed: %s (run me under umockdev-wrapper)\n", e->message);
      return 2;
    }
  }
  int status = 0;
  gchar *root = umockdev_testbed_get_root_dir(bed);
  gchar *open_to_all = g_strdup_printf("chmod -R a+rwX '%s'", root); /* the bed itself is not what is forbidden */
  if (forbidden && system(open_to_all))
    return 2;
  for (unsigned i = 0; forbidden && i < chip_count; i++) {
    gchar *node = g_strconcat(root, chips[i].node, NULL);
    if (chmod(node, 0))
      perror(node);
    g_free(node);
  }
  g_free(open_to_all);
  g_free(root);
  pid_t child = fork();
  if (child == 0) {
    if (forbidden && geteuid() == 0 && (setgid(NOBODY) || setuid(NOBODY))) /* root may do anything */
      _exit(126);
    execvp(argv[optind], argv + optind);
    perror(argv[optind]);
    _exit(127);
  }
  while (waitpid(child, &status, 0) < 0 && errno == EINTR)
    ;
  fprintf(stderr, "usb_bed: %u bulk transfers, %u ms of the bus, flow control %04x with %04x\n", transfers, microframes / 8,
          flow_index, flow_value);
  if (driver)
    fprintf(stderr, "usb_bed: the system's driver %s\n", driver_there ? "has the chip again" : "was not put back");
  for (unsigned i = 0; i < chip_count; i++) {
    umockdev_testbed_detach_ioctl(bed, chips[i].node, NULL);
    g_object_unref(handlers[i]);
  }
  g_object_unref(bed);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}
