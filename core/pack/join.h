/*
** join.h -- what flows when two charged things are joined: first current,
** how it falls on the real open-circuit curves, the charge that moves, the
** heat in leads and cell links, the largest difference that keeps them
** within their limits, and in which order strings are joined:
** dV / (Ra + Rb + lead). Model: docs/model/join.md.
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
  bool flat;      /* a rest voltage tells no charge (LFP between its knees):
                     voltages that agree say nothing there */
  double charge_most; /* C that may move where it is flat; else as charge */
  double r;       /* ohm, all that is known of the way round */
} amp_join;

/*
** Join 'a' to 'b' through leads of 'lead' ohm in all. AMP_EMISSING without
** any resistance; AMP_ERANGE names "v", "r", "lead". Where 'chem' is given
** and both sides have groups and charge, the charge is told, but for one
** that a flat curve hides. A voltage off the curve: AMP_ERANGE.
*/
amp_status amp_join_two (const amp_join_side *a, const amp_join_side *b,
                         double lead, const amp_chemistry *chem,
                         amp_join *out, amp_error *err);

/* ---- how it goes on ---- */

/* What holds the current down. */
typedef enum amp_join_limit {
  AMP_JOIN_FREE,   /* no limit was given */
  AMP_JOIN_LINK,   /* cell links under their band, all of a group */
  AMP_JOIN_LEAD,   /* ampacity of the lead */
  AMP_JOIN_FUSE,   /* rating in the way */
  AMP_JOIN_CHARGE  /* charge limit of the emptier at its temperature */
} amp_join_limit;

typedef struct amp_join_way {
  double lead;     /* ohm, all leads and joints */
  double resistor; /* ohm put between on purpose; 0: none */
  int links;       /* side by side in a group; 0: not known */
  double link;     /* A that one link holds; NaN each: not given */
  double lead_a;   /* A */
  double fuse;     /* A */
  double charge_a; /* A into the emptier */
  double soc_a, soc_b; /* 0..1 by counting, in place of what a rest voltage
                          tells; NaN: by that */
} amp_join_way;

typedef struct amp_joined {
  amp_join first;
  double charge;       /* C until both rest alike; NaN each: no charge told */
  double half, tenth, hundredth; /* s until the current has fallen so far */
  double heat;         /* J in all resistances together */
  double heat_lead, heat_resistor;
  double i2t;          /* A2 s in the lead */
  double link_current; /* A in each link at first; NaN: links not known */
  double link_i2t;     /* A2 s in each */
  double limit;        /* A; NaN: none was given */
  amp_join_limit limit_by;
  bool within;         /* the first current keeps the limit; none: false */
  double dv_most;      /* V at which the first current meets the limit */
  double resistor;     /* ohm to put between to keep it; 0: none needed */
  double resistor_peak; /* W in that at first */
} amp_joined;

/* No lead, no limits. */
amp_join_way amp_join_way_defaults (void);

/*
** The first current and what follows, sides at one voltage each over their
** 10 s resistance. Exact energies on the curve, times to 1e-6. A side with
** missing resistance: heat and times are left untold, the limits are held
** against the bound.
*/
amp_status amp_join_follow (const amp_join_side *a, const amp_join_side *b,
                            const amp_join_way *way,
                            const amp_chemistry *chem, amp_joined *out,
                            amp_error *err);

/* ---- in which order ---- */

enum { AMP_JOIN_STRINGS = 32, AMP_JOIN_EXACT = 12 };

typedef struct amp_join_step {
  int which;      /* string that is joined to those before */
  double current; /* A, first current; the first string's is 0 */
  double charge;  /* C that moves; NaN: not told */
  double v;       /* V of the bank once it has come to rest */
} amp_join_step;

/*
** Order of joining that keeps the largest first current least; each waits
** until the bank is at rest, through a lead of 'lead' ohm each time. Up to
** AMP_JOIN_EXACT strings it is the best of all orders; of more, the best of
** those that take the next one from either end of the voltages, and *exact
** is false. *bound: a resistance is missing and counts as nothing.
*/
amp_status amp_join_order (const amp_join_side *side, int n, double lead,
                           const amp_chemistry *chem, amp_join_step *out,
                           bool *bound, bool *exact, amp_error *err);

#endif
