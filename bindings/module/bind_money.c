/*
** bind_money.c -- money over time, asked on its own.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

/* Numbers as the call spells them. */
typedef struct levelised_ask {
  double first, years, rate, charge_price, round_trip, residual, tariff;
  double kwh[AMP_CASH_YEARS], running[AMP_CASH_YEARS];
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
    F_NUM("tariff", levelised_ask, tariff, 1.0, 0.0, 1e3, "",
          "money that each kWh would cost else"),
    F_END};

static const bind_field *ask_field (const char *key) {
  const bind_field *f = ask_fields;
  while (strcmp(f->key, key) != 0)
    f++;
  return f;
}

/* One figure stands for every year. */
static bool yearly (lua_State *L, const char *who, const char *key, int years,
                    double *out) {
  if (!bind_get(L, 1, key))
    return false;
  int n = bind_list(L, -1, ask_field(key), who, out, AMP_CASH_YEARS);
  if (n == 1)
    for (int i = 1; i < years; i++)
      out[i] = out[0];
  else if (n != years)
    bind_error(L, NULL, "%s: %s must hold 1 or %d numbers (got %d)", who, key,
               years, n);
  lua_pop(L, 1);
  return true;
}

/* The keys of the table at 1; 'tariff' only where 'saves'. */
static void read_numbers (lua_State *L, const char *who, bool saves,
                          levelised_ask *a) {
  const char *keys[16];
  int n = 0;
  for (const bind_field *f = ask_fields; f->key != NULL; f++)
    if (saves || strcmp(f->key, "tariff") != 0)
      keys[n++] = f->key;
  keys[n] = NULL;
  if (!lua_istable(L, 1))
    bind_error(L, NULL, "%s: one table of keys is wanted", who);
  bind_options(L, 1, who, keys);
  for (const bind_field *f = ask_fields; f->key != NULL; f++)
    if (f->kind == BIND_NUMBER && bind_get(L, 1, f->key)) {
      *(double *)((char *)a + f->offset) = bind_number(L, -1, f, who);
      lua_pop(L, 1);
    }
}

/* What the core is asked; its lists live in 'in'. */
static amp_levelised_ask read_ask (lua_State *L, const char *who, bool saves,
                                   levelised_ask *in) {
  amp_levelised_ask a = {0};
  in->first = in->years = in->tariff = NAN;
  in->round_trip = 1.0;
  lua_settop(L, 1);
  read_numbers(L, who, saves, in);
  if (!amp_given(in->first) || !amp_given(in->years))
    bind_error(L, NULL, "%s: %s is wanted", who,
               amp_given(in->first) ? "years" : "first");
  if (saves && !amp_given(in->tariff))
    bind_error(L, NULL, "%s: tariff is wanted", who);
  if (in->years != floor(in->years))
    bind_error(L, NULL, "%s: years must be whole (got %s)", who,
               bind_push_number(L, in->years));
  a.years = (int)in->years;
  if (!yearly(L, who, "kwh", a.years, in->kwh))
    bind_error(L, NULL, "%s: kwh is wanted", who);
  a.first = in->first;
  a.rate = in->rate;
  a.energy = in->kwh;
  if (yearly(L, who, "running", a.years, in->running))
    a.running = in->running;
  a.charge_price = in->charge_price;
  a.round_trip = in->round_trip;
  a.residual = in->residual;
  return a;
}

/*
** amp.levelised{ first = 5763, years = 10, discount_pct = 5, kwh = 577.76 }
** --> money per kWh
*/
static int levelised (lua_State *L) {
  levelised_ask in = {0};
  amp_levelised_ask a = read_ask(L, "levelised", false, &in);
  amp_error err = {0};
  double per_kwh;
  if (amp_levelised(&a, &per_kwh, &err) != AMP_OK)
    return bind_raise(L, NULL, "levelised", &err);
  lua_pushnumber(L, per_kwh);
  return 1;
}

/*
** core.savings_raw{ the same, tariff = 0.29 } --> {levelised, first_year,
** npv, years, break_even}; no break_even: never
*/
static int savings_raw (lua_State *L) {
  levelised_ask in = {0};
  amp_levelised_ask a = read_ask(L, "savings", true, &in);
  amp_error err = {0};
  amp_savings s;
  if (amp_cash_savings(&a, in.tariff, &s, &err) != AMP_OK)
    return bind_raise(L, NULL, "savings", &err);
  lua_newtable(L);
  bind_put(L, "levelised", s.per_kwh);
  bind_put(L, "first_year", s.first_year);
  bind_put(L, "npv", s.npv);
  bind_put(L, "years", a.years);
  bind_put(L, "break_even", isfinite(s.break_even) ? s.break_even : NAN);
  return 1;
}

/* core.annuity(rate, years) --> present worth of 1 a year */
static int annuity (lua_State *L) {
  lua_pushnumber(L,
                 amp_cash_pa(luaL_checknumber(L, 1), luaL_checknumber(L, 2)));
  return 1;
}

static const luaL_Reg functions[] = {{"levelised", levelised},
                                     {"savings_raw", savings_raw},
                                     {"annuity", annuity},
                                     {NULL, NULL}};

void bind_money_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
