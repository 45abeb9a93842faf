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

/* Push the function that the n bytes of a script are, or why they are none
** (load.c); a status of Lua. 'name' is the script's as typed, or "stdin". */
int scope_load_text (lua_State *L, const char *text, size_t n,
                     const char *name);

/* Ask the parent and push the bytes of its answer; the status is returned,
** EXIT_INTERNAL where the parent is gone. Raises where memory ends. */
int scope_ask (lua_State *L, int link, int kind, const char *a, size_t a_n,
               const char *b, size_t b_n);

/* As luaL_tolstring, without addresses (scope_text.c). */
const char *scope_tolstring (lua_State *L, int idx, size_t *len);

/* Into the table of globals at the top: pairs, next; table.sort;
** tostring, print, string.format; coroutine's resume, wrap and close. */
void scope_add_walks (lua_State *L);
void scope_add_sort (lua_State *L);
void scope_add_text (lua_State *L);
void scope_add_threads (lua_State *L);

/* The coroutine that runs now; for a signal handler. */
lua_State *scope_running (void);

/* Write everything, or end the worker: nobody listens. */
void scope_put (int fd, const char *data, size_t n);

#endif
