/*
** sample.c -- random numbers without a state, quantiles, small-lot chances.
*/
#include "base/sample.h"
#include "base/draw_inline.h"
#include "base/elementary.h"
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

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

/* ---- stratified ---- */

/* n up to 2^31, as amp_draw_one takes its numbers. */
amp_draw_key amp_draw_key_of (uint64_t seed, uint64_t stream, size_t draws) {
  amp_draw_key k = {.n = draws > 0 ? (uint32_t)draws : 1, .mask = 1};
  uint64_t h = mix(key_of(seed, stream) ^ 0x5354524154554d53u);
  uint32_t bits = 1;
  while (bits < 31 && k.mask < k.n - 1) {
    k.mask = k.mask << 1 | 1;
    bits++;
  }
  k.shift = (bits + 1) / 2;
  for (int r = 0; r < AMP_DRAW_ROUNDS; r++) {
    h = mix(h + GOLDEN);
    k.times[r] = (uint32_t)h | 1;
    k.plus[r] = (uint32_t)(h >> 32);
  }
  h = mix(h + GOLDEN);
  k.jitter_times = (uint32_t)h | 1;
  k.jitter_plus = (uint32_t)(h >> 32);
  k.per = 1.0 / (double)k.n;
  return k;
}

/* Walk on until a number below n comes up: on the average fewer than two
** steps, since the permutation has fewer than 2 n numbers. */
double amp_draw_one (const amp_draw_key *k, size_t draw) {
  uint32_t v = (uint32_t)(draw % k->n), first = v;
  do
    v = draw_permuted(k, v);
  while (v >= k->n);
  return draw_placed(k, v, first);
}

double amp_uniform_stratified (uint64_t seed, uint64_t stream, size_t draw,
                               size_t draws) {
  amp_draw_key k = amp_draw_key_of(seed, stream, draws);
  return amp_draw_one(&k, draw);
}

static amp_isa isa_of (const amp_context *ctx) {
  return ctx != NULL ? ctx->isa : AMP_ISA_BASE;
}

void amp_uniforms_stratified (const amp_context *ctx, uint64_t seed,
                              uint64_t stream, size_t from, size_t count,
                              size_t draws, double *u) {
  static amp_draw_block *const built[] = {
      amp_draw_block_base, amp_draw_block_v3, amp_draw_block_v4};
  amp_draw_key k = amp_draw_key_of(seed, stream, draws);
  built[isa_of(ctx)](&k, from, count, u);
}

void amp_normal_quantiles (const amp_context *ctx, double *v, size_t n) {
  static amp_draw_normal *const built[] = {
      amp_draw_normal_base, amp_draw_normal_v3, amp_draw_normal_v4};
  built[isa_of(ctx)](v, n);
}

/* ---- order ---- */

static int by_size (const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

void amp_sort (double *v, size_t n) {
  qsort(v, n, sizeof *v, by_size);
}

/*
** The bits of a double as a whole number that rises with it: all bits of a
** negative one turned, the sign of the others. -0 comes just below 0.
*/
static uint64_t rank_of (double x) {
  uint64_t b;
  memcpy(&b, &x, sizeof b);
  return b ^ ((uint64_t) - (int64_t)(b >> 63) | 0x8000000000000000u);
}

/* v[0 .. n-1] with rank < limit before the others; how many they are. */
static size_t split_below (double *v, size_t n, uint64_t limit) {
  size_t to = 0;
  for (size_t i = 0; i < n; i++) {
    double x = v[i];
    v[i] = v[to];
    v[to] = x;
    to += rank_of(x) < limit;
  }
  return to;
}

enum { BUCKETS = 1024, SHORT = 48 };

static void insert_sort (double *v, size_t n) {
  for (size_t i = 1; i < n; i++) {
    double x = v[i];
    size_t k = i;
    for (; k > 0 && v[k - 1] > x; k--)
      v[k] = v[k - 1];
    v[k] = x;
  }
}

/* Of v[n], whose ranks lie in 'least' .. 'most': the bucket, of BUCKETS
** equal ones or fewer, with the k-th smallest; its width in bits of rank. */
static uint64_t bucket_of (const double *v, size_t n, size_t k,
                           uint64_t least, uint64_t most, int *bits) {
  uint32_t count[BUCKETS] = {0};
  uint64_t b = 0;
  size_t sum;
  for (*bits = 0; (most - least) >> *bits >= BUCKETS;)
    ++*bits;
  for (size_t i = 0; i < n; i++)
    count[(rank_of(v[i]) - least) >> *bits]++;
  for (sum = count[0]; sum <= k; sum += count[b])
    b++;
  return b;
}

/*
** Put the k-th smallest (from 0) at v[k], none greater before it, none
** smaller behind it: count how many fall into each of a thousand buckets,
** keep the one that holds it, and again. No step depends on a comparison
** that a processor could guess wrong.
*/
static void place (double *v, size_t n, size_t k) {
  while (n > SHORT) {
    uint64_t least = rank_of(v[0]), most = least, from;
    size_t below, inside;
    int bits;
    for (size_t i = 1; i < n; i++) {
      uint64_t r = rank_of(v[i]);
      least = r < least ? r : least;
      most = r > most ? r : most;
    }
    if (least == most)
      return;
    from = bucket_of(v, n, k, least, most, &bits);
    from = least + (from << bits);
    below = split_below(v, n, from);
    v += below;
    k -= below;
    inside = split_below(v, n - below, from + ((uint64_t)1 << bits));
    n = inside;
  }
  insert_sort(v, n);
}

/* The quantile at 'at', a place from 0 to n-1; all before and behind its
** place stay on their side. */
static double quantile_at (double *v, size_t n, double at) {
  size_t k = (size_t)at;
  double next;
  place(v, n, k);
  if (at == (double)k || k + 1 >= n)
    return v[k];
  next = v[k + 1];
  for (size_t i = k + 2; i < n; i++)
    next = v[i] < next ? v[i] : next;
  return v[k] == next ? next : v[k] + (at - (double)k) * (next - v[k]);
}

double amp_quantile (double *v, size_t n, double p) {
  double out;
  amp_quantiles(v, n, &p, 1, &out);
  return out;
}

/* ---- several quantiles in two readings ---- */

enum { FINE = 4096, HELD = 1024, ASKED = 5 };

/* The numbers that fall where a quantile may lie, out of the many. */
typedef struct sieve {
  uint64_t least, most; /* ranks of all */
  int bits;             /* of a bucket's width */
  uint32_t count[FINE];
  uint8_t slot[FINE]; /* 0: nobody asks for it; else 1 + its place below */
  int slots;
  uint32_t held[ASKED + 1];
  double v[ASKED + 1][HELD + 1]; /* slot 0 takes what nobody asks for */
} sieve;

/* How many are NaN; least and most of the ranks. */
static size_t survey (const double *v, size_t n, sieve *s) {
  size_t none = 0;
  s->least = ~(uint64_t)0;
  s->most = 0;
  for (size_t i = 0; i < n; i++) {
    uint64_t r = rank_of(v[i]);
    none += v[i] != v[i];
    s->least = r < s->least ? r : s->least;
    s->most = r > s->most ? r : s->most;
  }
  for (s->bits = 0; (s->most - s->least) >> s->bits >= FINE;)
    ++s->bits;
  return none;
}

/* The bucket with the k-th smallest, and how many lie before it. */
static size_t bucket_with (const sieve *s, size_t k, size_t *before) {
  size_t b = 0, sum = s->count[0];
  for (*before = 0; sum <= k; sum += s->count[b]) {
    *before = sum;
    b++;
  }
  return b;
}

/* Ask for the bucket of the k-th smallest; false where it is too full. */
static bool ask_bucket (sieve *s, size_t k, size_t *before, int *slot) {
  size_t b = bucket_with(s, k, before);
  if (s->count[b] > HELD)
    return false;
  if (s->slot[b] == 0)
    s->slot[b] = (uint8_t)++s->slots;
  *slot = s->slot[b];
  return true;
}

static void fill (const double *v, size_t n, sieve *s) {
  for (size_t i = 0; i < n; i++) {
    uint8_t slot = s->slot[(rank_of(v[i]) - s->least) >> s->bits];
    s->v[slot][s->held[slot]] = v[i];
    s->held[slot] += slot != 0;
  }
}

/* All at[m] <= ASKED places, or false: one bucket is too full, or the place
** and its neighbour lie in two. */
static bool sieved (const double *v, size_t n, const double *at, size_t m,
                    sieve *s, double *out) {
  size_t before[ASKED], k;
  int slot[ASKED];
  memset(s->count, 0, sizeof s->count);
  memset(s->slot, 0, sizeof s->slot);
  memset(s->held, 0, sizeof s->held);
  s->slots = 0;
  for (size_t i = 0; i < n; i++)
    s->count[(rank_of(v[i]) - s->least) >> s->bits]++;
  for (size_t j = 0; j < m; j++)
    if (!ask_bucket(s, (size_t)at[j], &before[j], &slot[j]))
      return false;
  fill(v, n, s);
  for (size_t j = 0; j < m; j++) {
    size_t held = s->held[slot[j]];
    k = (size_t)at[j] - before[j];
    if (at[j] != (double)(size_t)at[j] && k + 1 >= held)
      return false;
    out[j] = quantile_at(s->v[slot[j]], held, at[j] - (double)before[j]);
  }
  return true;
}

static bool all_one (const double *v, size_t n) {
  return n > 1 && memcmp(v, v + 1, (n - 1) * sizeof *v) == 0;
}

void amp_quantiles (double *v, size_t n, const double *p, size_t m,
                    double *out) {
  sieve s;
  double at[ASKED];
  bool one = all_one(v, n); /* nothing is spread */
  bool told = n > 0 && m <= ASKED && survey(v, n, &s) == 0;
  for (size_t j = 0; j < m; j++)
    out[j] = __builtin_nan("");
  for (size_t j = 0; told && j < m; j++) {
    told = p[j] >= 0.0 && p[j] <= 1.0;
    at[j] = p[j] * (double)(n - 1);
  }
  if (!told || (n > SHORT && !one && sieved(v, n, at, m, &s, out)))
    return;
  for (size_t j = 0; j < m; j++)
    out[j] = one ? v[0] : quantile_at(v, n, at[j]);
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

/* P(k+1) / P(k) of good ones; s: how firmly the lot keeps to its share,
** infinite where each is for itself. */
static double next_over (int n, int k, double q, double s) {
  double a = (double)(n - k) / (k + 1);
  if (s > 1e15)
    return a * (1.0 - q) / q;
  return a * (k + (1.0 - q) * s) / (n - k - 1 + q * s);
}

/* Sums of the chances up to a factor, then divided by the whole; pushed down
** on the way where they grow out of range. */
static void sum_up (int n, double q, double s, double *at_most) {
  double p = 1.0, sum = 0.0;
  for (int k = 0; k < n; k++) {
    sum += p;
    at_most[k] = sum;
    p *= next_over(n, k, q, s);
    if (!(p < 1e250)) {
      for (int j = 0; j <= k; j++)
        at_most[j] *= 1e-250;
      sum *= 1e-250;
      p *= 1e-250;
    }
  }
  sum += p;
  for (int k = 0; k < n; k++)
    at_most[k] /= sum;
}

void amp_good_chances (int n, double q, double together, double *at_most) {
  if (q > 0.0 && q < 1.0 && together < 1.0) {
    sum_up(n, q, together > 0.0 ? 1.0 / together - 1.0 : (double)INFINITY,
           at_most);
    return;
  }
  for (int k = 0; k < n; k++) /* all with chance 1 - q, or none */
    at_most[k] = q;
}

/* The first that reaches u, less the rounding that amp_binomial_quantile
** allows; n where none does. */
int amp_good_at (const double *at_most, int n, double u) {
  int lo = 0, hi = n;
  while (lo < hi) {
    int middle = lo + (hi - lo) / 2;
    if (at_most[middle] >= u - 1e-12)
      hi = middle;
    else
      lo = middle + 1;
  }
  return lo;
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
