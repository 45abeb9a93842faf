/*
** case_worst.c -- the worst month of a need: where the supply falls short of
** what is asked by most.
*/
#include "job/case_parts.h"
#include <math.h>

static amp_worst_month month_of (const amp_need *need, int m,
                                 const amp_duty_month *d, double load,
                                 double sun, double efficiency) {
  const amp_converter *v = &need->converter;
  amp_worst_month w = {.month = m, .days = d->days};
  if (!(d->days > 0.0))
    return w;
  w.load = load * d->ac / d->days;
  w.need = load * d->ac / d->days / efficiency +
           v->idle * d->on_time / d->days + load * d->dc / d->days;
  w.supply = need->duty->supply_free ? w.need : sun * d->pv / d->days;
  return w;
}

/* The largest shortfall; where all months have the same, the largest need.
** A supply as large as needed is never short. */
static bool worse (const amp_worst_month *a, const amp_worst_month *b) {
  double short_a = a->need - a->supply, short_b = b->need - b->supply;
  if (short_a != short_b)
    return short_a > short_b;
  return a->need > b->need;
}

/* A day of both asks and gets the same, but for sums of 28 and of 31 days. */
static bool same_day (const amp_worst_month *a, const amp_worst_month *b) {
  double slack = 1e-9 * (a->need + a->supply);
  return fabs(a->need - b->need) <= slack &&
         fabs(a->supply - b->supply) <= slack;
}

amp_worst_month case_worst_month (const amp_need *need,
                                  const amp_duty_month month[12], double load,
                                  double sun) {
  amp_worst_month worst = {.month = -1};
  double supply = 0.0;
  double efficiency = amp_converter_mean(&need->converter, need->duty, load);
  bool any = false, alike = true;
  int active = 0;
  for (int m = 0; m < 12; m++) {
    amp_worst_month w = month_of(need, m, &month[m], load, sun, efficiency);
    supply += w.supply;
    active += w.days > 0.0;
    alike = alike && (!any || !(w.days > 0.0) || same_day(&w, &worst));
    if (month[m].days > 0.0 && (!any || worse(&w, &worst))) {
      worst = w;
      any = true;
    }
  }
  worst.alike = alike && active > 1;
  if (!(supply > 0.0))
    worst.month = -1;
  return worst;
}

static double middle (const amp_value *v, double unset) {
  return amp_value_is_set(v) ? v->value : unset;
}

amp_worst_month amp_need_worst_month (const amp_need *need) {
  amp_duty_month month[12];
  amp_duty_months(need->duty, month);
  return case_worst_month(need, month, middle(&need->duty->load_factor, 1.0),
                          middle(&need->duty->sun_factor, 1.0));
}
