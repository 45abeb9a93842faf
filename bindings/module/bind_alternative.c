/*
** bind_alternative.c -- what else would carry the load: grid, generator, a
** battery of stated life; and what an outlay saves against a tariff.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

enum { FUEL = 1, MONEY_MOST = 1000000000 };

typedef struct bind_alternative {
  char name[64], remark[64];
  amp_alternative a;
} bind_alternative;

static const bind_field alternative_fields[] = {
    F_TEXT("name", bind_alternative, name, "what to call it"),
    F_ELSE("kind", BIND_CHOICE, "grid generator battery",
           "what carries the load instead"),
    F_NUM("price", bind_alternative, a.price, 1.0, 0.0, MONEY_MOST, "",
          "money at the start, tax included, in the money of the need: "
          "connection, generator, battery set"),
    F_NUM("bos", bind_alternative, a.rest, 1.0, 0.0, MONEY_MOST, "",
          "money for the rest, which outlives a replacement"),
    F_NUM("price_again", bind_alternative, a.again, 1.0, 0.0, MONEY_MOST, "",
          "money of each replacement; price unless given"),
    F_NUM("life_years", bind_alternative, a.life, 1.0, 1.0, AMP_CASH_YEARS,
          "years", "it lasts in this use, then it is replaced"),
    F_NUM("running", bind_alternative, a.running, 1.0, 0.0, MONEY_MOST, "",
          "money a year: standing charge, service, water"),
    F_NUM("residual", bind_alternative, a.residual, 1.0, 0.0, MONEY_MOST, "",
          "money received at the end of the horizon"),
    F_NUM("power_w", bind_alternative, a.power, 1.0, 1.0, 1e8, "W",
          "generator: most it carries"),
    F_NUM("fuel_price", bind_alternative, a.fuel_price, 1.0, 0.0, 1e4, "",
          "generator: money for a litre"),
    F_NUM_OF("l_per_kwh", bind_alternative, a.fuel_per_joule, 1.0 / 3.6e6,
             0.01, 100.0, "l/kWh", FUEL,
             "generator: fuel, whatever the load"),
    F_ELSE_OF("fuel_at", BIND_LIST, 1.0 / 3600.0, 0.0, 1e5, "l/h", FUEL,
              "generator: {{load_pct, l_per_h}, ..} of power_w, straight "
              "between, held beyond"),
    F_NUM("hours_a_day", bind_alternative, a.run_time, 3600.0, 0.1, 24.0, "h",
          "generator: runs so long at even load; whenever there is a load "
          "unless given"),
    F_NUM("overhaul_hours", bind_alternative, a.overhaul_time, 3600.0, 1.0,
          1e6, "h", "generator: of running, from one overhaul to the next"),
    F_NUM("overhaul", bind_alternative, a.overhaul, 1.0, 0.0, MONEY_MOST, "",
          "generator: money of each"),
    F_NUM("life_hours", bind_alternative, a.life_time, 3600.0, 1.0, 1e6, "h",
          "generator: of running, then it is replaced"),
    F_NUM("usable_kwh", bind_alternative, a.usable, 3.6e6, 1e-3, 1e6, "kWh",
          "battery: at its terminals, between its limits"),
    F_NUM("round_trip_pct", bind_alternative, a.round_trip, 0.01, 1.0, 100.0,
          "%", "battery: kWh at the load for each bought to charge"),
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
      "power_w",  "fuel_price",     "l_per_kwh",  "fuel_at", "hours_a_day",
      "overhaul", "overhaul_hours", "life_hours", NULL};
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

static const char *const kinds[] = {"grid", "generator", "battery"};

static void push_answer (lua_State *L, const bind_alternative *s,
                         const amp_alternative_answer *r) {
  bind_put_text(L, "kind", kinds[s->a.kind]);
  bind_put(L, "first", r->first);
  bind_put(L, "years", r->years);
  bind_put(L, "served_kwh", r->served / 3.6e6);
  bind_put(L, "unserved_kwh", r->unserved / 3.6e6);
  bind_put(L, "per_delivered", r->per_delivered);
  bind_put(L, "levelised", r->levelised);
  bind_put(L, "energy_present", r->present);
  bind_put(L, "energy_cost", r->energy_cost);
  bind_put(L, "life", r->life);
  bind_put(L, "unused", r->unused);
  if (s->a.kind == AMP_ALTERNATIVE_GENERATOR) {
    bind_put(L, "hours", r->run_time / 3600.0);
    bind_put(L, "fuel_l", r->fuel);
  }
}

/*
** core.alternative_raw(alternative, need) --> {name, kind, first, years,
** served_kwh, unserved_kwh, per_delivered, levelised, energy_present,
** energy_cost, life, unused, hours, fuel_l} or {name, kind, refused}
*/
static int alternative_raw (lua_State *L) {
  const bind_alternative *s =
      bind_check(L, 1, "alternative", "compare: each of offers");
  const bind_need *need = bind_check(L, 2, "need", "compare: need");
  amp_alternative_ask ask = {
      need->n.duty,
      need->n.converter.efficiency,
      need->n.horizon,
      need->n.discount,
      need->import_price / 3.6e6,
      amp_given(need->n.charge_price) ? need->n.charge_price / 3.6e6 : 0.0};
  amp_alternative_answer r;
  amp_error err = {0};
  amp_status st = amp_alternative_cost(&s->a, &ask, &r, &err);
  lua_newtable(L);
  bind_put_text(L, "name", s->name);
  if (st == AMP_OK) {
    push_answer(L, s, &r);
    return 1;
  }
  bind_put_text(L, "kind", kinds[s->a.kind]);
  bind_push_error(L, &alternative_class, "", &err);
  lua_setfield(L, -2, "refused");
  return 1;
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

static const luaL_Reg functions[] = {{"alternative_raw", alternative_raw},
                                     {"tariff", tariff},
                                     {"charge_price", charge_price},
                                     {NULL, NULL}};

void bind_alternative_open (lua_State *L) {
  bind_class_open(L, &alternative_class);
  luaL_setfuncs(L, functions, 0);
}
