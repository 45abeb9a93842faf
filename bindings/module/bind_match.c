/*
** bind_match.c -- which module goes where.
*/
#include "bind.h"
#include "pack/match.h"
#include <math.h>

typedef struct pool {
  size_t n;
  amp_match_module *m;
  int *place;
} pool;

/* {{ah, r}, ..} at 'idx'; the arrays live on the stack as a userdata. */
static pool read_pool (lua_State *L, int idx) {
  pool p = {0};
  luaL_checktype(L, idx, LUA_TTABLE);
  p.n = (size_t)lua_rawlen(L, idx);
  p.m = lua_newuserdatauv(L, (p.n + 1) * (sizeof *p.m + sizeof *p.place), 0);
  p.place = (int *)(p.m + p.n + 1);
  for (size_t i = 0; i < p.n; i++) {
    lua_rawgeti(L, idx, (lua_Integer)i + 1);
    lua_getfield(L, -1, "ah");
    lua_getfield(L, -2, "r10s_mohm");
    p.m[i].charge = lua_tonumber(L, -2) * 3600.0;
    p.m[i].r = lua_isnumber(L, -1) ? lua_tonumber(L, -1) * 1e-3 : NAN;
    lua_pop(L, 3);
  }
  return p;
}

/* Lists of the modules (from 1) of each row, and of the spares as 'spares' */
static void push_rows (lua_State *L, const pool *p, int rows) {
  for (int k = -1; k < rows; k++) {
    lua_newtable(L);
    for (size_t i = 0; i < p->n; i++)
      if (p->place[i] == k) {
        lua_pushinteger(L, (lua_Integer)i + 1);
        lua_rawseti(L, -2, (lua_Integer)lua_rawlen(L, -2) + 1);
      }
    if (k < 0)
      lua_setfield(L, -2, "spares");
    else
      lua_rawseti(L, -2, k + 1);
  }
}

/* C with the best of the spares in the place of 'gone'; NaN: no spare. */
static double with_spare (const pool *p, const amp_match_spec *s,
                          size_t gone) {
  double best = NAN;
  int place = p->place[gone];
  p->place[gone] = -1;
  for (size_t i = 0; i < p->n; i++)
    if (p->place[i] < 0 && i != gone) {
      p->place[i] = place;
      double q = amp_match_charge(p->n, p->m, s, p->place, (size_t)-1);
      if (!(q <= best))
        best = q;
      p->place[i] = -1;
    }
  p->place[gone] = place;
  return best;
}

/* What is left when any one fails, by module; spares take nothing away. */
static void push_failures (lua_State *L, const pool *p,
                           const amp_match_spec *s) {
  lua_newtable(L);
  for (size_t i = 0; i < p->n; i++) {
    lua_newtable(L);
    if (p->place[i] >= 0) {
      bind_put(L, "ah",
               amp_match_charge(p->n, p->m, s, p->place, i) / 3600.0);
      bind_put(L, "spare_ah", with_spare(p, s, i) / 3600.0);
      double surge = amp_match_surge(p->n, p->m, s, p->place, i);
      bind_put(L, "surge", isfinite(surge) ? surge : NAN);
    }
    lua_rawseti(L, -2, (lua_Integer)i + 1);
  }
}

/*
** core.match_raw({{ah, r10s_mohm}, ..}, series, parallel, string_first,
** give) --> {ah, best_ah, bound_ah, proven, stress, who, rows, spares,
** failures}; modules are their places in the list, from 1
*/
static int match_raw (lua_State *L) {
  lua_settop(L, 5);
  pool p = read_pool(L, 1);
  amp_match_spec s = {(int)luaL_checkinteger(L, 2),
                      (int)luaL_checkinteger(L, 3), lua_toboolean(L, 4),
                      luaL_optnumber(L, 5, 0.0)};
  amp_matched got;
  amp_error err = {0};
  size_t who = 0;
  luaL_checkstack(L, 12, NULL);
  if (amp_match(bind_context(L), p.n, p.m, &s, p.place, &got, &err) != AMP_OK)
    return bind_raise(L, NULL, "match", &err);
  amp_match_stress(p.n, p.m, &s, p.place, &who);
  lua_newtable(L);
  bind_put(L, "ah", got.charge / 3600.0);
  bind_put(L, "best_ah", got.best / 3600.0);
  bind_put(L, "bound_ah", got.bound / 3600.0);
  bind_put(L, "stress", got.stress);
  bind_put_flag(L, "proven", got.proven);
  lua_pushinteger(L, (lua_Integer)who + 1);
  lua_setfield(L, -2, "who");
  push_rows(L, &p, s.string_first ? s.parallel : s.series);
  push_failures(L, &p, &s);
  lua_setfield(L, -2, "failures");
  return 1;
}

/* core.module_facts(module) --> {nominal_v, ah, tested, basis}: the middle
** of what was tested, or of the nameplate */
static int module_facts (lua_State *L) {
  const bind_module *m = bind_check(L, 1, "module", "match: module");
  bool assumed;
  double q = bind_module_tested(&m->m, &assumed);
  amp_basis basis = amp_value_is_set(&m->m.tested) ? m->m.tested.basis
                    : amp_value_is_set(&m->m.soh)
                        ? amp_basis_worse(m->m.soh.basis, m->m.capacity.basis)
                        : m->m.capacity.basis;
  lua_newtable(L);
  bind_put(L, "nominal_v", amp_module_nominal_v(&m->m));
  bind_put(L, "ah", q / 3600.0);
  bind_put_flag(L, "tested", !assumed);
  bind_put_text(L, "basis", amp_basis_name(basis));
  return 1;
}

static const luaL_Reg functions[] = {
    {"match_raw", match_raw}, {"module_facts", module_facts}, {NULL, NULL}};

void bind_match_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
