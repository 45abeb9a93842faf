/*
** test_text.c -- numbers to and from text, against the C library in the "C"
** locale and under a locale with a decimal comma where there is one.
*/
#include "support/close.h"
#include "support/often.h"
#include "base/sample.h"
#include "base/text.h"
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double parsed (const char *s) {
  double v = -77;
  if (amp_parse_double(s, strlen(s), '.', &v, NULL) != AMP_OK)
    fail_msg("'%s' was refused", s);
  return v;
}

/* Any finite double: bits from the generator. */
static double any_double (uint64_t i) {
  uint64_t bits = (uint64_t)(amp_uniform(3, 1, i) * 0x1p32) << 32 |
                  (uint64_t)(amp_uniform(3, 2, i) * 0x1p32);
  double v;
  memcpy(&v, &bits, sizeof v);
  return isfinite(v) ? v : 1.0;
}

static void parsing_agrees_with_strtod (void **state) {
  static const char *const form[] = {"%.17g", "%.25g", "%.3e", "%.15g"};
  char s[64];
  (void)state;
  for (uint64_t i = 0; i < (uint64_t)often(20000); i++) {
    snprintf(s, sizeof s, form[i % 4], any_double(i / 4));
    if (isfinite(strtod(s, NULL))) /* rounding up may reach infinity */
      assert_close(parsed(s), strtod(s, NULL), 0.0);
  }
}

/* Halfway between two doubles, and a digit more at the very end. */
static void ties_go_to_even_and_the_last_digit_counts (void **state) {
  (void)state;
  assert_close(parsed("9007199254740993"), 9007199254740992.0, 0.0);
  assert_close(parsed("9007199254740995"), 9007199254740996.0, 0.0);
  assert_close(parsed("9007199254740993.0000000000000000000000000000001"),
               9007199254740994.0, 0.0);
  assert_close(parsed("2.4703282292062327208e-324"), 0.0, 0.0);
  assert_close(
      parsed("2.4703282292062328e-324"), 4.9406564584124654e-324,
      0.0);     /* half of the least subnormal is 2.47032822920623272e-324 */
  char s[1200]; /* 1 + 2^-53 and a 1 in decimal place 900 */
  int n = snprintf(s, sizeof s, "%.53f", 0x1p-53);
  s[0] = '1';
  assert_close(parsed(s), 1.0, 0.0);
  memset(s + n, '0', 900);
  strcpy(s + n + 900, "1");
  assert_close(parsed(s), 1.0 + 0x1p-52, 0.0);
}

static void text_that_is_no_number_is_refused (void **state) {
  static const char *const bad[] = {
      "",      ".",   "-",    "+",   "e5",   "1e",    "1e+",
      "1.2.3", "1,5", "nan",  "inf", "0x10", " 1",    "1 ",
      "1_000", "--1", "1e5x", "-.",  ".e1",  "1e1.5", "Infinity"};
  double v = 77;
  (void)state;
  for (size_t i = 0; i < LEN(bad); i++)
    assert_int_equal(amp_parse_double(bad[i], strlen(bad[i]), '.', &v, NULL),
                     AMP_EDATA);
  assert_int_equal(amp_parse_double("6\0"
                                    "0",
                                    3, '.', &v, NULL),
                   AMP_EDATA);
  assert_close(v, 77, 0.0);
}

static void the_decimal_mark_is_the_callers (void **state) {
  double v = 77;
  (void)state;
  assert_int_equal(amp_parse_double("60,5", 4, ',', &v, NULL), AMP_OK);
  assert_close(v, 60.5, 0.0);
  assert_int_equal(amp_parse_double("60.5", 4, ',', &v, NULL), AMP_EDATA);
  assert_int_equal(amp_parse_double("1.000,0", 7, ',', &v, NULL), AMP_EDATA);
  assert_close(parsed("+5."), 5, 0.0);
  assert_close(parsed("-.5"), -0.5, 0.0);
}

static void too_large_is_refused_and_too_small_is_told (void **state) {
  double v = 77;
  bool under = false;
  (void)state;
  assert_int_equal(amp_parse_double("1e999", 5, '.', &v, &under), AMP_ERANGE);
  assert_int_equal(amp_parse_double("-1e400", 6, '.', &v, NULL), AMP_ERANGE);
  assert_int_equal(
      amp_parse_double("1.7976931348623159e308", 22, '.', &v, NULL),
      AMP_ERANGE); /* half above the greatest double */
  assert_close(v, 77, 0.0);
  assert_int_equal(amp_parse_double("1e-999", 6, '.', &v, &under), AMP_OK);
  assert_true(v == 0 && under);
  assert_int_equal(amp_parse_double("0e-999", 6, '.', &v, &under), AMP_OK);
  assert_true(v == 0 && !under);
  assert_int_equal(
      amp_parse_double("1e99999999999999999999", 22, '.', &v, NULL),
      AMP_ERANGE);
  assert_close(parsed("1.7976931348623157e308"), 0x1.fffffffffffffp1023, 0);
}

static void shortest_text_reads_back_and_is_shortest (void **state) {
  char s[32], c[32];
  (void)state;
  for (uint64_t i = 0; i < (uint64_t)often(20000); i++) {
    double v = any_double(i);
    if (i % 2) /* numbers as people have them */
      v = floor(amp_uniform(4, 1, i) * 1e6) / 1000;
    size_t n = amp_format_shortest(v, s);
    assert_int_equal(n, strlen(s));
    assert_close(strtod(s, NULL), v, 0.0);
    int digits = 0, least = 1;
    for (const char *p = s; *p && *p != 'e'; p++)
      digits += *p >= '0' && *p <= '9';
    while (snprintf(c, sizeof c, "%.*g", least, v) < 0 ||
           strtod(c, NULL) != v)
      least++;
    if (fabs(v) < 1e15 && fabs(v) >= 1)
      assert_true(digits <= least || v == floor(v));
    assert_true(strlen(s) < 26);
  }
}

static void shortest_text_of_known_numbers (void **state) {
  static const struct {
    double v;
    const char *text;
  } row[] = {{0.1, "0.1"},
             {1e300, "1e+300"},
             {-0.0, "-0"},
             {5e-324, "5e-324"},
             {1e15, "1e+15"},
             {123456789012345, "123456789012345"},
             {1e-4, "0.0001"},
             {0x1p-1022, "2.2250738585072014e-308"},
             {1.0 / 3, "0.3333333333333333"},
             {0x1.fffffffffffffp1023, "1.7976931348623157e+308"},
             {0x1p-44, "5.684341886080802e-14"},
             {NAN, "nan"},
             {-INFINITY, "-inf"}};
  char s[32];
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    amp_format_shortest(row[i].v, s);
    assert_string_equal(s, row[i].text);
  }
}

/* printf rounds the exact value too; it differs only on exact ties, where it
** goes to even and we go away from zero. */
static void fixed_agrees_with_printf_but_for_ties (void **state) {
  char s[32], c[64];
  (void)state;
  for (uint64_t i = 0; i < (uint64_t)often(20000); i++) {
    double v = (amp_uniform(5, 1, i) - 0.5) * pow(10, (double)(i % 10));
    int decimals = (int)(i % 7);
    amp_format_fixed(v, decimals, s);
    snprintf(c, sizeof c, "%.*f", decimals, v);
    if (strtod(c, NULL) == 0 && c[0] == '-')
      memmove(c, c + 1, strlen(c));
    assert_string_equal(s, c);
  }
}

static void numbers_in_tables_look_as_the_header_says (void **state) {
  char s[32];
  (void)state;
#define SHOWS(call, want)                                                    \
  do {                                                                       \
    assert_int_equal(call, strlen(want));                                    \
    assert_string_equal(s, want);                                            \
  } while (0)
  SHOWS(amp_format_fixed(4485, 2, s), "4485.00");
  SHOWS(amp_format_fixed(0.125, 2, s), "0.13"); /* exact ties: away */
  SHOWS(amp_format_fixed(-0.125, 2, s), "-0.13");
  SHOWS(amp_format_fixed(2.5, 0, s), "3");
  SHOWS(amp_format_fixed(0.5, 0, s), "1");
  SHOWS(amp_format_fixed(1.005, 2, s), "1.00"); /* is 1.00499999999999989 */
  SHOWS(amp_format_fixed(-0.001, 2, s), "0.00");
  SHOWS(amp_format_fixed(999.996, 2, s), "1000.00");
  SHOWS(amp_format_fixed(1e300, 2, s), "1e+300");
  SHOWS(amp_format_double(93.75, 6, s), "93.75");
  SHOWS(amp_format_double(0.08, 6, s), "0.08");
  SHOWS(amp_format_double(4485, 6, s), "4485");
  SHOWS(amp_format_double(99999.96, 6, s), "100000");
  SHOWS(amp_format_double(1e-5, 6, s), "1e-05");
  SHOWS(amp_format_double(0, 6, s), "0");
  SHOWS(amp_format_significant(21.5, 3, s), "21.5");
  SHOWS(amp_format_significant(4, 3, s), "4.00");
  SHOWS(amp_format_significant(0.83, 3, s), "0.830");
  SHOWS(amp_format_significant(4485.4, 3, s), "4485");
  SHOWS(amp_format_significant(9.996, 3, s), "10.0");
  SHOWS(amp_format_significant(0, 3, s), "0.00");
  SHOWS(amp_format_significant(-0.01234, 3, s), "-0.0123");
#undef SHOWS
}

static void nothing_overruns_its_32_bytes (void **state) {
  struct {
    char s[32];
    char guard[8];
  } out;
  (void)state;
  memset(&out, '#', sizeof out);
  for (uint64_t i = 0; i < (uint64_t)often(5000); i++) {
    double v = any_double(i);
    amp_format_shortest(v, out.s);
    amp_format_double(v, 17, out.s);
    amp_format_significant(v, 17, out.s);
    amp_format_fixed(v, 12, out.s);
    amp_format_fixed(-999999999999999.9, 12, out.s);
    assert_memory_equal(out.guard, "########", 8);
  }
}

/* A locale that writes commas changes printf and must not change us. */
static void no_locale_enters (void **state) {
  static const char *const name[] = {"de_DE.UTF-8", "de_DE.utf8",
                                     "fr_FR.UTF-8", "pl_PL.UTF-8", "de_DE"};
  char s[32];
  const char *set = NULL;
  (void)state;
  for (size_t i = 0; i < LEN(name) && set == NULL; i++)
    set = setlocale(LC_ALL, name[i]);
  if (set == NULL) {
    print_message("skipped: no locale with a decimal comma here\n");
    skip();
  }
  amp_error err;
  amp_format_shortest(1.5, s);
  double v = parsed("2.25");
  amp_failf(&err, AMP_EDATA, NULL, "%g V", 3.25);
  setlocale(LC_ALL, "C");
  assert_string_equal(s, "1.5");
  assert_string_equal(err.text, "3.25 V");
  assert_close(v, 2.25, 0.0);
}

static void foreign_text_is_made_visible (void **state) {
  static const struct {
    const char *text, *want;
  } row[] = {{"plain \xc3\xa9", "plain \xc3\xa9"},
             {"a\x1b[31m", "a\\x1b[31m"},
             {"a\nb\t\x7f", "a\\x0ab\\x09\\x7f"},
             {"\xff\xc3", "\\xff\\xc3"},
             {"\xc0\xaf", "\\xc0\\xaf"},            /* overlong '/' */
             {"\xed\xa0\x80", "\\xed\\xa0\\x80"},   /* a surrogate */
             {"\xe2\x80\xae!", "\\xe2\\x80\\xae!"}, /* right to left */
             {"\xc2\x9b"
              "1m",
              "\\xc2\\x9b"
              "1m"}}; /* 8-bit escape */
  char out[100];
  (void)state;
  for (size_t i = 0; i < LEN(row); i++) {
    const char *t = row[i].text;
    assert_int_equal(amp_text_visible(t, strlen(t), 40, out, sizeof out),
                     strlen(row[i].want));
    assert_string_equal(out, row[i].want);
  }
  amp_text_visible("6\0"
                   "0",
                   3, 40, out, sizeof out);
  assert_string_equal(out, "6\\x000");
}

static void foreign_text_is_cut_whole (void **state) {
  char out[16];
  (void)state;
  amp_text_visible("0123456789", 10, 10, out, sizeof out);
  assert_string_equal(out, "0123456789");
  amp_text_visible("0123456789A", 11, 10, out, sizeof out);
  assert_string_equal(out, "01234567..");
  amp_text_visible("0123456\xc3\xa9\xc3\xa9zz", 13, 9, out, sizeof out);
  assert_string_equal(out, "0123456..");
  for (size_t size = 1; size < sizeof out; size++) {
    memset(out, '#', sizeof out);
    size_t n = amp_text_visible("\xc3\xa9\xc3\xa9\x01\x02zzzzzzzzzzzz", 18,
                                40, out, size);
    assert_true(n < size && out[n] == '\0' && out[size] == '#');
  }
}

static void words_are_alike_in_either_case_and_whole (void **state) {
  static const char *const word[] = {"", "n/a", "nan", NULL};
  (void)state;
  assert_true(amp_text_is_one_of("", word));
  assert_true(amp_text_is_one_of("N/a", word));
  assert_true(amp_text_is_one_of("NaN", word));
  assert_false(amp_text_is_one_of("na", word));
  assert_false(amp_text_is_one_of("nano", word));
  assert_false(amp_text_is_one_of("n\x0f"
                                  "a",
                                  word)); /* '/' and 0x0f: 32 apart */
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(parsing_agrees_with_strtod),
      cmocka_unit_test(ties_go_to_even_and_the_last_digit_counts),
      cmocka_unit_test(text_that_is_no_number_is_refused),
      cmocka_unit_test(the_decimal_mark_is_the_callers),
      cmocka_unit_test(too_large_is_refused_and_too_small_is_told),
      cmocka_unit_test(shortest_text_reads_back_and_is_shortest),
      cmocka_unit_test(shortest_text_of_known_numbers),
      cmocka_unit_test(fixed_agrees_with_printf_but_for_ties),
      cmocka_unit_test(numbers_in_tables_look_as_the_header_says),
      cmocka_unit_test(nothing_overruns_its_32_bytes),
      cmocka_unit_test(no_locale_enters),
      cmocka_unit_test(foreign_text_is_made_visible),
      cmocka_unit_test(foreign_text_is_cut_whole),
      cmocka_unit_test(words_are_alike_in_either_case_and_whole)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
