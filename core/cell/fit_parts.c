/*
** fit_parts.c -- runs, rests and steps of a log, and warnings.
*/
#include "cell/fit_parts.h"
#include "base/sample.h"
#include "base/text.h"
#include <math.h>
#include <stdarg.h>
#include <string.h>

#define IDLE_HOURS 200.0  /* capacity over this: at rest */
#define EDGE_LONGEST 2.0  /* s, first interval after a step */
#define EDGE_SMALLEST 4.0 /* a step, in idle currents */
#define RHO_MOST 0.99
#define BLOCK_LEAST 60.0 /* s: pulses closer than this are one block */
#define BLOCK_MOST 300.0 /* s under a current that never rests */

double amp_fit_idle (double capacity) {
  return capacity / (3600.0 * IDLE_HOURS);
}

amp_status amp_fit_check_log (const amp_test_log *log, int index,
                              double least, amp_error *err) {
  amp_status st = AMP_OK;
  double lo, hi;
  if (log->column[AMP_LOG_CURRENT] == NULL)
    st = amp_failf(err, AMP_EDATA, "current", "the log has no current");
  else if (log->column[AMP_LOG_VOLTAGE] == NULL)
    st = amp_failf(err, AMP_EDATA, "voltage", "the log has no voltage");
  else {
    amp_fit_span(log, &lo, &hi);
    if (!(hi - lo >= least))
      st = amp_failf(err, AMP_EDATA, "charge",
                     "the log moves %g Ah, and %g Ah are needed",
                     amp_fit_round((hi - lo) / 3600.0),
                     amp_fit_round(least / 3600.0));
  }
  if (st != AMP_OK && err != NULL)
    err->line = (size_t)index;
  return st;
}

void amp_fit_span (const amp_test_log *log, double *lo, double *hi) {
  const double *i = log->column[AMP_LOG_CURRENT];
  double q = 0.0;
  *lo = *hi = 0.0;
  for (size_t k = 1; k < log->n; k++) {
    q += i[k] * (log->time[k] - log->time[k - 1]);
    *lo = fmin(*lo, q);
    *hi = fmax(*hi, q);
  }
}

/* ---- runs ---- */

static int sign_of (double i, double idle) {
  return i > idle ? 1 : (i < -idle ? -1 : 0);
}

amp_status amp_fit_runs (const amp_context *ctx, const amp_test_log *log,
                         double idle, amp_fit_run **out, size_t *n,
                         amp_error *err) {
  const double *i = log->column[AMP_LOG_CURRENT];
  amp_fit_run *run = NULL;
  size_t count = 0;
  for (size_t k = 1; k < log->n; k++) /* row 0 ends no interval */
    if (k == 1 || sign_of(i[k], idle) != sign_of(i[k - 1], idle))
      count++;
  if ((run = amp_alloc(ctx, count * sizeof *run)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "log", (double)count, 0, 0);
  *n = 0;
  for (size_t k = 1; k < log->n; k++) {
    if (k == 1 || sign_of(i[k], idle) != sign_of(i[k - 1], idle))
      run[(*n)++] = (amp_fit_run){k, k, sign_of(i[k], idle), 0.0, 0.0};
    amp_fit_run *r = &run[*n - 1];
    r->last = k;
    r->charge += i[k] * (log->time[k] - log->time[k - 1]);
    r->duration = log->time[k] - log->time[r->first - 1];
  }
  *out = run;
  return AMP_OK;
}

int amp_fit_rests (const amp_test_log *log, const amp_fit_run *run,
                   size_t runs, double least, amp_fit_rest *out) {
  const double *v = log->column[AMP_LOG_VOLTAGE];
  double charge = 0.0;
  int n = 0;
  for (size_t k = 0; k < runs && n < AMP_FIT_RESTS; k++) {
    charge += run[k].charge;
    if (run[k].sign == 0 && run[k].duration >= least)
      out[n++] = (amp_fit_rest){charge, v[run[k].last], run[k].duration};
  }
  return n;
}

double amp_fit_edge (const amp_test_log *log, const amp_fit_run *run,
                     size_t runs, double idle) {
  const double *i = log->column[AMP_LOG_CURRENT];
  const double *v = log->column[AMP_LOG_VOLTAGE];
  double r[AMP_FIT_RESTS];
  size_t n = 0;
  for (size_t k = 1; k < runs && n < AMP_FIT_RESTS; k++) {
    size_t at = run[k].first;
    double step = i[at] - i[at - 1];
    if (log->time[at] - log->time[at - 1] <= EDGE_LONGEST &&
        fabs(step) > EDGE_SMALLEST * idle)
      r[n++] = -(v[at] - v[at - 1]) / step;
  }
  if (n == 0)
    return __builtin_nan("");
  amp_sort(r, n);
  return r[n / 2];
}

void amp_fit_next_block (amp_fit_block *now, double i, double dt,
                         double idle) {
  bool load = fabs(i) > idle;
  bool over = now->rested || now->lasted >= BLOCK_MOST;
  if (load && over && now->lasted >= BLOCK_LEAST) {
    now->n++;
    now->lasted = 0.0;
  }
  now->rested = !load;
  now->lasted += dt;
}

double amp_fit_neighbours (const double *r, size_t m) {
  double sum = 0.0, next = 0.0, rho;
  for (size_t k = 0; k < m; k++)
    sum += r[k] * r[k];
  for (size_t k = 1; k < m; k++)
    next += r[k] * r[k - 1];
  rho = sum > 0.0 ? fmin(fmax(next / sum, 0.0), RHO_MOST) : 0.0;
  return sqrt((1.0 + rho) / (1.0 - rho));
}

double amp_fit_temp (const amp_test_log *log) {
  const double *temp = log->column[AMP_LOG_TEMP];
  double sum = 0.0, time = log->time[log->n - 1] - log->time[0];
  if (temp == NULL)
    return __builtin_nan("");
  for (size_t k = 1; k < log->n; k++)
    sum += 0.5 * (temp[k] + temp[k - 1]) * (log->time[k] - log->time[k - 1]);
  return sum / time;
}

/* ---- warnings ---- */

void amp_fit_warn (amp_fit *fit, const char *format, ...) {
  amp_error say;
  va_list arg;
  if (fit->warnings >= AMP_FIT_WARNINGS)
    return;
  va_start(arg, format);
  amp_failv(&say, AMP_OK, NULL, format, arg);
  va_end(arg);
  memcpy(fit->warning[fit->warnings++], say.text, AMP_FIT_TEXT);
}

void amp_fit_warn_of_blocks (amp_fit *fit, const char *model, int blocks,
                             const char *then) {
  amp_fit_warn(fit,
               "the logs hold %d pulses or stretches of some minutes, too few"
               " to show how the %s model's errors hang together; %s",
               blocks, model, then);
}

double amp_fit_round (double v) {
  char text[32];
  size_t n = amp_format_double(v, 4, text);
  double out = v;
  return amp_parse_double(text, n, '.', &out, NULL) == AMP_OK ? out : v;
}

void amp_fit_add (amp_fit *fit, const char *name, const char *unit,
                  double soc, double value, double sd) {
  amp_fit_parameter *to;
  if (fit->parameters >= AMP_FIT_PARAMETERS)
    return;
  to = &fit->parameter[fit->parameters++];
  memset(to, 0, sizeof *to);
  memcpy(to->name, name, strlen(name) + 1);
  memcpy(to->unit, unit, strlen(unit) + 1);
  to->soc = soc;
  to->temp = __builtin_nan("");
  to->value = value;
  to->sd = sd;
}

void amp_fit_add_detailed (amp_fit *fit, const char *name, const char *unit,
                           double soc, double temp, double value, double sd) {
  int was = fit->parameters;
  amp_fit_add(fit, name, unit, soc, value, sd);
  if (fit->parameters == was)
    return;
  fit->parameter[was].detailed = true;
  fit->parameter[was].temp = temp;
}
