/*
** draw_inline.h -- one step of the keyed permutation and the number that
** stands in its stratum, for draw_kernel.h and for one draw alone. Private to core.
*/
#ifndef AMP_BASE_DRAW_INLINE_H
#define AMP_BASE_DRAW_INLINE_H

#include "base/draw.h"

/*
** A permutation of 0 .. mask: each round multiplies by an odd number and
** adds (both modulo a power of two, so one to one), then folds the upper
** half onto the lower (its own inverse up to repetition, so one to one).
*/
static inline uint32_t draw_permuted (const amp_draw_key *k, uint32_t v) {
  for (int r = 0; r < AMP_DRAW_ROUNDS; r++) {
    v = (v * k->times[r] + k->plus[r]) & k->mask;
    v ^= v >> k->shift;
  }
  return v;
}

/* Stratum 'v' of draw 'draw', at a random place inside: two multiplications
** and three folds make the 32 bits of it (finaliser of MurmurHash3,
** A. Appleby, public domain; from memory). */
static inline double draw_placed (const amp_draw_key *k, uint32_t v,
                                  uint32_t draw) {
  uint32_t h = draw * k->jitter_times + k->jitter_plus;
  h = (h ^ h >> 16) * 0x85ebca6bu;
  h = (h ^ h >> 13) * 0xc2b2ae35u;
  h ^= h >> 16;
  /* both below 2^31, as vectors take them */
  double inside = ((double)(int32_t)(h >> 1) + 0.5) * 0x1p-31;
  double u = ((double)(int32_t)v + inside) * k->per;
  return u < 1.0 ? u : 0x1.fffffffffffffp-1;
}

#endif
