/*
** chemistry.h -- what a chemistry says about every cell of its kind: open-
** circuit voltage against state of charge, voltages that must not be passed,
** and where voltage tells nothing about charge. Built-in tables carry their
** published source; a user's own table is checked and used the same way.
** Model: docs/model/chemistry.md.
*/
#ifndef AMP_CELL_CHEMISTRY_H
#define AMP_CELL_CHEMISTRY_H

#include "base/interp.h"
#include <stdbool.h>

typedef struct amp_chemistry {
  char name[32];
  amp_curve ocv;           /* SoC 0..1 -> V of one group, at rest, 298 K */
  double v_nominal;        /* V, used for nameplate and tested kWh */
  double v_min, v_max;     /* V, the maker's absolute limits of a cell */
  double v_daily_min, v_daily_max; /* V, common daily limits (practice) */
  double flat_lo, flat_hi; /* SoC between which rest voltage tells no SoC;
                              flat_lo >= flat_hi: nowhere */
  const char *source;      /* where the table was read; NULL: the user's */
} amp_chemistry;

/* "nmc111", "nmc811", "nca", "lfp", "lmo_blend", "lead_acid"; else NULL. */
const amp_chemistry *amp_chemistry_find (const char *name);
/* Our names for a spelling of the trade, without case and signs: "LiFePO4" is
** "lfp", "NMC" "nmc111 or nmc811"; NULL: none is known. A grade that is not
** told is not chosen here. */
const char *amp_chemistry_like (const char *name);
/* The i-th name, NULL past the last. */
const char *amp_chemistry_name (int i);

/* NULL-safe check of a user's own: AMP_ERANGE names the field. */
amp_status amp_chemistry_check (const amp_chemistry *c, amp_error *err);

double amp_chemistry_ocv (const amp_chemistry *c, double soc); /* V */

/*
** SoC of a rested group of voltage v. AMP_EREFUSED between the knees of a
** flat curve (with both ends of the band in err->lo, err->hi), AMP_ERANGE
** outside the table.
*/
amp_status amp_chemistry_soc (const amp_chemistry *c, double v, double *soc,
                              amp_error *err);

/* SoC at a limit that need not be at rest, never refused in the flat part
** (a charge limit is a setting, not a reading); outside the table: 0 or 1. */
double amp_chemistry_soc_at_limit (const amp_chemistry *c, double v);

#endif
