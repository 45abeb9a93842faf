/*
** least.h -- nonlinear least squares: parameters that make residuals small,
** with what the data say about each. The search is cminpack's lmder (J. J.
** More, "The Levenberg-Marquardt algorithm", Lecture Notes in Mathematics
** 630 (1978) 105-116) with differences as derivatives; bounds are reached by
** a change of variable here.
*/
#ifndef AMP_BASE_LEAST_H
#define AMP_BASE_LEAST_H

#include "base/context.h"
#include "base/error.h"
#include <stdbool.h>

/* residual[0..m-1] of parameters p[0..n-1]; other than AMP_OK gives up. */
typedef amp_status amp_residuals (void *arg, const double *p, size_t n,
                                  double *residual, size_t m);

/* In 'block': no residual of data but a belief held beforehand, over its own
** standard deviation. */
enum { AMP_LEAST_BELIEF = -1 };

typedef struct amp_least_options {
  double tolerance;   /* relative, of sum of squares and of p; 0: 1e-8 */
  int evaluations;    /* most calls; 0: 200 (n + 1) */
  const double *lo, *hi; /* n bounds, or NULL: none */
  const double *scale;   /* n typical sizes > 0, or NULL: |p| at first */
  double doubt;          /* variance of a residual at the least, for the
                            deviations: what its weight meant; 0: none */
  const int *block;      /* m: neighbours of one number >= 0 hang together,
                            others are independent; NULL: all of them are */
} amp_least_options;

typedef struct amp_least_result {
  double sum;         /* of squares at the end */
  int evaluations;
  bool converged;     /* false: stopped at 'evaluations'; p is the best yet */
  int blocks;         /* of data, 0: none named; then, of the deviations: */
  double widening;    /* by correlation within blocks, all together; >= 1 */
  bool bounded;       /* blocks too few to tell: an upper bound of it */
} amp_least_result;

/*
** p[n] holds the start and then the best found. sd[n] (or NULL): standard
** deviation of each from the Jacobian and the residuals' own variance
** (m - n degrees of freedom), and where blocks are named and show more of it,
** that (docs/model/least.md); INFINITY where the data do not determine it
** (its column of the Jacobian, per 'scale', is below 1e-10 of the longest, or
** it shares in a combination to which the unit columns answer with less than
** 1e-6; m = n: all of them) and NaN where it ended on a bound, on which it
** then stands exactly. correlation (or NULL): n*n, row by row, as of
** independent residuals. A residual that is not finite during the search
** counts as a bad point. AMP_EDATA: m < n, or a residual that is not finite
** at the start; AMP_ERANGE: a start outside its bounds; AMP_ESTOP;
** AMP_ENOMEM. Then p stays.
*/
amp_status amp_least (const amp_context *ctx, amp_residuals *f, void *arg,
                      double *p, size_t n, size_t m,
                      const amp_least_options *opt, double *sd,
                      double *correlation, amp_least_result *result,
                      amp_error *err);

#endif
