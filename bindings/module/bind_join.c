/*
** bind_join.c -- what flows when two modules are joined.
*/
#include "bind.h"
#include "pack/join.h"
#include <math.h>

typedef struct side_keys {
  double v, r, ah;
} side_keys;

static const bind_field side_fields[] = {
    F_NUM("ocv_v", side_keys, v, 1.0, 0.0, 1500.0, "V",
          "rest voltage of the module"),
    F_NUM("r10s_mohm", side_keys, r, 1e-3, 0.0, 1e5, "mohm",
          "10 s resistance; none: the current is a bound"),
    F_NUM("ah", side_keys, ah, 3600.0, 0.0, 5000.0, "Ah",
          "tested capacity; the module's where there is none"),
    F_END};

/* of a reading more stands in its table than matters here */
static const char *const side_words[] = {
    "ocv_v",       "r10s_mohm",   "ah",     "id",     "date", "remark",
    "group_min_v", "group_max_v", "temp_c", "module", NULL};
static const char *const option_words[] = {"lead_mohm", "module", NULL};

/* A reading, or a table with its keys. */
static amp_join_side read_side (lua_State *L, int idx, const char *who) {
  side_keys k = {NAN, NAN, NAN};
  if (!lua_istable(L, idx))
    bind_error(L, NULL, "%s: a table with ocv_v and r10s_mohm is wanted",
               who);
  bind_options(L, idx, who, side_words);
  for (const bind_field *f = side_fields; f->key != NULL; f++)
    if (bind_get(L, idx, f->key)) {
      *(double *)((char *)&k + f->offset) = bind_number(L, -1, f, who);
      lua_pop(L, 1);
    }
  if (!amp_given(k.v))
    bind_error(L, NULL, "%s: ocv_v is wanted", who);
  return (amp_join_side){k.v, k.r, 0, k.ah};
}

static void put (lua_State *L, const char *key, double v) {
  if (!amp_given(v))
    return;
  lua_pushnumber(L, v);
  lua_setfield(L, -2, key);
}

/* The keys of a lot whose modules stand side by side: F14 against k peers. */
static void push_peers (lua_State *L, int idx, const char *who) {
  const bind_lot *lot = lua_touserdata(L, idx);
  amp_join_side side;
  amp_error err = {0};
  double ah = lot->module != NULL
                  ? bind_module_tested(&lot->module->m, &(bool){false})
                  : NAN;
  if (amp_lot_side(&lot->lot, ah, &side, &err) != AMP_OK)
    bind_raise(L, NULL, who, &err);
  lua_newtable(L);
  put(L, "ocv_v", side.v);
  put(L, "r10s_mohm", side.r * 1e3);
  put(L, "ah", side.charge / 3600.0);
  bind_push_keys(L, idx);
  lua_getfield(L, -1, "module");
  lua_setfield(L, -3, "module");
  lua_pop(L, 1);
}

/* A reading or a lot at 'idx' becomes its table of keys; the module that
** it knows stands in where the options name none. */
static void to_table (lua_State *L, int idx, const char *who) {
  if (bind_test(L, idx, "reading") != NULL)
    bind_push_keys(L, idx);
  else if (bind_test(L, idx, "lot") != NULL)
    push_peers(L, idx, who);
  else
    return;
  lua_replace(L, idx);
  if (!bind_get(L, idx, "module"))
    return;
  if (lua_isnil(L, 3)) {
    lua_newtable(L);
    lua_replace(L, 3);
  }
  if (lua_istable(L, 3) && !bind_get(L, 3, "module"))
    lua_setfield(L, 3, "module");
}

/* Groups and, where none was tested, capacity from the module. */
static const amp_chemistry *read_module (lua_State *L, amp_join_side *a,
                                         amp_join_side *b) {
  if (lua_isnoneornil(L, 3) || !bind_get(L, 3, "module"))
    return NULL;
  const bind_module *m = bind_check(L, -1, "module", "paralleling: module");
  double ah = bind_module_tested(&m->m, &(bool){false});
  a->groups = b->groups = m->m.series;
  if (!amp_given(a->charge))
    a->charge = ah;
  if (!amp_given(b->charge))
    b->charge = ah;
  return m->m.chemistry;
}

/*
** amp.paralleling({ocv_v = 25.75, r10s_mohm = 1.9}, {..}, {lead_mohm = 1})
** --> {current_a, dv_v, bound, ah, soc_high_pct, soc_low_pct}
*/
static int paralleling (lua_State *L) {
  amp_join j;
  amp_error err = {0};
  lua_settop(L, 3);
  if (lua_istable(L, 3)) { /* the caller's own stays as it is */
    bind_push_copy(L, 3);
    lua_replace(L, 3);
  }
  to_table(L, 1, "paralleling: the first");
  to_table(L, 2, "paralleling: the second");
  lua_settop(L, 3);
  amp_join_side a = read_side(L, 1, "paralleling: the first");
  amp_join_side b = read_side(L, 2, "paralleling: the second");
  bind_options(L, 3, "paralleling", option_words);
  double lead = bind_option(L, 3, "lead_mohm", 0.0) * 1e-3;
  const amp_chemistry *c = read_module(L, &a, &b);
  if (amp_join_two(&a, &b, lead, c, &j, &err) != AMP_OK)
    return bind_raise(L, NULL, "paralleling", &err);
  lua_newtable(L);
  put(L, "current_a", j.current);
  put(L, "dv_v", j.dv);
  put(L, "ah", j.charge / 3600.0);
  put(L, "soc_high_pct", j.soc_high * 100.0);
  put(L, "soc_low_pct", j.soc_low * 100.0);
  lua_pushboolean(L, j.bound);
  lua_setfield(L, -2, "bound");
  bind_plain(L);
  return 1;
}

static const luaL_Reg functions[] = {{"paralleling", paralleling},
                                     {NULL, NULL}};

void bind_join_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
