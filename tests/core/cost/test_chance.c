/*
** test_chance.c -- chances of small lots, by hand and by enumeration.
*/
#include "support/close.h"
#include "base/sample.h"
#include "cost/chance.h"

/* Twelve modules, one in ten a dud: at least ten good 0.8891; two duds among
** twelve, two tested: 45/66 that none shows (both by hand). */
static void worked_by_hand (void **state) {
  amp_share s = amp_share_of(0.1, 0.0);
  double chance[13];
  (void)state;
  amp_share_chances(&s, 12, chance);
  assert_int_equal(amp_share_summed(12, chance), 11);
  assert_close(chance[10], 0.8891, 0.5e-4);
  assert_close(amp_chance_no_dud(12, 2, 2), 45.0 / 66.0, 1e-12);
}

/* Exactly known, it is the binomial law of base/sample.h. */
static void exact_share_is_binomial (void **state) {
  amp_share s = amp_share_of(0.23, 0.0);
  double chance[10];
  (void)state;
  amp_share_chances(&s, 9, chance);
  amp_share_summed(9, chance);
  for (int k = 0; k <= 9; k++)
    assert_close(chance[k], amp_binomial_at_least(9, k, 0.77), 1e-13);
}

/* a = b = 1: every number of good ones is equally likely; in general mean
** k a/(a+b) and variance k ab (a+b+k)/((a+b)^2 (a+b+1)) (any handbook). */
static void spread_share_is_beta_binomial (void **state) {
  amp_share even = amp_share_of(0.5, 0.28867513459481287); /* sqrt(1/12) */
  amp_share s = amp_share_of(0.1, 0.05);
  double sum = 0.0, mean = 0.0, square = 0.0, n = s.a + s.b;
  (void)state;
  for (int j = 0; j <= 10; j++)
    assert_close(amp_share_chance(&even, j, 10, 0, 0), 1.0 / 11.0, 1e-9);
  for (int j = 0; j <= 12; j++) {
    double p = amp_share_chance(&s, j, 12, 0, 0);
    sum += p;
    mean += p * j;
    square += p * j * j;
  }
  assert_close(sum, 1.0, 1e-12);
  assert_close(mean, 12 * 0.9, 1e-11);
  assert_close(square - mean * mean,
               12 * s.a * s.b * (n + 12) / (n * n * (n + 1)), 1e-10);
}

/* Seeing j of k and then i of m is seeing j + i of k + m, in some order. */
static void what_is_seen_moves_the_share (void **state) {
  amp_share s = amp_share_of(0.15, 0.1);
  double sum = 0.0;
  (void)state;
  for (int j = 0; j <= 4; j++)
    sum += amp_share_chance(&s, j, 4, 0, 0) *
           amp_share_chance(&s, 7 - j, 6, j, 4 - j);
  assert_close(sum, amp_share_chance(&s, 7, 10, 0, 0), 1e-12);
  /* one dud seen makes the next likelier */
  assert_true(amp_share_chance(&s, 0, 1, 0, 1) >
              amp_share_chance(&s, 0, 1, 0, 0));
}

/* All at once they are those asked for one by one, to the last bit. */
static void all_at_once (void **state) {
  enum { LOT = 300 };
  double chance[LOT + 1];
  const double spread[] = {0.0, 0.05};
  (void)state;
  for (int i = 0; i < 2; i++) {
    amp_share s = amp_share_of(0.15, spread[i]);
    amp_share_chances(&s, LOT, chance);
    for (int j = 0; j <= LOT; j++)
      assert_true(chance[j] == amp_share_chance(&s, j, LOT, 0, 0));
  }
  amp_chances_no_dud(LOT, 7, chance);
  for (int tests = 0; tests <= LOT; tests++)
    assert_true(chance[tests] == amp_chance_no_dud(LOT, 7, tests));
}

/* The largest lot there is: no row of it may cost a walk through the lot.
** Its chances sum to 1 and its mean is k times the share (laws). */
static void large_lot (void **state) {
  enum { LOT = 100000 };
  static double chance[LOT + 1];
  amp_share s = amp_share_of(0.1, 0.05);
  double sum = 0.0, mean = 0.0;
  (void)state;
  amp_share_chances(&s, LOT, chance);
  for (int j = 0; j <= LOT; j++) {
    sum += chance[j];
    mean += chance[j] * j;
  }
  assert_close(sum, 1.0, 1e-6);
  assert_close(mean / LOT, 0.9, 1e-6);
}

/* 1 - C(10,n)/C(12,n): n = 7 shows 0.8485, n = 8 0.9091. */
static void tests_to_see_a_dud (void **state) {
  (void)state;
  assert_int_equal(amp_tests_to_see(12, 2, 0.90), 8);
  assert_int_equal(amp_tests_to_see(12, 2, 0.84), 7);
  assert_int_equal(amp_tests_to_see(12, 1, 0.5), 6);
  assert_int_equal(amp_tests_to_see(12, 12, 0.9), 1);
  assert_int_equal(amp_tests_to_see(12, 2, 1.0), 11);
  assert_int_equal(amp_tests_to_see(12, 0, 0.9), 12);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(worked_by_hand),
      cmocka_unit_test(exact_share_is_binomial),
      cmocka_unit_test(spread_share_is_beta_binomial),
      cmocka_unit_test(what_is_seen_moves_the_share),
      cmocka_unit_test(all_at_once),
      cmocka_unit_test(large_lot),
      cmocka_unit_test(tests_to_see_a_dud),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
