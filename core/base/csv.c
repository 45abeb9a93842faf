/*
** csv.c -- one CSV file in memory: read once, checked while it is read.
*/
#include "base/text.h"
#include <limits.h>
#include <stdint.h>
#include <string.h>

typedef struct cell {
  size_t text;           /* offset into the copied text */
  size_t line;           /* of its first character, from 1 */
  uint32_t column, size; /* character column from 1; bytes */
} cell;

struct amp_csv {
  size_t rows, columns;
  char decimal;
  char *text; /* fields one after another, each ended by a NUL */
  size_t text_size, used;
  cell *cells; /* header first, then row by row */
  size_t room, count;
};

typedef enum ending { END_FIELD, END_LINE, END_TEXT } ending;

/* The place of reading. 'at' stands before byte s[at]. */
typedef struct reader {
  const amp_context *ctx;
  amp_csv *csv;
  const char *s;
  size_t n, at, line, column;
  size_t row_at, row_line; /* where the row under way began */
  amp_csv_options opt;
  amp_error *err;
} reader;

/* ---- refusals ---- */

/* Bytes from 'at' to the end of its line. */
static size_t rest_of_line (const reader *r, size_t at) {
  size_t end = at;
  while (end < r->n && r->s[end] != '\n' && r->s[end] != '\r')
    end++;
  return end - at;
}

static amp_status at_place (amp_error *err, amp_status status, size_t line,
                            size_t column) {
  if (err != NULL) {
    err->line = line;
    err->column = column;
  }
  return status;
}

/* "what: the text there", at the given place. */
static amp_status refuse (reader *r, const char *what, size_t from,
                          size_t line, size_t column) {
  char shown[180]; /* 40 characters of at most 4 bytes */
  amp_text_visible(r->s + from, rest_of_line(r, from), 40, shown,
                   sizeof shown);
  amp_failf(r->err, AMP_EDATA, NULL, "%s: '%s'", what, shown);
  return at_place(r->err, AMP_EDATA, line, column);
}

static amp_status no_memory (reader *r) {
  return amp_failf(r->err, AMP_ENOMEM, NULL, "no memory for this table");
}

/* ---- one byte after another ---- */

static bool is_break (const reader *r) {
  return r->at < r->n && (r->s[r->at] == '\n' || r->s[r->at] == '\r');
}

static bool is_blank (const reader *r, char c) {
  return (c == ' ' || c == '\t') && c != r->opt.sep;
}

/* Step over one byte; CR LF counts as one line break, at its LF. */
static void step (reader *r) {
  char c = r->s[r->at++];
  bool ends =
      c == '\n' || (c == '\r' && !(r->at < r->n && r->s[r->at] == '\n'));
  if (ends) {
    r->line++;
    r->column = 1;
  } else if (((unsigned char)c & 0xc0u) != 0x80u)
    r->column++;
}

static void step_over_break (reader *r) {
  if (r->s[r->at] == '\r' && r->at + 1 < r->n && r->s[r->at + 1] == '\n')
    step(r);
  step(r);
}

static ending finish_field (reader *r) {
  if (r->at >= r->n)
    return END_TEXT;
  if (is_break(r)) {
    step_over_break(r);
    return END_LINE;
  }
  step(r); /* the separator */
  return END_FIELD;
}

/* ---- fields ---- */

/* Copy one byte into the cell; the pool is as long as the text, so a field
** and its NUL always fit where the field and its separator stood. */
static amp_status take (reader *r, cell *c) {
  char byte = r->s[r->at];
  if (byte == '\0')
    return refuse(r, "NUL byte", r->row_at, r->line, r->column);
  if (c->size >= r->opt.max_field_size) {
    amp_failf(r->err, AMP_EDATA, NULL,
              "a field is longer than %zu bytes (an unclosed quote?)",
              r->opt.max_field_size);
    return at_place(r->err, AMP_EDATA, c->line, c->column);
  }
  r->csv->text[r->csv->used++] = byte;
  c->size++;
  step(r);
  return AMP_OK;
}

static void skip_blanks (reader *r) {
  while (r->at < r->n && is_blank(r, r->s[r->at]))
    step(r);
}

static bool at_field_end (const reader *r) {
  return r->at >= r->n || is_break(r) || r->s[r->at] == r->opt.sep;
}

/* The inside of "..."; 'at' stands on the opening quote. */
static amp_status read_quoted (reader *r, cell *c) {
  size_t open = r->at;
  amp_status status;
  step(r);
  for (;;) {
    if (r->at >= r->n)
      return refuse(r, "a quote is not closed", open, c->line, c->column);
    if (r->s[r->at] == '"') {
      step(r);
      if (r->at >= r->n || r->s[r->at] != '"')
        break;
    }
    if ((status = take(r, c)) != AMP_OK)
      return status;
  }
  skip_blanks(r);
  if (at_field_end(r))
    return AMP_OK;
  if (r->s[r->at] == '\0')
    return refuse(r, "NUL byte", r->row_at, r->line, r->column);
  return refuse(r, "text after a closing quote", open, r->line, r->column);
}

/* What needs no second look, all at once: anything up to the field's end but
** a NUL, where the field is not too long. */
static void take_plain (reader *r, cell *c) {
  size_t at = r->at, column = r->column, n = r->n;
  const char *s = r->s;
  char sep = r->opt.sep;
  for (; at < n; at++) {
    char b = s[at];
    if (b == sep || b == '\n' || b == '\r' || b == '\0')
      break;
    column += ((unsigned char)b & 0xc0u) != 0x80u;
  }
  if (at - r->at > r->opt.max_field_size)
    return;
  c->size = (uint32_t)(at - r->at);
  memcpy(r->csv->text + r->csv->used, s + r->at, c->size);
  r->csv->used += c->size;
  r->at = at;
  r->column = column;
}

static amp_status read_plain (reader *r, cell *c) {
  take_plain(r, c);
  while (!at_field_end(r)) {
    amp_status status = take(r, c);
    if (status != AMP_OK)
      return status;
  }
  return AMP_OK;
}

static bool is_space (char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

/* Blanks at both ends go; those before a plain field are skipped already. */
static void trim (amp_csv *csv, cell *c) {
  while (c->size > 0 && is_space(csv->text[c->text + c->size - 1]))
    c->size--;
  while (c->size > 0 && is_space(csv->text[c->text])) {
    c->text++;
    c->size--;
  }
  csv->used = c->text + c->size;
  csv->text[csv->used++] = '\0';
}

static amp_status add_cell (reader *r, const cell *c) {
  amp_csv *csv = r->csv;
  if (csv->count == csv->room) {
    size_t room = csv->room > 0 ? 2 * csv->room : 256;
    cell *grown =
        room > SIZE_MAX / sizeof *grown
            ? NULL
            : amp_realloc(r->ctx, csv->cells, csv->room * sizeof *grown,
                          room * sizeof *grown);
    if (grown == NULL)
      return no_memory(r);
    csv->cells = grown;
    csv->room = room;
  }
  csv->cells[csv->count++] = *c;
  return AMP_OK;
}

static amp_status read_field (reader *r, ending *end) {
  cell c;
  amp_status status;
  skip_blanks(r);
  c = (cell){r->csv->used, r->line,
             (uint32_t)(r->column < UINT32_MAX ? r->column : UINT32_MAX), 0};
  if (r->at < r->n && r->s[r->at] == '"')
    status = read_quoted(r, &c);
  else
    status = read_plain(r, &c);
  if (status != AMP_OK)
    return status;
  trim(r->csv, &c);
  *end = finish_field(r);
  return add_cell(r, &c);
}

/* ---- rows ---- */

static void skip_blank_lines (reader *r) {
  for (;;) {
    size_t at = r->at;
    while (at < r->n && is_blank(r, r->s[at]))
      at++;
    if (at < r->n && r->s[at] != '\n' && r->s[at] != '\r')
      return;
    skip_blanks(r);
    if (r->at >= r->n)
      return;
    step_over_break(r);
  }
}

static bool is_digit (char c) {
  return c >= '0' && c <= '9';
}

/* Does the comma that parts the fields stand between digits, and no point? */
static bool has_decimal_comma (const reader *r) {
  const char *s = r->s + r->row_at;
  size_t n = rest_of_line(r, r->row_at), commas = 0;
  for (size_t i = 1; r->opt.sep == ',' && i + 1 < n; i++) {
    bool between = is_digit(s[i - 1]) && is_digit(s[i + 1]);
    if (between && s[i] == '.')
      return false;
    commas += between && s[i] == ',';
  }
  return commas > 0;
}

static amp_status refuse_count (reader *r, size_t fields) {
  char shown[180];
  amp_text_visible(r->s + r->row_at, rest_of_line(r, r->row_at), 40, shown,
                   sizeof shown);
  if (fields < r->csv->columns)
    amp_failf(r->err, AMP_EDATA, NULL, "line %zu has %zu of %zu fields: '%s'",
              r->row_line, fields, r->csv->columns, shown);
  else
    amp_failf(r->err, AMP_EDATA, NULL,
              "line %zu has %zu fields, the header %zu: '%s'%s", r->row_line,
              fields, r->csv->columns, shown,
              has_decimal_comma(r) ? ": a decimal comma?" : "");
  return at_place(r->err, AMP_EDATA, r->row_line, 1);
}

/* One line of fields; 'fields' counts them. */
static amp_status read_row (reader *r, size_t *fields) {
  ending end = END_FIELD;
  r->row_at = r->at;
  r->row_line = r->line;
  for (*fields = 0; end == END_FIELD; ++*fields) {
    amp_status status;
    if (*fields >= r->opt.max_fields) {
      amp_failf(r->err, AMP_EDATA, NULL, "line %zu has more than %zu fields",
                r->row_line, r->opt.max_fields);
      return at_place(r->err, AMP_EDATA, r->line, r->column);
    }
    if ((status = read_field(r, &end)) != AMP_OK)
      return status;
  }
  return AMP_OK;
}

/* Outside quotes on the header line, the most frequent of , ; tab. */
static char find_separator (const reader *r) {
  static const char choice[] = ",;\t";
  size_t seen[3] = {0, 0, 0}, best = 0;
  bool quoted = false;
  for (size_t i = r->at; i < r->n; i++) {
    char c = r->s[i];
    if (c == '"')
      quoted = !quoted;
    if (!quoted && (c == '\n' || c == '\r'))
      break;
    for (size_t k = 0; k < 3; k++)
      seen[k] += !quoted && c == choice[k];
  }
  for (size_t k = 1; k < 3; k++)
    if (seen[k] > seen[best])
      best = k;
  return choice[best];
}

static amp_status check_header (reader *r) {
  const amp_csv *csv = r->csv;
  for (size_t b = 1; b < csv->columns; b++)
    for (size_t a = 0; a < b; a++) {
      const char *name = amp_csv_header(csv, b);
      char shown[180];
      if (name[0] == '\0' || strcmp(name, amp_csv_header(csv, a)) != 0)
        continue;
      amp_text_visible(name, strlen(name), 40, shown, sizeof shown);
      amp_failf(r->err, AMP_EDATA, NULL,
                "column '%s' is named twice, as columns %zu and %zu", shown,
                a + 1, b + 1);
      return at_place(r->err, AMP_EDATA, csv->cells[b].line,
                      csv->cells[b].column);
    }
  return AMP_OK;
}

static amp_status read_header (reader *r) {
  amp_status status;
  r->opt.sep = r->opt.sep != 0 ? r->opt.sep : '\n'; /* tabs are blanks yet */
  skip_blank_lines(r);
  if (r->at >= r->n)
    return amp_failf(r->err, AMP_EDATA, NULL, "the text is empty");
  if (r->opt.sep == '\n')
    r->opt.sep = find_separator(r);
  if ((status = read_row(r, &r->csv->columns)) != AMP_OK)
    return status;
  return check_header(r);
}

static amp_status read_rows (reader *r) {
  for (;;) {
    size_t fields;
    amp_status status;
    skip_blank_lines(r);
    if (r->at >= r->n)
      break;
    if (r->csv->rows >= r->opt.max_rows) {
      amp_failf(r->err, AMP_EDATA, NULL, "more than %zu rows",
                r->opt.max_rows);
      return at_place(r->err, AMP_EDATA, r->line, 1);
    }
    if ((r->csv->rows & 0xfff) == 0 && amp_stopped(r->ctx))
      return amp_failf(r->err, AMP_ESTOP, NULL, "stopped while reading");
    if ((status = read_row(r, &fields)) != AMP_OK)
      return status;
    if (fields != r->csv->columns)
      return refuse_count(r, fields);
    r->csv->rows++;
  }
  if (r->csv->rows > 0)
    return AMP_OK;
  amp_failf(r->err, AMP_EDATA, NULL, "no rows under the header");
  return at_place(r->err, AMP_EDATA, r->row_line, 1);
}

/* Options with their defaults filled in. */
static amp_csv_options options_of (const amp_csv_options *given) {
  amp_csv_options o = {0};
  if (given != NULL)
    o = *given;
  o.decimal = o.decimal != 0 ? o.decimal : '.';
  o.max_fields = o.max_fields > 0 ? o.max_fields : 256;
  o.max_field_size = o.max_field_size > 0 ? o.max_field_size : 65536;
  if (o.max_field_size > UINT32_MAX / 2)
    o.max_field_size = UINT32_MAX / 2;
  o.max_rows = o.max_rows > 0 ? o.max_rows : 10000000;
  return o;
}

static amp_status read_all (reader *r) {
  amp_status status;
  if (r->n >= 3 && memcmp(r->s, "\xef\xbb\xbf", 3) == 0)
    r->at = 3; /* the byte order mark counts as no column */
  r->csv->text_size = r->n + 1;
  r->csv->text = amp_alloc(r->ctx, r->csv->text_size);
  if (r->csv->text == NULL)
    return no_memory(r);
  if ((status = read_header(r)) != AMP_OK)
    return status;
  return read_rows(r);
}

amp_status amp_csv_read (const amp_context *ctx, const char *text, size_t n,
                         const amp_csv_options *opt, amp_csv **out,
                         amp_error *err) {
  reader r = {.ctx = ctx, .s = text, .n = n, .line = 1, .column = 1};
  amp_status status;
  r.opt = options_of(opt);
  r.err = err;
  if (n == SIZE_MAX || (r.csv = amp_alloc(ctx, sizeof *r.csv)) == NULL)
    return no_memory(&r);
  r.csv->decimal = r.opt.decimal;
  if ((status = read_all(&r)) != AMP_OK) {
    amp_csv_free(ctx, r.csv);
    return status;
  }
  *out = r.csv;
  return AMP_OK;
}

void amp_csv_free (const amp_context *ctx, amp_csv *csv) {
  if (csv == NULL)
    return;
  amp_free(ctx, csv->text, csv->text_size);
  amp_free(ctx, csv->cells, csv->room * sizeof *csv->cells);
  amp_free(ctx, csv, sizeof *csv);
}

/* ---- what was read ---- */

size_t amp_csv_rows (const amp_csv *csv) {
  return csv->rows;
}

size_t amp_csv_columns (const amp_csv *csv) {
  return csv->columns;
}

const char *amp_csv_header (const amp_csv *csv, size_t column) {
  return csv->text + csv->cells[column].text;
}

size_t amp_csv_find (const amp_csv *csv, const char *name) {
  size_t n = strlen(name);
  while (n > 0 && (name[0] == ' ' || name[0] == '\t')) {
    name++;
    n--;
  }
  while (n > 0 && (name[n - 1] == ' ' || name[n - 1] == '\t'))
    n--;
  for (size_t i = 0; i < csv->columns; i++)
    if (csv->cells[i].size == n &&
        memcmp(amp_csv_header(csv, i), name, n) == 0)
      return i;
  return (size_t)-1;
}

static const cell *cell_at (const amp_csv *csv, size_t row, size_t column) {
  return &csv->cells[(row + 1) * csv->columns + column];
}

const char *amp_csv_field (const amp_csv *csv, size_t row, size_t column) {
  return csv->text + cell_at(csv, row, column)->text;
}

void amp_csv_place (const amp_csv *csv, size_t row, size_t column,
                    size_t *line, size_t *char_column) {
  const cell *c = cell_at(csv, row, column);
  *line = c->line;
  *char_column = c->column;
}

/* ---- fields as numbers ---- */

/* The ways in which people write that they do not know. */
static bool is_not_given (const char *s) {
  static const char *const word[] = {"", "-", "?", "na", "n/a", NULL};
  return amp_text_is_one_of(s, word);
}

/* What is wrong with a field that is no number, as a second half of the
** sentence. */
static const char *hint_for (const amp_csv *csv, const char *s, size_t n) {
  char other = csv->decimal == ',' ? '.' : ',';
  double v;
  if (amp_parse_double(s, n, other, &v, NULL) == AMP_OK)
    return other == ',' ? "is not a number: with decimal commas say"
                          " decimal = ',', thousands marks are not read"
                        : "is not a number: with decimal points say"
                          " decimal = '.', thousands marks are not read";
  if (n > 0 && strspn(s, "0123456789.,'+- ") == n)
    return "is not a number: thousands marks and blanks inside a number are"
           " not read";
  return "is not a number";
}

amp_status amp_csv_number (const amp_csv *csv, size_t row, size_t column,
                           double *out, bool *given, amp_error *err) {
  const cell *c = cell_at(csv, row, column);
  const char *s = csv->text + c->text, *why = NULL;
  char name[100], shown[164]; /* 24 and 40 characters */
  double v = __builtin_nan("");
  bool under = false, there = !is_not_given(s);
  amp_status status = AMP_OK;
  if (there) {
    status = amp_parse_double(s, c->size, csv->decimal, &v, &under);
    if (status == AMP_EDATA)
      why = hint_for(csv, s, c->size);
    else if (status == AMP_ERANGE)
      why = "is out of range: too large for a number";
    else if (under) {
      status = AMP_ERANGE;
      why = "is out of range: so small that it would become 0";
    }
  }
  if (status != AMP_OK) {
    const char *head = amp_csv_header(csv, column);
    amp_text_visible(head, strlen(head), 24, name, sizeof name);
    amp_text_visible(s, c->size, 40, shown, sizeof shown);
    amp_failf(err, status, NULL, "%s: '%s' %s", name, shown, why);
    return at_place(err, status, c->line, c->column);
  }
  *out = v;
  *given = there;
  return AMP_OK;
}
