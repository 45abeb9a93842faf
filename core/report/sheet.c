/*
** sheet.c -- cells as a reader sees them.
*/
#include "report/sheet.h"
#include "base/text.h"
#include <math.h>
#include <string.h>

enum {
  MOST_REASONS = 12, /* different reasons that are told */
  MOST_PLACES = 3    /* rows, and columns in a row, named for one */
};

bool amp_cell_has_spread (const amp_cell_data *c) {
  return amp_given(c->low) || amp_given(c->high);
}

bool amp_cell_is_empty (const amp_cell_data *c) {
  return !amp_given(c->value) && !(c->text && *c->text);
}

/* "-0.00" says nothing that "0.00" does not */
static const char *without_sign_of_zero (const char *s) {
  return *s == '-' && strspn(s + 1, "0.") == strlen(s + 1) ? s + 1 : s;
}

void amp_show_number (amp_buffer *b, amp_column_kind kind, double v,
                      bool beyond) {
  char s[64];
  if (!amp_given(v)) {
    amp_buffer_puts(b, "-");
    return;
  }
  amp_buffer_puts(b, beyond ? ">" : "");
  if (kind == AMP_COLUMN_SHARE)
    v *= 100.0;
  if (!isfinite(v))
    strcpy(s, v > 0.0 ? "inf" : "-inf");
  else if (fabs(v) >= 1e15) /* all digits would not fit */
    amp_format_double(v, 3, s);
  else if (kind == AMP_COLUMN_MONEY)
    amp_format_fixed(v, 2, s);
  else if (kind == AMP_COLUMN_COUNT || kind == AMP_COLUMN_SHARE)
    amp_format_fixed(v, 0, s);
  else if (beyond) /* a bound is as exact as it was set: ">15" */
    amp_format_double(v, 3, s);
  else
    amp_format_significant(v, 3, s);
  amp_buffer_puts(b, without_sign_of_zero(s));
  amp_buffer_puts(b, kind == AMP_COLUMN_SHARE ? " %" : "");
}

const char *amp_sheet_text (const amp_sheet *s, size_t offset) {
  return s->pool.s + offset;
}

const amp_shown *amp_sheet_cell (const amp_sheet *s, int row, int column) {
  return &s->cell[(size_t)row * (size_t)s->room + (size_t)column];
}

bool amp_sheet_is_across (const amp_sheet *s) {
  return amp_table_across(s->t) && s->rows > 0 &&
         s->columns > (s->heading >= 0 ? 1 : 0);
}

/* End the string that began at 'from' and give its offset. */
static size_t ended (amp_buffer *pool, size_t from) {
  amp_buffer_add(pool, "", 1);
  return from;
}

static char mark_of (const amp_cell_data *c) {
  if (amp_cell_is_empty(c))
    return ' ';
  return c->basis == AMP_BASIS_CLAIMED   ? '\''
         : c->basis == AMP_BASIS_ASSUMED ? '?'
                                         : ' ';
}

static size_t show_value (amp_buffer *pool, amp_column_kind kind,
                          const amp_cell_data *c, char mark) {
  size_t from = pool->n;
  bool refused = amp_cell_is_empty(c) && c->why && *c->why;
  if (c->text && *c->text)
    amp_buffer_visible(pool, c->text);
  else if (kind != AMP_COLUMN_TEXT || amp_given(c->value) || refused)
    amp_show_number(pool, kind, c->value, c->beyond);
  if (kind == AMP_COLUMN_TEXT && mark != ' ')
    amp_buffer_add(pool, &mark, 1); /* words have no column for marks */
  return ended(pool, from);
}

static size_t show_spread (amp_buffer *pool, amp_column_kind kind,
                           const amp_cell_data *c) {
  size_t from = pool->n;
  if (amp_cell_is_empty(c))
    return 0;
  if (amp_cell_has_spread(c)) {
    if (!(c->low == c->high && c->high_beyond)) { /* ">15 .. >15" is ">15" */
      amp_show_number(pool, kind, c->low, false);
      amp_buffer_puts(pool, " .. ");
    }
    amp_show_number(pool, kind, c->high, c->high_beyond);
  } else if (amp_given(c->value))
    amp_buffer_puts(pool, "fixed");
  else
    return 0;
  return ended(pool, from);
}

/* "usable kWh" holds its unit; a corner names it for all. */
static size_t show_label (amp_buffer *pool, const amp_table *t, int column) {
  const char *label = amp_table_label(t, column);
  const char *unit = amp_table_unit(t, column);
  size_t from = pool->n;
  amp_buffer_visible(pool, label);
  if (*unit && !*amp_table_corner(t) && !strstr(label, unit)) {
    amp_buffer_puts(pool, ", ");
    amp_buffer_visible(pool, unit);
  }
  return ended(pool, from);
}

static bool says_nothing (const amp_cell_data *c) {
  return amp_cell_is_empty(c) && !(c->why && *c->why);
}

/* Columns worth showing. One in which no row says anything is left out, but
** a table without rows keeps its header. */
static void choose_columns (amp_sheet *s) {
  s->heading = -1;
  for (int c = 0; c < amp_table_columns(s->t); c++) {
    bool any = s->rows == 0, spread = false;
    bool folded = amp_table_folded(s->t, c);
    if (amp_table_hidden(s->t, c))
      continue;
    for (int r = 0; r < s->rows; r++) {
      const amp_cell_data *d = amp_table_get(s->t, r, c);
      any = any || !says_nothing(d);
      spread = spread ||
               (!folded && !amp_cell_is_empty(d) && amp_cell_has_spread(d));
    }
    if (!any)
      continue;
    s->words[s->columns] = amp_table_kind(s->t, c) == AMP_COLUMN_TEXT;
    if (s->heading < 0 && s->words[s->columns])
      s->heading = s->columns;
    s->spread[s->columns] = spread;
    s->label[s->columns] = show_label(&s->pool, s->t, c);
    s->column[s->columns++] = c;
  }
}

static void show_cell (amp_sheet *s, int row, int column) {
  int c = s->column[column];
  const amp_cell_data *d = amp_table_get(s->t, row, c);
  amp_column_kind kind = amp_table_kind(s->t, c);
  amp_shown *out = &s->cell[(size_t)row * (size_t)s->room + (size_t)column];
  out->mark = mark_of(d);
  out->value = show_value(&s->pool, kind, d, out->mark);
  if (s->spread[column])
    out->spread = show_spread(&s->pool, kind, d);
  s->claimed = s->claimed || out->mark == '\'';
  s->assumed = s->assumed || out->mark == '?';
}

static size_t name_row (amp_sheet *s, int row) {
  size_t from = s->pool.n;
  if (s->heading >= 0)
    return amp_sheet_cell(s, row, s->heading)->value;
  amp_buffer_puts(&s->pool, "row ");
  amp_buffer_count(&s->pool, (size_t)row + 1);
  return ended(&s->pool, from);
}

static bool lend_memory (amp_sheet *s) {
  size_t rows = (size_t)s->rows, room = (size_t)s->room;
  s->column = amp_alloc(s->ctx, room * sizeof *s->column);
  s->label = amp_alloc(s->ctx, room * sizeof *s->label);
  s->spread = amp_alloc(s->ctx, room * sizeof *s->spread);
  s->words = amp_alloc(s->ctx, room * sizeof *s->words);
  s->name = amp_alloc(s->ctx, rows * sizeof *s->name);
  s->cell = amp_alloc(s->ctx, rows * room * sizeof *s->cell);
  amp_buffer_add(&s->pool, "", 1);
  return s->column && s->label && s->spread && s->words && s->name &&
         s->cell && !s->pool.failed;
}

amp_status amp_sheet_make (const amp_context *ctx, const amp_table *t,
                           amp_sheet *out, amp_error *err) {
  memset(out, 0, sizeof *out);
  out->t = t;
  out->ctx = out->pool.ctx = ctx;
  out->rows = amp_table_rows(t);
  out->room = amp_table_columns(t);
  if (!lend_memory(out))
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the output");
  choose_columns(out);
  for (int r = 0; r < out->rows; r++) {
    for (int c = 0; c < out->columns; c++)
      show_cell(out, r, c);
    out->name[r] = name_row(out, r);
  }
  if (out->pool.failed)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the output");
  return AMP_OK;
}

void amp_sheet_free (amp_sheet *s) {
  size_t rows = (size_t)s->rows, room = (size_t)s->room;
  amp_free(s->ctx, s->column, room * sizeof *s->column);
  amp_free(s->ctx, s->label, room * sizeof *s->label);
  amp_free(s->ctx, s->spread, room * sizeof *s->spread);
  amp_free(s->ctx, s->words, room * sizeof *s->words);
  amp_free(s->ctx, s->name, rows * sizeof *s->name);
  amp_free(s->ctx, s->cell, rows * room * sizeof *s->cell);
  amp_buffer_free(&s->pool);
}

void amp_sheet_legend (const amp_sheet *s, amp_buffer *out) {
  if (s->claimed)
    amp_buffer_puts(out, "' rests on a claim   ");
  if (s->assumed)
    amp_buffer_puts(out, "? rests on an assumption   ");
  if (s->claimed || s->assumed)
    amp_buffer_puts(out, "no mark: measured or priced");
}

/* The reason of a refused cell, or NULL. */
static const char *refusal (const amp_sheet *s, int row, int column) {
  const amp_cell_data *c = amp_table_get(s->t, row, s->column[column]);
  return amp_cell_is_empty(c) && c->why && *c->why ? c->why : NULL;
}

static const char *find_reason (const amp_sheet *s, int i) {
  const char *seen[MOST_REASONS];
  int n = 0;
  for (int r = 0; r < s->rows; r++) {
    for (int c = 0; c < s->columns; c++) {
      const char *why = refusal(s, r, c);
      bool new = why != NULL;
      for (int k = 0; new &&k < n; k++)
        new = strcmp(seen[k], why) != 0;
      if (new &&n == i)
        return why;
      if (new)
        seen[n++] = why;
    }
  }
  return NULL;
}

static void and_more (amp_buffer *out, int n, const char *rows) {
  if (n <= MOST_PLACES)
    return;
  amp_buffer_puts(out, " and ");
  amp_buffer_count(out, (size_t)(n - MOST_PLACES));
  amp_buffer_puts(out, rows);
}

/* Has every empty cell of the row this one reason, and is its name all that
** it holds? */
static bool whole_row (const amp_sheet *s, int row, const char *why) {
  int refused = 0;
  for (int c = 0; c < s->columns; c++) {
    const char *other = refusal(s, row, c);
    refused += other && strcmp(other, why) == 0;
  }
  return refused > MOST_PLACES && refused >= s->columns - 1;
}

/* "H2: days, years and 5 more", or "H2"; gives how many columns there are */
static int places_in_row (const amp_sheet *s, int row, const char *why,
                          amp_buffer *out) {
  int n = 0;
  if (whole_row(s, row, why)) {
    if (out)
      amp_buffer_puts(out, amp_sheet_text(s, s->name[row]));
    return s->columns;
  }
  for (int c = 0; c < s->columns; c++) {
    const char *other = refusal(s, row, c);
    if (!other || strcmp(other, why) != 0)
      continue;
    if (out && n < MOST_PLACES) {
      amp_buffer_puts(out, n == 0 ? amp_sheet_text(s, s->name[row]) : "");
      amp_buffer_puts(out, n == 0 ? ": " : ", ");
      amp_buffer_puts(out, amp_sheet_text(s, s->label[c]));
    }
    n++;
  }
  if (out)
    and_more(out, n, " more");
  return n;
}

bool amp_sheet_reason (const amp_sheet *s, int i, amp_buffer *out) {
  const char *why = i <= MOST_REASONS ? find_reason(s, i) : NULL;
  int rows = 0;
  if (!why)
    return false;
  if (i == MOST_REASONS) {
    amp_buffer_puts(out, "and further reasons: each stands in its row's "
                         "cells, and in the CSV");
    return true;
  }
  amp_buffer_visible(out, why);
  for (int r = 0; r < s->rows; r++) {
    if (places_in_row(s, r, why, NULL) == 0)
      continue;
    if (rows < MOST_PLACES) {
      amp_buffer_puts(out, rows == 0 ? " (" : "; ");
      places_in_row(s, r, why, out);
    }
    rows++;
  }
  and_more(out, rows, " more rows");
  amp_buffer_puts(out, ")");
  return true;
}
