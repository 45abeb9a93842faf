/*
** plot_text.c -- a line chart as characters, for a terminal: each line by
** the mean of its points over a column; of a line that stands alone also how
** far they reach.
*/
#include "report/plot.h"
#include "report/buffer.h"
#include "base/text.h"
#include <float.h>
#include <math.h>
#include <string.h>

enum { WIDE = 66, HIGH = 15, BELOW_HIGH = 7, MARGIN = 9, MOST_LINES = 8 };

static const char marks[] = "ox*+@%&$"; /* one a line; '#': several */

/* What one line does over each column. */
typedef struct columns {
  double sum[WIDE], lo[WIDE], hi[WIDE];
  int n[WIDE];
} columns;

typedef struct panel {
  const amp_line *line;
  size_t lines;
  int rows;
  const char *mark; /* of its first line */
  double lo, hi;    /* of y */
  char cell[HIGH][WIDE];
} panel;

typedef struct chart {
  amp_buffer *out;
  double lo, hi; /* of x */
} chart;

static bool drawn (const amp_line *l, size_t i) {
  return isfinite(l->x[i]) && isfinite(l->y[i]);
}

static void x_range (const amp_line *line, size_t lines, chart *c) {
  for (size_t k = 0; k < lines; k++)
    for (size_t i = 0; i < line[k].n; i++)
      if (drawn(&line[k], i)) {
        c->lo = fmin(c->lo, line[k].x[i]);
        c->hi = fmax(c->hi, line[k].x[i]);
      }
}

static columns gather (const chart *c, const amp_line *l) {
  columns g = {.n = {0}};
  double width = c->hi > c->lo ? c->hi - c->lo : 1.0;
  for (size_t i = 0; i < l->n; i++) {
    if (!drawn(l, i))
      continue;
    int k = (int)((l->x[i] - c->lo) / width * WIDE);
    k = k < WIDE ? k : WIDE - 1;
    g.sum[k] += l->y[i];
    g.lo[k] = g.n[k] > 0 ? fmin(g.lo[k], l->y[i]) : l->y[i];
    g.hi[k] = g.n[k] > 0 ? fmax(g.hi[k], l->y[i]) : l->y[i];
    g.n[k]++;
  }
  return g;
}

/* Ends of y: of what will be drawn. */
static bool y_range (const chart *c, panel *p) {
  p->lo = DBL_MAX;
  p->hi = -DBL_MAX;
  for (size_t i = 0; i < p->lines; i++) {
    columns g = gather(c, &p->line[i]);
    for (int k = 0; k < WIDE; k++) {
      if (g.n[k] == 0)
        continue;
      p->lo = fmin(p->lo, p->lines == 1 ? g.lo[k] : g.sum[k] / g.n[k]);
      p->hi = fmax(p->hi, p->lines == 1 ? g.hi[k] : g.sum[k] / g.n[k]);
    }
  }
  return p->lo <= p->hi;
}

static int row_of (const panel *p, double v) {
  double width = p->hi > p->lo ? p->hi - p->lo : 1.0;
  int row = (int)floor((p->hi - v) / width * (p->rows - 1) + 0.5);
  return row < 0 ? 0 : row < p->rows ? row : p->rows - 1;
}

static void mark_line (panel *p, const columns *g, char mark) {
  for (int k = 0; k < WIDE; k++) {
    if (g->n[k] == 0)
      continue;
    for (int r = row_of(p, g->hi[k]);
         p->lines == 1 && r <= row_of(p, g->lo[k]); r++)
      p->cell[r][k] = ':';
    char *at = &p->cell[row_of(p, g->sum[k] / g->n[k])][k];
    *at =
        strchr(marks, *at) != NULL && *at != mark && *at != ' ' ? '#' : mark;
  }
}

static void put_number (chart *c, double v) {
  char s[64];
  size_t n = amp_format_significant(fabs(v) < 1e-12 ? 0.0 : v, 3, s);
  amp_buffer_fill(c->out, ' ', MARGIN - 2 - (int)n);
  amp_buffer_add(c->out, s, n);
  amp_buffer_puts(c->out, " ");
}

static void put_row (chart *c, const panel *p, int r) {
  int end = WIDE;
  bool told = r == 0 || r == p->rows - 1 || 2 * r == p->rows - 1;
  if (told)
    put_number(c, p->hi - (p->hi - p->lo) * r / (p->rows - 1));
  else
    amp_buffer_fill(c->out, ' ', MARGIN - 1);
  amp_buffer_puts(c->out, "|");
  while (end > 0 && p->cell[r][end - 1] == ' ')
    end--;
  amp_buffer_add(c->out, p->cell[r], (size_t)end);
  amp_buffer_puts(c->out, "\n");
}

static amp_status put_panel (chart *c, panel *p, const char *label,
                             amp_error *err) {
  bool shared = false;
  if (!y_range(c, p))
    return amp_failf(err, AMP_EREFUSED, "line", "no point to draw");
  memset(p->cell, ' ', sizeof p->cell);
  if (p->lo < 0.0 && p->hi > 0.0)
    memset(p->cell[row_of(p, 0.0)], '-', WIDE);
  for (size_t i = 0; i < p->lines; i++) {
    columns g = gather(c, &p->line[i]);
    mark_line(p, &g, p->mark[i]);
  }
  amp_buffer_visible(c->out, label);
  for (size_t i = 0; p->lines > 1 && i < p->lines; i++) {
    amp_buffer_puts(c->out, "   ");
    amp_buffer_add(c->out, &p->mark[i], 1);
    amp_buffer_puts(c->out, " ");
    amp_buffer_visible(c->out, p->line[i].label);
  }
  for (int r = 0; r < p->rows; r++)
    shared = shared || memchr(p->cell[r], '#', WIDE) != NULL;
  amp_buffer_puts(c->out, shared ? "   # several\n" : "\n");
  for (int r = 0; r < p->rows; r++)
    put_row(c, p, r);
  return AMP_OK;
}

static void put_x (chart *c, const char *label) {
  char lo[64], hi[64];
  size_t n = amp_format_significant(c->lo, 3, lo);
  size_t m = amp_format_significant(c->hi, 3, hi);
  int width = label != NULL ? amp_text_width(label, strlen(label)) : 0;
  int gap = WIDE - (int)(n + m) - width;
  amp_buffer_fill(c->out, ' ', MARGIN - 1);
  amp_buffer_puts(c->out, "+");
  amp_buffer_fill(c->out, '-', WIDE);
  amp_buffer_puts(c->out, "\n");
  amp_buffer_fill(c->out, ' ', MARGIN);
  amp_buffer_add(c->out, lo, n);
  amp_buffer_fill(c->out, ' ', gap > 2 ? gap / 2 : 1);
  amp_buffer_visible(c->out, label);
  amp_buffer_fill(c->out, ' ', gap > 2 ? gap - gap / 2 : 1);
  amp_buffer_add(c->out, hi, m);
  amp_buffer_puts(c->out, "\n");
}

amp_status amp_plot_text (const amp_context *ctx, const amp_plot *p,
                          char **out, size_t *n, amp_error *err) {
  amp_buffer b = {ctx, NULL, 0, 0, false};
  chart c = {&b, DBL_MAX, -DBL_MAX};
  panel first = {.line = p->line, .lines = p->lines, .rows = HIGH};
  panel below = {
      .line = p->below, .lines = p->below_lines, .rows = BELOW_HIGH};
  if (p->lines < 1 || p->lines > MOST_LINES ||
      p->below_lines > MOST_LINES - p->lines)
    return amp_fail(err, AMP_ERANGE, "lines",
                    (double)(p->lines + p->below_lines), 1, MOST_LINES);
  first.mark = marks;
  below.mark = marks + p->lines;
  x_range(p->line, p->lines, &c);
  x_range(p->below, p->below_lines, &c);
  amp_buffer_visible(&b, p->title);
  amp_buffer_puts(&b, "\n");
  amp_status st = put_panel(&c, &first, p->y_label, err);
  if (st == AMP_OK && p->below_lines > 0)
    st = put_panel(&c, &below, p->below_label, err);
  if (st != AMP_OK) {
    amp_buffer_free(&b);
    return st;
  }
  put_x(&c, p->x_label);
  return amp_buffer_take(&b, out, n, err);
}
