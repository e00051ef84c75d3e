/* SPDX-License-Identifier: MIT */
#include "reason/flickerfit.h"

#include <math.h>

enum { ROUNDS = 30 };
static const double noise_least = 1e-6, noise_most = 0.4;

void lu_fit_add(lu_fit *f, unsigned closed, unsigned open, unsigned unknown, double weight)
{
  closed = closed < LU_FIT_BITS ? closed : LU_FIT_BITS - 1;
  open = open < LU_FIT_BITS ? open : LU_FIT_BITS - 1;
  unknown = unknown < LU_FIT_UNKNOWN ? unknown : LU_FIT_UNKNOWN - 1;
  double *w = &f->weight[closed][open][unknown];
  if (*w == 0)
    f->used[f->used_count++] = (uint16_t)((closed * LU_FIT_BITS + open) * LU_FIT_UNKNOWN + unknown);
  *w += weight;
}

static double within(double x, double least, double most)
{
  return x < least ? least : x > most ? most : x;
}

/* One round: what each kind of read says of q and e; the likelihood under those before. */
static double round_of(const lu_fit *f, double width, double *q, double *e, double *which)
{
  *which = 0;
  double sum = 0, opens = 0, wrong = 0, bits = 0, log_likelihood = 0;
  double bad = log(*e), good = log1p(-*e), shut = log1p(-*q), ajar = *q > 0 ? log(*q) : -1e300;
  for (size_t i = 0; i < f->used_count; i++) {
    unsigned u = f->used[i] % LU_FIT_UNKNOWN, o = f->used[i] / LU_FIT_UNKNOWN % LU_FIT_BITS, c = f->used[i] / LU_FIT_UNKNOWN / LU_FIT_BITS;
    double w = f->weight[c][o][u];
    double a = shut + c * bad + (width - c) * good;
    double b = ajar + o * bad + fmax(width - o - u, 0) * good - u * log(2);
    double most = fmax(a, b), all = most + log(exp(a - most) + exp(b - most)), is_open = exp(b - all);
    log_likelihood += w * all;
    if (c != o && *q > 0)
      *which += w * (is_open * ajar + (1 - is_open) * shut);
    sum += w;
    opens += w * is_open;
    wrong += w * ((1 - is_open) * c + is_open * o);
    bits += w * (width - is_open * u);
  }
  if (sum > 0) {
    *q = *q > 0 ? within(opens / sum, 1e-7, 1 - 1e-7) : 0;
    *e = within(wrong / fmax(bits, 1), noise_least, noise_most);
  }
  return log_likelihood;
}

lu_fitted lu_fit_end(lu_fit *f, unsigned width, int open)
{
  lu_fitted x = {.open = open ? 0.15 : 0, .noise = 0.003};
  for (int i = 0; i < (open ? ROUNDS : 3); i++)
    x.log = round_of(f, width, &x.open, &x.noise, &x.which);
  for (size_t i = 0; i < f->used_count; i++) {
    unsigned u = f->used[i] % LU_FIT_UNKNOWN, o = f->used[i] / LU_FIT_UNKNOWN % LU_FIT_BITS, c = f->used[i] / LU_FIT_UNKNOWN / LU_FIT_BITS;
    f->weight[c][o][u] = 0;
  }
  f->used_count = 0;
  return x;
}
