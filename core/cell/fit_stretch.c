/*
** fit_stretch.c -- a log cut into stretches of one current, which end at
** steps of the current and, between them, at times that double: a pulse and
** the rest after it count by the decade, not by the row. How far the model
** may be off is judged by what the log shows: docs/model/detailed.md.
*/
#include "cell/fit_detail.h"
#include <math.h>
#include <string.h>

#define EDGE_SKIP                                                            \
  0.3 /* s after a step: current and voltage of one row may
                            not belong together */
#define EDGE_CURRENT 0.02  /* 1/h, a step, of capacity */
#define LONGER 1.6         /* each stretch after a step against the last */
#define SIGMA_V 0.003      /* V */
#define SIGMA_LOSS 0.08    /* of what the voltage is off its rest */
#define SIGMA_SOC 0.01     /* of SoC, through the curve's slope */
#define SIGMA_COOLING 0.02 /* V, of a rest that no temperature goes with */
#define WARMTH 0.3         /* K over a log; less is the sensor's noise */
#define NEAR_LIMIT 0.02    /* V above the lowest voltage: current was cut */
#define LIMIT_TIMES 3.0    /* so much less is believed there */
#define SUSTAINED_SOC 0.14 /* but not near empty, where SoC is in doubt */
#define SUSTAINED 30.0     /* s under load: what a use of hours is made of */
/* s under load, and so much more it is believed: a test of pulses holds
** little of what a use of hours is made of */
#define SUSTAINED_TIMES 4.0
#define SETTLED 600.0 /* s at rest: the cell has its surroundings' warmth */

static double at_rest_voltage (const amp_fit *fit, double soc) {
  return amp_chemistry_ocv(&fit->chemistry, fmin(fmax(soc, 0.0), 1.0));
}

/* Whether the log shows the cell warm and cool, beyond noise. */
static bool shows_warmth (const amp_test_log *log) {
  const double *temp = log->column[AMP_LOG_TEMP];
  double lo = INFINITY, hi = -INFINITY;
  for (size_t k = 0; temp != NULL && k < log->n; k++) {
    lo = fmin(lo, temp[k]);
    hi = fmax(hi, temp[k]);
  }
  return hi - lo > WARMTH;
}

/*
** How far a rest may be off for what the model leaves out, V: a flat curve's
** hysteresis, and, where no temperature was logged, the cooling after a load,
** which shows in the voltage as more of the slow return.
*/
static double rest_doubt (const amp_fit *fit, const amp_test_log *log) {
  double loop = 0.0;
  if (fit->chemistry.flat_lo < fit->chemistry.flat_hi)
    for (int k = 0; k < fit->parameters; k++)
      if (strcmp(fit->parameter[k].name, "hysteresis") == 0)
        loop = 2.0 * fit->parameter[k].value;
  return fmax(loop, shows_warmth(log) ? 0.0 : SIGMA_COOLING);
}

static double doubt (const amp_fit *fit, const amp_stretch *s, double rest) {
  double z = fmin(fmax(s->soc, 0.0), 1.0);
  double loss = SIGMA_LOSS * (at_rest_voltage(fit, z) - s->v);
  double soc = SIGMA_SOC * amp_curve_slope(&fit->chemistry.ocv, z);
  double sigma =
      sqrt(SIGMA_V * SIGMA_V + loss * loss + soc * soc + rest * rest);
  return s->v < fit->chemistry.v_min + NEAR_LIMIT ? LIMIT_TIMES * sigma
                                                  : sigma;
}

/* The surroundings: what the surface comes to in long rests. */
static double surroundings (const amp_test_log *log, double idle,
                            double otherwise) {
  const double *i = log->column[AMP_LOG_CURRENT];
  const double *temp = log->column[AMP_LOG_TEMP];
  double since = 0.0, sum = 0.0;
  int n = 0;
  if (temp == NULL)
    return otherwise;
  for (size_t k = 1; k < log->n; k++) {
    if (fabs(i[k]) <= idle) {
      since += log->time[k] - log->time[k - 1];
      continue;
    }
    if (since >= SETTLED) {
      sum += temp[k - 1];
      n++;
    }
    since = 0.0;
  }
  return n > 0 ? sum / n : temp[0];
}

/* A stretch under way. */
typedef struct growing {
  double dt, charge, v_sum;
  double since, next; /* s since the last step; when the stretch ends */
  double rest;        /* V, doubt of what isn't discharged */
  amp_fit_block block;
  size_t rows;
} growing;

static void close_stretch (amp_stretches *out, growing *g,
                           const amp_test_log *log, const amp_fit *fit,
                           size_t k, double charge, double step) {
  const double *temp = log->column[AMP_LOG_TEMP];
  amp_stretch *s = &out->at[out->n++];
  s->dt = g->dt;
  s->i = g->charge / g->dt;
  s->v = log->column[AMP_LOG_VOLTAGE][k];
  s->v_mean = g->v_sum / g->dt;
  s->temp = temp != NULL ? temp[k] : __builtin_nan("");
  s->soc = out->soc - charge / out->capacity;
  s->block = g->block.n;
  s->of_mean = g->rows == 1 && g->since <= g->dt * 1.001;
  s->sigma =
      g->since > EDGE_SKIP ? doubt(fit, s, s->i > step ? 0.0 : g->rest) : 0.0;
  if (g->since > SUSTAINED && fabs(s->i) > step && s->soc > SUSTAINED_SOC)
    s->sigma /= SUSTAINED_TIMES;
  out->compared += s->sigma > 0.0 ? 1 : 0;
  while (g->next <= g->since)
    g->next *= LONGER;
  g->dt = g->charge = g->v_sum = 0.0;
  g->rows = 0;
}

static void cut (const amp_test_log *log, const amp_fit *fit, double step,
                 double idle, amp_stretches *out) {
  const double *i = log->column[AMP_LOG_CURRENT], *t = log->time;
  const double *v = log->column[AMP_LOG_VOLTAGE];
  growing g = {.next = EDGE_SKIP, .rest = rest_doubt(fit, log)};
  double charge = 0.0;
  for (size_t k = 1; k < log->n; k++) {
    double dt = t[k] - t[k - 1];
    bool stepped = fabs(i[k] - (k > 1 ? i[k - 1] : 0.0)) > step;
    bool steps = k + 1 == log->n || fabs(i[k + 1] - i[k]) > step;
    if (stepped) {
      g.since = 0.0;
      g.next = EDGE_SKIP;
    }
    amp_fit_next_block(&g.block, i[k], dt, idle);
    g.dt += dt;
    g.since += dt;
    g.charge += i[k] * dt;
    g.v_sum += 0.5 * (v[k] + v[stepped ? k : k - 1]) * dt;
    g.rows++;
    charge += i[k] * dt;
    if (steps || g.since >= g.next)
      close_stretch(out, &g, log, fit, k, charge, step);
  }
}

amp_status amp_stretch_cut (const amp_context *ctx, const amp_test_log *log,
                            const amp_fit *fit, int k, double labelled,
                            amp_stretches *out, size_t *room,
                            amp_error *err) {
  const double *temp = log->column[AMP_LOG_TEMP];
  double hour = labelled / 3600.0;
  *out = (amp_stretches){.capacity = fit->capacity_at[k],
                         .soc = fit->soc_at[k],
                         .warmest = __builtin_nan("")};
  *room = log->n;
  out->at = amp_alloc(ctx, *room * sizeof *out->at);
  if (out->at == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)log->n, 0, 0);
  out->ambient = surroundings(log, EDGE_CURRENT * hour, fit->temp_at[k]);
  out->start = out->ambient;
  if (temp != NULL) {
    out->warmest = temp[0];
    for (size_t j = 1; j < log->n; j++)
      out->warmest = fmax(out->warmest, temp[j]);
  }
  cut(log, fit, EDGE_CURRENT * hour, amp_fit_idle(labelled), out);
  return AMP_OK;
}
