/*
** fit.c -- the whole of a fit: offsets of the current at rest taken off,
** then the open-circuit curve, the simple model and the detailed one.
*/
#include "cell/fit.h"
#include "base/sample.h"
#include "cell/fit_parts.h"
#include <math.h>
#include <string.h>

#define REST_RATE 0.02    /* 1/h: smaller currents may be rest */
#define REST_WIDTH 0.004  /* 1/h: and lie this close together */
#define REST_ROWS 20      /* so many at least */
#define OFFSET_LEAST 5e-4 /* 1/h: smaller offsets are left */
#define GAP_LEAST 120.0   /* s, as in base/log.h */
#define GAP_SHARE 0.01    /* of the capacity in gaps: said */

/* Middle of the densest group of n rising values, 'width' wide; 0 where it
** has fewer than REST_ROWS. */
static double densest (const double *v, size_t n, double width) {
  size_t from = 0, best = 0, at = 0;
  for (size_t k = 0; k < n; k++) {
    while (v[k] - v[from] > width)
      from++;
    if (k - from + 1 > best) {
      best = k - from + 1;
      at = from;
    }
  }
  return best >= REST_ROWS ? v[at + best / 2] : 0.0;
}

/* What the current reads at rest; 'room' holds a value a row. */
static double rest_current (const amp_test_log *log, double capacity,
                            double *room) {
  const double *i = log->column[AMP_LOG_CURRENT];
  double c = capacity / 3600.0, offset;
  size_t n = 0;
  for (size_t k = 1; k < log->n; k++)
    if (fabs(i[k]) < REST_RATE * c)
      room[n++] = i[k];
  amp_sort(room, n);
  offset = densest(room, n, REST_WIDTH * c);
  return fabs(offset) > OFFSET_LEAST * c ? offset : 0.0;
}

/* A gap at rest harms nothing; one under load may hide charge. */
static void warn_of_gaps (const amp_test_log *log, double capacity,
                          const char *name, amp_fit *out) {
  const double *i = log->column[AMP_LOG_CURRENT], *t = log->time;
  double hidden = 0.0;
  for (size_t k = 1; k < log->n && log->gaps > 0; k++)
    if (t[k] - t[k - 1] > GAP_LEAST)
      hidden += fabs(i[k]) * (t[k] - t[k - 1]);
  if (hidden > GAP_SHARE * capacity)
    amp_fit_warn(out,
                 "%s: %zu gaps, the longest %g s; %g Ah are counted in them"
                 " by the current written after each",
                 name, log->gaps, amp_fit_round(log->longest_gap),
                 amp_fit_round(hidden / 3600.0));
}

/* Room around a chemistry's limits for the mean of a log, V. */
#define BESIDE 0.5
/* What a thermometer at a cell can read, K: -60 .. 100 C. */
#define COLDEST 213.15
#define HOTTEST 373.15

/* A log of one cell of this kind, in volts, with a thermometer that works? */
static amp_status check_span (const amp_chemistry *c, const amp_test_log *log,
                              amp_error *err) {
  const double *v = log->column[AMP_LOG_VOLTAGE];
  const double *t = log->column[AMP_LOG_TEMP];
  double sum = 0.0;
  for (size_t k = 0; v != NULL && k < log->n; k++)
    sum += v[k] / (double)log->n;
  if (v != NULL && !(sum >= c->v_min - BESIDE && sum <= c->v_max + BESIDE))
    return amp_failf(err, AMP_EDATA, "voltage",
                     "its mean is %g V, and one cell of this chemistry"
                     " stands between %g and %g V",
                     amp_fit_round(sum), c->v_min, c->v_max);
  for (size_t k = 0; t != NULL && k < log->n; k++)
    if (!(t[k] >= COLDEST && t[k] <= HOTTEST))
      return amp_failf(err, AMP_EDATA, "temp",
                       "the log reads %g C, and -60 .. 100 C can be fitted",
                       amp_fit_round(t[k] - 273.15));
  return AMP_OK;
}

/* Logs as they are fitted: the caller's, or with a current of their own. */
typedef struct mended {
  amp_fit_input in;
  amp_fit fit; /* the caller's stays as it is until all is done */
  amp_test_log log[AMP_FIT_LOGS + 1];
  double *current[AMP_FIT_LOGS + 1]; /* NULL: the caller's */
} mended;

static amp_status mend_log (const amp_context *ctx, mended *m, int k,
                            const amp_test_log **log, const char *name,
                            amp_fit *out, amp_error *err) {
  const double *i = (*log)->column[AMP_LOG_CURRENT];
  size_t n = (*log)->n;
  double *room, offset;
  amp_status st = check_span(m->in.chemistry, *log, err);
  if (st != AMP_OK) {
    if (err != NULL)
      err->line = k < AMP_FIT_LOGS ? (size_t)k + 1 : 0;
    return st;
  }
  m->log[k] = **log;
  if (i == NULL)
    return AMP_OK; /* refused later, with its place */
  if ((room = amp_alloc(ctx, n * sizeof *room)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)n, 0, 0);
  m->current[k] = room;
  offset = rest_current(*log, m->in.capacity, room);
  for (size_t j = 0; j < n; j++)
    room[j] = i[j] - offset;
  m->log[k].column[AMP_LOG_CURRENT] = room;
  *log = &m->log[k];
  if (offset != 0.0)
    amp_fit_warn(out,
                 "%s: the current reads %g A at rest, which is taken as an"
                 " offset of the sensor and subtracted",
                 name, amp_fit_round(offset));
  warn_of_gaps(&m->log[k], m->in.capacity, name, out);
  return AMP_OK;
}

static amp_status mend_all (const amp_context *ctx, mended *m, amp_fit *out,
                            amp_error *err) {
  amp_status st = AMP_OK;
  for (int k = 0; k < m->in.pulses && st == AMP_OK; k++) {
    const char *name = m->in.pulse_name[k];
    st = mend_log(ctx, m, k, &m->in.pulse[k],
                  name != NULL ? name : "pulse log", out, err);
  }
  if (m->in.slow != NULL && st == AMP_OK)
    st = mend_log(ctx, m, AMP_FIT_LOGS, &m->in.slow, "slow log", out, err);
  return st;
}

static amp_status check_input (const amp_fit_input *in, amp_error *err) {
  amp_status st;
  if (in->chemistry == NULL)
    return amp_failf(err, AMP_EMISSING, "chemistry", "no chemistry is given");
  if (in->pulses < 0 || in->pulses > AMP_FIT_LOGS)
    return amp_fail(err, AMP_ERANGE, "pulses", in->pulses, 1, AMP_FIT_LOGS);
  if (in->pulses == 0)
    return amp_failf(err, AMP_EMISSING, "pulses", "no pulse log is given");
  for (int k = 0; k < in->pulses; k++)
    if ((st = amp_check_range(err, "pulse_capacity", in->pulse_capacity[k],
                              0.0, 1e9)) != AMP_OK)
      return st;
  if ((st = amp_check_range(err, "capacity", in->capacity, 1.0, 1e9)) !=
      AMP_OK)
    return st;
  return amp_check_range(err, "mass", in->mass, 0.0, 1e5);
}

static void start_empty (amp_fit *out) {
  memset(out, 0, sizeof *out);
  for (int k = 0; k < AMP_FIT_LOGS; k++) {
    out->rms_simple[k] = out->rms_detailed[k] = __builtin_nan("");
    out->worst_simple[k] = out->worst_detailed[k] = __builtin_nan("");
  }
}

static amp_status fit_parts (const amp_context *ctx, mended *m, amp_fit *out,
                             amp_error *err) {
  amp_status st = mend_all(ctx, m, out, err);
  if (st == AMP_OK)
    st = amp_fit_ocv(ctx, &m->in, out, err);
  if (st != AMP_OK)
    return st;
  /* first, as it brings the curve nearer to what a loaded cell shows */
  if (!m->in.simple_only)
    st = amp_fit_detailed(ctx, &m->in, out, err);
  if (st == AMP_ERANGE) /* by our own parameters: none of the caller's */
    return amp_failf(err, AMP_EREFUSED, "simple_only",
                     "no kinetics within reason follow these logs; true"
                     " leaves out the detailed level");
  if (st == AMP_OK)
    st = amp_fit_simple(ctx, &m->in, out, err);
  return st;
}

amp_status amp_fit_cell (const amp_context *ctx, const amp_fit_input *in,
                         amp_fit *out, amp_error *err) {
  amp_status st = check_input(in, err);
  mended *m;
  if (st != AMP_OK)
    return st;
  if ((m = amp_alloc(ctx, sizeof *m)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", 1, 0, 0);
  m->in = *in;
  start_empty(&m->fit);
  st = fit_parts(ctx, m, &m->fit, err);
  if (st == AMP_OK)
    *out = m->fit;
  for (int k = 0; k <= AMP_FIT_LOGS; k++)
    amp_free(ctx, m->current[k], m->log[k].n * sizeof(double));
  amp_free(ctx, m, sizeof *m);
  return st;
}
