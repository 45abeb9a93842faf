/*
** bind_profile.c -- duties: a day that repeats, the load of one with the sun of
** another, what a log drew. The others: bind_profile_parts.h.
*/
#include "bind_profile_parts.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- a day that repeats ---- */

static const bind_field daily_fields[] = {
    F_TEXT("name", bind_profile, name, "what to call it"),
    F_ELSE_OF("load_w", BIND_LIST, 1.0, 0.0, 1e6, "W", 1,
              "AC load, one figure or 24, hour by hour from midnight"),
    {"load_kwh", BIND_VALUE, offsetof(bind_profile, daily.load_kwh), 3.6e6,
     0.0, 0.0, 1e5, "kWh", "load_kwh", 1, "AC load of a day, spread evenly"},
    F_NUM("dc_load_w", bind_profile, daily.dc_load, 1.0, 0.0, 1e6, "W",
          "load at the battery, all day"),
    F_VALUE("from_battery_kwh", bind_profile, daily.from_battery, 3.6e6, 0.0,
            1e5, "kWh",
            "AC out of the battery a day; overrides load and sun"),
    F_ELSE_OF("months", BIND_LIST, 1.0, 1.0, 12.0, "", 0,
              "months of use, 1 .. 12; all unless given"),
    F_NUM("days_per_year", bind_profile, daily.days_per_year, 1.0, 1.0, 365.0,
          "days", "days of use, spread over the months; all unless given"),
    F_VALUE("solar_kwp", bind_profile, daily.solar_peak, 1000.0, 0.0, 1e4,
            "kW", "peak power of the solar array"),
    F_ELSE_OF("sun_hours", BIND_LIST, 1.0, 0.0, 24.0, "h", 0,
              "full-sun hours a day: one, 12, or one a month named"),
    F_VALUE("performance_pct", bind_profile, daily.performance, 0.01, 1.0,
            100.0, "%", "performance ratio of the array; 75 unless given"),
    F_NUM("round_trip_pct", bind_profile, daily.charge_efficiency, 0.01, 10.0,
          100.0, "%",
          "energy kept when charging, besides the heat in the resistance "
          "that is worked out"),
    {"temp_c", BIND_LIST, BIND_NONE, 1.0, 273.15, -50.0, 70.0, "C", "temp", 2,
     "temperature of the place: one, 12, or one a month named"},
    {"temp_f", BIND_LIST, BIND_NONE, 5.0 / 9.0, 273.15 - 160.0 / 9.0, -58.0,
     158.0, "F", "temp", 2, "the same in degrees Fahrenheit"},
    F_END};

static const bind_class daily_class;

static void daily_defaults (void *spec) {
  bind_profile *p = spec;
  p->daily.charge_efficiency = 1.0;
}

static void read_months (lua_State *L, int keys, const char *who,
                         amp_daily *d) {
  double m[12];
  for (int i = 0; i < 12; i++)
    d->month[i] = true;
  if (!bind_get(L, keys, "months"))
    return;
  int n =
      bind_list(L, -1, bind_field_find(&daily_class, "months"), who, m, 12);
  if (n < 1 || n > 12)
    bind_error(L, NULL, "%s: months must name 1 .. 12 months (got %d)", who,
               n);
  for (int i = 0; i < 12; i++)
    d->month[i] = false;
  for (int i = 0; i < n; i++) {
    if (m[i] != floor(m[i]))
      bind_error(L, NULL, "%s: months are whole numbers 1 .. 12 (got %s)",
                 who, bind_push_number(L, m[i]));
    if (d->month[(int)m[i] - 1])
      bind_error(L, NULL, "%s: month %d is named twice", who, (int)m[i]);
    d->month[(int)m[i] - 1] = true;
  }
  lua_pop(L, 1);
}

static void read_load (lua_State *L, int keys, const char *who,
                       amp_daily *d) {
  if (!bind_get(L, keys, "load_w"))
    return;
  int n = bind_list(L, -1, bind_field_find(&daily_class, "load_w"), who,
                    d->load, 24);
  if (n != 1 && n != 24)
    bind_error(L, NULL, "%s: load_w must hold 1 or 24 numbers (got %d)", who,
               n);
  for (int i = n; i < 24; i++)
    d->load[i] = d->load[0];
  lua_pop(L, 1);
}

/*
** One figure (goes to 'one', maybe with spread), 12, or one a month named;
** other months then get 'other' (NaN: the mean of those given). The field's
** table is at the top. Returns true when months were filled by the mean.
*/
static bool read_monthly (lua_State *L, const bind_field *f, const char *who,
                          const bool *month, amp_value *one, double *out,
                          double other) {
  double v[13], sum = 0.0;
  int active = 0, k = 0;
  if (!lua_istable(L, -1)) {
    *one = bind_value(L, -1, f, who, "profile");
    return false;
  }
  int n = bind_list(L, -1, f, who, v, 12);
  for (int i = 0; i < 12; i++)
    active += month[i];
  if (n == 1) {
    *one = amp_value_fixed(v[0], AMP_BASIS_ASSUMED);
    return false;
  }
  if (n == 12) {
    memcpy(out, v, 12 * sizeof *out);
    return false;
  }
  if (n != active)
    bind_error(L, NULL,
               active == 12 ? "%s: %s must hold 1 or 12 numbers (got %d)"
                            : "%s: %s must hold 1, 12 or one number for each "
                              "month named (got %d)",
               who, f->key, n);
  for (int i = 0; i < n; i++)
    sum += v[i];
  for (int i = 0; i < 12; i++)
    out[i] = month[i] ? v[k++] : other == other ? other : sum / n;
  return other != other;
}

static void read_sun (lua_State *L, int keys, const char *who,
                      bind_profile *p) {
  amp_daily *d = &p->daily;
  bool sun = bind_get(L, keys, "sun_hours");
  if (sun) {
    read_monthly(L, bind_field_find(&daily_class, "sun_hours"), who, d->month,
                 &d->sun_one, d->sun, 0.0);
    lua_pop(L, 1);
  }
  if (sun != amp_value_is_set(&d->solar_peak))
    bind_error(L, NULL, "%s: %s is wanted beside %s", who,
               sun ? "solar_kwp" : "sun_hours",
               sun ? "sun_hours" : "solar_kwp");
  p->performance_assumed = sun && !amp_value_is_set(&d->performance);
  if (!amp_value_is_set(&d->performance)) /* common practice: 65 .. 80 % */
    d->performance = amp_value_fixed(0.75, AMP_BASIS_ASSUMED);
}

static void read_temp (lua_State *L, int keys, const char *who,
                       bind_profile *p) {
  static const char *const words[] = {"temp_c", "temp_f"};
  for (int i = 0; i < 2; i++)
    if (bind_get(L, keys, words[i])) {
      p->temp_filled = read_monthly(
          L, bind_field_find(&daily_class, words[i]), who, p->daily.month,
          &p->daily.temp_one, p->daily.temp, NAN);
      lua_pop(L, 1);
      return;
    }
  p->temp_assumed = true;
  p->daily.temp_one = amp_value_fixed(293.15, AMP_BASIS_ASSUMED);
}

/* One year of hours, owned by a userdata that equal days share. */
static int shared_gc (lua_State *L) {
  amp_duty_free(bind_lent(L), lua_touserdata(L, 1));
  return 0;
}

/* Weak: a duty goes when the last profile that has it goes. */
static void push_duties (lua_State *L) {
  if (luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.duties"))
    return;
  lua_createtable(L, 0, 1);
  lua_pushliteral(L, "v");
  lua_setfield(L, -2, "__mode");
  lua_setmetatable(L, -2);
}

static amp_duty *new_shared (lua_State *L) {
  amp_duty *d = lua_newuserdatauv(L, sizeof *d, 0);
  memset(d, 0, sizeof *d);
  bind_finalizer(L, "ampstead.duty", shared_gc);
  return d;
}

/*
** The year of this day: a sweep asks for the same one many times over, and
** it takes 300 kB that the collector does not see.
*/
static void share_duty (lua_State *L, int keys, const char *who,
                        bind_profile *p) {
  amp_error err = {0};
  push_duties(L);
  lua_pushlstring(L, (const char *)&p->daily, sizeof p->daily);
  lua_pushvalue(L, -1);
  if (lua_rawget(L, -3) == LUA_TNIL) {
    lua_pop(L, 1);
    amp_duty *d = new_shared(L);
    if (amp_duty_daily(bind_context(L), &p->daily, d, &err) != AMP_OK)
      bind_raise(L, &daily_class, who, &err);
    lua_pushvalue(L, -2);
    lua_pushvalue(L, -2);
    lua_rawset(L, -5);
    lua_gc(L, LUA_GCSTEP, (int)(d->n * 33 / 1024));
  }
  p->duty = *(amp_duty *)lua_touserdata(L, -1);
  bind_keep(L, keys);
  lua_pop(L, 2);
}

static void daily_finish (lua_State *L, int keys, void *spec) {
  bind_profile *p = spec;
  const char *who = bind_who(L, &daily_class, keys);
  read_months(L, keys, who, &p->daily);
  read_load(L, keys, who, &p->daily);
  read_sun(L, keys, who, p);
  read_temp(L, keys, who, p);
  share_duty(L, keys, who, p);
}

void bind_profile_tell (lua_State *L, const void *spec) {
  const bind_profile *p = spec;
  if (p->temp_assumed)
    bind_say(L, "temp_c: 20 C is taken, assumed");
  if (p->temp_filled)
    bind_say(L, "temp_c of the other months: the mean of those given");
  if (p->performance_assumed)
    bind_say(L, "performance_pct: 75 % is taken, common practice");
  if (p->duty.note[0] != '\0')
    bind_say(L, p->duty.note);
}

void bind_profile_free (lua_State *L, void *spec) {
  amp_duty_free(bind_lent(L), &((bind_profile *)spec)->duty);
}

/* kWh a year; a duty of a few days repeats. */
static double year_of (const amp_duty *d, const double *v) {
  double sum = 0.0, time = (double)d->n * d->dt;
  for (size_t i = 0; v != NULL && i < d->n; i++)
    sum += v[i] * amp_duty_length(d, i);
  return sum / 3.6e6 * (365.0 * 86400.0 / time);
}

/* profile.year_kwh: AC load of a year */
static int profile_load (lua_State *L) {
  bind_profile *p = bind_check(L, 1, "profile", "year_kwh");
  lua_pushnumber(L, year_of(&p->duty, p->duty.ac));
  return 1;
}

static int profile_supply (lua_State *L) {
  bind_profile *p = bind_check(L, 1, "profile", "supply_kwh");
  lua_pushnumber(L, year_of(&p->duty, p->duty.pv));
  return 1;
}

const luaL_Reg bind_profile_methods[] = {{"get_year_kwh", profile_load},
                                         {"get_supply_kwh", profile_supply},
                                         {NULL, NULL}};

static const bind_class daily_class = {
    "profile",
    "daily",
    "a duty: a day that repeats, with load, sun and temperature",
    daily_fields,
    sizeof(bind_profile),
    daily_defaults,
    daily_finish,
    bind_profile_tell,
    NULL,
    bind_profile_methods};

/* ---- load of one, sun of another ---- */

static const bind_field net_fields[] = {
    F_TEXT("name", bind_profile, name, "what to call it"),
    F_ELSE("load", BIND_OBJECT, "", "the profile whose load is taken"),
    F_ELSE("pv", BIND_OBJECT, "", "the profile whose supply is taken"),
    F_NUM("solar_kwp", bind_profile, factor, 1.0, 0.0, 1e6, "kW",
          "times the supply of pv, where that is given for 1 kW; 1 unless "
          "given"),
    F_ELSE("temp", BIND_OBJECT, "",
           "the profile whose temperature is taken; load's unless given"),
    F_END};

static const bind_class net_class;

static void net_defaults (void *spec) {
  ((bind_profile *)spec)->factor = 1.0;
}

static const amp_duty *net_part (lua_State *L, int keys, const char *key) {
  if (!bind_get(L, keys, key))
    return NULL;
  char who[40];
  snprintf(who, sizeof who, "net: %s", key);
  const bind_profile *p = bind_check(L, -1, "profile", who);
  lua_pop(L, 1);
  return &p->duty;
}

static void net_finish (lua_State *L, int keys, void *spec) {
  bind_profile *p = spec;
  amp_error err = {0};
  const amp_duty *load = net_part(L, keys, "load");
  const amp_duty *pv = net_part(L, keys, "pv");
  const amp_duty *temp = net_part(L, keys, "temp");
  if (load == NULL || pv == NULL)
    bind_error(L, NULL, "net: load and pv are wanted");
  if (amp_duty_net(bind_context(L), load, pv, p->factor, temp, &p->duty,
                   &err) != AMP_OK)
    bind_raise(L, &net_class, "net", &err);
}

static const bind_class net_class = {
    "profile",
    "net",
    "a duty: the load of one profile, the sun of another",
    net_fields,
    sizeof(bind_profile),
    net_defaults,
    net_finish,
    bind_profile_tell,
    bind_profile_free,
    bind_profile_methods};

/* ---- what a log drew ---- */

static const bind_field drawn_fields[] = {
    F_TEXT("name", bind_profile, name, "the log's unless given"),
    F_ELSE("log", BIND_OBJECT, "", "the log; log:profile{} puts it here"),
    F_TEMPS_AS("ambient", bind_profile, place, "temp", -50.0, 70.0, 1,
               "temperature around the battery; the log's first unless "
               "given"),
    F_END};

static void drawn_defaults (void *spec) {
  ((bind_profile *)spec)->place = NAN;
}

static void drawn_finish (lua_State *L, int keys, void *spec) {
  bind_profile *p = spec;
  amp_error err = {0};
  const char *who = p->name[0] != '\0' ? p->name : "profile";
  if (!bind_get(L, keys, "log"))
    bind_error(L, NULL, "%s: log is wanted", who);
  p->log = bind_check(L, -1, "log", "profile: log");
  lua_pop(L, 1);
  if (amp_duty_log(bind_context(L), &p->log->log, p->place, &p->duty, &err) !=
      AMP_OK)
    bind_bad_data(L, who, &err);
}

static const bind_class drawn_class = {
    "profile",
    "drawn",
    "a duty: the current (or power) that a log drew, step by step",
    drawn_fields,
    sizeof(bind_profile),
    drawn_defaults,
    drawn_finish,
    bind_profile_tell,
    bind_profile_free,
    bind_profile_methods};

void bind_profile_open (lua_State *L) {
  bind_class_open(L, &daily_class);
  bind_profile_series_open(L);
  bind_profile_steps_open(L);
  bind_class_open(L, &net_class);
  bind_class_open(L, &drawn_class);
}
