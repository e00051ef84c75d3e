/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_SESSION_H
#define LU_CLI_SESSION_H
/* A session (api/session.h) of a command. */
#include "api/session.h"
#include "cli/cmd.h"

/* In run->mem; NULL if memory is refused. */
lu_session *lu_session_new(lu_run *run);

#endif
