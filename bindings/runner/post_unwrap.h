/*
** post_unwrap.h -- lines that mail or a narrow board broke, joined again. Of a
** script its sum decides whether a join is right; of a table the one that the
** script gives.
*/
#ifndef AMPSTEAD_POST_UNWRAP_H
#define AMPSTEAD_POST_UNWRAP_H

#include "runner/runner.h"

typedef struct unwrapped {
  bool decoded;  /* entities were decoded too */
  size_t joined; /* lines that were the rest of the one before */
  size_t line;   /* where none fits: one that seems to be such a rest, .. */
  size_t width;  /* .. and the columns of the one before; 0: none seems so */
} unwrapped;

/*
** Lines of 'b' are joined until its words have the sum 'words', or, where that
** is "", it has the sum 'sum'. cut.data[k] is how many columns of quote marks
** stood before line k, 'lines' how many lines the original had that are not
** blank: only so many joins are tried as are one too many. True: 'b' was
** replaced. Bounded: at most 20000 joins, 64 MB hashed.
*/
bool post_unwrap (runner_buffer *b, const runner_buffer *cut, size_t lines,
                  const char *sum, const char *words, unwrapped *u);

/*
** Lines of the posted table that are parts of one line of 'here', in order
** and without a remainder, become that line. Rows that differ are joined
** where their number of words says so. Returns how many lines were joined to
** the one before; (size_t)-1 where memory ends.
*/
size_t post_rejoin (runner_buffer *posted, const runner_buffer *here);

#endif
