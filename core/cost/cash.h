/*
** cash.h -- money over time: interest factors, present worth, levelised
** cost. Rates per period as fractions, payments at the end of each period.
** No physics. Definitions: docs/model/cost.md; checked against printed
** interest tables.
*/
#ifndef AMP_COST_CASH_H
#define AMP_COST_CASH_H

#include "base/error.h"
#include <stdbool.h>

enum { AMP_CASH_YEARS = 100 };

double amp_cash_fp (double i, double n); /* F/P = (1+i)^n */
double amp_cash_pa (double i, double n); /* P/A; i = 0: n */
double amp_cash_ap (double i, double n); /* A/P = 1 / (P/A) */
double amp_cash_fa (double i, double n); /* F/A; i = 0: n */
double amp_cash_af (double i, double n); /* A/F = 1 / (F/A) */

typedef struct amp_levelised_ask {
  double first;    /* paid at the start */
  int years;       /* whole, 1 .. AMP_CASH_YEARS */
  double rate;     /* 0.05 for 5 % */
  const double *energy;  /* kWh delivered in year 1 .. years */
  const double *running; /* paid in year 1 .. years, or NULL */
  double charge_price;   /* per kWh bought to charge */
  double round_trip;     /* 0..1, kWh delivered per kWh bought */
  double residual;       /* received at the end */
  const double *dated;   /* part of 'running' that comes in its own years and
                            does not go on after them; NULL: none */
} amp_levelised_ask;

/* Present cost over present energy. AMP_ERANGE; AMP_EREFUSED when no
** energy is delivered. */
amp_status amp_levelised (const amp_levelised_ask *a, double *per_kwh,
                          amp_error *err);

/* Years until yearly savings pay 'first' back at 'rate': the (fractional) n
** with P/A(rate, n) saving = first; AMP_EREFUSED when never. */
amp_status amp_break_even_years (double first, double saving, double rate,
                                 double *years, amp_error *err);

/* What 'a' saves where each kWh it delivers would else cost 'tariff'. */
typedef struct amp_savings {
  double first_year; /* saved in year 1, charging and running paid */
  double npv;        /* over the years, at a's rate, residual included */
  double per_kwh;    /* levelised cost */
  double break_even; /* years, with part years; INFINITY: never. Past the
                        last year as if that year went on for ever */
} amp_savings;

/* Refuses what amp_levelised refuses. npv = (tariff - per_kwh) x discounted
** energy; the residual doesn't enter the break-even. */
amp_status amp_cash_savings (const amp_levelised_ask *a, double tariff,
                             amp_savings *out, amp_error *err);

/* A cost of later years, paid at the end of year 'year' and, where 'every' is
** above 0, each 'every' years after that. */
typedef struct amp_later_cost {
  double cost;     /* money; below 0: received */
  int year, every; /* 1 .. AMP_CASH_YEARS; 0 .. AMP_CASH_YEARS */
} amp_later_cost;

amp_status amp_later_check (const amp_later_cost *c, amp_error *err);

/* What n costs come to in each of the years 1 .. 'years', added to running[0
** .. years-1]; what would fall due later is not paid. */
void amp_cash_later (const amp_later_cost *c, int n, int years,
                     double *running);

/* The same where the tariff changes: tariff[0 ..] of each of a's years. */
amp_status amp_cash_savings_by_year (const amp_levelised_ask *a,
                                     const double *tariff, amp_savings *out,
                                     amp_error *err);

/*
** Levelised cost over 'years' of what lasts a's years and is then bought
** again for 'again', each one as the first: its running and its energy begin
** anew; the residual is received at each end. As a's own where it lasts the
** years out; where again = first, and 'years' are whole lives, the same too
** (equal annual costs go on as they are). rising[0 ..] is the part of a's
** running that goes up by 'rise' each year, as it stands in them; it goes on
** rising in the next ones. NULL: none. What is 'dated' is not begun anew: the
** costs later[n] fall due in their own years.
*/
amp_status amp_cash_again (const amp_levelised_ask *a, double again,
                           const double *rising, double rise,
                           const amp_later_cost *later, int n, int years,
                           double *per_kwh, amp_error *err);

/*
** Bought at the start for 'first' and again for 'again' at the end of each
** life of 'life' whole years that ends before 'years' do: added to
** running[0 .. years-1]. Returns the years that the last one is not used up.
*/
int amp_cash_replace (double again, int life, int years, double *running);

#endif
