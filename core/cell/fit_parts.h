/*
** fit_parts.h -- what the files of the fit share: runs of current and rest
** in a log, steady voltages at the end of rests, steps of the current, and
** a sentence for the caller. Not part of the interface.
*/
#ifndef AMP_CELL_FIT_PARTS_H
#define AMP_CELL_FIT_PARTS_H

#include "cell/fit.h"

/*
** Rows 'first' .. 'last' with current of one sign (0: at rest). The run
** begins at the time of the row before 'first'.
*/
typedef struct amp_fit_run {
  size_t first, last;
  int sign;         /* of the current: 1 discharges, -1 charges, 0 rests */
  double charge;    /* C, > 0 discharged */
  double duration;  /* s */
} amp_fit_run;

/* Below this a current counts as rest: capacity / 200 h. */
double amp_fit_idle (double capacity);

/* Cut a log into runs; *out (n of them) is for amp_free with n sizes. */
amp_status amp_fit_runs (const amp_context *ctx, const amp_test_log *log,
                         double idle, amp_fit_run **out, size_t *n,
                         amp_error *err);

/* End of a rest: charge discharged since the log's first row, voltage. */
typedef struct amp_fit_rest {
  double charge;    /* C */
  double v;         /* V, at the end of the rest */
  double duration;  /* s */
} amp_fit_rest;

enum { AMP_FIT_RESTS = 200 };

/* Rests of at least 'least' s, at most AMP_FIT_RESTS of them. */
int amp_fit_rests (const amp_test_log *log, const amp_fit_run *run,
                   size_t runs, double least, amp_fit_rest *out);

/*
** Median over the steps of the current of fall of voltage over rise of
** current in the first row after the step (of at most 2 s); ohm. NaN: no
** step to be seen.
*/
double amp_fit_edge (const amp_test_log *log, const amp_fit_run *run,
                     size_t runs, double idle);

/*
** Rows whose errors hang together: a pulse or a discharge with the rest after
** it, of a drive about five minutes. Rows come in order, 'now' begins as {0}
** for each log.
*/
typedef struct amp_fit_block {
  int n;         /* of the row at hand, from 0 */
  double lasted; /* s */
  bool rested;   /* it has come to its rest */
} amp_fit_block;

void amp_fit_next_block (amp_fit_block *now, double i, double dt,
                         double idle);

/*
** Factor of the deviations by the correlation rho of neighbouring residuals,
** sqrt((1 + rho) / (1 - rho)): what is common to all blocks, since the model
** misses each alike, shows in it and not in the blocks' spread.
*/
double amp_fit_neighbours (const double *r, size_t m);

/* Mean temperature, K; NaN where the log has none. */
double amp_fit_temp (const amp_test_log *log);

/* Add a warning, %s %d %zu %g as in amp_failf; more than fit are dropped. */
void amp_fit_warn (amp_fit *fit, const char *format, ...);

/* That the logs hold only so many blocks, and what follows from it. */
void amp_fit_warn_of_blocks (amp_fit *fit, const char *model, int blocks,
                             const char *then);

/* To four significant digits, for warnings: logs hold no more. */
double amp_fit_round (double v);

/* Add a parameter of the simple model; soc NaN: everywhere. */
void amp_fit_add (amp_fit *fit, const char *name, const char *unit,
                  double soc, double value, double sd);

/* Add a parameter of the detailed model; soc or temp (K) NaN: everywhere. */
void amp_fit_add_detailed (amp_fit *fit, const char *name, const char *unit,
                           double soc, double temp, double value, double sd);

/* Smallest and largest of the charge given off since the first row, C. */
void amp_fit_span (const amp_test_log *log, double *lo, double *hi);

/* Is there a voltage and a current, and does it move enough? */
amp_status amp_fit_check_log (const amp_test_log *log, int index,
                              double least, amp_error *err);

#endif
