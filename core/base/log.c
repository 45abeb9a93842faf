/*
** log.c -- a logged test, copied and mended; what was done is counted and
** said in words.
*/
#include "base/log.h"
#include "base/sample.h"
#include <math.h>
#include <string.h>

#define MOST_MISSING 0.1 /* of the rows, in voltage or temperature */
#define GAP_MEDIANS 10.0 /* a gap is longer than so many median intervals */
#define GAP_LEAST 120.0  /* s, and than this */

static size_t bytes (const amp_test_log *log) {
  return log->n * sizeof(double);
}

void amp_log_free (const amp_context *ctx, amp_test_log *log) {
  amp_free(ctx, log->time, bytes(log));
  for (int c = 0; c < AMP_LOG_COLUMNS; c++)
    amp_free(ctx, log->column[c], bytes(log));
  memset(log, 0, sizeof *log);
}

/* The column that says what flowed: current, else power, else none. */
static const double *flow_of (const double *const column[AMP_LOG_COLUMNS]) {
  return column[AMP_LOG_CURRENT] != NULL ? column[AMP_LOG_CURRENT]
                                         : column[AMP_LOG_POWER];
}

/* Which rows stay: use[k] is the k-th kept row's place in the input. */
static amp_status choose_rows (size_t n, const double *time,
                               const double *flow, size_t *use, size_t *kept,
                               amp_error *err) {
  double last = -INFINITY; /* time of the last row that had one */
  *kept = 0;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(time[i]))
      continue;
    if (time[i] < last) {
      amp_failf(err, AMP_EDATA, "time",
                "time goes back from %g to %g s in row %zu", last, time[i],
                i + 1);
      if (err != NULL)
        err->line = i + 1;
      return AMP_EDATA;
    }
    if (time[i] == last)
      continue;
    last = time[i];
    if (flow == NULL || isfinite(flow[i]))
      use[(*kept)++] = i;
  }
  if (*kept < 3)
    return amp_failf(err, AMP_EDATA, NULL,
                     "a log needs at least 3 usable rows, got %zu of %zu",
                     *kept, n);
  return AMP_OK;
}

/* Fill what is missing between its neighbours, held at the ends. */
static size_t fill_missing (const double *time, double *v, size_t n) {
  size_t filled = 0;
  for (size_t i = 0; i < n; i++) {
    size_t end = i;
    while (end < n && !isfinite(v[end]))
      end++;
    if (end == i)
      continue;
    for (size_t k = i; k < end; k++)
      if (i == 0)
        v[k] = v[end];
      else if (end == n)
        v[k] = v[i - 1];
      else
        v[k] = v[i - 1] + (v[end] - v[i - 1]) * (time[k] - time[i - 1]) /
                              (time[end] - time[i - 1]);
    filled += end - i;
    i = end;
  }
  return filled;
}

static amp_status mend_column (amp_test_log *log, int c, amp_error *err) {
  static const char *const name[] = {"current", "voltage", "temperature",
                                     "power"};
  size_t missing = 0;
  for (size_t i = 0; i < log->n; i++)
    missing += isfinite(log->column[c][i]) ? 0 : 1;
  if ((double)missing > MOST_MISSING * (double)log->n)
    return amp_failf(err, AMP_EDATA, name[c],
                     "%s is missing in %zu of %zu rows, more than a tenth",
                     name[c], missing, log->n);
  log->filled += fill_missing(log->time, log->column[c], log->n);
  return AMP_OK;
}

/* Count intervals that are too long; 'room' holds n values. */
static void count_gaps (amp_test_log *log, double gap_s, double *room) {
  size_t steps = log->n - 1;
  for (size_t i = 0; i < steps; i++)
    room[i] = log->time[i + 1] - log->time[i];
  amp_sort(room, steps);
  if (gap_s == 0.0)
    gap_s = fmax(GAP_LEAST, GAP_MEDIANS * room[steps / 2]);
  for (size_t i = 0; i < steps; i++)
    log->gaps += room[i] > gap_s ? 1 : 0;
  log->longest_gap = log->gaps > 0 ? room[steps - 1] : 0.0;
}

/* Append a part to the note, "; " between two. */
static void say (amp_test_log *log, const char *part) {
  size_t at = strlen(log->note), n = strlen(part);
  if (at > 0 && at + 2 < AMP_LOG_NOTE) {
    memcpy(log->note + at, "; ", 3);
    at += 2;
  }
  if (n > AMP_LOG_NOTE - 1 - at)
    n = AMP_LOG_NOTE - 1 - at;
  memcpy(log->note + at, part, n);
  log->note[at + n] = '\0';
}

static void write_note (amp_test_log *log) {
  amp_error say_it; /* knows how to put numbers into a sentence */
  if (log->dropped > 0) {
    amp_failf(&say_it, AMP_OK, NULL,
              log->dropped == 1
                  ? "%zu row left out (no time or current, or doubled)"
                  : "%zu rows left out (no time or current, or doubled)",
              log->dropped);
    say(log, say_it.text);
  }
  if (log->filled > 0) {
    amp_failf(&say_it, AMP_OK, NULL,
              log->filled == 1
                  ? "%zu missing value filled between its neighbours"
                  : "%zu missing values filled between their neighbours",
              log->filled);
    say(log, say_it.text);
  }
  if (log->gaps > 0) {
    amp_failf(&say_it, AMP_OK, NULL,
              log->gaps == 1 ? "%zu gap of %g s"
                             : "%zu gaps, the longest %g s",
              log->gaps, log->longest_gap);
    say(log, say_it.text);
  }
}

/* Memory for n rows of the columns given. */
static amp_status make_room (const amp_context *ctx, amp_test_log *log,
                             const double *const column[AMP_LOG_COLUMNS],
                             amp_error *err) {
  log->time = amp_alloc(ctx, bytes(log));
  bool short_of = log->time == NULL;
  for (int c = 0; c < AMP_LOG_COLUMNS; c++)
    if (column[c] != NULL) {
      log->column[c] = amp_alloc(ctx, bytes(log));
      short_of = short_of || log->column[c] == NULL;
    }
  return short_of ? amp_fail(err, AMP_ENOMEM, "log", (double)log->n, 0, 0)
                  : AMP_OK;
}

/* Copy the rows chosen, then mend. 'use' is free for other use after. */
static amp_status copy_rows (const amp_context *ctx, const double *time,
                             const double *const column[AMP_LOG_COLUMNS],
                             double gap_s, const size_t *use,
                             amp_test_log *log, amp_error *err) {
  amp_status st = make_room(ctx, log, column, err);
  double *room = st == AMP_OK ? amp_alloc(ctx, bytes(log)) : NULL;
  if (st == AMP_OK && room == NULL)
    st = amp_fail(err, AMP_ENOMEM, "log", (double)log->n, 0, 0);
  for (size_t i = 0; i < log->n && st == AMP_OK; i++)
    log->time[i] = time[use[i]];
  for (int c = 0; c < AMP_LOG_COLUMNS && st == AMP_OK; c++)
    if (column[c] != NULL) {
      for (size_t i = 0; i < log->n; i++)
        log->column[c][i] = column[c][use[i]];
      st = mend_column(log, c, err);
    }
  if (st == AMP_OK) {
    count_gaps(log, gap_s, room);
    write_note(log);
  }
  amp_free(ctx, room, bytes(log));
  return st;
}

amp_status amp_log_make (const amp_context *ctx, size_t n, const double *time,
                         const double *const column[AMP_LOG_COLUMNS],
                         double gap_s, amp_test_log *out, amp_error *err) {
  amp_test_log log;
  size_t *use;
  amp_status st = amp_check_range(err, "gap_s", gap_s, 0.0, 1e12);
  memset(&log, 0, sizeof log);
  if (st != AMP_OK)
    return st;
  if ((use = amp_alloc(ctx, n * sizeof *use)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "log", (double)n, 0, 0);
  st = choose_rows(n, time, flow_of(column), use, &log.n, err);
  if (st == AMP_OK) {
    log.dropped = n - log.n;
    st = copy_rows(ctx, time, column, gap_s, use, &log, err);
  }
  amp_free(ctx, use, n * sizeof *use);
  if (st == AMP_OK)
    *out = log;
  else
    amp_log_free(ctx, &log);
  return st;
}

double amp_log_charge (const amp_test_log *log, size_t from, size_t to) {
  const double *i = log->column[AMP_LOG_CURRENT];
  double sum = 0.0;
  if (i == NULL)
    return __builtin_nan("");
  for (size_t k = from + 1; k <= to && k < log->n; k++)
    sum += i[k] * (log->time[k] - log->time[k - 1]);
  return sum;
}

double amp_log_at (const amp_test_log *log, amp_log_column column, double t) {
  const double *v = log->column[column], *time = log->time;
  size_t lo = 0, hi = log->n - 1;
  if (v == NULL || t != t)
    return __builtin_nan("");
  if (t <= time[lo])
    return v[lo];
  if (t >= time[hi])
    return v[hi];
  while (hi - lo > 1) {
    size_t mid = lo + (hi - lo) / 2;
    if (time[mid] <= t)
      lo = mid;
    else
      hi = mid;
  }
  return v[lo] + (v[hi] - v[lo]) * (t - time[lo]) / (time[hi] - time[lo]);
}
