/*
** test_cash.c -- money over time against printed interest tables, a worked
** levelised cost, and the sums of two invented purchases done by hand.
*/
#include "support/close.h"
#include "cost/cash.h"
#include "base/text.h"
#include <stdio.h>

/* The row's factors, in the order of the columns of the table. */
static void factors (double i, double n, double out[6]) {
  out[0] = amp_cash_fp(i, n);
  out[1] = 1.0 / amp_cash_fp(i, n);
  out[2] = amp_cash_af(i, n);
  out[3] = amp_cash_fa(i, n);
  out[4] = amp_cash_ap(i, n);
  out[5] = amp_cash_pa(i, n);
}

/* tests/data/interest-factors.csv: every factor to half a unit of its last
** printed digit (A/F and A/P have five decimals, the others four). */
static void factors_match_printed_tables (void **state) {
  static const char *const name[] = {"F/P", "P/F", "A/F",
                                     "F/A", "A/P", "P/A"};
  static char text[4096];
  FILE *f = fopen(AMP_TEST_DATA "/interest-factors.csv", "rb");
  amp_csv *csv;
  (void)state;
  assert_non_null(f);
  size_t n = fread(text, 1, sizeof text, f);
  fclose(f);
  assert_int_equal(amp_csv_read(NULL, text, n, NULL, &csv, NULL), AMP_OK);
  assert_int_equal(amp_csv_rows(csv), 11);
  for (size_t row = 0; row < amp_csv_rows(csv); row++) {
    double pct, years, want, got[6];
    bool given;
    amp_csv_number(csv, row, amp_csv_find(csv, "i_pct"), &pct, &given, NULL);
    amp_csv_number(csv, row, amp_csv_find(csv, "n"), &years, &given, NULL);
    factors(pct / 100.0, years, got);
    for (size_t k = 0; k < LEN(name); k++) {
      size_t column = amp_csv_find(csv, name[k]);
      assert_int_equal(amp_csv_number(csv, row, column, &want, &given, NULL),
                       AMP_OK);
      assert_true(given);
      assert_close(got[k], want,
                   k == 2 || k == 4 ? 0.500001e-5 : 0.500001e-4);
    }
  }
  amp_csv_free(NULL, csv);
}

/* Annuity factors at 5 %: 10 years 7.7217, 15 years 10.3797 (common
** practice tables). */
static void annuity_factors_at_five_percent (void **state) {
  (void)state;
  assert_close(amp_cash_pa(0.05, 10), 7.7217, 0.5e-4);
  assert_close(amp_cash_pa(0.05, 15), 10.3797, 0.5e-4);
}

/* Without interest the factors are plain counts, and near it they run into
** those counts: P/A = n (1 - (n+1) i/2 + ..). */
static void no_interest_is_no_special_place (void **state) {
  (void)state;
  assert_close(amp_cash_pa(0, 12), 12, 0);
  assert_close(amp_cash_ap(0, 12), 1.0 / 12, 1e-16);
  assert_close(amp_cash_fa(0, 12), 12, 0);
  assert_close(amp_cash_af(0, 12), 1.0 / 12, 1e-16);
  assert_close(amp_cash_fp(0, 12), 1, 0);
  assert_close(amp_cash_pa(1e-12, 12), 12 * (1 - 6.5e-12), 1e-14);
  for (int n = 1; n <= 40; n++) /* A/P = A/F + i */
    assert_close(amp_cash_ap(0.07, n), amp_cash_af(0.07, n) + 0.07, 1e-13);
}

/* Present worth and rates, worked in docs/model/cost.md: 3000 in year 6 and
** 500 in year 12 at 7 %; 12 % a year compounded monthly. */
static void present_worth_of_single_payments (void **state) {
  (void)state;
  assert_close(3000 / amp_cash_fp(0.07, 6), 1999.03, 0.005);
  assert_close(500 / amp_cash_fp(0.07, 12), 222.01, 0.005);
  assert_close(amp_cash_fp(0.12 / 12, 12) - 1, 0.126825, 0.5e-6);
}

/* ---- the worked example of docs/model/cost.md ------------------------- */

typedef struct worked {
  double energy[12], running[12];
  amp_levelised_ask ask;
} worked;

/* 6000 at the start, 16 kWh x 330 in year 1, fade 2 % a year, 60 a year,
** charging at 0.10 with 0.90, 7 %, 12 years. */
static void worked_make (worked *w) {
  double e = 20 * 0.8 * 330;
  for (int t = 0; t < 12; t++, e *= 0.98) {
    w->energy[t] = e;
    w->running[t] = 60;
  }
  w->ask = (amp_levelised_ask){.first = 6000,
                               .years = 12,
                               .rate = 0.07,
                               .energy = w->energy,
                               .running = w->running,
                               .charge_price = 0.10,
                               .round_trip = 0.90};
}

static double levelised (const amp_levelised_ask *a) {
  double v = -1;
  assert_int_equal(amp_levelised(a, &v, NULL), AMP_OK);
  return v;
}

static void levelised_matches_the_worked_example (void **state) {
  worked w;
  (void)state;
  worked_make(&w);
  double with = levelised(&w.ask);
  assert_close(with, 0.280540, 0.5e-6);
  w.ask.charge_price = 0;
  double without = levelised(&w.ask);
  assert_close(without, 0.169429, 0.5e-6);
  assert_close(with - without, 0.10 / 0.90, 1e-12);
  w.ask.first *= 2; /* adds 6000 over the discounted energy 38225.815 */
  assert_close(levelised(&w.ask) - without, 0.156962, 0.5e-6);
  assert_close(6000 / (levelised(&w.ask) - without), 38225.815, 0.0005);
}

/* Without fade and charging: (6000 A/P + 60) / 5280 = 0.154434; at no
** interest the same form with A/P = 1/12. A residual comes off at the end. */
static void levelised_agrees_with_the_annual_form (void **state) {
  worked w;
  (void)state;
  worked_make(&w);
  w.ask.charge_price = 0;
  for (int t = 0; t < 12; t++)
    w.energy[t] = 5280;
  assert_close(levelised(&w.ask), 0.154434, 0.5e-6);
  assert_close(levelised(&w.ask), (6000 * amp_cash_ap(0.07, 12) + 60) / 5280,
               1e-13);
  w.ask.residual = 500; /* 222.01 today */
  assert_close(levelised(&w.ask),
               ((6000 - 222.006) * amp_cash_ap(0.07, 12) + 60) / 5280, 1e-7);
  w.ask.residual = 0;
  w.ask.rate = 0;
  assert_close(levelised(&w.ask), (6000.0 / 12 + 60) / 5280, 1e-15);
  w.ask.running = NULL; /* capital only */
  assert_close(levelised(&w.ask), 0.094697, 0.5e-6);
}

static void levelised_rises_with_the_rate (void **state) {
  worked w;
  double last = 0;
  (void)state;
  worked_make(&w);
  for (int pct = 0; pct <= 30; pct++) {
    w.ask.rate = pct / 100.0;
    assert_true(levelised(&w.ask) > last);
    last = levelised(&w.ask);
  }
}

/* first / (kWh a year x P/A), and with bought charging energy. */
static double even (double first, double kwh, int years, double price,
                    double round_trip) {
  double energy[AMP_CASH_YEARS];
  for (int t = 0; t < years; t++)
    energy[t] = kwh;
  amp_levelised_ask a = {.first = first,
                         .years = years,
                         .rate = 0.05,
                         .energy = energy,
                         .charge_price = price,
                         .round_trip = round_trip};
  return levelised(&a);
}

/* Mountain hut: 3.14 x 184 kWh a year, 5 %; by hand, invented
** offers (levelised over 10, 10, 15 and 10 years). */
static void hut_offers_levelised (void **state) {
  double kwh = 3.14 * 184;
  (void)state;
  assert_close(even(5763.00, kwh, 10, 0, 0), 1.29, 0.005);
  assert_close(even(3813.30, kwh, 10, 0, 0), 0.855, 0.0005);
  assert_close(even(3818.20, kwh, 15, 0, 0), 0.637, 0.0005);
  assert_close(even(3818.20, kwh, 10, 0, 0), 0.856, 0.0005);
}

/* Cold store: 6.4 kWh a night, 5 %, charging at 0.12 with 0.90; by hand,
** invented offers. */
static void cold_store_offers_levelised (void **state) {
  double kwh = 6.4 * 365;
  (void)state;
  assert_close(even(2648.62, kwh, 9, 0, 0), 0.160, 0.0005);
  assert_close(even(2805, kwh, 9, 0, 0), 0.169, 0.0005);
  assert_close(even(2805, kwh, 10, 0, 0), 0.1555, 0.00005);
  assert_close(even(3600, kwh, 15, 0, 0), 0.148, 0.0005);
  assert_close(even(2648.62, kwh, 9, 0.12, 0.9), 0.293, 0.0005);
  assert_close(even(2805, kwh, 9, 0.12, 0.9), 0.302, 0.0005);
  assert_close(even(3600, kwh, 15, 0.12, 0.9), 0.282, 0.0005);
  kwh = 6.4 * 200; /* a season of 200 days, same years */
  assert_close(even(2648.62, kwh, 9, 0, 0), 0.291, 0.0005);
  assert_close(even(2805, kwh, 9, 0, 0), 0.308, 0.0005);
  assert_close(even(3600, kwh, 15, 0, 0), 0.271, 0.0005);
  assert_close(even(2648.62, kwh, 11, 0, 0), 0.249, 0.0005);
  assert_close(even(2805, kwh, 12, 0, 0), 0.247, 0.0005);
  assert_close(even(3600, kwh, 19, 0, 0), 0.233, 0.0005);
}

static double break_even (double first, double saving, double rate) {
  double v = -1;
  assert_int_equal(amp_break_even_years(first, saving, rate, &v, NULL),
                   AMP_OK);
  return v;
}

/* Cold store: saving 2336 x (0.29 - 0.12/0.90) = 365.97 a year; present
** worth of C2 over 9 years -204, of C3 over 15 years +199. */
static void cold_store_breaks_even (void **state) {
  double saving = 2336 * (0.29 - 0.12 / 0.90);
  (void)state;
  assert_close(saving, 365.97, 0.005);
  assert_close(break_even(2648.62, saving, 0.05), 9.21, 0.005);
  assert_close(break_even(2805, saving, 0.05), 9.90, 0.005);
  assert_close(break_even(3600, saving, 0.05), 13.87, 0.005);
  assert_close(saving * amp_cash_pa(0.05, 9) - 2805, -204, 0.5);
  assert_close(saving * amp_cash_pa(0.05, 15) - 3600, 199, 0.5);
}

/* P/A(rate, n) saving = first holds for the n that comes out. */
static void break_even_inverts_the_annuity (void **state) {
  (void)state;
  for (int pct = -5; pct <= 20; pct++)
    for (double n = 0.25; n < 40; n *= 1.7) {
      double r = pct / 100.0;
      assert_close(break_even(amp_cash_pa(r, n) * 321.0, 321.0, r), n,
                   1e-9 * n + 1e-10);
    }
  assert_close(break_even(1000, 100, 0), 10, 0);
  assert_close(break_even(0, -5, 0.05), 0, 0);
}

static void what_never_pays_back_is_refused (void **state) {
  double v = 42;
  (void)state;
  assert_int_equal(amp_break_even_years(1000, 0, 0.05, &v, NULL),
                   AMP_EREFUSED);
  assert_int_equal(amp_break_even_years(1000, -1, 0.05, &v, NULL),
                   AMP_EREFUSED);
  assert_int_equal(amp_break_even_years(1000, 50, 0.05, &v, NULL),
                   AMP_EREFUSED); /* just the interest */
  assert_int_equal(amp_break_even_years(1000, 50, 5, &v, NULL), AMP_ERANGE);
  assert_int_equal(amp_break_even_years((double)NAN, 50, 0, &v, NULL),
                   AMP_ERANGE);
  assert_close(v, 42, 0);
}

static void refuse (const amp_levelised_ask *a, amp_status want,
                    const char *field, size_t line) {
  double v = 42;
  amp_error err = {.line = 0};
  assert_int_equal(amp_levelised(a, &v, &err), want);
  assert_string_equal(err.field, field);
  assert_int_equal(err.line, line);
  assert_close(v, 42, 0);
}

static void wrong_questions_are_refused_by_their_field (void **state) {
  worked w;
  (void)state;
  worked_make(&w);
  w.ask.rate = 5; /* percent for a share */
  refuse(&w.ask, AMP_ERANGE, "rate", 0);
  worked_make(&w);
  w.ask.years = 0;
  refuse(&w.ask, AMP_ERANGE, "years", 0);
  w.ask.years = AMP_CASH_YEARS + 1;
  refuse(&w.ask, AMP_ERANGE, "years", 0);
  worked_make(&w);
  w.energy[4] = (double)NAN;
  refuse(&w.ask, AMP_ERANGE, "energy", 5);
  worked_make(&w);
  w.running[11] = (double)INFINITY;
  refuse(&w.ask, AMP_ERANGE, "running", 12);
  worked_make(&w);
  w.ask.round_trip = 0;
  refuse(&w.ask, AMP_ERANGE, "round_trip", 0);
  worked_make(&w);
  for (int t = 0; t < 12; t++)
    w.energy[t] = 0;
  refuse(&w.ask, AMP_EREFUSED, "energy", 0);
}

/* Cold store, 2,336 kWh a year against 0.29, charged for 0.12 at a round trip
** of 0.90, 5 %: saved 365.97 a year; 2,805 over 9 years -204, 3,600 over 15
** +199; back in 9.90 and 13.87 years (by hand). */
static void cold_store_saves (void **state) {
  static const struct {
    double first;
    int years;
    double npv, back;
  } want[] = {{2805, 9, -204, 9.90}, {3600, 15, 199, 13.87}};
  double kwh[15];
  (void)state;
  for (int t = 0; t < 15; t++)
    kwh[t] = 2336;
  for (size_t i = 0; i < LEN(want); i++) {
    amp_levelised_ask a = {.first = want[i].first,
                           .years = want[i].years,
                           .rate = 0.05,
                           .energy = kwh,
                           .charge_price = 0.12,
                           .round_trip = 0.90};
    amp_savings s;
    assert_int_equal(amp_cash_savings(&a, 0.29, &s, NULL), AMP_OK);
    assert_close(s.first_year, 365.97, 0.005);
    assert_close(s.npv, want[i].npv, 0.5);
    assert_close(s.break_even, want[i].back, 0.005);
  }
}

/* Whatever the years save, money saved up to the break-even, discounted, is
** what was paid: the sum is done here year by year. */
static void savings_that_fall_pay_back_the_price (void **state) {
  double kwh[12], running[12] = {0}, rate = 0.07;
  (void)state;
  for (int t = 0; t < 12; t++)
    kwh[t] = 2000.0 * (1.0 - 0.03 * t);
  running[3] = 250.0;
  for (double first = 100.0; first < 3500.0; first += 170.0) {
    amp_levelised_ask a = {.first = first,
                           .years = 12,
                           .rate = rate,
                           .energy = kwh,
                           .running = running};
    amp_savings s;
    double paid = 0.0, worth = 1.0, n;
    assert_int_equal(amp_cash_savings(&a, 0.29, &s, NULL), AMP_OK);
    for (int t = 0; t < (int)s.break_even; t++) {
      int year = t < 12 ? t : 11;
      worth /= 1.0 + rate;
      paid += (kwh[year] * 0.29 - running[year]) * worth;
    }
    n = s.break_even - (int)s.break_even;
    int last = s.break_even < 12 ? (int)s.break_even : 11;
    paid += worth * (kwh[last] * 0.29 - running[last]) * amp_cash_pa(rate, n);
    assert_close(paid, first, 1e-9 * first);
  }
}

/* A set that lasts 6 years, over 15: bought again after 6 and 12, the last
** one with 3 years unused; over 12: once; one that lasts as long: never. */
static void replaced_whenever_a_life_ends (void **state) {
  double r[15] = {0};
  (void)state;
  assert_int_equal(amp_cash_replace(700.0, 6, 15, r), 3);
  for (int t = 0; t < 15; t++)
    assert_close(r[t], t == 5 || t == 11 ? 700.0 : 0.0, 0.0);
  double s[12] = {0}, one[6] = {0};
  assert_int_equal(amp_cash_replace(700.0, 6, 12, s), 0);
  assert_true(s[5] == 700.0 && s[11] == 0.0);
  assert_int_equal(amp_cash_replace(700.0, 6, 6, one), 0);
  assert_close(one[5], 0.0, 0.0);
}

/* 400 in year 8; 60 in each; 90 in 5, 10; nothing past the last year. Worth
** by F/(1+d)^n (W. Short, D. Packey, T. Holt, NREL/TP-462-5173, 1995): at 5 %
** over 10 years 270.74 + 60 x 7.7217 + 70.52 + 55.25 = 859.81. */
static void later_costs_fall_due_in_their_years (void **state) {
  static const amp_later_cost c[] = {
      {400, 8, 0}, {60, 1, 1}, {90, 5, 5}, {1000, 11, 0}, {50, 12, 3}};
  double running[10] = {0}, ones[10], with, without, energy = 0.0;
  amp_error err;
  (void)state;
  amp_cash_later(c, 5, 10, running);
  for (int t = 0; t < 10; t++) {
    int year = t + 1;
    double due = 60 + (year == 8 ? 400 : 0) + (year % 5 == 0 ? 90 : 0);
    assert_close(running[t], due, 0.0);
    ones[t] = 1.0;
    energy += 1.0 / amp_cash_fp(0.05, year);
  }
  amp_levelised_ask a = {.first = 1000,
                         .years = 10,
                         .rate = 0.05,
                         .energy = ones,
                         .round_trip = 1.0};
  assert_int_equal(amp_levelised(&a, &without, NULL), AMP_OK);
  a.running = running;
  assert_int_equal(amp_levelised(&a, &with, NULL), AMP_OK);
  assert_close((with - without) * energy, 859.81, 0.01);
  assert_int_equal(amp_later_check(&c[0], &err), AMP_OK);
  assert_int_equal(amp_later_check(&(amp_later_cost){1, 0, 0}, &err),
                   AMP_ERANGE);
  assert_int_equal(amp_later_check(&(amp_later_cost){1, 1, -1}, &err),
                   AMP_ERANGE);
  assert_int_equal(amp_later_check(&(amp_later_cost){NAN, 1, 0}, &err),
                   AMP_ERANGE);
}

/* 100 a year pay 400 back in 4 years, until 300 fall due in year 6: for good
** in 7. Due in the last year, once, they do not go on for ever after. */
static void a_later_cost_may_undo_the_payback (void **state) {
  double kwh[8], running[8] = {0}, dated[8] = {0};
  amp_savings s;
  (void)state;
  for (int t = 0; t < 8; t++)
    kwh[t] = 1.0;
  amp_levelised_ask a = {.first = 400.0,
                         .years = 8,
                         .energy = kwh,
                         .running = running,
                         .round_trip = 1.0,
                         .dated = dated};
  running[5] = dated[5] = 300.0;
  assert_int_equal(amp_cash_savings(&a, 100.0, &s, NULL), AMP_OK);
  assert_close(s.break_even, 7.0, 1e-12);
  running[5] = dated[5] = 0.0;
  running[7] = dated[7] = 500.0; /* 100 are missing after 8 years */
  assert_int_equal(amp_cash_savings(&a, 100.0, &s, NULL), AMP_OK);
  assert_close(s.break_even, 9.0, 1e-12);
  assert_close(s.npv, -100.0, 1e-9);
}

/*
** A tariff that rises g a year on the same energy is a geometric series: its
** present worth is A (1 - ((1+g)/(1+i))^n)/(i-g) (any handbook of engineering
** economics, from memory); at g = i it is n A/(1+i).
*/
static void rising_tariff_is_a_geometric_series (void **state) {
  double kwh[15], tariff[15];
  (void)state;
  for (int k = 0; k < 3; k++) {
    double g = k == 0 ? 0.03 : k == 1 ? 0.05 : -0.02, i = 0.05, n = 15.0;
    double ratio = amp_cash_fp(g, n) / amp_cash_fp(i, n);
    double sum = k == 1 ? n / (1 + i) : (1 - ratio) / (i - g);
    for (int t = 0; t < 15; t++) {
      kwh[t] = 2336.0;
      tariff[t] = 0.29 * amp_cash_fp(g, t);
    }
    amp_levelised_ask a = {
        .first = 2805.0, .years = 15, .rate = i, .energy = kwh};
    amp_savings s;
    assert_int_equal(amp_cash_savings_by_year(&a, tariff, &s, NULL), AMP_OK);
    assert_close(s.npv, 2336.0 * 0.29 * sum - 2805.0, 1e-8);
    assert_close(s.first_year, 2336.0 * 0.29, 1e-9);
    /* the same tariff each year is the plain call */
    assert_int_equal(amp_cash_savings(&a, 0.29, &s, NULL), AMP_OK);
    assert_close(s.npv, 2336.0 * 0.29 * amp_cash_pa(i, n) - 2805.0, 1e-8);
  }
}

/* Lives of 5 years over 15, each at the price of the first: even annual
** costs go on, and with them the cost per kWh. At half the price, or over
** years that are no whole lives, the sum is worked here. */
static void bought_again_until_the_horizon (void **state) {
  double kwh[5], running[5], rate = 0.05, per, all, sum, energy;
  (void)state;
  for (int t = 0; t < 5; t++) {
    kwh[t] = 2000.0 - 100.0 * t;
    running[t] = 20.0 + t;
  }
  amp_levelised_ask a = {.first = 1500.0,
                         .years = 5,
                         .rate = rate,
                         .energy = kwh,
                         .running = running,
                         .residual = 200.0};
  assert_int_equal(amp_levelised(&a, &per, NULL), AMP_OK);
  assert_int_equal(
      amp_cash_again(&a, 1500.0, NULL, 0.0, NULL, 0, 15, &all, NULL), AMP_OK);
  assert_close(all, per, 1e-13);
  assert_int_equal(
      amp_cash_again(&a, 750.0, NULL, 0.0, NULL, 0, 5, &all, NULL), AMP_OK);
  assert_close(all, per, 1e-13);
  for (int years = 6; years < 15; years++) {
    sum = 1500.0 - 200.0 / amp_cash_fp(rate, years);
    energy = 0.0;
    for (int t = 1; t <= years; t++) {
      sum += running[(t - 1) % 5] / amp_cash_fp(rate, t);
      energy += kwh[(t - 1) % 5] / amp_cash_fp(rate, t);
      if (t % 5 == 0 && t < years)
        sum += (750.0 - 200.0) / amp_cash_fp(rate, t);
    }
    assert_int_equal(
        amp_cash_again(&a, 750.0, NULL, 0.0, NULL, 0, years, &all, NULL),
        AMP_OK);
    assert_close(all, sum / energy, 1e-12);
  }
  /* the part that rises goes on rising: 12 of year 1, 3 % more each */
  double rising[5], on[10];
  for (int t = 0; t < 10; t++)
    on[t] = 12.0 * amp_cash_fp(0.03, t);
  for (int t = 0; t < 5; t++)
    running[t] = 8.0 + (rising[t] = on[t]);
  assert_int_equal(
      amp_cash_again(&a, 750.0, rising, 0.03, NULL, 0, 10, &all, NULL),
      AMP_OK);
  sum = 1500.0 + 550.0 / amp_cash_fp(rate, 5) - 200.0 / amp_cash_fp(rate, 10);
  energy = 0.0;
  for (int t = 0; t < 10; t++) {
    sum += (8.0 + on[t]) / amp_cash_fp(rate, t + 1);
    energy += kwh[t % 5] / amp_cash_fp(rate, t + 1);
  }
  assert_close(all, sum / energy, 1e-12);
  /* 300 in year 3 and 400 in year 9 are paid once, not in each life */
  static const amp_later_cost later[] = {{300, 3, 0}, {400, 9, 0}};
  double dated[5] = {0.0, 0.0, 300.0, 0.0, 0.0}, alike;
  assert_int_equal(
      amp_cash_again(&a, 750.0, NULL, 0.0, NULL, 0, 10, &alike, NULL),
      AMP_OK);
  running[2] += 300.0;
  a.dated = dated;
  assert_int_equal(
      amp_cash_again(&a, 750.0, NULL, 0.0, later, 2, 10, &all, NULL), AMP_OK);
  assert_close((all - alike) * energy,
               300.0 / amp_cash_fp(rate, 3) + 400.0 / amp_cash_fp(rate, 9),
               1e-9);
  amp_error err = {0};
  assert_int_equal(amp_cash_again(&a, 1.0, NULL, 0.0, NULL, 0, 0, &all, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "years");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(later_costs_fall_due_in_their_years),
      cmocka_unit_test(factors_match_printed_tables),
      cmocka_unit_test(annuity_factors_at_five_percent),
      cmocka_unit_test(no_interest_is_no_special_place),
      cmocka_unit_test(present_worth_of_single_payments),
      cmocka_unit_test(levelised_matches_the_worked_example),
      cmocka_unit_test(levelised_agrees_with_the_annual_form),
      cmocka_unit_test(levelised_rises_with_the_rate),
      cmocka_unit_test(hut_offers_levelised),
      cmocka_unit_test(cold_store_offers_levelised),
      cmocka_unit_test(cold_store_breaks_even),
      cmocka_unit_test(break_even_inverts_the_annuity),
      cmocka_unit_test(what_never_pays_back_is_refused),
      cmocka_unit_test(cold_store_saves),
      cmocka_unit_test(savings_that_fall_pay_back_the_price),
      cmocka_unit_test(replaced_whenever_a_life_ends),
      cmocka_unit_test(a_later_cost_may_undo_the_payback),
      cmocka_unit_test(rising_tariff_is_a_geometric_series),
      cmocka_unit_test(bought_again_until_the_horizon),
      cmocka_unit_test(wrong_questions_are_refused_by_their_field),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
