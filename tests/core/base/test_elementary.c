/*
** test_elementary.c -- the elementary functions against the C library's long
** double ones. Error bounds are those the header claims; the numbers after
** each are the greatest errors seen with 10,000 arguments each.
*/
#include "support/close.h"
#include "base/elementary.h"
#include "base/elementary_inline.h"
#include "base/sample.h"
#include <float.h>
#include <stdbool.h>
#include <string.h>

enum { TRIES = 10000 };

static double between (double lo, double hi, uint64_t i) {
  return lo + (hi - lo) * amp_uniform(1, 7, i);
}

/* The distance from the true value in units in its last place. */
static double ulps (double got, long double want) {
  int e;
  (void)frexpl(want, &e);
  return (double)(fabsl((long double)got - want) / ldexpl(1.0L, e - 53));
}

typedef double plain (double x);
typedef long double exact (long double x);

/* Greatest error over arguments lo .. hi, evenly or (log) by magnitude. */
static double worst (plain *f, exact *g, double lo, double hi, bool by_size) {
  double most = 0;
  for (uint64_t i = 0; i < TRIES; i++) {
    double x = by_size ? (double)powl(10.0L, between(lo, hi, i))
                       : between(lo, hi, i);
    most = fmax(most, ulps(f(x), g((long double)x)));
  }
  return most;
}

static void skip_without_long_double (void) {
#if LDBL_MANT_DIG < 64
  print_message("skipped: long double holds no more than double\n");
  skip();
#endif
}

static void exp_is_within_one_unit (void **state) {
  (void)state;
  skip_without_long_double();
  assert_true(worst(amp_exp, expl, -708, 709.7, false) < 1.0); /* 0.92 */
  assert_true(worst(amp_exp, expl, -1.1, 1.1, false) < 1.0);   /* 0.94 */
  assert_true(worst(amp_expm1, expm1l, -40, 50, false) < 2.0); /* 1.3 */
  assert_true(worst(amp_expm1, expm1l, -2, 2, false) < 2.0);   /* 1.4 */
  assert_true(worst(amp_expm1, expm1l, -20, 0, true) < 2.0);   /* 1.4 */
}

static void log_is_within_one_unit (void **state) {
  (void)state;
  skip_without_long_double();
  assert_true(worst(amp_log, logl, -307, 308, true) < 1.0);      /* 0.61 */
  assert_true(worst(amp_log, logl, 0.5, 2, false) < 1.0);        /* 0.76 */
  assert_true(worst(amp_log1p, log1pl, -0.999, 3, false) < 2.0); /* 0.75 */
  assert_true(worst(amp_log1p, log1pl, -20, 20, true) < 2.0);    /* 0.70 */
}

static void asinh_is_within_two_units (void **state) {
  (void)state;
  skip_without_long_double();
  assert_true(worst(amp_asinh, asinhl, -20, 100, true) < 2.0); /* 1.4 */
  assert_true(worst(amp_asinh, asinhl, -3, 3, false) < 2.0);   /* 1.6 */
  assert_close(amp_asinh(0.0), 0.0, 0.0);
  assert_close(amp_asinh(INFINITY), amp_asinh(1e150), 0.0);
  assert_true(isnan(amp_asinh(NAN)));
}

/* Lanes, vector code where the compiler makes it: the same bits. */
static void asinh_in_a_loop_has_the_same_bits (void **state) {
  double x[256], y[256];
  (void)state;
  for (int i = 0; i < 256; i++)
    x[i] = (i - 128) * 0.37 * (i % 3 ? 1.0 : 1e-9);
  for (int i = 0; i < 256; i++)
    y[i] = amp_asinh_inline(x[i]);
  for (int i = 0; i < 256; i++) {
    double want = amp_asinh(x[i]);
    assert_memory_equal(&y[i], &want, sizeof want);
  }
}

/* The C library's powl is good to about a unit of long double. */
static void pow_is_within_two_units (void **state) {
  double most = 0;
  (void)state;
  skip_without_long_double();
  for (uint64_t i = 0; i < TRIES; i++) {
    double x = (double)powl(10.0L, between(-30, 30, 2 * i));
    double y = between(-1, 1, 2 * i + 1) * 690 / fabs(log(x));
    if (fabs(y) < 1e6)
      most = fmax(most, ulps(amp_pow(x, y), powl(x, y)));
    x = 1 + 0.5 * between(-1, 1, 2 * i);
    y = 900 * between(-1, 1, 2 * i + 1);
    most = fmax(most, ulps(amp_pow(x, y), powl(x, y)));
  }
  assert_true(most < 2.0); /* 1.4 */
}

/* Absolute errors, in units in the last place of numbers just below 2. */
static void sin_and_cos_are_within_two_units_of_1 (void **state) {
  static const double reach[] = {1, 10, 1e5};
  (void)state;
  skip_without_long_double();
  for (size_t k = 0; k < LEN(reach); k++)
    for (uint64_t i = 0; i < TRIES; i++) {
      double x = between(-reach[k], reach[k], i);
      long double t = tanl(x);
      assert_true(fabsl(amp_sin(x) - sinl(x)) < 2 * DBL_EPSILON); /* 0.7 */
      assert_true(fabsl(amp_cos(x) - cosl(x)) < 2 * DBL_EPSILON);
      assert_true(fabsl(amp_tan(x) - t) <= 1e-14L * fabsl(t));
    }
}

static void atan_is_within_two_units (void **state) {
  (void)state;
  skip_without_long_double();
  assert_true(worst(amp_atan, atanl, -3, 3, false) < 2.0); /* 1.8 */
  assert_true(worst(amp_atan, atanl, -8, 8, true) < 2.0);
}

static void edges_of_exp_log_pow_stand_as_the_header_says (void **state) {
  double nan = (double)NAN, inf = (double)INFINITY;
  (void)state;
  assert_true(amp_exp(0) == 1 && amp_exp(-709) == 0 && amp_exp(-inf) == 0);
  assert_true(amp_exp(709.8) == inf && amp_exp(inf) == inf);
  assert_true(isfinite(amp_exp(709.7)) && amp_exp(-708) > 0);
  assert_true(isnan(amp_exp(nan)) && isnan(amp_exp_inline(nan)));
  assert_true(amp_log(1) == 0 && amp_log(0) == -inf && amp_log(inf) == inf);
  assert_true(isnan(amp_log(-1)) && isnan(amp_log(nan)));
  assert_close(amp_log(5e-324), -744.4400719213812, 1e-12); /* -1074 ln 2 */
  assert_true(amp_log1p(-1) == -inf && isnan(amp_log1p(-1.5)));
  assert_true(amp_pow(0, 0) == 1 && amp_pow(0, 2.5) == 0);
  assert_true(amp_pow(0, -1) == inf && isnan(amp_pow(-8, 3)));
  assert_true(amp_pow(1.1, 1e300) == inf && amp_pow(0.9, 1e300) == 0);
  assert_true(amp_pow(7.3, 1) == 7.3 && amp_pow(3, 2) == 9);
  assert_true(amp_pow(2, 0.5) == sqrt(2) && amp_pow(2, 10) == 1024);
  assert_true(isnan(amp_sin(inf)) && isnan(amp_cos(1e300)));
  assert_true(amp_atan(inf) == AMP_PI / 2 && amp_atan(-inf) == -AMP_PI / 2);
}

/* Lanes and the plain call must print the same tables. */
static void exp_in_lanes_has_the_same_bits (void **state) {
  double x[64], y[64];
  (void)state;
  for (uint64_t round = 0; round < 100; round++) {
    for (uint64_t i = 0; i < 64; i++)
      x[i] = between(-708, 709.7, 64 * round + i);
    for (size_t i = 0; i < 64; i++)
      y[i] = amp_exp_inline(x[i]);
    for (size_t i = 0; i < 64; i++) {
      double one = amp_exp(x[i]);
      assert_memory_equal(&one, &y[i], sizeof one);
    }
  }
}

/* Bits of results computed once here: another machine or compiler that gives
** others breaks the promise of the header. */
static void bits_are_those_of_every_machine (void **state) {
  static const uint64_t want = 0xb8a699d327b2d6a7u;
  uint64_t h = 0;
  (void)state;
  for (uint64_t i = 0; i < 2000; i++) {
    double x = between(-30, 30, i), a = fabs(x);
    double v[] = {amp_exp(x),        amp_expm1(x),   amp_log(a),
                  amp_log1p(a),      amp_pow(a, x),  amp_sin(x),
                  amp_cos(x),        amp_atan(x),    amp_tan(x),
                  amp_normal_cdf(x), amp_t_cdf(x, 5)};
    for (size_t k = 0; k < LEN(v); k++) {
      uint64_t bits;
      memcpy(&bits, &v[k], sizeof bits);
      h = (h ^ bits) * 1099511628211u;
    }
  }
  if (h != want)
    fail_msg("bits are 0x%llx", (unsigned long long)h);
}

/* Phi(x) = erfc(-x/sqrt 2)/2, the C library's long double erfc. */
static void normal_cdf_agrees_with_erfc (void **state) {
  (void)state;
  skip_without_long_double();
  for (uint64_t i = 0; i < TRIES; i++) {
    double x = between(-37, 8, i);
    long double want = 0.5L * erfcl(-(long double)x * sqrtl(0.5L));
    assert_true(fabsl(amp_normal_cdf(x) - want) <= 1e-12L * want);
  }
}

/* 97.5 % point 1.959963984540054: from memory, printed in most tables to
** 1.96; the rest by closing the circle. */
static void normal_quantile_undoes_the_cdf (void **state) {
  (void)state;
  assert_close(amp_normal_quantile(0.975), 1.959963984540054, 1e-14);
  assert_close(amp_normal_quantile(0.5), 0.0, 0.0);
  assert_true(isnan(amp_normal_quantile(1.5)));
  for (uint64_t i = 0; i < TRIES; i++) {
    double x = between(-37, 5, i);
    double back = amp_normal_quantile(amp_normal_cdf(x));
    assert_close(back, x, x < 3 ? 1e-12 * fmax(1, fabs(x)) : 1e-10);
  }
}

/* Two-sided 95 % points as every table of Student's t prints them. */
static void t_quantiles_are_those_of_the_tables (void **state) {
  static const struct {
    int n;
    double t;
  } row[] = {{2, 12.706}, {3, 4.303}, {4, 3.182}, {5, 2.776},
             {6, 2.571},  {8, 2.365}, {10, 2.262}};
  (void)state;
  for (size_t i = 0; i < LEN(row); i++)
    assert_close(amp_t_quantile(0.975, row[i].n - 1), row[i].t, 5e-4);
}

/* Closed forms: dof 1 Cauchy, dof 2 t = a sqrt(2/(1-a^2)), a = 2p-1. */
static void t_agrees_with_closed_forms (void **state) {
  (void)state;
  for (uint64_t i = 0; i < 1000; i++) {
    double p = between(1e-6, 1 - 1e-6, i), a = 2 * p - 1;
    double one = tan(AMP_PI * (p - 0.5)), two = a * sqrt(2 / (1 - a * a));
    assert_close(amp_t_quantile(p, 1), one, 1e-9 * fmax(fabs(one), 1e-3));
    assert_close(amp_t_quantile(p, 2), two, 1e-9 * fmax(fabs(two), 1e-3));
    assert_close(amp_t_cdf(one, 1), p, 1e-12);
    assert_close(amp_t_cdf(two, 2), p, 1e-12);
  }
}

static void t_quantile_undoes_the_cdf (void **state) {
  static const int dof[] = {1, 2, 3, 4, 7, 8, 23, 24, 99, 100, 1000};
  static const double p[] = {1e-6, 1e-3, 0.025, 0.3, 0.4999, 0.8, 0.999};
  (void)state;
  for (size_t i = 0; i < LEN(dof); i++)
    for (size_t k = 0; k < LEN(p); k++)
      assert_close(amp_t_cdf(amp_t_quantile(p[k], dof[i]), dof[i]), p[k],
                   2e-9 * p[k]); /* worst: dof 1000, 5e-10 */
  for (size_t i = 0; i < LEN(dof); i++)
    assert_close(amp_t_quantile(0.5, dof[i]), 0.0, 1e-9);
}

/* Both sums of the t distribution meet where the code changes over. */
static void t_cdf_has_no_step_where_the_series_changes (void **state) {
  (void)state;
  for (int dof = 1; dof <= 40; dof++) {
    double t = sqrt(dof / 9.0);
    assert_close(amp_t_cdf(t * (1 + 1e-14), dof), amp_t_cdf(t, dof), 1e-13);
  }
}

/* C(12,10) = 66; C(100,50) = 1.0089134454556e29; C(52,5) = 2598960 */
static void log_choose_knows_small_and_large (void **state) {
  (void)state;
  assert_close(amp_log_choose(12, 10), log(66), 1e-12);
  assert_close(amp_log_choose(52, 5), log(2598960), 1e-12);
  assert_close(amp_log_choose(100, 50), log(1.0089134454556419e29), 1e-10);
  assert_close(amp_log_choose(5, 0), 0.0, 0.0);
  assert_true(amp_log_choose(5, 6) == -(double)INFINITY);
  for (int n = 1; n <= 100000; n = n * 3 + 1) { /* against log-gamma */
    int k = n / 3;
    long double want = lgammal(n + 1) - lgammal(k + 1) - lgammal(n - k + 1);
    assert_close(amp_log_choose(n, k), (double)want,
                 1e-12 * (double)want + 1e-14);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(exp_is_within_one_unit),
      cmocka_unit_test(log_is_within_one_unit),
      cmocka_unit_test(asinh_is_within_two_units),
      cmocka_unit_test(asinh_in_a_loop_has_the_same_bits),
      cmocka_unit_test(pow_is_within_two_units),
      cmocka_unit_test(sin_and_cos_are_within_two_units_of_1),
      cmocka_unit_test(atan_is_within_two_units),
      cmocka_unit_test(edges_of_exp_log_pow_stand_as_the_header_says),
      cmocka_unit_test(exp_in_lanes_has_the_same_bits),
      cmocka_unit_test(bits_are_those_of_every_machine),
      cmocka_unit_test(normal_cdf_agrees_with_erfc),
      cmocka_unit_test(normal_quantile_undoes_the_cdf),
      cmocka_unit_test(t_quantiles_are_those_of_the_tables),
      cmocka_unit_test(t_agrees_with_closed_forms),
      cmocka_unit_test(t_quantile_undoes_the_cdf),
      cmocka_unit_test(t_cdf_has_no_step_where_the_series_changes),
      cmocka_unit_test(log_choose_knows_small_and_large)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
