/*
** bind_need.c -- the inverter, and what is asked of every offer alike.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- inverter ---- */

static const bind_field inverter_fields[] = {
    F_TEXT("name", bind_inverter, name, "what to call it"),
    F_NUM("v_min", bind_inverter, c.v_min, 1.0, 1.0, 2000.0, "V",
          "battery voltage at which it cuts out"),
    F_NUM("v_max", bind_inverter, c.v_max, 1.0, 1.0, 2000.0, "V",
          "highest charge voltage it can be set to"),
    F_NUM("v_abs_max", bind_inverter, v_abs_max, 1.0, 1.0, 2000.0, "V",
          "voltage that must never be passed"),
    F_NUM("power_w", bind_inverter, c.power, 1.0, 1.0, 1e7, "W",
          "AC power it gives for ever"),
    F_NUM("surge_w", bind_inverter, surge, 1.0, 1.0, 1e7, "W",
          "AC power it gives for seconds"),
    F_NUM_OF("efficiency_pct", bind_inverter, c.efficiency, 0.01, 10.0, 100.0,
             "%", 1, "AC out over DC in; 92 unless given"),
    F_ELSE_OF(
        "efficiency_at", BIND_LIST, 0.01, 1.0, 100.0, "%", 1,
        "the same by load, {{load_pct, efficiency_pct}, ..} of power_w, "
        "without the idle draw; straight between, held beyond"),
    F_NUM("idle_w", bind_inverter, c.idle, 1.0, 0.0, 1e5, "W",
          "draw at the battery while it is on"),
    F_NUM("capacitance_uf", bind_inverter, capacitance, 1e-6, 0.0, 1e7, "uF",
          "input capacitance"),
    F_END};

static const bind_class inverter_class;

/* Point k + 1 of the list at the top into load and efficiency. */
static void read_point (lua_State *L, const bind_field *f, const char *who,
                        int k, amp_converter *c) {
  lua_rawgeti(L, -1, k + 1);
  if (!lua_istable(L, -1) || lua_rawlen(L, -1) != 2)
    bind_error(L, NULL,
               "%s: point %d of %s must be {load_pct, "
               "efficiency_pct}",
               who, k + 1, f->key);
  lua_rawgeti(L, -1, 1);
  lua_rawgeti(L, -2, 2);
  c->load[k] = lua_tonumber(L, -2) / 100.0;
  if (!lua_isnumber(L, -2) || !(c->load[k] >= 0.0 && c->load[k] <= 2.0))
    bind_error(L, NULL,
               "%s: point %d of %s: load_pct must lie in 0 .. 200 %%", who,
               k + 1, f->key);
  if (k > 0 && !(c->load[k] > c->load[k - 1] + 1e-6))
    bind_error(L, NULL, "%s: point %d of %s: load_pct must rise", who, k + 1,
               f->key);
  c->at[k] = bind_number(L, -1, f, who);
  lua_pop(L, 3);
}

/* Efficiency by load, where given; 'efficiency' is then that at half load. */
static void read_curve (lua_State *L, int keys, const char *who,
                        amp_converter *c) {
  const bind_field *f = bind_field_find(&inverter_class, "efficiency_at");
  if (!bind_get(L, keys, "efficiency_at"))
    return;
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > AMP_CONVERTER_POINTS)
    bind_error(L, NULL, "%s: %s must hold 1 .. %d points (got %d)", who,
               f->key, AMP_CONVERTER_POINTS, n);
  if (!(c->power > 0.0))
    bind_error(L, NULL, "%s: %s wants power_w, of which the loads are shares",
               who, f->key);
  for (int k = 0; k < n; k++)
    read_point(L, f, who, k, c);
  c->points = n;
  c->efficiency = amp_converter_efficiency(c, 0.5 * c->power);
  lua_pop(L, 1);
}

static void inverter_finish (lua_State *L, int keys, void *spec) {
  bind_inverter *s = spec;
  const char *who = bind_who(L, &inverter_class, keys);
  read_curve(L, keys, who, &s->c);
  s->efficiency_assumed = !(s->c.efficiency > 0.0);
  if (s->efficiency_assumed)
    s->c.efficiency = 0.92; /* common practice: 90 .. 95 % */
  if (s->c.v_min > 0.0 && s->c.v_max > 0.0 && !(s->c.v_min < s->c.v_max))
    bind_error(L, NULL, "%s: v_min must lie below v_max (got %s and %s)", who,
               bind_push_number(L, s->c.v_min),
               bind_push_number(L, s->c.v_max));
  if (s->v_abs_max > 0.0 && s->c.v_max > s->v_abs_max)
    bind_error(L, NULL, "%s: v_max must not pass v_abs_max (got %s and %s)",
               who, bind_push_number(L, s->c.v_max),
               bind_push_number(L, s->v_abs_max));
  if (s->surge > 0.0 && s->surge < s->c.power)
    bind_error(L, NULL, "%s: surge_w must not lie below power_w", who);
}

static void inverter_tell (lua_State *L, const void *spec) {
  const bind_inverter *s = spec;
  if (s->efficiency_assumed)
    bind_say(L, "efficiency_pct: 92 % is taken, common practice");
  if (!(s->c.idle > 0.0))
    bind_say(L, "idle_w: none is counted");
  if (!(s->c.power > 0.0))
    bind_say(L, "power_w: no limit is counted");
  if (!(s->v_abs_max > 0.0))
    bind_say(L, "v_abs_max: full voltage is not held against it");
}

static const bind_class inverter_class = {
    "inverter",
    "inverter",
    "what stands between battery and load",
    inverter_fields,
    sizeof(bind_inverter),
    NULL,
    inverter_finish,
    inverter_tell,
    NULL,
    NULL};

/* ---- need ---- */

enum { CHARGE = 1, IMPORT = 2 };

static const bind_field need_fields[] = {
    F_TEXT("name", bind_need, name, "what to call it"),
    F_ELSE("duty", BIND_OBJECT, "", "amp.profile...: what the pack must do"),
    F_ELSE("inverter", BIND_OBJECT, "", "amp.inverter{}"),
    F_ELSE("currency", BIND_CHOICE, "", "the money of the answer, \"EUR\""),
    F_ELSE("rates", BIND_LIST, "",
           "{USD = 0.88, dated = \"..\"}: what one of theirs is in yours"),
    F_NUM("autonomy_days", bind_need, n.autonomy_days, 1.0, 0.01, 1000.0,
          "days",
          "days without sun that are wanted: compare says who has them"),
    F_NUM("horizon_years", bind_need, n.horizon, 1.0, 1.0, AMP_LIFE_YEARS,
          "years", "longest life that counts; 15 unless given"),
    F_DRAWN("discount_pct", bind_need, n.discount, 0.01, 0.0, 50.0, "%", 0,
            "interest a year; none unless given"),
    F_NUM("carry_per_kg", bind_need, n.carry_per_kg, 1.0, 0.0, 1e5, "",
          "money for each kg of accepted modules and of the rest carried to "
          "the place"),
    F_DRAWN("charge_price", bind_need, n.charge_price, 1.0, 0.0, 1e3, "",
            CHARGE, "money for each kWh bought to charge; none unless given"),
    F_ELSE_OF("charge_hours", BIND_LIST, 1.0, 0.0, 24.0, "h", CHARGE,
              "{from, to}: charged then, at the prices of import_at"),
    F_DRAWN("import_price", bind_need, import_price, 1.0, 0.0, 1e3, "",
            IMPORT, "money for each kWh from the grid, in the first year"),
    F_ELSE_OF("import_at", BIND_LIST, 1.0, 0.0, 1e3, "", IMPORT,
              "the same by the hour, {{from, to, price}, ..}: all 24, whole "
              "hours, over midnight too"),
    F_DRAWN("import_rise_pct", bind_need, n.rise, 0.01, -50.0, 50.0, "%", 0,
            "rise of these prices a year, of those in charge_hours too; none "
            "unless given"),
    F_ELSE("serve_hours", BIND_LIST, "h",
           "{from, to}: a battery stands in for the grid then; as the load "
           "falls unless given"),
    F_NUM("export_price", bind_need, export_price, 1.0, -1e3, 1e3, "",
          "money for each kWh sold to the grid, which a stored one is not: "
          "what "
          "charging costs unless charge_price or charge_hours say"),
    F_ELSE("life_model", BIND_OBJECT, "",
           "where neither case nor module names one"),
    F_END};

static const bind_class need_class;

static void need_defaults (void *spec) {
  bind_need *s = spec;
  s->n.autonomy_days = NAN;
  s->n.horizon = NAN;
  s->n.discount = NAN;
  s->n.charge_price = NAN;
  s->import_price = NAN;
  s->export_price = NAN;
}

static void read_currency (lua_State *L, int keys, const char *who) {
  if (bind_get(L, keys, "currency")) {
    bind_check_currency(L, who);
    lua_pop(L, 1);
  }
  if (!bind_get(L, keys, "rates"))
    return;
  bind_check_rates(L, who);
  lua_pop(L, 1);
}

/* Element i of the list at the top: a whole hour 0 .. 24. */
static int hour (lua_State *L, const char *who, const char *key, int i) {
  lua_rawgeti(L, -1, i);
  double v = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : NAN;
  if (!(v >= 0.0 && v <= 24.0 && v == floor(v)))
    bind_error(L, NULL, "%s: %s: an hour is a whole number, 0 .. 24", who,
               key);
  lua_pop(L, 1);
  return (int)v;
}

/* The hours of {from, to} at the top; {22, 6} goes over midnight. */
static void mark_hours (lua_State *L, const char *who, const char *key,
                        unsigned char out[24]) {
  if (!lua_istable(L, -1) || lua_rawlen(L, -1) < 2)
    bind_error(L, NULL, "%s: %s is {from, to}, hours of the day", who, key);
  int from = hour(L, who, key, 1), to = hour(L, who, key, 2);
  if (from == to || from == 24)
    bind_error(L, NULL, "%s: %s: {%d, %d} holds no hour", who, key, from, to);
  for (int h = from; h != to % 24 || h == from; h = (h + 1) % 24) {
    if (out[h])
      break; /* {0, 24}: once round */
    out[h] = 1;
  }
}

static bool read_hours (lua_State *L, int keys, const char *who,
                        const char *key, unsigned char out[24]) {
  if (!bind_get(L, keys, key))
    return false;
  mark_hours(L, who, key, out);
  lua_pop(L, 1);
  return true;
}

/* {{22, 6, 0.14}, {6, 22, 0.32}} */
static void read_import (lua_State *L, int keys, const char *who,
                         bind_need *s) {
  const bind_field *f = bind_field_find(&need_class, "import_at");
  bool known[24] = {false};
  if (!bind_get(L, keys, f->key))
    return;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: %s is {{from, to, price}, ..}", who, f->key);
  for (int i = 1; i <= (int)lua_rawlen(L, -1); i++) {
    unsigned char in[24] = {0};
    lua_rawgeti(L, -1, i);
    mark_hours(L, who, f->key, in);
    lua_rawgeti(L, -1, 3);
    double price = bind_number(L, -1, f, who);
    for (int h = 0; h < 24; h++) {
      if (in[h] && known[h])
        bind_error(L, NULL, "%s: %s names the hour from %d twice", who,
                   f->key, h);
      s->import_at[h] = in[h] ? price : s->import_at[h];
      known[h] = known[h] || in[h];
    }
    lua_pop(L, 2);
  }
  for (int h = 0; h < 24; h++)
    if (!known[h])
      bind_error(L, NULL, "%s: %s has no price for the hour from %d", who,
                 f->key, h);
  s->by_hour = true;
  lua_pop(L, 1);
}

/* Prices by the hour, and what is bought or spared in which hours. */
static void read_tariff (lua_State *L, int keys, const char *who,
                         bind_need *s) {
  read_import(L, keys, who, s);
  s->charged_by_hour =
      read_hours(L, keys, who, "charge_hours", s->charge_hours);
  s->served_by_hour = read_hours(L, keys, who, "serve_hours", s->serve_hours);
  if (!s->by_hour && (s->charged_by_hour || s->served_by_hour))
    bind_error(L, NULL, "%s: %s goes with import_at, the prices by the hour",
               who, s->charged_by_hour ? "charge_hours" : "serve_hours");
  if (s->charged_by_hour)
    s->n.charge_price =
        amp_tariff_mean(s->import_at, s->n.duty, s->charge_hours);
  if (s->by_hour)
    s->import_price = amp_tariff_mean(
        s->import_at, s->n.duty, s->served_by_hour ? s->serve_hours : NULL);
}

static void read_inverter (lua_State *L, int keys, const char *who,
                           amp_need *n) {
  n->converter.efficiency = 1.0;
  if (!bind_get(L, keys, "inverter"))
    return;
  if (bind_test(L, -1, "inverter") == NULL)
    bind_error(L, NULL, "%s: inverter must be amp.inverter{}", who);
  const bind_inverter *i = lua_touserdata(L, -1);
  n->converter = i->c;
  n->v_abs_max = i->v_abs_max;
  lua_pop(L, 1);
}

/* Prices and interest that are given as values with a spread. */
static void read_terms (lua_State *L, int keys, bind_need *s) {
  static const struct {
    const char *key;
    amp_term term;
  } drawn[] = {{"discount_pct", AMP_TERM_DISCOUNT},
               {"charge_price", AMP_TERM_CHARGE},
               {"import_price", AMP_TERM_TARIFF},
               {"import_rise_pct", AMP_TERM_RISE}};
  for (size_t i = 0; i < sizeof drawn / sizeof *drawn; i++) {
    if (!bind_get(L, keys, drawn[i].key))
      continue;
    const bind_field *f = bind_field_find(&need_class, drawn[i].key);
    amp_value v = bind_field_value(L, &need_class, f, keys);
    if (!amp_value_is_fixed(&v))
      s->n.term[drawn[i].term] = v;
    lua_pop(L, 1);
  }
  s->n.spares = amp_given(s->import_price);
  s->n.tariff = s->import_price;
  s->n.charge_rises = s->charged_by_hour;
}

static void need_finish (lua_State *L, int keys, void *spec) {
  bind_need *s = spec;
  const char *who = bind_who(L, &need_class, keys);
  if (!bind_get(L, keys, "duty"))
    bind_error(L, NULL, "%s: duty is wanted", who);
  if (bind_test(L, -1, "profile") == NULL)
    bind_error(L, NULL,
               "%s: duty must be amp.profile.daily{} or another "
               "profile (got %s)",
               who, luaL_typename(L, -1));
  s->n.duty = &((bind_profile *)lua_touserdata(L, -1))->duty;
  lua_pop(L, 1);
  read_inverter(L, keys, who, &s->n);
  read_currency(L, keys, who);
  read_tariff(L, keys, who, s);
  s->forgone = !amp_given(s->n.charge_price) && amp_given(s->export_price);
  if (s->forgone)
    s->n.charge_price = s->export_price;
  if (bind_get(L, keys, "life_model")) {
    bind_life_choice(L, -1, who, &s->n.life);
    lua_pop(L, 1);
  }
  read_terms(L, keys, s);
  s->horizon_assumed = !amp_given(s->n.horizon);
  if (s->horizon_assumed)
    s->n.horizon = 15.0; /* common practice, no source */
  s->discount_assumed = !amp_given(s->n.discount);
  if (s->discount_assumed)
    s->n.discount = 0.0;
}

static void need_tell (lua_State *L, const void *spec) {
  const bind_need *s = spec;
  if (s->horizon_assumed)
    bind_say(L, "horizon_years: 15 is taken");
  if (s->discount_assumed)
    bind_say(L, "discount_pct: none is counted");
  if (s->by_hour && !s->served_by_hour)
    bind_say(L, "serve_hours: the tariff counts as the load falls");
  if (s->forgone)
    bind_say(L, "charge_price: the export_price, which a stored kWh forgoes");
  else if (amp_given(s->export_price))
    bind_say(L,
             "export_price: counts for nothing beside a price of charging");
  if (!amp_given(s->n.charge_price))
    bind_say(L, "charge_price: charging costs nothing");
  if (s->n.rise != 0.0 && amp_given(s->n.charge_price) && !s->n.charge_rises)
    bind_say(L, "charge_price: the same in every year");
}

static const bind_class need_class = {
    "need",
    "need",
    "what is asked of every offer and case alike",
    need_fields,
    sizeof(bind_need),
    need_defaults,
    need_finish,
    need_tell,
    NULL,
    NULL};

void bind_need_open (lua_State *L) {
  bind_class_open(L, &inverter_class);
  bind_class_open(L, &need_class);
}
