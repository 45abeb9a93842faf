/*
** write_text.c -- the aligned form, at most 78 columns: rows laid across as
** columns, or one row an item; sentences above, marks and notes below.
*/
#include "report/writers.h"
#include <string.h>

enum {
  ITEM = 18,   /* columns an item laid across takes where there is room */
  LABEL = 34,  /* most for the labels at the left of a table across */
  FIRST = 28,  /* most for the first column of the down form */
  WIDEST = 40, /* most for any other; WIDEST + FIRST + 2 fits the page */
  GAP = 2,     /* blanks between columns */
  HANG = 24,   /* most of a note's indent */
  MOST_FIELDS = 2 * AMP_PAGE
};

typedef struct field {
  const char *s, *below; /* what stands under 's' on a line of its own */
  int at, width;         /* first column, and how many, with the mark's */
  bool right;
  char mark; /* 0: the text may reach the edge */
  int lines; /* of 's'; put_fields counts them */
} field;

static int width_of (const char *s) {
  return amp_text_width(s, strlen(s));
}

static int larger (int a, int b) {
  return a > b ? a : b;
}

static int smaller (int a, int b) {
  return a < b ? a : b;
}

static int lines_at (const char *s, int width) {
  int lines = 0;
  size_t n;
  while (s) {
    s = amp_text_wrap(s, width, &n);
    lines++;
  }
  return lines;
}

static int room_of (const field *f) {
  return f->width - (f->mark ? 1 : 0);
}

/* 'n' bytes in the field's columns, from column '*at' on */
static void put_bytes (amp_buffer *out, const field *f, const char *s,
                       size_t n, int *at) {
  int width = amp_text_width(s, n);
  int start = f->at + (f->right ? room_of(f) - width : 0);
  if (n == 0)
    return;
  amp_buffer_fill(out, ' ', start - *at);
  amp_buffer_add(out, s, n);
  *at = start + width;
}

/* The next line of 's', the last one with its mark, or the line below. */
static void put_piece (amp_buffer *out, field *f, int *at) {
  size_t n = 0;
  if (f->s) {
    const char *next = amp_text_wrap(f->s, room_of(f), &n);
    put_bytes(out, f, f->s, n, at);
    f->s = next;
    if (n > 0 && !next && f->mark && f->mark != ' ') {
      amp_buffer_add(out, &f->mark, 1);
      (*at)++;
    }
  } else if (f->below) {
    put_bytes(out, f, f->below, strlen(f->below), at);
    f->below = NULL;
  }
}

/* Fields side by side; shorter ones stand at the top, or at the bottom. */
static void put_fields (amp_buffer *out, field *f, int n, bool bottom) {
  int lines = 0;
  for (int i = 0; i < n; i++) {
    bool more = f[i].below && *f[i].below;
    f[i].lines = lines_at(f[i].s, room_of(&f[i])) + (more ? 1 : 0);
    lines = larger(lines, f[i].lines);
  }
  for (int k = 0; k < lines; k++) {
    int at = 0;
    for (int i = 0; i < n; i++)
      if (!bottom || k >= lines - f[i].lines)
        put_piece(out, &f[i], &at);
    amp_buffer_puts(out, "\n");
  }
}

static void put_rule (amp_buffer *out) {
  amp_buffer_fill(out, '-', AMP_PAGE);
  amp_buffer_puts(out, "\n");
}

/* 'line' wrapped under 'label', the rest indented to stand below it; one
** word that is longer than that (a caution's name) has a line of its own */
static void put_note (amp_buffer *out, const amp_buffer *strings,
                      size_t label, size_t line) {
  const char *l = strings->s + label;
  int indent = *l ? smaller(width_of(l) + GAP, HANG) : 0;
  const char *s = strings->s + line;
  if (width_of(l) > HANG - GAP && width_of(l) <= AMP_PAGE &&
      strchr(l, ' ') == NULL) {
    amp_buffer_puts(out, l);
    amp_buffer_puts(out, "\n");
    l = "";
    indent = GAP;
  }
  field f[2] = {{l, NULL, 0, larger(indent - GAP, 1), false, 0, 0},
                {s, NULL, indent, AMP_PAGE - indent, false, 0, 0}};
  put_fields(out, f, 2, false);
}

static void put_sentence (amp_buffer *out, const amp_context *ctx,
                          const char *label, const char *line) {
  amp_buffer b = {ctx, NULL, 0, 0, false};
  size_t second;
  amp_buffer_visible(&b, label);
  amp_buffer_add(&b, "", 1);
  second = b.n;
  amp_buffer_visible(&b, line);
  amp_buffer_add(&b, "", 1);
  if (!b.failed)
    put_note(out, &b, 0, second);
  out->failed = out->failed || b.failed;
  amp_buffer_free(&b);
}

/* --- laid across ------------------------------------------------------ */

typedef struct across {
  int label, item; /* widths; an item's holds the gap before it */
  int each;        /* items side by side */
} across;

static int longest_word (const char *s) {
  int longest = 0;
  while (*s) {
    size_t n = strcspn(s, " ");
    longest = larger(longest, amp_text_width(s, n));
    s += n + strspn(s + n, " ");
  }
  return longest;
}

/* What the items need: as they are, or with their words wrapped. */
static int widest_item (const amp_sheet *s, bool wrapped) {
  int (*words)(const char *) = wrapped ? longest_word : width_of;
  int widest = 0;
  for (int r = 0; r < s->rows; r++) {
    widest = larger(widest, words(amp_sheet_text(s, s->name[r])));
    for (int c = 0; c < s->columns; c++) {
      const amp_shown *d = amp_sheet_cell(s, r, c);
      const char *value = amp_sheet_text(s, d->value);
      int width = s->words[c] ? words(value) : width_of(value) + 1;
      widest = larger(widest, width);
      widest = larger(widest, width_of(amp_sheet_text(s, d->spread)) + 1);
    }
  }
  return smaller(widest, WIDEST) + GAP;
}

/* All items side by side if they can be, in ITEM columns each or in what
** they need; else as many as the page takes. */
static across plan_across (const amp_sheet *s, const char *corner) {
  across a = {width_of(corner), widest_item(s, false), 1};
  int least = widest_item(s, true), fair;
  for (int c = 0; c < s->columns; c++)
    if (c != s->heading)
      a.label = larger(a.label, width_of(amp_sheet_text(s, s->label[c])));
  a.label = smaller(a.label, LABEL);
  fair = (AMP_PAGE - a.label) / s->rows;
  if (fair >= a.item)
    a.item = larger(a.item, smaller(fair, ITEM));
  else if (fair >= least)
    a.item = fair;
  else
    a.item = larger(least, smaller(a.item, ITEM));
  a.each = larger((AMP_PAGE - a.label) / a.item, 1);
  return a;
}

static field item_field (const across *a, int i, const char *s, char mark) {
  field f = {s,    NULL, a->label + i * a->item + GAP, a->item - GAP, true,
             mark, 0};
  return f;
}

static field label_field (const across *a, const char *s) {
  field f = {s, NULL, 0, a->label, false, 0, 0};
  return f;
}

static void put_line_across (const amp_sheet *s, const across *a, int column,
                             int from, int n, amp_buffer *out) {
  field f[MOST_FIELDS];
  f[0] = label_field(a, amp_sheet_text(s, s->label[column]));
  for (int i = 0; i < n; i++) {
    const amp_shown *d = amp_sheet_cell(s, from + i, column);
    char mark = s->words[column] ? '\0' : d->mark;
    f[i + 1] = item_field(a, i, amp_sheet_text(s, d->value), mark);
    f[i + 1].below = amp_sheet_text(s, d->spread);
  }
  put_fields(out, f, n + 1, false);
}

static void put_block_across (const amp_sheet *s, const across *a,
                              const char *corner, int from, int n,
                              amp_buffer *out) {
  field head[MOST_FIELDS];
  head[0] = label_field(a, corner);
  for (int i = 0; i < n; i++)
    head[i + 1] =
        item_field(a, i, amp_sheet_text(s, s->name[from + i]), '\0');
  put_fields(out, head, n + 1, true);
  put_rule(out);
  for (int c = 0; c < s->columns; c++)
    if (c != s->heading)
      put_line_across(s, a, c, from, n, out);
  put_rule(out);
}

static void put_across (const amp_sheet *s, const char *corner,
                        amp_buffer *out) {
  across a = plan_across(s, corner);
  for (int from = 0; from < s->rows; from += a.each) {
    amp_buffer_puts(out, from > 0 ? "\n" : "");
    put_block_across(s, &a, corner, from, smaller(a.each, s->rows - from),
                     out);
  }
}

/* --- one row an item -------------------------------------------------- */

typedef struct down {
  int *value, *spread; /* widths of a column, its mark included */
  bool *marked;
  bool beside; /* spreads stand beside the value, not below */
  int lead;    /* first columns that each block repeats */
} down;

/* Least width at which the heading takes at most three lines and breaks no
** word. */
static int heading_width (const char *s, int least) {
  least = larger(larger(least, 1), smaller(longest_word(s), WIDEST));
  while (least < WIDEST && lines_at(s, least) > 3)
    least++;
  return least;
}

static void measure_down (const amp_sheet *s, down *d) {
  for (int c = 0; c < s->columns; c++) {
    int most = c == 0 ? FIRST : WIDEST;
    for (int r = 0; r < s->rows; r++)
      d->marked[c] = d->marked[c] ||
                     (!s->words[c] && amp_sheet_cell(s, r, c)->mark != ' ');
    for (int r = 0; r < s->rows; r++) {
      const amp_shown *v = amp_sheet_cell(s, r, c);
      int mark = d->marked[c] ? 1 : 0;
      d->value[c] =
          larger(d->value[c], width_of(amp_sheet_text(s, v->value)) + mark);
      d->spread[c] =
          larger(d->spread[c], width_of(amp_sheet_text(s, v->spread)));
    }
    d->value[c] = heading_width(amp_sheet_text(s, s->label[c]),
                                smaller(d->value[c], most));
    d->value[c] = smaller(d->value[c], most);
  }
}

/* Columns the table's column takes, without the gap before it */
static int taken (const down *d, int c) {
  int mark = d->marked[c] ? 1 : 0;
  if (d->spread[c] == 0)
    return d->value[c];
  return d->beside ? d->value[c] + GAP + larger(d->spread[c], 10)
                   : larger(d->value[c], d->spread[c] + mark);
}

static bool fits_beside (const amp_sheet *s, down *d) {
  int width = -GAP;
  d->beside = true;
  for (int c = 0; c < s->columns && width <= AMP_PAGE; c++)
    width += taken(d, c) + GAP;
  return width <= AMP_PAGE;
}

enum { HEADING = -1 };

/* Field(s) of column 'c' at '*at' for row 'r' (or the heading); counts. */
static int lay_column (const amp_sheet *s, const down *d, int c, int r,
                       int *at, field *f) {
  const amp_shown *v = r == HEADING ? NULL : amp_sheet_cell(s, r, c);
  const char *text = amp_sheet_text(s, v ? v->value : s->label[c]);
  const char *spread = v ? amp_sheet_text(s, v->spread) : "P10 .. P90";
  char mark = v && d->marked[c] ? v->mark : '\0';
  bool beside = d->beside && d->spread[c] > 0;
  int all = taken(d, c), own = beside ? d->value[c] : all;
  field value = {text, NULL, *at, own, !s->words[c], mark, 0};
  field more = {spread, NULL, *at + own + GAP, all - own - GAP, true, 0, 0};
  if (v && !beside)
    value.below = spread;
  *at += all + GAP;
  f[0] = value;
  if (beside)
    f[1] = more;
  return beside ? 2 : 1;
}

/* Row 'r', or the heading, over the lead and the columns from .. to - 1 */
static void put_row_down (const amp_sheet *s, const down *d, int r, int from,
                          int to, amp_buffer *out) {
  field f[MOST_FIELDS];
  int at = 0, n = 0;
  for (int c = 0; c < d->lead; c++)
    n += lay_column(s, d, c, r, &at, f + n);
  for (int c = larger(from, d->lead); c < to; c++)
    n += lay_column(s, d, c, r, &at, f + n);
  put_fields(out, f, n, r == HEADING);
}

/* No two rows read the same in the first 'lead' columns. A long table is
** judged by its first rows: the question is how it reads. */
static bool rows_differ (const amp_sheet *s, int lead) {
  int rows = smaller(s->rows, 500);
  for (int a = 1; a < rows; a++)
    for (int b = 0; b < a; b++) {
      int c = 0;
      while (c < lead &&
             !strcmp(amp_sheet_text(s, amp_sheet_cell(s, a, c)->value),
                     amp_sheet_text(s, amp_sheet_cell(s, b, c)->value)))
        c++;
      if (c == lead)
        return false;
    }
  return true;
}

/* What a row needs to be told from the others in each block, and takes no
** more than half the page; else the first column alone. */
static int lead_of (const amp_sheet *s, const down *d) {
  int width = 0;
  for (int lead = 1; lead < s->columns; lead++) {
    width += taken(d, lead - 1) + GAP;
    if (width > AMP_PAGE / 2)
      break;
    if (rows_differ(s, lead))
      return lead;
  }
  return 1;
}

/* How far a block that begins with column 'from' reaches on such a page */
static int block_end (const amp_sheet *s, const down *d, int from, int page) {
  int width = -GAP, c = larger(from, d->lead);
  for (int k = 0; k < d->lead; k++)
    width += GAP + taken(d, k);
  for (int first = c; c < s->columns; c++) {
    width += GAP + taken(d, c);
    if (width > page && c > first)
      break;
  }
  return c;
}

static int blocks_on (const amp_sheet *s, const down *d, int page) {
  int n = 0, from = 0;
  do {
    from = block_end(s, d, from, page);
    n++;
  } while (from < s->columns);
  return n;
}

/* The narrowest page that takes no more blocks: it makes them alike. */
static int even_page (const amp_sheet *s, const down *d) {
  int page = AMP_PAGE, blocks = blocks_on(s, d, page);
  while (page > 1 && blocks_on(s, d, page - 1) == blocks &&
         blocks < s->columns - 1)
    page--;
  return page;
}

/* Words in the last column of a table that fits take what the page has left,
** as far as they need it. */
static void widen_last (const amp_sheet *s, down *d) {
  int last = s->columns - 1, spare = AMP_PAGE + GAP, need = 0;
  if (last < 1 || !s->words[last])
    return;
  for (int c = 0; c <= last; c++)
    spare -= taken(d, c) + GAP;
  for (int r = 0; r < s->rows; r++)
    need = larger(
        need, width_of(amp_sheet_text(s, amp_sheet_cell(s, r, last)->value)));
  d->value[last] += larger(0, smaller(spare, need - d->value[last]));
}

static void put_down (const amp_sheet *s, down *d, amp_buffer *out) {
  int from = 0, to, page;
  measure_down(s, d);
  d->lead = 1;
  d->beside = fits_beside(s, d);
  widen_last(s, d);
  if (block_end(s, d, 0, AMP_PAGE) < s->columns)
    d->lead = lead_of(s, d);
  page = even_page(s, d);
  do {
    to = block_end(s, d, from, page);
    amp_buffer_puts(out, from > 0 ? "\n" : "");
    put_row_down(s, d, HEADING, from, to, out);
    put_rule(out);
    for (int r = 0; r < s->rows; r++)
      put_row_down(s, d, r, from, to, out);
    amp_buffer_puts(out, s->rows == 0 ? "no rows\n" : "");
    put_rule(out);
    from = to;
  } while (to < s->columns);
}

static void lay_down (const amp_sheet *s, amp_buffer *out) {
  size_t n = (size_t)s->columns;
  down d = {amp_alloc(s->ctx, n * sizeof *d.value),
            amp_alloc(s->ctx, n * sizeof *d.spread),
            amp_alloc(s->ctx, n * sizeof *d.marked), false, 1};
  if (*amp_table_corner(s->t))
    put_sentence(out, s->ctx, "", amp_table_corner(s->t));
  if (d.value && d.spread && d.marked)
    put_down(s, &d, out);
  else
    out->failed = true;
  amp_free(s->ctx, d.value, n * sizeof *d.value);
  amp_free(s->ctx, d.spread, n * sizeof *d.spread);
  amp_free(s->ctx, d.marked, n * sizeof *d.marked);
}

/* --- the whole -------------------------------------------------------- */

/* A title only where no sentence stands above: those say more. */
static void put_heads (const amp_sheet *s, amp_buffer *out) {
  int n = amp_table_heads(s->t);
  if (n == 0 && *amp_table_title(s->t))
    put_sentence(out, s->ctx, "", amp_table_title(s->t));
  for (int i = 0; i < n; i++)
    put_sentence(out, s->ctx, "", amp_table_head(s->t, i));
  if (out->n > 0 && s->columns > 0)
    amp_buffer_puts(out, "\n");
}

static void put_notes (const amp_sheet *s, amp_buffer *out) {
  amp_buffer why = {s->ctx, NULL, 0, 0, false};
  size_t before = out->n;
  amp_sheet_legend(s, out);
  amp_buffer_puts(out, out->n > before ? "\n" : "");
  for (int i = 0; amp_sheet_reason(s, i, &why); i++) {
    amp_buffer_add(&why, "", 1);
    if (!why.failed)
      put_sentence(out, s->ctx, "refused", why.s);
    why.n = 0;
  }
  for (int i = 0; i < amp_table_notes(s->t); i++) {
    const char *label, *line = amp_table_note(s->t, i, &label);
    put_sentence(out, s->ctx, label, line);
  }
  out->failed = out->failed || why.failed;
  amp_buffer_free(&why);
}

void amp_write_text (const amp_sheet *s, amp_buffer *out) {
  amp_buffer corner = {s->ctx, NULL, 0, 0, false};
  put_heads(s, out);
  amp_buffer_visible(&corner, amp_table_corner(s->t));
  amp_buffer_add(&corner, "", 1);
  if (corner.failed)
    out->failed = true;
  else if (amp_sheet_is_across(s))
    put_across(s, corner.s, out);
  else if (s->columns > 0)
    lay_down(s, out);
  put_notes(s, out);
  amp_buffer_free(&corner);
}

/* The text may hold "[/code]", from an offer's name: its bracket is turned
** into another character of the same width. */
void amp_write_bbcode (const amp_sheet *s, amp_buffer *out) {
  size_t from;
  amp_buffer_puts(out, "[code]\n");
  from = out->n;
  amp_write_text(s, out);
  for (size_t i = from; i + 1 < out->n; i++)
    if (out->s[i] == '[' && out->s[i + 1] == '/')
      out->s[i] = '(';
  amp_buffer_puts(out, "[/code]\n");
}
