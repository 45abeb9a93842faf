/*
** value.h -- a number with what is known about it: how it is spread and
** what it rests on. SI units, as the field that holds it says. One value is
** one draw wherever it is used: its stream, a hash of the name of the
** object and key that used it first, picks the random numbers.
**
** A result never has a better basis than the worst number that went in:
** fold with amp_basis_worse.
*/
#ifndef AMP_BASE_VALUE_H
#define AMP_BASE_VALUE_H

#include "base/context.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* From best to worst. NONE: prices, counts, settings have no basis. */
typedef enum amp_basis {
  AMP_BASIS_NONE,
  AMP_BASIS_MEASURED,
  AMP_BASIS_COMPUTED,
  AMP_BASIS_CLAIMED,
  AMP_BASIS_ASSUMED
} amp_basis;

typedef enum amp_spread {
  AMP_UNSET,  /* not given: the struct of zeros */
  AMP_FIXED,  /* one number */
  AMP_NORMAL, /* mean 'value', standard deviation 'sd' */
  AMP_EVEN,   /* anything in lo .. hi is equally likely */
  AMP_TESTED  /* the mean of a lot of 'of', of which n were tested: t with
                 n-1 degrees of freedom about 'value', scale
                 sd/sqrt(n) sqrt(1 - n/of), cut to lo .. hi. n = 1: fixed */
} amp_spread;

typedef struct amp_value {
  amp_spread spread;
  amp_basis basis;
  double value;   /* the middle: mean, or (lo+hi)/2 */
  double sd;      /* of one module (AMP_TESTED) or of the number (NORMAL) */
  double lo, hi;  /* AMP_EVEN: the ends; AMP_TESTED: cut; else unused */
  int n, of;      /* AMP_TESTED: tested and in the lot */
  uint64_t stream; /* 0: none yet */
} amp_value;

amp_value amp_value_fixed (double v, amp_basis basis);
amp_value amp_value_normal (double v, double sd, amp_basis basis);
amp_value amp_value_even (double lo, double hi);

/*
** From n >= 1 test results of a lot of 'of' modules; lo and hi cut the lot's
** mean (0 and the nameplate). Refuses n = 0, n > of, a result outside
** lo .. hi, NaN. Mean and standard deviation (n-1) as trade practice.
*/
amp_status amp_value_tested (const double *result, size_t n, int of,
                             double lo, double hi, amp_value *out,
                             amp_error *err);

/* Half width of the 95 % interval of the lot's mean: t(n-1) sd/sqrt(n)
** sqrt(1 - n/of). NaN for anything but AMP_TESTED with n >= 2. */
double amp_value_half_width (const amp_value *v);

/* value, sd, lo and hi times 'factor' (a unit); the stream stays. */
amp_value amp_value_scaled (const amp_value *v, double factor);

bool amp_value_is_set (const amp_value *v);
bool amp_value_is_fixed (const amp_value *v); /* set, and without spread */

/*
** Draw number 'draw' of 'draws' (0-based). A function of its arguments
** alone. Stratified: over all draws every 1/draws of the probability is hit
** once, in an order that the stream and the seed shuffle. A fixed value
** gives itself; an unset one NaN.
*/
double amp_value_draw (const amp_value *v, uint64_t seed, size_t draw,
                       size_t draws);

/* Draws 'from' .. from + count - 1 into out[count]: the same bits, faster. */
void amp_value_draws (const amp_context *ctx, const amp_value *v,
                      uint64_t seed, size_t from, size_t count, size_t draws,
                      double *out);

/* What stands at place 0 < u < 1 of its distribution: its quantile. */
double amp_value_at (const amp_value *v, double u);

amp_basis amp_basis_worse (amp_basis a, amp_basis b);
const char *amp_basis_name (amp_basis b); /* "measured", ...; NONE: "" */

/* Not given: a quiet NaN stands in plain double fields. */
#define AMP_NOT_GIVEN ((double)__builtin_nan(""))
#define amp_given(x) ((x) == (x))

/* amp_check_range, but not given is fine too. */
amp_status amp_check_given (amp_error *err, const char *field, double v,
                            double lo, double hi);

#endif
