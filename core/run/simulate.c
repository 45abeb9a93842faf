/*
** simulate.c -- batches of cases over one duty: cases with trees of the same
** shape become lanes of blocks, blocks go to the workers. Its files:
** sim_parts.h.
*/
#include "run/sim_parts.h"
#include <math.h>

#define LEAF_NUMBERS 8000000 /* of a trace: more are not kept leaf by leaf */

amp_sim_options amp_sim_defaults (void) {
  amp_sim_options o = {600.0, 1, false, false};
  return o;
}

amp_sim_options amp_sim_settled (const amp_duty *duty) {
  amp_sim_options o = amp_sim_defaults();
  double days = (double)duty->n * duty->dt / 86400.0;
  o.warm_up = (int)fmax(1.0, ceil(365.0 / days));
  if (duty->edge || duty->amps)
    o.warm_up = 0;
  return o;
}

double sim_step_most (double dt_max) {
  return dt_max > 0.0 ? dt_max : 600.0;
}

/* What it uses of lanes_features.h. */
unsigned sim_uses (const amp_pack *p) {
  unsigned u = p->heater.power > 0.0 ? AMP_USES_HEATER : 0;
  for (int i = 0; i < p->leaves; i++) {
    const amp_group *g = &p->leaf[i];
    u |= g->bleed > 0.0 ? AMP_USES_BLEED : 0;
    u |= g->trip != NULL ? AMP_USES_TRIP : 0;
    u |= g->rates != NULL ? AMP_USES_RATES : 0;
    u |= g->entropic != NULL || g->coolant > 0.0 || g->body > 0
             ? AMP_USES_HEAT
             : 0;
  }
  return u;
}

bool sim_detailed (const amp_pack *p) {
  for (int i = 0; i < p->leaves; i++)
    if (p->leaf[i].detailed)
      return true;
  return false;
}

/* Does anything in this tree share a current? */
bool sim_shares (const amp_pack *p) {
  for (int i = 0; i < p->nodes; i++)
    if (p->node[i].level == AMP_PARALLEL && p->node[i].count > 1)
      return true;
  return false;
}

/* Cases of one block: one tree, one set of features. */
static bool same_shape (const amp_pack *a, const amp_pack *b) {
  if (a->leaves != b->leaves || a->nodes != b->nodes ||
      sim_uses(a) != sim_uses(b))
    return false;
  for (int i = 0; i < a->leaves; i++)
    if (a->leaf[i].body != b->leaf[i].body ||
        !a->leaf[i].detailed != !b->leaf[i].detailed)
      return false;
  for (int i = 0; i < a->nodes; i++)
    if (a->node[i].level != b->node[i].level ||
        a->node[i].first != b->node[i].first ||
        a->node[i].count != b->node[i].count)
      return false;
  return true;
}

bool sim_has_curve (const amp_sim_case *c) {
  return c->converter.points > 0;
}

/* Cases of the next block, where 'left' are as case i is: a wide one where
** that leaves enough for every worker. */
static size_t block_size (const sim_batch *w, size_t i, size_t left) {
  size_t workers = w->ctx->workers ? w->ctx->workers : 1;
  if (left < 3)
    return 1;
  if (w->ctx->isa == AMP_ISA_V4 && w->cases[i].pack->nodes == 1 &&
      left >= workers * AMP_LANES)
    return AMP_LANES;
  return left < AMP_BLOCK ? left : (size_t)AMP_BLOCK;
}

/* Cases of one shape in index order, cut into blocks; fewer than three that
** are left over run one by one, which costs less than empty lanes. */
static void blocks_make (sim_batch *w, size_t n, bool *taken) {
  size_t done = 0;
  w->blocks = 0;
  for (size_t i = 0; i < n; i++) {
    size_t start = done, left;
    if (taken[i])
      continue;
    for (size_t j = i; j < n; j++)
      if (!taken[j] && w->pace_of[i].step == w->pace_of[j].step &&
          w->pace_of[i].grades == w->pace_of[j].grades &&
          sim_has_curve(&w->cases[i]) == sim_has_curve(&w->cases[j]) &&
          same_shape(w->cases[i].pack, w->cases[j].pack)) {
        taken[j] = true;
        w->order[done++] = j;
      }
    while (start < done) {
      left = done - start;
      w->first[w->blocks++] = start;
      start += block_size(w, i, left);
    }
  }
  w->first[w->blocks] = done;
}

static size_t longest_month (const sim_batch *w, sim_pace step) {
  const amp_duty *d = w->duty;
  size_t most = 0, first = 0;
  for (int m = 0; m < 12; m++) {
    size_t last = m < 11 ? d->month_end[m] : d->n;
    size_t rows = last > first ? sim_rows(w, step, first, last) : 0;
    most = rows > most ? rows : most;
    first = last > first ? last : first;
  }
  return most;
}

static void batch_measure (sim_batch *w, size_t n) {
  w->dt_max = sim_step_most(w->opt.dt_max);
  for (size_t i = 0; i < n; i++) {
    const amp_pack *p = w->cases[i].pack;
    w->all_leaves += (size_t)p->leaves;
    w->detailed = w->detailed || sim_detailed(p);
    if (p->leaves > w->most_leaves)
      w->most_leaves = p->leaves;
    if (p->nodes > w->most_nodes)
      w->most_nodes = p->nodes;
  }
}

static void batch_free (sim_batch *w, size_t n, bool *taken) {
  const amp_context *c = w->ctx;
  for (size_t i = 0; w->worker && i < w->workers; i++)
    sim_bench_free(w, &w->worker[i]);
  amp_free(c, w->worker, w->workers * sizeof *w->worker);
  amp_free(c, w->table, w->table_size);
  amp_free(c, w->table_of, w->all_leaves * sizeof *w->table_of);
  amp_free(c, w->leaf_table, n * sizeof *w->leaf_table);
  amp_free(c, w->order, n * sizeof *w->order);
  amp_free(c, w->pace_of, n * sizeof *w->pace_of);
  amp_free(c, w->first, (n + 1) * sizeof *w->first);
  amp_free(c, w->status, (n + 1) * sizeof *w->status);
  amp_free(c, taken, n * sizeof *taken);
}

static amp_status batch_benches (sim_batch *w) {
  w->workers = w->ctx->workers ? w->ctx->workers : 1;
  w->worker = amp_alloc(w->ctx, w->workers * sizeof *w->worker);
  if (!w->worker)
    return AMP_ENOMEM;
  for (size_t i = 0; i < w->workers; i++)
    if (!sim_bench_new(w, &w->worker[i]))
      return AMP_ENOMEM;
  return AMP_OK;
}

/* What grows with the number of steps: months for the cycle count, a trace. */
static amp_status batch_buffers (sim_batch *w, size_t n) {
  size_t most = 0;
  for (size_t i = 0; i < n; i++) {
    size_t rows = longest_month(w, w->pace_of[i]);
    most = rows > most ? rows : most;
  }
  for (size_t i = 0; i < w->workers; i++)
    if (!sim_bench_soc(w, &w->worker[i], most))
      return AMP_ENOMEM;
  if (!w->want_trace)
    return AMP_OK;
  size_t leaves = (size_t)w->cases[0].pack->leaves;
  w->trace_pace = w->pace_of[0];
  w->trace_steps = sim_rows(w, w->trace_pace, 0, w->duty->n);
  w->trace = amp_alloc(w->ctx, w->trace_steps * AMP_TRACE * sizeof *w->trace);
  if (leaves > 1 &&
      w->trace_steps * leaves * AMP_LEAF_TRACE <= LEAF_NUMBERS) {
    w->leaf_size = w->trace_steps * leaves * AMP_LEAF_TRACE * sizeof(double);
    w->leaf_trace = amp_alloc(w->ctx, w->leaf_size);
  }
  return w->trace && (w->leaf_trace || !w->leaf_size) ? AMP_OK : AMP_ENOMEM;
}

amp_status sim_run (sim_batch *w, size_t n, amp_error *err) {
  bool *taken = amp_alloc(w->ctx, n * sizeof *taken);
  amp_status s = AMP_ENOMEM;
  size_t leaf = 0;
  batch_measure(w, n);
  w->table_of = amp_alloc(w->ctx, w->all_leaves * sizeof *w->table_of);
  w->leaf_table = amp_alloc(w->ctx, n * sizeof *w->leaf_table);
  w->order = amp_alloc(w->ctx, n * sizeof *w->order);
  w->first = amp_alloc(w->ctx, (n + 1) * sizeof *w->first);
  w->status = amp_alloc(w->ctx, (n + 1) * sizeof *w->status);
  w->pace_of = amp_alloc(w->ctx, n * sizeof *w->pace_of);
  if (taken && w->table_of && w->leaf_table && w->order && w->first &&
      w->status && w->pace_of) {
    for (size_t i = 0; i < n; i++) {
      w->leaf_table[i] = leaf;
      leaf += (size_t)w->cases[i].pack->leaves;
    }
    s = sim_tables_make(w, n);
  }
  if (s == AMP_OK)
    s = batch_benches(w);
  if (s == AMP_OK) {
    sim_choose_steps(w, n);
    s = batch_buffers(w, n);
  }
  if (s == AMP_OK) {
    blocks_make(w, n, taken);
    amp_parallel_for(w->ctx, w->blocks, sim_block_work, w);
    for (size_t i = 0; i < w->blocks && s == AMP_OK; i++)
      s = w->status[i];
  }
  batch_free(w, n, taken);
  return s == AMP_OK ? s : amp_fail(err, s, NULL, 0, 0, 0);
}

amp_status amp_simulate (const amp_context *ctx, const amp_sim_case *cases,
                         size_t n, const amp_duty *duty,
                         const amp_sim_options *opt, amp_sim_result *result,
                         amp_sim_sink *sink, void *arg, amp_error *err) {
  sim_batch w = {0};
  amp_status s = sim_check(cases, n, duty, err);
  if (s != AMP_OK || n == 0)
    return s;
  w.ctx = amp_context_or_plain(ctx);
  w.cases = cases;
  w.duty = duty;
  w.opt = opt ? *opt : amp_sim_defaults();
  w.result = result;
  w.sink = sink;
  w.arg = arg;
  return sim_run(&w, n, err);
}
