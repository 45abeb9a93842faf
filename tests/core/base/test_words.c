/*
** test_words.c -- texts that differ in what boards change have the same
** words; texts that differ in a sign have not.
*/
#include "base/words.h"
#include "support/close.h"
#include <stdlib.h>
#include <string.h>

static char *words (const char *s) {
  size_t n = strlen(s), m;
  char *out = malloc(n + 2);
  assert_non_null(out);
  out[n + 1] = 'E'; /* never written: the room is n + 1 */
  m = amp_words(s, n, out);
  assert_true(m <= n + 1);
  assert_int_equal(out[n + 1], 'E');
  out[m] = '\0';
  return out;
}

static void same (const char *a, const char *b) {
  char *wa = words(a), *wb = words(b);
  assert_string_equal(wa, wb);
  free(wa);
  free(wb);
}

static void differ (const char *a, const char *b) {
  char *wa = words(a), *wb = words(b);
  assert_string_not_equal(wa, wb);
  free(wa);
  free(wb);
}

static const char plain[] = "local t = {\n  \"a\", 'b', -- two...\n}\n";

static void what_boards_change_does_not_count (void **state) {
  char *w = words(plain);
  (void)state;
  assert_string_equal(w, "local t = {\n\"a\", 'b', -- two...\n}\n");
  free(w);
  same(plain, "local t = {\r\n\t\"a\", 'b', -- two...\r\n}\r\n");
  same(plain, "\xef\xbb\xbflocal  t = {  \n\n\n\"a\", 'b', -- two...\n}");
  same(plain, "local\xc2\xa0t = {\n\xe2\x80\x83\"a\", 'b', -- two...\n}\n");
  same(plain, "local t = {\n \xe2\x80\x9c"
              "a\xe2\x80\x9d, \xe2\x80\x98"
              "b\xe2\x80\x99, -- two...\n}\n");
  same(plain, "lo\xe2\x80\x8b"
              "cal t = {\n\"a\", 'b', \xe2\x80\x94 two\xe2\x80\xa6\n}\n");
  same("a - b", "a \xe2\x88\x92 b");
}

static void what_is_written_counts (void **state) {
  (void)state;
  differ("1 0", "10");
  differ("-- a\nb", "-- a b");
  differ("a--b", "a-b");
  differ("\"a\"", "'a'");
  differ("x = 1", "x = 2");
  differ("a", "b");
  differ("\xc3\xa4", "\xc3\xb6");
}

static void ends_are_met (void **state) {
  (void)state;
  same("", " \n\t\r\n");
  same("a", "  a  \n\n");
  same("\xe2\x80", "\xe2\x80\n"); /* a letter cut in the middle stays */
  same("\xe2", "\xe2");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_boards_change_does_not_count),
      cmocka_unit_test(what_is_written_counts),
      cmocka_unit_test(ends_are_met)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
