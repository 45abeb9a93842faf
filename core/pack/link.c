/*
** link.c -- fusing of thin wires and what follows in a group of cells.
*/
#include "pack/link.h"
#include "base/elementary.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define CMIL 5.067074790974977e-10 /* m2 in a circular mil */

/* "At least -20/+50 %" about Preece's law, from memory. */
#define BAND_LOW 0.8
#define BAND_HIGH 1.5
#define THIN 0.2e-3      /* m; below it the exponent is nearer 1.2, memory */
#define END_COOLED 100.0 /* diameters, memory */
/* Of the time at which both laws meet: there neglected losses are about as
** large as what is stored, at a quarter about an eighth. Ours; it gives 0.2
** s at 0.1 mm, 1 s at 0.5 mm and 8 s at 6 AWG. */
#define BRIEF 0.25

double amp_preece (const amp_metal *metal, double diameter) {
  return metal->preece * diameter * sqrt(diameter);
}

/*
** I. M. Onderdonk, as printed in a thread of physicsforums.com and close to
** (I/A)^2 t = 0.0297 log10((T2 + 234)/(T1 + 234)); copper melts at 1083 C.
*/
double amp_onderdonk (double area, double t, double ambient) {
  double ta = ambient - 273.15;
  double lift = amp_log1p((1083.0 - ta) / (234.0 + ta)) / amp_log(10.0);
  return area / CMIL * sqrt(lift / (33.0 * t));
}

static amp_status check_link (const amp_link *l, amp_error *err) {
  amp_status s;
  if (!l->metal)
    return amp_failf(err, AMP_EMISSING, "metal", "metal is wanted");
  if ((s = amp_check_range(err, "diameter", l->diameter, 5e-5, 0.01)) !=
          AMP_OK ||
      (s = amp_check_range(err, "ambient", l->ambient, 200.0, 400.0)) !=
          AMP_OK)
    return s;
  if ((s = amp_check_given(err, "length", l->length, 1e-4, 10.0)) != AMP_OK)
    return s;
  return amp_check_given(err, "fusing", l->fusing, 0.01, 1e5);
}

amp_status amp_link_answer_of (const amp_link *l, amp_link_answer *out,
                               amp_error *err) {
  amp_link_answer a;
  amp_status s = check_link(l, err);
  if (s != AMP_OK)
    return s;
  memset(&a, 0, sizeof a);
  double area = AMP_PI / 4.0 * l->diameter * l->diameter;
  double preece = amp_preece(l->metal, l->diameter);
  double melt = amp_onderdonk(area, 1.0, l->ambient);
  bool copper = l->metal == amp_metal_find("copper");
  a.measured = amp_given(l->fusing);
  a.fusing = a.measured ? l->fusing : preece;
  a.low = a.measured ? a.fusing : BAND_LOW * a.fusing;
  a.high = a.measured ? a.fusing : BAND_HIGH * a.fusing;
  a.i2t = copper ? melt * melt : AMP_NOT_GIVEN;
  a.brief =
      copper ? BRIEF * (melt / preece) * (melt / preece) : AMP_NOT_GIVEN;
  a.r = l->metal->rho * l->length / area;
  a.thin = !a.measured && l->diameter < THIN * (1.0 - 1e-9);
  a.end_cooled = !a.measured && l->length < END_COOLED * l->diameter;
  *out = a;
  return AMP_OK;
}

amp_status amp_link_melts (const amp_link *l, double t, double *current,
                           amp_error *err) {
  amp_link_answer a;
  amp_status s = amp_link_answer_of(l, &a, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "t", t, 1e-6, 1e6);
  if (s != AMP_OK)
    return s;
  if (!amp_given(a.i2t))
    return amp_failf(err, AMP_EMISSING, "metal",
                     "fast melting is told of copper alone, not of %s",
                     l->metal->name);
  if (!(t <= a.brief))
    return amp_failf(err, AMP_EREFUSED, "t",
                     "over %g s this wire loses heat while it melts: the law "
                     "of fast melting reads too low there",
                     a.brief);
  *current = sqrt(a.i2t / t);
  return AMP_OK;
}

/* ---- a group of cells behind links ---- */

static amp_status check_group (int n, double e, double current, double low,
                               double high, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "cells", n, 1, AMP_LINK_CELLS)) != AMP_OK ||
      (s = amp_check_range(err, "e", e, 0.0, 1000.0)) != AMP_OK ||
      (s = amp_check_range(err, "current", current, 0.0, 1e5)) != AMP_OK)
    return s;
  if (!(low > 0.0 && high >= low && high < 1e6))
    return amp_failf(err, AMP_EMISSING, "fusing",
                     "no fusing current of the link is known: without one "
                     "there is no verdict");
  return AMP_OK;
}

/* Conductance of what is left, and the most loaded of it. */
static double left_over (int n, const double *r, const bool *open,
                         int *most) {
  double g = 0.0;
  *most = -1;
  for (int i = 0; i < n; i++)
    if (!open[i]) {
      g += 1.0 / r[i];
      if (*most < 0 || r[i] < r[*most])
        *most = i;
    }
  return g;
}

static amp_link_state state_of (double i, double low, double high) {
  return i < low    ? AMP_LINKS_HOLD
         : i > high ? AMP_LINKS_FOLLOW
                    : AMP_LINKS_MAY_GO;
}

amp_status amp_link_cascade (int n, const double *r, double e, double current,
                             double low, double high, amp_cascade *out,
                             amp_error *err) {
  bool open[AMP_LINK_CELLS] = {false};
  int most, went = -1;
  amp_status s = check_group(n, e, current, low, high, err);
  for (int i = 0; s == AMP_OK && i < n; i++)
    s = amp_check_range(err, "r", r[i], 1e-7, 1e3);
  if (s != AMP_OK)
    return s;
  memset(out, 0, sizeof *out);
  out->cells = n;
  out->hold = out->may = -1;
  for (int k = 0; k < n; k++) {
    double g = left_over(n, r, open, &most);
    double share = 1.0 / r[most] / g; /* of the load, in that one */
    double i = current * share;
    out->row[k] = (amp_cascade_row){k,
                                    went,
                                    i,
                                    e - current / g,
                                    (double)(n - k) / n,
                                    state_of(i, low, high)};
    if (i < low && out->hold == k - 1)
      out->hold = k;
    if (i <= high && out->may == k - 1)
      out->may = k;
    if (k == 0) {
      out->group_low = low / share;
      out->group_high = high / share;
    }
    open[most] = true;
    went = most;
  }
  out->row[n] = (amp_cascade_row){
      n, went, AMP_NOT_GIVEN, AMP_NOT_GIVEN, 0.0, AMP_LINKS_FOLLOW};
  return AMP_OK;
}

amp_status amp_link_fault (int n, double r_cell, double r_link, double e,
                           double *fault, double *others, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "cells", n, 1, AMP_LINK_CELLS)) != AMP_OK ||
      (s = amp_check_range(err, "r_cell", r_cell, 1e-7, 1e3)) != AMP_OK ||
      (s = amp_check_range(err, "r_link", r_link, 0.0, 1e3)) != AMP_OK ||
      (s = amp_check_range(err, "e", e, 0.0, 1000.0)) != AMP_OK)
    return s;
  if (n == 1) {
    *fault = *others = 0.0;
    return AMP_OK;
  }
  *fault = e / (r_link + (r_cell + r_link) / (n - 1));
  *others = *fault / (n - 1);
  return AMP_OK;
}
