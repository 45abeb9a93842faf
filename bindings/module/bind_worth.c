/*
** bind_worth.c -- what more tests of a lot are worth before it is paid for.
*/
#include "bind.h"
#include "job/worth.h"
#include <math.h>

/* A number of the table at 1; the Lua half has checked what a user gave. */
static double get (lua_State *L, const char *key, double otherwise) {
  lua_getfield(L, 1, key);
  double v = luaL_optnumber(L, -1, otherwise);
  lua_pop(L, 1);
  return v;
}

static amp_worth_ask read_ask (lua_State *L) {
  return (amp_worth_ask){.tested = (int)get(L, "tested", 0.0),
                         .sum = get(L, "sum", 0.0),
                         .untested = (int)get(L, "untested", 0.0),
                         .mean = get(L, "mean", NAN),
                         .weight = get(L, "weight", NAN),
                         .dof = (int)get(L, "dof", 0.0),
                         .sd = get(L, "sd", NAN),
                         .lo = get(L, "lo", 0.0),
                         .hi = get(L, "hi", (double)INFINITY),
                         .dud = get(L, "dud", 0.0),
                         .dud_sd = get(L, "dud_sd", 0.0),
                         .value = get(L, "value", NAN),
                         .price = get(L, "price", NAN),
                         .cost = get(L, "cost", NAN)};
}

static void push_steps (lua_State *L, const amp_worth *w) {
  lua_createtable(L, w->steps, 0);
  for (int i = 0; i < w->steps; i++) {
    lua_newtable(L);
    lua_pushinteger(L, w->step[i].tests);
    lua_setfield(L, -2, "tests");
    bind_put(L, "gain", w->step[i].gain);
    bind_put(L, "cost", w->step[i].cost);
    bind_put(L, "half_width", w->step[i].half_width);
    lua_rawseti(L, -2, i + 1);
  }
}

/*
** core.worth_raw{ tested, sum, untested, mean, weight, dof, sd, lo, hi, dud,
** dud_sd, value, price, cost } --> {expected, chance, perfect, least, most,
** half_width, best, steps = {{tests, gain, cost, half_width}, ..}}
*/
static int worth_raw (lua_State *L) {
  amp_error err = {0};
  luaL_checktype(L, 1, LUA_TTABLE);
  amp_worth_ask a = read_ask(L);
  amp_worth *w = lua_newuserdatauv(L, sizeof *w, 0);
  if (amp_worth_testing(&a, w, &err) != AMP_OK)
    return bind_raise(L, NULL, "worth_testing", &err);
  lua_newtable(L);
  bind_put(L, "expected", w->expected);
  bind_put(L, "chance", w->chance);
  bind_put(L, "perfect", w->perfect);
  bind_put(L, "least", w->least);
  bind_put(L, "most", w->most);
  bind_put(L, "half_width", w->half_width);
  lua_pushinteger(L, w->best);
  lua_setfield(L, -2, "best");
  push_steps(L, w);
  lua_setfield(L, -2, "steps");
  return 1;
}

/* core.tests_for(of, tested, sd, known, half_width) --> tests in all */
static int tests_for (lua_State *L) {
  lua_pushinteger(L, amp_worth_tests_for(
                         (int)luaL_checkinteger(L, 1),
                         (int)luaL_checkinteger(L, 2), luaL_checknumber(L, 3),
                         lua_toboolean(L, 4), luaL_checknumber(L, 5)));
  return 1;
}

static const luaL_Reg functions[] = {
    {"worth_raw", worth_raw}, {"tests_for", tests_for}, {NULL, NULL}};

void bind_worth_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
