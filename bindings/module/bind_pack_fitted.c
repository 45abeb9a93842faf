/*
** bind_pack_fitted.c -- what a pack is fitted with: a fuse in each string,
** limits of the current by temperature, coolant and heater.
*/
#include "bind_pack_parts.h"
#include <math.h>
#include <string.h>

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
    bind_raise(L, &bind_pack_class, who, &err);
  if (s->heater.power > 0.0 && s->module->m.mass != s->module->m.mass)
    bind_error(L, NULL, "%s: heater_w wants mass_kg of %s", who,
               s->even ? "the module" : "every module");
  b->heater = s->heater;
  b->cooling = s->cooling;
  b->entropic = s->entropic;
}

void bind_pack_read_fitted (lua_State *L, int keys, const char *who,
                            bind_pack *s) {
  read_fuse(L, keys, who, s);
  read_limits(L, keys, who, s);
  read_heat(L, keys, who, s);
}
