/*
** sim_block.c -- one block through the duty, month by month: the kernel runs
** it, sums and cycles go to the caller, balances are struck at the end.
*/
#include "run/sim_parts.h"
#include <string.h>

#define FEW_STEPS 5000 /* below it every step is halved, else */
#define MEASURE 23     /* every so many steps; prime to hours and days */

amp_lanes_run *sim_kernel (amp_isa isa, int lanes) {
  switch (isa) {
  case AMP_ISA_V4:
    return lanes == 1           ? amp_lanes_run_v4_1
           : lanes == AMP_BLOCK ? amp_lanes_run_v4_n
                                : amp_lanes_run_v4_w;
  case AMP_ISA_V3:
    return lanes == 1 ? amp_lanes_run_v3_1 : amp_lanes_run_v3_n;
  default:
    return lanes == 1 ? amp_lanes_run_base_1 : amp_lanes_run_base_n;
  }
}

amp_chunk sim_chunk (const sim_batch *w, size_t first, size_t last,
                     sim_pace step) {
  const amp_duty *d = w->duty;
  amp_chunk c = {.ac = d->ac,
                 .dc = d->dc,
                 .pv = d->pv,
                 .temp = d->temp,
                 .on = d->on,
                 .amps = d->amps,
                 .edge = d->edge,
                 .dt_max = step.step,
                 .grades = step.grades,
                 .phase = d->phase,
                 .ended = w->ended,
                 .first = first,
                 .last = last,
                 .split = amp_lanes_split(d->dt, step.step)};
  return c;
}

/* Steps inside the duty's steps first .. last-1. */
size_t sim_rows (const sim_batch *w, sim_pace step, size_t first,
                 size_t last) {
  return amp_trace_row(w->duty, step.step, last) -
         amp_trace_row(w->duty, step.step, first) +
         (last - first) * (size_t)step.grades;
}

/* Sums of month m, the duty's steps first .. last-1, of the lanes in use, to
** results and caller. */
static amp_status month_give (const sim_batch *w, sim_bench *k, size_t at,
                              int used, int m, size_t first, size_t last,
                              double *leaf_charge, double *measured) {
  double time = w->duty->edge ? amp_duty_start(w->duty, last) -
                                    amp_duty_start(w->duty, first)
                              : (double)(last - first) * w->duty->dt;
  sim_pace step = w->pace_of[w->order[at]];
  size_t rows = k->soc ? sim_rows(w, step, first, last) : 0;
  amp_status s =
      k->soc ? sim_flow_month(k, used, rows, last == w->duty->n) : AMP_OK;
  for (int l = 0; l < used && s == AMP_OK; l++) {
    size_t i = w->order[at + (size_t)l];
    amp_sim_result *r = &w->result[i];
    amp_sim_month *sum = &r->month[m];
    double groups = sim_series_groups(w->cases[i].pack, 0);
    sim_month_take(&k->block, l, groups, time, sum);
    sim_month_add(&r->total, sum);
    sim_month_close(&k->block, l, r, &leaf_charge[l], &measured[l]);
    if (w->sink)
      w->sink(w->arg, i, m, sum, k->list[l].cycle, k->list[l].n);
    k->list[l].n = 0;
  }
  return s;
}

static void results_open (const sim_batch *w, sim_bench *k, size_t at,
                          int used, double *charge, double *pairs) {
  sim_sums_start(&k->block);
  for (int l = 0; l < used; l++) {
    amp_sim_result *r = &w->result[w->order[at + (size_t)l]];
    double chem;
    memset(r, 0, sizeof *r);
    sim_stored(&k->block, l, &chem, &pairs[l], &charge[l]);
    r->soc_start = sim_mean_soc(&k->block, l);
    r->stored_start = chem + pairs[l];
  }
}

static void results_close (const sim_batch *w, sim_bench *k, size_t at,
                           int used, const double *charge,
                           const double *pairs, const double *leaf_charge,
                           const double *measured) {
  for (int l = 0; l < used; l++) {
    amp_sim_result *r = &w->result[w->order[at + (size_t)l]];
    double chem, now, left;
    sim_stored(&k->block, l, &chem, &now, &left);
    sim_extremes_take(&k->block, l, r);
    r->soc_end = sim_mean_soc(&k->block, l);
    r->stored_end = chem + now;
    r->total.loss -= now - pairs[l]; /* what the pairs hold is not heat yet */
    r->energy_residual = r->total.in - r->total.out - r->total.loss -
                         r->total.bled - (r->stored_end - r->stored_start);
    r->charge_residual = leaf_charge[l] - (charge[l] - left);
    r->step = w->pace_of[w->order[at]].step;
    r->share_error *= measured[l] > 0.0 ? 1.5 / measured[l] : 0.0;
    for (int j = 0; w->leaf_sum && j < k->block.leaves; j++)
      if (k->block.single)
        sim_leaf_plain(r, &w->leaf_sum[j]);
      else
        sim_leaf_take(&k->block, j, &w->leaf_sum[j]);
  }
}

static amp_status block_run (const sim_batch *w, sim_bench *k, size_t at,
                             int used) {
  amp_lanes_run *run = sim_kernel(w->ctx->isa, k->block.lanes);
  double charge[AMP_LANES], pairs[AMP_LANES], given[AMP_LANES] = {0};
  double measured[AMP_LANES] = {0};
  sim_pace step = w->pace_of[w->order[at]];
  amp_chunk all = sim_chunk(w, 0, w->duty->n, step);
  amp_status s = AMP_OK;
  size_t first = 0, row = 0;
  int measure = !sim_shares(k->block.shape)                    ? 0
                : sim_rows(w, step, 0, w->duty->n) < FEW_STEPS ? 1
                                                               : MEASURE;
  all.ended = NULL;
  sim_sums_start(&k->block);
  for (int i = 0; i < w->opt.warm_up; i++)
    run(&k->block, &all);
  results_open(w, k, at, used, charge, pairs);
  for (int m = 0; m < 12 && s == AMP_OK; m++) {
    size_t last = m < 11 ? w->duty->month_end[m] : w->duty->n;
    amp_chunk c = sim_chunk(w, first, last, step);
    if (last <= first)
      continue;
    if (amp_stopped(w->ctx))
      return AMP_ESTOP;
    c.soc = k->soc;
    c.trace = w->trace ? w->trace + row * AMP_TRACE : NULL;
    c.leaf = w->leaf_trace ? w->leaf_trace + row * AMP_LEAF_TRACE *
                                                 (size_t)k->block.leaves
                           : NULL;
    c.measure = measure;
    run(&k->block, &c);
    s = month_give(w, k, at, used, m, first, last, given, measured);
    row += w->trace ? sim_rows(w, step, first, last) : 0;
    first = last;
  }
  results_close(w, k, at, used, charge, pairs, given, measured);
  return s;
}

void sim_block_work (void *arg, size_t i, size_t worker) {
  sim_batch *w = arg;
  sim_bench *k = &w->worker[worker];
  size_t at = w->first[i];
  int used = (int)(w->first[i + 1] - at);
  int lanes = used == 1 ? 1 : used <= AMP_BLOCK ? AMP_BLOCK : AMP_LANES;
  sim_bench_lay(w, k, &w->cases[w->order[at]], lanes,
                w->pace_of[w->order[at]].step);
  for (int l = 0; l < lanes; l++) /* empty lanes repeat the last case */
    sim_fill_lane(w, &k->block, l,
                  w->order[at + (size_t)(l < used ? l : used - 1)]);
  w->status[i] = k->soc ? sim_flows_open(w, k, used) : AMP_OK;
  if (w->status[i] == AMP_OK)
    w->status[i] = block_run(w, k, at, used);
  sim_flows_close(k);
  if (worker == 0)
    amp_progress(w->ctx, (double)(i + 1) / (double)w->blocks);
}
