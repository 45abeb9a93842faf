/*
** trip.c -- a fuse's curve of current against time.
*/
#include "pack/trip.h"
#include "base/elementary.h"
#include <math.h>

amp_trip amp_trip_rating (double rating, double time) {
  amp_trip t = {.n = 1};
  t.amp[0] = rating;
  t.time[0] = time;
  return t;
}

amp_status amp_trip_check (const amp_trip *t, amp_error *err) {
  amp_status s = amp_check_range(err, "trip", t->n, 1, AMP_TRIP_MAX);
  for (int i = 0; s == AMP_OK && i < t->n; i++) {
    s = amp_check_range(err, "trip_current", t->amp[i], 1e-3, 1e6);
    if (s == AMP_OK)
      s = amp_check_range(err, "trip_time", t->time[i], 1e-4, 1e7);
    if (s == AMP_OK && i > 0 &&
        !(t->amp[i] > t->amp[i - 1] && t->time[i] <= t->time[i - 1]))
      s = amp_failf(err, AMP_EDATA, "trip",
                    "point %d: a larger current must not take longer", i + 1);
  }
  return s;
}

double amp_trip_time (const amp_trip *t, double i) {
  double a = fabs(i);
  int k = 0;
  if (!(a > t->amp[0]))
    return HUGE_VAL;
  while (k + 1 < t->n && a > t->amp[k + 1])
    k++;
  if (k + 1 >= t->n)
    return t->time[t->n - 1];
  double x = amp_log(a / t->amp[k]) / amp_log(t->amp[k + 1] / t->amp[k]);
  return t->time[k] * amp_exp(x * amp_log(t->time[k + 1] / t->time[k]));
}
