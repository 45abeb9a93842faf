/*
** heat.c -- current limits by temperature, entropic heat, coolant, heater.
** Mathematics, ranges and sources: docs/model/heat.md.
*/
#include "pack/heat.h"
#include "base/elementary.h"
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#define C0 273.15   /* K */
#define FREE 1000.0 /* 1/h: this table sets no limit there */

/* clang-format off */
static const amp_rates built_in[] = {
  /* C-sample sheet of a prismatic LFP cell of 302 Ah: 30 s pulses, charge at
  ** 0 .. 95 % and discharge at 50 .. 100 % SoC, here cut to the 1C that the
  ** sheet allows without a time limit. */
  {"lfp_prismatic",
   "sheet of a prismatic LFP cell of 302 Ah, pulses cut to its lasting 1C",
   {8,
    {C0, C0 + 5, C0 + 10, C0 + 15, C0 + 25, C0 + 50, C0 + 55, C0 + 60},
    {0.0, 0.42, 0.81, 1.0, 1.0, 1.0, 1.0, 0.0}},
   {7,
    {C0 - 35, C0 - 30, C0 - 25, C0 - 15, C0 - 10, C0 + 60, C0 + 65},
    {0.10, 0.25, 0.50, 0.50, 1.0, 1.0, 0.0}}},
  /* sunlandpower.com, sheet ifr10440; above 0 C it names no rate for
  ** discharge; 60 C as the general figure below. */
  {"lfp_small", "sunlandpower.com, sheet of a small LFP cell, ifr10440",
   {4, {C0, C0 + 15, C0 + 15, C0 + 45}, {0.2, 0.2, 0.5, 0.5}},
   {4, {C0 - 20, C0, C0, C0 + 60}, {0.2, 0.2, FREE, FREE}}},
  /* candlepowerforums.com thread 481422, as general for lithium-ion: charge
  ** 0 .. 45 C, discharge -20 .. 60 C, no rates. */
  {"lithium",
   "candlepowerforums.com thread 481422: charge 0 .. 45 C, discharge "
   "-20 .. 60 C, no rates",
   {2, {C0, C0 + 45}, {FREE, FREE}},
   {2, {C0 - 20, C0 + 60}, {FREE, FREE}}}};

/*
** Full cells computed from published electrode functions: graphite O'Regan
** and others 2022 (doi 10.1016/j.electacta.2022.140700); NMC111 Viswanathan
** and others 2010, a constant; LFP Gerver and Meyers 2011. Real profiles
** have more structure and shift with age.
*/
static const double nmc111[AMP_ENTROPIC] = {
  -0.225e-3, -0.376e-3, -0.476e-3, -0.389e-3, -0.225e-3, -0.133e-3,
  -0.107e-3, -0.100e-3, -0.095e-3, -0.091e-3, -0.087e-3, -0.083e-3,
  -0.078e-3, -0.074e-3, -0.070e-3, -0.066e-3, -0.062e-3, -0.058e-3,
  -0.053e-3, -0.049e-3, -0.045e-3};
static const double lfp[AMP_ENTROPIC] = {
  -0.224e-3, -0.386e-3, -0.488e-3, -0.370e-3, -0.196e-3, -0.115e-3,
  -0.088e-3, -0.074e-3, -0.061e-3, -0.050e-3, -0.039e-3, -0.027e-3,
  -0.014e-3, -0.001e-3,  0.012e-3,  0.025e-3,  0.038e-3,  0.051e-3,
   0.067e-3,  0.085e-3,  0.102e-3};
/* clang-format on */

const amp_rates *amp_rates_find (const char *name) {
  for (size_t i = 0; i < sizeof built_in / sizeof *built_in; i++)
    if (strcmp(built_in[i].name, name) == 0)
      return &built_in[i];
  return NULL;
}

const char *amp_rates_name (int i) {
  return i >= 0 && (size_t)i < sizeof built_in / sizeof *built_in
             ? built_in[i].name
             : NULL;
}

static amp_status check_curve (const amp_rate_curve *c, amp_error *err) {
  amp_status s = amp_check_range(err, "rates", c->n, 0, AMP_RATES_MAX);
  if (s == AMP_OK && c->n == 1)
    s = amp_failf(err, AMP_EDATA, "rates", "one point is no range");
  for (int i = 0; s == AMP_OK && i < c->n; i++) {
    s = amp_check_range(err, "rate_temp", c->temp[i],
                        i ? c->temp[i - 1] : 150, 500.0);
    if (s == AMP_OK)
      s = amp_check_range(err, "rate", c->rate[i], 0.0, FREE);
  }
  return s;
}

amp_status amp_rates_check (const amp_rates *r, amp_error *err) {
  amp_status s = check_curve(&r->charge, err);
  return s == AMP_OK ? check_curve(&r->discharge, err) : s;
}

double amp_rate_at (const amp_rate_curve *c, double temp) {
  double least = c->n > 0 ? 0.0 : FREE;
  bool found = false;
  for (int i = 0; i + 1 < c->n; i++) {
    double x0 = c->temp[i], x1 = c->temp[i + 1];
    double y0 = c->rate[i], y1 = c->rate[i + 1];
    if (!(temp >= x0 && temp <= x1))
      continue;
    double y =
        x1 > x0 ? y0 + (y1 - y0) * ((temp - x0) / (x1 - x0)) : fmin(y0, y1);
    least = found ? fmin(least, y) : y;
    found = true;
  }
  return least;
}

const double *amp_entropic_find (const char *chemistry, const char **source) {
  bool nmc = strcmp(chemistry, "nmc111") == 0;
  bool iron = strcmp(chemistry, "lfp") == 0;
  if (source != NULL)
    *source = nmc || iron ? "from published electrode functions, doi "
                            "10.1016/j.electacta.2022.140700 and others"
                          : NULL;
  return nmc ? nmc111 : iron ? lfp : NULL;
}

double amp_entropic_at (const double *table, double soc) {
  double at = fmin(fmax(soc, 0.0), 1.0) * (AMP_ENTROPIC - 1);
  int i = (int)at < AMP_ENTROPIC - 1 ? (int)at : AMP_ENTROPIC - 2;
  return table[i] + (at - i) * (table[i + 1] - table[i]);
}

double amp_coolant_conductance (double w, double ua) {
  return w > 0.0 ? w * -amp_expm1(-ua / w) : 0.0;
}

amp_status amp_heater_check (const amp_heater *h, amp_error *err) {
  amp_status s = amp_check_range(err, "heater", h->power, 0.0, 1e6);
  if (s != AMP_OK || h->power == 0.0)
    return s;
  s = amp_check_range(err, "heater_on", h->on, 150.0, 400.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "heater_off", h->off, 150.0, 400.0);
  if (s == AMP_OK && !(h->off >= h->on + 0.1))
    s = amp_fail(err, AMP_ERANGE, "heater_off", h->off, h->on + 0.1, 400.0);
  return s;
}

amp_status amp_warm (double heat, double cooling, double ambient,
                     double power, double from, double to, amp_warming *out,
                     amp_error *err) {
  amp_warming w = {0};
  amp_status s;
  if ((s = amp_check_range(err, "heat_capacity", heat, 1e-3, 1e12)) !=
          AMP_OK ||
      (s = amp_check_range(err, "cooling", cooling, 0.0, 1e9)) != AMP_OK ||
      (s = amp_check_range(err, "ambient", ambient, 150.0, 400.0)) !=
          AMP_OK ||
      (s = amp_check_range(err, "heater", power, 1e-3, 1e7)) != AMP_OK ||
      (s = amp_check_range(err, "from", from, 150.0, 400.0)) != AMP_OK ||
      (s = amp_check_range(err, "to", to, from, 400.0)) != AMP_OK)
    return s;
  w.end = cooling > 0.0 ? ambient + power / cooling : HUGE_VAL;
  if (to > from && !(w.end > to))
    return amp_failf(err, AMP_EREFUSED, "heater",
                     "%g W against %g W/K end at %g C", power, cooling,
                     w.end - C0);
  /* C dT/dt = P - h (T - Ta); tiny h: the same without cancellation */
  w.stored = heat * (to - from);
  w.hold = fmax(cooling * (to - ambient), 0.0);
  if (cooling > 0.0)
    w.time = heat / cooling * -amp_log1p(-(to - from) / (w.end - from));
  else
    w.time = w.stored / power;
  w.energy = power * w.time;
  w.lost = w.energy - w.stored;
  *out = w;
  return AMP_OK;
}
