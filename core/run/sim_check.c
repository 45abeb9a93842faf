/*
** sim_check.c -- duty and cases held against their ranges before anything
** runs; a refusal names the case by its index.
*/
#include "run/sim_parts.h"

static amp_status check_curve (const amp_converter *v, amp_error *err) {
  amp_status s =
      amp_check_range(err, "points", v->points, 0, AMP_CONVERTER_POINTS);
  if (s == AMP_OK && v->points > 0 && !(v->power > 0.0))
    s = amp_failf(err, AMP_EMISSING, "power",
                  "an efficiency by load wants the power it is a share of");
  for (int k = 0; s == AMP_OK && k < v->points; k++) {
    s = amp_check_range(err, "load", v->load[k],
                        k > 0 ? v->load[k - 1] + 1e-9 : 0.0, 10.0);
    if (s == AMP_OK)
      s = amp_check_range(err, "at", v->at[k], 0.01, 1.0);
  }
  return s;
}

static amp_status check_case (const amp_sim_case *c, amp_error *err) {
  const amp_converter *v = &c->converter;
  amp_status s = amp_pack_check(c->pack, err);
  for (int j = 0; s == AMP_OK && j < c->pack->leaves; j++)
    s = amp_check_range(err, "r0", c->pack->leaf[j].cell.r0, 1e-9, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "efficiency", v->efficiency, 0.01, 1.0);
  if (s == AMP_OK)
    s = check_curve(v, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "idle", v->idle, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "power", v->power, 0.0, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "v_min", v->v_min, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "v_max", v->v_max, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "load_factor", c->load_factor, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "sun_factor", c->sun_factor, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "temp_shift", c->temp_shift, -200.0, 200.0);
  return s;
}

amp_status sim_check (const amp_sim_case *cases, size_t n,
                      const amp_duty *duty, amp_error *err) {
  amp_status s = amp_check_range(err, "steps", (double)duty->n, 1, 1e8);
  if (s == AMP_OK)
    s = amp_check_range(err, "dt", duty->dt, 1e-3, 1e7);
  if (s == AMP_OK)
    s = amp_check_range(err, "charge_efficiency", duty->charge_efficiency,
                        0.01, 1.0);
  for (size_t i = 0; s == AMP_OK && duty->edge && i < duty->n; i++)
    s = amp_check_range(err, "edge", duty->edge[i + 1] - duty->edge[i], 1e-9,
                        1e7);
  for (size_t i = 0; s == AMP_OK && i < n; i++) {
    s = check_case(&cases[i], err);
    if (s != AMP_OK && err)
      err->line = i + 1;
  }
  return s;
}
