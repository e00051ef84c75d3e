/* SPDX-License-Identifier: MIT */
#include "link/inflow.h"

#include <stdlib.h>
#include <string.h>

lu_status lu_inflow_add(lu_inflow *flow, const void *at, size_t len, lu_err *err)
{
  size_t most = flow->most ? flow->most : LU_INFLOW_MOST;
  if (len > most - flow->len)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than %zu bytes came in", most);
  if (len > flow->room - flow->len) {
    size_t room = flow->room ? flow->room * 2 : 4096;
    while (room - flow->len < len)
      room *= 2;
    uint8_t *more = realloc(flow->at, room);
    if (!more)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu bytes from the link", room);
    flow->at = more;
    flow->room = room;
  }
  if (len)
    memcpy(flow->at + flow->len, at, len);
  flow->len += len;
  return LU_OK;
}

void lu_inflow_free(lu_inflow *flow)
{
  free(flow->at);
  *flow = (lu_inflow){.most = flow->most};
}
