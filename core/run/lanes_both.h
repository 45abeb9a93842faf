/*
** lanes_both.h -- the kernel for one lane and for a whole block; included
** by each build of it.
*/
#include "run/lanes.h"
#include "base/elementary_inline.h"
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#if defined(__GNUC__)
#define ALWAYS inline __attribute__((always_inline))
#else
#define ALWAYS inline
#endif

/* What becomes of a step: only tried, taken where it met no limit, taken. */
typedef enum amp_take { AMP_TRY, AMP_TAKE_IF, AMP_TAKE } amp_take;

#define STRING(x) #x

/* s between two evaluations of r0's exp: the cubic term that is left out is
** 4e-6 of r0 for 1 K, 1e-4 the change of its slope */
#define WARM_TIME 300.0
/* The same in a test, where one cell may warm by a kelvin in a minute */
#define WARM_TEST 10.0

/* 1.5 * 2^52 and its bits: see spot_at */
#define MAGIC 0x1.8p+52
#define MAGIC_BITS 0x4338000000000000u

/* Four pieces of four doubles, turned: to[k * step + j] = piece j, element k.
** All addresses are multiples of 32. */
#if defined(__has_builtin)
#if __has_builtin(__builtin_shufflevector)
#define LANES_SHUFFLE(a, b, i, j, k, l)                                      \
  __builtin_shufflevector(a, b, i, j, k, l)
#endif
#endif

static inline void lanes_turn (const double *p0, const double *p1,
                               const double *p2, const double *p3, double *to,
                               int step) {
#ifdef LANES_SHUFFLE
  typedef double four __attribute__((vector_size(32), may_alias));
  four a = *(const four *)p0, b = *(const four *)p1;
  four c = *(const four *)p2, d = *(const four *)p3;
  four even = LANES_SHUFFLE(a, b, 0, 4, 2, 6);
  four odd = LANES_SHUFFLE(a, b, 1, 5, 3, 7);
  four even2 = LANES_SHUFFLE(c, d, 0, 4, 2, 6);
  four odd2 = LANES_SHUFFLE(c, d, 1, 5, 3, 7);
  *(four *)to = LANES_SHUFFLE(even, even2, 0, 1, 4, 5);
  *(four *)(to + step) = LANES_SHUFFLE(odd, odd2, 0, 1, 4, 5);
  *(four *)(to + 2 * step) = LANES_SHUFFLE(even, even2, 2, 3, 6, 7);
  *(four *)(to + 3 * step) = LANES_SHUFFLE(odd, odd2, 2, 3, 6, 7);
#else
  for (int k = 0; k < 4; k++) {
    to[k * step] = p0[k];
    to[k * step + 1] = p1[k];
    to[k * step + 2] = p2[k];
    to[k * step + 3] = p3[k];
  }
#endif
}

#define L 1
#define NAME(f) f##_1
#define ENTRY LANES_NAME(1)
#include "run/lanes_kernel.h"
#undef L
#undef NAME
#undef ENTRY

#define L AMP_LANES
#define NAME(f) f##_n
#define ENTRY LANES_NAME(n)
#include "run/lanes_kernel.h"
