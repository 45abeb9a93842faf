/*
** test_interp.c -- curves: through their knots, monotone, and consistent in
** value, slope, inverse and integral.
*/
#include "support/close.h"
#include "base/interp.h"
#include "base/sample.h"
#include <string.h>

static const double X[] = {0, 1, 3, 4, 10};
static const double Y[] = {3.0, 3.3, 3.4, 3.9, 4.2};

static amp_curve made (amp_interp kind) {
  amp_curve c;
  assert_int_equal(amp_curve_make(X, Y, LEN(X), kind, &c, NULL), AMP_OK);
  return c;
}

static void curve_goes_through_its_knots_and_stops_there (void **state) {
  amp_curve c = made(AMP_INTERP_MONOTONE), l = made(AMP_INTERP_LINEAR);
  (void)state;
  for (size_t i = 0; i < LEN(X); i++) {
    assert_close(amp_curve_at(&c, X[i]), Y[i], 0.0);
    assert_close(amp_curve_at(&l, X[i]), Y[i], 1e-15);
  }
  assert_close(amp_curve_at(&c, -5), 3.0, 0.0);
  assert_close(amp_curve_at(&c, 50), 4.2, 0.0);
  assert_close(amp_curve_slope(&c, 50), 0.0, 0.0);
  assert_true(isnan(amp_curve_at(&c, NAN)));
}

/* Weighted harmonic mean of the slopes 0.3 (width 1) and 0.05 (width 2):
** weights 1 + 2*2 = 5 and 2*1 + 2 = 4, so 9/(5/0.3 + 4/0.05) = 27/290. */
static void inner_slope_is_fritsch_and_butlands (void **state) {
  amp_curve c = made(AMP_INTERP_MONOTONE);
  (void)state;
  assert_close(c.m[1], 27.0 / 290.0, 1e-15);
  /* end: ((2*1 + 2) 0.3 - 1*0.05)/3 = 1.15/3 */
  assert_close(c.m[0], 1.15 / 3.0, 1e-15);
  assert_close(amp_curve_slope(&c, 1.0), 27.0 / 290.0, 1e-15);
}

static void curve_of_rising_knots_rises_everywhere (void **state) {
  (void)state;
  for (uint64_t t = 0; t < 50; t++) {
    double x[12] = {0}, y[12] = {0};
    amp_curve c;
    for (uint64_t i = 1; i < 12; i++) { /* steep and flat pieces mixed */
      x[i] = x[i - 1] + amp_uniform(t, 1, i);
      y[i] = y[i - 1] + pow(amp_uniform(t, 2, i), 8);
    }
    assert_int_equal(amp_curve_make(x, y, 12, AMP_INTERP_MONOTONE, &c, NULL),
                     AMP_OK);
    double last = 0;
    for (int i = 0; i <= 2000; i++) {
      double v = amp_curve_at(&c, x[11] * i / 2000.0);
      assert_true(v >= last - 1e-15 && v <= y[11]);
      last = v;
    }
  }
}

static void slope_is_the_change_of_value (void **state) {
  amp_curve c = made(AMP_INTERP_MONOTONE);
  (void)state;
  for (int i = 1; i < 100; i++) {
    double x = 0.1 * i + 0.013, h = 1e-5;
    if (x + h > 10)
      break;
    double want = (amp_curve_at(&c, x + h) - amp_curve_at(&c, x - h)) / 2 / h;
    assert_close(amp_curve_slope(&c, x), want, 1e-8);
  }
}

static void inverse_undoes_the_curve (void **state) {
  (void)state;
  for (int kind = 0; kind < 2; kind++) {
    amp_curve c = made(kind ? AMP_INTERP_LINEAR : AMP_INTERP_MONOTONE);
    for (int i = 0; i <= 100; i++) {
      double x = 0.1 * i, back = -1;
      assert_int_equal(
          amp_curve_inverse(&c, amp_curve_at(&c, x), &back, NULL), AMP_OK);
      assert_close(back, x, 1e-12);
    }
  }
}

static void inverse_refuses_what_has_no_single_answer (void **state) {
  static const double flat[] = {3.2, 3.3, 3.3, 3.4};
  amp_curve c = made(AMP_INTERP_MONOTONE);
  amp_error err;
  double x = 77;
  (void)state;
  assert_int_equal(amp_curve_inverse(&c, 4.3, &x, &err), AMP_ERANGE);
  assert_close(err.hi, 4.2, 0.0);
  assert_int_equal(amp_curve_inverse(&c, NAN, &x, &err), AMP_ERANGE);
  amp_curve_make(X, flat, 4, AMP_INTERP_MONOTONE, &c, NULL);
  assert_int_equal(amp_curve_inverse(&c, 3.3, &x, &err), AMP_EREFUSED);
  assert_close(x, 77, 0.0);
}

/* Linear: sum of trapezia by hand, 3.15 + 6.7 + 3.65 + 24.3 = 37.8. */
static void integral_is_exact_for_the_pieces (void **state) {
  amp_curve l = made(AMP_INTERP_LINEAR), c = made(AMP_INTERP_MONOTONE);
  double sum = 0;
  (void)state;
  assert_close(amp_curve_integral(&l, 0, 10), 37.8, 1e-13);
  assert_close(amp_curve_integral(&l, -2, 12), 37.8 + 6.0 + 8.4, 1e-13);
  assert_close(amp_curve_integral(&l, 10, 0), -37.8, 1e-13);
  assert_close(amp_curve_integral(&l, 11, 13), 8.4, 1e-13);
  for (int i = 0; i < 10000; i++) /* midpoint rule, error about h^2 */
    sum += amp_curve_at(&c, (i + 0.5) * 1e-3) * 1e-3;
  assert_close(amp_curve_integral(&c, 0, 10), sum, 1e-6);
  assert_close(amp_curve_integral(&c, 0, 2.2) +
                   amp_curve_integral(&c, 2.2, 10),
               amp_curve_integral(&c, 0, 10), 1e-13);
}

static void damaged_knots_are_refused_and_nothing_is_written (void **state) {
  static const double back[] = {0, 2, 1}, nan[] = {0, NAN, 1};
  amp_curve c = made(AMP_INTERP_LINEAR), before = c;
  amp_error err;
  (void)state;
  assert_int_equal(amp_curve_make(back, Y, 3, 0, &c, &err), AMP_EDATA);
  assert_non_null(strstr(err.text, "point 3 at 1"));
  assert_int_equal(amp_curve_make(nan, Y, 3, 0, &c, &err), AMP_EDATA);
  assert_int_equal(amp_curve_make(X, nan, 3, 0, &c, &err), AMP_EDATA);
  assert_int_equal(amp_curve_make(X, Y, 1, 0, &c, &err), AMP_EDATA);
  assert_int_equal(amp_curve_make(X, Y, 257, 0, &c, &err), AMP_EDATA);
  assert_memory_equal(&c, &before, sizeof c);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(curve_goes_through_its_knots_and_stops_there),
      cmocka_unit_test(inner_slope_is_fritsch_and_butlands),
      cmocka_unit_test(curve_of_rising_knots_rises_everywhere),
      cmocka_unit_test(slope_is_the_change_of_value),
      cmocka_unit_test(inverse_undoes_the_curve),
      cmocka_unit_test(inverse_refuses_what_has_no_single_answer),
      cmocka_unit_test(integral_is_exact_for_the_pieces),
      cmocka_unit_test(damaged_knots_are_refused_and_nothing_is_written)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
