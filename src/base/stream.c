/* SPDX-License-Identifier: MIT */
#include "base/stream.h"

#include "base/tally.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Small enough to stay in the second-level cache, large enough to hide the call. */
enum { PIECE = 64 * 1024 };

static lu_status refused(const char *what, const char *path, lu_err *err)
{
  int e = errno;
  lu_status s = e == ENOENT || e == ENOTDIR || e == EISDIR ? LU_ERR_MISSING : LU_ERR_IO;
  s = lu_fail(err, s, 0, 0, "cannot %s: %s", what, strerror(e));
  return lu_fail_source(err, s, path);
}

lu_status lu_stream_read(const char *path, lu_status (*take)(void *to, lu_bytes piece, lu_err *err),
                         void *to, lu_err *err)
{
  bool is_stdin = !strcmp(path, "-");
  int fd = is_stdin ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
  if (fd < 0)
    return refused("open", path, err);
  uint8_t *piece = malloc(PIECE);
  lu_status s = piece ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the input");
  struct stat st;
  lu_tally_begin("bytes read", !fstat(fd, &st) && S_ISREG(st.st_mode) ? (uint64_t)st.st_size : 0);
  while (s == LU_OK) {
    ssize_t n = read(fd, piece, PIECE);
    if (n < 0 && errno == EINTR)
      continue;
    if (n < 0)
      s = refused("read", path, err);
    if (n <= 0)
      break;
    s = take(to, (lu_bytes){piece, (size_t)n}, err);
    lu_tally_add((uint64_t)n);
  }
  lu_tally_end();
  free(piece);
  if (!is_stdin)
    close(fd);
  return lu_fail_source(err, s, path);
}
