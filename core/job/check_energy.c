/*
** check_energy.c -- what a pack has to do in check.h: the balance of the
** month that is shortest, what a run leaves unserved, idle draw, power.
*/
#include "job/check_parts.h"
#include <math.h>

static const char *const months[12] = {
    "January", "February", "March",     "April",   "May",      "June",
    "July",    "August",   "September", "October", "November", "December"};

static amp_basis worse (amp_basis a) {
  return amp_basis_worse(AMP_BASIS_COMPUTED, a);
}

static void look_balance (const amp_check *c, amp_checked *out) {
  amp_worst_month w = amp_need_worst_month(c->need);
  amp_check_facts *f = &out->facts;
  amp_basis basis = worse(c->need->duty->basis);
  f->month = w.month;
  f->need = w.need;
  if (w.month < 0) {
    check_missing(out, "deficit_no_battery_cures",
                  "the duty has no supply: whether what charges it is enough "
                  "is not known");
    return;
  }
  f->supply = w.supply;
  amp_check_row *row =
      check_held(out, "deficit_no_battery_cures", w.need > w.supply,
                 AMP_WEIGHT_ECONOMY, &check_kwh, w.supply, w.need, basis);
  if (row == NULL)
    return;
  f->empties = f->usable / (w.need - w.supply) * 86400.0;
  amp_failf(&row->say, AMP_OK, NULL,
            "%s brings %g kWh%s, %g are asked: short by %g before battery "
            "losses, so a full pack is empty after %g days%s",
            w.alike ? "a day" : months[w.month],
            check_three(w.supply / 3.6e6), w.alike ? "" : " a day",
            check_three(w.need / 3.6e6),
            check_three((w.need - w.supply) / 3.6e6),
            check_three(f->empties / 86400.0), w.alike ? "" : " of it");
}

static void look_unserved (const amp_check *c, amp_checked *out) {
  double asked = 0.0;
  amp_duty_month month[12];
  if (!amp_given(c->unserved))
    return;
  amp_duty_months(c->need->duty, month);
  for (int m = 0; m < 12; m++)
    asked += month[m].ac + month[m].dc;
  amp_check_row *row = check_held(
      out, "load_unserved", c->unserved > 1e-9 * asked, AMP_WEIGHT_ECONOMY,
      &check_kwh, c->unserved, 0.0, worse(c->need->duty->basis));
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "%g of %g kWh a year are not served when this duty is run",
            check_three(c->unserved / 3.6e6), check_three(asked / 3.6e6));
}

static void look_power (const amp_check *c, amp_checked *out) {
  const amp_duty *d = c->need->duty;
  double most = 0.0, factor = amp_value_is_set(&d->load_factor)
                                  ? d->load_factor.value
                                  : 1.0;
  for (size_t i = 0; d->ac != NULL && i < d->n; i++)
    most = fmax(most, d->ac[i] * factor);
  if (!(c->converter->power > 0.0))
    return;
  amp_check_row *row =
      check_held(out, "load_above_inverter", most > c->converter->power,
                 AMP_WEIGHT_ECONOMY, &check_w, most, c->converter->power,
                 worse(d->basis));
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the duty asks %g W at times, the inverter gives %g W",
            check_three(most), c->converter->power);
}

static void look_idle_told (const amp_check *c, amp_checked *out) {
  if (c->converter->idle > 0.0) {
    check_clear(out, "idle_draw_left_out", &check_w, c->converter->idle, NO,
                AMP_BASIS_NONE);
    return;
  }
  amp_check_row *row =
      check_add(out, "idle_draw_left_out", AMP_LOOK_RAISED, AMP_WEIGHT_DOUBT,
                &check_w, 0.0, NO, AMP_BASIS_NONE);
  amp_failf(
      &row->say, AMP_OK, NULL,
      "idle_w of the inverter is not given: it draws 10 to 40 W all day "
      "that are in no sum here");
}

void check_energy (const amp_check *c, amp_checked *out) {
  if (c->converter != NULL)
    look_idle_told(c, out);
  if (c->need == NULL) {
    check_missing(out, "deficit_no_battery_cures",
                  "no duty is given: what it has to do could not be looked "
                  "at");
    return;
  }
  look_balance(c, out);
  look_unserved(c, out);
  if (c->converter != NULL)
    look_power(c, out);
}
