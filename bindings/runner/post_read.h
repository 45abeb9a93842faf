/*
** post_read.h -- a saved post taken apart: script, table and the line by
** which it can be run again, as scripts/ampstead/post.lua writes them and as
** boards, mail and browsers leave them. Nothing of it is trusted: it is bytes
** from a stranger, bounded in each direction, and nothing here runs it.
*/
#ifndef AMPSTEAD_POST_READ_H
#define AMPSTEAD_POST_READ_H

#include "runner/runner.h"

enum {
  POST_LONGEST = 4 << 20, /* bytes of a saved file */
  POST_MOST = 16,         /* posts looked at in one file */
  POST_FILES = 64,        /* files that one post names */
  POST_ARGUMENTS = 64,
  POST_NAME = 200, /* bytes of a name or an argument */
  POST_SUM = 32    /* hex digits: scripts/ampstead/post.lua says why */
};

typedef struct post_file {
  char name[POST_NAME + 1]; /* as the script asked for it */
  char sum[POST_SUM + 1];
} post_file;

typedef struct post {
  /* the last line */
  char version[32];
  char name[POST_NAME + 1]; /* of the script, without folders; "": unknown */
  char argument[POST_ARGUMENTS][POST_NAME + 1];
  size_t arguments;
  bool has_seed; /* --seed was given */
  double seed;
  int number;     /* of the posts of its script, from 1 */
  char lost[120]; /* what it takes besides and does not hold, or "" */
  char script_sum[POST_SUM + 1], words_sum[POST_SUM + 1];
  char table_sum[POST_SUM + 1]; /* "" where not named */
  char line_sum[POST_SUM + 1];  /* of the last line before it, or "" */
  char *said;                   /* that part, its words in one line */
  bool line_fits;               /* it has that sum */
  bool more;                    /* other words stand behind it */
  size_t script_lines, table_lines; /* that are not blank */
  post_file file[POST_FILES];
  size_t files;
  /* the blocks above it, quote marks taken off, lines ended by LF */
  runner_buffer script, table;
  runner_buffer cut; /* columns taken off before each line of the script */
  bool quoted;   /* quote marks stood before its lines */
  bool unfenced; /* no block marks were left: lines were counted */
  bool found;    /* both blocks were */
  size_t line;   /* of the last line in the file, from 1 */
} post;

/*
** The posts in s[0..n), a text or a page that a browser saved, in their order,
** into list[POST_MOST]; *more is set where there are further ones, *damaged to
** the line of a last line that cannot be read (0: none). Returns how many;
** (size_t)-1 where memory ends. Give each to post_free.
*/
size_t post_find (const char *s, size_t n, post *list, bool *more,
                  size_t *damaged);
void post_free (post *p);

#endif
