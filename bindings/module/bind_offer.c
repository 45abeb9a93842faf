/*
** bind_offer.c -- one offer of used modules: what it holds, what it costs,
** what is known of it.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { PRICE = 1, MASS = 2 };

#define MONEY 1e9

static const bind_field offer_fields[] = {
    F_TEXT("name", bind_offer, name, "what to call it"),
    F_ELSE("module", BIND_OBJECT, "", "amp.module{} that is offered"),
    F_WHOLE("count", bind_offer, o.count, 1, 100000, "modules delivered"),
    F_NUM_OF("price_each", bind_offer, price_each, 1.0, 0.0, MONEY, "", PRICE,
             "money for one module"),
    F_NUM_OF("price_lot", bind_offer, price_lot, 1.0, 0.0, MONEY, "", PRICE,
             "money for all of them"),
    F_NUM_OF("price_per_kwh", bind_offer, price_per_kwh, 1.0, 0.0, 1e6, "",
             PRICE, "money for one kWh of nameplate"),
    F_ELSE_OF("premium_pct", BIND_LIST, 0.01, 0.0, 200.0, "%", 0,
              "the auction's premium on the price, or tiers {{from, pct}, "
              "..}"),
    F_NUM("freight", bind_offer, o.freight, 1.0, 0.0, MONEY, "",
          "freight that the seller invoices"),
    F_NUM("hazmat", bind_offer, o.hazmat, 1.0, 0.0, MONEY, "",
          "surcharge for dangerous goods"),
    F_NUM("fees", bind_offer, o.fees, 1.0, 0.0, MONEY, "",
          "other fees that the seller invoices"),
    F_NUM("collection", bind_offer, o.collection, 1.0, 0.0, MONEY, "",
          "your own trip, without tax"),
    F_NUM("customs_pct", bind_offer, o.customs, 0.01, 0.0, 200.0, "%",
          "customs on goods, premium and freight"),
    F_ELSE("tax", BIND_CHOICE, "included excluded none",
           "whether the prices hold the tax"),
    F_NUM("tax_pct", bind_offer, o.tax_rate, 0.01, 0.0, 100.0, "%",
          "rate, where tax is excluded"),
    F_TEXT("currency", bind_offer, currency,
           "money of the prices; the need's unless given"),
    F_TEXT("dated", bind_offer, dated, "when the price was seen"),
    F_VALUE("dud_pct", bind_offer, dud, 0.01, 0.0, 100.0, "%",
            "share of modules that will be rejected"),
    F_VALUE("tested_ah", bind_offer, tested, 3600.0, 0.1, 5000.0, "Ah",
            "capacity by test, of this lot"),
    F_VALUE("soh_pct", bind_offer, soh, 0.01, 0.01, 120.0, "%",
            "state of health, of this lot"),
    F_NUM("bos", bind_offer, bos, 1.0, 0.0, MONEY, "",
          "money for the rest: battery management, fuses, cable"),
    F_NUM_OF("bos_kg", bind_offer, bos_mass, 1.0, 0.0, 1e5, "kg", MASS,
             "mass of the rest"),
    F_NUM_OF("bos_lb", bind_offer, bos_mass, 0.45359237, 0.0, 2.2e5, "lb",
             MASS, "mass of the rest"),
    F_ELSE("costs", BIND_LIST, "",
           "further costs {{\"crane\", 120, year = 0}, ..}"),
    F_NUM("residual", bind_offer, residual, 1.0, 0.0, MONEY, "",
          "money received at the end"),
    F_TEXT("remark", bind_offer, remark,
           "words of the seller; never enter a sum"),
    F_END};

static const bind_class offer_class;

static void offer_defaults (void *spec) {
  bind_offer *s = spec;
  s->price_lot = s->price_each = s->price_per_kwh = NAN;
  s->o.to_currency = 1.0;
}

static void read_price (lua_State *L, const char *who, bind_offer *s) {
  if (amp_given(s->price_lot)) {
    s->o.price_is = AMP_PRICE_LOT;
    s->o.price = s->price_lot;
  } else if (amp_given(s->price_each)) {
    s->o.price_is = AMP_PRICE_EACH;
    s->o.price = s->price_each;
  } else if (amp_given(s->price_per_kwh)) {
    s->o.price_is = AMP_PRICE_PER_KWH;
    s->o.price = s->price_per_kwh;
  } else
    bind_error(L, NULL,
               "%s: one of price_each, price_lot, price_per_kwh is "
               "wanted",
               who);
}

static void read_tax (lua_State *L, int keys, const char *who, amp_offer *o) {
  static const char *const words[] = {"included", "excluded", "none", NULL};
  static const amp_tax means[] = {AMP_TAX_INCLUDED, AMP_TAX_EXCLUDED,
                                  AMP_TAX_NONE};
  if (!bind_get(L, keys, "tax"))
    return; /* not known: landed cost is refused, not guessed */
  const char *s = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  int i = 0;
  while (words[i] != NULL && strcmp(words[i], s) != 0)
    i++;
  if (words[i] == NULL)
    bind_error(L, NULL,
               "%s: tax must be \"included\", \"excluded\" or "
               "\"none\" (got '%s')",
               who, s);
  o->tax = means[i];
  lua_pop(L, 1);
  if (o->tax == AMP_TAX_EXCLUDED && !bind_get(L, keys, "tax_pct"))
    bind_error(L, NULL, "%s: tax_pct is wanted where tax is excluded", who);
}

static void read_tier (lua_State *L, const bind_field *f, const char *who,
                       amp_tier *t) {
  if (!lua_istable(L, -1) || lua_rawlen(L, -1) != 2)
    bind_error(L, NULL, "%s: a tier of premium_pct is {from, percent}", who);
  lua_rawgeti(L, -1, 1);
  lua_rawgeti(L, -2, 2);
  t->from = lua_tonumber(L, -2);
  if (!lua_isnumber(L, -2) || !(t->from >= 0.0 && t->from <= MONEY))
    bind_error(L, NULL, "%s: a tier of premium_pct starts at money >= 0",
               who);
  t->rate = bind_number(L, -1, f, who);
  lua_pop(L, 2);
}

static void read_premium (lua_State *L, int keys, const char *who,
                          amp_offer *o) {
  const bind_field *f = bind_field_find(&offer_class, "premium_pct");
  if (!bind_get(L, keys, "premium_pct"))
    return;
  if (!lua_istable(L, -1)) {
    o->tiers = 1;
    o->tier[0].from = 0.0;
    o->tier[0].rate = bind_number(L, -1, f, who);
    lua_pop(L, 1);
    return;
  }
  o->tiers = (int)lua_rawlen(L, -1);
  if (o->tiers < 1 || o->tiers > AMP_TIERS)
    bind_error(L, NULL, "%s: premium_pct wants 1 .. %d tiers {from, percent}",
               who, AMP_TIERS);
  for (int i = 0; i < o->tiers; i++) {
    lua_rawgeti(L, -1, i + 1);
    read_tier(L, f, who, &o->tier[i]);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
}

/* {"crane", 120, year = 0} */
static double read_cost (lua_State *L, const char *who) {
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: one of costs is {\"crane\", 120}", who);
  lua_rawgeti(L, -1, 1);
  lua_rawgeti(L, -2, 2);
  double v = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : NAN;
  if (lua_type(L, -2) != LUA_TSTRING || !(v >= -MONEY && v <= MONEY))
    bind_error(L, NULL, "%s: one of costs is {\"crane\", 120}", who);
  lua_pop(L, 2);
  if (bind_option(L, -1, "year", 0.0) != 0.0)
    bind_error(L, NULL,
               "%s: costs of later years are not counted yet; only "
               "year = 0",
               who);
  return v;
}

static void read_costs (lua_State *L, int keys, const char *who,
                        bind_offer *s) {
  if (!bind_get(L, keys, "costs"))
    return;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: costs is a list {{\"crane\", 120}, ..}", who);
  for (int i = 1; i <= (int)lua_rawlen(L, -1); i++) {
    lua_rawgeti(L, -1, i);
    s->extra += read_cost(L, who);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
}

static void offer_finish (lua_State *L, int keys, void *spec) {
  bind_offer *s = spec;
  const char *who = bind_who(L, &offer_class, keys);
  if (!bind_get(L, keys, "module") || bind_test(L, -1, "module") == NULL)
    bind_error(L, NULL, "%s: module = amp.module{} is wanted", who);
  s->module = lua_touserdata(L, -1);
  lua_pop(L, 1);
  if (s->o.count == 0)
    bind_error(L, NULL, "%s: count is wanted", who);
  read_price(L, who, s);
  read_tax(L, keys, who, &s->o);
  read_premium(L, keys, who, &s->o);
  read_costs(L, keys, who, s);
  s->o.kwh_each = amp_module_nameplate(&s->module->m) / 3.6e6;
  bind_cut_tested(&s->tested, s->module->m.capacity.value);
  s->dud_assumed = !amp_value_is_set(&s->dud);
  if (s->dud_assumed)
    s->dud = amp_value_fixed(0.0, AMP_BASIS_ASSUMED);
}

static void offer_tell (lua_State *L, const void *spec) {
  const bind_offer *s = spec;
  bool assumed;
  bind_module_tested(&s->module->m, &assumed);
  if (s->o.tax == AMP_TAX_UNKNOWN)
    bind_say(L, "tax: not known, so the landed cost is refused");
  if (s->dud_assumed)
    bind_say(L, "dud_pct: 0 is taken, assumed");
  if (assumed && !amp_value_is_set(&s->tested) && !amp_value_is_set(&s->soh))
    bind_say(L, "tested_ah, soh_pct: the nameplate is taken, assumed");
}

/* H1:landed() --> {total =, goods =, freight =, .., lines = {{what, amount}}}
*/
static int offer_landed (lua_State *L) {
  bind_offer *s = bind_check(L, 1, "offer", "landed");
  amp_landed landed;
  amp_error err = {0};
  bind_push_keys(L, 1);
  const char *who = bind_who(L, &offer_class, -1);
  amp_status st = amp_offer_check(&s->o, &err);
  if (st == AMP_OK)
    st = amp_offer_landed(&s->o, &landed, &err);
  if (st != AMP_OK)
    return bind_raise(L, &offer_class, who, &err);
  lua_newtable(L);
  bind_put(L, "total", landed.total);
  lua_newtable(L);
  for (int i = 0; i < landed.lines; i++) {
    lua_createtable(L, 2, 0);
    lua_pushstring(L, landed.line[i].what);
    lua_rawseti(L, -2, 1);
    lua_pushnumber(L, landed.line[i].amount);
    lua_rawseti(L, -2, 2);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "lines");
  for (int i = 0; i < landed.lines; i++)
    bind_put(L, landed.line[i].what, landed.line[i].amount);
  return 1;
}

static int whole_option (lua_State *L, const char *key, int hi) {
  double v = bind_option(L, 2, key, NAN);
  if (v == v && !(v >= 0.0 && v <= hi && v == floor(v)))
    bind_error(L, NULL, "chance: %s must be a whole number 0 .. %d (got %s)",
               key, hi, bind_push_number(L, v));
  return v == v ? (int)v : -1;
}

/*
** H1:chance{ good = 10 } --> chance 0 .. 1 that at least 10 are good;
** H1:chance{ duds = 2, tested = 2 } --> that testing 2 of a lot with 2 duds
** shows none of them.
*/
static int offer_chance (lua_State *L) {
  static const char *const keys[] = {"good", "duds", "tested", NULL};
  bind_offer *s = bind_check(L, 1, "offer", "chance");
  bind_options(L, 2, "chance", keys);
  int n = s->o.count;
  int good = whole_option(L, "good", n), duds = whole_option(L, "duds", n);
  int tested = whole_option(L, "tested", n);
  if (good >= 0 && duds < 0 && tested < 0) {
    lua_pushnumber(L, amp_binomial_at_least(n, good, 1.0 - s->dud.value));
    return 1;
  }
  if (good >= 0 || duds < 0 || tested < 0)
    return bind_error(L, NULL,
                      "chance: give { good = } or { duds =, tested = "
                      "}");
  lua_pushnumber(L, amp_chance_no_dud(n, duds, tested));
  return 1;
}

static int offer_nameplate (lua_State *L) {
  bind_offer *s = bind_check(L, 1, "offer", "nameplate_kwh");
  lua_pushnumber(L, s->o.kwh_each * s->o.count);
  return 1;
}

static const luaL_Reg offer_methods[] = {
    {"landed", offer_landed},
    {"chance", offer_chance},
    {"get_nameplate_kwh", offer_nameplate},
    {NULL, NULL}};

static const bind_class offer_class = {
    "offer",
    "offer",
    "what a seller offers, and what is known of it",
    offer_fields,
    sizeof(bind_offer),
    offer_defaults,
    offer_finish,
    offer_tell,
    NULL,
    offer_methods};

void bind_offer_open (lua_State *L) {
  bind_class_open(L, &offer_class);
}
