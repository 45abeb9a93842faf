/*
** test_voltages.c -- voltages of one module that agree and that cannot, and
** the cell that was typed a decimal mark off. Sums by hand stand beside them.
*/
#include "support/close.h"
#include "pack/voltages.h"
#include <math.h>
#include <string.h>

/* Eight groups of iron phosphate, 20 mV or 0.2 %. */
static const amp_voltage_limits eight = {8, 2.5, 3.65, 0.020, 0.002};

static amp_reading row_of (double ocv, double low, double high) {
  amp_reading r = amp_reading_defaults();
  r.ocv = ocv;
  r.group_min = low;
  r.group_max = high;
  return r;
}

static void a_sum_of_groups_agrees (void **state) {
  /* 7 x 3.299 + 3.301 = 26.394; 3.299 + 7 x 3.301 = 26.406 */
  amp_reading r = row_of(26.40, 3.299, 3.301);
  amp_voltages v = amp_voltages_of(&r, &eight);
  (void)state;
  assert_false(v.clash);
  assert_close(v.lo, 26.394, 1e-12);
  assert_close(v.hi, 26.406, 1e-12);
  assert_close(v.least, 3.299, 0.0);
  assert_null(amp_voltages_slip(&r, &eight).cell);
  r.ocv = 26.47; /* 0.2 % is 53 mV: up to 26.459 */
  assert_true(amp_voltages_of(&r, &eight).clash);
  r.ocv = 26.45;
  assert_false(amp_voltages_of(&r, &eight).clash);
}

/* With 26.40 V and 3.301 V at most no group is below 26.40 - 7 x 3.301 =
** 3.293 V, whatever was typed; a highest group of 5.3 V beside 3.299 V cannot
** be above 26.40 - 7 x 3.299 = 3.307 V. */
static void the_others_bound_a_group (void **state) {
  amp_reading low = row_of(26.40, 1.500, 3.301);
  amp_reading high = row_of(26.40, 3.299, 5.300);
  (void)state;
  amp_voltages v = amp_voltages_of(&low, &eight);
  assert_true(v.clash);
  assert_close(v.least, 3.293, 1e-12);
  assert_close(v.most, 3.301, 0.0);
  v = amp_voltages_of(&high, &eight);
  assert_true(v.clash);
  assert_close(v.most, 3.307, 1e-12);
  assert_close(v.least, 3.299, 0.0);
  /* a dead group that the module's voltage knows of: 7 x 3.301 + 1.5 */
  low.ocv = 24.607;
  v = amp_voltages_of(&low, &eight);
  assert_false(v.clash);
  assert_close(v.least, 1.500, 0.0);
}

/* One end alone: the others are at most 3.65 V, at least 0 V. */
static void one_end_alone_bounds_too (void **state) {
  amp_reading low = row_of(26.40, 0.0033, AMP_NOT_GIVEN);
  amp_reading high = row_of(26.40, AMP_NOT_GIVEN, 3.20);
  amp_reading none = row_of(26.40, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
  (void)state;
  assert_true(amp_voltages_of(&low, &eight).clash); /* 25.553 at most */
  low.group_min = 1.0;                              /* 26.55 */
  assert_false(amp_voltages_of(&low, &eight).clash);
  low.group_min = 3.40; /* 27.20 at least */
  assert_true(amp_voltages_of(&low, &eight).clash);
  assert_true(amp_voltages_of(&high, &eight).clash); /* 25.60 at most */
  high.group_max = 3.30;
  assert_false(amp_voltages_of(&high, &eight).clash);
  assert_false(amp_voltages_of(&none, &eight).clash);
  assert_false(amp_given(amp_voltages_of(&none, &eight).lo));
}

static void the_cell_that_slipped_is_found (void **state) {
  static const struct {
    double ocv, low, high;
    const char *cell; /* NULL: none, or not one alone */
    double meant;
  } cases[] = {{26.40, 0.003299, 3.301, "lowest group", 3.299},
               {26.40, 0.3299, 3.301, "lowest group", 3.299},
               {26.40, 3.299, 0.3301, "highest group", 3.301},
               {264.0, 3.299, 3.301, "module", 26.40},
               {26400, 3.299, 3.301, "module", 26.40},
               {2.640, 3.299, 3.301, "module", 26.40},
               {264.0, AMP_NOT_GIVEN, AMP_NOT_GIVEN, "module", 26.40},
               {26.40, 1.500, 3.301, NULL, 0.0},   /* a digit, no mark */
               {26.40, 0.0033, 0.0033, NULL, 0.0}, /* two of them */
               {26.40, 0.03, 0.05, NULL, 0.0},
               {22.08, 3.299, 3.301, NULL, 0.0}}; /* a group left out */
  (void)state;
  for (size_t i = 0; i < LEN(cases); i++) {
    amp_reading r = row_of(cases[i].ocv, cases[i].low, cases[i].high);
    amp_slip s = amp_voltages_slip(&r, &eight);
    if ((s.cell == NULL) != (cases[i].cell == NULL) ||
        (s.cell != NULL && strcmp(s.cell, cases[i].cell) != 0))
      fail_msg("case %zu: %s", i, s.cell != NULL ? s.cell : "none");
    if (s.cell != NULL)
      assert_close(s.meant, cases[i].meant, 1e-9);
  }
}

static void no_cell_bears_that (void **state) {
  (void)state; /* 1.5 x 3.65 x 8 = 43.8 V */
  assert_true(amp_voltage_is_none(264.0, &eight));
  assert_true(amp_voltage_is_none(43.9, &eight));
  assert_false(amp_voltage_is_none(43.7, &eight)); /* overcharged, perhaps */
  assert_false(amp_voltage_is_none(AMP_NOT_GIVEN, &eight));
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_sum_of_groups_agrees),
      cmocka_unit_test(the_others_bound_a_group),
      cmocka_unit_test(one_end_alone_bounds_too),
      cmocka_unit_test(the_cell_that_slipped_is_found),
      cmocka_unit_test(no_cell_bears_that)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
