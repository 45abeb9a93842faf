/*
** check_place.c -- the place of a pack in check.h: frost, heat, floor, stack,
** lift, and what empties it while nothing charges it.
*/
#include "job/check_parts.h"
#include <math.h>

/* Where no limits are known, nothing is charged above this: common practice,
** no source. */
#define CELLS_MOST 333.15
/* Charging begins this far above the end of its lock-out, ours. */
#define WARM_ABOVE 5.0

static const amp_rates *rates_of (const amp_check *c) {
  return c->build->rates ? c->build->rates
                         : amp_rates_for(c->mean->chemistry);
}

/* ---- frost ---- */

static double mass_of (const amp_check *c) {
  double sum = 0.0;
  int n = check_listed(c);
  for (int i = 0; i < n; i++)
    sum += check_module(c, i)->mass;
  return n == 1 ? sum * amp_build_modules(c->build) : sum;
}

/* J/K and W/K of all modules, by mass or as the pack was given them. */
static bool body_of (const amp_check *c, double *heat, double *cooling) {
  amp_group g;
  int n = check_listed(c);
  *heat = *cooling = 0.0;
  for (int i = 0; i < n; i++) {
    const amp_module *m = check_module(c, i);
    if (!amp_given(m->mass) ||
        amp_module_leaf(m, &c->window,
                        amp_module_health(m) * m->capacity.value, NO, 1, 1,
                        &g, NULL) != AMP_OK)
      return false;
    *heat += g.heat_capacity;
    *cooling += amp_given(c->build->cooling) ? c->build->cooling : g.cooling;
  }
  if (n == 1) {
    *heat *= amp_build_modules(c->build);
    *cooling *= amp_build_modules(c->build);
  }
  return true;
}

/* "; to 5 C from there: 0.826 kWh and losses", or nothing. */
static void warm_words (const amp_check *c, double from, amp_checked *out,
                        amp_error *words) {
  amp_site s = *c->site;
  amp_warming w;
  double heat, cooling;
  double to = amp_given(s.warm_to) ? s.warm_to : from + WARM_ABOVE;
  words->text[0] = '\0';
  out->facts.warm_to = to;
  if (!body_of(c, &heat, &cooling) || !(to > s.coldest))
    return;
  s.heater = s.heater > 0.0 ? s.heater : c->build->heater.power;
  if (amp_site_warm(&s, heat, cooling, to, &w, NULL) != AMP_OK) {
    amp_failf(words, AMP_OK, NULL, "; %g W never bring it to %g C", s.heater,
              check_three(to - 273.15));
    return;
  }
  out->facts.warm = amp_given(w.energy) ? w.energy : w.stored;
  amp_failf(words, AMP_OK, NULL, "; warming it to %g C takes %g kWh%s",
            check_three(to - 273.15), check_three(out->facts.warm / 3.6e6),
            amp_given(w.energy) ? "" : " and losses");
}

/* K, coldest at which the duty's supply would charge; NaN: there is none. */
static double charged_at (const amp_check *c) {
  const amp_duty *d = c->need ? c->need->duty : NULL;
  double least = NO;
  if (d == NULL || d->pv == NULL || d->temp == NULL || d->supply_free)
    return NO;
  for (size_t i = 0; i < d->n; i++)
    if (d->pv[i] > 0.0 && !(d->temp[i] >= least))
      least = d->temp[i];
  return least;
}

static void raise_frost (double coldest, const amp_span *span,
                         const char *where, const char *words,
                         amp_checked *out) {
  amp_check_row *row = check_add(out, "charge_below_freezing",
                                 AMP_LOOK_RAISED, AMP_WEIGHT_SAFETY, &check_c,
                                 coldest, span->from, AMP_BASIS_ASSUMED);
  amp_failf(&row->say, AMP_OK, NULL,
            "%g C %s, and no charge below %g C: nothing given here locks it "
            "out%s",
            check_three(coldest - 273.15), where,
            check_three(span->from - 273.15), words);
}

static bool too_cold (double temp, const amp_span *span) {
  return temp < span->from || (temp == span->from && span->open);
}

/* It gets too cold: locked out by the BMS, by nobody, or by the sums alone,
** of which no BMS knows. */
static void judge_frost (const amp_check *c, double coldest,
                         const amp_span *span, const char *where,
                         const char *words, amp_checked *out) {
  double from = c->bms != NULL ? c->bms->charge_from : NO;
  if (from >= span->from)
    check_clear(out, "charge_below_freezing", &check_c, from, span->from,
                AMP_BASIS_ASSUMED);
  else if (c->build->rates != NULL && !amp_given(from))
    check_missing(out, "charge_below_freezing",
                  "current_limits lock it out in the sums; whether the BMS "
                  "does (charge_min_c) is not known");
  else
    raise_frost(coldest, span, where, words, out);
}

/* The place's coldest, or where that is not told the duty's while it
** charges. */
static void look_frost (const amp_check *c, amp_checked *out) {
  const amp_rates *rates = rates_of(c);
  double place = c->site ? c->site->coldest : NO, duty = charged_at(c);
  amp_error words = {0};
  if (rates == NULL) {
    check_missing(out, "charge_below_freezing",
                  "no limits by temperature are known for this chemistry: "
                  "give current_limits by its sheet");
    return;
  }
  amp_span span = amp_rate_span(&rates->charge);
  out->facts.charge_from = span.from;
  out->facts.charge_to = span.to;
  if (!amp_given(place))
    check_missing(out, "temperature_not_given",
                  "coldest_c of the place is not given: whether it may be "
                  "charged all year is not known");
  else
    warm_words(c, span.from, out, &words);
  if (too_cold(place, &span))
    judge_frost(c, place, &span, "at the coldest", words.text, out);
  else if (too_cold(duty, &span))
    judge_frost(c, duty, &span, "while the duty charges it", "", out);
  else if (amp_given(place))
    check_clear(out, "charge_below_freezing", &check_c, place, span.from,
                AMP_BASIS_ASSUMED);
}

/* Charging power of the duty against the rate that each step's temperature
** allows; where it allows none, look_frost speaks. */
static void look_rate (const amp_check *c, amp_checked *out) {
  const amp_rates *rates = rates_of(c);
  const amp_duty *d = c->need ? c->need->duty : NULL;
  double worst = 0.0, limit = NO, temp = NO;
  if (rates == NULL || d == NULL || d->pv == NULL || d->temp == NULL ||
      d->supply_free)
    return;
  double v = amp_build_groups(c->build) * c->window.v_min;
  double charge = amp_module_health(c->mean) * c->mean->capacity.value *
                  c->strings / 3600.0;
  for (size_t i = 0; i < d->n; i++) {
    double allowed = amp_rate_at(&rates->charge, d->temp[i]);
    double asked = d->pv[i] / v / charge;
    if (allowed > 0.0 && asked / allowed > worst) {
      worst = asked / allowed;
      limit = allowed;
      temp = d->temp[i];
    }
  }
  if (!(worst > 0.0))
    return;
  if (limit >= 1000.0) { /* heat.c: the table sets none there */
    check_missing(
        out, "charge_rate_above_limit",
        "no charge rate by temperature is known for this chemistry: "
        "give current_limits by the cell's sheet");
    return;
  }
  amp_check_row *row = check_held(out, "charge_rate_above_limit", worst > 1.0,
                                  AMP_WEIGHT_SAFETY, &check_per_h,
                                  worst * limit, limit, AMP_BASIS_ASSUMED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the supply may charge with %gC at %g C, the limit there is %gC: "
            "limit the charger",
            check_three(worst * limit), check_three(temp - 273.15),
            check_three(limit));
}

/* ---- heat ---- */

static void look_warmest (const amp_check *c, double limit,
                          amp_checked *out) {
  const amp_check_facts *f = &out->facts;
  amp_check_row *row =
      check_held(out, "place_too_warm", f->cells > limit, AMP_WEIGHT_SAFETY,
                 &check_c, f->cells, limit, AMP_BASIS_ASSUMED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "cells of %g C where the place has %g C and full power lasts; "
            "charging ends at %g C",
            check_three(f->cells - 273.15),
            check_three(c->site->warmest - 273.15),
            check_three(limit - 273.15));
}

static void look_heat (const amp_check *c, amp_checked *out) {
  const amp_rates *rates = rates_of(c);
  amp_check_facts *f = &out->facts;
  amp_site_heat h;
  double heat, cooling;
  amp_basis basis;
  if (c->site == NULL || !amp_given(c->site->warmest)) {
    check_missing(out, "place_too_warm",
                  "warmest_c of the place is not given: how warm the cells "
                  "get is not known");
    return;
  }
  if (!amp_given(f->current) || !body_of(c, &heat, &cooling) ||
      amp_site_heat_of(c->site, f->current, check_bank(c, &basis), heat,
                       cooling, &h, NULL) != AMP_OK) {
    check_missing(out, "place_too_warm",
                  "the lasting current or mass_kg of the module is missing: "
                  "how warm the cells get is not known");
    return;
  }
  f->heat = h.heat;
  f->rise = h.rise;
  f->cells = h.cells;
  look_warmest(c,
               rates ? fmin(amp_rate_span(&rates->charge).to, CELLS_MOST)
                     : CELLS_MOST,
               out);
}

/* ---- weight ---- */

static void look_floor (const amp_check *c, amp_checked *out) {
  const amp_site *s = c->site;
  const amp_check_facts *f = &out->facts;
  if (!amp_given(s->floor_load) || !amp_given(s->floor_area)) {
    check_missing(out, "floor_overloaded",
                  amp_given(s->floor_load)
                      ? "floor_m2 is not given: the floor could not be "
                        "looked at"
                      : "floor_kpa is not given: the floor could not be "
                        "looked at");
    return;
  }
  amp_check_row *row = check_held(
      out, "floor_overloaded", f->pressure > s->floor_load, AMP_WEIGHT_SAFETY,
      &check_kpa, f->pressure, s->floor_load, AMP_BASIS_ASSUMED);
  if (row == NULL)
    return;
  amp_failf(
      &row->say, AMP_OK, NULL,
      "%g kg on %g m2 press with %g kPa, the floor may carry %g kPa: at "
      "least %g m2",
      check_three(f->mass), check_three(s->floor_area),
      check_three(f->pressure / 1e3), check_three(s->floor_load / 1e3),
      check_three(f->area_least));
}

static void look_stack (const amp_check *c, amp_checked *out) {
  const amp_site *s = c->site;
  double lowest = out->facts.lowest;
  amp_check_row *row;
  if (s->stack == 0 || (lowest > 0.0 && !amp_given(s->stack_limit))) {
    row =
        check_add(out, "stack_on_lowest_module", AMP_LOOK_UNKNOWN,
                  AMP_WEIGHT_DOUBT, &check_kg, lowest, NO, AMP_BASIS_ASSUMED);
    if (s->stack == 0)
      amp_failf(&row->say, AMP_OK, NULL,
                "stack_high is not given: what the lowest module carries is "
                "not known");
    else
      amp_failf(&row->say, AMP_OK, NULL,
                "the lowest module carries %g kg; what its housing bears "
                "(stack_kg) its maker knows",
                check_three(lowest));
    return;
  }
  row = check_held(out, "stack_on_lowest_module", lowest > s->stack_limit,
                   AMP_WEIGHT_SAFETY, &check_kg, lowest, s->stack_limit,
                   AMP_BASIS_ASSUMED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "%d high, the lowest module carries %g kg; its housing bears %g "
            "kg",
            s->stack, check_three(lowest), s->stack_limit);
}

static double heaviest (const amp_check *c) {
  double most = 0.0;
  for (int i = 0; i < check_listed(c); i++)
    most = fmax(most, check_module(c, i)->mass);
  return most;
}

static void look_lift (const amp_check *c, amp_checked *out) {
  double one = heaviest(c);
  amp_check_row *row =
      check_held(out, "lift_for_two", one > AMP_LIFT_ONE, AMP_WEIGHT_SAFETY,
                 &check_kg, one, AMP_LIFT_ONE, AMP_BASIS_ASSUMED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "a module of %g kg is lifted by two, or by a hoist",
            check_three(one));
}

static void look_weight (const amp_check *c, amp_checked *out) {
  amp_footing f;
  int n = amp_build_modules(c->build);
  amp_site none = amp_site_defaults();
  const amp_site *s = c->site ? c->site : &none;
  double mass = mass_of(c);
  if (amp_site_footing(s, n, mass / n, &f, NULL) != AMP_OK) {
    check_missing(out, "floor_overloaded",
                  "mass_kg of the module is not given: floor, stack and lift "
                  "could not be looked at");
    return;
  }
  out->facts.mass = f.mass;
  out->facts.pressure = f.pressure;
  out->facts.area_least = f.area_least;
  out->facts.lowest = f.lowest;
  look_lift(c, out);
  if (c->site == NULL) {
    check_missing(out, "floor_overloaded",
                  "no place is given: floor and stack could not be looked "
                  "at");
    return;
  }
  look_floor(c, out);
  look_stack(c, out);
}

/* ---- idle ---- */

/* s of the year in which the duty neither asks nor brings anything; one of a
** few days repeats through the year. */
static double closed_of (const amp_check *c) {
  amp_duty_month month[12];
  double days = 0.0;
  if (c->site && amp_given(c->site->closed))
    return c->site->closed;
  if (c->need == NULL)
    return NO;
  const amp_duty *d = c->need->duty;
  double all = amp_duty_start(d, d->n) / 86400.0;
  amp_duty_months(d, month);
  for (int m = 0; m < 12; m++)
    days += month[m].days;
  return 365.0 * 86400.0 * fmax(1.0 - days / all, 0.0);
}

static void idle_row (const amp_check *c, double draw, double time,
                      const char *whose, amp_checked *out) {
  const amp_check_facts *f = &out->facts;
  amp_error more = {0};
  amp_check_row *row =
      check_add(out, "idle_empties_pack", AMP_LOOK_RAISED, AMP_WEIGHT_ECONOMY,
                &check_days, time, f->closed, c->usable_basis);
  if (amp_given(f->idle) && amp_given(f->idle_on))
    amp_failf(&more, AMP_OK, NULL, "; with the inverter left on %g days",
              check_three(f->idle_on / 86400.0));
  amp_failf(&row->say, AMP_OK, NULL,
            "%s%g W empty %g kWh in %g days, and nothing charges it for %g "
            "days%s",
            whose, draw, check_three(f->usable / 3.6e6),
            check_three(time / 86400.0), check_three(f->closed / 86400.0),
            more.text);
}

static void look_idle (const amp_check *c, amp_checked *out) {
  amp_check_facts *f = &out->facts;
  amp_idling i;
  double idle = c->site ? c->site->idle : NO;
  double inverter = c->converter ? c->converter->idle : 0.0;
  double on = inverter + (amp_given(idle) ? idle : 0.0);
  f->closed = closed_of(c);
  if (!(f->usable > 0.0)) {
    check_missing(out, "idle_empties_pack",
                  "no charge is usable inside the inverter's window");
    return;
  }
  if (inverter > 0.0 &&
      amp_idling_of(f->usable, on, f->closed, &i, NULL) == AMP_OK)
    f->idle_on = i.time;
  if (amp_given(idle) &&
      amp_idling_of(f->usable, idle, f->closed, &i, NULL) == AMP_OK)
    f->idle = i.time;
  if (!amp_given(f->closed) || (!amp_given(idle) && !(inverter > 0.0))) {
    check_missing(out, "idle_empties_pack",
                  "closed_days or idle_w of the place is not given: how long "
                  "a draw goes on without charge is not known");
    return;
  }
  if (f->idle < f->closed)
    idle_row(c, idle, f->idle, "", out);
  else if (f->idle_on < f->closed)
    idle_row(c, on, f->idle_on, "the inverter left on, its ", out);
  else
    check_clear(out, "idle_empties_pack", &check_days,
                amp_given(f->idle) ? f->idle : f->idle_on, f->closed,
                c->usable_basis);
  if (!amp_given(idle) && f->closed > 0.0)
    check_missing(out, "idle_empties_pack",
                  "idle_w of the place is not given: what is drawn while the "
                  "inverter is off could not be looked at");
}

void check_place_of (const amp_check *c, amp_checked *out) {
  look_frost(c, out);
  look_rate(c, out);
  look_heat(c, out);
  look_weight(c, out);
  look_idle(c, out);
}
