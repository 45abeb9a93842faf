/*
** scope.h -- what a script sees: an environment built by adding, in which
** nothing starts programs, loads native code or opens a file.
*/
#ifndef AMPSTEAD_SCOPE_H
#define AMPSTEAD_SCOPE_H

#include "runner/runner.h"
#include <lua.h>

/* Replace the state's globals. 'task' lends seed and arguments; 'link' is
** the socket to the parent. May raise. */
void scope_open (lua_State *L, const runner_task *task, int link);

/* Ask the parent and push the bytes of its answer; the status is returned,
** EXIT_INTERNAL where the parent is gone. Raises where memory ends. */
int scope_ask (lua_State *L, int link, int kind, const char *a, size_t a_n,
               const char *b, size_t b_n);

/* Write everything, or end the worker: nobody listens. */
void scope_put (int fd, const char *data, size_t n);

#endif
