/*
** write.c -- which writer, and how its bytes reach the caller.
*/
#include "report/write.h"
#include "report/writers.h"
#include <string.h>

static void write_shown (const amp_sheet *s, amp_format format,
                         amp_buffer *out) {
  switch (format) {
  case AMP_FORMAT_MARKDOWN:
    amp_write_markdown(s, out);
    break;
  case AMP_FORMAT_BBCODE:
    amp_write_bbcode(s, out);
    break;
  case AMP_FORMAT_HTML:
    amp_write_html(s, out);
    break;
  default:
    amp_write_text(s, out);
  }
}

amp_status amp_table_write (const amp_context *ctx, const amp_table *t,
                            amp_format format, char **out, size_t *n,
                            amp_error *err) {
  amp_buffer b = {ctx, NULL, 0, 0, false};
  amp_status status = AMP_OK;
  amp_sheet s;
  if ((int)format < AMP_FORMAT_TEXT || format > AMP_FORMAT_HTML)
    return amp_failf(err, AMP_ERANGE, "format", "no such format: %d",
                     (int)format);
  if (format == AMP_FORMAT_CSV)
    amp_write_csv(t, &b);
  else if (format == AMP_FORMAT_JSON)
    amp_write_json(t, &b);
  else {
    status = amp_sheet_make(ctx, t, &s, err);
    if (status == AMP_OK)
      write_shown(&s, format, &b);
    amp_sheet_free(&s);
  }
  if (status == AMP_OK)
    return amp_buffer_take(&b, out, n, err);
  amp_buffer_free(&b);
  return status;
}

static bool same_ending (const char *path, size_t n, const char *ending) {
  size_t m = strlen(ending);
  if (n <= m)
    return false;
  for (size_t i = 0; i < m; i++) {
    char c = path[n - m + i];
    if (c >= 'A' && c <= 'Z')
      c = (char)(c - 'A' + 'a');
    if (c != ending[i])
      return false;
  }
  return true;
}

int amp_format_of_path (const char *path) {
  static const char *const ending[] = {".txt", ".md",   ".bbcode",
                                       ".csv", ".json", ".html"};
  for (size_t i = 0; path && i < sizeof ending / sizeof *ending; i++)
    if (same_ending(path, strlen(path), ending[i]))
      return (int)i; /* in the order of amp_format */
  return -1;
}
