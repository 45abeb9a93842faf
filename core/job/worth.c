/*
** worth.c -- what more tests of a lot are worth, by preposterior analysis.
** Model, symbols and the limits of it: docs/model/worth.md.
**
** Belief about a mean is a t law (a normal one where the spread is known),
** cut to lo .. hi. H is the integral of (worth - price) under such a law,
** in closed form. A test outcome is (d, B): how far its mean lies off, and
** which part of the sum of squares it brings; over both runs quadrature,
** split where the decision turns.
*/
#include "job/worth.h"
#include "base/elementary.h"
#include "base/sample.h"
#include "cost/chance.h"
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

enum {
  NODES = 61,  /* of one interval */
  ROUGH = 31,  /* of one interval, where three digits do */
  SHARES = 9,  /* of the share B */
  PIECES = 12, /* intervals between known corners */
  DEPTH = 5,   /* of splits at turns of the decision */
  ROOT_STEPS = 60
};

static const double MONEY_MOST = 1e9;

/* ---- the law of a mean ---- */

typedef struct law {
  double at, scale; /* scale 0: known */
  int dof;          /* 0: normal */
  double far;       /* beyond so many scales nothing is left; 0: not told */
} law;

static double cdf (double x, int dof) {
  if (isinf(x))
    return x < 0.0 ? 0.0 : 1.0;
  return dof == 0 ? amp_normal_cdf(x) : amp_t_cdf(x, dof);
}

/* Density of t at 0 is b/sqrt(dof), b = 1/pi, 1/2, and by two more:
** b (dof + 1)/dof. */
static double density (double x, int dof) {
  if (isinf(x))
    return 0.0;
  if (dof == 0)
    return amp_exp(-0.5 * x * x) / sqrt(2.0 * AMP_PI);
  double b = dof % 2 == 1 ? 1.0 / AMP_PI : 0.5;
  for (int n = dof % 2 == 1 ? 1 : 2; n < dof; n += 2)
    b *= (n + 1.0) / n;
  return b / sqrt(dof) * amp_exp(-0.5 * (dof + 1.0) * amp_log1p(x * x / dof));
}

/* Integral of x times the density from x1 to x2. */
static double moment (double x1, double x2, int dof) {
  if (dof == 1)
    return (amp_log1p(x2 * x2) - amp_log1p(x1 * x1)) / (2.0 * AMP_PI);
  double f1 = density(x1, dof), f2 = density(x2, dof);
  if (dof == 0)
    return f1 - f2;
  return ((isinf(x1) ? 0.0 : (dof + x1 * x1) * f1) -
          (isinf(x2) ? 0.0 : (dof + x2 * x2) * f2)) /
         (dof - 1.0);
}

/* Chance of lo .. hi, and the integral of (slope x - less) over it. */
static double over (const law *p, double lo, double hi, double slope,
                    double less, double *chance) {
  if (!(p->scale > 0.0)) {
    *chance = p->at >= lo && p->at <= hi ? 1.0 : 0.0;
    return *chance * (slope * p->at - less);
  }
  double x1 = (lo - p->at) / p->scale, x2 = (hi - p->at) / p->scale;
  if (!(x2 > x1)) {
    *chance = 0.0;
    return 0.0;
  }
  if (p->far > 0.0) { /* spares most of the work */
    x1 = x1 < -p->far ? -(double)INFINITY : x1;
    x2 = x2 > p->far ? (double)INFINITY : x2;
    if (isinf(x1) && isinf(x2)) {
      *chance = 1.0;
      return slope * p->at - less;
    }
  }
  /* from the far side, where the two would cancel */
  *chance = x1 > 0.0 ? cdf(-x1, p->dof) - cdf(-x2, p->dof)
                     : cdf(x2, p->dof) - cdf(x1, p->dof);
  return (slope * p->at - less) * *chance +
         slope * p->scale * moment(x1, x2, p->dof);
}

/* ---- quadrature ---- */

/*
** tanh-sinh (H. Takahasi, M. Mori, Publ. RIMS Kyoto Univ. 9 (1974) 721):
** crowds its points at the ends of an interval, where all that is sharp here
** lies. x in -1 .. 1 as its distance to the nearer end, with sign.
*/
typedef struct rule {
  int n;
  double left[NODES], right[NODES], weight[NODES]; /* of 0 .. 1 */
} rule;

static rule rule_of (int n) {
  rule r = {.n = n};
  double h = 6.4 / (n - 1);
  for (int i = 0; i < n; i++) {
    double t = -3.2 + h * i;
    double e = amp_exp(t), s = AMP_PI * 0.5 * (e - 1.0 / e);
    double c = AMP_PI * 0.5 * (e + 1.0 / e);
    r.left[i] = 1.0 / (1.0 + amp_exp(-s));
    r.right[i] = 1.0 / (1.0 + amp_exp(s));
    r.weight[i] = h * c * r.left[i] * r.right[i];
  }
  return r;
}

/* ---- one number of tests ---- */

typedef struct pair {
  double sum, all;
} pair;

typedef struct tests {
  const amp_worth_ask *a;
  rule line, rough, shares;
  amp_share duds;
  double sign; /* -1: would be bought as it is, so what is gained is the
                   loss that the tests avoid */
  int k, j;    /* tested next, good ones among them */
  int rest;    /* untested after that */
  double p[AMP_WORTH_LOT + 1]; /* chance that so many of these are good */
  double left;  /* good ones among the rest in the mean, for the band */
  double t975;  /* quantile of the law after these tests */
  double far;   /* of the law after these tests */
  double share; /* B */
  double reach; /* of w = asinh(d / scale of d) */
} tests;

static double squares (const amp_worth_ask *a) {
  return a->dof > 0 ? a->dof * a->sd * a->sd : 0.0;
}

/* Scale of d, the mean of j tests less the mean as it is believed now. */
static double scale_d (const amp_worth_ask *a, int j) {
  return a->sd * sqrt(1.0 / a->weight + 1.0 / j);
}

/* Belief about the mean of all good ones, of which r stay untested, after j
** tests whose mean lay off by d. */
static law after (const amp_worth_ask *a, int j, double d, double share,
                  double r) {
  double n = a->tested + j + r, w = a->weight + j;
  double mean = a->mean + (j > 0 ? j * d / w : 0.0);
  double s2 = a->sd * a->sd;
  law p = {0.0, 0.0, a->dof > 0 ? a->dof + j : 0, 0.0};
  if (a->dof > 0 && j > 0)
    s2 = (squares(a) + a->weight * j / w * d * d) / (1.0 - share) / p.dof;
  p.at = (a->sum + j * (a->mean + d) + r * mean) / n;
  if (r > 0.0)
    p.scale = r / n * sqrt(s2 * (1.0 / w + 1.0 / r));
  return p;
}

/* (1 + x^2/dof)^(dof/2) is 1e16 there. */
static double far_of (int dof) {
  return dof == 0 ? 9.0 : sqrt(dof * amp_expm1(32.0 * amp_log(10.0) / dof));
}

/* Where the mean of the lot's good modules, g of them not tested yet, can
** lie at all: what was tested is known, each other in lo .. hi. */
static void limits (const amp_worth_ask *a, double g, double *lo,
                    double *hi) {
  double n = a->tested + g;
  *lo = g > 0.0 && isinf(a->lo) ? a->lo : (a->sum + g * a->lo) / n;
  *hi = g > 0.0 && isinf(a->hi) ? a->hi : (a->sum + g * a->hi) / n;
  if (g <= 0.0)
    *lo = *hi = a->sum / n;
}

/* H summed over how many of the rest are good; its chance to *chance. */
static double worth_at (const tests *t, double d, double *chance) {
  const amp_worth_ask *a = t->a;
  double sum = 0.0;
  *chance = 0.0;
  for (int r = 0; r <= t->rest; r++) {
    int n = a->tested + t->j + r;
    double c = 1.0, h = -a->price; /* n = 0: nothing to be worth anything */
    if (!(t->p[r] > 1e-8))
      continue;
    if (n > 0) {
      double lo, hi;
      law p = after(a, t->j, d, t->share, r);
      p.far = t->far;
      limits(a, t->j + r, &lo, &hi);
      h = over(&p, lo, hi, n * a->value, a->price, &c);
    }
    *chance += t->p[r] * c;
    sum += t->p[r] * h;
  }
  return sum;
}

/* What is gained at w, times the density of w. */
static double at_w (const tests *t, double w) {
  double e = amp_exp(w), x = 0.5 * (e - 1.0 / e), slope = 0.5 * (e + 1.0 / e);
  double unused;
  double h = t->sign * worth_at(t, x * scale_d(t->a, t->j), &unused);
  return h * density(x, t->a->dof) * slope;
}

static double turn (const tests *t, double lo, double hi, double at_lo) {
  for (int i = 0; i < ROOT_STEPS; i++) {
    double mid = lo + 0.5 * (hi - lo);
    double v = at_w(t, mid);
    if ((v > 0.0) == (at_lo > 0.0))
      lo = mid;
    else
      hi = mid;
  }
  return lo + 0.5 * (hi - lo);
}

static double place_of (const rule *r, int i, double lo, double hi) {
  return r->left[i] < 0.5 ? lo + (hi - lo) * r->left[i]
                          : hi - (hi - lo) * r->right[i];
}

/* Integral of what is gained where it is, over one interval of w. */
static double gained (const tests *t, double lo, double hi, int depth) {
  double v[NODES], sum = 0.0, most = 0.0;
  const rule *r = &t->line;
  for (int i = 0; i < r->n; i++) {
    v[i] = at_w(t, place_of(r, i, lo, hi));
    most = fmax(most, fabs(v[i]));
    sum += fmax(v[i], 0.0) * r->weight[i];
  }
  for (int i = 1; depth > 0 && i < r->n; i++)
    if (v[i] * v[i - 1] < 0.0 && fabs(v[i] - v[i - 1]) > 1e-9 * most) {
      double w = turn(t, place_of(r, i - 1, lo, hi), place_of(r, i, lo, hi),
                      v[i - 1]);
      return gained(t, lo, w, depth - 1) + gained(t, w, hi, depth - 1);
    }
  return sum * (hi - lo);
}

/* w at which the middle of belief, with r of the rest good, comes to x. */
static double corner (const tests *t, double x, int r) {
  const amp_worth_ask *a = t->a;
  law at0 = after(a, t->j, 0.0, 0.0, r), at1 = after(a, t->j, 1.0, 0.0, r);
  double d = (x - at0.at) / (at1.at - at0.at);
  return amp_asinh(d / scale_d(a, t->j));
}

/* Corners of the cut and of the decision inside the reach, in order. */
static int corners (const tests *t, double *w) {
  int n = 0, rest[2] = {0, 0};
  double mean = 0.0;
  for (int r = 0; r <= t->rest; r++)
    mean += r * t->p[r];
  rest[1] = (int)floor(mean + 0.5);
  w[n++] = -t->reach;
  w[n++] = 0.0; /* where most of the outcomes lie */
  for (int i = t->p[0] > 1e-9 && rest[1] > 0 ? 0 : 1; i < 2; i++) {
    double good_ones = t->a->tested + t->j + rest[i];
    double at[3] = {0.0, 0.0, t->a->price / (t->a->value * good_ones)};
    limits(t->a, t->j + rest[i], &at[0], &at[1]);
    for (int k = 0; k < 3; k++) {
      double c = isinf(at[k]) ? t->reach : corner(t, at[k], rest[i]);
      if (fabs(c) < t->reach)
        w[n++] = c;
    }
  }
  w[n++] = t->reach;
  amp_sort(w, (size_t)n);
  return n;
}

static pair over_d (const tests *t) {
  double w[PIECES], sum = 0.0;
  int n = corners(t, w);
  for (int i = 1; i < n; i++)
    if (w[i] - w[i - 1] > 1e-12)
      sum += gained(t, w[i - 1], w[i], DEPTH);
  return (pair){sum, 0.0};
}

/* Over B, a beta law of (j-1)/2 and (dof+1)/2, whatever d is: B (SS_0 + ..)
** of docs/model/worth.md. Where spread is known, or one is tested, B is 0. */
static pair over_share (tests *t, pair (*f)(const tests *)) {
  pair sum = {0.0, 0.0};
  double all = 0.0, p = 0.5 * (t->j - 1), q = 0.5 * (t->a->dof + 1);
  const rule *r = &t->shares;
  t->share = 0.0;
  if (t->a->dof == 0 || t->j < 2)
    return f(t);
  for (int i = 0; i < r->n; i++) {
    double w = r->weight[i] * amp_pow(r->left[i], p - 1.0) *
               amp_pow(r->right[i], q - 1.0);
    all += w;
    t->share = r->left[i];
    /* 1 - B is what counts, and B next to 1 would lose it */
    if (r->right[i] < 1e-12 || !(w > 0.0))
      continue;
    pair v = f(t);
    sum.sum += w * v.sum;
    sum.all += w * v.all;
  }
  return (pair){sum.sum / all, sum.all / all};
}

static double reach_of (int dof) {
  return dof == 0 ? amp_asinh(10.0) : fmin(2.9 + 26.0 / dof, 15.0);
}

/* Chances of the rest, once j of k were good. */
static void set_rest (tests *t, int k, int j) {
  t->k = k;
  t->j = j;
  t->rest = t->a->untested - k;
  t->far = far_of(t->a->dof > 0 ? t->a->dof + j : 0);
  for (int r = 0; r <= t->rest; r++)
    t->p[r] = amp_share_chance(&t->duds, r, t->rest, j, k - j);
}

/* Gain of k tests, times the chance of the cut. */
static double gain_of (tests *t, int k) {
  double sum = 0.0, unused;
  for (int j = 0; j <= k; j++) {
    double p = amp_share_chance(&t->duds, j, k, 0, 0);
    if (!(p > 1e-9))
      continue;
    set_rest(t, k, j);
    t->share = 0.0;
    sum += p * (j == 0 ? fmax(t->sign * worth_at(t, 0.0, &unused), 0.0)
                       : over_share(t, over_d).sum);
  }
  return sum;
}

/* All tested, g of the rest good: what is believed of their mean, its limits,
** and the mean at which the decision turns, price / (value n). */
typedef struct outcome {
  double p; /* its chance */
  int n;    /* good ones; of 0 no more is told */
  double lo, hi, at;
  law mean;
} outcome;

static outcome outcome_of (const tests *t, int g) {
  const amp_worth_ask *a = t->a;
  outcome o = {.p = amp_share_chance(&t->duds, g, a->untested, 0, 0),
               .n = a->tested + g};
  if (o.n == 0)
    return o;
  limits(a, g, &o.lo, &o.hi);
  o.at = fmin(fmax(a->price / (o.n * a->value), o.lo), o.hi);
  o.mean = after(a, 0, 0.0, 0.0, g);
  return o;
}

/* The same once all are tested, in closed form: the mean is then known. */
static double perfect_of (const tests *t) {
  const amp_worth_ask *a = t->a;
  double sum = 0.0, c;
  for (int g = 0; g <= a->untested; g++) {
    outcome o = outcome_of(t, g);
    double h = -a->price;
    if (o.n > 0)
      h = over(&o.mean, t->sign > 0.0 ? o.at : o.lo,
               t->sign > 0.0 ? o.hi : o.at, o.n * a->value, a->price, &c);
    sum += o.p * fmax(t->sign * h, 0.0);
  }
  return sum;
}

/* Chance that the lot is worth its price, times that of the cut. */
static double chance_of (const tests *t) {
  const amp_worth_ask *a = t->a;
  double sum = 0.0, c;
  for (int g = 0; g <= a->untested; g++) {
    outcome o = outcome_of(t, g);
    if (o.n == 0)
      c = a->price <= 0.0;
    else if (o.mean.scale > 0.0)
      over(&o.mean, o.at, o.hi, 0.0, 0.0, &c);
    else
      c = o.mean.at * o.n * a->value >= a->price;
    sum += o.p * c;
  }
  return sum;
}

/* ---- the band ---- */

static double band (const law *p) {
  if (!(p->scale > 0.0))
    return 0.0;
  return p->scale * (p->dof == 0 ? amp_normal_quantile(0.975)
                                 : amp_t_quantile(0.975, p->dof));
}

/* Half width, no wider than the cut, times the chance of the outcome; and
** that chance. */
static pair width_at (const tests *t, double w) {
  double e = amp_exp(w), x = 0.5 * (e - 1.0 / e), slope = 0.5 * (e + 1.0 / e);
  double c, lo, hi, p = density(x, t->a->dof) * slope;
  law b = after(t->a, t->j, x * scale_d(t->a, t->j), t->share, t->left);
  b.far = t->far;
  limits(t->a, t->j + t->left, &lo, &hi);
  over(&b, lo, hi, 0.0, 0.0, &c);
  return (pair){fmin(b.scale * t->t975, 0.5 * (hi - lo)) * c * p, c * p};
}

/* A band is told in three digits: by the rough rule. */
static pair wide (const tests *t) {
  double w[PIECES];
  const rule *r = &t->rough;
  pair sum = {0.0, 0.0};
  int n = corners(t, w);
  for (int i = 1; i < n; i++)
    for (int k = 0; k < r->n && w[i] - w[i - 1] > 1e-12; k++) {
      pair v = width_at(t, place_of(r, k, w[i - 1], w[i]));
      sum.sum += v.sum * r->weight[k] * (w[i] - w[i - 1]);
      sum.all += v.all * r->weight[k] * (w[i] - w[i - 1]);
    }
  return sum;
}

static double quantile (int dof) {
  return dof == 0 ? amp_normal_quantile(0.975) : amp_t_quantile(0.975, dof);
}

/* How many of the rest are good in the mean, once j of k were. */
static double left_of (const tests *t) {
  double sum = 0.0;
  for (int r = 0; r <= t->rest; r++)
    sum += r * t->p[r];
  return sum;
}

/* Expected half width after k tests, over how many of them are good; that of
** the rest as many are as in the mean. */
static double width_of (tests *t, int k) {
  double sum = 0.0;
  for (int j = 0; j <= k; j++) {
    double p = amp_share_chance(&t->duds, j, k, 0, 0);
    if (!(p > 1e-9))
      continue;
    set_rest(t, k, j);
    t->left = left_of(t);
    t->t975 = quantile(t->a->dof > 0 ? t->a->dof + j : 0);
    if (j > 0) {
      pair v = over_share(t, wide);
      sum += p * v.sum / v.all;
    } else if (t->a->tested + t->left > 0.0) {
      law b = after(t->a, 0, 0.0, 0.0, t->left);
      sum += p * band(&b);
    }
  }
  return sum;
}

static double width_now (tests *t) {
  set_rest(t, 0, 0);
  t->left = left_of(t);
  law b = after(t->a, 0, 0.0, 0.0, t->left);
  return t->a->tested + t->left > 0.0 ? band(&b) : 0.0;
}

/* Do n tests of the lot bring its mean so near? */
static bool near_enough (int n, int of, double sd, int known,
                         double half_width) {
  double q =
      known ? amp_normal_quantile(0.975) : amp_t_quantile(0.975, n - 1);
  return q * sd / sqrt(n) * sqrt(1.0 - (double)n / of) <= half_width;
}

/* Each factor of the band falls with n, so what n tests reach, more reach:
** the first of them is found by halves. */
int amp_worth_tests_for (int of, int tested, double sd, int known,
                         double half_width) {
  int least = known ? 1 : 2, lo = tested > least ? tested : least, hi = of;
  while (lo < hi) {
    int n = lo + (hi - lo) / 2;
    if (near_enough(n, of, sd, known, half_width))
      hi = n;
    else
      lo = n + 1;
  }
  return hi;
}

/* ---- the answer ---- */

static amp_status check_belief (const amp_worth_ask *a, amp_error *err) {
  amp_status s = amp_check_range(err, "mean", a->mean, -1e9, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "weight", a->weight, 1e-6, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "dof", a->dof, 0, AMP_WORTH_LOT);
  if (s == AMP_OK)
    s = amp_check_range(err, "sd", a->sd, 1e-9 * fmax(fabs(a->mean), 1e-9),
                        1e9);
  if (s == AMP_OK && !(a->lo < a->hi))
    s = amp_failf(err, AMP_ERANGE, "lo", "the cut has no width");
  if (s == AMP_OK && a->dof == 1 && (isinf(a->lo) || isinf(a->hi)))
    s = amp_failf(err, AMP_EREFUSED, "dof",
                  "two tests leave any mean possible: a limit is wanted, as "
                  "a nameplate gives it");
  return s;
}

static amp_status check (const amp_worth_ask *a, amp_error *err) {
  amp_status s = amp_check_range(err, "tested", a->tested, 0, AMP_WORTH_LOT);
  if (s == AMP_OK && a->untested < 1)
    s = amp_failf(err, AMP_EREFUSED, "untested", "nothing is left to test");
  if (s == AMP_OK)
    s = amp_check_range(err, "dud", a->dud, 0.0, 1.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "dud_sd", a->dud_sd, 0.0, 0.5);
  if (s == AMP_OK)
    s = amp_check_range(err, "untested", a->untested, 1,
                        a->dud > 0.0 ? AMP_WORTH_DUDS
                                     : AMP_WORTH_LOT - a->tested);
  if (s == AMP_OK)
    s = amp_check_range(err, "value", a->value, 1e-9, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "price", a->price, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "cost", a->cost, 0.0, MONEY_MOST);
  return s == AMP_OK ? check_belief(a, err) : s;
}

static void put_limits (const amp_worth_ask *a, amp_worth *out) {
  double surely = a->dud > 0.0 ? 0.0 : a->untested * a->lo;
  out->least = a->value * (a->sum + fmin(surely, a->untested * a->lo));
  out->most = a->value * (a->sum + a->untested * a->hi);
}

amp_status amp_worth_testing (const amp_worth_ask *a, amp_worth *out,
                              amp_error *err) {
  amp_status s = check(a, err);
  double cut;
  if (s != AMP_OK)
    return s;
  tests t = {.a = a,
             .line = rule_of(NODES),
             .rough = rule_of(ROUGH),
             .shares = rule_of(SHARES)};
  t.duds = amp_share_of(a->dud, a->dud_sd);
  t.reach = reach_of(a->dof);
  set_rest(&t, 0, 0);
  double net = worth_at(&t, 0.0, &cut);
  if (!(cut > 1e-9))
    return amp_failf(err, AMP_EREFUSED, "mean",
                     "what was tested lies outside the limits");
  t.sign = net >= 0.0 ? -1.0 : 1.0;
  *out = (amp_worth){.expected = net / cut + a->price,
                     .chance = chance_of(&t) / cut,
                     .perfect = perfect_of(&t) / cut,
                     .half_width = width_now(&t)};
  put_limits(a, out);
  for (int k = 1; k <= a->untested; k++) {
    amp_worth_step *q = &out->step[out->steps];
    if (k > 1 && k * a->cost > out->perfect)
      break;
    out->steps++;
    *q = (amp_worth_step){.tests = k, .cost = k * a->cost};
    q->gain = k < a->untested ? gain_of(&t, k) / cut : out->perfect;
    q->half_width = k < a->untested ? width_of(&t, k) : 0.0;
    double least = out->best > 0 ? out->step[out->best - 1].gain -
                                       out->step[out->best - 1].cost
                                 : 0.0;
    if (q->gain - q->cost > least + 1e-9)
      out->best = k;
  }
  return AMP_OK;
}
