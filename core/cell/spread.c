/*
** spread.c -- spreads of two retired lots, worked out from the cells of the
** "PulseBat" data set (MIT licence), paper doi 10.1038/s41467-024-54454-0:
** full 1C discharges, and 5 s pulses at 1C with 50 % of the rated charge in
** the cell, 25 C. tests/core/cell/test_spread.c works them out again.
*/
#include "cell/spread.h"
#include <stddef.h>
#include <string.h>

static const char pulsebat[] =
    "52 NMC and 56 LFP cells after their first life, doi"
    " 10.1038/s41467-024-54454-0; means, deviations and correlation worked"
    " out here";

static const amp_spread_of_lot nmc = {"nmc", 52,    0.980,   0.054,
                                      0.160, -0.89, pulsebat};
static const amp_spread_of_lot lfp = {"lfp", 56,    0.849,   0.058,
                                      0.082, -0.44, pulsebat};

const amp_spread_of_lot *amp_spread_find (const char *chemistry) {
  static const char *const like_nmc[] = {"nmc111", "nmc811", "nca",
                                         "lmo_blend"};
  if (chemistry == NULL)
    return NULL;
  if (strcmp(chemistry, "lfp") == 0)
    return &lfp;
  for (size_t k = 0; k < sizeof like_nmc / sizeof *like_nmc; k++)
    if (strcmp(chemistry, like_nmc[k]) == 0)
      return &nmc;
  return NULL;
}
