/*
** lanes.h -- what a simulation (sim_parts.h) and the lane kernel share: the
** fields of a block of lanes and the entry points of the builds. A lane is
** one case; a block is up to AMP_LANES cases with trees of the same shape
** that step through one duty together. Private to core/run.
**
** Fields lie in memory as double[lanes], one after another, so that one
** operation serves all lanes. The same source is built for one lane and for
** a block, and for three instruction sets: the arithmetic is the same, so
** are the bits.
*/
#ifndef AMP_RUN_LANES_H
#define AMP_RUN_LANES_H

#include "pack/pack.h"
#include "run/profile.h"
#include "run/simulate.h"
#include <stdbool.h>
#include <stddef.h>

/* Lanes of a block, and of the widest: where vectors hold eight numbers, a
** long batch of one leaf gains by it. */
enum { AMP_BLOCK = 16, AMP_LANES = 32 };

/*
** A curve table: AMP_ROWS + 1 rows of 8 doubles, a cache line each. Open-
** circuit voltage c0 + c1 f + c2 f^2 + c3 f^3 with f = 0..1 inside the row,
** resistance shape r + dr f, F the integral of the voltage over rows from 0 to
** the row's start.
*/
enum { AMP_ROWS = 200, AMP_ROW = 8 };
enum { ROW_C0, ROW_C1, ROW_C2, ROW_C3, ROW_R, ROW_DR, ROW_F, ROW_SPARE };

/* What a step changes in a leaf. */
#define STATE_FIELDS(X)                                                      \
  X(z) /* state of charge */                                                 \
  X(v1)                                                                      \
  X(v2)                                                                      \
  X(temp)  /* K */                                                           \
  X(ocv)   /* V of one group at z: kept from the last look-up */             \
  X(slope) /* V per row */                                                   \
  X(shape)                                                                   \
  X(f) /* V: integral of ocv over rows from 0 */

/* Per lane of one leaf, what came of a step: the current, the mean voltage, J
** out of the terminals and of heat, SoC before and after added, power asked,
** J asked and not given, r p less what the limits leave of it in V^2. */
#define OUTCOME_FIELDS(X)                                                    \
  X(i)                                                                       \
  X(v)                                                                       \
  X(term)                                                                    \
  X(heat)                                                                    \
  X(zz)                                                                      \
  X(power)                                                                   \
  X(gap)                                                                     \
  X(lack)

/* Per leaf. Voltages and resistances of the whole leaf; q in C. */
#define LEAF_FIELDS(X)                                                       \
  X(base) /* first row of this leaf's curve in the table */                  \
  X(kv)   /* groups in series */                                             \
  X(kr)   /* ohm of r0 at shape 1, 298.15 K */                               \
  X(rj)   /* ohm, joints */                                                  \
  X(ea)   /* K, activation of r0 */                                          \
  X(q)    /* C */                                                            \
  X(iq)   /* 1/C */                                                          \
  X(ikv)  /* 1 / kv */                                                       \
  X(kvq)  /* kv q of a row's charge */                                       \
  X(r1)                                                                      \
  X(tau1)                                                                    \
  X(r2)                                                                      \
  X(tau2)                                                                    \
  X(zmin)                                                                    \
  X(zmax)                                                                    \
  X(vmin)                                                                    \
  X(vmax)                                                                    \
  X(heat)  /* J/K; 0: stays at ambient */                                    \
  X(cool)  /* W/K */                                                         \
  X(icool) /* K/W; 0: stays at ambient */                                    \
  STATE_FIELDS(X)                                                            \
  X(tref)  /* K, one step older: where 'hot' .. 'hot2' are from */           \
  X(hot)   /* exp(ea (1/tref - 1/298.15)) */                                 \
  X(hot1)  /* 1/K, its slope */                                              \
  X(hot2)  /* 1/K^2, half the change of that slope */                        \
  /* lanes_features.h */                                                     \
  X(open)   /* 1: its fuse has opened */                                     \
  X(opened) /* s, when; < 0: never */                                        \
  X(worn)   /* 0..1, of its fuse */                                          \
  X(vend)   /* V of one group at the end of the last step */                 \
  X(bleed)  /* A */                                                          \
  X(vbleed) /* V of one group */                                             \
  X(gshare) /* part of 'cool' that goes to the coolant */                    \
  X(hshare) /* part of the heater's heat */                                  \
  X(qout)   /* C, sums and extremes of this leaf */                          \
  X(qin)                                                                     \
  X(ihi)                                                                     \
  X(ilo)                                                                     \
  X(thi)                                                                     \
  X(tlo)                                                                     \
  X(zhi)                                                                     \
  X(zlo)                                                                     \
  X(share) /* largest, of the pack's current */                              \
  X(lows)  /* limits met that this leaf set */                               \
  X(highs)                                                                   \
  X(first_low) /* s; < 0: never */                                           \
  X(first_high)

/* Per leaf and length tau of step: what is left of v1, v2 and T - T_end after
** it; the mean of v1, v2 over it per v1, v2 at its start; what an ampere adds
** to v1, v2; the mean resistance of the pairs; ohm per V of slope; SoC and
** rows per ampere. */
#define COEF_FIELDS(X)                                                       \
  X(tau)                                                                     \
  X(a1)                                                                      \
  X(a2)                                                                      \
  X(k1)                                                                      \
  X(k2)                                                                      \
  X(b1)                                                                      \
  X(b2)                                                                      \
  X(rp)                                                                      \
  X(kq)                                                                      \
  X(tiq)                                                                     \
  X(tix)                                                                     \
  X(at)

/* Per leaf, during a step: mean voltage e - r i, the ohmic part of r, the
** current, then the state at its end, and chemical energy and heat of it. */
#define WORK_FIELDS(X)                                                       \
  X(e)                                                                       \
  X(r)                                                                       \
  X(r0)                                                                      \
  X(pairs) /* mean of v1 + v2 that was there at the start */                 \
  X(d)     /* one leaf: what i is made of */                                 \
  X(num)                                                                     \
  X(by)                                                                      \
  X(held) /* one leaf: what held before the step */                          \
  X(i)                                                                       \
  X(z)                                                                       \
  X(v1)                                                                      \
  X(v2)                                                                      \
  X(temp)                                                                    \
  X(ocv)                                                                     \
  X(slope)                                                                   \
  X(shape)                                                                   \
  X(f)                                                                       \
  X(chem)                                                                    \
  X(heat)                                                                    \
  X(row) /* of the table, and how far in it */                               \
  X(in)                                                                      \
  X(c0) /* that row, field by field */                                       \
  X(c1)                                                                      \
  X(c2)                                                                      \
  X(c3)                                                                      \
  X(cr)                                                                      \
  X(cdr)                                                                     \
  X(cf)                                                                      \
  X(cspare)                                                                  \
  X(rend) /* ohmic part at the end of the step */                            \
  X(bl)   /* A that bleed past the leaf's groups */                          \
  X(worn)                                                                    \
  X(rev)  /* J, heat that comes and goes with charge */                      \
  X(bled) /* J */

/* Per leaf of detailed cells (lanes_detail.h): of one cell, then its state,
** then what a step works out. 'line' is what a current does over a step. */
#define DETAIL_FIELDS(X)                                                     \
  X(ip)    /* 1 / cells in parallel */                                       \
  X(icap)  /* 1/C */                                                         \
  X(share) /* of the pack's current, were all branches alike */              \
  X(tau0)  /* s, slow pairs */                                               \
  X(tau1)                                                                    \
  X(tauc)                                                                    \
  X(quick) /* share of the faster modes of diffusion, 1 - blunt */           \
  X(layer) /* 1: charge transfer has a double layer of tauc s, 0: none */    \
  X(warm)  /* 1: heat in two nodes, 0: stays at ambient */                   \
  X(air)   /* K/W, skin to ambient */                                        \
  X(wall)  /* K/W, core to skin */                                           \
  X(root_core) /* sqrt(J/K) */                                               \
  X(root_skin)                                                               \
  X(fast) /* 1/s, the two modes and the direction of the first */            \
  X(late)                                                                    \
  X(u1)                                                                      \
  X(u2)                                                                      \
  X(m0) /* A, modes of diffusion */                                          \
  X(m1)                                                                      \
  X(m2)                                                                      \
  X(m3)                                                                      \
  X(m4)                                                                      \
  X(m5)                                                                      \
  X(s0) /* A, slow pairs */                                                  \
  X(s1)                                                                      \
  X(ct)                                                                      \
  X(skin)  /* K */                                                           \
  X(flow)  /* A of the leaf, in the last step */                             \
  X(guess) /* A */                                                           \
  X(left0) /* what is left of each state after the step */                   \
  X(left1)                                                                   \
  X(left2)                                                                   \
  X(left3)                                                                   \
  X(left4)                                                                   \
  X(left5)                                                                   \
  X(left6)                                                                   \
  X(left7)                                                                   \
  X(leftc)                                                                   \
  X(e) /* mean voltage of the leaf e - r i, r at its end */                  \
  X(r)                                                                       \
  X(skin_end)

#define LINE_FIELDS(X)                                                       \
  X(temp) /* K, and where it stands in the tables */                         \
  X(tk)                                                                      \
  X(tn)                                                                      \
  X(tw)                                                                      \
  X(zs) /* charge at the surface: zs + zs_i i, and so on */                  \
  X(zs_i)                                                                    \
  X(ct) /* A through charge transfer */                                      \
  X(ct_i)                                                                    \
  X(slow) /* V of the slow pairs */                                          \
  X(slow_i)

/* Per lane, during a step: power asked at the terminals and what it is made
** of, the current, whether a limit holds, room left to the nearest limit. */
#define STEP_FIELDS(X)                                                       \
  X(power)                                                                   \
  X(ac)                                                                      \
  X(over)                                                                    \
  X(dc)                                                                      \
  X(tamb)                                                                    \
  X(i)                                                                       \
  X(v)                                                                       \
  X(hi)                                                                      \
  X(lo)                                                                      \
  X(keep)                                                                    \
  X(limited)                                                                 \
  X(margin)                                                                  \
  X(term)                                                                    \
  X(on)                                                                      \
  X(soc)                                                                     \
  X(want) /* A asked at the terminals, where current is held */              \
  X(net) /* W asked before charging losses and heater */                     \
  X(thi) /* bounds that temperature sets */                                  \
  X(tlo)                                                                     \
  X(done) /* 1: the currents of detailed leaves have settled */              \
  X(fed)  /* W that the heater gets */                                       \
  X(cold) /* 1: temperature set the current */

/* Per lane: settings, then sums and extremes. Sums in J, C, s. */
#define LANE_FIELDS(X)                                                       \
  X(lf)                                                                      \
  X(sf)                                                                      \
  X(eta)                                                                     \
  X(ieta)                                                                    \
  X(idle)                                                                    \
  X(pmax)                                                                    \
  X(ce)    /* charge efficiency */                                           \
  X(ice)   /* 1 / ce */                                                      \
  X(shift) /* K */                                                           \
  X(rvmin) /* V, limits of the converter */                                  \
  X(rvmax)                                                                   \
  X(held)  /* 1: a voltage floor holds, -1: a ceiling, 0: none */            \
  X(ownmin) /* the converter's own, where a phase narrows rvmin, rvmax */    \
  X(ownmax)                                                                  \
  X(over) /* 1: the present phase is over, the current is 0 */               \
  X(hw)   /* W of the heater, K where it goes on and off */                  \
  X(hon)                                                                     \
  X(hoff)                                                                    \
  X(hpack)   /* 1: fed by the pack */                                        \
  X(heating) /* 1: on */                                                     \
  X(tin)     /* K, coolant's inlet */                                        \
  X(ishare)  /* A from which on a leaf's share counts */

/* Per lane of one leaf, over a chunk: heat, energy out and net in J, others
** in units times steps of dt. */
#define TALLY_FIELDS(X)                                                      \
  X(heat)                                                                    \
  X(out)                                                                     \
  X(net)                                                                     \
  X(charge)                                                                  \
  X(charge_out)                                                              \
  X(z) /* twice */                                                           \
  X(v)                                                                       \
  X(v2)                                                                      \
  X(temp)                                                                    \
  X(discharge)                                                               \
  X(error)

#define SUM_FIELDS(X)                                                        \
  X(served)                                                                  \
  X(unserved)                                                                \
  X(dc_served)                                                               \
  X(dc_unserved)                                                             \
  X(curtailed)                                                               \
  X(out)                                                                     \
  X(in)                                                                      \
  X(loss)                                                                    \
  X(charge_out)                                                              \
  X(charge_in)                                                               \
  X(leaf_charge) /* sum over leaves of i dt */                               \
  X(soc_time)                                                                \
  X(v_time)                                                                  \
  X(v2_time)                                                                 \
  X(temp_time)                                                               \
  X(discharge_time)                                                          \
  X(unserved_time)                                                           \
  X(power_residual)                                                          \
  X(events)                                                                  \
  X(bled)                                                                    \
  X(rev)                                                                     \
  X(heater)                                                                  \
  X(unsolved) /* steps whose currents did not settle */                      \
  X(cold_unserved)                                                           \
  X(cold_curtailed)                                                          \
  X(cold_time)                                                               \
  X(strayed) /* C that went through another leaf in half steps */            \
  X(measured) /* C, of the steps that were halved */

#define EXTREME_FIELDS(X)                                                    \
  X(soc_low)                                                                 \
  X(soc_high)                                                                \
  X(temp_low)                                                                \
  X(temp_high)                                                               \
  X(i_max)                                                                   \
  X(i_min)                                                                   \
  X(v_low)                                                                   \
  X(v_high)                                                                  \
  X(first_unserved)                                                          \
  X(last_unserved)                                                           \
  X(first_curtailed)                                                         \
  X(first_empty)                                                             \
  X(first_cold)                                                              \
  X(last_cold)                                                               \
  X(first_open)

#define FIELD_INDEX(n) LEAF_##n,
enum { LEAF_FIELDS(FIELD_INDEX) LEAF_COUNT };
#undef FIELD_INDEX
#define FIELD_INDEX(n) +1
enum {
  COEF_COUNT = 0 COEF_FIELDS(FIELD_INDEX),
  WORK_COUNT = 0 WORK_FIELDS(FIELD_INDEX),
  STEP_COUNT = 0 STEP_FIELDS(FIELD_INDEX),
  TALLY_COUNT = 0 TALLY_FIELDS(FIELD_INDEX),
  LINE_COUNT = 0 LINE_FIELDS(FIELD_INDEX)
};
#undef FIELD_INDEX
#define FIELD_INDEX(n) DETAIL_##n,
enum { DETAIL_FIELDS(FIELD_INDEX) DETAIL_COUNT };
#undef FIELD_INDEX
#define FIELD_INDEX(n) LANE_##n,
enum {
  LANE_FIELDS(FIELD_INDEX) LANE_SETTINGS,
  LANE_BEFORE_SUMS = LANE_SETTINGS - 1,
  SUM_FIELDS(FIELD_INDEX) LANE_SUMS_END,
  LANE_BEFORE_EXTREMES = LANE_SUMS_END - 1,
  EXTREME_FIELDS(FIELD_INDEX) LANE_COUNT
};
#undef FIELD_INDEX

enum { AMP_GRADES = 6 };

/* What a block of cases uses of lanes_features.h. */
enum {
  AMP_USES_BLEED = 1,
  AMP_USES_TRIP = 2,
  AMP_USES_RATES = 4,
  AMP_USES_HEAT = 8, /* entropic, coolant, bodies */
  AMP_USES_HEATER = 16
};

/* One block: leaf[] then lane fields, each field 'lanes' doubles. */
typedef struct amp_block {
  int lanes; /* 1, AMP_BLOCK or AMP_LANES */
  int leaves, nodes;
  const amp_node *node; /* the shape all lanes share */
  const double *table;
  double *leaf;          /* [leaves][LEAF_COUNT][lanes] */
  double *lane;          /* [LANE_COUNT][lanes] */
  double *whole;         /* [leaves][COEF_COUNT][lanes], of a step of dt */
  double *part;          /* the same, of a part of a step */
  double *work;          /* [leaves][WORK_COUNT][lanes] */
  double *step;          /* [STEP_COUNT][lanes] */
  double *tally;         /* [TALLY_COUNT][lanes] */
  double *e, *r, *a, *b; /* [nodes][lanes]: a level's mean voltage is e - r i,
                            its current a I + b of the pack's I */
  double dt;             /* s, of a step inside */
  double last_row;       /* of a table: AMP_ROWS - 1 */
  bool single; /* one leaf asked power, no features: lanes_leaf.h */
  bool amps;   /* the present step asks current: 'want' */
  const amp_phase *phase; /* the present one, or NULL */
  double *ended; /* one lane: s from the start at which it ended; or NULL */
  bool traced;
  double low;  /* one lane: V, lowest where parts of this step end */
  bool curved; /* converters whose efficiency goes by load */
  const amp_converter *converter[AMP_LANES];
  bool stats;            /* sums of each leaf are kept */
  unsigned features;     /* AMP_USES_.. */
  const amp_pack *shape; /* of the first lane: bodies are all lanes' */
  const amp_group **of;  /* [leaves][lanes] */
  double *half;          /* like whole, of half a step */
  double *grade[AMP_GRADES + 2]; /* like whole, of dt / 2^g */
  double *saved;         /* leaf and lane, while a step is halved */
  double *flow;          /* [leaves][lanes], A of the two halves */
  double *detail; /* [leaves][DETAIL_COUNT + LINE_COUNT][lanes], or NULL */
} amp_block;

/* Duty steps first .. last-1, each 'split' steps of block->dt; where 'edge'
** is given, each as many equal steps of at most 'dt_max' as it needs. */
typedef struct amp_chunk {
  const double *ac, *dc, *pv, *temp;
  const unsigned char *on;
  const double *amps, *edge; /* see amp_duty; may be NULL */
  double dt_max;             /* s */
  const amp_phase *phase;    /* may be NULL */
  double *ended; /* [phases], s; untouched where the time ends one; or NULL */
  size_t first, last;
  int split;
  double *soc;   /* [(last-first)*split][lanes], or NULL */
  double *trace; /* one lane only: AMP_TRACE doubles a step, or NULL */
  double *leaf;  /* one lane only: AMP_LEAF_TRACE a leaf a step, or NULL */
  int grades;    /* the first step inside a duty step is cut into dt / 2^n,
                    dt / 2^n, dt / 2^(n-1) .. dt / 2: what a change of load
                    stirs has died down when the long steps begin */
  int measure;   /* every so many steps one is halved; 0: none */
} amp_chunk;

enum { LEAF_TRACE_CURRENT, LEAF_TRACE_SOC, AMP_LEAF_TRACE };

enum {
  TRACE_TIME,
  TRACE_SOC,
  TRACE_CURRENT,
  TRACE_VOLTAGE,
  TRACE_TEMP,
  TRACE_POWER,
  TRACE_UNSERVED,
  TRACE_CURTAILED,
  TRACE_END,
  TRACE_LOW,
  AMP_TRACE
};

/* Steps that a stretch of 'dt' s is cut into. */
static inline int amp_lanes_split (double dt, double dt_max) {
  double n = dt / dt_max - 1e-9;
  int k = n > 1.0 ? (int)n : 1;
  return (double)k < n ? k + 1 : k;
}

typedef void amp_lanes_run (amp_block *b, const amp_chunk *c);

amp_lanes_run amp_lanes_run_base_1, amp_lanes_run_base_n;
amp_lanes_run amp_lanes_run_v3_1, amp_lanes_run_v3_n;
amp_lanes_run amp_lanes_run_v4_1, amp_lanes_run_v4_n, amp_lanes_run_v4_w;

#endif
