/*
** bind_life.c -- life models: the published ones by name, and a user's own
** rates, table or law.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const bind_field life_fields[] = {
    F_TEXT("name", bind_life_model, name, "what to call it"),
    F_VALUE("calendar_pct_per_year", bind_life_model, calendar, 0.01, 0.0,
            50.0, "% a year", "capacity lost by time, of new"),
    F_VALUE("cycle_pct_per_efc", bind_life_model, per_cycle, 0.01, 0.0, 5.0,
            "% a cycle", "capacity lost by one full cycle, of new"),
    F_TEMPS("at", bind_life_model, ageing.at, -40.0, 80.0, 1,
            "temperature at which the calendar rate holds"),
    F_NUM("doubling_k", bind_life_model, ageing.doubling, 1.0, 1.0, 100.0,
          "K", "warming that doubles the calendar rate; 10 unless given"),
    F_ELSE_OF("cycles_at_dod", BIND_LIST, 1.0, 1.0, 1e6, "", 0,
              "cycles to the end of life by depth: {{dod_pct, cycles}, ..}"),
    F_ELSE("fade", BIND_LAW, "",
           "function (state) that gives percent lost a year; state: years "
           "soh_pct temp_c soc_pct dod_pct efc_per_year c_rate v_mean v_rms"),
    F_END};

/* ---- a law of the user's ---- */

static void set (lua_State *L, const char *key, double v) {
  lua_pushnumber(L, v);
  lua_setfield(L, -2, key);
}

static void push_state (lua_State *L, const amp_stress *s, double soh,
                        double years) {
  double stretch = s->time / (365.0 * 86400.0); /* years */
  lua_createtable(L, 0, 10);
  set(L, "years", years);
  set(L, "soh_pct", soh * 100.0);
  set(L, "temp_c", s->temp - 273.15);
  set(L, "soc_pct", s->soc * 100.0);
  set(L, "dod_pct", s->dod * 100.0);
  set(L, "c_rate", s->c_rate);
  set(L, "v_mean", s->v_mean);
  set(L, "v_rms", s->v_rms);
  set(L, "efc_per_year", stretch > 0.0 ? s->efc / stretch : 0.0);
  set(L, "fec_per_year", stretch > 0.0 ? s->fec / stretch : 0.0);
}

/* Push the law that belongs to this model. */
static void push_law (lua_State *L, const void *self) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.laws");
  lua_rawgetp(L, -1, self);
  lua_remove(L, -2);
}

/* Keep the first error of the user's, for bind_rethrow. */
static double law_failed (lua_State *L, int top, amp_error *err) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.user_error");
  if (lua_isnil(L, -1)) {
    lua_pushvalue(L, -2);
    lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.user_error");
  }
  lua_settop(L, top);
  amp_failf(err, AMP_EUSER, "fade", "the script's fade function failed");
  return NAN;
}

/* Runs in the calling thread only. Percent a year -> fraction a second. */
static double law_fade (void *arg, const amp_stress *s, double soh,
                        double years, amp_error *err) {
  const bind_life_model *m = arg;
  lua_State *L = bind_inside(m->lent->user);
  int top = lua_gettop(L);
  if (L == NULL || !lua_checkstack(L, 16))
    return NAN;
  push_law(L, m);
  push_state(L, s, soh, years);
  if (lua_pcall(L, 1, 1, 0) != LUA_OK)
    return law_failed(L, top, err);
  double rate = lua_isnumber(L, -1) ? lua_tonumber(L, -1) : NAN;
  if (!(rate >= 0.0 && rate <= 1000.0)) {
    lua_pushfstring(L,
                    "life_model: fade must give 0 .. 1000 percent a year "
                    "(got %s)",
                    lua_isnumber(L, -1) ? bind_push_number(L, rate)
                                        : luaL_typename(L, -1));
    return law_failed(L, top, err);
  }
  lua_settop(L, top);
  return rate / 100.0 / (365.0 * 86400.0);
}

/* ---- making one ---- */

static const bind_class life_class;

static void read_table (lua_State *L, const char *who, amp_ageing *a) {
  const bind_field *f = bind_field_find(&life_class, "cycles_at_dod");
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > AMP_DOD_KNOTS)
    bind_error(L, NULL,
               "%s: cycles_at_dod wants 1 .. %d pairs {dod_pct, "
               "cycles}",
               who, AMP_DOD_KNOTS);
  for (int i = 0; i < n; i++) {
    lua_rawgeti(L, -1, i + 1);
    if (!lua_istable(L, -1) || lua_rawlen(L, -1) != 2)
      bind_error(L, NULL,
                 "%s: pair %d of cycles_at_dod must be {dod_pct, "
                 "cycles}",
                 who, i + 1);
    lua_rawgeti(L, -1, 1);
    lua_rawgeti(L, -2, 2);
    a->depth[i] = lua_tonumber(L, -2) / 100.0;
    if (!(a->depth[i] > 0.0 && a->depth[i] <= 1.0))
      bind_error(L, NULL,
                 "%s: pair %d of cycles_at_dod: dod_pct must lie in "
                 "0 .. 100 %%",
                 who, i + 1);
    a->life[i] = bind_number(L, -1, f, who);
    lua_pop(L, 3);
  }
  a->knots = n;
  a->table_loss = 0.2; /* end of life at 80 % of new: common practice */
}

static void read_law (lua_State *L, const char *who, bind_life_model *s) {
  if (!lua_isfunction(L, -1))
    bind_error(L, NULL, "%s: fade must be a function (got %s)", who,
               luaL_typename(L, -1));
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.laws");
  lua_pushvalue(L, -2);
  lua_rawsetp(L, -2, s);
  lua_pop(L, 1);
  s->ageing.fade = law_fade;
  s->ageing.arg = s;
  s->lent = bind_context(L);
}

/* Which of the three ways this is. */
static amp_ageing_kind read_kind (lua_State *L, int keys, const char *who,
                                  bind_life_model *s) {
  bool rates =
      amp_value_is_set(&s->calendar) || amp_value_is_set(&s->per_cycle);
  bool table = bind_get(L, keys, "cycles_at_dod");
  if (table) {
    read_table(L, who, &s->ageing);
    lua_pop(L, 1);
  }
  bool law = bind_get(L, keys, "fade");
  if (law) {
    read_law(L, who, s);
    lua_pop(L, 1);
  }
  if (rates + table + law != 1)
    bind_error(L, NULL,
               "%s: give calendar_pct_per_year and "
               "cycle_pct_per_efc, or cycles_at_dod, or fade",
               who);
  return rates   ? AMP_AGEING_RATES
         : table ? AMP_AGEING_TABLE
                 : AMP_AGEING_USER;
}

/* A rate that is not given is none: said in the defaults. */
static void fill_rates (bind_life_model *s) {
  if (!amp_value_is_set(&s->calendar))
    s->calendar = amp_value_fixed(0.0, AMP_BASIS_ASSUMED);
  if (!amp_value_is_set(&s->per_cycle))
    s->per_cycle = amp_value_fixed(0.0, AMP_BASIS_ASSUMED);
  s->ageing.calendar = s->calendar.value;
  s->ageing.per_cycle = s->per_cycle.value;
  s->doubling_assumed = s->ageing.at > 0.0 && !(s->ageing.doubling > 0.0);
  if (s->doubling_assumed)
    s->ageing.doubling = 10.0; /* K: common practice, no source */
}

static void life_finish (lua_State *L, int keys, void *spec) {
  bind_life_model *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &life_class, keys);
  s->ageing.kind = read_kind(L, keys, who, s);
  if (s->ageing.kind == AMP_AGEING_RATES)
    fill_rates(s);
  snprintf(s->ageing.name, sizeof s->ageing.name, "%.31s",
           s->name[0] != '\0' ? s->name : "own");
  if (amp_ageing_check(&s->ageing, &err) != AMP_OK)
    bind_raise(L, &life_class, who, &err);
}

static void life_tell (lua_State *L, const void *spec) {
  const bind_life_model *s = spec;
  if (s->ageing.kind == AMP_AGEING_RATES && s->calendar.value == 0.0)
    bind_say(L, "calendar_pct_per_year: none is counted");
  if (s->ageing.kind == AMP_AGEING_RATES && s->per_cycle.value == 0.0)
    bind_say(L, "cycle_pct_per_efc: none is counted");
  if (s->ageing.kind == AMP_AGEING_RATES && !(s->ageing.at > 0.0))
    bind_say(L, "at_c: the rates hold at every temperature");
  if (s->doubling_assumed)
    bind_say(L, "doubling_k: 10 is taken, common practice without a source");
  if (s->ageing.kind == AMP_AGEING_TABLE)
    bind_say(L, "cycles_at_dod: read as cycles to 80 % of new");
}

/* The law would outlive its model in a plain table. */
static void life_free (lua_State *L, void *spec) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.laws");
  lua_pushnil(L);
  lua_rawsetp(L, -2, spec);
  lua_pop(L, 1);
}

static const bind_class life_class = {"life_model",
                                      "life_model",
                                      "how capacity fades with time and use",
                                      life_fields,
                                      sizeof(bind_life_model),
                                      NULL,
                                      life_finish,
                                      life_tell,
                                      life_free,
                                      NULL};

/* ---- choosing ---- */

static void add_named (lua_State *L, int idx, const char *who,
                       amp_life_choice *out) {
  const char *words[33], *name = lua_tostring(L, idx);
  const amp_ageing *a = amp_ageing_find(name);
  int n = 0;
  if (a == NULL) {
    while (n < 32 && (words[n] = amp_ageing_name(n)) != NULL)
      n++;
    words[n] = NULL;
    const char *near = bind_nearest(name, words);
    if (near != NULL)
      bind_error(L, NULL,
                 "%s: life model '%s' is not known (did you mean "
                 "'%s'?)",
                 who, name, near);
    bind_error(L, NULL,
               "%s: life model '%s' is not known (see "
               "amp.life_models())",
               who, name);
  }
  out->model[out->models++] = a;
}

static void add_model (lua_State *L, int idx, const char *who,
                       amp_life_choice *out) {
  if (out->models == AMP_CASE_MODELS)
    bind_error(L, NULL, "%s: at most %d life models", who, AMP_CASE_MODELS);
  if (lua_type(L, idx) == LUA_TSTRING) {
    add_named(L, idx, who, out);
    return;
  }
  bind_life_model *m = bind_test(L, idx, "life_model");
  if (m == NULL)
    bind_error(L, NULL,
               "%s: life_model must be a name, amp.life_model{}, or "
               "a list of them (got %s)",
               who, luaL_typename(L, idx));
  out->calendar[out->models] = m->calendar;
  out->per_cycle[out->models] = m->per_cycle;
  out->model[out->models++] = &m->ageing;
}

void bind_life_choice (lua_State *L, int idx, const char *who,
                       amp_life_choice *out) {
  idx = lua_absindex(L, idx);
  memset(out, 0, sizeof *out);
  if (!lua_istable(L, idx)) {
    add_model(L, idx, who, out);
    return;
  }
  int n = (int)lua_rawlen(L, idx);
  if (n == 0)
    bind_error(L, NULL, "%s: life_model is an empty list", who);
  for (int i = 1; i <= n; i++) {
    lua_rawgeti(L, idx, i);
    add_model(L, -1, who, out);
    lua_pop(L, 1);
  }
}

static void set_range (lua_State *L, const char *lo_key, double lo,
                       const char *hi_key, double hi) {
  if (!(lo < hi) || !isfinite(lo) || !isfinite(hi))
    return;
  set(L, lo_key, lo);
  set(L, hi_key, hi);
}

/* amp.life_models() --> list of {name, source, and the fitted ranges} */
static int life_models (lua_State *L) {
  const char *name;
  lua_newtable(L);
  for (int i = 0; (name = amp_ageing_name(i)) != NULL; i++) {
    const amp_ageing *a = amp_ageing_find(name);
    lua_newtable(L);
    bind_put_text(L, "name", name);
    bind_put_text(L, "source", a->source != NULL ? a->source : "");
    set_range(L, "temp_c_lo", a->temp_lo - 273.15, "temp_c_hi",
              a->temp_hi - 273.15);
    set_range(L, "c_rate_lo", a->c_lo, "c_rate_hi", a->c_hi);
    set_range(L, "dod_pct_lo", a->dod_lo * 100.0, "dod_pct_hi",
              a->dod_hi * 100.0);
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

static const luaL_Reg functions[] = {{"life_models", life_models},
                                     {NULL, NULL}};

void bind_life_open (lua_State *L) {
  bind_class_open(L, &life_class);
  luaL_setfuncs(L, functions, 0);
}
