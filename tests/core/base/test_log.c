/*
** test_log.c -- a log is copied, mended where that is plain, and never
** changed in silence.
*/
#include "support/close.h"
#include "base/log.h"
#include <stdlib.h>
#include <string.h>

#define NONE (double)NAN

static amp_status make (size_t n, const double *t, const double *i,
                        const double *v, amp_test_log *out, amp_error *err) {
  const double *column[AMP_LOG_COLUMNS] = {i, v, NULL, NULL};
  return amp_log_make(NULL, n, t, column, 0, out, err);
}

static void clean_log_is_copied_as_it_is (void **state) {
  const double t[] = {0, 1, 3, 4}, i[] = {9, 2, -1, 0}, v[] = {4, 3, 2, 1};
  amp_test_log log;
  (void)state;
  assert_int_equal(make(4, t, i, v, &log, NULL), AMP_OK);
  assert_int_equal(log.n, 4);
  assert_string_equal(log.note, "");
  for (int k = 0; k < 4; k++) {
    assert_close(log.time[k], t[k], 0);
    assert_close(log.column[AMP_LOG_CURRENT][k], i[k], 0);
    assert_close(log.column[AMP_LOG_VOLTAGE][k], v[k], 0);
  }
  assert_null(log.column[AMP_LOG_TEMP]);
  amp_log_free(NULL, &log);
  assert_null(log.time);
}

static void rows_without_time_or_current_are_dropped_and_said (void **state) {
  const double t[] = {0, 1, 1, NONE, 4, 5}, i[] = {0, 2, 7, 7, NONE, 2};
  amp_test_log log;
  (void)state;
  assert_int_equal(make(6, t, i, NULL, &log, NULL), AMP_OK);
  assert_int_equal(log.n, 3);
  assert_int_equal(log.dropped, 3);
  assert_close(log.time[2], 5, 0);
  assert_close(log.column[AMP_LOG_CURRENT][1], 2, 0);
  assert_string_equal(log.note,
                      "3 rows left out (no time or current, or doubled)");
  amp_log_free(NULL, &log);
}

static void missing_voltage_is_filled_between_its_neighbours (void **state) {
  double t[40], i[40], v[40];
  amp_test_log log;
  (void)state;
  for (int k = 0; k < 40; k++) {
    t[k] = k < 10 ? k : k + 10; /* 11 s from row 9 to row 10 */
    i[k] = 1;
    v[k] = 3.0 + 0.1 * t[k];
  }
  v[0] = v[9] = v[10] = v[39] = NONE;
  assert_int_equal(make(40, t, i, v, &log, NULL), AMP_OK);
  assert_int_equal(log.filled, 4);
  assert_close(log.column[AMP_LOG_VOLTAGE][9], 3.9, 1e-12);
  assert_close(log.column[AMP_LOG_VOLTAGE][10], 5.0, 1e-12);
  assert_close(log.column[AMP_LOG_VOLTAGE][0], 3.1, 1e-12); /* held */
  assert_close(log.column[AMP_LOG_VOLTAGE][39], 7.8, 1e-12);
  assert_string_equal(log.note,
                      "4 missing values filled between their neighbours");
  amp_log_free(NULL, &log);
  v[1] = NONE; /* 5 of 40: more than a tenth */
  amp_error err;
  assert_int_equal(make(40, t, i, v, &log, &err), AMP_EDATA);
  assert_string_equal(
      err.text, "voltage is missing in 5 of 40 rows, more than a tenth");
}

static void long_intervals_count_as_gaps (void **state) {
  double t[30], i[30];
  amp_test_log log;
  const double *column[AMP_LOG_COLUMNS] = {i, NULL, NULL, NULL};
  (void)state;
  for (int k = 0; k < 30; k++) {
    t[k] = k + (k > 9 ? 119 : 0) + (k > 19 ? 500 : 0);
    i[k] = 0;
  }
  assert_int_equal(amp_log_make(NULL, 30, t, column, 0, &log, NULL), AMP_OK);
  assert_int_equal(log.gaps, 1); /* 120 s is none, 501 s is one */
  assert_close(log.longest_gap, 501, 0);
  assert_string_equal(log.note, "1 gap of 501 s");
  amp_log_free(NULL, &log);
  assert_int_equal(amp_log_make(NULL, 30, t, column, 60, &log, NULL), AMP_OK);
  assert_int_equal(log.gaps, 2);
  amp_log_free(NULL, &log);
}

static void damaged_logs_are_refused_with_their_row (void **state) {
  const double back[] = {0, 1, 2, 1.5, 3}, i[] = {0, 0, 0, 0, 0};
  const double two[] = {0, 1, 1};
  amp_test_log log;
  amp_error err;
  (void)state;
  memset(&log, 7, sizeof log);
  amp_test_log before = log;
  assert_int_equal(make(5, back, i, NULL, &log, &err), AMP_EDATA);
  assert_int_equal(err.line, 4);
  assert_string_equal(err.text, "time goes back from 2 to 1.5 s in row 4");
  assert_int_equal(make(3, two, i, NULL, &log, &err), AMP_EDATA);
  assert_string_equal(err.text,
                      "a log needs at least 3 usable rows, got 2 of 3");
  assert_memory_equal(&log, &before, sizeof log);
}

static void charge_is_the_sum_of_current_times_interval (void **state) {
  const double t[] = {0, 10, 40, 50}, i[] = {99, 2, -1, 4};
  amp_test_log log;
  (void)state;
  assert_int_equal(make(4, t, i, NULL, &log, NULL), AMP_OK);
  assert_close(amp_log_charge(&log, 0, 3), 20 - 30 + 40, 1e-12);
  assert_close(amp_log_charge(&log, 1, 2), -30, 1e-12);
  assert_close(amp_log_charge(&log, 2, 2), 0, 0);
  amp_log_free(NULL, &log);
}

static void value_between_rows_is_linear_and_held_outside (void **state) {
  const double t[] = {0, 10, 40}, i[] = {1, 2, 5};
  amp_test_log log;
  (void)state;
  assert_int_equal(make(3, t, i, NULL, &log, NULL), AMP_OK);
  assert_close(amp_log_at(&log, AMP_LOG_CURRENT, -5), 1, 0);
  assert_close(amp_log_at(&log, AMP_LOG_CURRENT, 5), 1.5, 1e-15);
  assert_close(amp_log_at(&log, AMP_LOG_CURRENT, 10), 2, 0);
  assert_close(amp_log_at(&log, AMP_LOG_CURRENT, 20), 3, 1e-15);
  assert_close(amp_log_at(&log, AMP_LOG_CURRENT, 99), 5, 0);
  assert_true(isnan(amp_log_at(&log, AMP_LOG_VOLTAGE, 5)));
  assert_true(isnan(amp_log_at(&log, AMP_LOG_CURRENT, NONE)));
  amp_log_free(NULL, &log);
}

/* Refuses the k-th piece of memory. */
static void *miser (void *user, void *old, size_t old_size, size_t size) {
  int *left = user;
  (void)old_size;
  if (size == 0) {
    free(old);
    return NULL;
  }
  return (*left)-- > 0 ? realloc(old, size) : NULL;
}

static void want_of_memory_is_said_and_leaks_nothing (void **state) {
  const double t[] = {0, 1, 2}, i[] = {0, 0, 0};
  const double *column[AMP_LOG_COLUMNS] = {i, i, NULL, NULL};
  amp_test_log log;
  (void)state;
  for (int most = 0; most < 5; most++) {
    int left = most;
    amp_context ctx = {.workers = 1, .user = &left, .alloc = miser};
    assert_int_equal(amp_log_make(&ctx, 3, t, column, 0, &log, NULL),
                     AMP_ENOMEM);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(clean_log_is_copied_as_it_is),
      cmocka_unit_test(rows_without_time_or_current_are_dropped_and_said),
      cmocka_unit_test(missing_voltage_is_filled_between_its_neighbours),
      cmocka_unit_test(long_intervals_count_as_gaps),
      cmocka_unit_test(damaged_logs_are_refused_with_their_row),
      cmocka_unit_test(charge_is_the_sum_of_current_times_interval),
      cmocka_unit_test(value_between_rows_is_linear_and_held_outside),
      cmocka_unit_test(want_of_memory_is_said_and_leaks_nothing)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
