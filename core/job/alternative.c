/*
** alternative.c -- grid, generator, and a battery of a stated life, as money
** over the horizon. docs/model/alternative.md.
*/
#include "job/alternative.h"
#include "base/value.h"
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

static const double YEAR = 365.0 * 86400.0; /* s */
static const double DAY = 86400.0;
static const double KWH = 3.6e6;
static const double MONEY_MOST = 1e9;

/* ---- what the duty asks ---- */

static double load_factor (const amp_alternative_ask *ask) {
  return ask->load > 0.0 ? ask->load : 1.0;
}

static double whole_time (const amp_duty *d) {
  return (double)d->n * d->dt;
}

enum { LOOK_BACK = 512 }; /* parts that a new one may be added to */

/* Equal ones are one part, where they stand near enough to be found. */
static void add_part (amp_load_part *part, size_t *n, double value,
                      double times) {
  size_t from = *n > LOOK_BACK ? *n - LOOK_BACK : 0;
  for (size_t k = *n; k > from; k--)
    if (part[k - 1].value == value) {
      part[k - 1].times += times;
      return;
    }
  part[(*n)++] = (amp_load_part){value, times};
}

static bool ends_a_day (const amp_duty *d, size_t k) {
  double start = amp_duty_start(d, k), end = start + amp_duty_length(d, k);
  return k + 1 == d->n || floor(end / DAY + 1e-9) > floor(start / DAY + 1e-9);
}

static void take_parts (const amp_duty *d, amp_load_brief *b) {
  const double *w = amp_duty_load(d);
  amp_duty_month month[12];
  double day = 0.0;
  for (size_t k = 0; k < d->n; k++) {
    double length = amp_duty_length(d, k);
    add_part(b->level, &b->levels, w[k], length);
    day += w[k] * length;
    if (ends_a_day(d, k)) {
      add_part(b->day, &b->days, day, 1.0);
      day = 0.0;
    }
  }
  b->time = whole_time(d);
  amp_duty_months(d, month);
  for (int m = 0; m < 12; m++)
    b->active += month[m].days;
}

amp_status amp_load_brief_make (const amp_context *ctx, const amp_duty *duty,
                                amp_load_brief *out, amp_error *err) {
  size_t bytes = duty->n * sizeof(amp_load_part);
  amp_load_brief b = {.room = duty->n};
  ctx = amp_context_or_plain(ctx);
  b.level = amp_alloc(ctx, bytes);
  b.day = amp_alloc(ctx, bytes);
  *out = b;
  if (b.level != NULL && b.day != NULL) {
    take_parts(duty, out);
    return AMP_OK;
  }
  amp_load_brief_free(ctx, out);
  return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the load");
}

void amp_load_brief_free (const amp_context *ctx, amp_load_brief *b) {
  ctx = amp_context_or_plain(ctx);
  amp_free(ctx, b->level, b->room * sizeof *b->level);
  amp_free(ctx, b->day, b->room * sizeof *b->day);
  *b = (amp_load_brief){0};
}

double amp_tariff_mean (const double price[AMP_DAY_HOURS],
                        const amp_duty *duty,
                        const unsigned char hours[AMP_DAY_HOURS]) {
  double sum = 0.0, all = 0.0;
  if (hours != NULL) {
    for (int h = 0; h < AMP_DAY_HOURS; h++) {
      sum += hours[h] ? price[h] : 0.0;
      all += hours[h] ? 1.0 : 0.0;
    }
    return all > 0.0 ? sum / all : AMP_NOT_GIVEN;
  }
  const double *w = amp_duty_load(duty);
  for (size_t k = 0; k < duty->n; k++) {
    /* by the middle of the step: half an hour after its start at most */
    double t = amp_duty_start(duty, k) + 0.5 * amp_duty_length(duty, k);
    int h = (int)(fmod(t, DAY) / 3600.0);
    double e = w[k] * amp_duty_length(duty, k);
    sum += e * price[h < AMP_DAY_HOURS ? h : AMP_DAY_HOURS - 1];
    all += e;
  }
  return all > 0.0 ? sum / all : AMP_NOT_GIVEN;
}

/* ---- a generator ---- */

/* l/s at a load, held beyond the ends of the table. */
static double fuel_at (const amp_alternative *a, double load) {
  if (a->points == 0)
    return a->fuel_per_joule * load;
  if (load <= a->load[0])
    return a->fuel[0];
  for (int i = 1; i < a->points; i++)
    if (load <= a->load[i])
      return a->fuel[i - 1] + (a->fuel[i] - a->fuel[i - 1]) *
                                  (load - a->load[i - 1]) /
                                  (a->load[i] - a->load[i - 1]);
  return a->fuel[a->points - 1];
}

/* Following the load, or so long a day at its mean. */
static amp_status burn (const amp_alternative *a,
                        const amp_alternative_ask *ask,
                        amp_alternative_year *out, amp_error *err) {
  const amp_load_brief *b = ask->brief;
  double most = 0.0, year = YEAR / b->time, more = load_factor(ask);
  if (amp_given(a->run_time)) {
    out->run_time = b->active * a->run_time * year;
    most = out->served / out->run_time;
    out->fuel = fuel_at(a, most) * out->run_time;
  } else
    for (size_t k = 0; k < b->levels; k++) {
      double w = b->level[k].value * more, time = b->level[k].times * year;
      if (!(w > 0.0))
        continue;
      out->run_time += time;
      out->fuel += fuel_at(a, w) * time;
      most = fmax(most, w);
    }
  if (most > a->power * (1.0 + 1e-9))
    return amp_failf(err, AMP_EREFUSED, "power",
                     "the load comes to %g W, more than the %g W it carries",
                     most, a->power);
  return AMP_OK;
}

/* Overhauls due within so many whole years of one machine, the last of them
** told: one that would fall on that very day is not made. */
static double due (const amp_alternative *a,
                   const amp_alternative_answer *out, int years, bool last) {
  double n = years * out->run_time / a->overhaul_time;
  return fmax(last ? ceil(n - 1e-9) - 1.0 : floor(n + 1e-9), 0.0);
}

/* Each year's; the hours begin anew with each replacement. */
static void overhauls (const amp_alternative *a,
                       const amp_alternative_answer *out, double *running) {
  int life = out->life > 0 ? out->life : out->years;
  if (!amp_given(a->overhaul) || !amp_given(a->overhaul_time))
    return;
  for (int t = 0; t < out->years; t++) {
    bool last = t + 1 == out->years || (t + 1) % life == 0;
    running[t] += a->overhaul * (due(a, out, t % life + 1, last) -
                                 due(a, out, t % life, false));
  }
}

/* ---- a battery ---- */

/* A day can take what it holds, and no more than is asked. */
static void discharge (const amp_alternative *a,
                       const amp_alternative_ask *ask,
                       amp_alternative_year *out) {
  const amp_load_brief *b = ask->brief;
  double can = a->usable * ask->efficiency, served = 0.0;
  double more = load_factor(ask);
  for (size_t k = 0; k < b->days; k++)
    served += fmin(b->day[k].value * more, can) * b->day[k].times;
  out->unserved = out->served - served * YEAR / b->time;
  out->served = served * YEAR / b->time;
}

/* ---- money ---- */

static amp_status check (const amp_alternative *a,
                         const amp_alternative_ask *ask, amp_error *err) {
  amp_status s = amp_check_range(err, "price", a->price, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "rest", a->rest, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_given(err, "again", a->again, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_given(err, "life", a->life, 1.0, AMP_CASH_YEARS);
  if (s == AMP_OK)
    s = amp_check_range(err, "horizon", ask->horizon, 1.0, AMP_CASH_YEARS);
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_GENERATOR)
    s = amp_check_range(err, "power", a->power, 1.0, 1e8);
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_GENERATOR)
    s = amp_check_range(err, "fuel_price", a->fuel_price, 0.0, 1e4);
  if (s == AMP_OK)
    s = amp_check_range(err, "fuel_rise", a->fuel_rise, -0.5, 0.5);
  if (s == AMP_OK)
    s = amp_check_range(err, "rise", ask->rise, -0.5, 0.5);
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_BATTERY)
    s = amp_check_range(err, "usable", a->usable, 1.0, 1e13);
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_BATTERY)
    s = amp_check_range(err, "round_trip", a->round_trip, 0.01, 1.0);
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_BATTERY &&
      !amp_given(a->life))
    s = amp_failf(err, AMP_EMISSING, "life",
                  "the years it lasts in this use are wanted");
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_BATTERY &&
      !ask->duty->supply_free)
    s = amp_failf(
        err, AMP_EREFUSED, "duty",
        "a battery of stated life is reckoned for from_battery_kwh "
        "alone; what a sun lets it do needs an offer with a module");
  if (s == AMP_OK && a->kind == AMP_ALTERNATIVE_GRID &&
      !amp_given(ask->tariff))
    s = amp_failf(err, AMP_EMISSING, "import_price",
                  "the price of a kWh from the grid is wanted");
  return s;
}

amp_status amp_alternative_year_of (const amp_alternative *a,
                                    const amp_alternative_ask *ask,
                                    amp_alternative_year *out,
                                    amp_error *err) {
  const amp_load_brief *b = ask->brief;
  amp_alternative_year y = {0};
  amp_status s = check(a, ask, err);
  if (s != AMP_OK)
    return s;
  for (size_t k = 0; k < b->levels; k++)
    y.served += b->level[k].value * b->level[k].times * YEAR / b->time;
  y.served *= load_factor(ask);
  if (!(y.served > 0.0))
    return amp_failf(err, AMP_EREFUSED, "duty", "nothing is asked of it");
  if (a->kind == AMP_ALTERNATIVE_GENERATOR)
    s = burn(a, ask, &y, err);
  else if (a->kind == AMP_ALTERNATIVE_BATTERY)
    discharge(a, ask, &y);
  if (s == AMP_OK)
    *out = y;
  return s;
}

/* Of year 1, and what it is times in each year after. */
static double energy_price (const amp_alternative *a,
                            const amp_alternative_ask *ask,
                            amp_alternative_answer *out) {
  if (a->kind == AMP_ALTERNATIVE_GENERATOR) {
    out->energy_cost = out->fuel * a->fuel_price;
    return 1.0 + a->fuel_rise;
  }
  if (a->kind == AMP_ALTERNATIVE_BATTERY) {
    out->energy_cost = out->served * ask->charge_price / a->round_trip;
    return ask->charge_rises ? 1.0 + ask->rise : 1.0;
  }
  out->energy_cost = out->served * ask->tariff;
  return 1.0 + ask->rise;
}

/* Whole years until it is worn out; 0: not within those counted. */
static int life_of (const amp_alternative *a,
                    const amp_alternative_answer *out) {
  double life = amp_given(a->life) ? a->life : (double)INFINITY;
  if (amp_given(a->life_time) && out->run_time > 0.0)
    life = fmin(life, a->life_time / out->run_time);
  life = floor(fmax(life, 1.0) + 1e-9);
  return life < out->years ? (int)life : 0;
}

/* What is paid in each year, energy first; replacements come on top. */
static void pay (const amp_alternative *a, const amp_alternative_ask *ask,
                 amp_alternative_answer *o, double *running, double *paid) {
  double more = energy_price(a, ask, o), energy = o->energy_cost;
  *paid = o->first - a->residual;
  for (int t = 0; t < o->years; t++) {
    running[t] = a->running + energy;
    if (a->kind == AMP_ALTERNATIVE_BATTERY)
      *paid -= energy; /* its charging aside, as for offers */
    energy *= more;
  }
  overhauls(a, o, running);
  if (o->life > 0)
    o->unused = amp_cash_replace(amp_given(a->again) ? a->again : a->price,
                                 o->life, o->years, running);
  else if (amp_given(a->life))
    o->unused = (int)floor(a->life + 1e-9) - o->years;
  for (int t = 0; t < o->years; t++)
    *paid += running[t];
}

/* Levelised, a year, and against the tariff as it rises. */
static amp_status sums (const amp_alternative *a,
                        const amp_alternative_ask *ask,
                        const amp_levelised_ask *l, double paid,
                        amp_alternative_answer *o, amp_error *err) {
  double tariff[AMP_CASH_YEARS] = {ask->tariff * KWH};
  double left = l->first - l->residual / amp_cash_fp(l->rate, l->years);
  amp_status s = amp_levelised(l, &o->levelised, err);
  o->per_delivered = paid / (o->served / KWH * o->years);
  o->present = o->served / KWH * amp_cash_pa(ask->rate, o->years);
  o->per_year = o->levelised * o->served / KWH;
  o->spares = a->kind != AMP_ALTERNATIVE_GRID && amp_given(ask->tariff);
  if (s != AMP_OK || !o->spares)
    return s;
  for (int t = 1; t < o->years; t++)
    tariff[t] = tariff[t - 1] * (1.0 + ask->rise);
  s = amp_cash_savings_by_year(l, tariff, &o->saves, err);
  o->saving = (o->saves.npv + left) * amp_cash_ap(l->rate, l->years);
  /* replacements spread evenly: beyond the horizon they go on */
  if (amp_break_even_years(fmax(l->first, 0.0), o->saving, l->rate,
                           &o->saves.break_even, NULL) != AMP_OK)
    o->saves.break_even = (double)INFINITY;
  return s;
}

amp_status amp_alternative_money (const amp_alternative *a,
                                  const amp_alternative_ask *ask,
                                  const amp_alternative_year *year,
                                  amp_alternative_answer *out,
                                  amp_error *err) {
  double running[AMP_CASH_YEARS] = {0.0}, energy[AMP_CASH_YEARS], paid;
  amp_alternative_answer o = {.served = year->served,
                              .unserved = year->unserved,
                              .run_time = year->run_time,
                              .fuel = year->fuel};
  if (amp_given(a->life_time) && a->life_time < o.run_time)
    return amp_failf(err, AMP_EREFUSED, "life_time",
                     "it runs %g h a year and would be worn out within one: "
                     "replacements are counted by whole years",
                     o.run_time / 3600.0);
  o.years = (int)floor(ask->horizon + 1e-9);
  o.first = a->price + a->rest;
  o.life = life_of(a, &o);
  for (int t = 0; t < o.years; t++)
    energy[t] = o.served / KWH;
  pay(a, ask, &o, running, &paid);
  amp_levelised_ask l = {o.first, o.years, ask->rate,   energy, running,
                         0.0,     1.0,     a->residual, NULL};
  amp_status s = sums(a, ask, &l, paid, &o, err);
  if (s == AMP_OK)
    *out = o;
  return s;
}

amp_status amp_alternative_cost (const amp_context *ctx,
                                 const amp_alternative *a,
                                 const amp_alternative_ask *ask,
                                 amp_alternative_answer *out,
                                 amp_error *err) {
  amp_alternative_year year;
  amp_load_brief brief;
  amp_alternative_ask own = *ask;
  amp_status s = amp_load_brief_make(ctx, ask->duty, &brief, err);
  if (s != AMP_OK)
    return s;
  own.brief = &brief;
  s = amp_alternative_year_of(a, &own, &year, err);
  if (s == AMP_OK)
    s = amp_alternative_money(a, &own, &year, out, err);
  amp_load_brief_free(ctx, &brief);
  return s;
}
