/*
** log.h -- a logged test: columns against time, as a tester or somebody's
** meter wrote them. Current > 0 discharges and is the mean over the interval
** that ends at its row; voltage and temperature are values at the row's
** time. SI units. What was mended or left out is counted and said: a log is
** never changed in silence.
*/
#ifndef AMP_BASE_LOG_H
#define AMP_BASE_LOG_H

#include "base/context.h"
#include "base/error.h"

typedef enum amp_log_column {
  AMP_LOG_CURRENT, /* A */
  AMP_LOG_VOLTAGE, /* V */
  AMP_LOG_TEMP,    /* K */
  AMP_LOG_POWER,   /* W */
  AMP_LOG_COLUMNS
} amp_log_column;

enum { AMP_LOG_NOTE = 400 };

/* amp_log is the logarithm (elementary.h), hence this name. */
typedef struct amp_test_log {
  size_t n;
  double *time;                    /* s, strictly rising */
  double *column[AMP_LOG_COLUMNS]; /* n values each; NULL: not given */
  size_t dropped;  /* rows left out: no time, no current, doubled samples */
  size_t filled;   /* single gaps in voltage or temperature filled between
                      their neighbours */
  size_t gaps;     /* intervals longer than gap_s, see below */
  double longest_gap; /* s */
  char note[AMP_LOG_NOTE]; /* the above in words, or "" */
} amp_test_log;

/*
** Copy and clean. 'column' entries may be NULL, and hold NaN where a row has
** nothing. Rows whose time is NaN or equal to the row before are dropped
** and counted; time that goes back: AMP_EDATA with the row's index (from 1)
** in err->line. A row without current (or power, where there is no current)
** is dropped, so that the next row's mean covers both intervals. A voltage
** or temperature missing in a row is filled between its neighbours; more
** than a tenth of the rows missing: AMP_EDATA. Fewer than 3 rows left:
** AMP_EDATA. An interval is a gap when longer than 'gap_s' (0: 10 times the
** median interval and at least 120 s).
*/
amp_status amp_log_make (const amp_context *ctx, size_t n, const double *time,
                         const double *const column[AMP_LOG_COLUMNS],
                         double gap_s, amp_test_log *out, amp_error *err);
void amp_log_free (const amp_context *ctx, amp_test_log *log);

/* C from row 'from' to row 'to' (sum of current times interval). */
double amp_log_charge (const amp_test_log *log, size_t from, size_t to);

/* Value of a column at time t, linear between rows, held beyond the ends. */
double amp_log_at (const amp_test_log *log, amp_log_column column, double t);

#endif
