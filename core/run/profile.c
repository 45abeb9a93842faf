/*
** profile.c -- a duty's memory, its months and its note. Its makers:
** profile_parts.h.
*/
#include "run/profile_parts.h"
#include "base/text.h"
#include <math.h>
#include <string.h>

const int duty_month_days[12] = {31, 28, 31, 30, 31, 30,
                                 31, 31, 30, 31, 30, 31};

const char duty_no_temp[] = "no temperature given, 25 C assumed";

void amp_duty_free (const amp_context *ctx, amp_duty *d) {
  size_t bytes = d->n * sizeof(double);
  amp_free(ctx, d->ac, bytes);
  amp_free(ctx, d->dc, bytes);
  amp_free(ctx, d->pv, bytes);
  amp_free(ctx, d->temp, bytes);
  amp_free(ctx, d->on, d->n);
  amp_free(ctx, d->amps, bytes);
  amp_free(ctx, d->edge, bytes + sizeof(double));
  amp_free(ctx, d->phase, d->phases * sizeof *d->phase);
  memset(d, 0, sizeof *d);
}

double amp_duty_start (const amp_duty *d, size_t i) {
  return d->edge != NULL ? d->edge[i] - d->edge[0] : (double)i * d->dt;
}

const double *amp_duty_load (const amp_duty *d) {
  for (size_t i = 0; i < d->n; i++)
    if (d->ac[i] > 0.0)
      return d->ac;
  return d->dc;
}

double amp_duty_length (const amp_duty *d, size_t i) {
  return d->edge != NULL ? d->edge[i + 1] - d->edge[i] : d->dt;
}

/* Zeros in all arrays, factors of one. Frees what it got where it fails. */
amp_status duty_make (const amp_context *ctx, size_t n, double dt,
                      amp_duty *d, amp_error *err) {
  memset(d, 0, sizeof *d);
  if (n > (size_t)-1 / sizeof(double))
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu steps", n);
  d->n = n;
  d->dt = dt;
  d->ac = amp_alloc(ctx, n * sizeof(double));
  d->dc = amp_alloc(ctx, n * sizeof(double));
  d->pv = amp_alloc(ctx, n * sizeof(double));
  d->temp = amp_alloc(ctx, n * sizeof(double));
  d->on = amp_alloc(ctx, n);
  d->charge_efficiency = 1.0;
  d->load_factor = amp_value_fixed(1.0, AMP_BASIS_NONE);
  d->sun_factor = amp_value_fixed(1.0, AMP_BASIS_NONE);
  d->temp_shift = amp_value_fixed(0.0, AMP_BASIS_NONE);
  if (d->ac != NULL && d->dc != NULL && d->pv != NULL && d->temp != NULL &&
      d->on != NULL)
    return AMP_OK;
  amp_duty_free(ctx, d);
  return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu steps", n);
}

/* Months by running days from 'first' (0: 1 January) of a 365-day year. */
void duty_months_from (amp_duty *d, int first) {
  size_t per_day = (size_t)(DUTY_DAY / d->dt + 0.5);
  size_t end = 0;
  for (int m = 0; m < 12; m++) {
    end += (size_t)duty_month_days[m];
    size_t day = end > (size_t)first ? end - (size_t)first : 0;
    d->month_end[m] = day * per_day < d->n ? day * per_day : d->n;
  }
  d->month_end[11] = d->n; /* days past 31 December stand with December */
}

/* Add a sentence to the note; what does not fit is cut. */
void duty_note (amp_duty *d, const char *text) {
  size_t used = strlen(d->note);
  const char *joint = used > 0 ? "; " : "";
  for (; *joint != '\0' && used + 1 < AMP_DUTY_NOTE; joint++)
    d->note[used++] = *joint;
  for (; *text != '\0' && used + 1 < AMP_DUTY_NOTE; text++)
    d->note[used++] = *text;
  d->note[used] = '\0';
}

/* "3 rows of a part day at the start dropped" */
void duty_note_count (amp_duty *d, size_t n, const char *text) {
  char line[AMP_DUTY_NOTE];
  size_t used = amp_format_shortest((double)n, line);
  line[used++] = ' ';
  for (; *text != '\0' && used + 1 < sizeof line; text++)
    line[used++] = *text;
  line[used] = '\0';
  duty_note(d, line);
}

amp_status duty_check_list (const char *field, const double *v, size_t n,
                            double lo, double hi, amp_error *err) {
  amp_status s = AMP_OK;
  for (size_t i = 0; i < n && s == AMP_OK; i++) {
    s = amp_check_range(err, field, v[i], lo, hi);
    if (s != AMP_OK && err != NULL)
      err->line = i + 1;
  }
  return s;
}

static bool day_runs (const amp_duty *d, size_t from, size_t to) {
  for (size_t i = from; i < to; i++)
    if (d->on[i] != 0 || d->ac[i] > 0.0 || d->dc[i] > 0.0 ||
        (d->amps != NULL && d->amps[i] > 0.0))
      return true;
  return false;
}

/* Days from midnight to midnight of the start's clock in which a test, whose
** steps may be of any length, has load. */
static double test_days (const amp_duty *d, size_t from, size_t to) {
  double days = 0.0, next = 0.0; /* next: the first day not yet counted */
  for (size_t i = from; i < to; i++) {
    double first = fmax(floor(amp_duty_start(d, i) / DUTY_DAY), next);
    double last = ceil(amp_duty_start(d, i + 1) / DUTY_DAY);
    if (last > first && day_runs(d, i, i + 1)) {
      days += last - first;
      next = last;
    }
  }
  return days;
}

static void month_sum (const amp_duty *d, size_t from, size_t to,
                       amp_duty_month *m) {
  size_t per_day = (size_t)(DUTY_DAY / d->dt + 0.5);
  memset(m, 0, sizeof *m);
  double time = amp_duty_start(d, to) - amp_duty_start(d, from);
  for (size_t i = from; i < to; i++) {
    double dt = amp_duty_length(d, i);
    m->ac += d->ac[i] * dt;
    m->dc += d->dc[i] * dt;
    m->pv += d->pv[i] * dt;
    m->on_time += d->on[i] != 0 ? dt : 0.0;
    m->temp += d->edge != NULL ? d->temp[i] * (dt / time)
                               : d->temp[i] / (double)(to - from);
  }
  if (d->edge != NULL)
    m->days = test_days(d, from, to);
  for (size_t i = from; d->edge == NULL && i < to; i += per_day)
    m->days += day_runs(d, i, i + per_day < to ? i + per_day : to);
}

void amp_duty_months (const amp_duty *d, amp_duty_month out[12]) {
  for (int m = 0; m < 12; m++)
    month_sum(d, m > 0 ? d->month_end[m - 1] : 0, d->month_end[m], &out[m]);
}
