/*
** bind_money.c -- money over time, asked on its own.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

/* Numbers as the call spells them. */
typedef struct levelised_ask {
  double first, years, rate, charge_price, round_trip, residual;
} levelised_ask;

static const bind_field ask_fields[] = {
    F_NUM("first", levelised_ask, first, 1.0, 0.0, 1e12, "",
          "money paid at the start"),
    F_NUM("years", levelised_ask, years, 1.0, 1.0, AMP_CASH_YEARS, "years",
          "whole years"),
    F_NUM("discount_pct", levelised_ask, rate, 0.01, 0.0, 50.0, "%",
          "interest a year"),
    F_ELSE_OF("kwh", BIND_LIST, 1.0, 0.0, 1e12, "kWh", 0,
              "energy a year: one figure, or one a year"),
    F_ELSE_OF("running", BIND_LIST, 1.0, -1e12, 1e12, "", 0,
              "money a year: one figure, or one a year"),
    F_NUM("charge_price", levelised_ask, charge_price, 1.0, 0.0, 1e3, "",
          "money for each kWh bought to charge"),
    F_NUM("round_trip_pct", levelised_ask, round_trip, 0.01, 1.0, 100.0, "%",
          "kWh delivered for each bought; 100 unless given"),
    F_NUM("residual", levelised_ask, residual, 1.0, 0.0, 1e12, "",
          "money received at the end"),
    F_END};

static const bind_field *ask_field (const char *key) {
  const bind_field *f = ask_fields;
  while (strcmp(f->key, key) != 0)
    f++;
  return f;
}

/* One figure stands for every year. */
static bool yearly (lua_State *L, const char *key, int years, double *out) {
  if (!bind_get(L, 1, key))
    return false;
  int n = bind_list(L, -1, ask_field(key), "levelised", out, AMP_CASH_YEARS);
  if (n == 1)
    for (int i = 1; i < years; i++)
      out[i] = out[0];
  else if (n != years)
    bind_error(L, NULL, "levelised: %s must hold 1 or %d numbers (got %d)",
               key, years, n);
  lua_pop(L, 1);
  return true;
}

static void read_ask (lua_State *L, levelised_ask *a) {
  const char *keys[16];
  int n = 0;
  for (; ask_fields[n].key != NULL; n++)
    keys[n] = ask_fields[n].key;
  keys[n] = NULL;
  if (!lua_istable(L, 1))
    bind_error(L, NULL, "levelised: one table of keys is wanted");
  bind_options(L, 1, "levelised", keys);
  for (const bind_field *f = ask_fields; f->key != NULL; f++)
    if (f->kind == BIND_NUMBER && bind_get(L, 1, f->key)) {
      *(double *)((char *)a + f->offset) = bind_number(L, -1, f, "levelised");
      lua_pop(L, 1);
    }
}

/*
** amp.levelised{ first = 5763, years = 10, discount_pct = 5, kwh = 577.76 }
** --> money per kWh (F22)
*/
static int levelised (lua_State *L) {
  levelised_ask in = {NAN, NAN, 0.0, 0.0, 1.0, 0.0};
  double kwh[AMP_CASH_YEARS], running[AMP_CASH_YEARS], per_kwh;
  amp_levelised_ask a = {0};
  amp_error err = {0};
  lua_settop(L, 1);
  read_ask(L, &in);
  if (!amp_given(in.first) || !amp_given(in.years))
    return bind_error(L, NULL, "levelised: %s is wanted",
                      amp_given(in.first) ? "years" : "first");
  if (in.years != floor(in.years))
    return bind_error(L, NULL, "levelised: years must be whole (got %s)",
                      bind_push_number(L, in.years));
  a.years = (int)in.years;
  if (!yearly(L, "kwh", a.years, kwh))
    return bind_error(L, NULL, "levelised: kwh is wanted");
  a.first = in.first;
  a.rate = in.rate;
  a.energy = kwh;
  a.running = yearly(L, "running", a.years, running) ? running : NULL;
  a.charge_price = in.charge_price;
  a.round_trip = in.round_trip;
  a.residual = in.residual;
  if (amp_levelised(&a, &per_kwh, &err) != AMP_OK)
    return bind_raise(L, NULL, "levelised", &err);
  lua_pushnumber(L, per_kwh);
  return 1;
}

static const luaL_Reg functions[] = {{"levelised", levelised}, {NULL, NULL}};

void bind_money_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
