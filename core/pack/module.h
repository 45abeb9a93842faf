/*
** module.h -- a module as its label and the bench know it: groups in series,
** cells in parallel, capacity claimed and tested, with spread and basis.
** Numbers are the module's own, at its terminals. SI units.
*/
#ifndef AMP_PACK_MODULE_H
#define AMP_PACK_MODULE_H

#include "base/value.h"
#include "cell/chemistry.h"
#include "cell/detailed.h"
#include "pack/pack.h"

/* One group of a module, where it is known by itself; NaN: not given. */
typedef struct amp_group_own {
  double capacity; /* C, measured */
  double r10s;     /* ohm */
  double soc;      /* 0..1, of all groups at one time */
  int blown;       /* cells whose link has blown; counts where capacity or
                      r10s is not given */
} amp_group_own;

typedef struct amp_module {
  char name[64];
  const amp_chemistry *chemistry;
  int series, parallel; /* groups, cells in a group (7s2p) */
  double nominal_v;     /* V of the whole module; not given: chemistry's */
  amp_value capacity;   /* C, nameplate */
  amp_value tested;     /* C, unset: from soh, or nameplate and flagged */
  amp_value soh;        /* 0..1 of nameplate; agrees with tested */
  amp_value r10s;       /* ohm of the module, 10 s */
  double mass;          /* kg; NaN: not given */
  double cell_v_min, cell_v_max; /* V; NaN: not given */
  double soc_min, soc_max;       /* 0..1; NaN: not given */
  double soh_end;                /* 0..1; NaN: not given */
  double age, throughput;        /* s, C behind it; NaN: not given */
  const amp_group_own *group; /* [series], the caller's; NULL: all alike */
  const amp_cell *cell; /* whose shares of resistance and course by charge and
                           temperature are taken; NULL: assumed shares */
  const amp_detailed *detailed; /* the same cell at the detailed level, for
                           runs that step it; NULL: none */
} amp_module;

/* All zero/NaN/unset. */
amp_group_own amp_group_own_defaults (void);
amp_module amp_module_defaults (void);
amp_status amp_module_check (const amp_module *m, amp_error *err);

double amp_module_nominal_v (const amp_module *m); /* V */
/* Tested charge over nameplate, at the middle; neither given: 1. */
double amp_module_health (const amp_module *m);
/* ohm, 10 s, at its middle: measured, else by chemistry and nameplate. */
double amp_module_r10s (const amp_module *m);
double amp_module_nameplate (const amp_module *m); /* J at middle capacity */

/* The voltage window per group in force, and why (bit set: assumed). */
typedef struct amp_window {
  double v_min, v_max;     /* V per group */
  double soc_min, soc_max; /* 0..1; usable share is the difference */
  bool assumed_low, assumed_high; /* chemistry's daily limit was taken */
  bool clipped_low, clipped_high; /* the inverter's window bites */
  bool clipped_charge; /* v_charge was lowered to the inverter's v_max */
  bool rest_low, rest_high; /* the end was given as a charge: its voltage
                               is one at rest, not a setting */
  double v_charge; /* V per group at the terminals while charging to the
                      upper end: v_max; on a flat curve whose end was given
                      as a charge on the flat part or above it no less than
                      the daily limit of practice, since no rest voltage
                      shows that charge */
} amp_window;

/*
** The window of whoever stands above the module (a pack, a case) in place of
** the module's own: an end that is given there, as a charge or as a voltage,
** replaces both of the module's limits at that end. NaN: not given.
*/
void amp_module_rewindow (amp_module *m, double soc_min, double soc_max,
                          double cell_v_min, double cell_v_max);

/*
** Window of a string of 'groups' groups. The caller's SoC window or cell
** voltages first (NaN: not given), then the chemistry's daily limits, all
** clipped by the inverter's v_min and v_max (0: none). AMP_EREFUSED when
** nothing is left, or when the full voltage passes v_abs_max (0: none).
*/
amp_status amp_window_of (const amp_chemistry *c, int groups, double soc_min,
                          double soc_max, double cell_v_min,
                          double cell_v_max, double inv_v_min,
                          double inv_v_max, double v_abs_max,
                          amp_window *out, amp_error *err);

/* Share of the energy at nominal voltage inside the window: by charge
** (soc_max - soc_min), or weighted by open-circuit voltage. */
double amp_window_by_charge (const amp_window *w);
double amp_window_by_energy (const amp_chemistry *c, const amp_window *w,
                             double v_nominal);

enum { AMP_LAYOUTS = 32 };
typedef struct amp_layout {
  int modules, groups; /* in series */
  bool fits;
  amp_window window;   /* when fits */
  double v_full, v_empty; /* V of the string at the window's ends */
  double margin;       /* V below v_abs_max at full; NaN: none given */
  amp_error why;       /* when not */
} amp_layout;

/* Every series count 1 .. until the empty voltage passes the window. */
int amp_layouts (const amp_module *m, double inv_v_min, double inv_v_max,
                 double v_abs_max, amp_layout out[AMP_LAYOUTS]);

/*
** One group of this module as a leaf for the simulation, at 'capacity' C
** and resistance 'r10s' ohm of the whole module (NaN: a default by
** chemistry, listed as assumed), folded to 'modules' in series and 'strings'
** in parallel.
*/
amp_status amp_module_leaf (const amp_module *m, const amp_window *w,
                            double capacity, double r10s, int modules,
                            int strings, amp_group *out, amp_error *err);

/*
** The same at middle values and at state of health 'soh' of the nameplate:
** capacity falls by it, resistance grows from the state it was measured in
** (a default: from new).
*/
amp_status amp_module_leaf_at (const amp_module *m, const amp_window *w,
                               double soh, int modules, int strings,
                               amp_group *out, amp_error *err);

#endif
