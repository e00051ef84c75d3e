/* SPDX-License-Identifier: MIT */
#include "cli/readingoptions.h"

#include <stdio.h>

const char *lu_reading_misuse(const lu_reading_args *r, const char *run, const lu_texts *dumps, char *room, size_t len)
{
  if (run && (dumps->count || r->log)) {
    snprintf(room, len, "--run lists all the readings; leave out %.100s", dumps->count ? dumps->at[0] : "--log");
    return room;
  }
  if (r->pattern && !r->log)
    return "--pattern belongs to --log: the test pattern whose failures it lists";
  if (r->log && dumps->count)
    return "give either --log or a dump, not both; --run puts several readings together";
  if (r->expect && r->wrote)
    return "give either --expect or --wrote, not both";
  return NULL;
}
