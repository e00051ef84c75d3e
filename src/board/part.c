/* SPDX-License-Identifier: MIT */
#include "board/part.h"

#include "base/text.h"
#include "board/function.h"
#include "board/parts/parts.h"

#include <ctype.h>
#include <string.h>

const lu_part_type *const lu_part_types[] = {
#define LU_PART(id) &lu_part_##id,
#include "board/parts/parts.def"
#undef LU_PART
};
const size_t lu_part_type_count = sizeof lu_part_types / sizeof *lu_part_types;

const lu_part_type *lu_part_named(const char *name)
{
  for (size_t i = 0; i < lu_part_type_count; i++)
    if (lu_text_same(lu_part_types[i]->name, name))
      return lu_part_types[i];
  return NULL;
}

int lu_part_pin_by_number(const lu_part_type *type, const char *number)
{
  for (int i = 0; i < type->pin_count; i++)
    if (lu_text_same(type->pins[i].number, number))
      return i;
  return -1;
}

bool lu_pin_address(const lu_part_pin *pin, int *bit)
{
  if (pin->role == LU_ROLE_ADDRESS) {
    *bit = pin->index;
    return true;
  }
  if (pin->role != LU_ROLE_DATA)
    return false;
  const char *f = pin->function;
  size_t len = strlen(f);
  if ((f[0] == 'A' || f[0] == 'a') && (f[1] == 'D' || f[1] == 'd') &&
      isdigit((unsigned char)f[2])) {
    *bit = pin->index;
    return true;
  }
  if (len > 4 && lu_text_same(f + len - 4, "/A-1")) {
    *bit = -1;
    return true;
  }
  return false;
}

/* Whether one of the names in "A16/S3" or "PHI2(out)" is the plain name wanted. */
static bool one_of_names(const char *plain, const char *wanted)
{
  size_t want = strlen(wanted);
  for (const char *at = plain; *at;) {
    size_t len = strcspn(at, "/(");
    if (len == want && memcmp(at, wanted, len) == 0)
      return true;
    at += len;
    if (*at == '(')
      break;
    at += *at == '/';
  }
  return false;
}

/* "A3" or "D3" for a pin "AD3". */
static bool shared_pin(const char *plain, const char *wanted)
{
  return plain[0] == 'A' && plain[1] == 'D' && isdigit((unsigned char)plain[2]) &&
         (wanted[0] == 'A' || wanted[0] == 'D') && strcmp(plain + 2, wanted + 1) == 0;
}

int lu_part_pin_by_function(const lu_part_type *type, const char *function)
{
  char wanted[LU_FUNCTION_MAX], plain[LU_FUNCTION_MAX];
  bool want_bar, bar;
  if (!lu_function_plain(function, wanted, &want_bar) || !*wanted)
    return -1;
  int found = -1, rank = 0; /* the best so far: 4 exact, 3 but for the bar, 2 one name, 1 shared */
  for (int i = 0; i < type->pin_count && rank < 4; i++) {
    if (!lu_function_plain(type->pins[i].function, plain, &bar))
      continue;
    bool same = strcmp(plain, wanted) == 0;
    int now = same && bar == want_bar       ? 4
              : same                        ? 3
              : one_of_names(plain, wanted) ? 2
              : shared_pin(plain, wanted)   ? 1
                                            : 0;
    if (now > rank)
      rank = now, found = i;
  }
  return found;
}
