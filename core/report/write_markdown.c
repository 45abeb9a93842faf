/*
** write_markdown.c -- a pipe table with the sentences around it. Names come
** from strangers: whatever Markdown or HTML would read as markup is escaped.
*/
#include "report/writers.h"
#include <string.h>

static void escaped (amp_buffer *out, const char *s) {
  for (; *s; s++) {
    if (strchr("\\`*_[]<>|~&#", *s))
      amp_buffer_puts(out, "\\");
    amp_buffer_add(out, s, 1);
  }
}

static void visible (const amp_context *ctx, amp_buffer *out, const char *s) {
  amp_buffer b = {ctx, NULL, 0, 0, false};
  amp_buffer_visible(&b, s);
  amp_buffer_add(&b, "", 1);
  if (!b.failed)
    escaped(out, b.s);
  out->failed = out->failed || b.failed;
  amp_buffer_free(&b);
}

/* A paragraph that begins with "-", "+", "=" or "1." would be something
** else. */
static void paragraph (const amp_context *ctx, amp_buffer *out,
                       const char *s) {
  size_t digits = strspn(s, "0123456789");
  const char *after = s + digits;
  if (digits == 0 && *s && strchr("-+=", *s))
    amp_buffer_puts(out, "\\");
  if (digits > 0 && (*after == '.' || *after == ')')) {
    amp_buffer_add(out, s, digits);
    amp_buffer_puts(out, "\\");
    s = after;
  }
  visible(ctx, out, s);
  amp_buffer_puts(out, "\n\n");
}

/* "21.5' (17.2 .. 25.9)" */
static void put_cell (const amp_sheet *s, int row, int column,
                      amp_buffer *out) {
  const amp_shown *d = amp_sheet_cell(s, row, column);
  const char *spread = amp_sheet_text(s, d->spread);
  escaped(out, amp_sheet_text(s, d->value));
  if (d->mark != ' ' && !s->words[column])
    amp_buffer_add(out, &d->mark, 1);
  if (*spread) {
    amp_buffer_puts(out, " (");
    escaped(out, spread);
    amp_buffer_puts(out, ")");
  }
  amp_buffer_puts(out, " |");
}

static void put_across (const amp_sheet *s, amp_buffer *out) {
  amp_buffer_puts(out, "| ");
  visible(s->ctx, out, amp_table_corner(s->t));
  amp_buffer_puts(out, " |");
  for (int r = 0; r < s->rows; r++) {
    amp_buffer_puts(out, " ");
    escaped(out, amp_sheet_text(s, s->name[r]));
    amp_buffer_puts(out, " |");
  }
  amp_buffer_puts(out, "\n| :--- |");
  for (int r = 0; r < s->rows; r++)
    amp_buffer_puts(out, " ---: |");
  amp_buffer_puts(out, "\n");
  for (int c = 0; c < s->columns; c++) {
    if (c == s->heading)
      continue;
    amp_buffer_puts(out, "| ");
    escaped(out, amp_sheet_text(s, s->label[c]));
    amp_buffer_puts(out, " | ");
    for (int r = 0; r < s->rows; r++) {
      amp_buffer_puts(out, r > 0 ? " " : "");
      put_cell(s, r, c, out);
    }
    amp_buffer_puts(out, "\n");
  }
}

static void put_down (const amp_sheet *s, amp_buffer *out) {
  if (*amp_table_corner(s->t))
    paragraph(s->ctx, out, amp_table_corner(s->t));
  amp_buffer_puts(out, "|");
  for (int c = 0; c < s->columns; c++) {
    amp_buffer_puts(out, " ");
    escaped(out, amp_sheet_text(s, s->label[c]));
    amp_buffer_puts(out, " |");
  }
  amp_buffer_puts(out, "\n|");
  for (int c = 0; c < s->columns; c++)
    amp_buffer_puts(out, s->words[c] ? " :--- |" : " ---: |");
  amp_buffer_puts(out, "\n");
  for (int r = 0; r < s->rows; r++) {
    amp_buffer_puts(out, "|");
    for (int c = 0; c < s->columns; c++) {
      amp_buffer_puts(out, " ");
      put_cell(s, r, c, out);
    }
    amp_buffer_puts(out, "\n");
  }
}

static void put_item (const amp_sheet *s, const char *label, const char *line,
                      amp_buffer *out) {
  amp_buffer_puts(out, "- ");
  if (*label) {
    amp_buffer_puts(out, "**");
    visible(s->ctx, out, label);
    amp_buffer_puts(out, "** ");
  }
  visible(s->ctx, out, line);
  amp_buffer_puts(out, "\n");
}

static void put_reasons (const amp_sheet *s, amp_buffer *out) {
  amp_buffer why = {s->ctx, NULL, 0, 0, false};
  for (int i = 0; amp_sheet_reason(s, i, &why); i++) {
    amp_buffer_add(&why, "", 1);
    if (!why.failed)
      put_item(s, "refused", why.s, out);
    why.n = 0;
  }
  out->failed = out->failed || why.failed;
  amp_buffer_free(&why);
}

void amp_write_markdown (const amp_sheet *s, amp_buffer *out) {
  size_t before;
  if (*amp_table_title(s->t)) {
    amp_buffer_puts(out, "### ");
    paragraph(s->ctx, out, amp_table_title(s->t));
  }
  for (int i = 0; i < amp_table_heads(s->t); i++)
    paragraph(s->ctx, out, amp_table_head(s->t, i));
  if (amp_sheet_is_across(s))
    put_across(s, out);
  else if (s->columns > 0)
    put_down(s, out);
  amp_buffer_puts(out, s->columns > 0 ? "\n" : "");
  before = out->n;
  amp_sheet_legend(s, out);
  amp_buffer_puts(out, out->n > before ? "\n\n" : "");
  put_reasons(s, out);
  for (int i = 0; i < amp_table_notes(s->t); i++) {
    const char *label, *line = amp_table_note(s->t, i, &label);
    put_item(s, label, line, out);
  }
}
