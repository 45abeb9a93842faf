/*
** post_diff.h -- two tables as text, cell by cell: which rows and columns
** differ, and by how much.
*/
#ifndef AMPSTEAD_POST_DIFF_H
#define AMPSTEAD_POST_DIFF_H

#include "runner/runner.h"

enum { DIFF_SHOWN = 20 }; /* differences that are written out */

/*
** Append a sentence, ended by a newline, for each difference between the
** table that was posted and the one that came out here; at most DIFF_SHOWN
** of them, then how many more. Rules and empty lines do not count, nor do
** blanks as far as a board changes them in all of a table (post_blanks.h);
** *lost: it did so, and in which column a cell stood is not known. Returns
** how many differences there are; (size_t)-1 where memory ends. Lines are
** compared in their order; where one table has more of them, those that are
** alike at both ends are left out first.
*/
size_t post_diff (const runner_buffer *posted, const runner_buffer *here,
                  runner_buffer *out, bool *lost);

#endif
