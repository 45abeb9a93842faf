/*
** scope_text.c -- tostring, print and string.format without addresses: what
** has no text of its own is numbered in the order in which it was first
** shown, so that a script prints the same bytes in every run, and learns
** nothing about where things lie.
*/
#include "runner/scope.h"
#include <lauxlib.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static const char NUMBERS[] = "runner.numbers";

/* The number of the object at idx; a new one gets the next. The table holds
** its objects weakly, and at its own key the last number. */
static lua_Integer number_of (lua_State *L, int idx) {
  lua_Integer n;
  luaL_getsubtable(L, LUA_REGISTRYINDEX, NUMBERS);
  lua_pushvalue(L, idx);
  lua_rawget(L, -2);
  n = lua_tointeger(L, -1);
  if (n == 0) {
    lua_rawgetp(L, -2, NUMBERS);
    n = lua_tointeger(L, -1) + 1;
    lua_pushinteger(L, n);
    lua_rawsetp(L, -4, NUMBERS);
    lua_pushvalue(L, idx);
    lua_pushinteger(L, n);
    lua_rawset(L, -5);
    lua_pop(L, 1);
  }
  lua_pop(L, 2);
  return n;
}

static const char *push_numbered (lua_State *L, int idx, size_t *len) {
  char number[32];
  lua_Integer n = number_of(L, idx);
  snprintf(number, sizeof number, ": 0x%08llx", (unsigned long long)n);
  if (luaL_getmetafield(L, idx, "__name") != LUA_TSTRING)
    lua_pushstring(L, luaL_typename(L, idx));
  lua_pushstring(L, number);
  lua_concat(L, 2);
  return lua_tolstring(L, -1, len);
}

const char *scope_tolstring (lua_State *L, int idx, size_t *len) {
  idx = lua_absindex(L, idx);
  luaL_checkstack(L, 8, NULL);
  switch (lua_type(L, idx)) {
  case LUA_TNUMBER:
  case LUA_TSTRING:
  case LUA_TBOOLEAN:
  case LUA_TNIL:
    return luaL_tolstring(L, idx, len);
  default:
    if (luaL_getmetafield(L, idx, "__tostring") == LUA_TNIL)
      return push_numbered(L, idx, len);
    lua_pop(L, 1);
    return luaL_tolstring(L, idx, len);
  }
}

static int text_tostring (lua_State *L) {
  luaL_checkany(L, 1);
  scope_tolstring(L, 1, NULL);
  return 1;
}

/* print(...) */
static int text_print (lua_State *L) {
  int n = lua_gettop(L);
  luaL_Buffer b;
  size_t len;
  const char *text;
  for (int k = 1; k <= n; k++) {
    scope_tolstring(L, k, NULL);
    lua_replace(L, k);
  }
  luaL_buffinit(L, &b);
  for (int k = 1; k <= n; k++) {
    if (k > 1)
      luaL_addchar(&b, '\t');
    lua_pushvalue(L, k);
    luaL_addvalue(&b);
  }
  luaL_addchar(&b, '\n');
  luaL_pushresult(&b);
  text = lua_tolstring(L, -1, &len);
  scope_put(STDOUT_FILENO, text, len);
  return 0;
}

/* string.format(text, ...); upvalue 1: Lua's own. What %s shows of an object
** is put in its place first; %p would be an address. */
static int text_format (lua_State *L) {
  size_t len;
  const char *p = luaL_checklstring(L, 1, &len), *end = p + len;
  int arg = 1, n = lua_gettop(L);
  /* to the end, not to a NUL: Lua's own goes on behind that too */
  while ((p = memchr(p, '%', (size_t)(end - p))) != NULL) {
    p += 1 + strspn(p + 1, "-+ #0123456789.");
    if (*p == '%' || p == end) {
      p += p < end;
      continue;
    }
    arg++;
    if (*p == 'p')
      return luaL_error(L, "'%%p' would differ from run to run");
    if (*p == 's' && arg <= n) {
      scope_tolstring(L, arg, NULL);
      lua_replace(L, arg);
    }
  }
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_insert(L, 1);
  lua_call(L, n, 1);
  return 1;
}

static void open_numbers (lua_State *L) {
  lua_newtable(L);
  lua_newtable(L);
  lua_pushliteral(L, "k");
  lua_setfield(L, -2, "__mode");
  lua_setmetatable(L, -2);
  lua_setfield(L, LUA_REGISTRYINDEX, NUMBERS);
}

void scope_add_text (lua_State *L) {
  open_numbers(L);
  lua_pushcfunction(L, text_tostring);
  lua_setfield(L, -2, "tostring");
  lua_pushcfunction(L, text_print);
  lua_setfield(L, -2, "print");
  lua_getfield(L, -1, "string");
  lua_getfield(L, -1, "format");
  lua_pushcclosure(L, text_format, 1);
  lua_setfield(L, -2, "format");
  lua_pop(L, 1);
}
