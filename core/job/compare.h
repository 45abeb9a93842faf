/*
** compare.h -- offers beside what else would carry the load, under the same
** draws: what both rest on (load, interest, tariff, a value used by both) is
** one draw for all of them, so that a difference has a spread of its own,
** mostly a narrower one than either cost. docs/model/alternative.md.
*/
#ifndef AMP_JOB_COMPARE_H
#define AMP_JOB_COMPARE_H

#include "job/alternative.h"
#include "job/case.h"

typedef struct amp_alternative_result {
  amp_status status;  /* AMP_OK, or why.status: by its middle numbers */
  amp_error why;
  amp_alternative_answer middle;
  amp_stat first;     /* money at the start */
  amp_stat served, unserved; /* J a year */
  amp_stat usable, per_usable, years; /* of a battery: J; its life */
  amp_stat per_delivered, levelised, per_year;
  amp_stat npv, saving, break_even; /* as of a case; refused for the grid */
  double saves, paid, paid_late;
  double cheapest;    /* share of the draws */
  double failed;      /* share of draws in which it does not carry the load or
                         is worn out within a year: no cost there */
} amp_alternative_result;

/* A case against an alternative, draw by draw. */
typedef struct amp_pair {
  amp_stat more;  /* 'added' cost of the case (case.h: a kWh beyond what the
                     supply serves by itself) less the other's levelised */
  double cheaper; /* share of the draws, in which one has a cost, in which the
                     case costs less; NaN: in none */
} amp_pair;

/*
** amp_cases for n cases (n may be 0), and m >= 0 alternatives of one need:
** 'cheapest' is shared among all of them, cases by their 'added' cost where
** m > 0. pair[n][m] may be NULL.
*/
amp_status amp_compare (const amp_context *ctx, const amp_case *cases,
                        size_t n, const amp_need *need,
                        const amp_alternative *others, size_t m,
                        const amp_ask *ask, amp_case_result *result,
                        amp_alternative_result *other, amp_pair *pair,
                        amp_error *err);

#endif
