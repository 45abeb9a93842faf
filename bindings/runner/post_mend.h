/*
** post_mend.h -- what a board did to a text, undone where a checksum proves
** it. Candidates are made by undoing one kind of damage after the other and
** compared with the sum of the original: a match by chance has odds of
** 2^-128 for each.
*/
#ifndef AMPSTEAD_POST_MEND_H
#define AMPSTEAD_POST_MEND_H

#include "runner/post_read.h"

/* What was undone, to be named. */
enum {
  MENDED_ENTITIES = 1,  /* "&gt;" for ">" */
  MENDED_SPACES = 2,    /* no-break spaces */
  MENDED_UNSEEN = 4,    /* characters without width */
  MENDED_QUOTES = 8,    /* curly quotes */
  MENDED_DOTS = 16,     /* three dots in one */
  MENDED_HYPHENS = 32,  /* other hyphens and minus signs */
  MENDED_DASHES = 64,   /* dashes for hyphens */
  MENDED_TABS = 128,    /* tabs for spaces */
  MENDED_INDENT = 256,  /* blanks before every line */
  MENDED_TRAILING = 512, /* blanks at the ends of lines */
  MENDED_CRLF = 1024,   /* the original's lines ended in CR LF */
  MENDED_ORDER = 2048,  /* the original had a byte order mark */
  MENDED_FINAL = 4096,  /* the original's last line had no end */
  MENDED_BROKEN = 8192  /* lines broken at some width (post_unwrap.h) */
};

typedef enum mend_proof {
  MEND_NONE,  /* something else than what boards do was changed */
  MEND_WORDS, /* the words are the original's, its blanks are not known */
  MEND_EXACT  /* each byte is the original's */
} mend_proof;

/*
** Try to find the original of 'b', whose sums were 'sum' and, of its words,
** 'words' (NULL: not known). 'b' is replaced by the original, or by what
** comes nearest; *mended tells what was undone. Bounded: some 128 MB are
** hashed at most. Where memory ends MEND_NONE comes out and 'b' stays.
*/
mend_proof post_mend (runner_buffer *b, const char *sum, const char *words,
                      unsigned *mended);

/* Entities that boards write for the signs of a program, one level of them,
** decoded. False where memory ends. */
bool mend_entities (runner_buffer *b);

/* "curly quotes, tabs for spaces" */
void mended_text (unsigned mended, char *to, size_t size);

/* Is this the sum's text? */
bool sum_is (const char *s, size_t n, const char *sum);

#endif
