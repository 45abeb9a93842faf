/*
** post_tail.h -- the last line of a post, by which it can be run again: name,
** arguments, settings and sums. All that it claims is either used for the run
** here, or compared with what that run says of itself.
*/
#ifndef AMPSTEAD_POST_TAIL_H
#define AMPSTEAD_POST_TAIL_H

#include "runner/post_read.h"

/*
** Read the n bytes of the line, however many lines they have become, into
** 'p', of which but 'quoted' and 'line' is set anew. False where it is no
** such line, or memory ends.
*/
bool post_tail_read (post *p, const char *s, size_t n);

/* What is not compared: the version, the script's sum, the table's. */
enum { TAIL_VERSION = 1, TAIL_SCRIPT = 2, TAIL_TABLE = 4 };

/*
** Append a sentence for each part of the post's last line that the one made
** here ('here') has not, and the other way round. Returns how many; (size_t)-1
** where memory ends.
*/
size_t post_tail_diff (const post *p, const char *here, unsigned skip,
                       runner_buffer *out);

#endif
