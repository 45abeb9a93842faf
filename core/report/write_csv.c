/*
** write_csv.c -- one header, one line a row, in full digits; RFC 4180 with
** CR LF. Beside a column stand, only where any row needs them, its spread,
** whether it is a bound, its basis in words, the text shown in its place
** and the reason it was refused.
*/
#include "report/writers.h"
#include "base/text.h"
#include <math.h>
#include <string.h>

enum { LOW_HIGH = 1, BEYOND = 2, BASIS = 4, SHOWN = 8, WHY = 16 };

static unsigned wants_of (const amp_cell_data *c, bool words) {
  unsigned w = 0;
  if (amp_cell_has_spread(c))
    w |= LOW_HIGH;
  if (c->beyond || c->high_beyond)
    w |= BEYOND;
  if (c->basis == AMP_BASIS_CLAIMED || c->basis == AMP_BASIS_ASSUMED)
    w |= BASIS;
  if (!words && c->text && *c->text)
    w |= SHOWN;
  if (c->why && *c->why)
    w |= WHY;
  return w;
}

static unsigned wants (const amp_table *t, int column) {
  bool words = amp_table_kind(t, column) == AMP_COLUMN_TEXT;
  unsigned w = 0;
  for (int r = 0; r < amp_table_rows(t); r++)
    w |= wants_of(amp_table_get(t, r, column), words);
  return w;
}

/* Quoted where RFC 4180 asks for it. A text that a spreadsheet would run as
** a formula begins with an apostrophe instead (common practice, no source).
*/
static void put_words (amp_buffer *out, const char *s) {
  amp_buffer b = {out->ctx, NULL, 0, 0, false};
  bool quote;
  if (s && *s && strchr("=+-@\t\r", *s))
    amp_buffer_puts(&b, "'");
  amp_buffer_visible(&b, s);
  amp_buffer_add(&b, "", 1);
  quote = !b.failed && (strpbrk(b.s, ",\"\r\n") || *b.s == ' ');
  amp_buffer_puts(out, quote ? "\"" : "");
  for (size_t i = 0; i + 1 < b.n; i++)
    amp_buffer_add(out, b.s[i] == '"' ? "\"\"" : b.s + i,
                   b.s[i] == '"' ? 2 : 1);
  amp_buffer_puts(out, quote ? "\"" : "");
  out->failed = out->failed || b.failed;
  amp_buffer_free(&b);
}

static void put_number (amp_buffer *out, double v) {
  char s[64];
  if (!isfinite(v))
    return;
  amp_buffer_add(out, s, amp_format_shortest(v, s));
}

static void put_name (amp_buffer *out, const char *key, const char *more) {
  amp_buffer b = {out->ctx, NULL, 0, 0, false};
  amp_buffer_puts(&b, key);
  amp_buffer_puts(&b, more);
  amp_buffer_add(&b, "", 1);
  if (!b.failed)
    put_words(out, b.s);
  out->failed = out->failed || b.failed;
  amp_buffer_free(&b);
}

static void put_unit (amp_buffer *out, const char *key, const char *unit) {
  amp_buffer b = {out->ctx, NULL, 0, 0, false};
  if (*unit) {
    amp_buffer_puts(&b, " (");
    amp_buffer_puts(&b, unit);
    amp_buffer_puts(&b, ")");
  }
  amp_buffer_add(&b, "", 1);
  if (!b.failed)
    put_name(out, key, b.s);
  out->failed = out->failed || b.failed;
  amp_buffer_free(&b);
}

static void put_header (const amp_table *t, int c, unsigned w,
                        amp_buffer *out) {
  static const struct {
    unsigned when;
    const char *name;
  } beside[] = {
      {LOW_HIGH, " low"}, {LOW_HIGH, " high"}, {BEYOND, " bound"},
      {BASIS, " basis"},  {SHOWN, " text"},    {WHY, " why"},
  };
  const char *key = amp_table_key(t, c);
  put_unit(out, key, amp_table_unit(t, c));
  for (size_t i = 0; i < sizeof beside / sizeof *beside; i++) {
    if (!(w & beside[i].when))
      continue;
    amp_buffer_puts(out, ",");
    put_name(out, key, beside[i].name);
  }
}

/* Which of the numbers is only a lower bound of the real one. */
static const char *bound_of (const amp_cell_data *c) {
  return c->beyond ? "value" : c->high_beyond ? "high" : "";
}

static void put_field (const amp_table *t, int r, int c, unsigned w,
                       amp_buffer *out) {
  const amp_cell_data *d = amp_table_get(t, r, c);
  if (amp_table_kind(t, c) == AMP_COLUMN_TEXT && !amp_given(d->value))
    put_words(out, d->text);
  else
    put_number(out, d->value);
  if (w & LOW_HIGH) {
    amp_buffer_puts(out, ",");
    put_number(out, d->low);
    amp_buffer_puts(out, ",");
    put_number(out, d->high);
  }
  if (w & BEYOND) {
    amp_buffer_puts(out, ",");
    amp_buffer_puts(out, bound_of(d));
  }
  if (w & BASIS) {
    amp_buffer_puts(out, ",");
    amp_buffer_puts(out,
                    amp_cell_is_empty(d) ? "" : amp_basis_name(d->basis));
  }
  if (w & SHOWN) {
    amp_buffer_puts(out, ",");
    put_words(out, d->text);
  }
  if (w & WHY) {
    amp_buffer_puts(out, ",");
    put_words(out, d->why);
  }
}

static void put_lines (const amp_table *t, const unsigned *w,
                       amp_buffer *out) {
  int columns = amp_table_columns(t);
  for (int r = -1; r < amp_table_rows(t); r++) {
    for (int c = 0; c < columns; c++) {
      amp_buffer_puts(out, c > 0 ? "," : "");
      if (r < 0)
        put_header(t, c, w[c], out);
      else
        put_field(t, r, c, w[c], out);
    }
    amp_buffer_puts(out, "\r\n");
  }
}

void amp_write_csv (const amp_table *t, amp_buffer *out) {
  size_t columns = (size_t)amp_table_columns(t);
  unsigned *w = amp_alloc(out->ctx, columns * sizeof *w);
  if (!w) {
    out->failed = true;
    return;
  }
  for (int c = 0; c < (int)columns; c++)
    w[c] = wants(t, c);
  put_lines(t, w, out);
  amp_free(out->ctx, w, columns * sizeof *w);
}
