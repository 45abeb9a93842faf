/*
** offer.h -- what an offer costs until it stands at the gate (landed), the
** bid that meets a target, and how many of its modules will be accepted.
** One draw: plain numbers. Money in one currency, mass in kg, energy in
** kWh. No physics. Formulas F1-F5 of docs/model/cost.md.
*/
#ifndef AMP_COST_OFFER_H
#define AMP_COST_OFFER_H

#include "base/error.h"
#include <stdbool.h>

enum { AMP_TIERS = 8, AMP_LANDED_LINES = 16 };

typedef enum amp_tax { AMP_TAX_UNKNOWN, AMP_TAX_INCLUDED, AMP_TAX_EXCLUDED,
                       AMP_TAX_NONE } amp_tax;
typedef enum amp_price { AMP_PRICE_LOT, AMP_PRICE_EACH, AMP_PRICE_PER_KWH }
  amp_price;

/* Premium: 'rate' on the part of the hammer price above 'from'. */
typedef struct amp_tier {
  double from, rate;
} amp_tier;

typedef struct amp_offer {
  int count;          /* modules delivered */
  amp_price price_is;
  double price;       /* as price_is says */
  double kwh_each;    /* nameplate kWh of a module, for AMP_PRICE_PER_KWH */
  int tiers;          /* 0: no premium */
  amp_tier tier[AMP_TIERS];
  double freight, hazmat, fees; /* inside the tax base when tax excluded */
  double collection;  /* own trip, outside tax */
  double customs;     /* rate on goods + premium + freight; 0: none */
  amp_tax tax;
  double tax_rate;    /* 0.2 for 20 % */
  double to_currency; /* times this gives the currency of the answer; 1 */
} amp_offer;

typedef struct amp_landed_line {
  const char *what; /* static: "goods", "premium", "freight", ... */
  double amount;
} amp_landed_line;

typedef struct amp_landed {
  double total;
  int lines;
  amp_landed_line line[AMP_LANDED_LINES]; /* add up to total */
} amp_landed;

/* AMP_EMISSING when the tax status is not known; AMP_ERANGE names field. */
amp_status amp_offer_check (const amp_offer *o, amp_error *err);
amp_status amp_offer_landed (const amp_offer *o, amp_landed *out,
                             amp_error *err);

/*
** The price (same price_is as the offer) at which landed + 'added' (BOS,
** carriage, outside tax) comes to target * kwh. May be negative: then no bid
** is low enough. Inverts amp_offer_landed itself, tiers and customs too.
*/
amp_status amp_bid_ceiling (const amp_offer *o, double target, double kwh,
                            double added, double *price, amp_error *err);

/* Median accepted number of 'count' modules each a dud with chance 'dud',
** rounded down to whole strings of 'series' modules. */
int amp_modules_in_use (int count, double dud, int series);

#endif
