/*
** plot.h -- a line chart as SVG: light grid, labels at the lines' ends,
** dashes besides colour, ticks from the data; a second panel below, with the
** same x, where something small is to be read beside something large.
*/
#ifndef AMP_REPORT_PLOT_H
#define AMP_REPORT_PLOT_H

#include "base/context.h"
#include "base/error.h"

typedef struct amp_line {
  const char *label;
  const double *x, *y; /* NaN breaks the line */
  size_t n;
} amp_line;

typedef struct amp_plot {
  const char *title, *x_label, *y_label; /* labels with their unit */
  const amp_line *line;
  size_t lines; /* 1 .. 8 */
  const char *note; /* one line under the chart, or NULL */
  const amp_line *below;   /* lines of the panel below, drawn thin */
  size_t below_lines;      /* 0: no panel; lines + below_lines <= 8 */
  const char *below_label; /* of its y axis */
} amp_plot;

/* A NUL-terminated string of *n bytes for amp_free(ctx, s, *n + 1). */
amp_status amp_plot_svg (const amp_context *ctx, const amp_plot *p,
                         char **out, size_t *n, amp_error *err);

/*
** The same as characters, at most 78 columns, one line of text a row and no
** blank at its end; a terminal's view of the chart. Each line by the mean of
** its points over a column of characters; ':' how far the points of a line
** that stands alone reach.
*/
amp_status amp_plot_text (const amp_context *ctx, const amp_plot *p,
                          char **out, size_t *n, amp_error *err);

#endif
