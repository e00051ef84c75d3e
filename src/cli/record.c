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
  put_text(body, "pattern", a->pattern);
  put_text(body, "signals", a->signals);
  put_text(body, "byte_order", a->order);
  put_text(body, "run", r->run);
  if (a->width)
    json_object_set_new(body, "width", json_integer((json_int_t)a->width));
  for (size_t i = 0; i < r->dumps->count; i++)
    json_array_append_new(dumps, json_string(r->dumps->at[i]));
  json_object_set_new(body, "dumps", dumps);
  return lu_bench_add(b, "dump", dump_words(b, r, count), body, files, count, id);
}

lu_status lu_record_read(lu_bench *b, const lu_job_entry *dump, lu_reading **out, size_t *count)
{
  lu_session *s = b->s;
  json_error_t je;
  lu_reading_args r = {0};
  const char *run = NULL;
  const char **to[] = {&r.block, &r.vantage, &r.at, &r.expect, &r.wrote, &r.log, &r.pattern, &r.order, &r.signals, &run};
  static const char *const keys[] = {"block", "vantage", "at", "expect", "wrote", "log", "pattern", "byte_order", "signals", "run"};
  lu_texts *t = LU_NEW(s->mem, lu_texts, 1);
  if (!t)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  json_t *how = json_loads(dump->body, 0, &je), *names = json_object_get(how, "dumps");
  for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
    const char *v = json_string_value(json_object_get(how, keys[i]));
    *to[i] = v ? lu_arena_printf(s->mem, "%s", v) : NULL;
  }
  for (size_t i = 0; i < json_array_size(names) && i < LU_TEXTS_MOST; i++) {
    const char *v = json_string_value(json_array_get(names, i));
    t->at[t->count++] = lu_arena_printf(s->mem, "%s", v ? v : "");
  }
  r.width = (uint64_t)json_integer_value(json_object_get(how, "width"));
  json_decref(how);
  b->focus = dump;
  *count = 1;
  return run ? lu_readings_of_run(s, run, out, count) : lu_readings_of_args(s, &r, t, out);
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

/* --- what repairs should have cured ------------------------------------------------------------------------ */

static const double still_share = 0.05;

static json_t *block_list(lu_bench *b, const lu_record *r)
{
  json_t *blocks = json_array();
  for (size_t i = 0; i < r->count; i++) {
    const lu_network *n = r->readings[i].evidence.network;
    const char *from = n->board->vantages[n->vantage].name;
    char *name = lu_arena_printf(b->s->mem, "%s from %s", r->readings[i].name, from ? from : "?");
    json_array_append_new(blocks, json_string(name ? name : "?"));
  }
  return blocks;
}

static bool share_a_block(json_t *a, json_t *b)
{
  for (size_t i = 0; i < json_array_size(a); i++)
    for (size_t k = 0; k < json_array_size(b); k++)
      if (json_equal(json_array_get(a, i), json_array_get(b, k)))
        return true;
  return false;
}

/* The readings can say something of the net. */
static bool reads_through(const lu_record *r, const char *net)
{
  for (size_t i = 0; i < r->count; i++) {
    const lu_network *n = r->readings[i].evidence.network;
    for (size_t k = 0; k < n->net_count; k++)
      if (n->nets[k].net != LU_NONE && !strcmp(n->board->nets[n->nets[k].net].name, net))
        return true;
  }
  return false;
}

static double suspicion(const lu_finding *f, const char *net)
{
  for (size_t i = 0; i < f->suspect_count; i++)
    if (f->suspects[i].net && !strcmp(f->suspects[i].net, net))
      return f->suspects[i].probability;
  return 0;
}

static const char *hold_repair(lu_bench *b, const lu_record *r, const lu_finding *f, const lu_job_entry *repair, const json_t *nets,
                               json_t *list, const char *text)
{
  json_t *cured = json_array(), *left = json_array();
  for (size_t i = 0; i < json_array_size(nets) && text; i++) {
    const char *net = json_string_value(json_array_get(nets, i));
    double p = net ? suspicion(f, net) : 0;
    if (!net || !reads_through(r, net) || (p < still_share && !strcmp(f->verdict, "unknown")))
      continue;
    json_array_append_new(p < still_share ? cured : left, json_string(net));
    text = lu_arena_printf(b->s->mem, p < still_share ? "%s  Repair %llu (%s) should cure %s: it did.\n" : "%s  Repair %llu (%s) should cure %s: it did not, still suspected with %.0f %%.\n",
                           text, (unsigned long long)repair->id, repair->text, net, 100 * p);
  }
  if (json_array_size(cured) || json_array_size(left))
    json_array_append_new(list, json_pack("{s:I,s:O,s:O}", "repair", (json_int_t)repair->id, "cured", cured, "not_cured", left));
  json_decref(cured);
  json_decref(left);
  return text;
}

/* Repairs since one of the blocks was last read, oldest first, against what is found now. */
static json_t *hold_repairs(lu_bench *b, const lu_record *r, const lu_finding *f, json_t *blocks, const char **text)
{
  json_t *list = json_array();
  size_t from = b->count;
  bool read_before = false;
  while (from > 0 && !read_before) {
    json_error_t je;
    const lu_job_entry *e = &b->entries[--from];
    json_t *body = strcmp(e->kind, "result") ? NULL : json_loads(e->body, 0, &je);
    read_before = share_a_block(json_object_get(body, "blocks"), blocks);
    json_decref(body);
  }
  *text = "";
  for (size_t i = from; i < b->count && *text; i++) {
    json_error_t je;
    if (strcmp(b->entries[i].kind, "repair"))
      continue;
    json_t *body = json_loads(b->entries[i].body, 0, &je);
    *text = hold_repair(b, r, f, &b->entries[i], json_object_get(body, "should_cure"), list, *text);
    json_decref(body);
  }
  return list;
}

static const char *result_words(lu_bench *b, const lu_finding *f)
{
  if (!f->suspect_count)
    return lu_arena_printf(b->s->mem, "%s: %s", f->verdict, f->reason ? f->reason : "");
  const lu_said_suspect *x = &f->suspects[0];
  return lu_arena_printf(b->s->mem, "%s: %s, %.0f %%; %zu suspect%s in all", f->verdict, x->net ? x->net : x->part, 100 * x->probability,
                         f->suspect_count, f->suspect_count == 1 ? "" : "s");
}

static const char *with_repairs(lu_bench *b, const char *text, const json_t *repairs)
{
  for (size_t i = 0; i < json_array_size(repairs) && text; i++) {
    const json_t *r = json_array_get(repairs, i);
    bool left = json_array_size(json_object_get(r, "not_cured")) > 0;
    text = lu_arena_printf(b->s->mem, "%s; repair %lld %s", text, (long long)json_integer_value(json_object_get(r, "repair")), left ? "did not cure it" : "did what it should");
  }
  return text;
}

lu_status lu_record_result(lu_bench *b, const lu_record *r, uint64_t dump, const lu_result *result, const lu_finding *f,
                           const char **held)
{
  const char *text = NULL;
  json_t *finding = lu_record_finding_json(f), *blocks = block_list(b, r);
  if (!finding || !blocks)
    return lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  json_t *repairs = hold_repairs(b, r, f, blocks, &text);
  const char *words = with_repairs(b, result_words(b, f), repairs);
  json_t *body = json_pack("{s:I,s:o,s:o,s:o}", "of", (json_int_t)dump, "blocks", blocks, "nets", net_list(result), "finding", finding);
  if (held)
    *held = text && *text ? text : NULL;
  if (json_array_size(repairs))
    json_object_set(body, "repairs", repairs);
  json_decref(repairs);
  return lu_bench_add(b, "result", words, body, NULL, 0, NULL);
}
