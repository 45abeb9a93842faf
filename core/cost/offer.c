/*
** offer.c -- landed cost line by line, the bid that meets a target, the
** modules that will be in use. Formulas F1-F5: docs/model/cost.md.
*/
#include "cost/offer.h"
#include "base/sample.h"
#include <math.h>

enum { COUNT_MOST = 100000 };

static const double MONEY_MOST = 1e9; /* a typing error above */

static amp_status check_tiers (const amp_offer *o, amp_error *err) {
  amp_status s = amp_check_range(err, "tiers", o->tiers, 0, AMP_TIERS);
  for (int i = 0; i < o->tiers && s == AMP_OK; i++) {
    s = amp_check_range(err, "premium", o->tier[i].rate, 0.0, 1.0);
    if (s == AMP_OK)
      s = amp_check_range(err, "premium_from", o->tier[i].from, 0.0,
                          MONEY_MOST);
    if (s == AMP_OK && i > 0 && !(o->tier[i].from > o->tier[i - 1].from))
      s = amp_failf(err, AMP_EDATA, "premium_from",
                    "premium steps must rise: %g after %g", o->tier[i].from,
                    o->tier[i - 1].from);
  }
  return s;
}

static amp_status check_price (const amp_offer *o, amp_error *err) {
  amp_status s = amp_check_range(err, "count", o->count, 1, COUNT_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "price_is", o->price_is, AMP_PRICE_LOT,
                        AMP_PRICE_PER_KWH);
  if (s == AMP_OK)
    s = amp_check_range(err, "price", o->price, 0.0, MONEY_MOST);
  if (s != AMP_OK || o->price_is != AMP_PRICE_PER_KWH)
    return s;
  if (!(o->kwh_each != 0.0))
    return amp_failf(err, AMP_EMISSING, "kwh_each",
                     "a price per kWh needs the kWh of a module");
  return amp_check_range(err, "kwh_each", o->kwh_each, 1e-3, 1e4);
}

static amp_status check_tax (const amp_offer *o, amp_error *err) {
  if (o->tax == AMP_TAX_UNKNOWN)
    return amp_failf(err, AMP_EMISSING, "tax",
                     "is tax included, excluded, or none due?");
  amp_status s =
      amp_check_range(err, "tax", o->tax, AMP_TAX_INCLUDED, AMP_TAX_NONE);
  if (s == AMP_OK)
    s = amp_check_range(err, "tax_rate", o->tax_rate, 0.0, 1.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "customs", o->customs, 0.0, 1.0);
  return s;
}

amp_status amp_offer_check (const amp_offer *o, amp_error *err) {
  amp_status s = check_price(o, err);
  if (s == AMP_OK)
    s = check_tiers(o, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "freight", o->freight, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "hazmat", o->hazmat, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "fees", o->fees, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "collection", o->collection, 0.0, MONEY_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "to_currency", o->to_currency, 1e-9, 1e9);
  return s == AMP_OK ? check_tax(o, err) : s;
}

/* What the price is multiplied by to give the goods (F1). */
static double price_units (const amp_offer *o) {
  if (o->price_is == AMP_PRICE_EACH)
    return o->count;
  if (o->price_is == AMP_PRICE_PER_KWH)
    return o->count * o->kwh_each;
  return 1.0;
}

/* Each rate on the part of the hammer price between its step and the next. */
static double premium_of (const amp_offer *o, double hammer) {
  double sum = 0.0;
  for (int i = 0; i < o->tiers; i++) {
    double top =
        i + 1 < o->tiers ? fmin(hammer, o->tier[i + 1].from) : hammer;
    if (top > o->tier[i].from)
      sum += (top - o->tier[i].from) * o->tier[i].rate;
  }
  return sum;
}

static void add_line (amp_landed *l, const char *what, double amount) {
  if (amount == 0.0 && l->lines > 0)
    return; /* the goods always stand there */
  l->line[l->lines++] = (amp_landed_line){.what = what, .amount = amount};
  l->total += amount;
}

/* F1-F3 for goods in the currency of the offer; takes any goods, also below
** zero, because the bid ceiling asks for them. */
static void landed_of (const amp_offer *o, double goods, amp_landed *out) {
  double premium = premium_of(o, goods);
  double duty = o->customs * (goods + premium + o->freight);
  double base = goods + premium + o->freight + o->hazmat + o->fees + duty;
  double tax = o->tax == AMP_TAX_EXCLUDED ? o->tax_rate * base : 0.0;
  *out = (amp_landed){.total = 0.0};
  add_line(out, "goods", goods * o->to_currency);
  add_line(out, "premium", premium * o->to_currency);
  add_line(out, "freight", o->freight * o->to_currency);
  add_line(out, "hazmat", o->hazmat * o->to_currency);
  add_line(out, "fees", o->fees * o->to_currency);
  add_line(out, "customs", duty * o->to_currency);
  add_line(out, "tax", tax * o->to_currency);
  add_line(out, "collection", o->collection * o->to_currency);
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

/*
** The landed cost is a rising line between one premium step and the next:
** find the piece in which the money ends, and the point on it from two
** values of the landed cost itself.
*/
static double goods_for (const amp_offer *o, double money) {
  double from = 0.0, to = -1.0;
  if (money >= landed_total(o, 0.0)) {
    to = INFINITY;
    for (int i = 0; i < o->tiers && to == INFINITY; i++) {
      if (landed_total(o, o->tier[i].from) > money)
        to = o->tier[i].from;
      else
        from = o->tier[i].from;
    }
  }
  if (to == INFINITY) /* above the last step: any second point will do */
    to = from + fmax(1.0, fabs(money) / o->to_currency);
  double at_from = landed_total(o, from);
  double slope = (landed_total(o, to) - at_from) / (to - from);
  return from + (money - at_from) / slope;
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
    *price = goods_for(o, target * kwh - added) / price_units(o);
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
