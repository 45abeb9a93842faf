/*
** close.h -- assert_close for doubles: cmocka's own assert_float_equal
** rounds its arguments to float first. 'tolerance' is absolute; 0 asks for
** the same number.
*/
#ifndef AMP_TESTS_CLOSE_H
#define AMP_TESTS_CLOSE_H

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <math.h>
#include <cmocka.h>

#define LEN(a) (sizeof (a) / sizeof *(a))

#define assert_close(got, want, tolerance)                                   \
  do {                                                                       \
    double got_ = (got), want_ = (want), tol_ = (tolerance);                 \
    if (!(fabs (got_ - want_) <= tol_))                                      \
      fail_msg ("%s is %.12g, wanted %.12g +- %g", #got, got_, want_, tol_); \
  } while (0)

#endif
