/*
** bind_profile.c -- duties: a day that repeats, a series from a file, or the
** load of one with the sun of another.
*/
#include "bind.h"
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

static void profile_tell (lua_State *L, const void *spec) {
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

static void profile_free (lua_State *L, void *spec) {
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

static const luaL_Reg profile_methods[] = {{"get_year_kwh", profile_load},
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
    profile_tell,
    NULL,
    profile_methods};

/* ---- a series from a file ---- */

static const bind_field series_fields[] = {
    F_TEXT("name", bind_profile, name, "where it came from"),
    F_ELSE("text", BIND_LIST, "", "the file's text"),
    F_ELSE("columns", BIND_LIST, "",
           "{our name = theirs} of time_s load_w dc_load_w pv_w temp_c"),
    F_ELSE("sep", BIND_CHOICE, "",
           "what parts the columns; found unless "
           "given"),
    F_ELSE("decimal", BIND_CHOICE, "",
           "the decimal mark; a point unless "
           "given"),
    {"temp_c", BIND_NUMBER, offsetof(bind_profile, place), 1.0, 273.15, -50.0,
     70.0, "C", "temp", 0,
     "temperature of the place where no column gives it; 20 unless given"},
    F_NUM("first_s", bind_profile, first, 1.0, 0.0, 86399.0, "s",
          "seconds after midnight of the first row; 0 unless given"),
    {"leap", BIND_FLAG, offsetof(bind_profile, leap), 1.0, 0.0, 0.0, 0.0, "",
     "leap", 0, "true: the year has a 29 February"},
    F_END};

static const char *const series_names[] = {"time_s", "load_w", "dc_load_w",
                                           "pv_w",   "temp_c", NULL};

static const bind_class series_class;

/* Which column of the file holds ours, or -1. */
static size_t column_of (lua_State *L, int keys, const amp_csv *csv,
                         const char *ours, const char *who) {
  size_t c = (size_t)-1;
  if (bind_get(L, keys, "columns")) {
    if (lua_istable(L, -1) && bind_get(L, -1, ours)) {
      const char *theirs = lua_tostring(L, -1);
      c = theirs != NULL ? amp_csv_find(csv, theirs) : (size_t)-1;
      if (c == (size_t)-1)
        bind_error(L, "data", "%s: no column is named '%s' (wanted for %s)",
                   who, theirs != NULL ? theirs : "?", ours);
      lua_pop(L, 2);
      return c;
    }
    lua_pop(L, 1);
  }
  return amp_csv_find(csv, ours);
}

/* What is read lives in a userdata until the object is made. */
typedef struct reading {
  const amp_context *ctx;
  amp_csv *csv;
  double *v[5];
  size_t n;
} reading;

static int reading_gc (lua_State *L) {
  reading *r = lua_touserdata(L, 1);
  for (int k = 0; k < 5; k++)
    amp_free(r->ctx, r->v[k], r->n * sizeof(double));
  if (r->csv != NULL)
    amp_csv_free(r->ctx, r->csv);
  memset(r, 0, sizeof *r);
  return 0;
}

static reading *new_reading (lua_State *L) {
  reading *r = lua_newuserdatauv(L, sizeof *r, 0);
  memset(r, 0, sizeof *r);
  r->ctx = bind_context(L);
  bind_finalizer(L, "ampstead.reading", reading_gc);
  return r;
}

static void read_column (lua_State *L, reading *r, int k, size_t col,
                         const char *who) {
  r->v[k] = amp_alloc(r->ctx, r->n * sizeof(double));
  if (r->v[k] == NULL)
    bind_error(L, "memory", "%s: no memory for %d rows", who, (int)r->n);
  for (size_t i = 0; i < r->n; i++) {
    amp_error err = {0};
    bool given;
    double v;
    if (amp_csv_number(r->csv, i, col, &v, &given, &err) != AMP_OK)
      bind_bad_data(L, who, &err);
    if (!given)
      bind_bad_cell(L, r->csv, i, col, who,
                    "a gap: every row needs its number");
    if (k == 0 && i > 0 && !(v > r->v[0][i - 1]))
      bind_bad_cell(L, r->csv, i, col, who,
                    v < r->v[0][i - 1] ? "time goes back here"
                                       : "time repeats here");
    if (k >= 1 && k <= 3 && v < 0.0)
      bind_bad_cell(L, r->csv, i, col, who,
                    "negative: loads and supply are both counted above 0");
    r->v[k][i] = k == 4 ? v + 273.15 : v;
  }
}

/* A header that nobody asked for is refused unless columns are named. */
static void refuse_headers (lua_State *L, int keys, const reading *r,
                            const char *who) {
  if (bind_get(L, keys, "columns")) {
    lua_pop(L, 1);
    return;
  }
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++) {
    const char *h = amp_csv_header(r->csv, c);
    int i = 0;
    while (series_names[i] != NULL && strcmp(series_names[i], h) != 0)
      i++;
    if (series_names[i] != NULL)
      continue;
    const char *near = bind_nearest(h, series_names);
    bind_error(L, "data",
               "%s:1: unknown column '%s'%s%s%s; say columns = { %s = "
               "\"%s\" }",
               who, h, near != NULL ? " (did you mean '" : "",
               near != NULL ? near : "", near != NULL ? "'?)" : "",
               near != NULL ? near : "load_w", h);
  }
}

static void read_series (lua_State *L, int keys, const char *who,
                         reading *r) {
  amp_csv_options opt = {0};
  amp_error err = {0};
  size_t n, col;
  opt.sep = bind_char(L, keys, "sep", who);
  opt.decimal = bind_char(L, keys, "decimal", who);
  lua_getfield(L, keys, "text");
  const char *text = lua_tolstring(L, -1, &n);
  if (text == NULL)
    bind_error(L, NULL, "%s: text is wanted", who);
  if (amp_csv_read(r->ctx, text, n, &opt, &r->csv, &err) != AMP_OK)
    bind_bad_data(L, who, &err);
  lua_pop(L, 1);
  r->n = amp_csv_rows(r->csv);
  refuse_headers(L, keys, r, who);
  for (int k = 0; k < 5; k++)
    if ((col = column_of(L, keys, r->csv, series_names[k], who)) !=
        (size_t)-1)
      read_column(L, r, k, col, who);
  if (r->v[0] == NULL ||
      (r->v[1] == NULL && r->v[2] == NULL && r->v[3] == NULL))
    bind_error(L, "data", "%s: %s is wanted", who,
               r->v[0] == NULL
                   ? "a column time_s"
                   : "one of the columns load_w, dc_load_w, pv_w");
}

static void constant_temp (lua_State *L, reading *r, double temp,
                           const char *who) {
  if (r->v[4] != NULL)
    return;
  r->v[4] = amp_alloc(r->ctx, r->n * sizeof(double));
  if (r->v[4] == NULL)
    bind_error(L, "memory", "%s: no memory for %d rows", who, (int)r->n);
  for (size_t i = 0; i < r->n; i++)
    r->v[4][i] = temp;
}

static void series_finish (lua_State *L, int keys, void *spec) {
  bind_profile *p = spec;
  amp_series s = {0};
  amp_error err = {0};
  const char *who = p->name[0] != '\0' ? p->name : "text";
  reading *r = new_reading(L);
  read_series(L, keys, who, r);
  p->temp_assumed = r->v[4] == NULL && !(p->place > 0.0);
  constant_temp(L, r, p->temp_assumed ? 293.15 : p->place, who);
  s.n = r->n;
  s.time = r->v[0];
  s.first = p->first;
  s.leap = p->leap;
  s.ac = r->v[1];
  s.dc = r->v[2];
  s.pv = r->v[3];
  s.temp = r->v[4];
  if (amp_duty_series(r->ctx, &s, &p->duty, &err) != AMP_OK) {
    if (err.line > 0) /* the core counts rows; the reader counts lines */
      amp_csv_place(r->csv, err.line - 1,
                    column_of(L, keys, r->csv, "time_s", who), &err.line,
                    &err.column);
    bind_bad_data(L, who, &err);
  }
}

static const bind_class series_class = {"profile",
                                        "series",
                                        "a duty read from a file or a text",
                                        series_fields,
                                        sizeof(bind_profile),
                                        NULL,
                                        series_finish,
                                        profile_tell,
                                        profile_free,
                                        profile_methods};

/* The options and the text become the keys of the object. */
static int make_series (lua_State *L, bool file) {
  static const char *const keys[] = {"columns", "sep",  "decimal", "temp_c",
                                     "first_s", "leap", "name",    NULL};
  luaL_checkstring(L, 1);
  lua_settop(L, 2);
  bind_options(L, 2, "profile", keys);
  bind_text_keys(L, keys, file);
  return bind_new(L, &series_class, 3);
}

/* amp.profile.csv("load.csv", { columns = { load_w = "load_W" } }) */
static int profile_csv (lua_State *L) {
  return make_series(L, true);
}

static int profile_text (lua_State *L) {
  return make_series(L, false);
}

/* ---- a test of phases ---- */

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
    {"temp_c", BIND_NUMBER, offsetof(bind_profile, place), 1.0, 273.15, -50.0,
     70.0, "C", "temp", 0, "temperature of the place; 25 unless given"},
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
    profile_tell,
    profile_free,
    profile_methods};

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
    profile_tell,
    profile_free,
    profile_methods};

/* ---- what a log drew ---- */

static const bind_field drawn_fields[] = {
    F_TEXT("name", bind_profile, name, "the log's unless given"),
    F_ELSE("log", BIND_OBJECT, "", "the log; log:profile{} puts it here"),
    {"ambient_c", BIND_NUMBER, offsetof(bind_profile, place), 1.0, 273.15,
     -50.0, 70.0, "C", "temp", 0,
     "temperature around the battery; the log's first unless given"},
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
    profile_tell,
    profile_free,
    profile_methods};

static const luaL_Reg functions[] = {{"profile_csv", profile_csv},
                                     {"profile_text", profile_text},
                                     {"profile_steps", profile_steps},
                                     {NULL, NULL}};

void bind_profile_open (lua_State *L) {
  bind_class_open(L, &daily_class);
  bind_class_open(L, &series_class);
  bind_class_open(L, &steps_class);
  bind_class_open(L, &net_class);
  bind_class_open(L, &drawn_class);
  luaL_setfuncs(L, functions, 0);
}
