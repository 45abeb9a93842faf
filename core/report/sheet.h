/*
** sheet.h -- what a reader is shown of a table: every cell as text, with
** its mark and its spread; which columns have anything to say; why cells
** were refused. One place decides it, so that text, Markdown, BBCode and
** HTML agree. Not part of the interface.
*/
#ifndef AMP_REPORT_SHEET_H
#define AMP_REPORT_SHEET_H

#include "report/buffer.h"
#include "report/table.h"

typedef struct amp_shown {
  size_t value, spread; /* offsets into the pool; "" where none */
  char mark;            /* ' ', '\'' or '?' */
} amp_shown;

typedef struct amp_sheet {
  const amp_table *t;
  const amp_context *ctx;
  amp_buffer pool; /* strings, each ended by NUL; offset 0 is "" */
  int rows, columns, room;
  int *column;           /* index in the table */
  size_t *label;         /* of each column, with its unit where it helps */
  bool *spread;          /* whether any cell of the column has one */
  bool *words;           /* the column is of kind TEXT */
  int heading;           /* which column names the rows, or -1 */
  size_t *name;          /* of each row */
  amp_shown *cell;       /* row by row */
  bool claimed, assumed; /* a mark occurs */
} amp_sheet;

/* AMP_OK or AMP_ENOMEM; free it in both cases. */
amp_status amp_sheet_make (const amp_context *ctx, const amp_table *t,
                           amp_sheet *out, amp_error *err);
void amp_sheet_free (amp_sheet *s);

const char *amp_sheet_text (const amp_sheet *s, size_t offset);
const amp_shown *amp_sheet_cell (const amp_sheet *s, int row, int column);

/* Laid across: set, with rows to lay and a column besides the headings. */
bool amp_sheet_is_across (const amp_sheet *s);

/* "' rests on a claim   ? rests ...", or nothing. */
void amp_sheet_legend (const amp_sheet *s, amp_buffer *out);

/*
** Reason number 'i' for which cells were refused, with the places: "no
** series count fits (H2: days, years and 5 more)". False: no such reason.
*/
bool amp_sheet_reason (const amp_sheet *s, int i, amp_buffer *out);

/* The number as a reader sees it: "4485.00", "21.5", ">15", "50 %", "-". */
void amp_show_number (amp_buffer *b, amp_column_kind kind, double v,
                      bool beyond);

bool amp_cell_has_spread (const amp_cell_data *c);
bool amp_cell_is_empty (const amp_cell_data *c); /* no value, no text */

#endif
