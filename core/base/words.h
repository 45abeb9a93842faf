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

#endif
