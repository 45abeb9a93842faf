/*
** test_agree.c -- the distance of two series, worked by hand.
*/
#include "support/close.h"
#include "base/agree.h"

/* differences 3, -4, 0, 12: mean 11 / 4, mean square (9 + 16 + 144) / 4 */
static void distance_of_two_series (void **state) {
  static const double measured[] = {10, 10, 10, 10};
  static const double computed[] = {13, 6, 10, 22};
  amp_agreement a = amp_agree(measured, computed, NULL, 4);
  (void)state;
  assert_int_equal(a.n, 4);
  assert_close(a.mean, 2.75, 1e-15);
  assert_close(a.rms, 6.5, 1e-15); /* sqrt(169 / 4) */
  assert_close(a.worst, 12.0, 0.0);
  assert_int_equal(a.worst_at, 3);
}

static void only_chosen_and_finite_points_count (void **state) {
  static const double measured[] = {10, 10, NAN, 10};
  static const double computed[] = {13, 6, 10, 22};
  static const bool use[] = {true, true, true, false};
  static const bool none[] = {false, false, false, false};
  amp_agreement a = amp_agree(measured, computed, use, 4);
  (void)state;
  assert_int_equal(a.n, 2);
  assert_close(a.mean, -0.5, 1e-15);
  assert_close(a.worst, -4.0, 0.0); /* its sign is kept */
  assert_int_equal(a.worst_at, 1);
  a = amp_agree(measured, computed, none, 4);
  assert_int_equal(a.n, 0);
  assert_true(isnan(a.rms) && isnan(a.mean) && isnan(a.worst));
}

/* 3.4 at 10 s to 2.4 at 20 s: 2.5 is passed at 19 s */
static void first_time_below_lies_between_points (void **state) {
  static const double time[] = {0, 10, 15, 20, 30};
  static const double v[] = {4.0, 3.4, NAN, 2.4, 2.0};
  (void)state;
  assert_close(amp_first_below(time, v, 5, 2.5), 19.0, 1e-12);
  assert_close(amp_first_below(time, v, 5, 2.4), 20.0, 1e-12);
  assert_close(amp_first_below(time, v, 5, 5.0), 0.0, 0.0);
  assert_true(isnan(amp_first_below(time, v, 5, 1.9)));
  assert_true(isnan(amp_first_below(time, v, 5, NAN)));
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(distance_of_two_series),
      cmocka_unit_test(only_chosen_and_finite_points_count),
      cmocka_unit_test(first_time_below_lies_between_points),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
