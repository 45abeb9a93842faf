/*
** test_project.c -- years until the end of life against closed forms.
*/
#include "support/close.h"
#include "life/project.h"
#include <stdio.h>
#include <string.h>

#define YEAR 31536000.0

static const amp_ageing rates = {.kind = AMP_AGEING_RATES,
                                 .name = "rates",
                                 .calendar = 0.015,
                                 .per_cycle = 8e-5};

/* A year of 32 cycles and 1 GJ; served and terms may fall with SoH. */
static amp_life_node node (double soh) {
  amp_life_node n = {
      .soh = soh, .served = 1e9, .charged = 1.1e9, .term = {1.0, 32.0}};
  return n;
}

static amp_life_ask ask_of (const amp_ageing *m, double from, double to) {
  amp_life_ask a = {m, from, to, 0.0, 40.0};
  return a;
}

/* By hand: 1.5 %/y, 0.008 % a cycle, 32 a season, 83.7 -> 60:
** 23.7 / 1.756 = 13.4966 years. */
static void simple_rates_give_the_quotient (void **state) {
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(&rates, 0.837, 0.60);
  amp_life out;
  (void)state;
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_close(out.years, 23.7 / 1.756, 1e-9);
  assert_false(out.beyond);
  assert_int_equal(out.n, 14);
  assert_close(out.soh[1], 0.837 - 0.01756, 1e-12);
  assert_close(out.soh[14], 0.60, 1e-12);
  assert_close(out.served[0], 1e9, 0.0);
  assert_close(out.served[13], (23.7 / 1.756 - 13.0) * 1e9, 1.0);
}

static void horizon_is_only_a_bound (void **state) {
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(&rates, 0.95, 0.60);
  amp_life out;
  (void)state;
  a.horizon = 10.5;
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_true(out.beyond);
  assert_close(out.years, 10.5, 0.0);
  assert_int_equal(out.n, 11);
  assert_close(out.served[10], 0.5e9, 0.0);
}

/* Loss f(S) = 0.01 S^0.75-like laws continue from where they stand: a cell
** at 90 % that loses by k sqrt(t) needs (0.3^2 - 0.1^2)/k^2 more years. */
static void root_laws_do_not_restart (void **state) {
  amp_life_node n = node(0.9);
  const amp_ageing *m = amp_ageing_find("lfp_calendar_cycle");
  amp_life_ask a = ask_of(m, 0.9, 0.7);
  amp_life out;
  (void)state;
  memset(n.term, 0, sizeof n.term);
  n.term[0] = 0.06 * 0.06; /* 6 % after the first year from new */
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_close(out.years, (0.09 - 0.01) / 0.0036, 1e-8);
}

/* Use that grows as the pack fades, rate = 0.02 (2 - SoH): dSoH/dt gives
** SoH(t) = 2 - (2 - s0) exp(0.02 t). Second-order steps of a year: 1e-4. */
static void terms_follow_the_soh (void **state) {
  amp_life_node n[3];
  amp_ageing m = rates;
  amp_life_ask a = ask_of(&m, 0.9, 0.6);
  amp_life out;
  (void)state;
  m.calendar = 1.0;
  for (int i = 0; i < 3; i++) {
    n[i] = node(0.5 + 0.25 * i);
    n[i].term[0] = 0.02 * (2.0 - n[i].soh);
    n[i].term[1] = 0.0;
  }
  assert_int_equal(amp_project(n, 3, &a, &out, NULL), AMP_OK);
  assert_close(out.years, log(1.4 / 1.1) / 0.02, 2e-3);
  assert_close(out.soh[5], 2.0 - 1.1 * exp(0.1), 1e-5);
}

/* Energy of a year is that of its mean SoH; straight nodes are straight. */
static void energy_is_that_of_the_mean_soh (void **state) {
  amp_life_node n[2];
  amp_life_ask a = ask_of(&rates, 0.8, 0.6);
  amp_life out;
  (void)state;
  n[0] = node(0.5);
  n[1] = node(1.0);
  n[0].served = 0.5e9;
  assert_int_equal(amp_project(n, 2, &a, &out, NULL), AMP_OK);
  assert_close(out.served[0], (0.8 - 0.5 * 0.01756) * 1e9, 1.0);
  n[1].outside = AMP_OUTSIDE_RATE;
  assert_int_equal(amp_project(n, 2, &a, &out, NULL), AMP_OK);
  assert_int_equal(out.outside, AMP_OUTSIDE_RATE);
}

/* No use, no fall: the horizon, not a failure. */
static void an_idle_pack_lasts_beyond (void **state) {
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(amp_ageing_find("lmo_stress"), 0.9, 0.7);
  amp_life out;
  (void)state;
  memset(n.term, 0, sizeof n.term);
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_true(out.beyond);
  assert_close(out.soh[out.n], 0.9, 1e-12);
}

static void a_start_at_the_end_gives_no_years (void **state) {
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(&rates, 0.6, 0.6);
  amp_life out;
  (void)state;
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_close(out.years, 0.0, 0.0);
  assert_int_equal(out.n, 0);
  assert_false(out.beyond);
}

/* Better than its label: the loss is counted from where it stands. */
static void more_than_nameplate_is_no_refusal (void **state) {
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(&rates, 1.03, 0.60);
  amp_life out;
  (void)state;
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_close(out.years, 43.0 / 1.756, 1e-9);
}

/* arg counts the calls; the loss is 2 % a year, given per second. */
static double two_percent (void *arg, const amp_stress *s, double soh,
                           double years, amp_error *err) {
  (void)soh;
  (void)err;
  *(double *)arg = years;
  return 0.02 / YEAR * (s->temp > 300.0 ? 2.0 : 1.0);
}

static double fails (void *arg, const amp_stress *s, double soh, double years,
                     amp_error *err) {
  (void)arg, (void)s, (void)soh, (void)years;
  amp_failf(err, AMP_EUSER, NULL, "hut.lua:3: no such key");
  return (double)NAN;
}

static void a_user_function_sees_brief_and_years (void **state) {
  double last = -1.0;
  amp_ageing m = {.kind = AMP_AGEING_USER, .fade = two_percent, .arg = &last};
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(&m, 0.8, 0.7);
  amp_life out;
  (void)state;
  a.age = 6.0;
  n.brief.temp = 290.0;
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_close(out.years, 5.0, 1e-9);
  assert_close(last, 10.5, 1e-6); /* the middle of the fifth year from 6 */
  n.brief.temp = 310.0;
  assert_int_equal(amp_project(&n, 1, &a, &out, NULL), AMP_OK);
  assert_close(out.years, 2.5, 1e-9);
}

static void a_failing_user_function_tells_and_keeps_out (void **state) {
  amp_ageing m = {.kind = AMP_AGEING_USER, .fade = fails};
  amp_life_node n = node(0.9);
  amp_life_ask a = ask_of(&m, 0.8, 0.7);
  amp_life out = {.years = 42.0};
  amp_error err;
  (void)state;
  assert_int_equal(amp_project(&n, 1, &a, &out, &err), AMP_EUSER);
  assert_string_equal(err.text, "hut.lua:3: no such key");
  assert_close(out.years, 42.0, 0.0);
}

static void bad_asks_are_refused (void **state) {
  amp_life_node n[2];
  amp_life_ask a = ask_of(&rates, 0.8, 0.7);
  amp_life out = {.years = 42.0};
  (void)state;
  n[0] = n[1] = node(0.9);
  assert_int_equal(amp_project(n, 2, &a, &out, NULL), AMP_EDATA);
  assert_int_equal(amp_project(n, 0, &a, &out, NULL), AMP_ERANGE);
  a.soh_end = (double)NAN;
  assert_int_equal(amp_project(n, 1, &a, &out, NULL), AMP_ERANGE);
  assert_close(out.years, 42.0, 0.0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(simple_rates_give_the_quotient),
      cmocka_unit_test(horizon_is_only_a_bound),
      cmocka_unit_test(root_laws_do_not_restart),
      cmocka_unit_test(terms_follow_the_soh),
      cmocka_unit_test(energy_is_that_of_the_mean_soh),
      cmocka_unit_test(an_idle_pack_lasts_beyond),
      cmocka_unit_test(a_start_at_the_end_gives_no_years),
      cmocka_unit_test(more_than_nameplate_is_no_refusal),
      cmocka_unit_test(a_user_function_sees_brief_and_years),
      cmocka_unit_test(a_failing_user_function_tells_and_keeps_out),
      cmocka_unit_test(bad_asks_are_refused)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
