/*
** voltages.h -- do the voltages that were read of one module agree? Its rest
** voltage is the sum of its groups, of which the lowest and the highest are
** known: what lies between is anything between these two. Where they cannot
** all be, one cell was mistyped or misread; which, shows where a single one
** agrees again when its decimal mark is moved. Model: docs/model/readings.md.
*/
#ifndef AMP_PACK_VOLTAGES_H
#define AMP_PACK_VOLTAGES_H

#include "pack/readings.h"

/* What they are held against. V, and a share of the module's voltage. */
typedef struct amp_voltage_limits {
  int groups;
  double v_min, v_max;   /* of a cell, by its chemistry */
  double sum, sum_share; /* groups and module may differ by the larger */
} amp_voltage_limits;

typedef struct amp_voltages {
  bool clash;    /* they cannot all be */
  double lo, hi; /* V of the module by its groups; NaN: none was read */
  double least;  /* V, lowest group: as read, or as high as the module's */
  double most;   /* voltage and the other end let it be where it is lower;
                    and the highest likewise. NaN: not read */
} amp_voltages;

/* Without a highest group none is taken above v_max, without a lowest none
** below 0 V. */
amp_voltages amp_voltages_of (const amp_reading *r,
                              const amp_voltage_limits *by);

/* More than any cell bears: 1.5 times v_max a group (this program's own). */
bool amp_voltage_is_none (double ocv, const amp_voltage_limits *by);

/*
** The one cell that was typed a decimal mark or a unit off: all agree, and lie
** where cells do, when it is moved by one, two or three places. 'cell' is
** "module", "lowest group" or "highest group", NULL where none does it or
** more than one. V.
*/
typedef struct amp_slip {
  const char *cell;
  double typed, meant;
} amp_slip;

amp_slip amp_voltages_slip (const amp_reading *r,
                            const amp_voltage_limits *by);

#endif
