/* SPDX-License-Identifier: MIT */
/* lineup papers: manual pages and shell completions, for packages. Not shown among the commands. */
#include "cli/papers.h"

#include "base/text.h"

#include <string.h>

typedef struct args {
  lu_texts operands;
} args;

static int papers(lu_run *run, void *opaque)
{
  const args *a = opaque;
  const char *what = a->operands.at[0], *name = a->operands.count > 1 ? a->operands.at[1] : NULL;
  static const char *const shells[] = {"bash", "zsh", "fish"};
  if (!strcmp(what, "commands")) {
    for (size_t i = 0; i < lu_command_count; i++)
      if (!lu_commands[i]->hidden)
        fprintf(run->out, "%s\n", lu_commands[i]->name);
    return LU_EXIT_CLEAN;
  }
  if (!strcmp(what, "manual")) {
    const lu_command *c = name ? lu_find_command(name) : NULL;
    if (name && !c)
      return lu_say_usage(run, "papers: no command '%s'", name);
    lu_manual(run->out, c);
    return LU_EXIT_CLEAN;
  }
  if (!strcmp(what, "completion"))
    for (size_t i = 0; i < 3; i++)
      if (name && !strcmp(name, shells[i])) {
        lu_completion(run->out, (lu_shell)i);
        return LU_EXIT_CLEAN;
      }
  static const char *const words[] = {"commands", "manual", "completion"};
  const char *near = strcmp(what, "completion") ? lu_text_nearest(what, words, 3) : name ? lu_text_nearest(name, shells, 3) : NULL;
  return lu_say_usage(run, "papers: expects commands, manual [COMMAND] or completion bash|zsh|fish%s%s", near ? "; the nearest is " : "",
                      near ? near : "");
}

static const char *const examples[] = {
    "lineup papers manual decode",
    "lineup papers completion bash",
    NULL,
};

static const char *const raw[] = {NULL};

const lu_command lu_command_papers = {
    .raw = raw,
    .name = "papers",
    .summary = "manual pages and shell completions, made from the program's own tables",
    .usage = "commands|manual|completion [COMMAND|SHELL]",
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .least_operands = 1,
    .most_operands = 2,
    .examples = examples,
    .hidden = true,
    .run = papers,
};
