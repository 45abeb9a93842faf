/*
** words.h -- what is left of a text after a bulletin board had it.
*/
#ifndef AMP_BASE_WORDS_H
#define AMP_BASE_WORDS_H

#include <stddef.h>

/*
** The words of a text: two texts have the same ones where they differ in
** nothing but what boards, mail and editors change without being asked.
** Blanks (tab, no-break space and the other spaces of Unicode) count as one
** space in a line and as nothing at its ends; empty lines, CR, the byte
** order mark, soft hyphens and characters without width are left out; curly
** quotes count as straight ones, three dots in one as "...", the minus sign
** and the hard hyphen as "-", a dash of either length as "--", which is what
** it most often was in a program. Each line left ends in one newline.
**
** 'out' has room for n + 1 bytes; returns how many were written. What the
** bytes mean in any language is not looked at; broken UTF-8 stays as it is.
*/
size_t amp_words (const char *s, size_t n, char *out);

/* What amp_words takes for something else, in classes to choose from. */
enum {
  AMP_FOLD_SPACES = 1,   /* no-break space and the others: " " */
  AMP_FOLD_UNSEEN = 2,   /* without width, soft hyphen, order mark: nothing */
  AMP_FOLD_QUOTES = 4,   /* curly: straight */
  AMP_FOLD_DOTS = 8,     /* three in one: "..." */
  AMP_FOLD_HYPHENS = 16, /* hard hyphen, minus: "-" */
  AMP_FOLD_EN = 32,      /* the shorter dash: "--" */
  AMP_FOLD_EM = 64,      /* the longer dash: "--" */
  AMP_FOLD_ALL = 127
};

/* The text with those classes folded and all else kept; 'out' has room for n
** bytes and may be 's'. Returns how many were written. */
size_t amp_fold (const char *s, size_t n, unsigned classes, char *out);

#endif
