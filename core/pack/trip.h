/*
** trip.h -- when a fuse opens: current against time, as its maker prints it,
** or a plain rating with one time. Model: docs/model/pack.md.
**
** A fuse wears while it carries more than the curve's lowest current: in dt
** at i amperes by dt / time(i). Worn to 1 it opens and stays open. Below that
** current what is worn fades with the curve's longest time.
*/
#ifndef AMP_PACK_TRIP_H
#define AMP_PACK_TRIP_H

#include "base/error.h"

enum { AMP_TRIP_MAX = 16 };

typedef struct amp_trip {
  int n;                     /* points */
  double amp[AMP_TRIP_MAX];  /* A, rising strictly */
  double time[AMP_TRIP_MAX]; /* s, not rising */
} amp_trip;

/* Opens after 'time' s above 'rating' A, whatever the current. */
amp_trip amp_trip_rating (double rating, double time);

/* 1 .. AMP_TRIP_MAX points in order: else AMP_ERANGE, AMP_EDATA. */
amp_status amp_trip_check (const amp_trip *t, amp_error *err);

/* s until it opens under this current, of either sign, from unworn; infinite
** up to the first point's current. Straight in the logarithms between the
** points; beyond the last point its time holds. */
double amp_trip_time (const amp_trip *t, double i);

#endif
