/*
** ageing.h -- published models of fading cells, and the user's own, as
** tables of parameters with the range each was fitted in. Every model is a
** few sums that grow with use, and a loss that is a function of the sums: so
** a month adds its terms, a changed duty adds others, and a used cell
** continues from the sums it stands at, never from new.
**   S[k] += term[k] of the month;   loss = f(S[0], S[1], ..)
** Equations, constants, sources, ranges: docs/model/ageing.md.
*/
#ifndef AMP_LIFE_AGEING_H
#define AMP_LIFE_AGEING_H

#include "base/error.h"
#include "run/rainflow.h"
#include <stdbool.h>

enum { AMP_AGEING_TERMS = 4 };

/* What a cell went through in one stretch of time. */
typedef struct amp_stress {
  double time;     /* s */
  double temp;     /* K, mean */
  double soc;      /* 0..1, mean over time */
  double v_mean, v_rms; /* V of one cell */
  double fec;      /* full cycles out: charge out / nameplate capacity */
  double fec_in;   /* charge in / nameplate capacity */
  double efc;      /* kWh out / tested kWh at the start: user laws */
  double c_rate;   /* mean discharge current over capacity, 1/h, while > 0 */
  double dod;      /* 0..1, mean cycle range weighted by range */
  const amp_cycle *cycle; /* SoC 0..1; may be NULL with n 0 */
  size_t cycles;
} amp_stress;

typedef enum amp_ageing_kind {
  AMP_AGEING_RATES,   /* calendar rate + rate per cycle, the user's */
  AMP_AGEING_TABLE,   /* cycles to end of life at depths, the user's */
  AMP_AGEING_USER,    /* a function of the caller */
  AMP_AGEING_WANG2011,
  AMP_AGEING_SCHMALSTIEG2014,
  AMP_AGEING_NAUMANN2020,
  AMP_AGEING_XU2018
} amp_ageing_kind;

/* Loss in the stretch 's' (fraction of new capacity per second) of a cell
** that stands at 'soh' after 'years'; NaN: it failed, 'err' says why. */
typedef double amp_fade_function (void *arg, const amp_stress *s, double soh,
                                  double years, amp_error *err);

enum { AMP_DOD_KNOTS = 16 };

typedef struct amp_ageing {
  amp_ageing_kind kind;
  char name[32];
  const char *source; /* static; NULL: the user's */
  /* RATES */
  double calendar;    /* fraction a year at 'at' */
  double per_cycle;   /* fraction per efc */
  double at;          /* K; 0: temperature does not enter */
  double doubling;    /* K per doubling of the calendar rate */
  /* TABLE: cycles to the end of life at a depth, log-log between knots */
  int knots;
  double depth[AMP_DOD_KNOTS], life[AMP_DOD_KNOTS];
  double table_loss;  /* loss that the table's end of life means, 0.2 */
  /* USER */
  amp_fade_function *fade;
  void *arg;
  /* fitted ranges, for "outside": temperatures K, rate 1/h, depth 0..1 */
  double temp_lo, temp_hi, c_lo, c_hi, dod_lo, dod_hi;
} amp_ageing;

/* "lfp_throughput" "nmc_voltage_depth" "lfp_calendar_cycle" "lmo_stress" */
const amp_ageing *amp_ageing_find (const char *name);
const char *amp_ageing_name (int i); /* NULL past the last */

amp_status amp_ageing_check (const amp_ageing *m, amp_error *err);

/* Which fitted ranges the stretch leaves. */
enum {
  AMP_OUTSIDE_TEMP = 1,
  AMP_OUTSIDE_RATE = 2,
  AMP_OUTSIDE_DEPTH = 4
};

/*
** What the stretch adds to the sums. RATES: term[0] years weighted by
** temperature, term[1] efc; the rates stay outside, so that they can be
** drawn. USER models have no terms (all 0). *outside ORs the flags above.
*/
amp_status amp_ageing_terms (const amp_ageing *m, const amp_stress *s,
                             double term[AMP_AGEING_TERMS],
                             unsigned *outside, amp_error *err);

/* Loss 0..1 of capacity, and rise of resistance (0.2: 20 %; NaN where the
** model says nothing of it), at these sums. */
double amp_ageing_loss (const amp_ageing *m,
                        const double sum[AMP_AGEING_TERMS]);

/* So many of the sums, from the first on, that loss hangs on. */
int amp_ageing_loss_terms (const amp_ageing *m);
double amp_ageing_resistance (const amp_ageing *m,
                              const double sum[AMP_AGEING_TERMS]);

/*
** The sums of a used cell that has lost 'loss' by a use in proportion to
** 'term' (a year as it will be used, unless the history is known better).
** AMP_EREFUSED where no amount of that use gives that loss.
*/
amp_status amp_ageing_continue (const amp_ageing *m,
                                const double term[AMP_AGEING_TERMS],
                                double loss, double sum[AMP_AGEING_TERMS],
                                amp_error *err);

#endif
