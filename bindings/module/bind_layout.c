/*
** bind_layout.c -- which series counts fit an inverter, and under load: how far
** sag lifts their floor.
*/
#include "bind.h"
#include <math.h>

static void push_layout (lua_State *L, const amp_layout *a) {
  lua_newtable(L);
  lua_pushinteger(L, a->modules);
  lua_setfield(L, -2, "modules");
  lua_pushinteger(L, a->groups);
  lua_setfield(L, -2, "groups");
  bind_put_flag(L, "fits", a->fits);
  if (!a->fits) {
    bind_push_error(L, NULL, "", &a->why);
    lua_setfield(L, -2, "why");
    return;
  }
  bind_put(L, "v_full", a->v_full);
  bind_put(L, "v_empty", a->v_empty);
  bind_put(L, "margin_v", a->margin);
  bind_put(L, "soc_min_pct", a->window.soc_min * 100.0);
  bind_put(L, "soc_max_pct", a->window.soc_max * 100.0);
  /* lower than the chemistry wants, the charge not counted lower for it */
  if (a->window.clipped_charge && !a->window.clipped_high)
    bind_put(L, "clipped_charge_v", a->window.v_charge);
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

/* ---- under load ---- */

/* A load of 'power' W under key 'key', where one is asked and told. */
static void put_load (lua_State *L, const char *key, const amp_module *m,
                      const amp_layout *a, const amp_layout_load *load) {
  double r10s = amp_value_is_set(&m->r10s) ? m->r10s.value : NAN;
  amp_layout_sag s;
  if (!(load->power > 0.0 && load->v_cut > 0.0) ||
      amp_layout_under(m, a, bind_module_tested(m, NULL), r10s, load, &s,
                       NULL) != AMP_OK)
    return;
  lua_newtable(L);
  bind_put(L, "current_a", s.current);
  bind_put(L, "sag_v", s.sag);
  bind_put(L, "floor_pct", s.floor * 100.0);
  bind_put(L, "mid_v", s.v_mid);
  bind_put_flag(L, "bites", s.bites);
  bind_put_flag(L, "never", s.never);
  lua_setfield(L, -2, key);
}

/* lasting, surge and both in the cold, of one count that fits */
static void push_loads (lua_State *L, const amp_module *m,
                        const amp_layout *a, const bind_inverter *i,
                        int strings, double coldest) {
  const double ordinary = 298.15;
  amp_layout_load load = {strings,         i->c.v_min, i->c.power,
                          i->c.efficiency, ordinary,   false};
  double nominal = amp_module_nominal_v(m) / m->series;
  bind_put(L, "usable_pct", amp_window_by_charge(&a->window) * 100.0);
  bind_put(L, "usable_energy_pct",
           amp_window_by_energy(m->chemistry, &a->window, nominal) * 100.0);
  put_load(L, "lasting", m, a, &load);
  load.temp = coldest;
  if (amp_given(coldest))
    put_load(L, "lasting_cold", m, a, &load);
  load.power = i->surge;
  load.brief = true;
  if (amp_given(coldest))
    put_load(L, "surge_cold", m, a, &load);
  load.temp = ordinary;
  put_load(L, "surge", m, a, &load);
}

static const bind_field option_fields[] = {
    F_WHOLE("parallel", amp_layout_load, strings, 1, 1000, ""),
    F_WHOLE("groups", amp_layout, groups, 1, 10000, ""),
    F_TEMPS("coldest", amp_layout_load, temp, -60.0, 60.0, 1, ""), F_END};

/* The option's number in SI, or NaN. */
static double option (lua_State *L, int at) {
  double v = NAN;
  if (lua_istable(L, 3) && bind_get(L, 3, option_fields[at].key)) {
    v = bind_number(L, -1, &option_fields[at], "layouts");
    lua_pop(L, 1);
  }
  return v;
}

/* core.layout_loads(module, inverter, {parallel, groups, coldest_c or _f})
** --> a list as of core.layouts, {usable_pct, lasting, surge, ..} where it fits;
** .why_groups: why the module cannot make that count */
static int layout_loads (lua_State *L) {
  static const char *const words[] = {"parallel", "groups", "coldest_c",
                                      "coldest_f", NULL};
  const bind_module *m = bind_check(L, 1, "module", "layouts: module");
  const bind_inverter *i = bind_check(L, 2, "inverter", "layouts: inverter");
  amp_layout out[AMP_LAYOUTS];
  amp_error err = {0};
  bind_options(L, 3, "layouts", words);
  double parallel = option(L, 0), groups = option(L, 1);
  double coldest = option(L, 2), coldest_f = option(L, 3);
  if (amp_given(coldest) && amp_given(coldest_f))
    bind_error(L, NULL, "layouts: give coldest_c or coldest_f, not both");
  coldest = amp_given(coldest_f) ? coldest_f : coldest;
  int n = amp_layouts(&m->m, i->c.v_min, i->c.v_max, i->v_abs_max, out);
  lua_newtable(L);
  for (int k = 0; k < n; k++) {
    lua_newtable(L);
    if (out[k].fits)
      push_loads(L, &m->m, &out[k], i,
                 amp_given(parallel) ? (int)parallel : 1, coldest);
    lua_rawseti(L, -2, k + 1);
  }
  if (amp_given(groups) &&
      amp_layout_of_groups(&m->m, (int)groups, &err) != AMP_OK)
    bind_put_text(L, "why_groups", err.text);
  bind_put_flag(L, "r_assumed", !amp_value_is_set(&m->m.r10s));
  return 1;
}

/* core.layout_nominal(module) --> nominal V of one group */
static int layout_nominal (lua_State *L) {
  const bind_module *m = bind_check(L, 1, "module", "module");
  lua_pushnumber(L, amp_module_nominal_v(&m->m) / m->m.series);
  return 1;
}

static const luaL_Reg functions[] = {{"layouts", layouts},
                                     {"layout_loads", layout_loads},
                                     {"layout_nominal", layout_nominal},
                                     {NULL, NULL}};

void bind_layout_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
