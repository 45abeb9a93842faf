/*
** solve.h -- roots of one unknown, found the same way everywhere.
*/
#ifndef AMP_BASE_SOLVE_H
#define AMP_BASE_SOLVE_H

#include "base/error.h"

typedef double amp_function (void *arg, double x);

/*
** x in lo .. hi with f(x) = 0, f(lo) and f(hi) of opposite sign (or one of
** them 0), to |step| <= tolerance, by Brent's method (R. P. Brent,
** Algorithms for Minimization without Derivatives, 1973, ch. 4). Else
** AMP_EREFUSED "no change of sign"; AMP_EINTERNAL after 200 steps.
*/
amp_status amp_root (amp_function *f, void *arg, double lo, double hi,
                     double tolerance, double *x, amp_error *err);

#endif
