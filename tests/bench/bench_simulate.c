/*
** bench_simulate.c -- ns per step of one case, and of a batch of 1024, over
** a year of minutes, by processor time shared out to the threads, so that
** what else runs on the machine does not count; the same synthetic model as
** the textbook programs it is run beside.
** Usage: bench_simulate PROFILE [isa 0..2] [workers 1..2]
** PROFILE holds 525,600 net powers in W as doubles, > 0 discharges.
*/
#define _POSIX_C_SOURCE 200809L
#include "ampstead.h"
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { YEAR = 525600, BATCH = 1024, KNOTS = 101 };

static double now (void) {
  struct timespec t;
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Smooth formulas with a realistic shape; not a measured cell. */
static amp_chemistry chemistry (void) {
  static double x[KNOTS], y[KNOTS];
  amp_chemistry c = {0};
  for (int i = 0; i < KNOTS; i++) {
    double z = i / 100.0;
    x[i] = z;
    y[i] = 3.43 + 0.70 * z - 0.45 * exp(-25.0 * z) +
           0.06 * tanh((z - 0.55) / 0.10);
  }
  if (amp_curve_make(x, y, KNOTS, AMP_INTERP_MONOTONE, &c.ocv, NULL))
    exit(1);
  c.v_nominal = 3.7;
  c.v_min = c.v_daily_min = 2.5;
  c.v_max = c.v_daily_max = 4.3;
  return c;
}

static amp_pack pack_number (int b, const amp_chemistry *chem) {
  amp_group g = {0};
  amp_pack p;
  double soh = b ? 0.65 + 0.30 * ((b * 37) % 101) / 100.0 : 0.80;
  int ns = b ? 12 + b % 5 : 14, np = b ? 2 + (b / 5) % 8 : 4;
  double rs = 1 + 2 * (1 - soh);
  g.chemistry = chem;
  g.cell = amp_cell_defaults();
  g.cell.capacity = 50 * 3600.0 * soh;
  g.cell.r0 = 1.5e-3 * rs;
  for (int i = 0; i < AMP_R_KNOTS; i++) {
    double z = i / 10.0;
    g.cell.r0_shape[i] = 1.0 + 0.6 * exp(-z / 0.08) + 0.1 * z * z;
  }
  g.cell.r0_activation = 2500.0;
  g.cell.r1 = rs * 0.8e-3;
  g.cell.r2 = rs * 1.0e-3;
  g.cell.tau1 = 30.0;
  g.cell.tau2 = 900.0;
  g.series = ns;
  g.parallel = np;
  g.soc_min = 0.05;
  g.soc_max = 0.95;
  g.soc_start = 0.5;
  g.v_min = 3.0;
  g.v_max = 4.15;
  g.heat_capacity = ns * np * 900.0;
  g.cooling = ns * np * 0.12;
  amp_pack_uniform(&g, 1, 1, &p);
  p.leaf[0].series = ns;
  p.leaf[0].parallel = np;
  return p;
}

static amp_duty duty_of (const char *path) {
  amp_duty d = {0};
  FILE *f = fopen(path, "rb");
  double *p = malloc(YEAR * sizeof *p);
  d.n = YEAR;
  d.dt = 60.0;
  d.ac = calloc(YEAR, sizeof(double));
  d.dc = calloc(YEAR, sizeof(double));
  d.pv = calloc(YEAR, sizeof(double));
  d.temp = calloc(YEAR, sizeof(double));
  d.on = calloc(YEAR, 1);
  d.charge_efficiency = 1.0;
  if (!f || !p || fread(p, sizeof *p, YEAR, f) != YEAR) {
    fprintf(stderr, "cannot read %s\n", path);
    exit(1);
  }
  fclose(f);
  for (int i = 0; i < YEAR; i++) {
    d.dc[i] = p[i] > 0 ? p[i] : 0;
    d.pv[i] = p[i] < 0 ? -p[i] : 0;
    d.temp[i] = 293.15;
  }
  for (int m = 0; m < 12; m++)
    d.month_end[m] = (size_t)(YEAR * (m + 1) / 12);
  free(p);
  return d;
}

/* Two workers: the second half of the items in a thread. */
typedef struct half {
  amp_work *work;
  void *arg;
  size_t first, n;
} half;

static void *second (void *arg) {
  half *h = arg;
  for (size_t i = h->first; i < h->n; i += 2)
    h->work(h->arg, i, 1);
  return NULL;
}

static void two (void *user, size_t n, amp_work *work, void *arg) {
  pthread_t t;
  half h = {work, arg, 1, n};
  (void)user;
  pthread_create(&t, NULL, second, &h);
  for (size_t i = 0; i < n; i += 2)
    work(arg, i, 0);
  pthread_join(t, NULL);
}

static double run (const amp_context *ctx, const amp_sim_case *cases,
                   size_t n, const amp_duty *d, amp_sim_result *r) {
  amp_sim_options o = amp_sim_defaults();
  amp_error err = {0};
  double t;
  o.warm_up = 0;
  o.dt_max = 60.0;
  t = now();
  if (amp_simulate(ctx, cases, n, d, &o, r, NULL, NULL, &err) != AMP_OK) {
    fprintf(stderr, "refused: %s %g\n", err.field ? err.field : err.text,
            err.value);
    exit(1);
  }
  return (now() - t) / ((double)n * YEAR) * 1e9;
}

int main (int argc, char **argv) {
  amp_chemistry chem = chemistry();
  amp_duty d = duty_of(argc > 1 ? argv[1] : "profile.f64");
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_pack *p = malloc(BATCH * sizeof *p);
  amp_sim_case *c = calloc(BATCH, sizeof *c);
  amp_sim_result *r = calloc(BATCH, sizeof *r);
  double best = 1e9, all;
  ctx.isa = argc > 2 ? (amp_isa)atoi(argv[2]) : AMP_ISA_BASE;
  if (argc > 3 && atoi(argv[3]) == 2) {
    ctx.workers = 2;
    ctx.parallel_for = two;
  }
  for (int b = 0; b < BATCH; b++) {
    p[b] = pack_number(b, &chem);
    c[b].pack = &p[b];
    c[b].converter.efficiency = 1.0;
    c[b].load_factor = c[b].sun_factor = 1.0;
    c[b].temp_shift = b ? b % 21 - 10.0 : 0.0;
  }
  for (int k = 0; k < 5; k++)
    best = fmin(best, run(&ctx, c, 1, &d, r));
  printf("one %.2f ns/step  out %.3f kWh, unmet %.3f, residual %.1e J, "
         "events %zu\n",
         best, r->total.out / 3.6e6, r->total.dc_unserved / 3.6e6,
         r->energy_residual, r->events);
  all = run(&ctx, c, BATCH, &d, r) / (double)(ctx.workers ? ctx.workers : 1);
  printf("batch of %d %.2f ns/step  first out %.3f kWh\n", BATCH, all,
         r->total.out / 3.6e6);
  return 0;
}
