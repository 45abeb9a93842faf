/*
** case_stat.c -- what draws come to: quantiles of numbers of which some are
** infinite (a pack without a string, a price that is never paid back), and
** the numbers of a need in each draw.
*/
#include "base/sample.h"
#include "job/case_parts.h"
#include <math.h>

/* ---- quantiles ---- */

double case_finite_again (double v) {
  return v > CASE_HUGE / 1e50 ? (double)INFINITY : v;
}

/* The largest that is finite; NaN where nothing is. */
static double largest_finite (const double *v, size_t n) {
  double most = AMP_NOT_GIVEN;
  for (size_t i = 0; i < n; i++)
    if (case_finite_again(v[i]) < (double)INFINITY)
      most = fmax(most, v[i]);
  return most;
}

/* In place of an infinite quantile the largest finite number, which is only
** a bound of it. */
static double or_bound (const double *v, size_t n, double q, bool *beyond) {
  q = case_finite_again(q);
  *beyond = q == (double)INFINITY;
  return *beyond ? largest_finite(v, n) : q;
}

/* Where most draws have no finite number there is no middle: refused. */
amp_stat case_stat (double *v, size_t n, amp_basis basis) {
  static const double p[5] = {0.0, 0.1, 0.5, 0.9, 1.0};
  double q[5];
  amp_stat s = case_no_stat();
  amp_quantiles(v, n, p, 5, q);
  s.p50 = case_finite_again(q[2]);
  if (!(s.p50 < (double)INFINITY))
    return case_no_stat();
  s.p10 = or_bound(v, n, q[1], &s.p10_beyond);
  s.p90 = or_bound(v, n, q[3], &s.p90_beyond);
  s.spread = q[0] < q[4];
  s.basis = basis;
  return s;
}

/* ---- the numbers of a need ---- */

double case_term (const amp_need *need, amp_term k) {
  const double v[AMP_TERMS] = {[AMP_TERM_DISCOUNT] = need->discount,
                               [AMP_TERM_CHARGE] = need->charge_price,
                               [AMP_TERM_TARIFF] = need->tariff,
                               [AMP_TERM_RISE] = need->rise};
  return amp_given(v[k]) ? v[k] : 0.0;
}

/* Interest from nothing, prices from nothing: as far as tails go. */
void case_clip_term (amp_term k, size_t n, double *v) {
  static const double lo[AMP_TERMS] = {0.0, 0.0, 0.0, -0.5};
  static const double hi[AMP_TERMS] = {1.0, 1e3, 1e3, 0.5};
  for (size_t i = 0; i < n; i++)
    v[i] = fmin(fmax(v[i], lo[k]), hi[k]);
}
