/* SPDX-License-Identifier: MIT */
#include "cli/session.h"

lu_session *lu_session_new(lu_run *run)
{
  lu_session *s = lu_session_begin(run->mem);
  if (s)
    s->run = run;
  return s;
}
