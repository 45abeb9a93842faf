/*
** cash.c -- interest factors, levelised cost, break-even years.
** Definitions: docs/model/cost.md.
*/
#include "cost/cash.h"
#include "base/elementary.h"
#include <math.h>

static const double RATE_LEAST = -0.5, RATE_MOST = 1.0; /* per period */
static const double MONEY_MOST = 1e12;

/* (1+i)^n - 1, without loss where i n is small */
static double growth (double i, double n) {
  return amp_expm1(n * amp_log1p(i));
}

double amp_cash_fp (double i, double n) {
  return growth(i, n) + 1.0;
}

double amp_cash_pa (double i, double n) {
  return i == 0.0 ? n : -growth(i, -n) / i;
}

double amp_cash_ap (double i, double n) {
  return 1.0 / amp_cash_pa(i, n);
}

double amp_cash_fa (double i, double n) {
  return i == 0.0 ? n : growth(i, n) / i;
}

double amp_cash_af (double i, double n) {
  return 1.0 / amp_cash_fa(i, n);
}

/* One number a year; the place of a bad one goes to err->line, from 1. */
static amp_status check_years (const char *field, const double *v, int years,
                               double lo, amp_error *err) {
  amp_status s = AMP_OK;
  for (int t = 0; t < years && s == AMP_OK; t++) {
    s = amp_check_range(err, field, v[t], lo, MONEY_MOST);
    if (s != AMP_OK && err != NULL)
      err->line = (size_t)t + 1;
  }
  return s;
}

static amp_status check_ask (const amp_levelised_ask *a, amp_error *err) {
  amp_status s = amp_check_range(err, "years", a->years, 1, AMP_CASH_YEARS);
  if (s == AMP_OK)
    s = amp_check_range(err, "rate", a->rate, RATE_LEAST, RATE_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "first", a->first, -MONEY_MOST, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "residual", a->residual, -MONEY_MOST,
                        MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "charge_price", a->charge_price, -MONEY_MOST,
                        MONEY_MOST);
  if (s == AMP_OK && a->charge_price != 0.0) /* else it does not enter */
    s = amp_check_range(err, "round_trip", a->round_trip, 0.01, 1.0);
  if (s == AMP_OK)
    s = check_years("energy", a->energy, a->years, 0.0, err);
  if (s == AMP_OK && a->running != NULL)
    s = check_years("running", a->running, a->years, -MONEY_MOST, err);
  return s;
}

amp_status amp_levelised (const amp_levelised_ask *a, double *per_kwh,
                          amp_error *err) {
  amp_status s = check_ask(a, err);
  if (s != AMP_OK)
    return s;
  double energy = 0.0, cost = a->first, worth = 1.0;
  double charge =
      a->charge_price != 0.0 ? a->charge_price / a->round_trip : 0.0;
  for (int t = 0; t < a->years; t++) {
    worth /= 1.0 + a->rate; /* of money paid at the end of this year */
    energy += a->energy[t] * worth;
    cost += a->energy[t] * charge * worth;
    cost += a->running != NULL ? a->running[t] * worth : 0.0;
  }
  if (!(energy > 0.0))
    return amp_failf(err, AMP_EREFUSED, "energy",
                     "no energy is delivered, so it has no cost per kWh");
  *per_kwh = (cost - a->residual * worth) / energy;
  return AMP_OK;
}

/*
** saving (1 - (1+r)^-n) / r = first, so n = -log(1 - r first/saving) /
** log(1+r); at r = 0 simply first/saving.
*/
amp_status amp_break_even_years (double first, double saving, double rate,
                                 double *years, amp_error *err) {
  amp_status s = amp_check_range(err, "first", first, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "saving", saving, -MONEY_MOST, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "rate", rate, RATE_LEAST, RATE_MOST);
  if (s != AMP_OK)
    return s;
  if (first == 0.0) {
    *years = 0.0;
    return AMP_OK;
  }
  if (!(saving > 0.0))
    return amp_failf(err, AMP_EREFUSED, "saving",
                     "nothing is saved, so it never pays back");
  if (!(rate * first < saving))
    return amp_failf(err, AMP_EREFUSED, "saving",
                     "the saving does not pay the interest, so it never "
                     "pays back");
  *years = first / saving;
  if (rate != 0.0)
    *years = -amp_log1p(-rate * *years) / amp_log1p(rate);
  return AMP_OK;
}

/* Years until 'first' is paid back by saving[0 ..] for good: a later cost may
** undo it. Past the last year 'on' is saved each year. The part of a year as
** the annuity of that part. */
static double pay_back (double first, const double *saving, int years,
                        double on, double rate) {
  double worth = 1.0, left = first, more = 0.0, back = (double)INFINITY;
  for (int t = 0; t < years; t++) {
    double paid = saving[t] * worth / (1.0 + rate);
    if (left > 0.0 && paid >= left &&
        amp_break_even_years(left / worth, saving[t], rate, &more, NULL) ==
            AMP_OK)
      back = t + more;
    left -= paid;
    worth /= 1.0 + rate;
  }
  if (left <= 0.0)
    return back;
  if (amp_break_even_years(left / worth, on, rate, &more, NULL) != AMP_OK)
    return (double)INFINITY;
  return years + more;
}

amp_status amp_cash_savings (const amp_levelised_ask *a, double tariff,
                             amp_savings *out, amp_error *err) {
  double each[AMP_CASH_YEARS];
  amp_status st = amp_check_range(err, "tariff", tariff, 0.0, 1e3);
  for (int t = 0; t < AMP_CASH_YEARS; t++)
    each[t] = tariff;
  return st == AMP_OK ? amp_cash_savings_by_year(a, each, out, err) : st;
}

amp_status amp_cash_savings_by_year (const amp_levelised_ask *a,
                                     const double *tariff, amp_savings *out,
                                     amp_error *err) {
  double saving[AMP_CASH_YEARS], spared = 0.0, energy = 0.0, worth = 1.0;
  amp_savings s = {0.0, 0.0, 0.0, 0.0};
  amp_status st = amp_levelised(a, &s.per_kwh, err);
  if (st == AMP_OK)
    st = check_years("tariff", tariff, a->years, 0.0, err);
  if (st != AMP_OK)
    return st;
  double charge =
      a->charge_price != 0.0 ? a->charge_price / a->round_trip : 0.0;
  for (int t = 0; t < a->years; t++) {
    worth /= 1.0 + a->rate;
    energy += a->energy[t] * worth;
    spared += a->energy[t] * tariff[t] * worth;
    saving[t] = a->energy[t] * (tariff[t] - charge) -
                (a->running != NULL ? a->running[t] : 0.0);
  }
  s.first_year = saving[0];
  s.npv = spared - s.per_kwh * energy;
  double on = saving[a->years - 1];
  if (a->dated != NULL)
    on += a->dated[a->years - 1];
  s.break_even = a->first > 0.0
                     ? pay_back(a->first, saving, a->years, on, a->rate)
                     : 0.0;
  *out = s;
  return AMP_OK;
}

amp_status amp_later_check (const amp_later_cost *c, amp_error *err) {
  amp_status s =
      amp_check_range(err, "costs", c->cost, -MONEY_MOST, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "year", c->year, 1, AMP_CASH_YEARS);
  if (s == AMP_OK)
    s = amp_check_range(err, "every", c->every, 0, AMP_CASH_YEARS);
  return s;
}

void amp_cash_later (const amp_later_cost *c, int n, int years,
                     double *running) {
  for (int i = 0; i < n; i++)
    for (int t = c[i].year; t >= 1 && t <= years;
         t += c[i].every > 0 ? c[i].every : years)
      running[t - 1] += c[i].cost;
}

amp_status amp_cash_again (const amp_levelised_ask *a, double again,
                           const double *rising, double rise,
                           const amp_later_cost *later, int n, int years,
                           double *per_kwh, amp_error *err) {
  double energy[AMP_CASH_YEARS], running[AMP_CASH_YEARS];
  amp_levelised_ask all = *a;
  amp_status st = check_ask(a, err);
  if (st == AMP_OK)
    st = amp_check_range(err, "years", years, 1, AMP_CASH_YEARS);
  if (st == AMP_OK)
    st = amp_check_range(err, "again", again, -MONEY_MOST, MONEY_MOST);
  if (st == AMP_OK && rising != NULL)
    st = amp_check_range(err, "rise", rise, -0.5, 0.5);
  if (st != AMP_OK)
    return st;
  if (a->years >= years)
    return amp_levelised(a, per_kwh, err);
  for (int t = 0; t < years; t++) {
    energy[t] = a->energy[t % a->years];
    running[t] = a->running != NULL ? a->running[t % a->years] : 0.0;
    if (a->dated != NULL)
      running[t] -= a->dated[t % a->years];
    if (rising != NULL)
      running[t] +=
          rising[t % a->years] * (amp_cash_fp(rise, t - t % a->years) - 1.0);
  }
  amp_cash_later(later, n, years, running);
  amp_cash_replace(again - a->residual, a->years, years, running);
  all.years = years;
  all.energy = energy;
  all.running = running;
  return amp_levelised(&all, per_kwh, err);
}

int amp_cash_replace (double again, int life, int years, double *running) {
  int end = life;
  for (; end < years; end += life)
    running[end - 1] += again;
  return end - years;
}
