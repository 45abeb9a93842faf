/*
** bind_alternative.c -- what else would carry the load: grid, generator, a
** battery of stated life; and what an outlay saves against a tariff.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

enum { FUEL = 1, MONEY_MOST = 1000000000 };

/* A value with a spread is drawn, whatever the number is of. */
#define DRAWN(key, m, factor, lo, hi, unit, group, doc)                      \
  F_DRAWN(key, bind_alternative, a.m, factor, lo, hi, unit, group, doc)
#define MONEY(key, m, doc) DRAWN(key, m, 1.0, 0.0, MONEY_MOST, "", 0, doc)

static const bind_field alternative_fields[] = {
    F_TEXT("name", bind_alternative, name, "what to call it"),
    F_ELSE("kind", BIND_CHOICE, "grid generator battery",
           "what carries the load instead"),
    MONEY("price", price,
          "money at the start, tax included, in the money of the need: "
          "connection, generator, battery set"),
    MONEY("bos", rest, "money for the rest, which outlives a replacement"),
    MONEY("price_again", again,
          "money of each replacement; price unless given"),
    DRAWN("life_years", life, 1.0, 1.0, AMP_CASH_YEARS, "years", 0,
          "it lasts in this use, then it is replaced"),
    MONEY("running", running,
          "money a year: standing charge, service, water"),
    MONEY("residual", residual, "money received at the end of the horizon"),
    F_NUM("power_w", bind_alternative, a.power, 1.0, 1.0, 1e8, "W",
          "generator: most it carries"),
    DRAWN("fuel_price", fuel_price, 1.0, 0.0, 1e4, "", 0,
          "generator: money for a litre"),
    DRAWN("fuel_rise_pct", fuel_rise, 0.01, -50.0, 50.0, "%", 0,
          "generator: rise of that a year; none unless given"),
    DRAWN("l_per_kwh", fuel_per_joule, 1.0 / 3.6e6, 0.01, 100.0, "l/kWh",
          FUEL, "generator: fuel, whatever the load"),
    F_ELSE_OF("fuel_at", BIND_LIST, 1.0 / 3600.0, 0.0, 1e5, "l/h", FUEL,
              "generator: {{load_pct, l_per_h}, ..} of power_w, straight "
              "between, held beyond"),
    DRAWN("hours_a_day", run_time, 3600.0, 0.1, 24.0, "h", 0,
          "generator: runs so long at even load; whenever there is a load "
          "unless given"),
    DRAWN("overhaul_hours", overhaul_time, 3600.0, 1.0, 1e6, "h", 0,
          "generator: of running, from one overhaul to the next"),
    MONEY("overhaul", overhaul, "generator: money of each"),
    DRAWN("life_hours", life_time, 3600.0, 1.0, 1e6, "h", 0,
          "generator: of running, then it is replaced"),
    DRAWN("usable_kwh", usable, 3.6e6, 1e-3, 1e6, "kWh", 0,
          "battery: at its terminals, between its limits"),
    DRAWN("round_trip_pct", round_trip, 0.01, 1.0, 100.0, "%", 0,
          "battery: kWh at the load for each bought to charge"),
    F_TEXT("remark", bind_alternative, remark, "words; never enter a sum"),
    F_END};

static const bind_class alternative_class;

static void alternative_defaults (void *spec) {
  amp_alternative *a = &((bind_alternative *)spec)->a;
  a->again = a->life = a->run_time = a->overhaul_time = NAN;
  a->overhaul = a->life_time = NAN;
}

static void read_kind (lua_State *L, int keys, const char *who,
                       amp_alternative *a) {
  static const char *const words[] = {"grid", "generator", "battery", NULL};
  const char *s = "";
  int i = 0;
  if (bind_get(L, keys, "kind"))
    s = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  while (words[i] != NULL && strcmp(words[i], s) != 0)
    i++;
  if (words[i] == NULL)
    bind_error(L, NULL,
               "%s: kind must be \"grid\", \"generator\" or \"battery\" (got "
               "'%s')",
               who, s);
  a->kind = (amp_alternative_kind)i;
  if (s[0] != '\0')
    lua_pop(L, 1);
}

/* {load_pct, l_per_h} at the top becomes point i. */
static void read_point (lua_State *L, const char *who, amp_alternative *a,
                        int i) {
  if (!lua_istable(L, -1) || lua_rawlen(L, -1) != 2)
    bind_error(L, NULL, "%s: a point of fuel_at is {load_pct, l_per_h}", who);
  lua_rawgeti(L, -1, 1);
  lua_rawgeti(L, -2, 2);
  a->load[i] = lua_tonumber(L, -2) / 100.0 * a->power;
  if (!lua_isnumber(L, -2) ||
      !(a->load[i] >= 0.0 && a->load[i] <= 1.0001 * a->power) ||
      (i > 0 && !(a->load[i] > a->load[i - 1])))
    bind_error(L, NULL, "%s: fuel_at: load_pct must rise within 0 .. 100",
               who);
  a->fuel[i] =
      bind_number(L, -1, bind_field_find(&alternative_class, "fuel_at"), who);
  lua_pop(L, 2);
}

static void read_fuel (lua_State *L, int keys, const char *who,
                       amp_alternative *a) {
  if (!bind_get(L, keys, "fuel_at"))
    return;
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > AMP_FUEL_POINTS)
    bind_error(L, NULL,
               "%s: fuel_at wants 1 .. %d points {load_pct, l_per_h}", who,
               AMP_FUEL_POINTS);
  for (int i = 0; i < n; i++) {
    lua_rawgeti(L, -1, i + 1);
    read_point(L, who, a, i);
    lua_pop(L, 1);
  }
  a->points = n;
  lua_pop(L, 1);
}

/* Keys that the kind doesn't know would be counted nowhere. */
static void check_keys (lua_State *L, int keys, const char *who,
                        amp_alternative_kind kind) {
  static const char *const generator[] = {
      "power_w",  "fuel_price",     "fuel_rise_pct", "l_per_kwh",  "fuel_at",
      "overhaul", "overhaul_hours", "hours_a_day",   "life_hours", NULL};
  static const char *const battery[] = {"usable_kwh", "round_trip_pct", NULL};
  for (int i = 0; generator[i] != NULL; i++)
    if (kind != AMP_ALTERNATIVE_GENERATOR && bind_get(L, keys, generator[i]))
      bind_error(L, NULL, "%s: %s belongs to a generator", who, generator[i]);
  for (int i = 0; battery[i] != NULL; i++)
    if (kind != AMP_ALTERNATIVE_BATTERY && bind_get(L, keys, battery[i]))
      bind_error(L, NULL, "%s: %s belongs to a battery", who, battery[i]);
}

static void want (lua_State *L, int keys, const char *who, const char *key) {
  if (!bind_get(L, keys, key))
    bind_error(L, NULL, "%s: %s is wanted", who, key);
  lua_pop(L, 1);
}

/* Values with a spread are drawn. What is physics (it has a unit) gives the
** basis: assumed where a plain number, a table or nothing stands for it. */
static void read_spreads (lua_State *L, int keys, amp_alternative *a) {
  bool physics = a->kind != AMP_ALTERNATIVE_GRID;
  a->basis = physics ? AMP_BASIS_NONE : AMP_BASIS_ASSUMED;
  for (const bind_field *f = alternative_fields; f->key != NULL; f++) {
    if (f->kind != BIND_PRICE || !bind_get(L, keys, f->key))
      continue;
    amp_value v = bind_field_value(L, &alternative_class, f, keys);
    if (!amp_value_is_fixed(&v))
      a->spread[a->spreads++] = (amp_alternative_spread){
          f->offset - offsetof(bind_alternative, a), v};
    if (f->unit[0] != '\0')
      a->basis = amp_basis_worse(a->basis, v.basis);
    lua_pop(L, 1);
  }
  if (a->basis == AMP_BASIS_NONE || a->points > 0)
    a->basis = AMP_BASIS_ASSUMED;
}

/* The grid's own price is its tariff: no physics. */
static amp_basis grid_basis (const amp_alternative *a) {
  return a->price > 0.0 || a->rest > 0.0 || a->running > 0.0
             ? AMP_BASIS_ASSUMED
             : AMP_BASIS_NONE;
}

static void alternative_finish (lua_State *L, int keys, void *spec) {
  bind_alternative *s = spec;
  const char *who = bind_who(L, &alternative_class, keys);
  read_kind(L, keys, who, &s->a);
  check_keys(L, keys, who, s->a.kind);
  if (s->a.kind == AMP_ALTERNATIVE_BATTERY) {
    want(L, keys, who, "usable_kwh");
    want(L, keys, who, "round_trip_pct");
    want(L, keys, who, "life_years");
    want(L, keys, who, "price");
  } else if (s->a.kind == AMP_ALTERNATIVE_GENERATOR) {
    want(L, keys, who, "power_w");
    want(L, keys, who, "fuel_price");
    want(L, keys, who, "price");
    read_fuel(L, keys, who, &s->a);
    if (s->a.points == 0)
      want(L, keys, who, "l_per_kwh");
    if (amp_given(s->a.overhaul) != amp_given(s->a.overhaul_time))
      bind_error(L, NULL, "%s: overhaul and overhaul_hours go together", who);
  }
  read_spreads(L, keys, &s->a);
  if (s->a.kind == AMP_ALTERNATIVE_GRID)
    s->a.basis = grid_basis(&s->a);
}

static void alternative_tell (lua_State *L, const void *spec) {
  const amp_alternative *a = &((const bind_alternative *)spec)->a;
  if (a->kind != AMP_ALTERNATIVE_GRID && !(a->residual > 0.0))
    bind_say(L, "residual: none is counted");
  if (a->kind != AMP_ALTERNATIVE_GENERATOR)
    return;
  if (!amp_given(a->run_time))
    bind_say(L, "hours_a_day: it runs whenever there is a load");
  if (!amp_given(a->overhaul))
    bind_say(L, "overhaul: none is counted");
  if (!amp_given(a->life) && !amp_given(a->life_time))
    bind_say(L, "life_years, life_hours: it outlasts the horizon");
}

static const bind_class alternative_class = {
    "alternative",
    "alternative",
    "what else would carry the load, beside offers",
    alternative_fields,
    sizeof(bind_alternative),
    alternative_defaults,
    alternative_finish,
    alternative_tell,
    NULL,
    NULL};

/* ---- answers ---- */

const bind_class *bind_alternative_words (void) {
  return &alternative_class;
}

/* core.tariff(need) --> money for a kWh from the grid where it would be
** spared; nil where none is given */
static int tariff (lua_State *L) {
  const bind_need *need = bind_check(L, 1, "need", "compare: need");
  return bind_told(L, need->import_price);
}

/* core.charge_price(need) --> money for a kWh bought to charge, the mean of
** its hours; nil where none is given */
static int charge_price (lua_State *L) {
  const bind_need *need = bind_check(L, 1, "need", "compare: need");
  return bind_told(L, need->n.charge_price);
}

static const luaL_Reg functions[] = {
    {"tariff", tariff}, {"charge_price", charge_price}, {NULL, NULL}};

void bind_alternative_open (lua_State *L) {
  bind_class_open(L, &alternative_class);
  luaL_setfuncs(L, functions, 0);
}
