/*
** write.h -- one table, six ways of writing it. Bytes depend on the table
** alone: no locale, no time, no terminal.
*/
#ifndef AMP_REPORT_WRITE_H
#define AMP_REPORT_WRITE_H

#include "report/table.h"

typedef enum amp_format {
  AMP_FORMAT_TEXT,     /* aligned, at most 78 columns */
  AMP_FORMAT_MARKDOWN, /* pipe table, heads and notes around it */
  AMP_FORMAT_BBCODE,   /* [code] block of the text form: the safe one */
  AMP_FORMAT_CSV,      /* full digits, unit in the header, RFC 4180 */
  AMP_FORMAT_JSON,     /* full digits, spreads, basis, reasons */
  AMP_FORMAT_HTML      /* one page, no scripts, prints well */
} amp_format;

/* A NUL-terminated string of *n bytes for amp_free(ctx, s, *n + 1). */
amp_status amp_table_write (const amp_context *ctx, const amp_table *t,
                            amp_format format, char **out, size_t *n,
                            amp_error *err);

/* The format a file name asks for by its ending (.txt .md .bbcode .csv
** .json .html), or -1. */
int amp_format_of_path (const char *path);

#endif
