/*
** air.h -- what still air and radiation take from an upright wall of a
** module, and whether its inside is at one temperature. Two published forms
** of one correlation differ by a seventh: that is how well it is known.
** Model: docs/model/heat.md.
*/
#ifndef AMP_PACK_AIR_H
#define AMP_PACK_AIR_H

#include "base/error.h"

/* Dry air at one atmosphere. */
typedef struct amp_air {
  double density;      /* kg/m3 */
  double heat;         /* J/(kg K) */
  double conductivity; /* W/(m K) */
  double viscosity;    /* Pa s */
  double prandtl;
} amp_air;

/* Listed at 20, 25, 35 and 50 C, straight between; AMP_ERANGE outside. */
amp_status amp_air_at (double temp, amp_air *out, amp_error *err);

typedef struct amp_still {
  double film;     /* K, mean of wall and air: the air is taken there */
  double rayleigh; /* below 1e9: laminar */
  double low, high; /* W/(m2 K): the laminar form and the one for all flows */
  double radiation; /* W/(m2 K), to walls at the air's temperature */
} amp_still;

/*
** An upright wall of 'height' m at 'wall' K in open air of 'air' K, of
** emissivity 0..1. AMP_ERANGE names "height", "wall", "air", "emissivity";
** "film" where the mean of both lies outside the table of air.
*/
amp_status amp_still_air (double height, double wall, double air,
                          double emissivity, amp_still *out, amp_error *err);

/* h L / k, L volume over cooled surface: below 0.1 one temperature serves
** within 5 % (from memory, after Incropera). */
double amp_biot (double h, double length, double conductivity);

#endif
