/*
** test_no_memory.c -- two small cases while the lender's memory ends at the
** n-th call, for every n: refused as AMP_ENOMEM, nothing kept, nothing
** broken; and a stop flag that comes up at any time it is asked.
*/
#include "support/close.h"
#include "support/lender.h"
#include "support/often.h"
#include "job/case.h"
#include "job/compare.h"
#include <stdlib.h>
#include <string.h>

/* Ten days of a small house: 100 W by day and night, 600 W at noon. */
enum { STEPS = 240 };
typedef struct house {
  double ac[STEPS], dc[STEPS], pv[STEPS], temp[STEPS];
  unsigned char on[STEPS];
  amp_duty duty;
  amp_module module;
  amp_need need;
  amp_ageing life;
  amp_case c[2];
} house;

static void make_duty (house *h) {
  amp_duty *d = &h->duty;
  for (int i = 0; i < STEPS; i++) {
    h->ac[i] = 100.0;
    h->pv[i] = i % 24 >= 10 && i % 24 < 14 ? 600.0 : 0.0;
    h->temp[i] = 288.15;
    h->on[i] = 1;
  }
  *d = (amp_duty){.n = STEPS, .dt = 3600.0, .charge_efficiency = 1.0};
  d->ac = h->ac;
  d->dc = h->dc;
  d->pv = h->pv;
  d->temp = h->temp;
  d->on = h->on;
  for (int m = 0; m < 12; m++)
    d->month_end[m] = STEPS;
}

static amp_case lot_of (const house *h, int count) {
  amp_case c = {.module = &h->module,
                .need = &h->need,
                .from_offer = true,
                .soh_end = AMP_NOT_GIVEN,
                .soc_min = AMP_NOT_GIVEN,
                .soc_max = AMP_NOT_GIVEN,
                .cell_v_min = AMP_NOT_GIVEN,
                .cell_v_max = AMP_NOT_GIVEN};
  c.offer = (amp_offer){.count = count,
                        .price = 300.0,
                        .to_currency = 1.0,
                        .price_is = AMP_PRICE_EACH,
                        .tax = AMP_TAX_NONE};
  c.dud = amp_value_fixed(0.1, AMP_BASIS_ASSUMED);
  c.soh = amp_value_even(0.8, 0.9);
  c.soh.stream = 9;
  return c;
}

static void make_house (house *h) {
  memset(h, 0, sizeof *h);
  make_duty(h);
  h->module = amp_module_defaults();
  h->module.chemistry = amp_chemistry_find("nmc111");
  h->module.series = 7;
  h->module.parallel = 2;
  h->module.capacity = amp_value_fixed(112.0 * 3600, AMP_BASIS_CLAIMED);
  h->module.soh_end = 0.6;
  h->life.kind = AMP_AGEING_RATES;
  h->life.calendar = 0.02;
  h->need = (amp_need){.duty = &h->duty, .horizon = 15, .v_abs_max = 60};
  h->need.converter = (amp_converter){.efficiency = 0.92,
                                      .idle = 10,
                                      .power = 3000,
                                      .v_min = 42,
                                      .v_max = 58};
  h->need.autonomy_days = h->need.charge_price = AMP_NOT_GIVEN;
  h->need.life.models = 1;
  h->need.life.model[0] = &h->life;
  h->c[0] = lot_of(h, 4);
  h->c[1] = lot_of(h, 6);
}

static amp_status take (const house *h, lender *l, amp_case_result *r,
                        amp_error *err) {
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_ask ask = {70, 1, false}; /* more than one turn of draws */
  ctx.user = l;
  ctx.alloc = lend;
  ctx.stop = stop;
  return amp_cases(&ctx, h->c, 2, &ask, r, err);
}

/* Beside a grid, which is drawn too. */
static amp_status beside (const house *h, lender *l, amp_error *err) {
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_ask ask = {70, 1, false};
  amp_case_result r[2];
  amp_alternative grid = {.kind = AMP_ALTERNATIVE_GRID,
                          .again = AMP_NOT_GIVEN,
                          .life = AMP_NOT_GIVEN,
                          .life_time = AMP_NOT_GIVEN,
                          .price = 100.0};
  amp_alternative_result o;
  amp_pair pair[2];
  amp_need need = h->need;
  need.spares = true;
  need.tariff = 0.3;
  ctx.user = l;
  ctx.alloc = lend;
  ctx.stop = stop;
  return amp_compare(&ctx, h->c, 2, &need, &grid, 1, &ask, r, &o, pair, err);
}

static void every_refused_allocation_beside_a_grid (void **state) {
  static house h;
  amp_error err = {0};
  lender all = {.last = (size_t)-1};
  (void)state;
  make_house(&h);
  assert_int_equal(beside(&h, &all, &err), AMP_OK);
  assert_int_equal(all.blocks, 0);
  for (size_t n = 0; n < all.calls; n++) {
    lender l = {.last = n};
    assert_int_equal(beside(&h, &l, &err), AMP_ENOMEM);
    assert_int_equal(l.blocks, 0);
    assert_int_equal(l.bytes, 0);
  }
  for (size_t n = 1; n <= all.asked; n++) {
    lender l = {.last = (size_t)-1, .stop_at = n};
    assert_int_equal(beside(&h, &l, &err), AMP_ESTOP);
    assert_int_equal(l.blocks, 0);
  }
}

static void every_refused_allocation_ends_clean (void **state) {
  static house h;
  amp_case_result r[2], whole[2];
  amp_error err = {0};
  lender all = {.last = (size_t)-1};
  (void)state;
  make_house(&h);
  assert_int_equal(take(&h, &all, whole, &err), AMP_OK);
  assert_int_equal(whole[0].status, AMP_OK);
  assert_true(whole[1].levelised.p50 > 0.0);
  assert_int_equal(all.blocks, 0);
  assert_int_equal(all.bytes, 0);
  assert_true(all.calls > 10);
  for (size_t n = 0; n < all.calls; n += few() ? 5 : 1) {
    lender l = {.last = n};
    memset(&err, 0, sizeof err);
    if (take(&h, &l, r, &err) != AMP_ENOMEM || err.status != AMP_ENOMEM)
      fail_msg("allocation %zu of %zu: status %d", n + 1, all.calls,
               (int)err.status);
    assert_int_equal(l.blocks, 0);
    assert_int_equal(l.bytes, 0);
  }
}

static void every_stop_ends_clean (void **state) {
  static house h;
  amp_case_result r[2];
  amp_error err = {0};
  lender all = {.last = (size_t)-1};
  (void)state;
  make_house(&h);
  assert_int_equal(take(&h, &all, r, &err), AMP_OK);
  assert_true(all.asked > 3);
  for (size_t n = 1; n <= all.asked; n++) {
    lender l = {.last = (size_t)-1, .stop_at = n};
    assert_int_equal(take(&h, &l, r, &err), AMP_ESTOP);
    assert_int_equal(err.status, AMP_ESTOP);
    assert_int_equal(l.blocks, 0);
  }
}

/* What-ifs are cases made and dropped again: the same. */
static amp_status levers (const house *h, lender *l, const amp_case_result *r,
                          amp_case_levers *out) {
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_ask ask = {20, 1, false};
  amp_error err = {0};
  ctx.user = l;
  ctx.alloc = lend;
  ctx.stop = stop;
  return amp_case_levers_of(&ctx, h->c, r, 2, &ask, out, &err);
}

static void what_ifs_end_clean_without_memory_or_when_stopped (void **state) {
  static house h;
  amp_case_result r[2];
  amp_case_levers out;
  amp_error err = {0};
  lender plenty = {.last = (size_t)-1}, all = plenty;
  (void)state;
  make_house(&h);
  assert_int_equal(take(&h, &plenty, r, &err), AMP_OK);
  assert_int_equal(levers(&h, &all, r, &out), AMP_OK);
  assert_true(out.n > 0 && all.calls > 10 && all.asked > 3);
  assert_int_equal(all.blocks, 0);
  for (size_t n = 0; n < all.calls; n += 1 + all.calls / (few() ? 5 : 15)) {
    lender l = {.last = n};
    assert_int_equal(levers(&h, &l, r, &out), AMP_ENOMEM);
    assert_int_equal(l.blocks, 0);
    assert_int_equal(l.bytes, 0);
  }
  for (size_t n = 1; n <= all.asked; n += 1 + all.asked / (few() ? 3 : 7)) {
    lender l = {.last = (size_t)-1, .stop_at = n};
    assert_int_equal(levers(&h, &l, r, &out), AMP_ESTOP);
    assert_int_equal(l.blocks, 0);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_refused_allocation_ends_clean),
      cmocka_unit_test(every_refused_allocation_beside_a_grid),
      cmocka_unit_test(every_stop_ends_clean),
      cmocka_unit_test(what_ifs_end_clean_without_memory_or_when_stopped)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
