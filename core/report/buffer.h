/*
** buffer.h -- bytes that grow, for the writers of this floor. Once memory
** gave out, every further call does nothing and 'failed' says so: writers
** look once, at the end. Not part of the interface.
*/
#ifndef AMP_REPORT_BUFFER_H
#define AMP_REPORT_BUFFER_H

#include "base/context.h"

typedef struct amp_buffer {
  const amp_context *ctx;
  char *s;
  size_t n, room;
  bool failed;
} amp_buffer;

void amp_buffer_add (amp_buffer *b, const char *s, size_t n);
void amp_buffer_puts (amp_buffer *b, const char *s);
void amp_buffer_fill (amp_buffer *b, char c, int times);
void amp_buffer_count (amp_buffer *b, size_t v);

/* 's' with control bytes and bytes that are not UTF-8 as \xNN; NULL: "" */
void amp_buffer_visible (amp_buffer *b, const char *s);

/* The same, '&', '<', '>', '"' and ''' written as HTML and XML want them. */
void amp_buffer_escaped (amp_buffer *b, const char *s);

void amp_buffer_free (amp_buffer *b);

/* Hand the bytes over, ended by NUL, in a block of *n + 1; empties 'b'. */
amp_status amp_buffer_take (amp_buffer *b, char **out, size_t *n,
                            amp_error *err);

/* Columns a terminal needs for s[0..n): one a code point, none for what
** combines, two for the wide scripts (simple ranges, Unicode TR 11). */
int amp_text_width (const char *s, size_t n);

/*
** One line of 's' that fits 'width' columns: *n bytes of it; returns where
** the next begins, or NULL when this was the last. Breaks at blanks, inside
** a word only where it alone is too long.
*/
const char *amp_text_wrap (const char *s, int width, size_t *n);

#endif
