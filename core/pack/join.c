/*
** join.c -- first current and charge between two that are joined.
*/
#include "pack/join.h"
#include "base/value.h"
#include <math.h>

static amp_status side_check (const amp_join_side *s, amp_error *err) {
  amp_status status = amp_check_range(err, "v", s->v, 0.0, 1500.0);
  if (status == AMP_OK && amp_given(s->r))
    status = amp_check_range(err, "r", s->r, 0.0, 1e3);
  return status;
}

static bool has_charge (const amp_join_side *s) {
  return s->groups > 0 && amp_given(s->charge) && s->charge > 0.0;
}

/* Both charges meet at one SoC; the curve's own bend is left out. */
static amp_status tell_charge (const amp_join_side *high,
                               const amp_join_side *low,
                               const amp_chemistry *chem, amp_join *j,
                               amp_error *err) {
  double top, bottom;
  amp_status s = amp_chemistry_soc(chem, high->v / high->groups, &top, err);
  if (s == AMP_OK)
    s = amp_chemistry_soc(chem, low->v / low->groups, &bottom, err);
  if (s != AMP_OK)
    return s;
  j->soc_high = top;
  j->soc_low = bottom;
  j->charge = (top - bottom) * high->charge * low->charge /
              (high->charge + low->charge);
  return AMP_OK;
}

amp_status amp_join_two (const amp_join_side *a, const amp_join_side *b,
                         double lead, const amp_chemistry *chem,
                         amp_join *out, amp_error *err) {
  const amp_join_side *high = a->v >= b->v ? a : b, *low = a == high ? b : a;
  amp_join j = {0};
  double r = lead;
  amp_status s = side_check(a, err);
  if (s == AMP_OK)
    s = side_check(b, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "lead", lead, 0.0, 1e3);
  if (s != AMP_OK)
    return s;
  r += amp_given(a->r) ? a->r : 0.0;
  r += amp_given(b->r) ? b->r : 0.0;
  if (!(r > 0.0))
    return amp_failf(err, AMP_EMISSING, "r",
                     "no resistance is known: the current has no bound");
  j.dv = high->v - low->v;
  j.current = j.dv / r;
  j.bound = !amp_given(a->r) || !amp_given(b->r);
  j.charge = j.soc_high = j.soc_low = AMP_NOT_GIVEN;
  if (chem && has_charge(a) && has_charge(b))
    s = tell_charge(high, low, chem, &j, err);
  if (s == AMP_OK)
    *out = j;
  return s;
}
