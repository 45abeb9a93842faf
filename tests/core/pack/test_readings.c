/*
** test_readings.c -- readings from text as people type it, the plain
** statistics of a lot, and the verdicts. The pallet is the invented one of
** docs/model/readings.md; hand sums stand beside each number.
*/
#include "support/close.h"
#include "job/caution.h"
#include "pack/judge.h"
#include "pack/readings.h"
#include <stdio.h>
#include <string.h>

/* ---- helpers ---- */

static const char pallet[] =
    "id;ocv_v;group_min_v;group_max_v;r10s_mohm;ah_c3_25c;remark\n"
    "1;25.76;3.679;3.682;1.9;;\n"
    "2;25.75;3.677;3.681;1.9;;\n"
    "3;25.76;3.679;3.681;1.8;96.1;\n"
    "4;25.74;3.674;3.680;2.1;;\n"
    "5;25.75;3.677;3.680;1.9;;white crust at one lower corner\n"
    "6;25.71;3.662;3.679;2.6;;\n"
    "7;25.76;3.679;3.682;1.8;;\n"
    "8;25.73;3.672;3.679;2.2;91.4;\n"
    "9;25.40;3.619;3.634;2.0;;\n"
    "10;25.75;3.677;3.680;1.9;;\n"
    "11;24.38;2.310;3.681;2.0;;\n"
    "12;25.76;3.678;3.682;1.9;;\n";

/* Straight pieces; invented, as the pallet is. */
static amp_chemistry invented (void) {
  static const double soc[] = {0.0, 0.05, 0.1, 0.2, 0.3, 0.4,
                               0.5, 0.6,  0.7, 0.8, 0.9, 1.0};
  static const double volt[] = {3.00, 3.30, 3.42, 3.52, 3.58, 3.62,
                                3.67, 3.75, 3.84, 3.93, 4.05, 4.18};
  amp_chemistry c = {0};
  assert_int_equal(
      amp_curve_make(soc, volt, 12, AMP_INTERP_LINEAR, &c.ocv, NULL), AMP_OK);
  c.v_nominal = 3.65;
  c.v_min = 3.0;
  c.v_max = 4.2;
  c.flat_lo = 1.0;
  return c;
}

static amp_status read_with (const char *text,
                             const amp_readings_options *opt, amp_lot *lot,
                             amp_error *err) {
  memset(lot, 0, sizeof *lot);
  lot->nameplate = 112 * 3600.0;
  return amp_lot_read(NULL, text, strlen(text), opt, lot, err);
}

static amp_lot read_text (const char *text) {
  amp_lot lot;
  amp_error err = {0};
  if (read_with(text, NULL, &lot, &err) != AMP_OK)
    fail_msg("%s (line %zu)", err.text, err.line);
  return lot;
}

static void refused (const char *text, const char *words, size_t line) {
  amp_lot lot;
  amp_error err = {0};
  assert_int_equal(read_with(text, NULL, &lot, &err), AMP_EDATA);
  if (strstr(err.text, words) == NULL)
    fail_msg("no '%s' in '%s'", words, err.text);
  assert_int_equal(err.line, line);
  assert_null(lot.reading); /* nothing is left behind */
}

/* The lot judged as seven groups of the invented curve. */
static amp_lot_summary judge_7 (amp_lot *lot, const amp_chemistry *c,
                                amp_judged *out) {
  amp_judging by = amp_judging_defaults();
  amp_lot_summary sum;
  lot->chemistry = c;
  lot->groups = 7;
  assert_int_equal(amp_lot_judge(NULL, lot, &by, out, &sum, NULL), AMP_OK);
  return sum;
}

static const amp_judgement *found (const amp_judged *j, const char *name) {
  for (int i = 0; i < j->n; i++)
    if (strcmp(j->finding[i].name, name) == 0)
      return &j->finding[i];
  return NULL;
}

/* ---- from text ---- */

static void pallet_reads_with_its_gaps (void **state) {
  amp_lot lot = read_text(pallet);
  (void)state;
  assert_int_equal(lot.n, 12);
  assert_string_equal(lot.reading[8].id, "9");
  assert_close(lot.reading[8].ocv, 25.40, 0.0);
  assert_close(lot.reading[5].r10s, 2.6e-3, 1e-18);
  assert_close(lot.reading[2].charge, 96.1 * 3600.0, 1e-9);
  assert_false(amp_given(lot.reading[0].charge)); /* a gap stays a gap */
  assert_false(amp_given(lot.reading[0].temp));
  assert_string_equal(lot.reading[4].remark,
                      "white crust at one lower corner");
  assert_int_equal(lot.reading[4].line, 6);
  amp_lot_free(NULL, &lot);
}

/* Ids that differ in their last letter are two modules, with two dates too;
** one that cannot be kept whole is refused where it stands. */
static void ids_are_kept_whole (void **state) {
  char text[300], id[AMP_READING_ID + 1];
  amp_lot lot;
  (void)state;
  memset(id, 'm', sizeof id);
  id[AMP_READING_ID - 2] = '\0';
  snprintf(text, sizeof text,
           "id,ocv_v,date\n%s1,25.7,2026-01-01\n%s2,25.6,2026-02-01\n", id,
           id);
  lot = read_text(text);
  assert_int_equal(lot.n, 2);
  assert_false(amp_given(lot.reading[1].before_day));
  strcat(id, "2");
  assert_int_equal(strlen(id), AMP_READING_ID - 1);
  assert_int_equal(amp_lot_find(&lot, id), 1);
  amp_lot_free(NULL, &lot);
  snprintf(text, sizeof text, "id,ocv_v\n1,25.7\n%sx,25.6\n", id);
  refused(text, "is longer than 63 bytes", 3);
}

/* Four ways to write the same two modules. */
static void the_same_in_four_spellings (void **state) {
  static const char *const text[] = {
      "id,ocv_v,r10s_mohm,ah\n03,25.76,1.9,\nM3,25.40,?,96.1\n",
      "module;OCV (V);R [m\xce\xa9];capacity Ah\n03;25,76;1,9;-\n"
      "M3;25,40;n/a;96,1\n",
      "no.\tvoltage mV\tR ohm\tcap mAh\n03\t25760\t0.0019\tNaN\n"
      "M3\t25400\t\t96100\n",
      "id   OCV (V)   R mOhm   Ah\n"
      "03     25,76      1,9\n"
      "M3     25,40            96,1\n"};
  (void)state;
  for (int i = 0; i < 4; i++) {
    amp_lot lot = read_text(text[i]);
    assert_int_equal(lot.n, 2);
    assert_string_equal(lot.reading[0].id, "03");
    assert_close(lot.reading[0].ocv, 25.76, 1e-12);
    assert_close(lot.reading[0].r10s, 1.9e-3, 1e-15);
    assert_false(amp_given(lot.reading[0].charge));
    assert_string_equal(lot.reading[1].id, "M3");
    assert_false(amp_given(lot.reading[1].r10s));
    assert_close(lot.reading[1].charge, 96.1 * 3600.0, 1e-6);
    amp_lot_free(NULL, &lot);
  }
}

static void units_stand_behind_numbers_too (void **state) {
  amp_lot lot = read_text("id,ocv,r10s_mohm,temp F,ah\n"
                          "1,25.76 V,0.0019 ohm,77,96100mAh\n");
  (void)state;
  assert_close(lot.reading[0].ocv, 25.76, 0.0);
  assert_close(lot.reading[0].r10s, 1.9e-3, 1e-15);
  assert_close(lot.reading[0].temp, 298.15, 1e-9); /* 77 F = 25 C */
  assert_close(lot.reading[0].charge, 96.1 * 3600.0, 1e-6);
  amp_lot_free(NULL, &lot);
}

static void a_remark_in_aligned_columns_keeps_its_words (void **state) {
  amp_lot lot = read_text("id  ocv_v  remark\n"
                          "1   25.76  white crust at a corner\n"
                          "2   25.75\n"
                          "\n"
                          "3          no label\n");
  (void)state;
  assert_int_equal(lot.n, 3);
  assert_string_equal(lot.reading[0].remark, "white crust at a corner");
  assert_string_equal(lot.reading[1].remark, "");
  assert_string_equal(lot.reading[2].remark, "no label");
  assert_false(amp_given(lot.reading[2].ocv));
  assert_int_equal(lot.reading[2].line, 5);
  amp_lot_free(NULL, &lot);
}

/* A row with a word for each header goes in turn, however it stands. */
static void single_blanks_part_columns_too (void **state) {
  amp_lot lot = read_text("id ocv_v r10s_mohm remark\n"
                          "the-one-with-the-long-name 25.76 1.9 no label\n");
  (void)state;
  assert_close(lot.reading[0].ocv, 25.76, 0.0);
  assert_close(lot.reading[0].r10s, 1.9e-3, 1e-15);
  assert_string_equal(lot.reading[0].remark, "no label");
  amp_lot_free(NULL, &lot);
}

static void headers_may_be_named_by_the_caller (void **state) {
  static const char *const ours[] = {"id", "r10s_mohm"};
  static const char *const theirs[] = {"etiqueta", "R"};
  static const char *const skip[] = {"seller"};
  amp_readings_options opt = {.columns = 2, .ours = ours, .theirs = theirs};
  amp_lot lot;
  amp_error err = {0};
  (void)state;
  opt.skipped = 1;
  opt.skip = skip;
  assert_int_equal(
      read_with("etiqueta,R,ocv_v,seller\n1,1.9,25.7,x\n", &opt, &lot, &err),
      AMP_OK);
  assert_close(lot.reading[0].r10s, 1.9e-3, 1e-15);
  amp_lot_free(NULL, &lot);
  assert_int_equal(read_with("id,ocv_v\n1,25.7\n", &opt, &lot, &err),
                   AMP_EDATA);
  assert_non_null(strstr(err.text, "there is no column 'etiqueta'"));
}

static void damage_to_the_file_is_refused (void **state) {
  amp_lot lot = {0};
  amp_error err = {0};
  (void)state;
  refused("", "the text is empty", 0);
  refused("id,ocv_v\n", "no rows", 1);
  refused("id,ocv_v\n1,25.7,9\n", "fields", 2);
  refused("id,ocv_v\n1,\"25.7\n", "quote is not closed", 2);
  refused("id,ocv_v,ocv_v\n1,2,3\n", "named twice", 1);
  refused("id,ocv_v,OCV (V)\n1,2,3\n", "both give ocv_v", 1);
  refused("ocv_v,ah\n25.7,90\n", "no column holds the id", 1);
  refused("id,price\n1,9\n", "'price', is not known", 1);
  refused("id,R\n1,1.9\n", "does not say its unit", 1);
  refused("id,AC R mohm\n1,1.9\n", "'AC R mohm', is not known", 1);
  refused("id,ocv_ah\n1,25.7\n", "'ocv_ah'", 1);
  refused("id;ocv_v\n1;25.7\n2;25,7\n", "both stand here", 3);
  refused("id;ocv_v\n1;25,7\n2;25.7\n", "both stand here", 3);
  assert_int_equal(
      amp_lot_read(NULL, "id,ocv_v\n1,2\0005.7\n", 16, NULL, &lot, &err),
      AMP_EDATA);
  assert_non_null(strstr(err.text, "NUL"));
}

static void a_row_that_makes_no_sense_stays_with_its_reason (void **state) {
  amp_lot lot = read_text("id,ocv_v,group_min_v,group_max_v,ah,date\n"
                          "1,25.76,3.679,3.682,90,2026-11-01\n"
                          "2,25.76,3.679,3.682,-60,\n"
                          "3,25.76,3.690,3.682,90,\n"
                          "4,1e999,3.679,3.682,90,\n"
                          "5,25.76,x,3.682,90,\n"
                          "6,25.76,3.679,3.682,90,3/4/2026\n"
                          "1,25.70,3.679,3.682,90,\n"
                          "7,25.76,3.679,3.682,1e-999,\n"
                          "8,,,,,\n");
  static const char *const want[] = {
      "",
      "ah must lie in 0.1 .. 5000 Ah (got -60)",
      "group_min_v 3.69 is above group_max_v 3.682",
      "ocv_v '1e999' is out of range",
      "group_min_v 'x' is not a number",
      "may be read two ways",
      "stands twice",
      "'1e-999' is out of range",
      "nothing was measured"};
  (void)state;
  assert_int_equal(lot.n, 9);
  assert_string_equal(lot.reading[0].flaw, "");
  for (size_t i = 1; i < 9; i++)
    if (strstr(lot.reading[i].flaw, want[i]) == NULL)
      fail_msg("row %zu: no '%s' in '%s'", i, want[i], lot.reading[i].flaw);
  assert_close(lot.reading[0].ocv, 25.76, 0.0); /* the first one counts */
  assert_int_equal(amp_lot_modules(&lot), 8);   /* "1" stands twice */
  amp_lot_free(NULL, &lot);
  refused("id,ah\n1,-60\n2,-12\n", "no row can be used: ah must lie", 2);
  refused("id,ah\n1,60000\n", "0.1 .. 5000 Ah", 2);
}

static void empty_rows_of_a_spreadsheet_are_no_modules (void **state) {
  amp_lot lot = read_text("id;ocv_v;;\n1;25.7;;\n;;;\n2;25.7;;\n;;;\n");
  (void)state;
  assert_int_equal(lot.n, 2);
  assert_string_equal(lot.reading[1].id, "2");
  amp_lot_free(NULL, &lot);
  refused("id;ocv_v\n;\n;\n", "no rows but empty ones", 2);
}

/* 60,5 never becomes 60 or 605, 1.000,0 never 1 or 1000 */
static void thousands_marks_are_not_guessed (void **state) {
  amp_lot lot = read_text("id;ah\nA;60,5\nB;1.000,0\n");
  (void)state;
  assert_close(lot.reading[0].charge, 60.5 * 3600.0, 1e-9);
  assert_non_null(strstr(lot.reading[1].flaw, "is not a number"));
  amp_lot_free(NULL, &lot);
}

/* Days since 1970 from the calendar: 2000-03-01 is day 11017 (widely
** printed; 30 years of 365 days, 7 leap days, 31 + 29 days). */
static void dates_are_counted_in_days (void **state) {
  double d = 0.0;
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_parse_day("2000-03-01", &d, NULL), AMP_OK);
  assert_close(d, 11017.0, 0.0);
  assert_int_equal(amp_parse_day("1.3.2000", &d, NULL), AMP_OK);
  assert_close(d, 11017.0, 0.0);
  assert_int_equal(amp_parse_day("25/3/2000", &d, NULL), AMP_OK);
  assert_close(d, 11041.0, 0.0);
  assert_int_equal(amp_parse_day("3/25/2000", &d, NULL), AMP_OK);
  assert_close(d, 11041.0, 0.0);
  assert_int_equal(amp_parse_day("2000-03-01 18:00", &d, NULL), AMP_OK);
  assert_close(d, 11017.75, 0.0);
  assert_int_equal(amp_parse_day("2001-02-29", &d, &err), AMP_EDATA);
  assert_int_equal(amp_parse_day("2000-03-01x", &d, &err), AMP_EDATA);
  assert_int_equal(amp_parse_day("tuesday", &d, &err), AMP_EDATA);
  assert_int_equal(amp_parse_day("3/4/2000", &d, &err), AMP_EDATA);
}

/* A mark behind a number is somebody's doubt: never read as if it were not
** there. A unit and a degree are none. */
static void a_mark_of_doubt_leaves_no_number (void **state) {
  static const char *const doubted[] = {"25.7?",      "25.7 V?", "25.7*",
                                        "25.7 V (?)", "25.7 !",  "25.7 V+"};
  static const char *const plain[] = {"25.7", "25.7 V", "25.7V", "25.7 (V)",
                                      "25700 mV"};
  (void)state;
  for (int sure = 0; sure < 2; sure++)
    for (size_t i = 0; i < (sure ? LEN(plain) : LEN(doubted)); i++) {
      char text[80];
      (void)snprintf(text, sizeof text, "id;ocv_v\n1;%s\n2;25.8\n",
                     sure ? plain[i] : doubted[i]);
      amp_lot lot = read_text(text);
      assert_int_equal(lot.reading[0].ocv > 0.0, sure);
      assert_int_equal(
          strstr(lot.reading[0].flaw, "has a mark of doubt") == NULL, sure);
      amp_lot_free(NULL, &lot);
    }
}

/* Of two rows of an id the one that makes sense is found. */
static void a_row_with_sense_goes_before_one_without (void **state) {
  amp_lot lot = read_text("id,ah,ocv_v\n1,-60,25.7\n1,90,25.7\n");
  amp_join_side side;
  (void)state;
  assert_int_equal(amp_lot_find(&lot, "1"), 1);
  assert_int_equal(amp_lot_modules(&lot), 1);
  assert_int_equal(amp_lot_side(&lot, 1e5, &side, NULL), AMP_OK);
  assert_close(side.charge, 90 * 3600.0, 1e-9); /* of one module */
  amp_lot_free(NULL, &lot);
}

static void two_dates_of_one_module_are_one_reading (void **state) {
  amp_lot lot = read_text("id;date;ocv_v;r10s_mohm\n"
                          "1;2026-11-11;25.70;\n"
                          "1;2026-11-01;25.76;1.9\n");
  (void)state;
  assert_int_equal(lot.n, 1);
  assert_close(lot.reading[0].ocv, 25.70, 0.0);
  assert_close(lot.reading[0].before_ocv, 25.76, 0.0);
  assert_close(lot.reading[0].day - lot.reading[0].before_day, 10.0, 0.0);
  assert_close(lot.reading[0].r10s, 1.9e-3, 1e-15); /* fills the gap */
  amp_lot_free(NULL, &lot);
}

/* A crust that was seen once stays seen, in whatever order the rows stand. */
static void remarks_of_two_dates_both_stay (void **state) {
  amp_lot lot = read_text("id;date;ocv_v;remark\n"
                          "1;2026-11-11;25.70;ok now\n"
                          "1;2026-11-01;25.76;white crust\n"
                          "2;2026-11-01;25.76;dented\n2;2026-11-11;25.70;\n"
                          "3;2026-11-01;25.76;ok\n3;2026-11-11;25.70;ok\n");
  char text[600] = "id;date;remark\n1;2026-11-01;", a[200];
  (void)state;
  assert_string_equal(lot.reading[0].remark, "white crust; ok now");
  assert_string_equal(lot.reading[1].remark, "dented");
  assert_string_equal(lot.reading[2].remark, "ok");
  amp_lot_free(NULL, &lot);
  memset(a, 'a', 199); /* of the 197 bytes beside "; " ten are the later's */
  a[199] = '\0';
  strcat(strcat(text, a), "\n1;2026-11-02;");
  strcat(text, "\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4 c\n");
  lot = read_text(text);
  assert_int_equal(strlen(lot.reading[0].remark), 199);
  assert_string_equal(lot.reading[0].remark + 179,
                      "aa [cut]; \xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4 c");
  amp_lot_free(NULL, &lot);
  for (int i = 0; i < 198; i += 2) /* both too long: half each, 98 bytes */
    memcpy(a + i, "\xc3\xa4", 3);
  strcpy(text, "id;date;remark\n1;2026-11-01;");
  strcat(strcat(text, a), "\n1;2026-11-02;x");
  memcpy(a, "bb", 2);
  strcat(text, a);
  lot = read_text(strcat(text, "\n"));
  assert_int_equal(strcspn(lot.reading[0].remark, ";"), 98);
  assert_int_equal(strlen(lot.reading[0].remark), 98 + 2 + 99);
  amp_lot_free(NULL, &lot);
}

/* The word that did not fit stands behind the cut, or that there was one. */
static void a_cut_remark_says_so (void **state) {
  static const char *const ends[][2] = {{" swollen", " [cut: swollen]"},
                                        {" not swollen", " [cut]"},
                                        {" geschmolzen", " [cut]"}};
  char text[400], a[241];
  (void)state;
  memset(a, 'a', 240);
  a[240] = '\0';
  for (size_t i = 0; i < LEN(ends); i++) {
    (void)snprintf(text, sizeof text, "id;remark\n1;%s%s\n", a, ends[i][0]);
    amp_lot lot = read_text(text);
    const amp_reading *r = &lot.reading[0];
    assert_true(amp_reading_remark_is_cut(r));
    assert_int_equal(strlen(r->remark), 199);
    assert_string_equal(r->remark + 199 - strlen(ends[i][1]), ends[i][1]);
    amp_lot_free(NULL, &lot);
  }
  amp_lot lot = read_text("id;remark\n1;the lid was [cut open]\n");
  assert_false(amp_reading_remark_is_cut(&lot.reading[0]));
  amp_lot_free(NULL, &lot);
}

/* ---- statistics ---- */

/* Two tests of twelve, 96.1 and 91.4 Ah: mean 93.75, sd 3.323, half width
** 12.706 x 3.323 / sqrt 2 x sqrt(10/12) = 27.26 Ah. By hand. */
static void mean_of_two_of_twelve (void **state) {
  amp_lot lot = read_text(pallet);
  amp_value v;
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_lot_mean(&lot, AMP_READING_CHARGE, &v, NULL), AMP_OK);
  assert_close(v.value / 3600.0, 93.75, 1e-9);
  assert_close(v.sd / 3600.0, 3.323, 5e-4);
  assert_close(amp_value_half_width(&v) / 3600.0, 27.26, 0.005);
  assert_int_equal(amp_lot_mean(&lot, AMP_READING_TEMP, &v, &err),
                   AMP_EMISSING);
  assert_close(amp_lot_median(&lot, AMP_READING_R10S), 1.9e-3, 1e-15);
  amp_lot_free(NULL, &lot);
}

/* Seven of 14 mohm joined to one: 14/7; mean voltage; seven times 50 Ah. */
static void peers_are_one_side_of_a_joint (void **state) {
  amp_lot lot = read_text("id,ocv_v,r10s_mohm\n1,25.62,14\n2,25.60,14\n"
                          "3,25.64,13\n4,25.58,15\n5,25.61,14\n6,25.63,?\n"
                          "7,25.59,14\n");
  amp_join_side s;
  (void)state;
  assert_int_equal(amp_lot_side(&lot, 50 * 3600.0, &s, NULL), AMP_OK);
  assert_close(s.v, 25.61, 1e-9);
  assert_close(s.r, 2e-3, 1e-12);
  assert_close(s.charge / 3600.0, 350.0, 1e-9);
  amp_lot_free(NULL, &lot);
}

/* 36 A; the second group falls 0.1 V an interval from 3.25 V and crosses
** 3.0 V half way through the third: 2.5 intervals of 100 s = 2.5 Ah. */
static void capacity_ends_with_the_first_group (void **state) {
  static const double time[] = {0, 100, 200, 300, 400};
  static const double amps[] = {0, 36, 36, 36, 36};
  static const double a[] = {3.6, 3.59, 3.58, 3.57, 3.56};
  static const double b[] = {3.25, 3.15, 3.05, 2.95, 2.85};
  const double *const v[] = {a, b}, *const one[] = {a};
  amp_discharge d = {0};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_discharge_until(5, time, amps, 2, v, 3.0, &d, NULL),
                   AMP_OK);
  assert_close(d.charge / 3600.0, 2.5, 1e-12);
  assert_int_equal(d.first, 1);
  assert_close(d.seconds, 250.0, 1e-9);
  /* mean of the two groups' mean voltages, straight lines */
  assert_close(d.energy, 36 * 250 * (3.5875 + 3.125), 1e-6);
  assert_int_equal(amp_discharge_until(5, time, amps, 1, one, 3.0, &d, &err),
                   AMP_EREFUSED);
  assert_int_equal(amp_discharge_until(5, time, amps, 2, v, 3.3, &d, &err),
                   AMP_EREFUSED);
  assert_close(d.charge / 3600.0, 2.5, 1e-12); /* as it was */
}

/* 94 Ah at 47 A is 2 h; 12 modules, 5 at a time: 3 rounds, with 1 h of rest
** 9 h. */
static void bench_hours_count_whole_rounds (void **state) {
  (void)state;
  assert_close(amp_bench_seconds(94 * 3600.0, 47.0, 12, 5, 3600.0),
               9 * 3600.0, 1e-6);
}

/* ---- verdicts ---- */

/* 11 reject (2.310 V; 6 x 3.678 + 2.310 = 24.378), 5 quarantine (crust), 6
** to be measured again (2.6 is 1.37 x the median 1.9, groups 17 mV apart),
** 9 only lower: 25.40 / 7 = 3.629 V, 42 % against 51 %. By hand. */
static void pallet_is_judged_as_by_hand (void **state) {
  amp_lot lot = read_text(pallet);
  amp_chemistry c = invented();
  amp_judged j[12];
  amp_lot_summary sum = judge_7(&lot, &c, j);
  const amp_judgement *f;
  (void)state;
  for (int i = 0; i < 12; i++)
    assert_int_equal(j[i].verdict, i == 10  ? AMP_REJECT
                                   : i == 4 ? AMP_QUARANTINE
                                   : i == 5 ? AMP_NOT_JUDGED
                                            : AMP_ACCEPT);
  assert_int_equal(sum.count[AMP_ACCEPT], 9);
  f = found(&j[10], "one_group_discharged");
  assert_non_null(f);
  assert_close(f->value, 2.310, 0.0);
  assert_close(f->other, 3.678, 5e-4);
  assert_null(found(&j[10], "groups_disagree_with_module"));
  f = found(&j[4], "remark_of_damage");
  assert_non_null(f);
  assert_string_equal(f->word, "crust");
  f = found(&j[5], "resistance_above_lot");
  assert_non_null(f);
  assert_close(f->value / f->other, 1.37, 0.005);
  assert_close(j[5].spread, 0.017, 1e-9);
  f = found(&j[8], "charge_below_lot");
  assert_non_null(f);
  assert_close(j[8].group, 3.629, 5e-4);
  assert_close(f->value, 0.417, 5e-4);
  assert_close(f->limit, 0.51, 0.005);
  amp_lot_free(NULL, &lot);
}

/* One row changed in a lot that is fine: what it brings, and that the same
** row a little better does not. */
static void each_threshold_speaks_beyond_it_and_not_before (void **state) {
  static const struct {
    const char *row, *name; /* name NULL: nothing but remarks */
    amp_verdict verdict;
  } cases[] = {
      {"25.76,3.679,3.682,1.9,90,20,", NULL, AMP_ACCEPT},
      /* below 2.0 V; a hair above it with the others is watched */
      {"13.75,1.960,1.968,1.9,90,20,", "group_below_reject", AMP_REJECT},
      {"14.10,2.010,2.020,1.9,90,20,", "group_deeply_discharged",
       AMP_QUARANTINE},
      /* not watched, but 0 % where the others stand at 51: below the curve
      ** is empty, not unknown, and nothing is at like charge */
      {"17.85,2.550,2.550,1.9,90,20,", "resistance_not_comparable",
       AMP_NOT_JUDGED},
      {"24.40,2.400,3.682,1.9,90,20,", "one_group_discharged", AMP_REJECT},
      {"25.70,3.630,3.682,1.9,90,20,", "group_spread_wide", AMP_QUARANTINE},
      {"25.70,3.633,3.682,1.9,90,20,", "group_spread_uneven", AMP_ACCEPT},
      /* the median is 3 mV */
      {"25.74,3.668,3.681,1.9,90,20,", "group_spread_above_lot", AMP_ACCEPT},
      {"29.60,4.220,4.230,1.9,90,20,", "group_above_limit", AMP_QUARANTINE},
      /* 7 x 3.679 .. 7 x 3.682 is 25.753 .. 25.774; 0.2 % is 51 mV */
      {"25.66,3.679,3.682,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      {"22.08,3.679,3.682,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      {"25.72,3.679,3.682,1.9,90,20,", NULL, AMP_ACCEPT},
      /* a slip that the other two exclude is no verdict: 25.76 - 6 x 3.682
      ** leaves 3.668 V for the lowest; 25.76 - 6 x 3.679 3.686 V */
      {"25.76,0.003679,3.682,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      {"25.76,1.500,3.682,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      {"25.76,3.679,4.682,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      {"25.76,3.779,,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      /* one that they let stand is: 24.30 - 6 x 3.682 = 2.208 V */
      {"24.30,2.000,3.682,1.9,90,20,", "one_group_discharged", AMP_REJECT},
      /* the module's alone is wrong: its groups still say what they say */
      {"257.6,3.679,3.682,1.9,90,20,", "voltage_cannot_be", AMP_NOT_JUDGED},
      {"257.6,1.900,3.682,1.9,90,20,", "group_below_reject", AMP_REJECT},
      {"257.6,,,1.9,90,20,", "voltage_cannot_be", AMP_NOT_JUDGED},
      {"2.576,,,1.9,90,20,", "voltage_cannot_be", AMP_NOT_JUDGED},
      {"2.1,,,1.9,90,20,", "group_below_reject", AMP_REJECT},
      /* 6 x 3.640 + 3.680 = 25.520, less 51 mV */
      {"25.46,3.640,3.680,1.9,90,20,", "groups_disagree_with_module",
       AMP_NOT_JUDGED},
      {"25.48,3.640,3.680,1.9,90,20,", NULL, AMP_ACCEPT},
      {",,,1.9,90,20,", "voltage_not_given", AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,,90,20,", "resistance_not_given", AMP_NOT_JUDGED},
      /* ohm under a header of mohm */
      {"25.76,3.679,3.682,0.0019,90,20,", "resistance_like_ohms",
       AMP_NOT_JUDGED},
      {"25.76,3679,3682,1.9,90,20,", "row_makes_no_sense", AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,2.46,90,20,", NULL, AMP_ACCEPT},
      {"25.76,3.679,3.682,2.48,90,20,", "resistance_above_lot",
       AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,3.9,90,20,", "resistance_far_above_lot",
       AMP_REJECT},
      /* 10 K colder: nothing to compare with */
      {"25.76,3.679,3.682,3.9,90,10,", "resistance_not_comparable",
       AMP_NOT_JUDGED},
      /* 4.10 V a group is 93.8 %, the others stand at 51 % */
      {"28.70,4.099,4.101,3.9,90,20,", "resistance_not_comparable",
       AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,1.9,67,20,", "capacity_low", AMP_REJECT},
      {"25.76,3.679,3.682,1.9,68,20,", NULL, AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,125,20,", "capacity_above_nameplate",
       AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,1.9,90,68,", "module_hot_or_fahrenheit",
       AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,1.9,90,20,no leak not swollen", "damage_denied",
       AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,90,20,ventilated tray", "remark_to_read",
       AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,90,20,never under load", "remark_to_read",
       AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,90,20,no longer leaking", "remark_of_damage",
       AMP_QUARANTINE},
      {"25.76,3.679,3.682,1.9,90,20,hot during charge", "remark_of_damage",
       AMP_QUARANTINE},
      {"25.76,3.679,3.682,1.9,90,20,dropped it once", "remark_of_damage",
       AMP_QUARANTINE},
      /* what no list knows is told and bars nothing: it may be a colour */
      {"25.76,3.679,3.682,1.9,90,20,Deckel geschmolzen", "remark_to_read",
       AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,90,20,no swelling. Deckel geschmolzen",
       "remark_to_read", AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,90,20,two-wire; Wasserschaden",
       "remark_to_read", AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,1.9,90,20,read right after charging",
       "voltage_not_at_rest", AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,1.9,90,20,Two-wire meter", "resistance_two_wire",
       AMP_NOT_JUDGED},
      {"25.76,3.679,3.682,1.9,90,20,rested two days; no charger", NULL,
       AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,90,20,no: swollen", "remark_of_damage",
       AMP_QUARANTINE},
      {"25.76,3.679,3.682,1.9,90,20,not seen before: swollen",
       "remark_of_damage", AMP_QUARANTINE},
      {"25.40,,,1.9,90,20,", "module_apart_groups_unknown", AMP_NOT_JUDGED},
      {"25.73,,,1.9,90,20,", "groups_not_measured", AMP_ACCEPT},
      {"25.76,3.679,3.682,1.9,-1,20,", "row_makes_no_sense", AMP_NOT_JUDGED},
  };
  amp_chemistry c = invented();
  (void)state;
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    char text[900] =
        "id,ocv_v,group_min_v,group_max_v,r10s_mohm,ah,temp_c,remark\n"
        "1,25.76,3.679,3.682,1.9,90,20,\n2,25.76,3.679,3.682,1.9,90,20,\n"
        "3,25.76,3.679,3.682,1.9,90,20,\n4,25.76,3.679,3.682,1.9,90,20,\n"
        "5,25.76,3.679,3.682,1.9,90,20,\n6,25.76,3.679,3.682,1.9,90,20,\n"
        "x,";
    amp_judged j[7];
    strcat(text, cases[i].row);
    amp_lot lot = read_text(text);
    judge_7(&lot, &c, j);
    if (j[6].verdict != cases[i].verdict)
      fail_msg("%s: %s", cases[i].row, amp_verdict_name(j[6].verdict));
    for (int k = 0; k < j[6].n; k++)
      if (cases[i].name == NULL &&
          j[6].finding[k].weight != AMP_WEIGHT_REMARK)
        fail_msg("%s: %s", cases[i].row, j[6].finding[k].name);
    if (cases[i].name != NULL && found(&j[6], cases[i].name) == NULL)
      fail_msg("%s: no %s", cases[i].row, cases[i].name);
    for (int k = 0; k < 6; k++)
      assert_int_equal(j[k].verdict, AMP_ACCEPT);
    amp_lot_free(NULL, &lot);
  }
}

/* What a cut left out is never taken for nothing: neither of one remark, nor
** of two of which each fits; and what fits to the last byte is not cut. */
static void no_remark_is_cut_into_an_accept (void **state) {
  static const struct {
    int first; /* bytes of the first date's before its end */
    const char *end;
    int second;       /* bytes of the second date's; 0: there is none */
    const char *name; /* NULL: plainly accepted */
    amp_verdict verdict;
  } cases[] = {
      {240, "swollen", 0, "remark_of_damage", AMP_QUARANTINE},
      {185, "no leak now, retested", 0, "remark_of_damage", AMP_QUARANTINE},
      {240, "not swollen", 0, "remark_cut", AMP_NOT_JUDGED},
      {240, "geschmolzen", 0, "remark_cut", AMP_NOT_JUDGED},
      {192, "new", 0, NULL, AMP_ACCEPT},
      {180, "swollen", 150, "remark_of_damage", AMP_QUARANTINE},
      {180, "lid molten", 20, "remark_of_damage", AMP_QUARANTINE},
      {180, "tested", 150, "remark_cut", AMP_NOT_JUDGED},
      {80, "tested", 100, NULL, AMP_ACCEPT}};
  amp_chemistry c = invented();
  (void)state;
  for (size_t i = 0; i < LEN(cases); i++) {
    char text[700], a[250];
    amp_judged j[1];
    memset(a, 'a', sizeof a);
    int n = snprintf(text, sizeof text,
                     "id;ocv_v;r10s_mohm;date;remark\n"
                     "1;25.7;1.9;2026-11-01;%.*s %s\n",
                     cases[i].first, a, cases[i].end);
    if (cases[i].second > 0)
      (void)snprintf(text + n, sizeof text - (size_t)n,
                     "1;25.7;1.9;2026-11-02;%.*s\n", cases[i].second, a);
    amp_lot lot = read_text(text);
    judge_7(&lot, &c, j);
    if (j[0].verdict != cases[i].verdict ||
        (cases[i].name != NULL && found(&j[0], cases[i].name) == NULL))
      fail_msg("%zu: %s '%s'", i, amp_verdict_name(j[0].verdict),
               lot.reading[0].remark);
    assert_int_equal(amp_reading_remark_is_cut(&lot.reading[0]),
                     cases[i].name != NULL);
    amp_lot_free(NULL, &lot);
  }
}

/* "ok", "label missing" were read: nothing is left to look at. */
static void a_plain_remark_leaves_nothing_to_read (void **state) {
  amp_lot lot = read_text(
      "id;ocv_v;r10s_mohm;remark\n1;25.7;1.9;ok\n2;25.7;1.9;label missing\n"
      "3;25.7;1.9;retested, clean lugs\n4;25.7;1.9;no leak\n"
      "5;25.7;1.9;ok, Deckel geschmolzen\n");
  amp_chemistry c = invented();
  amp_judged j[5];
  (void)state;
  judge_7(&lot, &c, j);
  for (int i = 0; i < 5; i++) {
    assert_int_equal(j[i].verdict, AMP_ACCEPT);
    assert_int_equal(found(&j[i], "remark_to_read") != NULL, i == 4);
  }
  amp_lot_free(NULL, &lot);
}

/* The ranges of a module's own numbers hold for readings too. */
static void a_resistance_in_ohm_is_below_the_range_of_mohm (void **state) {
  static const char *const rows[] = {"0.0199", "0.0201"};
  amp_chemistry c = invented();
  (void)state;
  for (int i = 0; i < 2; i++) {
    char text[80] = "id,ocv_v,r10s_mohm\n1,25.7,";
    amp_judged j[1];
    amp_lot lot = read_text(strcat(text, rows[i]));
    judge_7(&lot, &c, j);
    assert_int_equal(found(&j[0], "resistance_like_ohms") != NULL,
                     amp_plausible_look("module", "r10s_mohm",
                                        1e3 * lot.reading[0].r10s) != NULL);
    assert_int_equal(found(&j[0], "resistance_like_ohms") != NULL, i == 0);
    amp_lot_free(NULL, &lot);
  }
}

/* What is in doubt counts in no number of its row, nor in any median. */
static void doubted_readings_are_used_no_further (void **state) {
  amp_lot lot =
      read_text("id,ocv_v,group_min_v,group_max_v,r10s_mohm,temp_c,remark\n"
                "1,25.76,3.679,3.682,1.9,20,\n2,25.76,3.679,3.682,1.9,20,\n"
                "3,25.76,3.679,3.682,1.9,20,\n4,25.76,3755,3.682,1.9,20,\n"
                "5,25.76,0.003679,3.682,1.9,20,\n6,257.6,,,1.9,20,\n"
                "7,2.576,,,1.9,20,\n8,25.76,3.679,3.682,0.0019,20,\n"
                "9,25.76,3.679,3.682,5.0,20,two wires\n"
                "10,25.76,3.679,3.682,1.9,20,under load\n"
                "11,25.76,3.679,3.682,1.9,68,\n");
  amp_chemistry c = invented();
  amp_judged j[11];
  amp_lot_summary sum = judge_7(&lot, &c, j);
  (void)state;
  for (int i = 3; i < 7; i++) {
    assert_false(amp_given(j[i].group) || amp_given(j[i].spread));
    assert_false(amp_given(j[i].soc));
    assert_null(found(&j[i], "module_apart_groups_unknown"));
    assert_null(found(&j[i], "charge_below_lot"));
    assert_int_equal(j[i].verdict, AMP_NOT_JUDGED);
  }
  assert_false(amp_given(j[3].r10s)); /* of a row without sense nothing */
  assert_close(j[4].r10s, 1.9e-3, 1e-15);
  assert_false(amp_given(j[7].r10s) || amp_given(j[7].r_times));
  assert_false(amp_given(j[8].r10s) || amp_given(j[8].r_times));
  assert_null(found(&j[8], "resistance_far_above_lot"));
  assert_false(amp_given(j[9].soc));
  assert_null(found(&j[10], "resistance_not_comparable"));
  assert_close(sum.spread, 0.003, 1e-12);
  assert_close(sum.ocv, 25.76, 0.0);
  assert_int_equal(sum.with_r, 8);
  assert_string_equal(found(&j[4], "groups_disagree_with_module")->word,
                      "lowest group");
  assert_close(found(&j[4], "groups_disagree_with_module")->meant, 3.679,
               1e-12);
  assert_close(found(&j[5], "voltage_cannot_be")->meant, 25.76, 1e-12);
  assert_close(found(&j[6], "voltage_cannot_be")->meant, 25.76, 1e-12);
  amp_lot_free(NULL, &lot);
}

/* "3,299" in a column of mV is 3299 mV or 3.299 V; "3" is a dead group. */
static void volts_in_a_column_of_mv_are_asked (void **state) {
  amp_lot lot = read_text("id;OCV V;group min mV;group max mV\n"
                          "1;25,76;3679;3682\n2;25,76;3,679;3682\n"
                          "3;22,09;3;3682\n4;22,09;3,5;3682\n"
                          "5;25,76;3679;3682,25\n6;25,76;;3,68\n");
  static const char *const want[] = {"", "'3,679': 3679 mV, or 3.679 V?",
                                     "", "",
                                     "", "'3,68': 3680 mV, or 3.68 V?"};
  (void)state;
  for (size_t i = 0; i < 6; i++)
    if (want[i][0] == '\0' ? lot.reading[i].flaw[0] != '\0'
                           : strstr(lot.reading[i].flaw, want[i]) == NULL)
      fail_msg("row %zu: '%s'", i, lot.reading[i].flaw);
  amp_lot_free(NULL, &lot);
  lot = read_text("id,OCV mV\n1,25760\n2,25.76\n3,850\n");
  assert_non_null(strstr(lot.reading[1].flaw, "25760 mV, or 25.76 V?"));
  assert_string_equal(lot.reading[2].flaw, "");
  amp_lot_free(NULL, &lot);
}

static void a_voltage_in_millivolts_is_named (void **state) {
  amp_lot lot = read_text("id,ocv_v,group_min_v,group_max_v\n"
                          "1,25.7,3.67,3.68\n2,25.7,3679,3682\n"
                          "3,25.7,3.67,99\n");
  (void)state;
  assert_non_null(strstr(lot.reading[1].flaw, "(got 3679: mV?)"));
  assert_non_null(strstr(lot.reading[2].flaw, "(got 99)"));
  amp_lot_free(NULL, &lot);
}

/* Two modules are compared with nothing, which is told and bars neither. */
static void a_lot_of_two_is_not_barred_by_its_size (void **state) {
  amp_lot lot = read_text("id,ocv_v,r10s_mohm\n1,25.7,1.9\n2,25.7,4.9\n");
  amp_chemistry c = invented();
  amp_judged j[2];
  (void)state;
  judge_7(&lot, &c, j);
  assert_int_equal(j[1].verdict, AMP_ACCEPT);
  assert_non_null(found(&j[1], "resistance_not_comparable"));
  amp_lot_free(NULL, &lot);
}

/* Crust and half the label's charge: quarantine decides and comes first. */
static void safety_comes_before_economics (void **state) {
  amp_lot lot = read_text("id,ocv_v,r10s_mohm,ah,remark\n1,25.7,1.9,90,\n"
                          "2,25.7,1.9,90,\n3,25.7,1.9,50,crust\n");
  amp_chemistry c = invented();
  amp_judged j[3];
  (void)state;
  judge_7(&lot, &c, j);
  assert_int_equal(j[2].verdict, AMP_QUARANTINE);
  assert_string_equal(j[2].finding[0].name, "remark_of_damage");
  assert_non_null(found(&j[2], "capacity_low"));
  amp_lot_free(NULL, &lot);
}

/* At 3.67 V the invented curve rises 8 mV a percent: 7 groups lose 0.56 V
** for 10 %. Over 10 days from 60 to 55 %: 0.5 % a day, of 90 Ah 18.75 mA
** (90 x 0.005 / 24 h). By hand. */
static void self_discharge_from_two_dates (void **state) {
  amp_lot lot = read_text("id;date;ocv_v;r10s_mohm;ah\n"
                          "1;2026-11-01;26.25;1.9;90\n"
                          "2;2026-11-01;26.25;1.9;90\n"
                          "3;2026-11-01;26.25;1.9;90\n"
                          "4;2026-11-01;26.25;1.9;90\n"
                          "1;2026-11-11;26.25;1.9;90\n"
                          "2;2026-11-11;26.24;1.9;90\n"
                          "3;2026-11-11;25.97;1.9;90\n"
                          "4;2026-11-11;26.29;1.9;90\n");
  amp_chemistry c = invented();
  amp_judged j[4];
  (void)state;
  judge_7(&lot, &c, j);
  assert_close(j[0].leak, 0.0, 1e-12);
  assert_close(j[2].leak, 0.005, 1e-9);
  assert_close(j[2].leak_current, 0.01875, 1e-6);
  /* one digit of 0.01 V: 0.01 / 7 / 0.8 V in 10 days */
  assert_close(j[2].leak_least, 0.01 / 7 / 0.8 / 10, 1e-9);
  assert_int_equal(j[2].verdict, AMP_QUARANTINE);
  assert_non_null(found(&j[2], "self_discharge_high"));
  assert_null(found(&j[1], "self_discharge_high"));
  assert_non_null(found(&j[3], "voltage_rose_between_dates"));
  amp_lot_free(NULL, &lot);
}

/* One group falls 12 mV more than another in a week: quarantine, also for
** iron phosphate, where the module's voltage tells nothing. */
static void a_leaking_group_shows_on_a_flat_curve (void **state) {
  amp_lot lot = read_text(
      "id;date;ocv_v;group_min_v;group_max_v;r10s_mohm\n"
      "1;2026-11-01;26.40;3.300;3.302;1.9\n2;;26.40;3.300;3.302;1.9\n"
      "3;;26.40;3.299;3.301;1.9\n1;2026-11-08;26.38;3.287;3.301;1.9\n");
  amp_judging by = amp_judging_defaults();
  amp_judged j[3];
  amp_lot_summary sum;
  (void)state;
  lot.chemistry = amp_chemistry_find("lfp");
  lot.groups = 8;
  assert_int_equal(amp_lot_judge(NULL, &lot, &by, j, &sum, NULL), AMP_OK);
  assert_true(sum.flat);
  assert_false(amp_given(j[0].soc)); /* no charge from a plateau */
  assert_false(amp_given(j[0].leak));
  assert_int_equal(j[0].verdict, AMP_QUARANTINE);
  assert_non_null(found(&j[0], "group_leaks"));
  assert_int_equal(j[1].verdict, AMP_ACCEPT);
  amp_lot_free(NULL, &lot);
}

static void thresholds_are_the_callers (void **state) {
  amp_lot lot = read_text(pallet);
  amp_chemistry c = invented();
  amp_judged j[12];
  amp_judging by = amp_judging_defaults();
  (void)state;
  lot.chemistry = &c;
  lot.groups = 7;
  by.resistance_retest = 1.4;
  assert_int_equal(amp_lot_judge(NULL, &lot, &by, j, NULL, NULL), AMP_OK);
  assert_int_equal(j[5].verdict, AMP_ACCEPT); /* 1.37 */
  by.spread_good = 0.010;
  by.spread_wide = 0.016;
  assert_int_equal(amp_lot_judge(NULL, &lot, &by, j, NULL, NULL), AMP_OK);
  assert_int_equal(j[5].verdict, AMP_QUARANTINE); /* 17 mV */
  amp_lot_free(NULL, &lot);
}

static void every_rule_has_a_reason_and_a_sound_default (void **state) {
  const amp_judging_rule *r;
  int n = 0;
  (void)state;
  for (; (r = amp_judging_rule_at(n)) != NULL; n++) {
    assert_true(r->value >= r->lo && r->value <= r->hi);
    assert_true(strlen(r->reason) > 20);
  }
  assert_int_equal((size_t)n, sizeof(amp_judging) / sizeof(double));
}

static void judging_needs_to_know_the_module (void **state) {
  amp_lot lot = read_text(pallet);
  amp_judging by = amp_judging_defaults();
  amp_judged j[12];
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_lot_judge(NULL, &lot, &by, j, NULL, &err),
                   AMP_EMISSING);
  amp_lot_free(NULL, &lot);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(pallet_reads_with_its_gaps),
      cmocka_unit_test(ids_are_kept_whole),
      cmocka_unit_test(the_same_in_four_spellings),
      cmocka_unit_test(units_stand_behind_numbers_too),
      cmocka_unit_test(a_remark_in_aligned_columns_keeps_its_words),
      cmocka_unit_test(single_blanks_part_columns_too),
      cmocka_unit_test(headers_may_be_named_by_the_caller),
      cmocka_unit_test(damage_to_the_file_is_refused),
      cmocka_unit_test(a_row_that_makes_no_sense_stays_with_its_reason),
      cmocka_unit_test(empty_rows_of_a_spreadsheet_are_no_modules),
      cmocka_unit_test(thousands_marks_are_not_guessed),
      cmocka_unit_test(dates_are_counted_in_days),
      cmocka_unit_test(a_mark_of_doubt_leaves_no_number),
      cmocka_unit_test(a_row_with_sense_goes_before_one_without),
      cmocka_unit_test(two_dates_of_one_module_are_one_reading),
      cmocka_unit_test(remarks_of_two_dates_both_stay),
      cmocka_unit_test(a_cut_remark_says_so),
      cmocka_unit_test(mean_of_two_of_twelve),
      cmocka_unit_test(peers_are_one_side_of_a_joint),
      cmocka_unit_test(capacity_ends_with_the_first_group),
      cmocka_unit_test(bench_hours_count_whole_rounds),
      cmocka_unit_test(pallet_is_judged_as_by_hand),
      cmocka_unit_test(each_threshold_speaks_beyond_it_and_not_before),
      cmocka_unit_test(no_remark_is_cut_into_an_accept),
      cmocka_unit_test(a_plain_remark_leaves_nothing_to_read),
      cmocka_unit_test(a_resistance_in_ohm_is_below_the_range_of_mohm),
      cmocka_unit_test(doubted_readings_are_used_no_further),
      cmocka_unit_test(volts_in_a_column_of_mv_are_asked),
      cmocka_unit_test(a_voltage_in_millivolts_is_named),
      cmocka_unit_test(a_lot_of_two_is_not_barred_by_its_size),
      cmocka_unit_test(safety_comes_before_economics),
      cmocka_unit_test(self_discharge_from_two_dates),
      cmocka_unit_test(a_leaking_group_shows_on_a_flat_curve),
      cmocka_unit_test(thresholds_are_the_callers),
      cmocka_unit_test(every_rule_has_a_reason_and_a_sound_default),
      cmocka_unit_test(judging_needs_to_know_the_module),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
