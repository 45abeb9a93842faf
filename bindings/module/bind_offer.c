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

/* of one currency in another; beyond them a typing error */
static const double RATE_LEAST = 1e-9, RATE_MOST = 1e9;

static const bind_field offer_fields[] = {
    F_TEXT("name", bind_offer, name, "what to call it"),
    F_ELSE("module", BIND_OBJECT, "", "amp.module{} that is offered"),
    F_WHOLE("count", bind_offer, o.count, 1, 100000, "modules delivered"),
    F_PRICE("price_each", bind_offer, price_each, MONEY, PRICE,
            "money for one module"),
    F_PRICE("price_lot", bind_offer, price_lot, MONEY, PRICE,
            "money for all of them"),
    F_PRICE("price_per_kwh", bind_offer, price_per_kwh, 1e6, PRICE,
            "money for one kWh of nameplate"),
    F_ELSE_OF("premium_pct", BIND_LIST, 0.01, 0.0, 200.0, "%", 0,
              "the auction's premium on the price, or steps {{from, pct, "
              "fixed}, ..} that hold above from"),
    F_ELSE("premium_on", BIND_CHOICE, "part whole",
           "a step's rate is paid on the part above it (part, unless given) "
           "or on the whole price"),
    F_PRICE("premium_min", bind_offer, o.premium_min, MONEY, 0,
            "least premium"),
    F_PRICE("freight", bind_offer, o.freight, MONEY, 0,
            "freight that the seller invoices; where customs are due, to the "
            "border"),
    F_PRICE("freight_per_kg", bind_offer, o.per_kg, 1e6, 0,
            "freight for each kg of modules"),
    F_PRICE("freight_per_pallet", bind_offer, o.per_pallet, MONEY, 0,
            "freight for each pallet"),
    F_WHOLE("pallets", bind_offer, o.pallets, 1, 100000,
            "pallets that are paid for"),
    F_NUM("pallet_kg", bind_offer, o.pallet_mass, 1.0, 1.0, 1e5, "kg",
          "modules a pallet carries, where pallets is not given"),
    F_PRICE("inland", bind_offer, o.inland, MONEY, 0,
            "freight behind the border: taxed, no customs on it"),
    F_PRICE("hazmat", bind_offer, o.hazmat, MONEY, 0,
            "surcharge for dangerous goods"),
    F_PRICE("fees", bind_offer, o.fees, MONEY, 0,
            "other fees that the seller invoices"),
    F_PRICE("collection", bind_offer, o.collection, MONEY, 0,
            "your own trip, without tax"),
    F_NUM("customs_pct", bind_offer, o.customs, 0.01, 0.0, 200.0, "%",
          "customs on goods, premium and freight"),
    F_ELSE("tax", BIND_CHOICE, "included excluded none",
           "whether the prices hold the tax"),
    F_ELSE("tax_of", BIND_LIST, "",
           "{freight = \"none\", ..}: lines that differ from tax; goods "
           "premium freight inland hazmat fees"),
    F_NUM("tax_pct", bind_offer, o.tax_rate, 0.01, 0.0, 100.0, "%",
          "rate, where tax is excluded"),
    F_TEXT("currency", bind_offer, currency,
           "money of the prices, 1 to 8 letters; the need's unless given"),
    F_ELSE("rates", BIND_LIST, "",
           "{GBP = 1.17, to = \"EUR\", dated = \"..\"}: goes before the "
           "need's"),
    F_TEXT("dated", bind_offer, dated, "when the price was seen"),
    F_VALUE("dud_pct", bind_offer, dud, 0.01, 0.0, 100.0, "%",
            "share of modules that will be rejected"),
    F_NUM("dud_together_pct", bind_offer, together, 0.01, 0.0, 100.0, "%",
          "how far duds come together: 0 each for itself, 100 the whole lot "
          "or none"),
    F_VALUE("tested_ah", bind_offer, tested, 3600.0, 0.1, 5000.0, "Ah",
            "capacity by test, of this lot"),
    F_VALUE("soh_pct", bind_offer, soh, 0.01, 0.01, 120.0, "%",
            "state of health, of this lot"),
    F_PRICE("bos", bind_offer, bos, MONEY, 0,
            "money for the rest, in the need's currency: battery management, "
            "fuses, cable"),
    F_NUM_OF("bos_kg", bind_offer, bos_mass, 1.0, 0.0, 1e5, "kg", MASS,
             "mass of the rest"),
    F_NUM_OF("bos_lb", bind_offer, bos_mass, 0.45359237, 0.0, 2.2e5, "lb",
             MASS, "mass of the rest"),
    F_ELSE("costs", BIND_LIST, "",
           "further costs {{\"crane\", 120}, {\"inverter\", 400, year = 8}, "
           "{\"insurance\", 60, every = 1}}, in the need's currency; plain "
           "numbers, no spreads"),
    F_PRICE("residual", bind_offer, residual, MONEY, 0,
            "money received at the end"),
    F_PRICE("price_again", bind_offer, again, MONEY, 0,
            "money for all of it when it is worn out before the horizon, in "
            "the need's currency; else nothing is said of those years"),
    F_TEXT("remark", bind_offer, remark,
           "words of the seller; never enter a sum"),
    F_END};

static const bind_class offer_class;

static void offer_defaults (void *spec) {
  bind_offer *s = spec;
  s->price_lot = s->price_each = s->price_per_kwh = s->again = NAN;
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

/* The word at the top, which is popped. */
static amp_tax tax_word (lua_State *L, const char *who, const char *key) {
  static const char *const words[] = {"included", "excluded", "none", NULL};
  static const amp_tax means[] = {AMP_TAX_INCLUDED, AMP_TAX_EXCLUDED,
                                  AMP_TAX_NONE};
  const char *s = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  int i = 0;
  while (words[i] != NULL && strcmp(words[i], s) != 0)
    i++;
  if (words[i] == NULL && strncmp(s, "margin", 6) == 0)
    bind_error(L, NULL,
               "%s: %s = \"%s\": what a margin scheme adds is not guessed; "
               "\"included\" where the price is all you pay",
               who, key, s);
  if (words[i] == NULL)
    bind_error(L, NULL,
               "%s: %s must be \"included\", \"excluded\" or \"none\" (got "
               "'%s')",
               who, key, s);
  lua_pop(L, 1);
  return means[i];
}

static const struct {
  const char *key;
  amp_step step;
} taxed[] = {{"goods", AMP_STEP_GOODS},     {"premium", AMP_STEP_PREMIUM},
             {"freight", AMP_STEP_FREIGHT}, {"inland", AMP_STEP_INLAND},
             {"hazmat", AMP_STEP_HAZMAT},   {"fees", AMP_STEP_FEES}};
enum { TAXED = sizeof taxed / sizeof *taxed };

/* tax_of = {freight = "none"} at the top */
static bool read_tax_of (lua_State *L, const char *who, amp_offer *o) {
  const char *keys[TAXED + 1] = {NULL};
  char what[80];
  bool excluded = false;
  for (int i = 0; i < TAXED; i++)
    keys[i] = taxed[i].key;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: tax_of is a table {freight = \"none\", ..}",
               who);
  snprintf(what, sizeof what, "%.60s: tax_of", who);
  bind_options(L, lua_gettop(L), what, keys);
  for (int i = 0; i < TAXED; i++) {
    if (!bind_get(L, -1, keys[i]))
      continue;
    snprintf(what, sizeof what, "tax_of.%s", keys[i]);
    o->tax_of[taxed[i].step] = tax_word(L, who, what);
    excluded |= o->tax_of[taxed[i].step] == AMP_TAX_EXCLUDED;
  }
  return excluded;
}

/* Not known: landed cost is refused, not guessed. */
static void read_tax (lua_State *L, int keys, const char *who, amp_offer *o) {
  bool excluded = false;
  if (bind_get(L, keys, "tax"))
    o->tax = tax_word(L, who, "tax");
  if (bind_get(L, keys, "tax_of")) {
    excluded = read_tax_of(L, who, o);
    lua_pop(L, 1);
  }
  if ((excluded || o->tax == AMP_TAX_EXCLUDED) &&
      !bind_get(L, keys, "tax_pct"))
    bind_error(L, NULL, "%s: tax_pct is wanted where tax is excluded", who);
}

static double tier_money (lua_State *L, int idx, const char *who) {
  double v = lua_tonumber(L, idx);
  if (lua_type(L, idx) != LUA_TNUMBER || !(v >= 0.0 && v <= MONEY))
    bind_error(L, NULL,
               "%s: a step of premium_pct is {from, percent, fixed}, money "
               ">= 0",
               who);
  return v;
}

/* {from, percent} or {from, percent, fixed} at the top */
static void read_tier (lua_State *L, const bind_field *f, const char *who,
                       amp_tier *t) {
  lua_Unsigned n = lua_istable(L, -1) ? lua_rawlen(L, -1) : 0;
  if (n != 2 && n != 3)
    bind_error(L, NULL, "%s: a step of premium_pct is {from, percent}", who);
  for (int i = 1; i <= 3; i++)
    lua_rawgeti(L, -i, i);
  t->from = tier_money(L, -3, who);
  t->rate = bind_number(L, -2, f, who);
  t->fixed = n == 3 ? tier_money(L, -1, who) : 0.0;
  lua_pop(L, 3);
}

/* premium_pct at the top */
static void read_tiers (lua_State *L, const bind_field *f, const char *who,
                        amp_offer *o) {
  if (!lua_istable(L, -1)) {
    o->tiers = 1;
    o->tier[0] = (amp_tier){.rate = bind_number(L, -1, f, who)};
    return;
  }
  o->tiers = (int)lua_rawlen(L, -1);
  if (o->tiers < 1 || o->tiers > AMP_TIERS)
    bind_error(L, NULL, "%s: premium_pct wants 1 .. %d steps {from, percent}",
               who, AMP_TIERS);
  for (int i = 0; i < o->tiers; i++) {
    lua_rawgeti(L, -1, i + 1);
    read_tier(L, f, who, &o->tier[i]);
    lua_pop(L, 1);
  }
}

static void read_premium (lua_State *L, int keys, const char *who,
                          amp_offer *o) {
  if (bind_get(L, keys, "premium_on")) {
    const char *s = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
    o->premium_whole = strcmp(s, "whole") == 0;
    if (!o->premium_whole && strcmp(s, "part") != 0)
      bind_error(L, NULL,
                 "%s: premium_on must be \"part\" or \"whole\" (got '%s')",
                 who, s);
    lua_pop(L, 1);
  }
  if (bind_get(L, keys, "premium_pct")) {
    read_tiers(L, bind_field_find(&offer_class, "premium_pct"), who, o);
    lua_pop(L, 1);
  }
}

/* ---- currencies ---- */

static bool is_currency (const char *s, size_t n) {
  for (size_t i = 0; i < n; i++)
    if ((s[i] < 'A' || s[i] > 'Z') && (s[i] < 'a' || s[i] > 'z'))
      return false;
  return n >= 1 && n <= 8;
}

void bind_check_currency (lua_State *L, const char *who) {
  size_t n = 0;
  const char *s =
      lua_type(L, -1) == LUA_TSTRING ? lua_tolstring(L, -1, &n) : "";
  if (!is_currency(s, n))
    bind_error(L, NULL,
               "%s: currency must be a word of 1 to 8 letters such as "
               "\"EUR\"",
               who);
}

static bool is_rate (lua_State *L, const char *key) {
  if (strcmp(key, "dated") == 0 || strcmp(key, "to") == 0)
    return true;
  double v = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : NAN;
  return v >= RATE_LEAST && v <= RATE_MOST;
}

/* Of several that are wrong the first in byte order is named. */
void bind_check_rates (lua_State *L, const char *who) {
  static const char form[] = "{USD = 0.88, dated = \"..\"}";
  const char *worst = NULL;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: rates must be %s", who, form);
  lua_pushnil(L);
  for (; lua_next(L, -2) != 0; lua_pop(L, 1)) {
    if (lua_type(L, -2) != LUA_TSTRING)
      bind_error(L, NULL, "%s: rates must be %s", who, form);
    const char *key = lua_tostring(L, -2);
    if (!is_rate(L, key) && (worst == NULL || strcmp(key, worst) < 0))
      worst = key;
  }
  if (worst != NULL)
    bind_error(L, NULL,
               "%s: the rate of %s must be a number above 0 (%s .. %s)", who,
               worst, bind_push_number(L, RATE_LEAST),
               bind_push_number(L, RATE_MOST));
}

/* Its own rates, of which one is wanted. */
static void read_rates (lua_State *L, int keys, const char *who,
                        bind_offer *s) {
  if (!bind_get(L, keys, "rates"))
    return;
  bind_check_rates(L, who);
  lua_getfield(L, -1, "to");
  size_t n = 0;
  const char *to = lua_tolstring(L, -1, &n);
  if (to != NULL && n < sizeof s->rate_to)
    memcpy(s->rate_to, to, n + 1);
  lua_getfield(L, -2, s->currency);
  s->rate = s->currency[0] != '\0' ? lua_tonumber(L, -1) : 0.0;
  lua_pop(L, 3);
}

/* A rate of the table that holds 'rates' at 'keys'; 0: none. */
static double rate_in (lua_State *L, int keys, const char *currency) {
  double rate = 0.0;
  if (bind_get(L, keys, "rates")) {
    if (lua_istable(L, -1)) {
      lua_getfield(L, -1, currency);
      rate = lua_tonumber(L, -1);
      lua_pop(L, 1);
    }
    lua_pop(L, 1);
  }
  return rate;
}

double bind_rate (lua_State *L, const bind_offer *o, int keys) {
  double rate = 0.0;
  const char *ours =
      bind_get(L, keys, "currency") ? lua_tostring(L, -1) : NULL;
  if (o->currency[0] == '\0' ||
      (ours != NULL && strcmp(ours, o->currency) == 0))
    rate = 1.0;
  else if (o->rate_to[0] == '\0' ||
           (ours != NULL && strcmp(ours, o->rate_to) == 0))
    rate = o->rate;
  if (!(rate > 0.0))
    rate = rate_in(L, keys, o->currency);
  if (ours != NULL)
    lua_pop(L, 1);
  if (rate > 0.0)
    return rate;
  lua_pushfstring(L,
                  "no rate from %s to %s: no sum over currencies without "
                  "one (say rates = { %s = .. } in the need)",
                  o->currency, ours != NULL ? ours : "the need's currency",
                  o->currency);
  return 0.0;
}

/* A whole number of years under 'key' of the cost at the top. */
static int cost_years (lua_State *L, const char *who, const char *key,
                       int least, int otherwise) {
  double v = bind_option(L, -1, key, NAN);
  if (!amp_given(v))
    return otherwise;
  if (!(v >= least && v <= AMP_CASH_YEARS && v == floor(v)))
    bind_error(L, NULL,
               "%s: costs: %s must be a whole number %d .. %d (got %s)", who,
               key, least, AMP_CASH_YEARS, bind_push_number(L, v));
  return (int)v;
}

/* The cost at the top has no keys but these; of several the first in byte
** order is named. */
static void check_cost_keys (lua_State *L, const char *who) {
  const char *worst = NULL;
  lua_pushnil(L);
  for (; lua_next(L, -2) != 0; lua_pop(L, 1)) {
    const char *key =
        lua_type(L, -2) == LUA_TSTRING ? lua_tostring(L, -2) : "year";
    if (strcmp(key, "year") != 0 && strcmp(key, "every") != 0 &&
        (worst == NULL || strcmp(key, worst) < 0))
      worst = key;
  }
  if (worst != NULL)
    bind_error(L, NULL, "%s: costs: unknown key '%s' (known: year, every)",
               who, worst);
}

/* {"crane", 120}, {"inverter", 400, year = 8}, {"insurance", 60, every = 1}
** at the top: at the start, in a year, in each 'every' years from the first
** (or from year) on. */
static void read_cost (lua_State *L, const char *who, bind_offer *s) {
  static const char form[] = "{\"crane\", 120}, {\"inverter\", 400, year = "
                             "8}, {\"insurance\", 60, every = 1}";
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: one of costs is %s", who, form);
  lua_rawgeti(L, -1, 1);
  lua_rawgeti(L, -2, 2);
  double v = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : NAN;
  if (lua_type(L, -1) == LUA_TUSERDATA)
    bind_error(L, NULL,
               "%s: costs: a plain number is wanted in each; a spread, or "
               "another value, is not taken there (only prices such as bos "
               "and freight take one). One of costs is %s",
               who, form);
  if (lua_type(L, -2) != LUA_TSTRING || !(v >= -MONEY && v <= MONEY) ||
      lua_rawlen(L, -3) != 2)
    bind_error(L, NULL, "%s: one of costs is %s", who, form);
  lua_pop(L, 2);
  check_cost_keys(L, who);
  int every = cost_years(L, who, "every", 1, 0);
  int year = cost_years(L, who, "year", every > 0 ? 1 : 0, every);
  if (year == 0) {
    s->extra += v;
    return;
  }
  if (s->laters == AMP_CASE_LATER)
    bind_error(L, NULL, "%s: costs: %d of later years at most", who,
               AMP_CASE_LATER);
  s->later[s->laters++] = (amp_later_cost){v, year, every};
}

/* A list has no keys but 1, 2, ..: the first in byte order that is a name, or
** "" where a number is none of these. NULL: it is a list. */
static const char *not_of_list (lua_State *L) {
  lua_Integer n = (lua_Integer)lua_rawlen(L, -1);
  const char *worst = NULL;
  bool other = false;
  lua_pushnil(L);
  for (; lua_next(L, -2) != 0; lua_pop(L, 1)) {
    if (lua_type(L, -2) == LUA_TSTRING) {
      const char *key = lua_tostring(L, -2);
      if (worst == NULL || strcmp(key, worst) < 0)
        worst = key;
    } else
      other = other || !lua_isinteger(L, -2) || lua_tointeger(L, -2) < 1 ||
              lua_tointeger(L, -2) > n;
  }
  return worst != NULL ? worst : other ? "" : NULL;
}

static void read_costs (lua_State *L, int keys, const char *who,
                        bind_offer *s) {
  if (!bind_get(L, keys, "costs"))
    return;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "%s: costs is a list {{\"crane\", 120}, ..}", who);
  const char *key = not_of_list(L);
  if (key != NULL && key[0] != '\0')
    bind_error(
        L, NULL,
        "%s: costs is a list {{\"crane\", 120}, ..} (got the key '%s': "
        "write {\"%s\", ..})",
        who, key, key);
  else if (key != NULL)
    bind_error(L, NULL,
               "%s: costs is a list {{\"crane\", 120}, ..} without gaps",
               who);
  for (int i = 1; i <= (int)lua_rawlen(L, -1); i++) {
    lua_rawgeti(L, -1, i);
    read_cost(L, who, s);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
}

/* Where the case keeps what the offer keeps at 'offset'. */
static size_t place_in_case (size_t offset) {
  if (offset == offsetof(bind_offer, bos))
    return offsetof(amp_case, bos);
  if (offset == offsetof(bind_offer, residual))
    return offsetof(amp_case, residual);
  if (offset == offsetof(bind_offer, again))
    return offsetof(amp_case, again);
  if (offset < offsetof(bind_offer, o) ||
      offset >= offsetof(bind_offer, o) + sizeof(amp_offer))
    return offsetof(amp_case, offer.price); /* each, lot, per kWh */
  return offsetof(amp_case, offer) + offset - offsetof(bind_offer, o);
}

/* Prices given as values with a spread are drawn. */
static void read_spreads (lua_State *L, int keys, bind_offer *s) {
  for (const bind_field *f = offer_fields; f->key != NULL; f++) {
    if (f->kind != BIND_PRICE || !bind_get(L, keys, f->key))
      continue;
    if (lua_type(L, -1) == LUA_TUSERDATA && s->prices < AMP_CASE_PRICES) {
      amp_value v = bind_field_value(L, &offer_class, f, keys);
      if (!amp_value_is_fixed(&v))
        s->price[s->prices++] =
            (amp_price_spread){place_in_case(f->offset), v, f->key};
    }
    lua_pop(L, 1);
  }
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
  if (bind_get(L, keys, "currency")) {
    bind_check_currency(L, who);
    lua_pop(L, 1);
  }
  read_price(L, who, s);
  read_tax(L, keys, who, &s->o);
  read_premium(L, keys, who, &s->o);
  read_costs(L, keys, who, s);
  read_spreads(L, keys, s);
  read_rates(L, keys, who, s);
  s->o.mass_each = s->module->m.mass;
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

/* The line at the top gets {what, amount, base =, rate =}. */
static void push_line (lua_State *L, const amp_landed_line *line) {
  lua_createtable(L, 2, 2);
  lua_pushstring(L, line->what);
  lua_rawseti(L, -2, 1);
  lua_pushnumber(L, line->amount);
  lua_rawseti(L, -2, 2);
  bind_put(L, "base", line->base);
  bind_put(L, "rate", line->rate);
}

void bind_push_landed (lua_State *L, const amp_landed *a) {
  lua_newtable(L);
  bind_put(L, "total", a->total);
  lua_createtable(L, a->lines, 0);
  for (int i = 0; i < a->lines; i++) {
    push_line(L, &a->line[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "lines");
}

/* The money of the answer: the offer's own, or that of the need or of
** {currency, rates} at 2. */
static double asked_rate (lua_State *L, const bind_offer *s,
                          const char *who) {
  static const char *const keys[] = {"currency", "rates", NULL};
  if (lua_isnoneornil(L, 2))
    return 1.0;
  if (bind_test(L, 2, "need") != NULL)
    bind_push_keys(L, 2);
  else {
    bind_options(L, 2, "landed", keys);
    lua_pushvalue(L, 2);
    if (bind_get(L, -1, "currency")) {
      bind_check_currency(L, "landed");
      lua_pop(L, 1);
    }
    if (bind_get(L, -1, "rates")) {
      bind_check_rates(L, "landed");
      lua_pop(L, 1);
    }
  }
  double rate = bind_rate(L, s, lua_gettop(L));
  if (!(rate > 0.0))
    bind_error(L, "missing", "%s: %s", who, lua_tostring(L, -1));
  lua_pop(L, 1);
  return rate;
}

/* Where amp_offer keeps a price that is spread, or NULL: it lands later. */
static double *price_in (amp_offer *o, const amp_price_spread *p) {
  size_t from = offsetof(amp_case, offer);
  return p->at >= from && p->at < from + sizeof *o
             ? (double *)(void *)((char *)o + (p->at - from))
             : NULL;
}

/* The total with every price that is spread at place u of its spread. */
static double landed_at (const bind_offer *s, amp_offer o, double u) {
  amp_landed landed = {.total = NAN};
  for (int i = 0; i < s->prices; i++) {
    double *price = price_in(&o, &s->price[i]);
    if (price != NULL) /* never paid out, as in a draw */
      *price = fmax(amp_value_at(&s->price[i].v, u), 0.0);
  }
  amp_offer_landed(&o, &landed, NULL);
  return landed.total;
}

/* low, high and spread = {key = {10 %, 90 %}} into the table at the top,
** where a price that lands is spread. */
static void put_spread (lua_State *L, const bind_offer *s, amp_offer o) {
  lua_newtable(L);
  int n = 0;
  for (int i = 0; i < s->prices; i++) {
    const amp_price_spread *p = &s->price[i];
    if (price_in(&o, p) == NULL)
      continue;
    n++;
    lua_createtable(L, 2, 0);
    for (int k = 0; k < 2; k++) {
      lua_pushnumber(L, fmax(amp_value_at(&p->v, k == 0 ? 0.1 : 0.9), 0.0));
      lua_rawseti(L, -2, k + 1);
    }
    lua_setfield(L, -2, p->name);
  }
  lua_setfield(L, -2, "spread");
  double a = landed_at(s, o, 0.1), b = landed_at(s, o, 0.9);
  if (n == 0)
    return;
  bind_put(L, "low", fmin(a, b));
  bind_put(L, "high", fmax(a, b));
}

/* H1:landed(need or {currency, rates}) --> {total =, rate =, lines = {{what,
** amount, base =, rate =}, ..}, low =, high =, spread = {freight = {low,
** high}}}; the Lua half makes a table of it */
static int offer_landed (lua_State *L) {
  bind_offer *s = bind_check(L, 1, "offer", "landed");
  amp_offer o = s->o;
  amp_landed landed;
  amp_error err = {0};
  lua_settop(L, 2);
  bind_push_keys(L, 1);
  const char *who = bind_who(L, &offer_class, -1);
  o.to_currency = asked_rate(L, s, who);
  if (amp_offer_landed(&o, &landed, &err) != AMP_OK)
    return bind_raise(L, &offer_class, who, &err);
  bind_push_landed(L, &landed);
  bind_put(L, "rate", o.to_currency);
  bind_put(L, "pallets", amp_offer_pallets(&o));
  put_spread(L, s, o);
  return 1;
}

static int whole_option (lua_State *L, const char *key, int hi) {
  double v = bind_option(L, 2, key, NAN);
  if (v == v && !(v >= 0.0 && v <= hi && v == floor(v)))
    bind_error(L, NULL, "chance: %s must be a whole number 0 .. %d (got %s)",
               key, hi, bind_push_number(L, v));
  return v == v ? (int)v : -1;
}

/* That at least so many are good. */
static double chance_of_good (lua_State *L, const bind_offer *s, int good) {
  int n = s->o.count;
  if (!(s->together > 0.0))
    return amp_binomial_at_least(n, good, 1.0 - s->dud.value);
  double *at_most = lua_newuserdatauv(L, (size_t)n * sizeof *at_most, 0);
  amp_good_chances(n, s->dud.value, s->together, at_most);
  lua_pop(L, 1);
  return good > 0 ? 1.0 - at_most[good - 1] : 1.0;
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
    lua_pushnumber(L, chance_of_good(L, s, good));
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
