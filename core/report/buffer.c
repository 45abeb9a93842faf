/*
** buffer.c -- growing bytes, the width of UTF-8 text, and wrapping.
*/
#include "report/buffer.h"
#include "base/text.h"
#include <string.h>

static bool make_room (amp_buffer *b, size_t n) {
  size_t room = b->room ? b->room : 256;
  char *s;
  if (b->failed || n >= (size_t)-1 / 4 - b->n)
    b->failed = true;
  if (b->failed || b->n + n <= b->room)
    return !b->failed;
  while (room < b->n + n)
    room *= 2;
  s = amp_realloc(b->ctx, b->s, b->room, room);
  if (!s) {
    b->failed = true;
    return false;
  }
  b->s = s;
  b->room = room;
  return true;
}

void amp_buffer_add (amp_buffer *b, const char *s, size_t n) {
  if (n == 0 || !make_room(b, n))
    return;
  memcpy(b->s + b->n, s, n);
  b->n += n;
}

void amp_buffer_puts (amp_buffer *b, const char *s) {
  amp_buffer_add(b, s, strlen(s));
}

void amp_buffer_fill (amp_buffer *b, char c, int times) {
  for (; times > 0; times--)
    amp_buffer_add(b, &c, 1);
}

void amp_buffer_count (amp_buffer *b, size_t v) {
  char digit[24];
  size_t at = sizeof digit;
  do {
    digit[--at] = (char)('0' + v % 10);
    v /= 10;
  } while (v > 0);
  amp_buffer_add(b, digit + at, sizeof digit - at);
}

void amp_buffer_visible (amp_buffer *b, const char *s) {
  size_t n = s ? strlen(s) : 0;
  size_t most = 4 * n + 8; /* \xNN is four bytes for one */
  if (n == 0 || !make_room(b, most))
    return;
  b->n += amp_text_visible(s, n, most, b->s + b->n, most);
}

static const char *entity (char c) {
  switch (c) {
  case '&':
    return "&amp;";
  case '<':
    return "&lt;";
  case '>':
    return "&gt;";
  case '"':
    return "&quot;";
  case '\'':
    return "&#39;";
  default:
    return NULL;
  }
}

void amp_buffer_escaped (amp_buffer *b, const char *s) {
  amp_buffer seen = {b->ctx, NULL, 0, 0, false};
  amp_buffer_visible(&seen, s);
  for (size_t i = 0; i < seen.n; i++) {
    const char *e = entity(seen.s[i]);
    if (e)
      amp_buffer_puts(b, e);
    else
      amp_buffer_add(b, seen.s + i, 1);
  }
  b->failed = b->failed || seen.failed;
  amp_buffer_free(&seen);
}

void amp_buffer_free (amp_buffer *b) {
  amp_free(b->ctx, b->s, b->room);
  b->s = NULL;
  b->n = b->room = 0;
}

amp_status amp_buffer_take (amp_buffer *b, char **out, size_t *n,
                            amp_error *err) {
  char *s = NULL;
  amp_buffer_add(b, "", 1);
  if (!b->failed)
    s = amp_realloc(b->ctx, b->s, b->room, b->n);
  if (!s) {
    amp_buffer_free(b);
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the output");
  }
  *out = s;
  *n = b->n - 1;
  b->s = NULL;
  b->n = b->room = 0;
  return AMP_OK;
}

/* The code point at s[0..n) and its bytes; a stray byte stands for itself. */
static size_t decode (const char *s, size_t n, unsigned long *code) {
  unsigned char c = (unsigned char)s[0];
  size_t more = c >= 0xf0 ? 3 : c >= 0xe0 ? 2 : c >= 0xc0 ? 1 : 0;
  *code = more == 3 ? c & 7u : more == 2 ? c & 15u : more ? c & 31u : c;
  if (more >= n)
    return 1;
  for (size_t i = 1; i <= more; i++) {
    if (((unsigned char)s[i] & 0xc0) != 0x80)
      return 1;
    *code = *code << 6 | ((unsigned char)s[i] & 0x3fu);
  }
  return more + 1;
}

/* Width 0 and 2: the large blocks of Unicode TR 11 and the combining marks
** of Latin text; from memory. */
static int code_width (unsigned long c) {
  static const struct {
    unsigned long lo, hi;
    int width;
  } range[] = {
      {0x300, 0x36f, 0},     {0x1100, 0x115f, 2}, {0x200b, 0x200f, 0},
      {0x20d0, 0x20ff, 0},   {0x2e80, 0xa4cf, 2}, {0xac00, 0xd7a3, 2},
      {0xf900, 0xfaff, 2},   {0xfe00, 0xfe0f, 0}, {0xfe30, 0xfe6f, 2},
      {0xff00, 0xff60, 2},   {0xffe0, 0xffe6, 2}, {0x1f300, 0x1faff, 2},
      {0x20000, 0x3fffd, 2},
  };
  for (size_t i = 0; i < sizeof range / sizeof *range; i++)
    if (c >= range[i].lo && c <= range[i].hi)
      return range[i].width;
  return 1;
}

int amp_text_width (const char *s, size_t n) {
  int width = 0;
  for (size_t i = 0; i < n;) {
    unsigned long code;
    i += decode(s + i, n - i, &code);
    width += code_width(code);
  }
  return width;
}

/* Bytes of 's' that fill at most 'width' columns, at least one character.
** Looks no further, so that wrapping a long text takes time as its length.
*/
static size_t bytes_that_fit (const char *s, int width) {
  size_t i = 0;
  int used = 0;
  while (s[i]) {
    unsigned long code;
    size_t left = 1;
    while (left < 4 && s[i + left])
      left++;
    left = decode(s + i, left, &code);
    used += code_width(code);
    if (used > width && i > 0)
      break;
    i += left;
  }
  return i;
}

const char *amp_text_wrap (const char *s, int width, size_t *n) {
  size_t fit = bytes_that_fit(s, width);
  size_t cut = fit;
  *n = fit;
  if (!s[fit])
    return NULL;
  while (cut > 0 && s[cut] != ' ')
    cut--;
  while (cut > 0 && s[cut - 1] == ' ')
    cut--;
  *n = cut > 0 ? cut : fit;
  s += *n;
  while (*s == ' ')
    s++;
  return *s ? s : NULL;
}
