/*
** build.h -- a pack as it is put together: which module stands where, how
** the modules are wired, what is done for balance, against overcurrent and
** for warmth. Makes the tree of pack.h, and tells which leaf is which group
** of which module. Model: docs/model/pack.md, docs/model/heat.md.
*/
#ifndef AMP_PACK_BUILD_H
#define AMP_PACK_BUILD_H

#include "pack/module.h"
#include <stdbool.h>

enum { AMP_BUILD_MODULES = AMP_PACK_LEAVES };

typedef struct amp_build {
  bool string_first;
  int outer;  /* strings; parallel-first: levels in series */
  int inner[AMP_BUILD_MODULES]; /* modules in each */
  const amp_module *module[AMP_BUILD_MODULES]; /* outer by outer */
  const amp_module *all; /* not NULL: every module is this, and inner[0]
                            stands for every outer */
  double link; /* ohm from one module (or level) to the next */
  double lead; /* ohm, both leads of a string together; parallel-first: of a
                  module to the bars of its level */
  double bleed, v_bleed, bleed_band; /* as in amp_group */
  const amp_trip *trip;   /* of each string; parallel-first: of each module */
  const amp_rates *rates; /* NULL: none */
  bool entropic;          /* count heat that comes and goes with charge */
  double cooling;         /* W/K of a module to ambient; NaN: by its mass */
  double coolant;         /* W/K of a module to the coolant's inlet */
  double coolant_temp;    /* K */
  amp_heater heater;
} amp_build;

/* Where a leaf stands: from 0; 'group' the first of 'groups' in its module
** (or all groups of 'modules' alike). */
typedef struct amp_place {
  int outer, inner, modules, group, groups;
} amp_place;

/* The module that a leaf is of. */
const amp_module *amp_build_module_at (const amp_build *b,
                                       const amp_place *place);

/* Nothing of it; cooling not given. */
amp_build amp_build_defaults (void);

/* Equal modules in a rectangle. */
void amp_build_uniform (const amp_module *m, int series, int parallel,
                        bool string_first, amp_build *out);

/* All modules alike, with groups alike and no fuse: one leaf serves. */
bool amp_build_is_uniform (const amp_build *b);

/*
** One chemistry; strings (or the modules of a level) of one number of groups;
** each module whole (amp_module_check): AMP_EREFUSED, AMP_ERANGE, AMP_EDATA.
*/
amp_status amp_build_check (const amp_build *b, amp_error *err);

/*
** The tree, every capacity times 'fade' and resistances grown with it (1: as
** they stand now). place[AMP_PACK_LEAVES] (or NULL) tells each leaf's place.
** Groups with a SoC of their own start as they stand when the first of the
** string reaches the upper end of the window.
*/
amp_status amp_build_pack (const amp_build *b, const amp_window *w,
                           double fade, amp_pack *out, amp_place *place,
                           amp_error *err);

int amp_build_groups (const amp_build *b);      /* in series, of the pack */
int amp_build_modules (const amp_build *b);     /* in all */
double amp_build_nominal_v (const amp_build *b); /* V */

/*
** Hours to balance a pack of this shape, its groups standing as they start:
** in each string (level) the group with the most room up to the upper end
** waits for the one with the least; the charge between is bled.
*/
typedef struct amp_balance {
  double charge; /* C, most that one group has to lose */
  double time;   /* s at 'bleed' without a pause; infinite: no bleed */
  int leaf;      /* that loses it */
  double lost;   /* C that this string holds less until then */
} amp_balance;

amp_balance amp_pack_balance (const amp_pack *p);

#endif
