/*
** test_phrase.c -- numbers, words and days as people write them: what can be
** read in one way is, what can be read in two says so.
*/
#include "support/close.h"
#include "cost/phrase.h"
#include <stdio.h>
#include <string.h>

/* RANGE etc. as it is; a number only where it was read. */
static void reads (const char *s, char decimal, bool money, double want) {
  double v = -1;
  assert_int_equal(amp_number_written(s, strlen(s), decimal, money, &v),
                   AMP_WRITTEN_NUMBER);
  assert_close(v, want, 0);
}

static void says (const char *s, char decimal, bool money, amp_written want) {
  double v = 42;
  assert_int_equal(amp_number_written(s, strlen(s), decimal, money, &v),
                   want);
  assert_close(v, 42, 0); /* untouched */
}

static void marks_in_order_tell_which_is_which (void **state) {
  (void)state;
  reads("245", 0, true, 245);
  reads(" 245.50 ", 0, true, 245.5);
  reads("2.480,00", 0, true, 2480);
  reads("2,480.00", 0, true, 2480);
  reads("1.234.567,8", 0, true, 1234567.8);
  reads("1,234,567", 0, true, 1234567);
  reads("1.234.567", 0, true, 1234567);
  reads("2 480", 0, true, 2480);
  reads("2'480.50", 0, true, 2480.5);
  reads("-245", 0, true, -245);
  reads(".5", 0, false, 0.5);
  reads("1e3", 0, false, 1000);
}

static void an_announced_mark_settles_it (void **state) {
  (void)state;
  reads("2.480", ',', true, 2480);
  reads("2,480", '.', true, 2480);
  reads("60,5", ',', false, 60.5);
  reads("1.000,0", ',', false, 1000);
  reads("60.5", '.', false, 60.5);
  says("60.5", ',', false, AMP_WRITTEN_WORDS); /* no group of three */
  says("1.0000", ',', false, AMP_WRITTEN_WORDS);
  says("1,2,3", ',', false, AMP_WRITTEN_WORDS);
}

static void what_reads_in_two_ways_is_not_read (void **state) {
  (void)state;
  says("2,480", 0, true, AMP_WRITTEN_TWO_WAYS);
  says("2.480", 0, true, AMP_WRITTEN_TWO_WAYS);
  reads("97.200", 0, false, 97.2); /* no sum of money: a decimal point */
  reads("0.480", 0, true, 0.48);   /* no thousands begin with 0 */
  says("60,5", 0, false, AMP_WRITTEN_COMMA);
  says("", 0, false, AMP_WRITTEN_NOTHING);
  says("-", 0, false, AMP_WRITTEN_NOTHING);
  says("N/A", 0, false, AMP_WRITTEN_NOTHING);
  says("?", ',', false, AMP_WRITTEN_NOTHING);
  says("1e999", 0, false, AMP_WRITTEN_RANGE);
  says("1e-999", 0, false, AMP_WRITTEN_RANGE);
  says("12.3.4", 0, false, AMP_WRITTEN_WORDS);
  says("2.48.000,0", 0, true, AMP_WRITTEN_WORDS);
  says("1.2345,6", 0, true, AMP_WRITTEN_WORDS);
  says("ten", 0, false, AMP_WRITTEN_WORDS);
  says("nan", 0, false, AMP_WRITTEN_WORDS);
  says("inf", '.', false, AMP_WRITTEN_WORDS);
  says("0x10", 0, false, AMP_WRITTEN_WORDS);
}

/* Whatever number is written with a mark announced is read again. */
static void written_numbers_come_back (void **state) {
  char s[40];
  (void)state;
  for (int i = 1; i < 40000; i += 7) {
    int whole = i * 13, part = i % 100;
    (void)snprintf(s, sizeof s, "%d.%03d,%02d", whole / 1000, whole % 1000,
                   part);
    if (whole < 1000)
      continue;
    reads(s, ',', true, whole + part / 100.0);
    reads(s, 0, true, whole + part / 100.0);
  }
}

static void phrases_fall_into_numbers_and_words (void **state) {
  amp_phrase p;
  (void)state;
  amp_phrase_read("94 Ah, 14.6 V, 2.2 kWh each", 0, false, &p);
  assert_int_equal(p.n, 7);
  assert_close(p.t[2].value, 14.6, 0);
  assert_true(amp_phrase_is(&p, 5, "wh kwh"));
  assert_true(amp_phrase_has(&p, "lot each"));
  assert_false(amp_phrase_has(&p, "lot eac"));
  amp_phrase_read("97.2; 95.0;88.1", 0, false, &p);
  assert_int_equal(p.n, 3);
  assert_close(p.t[2].value, 88.1, 0);
  amp_phrase_read("Excluded 20%?", 0, false, &p);
  assert_int_equal(p.n, 4);
  assert_string_equal(p.t[0].word, "excluded");
  assert_true(amp_phrase_is(&p, 2, "%"));
  amp_phrase_read("97,2 95,0", ',', false, &p);
  assert_close(p.t[0].value, 97.2, 0);
  amp_phrase_read("12x 7s2p", 0, false, &p);
  assert_int_equal(p.n, 3); /* a code stays a word */
  assert_string_equal(p.t[2].word, "7s2p");
  amp_phrase_read("", 0, false, &p);
  assert_int_equal(p.n, 0);
}

static double day (const char *s) {
  double d = -1;
  assert_int_equal(amp_day_written(s, &d), AMP_WRITTEN_NUMBER);
  return d;
}

/* 2026-06-28 is day 20632: 56 years of 365, 14 leap days of 1972 .. 2024,
** 151 days to the first of June and 27 more. */
static void days_are_counted (void **state) {
  double d;
  (void)state;
  assert_close(day("2026-06-28"), 56 * 365 + 14 + 151 + 27, 0);
  assert_close(day("28.06.2026"), day("2026-06-28"), 0);
  assert_close(day("28/6/2026"), day("2026-06-28"), 0);
  assert_close(day("6/28/2026"), day("2026-06-28"), 0);
  assert_close(day("2024-03-01") - day("2024-02-28"), 2, 0);
  assert_close(day("2100-03-01") - day("2100-02-28"), 1, 0);
  assert_close(day("5/5/2026"), day("2026-05-05"), 0);
  assert_int_equal(amp_day_written("5/6/2026", &d), AMP_WRITTEN_TWO_WAYS);
  assert_int_equal(amp_day_written("2026-02-30", &d), AMP_WRITTEN_WORDS);
  assert_int_equal(amp_day_written("last week", &d), AMP_WRITTEN_WORDS);
  assert_int_equal(amp_day_written("2026-06", &d), AMP_WRITTEN_WORDS);
  assert_int_equal(amp_day_written("2026-06-28x", &d), AMP_WRITTEN_WORDS);
  assert_int_equal(amp_day_written("", &d), AMP_WRITTEN_NOTHING);
}

static void cells_are_alike_as_typed (void **state) {
  static const struct {
    const char *a, *b;
    char decimal;
    bool alike;
  } want[] = {{"245", "245.00", '.', true},
              {"245", "246", '.', false},
              {"1.245,5", "1245,50", ',', true},
              {"", "n/a", 0, true},
              {"", "0", 0, false},
              {"As  Seen ", "as seen", 0, true},
              {"as\xc2\xa0seen", "as seen", 0, true},
              {"asseen", "as seen", 0, false},
              {"excl.", "excluded", 0, false},
              {"1,500", "1.500", 0, false}, /* neither can be read */
              {"one pallet", "one pallet, and two in the barn", 0, false},
              {"S\xc3\x84URE", "s\xc3\xa4ure", 0, false}};
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    bool alike = amp_cell_alike(want[i].a, want[i].b, want[i].decimal);
    assert_int_equal(alike, want[i].alike);
    assert_int_equal(amp_cell_alike(want[i].b, want[i].a, want[i].decimal),
                     alike);
    assert_int_equal(amp_cell_digest(want[i].a, want[i].decimal) ==
                         amp_cell_digest(want[i].b, want[i].decimal),
                     alike);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(marks_in_order_tell_which_is_which),
      cmocka_unit_test(an_announced_mark_settles_it),
      cmocka_unit_test(what_reads_in_two_ways_is_not_read),
      cmocka_unit_test(written_numbers_come_back),
      cmocka_unit_test(phrases_fall_into_numbers_and_words),
      cmocka_unit_test(days_are_counted),
      cmocka_unit_test(cells_are_alike_as_typed),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
