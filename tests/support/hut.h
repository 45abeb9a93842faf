/*
** hut.h -- a mountain hut and three offers of used and new modules (invented
** prices), for the tests of cases.
*/
#ifndef AMP_TESTS_HUT_H
#define AMP_TESTS_HUT_H

#include "base/elementary.h"
#include "job/case.h"
#include "support/close.h"
#include <stdlib.h>
#include <string.h>

#define AH 3600.0
#define KWH 3.6e6
#define NONE ((double)NAN)

/* One hut: need, duty, three offers with their modules. */
typedef struct hut {
  amp_duty duty;
  amp_need need;
  amp_ageing nickel_life, iron_life;
  amp_module nickel, iron, boxed;
  amp_case c[3];
} hut;

static inline amp_value claimed (double v) {
  return amp_value_fixed(v, AMP_BASIS_CLAIMED);
}

static inline amp_value assumed (double v) {
  return amp_value_fixed(v, AMP_BASIS_ASSUMED);
}

/* 3.14 kWh AC a day, May to October, 2.4 kWp at 0.70, 12 C. */
static inline void make_duty (amp_duty *out) {
  static const double sun[12] = {[4] = 4.9, 5.3, 5.6, 5.0, 3.6, 2.1};
  amp_daily d = {0};
  amp_error err;
  d.load_kwh = assumed(3.14 * KWH);
  d.solar_peak = assumed(2400.0);
  d.performance = assumed(0.70);
  d.temp_one = assumed(285.15);
  d.charge_efficiency = 1.0;
  memcpy(d.sun, sun, sizeof sun);
  for (int m = 4; m <= 9; m++)
    d.month[m] = true;
  if (amp_duty_daily(NULL, &d, out, &err) != AMP_OK)
    fail_msg("duty: %s %s", err.field ? err.field : "", err.text);
}

static inline amp_ageing rates (double calendar, double per_cycle) {
  amp_ageing m = {.kind = AMP_AGEING_RATES, .name = "rates"};
  m.calendar = calendar;
  m.per_cycle = per_cycle;
  return m;
}

static inline amp_module module_of (const char *chemistry, int series, int parallel,
                             double ah, double mass) {
  amp_module m = amp_module_defaults();
  m.chemistry = amp_chemistry_find(chemistry);
  assert_non_null(m.chemistry);
  m.series = series;
  m.parallel = parallel;
  m.capacity = claimed(ah * AH);
  m.mass = mass;
  return m;
}

static inline amp_case case_of (const hut *h, const amp_module *m, int count) {
  amp_case c = {.module = m,
                .need = &h->need,
                .from_offer = true,
                .soh_end = NONE,
                .soc_min = NONE,
                .soc_max = NONE,
                .cell_v_min = NONE,
                .cell_v_max = NONE};
  c.offer.count = count;
  c.offer.to_currency = 1.0;
  c.offer.price_is = AMP_PRICE_EACH;
  c.offer.tax = AMP_TAX_INCLUDED;
  c.life.models = 1;
  c.life.model[0] = m == &h->nickel ? &h->nickel_life : &h->iron_life;
  return c;
}

static inline void make_modules (hut *h) {
  h->nickel_life = rates(0.015, 8e-5);
  h->iron_life = rates(0.012, 4e-5);
  h->nickel = module_of("nmc111", 7, 2, 112, 17.5);
  h->nickel.soc_min = 0.05;
  h->nickel.soc_max = 0.94;
  h->nickel.soh_end = 0.60;
  strcpy(h->nickel.name, "7s2p pouch");
  h->iron = module_of("lfp", 8, 1, 105, 21.5);
  h->iron.soc_min = 0.10;
  h->iron.soc_max = 0.95;
  h->iron.soh_end = 0.70;
  strcpy(h->iron.name, "8s1p");
  h->boxed = h->iron;
  h->boxed.series = 16;
  h->boxed.mass = 46;
  h->boxed.capacity = claimed(100 * AH);
  h->boxed.soc_max = 1.0;
  strcpy(h->boxed.name, "16s boxed");
}

static inline void make_offers (hut *h) {
  amp_case *c = h->c;
  c[0] = case_of(h, &h->nickel, 12);
  c[0].offer.price_is = AMP_PRICE_LOT;
  c[0].offer.price = 2950;
  c[0].offer.tiers = 1;
  c[0].offer.tier[0] = (amp_tier){.rate = 0.15};
  c[0].offer.freight = 260;
  c[0].offer.fees = 85;
  c[0].offer.tax = AMP_TAX_EXCLUDED;
  c[0].offer.tax_rate = 0.20;
  c[0].dud = claimed(0.10);
  c[0].tested = amp_value_fixed(93.75 * AH, AMP_BASIS_MEASURED);
  c[1] = case_of(h, &h->iron, 8);
  c[1].offer.price = 318;
  c[1].soh = claimed(0.92);
  c[1].dud = assumed(0.0);
  c[2] = case_of(h, &h->boxed, 3);
  c[2].offer.price = 1060;
  c[2].soh = claimed(1.0);
  c[2].dud = assumed(0.0);
  c[0].bos = c[1].bos = 640;
  c[0].bos_mass = c[1].bos_mass = 45;
  c[2].bos = 180;
  c[2].bos_mass = 20;
}

static inline int set_up (void **state) {
  hut *h = calloc(1, sizeof *h);
  make_duty(&h->duty);
  h->need = (amp_need){.duty = &h->duty,
                       .v_abs_max = 60,
                       .autonomy_days = NONE,
                       .horizon = 15,
                       .discount = 0.05,
                       .carry_per_kg = 2.90,
                       .charge_price = NONE};
  h->need.converter = (amp_converter){.efficiency = 0.92,
                                      .idle = 32,
                                      .power = 3000,
                                      .v_min = 42,
                                      .v_max = 58};
  make_modules(h);
  make_offers(h);
  *state = h;
  return 0;
}

static inline int tear_down (void **state) {
  hut *h = *state;
  amp_duty_free(NULL, &h->duty);
  free(h);
  return 0;
}

static inline void take (const amp_case *c, size_t n, size_t draws,
                  amp_case_result *r) {
  amp_ask ask = {draws, 1, false};
  amp_error err;
  if (amp_cases(NULL, c, n, &ask, r, &err) != AMP_OK)
    fail_msg("%s %s", err.field ? err.field : "", err.text);
}

/* Ten modules bought outright, at the hand values of the accepted ones. */
static inline amp_case ten_modules (const hut *h) {
  amp_case c = h->c[0];
  c.from_offer = false;
  c.series = 2;
  c.parallel = 5;
  c.cost = 5763.0;
  return c;
}

#endif
