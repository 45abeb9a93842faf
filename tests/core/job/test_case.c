/*
** test_case.c -- cases taken all the way: a mountain hut's three offers
** (invented prices; hand values worked out with pencil and the formulas of
** docs/model/case.md), and the laws of draws and comparisons.
*/
#include "support/hut.h"
#include "cost/cash.h"

/* A module's own cell voltage does not survive a charge limit of the case:
** 7s2p at 23.95 kWh in all, 5 .. 80 %. */
static void a_cases_window_replaces_the_modules_at_that_end (void **state) {
  hut *h = *state;
  amp_module m = h->nickel;
  amp_case c = ten_modules(h);
  amp_case_result r;
  m.soc_max = NONE;
  m.cell_v_max = 3.70; /* about half full */
  c.module = &m;
  c.soc_max = 0.80;
  take(&c, 1, 50, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_close(r.window.soc_max, 0.80, 1e-12);
  assert_close(r.usable.p50 / r.tested.p50, 0.75, 1e-9);
}

/* (2950 1.15 + 260 + 85) 1.20 = 4485; 12 x 25.55 V x 112 Ah = 34.34 kWh,
** 130.6 a kWh; 4485 + (10 17.5 + 45) 2.90 + 640 = 5763; tested
** 10 x 25.55 x 93.75 = 23.95 kWh; window 5 .. 94 % of it; mean accepted
** 10.8. H2 2544, 3813.30, 118.3; H3 3180, 3818.20, 207.0. */
static void offers_cost_what_the_hand_says (void **state) {
  hut *h = *state;
  amp_case_result r[3];
  take(h->c, 3, 200, r);
  assert_int_equal(r[0].status, AMP_OK);
  assert_close(r[0].landed.total, 4485.00, 1e-9);
  assert_close(r[0].total.p50, 5763.00, 1e-9);
  assert_close(r[0].per_nameplate.p50, 130.6, 0.05);
  assert_close(r[0].tested.p50 / KWH, 23.95, 0.005);
  assert_close(r[0].usable.p50 / KWH, 23.953125 * 0.89, 1e-9);
  assert_close(r[0].accepted_mean, 10.8, 1e-12);
  assert_close(r[0].per_accepted.p50, 4485 / (10.8 * 2.3953125), 1e-9);
  assert_int_equal(r[0].used, 10);
  assert_int_equal(r[0].groups, 14);
  assert_int_equal(r[0].strings, 5);
  assert_close(r[1].total.p50, 3813.30, 1e-9);
  assert_close(r[1].per_nameplate.p50, 118.3, 0.05);
  assert_close(r[1].tested.p50 / KWH, 19.78, 0.005);
  assert_close(r[1].per_usable.p50, 226.8, 0.05);
  assert_close(r[2].total.p50, 3818.20, 1e-9);
  assert_close(r[2].per_nameplate.p50, 207.0, 0.05);
  assert_close(r[2].per_usable.p50, 276.2, 0.05);
}

/* 3.14/0.92 + 0.032 24 = 4.181 kWh; October sun 2.4 2.1 0.70 = 3.53. */
static void october_is_the_worst_month (void **state) {
  hut *h = *state;
  amp_worst_month w = amp_need_worst_month(&h->need);
  assert_int_equal(w.month, 9);
  assert_close(w.load / KWH, 3.14, 1e-9);
  assert_close(w.need / KWH, 3.14 / 0.92 + 0.768, 1e-9);
  assert_close(w.supply / KWH, 3.528, 1e-9);
  assert_close(w.days, 31.0, 1e-9);
}

static void no_supply_is_no_month (void **state) {
  hut *h = *state;
  memset(h->duty.pv, 0, h->duty.n * sizeof *h->duty.pv);
  assert_int_equal(amp_need_worst_month(&h->need).month, -1);
  assert_close(amp_need_worst_month(&h->need).need / KWH, 4.181, 1e-3);
}

/* 21.28 kWh / 4.181 kWh a day = 5.1 days (window 88.8 % there, 89 here);
** 16.82: 4.0; 13.82: 3.3. */
static void days_without_sun (void **state) {
  hut *h = *state;
  amp_case_result r[3];
  take(h->c, 3, 100, r);
  assert_close(r[0].days.p50, 23.953125 * 0.89 / 4.18104, 1e-4);
  assert_close(r[1].days.p50, 4.0, 0.05);
  assert_close(r[2].days.p50, 3.3, 0.05);
}

/* Rates: years = (SoH - end)/(a + b EFC); levelised = cost over present
** worth of whole years of energy, P/A(5 %, n) from cost/cash. */
static void years_and_levelised_follow_from_the_year (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r;
  double years, whole;
  take(&c, 1, 1, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_close(r.soh_start.p50, 93.75 / 112.0, 1e-12);
  years = (93.75 / 112.0 - 0.60) / (0.015 + 8e-5 * r.efc.p50);
  assert_close(r.years.p50, years, 0.02); /* EFC hardly falls with SoH */
  assert_false(r.years.beyond);
  whole = floor(r.years.p50);
  assert_close(r.levelised.p50,
               5763.0 / (r.served.p50 / KWH * amp_cash_pa(0.05, whole)),
               0.01 * r.levelised.p50); /* October's gap grows with age */
  assert_close(r.served.p50 + r.unserved.p50, 3.14 * 184 * KWH, 1e-3 * KWH);
  assert_close(r.energy_residual, 0.0, 1e-6);
  assert_false(r.years.spread);
  assert_false(r.levelised.spread);
}

/* No spread anywhere: one draw says what a thousand say. */
static void without_spread_draws_change_nothing (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result one, many;
  take(&c, 1, 1, &one);
  take(&c, 1, 300, &many);
  assert_close(one.levelised.p50, many.levelised.p50, 0.0);
  assert_close(one.years.p90, many.years.p90, 0.0);
  assert_false(many.usable.spread);
}

/* P(accepted >= 10) of 12 at 10 % duds is 0.889: at least five strings in
** 88.9 % of draws, so P10 stands at four strings and P50 at five. Six need
** all 12: 0.9^12 = 0.282, so P90 is six. */
static void strings_follow_the_binomial (void **state) {
  hut *h = *state;
  amp_case_result r;
  double string = 2 * 25.55 * 93.75 * AH; /* J */
  take(h->c, 1, 1000, &r);
  assert_close(r.tested.p10 / string, 4.0, 1e-9);
  assert_close(r.tested.p50 / string, 5.0, 1e-9);
  assert_close(r.tested.p90 / string, 6.0, 1e-9);
  assert_true(r.tested.spread);
}

/* The sums of one share of duds are taken once, those of a spread one for
** each draw: a spread of no width gives the same strings, draw by draw. */
static void chances_taken_once_change_no_string (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = h->c[0];
  c[0].offer.count = c[1].offer.count = 37;
  c[1].dud = amp_value_even(0.1, 0.1);
  c[1].dud.value = c[0].dud.value;
  c[0].stream = c[1].stream = 3;
  take(c, 2, 400, r);
  assert_int_equal(r[0].status, AMP_OK);
  assert_close(r[0].cheapest, 0.5, 1e-12);
  assert_close(r[0].tested.p10, r[1].tested.p10, 0.0);
  assert_close(r[0].tested.p90, r[1].tested.p90, 0.0);
}

/* Draws that are equal are reckoned once. A price that is drawn, over no
** width, hides from that, and each draw is then reckoned: the same bits. */
static void equal_draws_reckoned_once_change_no_bit (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = h->c[0];
  c[0].tested = assumed(93.75 * AH);
  c[0].offer.count = 37;
  c[0].stream = 3;
  c[0].life.models = 2;
  c[0].life.model[1] = &h->iron_life;
  c[1] = c[0];
  c[1].prices = 1;
  c[1].price[0] =
      (amp_price_spread){offsetof(amp_case, bos), assumed(c[1].bos), "bos"};
  take(c, 2, 401, r);
  assert_int_equal(r[0].status, AMP_OK);
  assert_true(r[0].levelised.spread);
  const amp_stat *stat[2][6];
  for (int k = 0; k < 2; k++) {
    const amp_stat *all[6] = {&r[k].usable,       &r[k].unserved,
                              &r[k].efc,          &r[k].years,
                              &r[k].per_accepted, &r[k].levelised};
    memcpy(stat[k], all, sizeof all);
    assert_close(r[k].levelised_life, r[0].levelised_life, 0.0);
    assert_close(r[k].life_by_model[1].p50, r[0].life_by_model[1].p50, 0.0);
  }
  for (int k = 0; k < 6; k++) {
    assert_close(stat[0][k]->p10, stat[1][k]->p10, 0.0);
    assert_close(stat[0][k]->p50, stat[1][k]->p50, 0.0);
    assert_close(stat[0][k]->p90, stat[1][k]->p90, 0.0);
  }
}

/* Two equal lots whose share of duds is one and the same number: in half of
** the draws or more they differ in strings, so neither is always the first;
** equal draws are split. Of one name they are the same lot twice. */
static void lots_do_not_share_their_luck (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = h->c[0];
  c[0].dud = c[1].dud = assumed(0.30);
  c[1].offer.price += 1.0;
  take(c, 2, 1000, r);
  assert_true(r[0].cheapest > 0.2 && r[1].cheapest > 0.2);
  c[0].stream = c[1].stream = 77;
  take(c, 2, 1000, r);
  assert_close(r[0].cheapest, 1.0, 0.0);
}

/* A case alone and in company, with other workers: the same bits. */
static void reversed (void *user, size_t n, amp_work *work, void *arg) {
  (void)user;
  while (n-- > 0)
    work(arg, n, n % 3);
}

static void company_and_workers_change_no_bit (void **state) {
  hut *h = *state;
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_ask ask = {300, 7, false};
  amp_case_result r[3], alone, other[3];
  ctx.parallel_for = reversed;
  ctx.workers = 3;
  assert_int_equal(amp_cases(NULL, h->c, 3, &ask, r, NULL), AMP_OK);
  assert_int_equal(amp_cases(NULL, &h->c[0], 1, &ask, &alone, NULL), AMP_OK);
  assert_int_equal(amp_cases(&ctx, h->c, 3, &ask, other, NULL), AMP_OK);
  assert_close(alone.levelised.p10, r[0].levelised.p10, 0.0);
  assert_close(alone.years.p90, r[0].years.p90, 0.0);
  for (int i = 0; i < 3; i++) {
    assert_close(other[i].levelised.p50, r[i].levelised.p50, 0.0);
    assert_close(other[i].cheapest, r[i].cheapest, 0.0);
  }
}

/* Blocks of lanes, counted. */
static void counted (void *user, size_t n, amp_work *work, void *arg) {
  *(size_t *)user += n;
  for (size_t i = 0; i < n; i++)
    work(arg, i, 0);
}

/* 160 cases of 40 windows, the same ones far apart: one year is simulated of
** each window, as of 40 cases, and each case has its own bits. (Without an
** end of life, so that one state of health will do.) */
static void
cases_alike_are_simulated_once_wherever_they_stand (void **state) {
  enum { WINDOWS = 40, N = 4 * WINDOWS };
  hut *h = *state;
  size_t few = 0, many = 0;
  amp_context lent = {.user = &few, .parallel_for = counted, .workers = 1};
  amp_case c[N];
  amp_case_result r[N], alone;
  amp_ask ask = {2, 1, false};
  h->nickel.soh_end = NONE;
  for (int i = 0; i < N; i++) {
    c[i] = ten_modules(h);
    c[i].soc_max = 0.6 + 0.008 * (i % WINDOWS);
    c[i].offer.price += 10.0 * i;
  }
  assert_int_equal(amp_cases(&lent, c, WINDOWS, &ask, r, NULL), AMP_OK);
  lent.user = &many;
  assert_int_equal(amp_cases(&lent, c, N, &ask, r, NULL), AMP_OK);
  assert_int_equal(few, (WINDOWS + 15) / 16);
  assert_int_equal(many, few);
  for (int i = 7; i < N; i += 91) {
    assert_int_equal(amp_cases(NULL, &c[i], 1, &ask, &alone, NULL), AMP_OK);
    assert_close(alone.served.p50, r[i].served.p50, 0.0);
    assert_close(alone.total.p50, r[i].total.p50, 0.0);
  }
}

/* Exact ties are split; shares add up to one. */
static void equals_share_the_first_place (void **state) {
  hut *h = *state;
  amp_case c[3];
  amp_case_result r[3];
  c[0] = c[1] = ten_modules(h);
  c[2] = c[0];
  c[2].cost = 9000.0;
  take(c, 3, 10, r);
  assert_close(r[0].cheapest, 0.5, 1e-12);
  assert_close(r[1].cheapest, 0.5, 1e-12);
  assert_close(r[2].cheapest, 0.0, 0.0);
}

/* Worn out on arrival: no year, no energy, no place in the order. */
static void a_pack_past_its_end_has_no_cost_per_kwh (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = ten_modules(h);
  c[0].soh_end = c[1].soh_end = 0.9;
  c[1].tested = amp_value_fixed(105 * AH, AMP_BASIS_MEASURED);
  take(c, 2, 4, r);
  assert_close(r[0].years.p50, 0.0, 0.0);
  assert_close(r[0].delivered.p50, 0.0, 0.0);
  assert_true(isnan(r[0].levelised.p50) && isnan(r[0].per_delivered.p50));
  assert_close(r[0].cheapest, 0.0, 0.0);
  assert_close(r[1].cheapest, 1.0, 0.0);
  take(c, 1, 4, r);
  assert_close(r[0].cheapest, 0.0, 0.0);
}

/* Four modules, 40 % duds: no string at all in 0.4^4 + 4 0.6 0.4^3 = 17.9 %
** of the draws, so P90 has no end: the largest that has one is a bound. */
static void a_cost_without_end_is_a_bound (void **state) {
  hut *h = *state;
  amp_case_result r;
  h->c[0].offer.count = 4;
  h->c[0].dud = assumed(0.40);
  take(h->c, 1, 1000, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_true(isfinite(r.levelised.p10) && isfinite(r.levelised.p90));
  assert_true(r.levelised.p90_beyond && !r.levelised.beyond);
  assert_true(r.per_usable.p90_beyond && isfinite(r.per_usable.p90));
  assert_true(r.per_delivered.p90 >= r.per_delivered.p50);
  assert_close(r.usable.p10, 0.0, 0.0);
  assert_false(r.per_accepted.p90_beyond);
}

/* A rate of 5 for 5 %, and money beyond all money, name their field. */
static void sums_of_a_slip_are_refused (void **state) {
  hut *h = *state;
  amp_case c[3];
  amp_case_result r[3];
  amp_need need = h->need;
  c[0] = c[1] = c[2] = ten_modules(h);
  need.discount = 5.0;
  c[0].need = &need;
  c[1].residual = (double)INFINITY;
  c[2].cost = NONE;
  take(c, 3, 2, r);
  assert_int_equal(r[0].status, AMP_ERANGE);
  assert_string_equal(r[0].why.field, "discount");
  assert_string_equal(r[1].why.field, "residual");
  assert_string_equal(r[2].why.field, "cost");
  assert_true(isnan(r[0].levelised.p50) && isnan(r[0].total.p90));
}

static void years_need_a_state_of_health (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r;
  c.tested = (amp_value){0};
  take(&c, 1, 5, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_int_equal(r.years_why.status, AMP_EMISSING);
  assert_string_equal(r.years_why.field, "soh");
  assert_true(isnan(r.years.p50) && isnan(r.levelised.p50) &&
              isnan(r.per_delivered.p50));
  assert_true(r.capacity_assumed);
  assert_int_equal(r.usable.basis, AMP_BASIS_ASSUMED);
  assert_close(r.usable.p50, 0.89 * 10 * 25.55 * 112 * AH, 1.0);
  assert_true(r.served.p50 > 0.0);
}

static void years_need_an_end_and_a_model (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = ten_modules(h);
  h->nickel.soh_end = NONE;
  c[1].soh_end = 0.7;
  c[1].life.models = 0;
  take(c, 2, 3, r);
  assert_string_equal(r[0].years_why.field, "soh_end");
  assert_string_equal(r[1].years_why.field, "life_model");
}

/* A law fitted to lithium cells is not copied to lead-acid; the user's own
** rates are. */
static void lead_acid_does_not_fade_by_a_lithium_law (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  h->nickel.chemistry = amp_chemistry_find("lead_acid");
  h->nickel.nominal_v = NONE;
  h->nickel.series = 12; /* two of them, 24 groups, 48 V */
  c[0] = c[1] = ten_modules(h);
  c[1].life.model[0] = amp_ageing_find("lfp_throughput");
  take(c, 2, 3, r);
  assert_int_equal(r[0].years_why.status, AMP_OK);
  assert_int_equal(r[1].years_why.status, AMP_EREFUSED);
  assert_string_equal(r[1].years_why.field, "life_model");
  assert_true(isnan(r[1].years.p50));
}

/* The refused one alone: a string of 3 reaches 21 x 4.09 V, over 60 V. */
static void one_refused_case_spoils_no_other (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = ten_modules(h);
  c[0].series = 3;
  take(c, 2, 3, r);
  assert_int_equal(r[0].status, AMP_EREFUSED);
  assert_string_equal(r[0].why.field, "v_abs_max");
  assert_int_equal(r[1].status, AMP_OK);
  assert_close(r[1].cheapest, 1.0, 0.0);
}

/* An efficiency over one is found by the simulation only: the other case is
** answered, and the call as a whole has no error to tell. */
static void a_case_refused_in_its_year_is_refused_alone (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  amp_need bad = h->need;
  amp_ask ask = {3, 1, false};
  amp_error err = {0};
  c[0] = c[1] = ten_modules(h);
  bad.converter.efficiency = 1.5;
  c[0].need = &bad;
  assert_int_equal(amp_cases(NULL, c, 2, &ask, r, &err), AMP_OK);
  assert_int_equal(err.status, AMP_OK);
  assert_null(err.field);
  assert_int_equal(r[0].status, AMP_ERANGE);
  assert_string_equal(r[0].why.field, "efficiency");
  assert_true(isnan(r[0].served.p50));
  assert_close(r[1].cheapest, 1.0, 0.0);
}

static void unknown_tax_and_weight_are_refused (void **state) {
  hut *h = *state;
  amp_case_result r[3];
  h->c[0].offer.tax = AMP_TAX_UNKNOWN;
  h->iron.mass = NONE;
  take(h->c, 3, 3, r);
  assert_int_equal(r[0].status, AMP_EMISSING);
  assert_int_equal(r[1].status, AMP_EMISSING);
  assert_string_equal(r[1].why.field, "mass");
  assert_int_equal(r[2].status, AMP_OK);
}

/* One module of 7 groups (28.6 V full) is under the inverter's 42 V, two of
** one bought are not to be had: the reason names the count. */
static void too_few_modules_for_a_string (void **state) {
  hut *h = *state;
  amp_case_result r;
  h->c[0].offer.count = 1;
  take(h->c, 1, 1, &r);
  assert_int_equal(r.status, AMP_EREFUSED);
  assert_string_equal(r.why.field, "count");
}

/* Raise the first's price by the answer: both levelised costs are level.
** H2 and H3 without spread, so medians are exact. */
static void the_flip_makes_both_cost_the_same (void **state) {
  hut *h = *state;
  amp_case_result r[2];
  amp_case *c = &h->c[1];
  size_t first, second;
  double by;
  amp_error err;
  take(c, 2, 1, r);
  assert_int_equal(amp_case_flip(c, r, 2, &first, &second, &by, &err),
                   AMP_OK);
  assert_true(by > 0.0);
  c[first].offer.price += by;
  take(c, 2, 1, r);
  assert_close(r[0].levelised.p50, r[1].levelised.p50, 1e-9);
}

static void one_case_alone_has_no_flip (void **state) {
  hut *h = *state;
  amp_case_result r;
  size_t a = 7, b = 7;
  double by = 7.0;
  amp_error err;
  take(h->c, 1, 1, &r);
  assert_int_equal(amp_case_flip(h->c, &r, 1, &a, &b, &by, &err),
                   AMP_EREFUSED);
  assert_close(by, 7.0, 0.0);
}

/* Two models in turn: the spread lies between the two alone. */
static void models_in_turn_span_both (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r;
  h->need.horizon = 40;
  c.soh_end = 0.80;
  c.life.models = 2;
  c.life.model[0] = amp_ageing_find("nmc_voltage_depth");
  c.life.model[1] = amp_ageing_find("lmo_stress");
  take(&c, 1, 10, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_true(r.years.spread);
  assert_close(r.years.p10,
               fmin(r.life_by_model[0].p50, r.life_by_model[1].p50), 1e-12);
  assert_close(r.years.p90,
               fmax(r.life_by_model[0].p50, r.life_by_model[1].p50), 1e-12);
  assert_true(r.outside & AMP_OUTSIDE_TEMP); /* 12 C is below both fits */
  assert_int_equal(r.years.basis, AMP_BASIS_ASSUMED);
}

/* A drawn rate between 1.0 and 2.2 % a year: P50 near the middle's years,
** the slow end past the horizon of 15. */
static void drawn_rates_spread_the_years (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r, mid;
  c.life.calendar[0] = amp_value_even(0.010, 0.022);
  c.life.calendar[0].stream = 99;
  take(&c, 1, 500, &r);
  h->nickel_life.calendar = 0.016;
  c.life.calendar[0] = (amp_value){0};
  take(&c, 1, 1, &mid);
  assert_close(r.years.p50, mid.years.p50, 0.02);
  assert_true(r.years.p90_beyond && !r.years.beyond);
  assert_close(r.years.p90, 15.0, 0.0);
}

/* Half of the draws end before the horizon of 15, half reach it: the middle
** between the two is a bound as well, since where the others end is not known.
*/
static void a_middle_between_known_and_horizon_is_a_bound (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r;
  amp_ageing slow = rates(0.001, 0.0), fast = rates(0.03, 0.0);
  c.life.models = 2;
  c.life.model[0] = &slow;
  c.life.model[1] = &fast;
  take(&c, 1, 10, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_true(r.years.p10 < 15.0 && !r.years.p10_beyond);
  assert_true(r.years.p50 > r.years.p10 && r.years.p50 < 15.0);
  assert_true(r.years.beyond && r.years.p90_beyond);
}

/* A load that is spread: each draw its own year; unserved has a spread. */
static void a_spread_duty_gives_each_draw_its_year (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r;
  h->duty.load_factor = amp_value_even(0.8, 1.2);
  h->duty.load_factor.stream = 5;
  take(&c, 1, 60, &r);
  assert_int_equal(r.status, AMP_OK);
  assert_true(r.served.spread && r.days.spread);
  assert_true(r.served.p90 > r.served.p10 * 1.1);
  assert_close(r.usable.p10, r.usable.p90, 0.0);
}

static double bad_fade (void *arg, const amp_stress *s, double soh,
                        double years, amp_error *err) {
  (void)arg, (void)s, (void)soh, (void)years;
  amp_failf(err, AMP_EUSER, NULL, "hut.lua:3: bad");
  return NONE;
}

static double two_percent (void *arg, const amp_stress *s, double soh,
                           double years, amp_error *err) {
  (void)arg, (void)soh, (void)years, (void)err;
  return s->efc > 0.0 ? 0.02 / 31536000.0 : NONE;
}

static void user_functions_are_asked_and_may_fail (void **state) {
  hut *h = *state;
  amp_ageing good = {.kind = AMP_AGEING_USER, .fade = two_percent};
  amp_ageing bad = {.kind = AMP_AGEING_USER, .fade = bad_fade};
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = ten_modules(h);
  c[0].life.model[0] = &good;
  c[1].life.model[0] = &bad;
  take(c, 2, 2, r);
  assert_close(r[0].years.p50, (93.75 / 112 - 0.6) / 0.02, 1e-6);
  assert_int_equal(r[1].status, AMP_EUSER);
  assert_string_equal(r[1].why.text, "hut.lua:3: bad");
}

/* Served rises with capacity, so its median is that of the median capacity:
** between the states of health simulated the curve is off by under 0.1 %. */
static void between_the_nodes_is_near_the_simulation (void **state) {
  hut *h = *state;
  amp_case c[2];
  amp_case_result r[2];
  c[0] = c[1] = ten_modules(h);
  c[0].tested = amp_value_even(60 * AH, 100 * AH);
  c[0].tested.stream = 3;
  c[1].tested = amp_value_fixed(80 * AH, AMP_BASIS_MEASURED);
  take(c, 2, 201, r);
  assert_close(r[0].served.p50 / r[1].served.p50, 1.0, 1e-3);
  assert_close(r[0].efc.p50 / r[1].efc.p50, 1.0, 1e-2);
}

/* All AC out of the battery: every kWh takes 1/0.92 out of it, at least that
** much in, and idle draw and cell losses of under 40 % on top. */
static void bought_charge_is_paid_per_kwh_served (void **state) {
  hut *h = *state;
  amp_daily d = {.charge_efficiency = 1.0};
  amp_case c = ten_modules(h);
  amp_case_result paid, gift;
  amp_duty duty;
  amp_need need = h->need;
  double more;
  d.from_battery = assumed(5.0 * KWH);
  d.temp_one = assumed(288.15);
  for (int m = 0; m < 12; m++)
    d.month[m] = true;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  need.duty = &duty;
  c.need = &need;
  take(&c, 1, 1, &gift);
  need.charge_price = 0.20;
  take(&c, 1, 1, &paid);
  amp_duty_free(NULL, &duty);
  assert_int_equal(paid.status, AMP_OK);
  assert_true(isnan(paid.curtailed.p50)); /* offered as needed: no sense */
  assert_close(paid.unserved.p50, 0.0, 1e-6 * KWH);
  more = paid.levelised.p50 - gift.levelised.p50;
  assert_true(more > 0.20 / 0.92 && more < 1.4 * 0.20 / 0.92);
}

/* A boat without an inverter load: what DC it serves is its energy. */
static void a_load_of_dc_alone_is_served_too (void **state) {
  hut *h = *state;
  amp_case c = ten_modules(h);
  amp_case_result r;
  for (size_t i = 0; i < h->duty.n; i++) {
    h->duty.dc[i] = h->duty.ac[i];
    h->duty.ac[i] = 0.0;
  }
  take(&c, 1, 1, &r);
  assert_close(r.served.p50 / KWH, 3.14 * 184, 1e-6);
  assert_true(r.levelised.p50 > 0.0 && r.levelised.p50 < 10.0);
}

static bool always (void *user) {
  (void)user;
  return true;
}

static void a_stop_flag_ends_it (void **state) {
  hut *h = *state;
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_ask ask = {10, 1, false};
  amp_case_result r[3];
  ctx.stop = always;
  assert_int_equal(amp_cases(&ctx, h->c, 3, &ask, r, NULL), AMP_ESTOP);
}

static void no_draws_are_refused (void **state) {
  hut *h = *state;
  amp_ask ask = {0, 1, false};
  amp_case_result r[3];
  amp_error err;
  assert_int_equal(amp_cases(NULL, h->c, 3, &ask, r, &err), AMP_ERANGE);
  assert_string_equal(err.field, "draws");
}

#define HUT_TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main (void) {
  const struct CMUnitTest tests[] = {
      HUT_TEST(offers_cost_what_the_hand_says),
      HUT_TEST(october_is_the_worst_month),
      HUT_TEST(no_supply_is_no_month),
      HUT_TEST(days_without_sun),
      HUT_TEST(years_and_levelised_follow_from_the_year),
      HUT_TEST(without_spread_draws_change_nothing),
      HUT_TEST(strings_follow_the_binomial),
      HUT_TEST(chances_taken_once_change_no_string),
      HUT_TEST(equal_draws_reckoned_once_change_no_bit),
      HUT_TEST(lots_do_not_share_their_luck),
      HUT_TEST(company_and_workers_change_no_bit),
      HUT_TEST(cases_alike_are_simulated_once_wherever_they_stand),
      HUT_TEST(equals_share_the_first_place),
      HUT_TEST(a_pack_past_its_end_has_no_cost_per_kwh),
      HUT_TEST(a_cost_without_end_is_a_bound),
      HUT_TEST(sums_of_a_slip_are_refused),
      HUT_TEST(a_cases_window_replaces_the_modules_at_that_end),
      HUT_TEST(years_need_a_state_of_health),
      HUT_TEST(years_need_an_end_and_a_model),
      HUT_TEST(lead_acid_does_not_fade_by_a_lithium_law),
      HUT_TEST(one_refused_case_spoils_no_other),
      HUT_TEST(a_case_refused_in_its_year_is_refused_alone),
      HUT_TEST(unknown_tax_and_weight_are_refused),
      HUT_TEST(too_few_modules_for_a_string),
      HUT_TEST(the_flip_makes_both_cost_the_same),
      HUT_TEST(one_case_alone_has_no_flip),
      HUT_TEST(models_in_turn_span_both),
      HUT_TEST(drawn_rates_spread_the_years),
      HUT_TEST(a_middle_between_known_and_horizon_is_a_bound),
      HUT_TEST(a_spread_duty_gives_each_draw_its_year),
      HUT_TEST(user_functions_are_asked_and_may_fail),
      HUT_TEST(between_the_nodes_is_near_the_simulation),
      HUT_TEST(bought_charge_is_paid_per_kwh_served),
      HUT_TEST(a_load_of_dc_alone_is_served_too),
      HUT_TEST(a_stop_flag_ends_it),
      HUT_TEST(no_draws_are_refused)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
