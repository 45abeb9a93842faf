/*
** test_solve.c -- Brent's method on roots that are known.
*/
#include "support/close.h"
#include "base/solve.h"
#include <string.h>

static int calls;

static double cubic (void *arg, double x) { /* root of x^3 = *arg */
  calls++;
  return x * x * x - *(double *)arg;
}

static double steep (void *arg, double x) { /* a step at 0.7 */
  (void)arg;
  return x < 0.7 ? -1.0 : 1.0;
}

static double flat (void *arg, double x) { /* ninefold root at 1 */
  (void)arg;
  return pow(x - 1.0, 9);
}

static double hole (void *arg, double x) {
  (void)arg;
  return x > 0.4 && x < 0.6 ? NAN : x - 0.5;
}

static void root_of_a_cubic_is_found_in_few_steps (void **state) {
  double two = 2.0, x = 0;
  (void)state;
  calls = 0;
  assert_int_equal(amp_root(cubic, &two, 0, 10, 0, &x, NULL), AMP_OK);
  assert_close(x, cbrt(2.0), 1e-15);
  assert_true(calls < 20);
  assert_int_equal(amp_root(cubic, &two, 10, 0, 0, &x, NULL), AMP_OK);
  assert_close(x, cbrt(2.0), 1e-15);
}

static void root_at_an_end_is_that_end (void **state) {
  double eight = 8.0, x = 0;
  (void)state;
  assert_int_equal(amp_root(cubic, &eight, 2, 5, 1e-9, &x, NULL), AMP_OK);
  assert_close(x, 2.0, 0.0);
  assert_int_equal(amp_root(cubic, &eight, -5, 2, 1e-9, &x, NULL), AMP_OK);
  assert_close(x, 2.0, 0.0);
}

static void steps_and_flat_roots_do_not_trap_it (void **state) {
  double x = 0;
  (void)state;
  assert_int_equal(amp_root(steep, NULL, 0, 1, 1e-12, &x, NULL), AMP_OK);
  assert_close(x, 0.7, 1e-12);
  /* within 1e-2 of it the ninth power is below 1e-18 already */
  assert_int_equal(amp_root(flat, NULL, 0, 3, 1e-6, &x, NULL), AMP_OK);
  assert_close(x, 1.0, 1e-5);
}

static void no_change_of_sign_is_refused_and_x_kept (void **state) {
  double two = 2.0, x = 77;
  amp_error err;
  (void)state;
  assert_int_equal(amp_root(cubic, &two, 5, 9, 0, &x, &err), AMP_EREFUSED);
  assert_string_equal(err.text, "no change of sign between 5 and 9");
  assert_int_equal(amp_root(cubic, &two, NAN, 9, 0, &x, &err), AMP_EREFUSED);
  assert_int_equal(amp_root(hole, NULL, 0, 1, 0, &x, &err), AMP_EREFUSED);
  assert_close(x, 77, 0.0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(root_of_a_cubic_is_found_in_few_steps),
      cmocka_unit_test(root_at_an_end_is_that_end),
      cmocka_unit_test(steps_and_flat_roots_do_not_trap_it),
      cmocka_unit_test(no_change_of_sign_is_refused_and_x_kept)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
