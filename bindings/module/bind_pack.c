/*
** bind_pack.c -- a pack of equal modules: how many in a string, how many
** strings, which part of the charge is used.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const bind_field pack_fields[] = {
    F_TEXT("name", bind_pack, name, "what to call it"),
    F_ELSE("module", BIND_OBJECT, "", "amp.module{} it is made of"),
    F_WHOLE("series", bind_pack, series, 1, 500, "modules in a string"),
    F_WHOLE("parallel", bind_pack, parallel, 1, 1000, "strings"),
    F_ELSE("order", BIND_CHOICE, "string_first parallel_first",
           "strings in parallel, or paralleled modules in series"),
    F_NUM("soc_min_pct", bind_pack, soc_min, 0.01, 0.0, 100.0, "%",
          "lowest charge that will be used; the module's unless given"),
    F_NUM("soc_max_pct", bind_pack, soc_max, 0.01, 0.0, 100.0, "%",
          "highest charge that will be used; the module's unless given"),
    F_NUM("cell_v_min", bind_pack, cell_v_min, 1.0, 0.5, 10.0, "V",
          "lowest voltage of a cell that will be used"),
    F_NUM("cell_v_max", bind_pack, cell_v_max, 1.0, 0.5, 10.0, "V",
          "highest voltage of a cell that will be used"),
    F_END};

static const bind_class pack_class;

static void pack_defaults (void *spec) {
  bind_pack *s = spec;
  s->soc_min = s->soc_max = s->cell_v_min = s->cell_v_max = NAN;
  s->string_first = true;
}

static amp_status window_of (const bind_pack *s, const amp_converter *c,
                             double v_abs_max, amp_window *w,
                             amp_error *err) {
  amp_module m = s->module->m;
  amp_module_rewindow(&m, s->soc_min, s->soc_max, s->cell_v_min,
                      s->cell_v_max);
  return amp_window_of(m.chemistry, m.series * s->series, m.soc_min,
                       m.soc_max, m.cell_v_min, m.cell_v_max,
                       c != NULL ? c->v_min : 0.0, c != NULL ? c->v_max : 0.0,
                       v_abs_max, w, err);
}

static void read_order (lua_State *L, int keys, const char *who,
                        bind_pack *s) {
  if (!bind_get(L, keys, "order"))
    return;
  const char *o = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  s->string_first = strcmp(o, "string_first") == 0;
  if (!s->string_first && strcmp(o, "parallel_first") != 0)
    bind_error(L, NULL,
               "%s: order must be \"string_first\" or "
               "\"parallel_first\" (got '%s')",
               who, o);
  lua_pop(L, 1);
}

static void pack_finish (lua_State *L, int keys, void *spec) {
  bind_pack *s = spec;
  amp_window w;
  amp_error err = {0};
  const char *who = bind_who(L, &pack_class, keys);
  if (!bind_get(L, keys, "module") || bind_test(L, -1, "module") == NULL)
    bind_error(L, NULL, "%s: module = amp.module{} is wanted", who);
  s->module = lua_touserdata(L, -1);
  lua_pop(L, 1);
  if (s->series == 0 || s->parallel == 0)
    bind_error(L, NULL, "%s: %s is wanted", who,
               s->series == 0 ? "series" : "parallel");
  read_order(L, keys, who, s);
  if (window_of(s, NULL, 0.0, &w, &err) != AMP_OK)
    bind_raise(L, &pack_class, who, &err);
}

static void pack_tell (lua_State *L, const void *spec) {
  const bind_pack *s = spec;
  amp_window w;
  char line[160], v[40];
  if (window_of(s, NULL, 0.0, &w, NULL) != AMP_OK)
    return;
  if (w.assumed_low) {
    amp_format_double(w.soc_min * 100.0, 3, v);
    snprintf(line, sizeof line,
             "soc_min_pct: %s %% by the chemistry's daily limit, assumed", v);
    bind_say(L, line);
  }
  if (w.assumed_high) {
    amp_format_double(w.soc_max * 100.0, 3, v);
    snprintf(line, sizeof line,
             "soc_max_pct: %s %% by the chemistry's daily limit, assumed", v);
    bind_say(L, line);
  }
}

/* J at nominal voltage, as tested */
static double tested_energy (const bind_pack *s) {
  const amp_module *m = &s->module->m;
  return bind_module_tested(m, NULL) * amp_module_nominal_v(m) * s->series *
         s->parallel;
}

static int pack_tested (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "tested_kwh");
  lua_pushnumber(L, tested_energy(s) / 3.6e6);
  return 1;
}

/* By charge, as trade reckons: tested kWh times the share of charge used */
static int pack_usable (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "usable_kwh");
  amp_window w;
  if (window_of(s, NULL, 0.0, &w, NULL) != AMP_OK)
    return 0;
  lua_pushnumber(L, tested_energy(s) * amp_window_by_charge(&w) / 3.6e6);
  return 1;
}

static int pack_groups (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "groups");
  lua_pushinteger(L, s->module->m.series * s->series);
  return 1;
}

static int pack_mass (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "mass_kg");
  double mass = s->module->m.mass;
  if (!amp_given(mass) || !(mass > 0.0))
    return 0;
  lua_pushnumber(L, mass * s->series * s->parallel);
  return 1;
}

static void set (lua_State *L, const char *key, double v) {
  if (v == v) {
    lua_pushnumber(L, v);
    lua_setfield(L, -2, key);
  }
}

/*
** pack:autonomy(duty, inverter) --> {days, usable_kwh, need_kwh, load_kwh,
** supply_kwh, month}: days without sun in the month that asks most, usable
** over the daily need at the battery (F21)
*/
static int pack_autonomy (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "autonomy");
  bind_profile *p = bind_check(L, 2, "profile", "autonomy: duty");
  amp_need need = {0};
  amp_window w;
  amp_error err = {0};
  need.duty = &p->duty;
  need.converter.efficiency = 1.0;
  if (!lua_isnoneornil(L, 3)) {
    bind_inverter *i = bind_check(L, 3, "inverter", "autonomy: inverter");
    need.converter = i->c;
    need.v_abs_max = i->v_abs_max;
  }
  bind_push_keys(L, 1);
  const char *who = bind_who(L, &pack_class, -1);
  if (window_of(s, &need.converter, need.v_abs_max, &w, &err) != AMP_OK)
    return bind_raise(L, &pack_class, who, &err);
  amp_worst_month worst = amp_need_worst_month(&need);
  double usable = tested_energy(s) * amp_window_by_charge(&w);
  lua_newtable(L);
  set(L, "usable_kwh", usable / 3.6e6);
  set(L, "need_kwh", worst.need / 3.6e6);
  set(L, "load_kwh", worst.load / 3.6e6);
  set(L, "supply_kwh", worst.supply / 3.6e6);
  set(L, "days", worst.need > 0.0 ? usable / worst.need : NAN);
  if (worst.month >= 0) {
    lua_pushinteger(L, worst.month + 1);
    lua_setfield(L, -2, "month");
  }
  return 1;
}

static const luaL_Reg pack_methods[] = {
    {"autonomy", pack_autonomy},     {"get_tested_kwh", pack_tested},
    {"get_usable_kwh", pack_usable}, {"get_groups", pack_groups},
    {"get_mass_kg", pack_mass},      {NULL, NULL}};

static const bind_class pack_class = {
    "pack",
    "pack",
    "equal modules joined into strings, strings into a pack",
    pack_fields,
    sizeof(bind_pack),
    pack_defaults,
    pack_finish,
    pack_tell,
    NULL,
    pack_methods};

/* ---- which series counts fit ---- */

static void push_layout (lua_State *L, const amp_layout *a) {
  lua_newtable(L);
  lua_pushinteger(L, a->modules);
  lua_setfield(L, -2, "modules");
  lua_pushinteger(L, a->groups);
  lua_setfield(L, -2, "groups");
  lua_pushboolean(L, a->fits);
  lua_setfield(L, -2, "fits");
  if (!a->fits) {
    bind_push_error(L, NULL, "", &a->why);
    lua_setfield(L, -2, "why");
    return;
  }
  set(L, "v_full", a->v_full);
  set(L, "v_empty", a->v_empty);
  set(L, "margin_v", a->margin);
  set(L, "soc_min_pct", a->window.soc_min * 100.0);
  set(L, "soc_max_pct", a->window.soc_max * 100.0);
}

/* amp.layouts(module, inverter) --> list, one entry a series count */
static int layouts (lua_State *L) {
  bind_module *m = bind_check(L, 1, "module", "layouts: module");
  bind_inverter *i = bind_check(L, 2, "inverter", "layouts: inverter");
  amp_layout out[AMP_LAYOUTS];
  int n = amp_layouts(&m->m, i->c.v_min, i->c.v_max, i->v_abs_max, out);
  lua_newtable(L);
  for (int k = 0; k < n; k++) {
    push_layout(L, &out[k]);
    lua_rawseti(L, -2, k + 1);
  }
  return 1;
}

static const luaL_Reg functions[] = {{"layouts", layouts}, {NULL, NULL}};

void bind_pack_open (lua_State *L) {
  bind_class_open(L, &pack_class);
  luaL_setfuncs(L, functions, 0);
}
