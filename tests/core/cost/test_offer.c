/*
** test_offer.c -- landed cost and bid ceiling against sums done by hand for
** invented offers, and the way back from the ceiling to the landed cost.
*/
#include "support/close.h"
#include "cost/offer.h"
#include "base/sample.h"
#include <string.h>

static double landed (const amp_offer *o) {
  amp_landed l;
  double sum = 0.0;
  assert_int_equal(amp_offer_landed(o, &l, NULL), AMP_OK);
  assert_true(l.lines >= 1 && l.lines <= AMP_LANDED_LINES);
  for (int i = 0; i < l.lines; i++)
    sum += l.line[i].amount;
  assert_close(sum, l.total, 0.0); /* the lines add up */
  return l.total;
}

static amp_offer plain (int count, amp_price is, double price) {
  return (amp_offer){.count = count,
                     .price_is = is,
                     .price = price,
                     .tax = AMP_TAX_NONE,
                     .to_currency = 1.0};
}

/* H1: lot 2950, premium 15 %, pallet 260, ADR 85, tax 20 % on everything. */
static amp_offer hut_nickel (void) {
  amp_offer o = plain(12, AMP_PRICE_LOT, 2950);
  o.tiers = 1;
  o.tier[0] = (amp_tier){.from = 0, .rate = 0.15};
  o.freight = 260;
  o.fees = 85;
  o.tax = AMP_TAX_EXCLUDED;
  o.tax_rate = 0.20;
  return o;
}

/* C1: hammer 1480, premium 12 %, VAT 20 % on both, 310 miles at 0.45. */
static amp_offer store_auction (void) {
  amp_offer o = plain(16, AMP_PRICE_LOT, 1480);
  o.tiers = 1;
  o.tier[0] = (amp_tier){.from = 0, .rate = 0.12};
  o.collection = 310 * 0.45;
  o.tax = AMP_TAX_EXCLUDED;
  o.tax_rate = 0.20;
  return o;
}

/* (2950 x 1.15 + 260 + 85) x 1.20 = 4485.00, line by line. */
static void hut_offer_lands_at_4485 (void **state) {
  static const struct {
    const char *what;
    double amount;
  } want[] = {{"goods", 2950},
              {"premium", 442.5},
              {"freight", 260},
              {"fees", 85},
              {"tax", 747.5}};
  amp_offer o = hut_nickel();
  amp_landed l;
  (void)state;
  assert_int_equal(amp_offer_landed(&o, &l, NULL), AMP_OK);
  assert_close(l.total, 4485.00, 1e-9);
  assert_int_equal(l.lines, (int)LEN(want));
  for (size_t i = 0; i < LEN(want); i++) {
    assert_string_equal(l.line[i].what, want[i].what);
    assert_close(l.line[i].amount, want[i].amount, 1e-9);
  }
}

/* Tax included or none: R1, R2, R3 of the radio mast; H2, H3 of the hut;
** C2 of the cold store. */
static void untaxed_offers_are_plain_sums (void **state) {
  amp_offer o = plain(6, AMP_PRICE_EACH, 140);
  (void)state;
  o.freight = 210;
  o.hazmat = 45;
  assert_close(landed(&o), 1095, 1e-9);
  o = plain(8, AMP_PRICE_EACH, 155);
  o.freight = 265;
  o.hazmat = 45;
  assert_close(landed(&o), 1550, 1e-9);
  o = plain(8, AMP_PRICE_EACH, 168);
  o.freight = 120;
  assert_close(landed(&o), 1464, 1e-9);
  o = plain(8, AMP_PRICE_EACH, 318);
  o.tax = AMP_TAX_INCLUDED;
  o.tax_rate = 0.2; /* inside already: adds nothing */
  assert_close(landed(&o), 2544, 1e-9);
  o = plain(3, AMP_PRICE_EACH, 1060);
  assert_close(landed(&o), 3180, 1e-9);
  o = plain(10, AMP_PRICE_EACH, 215);
  o.tax = AMP_TAX_INCLUDED;
  o.freight = 95;
  o.hazmat = 40;
  assert_close(landed(&o), 2285, 1e-9);
}

/* 1480 x 1.12 x 1.20 + 139.50 = 2128.62: the own trip is not taxed. */
static void auction_lot_lands_at_2128_62 (void **state) {
  amp_offer o = store_auction();
  (void)state;
  assert_close(landed(&o), 2128.62, 1e-9);
}

/* By hand: 72 per kWh of 10 x 2.8616 kWh (25.55 V x 112 Ah) = 2060.352. */
static void price_per_kwh_counts_the_nameplate (void **state) {
  amp_offer o = plain(10, AMP_PRICE_PER_KWH, 72);
  amp_error err;
  (void)state;
  assert_int_equal(amp_offer_check(&o, &err), AMP_EMISSING);
  assert_string_equal(err.field, "kwh_each");
  o.kwh_each = 25.55 * 112 / 1000;
  assert_close(landed(&o), 2060.352, 1e-9);
}

/* By hand: premium 15 % of the first 500 and 10 % of the next 500 = 125;
** customs 4 % of 1000 + 125 + 200 = 53; tax 20 % of 1000 + 125 + 200 + 50
** + 30 + 53 = 291.60; own trip 40: 1789.60, at 0.88 1574.848. */
static void tiers_customs_and_rate_by_hand (void **state) {
  amp_offer o = plain(4, AMP_PRICE_EACH, 250);
  (void)state;
  o.tiers = 2;
  o.tier[0] = (amp_tier){.from = 0, .rate = 0.15};
  o.tier[1] = (amp_tier){.from = 500, .rate = 0.10};
  o.freight = 200;
  o.hazmat = 50;
  o.fees = 30;
  o.collection = 40;
  o.customs = 0.04;
  o.tax = AMP_TAX_EXCLUDED;
  o.tax_rate = 0.20;
  assert_close(landed(&o), 1789.60, 1e-9);
  o.to_currency = 0.88;
  assert_close(landed(&o), 1574.848, 1e-9);
}

/* C1 at 150 per usable kWh, SoH assumed 85 %: 15 modules of 14.6 V x 94 Ah,
** window 18.0 .. 93.846 %; BOS 520: 990.5 hammer. And put back. */
static void bid_ceiling_of_the_auction_lot (void **state) {
  amp_offer o = store_auction();
  double kwh = 15 * 14.6 * 94 / 1000 * 0.85 * (0.9384615 - 0.18), price;
  (void)state;
  assert_close(kwh, 13.27, 0.005);
  assert_int_equal(amp_bid_ceiling(&o, 150, kwh, 520, &price, NULL), AMP_OK);
  assert_close(price, 990.5, 0.05);
  /* the closed form of F3, tax excluded and one rate */
  assert_close(price, (150 * kwh - 520 - 139.50) / 1.20 / 1.12, 1e-9);
  o.price = price;
  assert_close((landed(&o) + 520) / kwh, 150, 1e-9);
  assert_int_equal(amp_bid_ceiling(&o, 150, 4, 520, &price, NULL), AMP_OK);
  assert_true(price < 0); /* 600 does not pay BOS and trip: no bid will do */
}

static double random_of (uint64_t *k, double lo, double hi) {
  return lo + (hi - lo) * amp_uniform(20260701, 3, (*k)++);
}

static amp_offer random_offer (uint64_t *k) {
  amp_offer o =
      plain((int)random_of(k, 1, 40), (amp_price)(int)random_of(k, 0, 3), 0);
  double from = 0;
  o.kwh_each = random_of(k, 0.5, 6);
  o.tiers = (int)random_of(k, 0, AMP_TIERS + 1);
  for (int i = 0; i < o.tiers; i++) {
    o.tier[i].from =
        from +
        (random_of(k, 0, 1) < 0.5 && i == 0 ? 0 : random_of(k, 1, 1500));
    o.tier[i].rate = random_of(k, 0, 0.4);
    from = o.tier[i].from;
  }
  o.freight = random_of(k, 0, 500);
  o.hazmat = random_of(k, 0, 100);
  o.fees = random_of(k, 0, 100);
  o.collection = random_of(k, 0, 300);
  o.customs = random_of(k, 0, 1) < 0.5 ? 0 : random_of(k, 0, 0.2);
  o.tax = (amp_tax)(1 + (int)random_of(k, 0, 3));
  o.tax_rate = random_of(k, 0, 0.3);
  o.to_currency = random_of(k, 0.1, 10);
  return o;
}

/* Any offer, tiers, customs, currency and kind of price: the price found,
** put in, lands where the target asks, and a given price is found again. */
static void ceiling_and_landed_cost_are_inverse (void **state) {
  uint64_t k = 0;
  int met = 0;
  (void)state;
  for (int i = 0; i < 5000; i++) {
    amp_offer o = random_offer(&k);
    double kwh = random_of(&k, 1, 40), added = random_of(&k, 0, 900);
    double target = random_of(&k, 1, 2000), price, again;
    assert_int_equal(amp_bid_ceiling(&o, target, kwh, added, &price, NULL),
                     AMP_OK);
    amp_offer none = o;
    none.price = 0.0;
    if (landed(&none) + added > target * kwh) {
      assert_true(price < 0);
      continue;
    }
    o.price = fmax(price, 0.0); /* -1e-13 where it is just nothing */
    double total = landed(&o) + added;
    assert_close(total / (target * kwh), 1.0, 1e-11);
    assert_int_equal(
        amp_bid_ceiling(&o, total / kwh, kwh, added, &again, NULL), AMP_OK);
    assert_close(again, price, 1e-9 * (1 + price));
    met++;
  }
  assert_true(met > 2500);
}

/* A dearer price never lands cheaper. */
static void landed_cost_rises_with_the_price (void **state) {
  uint64_t k = 500000;
  (void)state;
  for (int i = 0; i < 1000; i++) {
    amp_offer o = random_offer(&k);
    o.price = random_of(&k, 0, 5000);
    double before = landed(&o);
    o.price += random_of(&k, 0.01, 100);
    assert_true(landed(&o) > before);
  }
}

static void refuse (const amp_offer *o, amp_status want, const char *field) {
  amp_landed l = {.total = 42};
  amp_error err = {.field = NULL};
  double price = 42;
  assert_int_equal(amp_offer_check(o, &err), want);
  assert_string_equal(err.field, field);
  assert_int_equal(amp_offer_landed(o, &l, NULL), want);
  assert_close(l.total, 42, 0);
  if (strcmp(field, "price") == 0)
    return; /* the ceiling seeks it and does not read it */
  assert_int_equal(amp_bid_ceiling(o, 1, 1, 0, &price, NULL), want);
  assert_close(price, 42, 0);
}

static void unknown_tax_is_missing_not_guessed (void **state) {
  amp_offer o = hut_nickel();
  (void)state;
  o.tax = AMP_TAX_UNKNOWN;
  refuse(&o, AMP_EMISSING, "tax");
}

static void wrong_offers_are_refused_by_their_field (void **state) {
  amp_offer o = hut_nickel();
  double price;
  (void)state;
  o.price = -245;
  refuse(&o, AMP_ERANGE, "price");
  o.price = (double)NAN;
  refuse(&o, AMP_ERANGE, "price");
  o = hut_nickel();
  o.count = 0;
  refuse(&o, AMP_ERANGE, "count");
  o = hut_nickel();
  o.tax_rate = 20; /* percent for a share */
  refuse(&o, AMP_ERANGE, "tax_rate");
  o = hut_nickel();
  o.tier[0].rate = 15;
  refuse(&o, AMP_ERANGE, "premium");
  o = hut_nickel();
  o.tiers = AMP_TIERS + 1;
  refuse(&o, AMP_ERANGE, "tiers");
  o.tiers = 2; /* the second step is not above the first */
  refuse(&o, AMP_EDATA, "premium_from");
  o = hut_nickel();
  o.freight = (double)INFINITY;
  refuse(&o, AMP_ERANGE, "freight");
  o = hut_nickel();
  o.to_currency = 0; /* no rate, no sum */
  refuse(&o, AMP_ERANGE, "to_currency");
  o = hut_nickel();
  assert_int_equal(amp_bid_ceiling(&o, (double)NAN, 1, 0, &price, NULL),
                   AMP_ERANGE);
}

/* Median of the binomial, rounded down to whole strings. 12 at 10 %: the
** chances of 12, 11, 10 good are 0.282, 0.377, 0.230, so the median is 11:
** 10 in strings of two. 8 at 2 %: 0.851 for all eight. */
static void modules_in_use_are_the_median_in_whole_strings (void **state) {
  (void)state;
  assert_int_equal(amp_modules_in_use(12, 0.10, 1), 11);
  assert_int_equal(amp_modules_in_use(12, 0.10, 2), 10);
  assert_int_equal(amp_modules_in_use(8, 0.02, 2), 8);
  assert_int_equal(amp_modules_in_use(3, 0.0, 1), 3);
  assert_int_equal(amp_modules_in_use(16, 0.0, 3), 15);
  assert_int_equal(amp_modules_in_use(12, 1.0, 1), 0);
  assert_int_equal(amp_modules_in_use(1, 0.2, 2), 0);
  assert_int_equal(amp_modules_in_use(12, (double)NAN, 1), 0);
  assert_int_equal(amp_modules_in_use(12, 0.1, 0), 0);
  /* median against the summed chances: at most half lie below it */
  for (int n = 1; n <= 60; n++)
    for (double q = 0.05; q < 1; q += 0.05) {
      int k = amp_modules_in_use(n, q, 1);
      assert_true(amp_binomial_at_least(n, k, 1 - q) >= 0.5 - 1e-12);
      assert_true(amp_binomial_at_least(n, k + 1, 1 - q) <= 0.5 + 1e-12);
    }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(hut_offer_lands_at_4485),
      cmocka_unit_test(untaxed_offers_are_plain_sums),
      cmocka_unit_test(auction_lot_lands_at_2128_62),
      cmocka_unit_test(price_per_kwh_counts_the_nameplate),
      cmocka_unit_test(tiers_customs_and_rate_by_hand),
      cmocka_unit_test(bid_ceiling_of_the_auction_lot),
      cmocka_unit_test(ceiling_and_landed_cost_are_inverse),
      cmocka_unit_test(landed_cost_rises_with_the_price),
      cmocka_unit_test(unknown_tax_is_missing_not_guessed),
      cmocka_unit_test(wrong_offers_are_refused_by_their_field),
      cmocka_unit_test(modules_in_use_are_the_median_in_whole_strings),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
