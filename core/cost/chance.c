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

/* The rising products grow by one factor from one number to the next; their
** sums run as log_rising adds them, so each chance is amp_share_chance's. */
void amp_share_chances (const amp_share *s, int k, double *chance) {
  double good = 0.0, duds = 0.0, all = log_rising(s->a + s->b, k);
  for (int j = 0; s->a == 0.0 && j <= k; j++)
    chance[j] = amp_binomial_pmf(k, j, s->good);
  if (s->a == 0.0)
    return;
  for (int j = 0; j <= k; j++) {
    chance[j] = amp_log_choose(k, j) + good;
    good += amp_log(s->a + j);
  }
  for (int j = k; j >= 0; j--) {
    chance[j] = amp_exp(chance[j] + duds - all);
    duds += amp_log(s->b + (k - j));
  }
}

/* The sum is short by rounding only, as in amp_binomial_quantile. */
int amp_share_summed (int k, double *chance) {
  double sum = 0.0, low = 0.0;
  int median = 0;
  for (; median < k; median++)
    if ((low += chance[median]) >= 0.5 - 1e-12)
      break;
  for (int j = k; j > 0; j--) {
    sum += chance[j];
    chance[j] = fmin(sum, 1.0);
  }
  chance[0] = 1.0;
  return median;
}

/* The product of amp_chance_no_dud, kept on the way. */
void amp_chances_no_dud (int n, int d, double *chance) {
  chance[0] = 1.0;
  for (int i = 0; i < n; i++)
    chance[i + 1] =
        n - d - i > 0 ? chance[i] * ((double)(n - d - i) / (n - i)) : 0.0;
}

int amp_tests_to_see (int n, int d, double sure) {
  double chance = 1.0;
  for (int tests = 0; d > 0 && tests < n; tests++) {
    if (1.0 - chance >= sure - 1e-12)
      return tests;
    chance = n - d - tests > 0
                 ? chance * ((double)(n - d - tests) / (n - tests))
                 : 0.0;
  }
  return n;
}
