/*
** test_alternative.c -- grid, generator and a battery of stated life: money
** worked by hand, beside closed forms.
*/
#include "support/close.h"
#include "job/alternative.h"
#include <string.h>

enum { HOURS = 8760 };

static double ac[HOURS], none[HOURS], temp[HOURS];
static unsigned char on[HOURS];
static const size_t month_end[12] = {31,  59,  90,  120, 151, 181,
                                     212, 243, 273, 304, 334, 365};

/* A year of hours, the same load in each day's hours from .. to. */
static amp_duty duty (double watts, int from, int to) {
  amp_duty d = {.n = HOURS,
                .dt = 3600.0,
                .ac = ac,
                .dc = none,
                .pv = none,
                .temp = temp,
                .on = on,
                .charge_efficiency = 1.0,
                .supply_free = true};
  for (int k = 0; k < HOURS; k++) {
    ac[k] = k % 24 >= from && k % 24 < to ? watts : 0.0;
    on[k] = 1;
    temp[k] = 288.15;
  }
  for (int m = 0; m < 12; m++)
    d.month_end[m] = 24 * month_end[m];
  return d;
}

static amp_alternative_ask ask_of (const amp_duty *d) {
  return (amp_alternative_ask){.duty = d,
                               .efficiency = 1.0,
                               .horizon = 15.0,
                               .rate = 0.05,
                               .tariff = 0.29 / 3.6e6,
                               .charge_price = 0.12 / 3.6e6};
}

static amp_alternative nothing (amp_alternative_kind kind) {
  return (amp_alternative){.kind = kind,
                           .again = NAN,
                           .life = NAN,
                           .run_time = NAN,
                           .overhaul_time = NAN,
                           .overhaul = NAN,
                           .life_time = NAN};
}

static amp_alternative_answer answer (const amp_alternative *a,
                                      const amp_alternative_ask *ask) {
  amp_alternative_answer out;
  amp_error err = {0};
  if (amp_alternative_cost(NULL, a, ask, &out, &err) != AMP_OK)
    fail_msg("refused: %s %s", err.field, err.text);
  return out;
}

/* 6.4 kWh a day: 2,336 kWh a year, each for the tariff; a connection of
** 1,000 and 60 a year standing add (1000/PA + 60)/2336. */
static void grid_costs_its_tariff (void **state) {
  amp_duty d = duty(400.0, 6, 22);
  amp_alternative_ask ask = ask_of(&d);
  amp_alternative a = nothing(AMP_ALTERNATIVE_GRID);
  (void)state;
  amp_alternative_answer r = answer(&a, &ask);
  assert_close(r.served / 3.6e6, 2336.0, 1e-6);
  assert_close(r.levelised, 0.29, 1e-12);
  assert_close(r.per_delivered, 0.29, 1e-12);
  assert_close(r.first, 0.0, 0.0);
  a.price = 1000.0;
  a.running = 60.0;
  r = answer(&a, &ask);
  assert_close(r.levelised,
               0.29 + (1000.0 / amp_cash_pa(0.05, 15) + 60.0) / 2336.0,
               1e-12);
  assert_close(r.present, 2336.0 * 10.3797, 0.2);
}

/*
** 1.0 kW ten hours a day, 3,650 h and kWh a year; 0.4 l/h idle and 0.5 more
** at 2 kW: 0.65 l/h at 1 kW, 2,372.5 l. Worn out after 20,000 h: 5.48, so 5
** whole years. Every 8,000 h of each machine an overhaul of 300: after 2.19
** and 4.38 years, so by the end of years 3, 5, 8, 10, 13, 15.
*/
static void generator_burns_and_wears (void **state) {
  amp_duty d = duty(1000.0, 8, 18);
  amp_alternative_ask ask = ask_of(&d);
  amp_alternative a = nothing(AMP_ALTERNATIVE_GENERATOR);
  double paid = 0.0;
  (void)state;
  a.price = 900.0;
  a.power = 2000.0;
  a.points = 2;
  a.load[1] = 2000.0;
  a.fuel[0] = 0.4 / 3600.0;
  a.fuel[1] = 0.9 / 3600.0;
  a.fuel_price = 1.80;
  a.overhaul_time = 8000.0 * 3600.0;
  a.overhaul = 300.0;
  a.life_time = 20000.0 * 3600.0;
  amp_alternative_answer r = answer(&a, &ask);
  assert_close(r.run_time / 3600.0, 3650.0, 1e-6);
  assert_close(r.fuel, 2372.5, 1e-6);
  assert_close(r.energy_cost, 4270.5, 1e-6);
  assert_int_equal(r.life, 5);
  assert_int_equal(r.unused, 0);
  for (int t = 1; t <= 15; t++) {
    double w = 1.0 / amp_cash_fp(0.05, t);
    paid += 4270.5 * w;
    if (t % 5 == 3 || t % 5 == 0)
      paid += 300.0 * w;
    if (t == 5 || t == 10)
      paid += 900.0 * w;
  }
  assert_close(r.levelised, (900.0 + paid) / (3650.0 * amp_cash_pa(0.05, 15)),
               1e-12);
  assert_close(r.per_delivered,
               (3 * 900.0 + 6 * 300.0 + 15 * 4270.5) / (15 * 3650.0), 1e-12);
  /* five hours a day at 2 kW: the idle burns half as long */
  a.run_time = 5.0 * 3600.0;
  r = answer(&a, &ask);
  assert_close(r.fuel, 1825.0 * 0.9, 1e-6);
  assert_close(r.run_time / 3600.0, 1825.0, 1e-6);
}

/* Money for overhauls of 150 alone, over the years of the horizon. */
static double overhauled (double hours_a_day, double each, double life) {
  amp_duty d = duty(1000.0, 8, 18);
  amp_alternative_ask ask = ask_of(&d);
  amp_alternative a = nothing(AMP_ALTERNATIVE_GENERATOR);
  ask.horizon = 10.0;
  a.power = 1e5;
  a.fuel_per_joule = 1e-9;
  a.run_time = hours_a_day * 3600.0;
  a.life_time = life * 3600.0;
  a.overhaul_time = each * 3600.0;
  a.overhaul = 150.0;
  amp_alternative_answer r = answer(&a, &ask);
  return r.per_delivered * r.served / 3.6e6 * r.years;
}

/* Counted by hand. 1,000 h a year: each 1,000 h of a life of 5,000, after
** years 1 to 4 and 6 to 9; each 700 h of it, at 700, 1,400, .. 4,900 h, twice
** seven; where it outlives the horizon, 1 to 9. */
static void overhaul_counts_from_the_replacement (void **state) {
  double day = 1000.0 / 365.0;
  (void)state;
  assert_close(overhauled(day, 1000.0, 5000.0), 8 * 150.0, 1e-6);
  assert_close(overhauled(day, 700.0, 5000.0), 14 * 150.0, 1e-6);
  assert_close(overhauled(day, 1000.0, NAN), 9 * 150.0, 1e-6);
  assert_close(overhauled(day, 1000.0, 1e5), 9 * 150.0, 1e-6);
  assert_close(overhauled(day, 20000.0, NAN), 0.0, 1e-6);
  /* worn out after a year of 1,460 h, before the first of 2,000 h */
  assert_close(overhauled(4.0, 2000.0, 1500.0), 0.0, 1e-6);
}

/*
** 24 lead-acid cells, 3,600 and 250 beside, said to last 6 years: 2,336 kWh
** a year, charged at 0.12/0.80 = 0.15; new sets after 6 and 12 years.
*/
static void battery_is_replaced_as_long_as_it_is_said_to_last (void **state) {
  amp_duty d = duty(400.0, 6, 22);
  amp_alternative_ask ask = ask_of(&d);
  amp_alternative a = nothing(AMP_ALTERNATIVE_BATTERY);
  (void)state;
  a.price = 3600.0;
  a.rest = 250.0;
  a.life = 6.7;
  a.usable = 12.0 * 3.6e6;
  a.round_trip = 0.80;
  ask.efficiency = 0.93;
  amp_alternative_answer r = answer(&a, &ask);
  double sets =
      3850.0 + 3600.0 / amp_cash_fp(0.05, 6) + 3600.0 / amp_cash_fp(0.05, 12);
  assert_close(r.levelised, sets / (2336.0 * amp_cash_pa(0.05, 15)) + 0.15,
               1e-12);
  assert_close(r.per_delivered, (3850.0 + 7200.0) / (2336.0 * 15), 1e-12);
  assert_int_equal(r.life, 6);
  assert_int_equal(r.unused, 3);
  assert_close(r.unserved, 0.0, 1e-3);
  a.residual = 1800.0;
  double less = answer(&a, &ask).levelised;
  assert_close(r.levelised - less,
               1800.0 / amp_cash_fp(0.05, 15) /
                   (2336.0 * amp_cash_pa(0.05, 15)),
               1e-12);
  /* too small a one gives no more than it holds: 4 kWh x 0.93 a day */
  a.usable = 4.0 * 3.6e6;
  r = answer(&a, &ask);
  assert_close(r.served / 3.6e6, 365 * 4.0 * 0.93, 1e-6);
  assert_close(r.unserved / 3.6e6, 365 * (6.4 - 4.0 * 0.93), 1e-6);
}

/* 0.14 from 22 to 6 h, 0.32 by day: the load from 4 to 8 h falls half into
** either. */
static void tariff_falls_as_the_load_does (void **state) {
  amp_duty d = duty(400.0, 4, 8);
  double price[24];
  unsigned char hours[24] = {0};
  (void)state;
  for (int h = 0; h < 24; h++)
    price[h] = h >= 22 || h < 6 ? 0.14 : 0.32;
  assert_close(amp_tariff_mean(price, &d, NULL), 0.23, 1e-12);
  hours[5] = hours[6] = hours[7] = 1;
  assert_close(amp_tariff_mean(price, &d, hours), (0.14 + 0.64) / 3, 1e-12);
  d = duty(0.0, 0, 24);
  assert_true(isnan(amp_tariff_mean(price, &d, NULL)));
}

static void what_is_wanting_is_refused (void **state) {
  amp_duty d = duty(400.0, 6, 22);
  amp_alternative_ask ask = ask_of(&d);
  amp_alternative_answer r;
  amp_error err = {0};
  (void)state;
  amp_alternative a = nothing(AMP_ALTERNATIVE_GRID);
  ask.tariff = NAN;
  assert_int_equal(amp_alternative_cost(NULL, &a, &ask, &r, &err),
                   AMP_EMISSING);
  assert_string_equal(err.field, "import_price");
  a = nothing(AMP_ALTERNATIVE_BATTERY);
  a.usable = 3.6e7;
  a.round_trip = 0.8;
  assert_int_equal(amp_alternative_cost(NULL, &a, &ask, &r, &err),
                   AMP_EMISSING);
  assert_string_equal(err.field, "life");
  a.life = 6;
  d.supply_free = false;
  assert_int_equal(amp_alternative_cost(NULL, &a, &ask, &r, &err),
                   AMP_EREFUSED);
  a = nothing(AMP_ALTERNATIVE_GENERATOR);
  a.power = 300.0;
  a.fuel_price = 1.8;
  a.fuel_per_joule = 1e-7;
  assert_int_equal(amp_alternative_cost(NULL, &a, &ask, &r, &err),
                   AMP_EREFUSED);
  assert_non_null(strstr(err.text, "400 W"));
  a.power = 3000.0;
  a.life_time = 1000.0 * 3600.0; /* 5,840 h a year */
  assert_int_equal(amp_alternative_cost(NULL, &a, &ask, &r, &err),
                   AMP_EREFUSED);
  assert_string_equal(err.field, "life_time");
  a.life_time = NAN;
  d = duty(0.0, 0, 24);
  assert_int_equal(amp_alternative_cost(NULL, &a, &ask, &r, &err),
                   AMP_EREFUSED);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(grid_costs_its_tariff),
      cmocka_unit_test(generator_burns_and_wears),
      cmocka_unit_test(overhaul_counts_from_the_replacement),
      cmocka_unit_test(battery_is_replaced_as_long_as_it_is_said_to_last),
      cmocka_unit_test(tariff_falls_as_the_load_does),
      cmocka_unit_test(what_is_wanting_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
