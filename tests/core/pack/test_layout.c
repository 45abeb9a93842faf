/*
** test_layout.c -- series counts against an inverter, at rest and under
** load: three invented builds reckoned by hand, and hand sums.
*/
#include "support/close.h"
#include "base/value.h"
#include "pack/layout.h"
#include <string.h>

#define K(c) ((c) + 273.15)
#define AH 3600.0

/* The invented nickel-rich table of these builds, % : V a cell. */
static amp_chemistry invented (void) {
  static const double soc[] = {0,   0.05, 0.1, 0.2, 0.3, 0.4,
                               0.5, 0.6,  0.7, 0.8, 0.9, 1.0};
  static const double volt[] = {3.00, 3.30, 3.42, 3.52, 3.58, 3.62,
                                3.67, 3.75, 3.84, 3.93, 4.05, 4.18};
  amp_chemistry c = {0};
  amp_curve_make(soc, volt, 12, AMP_INTERP_LINEAR, &c.ocv, NULL);
  strcpy(c.name, "invented");
  c.v_nominal = 3.65;
  c.v_min = 3.0;
  c.v_max = 4.18;
  c.v_daily_min = 3.3;
  c.v_daily_max = 4.1;
  return c;
}

static amp_module module_of (const amp_chemistry *c, int series, double ah,
                             double v_min, double v_max) {
  amp_module m = amp_module_defaults();
  m.chemistry = c;
  m.series = series;
  m.parallel = 1;
  m.capacity = amp_value_fixed(ah * AH, AMP_BASIS_CLAIMED);
  m.cell_v_min = v_min;
  m.cell_v_max = v_max;
  return m;
}

static const amp_layout *with_groups (const amp_layout *a, int n,
                                      int groups) {
  for (int i = 0; i < n; i++)
    if (a[i].groups == groups)
      return &a[i];
  return NULL;
}

/* Hut: 14s 57.4 <= 58.0 and 46.2 >= 42.0 fits, one module does not; 2.6 V
** under 60; 5.0 to 93.8 % = 88.8 %, 21.28 kWh of 23.95. Energy weighting
** changes that by less than 0.1 % where the table's own mean voltage, 3.701
** V, stands for the tested kWh; by 1.4 % where 3.65 V does. */
static void the_hut_takes_two_modules (void **state) {
  amp_chemistry c = invented();
  amp_module m = module_of(&c, 7, 93.75, 3.30, 4.10);
  amp_layout a[AMP_LAYOUTS];
  int n = amp_layouts(&m, 42, 58, 60, a);
  const amp_layout *two = with_groups(a, n, 14);
  (void)state;
  assert_false(with_groups(a, n, 7)->fits);
  assert_true(two->fits);
  assert_close(two->v_full, 57.40, 1e-9);
  assert_close(two->v_empty, 46.2, 1e-9);
  assert_close(two->margin, 2.6, 1e-9);
  assert_close(two->window.soc_min * 100, 5.0, 0.05);
  assert_close(two->window.soc_max * 100, 93.8, 0.05);
  assert_close(23.953 * amp_window_by_charge(&two->window), 21.28, 0.01);
  assert_close(amp_window_by_energy(&c, &two->window,
                                    amp_curve_integral(&c.ocv, 0, 1)) /
                   amp_window_by_charge(&two->window),
               1.0, 1e-3);
  assert_close(amp_window_by_energy(&c, &two->window, 3.65) /
                   amp_window_by_charge(&two->window),
               1.014, 1e-3);
}

/* LFP in pairs: 16 x 3.55 = 56.8 V, 16 x 2.80 = 44.8 V fits 42 .. 58. */
static void iron_phosphate_in_pairs (void **state) {
  amp_module m = module_of(amp_chemistry_find("lfp"), 8, 105, 2.80, 3.55);
  amp_layout a[AMP_LAYOUTS];
  int n = amp_layouts(&m, 42, 58, 60, a);
  (void)state;
  assert_true(with_groups(a, n, 16)->fits);
  assert_close(with_groups(a, n, 16)->v_full, 56.80, 1e-9);
  assert_close(with_groups(a, n, 16)->v_empty, 44.8, 1e-9);
}

/*
** Cold store, modules of 4 groups, 42.0 .. 58.4 V, never over 60: 12s 49.2 V
** full, floor 3.50 V = 18.0 %, 18.0 - 93.8 = 75.8 %; five strings 15.61 kWh
** of 20.59. 16s at 4.10 would be 65.6 V: refused; held to 58.4 V it is 46.0
** to 3.3 % = 42.7 % of 21.96, 9.37 kWh by charge, 9.04 by energy.
*/
static void four_groups_make_twelve_and_not_sixteen (void **state) {
  amp_chemistry c = invented();
  amp_module m = module_of(&c, 4, 94, 3.20, 4.10);
  amp_layout a[AMP_LAYOUTS];
  int n = amp_layouts(&m, 42, 58.4, 60, a);
  const amp_layout *three = with_groups(a, n, 12);
  (void)state;
  assert_true(three->fits && three->window.clipped_low);
  assert_close(three->v_full, 49.20, 1e-9);
  assert_close(three->window.soc_min * 100, 18.0, 0.05);
  assert_close(amp_window_by_charge(&three->window) * 100, 75.8, 0.05);
  assert_close(15 * 14.6 * 0.094 * amp_window_by_charge(&three->window),
               15.61, 0.005);
  assert_false(with_groups(a, n, 16)->fits);
  assert_null(with_groups(a, n, 14));
  n = amp_layouts(&m, 42, 58.4, 0, a); /* without the absolute limit */
  const amp_window *w = &with_groups(a, n, 16)->window;
  assert_close(w->soc_max * 100, 46.0, 0.05);
  assert_close(w->soc_min * 100, 3.3, 0.05);
  assert_close(21.96 * amp_window_by_charge(w), 9.37, 0.01);
  assert_close(21.96 * amp_window_by_energy(&c, w, 3.65), 9.04, 0.01);
}

/* Mast: 7s 28.35 V at 4.05, 22.4 V at 3.20 fits 21.6 .. 29.0, 3.3 to 90 % =
** 86.7 %. 8s of R1 held to 28.4 V: 25 %, 3.285 kWh of 13.14 by charge and
** 3.06 by energy; one module alone is below the bus. */
static void the_mast_takes_seven_and_not_eight (void **state) {
  amp_chemistry c = invented();
  amp_module m = module_of(&c, 7, 60, 3.20, 4.05);
  amp_layout a[AMP_LAYOUTS];
  int n = amp_layouts(&m, 21.6, 29.0, 0, a);
  (void)state;
  assert_true(with_groups(a, n, 7)->fits);
  assert_close(with_groups(a, n, 7)->v_full, 28.35, 1e-9);
  assert_close(with_groups(a, n, 7)->v_empty, 22.4, 1e-9);
  assert_close(amp_window_by_charge(&with_groups(a, n, 7)->window) * 100,
               86.7, 0.05);
  m = module_of(&c, 4, 150, 3.0, 4.10);
  n = amp_layouts(&m, 21.6, 28.4, 0, a);
  const amp_window *w = &with_groups(a, n, 8)->window;
  assert_false(with_groups(a, n, 4)->fits);
  assert_close(w->soc_max * 100, 25.0, 1e-6);
  assert_close(13.14 * amp_window_by_charge(w), 3.285, 1e-6);
  assert_close(13.14 * amp_window_by_energy(&c, w, 3.65), 3.06, 0.005);
}

/* 14 groups at 4.10, 16 at 3.55, 12 and 16 at 4.10. */
static void groups_times_volts (void **state) {
  static const struct {
    int series;
    double v, want;
  } row[] = {{14, 4.10, 57.40}, {12, 4.10, 49.20}, {16, 4.10, 65.60}};
  amp_chemistry c = invented();
  amp_layout a[AMP_LAYOUTS];
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_module m = module_of(&c, row[i].series, 100, 3.3, row[i].v);
    amp_layouts(&m, 0, 0, 0, a);
    assert_close(a[0].v_full, row[i].want, 1e-9);
  }
}

/* Groups that modules cannot make are refused, with those that they can. */
static void fourteen_of_four_is_refused (void **state) {
  amp_chemistry c = invented();
  amp_module m = module_of(&c, 4, 94, 3.2, 4.1);
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_layout_of_groups(&m, 14, &err), AMP_EREFUSED);
  assert_string_equal(
      err.text, "modules of 4 groups cannot make 14 in series: 12 or 16");
  assert_int_equal(amp_layout_of_groups(&m, 16, &err), AMP_OK);
  assert_int_equal(amp_layout_of_groups(&m, 3, &err), AMP_EREFUSED);
  assert_int_equal(amp_layout_of_groups(&m, 0, &err), AMP_ERANGE);
}

/* ---- under load ---- */

/* v (e - v) = p r: 50 V, 10 mohm, 6 kW: (50 + sqrt(2500 - 240))/2 = 48.77;
** at most 62.5 kW. */
static void sag_is_the_upper_root (void **state) {
  double v = 1.0;
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_sag(50, 0.01, 6000, &v, NULL), AMP_OK);
  assert_close(v, 48.7697, 1e-4);
  assert_close(v * (50 - v), 60.0, 1e-9);
  assert_int_equal(amp_sag(50, 0.01, 62.6e3, &v, &err), AMP_EREFUSED);
  assert_int_equal(amp_sag(50, NAN, 1, &v, &err), AMP_ERANGE);
  assert_close(v, 48.7697, 1e-4);
}

/*
** Cold store, 12s, five strings: 1.1 kW running through 0.93 is 28.2 A at
** the 42 V floor, 5.5 times that 155 A. With 1.5 mohm a module the bank has
** 3 x 1.5 / 5 = 0.9 mohm by 10 s: 155 A sag 0.14 V, so it cuts out at 42.14
** V = 3.512 V a cell, 19.2 % against 18.0. By hand, at mid charge where the
** resistance keeps its value down to 20 % and 1 % more at 19.
*/
static void a_surge_lifts_the_floor (void **state) {
  amp_chemistry c = invented();
  amp_module m = module_of(&c, 4, 94, 3.20, 4.10);
  amp_layout a[AMP_LAYOUTS];
  int n = amp_layouts(&m, 42, 58.4, 60, a);
  const amp_layout *three = with_groups(a, n, 12);
  amp_layout_load load = {5, 42.0, 5.5 * 1100, 0.93, K(25), true};
  amp_layout_sag s, cold;
  (void)state;
  assert_int_equal(
      amp_layout_under(&m, three, 94 * AH, 1.5e-3, &load, &s, NULL), AMP_OK);
  assert_close(s.current, 155, 0.5);
  assert_close(s.r * 1e3, 0.9, 0.005);
  assert_close(s.sag, 0.14, 0.002);
  /* 55.9 % charge is 3.717 V, 44.61 V; 6.05 kW/0.93 through 0.9 mohm: v =
     (e + sqrt(e^2 - 4 p r))/2 = 44.48 V */
  assert_close(s.v_mid, 44.48, 0.01);
  assert_true(s.bites);
  assert_close(s.floor * 100, 19.2, 0.05);
  load.temp = K(-10);
  assert_int_equal(
      amp_layout_under(&m, three, 94 * AH, 1.5e-3, &load, &cold, NULL),
      AMP_OK);
  assert_true(cold.sag > 1.5 * s.sag && cold.floor > s.floor);
  load.temp = K(25);
  load.brief = false; /* what lasts meets more than 10 s show */
  assert_int_equal(
      amp_layout_under(&m, three, 94 * AH, 1.5e-3, &load, &cold, NULL),
      AMP_OK);
  assert_true(cold.r > 1.2 * s.r);
  load.power = 1100;
  assert_int_equal(
      amp_layout_under(&m, three, 94 * AH, 1.5e-3, &load, &s, NULL), AMP_OK);
  assert_close(s.current, 28.2, 0.05);
}

/* A floor inside the window stays; a load no charge can carry says so. */
static void a_light_load_leaves_the_floor (void **state) {
  amp_chemistry c = invented();
  amp_module m = module_of(&c, 7, 93.75, 3.30, 4.10);
  amp_layout a[AMP_LAYOUTS];
  int n = amp_layouts(&m, 42, 58, 60, a);
  const amp_layout *two = with_groups(a, n, 14);
  amp_layout_load load = {5, 42.0, 3000, 0.92, K(25), false};
  amp_layout_sag s = {.floor = 7};
  amp_error err = {0};
  (void)state;
  assert_int_equal(
      amp_layout_under(&m, two, 93.75 * AH, 2e-3, &load, &s, NULL), AMP_OK);
  assert_false(s.bites); /* 46.2 V at the floor, 42 V cut-out */
  assert_close(s.floor, two->window.soc_min, 0.0);
  assert_int_equal(
      amp_layout_under(&m, two, 93.75 * AH, 0.5, &load, &s, NULL), AMP_OK);
  assert_true(s.never);
  assert_close(s.floor, two->window.soc_max, 0.0);
  s.floor = 7;
  assert_int_equal(amp_layout_under(&m, with_groups(a, n, 7), 93.75 * AH,
                                    2e-3, &load, &s, &err),
                   AMP_EREFUSED);
  load.power = NAN;
  assert_int_equal(
      amp_layout_under(&m, two, 93.75 * AH, 2e-3, &load, &s, &err),
      AMP_ERANGE);
  assert_close(s.floor, 7, 0.0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_hut_takes_two_modules),
      cmocka_unit_test(iron_phosphate_in_pairs),
      cmocka_unit_test(four_groups_make_twelve_and_not_sixteen),
      cmocka_unit_test(the_mast_takes_seven_and_not_eight),
      cmocka_unit_test(groups_times_volts),
      cmocka_unit_test(fourteen_of_four_is_refused),
      cmocka_unit_test(sag_is_the_upper_root),
      cmocka_unit_test(a_surge_lifts_the_floor),
      cmocka_unit_test(a_light_load_leaves_the_floor),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
