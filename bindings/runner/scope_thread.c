/*
** scope_thread.c -- resume, wrap and close of coroutines for a script, so
** that the deadline knows which of them is running: a hook belongs to one
** coroutine, and one that is set when time is up costs nothing before.
** Nested closes are counted here as Lua 5.4.4 does not: 200,000 of them in
** plain source text overflow its C stack.
*/
#include "runner/scope.h"
#include <lauxlib.h>

/* Each close may lie under as many C calls as Lua allows a coroutine (200,
** at most some 2.5 KB each): ten of them stay well below 8 MB of stack. */
enum { CLOSE_DEEPEST = 10 };

static lua_State *volatile running;

lua_State *scope_running (void) {
  return running;
}

/* Call the function below the n arguments at the top while 'co' counts as
** the one that runs; its results take their place. */
static int call_as (lua_State *L, lua_State *co, int n) {
  lua_State *before = running;
  int st;
  running = co;
  st = lua_pcall(L, n, LUA_MULTRET, 0);
  running = before;
  return st;
}

static int pass_on (lua_State *L, int st) {
  return st == LUA_OK ? lua_gettop(L) : lua_error(L);
}

static lua_State *check_thread (lua_State *L) {
  lua_State *co = lua_tothread(L, 1);
  luaL_argexpected(L, co != NULL, 1, "coroutine");
  return co;
}

/* resume(co, ...); upvalue 1: Lua's own */
static int thread_resume (lua_State *L) {
  lua_State *co = check_thread(L);
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_insert(L, 1);
  return pass_on(L, call_as(L, co, lua_gettop(L) - 1));
}

/* close(co); upvalue 1: Lua's own */
static int thread_close (lua_State *L) {
  static int depth;
  lua_State *co = check_thread(L);
  int st;
  if (depth == CLOSE_DEEPEST)
    return luaL_error(L, "C stack overflow: closes within closes");
  lua_settop(L, 1);
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_insert(L, 1);
  depth++;
  st = call_as(L, co, 1);
  depth--;
  return pass_on(L, st);
}

/* The error of a coroutine that ended by it is the caller's, with its place
** in front, as coroutine.wrap says. */
static int raise_from (lua_State *L, lua_State *co) {
  int st = lua_status(co);
  if (st != LUA_OK && st != LUA_YIELD) {
    st = lua_resetthread(co); /* closes what it left open */
    lua_xmove(co, L, 1);
  }
  if (st != LUA_ERRMEM && lua_type(L, -1) == LUA_TSTRING) {
    luaL_where(L, 1);
    lua_insert(L, -2);
    lua_concat(L, 2);
  }
  return lua_error(L);
}

/* What wrap gives: upvalue 1 the coroutine, 2 Lua's own resume */
static int thread_wrapped (lua_State *L) {
  lua_State *co = lua_tothread(L, lua_upvalueindex(1));
  lua_pushvalue(L, lua_upvalueindex(2));
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_rotate(L, 1, 2);
  pass_on(L, call_as(L, co, lua_gettop(L) - 1));
  if (!lua_toboolean(L, 1))
    return raise_from(L, co);
  return lua_gettop(L) - 1;
}

/* wrap(f); upvalue 1: Lua's own resume */
static int thread_wrap (lua_State *L) {
  lua_State *co;
  luaL_checktype(L, 1, LUA_TFUNCTION);
  co = lua_newthread(L);
  lua_pushvalue(L, 1);
  lua_xmove(L, co, 1);
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_pushcclosure(L, thread_wrapped, 2);
  return 1;
}

void scope_add_threads (lua_State *L) {
  lua_getfield(L, -1, "coroutine");
  lua_getfield(L, -1, "resume");
  lua_pushvalue(L, -1);
  lua_pushcclosure(L, thread_wrap, 1);
  lua_setfield(L, -3, "wrap");
  lua_pushcclosure(L, thread_resume, 1);
  lua_setfield(L, -2, "resume");
  lua_getfield(L, -1, "close");
  lua_pushcclosure(L, thread_close, 1);
  lua_setfield(L, -2, "close");
  lua_pop(L, 1);
  running = L;
}
