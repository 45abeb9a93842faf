/*
** recheck.h -- ampstead --recheck POST: a saved post is taken apart, its
** script run again in the same cage as any script, and its table compared.
** The post is trusted in nothing: the limits are those of any run, files are
** read only from the post's folder or --data and only where their checksum is
** the one the post names, and nothing that the script writes is kept.
*/
#ifndef AMPSTEAD_RECHECK_H
#define AMPSTEAD_RECHECK_H

#include "runner/post_read.h"

/* What the parent hands over while the script runs. */
typedef struct recheck {
  const post *post;
  runner_buffer table;  /* of the post that is asked for, or one that fits */
  runner_buffer line;   /* the last line that came with it, and a NUL */
  bool has_table, fits; /* 'fits': its sum is the one that the post names */
  int rank;             /* how well it answers to what is asked for */
  int seen;             /* posts the script has made */
  runner_buffer errors; /* the beginning of what it wrote to stderr */
  char why[400];        /* the first file it could not have, or "" */
} recheck;

/* Read a file for the script, as file_read_below does. */
int recheck_read (recheck *r, int dir, const char *path, runner_buffer *text,
                  char *why, size_t why_size);

/* The script made a post of this last line and this table. False where memory
** ends. */
bool recheck_posted (recheck *r, const char *line, const char *text,
                     size_t n);

/* Output of the script, which is not shown: 'fd' as of the worker. */
bool recheck_output (recheck *r, int fd, const char *text, size_t n);

/* The whole run for o->recheck; returns the exit status: EXIT_OK the same,
** EXIT_DIFFERS, EXIT_DATA it cannot be repeated, or what went wrong. */
int recheck_run (const runner_options *o);

#endif
