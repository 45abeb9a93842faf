/*
** sim_trace.c -- one case with every step kept, column by column.
*/
#include "run/sim_parts.h"
#include <math.h>
#include <string.h>

size_t amp_trace_row (const amp_duty *duty, double dt_max, size_t i) {
  double most = sim_step_most(dt_max);
  size_t rows = 0;
  if (!duty->edge)
    return i * (size_t)amp_lanes_split(duty->dt, most);
  for (size_t k = 0; k < i; k++)
    rows += (size_t)amp_lanes_split(amp_duty_length(duty, k), most);
  return rows;
}

struct amp_trace {
  size_t n, size, leaves, phases;
  sim_pace step;
  amp_leaf_sum *leaf;
  double *column[AMP_TRACE], *ended;
  double *leaf_column; /* [leaves][AMP_LEAF_TRACE][n], or NULL */
  double data[];
};

static const char *const trace_name[AMP_TRACE] = {
    "time_s",  "soc",        "current_a",   "voltage_v",     "temp_k",
    "power_w", "unserved_w", "curtailed_w", "voltage_end_v", "voltage_low_v"};

/* Rows of 'fields' numbers as columns of n. */
static void turn (const double *row, size_t n, size_t fields, double *to) {
  for (size_t c = 0; c < fields; c++)
    for (size_t i = 0; i < n; i++)
      to[c * n + i] = row[i * fields + c];
}

static amp_trace *trace_from (const sim_batch *w) {
  size_t n = w->trace_steps, leaves = (size_t)w->cases[0].pack->leaves;
  size_t own = w->leaf_trace ? leaves * AMP_LEAF_TRACE : 0;
  size_t sums = leaves * sizeof(amp_leaf_sum), phases = w->duty->phases;
  size_t numbers = n * (AMP_TRACE + own) + phases;
  size_t size = sizeof(amp_trace) + numbers * sizeof(double) + sums;
  amp_trace *t = amp_alloc(w->ctx, size);
  if (!t)
    return NULL;
  t->n = n;
  t->size = size;
  t->leaves = leaves;
  t->step = w->trace_pace;
  turn(w->trace, n, AMP_TRACE, t->data);
  for (int c = 0; c < AMP_TRACE; c++)
    t->column[c] = t->data + (size_t)c * n;
  t->leaf_column = own ? t->data + AMP_TRACE * n : NULL;
  if (own)
    turn(w->leaf_trace, n, own, t->leaf_column);
  t->phases = phases;
  t->ended = t->data + n * (AMP_TRACE + own);
  if (phases)
    memcpy(t->ended, w->ended, phases * sizeof *t->ended);
  t->leaf = (amp_leaf_sum *)(t->data + numbers);
  memcpy(t->leaf, w->leaf_sum, sums);
  return t;
}

/* Ends of the duty's phases: by their time, until something else ends them.
** One more than there are. */
static double *ends_new (const amp_context *ctx, const amp_duty *d) {
  double *e = amp_alloc(ctx, (d->phases + 1) * sizeof *e);
  for (size_t k = 0; e && k < d->phases; k++)
    e[k] = amp_duty_start(d, d->phase[k].last);
  return e;
}

/* What the rows of a trace and their copy take, as a figure to go by. */
static amp_status no_trace (const amp_duty *duty, amp_error *err) {
  double mb = 2.0 * (double)duty->n * AMP_TRACE * sizeof(double) / 1e6;
  return amp_failf(err, AMP_ENOMEM, NULL,
                   "no memory for %zu steps of %g s, some %g MB: a longer "
                   "step_s needs less",
                   duty->n, duty->dt, ceil(mb));
}

amp_status amp_simulate_trace (const amp_context *ctx, const amp_sim_case *c,
                               const amp_duty *duty,
                               const amp_sim_options *opt, amp_trace **out,
                               amp_sim_result *result, amp_error *err) {
  sim_batch w = {0};
  amp_leaf_sum sum[AMP_PACK_LEAVES];
  amp_status s = sim_check(c, 1, duty, err);
  if (s != AMP_OK)
    return s;
  w.ctx = amp_context_or_plain(ctx);
  w.cases = c;
  w.duty = duty;
  w.opt = opt ? *opt : amp_sim_defaults();
  w.result = result;
  w.want_trace = true;
  w.leaf_sum = sum;
  w.ended = ends_new(w.ctx, duty);
  if (!w.ended)
    return amp_fail(err, AMP_ENOMEM, NULL, 0, 0, 0);
  s = sim_run(&w, 1, err);
  if (s == AMP_OK && !(*out = trace_from(&w)))
    s = amp_fail(err, AMP_ENOMEM, NULL, 0, 0, 0);
  amp_free(w.ctx, w.trace, w.trace_steps * AMP_TRACE * sizeof *w.trace);
  amp_free(w.ctx, w.leaf_trace, w.leaf_size);
  amp_free(w.ctx, w.ended, (duty->phases + 1) * sizeof *w.ended);
  return s == AMP_ENOMEM ? no_trace(duty, err) : s;
}

void amp_trace_free (const amp_context *ctx, amp_trace *t) {
  if (t)
    amp_free(ctx, t, t->size);
}

size_t amp_trace_length (const amp_trace *t) {
  return t->n;
}

double amp_trace_phase_end (const amp_trace *t, size_t i) {
  return i < t->phases ? t->ended[i] : -1.0;
}

size_t amp_trace_begin (const amp_trace *t, const amp_duty *duty, size_t i) {
  return amp_trace_row(duty, t->step.step, i) + i * (size_t)t->step.grades;
}

size_t amp_trace_leaves (const amp_trace *t) {
  return t->leaves;
}

const amp_leaf_sum *amp_trace_leaf (const amp_trace *t, size_t leaf) {
  return leaf < t->leaves ? &t->leaf[leaf] : NULL;
}

const double *amp_trace_leaf_column (const amp_trace *t, size_t leaf,
                                     const char *name) {
  size_t c = !strcmp(name, "soc") ? LEAF_TRACE_SOC : LEAF_TRACE_CURRENT;
  if (!t->leaf_column || leaf >= t->leaves ||
      (c == LEAF_TRACE_CURRENT && strcmp(name, "current_a")))
    return NULL;
  return t->leaf_column + (leaf * AMP_LEAF_TRACE + c) * t->n;
}

const double *amp_trace_column (const amp_trace *t, const char *name) {
  for (int c = 0; c < AMP_TRACE; c++)
    if (!strcmp(name, trace_name[c]))
      return t->column[c];
  return NULL;
}
