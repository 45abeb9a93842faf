/*
** test_warm.c -- heat in the run: heater against its closed form, coolant,
** entropic heat, bodies of several leaves, currents that temperature limits.
*/
#include "support/builds.h"
#include "support/close.h"
#include "ampstead.h"
#include <stdlib.h>
#include <string.h>

enum { MOST = 24 * 30 };
#define C(t) (273.15 + (t))

typedef struct hours {
  amp_duty d;
  double ac[MOST], dc[MOST], pv[MOST], temp[MOST];
  unsigned char on[MOST];
} hours;

static hours *hours_new (size_t n, double celsius) {
  hours *h = calloc(1, sizeof *h);
  h->d.n = n;
  h->d.dt = 3600.0;
  h->d.ac = h->ac;
  h->d.dc = h->dc;
  h->d.pv = h->pv;
  h->d.temp = h->temp;
  h->d.on = h->on;
  h->d.charge_efficiency = 1.0;
  for (size_t i = 0; i < n; i++)
    h->temp[i] = C(celsius);
  for (int m = 0; m < 12; m++)
    h->d.month_end[m] = n;
  return h;
}

/* 14s, 100 Ah, 35 kg: C 35 kJ/K, 3 W/K. */
static amp_pack *pack_of (void) {
  amp_group g = {0};
  amp_pack *p = malloc(sizeof *p);
  g.chemistry = amp_chemistry_find("nmc111");
  g.cell = amp_cell_from_r10s(360000.0, 1e-3);
  g.series = 14.0;
  g.parallel = 1.0;
  g.soc_min = 0.1;
  g.soc_max = 0.9;
  g.soc_start = 0.7;
  g.v_min = 2.8;
  g.v_max = 4.15;
  g.heat_capacity = 35e3;
  g.cooling = 3.0;
  amp_pack_uniform(&g, 1, 1, p);
  return p;
}

static amp_trace *traced (const amp_pack *p, const amp_duty *d, double dt,
                          amp_sim_result *r) {
  amp_sim_case c = {p, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  amp_sim_options o = {.dt_max = dt};
  amp_trace *t = NULL;
  amp_error err = {0};
  assert_int_equal(amp_simulate_trace(NULL, &c, d, &o, &t, r, &err), AMP_OK);
  return t;
}

static amp_sim_result run (const amp_pack *p, const amp_duty *d) {
  amp_sim_result r;
  amp_trace_free(NULL, traced(p, d, 600.0, &r));
  return r;
}

static void balances_close (const amp_sim_result *r) {
  double moved = r->total.out + r->total.in;
  assert_close(r->energy_residual / moved, 0.0, 1e-11);
  assert_close(r->charge_residual /
                   (r->total.charge_out + r->total.charge_in),
               0.0, 1e-11);
}

/* A resting pack at -12 C with 400 W from outside: off at 5 C at the time of
** the closed form, located inside a step; then the cycle of the thermostat
** between 3 and 5 C, each part in closed form as well. */
static void heater_follows_its_closed_form (void **state) {
  hours *h = hours_new(24, -12.0);
  amp_pack *p = pack_of();
  amp_warming first, again;
  amp_sim_result r;
  double on, off, whole, left;
  (void)state;
  p->heater = (amp_heater){400.0, C(3), C(5), 0};
  r = run(p, &h->d);
  amp_warm(35e3, 3.0, C(-12), 400.0, C(-12), C(5), &first, NULL);
  amp_warm(35e3, 3.0, C(-12), 400.0, C(3), C(5), &again, NULL);
  on = again.time;
  off = 35e3 / 3.0 * log(17.0 / 15.0); /* cooling from 5 to 3 C */
  left = 86400.0 - first.time;
  whole = floor(left / (on + off));
  left -= whole * (on + off);
  assert_close(r.total.heater,
               400.0 * (first.time + whole * on + fmax(left - off, 0.0)),
               10.0); /* each turn is met to 1e-5 K of 35 kJ/K */
  assert_close(r.temp_high, C(5), 1e-4);
  assert_close(r.total.out, 0.0, 0.0);
  free(p);
  free(h);
}

/* Fed by the pack: the same energy leaves its terminals. */
static void heater_draws_from_the_pack (void **state) {
  hours *h = hours_new(24, -12.0);
  amp_pack *p = pack_of();
  amp_sim_result r;
  (void)state;
  p->heater = (amp_heater){300.0, C(3), C(8), 1};
  r = run(p, &h->d);
  assert_true(r.total.heater > 1e6);
  assert_close(r.total.out / r.total.heater, 1.0, 1e-4);
  assert_close(r.total.dc_unserved, 0.0, 0.0);
  balances_close(&r);
  free(p);
  free(h);
}

/* An empty pack cannot heat itself; the heater is not counted as load. */
static void an_empty_pack_does_not_heat (void **state) {
  hours *h = hours_new(24, -12.0);
  amp_pack *p = pack_of();
  amp_sim_result r;
  (void)state;
  p->leaf[0].soc_start = 0.1;
  p->heater = (amp_heater){300.0, C(3), C(8), 1};
  r = run(p, &h->d);
  assert_close(r.total.heater, 0.0, 1e-3);
  assert_close(r.total.dc_unserved + r.total.unserved, 0.0, 0.0);
  assert_true(r.temp_high < C(-11.9));
  free(p);
  free(h);
}

/* Charge is locked out until the heater, fed by the sun, has warmed it. */
static void sun_warms_first_and_then_charges (void **state) {
  hours *h = hours_new(24, -12.0);
  amp_pack *p = pack_of();
  amp_warming w;
  amp_sim_result r;
  (void)state;
  p->leaf[0].rates = amp_rates_find("lithium");
  p->heater = (amp_heater){400.0, C(3), C(8), 1};
  p->leaf[0].soc_start = 0.1; /* nothing of its own */
  for (int i = 6; i < 12; i++)
    h->pv[i] = 700.0;
  amp_trace *t = traced(p, &h->d, 60.0, &r);
  amp_warm(35e3, 3.0, C(-12), 400.0, C(-12), C(0), &w, NULL);
  assert_close(r.first_cold, 6 * 3600.0, 1e-6);
  assert_close(r.total.cold_time, w.time, 61.0); /* one step late at most */
  assert_close(r.total.cold_curtailed, 300.0 * r.total.cold_time, 1.0);
  assert_close(r.total.curtailed, r.total.cold_curtailed, 1.0);
  const double *i = amp_trace_column(t, "current_a");
  const double *k = amp_trace_column(t, "temp_k");
  for (size_t n = 1; n < amp_trace_length(t); n++)
    if (i[n] < -1e-6)
      assert_true(k[n - 1] >= C(0) - 1e-9);
  assert_true(r.total.in > 1e6);
  balances_close(&r);
  amp_trace_free(NULL, t);
  free(p);
  free(h);
}

/* 0.42 C at 5 C by the sheet: 42 A of 100 Ah, and what does not go in is
** curtailed and counted. */
static void charge_is_held_to_the_rate_of_its_temperature (void **state) {
  hours *h = hours_new(1, 5.0);
  amp_pack *p = pack_of();
  amp_sim_result r;
  (void)state;
  p->leaf[0].chemistry = amp_chemistry_find("lfp");
  p->leaf[0].v_max = 3.65;
  p->leaf[0].v_min = 2.5;
  p->leaf[0].soc_start = 0.3;
  p->leaf[0].heat_capacity = 0.0;
  p->leaf[0].rates = amp_rates_find("lfp_prismatic");
  h->pv[0] = 4000.0;
  r = run(p, &h->d);
  assert_close(r.i_min, -42.0, 1e-9);
  assert_close(r.total.cold_curtailed, r.total.curtailed, 1e-6);
  assert_close(r.total.in + r.total.curtailed, 4000.0 * 3600.0, 200.0);
  assert_close(r.total.cold_time, 3600.0, 1e-9);
  h->pv[0] = 0.0;
  h->temp[0] = C(-30); /* 0.25 C out */
  p->leaf[0].soc_start = 0.7;
  h->dc[0] = 3000.0;
  r = run(p, &h->d);
  assert_close(r.i_max, 25.0, 1e-9);
  assert_close(r.total.cold_unserved, r.total.dc_unserved, 1e-6);
  balances_close(&r);
  free(p);
  free(h);
}

/* What flows between unequal strings at rest is not stopped. */
static void a_lock_out_turns_no_current_round (void **state) {
  hours *h = hours_new(24, -5.0);
  amp_pack *one = pack_of(), *p = malloc(sizeof *p);
  amp_group g[2] = {one->leaf[0], one->leaf[0]};
  amp_sim_result r;
  (void)state;
  g[0].rates = g[1].rates = amp_rates_find("lithium");
  g[0].soc_start = 0.5;
  assert_int_equal(amp_pack_build(g, 1, 2, 1, p, NULL), AMP_OK);
  h->pv[0] = 2000.0;
  r = run(p, &h->d);
  assert_close(r.total.in, 0.0, 1.0); /* what the step errs, of 1e6 J */
  assert_close(r.i_max, 0.0, 1e-9);
  assert_close(r.i_min, 0.0, 1e-9);
  free(one);
  free(p);
  free(h);
}

/* -I T kv dU/dT over charge: the integral of the table between two charges,
** nearly adiabatic and at one temperature to 0.2 K. */
static void entropic_heat_is_the_integral_of_its_table (void **state) {
  hours *h = hours_new(10, 25.0);
  amp_pack *p = pack_of(), *bare = pack_of();
  amp_sim_result r, none;
  double sum = 0.0, q = 360000.0;
  (void)state;
  p->leaf[0].entropic = amp_entropic_find("nmc111", NULL);
  for (int i = 0; i < 10; i++)
    h->dc[i] = 250.0;
  r = run(p, &h->d);
  none = run(bare, &h->d);
  for (int i = 0; i < 10000; i++) { /* midpoint rule down from 0.7 */
    double dz = (0.7 - r.soc_end) / 10000.0, z = 0.7 - (i + 0.5) * dz;
    sum -= 298.15 * 14.0 * amp_entropic_at(p->leaf[0].entropic, z) * q * dz;
  }
  assert_true(r.total.reversible > 1e3);
  assert_close(r.total.reversible / sum, 1.0, 5e-3);
  assert_true(r.temp_high > none.temp_high + 0.05);
  balances_close(&r); /* electrically it is no loss */
  free(p);
  free(bare);
  free(h);
}

/* 3 A, 0.1 mV/K at 298.15 K: 0.0894 W a cell, by hand. */
static void entropic_heat_of_one_moment (void **state) {
  double table[AMP_ENTROPIC];
  hours *h = hours_new(1, 25.0);
  amp_pack *p = pack_of();
  amp_sim_result r;
  (void)state;
  for (int i = 0; i < AMP_ENTROPIC; i++)
    table[i] = -0.1e-3;
  p->leaf[0].entropic = table;
  p->leaf[0].heat_capacity = 0.0; /* stays at 298.15 K */
  h->d.dt = 10.0;
  h->dc[0] = 160.0;
  r = run(p, &h->d);
  assert_close(r.total.reversible / (r.total.charge_out * 14.0) * 3.0, 0.0894,
               1e-4);
  free(p);
  free(h);
}

/* Steady: P = h (T - Ta) + g (T - Tin). */
static void coolant_carries_heat_away (void **state) {
  hours *h = hours_new(240, 20.0);
  amp_pack *p = pack_of();
  amp_sim_result r;
  (void)state;
  p->leaf[0].coolant = 27.0;
  p->coolant_temp = C(10);
  amp_trace *t = traced(p, &h->d, 600.0, &r);
  const double *k = amp_trace_column(t, "temp_k");
  /* (3 x 20 + 27 x 10) / 30 = 11 C */
  assert_close(k[amp_trace_length(t) - 1], C(11.0), 1e-6);
  /* on the way with the time constant 35000 / 30 s */
  assert_close(k[1], C(11.0) + 9.0 * exp(-1200.0 / (35e3 / 30.0)), 1e-6);
  amp_trace_free(NULL, t);
  free(p);
  free(h);
}

/* A module whose groups stand apart warms as the whole module does. */
static void leaves_of_one_body_share_a_temperature (void **state) {
  hours *h = hours_new(48, 15.0);
  amp_pack *one = pack_of(), *p = malloc(sizeof *p);
  amp_group g[2] = {one->leaf[0], one->leaf[0]};
  amp_sim_result a, b;
  (void)state;
  for (int i = 0; i < 2; i++) {
    g[i].series = i ? 4.0 : 10.0;
    g[i].heat_capacity = 35e3 * g[i].series / 14.0;
    g[i].cooling = 3.0 * g[i].series / 14.0;
    g[i].body = 1;
  }
  assert_int_equal(amp_pack_build(g, 2, 1, 1, p, NULL), AMP_OK);
  for (int i = 0; i < 48; i++)
    h->dc[i] = i % 4 ? 0.0 : 600.0;
  a = run(one, &h->d);
  b = run(p, &h->d);
  assert_close(b.temp_high, a.temp_high, 1e-6);
  assert_close(b.total.loss / a.total.loss, 1.0, 1e-6);
  /* one of them far worse: hotter, and still alike */
  p->leaf[1].cell.r0 *= 20.0;
  amp_trace *t = traced(p, &h->d, 600.0, &b);
  assert_true(b.temp_high > a.temp_high + 0.2);
  assert_close(amp_trace_leaf(t, 0)->temp_high,
               amp_trace_leaf(t, 1)->temp_high, 1e-9);
  amp_trace_free(NULL, t);
  free(one);
  free(p);
  free(h);
}

static void without_cooling_all_heat_stays (void **state) {
  hours *h = hours_new(5, 20.0);
  amp_pack *p = pack_of();
  amp_sim_result r;
  (void)state;
  p->leaf[0].cooling = 0.0;
  for (int i = 0; i < 5; i++)
    h->dc[i] = 500.0;
  amp_trace *t = traced(p, &h->d, 600.0, &r);
  const double *k = amp_trace_column(t, "temp_k");
  double rise = k[amp_trace_length(t) - 1] - C(20.0);
  /* heat of the cells before what the pairs still hold is taken off */
  assert_true(r.total.loss > 1e4);
  assert_close(rise * 35e3 / r.total.loss, 1.0, 0.02);
  amp_trace_free(NULL, t);
  free(p);
  free(h);
}

/* Features in many lanes give the bits of one lane, in each build. */
static void a_lane_with_heat_is_as_alone_in_every_build (void **state) {
  enum { CASES = 17 };
  hours *h = hours_new(24, -6.0);
  amp_pack *p[CASES];
  amp_sim_case c[CASES];
  amp_sim_result alone[CASES];
  amp_sim_options o = {.dt_max = 600.0};
  amp_trip trip = amp_trip_rating(90.0, 30.0);
  (void)state;
  for (int i = 0; i < 24; i++) {
    h->dc[i] = i % 24 == 20 ? 5000.0 : 150.0;
    h->pv[i] = i % 24 > 3 && i % 24 < 15 ? 1500.0 : 0.0;
  }
  for (int i = 0; i < CASES; i++) {
    amp_pack *one = pack_of();
    amp_group g[2] = {one->leaf[0], one->leaf[0]};
    p[i] = malloc(sizeof **p);
    for (int k = 0; k < 2; k++) {
      g[k].cell.capacity *= k ? 1.0 - 0.01 * i : 1.0;
      g[k].rates = amp_rates_find("lithium");
      g[k].entropic = amp_entropic_find("nmc111", NULL);
      g[k].bleed = 0.2;
      g[k].v_bleed = 3.7;
      g[k].trip = &trip;
      g[k].coolant = 2.0;
    }
    assert_int_equal(amp_pack_build(g, 1, 2, 1, p[i], NULL), AMP_OK);
    p[i]->coolant_temp = C(1);
    p[i]->heater = (amp_heater){35.0, C(2), C(4), 1};
    c[i] = (amp_sim_case){p[i], {.efficiency = 1.0}, 1.0, 1.0, 0.0};
    amp_simulate(NULL, &c[i], 1, &h->d, &o, &alone[i], NULL, NULL, NULL);
    free(one);
  }
  assert_true(alone[0].total.heater > 0.0 && alone[0].total.cold_time > 0.0);
  each_build_gives(c, CASES, &h->d, &o, alone);
  for (int i = 0; i < CASES; i++)
    free(p[i]);
  free(h);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(heater_follows_its_closed_form),
      cmocka_unit_test(heater_draws_from_the_pack),
      cmocka_unit_test(an_empty_pack_does_not_heat),
      cmocka_unit_test(sun_warms_first_and_then_charges),
      cmocka_unit_test(charge_is_held_to_the_rate_of_its_temperature),
      cmocka_unit_test(a_lock_out_turns_no_current_round),
      cmocka_unit_test(entropic_heat_is_the_integral_of_its_table),
      cmocka_unit_test(entropic_heat_of_one_moment),
      cmocka_unit_test(coolant_carries_heat_away),
      cmocka_unit_test(leaves_of_one_body_share_a_temperature),
      cmocka_unit_test(without_cooling_all_heat_stays),
      cmocka_unit_test(a_lane_with_heat_is_as_alone_in_every_build),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
