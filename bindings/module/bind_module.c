/*
** bind_module.c -- chemistry and module: what the label and the bench say
** of them.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- chemistry ---- */

static const bind_field chemistry_fields[] = {
    F_TEXT("name", bind_chemistry, name, "what to call it"),
    F_ELSE("like", BIND_OBJECT, "",
           "a built-in chemistry to start from, by name"),
    F_ELSE_OF("ocv_v", BIND_LIST, 1.0, 0.1, 10.0, "V", 0,
              "rest voltage of one group: {{soc_pct, v}, ..} rising"),
    F_ELSE("interp", BIND_CHOICE, "monotone linear",
           "the curve between the points; monotone unless said"),
    F_NUM("v_min", bind_chemistry, c.v_min, 1.0, 0.5, 10.0, "V",
          "the maker's lowest voltage of a cell"),
    F_NUM("v_max", bind_chemistry, c.v_max, 1.0, 0.5, 10.0, "V",
          "the maker's highest voltage of a cell"),
    F_END};

static void chemistry_names (const char *out[33]) {
  int n = 0;
  while (n < 32 && (out[n] = amp_chemistry_name(n)) != NULL)
    n++;
  out[n] = NULL;
}

const amp_chemistry *bind_chemistry_at (lua_State *L, int idx,
                                        const char *who) {
  const char *words[33];
  if (lua_type(L, idx) != LUA_TSTRING)
    return &((bind_chemistry *)bind_check(L, idx, "chemistry", who))->c;
  const char *name = lua_tostring(L, idx);
  const amp_chemistry *c = amp_chemistry_find(name);
  if (c != NULL)
    return c;
  const char *like = amp_chemistry_like(name);
  if (like != NULL)
    bind_error(L, NULL, "%s: chemistry '%s' is not known (that is %s here)",
               who, name, like);
  chemistry_names(words);
  /* of three letters any other is near: "LTO" is no kind of "lfp" */
  const char *near = strlen(name) > 4 ? bind_nearest(name, words) : NULL;
  if (near != NULL)
    bind_error(L, NULL,
               "%s: chemistry '%s' is not known (did you mean '%s'?)", who,
               name, near);
  bind_error(L, NULL,
             "%s: chemistry '%s' is not known (see amp.chemistries(); "
             "another is amp.chemistry{ ocv_v = .. })",
             who, name);
  return NULL;
}

static int read_points (lua_State *L, const bind_field *f, const char *who,
                        double *x, double *y) {
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 2 || n > AMP_CURVE_MAX)
    bind_error(L, NULL, "%s: %s wants 2 .. %d points {soc_pct, v}", who,
               f->key, AMP_CURVE_MAX);
  for (int i = 0; i < n; i++) {
    lua_rawgeti(L, -1, i + 1);
    if (!lua_istable(L, -1) || lua_rawlen(L, -1) != 2)
      bind_error(L, NULL, "%s: point %d of %s must be {soc_pct, v}", who,
                 i + 1, f->key);
    lua_rawgeti(L, -1, 1);
    lua_rawgeti(L, -2, 2);
    x[i] = lua_tonumber(L, -2) / 100.0;
    if (!lua_isnumber(L, -2) || !(x[i] >= 0.0 && x[i] <= 1.0))
      bind_error(L, NULL,
                 "%s: point %d of %s: soc_pct must lie in 0 .. 100 %%", who,
                 i + 1, f->key);
    y[i] = bind_number(L, -1, f, who);
    lua_pop(L, 3);
  }
  return n;
}

static amp_interp read_interp (lua_State *L, int keys, const char *who) {
  amp_interp kind = AMP_INTERP_MONOTONE;
  if (!bind_get(L, keys, "interp"))
    return kind;
  const char *s = lua_tostring(L, -1);
  if (s != NULL && strcmp(s, "linear") == 0)
    kind = AMP_INTERP_LINEAR;
  else if (s == NULL || strcmp(s, "monotone") != 0)
    bind_error(L, NULL, "%s: interp must be \"monotone\" or \"linear\"", who);
  lua_pop(L, 1);
  return kind;
}

/* A user's own curve: limits not given are the ends of the table. */
static void own_curve (lua_State *L, int keys, const bind_class *cl,
                       const char *who, amp_chemistry *c, bool like) {
  double x[AMP_CURVE_MAX], y[AMP_CURVE_MAX];
  amp_error err = {0};
  const bind_field *f = bind_field_find(cl, "ocv_v");
  int n = read_points(L, f, who, x, y);
  amp_interp kind = read_interp(L, keys, who);
  if (amp_curve_make(x, y, n, kind, &c->ocv, &err) != AMP_OK)
    bind_raise(L, cl, who, &err);
  if (!like) {
    c->v_nominal = amp_curve_at(&c->ocv, 0.5);
    c->v_daily_min = y[0];
    c->v_daily_max = y[n - 1];
    c->flat_lo = 1.0;
    c->flat_hi = 0.0;
  }
  c->source = NULL;
  lua_pop(L, 1);
}

static const bind_class chemistry_class;

static void chemistry_finish (lua_State *L, int keys, void *spec) {
  bind_chemistry *s = spec;
  const bind_class *cl = &chemistry_class;
  const char *who = bind_who(L, cl, keys);
  double v_min = s->c.v_min, v_max = s->c.v_max;
  amp_error err = {0};
  bool like = bind_get(L, keys, "like");
  if (like) {
    s->c = *bind_chemistry_at(L, -1, who);
    lua_pop(L, 1);
  }
  bool own = bind_get(L, keys, "ocv_v");
  if (!own && !like)
    bind_error(L, NULL, "%s: ocv_v or like is wanted", who);
  if (own)
    own_curve(L, keys, cl, who, &s->c, like);
  if (v_min > 0.0 || !like)
    s->c.v_min = v_min > 0.0 ? v_min : s->c.ocv.y[0];
  if (v_max > 0.0 || !like)
    s->c.v_max = v_max > 0.0 ? v_max : s->c.ocv.y[s->c.ocv.n - 1];
  if (s->c.v_daily_min < s->c.v_min)
    s->c.v_daily_min = s->c.v_min;
  if (s->c.v_daily_max > s->c.v_max)
    s->c.v_daily_max = s->c.v_max;
  if (s->name[0] != '\0')
    snprintf(s->c.name, sizeof s->c.name, "%.31s", s->name);
  else if (!like)
    snprintf(s->c.name, sizeof s->c.name, "own");
  if (amp_chemistry_check(&s->c, &err) != AMP_OK)
    bind_raise(L, cl, who, &err);
}

static void chemistry_tell (lua_State *L, const void *spec) {
  const bind_chemistry *s = spec;
  char line[200];
  if (s->c.source != NULL) {
    snprintf(line, sizeof line, "ocv_v: %.180s", s->c.source);
    bind_say(L, line);
  }
}

static const bind_class chemistry_class = {
    "chemistry",
    "chemistry",
    "what every cell of a kind has in common: rest voltage against charge, "
    "and its limits",
    chemistry_fields,
    sizeof(bind_chemistry),
    NULL,
    chemistry_finish,
    chemistry_tell,
    NULL,
    NULL};

/* amp.chemistries() --> list of {name, nominal_v, v_min, v_max, source} */
static int chemistries (lua_State *L) {
  const char *name;
  lua_newtable(L);
  for (int i = 0; (name = amp_chemistry_name(i)) != NULL; i++) {
    const amp_chemistry *c = amp_chemistry_find(name);
    lua_newtable(L);
    bind_put_text(L, "name", name);
    bind_put(L, "nominal_v", c->v_nominal);
    bind_put(L, "v_min", c->v_min);
    bind_put(L, "v_max", c->v_max);
    bind_put(L, "v_daily_min", c->v_daily_min);
    bind_put(L, "v_daily_max", c->v_daily_max);
    bind_put_text(L, "source", c->source != NULL ? c->source : "");
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

/* ---- module ---- */

/* A year of the ages people give; the duty's year has 8,760 h as well. */
#define YEAR (365.0 * 86400.0)

static const bind_field module_fields[] = {
    F_TEXT("name", bind_module, m.name, "what to call it"),
    F_ELSE("chemistry", BIND_OBJECT, "", "a name or amp.chemistry{}"),
    F_ELSE("cell", BIND_OBJECT, "",
           "amp.cell{}: chemistry, capacity and resistance come from it"),
    F_WHOLE("series", bind_module, m.series, 1, 500, "groups in series"),
    F_WHOLE("parallel", bind_module, m.parallel, 1, 1000,
            "cells side by side in a group"),
    F_NUM("nominal_v", bind_module, m.nominal_v, 1.0, 0.5, 2000.0, "V",
          "voltage on the label; the chemistry's unless given"),
    F_VALUE("capacity_ah", bind_module, m.capacity, 3600.0, 0.1, 5000.0, "Ah",
            "nameplate capacity, new"),
    F_VALUE("tested_ah", bind_module, m.tested, 3600.0, 0.1, 5000.0, "Ah",
            "capacity by test; must agree with soh_pct"),
    F_VALUE("soh_pct", bind_module, m.soh, 0.01, 0.01, 120.0, "%",
            "state of health: capacity now over nameplate"),
    F_VALUE("r10s_mohm", bind_module, m.r10s, 1e-3, 0.001, 10000.0, "mohm",
            "resistance of the module by a pulse of 10 s"),
    F_NUM_OF("mass_kg", bind_module, m.mass, 1.0, 0.01, 2000.0, "kg", 1,
             "mass of one module"),
    F_NUM_OF("mass_lb", bind_module, m.mass, 0.45359237, 0.02, 4400.0, "lb",
             1, "mass of one module"),
    F_NUM("cell_v_min", bind_module, m.cell_v_min, 1.0, 0.5, 10.0, "V",
          "lowest voltage of a cell that will be used"),
    F_NUM("cell_v_max", bind_module, m.cell_v_max, 1.0, 0.5, 10.0, "V",
          "highest voltage of a cell that will be used"),
    F_NUM("soc_min_pct", bind_module, m.soc_min, 0.01, 0.0, 100.0, "%",
          "lowest charge that will be used"),
    F_NUM("soc_max_pct", bind_module, m.soc_max, 0.01, 0.0, 100.0, "%",
          "highest charge that will be used"),
    F_NUM("soh_end_pct", bind_module, m.soh_end, 0.01, 1.0, 100.0, "%",
          "state of health at which its life ends here"),
    F_ELSE("groups", BIND_LIST, "",
           "groups known by themselves, by number from 1: {[3] = "
           "{capacity_ah, r10s_mohm, soc_pct, blown}, ..}"),
    F_ELSE("link", BIND_OBJECT, "",
           "amp.fuse_link{}, between each cell and the bus of its group"),
    F_ELSE("life_model", BIND_OBJECT, "",
           "a name, amp.life_model{}, or a list of them"),
    F_NUM("age_years", bind_module, m.age, YEAR, 0.0, 60.0, "years",
          "age since new"),
    F_NUM("throughput_ah", bind_module, m.throughput, 3600.0, 0.0, 1e9, "Ah",
          "charge taken out since new"),
    F_END};

static void module_defaults (void *spec) {
  ((bind_module *)spec)->m = amp_module_defaults();
}

/* What a cell says of the module, where the module does not say it. */
static void from_cell (const bind_cell *c, amp_module *m) {
  double parallel = m->parallel, r10s = amp_cell_r10s(&c->c);
  amp_basis basis = c->fit != NULL ? AMP_BASIS_MEASURED : AMP_BASIS_ASSUMED;
  if (r10s > 0.0)
    m->cell = &c->c;
  if (c->detailed)
    m->detailed = &c->fit->f->detailed;
  if (m->chemistry == NULL)
    m->chemistry = c->chemistry;
  if (!amp_value_is_set(&m->capacity))
    m->capacity = amp_value_fixed(c->c.capacity * parallel, basis);
  if (!amp_value_is_set(&m->r10s) && r10s > 0.0)
    m->r10s = amp_value_fixed(r10s * m->series / parallel, basis);
}

/* ---- groups that are known by themselves ---- */

static const bind_field group_fields[] = {
    F_NUM("capacity_ah", amp_group_own, capacity, 3600.0, 0.1, 5000.0, "Ah",
          "measured capacity of the group"),
    F_NUM("r10s_mohm", amp_group_own, r10s, 1e-3, 0.001, 1000.0, "mohm",
          "its resistance by a pulse of 10 s"),
    F_NUM("soc_pct", amp_group_own, soc, 0.01, 0.0, 100.0, "%",
          "its charge, of all groups at one time"),
    F_WHOLE("blown", amp_group_own, blown, 0, 1000,
            "its cells whose link has blown"),
    F_END};

static const bind_field *group_field (lua_State *L, const char *who,
                                      const char *key) {
  const char *names[5] = {NULL};
  for (int i = 0; group_fields[i].key != NULL; i++) {
    if (strcmp(group_fields[i].key, key) == 0)
      return &group_fields[i];
    names[i] = group_fields[i].key;
  }
  const char *near = bind_nearest(key, names);
  bind_error(L, NULL, "%s: groups: unknown key '%s'%s%s%s", who, key,
             near ? " (did you mean '" : "", near ? near : "",
             near ? "'?)" : "");
  return NULL;
}

/* The table at 'idx' is group i; it is read into 'g'. Of several keys that
** are wrong the first in byte order is named. */
static void read_group (lua_State *L, int idx, const char *who, int i,
                        amp_group_own *g) {
  const char *key = NULL;
  if (!lua_istable(L, idx))
    bind_error(L, NULL, "%s: groups[%d] must be a table of keys", who, i);
  if (!bind_is_named(L, idx))
    group_field(L, who, "");
  while ((key = bind_next_name(L, idx, key)) != NULL) {
    const bind_field *f = group_field(L, who, key);
    bind_get(L, idx, key);
    double v = bind_number(L, -1, f, who);
    lua_pop(L, 1);
    if (f->kind == BIND_WHOLE)
      g->blown = (int)v;
    else
      *(double *)((char *)g + f->offset) = v;
  }
}

/* groups = {[3] = {..}} at the top; kept with the module, and popped. */
static void read_groups (lua_State *L, int keys, const char *who,
                         amp_module *m) {
  int n = m->series, list = lua_gettop(L);
  if (!lua_istable(L, list))
    bind_error(L, NULL, "%s: groups must be a table of groups by number",
               who);
  amp_group_own *g = lua_newuserdatauv(L, (size_t)n * sizeof *g, 0);
  for (int i = 0; i < n; i++)
    g[i] = amp_group_own_defaults();
  lua_pushnil(L);
  for (; lua_next(L, list); lua_pop(L, 1)) {
    lua_Integer i = lua_isinteger(L, -2) ? lua_tointeger(L, -2) : 0;
    if (i < 1 || i > n)
      bind_error(L, NULL, "%s: groups go by number, 1 .. %d", who, n);
  }
  for (int i = 1; i <= n; i++, lua_pop(L, 1))
    if (lua_rawgeti(L, list, i) != LUA_TNIL)
      read_group(L, lua_gettop(L), who, i, &g[i - 1]);
  m->group = g;
  bind_keep(L, keys);
  lua_pop(L, 1);
}

static const bind_class module_class;

static void module_finish (lua_State *L, int keys, void *spec) {
  bind_module *s = spec;
  amp_module *m = &s->m;
  amp_error err = {0};
  const char *who = bind_who(L, &module_class, keys);
  s->parallel_assumed = m->parallel == 0;
  if (s->parallel_assumed)
    m->parallel = 1;
  if (bind_get(L, keys, "chemistry")) {
    m->chemistry = bind_chemistry_at(L, -1, who);
    lua_pop(L, 1);
  }
  if (bind_get(L, keys, "cell")) {
    from_cell(bind_check(L, -1, "cell", "module: cell"), m);
    lua_pop(L, 1);
  }
  if (m->chemistry == NULL || m->series == 0 ||
      !amp_value_is_set(&m->capacity))
    bind_error(L, NULL, "%s: %s is wanted", who,
               m->chemistry == NULL ? "chemistry"
               : m->series == 0     ? "series"
                                    : "capacity_ah");
  bind_cut_tested(&m->tested, m->capacity.value);
  if (bind_get(L, keys, "life_model")) {
    bind_life_choice(L, -1, who, &s->life);
    lua_pop(L, 1);
  }
  if (bind_get(L, keys, "groups"))
    read_groups(L, keys, who, m);
  if (bind_get(L, keys, "link")) {
    s->link = bind_check(L, -1, "fuse_link", "module: link");
    lua_pop(L, 1);
  }
  if (amp_module_check(m, &err) != AMP_OK)
    bind_raise(L, &module_class, who, &err);
}

void bind_cut_tested (amp_value *tested, double nameplate) {
  if (tested->spread != AMP_TESTED)
    return;
  tested->lo = 0.0;
  tested->hi = tested->value > nameplate ? tested->value : nameplate;
}

double bind_module_tested (const amp_module *m, bool *assumed) {
  bool given = true;
  double q = m->capacity.value;
  if (amp_value_is_set(&m->tested))
    q = m->tested.value;
  else if (amp_value_is_set(&m->soh))
    q *= m->soh.value;
  else
    given = false;
  if (assumed != NULL)
    *assumed = !given;
  return q;
}

static void module_tell (lua_State *L, const void *spec) {
  const bind_module *s = spec;
  const amp_module *m = &s->m;
  char line[160], v[40];
  bool assumed;
  bind_module_tested(m, &assumed);
  if (s->parallel_assumed)
    bind_say(L, "parallel: 1 is taken");
  if (!amp_given(m->nominal_v)) {
    amp_format_double(amp_module_nominal_v(m), 6, v);
    snprintf(line, sizeof line, "nominal_v: %s V by chemistry", v);
    bind_say(L, line);
  }
  if (assumed && m->cell == NULL && m->capacity.basis == AMP_BASIS_MEASURED)
    bind_say(L, "capacity_ah counts as the label's and nothing as tested: "
                "what was measured belongs in tested_ah");
  else if (assumed)
    bind_say(L, "tested_ah, soh_pct: the nameplate is taken, assumed");
  if (!amp_value_is_set(&m->r10s))
    bind_say(L, "r10s_mohm: a default by chemistry is taken, assumed");
  if (!amp_given(m->soc_min) && !amp_given(m->cell_v_min))
    bind_say(L, "soc_min_pct: the chemistry's daily limit is taken, assumed");
  if (!amp_given(m->soc_max) && !amp_given(m->cell_v_max))
    bind_say(L, "soc_max_pct: the chemistry's daily limit is taken, assumed");
}

static int module_nameplate (lua_State *L) {
  bind_module *s = bind_check(L, 1, "module", "nameplate_kwh");
  lua_pushnumber(L, amp_module_nameplate(&s->m) / 3.6e6);
  return 1;
}

static int module_tested (lua_State *L) {
  bind_module *s = bind_check(L, 1, "module", "tested_kwh");
  lua_pushnumber(L, bind_module_tested(&s->m, NULL) *
                        amp_module_nominal_v(&s->m) / 3.6e6);
  return 1;
}

/* What all links of a group hold together, surely, in A */
static int module_links (lua_State *L) {
  bind_module *s = bind_check(L, 1, "module", "links_hold_a");
  return bind_told(L, s->link != NULL ? s->link->a.low * s->m.parallel : NAN);
}

static const luaL_Reg module_methods[] = {
    {"get_links_hold_a", module_links},
    {"get_nameplate_kwh", module_nameplate},
    {"get_tested_kwh", module_tested},
    {NULL, NULL}};

static const bind_class module_class = {
    "module",
    "module",
    "one module as its label and the bench know it, at its terminals",
    module_fields,
    sizeof(bind_module),
    module_defaults,
    module_finish,
    module_tell,
    NULL,
    module_methods};

static const luaL_Reg functions[] = {{"chemistries", chemistries},
                                     {NULL, NULL}};

void bind_chemistry_open (lua_State *L) {
  bind_class_open(L, &chemistry_class);
  luaL_setfuncs(L, functions, 0);
}

void bind_module_open (lua_State *L) {
  bind_class_open(L, &module_class);
}
