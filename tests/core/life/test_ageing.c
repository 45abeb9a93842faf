/*
** test_ageing.c -- the published models against values worked out from
** their equations by independent arithmetic (R = 8.314 J/(mol K), table by
** table as docs/model/ageing.md lists them), and the laws every model keeps.
*/
#include "support/close.h"
#include "life/ageing.h"
#include <string.h>

#define DAY 86400.0
#define KELVIN(c) ((c) + 273.15)

/* A stretch at rest: 25 C, 50 % SoC, 3.7 V. */
static amp_stress rest (double days, double c) {
  amp_stress s = {.time = days * DAY,
                  .temp = KELVIN(c),
                  .soc = 0.5,
                  .v_mean = 3.7,
                  .v_rms = 3.7};
  return s;
}

/* fec full cycles of one depth, both directions. */
static void cycled (amp_stress *s, double fec, double dod, double rate) {
  s->fec = s->fec_in = fec;
  s->efc = fec;
  s->dod = dod;
  s->c_rate = rate;
}

static const amp_ageing *model (const char *name) {
  const amp_ageing *m = amp_ageing_find(name);
  assert_non_null(m);
  return m;
}

static void sums (const amp_ageing *m, const amp_stress *s, double sum[]) {
  unsigned outside = 0;
  amp_error err;
  assert_int_equal(amp_ageing_terms(m, s, sum, &outside, &err), AMP_OK);
}

/* percent */
static double loss_of (const char *name, const amp_stress *s) {
  double sum[AMP_AGEING_TERMS];
  sums(model(name), s, sum);
  return 100.0 * amp_ageing_loss(model(name), sum);
}

static double rise_of (const char *name, const amp_stress *s) {
  double sum[AMP_AGEING_TERMS];
  sums(model(name), s, sum);
  return 100.0 * amp_ageing_resistance(model(name), sum);
}

static unsigned flags_of (const char *name, const amp_stress *s) {
  double sum[AMP_AGEING_TERMS];
  unsigned outside = 0;
  assert_int_equal(amp_ageing_terms(model(name), s, sum, &outside, NULL),
                   AMP_OK);
  return outside;
}

/* Wang et al. 2011, equation with its four B; digits printed: 1e-4 %. */
static void wang_gives_the_equation_at_its_four_rates (void **state) {
  static const struct {
    double rate, c, ah, want;
  } row[] = {{0.5, 25, 2000, 6.2258},   {0.5, 60, 1800, 22.3410},
             {2.0, 60, 1000, 13.5449},  {6.0, 45, 1000, 8.3513},
             {10.0, 45, 1000, 17.5342}, {0.5, 15, 4800, 6.4818}};
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_stress s = rest(0, row[i].c);
    cycled(&s, row[i].ah / 2.0, 1.0, row[i].rate); /* counted as 2 Ah */
    assert_close(loss_of("lfp_throughput", &s), row[i].want, 6e-5);
  }
}

/* 20 % at 25 C: 8346.7 full cycles at C/2, 22071.2 Ah at 2C. */
static void wang_reaches_20_percent_where_the_equation_does (void **state) {
  amp_stress s = rest(0, 25);
  (void)state;
  cycled(&s, 16693.5 / 2.0, 1.0, 0.5);
  assert_close(loss_of("lfp_throughput", &s), 20.0, 1e-4);
  cycled(&s, 22071.2 / 2.0, 1.0, 2.0);
  assert_close(loss_of("lfp_throughput", &s), 20.0, 1e-4);
}

/* Between rates B is linear: at 4C (21681 + 12934) / 2 = 17307.5; by hand
** exp((-31700 + 1481.2)/(8.314 298.15)) = exp(-12.190783) = 5.07723e-6. */
static void wang_interpolates_between_rates_and_holds_beyond (void **state) {
  amp_stress s = rest(0, 25), slow;
  (void)state;
  cycled(&s, 1000, 1.0, 4.0);
  assert_close(loss_of("lfp_throughput", &s),
               17307.5 * exp(-30218.8 / (8.314 * 298.15)) * pow(2000.0, 0.55),
               1e-9);
  cycled(&s, 1000, 1.0, 0.5);
  slow = s;
  slow.c_rate = 0.05;
  assert_close(loss_of("lfp_throughput", &slow),
               loss_of("lfp_throughput", &s), 0.0);
  assert_int_equal(flags_of("lfp_throughput", &s), 0);
  assert_int_equal(flags_of("lfp_throughput", &slow), AMP_OUTSIDE_RATE);
}

/* Schmalstieg et al. 2014, storage. */
static void schmalstieg_gives_calendar_loss_and_resistance (void **state) {
  static const struct {
    double c, v, days, loss, rise;
  } row[] = {{50, 3.7, 365, 14.6348, 23.9431},
             {35, 3.7, 365, 5.1170, 9.7180},
             {40, 4.1, 365, 12.6736, 22.0394},
             {25, 3.7, 3650, 13.4667, 28.4851},
             {25, 3.9, 3650, 18.3514, 37.9294}};
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_stress s = rest(row[i].days, row[i].c);
    s.v_mean = s.v_rms = row[i].v;
    assert_close(loss_of("nmc_voltage_depth", &s), row[i].loss, 6e-5);
    assert_close(rise_of("nmc_voltage_depth", &s), row[i].rise, 6e-5);
  }
}

/* The same, cycles alone: Q = 2 x 2.05 Ah per full cycle, both ways; and
** the other reading, in which Q counts the discharge alone. */
static void schmalstieg_gives_cycle_loss_and_resistance (void **state) {
  static const struct {
    double v, dod, fec, loss, rise, loss_out;
  } row[] = {{3.7, 0.8, 1000, 25.8225, 85.5935, 18.2593},
             {3.7, 0.2, 1000, 10.1438, 16.7627, 7.1728},
             {3.9, 0.1, 3000, 17.3790, 23.8172, 12.2888},
             {3.7, 1.0, 500, 21.9548, 54.2685, 15.5244}};
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_stress s = rest(0, 35);
    s.v_mean = s.v_rms = row[i].v;
    cycled(&s, row[i].fec, row[i].dod, 1.0);
    assert_close(loss_of("nmc_voltage_depth", &s), row[i].loss, 6e-5);
    assert_close(rise_of("nmc_voltage_depth", &s), row[i].rise, 6e-5);
    s.fec_in = 0.0;
    assert_close(loss_of("nmc_voltage_depth", &s), row[i].loss_out, 6e-5);
  }
}

/* Q moved in one direction only: the paper's table of the other reading. */
static void schmalstieg_counts_both_directions (void **state) {
  amp_stress s = rest(0, 35);
  (void)state;
  cycled(&s, 1000, 0.8, 1.0);
  s.fec_in = 0.0;
  assert_close(loss_of("nmc_voltage_depth", &s), 18.2593, 6e-5);
}

/* 35 C, 3.7 V, one 60 % cycle a day for 730 days: C = 0.777632,
** R = 1.437843. */
static void schmalstieg_adds_calendar_and_cycles (void **state) {
  amp_stress s = rest(730, 35);
  (void)state;
  cycled(&s, 0.6 * 730, 0.6, 1.0);
  assert_close(loss_of("nmc_voltage_depth", &s), 100 - 77.7632, 6e-5);
  assert_close(rise_of("nmc_voltage_depth", &s), 43.7843, 6e-5);
}

/* The fit is negative below 3.149 V and for shallow cycles at 3.725 V. */
static void schmalstieg_is_clamped_where_the_fit_turns (void **state) {
  amp_stress s = rest(365, 40);
  (void)state;
  s.v_mean = 3.0;
  assert_close(loss_of("nmc_voltage_depth", &s), 0.0, 0.0);
  s.v_rms = 3.725;
  cycled(&s, 100, 0.05, 1.0);
  assert_close(rise_of("nmc_voltage_depth", &s), 0.0, 0.0);
}

/* Naumann et al. 2018, storage. */
static void naumann_gives_calendar_loss_and_resistance (void **state) {
  static const struct {
    double c, soc, days, loss, rise;
  } row[] = {{25, 0.5, 365, 4.2516, 1.6826},
             {25, 1.0, 365, 6.7731, 0.7687},
             {40, 0.5, 885, 9.2172, 16.3468},
             {40, 1.0, 885, 14.6839, 7.4676},
             {25, 0.5, 3650, 13.4447, 16.8260}};
  (void)state; /* the last rise: linear in time, 10 x the first to 5e-4 */
  for (size_t i = 0; i < LEN(row); i++) {
    amp_stress s = rest(row[i].days, row[i].c);
    s.soc = row[i].soc;
    assert_close(loss_of("lfp_calendar_cycle", &s), row[i].loss, 6e-5);
    assert_close(rise_of("lfp_calendar_cycle", &s), row[i].rise,
                 i == 4 ? 5e-4 : 6e-5);
  }
}

/* Naumann et al. 2020, cycles. */
static void naumann_gives_cycle_loss_and_resistance (void **state) {
  static const struct {
    double rate, doc, fec, loss, rise;
  } row[] = {{1, 1.0, 1000, 6.8344, 0.1775},
             {1, 1.0, 4000, 13.6688, 0.7099},
             {0.5, 0.8, 4000, 9.1460, 4.8563},
             {0.5, 0.4, 4000, 8.6222, 4.0127},
             {0.2, 0.2, 2000, 4.0949, 2.4954}};
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_stress s = rest(0, 40);
    cycled(&s, row[i].fec, row[i].doc, row[i].rate);
    assert_close(loss_of("lfp_calendar_cycle", &s), row[i].loss, 6e-5);
    assert_close(rise_of("lfp_calendar_cycle", &s), row[i].rise, 6e-5);
  }
}

/* Ten years at 25 C, SoC 0.5, 2920 FEC at 0.5C, DoC 0.8: 21.2590 %. */
static void naumann_adds_calendar_and_cycles (void **state) {
  amp_stress s = rest(3650, 25);
  (void)state;
  cycled(&s, 2920, 0.8, 0.5);
  assert_close(loss_of("lfp_calendar_cycle", &s), 21.2590, 6e-5);
}

/* Xu et al. 2018, kelvin in the temperature ratio. */
static void xu_gives_the_worked_losses (void **state) {
  static const struct {
    double n, dod, c, days, soc, want;
  } row[] = {{1000, 1.0, 25, 0, 0.5, 0.111295},
             {3000, 0.8, 25, 3000, 0.5, 0.225797},
             {3650, 0.5, 25, 3650, 0.5, 0.212083},
             {3650, 0.8, 35, 3650, 0.5, 0.409714},
             {0, 0.0, 25, 3650, 0.5, 0.172858},
             {3650, 0.2, 25, 3650, 0.8, 0.231836}};
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_stress s = rest(row[i].days, row[i].c);
    amp_cycle c = {row[i].dod, row[i].soc, row[i].n};
    s.soc = row[i].soc;
    cycled(&s, row[i].n * row[i].dod, row[i].dod, 0.5);
    assert_close(loss_of("lmo_stress", &s), 100 * row[i].want, 6e-5);
    s.cycle = &c; /* the same as one counted cycle */
    s.cycles = 1;
    assert_close(loss_of("lmo_stress", &s), 100 * row[i].want, 6e-5);
  }
}

/* One cycle at 25 C, SoC 0.5: the stress of each depth. */
static void xu_gives_the_depth_stress (void **state) {
  static const double want[][2] = {{0.1, 3.117796e-6},  {0.2, 5.247863e-6},
                                   {0.4, 1.014586e-5},  {0.5, 1.331076e-5},
                                   {0.6, 1.729159e-5},  {0.8, 2.979765e-5},
                                   {1.0, 1.0 / 17000.0}};
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    double sum[AMP_AGEING_TERMS];
    amp_stress s = rest(0, 25);
    amp_cycle c = {want[i][0], 0.5, 1.0};
    s.cycle = &c;
    s.cycles = 1;
    sums(model("lmo_stress"), &s, sum);
    assert_close(sum[0] / want[i][1], 1.0, 2e-7);
  }
}

/* 35, 15, 45 C against 25 C in kelvin: not 1.640498 (celsius ratio). */
static void xu_counts_temperature_in_kelvin (void **state) {
  static const double want[][2] = {
      {35, 1.955236}, {15, 0.488190}, {45, 3.665157}};
  double at_25[AMP_AGEING_TERMS], sum[AMP_AGEING_TERMS];
  amp_stress s = rest(100, 25);
  (void)state;
  sums(model("lmo_stress"), &s, at_25);
  for (size_t i = 0; i < LEN(want); i++) {
    s.temp = KELVIN(want[i][0]);
    sums(model("lmo_stress"), &s, sum);
    assert_close(sum[0] / at_25[0], want[i][1], 6e-7);
  }
}

/* fd at L = 0.1, 0.2, 0.3: a used cell stands there, not at new. */
static void xu_continues_from_the_present_loss (void **state) {
  static const double want[][2] = {
      {0.1, 0.04637477}, {0.2, 0.16392419}, {0.3, 0.29745558}};
  double term[AMP_AGEING_TERMS], sum[AMP_AGEING_TERMS];
  amp_stress s = rest(365, 25);
  (void)state;
  sums(model("lmo_stress"), &s, term);
  for (size_t i = 0; i < LEN(want); i++) {
    assert_int_equal(
        amp_ageing_continue(model("lmo_stress"), term, want[i][0], sum, NULL),
        AMP_OK);
    assert_close(sum[0], want[i][1], 6e-9);
  }
}

/* Law: months add up to the year, to rounding, in every model. */
static void twelve_months_make_the_year (void **state) {
  (void)state;
  for (int i = 0; amp_ageing_name(i) != NULL; i++) {
    double year[AMP_AGEING_TERMS], month[AMP_AGEING_TERMS];
    amp_stress s = rest(360, 35), part = rest(30, 35);
    cycled(&s, 240, 0.6, 1.0);
    cycled(&part, 20, 0.6, 1.0);
    sums(model(amp_ageing_name(i)), &s, year);
    sums(model(amp_ageing_name(i)), &part, month);
    for (int k = 0; k < AMP_AGEING_TERMS; k++)
      assert_close(12 * month[k], year[k], 1e-12 * fabs(year[k]));
  }
}

/* Law: the continued sums give the loss they were asked for, in proportion
** to the use, in every model. */
static void a_continued_cell_shows_its_loss (void **state) {
  (void)state;
  for (int i = 0; amp_ageing_name(i) != NULL; i++) {
    const amp_ageing *m = model(amp_ageing_name(i));
    double term[AMP_AGEING_TERMS], sum[AMP_AGEING_TERMS];
    amp_stress s = rest(365, 35);
    cycled(&s, 250, 0.6, 1.0);
    sums(m, &s, term);
    assert_int_equal(amp_ageing_continue(m, term, 0.17, sum, NULL), AMP_OK);
    assert_close(amp_ageing_loss(m, sum), 0.17, 1e-12);
    for (int k = 0; k < AMP_AGEING_TERMS; k++)
      if (term[0] > 0.0)
        assert_close(sum[k] * term[0], sum[0] * term[k],
                     1e-12 * fabs(sum[0] * term[k]));
  }
}

static void no_use_explains_no_loss_and_sums_stay (void **state) {
  double term[AMP_AGEING_TERMS] = {0}, sum[AMP_AGEING_TERMS] = {1, 2, 3, 4};
  amp_error err;
  (void)state;
  assert_int_equal(
      amp_ageing_continue(model("lmo_stress"), term, 0.1, sum, &err),
      AMP_EREFUSED);
  assert_int_equal(err.status, AMP_EREFUSED);
  assert_close(sum[3], 4.0, 0.0);
  assert_int_equal(
      amp_ageing_continue(model("lmo_stress"), term, (double)NAN, sum, NULL),
      AMP_ERANGE);
}

/* Mean of beta^2 over cycles, weighted by the charge of each: one of 0.8
** and one of 0.2 move 0.8 and 0.2 of a full cycle. */
static void depth_of_each_cycle_counts_by_its_charge (void **state) {
  static const amp_cycle c[] = {{0.8, 0.5, 1.0}, {0.2, 0.5, 1.0}};
  double sum[AMP_AGEING_TERMS];
  amp_stress s = rest(0, 35);
  (void)state;
  cycled(&s, 1.0, 0.68, 1.0);
  s.cycle = c;
  s.cycles = 2;
  sums(model("nmc_voltage_depth"), &s, sum); /* beta from the table above */
  assert_close(sum[1] / 4.1,
               0.8 * 4.032802e-3 * 4.032802e-3 +
                   0.2 * 1.584202e-3 * 1.584202e-3,
               1e-11);
}

/* 35 C against 25 C doubles the calendar part alone. */
static void rates_double_per_ten_kelvin (void **state) {
  amp_ageing m = {.kind = AMP_AGEING_RATES,
                  .calendar = 0.015,
                  .per_cycle = 8e-5,
                  .at = 298.15,
                  .doubling = 10.0};
  double sum[AMP_AGEING_TERMS];
  amp_stress s = rest(365, 35);
  (void)state;
  s.efc = 100.0;
  sums(&m, &s, sum);
  assert_close(sum[0], 2.0, 1e-12);
  assert_close(amp_ageing_loss(&m, sum), 2 * 0.015 + 100 * 8e-5, 1e-15);
  m.at = 0.0; /* no temperature given: it does not enter */
  sums(&m, &s, sum);
  assert_close(sum[0], 1.0, 0.0);
}

/* Miner: half the life at 50 % and a quarter at 80 % is three quarters. */
static void table_adds_shares_of_life (void **state) {
  amp_ageing m = {.kind = AMP_AGEING_TABLE,
                  .knots = 2,
                  .table_loss = 0.2,
                  .depth = {0.5, 0.8},
                  .life = {750, 225}};
  const amp_cycle c[] = {{0.5, 0.5, 375}, {0.8, 0.5, 56.25}};
  double sum[AMP_AGEING_TERMS];
  amp_stress s = rest(365, 25);
  (void)state;
  s.cycle = c;
  s.cycles = 2;
  sums(&m, &s, sum);
  assert_close(sum[0], 0.75, 1e-12);
  assert_close(amp_ageing_loss(&m, sum), 0.15, 1e-12);
}

/* Log-log: at the geometric mean of depths the geometric mean of lives. */
static void table_is_straight_in_log_log_and_keeps_charge (void **state) {
  amp_ageing m = {.kind = AMP_AGEING_TABLE,
                  .knots = 2,
                  .table_loss = 0.2,
                  .depth = {0.4, 0.8},
                  .life = {900, 400}};
  amp_cycle c = {0, 0.5, 1};
  double sum[AMP_AGEING_TERMS];
  amp_stress s = rest(1, 25);
  (void)state;
  s.cycle = &c;
  s.cycles = 1;
  c.range = sqrt(0.4 * 0.8);
  sums(&m, &s, sum);
  assert_close(sum[0], 1.0 / 600.0, 1e-15);
  c.range = 0.1; /* below: the charge of 900 cycles of 0.4 */
  sums(&m, &s, sum);
  assert_close(sum[0], 0.1 / (0.4 * 900), 1e-15);
}

static void a_stretch_outside_the_fit_says_so (void **state) {
  amp_stress s = rest(30, 35);
  (void)state;
  cycled(&s, 10, 0.5, 1.0);
  assert_int_equal(flags_of("nmc_voltage_depth", &s), 0);
  s.temp = KELVIN(12);
  assert_int_equal(flags_of("nmc_voltage_depth", &s), AMP_OUTSIDE_TEMP);
  s.c_rate = 0.1;
  s.dod = 0.02;
  assert_int_equal(flags_of("nmc_voltage_depth", &s),
                   AMP_OUTSIDE_TEMP | AMP_OUTSIDE_RATE | AMP_OUTSIDE_DEPTH);
}

static void bad_stress_is_refused_and_terms_stay (void **state) {
  double term[AMP_AGEING_TERMS] = {7, 7, 7, 7};
  unsigned outside = 0;
  amp_error err;
  amp_stress s = rest(30, 25);
  (void)state;
  s.temp = 25.0; /* celsius by mistake */
  assert_int_equal(
      amp_ageing_terms(model("lmo_stress"), &s, term, &outside, &err),
      AMP_ERANGE);
  assert_string_equal(err.field, "temp");
  assert_close(term[0], 7.0, 0.0);
  s = rest((double)NAN, 25);
  assert_int_equal(
      amp_ageing_terms(model("lmo_stress"), &s, term, &outside, &err),
      AMP_ERANGE);
  assert_int_equal(outside, 0);
}

static void bad_models_are_refused_by_field (void **state) {
  amp_ageing m = {.kind = AMP_AGEING_TABLE,
                  .knots = 2,
                  .table_loss = 0.2,
                  .depth = {0.8, 0.5},
                  .life = {225, 750}};
  amp_ageing rates = {.kind = AMP_AGEING_RATES, .calendar = -0.01};
  amp_ageing user = {.kind = AMP_AGEING_USER};
  amp_error err;
  (void)state;
  assert_int_not_equal(amp_ageing_check(&m, &err), AMP_OK);
  assert_string_equal(err.field, "depth");
  assert_int_equal(amp_ageing_check(&rates, &err), AMP_ERANGE);
  assert_string_equal(err.field, "calendar");
  assert_int_equal(amp_ageing_check(&user, &err), AMP_EMISSING);
  assert_null(amp_ageing_find("no_such_model"));
}

/* Only two of the papers say anything of resistance. */
static void resistance_is_unknown_where_the_model_is_silent (void **state) {
  const double sum[AMP_AGEING_TERMS] = {0.1, 0, 0, 0};
  (void)state;
  assert_true(isnan(amp_ageing_resistance(model("lmo_stress"), sum)));
  assert_true(isnan(amp_ageing_resistance(model("lfp_throughput"), sum)));
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(wang_gives_the_equation_at_its_four_rates),
      cmocka_unit_test(wang_reaches_20_percent_where_the_equation_does),
      cmocka_unit_test(wang_interpolates_between_rates_and_holds_beyond),
      cmocka_unit_test(schmalstieg_gives_calendar_loss_and_resistance),
      cmocka_unit_test(schmalstieg_gives_cycle_loss_and_resistance),
      cmocka_unit_test(schmalstieg_counts_both_directions),
      cmocka_unit_test(schmalstieg_adds_calendar_and_cycles),
      cmocka_unit_test(schmalstieg_is_clamped_where_the_fit_turns),
      cmocka_unit_test(naumann_gives_calendar_loss_and_resistance),
      cmocka_unit_test(naumann_gives_cycle_loss_and_resistance),
      cmocka_unit_test(naumann_adds_calendar_and_cycles),
      cmocka_unit_test(xu_gives_the_worked_losses),
      cmocka_unit_test(xu_gives_the_depth_stress),
      cmocka_unit_test(xu_counts_temperature_in_kelvin),
      cmocka_unit_test(xu_continues_from_the_present_loss),
      cmocka_unit_test(twelve_months_make_the_year),
      cmocka_unit_test(a_continued_cell_shows_its_loss),
      cmocka_unit_test(no_use_explains_no_loss_and_sums_stay),
      cmocka_unit_test(depth_of_each_cycle_counts_by_its_charge),
      cmocka_unit_test(rates_double_per_ten_kelvin),
      cmocka_unit_test(table_adds_shares_of_life),
      cmocka_unit_test(table_is_straight_in_log_log_and_keeps_charge),
      cmocka_unit_test(a_stretch_outside_the_fit_says_so),
      cmocka_unit_test(bad_stress_is_refused_and_terms_stay),
      cmocka_unit_test(bad_models_are_refused_by_field),
      cmocka_unit_test(resistance_is_unknown_where_the_model_is_silent)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
