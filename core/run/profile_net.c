/*
** profile_net.c -- the load of one duty with the sun of another, in steps that
** hold whole steps of both.
*/
#include "run/profile_parts.h"
#include <math.h>
#include <string.h>

enum { STEPS_A_DAY_MOST = 864000 }; /* a tenth of a second */

static size_t steps_a_day (const amp_duty *d) {
  return (size_t)(DUTY_DAY / d->dt + 0.5);
}

/* Least common multiple: the finest step, where the others are whole
** multiples of it; else the longest that divides all. */
static size_t common_steps (size_t a, size_t b) {
  size_t x = a, y = b;
  while (y != 0) {
    size_t rest = x % y;
    x = y;
    y = rest;
  }
  return a / x * b;
}

/* Repeat every mean as often as the finer step needs. */
static void repeat (const double *from, size_t n, double factor,
                    const amp_duty *d, double *to) {
  size_t times = d->n / n;
  for (size_t i = 0; i < d->n; i++)
    to[i] = from[i / times] * factor;
}

static size_t days_of (const amp_duty *d) {
  return d->n / steps_a_day(d);
}

static amp_status check_days_equal (const amp_duty *load, const char *what,
                                    const amp_duty *other, amp_error *err) {
  if (other == NULL || days_of(load) == days_of(other))
    return AMP_OK;
  return amp_failf(err, AMP_EDATA, what,
                   "the load has %zu days, the %s has %zu", days_of(load),
                   what, days_of(other));
}

static amp_status check_no_test (const char *what, const amp_duty *d,
                                 amp_error *err) {
  if (d == NULL || (d->amps == NULL && d->edge == NULL))
    return AMP_OK;
  return amp_failf(err, AMP_EDATA, what,
                   "a test at the terminals has no days to join");
}

/* The note of a part; its temperature is spoken of only where it is used. */
static void note_part (amp_duty *d, const amp_duty *part, bool with_temp) {
  char text[AMP_DUTY_NOTE];
  memcpy(text, part->note, sizeof text);
  char *temp = strstr(text, duty_no_temp);
  if (temp != NULL && !with_temp)
    temp[temp - text >= 2 ? -2 : 0] = '\0'; /* with the "; " before it */
  if (text[0] != '\0' && strstr(d->note, text) == NULL)
    duty_note(d, text);
}

static bool same_months (const amp_duty *a, const amp_duty *b) {
  for (int m = 0; m < 12; m++)
    if (a->month_end[m] * b->n != b->month_end[m] * a->n)
      return false;
  return true;
}

static void net_fill (const amp_duty *load, const amp_duty *pv,
                      double pv_factor, const amp_duty *temp, amp_duty *d) {
  size_t times = d->n / load->n;
  repeat(load->ac, load->n, 1.0, d, d->ac);
  repeat(load->dc, load->n, 1.0, d, d->dc);
  repeat(pv->pv, pv->n, pv_factor, d, d->pv);
  repeat(temp->temp, temp->n, 1.0, d, d->temp);
  for (size_t i = 0; i < d->n; i++)
    d->on[i] = load->on[i / times];
  for (int m = 0; m < 12; m++)
    d->month_end[m] = load->month_end[m] * times;
  d->charge_efficiency = fmin(load->charge_efficiency, pv->charge_efficiency);
  d->supply_free = pv->supply_free;
  d->load_factor = load->load_factor;
  d->sun_factor = pv->sun_factor;
  d->temp_shift = temp->temp_shift;
  d->basis = amp_basis_worse(
      amp_basis_worse(d->load_factor.basis, d->sun_factor.basis),
      d->temp_shift.basis);
}

static void net_note (const amp_duty *load, const amp_duty *pv,
                      const amp_duty *temp, amp_duty *d) {
  note_part(d, load, temp == load);
  note_part(d, pv, temp == pv);
  if (temp != load && temp != pv)
    note_part(d, temp, true);
  if (d->n != load->n)
    duty_note(d, "means of the load repeated in finer steps");
  if (d->n != pv->n)
    duty_note(d, "means of the sun repeated in finer steps");
  if (!same_months(load, pv))
    duty_note(d, "load and sun begin on different days of the year");
}

amp_status amp_duty_net (const amp_context *ctx, const amp_duty *load,
                         const amp_duty *pv, double pv_factor,
                         const amp_duty *temp, amp_duty *out,
                         amp_error *err) {
  amp_duty made;
  amp_status s = check_no_test("load", load, err);
  if (s == AMP_OK)
    s = check_no_test("sun", pv, err);
  if (s == AMP_OK)
    s = check_no_test("temperature", temp, err);
  if (s == AMP_OK)
    s = check_days_equal(load, "sun", pv, err);
  if (s == AMP_OK)
    s = check_days_equal(load, "temperature", temp, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "pv_factor", pv_factor, 0.0, DUTY_POWER_MOST);
  if (s != AMP_OK)
    return s;
  size_t steps = common_steps(steps_a_day(load), steps_a_day(pv));
  if (temp != NULL && steps <= STEPS_A_DAY_MOST)
    steps = common_steps(steps, steps_a_day(temp));
  if (steps > STEPS_A_DAY_MOST)
    return amp_failf(err, AMP_EDATA, "time",
                     "steps of %g s and %g s have no common step above 0.1 s",
                     load->dt, pv->dt);
  s = duty_make(ctx, steps * days_of(load), DUTY_DAY / (double)steps, &made,
                err);
  if (s != AMP_OK)
    return s;
  net_fill(load, pv, pv_factor, temp != NULL ? temp : load, &made);
  net_note(load, pv, temp != NULL ? temp : load, &made);
  *out = made;
  return AMP_OK;
}
