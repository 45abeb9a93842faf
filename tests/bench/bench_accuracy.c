/*
** bench_accuracy.c -- what a step of a minute errs against one of a second
** or less: charge while no limit acts, energy over a year in which limits
** act, simple and detailed. Beside it what is wanted. The pack and its loads
** are invented.
*/
#include "support/packs.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DAY = 1440, YEAR = 365 * DAY };

/* Watts of minute i: a household with bursts; by day more sun than load. */
static double load_of (int i) {
  unsigned x = (unsigned)(i / 7) * 2654435761u;
  double burst = (x >> 24) > 225 ? 1900.0 : 0.0;
  return 180.0 + 120.0 * (i / 60 % 3) + burst;
}

static double sun_of (int i, double peak) {
  double hour = i % DAY / 60.0, up = sin((hour - 6.0) / 12.0 * 3.14159265);
  unsigned x = (unsigned)(i / 20) * 2246822519u;
  double cloud = 0.4 + 0.6 * (x >> 24) / 255.0;
  return hour > 6.0 && hour < 18.0 ? peak * up * cloud : 0.0;
}

static amp_duty duty_of (int minutes, double load, double peak) {
  amp_duty d = {.n = (size_t)minutes, .dt = 60.0, .charge_efficiency = 1.0};
  d.ac = calloc(d.n, sizeof(double));
  d.dc = calloc(d.n, sizeof(double));
  d.pv = calloc(d.n, sizeof(double));
  d.temp = calloc(d.n, sizeof(double));
  d.on = calloc(d.n, 1);
  if (!d.ac || !d.dc || !d.pv || !d.temp || !d.on)
    exit(1);
  for (int i = 0; i < minutes; i++) {
    d.ac[i] = load * load_of(i);
    d.pv[i] = sun_of(i, peak);
    d.temp[i] = 285.0 + 6.0 * sin(i * 6.2831853 / YEAR);
  }
  for (int m = 0; m < 12; m++)
    d.month_end[m] =
        m == 11 || minutes < YEAR ? d.n : d.n * ((size_t)m + 1) / 12;
  return d;
}

static void duty_end (amp_duty *d) {
  free(d->ac);
  free(d->dc);
  free(d->pv);
  free(d->temp);
  free(d->on);
}

static amp_pack pack_of (const amp_detailed *c, double strings) {
  amp_pack p = {0};
  amp_group *g = &p.leaf[0];
  p.leaves = p.nodes = 1;
  p.node[0] = (amp_node){AMP_LEAF, 0, 0};
  g->chemistry = amp_chemistry_find("nca");
  g->cell =
      amp_cell_from_r10s(c ? c->capacity : 100.0 * 3600.0, c ? 0.04 : 1.5e-3);
  g->cell.r0_activation = 2500.0;
  g->detailed = c;
  g->series = 14.0;
  g->parallel = strings;
  g->soc_min = 0.1;
  g->soc_max = 0.95;
  g->soc_start = 0.6;
  g->v_min = 3.2;
  g->v_max = 4.15;
  g->heat_capacity = 20e3;
  g->cooling = 3.0;
  return p;
}

static amp_sim_result run (const amp_pack *p, const amp_duty *d, double dt,
                           amp_trace **t) {
  amp_sim_case c = {p, {.efficiency = 0.92}, 1.0, 1.0, 0.0};
  amp_sim_options o = {.dt_max = dt};
  amp_sim_result r;
  amp_error err = {0};
  amp_status s = t ? amp_simulate_trace(NULL, &c, d, &o, t, &r, &err)
                   : amp_simulate(NULL, &c, 1, d, &o, &r, NULL, NULL, &err);
  if (s != AMP_OK) {
    fprintf(stderr, "%s %s\n", err.field ? err.field : "", err.text);
    exit(1);
  }
  return r;
}

/* Greatest difference of SoC at the ends of minutes, over two days. */
static double soc_error (const amp_pack *p, double dt, double fine,
                         size_t *events) {
  amp_duty d = duty_of(2 * DAY, 1.0, 2000.0);
  amp_trace *a = NULL, *b = NULL;
  amp_sim_result r = run(p, &d, dt, &a);
  double worst = 0.0;
  run(p, &d, fine, &b);
  for (size_t i = 1; i <= d.n; i++)
    worst = fmax(
        worst,
        fabs(amp_trace_column(a, "soc")[amp_trace_row(&d, dt, i) - 1] -
             amp_trace_column(b, "soc")[amp_trace_row(&d, fine, i) - 1]));
  *events = r.events;
  amp_trace_free(NULL, a);
  amp_trace_free(NULL, b);
  duty_end(&d);
  return worst;
}

/* Relative difference of the energy out. */
static double out_error (const amp_pack *p, int minutes, double dt,
                         double fine, size_t *events) {
  amp_duty d = duty_of(minutes, 1.0, 2600.0);
  amp_sim_result a = run(p, &d, dt, NULL), b = run(p, &d, fine, NULL);
  *events = a.events;
  duty_end(&d);
  return a.total.out / b.total.out - 1.0;
}

static void say (const char *what, double got, const char *want,
                 size_t events) {
  printf("%-58s %8.1e  %-18s %zu limits met\n", what, got, want, events);
}

int main (void) {
  amp_detailed c = sample_cell();
  amp_pack simple = pack_of(NULL, 6.0), detailed = pack_of(&c, 200.0);
  amp_pack small = pack_of(NULL, 1.0), cells = pack_of(&c, 36.0);
  size_t n;
  double e = soc_error(&simple, 60.0, 0.5, &n);
  say("SoC, power held for 60 s, two days, no limit", e, "want 1e-6", n);
  e = soc_error(&detailed, 60.0, 1.0, &n);
  say("  the same, detailed cells", e, "", n);
  e = out_error(&small, YEAR, 60.0, 1.0, &n);
  say("energy out, a year of minutes, limits acting", e, "want 5e-5", n);
  e = out_error(&cells, 14 * DAY, 60.0, 2.0, &n);
  say("  two weeks, detailed cells", e, "", n);
  return 0;
}
