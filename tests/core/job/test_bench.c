/*
** test_bench.c -- what a builder brings level, measures and joins, by hand.
*/
#include "support/close.h"
#include "base/value.h"
#include "job/bench.h"
#include <string.h>

#define AH 3600.0

/* 3.4 V empty, 4.4 V full, straight: 0.01 V a group is 1 %. */
static amp_chemistry straight (void) {
  static const double soc[] = {0.0, 1.0}, v[] = {3.4, 4.4};
  amp_chemistry c = {0};
  strcpy(c.name, "straight");
  assert_int_equal(amp_curve_make(soc, v, 2, AMP_INTERP_LINEAR, &c.ocv, NULL),
                   AMP_OK);
  c.v_nominal = 3.9;
  c.v_min = 3.3;
  c.v_max = 4.5;
  c.v_daily_min = 3.5;
  c.v_daily_max = 4.3;
  c.flat_lo = 1.0;
  return c;
}

typedef struct shelf {
  amp_chemistry chemistry;
  amp_module m[6];
  amp_build b;
  amp_window w;
} shelf;

/* Six modules of ten groups, 100 Ah, 10 mohm: three strings of two. */
static shelf *shelf_of (bool string_first) {
  static shelf s;
  memset(&s, 0, sizeof s);
  s.chemistry = straight();
  s.b = amp_build_defaults();
  s.b.string_first = string_first;
  s.b.outer = string_first ? 3 : 2;
  for (int i = 0; i < s.b.outer; i++)
    s.b.inner[i] = string_first ? 2 : 3;
  for (int i = 0; i < 6; i++) {
    s.m[i] = amp_module_defaults();
    s.m[i].chemistry = &s.chemistry;
    s.m[i].series = 10;
    s.m[i].parallel = 1;
    s.m[i].capacity = amp_value_fixed(100 * AH, AMP_BASIS_CLAIMED);
    s.m[i].r10s = amp_value_fixed(0.010, AMP_BASIS_MEASURED);
    s.b.module[i] = &s.m[i];
  }
  s.w.v_min = 3.5;
  s.w.v_max = 4.2;
  return &s;
}

/* 39.0 V is 50 %, 38.2 V 42 %: 8 Ah bring it to the others, 38.9 V is near
** enough. String 2 then rests at 78.0, not 77.2 V. */
static void a_low_module_is_brought_level (void **state) {
  static const double rest[] = {39.0, 39.0, 38.2, 39.0, 38.9, 39.0};
  shelf *s = shelf_of(true);
  static amp_bench b;
  (void)state;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_close(b.soc, 0.50, 1e-9);
  assert_close(b.module[2].soc, 0.42, 1e-9);
  assert_close(b.module[2].add / AH, 8.0, 1e-6);
  assert_close(b.module[2].level, 39.0, 1e-9);
  assert_close(b.module[4].add, 0.0, 0.0);
  assert_close(b.module[4].level, 38.9, 1e-12);
  assert_close(b.row[1].rest, 77.2, 1e-9);
  assert_close(b.row[1].level, 78.0, 1e-9);
  assert_close(b.row[1].full, 84.0, 1e-9);
  assert_close(b.row[1].empty, 70.0, 1e-9);
  assert_close(b.full, 84.0, 1e-9);
  assert_int_equal(b.groups, 20);
}

/* Level, string 3 stands 0.1 V under the two others: joined to one of them
** first 0.1 V over 20 + 20 mohm flow 2.5 A, then 0.05 V over 10 + 20; last it
** would be 3.3 A. As read 78.0, 77.2 and 77.9 V: 3 to 2 first, 0.7 V over 40
** mohm, 17.5 A, then 0.45 V over 30. */
static void strings_are_joined_in_the_gentlest_order (void **state) {
  static const double rest[] = {39.0, 39.0, 38.2, 39.0, 38.9, 39.0};
  shelf *s = shelf_of(true);
  static amp_bench b;
  (void)state;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_int_equal(b.steps, 3);
  assert_true(b.exact && !b.bound);
  assert_close(b.worst, 2.5, 1e-6);
  assert_close(b.bare, 17.5, 1e-6);
  assert_close(b.step[1].current, 2.5, 1e-6);
  assert_close(b.step[2].v, (78.0 + 78.0 + 77.9) / 3, 1e-6);
  assert_close(b.joined, b.step[2].v, 0.0);
}

/* Parallel-first each level is joined by itself; terminals, links, leads and
** bars of six modules in either shape. */
static void a_level_is_joined_by_itself (void **state) {
  static const double rest[] = {39.0, 38.9, 39.0, 39.0, 39.0, 39.0};
  shelf *s = shelf_of(false);
  static amp_bench b;
  (void)state;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_int_equal(b.steps, 6);
  assert_int_equal(b.step[3].row, 1);
  assert_close(b.worst, 0.1 / 0.020, 1e-6); /* the low one to one of them */
  assert_close(b.row[0].rest, (39.0 + 38.9 + 39.0) / 3, 1e-9);
  assert_close(b.row[0].full, 42.0, 1e-9);
  assert_close(b.full, 84.0, 1e-9);
  assert_close(b.joined, b.row[0].level + 39.0, 1e-9);
  assert_int_equal(b.terminals, 12);
  assert_int_equal(b.links, 1);
  assert_int_equal(b.leads, 12);
  assert_int_equal(b.bars, 4);
  assert_int_equal(b.managers, 1);
  s = shelf_of(true);
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_int_equal(b.links, 3);
  assert_int_equal(b.leads, 6);
  assert_int_equal(b.bars, 2);
  assert_int_equal(b.managers, 3);
}

/* A module nobody read, or one off the curve: no order, and no level of it;
** the rest is still told. */
static void what_was_not_read_is_not_told (void **state) {
  static const double rest[] = {39.0, 39.0, AMP_NOT_GIVEN, 39.0, 39.0, 39.0};
  static const double odd[] = {39.0, 39.0, 24.0, 39.0, 39.0, 39.0};
  shelf *s = shelf_of(true);
  static amp_bench b;
  (void)state;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_int_equal(b.steps, 0);
  assert_int_equal(b.unread, 1);
  assert_false(amp_given(b.row[1].rest) || amp_given(b.worst));
  assert_close(b.row[0].rest, 78.0, 1e-9);
  assert_int_equal(amp_bench_of(&s->b, &s->w, odd, &b, NULL), AMP_OK);
  assert_int_equal(b.steps, 0);
  assert_false(amp_given(b.module[2].soc) || amp_given(b.module[2].add));
  assert_int_equal(amp_bench_of(&s->b, &s->w, NULL, &b, NULL), AMP_OK);
  assert_int_equal(b.unread, 6);
  assert_false(amp_given(b.soc));
  assert_close(b.full, 84.0, 1e-9);
}

/* Between the knees of a flat curve nothing is told of charge. */
static void a_flat_curve_tells_no_level (void **state) {
  static const double rest[] = {39.0, 39.0, 38.9, 39.0, 39.0, 39.0};
  shelf *s = shelf_of(true);
  static amp_bench b;
  (void)state;
  s->chemistry.flat_lo = 0.2;
  s->chemistry.flat_hi = 0.9;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_true(b.flat);
  assert_false(amp_given(b.soc) || amp_given(b.module[0].add));
  assert_int_equal(b.steps, 0);
}

/* A resistance that nobody measured leaves no bound without a lead. */
static void a_missing_resistance_gives_a_bound (void **state) {
  static const double rest[] = {39.0, 39.0, 38.9, 39.0, 39.0, 39.0};
  shelf *s = shelf_of(true);
  static amp_bench b;
  (void)state;
  memset(&s->m[2].r10s, 0, sizeof s->m[2].r10s);
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_int_equal(b.steps, 0);
  s->b.lead = 0.002;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, NULL), AMP_OK);
  assert_int_equal(b.steps, 3);
  assert_true(b.bound);
}

static void nonsense_is_refused (void **state) {
  static const double rest[] = {39.0, 39.0, -5.0, 39.0, 39.0, 39.0};
  shelf *s = shelf_of(true);
  static amp_bench b;
  amp_error err = {0};
  (void)state;
  b.groups = 7;
  assert_int_equal(amp_bench_of(&s->b, &s->w, rest, &b, &err), AMP_ERANGE);
  assert_string_equal(err.field, "rest");
  assert_int_equal(b.groups, 7);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_low_module_is_brought_level),
      cmocka_unit_test(strings_are_joined_in_the_gentlest_order),
      cmocka_unit_test(a_level_is_joined_by_itself),
      cmocka_unit_test(what_was_not_read_is_not_told),
      cmocka_unit_test(a_flat_curve_tells_no_level),
      cmocka_unit_test(a_missing_resistance_gives_a_bound),
      cmocka_unit_test(nonsense_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
