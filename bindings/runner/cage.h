/*
** cage.h -- what the worker gives up before it runs a line of a script, so
** that a fault in Lua or in our own C that lets a script run machine code
** still meets closed doors. The parent opens files for the worker, so the
** worker needs none; it needs memory, its own threads, two pipes to write to
** and one socket.
**
** The layers do not rest on each other: each is put up where the system has
** it, and what could not be put up is said by 'ampstead --version -v'.
**   user     a worker of root's goes on as nobody
**   orphan   it dies with the parent
**   limits   processor time, memory, files to open, size of a file, core
**   files    no file opens, nothing binds or connects (Landlock)
**   calls    every system call but the few it needs ends it (libseccomp)
*/
#ifndef AMPSTEAD_CAGE_H
#define AMPSTEAD_CAGE_H

#include "runner/runner.h"
#include <sys/types.h>

typedef enum cage_layer {
  CAGE_USER,
  CAGE_ORPHAN,
  CAGE_LIMITS,
  CAGE_FILES,
  CAGE_CALLS,
  CAGE_LAYERS /* how many */
} cage_layer;

#define CAGE_ALL ((1u << CAGE_LAYERS) - 1u)

typedef struct cage_report {
  bool held[CAGE_LAYERS];
  char why[CAGE_LAYERS][80]; /* what holds, or why it does not */
} cage_report;

/*
** Put up the layers whose bit is in 'layers' (1u << CAGE_USER ..) around
** this process; there is no way back. 'parent' is who must be alive; only
** descriptors 0 to 3 are usable afterwards, reading from 3 and writing to 1,
** 2 and 3. 'r' may be NULL.
*/
void cage_close (const runner_options *o, pid_t parent, unsigned layers,
                 cage_report *r);

/* Limits of time and orphans alone: what is left of it under --trust. */
#define CAGE_TRUSTED (1u << CAGE_ORPHAN)

/* Put the cage up around a child that does nothing else, and print which
** layers held there. */
void cage_describe (const runner_options *o);

#endif
