/*
** agree.c -- how far a computed series stands from a measured one.
*/
#include "base/agree.h"
#include <math.h>

amp_agreement amp_agree (const double *measured, const double *computed,
                         const bool *use, size_t n) {
  amp_agreement a = {0, NAN, NAN, NAN, 0};
  double sum = 0.0, squares = 0.0, most = -1.0;
  for (size_t i = 0; i < n; i++) {
    double d = computed[i] - measured[i];
    if ((use != NULL && !use[i]) || !isfinite(d))
      continue;
    sum += d;
    squares += d * d;
    a.n++;
    if (fabs(d) > most) {
      most = fabs(d);
      a.worst = d;
      a.worst_at = i;
    }
  }
  if (a.n > 0) {
    a.mean = sum / (double)a.n;
    a.rms = sqrt(squares / (double)a.n);
  }
  return a;
}

double amp_first_below (const double *time, const double *v, size_t n,
                        double level) {
  double t = NAN, last = NAN; /* the point before, where it was finite */
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(v[i]))
      continue;
    if (v[i] <= level && last == last)
      return t + (time[i] - t) * (last - level) / (last - v[i]);
    if (v[i] <= level)
      return time[i];
    t = time[i];
    last = v[i];
  }
  return NAN;
}
