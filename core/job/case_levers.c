/*
** case_levers.c -- which single input moves the order of the two cheapest,
** and at what value of it they trade places. One input is held at a number
** in both, all else is drawn as before, and the medians are taken anew; the
** flip is a bracketed root of their difference.
*/
#include "base/solve.h"
#include "job/case_parts.h"
#include <math.h>
#include <string.h>

enum { DRAWS_MOST = 1000, RANKED_BY = 300, PAIR = 2 };

/* In place of an infinite difference: one of them has no cost. */
static const double NO_COST = 1e12;

typedef struct levers {
  const amp_context *ctx;
  const amp_case *cases;
  amp_ask ask;
  size_t at[PAIR];          /* places of the two */
  case_plan plan[PAIR + 1]; /* the two as they are, and a what-if */
  amp_case_result r[PAIR + 1];
  double cost[PAIR];   /* medians as they are */
  double *levelised;   /* [draws] */
  amp_case_lever *now; /* the one that is moved */
  amp_status st;
  amp_error *err;
} levers;

/* ---- one median ---- */

/* Median levelised cost of the what-if; infinite where there is none. */
static double median_of (const amp_case_result *r) {
  return r->status == AMP_OK && amp_given(r->levelised.p50)
             ? r->levelised.p50
             : (double)INFINITY;
}

static amp_status count (levers *l, int k, amp_error *err) {
  if (l->plan[k].r->status != AMP_OK)
    return AMP_OK;
  return case_money(l->ctx, &l->plan[k], &l->ask, l->levelised, err);
}

static double cost_held (levers *l, int k, const case_held *held) {
  case_plan *p = &l->plan[PAIR];
  if (l->st != AMP_OK)
    return 0.0;
  l->st = case_plan_make(l->ctx, l->cases, l->at[k], &l->ask, held,
                         &l->r[PAIR], p, l->err);
  if (l->st == AMP_OK)
    l->st = case_run(l->ctx, l->plan, PAIR, PAIR + 1, l->err);
  if (l->st == AMP_OK)
    l->st = count(l, PAIR, l->err);
  if (l->st == AMP_OK && amp_stopped(l->ctx))
    l->st = amp_failf(l->err, AMP_ESTOP, NULL, "stopped");
  case_plan_free(l->ctx, p);
  return median_of(&l->r[PAIR]);
}

/* ---- one input ---- */

static double width (const amp_value *v) {
  return v->spread == AMP_EVEN ? v->hi - v->lo : v->sd;
}

/* One object may be used in two units: where it stands at x in one. */
static double same_place (const amp_value *v, double x, const amp_value *w) {
  if (v->value == w->value || !(width(v) > 0.0))
    return x;
  return w->value + (x - v->value) * width(w) / width(v);
}

static bool is_spread (const amp_value *v) {
  return v != NULL && amp_value_is_set(v) && !amp_value_is_fixed(v);
}

/* Is input 'in' of plan k the value that is moved? */
static bool is_moved (const levers *l, int k, int in) {
  const amp_case_lever *m = l->now;
  const amp_value *v = case_value_of(&l->plan[k], (amp_case_input)in);
  if (is_spread(&m->v))
    return is_spread(v) && v->stream == m->v.stream;
  return in == (int)m->in && (k == 0 ? m->of_first : m->of_second);
}

/* Second less first with the lever's value at x. */
static double gap_at (void *arg, double x) {
  levers *l = arg;
  double cost[PAIR];
  for (int k = 0; k < PAIR; k++) {
    case_held held = {.space = &l->plan[k].space};
    bool any = false;
    for (int in = 0; in < AMP_IN_COUNT; in++)
      if (is_moved(l, k, in)) {
        const amp_value *v = case_value_of(&l->plan[k], (amp_case_input)in);
        held.is[in] = any = true;
        held.at[in] = same_place(&l->now->v, x, v);
      }
    cost[k] = any ? cost_held(l, k, &held) : l->cost[k];
  }
  if (cost[0] == cost[1])
    return 0.0;
  return fmin(fmax(cost[1] - cost[0], -NO_COST), NO_COST);
}

/* How far it makes sense to look. */
static void limits_of (const amp_case_lever *m, double *lo, double *hi) {
  const amp_value *v = &m->v;
  *lo = 0.0;
  if (m->in == AMP_IN_DUD)
    *hi = 0.99;
  else if (m->in == AMP_IN_SOH)
    *lo = 0.2, *hi = 1.2;
  else if (m->in == AMP_IN_LABEL || m->in == AMP_IN_TESTED)
    *lo = 0.2 * v->value, *hi = 2.0 * v->value;
  else if (m->in == AMP_IN_TERM + AMP_TERM_DISCOUNT ||
           m->in == AMP_IN_TERM + AMP_TERM_RISE)
    *hi = 0.5;
  else if (m->in >= AMP_IN_CALENDAR)
    *hi = 20.0 * v->value;
  else { /* years are known between these alone */
    bool even = v->spread == AMP_EVEN;
    *lo = amp_value_at(v, even ? 0.0 : 0.001);
    *hi = amp_value_at(v, even ? 1.0 : 0.999);
  }
}

/* A stretch in which the order flips, the nearest to the middle: between
** middle and tenths first, then on towards the limits, first to the side
** where the lead shrinks. */
static bool bracket (levers *l, double *a, double *b) {
  amp_case_lever *m = l->now;
  double lo, hi, x = m->v.value, f = gap_at(l, x);
  double end[2] = {m->p10, m->p90}, gap[2] = {m->gap_p10, m->gap_p90};
  double limit[2];
  int first = fabs(gap[0]) < fabs(gap[1]) ? 0 : 1;
  limits_of(m, &lo, &hi);
  limit[0] = fmin(lo, end[0]);
  limit[1] = fmax(hi, end[1]);
  for (int pass = 0; pass < 2; pass++)
    for (int k = 0; k < 2; k++) {
      int side = k == 0 ? first : 1 - first;
      *a = pass == 0 ? x : end[side];
      *b = pass == 0 ? end[side] : limit[side];
      double fa = pass == 0 ? f : gap[side];
      double fb = pass == 0 ? gap[side] : gap_at(l, *b);
      if (l->st == AMP_OK && *a != *b && (fa > 0.0) != (fb > 0.0))
        return true;
    }
  return false;
}

static void solve_flip (levers *l) {
  double a, b, x, step;
  amp_case_lever *m = l->now;
  if (!is_spread(&m->v)) { /* its tenths are its middle */
    m->gap_p10 = m->gap_p90 = gap_at(l, m->v.value);
    m->p10 = m->p90 = m->v.value;
  }
  if (!bracket(l, &a, &b))
    return;
  step = 1e-6 * fabs(b - a);
  if (amp_root(gap_at, l, fmin(a, b), fmax(a, b), step, &x, NULL) != AMP_OK)
    return;
  /* not where the one merely ceases to have a cost */
  if (fabs(gap_at(l, x - 2.0 * step)) < NO_COST &&
      fabs(gap_at(l, x + 2.0 * step)) < NO_COST)
    m->flips_at = x;
}

/* ---- all inputs ---- */

static bool known (const amp_case_levers *out, const amp_value *v) {
  for (int i = 0; i < out->n; i++)
    if (out->lever[i].v.stream == v->stream)
      return true;
  return false;
}

/* Everything that is spread in either, each value once. */
static void collect (const levers *l, amp_case_levers *out) {
  for (int k = 0; k < PAIR; k++)
    for (int in = 0; in < AMP_IN_COUNT; in++) {
      const amp_value *v = case_value_of(&l->plan[k], (amp_case_input)in);
      if (!is_spread(v) || known(out, v) || out->n == AMP_INPUTS)
        continue;
      out->lever[out->n++] = (amp_case_lever){.in = (amp_case_input)in,
                                              .v = *v,
                                              .p10 = amp_value_at(v, 0.1),
                                              .p90 = amp_value_at(v, 0.9),
                                              .flips_at = AMP_NOT_GIVEN};
    }
}

static void measure (levers *l, amp_case_lever *m) {
  l->now = m;
  for (int in = 0; in < AMP_IN_COUNT; in++) {
    m->of_first = m->of_first || is_moved(l, 0, in);
    m->of_second = m->of_second || is_moved(l, 1, in);
  }
  m->gap_p10 = gap_at(l, m->p10);
  m->gap_p90 = gap_at(l, m->p90);
  m->moves = fabs(m->gap_p90 - m->gap_p10);
}

/* Insertion, the largest first; equals keep their order. */
static void rank (amp_case_levers *out) {
  for (int i = 1; i < out->n; i++)
    for (int k = i; k > 0 && out->lever[k].moves > out->lever[k - 1].moves;
         k--) {
      amp_case_lever t = out->lever[k];
      out->lever[k] = out->lever[k - 1];
      out->lever[k - 1] = t;
    }
}

/* The cheapest one's share of duds where it has no spread: its flip only. */
static void add_duds (levers *l, amp_case_levers *out) {
  const amp_case *c = &l->cases[l->at[0]];
  if (!c->from_offer || !amp_value_is_set(&c->dud) || is_spread(&c->dud) ||
      out->n == AMP_INPUTS)
    return;
  out->lever[out->n] = (amp_case_lever){.in = AMP_IN_DUD,
                                        .of_first = true,
                                        .v = c->dud,
                                        .flips_at = AMP_NOT_GIVEN};
  l->now = &out->lever[out->n++];
  solve_flip(l);
}

/* ---- with how many draws ---- */

static void drop_plans (levers *l) {
  for (int k = 0; k < PAIR; k++)
    case_plan_free(l->ctx, &l->plan[k]);
  memset(l->plan, 0, sizeof l->plan);
}

/* The two as they are, over so many draws. */
static void make_plans (levers *l, size_t draws) {
  l->ask.draws = draws;
  for (int k = 0; k < PAIR && l->st == AMP_OK; k++)
    l->st = case_plan_make(l->ctx, l->cases, l->at[k], &l->ask, NULL,
                           &l->r[k], &l->plan[k], l->err);
  if (l->st == AMP_OK)
    l->st = case_run(l->ctx, l->plan, 0, PAIR, l->err);
  for (int k = 0; k < PAIR && l->st == AMP_OK; k++) {
    l->st = count(l, k, l->err);
    l->cost[k] = median_of(&l->r[k]);
  }
}

static size_t least (size_t a, size_t b) {
  return a < b ? a : b;
}

static void find (levers *l, amp_case_levers *out) {
  make_plans(l, least(l->ask.draws, RANKED_BY));
  if (l->st == AMP_OK)
    collect(l, out);
  for (int i = 0; l->st == AMP_OK && i < out->n; i++)
    measure(l, &out->lever[i]);
  drop_plans(l);
  rank(out);
}

static void solve (levers *l, size_t draws, amp_case_levers *out) {
  make_plans(l, draws);
  if (l->st == AMP_OK && out->n > 0 && out->lever[0].moves > 0.0) {
    measure(l, &out->lever[0]);
    solve_flip(l);
  }
  if (l->st == AMP_OK)
    add_duds(l, out);
  drop_plans(l);
}

amp_status amp_case_levers_of (const amp_context *ctx, const amp_case *cases,
                               const amp_case_result *result, size_t n,
                               const amp_ask *ask, amp_case_levers *out,
                               amp_error *err) {
  amp_status st;
  levers *l;
  memset(out, 0, sizeof *out);
  if (!case_two_cheapest(result, n, &out->first, &out->second))
    return amp_failf(err, AMP_EREFUSED, "levelised",
                     "fewer than two cases have a levelised cost");
  ctx = amp_context_or_plain(ctx);
  out->draws = least(ask->draws, DRAWS_MOST);
  l = amp_alloc(ctx, sizeof *l);
  if (l == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for what-ifs");
  *l = (levers){.ctx = ctx,
                .cases = cases,
                .ask = *ask,
                .at = {out->first, out->second},
                .err = err};
  l->ask.draws = out->draws;
  l->levelised = amp_alloc(ctx, out->draws * sizeof *l->levelised);
  if (l->levelised == NULL)
    l->st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for what-ifs");
  if (l->st == AMP_OK)
    find(l, out);
  if (l->st == AMP_OK)
    solve(l, out->draws, out);
  st = l->st;
  amp_free(ctx, l->levelised, out->draws * sizeof *l->levelised);
  amp_free(ctx, l, sizeof *l);
  return st;
}
