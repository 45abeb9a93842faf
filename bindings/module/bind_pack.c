/*
** bind_pack.c -- a pack: which modules stand where, how many in a string, how
** many strings, which part of the charge is used, wiring, balancing, fuses,
** heat.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const bind_field pack_fields[] = {
    F_TEXT("name", bind_pack, name, "what to call it"),
    F_ELSE_OF("module", BIND_OBJECT, 1.0, 0.0, 0.0, "", 1,
              "amp.module{} it is made of; or a list of series * parallel of "
              "them, string by string"),
    F_ELSE_OF("strings", BIND_LIST, 1.0, 0.0, 0.0, "", 1,
              "the modules of each string in their order: {{m1, m2}, {m3, "
              "m4}}; parallel first, false where one is missing"),
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
    F_NUM("link_mohm", bind_pack, link, 1e-3, 0.0, 1000.0, "mohm",
          "from one module to the next, with both its joints"),
    F_NUM("lead_mohm", bind_pack, lead, 1e-3, 0.0, 1000.0, "mohm",
          "both leads of a string together, with joints; parallel first: of "
          "a module to the bars of its level"),
    F_NUM("bleed_a", bind_pack, bleed, 1.0, 0.0, 100.0, "A",
          "passive balancing: what is bled from a group"),
    F_NUM("bleed_above_v", bind_pack, v_bleed, 1.0, 0.5, 10.0, "V",
          "voltage of a group above which it is bled"),
    F_NUM("bleed_band_v", bind_pack, bleed_band, 1.0, 0.0, 1.0, "V",
          "as far as a group must stand above the lowest to be bled; 0.005 "
          "unless given"),
    F_ELSE("string_fuse", BIND_LIST, "",
           "a fuse in each string: {rating_a = 125, time_s = 60} or "
           "{curve = {{a, s}, ..}}; parallel first: in each module"),
    F_ELSE("current_limits", BIND_LIST, "",
           "C-rate by temperature: lfp_prismatic, lfp_small, lithium, or "
           "{charge = {{temp_c, c_rate}, ..}, discharge = {..}}; straight "
           "between the points, no current colder or warmer than they go"),
    F_FLAG("entropic_heat", bind_pack, entropic,
           "true: count heat that comes and goes with charge"),
    F_NUM("cooling_w_per_k", bind_pack, cooling, 1.0, 0.0, 10000.0, "W/K",
          "of a module to the surroundings; by its mass unless given"),
    F_NUM("coolant_l_min", bind_pack, coolant_flow, 1.0, 0.0, 1000.0, "l/min",
          "coolant past a module"),
    F_TEMP("coolant_c", bind_pack, coolant_temp, -40.0, 90.0,
           "temperature of the coolant at the inlet"),
    F_NUM("coolant_w_per_k", bind_pack, coolant_wall, 1.0, 0.0, 10000.0,
          "W/K", "of a module to the coolant through plate and wall"),
    F_FLAG("glycol", bind_pack, glycol,
           "true: half glycol, half water by volume; else water"),
    F_NUM("heater_w", bind_pack, heater.power, 1.0, 0.0, 100000.0, "W",
          "heater of the whole pack"),
    {"heater_on_c", BIND_NUMBER, offsetof(bind_pack, heater.on), 1.0, 273.15,
     -60.0, 60.0, "C", "heater_on", 0,
     "it goes on where the coldest module is this cold; 5 unless given"},
    {"heater_off_c", BIND_NUMBER, offsetof(bind_pack, heater.off), 1.0,
     273.15, -60.0, 60.0, "C", "heater_off", 0,
     "and off where that is this warm; 5 above heater_on_c unless given"},
    F_ELSE("heater_from", BIND_CHOICE, "pack outside",
           "what feeds the heater; pack unless given"),
    F_END};

static const bind_class pack_class;

static void pack_defaults (void *spec) {
  bind_pack *s = spec;
  s->soc_min = s->soc_max = s->cell_v_min = s->cell_v_max = NAN;
  s->string_first = true;
  s->bleed_band = 0.005;
  s->cooling = s->heater.on = s->heater.off = NAN;
  s->coolant_temp = NAN;
  s->v_bleed = NAN;
}

static amp_status window_of (const bind_pack *s, const amp_converter *c,
                             double v_abs_max, amp_window *w,
                             amp_error *err) {
  amp_module m = s->module->m;
  amp_module_rewindow(&m, s->soc_min, s->soc_max, s->cell_v_min,
                      s->cell_v_max);
  return amp_window_of(m.chemistry, amp_build_groups(&s->build), m.soc_min,
                       m.soc_max, m.cell_v_min, m.cell_v_max,
                       c != NULL ? c->v_min : 0.0, c != NULL ? c->v_max : 0.0,
                       v_abs_max, w, err);
}

amp_status bind_pack_window (const bind_pack *s, amp_window *w,
                             amp_error *err) {
  return window_of(s, NULL, 0.0, w, err);
}

/* A window that is refused: ends the wrong way round are told as given. */
static void raise_window (lua_State *L, const char *who, const bind_pack *s,
                          const amp_error *err) {
  amp_module m = s->module->m;
  amp_module_rewindow(&m, s->soc_min, s->soc_max, s->cell_v_min,
                      s->cell_v_max);
  const char *what = m.cell_v_min >= m.cell_v_max ? "cell_v_min"
                     : m.soc_min >= m.soc_max     ? "soc_min_pct"
                                                  : NULL;
  if (what == NULL)
    bind_raise(L, &pack_class, who, err);
  bool volts = m.cell_v_min >= m.cell_v_max;
  bind_push_number(L, volts ? m.cell_v_min : m.soc_min * 100.0);
  bind_push_number(L, volts ? m.cell_v_max : m.soc_max * 100.0);
  bind_error(L, NULL, "%s: %s must lie below %s (got %s and %s)", who, what,
             volts ? "cell_v_max" : "soc_max_pct", lua_tostring(L, -2),
             lua_tostring(L, -1));
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

/* ---- which module stands where ---- */

/* Modules string by string, as they were given; NULL: none there. */
typedef struct shelf {
  const bind_module *at[AMP_BUILD_MODULES];
  int strings, count[AMP_BUILD_MODULES], all;
} shelf;

static void shelf_add (lua_State *L, const char *who, shelf *h) {
  if (h->all >= AMP_BUILD_MODULES)
    bind_error(L, NULL, "%s: at most %d modules can be listed", who,
               AMP_BUILD_MODULES);
  bool none = lua_isboolean(L, -1) && !lua_toboolean(L, -1);
  h->at[h->all++] = none ? NULL : bind_check(L, -1, "module", who);
}

/* The first that is there. */
static const bind_module *shelf_first (const shelf *h) {
  for (int i = 0; i < h->all; i++)
    if (h->at[i] != NULL)
      return h->at[i];
  return NULL;
}

/* The table at the top is a list with nothing beside its places 1 .. n: what
** stands past a hole or under a name would be left out in silence. */
static void only_places (lua_State *L, const char *who, const char *what) {
  lua_Integer n = (lua_Integer)lua_rawlen(L, -1), held = 0;
  for (lua_pushnil(L); lua_next(L, -2) != 0; lua_pop(L, 1))
    held++;
  if (held != n)
    bind_error(L, NULL,
               "%s: %s must be a list without holes or names (%d places in a "
               "row, %d things in it)",
               who, what, (int)n, (int)held);
}

/* {{m1, m2}, {m3, m4}} at the top */
static void read_strings (lua_State *L, const char *who, shelf *h) {
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > AMP_BUILD_MODULES)
    bind_error(L, NULL, "%s: strings wants a list of lists of modules", who);
  only_places(L, who, "strings");
  for (int s = 0; s < n; s++, lua_pop(L, 1)) {
    lua_rawgeti(L, -1, s + 1);
    h->count[s] = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
    if (h->count[s] < 1)
      bind_error(L, NULL, "%s: strings[%d] must be a list of modules", who,
                 s + 1);
    only_places(L, who, "a string");
    for (int i = 0; i < h->count[s]; i++, lua_pop(L, 1)) {
      lua_rawgeti(L, -1, i + 1);
      shelf_add(L, who, h);
    }
  }
  h->strings = n;
}

/* {m1, m2, ..} at the top, as many as series * parallel */
static void read_list (lua_State *L, const char *who, bind_pack *s,
                       shelf *h) {
  int n = (int)lua_rawlen(L, -1);
  if (s->series == 0 || s->parallel == 0)
    bind_error(L, NULL, "%s: %s is wanted", who,
               s->series == 0 ? "series" : "parallel");
  if (n != s->series * s->parallel)
    bind_error(L, NULL,
               "%s: %d modules are listed, %d in series times %d in parallel "
               "are %d",
               who, n, s->series, s->parallel, s->series * s->parallel);
  only_places(L, who, "module");
  for (int i = 0; i < n; i++, lua_pop(L, 1)) {
    lua_rawgeti(L, -1, i + 1);
    shelf_add(L, who, h);
  }
  h->strings = s->parallel;
  for (int k = 0; k < h->strings; k++)
    h->count[k] = s->series;
}

/* Position i of every string that has one; parallel-first joins those. */
static int level_of (const shelf *h, int i, const amp_module **out) {
  int n = 0, at = 0;
  for (int s = 0; s < h->strings; at += h->count[s++])
    if (i < h->count[s] && h->at[at + i] != NULL)
      out[n++] = &h->at[at + i]->m;
  return n;
}

/* The shelf as a build. */
static void place_modules (lua_State *L, const char *who, bind_pack *s,
                           const shelf *h) {
  amp_build *b = &s->build;
  int longest = 0, at = 0;
  for (int k = 0; k < h->strings; k++)
    longest = h->count[k] > longest ? h->count[k] : longest;
  s->series = longest;
  s->parallel = h->strings;
  if (s->string_first) {
    b->outer = h->strings;
    for (int k = 0; k < h->strings; k++)
      b->inner[k] = h->count[k];
    for (int i = 0; i < h->all; i++) {
      if (h->at[i] == NULL)
        bind_error(L, NULL,
                   "%s: a string with a module missing carries nothing: "
                   "leave the string out",
                   who);
      b->module[i] = &h->at[i]->m;
    }
    return;
  }
  b->outer = longest;
  for (int i = 0; i < longest; at += b->inner[i++])
    if ((b->inner[i] = level_of(h, i, &b->module[at])) == 0)
      bind_error(L, NULL, "%s: nothing is left of level %d", who, i + 1);
}

/* ---- the mean module of unequal ones ---- */

static amp_basis module_basis (const amp_module *m) {
  if (amp_value_is_set(&m->tested))
    return m->tested.basis;
  return amp_value_is_set(&m->soh)
             ? amp_basis_worse(m->capacity.basis, m->soh.basis)
             : AMP_BASIS_ASSUMED;
}

static double mean_of (const shelf *h, double (*f)(const amp_module *)) {
  double sum = 0.0;
  int n = 0;
  for (int i = 0; i < h->all; i++)
    if (h->at[i] != NULL) {
      sum += f(&h->at[i]->m);
      n++;
    }
  return sum / n;
}

static double capacity_of (const amp_module *m) {
  return m->capacity.value;
}

static double mass_of (const amp_module *m) {
  return m->mass;
}

static double nominal_of (const amp_module *m) {
  return amp_module_nominal_v(m);
}

/* Nameplate, resistance and mass are means; the state of health is what the
** pack holds over that. What nobody gave stays open. */
static void mean_module (bind_pack *s, const shelf *h, double holds) {
  amp_module *m = &s->mean.m;
  amp_basis tested = AMP_BASIS_MEASURED, r10s = AMP_BASIS_MEASURED;
  bool measured = true;
  s->mean = *shelf_first(h);
  for (int i = 0; i < h->all; i++) {
    if (h->at[i] == NULL)
      continue;
    const amp_module *one = &h->at[i]->m;
    tested = amp_basis_worse(tested, module_basis(one));
    measured = measured && amp_value_is_set(&one->r10s);
    r10s = amp_basis_worse(r10s, one->r10s.basis);
  }
  m->group = NULL;
  m->name[0] = '\0';
  m->nominal_v = mean_of(h, nominal_of);
  m->capacity = amp_value_fixed(mean_of(h, capacity_of), tested);
  m->tested = amp_value_fixed(holds / s->parallel, tested);
  memset(&m->soh, 0, sizeof m->soh);
  memset(&m->r10s, 0, sizeof m->r10s);
  if (measured)
    m->r10s = amp_value_fixed(mean_of(h, amp_module_r10s), r10s);
  m->mass = mean_of(h, mass_of);
}

static bool all_one (const shelf *h) {
  for (int i = 1; i < h->all; i++)
    if (h->at[i] != h->at[0])
      return false;
  for (int k = 1; k < h->strings; k++)
    if (h->count[k] != h->count[0])
      return false;
  return true;
}

static void place_even (bind_pack *s, const bind_module *m) {
  s->even = true;
  s->module = m;
  amp_build_uniform(&m->m, s->series, s->parallel, s->string_first,
                    &s->build);
}

static void read_modules (lua_State *L, int keys, const char *who,
                          bind_pack *s) {
  shelf h = {.strings = 0};
  bool strings = bind_get(L, keys, "strings");
  if (strings)
    read_strings(L, who, &h);
  else if (!bind_get(L, keys, "module") ||
           (bind_test(L, -1, "module") == NULL && !lua_istable(L, -1)))
    bind_error(L, NULL, "%s: module = amp.module{} is wanted", who);
  else if (lua_istable(L, -1))
    read_list(L, who, s, &h);
  if (h.all == 0) {
    if (s->series == 0 || s->parallel == 0)
      bind_error(L, NULL, "%s: %s is wanted", who,
                 s->series == 0 ? "series" : "parallel");
    place_even(s, lua_touserdata(L, -1));
  } else {
    s->build = amp_build_defaults();
    s->build.string_first = s->string_first;
    place_modules(L, who, s, &h);
    if (all_one(&h))
      place_even(s, h.at[0]);
  }
  lua_pop(L, 1);
  if (s->even && s->module->m.group == NULL)
    return;
  /* what it holds; of unlike groups too */
  amp_error err = {0};
  amp_window w;
  amp_pack *p = lua_newuserdatauv(L, sizeof *p, 0);
  if (h.all == 0) {
    h.at[0] = s->module;
    h.all = h.strings = h.count[0] = 1;
  }
  s->module = shelf_first(&h);
  if (window_of(s, NULL, 0.0, &w, &err) != AMP_OK)
    raise_window(L, who, s, &err);
  if (amp_build_pack(&s->build, &w, 1.0, p, NULL, &err) != AMP_OK)
    bind_raise(L, &pack_class, who, &err);
  mean_module(s, &h, amp_pack_capacity(p));
  s->module = &s->mean;
  s->even = false;
  lua_pop(L, 1);
}

/* ---- balance, fuse, heat ---- */

/* {{x, y}, ..} at the top into x, y; 'what' names it. */
static int read_curve (lua_State *L, const char *who, const char *what,
                       double shift, double *x, double *y, int most) {
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > most)
    bind_error(L, NULL, "%s: %s wants 1 .. %d points", who, what, most);
  for (int i = 0; i < n; i++, lua_pop(L, 1)) {
    lua_rawgeti(L, -1, i + 1);
    if (!lua_istable(L, -1) || lua_rawlen(L, -1) != 2)
      bind_error(L, NULL, "%s: %s: point %d must be {x, y}", who, what,
                 i + 1);
    lua_rawgeti(L, -1, 1);
    lua_rawgeti(L, -2, 2);
    if (lua_type(L, -1) != LUA_TNUMBER || lua_type(L, -2) != LUA_TNUMBER)
      bind_error(L, NULL, "%s: %s: point %d must be two numbers", who, what,
                 i + 1);
    x[i] = lua_tonumber(L, -2) + shift;
    y[i] = lua_tonumber(L, -1);
    lua_pop(L, 2);
  }
  return n;
}

/* Field of the table at the top, or NaN. */
static double number_in (lua_State *L, const char *who, const char *what,
                         const char *key) {
  double v = NAN;
  lua_getfield(L, -1, key);
  if (!lua_isnil(L, -1) && lua_type(L, -1) != LUA_TNUMBER)
    bind_error(L, NULL, "%s: %s: %s must be a number", who, what, key);
  if (!lua_isnil(L, -1))
    v = lua_tonumber(L, -1);
  lua_pop(L, 1);
  return v;
}

/* Points of curves in the user's words, for errors alone. */
static const bind_field point_fields[] = {
    {"a point's temp_c", BIND_NUMBER, BIND_NONE, 1.0, 273.15, 0.0, 0.0, "C",
     "rate_temp", 0, ""},
    {"a point's c_rate", BIND_NUMBER, BIND_NONE, 1.0, 0.0, 0.0, 0.0, "1/h",
     "rate", 0, ""},
    {"rating_a, or a point's current,", BIND_NUMBER, BIND_NONE, 1.0, 0.0, 0.0,
     0.0, "A", "trip_current", 0, ""},
    {"time_s, or a point's time,", BIND_NUMBER, BIND_NONE, 1.0, 0.0, 0.0, 0.0,
     "s", "trip_time", 0, ""},
    F_END};

static const bind_class point_class = {
    "pack", "pack", "", point_fields, 0, NULL, NULL, NULL, NULL, NULL};

static void raise_point (lua_State *L, const char *who, const char *what,
                         const amp_error *err) {
  lua_pushfstring(L, "%s: %s", who, what);
  bind_raise(L, &point_class, lua_tostring(L, -1), err);
}

static void read_fuse (lua_State *L, int keys, const char *who,
                       bind_pack *s) {
  amp_error err = {0};
  if (!bind_get(L, keys, "string_fuse"))
    return;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: string_fuse must be a table of keys", who);
  lua_getfield(L, -1, "curve");
  if (lua_isnil(L, -1)) {
    lua_pop(L, 1);
    double rating = number_in(L, who, "string_fuse", "rating_a");
    double time = number_in(L, who, "string_fuse", "time_s");
    if (rating != rating || time != time)
      bind_error(L, NULL,
                 "%s: string_fuse: rating_a with time_s, or curve, is wanted",
                 who);
    s->trip = amp_trip_rating(rating, time);
  } else {
    s->trip.n = read_curve(L, who, "string_fuse: curve", 0.0, s->trip.amp,
                           s->trip.time, AMP_TRIP_MAX);
    lua_pop(L, 1);
  }
  if (amp_trip_check(&s->trip, &err) != AMP_OK)
    raise_point(L, who, "string_fuse", &err);
  s->build.trip = &s->trip;
  lua_pop(L, 1);
}

static void read_rate_curve (lua_State *L, const char *who, const char *key,
                             amp_rate_curve *c) {
  lua_getfield(L, -1, key);
  if (!lua_isnil(L, -1))
    c->n = read_curve(L, who, key, 273.15, c->temp, c->rate, AMP_RATES_MAX);
  lua_pop(L, 1);
}

static void read_limits (lua_State *L, int keys, const char *who,
                         bind_pack *s) {
  amp_error err = {0};
  if (!bind_get(L, keys, "current_limits"))
    return;
  if (lua_type(L, -1) == LUA_TSTRING) {
    const char *name = lua_tostring(L, -1);
    s->build.rates = amp_rates_find(name);
    if (s->build.rates == NULL)
      bind_error(L, NULL,
                 "%s: current_limits '%s' are not known (lfp_prismatic, "
                 "lfp_small, lithium, or your own)",
                 who, name);
  } else {
    if (!lua_istable(L, -1))
      bind_error(L, NULL, "%s: current_limits must be a name or a table",
                 who);
    read_rate_curve(L, who, "charge", &s->rates.charge);
    read_rate_curve(L, who, "discharge", &s->rates.discharge);
    if (s->rates.charge.n == 0 && s->rates.discharge.n == 0)
      bind_error(L, NULL, "%s: current_limits: charge or discharge is wanted",
                 who);
    if (amp_rates_check(&s->rates, &err) != AMP_OK)
      raise_point(L, who, "current_limits", &err);
    s->build.rates = &s->rates;
  }
  lua_pop(L, 1);
}

/* J/(l K): water at 27 C 996.5 kg/m3, 4181 J/(kg K) (Perry, table 2-135);
** half glycol by volume 1060 and 3400, which two sources bound to 5 %. */
#define WATER (0.9965 * 4181.0)
#define GLYCOL (1.060 * 3400.0)

static void read_heat (lua_State *L, int keys, const char *who,
                       bind_pack *s) {
  amp_build *b = &s->build;
  amp_error err = {0};
  double w = s->coolant_flow / 60.0 * (s->glycol ? GLYCOL : WATER);
  if (s->coolant_flow > 0.0) {
    if (!(s->coolant_wall > 0.0) || s->coolant_temp != s->coolant_temp)
      bind_error(L, NULL, "%s: coolant_l_min wants %s", who,
                 s->coolant_wall > 0.0 ? "coolant_c" : "coolant_w_per_k");
    b->coolant = amp_coolant_conductance(w, s->coolant_wall);
    b->coolant_temp = s->coolant_temp;
  }
  if (s->heater.on != s->heater.on)
    s->heater.on = 278.15;
  if (s->heater.off != s->heater.off)
    s->heater.off = s->heater.on + 5.0;
  s->heater.from_pack = 1;
  if (bind_get(L, keys, "heater_from")) {
    const char *from =
        lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
    s->heater.from_pack = strcmp(from, "outside") != 0;
    if (s->heater.from_pack && strcmp(from, "pack") != 0)
      bind_error(L, NULL, "%s: heater_from must be \"pack\" or \"outside\"",
                 who);
    lua_pop(L, 1);
  }
  if (amp_heater_check(&s->heater, &err) != AMP_OK)
    bind_raise(L, &pack_class, who, &err);
  if (s->heater.power > 0.0 && s->module->m.mass != s->module->m.mass)
    bind_error(L, NULL, "%s: heater_w wants mass_kg of %s", who,
               s->even ? "the module" : "every module");
  b->heater = s->heater;
  b->cooling = s->cooling;
  b->entropic = s->entropic;
}

static void read_wiring (lua_State *L, const char *who, bind_pack *s) {
  if (s->bleed > 0.0 && s->v_bleed != s->v_bleed)
    bind_error(L, NULL, "%s: bleed_a wants bleed_above_v", who);
  s->build.link = s->link;
  s->build.lead = s->lead;
  s->build.bleed = s->bleed;
  s->build.v_bleed = s->bleed > 0.0 ? s->v_bleed : 0.0;
  s->build.bleed_band = s->bleed_band;
}

bool bind_pack_bare (const bind_pack *p) {
  const amp_build *b = &p->build;
  return p->even && b->trip == NULL && b->rates == NULL && !b->entropic &&
         b->link == 0.0 && b->lead == 0.0 && b->bleed == 0.0 &&
         b->cooling != b->cooling && b->coolant == 0.0 &&
         b->heater.power == 0.0;
}

amp_status bind_pack_build (const bind_pack *p, const amp_window *w,
                            amp_pack *out, amp_place *place, amp_error *err) {
  return amp_build_pack(&p->build, w, 1.0, out, place, err);
}

static void pack_finish (lua_State *L, int keys, void *spec) {
  bind_pack *s = spec;
  amp_window w;
  amp_error err = {0};
  const char *who = bind_who(L, &pack_class, keys);
  read_order(L, keys, who, s);
  read_modules(L, keys, who, s);
  read_wiring(L, who, s);
  read_fuse(L, keys, who, s);
  read_limits(L, keys, who, s);
  read_heat(L, keys, who, s);
  if (window_of(s, NULL, 0.0, &w, &err) != AMP_OK)
    raise_window(L, who, s, &err);
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

/* By charge, as is common: tested kWh times the share of charge used */
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
  lua_pushinteger(L, amp_build_groups(&s->build));
  return 1;
}

static int pack_mass (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "mass_kg");
  double mass = s->module->m.mass;
  if (!amp_given(mass) || !(mass > 0.0))
    return 0;
  lua_pushnumber(L, mass * amp_build_modules(&s->build));
  return 1;
}

/*
** pack:autonomy(duty, inverter) --> {days, usable_kwh, need_kwh, load_kwh,
** supply_kwh, month}: days without sun in the month that asks most, usable
** over the daily need at the battery
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
  bind_put(L, "usable_kwh", usable / 3.6e6);
  bind_put(L, "need_kwh", worst.need / 3.6e6);
  bind_put(L, "load_kwh", worst.load / 3.6e6);
  bind_put(L, "supply_kwh", worst.supply / 3.6e6);
  bind_put(L, "days", worst.need > 0.0 ? usable / worst.need : NAN);
  if (worst.month >= 0) {
    lua_pushinteger(L, worst.month + 1);
    lua_setfield(L, -2, "month");
  }
  return 1;
}

/* The pack of 's' in its own window, at the top of the stack. */
static amp_pack *push_pack (lua_State *L, const bind_pack *s,
                            amp_place *place, const char *who) {
  amp_error err = {0};
  amp_window w;
  amp_pack *p = lua_newuserdatauv(L, sizeof *p, 0);
  if (window_of(s, NULL, 0.0, &w, &err) != AMP_OK ||
      bind_pack_build(s, &w, p, place, &err) != AMP_OK)
    bind_raise(L, &pack_class, who, &err);
  return p;
}

/*
** pack:balance() --> {ah, hours, lost_ah, string (level), module, name,
** group}: what the fullest group has to lose until all of its string are full
** together, and how long that takes with bleed_a without a pause (nil: no
** bleed_a)
*/
static int pack_balance (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "balance");
  amp_place place[AMP_PACK_LEAVES];
  amp_pack *p = push_pack(L, s, place, "balance");
  amp_balance b = amp_pack_balance(p);
  const amp_build *of = &s->build;
  const amp_place *at = &place[b.leaf];
  int n = at->inner;
  for (int o = 0; of->all == NULL && o < at->outer; o++)
    n += of->inner[o];
  const amp_module *m = of->all != NULL ? of->all : of->module[n];
  lua_newtable(L);
  bind_put(L, "ah", b.charge / 3600.0);
  bind_put(L, "lost_ah", b.lost / 3600.0);
  bind_put(L, "hours", b.time < HUGE_VAL ? b.time / 3600.0 : NAN);
  if (!(b.charge > 0.0))
    return 1;
  bind_put(L, of->string_first ? "string" : "level", at->outer + 1);
  bind_put(L, "module", at->inner + 1);
  bind_put(L, "group", at->group + 1);
  if (m->name[0] != '\0') {
    bind_put_text(L, "name", m->name);
  }
  return 1;
}

static const bind_field warm_fields[] = {
    F_ELSE_OF("from_c", BIND_NUMBER, 1.0, -60.0, 60.0, "C", 0, ""),
    F_ELSE_OF("to_c", BIND_NUMBER, 1.0, -60.0, 60.0, "C", 0, ""),
    F_ELSE_OF("heater_w", BIND_NUMBER, 1.0, 0.1, 1e6, "W", 0, ""),
    F_ELSE_OF("ambient_c", BIND_NUMBER, 1.0, -60.0, 60.0, "C", 0, ""), F_END};

/* No cell is one any more far below: 100 C. Common practice, no source. */
static const double END_MOST = 373.15;

/* Option of warm, or what is taken where it is not given. */
static double warm_option (lua_State *L, int k, double otherwise) {
  double v = otherwise;
  lua_getfield(L, 2, warm_fields[k].key);
  if (!lua_isnil(L, -1))
    v = bind_number(L, -1, &warm_fields[k], "warm");
  else if (k < 2)
    bind_error(L, NULL, "warm: %s is wanted", warm_fields[k].key);
  lua_pop(L, 1);
  return v;
}

/* With a heater as amp_warm has it; without one what stays in the cells, and
** what holds them there. C. */
static amp_status warm_of (double heat, double cooling, double ambient,
                           double power, double from, double to,
                           amp_warming *w, amp_error *err) {
  if (amp_given(power))
    return amp_warm(heat, cooling, ambient + 273.15, power, from + 273.15,
                    to + 273.15, w, err);
  *w = (amp_warming){
      NAN, NAN, heat * (to - from), NAN, fmax(cooling * (to - ambient), 0.0),
      NAN};
  return AMP_OK;
}

/*
** pack:warm{ from_c, to_c, heater_w, ambient_c } --> {hours, kwh,
** stored_kwh, lost_kwh, hold_w, end_c, usable_pct}, end_far where end_c would
** be above 100 C and is withheld: heater_w is the pack's
** own unless given (none: neither hours nor losses), ambient_c the
** temperature it starts from
*/
static int pack_warm (lua_State *L) {
  static const char *const keys[] = {"from_c", "to_c", "heater_w",
                                     "ambient_c", NULL};
  bind_pack *s = bind_check(L, 1, "pack", "warm");
  amp_place place[AMP_PACK_LEAVES];
  amp_warming w;
  amp_error err = {0};
  double heat = 0.0, cooling = 0.0;
  lua_settop(L, 2);
  bind_options(L, 2, "warm", keys);
  if (!lua_istable(L, 2))
    bind_error(L, NULL, "warm: from_c is wanted");
  double own = s->heater.power > 0.0 ? s->heater.power : NAN;
  double from = warm_option(L, 0, NAN), to = warm_option(L, 1, NAN);
  double power = warm_option(L, 2, own);
  double ambient = warm_option(L, 3, from);
  if (!(to >= from))
    bind_error(L, NULL, "warm: to_c must not be below from_c");
  amp_pack *p = push_pack(L, s, place, "warm");
  for (int k = 0; k < p->leaves; k++) {
    heat += p->leaf[k].heat_capacity;
    cooling += p->leaf[k].cooling;
  }
  if (!(heat > 0.0))
    bind_error(L, NULL, "warm: mass_kg of the module is wanted");
  if (warm_of(heat, cooling, ambient, power, from, to, &w, &err) != AMP_OK)
    return bind_raise(L, NULL, "warm", &err);
  lua_newtable(L);
  bind_put(L, "hours", w.time / 3600.0);
  bind_put(L, "kwh", w.energy / 3.6e6);
  bind_put(L, "stored_kwh", w.stored / 3.6e6);
  bind_put(L, "lost_kwh", w.lost / 3.6e6);
  bind_put(L, "hold_w", w.hold);
  bool far = w.end > END_MOST; /* also where nothing cools it */
  bind_put(L, "end_c", far ? NAN : w.end - 273.15);
  bind_put_flag(L, "end_far", far);
  bind_put(L, "heat_kj_per_k", heat / 1000.0);
  bind_put(L, "cooling_w_per_k", cooling);
  return 1;
}

static const luaL_Reg pack_methods[] = {{"autonomy", pack_autonomy},
                                        {"balance", pack_balance},
                                        {"warm", pack_warm},
                                        {"get_tested_kwh", pack_tested},
                                        {"get_usable_kwh", pack_usable},
                                        {"get_groups", pack_groups},
                                        {"get_mass_kg", pack_mass},
                                        {NULL, NULL}};

static const bind_class pack_class = {
    "pack",
    "pack",
    "modules joined into strings, strings into a pack",
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
