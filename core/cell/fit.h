/*
** fit.h -- parameters of a cell from logged tests: open-circuit voltage from
** a slow discharge (and charge) and from rests, the simple model (resistance
** and two RC pairs) and the detailed one (cell/detailed.h) from pulses, each
** parameter with what the data say about it. Method: docs/model/fit.md.
**
** What the data do not determine is kept at its default and said so; faults
** found in a log (an offset of the current, capacity that differs between
** directions, samples that do not belong together) are named in 'warning'.
*/
#ifndef AMP_CELL_FIT_H
#define AMP_CELL_FIT_H

#include "base/context.h"
#include "base/log.h"
#include "cell/cell.h"
#include "cell/detailed.h"

enum {
  AMP_FIT_LOGS = 8,       /* most pulse logs */
  AMP_FIT_PARAMETERS = 160,
  AMP_FIT_WARNINGS = 16,
  AMP_FIT_TEXT = 200
};

typedef struct amp_fit_input {
  const amp_chemistry *chemistry; /* the shape where no slow log is given, and
                                     the limits */
  double capacity;    /* C, as labelled; for C-rates and to judge the logs */
  int pulses;         /* logs of pulses and rests, each at one temperature */
  const amp_test_log *pulse[AMP_FIT_LOGS];
  const char *pulse_name[AMP_FIT_LOGS]; /* for warnings; may be NULL */
  double pulse_capacity[AMP_FIT_LOGS];  /* C; 0: the log's own full charge */
  const amp_test_log *slow; /* C/20 or so, one or both ways; NULL: none */
  double mass;         /* kg; 0: not given */
  bool simple_only;    /* the detailed fit takes up to a minute */
} amp_fit_input;

typedef struct amp_fit_parameter {
  char name[24];    /* "r0" "r1" "tau1" "i0" "tau_d" "slow1" "heat" .. */
  char unit[8];     /* "ohm" "s" "A" .. */
  bool detailed;    /* of which model */
  double soc, temp; /* where; NaN: everywhere */
  double value, sd; /* sd INFINITY: not determined, default kept */
} amp_fit_parameter;

typedef struct amp_fit {
  amp_chemistry chemistry;  /* the fitted open-circuit curve, limits kept */
  amp_cell simple;
  amp_detailed detailed;
  bool has_detailed;
  double capacity_at[AMP_FIT_LOGS], temp_at[AMP_FIT_LOGS]; /* C, K, by log */
  double soc_at[AMP_FIT_LOGS];       /* SoC at the first row of each */
  double rms_simple[AMP_FIT_LOGS];   /* V over each pulse log */
  double rms_detailed[AMP_FIT_LOGS]; /* V; NaN: not fitted */
  double worst_simple[AMP_FIT_LOGS]; /* V, largest residual */
  double worst_detailed[AMP_FIT_LOGS];
  double current_offset;   /* A, of the slow log; NaN: not known */
  int parameters;
  amp_fit_parameter parameter[AMP_FIT_PARAMETERS];
  int warnings;
  char warning[AMP_FIT_WARNINGS][AMP_FIT_TEXT];
} amp_fit;

/*
** Fit both models. AMP_EDATA: a log has no voltage or current, holds no
** pulse, or moves less than 10 % of the capacity, with the log's index (from
** 1) in err->line; AMP_ESTOP, AMP_ENOMEM; then *out stays. It is large: keep
** it off the stack.
*/
amp_status amp_fit_cell (const amp_context *ctx, const amp_fit_input *in,
                         amp_fit *out, amp_error *err);

/* The parts, for tests and for those who have one of them already. */
amp_status amp_fit_ocv (const amp_context *ctx, const amp_fit_input *in,
                        amp_fit *out, amp_error *err);
amp_status amp_fit_simple (const amp_context *ctx, const amp_fit_input *in,
                           amp_fit *out, amp_error *err);
amp_status amp_fit_detailed (const amp_context *ctx, const amp_fit_input *in,
                             amp_fit *out, amp_error *err);

/*
** Voltage of either model along a log's own current and temperature, open
** loop from 'soc' at the first row: v[n] (end of each interval) and mean[n]
** (over it), soc_of[n] the charge, temp_of[n] the skin (each or NULL).
** 'ambient' K: the chamber, constant; NaN: the log's own temperature column
** is taken as the surroundings (simple model: as the cell's).
** A step that would leave 0..1 SoC ends it: *done rows are valid.
*/
amp_status amp_fit_replay (const amp_context *ctx, const amp_fit *fit,
                           bool detailed, const amp_test_log *log,
                           double capacity, double soc, double ambient,
                           double *v, double *mean, double *soc_of,
                           double *temp_of, size_t *done, amp_error *err);

#endif
