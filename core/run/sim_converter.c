/*
** sim_converter.c -- what stands between battery and load: its efficiency by
** load, and over a whole duty.
*/
#include "run/simulate.h"
#include <math.h>

double amp_converter_efficiency (const amp_converter *c, double ac) {
  double x = c->power > 0.0 ? ac / c->power : 0.0;
  int k = 0;
  if (c->points == 0)
    return c->efficiency;
  if (!(x > c->load[0]))
    return c->at[0];
  if (!(x < c->load[c->points - 1]))
    return c->at[c->points - 1];
  while (x >= c->load[k + 1])
    k++;
  return c->at[k] + (x - c->load[k]) / (c->load[k + 1] - c->load[k]) *
                        (c->at[k + 1] - c->at[k]);
}

double amp_converter_mean (const amp_converter *c, const amp_duty *duty,
                           double load_factor) {
  double out = 0.0, in = 0.0;
  if (c->points == 0)
    return c->efficiency;
  for (size_t i = 0; i < duty->n; i++) {
    double ac = fmin(duty->ac[i] * load_factor,
                     c->power > 0.0 ? c->power : duty->ac[i] * load_factor);
    double wide = amp_duty_length(duty, i);
    out += ac * wide;
    in += ac * wide / amp_converter_efficiency(c, ac);
  }
  return in > 0.0 ? out / in : amp_converter_efficiency(c, 0.0);
}

double amp_converter_alone (const amp_converter *c, const amp_duty *duty,
                            double load_factor, double sun_factor) {
  double sum = 0.0;
  bool direct = amp_duty_load(duty) == duty->dc;
  for (size_t i = 0; i < duty->n; i++) {
    double ac = duty->ac[i] * load_factor;
    if (direct) {
      sum += fmin(duty->dc[i] * load_factor, duty->pv[i] * sun_factor) *
             amp_duty_length(duty, i);
      continue;
    }
    double left = duty->pv[i] * sun_factor - duty->dc[i] * load_factor -
                  c->idle * duty->on[i];
    ac = c->power > 0.0 ? fmin(ac, c->power) : ac;
    left = fmax(left, 0.0) * amp_converter_efficiency(c, ac);
    sum += fmin(ac, left) * amp_duty_length(duty, i);
  }
  return sum;
}
