/*
** test_duty.c -- tests at the terminals: current held over steps of any
** length against the cell stepped alone and closed forms, cut-offs located,
** a charge that comes to hold its voltage, refusals.
*/
#include "support/builds.h"
#include "support/close.h"
#include "support/packs.h"
#include <math.h>
#include <string.h>

enum { STEPS = 60 };

/* Edges of unlike steps, 0.4 .. 90 s, and currents of an invented drive. */
static void drive_of (double *edge, double *amps) {
  double t = 17.0;
  for (int i = 0; i < STEPS; i++) {
    edge[i] = t;
    t += i % 7 == 0 ? 90.0 : 0.4 + 3.0 * (i % 11);
    amps[i] = i % 5 == 4 ? -40.0 : 20.0 * (i % 6);
  }
  edge[STEPS] = t;
}

static amp_group group_of (double ah) {
  amp_group g = {0};
  g.chemistry = amp_chemistry_find("nmc111");
  g.cell = amp_cell_from_r10s(ah * 3600.0, 1.5e-3);
  g.cell.r0_activation = 0.0;
  g.series = 1.0;
  g.parallel = 1.0;
  g.soc_min = 0.02;
  g.soc_max = 1.0;
  g.soc_start = 0.8;
  g.v_min = 2.8;
  g.v_max = 4.3;
  return g;
}

static amp_sim_result run (const amp_pack *p, const amp_duty *d,
                           amp_trace **t) {
  amp_sim_case c = plain_case(p);
  amp_sim_options o = {.dt_max = 600.0};
  amp_sim_result r;
  amp_error err = {0};
  assert_int_equal(amp_simulate_trace(NULL, &c, d, &o, t, &r, &err), AMP_OK);
  return r;
}

static amp_duty test_of (int n, const double *edge, const double *amps,
                         const double *watts) {
  amp_duty d;
  amp_error err = {0};
  assert_int_equal(
      amp_duty_test(NULL, (size_t)n, edge, amps, watts, NULL, &d, &err),
      AMP_OK);
  return d;
}

/* amp_cell_step is exact for a constant current. */
static void current_held_is_the_cell_stepped_alone (void **state) {
  double edge[STEPS + 1], amps[STEPS];
  amp_group g = group_of(50.0);
  amp_pack p = one_leaf(g);
  amp_cell_state s = {g.soc_start, 0.0, 0.0, 298.15};
  amp_trace *t = NULL;
  amp_duty d;
  (void)state;
  drive_of(edge, amps);
  d = test_of(STEPS, edge, amps, NULL);
  run(&p, &d, &t);
  assert_int_equal(amp_trace_length(t), STEPS);
  for (int i = 0; i < STEPS; i++) {
    double v, dt = edge[i + 1] - edge[i];
    assert_int_equal(
        amp_cell_step(&g.cell, g.chemistry, &s, amps[i], dt, NULL, NULL), 0);
    v = amp_curve_at(&g.chemistry->ocv, s.soc) - s.v1 - s.v2 -
        amps[i] * amp_cell_r0(&g.cell, s.soc, 298.15);
    assert_close(amp_trace_column(t, "soc")[i], s.soc, 1e-13);
    assert_close(amp_trace_column(t, "current_a")[i], amps[i], 1e-11);
    /* the curve is rounded where a knot lies between two rows of the table */
    assert_close(amp_trace_column(t, "voltage_end_v")[i], v, 1e-9);
    assert_close(amp_trace_column(t, "time_s")[i], edge[i + 1] - 17.0, 1e-10);
  }
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

static void a_test_closes_charge_and_energy (void **state) {
  double edge[STEPS + 1], amps[STEPS], charge = 0.0, drawn = 0.0;
  amp_pack p = one_leaf(group_of(50.0));
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_duty d;
  (void)state;
  drive_of(edge, amps);
  for (int i = 0; i < STEPS; i++) {
    charge += amps[i] * (edge[i + 1] - edge[i]);
    drawn += fmax(amps[i], 0.0) * (edge[i + 1] - edge[i]);
  }
  d = test_of(STEPS, edge, amps, NULL);
  r = run(&p, &d, &t);
  assert_close(r.total.charge_out - r.total.charge_in, charge, 1e-9);
  assert_close(r.charge_residual / drawn, 0.0, 1e-12);
  assert_close(r.energy_residual / r.total.out, 0.0, 1e-12);
  assert_close(r.total.time, edge[STEPS] - edge[0], 1e-9);
  /* what the tangent over a step leaves out: order 2 in steps of 90 s */
  assert_close(r.power_residual / r.total.out, 0.0, 1e-4);
  assert_true(r.first_empty < 0.0 && r.total.dc_unserved == 0.0);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* Open-circuit voltage along a line, 3 V to 4 V, and R0 alone: under I the
** voltage is 3 + z - I R0, so that the cut-off's time is known. */
static amp_group straight (const amp_chemistry *line) {
  amp_group g = group_of(10.0);
  g.chemistry = line;
  g.cell = amp_cell_defaults();
  g.cell.capacity = 36000.0;
  g.cell.r0 = 5e-3;
  g.soc_start = 0.9;
  g.v_min = 3.2;
  g.v_max = 3.95;
  return g;
}

static amp_chemistry line_here (void) {
  static const double soc[] = {0.0, 1.0}, volt[] = {3.0, 4.0};
  amp_chemistry line = {0};
  line.v_nominal = 3.6;
  line.v_min = line.v_daily_min = 2.0;
  line.v_max = line.v_daily_max = 4.5;
  assert_int_equal(
      amp_curve_make(soc, volt, 2, AMP_INTERP_LINEAR, &line.ocv, NULL), 0);
  return line;
}

static void the_cut_off_is_located (void **state) {
  static const double step[] = {600.0, 37.0, 5.0};
  amp_chemistry line = line_here();
  amp_pack p = one_leaf(straight(&line));
  /* 3.2 = 3 + 0.9 - 10 t / 36000 - 10 * 5e-3 */
  double when = (3.9 - 3.2 - 0.05) * 36000.0 / 10.0;
  (void)state;
  for (int k = 0; k < 3; k++) {
    int n = (int)(3000.0 / step[k]);
    double edge[601], amps[600];
    amp_trace *t = NULL;
    amp_sim_result r;
    amp_duty d;
    for (int i = 0; i <= n; i++) {
      edge[i] = i * step[k];
      if (i < n)
        amps[i] = 10.0;
    }
    d = test_of(n, edge, amps, NULL);
    r = run(&p, &d, &t);
    /* 1e-9 V is 4e-6 s here; a bracket ends at 1e-9 of the step */
    assert_close(r.first_empty, when, 1e-5);
    /* then the voltage holds: less current, and some of it unserved */
    assert_close(amp_trace_column(t, "voltage_v")[n - 1], 3.2, 1e-6);
    assert_true(r.total.dc_unserved > 0.0);
    assert_close(r.first_unserved, r.first_empty, 0.0);
    amp_trace_free(NULL, t);
    amp_duty_free(NULL, &d);
  }
}

/* Held at v_max, the current falls with time constant Q R / U', U' = 1 V. */
static void a_charge_comes_to_hold_its_voltage (void **state) {
  enum { N = 400 };
  amp_chemistry line = line_here();
  amp_group g = straight(&line);
  double edge[N + 1], amps[N], tau = 36000.0 * 5e-3, when;
  const double *i, *v, *now;
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_pack p;
  amp_duty d;
  (void)state;
  g.soc_start = 0.8;
  p = one_leaf(g);
  when = (3.95 - 3.8 - 0.05) * 36000.0 / 10.0; /* v_max is met */
  for (int k = 0; k <= N; k++) {
    edge[k] = 2.0 * k;
    if (k < N)
      amps[k] = -10.0;
  }
  d = test_of(N, edge, amps, NULL);
  r = run(&p, &d, &t);
  i = amp_trace_column(t, "current_a");
  v = amp_trace_column(t, "voltage_v");
  now = amp_trace_column(t, "time_s");
  assert_close(r.first_curtailed, when, 1e-5);
  for (int k = 0; k < N; k++) {
    double mid = now[k] - 1.0;
    if (now[k] <= when)
      assert_close(i[k], -10.0, 1e-12);
    if (mid - 1.0 > when) {
      assert_close(v[k], 3.95, 1e-7);
      /* steps of 2 s against 180 s: (1/24) (2/180)^2 at a step's middle */
      assert_close(i[k] / (-10.0 * amp_exp(-(mid - when) / tau)), 1.0, 2e-5);
    }
  }
  assert_close(r.energy_residual / r.total.in, 0.0, 1e-12);
  assert_true(r.first_empty < 0.0);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* I^2 R0 into one node that loses h (T - T_ambient): T rises by I^2 R0 / h
** (1 - exp(-h t / C)), whatever the steps. */
static void a_node_warms_by_its_closed_form (void **state) {
  double edge[] = {0.0, 7.0, 300.0, 301.0, 900.0, 1500.0};
  double amps[] = {10.0, 10.0, 10.0, 10.0, 10.0};
  amp_chemistry line = line_here();
  amp_group g = straight(&line);
  amp_trace *t = NULL;
  amp_pack p;
  amp_duty d;
  (void)state;
  g.heat_capacity = 500.0;
  g.cooling = 0.5;
  p = one_leaf(g);
  d = test_of(5, edge, amps, NULL);
  run(&p, &d, &t);
  assert_int_equal(amp_trace_length(t), 5);
  for (int i = 0; i < 5; i++)
    assert_close(amp_trace_column(t, "temp_k")[i],
                 298.15 + 100.0 * 5e-3 / 0.5 *
                              (1.0 - exp(-0.5 * edge[i + 1] / 500.0)),
                 1e-11);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

static void power_in_equal_steps_is_the_duty_of_hours (void **state) {
  double edge[25], watts[24];
  amp_pack p = one_leaf(group_of(50.0));
  amp_duty d, plain;
  amp_trace *t = NULL, *u = NULL;
  amp_sim_result a, b;
  (void)state;
  for (int k = 0; k <= 24; k++) {
    edge[k] = k * 600.0;
    if (k < 24)
      watts[k] = k % 3 == 2 ? -60.0 : 10.0 + k;
  }
  d = test_of(24, edge, NULL, watts);
  plain = d;
  plain.edge = NULL;
  a = run(&p, &d, &t);
  plain.month_end[11] = 24;
  b = run(&p, &plain, &u);
  assert_close(a.soc_end, b.soc_end, 1e-14);
  assert_close(a.total.out / b.total.out, 1.0, 1e-13);
  assert_close(amp_trace_column(t, "voltage_end_v")[20],
               amp_trace_column(u, "voltage_end_v")[20], 1e-12);
  amp_trace_free(NULL, t);
  amp_trace_free(NULL, u);
  amp_duty_free(NULL, &d);
}

/* Two strings, one of two unlike leaves. */
static amp_pack tree_of (int i) {
  amp_pack p = {0};
  p.leaves = 3;
  p.nodes = 5;
  p.node[0] = (amp_node){AMP_PARALLEL, 1, 2};
  p.node[1] = (amp_node){AMP_LEAF, 0, 0};
  p.node[2] = (amp_node){AMP_SERIES, 3, 2};
  p.node[3] = (amp_node){AMP_LEAF, 1, 0};
  p.node[4] = (amp_node){AMP_LEAF, 2, 0};
  for (int k = 0; k < 3; k++)
    p.leaf[k] = group_of(20.0 + k + 0.3 * i);
  p.leaf[0].series = 2.0;
  return p;
}

static void check_lanes (bool tree) {
  enum { CASES = 19 };
  double edge[STEPS + 1], amps[STEPS];
  amp_pack p[CASES];
  amp_sim_case c[CASES];
  amp_sim_result alone[CASES];
  amp_sim_options o;
  amp_duty d;
  drive_of(edge, amps);
  d = test_of(STEPS, edge, amps, NULL);
  o = amp_sim_settled(&d);
  for (int i = 0; i < CASES; i++) {
    p[i] = tree ? tree_of(i) : one_leaf(group_of(20.0 + i));
    c[i] = plain_case(&p[i]);
    c[i].load_factor = 1.0 + 0.1 * i; /* some meet a limit */
    amp_simulate(NULL, &c[i], 1, &d, &o, &alone[i], NULL, NULL, NULL);
  }
  assert_true(alone[CASES - 1].events > 0);
  each_build_gives(c, CASES, &d, &o, alone);
  amp_duty_free(NULL, &d);
}

static void lanes_of_a_test_are_as_alone_in_every_build (void **state) {
  (void)state;
  check_lanes(false);
  check_lanes(true);
}

/* Row k is the mean over the interval that ends there. */
static void a_log_becomes_a_duty (void **state) {
  double time[] = {100.0, 101.0, 103.5, 104.0}, amps[] = {9.0, 1.0, -2.0, 4};
  double kelvin[] = {283.0, 284.0, 285.0, 286.0};
  amp_test_log log = {0};
  amp_duty d = {0};
  amp_error err = {0};
  (void)state;
  log.n = 4;
  log.time = time;
  log.column[AMP_LOG_CURRENT] = amps;
  log.column[AMP_LOG_TEMP] = kelvin;
  assert_int_equal(amp_duty_log(NULL, &log, NAN, &d, &err), AMP_OK);
  assert_int_equal(d.n, 3);
  assert_close(amp_duty_start(&d, 2), 3.5, 0.0);
  assert_close(amp_duty_length(&d, 1), 2.5, 0.0);
  assert_close(d.amps[0], 1.0, 0.0);
  assert_close(d.amps[2], 4.0, 0.0);
  assert_close(d.temp[2], 283.0, 0.0);
  assert_non_null(strstr(d.note, "first temperature"));
  amp_duty_free(NULL, &d);
  assert_int_equal(amp_duty_log(NULL, &log, 263.15, &d, &err), AMP_OK);
  assert_close(d.temp[0], 263.15, 0.0);
  assert_string_equal(d.note, "");
  amp_duty_free(NULL, &d);
  log.column[AMP_LOG_CURRENT] = NULL;
  assert_int_equal(amp_duty_log(NULL, &log, NAN, &d, &err), AMP_EMISSING);
}

static void nonsense_is_refused (void **state) {
  double edge[] = {0.0, 10.0, 10.0}, amps[] = {1.0, NAN};
  amp_duty d = {0};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_duty_test(NULL, 2, edge, amps, NULL, NULL, &d, &err),
                   AMP_EDATA);
  assert_int_equal(err.line, 2);
  edge[2] = 20.0;
  assert_int_equal(amp_duty_test(NULL, 2, edge, amps, NULL, NULL, &d, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "amps");
  assert_int_equal(amp_duty_test(NULL, 2, edge, amps, amps, NULL, &d, &err),
                   AMP_EMISSING);
  assert_int_equal(amp_duty_test(NULL, 2, edge, NULL, NULL, NULL, &d, &err),
                   AMP_EMISSING);
  assert_null(d.edge);
}

static void a_test_has_no_days_to_join (void **state) {
  double edge[] = {0.0, 86400.0}, amps[] = {1.0};
  amp_duty d = test_of(1, edge, amps, NULL), net;
  amp_duty_month month[12];
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_duty_net(NULL, &d, &d, 1.0, NULL, &net, &err),
                   AMP_EDATA);
  amp_duty_months(&d, month);
  assert_close(month[0].days, 1.0, 0.0);
  assert_close(month[0].temp, 298.15, 1e-9);
  assert_close(month[1].days, 0.0, 0.0);
  amp_duty_free(NULL, &d);
}

static amp_phase phase_of (double ask, double time) {
  amp_phase p = {false, ask, time, NAN, 0.0, NAN, 0};
  return p;
}

static amp_duty phases_of (const amp_phase *p, size_t n, size_t times,
                           double dt) {
  amp_duty d;
  amp_error err = {0};
  assert_int_equal(amp_duty_phases(NULL, p, n, times, dt, 298.15, &d, &err),
                   AMP_OK);
  return d;
}

/* Charged at 10 A to 3.93 V, held there down to 1 A, rested, discharged at
** 8 A to 3.4 V. Along the line all four times have closed forms. */
static void phases_end_where_they_say (void **state) {
  amp_chemistry line = line_here();
  amp_group g = straight(&line);
  amp_phase p[3] = {phase_of(-10.0, 3600.0), phase_of(0.0, 900.0),
                    phase_of(8.0, 7200.0)};
  double held = (3.93 - 3.8 - 0.05) * 36000.0 / 10.0, tau = 36000.0 * 5e-3;
  double full = 0.93 - 1.0 * 5e-3; /* z where 1 A holds 3.93 V */
  double over = held + tau * log(10.0), empty;
  const double *v, *soc;
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_pack pack;
  amp_duty d;
  (void)state;
  g.soc_start = 0.8;
  pack = one_leaf(g);
  p[0].until_v = 3.93;
  p[0].taper = 1.0;
  p[2].until_v = 3.4;
  d = phases_of(p, 3, 1, 10.0);
  assert_int_equal(d.n, 360 + 90 + 720);
  r = run(&pack, &d, &t);
  /* until then 10 A, then less */
  assert_close(amp_trace_column(t, "current_a")[(int)(held / 10.0) - 1],
               -10.0, 1e-12);
  assert_true(amp_trace_column(t, "current_a")[(int)(held / 10.0) + 1] >
              -9.9);
  assert_close(r.total.curtailed, 0.0, 0.0); /* no supply: a test */
  /* a step of x = 10/180 falls by (1 - x/2) / (1 + x/2) for exp(-x): x^2/12
  ** of the 414 s late or early */
  assert_close(amp_trace_phase_end(t, 0), over, 0.11);
  assert_close(amp_trace_phase_end(t, 1), 4500.0, 1e-9);
  soc = amp_trace_column(t, "soc");
  v = amp_trace_column(t, "voltage_end_v");
  assert_close(soc[359], full, 2e-5);
  assert_close(v[400], 3.0 + soc[400], 1e-9);
  assert_close(soc[449], soc[359], 1e-15);
  empty = 4500.0 + (soc[449] - 0.4 - 8.0 * 5e-3) * 36000.0 / 8.0;
  assert_close(amp_trace_phase_end(t, 2), empty, 1e-5);
  /* lowest there, inside a step after whose end the cell rests */
  assert_close(
      amp_trace_column(t, "voltage_low_v")[450 + (int)((empty - 4500) / 10)],
      3.4, 1e-8);
  assert_close(r.first_empty, empty, 1e-5);
  assert_close(amp_trace_column(t, "current_a")[d.n - 1], 0.0, 0.0);
  assert_close(r.total.dc_unserved, 0.0, 0.0);
  assert_close(r.charge_residual / r.total.charge_out, 0.0, 1e-12);
  assert_close(amp_trace_phase_end(t, 3), -1.0, 0.0);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* The weakest's charge ends a phase, taper or not: only a voltage holds. */
static void a_full_pack_ends_a_charge (void **state) {
  amp_chemistry line = line_here();
  amp_group g = straight(&line);
  amp_phase p = phase_of(-10.0, 7200.0);
  amp_trace *t = NULL;
  amp_pack pack;
  amp_duty d;
  (void)state;
  g.soc_max = 0.85;
  g.soc_start = 0.7;
  pack = one_leaf(g);
  p.until_v = 4.2;
  p.taper = 1.0;
  d = phases_of(&p, 1, 1, 0.0);
  run(&pack, &d, &t);
  assert_close(amp_trace_phase_end(t, 0), 0.15 * 3600.0, 1e-5);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

/* Charge ends a phase; so does the pack's own limit; power is held too. */
static void soc_and_the_packs_own_limits_end_a_phase (void **state) {
  amp_chemistry line = line_here();
  amp_phase p[4] = {phase_of(10.0, 3600.0), phase_of(-20.0, 3600.0),
                    phase_of(12.0, 7200.0), phase_of(-30.0, 60.0)};
  amp_pack pack = one_leaf(straight(&line));
  amp_trace *t = NULL;
  amp_sim_result r;
  amp_duty d;
  (void)state;
  p[0].until_soc = 0.5;
  p[1].until_soc = 0.7;
  p[1].taper = 5.0;  /* no voltage holds: it isn't waited for */
  p[2].power = true; /* to the group's 3.2 V */
  d = phases_of(p, 4, 2, 0.0);
  assert_int_equal(d.phases, 8);
  r = run(&pack, &d, &t);
  assert_close(amp_trace_phase_end(t, 0), 0.4 * 36000.0 / 10.0, 1e-5);
  assert_close(amp_trace_phase_end(t, 1), 3600.0 + 0.2 * 36000.0 / 20.0,
               1e-5);
  assert_close(amp_trace_phase_end(t, 3), 14460.0, 1e-9);
  /* 12 W at 3.2 V are 3.75 A: OCV 3.21875 V, z 0.21875; mean OCV to there
  ** less R0 times a current of 3.4 .. 3.75 A. The last step's mean current,
  ** for that at its end: 2e-3 A R0 */
  assert_close(amp_trace_column(t, "soc")[240 - 1], 0.21875, 2e-5);
  assert_true(amp_trace_phase_end(t, 2) > 7200.0 + 0.48 * 36000.0 * 3.4 / 12);
  assert_true(amp_trace_phase_end(t, 2) < 7200.0 + 0.49 * 36000.0 * 3.5 / 12);
  assert_close(amp_trace_column(t, "power_w")[130], 12.0, 1e-4);
  /* the second time round: the same from 0.21875 + 30 A min */
  assert_close(amp_trace_phase_end(t, 4), 14460.0, 1e-2);
  assert_close(r.energy_residual / r.total.out, 0.0, 1e-12);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
}

static void lanes_of_phases_are_as_alone_in_every_build (void **state) {
  enum { CASES = 17 };
  amp_phase p[3] = {phase_of(-15.0, 5400.0), phase_of(0.0, 60.0),
                    phase_of(40.0, 3600.0)};
  amp_pack pack[CASES];
  amp_sim_case c[CASES];
  amp_sim_result alone[CASES];
  amp_sim_options o;
  amp_duty d;
  (void)state;
  p[0].until_v = 8.3;
  p[0].taper = 4.0;
  p[2].power = true;
  p[2].until_v = 6.4;
  d = phases_of(p, 3, 2, 300.0);
  o = amp_sim_settled(&d);
  for (int i = 0; i < CASES; i++) {
    pack[i] = tree_of(i);
    c[i] = plain_case(&pack[i]);
    c[i].load_factor = c[i].sun_factor = 0.5 + 0.1 * i;
    amp_simulate(NULL, &c[i], 1, &d, &o, &alone[i], NULL, NULL, NULL);
    assert_true(alone[i].events > 0);
    assert_close(alone[i].energy_residual / alone[i].total.in, 0.0, 1e-11);
  }
  each_build_gives(c, CASES, &d, &o, alone);
  amp_duty_free(NULL, &d);
}

static void nonsense_phases_are_refused (void **state) {
  amp_phase p[2] = {phase_of(1.0, 60.0), phase_of(0.0, 60.0)};
  amp_duty d = {0};
  amp_error err = {0};
  (void)state;
  p[1].until_v = 3.0;
  assert_int_equal(amp_duty_phases(NULL, p, 2, 1, 0.0, NAN, &d, &err),
                   AMP_EDATA);
  assert_int_equal(err.line, 2);
  p[1] = phase_of(1.0, 0.0);
  assert_int_equal(amp_duty_phases(NULL, p, 2, 1, 0.0, NAN, &d, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "time");
  assert_int_equal(amp_duty_phases(NULL, p, 1, 1000000, 1e-3, NAN, &d, &err),
                   AMP_EDATA);
  assert_int_equal(amp_duty_phases(NULL, p, 0, 1, 0.0, NAN, &d, &err),
                   AMP_EDATA);
  assert_null(d.phase);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(current_held_is_the_cell_stepped_alone),
      cmocka_unit_test(a_test_closes_charge_and_energy),
      cmocka_unit_test(the_cut_off_is_located),
      cmocka_unit_test(a_charge_comes_to_hold_its_voltage),
      cmocka_unit_test(a_node_warms_by_its_closed_form),
      cmocka_unit_test(power_in_equal_steps_is_the_duty_of_hours),
      cmocka_unit_test(lanes_of_a_test_are_as_alone_in_every_build),
      cmocka_unit_test(a_log_becomes_a_duty),
      cmocka_unit_test(nonsense_is_refused),
      cmocka_unit_test(a_test_has_no_days_to_join),
      cmocka_unit_test(phases_end_where_they_say),
      cmocka_unit_test(a_full_pack_ends_a_charge),
      cmocka_unit_test(soc_and_the_packs_own_limits_end_a_phase),
      cmocka_unit_test(lanes_of_phases_are_as_alone_in_every_build),
      cmocka_unit_test(nonsense_phases_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
