/*
** profile_parts.h -- what the makers of duties share. Every maker builds a
** fresh duty and hands it over only when it is whole. Private to core/run.
**   profile.c        a duty's memory, months and note
**   profile_daily.c  a day that repeats, month by month
**   profile_series.c a series from a file
**   profile_net.c    the load of one, the sun of another
**   profile_test.c   a test: steps of any length, a log, phases
** Definitions: docs/model/profile.md.
*/
#ifndef AMP_RUN_PROFILE_PARTS_H
#define AMP_RUN_PROFILE_PARTS_H

#include "run/profile.h"

#define DUTY_DAY 86400.0         /* s */
#define DUTY_HOUR 3600.0         /* s */
#define DUTY_POWER_MOST 1e9      /* W, a typing error above */
#define DUTY_KELVIN_LEAST 173.15 /* -100 C */
#define DUTY_KELVIN_MOST 423.15  /* 150 C */
#define DUTY_ROOM 298.15         /* K, 25 C */

/* A year without 29 February. */
extern const int duty_month_days[12];

/* The sentence that says so where DUTY_ROOM stands in. */
extern const char duty_no_temp[];

/* Zeros in all arrays, factors of one. Frees what it got where it fails. */
amp_status duty_make (const amp_context *ctx, size_t n, double dt,
                      amp_duty *d, amp_error *err);

/* Months by running days from 'first' (0: 1 January) of a 365-day year. */
void duty_months_from (amp_duty *d, int first);

/* Add a sentence to the note; what does not fit is cut. */
void duty_note (amp_duty *d, const char *text);

/* "3 rows of a part day at the start dropped" */
void duty_note_count (amp_duty *d, size_t n, const char *text);

/* Each of v[n] in lo .. hi; err->line names the first that is not, from 1. */
amp_status duty_check_list (const char *field, const double *v, size_t n,
                            double lo, double hi, amp_error *err);

#endif
