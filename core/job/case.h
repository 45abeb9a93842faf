/*
** case.h -- one configuration taken all the way: from a module, a layout, a
** duty and a price to usable kWh, years, and costs per kWh, over draws of
** everything that is spread. Offers (job/compare.h) and sweeps
** (job/sweep.h) are lists of cases and share this path.
*/
#ifndef AMP_JOB_CASE_H
#define AMP_JOB_CASE_H

#include "base/context.h"
#include "base/value.h"
#include "cost/cash.h"
#include "cost/offer.h"
#include "life/ageing.h"
#include "pack/build.h"
#include "pack/module.h"
#include "run/simulate.h"

enum { AMP_CASE_MODELS = 8, AMP_CASE_PRICES = 12, AMP_CASE_LATER = 16 };

/* The life models asked for; each draw takes one of them in turn, so their
** spread is part of the answer. */
typedef struct amp_life_choice {
  int models; /* 0: none given */
  const amp_ageing *model[AMP_CASE_MODELS];
  amp_value calendar[AMP_CASE_MODELS]; /* RATES: 1/year, drawn */
  amp_value per_cycle[AMP_CASE_MODELS]; /* RATES: per EFC, drawn */
} amp_life_choice;

/* Numbers of a need that may be spread: one draw of each for every case and
** for whatever else would carry the load. */
typedef enum amp_term {
  AMP_TERM_DISCOUNT, /* 0.05 */
  AMP_TERM_CHARGE,   /* per kWh bought to charge */
  AMP_TERM_TARIFF,   /* per kWh from the grid, of year 1 */
  AMP_TERM_RISE,     /* of the grid's prices, each year on the one before */
  AMP_TERMS
} amp_term;

/* What is asked of every case alike. */
typedef struct amp_need {
  const amp_duty *duty;
  amp_converter converter;
  double v_abs_max;     /* V; 0: not given */
  double autonomy_days; /* wanted; NaN: not given */
  double horizon;       /* years */
  double discount;      /* 0.05 */
  double carry_per_kg;  /* money per kg of accepted modules and BOS */
  double charge_price;  /* per kWh bought to charge; NaN: free (sun) */
  amp_life_choice life; /* where neither offer nor module names one */
  bool spares;          /* each kWh at the load spares one of the grid's: */
  double tariff, rise;  /* its price in year 1; 0.03 for 3 % a year */
  bool charge_rises;    /* charge_price is the grid's, and rises alike */
  amp_value term[AMP_TERMS]; /* spreads; unset: the number above holds */
} amp_need;

/* A price that is spread: the double of amp_case that it is a spread of. */
typedef struct amp_price_spread {
  size_t at; /* offsetof(amp_case, offer.freight), .. */
  amp_value v;
  const char *name; /* static: of the key, for what is said of it */
} amp_price_spread;

/* One configuration. Exactly one of 'offer' (count, duds, price: draws the
** accepted modules) or a fixed layout with 'cost'. */
typedef struct amp_case {
  const amp_module *module;
  amp_value tested, soh; /* override the module's; unset: the module's */
  const amp_need *need;
  amp_life_choice life;  /* models 0: the need's */
  double soh_end;        /* NaN: the module's; none: years refused */
  double soc_min, soc_max, cell_v_min, cell_v_max; /* NaN: the module's */
  bool from_offer;
  amp_offer offer;       /* from_offer */
  amp_value dud;         /* 0..1; from_offer */
  double together;       /* 0..1, how far its duds come together: correlation
                            of any two modules; 1: all of the lot or none */
  uint64_t stream;       /* of its own luck: how many are duds. A hash of its
                            name, so that a what-if keeps it; 0: its place */
  double bos, bos_mass;  /* money outside tax; kg */
  double extra;          /* further costs at the start */
  int laters;            /* costs of later years, in the levelised cost alone:
                            of the whole years that a draw counts */
  amp_later_cost later[AMP_CASE_LATER];
  int series, parallel;  /* modules in a string, strings; not from_offer */
  const amp_build *build; /* of unequal modules, whose mean 'module' is; or
                             with wiring, fuses, heat. NULL: equal and bare;
                             not from_offer */
  double cost;           /* all of it; not from_offer */
  double residual;       /* money received at the end */
  bool bought_again;     /* when it is worn out before the horizon, */
  double again;          /* for so much, all of it */
  int prices;            /* that are spread; the doubles hold their middles */
  amp_price_spread price[AMP_CASE_PRICES];
} amp_case;

typedef struct amp_stat {
  double p50, p10, p90; /* NaN: refused. Never infinite: a quantile without
                           end is the largest number that has one, beyond */
  bool spread;          /* false: fixed, p10 = p90 = p50 */
  bool beyond, p10_beyond, p90_beyond; /* only a bound; of years: horizon */
  amp_basis basis;
} amp_stat;

typedef struct amp_case_result {
  amp_status status;     /* AMP_OK, or why.status */
  amp_error why;         /* the whole case is refused */
  int groups, modules_in_string, strings, used, count; /* at the median */
  double accepted_mean;  /* N (1 - p), not rounded */
  amp_window window;
  bool r_assumed, capacity_assumed; /* defaults that were taken */
  amp_landed landed;     /* from_offer; at the middle of prices */
  amp_stat goods;        /* landed, over the draws of prices */
  double nameplate;      /* J of all modules bought */
  amp_stat total;        /* with BOS and carriage */
  amp_stat tested, usable, delivered; /* J; J; J over life */
  amp_stat days;         /* autonomy without sun, usable / daily DC need of
                            the worst month */
  amp_stat unserved, curtailed, served; /* J a year, first year; curtailed
                            refused where the supply is as large as needed */
  amp_stat efc;          /* full cycles a year, DC out / tested */
  amp_stat soh_start;
  amp_stat years;        /* to soh_end */
  amp_error years_why;   /* when years are refused */
  amp_stat per_nameplate, per_accepted, per_usable, per_delivered, levelised;
  double levelised_life; /* median without a horizon, at most AMP_LIFE_YEARS;
                            by the first 512 draws; NaN: not given */
  amp_stat life_by_model[AMP_CASE_MODELS]; /* years, each model alone */
  unsigned outside;      /* AMP_OUTSIDE_.. of the models used */
  double cheapest;       /* share of draws with the lowest levelised cost */
  double energy_residual; /* largest, relative to energy moved */
  /* Where duty or resistance are spread, so many draws of some cases of a
  ** list were simulated in full, and there the years put together differ at
  ** most by these shares; checked 0: none was. */
  int checked, simulated; /* draws; points of the grid */
  double check_served, check_levelised;
  /* Of what the supply serves by itself nothing is owed to a battery: */
  double alone;          /* J a year, load and sun at their middle */
  amp_stat added;        /* levelised over the kWh beyond it; the same as
                            levelised where it is 0 */
  /* Over the years counted: whole ones, at least one, at most the horizon's */
  amp_stat counted;      /* these years */
  amp_stat per_year;     /* equal payments a year of them that are worth as
                            much as all that is paid and received */
  amp_stat over_horizon; /* levelised, bought again for 'again' until the
                            horizon; refused unless bought_again */
  /* Against the tariff, where the need has one; of the kWh beyond 'alone': */
  amp_stat npv, saving;  /* in all, discounted; the even payment a year that
                            it pays back its price with */
  amp_stat break_even;   /* years, of its price; never: infinite */
  double saves;          /* share of draws with npv > 0 */
  double paid, paid_late; /* with a break-even within the years counted;
                             within the horizon */
  double energy_present; /* kWh over the whole years, discounted; median: one
                            more in cost is 1/this more levelised */
} amp_case_result;

typedef struct amp_ask {
  size_t draws; /* >= 1 */
  uint64_t seed;
  bool by_added; /* 'cheapest' counts cost by 'added', not by 'levelised' */
} amp_ask;

/*
** Take n cases all the way. Cases are simulated together per duty; each
** distinct layout and duty draw at several states of health as lanes.
** result[n] is filled; a case that cannot be answered is refused alone.
*/
amp_status amp_cases (const amp_context *ctx, const amp_case *cases,
                      size_t n, const amp_ask *ask, amp_case_result *result,
                      amp_error *err);

/* What turns the order: for the two cheapest (levelised P50) of 'result',
** the change of price per module of the first at which they trade places,
** solved on the cost functions. AMP_EREFUSED when there is no such. */
amp_status amp_case_flip (const amp_case *cases,
                          const amp_case_result *result, size_t n,
                          size_t *first, size_t *second, double *per_module,
                          amp_error *err);

/* What may be spread, by its place in the case. */
typedef enum amp_case_input {
  AMP_IN_DUD,
  AMP_IN_LABEL,  /* nameplate of the module */
  AMP_IN_TESTED,
  AMP_IN_SOH,
  AMP_IN_R,
  AMP_IN_LOAD,
  AMP_IN_SUN,
  AMP_IN_SHIFT,
  AMP_IN_CALENDAR, /* one a model, from here on */
  AMP_IN_CYCLE = AMP_IN_CALENDAR + AMP_CASE_MODELS,
  AMP_IN_PRICE = AMP_IN_CYCLE + AMP_CASE_MODELS,
  AMP_IN_TERM = AMP_IN_PRICE + AMP_CASE_PRICES, /* of the need */
  AMP_IN_COUNT = AMP_IN_TERM + AMP_TERMS
} amp_case_input;

enum { AMP_INPUTS = 2 * AMP_IN_COUNT };

/*
** One input of the two cheapest, held at a number while all else is drawn.
** 'moves': by how much the difference of their levelised medians changes
** when it goes from its P10 to its P90; 0 where it has no spread.
*/
typedef struct amp_case_lever {
  amp_case_input in;
  bool of_first, of_second; /* who uses it: one value object may be both's */
  amp_value v;              /* as its first user has it; SI */
  double p10, p90;
  double gap_p10, gap_p90;  /* second less first, it held there */
  double moves;
  double flips_at; /* where both cost the same, solved; NaN: nowhere within
                      its limits, or not asked */
} amp_case_lever;

typedef struct amp_case_levers {
  size_t first, second; /* the two cheapest */
  size_t draws;         /* that medians rest on */
  int n;                /* the one that moves most comes first */
  amp_case_lever lever[AMP_INPUTS];
} amp_case_levers;

/*
** What moves the order of the two cheapest of 'result', the largest first,
** and where it flips: solved for the first of the list and, where an offer
** gave a share of duds without spread, for the cheapest one's. Medians rest on
** at most 1,000 draws, the ranking on 300. AMP_EREFUSED: fewer than two have a cost.
*/
amp_status amp_case_levers_of (const amp_context *ctx, const amp_case *cases,
                               const amp_case_result *result, size_t n,
                               const amp_ask *ask, amp_case_levers *out,
                               amp_error *err);

/* Per active day of the worst month: AC load, DC need with efficiency and
** idle, supply; J. month -1 when there is no supply at all. */
typedef struct amp_worst_month {
  int month;
  double load, need, supply;
  double days;
  bool alike; /* a day of each of several months asks and gets the same */
} amp_worst_month;
amp_worst_month amp_need_worst_month (const amp_need *need);

#endif
