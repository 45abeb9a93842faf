/*
** scope_sort.c -- table.sort for a script: by merging, so what compares alike
** keeps its order. Lua's own takes a pivot by the clock where a part of a long
** list came out lopsided, and then its ties differ from run to run.
*/
#include "runner/scope.h"
#include <lauxlib.h>
#include <limits.h>

/* Stack of sort: the list, its order or nil, two copies to merge between. */
enum { LIST = 1, ORDER, FROM, TO };

/* Does the value at 'a' come before the one at 'b'? */
static bool less (lua_State *L, int a, int b) {
  bool is;
  if (lua_isnil(L, ORDER))
    return lua_compare(L, a, b, LUA_OPLT);
  lua_pushvalue(L, ORDER);
  lua_pushvalue(L, a);
  lua_pushvalue(L, b);
  lua_call(L, 2, 1);
  is = lua_toboolean(L, -1);
  lua_pop(L, 1);
  return is;
}

/* Does from[j] come before from[i]? */
static bool before (lua_State *L, int from, lua_Integer j, lua_Integer i) {
  bool is;
  lua_rawgeti(L, from, j);
  lua_rawgeti(L, from, i);
  is = less(L, TO + 1, TO + 2);
  lua_settop(L, TO);
  return is;
}

/* Places a .. m-1 and m .. b-1, each in order, become one in 'to'. */
static void merge (lua_State *L, int from, int to, lua_Integer a,
                   lua_Integer m, lua_Integer b) {
  lua_Integer i = a, j = m;
  bool apart = m >= b || !before(L, from, m, m - 1);
  for (lua_Integer k = a; k < b; k++) {
    bool second = j < b && (i >= m || (!apart && before(L, from, j, i)));
    lua_rawgeti(L, from, second ? j++ : i++);
    lua_rawseti(L, to, k);
  }
}

/* Returns the copy that is in order. */
static int sort (lua_State *L, lua_Integer n) {
  int from = FROM, to = TO;
  for (lua_Integer width = 1; width < n; width *= 2) {
    for (lua_Integer a = 1; a <= n; a += 2 * width) {
      lua_Integer m = a + width, b = m + width;
      merge(L, from, to, a, m <= n ? m : n + 1, b <= n ? b : n + 1);
    }
    from = from == FROM ? TO : FROM;
    to = from == FROM ? TO : FROM;
  }
  return from;
}

/* What is no table may stand for one, by all that is asked of it. */
static void check_list (lua_State *L) {
  static const char *const asked[] = {"__index", "__newindex", "__len"};
  for (int k = 0; k < 3 && !lua_istable(L, LIST); k++) {
    if (luaL_getmetafield(L, LIST, asked[k]) == LUA_TNIL)
      luaL_checktype(L, LIST, LUA_TTABLE);
    lua_pop(L, 1);
  }
}

/* table.sort(list [, order]) */
static int table_sort (lua_State *L) {
  lua_Integer n;
  int done;
  check_list(L);
  n = luaL_len(L, LIST);
  if (n < 2)
    return 0;
  luaL_argcheck(L, n < INT_MAX, 1, "array too big");
  if (!lua_isnoneornil(L, ORDER))
    luaL_checktype(L, ORDER, LUA_TFUNCTION);
  lua_settop(L, ORDER);
  lua_createtable(L, (int)(n < 1000000 ? n : 1000000), 0);
  lua_createtable(L, (int)(n < 1000000 ? n : 1000000), 0);
  for (lua_Integer k = 1; k <= n; k++) {
    lua_geti(L, LIST, k);
    lua_rawseti(L, FROM, k);
  }
  done = sort(L, n);
  for (lua_Integer k = 1; k <= n; k++) {
    lua_rawgeti(L, done, k);
    lua_seti(L, LIST, k);
  }
  return 0;
}

void scope_add_sort (lua_State *L) {
  lua_getfield(L, -1, "table");
  lua_pushcfunction(L, table_sort);
  lua_setfield(L, -2, "sort");
  lua_pop(L, 1);
}
