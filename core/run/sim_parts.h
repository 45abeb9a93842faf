/*
** sim_parts.h -- what the files of a simulation share: a batch of cases, the
** bench of one worker, and the fields of a block by name. Private to
** core/run.
**   simulate.c      a batch: its memory, its blocks, the call
**   sim_check.c     duty and cases against their ranges
**   sim_converter.c efficiency by load
**   sim_tables.c    the chemistry's curves as rows to look up
**   sim_fill.c      a block's memory, and a case into its lane
**   sim_step.c      how short a step unequal strings want
**   sim_block.c     one block through the duty, month by month
**   sim_cycles.c    cycles of each lane
**   sim_sums.c      what a lane has summed, into the results
**   sim_trace.c     one case, every step kept
** The kernel that steps a block: lanes.h.
*/
#ifndef AMP_RUN_SIM_PARTS_H
#define AMP_RUN_SIM_PARTS_H

#include "run/lanes.h"
#include "run/simulate.h"

/* The cycles that a month closed in one lane. */
typedef struct sim_cycles {
  const amp_context *ctx;
  amp_cycle *cycle;
  size_t n, room;
  bool full; /* no memory */
} sim_cycles;

/* What a worker owns: one block and the buffers around it. A month of 31
** days in steps of dt_max is the longest piece that is kept for cycle
** counting ('soc'); nothing else grows with the duty. */
typedef struct sim_bench {
  amp_block block;
  double *memory, *soc;
  const amp_group **of;
  size_t size, soc_size, of_size;
  sim_cycles list[AMP_LANES];
  amp_rainflow *flow[AMP_LANES];
} sim_bench;

/* The steps inside a step of the duty: at most 'step' s each, the first cut
** finer 'grades' times (lanes.h). */
typedef struct sim_pace {
  double step;
  int grades;
} sim_pace;

typedef struct sim_batch {
  const amp_context *ctx;
  const amp_sim_case *cases;
  const amp_duty *duty;
  amp_sim_options opt;
  amp_sim_result *result;
  amp_sim_sink *sink;
  void *arg;
  double *table;
  size_t tables, table_size;
  size_t *order; /* cases in the order of their blocks */
  size_t *first; /* block i: order[first[i]] .. order[first[i+1]-1] */
  size_t blocks;
  size_t *leaf_table; /* [case] offset in table_of[] */
  int *table_of;      /* row of each leaf's table, case by case */
  size_t all_leaves;
  int most_leaves, most_nodes;
  double dt_max;
  bool detailed;     /* any case has such leaves */
  sim_pace *pace_of; /* [case] */
  sim_bench *worker;
  size_t workers;
  amp_status *status; /* per block */
  bool want_trace;
  double *trace, *leaf_trace, *ended;
  size_t trace_steps, leaf_size;
  sim_pace trace_pace;
  amp_leaf_sum *leaf_sum;
} sim_batch;

/* ---- a batch: simulate.c ---- */

/* 'dt_max' of the options in s, 0 being the usual 600. */
double sim_step_most (double dt_max);

/* Run the batch, whose first fields say what of. */
amp_status sim_run (sim_batch *w, size_t n, amp_error *err);

/* What the pack uses of lanes_features.h: AMP_USES_.. */
unsigned sim_uses (const amp_pack *p);

/* Has it leaves of detailed cells? Does anything in it share a current? */
bool sim_detailed (const amp_pack *p);
bool sim_shares (const amp_pack *p);

/* Has the converter an efficiency by load? */
bool sim_has_curve (const amp_sim_case *c);

amp_status sim_check (const amp_sim_case *cases, size_t n,
                      const amp_duty *duty, amp_error *err);

/* ---- lanes before they run: sim_tables.c, sim_fill.c ---- */

/* From a cache line's start: a vector or a table's row lies in one line. */
double *sim_at_line (double *p);

/* Give every leaf its table; leaves that share curve and shape share it. */
amp_status sim_tables_make (sim_batch *w, size_t n);

/* Memory for any block of the batch; false: there is none. A bench that was
** not made in full may be freed. */
bool sim_bench_new (const sim_batch *w, sim_bench *b);
void sim_bench_free (const sim_batch *w, sim_bench *b);

/* What is kept of a month for cycle counting, where anybody counts. */
bool sim_bench_soc (const sim_batch *w, sim_bench *b, size_t longest);

/* Lay the fields of a block of 'lanes' cases like 'first' out in the bench's
** memory, in steps of at most 'step' s. */
void sim_bench_lay (const sim_batch *w, sim_bench *b,
                    const amp_sim_case *first, int lanes, double step);

/* Case i into lane l. */
void sim_fill_lane (const sim_batch *w, amp_block *b, int l, size_t i);

/* ---- running: sim_step.c, sim_block.c, sim_cycles.c ---- */

/* The pace of each case, the same whatever else is in the batch. */
void sim_choose_steps (sim_batch *w, size_t n);

/* Block i of the batch 'arg', by one worker. */
void sim_block_work (void *arg, size_t i, size_t worker);

amp_lanes_run *sim_kernel (amp_isa isa, int lanes);
amp_chunk sim_chunk (const sim_batch *w, size_t first, size_t last,
                     sim_pace step);

/* Steps inside the duty's steps first .. last-1. */
size_t sim_rows (const sim_batch *w, sim_pace step, size_t first,
                 size_t last);

amp_status sim_flows_open (const sim_batch *w, sim_bench *k, int used);
void sim_flows_close (sim_bench *k);

/* A month's charge of the lanes in use to their counts. */
amp_status sim_flow_month (sim_bench *k, int used, size_t steps, bool last);

/* ---- sums: sim_sums.c ---- */

/* All sums at 0 and all extremes at none, fuses whole. */
void sim_sums_start (amp_block *b);

/* J in the cells against their open-circuit voltage; J in the pairs; C. */
void sim_stored (const amp_block *b, int l, double *chem, double *pairs,
                 double *charge);
double sim_mean_soc (const amp_block *b, int l);

/* Groups in series between the terminals. */
int sim_series_groups (const amp_pack *p, int node);

/* A month's sums out of the lane, then those that are not by month, where
** the lane starts again at 0. */
void sim_month_take (amp_block *b, int l, double groups, double time,
                     amp_sim_month *m);
void sim_month_add (amp_sim_month *sum, const amp_sim_month *m);
void sim_month_close (amp_block *b, int l, amp_sim_result *r,
                      double *leaf_charge, double *measured);
void sim_extremes_take (const amp_block *b, int l, amp_sim_result *r);

/* Leaf k of the one lane of a trace; and of a pack that is the leaf, whose
** lane says it all. */
void sim_leaf_take (const amp_block *b, int k, amp_leaf_sum *s);
void sim_leaf_plain (const amp_sim_result *r, amp_leaf_sum *s);

/* ---- the fields of a block ---- */

enum { SIM_DETAILED = DETAIL_COUNT + LINE_COUNT };

static inline double *sim_leaf (const amp_block *b, int leaf, int field,
                                int lane) {
  return b->leaf +
         ((size_t)leaf * LEAF_COUNT + (size_t)field) * (size_t)b->lanes +
         lane;
}

static inline double *sim_lane (const amp_block *b, int field, int lane) {
  return b->lane + (size_t)field * (size_t)b->lanes + lane;
}

static inline double *sim_detail (const amp_block *b, int leaf, int field,
                                  int lane) {
  return b->detail +
         ((size_t)leaf * SIM_DETAILED + (size_t)field) * (size_t)b->lanes +
         lane;
}

#endif
