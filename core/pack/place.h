/*
** place.h -- the place where a pack stands: what its floor and a stack carry,
** how warm the cells get there and what heat is to be carried away, what it
** takes to warm them, between which temperatures they may be charged, and
** for how long an idle draw can go on while they may not. SI units; what was
** not given is NaN (counts: 0), and what rests on it is not told. Model:
** docs/model/place.md.
*/
#ifndef AMP_PACK_PLACE_H
#define AMP_PACK_PLACE_H

#include "base/error.h"
#include "cell/chemistry.h"
#include "pack/heat.h"
#include <stdbool.h>

/* m/s2, three figures: latitude changes the third. */
#define AMP_GRAVITY 9.81

/*
** kg above which nobody lifts alone: common practice, no source. The NIOSH
** lifting equation begins at 23 kg in the best posture (Waters and others,
** Ergonomics 36 (1993) 749, from memory); builders take two from 10 kg on.
*/
#define AMP_LIFT_ONE 25.0

typedef struct amp_site {
  double coldest, warmest; /* K, around the pack */
  double floor_load;  /* Pa that the floor may carry */
  double floor_area;  /* m2 under all of it */
  double extra_mass;  /* kg besides the modules: rack, inverter, copper */
  int stack;          /* modules one on another; 0: not told */
  double stack_limit; /* kg that a module may carry, by its maker */
  double warm_to;     /* K, where charging shall begin; NaN: the lock-out's
                         end and 5 K more */
  double heater;      /* W */
  double loss;        /* W/K of the whole pack to the place; NaN: by mass */
  double closed;      /* s in which nothing charges it */
  double idle;        /* W drawn from it meanwhile, without an inverter */
} amp_site;

/* Nothing given. */
amp_site amp_site_defaults (void);

/* AMP_ERANGE names the field; AMP_EDATA: coldest above warmest. */
amp_status amp_site_check (const amp_site *s, amp_error *err);

/* ---- weight ---- */

typedef struct amp_footing {
  double mass;       /* kg on the floor */
  double pressure;   /* Pa, spread evenly */
  double area_least; /* m2 that the floor's limit asks for */
  double mass_most;  /* kg that the limit allows on this area */
  double lowest;     /* kg that the lowest module of a stack carries */
} amp_footing;

/* 'modules' of 'each' kg. What is not given leaves its answer NaN; without a
** mass AMP_EMISSING. */
amp_status amp_site_footing (const amp_site *s, int modules, double each,
                             amp_footing *out, amp_error *err);

/* ---- warmth ---- */

typedef struct amp_site_heat {
  double heat;    /* W that the current makes, to be carried away */
  double rise;    /* K above the place in the end; infinite: nothing cools */
  double per_s;   /* K/s at first, with nothing carried away */
  double cells;   /* K of the cells where it is warmest; NaN */
} amp_site_heat;

/* 'current' A that lasts through 'r' ohm of the bank of 'heat' J/K, losing
** 'cooling' W/K (or s->loss, where that is given). */
amp_status amp_site_heat_of (const amp_site *s, double current, double r,
                             double heat, double cooling, amp_site_heat *out,
                             amp_error *err);

/*
** Warm 'heat' J/K from the coldest to 'to' K. Without a heater only what
** stays in the cells (.stored) and what holds them there (.hold) is told,
** the rest NaN: losses go with the time it takes. AMP_EMISSING without
** coldest; as amp_warm where the heater is too weak.
*/
amp_status amp_site_warm (const amp_site *s, double heat, double cooling,
                          double to, amp_warming *out, amp_error *err);

/* ---- lock-outs ---- */

/*
** Limits by temperature for a chemistry whose pack names none, cautious: LFP
** (a flat curve) "lfp_small", lead-acid none (NULL), all others "lithium".
*/
const amp_rates *amp_rates_for (const amp_chemistry *c);

typedef struct amp_span {
  double from, to; /* K between which current may flow; -+ infinite: any */
  bool open;       /* the current at 'from' is 0 and rises from there */
} amp_span;

/* Where the curve allows any current. */
amp_span amp_rate_span (const amp_rate_curve *c);

/* ---- idle ---- */

typedef struct amp_idling {
  double time;  /* s until 'usable' is gone; infinite: no draw */
  double need;  /* J over the closed time; NaN: that is not told */
  double lacks; /* J of it that are not there, >= 0 */
  double most;  /* W that would last through it */
} amp_idling;

/* A pack of 'usable' J that nothing charges under 'draw' W for 'closed' s
** (NaN: not told). Self-discharge is not counted. */
amp_status amp_idling_of (double usable, double draw, double closed,
                          amp_idling *out, amp_error *err);

#endif
