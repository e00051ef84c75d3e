/* SPDX-License-Identifier: MIT */
/* The reader's firmware on a simulated chip, its line on a Unix socket: for a virtual machine's emulated FTDI chip.
 *
 *   sock_bed [-u BYTES] SOCKET FIRMWARE.elf
 *
 * Connects to the socket (retrying for 20 s), and ends when the other side closes it. -u: closes it itself after so
 * many bytes and connects anew two seconds later: to the machine at the other end, unplugged and plugged in again. Memory word
 * i holds i * 5 + i / 256; it is a ROM. */
#include "avrbed.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static int fd;
static uint8_t batch[4096];
static size_t batch_len;
static long unplug_after = -1;

static void pause_ms(long ms)
{
  nanosleep(&(struct timespec){ms / 1000, ms % 1000 * 1000000}, NULL);
}

static bool send_all(void)
{
  for (size_t i = 0; i < batch_len;) {
    size_t most = unplug_after > 0 && (size_t)unplug_after < batch_len - i ? (size_t)unplug_after : batch_len - i;
    ssize_t n = write(fd, batch + i, most);
    if (n > 0) {
      i += (size_t)n;
      unplug_after -= unplug_after > 0 ? n : 0;
      if (!unplug_after)
        break;
    } else if (errno == EAGAIN) {
      pause_ms(1);
    } else if (errno != EINTR) {
      return false;
    }
  }
  batch_len = 0;
  return true;
}

static void collect(void *to, uint8_t byte)
{
  (void)to;
  if (batch_len == sizeof batch && !send_all())
    batch_len = 0;
  batch[batch_len++] = byte;
}

static bool dial(const char *path)
{
  struct sockaddr_un a = {.sun_family = AF_UNIX};
  if (strlen(path) >= sizeof a.sun_path)
    return false;
  memcpy(a.sun_path, path, strlen(path) + 1);
  fd = socket(AF_UNIX, SOCK_STREAM, 0);
  for (unsigned i = 0; i < 1000; i++, pause_ms(20))
    if (connect(fd, (struct sockaddr *)&a, sizeof a) == 0)
      return fcntl(fd, F_SETFL, O_NONBLOCK) == 0;
  return false;
}

int main(int argc, char **argv)
{
  for (int o; (o = getopt(argc, argv, "+u:")) != -1;)
    if (o != 'u' || (unplug_after = atol(optarg)) < 1)
      return 2;
  argv += optind - 1;
  if (argc != optind + 2 || !bed_start(argv[2], BED_ROM))
    return 2;
  for (uint32_t a = 0; a < BED_WORDS; a++)
    bed.memory[a] = (uint8_t)(a * 5 + (a >> 8));
  if (!dial(argv[1])) {
    fprintf(stderr, "sock_bed: nobody at %s\n", argv[1]);
    return 2;
  }
  for (unsigned quiet = 0;;) {
    struct pollfd w = {fd, POLLIN, 0};
    uint8_t in[512];
    /* a chip that has said nothing for long waits for the host: do not burn the processor */
    int ready = poll(&w, 1, quiet < 2000 ? 0 : 20);
    ssize_t n = ready > 0 ? read(fd, in, sizeof in) : -1;
    if (ready > 0 && (n == 0 || (n < 0 && errno != EAGAIN && errno != EINTR)))
      break;
    for (ssize_t i = 0; i < n; i++)
      bed_hear(in[i]);
    if (quiet < 2000 || n > 0)
      bed_run(16000, collect, NULL);
    quiet = n > 0 || batch_len ? 0 : quiet + 1;
    if (!send_all())
      break;
    if (!unplug_after) {
      unplug_after = -1;
      pause_ms(500); /* what is on its way arrives */
      close(fd);
      pause_ms(2000);
      if (!dial(argv[1]))
        break;
    }
  }
  bed_end();
  return 0;
}
