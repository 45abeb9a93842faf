/*
** test_sample.c -- random numbers as functions, quantiles, small lots.
*/
#include "support/close.h"
#include "base/sample.h"
#include <string.h>

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

/* Trade check values C1 and C2. */
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
      cmocka_unit_test(quantile_is_type_7),
      cmocka_unit_test(quantile_agrees_with_sorting),
      cmocka_unit_test(small_lots_have_their_exact_chances),
      cmocka_unit_test(binomial_agrees_with_hand_counts),
      cmocka_unit_test(binomial_quantile_is_the_least_that_suffices)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
