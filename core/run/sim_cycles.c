/*
** sim_cycles.c -- the cycles of a block's lanes: a month's state of charge to
** rainflow counting, what it closes into a list of each lane.
*/
#include "run/sim_parts.h"

static void keep_cycle (void *arg, const amp_cycle *cycle) {
  sim_cycles *list = arg;
  if (list->n == list->room) {
    size_t room = list->room ? 2 * list->room : 256;
    amp_cycle *more =
        amp_realloc(list->ctx, list->cycle, list->room * sizeof *more,
                    room * sizeof *more);
    if (!more) {
      list->full = true;
      return;
    }
    list->cycle = more;
    list->room = room;
  }
  list->cycle[list->n++] = *cycle;
}

enum { FLOW_STEPS = 256 };

/* Turns below 1e-6 of the charge are rounding, not cycles. */
#define LEAST_CYCLE 1e-6

amp_status sim_flows_open (const sim_batch *w, sim_bench *k, int used) {
  for (int l = 0; l < used; l++) {
    k->list[l].n = 0;
    k->list[l].full = false;
    k->flow[l] =
        amp_rainflow_new(w->ctx, LEAST_CYCLE, keep_cycle, &k->list[l]);
    if (!k->flow[l])
      return AMP_ENOMEM;
  }
  return AMP_OK;
}

void sim_flows_close (sim_bench *k) {
  for (int l = 0; l < AMP_LANES; l++) {
    amp_rainflow_free(k->flow[l]);
    k->flow[l] = NULL;
  }
}

/* A month's charge of the lanes in use to their counts, some steps of all
** lanes at a time: they lie close together. */
amp_status sim_flow_month (sim_bench *k, int used, size_t steps, bool last) {
  size_t lanes = (size_t)k->block.lanes;
  amp_status s = AMP_OK;
  for (size_t done = 0; done < steps; done += FLOW_STEPS) {
    size_t n = steps - done < FLOW_STEPS ? steps - done : FLOW_STEPS;
    for (int l = 0; l < used && s == AMP_OK; l++)
      s = amp_rainflow_feed(k->flow[l], k->soc + done * lanes + l, n, lanes,
                            NULL);
  }
  for (int l = 0; l < used && s == AMP_OK; l++) {
    if (last)
      s = amp_rainflow_end(k->flow[l], NULL);
    if (k->list[l].full)
      s = AMP_ENOMEM;
  }
  return s;
}
