/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "cli/record.h"

#include "report/report.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void put_text(json_t *o, const char *key, const char *text)
{
  if (text)
    json_object_set_new(o, key, json_string(text));
}

static const char *dump_words(lu_bench *b, const lu_record *r, size_t files)
{
  const char *names = "";
  for (size_t i = 0; i < r->count && names; i++)
    names = lu_arena_printf(b->s->mem, "%s%s%s", names, i ? ", " : "", r->readings[i].name);
  const lu_reading_args *a = r->args;
  const char *what = a->expect ? a->expect : a->wrote;
  const char *how = r->run ? "as listed in" : a->expect ? "expected:" : a->wrote ? "written:" : "nothing known of the contents";
  return lu_arena_printf(b->s->mem, "%s read, %zu file%s, %s %s", names ? names : "?", files, files == 1 ? "" : "s", how, r->run ? r->run : what ? what : "");
}

lu_status lu_record_dump(lu_bench *b, const lu_record *r, uint64_t *id)
{
  size_t count;
  const lu_reading_args *a = r->args;
  lu_job_file *files = lu_bench_files(b->s, r->first_file, r->dumps, r->run ? "run" : "contents", &count);
  json_t *body = json_object(), *dumps = json_array();
  if (!files || !body)
    return lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  put_text(body, "block", a->block);
  put_text(body, "vantage", a->vantage);
  put_text(body, "at", a->at);
  put_text(body, "expect", a->expect);
  put_text(body, "wrote", a->wrote);
  put_text(body, "log", a->log);
  put_text(body, "byte_order", a->order);
  put_text(body, "run", r->run);
  if (a->width)
    json_object_set_new(body, "width", json_integer((json_int_t)a->width));
  for (size_t i = 0; i < r->dumps->count; i++)
    json_array_append_new(dumps, json_string(r->dumps->at[i]));
  json_object_set_new(body, "dumps", dumps);
  return lu_bench_add(b, "dump", dump_words(b, r, count), body, files, count, id);
}

/* Pins of a net that the readings depend on, and those of them that drive it. */
static json_t *pin_list(const lu_joint *j, uint16_t net, uint64_t places)
{
  json_t *a = json_array();
  const lu_jnet *n = &j->nets[net];
  for (uint64_t m = places; m; m &= m - 1) {
    unsigned place = (unsigned)__builtin_ctzll(m);
    for (size_t r = 0; r < j->look_count; r++) {
      const lu_network *w = j->looks[r].evidence->network;
      if (n->local[r] == UINT16_MAX || place >= w->nets[n->local[r]].pin_count)
        continue;
      uint32_t pin = w->pins[w->net_pins[w->nets[n->local[r]].first_pin + place]].pin;
      if (pin != LU_NONE)
        json_array_append_new(a, json_string(j->board->pins[pin].name));
      break;
    }
  }
  return a;
}

static json_t *net_list(const lu_result *r)
{
  json_t *a = json_array();
  for (size_t i = 0; i < r->suspect_count; i++) {
    if (r->suspects[i].net == UINT16_MAX)
      continue;
    uint16_t net = r->suspects[i].net;
    const lu_jnet *n = &r->joint->nets[net];
    if (n->net == LU_NONE)
      continue;
    json_array_append_new(a, json_pack("{s:s,s:o,s:o}", "net", r->joint->board->nets[n->net].name, "pins",
                                       pin_list(r->joint, net, n->interest), "drivers",
                                       pin_list(r->joint, net, n->interest & n->drivers)));
  }
  return a;
}

struct json_t *lu_record_finding_json(const lu_finding *f)
{
  char *text = NULL;
  size_t len = 0;
  json_error_t je;
  json_t *o = NULL;
  FILE *to = open_memstream(&text, &len);
  if (to && lu_report_json(to, f) && fclose(to) == 0)
    o = json_loadb(text, len, 0, &je);
  free(text);
  return o;
}

static const char *result_words(lu_bench *b, const lu_finding *f)
{
  if (!f->suspect_count)
    return lu_arena_printf(b->s->mem, "%s: %s", f->verdict, f->reason ? f->reason : "");
  const lu_said_suspect *x = &f->suspects[0];
  return lu_arena_printf(b->s->mem, "%s: %s, %.0f %%; %zu suspect%s in all", f->verdict, x->net ? x->net : x->part, 100 * x->probability,
                         f->suspect_count, f->suspect_count == 1 ? "" : "s");
}

lu_status lu_record_result(lu_bench *b, const lu_record *r, uint64_t dump, const lu_result *result, const lu_finding *f)
{
  json_t *finding = lu_record_finding_json(f), *blocks = json_array();
  if (!finding || !blocks)
    return lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < r->count; i++) {
    const lu_network *n = r->readings[i].evidence.network;
    const char *from = n->board->vantages[n->vantage].name;
    char *name = lu_arena_printf(b->s->mem, "%s from %s", r->readings[i].name, from ? from : "?");
    json_array_append_new(blocks, json_string(name ? name : "?"));
  }
  json_t *body = json_pack("{s:I,s:o,s:o,s:o}", "of", (json_int_t)dump, "blocks", blocks, "nets", net_list(result), "finding", finding);
  return lu_bench_add(b, "result", result_words(b, f), body, NULL, 0, NULL);
}
