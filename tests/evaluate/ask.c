/* SPDX-License-Identifier: MIT */
#include "ask.h"

#include "cli/cmd.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

ev_answer ev_ask(const char *const *argv)
{
  ev_answer a = {.status = -1, .verdict = ""};
  char *args[40], *text = NULL;
  size_t len = 0, count = 0;
  FILE *out = open_memstream(&text, &len);
  for (; argv[count] && count < 39; count++)
    args[count] = (char *)(uintptr_t)argv[count];
  args[count] = NULL;
  clock_t start = clock();
  if (out)
    a.status = lu_main((int)count, args, out, stderr);
  a.seconds = (double)(clock() - start) / CLOCKS_PER_SEC;
  if (out)
    fclose(out);
  json_error_t error;
  a.json = text ? json_loadb(text, len, 0, &error) : NULL;
  const char *verdict = json_string_value(json_object_get(a.json, "verdict"));
  if (verdict)
    a.verdict = verdict;
  free(text);
  return a;
}

void ev_answer_end(ev_answer *a)
{
  json_decref(a->json);
  a->json = NULL;
}

size_t ev_place(const ev_answer *a, const char *name, bool nets_only)
{
  json_t *list = json_object_get(a->json, "suspects"), *x;
  size_t i, place = 0;
  json_array_foreach(list, i, x)
  {
    const char *net = json_string_value(json_object_get(x, "net"));
    const char *part = json_string_value(json_object_get(x, "part"));
    place += net || !nets_only;
    if ((net && !strcmp(net, name)) || (!net && part && !strcmp(part, name)))
      return place;
  }
  return 0;
}

static void append(char *to, const char *between, const json_t *word)
{
  size_t n = strlen(to);
  if (json_string_value(word))
    snprintf(to + n, EV_WORDS_LEN - n, "%s%s", between, json_string_value(word));
}

static void fault_words(const json_t *f, char *to)
{
  static const char *const last[] = {"level", "acts", "lost"};
  json_t *x;
  size_t i;
  *to = 0;
  append(to, "", json_object_get(f, "kind"));
  append(to, " ", json_object_get(f, "net"));
  json_array_foreach(json_object_get(f, "nets"), i, x)
    append(to, " ", x);
  append(to, " ", json_object_get(f, "part"));
  json_array_foreach(json_object_get(f, "cut_off"), i, x)
    append(to, i ? "," : " ", x);
  for (i = 0; i < 3; i++)
    append(to, " ", json_object_get(f, last[i]));
}

size_t ev_explanation(const ev_answer *a, size_t i, size_t most, char (*words)[EV_WORDS_LEN])
{
  json_t *e = json_array_get(json_object_get(a->json, "explanations"), i), *list = json_object_get(e, "faults"), *x;
  size_t k, n = json_array_size(list);
  if (!e || n > most || json_number_value(json_object_get(e, "explained")) < 0.9995)
    return 0;
  json_array_foreach(list, k, x)
    fault_words(x, words[k]);
  return n;
}
