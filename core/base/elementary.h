/*
** elementary.h -- exp, log, pow, sin, cos and their kin with the same bits
** on every machine, compiler and lane width. The C library's own differ
** between glibc, musl, Windows and WebAssembly, and one differing bit may
** turn a rounded digit in a table that somebody posted. Everything here is
** add, multiply, divide, square root and integer work on IEEE 754 doubles,
** without fused multiply-add; see docs/decisions/0001-elementary.md.
**
** Error bounds are measured by tests/core/base/test_elementary.c against
** the C library's long double functions, in units in the last place.
** amp_exp and amp_asinh are also in elementary_inline.h for loops across
** lanes.
*/
#ifndef AMP_BASE_ELEMENTARY_H
#define AMP_BASE_ELEMENTARY_H

double amp_exp (double x);   /* < 1 ulp; below -708: 0, above 709.7: inf */
double amp_expm1 (double x); /* < 2 ulp */
double amp_log (double x);   /* < 1 ulp; 0: -inf, < 0: NaN */
double amp_log1p (double x); /* < 2 ulp */
double amp_asinh (double y); /* < 2 ulp; |y| above 1e150: asinh(1e150) */
/* x >= 0, < 2 ulp; results below exp(-708): 0, above exp(709.7): inf */
double amp_pow (double x, double y);
double amp_sin (double x);   /* |x| <= 1e5, < 2 ulp of 1; > 1e6: NaN */
double amp_cos (double x);   /* same */
double amp_atan (double x);  /* < 2 ulp */
double amp_tan (double x);   /* |x| < 1e5, relative 1e-14 off its poles */

/* Standard normal: cumulative probability, and its inverse for 0 < p < 1.
** Relative error < 1e-12 (inverse 1e-9). */
double amp_normal_cdf (double x);
double amp_normal_quantile (double p);

/* Student's t with 'dof' >= 1 degrees of freedom; inverse to 1e-9 for
** 1e-6 <= p <= 1 - 1e-6 and dof <= 1000. */
double amp_t_cdf (double t, int dof);
double amp_t_quantile (double p, int dof);

/* log of C(n, k) for 0 <= k <= n <= 100000, relative 1e-12 */
double amp_log_choose (int n, int k);

#define AMP_PI 3.14159265358979323846

#endif
