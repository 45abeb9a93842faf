/*
** listing.h -- adverts: the fields of one row as somebody typed them, read
** into numbers, and what is missing or contradicts, by name, the most
** decisive first. A remark never gives a number to a sum: what it says is
** asked. No physics; money in the currency of the row.
*/
#ifndef AMP_COST_LISTING_H
#define AMP_COST_LISTING_H

#include "cost/offer.h"
#include <stdbool.h>
#include <stddef.h>

typedef enum amp_listing_field {
  AMP_LIST_COUNT,
  AMP_LIST_PRICE, /* of what: see price_is */
  AMP_LIST_PRICE_IS,
  AMP_LIST_PREMIUM, /* percent, as all shares here */
  AMP_LIST_FREIGHT,
  AMP_LIST_HAZMAT,
  AMP_LIST_FEES,
  AMP_LIST_COLLECTION,
  AMP_LIST_CUSTOMS,
  AMP_LIST_TAX,
  AMP_LIST_TAX_RATE,
  AMP_LIST_CLAIM, /* "112 Ah", "92 % SoH", "94 Ah, 14.6 V, 2.2 kWh each" */
  AMP_LIST_TESTS, /* "97.2; 95.0; 88.1" */
  AMP_LIST_SOH,
  AMP_LIST_DUDS,
  AMP_LIST_BOS,
  AMP_LIST_BOS_MASS, /* kg */
  AMP_LIST_SEEN,     /* days since 1970-01-01 */
  AMP_LIST_REMARK,
  AMP_LIST_CAPACITY, /* Ah, V, kg and groups of a module that only the row */
  AMP_LIST_VOLTS,    /* knows */
  AMP_LIST_MASS,
  AMP_LIST_SERIES,
  AMP_LIST_PARALLEL,
  AMP_LIST_FIELDS
} amp_listing_field;

enum { AMP_LIST_TESTS_MOST = 32, AMP_LIST_FINDINGS = 24 };

/* What a doubt decides. */
typedef enum amp_decides {
  AMP_DECIDES_REFUSED, /* no offer can be made of the row */
  AMP_DECIDES_NO_SUM,  /* the offer stands, and has no sum until answered */
  AMP_DECIDES_SUM,     /* the sum is a lower bound until then */
  AMP_DECIDES_ENERGY,  /* the kWh are */
  AMP_DECIDES_LITTLE
} amp_decides;

typedef struct amp_doubt {
  const char *id;          /* static; of the registry of cautions */
  amp_decides decides;
  amp_listing_field field; /* where it was read */
  double a, b;             /* as the id says, NaN: none */
} amp_doubt;

/* What a remark speaks of. */
enum {
  AMP_SAYS_PREMIUM = 1, /* a premium, a fee of the auction */
  AMP_SAYS_UNTESTED = 2,
  AMP_SAYS_BEST = 4,  /* the best one was tested */
  AMP_SAYS_LOT = 8,   /* the price of the lot */
  AMP_SAYS_EACH = 16, /* the price of one */
  AMP_SAYS_ABOUT = 32,
  AMP_SAYS_DAMAGE = 64,
  AMP_SAYS_NO_DAMAGE = 128, /* some is denied, and none is said */
  AMP_SAYS_AGAIN = 256      /* that it is an advert seen before */
};

typedef struct amp_listing {
  double v[AMP_LIST_FIELDS]; /* NaN: not given */
  bool given[AMP_LIST_FIELDS]; /* anything stood there */
  amp_price price_is;
  bool price_is_known;
  int price_kinds; /* named beside the price: "140 each" is one */
  amp_price price_says; /* where one */
  double priced[3]; /* by amp_price, in a column of its own; NaN: none */
  amp_tax tax;
  double claim_ah, claim_v, claim_kwh, claim_soh; /* NaN: none */
  bool claim_of_lot; /* its kWh are of all modules together */
  bool untested;     /* said where the duds stand */
  char money[4];     /* "EUR" beside a sum; "": none */
  bool money_priced; /* beside the price; else it is that of another cell: */
  amp_listing_field money_beside;
  int tests;
  double test[AMP_LIST_TESTS_MOST]; /* Ah */
  unsigned says;
  double says_premium; /* NaN: no number */
  int findings;
  amp_doubt finding[AMP_LIST_FINDINGS]; /* sorted by amp_listing_close */
} amp_listing;

/* What is known of the module that a row names. NaN: not known. */
typedef struct amp_listing_module {
  double ah, v, kwh;
} amp_listing_module;

void amp_listing_open (amp_listing *l);

/* Take one field. 'decimal': '.', ',' or 0 where nobody said. What cannot be
** read becomes a finding. */
void amp_listing_take (amp_listing *l, amp_listing_field field,
                       const char *text, char decimal);

/* The price in a column of its own: price_each, price_lot, price_per_kwh.
** Several may stand there where they agree. */
void amp_listing_take_price (amp_listing *l, amp_price is, const char *text,
                             char decimal);

/* Add a finding of the caller's; a second of one name and field is dropped. */
void amp_listing_find (amp_listing *l, const char *id, amp_decides decides,
                       amp_listing_field field, double a, double b);

/* What is missing, and what contradicts within the row. */
void amp_listing_check (amp_listing *l, const amp_listing_module *m);

/* Can no offer be made of it? */
bool amp_listing_refused (const amp_listing *l);

/* Do the numbers of both agree, those that are missing too? Then they may be
** one advert: that is for their cells to say, see amp_cell_alike. */
bool amp_listing_alike (const amp_listing *a, const amp_listing *b);

/*
** Prices against each other: per_kwh[n] as stated, in one currency (NaN:
** none). Where a row stands far off the middle of the others and would not
** if its price were read of the lot instead of each (or the reverse):
** price_lot_and_each_disagree, which leaves no sum; else price_far_off, which
** is asked. Fewer than four prices say nothing.
*/
void amp_listings_compare_prices (amp_listing *l, const double *per_kwh,
                                  size_t n);

/* Days since it was seen, at 'as_of': advert_old above 30 (common practice,
** no source), price_without_date where there is none. */
void amp_listing_age (amp_listing *l, double as_of);

/* Sort the findings: what decides most first, in the order they were found. */
void amp_listing_close (amp_listing *l);

#endif
