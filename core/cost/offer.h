/*
** offer.h -- what an offer costs until it stands at the gate (landed), the
** bid that meets a target, and how many of its modules will be accepted.
** One draw: plain numbers. Money in one currency, mass in kg, energy in
** kWh. No physics. Formulas: docs/model/cost.md.
*/
#ifndef AMP_COST_OFFER_H
#define AMP_COST_OFFER_H

#include "base/error.h"
#include <stdbool.h>

enum { AMP_TIERS = 16, AMP_LANDED_LINES = 16 };

typedef enum amp_tax { AMP_TAX_UNKNOWN, AMP_TAX_INCLUDED, AMP_TAX_EXCLUDED,
                       AMP_TAX_NONE } amp_tax;
typedef enum amp_price { AMP_PRICE_LOT, AMP_PRICE_EACH, AMP_PRICE_PER_KWH }
  amp_price;

/* Premium above the hammer price 'from': 'rate' on the part up to the next
** step (or on the whole price, see amp_offer), and 'fixed' money in place of
** that of the steps below. At 'from' itself the step before still holds. */
typedef struct amp_tier {
  double from, rate, fixed;
} amp_tier;

/* The lines of a landed cost, in the order in which they are added. */
typedef enum amp_step {
  AMP_STEP_GOODS,
  AMP_STEP_PREMIUM,
  AMP_STEP_FREIGHT,
  AMP_STEP_BY_WEIGHT, /* freight per kg */
  AMP_STEP_PALLETS,   /* freight per pallet */
  AMP_STEP_CUSTOMS,
  AMP_STEP_INLAND,    /* freight behind the border */
  AMP_STEP_HAZMAT,
  AMP_STEP_FEES,
  AMP_STEP_TAX,
  AMP_STEP_COLLECTION,
  AMP_STEPS
} amp_step;

typedef struct amp_offer {
  int count;          /* modules delivered */
  amp_price price_is;
  double price;       /* as price_is says */
  double kwh_each;    /* nameplate kWh of a module, for AMP_PRICE_PER_KWH */
  int tiers;          /* 0: no premium in steps */
  amp_tier tier[AMP_TIERS];
  bool premium_whole; /* a step's rate is paid on the whole hammer price */
  double premium_min; /* least premium */
  double freight;     /* to the border where customs are due, else all */
  double per_kg, mass_each;       /* freight; kg of a module, NaN: unknown */
  double per_pallet, pallet_mass; /* freight; kg a pallet carries, 0: none */
  int pallets;        /* 0: by weight, from pallet_mass */
  double inland;      /* freight behind the border, outside customs */
  double hazmat, fees;
  double collection;  /* own trip, outside tax */
  double customs;     /* rate on goods + premium + freight; 0: none */
  amp_tax tax;
  amp_tax tax_of[AMP_STEPS]; /* of single lines; UNKNOWN: as 'tax' says */
  double tax_rate;    /* 0.2 for 20 % */
  double to_currency; /* times this gives the currency of the answer; 1 */
} amp_offer;

/* amount = base * rate, but for a minimum and for premiums in steps: there
** 'rate' is what they come to. */
typedef struct amp_landed_line {
  const char *what; /* static: "goods", "premium", "freight", ... */
  amp_step step;
  double amount, base, rate;
} amp_landed_line;

typedef struct amp_landed {
  double total;
  int lines;
  amp_landed_line line[AMP_LANDED_LINES]; /* add up to total */
} amp_landed;

const char *amp_step_name (amp_step step);

/* AMP_EMISSING when a tax status, the mass behind a freight by weight or the
** number of pallets is not known; AMP_ERANGE names the field. */
amp_status amp_offer_check (const amp_offer *o, amp_error *err);
amp_status amp_offer_landed (const amp_offer *o, amp_landed *out,
                             amp_error *err);

/* Pallets that are paid for; 0 where none are. */
int amp_offer_pallets (const amp_offer *o);

/*
** The highest price (same price_is as the offer) at which landed + 'added'
** (BOS, carriage, outside tax) is not above target * kwh: equal to it, but
** where a fixed step of the premium jumps over it. May be negative: then no
** bid is low enough. Inverts amp_offer_landed itself, steps and customs too.
*/
amp_status amp_bid_ceiling (const amp_offer *o, double target, double kwh,
                            double added, double *price, amp_error *err);

/* Median accepted number of 'count' modules each a dud with chance 'dud',
** rounded down to whole strings of 'series' modules. */
int amp_modules_in_use (int count, double dud, int series);

#endif
