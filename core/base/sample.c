/*
** sample.c -- random numbers without a state, quantiles, small-lot chances.
*/
#include "base/sample.h"
#include "base/elementary.h"
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#define GOLDEN 0x9e3779b97f4a7c15u /* 2^64 over the golden ratio */

uint64_t amp_stream (const char *name) {
  uint64_t h = 14695981039346656037u; /* FNV-1a: start and prime */
  for (; *name != '\0'; name++)
    h = (h ^ (unsigned char)*name) * 1099511628211u;
  return h != 0 ? h : 1;
}

/*
** A permutation of the 64-bit numbers in which every bit in sways every bit
** out: D. Stafford's variant 13 of the Murmur3 finaliser, the one inside
** SplitMix64 (Steele, Lea, Flood, OOPSLA 2014).
*/
static uint64_t mix (uint64_t h) {
  h = (h ^ h >> 30) * 0xbf58476d1ce4e5b9u;
  h = (h ^ h >> 27) * 0x94d049bb133111ebu;
  return h ^ h >> 31;
}

static uint64_t key_of (uint64_t seed, uint64_t stream) {
  return mix(mix(seed + GOLDEN) ^ stream);
}

double amp_uniform (uint64_t seed, uint64_t stream, uint64_t draw) {
  uint64_t h = mix(key_of(seed, stream) + (draw + 1) * GOLDEN);
  return (double)(h >> 12 << 1 | 1) * 0x1p-53; /* odd: neither 0 nor 1 */
}

/* Four rounds of a Feistel network on 2 * 'half' bits: a keyed permutation
** of the numbers below 2^(2 half), whatever the rounds mix in. */
static uint64_t feistel (uint64_t v, int half, uint64_t key) {
  uint64_t mask = ((uint64_t)1 << half) - 1;
  uint64_t left = v >> half, right = v & mask;
  for (uint64_t round = 1; round <= 4; round++) {
    uint64_t swapped = left ^ (mix(key + round * GOLDEN + right) & mask);
    left = right;
    right = swapped;
  }
  return left << half | right;
}

/* The same for 0 .. n-1: walk on until a number below n comes up. On the
** average fewer than four steps, since 2^(2 half) < 4 n. */
static uint64_t shuffled (uint64_t v, uint64_t n, uint64_t key) {
  int half = 1;
  while (half < 31 && (uint64_t)1 << (2 * half) < n)
    half++;
  do
    v = feistel(v, half, key);
  while (v >= n);
  return v;
}

double amp_uniform_stratified (uint64_t seed, uint64_t stream, size_t draw,
                               size_t draws) {
  uint64_t n = draws > 0 ? draws : 1, v = draw % n;
  double u = amp_uniform(seed, stream, v);
  uint64_t key = mix(key_of(seed, stream) ^ 0x5354524154554d53u);
  u = ((double)shuffled(v, n, key) + u) / (double)n;
  return u < 1.0 ? u : 0x1.fffffffffffffp-1;
}

static int by_size (const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

void amp_sort (double *v, size_t n) {
  qsort(v, n, sizeof *v, by_size);
}

/* Put the k-th smallest (from 0) at v[k], none greater before it, none
** smaller behind it (Hoare's FIND, middle element as pivot). */
static void place (double *v, size_t n, size_t k) {
  size_t lo = 0, hi = n - 1;
  while (lo < hi) {
    double pivot = v[lo + (hi - lo) / 2];
    size_t i = lo, j = hi;
    for (;;) {
      while (v[i] < pivot)
        i++;
      while (v[j] > pivot)
        j--;
      if (i >= j)
        break;
      double t = v[i];
      v[i++] = v[j];
      v[j--] = t;
    }
    /* v[lo .. j] <= pivot <= v[j+1 .. hi], and j < hi */
    if (k <= j)
      hi = j;
    else
      lo = j + 1;
  }
}

double amp_quantile (double *v, size_t n, double p) {
  if (n == 0 || !(p >= 0.0 && p <= 1.0))
    return __builtin_nan("");
  for (size_t i = 0; i < n; i++)
    if (v[i] != v[i])
      return v[i];
  double at = p * (double)(n - 1);
  size_t k = (size_t)at;
  place(v, n, k);
  if (at == (double)k || k + 1 >= n)
    return v[k];
  double next = v[k + 1];
  for (size_t i = k + 2; i < n; i++)
    next = fmin(next, v[i]);
  return v[k] == next ? next : v[k] + (at - (double)k) * (next - v[k]);
}

double amp_binomial_pmf (int n, int k, double q) {
  if (!(q >= 0.0 && q <= 1.0) || n < 0)
    return __builtin_nan("");
  if (k < 0 || k > n)
    return 0.0;
  if (q == 0.0 || q == 1.0)
    return k == (q == 0.0 ? 0 : n) ? 1.0 : 0.0;
  return amp_exp(amp_log_choose(n, k) + k * amp_log(q) +
                 (n - k) * amp_log1p(-q));
}

double amp_binomial_at_least (int n, int k, double q) {
  double sum = 0.0;
  if (k <= 0 && n >= 0 && q >= 0.0 && q <= 1.0)
    return 1.0;
  for (int j = n; j > k; j--)
    sum += amp_binomial_pmf(n, j, q);
  return fmin(sum + amp_binomial_pmf(n, k, q), 1.0);
}

/* The sum is short of its true value by rounding only; 1e-12 makes up for
** it, so that the median of one fair coin is 0 on every machine. */
int amp_binomial_quantile (int n, double q, double p) {
  double sum = 0.0;
  for (int k = 0; k < n; k++) {
    sum += amp_binomial_pmf(n, k, q);
    if (sum >= p - 1e-12)
      return k;
  }
  return n;
}

double amp_chance_no_dud (int n, int d, int tested) {
  double chance = 1.0;
  if (n < 0 || d < 0 || d > n || tested < 0 || tested > n)
    return __builtin_nan("");
  for (int i = 0; i < tested; i++) { /* one module after another */
    if (n - d - i <= 0)
      return 0.0;
    chance *= (double)(n - d - i) / (n - i);
  }
  return chance;
}
