/*
** cell.h -- one cell (or one group of cells in parallel, seen as one cell)
** as an equivalent circuit: open-circuit voltage, an ohmic resistance that
** varies with charge and temperature, and two RC pairs. SI units; current
** > 0 discharges. Model and symbols: docs/model/cell.md.
*/
#ifndef AMP_CELL_CELL_H
#define AMP_CELL_CELL_H

#include "base/error.h"
#include "cell/chemistry.h"

enum { AMP_R_KNOTS = 11 };

typedef struct amp_cell {
  double capacity;   /* C between 100 % and 0 % SoC at 298.15 K */
  double r0;         /* ohm at 50 % SoC, 298.15 K */
  double r1, tau1;   /* ohm, s */
  double r2, tau2;   /* ohm, s */
  double r0_shape[AMP_R_KNOTS]; /* r0 at 0, 10 .. 100 % SoC over r0 */
  double r0_activation; /* K: r0 ~ exp(r0_activation (1/T - 1/298.15)) */
  double mass;       /* kg; 0: not given */
} amp_cell;

/* State between steps. */
typedef struct amp_cell_state {
  double soc;  /* 0..1 */
  double v1, v2; /* V across the RC pairs */
  double temp; /* K */
} amp_cell_state;

/* Flat shape, no temperature dependence, tau 30 s and 900 s, zero r. */
amp_cell amp_cell_defaults (void);
amp_status amp_cell_check (const amp_cell *c, amp_error *err);

/*
** From a measured 10 s resistance: r0 and the pairs such that a 10 s pulse
** from rest shows r10s at 298.15 K (shares and time constants: assumed,
** docs/model/cell.md names where they come from).
*/
amp_cell amp_cell_from_r10s (double capacity, double r10s);

/* Ohm that a pulse of 10 s from rest shows at 50 % SoC, 298.15 K: fall of
** voltage over current, the open-circuit part left out. */
double amp_cell_r10s (const amp_cell *c);

/* The cell 'c' grown to this capacity and 10 s resistance: all resistances
** by one factor, times and shape as they are. c must have a resistance. */
amp_cell amp_cell_like (const amp_cell *c, double capacity, double r10s);

/*
** What amp_cell_from_r10s assumes, one value a row, in SI units: to be shown
** to whoever gave two numbers only. NULL past the last row.
*/
typedef struct amp_cell_assumed {
  const char *name, *unit;
  double value;
  const char *source;
} amp_cell_assumed;

const amp_cell_assumed *amp_cell_assumption (int i);

/* n equal cells in parallel as one; n may be a fraction of blown links. */
amp_cell amp_cell_parallel (const amp_cell *c, double n);

/* r0_shape at this charge: linear between its knots, held beyond 0 and 1. */
double amp_cell_shape (const amp_cell *c, double soc);

/* Ohm at this charge and temperature. */
double amp_cell_r0 (const amp_cell *c, double soc, double temp);

/*
** Advance by dt under constant current. Exact for constant current: two
** halves of a step give the same state to rounding. Outside 0..1 SoC:
** AMP_ERANGE, and the state stays. *v_mean (or NULL): mean terminal voltage
** over the step, exact for the curve.
*/
amp_status amp_cell_step (const amp_cell *c, const amp_chemistry *chem,
                          amp_cell_state *st, double i, double dt,
                          double *v_mean, amp_error *err);

#endif
