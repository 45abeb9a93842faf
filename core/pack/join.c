/*
** join.c -- currents, charge and heat between things that are joined.
*/
#include "pack/join.h"
#include "base/elementary.h"
#include "base/solve.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

static amp_status side_check (const amp_join_side *s, amp_error *err) {
  amp_status status = amp_check_range(err, "v", s->v, 0.0, 1500.0);
  return status == AMP_OK ? amp_check_given(err, "r", s->r, 0.0, 1e3)
                          : status;
}

static bool has_charge (const amp_join_side *s) {
  return s->groups > 0 && amp_given(s->charge) && s->charge > 0.0;
}

/* SoC that the rest voltage tells, lo and hi apart where the curve is flat. */
static amp_status soc_of (const amp_join_side *s, const amp_chemistry *chem,
                          double *lo, double *hi, amp_error *err) {
  amp_error why = {0};
  amp_status st = amp_chemistry_soc(chem, s->v / s->groups, lo, &why);
  *hi = *lo;
  if (st == AMP_EREFUSED) {
    *lo = chem->flat_lo;
    *hi = chem->flat_hi;
    return AMP_OK;
  }
  if (st == AMP_ERANGE)
    return amp_failf(err, AMP_ERANGE, "v",
                     "%g V a group lies off the open-circuit curve",
                     s->v / s->groups);
  return st;
}

static double shared (const amp_join_side *a, const amp_join_side *b) {
  return a->charge * b->charge / (a->charge + b->charge);
}

/* Both charges meet at one SoC. */
static amp_status tell_charge (const amp_join_side *high,
                               const amp_join_side *low,
                               const amp_chemistry *chem, amp_join *j,
                               amp_error *err) {
  double top, bottom, top_hi, bottom_lo;
  amp_status s = soc_of(high, chem, &top, &top_hi, err);
  if (s == AMP_OK)
    s = soc_of(low, chem, &bottom_lo, &bottom, err);
  if (s != AMP_OK)
    return s;
  j->flat = top_hi > top || bottom > bottom_lo;
  j->charge_most = fmax(top_hi - bottom_lo, 0.0) * shared(high, low);
  if (j->flat)
    return AMP_OK;
  j->soc_high = top;
  j->soc_low = bottom;
  j->charge = (top - bottom) * shared(high, low);
  return AMP_OK;
}

amp_status amp_join_two (const amp_join_side *a, const amp_join_side *b,
                         double lead, const amp_chemistry *chem,
                         amp_join *out, amp_error *err) {
  const amp_join_side *high = a->v >= b->v ? a : b, *low = a == high ? b : a;
  amp_join j = {0};
  double r = lead;
  amp_status s = side_check(a, err);
  if (s == AMP_OK)
    s = side_check(b, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "lead", lead, 0.0, 1e6);
  if (s != AMP_OK)
    return s;
  r += amp_given(a->r) ? a->r : 0.0;
  r += amp_given(b->r) ? b->r : 0.0;
  if (!(r > 0.0))
    return amp_failf(err, AMP_EMISSING, "r",
                     "no resistance is known: the current has no bound");
  j.dv = high->v - low->v;
  j.r = r;
  j.current = j.dv / r;
  j.bound = !amp_given(a->r) || !amp_given(b->r);
  j.charge = j.charge_most = j.soc_high = j.soc_low = NO;
  if (chem && has_charge(a) && has_charge(b))
    s = tell_charge(high, low, chem, &j, err);
  if (s == AMP_OK)
    *out = j;
  return s;
}

/* ---- how it goes on ---- */

amp_join_way amp_join_way_defaults (void) {
  return (amp_join_way){0.0, 0.0, 0, NO, NO, NO, NO, NO, NO};
}

/* Fuller 'a' gives charge q to emptier 'b'. */
typedef struct flow {
  const amp_chemistry *chem;
  double soc_a, soc_b, c_a, c_b; /* at first; C */
  double g_a, g_b;               /* groups */
  double less;                   /* V to be found: dv(q) - less */
} flow;

static double apart (void *arg, double q) {
  const flow *f = arg;
  return f->g_a * amp_chemistry_ocv(f->chem, f->soc_a - q / f->c_a) -
         f->g_b * amp_chemistry_ocv(f->chem, f->soc_b + q / f->c_b) - f->less;
}

/* Charge at which the difference has come down to 'less' V. */
static amp_status charge_at (flow *f, double less, double *q,
                             amp_error *err) {
  double most = fmin(f->soc_a * f->c_a, (1.0 - f->soc_b) * f->c_b);
  f->less = less;
  if (!(most > 0.0) || !(apart(f, most) < 0.0))
    return amp_failf(err, AMP_EREFUSED, "v",
                     "they would not meet inside the open-circuit curve");
  return amp_root(apart, f, 0.0, most, 1e-9 * most, q, err);
}

/*
** s to move 'to' of the 'end' C through r: integral of r dq / dv(q), in
** s = ln(end - q), along which (end - q)/dv is nearly even. Midpoints.
*/
static double time_to (flow *f, double end, double to, double r) {
  enum { STEPS = 2000 };
  double span = amp_log(end / (end - to)), sum = 0.0;
  f->less = 0.0;
  for (int i = 0; i < STEPS; i++) {
    double left = end * amp_exp(-(i + 0.5) / STEPS * span);
    sum += left / apart(f, end - left);
  }
  return r * sum * span / STEPS;
}

static amp_status tell_times (flow *f, double r, amp_joined *j,
                              amp_error *err) {
  const double part[] = {0.5, 0.1, 0.01};
  double *out[] = {&j->half, &j->tenth, &j->hundredth};
  double end, first, q;
  f->less = 0.0;
  first = apart(f, 0.0);
  amp_status s = charge_at(f, 0.0, &end, err);
  for (int i = 0; s == AMP_OK && i < 3; i++) {
    s = charge_at(f, part[i] * first, &q, err);
    if (s == AMP_OK)
      *out[i] = q < end ? time_to(f, end, q, r) : NO;
  }
  if (s == AMP_OK)
    j->charge = end;
  return s;
}

/* Heat is what both sides' open circuits lose together. */
static void tell_heat (const flow *f, const amp_join_way *w, double r,
                       amp_joined *j) {
  const amp_curve *u = &f->chem->ocv;
  double end_a = f->soc_a - j->charge / f->c_a;
  double end_b = f->soc_b + j->charge / f->c_b;
  double gave = f->g_a * f->c_a * amp_curve_integral(u, end_a, f->soc_a);
  double took = f->g_b * f->c_b * amp_curve_integral(u, f->soc_b, end_b);
  j->heat = gave - took;
  j->i2t = j->heat / r;
  j->heat_lead = w->lead * j->i2t;
  j->heat_resistor = w->resistor * j->i2t;
  j->link_i2t = w->links > 0 ? j->i2t / w->links / w->links : NO;
}

static void take_limit (amp_joined *j, double a, amp_join_limit by) {
  if (amp_given(a) && !(j->limit <= a)) {
    j->limit = a;
    j->limit_by = by;
  }
}

/* The least of the limits, and what keeps the first current under it. */
static void tell_limit (const amp_join_way *w, amp_joined *j) {
  j->limit = NO;
  if (w->links > 0)
    take_limit(j, w->links * w->link, AMP_JOIN_LINK);
  take_limit(j, w->lead_a, AMP_JOIN_LEAD);
  take_limit(j, w->fuse, AMP_JOIN_FUSE);
  take_limit(j, w->charge_a, AMP_JOIN_CHARGE);
  j->within = j->first.current <= j->limit;
  j->dv_most = j->limit * j->first.r;
  j->resistor = j->resistor_peak = NO;
  if (amp_given(j->limit)) {
    double r = j->first.dv / j->limit; /* of the whole way */
    j->resistor = fmax(r - j->first.r, 0.0);
    j->resistor_peak = j->limit * j->limit * j->resistor;
  }
}

static amp_status check_way (const amp_join_way *w, amp_error *err) {
  const struct {
    const char *field;
    double v, lo, hi;
  } row[] = {{"resistor", w->resistor, 0.0, 1e6},
             {"links", w->links, 0, 10000},
             {"link", w->link, 1e-3, 1e5},
             {"lead_a", w->lead_a, 1e-3, 1e5},
             {"fuse", w->fuse, 1e-3, 1e5},
             {"charge_a", w->charge_a, 1e-3, 1e5},
             {"soc_a", w->soc_a, 0.0, 1.0},
             {"soc_b", w->soc_b, 0.0, 1.0}};
  amp_status s = AMP_OK;
  for (size_t i = 0; s == AMP_OK && i < sizeof row / sizeof *row; i++)
    s = amp_check_given(err, row[i].field, row[i].v, row[i].lo, row[i].hi);
  return s;
}

/* SoC by counting takes the place of what a rest voltage tells. */
static void counted (const amp_join_side *a, const amp_join_side *b,
                     const amp_join_way *w, amp_join *j) {
  if (!amp_given(w->soc_a) || !amp_given(w->soc_b))
    return;
  j->soc_high = fmax(w->soc_a, w->soc_b);
  j->soc_low = fmin(w->soc_a, w->soc_b);
  j->flat = false;
  j->charge = j->charge_most = (j->soc_high - j->soc_low) * shared(a, b);
}

static void nothing_told (amp_joined *j) {
  j->charge = j->half = j->tenth = j->hundredth = NO;
  j->heat = j->heat_lead = j->heat_resistor = j->i2t = j->link_i2t = NO;
}

/* Charge, times and heat where both states of charge are known. */
static amp_status tell_flow (const amp_join_side *high,
                             const amp_join_side *low, const amp_join_way *w,
                             const amp_chemistry *chem, amp_joined *j,
                             amp_error *err) {
  flow f = {chem,        j->first.soc_high, j->first.soc_low, high->charge,
            low->charge, high->groups,      low->groups,      0.0};
  double r = j->first.r;
  amp_status s;
  if (!(apart(&f, 0.0) > 0.0)) { /* alike: nothing flows */
    j->charge = j->half = j->tenth = j->hundredth = 0.0;
    j->heat = j->heat_lead = j->heat_resistor = j->i2t = j->link_i2t = 0.0;
    return AMP_OK;
  }
  if ((s = tell_times(&f, r, j, err)) != AMP_OK)
    return s;
  tell_heat(&f, w, r, j);
  if (j->first.bound) { /* over a resistance that is only part of it */
    j->half = j->tenth = j->hundredth = NO;
    j->heat_lead = j->heat_resistor = j->i2t = j->link_i2t = NO;
  }
  return AMP_OK;
}

amp_status amp_join_follow (const amp_join_side *a, const amp_join_side *b,
                            const amp_join_way *way,
                            const amp_chemistry *chem, amp_joined *out,
                            amp_error *err) {
  bool a_high = amp_given(way->soc_a) && amp_given(way->soc_b)
                    ? way->soc_a >= way->soc_b
                    : a->v >= b->v;
  amp_joined j;
  memset(&j, 0, sizeof j);
  amp_status s = check_way(way, err);
  if (s == AMP_OK)
    s = amp_join_two(a, b, way->lead + way->resistor, chem, &j.first, err);
  if (s != AMP_OK)
    return s;
  nothing_told(&j);
  bool both = chem && has_charge(a) && has_charge(b);
  if (both)
    counted(a, b, way, &j.first);
  j.link_current = way->links > 0 ? j.first.current / way->links : NO;
  tell_limit(way, &j);
  if (both && !j.first.flat)
    s = tell_flow(a_high ? a : b, a_high ? b : a, way, chem, &j, err);
  if (s == AMP_OK)
    *out = j;
  return s;
}

/* ---- in which order ---- */

/* Strings in the order of their voltages. */
typedef struct order {
  int n, at[AMP_JOIN_STRINGS];
  const amp_join_side *side;
  const amp_chemistry *chem; /* NULL: voltages are averaged */
  double soc[AMP_JOIN_STRINGS];
  double lead;
} order;

/* What is joined already. */
typedef struct bank {
  double w, wx; /* sum of the weights; of weight times SoC, or times V */
  double g;     /* 1/ohm; infinite: a resistance is missing */
} bank;

/* String k comes to the bank. */
static bank with (const order *o, bank b, int k) {
  const amp_join_side *s = &o->side[o->at[k]];
  double w = amp_given(s->charge) && s->charge > 0.0 ? s->charge : 1.0;
  b.w += w;
  b.wx += w * (o->chem ? o->soc[k] : s->v);
  b.g += s->r > 0.0 ? 1.0 / s->r : HUGE_VAL;
  return b;
}

/* V at rest */
static double bank_v (const order *o, bank b) {
  double x = b.wx / b.w;
  return o->chem ? o->side[0].groups * amp_chemistry_ocv(o->chem, x) : x;
}

/* First current when string k comes to the bank. */
static double current_to (const order *o, bank b, int k) {
  const amp_join_side *s = &o->side[o->at[k]];
  double r = s->r > 0.0 ? s->r : 0.0;
  return fabs(s->v - bank_v(o, b)) / (r + 1.0 / b.g + o->lead);
}

static double moved (const order *o, bank b, int k) {
  double w = with(o, b, k).w - b.w;
  return o->chem ? fabs(o->soc[k] - b.wx / b.w) * b.w * w / (b.w + w) : NO;
}

static amp_status make_order (order *o, const amp_join_side *side, int n,
                              double lead, const amp_chemistry *chem,
                              bool *bound, amp_error *err) {
  amp_status s;
  *o = (order){.n = n, .side = side, .chem = chem, .lead = lead};
  *bound = false;
  if ((s = amp_check_range(err, "strings", n, 2, AMP_JOIN_STRINGS)) !=
          AMP_OK ||
      (s = amp_check_range(err, "lead", lead, 0.0, 1e3)) != AMP_OK)
    return s;
  for (int i = 0; i < n; i++) {
    int at = i;
    if ((s = side_check(&side[i], err)) != AMP_OK)
      return s;
    if (side[i].groups != side[0].groups)
      return amp_failf(err, AMP_EDATA, "groups",
                       "strings side by side have equally many groups");
    *bound = *bound || !(side[i].r > 0.0);
    if (!has_charge(&side[i]))
      o->chem = NULL;
    for (; at > 0 && side[o->at[at - 1]].v > side[i].v; at--)
      o->at[at] = o->at[at - 1];
    o->at[at] = i;
  }
  for (int k = 0; o->chem && k < n; k++) {
    double hi;
    s = soc_of(&side[o->at[k]], chem, &o->soc[k], &hi, err);
    if (s == AMP_OK && hi > o->soc[k])
      s = amp_failf(err, AMP_EREFUSED, "v",
                    "rest voltages between the knees of this curve tell no "
                    "state of charge: bring all strings to the same one "
                    "first, full is surest");
    if (s != AMP_OK)
      return s;
  }
  return AMP_OK;
}

static bank bank_of (const order *o, unsigned set) {
  bank b = {0.0, 0.0, 0.0};
  for (int k = 0; k < o->n; k++)
    if (set >> k & 1u)
      b = with(o, b, k);
  return b;
}

/* Every set of strings: the gentlest way to it, and who came last. */
static void best_order (const order *o, int *turn) {
  double least[1u << AMP_JOIN_EXACT];
  signed char last[1u << AMP_JOIN_EXACT];
  unsigned all = (1u << o->n) - 1u;
  for (unsigned set = 1; set <= all; set++) {
    least[set] = HUGE_VAL;
    last[set] = 0;
    for (int k = 0; k < o->n; k++) {
      unsigned rest = set & ~(1u << k);
      if (rest == set)
        continue;
      double i =
          rest ? fmax(least[rest], current_to(o, bank_of(o, rest), k)) : 0.0;
      if (i < least[set]) {
        least[set] = i;
        last[set] = (signed char)k;
      }
    }
  }
  for (int step = o->n - 1; step >= 0; step--) {
    turn[step] = last[all];
    all &= ~(1u << turn[step]);
  }
}

static bank run_of (const order *o, int i, int j) {
  bank b = {0.0, 0.0, 0.0};
  for (int k = i; k <= j; k++)
    b = with(o, b, k);
  return b;
}

/* The same among runs i .. j of the voltages in order: the last to come was
** i or j. */
static void run_order (const order *o, int *turn) {
  double least[AMP_JOIN_STRINGS][AMP_JOIN_STRINGS];
  bool low[AMP_JOIN_STRINGS][AMP_JOIN_STRINGS] = {{false}};
  for (int i = 0; i < o->n; i++)
    least[i][i] = 0.0;
  for (int len = 1; len < o->n; len++)
    for (int i = 0, j = len; j < o->n; i++, j++) {
      double a = fmax(least[i + 1][j], current_to(o, run_of(o, i + 1, j), i));
      double b = fmax(least[i][j - 1], current_to(o, run_of(o, i, j - 1), j));
      low[i][j] = a < b;
      least[i][j] = fmin(a, b);
    }
  for (int i = 0, j = o->n - 1, step = j; step >= 0; step--)
    turn[step] = low[i][j] ? i++ : j--;
}

amp_status amp_join_order (const amp_join_side *side, int n, double lead,
                           const amp_chemistry *chem, amp_join_step *out,
                           bool *bound, bool *exact, amp_error *err) {
  int turn[AMP_JOIN_STRINGS];
  bool missing;
  bank b = {0.0, 0.0, 0.0};
  order o;
  amp_status s = make_order(&o, side, n, lead, chem, &missing, err);
  if (s != AMP_OK)
    return s;
  if (missing && !(lead > 0.0))
    return amp_failf(err, AMP_EMISSING, "r",
                     "a resistance is missing and no lead is given: the "
                     "current has no bound");
  if (n <= AMP_JOIN_EXACT)
    best_order(&o, turn);
  else
    run_order(&o, turn);
  for (int step = 0; step < n; step++) {
    int k = turn[step];
    out[step] = (amp_join_step){o.at[k], 0.0, o.chem ? 0.0 : NO, 0.0};
    if (step > 0) {
      out[step].current = current_to(&o, b, k);
      out[step].charge = moved(&o, b, k);
    }
    b = with(&o, b, k);
    out[step].v = bank_v(&o, b);
  }
  *bound = missing;
  *exact = n <= AMP_JOIN_EXACT;
  return AMP_OK;
}
