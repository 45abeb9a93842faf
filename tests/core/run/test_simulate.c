/*
** test_simulate.c -- laws of a simulated duty: balances, limits met inside a
** step, one lane as many, halved steps, trees that are the same pack.
*/
#include "support/builds.h"
#include "support/close.h"
#include "support/packs.h"
#include <stdlib.h>
#include <string.h>

enum { STEPS = 24 * 20 };

/* 20 days of hours: an even load, sun at noon; invented. */
static amp_duty *duty_new (double load, double sun) {
  amp_duty *d = calloc(1, sizeof *d);
  d->n = STEPS;
  d->dt = 3600.0;
  d->ac = calloc(STEPS, sizeof(double));
  d->dc = calloc(STEPS, sizeof(double));
  d->pv = calloc(STEPS, sizeof(double));
  d->temp = calloc(STEPS, sizeof(double));
  d->on = calloc(STEPS, 1);
  d->charge_efficiency = 1.0;
  for (int i = 0; i < STEPS; i++) {
    d->ac[i] = load * (1.0 + 0.3 * (i % 5));
    d->pv[i] = i % 24 >= 8 && i % 24 < 16 ? sun : 0.0;
    d->temp[i] = 283.15;
    d->on[i] = 1;
  }
  for (int m = 0; m < 12; m++)
    d->month_end[m] = m == 0 ? STEPS / 2 : STEPS;
  return d;
}

static void duty_end (amp_duty *d) {
  free(d->ac);
  free(d->dc);
  free(d->pv);
  free(d->temp);
  free(d->on);
  free(d);
}

static amp_group group_of (double ah, double series, double parallel) {
  amp_group g = {0};
  g.chemistry = amp_chemistry_find("nmc111");
  g.cell = amp_cell_from_r10s(ah * 3600.0, 1.5e-3);
  g.series = series;
  g.parallel = parallel;
  g.soc_min = 0.1;
  g.soc_max = 0.9;
  g.soc_start = 0.5;
  g.v_min = 3.3;
  g.v_max = 4.1;
  g.heat_capacity = 17e3 * parallel;
  g.cooling = 2.0 * parallel;
  return g;
}

static amp_sim_case case_of (const amp_pack *p) {
  amp_sim_case c = {
      p, {.efficiency = 0.92, .idle = 30.0, .power = 3000.0}, 1.0, 1.0, 0.0};
  return c;
}

static amp_sim_result run (const amp_pack *p, const amp_duty *d,
                           double dt_max) {
  amp_sim_case c = case_of(p);
  amp_sim_options o = {dt_max, 0, false, false};
  amp_sim_result r;
  amp_error err = {0};
  assert_int_equal(amp_simulate(NULL, &c, 1, d, &o, &r, NULL, NULL, &err),
                   AMP_OK);
  return r;
}

static void energy_and_charge_close_to_rounding (void **state) {
  amp_duty *d = duty_new(250.0, 1800.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 3.0));
  amp_sim_result r = run(&p, d, 600.0);
  (void)state;
  assert_true(r.total.out > 1e7 && r.total.in > 1e7 && r.events > 0);
  /* doubles carry 1e-16; some 3000 steps add up about 1e-11 of it */
  assert_close(r.energy_residual / r.total.out, 0.0, 1e-11);
  assert_close(r.charge_residual / r.total.charge_out, 0.0, 1e-11);
  assert_true(r.total.loss > 0.0);
  duty_end(d);
}

static void load_is_met_or_counted (void **state) {
  amp_duty *d = duty_new(600.0, 900.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 1.0));
  amp_sim_result r = run(&p, d, 600.0);
  double asked = 0.0;
  (void)state;
  for (int i = 0; i < STEPS; i++)
    asked += d->ac[i] * d->dt;
  assert_true(r.total.unserved > 0.0);
  assert_close((r.total.served + r.total.unserved) / asked, 1.0, 1e-12);
  assert_true(r.first_unserved > 0.0 && r.first_unserved < r.last_unserved);
  assert_true(r.soc_low > 0.1 - 1e-6);
  duty_end(d);
}

static void more_than_the_inverter_gives_is_unserved (void **state) {
  amp_duty *d = duty_new(0.0, 0.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 4.0));
  amp_sim_result r;
  (void)state;
  d->ac[3] = 5000.0; /* for an hour; 3000 W is the most */
  r = run(&p, d, 600.0);
  assert_close(r.total.unserved, 2000.0 * 3600.0, 1e-3);
  assert_close(r.first_unserved, 3 * 3600.0, 1e-9);
  duty_end(d);
}

/* At a load of 30 % the curve says 0.8; a load of 1000 W for an hour. */
static void efficiency_goes_by_load (void **state) {
  amp_duty *d = duty_new(0.0, 0.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 4.0));
  amp_sim_case c[2] = {case_of(&p), case_of(&p)};
  amp_sim_options o = {.dt_max = 600.0};
  amp_sim_result r[2];
  amp_error err = {0};
  (void)state;
  c[1].converter.points = 3;
  for (int k = 0; k < 3; k++) {
    c[1].converter.load[k] = 0.1 + 0.4 * k;
    c[1].converter.at[k] = 0.7 + 0.1 * k + (k == 1 ? 0.1 : 0.0);
  }
  for (int i = 0; i < STEPS; i++)
    d->on[i] = 0;
  d->ac[3] = 900.0; /* 30 % of 3000 W */
  d->ac[9] = 3000.0;
  assert_int_equal(amp_simulate(NULL, c, 2, d, &o, r, NULL, NULL, &err),
                   AMP_OK);
  /* 6e-5 of it: what the steps err */
  assert_close(r[0].total.out, 3900.0 * 3600.0 / 0.92, 1e3);
  assert_close(r[1].total.out, (900.0 / 0.8 + 3000.0 / 0.9) * 3600.0, 1e3);
  assert_close(r[1].total.served, 3900.0 * 3600.0, 1e-3);
  assert_close(r[1].total.unserved, 0.0, 0.0);
  assert_close(amp_converter_efficiency(&c[1].converter, 0.0), 0.7, 0.0);
  assert_close(amp_converter_efficiency(&c[1].converter, 2100.0), 0.9, 1e-12);
  assert_close(amp_converter_mean(&c[1].converter, d, 1.0),
               3900.0 / (900.0 / 0.8 + 3000.0 / 0.9), 1e-12);
  c[1].converter.power = 0.0;
  assert_int_equal(amp_simulate(NULL, c, 2, d, &o, r, NULL, NULL, &err),
                   AMP_EMISSING);
  duty_end(d);
}

/* Sun beside load, hour by hour, by hand; and what a battery of next to
** nothing leaves served is that. */
static void the_supply_serves_by_itself (void **state) {
  amp_duty *d = duty_new(0.0, 0.0);
  amp_pack p = one_leaf(group_of(0.01, 14.0, 0.001));
  amp_sim_case c = case_of(&p);
  amp_sim_result r;
  double alone;
  (void)state;
  for (int i = 0; i < STEPS; i++)
    d->on[i] = 0;
  d->ac[2] = 500.0, d->pv[2] = 1000.0; /* all of it */
  d->ac[3] = 500.0, d->pv[3] = 250.0;  /* 250 W less 40 W of DC, by 0.92 */
  d->dc[3] = 40.0;
  d->ac[4] = 500.0;                                   /* no sun */
  d->pv[5] = 900.0;                                   /* no load */
  d->ac[6] = 5000.0, d->pv[6] = 9000.0;               /* 3000 W is the most */
  d->ac[7] = 500.0, d->pv[7] = 30.0, d->dc[7] = 40.0; /* DC takes it all */
  alone = amp_converter_alone(&c.converter, d, 1.0, 1.0);
  assert_close(alone, 3600.0 * (500.0 + 210.0 * 0.92 + 3000.0), 1e-6);
  r = run(&p, d, 600.0);
  assert_true(r.total.served >= alone - 1e-6);
  assert_close(r.total.served / alone, 1.0, 1e-3);
  assert_close(amp_converter_alone(&c.converter, d, 2.0, 2.0),
               3600.0 * (1000.0 + 420.0 * 0.92 + 3000.0), 1e-6);
  for (int i = 0; i < STEPS; i++)
    d->ac[i] *= 0.0;
  assert_close(amp_converter_alone(&c.converter, d, 1.0, 1.0),
               3600.0 * (40.0 + 30.0), 1e-6); /* DC alone */
  d->ac[2] = 500.0, d->ac[3] = 500.0, d->ac[6] = 5000.0;
  d->on[3] = 1; /* the idle draw comes first */
  assert_close(alone - amp_converter_alone(&c.converter, d, 1.0, 1.0),
               3600.0 * 0.92 * c.converter.idle, 1e-6);
  duty_end(d);
}

/* Two strings in parallel, one of them two unlike leaves in series. */
static amp_pack uneven_tree (int i) {
  amp_pack p = {0};
  p.leaves = 3;
  p.nodes = 5;
  p.node[0] = (amp_node){AMP_PARALLEL, 1, 2};
  p.node[1] = (amp_node){AMP_LEAF, 0, 0};
  p.node[2] = (amp_node){AMP_SERIES, 3, 2};
  p.node[3] = (amp_node){AMP_LEAF, 1, 0};
  p.node[4] = (amp_node){AMP_LEAF, 2, 0};
  p.leaf[0] = group_of(90.0 + i, 14.0, 1.0);
  p.leaf[1] = group_of(80.0 - i, 8.0, 1.0);
  p.leaf[2] = group_of(70.0, 6.0, 1.0);
  return p;
}

/* Twice the load, AC and DC, is the duty with twice the load. */
static void a_load_factor_is_of_ac_and_dc (void **state) {
  amp_duty *d = duty_new(100.0, 1500.0), *twice = duty_new(200.0, 1500.0);
  amp_pack p[2] = {one_leaf(group_of(100.0, 14.0, 3.0)), {0}};
  (void)state;
  p[1] = uneven_tree(0);
  for (int i = 0; i < STEPS; i++) {
    d->dc[i] = 60.0 + i % 7;
    twice->dc[i] = 2.0 * d->dc[i];
  }
  for (int k = 0; k < 2; k++) {
    amp_sim_case c[3] = {case_of(&p[k]), case_of(&p[k]), case_of(&p[k])};
    amp_sim_options o = {.dt_max = 600.0};
    amp_sim_result r[3], want = run(&p[k], twice, 600.0);
    for (int i = 0; i < 3; i++)
      c[i].load_factor = 2.0;
    assert_int_equal(amp_simulate(NULL, c, 3, d, &o, r, NULL, NULL, NULL),
                     AMP_OK);
    assert_true(want.total.dc_served > 1e8 && want.events > 0);
    assert_close(r[1].total.dc_served / want.total.dc_served, 1.0, 1e-12);
    assert_close(r[1].total.out / want.total.out, 1.0, 1e-12);
    assert_close(r[1].total.dc_unserved, want.total.dc_unserved, 1e-3);
  }
  duty_end(d);
  duty_end(twice);
}

/* user[0]: the last share, user[1]: calls, user[2]: 1 where one went back */
static void note_share (void *user, double share) {
  double *seen = user;
  seen[2] = share < seen[0] ? 1.0 : seen[2];
  seen[0] = share;
  seen[1] += 1.0;
}

static void progress_rises_to_the_end_of_its_part (void **state) {
  amp_duty *d = duty_new(350.0, 2200.0);
  amp_context ctx = *amp_context_or_plain(NULL), part;
  amp_pack p = one_leaf(group_of(60.0, 14.0, 1.0));
  amp_sim_case c[40];
  amp_sim_result r[40];
  double seen[3] = {0};
  (void)state;
  ctx.user = seen;
  ctx.progress = note_share;
  for (int i = 0; i < 40; i++)
    c[i] = case_of(&p);
  amp_simulate(&ctx, c, 40, d, NULL, r, NULL, NULL, NULL);
  assert_close(seen[0], 1.0, 0.0);
  assert_true(seen[1] >= 2.0 && seen[2] == 0.0);
  seen[0] = 0.0;
  part = amp_context_part(&ctx, 0.25, 0.5);
  amp_simulate(&part, c, 40, d, NULL, r, NULL, NULL, NULL);
  assert_close(seen[0], 0.5, 1e-15);
  duty_end(d);
}

static void one_lane_is_as_many_and_every_build_is_the_same (void **state) {
  amp_duty *d = duty_new(350.0, 2200.0);
  amp_pack p[40];
  amp_sim_case c[40];
  amp_sim_result alone[40];
  amp_sim_options o = amp_sim_defaults();
  (void)state;
  for (int i = 0; i < 40; i++) {
    p[i] = one_leaf(group_of(60.0 + i, 14.0, 1.0 + i % 3));
    c[i] = case_of(&p[i]);
    c[i].load_factor = 1.0 + 0.01 * i;
  }
  for (int i = 0; i < 40; i++)
    amp_simulate(NULL, &c[i], 1, d, &o, &alone[i], NULL, NULL, NULL);
  each_build_gives(c, 40, d, &o, alone);
  duty_end(d);
}

static void a_lane_of_a_tree_is_as_alone_in_every_build (void **state) {
  enum { CASES = 18 };
  amp_duty *d = duty_new(350.0, 2200.0);
  amp_pack p[CASES];
  amp_sim_case c[CASES];
  amp_sim_result alone[CASES];
  amp_sim_options o = {200.0, 0, false, false};
  (void)state;
  for (int i = 0; i < CASES; i++) {
    p[i] = uneven_tree(i);
    c[i] = case_of(&p[i]);
    amp_simulate(NULL, &c[i], 1, d, &o, &alone[i], NULL, NULL, NULL);
  }
  assert_true(alone[0].events > 0);
  each_build_gives(c, CASES, d, &o, alone);
  duty_end(d);
}

static void halving_the_step_changes_little (void **state) {
  amp_duty *d = duty_new(250.0, 1500.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 3.0));
  double at_600 = run(&p, d, 600.0).total.served;
  double at_10 = run(&p, d, 10.0).total.served;
  (void)state;
  /* order 2: 2e-5 of the energy over a year with limits acting */
  assert_close(at_600 / at_10, 1.0, 1e-4);
  duty_end(d);
}

static void equal_strings_behave_as_one (void **state) {
  amp_duty *d = duty_new(250.0, 1800.0);
  amp_group g = group_of(100.0, 14.0, 1.0);
  amp_pack folded = one_leaf(group_of(100.0, 14.0, 3.0)), tree = {0};
  amp_sim_result a, b;
  (void)state;
  tree.leaves = 3;
  tree.nodes = 4;
  tree.node[0] = (amp_node){AMP_PARALLEL, 1, 3};
  for (int i = 0; i < 3; i++) {
    tree.leaf[i] = g;
    tree.node[1 + i] = (amp_node){AMP_LEAF, i, 0};
  }
  a = run(&folded, d, 600.0);
  b = run(&tree, d, 600.0);
  assert_close(b.total.out / a.total.out, 1.0, 1e-7);
  assert_close(b.soc_end, a.soc_end, 1e-7);
  duty_end(d);
}

static void series_leaves_behave_as_one (void **state) {
  amp_duty *d = duty_new(150.0, 1200.0);
  amp_pack folded = one_leaf(group_of(100.0, 14.0, 1.0)), tree = {0};
  amp_sim_result a, b;
  (void)state;
  tree.leaves = 2;
  tree.nodes = 3;
  tree.node[0] = (amp_node){AMP_SERIES, 1, 2};
  for (int i = 0; i < 2; i++) {
    tree.leaf[i] = group_of(100.0, 7.0, 1.0);
    tree.leaf[i].heat_capacity /= 2;
    tree.leaf[i].cooling /= 2;
    tree.node[1 + i] = (amp_node){AMP_LEAF, i, 0};
  }
  a = run(&folded, d, 600.0);
  b = run(&tree, d, 600.0);
  assert_close(b.total.out / a.total.out, 1.0, 1e-7);
  assert_close(b.v_low, a.v_low, 1e-5);
  duty_end(d);
}

static void the_weakest_group_ends_the_discharge (void **state) {
  amp_duty *d = duty_new(300.0, 0.0);
  amp_pack tree = {0};
  amp_sim_result r;
  double rest; /* SoC of the strong one when the weak one is at its floor */
  (void)state;
  tree.leaves = 2;
  tree.nodes = 3;
  tree.node[0] = (amp_node){AMP_SERIES, 1, 2};
  for (int i = 0; i < 2; i++) {
    tree.leaf[i] = group_of(i ? 80.0 : 100.0, 7.0, 1.0);
    tree.leaf[i].v_min = 2.9;
    tree.node[1 + i] = (amp_node){AMP_LEAF, i, 0};
  }
  r = run(&tree, d, 600.0);
  rest = 0.5 - (0.5 - 0.1) * 80.0 / 100.0; /* equal charge out of both */
  assert_close(r.soc_low, 0.1, 1e-6);
  assert_close(r.soc_end, (rest * 100.0 + 0.1 * 80.0) / 180.0, 1e-6);
  assert_close(r.total.charge_out, 0.4 * 80.0 * 3600.0, 1.0);
  duty_end(d);
}

static void weak_string_carries_its_share (void **state) {
  amp_duty *d = duty_new(300.0, 0.0);
  amp_pack tree = {0};
  amp_sim_result r;
  (void)state;
  tree.leaves = 2;
  tree.nodes = 3;
  tree.node[0] = (amp_node){AMP_PARALLEL, 1, 2};
  for (int i = 0; i < 2; i++) {
    tree.leaf[i] = group_of(i ? 60.0 : 100.0, 14.0, 1.0);
    tree.node[1 + i] = (amp_node){AMP_LEAF, i, 0};
  }
  r = run(&tree, d, 600.0);
  /* Kirchhoff: what the strings give is what the terminals give */
  assert_close(r.charge_residual / r.total.charge_out, 0.0, 1e-11);
  assert_close(r.energy_residual / r.total.out, 0.0, 1e-11);
  assert_true(r.soc_low >= 0.1 - 1e-6);
  duty_end(d);
}

/* V = OCV - I r0 with flat OCV and no pairs: P = V I has a closed form. */
static void power_meets_its_quadratic (void **state) {
  static const double soc[] = {0.0, 1.0}, volt[] = {3.6, 3.6 + 1e-9};
  amp_chemistry flat = {0};
  amp_group g = group_of(1000.0, 14.0, 1.0);
  amp_duty *d = duty_new(0.0, 0.0);
  amp_pack p;
  amp_sim_result r;
  double v = 14 * 3.6, ohm = 14 * 2e-3, watt = 2000.0, i;
  (void)state;
  flat.v_nominal = 3.6;
  flat.v_min = flat.v_daily_min = 2.0;
  flat.v_max = flat.v_daily_max = 4.5;
  assert_int_equal(
      amp_curve_make(soc, volt, 2, AMP_INTERP_LINEAR, &flat.ocv, NULL), 0);
  g.chemistry = &flat;
  g.v_min = 2.5;
  g.cell = amp_cell_defaults();
  g.cell.capacity = 1000.0 * 3600.0;
  g.cell.r0 = 2e-3;
  p = one_leaf(g);
  for (int k = 0; k < STEPS; k++)
    d->on[k] = 0;
  d->dc[0] = watt;
  r = run(&p, d, 600.0);
  i = 2.0 * watt / (v + sqrt(v * v - 4.0 * ohm * watt));
  assert_close(r.i_max, i, 1e-6);
  assert_close(r.total.charge_out, i * 3600.0, 1e-2);
  assert_close(r.total.loss, i * i * ohm * 3600.0, 1.0);
  duty_end(d);
}

/* The SoC floor is met inside a step: the time is known in closed form. */
static void floor_is_located_inside_the_step (void **state) {
  amp_group g = group_of(100.0, 14.0, 1.0);
  amp_duty *d = duty_new(0.0, 0.0);
  amp_pack p;
  amp_sim_result r;
  (void)state;
  g.v_min = 2.5;
  p = one_leaf(g);
  for (int k = 0; k < STEPS; k++) {
    d->on[k] = 0;
    d->dc[k] = 1000.0;
  }
  r = run(&p, d, 600.0);
  assert_close(r.soc_end, 0.1, 2e-9);
  assert_close(r.total.charge_out, 0.4 * 100 * 3600.0, 1e-2);
  /* 1000 W until then; steps of 600 s err by some 1e-5 of it */
  assert_close(r.first_unserved, r.total.out / 1000.0, 0.5);
  assert_true(fabs(r.first_unserved / 600.0 -
                   floor(r.first_unserved / 600.0)) > 1e-3);
  duty_end(d);
}

typedef struct seen {
  size_t months, cycles;
  double depth, out;
} seen;

static void see (void *arg, size_t i, int m, const amp_sim_month *sum,
                 const amp_cycle *cycle, size_t n) {
  seen *s = arg;
  (void)i;
  (void)m;
  s->months++;
  s->cycles += n;
  s->out += sum->out;
  for (size_t k = 0; k < n; k++)
    s->depth += cycle[k].range * cycle[k].count;
}

/* Identity: sum of range x count is half the total variation of SoC, which
** without rests is half of all charge moved over capacity. */
static void cycles_add_up_to_the_charge_moved (void **state) {
  amp_duty *d = duty_new(250.0, 1800.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 3.0));
  amp_sim_case c = case_of(&p);
  amp_sim_options o = {600.0, 1, true, false};
  amp_sim_result r;
  seen s = {0};
  double moved;
  (void)state;
  assert_int_equal(amp_simulate(NULL, &c, 1, d, &o, &r, see, &s, NULL), 0);
  moved = (r.total.charge_out + r.total.charge_in) / (300.0 * 3600.0);
  assert_int_equal(s.months, 2);
  assert_true(s.cycles >= 20);
  assert_close(s.depth / (moved / 2.0), 1.0, 5e-3);
  assert_close(s.out, r.total.out, 0.0);
  duty_end(d);
}

static void trace_adds_up (void **state) {
  amp_duty *d = duty_new(250.0, 1800.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 3.0));
  amp_sim_case c = case_of(&p);
  amp_sim_options o = {600.0, 0, false, false};
  amp_sim_result r;
  amp_trace *t = NULL;
  const double *power;
  double sum = 0.0;
  (void)state;
  assert_int_equal(amp_simulate_trace(NULL, &c, d, &o, &t, &r, NULL), 0);
  assert_int_equal(amp_trace_length(t), STEPS * 6);
  power = amp_trace_column(t, "power_w");
  for (size_t i = 0; i < amp_trace_length(t); i++)
    sum += power[i] * 600.0;
  assert_close(sum / (r.total.out - r.total.in), 1.0, 1e-9);
  assert_null(amp_trace_column(t, "watts"));
  amp_trace_free(NULL, t);
  duty_end(d);
}

static void nonsense_is_refused_by_name (void **state) {
  amp_duty *d = duty_new(250.0, 1800.0);
  amp_pack p = one_leaf(group_of(100.0, 14.0, 3.0));
  amp_sim_case c = case_of(&p);
  amp_sim_result r;
  amp_error err = {0};
  (void)state;
  c.converter.efficiency = 92.0;
  assert_int_equal(amp_simulate(NULL, &c, 1, d, NULL, &r, NULL, NULL, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "efficiency");
  assert_int_equal(err.line, 1);
  duty_end(d);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(energy_and_charge_close_to_rounding),
      cmocka_unit_test(load_is_met_or_counted),
      cmocka_unit_test(more_than_the_inverter_gives_is_unserved),
      cmocka_unit_test(efficiency_goes_by_load),
      cmocka_unit_test(the_supply_serves_by_itself),
      cmocka_unit_test(a_load_factor_is_of_ac_and_dc),
      cmocka_unit_test(progress_rises_to_the_end_of_its_part),
      cmocka_unit_test(one_lane_is_as_many_and_every_build_is_the_same),
      cmocka_unit_test(a_lane_of_a_tree_is_as_alone_in_every_build),
      cmocka_unit_test(halving_the_step_changes_little),
      cmocka_unit_test(equal_strings_behave_as_one),
      cmocka_unit_test(series_leaves_behave_as_one),
      cmocka_unit_test(the_weakest_group_ends_the_discharge),
      cmocka_unit_test(weak_string_carries_its_share),
      cmocka_unit_test(power_meets_its_quadratic),
      cmocka_unit_test(floor_is_located_inside_the_step),
      cmocka_unit_test(cycles_add_up_to_the_charge_moved),
      cmocka_unit_test(trace_adds_up),
      cmocka_unit_test(nonsense_is_refused_by_name),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
