/*
** simulate.h -- one year (or any duty) of one configuration, or of many that
** share a duty. One path: a single run is a batch of one, to the same bits.
** Model, step and events: docs/model/simulate.md.
**
** A configuration is a small tree of levels (pack/pack.h). Everything that
** the sums below count is at the battery's terminals unless said otherwise.
** Current > 0 discharges. SI units.
*/
#ifndef AMP_RUN_SIMULATE_H
#define AMP_RUN_SIMULATE_H

#include "base/context.h"
#include "base/error.h"
#include "pack/pack.h"
#include "run/profile.h"
#include "run/rainflow.h"

enum { AMP_CONVERTER_POINTS = 12 };

/* What stands between battery and load. */
typedef struct amp_converter {
  double efficiency; /* 0..1, AC out over DC in; where there is a curve, a
                        figure for whoever asks for one */
  double idle;       /* W, drawn from the battery while the duty says on */
  double power;      /* W AC, most it gives; 0: no limit */
  double v_min, v_max; /* V at the battery terminals; 0: no limit */
  /* Efficiency by load, the idle draw apart: straight between points, held
  ** beyond them. Wants 'power'. */
  int points; /* 0: the same at any load */
  double load[AMP_CONVERTER_POINTS]; /* AC out over 'power', rising */
  double at[AMP_CONVERTER_POINTS];   /* 0..1 */
} amp_converter;

/* AC out over DC in at this load (W AC), the idle draw apart. */
double amp_converter_efficiency (const amp_converter *c, double ac);

/* The same over a duty: all AC out over all DC in. */
double amp_converter_mean (const amp_converter *c, const amp_duty *duty,
                           double load_factor);

/* J AC over the duty that the supply of each step serves in the same step,
** with no battery: what a battery adds is what is served beyond it. The DC
** load and the idle draw come first, as in a run with an empty pack; where
** there is no AC load at all, J DC. Not for
** tests, which ask current or power. */
double amp_converter_alone (const amp_converter *c, const amp_duty *duty,
                            double load_factor, double sun_factor);

typedef struct amp_sim_case {
  const amp_pack *pack;
  amp_converter converter;
  double load_factor, sun_factor; /* times the duty's load (AC, DC, current
                                     > 0) and sun (current < 0) */
  double temp_shift;              /* K added to the duty's temperature */
} amp_sim_case;

typedef struct amp_sim_options {
  double dt_max;   /* s, longest step inside; 0: 600. Packs with unequal
                      strings take shorter ones, so that share_error stays
                      under 1e-3 */
  int warm_up;     /* whole duties run before, unseen, so that the year starts
                      as it ends; default of amp_sim_defaults: 1 */
  bool want_cycles; /* count cycles (rainflow) of the state of charge */
  bool fixed_step;  /* leave the step as dt_max says, also where unequal
                       strings would want a shorter one */
} amp_sim_options;

amp_sim_options amp_sim_defaults (void);

/* The same, with as many unseen duties as make a year: once would leave in
** the pack much of the charge that a duty of a few days began with. A test
** (steps of any length, or current asked) has none: it starts as it is. */
amp_sim_options amp_sim_settled (const amp_duty *duty);

/* Sums of one month (or part of a duty). Energies in J. */
typedef struct amp_sim_month {
  double time;      /* s */
  double served;    /* AC load met */
  double unserved;  /* AC load not met */
  double dc_served, dc_unserved; /* DC load */
  double curtailed; /* offered supply that found no place */
  double out, in;   /* at the terminals, both >= 0 */
  double loss;      /* heat in the cells */
  double charge_out, charge_in; /* C, both >= 0 */
  double soc_time;  /* integral of SoC dt */
  double v_time;    /* integral of terminal V dt, per group: V s */
  double v2_time;   /* integral of V^2 dt, per group */
  double temp_time; /* integral of cell temperature dt, K s */
  double discharge_time; /* s with current > 0 */
  double unserved_time;  /* s in which some load was not met */
  double bled;           /* by passive balancing */
  double heater;         /* into the heater, from wherever */
  double reversible;     /* heat that came with charge and will go with it:
                            warms the cells, is no loss */
  double cold_unserved, cold_curtailed; /* the parts of unserved (AC and DC)
                                           and curtailed in steps in which
                                           temperature set the current */
  double cold_time;      /* s of them */
} amp_sim_month;

typedef struct amp_sim_result {
  amp_sim_month month[12];
  amp_sim_month total;
  double soc_start, soc_end, soc_low, soc_high;
  double temp_low, temp_high;      /* K, cell */
  double i_max, i_min;             /* A at the terminals, extremes */
  double v_low, v_high;            /* V at the terminals, step means */
  double first_unserved, last_unserved; /* s from the start; < 0: never */
  double first_curtailed;               /* s; < 0: never */
  double first_empty; /* s, a limit first held a discharge down, located
                         inside its step; < 0: never */
  double stored_start, stored_end; /* J, charge in the cells against their
                                      open-circuit voltage, and RC pairs */
  double energy_residual; /* J: in - out - loss - change of stored */
  double charge_residual; /* C: in - out - change of charge */
  double power_residual;  /* J: energy given minus energy asked while no
                             limit acted: the error of the step. Current
                             asked: times the step's mean voltage */
  size_t events;          /* limits met inside a step, located */
  size_t unsolved;        /* steps in which the currents of detailed cells did
                             not settle (docs/model/simulate.md) */
  double first_cold, last_cold; /* s: temperature set the current; < 0 */
  double first_opened;    /* s: a fuse opened; < 0: never */
  double step;            /* s, longest step inside */
  double share_error;     /* part of the leaves' charge that half as long
                             steps send through another leaf, x 1.5 (halving
                             makes a third of it): that of the sharing.
                             0: nothing in parallel */
} amp_sim_result;

/* One leaf over the whole duty; what the leaf carries at its own ends. */
typedef struct amp_leaf_sum {
  double charge_out, charge_in; /* C */
  double i_max, i_min;          /* A */
  double share_max; /* largest part of the pack's current, while that is
                       above C/20 of the pack */
  double soc_end, soc_low, soc_high;
  double temp_low, temp_high;   /* K */
  double opened;                /* s, its fuse; < 0: never */
  size_t lows, highs; /* limits located that this leaf set, discharging and
                         charging */
  double first_low, first_high; /* s; < 0: never */
} amp_leaf_sum;

/*
** The cycles of case 'i' of month 'm' (closed in that month; the last
** month's list ends with the open halves), and the sums of that month.
** Called from a worker, once a month in order; lists live during the call.
*/
typedef void amp_sim_sink (void *arg, size_t i, int m,
                           const amp_sim_month *sum, const amp_cycle *cycle,
                           size_t n);

/*
** Run n cases over 'duty'. result[n] is filled; 'sink' may be NULL.
** AMP_ESTOP, AMP_ENOMEM and refused cases (err names the first by its index
** in err->line) leave result[] unspecified.
*/
amp_status amp_simulate (const amp_context *ctx, const amp_sim_case *cases,
                         size_t n, const amp_duty *duty,
                         const amp_sim_options *opt, amp_sim_result *result,
                         amp_sim_sink *sink, void *arg, amp_error *err);

/*
** One case, every step kept: a column is amp_trace_length doubles, owned by
** the trace, which amp_trace_free gives back. Fails as amp_simulate; then
** *out is not to be used.
*/
typedef struct amp_trace amp_trace;

amp_status amp_simulate_trace (const amp_context *ctx, const amp_sim_case *c,
                               const amp_duty *duty,
                               const amp_sim_options *opt, amp_trace **out,
                               amp_sim_result *result, amp_error *err);
void amp_trace_free (const amp_context *ctx, amp_trace *t);
size_t amp_trace_length (const amp_trace *t);
/* Leaves of the pack, in its order. */
size_t amp_trace_leaves (const amp_trace *t);
const amp_leaf_sum *amp_trace_leaf (const amp_trace *t, size_t leaf);
/* "current_a" (mean of the step) or "soc" (end of step) of one leaf; NULL for
** a pack of one leaf and where that would be more than 8 million numbers. */
const double *amp_trace_leaf_column (const amp_trace *t, size_t leaf,
                                     const char *name);
/* "time_s" (end of step, from the duty's start) "soc" "current_a"
** "voltage_v" "temp_k" "power_w" "unserved_w" (AC and DC) "curtailed_w"
** "voltage_end_v" "voltage_low_v"; else NULL. Charge, temperature and
** voltage_end_v are those at the end of the step, the others its means;
** voltage_low_v is the lowest at its end and at the limits met inside it. */
const double *amp_trace_column (const amp_trace *t, const char *name);

/* s from the start at which phase i of the duty ended: by what it names, by
** a limit, or after its time; -1: the duty has no such phase. */
double amp_trace_phase_end (const amp_trace *t, size_t i);

/* Row of this trace at which step i of its duty begins. */
size_t amp_trace_begin (const amp_trace *t, const amp_duty *duty, size_t i);
/* The same of any run in equal steps, not cut for unequal strings (n: how
** many rows). 'dt_max' as in the options of the run. */
size_t amp_trace_row (const amp_duty *duty, double dt_max, size_t i);

#endif
