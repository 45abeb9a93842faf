/*
** fit_heat.c -- two nodes of heat and dU/dT from the surface's temperature:
** what the cell turned into heat is known from the measured voltage, so the
** electrical model is not needed. Method: docs/model/detailed.md.
*/
#include "base/elementary.h"
#include "base/least.h"
#include "cell/fit_detail.h"
#include <math.h>

#define WARMING_LEAST 0.8 /* K: a surface that warms less says nothing */
#define SIGMA_TEMP 0.3    /* K, of the reading and the chamber */
#define TYPICAL_HEAT 1.0  /* ln, how far from the start it may be */
#define TYPICAL_ENTROPY                                                      \
  3e-4                    /* V/K, typical size: +-0.5 mV/K at most, from
                                memory */
#define HEAT_PER_KG 900.0 /* J/(kg K), 800 to 1100 in published tables */
#define HEAT_PER_C                                                           \
  (15.0 / 3600.0) /* J/K per C where no mass is known: about
                                43 J/K for 2.9 Ah, common practice */
#define STEP 10.0 /* s, longest of the integration */
#define POINTS 3  /* of dU/dT */
/* Blocks of the voltage that are one of the surface's, which takes minutes to
** follow. */
#define MERGED 3
#define LEAST_SOC 0.1
#define MOST_SOC 0.9

enum { CORE, SKIN, WALL, AIR, ENTROPY, PARAMETERS = ENTROPY + POINTS };

typedef struct heater {
  const amp_stretches *log;
  int logs;
  const amp_fit *fit;
  double start[PARAMETERS];
} heater;

static double entropic (const double *p, double soc) {
  double x = (soc - LEAST_SOC) / (MOST_SOC - LEAST_SOC) * (POINTS - 1);
  int k;
  x = fmin(fmax(x, 0.0), POINTS - 1.0);
  k = x >= POINTS - 1.0 ? POINTS - 2 : (int)x;
  return p[ENTROPY + k] + (x - k) * (p[ENTROPY + k + 1] - p[ENTROPY + k]);
}

/* W over a stretch, by the measured voltage. */
static double watt_of (const heater *h, const amp_stretches *log,
                       const amp_stretch *s, const double *p) {
  double soc = s->soc + 0.5 * s->i * s->dt / log->capacity;
  double in = fmin(fmax(soc, 0.0), 1.0);
  double u = amp_chemistry_ocv(&h->fit->chemistry, in);
  return s->i * (u - s->v_mean - log->ambient * entropic(p, in));
}

static bool has_temp (const amp_stretches *log) {
  return log->warmest == log->warmest;
}

/* Backward Euler, as each step is short against the modes that matter. */
static size_t warm_log (const heater *h, const amp_stretches *log,
                        const double *p, double *out) {
  double c1 = amp_exp(p[CORE]), c2 = amp_exp(p[SKIN]);
  double g1 = amp_exp(-p[WALL]), g2 = amp_exp(-p[AIR]);
  double core = log->start, skin = log->start;
  for (size_t k = 0; k < log->n; k++) {
    const amp_stretch *s = &log->at[k];
    double watt = watt_of(h, log, s, p), steps = ceil(s->dt / STEP);
    double dt = s->dt / steps, a = c1 / dt + g1, b = c2 / dt + g1 + g2;
    for (int n = 0; n < (int)steps; n++) {
      double q1 = c1 / dt * core + watt,
             q2 = c2 / dt * skin + g2 * log->ambient;
      double det = a * b - g1 * g1;
      core = (q1 * b + g1 * q2) / det;
      skin = (a * q2 + g1 * q1) / det;
    }
    out[k] = (skin - s->temp) / SIGMA_TEMP;
  }
  return log->n;
}

static amp_status residuals (void *arg, const double *p, size_t n, double *r,
                             size_t m) {
  const heater *h = arg;
  size_t at = 0;
  (void)m;
  for (int k = 0; k < h->logs; k++)
    if (has_temp(&h->log[k]))
      at += warm_log(h, &h->log[k], p, r + at);
  for (size_t j = 0; j < n; j++)
    r[at++] =
        (p[j] - h->start[j]) / (j < ENTROPY ? TYPICAL_HEAT : TYPICAL_ENTROPY);
  return AMP_OK;
}

/* Which residuals hang together; beliefs don't. */
static void name_blocks (const heater *h, int *block, size_t m) {
  size_t at = 0;
  int first = 0;
  for (int l = 0; l < h->logs; l++) {
    const amp_stretches *log = &h->log[l];
    if (!has_temp(log))
      continue;
    for (size_t k = 0; k < log->n; k++)
      block[at++] = first + log->at[k].block / MERGED;
    if (log->n > 0)
      first = block[at - 1] + 1;
  }
  while (at < m)
    block[at++] = AMP_LEAST_BELIEF;
}

static void report (const double *p, const double *sd, amp_fit *fit) {
  static const char *const name[] = {"heat_core", "heat_skin", "core_skin",
                                     "skin_air"};
  double nan = __builtin_nan("");
  for (int j = 0; j < ENTROPY; j++) {
    double v = amp_exp(p[j]);
    amp_fit_add_detailed(fit, name[j], j < WALL ? "J/K" : "K/W", nan, nan, v,
                         v * sd[j]);
  }
  for (int j = 0; j < POINTS; j++)
    amp_fit_add_detailed(fit, "dU/dT", "V/K",
                         LEAST_SOC +
                             (MOST_SOC - LEAST_SOC) * j / (POINTS - 1),
                         nan, p[ENTROPY + j], sd[ENTROPY + j]);
}

static void into_cell (const double *p, amp_detailed *c) {
  c->heat_core = amp_exp(p[CORE]);
  c->heat_skin = amp_exp(p[SKIN]);
  c->core_skin = amp_exp(-p[WALL]);
  c->skin_air = amp_exp(-p[AIR]);
  for (int k = 0; k < c->socs; k++)
    c->entropic[k] = entropic(p, c->soc[k]);
}

/* A cylinder of 2.9 Ah and 37 J/K in still air has 2.8 and 6.3 K/W, from a
** trial on one cell; resistances fall as the cell grows. */
static void start_values (double mass, double capacity, double *p) {
  double heat = mass > 0.0 ? HEAT_PER_KG * mass : HEAT_PER_C * capacity;
  p[CORE] = amp_log(0.83 * heat);
  p[SKIN] = amp_log(0.17 * heat);
  p[WALL] = amp_log(2.8 * 37.0 / heat);
  p[AIR] = amp_log(6.3 * 37.0 / heat);
  for (int j = 0; j < POINTS; j++)
    p[ENTROPY + j] = 0.0;
}

amp_status amp_fit_heat (const amp_context *ctx, const amp_stretches *log,
                         int logs, double mass, amp_detailed *c, amp_fit *fit,
                         bool *found, amp_error *err) {
  static const double scale[PARAMETERS] = {1, 1, 1, 1, 1e-4, 1e-4, 1e-4};
  heater h = {log, logs, fit, {0}};
  double p[PARAMETERS], sd[PARAMETERS], rise = 0.0;
  size_t m = PARAMETERS;
  amp_least_options opt = {.scale = scale};
  amp_least_result result = {0};
  amp_status st;
  int *block;
  *found = false;
  for (int k = 0; k < logs; k++)
    if (has_temp(&log[k])) {
      m += log[k].n;
      rise = fmax(rise, log[k].warmest - log[k].ambient);
    }
  if (!(rise >= WARMING_LEAST))
    return AMP_OK;
  start_values(mass, log[0].capacity, h.start);
  for (int j = 0; j < PARAMETERS; j++)
    p[j] = h.start[j];
  if ((block = amp_alloc(ctx, m * sizeof *block)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)m, 0, 0);
  name_blocks(&h, block, m);
  opt.block = block;
  st = amp_least(ctx, residuals, &h, p, PARAMETERS, m, &opt, sd, NULL,
                 &result, err);
  amp_free(ctx, block, m * sizeof *block);
  if (st != AMP_OK)
    return st;
  if (result.bounded)
    amp_fit_warn_of_blocks(fit, "heat", result.blocks,
                           "its deviations are upper bounds");
  into_cell(p, c);
  report(p, sd, fit);
  *found = true;
  return AMP_OK;
}
