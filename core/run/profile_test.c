/*
** profile_test.c -- duties that are tests: steps of any length that ask power
** or current, what a log drew, phases that end by voltage, current or charge.
*/
#include "run/profile_parts.h"
#include <math.h>
#include <string.h>

static const double AMPS_MOST = 1e6; /* A, a typing error above */
static const double STEP_MOST = 1e7; /* s */

static amp_status check_edges (const double *edge, size_t n, amp_error *err) {
  if (n < 1)
    return amp_failf(err, AMP_EDATA, "time", "a test needs a step");
  for (size_t i = 0; i < n; i++) {
    double dt = edge[i + 1] - edge[i];
    if (dt > 0.0 && dt <= STEP_MOST)
      continue;
    amp_failf(err, AMP_EDATA, "time",
              "a step must last more than 0 and at most 1e7 s (got %g s)",
              dt);
    if (err != NULL)
      err->line = i + 1;
    return AMP_EDATA;
  }
  return AMP_OK;
}

static amp_status check_test (size_t n, const double *edge,
                              const double *amps, const double *watts,
                              const double *temp, amp_error *err) {
  amp_status s = check_edges(edge, n, err);
  if (s == AMP_OK && (amps == NULL) == (watts == NULL))
    s = amp_failf(err, AMP_EMISSING, "amps",
                  "a test asks either current or power");
  if (s == AMP_OK && amps != NULL)
    s = duty_check_list("amps", amps, n, -AMPS_MOST, AMPS_MOST, err);
  if (s == AMP_OK && watts != NULL)
    s = duty_check_list("watts", watts, n, -DUTY_POWER_MOST, DUTY_POWER_MOST,
                        err);
  if (s == AMP_OK && temp != NULL)
    s = duty_check_list("temp", temp, n, DUTY_KELVIN_LEAST, DUTY_KELVIN_MOST,
                        err);
  return s;
}

/* A duty with edges, and 'amps' where wanted; all of it in one month. */
static amp_status test_make (const amp_context *ctx, size_t n, double time,
                             bool amps, amp_duty *d, amp_error *err) {
  amp_status s = duty_make(ctx, n, time / (double)n, d, err);
  if (s != AMP_OK)
    return s;
  d->edge = amp_alloc(ctx, (n + 1) * sizeof(double));
  d->amps = amps ? amp_alloc(ctx, n * sizeof(double)) : NULL;
  if (d->edge == NULL || (amps && d->amps == NULL)) {
    amp_duty_free(ctx, d);
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu steps", n);
  }
  for (int m = 0; m < 12; m++)
    d->month_end[m] = n;
  return AMP_OK;
}

/* Power at the terminals: a DC load, or a supply. */
static void put_watts (amp_duty *d, size_t i, double watts) {
  d->dc[i] = fmax(watts, 0.0);
  d->pv[i] = fmax(-watts, 0.0);
}

amp_status amp_duty_test (const amp_context *ctx, size_t n,
                          const double *edge, const double *amps,
                          const double *watts, const double *temp,
                          amp_duty *out, amp_error *err) {
  amp_duty made;
  amp_status s = check_test(n, edge, amps, watts, temp, err);
  if (s == AMP_OK)
    s = test_make(ctx, n, edge[n] - edge[0], amps != NULL, &made, err);
  if (s != AMP_OK)
    return s;
  memcpy(made.edge, edge, (n + 1) * sizeof *edge);
  if (amps != NULL)
    memcpy(made.amps, amps, n * sizeof *amps);
  for (size_t i = 0; i < n; i++) {
    made.temp[i] = temp != NULL ? temp[i] : DUTY_ROOM;
    if (watts != NULL)
      put_watts(&made, i, watts[i]);
  }
  made.temp_shift.basis = temp != NULL ? AMP_BASIS_NONE : AMP_BASIS_ASSUMED;
  made.basis = made.temp_shift.basis;
  if (temp == NULL)
    duty_note(&made, duty_no_temp);
  *out = made;
  return AMP_OK;
}

static void log_note (const amp_test_log *log, bool given, amp_duty *d) {
  bool seen = log->column[AMP_LOG_TEMP] != NULL;
  d->load_factor.basis = AMP_BASIS_MEASURED;
  d->temp_shift.basis =
      given || seen ? AMP_BASIS_MEASURED : AMP_BASIS_ASSUMED;
  d->basis = d->temp_shift.basis;
  if (!given && seen)
    duty_note(d, "surroundings taken at the log's first temperature");
  if (!given && !seen)
    duty_note(d, duty_no_temp);
  if (log->note[0] != '\0')
    duty_note(d, log->note);
}

static amp_status check_log (const amp_test_log *log, double temp,
                             amp_error *err) {
  const double *amps = log->column[AMP_LOG_CURRENT];
  const double *watts = log->column[AMP_LOG_POWER];
  if (log->n < 2)
    return amp_failf(err, AMP_EDATA, "time", "less than two rows");
  if (amps == NULL && watts == NULL)
    return amp_failf(err, AMP_EMISSING, "current",
                     "the log has neither current nor power");
  if (!isnan(temp))
    return amp_check_range(err, "temp", temp, DUTY_KELVIN_LEAST,
                           DUTY_KELVIN_MOST);
  return AMP_OK;
}

amp_status amp_duty_log (const amp_context *ctx, const amp_test_log *log,
                         double temp, amp_duty *out, amp_error *err) {
  const double *amps = log->column[AMP_LOG_CURRENT];
  const double *watts = amps == NULL ? log->column[AMP_LOG_POWER] : NULL;
  const double *seen = log->column[AMP_LOG_TEMP];
  double around = !isnan(temp) ? temp : seen != NULL ? seen[0] : DUTY_ROOM;
  amp_status s = check_log(log, temp, err);
  if (s == AMP_OK)
    s = amp_duty_test(ctx, log->n - 1, log->time, amps ? amps + 1 : NULL,
                      watts ? watts + 1 : NULL, NULL, out, err);
  if (s != AMP_OK)
    return s;
  for (size_t i = 0; i < out->n; i++)
    out->temp[i] = around;
  out->note[0] = '\0';
  log_note(log, !isnan(temp), out);
  return AMP_OK;
}

/* ---- phases ---- */

static const double STEPS_MOST = 1e7;

static amp_status check_phase (const amp_phase *p, amp_error *err) {
  bool rest = p->ask == 0.0;
  double most = p->power ? DUTY_POWER_MOST : AMPS_MOST;
  amp_status s =
      amp_check_range(err, p->power ? "watts" : "amps", p->ask, -most, most);
  if (s == AMP_OK)
    s = amp_check_range(err, "time", p->time, 1e-3, 3.2e7);
  if (s == AMP_OK && !isnan(p->until_v))
    s = amp_check_range(err, "until_v", p->until_v, 1e-3, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "taper", p->taper, 0.0, AMPS_MOST);
  if (s == AMP_OK && !isnan(p->until_soc))
    s = amp_check_range(err, "until_soc", p->until_soc, 0.0, 1.0);
  if (s == AMP_OK && rest &&
      (!isnan(p->until_v) || !isnan(p->until_soc) || p->taper > 0.0))
    s = amp_failf(err, AMP_EDATA, "time", "a rest ends by its time alone");
  return s;
}

static size_t phase_steps (const amp_phase *p, double dt) {
  return (size_t)fmax(ceil(p->time / dt - 1e-9), 1.0);
}

/* Says the step that would do, rounded up to two digits; the caller's word
** for it is step_s. */
static amp_status too_fine (double time, double dt, amp_error *err) {
  double least = time / STEPS_MOST, unit = 1e-3;
  while (unit * 100.0 < least)
    unit *= 10.0;
  return amp_failf(err, AMP_EDATA, NULL,
                   "step_s of %g s makes more than %g steps: from %g s up "
                   "they fit",
                   dt, STEPS_MOST, ceil(least / unit + 1.0) * unit);
}

/* Steps of the whole test in *steps, its time in *time. */
static amp_status check_phases (const amp_phase *p, size_t n, size_t times,
                                double dt, double temp, size_t *steps,
                                double *time, amp_error *err) {
  amp_status s = AMP_OK;
  double most = STEPS_MOST / (double)times, all = 0.0;
  *time = 0.0;
  if (n < 1 || times < 1)
    return amp_failf(err, AMP_EDATA, NULL, "a test needs a phase");
  if (!isnan(temp))
    s = amp_check_range(err, "temp", temp, DUTY_KELVIN_LEAST,
                        DUTY_KELVIN_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "dt", dt, 1e-3, 600.0);
  for (size_t i = 0; i < n && s == AMP_OK; i++) {
    s = check_phase(&p[i], err);
    if (s == AMP_OK)
      all += (double)phase_steps(&p[i], dt);
    if (s != AMP_OK && err != NULL)
      err->line = i + 1;
    *time += p[i].time * (double)times;
  }
  if (s == AMP_OK && !(all <= most))
    s = too_fine(*time, dt, err);
  *steps = (size_t)all * times;
  return s;
}

/* Phase k into the steps from 'at'; gives the step after its last. */
static size_t put_phase (amp_duty *d, size_t k, size_t at, double dt) {
  amp_phase *p = &d->phase[k];
  size_t n = phase_steps(p, dt);
  double from = d->edge[at];
  for (size_t i = 0; i < n; i++) {
    d->edge[at + i + 1] = from + p->time * (double)(i + 1) / (double)n;
    d->amps[at + i] = p->power ? NAN : p->ask;
    if (p->power)
      put_watts(d, at + i, p->ask);
  }
  p->last = at + n;
  return p->last;
}

amp_status amp_duty_phases (const amp_context *ctx, const amp_phase *phase,
                            size_t n, size_t times, double dt, double temp,
                            amp_duty *out, amp_error *err) {
  double step = dt > 0.0 ? dt : 60.0, time = 0.0;
  size_t steps = 0, at = 0;
  amp_duty made;
  amp_status s =
      check_phases(phase, n, times, step, temp, &steps, &time, err);
  if (s == AMP_OK)
    s = test_make(ctx, steps, time, true, &made, err);
  if (s != AMP_OK)
    return s;
  made.phases = n * times;
  made.phase = amp_alloc(ctx, made.phases * sizeof *made.phase);
  if (made.phase == NULL) {
    made.phases = 0;
    amp_duty_free(ctx, &made);
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu phases", n);
  }
  for (size_t k = 0; k < made.phases; k++) {
    made.phase[k] = phase[k % n];
    at = put_phase(&made, k, at, step);
  }
  for (size_t i = 0; i < steps; i++)
    made.temp[i] = isnan(temp) ? DUTY_ROOM : temp;
  made.temp_shift.basis = isnan(temp) ? AMP_BASIS_ASSUMED : AMP_BASIS_NONE;
  made.basis = made.temp_shift.basis;
  if (isnan(temp))
    duty_note(&made, duty_no_temp);
  *out = made;
  return AMP_OK;
}
