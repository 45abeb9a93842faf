/*
** join.h -- what flows when two charged things are joined: first current,
** and the charge that moves until both stand at one state of charge.
** F14 of the trade's formulas: dV / (Ra + Rb + lead); dSoC C / 2 between
** equals, dSoC C k / (k + 1) against k equals. Model: docs/model/join.md.
*/
#ifndef AMP_PACK_JOIN_H
#define AMP_PACK_JOIN_H

#include "base/error.h"
#include "cell/chemistry.h"
#include <stdbool.h>

typedef struct amp_join_side {
  double v;      /* V at rest, at the terminals */
  double r;      /* ohm, 10 s; NaN: not measured */
  int groups;    /* in series; 0: not known, then no charge is told */
  double charge; /* C between 100 % and 0 % SoC; NaN: not known */
} amp_join_side;

typedef struct amp_join {
  double dv;      /* V, of the first above the second, >= 0 */
  double current; /* A, first current; where a resistance is not measured it
                     is the most that what is known allows */
  bool bound;     /* current is such a bound */
  double charge;  /* C that moves; NaN: not told */
  double soc_high, soc_low; /* 0..1, NaN: not told */
} amp_join;

/*
** Join 'a' to 'b' through leads of 'lead' ohm in all. AMP_EMISSING without
** any resistance; AMP_ERANGE names "v", "r", "lead". Where 'chem' is given
** and both sides have groups and charge, the charge is told; AMP_EREFUSED
** where rest voltage tells no SoC (LFP between its knees): voltages that
** agree say nothing there.
*/
amp_status amp_join_two (const amp_join_side *a, const amp_join_side *b,
                         double lead, const amp_chemistry *chem,
                         amp_join *out, amp_error *err);

#endif
