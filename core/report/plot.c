/*
** plot.c -- a line chart as SVG. Positions are in pixels, x to the right
** and y down; all text is written by our own number formatting.
*/
#include "report/plot.h"
#include "report/buffer.h"
#include "base/text.h"
#include <float.h>
#include <math.h>
#include <string.h>

enum {
  WIDTH = 720,
  HEIGHT = 400,
  LEFT = 64,
  TOP = 66,
  BOTTOM = 342,
  BELOW = 42, /* from the first panel to the one below it */
  BELOW_HIGH = 130,
  MANY = 400,       /* a line of more points is drawn thin */
  RIGHT_LEAST = 24, /* margin at the right without labels */
  LABEL_CHARS = 24, /* a line's label is cut after these */
  CHAR = 7,         /* about the width of a character at 12 px */
  LABEL_STEP = 15,  /* labels stand at least this far apart */
  MOST_LINES = 8,
  TICKS = 6 /* about so many steps on an axis */
};

/* Told apart by most colour-blind readers: after M. Okabe and K. Ito, Color
** Universal Design (2008), without the yellow, from memory; the last is
** ours. Dashes besides, for print. */
static const struct {
  const char *colour, *dash;
} look[MOST_LINES] = {
    {"#0072b2", ""},        {"#d55e00", "7 3"},         {"#009e73", "2 3"},
    {"#b0508a", "9 3 2 3"}, {"#c98a00", "13 4"},        {"#3a9bd9", "4 2"},
    {"#222222", "1 3"},     {"#7a5c2e", "9 3 2 3 2 3"},
};

typedef struct axis {
  double lo, hi;   /* ends of the axis */
  double step;     /* between ticks: 1, 2 or 5 times a power of ten */
  double from, to; /* pixels of lo and hi */
} axis;

typedef struct label {
  double x, y; /* where the line ends */
  double at;   /* y of the label */
  const char *text, *colour;
} label;

typedef struct panel {
  const amp_line *line;
  size_t lines;
  size_t look; /* of its first line */
  const char *label;
  axis y;
} panel;

typedef struct chart {
  const amp_plot *p;
  amp_buffer *out;
  axis x;
  panel panel[2]; /* the second may have no lines */
  label label[MOST_LINES];
  size_t labels; /* of the panel being drawn */
} chart;

static void put (chart *c, const char *s) {
  amp_buffer_puts(c->out, s);
}

/* A position to a tenth of a pixel */
static void put_pixel (chart *c, double v) {
  char s[64];
  amp_format_fixed(v, 1, s);
  put(c, s);
}

static void put_attribute (chart *c, const char *name, double v) {
  put(c, " ");
  put(c, name);
  put(c, "=\"");
  put_pixel(c, v);
  put(c, "\"");
}

static void put_line (chart *c, const char *class, double x1, double y1,
                      double x2, double y2) {
  put(c, "<line class=\"");
  put(c, class);
  put(c, "\"");
  put_attribute(c, "x1", x1);
  put_attribute(c, "y1", y1);
  put_attribute(c, "x2", x2);
  put_attribute(c, "y2", y2);
  put(c, "/>\n");
}

static void put_text (chart *c, const char *class, double x, double y,
                      const char *s) {
  put(c, "<text class=\"");
  put(c, class);
  put(c, "\"");
  put_attribute(c, "x", x);
  put_attribute(c, "y", y);
  put(c, ">");
  amp_buffer_escaped(c->out, s);
  put(c, "</text>\n");
}

static bool drawn (const amp_line *l, size_t i) {
  return isfinite(l->x[i]) && isfinite(l->y[i]);
}

/* The largest of 1, 2, 5 times a power of ten that is no more than 'raw' */
static double round_step (double raw) {
  double p = 1.0;
  while (p * 10.0 <= raw)
    p *= 10.0;
  while (p > raw)
    p /= 10.0;
  return raw >= 5.0 * p ? 5.0 * p : raw >= 2.0 * p ? 2.0 * p : p;
}

/* Widen lo .. hi by what the lines hold. */
static void take_range (const amp_line *line, size_t lines, bool of_x,
                        double *lo, double *hi) {
  for (size_t k = 0; k < lines; k++)
    for (size_t i = 0; i < line[k].n; i++) {
      double v = of_x ? line[k].x[i] : line[k].y[i];
      if (!drawn(&line[k], i))
        continue;
      *lo = fmin(*lo, v);
      *hi = fmax(*hi, v);
    }
}

static amp_status find_range (const panel *p, int panels, bool of_x,
                              double *lo, double *hi, amp_error *err) {
  *lo = DBL_MAX;
  *hi = -DBL_MAX;
  for (int k = 0; k < panels; k++)
    take_range(p[k].line, p[k].lines, of_x, lo, hi);
  if (!(*lo <= *hi))
    return amp_failf(err, AMP_EREFUSED, "line", "no point to draw");
  if (!(fabs(*lo) <= 1e100 && fabs(*hi) <= 1e100))
    return amp_failf(err, AMP_ERANGE, of_x ? "x" : "y",
                     "numbers beyond 1e100 cannot be drawn");
  return AMP_OK;
}

/* A flat line, or one too steep for a double's digits, gets room around. */
static void widen (double *lo, double *hi) {
  double least = 1e-9 * fmax(fabs(*lo), fabs(*hi));
  double more = fabs(*lo) > 0.0 ? 0.05 * fabs(*lo) : 1.0;
  if (*hi - *lo > least && *hi - *lo > 1e-300)
    return;
  *lo -= more;
  *hi += more;
}

/* x reaches from the first to the last number, y from tick to tick; 0 is
** taken in where it is near. */
static amp_status make_axis (const panel *p, int panels, bool of_x, axis *a,
                             amp_error *err) {
  int ticks = a->from - a->to > BELOW_HIGH || of_x ? TICKS : TICKS - 1;
  amp_status status = find_range(p, panels, of_x, &a->lo, &a->hi, err);
  if (status != AMP_OK)
    return status;
  widen(&a->lo, &a->hi);
  if (!of_x && a->lo > 0.0 && a->lo < 0.3 * a->hi)
    a->lo = 0.0;
  a->step = round_step((a->hi - a->lo) / (ticks - 2));
  if (!of_x) {
    a->lo = floor(a->lo / a->step + 1e-9) * a->step;
    a->hi = ceil(a->hi / a->step - 1e-9) * a->step;
  }
  return AMP_OK;
}

static double place (const axis *a, double v) {
  return a->from + (v - a->lo) / (a->hi - a->lo) * (a->to - a->from);
}

/* Digits after the point that a tick needs: those of the step; -1 where
** numbers are so large or small that they take an exponent. */
static int decimals_of (const axis *a) {
  double largest = fmax(fabs(a->lo), fabs(a->hi));
  char s[32];
  const char *point;
  if (largest >= 1e7 || a->step < 1e-4)
    return -1;
  amp_format_double(a->step, 1, s);
  point = strchr(s, '.');
  return point ? (int)strlen(point + 1) : 0;
}

/* Across the panel 'p'; 'last': numbers stand under it. */
static void put_tick (chart *c, const panel *p, const axis *a, double v,
                      bool last) {
  char s[64];
  double at = place(a, v);
  int decimals = decimals_of(a);
  v = fabs(v) < 0.5 * a->step ? 0.0 : v; /* no "-0" */
  if (decimals >= 0)
    amp_format_fixed(v, decimals, s);
  else
    amp_format_double(v, 9, s);
  if (a == &c->x) {
    put_line(c, "grid", at, p->y.to, at, p->y.from);
    if (last)
      put_text(c, "tick middle", at, p->y.from + 17, s);
  } else {
    put_line(c, "grid", LEFT, at, c->x.to, at);
    put_text(c, "tick end", LEFT - 8, at + 4, s);
  }
}

static void put_ticks (chart *c, const panel *p, const axis *a, bool last) {
  double k = ceil(a->lo / a->step - 1e-9);
  for (int i = 0; i < 4 * TICKS; i++, k += 1.0) {
    if (k * a->step > a->hi + 1e-9 * a->step)
      break;
    put_tick(c, p, a, k * a->step, last);
  }
}

static void put_point (chart *c, const axis *y, const amp_line *l, size_t i,
                       bool first) {
  put(c, first ? "M" : " L");
  put_pixel(c, place(&c->x, l->x[i]));
  put(c, " ");
  put_pixel(c, place(y, l->y[i]));
}

/* Points from 'i' on that fall into the same half pixel, up to a gap: the
** first, the lowest, the highest and the last show all there is to see. */
static size_t put_column (chart *c, const axis *y, const amp_line *l,
                          size_t i, bool first) {
  double column = floor(2.0 * place(&c->x, l->x[i]));
  size_t low = i, high = i, end = i;
  for (; end < l->n && drawn(l, end); end++) {
    if (floor(2.0 * place(&c->x, l->x[end])) < column ||
        floor(2.0 * place(&c->x, l->x[end])) > column)
      break;
    low = l->y[end] < l->y[low] ? end : low;
    high = l->y[end] > l->y[high] ? end : high;
  }
  put_point(c, y, l, i, first);
  if (low > high) {
    size_t kept = low;
    low = high;
    high = kept;
  }
  if (low > i)
    put_point(c, y, l, low, false);
  if (high > low)
    put_point(c, y, l, high, false);
  if (end - 1 > high)
    put_point(c, y, l, end - 1, false);
  return end;
}

static void put_path (chart *c, const panel *p, size_t k) {
  const amp_line *l = &p->line[k];
  const char *colour = look[p->look + k].colour;
  const char *dash = p->look > 0 ? "" : look[k].dash;
  bool first = true, any = false;
  size_t last = 0;
  put(c, l->n > MANY ? "<path class=\"line thin\" stroke=\""
                     : "<path class=\"line\" stroke=\"");
  put(c, colour);
  put(c, *dash ? "\" stroke-dasharray=\"" : "");
  put(c, dash);
  put(c, "\" d=\"");
  for (size_t i = 0; i < l->n;) {
    if (drawn(l, i)) {
      put(c, first && any ? " " : "");
      i = put_column(c, &p->y, l, i, first);
      last = i - 1;
      first = false;
      any = true;
    } else {
      first = true;
      i++;
    }
  }
  put(c, "\"/>\n");
  if (any && l->label && *l->label) {
    label e = {place(&c->x, l->x[last]), place(&p->y, l->y[last]), 0.0,
               l->label, colour};
    c->label[c->labels++] = e;
  }
}

/* Order by height, then push down what stands too close, then back up what
** fell out below. */
static void spread_labels (chart *c, double bottom) {
  label *l = c->label;
  for (size_t i = 1; i < c->labels; i++) {
    label kept = l[i];
    size_t j = i;
    for (; j > 0 && l[j - 1].y > kept.y; j--)
      l[j] = l[j - 1];
    l[j] = kept;
  }
  for (size_t i = 0; i < c->labels; i++) {
    l[i].at = l[i].y;
    if (i > 0)
      l[i].at = fmax(l[i].at, l[i - 1].at + LABEL_STEP);
  }
  for (size_t i = c->labels; i-- > 0;) {
    double most = i + 1 < c->labels ? l[i + 1].at - LABEL_STEP : bottom;
    l[i].at = fmin(l[i].at, most);
  }
}

static void put_label (chart *c, const label *l) {
  char s[4 * LABEL_CHARS + 8];
  double x = c->x.to + 12.0;
  amp_text_visible(l->text, strlen(l->text), LABEL_CHARS, s, sizeof s);
  if (fabs(l->at - l->y) > 3.0 || x - l->x > 16.0)
    put_line(c, "lead", l->x + 2.0, l->y, x - 3.0, l->at);
  put(c, "<text class=\"name\" style=\"fill:");
  put(c, l->colour);
  put(c, "\"");
  put_attribute(c, "x", x);
  put_attribute(c, "y", l->at + 4.0);
  put(c, ">");
  amp_buffer_escaped(c->out, s);
  put(c, "</text>\n");
}

static double right_margin (const chart *c) {
  double most = RIGHT_LEAST;
  for (int i = 0; i < 2; i++)
    for (size_t k = 0; k < c->panel[i].lines; k++) {
      const char *s = c->panel[i].line[k].label;
      int n = s != NULL ? amp_text_width(s, strlen(s)) : 0;
      most = fmax(most, n == 0 ? 0.0 : 24.0 + CHAR * fmin(n, LABEL_CHARS));
    }
  return most;
}

static const char style[] =
    "<style>text{font:12px system-ui,sans-serif;fill:#4a5560}"
    ".title{font-size:15px;font-weight:600;fill:#1d2329}"
    ".middle{text-anchor:middle}.end{text-anchor:end}"
    ".grid{stroke:#e3e7ea}.axis{stroke:#7a858f}"
    ".lead{stroke:#aab3ba;stroke-dasharray:1 2}"
    ".line{fill:none;stroke-width:2;stroke-linejoin:round}.thin{stroke-width:"
    "1}"
    ".name{font-weight:600}</style>\n";

static void put_frame (chart *c) {
  const amp_plot *p = c->p;
  bool note = p->note && *p->note;
  int panels = p->below_lines > 0 ? HEIGHT + BELOW + BELOW_HIGH : HEIGHT;
  int height = panels + (note ? 22 : 0);
  put(c, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"720\" height=\"");
  amp_buffer_count(c->out, (size_t)height);
  put(c, "\" viewBox=\"0 0 720 ");
  amp_buffer_count(c->out, (size_t)height);
  put(c, "\" role=\"img\">\n<title>");
  amp_buffer_escaped(c->out, p->title);
  put(c, "</title>\n");
  put(c, style);
  put(c, "<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n");
  put_text(c, "title", LEFT - 44, 26, p->title ? p->title : "");
  put_text(c, "what end", c->x.to, panels - HEIGHT + BOTTOM + 38,
           p->x_label ? p->x_label : "");
  if (note)
    put_text(c, "note", LEFT - 44, panels + 8, p->note);
}

static void draw_panel (chart *c, const panel *p, bool last) {
  put_text(c, "what", LEFT - 44, p->y.to - 14, p->label ? p->label : "");
  put_ticks(c, p, &p->y, false);
  put_ticks(c, p, &c->x, last);
  put_line(c, "axis", LEFT, p->y.from, c->x.to, p->y.from);
  if (p->look > 0 && p->y.lo < 0.0 && p->y.hi > 0.0) /* what 0 means */
    put_line(c, "axis", LEFT, place(&p->y, 0.0), c->x.to, place(&p->y, 0.0));
  c->labels = 0;
  for (size_t k = 0; k < p->lines; k++)
    put_path(c, p, k);
  spread_labels(c, p->y.from);
  for (size_t i = 0; i < c->labels; i++)
    put_label(c, &c->label[i]);
}

static void draw (chart *c) {
  bool below = c->panel[1].lines > 0;
  put_frame(c);
  draw_panel(c, &c->panel[0], !below);
  if (below)
    draw_panel(c, &c->panel[1], true);
  put(c, "</svg>\n");
}

static void set_panels (chart *c, const amp_plot *p) {
  panel first = {.line = p->line, .lines = p->lines, .label = p->y_label};
  panel below = {.line = p->below,
                 .lines = p->below_lines,
                 .look = p->lines,
                 .label = p->below_label};
  first.y.from = BOTTOM;
  first.y.to = TOP;
  below.y.from = BOTTOM + BELOW + BELOW_HIGH;
  below.y.to = BOTTOM + BELOW;
  c->panel[0] = first;
  c->panel[1] = below;
}

amp_status amp_plot_svg (const amp_context *ctx, const amp_plot *p,
                         char **out, size_t *n, amp_error *err) {
  amp_buffer b = {ctx, NULL, 0, 0, false};
  chart c;
  amp_status status;
  memset(&c, 0, sizeof c);
  if (p->lines < 1 || p->lines > MOST_LINES ||
      p->below_lines > MOST_LINES - p->lines)
    return amp_fail(err, AMP_ERANGE, "lines",
                    (double)(p->lines + p->below_lines), 1, MOST_LINES);
  set_panels(&c, p);
  status = make_axis(c.panel, 2, true, &c.x, err);
  for (int i = 0; i < 2 && status == AMP_OK; i++)
    if (c.panel[i].lines > 0)
      status = make_axis(&c.panel[i], 1, false, &c.panel[i].y, err);
  if (status != AMP_OK)
    return status;
  c.p = p;
  c.out = &b;
  c.x.from = LEFT;
  c.x.to = WIDTH - right_margin(&c);
  draw(&c);
  return amp_buffer_take(&b, out, n, err);
}
