/*
** test_listing.c -- one advert: each thing that is missing or contradicts is
** found by its name, and its opposite is not. Invented.
*/
#include "support/close.h"
#include "support/often.h"
#include "cost/listing.h"
#include "base/sample.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

static const amp_listing_module pouch = {112, 25.55, 25.55 * 112 / 1000};

typedef struct cell {
  amp_listing_field field;
  const char *text;
} cell;

/* A whole advert, with one field changed; ends with text NULL. */
static amp_listing advert (const cell *changes) {
  static const cell plain[] = {
      {AMP_LIST_COUNT, "12"},      {AMP_LIST_PRICE, "245"},
      {AMP_LIST_PRICE_IS, "each"}, {AMP_LIST_FREIGHT, "260"},
      {AMP_LIST_TAX, "included"},  {AMP_LIST_CLAIM, "112 Ah, 84 %"},
      {AMP_LIST_DUDS, "5 %"},      {AMP_LIST_SEEN, "2026-06-28"}};
  amp_listing l;
  amp_listing_open(&l);
  for (size_t i = 0; i < LEN(plain); i++) {
    const char *text = plain[i].text;
    for (int k = 0; changes[k].text != NULL; k++)
      if (changes[k].field == plain[i].field)
        text = changes[k].text;
    amp_listing_take(&l, plain[i].field, text, 0);
  }
  for (int k = 0; changes[k].text != NULL; k++) {
    bool there = false;
    for (size_t i = 0; i < LEN(plain); i++)
      there = there || plain[i].field == changes[k].field;
    if (!there)
      amp_listing_take(&l, changes[k].field, changes[k].text, 0);
  }
  amp_listing_check(&l, &pouch);
  amp_listing_close(&l);
  return l;
}

static const amp_doubt *find (const amp_listing *l, const char *id) {
  for (int i = 0; i < l->findings; i++)
    if (strcmp(l->finding[i].id, id) == 0)
      return &l->finding[i];
  return NULL;
}

static amp_listing with (amp_listing_field field, const char *text) {
  const cell c[] = {{field, text}, {AMP_LIST_FIELDS, NULL}};
  return advert(c);
}

static void a_whole_advert_leaves_no_doubt (void **state) {
  amp_listing l = advert((const cell[]){{AMP_LIST_FIELDS, NULL}});
  (void)state;
  assert_int_equal(l.findings, 0);
  assert_close(l.v[AMP_LIST_PRICE], 245, 0);
  assert_int_equal(l.price_is, AMP_PRICE_EACH);
  assert_close(l.claim_soh, 84, 0);
  assert_close(l.v[AMP_LIST_DUDS], 5, 0);
}

/* field, text, name of the doubt, what it decides */
static void each_doubt_has_its_name (void **state) {
  static const struct {
    amp_listing_field field;
    const char *text, *id;
    amp_decides decides;
  } want[] = {
      {AMP_LIST_COUNT, "", "count_not_given", AMP_DECIDES_REFUSED},
      {AMP_LIST_COUNT, "2.5", "not_a_whole_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_COUNT, "0", "no_such_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "", "price_not_given", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "-245", "no_such_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "0", "no_such_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "2.480", "number_two_ways", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "245,5", "decimal_comma_not_told",
       AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "ask me", "price_not_given", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "~245", "number_only_about", AMP_DECIDES_SUM},
      {AMP_LIST_PRICE, "245 VB", "price_negotiable", AMP_DECIDES_LITTLE},
      {AMP_LIST_PRICE, "245-260", "number_is_a_range", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "12 x 245", "not_a_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE, "from 245", "not_a_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_COUNT, "a dozen", "count_not_given", AMP_DECIDES_REFUSED},
      {AMP_LIST_COUNT, "10 to 12", "number_is_a_range", AMP_DECIDES_REFUSED},
      {AMP_LIST_COUNT, "ca. 12", "count_only_about", AMP_DECIDES_SUM},
      {AMP_LIST_COUNT, "12+", "not_a_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_FREIGHT, "on request", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "not included", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free pickup", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free pickup in Lyon", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free collection", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free to collect", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free to port only", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "tax free", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "duty free", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "customs free", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free within 50 km", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free shipping to the port", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free?", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "delivery free, tax extra", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "free from 10 modules", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_FREIGHT, "90 per pallet", "freight_left_out",
       AMP_DECIDES_SUM},
      {AMP_LIST_CLAIM, "~90 %", "number_only_about", AMP_DECIDES_ENERGY},
      {AMP_LIST_CLAIM, "up to 90 %", "number_only_about", AMP_DECIDES_ENERGY},
      {AMP_LIST_CLAIM,
       "85\xe2\x80\x93"
       "95 %",
       "number_is_a_range", AMP_DECIDES_REFUSED},
      {AMP_LIST_DUDS, "< 5 %", "number_only_about", AMP_DECIDES_ENERGY},
      {AMP_LIST_PRICE_IS, "", "price_of_what", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE_IS, "each lot", "price_of_what", AMP_DECIDES_REFUSED},
      {AMP_LIST_PRICE_IS, "per kWh", "price_per_kwh_of_what",
       AMP_DECIDES_SUM},
      {AMP_LIST_TAX, "", "tax_not_known", AMP_DECIDES_NO_SUM},
      {AMP_LIST_TAX, "20 %", "tax_not_known", AMP_DECIDES_NO_SUM},
      {AMP_LIST_TAX, "included and excluded", "tax_not_known",
       AMP_DECIDES_NO_SUM},
      {AMP_LIST_TAX, "margin scheme", "tax_by_margin", AMP_DECIDES_REFUSED},
      {AMP_LIST_TAX, "excluded", "tax_rate_not_given", AMP_DECIDES_REFUSED},
      {AMP_LIST_FREIGHT, "", "freight_left_out", AMP_DECIDES_SUM},
      {AMP_LIST_CLAIM, "0.86", "fraction_for_percent", AMP_DECIDES_REFUSED},
      {AMP_LIST_CLAIM, "112", "claim_without_unit", AMP_DECIDES_REFUSED},
      {AMP_LIST_CLAIM, "112 Ah, 4 kWh", "capacity_and_energy_disagree",
       AMP_DECIDES_REFUSED},
      {AMP_LIST_CLAIM, "150 Ah", "label_disagrees", AMP_DECIDES_REFUSED},
      {AMP_LIST_CLAIM, "48 V", "label_disagrees", AMP_DECIDES_REFUSED},
      {AMP_LIST_CLAIM, "95 Ah", "label_disagrees", AMP_DECIDES_ENERGY},
      {AMP_LIST_CLAIM, "182 %", "no_such_number", AMP_DECIDES_REFUSED},
      {AMP_LIST_CLAIM, "112 Ah", "capacity_not_tested", AMP_DECIDES_ENERGY},
      {AMP_LIST_SOH, "60", "soh_given_twice", AMP_DECIDES_REFUSED},
      {AMP_LIST_TESTS, "97.2; 95.0; 88.1", "few_tests", AMP_DECIDES_ENERGY},
      {AMP_LIST_TESTS, "1 2 3 4 5 6 7 8 9 10 11 12 13",
       "more_tests_than_modules", AMP_DECIDES_REFUSED},
      {AMP_LIST_DUDS, "", "duds_not_given", AMP_DECIDES_ENERGY},
      {AMP_LIST_DUDS, "untested", "duds_zero_untested", AMP_DECIDES_ENERGY},
      {AMP_LIST_DUDS, "0.1", "fraction_for_percent", AMP_DECIDES_REFUSED},
      {AMP_LIST_SOH, "0.9", "fraction_for_percent", AMP_DECIDES_ENERGY},
      {AMP_LIST_SOH, "1", "fraction_for_percent", AMP_DECIDES_ENERGY},
      {AMP_LIST_SEEN, "5/6/2026", "date_not_read", AMP_DECIDES_LITTLE},
      {AMP_LIST_REMARK, "auction, premium 15 %", "premium_in_remark",
       AMP_DECIDES_SUM},
      {AMP_LIST_REMARK, "about ten", "count_only_about", AMP_DECIDES_SUM},
      {AMP_LIST_REMARK, "price of the lot?", "price_lot_and_each_disagree",
       AMP_DECIDES_REFUSED},
      {AMP_LIST_REMARK, "whole lot", "price_lot_and_each_disagree",
       AMP_DECIDES_REFUSED},
      {AMP_LIST_REMARK, "salt water car", "remark_of_damage",
       AMP_DECIDES_ENERGY},
      {AMP_LIST_REMARK, "car was crashed", "remark_of_damage",
       AMP_DECIDES_ENERGY},
      {AMP_LIST_REMARK, "no leak, from a broker", "damage_denied",
       AMP_DECIDES_LITTLE},
      {AMP_LIST_REMARK, "kein Schaden", "remark_to_read", AMP_DECIDES_LITTLE},
      {AMP_LIST_REMARK, "30 days return", "remark_to_read",
       AMP_DECIDES_LITTLE}};
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    amp_listing l = with(want[i].field, want[i].text);
    const amp_doubt *d = find(&l, want[i].id);
    if (d == NULL)
      fail_msg("'%s': no %s", want[i].text, want[i].id);
    assert_int_equal(d->decides, want[i].decides);
    assert_int_equal(amp_listing_refused(&l),
                     l.finding[0].decides == AMP_DECIDES_REFUSED);
  }
}

/* What people put around a number, and what it is: no doubt left. */
static void a_number_is_read_as_people_write_it (void **state) {
  static const struct {
    amp_listing_field field;
    const char *text;
    double v;
  } want[] = {{AMP_LIST_PRICE,
               "\xe2\x82\xac"
               "245",
               245},
              {AMP_LIST_PRICE, "245\xc2\xa0\xe2\x82\xac", 245},
              {AMP_LIST_PRICE,
               "1\xe2\x80\xaf"
               "680",
               1680},
              {AMP_LIST_PRICE, "245,- each", 245},
              {AMP_LIST_PRICE, "245 ea", 245},
              {AMP_LIST_PRICE,
               "\xc2\xa3"
               "245 each",
               245},
              {AMP_LIST_COUNT, "12x", 12},
              {AMP_LIST_COUNT, "12\tpcs", 12},
              {AMP_LIST_FREIGHT, "free", 0},
              {AMP_LIST_FREIGHT, "free delivery", 0},
              {AMP_LIST_FREIGHT, "Free shipping!", 0},
              {AMP_LIST_FREIGHT, "free freight", 0},
              {AMP_LIST_FREIGHT, "delivery free", 0},
              {AMP_LIST_FREIGHT, "included", 0},
              {AMP_LIST_FREIGHT, "shipping included", 0},
              {AMP_LIST_FREIGHT, "included in the price", 0},
              {AMP_LIST_FREIGHT, "free of charge", 0},
              {AMP_LIST_FREIGHT, "incl.", 0},
              {AMP_LIST_FREIGHT, "90\xe2\x82\xac", 90}};
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    amp_listing l = with(want[i].field, want[i].text);
    if (l.findings > 0)
      fail_msg("'%s': %s", want[i].text, l.finding[0].id);
    assert_close(l.v[want[i].field], want[i].v, 0.0);
  }
  assert_close(with(AMP_LIST_CLAIM, "90%+").claim_soh, 90, 0.0);
}

static void damage_that_is_denied_is_none (void **state) {
  (void)state;
  amp_listing l = with(AMP_LIST_REMARK, "not flooded, no swollen side");
  assert_null(find(&l, "remark_of_damage"));
  assert_non_null(find(&l, "damage_denied"));
  assert_null(find(&l, "remark_to_read"));
  l = with(AMP_LIST_REMARK, "no test: swollen");
  assert_non_null(find(&l, "remark_of_damage"));
  l = with(AMP_LIST_REMARK, "no leak, but swollen");
  assert_non_null(find(&l, "remark_of_damage"));
  assert_null(find(&l, "damage_denied"));
}

/* A remark that looks like a question and is none: nothing but a remark. */
static void words_beside_the_point_ask_nothing (void **state) {
  static const char *const list[] = {
      "no premium",      "premium cells",
      "without premium", "best offer wins",
      "best regards",    "ask about freight",
      "from Swellendam", "venting hose included",
      "ventilated",      "burnished finish",
      "trust me",        "never untested"};
  (void)state;
  for (size_t i = 0; i < LEN(list); i++) {
    amp_listing l = with(AMP_LIST_REMARK, list[i]);
    assert_int_equal(l.findings, 1);
    assert_string_equal(l.finding[0].id, "remark_to_read");
  }
}

/* What a remark says never becomes a number of the sum. */
static void a_remark_never_enters_a_sum (void **state) {
  amp_listing a = with(AMP_LIST_REMARK, "premium 15 %, freight 90, 8 % duds");
  amp_listing b = advert((const cell[]){{AMP_LIST_FIELDS, NULL}});
  (void)state;
  for (int i = 0; i < AMP_LIST_FIELDS; i++)
    assert_true(a.v[i] == b.v[i] || (isnan(a.v[i]) && isnan(b.v[i])));
  assert_close(find(&a, "premium_in_remark")->a, 15, 0);
  a = advert((const cell[]){{AMP_LIST_REMARK, "premium 15 %"},
                            {AMP_LIST_PREMIUM, "15"},
                            {AMP_LIST_FIELDS, NULL}});
  assert_null(find(&a, "premium_in_remark")); /* it is in its column */
}

static void phrases_are_read (void **state) {
  amp_listing l = with(AMP_LIST_TAX, "excl. 20 %");
  (void)state;
  assert_int_equal(l.tax, AMP_TAX_EXCLUDED);
  assert_close(l.v[AMP_LIST_TAX_RATE], 20, 0);
  assert_int_equal(with(AMP_LIST_TAX, "no tax").tax, AMP_TAX_NONE);
  assert_int_equal(with(AMP_LIST_TAX, "incl").tax, AMP_TAX_INCLUDED);
  l = with(AMP_LIST_PRICE, "2.480,00 EUR");
  assert_close(l.v[AMP_LIST_PRICE], 2480, 0);
  assert_string_equal(l.money, "EUR");
  l = with(AMP_LIST_PRICE, "EUR140 each");
  assert_close(l.v[AMP_LIST_PRICE], 140, 0);
  assert_string_equal(l.money, "EUR");
  assert_close(with(AMP_LIST_PRICE, "gbp2480").v[AMP_LIST_PRICE], 2480, 0);
  assert_false(amp_given(with(AMP_LIST_PRICE, "xeur140").v[AMP_LIST_PRICE]));
  static const struct {
    const char *text;
    double v;
  } blanks[] = {{"1 200 lot", 1200},
                {"1\xc2\xa0"
                 "200 lot",
                 1200},
                {"12 480.50 EUR", 12480.5},
                {"EUR 1 200 000 lot", 1.2e6},
                {"1 200", 1200}};
  static const char *const two[] = {"140 160 each", "1 20 lot", "1 2000 lot",
                                    "1  200 lot",   "12 x 140", "1.5 200 lot",
                                    "1 200 30 lot"};
  for (size_t i = 0; i < LEN(blanks); i++) {
    l = with(AMP_LIST_PRICE, blanks[i].text);
    assert_close(l.v[AMP_LIST_PRICE], blanks[i].v, 0);
  }
  for (size_t i = 0; i < LEN(two); i++)
    assert_false(amp_given(with(AMP_LIST_PRICE, two[i]).v[AMP_LIST_PRICE]));
  l = with(AMP_LIST_PRICE, "\xc2\xa3 245");
  assert_string_equal(l.money, "GBP");
  assert_close(with(AMP_LIST_PRICE, "245,-").v[AMP_LIST_PRICE], 245, 0);
  assert_close(with(AMP_LIST_DUDS, "3 of 12").v[AMP_LIST_DUDS], 25, 0);
  assert_close(with(AMP_LIST_DUDS, "none").v[AMP_LIST_DUDS], 0, 0);
  l = with(AMP_LIST_CLAIM, "34.3 kWh in total");
  assert_null(find(&l, "capacity_and_energy_disagree"));
  l = advert((const cell[]){{AMP_LIST_PRICE, "245 EUR"},
                            {AMP_LIST_FREIGHT, "90 GBP"},
                            {AMP_LIST_FIELDS, NULL}});
  assert_non_null(find(&l, "currencies_mixed"));
}

/* A "no" or a doubt turns the word beside it: it is asked, not taken. */
static void tax_that_is_denied_is_asked (void **state) {
  static const char *const asked[] = {"not included",   "included? no",
                                      "included?",      "incl. or not",
                                      "isn't included", "no, excluded 20 %"};
  static const char *const on_top[] = {"with 20 % on top", "20 % extra",
                                       "plus 20 %", "20 % on top"};
  (void)state;
  for (size_t i = 0; i < LEN(asked); i++) {
    amp_listing l = with(AMP_LIST_TAX, asked[i]);
    assert_int_equal(l.tax, AMP_TAX_UNKNOWN);
    assert_non_null(find(&l, "tax_not_known"));
  }
  for (size_t i = 0; i < LEN(on_top); i++) {
    amp_listing l = with(AMP_LIST_TAX, on_top[i]);
    assert_int_equal(l.tax, AMP_TAX_EXCLUDED);
    assert_close(l.v[AMP_LIST_TAX_RATE], 20, 0);
  }
  assert_int_equal(with(AMP_LIST_TAX, "with VAT").tax, AMP_TAX_INCLUDED);
  assert_int_equal(with(AMP_LIST_TAX, "without").tax, AMP_TAX_NONE);
}

static void only_none_is_no_dud (void **state) {
  static const char *const zero[] = {"none", "no duds", "No bad", "0", "0 %"};
  static const char *const asked[] = {"no idea", "no test", "no guarantee",
                                      "none known", "not tested"};
  (void)state;
  for (size_t i = 0; i < LEN(zero); i++)
    assert_close(with(AMP_LIST_DUDS, zero[i]).v[AMP_LIST_DUDS], 0, 0);
  for (size_t i = 0; i < LEN(asked); i++) {
    amp_listing l = with(AMP_LIST_DUDS, asked[i]);
    assert_true(isnan(l.v[AMP_LIST_DUDS]));
    assert_non_null(find(&l, "duds_zero_untested"));
    assert_false(amp_listing_refused(&l));
  }
}

/* A number that counts or names a module is no test. */
static void tests_are_numbers_only (void **state) {
  static const char *const bad[] = {"2 of 12: 96.1; 91.4",
                                    "no. 3: 96.1; no. 7: 91.4",
                                    "3: 96.1",
                                    "2/12 96.1",
                                    "best 96.1",
                                    "96 %",
                                    "#3 96.1"};
  char many[33 * 3 + 1];
  (void)state;
  for (size_t i = 0; i < LEN(bad); i++) {
    amp_listing l = with(AMP_LIST_TESTS, bad[i]);
    assert_non_null(find(&l, "not_a_number"));
    assert_null(find(&l, "capacity_not_tested"));
    assert_int_equal(l.tests, 0);
  }
  assert_int_equal(with(AMP_LIST_TESTS, "96.1 Ah, 91.4 Ah").tests, 2);
  assert_int_equal(with(AMP_LIST_TESTS, "n/a").findings, 0);
  for (int i = 0; i < 33; i++)
    memcpy(&many[3 * i], "96;", 3);
  many[33 * 3] = '\0';
  amp_listing l = with(AMP_LIST_TESTS, many);
  assert_non_null(find(&l, "not_a_number"));
  many[32 * 3] = '\0';
  l = with(AMP_LIST_TESTS, many);
  assert_null(find(&l, "not_a_number"));
  assert_int_equal(l.tests, 32);
}

static void a_share_of_the_lot_is_no_health (void **state) {
  static const char *const asked[] = {"sold 80 % of them", "80 % tested",
                                      "80 % of modules", "sold 80 %",
                                      "tested 80 %"};
  static const char *const health[] = {
      "80 %",        "80 % SoH",      "80 % of new", "80 % of the label",
      "80 % health", "80 % capacity", "80 % left",   "80 % tested SoH"};
  (void)state;
  for (size_t i = 0; i < LEN(asked); i++) {
    amp_listing l = with(AMP_LIST_CLAIM, asked[i]);
    assert_true(isnan(l.claim_soh));
    assert_non_null(find(&l, "claim_without_unit"));
  }
  for (size_t i = 0; i < LEN(health); i++)
    assert_close(with(AMP_LIST_CLAIM, health[i]).claim_soh, 80, 0);
}

/* Of what it is may stand beside the price. */
static void a_price_says_of_what_it_is (void **state) {
  static const struct {
    const char *text;
    amp_price is;
    double v;
  } want[] = {{"140 each", AMP_PRICE_EACH, 140},
              {"2200 lot", AMP_PRICE_LOT, 2200},
              {"95 per kWh", AMP_PRICE_PER_KWH, 95},
              {"95 EUR/kWh", AMP_PRICE_PER_KWH, 95},
              {"2200 EUR for the whole lot", AMP_PRICE_LOT, 2200}};
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    amp_listing l = advert((const cell[]){{AMP_LIST_PRICE, want[i].text},
                                          {AMP_LIST_PRICE_IS, ""},
                                          {AMP_LIST_FIELDS, NULL}});
    assert_false(amp_listing_refused(&l));
    assert_int_equal(l.price_is, want[i].is);
    assert_close(l.v[AMP_LIST_PRICE], want[i].v, 0);
  }
  amp_listing l = with(AMP_LIST_PRICE, "2200 lot"); /* price is: each */
  assert_non_null(find(&l, "price_of_what"));
  l = with(AMP_LIST_PRICE, "140 each");
  assert_int_equal(l.findings, 0);
  l = with(AMP_LIST_PRICE, "2 x 140 each");
  assert_non_null(find(&l, "not_a_number"));
  amp_listing_open(&l);
  amp_listing_take_price(&l, AMP_PRICE_EACH, "2200 lot", 0);
  assert_non_null(find(&l, "price_of_what"));
}

static void the_most_decisive_stands_first (void **state) {
  amp_listing l = advert((const cell[]){{AMP_LIST_DUDS, ""},
                                        {AMP_LIST_FREIGHT, ""},
                                        {AMP_LIST_REMARK, "as seen"},
                                        {AMP_LIST_COUNT, ""},
                                        {AMP_LIST_TAX, "?"},
                                        {AMP_LIST_FIELDS, NULL}});
  (void)state;
  assert_string_equal(l.finding[0].id, "count_not_given");
  assert_string_equal(l.finding[1].id, "tax_not_known");
  for (int i = 1; i < l.findings; i++)
    assert_true(l.finding[i].decides >= l.finding[i - 1].decides);
}

static void numbers_alike_may_be_one_advert (void **state) {
  amp_listing a = advert((const cell[]){{AMP_LIST_FIELDS, NULL}});
  amp_listing b = with(AMP_LIST_REMARK, "same advert again");
  amp_listing c = with(AMP_LIST_PRICE, "246");
  amp_listing d = with(AMP_LIST_SEEN, "2026-06-01");
  (void)state;
  assert_true(amp_listing_alike(&a, &b));
  assert_true(b.says & AMP_SAYS_AGAIN);
  assert_true(amp_listing_alike(&a, &d)); /* seen again on another day */
  assert_false(amp_listing_alike(&a, &c));
  c = with(AMP_LIST_TESTS, "95");
  assert_false(amp_listing_alike(&a, &c));
  c = with(AMP_LIST_PRICE, "245 GBP");
  assert_false(amp_listing_alike(&a, &c));
}

static void a_remark_says_that_it_stood_there_before (void **state) {
  static const char *const yes[] = {"same advert again", "again",
                                    "Duplicate!", "posted twice"};
  static const char *const no[] = {"not the same advert", "same car as above",
                                   "price lowered again", "same advert?",
                                   "two lots, listed together"};
  (void)state;
  for (size_t i = 0; i < LEN(yes); i++)
    assert_true(with(AMP_LIST_REMARK, yes[i]).says & AMP_SAYS_AGAIN);
  for (size_t i = 0; i < LEN(no); i++)
    assert_false(with(AMP_LIST_REMARK, no[i]).says & AMP_SAYS_AGAIN);
}

/* Nine at 90 .. 98 per kWh; one whose price each is that of its lot of
** eight: 98 x 8 = 784; one dear, but not by its count. */
static void a_lot_given_as_each_stands_out (void **state) {
  amp_listing l[11];
  double per[11];
  (void)state;
  for (int i = 0; i < 11; i++) {
    l[i] = advert((const cell[]){{AMP_LIST_FIELDS, NULL}});
    per[i] = 90 + i;
  }
  l[9].v[AMP_LIST_COUNT] = 8;
  per[9] = 784;
  l[10].v[AMP_LIST_COUNT] = 2;
  per[10] = 800; /* 400 as a lot: dear either way */
  amp_listings_compare_prices(l, per, 11);
  assert_non_null(find(&l[9], "price_lot_and_each_disagree"));
  assert_close(find(&l[9], "price_lot_and_each_disagree")->b, 95, 0);
  assert_int_equal(find(&l[10], "price_far_off")->decides, AMP_DECIDES_SUM);
  for (int i = 0; i < 9; i++)
    assert_int_equal(l[i].findings, 0);
  amp_listings_compare_prices(&l[6], per, 3); /* three say nothing */
  assert_int_equal(l[6].findings + l[7].findings + l[8].findings, 0);
}

/* 12 at 245 are 2940; 2950 is that, rounded; 2500 is not. */
static void prices_given_twice_agree_or_not (void **state) {
  static const char *const lot[] = {"2950", "2500"};
  (void)state;
  for (int i = 0; i < 2; i++) {
    amp_listing l;
    amp_listing_open(&l);
    amp_listing_take_price(&l, AMP_PRICE_EACH, "245", 0);
    amp_listing_take_price(&l, AMP_PRICE_LOT, lot[i], 0);
    amp_listing_take(&l, AMP_LIST_COUNT, "12", 0); /* whatever the order */
    amp_listing_check(&l, &pouch);
    assert_int_equal(find(&l, "price_given_twice") != NULL, i);
    assert_int_equal(l.price_is, AMP_PRICE_LOT);
  }
}

static void an_old_price_is_asked_for (void **state) {
  amp_listing l = advert((const cell[]){{AMP_LIST_FIELDS, NULL}});
  double seen = l.v[AMP_LIST_SEEN];
  (void)state;
  amp_listing_age(&l, seen + 30);
  assert_int_equal(l.findings, 0);
  amp_listing_age(&l, seen + 31);
  assert_close(find(&l, "advert_old")->a, 31, 0);
  l = with(AMP_LIST_SEEN, "");
  amp_listing_age(&l, seen);
  assert_non_null(find(&l, "price_without_date"));
}

/* Whatever is typed: no number out of the limits, no doubt without a name,
** the same again the second time. */
static void any_text_is_read_or_doubted (void **state) {
  static const char some[] = "0123456789.,' -+%?/eAhVkWx;untested lot each of"
                             "\xe2\x82\xac\xff\x1b";
  uint64_t k = 0;
  (void)state;
  for (int turn = 0; turn < often(20000); turn++) {
    char text[48];
    int n = (int)(amp_uniform(7, 9, k++) * 47);
    amp_listing a, b;
    for (int i = 0; i < n; i++)
      text[i] = some[(int)(amp_uniform(7, 9, k++) * (sizeof some - 1))];
    text[n] = '\0';
    for (int again = 0; again < 2; again++) {
      amp_listing *l = again ? &b : &a;
      amp_listing_open(l);
      for (int f = 0; f < AMP_LIST_FIELDS; f++)
        amp_listing_take(l, (amp_listing_field)f, text, ".,"[turn % 3]);
      amp_listing_check(l, &pouch);
      amp_listing_close(l);
    }
    assert_true(amp_listing_alike(&a, &b) || isnan(a.v[AMP_LIST_PRICE]));
    assert_true(isnan(a.v[AMP_LIST_PRICE]) ||
                (a.v[AMP_LIST_PRICE] > 0 && a.v[AMP_LIST_PRICE] <= 1e9));
    assert_true(isnan(a.v[AMP_LIST_DUDS]) ||
                (a.v[AMP_LIST_DUDS] >= 0 && a.v[AMP_LIST_DUDS] <= 100));
    assert_true(isnan(a.v[AMP_LIST_COUNT]) ||
                a.v[AMP_LIST_COUNT] == floor(a.v[AMP_LIST_COUNT]));
    assert_int_equal(a.findings, b.findings);
    for (int i = 0; i < a.findings; i++)
      assert_true(strlen(a.finding[i].id) > 3);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_whole_advert_leaves_no_doubt),
      cmocka_unit_test(each_doubt_has_its_name),
      cmocka_unit_test(a_number_is_read_as_people_write_it),
      cmocka_unit_test(damage_that_is_denied_is_none),
      cmocka_unit_test(words_beside_the_point_ask_nothing),
      cmocka_unit_test(a_remark_never_enters_a_sum),
      cmocka_unit_test(phrases_are_read),
      cmocka_unit_test(tax_that_is_denied_is_asked),
      cmocka_unit_test(only_none_is_no_dud),
      cmocka_unit_test(tests_are_numbers_only),
      cmocka_unit_test(a_share_of_the_lot_is_no_health),
      cmocka_unit_test(a_price_says_of_what_it_is),
      cmocka_unit_test(the_most_decisive_stands_first),
      cmocka_unit_test(numbers_alike_may_be_one_advert),
      cmocka_unit_test(a_remark_says_that_it_stood_there_before),
      cmocka_unit_test(a_lot_given_as_each_stands_out),
      cmocka_unit_test(prices_given_twice_agree_or_not),
      cmocka_unit_test(an_old_price_is_asked_for),
      cmocka_unit_test(any_text_is_read_or_doubted),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
