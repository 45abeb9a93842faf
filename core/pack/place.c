/*
** place.c -- floor and stack, warmth, lock-outs, idle draw. Mathematics,
** ranges and sources: docs/model/place.md.
*/
#include "pack/place.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

amp_site amp_site_defaults (void) {
  amp_site s = {0};
  s.coldest = s.warmest = s.floor_load = s.floor_area = NO;
  s.stack_limit = s.warm_to = s.loss = s.closed = s.idle = NO;
  return s;
}

amp_status amp_site_check (const amp_site *s, amp_error *err) {
  const double years = 10 * 365 * 86400.0;
  amp_status st;
  if ((st = amp_check_given(err, "coldest", s->coldest, 200, 350)) !=
          AMP_OK ||
      (st = amp_check_given(err, "warmest", s->warmest, 200, 350)) !=
          AMP_OK ||
      (st = amp_check_given(err, "floor_load", s->floor_load, 1, 1e7)) !=
          AMP_OK ||
      (st = amp_check_given(err, "floor_area", s->floor_area, 1e-3, 1e5)) !=
          AMP_OK ||
      (st = amp_check_range(err, "extra_mass", s->extra_mass, 0, 1e6)) !=
          AMP_OK ||
      (st = amp_check_range(err, "stack", s->stack, 0, 100)) != AMP_OK ||
      (st = amp_check_given(err, "stack_limit", s->stack_limit, 0, 1e5)) !=
          AMP_OK ||
      (st = amp_check_given(err, "warm_to", s->warm_to, 200, 350)) !=
          AMP_OK ||
      (st = amp_check_range(err, "heater", s->heater, 0, 1e6)) != AMP_OK ||
      (st = amp_check_given(err, "loss", s->loss, 0, 1e6)) != AMP_OK ||
      (st = amp_check_given(err, "closed", s->closed, 0, years)) != AMP_OK ||
      (st = amp_check_given(err, "idle", s->idle, 0, 1e6)) != AMP_OK)
    return st;
  if (amp_given(s->coldest) && s->warmest < s->coldest)
    return amp_failf(err, AMP_EDATA, "coldest",
                     "the coldest, %g C, lies above the warmest, %g C",
                     s->coldest - 273.15, s->warmest - 273.15);
  return AMP_OK;
}

/* ---- weight ---- */

amp_status amp_site_footing (const amp_site *s, int modules, double each,
                             amp_footing *out, amp_error *err) {
  amp_footing f;
  amp_status st = amp_site_check(s, err);
  if (st != AMP_OK)
    return st;
  if (!amp_given(each))
    return amp_failf(err, AMP_EMISSING, "mass",
                     "the mass of a module is not given");
  if ((st = amp_check_range(err, "modules", modules, 1, 1e6)) != AMP_OK ||
      (st = amp_check_range(err, "mass", each, 1e-3, 1e5)) != AMP_OK)
    return st;
  f.mass = modules * each + s->extra_mass;
  f.pressure = f.mass * AMP_GRAVITY / s->floor_area;
  f.area_least = f.mass * AMP_GRAVITY / s->floor_load;
  f.mass_most = s->floor_load * s->floor_area / AMP_GRAVITY;
  f.lowest = s->stack > 0 ? (s->stack - 1) * each : NO;
  *out = f;
  return AMP_OK;
}

/* ---- warmth ---- */

static double loss_of (const amp_site *s, double cooling) {
  return amp_given(s->loss) ? s->loss : cooling;
}

amp_status amp_site_heat_of (const amp_site *s, double current, double r,
                             double heat, double cooling, amp_site_heat *out,
                             amp_error *err) {
  amp_site_heat h;
  amp_status st = amp_site_check(s, err);
  double loss = loss_of(s, cooling);
  if (st != AMP_OK ||
      (st = amp_check_range(err, "current", current, 0, 1e6)) != AMP_OK ||
      (st = amp_check_range(err, "r", r, 0, 1e3)) != AMP_OK ||
      (st = amp_check_range(err, "heat_capacity", heat, 1e-3, 1e12)) !=
          AMP_OK ||
      (st = amp_check_range(err, "cooling", loss, 0, 1e9)) != AMP_OK)
    return st;
  h.heat = current * current * r;
  h.rise = h.heat > 0.0 ? h.heat / loss : 0.0;
  h.per_s = h.heat / heat;
  h.cells = s->warmest + h.rise;
  *out = h;
  return AMP_OK;
}

amp_status amp_site_warm (const amp_site *s, double heat, double cooling,
                          double to, amp_warming *out, amp_error *err) {
  double loss = loss_of(s, cooling);
  amp_status st = amp_site_check(s, err);
  if (st != AMP_OK)
    return st;
  if (!amp_given(s->coldest))
    return amp_failf(err, AMP_EMISSING, "coldest",
                     "the coldest temperature is not given");
  if (s->heater > 0.0)
    return amp_warm(heat, loss, s->coldest, s->heater, s->coldest, to, out,
                    err);
  if ((st = amp_check_range(err, "heat_capacity", heat, 1e-3, 1e12)) !=
          AMP_OK ||
      (st = amp_check_range(err, "cooling", loss, 0, 1e9)) != AMP_OK ||
      (st = amp_check_range(err, "to", to, s->coldest, 400)) != AMP_OK)
    return st;
  *out = (amp_warming){
      NO, NO, heat * (to - s->coldest), NO, loss * (to - s->coldest), NO};
  return AMP_OK;
}

/* ---- lock-outs ---- */

const amp_rates *amp_rates_for (const amp_chemistry *c) {
  if (strcmp(c->name, "lead_acid") == 0)
    return NULL;
  return amp_rates_find(c->flat_lo < c->flat_hi ? "lfp_small" : "lithium");
}

amp_span amp_rate_span (const amp_rate_curve *c) {
  amp_span s = {-HUGE_VAL, HUGE_VAL, false};
  int first = 0, last = c->n - 1;
  if (c->n == 0)
    return s;
  while (first < c->n && !(c->rate[first] > 0.0))
    first++;
  while (last > first && !(c->rate[last] > 0.0))
    last--;
  if (first == c->n) /* no current anywhere */
    return (amp_span){HUGE_VAL, -HUGE_VAL, false};
  s.open = first > 0;
  s.from = c->temp[first > 0 ? first - 1 : 0];
  s.to = c->temp[last + 1 < c->n ? last + 1 : last];
  return s;
}

/* ---- idle ---- */

amp_status amp_idling_of (double usable, double draw, double closed,
                          amp_idling *out, amp_error *err) {
  amp_idling i;
  amp_status st;
  if ((st = amp_check_range(err, "usable", usable, 0, 1e15)) != AMP_OK ||
      (st = amp_check_range(err, "idle", draw, 0, 1e9)) != AMP_OK ||
      (st = amp_check_given(err, "closed", closed, 0, 1e10)) != AMP_OK)
    return st;
  i.time = draw > 0.0 ? usable / draw : HUGE_VAL;
  i.need = draw * closed;
  i.lacks = amp_given(closed) ? fmax(i.need - usable, 0.0) : NO;
  i.most = closed > 0.0 ? usable / closed : NO;
  *out = i;
  return AMP_OK;
}
