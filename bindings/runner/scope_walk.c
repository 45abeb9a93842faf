/*
** scope_walk.c -- pairs and next in key order: numbers by size, strings by
** bytes, false, true; the other objects come last, in the order in which the
** table holds them, as nothing about them is the same in each run.
**
** pairs takes down the keys when it is called. next has nothing but a table
** and a key, so the keys in order are remembered for a table while somebody
** walks it: from the second step on, since next(t) alone asks whether t is
** empty, to the last. What is remembered of a walk that was broken off goes
** with the table, or with the next walk of it. The list is weak: no object
** lives longer for having been a key.
*/
#include "runner/scope.h"
#include <lauxlib.h>
#include <stdlib.h>
#include <string.h>

/* ---- the order ---- */

typedef enum kind { NUMBER, STRING, TRUTH, OBJECT } kind;

typedef struct key {
  kind kind;
  int is_integer;
  lua_Integer i; /* of a truth: 0 or 1 */
  lua_Number n;
  const char *s; /* lives as long as the table or the list holds it */
  size_t len;
  lua_Integer at; /* place in the list of keys */
} key;

static int in_order (lua_Integer a, lua_Integer b) {
  return (a > b) - (a < b);
}

static int by_text (const key *a, const key *b) {
  size_t n = a->len < b->len ? a->len : b->len;
  int c = memcmp(a->s, b->s, n);
  return c != 0 ? c : (a->len > b->len) - (a->len < b->len);
}

/* 0: the same key, or two objects */
static int by_value (const key *a, const key *b) {
  if (a->kind != b->kind)
    return a->kind < b->kind ? -1 : 1;
  if (a->kind == STRING)
    return by_text(a, b);
  if (a->kind == NUMBER && !(a->is_integer && b->is_integer))
    return (a->n > b->n) - (a->n < b->n);
  return a->kind == OBJECT ? 0 : in_order(a->i, b->i);
}

static int by_key (const void *x, const void *y) {
  const key *a = x, *b = y;
  int c = by_value(a, b);
  return c != 0 ? c : in_order(a->at, b->at);
}

static key read_key (lua_State *L, int idx, lua_Integer at) {
  key k = {OBJECT, 0, 0, 0.0, NULL, 0, at};
  switch (lua_type(L, idx)) {
  case LUA_TNUMBER:
    k.kind = NUMBER;
    k.i = lua_tointegerx(L, idx, &k.is_integer);
    k.n = lua_tonumber(L, idx);
    break;
  case LUA_TSTRING:
    k.kind = STRING;
    k.s = lua_tolstring(L, idx, &k.len);
    break;
  case LUA_TBOOLEAN:
    k.kind = TRUTH;
    k.i = lua_toboolean(L, idx);
    break;
  default:
    break;
  }
  return k;
}

/* ---- lists of keys ---- */

/* Push the list of keys of the table at 1; their number. */
static lua_Integer list_keys (lua_State *L) {
  lua_Integer n = 0;
  lua_newtable(L);
  lua_pushnil(L);
  while (lua_next(L, 1) != 0) {
    lua_pop(L, 1);
    lua_pushvalue(L, -1);
    lua_rawseti(L, -3, ++n);
  }
  return n;
}

/* The n keys in the list at the top, replaced by a list in order. Returns how
** many of them are no objects: those stand first. */
static lua_Integer sort_keys (lua_State *L, lua_Integer n) {
  key *k = lua_newuserdatauv(L, sizeof *k * (size_t)(n + 1), 0);
  int list = lua_gettop(L) - 1;
  bool sorted = true;
  lua_Integer plain = 0;
  for (lua_Integer j = 0; j < n; j++) {
    lua_rawgeti(L, list, j + 1);
    k[j] = read_key(L, -1, j + 1);
    lua_pop(L, 1);
    sorted = sorted && (j == 0 || by_key(&k[j - 1], &k[j]) < 0);
    plain += k[j].kind != OBJECT;
  }
  if (!sorted) {
    qsort(k, (size_t)n, sizeof *k, by_key);
    lua_createtable(L, (int)(n < 1000000 ? n : 1000000), 0);
    for (lua_Integer j = 0; j < n; j++) {
      lua_rawgeti(L, list, k[j].at);
      lua_rawseti(L, -2, j + 1);
    }
    lua_replace(L, list);
  }
  lua_settop(L, list);
  return plain;
}

/* ---- pairs ---- */

/* iterator: upvalues list of keys, place in it; the table is argument 1 */
static int next_in_order (lua_State *L) {
  lua_Integer at = lua_tointeger(L, lua_upvalueindex(2));
  lua_settop(L, 1);
  for (;;) {
    lua_rawgeti(L, lua_upvalueindex(1), ++at);
    if (lua_isnil(L, -1))
      break;
    lua_pushvalue(L, -1);
    if (lua_rawget(L, 1) != LUA_TNIL)
      break;
    lua_settop(L, 1); /* the key went away while we walked */
  }
  lua_pushinteger(L, at);
  lua_replace(L, lua_upvalueindex(2));
  return lua_gettop(L) - 1;
}

/* pairs(t) */
static int walk_pairs (lua_State *L) {
  luaL_checkany(L, 1);
  if (luaL_getmetafield(L, 1, "__pairs") != LUA_TNIL) {
    lua_pushvalue(L, 1);
    lua_call(L, 1, 3);
    return 3;
  }
  luaL_checktype(L, 1, LUA_TTABLE);
  lua_settop(L, 1);
  sort_keys(L, list_keys(L));
  lua_pushinteger(L, 0);
  lua_pushcclosure(L, next_in_order, 2);
  lua_pushvalue(L, 1);
  lua_pushnil(L);
  return 3;
}

/* ---- next ---- */

/* A walk that goes on; its user value is the list of keys. What the list
** holds at 0 is the first key, where next(t) was asked for it since the list
** was made: the walk that goes on from there is a new one. */
typedef struct walk {
  lua_Integer n,
      plain;      /* keys; those that are no objects, which come first */
  lua_Integer at; /* place of the key that was given last */
} walk;

/* Stack of next: 1 the table, 2 the key, 3 its walk, 4 the list of that. */
enum { TABLE = 1, KEY, WALK, LIST };
#define WALKS lua_upvalueindex(1) /* table -> walk, weak */

static walk *find_walk (lua_State *L) {
  lua_settop(L, KEY);
  lua_pushvalue(L, TABLE);
  if (lua_rawget(L, WALKS) == LUA_TNIL)
    return NULL;
  lua_getiuservalue(L, WALK, 1);
  return lua_touserdata(L, WALK);
}

static void drop_walk (lua_State *L) {
  lua_pushvalue(L, TABLE);
  lua_pushnil(L);
  lua_rawset(L, WALKS);
}

static walk *new_walk (lua_State *L) {
  walk *w;
  lua_Integer n;
  lua_settop(L, KEY);
  w = lua_newuserdatauv(L, sizeof *w, 1);
  n = list_keys(L);
  w->n = n;
  w->plain = sort_keys(L, n);
  w->at = 0;
  lua_pushvalue(L, lua_upvalueindex(2));
  lua_setmetatable(L, LIST);
  lua_pushvalue(L, LIST);
  lua_setiuservalue(L, WALK, 1);
  lua_pushvalue(L, TABLE);
  lua_pushvalue(L, WALK);
  lua_rawset(L, WALKS);
  return w;
}

static bool stands_at (lua_State *L, lua_Integer at) {
  bool same;
  lua_rawgeti(L, LIST, at);
  same = lua_rawequal(L, -1, KEY);
  lua_pop(L, 1);
  return same;
}

/* The last place whose key is not behind KEY, which is no object; 0: none */
static lua_Integer place_of_plain (lua_State *L, const walk *w) {
  key k = read_key(L, KEY, 0);
  lua_Integer a = 0, b = w->plain;
  while (a < b) {
    lua_Integer m = b - (b - a) / 2;
    key there;
    lua_rawgeti(L, LIST, m);
    there = read_key(L, -1, 0);
    lua_pop(L, 1);
    if (by_value(&there, &k) <= 0)
      a = m;
    else
      b = m - 1;
  }
  return a;
}

/* The place of an object, looked for from the last one on; 0: none */
static lua_Integer place_of_object (lua_State *L, const walk *w) {
  lua_Integer n = w->n - w->plain, from = w->at - w->plain;
  for (lua_Integer k = 0; k < n; k++) {
    lua_Integer at = w->plain + 1 + (k + (from > 0 ? from : 0)) % n;
    if (stands_at(L, at))
      return at;
  }
  return 0;
}

/* w->at becomes the place of KEY; false where it stands nowhere. */
static bool find_key (lua_State *L, walk *w) {
  lua_Integer at = w->at;
  if (at > 0 && stands_at(L, at))
    return true;
  if (at < w->n && stands_at(L, at + 1)) {
    w->at = at + 1;
    return true;
  }
  at = read_key(L, KEY, 0).kind == OBJECT ? place_of_object(L, w)
                                          : place_of_plain(L, w);
  if (at == 0 || !stands_at(L, at))
    return false;
  w->at = at;
  return true;
}

/* KEY was cleared before the list was made: w->at becomes the place before
** that of the key which follows. Objects stand as the table holds them, so
** the object that follows is the next one there. */
static void find_gap (lua_State *L, walk *w) {
  if (read_key(L, KEY, 0).kind != OBJECT) {
    w->at = place_of_plain(L, w);
    return;
  }
  w->at = w->n;
  lua_pushvalue(L, KEY);
  while (lua_next(L, TABLE) != 0) {
    lua_pop(L, 1);
    if (read_key(L, -1, 0).kind == OBJECT) {
      lua_replace(L, KEY);
      w->at = place_of_object(L, w);
      w->at -= w->at > 0;
      return;
    }
  }
}

/* Is KEY the one that next(t) gave last? */
static bool begins_anew (lua_State *L) {
  return stands_at(L, 0);
}

/* The walk, its place that of KEY. Raises where that never was a key. */
static walk *walk_at_key (lua_State *L) {
  walk *w = find_walk(L);
  if (w != NULL && !begins_anew(L) && find_key(L, w))
    return w;
  lua_settop(L, KEY);
  lua_pushvalue(L, KEY);
  lua_next(L, TABLE);
  w = new_walk(L);
  if (!find_key(L, w))
    find_gap(L, w);
  return w;
}

/* The key after w->at that is still one, and its value. */
static int step (lua_State *L, walk *w) {
  while (w->at < w->n) {
    lua_rawgeti(L, LIST, ++w->at);
    if (!lua_isnil(L, -1)) { /* an object that is gone: the list is weak */
      lua_pushvalue(L, -1);
      if (lua_rawget(L, TABLE) != LUA_TNIL)
        return 2;
    }
    lua_settop(L, LIST);
  }
  drop_walk(L);
  lua_pushnil(L);
  return 1;
}

/* Push the first key and its value; false where the table is empty. */
static bool push_first (lua_State *L) {
  key best = {OBJECT, 0, 0, 0.0, NULL, 0, 0}, k;
  int top = lua_gettop(L) + 1; /* where the best one stands */
  bool any = false;
  lua_pushnil(L);
  lua_pushnil(L);
  while (lua_next(L, TABLE) != 0) {
    lua_pop(L, 1);
    k = read_key(L, -1, 0);
    if (!any || by_value(&k, &best) < 0) {
      best = k;
      any = true;
      lua_pushvalue(L, -1);
      lua_replace(L, top);
    }
  }
  lua_pushvalue(L, top);
  if (any)
    lua_rawget(L, TABLE);
  return any;
}

/* next(t): an answer without a list, as most who ask want no more */
static int first (lua_State *L) {
  walk *w = find_walk(L);
  if (!push_first(L)) {
    if (w != NULL)
      drop_walk(L);
    lua_pushnil(L);
    return 1;
  }
  if (w != NULL) {
    lua_pushvalue(L, -2);
    lua_rawseti(L, LIST, 0);
  }
  return 2;
}

/* next(t [, key]); upvalues: the walks, the metatable of their lists */
static int walk_next (lua_State *L) {
  luaL_checktype(L, TABLE, LUA_TTABLE);
  lua_settop(L, KEY);
  if (lua_isnil(L, KEY))
    return first(L);
  return step(L, walk_at_key(L));
}

static void push_weak (lua_State *L, const char *mode) {
  lua_newtable(L);
  lua_pushstring(L, mode);
  lua_setfield(L, -2, "__mode");
}

void scope_add_walks (lua_State *L) {
  lua_pushcfunction(L, walk_pairs);
  lua_setfield(L, -2, "pairs");
  lua_newtable(L);
  push_weak(L, "k");
  lua_setmetatable(L, -2);
  push_weak(L, "v");
  lua_pushcclosure(L, walk_next, 2);
  lua_setfield(L, -2, "next");
}
