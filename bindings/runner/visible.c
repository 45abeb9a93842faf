/*
** visible.c -- what a script prints reaches the terminal as text only: no
** byte moves the cursor, changes a title, writes the clipboard, or turns the
** reading direction. Newline and tab pass, and CR LF, which ends a line of a
** CSV; the rest is shown as \xNN.
*/
#include "runner/runner.h"

static bool add_hex (runner_buffer *to, const unsigned char *s, size_t n) {
  static const char digit[] = "0123456789abcdef";
  for (size_t k = 0; k < n; k++) {
    char hex[4] = {'\\', 'x', digit[s[k] >> 4], digit[s[k] & 15]};
    if (!buffer_add(to, hex, sizeof hex))
      return false;
  }
  return true;
}

/* Bytes of the sequence that 'c' opens, 0: it opens none. */
static size_t sequence (unsigned char c) {
  if (c < 0x80)
    return 1;
  if (c >= 0xc2 && c <= 0xdf)
    return 2;
  if (c >= 0xe0 && c <= 0xef)
    return 3;
  return c >= 0xf0 && c <= 0xf4 ? 4 : 0;
}

/* Unicode code point of a whole sequence of n bytes. */
static uint32_t code_point (const unsigned char *s, size_t n) {
  static const unsigned char mask[] = {0, 0x7f, 0x1f, 0x0f, 0x07};
  uint32_t c = s[0] & mask[n];
  for (size_t k = 1; k < n; k++)
    c = c << 6 | (s[k] & 0x3f);
  return c;
}

/* Controls, line separators, and the marks that turn the direction
** (Unicode Standard Annex 9, table of explicit formatting characters). */
static bool unseen (uint32_t c) {
  return (c < 0x20 && c != '\n' && c != '\t') || (c >= 0x7f && c <= 0x9f) ||
         (c >= 0x200b && c <= 0x200f) || (c >= 0x2028 && c <= 0x202e) ||
         (c >= 0x2060 && c <= 0x206f) || c == 0x061c || c == 0xfeff ||
         (c >= 0xd800 && c <= 0xdfff) || (c >= 0xe0000 && c <= 0xe0fff) ||
         c > 0x10ffff;
}

static bool overlong (uint32_t c, size_t n) {
  return (n == 3 && c < 0x800) || (n == 4 && c < 0x10000);
}

/* One more byte; a whole sequence leaves 'held'. */
static bool add_byte (runner_visible *v, unsigned char c, runner_buffer *to) {
  uint32_t point;
  size_t want;
  if (v->n == 1 && v->held[0] == '\r' && c == '\n') {
    v->n = 0;
    return buffer_add(to, "\r\n", 2);
  }
  if (v->n > 0 && (c & 0xc0) != 0x80) { /* the sequence broke off */
    if (!visible_end(v, to))
      return false;
  }
  if (v->n > 0 && v->held[0] == '\r' && !visible_end(v, to))
    return false;
  v->held[v->n++] = c;
  if (c == '\r') /* what follows decides */
    return true;
  want = sequence(v->held[0]);
  if (want == 0)
    return visible_end(v, to);
  if (v->n < want)
    return true;
  point = code_point(v->held, want);
  if (unseen(point) || overlong(point, want))
    return visible_end(v, to);
  v->n = 0;
  return buffer_add(to, v->held, want);
}

bool visible_add (runner_visible *v, const char *data, size_t n,
                  runner_buffer *to) {
  for (size_t k = 0; k < n; k++)
    if (!add_byte(v, (unsigned char)data[k], to))
      return false;
  return true;
}

bool visible_end (runner_visible *v, runner_buffer *to) {
  size_t n = v->n;
  v->n = 0;
  return add_hex(to, v->held, n);
}
