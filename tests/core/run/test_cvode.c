/*
** test_cvode.c -- an hour of load steps against an independent integrator:
** SUNDIALS CVODE (A. C. Hindmarsh and others, ACM Trans. Math. Softw. 31
** (2005) 363-396), BDF, relative tolerance 1e-10. The equations are written
** down again here from docs/model/cell.md; only the curve is shared.
*/
#include "support/integrator.h"
#include "support/packs.h"
#include <stdlib.h>

enum { Z, V1, V2, ENERGY, TEMP, STATES, MINUTES = 60 };

typedef struct truth {
  const amp_group *g;
  double power;   /* W held at the terminals, or */
  double current; /* A held, where power is NaN */
  double ambient; /* K */
  integrator in;
} truth;

/* Load of each minute, W: steps up, down, a pause and a charge; invented. */
static double load_of (int minute) {
  static const double w[] = {300, 1800, 2400, 0, 900, -700, -1500, 1200};
  return w[(minute * 5 + minute / 8) % 8];
}

static double shape_of (const amp_cell *c, double z) {
  int k = z >= 0.9 ? 9 : (int)(z * 10.0);
  double f = z * 10.0 - k;
  return (1.0 - f) * c->r0_shape[k] + f * c->r0_shape[k + 1];
}

/* Voltage of the pack in state s, and the current that is held or that
** brings the power. */
static double voltage_of (const truth *u, const double *s, double *current) {
  const amp_group *g = u->g;
  const amp_cell *c = &g->cell;
  double ohm = g->series / g->parallel, i = u->current;
  double r0 = c->r0 * ohm * shape_of(c, s[Z]) *
              exp(c->r0_activation * (1.0 / s[TEMP] - 1.0 / 298.15));
  double open =
      g->series * amp_curve_at(&g->chemistry->ocv, s[Z]) - s[V1] - s[V2];
  if (u->power == u->power)
    i = 2.0 * u->power / (open + sqrt(open * open - 4.0 * r0 * u->power));
  *current = i;
  return open - r0 * i;
}

static int rhs (realtype t, N_Vector y, N_Vector dy, void *arg) {
  truth *u = arg;
  const amp_group *g = u->g;
  const amp_cell *c = &g->cell;
  double *s = NV_DATA_S(y), *d = NV_DATA_S(dy), i;
  double ohm = g->series / g->parallel, v = voltage_of(u, s, &i);
  double open = g->series * amp_curve_at(&g->chemistry->ocv, s[Z]);
  (void)t;
  d[TEMP] = 0.0;
  if (g->heat_capacity > 0.0)
    d[TEMP] = (i * (open - v) - g->cooling * (s[TEMP] - u->ambient)) /
              g->heat_capacity;
  d[Z] = -i / (c->capacity * g->parallel);
  d[V1] = (c->r1 * ohm * i - s[V1]) / c->tau1;
  d[V2] = (c->r2 * ohm * i - s[V2]) / c->tau2;
  d[ENERGY] = v * i;
  return 0;
}

static void truth_open (truth *u, const amp_group *g) {
  u->g = g;
  integrator_open(&u->in, rhs, STATES, 1e-13, u);
  NV_Ith_S(u->in.y, Z) = g->soc_start;
  NV_Ith_S(u->in.y, TEMP) = u->ambient = 298.15;
}

static void truth_minute (truth *u, int minute) {
  integrator_go(&u->in, minute * 60.0, (minute + 1) * 60.0);
}

static amp_group group_here (void) {
  amp_group g = {0};
  g.chemistry = amp_chemistry_find("nmc111");
  g.cell = amp_cell_from_r10s(100.0 * 3600.0, 1.5e-3);
  g.cell.r0_activation = 0.0;
  g.series = 14.0;
  g.parallel = 2.0;
  g.soc_min = 0.02;
  g.soc_max = 0.98;
  g.soc_start = 0.7;
  g.v_min = 2.8;
  g.v_max = 4.19;
  return g;
}

static void held_current_agrees (void **state) {
  amp_group g = group_here();
  amp_cell one = amp_cell_parallel(&g.cell, g.parallel);
  amp_cell_state s = {g.soc_start, 0.0, 0.0, 298.15};
  truth u = {0};
  (void)state;
  truth_open(&u, &g);
  u.power = NAN;
  for (int m = 0; m < MINUTES; m++) {
    u.current = load_of(m) / 50.0;
    truth_minute(&u, m);
    assert_int_equal(
        amp_cell_step(&one, g.chemistry, &s, u.current, 60.0, NULL, NULL),
        AMP_OK);
    assert_close(s.soc, NV_Ith_S(u.in.y, Z), 1e-9);
    /* 1 uV of a group */
    assert_close(s.v1 * g.series, NV_Ith_S(u.in.y, V1), 1e-6);
    assert_close(s.v2 * g.series, NV_Ith_S(u.in.y, V2), 1e-6);
  }
  integrator_close(&u.in);
}

static void held_power_agrees (void **state) {
  amp_group g = group_here();
  amp_pack p = {0};
  double ac[MINUTES] = {0}, dc[MINUTES] = {0}, pv[MINUTES] = {0};
  double temp[MINUTES];
  unsigned char on[MINUTES] = {0};
  amp_duty d = {0};
  amp_sim_case c = {&p, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  amp_sim_options o = {60.0, 0, false, false};
  amp_sim_result r;
  amp_trace *t = NULL;
  truth u = {0};
  double worst = 0.0;
  (void)state;
  p.leaves = p.nodes = 1;
  p.leaf[0] = g;
  p.node[0] = (amp_node){AMP_LEAF, 0, 0};
  for (int m = 0; m < MINUTES; m++) {
    dc[m] = fmax(load_of(m), 0.0);
    pv[m] = fmax(-load_of(m), 0.0);
    temp[m] = 298.15;
  }
  d.n = MINUTES;
  d.dt = 60.0;
  d.ac = ac;
  d.dc = dc;
  d.pv = pv;
  d.temp = temp;
  d.on = on;
  d.charge_efficiency = 1.0;
  for (int m = 0; m < 12; m++)
    d.month_end[m] = MINUTES;
  assert_int_equal(amp_simulate_trace(NULL, &c, &d, &o, &t, &r, NULL), 0);
  assert_int_equal(r.events, 0);
  truth_open(&u, &g);
  for (int m = 0; m < MINUTES; m++) {
    u.power = load_of(m);
    truth_minute(&u, m);
    worst = fmax(worst,
                 fabs(amp_trace_column(t, "soc")[m] - NV_Ith_S(u.in.y, Z)));
  }
  print_message("greatest error of SoC, power held for 60 s: %.1e\n", worst);
  assert_true(worst < 1e-6); /* what is wanted of a step of 60 s */
  assert_close((r.total.out - r.total.in) / NV_Ith_S(u.in.y, ENERGY), 1.0,
               1e-5);
  integrator_close(&u.in);
  amp_trace_free(NULL, t);
}

/* The hour through the batch path in steps of 'dt' s, amperes or watts of
** load_of times 'size'; gives the greatest error of the voltage at the ends
** of minutes in V of a group, and of the temperature in K. */
static double worst_of (const amp_group *g, bool watts, double size,
                        bool steady, double dt, double *kelvin) {
  double edge[MINUTES + 1], want[MINUTES], temp[MINUTES], worst = 0.0;
  amp_pack p = one_leaf(*g);
  amp_sim_case c = {&p, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  amp_sim_options o = {.dt_max = dt};
  amp_sim_result r;
  amp_trace *t = NULL;
  amp_duty d;
  truth u = {0};
  for (int m = 0; m < MINUTES; m++) {
    edge[m] = 60.0 * m;
    want[m] = size * (steady ? 1.0 : load_of(m));
    temp[m] = 298.15;
  }
  edge[MINUTES] = 3600.0;
  assert_int_equal(amp_duty_test(NULL, MINUTES, edge, watts ? NULL : want,
                                 watts ? want : NULL, temp, &d, NULL),
                   AMP_OK);
  assert_int_equal(amp_simulate_trace(NULL, &c, &d, &o, &t, &r, NULL), 0);
  assert_int_equal(r.events, 0);
  truth_open(&u, g);
  *kelvin = 0.0;
  for (int m = 0; m < MINUTES; m++) {
    size_t row = amp_trace_row(&d, dt, (size_t)m + 1) - 1;
    double v, i;
    u.power = watts ? want[m] : NAN;
    u.current = want[m];
    truth_minute(&u, m);
    v = voltage_of(&u, NV_DATA_S(u.in.y), &i);
    worst = fmax(worst, fabs(amp_trace_column(t, "voltage_end_v")[row] - v) /
                            g->series);
    *kelvin = fmax(*kelvin, fabs(amp_trace_column(t, "temp_k")[row] -
                                 NV_Ith_S(u.in.y, TEMP)));
  }
  integrator_close(&u.in);
  amp_trace_free(NULL, t);
  amp_duty_free(NULL, &d);
  return worst;
}

static void held_current_gives_the_voltage_to_a_microvolt (void **state) {
  amp_group g = group_here();
  double kelvin, worst = worst_of(&g, false, 0.05, false, 60.0, &kelvin);
  (void)state;
  print_message("current held, steps of 60 s: voltage %.1e V\n", worst);
  assert_true(worst < 1e-6);
  assert_close(kelvin, 0.0, 1e-12);
}

/* Own heat and a resistance that falls with it: some 10 K in the hour. */
static amp_group group_that_warms (void) {
  amp_group g = group_here();
  g.cell.r0_activation = 2500.0;
  g.heat_capacity = 2.4e4;
  g.cooling = 1.0;
  return g;
}

static void constant_power_and_heat_within_a_millivolt (void **state) {
  amp_group g = group_that_warms();
  double k1, k2, steady = worst_of(&g, true, 5000.0, true, 60.0, &k1);
  double steps = worst_of(&g, true, 2.0, false, 60.0, &k2);
  (void)state;
  print_message("power and heat, 60 s: voltage %.1e V steady, %.1e V with "
                "load steps; temperature %.1e, %.1e K\n",
                steady, steps, k1, k2);
  assert_true(steady < 1e-3 && steps < 1e-3);
  assert_true(k1 < 0.05 && k2 < 0.05);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(held_current_agrees),
      cmocka_unit_test(held_power_agrees),
      cmocka_unit_test(held_current_gives_the_voltage_to_a_microvolt),
      cmocka_unit_test(constant_power_and_heat_within_a_millivolt),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
