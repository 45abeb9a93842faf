/*
** remark.h -- what a remark speaks of, by whole words of short English lists:
** of damage, or of any list of phrases. Nothing is guessed from the beginning
** of a word ("ventilated" is no vent), and a word that is denied ("no
** swelling", "leak-free") is told apart from one that is said. Words of other
** languages are in no list: such a remark is not read, which the caller says.
** Case counts for ASCII alone; typographic blanks, dashes and quotes part
** words as plain ones do. A remark is never a number: what it says is asked or
** put in doubt.
*/
#ifndef AMP_BASE_REMARK_H
#define AMP_BASE_REMARK_H

#include <stdbool.h>
#include <stddef.h>

/*
** The first word of damage (crust, leak, swollen, flooded, crash, hot,
** dropped, ..; common practice, no source) that nothing denies; NULL: none. It
** points into 's'.
**
** Denied is what "no", "not", "never", "without", "none", "free of" or "isn't"
** stands before, with nothing between but small words ("no sign of any
** swelling"), across "or", "nor" and "/" ("no leaks or dents"), and what is
** "leak-free" or "leaks: none". "0" and "zero" deny as a count alone ("0
** dents", "dents: 0"), never as the end of a number ("25.0 leaking") or the
** name of a part ("cell 0 swollen"). Any other word, a mark and "and" end a
** denial, so that what is in doubt counts as said: "not tested, swollen", "no
** longer leaking", "not leaking now", "no case swollen", "no major damage",
** "not without damage", "crack: no, two". Neither said nor denied
** are parts and properties: "water cooling", "fire blanket", "venting hose",
** "price dropped".
*/
const char *amp_remark_damage (const char *s);

/* The first word of damage that is denied; NULL: none. */
const char *amp_remark_denied (const char *s);

/* Does one of the n phrases, of words parted by blanks, stand in the remark
** and is not denied? A hyphen is a blank: "two-wire" is "two wire". */
bool amp_remark_speaks_of (const char *s, const char *const *list, size_t n);

/*
** The next part of the remark, up to a mark, into out[size]; *s moves on,
** false: there was none. What does not fit is cut.
*/
bool amp_remark_part (const char **s, char *out, size_t size);

/* Is it all of one of the short phrases that say nothing of a module's health
** ("ok", "label missing", "clean lugs"), and not in question? */
bool amp_remark_plain (const char *part);

/* The letters that begin at 'word' into out[size], cut where it is short. */
void amp_remark_word (const char *word, char *out, size_t size);

#endif
