/*
** test_alloc.c -- every job that takes a caller's data all the way, while the
** lender's memory ends at the n-th call, for every n: AMP_ENOMEM and nothing
** else, nothing kept, and what the caller handed in or had in its results
** stands byte for byte as before. (Tables, CSV and fits have the same test
** on their own floors; stops in the middle: test_no_memory.c.)
*/
#include "support/close.h"
#include "support/lender.h"
#include "base/log.h"
#include "job/case.h"
#include "pack/judge.h"
#include "pack/match.h"
#include "run/simulate.h"
#include <stdlib.h>
#include <string.h>

/* Bytes that a refused call may not change, with their copy. */
enum { WATCHED = 8 };
typedef struct watch {
  const void *at[WATCHED];
  void *copy[WATCHED];
  size_t size[WATCHED];
  int n;
} watch;

static void watch_add (watch *w, const void *p, size_t size) {
  assert_true(w->n < WATCHED);
  w->at[w->n] = p;
  w->size[w->n] = size;
  w->copy[w->n] = malloc(size);
  assert_non_null(w->copy[w->n]);
  memcpy(w->copy[w->n++], p, size);
}

static void watch_end (watch *w) {
  for (int k = 0; k < w->n; k++) {
    assert_memory_equal(w->at[k], w->copy[k], w->size[k]);
    free(w->copy[k]);
  }
  w->n = 0;
}

/* A job does its calls with 'ctx', gives back what it got, and says how it
** ended; 'w' watches what has to stay. */
typedef amp_status job (const amp_context *ctx, watch *w, amp_error *err);

static amp_status with_memory (job *f, size_t last, lender *l,
                               amp_error *err) {
  amp_context ctx = *amp_context_or_plain(NULL);
  watch w = {.n = 0};
  amp_status st;
  *l = (lender){.last = last};
  ctx.user = l;
  ctx.alloc = lend;
  memset(err, 0, sizeof *err);
  st = f(&ctx, &w, err);
  watch_end(&w);
  assert_int_equal(l->blocks, 0);
  assert_int_equal(l->bytes, 0);
  return st;
}

/* 'least': so many allocations at least, else the job is not what it was. */
static void every_one (job *f, size_t least) {
  amp_error err;
  lender all, l;
  if (with_memory(f, (size_t)-1, &all, &err) != AMP_OK)
    fail_msg("with all memory: %s %s", err.field ? err.field : "", err.text);
  assert_true(all.calls >= least);
  for (size_t n = 0; n < all.calls; n++) {
    amp_status st = with_memory(f, n, &l, &err);
    if (st != AMP_ENOMEM || err.status != AMP_ENOMEM)
      fail_msg("allocation %zu of %zu: status %d, %s", n + 1, all.calls,
               (int)st, err.text);
  }
}

/* ---- a bench's lot: read, judged, matched ---- */

static const char bench[] = "id,ocv_v,group_min_v,group_max_v,r10s_mohm,ah\n"
                            "1,26.40,3.300,3.302,11.9,58.1\n"
                            "2,26.41,3.300,3.302,12.1,57.0\n"
                            "3,26.39,3.297,3.301,12.0,59.2\n"
                            "4,26.40,3.299,3.301,12.4,56.4\n";

/* Every module of the lot as the bench measured it. */
static amp_status match_lot (const amp_context *ctx, const amp_lot *lot,
                             amp_error *err) {
  static int place[4];
  static amp_matched out;
  amp_match_module m[4];
  amp_match_spec spec = {.series = 2, .parallel = 2};
  memset(place, 7, sizeof place);
  memset(&out, 7, sizeof out);
  for (size_t k = 0; k < 4; k++) {
    m[k].charge = lot->reading[k].charge;
    m[k].r = lot->reading[k].r10s;
  }
  amp_status st = amp_match(ctx, 4, m, &spec, place, &out, err);
  if (st != AMP_OK)
    for (int k = 0; k < 4; k++)
      assert_int_equal(place[k], 0x07070707);
  return st;
}

static amp_status judge_and_match (const amp_context *ctx, watch *w,
                                   amp_error *err) {
  static amp_judged j[4];
  amp_readings_options opt = {.sep = ','};
  amp_judging by = amp_judging_defaults();
  amp_lot_summary sum;
  amp_lot lot = {.chemistry = amp_chemistry_find("lfp"), .groups = 8};
  amp_status st;
  lot.nameplate = 60.0 * 3600.0;
  watch_add(w, bench, sizeof bench);
  st = amp_lot_read(ctx, bench, sizeof bench - 1, &opt, &lot, err);
  if (st != AMP_OK) { /* the empty lot stays empty */
    assert_int_equal(lot.n, 0);
    assert_null(lot.reading);
    return st;
  }
  assert_int_equal(lot.n, 4);
  st = amp_lot_judge(ctx, &lot, &by, j, &sum, err);
  if (st == AMP_OK)
    st = match_lot(ctx, &lot, err);
  amp_lot_free(ctx, &lot);
  return st;
}

static void lot_read_judged_matched (void **state) {
  (void)state;
  every_one(judge_and_match, 5);
}

/* ---- a test in phases, every step of it kept ---- */

static amp_status trace_phases (const amp_context *ctx, watch *w,
                                amp_error *err) {
  static const amp_phase phase[2] = {
      {.ask = 20.0, .time = 1800.0, .until_v = NAN, .until_soc = NAN},
      {.ask = 0.0, .time = 600.0, .until_v = NAN, .until_soc = NAN}};
  static amp_pack pack;
  amp_group g = {.chemistry = amp_chemistry_find("nmc111"),
                 .series = 14.0,
                 .parallel = 1.0,
                 .soc_max = 1.0,
                 .soc_start = 0.9};
  amp_sim_options opt = amp_sim_defaults();
  amp_sim_result result;
  amp_trace *t = NULL;
  amp_duty duty = {0};
  amp_status st;
  g.v_min = g.chemistry->v_min;
  g.v_max = g.chemistry->v_max;
  g.cell = amp_cell_from_r10s(60.0 * 3600.0, 1e-3);
  opt.warm_up = 0;
  amp_pack_uniform(&g, 1, 1, &pack);
  watch_add(w, phase, sizeof phase);
  watch_add(w, &pack, sizeof pack);
  st = amp_duty_phases(ctx, phase, 2, 1, 60.0, 288.15, &duty, err);
  if (st != AMP_OK) {
    assert_null(duty.dc);
    return st;
  }
  amp_sim_case one = {&pack, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  st = amp_simulate_trace(ctx, &one, &duty, &opt, &t, &result, err);
  assert_true((t != NULL) == (st == AMP_OK));
  amp_trace_free(ctx, t);
  amp_duty_free(ctx, &duty);
  return st;
}

static void phases_traced (void **state) {
  (void)state;
  every_one(trace_phases, 10);
}

/* ---- a log ---- */

static amp_status make_log (const amp_context *ctx, watch *w,
                            amp_error *err) {
  static const double time[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11},
                      amps[] = {0, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0},
                      volts[] = {4.1, 4.0, NAN, 4.0, 4.1, 4.1,
                                 4.1, 4.1, 4.1, 4.1, 4.1, 4.1};
  const double *column[AMP_LOG_COLUMNS] = {amps, volts};
  amp_test_log log;
  memset(&log, 7, sizeof log);
  watch_add(w, time, sizeof time);
  watch_add(w, volts, sizeof volts);
  amp_status st = amp_log_make(ctx, 12, time, column, 0.0, &log, err);
  if (st == AMP_OK)
    amp_log_free(ctx, &log);
  else
    assert_int_equal(log.dropped, (size_t)0x0707070707070707);
  return st;
}

static void log_cleaned (void **state) {
  (void)state;
  every_one(make_log, 2);
}

/* ---- cases, from an offer to money ---- */

enum { STEPS = 24 };

static amp_status take_cases (const amp_context *ctx, watch *w,
                              amp_error *err) {
  static double ac[STEPS], dc[STEPS], pv[STEPS], temp[STEPS];
  static unsigned char on[STEPS];
  static amp_module module;
  static amp_ageing life;
  static amp_case c[2];
  static amp_need need;
  static amp_duty duty;
  amp_case_result r[2];
  amp_ask ask = {2, 1, false};
  for (int i = 0; i < STEPS; i++) {
    ac[i] = 150.0;
    pv[i] = i % 24 >= 9 && i % 24 < 15 ? 900.0 : 0.0;
    temp[i] = 283.15;
    on[i] = 1;
  }
  duty = (amp_duty){.n = STEPS, .dt = 3600.0, .charge_efficiency = 1.0};
  duty.ac = ac, duty.dc = dc, duty.pv = pv, duty.temp = temp, duty.on = on;
  for (int m = 0; m < 12; m++)
    duty.month_end[m] = STEPS;
  module = amp_module_defaults();
  module.chemistry = amp_chemistry_find("lfp");
  module.series = 8;
  module.parallel = 1;
  module.capacity = amp_value_fixed(100.0 * 3600, AMP_BASIS_CLAIMED);
  module.soh_end = 0.7;
  life = (amp_ageing){.kind = AMP_AGEING_RATES, .calendar = 0.015};
  need = (amp_need){.duty = &duty, .horizon = 10, .v_abs_max = 60};
  need.converter = (amp_converter){
      .efficiency = 0.93, .idle = 8, .power = 2000, .v_min = 42, .v_max = 58};
  need.autonomy_days = need.charge_price = AMP_NOT_GIVEN;
  need.life.models = 1;
  need.life.model[0] = &life;
  for (int k = 0; k < 2; k++) {
    c[k] = (amp_case){.module = &module,
                      .need = &need,
                      .soh_end = AMP_NOT_GIVEN,
                      .soc_min = AMP_NOT_GIVEN,
                      .soc_max = AMP_NOT_GIVEN,
                      .cell_v_min = AMP_NOT_GIVEN,
                      .cell_v_max = AMP_NOT_GIVEN,
                      .series = 2,
                      .parallel = 1 + k,
                      .cost = 900.0 + 800.0 * k};
    c[k].soh = amp_value_even(0.85, 0.95);
    c[k].soh.stream = (uint64_t)(3 + k);
  }
  watch_add(w, c, sizeof c);
  watch_add(w, &need, sizeof need);
  watch_add(w, &module, sizeof module);
  watch_add(w, &duty, sizeof duty);
  watch_add(w, pv, sizeof pv);
  watch_add(w, &life, sizeof life);
  return amp_cases(ctx, c, 2, &ask, r, err);
}

static void cases_taken (void **state) {
  (void)state;
  every_one(take_cases, 10);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(lot_read_judged_matched),
      cmocka_unit_test(phases_traced), cmocka_unit_test(log_cleaned),
      cmocka_unit_test(cases_taken)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
