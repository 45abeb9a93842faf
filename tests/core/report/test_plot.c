/*
** test_plot.c -- the line chart: ticks, gaps, labels, refusals.
*/
#include "support/close.h"
#include "report/plot.h"
#include "base/text.h"
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *drawn (const amp_plot *p) {
  char *s = NULL;
  size_t n = 0;
  assert_int_equal(amp_plot_svg(NULL, p, &s, &n, NULL), AMP_OK);
  assert_int_equal(strlen(s), n);
  return s;
}

static int count (const char *s, const char *part) {
  int n = 0;
  for (; (s = strstr(s, part)) != NULL; s++)
    n++;
  return n;
}

/* The number after 'name="' in the tag that begins at 's' */
static double attribute (const char *s, const char *name) {
  char key[16];
  const char *p;
  double v = NAN;
  snprintf(key, sizeof key, " %s=\"", name);
  p = strstr(s, key);
  assert_non_null(p);
  p += strlen(key);
  assert_int_equal(amp_parse_double(p, strcspn(p, "\""), '.', &v, NULL),
                   AMP_OK);
  return v;
}

static const double x5[] = {0, 5, 10, 15, 20};
static const double y5[] = {0.72, 0.61, 0.58, 0.57, 0.6};

static amp_plot one (const amp_line *line, size_t lines) {
  amp_plot p = {.title = "Levelised cost",
                .x_label = "years",
                .y_label = "EUR/kWh",
                .line = line,
                .lines = lines};
  return p;
}

/* 0.57 .. 0.72 in four to eight steps of 1, 2 or 5: 0.02; x 0 .. 20 by 5 */
static void ticks_are_round_and_hold_the_data (void **state) {
  amp_line l = {"H2", x5, y5, 5};
  amp_plot p = one(&l, 1);
  char *s = drawn(&p);
  (void)state;
  assert_non_null(strstr(s, ">0.56</text>"));
  assert_non_null(strstr(s, ">0.60</text>"));
  assert_non_null(strstr(s, ">0.72</text>"));
  assert_non_null(strstr(s, ">5</text>"));
  assert_non_null(strstr(s, ">20</text>"));
  assert_null(strstr(s, ">0.55</text>"));
  free(s);
}

/* A law: for any range the axis has 3 to 12 ticks. */
static void every_range_has_some_ticks (void **state) {
  static const double end[] = {1e-12, 0.00031, 0.7,  1,   1.99,
                               7,     123.4,   6e17, 1e90};
  (void)state;
  for (size_t i = 0; i < LEN(end); i++) {
    double x[] = {-end[i], end[i]}, y[] = {end[i], 0.999 * end[i]};
    amp_line l = {"a", x, y, 2};
    amp_plot p = one(&l, 1);
    char *s = drawn(&p);
    int of_x = count(s, "class=\"tick middle\"");
    int of_y = count(s, "class=\"tick end\"");
    assert_true(of_x >= 3 && of_x <= 12);
    assert_true(of_y >= 3 && of_y <= 12);
    free(s);
  }
}

static void a_flat_line_and_a_single_point_are_drawn (void **state) {
  static const double zero[] = {0, 0, 0, 0, 0};
  amp_line l = {"flat", x5, zero, 5};
  amp_plot p = one(&l, 1);
  char *s = drawn(&p);
  (void)state;
  assert_null(strstr(s, "nan"));
  assert_null(strstr(s, "inf"));
  free(s);
  l.n = 1;
  s = drawn(&p);
  assert_int_equal(count(s, "<path"), 1);
  assert_null(strstr(s, "nan"));
  free(s);
}

static void nan_breaks_the_line (void **state) {
  static const double y[] = {1, 2, NAN, 3, 4};
  amp_line l = {"a", x5, y, 5};
  amp_plot p = one(&l, 1);
  char *s = drawn(&p);
  (void)state;
  assert_int_equal(count(strstr(s, "<path"), "M"), 2);
  assert_null(strstr(s, "nan"));
  free(s);
}

/* Where y = 1 is drawn, between its neighbours */
static void more_is_further_up_and_to_the_right (void **state) {
  static const double x[] = {0, 1}, y[] = {0, 10};
  amp_line l = {"", x, y, 2};
  amp_plot p = one(&l, 1);
  char *s = drawn(&p), *d = strstr(s, "d=\"M");
  (void)state;
  assert_non_null(d);
  assert_memory_equal(d, "d=\"M64.0 342.0 L696.0 66.0\"", 27);
  free(s);
}

static void labels_at_the_ends_never_touch (void **state) {
  static const double x[] = {0, 1};
  static const double y[8][2] = {{0, 1},    {0, 1.001}, {0, 1.002}, {0, 0},
                                 {0, 0.01}, {0, 0.02},  {0, 0.5},   {0, 1}};
  amp_line l[8] = {{NULL, NULL, NULL, 0}};
  amp_plot p = one(l, 8);
  char *s, *at;
  double last = 0.0;
  int n = 0;
  (void)state;
  for (size_t i = 0; i < 8; i++) {
    amp_line each = {"offer", x, y[i], 2};
    l[i] = each;
  }
  s = drawn(&p);
  for (at = s; (at = strstr(at, "<text class=\"name\"")) != NULL; at++) {
    double here = attribute(at, "y");
    if (n++ > 0)
      assert_true(here - last >= 12.0); /* a line of 12 px letters */
    assert_true(here > 40.0 && here < 360.0);
    last = here;
  }
  assert_int_equal(n, 8);
  assert_int_equal(count(s, "stroke-dasharray=\""), 7); /* the first solid */
  free(s);
}

static void a_long_run_is_thinned_but_keeps_its_peak (void **state) {
  enum { POINTS = 200000 };
  double *x = malloc(POINTS * sizeof *x), *y = malloc(POINTS * sizeof *y);
  amp_line l = {"", x, y, POINTS};
  amp_plot p = one(&l, 1);
  char *s;
  (void)state;
  for (size_t i = 0; i < POINTS; i++) {
    x[i] = (double)i;
    y[i] = i == 123457 ? 10.0 : (double)(i % 2);
  }
  s = drawn(&p);
  assert_true(strlen(s) < 100000);
  assert_non_null(strstr(strstr(s, "<path"), " 66.0")); /* y = 10: the top */
  free(s);
  free(x);
  free(y);
}

static void words_are_escaped_and_long_ones_cut (void **state) {
  amp_line l = {"<b>a label that is far too long to fit</b>", x5, y5, 5};
  amp_plot p = {.title = "a & b <script>",
                .x_label = "x\x1b[1m",
                .y_label = "\"y\"",
                .line = &l,
                .lines = 1,
                .note = "n'n"};
  char *s = drawn(&p);
  (void)state;
  assert_null(strstr(s, "<b>"));
  assert_null(strstr(s, "<script"));
  assert_null(strchr(s, '\x1b'));
  assert_non_null(strstr(s, "a &amp; b &lt;script&gt;"));
  assert_non_null(strstr(s, "&quot;y&quot;"));
  assert_non_null(strstr(s, "n&#39;n"));
  assert_non_null(strstr(s, "..</text>"));
  free(s);
}

static amp_status status_of (const amp_line *l, size_t lines) {
  amp_plot p = one(l, lines);
  char *s = NULL;
  size_t n = 0;
  amp_status status = amp_plot_svg(NULL, &p, &s, &n, NULL);
  assert_null(s);
  return status;
}

static void what_cannot_be_drawn_is_refused (void **state) {
  static const double none[] = {NAN, INFINITY}, huge[] = {-DBL_MAX, DBL_MAX};
  amp_line a = {"a", x5, y5, 0}, b = {"b", x5, none, 2};
  amp_line c = {"c", x5, huge, 2};
  (void)state;
  assert_int_equal(status_of(&a, 0), AMP_ERANGE);
  assert_int_equal(status_of(&a, 9), AMP_ERANGE);
  assert_int_equal(status_of(&a, 1), AMP_EREFUSED);
  assert_int_equal(status_of(&b, 1), AMP_EREFUSED);
  assert_int_equal(status_of(&c, 1), AMP_ERANGE);
}

/* The panel below has its own axis (-0.02 .. 0.04), shares x, and stands
** under the first: its ticks lie lower than all of the first's. */
static void a_panel_below_has_its_own_axis (void **state) {
  static const double off[] = {0.0, 0.03, -0.02, 0.01, 0.04};
  amp_line l = {"H2", x5, y5, 5}, below = {"", x5, off, 5};
  amp_plot p = one(&l, 1);
  (void)state;
  p.below = &below;
  p.below_lines = 1;
  p.below_label = "difference";
  char *s = drawn(&p);
  assert_int_equal(count(s, "<path"), 2);
  assert_non_null(strstr(s, ">difference</text>"));
  assert_non_null(strstr(s, ">0.56</text>"));
  assert_non_null(strstr(s, ">0.04</text>"));
  assert_int_equal(count(s, ">20</text>"), 1); /* x once, under both */
  char *second = strstr(strstr(s, "<path") + 1, "<path");
  const char *d = strstr(second, "d=\"M") + 4;
  double y0 = NAN; /* pixels: below the first panel's axis at 342 */
  d += strcspn(d, " ") + 1;
  assert_int_equal(amp_parse_double(d, strcspn(d, " "), '.', &y0, NULL),
                   AMP_OK);
  assert_true(y0 > 342.0);
  free(s);
  below.n = 0;
  assert_int_equal(amp_plot_svg(NULL, &p, &s, &(size_t){0}, NULL),
                   AMP_EREFUSED);
}

/* A line from (0, 0) to (20, 10) is at the bottom in the first column, at
** the top in the last; the panel below swings about 0; no row is wider than
** 78 characters or ends in a blank. */
static void characters_show_the_chart (void **state) {
  static const double up[] = {0, 2.5, 5, 7.5, 10}, down[] = {1, 1, 0, -1, -1};
  amp_line l[] = {{"up", x5, up, 5}, {"flat", x5, y5, 5}};
  amp_line below = {"", x5, down, 5};
  amp_plot p = one(l, 2);
  char *s = NULL;
  size_t n = 0;
  (void)state;
  p.below = &below;
  p.below_lines = 1;
  p.below_label = "swing";
  assert_int_equal(amp_plot_text(NULL, &p, &s, &n, NULL), AMP_OK);
  assert_int_equal(strlen(s), n);
  assert_non_null(strstr(s, "Levelised cost\nEUR/kWh   o up   x flat"));
  assert_non_null(strstr(s, "\n   10.0 |")); /* the top row */
  assert_non_null(strstr(s, "|                                            "
                            "                     o\n"));
  assert_non_null(strstr(s, "\n   0.00 |o")); /* the lowest is up's start */
  assert_non_null(strstr(s, "swing\n   1.00 |"));
  assert_non_null(strstr(s, "|---"));
  assert_null(strstr(s, " \n"));
  for (const char *row = s; row[0] != '\0'; row += strcspn(row, "\n") + 1)
    assert_true(strcspn(row, "\n") <= 78);
  free(s);
  below.n = 0;
  assert_int_equal(amp_plot_text(NULL, &p, &s, &n, NULL), AMP_EREFUSED);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ticks_are_round_and_hold_the_data),
      cmocka_unit_test(a_panel_below_has_its_own_axis),
      cmocka_unit_test(characters_show_the_chart),
      cmocka_unit_test(every_range_has_some_ticks),
      cmocka_unit_test(a_flat_line_and_a_single_point_are_drawn),
      cmocka_unit_test(nan_breaks_the_line),
      cmocka_unit_test(more_is_further_up_and_to_the_right),
      cmocka_unit_test(labels_at_the_ends_never_touch),
      cmocka_unit_test(a_long_run_is_thinned_but_keeps_its_peak),
      cmocka_unit_test(words_are_escaped_and_long_ones_cut),
      cmocka_unit_test(what_cannot_be_drawn_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
