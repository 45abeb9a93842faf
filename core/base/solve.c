/*
** solve.c -- Brent's root finder.
*/
#include "base/solve.h"
#include <float.h>
#include <math.h>

/* The bracket: b is the best point so far, c lies on the other side of the
** root, a was b before the last step; d is the last step, e the one before
** it. */
typedef struct bracket {
  double a, b, c, fa, fb, fc, d, e;
} bracket;

/* Keep b the best of the three and c across the root from it. */
static void settle (bracket *s) {
  if ((s->fb > 0) == (s->fc > 0)) {
    s->c = s->a;
    s->fc = s->fa;
    s->d = s->e = s->b - s->a;
  }
  if (fabs(s->fc) < fabs(s->fb)) {
    s->a = s->b;
    s->b = s->c;
    s->c = s->a;
    s->fa = s->fb;
    s->fb = s->fc;
    s->fc = s->fa;
  }
}

/* Step by interpolation where it stays well inside, else by halves. */
static void choose_step (bracket *s, double tol) {
  double half = 0.5 * (s->c - s->b), p, q;
  if (fabs(s->e) < tol || fabs(s->fa) <= fabs(s->fb)) {
    s->d = s->e = half;
    return;
  }
  if (s->a == s->c) { /* two points: secant */
    p = 2.0 * half * s->fb / s->fa;
    q = 1.0 - s->fb / s->fa;
  } else { /* three points: inverse quadratic */
    double u = s->fa / s->fc, v = s->fb / s->fc, w = s->fb / s->fa;
    p = w * (2.0 * half * u * (u - v) - (s->b - s->a) * (v - 1.0));
    q = (u - 1.0) * (v - 1.0) * (w - 1.0);
  }
  if (p > 0)
    q = -q;
  p = fabs(p);
  if (2.0 * p < fmin(3.0 * half * q - fabs(tol * q), fabs(s->e * q))) {
    s->e = s->d;
    s->d = p / q;
  } else
    s->d = s->e = half;
}

amp_status amp_root (amp_function *f, void *arg, double lo, double hi,
                     double tolerance, double *x, amp_error *err) {
  bracket s = {lo, hi, hi, f(arg, lo), f(arg, hi), 0, hi - lo, hi - lo};
  s.fc = s.fb;
  if (!(s.fa <= 0 && s.fb >= 0) && !(s.fa >= 0 && s.fb <= 0))
    return amp_failf(err, AMP_EREFUSED, NULL,
                     "no change of sign between %g and %g", lo, hi);
  if (s.fa == 0) {
    *x = lo;
    return AMP_OK;
  }
  for (int i = 0; i < 200; i++) {
    double tol, half;
    settle(&s);
    tol = 2.0 * DBL_EPSILON * fabs(s.b) + 0.5 * tolerance;
    half = 0.5 * (s.c - s.b);
    if (s.fb == 0 || fabs(half) <= tol) {
      *x = s.b;
      return AMP_OK;
    }
    choose_step(&s, tol);
    s.a = s.b;
    s.fa = s.fb;
    s.b += fabs(s.d) > tol ? s.d : copysign(tol, half);
    s.fb = f(arg, s.b);
    if (s.fb != s.fb)
      return amp_failf(err, AMP_EREFUSED, NULL,
                       "the function has no value at %g", s.b);
  }
  return amp_failf(err, AMP_EINTERNAL, NULL, "no root after 200 steps");
}
