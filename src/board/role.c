/* SPDX-License-Identifier: MIT */
/* What a pin does, from its name alone. */
#include "base/text.h"
#include "board/function.h"
#include "board/part.h"

#include <ctype.h>
#include <limits.h>
#include <string.h>

bool lu_function_plain(const char *function, char out[LU_FUNCTION_MAX], bool *barred)
{
  size_t n = 0;
  bool bar = false, fits = true;
  const char *at = function;
  if (at[0] == 'n' && isupper((unsigned char)at[1]))
    bar = true, at++;
  for (; *at; at++) {
    unsigned char c = (unsigned char)*at;
    if (strncmp(at, "{slash}", 7) == 0)
      c = '/', at += 6;
    if (strchr("~#*!\\", c)) {
      bar = true;
      at += c == '\\' && at[1] == '_'; /* \_CE\_ */
      continue;
    }
    if (isspace(c) || c == '{' || c == '}')
      continue;
    if (n + 1 == LU_FUNCTION_MAX) {
      fits = false;
      break;
    }
    out[n++] = (char)toupper(c);
  }
  size_t first = 0;
  if (n > 1 && (out[0] == '/' || (out[0] == '-' && !isdigit((unsigned char)out[1]))))
    bar = true, first = 1;
  if (n - first > 1 && (out[n - 1] == '-' || out[n - 1] == '/'))
    bar = true, n--;
  else if (n - first > 2 && out[n - 2] == '_' && out[n - 1] == 'N')
    bar = true, n -= 2;
  n -= first;
  memmove(out, out + first, n);
  out[n] = '\0';
  *barred = bar;
  return fits;
}

bool lu_function_same(const char *a, const char *b)
{
  char x[LU_FUNCTION_MAX], y[LU_FUNCTION_MAX];
  bool bar;
  if (!lu_function_plain(a, x, &bar) || !lu_function_plain(b, y, &bar) || !*x)
    return lu_text_same(a, b);
  return strcmp(x, y) == 0;
}

typedef struct word {
  const char *name;
  lu_pin_role role;
} word;

/* Names with a number: A0, DQ3, I/O1. */
static const word numbered[] = {
    {"A",    LU_ROLE_ADDRESS      },
    {"D",    LU_ROLE_DATA         },
    {"DQ",   LU_ROLE_DATA         },
    {"IO",   LU_ROLE_DATA         },
    {"I/O",  LU_ROLE_DATA         },
    {"AD",   LU_ROLE_DATA         },
    {"Q",    LU_ROLE_DATA_OUT     },
    {"O",    LU_ROLE_DATA_OUT     },
    {"DO",   LU_ROLE_DATA_OUT     },
    {"DOUT", LU_ROLE_DATA_OUT     },
    {"DI",   LU_ROLE_DATA_IN      },
    {"DIN",  LU_ROLE_DATA_IN      },
    {"RAS",  LU_ROLE_RAS          },
    {"CAS",  LU_ROLE_CAS          },
    {"WE",   LU_ROLE_WRITE        },
    {"OE",   LU_ROLE_OUTPUT_ENABLE},
    {"G",    LU_ROLE_OUTPUT_ENABLE},
    {"CE",   LU_ROLE_SELECT       },
    {"CS",   LU_ROLE_SELECT       },
    {"E",    LU_ROLE_SELECT       },
    {"S",    LU_ROLE_SELECT       },
    {"VCC",  LU_ROLE_SUPPLY       },
    {"VDD",  LU_ROLE_SUPPLY       },
    {"GND",  LU_ROLE_GROUND       },
    {"VSS",  LU_ROLE_GROUND       },
    {"NC",   LU_ROLE_NONE         },
};

static const word whole[] = {
    {"D",       LU_ROLE_DATA_IN      },
    {"DI",      LU_ROLE_DATA_IN      },
    {"DIN",     LU_ROLE_DATA_IN      },
    {"Q",       LU_ROLE_DATA_OUT     },
    {"DO",      LU_ROLE_DATA_OUT     },
    {"DOUT",    LU_ROLE_DATA_OUT     },
    {"DQ",      LU_ROLE_DATA         },
    {"IO",      LU_ROLE_DATA         },
    {"I/O",     LU_ROLE_DATA         },
    {"RAS",     LU_ROLE_RAS          },
    {"RE",      LU_ROLE_RAS          },
    {"CAS",     LU_ROLE_CAS          },
    {"UCAS",    LU_ROLE_CAS          },
    {"LCAS",    LU_ROLE_CAS          },
    {"WE",      LU_ROLE_WRITE        },
    {"W",       LU_ROLE_WRITE        },
    {"WR",      LU_ROLE_WRITE        },
    {"R/W",     LU_ROLE_WRITE        },
    {"RW",      LU_ROLE_WRITE        },
    {"WRITE",   LU_ROLE_WRITE        },
    {"RD/WR",   LU_ROLE_WRITE        },
    {"OE",      LU_ROLE_OUTPUT_ENABLE},
    {"G",       LU_ROLE_OUTPUT_ENABLE},
    {"RD",      LU_ROLE_OUTPUT_ENABLE},
    {"CE",      LU_ROLE_SELECT       },
    {"CS",      LU_ROLE_SELECT       },
    {"E",       LU_ROLE_SELECT       },
    {"S",       LU_ROLE_SELECT       },
    {"VCC",     LU_ROLE_SUPPLY       },
    {"VDD",     LU_ROLE_SUPPLY       },
    {"VPP",     LU_ROLE_SUPPLY       },
    {"VBB",     LU_ROLE_SUPPLY       },
    {"VCCQ",    LU_ROLE_SUPPLY       },
    {"VDDQ",    LU_ROLE_SUPPLY       },
    {"5V",      LU_ROLE_SUPPLY       },
    {"+5V",     LU_ROLE_SUPPLY       },
    {"+5",      LU_ROLE_SUPPLY       },
    {"-5V",     LU_ROLE_SUPPLY       },
    {"+12V",    LU_ROLE_SUPPLY       },
    {"12V",     LU_ROLE_SUPPLY       },
    {"3V3",     LU_ROLE_SUPPLY       },
    {"+3V3",    LU_ROLE_SUPPLY       },
    {"+3.3V",   LU_ROLE_SUPPLY       },
    {"V+",      LU_ROLE_SUPPLY       },
    {"GND",     LU_ROLE_GROUND       },
    {"VSS",     LU_ROLE_GROUND       },
    {"VSSQ",    LU_ROLE_GROUND       },
    {"0V",      LU_ROLE_GROUND       },
    {"PGM",     LU_ROLE_INPUT        },
    {"BYTE",    LU_ROLE_INPUT        },
    {"RFSH",    LU_ROLE_INPUT        },
    {"REFRESH", LU_ROLE_INPUT        },
    {"TF",      LU_ROLE_INPUT        },
    {"CLK",     LU_ROLE_INPUT        },
};

static const word *find(const word *words, size_t count, const char *name, size_t len)
{
  for (size_t i = 0; i < count; i++)
    if (strlen(words[i].name) == len && memcmp(words[i].name, name, len) == 0)
      return &words[i];
  return NULL;
}
#define FIND(words, name, len) find((words), sizeof(words) / sizeof *(words), (name), (len))

/* The bit of "A12", "A[12]", "A<12>", "A_12"; *stem is the length of the letters. False if the
 * name does not end in a number, or one over 255. */
static bool split_number(const char *plain, size_t len, size_t *stem, int *bit)
{
  if (len && (plain[len - 1] == ']' || plain[len - 1] == '>'))
    len--;
  size_t at = len;
  while (at > 0 && isdigit((unsigned char)plain[at - 1]))
    at--;
  uint64_t value;
  if (at == len || at == 0 || !lu_text_u64(plain + at, len - at, 10, 255, &value))
    return false;
  if (strchr("[<_", plain[at - 1]))
    at--;
  *stem = at;
  *bit = (int)value;
  return at > 0;
}

static lu_pin_role name_role(const char *plain, size_t len, int *bit)
{
  size_t stem;
  *bit = 0;
  if (len == 3 && memcmp(plain, "A-1", 3) == 0) {
    *bit = -1;
    return LU_ROLE_ADDRESS;
  }
  const word *w = FIND(whole, plain, len);
  if (w)
    return w->role;
  if (split_number(plain, len, &stem, bit)) {
    w = FIND(numbered, plain, stem);
    if (w)
      return w->role;
  }
  return LU_ROLE_NONE;
}

void lu_role_of_function(const char *function, lu_part_pin *out)
{
  char plain[LU_FUNCTION_MAX];
  bool bar;
  int bit = 0;
  out->role = LU_ROLE_NONE;
  out->index = 0;
  out->active_low = false;
  if (!lu_function_plain(function, plain, &bar) || !*plain)
    return;
  size_t len = strcspn(plain, "("); /* "VBB(-5V)" */
  lu_pin_role role = name_role(plain, len, &bit);
  const char *slash = memchr(plain, '/', len);
  if (role == LU_ROLE_NONE && slash && strncmp(plain, "I/O", 3) != 0)
    role = name_role(plain, (size_t)(slash - plain), &bit); /* "OE#/VPP": the first name rules */
  out->role = role;
  switch (role) {
  case LU_ROLE_ADDRESS:
  case LU_ROLE_DATA:
  case LU_ROLE_DATA_IN:
  case LU_ROLE_DATA_OUT:
    out->index = (int16_t)bit;
    break;
  case LU_ROLE_OUTPUT_ENABLE:
  case LU_ROLE_WRITE:
  case LU_ROLE_RAS:
  case LU_ROLE_CAS:
    out->active_low = true; /* on memories they are, whether the drawing shows a bar or not */
    break;
  case LU_ROLE_SELECT:
    out->active_low = bar || bit != 2; /* CS2, CE2, E2 without a bar: the active-high one */
    break;
  case LU_ROLE_NONE:
  case LU_ROLE_SUPPLY:
  case LU_ROLE_GROUND:
  case LU_ROLE_STROBE:
  case LU_ROLE_INPUT:
  case LU_ROLE_OUTPUT:
  case LU_ROLE_PASSIVE:
    out->active_low = bar;
    break;
  }
}
