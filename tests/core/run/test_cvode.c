/*
** test_cvode.c -- an hour of load steps against an independent integrator:
** SUNDIALS CVODE (A. C. Hindmarsh and others, ACM Trans. Math. Softw. 31
** (2005) 363-396), BDF, relative tolerance 1e-10. The equations are written
** down again here from docs/model/cell.md; only the curve is shared.
*/
#include "support/close.h"
#include "ampstead.h"
#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <stdlib.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

enum { Z, V1, V2, ENERGY, STATES, MINUTES = 60 };

typedef struct truth {
  const amp_group *g;
  double power;   /* W held at the terminals, or */
  double current; /* A held, where power is NaN */
  SUNContext context;
  SUNMatrix matrix;
  SUNLinearSolver solver;
  N_Vector y;
  void *memory;
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

static int rhs (realtype t, N_Vector y, N_Vector dy, void *arg) {
  truth *u = arg;
  const amp_group *g = u->g;
  const amp_cell *c = &g->cell;
  double *s = NV_DATA_S(y), *d = NV_DATA_S(dy);
  double ohm = g->series / g->parallel, v, i = u->current;
  double r0 = c->r0 * ohm * shape_of(c, s[Z]);
  double open =
      g->series * amp_curve_at(&g->chemistry->ocv, s[Z]) - s[V1] - s[V2];
  (void)t;
  if (u->power == u->power)
    i = 2.0 * u->power / (open + sqrt(open * open - 4.0 * r0 * u->power));
  v = open - r0 * i;
  d[Z] = -i / (c->capacity * g->parallel);
  d[V1] = (c->r1 * ohm * i - s[V1]) / c->tau1;
  d[V2] = (c->r2 * ohm * i - s[V2]) / c->tau2;
  d[ENERGY] = v * i;
  return 0;
}

static void truth_open (truth *u, const amp_group *g) {
  u->g = g;
  assert_int_equal(SUNContext_Create(NULL, &u->context), 0);
  u->y = N_VNew_Serial(STATES, u->context);
  N_VConst(0.0, u->y);
  NV_Ith_S(u->y, Z) = g->soc_start;
  u->memory = CVodeCreate(CV_BDF, u->context);
  assert_int_equal(CVodeInit(u->memory, rhs, 0.0, u->y), 0);
  CVodeSStolerances(u->memory, 1e-10, 1e-13);
  CVodeSetUserData(u->memory, u);
  CVodeSetMaxNumSteps(u->memory, 100000);
  u->matrix = SUNDenseMatrix(STATES, STATES, u->context);
  u->solver = SUNLinSol_Dense(u->y, u->matrix, u->context);
  CVodeSetLinearSolver(u->memory, u->solver, u->matrix);
}

static void truth_minute (truth *u, int minute) {
  double t;
  CVodeReInit(u->memory, minute * 60.0, u->y);
  CVodeSetStopTime(u->memory, (minute + 1) * 60.0);
  assert_true(CVode(u->memory, (minute + 1) * 60.0, u->y, &t, CV_NORMAL) >=
              0);
}

static void truth_close (truth *u) {
  CVodeFree(&u->memory);
  SUNLinSolFree(u->solver);
  SUNMatDestroy(u->matrix);
  N_VDestroy(u->y);
  SUNContext_Free(&u->context);
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
    assert_close(s.soc, NV_Ith_S(u.y, Z), 1e-9);
    /* 1 uV of a group */
    assert_close(s.v1 * g.series, NV_Ith_S(u.y, V1), 1e-6);
    assert_close(s.v2 * g.series, NV_Ith_S(u.y, V2), 1e-6);
  }
  truth_close(&u);
}

static void held_power_agrees (void **state) {
  amp_group g = group_here();
  amp_pack p = {0};
  double ac[MINUTES] = {0}, dc[MINUTES] = {0}, pv[MINUTES] = {0};
  double temp[MINUTES];
  unsigned char on[MINUTES] = {0};
  amp_duty d = {0};
  amp_sim_case c = {&p, {1.0, 0.0, 0.0, 0.0, 0.0}, 1.0, 1.0, 0.0};
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
    worst =
        fmax(worst, fabs(amp_trace_column(t, "soc")[m] - NV_Ith_S(u.y, Z)));
  }
  print_message("greatest error of SoC, power held for 60 s: %.1e\n", worst);
  assert_true(worst < 1e-5); /* the ratio table's first column */
  assert_close((r.total.out - r.total.in) / NV_Ith_S(u.y, ENERGY), 1.0, 1e-5);
  truth_close(&u);
  amp_trace_free(NULL, t);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(held_current_agrees),
      cmocka_unit_test(held_power_agrees),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
