/*
** check_bms.c -- what a BMS is set to in check.h: its currents beside the
** load, its voltages beside the cell's limits and the window in use.
*/
#include "job/check_parts.h"
#include <math.h>

amp_bms amp_bms_defaults (void) {
  return (amp_bms){NO, NO, NO, NO, NO, false};
}

amp_status amp_bms_check (const amp_bms *b, amp_error *err) {
  amp_status s;
  if ((s = amp_check_given(err, "v_min", b->v_min, 0.1, 10.0)) != AMP_OK ||
      (s = amp_check_given(err, "v_max", b->v_max, 0.1, 10.0)) != AMP_OK ||
      (s = amp_check_given(err, "discharge", b->discharge, 0.1, 1e5)) !=
          AMP_OK ||
      (s = amp_check_given(err, "charge", b->charge, 0.1, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "charge_from", b->charge_from, 200, 350)) !=
          AMP_OK)
    return s;
  if (amp_given(b->v_min) && b->v_max <= b->v_min)
    return amp_fail(err, AMP_ERANGE, "v_max", b->v_max, b->v_min, 10.0);
  return AMP_OK;
}

/* A through one of them: the strongest string's share where each has its
** own. NaN: not known. */
static double through (const amp_check *c, double current,
                       const amp_checked *out) {
  double share = amp_given(out->facts.share) ? out->facts.share : 1.0;
  return c->bms->each ? current * share / c->strings : current;
}

static void look_load (const amp_check *c, amp_checked *out) {
  const amp_bms *b = c->bms;
  double load = through(c, out->facts.current, out);
  if (!amp_given(b->discharge) || !amp_given(load)) {
    check_missing(out, "bms_below_load",
                  "discharge_a of the BMS or the lasting current is missing");
    return;
  }
  amp_check_row *row = check_held(out, "bms_below_load", b->discharge < load,
                                  AMP_WEIGHT_ECONOMY, &check_a, b->discharge,
                                  load, AMP_BASIS_COMPUTED);
  check_end(out, "discharge");
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the BMS lets %g A through, the lasting current%s is %g A",
            b->discharge, b->each ? " of the strongest string" : "",
            check_three(load));
}

/* What the duty's supply may bring at the emptiest. */
static void look_charge (const amp_check *c, amp_checked *out) {
  const amp_duty *d = c->need ? c->need->duty : NULL;
  double most = 0.0;
  if (!amp_given(c->bms->charge) || d == NULL || d->pv == NULL ||
      d->supply_free)
    return;
  for (size_t i = 0; i < d->n; i++)
    most = fmax(most, d->pv[i]);
  most = through(c, most / out->facts.v_empty, out);
  amp_check_row *row = check_held(
      out, "bms_below_load", c->bms->charge < most, AMP_WEIGHT_ECONOMY,
      &check_a, c->bms->charge, most, AMP_BASIS_COMPUTED);
  check_end(out, "charge");
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the BMS lets %g A in, the supply may bring %g A%s",
            c->bms->charge, check_three(most),
            c->bms->each ? " to the strongest string" : "");
}

/* One of its voltages, 'sign' 1 the upper: beyond the cell's own limit, or
** inside the window. */
static void look_voltage (double mine, double cell, double window,
                          double sign, amp_checked *out) {
  const char *end = sign > 0.0 ? "upper" : "lower";
  amp_check_row *row;
  if (!amp_given(mine)) {
    check_missing(
        out, "bms_beyond_cell",
        sign > 0.0 ? "cell_v_max of the BMS is not given: at which voltage "
                     "it stops a charge is not known"
                   : "cell_v_min of the BMS is not given: at which voltage "
                     "it stops a discharge is not known");
    return;
  }
  row =
      check_held(out, "bms_beyond_cell", sign * (mine - cell) > 1e-9,
                 AMP_WEIGHT_SAFETY, &check_v, mine, cell, AMP_BASIS_COMPUTED);
  check_end(out, end);
  if (row != NULL)
    amp_failf(&row->say, AMP_OK, NULL,
              "the BMS opens at %g V a group, the cell's %s limit is %g V",
              mine, end, cell);
  row = check_held(out, "bms_inside_window", sign * (window - mine) > 1e-9,
                   AMP_WEIGHT_ECONOMY, &check_v, mine, window,
                   AMP_BASIS_COMPUTED);
  check_end(out, end);
  if (row != NULL)
    amp_failf(&row->say, AMP_OK, NULL,
              "the BMS opens at %g V a group, and a %s to the %s end of %g V "
              "is counted on",
              mine, sign > 0.0 ? "charge" : "discharge", end,
              check_three(window));
}

void check_bms (const amp_check *c, amp_checked *out) {
  const amp_chemistry *ch = c->mean->chemistry;
  if (c->bms == NULL) {
    check_missing(out, "bms_not_told",
                  "no BMS is given: what guards each group, and at which "
                  "voltages, currents and temperature, is not known");
    return;
  }
  look_load(c, out);
  look_charge(c, out);
  look_voltage(c->bms->v_max, ch->v_max, c->window.v_charge, 1.0, out);
  look_voltage(c->bms->v_min, ch->v_min, c->window.v_min, -1.0, out);
}
