/*
** write_html.c -- one page that needs nothing else: no script, no picture,
** no font from elsewhere (a policy in its head says so); prints on A4.
*/
#include "report/writers.h"
#include <string.h>

static const char top[] =
    "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n"
    "<meta charset=\"utf-8\">\n"
    "<meta http-equiv=\"Content-Security-Policy\" "
    "content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
    "<meta name=\"viewport\" content=\"width=device-width, "
    "initial-scale=1\">\n<title>";

static const char style[] =
    "</title>\n<style>\n"
    ":root{color-scheme:light}\n"
    "body{font:15px/1.45 system-ui,sans-serif;color:#1d2329;"
    "background:#fff;width:fit-content;max-width:100%;"
    "box-sizing:border-box;margin:2rem auto;padding:0 1.2rem}\n"
    "h1{font-size:1.35rem;font-weight:600;margin:0 0 .8rem}\n"
    ".head{font-size:1.05rem;margin:.25rem 0;max-width:46rem}\n"
    ".wide{overflow-x:auto;margin:1.3rem 0 .6rem}\n"
    "table{border-collapse:collapse;font-variant-numeric:tabular-nums}\n"
    "th,td{padding:.34rem .2rem .34rem 1.2rem;vertical-align:top;"
    "text-align:right}\n"
    "th:first-child,td:first-child{padding-left:.2rem}\n"
    "th{font-weight:600}\n"
    "thead th,caption{vertical-align:bottom}\n"
    "thead tr{border-bottom:1.5px solid #4a5560}\n"
    "tbody tr{border-bottom:1px solid #e3e7ea}\n"
    "tbody tr:last-child{border-bottom:1.5px solid #4a5560}\n"
    "tbody th{font-weight:400}\n"
    ".l{text-align:left}\n"
    "td.n,th.n{white-space:nowrap}\n"
    "thead th.n{white-space:normal;padding-right:.85em}\n"
    "td.l{min-width:7em}\n"
    ".m{display:inline-block;width:.65em;text-align:left;"
    "color:#b4470e;font-weight:600}\n"
    ".s{display:block;padding-right:.774em;font-size:.84em;"
    "color:#5a6570}\n"
    ".corner{font-weight:400;color:#5a6570}\n"
    ".legend{font-size:.88em;color:#5a6570;margin:.2rem 0 1rem;"
    "white-space:pre-wrap}\n"
    "dl{font-size:.93em;display:grid;"
    "grid-template-columns:fit-content(12rem) 1fr;gap:.25rem 1rem;"
    "max-width:52rem;margin:0}\n"
    "dt{font-weight:600}\ndd{margin:0}\ndd.all{grid-column:1/-1}\n"
    "@page{size:A4;margin:16mm}\n"
    "@media print{body{font-size:10pt;margin:0;padding:0;max-width:none}"
    ".head{font-size:11pt;margin:.15em 0}dl{gap:.15rem .8rem}"
    ".wide{overflow:visible;margin:.8em 0 .5em}"
    "thead{display:table-header-group}"
    "tr,dd{break-inside:avoid}th,td{padding:.2em .2em .2em .9em}"
    "table{font-size:9pt}td.l{min-width:0}}\n";

/*
** Letters of 9 pt that an upright sheet has room for between its margins:
** 178 mm over about half a letter's height each. A wider table is printed
** with the sheet laid on its side.
*/
enum { UPRIGHT_LETTERS = 105, GAP_LETTERS = 2, SENTENCE_LETTERS = 28 };

static const char sideways[] =
    "@media screen{table{font-size:.9rem}th,td{padding-left:.8rem}}\n"
    "@page{size:A4 landscape}\n@media print{table{font-size:8.5pt}}\n";

static const char end_of_head[] = "</style>\n</head>\n<body>\n";

static void escaped_plain (amp_buffer *out, const char *before, const char *s,
                           const char *after) {
  amp_buffer_puts(out, before);
  amp_buffer_escaped(out, s);
  amp_buffer_puts(out, after);
}

static void put_mark (char mark, amp_buffer *out) {
  if (mark == '\'')
    amp_buffer_puts(out, "<span class=\"m\" title=\"claimed\">&#39;</span>");
  else if (mark == '?')
    amp_buffer_puts(out, "<span class=\"m\" title=\"assumed\">?</span>");
  else
    amp_buffer_puts(out, "<span class=\"m\"></span>");
}

/* The value, its mark in a column of its own, its spread below. */
static void put_inside (const amp_sheet *s, int row, int column,
                        amp_buffer *out) {
  const amp_shown *d = amp_sheet_cell(s, row, column);
  const char *spread = amp_sheet_text(s, d->spread);
  amp_buffer_escaped(out, amp_sheet_text(s, d->value));
  if (!s->words[column])
    put_mark(d->mark, out);
  if (*spread)
    escaped_plain(out, "<span class=\"s\">", spread, "</span>");
}

static void put_cell (const amp_sheet *s, int row, int column, bool left,
                      amp_buffer *out) {
  const amp_cell_data *c = amp_table_get(s->t, row, s->column[column]);
  amp_buffer_puts(out, left ? "<td class=\"l\"" : "<td class=\"n\"");
  if (c->why && *c->why)
    escaped_plain(out, " title=\"", c->why, "\"");
  amp_buffer_puts(out, ">");
  put_inside(s, row, column, out);
  if (s->words[column] && !left)
    amp_buffer_puts(out, "<span class=\"m\"></span>");
  amp_buffer_puts(out, "</td>");
}

static void put_across (const amp_sheet *s, amp_buffer *out) {
  escaped_plain(out, "<thead>\n<tr><th class=\"l corner\">",
                amp_table_corner(s->t), "</th>");
  for (int r = 0; r < s->rows; r++)
    escaped_plain(out, "<th class=\"n\" scope=\"col\">",
                  amp_sheet_text(s, s->name[r]), "</th>");
  amp_buffer_puts(out, "</tr>\n</thead>\n<tbody>\n");
  for (int c = 0; c < s->columns; c++) {
    if (c == s->heading)
      continue;
    escaped_plain(out, "<tr><th class=\"l\" scope=\"row\">",
                  amp_sheet_text(s, s->label[c]), "</th>");
    for (int r = 0; r < s->rows; r++)
      put_cell(s, r, c, false, out);
    amp_buffer_puts(out, "</tr>\n");
  }
  amp_buffer_puts(out, "</tbody>\n");
}

static void put_down (const amp_sheet *s, amp_buffer *out) {
  if (*amp_table_corner(s->t))
    escaped_plain(out, "<caption class=\"l corner\">", amp_table_corner(s->t),
                  "</caption>\n");
  amp_buffer_puts(out, "<thead>\n<tr>");
  for (int c = 0; c < s->columns; c++)
    escaped_plain(out,
                  s->words[c] ? "<th class=\"l\" scope=\"col\">"
                              : "<th class=\"n\" scope=\"col\">",
                  amp_sheet_text(s, s->label[c]), "</th>");
  amp_buffer_puts(out, "</tr>\n</thead>\n<tbody>\n");
  for (int r = 0; r < s->rows; r++) {
    amp_buffer_puts(out, "<tr>");
    for (int c = 0; c < s->columns; c++)
      put_cell(s, r, c, s->words[c], out);
    amp_buffer_puts(out, "</tr>\n");
  }
  amp_buffer_puts(out, "</tbody>\n");
}

static void put_note (const char *label, const char *line, amp_buffer *out) {
  if (*label)
    escaped_plain(out, "<dt>", label, "</dt>");
  escaped_plain(out, *label ? "<dd>" : "<dd class=\"all\">", line, "</dd>\n");
}

static void put_notes (const amp_sheet *s, amp_buffer *out) {
  amp_buffer why = {s->ctx, NULL, 0, 0, false};
  amp_buffer_puts(out, "<dl>\n");
  for (int i = 0; amp_sheet_reason(s, i, &why); i++) {
    amp_buffer_add(&why, "", 1);
    if (!why.failed)
      put_note("refused", why.s, out);
    why.n = 0;
  }
  for (int i = 0; i < amp_table_notes(s->t); i++) {
    const char *label, *line = amp_table_note(s->t, i, &label);
    put_note(label, line, out);
  }
  amp_buffer_puts(out, "</dl>\n");
  out->failed = out->failed || why.failed;
  amp_buffer_free(&why);
}

/* Letters of a UTF-8 text: what does not begin one is not counted. */
static int letters (const char *s) {
  int n = 0;
  for (; *s != '\0'; s++)
    n += ((unsigned char)*s & 0xC0) != 0x80;
  return n;
}

/* The longest word: headings over numbers are broken between words. */
static int longest_word (const char *s) {
  int most = 0, n = 0;
  for (; *s != '\0'; s++) {
    n = *s == ' ' ? 0 : n + (((unsigned char)*s & 0xC0) != 0x80);
    most = n > most ? n : most;
  }
  return most;
}

static int more (int a, int b) {
  return a > b ? a : b;
}

/* Letters of a cell: its value or its spread, and room for a mark. */
static int cell_letters (const amp_sheet *s, int row, int column) {
  const amp_shown *d = amp_sheet_cell(s, row, column);
  return more(letters(amp_sheet_text(s, d->value)),
              letters(amp_sheet_text(s, d->spread))) +
         1;
}

/* Letters side by side, of the widest line. Down, a column of words is
** broken where it is long. */
static int table_letters (const amp_sheet *s) {
  bool across = amp_sheet_is_across(s);
  int sum = 0, most = 0;
  for (int k = 0; k < (across ? s->rows : s->columns); k++) {
    int n =
        longest_word(amp_sheet_text(s, across ? s->name[k] : s->label[k]));
    for (int i = 0; i < (across ? s->columns : s->rows); i++)
      n = more(n, across ? cell_letters(s, k, i) : cell_letters(s, i, k));
    if (!across && s->words[k] && n > SENTENCE_LETTERS)
      n = SENTENCE_LETTERS;
    sum += n + GAP_LETTERS;
  }
  for (int c = 0; across && c < s->columns; c++)
    most = more(most, letters(amp_sheet_text(s, s->label[c])));
  return sum + most;
}

static void put_legend (const amp_sheet *s, amp_buffer *out) {
  amp_buffer b = {s->ctx, NULL, 0, 0, false};
  amp_sheet_legend(s, &b);
  amp_buffer_add(&b, "", 1);
  if (!b.failed && *b.s)
    escaped_plain(out, "<p class=\"legend\">", b.s, "</p>\n");
  out->failed = out->failed || b.failed;
  amp_buffer_free(&b);
}

void amp_write_html (const amp_sheet *s, amp_buffer *out) {
  const char *title = amp_table_title(s->t);
  amp_buffer_puts(out, top);
  amp_buffer_escaped(out, *title ? title : "Table");
  amp_buffer_puts(out, style);
  if (table_letters(s) > UPRIGHT_LETTERS)
    amp_buffer_puts(out, sideways);
  amp_buffer_puts(out, end_of_head);
  if (*title)
    escaped_plain(out, "<h1>", title, "</h1>\n");
  for (int i = 0; i < amp_table_heads(s->t); i++)
    escaped_plain(out, "<p class=\"head\">", amp_table_head(s->t, i),
                  "</p>\n");
  if (s->columns > 0) {
    amp_buffer_puts(out, "<div class=\"wide\">\n<table>\n");
    if (amp_sheet_is_across(s))
      put_across(s, out);
    else
      put_down(s, out);
    amp_buffer_puts(out, "</table>\n</div>\n");
  }
  put_legend(s, out);
  put_notes(s, out);
  amp_buffer_puts(out, "</body>\n</html>\n");
}
