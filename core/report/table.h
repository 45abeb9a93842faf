/*
** table.h -- a table as data: typed columns with unit and kind, cells with
** value, spread, basis and reason, sentences above it and below it. Writers
** (report/write.h) make text, Markdown, BBCode, CSV, JSON and HTML of the
** same object. Knows nothing of batteries or money. Strings are copied;
** opaque because it grows. UTF-8 throughout.
*/
#ifndef AMP_REPORT_TABLE_H
#define AMP_REPORT_TABLE_H

#include "base/context.h"
#include "base/value.h"

typedef enum amp_column_kind {
  AMP_COLUMN_TEXT,   /* words, to the left */
  AMP_COLUMN_NUMBER, /* three significant digits */
  AMP_COLUMN_MONEY,  /* two decimals */
  AMP_COLUMN_COUNT,  /* whole numbers */
  AMP_COLUMN_SHARE   /* 0..1 as whole percent, "50 %" */
} amp_column_kind;

typedef struct amp_cell_data {
  double value;      /* NaN: none */
  double low, high;  /* P10, P90; NaN: no spread */
  amp_basis basis;
  bool beyond;       /* the value is a bound: prints ">15" */
  bool high_beyond;  /* the same of 'high': "8.9 .. >15" */
  const char *text;  /* AMP_COLUMN_TEXT, or shown in place of the number
                        ("10 of 12"); NULL: none */
  const char *why;   /* reason of a refused cell, or a remark; NULL: none */
} amp_cell_data;

typedef struct amp_table amp_table;

/* NULL: no memory. What 'ctx' lends has to outlive the table; title NULL:
** none. */
amp_table *amp_table_new (const amp_context *ctx, const char *title);
void amp_table_free (amp_table *t);
amp_table *amp_table_copy (const amp_table *t);

/*
** key "years", label "years to SoH 60 %", unit "EUR/kWh" or "". Returns the
** column's index or -1 (no memory, or the key stands already). Rows must not
** have begun.
*/
int amp_table_add_column (amp_table *t, const char *key, const char *label,
                          const char *unit, amp_column_kind kind);
/* Hidden columns are data only: CSV, JSON and code see them. */
void amp_table_hide_column (amp_table *t, int column, bool hidden);

/* The spread of a folded column is data only: CSV, JSON and code see it. */
void amp_table_fold_column (amp_table *t, int column, bool folded);

/* A new empty row (all cells NaN); index, or -1: no memory. */
int amp_table_add_row (amp_table *t);
/* A cell, its texts copied. False: no memory, or no such cell. */
bool amp_table_set (amp_table *t, int row, int column,
                    const amp_cell_data *cell);
/* Sentences: first what decides, then what it rests on. False: no memory. */
bool amp_table_add_head (amp_table *t, const char *line);
bool amp_table_add_note (amp_table *t, const char *label, const char *line);
void amp_table_drop_note (amp_table *t, int i); /* those after it move up */
/* True: rows become columns in text, Markdown, BBCode and HTML; the column
** of kind TEXT that comes first gives the headings. */
void amp_table_set_across (amp_table *t, bool across);
/* "EUR, P50 (P10 .. P90)": top left corner of a table laid across. */
void amp_table_set_corner (amp_table *t, const char *corner);
bool amp_table_across (const amp_table *t);
const char *amp_table_corner (const amp_table *t); /* "" where none is set */
bool amp_table_hidden (const amp_table *t, int column);
bool amp_table_folded (const amp_table *t, int column);

const char *amp_table_title (const amp_table *t);
int amp_table_rows (const amp_table *t);
int amp_table_columns (const amp_table *t);
int amp_table_find (const amp_table *t, const char *key); /* or -1 */
const char *amp_table_key (const amp_table *t, int column);
const char *amp_table_label (const amp_table *t, int column);
const char *amp_table_unit (const amp_table *t, int column);
amp_column_kind amp_table_kind (const amp_table *t, int column);
/* NULL outside. Owned by the table, valid until it next changes. */
const amp_cell_data *amp_table_get (const amp_table *t, int row, int column);
int amp_table_heads (const amp_table *t);
const char *amp_table_head (const amp_table *t, int i);
int amp_table_notes (const amp_table *t);
const char *amp_table_note (const amp_table *t, int i, const char **label);

/* A new table with these rows in this order (indices may repeat) and these
** columns (NULL: all); titles, heads and notes come along. */
amp_table *amp_table_select (const amp_table *t, const int *row, int rows,
                             const int *column, int columns);

/* Row order by a column: numbers by value, text by bytes, nothing last in
** both directions, equal rows keep their order. order[rows] is filled. */
void amp_table_order (const amp_table *t, int column, bool down, int *order);

#endif
