/* SPDX-License-Identifier: MIT */
#include "api/capturerule.h"

static lu_capture_rule held_against(const lu_words *got, const uint64_t *steady, const char *name, lu_words contents)
{
  lu_capture_rule r = {.name = name, .contents = contents};
  uint64_t all = got->width < 64 ? ((uint64_t)1 << got->width) - 1 : UINT64_MAX;
  for (size_t i = 0; i < got->count && i < contents.count; i++) {
    uint64_t known = steady ? steady[i] & all : all;
    if (!lu_word_held(got, i) || !lu_word_held(&contents, i) || known != all)
      continue;
    uint64_t differ = (lu_word(got, i) ^ lu_word(&contents, i)) & all;
    r.words++;
    r.fit += !differ;
    r.wrong_bits += (size_t)__builtin_popcountll(differ);
    r.odd |= differ;
  }
  return r;
}

lu_status lu_capture_rule_of(lu_session *s, const lu_network *n, const lu_words *got, const uint64_t *steady, lu_capture_rule *out)
{
  static const char *const rules[] = {"address", "address-inverse", "walking-ones", "walking-zeros", "checkerboard"};
  enum { LEAST = 16, ONE_IN = 4, WIDTH_LEAST = 4 };
  lu_capture_rule best = {.wrong_bits = SIZE_MAX};
  bool twice = false;
  *out = (lu_capture_rule){0};
  for (size_t k = 0; got->width >= WIDTH_LEAST && k < sizeof rules / sizeof *rules; k++) {
    lu_words contents;
    lu_status bad = lu_session_contents(s, rules[k], n, got, &contents);
    if (bad)
      return bad;
    lu_capture_rule r = held_against(got, steady, rules[k], contents);
    twice = r.wrong_bits == best.wrong_bits || (twice && r.wrong_bits > best.wrong_bits);
    if (r.wrong_bits < best.wrong_bits)
      best = r;
  }
  bool few = (unsigned)__builtin_popcountll(best.odd) <= LU_CAPTURE_RULE_ODD && got->width >= 2 * LU_CAPTURE_RULE_ODD;
  if (!twice && best.words >= LEAST && (best.fit * ONE_IN >= best.words || few))
    *out = best;
  return LU_OK;
}
