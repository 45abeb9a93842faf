/*
** chance.c -- chances of small lots. docs/model/cost.md.
*/
#include "cost/chance.h"
#include "base/elementary.h"
#include "base/sample.h"
#include <math.h>

/* log of x (x+1) .. (x+n-1) */
static double log_rising (double x, int n) {
  double sum = 0.0;
  for (int i = 0; i < n; i++)
    sum += amp_log(x + i);
  return sum;
}

/* A beta law of mean p and variance v has a + b = p (1 - p)/v - 1. */
amp_share amp_share_of (double dud, double sd) {
  amp_share s = {1.0 - dud, 0.0, 0.0};
  if (sd > 0.0 && dud > 0.0 && dud < 1.0) {
    double n = fmax(dud * (1.0 - dud) / (sd * sd) - 1.0, 1e-3);
    s.a = s.good * n;
    s.b = dud * n;
  }
  return s;
}

double amp_share_chance (const amp_share *s, int j, int k, int seen,
                         int duds) {
  if (s->a == 0.0)
    return amp_binomial_pmf(k, j, s->good);
  if (j < 0 || j > k)
    return 0.0;
  double a = s->a + seen, b = s->b + duds;
  return amp_exp(amp_log_choose(k, j) + log_rising(a, j) +
                 log_rising(b, k - j) - log_rising(a + b, k));
}

double amp_share_at_least (const amp_share *s, int j, int k) {
  double sum = 0.0;
  if (j <= 0)
    return 1.0;
  for (int i = k; i >= j; i--)
    sum += amp_share_chance(s, i, k, 0, 0);
  return fmin(sum, 1.0);
}

/* The sum is short by rounding only, as in amp_binomial_quantile. */
int amp_share_median (const amp_share *s, int k) {
  double sum = 0.0;
  for (int j = 0; j < k; j++) {
    sum += amp_share_chance(s, j, k, 0, 0);
    if (sum >= 0.5 - 1e-12)
      return j;
  }
  return k;
}

int amp_tests_to_see (int n, int d, double sure) {
  if (d > 0)
    for (int tests = 0; tests < n; tests++)
      if (1.0 - amp_chance_no_dud(n, d, tests) >= sure - 1e-12)
        return tests;
  return n;
}
