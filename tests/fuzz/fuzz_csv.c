/*
** fuzz_csv.c -- the CSV reader and what stands on it (numbers, dates, lots of
** readings) on bytes of anybody's. Besides not crashing: what is read twice
** is the same, every field that is there can be asked for, a refusal says
** why, and nothing stays allocated.
*/
#include "base/text.h"
#include "pack/readings.h"
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define HOLD(what)                                                           \
  do {                                                                       \
    if (!(what))                                                             \
      abort();                                                               \
  } while (0)

static void *count (void *user, void *old, size_t old_size, size_t new_size) {
  size_t *bytes = user;
  void *p = NULL;
  HOLD((old == NULL) == (old_size == 0));
  if (new_size == 0)
    free(old);
  else if ((p = realloc(old, new_size)) == NULL)
    abort();
  *bytes += new_size - old_size;
  return p;
}

static void same_words (const char *a, const char *b) {
  HOLD(a != NULL && b != NULL && strcmp(a, b) == 0);
}

/* A number of a field is what the number reader alone makes of it. */
static void check_number (const amp_csv *csv, size_t row, size_t col,
                          char decimal) {
  const char *s = amp_csv_field(csv, row, col);
  double v = 0.0, alone = 0.0;
  bool given = false;
  amp_error err = {0};
  if (amp_csv_number(csv, row, col, &v, &given, &err) != AMP_OK) {
    HOLD(err.status != AMP_OK && err.line >= 1 && err.column >= 1);
    return;
  }
  HOLD(given ? isfinite(v) : isnan(v));
  if (!given)
    return;
  HOLD(amp_parse_double(s, strlen(s), decimal, &alone, NULL) == AMP_OK);
  HOLD(alone == v);
}

static void check_fields (const amp_csv *a, const amp_csv *b, char decimal) {
  size_t rows = amp_csv_rows(a), cols = amp_csv_columns(a), line, at;
  HOLD(rows == amp_csv_rows(b) && cols == amp_csv_columns(b) && rows > 0);
  for (size_t c = 0; c < cols; c++) {
    same_words(amp_csv_header(a, c), amp_csv_header(b, c));
    HOLD(amp_csv_find(a, amp_csv_header(a, c)) <= c);
  }
  for (size_t r = 0; r < rows && r < 200; r++)
    for (size_t c = 0; c < cols; c++) {
      same_words(amp_csv_field(a, r, c), amp_csv_field(b, r, c));
      amp_csv_place(a, r, c, &line, &at);
      HOLD(line >= 2 && at >= 1);
      check_number(a, r, c, decimal);
    }
}

static void read_table (const amp_context *ctx, const char *text, size_t n,
                        const amp_csv_options *o) {
  amp_csv *a = NULL, *b = NULL;
  amp_error err = {0}, again = {0};
  amp_status st = amp_csv_read(ctx, text, n, o, &a, &err);
  HOLD(st == amp_csv_read(ctx, text, n, o, &b, &again));
  if (st == AMP_OK)
    check_fields(a, b, o->decimal != 0 ? o->decimal : '.');
  else {
    HOLD(err.status == st && (err.text[0] != '\0' || err.field != NULL));
    same_words(err.text, again.text);
  }
  amp_csv_free(ctx, a);
  amp_csv_free(ctx, b);
}

static void read_lot (const amp_context *ctx, const char *text, size_t n,
                      const amp_csv_options *o) {
  amp_readings_options opt = {.sep = o->sep, .decimal = o->decimal};
  amp_lot lot = {0};
  amp_error err = {0};
  lot.chemistry = amp_chemistry_find("nmc111");
  lot.groups = 7;
  lot.nameplate = 60.0 * 3600.0;
  if (amp_lot_read(ctx, text, n, &opt, &lot, &err) != AMP_OK)
    HOLD(err.text[0] != '\0' || err.field != NULL);
  amp_lot_free(ctx, &lot);
}

static void show (const char *text, size_t n) {
  char out[300];
  size_t len = amp_text_visible(text, n, 60, out, sizeof out);
  HOLD(len < sizeof out && out[len] == '\0');
  for (size_t k = 0; k < len; k++)
    HOLD((unsigned char)out[k] >= 0x20 && out[k] != 0x7f);
}

static void read_day (const char *text, size_t n) {
  char s[64];
  double day = 0.0;
  amp_error err;
  n = n < sizeof s - 1 ? n : sizeof s - 1;
  memcpy(s, text, n);
  s[n] = '\0';
  if (amp_parse_day(s, &day, &err) == AMP_OK)
    HOLD(isfinite(day));
}

int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n);
int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n) {
  static const char seps[] = {0, ',', ';', '\t', ' ', '|', '"', '\n'};
  size_t bytes = 0;
  amp_context ctx = *amp_context_or_plain(NULL);
  amp_csv_options o = {0};
  const char *text = (const char *)data + 1;
  if (n < 1)
    return 0;
  ctx.user = &bytes;
  ctx.alloc = count;
  o.sep = seps[data[0] & 7];
  o.decimal = data[0] & 8 ? ',' : data[0] & 16 ? '.' : 0;
  o.max_rows = data[0] & 32 ? 3 : 0;
  o.max_field_size = data[0] & 64 ? 8 : 0;
  read_table(&ctx, text, n - 1, &o);
  read_lot(&ctx, text, n - 1, &o);
  show(text, n - 1);
  read_day(text, n - 1);
  HOLD(bytes == 0);
  return 0;
}
