/*
** test_detail.c -- detailed cells in the batch path: the cell stepped alone,
** balances, held power, limits, strings that share, the same bits in every
** lane and build.
*/
#include "support/builds.h"
#include "support/close.h"
#include "support/packs.h"
#include <math.h>
#include <string.h>

enum { STEPS = 80 };

/* With modes that are not those of one sphere. */
static amp_detailed sample (void) {
  amp_detailed c = sample_cell();
  c.blunt = 0.25;
  return c;
}

static amp_group group_of (const amp_detailed *c) {
  amp_group g = {0};
  g.chemistry = amp_chemistry_find("nca");
  g.cell = amp_cell_from_r10s(c->capacity, 0.04);
  g.detailed = c;
  g.series = g.parallel = 1.0;
  g.soc_min = 0.01;
  g.soc_max = 1.0;
  g.soc_start = 0.8;
  g.v_min = 2.5;
  g.v_max = 4.3;
  return g;
}

static amp_sim_result run (const amp_pack *p, const amp_duty *d,
                           amp_trace **t) {
  amp_sim_case c = plain_case(p);
  amp_sim_options o = {.dt_max = 600.0, .fixed_step = true};
  amp_sim_result r;
  amp_error err = {0};
  amp_status s = amp_simulate_trace(NULL, &c, d, &o, t, &r, &err);
  if (s != AMP_OK)
    print_error("%s %s\n", err.field, err.text);
  assert_int_equal(s, AMP_OK);
  return r;
}

/* Steps of 0.3 to 40 s at 273 .. 279 K; amperes or watts of an invented
** drive with braking, times 'size'. */
static amp_duty drive_of (double size, bool watts) {
  double edge[STEPS + 1], want[STEPS], temp[STEPS], t = 3.0;
  amp_duty d;
  for (int i = 0; i < STEPS; i++) {
    edge[i] = t;
    t += i % 9 == 0 ? 40.0 : 0.3 + 1.7 * (i % 13);
    want[i] = size * (i % 5 == 4 ? -2.5 : 0.3 + 1.9 * (i % 6));
    temp[i] = 273.15 + 0.1 * (i % 60);
  }
  edge[STEPS] = t;
  assert_int_equal(amp_duty_test(NULL, STEPS, edge, watts ? NULL : want,
                                 watts ? want : NULL, temp, &d, NULL),
                   AMP_OK);
  return d;
}

static double watts_of (const amp_duty *d, int i) {
  return d->dc[i] - d->pv[i];
}

/* The cell stepped alone, i or watts as the duty asks. */
static void check_alone (bool watts) {
  amp_detailed c = sample();
  amp_duty d = drive_of(watts ? 3.6 : 1.0, watts);
  amp_pack p = one_leaf(group_of(&c));
  amp_detailed_state st = amp_detailed_rest(0.8, d.temp[0]);
  amp_trace *t = NULL;
  amp_sim_result r = run(&p, &d, &t);
  assert_int_equal(r.unsolved, 0);
  for (int i = 0; i < STEPS; i++) {
    amp_detailed_out o;
    assert_int_equal(amp_detailed_step(
                         &c, p.leaf[0].chemistry, &st,
                         watts ? AMP_HOLD_POWER : AMP_HOLD_CURRENT,
                         watts ? watts_of(&d, i) : d.amps[i],
                         amp_duty_length(&d, (size_t)i), d.temp[i], &o, NULL),
                     AMP_OK);
    assert_close(amp_trace_column(t, "current_a")[i], o.current, 1e-9);
    assert_close(amp_trace_column(t, "voltage_v")[i], o.v_mean, 1e-9);
    assert_close(amp_trace_column(t, "voltage_end_v")[i], o.v_end, 1e-9);
    assert_close(amp_trace_column(t, "soc")[i], st.soc, 1e-12);
    assert_close(amp_trace_column(t, "temp_k")[i], st.core, 1e-8);
  }
  assert_true(r.temp_high > 274.0); /* it warmed: not a trivial run */
  assert_close(r.energy_residual / r.total.out, 0.0, 1e-12);
  assert_close(r.charge_residual / r.total.charge_out, 0.0, 1e-12);
  assert_close(r.power_residual / r.total.out, 0.0, 1e-10);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

static void current_held_is_the_cell_stepped_alone (void **state) {
  (void)state;
  check_alone(false);
}

static void power_held_is_the_cell_stepped_alone (void **state) {
  (void)state;
  check_alone(true);
}

/* 3 cells in parallel, 4 in series: voltages times 4, currents times 3. */
static void a_row_of_equal_groups_is_one_cell (void **state) {
  amp_detailed c = sample();
  amp_duty d = drive_of(1.0, false), more = drive_of(3.0, false);
  amp_group g = group_of(&c);
  amp_pack p = one_leaf(g), row;
  amp_trace *t = NULL, *u = NULL;
  (void)state;
  g.series = 4.0;
  g.parallel = 3.0;
  g.r_joint = 1e-3;
  row = one_leaf(g);
  run(&p, &d, &t);
  run(&row, &more, &u);
  for (int i = 0; i < STEPS; i++) {
    assert_close(amp_trace_column(u, "voltage_end_v")[i],
                 4.0 * amp_trace_column(t, "voltage_end_v")[i] -
                     1e-3 * more.amps[i],
                 1e-9);
    assert_close(amp_trace_column(u, "temp_k")[i],
                 amp_trace_column(t, "temp_k")[i], 1e-9);
  }
  amp_trace_free(NULL, t);
  amp_trace_free(NULL, u);
  amp_duty_free(NULL, &d);
  amp_duty_free(NULL, &more);
}

/* Strings of one group each in parallel. */
static amp_pack strings_of (const amp_group *g, int n) {
  amp_pack p = {0};
  p.leaves = n;
  p.nodes = n + 1;
  p.node[0] = (amp_node){AMP_PARALLEL, 1, n};
  for (int k = 0; k < n; k++) {
    p.node[k + 1] = (amp_node){AMP_LEAF, k, 0};
    p.leaf[k] = g[k];
  }
  return p;
}

static void equal_strings_behave_as_one (void **state) {
  amp_detailed c = sample();
  amp_duty d = drive_of(10.0, true);
  amp_group g = group_of(&c), all[3] = {g, g, g};
  amp_pack tree = strings_of(all, 3), folded;
  amp_trace *t = NULL, *u = NULL;
  amp_sim_result a, b;
  (void)state;
  g.parallel = 3.0;
  folded = one_leaf(g);
  a = run(&tree, &d, &t);
  b = run(&folded, &d, &u);
  assert_int_equal(a.unsolved + b.unsolved, 0);
  for (int i = 0; i < STEPS; i++) {
    assert_close(amp_trace_column(t, "voltage_end_v")[i],
                 amp_trace_column(u, "voltage_end_v")[i], 1e-9);
    assert_close(amp_trace_leaf_column(t, 1, "current_a")[i],
                 amp_trace_column(u, "current_a")[i] / 3.0, 1e-9);
  }
  assert_close(a.total.out / b.total.out, 1.0, 1e-12);
  amp_trace_free(NULL, t);
  amp_trace_free(NULL, u);
  amp_duty_free(NULL, &d);
}

/* Kirchhoff among unequal strings, one of them of simple cells: with the
** currents that the tree found, each cell alone shows the same voltage. */
static void unequal_strings_share_by_kirchhoff (void **state) {
  amp_detailed c = sample(), weak = sample();
  amp_duty d = drive_of(3.0, false);
  amp_group g[3];
  amp_pack tree;
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_detailed_state a, b;
  double furthest = 0.0;
  (void)state;
  weak.capacity *= 0.8;
  for (int k = 0; k < 3; k++) {
    weak.ln_r0[0][k] += 0.4;
    weak.ln_i0[0][k] -= 0.7;
  }
  g[0] = group_of(&c);
  g[1] = group_of(&weak);
  g[2] = group_of(&c);
  g[2].detailed = NULL;
  tree = strings_of(g, 3);
  r = run(&tree, &d, &t);
  a = amp_detailed_rest(0.8, d.temp[0]);
  b = a;
  assert_int_equal(r.unsolved, 0);
  for (int i = 0; i < STEPS; i++) {
    amp_detailed_out x, y;
    double ia = amp_trace_leaf_column(t, 0, "current_a")[i];
    double ib = amp_trace_leaf_column(t, 1, "current_a")[i];
    double ic = amp_trace_leaf_column(t, 2, "current_a")[i];
    double dt = amp_duty_length(&d, (size_t)i);
    amp_detailed_step(&c, g[0].chemistry, &a, AMP_HOLD_CURRENT, ia, dt,
                      d.temp[i], &x, NULL);
    amp_detailed_step(&weak, g[0].chemistry, &b, AMP_HOLD_CURRENT, ib, dt,
                      d.temp[i], &y, NULL);
    assert_close(ia + ib + ic, d.amps[i], 1e-9);
    assert_close(x.v_mean, y.v_mean, 1e-9);
    assert_close(x.v_mean, amp_trace_column(t, "voltage_v")[i], 1e-9);
    furthest = fmax(furthest, fabs(ia - ib));
  }
  assert_true(furthest > 0.5);
  assert_close(r.energy_residual / r.total.out, 0.0, 1e-12);
  assert_close(r.charge_residual / r.total.charge_out, 0.0, 1e-12);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* At 6 A a cold cell meets 2.8 V inside a step of 30 s. When: the cell alone,
** stepped by a length that is halved into place. */
static void the_cut_off_is_located (void **state) {
  enum { N = 100 };
  amp_detailed c = sample();
  amp_group g = group_of(&c);
  amp_detailed_state st = amp_detailed_rest(0.5, 268.15), was = st;
  double edge[N + 1], amps[N], temp[N], when = 0.0, lo = 0.0, hi = 30.0;
  amp_detailed_out o = {.v_end = 9.0};
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_pack p;
  amp_duty d;
  (void)state;
  g.v_min = 2.8;
  g.soc_start = 0.5;
  p = one_leaf(g);
  for (int i = 0; i <= N; i++)
    edge[i] = 30.0 * i;
  for (int i = 0; i < N; i++) {
    amps[i] = 6.0;
    temp[i] = 268.15;
  }
  amp_duty_test(NULL, N, edge, amps, NULL, temp, &d, NULL);
  r = run(&p, &d, &t);
  while (o.v_end > 2.8) {
    was = st;
    amp_detailed_step(&c, g.chemistry, &st, AMP_HOLD_CURRENT, 6.0, 30.0,
                      268.15, &o, NULL);
    when += o.v_end > 2.8 ? 30.0 : 0.0;
  }
  while (hi - lo > 1e-9) {
    st = was;
    amp_detailed_step(&c, g.chemistry, &st, AMP_HOLD_CURRENT, 6.0,
                      0.5 * (lo + hi), 268.15, &o, NULL);
    *(o.v_end > 2.8 ? &lo : &hi) = 0.5 * (lo + hi);
  }
  assert_true(when > 30.0 && r.events > 0);
  assert_close(r.first_empty, when + lo, 1e-4); /* 1e-9 V at 2e-5 V/s */
  /* from there on the voltage holds */
  assert_close(amp_trace_column(t, "voltage_v")[(int)(when / 30.0) + 2], 2.8,
               1e-7);
  assert_int_equal(r.unsolved, 0);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* More power than a cold cell has: it gives the most it can, which trying
** one current after another finds too. */
static void too_much_power_gives_the_most_there_is (void **state) {
  double edge[] = {0.0, 5.0, 10.0}, watt[] = {400.0, 2.0}, most = 0.0;
  double temp[] = {263.15, 263.15};
  amp_detailed c = sample();
  amp_group g = group_of(&c);
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_pack p;
  amp_duty d;
  (void)state;
  g.v_min = 0.5;
  p = one_leaf(g);
  amp_duty_test(NULL, 2, edge, NULL, watt, temp, &d, NULL);
  r = run(&p, &d, &t);
  for (double i = 1.0; i < 80.0; i += 0.01) {
    amp_detailed_state st = amp_detailed_rest(0.8, 263.15);
    amp_detailed_out o;
    assert_int_equal(amp_detailed_step(&c, g.chemistry, &st, AMP_HOLD_CURRENT,
                                       i, 5.0, 263.15, &o, NULL),
                     AMP_OK);
    most = fmax(most, i * o.v_mean);
  }
  assert_true(most < 200.0);
  /* 1e-3 off the peak's current: its square of the power */
  assert_close(amp_trace_column(t, "power_w")[0] / most, 1.0, 1e-5);
  assert_close(amp_trace_column(t, "power_w")[1], 2.0, 1e-9);
  assert_close(r.total.dc_unserved, (400.0 - most) * 5.0, 0.01);
  assert_int_equal(r.unsolved, 0);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* 17 packs: a leaf each, or a string of detailed and one of simple cells. */
static void check_lanes (bool tree, bool watts) {
  enum { CASES = 17 };
  static amp_pack p[CASES];
  amp_detailed c[CASES];
  amp_sim_case cases[CASES];
  amp_sim_result alone[CASES];
  amp_sim_options o = {.dt_max = 600.0};
  amp_duty d = drive_of(watts ? 3.0 : 1.0, watts);
  size_t events = 0;
  for (int i = 0; i < CASES; i++) {
    amp_group g[2];
    c[i] = sample();
    c[i].ln_r0[0][1] += 0.03 * i;
    c[i].tau_slow[1] = i % 2 ? 900.0 : 0.0;
    c[i].tau_ct = i % 3 ? 0.7 : 0.0;
    g[0] = group_of(&c[i]);
    g[0].soc_start = 0.8 - 0.04 * i;
    g[0].v_min = 3.1;
    g[1] = g[0];
    g[1].detailed = NULL;
    p[i] = tree ? strings_of(g, 2) : one_leaf(g[0]);
    cases[i] = plain_case(&p[i]);
    cases[i].load_factor = 1.0 + 0.05 * i;
    assert_int_equal(
        amp_simulate(NULL, &cases[i], 1, &d, &o, &alone[i], NULL, NULL, NULL),
        AMP_OK);
    events += alone[i].events;
    assert_close(alone[i].energy_residual / alone[i].total.out, 0.0, 1e-11);
  }
  assert_true(events > 0);
  each_build_gives(cases, CASES, &d, &o, alone);
  amp_duty_free(NULL, &d);
}

static void a_lane_is_as_alone_in_every_build (void **state) {
  (void)state;
  check_lanes(false, false);
  check_lanes(false, true);
  check_lanes(true, false);
  check_lanes(true, true);
}

static void what_does_not_fit_is_refused (void **state) {
  amp_detailed c = sample();
  amp_group g = group_of(&c);
  amp_pack p;
  amp_error err = {0};
  (void)state;
  g.cell.capacity *= 1.01;
  p = one_leaf(g);
  assert_int_equal(amp_pack_check(&p, &err), AMP_ERANGE);
  assert_string_equal(err.field, "capacity");
  g = group_of(&c);
  g.body = 1;
  p = one_leaf(g);
  assert_int_equal(amp_pack_check(&p, &err), AMP_EDATA);
  c.tau_ct = NAN;
  p = one_leaf(group_of(&c));
  assert_int_equal(amp_pack_check(&p, &err), AMP_ERANGE);
  assert_string_equal(err.field, "tau_ct");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(current_held_is_the_cell_stepped_alone),
      cmocka_unit_test(power_held_is_the_cell_stepped_alone),
      cmocka_unit_test(a_row_of_equal_groups_is_one_cell),
      cmocka_unit_test(equal_strings_behave_as_one),
      cmocka_unit_test(unequal_strings_share_by_kirchhoff),
      cmocka_unit_test(the_cut_off_is_located),
      cmocka_unit_test(too_much_power_gives_the_most_there_is),
      cmocka_unit_test(a_lane_is_as_alone_in_every_build),
      cmocka_unit_test(what_does_not_fit_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
