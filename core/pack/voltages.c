/*
** voltages.c -- whether module, lowest and highest group agree, and which of
** them is a decimal mark off.
*/
#include "pack/voltages.h"
#include <math.h>

static double tolerance (double ocv, const amp_voltage_limits *by) {
  return fmax(by->sum, by->sum_share * fabs(ocv));
}

amp_voltages amp_voltages_of (const amp_reading *r,
                              const amp_voltage_limits *by) {
  double others = by->groups - 1.0, tol = tolerance(r->ocv, by);
  bool low = amp_given(r->group_min), high = amp_given(r->group_max);
  double top = high ? r->group_max : fmax(by->v_max, r->group_min);
  double bottom = low ? r->group_min : 0.0;
  amp_voltages v = {false, AMP_NOT_GIVEN, AMP_NOT_GIVEN, r->group_min,
                    r->group_max};
  if (!low && !high)
    return v;
  v.lo = others * bottom + (high ? r->group_max : bottom);
  v.hi = (low ? bottom : top) + others * top;
  if (r->ocv > v.hi + tol) { /* the lowest was read too low */
    v.clash = true;
    v.least = low ? fmax(bottom, r->ocv - others * top) : AMP_NOT_GIVEN;
  } else if (r->ocv < v.lo - tol) { /* the highest too high */
    v.clash = true;
    v.most = high ? fmin(top, r->ocv - others * bottom) : AMP_NOT_GIVEN;
  }
  return v;
}

bool amp_voltage_is_none (double ocv, const amp_voltage_limits *by) {
  return ocv > 1.5 * by->v_max * by->groups;
}

/* ---- a decimal mark off ---- */

/* A group where cells at rest stand, if only just: half of v_min to a little
** over v_max. */
static bool is_like_cell (double v, const amp_voltage_limits *by) {
  return !amp_given(v) || (v >= 0.5 * by->v_min && v <= by->v_max + 0.05);
}

static bool agrees (const amp_reading *r, const amp_voltage_limits *by) {
  return !amp_voltages_of(r, by).clash && !(r->group_min > r->group_max) &&
         is_like_cell(r->ocv / by->groups, by) &&
         is_like_cell(r->group_min, by) && is_like_cell(r->group_max, by);
}

static double *cell_of (amp_reading *r, int i) {
  return i == 0 ? &r->ocv : i == 1 ? &r->group_min : &r->group_max;
}

/* What cell i of the row would have to say; NaN: no place of its mark. */
static double moved (const amp_reading *r, int i,
                     const amp_voltage_limits *by) {
  static const double places[] = {10.0, 0.1, 100.0, 0.01, 1000.0, 0.001};
  for (size_t k = 0; k < sizeof places / sizeof *places; k++) {
    amp_reading other = *r;
    double *cell = cell_of(&other, i);
    *cell *= places[k];
    if (amp_given(*cell) && agrees(&other, by))
      return *cell;
  }
  return AMP_NOT_GIVEN;
}

amp_slip amp_voltages_slip (const amp_reading *r,
                            const amp_voltage_limits *by) {
  static const char *const names[] = {"module", "lowest group",
                                      "highest group"};
  amp_reading row = *r;
  amp_slip slip = {NULL, AMP_NOT_GIVEN, AMP_NOT_GIVEN};
  int found = 0;
  for (int i = 0; i < 3; i++) {
    double meant = moved(r, i, by);
    if (!amp_given(meant))
      continue;
    found++;
    slip = (amp_slip){names[i], *cell_of(&row, i), meant};
  }
  return found == 1 ? slip : (amp_slip){NULL, AMP_NOT_GIVEN, AMP_NOT_GIVEN};
}
