/*
** project.h -- from one simulated year at several states of health to the
** years until the end of life, and the AC energy of each year. The year's
** sums are interpolated in SoH (monotone cubic), so a life costs no further
** simulation. Model and error: docs/model/project.md.
*/
#ifndef AMP_LIFE_PROJECT_H
#define AMP_LIFE_PROJECT_H

#include "base/error.h"
#include "life/ageing.h"

enum { AMP_LIFE_NODES = 8, AMP_LIFE_YEARS = 60 };

/* One simulated year at one state of health. */
typedef struct amp_life_node {
  double soh;      /* of nameplate */
  double served;   /* J AC a year */
  double unserved; /* J AC a year */
  double curtailed; /* J a year */
  double charged;  /* J in at the terminals a year */
  double out;      /* J out at the terminals a year */
  double term[AMP_AGEING_TERMS]; /* of the year */
  amp_stress brief; /* the year's means, cycle NULL: for user functions */
  unsigned outside;
} amp_life_node;

typedef struct amp_life_ask {
  const amp_ageing *model;
  double soh_start, soh_end; /* of nameplate, start > end > 0 */
  double age;                /* years behind it; only given to the user's
                                functions */
  double horizon;            /* years, stop there; <= AMP_LIFE_YEARS */
} amp_life_ask;

typedef struct amp_life {
  double years;   /* to soh_end, located inside the year; or the horizon */
  bool beyond;    /* the horizon came first */
  int n;          /* whole or begun years below */
  double soh[AMP_LIFE_YEARS + 1];   /* at the start of each year */
  double served[AMP_LIFE_YEARS];    /* J AC in each year at its mean SoH; the
                                       last may be a part year */
  double charged[AMP_LIFE_YEARS];
  unsigned outside;
} amp_life;

/*
** node[n] in rising SoH, n >= 1; SoH outside them uses the end node. A
** start at or below the end gives 0 years. AMP_EUSER when a user's function
** failed (err from it).
*/
amp_status amp_project (const amp_life_node *node, int n,
                        const amp_life_ask *ask, amp_life *out,
                        amp_error *err);

#endif
