/*
** profile_series.c -- a duty from a series in equal steps: cut to whole days
** of one year that begins on 1 January where its date is known.
*/
#include "run/profile_parts.h"
#include <math.h>
#include <string.h>

enum { YEAR_DAYS = 365, LEAP_DAY = 59 };

/* Refuse with the row, from 1. */
static amp_status fail_row (amp_error *err, size_t row, const char *what,
                            double got, double step) {
  amp_status s = amp_failf(err, AMP_EDATA, "time",
                           "%s: %g s after the row before, steps are %g s",
                           what, got, step);
  if (err != NULL)
    err->line = row + 1;
  return s;
}

static amp_status check_times (const amp_series *s, amp_error *err) {
  if (s->n < 2)
    return amp_failf(err, AMP_EDATA, "time", "less than two rows");
  double dt = s->time[1] - s->time[0];
  for (size_t i = 1; i < s->n; i++) {
    double step = s->time[i] - s->time[i - 1];
    if (!(step > 0.0))
      return fail_row(err, i, "time does not rise", step, dt);
    if (!(fabs(step - dt) <= 1e-6 * dt + 1e-6))
      return fail_row(err, i, step > dt ? "gap" : "step too short", step, dt);
  }
  double per_day = DUTY_DAY / dt;
  if (!(fabs(per_day - floor(per_day + 0.5)) <= 1e-6 * per_day) ||
      per_day < 0.5)
    return amp_failf(err, AMP_EDATA, "time",
                     "steps of %g s do not divide a day", dt);
  return amp_check_range(err, "first", s->first, 0.0, DUTY_DAY - 1e-3);
}

static amp_status check_column (const char *field, const double *v, size_t n,
                                double lo, double hi, amp_error *err) {
  return v != NULL ? duty_check_list(field, v, n, lo, hi, err) : AMP_OK;
}

static amp_status check_series (const amp_series *s, amp_error *err) {
  amp_status e = check_times(s, err);
  if (e == AMP_OK)
    e = amp_check_range(err, "first_day_of_year", s->first_day_of_year, -1,
                        s->leap ? YEAR_DAYS : YEAR_DAYS - 1);
  if (e == AMP_OK)
    e = check_column("ac", s->ac, s->n, 0.0, DUTY_POWER_MOST, err);
  if (e == AMP_OK)
    e = check_column("dc", s->dc, s->n, 0.0, DUTY_POWER_MOST, err);
  if (e == AMP_OK)
    e = check_column("pv", s->pv, s->n, 0.0, DUTY_POWER_MOST, err);
  if (e == AMP_OK)
    e = check_column("temp", s->temp, s->n, DUTY_KELVIN_LEAST,
                     DUTY_KELVIN_MOST, err);
  return e;
}

/* Which rows are kept: 'days' whole days from row 'skip', without day
** 'leap_day' of them (or -1), and turned so that 'turn' days come last. */
typedef struct cut {
  size_t per_day, skip, tail;
  int days, leap_day, first, turn;
  bool too_many;
} cut;

static cut cut_series (const amp_series *s) {
  double dt = s->time[1] - s->time[0];
  cut c = {.per_day = (size_t)(DUTY_DAY / dt + 0.5), .leap_day = -1};
  size_t step = (size_t)(s->first / dt + 1e-6); /* of the first row */
  c.skip = step > 0 ? c.per_day - step : 0;
  if (c.skip > s->n)
    c.skip = s->n;
  size_t days = (s->n - c.skip) / c.per_day;
  c.tail = s->n - c.skip - days * c.per_day;
  c.first = (s->first_day_of_year > 0 ? s->first_day_of_year : 0) +
            (step > 0 ? 1 : 0);
  if (s->leap && s->first_day_of_year >= 0) {
    if (c.first <= LEAP_DAY && days > (size_t)(LEAP_DAY - c.first))
      c.leap_day = LEAP_DAY - c.first;
    else if (c.first > LEAP_DAY)
      c.first--;
  }
  days -= c.leap_day >= 0;
  c.first %= YEAR_DAYS;
  c.too_many = days > YEAR_DAYS;
  c.days = (int)(c.too_many ? YEAR_DAYS : days);
  c.turn = c.days == YEAR_DAYS && c.first > 0 ? YEAR_DAYS - c.first : 0;
  return c;
}

/* Row of the file at which day 'day' of the duty begins. */
static size_t cut_row (const cut *c, int day) {
  int source = c->turn > 0 ? (day + c->turn) % c->days : day;
  if (c->leap_day >= 0 && source >= c->leap_day)
    source++;
  return c->skip + (size_t)source * c->per_day;
}

static void cut_copy (const cut *c, const double *from, double *to) {
  for (int day = 0; from != NULL && day < c->days; day++)
    memcpy(to + (size_t)day * c->per_day, from + cut_row(c, day),
           c->per_day * sizeof *to);
}

static void series_note (const amp_series *s, const cut *c, amp_duty *d) {
  double inside = s->first - floor(s->first / d->dt + 1e-6) * d->dt;
  if (c->skip > 0)
    duty_note_count(d, c->skip, "rows of a part day at the start dropped");
  if (c->tail > 0)
    duty_note_count(d, c->tail, "rows of a part day at the end dropped");
  if (c->leap_day >= 0)
    duty_note(d, "29 February dropped");
  if (c->too_many)
    duty_note(d, "only the first 365 days kept");
  if (c->turn > 0)
    duty_note(d, "the year turned to begin on 1 January");
  if (inside > 1e-3)
    duty_note(d, "times lie inside their steps");
  if (s->first_day_of_year < 0)
    duty_note(d, "date not known, taken as 1 January");
  if (s->temp == NULL)
    duty_note(d, duty_no_temp);
}

static void series_fill (const amp_series *s, const cut *c, amp_duty *d) {
  amp_basis basis = s->basis != AMP_BASIS_NONE ? s->basis : AMP_BASIS_ASSUMED;
  memset(d->on, 1, d->n);
  for (size_t i = 0; i < d->n; i++)
    d->temp[i] = DUTY_ROOM;
  cut_copy(c, s->ac, d->ac);
  cut_copy(c, s->dc, d->dc);
  cut_copy(c, s->pv, d->pv);
  cut_copy(c, s->temp, d->temp);
  d->basis = basis;
  d->load_factor.basis =
      s->ac != NULL || s->dc != NULL ? basis : AMP_BASIS_NONE;
  d->sun_factor.basis = s->pv != NULL ? basis : AMP_BASIS_NONE;
  d->temp_shift.basis = s->temp != NULL ? basis : AMP_BASIS_ASSUMED;
  series_note(s, c, d);
}

amp_status amp_duty_series (const amp_context *ctx, const amp_series *s,
                            amp_duty *out, amp_error *err) {
  amp_duty made;
  amp_status e = check_series(s, err);
  if (e != AMP_OK)
    return e;
  cut c = cut_series(s);
  if (c.days < 1)
    return amp_failf(err, AMP_EDATA, "time",
                     "the rows hold no whole day, midnight to midnight");
  e = duty_make(ctx, (size_t)c.days * c.per_day, DUTY_DAY / (double)c.per_day,
                &made, err);
  if (e != AMP_OK)
    return e;
  series_fill(s, &c, &made);
  duty_months_from(&made, c.turn > 0 ? 0 : c.first);
  *out = made;
  return AMP_OK;
}
