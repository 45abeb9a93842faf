/*
** offer.c -- landed cost line by line, the bid that meets a target, the
** modules that will be in use. Formulas: docs/model/cost.md.
*/
#include "cost/offer.h"
#include "base/sample.h"
#include <math.h>

enum { COUNT_MOST = 100000 };

static const double MONEY_MOST = 1e9; /* a typing error above */

const char *amp_step_name (amp_step step) {
  static const char *const names[AMP_STEPS] = {
      "goods",     "premium", "freight", "freight_by_kg", "freight_by_pallet",
      "customs",   "inland",  "hazmat",  "fees",          "tax",
      "collection"};
  return step >= 0 && step < AMP_STEPS ? names[step] : "";
}

/* ---- what is asked of an offer ---- */

typedef struct limit {
  const char *field;
  double v, lo, hi;
} limit;

static amp_status check_all (const limit *l, size_t n, amp_error *err) {
  amp_status s = AMP_OK;
  for (size_t i = 0; i < n && s == AMP_OK; i++)
    s = amp_check_range(err, l[i].field, l[i].v, l[i].lo, l[i].hi);
  return s;
}

static amp_status check_tiers (const amp_offer *o, amp_error *err) {
  amp_status s = amp_check_range(err, "tiers", o->tiers, 0, AMP_TIERS);
  for (int i = 0; i < o->tiers && s == AMP_OK; i++) {
    const amp_tier *t = &o->tier[i];
    const limit l[] = {{"premium", t->rate, 0.0, 2.0},
                       {"premium_from", t->from, 0.0, MONEY_MOST},
                       {"premium_fixed", t->fixed, 0.0, MONEY_MOST}};
    s = check_all(l, sizeof l / sizeof *l, err);
    if (s == AMP_OK && i > 0 && !(t->from > t[-1].from))
      s = amp_failf(err, AMP_EDATA, "premium_from",
                    "premium steps must rise: %g after %g", t->from,
                    t[-1].from);
  }
  return s;
}

static amp_status check_price (const amp_offer *o, amp_error *err) {
  const limit l[] = {
      {"count", o->count, 1, COUNT_MOST},
      {"price_is", o->price_is, AMP_PRICE_LOT, AMP_PRICE_PER_KWH},
      {"price", o->price, 0.0, MONEY_MOST}};
  amp_status s = check_all(l, sizeof l / sizeof *l, err);
  if (s != AMP_OK || o->price_is != AMP_PRICE_PER_KWH)
    return s;
  if (!(o->kwh_each != 0.0))
    return amp_failf(err, AMP_EMISSING, "kwh_each",
                     "a price per kWh needs the kWh of a module");
  return amp_check_range(err, "kwh_each", o->kwh_each, 1e-3, 1e4);
}

static amp_status check_sums (const amp_offer *o, amp_error *err) {
  const limit l[] = {{"premium_min", o->premium_min, 0.0, MONEY_MOST},
                     {"freight", o->freight, 0.0, MONEY_MOST},
                     {"per_kg", o->per_kg, 0.0, MONEY_MOST},
                     {"per_pallet", o->per_pallet, 0.0, MONEY_MOST},
                     {"pallet_mass", o->pallet_mass, 0.0, 1e5},
                     {"pallets", o->pallets, 0, COUNT_MOST},
                     {"inland", o->inland, 0.0, MONEY_MOST},
                     {"hazmat", o->hazmat, 0.0, MONEY_MOST},
                     {"fees", o->fees, 0.0, MONEY_MOST},
                     {"collection", o->collection, 0.0, MONEY_MOST},
                     {"to_currency", o->to_currency, 1e-9, 1e9},
                     {"tax", o->tax, AMP_TAX_UNKNOWN, AMP_TAX_NONE},
                     {"tax_rate", o->tax_rate, 0.0, 1.0},
                     {"customs", o->customs, 0.0, 2.0}};
  return check_all(l, sizeof l / sizeof *l, err);
}

/* Freight by weight and by pallet asks for what it is counted by. */
static amp_status check_weight (const amp_offer *o, amp_error *err) {
  bool by_mass = o->pallets == 0 && o->pallet_mass > 0.0;
  if (o->per_pallet > 0.0 && o->pallets == 0 && !by_mass)
    return amp_failf(err, AMP_EMISSING, "pallets",
                     "how many pallets are paid for, or how many kg one "
                     "carries?");
  if ((o->per_kg > 0.0 || (o->per_pallet > 0.0 && by_mass)) &&
      !(o->mass_each > 0.0))
    return amp_failf(err, AMP_EMISSING, "mass",
                     "freight goes by weight and the module's mass was not "
                     "given");
  if (o->per_pallet > 0.0 && by_mass && !(o->mass_each <= o->pallet_mass))
    return amp_failf(err, AMP_EREFUSED, "pallet_mass",
                     "a module of %g kg is more than a pallet carries",
                     o->mass_each);
  return AMP_OK;
}

/* ---- the lines ---- */

/* What the price is multiplied by to give the goods. */
static double price_units (const amp_offer *o) {
  if (o->price_is == AMP_PRICE_EACH)
    return o->count;
  if (o->price_is == AMP_PRICE_PER_KWH)
    return o->count * o->kwh_each;
  return 1.0;
}

/* Whole modules on each pallet. */
int amp_offer_pallets (const amp_offer *o) {
  if (!(o->per_pallet > 0.0))
    return 0;
  if (o->pallets > 0 || !(o->pallet_mass >= o->mass_each))
    return o->pallets;
  double each = floor(o->pallet_mass / o->mass_each + 1e-9);
  return (int)ceil(o->count / each);
}

/* Without its minimum: the rates on the parts or on the whole, and the fixed
** money of the last step that is passed. */
static double premium_in_steps (const amp_offer *o, double hammer) {
  double sum = 0.0, fixed = 0.0;
  for (int i = 0; i < o->tiers && hammer > o->tier[i].from; i++) {
    const amp_tier *t = &o->tier[i];
    double top = i + 1 < o->tiers ? fmin(hammer, t[1].from) : hammer;
    sum =
        o->premium_whole ? t->rate * hammer : sum + (top - t->from) * t->rate;
    fixed = t->fixed;
  }
  return sum + fixed;
}

static double premium_of (const amp_offer *o, double hammer) {
  return fmax(premium_in_steps(o, hammer), o->premium_min);
}

/* Customs are taxed as the goods are; all that is paid to a carrier as the
** freight is. */
static amp_tax tax_of (const amp_offer *o, amp_step step) {
  static const amp_step as[AMP_STEPS] = {
      [AMP_STEP_GOODS] = AMP_STEP_GOODS,
      [AMP_STEP_PREMIUM] = AMP_STEP_PREMIUM,
      [AMP_STEP_FREIGHT] = AMP_STEP_FREIGHT,
      [AMP_STEP_BY_WEIGHT] = AMP_STEP_FREIGHT,
      [AMP_STEP_PALLETS] = AMP_STEP_FREIGHT,
      [AMP_STEP_CUSTOMS] = AMP_STEP_GOODS,
      [AMP_STEP_INLAND] = AMP_STEP_INLAND,
      [AMP_STEP_HAZMAT] = AMP_STEP_HAZMAT,
      [AMP_STEP_FEES] = AMP_STEP_FEES,
      [AMP_STEP_TAX] = AMP_STEP_TAX,
      [AMP_STEP_COLLECTION] = AMP_STEP_COLLECTION};
  if (step == AMP_STEP_TAX || step == AMP_STEP_COLLECTION)
    return AMP_TAX_NONE;
  amp_tax own = o->tax_of[as[step]];
  return own != AMP_TAX_UNKNOWN ? own : o->tax;
}

static amp_landed_line line_of (amp_step step, double base, double rate) {
  return (amp_landed_line){.what = amp_step_name(step),
                           .step = step,
                           .amount = rate > 0.0 ? base * rate : 0.0,
                           .base = base,
                           .rate = rate};
}

/* Sum of the lines before 'end', or of those alone that are not taxed yet. */
static double sum_before (const amp_offer *o, const amp_landed_line *line,
                          amp_step end, bool untaxed) {
  double sum = 0.0;
  for (int i = 0; i < (int)end; i++)
    if (!untaxed || tax_of(o, (amp_step)i) == AMP_TAX_EXCLUDED)
      sum += line[i].amount;
  return sum;
}

/* The price itself and what the auction adds; 'goods' may be below zero. */
static void price_lines (const amp_offer *o, double goods,
                         amp_landed_line line[AMP_STEPS]) {
  double units = price_units(o), premium = premium_of(o, goods);
  line[AMP_STEP_GOODS] = line_of(AMP_STEP_GOODS, units, goods / units);
  line[AMP_STEP_GOODS].amount = goods;
  line[AMP_STEP_PREMIUM] =
      line_of(AMP_STEP_PREMIUM, goods, goods > 0.0 ? premium / goods : 0.0);
  line[AMP_STEP_PREMIUM].amount = premium;
}

/* Every line in the money of the offer, for any goods: also below zero, because
** the bid ceiling asks for them. */
static void steps_of (const amp_offer *o, double goods,
                      amp_landed_line line[AMP_STEPS]) {
  const struct {
    amp_step step;
    double base, rate;
  } plain[] = {{AMP_STEP_FREIGHT, 1.0, o->freight},
               {AMP_STEP_BY_WEIGHT, o->count * o->mass_each, o->per_kg},
               {AMP_STEP_PALLETS, amp_offer_pallets(o), o->per_pallet},
               {AMP_STEP_INLAND, 1.0, o->inland},
               {AMP_STEP_HAZMAT, 1.0, o->hazmat},
               {AMP_STEP_FEES, 1.0, o->fees},
               {AMP_STEP_COLLECTION, 1.0, o->collection}};
  price_lines(o, goods, line);
  for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
    line[plain[i].step] =
        line_of(plain[i].step, plain[i].base, plain[i].rate);
  line[AMP_STEP_CUSTOMS] =
      line_of(AMP_STEP_CUSTOMS, sum_before(o, line, AMP_STEP_CUSTOMS, false),
              o->customs);
  line[AMP_STEP_TAX] = line_of(
      AMP_STEP_TAX, sum_before(o, line, AMP_STEP_TAX, true), o->tax_rate);
}

/* ---- tax ---- */

/* Nothing is said of the tax on a line that costs something. */
static amp_status check_tax (const amp_offer *o, amp_error *err) {
  amp_landed_line line[AMP_STEPS];
  steps_of(o, o->price * price_units(o), line);
  for (int i = 0; i < AMP_STEP_TAX; i++) {
    amp_status s = amp_check_range(err, "tax_of", o->tax_of[i],
                                   AMP_TAX_UNKNOWN, AMP_TAX_NONE);
    if (s != AMP_OK)
      return s;
    bool may_cost = i == AMP_STEP_GOODS || line[i].amount != 0.0 ||
                    (i == AMP_STEP_PREMIUM && o->tiers > 0);
    if (tax_of(o, (amp_step)i) != AMP_TAX_UNKNOWN || !may_cost)
      continue;
    if (i == AMP_STEP_GOODS)
      return amp_failf(err, AMP_EMISSING, "tax",
                       "is tax included, excluded, or none due?");
    return amp_failf(err, AMP_EMISSING, "tax",
                     "is tax on the %s included, excluded, or none due?",
                     line[i].what);
  }
  return AMP_OK;
}

amp_status amp_offer_check (const amp_offer *o, amp_error *err) {
  amp_status s = check_price(o, err);
  if (s == AMP_OK)
    s = check_tiers(o, err);
  if (s == AMP_OK)
    s = check_sums(o, err);
  if (s == AMP_OK)
    s = check_weight(o, err);
  return s == AMP_OK ? check_tax(o, err) : s;
}

/* ---- landed ---- */

/* A line of the answer, in its money; the goods always stand there. */
static void add_line (const amp_offer *o, const amp_landed_line *from,
                      amp_landed *l) {
  amp_landed_line line = *from;
  bool share = line.step == AMP_STEP_PREMIUM ||
               line.step == AMP_STEP_CUSTOMS || line.step == AMP_STEP_TAX;
  if (line.amount == 0.0 && l->lines > 0)
    return;
  line.amount *= o->to_currency;
  if (share)
    line.base *= o->to_currency;
  else
    line.rate *= o->to_currency;
  l->line[l->lines++] = line;
  l->total += line.amount;
}

static void landed_of (const amp_offer *o, double goods, amp_landed *out) {
  amp_landed_line line[AMP_STEPS];
  steps_of(o, goods, line);
  *out = (amp_landed){.total = 0.0};
  for (int i = 0; i < AMP_STEPS; i++)
    add_line(o, &line[i], out);
}

static double landed_total (const amp_offer *o, double goods) {
  amp_landed l;
  landed_of(o, goods, &l);
  return l.total;
}

amp_status amp_offer_landed (const amp_offer *o, amp_landed *out,
                             amp_error *err) {
  amp_status s = amp_offer_check(o, err);
  if (s == AMP_OK)
    landed_of(o, o->price * price_units(o), out);
  return s;
}

/* ---- the bid that meets a target ---- */

enum { EDGES = 2 * AMP_TIERS + 2 };

/* A point within the piece above 'from', which ends at 'to' or nowhere. */
static double inside (double from, double to, double part) {
  double width = to < (double)INFINITY ? to - from : 1.0 + from;
  return from + part * width;
}

/* Where the premium in steps passes its minimum inside from .. to; 'to' where
** it does not. */
static double minimum_ends (const amp_offer *o, double from, double to) {
  double a = inside(from, to, 0.25), b = inside(from, to, 0.75);
  double pa = premium_in_steps(o, a), pb = premium_in_steps(o, b);
  double at = a + (o->premium_min - pa) * (b - a) / (pb - pa);
  return o->premium_min > 0.0 && pb > pa && at > from && at < to ? at : to;
}

/* Hammer prices between which the landed cost is one straight line, rising
** from 0; the last piece has no end. */
static int edges_of (const amp_offer *o, double edge[EDGES]) {
  int n = 0;
  edge[n++] = 0.0;
  for (int i = 0; i <= o->tiers; i++) {
    double from = edge[n - 1];
    double to = i < o->tiers ? o->tier[i].from : (double)INFINITY;
    if (!(to > from))
      continue;
    double cut = minimum_ends(o, from, to);
    if (cut < to)
      edge[n++] = cut;
    edge[n++] = to;
  }
  return n;
}

/* On the straight line through two points of the landed cost. */
static double on_line (const amp_offer *o, double a, double b, double money) {
  double at_a = landed_total(o, a), at_b = landed_total(o, b);
  return b + (money - at_b) * (b - a) / (at_b - at_a);
}

/*
** The highest goods whose landed cost is within 'money', from two values of
** the landed cost itself on each piece, the dearest piece first: where a
** step of the premium jumps, the money may end in the jump, and its foot is
** the answer.
*/
static double goods_for (const amp_offer *o, double money) {
  double edge[EDGES];
  for (int i = edges_of(o, edge) - 1; i > 0; i--) {
    double from = edge[i - 1], to = edge[i];
    double a = inside(from, to, 0.25), b = inside(from, to, 0.75);
    double at = on_line(o, a, b, money);
    if (at > from)
      return at < to ? at : to;
  }
  return money >= landed_total(o, 0.0) ? 0.0 : on_line(o, -1.0, 0.0, money);
}

/* The price of goods as the offer states it; rounding never lifts the goods
** above a step of the premium. */
static double price_of (const amp_offer *o, double goods) {
  double units = price_units(o), price = goods / units;
  while (price > 0.0 && price * units > goods)
    price = nextafter(price, 0.0);
  return price;
}

amp_status amp_bid_ceiling (const amp_offer *o, double target, double kwh,
                            double added, double *price, amp_error *err) {
  amp_offer free_of_charge = *o; /* its price is what is sought */
  free_of_charge.price = 0.0;
  amp_status s = amp_offer_check(&free_of_charge, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "target", target, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "kwh", kwh, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "added", added, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    *price = price_of(o, goods_for(o, target * kwh - added));
  return s;
}

int amp_modules_in_use (int count, double dud, int series) {
  if (count < 1 || series < 1 || !(dud >= 0.0 && dud <= 1.0))
    return 0;
  int accepted = count;
  if (dud > 0.0)
    accepted = dud < 1.0 ? amp_binomial_quantile(count, 1.0 - dud, 0.5) : 0;
  return accepted - accepted % series;
}
