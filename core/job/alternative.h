/*
** alternative.h -- what else would carry the load: the grid, a generator, or
** a battery whose life the buyer says (lead-acid, by its seller's table). As
** plain money over the horizon, replacements within it included, to stand
** beside offers. Tariffs by the hour. SI units (J, s, W); money in one
** currency. docs/model/alternative.md.
*/
#ifndef AMP_JOB_ALTERNATIVE_H
#define AMP_JOB_ALTERNATIVE_H

#include "base/context.h"
#include "base/error.h"
#include "base/value.h"
#include "cost/cash.h"
#include "run/profile.h"
#include "run/simulate.h"
#include <stdbool.h>
#include <stddef.h>

enum { AMP_FUEL_POINTS = 8, AMP_DAY_HOURS = 24, AMP_ALTERNATIVE_SPREADS = 16 };

typedef enum amp_alternative_kind {
  AMP_ALTERNATIVE_GRID,
  AMP_ALTERNATIVE_GENERATOR,
  AMP_ALTERNATIVE_BATTERY
} amp_alternative_kind;

/* A number of it that is spread: the double of amp_alternative it is of. */
typedef struct amp_alternative_spread {
  size_t at; /* offsetof(amp_alternative, fuel_price), .. */
  amp_value v;
} amp_alternative_spread;

typedef struct amp_alternative {
  amp_alternative_kind kind;
  double price;    /* at the start: connection, generator, battery set */
  double rest;     /* beside it, kept when it is replaced: BOS, shed */
  double again;    /* of each replacement; NaN: 'price' */
  double life;     /* years, whole ones count; NaN: none ends within the
                      horizon (a generator: see life_hours) */
  double running;  /* a year: standing charge, service, water */
  double residual; /* received at the horizon */
  /* generator */
  double power;       /* W, most it carries */
  int points;         /* fuel a second by load, l/s, straight between; 0:
                         fuel_per_joule */
  double load[AMP_FUEL_POINTS], fuel[AMP_FUEL_POINTS]; /* W, l/s */
  double fuel_per_joule; /* l/J */
  double fuel_price;     /* a litre, in year 1 */
  double fuel_rise;      /* 0.03: each year 3 % more than the one before */
  double run_time;    /* s a day it runs, at even load; NaN: whenever there is
                         a load */
  double overhaul_time, overhaul; /* s of running, money; NaN: none */
  double life_time;   /* s of running, then replaced; NaN: see 'life' */
  /* battery */
  double usable;      /* J at its terminals, between its limits */
  double round_trip;  /* AC to AC, 0..1 */
  amp_basis basis;    /* the worst that its physics rests on; prices: none */
  int spreads;        /* drawn; the doubles hold their middles */
  amp_alternative_spread spread[AMP_ALTERNATIVE_SPREADS];
} amp_alternative;

/* A load in brief, looked at once for all draws: so many W for so many
** seconds, so many J on so many days, each number once or a few times. */
typedef struct amp_load_part {
  double value, times;
} amp_load_part;

typedef struct amp_load_brief {
  size_t room, levels, days;
  amp_load_part *level, *day; /* [room]; W for s, J for days */
  double time, active;        /* s in all; days with the load on */
} amp_load_brief;

/* The AC load, the DC load where there is none. AMP_ENOMEM. */
amp_status amp_load_brief_make (const amp_context *ctx, const amp_duty *duty,
                                amp_load_brief *out, amp_error *err);
void amp_load_brief_free (const amp_context *ctx, amp_load_brief *b);

/* What is asked of it. */
typedef struct amp_alternative_ask {
  const amp_duty *duty;
  const amp_load_brief *brief; /* of the duty; amp_alternative_cost has its
                                  own */
  double efficiency;  /* of the inverter: a battery's limit */
  double horizon;     /* years, whole ones count */
  double rate;
  double tariff;      /* per J of the grid, where the load falls; NaN: none */
  double charge_price; /* per J bought to charge; 0: free */
  double rise;        /* of the tariff a year, 0.03; */
  bool charge_rises;  /* of the charge_price too */
  double load;        /* times the duty's load; 0: as it is */
} amp_alternative_ask;

/* What a year of it takes, before any price. */
typedef struct amp_alternative_year {
  double served, unserved; /* J at the load */
  double run_time, fuel;   /* s, l; generator */
} amp_alternative_year;

typedef struct amp_alternative_answer {
  int years;        /* that are counted */
  double first;     /* money at the start */
  double served;    /* J a year at the load */
  double unserved;  /* J a year */
  double run_time;  /* s a year; generator */
  double fuel;      /* l a year */
  double energy_cost; /* a year: bought, burnt, or charged */
  int life;         /* years until it is replaced; 0: not within them */
  int unused;       /* years of the last one left over at the end */
  double per_delivered; /* all that is paid, a battery's charging aside, not
                           discounted, per kWh */
  double levelised; /* per kWh */
  double present;   /* kWh, discounted */
  double per_year;  /* even payments a year, worth as much */
  bool spares;      /* not the grid itself, and a tariff is known: */
  amp_savings saves; /* against it */
  double saving;    /* the even payment a year that pays its price back */
} amp_alternative_answer;

/* AMP_EMISSING and AMP_ERANGE name the field; AMP_EREFUSED where the duty
** has no load, or the load is more than a generator carries. */
amp_status amp_alternative_cost (const amp_context *ctx,
                                 const amp_alternative *a,
                                 const amp_alternative_ask *ask,
                                 amp_alternative_answer *out, amp_error *err);

/* The same in two steps, for draws that share a year: the year depends on
** the duty, the load and usable, run_time, power and fuel alone. */
amp_status amp_alternative_year_of (const amp_alternative *a,
                                    const amp_alternative_ask *ask,
                                    amp_alternative_year *out,
                                    amp_error *err);
amp_status amp_alternative_money (const amp_alternative *a,
                                  const amp_alternative_ask *ask,
                                  const amp_alternative_year *year,
                                  amp_alternative_answer *out,
                                  amp_error *err);

/*
** Mean of the hourly prices as the AC load (the DC load where there is none)
** falls over the hours of the day; by 'hours' alone where it is given (even
** over those that are set). NaN where nothing falls anywhere.
*/
double amp_tariff_mean (const double price[AMP_DAY_HOURS],
                        const amp_duty *duty,
                        const unsigned char hours[AMP_DAY_HOURS]);

#endif
