/*
** test_sample.c -- random numbers as functions, quantiles, small lots.
*/
#include "support/close.h"
#include "base/elementary.h"
#include "base/sample.h"
#include <math.h>
#include <stdbool.h>
#include <string.h>

static bool has_v3 (void) {
#if defined(__x86_64__)
  return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi2");
#else
  return true; /* the same build under another name */
#endif
}

static void stream_is_fnv_1a (void **state) {
  (void)state;
  /* test vectors of the FNV authors: "" and "a", from memory */
  assert_true(amp_stream("") == 0xcbf29ce484222325u);
  assert_true(amp_stream("a") == 0xaf63dc4c8601ec8cu);
  assert_true(amp_stream("H1/soh") != amp_stream("H2/soh"));
}

static void uniform_depends_on_each_argument_alone (void **state) {
  double u = amp_uniform(1, 2, 3);
  (void)state;
  assert_close(amp_uniform(1, 2, 3), u, 0.0);
  assert_true(amp_uniform(2, 2, 3) != u && amp_uniform(1, 3, 3) != u);
  assert_true(amp_uniform(1, 2, 4) != u && amp_uniform(2, 1, 3) != u);
}

/* Mean 1/2, variance 1/12, no neighbour correlation, within 4 standard
** errors for 50,000 numbers. */
static void uniform_numbers_are_uniform (void **state) {
  enum { N = 50000 };
  double sum = 0, squares = 0, pairs = 0, last = 0;
  (void)state;
  for (uint64_t i = 0; i < N; i++) {
    double u = amp_uniform(9, 9, i) - 0.5;
    assert_true(u > -0.5 && u < 0.5);
    sum += u;
    squares += u * u;
    pairs += u * last;
    last = u;
  }
  assert_close(sum / N, 0, 4 * sqrt(1 / 12.0 / N));
  assert_close(squares / N, 1 / 12.0, 4 * sqrt(1 / 180.0 / N));
  assert_close(pairs / N, 0, 4 * sqrt(1 / 144.0 / N));
}

static void every_stratum_is_hit_once (void **state) {
  static const size_t count[] = {1, 2, 3, 7, 64, 65, 1000, 4096};
  static unsigned char hit[4096];
  (void)state;
  for (size_t c = 0; c < LEN(count); c++)
    for (uint64_t seed = 0; seed < 3; seed++) {
      memset(hit, 0, sizeof hit);
      for (size_t i = 0; i < count[c]; i++) {
        double u = amp_uniform_stratified(seed, 5, i, count[c]);
        assert_true(u > 0 && u < 1);
        hit[(size_t)(u * (double)count[c])]++;
      }
      for (size_t i = 0; i < count[c]; i++)
        assert_int_equal(hit[i], 1);
    }
}

/* Two streams of stratified numbers: correlation of n pairs has standard
** deviation 1/sqrt(n-1); 40 seeds must not spread much wider. */
static void strata_of_two_streams_are_shuffled_apart (void **state) {
  double squares = 0;
  (void)state;
  for (uint64_t seed = 0; seed < 40; seed++) {
    double sum = 0;
    for (size_t i = 0; i < 500; i++)
      sum += (amp_uniform_stratified(seed, 1, i, 500) - 0.5) *
             (amp_uniform_stratified(seed, 2, i, 500) - 0.5);
    sum *= 12.0 / 500;
    squares += sum * sum;
  }
  assert_true(sqrt(squares / 40) < 1.4 / sqrt(500)); /* 1 + 3/sqrt(2*40) */
  assert_true(sqrt(squares / 40) > 0.6 / sqrt(500));
}

/* What one call gives, a block gives with the same bits, by any instruction
** set that this machine has, wherever the block starts. */
static void blocks_hold_the_same_bits (void **state) {
  static const size_t count[] = {1, 2, 7, 255, 256, 257, 1000, 70000};
  static double u[70000];
  amp_context ctx = *amp_context_or_plain(NULL);
  (void)state;
  for (size_t isa = 0; isa < 2 && (isa == 0 || has_v3()); isa++)
    for (size_t c = 0; c < LEN(count); c++) {
      size_t n = count[c], from = n / 3;
      ctx.isa = isa == 0 ? AMP_ISA_BASE : AMP_ISA_V3;
      amp_uniforms_stratified(&ctx, 3, 5, from, n - from, n, u);
      for (size_t i = from; i < n; i += 1 + n / 500)
        assert_true(u[i - from] == amp_uniform_stratified(3, 5, i, n));
    }
}

/* All three pieces of the quantile, and the far tail where a block has one. */
static void blocks_of_normal_quantiles_hold_the_same_bits (void **state) {
  static double u[4096], z[4096];
  amp_context ctx = *amp_context_or_plain(NULL);
  (void)state;
  for (size_t isa = 0; isa < 2 && (isa == 0 || has_v3()); isa++) {
    ctx.isa = isa == 0 ? AMP_ISA_BASE : AMP_ISA_V3;
    amp_uniforms_stratified(&ctx, 3, 5, 0, LEN(u), LEN(u), u);
    u[7] = 1e-13;
    u[300] = 1e-300;
    u[301] = 0x1.fffffffffffffp-1;
    memcpy(z, u, sizeof z);
    amp_normal_quantiles(&ctx, z, LEN(z));
    for (size_t i = 0; i < LEN(z); i++)
      assert_true(z[i] == amp_normal_quantile(u[i]));
  }
}

/*
** Pairs of two streams fall evenly into 16 x 16 cells: with both margins
** fixed chi squared has 225 degrees of freedom, mean 225, standard deviation
** 21. Over 100 seeds the mean stays within 4 standard errors; so it does for
** draws that follow each other, whose margins are as good as fixed.
*/
static double mean_chi_squared (size_t apart, bool same) {
  enum { N = 2000, SEEDS = 100 };
  static double a[N], b[N];
  double sum = 0;
  for (uint64_t seed = 0; seed < SEEDS; seed++) {
    int cell[256] = {0};
    double e = (double)(N - apart) / 256;
    amp_uniforms_stratified(NULL, seed, 1, 0, N, N, a);
    amp_uniforms_stratified(NULL, seed, same ? 1 : 2, 0, N, N, b);
    for (size_t i = 0; i + apart < N; i++)
      cell[(int)(16 * a[i]) * 16 + (int)(16 * b[i + apart])]++;
    for (size_t i = 0; i < 256; i++)
      sum += (cell[i] - e) * (cell[i] - e) / e;
  }
  return sum / SEEDS;
}

static void pairs_fall_evenly_into_cells (void **state) {
  (void)state;
  assert_close(mean_chi_squared(0, false), 225, 4 * 2.1);
  assert_close(mean_chi_squared(1, false), 225, 4 * 2.1);
  assert_close(mean_chi_squared(1, true), 225, 4 * 2.1);
}

/* Type 7 by hand: n = 5 at 0.1: position 0.4, 1 + 0.4 (2 - 1) = 1.4. */
static void quantile_is_type_7 (void **state) {
  double v[] = {5, 3, 1, 4, 2}, one[] = {8}, gone[] = {1, NAN, 2};
  (void)state;
  assert_close(amp_quantile(v, 5, 0.1), 1.4, 1e-15);
  assert_close(amp_quantile(v, 5, 0.5), 3.0, 0.0);
  assert_close(amp_quantile(v, 5, 0.9), 4.6, 1e-15);
  assert_close(amp_quantile(v, 5, 0.0), 1.0, 0.0);
  assert_close(amp_quantile(v, 5, 1.0), 5.0, 0.0);
  assert_close(amp_quantile(one, 1, 0.3), 8.0, 0.0);
  assert_true(isnan(amp_quantile(gone, 3, 0.5)));
  assert_true(isnan(amp_quantile(one, 1, 1.5)));
}

static void quantile_agrees_with_sorting (void **state) {
  (void)state;
  for (uint64_t t = 0; t < 500; t++) {
    double v[40], s[40];
    size_t n = 1 + t % 40;
    for (size_t i = 0; i < n; i++) /* many ties in every third trial */
      v[i] = t % 3 ? amp_uniform(t, 1, i) : floor(4 * amp_uniform(t, 1, i));
    for (size_t i = 0; i < n; i++) { /* insertion sort */
      size_t k = i;
      for (; k > 0 && s[k - 1] > v[i]; k--)
        s[k] = s[k - 1];
      s[k] = v[i];
    }
    double p = amp_uniform(t, 2, 0), at = p * (double)(n - 1);
    size_t k = (size_t)at;
    double up = s[k + 1 < n ? k + 1 : k];
    assert_close(amp_quantile(v, n, p), s[k] + (at - (double)k) * (up - s[k]),
                 1e-15);
  }
}

/* Many numbers with outliers, ties and infinities: as after sorting. */
static void many_quantiles_agree_with_sorting (void **state) {
  enum { N = 20000 };
  static double v[N], sorted[N];
  static const double p[5] = {0.0, 0.1, 0.5, 0.9, 1.0};
  (void)state;
  for (int kind = 0; kind < 5; kind++) {
    double q[5];
    for (size_t i = 0; i < N; i++) {
      double u = amp_uniform(1, (uint64_t)kind, i);
      const double all[] = {u, u < 0.01 ? 1e9 * u : 1 + u, floor(3 * u) - 1,
                            7.0, u < 0.7 ? u - 0.5 : (double)INFINITY};
      v[i] = sorted[i] = all[kind];
    }
    amp_sort(sorted, N);
    amp_quantiles(v, N, p, 5, q);
    for (size_t j = 0; j < 5; j++) {
      double at = p[j] * (N - 1);
      double a = sorted[(size_t)at], b = sorted[(size_t)ceil(at)];
      double want = a == b ? a : a + (at - floor(at)) * (b - a);
      assert_true(q[j] == want);
    }
  }
}

/* The median of a sum of eleven spread values moves by less than 0.5 % from
** seed to seed with 2,000 draws, and so do the tenths. */
static void quantiles_are_stable_between_seeds (void **state) {
  enum { N = 2000, SEEDS = 40 };
  static double sum[N], one[N];
  static const double p[3] = {0.1, 0.5, 0.9};
  double least[3] = {1e9, 1e9, 1e9}, most[3] = {0}, q[3];
  (void)state;
  for (uint64_t seed = 0; seed < SEEDS; seed++) {
    memset(sum, 0, sizeof sum);
    for (uint64_t m = 0; m < 10; m++) { /* a lot of ten at 78 +- 6 % */
      amp_uniforms_stratified(NULL, seed, m + 1, 0, N, N, one);
      amp_normal_quantiles(NULL, one, N);
      for (size_t i = 0; i < N; i++)
        sum[i] += 0.78 + 0.06 * one[i];
    }
    amp_quantiles(sum, N, p, 3, q);
    for (size_t j = 0; j < 3; j++) {
      least[j] = fmin(least[j], q[j]);
      most[j] = fmax(most[j], q[j]);
    }
  }
  for (size_t j = 0; j < 3; j++)
    assert_true(most[j] / least[j] - 1 < 0.005);
}

/* By hand, from the closed forms. */
static void small_lots_have_their_exact_chances (void **state) {
  (void)state;
  assert_close(amp_binomial_at_least(12, 10, 0.9), 0.8891, 5e-5);
  assert_close(amp_chance_no_dud(12, 2, 2), 45.0 / 66.0, 1e-15);
  assert_close(amp_chance_no_dud(12, 2, 11), 0.0, 0.0);
  assert_close(amp_chance_no_dud(12, 0, 12), 1.0, 0.0);
  assert_true(isnan(amp_chance_no_dud(12, 13, 1)));
}

/* n = 3, q = 1/4: 27, 27, 9, 1 of 64. */
static void binomial_agrees_with_hand_counts (void **state) {
  static const double want[] = {27, 27, 9, 1};
  double sum = 0;
  (void)state;
  for (int k = 0; k <= 3; k++)
    assert_close(amp_binomial_pmf(3, k, 0.25), want[k] / 64, 1e-15);
  assert_close(amp_binomial_at_least(3, 2, 0.25), 10.0 / 64, 1e-15);
  assert_close(amp_binomial_at_least(3, 0, 0.25), 1.0, 0.0);
  assert_close(amp_binomial_at_least(3, 4, 0.25), 0.0, 0.0);
  assert_close(amp_binomial_pmf(7, 7, 1.0), 1.0, 0.0);
  assert_close(amp_binomial_pmf(7, 0, 0.0), 1.0, 0.0);
  assert_true(isnan(amp_binomial_pmf(7, 1, 1.5)));
  for (int k = 0; k <= 2000; k++)
    sum += amp_binomial_pmf(2000, k, 0.88);
  assert_close(sum, 1.0, 1e-11);
}

/* n = 2, q = 1/2: P(X<=0) = 0.25, P(X<=1) = 0.75. */
static void binomial_quantile_is_the_least_that_suffices (void **state) {
  (void)state;
  assert_int_equal(amp_binomial_quantile(2, 0.5, 0.25), 0);
  assert_int_equal(amp_binomial_quantile(2, 0.5, 0.26), 1);
  assert_int_equal(amp_binomial_quantile(2, 0.5, 0.75), 1);
  assert_int_equal(amp_binomial_quantile(2, 0.5, 0.76), 2);
  assert_int_equal(amp_binomial_quantile(16, 0.88, 0.5), 14);
  assert_int_equal(amp_binomial_quantile(5, 1.0, 0.5), 5);
  assert_int_equal(amp_binomial_quantile(5, 0.0, 0.5), 0);
  for (int n = 1; n < 100; n++) {
    int k = amp_binomial_quantile(n, 0.83, 0.5);
    assert_true(1 - amp_binomial_at_least(n, k + 1, 0.83) >= 0.5 - 1e-12);
    assert_true(1 - amp_binomial_at_least(n, k, 0.83) < 0.5);
  }
}

static void sorting_puts_equal_and_signed_numbers_in_order (void **state) {
  double v[] = {3.0, -1.0, 3.0, 0.5, -1e300, 1e300};
  static const double want[] = {-1e300, -1.0, 0.5, 3.0, 3.0, 1e300};
  (void)state;
  amp_sort(v, 6);
  for (int i = 0; i < 6; i++)
    assert_close(v[i], want[i], 0.0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(sorting_puts_equal_and_signed_numbers_in_order),
      cmocka_unit_test(stream_is_fnv_1a),
      cmocka_unit_test(uniform_depends_on_each_argument_alone),
      cmocka_unit_test(uniform_numbers_are_uniform),
      cmocka_unit_test(every_stratum_is_hit_once),
      cmocka_unit_test(strata_of_two_streams_are_shuffled_apart),
      cmocka_unit_test(blocks_hold_the_same_bits),
      cmocka_unit_test(blocks_of_normal_quantiles_hold_the_same_bits),
      cmocka_unit_test(pairs_fall_evenly_into_cells),
      cmocka_unit_test(many_quantiles_agree_with_sorting),
      cmocka_unit_test(quantiles_are_stable_between_seeds),
      cmocka_unit_test(quantile_is_type_7),
      cmocka_unit_test(quantile_agrees_with_sorting),
      cmocka_unit_test(small_lots_have_their_exact_chances),
      cmocka_unit_test(binomial_agrees_with_hand_counts),
      cmocka_unit_test(binomial_quantile_is_the_least_that_suffices)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
