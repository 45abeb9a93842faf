/*
** load.c -- the text of a script into a function of Lua: text only, never a
** compiled chunk, whatever its first byte.
*/
#include "runner/scope.h"
#include <lauxlib.h>
#include <stdio.h>
#include <string.h>

/* A first line that begins with # is for the system, as in lua; its end
** stays, so that lines keep their numbers. */
static size_t skip_hash (const char *text, size_t n) {
  size_t k = 0;
  if (n >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
    k = 3;
  if (k < n && text[k] == '#')
    while (k < n && text[k] != '\n')
      k++;
  return k;
}

int scope_load_text (lua_State *L, const char *text, size_t n,
                     const char *name) {
  char chunk[1024];
  size_t skip = skip_hash(text, n);
  snprintf(chunk, sizeof chunk, "%c%s",
           strcmp(name, "stdin") == 0 ? '=' : '@', name);
  return luaL_loadbufferx(L, text + skip, n - skip, chunk, "t");
}
