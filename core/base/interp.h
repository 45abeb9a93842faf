/*
** interp.h -- a curve y(x) through knots: linear, or monotone cubic
** (piecewise Hermite, slopes after Fritsch and Butland, SIAM J. Sci. Stat.
** Comput. 5 (1984) 300-304, three-point ends cut to keep monotone), with
** slope, inverse and integral. A curve never overshoots its knots. Units are
** the caller's. Plain struct, fixed size: at most AMP_CURVE_MAX knots.
*/
#ifndef AMP_BASE_INTERP_H
#define AMP_BASE_INTERP_H

#include "base/error.h"

enum { AMP_CURVE_MAX = 256 };

typedef enum amp_interp { AMP_INTERP_MONOTONE, AMP_INTERP_LINEAR } amp_interp;

typedef struct amp_curve {
  int n;
  amp_interp kind;
  double x[AMP_CURVE_MAX]; /* strictly rising */
  double y[AMP_CURVE_MAX];
  double m[AMP_CURVE_MAX]; /* slope at the knot (monotone) or of the piece
                              to its right (linear) */
} amp_curve;

/* n >= 2 finite knots, x strictly rising: else AMP_EDATA with the index. */
amp_status amp_curve_make (const double *x, const double *y, int n,
                           amp_interp kind, amp_curve *out, amp_error *err);

/* The monotone cubic without a struct, for the few knots of which there are
** many: its slopes into m[n], and its value; end values outside. */
amp_status amp_monotone_slopes (const double *x, const double *y, int n,
                                double *m, amp_error *err);
double amp_monotone_at (const double *x, const double *y, const double *m,
                        int n, double v);

/* The same in two steps, where several y stand over the same knots: where v
** lies among these, and what a y with its slopes m has there. */
typedef struct amp_spot {
  int i;       /* the piece, or the knot where h is 0 */
  double h, t; /* its width, and v in it: 0..1 */
} amp_spot;
amp_spot amp_monotone_spot (const double *x, int n, double v);
double amp_monotone_there (amp_spot s, const double *y, const double *m);

/* Outside the knots the end value stands (slope 0). */
double amp_curve_at (const amp_curve *c, double x);
double amp_curve_slope (const amp_curve *c, double x);

/* x at which y is reached; y must rise strictly, else AMP_EREFUSED; y
** outside the curve: AMP_ERANGE. */
amp_status amp_curve_inverse (const amp_curve *c, double y, double *x,
                              amp_error *err);

/* Integral of y dx from a to b, exact for the pieces. */
double amp_curve_integral (const amp_curve *c, double a, double b);

#endif
