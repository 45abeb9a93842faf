/*
** test_csv.c -- the CSV reader: what people send, and every kind of damage.
** Damage is written into the test, so that no editor mends it.
*/
#include "support/close.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>

#define HEAD "offer,cell,modules,capacity_ah,voltage_v,soh_pct,price_eur\n"
#define ROW "A,NMC,8,60,7.4,82,95.50\n"

/* Counts what is lent, fails the fail-th request (0: never). */
typedef struct lender {
  size_t lent, requests, fail, most;
} lender;

static void *lend (void *user, void *old, size_t old_size, size_t new_size) {
  lender *l = user;
  if (new_size > 0 && ++l->requests == l->fail)
    return NULL;
  l->lent += new_size - old_size;
  l->most = l->lent > l->most ? l->lent : l->most;
  if (new_size == 0) {
    free(old);
    return NULL;
  }
  return realloc(old, new_size);
}

static amp_csv *read_ok (const char *text, const amp_csv_options *opt) {
  amp_csv *csv = NULL;
  amp_error err;
  if (amp_csv_read(NULL, text, strlen(text), opt, &csv, &err) != AMP_OK)
    fail_msg("refused: %s", err.text);
  return csv;
}

/* n bytes must be refused at a place; gives back the sentence. */
static const char *refused (const char *text, size_t n,
                            const amp_csv_options *opt, size_t line,
                            size_t column) {
  static amp_error err;
  lender l = {0, 0, 0, 0};
  amp_context ctx = {.user = &l, .alloc = lend, .workers = 1};
  amp_csv *csv = NULL;
  assert_int_equal(amp_csv_read(&ctx, text, n, opt, &csv, &err), AMP_EDATA);
  assert_null(csv);
  assert_int_equal(l.lent, 0);
  assert_int_equal(err.line, line);
  assert_int_equal(err.column, column);
  return err.text;
}

#define REFUSED(text, line, column)                                          \
  refused(text, sizeof(text) - 1, NULL, line, column)

static void plain_table_is_read_with_its_places (void **state) {
  amp_csv *csv = read_ok(HEAD ROW "B,LFP,12,100,12.8,91,140\n", NULL);
  size_t line, column;
  (void)state;
  assert_int_equal(amp_csv_rows(csv), 2);
  assert_int_equal(amp_csv_columns(csv), 7);
  assert_string_equal(amp_csv_header(csv, 3), "capacity_ah");
  assert_int_equal(amp_csv_find(csv, " soh_pct "), 5);
  assert_true(amp_csv_find(csv, "SOH_pct") == (size_t)-1);
  assert_string_equal(amp_csv_field(csv, 1, 1), "LFP");
  amp_csv_place(csv, 1, 4, &line, &column);
  assert_int_equal(line, 3);
  assert_int_equal(column, 14);
  amp_csv_free(NULL, csv);
}

static void byte_order_mark_is_no_part_of_the_name (void **state) {
  amp_csv *csv = read_ok("\xef\xbb\xbf" HEAD ROW, NULL);
  (void)state;
  assert_string_equal(amp_csv_header(csv, 0), "offer");
  amp_csv_free(NULL, csv);
}

static void cr_lf_leaves_no_cr_behind (void **state) {
  amp_csv *csv = read_ok("a,b\r\n1,2\r\n\r\n3,4", NULL);
  size_t line, column;
  (void)state;
  assert_string_equal(amp_csv_header(csv, 1), "b");
  assert_string_equal(amp_csv_field(csv, 0, 1), "2");
  assert_string_equal(amp_csv_field(csv, 1, 1), "4");
  amp_csv_place(csv, 1, 1, &line, &column);
  assert_int_equal(line, 4);
  assert_int_equal(column, 3);
  amp_csv_free(NULL, csv);
}

static void quotes_keep_commas_quotes_and_line_breaks (void **state) {
  amp_csv *csv = read_ok("offer,n,price\n"
                         "\"A, the \"\"blue\"\" lot\",8,\"95.50\"\n"
                         "\"B\nsecond line\", \"12\" ,140\nC,5\" disc,1\n",
                         NULL);
  size_t line, column;
  (void)state;
  assert_int_equal(amp_csv_rows(csv), 3);
  assert_string_equal(amp_csv_field(csv, 0, 0), "A, the \"blue\" lot");
  assert_string_equal(amp_csv_field(csv, 0, 2), "95.50");
  assert_string_equal(amp_csv_field(csv, 1, 0), "B\nsecond line");
  assert_string_equal(amp_csv_field(csv, 1, 1), "12");
  assert_string_equal(amp_csv_field(csv, 2, 1), "5\" disc");
  amp_csv_place(csv, 2, 0, &line, &column); /* after the break inside */
  assert_int_equal(line, 5);
  amp_csv_free(NULL, csv);
}

static void separator_is_found_by_the_header (void **state) {
  amp_csv *semi = read_ok("a;b, c;d\n1;2,5;3\n", NULL);
  amp_csv *tab = read_ok("a\tb\tc\n1\t\t3\n \t \t\n", NULL);
  amp_csv_options bar = {.sep = '|'};
  amp_csv *own = read_ok("a|b,c\n1|2", &bar);
  (void)state;
  assert_int_equal(amp_csv_columns(semi), 3);
  assert_string_equal(amp_csv_field(semi, 0, 1), "2,5");
  assert_int_equal(amp_csv_columns(tab), 3);
  assert_string_equal(amp_csv_field(tab, 0, 1), "");
  assert_int_equal(amp_csv_rows(tab), 2);
  assert_string_equal(amp_csv_header(own, 1), "b,c");
  amp_csv_free(NULL, semi);
  amp_csv_free(NULL, tab);
  amp_csv_free(NULL, own);
}

static void blanks_and_blank_lines_fall_away (void **state) {
  amp_csv *csv = read_ok("\n  \n a , b \n\n 1 ,\t2\n   \n", NULL);
  size_t line, column;
  (void)state;
  assert_string_equal(amp_csv_header(csv, 0), "a");
  assert_int_equal(amp_csv_rows(csv), 1);
  assert_string_equal(amp_csv_field(csv, 0, 1), "2");
  amp_csv_place(csv, 0, 0, &line, &column);
  assert_int_equal(line, 5);
  assert_int_equal(column, 2);
  amp_csv_free(NULL, csv);
}

static void columns_count_characters_not_bytes (void **state) {
  amp_csv *csv = read_ok("na\xc3\xafve,b\n\xc3\xa9\xe2\x82\xac,2\n", NULL);
  size_t line, column;
  (void)state;
  amp_csv_place(csv, 0, 1, &line, &column);
  assert_int_equal(column, 4);
  amp_csv_free(NULL, csv);
}

static void nul_bytes_are_refused_where_they_stand (void **state) {
  (void)state;
  assert_string_equal(REFUSED(HEAD "A,NMC,8,6\0"
                                   "0,7.4,82,95.50\n",
                              2, 10),
                      "NUL byte: 'A,NMC,8,6\\x000,7.4,82,95.50'");
  REFUSED(HEAD "\"B\0\",1,1,1,1,1,1\n", 2, 3);
  REFUSED("a,b\0\n1,2\n", 1, 4);
  REFUSED("a,b\n1,2\n\0", 3, 1);
  REFUSED("a,b\n\"1\"\0,2\n", 2, 4);
}

static void ragged_rows_are_refused_with_their_counts (void **state) {
  (void)state;
  assert_string_equal(REFUSED(HEAD "A,NMC,8,60,7.4,82\n", 2, 1),
                      "line 2 has 6 of 7 fields: 'A,NMC,8,60,7.4,82'");
  assert_string_equal(
      REFUSED(HEAD ROW "B,LFP,12,100,12.8,91,140,extra,more\n", 3, 1),
      "line 3 has 9 fields, the header 7:"
      " 'B,LFP,12,100,12.8,91,140,extra,more'");
  assert_string_equal(
      REFUSED("id,ocv_v\n1,26,4\n", 2, 1),
      "line 2 has 3 fields, the header 2: '1,26,4': a decimal "
      "comma?");
  assert_string_equal(REFUSED("id;ocv_v\n1;26;4\n", 2, 1),
                      "line 2 has 3 fields, the header 2: '1;26;4'");
}

static void a_column_named_twice_is_refused (void **state) {
  (void)state;
  assert_string_equal(
      REFUSED("offer,cell,modules,capacity_ah, capacity_ah,soh_pct\n1,2,3,4,"
              "5,6\n",
              1, 33),
      "column 'capacity_ah' is named twice, as columns 4 and 5");
}

static void empty_texts_are_refused (void **state) {
  (void)state;
  assert_string_equal(refused("", 0, NULL, 0, 0), "the text is empty");
  assert_string_equal(REFUSED("\xef\xbb\xbf \n\n", 0, 0),
                      "the text is empty");
  assert_string_equal(REFUSED(HEAD, 1, 1), "no rows under the header");
  REFUSED(HEAD "\n\n", 1, 1);
}

static void open_quotes_are_refused_where_they_open (void **state) {
  (void)state;
  assert_string_equal(REFUSED("a,b\n1,\"2\n3,4\n", 2, 3),
                      "a quote is not closed: '\"2'");
  assert_string_equal(REFUSED("a,b\n\"1\"x,2\n", 2, 4),
                      "text after a closing quote: '\"1\"x,2'");
  REFUSED("\"a,b\n1,2\n", 1, 1);
}

static void limits_are_refusals_too (void **state) {
  amp_csv_options opt = {.max_fields = 2, .max_field_size = 5, .max_rows = 2};
  (void)state;
  assert_string_equal(refused("a,b,c\n1,2,3\n", 12, &opt, 1, 5),
                      "line 1 has more than 2 fields");
  assert_string_equal(refused("a,b\n1,\"234567\n", 14, &opt, 2, 3),
                      "a field is longer than 5 bytes (an unclosed quote?)");
  assert_string_equal(refused("a\n1\n2\n3\n", 8, &opt, 4, 1),
                      "more than 2 rows");
}

/* A quote never closed must not be copied whole: refused at 64 KiB. */
static void a_long_open_quote_ends_early (void **state) {
  enum { N = 1 << 20 };
  char *text = malloc(N);
  (void)state;
  memset(text, 'x', N);
  memcpy(text, "a,b\n\"", 5);
  assert_string_equal(
      refused(text, N, NULL, 2, 1),
      "a field is longer than 65536 bytes (an unclosed quote?)");
  free(text);
}

static void refusals_show_at_most_40_characters (void **state) {
  char text[400] = "a,b\n\x1b[2J";
  (void)state;
  memset(text + strlen(text), 'y', 300);
  const char *s = refused(text, strlen(text), NULL, 2, 1);
  assert_string_equal(s, "line 2 has 1 of 2 fields: '\\x1b[2J"
                         "yyyyyyyyyyyyyyyyyyyyyyyyyyyyyyy..'");
}

static amp_status number (const amp_csv *csv, size_t column, double *v,
                          bool *given, amp_error *err) {
  return amp_csv_number(csv, 0, column, v, given, err);
}

static void fields_read_as_numbers_or_as_not_given (void **state) {
  amp_csv *csv = read_ok("a,b,c,d,e,f\n-1.5e3,,-,N/A,?,nA\n", NULL);
  double v = 0;
  bool given = false;
  (void)state;
  assert_int_equal(number(csv, 0, &v, &given, NULL), AMP_OK);
  assert_true(given && v == -1500);
  for (size_t i = 1; i < 6; i++) {
    v = 0;
    assert_int_equal(number(csv, i, &v, &given, NULL), AMP_OK);
    assert_true(!given && isnan(v));
  }
  amp_csv_free(NULL, csv);
}

static void other_marks_are_refused_with_the_hint (void **state) {
  amp_csv *csv = read_ok("ah;v;eur;x\n60,5;7.4;1.000,0;nan\n", NULL);
  amp_error err;
  double v = 77;
  bool given = false;
  (void)state;
  assert_int_equal(number(csv, 0, &v, &given, &err), AMP_EDATA);
  assert_string_equal(err.text,
                      "ah: '60,5' is not a number: with decimal commas say"
                      " decimal = ',', thousands marks are not read");
  assert_int_equal(err.line, 2);
  assert_int_equal(err.column, 1);
  assert_int_equal(number(csv, 2, &v, &given, &err), AMP_EDATA);
  assert_non_null(strstr(err.text, "thousands marks"));
  assert_int_equal(err.column, 10);
  assert_int_equal(number(csv, 3, &v, &given, &err), AMP_EDATA);
  assert_string_equal(err.text, "x: 'nan' is not a number");
  assert_close(v, 77, 0.0);
  amp_csv_free(NULL, csv);
}

static void decimal_commas_are_read_when_said (void **state) {
  amp_csv_options opt = {.decimal = ','};
  amp_csv *csv = read_ok("ah;v;eur\n60,5;7.4;1.140,00\n", &opt);
  amp_error err;
  double v = 0;
  bool given = false;
  (void)state;
  assert_int_equal(number(csv, 0, &v, &given, &err), AMP_OK);
  assert_close(v, 60.5, 0.0);
  assert_int_equal(number(csv, 1, &v, &given, &err), AMP_EDATA);
  assert_non_null(strstr(err.text, "decimal = '.'"));
  assert_int_equal(number(csv, 2, &v, &given, &err), AMP_EDATA);
  amp_csv_free(NULL, csv);
}

static void huge_and_vanishing_numbers_are_refused (void **state) {
  amp_csv *csv = read_ok("a,b,c\n1e999,1e-999,-1e400\n", NULL);
  amp_error err;
  double v = 77;
  bool given = false;
  (void)state;
  assert_int_equal(number(csv, 0, &v, &given, &err), AMP_ERANGE);
  assert_string_equal(err.text,
                      "a: '1e999' is out of range: too large for a number");
  assert_int_equal(number(csv, 1, &v, &given, &err), AMP_ERANGE);
  assert_non_null(strstr(err.text, "would become 0"));
  assert_int_equal(number(csv, 2, &v, &given, &err), AMP_ERANGE);
  assert_close(v, 77, 0.0);
  amp_csv_free(NULL, csv);
}

/* Whatever request for memory fails: refused, and everything given back. */
static void no_memory_leaves_nothing_behind (void **state) {
  const char *text = HEAD ROW ROW;
  (void)state;
  for (size_t fail = 1; fail < 10; fail++) {
    lender l = {0, 0, fail, 0};
    amp_context ctx = {.user = &l, .alloc = lend, .workers = 1};
    amp_csv *csv = NULL;
    amp_status status =
        amp_csv_read(&ctx, text, strlen(text), NULL, &csv, NULL);
    if (status == AMP_OK) {
      assert_true(fail > 3);
      amp_csv_free(&ctx, csv);
    } else
      assert_int_equal(status, AMP_ENOMEM);
    assert_int_equal(l.lent, 0);
  }
}

/* Every cut of a good file, and every byte of it changed in turn. */
static void no_damage_crashes_the_reader (void **state) {
  static const char good[] = "a,b\r\n\"1 \"\"x\",2\n3,\xc3\xa9\n";
  static const char put[] = {'\0', '"', ',', '\n', '\r', '\xff', ' '};
  char text[sizeof good];
  (void)state;
  for (size_t i = 0; i < sizeof good; i++)
    for (size_t k = 0; k <= sizeof put; k++) {
      size_t n = k == sizeof put ? i : sizeof good - 1;
      lender l = {0, 0, 0, 0};
      amp_context ctx = {.user = &l, .alloc = lend, .workers = 1};
      amp_csv *csv = NULL;
      memcpy(text, good, sizeof good);
      if (k < sizeof put && i < n)
        text[i] = put[k];
      if (amp_csv_read(&ctx, text, n, NULL, &csv, NULL) == AMP_OK) {
        assert_true(amp_csv_rows(csv) > 0);
        amp_csv_free(&ctx, csv);
      }
      assert_int_equal(l.lent, 0);
    }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(plain_table_is_read_with_its_places),
      cmocka_unit_test(byte_order_mark_is_no_part_of_the_name),
      cmocka_unit_test(cr_lf_leaves_no_cr_behind),
      cmocka_unit_test(quotes_keep_commas_quotes_and_line_breaks),
      cmocka_unit_test(separator_is_found_by_the_header),
      cmocka_unit_test(blanks_and_blank_lines_fall_away),
      cmocka_unit_test(columns_count_characters_not_bytes),
      cmocka_unit_test(nul_bytes_are_refused_where_they_stand),
      cmocka_unit_test(ragged_rows_are_refused_with_their_counts),
      cmocka_unit_test(a_column_named_twice_is_refused),
      cmocka_unit_test(empty_texts_are_refused),
      cmocka_unit_test(open_quotes_are_refused_where_they_open),
      cmocka_unit_test(limits_are_refusals_too),
      cmocka_unit_test(a_long_open_quote_ends_early),
      cmocka_unit_test(refusals_show_at_most_40_characters),
      cmocka_unit_test(fields_read_as_numbers_or_as_not_given),
      cmocka_unit_test(other_marks_are_refused_with_the_hint),
      cmocka_unit_test(decimal_commas_are_read_when_said),
      cmocka_unit_test(huge_and_vanishing_numbers_are_refused),
      cmocka_unit_test(no_memory_leaves_nothing_behind),
      cmocka_unit_test(no_damage_crashes_the_reader)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
