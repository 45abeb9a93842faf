/*
** post_blanks.h -- blanks of two lines whose words agree. A board changes the
** blanks of a whole table; a run that has another length while others kept
** theirs is a cell that somebody moved.
*/
#ifndef AMPSTEAD_POST_BLANKS_H
#define AMPSTEAD_POST_BLANKS_H

#include <stdbool.h>
#include <stddef.h>

typedef enum blanks_are {
  BLANKS_KEPT,
  BLANKS_ONE,  /* each run of two or more became one blank */
  BLANKS_MOVED /* word 'at' stands further from the one before, or nearer */
} blanks_are;

typedef struct line_blanks {
  blanks_are are;      /* between the words; ends of lines do not count */
  size_t at;           /* byte of the line here */
  bool runs;           /* the line here has a run of two or more */
  size_t posted, here; /* columns before the first word */
} line_blanks;

/* Both lines hold the same words. Tabs are taken as one blank, or with stops
** at each 8, 4 or 2 columns, whatever fits. */
line_blanks post_blanks (const char *posted, size_t n, const char *here,
                         size_t m);

/* What all lines of a table say together: each is counted first, then asked
** about. Begin with zeros. */
typedef struct table_blanks {
  size_t lines, kept_runs; /* lines; those whose runs have their length */
  long shift;              /* of most lines, where one has most */
  size_t votes;
  size_t widest; /* columns before the first word of a posted line .. */
  bool indented; /* .. and whether any line here has some */
} table_blanks;

void post_blanks_count (table_blanks *t, const line_blanks *l);

/* Can a board have made line k (from 0) of it? Of 'lost' columns nothing is
** known then. */
bool post_blanks_fit (const table_blanks *t, const line_blanks *l, size_t k,
                      bool *lost);

#endif
