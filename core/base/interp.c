/*
** interp.c -- curves through knots. The slopes of the monotone cubic are the
** weighted harmonic means of Fritsch and Butland (1984); the end slopes the
** three-point formula, cut so that the end pieces stay monotone.
*/
#include "base/interp.h"
#include "base/solve.h"
#include <math.h>
#include <string.h>

static amp_status check_knots (const double *x, const double *y, int n,
                               amp_error *err) {
  if (n < 2 || n > AMP_CURVE_MAX)
    return amp_failf(err, AMP_EDATA, NULL,
                     "a curve needs 2 to %d points, got %d", AMP_CURVE_MAX,
                     n);
  for (int i = 0; i < n; i++) {
    if (!isfinite(x[i]) || !isfinite(y[i]))
      return amp_failf(err, AMP_EDATA, NULL,
                       "point %d of the curve is not a finite number", i + 1);
    if (i > 0 && !(x[i] > x[i - 1]))
      return amp_failf(err, AMP_EDATA, NULL,
                       "points of a curve must rise: point %d at %g does not"
                       " lie above %g",
                       i + 1, x[i], x[i - 1]);
    if (i > 0 && !isfinite((y[i] - y[i - 1]) / (x[i] - x[i - 1])))
      return amp_failf(err, AMP_EDATA, NULL,
                       "the curve is too steep before point %d", i + 1);
  }
  return AMP_OK;
}

static double slope_right (const double *x, const double *y, int i) {
  return (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
}

/* Slope inside: 0 at a turn, else the weighted harmonic mean. */
static double inner_slope (double h0, double d0, double h1, double d1) {
  double w0 = h0 + 2.0 * h1, w1 = 2.0 * h0 + h1;
  if (!(d0 > 0 && d1 > 0) && !(d0 < 0 && d1 < 0))
    return 0.0;
  return (w0 + w1) / (w0 / d0 + w1 / d1);
}

/* Slope at an end; h0, d0 are those of the piece at the end. */
static double end_slope (double h0, double d0, double h1, double d1) {
  double m = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
  if ((m > 0) != (d0 > 0) || d0 == 0)
    return 0.0;
  if ((d0 > 0) != (d1 > 0) && fabs(m) > 3.0 * fabs(d0))
    return 3.0 * d0;
  return m;
}

static void set_slopes (const double *x, const double *y, int n,
                        amp_interp kind, double *m) {
  for (int i = 0; i < n - 1; i++)
    m[i] = slope_right(x, y, i);
  m[n - 1] = m[n - 2];
  if (kind == AMP_INTERP_LINEAR || n == 2)
    return;
  double h0 = x[1] - x[0], d0 = m[0]; /* the piece to the left */
  m[0] = end_slope(h0, d0, x[2] - x[1], m[1]);
  for (int i = 1; i < n - 1; i++) {
    double h1 = x[i + 1] - x[i], d1 = slope_right(x, y, i);
    m[i] = inner_slope(h0, d0, h1, d1);
    if (i == n - 2)
      m[n - 1] = end_slope(h1, d1, h0, d0);
    h0 = h1;
    d0 = d1;
  }
}

amp_status amp_monotone_slopes (const double *x, const double *y, int n,
                                double *m, amp_error *err) {
  amp_status status = check_knots(x, y, n, err);
  if (status == AMP_OK)
    set_slopes(x, y, n, AMP_INTERP_MONOTONE, m);
  return status;
}

amp_spot amp_monotone_spot (const double *x, int n, double v) {
  int i = 0;
  double h;
  if (v <= x[0])
    return (amp_spot){0, 0.0, 0.0};
  if (v >= x[n - 1])
    return (amp_spot){n - 1, 0.0, 0.0};
  while (v > x[i + 1])
    i++;
  h = x[i + 1] - x[i];
  return (amp_spot){i, h, (v - x[i]) / h};
}

double amp_monotone_there (amp_spot s, const double *y, const double *m) {
  double t = s.t, u = 1.0 - t;
  int i = s.i;
  if (s.h == 0.0)
    return y[i];
  return u * u * ((1.0 + 2.0 * t) * y[i] + t * s.h * m[i]) +
         t * t * ((3.0 - 2.0 * t) * y[i + 1] - u * s.h * m[i + 1]);
}

double amp_monotone_at (const double *x, const double *y, const double *m,
                        int n, double v) {
  return amp_monotone_there(amp_monotone_spot(x, n, v), y, m);
}

amp_status amp_curve_make (const double *x, const double *y, int n,
                           amp_interp kind, amp_curve *out, amp_error *err) {
  amp_status status = check_knots(x, y, n, err);
  amp_curve c;
  if (status != AMP_OK)
    return status;
  memset(&c, 0, sizeof c);
  c.n = n;
  c.kind = kind;
  memcpy(c.x, x, (size_t)n * sizeof *x);
  memcpy(c.y, y, (size_t)n * sizeof *y);
  set_slopes(c.x, c.y, n, kind, c.m);
  *out = c;
  return AMP_OK;
}

/* The piece i (0 .. n-2) of the rising knots that holds v. */
static int piece_of (const double *knot, int n, double v) {
  int lo = 0, hi = n - 1;
  while (hi - lo > 1) {
    int mid = (lo + hi) / 2;
    if (knot[mid] <= v)
      lo = mid;
    else
      hi = mid;
  }
  return lo;
}

/* Value inside piece i; kept between the two knots against rounding. */
static double piece_at (const amp_curve *c, int i, double x) {
  double h = c->x[i + 1] - c->x[i], t = x - c->x[i], s = t / h;
  double y0 = c->y[i], y1 = c->y[i + 1], y;
  if (c->kind == AMP_INTERP_LINEAR)
    y = s == 1.0 ? y1 : y0 + t * c->m[i];
  else {
    double d = (y1 - y0) / h, m0 = c->m[i], m1 = c->m[i + 1];
    y = y0 +
        t * (m0 + s * (3.0 * d - 2.0 * m0 - m1 + s * (m0 + m1 - 2.0 * d)));
  }
  return fmin(fmax(y, fmin(y0, y1)), fmax(y0, y1));
}

double amp_curve_at (const amp_curve *c, double x) {
  if (x != x)
    return x;
  if (x <= c->x[0])
    return c->y[0];
  if (x >= c->x[c->n - 1])
    return c->y[c->n - 1];
  return piece_at(c, piece_of(c->x, c->n, x), x);
}

double amp_curve_slope (const amp_curve *c, double x) {
  if (x != x)
    return x;
  if (x < c->x[0] || x > c->x[c->n - 1])
    return 0.0;
  int i = piece_of(c->x, c->n, x);
  double h = c->x[i + 1] - c->x[i], s = (x - c->x[i]) / h;
  if (c->kind == AMP_INTERP_LINEAR)
    return c->m[i];
  double d = (c->y[i + 1] - c->y[i]) / h, m0 = c->m[i], m1 = c->m[i + 1];
  return m0 + s * (2.0 * (3.0 * d - 2.0 * m0 - m1) +
                   3.0 * s * (m0 + m1 - 2.0 * d));
}

typedef struct piece_goal {
  const amp_curve *c;
  int i;
  double y;
} piece_goal;

static double distance_to (void *arg, double x) {
  const piece_goal *g = arg;
  return piece_at(g->c, g->i, x) - g->y;
}

amp_status amp_curve_inverse (const amp_curve *c, double y, double *x,
                              amp_error *err) {
  for (int i = 1; i < c->n; i++)
    if (!(c->y[i] > c->y[i - 1]))
      return amp_failf(err, AMP_EREFUSED, NULL,
                       "the curve does not rise between %g and %g, so no"
                       " single place belongs to a value",
                       c->x[i - 1], c->x[i]);
  if (!(y >= c->y[0] && y <= c->y[c->n - 1]))
    return amp_fail(err, AMP_ERANGE, NULL, y, c->y[0], c->y[c->n - 1]);
  piece_goal g = {c, piece_of(c->y, c->n, y), y};
  return amp_root(distance_to, &g, c->x[g.i], c->x[g.i + 1], 0.0, x, err);
}

/* Simpson's rule: exact for the cubic of one piece. */
static double piece_integral (const amp_curve *c, int i, double a, double b) {
  return (b - a) / 6.0 *
         (piece_at(c, i, a) + 4.0 * piece_at(c, i, 0.5 * (a + b)) +
          piece_at(c, i, b));
}

double amp_curve_integral (const amp_curve *c, double a, double b) {
  double first = c->x[0], last = c->x[c->n - 1], sum = 0.0;
  if (a > b)
    return -amp_curve_integral(c, b, a);
  if (!(a <= b))
    return __builtin_nan("");
  if (a < first)
    sum += (fmin(b, first) - a) * c->y[0];
  for (int i = 0; i < c->n - 1; i++) {
    double lo = fmax(a, c->x[i]), hi = fmin(b, c->x[i + 1]);
    if (lo < hi)
      sum += piece_integral(c, i, lo, hi);
  }
  if (b > last)
    sum += (b - fmax(a, last)) * c->y[c->n - 1];
  return sum;
}
