/*
** ampstead_module.h -- what the runner needs of the Lua module: its one open
** function, and the few things a host may set before the first require.
** In the registry: "ampstead.params" a table key -> text of command-line
** overrides; "ampstead.seed" "ampstead.jobs" "ampstead.draws" numbers that
** win over the script's; "ampstead.modules" a list of {path, text} of the
** Lua files that the script required.
*/
#ifndef AMPSTEAD_MODULE_H
#define AMPSTEAD_MODULE_H

#include <lua.h>
#include <stddef.h>

int luaopen_ampstead (lua_State *L);

/*
** The table at 'idx' answers for files from now on: read(path) -> text or
** nil, why; write(path, bytes) -> true or nil, why; script() -> text, name,
** list of arguments, what was run besides; posted(text of a post's table, its
** last line); progress(share); warn(text). What is missing falls back to nothing. 'why'
** may begin with "missing: ", "policy: ", "create: " or "io: ", which picks
** the class of the error.
*/
void ampstead_set_host (lua_State *L, int idx);

/* Exit status asked for by the error value at the top: 1, 64, 65, ... */
int ampstead_error_class (lua_State *L);

/* Ask running work to end soon, or withdraw that. Fit for a signal handler
** and for other threads. */
void ampstead_stop (int stop);

/* The Lua half, made from scripts/ampstead by the build; ended by NULL. */
typedef struct ampstead_chunk {
  const char *name;
  const char *text;
  size_t n;
} ampstead_chunk;
extern const ampstead_chunk ampstead_chunks[];

#endif
