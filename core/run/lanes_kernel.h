/*
** lanes_kernel.h -- a block of L lanes through a piece of the duty. Included
** by lanes_both.h with L, NAME and ENTRY set; not a header of its own.
** Equations and symbols: docs/model/simulate.md.
**
** Every loop over lanes is free of branches, so that the compiler may turn
** it into vector operations; a lane whose step meets a limit is left as it
** was and done again alone by NAME (limits), by the same functions. Its
** parts, all built L by L:
**   lanes_leaf.h     a pack that is one leaf, as one function
**   lanes_features.h what few packs have: fuses, balancing, heaters, ..
**   lanes_detail.h   leaves of detailed cells
**   lanes_tree.h     leaves to terminals, and the current
**   lanes_ends.h     the end of the step, and room to the limits
**   lanes_take.h     a try, and taking it
**   lanes_limits.h   a step that meets limits
**   lanes_ask.h      what a step of the duty asks
** Here: fields, coefficients, what is kept of a step, and the steps of a
** piece in their order.
*/

#define X(n) double n[L];
typedef struct NAME(leaf) {
  LEAF_FIELDS(X)
} NAME(leaf);
typedef struct NAME(coef) {
  COEF_FIELDS(X)
} NAME(coef);
typedef struct NAME(work) {
  WORK_FIELDS(X)
} NAME(work);
typedef struct NAME(step) {
  STEP_FIELDS(X)
} NAME(step);
/* What changes in one leaf from step to step; its own lies in its fields. */
typedef struct NAME(state) {
  STATE_FIELDS(X)
} NAME(state);
typedef struct NAME(outcome) {
  OUTCOME_FIELDS(X)
} NAME(outcome);
typedef struct NAME(tally) {
  TALLY_FIELDS(X)
} NAME(tally);
typedef struct NAME(line) {
  LINE_FIELDS(X)
} NAME(line);
typedef struct NAME(detail) {
  DETAIL_FIELDS(X)
  NAME(line) line;
} NAME(detail);
typedef struct NAME(lane) {
  LANE_FIELDS(X) SUM_FIELDS(X) EXTREME_FIELDS(X)
} NAME(lane);
#undef X

/* for lanes l0 .. l1-1 */
#define EACH_LANE _Pragma("omp simd") for (int l = l0; l < l1; l++)

/* over all lanes, adding to x: whole numbers, so their order is no matter */
#define SUM_LANES(x)                                                         \
  _Pragma(STRING(omp simd reduction(+ : x))) for (int l = 0; l < L; l++)

#define BIG 1e300
#define SLACK 1e-9 /* of SoC, and V of a group: at a limit */

static inline double NAME (least)(double a, double b) {
  return a < b ? a : b;
}
static inline double NAME (most)(double a, double b) {
  return a > b ? a : b;
}

/* Coefficients of a step of 0 s: what holds at once. */
static void NAME (coef_now)(NAME(coef) * c, int l) {
  c->tau[l] = c->b1[l] = c->b2[l] = c->rp[l] = 0.0;
  c->kq[l] = c->tiq[l] = c->tix[l] = 0.0;
  c->a1[l] = c->a2[l] = c->k1[l] = c->k2[l] = c->at[l] = 1.0;
}

/* Coefficients of a step of 'tau', of one lane. */
static void NAME (coef_of)(const amp_block *b, double *coef, double tau,
                           int l) {
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(coef) *c = (NAME(coef) *)coef + k;
    if (tau == 0.0) {
      NAME(coef_now)(c, l);
      continue;
    }
    double a1 = amp_exp_inline(-tau / p->tau1[l]);
    double a2 = amp_exp_inline(-tau / p->tau2[l]);
    double cool = p->heat[l] > 0.0 ? p->cool[l] / p->heat[l] : 0.0;
    c->tau[l] = tau;
    c->a1[l] = a1;
    c->a2[l] = a2;
    c->b1[l] = (1.0 - a1) * p->r1[l];
    c->b2[l] = (1.0 - a2) * p->r2[l];
    c->k1[l] = (1.0 - a1) * p->tau1[l] / tau;
    c->k2[l] = (1.0 - a2) * p->tau2[l] / tau;
    c->rp[l] = p->r1[l] * (1.0 - c->k1[l]) + p->r2[l] * (1.0 - c->k2[l]);
    c->kq[l] = 0.5 * AMP_ROWS * p->kv[l] * tau * p->iq[l];
    c->tiq[l] = tau * p->iq[l];
    c->tix[l] = AMP_ROWS * c->tiq[l];
    c->at[l] = cool > 0.0 ? amp_exp_inline(-tau * cool) : 0.0;
  }
}

/* The same, where they are not there from the last part or the whole step. */
static const double *NAME (coef_for)(const amp_block *b, double tau, int l) {
  if (((const NAME(coef) *)b->whole)->tau[l] == tau)
    return b->whole;
  if (((const NAME(coef) *)b->part)->tau[l] != tau || tau == 0.0)
    NAME(coef_of)(b, b->part, tau, l);
  return b->part;
}

#include "run/lanes_leaf.h"

#include "run/lanes_features.h"

#include "run/lanes_detail.h"

#include "run/lanes_tree.h"

#include "run/lanes_ends.h"

#include "run/lanes_take.h"

#include "run/lanes_limits.h"

#include "run/lanes_ask.h"

static void NAME (sums_now)(const amp_block *b, double *sum) {
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  sum[0] = g->out[0];
  sum[1] = g->in[0];
  sum[2] = g->charge_out[0];
  sum[3] = g->charge_in[0];
  sum[4] = g->unserved[0] + g->dc_unserved[0];
  sum[5] = g->curtailed[0];
  sum[6] = g->v_time[0];
  if (b->single)
    NAME(leaf_counted)(b, sum);
}

static void NAME (keep_trace)(const amp_block *b, double *row, double now,
                              const double *before) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(leaf) *first = (const NAME(leaf) *)b->leaf;
  double by = 1.0 / b->dt, is[7];
  NAME(sums_now)(b, is);
  for (int k = 0; k < 7; k++)
    is[k] -= before[k];
  row[TRACE_TIME] = now;
  row[TRACE_SOC] = s->soc[0];
  row[TRACE_CURRENT] = (is[2] - is[3]) * by;
  row[TRACE_VOLTAGE] = is[6] * by;
  row[TRACE_TEMP] = first->temp[0];
  row[TRACE_POWER] = (is[0] - is[1]) * by;
  row[TRACE_UNSERVED] = is[4] * by;
  row[TRACE_CURTAILED] = is[5] * by;
  row[TRACE_END] = NAME(voltage_now)(b);
  row[TRACE_LOW] = NAME(least)(b->low, row[TRACE_END]);
}

/* A whole step of all lanes; those with margin < 0 keep their state. Gives
** how many. */
static inline int64_t NAME (whole_step)(const amp_block *b, double now,
                                        bool fresh) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const int l0 = 0, l1 = L;
  int64_t bad = 0;
  for (int l = 0; b->single && l < L; l++)
    bad += NAME(leaf_step)(b, b->whole, b->dt, now, AMP_TAKE_IF, true, fresh,
                           l) >= 0.0
               ? 0
               : 1;
  if (b->single)
    return bad;
  if (b->features)
    NAME(thermostat)(b, 0, L);
  NAME(try)(b, b->whole, b->dt, 0, L);
  for (int k = 0; fresh && k < b->leaves; k++)
    EACH_LANE {
      NAME(warm_next)((NAME(leaf) *)b->leaf + k, l);
    }
  NAME(take)(b, b->dt, now, 0, L);
  SUM_LANES(bad) bad += s->margin[l] >= 0.0 ? 0 : 1;
  return bad;
}

/*
** A step in two halves, then the state as it was: the current of each leaf
** over both into 'flow'. Lanes that meet a limit in it: BIG.
*/
static void NAME (halves)(const amp_block *b) {
  size_t leaf = sizeof(NAME(leaf)) * (size_t)b->leaves;
  size_t more = b->detail ? sizeof(NAME(detail)) * (size_t)b->leaves : 0;
  double *lane = b->saved + leaf / sizeof(double);
  double *detail = lane + sizeof(NAME(lane)) / sizeof(double);
  const NAME(step) *s = (const NAME(step) *)b->step;
  memcpy(b->saved, b->leaf, leaf);
  memcpy(lane, b->lane, sizeof(NAME(lane)));
  if (more > 0)
    memcpy(detail, b->detail, more);
  for (int half = 0; half < 2; half++) {
    NAME(try)(b, b->half, 0.5 * b->dt, 0, L);
    for (int k = 0; k < b->leaves; k++)
      for (int l = 0; l < L; l++) {
        double i = ((const NAME(work) *)b->work + k)->i[l];
        double old = half ? b->flow[k * L + l] : 0.0;
        b->flow[k * L + l] = s->margin[l] >= 0.0 ? old + 0.5 * i : BIG;
      }
    NAME(take_leaves)(b, 0.5 * b->dt, 0, L);
    if (b->features)
      NAME(extra_take)(b, 0.5 * b->dt, 0, L);
  }
  memcpy(b->leaf, b->saved, leaf);
  memcpy(b->lane, lane, sizeof(NAME(lane)));
  if (more > 0)
    memcpy(b->detail, detail, more);
}

/* The whole step just done against its halves: charge that strayed. */
static void NAME (compare)(const amp_block *b) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  for (int l = 0; l < L; l++)
    for (int k = 0; s->margin[l] >= 0.0 && k < b->leaves; k++) {
      double i = ((const NAME(work) *)b->work + k)->i[l];
      if (!(b->flow[k * L + l] < BIG))
        break;
      g->strayed[l] += fabs(i - b->flow[k * L + l]) * b->dt;
      g->measured[l] += fabs(i) * b->dt;
    }
}

static void NAME (keep_leaves)(const amp_block *b, double *row,
                               double *before) {
  for (int k = 0; k < b->leaves; k++, row += AMP_LEAF_TRACE) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    double moved = p->qout[0] - p->qin[0];
    row[LEAF_TRACE_CURRENT] = (moved - before[k]) / b->dt;
    row[LEAF_TRACE_SOC] = p->z[0];
    before[k] = moved;
  }
}

/* Where a run stands: s from the start of the duty, steps done, and s since
** the temperature factors were evaluated. */
typedef struct NAME(clock) {
  double now, warm;
  size_t done;
  double moved[AMP_PACK_LEAVES]; /* C out of each leaf so far, one lane */
} NAME(clock);

/* Coefficients of a step of the block's length, and of half of it. */
static void NAME (coefs)(const amp_block *b, const amp_chunk *c) {
  for (int l = 0; l < L; l++) {
    NAME(coef_of)(b, b->whole, b->dt, l);
    if (c->measure)
      NAME(coef_of)(b, b->half, 0.5 * b->dt, l);
    for (int g = 1, parts = 2; c->grades && g <= c->grades + 1; g++) {
      NAME(coef_of)(b, b->grade[g], b->dt / parts, l);
      parts *= 2;
    }
  }
}

/* One step of all lanes and what is kept of it. */
static void NAME (one_step)(amp_block *b, const amp_chunk *c,
                            NAME(clock) * k, bool fresh) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  double before[7] = {0}, now = k->now;
  if (L == 1 && c->trace)
    NAME(sums_now)(b, before);
  for (int l = 0; b->phase && l < L; l++) /* there already */
    if (NAME(at_charge)(b, s->power[l], l))
      NAME(phase_end)(b, now, l);
  bool halved = c->measure && (k->done + 1) % (size_t)c->measure == 0;
  if (halved)
    NAME(halves)(b);
  b->low = BIG;
  int64_t bad = NAME(whole_step)(b, now, fresh);
  if (halved)
    NAME(compare)(b);
  for (int l = 0; bad > 0 && l < L; l++)
    if (!(s->margin[l] >= 0.0) && b->single)
      NAME(leaf_limits)(b, b->dt, now, l);
    else if (!(s->margin[l] >= 0.0))
      NAME(limits)(b, b->dt, now, l);
  for (int l = 0; c->soc && l < L; l++)
    c->soc[k->done * L + (size_t)l] = s->soc[l];
  if (L == 1 && c->trace)
    NAME(keep_trace)(b, c->trace + k->done * AMP_TRACE, now + b->dt, before);
  if (L == 1 && c->leaf)
    NAME(keep_leaves)(b,
                      c->leaf + k->done * (size_t)b->leaves * AMP_LEAF_TRACE,
                      k->moved);
  k->done++;
}

/* Step t of a test: as many steps as its length needs, whose coefficients
** are worked out anew when their length is another. */
static void NAME (test_step)(amp_block *b, const amp_chunk *c, size_t t,
                             NAME(clock) * k) {
  double from = c->edge[t] - c->edge[0], dt = c->edge[t + 1] - c->edge[t];
  int split = amp_lanes_split(dt, c->dt_max);
  dt /= split;
  if (dt != b->dt) {
    if (b->single)
      NAME(leaf_flush)(b);
    b->dt = dt;
    NAME(coefs)(b, c);
  }
  for (int sub = 0; sub < split; sub++) {
    bool fresh = k->warm >= WARM_TEST;
    k->now = from + sub * dt;
    k->warm = fresh ? dt : k->warm + dt;
    NAME(one_step)(b, c, k, fresh);
  }
}

/* The first step inside a duty step, in parts that grow. */
static void NAME (graded_step)(amp_block *b, const amp_chunk *c,
                               NAME(clock) * k) {
  double *whole = b->whole, *half = b->half, dt = b->dt;
  for (int n = 0; n <= c->grades; n++) {
    int g = n == 0 ? c->grades : c->grades - n + 1;
    b->dt = dt / (double)(1 << g);
    b->whole = b->grade[g];
    b->half = b->grade[g + 1];
    NAME(one_step)(b, c, k, n == 0);
    k->now += b->dt;
  }
  b->whole = whole;
  b->half = half;
  b->dt = dt;
}

void ENTRY (amp_block *b, const amp_chunk *c) {
  NAME(clock) k = {.warm = WARM_TEST};
  size_t every = amp_lanes_warm(b->dt);
  double ac = 0.0, dc = 0.0, each = b->dt * c->split;
  b->phase = NULL;
  b->traced = c->trace != NULL;
  NAME(coefs)(b, c);
  if (b->single && !c->edge && !c->trace && !c->leaf) {
    if (L > 1)
      NAME(leaf_chunk)(b, c);
    else
      NAME(leaf_alone)(b, c);
    return;
  }
  if (b->single)
    NAME(leaf_open)(b);
  for (int j = 0; L == 1 && c->leaf && j < b->leaves; j++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + j;
    k.moved[j] = p->qout[0] - p->qin[0];
  }
  for (size_t t = c->first; t < c->last; t++) {
    double wide = c->edge ? c->edge[t + 1] - c->edge[t] : each;
    ac += c->ac[t] * wide;
    dc += c->dc[t] * wide;
    b->amps = c->amps && c->amps[t] == c->amps[t];
    if (b->curved)
      NAME(efficiencies)(b, c->ac[t]);
    NAME(ask)(b, c, t, 0, L);
    if (b->amps)
      NAME(ask_amps)(b, c->amps[t], 0, L);
    if (c->phase)
      NAME(ask_phase)(b, c, t);
    if (c->edge) {
      NAME(test_step)(b, c, t, &k);
      continue;
    }
    for (int sub = 0; sub < c->split; sub++) {
      k.now = ((double)t * c->split + sub) * b->dt;
      if (sub == 0 && c->grades) {
        NAME(graded_step)(b, c, &k);
        continue;
      }
      NAME(one_step)(b, c, &k, k.done % every == 0);
    }
  }
  if (b->single)
    NAME(leaf_close)(b, ac, dc);
}

#undef EACH_LANE
#undef EACH_LEAF
#undef OPEN_R
#undef DEAD_R
#undef LIVE
#undef WORN_OUT
#undef NEAR_K
#undef EACH_DETAILED
#undef NEWTON_MOST
#undef SETTLED
#undef SETTLED_PEAK
#undef TWO_R_OVER_F
#undef SUM_LANES
#undef BIG
#undef SLACK
