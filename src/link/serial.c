/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "link/transport.h"

#include "base/text.h"
#include "link/clock.h"
#include "link/dynlib.h"

#include <errno.h>
#include <grp.h>
#include <sys/stat.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <termios.h>

#ifdef LU_HAVE_SERIALPORT
#  include <libserialport.h>

#  define FUNCTIONS(X)                                                                             \
    X(sp_get_port_by_name)                                                                         \
    X(sp_free_port)                                                                                \
    X(sp_list_ports)                                                                               \
    X(sp_free_port_list)                                                                           \
    X(sp_open)                                                                                     \
    X(sp_close)                                                                                    \
    X(sp_get_port_name)                                                                            \
    X(sp_get_port_description)                                                                     \
    X(sp_get_port_transport)                                                                       \
    X(sp_get_port_usb_vid_pid)                                                                     \
    X(sp_get_port_usb_manufacturer)                                                                \
    X(sp_get_port_usb_product)                                                                     \
    X(sp_get_port_usb_serial)                                                                      \
    X(sp_get_port_handle)                                                                          \
    X(sp_set_baudrate)                                                                             \
    X(sp_set_bits)                                                                                 \
    X(sp_set_parity)                                                                               \
    X(sp_set_stopbits)                                                                             \
    X(sp_set_flowcontrol)                                                                          \
    X(sp_nonblocking_read)                                                                         \
    X(sp_blocking_write)                                                                           \
    X(sp_get_signals)                                                                              \
    X(sp_input_waiting)                                                                            \
    X(sp_flush)

typedef struct functions {
#  define X(f) __typeof__(f) *f;
  FUNCTIONS(X)
#  undef X
} functions;

enum { PORTS_MOST = 64 };

typedef struct serial {
  functions f;
  struct sp_port *port;
  int fd;
  lu_flow flow;
  char name[128];
} serial;

static lu_status load(functions *f, lu_err *err)
{
  static const lu_symbol symbols[] = {
#  define X(f) {#f, offsetof(functions, f)},
      FUNCTIONS(X)
#  undef X
  };
  return lu_dynlib_load("libserialport.so.0", "libserialport", symbols,
                        sizeof symbols / sizeof *symbols, f, err);
}

static const char *keep(lu_arena *mem, const char *text)
{
  return text ? lu_arena_text(mem, text, strlen(text)) : NULL;
}

lu_status lu_serial_list(lu_arena *mem, lu_port **out, size_t *count, lu_err *err)
{
  functions f;
  struct sp_port **list = NULL;
  lu_status s = load(&f, err);
  if (s != LU_OK)
    return s;
  if (f.sp_list_ports(&list) != SP_OK)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "the system does not list its serial ports: %s",
                   strerror(errno));
  size_t n = 0;
  while (list[n] && n < PORTS_MOST)
    n++;
  lu_port *ports = LU_NEW(mem, lu_port, n + 1);
  for (size_t i = 0; ports && i < n; i++) {
    int vid = 0, pid = 0;
    ports[i].is_usb = f.sp_get_port_transport(list[i]) == SP_TRANSPORT_USB;
    if (ports[i].is_usb && f.sp_get_port_usb_vid_pid(list[i], &vid, &pid) == SP_OK) {
      ports[i].vid = (unsigned)vid;
      ports[i].pid = (unsigned)pid;
    }
    ports[i].name = keep(mem, f.sp_get_port_name(list[i]));
    ports[i].description = keep(mem, f.sp_get_port_description(list[i]));
    ports[i].manufacturer = keep(mem, f.sp_get_port_usb_manufacturer(list[i]));
    ports[i].product = keep(mem, f.sp_get_port_usb_product(list[i]));
    ports[i].serial = keep(mem, f.sp_get_port_usb_serial(list[i]));
  }
  f.sp_free_port_list(list);
  if (!ports)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the list of ports");
  *out = ports;
  *count = n;
  return LU_OK;
}

static lu_status no_such_port(const char *wanted, lu_err *err)
{
  lu_arena mem = {0};
  lu_port *ports = NULL;
  size_t n = 0;
  const char *names[PORTS_MOST];
  if (lu_serial_list(&mem, &ports, &n, NULL) != LU_OK)
    n = 0;
  for (size_t i = 0; i < n; i++)
    names[i] = ports[i].name ? ports[i].name : "";
  const char *near = n ? lu_text_nearest(wanted, names, n) : NULL;
  if (!near && n)
    near = names[0];
  lu_status s = near ? lu_fail(err, LU_ERR_DEVICE, 0, 0,
                               "no serial port '%s'; there is %s (lineup take --list shows every port)",
                               wanted, near)
                     : lu_fail(err, LU_ERR_DEVICE, 0, 0,
                               "no serial port '%s', and the system lists no other; is it plugged in?",
                               wanted);
  lu_arena_free(&mem);
  return s;
}

/* The group that may use the port; the usual one where the system does not say. */
static const char *group_of(const char *port)
{
  struct stat st;
  struct group *g = stat(port, &st) == 0 ? getgrgid(st.st_gid) : NULL;
  return g && g->gr_gid ? g->gr_name : "dialout";
}

/* What a failed call says, by the system's error. */
static lu_status port_error(const serial *p, const char *what, int os, lu_err *err)
{
  switch (os) {
  case EACCES:
  case EPERM:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: no permission; become a member of its group: usermod -aG %s YOU, as root, then log in again",
                   p->name, group_of(p->name));
  case EBUSY:
  case EWOULDBLOCK:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: busy; another program has it open: close that one (fuser %s names it)", p->name,
                   p->name);
  case EIO:
  case ENXIO:
  case ENODEV:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: unplugged; plug it in again", p->name);
  default:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: cannot %s: %s", p->name, what,
                   os ? strerror(os) : "not supported");
  }
}

static lu_status gone(const serial *p, lu_err *err)
{
  return port_error(p, "read", EIO, err);
}

static lu_status serial_read(void *self, uint8_t *to, size_t room, unsigned timeout_ms, size_t *got,
                             lu_err *err)
{
  serial *p = self;
  *got = 0;
  /* Not the library's own wait: after an unplug that burns the processor until the timeout. */
  struct pollfd w = {.fd = p->fd, .events = POLLIN};
  int n = poll(&w, 1, (int)timeout_ms);
  if (n < 0 && errno != EINTR)
    return port_error(p, "wait", errno, err);
  if (n <= 0) {
    /* An unplugged port may look like a silent one: ask. */
    if (p->f.sp_input_waiting(p->port) < 0 && errno == EIO)
      return gone(p, err);
    return LU_OK;
  }
  errno = 0;
  int r = p->f.sp_nonblocking_read(p->port, to, room);
  int os = errno;
  if (r < 0)
    return port_error(p, "read", os, err);
  *got = (size_t)r;
  if (r == 0 && (w.revents & (POLLHUP | POLLERR)))
    return gone(p, err);
  return LU_OK;
}

/* Waits for the other side's CTS, which a write would wait for as well without saying so. */
static lu_status clear_to_send(const serial *p, unsigned timeout_ms, lu_err *err)
{
  uint64_t end = lu_clock_us(NULL) + (uint64_t)timeout_ms * 1000;
  enum sp_signal on = SP_SIG_CTS;
  while (p->flow == LU_FLOW_RTS && p->f.sp_get_signals(p->port, &on) == SP_OK && !(on & SP_SIG_CTS)) {
    if (lu_clock_us(NULL) >= end)
      return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                     "%s: CTS stays off: the other side holds the line, or that wire is missing (--flow none does without)",
                     p->name);
    lu_clock_pause(NULL, 5);
  }
  return LU_OK;
}

static lu_status serial_write(void *self, const uint8_t *at, size_t len, unsigned timeout_ms,
                              lu_err *err)
{
  serial *p = self;
  lu_status s = clear_to_send(p, timeout_ms, err);
  if (s != LU_OK)
    return s;
  errno = 0;
  int r = p->f.sp_blocking_write(p->port, at, len, timeout_ms ? timeout_ms : 1);
  int os = errno;
  if (r < 0)
    return port_error(p, "write", os, err);
  if ((size_t)r < len)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: only %d of %zu bytes went out in %u ms; is the other side holding the flow?",
                   p->name, r, len, timeout_ms);
  return LU_OK;
}

/* libserialport 0.1.1 puts CRTSCTS among the input flags, where it does nothing, and lets every byte that comes in end an
 * XOFF (IXANY), so that a device's own echo would. To be called after each change that it makes. */
static void true_flow(const serial *p)
{
  struct termios t;
  if (tcgetattr(p->fd, &t))
    return;
  t.c_iflag &= ~(tcflag_t)IXANY;
  t.c_cflag &= ~(tcflag_t)CRTSCTS;
  t.c_cflag |= p->flow == LU_FLOW_RTS ? (tcflag_t)CRTSCTS : 0;
  tcsetattr(p->fd, TCSANOW, &t);
}

static lu_status serial_rate(void *self, uint32_t baud, lu_err *err)
{
  serial *p = self;
  errno = 0;
  enum sp_return r = p->f.sp_set_baudrate(p->port, (int)baud);
  int os = errno;
  true_flow(p);
  if (r == SP_OK)
    return LU_OK;
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: does not go to %u baud: %s", p->name, baud,
                 os ? strerror(os) : "not supported");
}

static void serial_close(void *self)
{
  serial *p = self;
  if (p->port) {
    p->f.sp_close(p->port);
    p->f.sp_free_port(p->port);
  }
  free(p);
}

static lu_status set_line(serial *p, const lu_line *l, lu_err *err)
{
  enum sp_parity parity = l->parity == 'e'   ? SP_PARITY_EVEN
                          : l->parity == 'o' ? SP_PARITY_ODD
                                             : SP_PARITY_NONE;
  enum sp_flowcontrol flow = l->flow == LU_FLOW_RTS   ? SP_FLOWCONTROL_RTSCTS
                             : l->flow == LU_FLOW_XON ? SP_FLOWCONTROL_XONXOFF
                                                      : SP_FLOWCONTROL_NONE;
  lu_status s = serial_rate(p, l->baud, err);
  if (s != LU_OK)
    return s;
  errno = 0;
  if (p->f.sp_set_bits(p->port, (int)l->data_bits) != SP_OK ||
      p->f.sp_set_parity(p->port, parity) != SP_OK ||
      p->f.sp_set_stopbits(p->port, (int)l->stop_bits) != SP_OK ||
      p->f.sp_set_flowcontrol(p->port, flow) != SP_OK)
    return port_error(p, "set the line's format", errno, err);
  p->flow = l->flow;
  true_flow(p);
  p->f.sp_flush(p->port, SP_BUF_INPUT);
  return LU_OK;
}

static lu_status open_port(serial *p, const lu_line *line, lu_err *err)
{
  enum sp_return r = p->f.sp_get_port_by_name(p->name, &p->port);
  if (r == SP_ERR_ARG)
    return no_such_port(p->name, err);
  if (r != SP_OK)
    return port_error(p, "find", errno, err);
  errno = 0;
  r = p->f.sp_open(p->port, SP_MODE_READ_WRITE);
  int os = errno;
  if (r != SP_OK && os == ENOENT)
    return no_such_port(p->name, err);
  if (r != SP_OK) {
    p->f.sp_free_port(p->port);
    p->port = NULL;
    return port_error(p, "open", os, err);
  }
  if (p->f.sp_get_port_handle(p->port, &p->fd) != SP_OK)
    return port_error(p, "open", errno, err);
  if (flock(p->fd, LOCK_EX | LOCK_NB) < 0 && errno == EWOULDBLOCK)
    return port_error(p, "open", EBUSY, err);
  return set_line(p, line, err);
}

lu_status lu_serial_open(const char *port, const lu_line *line, lu_transport *out, lu_err *err)
{
  serial *p = calloc(1, sizeof *p);
  if (!p)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a port");
  size_t len = strlen(port);
  memcpy(p->name, port, len < sizeof p->name ? len : sizeof p->name - 1);
  lu_status s = load(&p->f, err);
  if (s == LU_OK)
    s = open_port(p, line, err);
  if (s != LU_OK) {
    serial_close(p);
    return s;
  }
  *out = (lu_transport){p, p->name, serial_read, serial_write, serial_rate, lu_clock_us,
                        lu_clock_pause, serial_close};
  return LU_OK;
}

#else

static lu_status not_built(lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "built without libserialport: no serial ports");
}

lu_status lu_serial_list(lu_arena *mem, lu_port **out, size_t *count, lu_err *err)
{
  (void)mem;
  (void)out;
  (void)count;
  return not_built(err);
}

lu_status lu_serial_open(const char *port, const lu_line *line, lu_transport *out, lu_err *err)
{
  (void)port;
  (void)line;
  (void)out;
  return not_built(err);
}

#endif
