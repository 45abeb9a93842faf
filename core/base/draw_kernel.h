/*
** draw_kernel.h -- the loops of draw.h without a branch or a call, so that
** each instruction set's build turns them into vector code; the few numbers
** that need another step are gathered and taken together. Included by
** draw_<isa>.c, which say how the two functions are called. Private to core.
*/
#include "base/draw.h"
#include "base/draw_inline.h"
#include "base/elementary_inline.h"

enum { CHUNK = 256 };

/* Walk on with those that came out at n or above. */
static void walk (const amp_draw_key *k, uint32_t *v, size_t count) {
  uint32_t at[CHUNK], w[CHUNK];
  size_t left = 0;
  for (size_t j = 0; j < count; j++) {
    at[left] = (uint32_t)j;
    left += v[j] >= k->n;
  }
  while (left > 0) {
    size_t still = 0;
    for (size_t j = 0; j < left; j++)
      w[j] = v[at[j]];
    for (size_t j = 0; j < left; j++)
      w[j] = draw_permuted(k, w[j]);
    for (size_t j = 0; j < left; j++) {
      v[at[j]] = w[j];
      at[still] = at[j];
      still += w[j] >= k->n;
    }
    left = still;
  }
}

void DRAW_NAME(block) (const amp_draw_key *k, size_t from, size_t count,
                       double *u) {
  amp_draw_key own = *k; /* so that no write to u is thought to change it */
  uint32_t v[CHUNK];
  for (size_t done = 0; done < count; done += CHUNK) {
    size_t n = count - done < CHUNK ? count - done : CHUNK;
    uint32_t first = (uint32_t)(from + done);
    for (size_t j = 0; j < n; j++)
      v[j] = draw_permuted(&own, first + (uint32_t)j);
    walk(&own, v, n);
    for (size_t j = 0; j < n; j++)
      u[done + j] = draw_placed(&own, v[j], first + (uint32_t)j);
  }
}

/* Those outside the middle, from p[] to v[]. */
static void tails (const double *p, double *v, size_t count) {
  uint32_t at[CHUNK];
  double r[CHUNK], t[CHUNK];
  size_t left = 0, far = 0;
  for (size_t j = 0; j < count; j++) {
    at[left] = (uint32_t)j;
    left += fabs(p[j] - 0.5) > AMP_NORMAL_MIDDLE;
  }
  for (size_t j = 0; j < left; j++)
    t[j] = p[at[j]];
  for (size_t j = 0; j < left; j++) {
    double q = t[j] < 0.5 ? t[j] : 1.0 - t[j];
    r[j] = sqrt(-amp_log_inline(q));
  }
  for (size_t j = 0; j < left; j++)
    far += r[j] > 5.0;
  for (size_t j = 0; j < left; j++)
    t[j] = copysign(amp_normal_tail_inline(r[j]), t[j] - 0.5);
  for (size_t j = 0; j < left; j++)
    v[at[j]] = t[j];
  for (size_t j = 0; far > 0 && j < left; j++)
    if (r[j] > 5.0) /* one in 10^11 */
      v[at[j]] = copysign(amp_normal_far_inline(r[j]), p[at[j]] - 0.5);
}

void DRAW_NAME(normal) (double *v, size_t count) {
  double p[CHUNK];
  for (size_t done = 0; done < count; done += CHUNK) {
    size_t n = count - done < CHUNK ? count - done : CHUNK;
    memcpy(p, v + done, n * sizeof *p);
    for (size_t j = 0; j < n; j++)
      v[done + j] = amp_normal_middle_inline(p[j] - 0.5);
    tails(p, v + done, n);
  }
}
