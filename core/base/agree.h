/*
** agree.h -- how far a computed series stands from a measured one.
*/
#ifndef AMP_BASE_AGREE_H
#define AMP_BASE_AGREE_H

#include <stdbool.h>
#include <stddef.h>

/* Of computed - measured, in the unit of both. */
typedef struct amp_agreement {
  size_t n;             /* points compared; 0: the rest is NaN */
  double rms, mean, worst; /* worst: largest in size, with its sign */
  size_t worst_at;      /* its index, the first where several are as large */
} amp_agreement;

/*
** Over the points with use[i] true (NULL: all) at which both are finite.
** Each point counts alike: where samples stand closer, time counts more.
*/
amp_agreement amp_agree (const double *measured, const double *computed,
                         const bool *use, size_t n);

/*
** First time at which v is at or below 'level', on the straight line between
** two points; at the first point already: its time; never: NaN. Points that
** are not finite are passed over.
*/
double amp_first_below (const double *time, const double *v, size_t n,
                        double level);

#endif
