/*
** least.c -- nonlinear least squares by cminpack's lmder, with differences
** in place of derivatives. The search runs in a variable u of typical size
** 1 for each parameter p: p = u scale without bounds; between two bounds
** p = (lo + hi)/2 + (hi - lo)/2 u / sqrt(1 + u^2); above one bound
** p = lo + scale (sqrt(u^2 + 1) - 1), and the mirror of it below one.
*/
#include "base/least.h"
#include "base/least_block.h"
#include <cminpack.h>
#include <float.h>
#include <limits.h>
#include <math.h>
#include <string.h>

#define STEP 1.5e-8      /* of u, forward differences in the search */
#define STEP_MIDDLE 1e-5 /* of u and p, central ones for the deviations */
#define ON_BOUND 1e-4    /* of the width, or of the typical size */
#define DEPENDENT 1e-6   /* singular value of unit columns, see header */
#define ABSENT 1e-10     /* length of a column beside the longest */
#define HUGE_RESIDUAL 1e100

typedef struct search {
  const amp_context *ctx;
  amp_residuals *f;
  void *arg;
  const amp_least_options *opt;
  size_t n, m;
  int calls, most;
  double *p;     /* n, of the point at hand */
  double *u;     /* n */
  double *scale; /* n */
  double *trial; /* m, for differences */
  double *r;     /* m, at the point at hand */
  double *j;     /* m * n, column by column */
  double *work;  /* 5 n + m for cminpack */
  double *v;     /* n * n, see deviations */
  int *pivot;    /* n */
  amp_status failed;
  amp_block_result blocks;
} search;

static double lower (const search *s, size_t i) {
  return s->opt->lo != NULL ? s->opt->lo[i] : -INFINITY;
}

static double upper (const search *s, size_t i) {
  return s->opt->hi != NULL ? s->opt->hi[i] : INFINITY;
}

/* ---- the change of variable ---- */

static double p_of_u (const search *s, size_t i, double u) {
  double lo = lower(s, i), hi = upper(s, i);
  if (isfinite(lo) && isfinite(hi))
    return 0.5 * (lo + hi) + 0.5 * (hi - lo) * (u / sqrt(1.0 + u * u));
  if (isfinite(lo))
    return lo + s->scale[i] * (sqrt(1.0 + u * u) - 1.0);
  if (isfinite(hi))
    return hi - s->scale[i] * (sqrt(1.0 + u * u) - 1.0);
  return u * s->scale[i];
}

/* Its inverse; a start on a bound is moved off it, where p stands still. */
static double u_of_p (const search *s, size_t i, double p) {
  double lo = lower(s, i), hi = upper(s, i), a;
  if (isfinite(lo) && isfinite(hi)) {
    a = fmin(fmax((2.0 * p - lo - hi) / (hi - lo), -0.999), 0.999);
    return a / sqrt(1.0 - a * a);
  }
  if (!isfinite(lo) && !isfinite(hi))
    return p / s->scale[i];
  a = 1.0 +
      fmax(isfinite(lo) ? p - lo : hi - p, 1e-3 * s->scale[i]) / s->scale[i];
  return sqrt(a * a - 1.0);
}

/* ---- residuals and their differences ---- */

/* At p; a residual that is not finite counts as a very bad point. */
static amp_status residuals_at (search *s, double *r) {
  amp_status st = s->f(s->arg, s->p, s->n, r, s->m);
  s->calls++;
  if (st == AMP_OK)
    for (size_t k = 0; k < s->m; k++)
      if (!(fabs(r[k]) < HUGE_RESIDUAL))
        r[k] = HUGE_RESIDUAL;
  return st;
}

/* Column i of the Jacobian in u, by a forward difference. */
static amp_status difference (search *s, const double *u, const double *r,
                              size_t i, double *column) {
  double keep = s->p[i], h = STEP * fmax(fabs(u[i]), 1.0), moved = u[i] + h;
  s->p[i] = p_of_u(s, i, moved);
  amp_status st = residuals_at(s, s->trial);
  s->p[i] = keep;
  for (size_t k = 0; k < s->m && st == AMP_OK; k++) {
    double d = (s->trial[k] - r[k]) / (moved - u[i]);
    column[k] = fabs(d) < HUGE_RESIDUAL ? d : 0.0;
  }
  return st;
}

/* What cminpack calls: the residuals (flag 1) or the Jacobian (2). */
static int serve (void *arg, int m, int n, const double *u, double *r,
                  double *j, int rows, int flag) {
  search *s = arg;
  (void)m;
  (void)rows;
  for (int i = 0; i < n; i++)
    s->p[i] = p_of_u(s, (size_t)i, u[i]);
  if (flag == 1)
    s->failed = residuals_at(s, r);
  else
    for (size_t i = 0; i < s->n && s->failed == AMP_OK; i++)
      s->failed = difference(s, u, r, i, j + i * s->m);
  if (s->failed == AMP_OK && amp_stopped(s->ctx))
    s->failed = AMP_ESTOP;
  return s->failed == AMP_OK && s->calls <= s->most ? 0 : -1;
}

static double square_sum (const double *v, size_t n) {
  double sum = 0.0;
  for (size_t i = 0; i < n; i++)
    sum += v[i] * v[i];
  return sum;
}

/* ---- what the data say ---- */

/* Distance from its nearer bound, in units in which 1 is far. */
static double clearance (const search *s, size_t i, double p) {
  double lo = lower(s, i), hi = upper(s, i);
  double unit = isfinite(lo) && isfinite(hi) ? hi - lo : s->scale[i];
  return fmin(p - lo, hi - p) / unit;
}

/*
** A parameter that ended close to a bound is put on it where that costs
** nothing; then held[i] is 1 and it has no deviation.
*/
static amp_status settle_bounds (search *s, double *sum, double *held) {
  amp_status st = AMP_OK;
  for (size_t i = 0; i < s->n && st == AMP_OK; i++) {
    double keep = s->p[i], lo = lower(s, i), hi = upper(s, i), got;
    held[i] = 0.0;
    if (!(clearance(s, i, keep) < ON_BOUND))
      continue;
    s->p[i] = keep - lo < hi - keep ? lo : hi;
    if ((st = residuals_at(s, s->trial)) != AMP_OK)
      break;
    got = square_sum(s->trial, s->m);
    held[i] = got <= *sum * (1.0 + 1e-8) ? 1.0 : 0.0;
    if (held[i] == 1.0)
      *sum = got;
    else
      s->p[i] = keep;
  }
  return st;
}

/* Column i of the Jacobian in p / scale, by a central difference. */
static amp_status middle_difference (search *s, size_t i, double *column) {
  double keep = s->p[i];
  double h = STEP_MIDDLE * fmax(fabs(keep), s->scale[i]), a, b;
  amp_status st;
  a = fmin(keep + h, upper(s, i));
  b = fmax(keep - h, lower(s, i));
  s->p[i] = a;
  if ((st = residuals_at(s, column)) == AMP_OK) {
    s->p[i] = b;
    st = residuals_at(s, s->trial);
  }
  s->p[i] = keep;
  for (size_t k = 0; k < s->m && st == AMP_OK; k++) {
    double d = (column[k] - s->trial[k]) / (a - b) * s->scale[i];
    column[k] = fabs(d) < HUGE_RESIDUAL ? d : 0.0;
  }
  return st;
}

/*
** One-sided Jacobi rotations (M. R. Hestenes, J. SIAM 6 (1958) 51-90): turn
** the n columns of a (rows each) until they are orthogonal; v collects the
** turns, so that a v = u sigma. Columns of v belong to those of a.
*/
static void turn_pair (double *x, double *y, size_t rows, double c,
                       double s) {
  for (size_t k = 0; k < rows; k++) {
    double t = x[k];
    x[k] = c * t - s * y[k];
    y[k] = s * t + c * y[k];
  }
}

static bool make_orthogonal (double *a, size_t rows, double *v, size_t n,
                             size_t i, size_t j) {
  double *x = a + i * rows, *y = a + j * rows, xy = 0.0;
  double xx = square_sum(x, rows), yy = square_sum(y, rows);
  for (size_t k = 0; k < rows; k++)
    xy += x[k] * y[k];
  if (fabs(xy) <= 1e-15 * sqrt(xx * yy) || xy == 0.0)
    return false;
  double zeta = (yy - xx) / (2.0 * xy);
  double t = copysign(1.0, zeta) / (fabs(zeta) + sqrt(1.0 + zeta * zeta));
  double c = 1.0 / sqrt(1.0 + t * t);
  turn_pair(x, y, rows, c, c * t);
  turn_pair(v + i * n, v + j * n, n, c, c * t);
  return true;
}

static void singular_values (double *a, size_t rows, double *v, size_t n) {
  memset(v, 0, n * n * sizeof *v);
  for (size_t i = 0; i < n; i++)
    v[i * n + i] = 1.0;
  for (int sweep = 0; sweep < 60; sweep++) {
    bool turned = false;
    for (size_t i = 0; i + 1 < n; i++)
      for (size_t j = i + 1; j < n; j++)
        turned = make_orthogonal(a, rows, v, n, i, j) || turned;
    if (!turned)
      return;
  }
}

/*
** Reduce the m rows of the n columns to n rows with the same inner products:
** Householder reflections, the triangle left in the top n rows.
*/
static void reduce_rows (double *a, size_t m, size_t n) {
  for (size_t i = 0; i < n; i++) {
    double *x = a + i * m + i, norm = sqrt(square_sum(x, m - i)), h;
    if (norm == 0.0)
      continue;
    norm = copysign(norm, x[0]);
    x[0] += norm;
    h = norm * x[0];
    for (size_t j = i + 1; j < n; j++) {
      double *y = a + j * m + i, dot = 0.0;
      for (size_t k = 0; k < m - i; k++)
        dot += x[k] * y[k];
      for (size_t k = 0; k < m - i; k++)
        y[k] -= dot / h * x[k];
    }
    x[0] = -norm;
    memset(x + 1, 0, (m - i - 1) * sizeof *x);
  }
}

/* Jacobian with columns of unit length; length[i] 0: not in the data. */
static amp_status unit_columns (search *s, const double *held,
                                double *length) {
  amp_status st = AMP_OK;
  double longest = 0.0;
  for (size_t i = 0; i < s->n && st == AMP_OK; i++) {
    double *column = s->j + i * s->m;
    memset(column, 0, s->m * sizeof *column);
    length[i] = 0.0;
    if (held[i] == 1.0)
      continue;
    if ((st = middle_difference(s, i, column)) == AMP_OK)
      length[i] = sqrt(square_sum(column, s->m));
    longest = fmax(longest, length[i]);
  }
  for (size_t i = 0; i < s->n; i++) {
    if (!(length[i] > ABSENT * longest))
      length[i] = 0.0;
    for (size_t k = 0; k < s->m; k++)
      s->j[i * s->m + k] =
          length[i] > 0.0 ? s->j[i * s->m + k] / length[i] : 0.0;
  }
  return st;
}

/*
** Covariance (V sigma^-2 V^T) of unit columns into c[n * n]; free[i] false
** where a direction without weight in the data holds a share of i.
*/
static void covariance (const search *s, double *c, bool *known) {
  size_t n = s->n;
  const double *v = s->v;
  memset(c, 0, n * n * sizeof *c);
  for (size_t k = 0; k < n; k++) {
    double sigma2 = square_sum(s->j + k * s->m, n);
    bool none = !(sigma2 > DEPENDENT * DEPENDENT);
    for (size_t i = 0; i < n; i++) {
      if (none && fabs(v[k * n + i]) > 1e-3)
        known[i] = false;
      for (size_t j = 0; j < n && !none; j++)
        c[i * n + j] += v[k * n + i] * v[k * n + j] / sigma2;
    }
  }
}

static void write_deviations (const search *s, const double *c,
                              const double *length, const double *held,
                              const bool *known, double sum, double *sd) {
  size_t n = s->n;
  double variance = s->m > n ? sum / (double)(s->m - n) : 0.0;
  variance = fmax(variance, s->opt->doubt);
  for (size_t i = 0; i < n; i++)
    if (held[i] == 1.0)
      sd[i] = __builtin_nan("");
    else if (length[i] == 0.0 || !known[i] || s->m <= n)
      sd[i] = INFINITY;
    else
      sd[i] = sqrt(variance * c[i * n + i]) * s->scale[i] / length[i];
}

static void write_correlation (size_t n, const double *c,
                               double *correlation) {
  for (size_t i = 0; i < n && correlation != NULL; i++)
    for (size_t j = 0; j < n; j++) {
      double d = sqrt(c[i * n + i] * c[j * n + j]);
      correlation[i * n + j] =
          i == j ? 1.0 : (d > 0.0 ? c[i * n + j] / d : 0.0);
    }
}

/*
** Deviations by blocks in place of those of independent residuals, where
** they are more. 'j' holds the unit columns, the search's own the directions
** from singular_values.
*/
static amp_status widen (search *s, double *j, const double *length,
                         double *sd) {
  size_t n = s->n, size = 2 * n * sizeof(double);
  double *sigma = amp_alloc(s->ctx, size), *variance;
  amp_block_input in = {.m = s->m,
                        .n = n,
                        .j = j,
                        .r = s->r,
                        .block = s->opt->block,
                        .v = s->v,
                        .sigma = sigma,
                        .doubt = s->opt->doubt};
  amp_status st;
  if (sigma == NULL)
    return AMP_ENOMEM;
  variance = sigma + n;
  for (size_t k = 0; k < n; k++) {
    sigma[k] = sqrt(square_sum(s->j + k * s->m, n));
    sigma[k] = sigma[k] > DEPENDENT ? sigma[k] : 0.0;
  }
  st = amp_block_variance(s->ctx, &in, variance, &s->blocks);
  for (size_t i = 0; i < n && st == AMP_OK; i++)
    if (isfinite(sd[i]))
      sd[i] = fmax(sd[i], sqrt(variance[i]) * s->scale[i] / length[i]);
  amp_free(s->ctx, sigma, size);
  return st;
}

/* Triangle of the reduced Jacobian, turned; which parameters it knows. */
static void directions (search *s, const double *length, bool *known) {
  size_t n = s->n;
  reduce_rows(s->j, s->m, n);
  for (size_t i = 1; i < n; i++) /* the triangle as n columns of n rows */
    for (size_t k = i + 1; k < n; k++)
      s->j[i * s->m + k] = 0.0;
  singular_values(s->j, s->m, s->v, n);
  for (size_t i = 0; i < n; i++) /* absent ones have no direction */
    known[i] = length[i] > 0.0;
}

/* 'work' is free again by now: held and length in it, known in 'pivot'. */
static amp_status deviations (search *s, double *held, double sum, double *sd,
                              double *correlation) {
  size_t n = s->n, whole = s->opt->block != NULL ? s->m * n : 0;
  double *length = held + n, *c, *sds;
  bool *known = (bool *)s->pivot;
  amp_status st = unit_columns(s, held, length);
  if (st != AMP_OK)
    return st;
  if ((c = amp_alloc(s->ctx, (n * n + n + whole) * sizeof *c)) == NULL)
    return AMP_ENOMEM;
  sds = c + n * n;
  memcpy(sds + n, s->j, whole * sizeof *c);
  directions(s, length, known);
  covariance(s, c, known);
  write_deviations(s, c, length, held, known, sum, sds);
  if (whole > 0)
    st = widen(s, sds + n, length, sds);
  if (sd != NULL)
    memcpy(sd, sds, n * sizeof *sd);
  write_correlation(n, c, correlation);
  amp_free(s->ctx, c, (n * n + n + whole) * sizeof *c);
  return st;
}

/* ---- the call ---- */

static size_t room_for (size_t n, size_t m) {
  return (8 * n + 3 * m + m * n + n * n) * sizeof(double) + n * sizeof(int);
}

/* One piece of memory, cut up. */
static void cut_room (search *s, double *room) {
  size_t n = s->n, m = s->m;
  s->p = room;
  s->u = s->p + n;
  s->scale = s->u + n;
  s->trial = s->scale + n;
  s->r = s->trial + m;
  s->j = s->r + m;
  s->work = s->j + m * n; /* 5 n + m */
  s->v = s->work + 5 * n + m;
  s->pivot = (int *)(s->v + n * n);
}

static amp_status check_input (const double *p, size_t n, size_t m,
                               const amp_least_options *opt, amp_error *err) {
  if (n == 0 || m < n || m * n > INT_MAX)
    return amp_failf(err, AMP_EDATA, NULL,
                     "%zu values do not determine %zu parameters", m, n);
  for (size_t i = 0; i < n; i++) {
    double lo = opt->lo != NULL ? opt->lo[i] : -INFINITY;
    double hi = opt->hi != NULL ? opt->hi[i] : INFINITY;
    if (!(p[i] >= lo && p[i] <= hi) || !isfinite(p[i]) || !(lo < hi))
      return amp_fail(err, AMP_ERANGE, "start", p[i], lo, hi);
    if (opt->scale != NULL &&
        !(opt->scale[i] > 0.0 && isfinite(opt->scale[i])))
      return amp_fail(err, AMP_ERANGE, "scale", opt->scale[i], 0.0, DBL_MAX);
  }
  return AMP_OK;
}

static amp_status start (search *s, const double *p, amp_error *err) {
  amp_status st;
  for (size_t i = 0; i < s->n; i++) {
    double size = p[i] != 0.0 ? fabs(p[i]) : 1.0;
    s->scale[i] = s->opt->scale != NULL ? s->opt->scale[i] : size;
    s->u[i] = u_of_p(s, i, p[i]);
    s->p[i] = p_of_u(s, i, s->u[i]);
  }
  st = s->f(s->arg, s->p, s->n, s->r, s->m);
  if (st != AMP_OK)
    return amp_failf(err, st, NULL, "the residuals cannot be worked out");
  for (size_t k = 0; k < s->m; k++)
    if (!isfinite(s->r[k]))
      return amp_failf(err, AMP_EDATA, NULL,
                       "residual %zu is not a finite number at the start",
                       k + 1);
  return AMP_OK;
}

/* The search itself; cminpack keeps the best point in u. */
static int run (search *s) {
  double tol = s->opt->tolerance > 0.0 ? s->opt->tolerance : 1e-8;
  double *w = s->work;
  size_t n = s->n;
  int calls = 0, jacobians = 0;
  return lmder(serve, s, (int)s->m, (int)n, s->u, s->r, s->j, (int)s->m, tol,
               tol, 0.0, s->most, w, 1, 100.0, 0, &calls, &jacobians,
               s->pivot, w + n, w + 2 * n, w + 3 * n, w + 4 * n, w + 5 * n);
}

static amp_status finish (search *s, int info, double *p, double *sd,
                          double *correlation, amp_least_result *result,
                          amp_error *err) {
  double sum, *held = s->work;
  amp_status st = s->failed;
  for (size_t i = 0; i < s->n; i++)
    s->p[i] = p_of_u(s, i, s->u[i]);
  if (st == AMP_OK)
    st = residuals_at(s, s->r);
  sum = square_sum(s->r, s->m);
  if (st == AMP_OK)
    st = settle_bounds(s, &sum, held);
  if (st == AMP_OK && (sd != NULL || correlation != NULL))
    st = deviations(s, held, sum, sd, correlation);
  if (st != AMP_OK)
    return amp_failf(err, st, NULL, "%s", amp_status_text(st));
  memcpy(p, s->p, s->n * sizeof *p);
  if (result != NULL)
    *result = (amp_least_result){.sum = sum,
                                 .evaluations = s->calls,
                                 .converged = info >= 1 && info <= 4,
                                 .blocks = (int)s->blocks.blocks,
                                 .widening = s->blocks.widening,
                                 .bounded = s->blocks.bounded};
  return AMP_OK;
}

amp_status amp_least (const amp_context *ctx, amp_residuals *f, void *arg,
                      double *p, size_t n, size_t m,
                      const amp_least_options *opt, double *sd,
                      double *correlation, amp_least_result *result,
                      amp_error *err) {
  static const amp_least_options plain;
  search s = {.ctx = ctx, .f = f, .arg = arg, .n = n, .m = m};
  s.blocks.widening = 1.0;
  s.opt = opt != NULL ? opt : &plain;
  amp_status st = check_input(p, n, m, s.opt, err);
  double *room;
  if (st != AMP_OK)
    return st;
  s.most = s.opt->evaluations > 0 ? s.opt->evaluations : 200 * ((int)n + 1);
  if ((room = amp_alloc(ctx, room_for(n, m))) == NULL)
    return amp_fail(err, AMP_ENOMEM, "least", (double)n, 0, 0);
  cut_room(&s, room);
  if ((st = start(&s, p, err)) == AMP_OK)
    st = finish(&s, run(&s), p, sd, correlation, result, err);
  amp_free(ctx, room, room_for(n, m));
  return st;
}
