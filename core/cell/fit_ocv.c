/*
** fit_ocv.c -- open-circuit voltage against state of charge: shape from a
** slow discharge and charge (or from the chemistry's table), capacity of
** each pulse log by laying its rests on that shape, and the rests of the
** log nearest 25 C as anchors. Method: docs/model/fit.md.
*/
#include "base/least.h"
#include "cell/fit_parts.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { KNOTS = 104 }; /* 0, 0.25 .. 1 %, then each per cent */

#define NEAR_FULL 0.9     /* of the longest run: a whole branch */
#define BRANCH_LEAST 0.6  /* of the labelled capacity */
#define SLOW_RATE 0.125   /* 1/h: faster is no slow log */
#define OFFSET_SHARE 0.03 /* of capacity between the directions: said */
#define LEAD_VOLT 0.5     /* V at 1C in the first sample: leads, not cell */
#define LEAD_TIMES 3.0    /* and so is this many times the pulses' own */
#define FULL_SOC 0.95     /* a log that begins above began full */
#define REST_LEAST 600.0  /* s, shortest rest that anchors */
#define REST_SHARE 0.4    /* of the longest */
#define SIGMA_V 0.008     /* V, of a rest against the shape */
#define SIGMA_SOC 0.005
#define ANCHOR_SLOPE 6.0 /* V per unit SoC: steeper says more of SoC */
#define MERGE_SOC 0.01   /* anchors closer than this count as one */
#define RISE_LEAST 1e-5  /* V between knots: the curve has an inverse */
#define PAIR_REST 120.0  /* s, rests that are compared */
#define PAIR_SOC 0.015   /* and how far apart their charge may be */
#define MOST_TIMES 3.0   /* the label or what was moved: no capacity */
#define LOWEST 0.7       /* of the least voltage: no curve goes below */
#define REST_OFF 0.08    /* V, of the rests on the average: said */
#define T_REF 298.15     /* K */

static double knot (int k) {
  return k < 4 ? 0.0025 * k : 0.01 * (k - 3);
}

/* ---- the slow log ---- */

/* One whole discharge or charge: voltage at the knots, 'edge' ohm put
** back, each point the mean of three 0.2 % apart. */
typedef struct branch {
  const amp_test_log *log;
  const amp_fit_run *run;
  double edge;
} branch;

/* Voltage at charge q (>= 0) into the run, for q rising from call to call:
** *row and *sum are where the last call stood. */
static double branch_at (const branch *b, double q, size_t *row,
                         double *sum) {
  const double *i = b->log->column[AMP_LOG_CURRENT];
  const double *v = b->log->column[AMP_LOG_VOLTAGE];
  const double *t = b->log->time;
  for (; *row < b->run->last; (*row)++) {
    double more = fabs(i[*row + 1]) * (t[*row + 1] - t[*row]);
    if (*sum + more >= q)
      break;
    *sum += more;
  }
  size_t k = *row, next = k < b->run->last ? k + 1 : k;
  double more = fabs(i[next]) * (t[next] - t[k]);
  double share = more > 0.0 ? fmin(fmax((q - *sum) / more, 0.0), 1.0) : 0.0;
  double here = v[k] + i[k] * b->edge, there = v[next] + i[next] * b->edge;
  return here + share * (there - here);
}

static void branch_values (const branch *b, double *out) {
  double whole = fabs(b->run->charge);
  for (int part = -1; part <= 1; part++) {
    size_t row = b->run->first;
    double sum = fabs(b->log->column[AMP_LOG_CURRENT][row]) *
                 (b->log->time[row] - b->log->time[row - 1]);
    for (int n = 0; n < KNOTS; n++) {
      int k = b->run->sign > 0 ? KNOTS - 1 - n : n;
      double soc = fmin(fmax(knot(k) + 0.002 * part, 0.0), 1.0);
      double q = (b->run->sign > 0 ? 1.0 - soc : soc) * whole;
      out[k] =
          (part == -1 ? 0.0 : out[k]) + branch_at(b, q, &row, &sum) / 3.0;
    }
  }
}

/* What a slow log says. */
typedef struct slow {
  double v[2][KNOTS]; /* V, mean of the discharges [0], charges [1] */
  int count[2];
  double charge[2], time[2]; /* C and s, mean of a branch */
  double edge;               /* ohm, NaN: no step seen */
} slow;

static double longest_run (const amp_fit_run *run, size_t runs, int sign) {
  double most = 0.0;
  for (size_t k = 0; k < runs; k++)
    if (run[k].sign == sign)
      most = fmax(most, fabs(run[k].charge));
  return most;
}

static void add_branches (const amp_test_log *log, const amp_fit_run *run,
                          size_t runs, double least, int sign, slow *out) {
  double most = longest_run(run, runs, sign), v[KNOTS];
  int side = sign > 0 ? 0 : 1, n = 0;
  for (size_t k = 0; k < runs && most >= least; k++) {
    branch b = {log, &run[k], out->edge == out->edge ? out->edge : 0.0};
    if (run[k].sign != sign || fabs(run[k].charge) < NEAR_FULL * most)
      continue;
    branch_values(&b, v);
    n++;
    for (int j = 0; j < KNOTS; j++)
      out->v[side][j] += (v[j] - out->v[side][j]) / n;
    out->charge[side] += (fabs(run[k].charge) - out->charge[side]) / n;
    out->time[side] += (run[k].duration - out->time[side]) / n;
  }
  out->count[side] = n;
}

static amp_status read_slow (const amp_context *ctx, const amp_fit_input *in,
                             slow *out, amp_error *err) {
  double least = BRANCH_LEAST * in->capacity;
  amp_fit_run *run;
  size_t runs;
  amp_status st = amp_fit_check_log(in->slow, 0, least, err);
  memset(out, 0, sizeof *out);
  if (st == AMP_OK)
    st = amp_fit_runs(ctx, in->slow, amp_fit_idle(in->capacity), &run, &runs,
                      err);
  if (st != AMP_OK)
    return st;
  out->edge = amp_fit_edge(in->slow, run, runs, amp_fit_idle(in->capacity));
  add_branches(in->slow, run, runs, least, 1, out);
  add_branches(in->slow, run, runs, least, -1, out);
  amp_free(ctx, run, runs * sizeof *run);
  if (out->count[0] + out->count[1] == 0)
    return amp_failf(err, AMP_EDATA, "slow",
                     "the slow log holds no discharge or charge of %g Ah in"
                     " one piece",
                     least / 3600.0);
  return AMP_OK;
}

/* Offset of the current that would make both directions hold the same. */
static void judge_offset (const slow *s, amp_fit *out) {
  double d = s->charge[0], c = s->charge[1];
  if (s->count[0] == 0 || s->count[1] == 0)
    return;
  out->current_offset = (d - c) / (s->time[0] + s->time[1]);
  if (fabs(d - c) > OFFSET_SHARE * 0.5 * (d + c))
    amp_fit_warn(
        out,
        "slow log: %g Ah out but %g Ah in; a current offset of %g mA"
        " would explain both (then %g Ah); each direction is scaled"
        " by its own charge",
        amp_fit_round(d / 3600.0), amp_fit_round(c / 3600.0),
        amp_fit_round(out->current_offset * 1000.0),
        amp_fit_round((d - out->current_offset * s->time[0]) / 3600.0));
}

static void judge_leads (const slow *s, double pulse_edge, double capacity,
                         amp_fit *out) {
  double at_1c = s->edge * capacity / 3600.0;
  double own = pulse_edge == pulse_edge ? pulse_edge : 0.0;
  if (at_1c > LEAD_VOLT || (own > 0.0 && s->edge > LEAD_TIMES * own))
    amp_fit_warn(out,
                 "slow log: each step of the current shows %g mohm, which is"
                 " lead resistance (the pulse logs show %g mohm); taken off",
                 amp_fit_round(s->edge * 1000.0),
                 amp_fit_round(own * 1000.0));
}

static void judge_rate (const slow *s, double capacity, amp_fit *out) {
  int side = s->count[0] > 0 ? 0 : 1;
  double rate = s->charge[side] / s->time[side] * 3600.0 / capacity;
  if (rate > SLOW_RATE)
    amp_fit_warn(out,
                 "slow log: runs at %g of the capacity an hour; the curve"
                 " holds some loss of voltage",
                 amp_fit_round(rate));
  if (s->count[0] == 0 || s->count[1] == 0)
    amp_fit_warn(out, "slow log: one direction only; the loss of voltage is"
                      " taken off by the rests of the pulse logs");
}

/* Half of what lies between the directions from 20 to 80 %: hysteresis and
** the loss of voltage that is left at this rate, so no less than either. */
static void report_gap (const slow *s, amp_fit *out) {
  double sum = 0.0, square = 0.0;
  int n = 0;
  if (s->count[0] == 0 || s->count[1] == 0)
    return;
  for (int k = 0; k < KNOTS; k++)
    if (knot(k) >= 0.2 && knot(k) <= 0.8) {
      double half = 0.5 * (s->v[1][k] - s->v[0][k]);
      sum += half;
      square += half * half;
      n++;
    }
  sum /= n;
  amp_fit_add(out, "hysteresis", "V", __builtin_nan(""), sum,
              sqrt(fmax(square / n - sum * sum, 0.0)));
}

/* ---- the curve ---- */

/* Pool neighbours that fall until the voltages rise, and then strictly. */
static void make_rising (double *v) {
  double mean[KNOTS];
  int size[KNOTS], n = 0, k = 0;
  for (int i = 0; i < KNOTS; i++) {
    mean[n] = v[i];
    size[n++] = 1;
    for (; n > 1 && mean[n - 2] >= mean[n - 1]; n--) {
      int both = size[n - 2] + size[n - 1];
      mean[n - 2] =
          (mean[n - 2] * size[n - 2] + mean[n - 1] * size[n - 1]) / both;
      size[n - 2] = both;
    }
  }
  for (int i = 0; i < n; i++)
    for (int j = 0; j < size[i]; j++)
      v[k++] = mean[i];
  for (int i = 1; i < KNOTS; i++)
    v[i] = fmax(v[i], v[i - 1] + RISE_LEAST);
}

static amp_status make_curve (double *v, amp_curve *out, amp_error *err) {
  double x[KNOTS];
  make_rising(v);
  for (int k = 0; k < KNOTS; k++)
    x[k] = knot(k);
  return amp_curve_make(x, v, KNOTS, AMP_INTERP_MONOTONE, out, err);
}

/* Both directions: their mean; one: that one. */
static void mean_branch (const slow *s, double *v) {
  for (int k = 0; k < KNOTS; k++)
    v[k] = s->count[0] == 0   ? s->v[1][k]
           : s->count[1] == 0 ? s->v[0][k]
                              : 0.5 * (s->v[0][k] + s->v[1][k]);
}

/* ---- rests of a pulse log on the curve ---- */

typedef struct rests {
  amp_curve curve;
  int n;
  amp_fit_rest at[AMP_FIT_RESTS];
  double lo, hi; /* C: least and most given off since the first row */
  double top;    /* SoC at 'lo' */
  double capacity;
} rests;

static double soc_of (const rests *r, double charge) {
  return r->top - (charge - r->lo) / r->capacity;
}

/* p[0]: capacity; p[1], where there is one: SoC at the fullest. */
static amp_status rest_residuals (void *arg, const double *p, size_t n,
                                  double *out, size_t m) {
  rests *r = arg;
  r->capacity = p[0];
  if (n > 1)
    r->top = p[1];
  for (size_t k = 0; k < m; k++) {
    double z = soc_of(r, r->at[k].charge);
    double in = fmin(fmax(z, 0.0), 1.0);
    double slope = amp_curve_slope(&r->curve, in);
    out[k] = (r->at[k].v - amp_curve_at(&r->curve, in) - slope * (z - in)) /
             sqrt(SIGMA_V * SIGMA_V + slope * slope * SIGMA_SOC * SIGMA_SOC);
  }
  return AMP_OK;
}

static amp_status collect_rests (const amp_context *ctx,
                                 const amp_test_log *log, double capacity,
                                 rests *out, double *edge, amp_error *err) {
  double idle = amp_fit_idle(capacity), longest = 0.0;
  amp_fit_run *run;
  size_t runs;
  amp_status st = amp_fit_runs(ctx, log, idle, &run, &runs, err);
  if (st != AMP_OK)
    return st;
  for (size_t k = 0; k < runs; k++)
    if (run[k].sign == 0)
      longest = fmax(longest, run[k].duration);
  out->n = amp_fit_rests(log, run, runs,
                         fmax(REST_LEAST, REST_SHARE * longest), out->at);
  if (fabs(log->column[AMP_LOG_CURRENT][0]) <= idle &&
      out->n < AMP_FIT_RESTS) /* it begins at rest */
    out->at[out->n++] =
        (amp_fit_rest){0.0, log->column[AMP_LOG_VOLTAGE][0], 0.0};
  *edge = amp_fit_edge(log, run, runs, idle);
  amp_fit_span(log, &out->lo, &out->hi);
  amp_free(ctx, run, runs * sizeof *run);
  return AMP_OK;
}

/* SoC where the log is fullest, by the rest nearest to there and the charge
** between; near full is full, and so is a log without a rest. */
static double top_soc (const rests *r, double labelled) {
  double soc = 1.0, best = INFINITY;
  for (int k = 0; k < r->n; k++) {
    double apart = r->at[k].charge - r->lo, v = r->at[k].v;
    if (apart >= best)
      continue;
    best = apart;
    if (amp_curve_inverse(&r->curve, v, &soc, NULL) != AMP_OK)
      soc = v > r->curve.y[r->curve.n - 1] ? 1.0 : 0.0;
    soc += apart / labelled;
  }
  return soc >= FULL_SOC ? 1.0 : soc;
}

/* Best capacity of 100 between the bounds: the sum has side valleys. */
static double scan_capacity (rests *r, double lo, double hi) {
  double out[AMP_FIT_RESTS], best = INFINITY, at = lo;
  for (int k = 0; k <= 100; k++) {
    double p = lo + 0.01 * k * (hi - lo), sum = 0.0;
    rest_residuals(r, &p, 1, out, (size_t)r->n);
    for (int j = 0; j < r->n; j++)
      sum += out[j] * out[j];
    if (sum < best) {
      best = sum;
      at = p;
    }
  }
  return at;
}

/* Capacity (and top) that lay the rests on the curve best; less than was
** moved says that the log went further down than the curve. */
static amp_status lay_on_curve (const amp_context *ctx, rests *r,
                                double labelled, double *sd, amp_error *err) {
  double span = r->hi - r->lo, p[2], s[2] = {INFINITY, INFINITY};
  double lo[2] = {0.8 * span, 0.0}, hi[2] = {0, 1.0};
  size_t n = r->top == 1.0 ? 1 : 2;
  amp_least_options opt = {.lo = lo, .hi = hi};
  amp_status st = AMP_OK;
  hi[0] = fmax(1.5 * labelled, 1.5 * span);
  p[0] = r->n > (int)n ? scan_capacity(r, lo[0], hi[0])
                       : fmax(labelled, span / fmax(r->top, 0.1));
  p[1] = r->top;
  if (r->n > (int)n)
    st = amp_least(ctx, rest_residuals, r, p, n, (size_t)r->n, &opt, s, NULL,
                   NULL, err);
  r->capacity = p[0];
  if (n > 1)
    r->top = p[1];
  *sd = s[0];
  return st;
}

/*
** Factor of the capacity's deviation: rests lie off the curve all of one
** sign over long stretches of charge, so they are fewer than they look. One
** the log begins with was noted last and goes first.
*/
static double together (rests *r) {
  double off[AMP_FIT_RESTS + 1], p[2] = {r->capacity, r->top};
  size_t n = (size_t)r->n;
  if (n == 0 || rest_residuals(r, p, 2, off + 1, n) != AMP_OK)
    return 1.0;
  off[0] = off[n];
  return amp_fit_neighbours(off + (r->at[n - 1].duration > 0.0 ? 1 : 0), n);
}

/* ---- rests after charge beside rests after discharge ---- */

typedef struct after {
  double charge, over, duration; /* C given off, V over the curve, s */
  int sign;                      /* of the current before the rest */
} after;

static int rests_after (const rests *r, const amp_test_log *log,
                        const amp_fit_run *run, size_t runs, after *out) {
  const double *v = log->column[AMP_LOG_VOLTAGE];
  double charge = 0.0;
  int n = 0;
  for (size_t k = 0; k < runs && n < AMP_FIT_RESTS; k++) {
    charge += run[k].charge;
    double z = soc_of(r, charge);
    if (k > 0 && run[k].sign == 0 && run[k].duration >= PAIR_REST &&
        z > 0.2 && z < 0.9)
      out[n++] = (after){charge, v[run[k].last] - amp_curve_at(&r->curve, z),
                         run[k].duration, run[k - 1].sign};
  }
  return n;
}

/* Is b the counterpart of a: other direction, same charge, same length? */
static bool counterpart (const rests *r, const after *a, const after *b) {
  return a->sign == -1 && b->sign == 1 &&
         fabs(a->charge - b->charge) < PAIR_SOC * r->capacity &&
         a->duration < 2.0 * b->duration && b->duration < 2.0 * a->duration;
}

/*
** A pulse log that only goes down shows the curve after discharging. Half
** the difference of rests after its short charges and discharges is said
** for a flat chemistry: a whole charge may show more, a longer rest less.
*/
static void report_loop (const rests *r, const after *a, int n, bool flat,
                         const char *name, amp_fit *out) {
  double sum = 0.0, square = 0.0;
  int pairs = 0;
  for (int i = 0; i < n; i++)
    for (int j = 0; j < n; j++)
      if (counterpart(r, &a[i], &a[j])) {
        double half = 0.5 * (a[i].over - a[j].over);
        sum += half;
        square += half * half;
        pairs++;
      }
  if (flat && pairs > 1) {
    sum /= pairs;
    amp_fit_add(out, "hysteresis", "V", __builtin_nan(""), sum,
                sqrt(fmax(square / pairs - sum * sum, 0.0)));
  }
  if (flat && pairs > 1)
    amp_fit_warn(out,
                 "%s: the curve is that after discharging; after a charge"
                 " the cell rests higher (%g mV after the log's short"
                 " charges), which the model leaves out",
                 name, amp_fit_round(2000.0 * sum));
  else if (flat)
    amp_fit_warn(out,
                 "%s: the curve is that after discharging; how much higher"
                 " the cell rests after a charge is not determined",
                 name);
}

static amp_status judge_loop (const amp_context *ctx, const amp_fit_input *in,
                              const rests *r, int k, const char *name,
                              amp_fit *out, amp_error *err) {
  bool flat = in->chemistry->flat_lo < in->chemistry->flat_hi;
  after a[AMP_FIT_RESTS];
  amp_fit_run *run;
  size_t runs;
  amp_status st = amp_fit_runs(ctx, in->pulse[k], amp_fit_idle(in->capacity),
                               &run, &runs, err);
  if (st != AMP_OK)
    return st;
  report_loop(r, a, rests_after(r, in->pulse[k], run, runs, a),
              flat && in->slow == NULL, name, out);
  amp_free(ctx, run, runs * sizeof *run);
  return AMP_OK;
}

/* ---- anchors ---- */

typedef struct anchor {
  double soc, dv;
  int n;
} anchor;

static int by_soc (const void *a, const void *b) {
  double x = ((const anchor *)a)->soc, y = ((const anchor *)b)->soc;
  return (x > y) - (x < y);
}

/* Rests less the curve, rising in SoC, close ones merged; steep places are
** left out where 'steepest' says so. */
static int find_anchors (const rests *r, double steepest, anchor *a) {
  int n = 0, kept = 0;
  for (int k = 0; k < r->n; k++) {
    double z = soc_of(r, r->at[k].charge);
    if (z >= 0.0 && z <= 1.0 && amp_curve_slope(&r->curve, z) <= steepest)
      a[n++] = (anchor){z, r->at[k].v - amp_curve_at(&r->curve, z), 1};
  }
  qsort(a, (size_t)n, sizeof *a, by_soc);
  for (int k = 0; k < n; k++)
    if (kept > 0 && a[k].soc - a[kept - 1].soc < MERGE_SOC) {
      anchor *to = &a[kept - 1];
      to->n++;
      to->soc += (a[k].soc - to->soc) / to->n;
      to->dv += (a[k].dv - to->dv) / to->n;
    } else
      a[kept++] = a[k];
  return kept;
}

static double anchored (const anchor *a, int n, double soc) {
  int k = 0;
  if (n == 0)
    return 0.0;
  while (k < n && a[k].soc < soc)
    k++;
  if (k == 0 || k == n)
    return a[k == 0 ? 0 : n - 1].dv;
  return a[k - 1].dv + (a[k].dv - a[k - 1].dv) * (soc - a[k - 1].soc) /
                           (a[k].soc - a[k - 1].soc);
}

/* The shape on an axis of its own on which 'capacity' C lie between 0 and
** 1, both full at the same place: beyond its end it goes on straight. */
static void stretch_curve (rests *r, double capacity, double least,
                           double *v) {
  double ratio = capacity / r->capacity;
  for (int k = 0; k < KNOTS; k++) {
    double z = 1.0 - (1.0 - knot(k)) * ratio, in = fmin(fmax(z, 0.0), 1.0);
    v[k] = amp_curve_at(&r->curve, in) +
           (z - in) * amp_curve_slope(&r->curve, in);
    v[k] = fmax(v[k], LOWEST * least);
  }
}

/*
** A shape of another cell: between two anchors its rise is stretched to
** theirs, which keeps it rising and gives every anchor exactly; beyond the
** outer ones it is shifted.
*/
static double warped (const rests *r, const anchor *a, int n, double soc) {
  double here = amp_curve_at(&r->curve, soc), from, to;
  int k = 0;
  while (k < n && a[k].soc < soc)
    k++;
  if (k == 0 || k == n)
    return here + anchored(a, n, soc);
  from = amp_curve_at(&r->curve, a[k - 1].soc);
  to = amp_curve_at(&r->curve, a[k].soc);
  return from + a[k - 1].dv +
         (here - from) * (1.0 + (a[k].dv - a[k - 1].dv) / (to - from));
}

static void judge_anchors (const anchor *a, int n, const char *name,
                           const char *whose, amp_fit *out) {
  double far = 0.0;
  for (int k = 0; k < n; k++)
    far = fmax(far, fabs(a[k].dv));
  if (far > 0.03)
    amp_fit_warn(out,
                 "%s: rests lie up to %g mV off the %s curve, which is moved"
                 " onto them",
                 name, amp_fit_round(far * 1000.0), whose);
}

/* Move the curve onto the anchors; said where that is far. */
static amp_status move_curve (rests *r, const char *name, bool own_shape,
                              amp_fit *out, amp_error *err) {
  anchor a[AMP_FIT_RESTS];
  double v[KNOTS], capacity = fmax(r->capacity, r->hi - r->lo);
  amp_status st;
  int n;
  stretch_curve(r, capacity, out->chemistry.v_min, v);
  r->capacity = capacity;
  if ((st = make_curve(v, &r->curve, err)) != AMP_OK)
    return st;
  n = find_anchors(r, ANCHOR_SLOPE, a);
  judge_anchors(a, n, name, own_shape ? "slow log's" : "chemistry's", out);
  n = find_anchors(r, own_shape ? ANCHOR_SLOPE : INFINITY, a);
  for (int k = 0; k < KNOTS; k++)
    v[k] =
        own_shape ? v[k] + anchored(a, n, knot(k)) : warped(r, a, n, knot(k));
  return make_curve(v, &out->chemistry.ocv, err);
}

/* ---- the call ---- */

static const char *name_of (const amp_fit_input *in, int k) {
  return in->pulse_name[k] != NULL ? in->pulse_name[k] : "pulse log";
}

/* Do the rests lie on the curve at all, where it is not steep? */
static void judge_rests (const rests *r, const char *name, amp_fit *out) {
  double sum = 0.0;
  int n = 0;
  for (int k = 0; k < r->n; k++) {
    double z = fmin(fmax(soc_of(r, r->at[k].charge), 0.0), 1.0);
    double d = r->at[k].v - amp_curve_at(&r->curve, z);
    if (amp_curve_slope(&r->curve, z) > ANCHOR_SLOPE)
      continue;
    sum += d * d;
    n++;
  }
  if (n > 0 && sqrt(sum / n) > REST_OFF)
    amp_fit_warn(out,
                 "%s: its rests lie %g mV off the curve on the average: is"
                 " the chemistry right?",
                 name, amp_fit_round(1000.0 * sqrt(sum / n)));
}

/* Log k: its capacity with sd (INFINITY: not known, to 5 % before what hangs
** together is counted), first SoC and temperature. */
static amp_status place_log (const amp_context *ctx, const amp_fit_input *in,
                             int k, rests *r, double *sd, amp_fit *out,
                             amp_error *err) {
  double edge;
  amp_status st =
      collect_rests(ctx, in->pulse[k], in->capacity, r, &edge, err);
  if (st != AMP_OK)
    return st;
  r->top = top_soc(r, in->capacity);
  if (r->n == 0)
    amp_fit_warn(out, "%s: holds no rest; it is taken to begin full",
                 name_of(in, k));
  *sd = 0.0;
  if (in->pulse_capacity[k] > 0.0)
    r->capacity = in->pulse_capacity[k];
  else
    st = lay_on_curve(ctx, r, in->capacity, sd, err);
  if (st != AMP_OK)
    return st;
  *sd = *sd < 0.05 * r->capacity ? *sd * together(r) : INFINITY;
  judge_rests(r, name_of(in, k), out);
  out->capacity_at[k] = r->capacity;
  out->soc_at[k] = soc_of(r, 0.0);
  out->temp_at[k] = amp_fit_temp(in->pulse[k]);
  if (!(out->temp_at[k] > 0.0)) {
    out->temp_at[k] = T_REF;
    amp_fit_warn(out, "%s: no temperature; 25 C is taken", name_of(in, k));
  }
  return AMP_OK;
}

/* The log with a known capacity whose temperature is nearest to log k's;
** -1: none has one. */
static int nearest_known (const amp_fit_input *in, const amp_fit *out,
                          const double *sd, int k) {
  int best = -1;
  for (int j = 0; j < in->pulses; j++)
    if (isfinite(sd[j]) &&
        (best < 0 || fabs(out->temp_at[j] - out->temp_at[k]) <
                         fabs(out->temp_at[best] - out->temp_at[k])))
      best = j;
  return best;
}

/* A capacity the log's rests do not tell is that of the log nearest in
** temperature whose do; where none does, the label's. */
static void borrow_capacity (const amp_fit_input *in, const double *sd, int k,
                             amp_fit *out) {
  int from = nearest_known(in, out, sd, k);
  double lo, hi, top;
  amp_fit_span(in->pulse[k], &lo, &hi);
  top = out->soc_at[k] - lo / out->capacity_at[k];
  if (from >= 0)
    out->capacity_at[k] = out->capacity_at[from];
  out->soc_at[k] = top + lo / out->capacity_at[k];
  amp_fit_warn(out,
               "%s: its rests do not determine the capacity; %g Ah %s are"
               " taken",
               name_of(in, k), amp_fit_round(out->capacity_at[k] / 3600.0),
               from >= 0 ? "of the log nearest in temperature"
                         : "of the label");
}

/* Capacities with what is known of them; those given are no result. */
static void report_capacities (const amp_fit_input *in, const double *sd,
                               amp_fit *out) {
  for (int k = 0; k < in->pulses; k++) {
    if (in->pulse_capacity[k] > 0.0)
      continue;
    if (!isfinite(sd[k]))
      borrow_capacity(in, sd, k, out);
    amp_fit_add(out, "capacity", "Ah", __builtin_nan(""),
                out->capacity_at[k] / 3600.0, sd[k] / 3600.0);
    out->parameter[out->parameters - 1].temp = out->temp_at[k];
  }
}

/* The log nearest 25 C. */
static int reference_log (const amp_fit_input *in, const amp_fit *out) {
  int best = 0;
  for (int k = 1; k < in->pulses; k++)
    if (fabs(out->temp_at[k] - T_REF) < fabs(out->temp_at[best] - T_REF))
      best = k;
  return best;
}

static amp_status pulse_edge (const amp_context *ctx, const amp_fit_input *in,
                              rests *room, double *edge, amp_error *err) {
  *edge = __builtin_nan("");
  return in->pulses > 0
             ? collect_rests(ctx, in->pulse[0], in->capacity, room, edge, err)
             : AMP_OK;
}

static amp_status slow_curve (const amp_context *ctx, const amp_fit_input *in,
                              rests *room, amp_fit *out, amp_error *err) {
  double edge, v[KNOTS];
  slow s;
  amp_status st = read_slow(ctx, in, &s, err);
  if (st == AMP_OK)
    st = pulse_edge(ctx, in, room, &edge, err);
  if (st != AMP_OK)
    return st;
  judge_offset(&s, out);
  judge_leads(&s, edge, in->capacity, out);
  judge_rate(&s, in->capacity, out);
  report_gap(&s, out);
  mean_branch(&s, v);
  out->chemistry.source = NULL;
  return make_curve(v, &out->chemistry.ocv, err);
}

/* No log may leave 0..1: capacity at least what it moved. */
static amp_status keep_inside (const amp_fit_input *in, int k, amp_fit *out,
                               amp_error *err) {
  double lo, hi, top, capacity;
  amp_fit_span(in->pulse[k], &lo, &hi);
  top = out->soc_at[k] - lo / out->capacity_at[k];
  capacity = fmax(out->capacity_at[k], (hi - lo) / fmax(top, 1e-3));
  if (capacity > MOST_TIMES * fmax(in->capacity, hi - lo)) {
    amp_failf(err, AMP_EDATA, "pulses",
              "the log does not fit the curve: by its rests it holds %g %%"
              " at most, and it gives off %g Ah",
              amp_fit_round(100.0 * top), amp_fit_round((hi - lo) / 3600.0));
    if (err != NULL)
      err->line = (size_t)k + 1;
    return AMP_EDATA;
  }
  out->capacity_at[k] = capacity;
  out->soc_at[k] = fmin(fmax(top + lo / capacity, 0.0), 1.0);
  return AMP_OK;
}

static amp_status curve_and_capacity (const amp_context *ctx,
                                      const amp_fit_input *in, rests *r,
                                      amp_fit *out, amp_error *err) {
  amp_status st = AMP_OK;
  double edge, sd[AMP_FIT_LOGS];
  int best;
  if (in->slow != NULL)
    st = slow_curve(ctx, in, r, out, err);
  r->curve = out->chemistry.ocv;
  for (int k = 0; k < in->pulses && st == AMP_OK; k++)
    st = place_log(ctx, in, k, r, &sd[k], out, err);
  if (st != AMP_OK || in->pulses == 0)
    return st;
  report_capacities(in, sd, out);
  best = reference_log(in, out);
  st = collect_rests(ctx, in->pulse[best], in->capacity, r, &edge, err);
  r->capacity = out->capacity_at[best];
  r->top = out->soc_at[best] - r->lo / r->capacity;
  if (st == AMP_OK)
    st = judge_loop(ctx, in, r, best, name_of(in, best), out, err);
  if (st == AMP_OK)
    st = move_curve(r, name_of(in, best), in->slow != NULL, out, err);
  out->chemistry.source = NULL;
  for (int k = 0; k < in->pulses && st == AMP_OK; k++)
    st = keep_inside(in, k, out, err);
  return st;
}

amp_status amp_fit_ocv (const amp_context *ctx, const amp_fit_input *in,
                        amp_fit *out, amp_error *err) {
  amp_status st = AMP_OK;
  rests *r;
  out->chemistry = *in->chemistry;
  out->current_offset = __builtin_nan("");
  for (int k = 0; k < in->pulses && st == AMP_OK; k++)
    st = amp_fit_check_log(in->pulse[k], k + 1, 0.1 * in->capacity, err);
  if (st != AMP_OK)
    return st;
  if ((r = amp_alloc(ctx, sizeof *r)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", 1, 0, 0);
  st = curve_and_capacity(ctx, in, r, out, err);
  amp_free(ctx, r, sizeof *r);
  return st;
}
