/*
** sim_step.c -- how short the steps of a case must be for its unequal strings
** to share the current right: docs/model/simulate.md.
*/
#include "run/sim_parts.h"
#include <math.h>

/* Charge that may go through another leaf than in shorter steps: where the
** search for the step stops (1e-3 is promised), and the shortest step. */
#define SHARE_AIM 0.6e-3
#define SHORTEST 5.0 /* s */

/* Steps of the duty that stand for month m (of a short duty: all). */
static bool probe_of (const sim_batch *w, int m, amp_chunk *c) {
  const amp_duty *d = w->duty;
  size_t from = m > 0 ? d->month_end[m - 1] : 0;
  size_t to = m < 11 ? d->month_end[m] : d->n;
  size_t day = (size_t)ceil(86400.0 / d->dt);
  if (to <= from)
    return false;
  c->first = from;
  c->last = to;
  if (!d->edge && to - from > 2 * day && d->n > 28 * day) {
    c->first = from + (to - from) / 2;
    c->last = c->first + day;
  }
  return true;
}

/* The error of sharing in steps of this pace, over a day of each month, from
** one case alone. */
static double probe (const sim_batch *w, sim_bench *k, size_t i,
                     sim_pace step) {
  amp_chunk c = sim_chunk(w, 0, 0, step);
  double strayed, measured;
  c.measure = 1;
  c.ended = NULL;
  sim_bench_lay(w, k, &w->cases[i], 1, step.step);
  sim_fill_lane(w, &k->block, 0, i);
  sim_sums_start(&k->block);
  for (int m = 0; m < 12; m++)
    if (probe_of(w, m, &c))
      sim_kernel(w->ctx->isa, 1)(&k->block, &c);
  strayed = *sim_lane(&k->block, LANE_strayed, 0);
  measured = *sim_lane(&k->block, LANE_measured, 0);
  return measured > 0.0 ? 1.5 * strayed / measured : 0.0;
}

/* Cut finer what follows a change of load, then halve the step, until the
** strings of a case share to SHARE_AIM: the same whatever else is in the
** batch. */
static void choose_step (void *arg, size_t i, size_t worker) {
  sim_batch *w = arg;
  sim_pace p = {w->dt_max, 0};
  if (sim_shares(w->cases[i].pack)) {
    if (!w->duty->edge) /* the step there is, not the most it may be */
      p.step = w->duty->dt / amp_lanes_split(w->duty->dt, p.step);
    while (p.step > 2.0 * SHORTEST &&
           probe(w, &w->worker[worker], i, p) > SHARE_AIM) {
      if (!w->duty->edge && p.grades < AMP_GRADES &&
          p.step / (2 << p.grades) > 0.5 * SHORTEST)
        p.grades += p.grades ? 1 : 3;
      else
        p.step *= 0.5;
    }
  }
  w->pace_of[i] = p;
}

/* Most packs share nothing: then nobody is asked to look. */
void sim_choose_steps (sim_batch *w, size_t n) {
  bool any = false;
  for (size_t i = 0; i < n; i++) {
    w->pace_of[i] = (sim_pace){w->dt_max, 0};
    any = any || sim_shares(w->cases[i].pack);
  }
  if (any && !w->opt.fixed_step)
    amp_parallel_for(w->ctx, n, choose_step, w);
}
