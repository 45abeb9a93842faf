/*
** test_match.c -- which module goes where: against every arrangement for
** small lots, by laws for larger ones, and the closed forms of what a failed
** module takes away.
*/
#include "support/close.h"
#include "base/sample.h"
#include "base/value.h"
#include "pack/match.h"
#include <string.h>

/* ---- lots by chance, of several kinds ---- */

enum { KINDS = 7 };

/* Ah of module i: near equal, in two heaps, in tenths, one weak, two giants,
** few whole numbers, wild. */
static double some_ah (int kind, uint64_t lot, uint64_t i) {
  double u = amp_uniform(lot, 1, i), v = amp_uniform(lot, 2, i);
  switch (kind) {
  case 0:
    return 90.0 + 10.0 * u;
  case 1:
    return (v < 0.5 ? 100.0 : 60.0) + 3.0 * u;
  case 2:
    return floor(900.0 + 60.0 * u) / 10.0;
  case 3:
    return i == 0 ? 12.0 : 90.0 + 5.0 * u;
  default:
    return 5.0 + 200.0 * u * u;
  }
}

static void some_lot (int kind, uint64_t lot, size_t n, amp_match_module *m) {
  for (size_t i = 0; i < n; i++)
    m[i] = (amp_match_module){some_ah(kind, lot, i) * 3600.0, AMP_NOT_GIVEN};
}

static amp_matched match (size_t n, const amp_match_module *m, int series,
                          int parallel, bool strings, int *place) {
  amp_match_spec s = {series, parallel, strings, 0.0};
  amp_matched out = {0};
  amp_error err = {0};
  if (amp_match(NULL, n, m, &s, place, &out, &err) != AMP_OK)
    fail_msg("%s", err.text);
  return out;
}

/* ---- every arrangement ---- */

typedef struct every {
  size_t n;
  const amp_match_module *m;
  amp_match_spec s;
  int place[16], count[16];
  double best;
} every;

/* Module i into each row that has room, or to the spares; rows that are
** still empty are alike. */
static void try_all (every *e, size_t i) {
  int rows = e->s.string_first ? e->s.parallel : e->s.series;
  int each = e->s.string_first ? e->s.series : e->s.parallel;
  if (i == e->n) {
    for (int k = 0; k < rows; k++)
      if (e->count[k] != each)
        return;
    e->best = fmax(e->best,
                   amp_match_charge(e->n, e->m, &e->s, e->place, (size_t)-1));
    return;
  }
  for (int k = -1; k < rows; k++) {
    if (k >= 0 && e->count[k] == each)
      continue;
    e->place[i] = k;
    if (k >= 0)
      e->count[k]++;
    try_all(e, i + 1);
    if (k >= 0 && --e->count[k] == 0)
      break;
  }
}

static double best_of_all (size_t n, const amp_match_module *m, int series,
                           int parallel, bool strings) {
  every e = {.n = n, .m = m, .s = {series, parallel, strings, 0.0}};
  try_all(&e, 0);
  return e.best;
}

static void small_lots_reach_the_best_of_all_arrangements (void **state) {
  static const struct {
    size_t n;
    int series, parallel;
  } lots[] = {{4, 2, 2}, {7, 2, 3}, {6, 3, 2}, {8, 2, 4},
              {8, 4, 2}, {9, 3, 3}, {5, 1, 4}, {5, 5, 1}};
  (void)state;
  for (size_t l = 0; l < LEN(lots); l++)
    for (int kind = 0; kind < KINDS; kind++)
      for (uint64_t lot = 1; lot <= 3; lot++)
        for (int strings = 0; strings < 2; strings++) {
          amp_match_module m[16];
          int place[16];
          some_lot(kind, lot, lots[l].n, m);
          double want = best_of_all(lots[l].n, m, lots[l].series,
                                    lots[l].parallel, strings);
          amp_matched got = match(lots[l].n, m, lots[l].series,
                                  lots[l].parallel, strings, place);
          assert_true(got.proven);
          assert_close(got.best, want, 1e-9 * want);
          assert_close(got.charge, want, 1e-9 * want);
          assert_close(got.bound, want, 1e-9 * want);
        }
}

/* Four of 3 in 12, by all 15,400 arrangements. */
static void twelve_in_four_threes (void **state) {
  (void)state;
  for (int kind = 0; kind < KINDS; kind++)
    for (uint64_t lot = 11; lot < (kind == 5 ? 15 : 12); lot++) {
      amp_match_module m[12];
      int place[12];
      some_lot(kind, lot, 12, m);
      double want = best_of_all(12, m, 4, 3, false);
      amp_matched got = match(12, m, 4, 3, false, place);
      assert_true(got.proven);
      assert_close(got.charge, want, 1e-9 * want);
    }
}

/* ---- laws ---- */

/* Each row is full, and what the arrangement says is what it has. */
static void places_are_full_and_the_spares_the_smallest (void **state) {
  amp_match_module m[26];
  int place[26];
  (void)state;
  for (int strings = 0; strings < 2; strings++) {
    int count[6] = {0}, spares = 0;
    double worst_used = 1e99, best_spare = 0.0;
    some_lot(0, 5, 26, m);
    amp_matched got = match(26, m, 4, 6, strings, place);
    for (int i = 0; i < 26; i++) {
      if (place[i] < 0) {
        spares++;
        best_spare = fmax(best_spare, m[i].charge);
        continue;
      }
      count[place[i]]++;
      worst_used = fmin(worst_used, m[i].charge);
    }
    assert_int_equal(spares, 2);
    assert_true(best_spare <= worst_used);
    for (int k = 0; k < (strings ? 6 : 4); k++)
      assert_int_equal(count[k], strings ? 4 : 6);
    amp_match_spec s = {4, 6, strings, 0.0};
    assert_close(amp_match_charge(26, m, &s, place, (size_t)-1), got.charge,
                 0.0);
  }
}

static void lots_of_24_are_proven (void **state) {
  static const int series[] = {2, 3, 4, 6, 8, 12};
  (void)state;
  for (int kind = 0; kind < KINDS; kind++)
    for (size_t l = 0; l < LEN(series); l++) {
      amp_match_module m[24];
      int place[24];
      some_lot(kind, 21 + l, 24, m);
      amp_matched got = match(24, m, series[l], 24 / series[l], false, place);
      assert_true(got.proven);
      assert_close(got.best, got.bound, 0.0);
    }
}

/* Positions of the very same sum, shuffled: the optimum is that sum, to the
** last 1e-6 Ah, where swaps come only near. */
static void a_planted_optimum_is_found (void **state) {
  static const int series[] = {3, 4, 6, 8};
  (void)state;
  for (size_t l = 0; l < LEN(series); l++)
    for (uint64_t lot = 1; lot <= 4; lot++) {
      amp_match_module m[24];
      int place[24], each = 24 / series[l];
      for (int k = 0; k < 24; k += each) {
        double sum = 0.0;
        for (int i = k; i < k + each; i++) {
          double ah = 90.0 + 10.0 * amp_uniform(lot, 7 + l, (uint64_t)i);
          ah = i < k + each - 1 ? floor(ah * 1e6) / 1e6 : 95.0 * each - sum;
          sum += ah;
          m[5 * i % 24] = (amp_match_module){ah * 3600.0, AMP_NOT_GIVEN};
        }
      }
      amp_matched got = match(24, m, series[l], each, false, place);
      assert_true(got.proven);
      assert_close(got.best / 3600.0, 95.0 * each, 1e-8);
    }
}

/* No swap of two modules betters a proven arrangement; a bound is above. */
static void no_swap_betters_it (void **state) {
  amp_match_module m[24];
  amp_match_spec s = {6, 4, false, 0.0};
  int place[24];
  (void)state;
  some_lot(6, 3, 24, m);
  amp_matched got = match(24, m, 6, 4, false, place);
  for (int i = 0; i < 24; i++)
    for (int j = 0; j < i; j++) {
      int a = place[i], b = place[j];
      place[i] = b;
      place[j] = a;
      assert_true(amp_match_charge(24, m, &s, place, (size_t)-1) <=
                  got.charge);
      place[i] = a;
      place[j] = b;
    }
}

static void the_order_of_the_list_changes_nothing (void **state) {
  amp_match_module m[20], turned[20];
  int place[20];
  (void)state;
  for (int strings = 0; strings < 2; strings++) {
    some_lot(0, 9, 20, m);
    for (int i = 0; i < 20; i++)
      turned[i] = m[(7 * i + 3) % 20];
    assert_close(match(20, turned, 4, 5, strings, place).charge,
                 match(20, m, 4, 5, strings, place).charge, 0.0);
  }
}

/* A better module in place of one never gives less. */
static void a_better_module_never_harms (void **state) {
  amp_match_module m[16];
  int place[16];
  (void)state;
  for (int strings = 0; strings < 2; strings++)
    for (int i = 0; i < 16; i++) {
      some_lot(1, 4, 16, m);
      double before = match(16, m, 4, 4, strings, place).charge;
      m[i].charge += 3600.0;
      assert_true(match(16, m, 4, 4, strings, place).charge >= before);
    }
}

/* 40 as 4 positions of 10, 200 as 20 of 10: within a thousandth of what no
** arrangement can pass. */
static void larger_lots_state_a_small_gap (void **state) {
  amp_match_module m[200];
  int place[200];
  (void)state;
  for (int kind = 0; kind < KINDS; kind++) {
    some_lot(kind, 31, 200, m);
    amp_matched got = match(40, m, 4, 10, false, place);
    assert_true(got.best <= got.bound && got.best >= 0.999 * got.bound);
    got = match(200, m, 20, 10, false, place);
    assert_true(got.best <= got.bound && got.best >= 0.999 * got.bound);
    /* strings are in closed form at any size */
    assert_true(match(200, m, 20, 10, true, place).proven);
  }
}

/* Strings count their weakest, positions their sum, so that parallel-first
** never has less. */
static void parallel_first_never_has_less (void **state) {
  amp_match_module m[24];
  int place[24];
  (void)state;
  for (int kind = 0; kind < KINDS; kind++) {
    some_lot(kind, 6, 24, m);
    assert_true(match(24, m, 4, 6, false, place).charge >=
                match(24, m, 4, 6, true, place).charge);
  }
}

/* ---- by hand ---- */

/* 100, 90, 80, 70 Ah, two in series, two in parallel. Strings: 90 + 70 =
** 160 from (100, 90) (80, 70). Positions: 100 + 70 = 90 + 80 = 170. */
static void four_modules_by_hand (void **state) {
  amp_match_module m[] = {{100 * 3600.0, AMP_NOT_GIVEN},
                          {90 * 3600.0, AMP_NOT_GIVEN},
                          {80 * 3600.0, AMP_NOT_GIVEN},
                          {70 * 3600.0, AMP_NOT_GIVEN}};
  amp_match_spec s = {2, 2, true, 0.0}, p = {2, 2, false, 0.0};
  int place[4];
  (void)state;
  amp_matched got = match(4, m, 2, 2, true, place);
  assert_close(got.charge / 3600.0, 160.0, 1e-9);
  assert_int_equal(place[0], place[1]);
  assert_false(amp_given(got.stress)); /* no resistance, no second aim */
  /* without the 80: its string is out, 90 is left */
  assert_close(amp_match_charge(4, m, &s, place, 2) / 3600.0, 90.0, 1e-9);
  got = match(4, m, 2, 2, false, place);
  assert_close(got.charge / 3600.0, 170.0, 1e-9);
  assert_int_equal(place[0], place[3]);
  /* without the 80 its position has 90; the other's 170 do not help */
  assert_close(amp_match_charge(4, m, &p, place, 2) / 3600.0, 90.0, 1e-9);
}

/* Losing 1 of 5 equal strings: the others carry 25 % more. */
static void one_of_five_strings_lost (void **state) {
  amp_match_module m[10];
  int place[10];
  amp_match_spec s = {2, 5, true, 0.0}, p = {2, 5, false, 0.0};
  (void)state;
  for (int i = 0; i < 10; i++)
    m[i] = (amp_match_module){93.75 * 3600.0, 2e-3};
  match(10, m, 2, 5, true, place);
  assert_close(amp_match_surge(10, m, &s, place, 0), 1.25, 1e-12);
  assert_close(amp_match_charge(10, m, &s, place, 0) / 3600.0, 375.0, 1e-9);
  match(10, m, 2, 5, false, place);
  assert_close(amp_match_surge(10, m, &p, place, 0), 1.25, 1e-12);
}

/* Equal charges: strings of 1 + 4 and 2 + 3 mohm carry the same, where the
** order of the list would give 3 and 7. */
static void resistance_comes_second (void **state) {
  amp_match_module m[4];
  int place[4];
  (void)state;
  for (int i = 0; i < 4; i++)
    m[i] = (amp_match_module){90 * 3600.0, (i + 1) * 1e-3};
  amp_matched got = match(4, m, 2, 2, true, place);
  assert_close(got.stress, 1.0, 1e-9);
  assert_int_equal(place[0], place[3]);
  /* a little more charge goes before any resistance */
  m[0].charge += 36.0;
  m[1].charge += 36.0;
  got = match(4, m, 2, 2, true, place);
  assert_close(got.charge / 3600.0, 180.01, 1e-9);
  assert_int_equal(place[0], place[1]);
  /* unless the caller gives that up */
  amp_match_spec s = {2, 2, true, 0.001};
  assert_int_equal(amp_match(NULL, 4, m, &s, place, &got, NULL), AMP_OK);
  assert_close(got.charge / 3600.0, 180.0, 1e-9);
  assert_close(got.best / 3600.0, 180.01, 1e-9);
  assert_close(got.stress, 1.0, 1e-3);
}

/* Side by side 1 and 3 mohm of equal charge: 3/4 of the current in half of
** the charge, 1.5 times its share. */
static void stress_is_share_of_current_over_share_of_charge (void **state) {
  amp_match_module m[] = {{90 * 3600.0, 1e-3}, {90 * 3600.0, 3e-3}};
  amp_match_spec p = {1, 2, false, 0.0};
  int place[2] = {0, 0};
  size_t who = 9;
  (void)state;
  assert_close(amp_match_stress(2, m, &p, place, &who), 1.5, 1e-12);
  assert_int_equal(who, 0);
  m[1].r = AMP_NOT_GIVEN; /* the median stands in */
  assert_close(amp_match_stress(2, m, &p, place, &who), 1.0, 1e-12);
}

static void nonsense_is_refused_and_changes_nothing (void **state) {
  amp_match_module m[4];
  amp_match_spec s = {2, 3, true, 0.0};
  amp_matched out = {.charge = 7.0};
  amp_error err = {0};
  int place[4] = {5, 5, 5, 5};
  (void)state;
  some_lot(0, 1, 4, m);
  assert_int_equal(amp_match(NULL, 4, m, &s, place, &out, &err),
                   AMP_EMISSING);
  assert_non_null(strstr(err.text, "are 6 modules, and there are 4"));
  s.parallel = 0;
  assert_int_equal(amp_match(NULL, 4, m, &s, place, &out, &err), AMP_ERANGE);
  assert_string_equal(err.field, "parallel");
  s.parallel = 2;
  m[2].charge = AMP_NOT_GIVEN;
  assert_int_equal(amp_match(NULL, 4, m, &s, place, &out, &err), AMP_ERANGE);
  assert_string_equal(err.field, "charge");
  m[2].charge = 3600.0;
  m[1].r = 0.0;
  assert_int_equal(amp_match(NULL, 4, m, &s, place, &out, &err), AMP_ERANGE);
  assert_int_equal(place[0], 5);
  assert_close(out.charge, 7.0, 0.0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(small_lots_reach_the_best_of_all_arrangements),
      cmocka_unit_test(twelve_in_four_threes),
      cmocka_unit_test(places_are_full_and_the_spares_the_smallest),
      cmocka_unit_test(lots_of_24_are_proven),
      cmocka_unit_test(a_planted_optimum_is_found),
      cmocka_unit_test(no_swap_betters_it),
      cmocka_unit_test(the_order_of_the_list_changes_nothing),
      cmocka_unit_test(a_better_module_never_harms),
      cmocka_unit_test(larger_lots_state_a_small_gap),
      cmocka_unit_test(parallel_first_never_has_less),
      cmocka_unit_test(four_modules_by_hand),
      cmocka_unit_test(one_of_five_strings_lost),
      cmocka_unit_test(resistance_comes_second),
      cmocka_unit_test(stress_is_share_of_current_over_share_of_charge),
      cmocka_unit_test(nonsense_is_refused_and_changes_nothing),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
