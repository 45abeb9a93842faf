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

/* By hand, a salvage auction: fees by band of the hammer price, 100 up to
** 500, 160 up to 1000, then 10 % of the whole, at least 150: 500 -> 150 (the
** minimum), 500.01 -> 160, 1000 -> 160, 1200 -> 120, so 150. */
static void bands_and_a_minimum_by_hand (void **state) {
  static const double want[][2] = {
      {500, 650}, {500.01, 660.01}, {1000, 1160}, {1200, 1350}, {2000, 2200}};
  amp_offer o = plain(4, AMP_PRICE_LOT, 0);
  double price;
  (void)state;
  o.premium_whole = true;
  o.premium_min = 150;
  o.tiers = 3;
  o.tier[0] = (amp_tier){.from = 0, .fixed = 100};
  o.tier[1] = (amp_tier){.from = 500, .fixed = 160};
  o.tier[2] = (amp_tier){.from = 1000, .rate = 0.10};
  for (size_t i = 0; i < LEN(want); i++) {
    o.price = want[i][0];
    assert_close(landed(&o), want[i][1], 1e-9);
  }
  /* 655 lies in the jump at 500: bid 500, no more */
  assert_int_equal(amp_bid_ceiling(&o, 655, 1, 0, &price, NULL), AMP_OK);
  assert_close(price, 500, 1e-9);
  /* 1155 is met by 995 + 160 and by 1005 + 150: the higher bid */
  assert_int_equal(amp_bid_ceiling(&o, 1155, 1, 0, &price, NULL), AMP_OK);
  assert_close(price, 1005, 1e-9);
  assert_int_equal(amp_bid_ceiling(&o, 149, 1, 0, &price, NULL), AMP_OK);
  assert_close(price, -1, 1e-9); /* the minimum alone is above it */
}

/* By hand: 9 modules of 43 kg, a pallet carries 200: four on each, so 3
** pallets at 90 = 270; 387 kg at 0.5 = 193.50; goods 1000; customs 5 % of
** 1000 + 270 + 193.50 = 73.175; inland 60. Tax 20 % where the goods and the
** customs are excluded, the carriers' bills none: 20 % of 1073.175. */
static void freight_by_pallet_and_weight_by_hand (void **state) {
  amp_offer o = plain(9, AMP_PRICE_LOT, 1000);
  amp_error err = {.field = NULL};
  (void)state;
  o.per_pallet = 90;
  assert_int_equal(amp_offer_check(&o, &err), AMP_EMISSING);
  assert_string_equal(err.field, "pallets");
  o.pallet_mass = 200;
  assert_int_equal(amp_offer_check(&o, &err), AMP_EMISSING);
  assert_string_equal(err.field, "mass");
  o.mass_each = 43;
  assert_int_equal(amp_offer_pallets(&o), 3);
  assert_close(landed(&o), 1270, 1e-9);
  o.pallets = 2; /* the carrier says two */
  assert_close(landed(&o), 1180, 1e-9);
  o.pallets = 0;
  o.per_kg = 0.5;
  o.customs = 0.05;
  o.inland = 60;
  o.tax = AMP_TAX_EXCLUDED;
  o.tax_rate = 0.20;
  o.tax_of[AMP_STEP_FREIGHT] = o.tax_of[AMP_STEP_INLAND] = AMP_TAX_NONE;
  assert_close(landed(&o), 1463.50 + 73.175 + 60 + 0.2 * 1073.175, 1e-9);
}

/* Each line says what it was taken of; amount = base * rate. */
static void lines_tell_base_and_rate (void **state) {
  amp_offer o = hut_nickel();
  amp_landed l;
  (void)state;
  o.to_currency = 0.5;
  assert_int_equal(amp_offer_landed(&o, &l, NULL), AMP_OK);
  for (int i = 0; i < l.lines; i++)
    assert_close(l.line[i].base * l.line[i].rate, l.line[i].amount, 1e-9);
  assert_close(l.line[1].base, 1475, 1e-9); /* half of 2950 */
  assert_close(l.line[1].rate, 0.15, 1e-12);
  assert_close(l.line[4].base, 0.5 * 3737.50, 1e-9);
  assert_close(l.line[4].rate, 0.20, 0);
}

/* Not said of one line that costs something: missing, by its name. */
static void tax_is_asked_line_by_line (void **state) {
  amp_offer o = hut_nickel();
  amp_error err = {.field = NULL};
  (void)state;
  o.tax = AMP_TAX_UNKNOWN;
  o.tax_of[AMP_STEP_GOODS] = AMP_TAX_INCLUDED;
  assert_int_equal(amp_offer_check(&o, &err), AMP_EMISSING);
  assert_non_null(strstr(err.text, "premium"));
  o.tax_of[AMP_STEP_PREMIUM] = AMP_TAX_EXCLUDED;
  o.tax_of[AMP_STEP_FREIGHT] = AMP_TAX_NONE;
  assert_int_equal(amp_offer_check(&o, &err), AMP_EMISSING);
  assert_non_null(strstr(err.text, "fees"));
  o.tax_of[AMP_STEP_FEES] = AMP_TAX_NONE;
  assert_close(landed(&o), 2950 + 442.5 * 1.2 + 260 + 85, 1e-9);
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
  /* the closed form, tax excluded and one rate */
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
    o.tier[i].fixed = random_of(k, 0, 1) < 0.3 ? random_of(k, 0, 150) : 0;
    from = o.tier[i].from;
  }
  o.premium_whole = random_of(k, 0, 1) < 0.3;
  o.premium_min = random_of(k, 0, 1) < 0.3 ? random_of(k, 0, 200) : 0;
  o.per_kg = random_of(k, 0, 1) < 0.3 ? random_of(k, 0, 3) : 0;
  o.per_pallet = random_of(k, 0, 1) < 0.3 ? random_of(k, 0, 150) : 0;
  o.mass_each = random_of(k, 5, 60);
  o.pallet_mass = random_of(k, 60, 800);
  o.inland = random_of(k, 0, 1) < 0.3 ? random_of(k, 0, 300) : 0;
  for (int i = 0; i < AMP_STEP_TAX; i++)
    if (random_of(k, 0, 1) < 0.2)
      o.tax_of[i] = (amp_tax)(1 + (int)random_of(k, 0, 3));
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

/* Does the premium jump at 'price', or fall there? */
static bool steps_at (const amp_offer *o, double price) {
  amp_offer at = *o, above = *o;
  at.price = price;
  above.price = price * (1 + 1e-12) + 1e-12;
  return fabs(landed(&above) - landed(&at)) > 1e-6 * landed(&at);
}

/*
** Any offer, steps on the part or the whole, fixed money, a minimum, freight
** by weight and pallet, customs, tax line by line, currency, each kind of
** price: the price found, put in, lands where the target asks, a given price
** is found again, and where the premium jumps past the money the foot of the
** jump is found: within the target, and nothing above is.
*/
static void ceiling_and_landed_cost_are_inverse (void **state) {
  uint64_t k = 0;
  int met = 0, jumps = 0;
  (void)state;
  for (int i = 0; i < 8000; i++) {
    amp_offer o = random_offer(&k);
    double kwh = random_of(&k, 1, 40), added = random_of(&k, 0, 900);
    double target = random_of(&k, 1, 2000), price, again;
    assert_int_equal(amp_bid_ceiling(&o, target, kwh, added, &price, NULL),
                     AMP_OK);
    o.price = 0.0;
    if (price < 0) {
      assert_true(landed(&o) + added > target * kwh * (1 - 1e-12));
      continue;
    }
    o.price = price;
    double total = landed(&o) + added;
    if (fabs(total / (target * kwh) - 1.0) > 1e-11) {
      assert_true(total < target * kwh && steps_at(&o, price));
      jumps++;
      continue;
    }
    assert_int_equal(
        amp_bid_ceiling(&o, total / kwh, kwh, added, &again, NULL), AMP_OK);
    assert_close(again, price, 1e-9 * (1 + price));
    met++;
  }
  assert_true(met > 5000 && jumps > 50);
}

/* No price above the ceiling is within the target: on a fine grid. */
static void nothing_above_the_ceiling_meets_the_target (void **state) {
  uint64_t k = 900000;
  (void)state;
  for (int i = 0; i < 300; i++) {
    amp_offer o = random_offer(&k);
    double kwh = random_of(&k, 1, 40), target = random_of(&k, 1, 400), price;
    assert_int_equal(amp_bid_ceiling(&o, target, kwh, 0, &price, NULL),
                     AMP_OK);
    for (int j = 1; j < 400; j++) {
      o.price = fmax(price, 0.0) + 1e-6 + j * 5.0;
      assert_true(landed(&o) > target * kwh * (1 - 1e-12));
    }
  }
}

/* At each step of the premium itself, just under and just above it. */
static void the_edges_of_steps_come_back (void **state) {
  uint64_t k = 7700000;
  (void)state;
  for (int i = 0; i < 2000; i++) {
    amp_offer o = random_offer(&k);
    o.price_is = AMP_PRICE_LOT;
    o.premium_whole = false;
    for (int t = 0; t < o.tiers; t++)
      o.tier[t].fixed = 0.0;
    for (int t = 0; t < o.tiers; t++)
      for (int side = -1; side <= 1; side++) {
        double price = o.tier[t].from + side * 1e-3, found;
        if (price < 0)
          continue;
        o.price = price;
        assert_int_equal(amp_bid_ceiling(&o, landed(&o), 1, 0, &found, NULL),
                         AMP_OK);
        assert_close(found, price, 1e-8 * (1 + price));
      }
  }
}

/* A dearer price never lands cheaper. */
static void landed_cost_rises_with_the_price (void **state) {
  uint64_t k = 500000;
  (void)state;
  for (int i = 0; i < 1000; i++) {
    amp_offer o = random_offer(&k);
    o.premium_whole = false; /* a lower rate on the whole may cost less */
    for (int t = 0; t < o.tiers; t++)
      o.tier[t].fixed = 10.0 * t;
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
      cmocka_unit_test(bands_and_a_minimum_by_hand),
      cmocka_unit_test(freight_by_pallet_and_weight_by_hand),
      cmocka_unit_test(lines_tell_base_and_rate),
      cmocka_unit_test(tax_is_asked_line_by_line),
      cmocka_unit_test(bid_ceiling_of_the_auction_lot),
      cmocka_unit_test(ceiling_and_landed_cost_are_inverse),
      cmocka_unit_test(nothing_above_the_ceiling_meets_the_target),
      cmocka_unit_test(the_edges_of_steps_come_back),
      cmocka_unit_test(landed_cost_rises_with_the_price),
      cmocka_unit_test(unknown_tax_is_missing_not_guessed),
      cmocka_unit_test(wrong_offers_are_refused_by_their_field),
      cmocka_unit_test(modules_in_use_are_the_median_in_whole_strings),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
