/*
** precharge.c -- one resistor and one capacitor, and two small sums.
** Identities: ti.com TIDUF73 (done after five time constants), from memory.
*/
#include "pack/precharge.h"
#include "base/elementary.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

amp_precharge amp_precharge_defaults (void) {
  return (amp_precharge){NO, NO, NO, NO, NO, NO, NO, NO, NO, NO};
}

static amp_status check (const amp_precharge *p, amp_error *err) {
  int given =
      amp_given(p->current) + amp_given(p->r) + amp_given(p->fill_time);
  amp_status s;
  if ((s = amp_check_range(err, "v", p->v, 0.1, 2000.0)) != AMP_OK ||
      (s = amp_check_range(err, "c", p->c, 1e-9, 100.0)) != AMP_OK ||
      (s = amp_check_given(err, "current", p->current, 1e-6, 1e5)) !=
          AMP_OK ||
      (s = amp_check_given(err, "r", p->r, 1e-6, 1e9)) != AMP_OK ||
      (s = amp_check_given(err, "fill_time", p->fill_time, 1e-6, 1e6)) !=
          AMP_OK ||
      (s = amp_check_given(err, "done", p->done, 0.01, 0.9999999)) !=
          AMP_OK ||
      (s = amp_check_given(err, "load", p->load, 1e-6, 1e12)) != AMP_OK ||
      (s = amp_check_given(err, "loop", p->loop, 1e-6, 1e3)) != AMP_OK ||
      (s = amp_check_given(err, "bleed", p->bleed, 1e-3, 1e9)) != AMP_OK)
    return s;
  if (amp_given(p->bleed) &&
      (s = amp_check_range(err, "bleed_to", p->bleed_to, 1e-3, p->v)) !=
          AMP_OK)
    return s;
  if (given != 1)
    return amp_failf(err, given == 0 ? AMP_EMISSING : AMP_EDATA, "r",
                     "one of current, resistance and time is wanted");
  return AMP_OK;
}

/* Time constants until 'q' of the end voltage is there. */
static double constants (double q) {
  return -amp_log1p(-q);
}

static void tell_times (const amp_precharge *p, double tau,
                        amp_precharge_answer *a) {
  double whole = amp_given(p->done) ? p->done : -amp_expm1(-5.0);
  double reach = a->v_end / p->v; /* share of v that is ever reached */
  a->completes = whole < reach;
  a->time = a->completes ? tau * constants(whole / reach) : NO;
  a->t95 = 0.95 < reach ? tau * constants(0.95 / reach) : NO;
  a->t99 = 0.99 < reach ? tau * constants(0.99 / reach) : NO;
  a->t_within_1v = p->v <= 1.0 ? 0.0
                   : p->v - 1.0 < a->v_end
                       ? tau * constants((p->v - 1.0) / a->v_end)
                       : NO;
  a->left = a->completes ? p->v * (1.0 - whole) : p->v - a->v_end;
}

amp_status amp_precharge_answer_of (const amp_precharge *p,
                                    amp_precharge_answer *out,
                                    amp_error *err) {
  amp_precharge_answer a;
  amp_status s = check(p, err);
  if (s != AMP_OK)
    return s;
  memset(&a, 0, sizeof a);
  double n = amp_given(p->done) ? constants(p->done) : 5.0;
  a.r = amp_given(p->r)         ? p->r
        : amp_given(p->current) ? p->v / p->current
                                : p->fill_time / (p->c * n);
  a.tau = a.r * p->c;
  a.current = p->v / a.r;
  a.peak = p->v * a.current;
  a.energy = 0.5 * p->c * p->v * p->v;
  bool load = amp_given(p->load);
  double across = load ? p->load / (a.r + p->load) : 1.0;
  a.v_end = p->v * across;
  a.standing = (p->v - a.v_end) * (p->v - a.v_end) / a.r;
  tell_times(p, a.tau * across, &a);
  a.closing = a.left / p->loop;
  a.bare = p->v / p->loop;
  a.bleed_time = p->bleed * p->c * amp_log(p->v / p->bleed_to);
  a.bleed_power = p->v * p->v / p->bleed;
  *out = a;
  return AMP_OK;
}

void amp_precharge_at (double v, double r, double c, double t, double *v_bus,
                       double *current, double *energy) {
  double tau = r * c;
  *v_bus = -v * amp_expm1(-t / tau);
  *current = v / r * amp_exp(-t / tau);
  *energy = -0.5 * c * v * v * amp_expm1(-2.0 * t / tau);
}

amp_status amp_isolation (double vb, double v1, double v1_loaded, double ro,
                          double *ri, double *per_v, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "vb", vb, 1.0, 2000.0)) != AMP_OK ||
      (s = amp_check_range(err, "v1", v1, 0.0, 2000.0)) != AMP_OK ||
      (s = amp_check_range(err, "v1_loaded", v1_loaded, 1e-3, 2000.0)) !=
          AMP_OK ||
      (s = amp_check_range(err, "ro", ro, 1.0, 1e9)) != AMP_OK)
    return s;
  if (!(v1 >= 0.5 * vb && v1 <= vb * 1.001))
    return amp_failf(err, AMP_EDATA, "v1",
                     "the larger of both sides reads between half the pack's "
                     "%g V and all of it (got %g V)",
                     vb, v1);
  if (!(v1_loaded < v1))
    return amp_failf(err, AMP_EDATA, "v1_loaded",
                     "with the resistor across it the same side must read "
                     "less than %g V (got %g V)",
                     v1, v1_loaded);
  *ri = ro * vb * (1.0 / v1_loaded - 1.0 / v1);
  *per_v = *ri / vb;
  return AMP_OK;
}

amp_status amp_balance_time (double charge, double current, double share,
                             double *time, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "charge", charge, 0.0, 1e9)) != AMP_OK ||
      (s = amp_check_range(err, "current", current, 1e-6, 1e4)) != AMP_OK ||
      (s = amp_check_range(err, "share", share, 1e-6, 1.0)) != AMP_OK)
    return s;
  *time = charge / (current * share);
  return AMP_OK;
}
