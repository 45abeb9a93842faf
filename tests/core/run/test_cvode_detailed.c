/*
** test_cvode_detailed.c -- an hour of load steps of a detailed cell in the
** batch path against an independent integrator: SUNDIALS CVODE (A. C.
** Hindmarsh and others, ACM Trans. Math. Softw. 31 (2005) 363-396), BDF,
** relative tolerance 1e-10. The equations are written down again here from
** docs/model/detailed.md, with roots found by bisection and the C library's
** functions; only the curve is shared. Voltages at the ends of minutes.
*/
#include "support/integrator.h"
#include "ampstead.h"
#include <math.h>

enum { Z, MODE, SLOW = MODE + 6, CT = SLOW + 2, CORE, SKIN, STATES };
enum { MINUTES = 60 };

typedef struct truth {
  const amp_detailed *c;
  const amp_chemistry *chem;
  double power;   /* W held, or */
  double current; /* A held, where power is NaN */
  double ambient; /* K */
  double lambda2[6];
  integrator in;
} truth;

/* A of each minute of a 2.9 Ah cell; invented. */
static double load_of (int minute) {
  static const double a[] = {0.4, 2.6, 3.5, 0.0, 1.3, -1.0, -2.2, 1.8};
  return a[(minute * 5 + minute / 8) % 8];
}

/* tan x = x between n pi and (n + 1/2) pi, by bisection. */
static double root_of (int n) {
  double lo = AMP_PI * n, hi = AMP_PI * (n + 0.5);
  for (int k = 0; k < 200; k++) {
    double x = 0.5 * (lo + hi);
    bool below = sin(x) - x * cos(x) < 0.0;
    *(below == (n % 2 == 0) ? &lo : &hi) = x;
  }
  return 0.5 * (lo + hi);
}

/* Where x lies among knots, as a weight of the right one. */
static int between (const double *x, int n, double at, double *w) {
  int k = 0;
  *w = 0.0;
  if (n == 1 || at <= x[0])
    return 0;
  if (at >= x[n - 1]) {
    *w = 1.0;
    return n - 2;
  }
  while (at > x[k + 1])
    k++;
  *w = (at - x[k]) / (x[k + 1] - x[k]);
  return k;
}

static double table (const amp_detailed *c, const double ln[][AMP_DETAIL_SOC],
                     double z, double t) {
  double w, row[2],
      inverse = (1.0 / t - 1.0 / c->temp[0]) /
                (1.0 / c->temp[1] - 1.0 / c->temp[0]);
  int k = between(c->soc, c->socs, z, &w);
  for (int j = 0; j < 2; j++)
    row[j] = ln[j][k] + w * (ln[j][k + 1] - ln[j][k]);
  return exp(row[0] + inverse * (row[1] - row[0]));
}

static double entropic (const amp_detailed *c, double z) {
  double w;
  int k = between(c->soc, c->socs, z, &w);
  return c->entropic[k] + w * (c->entropic[k + 1] - c->entropic[k]);
}

static double open_at (const truth *u, double z, double t) {
  return amp_curve_at(&u->chem->ocv, z) + (t - 298.15) * entropic(u->c, z);
}

static double voltage_at (const truth *u, const double *s, double i) {
  const amp_detailed *c = u->c;
  double t = s[CORE], rest = 0.2, gap = 0.0, zs, v;
  double tau = table(c, c->ln_tau_d, s[Z], t);
  double inverse =
      (1.0 / t - 1.0 / c->temp[0]) / (1.0 / c->temp[1] - 1.0 / c->temp[0]);
  for (int n = 0; n < 6; n++) {
    rest -= 2.0 / u->lambda2[n];
    gap += 2.0 / u->lambda2[n] * (n > 0 ? 1.0 - c->blunt : 1.0) * s[MODE + n];
  }
  zs = s[Z] - tau / (3.0 * c->capacity) * (gap + (1.0 - c->blunt) * rest * i);
  v = open_at(u, zs, t) - table(c, c->ln_r0, zs, t) * i;
  v -= 2.0 * 8.314462618 * t / 96485.33212 *
       asinh(s[CT] / (2.0 * table(c, c->ln_i0, zs, t)));
  v -= exp(c->ln_slow[0][0] +
           inverse * (c->ln_slow[0][1] - c->ln_slow[0][0])) *
       s[SLOW];
  return v;
}

static double current_at (const truth *u, const double *s) {
  double lo = -20.0, hi = 20.0;
  if (u->power != u->power)
    return u->current;
  for (int k = 0; k < 60; k++) {
    double i = 0.5 * (lo + hi);
    *(voltage_at(u, s, i) * i < u->power ? &lo : &hi) = i;
  }
  return 0.5 * (lo + hi);
}

static int rhs (realtype time, N_Vector y, N_Vector dy, void *arg) {
  const truth *u = arg;
  const amp_detailed *c = u->c;
  const double *s = NV_DATA_S(y);
  double *d = NV_DATA_S(dy), i = current_at(u, s);
  double v = voltage_at(u, s, i), tau = table(c, c->ln_tau_d, s[Z], s[CORE]);
  double warm =
      i * (open_at(u, s[Z], s[CORE]) - v - s[CORE] * entropic(c, s[Z]));
  double through = c->core_skin * (s[CORE] - s[SKIN]);
  (void)time;
  d[Z] = -i / c->capacity;
  for (int n = 0; n < 6; n++)
    d[MODE + n] = (i - s[MODE + n]) * u->lambda2[n] / tau;
  d[SLOW] = (i - s[SLOW]) / c->tau_slow[0];
  d[SLOW + 1] = 0.0;
  d[CT] = (i - s[CT]) / c->tau_ct;
  d[CORE] = d[SKIN] = 0.0;
  if (c->heat_core > 0.0) {
    d[CORE] = (warm - through) / c->heat_core;
    d[SKIN] = (through - c->skin_air * (s[SKIN] - u->ambient)) / c->heat_skin;
  }
  return 0;
}

static void truth_open (truth *u, double soc) {
  for (int n = 0; n < 6; n++) {
    double x = root_of(n + 1);
    u->lambda2[n] = x * x;
  }
  integrator_open(&u->in, rhs, STATES, 1e-12, u);
  NV_Ith_S(u->in.y, Z) = soc;
  NV_Ith_S(u->in.y, CORE) = NV_Ith_S(u->in.y, SKIN) = u->ambient;
}

static void truth_minute (truth *u, int minute) {
  integrator_go(&u->in, minute * 60.0, (minute + 1) * 60.0);
}

/* A 2.9 Ah cell, cold; diffusion the same at any charge, so that a step at
** constant temperature is exact. Invented. */
static amp_detailed cell_here (void) {
  amp_detailed c = {.capacity = 10440.0,
                    .socs = 4,
                    .temps = 2,
                    .soc = {0.0, 0.3, 0.6, 1.0},
                    .temp = {273.15, 298.15},
                    .tau_slow = {60.0, 0.0},
                    .tau_ct = 2.0,
                    .blunt = 0.3,
                    .heat_core = 31.0,
                    .heat_skin = 6.5,
                    .core_skin = 1 / 2.8,
                    .skin_air = 1 / 6.3,
                    .entropic = {-2e-4, 1e-4, 1e-4, 0.0}};
  for (int k = 0; k < 4; k++) {
    c.ln_r0[0][k] = log(0.05) - 0.05 * k;
    c.ln_r0[1][k] = log(0.028) - 0.05 * k;
    c.ln_i0[0][k] = log(0.4) + 0.2 * k;
    c.ln_i0[1][k] = log(2.0) + 0.2 * k;
    c.ln_tau_d[0][k] = log(17000.0);
    c.ln_tau_d[1][k] = log(3500.0);
  }
  c.ln_slow[0][0] = log(0.03);
  c.ln_slow[0][1] = log(0.012);
  return c;
}

static amp_pack pack_of (const amp_detailed *c) {
  amp_pack p = {0};
  amp_group *g = &p.leaf[0];
  p.leaves = p.nodes = 1;
  p.node[0] = (amp_node){AMP_LEAF, 0, 0};
  g->chemistry = amp_chemistry_find("nca");
  g->cell = amp_cell_from_r10s(c->capacity, 0.04);
  g->detailed = c;
  g->series = g->parallel = 1.0;
  g->soc_min = 0.01;
  g->soc_max = 1.0;
  g->soc_start = 0.85;
  g->v_min = 2.5;
  g->v_max = 4.3;
  return p;
}

static amp_duty hour_of (double size, bool watts, bool steady, double temp) {
  double edge[MINUTES + 1], want[MINUTES], kelvin[MINUTES];
  amp_duty d;
  for (int m = 0; m < MINUTES; m++) {
    edge[m] = 60.0 * m;
    want[m] = size * (steady ? 1.0 : load_of(m));
    kelvin[m] = temp;
  }
  edge[MINUTES] = 3600.0;
  assert_int_equal(amp_duty_test(NULL, MINUTES, edge, watts ? NULL : want,
                                 watts ? want : NULL, kelvin, &d, NULL),
                   AMP_OK);
  return d;
}

/* Greatest error of the voltage at the ends of minutes, V; in *kelvin of the
** core. Steps of at most 'dt' s. */
static double worst_of (const amp_detailed *c, const amp_duty *d, double dt,
                        double *kelvin) {
  amp_pack p = pack_of(c);
  amp_sim_case k = {&p, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  amp_sim_options o = {.dt_max = dt};
  amp_sim_result r;
  amp_trace *t = NULL;
  truth u = {.c = c, .chem = p.leaf[0].chemistry, .ambient = d->temp[0]};
  double worst = 0.0;
  assert_int_equal(amp_simulate_trace(NULL, &k, d, &o, &t, &r, NULL), 0);
  assert_int_equal(r.events + r.unsolved, 0);
  truth_open(&u, 0.85);
  *kelvin = 0.0;
  for (int m = 0; m < MINUTES; m++) {
    size_t row = amp_trace_row(d, dt, (size_t)m + 1) - 1;
    const double *s = NV_DATA_S(u.in.y);
    double v;
    u.power = d->amps ? NAN : d->dc[m] - d->pv[m];
    u.current = d->amps ? d->amps[m] : 0.0;
    truth_minute(&u, m);
    v = voltage_at(&u, s, current_at(&u, s));
    worst = fmax(worst, fabs(amp_trace_column(t, "voltage_end_v")[row] - v));
    *kelvin =
        fmax(*kelvin, fabs(amp_trace_column(t, "temp_k")[row] - s[CORE]));
  }
  integrator_close(&u.in);
  amp_trace_free(NULL, t);
  return worst;
}

static void held_current_gives_the_voltage_to_a_microvolt (void **state) {
  amp_detailed c = cell_here();
  amp_duty d = hour_of(1.0, false, false, 278.15);
  double kelvin, worst;
  (void)state;
  c.heat_core = c.heat_skin = c.core_skin = c.skin_air = 0.0;
  worst = worst_of(&c, &d, 60.0, &kelvin);
  print_message("current held, 60 s: voltage %.1e V\n", worst);
  assert_true(worst < 1e-6);
  amp_duty_free(NULL, &d);
}

/* Diffusion that changes with charge is that of each step's beginning. */
static void a_diffusion_that_changes_errs_with_the_step (void **state) {
  amp_detailed c = cell_here();
  amp_duty d = hour_of(1.0, false, false, 278.15);
  double kelvin, at_10, at_5, at_1;
  (void)state;
  c.heat_core = c.heat_skin = c.core_skin = c.skin_air = 0.0;
  for (int k = 0; k < 4; k++) {
    c.ln_tau_d[0][k] -= 0.15 * k;
    c.ln_tau_d[1][k] -= 0.15 * k;
  }
  at_10 = worst_of(&c, &d, 10.0, &kelvin);
  at_5 = worst_of(&c, &d, 5.0, &kelvin);
  at_1 = worst_of(&c, &d, 1.0, &kelvin);
  print_message("diffusion by charge, 10, 5, 1 s: %.1e %.1e %.1e V\n", at_10,
                at_5, at_1);
  assert_close(at_5 / at_10, 0.5, 0.1);
  assert_true(at_1 < 1e-5);
  amp_duty_free(NULL, &d);
}

static void power_and_heat_within_a_millivolt (void **state) {
  amp_detailed c = cell_here();
  amp_duty steady = hour_of(6.0, true, true, 273.15);
  amp_duty steps = hour_of(3.6, true, false, 273.15);
  double k1, k2, v1, v2;
  (void)state;
  v1 = worst_of(&c, &steady, 10.0, &k1);
  v2 = worst_of(&c, &steps, 5.0, &k2);
  print_message("power and heat: voltage %.1e V steady (10 s), %.1e V with "
                "load steps (5 s); core %.1e, %.1e K\n",
                v1, v2, k1, k2);
  assert_true(v1 < 1e-3 && v2 < 1e-3);
  assert_true(k1 < 0.05 && k2 < 0.05);
  amp_duty_free(NULL, &steady);
  amp_duty_free(NULL, &steps);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(held_current_gives_the_voltage_to_a_microvolt),
      cmocka_unit_test(a_diffusion_that_changes_errs_with_the_step),
      cmocka_unit_test(power_and_heat_within_a_millivolt),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
