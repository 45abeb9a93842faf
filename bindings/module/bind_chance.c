/*
** bind_chance.c -- chances of a small lot: how many of an offer's modules
** are good, how many tests show a dud.
*/
#include "bind.h"
#include "cost/chance.h"
#include <math.h>

/* Share of duds with its spread as a standard deviation. */
static amp_share share_of (const bind_offer *o) {
  double sd = 0.0;
  if (o->dud.spread == AMP_NORMAL)
    sd = o->dud.sd;
  else if (o->dud.spread == AMP_EVEN)
    sd = (o->dud.hi - o->dud.lo) / sqrt(12.0);
  return amp_share_of(o->dud.value, sd);
}

static void put_whole (lua_State *L, const char *key, int v) {
  lua_pushinteger(L, v);
  lua_setfield(L, -2, key);
}

/* Room for so many, as long as it stands on the stack. */
static double *push_numbers (lua_State *L, int n) {
  return lua_newuserdatauv(L, (size_t)n * sizeof(double), 0);
}

/*
** core.accepted_raw(offer, series) --> {count, mean, median, dud_pct,
** dud_assumed, [k] = chance of at least k strings of 'series'}
*/
static int accepted_raw (lua_State *L) {
  const bind_offer *o = bind_check(L, 1, "offer", "accepted");
  int series = (int)luaL_checkinteger(L, 2), n = o->o.count;
  amp_share s = share_of(o);
  double *chance = push_numbers(L, n + 1);
  amp_share_chances(&s, n, chance);
  lua_newtable(L);
  put_whole(L, "count", n);
  put_whole(L, "median", amp_share_summed(n, chance));
  bind_put(L, "mean", n * s.good);
  bind_put(L, "dud_pct", 100.0 * o->dud.value);
  bind_put_flag(L, "dud_assumed", o->dud_assumed);
  for (int k = 1; k <= n / series; k++) {
    lua_pushnumber(L, chance[k * series]);
    lua_rawseti(L, -2, k);
  }
  return 1;
}

/* core.missed_raw(n, duds) --> {[tests] = chance that none shows}, and of no
** test at 0 */
static int missed_raw (lua_State *L) {
  int n = (int)luaL_checkinteger(L, 1), d = (int)luaL_checkinteger(L, 2);
  luaL_argcheck(L, n >= 0 && d >= 0 && d <= n, 2, "more than the lot");
  double *chance = push_numbers(L, n + 1);
  amp_chances_no_dud(n, d, chance);
  lua_newtable(L);
  for (int k = 0; k <= n; k++) {
    lua_pushnumber(L, chance[k]);
    lua_rawseti(L, -2, k);
  }
  return 1;
}

/* core.tests_to_see(n, duds, sure) --> tests */
static int tests_to_see (lua_State *L) {
  lua_pushinteger(L, amp_tests_to_see((int)luaL_checkinteger(L, 1),
                                      (int)luaL_checkinteger(L, 2),
                                      luaL_checknumber(L, 3)));
  return 1;
}

static const luaL_Reg functions[] = {{"accepted_raw", accepted_raw},
                                     {"missed_raw", missed_raw},
                                     {"tests_to_see", tests_to_see},
                                     {NULL, NULL}};

void bind_chance_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
