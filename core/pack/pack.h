/*
** pack.h -- cells joined: a tree whose leaves are groups and whose inner
** levels put what is below them in series or in parallel. Every level
** answers "over this step my mean voltage is E - R i" and "advance", so
** series adds, parallel splits in closed form, and a blown link is a level
** with infinite resistance. String-first is parallel(series(groups)...),
** parallel-first is series(parallel(series(groups)...)...). Equal levels may
** be folded into one leaf ('series' equal groups, 'parallel' equal strings),
** which changes nothing but speed. Model: docs/model/pack.md.
*/
#ifndef AMP_PACK_PACK_H
#define AMP_PACK_PACK_H

#include "base/error.h"
#include "cell/cell.h"
#include "cell/detailed.h"
#include "pack/heat.h"
#include "pack/trip.h"

enum { AMP_PACK_LEAVES = 128, AMP_PACK_NODES = 256 };

typedef enum amp_level { AMP_LEAF, AMP_SERIES, AMP_PARALLEL } amp_level;

/* A leaf: 'series' equal groups in series, 'parallel' such rows. */
typedef struct amp_group {
  const amp_chemistry *chemistry;
  amp_cell cell;    /* one group of cells as one cell: C, ohm */
  double series, parallel;
  double r_joint;   /* ohm, leads and joints of this leaf as a whole */
  double soc_min, soc_max; /* 0..1, window in use */
  double v_min, v_max;     /* V of one group, limits acted on */
  double soc_start;        /* 0..1 */
  double heat_capacity;    /* J/K of the whole leaf; 0: stays at ambient */
  double cooling;          /* W/K to ambient of the whole leaf */
  /* what follows may be 0 or NULL: then it is not there */
  int body;                /* > 0: neighbours of one body, one temperature */
  double coolant;          /* W/K to the coolant's inlet, of the whole leaf */
  double bleed;            /* A out of each group, passive balancing, while */
  double v_bleed;          /* that is above these V of a group, and these */
  double bleed_band;       /* V above the lowest group of the pack */
  const amp_trip *trip;    /* a fuse in series with this leaf */
  const amp_rates *rates;  /* current limits by temperature */
  const double *entropic;  /* V/K of one group, amp_entropic_find */
  const amp_detailed *detailed; /* one group as one detailed cell, of the
                              same capacity: it is stepped in place of
                              'cell', with its own two nodes of heat (then no
                              body, coolant, heater or entropic of the leaf;
                              heat_capacity and cooling are not read) */
} amp_group;

typedef struct amp_node {
  amp_level level;
  int first, count; /* children are nodes first .. first+count-1; for a leaf
                       'first' is the index in leaf[] */
} amp_node;

/* Nodes are listed parents before children; node 0 is the pack. */
typedef struct amp_pack {
  int leaves, nodes;
  amp_group leaf[AMP_PACK_LEAVES];
  amp_node node[AMP_PACK_NODES];
  amp_heater heater;
  double coolant_temp; /* K at the inlet; read where a leaf has a coolant */
} amp_pack;

/* Finite positive numbers, windows in order, the tree whole: AMP_ERANGE or
** AMP_EDATA names the field, the leaf in err->line (from 1). */
amp_status amp_pack_check (const amp_pack *p, amp_error *err);

/* All strings and modules alike: one leaf. */
void amp_pack_uniform (const amp_group *group, int series, int parallel,
                       amp_pack *out);

/*
** module[parallel * series]: a leaf for each module, its groups folded, string
** by string. string_first: the strings side by side; else the modules of each
** position side by side and the positions in series. AMP_ERANGE names what is
** out of range, of a module with its place in err->line (from 1).
*/
amp_status amp_pack_build (const amp_group *module, int series, int parallel,
                           int string_first, amp_pack *out, amp_error *err);

/* C between 100 % and 0 % SoC, limited by the weakest group under equal
** current (series: least; parallel: sum); the windows play no part. */
double amp_pack_capacity (const amp_pack *p);

/* J against open-circuit voltage between the windows' ends, all groups at
** the upper end at first, limited by the weakest in the same way. */
double amp_pack_energy (const amp_pack *p);

#endif
