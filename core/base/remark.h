/*
** remark.h -- what a remark speaks of, by the beginnings of its words: of
** damage, or of any list. ASCII without case; a byte above 0x7f is a letter.
** A remark is never a number: what it says is asked or put in doubt.
*/
#ifndef AMP_BASE_REMARK_H
#define AMP_BASE_REMARK_H

#include <stdbool.h>
#include <stddef.h>

/*
** The first word of damage (crust, leak, swollen, flood, crash, ..; common
** practice, no source) that no "no" stands before, at most two words back and
** without a mark between; NULL: none. It points into 's'.
*/
const char *amp_remark_damage (const char *s);

/* Does one of the n phrases begin at a word of the remark? */
bool amp_remark_speaks_of (const char *s, const char *const *list, size_t n);

/* The letters that begin at 'word' into out[size], cut where it is short. */
void amp_remark_word (const char *word, char *out, size_t size);

#endif
