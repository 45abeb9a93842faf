/*
** test_heat.c -- current limits by temperature, entropic tables, coolant,
** warming in closed form.
*/
#include "support/close.h"
#include "ampstead.h"

#define C(t) (273.15 + (t))

/* The sheet's points (302 Ah LFP): 5 C 0.42, 10 C 0.81; none at 0 and 60 C. */
static void limits_follow_their_sheet (void **state) {
  const amp_rates *r = amp_rates_find("lfp_prismatic");
  (void)state;
  assert_close(amp_rate_at(&r->charge, C(5.0)), 0.42, 1e-12);
  assert_close(amp_rate_at(&r->charge, C(7.5)), 0.615, 1e-12);
  assert_close(amp_rate_at(&r->charge, C(0.0)), 0.0, 1e-12);
  assert_close(amp_rate_at(&r->charge, C(-0.01)), 0.0, 0.0);
  assert_close(amp_rate_at(&r->charge, C(61.0)), 0.0, 0.0);
  assert_close(amp_rate_at(&r->discharge, C(-20.0)), 0.5, 1e-12);
  assert_close(amp_rate_at(&r->discharge, C(-36.0)), 0.0, 0.0);
  assert_null(amp_rates_find("lto"));
  for (int i = 0; amp_rates_name(i) != NULL; i++) {
    const amp_rates *one = amp_rates_find(amp_rates_name(i));
    assert_int_equal(amp_rates_check(one, NULL), AMP_OK);
    assert_non_null(one->source);
    /* no charge below freezing, whatever the table */
    assert_close(amp_rate_at(&one->charge, C(-1.0)), 0.0, 0.0);
  }
}

/* Where two points stand at one temperature the lower holds there. */
static void at_a_jump_the_lower_value_holds (void **state) {
  const amp_rates *r = amp_rates_find("lfp_small");
  (void)state;
  assert_close(amp_rate_at(&r->charge, C(14.99)), 0.2, 1e-12);
  assert_close(amp_rate_at(&r->charge, C(15.0)), 0.2, 1e-12);
  assert_close(amp_rate_at(&r->charge, C(15.01)), 0.5, 1e-12);
}

static void no_table_is_no_limit (void **state) {
  amp_rate_curve none = {0};
  (void)state;
  assert_true(amp_rate_at(&none, C(-40.0)) >= 100.0);
}

static void falling_temperatures_are_refused (void **state) {
  amp_rates r = {0};
  amp_error err = {0};
  (void)state;
  r.charge = (amp_rate_curve){2, {C(10), C(5)}, {1.0, 1.0}};
  assert_int_equal(amp_rates_check(&r, &err), AMP_ERANGE);
  assert_string_equal(err.field, "rate_temp");
  r.charge = (amp_rate_curve){1, {C(10)}, {1.0}};
  assert_int_equal(amp_rates_check(&r, &err), AMP_EDATA);
  r.charge = (amp_rate_curve){2, {C(5), C(10)}, {1.0, NAN}};
  assert_int_equal(amp_rates_check(&r, &err), AMP_ERANGE);
}

/* The reference table at 10, 50 and 90 %: nmc111 -0.476, -0.087, -0.053,
** lfp -0.488, -0.039, +0.067 mV/K; between points straight. */
static void entropic_tables_are_the_published_ones (void **state) {
  const char *source;
  const double *nmc = amp_entropic_find("nmc111", &source);
  const double *lfp = amp_entropic_find("lfp", NULL);
  (void)state;
  assert_non_null(source);
  assert_close(amp_entropic_at(nmc, 0.10), -0.476e-3, 1e-12);
  assert_close(amp_entropic_at(nmc, 0.50), -0.087e-3, 1e-12);
  assert_close(amp_entropic_at(nmc, 1.00), -0.045e-3, 1e-12);
  assert_close(amp_entropic_at(lfp, 0.90), 0.067e-3, 1e-12);
  assert_close(amp_entropic_at(lfp, 0.525), -0.033e-3, 1e-12);
  assert_null(amp_entropic_find("lead_acid", &source));
  assert_null(source);
}

/* Water 2 l/min, 138.9 W/K of flow; a wall without end takes all of it, a
** thin one what it lets through. */
static void coolant_takes_no_more_than_flow_and_wall (void **state) {
  double w = 2.0 / 60.0 * 0.9965 * 4181.0;
  (void)state;
  assert_close(w, 138.88, 0.01);
  assert_close(amp_coolant_conductance(w, 1e6), w, 1e-9);
  assert_close(amp_coolant_conductance(w, 1.0), 1.0, 0.005);
  assert_close(amp_coolant_conductance(0.0, 50.0), 0.0, 0.0);
  /* by hand: 1 - exp(-1) */
  assert_close(amp_coolant_conductance(50.0, 50.0), 50.0 * 0.6321205588,
               1e-8);
}

/* By hand: 175 kg, 1000 J/(kg K), 17 K: 0.826 kWh. */
static void warming_without_loss_is_mass_times_degrees (void **state) {
  amp_warming w;
  (void)state;
  assert_int_equal(
      amp_warm(175e3, 0.0, C(-12), 500.0, C(-12), C(5), &w, NULL), AMP_OK);
  assert_close(w.energy / 3.6e6, 0.8264, 1e-4);
  assert_close(w.lost, 0.0, 1e-6);
  assert_close(w.time, w.energy / 500.0, 1e-6);
}

/* tau = C/h = 1043.1 s, 1 W, 0.04185 W/K: after 600 s 10.453 K, the worked
** example of an 18650 in the reference page on heat. */
static void warming_with_loss_follows_the_exponential (void **state) {
  double heat = 0.0485 * 900.0, cool = heat / 1043.1;
  amp_warming w;
  (void)state;
  assert_int_equal(
      amp_warm(heat, cool, C(20), 1.0, C(20), C(20) + 10.453, &w, NULL),
      AMP_OK);
  assert_close(w.time, 600.0, 0.1);
  assert_close(w.end - C(20), 23.90, 0.01);
  assert_close(w.energy, w.stored + w.lost, 1e-9);
  assert_close(w.hold, cool * 10.453, 1e-9);
}

static void too_weak_a_heater_is_refused (void **state) {
  amp_warming w;
  amp_error err = {0};
  (void)state;
  assert_int_equal(
      amp_warm(175e3, 10.0, C(-12), 100.0, C(-12), C(5), &w, &err),
      AMP_EREFUSED);
  assert_int_equal(amp_warm(175e3, 10.0, C(-12), NAN, C(-12), C(5), &w, &err),
                   AMP_ERANGE);
}

static void a_heater_without_hysteresis_is_refused (void **state) {
  amp_heater h = {100.0, C(5), C(5), 1};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_heater_check(&h, &err), AMP_ERANGE);
  assert_string_equal(err.field, "heater_off");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(limits_follow_their_sheet),
      cmocka_unit_test(at_a_jump_the_lower_value_holds),
      cmocka_unit_test(no_table_is_no_limit),
      cmocka_unit_test(falling_temperatures_are_refused),
      cmocka_unit_test(entropic_tables_are_the_published_ones),
      cmocka_unit_test(coolant_takes_no_more_than_flow_and_wall),
      cmocka_unit_test(warming_without_loss_is_mass_times_degrees),
      cmocka_unit_test(warming_with_loss_follows_the_exponential),
      cmocka_unit_test(too_weak_a_heater_is_refused),
      cmocka_unit_test(a_heater_without_hysteresis_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
