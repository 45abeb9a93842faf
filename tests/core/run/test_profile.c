/*
** test_profile.c -- duties: energies of a day and of a year by hand, exact
** hour means of the half sine, and what a series must refuse.
*/
#include "support/lender.h"
#include "support/close.h"
#include "run/profile.h"
#include "base/text.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double KWH = 3.6e6;

/* The hut of tests/lua/test_hut.lua: 3.14 kWh a day, May to October, 2.4 kWp. */
static amp_daily hut (void) {
  static const double sun[] = {4.9, 5.3, 5.6, 5.0, 3.6, 2.1};
  amp_daily d = {.load_kwh = amp_value_fixed(3.14 * KWH, AMP_BASIS_ASSUMED),
                 .solar_peak = amp_value_fixed(2400, AMP_BASIS_ASSUMED),
                 .performance = amp_value_fixed(0.7, AMP_BASIS_ASSUMED),
                 .charge_efficiency = 1.0,
                 .temp_one = amp_value_fixed(285.15, AMP_BASIS_ASSUMED)};
  for (int m = 4; m < 10; m++) {
    d.month[m] = true;
    d.sun[m] = sun[m - 4];
  }
  return d;
}

static amp_daily every_day (double load_w) {
  amp_daily d = {.charge_efficiency = 1.0,
                 .temp_one = amp_value_fixed(288.15, AMP_BASIS_MEASURED)};
  for (int i = 0; i < 24; i++)
    d.load[i] = load_w;
  for (int m = 0; m < 12; m++)
    d.month[m] = true;
  return d;
}

static double total (const double *v, const amp_duty *d) {
  double sum = 0.0;
  for (size_t i = 0; i < d->n; i++)
    sum += v[i] * d->dt;
  return sum;
}

/* Scenario 1: 184 open days, 3.14 x 184 = 577.76 kWh AC a year; October sun
** 2.4 x 2.1 x 0.70 = 3.528 kWh a day; nothing at all from November on. */
static void hut_has_its_184_days (void **state) {
  amp_daily d = hut();
  amp_duty duty;
  amp_duty_month m[12];
  (void)state;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  assert_int_equal(duty.n, 8760);
  assert_close(duty.dt, 3600.0, 0.0);
  amp_duty_months(&duty, m);
  double days = 0.0;
  for (int i = 0; i < 12; i++)
    days += m[i].days;
  assert_close(days, 184.0, 0.0);
  assert_close(total(duty.ac, &duty) / KWH, 577.76, 1e-9);
  assert_close(m[9].pv / m[9].days / KWH, 3.528, 1e-12);
  assert_close(m[9].on_time, 31 * 86400.0, 0.0);
  assert_close(m[10].pv + m[10].ac + m[10].on_time + m[10].days, 0.0, 0.0);
  assert_close(m[10].temp, 285.15, 1e-9);
  assert_int_equal(duty.month_end[0], 744);
  assert_int_equal(duty.month_end[11], 8760);
  assert_int_equal(duty.basis, AMP_BASIS_ASSUMED);
  amp_duty_free(NULL, &duty);
  assert_null(duty.ac);
}

/* Half sine from 6 to 18 h of energy E: the integral from 6 to t is
** E/2 (1 - cos(pi (t-6)/12)). */
static void sun_is_the_integral_of_a_half_sine (void **state) {
  amp_daily d = hut();
  amp_duty duty;
  (void)state;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  const double *may = duty.pv + duty.month_end[3];
  double energy = 2400 * 0.7 * 4.9, sum = 0.0;
  assert_close(may[5], 0.0, 0.0);
  assert_close(may[18], 0.0, 0.0);
  for (int h = 6; h < 18; h++) {
    double pi = 3.14159265358979323846;
    sum += may[h];
    assert_close(sum, energy * 0.5 * (1 - cos(pi * (h - 5) / 12.0)), 1e-9);
    assert_close(may[h], may[23 - h], 1e-9); /* even about noon */
  }
  amp_duty_free(NULL, &duty);
}

/* 200 of 365: each run of days that work is as even as whole days allow. */
static void days_per_year_are_spread_evenly (void **state) {
  amp_daily d = every_day(100);
  amp_duty duty;
  amp_duty_month m[12];
  double days = 0.0;
  (void)state;
  d.days_per_year = 200;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  amp_duty_months(&duty, m);
  for (int i = 0; i < 12; i++) {
    double share = m[i].on_time / 86400.0;
    size_t len = duty.month_end[i] - (i > 0 ? duty.month_end[i - 1] : 0);
    days += m[i].days;
    assert_close(share, (double)len / 24.0 * 200.0 / 365.0, 1.0);
  }
  assert_close(days, 200.0, 0.0);
  assert_close(total(duty.ac, &duty) / KWH, 200 * 2.4, 1e-9);
  amp_duty_free(NULL, &duty);
}

/* A day off inside an open month has sun but neither load nor idle draw. */
static void days_off_keep_their_sun (void **state) {
  amp_daily d = hut();
  amp_duty duty, all;
  (void)state;
  assert_int_equal(amp_duty_daily(NULL, &d, &all, NULL), AMP_OK);
  d.days_per_year = 50;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  assert_close(total(duty.pv, &duty), total(all.pv, &all), 0.0);
  assert_close(total(duty.ac, &duty) / KWH, 50 * 3.14, 1e-9);
  for (size_t i = 0; i < duty.n; i++)
    assert_true(duty.on[i] == (duty.ac[i] > 0.0));
  amp_duty_free(NULL, &duty);
  amp_duty_free(NULL, &all);
}

/* Scenario 3: 6.4 kWh AC a night, 365 days: 2,336 kWh; none of it while
** the supply is on, and that supply is several times the day's need. */
static void from_battery_is_drawn_outside_the_free_supply (void **state) {
  amp_daily d = every_day(55);
  amp_duty duty;
  (void)state;
  d.from_battery = amp_value_fixed(6.4 * KWH, AMP_BASIS_CLAIMED);
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  assert_true(duty.supply_free);
  assert_close(total(duty.ac, &duty) / KWH, 2336.0, 1e-8);
  for (size_t i = 0; i < duty.n; i++) {
    bool noon = i % 24 == 11 || i % 24 == 12;
    assert_true(noon == (duty.pv[i] > 0.0));
    assert_true(noon == !(duty.ac[i] > 0.0));
  }
  assert_true((duty.pv[11] + duty.pv[12]) * 3600 >= 4 * 6.4 * KWH);
  assert_int_equal(duty.basis, AMP_BASIS_CLAIMED);
  amp_duty_free(NULL, &duty);
}

static void spreads_become_factors_of_the_same_draw (void **state) {
  amp_daily d = hut();
  amp_duty duty;
  (void)state;
  d.load_kwh = amp_value_normal(3.14 * KWH, 0.314 * KWH, AMP_BASIS_MEASURED);
  d.load_kwh.stream = 77;
  d.performance = amp_value_even(0.6, 0.8);
  d.performance.stream = 88;
  d.temp_one = amp_value_even(283.15, 287.15);
  d.temp_one.stream = 99;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  assert_int_equal(duty.load_factor.spread, AMP_NORMAL);
  assert_close(duty.load_factor.value, 1.0, 1e-15);
  assert_close(duty.load_factor.sd, 0.1, 1e-15);
  assert_true(duty.load_factor.stream == 77);
  assert_int_equal(duty.load_factor.basis, AMP_BASIS_MEASURED);
  assert_int_equal(duty.sun_factor.spread, AMP_EVEN);
  assert_close(duty.sun_factor.lo, 0.6 / 0.7, 1e-15);
  assert_close(duty.sun_factor.hi, 0.8 / 0.7, 1e-15);
  assert_true(duty.sun_factor.stream == 88);
  assert_close(duty.temp_shift.value, 0.0, 0.0);
  assert_close(duty.temp_shift.lo, -2.0, 1e-12);
  assert_close(duty.temp_shift.hi, 2.0, 1e-12);
  assert_true(duty.temp_shift.stream == 99);
  /* the same draw: factor times middle is the draw of the value itself */
  for (size_t k = 0; k < 20; k++)
    assert_close(amp_value_draw(&duty.load_factor, 1, k, 20) * 3.14 * KWH,
                 amp_value_draw(&d.load_kwh, 1, k, 20), 1e-6);
  amp_duty_free(NULL, &duty);
}

/* 3 % and 4 % make 5 %; the stream depends on both. */
static void two_spreads_of_the_sun_combine (void **state) {
  amp_daily d = hut();
  amp_duty duty, other;
  (void)state;
  d.solar_peak = amp_value_normal(2400, 72, AMP_BASIS_CLAIMED);
  d.performance = amp_value_normal(0.7, 0.028, AMP_BASIS_MEASURED);
  d.solar_peak.stream = 5;
  d.performance.stream = 6;
  assert_int_equal(amp_duty_daily(NULL, &d, &duty, NULL), AMP_OK);
  d.performance.stream = 7;
  assert_int_equal(amp_duty_daily(NULL, &d, &other, NULL), AMP_OK);
  assert_int_equal(duty.sun_factor.spread, AMP_NORMAL);
  assert_close(duty.sun_factor.sd, 0.05, 1e-12);
  assert_true(duty.sun_factor.stream != other.sun_factor.stream);
  assert_true(duty.sun_factor.stream != 0);
  /* the monthly sun hours are plain numbers, hence assumed */
  assert_int_equal(duty.sun_factor.basis, AMP_BASIS_ASSUMED);
  amp_duty_free(NULL, &duty);
  amp_duty_free(NULL, &other);
}

static void refuse (const amp_daily *d, const char *field, amp_status want) {
  amp_duty out = {.n = 12345};
  amp_error err = {.field = NULL};
  assert_int_equal(amp_duty_daily(NULL, d, &out, &err), want);
  assert_non_null(err.field);
  assert_string_equal(err.field, field);
  assert_int_equal(out.n, 12345);
}

static void a_wrong_day_is_refused_by_its_field (void **state) {
  amp_daily d = every_day(100);
  (void)state;
  d.load[7] = (double)NAN;
  refuse(&d, "load", AMP_ERANGE);
  d = every_day(-1);
  refuse(&d, "load", AMP_ERANGE);
  d = every_day(100);
  d.days_per_year = 366;
  refuse(&d, "days_per_year", AMP_ERANGE);
  d.days_per_year = 10.5;
  refuse(&d, "days_per_year", AMP_ERANGE);
  d = every_day(100);
  memset(d.month, 0, sizeof d.month);
  refuse(&d, "months", AMP_EMISSING);
  d = hut();
  d.performance.value = 70; /* percent for a share */
  refuse(&d, "performance", AMP_ERANGE);
  d = hut();
  d.performance = (amp_value){.spread = AMP_UNSET};
  refuse(&d, "performance", AMP_EMISSING);
  d = hut();
  d.sun[9] = 25;
  refuse(&d, "sun", AMP_ERANGE);
  d = hut();
  d.temp_one.value = 12; /* celsius for kelvin */
  refuse(&d, "temp", AMP_ERANGE);
  d = hut();
  d.charge_efficiency = 0;
  refuse(&d, "charge_efficiency", AMP_ERANGE);
}

/* ---- series ---------------------------------------------------------- */

typedef struct rows {
  double *time, *value;
  amp_series s;
} rows;

/* n rows from 'first' s after midnight; the value is the row's number. */
static rows rows_make (size_t n, double dt, double first) {
  rows r = {.time = malloc(n * sizeof(double)),
            .value = malloc(n * sizeof(double))};
  assert_non_null(r.time);
  assert_non_null(r.value);
  for (size_t i = 0; i < n; i++) {
    r.time[i] = 1.2e9 + (double)i * dt;
    r.value[i] = (double)i;
  }
  r.s = (amp_series){.n = n, .time = r.time, .first = first, .ac = r.value};
  return r;
}

static void rows_free (rows *r) {
  free(r->time);
  free(r->value);
}

static void leap_day_is_dropped (void **state) {
  rows r = rows_make(8784, 3600, 0);
  amp_duty d;
  (void)state;
  r.s.leap = true;
  r.s.basis = AMP_BASIS_MEASURED;
  assert_int_equal(amp_duty_series(NULL, &r.s, &d, NULL), AMP_OK);
  assert_int_equal(d.n, 8760);
  assert_close(d.ac[59 * 24 - 1], 59 * 24 - 1, 0.0);
  assert_close(d.ac[59 * 24], 60 * 24, 0.0); /* 1 March after 28 February */
  assert_close(d.ac[8759], 8783, 0.0);
  assert_int_equal(d.month_end[1], 59 * 24);
  assert_string_equal(d.note, "29 February dropped; no temperature given, "
                              "25 C assumed");
  assert_int_equal(d.load_factor.basis, AMP_BASIS_MEASURED);
  assert_int_equal(d.temp_shift.basis, AMP_BASIS_ASSUMED);
  amp_duty_free(NULL, &d);
  rows_free(&r);
}

/* From 17:00 on 8 July (day 188) for 50 hours: 7 rows until midnight, one
** whole day, 19 rows after it. July ends with the duty. */
static void part_days_are_dropped_and_told (void **state) {
  rows r = rows_make(50, 3600, 17 * 3600.0);
  amp_duty d;
  amp_duty_month m[12];
  (void)state;
  r.s.first_day_of_year = 188;
  r.s.temp = NULL;
  assert_int_equal(amp_duty_series(NULL, &r.s, &d, NULL), AMP_OK);
  assert_int_equal(d.n, 24);
  assert_close(d.ac[0], 7.0, 0.0);
  assert_string_equal(d.note,
                      "7 rows of a part day at the start dropped; 19 rows "
                      "of a part day at the end dropped; no temperature "
                      "given, 25 C assumed");
  assert_int_equal(d.month_end[5], 0);
  assert_int_equal(d.month_end[6], 24);
  assert_int_equal(d.month_end[11], 24);
  amp_duty_months(&d, m);
  assert_close(m[6].days, 1.0, 0.0);
  assert_close(m[6].ac, 3600.0 * (7 + 30) * 24 / 2, 1e-6);
  assert_close(m[5].days + m[7].days, 0.0, 0.0);
  amp_duty_free(NULL, &d);
  rows_free(&r);
}

/* A year from 1 July (day 181) is turned so that January comes first. */
static void a_year_from_july_is_turned (void **state) {
  rows r = rows_make(365 * 24, 3600, 0);
  amp_duty d;
  (void)state;
  r.s.first_day_of_year = 181;
  assert_int_equal(amp_duty_series(NULL, &r.s, &d, NULL), AMP_OK);
  assert_int_equal(d.n, 8760);
  assert_close(d.ac[0], (365 - 181) * 24, 0.0);
  assert_close(d.ac[181 * 24], 0.0, 0.0);
  assert_int_equal(d.month_end[0], 744);
  assert_non_null(strstr(d.note, "turned"));
  amp_duty_free(NULL, &d);
  rows_free(&r);
}

/* Leap year from 1 March (day 60): no leap day inside; it is day 59 of the
** year of 365. Two years: the first is kept. */
static void the_calendar_after_a_leap_day (void **state) {
  rows r = rows_make(31 * 24, 3600, 0);
  amp_duty d;
  (void)state;
  r.s.first_day_of_year = 60;
  r.s.leap = true;
  assert_int_equal(amp_duty_series(NULL, &r.s, &d, NULL), AMP_OK);
  assert_int_equal(d.n, 31 * 24);
  assert_int_equal(d.month_end[1], 0);
  assert_int_equal(d.month_end[2], 31 * 24);
  amp_duty_free(NULL, &d);
  rows_free(&r);
  r = rows_make(730 * 24, 3600, 0);
  assert_int_equal(amp_duty_series(NULL, &r.s, &d, NULL), AMP_OK);
  assert_int_equal(d.n, 8760);
  assert_close(d.ac[8759], 8759, 0.0);
  assert_non_null(strstr(d.note, "first 365 days"));
  amp_duty_free(NULL, &d);
  rows_free(&r);
}

static void refuse_rows (const amp_series *s, amp_status want, size_t line) {
  amp_duty out = {.n = 12345};
  amp_error err = {.line = 0};
  assert_int_equal(amp_duty_series(NULL, s, &out, &err), want);
  assert_int_equal(err.line, line);
  assert_int_equal(out.n, 12345);
}

static void gaps_and_backward_times_name_their_row (void **state) {
  rows r = rows_make(48, 3600, 0);
  (void)state;
  r.time[20] += 3600; /* row 21: gap, and the next stands still */
  refuse_rows(&r.s, AMP_EDATA, 21);
  r.time[20] = r.time[10];
  refuse_rows(&r.s, AMP_EDATA, 21);
  r.time[20] = (double)NAN;
  refuse_rows(&r.s, AMP_EDATA, 21);
  rows_free(&r);
  r = rows_make(48, 3600, 0);
  r.value[5] = -1;
  refuse_rows(&r.s, AMP_ERANGE, 6);
  r.value[5] = (double)INFINITY;
  refuse_rows(&r.s, AMP_ERANGE, 6);
  r.value[5] = 5;
  r.s.n = 23; /* not a whole day */
  refuse_rows(&r.s, AMP_EDATA, 0);
  r.s.n = 1;
  refuse_rows(&r.s, AMP_EDATA, 0);
  rows_free(&r);
  r = rows_make(480, 1000, 0); /* 86.4 steps a day */
  refuse_rows(&r.s, AMP_EDATA, 0);
  rows_free(&r);
}

/* ---- load of one, sun of another ------------------------------------- */

/* Seven days of minutes with seven days of hours: energies stay. */
static void a_week_of_minutes_meets_hours_of_sun (void **state) {
  rows minute = rows_make(7 * 1440, 60, 0), hour = rows_make(7 * 24, 3600, 0);
  amp_duty load, sun, net;
  (void)state;
  hour.s.pv = hour.s.ac;
  hour.s.ac = NULL;
  assert_int_equal(amp_duty_series(NULL, &minute.s, &load, NULL), AMP_OK);
  assert_int_equal(amp_duty_series(NULL, &hour.s, &sun, NULL), AMP_OK);
  assert_int_equal(amp_duty_net(NULL, &load, &sun, 4.2, NULL, &net, NULL),
                   AMP_OK);
  assert_int_equal(net.n, 7 * 1440);
  assert_close(net.dt, 60.0, 0.0);
  assert_close(total(net.ac, &net), total(load.ac, &load), 0.0);
  assert_close(total(net.pv, &net) / total(sun.pv, &sun), 4.2, 1e-12);
  assert_close(net.pv[60 * 5 + 59], 5 * 4.2, 1e-12);
  assert_close(net.pv[60 * 6], 6 * 4.2, 1e-12);
  assert_int_equal(net.month_end[0], net.n);
  assert_non_null(strstr(net.note, "sun repeated in finer steps"));
  assert_non_null(strstr(net.note, "no temperature given"));
  amp_duty_free(NULL, &net);
  amp_duty_free(NULL, &sun);
  amp_duty_free(NULL, &load);
  rows_free(&minute);
  rows_free(&hour);
}

/* A year of hours of load, the sun and the temperature of two days' kinds;
** months, spreads and notes come from where the arrays come from. */
static void a_year_takes_each_part_from_its_source (void **state) {
  rows r = rows_make(8760, 3600, 0);
  amp_daily sunny = hut(), cold = every_day(0);
  amp_duty load, sun, temp, net;
  (void)state;
  sunny.performance = amp_value_even(0.6, 0.8);
  cold.temp_one = amp_value_normal(270, 2, AMP_BASIS_MEASURED);
  r.s.basis = AMP_BASIS_MEASURED;
  assert_int_equal(amp_duty_series(NULL, &r.s, &load, NULL), AMP_OK);
  assert_int_equal(amp_duty_daily(NULL, &sunny, &sun, NULL), AMP_OK);
  assert_int_equal(amp_duty_daily(NULL, &cold, &temp, NULL), AMP_OK);
  assert_int_equal(amp_duty_net(NULL, &load, &sun, 1.0, &temp, &net, NULL),
                   AMP_OK);
  assert_close(net.temp[5000], 270.0, 0.0);
  assert_int_equal(net.temp_shift.spread, AMP_NORMAL);
  assert_int_equal(net.sun_factor.spread, AMP_EVEN);
  assert_int_equal(net.basis, AMP_BASIS_ASSUMED);
  assert_int_equal(
      memcmp(net.month_end, load.month_end, sizeof net.month_end), 0);
  assert_string_equal(net.note, ""); /* the load's 25 C is not used */
  amp_duty_free(NULL, &net);
  amp_duty_free(NULL, &temp);
  amp_duty_free(NULL, &sun);
  amp_duty_free(NULL, &load);
  rows_free(&r);
}

/* 15 and 10 minutes meet in 5. */
static void uneven_steps_meet_in_their_common_step (void **state) {
  rows a = rows_make(96, 900, 0), b = rows_make(144, 600, 0);
  amp_duty load, sun, net;
  (void)state;
  b.s.pv = b.s.ac;
  b.s.ac = NULL;
  assert_int_equal(amp_duty_series(NULL, &a.s, &load, NULL), AMP_OK);
  assert_int_equal(amp_duty_series(NULL, &b.s, &sun, NULL), AMP_OK);
  assert_int_equal(amp_duty_net(NULL, &load, &sun, 1.0, NULL, &net, NULL),
                   AMP_OK);
  assert_close(net.dt, 300.0, 0.0);
  assert_close(total(net.ac, &net), total(load.ac, &load), 1e-6);
  assert_close(total(net.pv, &net), total(sun.pv, &sun), 1e-6);
  amp_duty_free(NULL, &net);
  amp_duty_free(NULL, &sun);
  amp_duty_free(NULL, &load);
  rows_free(&a);
  rows_free(&b);
}

static void unequal_lengths_are_refused (void **state) {
  rows r = rows_make(48, 3600, 0);
  amp_daily d = hut();
  amp_duty load, sun, net = {.n = 12345};
  amp_error err;
  (void)state;
  assert_int_equal(amp_duty_series(NULL, &r.s, &load, NULL), AMP_OK);
  assert_int_equal(amp_duty_daily(NULL, &d, &sun, NULL), AMP_OK);
  assert_int_equal(amp_duty_net(NULL, &load, &sun, 1.0, NULL, &net, &err),
                   AMP_EDATA);
  assert_string_equal(err.text, "the load has 2 days, the sun has 365");
  assert_int_equal(
      amp_duty_net(NULL, &sun, &sun, (double)NAN, NULL, &net, &err),
      AMP_ERANGE);
  assert_int_equal(net.n, 12345);
  amp_duty_free(NULL, &sun);
  amp_duty_free(NULL, &load);
  rows_free(&r);
}

/* ---- measured data, where they are at hand ---------------------------- */

/* Column 'name' of a CSV below $AMPSTEAD_SHARED; NULL where it is absent. */
static double *shared_column (const char *file, const char *name, size_t *n) {
  const char *root = getenv("AMPSTEAD_SHARED");
  char path[1024];
  amp_csv *csv;
  if (root == NULL)
    return NULL;
  snprintf(path, sizeof path, "%s/data/load/%s", root, file);
  FILE *f = fopen(path, "rb");
  if (f == NULL)
    return NULL;
  enum { ROOM = 1 << 20 };
  char *text = malloc(ROOM);
  assert_non_null(text);
  size_t size = fread(text, 1, ROOM, f);
  fclose(f);
  assert_true(size < ROOM);
  assert_int_equal(amp_csv_read(NULL, text, size, NULL, &csv, NULL), AMP_OK);
  free(text);
  *n = amp_csv_rows(csv);
  double *v = malloc(*n * sizeof *v);
  bool given;
  assert_non_null(v);
  for (size_t i = 0; i < *n; i++)
    assert_int_equal(
        amp_csv_number(csv, i, amp_csv_find(csv, name), &v[i], &given, NULL),
        AMP_OK);
  amp_csv_free(NULL, csv);
  return v;
}

/* A series of a file from 1 January 0 h; n stays 0 where it is absent. */
static amp_duty shared_duty (const char *file, const char *name, bool pv,
                             bool leap) {
  amp_duty d = {.n = 0};
  size_t n = 0;
  double *time = shared_column(file, "time_s", &n);
  double *value = shared_column(file, name, &n);
  if (time != NULL && value != NULL) {
    amp_series s = {.n = n,
                    .time = time,
                    .leap = leap,
                    .ac = pv ? NULL : value,
                    .pv = pv ? value : NULL};
    assert_int_equal(amp_duty_series(NULL, &s, &d, NULL), AMP_OK);
  }
  free(time);
  free(value);
  return d;
}

/* One house near Paris in 2008: 9392.6637 kWh without 29 February; its
** first six whole days by the minute 203.5682 kWh; an array 1505.9178 kWh
** per kWp (sums of the files' columns, done apart from this code). */
static void a_real_house_keeps_its_energy (void **state) {
  amp_duty house =
      shared_duty("household_a_2008_hourly.csv", "load_W", false, true);
  amp_duty week =
      shared_duty("household_a_2008_week01_1min.csv", "load_W", false, true);
  amp_duty sun = shared_duty("pv_modelled_39.7N_105.2W_hourly.csv",
                             "pv_ac_W_per_kWp", true, false);
  amp_duty net;
  (void)state;
  if (house.n == 0 || week.n == 0 || sun.n == 0) {
    print_message("skipped: AMPSTEAD_SHARED names no data\n");
    skip();
  }
  assert_close(total(house.ac, &house) / KWH, 9392.6637, 1e-6);
  assert_int_equal(week.n, 6 * 1440);
  assert_close(total(week.ac, &week) / KWH, 203.5682, 1e-6);
  assert_int_equal(amp_duty_net(NULL, &house, &sun, 4.2, NULL, &net, NULL),
                   AMP_OK);
  assert_close(total(net.pv, &net) / KWH, 4.2 * 1505.9178, 1e-6);
  assert_close(total(net.ac, &net), total(house.ac, &house), 0.0);
  amp_duty_free(NULL, &net);
  amp_duty_free(NULL, &sun);
  amp_duty_free(NULL, &week);
  amp_duty_free(NULL, &house);
}

static void no_memory_leaves_nothing_behind (void **state) {
  lender p = {0};
  amp_context ctx = {.user = &p, .alloc = lend, .workers = 1};
  amp_daily d = hut();
  amp_duty out = {.n = 12345};
  (void)state;
  for (int calls = 0; calls < 5; calls++) {
    p.last = p.calls + (size_t)calls;
    assert_int_equal(amp_duty_daily(&ctx, &d, &out, NULL), AMP_ENOMEM);
    assert_int_equal(p.bytes, 0);
    assert_int_equal(out.n, 12345);
  }
  p.last = p.calls + 5;
  assert_int_equal(amp_duty_daily(&ctx, &d, &out, NULL), AMP_OK);
  amp_duty_free(&ctx, &out);
  assert_int_equal(p.bytes, 0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(hut_has_its_184_days),
      cmocka_unit_test(sun_is_the_integral_of_a_half_sine),
      cmocka_unit_test(days_per_year_are_spread_evenly),
      cmocka_unit_test(days_off_keep_their_sun),
      cmocka_unit_test(from_battery_is_drawn_outside_the_free_supply),
      cmocka_unit_test(spreads_become_factors_of_the_same_draw),
      cmocka_unit_test(two_spreads_of_the_sun_combine),
      cmocka_unit_test(a_wrong_day_is_refused_by_its_field),
      cmocka_unit_test(leap_day_is_dropped),
      cmocka_unit_test(part_days_are_dropped_and_told),
      cmocka_unit_test(a_year_from_july_is_turned),
      cmocka_unit_test(the_calendar_after_a_leap_day),
      cmocka_unit_test(gaps_and_backward_times_name_their_row),
      cmocka_unit_test(a_week_of_minutes_meets_hours_of_sun),
      cmocka_unit_test(a_year_takes_each_part_from_its_source),
      cmocka_unit_test(uneven_steps_meet_in_their_common_step),
      cmocka_unit_test(unequal_lengths_are_refused),
      cmocka_unit_test(a_real_house_keeps_its_energy),
      cmocka_unit_test(no_memory_leaves_nothing_behind),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
