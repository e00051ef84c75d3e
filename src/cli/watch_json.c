/* SPDX-License-Identifier: MIT */
#include "cli/watch.h"

#include <jansson.h>
#include <stdlib.h>

static json_t *line_json(const lu_watch *w, size_t i)
{
  const lu_activity_line *l = &w->lines[i];
  double seconds = lu_activity_seconds(w->activity), all = (double)(l->low + l->high + l->x + l->z);
  char level[2] = {l->level, '\0'}, text[200];
  lu_watch_sign_text(w, i, text, sizeof text);
  if (!(all > 0))
    all = 1;
  json_t *o = json_object();
  json_object_set_new(o, "name", json_string(lu_watch_line_name(w, l)));
  json_object_set_new(o, "path", json_string(w->cap->signals[l->signal].path));
  json_object_set_new(o, "moves", json_boolean(l->moves));
  json_object_set_new(o, "level", json_string(level));
  json_object_set_new(o, "toggles", json_integer((json_int_t)l->toggles));
  json_object_set_new(o, "rate_hz",
                      seconds > 0 ? json_real((double)l->toggles / 2 / seconds) : json_null());
  json_object_set_new(o, "high", json_real((double)l->high / all));
  json_object_set_new(o, "floating", json_real((double)l->z / all));
  json_object_set_new(o, "unknown", json_real((double)l->x / all));
  json_object_set_new(o, "glitches", json_integer((json_int_t)l->glitches));
  json_object_set_new(o, "equal_to",
                      l->same < 0 ? json_null()
                                  : json_string(lu_watch_line_name(w, &w->lines[l->same])));
  json_object_set_new(o, "opposite_to",
                      l->opposite < 0 ? json_null()
                                      : json_string(lu_watch_line_name(w, &w->lines[l->opposite])));
  json_object_set_new(o, "sign", json_string(lu_watch_sign_name(w->signs[i])));
  json_object_set_new(o, "text", json_string(text));
  return o;
}

static json_t *trouble_json(uint64_t count, int64_t first)
{
  return json_pack("{s:I,s:I}", "count", (json_int_t)count, "first_tick", (json_int_t)first);
}

static json_t *cycles_json(const lu_watch *w)
{
  const lu_cycle_counts *n = lu_cycles_counts(w->bus);
  static const char *const keys[] = {"reads",       "writes",        "late_writes",
                                     "read_writes", "row_refreshes", "auto_refreshes"};
  json_t *o = json_object();
  for (int k = 0; k < LU_CYCLE_KINDS; k++)
    json_object_set_new(o, keys[k], json_integer((json_int_t)n->kinds[k]));
  json_object_set_new(o, "both_active", trouble_json(n->both, n->first_both));
  json_object_set_new(o, "address_moved", trouble_json(n->address_moved, n->first_address_moved));
  json_object_set_new(o, "address_late", trouble_json(n->address_late, n->first_address_late));
  json_object_set_new(o, "data_late", trouble_json(n->data_late, n->first_data_late));
  json_object_set_new(o, "undecided", trouble_json(n->undecided, n->first_undecided));
  return o;
}

static json_t *memory_json(const lu_watch *w)
{
  const lu_shadow_counts *n = lu_shadow_counted(w->shadow);
  size_t count, passages;
  const lu_shadow_miss *e = lu_shadow_misses(w->shadow, &count);
  const lu_passage *p = lu_passages_end(w->passages, &passages);
  json_t *o = json_object(), *list = json_array(), *runs = json_array();
  json_object_set_new(o, "reads", json_integer((json_int_t)n->reads));
  json_object_set_new(o, "checked", json_integer((json_int_t)n->checked));
  json_object_set_new(o, "differ", json_integer((json_int_t)n->differed));
  for (size_t i = 0; i < count; i++)
    json_array_append_new(list, json_pack("{s:I,s:I,s:I,s:I,s:I}", "tick", (json_int_t)e[i].time,
                                          "address", (json_int_t)e[i].address, "expected",
                                          (json_int_t)e[i].expected, "got", (json_int_t)e[i].got,
                                          "known", (json_int_t)e[i].known));
  json_object_set_new(o, "failures", list);
  for (size_t i = 0; i < passages; i++)
    json_array_append_new(runs, json_pack("{s:s,s:s,s:I,s:I,s:I,s:I}", "does",
                                          p[i].writes ? "writes" : "reads", "pattern",
                                          lu_passage_rule_name(p[i].rule), "first",
                                          (json_int_t)p[i].first, "last", (json_int_t)p[i].last,
                                          "step", (json_int_t)p[i].step, "count",
                                          (json_int_t)p[i].count));
  json_object_set_new(o, "passages", runs);
  return o;
}

static json_t *refresh_json(const lu_watch *w)
{
  const lu_refresh_report *r = &w->refreshed;
  return json_pack("{s:i,s:i,s:i,s:i,s:f,s:f}", "rows", (int)r->rows, "late", (int)r->late, "never",
                   (int)r->never, "worst_row", (int)r->worst_row, "worst_ms",
                   (double)r->worst * w->cap->tick_s * 1e3, "watched_ms",
                   (double)r->watched * w->cap->tick_s * 1e3);
}

lu_status lu_watch_json(lu_watch *w, lu_err *err)
{
  json_t *o = json_object(), *lines = json_array(), *notes = json_array();
  json_object_set_new(o, "lineup", json_string(LU_VERSION));
  json_object_set_new(o, "verdict", json_string(lu_watch_trouble(w) ? "faulty" : "clean"));
  json_object_set_new(o, "capture",
                      json_pack("{s:s,s:I,s:f,s:I,s:I}", "format", w->cap->format, "signals",
                                (json_int_t)w->cap->signal_count, "tick_s", w->cap->tick_s,
                                "first_tick", (json_int_t)w->first, "last_tick", (json_int_t)w->last));
  for (size_t i = 0; i < w->line_count; i++)
    if (!w->hidden[i])
      json_array_append_new(lines, line_json(w, i));
  json_object_set_new(o, "lines", lines);
  json_object_set_new(o, "cycles", w->bus ? cycles_json(w) : json_null());
  json_object_set_new(o, "refresh", w->refresh ? refresh_json(w) : json_null());
  json_object_set_new(o, "memory", w->shadow ? memory_json(w) : json_null());
  for (size_t i = 0; i < w->reader.notes.count; i++)
    json_array_append_new(notes, json_string(w->reader.notes.at[i].text));
  json_object_set_new(o, "notes", notes);
  char *text = json_dumps(o, JSON_INDENT(1));
  json_decref(o);
  if (!text)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the JSON");
  fprintf(w->run->out, "%s\n", text);
  free(text);
  return LU_OK;
}
