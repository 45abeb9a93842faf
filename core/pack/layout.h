/*
** layout.h -- a series count under load: what of its charge the inverter can
** use once the voltage sags, lasting, in a surge, and in the cold. Which
** counts fit at rest is told by amp_layouts of module.h. SI units.
** Model: docs/model/pack.md.
*/
#ifndef AMP_PACK_LAYOUT_H
#define AMP_PACK_LAYOUT_H

#include "pack/module.h"
#include <stdbool.h>

/*
** V at the terminals of 'e' V behind 'r' ohm that gives 'p' W: the upper
** root of v (e - v) = p r. AMP_EREFUSED where no voltage gives that much.
*/
amp_status amp_sag (double e, double r, double p, double *v, amp_error *err);

typedef struct amp_layout_load {
  int strings;
  double v_cut;      /* V, the inverter's v_min */
  double power;      /* W, AC; NaN: not asked */
  double efficiency; /* 0..1 */
  double temp;       /* K of the cells */
  bool brief;        /* a surge: the resistance of 10 s; else all of it */
} amp_layout_load;

typedef struct amp_layout_sag {
  double r;       /* ohm of the bank where it cuts out */
  double current; /* A at v_cut */
  double sag;     /* V below rest there */
  double floor;   /* 0..1: SoC at which it cuts out, or the window's end */
  double v_mid;   /* V under this load in the middle of the window, by constant
                     power; NaN: it gives no such power */
  bool bites;     /* the floor lies above the window's */
  bool never;     /* it cuts out even when full */
} amp_layout_sag;

/*
** A layout that fits, 'strings' of it side by side, under this load. The
** module's groups hold 'capacity' C and show 'r10s' ohm a module (NaN: the
** default by chemistry, assumed). The SoC at which E - I R meets v_cut.
*/
amp_status amp_layout_under (const amp_module *m, const amp_layout *a,
                             double capacity, double r10s,
                             const amp_layout_load *load,
                             amp_layout_sag *out, amp_error *err);

/* Can modules of this kind make a string of 'groups'? AMP_EREFUSED names the
** counts that they can make instead. */
amp_status amp_layout_of_groups (const amp_module *m, int groups,
                                 amp_error *err);

#endif
