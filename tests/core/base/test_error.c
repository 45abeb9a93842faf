/*
** test_error.c -- refusals and their sentences, and the lent context.
*/
#include "support/close.h"
#include "base/context.h"
#include "base/error.h"
#include <stdbool.h>
#include <string.h>

static void limits_are_told_and_nan_is_outside (void **state) {
  amp_error err;
  (void)state;
  assert_int_equal(amp_check_range(&err, "soc", 1.5, 0, 1), AMP_ERANGE);
  assert_string_equal(err.field, "soc");
  assert_true(err.value == 1.5 && err.lo == 0 && err.hi == 1);
  assert_true(err.line == 0 && err.text[0] == '\0');
  assert_int_equal(amp_check_range(&err, "soc", NAN, 0, 1), AMP_ERANGE);
  assert_int_equal(amp_check_range(NULL, "soc", INFINITY, 0, 1), AMP_ERANGE);
  assert_int_equal(amp_check_range(&err, "soc", 1, 0, 1), AMP_OK);
}

static void sentence_is_put_together (void **state) {
  amp_error err;
  (void)state;
  amp_failf(&err, AMP_EDATA, "x", "%s: %d of %zu, %g %% at %g V, %q", "row",
            -2147483647 - 1, (size_t)18, 82.5, 1.0 / 3);
  assert_string_equal(err.text,
                      "row: -2147483648 of 18, 82.5 % at 0.333333 V, %q");
  assert_int_equal(err.status, AMP_EDATA);
  assert_string_equal(err.field, "x");
}

static void sentence_is_cut_between_characters (void **state) {
  amp_error err;
  char s[500] = "a";
  (void)state;
  for (int i = 0; i < 150; i++)
    strcat(s, "\xc3\xa9");
  amp_failf(&err, AMP_EDATA, NULL, "%s", s);
  assert_int_equal(strlen(err.text), 199);
  s[1] = '\0';
  for (int i = 0; i < 150; i++)
    strcat(s, "\xe2\x82\xac");
  amp_failf(&err, AMP_EDATA, NULL, "%s", s);
  assert_int_equal(strlen(err.text), 199);
  amp_failf(&err, AMP_EDATA, NULL, "b%s", s);
  assert_int_equal(strlen(err.text), 197);
  amp_failf(&err, AMP_EDATA, NULL, "[%s]", err.text); /* from itself */
  assert_memory_equal(err.text, "[ba\xe2\x82\xac", 6);
}

static void every_status_has_its_words (void **state) {
  (void)state;
  for (int s = AMP_OK; s <= AMP_EINTERNAL; s++)
    for (int t = AMP_OK; t < s; t++)
      assert_string_not_equal(amp_status_text((amp_status)s),
                              amp_status_text((amp_status)t));
}

static void count_item (void *arg, size_t i, size_t worker) {
  size_t *sum = arg;
  assert_int_equal(worker, 0);
  *sum += i;
}

static bool yes (void *user) {
  return user != NULL;
}

static void no_context_means_plain_defaults (void **state) {
  size_t sum = 0;
  unsigned char *p = amp_alloc(NULL, 100);
  (void)state;
  for (size_t i = 0; i < 100; i++)
    assert_int_equal(p[i], 0);
  p = amp_realloc(NULL, p, 100, 1000);
  amp_free(NULL, p, 1000);
  amp_free(NULL, amp_alloc(NULL, 0), 0);
  amp_parallel_for(NULL, 5, count_item, &sum);
  assert_int_equal(sum, 10);
  assert_false(amp_stopped(NULL));
  assert_int_equal(amp_context_or_plain(NULL)->workers, 1);
  amp_context ctx = {.user = &sum, .stop = yes, .workers = 1};
  assert_true(amp_stopped(&ctx));
  assert_ptr_equal(amp_context_or_plain(&ctx), &ctx);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(limits_are_told_and_nan_is_outside),
      cmocka_unit_test(sentence_is_put_together),
      cmocka_unit_test(sentence_is_cut_between_characters),
      cmocka_unit_test(every_status_has_its_words),
      cmocka_unit_test(no_context_means_plain_defaults)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
