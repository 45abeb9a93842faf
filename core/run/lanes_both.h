/*
** lanes_both.h -- the kernel for one lane and for a whole block, and where
** asked for the widest; included by each build of it.
*/
#include "run/lanes.h"
#include "base/elementary_inline.h"
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#if defined(__GNUC__)
#define ALWAYS inline __attribute__((always_inline))
#else
#define ALWAYS inline
#endif

/* What becomes of a step: only tried, taken where it met no limit, taken. */
typedef enum amp_take { AMP_TRY, AMP_TAKE_IF, AMP_TAKE } amp_take;

#define STRING(x) #x

/* See leaf_steps: more than there are lanes */
#define ONE_BAD 256

/* s between two evaluations of r0's exp: the cubic term that is left out is
** 4e-6 of r0 for 1 K, 1e-4 the change of its slope */
#define WARM_TIME 300.0
/* Steps of dt between them. */
static inline size_t amp_lanes_warm (double dt) {
  return dt < WARM_TIME ? (size_t)(WARM_TIME / dt) : 1;
}

/* The same in a test, where one cell may warm by a kelvin in a minute */
#define WARM_TEST 10.0

/* 1.5 * 2^52 and its bits: see spot_at */
#define MAGIC 0x1.8p+52
#define MAGIC_BITS 0x4338000000000000u

/* LANES_WIDE pieces of as many doubles, turned: to[k * step + j] = element k
** of piece j. All addresses are multiples of a piece. As wide as the builds'
** vectors, for what is stored in halves is slow to load whole. */
#if defined(__has_builtin)
#if __has_builtin(__builtin_shufflevector)
#define LANES_SHUFFLE __builtin_shufflevector
#endif
#endif

#if defined(__AVX512F__) && defined(LANES_SHUFFLE)
enum { LANES_WIDE = 8 };

static inline void lanes_turn (const double *const *p, double *to, int step) {
  typedef double eight __attribute__((vector_size(64), may_alias));
  eight a[8], b[8];
#pragma GCC unroll 8
  for (int k = 0; k < 8; k++)
    a[k] = *(const eight *)p[k];
#pragma GCC unroll 4
  for (int k = 0; k < 8; k += 2) { /* pairs of elements */
    b[k] = LANES_SHUFFLE(a[k], a[k + 1], 0, 8, 2, 10, 4, 12, 6, 14);
    b[k + 1] = LANES_SHUFFLE(a[k], a[k + 1], 1, 9, 3, 11, 5, 13, 7, 15);
  }
#pragma GCC unroll 4
  for (int k = 0; k < 4; k++) { /* fours: elements 0 4, 1 5, 2 6, 3 7 */
    int i = k < 2 ? k : k + 2;
    a[i] = LANES_SHUFFLE(b[i], b[i + 2], 0, 1, 8, 9, 4, 5, 12, 13);
    a[i + 2] = LANES_SHUFFLE(b[i], b[i + 2], 2, 3, 10, 11, 6, 7, 14, 15);
  }
#pragma GCC unroll 4
  for (int k = 0; k < 4; k++) {
    *(eight *)(to + k * step) =
        LANES_SHUFFLE(a[k], a[k + 4], 0, 1, 2, 3, 8, 9, 10, 11);
    *(eight *)(to + (k + 4) * step) =
        LANES_SHUFFLE(a[k], a[k + 4], 4, 5, 6, 7, 12, 13, 14, 15);
  }
}
#else
enum { LANES_WIDE = 4 };

static inline void lanes_turn (const double *const *p, double *to, int step) {
#ifdef LANES_SHUFFLE
  typedef double four __attribute__((vector_size(32), may_alias));
  four a = *(const four *)p[0], b = *(const four *)p[1];
  four c = *(const four *)p[2], d = *(const four *)p[3];
  four even = LANES_SHUFFLE(a, b, 0, 4, 2, 6);
  four odd = LANES_SHUFFLE(a, b, 1, 5, 3, 7);
  four even2 = LANES_SHUFFLE(c, d, 0, 4, 2, 6);
  four odd2 = LANES_SHUFFLE(c, d, 1, 5, 3, 7);
  *(four *)to = LANES_SHUFFLE(even, even2, 0, 1, 4, 5);
  *(four *)(to + step) = LANES_SHUFFLE(odd, odd2, 0, 1, 4, 5);
  *(four *)(to + 2 * step) = LANES_SHUFFLE(even, even2, 2, 3, 6, 7);
  *(four *)(to + 3 * step) = LANES_SHUFFLE(odd, odd2, 2, 3, 6, 7);
#else
  for (int k = 0; k < 4; k++)
    for (int j = 0; j < 4; j++)
      to[k * step + j] = p[j][k];
#endif
}
#endif

#define L 1
#define NAME(f) f##_1
#define ENTRY LANES_NAME(1)
#include "run/lanes_kernel.h"
#undef L
#undef NAME
#undef ENTRY

#define L AMP_BLOCK
#define NAME(f) f##_n
#define ENTRY LANES_NAME(n)
#include "run/lanes_kernel.h"
#undef L
#undef NAME
#undef ENTRY

#ifdef LANES_ALSO_WIDE
#define L AMP_LANES
#define NAME(f) f##_w
#define ENTRY LANES_NAME(w)
#include "run/lanes_kernel.h"
#endif
