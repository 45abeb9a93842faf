/*
** listing.c -- one row of an advert: its fields, what is missing, what
** contradicts.
*/
#include "cost/listing.h"
#include "cost/phrase.h"
#include "base/remark.h"
#include "base/sample.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define NONE AMP_NOT_GIVEN
enum { PRICES_MOST = 4096, OLD_DAYS = 30, CELL = 600 };

/* Two figures for one thing further apart than this contradict (common
** practice, no source). */
static const double apart = 0.05;

void amp_listing_open (amp_listing *l) {
  memset(l, 0, sizeof *l);
  for (int i = 0; i < AMP_LIST_FIELDS; i++)
    l->v[i] = NONE;
  l->claim_ah = l->claim_v = l->claim_kwh = l->claim_soh = NONE;
  l->says_premium = NONE;
  for (int i = 0; i < 3; i++)
    l->priced[i] = NONE;
}

void amp_listing_find (amp_listing *l, const char *id, amp_decides decides,
                       amp_listing_field field, double a, double b) {
  for (int i = 0; i < l->findings; i++)
    if (strcmp(l->finding[i].id, id) == 0 && l->finding[i].field == field)
      return;
  if (l->findings < AMP_LIST_FINDINGS)
    l->finding[l->findings++] = (amp_doubt){id, decides, field, a, b};
}

static void refuse (amp_listing *l, const char *id, amp_listing_field field,
                    double a, double b) {
  amp_listing_find(l, id, AMP_DECIDES_REFUSED, field, a, b);
}

/* ---- plain numbers ---- */

/* Limits of the fields: typing errors lie outside. */
static const struct field {
  double lo, hi;
  bool money, whole, above_zero;
} fields[AMP_LIST_FIELDS] = {
    [AMP_LIST_COUNT] = {1, 1e5, true, true, false},
    [AMP_LIST_PRICE] = {0, 1e9, true, false, true},
    [AMP_LIST_PREMIUM] = {0, 200, false, false, false},
    [AMP_LIST_FREIGHT] = {0, 1e9, true, false, false},
    [AMP_LIST_HAZMAT] = {0, 1e9, true, false, false},
    [AMP_LIST_FEES] = {0, 1e9, true, false, false},
    [AMP_LIST_COLLECTION] = {0, 1e9, true, false, false},
    [AMP_LIST_CUSTOMS] = {0, 200, false, false, false},
    [AMP_LIST_TAX_RATE] = {0, 100, false, false, false},
    [AMP_LIST_SOH] = {0, 120, false, false, true},
    [AMP_LIST_DUDS] = {0, 100, false, false, false},
    [AMP_LIST_BOS] = {0, 1e9, true, false, false},
    [AMP_LIST_BOS_MASS] = {0, 1e5, false, false, false},
    [AMP_LIST_CAPACITY] = {0.1, 5000, false, false, false},
    [AMP_LIST_VOLTS] = {0.5, 2000, false, false, false},
    [AMP_LIST_MASS] = {0.01, 5000, false, false, false},
    [AMP_LIST_SERIES] = {1, 500, false, true, false},
    [AMP_LIST_PARALLEL] = {1, 500, false, true, false}};

static void unreadable (amp_listing *l, amp_listing_field field,
                        amp_written how) {
  switch (how) {
  case AMP_WRITTEN_TWO_WAYS:
    refuse(l, "number_two_ways", field, NONE, NONE);
    break;
  case AMP_WRITTEN_COMMA:
    refuse(l, "decimal_comma_not_told", field, NONE, NONE);
    break;
  case AMP_WRITTEN_RANGE:
    refuse(l, "no_such_number", field, NONE, NONE);
    break;
  default:
    refuse(l, "not_a_number", field, NONE, NONE);
  }
}

/* Within the limits of its field. */
static void keep_number (amp_listing *l, amp_listing_field field, double v) {
  const struct field *f = &fields[field];
  if (f->whole && v != floor(v))
    refuse(l, "not_a_whole_number", field, v, NONE);
  else if (!(v >= f->lo && v <= f->hi) || (f->above_zero && v == 0.0))
    refuse(l, "no_such_number", field, f->lo, f->hi);
  else
    l->v[field] = v;
}

/* A sum with its currency: one for the whole row. */
static void take_currency (amp_listing *l, amp_listing_field field,
                           const char *word) {
  static const char *const signs[][2] = {{"\xe2\x82\xac", "EUR"},
                                         {"\xc2\xa3", "GBP"},
                                         {"$", "$"}, /* of many */
                                         {"euro", "EUR"},
                                         {"euros", "EUR"}};
  char name[4] = "";
  for (size_t i = 0; i < sizeof signs / sizeof *signs; i++)
    if (strcmp(word, signs[i][0]) == 0)
      memcpy(name, signs[i][1], strlen(signs[i][1]) + 1);
  bool sign = name[0] != '\0';
  for (int i = 0; !sign && i < 3; i++) /* letters, by money_units */
    name[i] = (char)(word[i] - ('a' - 'A'));
  if (l->money[0] != '\0' && strcmp(l->money, name) != 0)
    refuse(l, "currencies_mixed", field, NONE, NONE);
  memcpy(l->money, name, 4);
  l->money_priced = l->money_priced || field == AMP_LIST_PRICE;
  l->money_beside = field;
}

/* Units that may stand beside the one number of a field. */
static const char plain_units[] = "% pcs pc pieces modules x kg v ah";
static const char money_units[] = "eur gbp usd chf sek nok dkk pln czk euro "
                                  "euros \xe2\x82\xac \xc2\xa3 $";

/* That the number beside it is not quite it: asked, the number stands. */
static const char only_near[] =
    "about approx approximately roughly circa ca around ~";

/* That less may be paid: asked, the price stands. */
static const char haggled[] = "vb vhb obo ono negotiable";

/* Of what a price is: the words, how many of the three kinds they name, and
** in *is the kind. */
static int price_kinds (const amp_phrase *p, amp_price *is) {
  bool kwh = amp_phrase_has(p, "kwh");
  bool each = amp_phrase_has(p, "each ea module piece pc unit apiece");
  bool lot = amp_phrase_has(p, "lot all total set together pallet");
  *is = kwh ? AMP_PRICE_PER_KWH : lot ? AMP_PRICE_LOT : AMP_PRICE_EACH;
  return kwh + each + lot;
}

/* Words that may stand in a price: "95 per kWh", "2200 EUR for the lot" */
static const char price_words[] = "kwh each ea module piece pc unit apiece "
                                  "lot all total set together pallet "
                                  "per for the a / whole in";

/* That it is no more than that: of a claim the number is too good, of duds it
** is the worst. */
static const char at_most[] = "< max maximum up to";

/* Is token 'i' a word that puts the number in doubt, and no more? */
static bool in_doubt (amp_listing_field field, const amp_phrase *p, int i) {
  return amp_phrase_is(p, i, only_near) ||
         (field == AMP_LIST_PRICE && amp_phrase_is(p, i, haggled)) ||
         (field == AMP_LIST_DUDS && amp_phrase_is(p, i, at_most));
}

/* May token 'i' stand beside the one number of this field? 'n' tokens are
** not words of doubt. */
static bool beside_number (amp_listing *l, amp_listing_field field,
                           const amp_phrase *p, int i, int n) {
  if (in_doubt(field, p, i))
    return true;
  if (fields[field].money && amp_phrase_is(p, i, money_units))
    take_currency(l, field, p->t[i].word);
  else if (field == AMP_LIST_PRICE && amp_phrase_is(p, i, price_words))
    return true;
  else
    return n == 2 && amp_phrase_is(p, i, plain_units);
  return n == 2 || field == AMP_LIST_PRICE;
}

/* Tokens that say something else than a doubt. */
static int firm_tokens (amp_listing_field field, const amp_phrase *p) {
  int n = 0;
  for (int i = 0; i < p->n; i++)
    n += !in_doubt(field, p, i);
  return n;
}

static void ask_how_near (amp_listing *l, amp_listing_field field,
                          const amp_phrase *p) {
  bool near = amp_phrase_has(p, only_near) ||
              ((field == AMP_LIST_DUDS || field == AMP_LIST_CLAIM) &&
               amp_phrase_has(p, at_most));
  if (near && field == AMP_LIST_COUNT)
    amp_listing_find(l, "count_only_about", AMP_DECIDES_SUM, field, NONE,
                     NONE);
  else if (near)
    amp_listing_find(l, "number_only_about",
                     fields[field].money ? AMP_DECIDES_SUM
                                         : AMP_DECIDES_ENERGY,
                     field, NONE, NONE);
  if (field == AMP_LIST_PRICE && amp_phrase_has(p, haggled))
    amp_listing_find(l, "price_negotiable", AMP_DECIDES_LITTLE, field, NONE,
                     NONE);
}

/* "245 EUR", "10 %", "12 modules", "140 each" */
static amp_written with_unit (amp_listing *l, amp_listing_field field,
                              const char *text, char decimal, double *v) {
  amp_phrase p;
  int at = -1;
  amp_phrase_read(text, decimal, fields[field].money, &p);
  int n = firm_tokens(field, &p);
  for (int i = 0; i < p.n; i++) {
    if (p.t[i].number ? at >= 0 : !beside_number(l, field, &p, i, n))
      return AMP_WRITTEN_WORDS;
    at = p.t[i].number ? i : at;
  }
  if (at < 0)
    return AMP_WRITTEN_WORDS;
  if (field == AMP_LIST_PRICE)
    l->price_kinds = price_kinds(&p, &l->price_says);
  ask_how_near(l, field, &p);
  *v = p.t[at].value;
  return p.t[at].how;
}

/* Freight costs nothing where every word says so: "free delivery", "included
** in the price". Any other leaves something to pay or to fetch: "free
** pickup", "free to port only", "duty free". Common practice, no source. */
static bool freight_is_free (const amp_phrase *p) {
  if (!amp_phrase_has(p, "free included incl inclusive") ||
      p->n == AMP_PHRASE_TOKENS)
    return false;
  for (int i = 0; i < p->n; i++)
    if (p->t[i].number ||
        !amp_phrase_is(p, i,
                       "free included incl inclusive delivery shipping "
                       "freight postage carriage is in the price of charge"))
      return false;
  return true;
}

/* Words where a number belongs: a freight that is free, or not told; a range;
** no figure at all. False: nothing of that. */
static bool take_words (amp_listing *l, amp_listing_field field,
                        const char *text, char decimal) {
  amp_phrase p;
  amp_phrase_read(text, decimal, fields[field].money, &p);
  bool figure = false;
  for (int i = 0; i < p.n; i++)
    figure = figure || p.t[i].number;
  if (field == AMP_LIST_FREIGHT) {
    if (freight_is_free(&p))
      l->v[field] = 0.0;
    else /* a lower bound without it */
      amp_listing_find(l, "freight_left_out", AMP_DECIDES_SUM, field, NONE,
                       NONE);
  } else if (amp_phrase_is_range(&p))
    refuse(l, "number_is_a_range", field, NONE, NONE);
  else if (!figure && field == AMP_LIST_PRICE)
    refuse(l, "price_not_given", field, NONE, NONE);
  else if (!figure && field == AMP_LIST_COUNT)
    refuse(l, "count_not_given", field, NONE, NONE);
  else
    return false;
  return true;
}

static void take_number (amp_listing *l, amp_listing_field field,
                         const char *text, char decimal) {
  double v = 0.0;
  size_t n = strlen(text);
  if (n > 2 && text[n - 1] == '-' && strchr(",.", text[n - 2]) != NULL)
    n -= 2; /* "245,-": no cents */
  amp_written how =
      amp_number_written(text, n, decimal, fields[field].money, &v);
  if (how == AMP_WRITTEN_NOTHING)
    return;
  if (how == AMP_WRITTEN_WORDS)
    how = with_unit(l, field, text, decimal, &v);
  if (how == AMP_WRITTEN_WORDS && take_words(l, field, text, decimal))
    return;
  if (how != AMP_WRITTEN_NUMBER)
    unreadable(l, field, how);
  else if (field == AMP_LIST_DUDS && v > 0.0 && v < 1.0 &&
           strchr(text, '%') == NULL)
    refuse(l, "fraction_for_percent", field, v, NONE);
  else
    keep_number(l, field, v);
  if (field == AMP_LIST_SOH && v > 0.0 && v <= 1.0) /* kept, and asked */
    amp_listing_find(l, "fraction_for_percent", AMP_DECIDES_ENERGY, field, v,
                     NONE);
}

/* ---- phrases ---- */

static void take_price_is (amp_listing *l, const char *text) {
  amp_phrase p;
  amp_phrase_read(text, '\0', false, &p);
  l->price_is_known = price_kinds(&p, &l->price_is) == 1;
}

/* The percentage among the tokens, or NaN. */
static double percent_in (const amp_phrase *p) {
  for (int i = 0; i + 1 < p->n; i++)
    if (p->t[i].number && p->t[i].how == AMP_WRITTEN_NUMBER &&
        amp_phrase_is(p, i + 1, "%"))
      return p->t[i].value;
  return NONE;
}

/* Which of the three the words say, as bits; two at once are none. */
static int tax_said (const amp_phrase *p) {
  static const char in[] = "included incl inclusive inc gross";
  static const char out[] = "excluded excl exclusive net plus extra top";
  bool excluded = amp_phrase_has(p, out);
  bool included =
      amp_phrase_has(p, in) || (amp_phrase_has(p, "with") && !excluded);
  bool none = amp_phrase_has(p, "none no without") ||
              (amp_phrase_has(p, "private") && !included);
  if (amp_phrase_has(p, "? not isn never"))
    return 0; /* "not included", "included?": ask */
  return included * (1 << AMP_TAX_INCLUDED) |
         excluded * (1 << AMP_TAX_EXCLUDED) | none * (1 << AMP_TAX_NONE);
}

/* "excluded 20 %", "20 % on top", "incl.", "no tax" */
static void take_tax (amp_listing *l, const char *text, char decimal) {
  static const amp_tax kinds[] = {AMP_TAX_INCLUDED, AMP_TAX_EXCLUDED,
                                  AMP_TAX_NONE};
  amp_phrase p;
  amp_phrase_read(text, decimal, false, &p);
  int said = tax_said(&p);
  double pct = percent_in(&p);
  if (amp_phrase_has(&p, "margin")) {
    refuse(l, "tax_by_margin", AMP_LIST_TAX, NONE, NONE);
    return;
  }
  for (int i = 0; i < 3; i++)
    if (said == 1 << kinds[i])
      l->tax = kinds[i];
  if (l->tax != AMP_TAX_UNKNOWN && amp_given(pct)) /* else check_tax asks */
    keep_number(l, AMP_LIST_TAX_RATE, pct);
}

/* Is the percentage at 'i' a state of health? Alone, or by what follows:
** "84 % SoH", "84 % of the label". "80 % tested" and "sold 80 %" are shares
** of the lot, unless SoH stands too. */
static bool speaks_of_health (const amp_phrase *p, int i) {
  int next = i + 2;
  if (amp_phrase_is(p, next, "tested") || amp_phrase_is(p, i - 1, "tested") ||
      amp_phrase_is(p, i - 1, "sold"))
    return amp_phrase_has(p, "soh");
  if (next >= p->n || p->t[next].number ||
      amp_phrase_is(p, next, "+ soh health left capacity"))
    return true;
  if (!amp_phrase_is(p, next, "of"))
    return false;
  next += amp_phrase_is(p, next + 1, "the its original rated") ? 2 : 1;
  return amp_phrase_is(p, next, "new label capacity nameplate");
}

/* The unit behind token 'i' (a number): what the claim speaks of. */
static bool take_claimed (amp_listing *l, const amp_phrase *p, int i) {
  double v = p->t[i].value;
  if (amp_phrase_is(p, i + 1, "ah"))
    l->claim_ah = v;
  else if (amp_phrase_is(p, i + 1, "v volt volts"))
    l->claim_v = v;
  else if (amp_phrase_is(p, i + 1, "kwh wh"))
    l->claim_kwh = amp_phrase_is(p, i + 1, "wh") ? v / 1000.0 : v;
  else if (amp_phrase_is(p, i + 1, "%") && speaks_of_health(p, i))
    l->claim_soh = v;
  else
    return false;
  return true;
}

static void take_claim (amp_listing *l, const char *text, char decimal) {
  amp_phrase p;
  amp_phrase_read(text, decimal, false, &p);
  if (amp_phrase_is_range(&p)) {
    refuse(l, "number_is_a_range", AMP_LIST_CLAIM, NONE, NONE);
    return;
  }
  ask_how_near(l, AMP_LIST_CLAIM, &p);
  for (int i = 0; i < p.n; i++) {
    if (!p.t[i].number)
      continue;
    if (p.t[i].how != AMP_WRITTEN_NUMBER)
      unreadable(l, AMP_LIST_CLAIM, p.t[i].how);
    else if (p.t[i].value > 0.0 && p.t[i].value <= 1.0 &&
             !amp_phrase_is(&p, i + 1, "kwh"))
      refuse(l, "fraction_for_percent", AMP_LIST_CLAIM, p.t[i].value, NONE);
    else if (!take_claimed(l, &p, i))
      refuse(l, "claim_without_unit", AMP_LIST_CLAIM, p.t[i].value, NONE);
  }
  l->claim_of_lot = amp_phrase_has(&p, "lot all total together");
}

/* Only numbers, Ah, and what parts them: a "2 of 12:" or a "no. 3:" before a
** test would be read as one. */
static bool only_tests (const amp_phrase *p, const char *text) {
  if (strpbrk(text, ":#=()") != NULL || p->n == AMP_PHRASE_TOKENS)
    return false;
  for (int i = 0; i < p->n; i++)
    if (!p->t[i].number && !amp_phrase_is(p, i, "ah and"))
      return false;
  return true;
}

static void take_test (amp_listing *l, const amp_token *t) {
  if (t->how != AMP_WRITTEN_NUMBER)
    unreadable(l, AMP_LIST_TESTS, t->how);
  else if (!(t->value >= 0.1 && t->value <= 5000.0))
    refuse(l, "no_such_number", AMP_LIST_TESTS, 0.1, 5000.0);
  else if (l->tests == AMP_LIST_TESTS_MOST)
    refuse(l, "not_a_number", AMP_LIST_TESTS, NONE, NONE);
  else
    l->test[l->tests++] = t->value;
}

static void take_tests (amp_listing *l, const char *text, char decimal) {
  double none;
  amp_phrase p;
  amp_phrase_read(text, decimal, false, &p);
  if (amp_number_written(text, strlen(text), decimal, false, &none) ==
      AMP_WRITTEN_NOTHING)
    return; /* "n/a" */
  if (!only_tests(&p, text)) {
    refuse(l, "not_a_number", AMP_LIST_TESTS, NONE, NONE);
    return;
  }
  for (int i = 0; i < p.n; i++)
    if (p.t[i].number)
      take_test(l, &p.t[i]);
}

/* "2 of 12": the share, or NaN */
static double part_of (const amp_phrase *p) {
  if (p->n != 3 || !p->t[0].number || !p->t[2].number ||
      !amp_phrase_is(p, 1, "of /") || p->t[0].how != AMP_WRITTEN_NUMBER ||
      p->t[2].how != AMP_WRITTEN_NUMBER || !(p->t[2].value > 0.0))
    return NONE;
  return 100.0 * p->t[0].value / p->t[2].value;
}

/* "10 %", "untested", "2 of 12". Zero is only what says just that: of "no
** idea", "no test", "none known" nobody knows the share. */
static void take_duds (amp_listing *l, const char *text, char decimal) {
  amp_phrase p;
  amp_phrase_read(text, decimal, false, &p);
  bool zero = (p.n == 1 && amp_phrase_is(&p, 0, "none")) ||
              (p.n == 2 && amp_phrase_is(&p, 0, "no") &&
               amp_phrase_is(&p, 1, "duds bad"));
  double share = part_of(&p);
  l->untested = !zero && amp_phrase_has(&p, "untested unknown no not none");
  if (amp_given(share))
    keep_number(l, AMP_LIST_DUDS, share);
  else if (zero)
    l->v[AMP_LIST_DUDS] = 0.0;
  else if (!l->untested)
    take_number(l, AMP_LIST_DUDS, text, decimal);
}

/* The percentage that stands by the word premium, in a remark. */
static double premium_said (const amp_phrase *p) {
  for (int i = 0; i < p->n; i++)
    if (amp_phrase_is(p, i, "premium"))
      return percent_in(p);
  return NONE;
}

static bool whole_lot (const amp_phrase *p) {
  for (int i = 0; i < p->n; i++)
    if (amp_phrase_is(p, i, "whole entire complete") &&
        amp_phrase_is(p, i + 1, "lot"))
      return true;
  return false;
}

/* "same advert again", "again", "posted twice": the seller, or whoever made
** the list, says that it stood there before. */
static bool seen_before (const amp_phrase *p) {
  static const char advert[] = "advert ad listing offer posting entry";
  if (amp_phrase_has(p, "not no isn never other another ?"))
    return false;
  if (p->n == 1)
    return amp_phrase_is(p, 0, "again duplicate double relisted reposted");
  for (int i = 0; i < p->n; i++)
    if ((amp_phrase_is(p, i, "same") && amp_phrase_is(p, i + 1, advert)) ||
        (amp_phrase_is(p, i, advert) &&
         amp_phrase_is(p, i + 1, "again twice")) ||
        (amp_phrase_is(p, i, "posted listed") &&
         amp_phrase_is(p, i + 1, "again twice before")))
      return true;
  return false;
}

/* "about ten", "roughly 12": nobody has counted. Not "ask about freight". */
static bool only_about (const amp_phrase *p) {
  static const char counted[] =
      "one two three four five six seven eight nine ten eleven twelve twenty "
      "thirty a half dozen";
  for (int i = 0; i + 1 < p->n; i++)
    if (amp_phrase_is(p, i, "about approx approximately roughly circa ca") &&
        (p->t[i + 1].number || amp_phrase_is(p, i + 1, counted)))
      return true;
  return false;
}

/* A premium on the price; "premium cells" are the seller's praise. */
static bool premium_due (const amp_phrase *p) {
  for (int i = 0; i < p->n; i++)
    if (amp_phrase_is(p, i, "premium") &&
        !amp_phrase_is(p, i - 1, "no without") &&
        !amp_phrase_is(p, i + 1,
                       "quality cell cells module modules brand "
                       "grade condition class line product"))
      return true;
  return false;
}

/* Words that no denial stands before. */
static const char *const untested[] = {"untested", "not tested"};
static const char *const best[] = {
    "best one",  "best ones",  "best of",  "best module", "best modules",
    "best cell", "best cells", "best was", "strongest"};

static unsigned damage_said (const char *text) {
  if (amp_remark_damage(text) != NULL)
    return AMP_SAYS_DAMAGE;
  return amp_remark_denied(text) != NULL ? AMP_SAYS_NO_DAMAGE : 0;
}

static void take_remark (amp_listing *l, const char *text) {
  amp_phrase p;
  amp_phrase_read(text, '.', false, &p);
  const struct {
    unsigned bit;
    bool said;
  } said[] = {{AMP_SAYS_PREMIUM, premium_due(&p)},
              {AMP_SAYS_UNTESTED,
               amp_remark_speaks_of(text, untested,
                                    sizeof untested / sizeof *untested)},
              {AMP_SAYS_BEST,
               amp_remark_speaks_of(text, best, sizeof best / sizeof *best)},
              {AMP_SAYS_LOT, amp_phrase_has(&p, "lot total")},
              {AMP_SAYS_EACH, amp_phrase_has(&p, "each apiece")},
              {AMP_SAYS_ABOUT, only_about(&p)},
              {AMP_SAYS_AGAIN, seen_before(&p)}};
  for (size_t i = 0; i < sizeof said / sizeof *said; i++)
    if (said[i].said)
      l->says |= said[i].bit;
  l->says |= damage_said(text);
  if (!amp_phrase_has(&p, "price")) /* it speaks of another lot */
    l->says &= ~(unsigned)(AMP_SAYS_LOT | AMP_SAYS_EACH);
  if (whole_lot(&p))
    l->says |= AMP_SAYS_LOT;
  l->says_premium = premium_said(&p);
}

static void take_seen (amp_listing *l, const char *text) {
  double day = NONE;
  amp_written how = amp_day_written(text, &day);
  if (how == AMP_WRITTEN_NUMBER)
    l->v[AMP_LIST_SEEN] = day;
  else if (how != AMP_WRITTEN_NOTHING)
    amp_listing_find(l, "date_not_read", AMP_DECIDES_LITTLE, AMP_LIST_SEEN,
                     NONE, NONE);
}

void amp_listing_take (amp_listing *l, amp_listing_field field,
                       const char *text, char decimal) {
  char plain[CELL];
  text = amp_cell_plain(text, plain, sizeof plain);
  l->given[field] = l->given[field] || text[0] != '\0';
  switch (field) {
  case AMP_LIST_PRICE_IS:
    take_price_is(l, text);
    break;
  case AMP_LIST_TAX:
    take_tax(l, text, decimal);
    break;
  case AMP_LIST_CLAIM:
    take_claim(l, text, decimal);
    break;
  case AMP_LIST_TESTS:
    take_tests(l, text, decimal);
    break;
  case AMP_LIST_DUDS:
    take_duds(l, text, decimal);
    break;
  case AMP_LIST_SEEN:
    take_seen(l, text);
    break;
  case AMP_LIST_REMARK:
    take_remark(l, text);
    break;
  default:
    take_number(l, field, text, decimal);
  }
}

void amp_listing_take_price (amp_listing *l, amp_price is, const char *text,
                             char decimal) {
  double other = l->v[AMP_LIST_PRICE]; /* of the column 'price' */
  int kinds = l->price_kinds;
  amp_price says = l->price_says;
  l->v[AMP_LIST_PRICE] = NONE;
  l->price_kinds = 0;
  amp_listing_take(l, AMP_LIST_PRICE, text, decimal);
  if (l->price_kinds > 1 || (l->price_kinds == 1 && l->price_says != is))
    refuse(l, "price_of_what", AMP_LIST_PRICE, NONE, NONE);
  l->priced[is] = l->v[AMP_LIST_PRICE];
  l->v[AMP_LIST_PRICE] = other;
  l->price_kinds = kinds;
  l->price_says = says;
}

/* ---- what is missing ---- */

/* Is there a finding for that field already? */
static bool told (const amp_listing *l, amp_listing_field field) {
  for (int i = 0; i < l->findings; i++)
    if (l->finding[i].field == field)
      return true;
  return false;
}

static void want (amp_listing *l, amp_listing_field field, const char *id,
                  amp_decides decides) {
  if (!amp_given(l->v[field]) && !told(l, field))
    amp_listing_find(l, id, decides, field, NONE, NONE);
}

/* What a price comes to for the lot. */
static double for_lot (const amp_listing *l, int is, double price,
                       double kwh) {
  double n = l->v[AMP_LIST_COUNT];
  return is == AMP_PRICE_LOT ? price
                             : price * n * (is == AMP_PRICE_EACH ? 1.0 : kwh);
}

/* What stands beside the price says of what it is, where the column for that
** is empty; where that says another thing nobody knows. */
static void settle_price_is (amp_listing *l) {
  if (l->price_kinds == 0)
    return;
  if (!l->given[AMP_LIST_PRICE_IS] && l->price_kinds == 1) {
    l->price_is = l->price_says;
    l->price_is_known = true;
  } else if (l->price_kinds > 1 || l->price_says != l->price_is)
    l->price_is_known = false;
}

/* One price, also where several columns give it: to 1 %, as people round. */
static void settle_price (amp_listing *l, double kwh) {
  double *v = &l->v[AMP_LIST_PRICE], first = NONE;
  if (amp_given(*v) && l->price_is_known)
    first = for_lot(l, (int)l->price_is, *v, kwh);
  for (int i = 0; i < 3; i++) {
    double lot = for_lot(l, i, l->priced[i], kwh);
    if (!amp_given(l->priced[i]))
      continue;
    if (!amp_given(*v)) {
      *v = l->priced[i];
      l->price_is = (amp_price)i;
      l->price_is_known = true;
      first = lot;
    } else if (!(fabs(lot - first) <= 0.01 * fabs(first)))
      refuse(l, "price_given_twice", AMP_LIST_PRICE, *v, l->priced[i]);
  }
}

static void check_price (amp_listing *l) {
  bool lot_said = (l->says & AMP_SAYS_LOT) != 0;
  bool each_said = (l->says & AMP_SAYS_EACH) != 0;
  want(l, AMP_LIST_COUNT, "count_not_given", AMP_DECIDES_REFUSED);
  want(l, AMP_LIST_PRICE, "price_not_given", AMP_DECIDES_REFUSED);
  if (!amp_given(l->v[AMP_LIST_PRICE]))
    return;
  if (!l->price_is_known)
    refuse(l, "price_of_what", AMP_LIST_PRICE_IS, NONE, NONE);
  else if ((l->price_is == AMP_PRICE_EACH && lot_said && !each_said) ||
           (l->price_is == AMP_PRICE_LOT && each_said && !lot_said))
    refuse(l, "price_lot_and_each_disagree", AMP_LIST_REMARK, NONE, NONE);
  else if (l->price_is == AMP_PRICE_PER_KWH)
    amp_listing_find(l, "price_per_kwh_of_what", AMP_DECIDES_SUM,
                     AMP_LIST_PRICE_IS, NONE, NONE);
}

static void check_tax (amp_listing *l) {
  if (l->tax == AMP_TAX_UNKNOWN && !told(l, AMP_LIST_TAX))
    amp_listing_find(l, "tax_not_known", AMP_DECIDES_NO_SUM, AMP_LIST_TAX,
                     NONE, NONE);
  if (l->tax == AMP_TAX_EXCLUDED)
    want(l, AMP_LIST_TAX_RATE, "tax_rate_not_given", AMP_DECIDES_REFUSED);
}

static void check_sum (amp_listing *l) {
  if ((l->says & AMP_SAYS_PREMIUM) && !amp_given(l->v[AMP_LIST_PREMIUM]))
    amp_listing_find(l, "premium_in_remark", AMP_DECIDES_SUM, AMP_LIST_REMARK,
                     l->says_premium, NONE);
  if (!amp_given(l->v[AMP_LIST_COLLECTION]))
    want(l, AMP_LIST_FREIGHT, "freight_left_out", AMP_DECIDES_SUM);
  if ((l->says & AMP_SAYS_ABOUT) && amp_given(l->v[AMP_LIST_COUNT]))
    amp_listing_find(l, "count_only_about", AMP_DECIDES_SUM, AMP_LIST_REMARK,
                     NONE, NONE);
}

static void check_state (amp_listing *l) {
  bool untested = l->untested || (l->says & AMP_SAYS_UNTESTED);
  if (l->says & AMP_SAYS_DAMAGE)
    amp_listing_find(l, "remark_of_damage", AMP_DECIDES_ENERGY,
                     AMP_LIST_REMARK, NONE, NONE);
  if (untested && !(l->v[AMP_LIST_DUDS] > 0.0))
    amp_listing_find(l, "duds_zero_untested", AMP_DECIDES_ENERGY,
                     AMP_LIST_DUDS, NONE, NONE);
  else
    want(l, AMP_LIST_DUDS, "duds_not_given", AMP_DECIDES_ENERGY);
  if (l->tests == 0 && !amp_given(l->claim_soh) &&
      !amp_given(l->v[AMP_LIST_SOH]) && !told(l, AMP_LIST_TESTS))
    amp_listing_find(l, "capacity_not_tested", AMP_DECIDES_ENERGY,
                     AMP_LIST_TESTS, NONE, NONE);
  if (l->tests > 0 && (l->says & AMP_SAYS_BEST))
    amp_listing_find(l, "samples_picked_by_seller", AMP_DECIDES_ENERGY,
                     AMP_LIST_TESTS, l->tests, l->v[AMP_LIST_COUNT]);
  else if (l->tests > 0 && l->tests < l->v[AMP_LIST_COUNT])
    amp_listing_find(l, "few_tests", AMP_DECIDES_ENERGY, AMP_LIST_TESTS,
                     l->tests, l->v[AMP_LIST_COUNT]);
  if (l->tests > l->v[AMP_LIST_COUNT])
    refuse(l, "more_tests_than_modules", AMP_LIST_TESTS, l->tests,
           l->v[AMP_LIST_COUNT]);
}

/* ---- what contradicts ---- */

static bool differ (double a, double b) {
  return amp_given(a) && amp_given(b) &&
         !(fabs(a - b) <= apart * fmax(fabs(a), fabs(b)));
}

static double either (double a, double b) {
  return amp_given(a) ? a : b;
}

/* Less than the label may be what is left of it: the lower is taken. */
static void check_claim (amp_listing *l, const amp_listing_module *m) {
  double ah = either(l->claim_ah, m->ah), v = either(l->claim_v, m->v);
  double each =
      l->claim_of_lot ? l->claim_kwh / l->v[AMP_LIST_COUNT] : l->claim_kwh;
  if (amp_given(l->claim_soh) && !(l->claim_soh > 0 && l->claim_soh <= 120))
    refuse(l, "no_such_number", AMP_LIST_CLAIM, 0, 120);
  if (differ(l->claim_v, m->v))
    refuse(l, "label_disagrees", AMP_LIST_CLAIM, l->claim_v, m->v);
  else if (differ(each, ah * v / 1000.0))
    refuse(l, "capacity_and_energy_disagree", AMP_LIST_CLAIM, each,
           ah * v / 1000.0);
  else if (differ(l->claim_ah, m->ah))
    amp_listing_find(l, "label_disagrees",
                     l->claim_ah > m->ah ? AMP_DECIDES_REFUSED
                                         : AMP_DECIDES_ENERGY,
                     AMP_LIST_CLAIM, l->claim_ah, m->ah);
  if (differ(l->claim_soh, l->v[AMP_LIST_SOH]))
    refuse(l, "soh_given_twice", AMP_LIST_SOH, l->claim_soh,
           l->v[AMP_LIST_SOH]);
}

void amp_listing_check (amp_listing *l, const amp_listing_module *m) {
  settle_price_is(l);
  settle_price(l, m->kwh);
  check_price(l);
  check_tax(l);
  check_claim(l, m);
  check_sum(l);
  check_state(l);
  if (l->says & AMP_SAYS_NO_DAMAGE)
    amp_listing_find(l, "damage_denied", AMP_DECIDES_LITTLE, AMP_LIST_REMARK,
                     NONE, NONE);
  else if (l->given[AMP_LIST_REMARK])
    amp_listing_find(l, "remark_to_read", AMP_DECIDES_LITTLE, AMP_LIST_REMARK,
                     NONE, NONE);
}

bool amp_listing_refused (const amp_listing *l) {
  for (int i = 0; i < l->findings; i++)
    if (l->finding[i].decides == AMP_DECIDES_REFUSED)
      return true;
  return false;
}

/* ---- row against row ---- */

static bool alike (double a, double b) {
  return a == b || (!amp_given(a) && !amp_given(b));
}

bool amp_listing_alike (const amp_listing *a, const amp_listing *b) {
  bool same =
      a->tax == b->tax && a->price_is == b->price_is &&
      strcmp(a->money, b->money) == 0 && a->tests == b->tests &&
      alike(a->claim_ah, b->claim_ah) && alike(a->claim_v, b->claim_v) &&
      alike(a->claim_kwh, b->claim_kwh) &&
      alike(a->claim_soh, b->claim_soh) && amp_given(a->v[AMP_LIST_PRICE]);
  for (int i = 0; same && i < AMP_LIST_FIELDS; i++)
    same = i == AMP_LIST_SEEN || alike(a->v[i], b->v[i]);
  for (int i = 0; same && i < a->tests; i++)
    same = a->test[i] == b->test[i];
  return same;
}

/* What a price of one would be were it of the lot, or the reverse. */
static double other_reading (const amp_listing *l, double per_kwh) {
  double n = l->v[AMP_LIST_COUNT];
  return l->price_is == AMP_PRICE_EACH ? per_kwh / n : per_kwh * n;
}

void amp_listings_compare_prices (amp_listing *l, const double *per_kwh,
                                  size_t n) {
  static const double far = 4.0, near = 2.5;
  double v[PRICES_MOST];
  size_t k = 0;
  for (size_t i = 0; i < n && k < PRICES_MOST; i++)
    if (amp_given(per_kwh[i]))
      v[k++] = per_kwh[i];
  if (k < 4)
    return;
  double middle = amp_quantile(v, k, 0.5);
  for (size_t i = 0; i < n; i++) {
    if (!amp_given(per_kwh[i]) || l[i].price_is == AMP_PRICE_PER_KWH)
      continue;
    double times = per_kwh[i] / middle;
    double other = other_reading(&l[i], per_kwh[i]) / middle;
    if (times <= far && times >= 1.0 / far)
      continue;
    if (other <= near && other >= 1.0 / near)
      refuse(&l[i], "price_lot_and_each_disagree", AMP_LIST_PRICE, per_kwh[i],
             middle);
    else
      amp_listing_find(&l[i], "price_far_off", AMP_DECIDES_SUM,
                       AMP_LIST_PRICE, per_kwh[i], middle);
  }
}

void amp_listing_age (amp_listing *l, double as_of) {
  double seen = l->v[AMP_LIST_SEEN];
  if (!amp_given(seen) && !told(l, AMP_LIST_SEEN))
    amp_listing_find(l, "price_without_date", AMP_DECIDES_LITTLE,
                     AMP_LIST_SEEN, NONE, NONE);
  else if (as_of - seen > OLD_DAYS)
    amp_listing_find(l, "advert_old", AMP_DECIDES_SUM, AMP_LIST_SEEN,
                     as_of - seen, NONE);
}

void amp_listing_close (amp_listing *l) {
  for (int i = 1; i < l->findings; i++) {
    amp_doubt f = l->finding[i];
    int k = i;
    for (; k > 0 && l->finding[k - 1].decides > f.decides; k--)
      l->finding[k] = l->finding[k - 1];
    l->finding[k] = f;
  }
}
