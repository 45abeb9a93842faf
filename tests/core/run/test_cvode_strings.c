/*
** test_cvode_strings.c -- two unequal strings against an independent
** integrator, SUNDIALS CVODE: what each carries, and the error of sharing
** that the run reports about itself. The equations are written down again
** from docs/model/pack.md; only the curve is shared.
*/
#include "support/integrator.h"
#include "ampstead.h"

enum { LEAVES = 3, PER_LEAF = 3, STATES = LEAVES * PER_LEAF, STEPS = 24 };

/* Leaf 0 is one string, leaves 1 and 2 are the other. */
static const int string_of[LEAVES] = {0, 1, 1};

typedef struct truth {
  const amp_group *g;
  double power;
  double i[2]; /* A of each string, now */
  integrator in;
} truth;

static double shape_of (const amp_cell *c, double z) {
  int k = z >= 0.9 ? 9 : (int)(z * 10.0);
  double f = z * 10.0 - k;
  return (1.0 - f) * c->r0_shape[k] + f * c->r0_shape[k + 1];
}

/* Kirchhoff by hand: both strings at one voltage, their sum the current of
** the power. */
static void share (truth *u, const double *s) {
  double e[2] = {0.0, 0.0}, r[2] = {0.0, 0.0};
  for (int k = 0; k < LEAVES; k++) {
    const amp_group *g = &u->g[k];
    const double *x = s + k * PER_LEAF;
    int n = string_of[k];
    e[n] += g->series * amp_curve_at(&g->chemistry->ocv, x[0]) - x[1] - x[2];
    r[n] += g->cell.r0 * g->series * shape_of(&g->cell, x[0]) + g->r_joint;
  }
  double all = 1.0 / (1.0 / r[0] + 1.0 / r[1]);
  double open = all * (e[0] / r[0] + e[1] / r[1]);
  double i =
      2.0 * u->power / (open + sqrt(open * open - 4.0 * all * u->power));
  double v = open - all * i;
  for (int n = 0; n < 2; n++)
    u->i[n] = (e[n] - v) / r[n];
}

static int rhs (realtype t, N_Vector y, N_Vector dy, void *arg) {
  truth *u = arg;
  double *d = NV_DATA_S(dy), *s = NV_DATA_S(y);
  (void)t;
  share(u, s);
  for (int k = 0; k < LEAVES; k++) {
    const amp_cell *c = &u->g[k].cell;
    double i = u->i[string_of[k]], n = u->g[k].series;
    d[k * PER_LEAF] = -i / c->capacity;
    d[k * PER_LEAF + 1] = (c->r1 * n * i - s[k * PER_LEAF + 1]) / c->tau1;
    d[k * PER_LEAF + 2] = (c->r2 * n * i - s[k * PER_LEAF + 2]) / c->tau2;
  }
  return 0;
}

static void truth_open (truth *u, const amp_group *g) {
  u->g = g;
  integrator_open(&u->in, rhs, STATES, 1e-12, u);
  for (int k = 0; k < LEAVES; k++)
    NV_Ith_S(u->in.y, k * PER_LEAF) = g[k].soc_start;
}

static amp_group group_of (double ah, double mohm, double series) {
  amp_group g = {0};
  g.chemistry = amp_chemistry_find("nmc111");
  g.cell = amp_cell_from_r10s(ah * 3600.0, mohm * 1e-3);
  g.cell.r0_activation = 0.0;
  g.series = series;
  g.parallel = 1.0;
  g.r_joint = 0.5e-3;
  g.soc_min = 0.02;
  g.soc_max = 0.98;
  g.soc_start = 0.7;
  g.v_min = 2.8;
  g.v_max = 4.19;
  return g;
}

/* Watts of each ten minutes; invented. */
static double load_of (int n) {
  static const double w[] = {600, 600, 1800, 0, -900, -900, 2400, 300};
  return w[(n * 3 + n / 8) % 8];
}

static amp_pack tree_of (const amp_group *g) {
  amp_pack p = {0};
  p.leaves = LEAVES;
  p.nodes = 5;
  for (int k = 0; k < LEAVES; k++)
    p.leaf[k] = g[k];
  p.node[0] = (amp_node){AMP_PARALLEL, 1, 2};
  p.node[1] = (amp_node){AMP_LEAF, 0, 1};
  p.node[2] = (amp_node){AMP_SERIES, 3, 2};
  p.node[3] = (amp_node){AMP_LEAF, 1, 1};
  p.node[4] = (amp_node){AMP_LEAF, 2, 1};
  return p;
}

/* Greatest error of a leaf's charge at the ends of ten minutes, of its
** capacity; and of the charge that moved. */
static void run_against (double dt, bool fixed, double *soc, double *moved,
                         amp_sim_result *r) {
  amp_group g[LEAVES] = {group_of(100, 1.0, 14), group_of(60, 1.5, 8),
                         group_of(80, 2.0, 6)};
  double ac[STEPS] = {0}, dc[STEPS], pv[STEPS], temp[STEPS];
  unsigned char on[STEPS] = {0};
  static amp_pack p;
  amp_sim_case c = {&p, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  amp_sim_options o = {.dt_max = dt, .fixed_step = fixed};
  amp_duty d = {.n = STEPS, .dt = 600.0, .charge_efficiency = 1.0};
  amp_trace *t = NULL;
  truth u = {0};
  double off = 0.0, all = 0.0, last[LEAVES], mine[LEAVES];
  p = tree_of(g);
  for (int n = 0; n < STEPS; n++) {
    dc[n] = fmax(load_of(n), 0.0);
    pv[n] = fmax(-load_of(n), 0.0);
    temp[n] = 298.15;
  }
  d.ac = ac;
  d.dc = dc;
  d.pv = pv;
  d.temp = temp;
  d.on = on;
  for (int m = 0; m < 12; m++)
    d.month_end[m] = STEPS;
  assert_int_equal(amp_simulate_trace(NULL, &c, &d, &o, &t, r, NULL), 0);
  assert_int_equal(r->events, 0);
  truth_open(&u, g);
  *soc = 0.0;
  for (int k = 0; k < LEAVES; k++)
    last[k] = mine[k] = g[k].soc_start;
  for (int n = 0; n < STEPS; n++) {
    size_t row = amp_trace_begin(t, &d, (size_t)n + 1) - 1;
    u.power = load_of(n);
    integrator_go(&u.in, n * 600.0, (n + 1) * 600.0);
    for (size_t k = 0; k < LEAVES; k++) {
      double z = NV_Ith_S(u.in.y, k * PER_LEAF);
      double own = amp_trace_leaf_column(t, k, "soc")[row];
      *soc = fmax(*soc, fabs(own - z));
      off += fabs((own - mine[k]) - (z - last[k])) * g[k].cell.capacity;
      all += fabs(z - last[k]) * g[k].cell.capacity;
      last[k] = z;
      mine[k] = own;
    }
  }
  *moved = off / all;
  integrator_close(&u.in);
  amp_trace_free(NULL, t);
}

static void in_short_steps_the_strings_are_the_integrators (void **state) {
  amp_sim_result r;
  double soc, moved;
  (void)state;
  run_against(1.0, true, &soc, &moved, &r);
  print_message("steps of 1 s: SoC of a leaf %.1e, its charge %.1e\n", soc,
                moved);
  assert_true(soc < 1e-7);
  assert_true(moved < 1e-5);
}

/* In the steps that the run chooses, its own measure of the error bounds
** what the integrator says, and both are under 0.1 %. */
static void chosen_steps_hold_what_they_report (void **state) {
  amp_sim_result r;
  double soc, moved;
  (void)state;
  run_against(600.0, false, &soc, &moved, &r);
  print_message("steps of %g s: charge of a leaf off by %.1e, reported "
                "%.1e; SoC %.1e\n",
                r.step, moved, r.share_error, soc);
  assert_true(r.share_error < 1e-3);
  assert_true(moved < 1e-3);
  assert_true(moved < 2.0 * r.share_error);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(in_short_steps_the_strings_are_the_integrators),
      cmocka_unit_test(chosen_steps_hold_what_they_report)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
