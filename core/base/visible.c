/*
** visible.c -- foreign text made fit for a message: nothing in it moves a
** cursor, rings a bell, turns the writing direction or breaks UTF-8.
*/
#include "base/text.h"
#include <stdint.h>
#include <string.h>

/* Bytes of the UTF-8 character at s[0..n), n >= 1, and its code; 0 where the
** bytes are none (cut short, overlong, a surrogate, above U+10FFFF). */
static size_t character (const unsigned char *s, size_t n, uint32_t *code) {
  static const uint32_t least[] = {0, 0, 0x80, 0x800, 0x10000};
  size_t len = s[0] < 0x80              ? 1
               : (s[0] & 0xe0u) == 0xc0 ? 2
               : (s[0] & 0xf0u) == 0xe0 ? 3
               : (s[0] & 0xf8u) == 0xf0 ? 4
                                        : 0;
  if (len == 0 || len > n)
    return 0;
  *code = len == 1 ? s[0] : s[0] & (0x7fu >> len);
  for (size_t i = 1; i < len; i++) {
    if ((s[i] & 0xc0u) != 0x80)
      return 0;
    *code = *code << 6 | (s[i] & 0x3fu);
  }
  if (*code < least[len] || *code > 0x10ffff || (*code >> 11) == 0x1b)
    return 0;
  return len;
}

/* Control characters, and the marks that turn the writing direction. */
static bool is_hidden (uint32_t code) {
  return code < 0x20 || (code >= 0x7f && code < 0xa0) ||
         (code >= 0x200e && code <= 0x200f) ||
         (code >= 0x2028 && code <= 0x202e) ||
         (code >= 0x2066 && code <= 0x2069);
}

/* One character of s as it is, or one byte as \xNN; bytes taken from s. */
static size_t show (const unsigned char *s, size_t n, char *to, size_t *len) {
  static const char hex[] = "0123456789abcdef";
  uint32_t code = 0;
  size_t took = character(s, n, &code);
  if (took > 0 && !is_hidden(code)) {
    memcpy(to, s, took);
    *len = took;
    return took;
  }
  memcpy(to, "\\x", 2);
  to[2] = hex[s[0] >> 4];
  to[3] = hex[s[0] & 15];
  *len = 4;
  return 1;
}

size_t amp_text_visible (const char *s, size_t n, size_t most, char *out,
                         size_t size) {
  const unsigned char *from = (const unsigned char *)s;
  size_t at = 0, len = 0, shown = 0, keep = 0; /* keep: room for ".." left */
  if (size == 0)
    return 0;
  while (at < n) {
    char one[4];
    size_t one_len, took = show(from + at, n - at, one, &one_len);
    size_t width = took == 1 && one_len == 4 ? 4 : 1;
    if (shown + 2 <= most && len + 3 <= size)
      keep = len;
    if (shown + width > most || len + one_len + 1 > size) {
      bool room = keep + 3 <= size && most >= 2;
      len = room ? keep + 2 : keep;
      memcpy(out + keep, "..", room ? 2 : 0);
      break;
    }
    memcpy(out + len, one, one_len);
    len += one_len;
    shown += width;
    at += took;
  }
  out[len] = '\0';
  return len;
}
