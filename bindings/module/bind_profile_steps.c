/*
** bind_profile_steps.c -- a duty that is a test, phase by phase: charge,
** discharge or rest, until a time, a voltage, a charge or a taper ends it.
*/
#include "bind_profile_parts.h"
#include <math.h>
#include <stdio.h>

static const bind_field steps_fields[] = {
    F_TEXT("name", bind_profile, name, "what to call it"),
    F_ELSE(
        "steps", BIND_LIST, "",
        "the phases in order, {{charge_a = .., until_v = .., taper_a = .., "
        "hours = ..}, {rest_s = ..}, ..}; they may also stand in the table "
        "itself"),
    F_NUM("times", bind_profile, factor, 1.0, 1.0, 1e5, "",
          "how often the list runs; once unless given"),
    F_NUM("step_s", bind_profile, first, 1.0, 1e-3, 600.0, "s",
          "longest step inside; 60 unless given"),
    F_TEMPS_AS("temp", bind_profile, place, "temp", -50.0, 70.0, 1,
               "temperature of the place; 25 C unless given"),
    F_END};

static const bind_class steps_class;

enum { STEPS_MOST = 1000 };

/* Keys of a phase; the first six ask, and one of them must stand. */
enum {
  CHARGE_A,
  CHARGE_W,
  DISCHARGE_A,
  DISCHARGE_W,
  REST_S,
  REST_H,
  HOURS,
  TIME_S,
  UNTIL_V,
  UNTIL_SOC,
  TAPER,
  PHASE_KEYS
};

#define PHASE_KEY(key, factor, lo, hi, unit)                                 \
  { key, BIND_NUMBER, BIND_NONE, factor, 0.0, lo, hi, unit, key, 0, "" }

static const bind_field phase_fields[PHASE_KEYS] = {
    PHASE_KEY("charge_a", 1.0, 1e-6, 1e6, "A"),
    PHASE_KEY("charge_w", 1.0, 1e-6, 1e9, "W"),
    PHASE_KEY("discharge_a", 1.0, 1e-6, 1e6, "A"),
    PHASE_KEY("discharge_w", 1.0, 1e-6, 1e9, "W"),
    PHASE_KEY("rest_s", 1.0, 1e-3, 3e7, "s"),
    PHASE_KEY("rest_h", 3600.0, 1e-6, 8760.0, "h"),
    PHASE_KEY("hours", 3600.0, 1e-6, 8760.0, "h"),
    PHASE_KEY("time_s", 1.0, 1e-3, 3e7, "s"),
    PHASE_KEY("until_v", 1.0, 1e-3, 1e6, "V"),
    PHASE_KEY("until_soc_pct", 0.01, 0.0, 100.0, "%"),
    PHASE_KEY("taper_a", 1.0, 1e-6, 1e6, "A")};

/* The phase's numbers in SI, NaN where not given; the table is at the top. */
static void read_phase_keys (lua_State *L, const char *who, double *v) {
  const char *words[PHASE_KEYS + 1];
  int top = lua_gettop(L);
  for (int k = 0; k < PHASE_KEYS; k++)
    words[k] = phase_fields[k].key;
  words[PHASE_KEYS] = NULL;
  if (!lua_istable(L, top))
    bind_error(L, NULL,
               "%s: a table is wanted, {discharge_a = .., hours = "
               "..} (got %s)",
               who, luaL_typename(L, top));
  bind_options(L, top, who, words);
  for (int k = 0; k < PHASE_KEYS; k++) {
    v[k] = NAN;
    if (bind_get(L, top, words[k])) {
      v[k] = bind_number(L, -1, &phase_fields[k], who);
      lua_pop(L, 1);
    }
  }
}

/* Seconds, of two keys that say the same in other units. */
static double one_of (lua_State *L, const char *who, const double *v, int a,
                      int b) {
  if (v[a] == v[a] && v[b] == v[b])
    bind_error(L, NULL, "%s: give %s or %s, not both", who,
               phase_fields[a].key, phase_fields[b].key);
  return v[a] == v[a] ? v[a] : v[b];
}

static amp_phase phase_of (lua_State *L, const char *who, const double *v) {
  static const double sign[] = {-1.0, -1.0, 1.0, 1.0};
  double rest = one_of(L, who, v, REST_S, REST_H);
  double time = one_of(L, who, v, HOURS, TIME_S);
  amp_phase p = {.until_v = v[UNTIL_V], .until_soc = v[UNTIL_SOC]};
  int asks = rest == rest ? 1 : 0;
  for (int k = CHARGE_A; k <= DISCHARGE_W; k++)
    if (v[k] == v[k]) {
      p.ask = sign[k] * v[k];
      p.power = k == CHARGE_W || k == DISCHARGE_W;
      asks++;
    }
  if (asks != 1)
    bind_error(L, NULL,
               "%s: one of charge_a, charge_w, discharge_a, discharge_w, "
               "rest_s and rest_h is wanted (got %d of them)",
               who, asks);
  if (rest == rest && time == time)
    bind_error(L, NULL, "%s: a rest has its time in rest_s or rest_h", who);
  if (rest != rest && time != time)
    bind_error(L, NULL,
               "%s: hours (or time_s) is wanted: the longest it may take",
               who);
  p.time = rest == rest ? rest : time;
  p.taper = v[TAPER] == v[TAPER] ? v[TAPER] : 0.0;
  return p;
}

/* The list of phases at the top into 'out'. */
static size_t read_phases (lua_State *L, const char *who, amp_phase *out) {
  size_t n = lua_istable(L, -1) ? (size_t)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > STEPS_MOST)
    bind_error(L, NULL, "%s: 1 .. %d phases are wanted (got %d)", who,
               STEPS_MOST, (int)n);
  for (size_t i = 0; i < n; i++) {
    double v[PHASE_KEYS];
    char place[96];
    snprintf(place, sizeof place, "%.60s: step %d", who, (int)i + 1);
    lua_rawgeti(L, -1, (lua_Integer)i + 1);
    read_phase_keys(L, place, v);
    out[i] = phase_of(L, place, v);
    lua_pop(L, 1);
  }
  return n;
}

static void phases_raise (lua_State *L, const char *who, amp_error *err) {
  char place[96];
  snprintf(place, sizeof place, "%.60s: step %d", who, (int)err->line);
  bind_raise(L, &steps_class, err->line > 0 ? place : who, err);
}

static void steps_defaults (void *spec) {
  ((bind_profile *)spec)->place = NAN;
  ((bind_profile *)spec)->factor = 1.0;
}

static void steps_finish (lua_State *L, int keys, void *spec) {
  bind_profile *p = spec;
  amp_error err = {0};
  const char *who = p->name[0] != '\0' ? p->name : "steps";
  double times = p->factor;
  if (times != floor(times))
    bind_error(L, NULL, "%s: times must be whole (got %s)", who,
               bind_push_number(L, times));
  amp_phase *list = lua_newuserdatauv(L, STEPS_MOST * sizeof *list, 0);
  if (!bind_get(L, keys, "steps"))
    lua_pushnil(L);
  size_t n = read_phases(L, who, list);
  if (amp_duty_phases(bind_context(L), list, n, (size_t)times, p->first,
                      p->place, &p->duty, &err) != AMP_OK)
    phases_raise(L, who, &err);
  lua_pop(L, 2);
}

static const bind_class steps_class = {
    "profile",
    "steps",
    "a duty: a test of phases at the battery's terminals",
    steps_fields,
    sizeof(bind_profile),
    steps_defaults,
    steps_finish,
    bind_profile_tell,
    bind_profile_free,
    bind_profile_methods};

/* amp.profile.steps{ {discharge_a = 10, hours = 1}, {rest_s = 600} }: what
** stands in the table itself goes to the key 'steps'. */
static int profile_steps (lua_State *L) {
  luaL_checktype(L, 1, LUA_TTABLE);
  lua_settop(L, 1);
  lua_Integer n = (lua_Integer)lua_rawlen(L, 1);
  if (n == 0)
    return bind_new(L, &steps_class, 1);
  lua_newtable(L);
  lua_createtable(L, (int)n, 0);
  for (lua_pushnil(L); lua_next(L, 1) != 0; lua_pop(L, 1)) {
    bool item = lua_isinteger(L, -2) && lua_tointeger(L, -2) >= 1 &&
                lua_tointeger(L, -2) <= n;
    if (item && bind_get(L, 1, "steps"))
      bind_error(L, NULL,
                 "steps: the phases stand both in the table and "
                 "under the key 'steps'");
    lua_pushvalue(L, -2);
    lua_pushvalue(L, -2);
    lua_rawset(L, item ? 3 : 2);
  }
  lua_setfield(L, 2, "steps");
  return bind_new(L, &steps_class, 2);
}

static const luaL_Reg functions[] = {{"profile_steps", profile_steps},
                                     {NULL, NULL}};

void bind_profile_steps_open (lua_State *L) {
  bind_class_open(L, &steps_class);
  luaL_setfuncs(L, functions, 0);
}
