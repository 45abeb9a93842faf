/*
** test_compare.c -- cases beside what else would carry the load, under the
** same draws: spreads against closed forms (normal and even quantiles,
** annuities), and what is infinite in some of the draws.
*/
#include "support/hut.h"
#include "cost/cash.h"
#include "job/compare.h"
#include <stddef.h>

/* 0.9 of the normal law lies below this many deviations: printed tables */
static const double Z90 = 1.28155;

static amp_alternative plain (amp_alternative_kind kind) {
  return (amp_alternative){.kind = kind,
                           .again = NAN,
                           .life = NAN,
                           .run_time = NAN,
                           .overhaul_time = NAN,
                           .overhaul = NAN,
                           .life_time = NAN};
}

static amp_value normal (double v, double sd, uint64_t stream) {
  amp_value a = amp_value_normal(v, sd, AMP_BASIS_CLAIMED);
  a.stream = stream;
  return a;
}

static amp_value even (double lo, double hi, uint64_t stream) {
  amp_value a = amp_value_even(lo, hi);
  a.stream = stream;
  return a;
}

static void compare (const amp_need *need, const amp_case *c, size_t n,
                     const amp_alternative *a, size_t m, size_t draws,
                     amp_case_result *r, amp_alternative_result *o,
                     amp_pair *pair) {
  amp_ask ask = {draws, 1, false};
  amp_error err;
  if (amp_compare(NULL, c, n, need, a, m, &ask, r, o, pair, &err) != AMP_OK)
    fail_msg("%s %s", err.field ? err.field : "", err.text);
}

static void alone_it_is_the_list_of_cases (void **state) {
  hut *h = *state;
  amp_case_result plain_list[3], r[3];
  h->c[0].dud = even(0.0, 0.2, 5);
  take(h->c, 3, 200, plain_list);
  compare(&h->need, h->c, 3, NULL, 0, 200, r, NULL, NULL);
  for (int i = 0; i < 3; i++) {
    assert_close(r[i].levelised.p10, plain_list[i].levelised.p10, 0.0);
    assert_close(r[i].cheapest, plain_list[i].cheapest, 0.0);
  }
}

/* What is fixed has no spread, and the tariff's spread is the grid's. */
static void grid_is_spread_as_its_tariff (void **state) {
  hut *h = *state;
  amp_alternative a = plain(AMP_ALTERNATIVE_GRID);
  amp_alternative_result o;
  h->need.spares = true;
  h->need.tariff = 0.29;
  compare(&h->need, NULL, 0, &a, 1, 300, NULL, &o, NULL);
  assert_false(o.levelised.spread);
  assert_close(o.levelised.p50, 0.29, 1e-12);
  assert_close(o.cheapest, 1.0, 1e-12);
  assert_false(amp_given(o.npv.p50)); /* it spares nothing of itself */
  h->need.term[AMP_TERM_TARIFF] = normal(0.29, 0.03, 9);
  compare(&h->need, NULL, 0, &a, 1, 4000, NULL, &o, NULL);
  assert_close(o.levelised.p50, 0.29, 0.03 * 2e-3);
  assert_close(o.levelised.p10, 0.29 - Z90 * 0.03, 0.03 * 5e-3);
  assert_close(o.levelised.p90, 0.29 + Z90 * 0.03, 0.03 * 5e-3);
  assert_close(o.per_year.p90, o.levelised.p90 * o.served.p50 / KWH, 1e-9);
}

/* Rising by what lies evenly in 0 .. 4 % a year: its quantiles are those of
** the geometric series at the quantiles of the rise. */
static void rise_goes_through_the_geometric_series (void **state) {
  hut *h = *state;
  amp_alternative a = plain(AMP_ALTERNATIVE_GRID);
  amp_alternative_result o;
  h->need.spares = true;
  h->need.tariff = 0.29;
  h->need.rise = 0.02;
  h->need.term[AMP_TERM_RISE] = even(0.0, 0.04, 9);
  compare(&h->need, NULL, 0, &a, 1, 4000, NULL, &o, NULL);
  const double got[3] = {o.levelised.p10, o.levelised.p50, o.levelised.p90};
  for (int k = 0; k < 3; k++) {
    double g = 0.04 * (0.1 + 0.4 * k), i = 0.05;
    double sum = (1 - amp_cash_fp(g, 15) / amp_cash_fp(i, 15)) / (i - g);
    assert_close(got[k], 0.29 * sum / amp_cash_pa(i, 15), 1e-4);
  }
}

/* A case without any spread against a grid whose tariff is normal about half
** a deviation more: cheaper in the normal law's 0.6915 of the draws, and the
** difference is as wide as the tariff. */
static void case_is_cheaper_in_as_many_draws_as_the_law_says (void **state) {
  hut *h = *state;
  amp_alternative a = plain(AMP_ALTERNATIVE_GRID);
  amp_alternative_result o;
  amp_case_result r;
  amp_pair pair;
  amp_case c = ten_modules(h);
  take(&c, 1, 10, &r);
  double cost = r.added.p50, sd = 0.1 * cost; /* of what only it brings */
  assert_true(cost > 1.5 * r.levelised.p50);
  assert_false(r.added.spread);
  h->need.spares = true;
  h->need.tariff = cost + 0.5 * sd;
  h->need.term[AMP_TERM_TARIFF] = normal(h->need.tariff, sd, 9);
  compare(&h->need, &c, 1, &a, 1, 4000, &r, &o, &pair);
  assert_close(pair.cheaper, 0.69146, 1e-3);
  assert_close(r.cheapest, pair.cheaper, 1e-12);
  assert_close(r.cheapest + o.cheapest, 1.0, 1e-12);
  assert_close(r.saves, pair.cheaper, 1e-12);
  assert_close(pair.more.p50, -0.5 * sd, 5e-3 * sd);
  assert_close(pair.more.p90, (Z90 - 0.5) * sd, 0.01 * sd);
  assert_close(pair.more.p10, (-Z90 - 0.5) * sd, 0.01 * sd);
}

/* Both rest on one rate of interest: the difference at its quantiles is that
** of two sums at one rate, not of two rates. */
static void one_rate_of_interest_for_both (void **state) {
  hut *h = *state;
  amp_alternative a = plain(AMP_ALTERNATIVE_GRID);
  amp_alternative_result o;
  amp_case_result r;
  amp_pair pair, at[2];
  amp_case c = ten_modules(h);
  h->need.spares = true;
  h->need.tariff = 0.29;
  a.price = 9600.0; /* a kWh about as much as the case */
  for (int k = 0; k < 2; k++) {
    h->need.discount = k == 0 ? 0.01 : 0.09;
    compare(&h->need, &c, 1, &a, 1, 1, &r, &o, &at[k]);
  }
  h->need.discount = 0.05;
  h->need.term[AMP_TERM_DISCOUNT] = even(0.0, 0.10, 9);
  compare(&h->need, &c, 1, &a, 1, 4000, &r, &o, &pair);
  assert_close(pair.more.p10, at[0].more.p50, 1e-3);
  assert_close(pair.more.p90, at[1].more.p50, 1e-3);
  double own = r.added.p90 - r.added.p10;
  assert_true(pair.more.p90 - pair.more.p10 < 0.5 * own);
}

/* 1.75 paid for each kWh a year that it brings, of the tariff evenly in 0.05
** .. 0.25: never where a year saves no more than the interest, which comes
** after all that ends. */
static void never_is_larger_than_all (void **state) {
  hut *h = *state;
  amp_case_result r;
  amp_case c = ten_modules(h);
  double n, saving, first, kwh;
  h->need.spares = true;
  h->need.tariff = 0.15;
  h->need.term[AMP_TERM_TARIFF] = even(0.05, 0.25, 9);
  take(&c, 1, 10, &r);
  kwh = (r.served.p50 - r.alone) / KWH;
  assert_true(kwh > 280.0 && kwh < 320.0); /* of 578 at the load */
  c.cost = first = 1.75 * kwh;
  take(&c, 1, 4000, &r);
  amp_break_even_years(first, kwh * 0.15, 0.05, &n, NULL);
  assert_close(r.break_even.p50 / n, 1.0, 0.02);
  amp_break_even_years(first, kwh * 0.23, 0.05, &n, NULL);
  assert_close(r.break_even.p10 / n, 1.0, 0.02);
  assert_true(r.break_even.p90_beyond); /* 0.07 saves 4 %, interest 5 */
  /* within 15 years: what saves its price by A/P(5 %, 15) or more */
  saving = first * amp_cash_ap(0.05, 15);
  assert_close(r.paid_late, (0.25 - saving / kwh) / 0.20, 0.01);
  saving = first * amp_cash_ap(0.05, r.counted.p50);
  assert_close(r.paid, (0.25 - saving / kwh) / 0.20, 0.01);
  assert_close(r.saves, r.paid, 0.002);
  assert_close(r.saving.p50 / (kwh * 0.15), 1.0, 0.01); /* fades */
  /* never in most draws: there is no middle, but what is saved has one */
  h->need.tariff = 0.07;
  h->need.term[AMP_TERM_TARIFF] = even(0.05, 0.09, 9);
  take(&c, 1, 400, &r);
  assert_false(amp_given(r.break_even.p50));
  assert_true(amp_given(r.npv.p50));
  assert_close(r.paid_late, 0.0, 0.0);
}

/* Even payments: all of it times A/P over the whole years counted. */
static void a_year_of_service_is_the_capital_recovered (void **state) {
  hut *h = *state;
  amp_case_result r;
  amp_case c = ten_modules(h);
  take(&c, 1, 5, &r);
  assert_close(r.counted.p50, floor(r.years.p50), 0.0);
  assert_close(r.per_year.p50, 5763.0 * amp_cash_ap(0.05, r.counted.p50),
               1e-9);
  assert_false(amp_given(r.over_horizon.p50));
  /* over 30 years that it does not last: at the same price the same cost
  ** where lives are whole, and less at less */
  h->need.horizon = 2.0 * r.counted.p50;
  c.bought_again = true;
  c.again = 5763.0;
  take(&c, 1, 5, &r);
  assert_close(r.counted.p50 * 2.0, h->need.horizon, 0.0);
  assert_close(r.over_horizon.p50, r.levelised.p50, 1e-12);
  double same = r.over_horizon.p50;
  c.again = 2000.0;
  take(&c, 1, 5, &r);
  assert_true(r.over_horizon.p50 < same);
  /* a price that is spread is drawn */
  c.prices = 1;
  c.price[0] = (amp_price_spread){offsetof(amp_case, again),
                                  even(1500.0, 2500.0, 9), "price_again"};
  take(&c, 1, 400, &r);
  assert_true(r.over_horizon.p10 < r.over_horizon.p50 &&
              r.over_horizon.p50 < r.over_horizon.p90);
  assert_false(r.levelised.spread);
}

/* 1 l/h for each kW, up to 440 W; a load of 400 W times 0.8 .. 1.2 passes
** that in a quarter of the draws. There it has no cost; the others' cost per
** kWh does not know the load. */
static void generator_too_small_in_some_draws (void **state) {
  hut *h = *state;
  amp_alternative a = plain(AMP_ALTERNATIVE_GENERATOR);
  amp_alternative_result o;
  double most = 0.0;
  for (size_t k = 0; k < h->duty.n; k++)
    most = fmax(most, h->duty.ac[k]);
  a.power = 1.1 * most;
  a.fuel_per_joule = 1.0 / KWH;
  a.fuel_price = 1.5;
  h->duty.load_factor = even(0.8, 1.2, 9);
  compare(&h->need, NULL, 0, &a, 1, 4000, NULL, &o, NULL);
  assert_close(o.failed, 0.25, 2e-3);
  assert_close(o.levelised.p50, 1.5, 1e-9);
  assert_true(o.levelised.p90_beyond);
  assert_close(o.cheapest, 0.75, 2e-3);
  /* what it burns costs with a normal spread, and it is worn out by hours */
  h->duty.load_factor = (amp_value){0};
  a.spreads = 1;
  a.spread[0] = (amp_alternative_spread){
      offsetof(amp_alternative, fuel_price), normal(1.5, 0.2, 10)};
  compare(&h->need, NULL, 0, &a, 1, 4000, NULL, &o, NULL);
  assert_close(o.failed, 0.0, 0.0);
  assert_close(o.levelised.p90, 1.5 + Z90 * 0.2, 0.2 * 5e-3);
}

static void refused_alternatives_stand_beside (void **state) {
  hut *h = *state;
  amp_alternative a[2] = {plain(AMP_ALTERNATIVE_GRID),
                          plain(AMP_ALTERNATIVE_BATTERY)};
  amp_alternative_result o[2];
  amp_case_result r[3];
  amp_pair pair[6];
  a[1].life = 5;
  a[1].usable = 5 * KWH;
  a[1].round_trip = 0.8;
  h->c[1].offer.tax = AMP_TAX_UNKNOWN; /* refused */
  compare(&h->need, h->c, 3, a, 2, 50, r, o, pair);
  assert_int_equal(o[0].status, AMP_EMISSING); /* no tariff */
  assert_int_equal(o[1].status, AMP_EREFUSED); /* a battery under a sun */
  assert_false(amp_given(pair[0].cheaper));
  assert_int_equal(r[1].status, AMP_EMISSING);
  assert_close(r[0].cheapest + r[1].cheapest + r[2].cheapest, 1.0, 1e-12);
  assert_close(r[1].cheapest, 0.0, 0.0);
  amp_ask none = {0, 1, false};
  amp_error err = {0};
  assert_int_equal(
      amp_compare(NULL, h->c, 3, &h->need, a, 2, &none, r, o, NULL, &err),
      AMP_ERANGE);
  assert_string_equal(err.field, "draws");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(alone_it_is_the_list_of_cases, set_up,
                                      tear_down),
      cmocka_unit_test_setup_teardown(grid_is_spread_as_its_tariff, set_up,
                                      tear_down),
      cmocka_unit_test_setup_teardown(rise_goes_through_the_geometric_series,
                                      set_up, tear_down),
      cmocka_unit_test_setup_teardown(
          case_is_cheaper_in_as_many_draws_as_the_law_says, set_up,
          tear_down),
      cmocka_unit_test_setup_teardown(one_rate_of_interest_for_both, set_up,
                                      tear_down),
      cmocka_unit_test_setup_teardown(never_is_larger_than_all, set_up,
                                      tear_down),
      cmocka_unit_test_setup_teardown(
          a_year_of_service_is_the_capital_recovered, set_up, tear_down),
      cmocka_unit_test_setup_teardown(generator_too_small_in_some_draws,
                                      set_up, tear_down),
      cmocka_unit_test_setup_teardown(refused_alternatives_stand_beside,
                                      set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
