/*
** text.h -- numbers to and from text, and CSV from memory, with no locale.
*/
#ifndef AMP_BASE_TEXT_H
#define AMP_BASE_TEXT_H

#include "base/context.h"
#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

/*
** Text into a double, exactly rounded. The whole of s[0..n) must be one
** decimal number ("12", "-0.5", "1e-3", ".5", "5."), with 'point' as its
** decimal mark; no blanks, no hex, no "inf" or "nan", no thousands marks.
** Too large: AMP_ERANGE; not a number: AMP_EDATA. *underflow (or NULL) is
** set where digits other than 0 became 0 or subnormal.
*/
amp_status amp_parse_double (const char *s, size_t n, char point,
                             double *out, bool *underflow);

/* Shortest text that reads back as the same double ("0.1", "1e+300").
** 'out' holds at least 32 bytes; returns the length. */
size_t amp_format_shortest (double v, char *out);

/* At most 'digits' significant digits, no exponent for 1e-4 <= |v| < 1e15,
** trailing zeros cut: 93.75, 0.08, 4485. 'out' at least 32 bytes. */
size_t amp_format_double (double v, int digits, char *out);

/* 'digits' significant digits kept ("21.5", "4.00", "0.830"), but never
** fewer than all digits before the point ("4485"). */
size_t amp_format_significant (double v, int digits, char *out);

/* 'decimals' digits after the point, half away from zero decided on the
** exact binary value: amp_format_fixed(4485, 2) "4485.00". */
size_t amp_format_fixed (double v, int decimals, char *out);

/* One CSV file held in memory (RFC 4180, and what people send). */
typedef struct amp_csv amp_csv;

typedef struct amp_csv_options {
  char sep;     /* 0: find out among , ; tab by the header line */
  char decimal; /* 0: '.' */
  size_t max_fields;     /* 0: 256 */
  size_t max_field_size; /* bytes; 0: 65536 */
  size_t max_rows;       /* 0: 10 million */
} amp_csv_options;

/*
** Read header and rows. Skips a UTF-8 byte order mark, takes CR LF or LF,
** quoted fields with doubled quotes, line breaks inside quotes, no final
** newline; skips blank lines. Refuses (AMP_EDATA, line and column in 'err',
** the offending text cut to 40 characters with control bytes shown as
** \xNN): empty text, NUL bytes, unclosed quotes, a field count that is not
** the header's, a column named twice, limits above. No rows: refused too
** ("no rows under the header"). The text is copied; free with amp_csv_free.
*/
amp_status amp_csv_read (const amp_context *ctx, const char *text, size_t n,
                         const amp_csv_options *opt, amp_csv **out,
                         amp_error *err);
void amp_csv_free (const amp_context *ctx, amp_csv *csv);

size_t amp_csv_rows (const amp_csv *csv);
size_t amp_csv_columns (const amp_csv *csv);
const char *amp_csv_header (const amp_csv *csv, size_t column);
/* Index of the column, or (size_t)-1. Names compare exactly, blanks at the
** ends cut. */
size_t amp_csv_find (const amp_csv *csv, const char *name);
/* The field, blanks at its ends cut, NUL-terminated; owned by 'csv'. */
const char *amp_csv_field (const amp_csv *csv, size_t row, size_t column);
/* Where it stood: line and column of its first character, from 1. */
void amp_csv_place (const amp_csv *csv, size_t row, size_t column,
                    size_t *line, size_t *char_column);
/*
** The field as a number. Empty, "-", "n/a", "?", "na" (any case): *given is
** false and *out NaN. Not a number, or thousands marks: AMP_EDATA with place
** and, where another decimal mark would make it one, that hint.
*/
amp_status amp_csv_number (const amp_csv *csv, size_t row, size_t column,
                           double *out, bool *given, amp_error *err);

/* Is all of s one of these lower-case words (the last is NULL), its own
** letters A to Z in either case? */
bool amp_text_is_one_of (const char *s, const char *const *word);

/* Copy s[0..n) into out (size bytes, always ended by NUL): control bytes,
** escapes and bytes that are not UTF-8 become \xNN; cut to 'most'
** characters with "..". Returns the length written. */
size_t amp_text_visible (const char *s, size_t n, size_t most, char *out,
                         size_t size);

#endif
