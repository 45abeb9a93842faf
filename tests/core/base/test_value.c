/*
** test_value.c -- values: what few tests say about a lot, and draws.
*/
#include "support/close.h"
#include "base/elementary.h"
#include "base/sample.h"
#include "base/value.h"
#include <string.h>

/* By hand: 96.1 and 91.4 Ah tested of 12; in Ah here. */
static void two_tests_of_twelve_give_the_sum_by_hand (void **state) {
  static const double ah[] = {96.1, 91.4};
  amp_value v;
  (void)state;
  assert_int_equal(amp_value_tested(ah, 2, 12, 0, 120, &v, NULL), AMP_OK);
  assert_close(v.value, 93.75, 1e-12);
  assert_close(v.sd, 3.323, 5e-4);
  assert_close(amp_value_half_width(&v), 27.26, 5e-3);
  /* 29.86 without the lot factor: a lot so large that it is 1 */
  assert_int_equal(amp_value_tested(ah, 2, 1000000, 0, 120, &v, NULL),
                   AMP_OK);
  assert_close(amp_value_half_width(&v), 29.86, 5e-3);
  assert_int_equal(v.basis, AMP_BASIS_MEASURED);
}

static void one_test_is_fixed_and_all_tested_leave_no_doubt (void **state) {
  static const double ah[] = {50, 52};
  amp_value v;
  (void)state;
  assert_int_equal(amp_value_tested(ah, 1, 8, 0, 60, &v, NULL), AMP_OK);
  assert_int_equal(v.spread, AMP_TESTED);
  assert_true(amp_value_is_fixed(&v) && v.n == 1 && v.of == 8);
  assert_close(amp_value_draw(&v, 1, 7, 100), 50, 0.0);
  assert_true(isnan(amp_value_half_width(&v)));
  assert_int_equal(amp_value_tested(ah, 2, 2, 0, 60, &v, NULL), AMP_OK);
  assert_close(amp_value_draw(&v, 1, 7, 100), 51, 0.0);
  assert_close(amp_value_half_width(&v), 0, 0.0);
}

static void bad_test_results_are_refused_and_nothing_written (void **state) {
  static const double ah[] = {50, 70, NAN};
  amp_value v = amp_value_fixed(3, AMP_BASIS_CLAIMED);
  amp_error err;
  (void)state;
  assert_int_equal(amp_value_tested(ah, 0, 8, 0, 60, &v, &err), AMP_EMISSING);
  assert_int_equal(amp_value_tested(ah, 2, 1, 0, 99, &v, &err), AMP_EDATA);
  assert_string_equal(err.text, "2 test results from a lot of 1");
  assert_int_equal(amp_value_tested(ah, 2, 8, 0, 60, &v, &err), AMP_ERANGE);
  assert_close(err.value, 70, 0.0);
  assert_int_equal(amp_value_tested(ah + 2, 1, 8, 0, 60, &v, &err),
                   AMP_ERANGE);
  assert_close(v.value, 3, 0.0);
}

enum { DRAWS = 2000 };

/* Quantile p of all draws of v. */
static double of_draws (const amp_value *v, double p) {
  static double x[DRAWS];
  for (size_t i = 0; i < DRAWS; i++)
    x[i] = amp_value_draw(v, 1, i, DRAWS);
  return amp_quantile(x, DRAWS, p);
}

/* Stratified draws: an error of at most about one stratum, 1/2000, in p. */
static void draws_have_the_quantiles_of_their_spread (void **state) {
  static const double ah[] = {46.1, 41.4, 44.0}, p[] = {0.1, 0.5, 0.9};
  amp_value n = amp_value_normal(80, 2, AMP_BASIS_MEASURED), t;
  amp_value e = amp_value_even(10, 14);
  (void)state;
  amp_value_tested(ah, 3, 12, 0, 1000, &t, NULL);
  n.stream = e.stream = t.stream = amp_stream("H1/soh_pct");
  double scale = t.sd / sqrt(3) * sqrt(1 - 3.0 / 12);
  for (size_t i = 0; i < LEN(p); i++) {
    assert_close(of_draws(&n, p[i]), 80 + 2 * amp_normal_quantile(p[i]),
                 0.02);
    assert_close(of_draws(&e, p[i]), 10 + 4 * p[i], 0.004);
    assert_close(of_draws(&t, p[i]),
                 t.value + scale * amp_t_quantile(p[i], 2), 0.02);
  }
}

static void tested_lot_is_cut_to_its_limits (void **state) {
  static const double ah[] = {58, 40};
  amp_value v;
  (void)state;
  amp_value_tested(ah, 2, 50, 0, 60, &v, NULL);
  assert_close(of_draws(&v, 1.0), 60, 0.0);
  assert_close(of_draws(&v, 0.0), 0, 0.0);
  assert_close(of_draws(&v, 0.5), 49, 0.1);
}

static void draw_depends_on_stream_and_seed_only (void **state) {
  amp_value a = amp_value_normal(80, 2, AMP_BASIS_CLAIMED), b = a;
  (void)state;
  a.stream = 5;
  b.stream = 6;
  assert_true(amp_value_draw(&a, 1, 3, 100) != amp_value_draw(&b, 1, 3, 100));
  assert_true(amp_value_draw(&a, 1, 3, 100) != amp_value_draw(&a, 2, 3, 100));
  b.stream = 5;
  assert_close(amp_value_draw(&a, 1, 3, 100), amp_value_draw(&b, 1, 3, 100),
               0.0);
}

static void a_factor_scales_every_draw (void **state) {
  amp_value v[3] = {amp_value_normal(80, 2, AMP_BASIS_CLAIMED),
                    amp_value_even(-1, 4),
                    amp_value_fixed(7, AMP_BASIS_ASSUMED)};
  (void)state;
  for (size_t i = 0; i < 3; i++) {
    v[i].stream = 11;
    amp_value up = amp_value_scaled(&v[i], 3600);
    amp_value down = amp_value_scaled(&v[i], -2);
    assert_true(up.stream == 11 && up.basis == v[i].basis);
    assert_true(down.lo <= down.hi && down.sd >= 0);
    assert_close(amp_value_draw(&up, 1, 2, 9),
                 3600 * amp_value_draw(&v[i], 1, 2, 9), 1e-9);
  }
}

static void unset_and_spreadless_values_know_it (void **state) {
  amp_value none = {0}, zero = amp_value_normal(4, 0, AMP_BASIS_MEASURED);
  amp_value some = amp_value_even(1, 2);
  (void)state;
  assert_false(amp_value_is_set(&none));
  assert_false(amp_value_is_fixed(&none));
  assert_true(isnan(amp_value_draw(&none, 1, 0, 1)));
  assert_true(amp_value_is_fixed(&zero));
  assert_false(amp_value_is_fixed(&some));
  assert_false(amp_given(AMP_NOT_GIVEN));
  assert_true(isnan(amp_value_half_width(&some)));
}

static void basis_folds_to_the_worst (void **state) {
  (void)state;
  assert_int_equal(amp_basis_worse(AMP_BASIS_MEASURED, AMP_BASIS_CLAIMED),
                   AMP_BASIS_CLAIMED);
  assert_int_equal(amp_basis_worse(AMP_BASIS_ASSUMED, AMP_BASIS_NONE),
                   AMP_BASIS_ASSUMED);
  assert_string_equal(amp_basis_name(AMP_BASIS_ASSUMED), "assumed");
  assert_string_equal(amp_basis_name(AMP_BASIS_NONE), "");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(two_tests_of_twelve_give_the_sum_by_hand),
      cmocka_unit_test(one_test_is_fixed_and_all_tested_leave_no_doubt),
      cmocka_unit_test(bad_test_results_are_refused_and_nothing_written),
      cmocka_unit_test(draws_have_the_quantiles_of_their_spread),
      cmocka_unit_test(tested_lot_is_cut_to_its_limits),
      cmocka_unit_test(draw_depends_on_stream_and_seed_only),
      cmocka_unit_test(a_factor_scales_every_draw),
      cmocka_unit_test(unset_and_spreadless_values_know_it),
      cmocka_unit_test(basis_folds_to_the_worst)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
