/*
** judge.h -- which modules of a lot may be used: accept, quarantine, reject
** or not judged, each with its findings, safety before doubts about a
** reading before economics. The thresholds are data with their reason, and
** the caller's to replace. Nothing here says that a module may be used
** without danger: accept means that nothing measured speaks against it.
** Model: docs/model/readings.md.
*/
#ifndef AMP_PACK_JUDGE_H
#define AMP_PACK_JUDGE_H

#include "pack/readings.h"

typedef enum amp_verdict {
  AMP_ACCEPT,
  AMP_NOT_JUDGED,
  AMP_QUARANTINE,
  AMP_REJECT
} amp_verdict;

const char *amp_verdict_name (amp_verdict v); /* "not judged" */

/* In the order in which they decide. */
typedef enum amp_weight {
  AMP_WEIGHT_SAFETY,
  AMP_WEIGHT_DOUBT,   /* the reading is incomplete or contradicts itself */
  AMP_WEIGHT_ECONOMY,
  AMP_WEIGHT_REMARK   /* told, decides nothing */
} amp_weight;

/* One thing found. The name is a caution's: what is wrong. */
typedef struct amp_judgement {
  const char *name;
  amp_weight weight;
  amp_verdict verdict;
  double value, limit, other; /* SI, as docs/model/readings.md says; NaN */
  double typed, meant; /* V: a cell in doubt, and with its mark moved; NaN */
  char word[24]; /* of a remark, or which cell; or "" */
} amp_judgement;

/* Thresholds. SI. */
typedef struct amp_judging {
  double group_reject, group_low, group_alone; /* V */
  double spread_good, spread_wide;             /* V */
  double spread_times;                         /* times the median */
  double sum, sum_share;                       /* V, 1 */
  double resistance_retest, resistance_reject; /* times the median */
  double soc_band;                             /* 0..1, half width */
  double temp_band;                            /* K, half width */
  double temp_most;                            /* K */
  double soh_reject, soh_most;                 /* of the nameplate */
  double leak;       /* SoC a day */
  double leak_times; /* times the median */
  double leak_group; /* V that one group falls more than another */
} amp_judging;

typedef struct amp_judging_rule {
  const char *key; /* "group_reject_v" */
  size_t offset;   /* in amp_judging */
  double factor, shift; /* SI = user's value * factor + shift */
  double value, lo, hi; /* default and limits, user's unit */
  const char *unit, *reason;
} amp_judging_rule;

/* The i-th rule, NULL past the last; and all at their defaults. */
const amp_judging_rule *amp_judging_rule_at (int i);
amp_judging amp_judging_defaults (void);

enum { AMP_JUDGEMENTS = 12 };

typedef struct amp_judged {
  amp_verdict verdict;
  int n;
  amp_judgement finding[AMP_JUDGEMENTS]; /* what decides first */
  double group;    /* V, mean of its groups; NaN. What is in doubt counts in */
  double spread;   /* V; NaN                      none of these, nor in any */
  double r10s;     /* ohm; NaN                    median of the lot */
  double soc;      /* 0..1; NaN: not told */
  double r_times;  /* 10 s resistance over the comparable median; NaN */
  double leak;     /* SoC a day between two dates; NaN */
  double leak_current; /* A; NaN */
  double leak_least;   /* SoC a day that a meter of 0.01 V can see; NaN */
} amp_judged;

typedef struct amp_lot_summary {
  int count[4];                   /* by verdict */
  int with_groups, with_r, with_charge;
  double ocv, spread, r10s, charge, soc, leak; /* medians; NaN */
  bool flat; /* rest voltage tells no charge for some */
} amp_lot_summary;

/*
** Judge every row into out[lot->n]. AMP_EMISSING without chemistry or group
** count. Medians include suspects; a row that makes no sense is in none, nor
** is a voltage that cannot be (pack/voltages.h) or a resistance in ohm or with
** its leads.
*/
amp_status amp_lot_judge (const amp_context *ctx, const amp_lot *lot,
                          const amp_judging *by, amp_judged *out,
                          amp_lot_summary *sum, amp_error *err);

#endif
