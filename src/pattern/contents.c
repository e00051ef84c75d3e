/* SPDX-License-Identifier: MIT */
#include "pattern/contents.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "pattern/prbs.h"

enum kind { CONSTANT, BACKGROUND, ALTERNATE, STRIPES, ADDRESS, WALKING, PRBS };

static const char practice[] = "common practice, no source";
static const char march_book[] =
  "data backgrounds of word-oriented march tests: van de Goor, Testing Semiconductor Memories, 1991";
static const char itu[] = "ITU-T O.150 (1996), O.151 (1992)";

static const char *const one_way[] = {"the same in every word"};
static const char *const address_ways[] = {
  "word number from the block's start, low bits",
  "word address, low bits",
  "byte offset of the word from the block's start, low bits",
  "byte address of the word, low bits",
  "word number from the block's start, upper parts folded in by exclusive or",
  "word address, upper parts folded in by exclusive or",
  "byte offset of the word, upper parts folded in by exclusive or",
  "byte address of the word, upper parts folded in by exclusive or",
  "every byte holds the low bits of its own byte address, D0-D7 first",
  "every byte holds the low bits of its own byte address, D0-D7 last",
};
static const char *const walking_ways[] = {
  "from D0 up, counted from the block's start",
  "from D0 up, counted by word address",
  "from the top bit down, counted from the block's start",
  "from the top bit down, counted by word address",
  "eight steps in every byte, counted by byte offset, D0-D7 first",
  "eight steps in every byte, counted by byte offset, D0-D7 last",
};
static const char *const checker_ways[] = {
  "D0 is 1 in the first word, neighbours in bit and in address differ",
  "D0 is 0 in the first word, neighbours in bit and in address differ",
  "D0 is 1 in every word",
  "D0 is 0 in every word",
  "bytes 55 and AA in turn by address, D0-D7 first",
  "bytes 55 and AA in turn by address, D0-D7 last",
};
static const char *const column_ways[] = {
  "by address bit 0, ones first odd",
  "by address bit 0, ones first even",
  "by address bit 1, ones on the second half",
  "by address bit 2, ones on the second half",
  "by address bit 3, ones on the second half",
};
static const char *const row_ways[] = {
  "by address bit 8",  "by address bit 4",  "by address bit 5",  "by address bit 6",
  "by address bit 7",  "by address bit 9",  "by address bit 10", "by address bit 11",
  "by address bit 12", "by address bit 13", "by address bit 14", "by address bit 15",
};
static const unsigned char row_bits[] = {8, 4, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15};
static const char *const prbs_ways[] = {
  "first bit in D0",
  "first bit in the top data bit",
  "first bit in D0, inverted",
  "first bit in the top data bit, inverted",
};
static const char *const qrss_ways[] = {
  "first bit in D0, never more than 14 zeros",
  "first bit in the top data bit, never more than 14 zeros",
  "first bit in D0, without the limit on zeros",
  "first bit in the top data bit, without the limit on zeros",
};

#define WAYS(list) (list), sizeof(list) / sizeof((list)[0])

/* Sorted by name (lu_text_order); parameter: value, inversion or index by kind. */
static const lu_contents table[] = {
  {"address", "every word holds its own address", practice, WAYS(address_ways), ADDRESS, 0},
  {"address-inverse", "every word holds the complement of its own address", practice,
   WAYS(address_ways), ADDRESS, 1},
  {"background-1", "bits 0101.. from the top, D0 = 1", march_book, WAYS(one_way), BACKGROUND, 0},
  {"background-2", "bits 0011.. from the top", march_book, WAYS(one_way), BACKGROUND, 1},
  {"background-3", "bits in fours 00001111", march_book, WAYS(one_way), BACKGROUND, 2},
  {"background-4", "bits in eights", march_book, WAYS(one_way), BACKGROUND, 3},
  {"background-5", "bits in sixteens", march_book, WAYS(one_way), BACKGROUND, 4},
  {"background-6", "bits in thirty-twos", march_book, WAYS(one_way), BACKGROUND, 5},
  {"checkerboard", "ones and zeros in turn, by bit and by address", practice, WAYS(checker_ways),
   ALTERNATE, 0},
  {"checkerboard-inverse", "the checkerboard's complement", practice, WAYS(checker_ways),
   ALTERNATE, 1},
  {"column-stripes", "all ones and all zeros in turn by a column address bit", practice,
   WAYS(column_ways), STRIPES, 0},
  {"prbs7", "pseudo-random, period 127 bits", itu, WAYS(prbs_ways), PRBS, 0},
  {"prbs9", "pseudo-random, period 511 bits", itu, WAYS(prbs_ways), PRBS, 1},
  {"prbs11", "pseudo-random, period 2047 bits", itu, WAYS(prbs_ways), PRBS, 2},
  {"prbs15", "pseudo-random, period 32767 bits", itu, WAYS(prbs_ways), PRBS, 3},
  {"prbs20", "pseudo-random, period 1048575 bits", itu, WAYS(prbs_ways), PRBS, 4},
  {"prbs23", "pseudo-random, period 8388607 bits", itu, WAYS(prbs_ways), PRBS, 6},
  {"prbs29", "pseudo-random, period 536870911 bits", itu, WAYS(prbs_ways), PRBS, 7},
  {"prbs31", "pseudo-random, period 2147483647 bits", itu, WAYS(prbs_ways), PRBS, 8},
  {"qrss", "quasi-random, period 1048575 bits, at most 14 zeros in a row", itu, WAYS(qrss_ways),
   PRBS, 5},
  {"row-stripes", "all ones and all zeros in turn by a row address bit", practice, WAYS(row_ways),
   STRIPES, 1},
  {"solid-0", "all zeros", practice, WAYS(one_way), CONSTANT, 0},
  {"solid-1", "all ones", practice, WAYS(one_way), CONSTANT, 1},
  {"walking-ones", "word i has bit i modulo the width alone set", practice, WAYS(walking_ways),
   WALKING, 0},
  {"walking-zeros", "word i has bit i modulo the width alone clear", practice, WAYS(walking_ways),
   WALKING, 1},
};
#define TABLE_COUNT (sizeof table / sizeof table[0])

const lu_contents *lu_contents_all(size_t *count)
{
  *count = TABLE_COUNT;
  return table;
}

lu_status lu_contents_named(const char *name, const lu_contents **out, lu_err *err)
{
  const char *names[TABLE_COUNT];
  for (size_t i = 0; i < TABLE_COUNT; i++) {
    names[i] = table[i].name;
    if (lu_text_same(name, names[i])) {
      *out = &table[i];
      return LU_OK;
    }
  }
  const char *nearest = lu_text_nearest(name, names, TABLE_COUNT);
  if (nearest)
    return lu_fail(err, LU_ERR_MISSING, 0, 0, "no contents are called \"%.60s\"; did you mean \"%s\"?",
                   name, nearest);
  return lu_fail(err, LU_ERR_MISSING, 0, 0,
                 "no contents are called \"%.60s\"; expected a name such as walking-ones, address or "
                 "checkerboard", name);
}

static uint64_t mask_of(unsigned width)
{
  return width >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << width) - 1;
}

/* Bits set where bit `scale` of the bit's own number is clear: 0101.., 0011.., ... */
static uint64_t background(unsigned scale)
{
  static const uint64_t values[] = {0x5555555555555555, 0x3333333333333333, 0x0f0f0f0f0f0f0f0f,
                                    0x00ff00ff00ff00ff, 0x0000ffff0000ffff, 0x00000000ffffffff};
  return values[scale];
}

/* How an address variant counts. */
typedef struct counting {
  uint64_t start, step;
  bool fold;
} counting;

static counting counting_of(unsigned variant, uint64_t base_word, unsigned bytes)
{
  counting c = {.step = variant & 2 ? bytes : 1, .fold = variant & 4};
  c.start = variant & 1 ? base_word * c.step : 0;
  return c;
}

static uint64_t fold(uint64_t v, unsigned width)
{
  uint64_t sum = v & mask_of(width);
  while (width < 64 && (v >>= width))
    sum ^= v & mask_of(width);
  return sum;
}

static uint64_t address_word(unsigned variant, unsigned width, uint64_t base_word, unsigned bytes,
                             uint64_t i)
{
  if (variant >= 8) {
    uint64_t at = (base_word + i) * bytes, v = 0;
    for (unsigned lane = 0; lane < bytes; lane++)
      v |= ((at + (variant == 8 ? lane : bytes - 1 - lane)) & 0xff) << (8 * lane);
    return v;
  }
  counting c = counting_of(variant, base_word, bytes);
  uint64_t v = c.start + i * c.step;
  return c.fold ? fold(v, width) : v;
}

static uint64_t walking_word(unsigned variant, unsigned width, uint64_t base_word, unsigned bytes,
                             uint64_t i)
{
  if (variant >= 4) {
    uint64_t v = 0;
    for (unsigned lane = 0; lane < bytes; lane++) {
      unsigned step = (unsigned)(i * bytes + (variant == 4 ? lane : bytes - 1 - lane)) % 8;
      v |= UINT64_C(1) << (8 * lane + step);
    }
    return v;
  }
  unsigned bit = (unsigned)((i + (variant & 1 ? base_word : 0)) % width);
  return UINT64_C(1) << (variant & 2 ? width - 1 - bit : bit);
}

static uint64_t alternate_word(unsigned variant, unsigned bytes, uint64_t i)
{
  uint64_t ones_first = background(0);
  switch (variant) {
  case 0:
  case 1:
    return (i & 1) == variant ? ones_first : ~ones_first;
  case 2:
  case 3:
    return variant == 2 ? ones_first : ~ones_first;
  default:
    if (bytes == 1)
      return i & 1 ? 0xaa : 0x55;
    return variant == 4 ? UINT64_C(0xaa55aa55aa55aa55) : UINT64_C(0x55aa55aa55aa55aa);
  }
}

static uint64_t stripe_word(bool rows, unsigned variant, uint64_t i)
{
  if (rows)
    return i >> row_bits[variant] & 1 ? ~UINT64_C(0) : 0;
  if (variant == 1)
    return i & 1 ? 0 : ~UINT64_C(0);
  return i >> (variant ? variant - 1 : 0) & 1 ? ~UINT64_C(0) : 0;
}

static uint64_t reversed(uint64_t v, unsigned width)
{
  v = (v & 0x5555555555555555) << 1 | (v >> 1 & 0x5555555555555555);
  v = (v & 0x3333333333333333) << 2 | (v >> 2 & 0x3333333333333333);
  v = (v & 0x0f0f0f0f0f0f0f0f) << 4 | (v >> 4 & 0x0f0f0f0f0f0f0f0f);
  return __builtin_bswap64(v) >> (64 - width);
}

/* What a pseudo-random variant does to a word's worth of bits. */
static bool prbs_limited(const lu_contents *contents, unsigned variant)
{
  return lu_prbs_table[contents->parameter].limit && variant < 2;
}

static uint64_t prbs_shape(const lu_contents *contents, unsigned variant, unsigned width,
                           uint64_t bits)
{
  if (variant >= 2 && !lu_prbs_table[contents->parameter].limit)
    bits = ~bits;
  return variant & 1 ? reversed(bits, width) : bits;
}

static void prbs_begin(const lu_contents *contents, unsigned width, uint64_t i, lu_prbs_run *run)
{
  const lu_prbs *prbs = &lu_prbs_table[contents->parameter];
  lu_prbs_start(run, prbs, i % lu_prbs_period(prbs) * width);
}

static uint64_t raw_word(const lu_contents *contents, unsigned variant, unsigned width,
                         uint64_t base_word, unsigned bytes, uint64_t i)
{
  switch ((enum kind)contents->kind) {
  case CONSTANT:
    return contents->parameter ? ~UINT64_C(0) : 0;
  case BACKGROUND:
    return background(contents->parameter);
  case ALTERNATE:
    return alternate_word(variant, bytes, i) ^ (contents->parameter ? ~UINT64_C(0) : 0);
  case STRIPES:
    return stripe_word(contents->parameter, variant, i);
  case ADDRESS:
    return address_word(variant, width, base_word, bytes, i) ^
           (contents->parameter ? ~UINT64_C(0) : 0);
  case WALKING:
    return walking_word(variant, width, base_word, bytes, i) ^
           (contents->parameter ? ~UINT64_C(0) : 0);
  case PRBS:
    break;
  }
  const lu_prbs *prbs = &lu_prbs_table[contents->parameter];
  uint64_t bit = i % lu_prbs_period(prbs) * width;
  return prbs_shape(contents, variant, width,
                    lu_prbs_word(prbs, prbs_limited(contents, variant), bit));
}

uint64_t lu_contents_word(const lu_contents *contents, unsigned variant, unsigned width,
                          uint64_t base_word, unsigned bytes, uint64_t i)
{
  return raw_word(contents, variant, width, base_word, bytes, i) & mask_of(width);
}

static inline __attribute__((always_inline)) void put(void *words, unsigned bytes, size_t i,
                                                      uint64_t v)
{
  switch (bytes) {
  case 1:
    ((uint8_t *)words)[i] = (uint8_t)v;
    break;
  case 2:
    ((uint16_t *)words)[i] = (uint16_t)v;
    break;
  case 4:
    ((uint32_t *)words)[i] = (uint32_t)v;
    break;
  default:
    ((uint64_t *)words)[i] = v;
  }
}

/* Words after which the contents repeat, or 0 where they do not do so soon. */
static size_t period_of(const lu_contents *contents, unsigned variant, unsigned width)
{
  switch ((enum kind)contents->kind) {
  case CONSTANT:
  case BACKGROUND:
    return 1;
  case ALTERNATE:
    return 2;
  case STRIPES:
    if (contents->parameter)
      return (size_t)2 << row_bits[variant];
    return variant ? (size_t)2 << (variant - 1) : 2;
  case WALKING:
    return variant >= 4 ? 8 : width;
  case ADDRESS:
    return variant >= 8 || (width <= 8 && !(variant & 4)) ? 256 : 0;
  case PRBS:
    break;
  }
  return 0;
}

/* Fills by repeating the first words; copies grow to 32 KiB, which stays in the first cache. */
static void fill_repeating(size_t period, unsigned bytes, size_t count, void *words)
{
  size_t have = period < count ? period : count, total = count * bytes;
  size_t block = have * bytes;
  uint8_t *at = words;
  while (block * 2 <= total && block < 32768) {
    memcpy(at + block, at, block);
    block *= 2;
  }
  for (size_t done = block; done < total;) {
    size_t part = total - done < block ? total - done : block;
    memcpy(at + done, at, part);
    done += part;
  }
}

/* Plain counting: a loop for each size of word, in the word's own arithmetic, so that the compiler
 * makes vectors of it. */
static void fill_counting(unsigned bytes, uint64_t start, uint64_t step, uint64_t flip,
                          uint64_t mask, size_t count, void *words)
{
#define COUNT_UP(type)                                                                             \
  do {                                                                                             \
    type *at = words, value = (type)start;                                                         \
    const type by = (type)step, turn = (type)flip, keep = (type)mask;                              \
    for (size_t i = 0; i < count; i++, value = (type)(value + by))                                 \
      at[i] = (type)((value ^ turn) & keep);                                                       \
  } while (0)
  switch (bytes) {
  case 1:
    COUNT_UP(uint8_t);
    break;
  case 2:
    COUNT_UP(uint16_t);
    break;
  case 4:
    COUNT_UP(uint32_t);
    break;
  default:
    COUNT_UP(uint64_t);
  }
#undef COUNT_UP
}

/* Folded counting: a run of 2^width counts has the same upper parts, so each run is a plain
 * count with those parts flipped in. */
static void fill_folded(const lu_contents *contents, counting c, unsigned width, unsigned bytes,
                        uint64_t first, size_t count, void *words)
{
  uint64_t mask = mask_of(width), flip = contents->parameter ? mask : 0;
  for (size_t done = 0; done < count;) {
    uint64_t at = c.start + (first + done) * c.step;
    uint64_t left = (mask - (at & mask)) / c.step + 1;
    size_t part = left < count - done && left ? (size_t)left : count - done;
    uint64_t upper = width < 64 ? fold(at & ~mask, width) : 0;
    fill_counting(bytes, at & mask, c.step, flip ^ upper, mask, part, (uint8_t *)words + done * bytes);
    done += part;
  }
}

/* Reverses every group of `width` bits, a power of two from 8. */
static uint64_t reversed_groups(uint64_t v, unsigned width)
{
  v = __builtin_bswap64(reversed(v, 64)); /* bits reversed within each byte */
  if (width >= 16)
    v = (v & 0x00ff00ff00ff00ff) << 8 | (v >> 8 & 0x00ff00ff00ff00ff);
  if (width >= 32)
    v = (v & 0x0000ffff0000ffff) << 16 | (v >> 16 & 0x0000ffff0000ffff);
  return width >= 64 ? v << 32 | v >> 32 : v;
}

/* Words that use all their bytes: whole 64-bit words of the sequence at once. */
static void fill_prbs_whole(const lu_contents *contents, unsigned variant, unsigned bytes,
                            lu_prbs_run *run, size_t count, void *words)
{
  enum { CHUNK = 256 };
  uint64_t bits[CHUNK];
  bool limited = prbs_limited(contents, variant);
  uint64_t flip = variant >= 2 && !lu_prbs_table[contents->parameter].limit ? ~UINT64_C(0) : 0;
  size_t each = 8 / bytes;
  for (size_t done = 0; done < count;) {
    size_t part = count - done < CHUNK * each ? count - done : CHUNK * each;
    lu_prbs_take(run, limited, bits, (part + each - 1) / each);
    for (size_t i = 0; variant & 1 && i < CHUNK && i * each < part; i++)
      bits[i] = reversed_groups(bits[i], 8 * bytes);
    for (size_t i = 0; flip && i < CHUNK && i * each < part; i++)
      bits[i] = ~bits[i];
    if (__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__)
      memcpy((uint8_t *)words + done * bytes, bits, part * bytes);
    else
      for (size_t i = 0; i < part; i++)
        put(words, bytes, done + i, bits[i / each] >> i % each * 8 * bytes);
    done += part;
  }
}

static void fill_prbs(const lu_contents *contents, unsigned variant, unsigned width, unsigned bytes,
                      uint64_t first, size_t count, void *words)
{
  enum { CHUNK = 64 };
  uint64_t bits[CHUNK + 1], mask = mask_of(width);
  bool limited = prbs_limited(contents, variant);
  lu_prbs_run run;
  prbs_begin(contents, width, first, &run);
  if (width == 8 * bytes) {
    fill_prbs_whole(contents, variant, bytes, &run, count, words);
    return;
  }
  for (size_t done = 0; done < count; done += CHUNK) {
    lu_prbs_take(&run, limited, bits, width); /* 64 words of width bits = width words of 64 */
    bits[width] = 0;
    size_t part = count - done < CHUNK ? count - done : CHUNK;
    for (size_t i = 0; i < part; i++) {
      size_t bit = i * width, shift = bit % 64;
      uint64_t v = bits[bit / 64] >> shift;
      if (shift)
        v |= bits[bit / 64 + 1] << (64 - shift);
      put(words, bytes, done + i, prbs_shape(contents, variant, width, v) & mask);
    }
  }
}

void lu_contents_fill(const lu_contents *contents, unsigned variant, unsigned width,
                      uint64_t base_word, unsigned bytes, uint64_t first, size_t count, void *words)
{
  size_t period = period_of(contents, variant, width);
  if (period) {
    for (size_t i = 0; i < period && i < count; i++)
      put(words, bytes, i,
          lu_contents_word(contents, variant, width, base_word, bytes, first + i));
    fill_repeating(period, bytes, count, words);
  } else if (contents->kind == PRBS) {
    fill_prbs(contents, variant, width, bytes, first, count, words);
  } else {
    counting c = counting_of(variant, base_word, bytes);
    uint64_t flip = contents->parameter ? ~UINT64_C(0) : 0;
    if (c.fold)
      fill_folded(contents, c, width, bytes, first, count, words);
    else
      fill_counting(bytes, c.start + first * c.step, c.step, flip, mask_of(width), count, words);
  }
}

bool lu_contents_expression(const lu_contents *contents, unsigned width, char *text, size_t len)
{
  const char *flip = contents->parameter ? "~" : "";
  const char *one = width > 32 ? "UINT64_C(1)" : "UINT32_C(1)";
  unsigned long long mask = mask_of(width), ones = background(0) & mask;
  switch ((enum kind)contents->kind) {
  case CONSTANT:
    snprintf(text, len, "0x%llxu", contents->parameter ? mask : 0);
    return true;
  case BACKGROUND:
    snprintf(text, len, "0x%llxu", (unsigned long long)background(contents->parameter) & mask);
    return true;
  case ALTERNATE:
    snprintf(text, len, "(i & 1u ? 0x%llxu : 0x%llxu)", contents->parameter ? ones : ~ones & mask,
             contents->parameter ? ~ones & mask : ones);
    return true;
  case STRIPES:
    snprintf(text, len, "(i >> %u & 1u ? 0x%llxu : 0u)", contents->parameter ? row_bits[0] : 0u,
             mask);
    return true;
  case ADDRESS:
    snprintf(text, len, "%s(lu_value)i", flip);
    return true;
  case WALKING:
    snprintf(text, len, "%s(%s << i %% %u)", flip, one, width);
    return true;
  case PRBS:
    break;
  }
  return false;
}

const lu_prbs *lu_contents_sequence(const lu_contents *contents)
{
  return contents->kind == PRBS ? &lu_prbs_table[contents->parameter] : NULL;
}
