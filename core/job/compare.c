/*
** compare.c -- what else would carry the load, drawn as offers are, and each
** held against the other in the same draw. docs/model/alternative.md.
*/
#include "job/compare.h"
#include "job/case_parts.h"
#include <math.h>
#include <string.h>

/* What is kept of each draw of an alternative. */
typedef enum column {
  A_FIRST,
  A_SERVED,
  A_UNSERVED,
  A_USABLE,
  A_PER_USABLE,
  A_YEARS,
  A_PER_DELIVERED,
  A_LEVELISED,
  A_PER_YEAR,
  A_NPV,
  A_SAVING,
  A_BREAK_EVEN,
  A_COUNT
} column;

enum { DRAWS_A_TURN = 64 }; /* draws in one work item */

typedef struct other {
  const amp_context *ctx;
  const amp_alternative *a;
  const amp_need *need;
  const amp_ask *ask;
  const amp_load_brief *brief;
  amp_alternative_ask middle;
  amp_alternative_year year; /* of the middle */
  bool same_year;            /* in every draw */
  double *v;                 /* [A_COUNT][draws] */
} other;

/* ---- one draw ---- */

/* Numbers that the year rests on: the rest is money. */
static bool year_rests_on (size_t at) {
  return at == offsetof(amp_alternative, usable) ||
         at == offsetof(amp_alternative, run_time) ||
         at == offsetof(amp_alternative, power) ||
         at == offsetof(amp_alternative, fuel_per_joule);
}

static bool has_one_year (const amp_alternative *a, const amp_need *need) {
  for (int k = 0; k < a->spreads; k++)
    if (year_rests_on(a->spread[k].at))
      return false;
  return !amp_value_is_set(&need->duty->load_factor);
}

/* As far as tails go: no money below nothing, no life below a year. */
static double clip (size_t at, double v) {
  if (at == offsetof(amp_alternative, life))
    return fmin(fmax(v, 1.0), AMP_CASH_YEARS);
  if (at == offsetof(amp_alternative, round_trip))
    return fmin(fmax(v, 0.01), 1.0);
  if (at == offsetof(amp_alternative, fuel_rise))
    return fmin(fmax(v, -0.5), 0.5);
  if (at == offsetof(amp_alternative, run_time))
    return fmin(fmax(v, 60.0), 86400.0);
  if (at == offsetof(amp_alternative, usable) ||
      at == offsetof(amp_alternative, overhaul_time) ||
      at == offsetof(amp_alternative, life_time))
    return fmax(v, 1.0);
  return fmax(v, 0.0);
}

static amp_alternative_ask ask_of (const amp_need *need,
                                   const amp_load_brief *brief,
                                   const double term[AMP_TERMS],
                                   double load) {
  return (amp_alternative_ask){
      .duty = need->duty,
      .brief = brief,
      .efficiency = need->converter.efficiency,
      .horizon = need->horizon,
      .rate = term[AMP_TERM_DISCOUNT],
      .tariff =
          need->spares ? term[AMP_TERM_TARIFF] / CASE_KWH : AMP_NOT_GIVEN,
      .charge_price = term[AMP_TERM_CHARGE] / CASE_KWH,
      .rise = term[AMP_TERM_RISE],
      .charge_rises = need->charge_rises,
      .load = fmax(load, 1e-9)};
}

static void put (const other *o, column c, size_t i, double v) {
  o->v[(size_t)c * o->ask->draws + i] = fmin(v, CASE_HUGE);
}

/* Where it carries no load, or is worn out at once, it has no cost. */
static void put_none (const other *o, size_t i, double load) {
  for (int c = A_PER_DELIVERED; c < A_COUNT; c++)
    put(o, (column)c, i, CASE_HUGE);
  put(o, A_SERVED, i, 0.0);
  put(o, A_UNSERVED, i, load * (o->year.served + o->year.unserved));
  put(o, A_NPV, i, -o->v[(size_t)A_FIRST * o->ask->draws + i]);
  put(o, A_SAVING, i, 0.0);
}

static void put_answer (const other *o, size_t i,
                        const amp_alternative_answer *r) {
  put(o, A_SERVED, i, r->served);
  put(o, A_UNSERVED, i, r->unserved);
  put(o, A_PER_DELIVERED, i, r->per_delivered);
  put(o, A_LEVELISED, i, r->levelised);
  put(o, A_PER_YEAR, i, r->per_year);
  put(o, A_NPV, i, r->saves.npv);
  put(o, A_SAVING, i, r->saving);
  put(o, A_BREAK_EVEN, i, r->saves.break_even);
}

static void one_draw (const other *o, size_t i, const amp_alternative *a,
                      const amp_alternative_ask *ask) {
  amp_alternative_answer r;
  amp_alternative_year y = o->year;
  amp_status st = AMP_OK;
  put(o, A_FIRST, i, a->price + a->rest);
  put(o, A_YEARS, i, a->life);
  put(o, A_USABLE, i, a->usable);
  put(o, A_PER_USABLE, i, (a->price + a->rest) / (a->usable / CASE_KWH));
  if (!o->same_year)
    st = amp_alternative_year_of(a, ask, &y, NULL);
  if (st == AMP_OK)
    st = amp_alternative_money(a, ask, &y, &r, NULL);
  if (st == AMP_OK)
    put_answer(o, i, &r);
  else
    put_none(o, i, ask->load);
}

/* ---- draws ---- */

typedef struct turn {
  double term[AMP_TERMS][DRAWS_A_TURN];
  double load[DRAWS_A_TURN];
  double own[AMP_ALTERNATIVE_SPREADS][DRAWS_A_TURN];
} turn;

static void draw_value (const other *o, const amp_value *v, double unset,
                        size_t from, size_t n, double *out) {
  if (amp_value_is_set(v)) {
    amp_value_draws(o->ctx, v, o->ask->seed, from, n, o->ask->draws, out);
    return;
  }
  for (size_t i = 0; i < n; i++)
    out[i] = unset;
}

static void take_turn (const other *o, size_t from, size_t n, turn *t) {
  for (int k = 0; k < AMP_TERMS; k++) {
    const amp_value *v = &o->need->term[k];
    draw_value(o, v, case_term(o->need, (amp_term)k), from, n, t->term[k]);
    if (amp_value_is_set(v))
      case_clip_term((amp_term)k, n, t->term[k]);
  }
  draw_value(o, &o->need->duty->load_factor, 1.0, from, n, t->load);
  for (int k = 0; k < o->a->spreads; k++)
    draw_value(o, &o->a->spread[k].v, 0.0, from, n, t->own[k]);
}

static void some_draws (void *arg, size_t item, size_t worker) {
  const other *o = arg;
  size_t from = item * DRAWS_A_TURN, n = o->ask->draws - from;
  turn t;
  (void)worker;
  n = n < DRAWS_A_TURN ? n : DRAWS_A_TURN;
  take_turn(o, from, n, &t);
  for (size_t i = 0; i < n; i++) {
    amp_alternative a = *o->a;
    double term[AMP_TERMS];
    for (int k = 0; k < AMP_TERMS; k++)
      term[k] = t.term[k][i];
    for (int k = 0; k < a.spreads; k++) {
      double v = clip(a.spread[k].at, t.own[k][i]);
      memcpy((char *)&a + a.spread[k].at, &v, sizeof v);
    }
    amp_alternative_ask ask = ask_of(o->need, o->brief, term, t.load[i]);
    one_draw(o, from + i, &a, &ask);
  }
}

/* ---- what the draws come to ---- */

static amp_stat stat (const other *o, column c, amp_basis basis) {
  return case_stat(&o->v[(size_t)c * o->ask->draws], o->ask->draws, basis);
}

/* In how many draws; before they lose their order. */
static void shares (const other *o, amp_alternative_result *r) {
  size_t n = o->ask->draws;
  const double *cost = &o->v[(size_t)A_LEVELISED * n];
  const double *npv = &o->v[(size_t)A_NPV * n];
  const double *back = &o->v[(size_t)A_BREAK_EVEN * n];
  for (size_t i = 0; i < n; i++) {
    r->failed += cost[i] >= CASE_HUGE;
    r->saves += npv[i] > 0.0;
    r->paid += back[i] <= r->middle.years;
  }
  r->failed /= (double)n;
  r->saves /= (double)n;
  r->paid_late = r->paid /= (double)n; /* it is counted to the horizon */
}

static void no_stats (amp_alternative_result *r) {
  r->first = r->served = r->unserved = r->usable = r->per_usable =
      case_no_stat();
  r->years = r->per_delivered = r->levelised = r->per_year = case_no_stat();
  r->npv = r->saving = r->break_even = case_no_stat();
}

static void stats (const other *o, amp_alternative_result *r) {
  amp_basis energy = amp_basis_worse(o->a->basis, o->need->duty->basis);
  bool battery = o->a->kind == AMP_ALTERNATIVE_BATTERY;
  shares(o, r);
  no_stats(r);
  r->first = stat(o, A_FIRST, AMP_BASIS_NONE);
  r->served = stat(o, A_SERVED, energy);
  r->unserved = stat(o, A_UNSERVED, energy);
  r->per_delivered = stat(o, A_PER_DELIVERED, o->a->basis);
  r->levelised = stat(o, A_LEVELISED, o->a->basis);
  r->per_year = stat(o, A_PER_YEAR, energy);
  if (battery) {
    r->usable = stat(o, A_USABLE, o->a->basis);
    r->per_usable = stat(o, A_PER_USABLE, o->a->basis);
    r->years = stat(o, A_YEARS, o->a->basis);
  }
  if (!r->middle.spares)
    return;
  r->npv = stat(o, A_NPV, energy);
  r->saving = stat(o, A_SAVING, energy);
  r->break_even = stat(o, A_BREAK_EVEN, energy);
}

/* One alternative over all draws; cost[draws] keeps its levelised cost. */
static amp_status take_other (const amp_context *ctx, const amp_need *need,
                              const amp_load_brief *brief,
                              const amp_alternative *a, const amp_ask *ask,
                              amp_alternative_result *r, double *cost,
                              amp_error *err) {
  size_t n = ask->draws, bytes = A_COUNT * n * sizeof(double);
  double term[AMP_TERMS];
  other o = {.ctx = ctx, .a = a, .need = need, .ask = ask, .brief = brief};
  memset(r, 0, sizeof *r);
  no_stats(r);
  for (int k = 0; k < AMP_TERMS; k++)
    term[k] = case_term(need, (amp_term)k);
  o.middle = ask_of(need, brief, term, 1.0);
  r->status = amp_alternative_year_of(a, &o.middle, &o.year, &r->why);
  if (r->status == AMP_OK)
    r->status =
        amp_alternative_money(a, &o.middle, &o.year, &r->middle, &r->why);
  for (size_t i = 0; i < n; i++)
    cost[i] = AMP_NOT_GIVEN;
  if (r->status != AMP_OK)
    return AMP_OK;
  o.same_year = has_one_year(a, need);
  o.v = amp_alloc(ctx, bytes);
  if (o.v == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the draws");
  amp_parallel_for(ctx, (n + DRAWS_A_TURN - 1) / DRAWS_A_TURN, some_draws,
                   &o);
  for (size_t i = 0; i < n; i++)
    cost[i] = case_finite_again(o.v[(size_t)A_LEVELISED * n + i]);
  stats(&o, r);
  amp_free(ctx, o.v, bytes);
  return amp_stopped(ctx) ? amp_failf(err, AMP_ESTOP, NULL, "stopped")
                          : AMP_OK;
}

static amp_status take_others (const amp_context *ctx, const amp_need *need,
                               const amp_alternative *a, size_t m,
                               const amp_ask *ask, amp_alternative_result *r,
                               double *cost, amp_error *err) {
  amp_load_brief brief;
  amp_status st = amp_load_brief_make(ctx, need->duty, &brief, err);
  if (st != AMP_OK)
    return st;
  for (size_t k = 0; st == AMP_OK && k < m; k++)
    st = take_other(ctx, need, &brief, &a[k], ask, &r[k],
                    &cost[k * ask->draws], err);
  amp_load_brief_free(ctx, &brief);
  return st;
}

/* ---- against each other ---- */

/* A cost that is infinite makes a difference beyond all. */
static double more_of (double mine, double theirs) {
  bool a = mine < (double)INFINITY, b = theirs < (double)INFINITY;
  if (a && b)
    return mine - theirs;
  return a ? -CASE_HUGE : CASE_HUGE;
}

/* room: [draws]. Where neither has a cost nothing is said of that draw. */
static amp_pair pair_of (const double *mine, const double *theirs, size_t n,
                         amp_basis basis, double *room) {
  amp_pair p = {.more = case_no_stat()};
  double none = 0.0;
  size_t said = 0;
  for (size_t i = 0; i < n; i++) {
    if (!(mine[i] < (double)INFINITY) && !(theirs[i] < (double)INFINITY))
      continue;
    room[said] = more_of(mine[i], theirs[i]);
    p.cheaper += room[said] < 0.0;
    none += room[said++] == -CASE_HUGE;
  }
  p.cheaper = said > 0 ? p.cheaper / (double)said : AMP_NOT_GIVEN;
  if (none == 0.0 && said > 0)
    p.more = case_stat(room, said, basis);
  return p;
}

static void pairs (const amp_case_result *result, size_t n,
                   const amp_alternative_result *other, size_t m,
                   size_t draws, const double *cost, double *room,
                   amp_pair *pair) {
  for (size_t i = 0; i < n; i++)
    for (size_t k = 0; k < m; k++) {
      amp_pair *p = &pair[i * m + k];
      p->more = case_no_stat();
      p->cheaper = AMP_NOT_GIVEN;
      if (result[i].status == AMP_OK && other[k].status == AMP_OK &&
          amp_given(result[i].added.p50) && amp_given(other[k].levelised.p50))
        *p = pair_of(
            &cost[i * draws], &cost[(n + k) * draws], draws,
            amp_basis_worse(result[i].added.basis, other[k].levelised.basis),
            room);
    }
}

static amp_status compare_all (const amp_context *ctx, const amp_case *cases,
                               size_t n, const amp_need *need,
                               const amp_alternative *others, size_t m,
                               const amp_ask *ask, amp_case_result *result,
                               amp_alternative_result *other, amp_pair *pair,
                               double *cost, double *share, amp_error *err) {
  size_t draws = ask->draws;
  amp_status st = AMP_OK;
  amp_ask beside = *ask;
  beside.by_added = m > 0; /* they bring each kWh themselves */
  if (n > 0)
    st = case_list(ctx, cases, n, &beside, result, cost, err);
  if (st == AMP_OK && m > 0)
    st = take_others(ctx, need, others, m, ask, other, &cost[n * draws], err);
  if (st != AMP_OK)
    return st;
  case_shares(cost, n + m, draws, share);
  for (size_t i = 0; i < n; i++)
    result[i].cheapest = share[i];
  for (size_t k = 0; k < m; k++)
    other[k].cheapest = share[n + k];
  if (pair != NULL)
    pairs(result, n, other, m, draws, cost, &cost[(n + m) * draws], pair);
  return AMP_OK;
}

amp_status amp_compare (const amp_context *ctx, const amp_case *cases,
                        size_t n, const amp_need *need,
                        const amp_alternative *others, size_t m,
                        const amp_ask *ask, amp_case_result *result,
                        amp_alternative_result *other, amp_pair *pair,
                        amp_error *err) {
  ctx = amp_context_or_plain(ctx);
  size_t rows = n + m, costs, bytes = (rows + 1) * sizeof(double);
  amp_status st = amp_check_range(err, "draws", (double)ask->draws, 1.0, 1e7);
  if (st != AMP_OK)
    return st;
  costs = bytes * ask->draws; /* and room for a difference */
  double *cost = amp_alloc(ctx, costs), *share = amp_alloc(ctx, bytes);
  if (cost == NULL || share == NULL)
    st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu rows", rows);
  else
    st = compare_all(ctx, cases, n, need, others, m, ask, result, other, pair,
                     cost, share, err);
  amp_free(ctx, cost, costs);
  amp_free(ctx, share, bytes);
  return st;
}
