/*
** test_place.c -- floor, stack, warmth, lock-outs and idle draw against hand
** sums, those of the mountain hut (its readings are invented) among them, and
** against published textbook sums, each named where it stands.
*/
#include "support/close.h"
#include "ampstead.h"
#include <string.h>

#define K(c) ((c) + 273.15)
#define KWH 3.6e6
#define DAY 86400.0

static amp_site bare (void) {
  return amp_site_defaults();
}

/* The hut: 175 kg of modules and 45 kg besides on 2.0 kPa need at least
** 220 x 9.81 / 2000 = 1.08 m2. */
static void a_floor_asks_for_an_area (void **state) {
  amp_site s = bare();
  amp_footing f;
  (void)state;
  s.floor_load = 2000.0;
  s.extra_mass = 45.0;
  assert_int_equal(amp_site_footing(&s, 10, 17.5, &f, NULL), AMP_OK);
  assert_close(f.mass, 220.0, 1e-9);
  assert_close(f.area_least, 1.0791, 1e-9);
  assert_false(amp_given(f.pressure)); /* no area was given */
  assert_false(amp_given(f.lowest));
  s.floor_area = 1.2;
  assert_int_equal(amp_site_footing(&s, 10, 17.5, &f, NULL), AMP_OK);
  assert_close(f.pressure, 1798.5, 1e-9);
  assert_close(f.mass_most, 2400.0 / 9.81, 1e-9);
  /* on its least area the floor carries just its limit */
  s.floor_area = f.area_least;
  assert_int_equal(amp_site_footing(&s, 10, 17.5, &f, NULL), AMP_OK);
  assert_close(f.pressure, 2000.0, 1e-9);
}

/* Five high: four of 17.5 kg lie on the lowest; one alone carries nothing. */
static void the_lowest_module_carries_the_others (void **state) {
  amp_site s = bare();
  amp_footing f;
  (void)state;
  s.stack = 5;
  assert_int_equal(amp_site_footing(&s, 10, 17.5, &f, NULL), AMP_OK);
  assert_close(f.lowest, 70.0, 1e-9);
  s.stack = 1;
  assert_int_equal(amp_site_footing(&s, 10, 17.5, &f, NULL), AMP_OK);
  assert_close(f.lowest, 0.0, 0.0);
}

/* By hand: 175 kg by 17 K = 0.826 kWh, with 1000 J/(kg K). */
static void warming_takes_mass_times_rise (void **state) {
  amp_site s = bare();
  amp_warming w;
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_site_warm(&s, 175e3, 0.0, K(5), &w, &err),
                   AMP_EMISSING);
  assert_string_equal(err.field, "coldest");
  s.coldest = K(-12);
  assert_int_equal(amp_site_warm(&s, 175e3, 10.0, K(5), &w, NULL), AMP_OK);
  assert_close(w.stored / KWH, 0.8264, 5e-5);
  assert_close(w.hold, 170.0, 1e-9);
  assert_false(amp_given(w.time)); /* no heater: neither time nor losses */
  assert_false(amp_given(w.energy));
  assert_int_equal(amp_site_warm(&s, 175e3, 10.0, K(-13), &w, &err),
                   AMP_ERANGE);
}

/* A textbook module, 45 kg at 1000 J/(kg K): 10 K are 125.0 Wh; and 3 h at
** 60 W, nothing carried away, are 14.4 K. */
static void a_module_warms_as_computed_by_hand (void **state) {
  amp_site s = bare();
  amp_warming w;
  amp_site_heat h;
  (void)state;
  s.coldest = K(10);
  assert_int_equal(amp_site_warm(&s, 45e3, 0.0, K(20), &w, NULL), AMP_OK);
  assert_close(w.stored / 3600.0, 125.0, 1e-9);
  assert_int_equal(amp_site_heat_of(&s, 100.0, 6e-3, 45e3, 0.0, &h, NULL),
                   AMP_OK);
  assert_close(h.heat, 60.0, 1e-9);
  assert_close(h.per_s * 3 * 3600.0, 14.4, 1e-9);
  assert_true(isinf(h.rise));
}

/* With a heater the energy is what stays and what is lost, and the closed
** form of docs/model/heat.md; the user's own loss stands in for the mass's. */
static void a_heater_pays_the_losses_too (void **state) {
  amp_site s = bare();
  amp_warming w, direct;
  amp_error err = {0};
  (void)state;
  s.coldest = K(-12);
  s.heater = 500.0;
  s.loss = 10.0;
  assert_int_equal(amp_site_warm(&s, 175e3, 3.0, K(5), &w, NULL), AMP_OK);
  amp_warm(175e3, 10.0, K(-12), 500.0, K(-12), K(5), &direct, NULL);
  assert_close(w.time, direct.time, 0.0);
  assert_close(w.energy, w.stored + w.lost, 1e-6);
  assert_true(w.lost > 0.0);
  s.heater = 150.0; /* ends 15 K up: 5 C is never reached */
  assert_int_equal(amp_site_warm(&s, 175e3, 3.0, K(5), &w, &err),
                   AMP_EREFUSED);
}

/* 3 A through 30 mohm make 0.270 W (the reference's Bernardi line, without
** the entropic share); 1 W against 0.04185 W/K ends 23.90 K up (an 18650,
** lumped, of the same reference). */
static void heat_lifts_the_cells_above_the_place (void **state) {
  amp_site s = bare();
  amp_site_heat h;
  (void)state;
  s.warmest = K(30);
  assert_int_equal(amp_site_heat_of(&s, 3.0, 30e-3, 43.65, 0.04185, &h, NULL),
                   AMP_OK);
  assert_close(h.heat, 0.270, 1e-12);
  assert_int_equal(amp_site_heat_of(&s, 1.0, 1.0, 43.65, 0.04185, &h, NULL),
                   AMP_OK);
  assert_close(h.rise, 23.90, 0.01);
  assert_close(h.cells, K(30) + h.rise, 1e-9);
  /* no current, no heat, even where nothing cools */
  assert_int_equal(amp_site_heat_of(&s, 0.0, 1.0, 43.65, 0.0, &h, NULL),
                   AMP_OK);
  assert_close(h.rise, 0.0, 0.0);
}

/* LFP and nickel-rich: no charge below 0 C; lead-acid has no such table. */
static void charge_is_locked_out_below_freezing (void **state) {
  amp_chemistry own = *amp_chemistry_find("nmc111");
  amp_span s;
  (void)state;
  strcpy(own.name, "from the shed");
  assert_string_equal(amp_rates_for(&own)->name, "lithium");
  assert_string_equal(amp_rates_for(amp_chemistry_find("lfp"))->name,
                      "lfp_small");
  assert_null(amp_rates_for(amp_chemistry_find("lead_acid")));
  s = amp_rate_span(&amp_rates_find("lithium")->charge);
  assert_close(s.from, K(0), 1e-9);
  assert_close(s.to, K(45), 1e-9);
  assert_false(s.open);
  s = amp_rate_span(&amp_rates_find("lfp_prismatic")->charge);
  assert_close(s.from, K(0), 1e-9);
  assert_close(s.to, K(60), 1e-9);
  assert_true(s.open); /* at 0 C itself still nothing */
  s = amp_rate_span(&amp_rates_find("lfp_small")->discharge);
  assert_close(s.from, K(-20), 1e-9);
}

static void a_curve_without_current_spans_nothing (void **state) {
  amp_rate_curve none = {0}, zero = {2, {K(0), K(40)}, {0.0, 0.0}};
  (void)state;
  assert_true(isinf(amp_rate_span(&none).from));
  assert_true(amp_rate_span(&none).from < amp_rate_span(&none).to);
  assert_true(amp_rate_span(&zero).from > amp_rate_span(&zero).to);
}

/* The hut closed for 181 days with 21.28 kWh: 6 W of telemetry ask for 26.1
** kWh and last 148 days; with the inverter's 32 W left on, 23 days. */
static void an_idle_draw_empties_what_may_not_be_charged (void **state) {
  amp_idling i;
  (void)state;
  assert_int_equal(amp_idling_of(21.28 * KWH, 6.0, 181 * DAY, &i, NULL),
                   AMP_OK);
  assert_close(i.time / DAY, 148.0, 0.5);
  assert_close(i.need / KWH, 26.1, 0.05);
  assert_close(i.lacks / KWH, 26.064 - 21.28, 1e-9);
  assert_close(i.most, 21.28e3 / 181 / 24, 1e-9);
  assert_int_equal(amp_idling_of(21.28 * KWH, 38.0, 181 * DAY, &i, NULL),
                   AMP_OK);
  assert_close(i.time / DAY, 23.0, 0.5);
  assert_int_equal(amp_idling_of(KWH, 0.0, DAY, &i, NULL), AMP_OK);
  assert_true(isinf(i.time));
  assert_close(i.lacks, 0.0, 0.0);
  assert_int_equal(amp_idling_of(KWH, 1.0, AMP_NOT_GIVEN, &i, NULL), AMP_OK);
  assert_close(i.time, KWH, 1e-6);
  assert_false(amp_given(i.lacks));
}

static void what_makes_no_sense_is_refused (void **state) {
  amp_site s = bare();
  amp_footing f;
  amp_error err = {0};
  amp_idling i;
  (void)state;
  assert_int_equal(amp_site_footing(&s, 10, AMP_NOT_GIVEN, &f, &err),
                   AMP_EMISSING);
  s.coldest = K(31);
  s.warmest = K(30);
  assert_int_equal(amp_site_check(&s, &err), AMP_EDATA);
  assert_string_equal(err.text,
                      "the coldest, 31 C, lies above the warmest, 30 C");
  s = bare();
  s.floor_area = 0.0;
  assert_int_equal(amp_site_check(&s, &err), AMP_ERANGE);
  assert_string_equal(err.field, "floor_area");
  s = bare();
  s.extra_mass = AMP_NOT_GIVEN;
  assert_int_equal(amp_site_check(&s, NULL), AMP_ERANGE);
  assert_int_equal(amp_idling_of(NAN, 1.0, 1.0, &i, NULL), AMP_ERANGE);
  assert_int_equal(amp_idling_of(1.0, -1.0, 1.0, &i, NULL), AMP_ERANGE);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_floor_asks_for_an_area),
      cmocka_unit_test(the_lowest_module_carries_the_others),
      cmocka_unit_test(warming_takes_mass_times_rise),
      cmocka_unit_test(a_module_warms_as_computed_by_hand),
      cmocka_unit_test(a_heater_pays_the_losses_too),
      cmocka_unit_test(heat_lifts_the_cells_above_the_place),
      cmocka_unit_test(charge_is_locked_out_below_freezing),
      cmocka_unit_test(a_curve_without_current_spans_nothing),
      cmocka_unit_test(an_idle_draw_empties_what_may_not_be_charged),
      cmocka_unit_test(what_makes_no_sense_is_refused)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
