/*
** test_rainflow.c -- cycles against the standard's own example and against
** laws: the sum identity, cutting the stream, repeating histories.
** Expected numbers: ASTM E1049-85 (2017), 5.4.4 and its Figure 6, and the
** worked examples in docs/model/rainflow.md.
*/
#include "support/lender.h"
#include "support/close.h"
#include "run/rainflow.h"
#include <stdlib.h>

enum { MOST = 4000 };

typedef struct found {
  amp_cycle cycle[MOST];
  size_t n;
} found;

static void keep (void *arg, const amp_cycle *c) {
  found *f = arg;
  assert_true(f->n < MOST);
  f->cycle[f->n++] = *c;
}

/* A walk that turns often and ties often: whole numbers 0 .. 20. */
static void walk (double *v, size_t n, unsigned seed) {
  unsigned long long x = seed * 2654435761u + 1u;
  for (size_t i = 0; i < n; i++) {
    x = x * 6364136223846793005u + 1442695040888963407u;
    v[i] = (double)((x >> 33) % 21);
  }
}

static double count_of (const amp_cycle *c, size_t n, double range) {
  double sum = 0.0;
  for (size_t i = 0; i < n; i++)
    if (fabs(c[i].range - range) <= 1e-9)
      sum += c[i].count;
  return sum;
}

static double depth_sum (const amp_cycle *c, size_t n) {
  double sum = 0.0;
  for (size_t i = 0; i < n; i++)
    sum += c[i].range * c[i].count;
  return sum;
}

static void assert_cycles (const amp_cycle *got, size_t n,
                           const amp_cycle *want, size_t m, double tol) {
  assert_int_equal(n, m);
  for (size_t i = 0; i < n; i++) {
    assert_close(got[i].range, want[i].range, tol);
    assert_close(got[i].mean, want[i].mean, tol);
    assert_close(got[i].count, want[i].count, 0.0);
  }
}

/* ASTM E1049-85 (2017), Figure 6; order and means as in the table of
** docs/model/rainflow.md. */
static void matches_astm_e1049_figure_6 (void **state) {
  static const double turn[] = {-2, 1, -3, 5, -1, 3, -4, 4, -2};
  static const amp_cycle want[] = {{3, -0.5, 0.5}, {4, -1, 0.5},  {4, 1, 1},
                                   {8, 1, 0.5},    {9, 0.5, 0.5}, {8, 0, 0.5},
                                   {6, 1, 0.5}};
  static const double total[][2] = {{3, 0.5}, {4, 1.5}, {5, 0},   {6, 0.5},
                                    {7, 0},   {8, 1},   {9, 0.5}, {10, 0}};
  amp_cycle got[LEN(turn)];
  size_t n = amp_rainflow_count(turn, LEN(turn), got);
  (void)state;
  assert_cycles(got, n, want, LEN(want), 0.0);
  for (size_t i = 0; i < LEN(total); i++)
    assert_close(count_of(got, n, total[i][0]), total[i][1], 0.0);
  assert_close(depth_sum(got, n), 23.0, 0.0); /* half of the variation 46 */
}

/* A zero put before and after is another history: range 2 comes in. */
static void end_points_count (void **state) {
  static const double turn[] = {0, -2, 1, -3, 5, -1, 3, -4, 4, -2, 0};
  amp_cycle got[LEN(turn)];
  size_t n = amp_rainflow_count(turn, LEN(turn), got);
  (void)state;
  assert_close(count_of(got, n, 2.0), 1.0, 0.0);
}

/* x(t) = 0.2 + 0.5 sin t + 0.2 cos 10t + 0.2 sin 4t, t = 4 i/200; expected
** list as printed at pypi.org/project/rainflow/3.1.0, to its digits. */
static void matches_a_smooth_signal (void **state) {
  static const double want[][2] = {{0.042589652, 0.5}, {0.109734394, 1.0},
                                   {0.112946281, 0.5}, {0.205710699, 1.0},
                                   {0.214679909, 1.0}, {0.438898598, 1.0},
                                   {0.483057481, 0.5}, {0.528642387, 0.5},
                                   {0.780933029, 0.5}, {1.434361017, 0.5}};
  double x[201];
  amp_cycle got[LEN(x)];
  (void)state;
  for (int i = 0; i <= 200; i++) {
    double t = 4.0 * i / 200.0;
    x[i] = 0.2 + 0.5 * sin(t) + 0.2 * cos(10.0 * t) + 0.2 * sin(4.0 * t);
  }
  size_t n = amp_rainflow_count(x, LEN(x), got);
  assert_int_equal(n, LEN(want));
  for (size_t i = 0; i < LEN(want); i++) {
    size_t hits = 0;
    for (size_t k = 0; k < n; k++)
      if (fabs(got[k].range - want[i][0]) <= 1e-9)
        hits += got[k].count == want[i][1];
    assert_int_equal(hits, 1);
  }
}

/* Figure 6 re-ordered to start and end at its highest peak: only full
** cycles, nothing left open (the standard's repeating histories, 5.4.5). */
static void repeating_history_closes (void **state) {
  static const double turn[] = {5, -1, 3, -4, 4, -2, 1, -3, 5};
  static const amp_cycle full[] = {{4, 1, 1}, {3, -0.5, 1}, {7, 0.5, 1}};
  amp_cycle got[LEN(turn)];
  size_t n = amp_rainflow_count(turn, LEN(turn), got);
  (void)state;
  assert_int_equal(n, 5);
  assert_cycles(got, 3, full, LEN(full), 0.0);
  for (size_t i = 3; i < n; i++) { /* the 9 as two halves of one cycle */
    assert_close(got[i].range, 9.0, 0.0);
    assert_close(got[i].mean, 0.5, 0.0);
    assert_close(got[i].count, 0.5, 0.0);
  }
}

/* States of charge in percent; worked by hand in docs/model/rainflow.md. */
static void matches_state_of_charge_examples (void **state) {
  static const double a[] = {50, 90, 20, 90, 50};
  static const double b[] = {100, 20, 80, 40, 70, 30, 100};
  static const double c[] = {50, 90, 30, 70, 20, 80, 50};
  amp_cycle got[8];
  (void)state;
  size_t n = amp_rainflow_count(a, LEN(a), got);
  assert_int_equal(n, 4);
  assert_close(count_of(got, n, 40), 1.0, 0.0);
  assert_close(count_of(got, n, 70), 1.0, 0.0);
  assert_close(depth_sum(got, n) / 100, 1.10, 1e-12);
  n = amp_rainflow_count(b, LEN(b), got);
  assert_int_equal(n, 4);
  assert_close(count_of(got, n, 30), 1.0, 0.0);
  assert_close(count_of(got, n, 50), 1.0, 0.0);
  assert_close(count_of(got, n, 80), 1.0, 0.0);
  assert_close(depth_sum(got, n) / 100, 1.60, 1e-12);
  n = amp_rainflow_count(c, LEN(c), got);
  static const amp_cycle want[] = {{40, 70, 0.5},
                                   {40, 50, 1.0},
                                   {70, 55, 0.5},
                                   {60, 50, 0.5},
                                   {30, 65, 0.5}};
  assert_cycles(got, n, want, LEN(want), 0.0);
  assert_close(depth_sum(got, n) / 100, 1.40, 1e-12);
}

/* X >= Y closes: an equal range coming back makes the older one a full
** cycle (rule 3 of docs/model/rainflow.md, by hand). */
static void equal_ranges_close_a_full_cycle (void **state) {
  static const double turn[] = {0, 10, 4, 8, 4};
  static const amp_cycle want[] = {{4, 6, 1}, {10, 5, 0.5}, {6, 7, 0.5}};
  amp_cycle got[LEN(turn)];
  size_t n = amp_rainflow_count(turn, LEN(turn), got);
  (void)state;
  assert_cycles(got, n, want, LEN(want), 0.0);
}

/* Sum of range x count is half the total variation, for any history. */
static void depths_add_up_to_half_the_variation (void **state) {
  double v[500];
  amp_cycle got[LEN(v)];
  (void)state;
  for (unsigned seed = 0; seed < 200; seed++) {
    size_t n = 2 + seed * 2;
    double variation = 0.0;
    walk(v, n, seed);
    for (size_t i = 1; i < n; i++)
      variation += fabs(v[i] - v[i - 1]);
    size_t m = amp_rainflow_count(v, n, got);
    assert_true(m <= n);
    assert_close(depth_sum(got, m), variation / 2.0, 0.0);
  }
}

/* Whatever the pieces, the cycles and their order are those of the whole. */
static void cutting_the_stream_changes_nothing (void **state) {
  static double v[3000];
  static amp_cycle whole[LEN(v)];
  static found got;
  (void)state;
  for (unsigned seed = 1; seed <= 20; seed++) {
    walk(v, LEN(v), seed);
    size_t n = amp_rainflow_count(v, LEN(v), whole);
    got.n = 0;
    amp_rainflow *r = amp_rainflow_new(NULL, 0.0, keep, &got);
    assert_non_null(r);
    for (size_t at = 0, piece = seed; at < LEN(v); piece = piece * 7 % 61) {
      size_t len = piece < LEN(v) - at ? piece : LEN(v) - at;
      assert_int_equal(amp_rainflow_feed(r, v + at, len, 1, NULL), AMP_OK);
      at += len;
    }
    assert_int_equal(amp_rainflow_end(r, NULL), AMP_OK);
    assert_cycles(got.cycle, got.n, whole, n, 0.0);
    amp_rainflow_free(r);
  }
}

/* After the end the same object starts anew; a stride skips other columns. */
static void end_starts_anew (void **state) {
  static const double turn[] = {-2, 99, 1,  99, -3, 99, 5,  99, -1,
                                99, 3,  99, -4, 99, 4,  99, -2, 99};
  static found got;
  (void)state;
  amp_rainflow *r = amp_rainflow_new(NULL, 0.0, keep, &got);
  assert_non_null(r);
  for (int round = 0; round < 2; round++) {
    got.n = 0;
    assert_int_equal(amp_rainflow_feed(r, turn, 9, 2, NULL), AMP_OK);
    assert_int_equal(amp_rainflow_end(r, NULL), AMP_OK);
    assert_int_equal(got.n, 7);
    assert_close(got.cycle[4].range, 9.0, 0.0);
  }
  amp_rainflow_free(r);
}

/* A swing of exactly 'least' is no reversal, one above it is. By hand:
** without the small swings the history is 50, 90, 20, 60. */
static void small_swings_are_left_out (void **state) {
  static const double v[] = {50, 70, 68, 90, 89, 90, 20, 22, 20, 60, 58};
  static const amp_cycle want[] = {
      {40, 70, 0.5}, {70, 55, 0.5}, {40, 40, 0.5}};
  static found got;
  (void)state;
  amp_rainflow *r = amp_rainflow_new(NULL, 2.0, keep, &got);
  assert_non_null(r);
  assert_int_equal(amp_rainflow_feed(r, v, LEN(v), 1, NULL), AMP_OK);
  assert_int_equal(amp_rainflow_end(r, NULL), AMP_OK);
  assert_cycles(got.cycle, got.n, want, LEN(want), 0.0);
  got.n = 0;
  amp_rainflow_free(r);
  r = amp_rainflow_new(NULL, 1.5, keep, &got);
  assert_non_null(r);
  assert_int_equal(amp_rainflow_feed(r, v, LEN(v), 1, NULL), AMP_OK);
  assert_int_equal(amp_rainflow_end(r, NULL), AMP_OK);
  /* 70-68 and 20-22 close as full cycles of 2, 60-58 stays open */
  assert_close(count_of(got.cycle, got.n, 2.0), 2.5, 0.0);
  amp_rainflow_free(r);
}

static void flat_and_empty_histories_have_no_cycles (void **state) {
  static const double flat[] = {7, 7, 7, 7};
  static const double rise[] = {1, 2, 2, 3};
  amp_cycle got[4];
  (void)state;
  assert_int_equal(amp_rainflow_count(flat, 0, got), 0);
  assert_int_equal(amp_rainflow_count(flat, 1, got), 0);
  assert_int_equal(amp_rainflow_count(flat, 4, got), 0);
  assert_int_equal(amp_rainflow_count(rise, 4, got), 1);
  assert_close(got[0].range, 2.0, 0.0);
  assert_close(got[0].count, 0.5, 0.0);
}

static void nan_is_refused_and_nothing_is_taken (void **state) {
  double bad[] = {1, 5, (double)NAN};
  static const double good[] = {-2, 1, -3, 5, -1, 3, -4, 4, -2};
  static found got;
  amp_error err = {.line = 0};
  amp_cycle c[3];
  (void)state;
  assert_int_equal(amp_rainflow_count(bad, 3, c), 0);
  amp_rainflow *r = amp_rainflow_new(NULL, 0.0, keep, &got);
  assert_non_null(r);
  assert_int_equal(amp_rainflow_feed(r, good, 4, 1, NULL), AMP_OK);
  assert_int_equal(amp_rainflow_feed(r, bad, 3, 1, &err), AMP_ERANGE);
  assert_int_equal(err.line, 3);
  assert_int_equal(amp_rainflow_feed(r, good + 4, 5, 1, NULL), AMP_OK);
  assert_int_equal(amp_rainflow_end(r, NULL), AMP_OK);
  assert_int_equal(got.n, 7);
  assert_close(depth_sum(got.cycle, got.n), 23.0, 0.0);
  amp_rainflow_free(r);
}

static void no_memory_loses_nothing_fed (void **state) {
  static const double turn[] = {-2, 1, -3, 5, -1, 3, -4, 4, -2};
  static found got;
  lender p = {.last = 2};
  amp_context ctx = {.user = &p, .alloc = lend, .workers = 1};
  (void)state;
  amp_rainflow *r = amp_rainflow_new(&ctx, 0.0, keep, &got);
  assert_non_null(r);
  assert_int_equal(amp_rainflow_feed(r, turn, 3, 1, NULL), AMP_OK);
  assert_int_equal(amp_rainflow_feed(r, turn + 3, 6, 1, NULL), AMP_ENOMEM);
  p.last = p.calls + 1;
  assert_int_equal(amp_rainflow_feed(r, turn + 3, 6, 1, NULL), AMP_OK);
  assert_int_equal(amp_rainflow_end(r, NULL), AMP_OK);
  assert_int_equal(got.n, 7);
  assert_close(depth_sum(got.cycle, got.n), 23.0, 0.0);
  amp_rainflow_free(r);
  assert_int_equal(p.bytes, 0);
  p.last = p.calls;
  assert_null(amp_rainflow_new(&ctx, 0.0, keep, &got));
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(matches_astm_e1049_figure_6),
      cmocka_unit_test(end_points_count),
      cmocka_unit_test(matches_a_smooth_signal),
      cmocka_unit_test(repeating_history_closes),
      cmocka_unit_test(matches_state_of_charge_examples),
      cmocka_unit_test(equal_ranges_close_a_full_cycle),
      cmocka_unit_test(depths_add_up_to_half_the_variation),
      cmocka_unit_test(cutting_the_stream_changes_nothing),
      cmocka_unit_test(end_starts_anew),
      cmocka_unit_test(small_swings_are_left_out),
      cmocka_unit_test(flat_and_empty_histories_have_no_cycles),
      cmocka_unit_test(nan_is_refused_and_nothing_is_taken),
      cmocka_unit_test(no_memory_loses_nothing_fed),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
