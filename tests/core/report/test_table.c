/*
** test_table.c -- a table as data: what it keeps, refuses, selects, orders.
*/
#include "support/close.h"
#include "report/table.h"
#include <stdlib.h>
#include <string.h>

static amp_cell_data number (double v) {
  amp_cell_data c = {v,     AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_BASIS_NONE,
                     false, false,         NULL,          NULL};
  return c;
}

static amp_cell_data words (const char *text) {
  amp_cell_data c = number(AMP_NOT_GIVEN);
  c.text = text;
  return c;
}

/* name | years, five rows: b 3, a 1, c none, d 1, e 2 */
static amp_table *sample (const amp_context *ctx) {
  static const struct {
    const char *name;
    double years;
  } row[] = {{"b", 3}, {"a", 1}, {"c", AMP_NOT_GIVEN}, {"d", 1}, {"e", 2}};
  amp_table *t = amp_table_new(ctx, "sample");
  if (!t)
    return NULL;
  amp_table_add_column(t, "name", "offer", "", AMP_COLUMN_TEXT);
  amp_table_add_column(t, "years", "years to", "a", AMP_COLUMN_NUMBER);
  for (size_t i = 0; i < LEN(row); i++) {
    amp_cell_data a = words(row[i].name), b = number(row[i].years);
    int r = amp_table_add_row(t);
    amp_table_set(t, r, 0, &a);
    amp_table_set(t, r, 1, &b);
  }
  amp_table_add_head(t, "first");
  amp_table_add_note(t, "b", "costs more");
  amp_table_set_corner(t, "EUR");
  amp_table_set_across(t, true);
  amp_table_hide_column(t, 1, true);
  return t;
}

static void a_table_gives_back_what_was_set (void **state) {
  amp_table *t = sample(NULL);
  const char *label;
  (void)state;
  assert_int_equal(amp_table_rows(t), 5);
  assert_int_equal(amp_table_columns(t), 2);
  assert_int_equal(amp_table_find(t, "years"), 1);
  assert_int_equal(amp_table_find(t, "nothing"), -1);
  assert_string_equal(amp_table_label(t, 1), "years to");
  assert_string_equal(amp_table_unit(t, 1), "a");
  assert_int_equal(amp_table_kind(t, 1), AMP_COLUMN_NUMBER);
  assert_string_equal(amp_table_get(t, 4, 0)->text, "e");
  assert_close(amp_table_get(t, 4, 1)->value, 2.0, 0.0);
  assert_null(amp_table_get(t, 5, 0));
  assert_null(amp_table_get(t, 0, 2));
  assert_null(amp_table_get(t, -1, 0));
  assert_string_equal(amp_table_note(t, 0, &label), "costs more");
  assert_string_equal(label, "b");
  assert_null(amp_table_note(t, 1, NULL));
  assert_null(amp_table_head(t, 1));
  amp_table_free(t);
}

static void a_dropped_note_leaves_the_others_in_order (void **state) {
  amp_table *t = sample(NULL);
  (void)state;
  amp_table_add_note(t, "", "second");
  amp_table_add_note(t, "", "third");
  amp_table_drop_note(t, 1);
  amp_table_drop_note(t, 2); /* not there: nothing happens */
  amp_table_drop_note(t, -1);
  assert_int_equal(amp_table_notes(t), 2);
  assert_string_equal(amp_table_note(t, 1, NULL), "third");
  amp_table_drop_note(t, 0);
  amp_table_drop_note(t, 0);
  assert_true(amp_table_add_note(t, "", "fourth"));
  assert_string_equal(amp_table_note(t, 0, NULL), "fourth");
  amp_table_free(t);
}

static void strings_are_copied (void **state) {
  char text[] = "before";
  amp_table *t = sample(NULL);
  amp_cell_data c = words(text);
  (void)state;
  c.why = text;
  assert_true(amp_table_set(t, 0, 0, &c));
  memcpy(text, "after!", 6);
  assert_string_equal(amp_table_get(t, 0, 0)->text, "before");
  assert_string_equal(amp_table_get(t, 0, 0)->why, "before");
  amp_table_free(t);
}

static void a_cell_may_be_set_from_itself (void **state) {
  amp_table *t = sample(NULL);
  (void)state;
  assert_true(amp_table_set(t, 0, 0, amp_table_get(t, 0, 0)));
  assert_string_equal(amp_table_get(t, 0, 0)->text, "b");
  amp_table_free(t);
}

static void a_new_row_knows_nothing (void **state) {
  amp_table *t = sample(NULL);
  int r = amp_table_add_row(t);
  const amp_cell_data *c = amp_table_get(t, r, 1);
  (void)state;
  assert_int_equal(r, 5);
  assert_false(amp_given(c->value) || amp_given(c->low) ||
               amp_given(c->high));
  assert_null(c->text);
  assert_int_equal(c->basis, AMP_BASIS_NONE);
  amp_table_free(t);
}

static void a_second_column_of_a_name_is_refused (void **state) {
  amp_table *t = amp_table_new(NULL, "");
  (void)state;
  assert_int_equal(amp_table_add_column(t, "a", "A", "", AMP_COLUMN_TEXT), 0);
  assert_int_equal(amp_table_add_column(t, "a", "B", "", AMP_COLUMN_TEXT),
                   -1);
  assert_int_equal(amp_table_add_column(t, "", "B", "", AMP_COLUMN_TEXT), -1);
  assert_int_equal(amp_table_columns(t), 1);
  assert_int_equal(amp_table_add_row(t), 0);
  assert_int_equal(amp_table_add_column(t, "late", "", "", AMP_COLUMN_TEXT),
                   -1);
  amp_table_free(t);
}

static void order_puts_nothing_last_both_ways_and_is_stable (void **state) {
  static const int up[] = {1, 3, 4, 0, 2}, down[] = {0, 4, 1, 3, 2};
  static const int text[] = {1, 0, 2, 3, 4};
  amp_table *t = sample(NULL);
  int order[5];
  (void)state;
  amp_table_order(t, 1, false, order);
  assert_memory_equal(order, up, sizeof up);
  amp_table_order(t, 1, true, order);
  assert_memory_equal(order, down, sizeof down);
  amp_table_order(t, 0, false, order);
  assert_memory_equal(order, text, sizeof text);
  amp_table_free(t);
}

/* A law: whatever the numbers, order is a permutation, rising, and equal
** numbers keep their rows' order. Numbers: Knuth's MMIX congruence. */
static void order_of_many_rows_rises_and_is_stable (void **state) {
  enum { ROWS = 1000 };
  static int order[ROWS];
  amp_table *t = amp_table_new(NULL, "");
  unsigned long long x = 1;
  (void)state;
  amp_table_add_column(t, "v", "v", "", AMP_COLUMN_NUMBER);
  for (int i = 0; i < ROWS; i++) {
    amp_cell_data c;
    x = x * 6364136223846793005ull + 1442695040888963407ull;
    c = number((double)(x >> 58)); /* 64 different numbers */
    amp_table_add_row(t);
    amp_table_set(t, i, 0, &c);
  }
  amp_table_order(t, 0, false, order);
  for (int i = 1; i < ROWS; i++) {
    double a = amp_table_get(t, order[i - 1], 0)->value;
    double b = amp_table_get(t, order[i], 0)->value;
    assert_true(a < b || (!(a > b) && order[i - 1] < order[i]));
  }
  amp_table_free(t);
}

static void selecting_picks_repeats_and_keeps_the_rest (void **state) {
  static const int row[] = {4, 0, 4}, column[] = {1, 0};
  amp_table *t = sample(NULL);
  amp_table *s = amp_table_select(t, row, 3, column, 2);
  (void)state;
  amp_table_free(t); /* the new one stands alone */
  assert_int_equal(amp_table_rows(s), 3);
  assert_string_equal(amp_table_key(s, 0), "years");
  assert_string_equal(amp_table_get(s, 2, 1)->text, "e");
  assert_close(amp_table_get(s, 1, 0)->value, 3.0, 0.0);
  assert_true(amp_table_hidden(s, 0));
  assert_false(amp_table_hidden(s, 1));
  assert_true(amp_table_across(s));
  assert_string_equal(amp_table_title(s), "sample");
  assert_string_equal(amp_table_corner(s), "EUR");
  assert_int_equal(amp_table_heads(s), 1);
  assert_int_equal(amp_table_notes(s), 1);
  amp_table_free(s);
}

static void selecting_what_is_not_there_gives_nothing (void **state) {
  static const int bad = 5, twice[] = {0, 0};
  amp_table *t = sample(NULL);
  (void)state;
  assert_null(amp_table_select(t, &bad, 1, NULL, 0));
  assert_null(amp_table_select(t, NULL, 0, &bad, 1));
  assert_null(amp_table_select(t, NULL, 0, twice, 2));
  amp_table_free(t);
}

/* An allocator that counts bytes and gives up after 'left' calls. */
typedef struct purse {
  int left;
  long long bytes;
} purse;

static void *purse_alloc (void *user, void *old, size_t old_size,
                          size_t new_size) {
  purse *p = user;
  void *got;
  if (new_size == 0) {
    free(old);
    p->bytes -= (long long)old_size;
    return NULL;
  }
  if (p->left-- <= 0)
    return NULL;
  got = realloc(old, new_size);
  p->bytes += (long long)new_size - (long long)(old ? old_size : 0);
  return got;
}

static void no_memory_anywhere_loses_nothing (void **state) {
  (void)state;
  for (int calls = 0; calls < 80; calls++) {
    purse p = {calls, 0};
    amp_context ctx;
    amp_table *t;
    memset(&ctx, 0, sizeof ctx);
    ctx.user = &p;
    ctx.alloc = purse_alloc;
    ctx.workers = 1;
    t = sample(&ctx);
    if (t)
      amp_table_drop_note(t, 0);
    amp_table_free(t ? amp_table_copy(t) : NULL);
    amp_table_free(t);
    assert_int_equal(p.bytes, 0);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_table_gives_back_what_was_set),
      cmocka_unit_test(a_dropped_note_leaves_the_others_in_order),
      cmocka_unit_test(strings_are_copied),
      cmocka_unit_test(a_cell_may_be_set_from_itself),
      cmocka_unit_test(a_new_row_knows_nothing),
      cmocka_unit_test(a_second_column_of_a_name_is_refused),
      cmocka_unit_test(order_puts_nothing_last_both_ways_and_is_stable),
      cmocka_unit_test(order_of_many_rows_rises_and_is_stable),
      cmocka_unit_test(selecting_picks_repeats_and_keeps_the_rest),
      cmocka_unit_test(selecting_what_is_not_there_gives_nothing),
      cmocka_unit_test(no_memory_anywhere_loses_nothing),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
