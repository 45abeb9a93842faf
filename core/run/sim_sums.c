/*
** sim_sums.c -- what a lane has summed, read out into the results: months,
** extremes, what each leaf carried, what lies stored.
*/
#include "run/sim_parts.h"

int sim_series_groups (const amp_pack *p, int node) {
  const amp_node *n = &p->node[node];
  int sum = 0;
  if (n->level == AMP_LEAF)
    return (int)p->leaf[n->first].series;
  if (n->level == AMP_PARALLEL)
    return sim_series_groups(p, n->first);
  for (int k = n->first; k < n->first + n->count; k++)
    sum += sim_series_groups(p, k);
  return sum;
}

/* A leaf's sums, and its fuse whole again. */
static void start_leaf (amp_block *b, int k, int l) {
  static const int zero[] = {LEAF_open, LEAF_worn,  LEAF_qout, LEAF_qin,
                             LEAF_lows, LEAF_highs, LEAF_share};
  for (size_t f = 0; f < sizeof zero / sizeof *zero; f++)
    *sim_leaf(b, k, zero[f], l) = 0.0;
  *sim_leaf(b, k, LEAF_opened, l) = -1.0;
  *sim_leaf(b, k, LEAF_first_low, l) = -1.0;
  *sim_leaf(b, k, LEAF_first_high, l) = -1.0;
  *sim_leaf(b, k, LEAF_ihi, l) = *sim_leaf(b, k, LEAF_thi, l) = -1e300;
  *sim_leaf(b, k, LEAF_ilo, l) = *sim_leaf(b, k, LEAF_tlo, l) = 1e300;
  *sim_leaf(b, k, LEAF_zhi, l) = -1e300;
  *sim_leaf(b, k, LEAF_zlo, l) = 1e300;
}

void sim_sums_start (amp_block *b) {
  for (int l = 0; l < b->lanes; l++) {
    for (int f = LANE_served; f < LANE_COUNT; f++)
      *sim_lane(b, f, l) = 0.0;
    *sim_lane(b, LANE_soc_low, l) = 1e300;
    *sim_lane(b, LANE_soc_high, l) = -1e300;
    *sim_lane(b, LANE_temp_low, l) = 1e300;
    *sim_lane(b, LANE_temp_high, l) = -1e300;
    *sim_lane(b, LANE_i_max, l) = -1e300;
    *sim_lane(b, LANE_i_min, l) = 1e300;
    *sim_lane(b, LANE_v_low, l) = 1e300;
    *sim_lane(b, LANE_v_high, l) = -1e300;
    *sim_lane(b, LANE_first_unserved, l) = -1.0;
    *sim_lane(b, LANE_last_unserved, l) = -1.0;
    *sim_lane(b, LANE_first_curtailed, l) = -1.0;
    *sim_lane(b, LANE_first_empty, l) = -1.0;
    *sim_lane(b, LANE_first_cold, l) = -1.0;
    *sim_lane(b, LANE_last_cold, l) = -1.0;
    *sim_lane(b, LANE_first_open, l) = -1.0;
    for (int k = 0; k < b->leaves; k++)
      start_leaf(b, k, l);
  }
}

/* Energy in the cells against their open-circuit voltage; in the pairs. */
void sim_stored (const amp_block *b, int l, double *chem, double *pairs,
                 double *charge) {
  *chem = *pairs = *charge = 0.0;
  for (int k = 0; k < b->leaves; k++) {
    double r1 = *sim_leaf(b, k, LEAF_r1, l), r2 = *sim_leaf(b, k, LEAF_r2, l);
    double v1 = *sim_leaf(b, k, LEAF_v1, l), v2 = *sim_leaf(b, k, LEAF_v2, l);
    double q = *sim_leaf(b, k, LEAF_q, l);
    *chem += *sim_leaf(b, k, LEAF_kvq, l) * *sim_leaf(b, k, LEAF_f, l);
    *charge += q * *sim_leaf(b, k, LEAF_z, l);
    if (r1 > 0.0)
      *pairs += 0.5 * *sim_leaf(b, k, LEAF_tau1, l) / r1 * v1 * v1;
    if (r2 > 0.0)
      *pairs += 0.5 * *sim_leaf(b, k, LEAF_tau2, l) / r2 * v2 * v2;
  }
}

double sim_mean_soc (const amp_block *b, int l) {
  double charge = 0.0, q = 0.0;
  for (int k = 0; k < b->leaves; k++) {
    q += *sim_leaf(b, k, LEAF_q, l);
    charge += *sim_leaf(b, k, LEAF_q, l) * *sim_leaf(b, k, LEAF_z, l);
  }
  return charge / q;
}

/* A month's sums out of the lane, which starts again at 0. */
void sim_month_take (amp_block *b, int l, double groups, double time,
                     amp_sim_month *m) {
  m->time = time;
  m->served = *sim_lane(b, LANE_served, l);
  m->unserved = *sim_lane(b, LANE_unserved, l);
  m->dc_served = *sim_lane(b, LANE_dc_served, l);
  m->dc_unserved = *sim_lane(b, LANE_dc_unserved, l);
  m->curtailed = *sim_lane(b, LANE_curtailed, l);
  m->out = *sim_lane(b, LANE_out, l);
  m->in = *sim_lane(b, LANE_in, l);
  m->loss = *sim_lane(b, LANE_loss, l);
  m->charge_out = *sim_lane(b, LANE_charge_out, l);
  m->charge_in = *sim_lane(b, LANE_charge_in, l);
  m->soc_time = *sim_lane(b, LANE_soc_time, l);
  m->v_time = *sim_lane(b, LANE_v_time, l) / groups;
  m->v2_time = *sim_lane(b, LANE_v2_time, l) / (groups * groups);
  m->temp_time = *sim_lane(b, LANE_temp_time, l);
  m->discharge_time = *sim_lane(b, LANE_discharge_time, l);
  m->unserved_time = *sim_lane(b, LANE_unserved_time, l);
  m->bled = *sim_lane(b, LANE_bled, l);
  m->heater = *sim_lane(b, LANE_heater, l);
  m->reversible = *sim_lane(b, LANE_rev, l);
  m->cold_unserved = *sim_lane(b, LANE_cold_unserved, l);
  m->cold_curtailed = *sim_lane(b, LANE_cold_curtailed, l);
  m->cold_time = *sim_lane(b, LANE_cold_time, l);
}

void sim_month_add (amp_sim_month *sum, const amp_sim_month *m) {
  sum->time += m->time;
  sum->served += m->served;
  sum->unserved += m->unserved;
  sum->dc_served += m->dc_served;
  sum->dc_unserved += m->dc_unserved;
  sum->curtailed += m->curtailed;
  sum->out += m->out;
  sum->in += m->in;
  sum->loss += m->loss;
  sum->charge_out += m->charge_out;
  sum->charge_in += m->charge_in;
  sum->soc_time += m->soc_time;
  sum->v_time += m->v_time;
  sum->v2_time += m->v2_time;
  sum->temp_time += m->temp_time;
  sum->discharge_time += m->discharge_time;
  sum->unserved_time += m->unserved_time;
  sum->bled += m->bled;
  sum->heater += m->heater;
  sum->reversible += m->reversible;
  sum->cold_unserved += m->cold_unserved;
  sum->cold_curtailed += m->cold_curtailed;
  sum->cold_time += m->cold_time;
}

/* Sums that are not by month go to the result, all start again at 0. */
void sim_month_close (amp_block *b, int l, amp_sim_result *r,
                      double *leaf_charge, double *measured) {
  r->power_residual += *sim_lane(b, LANE_power_residual, l);
  r->events += (size_t)*sim_lane(b, LANE_events, l);
  r->unsolved += (size_t)*sim_lane(b, LANE_unsolved, l);
  *leaf_charge += *sim_lane(b, LANE_leaf_charge, l);
  r->share_error += *sim_lane(b, LANE_strayed, l);
  *measured += *sim_lane(b, LANE_measured, l);
  for (int f = LANE_served; f < LANE_soc_low; f++)
    *sim_lane(b, f, l) = 0.0;
}

void sim_extremes_take (const amp_block *b, int l, amp_sim_result *r) {
  r->soc_low = *sim_lane(b, LANE_soc_low, l);
  r->soc_high = *sim_lane(b, LANE_soc_high, l);
  r->temp_low = *sim_lane(b, LANE_temp_low, l);
  r->temp_high = *sim_lane(b, LANE_temp_high, l);
  r->i_max = *sim_lane(b, LANE_i_max, l);
  r->i_min = *sim_lane(b, LANE_i_min, l);
  r->v_low = *sim_lane(b, LANE_v_low, l);
  r->v_high = *sim_lane(b, LANE_v_high, l);
  r->first_unserved = *sim_lane(b, LANE_first_unserved, l);
  r->last_unserved = *sim_lane(b, LANE_last_unserved, l);
  r->first_curtailed = *sim_lane(b, LANE_first_curtailed, l);
  r->first_empty = *sim_lane(b, LANE_first_empty, l);
  r->first_cold = *sim_lane(b, LANE_first_cold, l);
  r->last_cold = *sim_lane(b, LANE_last_cold, l);
  r->first_opened = *sim_lane(b, LANE_first_open, l);
}

/* A leaf of the one lane of a trace. */
void sim_leaf_take (const amp_block *b, int k, amp_leaf_sum *s) {
  s->charge_out = *sim_leaf(b, k, LEAF_qout, 0);
  s->charge_in = *sim_leaf(b, k, LEAF_qin, 0);
  s->i_max = *sim_leaf(b, k, LEAF_ihi, 0);
  s->i_min = *sim_leaf(b, k, LEAF_ilo, 0);
  s->share_max = *sim_leaf(b, k, LEAF_share, 0);
  s->soc_end = *sim_leaf(b, k, LEAF_z, 0);
  s->soc_low = *sim_leaf(b, k, LEAF_zlo, 0);
  s->soc_high = *sim_leaf(b, k, LEAF_zhi, 0);
  s->temp_low = *sim_leaf(b, k, LEAF_tlo, 0);
  s->temp_high = *sim_leaf(b, k, LEAF_thi, 0);
  s->opened = *sim_leaf(b, k, LEAF_opened, 0);
  s->lows = (size_t)*sim_leaf(b, k, LEAF_lows, 0);
  s->highs = (size_t)*sim_leaf(b, k, LEAF_highs, 0);
  s->first_low = *sim_leaf(b, k, LEAF_first_low, 0);
  s->first_high = *sim_leaf(b, k, LEAF_first_high, 0);
}

/* The pack is the leaf: what the lane says of it. */
void sim_leaf_plain (const amp_sim_result *r, amp_leaf_sum *s) {
  amp_leaf_sum one = {.charge_out = r->total.charge_out,
                      .charge_in = r->total.charge_in,
                      .i_max = r->i_max,
                      .i_min = r->i_min,
                      .share_max = 1.0,
                      .soc_end = r->soc_end,
                      .soc_low = r->soc_low,
                      .soc_high = r->soc_high,
                      .temp_low = r->temp_low,
                      .temp_high = r->temp_high,
                      .opened = -1.0,
                      .first_low = -1.0,
                      .first_high = -1.0};
  *s = one;
}
