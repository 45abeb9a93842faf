/*
** lanes_kernel.h -- the step of a block of L lanes, with its limits as
** events. Included by lanes_both.h with L, NAME and ENTRY set; not a header
** of its own. Equations and symbols: docs/model/simulate.md.
**
** Every loop over lanes is free of branches, so that the compiler may turn
** it into vector operations; a lane whose step meets a limit is left as it
** was and done again alone by NAME (limits), by the same functions.
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

/* Mean voltage e - r i of each leaf over 'tau': order 2, the mean of the RC
** pairs exact and the open-circuit voltage along its tangent. */
static inline void NAME (leaf_terms)(const amp_block *b, const double *coef,
                                     int l0, int l1) {
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(coef) *c = (const NAME(coef) *)coef + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    if (b->detail && b->shape->leaf[k].detailed)
      continue;
    EACH_LANE {
      double hot = NAME(warm_factor)(p, l);
      w->r0[l] = p->kr[l] * p->shape[l] * hot + p->rj[l];
      w->e[l] =
          p->kv[l] * p->ocv[l] - c->k1[l] * p->v1[l] - c->k2[l] * p->v2[l];
      w->r[l] = w->r0[l] + c->rp[l] + c->kq[l] * p->slope[l];
    }
  }
}

/* e and r of every level from its leaves' (node lists parents first). */
static inline void NAME (tree_up)(const amp_block *b, int l0, int l1) {
  for (int n = b->nodes - 1; n >= 0; n--) {
    const amp_node *node = &b->node[n];
    double *e = b->e + (size_t)n * L, *r = b->r + (size_t)n * L;
    if (node->level == AMP_LEAF) {
      const NAME(work) *w = (const NAME(work) *)b->work + node->first;
      EACH_LANE {
        e[l] = w->e[l];
        r[l] = w->r[l];
      }
      continue;
    }
    EACH_LANE {
      e[l] = 0.0;
      r[l] = 0.0;
    }
    for (int k = node->first; k < node->first + node->count; k++) {
      const double *ek = b->e + (size_t)k * L, *rk = b->r + (size_t)k * L;
      if (node->level == AMP_SERIES)
        EACH_LANE {
          e[l] += ek[l];
          r[l] += rk[l];
        }
      else
        EACH_LANE {
          e[l] += ek[l] / rk[l];
          r[l] += 1.0 / rk[l];
        }
    }
    if (node->level == AMP_PARALLEL)
      EACH_LANE {
        r[l] = 1.0 / r[l];
        e[l] *= r[l];
      }
  }
}

/* Current of every level as a I + b of the pack's current I. */
static inline void NAME (tree_down)(const amp_block *b, int l0, int l1) {
  EACH_LANE {
    b->a[l] = 1.0;
    b->b[l] = 0.0;
  }
  for (int n = 0; n < b->nodes; n++) {
    const amp_node *node = &b->node[n];
    const double *e = b->e + (size_t)n * L, *r = b->r + (size_t)n * L;
    const double *a = b->a + (size_t)n * L, *c = b->b + (size_t)n * L;
    if (node->level == AMP_LEAF)
      continue;
    for (int k = node->first; k < node->first + node->count; k++) {
      const double *ek = b->e + (size_t)k * L, *rk = b->r + (size_t)k * L;
      double *ak = b->a + (size_t)k * L, *ck = b->b + (size_t)k * L;
      if (node->level == AMP_SERIES)
        EACH_LANE {
          ak[l] = a[l];
          ck[l] = c[l];
        }
      else
        EACH_LANE {
          double share = r[l] / rk[l];
          ak[l] = share * a[l];
          ck[l] = share * c[l] + (ek[l] - e[l]) / rk[l];
        }
    }
  }
}

/* lo and hi: the pack's current at which a leaf or the converter sits on a
** limit it has already met; BIG where none acts. */
static inline void NAME (bounds)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double hi = (b->e[l] - g->rvmin[l]) / b->r[l];
    double lo = (b->e[l] - g->rvmax[l]) / b->r[l];
    s->hi[l] = g->held[l] > 0.5 ? NAME(most)(hi, 0.0) : BIG;
    s->lo[l] = g->held[l] < -0.5 ? NAME(least)(lo, 0.0) : -BIG;
  }
  for (int n = 0; n < b->nodes; n++) {
    if (b->node[n].level != AMP_LEAF)
      continue;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + b->node[n].first;
    const NAME(work) *w = (const NAME(work) *)b->work + b->node[n].first;
    const double *a = b->a + (size_t)n * L, *c = b->b + (size_t)n * L;
    EACH_LANE {
      double ia = 1.0 / a[l];
      double hi = ((w->e[l] - p->vmin[l]) / w->r[l] - c[l]) * ia;
      double lo = ((w->e[l] - p->vmax[l]) / w->r[l] - c[l]) * ia;
      double rest = -(c[l] + w->bl[l]) * ia;
      hi = g->held[l] > 0.5 ? NAME(most)(hi, 0.0) : BIG;
      lo = g->held[l] < -0.5 ? NAME(least)(lo, 0.0) : -BIG;
      hi = p->z[l] <= p->zmin[l] + SLACK
               ? NAME(least)(hi, NAME(most)(rest, 0.0))
               : hi;
      lo = p->z[l] >= p->zmax[l] - SLACK
               ? NAME(most)(lo, NAME(least)(rest, 0.0))
               : lo;
      hi = a[l] > LIVE ? hi : BIG; /* behind an open fuse */
      lo = a[l] > LIVE ? lo : -BIG;
      s->hi[l] = NAME(least)(s->hi[l], hi);
      s->lo[l] = NAME(most)(s->lo[l], lo);
    }
  }
}

/* The pack's current: that of the power asked over the step's mean voltage,
** V I = P with V = e - r I, inside the bounds. */
static inline void NAME (current)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double e = b->e[l], r = b->r[l], p = s->power[l];
    double d = e * e - 4.0 * r * p;
    double root = sqrt(NAME(most)(d, 0.0));
    bool dead = r > DEAD_R;
    double want = d >= 0.0 ? 2.0 * p / (e + root) : 0.5 * e / r;
    want = dead ? 0.0 : want;
    double i = NAME(most)(NAME(least)(want, s->hi[l]), s->lo[l]);
    double held = g->held[l];
    s->i[l] = i;
    s->v[l] = e - r * i;
    s->limited[l] = ((d < 0.0) | (dead & (p != 0.0)) ? 1.0 : 0.0) +
                    (i != want ? 1.0 : 0.0);
    s->keep[l] = i != want && held * p > 0.0 ? held : 0.0;
    s->margin[l] = BIG;
  }
}

/* The same where the current itself is asked. The power asked is what it
** comes to at the voltage that there is: never of the other sign. */
static inline void NAME (current_held)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double e = b->e[l], r = b->r[l], want = s->want[l];
    double i = NAME(most)(NAME(least)(want, s->hi[l]), s->lo[l]);
    i = r > DEAD_R ? 0.0 : i; /* behind open fuses */
    double held = g->held[l], v = e - r * i;
    double power = want * NAME(most)(v, 1e-3);
    s->i[l] = i;
    s->v[l] = v;
    s->power[l] = power;
    s->dc[l] = NAME(most)(power, 0.0);
    s->limited[l] = i != want ? 1.0 : 0.0;
    s->keep[l] = i != want && held * want > 0.0 ? held : 0.0;
    s->margin[l] = BIG;
  }
}

/* End of the step of every leaf, from its current; and the room left. */
static inline void NAME (leaf_ends)(const amp_block *b, const double *coef,
                                    double tau, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  EACH_LANE {
    s->term[l] = 0.0;
  }
  for (int n = 0; n < b->nodes; n++) {
    if (b->node[n].level != AMP_LEAF)
      continue;
    int k = b->node[n].first;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(coef) *c = (const NAME(coef) *)coef + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    const double *a = b->a + (size_t)n * L, *base = b->b + (size_t)n * L;
    if (b->detail && b->shape->leaf[k].detailed)
      continue;
    EACH_LANE {
      double i = a[l] * s->i[l] + base[l] + w->bl[l];
      double z = p->z[l] - i * c->tiq[l];
      NAME(look) at = NAME(look_up)(b->table, p->base[l], z);
      double pairs = c->k1[l] * p->v1[l] + c->k2[l] * p->v2[l];
      double warm = i * (i * (w->r0[l] + c->rp[l]) + pairs);
      double t_end = s->tamb[l] + warm * p->icool[l];
      w->i[l] = i;
      w->z[l] = z;
      w->v1[l] = c->a1[l] * p->v1[l] + c->b1[l] * i;
      w->v2[l] = c->a2[l] * p->v2[l] + c->b2[l] * i;
      w->temp[l] = t_end + c->at[l] * (p->temp[l] - t_end);
      w->rend[l] =
          p->kr[l] * at.shape * NAME(warm_factor)(p, l) + p->rj[l];
      w->ocv[l] = at.ocv;
      w->slope[l] = at.slope;
      w->shape[l] = at.shape;
      w->f[l] = at.f;
      w->chem[l] = p->kvq[l] * (p->f[l] - w->f[l]);
      w->heat[l] = warm * tau;
      s->term[l] += w->chem[l] - w->heat[l];
    }
  }
}

/* Room to the nearest limit at the end of the step, < 0: passed inside it.
** A voltage limit that holds already is not asked again. */
static inline void NAME (room)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  for (int n = b->nodes - 1; n >= 0; n--) {
    if (b->node[n].level != AMP_LEAF)
      continue;
    int k = b->node[n].first;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    EACH_LANE {
      double open = p->kv[l] * w->ocv[l] - w->v1[l] - w->v2[l];
      double v = open - w->rend[l] * w->i[l];
      double low =
          NAME(least)(w->z[l] - p->zmin[l],
                      s->keep[l] > 0.5 ? BIG : (v - p->vmin[l]) * p->ikv[l]);
      double high =
          NAME(least)(p->zmax[l] - w->z[l],
                      s->keep[l] < -0.5 ? BIG : (p->vmax[l] - v) * p->ikv[l]);
      double room = s->i[l] > 0.0 && w->i[l] > LIVE    ? low
                    : s->i[l] < 0.0 && w->i[l] < -LIVE ? high
                                                       : BIG;
      s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
      w->e[l] = open; /* for the converter's limit: the tree at the end */
      w->r[l] = w->rend[l];
    }
  }
  if (b->features)
    NAME(extra_open)(b, l0, l1);
  NAME(tree_up)(b, l0, l1);
  EACH_LANE {
    double v = b->e[l] - b->r[l] * s->i[l];
    double low = s->keep[l] > 0.5 ? BIG : v - g->rvmin[l];
    double high = s->keep[l] < -0.5 ? BIG : g->rvmax[l] - v;
    double room = s->i[l] > 0.0 ? low : s->i[l] < 0.0 ? high : BIG;
    s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
  }
}

/* Mean SoC by charge, from fields 'at' the leaves or at the step's end. */
static inline void NAME (mean_soc)(const amp_block *b, bool end, double *mean,
                                   int l0, int l1) {
  double q[L];
  EACH_LANE {
    q[l] = 0.0;
    mean[l] = 0.0;
  }
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    EACH_LANE {
      q[l] += p->q[l];
      mean[l] += p->q[l] * (end ? w->z[l] : p->z[l]);
    }
  }
  EACH_LANE {
    mean[l] /= q[l];
  }
}

/* Room to what ends a phase besides the limits: its SoC; and where a voltage
** holds, the current that goes on holding it at the end, down to the taper.
** The tree at the end of the step is there from NAME (room). */
static inline void NAME (phase_room)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  double taper = b->phase->taper, until = b->phase->until_soc, soc[L];
  double itaper = taper > 0.0 ? 1.0 / taper : 0.0;
  NAME(mean_soc)(b, true, soc, l0, l1);
  EACH_LANE {
    double sign = s->i[l] > 0.0 ? 1.0 : -1.0;
    double next = (b->e[l] - s->v[l]) / b->r[l] * sign;
    double fall = itaper * (next - taper), left = (soc[l] - until) * sign;
    double room = itaper > 0.0 && s->keep[l] != 0.0 ? fall : BIG;
    room = left < room ? left : room; /* NaN: no SoC ends it */
    room = s->i[l] == 0.0 ? BIG : room;
    s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
  }
}

/* Is a leaf at the charge that a current of this sign goes to? */
static bool NAME (at_charge)(const amp_block *b, double sign, int l) {
  for (int k = 0; sign != 0.0 && k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    double left = sign > 0.0 ? p->z[l] - p->zmin[l] : p->zmax[l] - p->z[l];
    if (left <= 2.0 * SLACK)
      return true;
  }
  return false;
}

/* Where a phase has come to a limit: is it over, or does the limit hold? Only
** a voltage holds, and only down to a taper. */
static bool NAME (phase_ends)(const amp_block *b, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double soc[L], sign = s->power[l] > 0.0 ? 1.0 : -1.0;
  if (!b->phase)
    return false;
  NAME(mean_soc)(b, false, soc, l, l + 1);
  return !(b->phase->taper > 0.0) || g->held[l] * sign > 0.0 ||
         NAME(at_charge)(b, sign, l) ||
         (soc[l] - b->phase->until_soc) * sign <= 2.0 * SLACK;
}

static void NAME (phase_end)(const amp_block *b, double now, int l) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  if (s->power[l] > 0.0 && g->first_empty[l] < 0.0)
    g->first_empty[l] = now;
  g->over[l] = 1.0;
  g->held[l] = 0.0;
  s->want[l] = 0.0;
  s->power[l] = 0.0;
  s->dc[l] = 0.0;
  if (b->ended)
    *b->ended = now;
}

/* The pack's current from each leaf's e - r i. */
static inline void NAME (solve)(const amp_block *b, const double *coef,
                                int l0, int l1) {
  NAME(leaf_terms)(b, coef, l0, l1);
  if (b->detail)
    NAME(detail_terms)(b, l0, l1);
  if (b->features)
    NAME(extra_terms)(b, coef, l0, l1);
  NAME(tree_up)(b, l0, l1);
  NAME(tree_down)(b, l0, l1);
  NAME(bounds)(b, l0, l1);
  if (b->features)
    NAME(extra_bounds)(b, l0, l1);
  if (b->amps)
    NAME(current_held)(b, l0, l1);
  else
    NAME(current)(b, l0, l1);
}

/* One try of 'tau' from the present state; nothing of the state moves. */
static inline void NAME (try)(const amp_block *b, const double *coef,
                              double tau, int l0, int l1) {
  if (b->detail)
    NAME(detail_open)(b, tau, l0, l1);
  NAME(solve)(b, coef, l0, l1);
  for (int n = 1; b->detail && !NAME(detail_settled)(b, n, l0, l1) &&
                  n < NEWTON_MOST;
       n++)
    NAME(solve)(b, coef, l0, l1);
  if (b->features)
    NAME(extra_current)(b, l0, l1);
  NAME(leaf_ends)(b, coef, tau, l0, l1);
  if (b->detail)
    NAME(detail_ends)(b, coef, tau, l0, l1);
  if (b->features)
    NAME(extra_ends)(b, coef, tau, l0, l1);
  NAME(room)(b, l0, l1);
  if (b->detail)
    NAME(detail_room)(b, l0, l1);
  if (b->phase)
    NAME(phase_room)(b, l0, l1);
  if (b->features)
    NAME(extra_room)(b, l0, l1);
}

/* Take the try: state of the leaves, mean SoC by charge into s->soc. Lanes
** with margin < 0 keep their state. */
static inline void NAME (take_leaves)(const amp_block *b, double tau, int l0,
                                      int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double all[L], soc[L], old[L];
  EACH_LANE {
    all[l] = 0.0;
    soc[l] = 0.0;
    old[l] = 0.0;
  }
  for (int k = 0; k < b->leaves; k++) {
    NAME(leaf) *p = (NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    EACH_LANE {
      bool ok = s->margin[l] >= 0.0;
      double z0 = p->z[l], z1 = w->z[l], t0 = p->temp[l], t1 = w->temp[l];
      double v1 = w->v1[l], v2 = w->v2[l], u1 = p->v1[l], u2 = p->v2[l];
      double ocv = w->ocv[l], slope = w->slope[l], shape = w->shape[l];
      double f = w->f[l], ocv0 = p->ocv[l], slope0 = p->slope[l];
      double shape0 = p->shape[l], f0 = p->f[l];
      double heat = w->heat[l], charge = w->i[l] * tau;
      z1 = ok ? z1 : z0;
      t1 = ok ? t1 : t0;
      p->z[l] = z1;
      p->temp[l] = t1;
      p->v1[l] = ok ? v1 : u1;
      p->v2[l] = ok ? v2 : u2;
      p->ocv[l] = ok ? ocv : ocv0;
      p->slope[l] = ok ? slope : slope0;
      p->shape[l] = ok ? shape : shape0;
      p->f[l] = ok ? f : f0;
      g->loss[l] += ok ? heat : 0.0;
      g->leaf_charge[l] += ok ? charge : 0.0;
      g->soc_low[l] = NAME(least)(g->soc_low[l], z1);
      g->soc_high[l] = NAME(most)(g->soc_high[l], z1);
      g->temp_low[l] = NAME(least)(g->temp_low[l], t1);
      g->temp_high[l] = NAME(most)(g->temp_high[l], t1);
      all[l] += p->q[l];
      soc[l] += p->q[l] * z1;
      old[l] += p->q[l] * z0;
    }
  }
  const NAME(leaf) *first = (const NAME(leaf) *)b->leaf;
  EACH_LANE {
    double on = s->margin[l] >= 0.0 ? tau : 0.0;
    double mean = 0.5 * (soc[l] + old[l]) / all[l];
    s->soc[l] = soc[l] / all[l];
    g->soc_time[l] += mean * on;
    g->temp_time[l] += first->temp[l] * on;
  }
  if (b->detail)
    NAME(detail_take)(b, l0, l1);
}

/* Take the try: sums of the lane. 'now' s: the start of the step. */
static inline void NAME (take_sums)(const amp_block *b, double tau,
                                    double now, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  bool phase = b->phase != NULL; /* whose limits are meant: nothing lacks */
  EACH_LANE {
    bool ok = s->margin[l] >= 0.0, limited = s->limited[l] > 0.5;
    double on = ok ? tau : 0.0, i = s->i[l];
    double got = s->term[l] / tau, v = s->v[l], keep = s->keep[l];
    double asked = (phase & limited) ? got : s->power[l];
    double load = (phase & limited) ? NAME(most)(got, 0.0) : s->dc[l];
    double term = ok ? s->term[l] : 0.0;
    bool drawn = asked > 0.0;
    double gap = drawn ? asked - got : got - asked;
    double missing = limited ? NAME(most)(gap, 0.0) : 0.0;
    double short_w = drawn ? missing : 0.0;
    double ac = NAME(least)(short_w * g->eta[l], s->ac[l]);
    double dc =
        NAME(least)(NAME(most)(short_w - ac * g->ieta[l], 0.0), load);
    double unmet = ac + s->over[l];
    double spill = (drawn ? 0.0 : missing) * g->ice[l];
    double late = unmet + dc > 0.0 ? on : 0.0;
    double lost = spill > 0.0 ? on : 0.0;
    double error = limited ? 0.0 : term - asked * on;
    double held = g->held[l], first = g->first_unserved[l];
    double last = g->last_unserved[l], spilt = g->first_curtailed[l];
    double begun = late > 0.0 ? now : -1.0, lost_at = lost > 0.0 ? now : -1.0;
    double empty = g->first_empty[l];
    double empty_at = short_w * on > 0.0 ? now : -1.0;
    double i_hi = ok ? i : -BIG, i_lo = ok ? i : BIG;
    double v_hi = ok ? v : -BIG, v_lo = ok ? v : BIG;
    g->held[l] = ok ? keep : held;
    g->served[l] += (s->ac[l] - ac) * on;
    g->unserved[l] += unmet * on;
    g->dc_served[l] += (load - dc) * on;
    g->dc_unserved[l] += dc * on;
    g->curtailed[l] += spill * on;
    g->out[l] += NAME(most)(term, 0.0);
    g->in[l] += NAME(most)(-term, 0.0);
    g->charge_out[l] += NAME(most)(i, 0.0) * on;
    g->charge_in[l] += NAME(most)(-i, 0.0) * on;
    g->v_time[l] += v * on;
    g->v2_time[l] += v * v * on;
    g->discharge_time[l] += i > 0.0 ? on : 0.0;
    g->unserved_time[l] += late;
    g->power_residual[l] += error;
    g->i_max[l] = NAME(most)(g->i_max[l], i_hi);
    g->i_min[l] = NAME(least)(g->i_min[l], i_lo);
    g->v_low[l] = NAME(least)(g->v_low[l], v_lo);
    g->v_high[l] = NAME(most)(g->v_high[l], v_hi);
    g->first_unserved[l] = first < 0.0 ? begun : first;
    g->last_unserved[l] = late > 0.0 ? now + tau : last;
    g->first_curtailed[l] = spilt < 0.0 ? lost_at : spilt;
    g->first_empty[l] = empty < 0.0 ? empty_at : empty;
  }
}

/* Take a try of 'tau' whose sums begin at 'now', and what it costs. */
static void NAME (take)(const amp_block *b, double tau, double now, int l0,
                        int l1) {
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double lack[L], spilt[L];
  NAME(take_leaves)(b, tau, l0, l1);
  if (!b->features && !b->stats) {
    NAME(take_sums)(b, tau, now, l0, l1);
    return;
  }
  NAME(extra_take)(b, tau, l0, l1);
  for (int l = l0; l < l1; l++) {
    lack[l] = g->unserved[l] + g->dc_unserved[l];
    spilt[l] = g->curtailed[l];
  }
  NAME(take_sums)(b, tau, now, l0, l1);
  if (b->features)
    NAME(extra_cost)(b, tau, now, lack, spilt, l0, l1);
}

static double NAME (try_part)(const amp_block *b, double tau, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const double *coef = NAME(coef_for)(b, tau, l);
  NAME(try)(b, coef, tau, l, l + 1);
  return s->margin[l];
}

/* Take 'tau', whatever its margin says: that is bounded by SLACK. */
static void NAME (take_part)(const amp_block *b, double tau, double now,
                             int l) {
  NAME(step) *s = (NAME(step) *)b->step;
  const double *coef = NAME(coef_for)(b, tau, l);
  NAME(try)(b, coef, tau, l, l + 1);
  s->margin[l] = BIG;
  NAME(take)(b, tau, now, l, l + 1);
}

/*
** The longest part of 'left' that meets no limit, found to 1e-9 of it by
** bracketing (regula falsi, Illinois form); 0 when there is none. The try
** of 'left' itself had 'over' < 0.
*/
static double NAME (until_limit)(const amp_block *b, double left, double over,
                                 int l) {
  double t0 = left * 1e-7, m0 = NAME(try_part)(b, t0, l);
  double t1 = left, m1 = over;
  if (!(m0 >= 0.0))
    return 0.0;
  for (int turn = 0, side = 0; turn < 60; turn++) {
    double t = (t0 * m1 - t1 * m0) / (m1 - m0);
    double m = NAME(try_part)(b, t, l);
    if (m >= 0.0) {
      t0 = t;
      m0 = m;
      m1 = side == 1 ? 0.5 * m1 : m1;
      side = 1;
    } else {
      t1 = t;
      m1 = m;
      m0 = side == -1 ? 0.5 * m0 : m0;
      side = -1;
    }
    if (t1 - t0 <= left * 1e-9 || (m >= 0.0 && m < 0.5 * SLACK))
      break;
  }
  return t0;
}

/* At a limit already: what part of 'left' goes on from here. The limit holds
** from now on, or it ends the phase. */
static double NAME (at_limit)(const amp_block *b, double left, double now,
                              int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double to;
  if (NAME(phase_ends)(b, l)) {
    NAME(phase_end)(b, now, l);
    return left;
  }
  g->held[l] = s->power[l] > 0.0 ? 1.0 : -1.0;
  if (NAME(try_part)(b, left, l) >= 0.0)
    return left;
  to = NAME(until_limit)(b, left, s->margin[l], l);
  if (to <= 0.0 && b->phase)
    NAME(phase_end)(b, now, l);
  return to > 0.0 ? to : left;
}

/* Voltage at the terminals now, of one lane alone, at its last current. */
static double NAME (voltage_now)(const amp_block *b) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const int l = 0;
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    w->e[l] = p->kv[l] * p->ocv[l] - p->v1[l] - p->v2[l];
    w->r[l] = p->kr[l] * p->shape[l] * NAME(warm_factor)(p, l) + p->rj[l];
  }
  NAME(tree_up)(b, 0, 1);
  return b->e[l] - b->r[l] * s->i[l];
}

/* A step of one lane that meets limits: go to each, then on. */
static void NAME (limits)(amp_block *b, double dt, double now, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double left = dt;
  int most = b->features ? 40 : 12;
  for (int turn = 0; left > 0.0; turn++) {
    double part = left, room = NAME(try_part)(b, part, l);
    if (room < 0.0 && turn < most) {
      part = NAME(until_limit)(b, left, room, l);
      g->events[l] += 1.0;
      if (part <= 0.0 && b->features && NAME(opens_now)(b, now, l))
        continue;
      if (part <= 0.0)
        part = NAME(at_limit)(b, left, now, l);
    }
    NAME(take_part)(b, part, now, l);
    now += part;
    if (L == 1 && b->traced)
      b->low = NAME(least)(b->low, NAME(voltage_now)(b));
    if (b->phase && NAME(at_charge)(b, s->power[l], l))
      NAME(phase_end)(b, now, l);
    if (b->features | b->stats)
      NAME(extra_event)(b, now, part < left, l);
    if (b->features)
      NAME(thermostat)(b, l, l + 1);
    left = part < left ? left - part : 0.0;
  }
}

/* Efficiencies of this step, where they go by load. In a shortfall that of
** the load asked stands. */
static void NAME (efficiencies)(const amp_block *b, double ac) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  for (int l = 0; l < L; l++) {
    double through = NAME(least)(ac * g->lf[l], g->pmax[l]);
    g->eta[l] = amp_converter_efficiency(b->converter[l], through);
    g->ieta[l] = 1.0 / g->eta[l];
  }
}

/* What a duty step asks of each lane. */
static void NAME (ask)(const amp_block *b, const amp_chunk *c, size_t t,
                       int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  NAME(asked)
  q = {c->ac[t], c->dc[t], c->pv[t], c->temp[t], c->on[t] ? 1.0 : 0.0, 0.0};
  EACH_LANE {
    double load = q.ac * g->lf[l], through = NAME(least)(load, g->pmax[l]);
    double net = NAME(net_of)(g, through, &q, l);
    s->ac[l] = through;
    s->over[l] = load - through;
    s->dc[l] = q.dc * g->lf[l];
    s->net[l] = net;
    s->power[l] = NAME(power_of)(net, g->ce[l]);
    s->tamb[l] = q.temp + g->shift[l];
  }
}

/* A step that asks current: the sign of 'power' is that of the current. */
static inline void NAME (ask_amps)(const amp_block *b, double amps, int l0,
                                   int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double want = amps * (amps > 0.0 ? g->lf[l] : g->sf[l]);
    s->want[l] = want;
    s->power[l] = want;
    s->ac[l] = 0.0;
    s->over[l] = 0.0;
  }
}

/* The phase of step t, if there are any; at its first step its own voltage
** narrows the window, and no lane is through with it. */
static void NAME (ask_phase)(amp_block *b, const amp_chunk *c, size_t t) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  const int l0 = 0, l1 = L;
  size_t k;
  if (!b->phase)
    b->phase = c->phase;
  while (b->phase->last <= t)
    b->phase++;
  k = (size_t)(b->phase - c->phase);
  b->ended = c->ended ? c->ended + k : NULL;
  if (t == (k > 0 ? c->phase[k - 1].last : 0))
    EACH_LANE {
      double v = b->phase->until_v, ask = b->phase->ask;
      double lo = g->ownmin[l], hi = g->ownmax[l];
      g->rvmin[l] = ask > 0.0 && v > lo ? v : lo;
      g->rvmax[l] = ask < 0.0 && v < hi ? v : hi;
      g->over[l] = 0.0;
    }
  EACH_LANE {
    double on = 1.0 - g->over[l];
    s->want[l] *= on;
    s->power[l] *= on;
    s->dc[l] *= on;
  }
}

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
