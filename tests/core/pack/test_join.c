/*
** test_join.c -- what flows when two modules are joined. Expected figures
** are worked by hand beside each.
*/
#include "support/close.h"
#include "pack/join.h"
#include "base/value.h"

/* 0.35 V over (2.0 + 1.9 + 1.0) mohm = 71.4 A, by hand */
static void first_current_is_ohms_law (void **state) {
  amp_join_side a = {25.75, 1.9e-3, 0, NAN}, b = {25.40, 2.0e-3, 0, NAN};
  amp_join j;
  (void)state;
  assert_int_equal(amp_join_two(&b, &a, 1e-3, NULL, &j, NULL), AMP_OK);
  assert_close(j.current, 71.4, 0.05);
  assert_close(j.dv, 0.35, 1e-12);
  assert_false(j.bound);
  assert_false(amp_given(j.charge));
}

/* On a straight line of 10 mV a percent, 7 groups, 0.35 V = 5 %; equal
** charge of 100 Ah: half of 5 Ah moves. */
static void half_the_difference_moves_between_equals (void **state) {
  static const double soc[] = {0.0, 1.0}, volt[] = {3.2, 4.2};
  amp_chemistry c = {0};
  amp_join_side a = {7 * 3.80, 2e-3, 7, 100 * 3600.0};
  amp_join_side b = {7 * 3.75, 2e-3, 7, 100 * 3600.0};
  amp_join j;
  (void)state;
  assert_int_equal(
      amp_curve_make(soc, volt, 2, AMP_INTERP_LINEAR, &c.ocv, NULL), AMP_OK);
  c.v_min = 3.0;
  c.v_max = 4.3;
  assert_int_equal(amp_join_two(&a, &b, 0.0, &c, &j, NULL), AMP_OK);
  assert_close(j.charge / 3600.0, 2.5, 1e-9);
  b.charge *= 4; /* four alike: dSoC C 4/5 */
  assert_int_equal(amp_join_two(&a, &b, 0.0, &c, &j, NULL), AMP_OK);
  assert_close(j.charge / 3600.0, 4.0, 1e-9);
}

static void a_missing_resistance_gives_a_bound (void **state) {
  amp_join_side a = {25.75, NAN, 0, NAN}, b = {25.40, 2.0e-3, 0, NAN};
  amp_join j = {0};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, NULL), AMP_OK);
  assert_true(j.bound);
  assert_close(j.current, 175.0, 1e-9);
  b.r = NAN;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, &err), AMP_EMISSING);
}

static void iron_phosphate_between_its_knees_is_refused (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  amp_join_side a = {8 * 3.300, 1e-3, 8, 1e5}, b = {8 * 3.298, 1e-3, 8, 1e5};
  amp_join j = {0};
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 0.0, c, &j, NULL), AMP_EREFUSED);
  assert_close(j.current, 0.0, 0.0); /* nothing was written */
}

static void nonsense_is_refused (void **state) {
  amp_join_side a = {NAN, 1e-3, 0, NAN}, b = {25.4, -1.0, 0, NAN};
  amp_join j;
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, &err), AMP_ERANGE);
  assert_string_equal(err.field, "v");
  a.v = 25.0;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, &err), AMP_ERANGE);
  assert_string_equal(err.field, "r");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(first_current_is_ohms_law),
      cmocka_unit_test(half_the_difference_moves_between_equals),
      cmocka_unit_test(a_missing_resistance_gives_a_bound),
      cmocka_unit_test(iron_phosphate_between_its_knees_is_refused),
      cmocka_unit_test(nonsense_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
