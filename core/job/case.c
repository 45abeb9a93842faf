/*
** case.c -- a list of cases: plan, simulate, count the money, compare; what
** turns the order.
*/
#include "base/solve.h"
#include "job/case_parts.h"
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* What is planned of a case takes some 80 bytes a draw: so many draws, or
** cases if they are fewer, are in memory together, and only costs stay. */
enum { CASES_AT_ONCE = 128, DRAWS_AT_ONCE = 500000 };

enum { AT_ONCE = 8 }; /* draws whose costs are compared together */

/* ---- the list ---- */

/* Where a case stands in its list, and what its years depend on. */
typedef struct seat {
  uint64_t mark;
  size_t place, first; /* of those with this mark, the first */
} seat;

/* Plans and seats stand in the order in which cases are taken, costs in that
** of the list. */
typedef struct list {
  const amp_context *ctx;
  const amp_ask *ask;
  size_t n;
  seat *seat;
  case_plan *plan;
  double *levelised; /* [n][draws]; NaN where a case is refused */
} list;

/* ---- the order ---- */

static uint64_t mark_bytes (uint64_t h, const void *p, size_t n) {
  const unsigned char *b = p;
  for (size_t i = 0; i < n; i++)
    h = (h ^ b[i]) * 1099511628211u; /* FNV-1a, as amp_stream */
  return h;
}

/* The same for cases whose years may be alike. */
static uint64_t mark_of (const amp_case *c) {
  const amp_converter *v = &c->need->converter;
  const void *of[] = {c->module, c->build, c->need->duty};
  const double at[] = {c->soc_min,        c->soc_max,      c->cell_v_min,
                       c->cell_v_max,     c->tested.value, c->soh.value,
                       c->soh_end,        v->v_min,        v->v_max,
                       v->power,          v->efficiency,   v->idle,
                       c->need->v_abs_max};
  uint64_t h = mark_bytes(14695981039346656037u, of, sizeof of);
  h = mark_bytes(h, at, sizeof at);
  h = mark_bytes(h, &c->series, sizeof c->series);
  return mark_bytes(h, &c->parallel, sizeof c->parallel);
}

static int by_number (uint64_t a, uint64_t b) {
  return (a > b) - (a < b);
}

static int by_mark (const void *a, const void *b) {
  const seat *x = a, *y = b;
  int order = by_number(x->mark, y->mark);
  return order != 0 ? order : by_number(x->place, y->place);
}

static int by_first (const void *a, const void *b) {
  const seat *x = a, *y = b;
  int order = by_number(x->first, y->first);
  return order != 0 ? order : by_number(x->place, y->place);
}

/*
** Cases whose years may be alike come one after another, so that these are
** in memory together, else as they stand. Marks hang on addresses, the order
** does not: only whether they are equal counts.
*/
static void set_order (list *l, const amp_case *cases) {
  for (size_t i = 0; i < l->n; i++)
    l->seat[i] = (seat){mark_of(&cases[i]), i, i};
  qsort(l->seat, l->n, sizeof *l->seat, by_mark);
  for (size_t i = 1; i < l->n; i++)
    if (l->seat[i].mark == l->seat[i - 1].mark)
      l->seat[i].first = l->seat[i - 1].first;
  qsort(l->seat, l->n, sizeof *l->seat, by_first);
}

/* ---- all the way ---- */

/* Plan, simulate and count those in seats 'from' .. 'to' - 1. */
static amp_status take_some (list *l, const amp_case *cases, size_t from,
                             size_t to, amp_case_result *result,
                             amp_error *err) {
  double n = (double)l->n;
  amp_context part =
      amp_context_part(l->ctx, (double)from / n, (double)to / n);
  amp_status st = AMP_OK;
  for (size_t i = from; st == AMP_OK && i < to; i++) {
    size_t at = l->seat[i].place;
    st = case_plan_make(l->ctx, cases, at, l->ask, NULL, &result[at],
                        &l->plan[i], err);
    l->plan[i].checked = at % ((l->n + 2) / 3) == 0;
  }
  if (st == AMP_OK)
    st = case_run(&part, l->plan + from, 0, to - from, err);
  for (size_t i = from; st == AMP_OK && i < to; i++) {
    double *own = &l->levelised[l->seat[i].place * l->ask->draws];
    if (l->plan[i].r->status == AMP_OK)
      st = case_money(l->ctx, &l->plan[i], l->ask, own, err);
    for (size_t d = 0; l->plan[i].r->status != AMP_OK && d < l->ask->draws;
         d++)
      own[d] = AMP_NOT_GIVEN;
    if (st == AMP_OK && amp_stopped(l->ctx))
      st = amp_failf(err, AMP_ESTOP, NULL, "stopped");
  }
  for (size_t i = from; i < to; i++)
    case_plan_free(l->ctx, &l->plan[i]);
  return st;
}

/* Closer than this are equals: cases that serve all of one load for one
** price differ by rounding alone, and that must not pick a winner. */
static const double level = 1e-9;

/* Is 'v' the least or its equal? Below 0, where money comes in, as above. */
static bool is_least (double v, double least) {
  return v <= least + level * fabs(least);
}

/* Draws d .. d + n - 1, which stand in one line of memory: of each the lowest
** cost, split evenly among equals. NaN is below nothing. */
static void share_some (const double *cost, size_t rows, size_t draws,
                        size_t d, size_t n, double *share) {
  double least[AT_ONCE];
  size_t equals[AT_ONCE] = {0};
  for (size_t k = 0; k < n; k++)
    least[k] = (double)INFINITY;
  for (size_t i = 0; i < rows; i++)
    for (size_t k = 0; k < n; k++) {
      double v = cost[i * draws + d + k];
      least[k] = v < least[k] ? v : least[k];
    }
  for (size_t i = 0; i < rows; i++)
    for (size_t k = 0; k < n; k++)
      equals[k] += is_least(cost[i * draws + d + k], least[k]);
  for (size_t i = 0; i < rows; i++)
    for (size_t k = 0; k < n; k++)
      if (least[k] < (double)INFINITY &&
          is_least(cost[i * draws + d + k], least[k]))
        share[i] += 1.0 / (double)equals[k];
}

void case_shares (const double *cost, size_t rows, size_t draws,
                  double *share) {
  for (size_t i = 0; i < rows; i++)
    share[i] = 0.0;
  for (size_t d = 0; d < draws; d += AT_ONCE)
    share_some(cost, rows, draws, d,
               draws - d < AT_ONCE ? draws - d : AT_ONCE, share);
  for (size_t i = 0; i < rows; i++)
    share[i] /= (double)draws;
}

/* Where those that are in memory together end: before cases that the next
** ones are alike with, unless there are too many of these. */
static size_t end_of (const list *l, size_t from, size_t most) {
  size_t to = l->n - from < most ? l->n : from + most, cut = to;
  while (to < l->n && cut > from &&
         l->seat[cut - 1].first == l->seat[to].first)
    cut--;
  return cut > from ? cut : to;
}

static amp_status take_all (list *l, const amp_case *cases,
                            amp_case_result *result, amp_error *err) {
  amp_status st = AMP_OK;
  size_t some = DRAWS_AT_ONCE / l->ask->draws + 1, to;
  some = some < CASES_AT_ONCE ? some : CASES_AT_ONCE;
  for (size_t i = 0; st == AMP_OK && i < l->n; i = to) {
    to = end_of(l, i, some);
    st = take_some(l, cases, i, to, result, err);
  }
  return st;
}

amp_status case_list (const amp_context *ctx, const amp_case *cases, size_t n,
                      const amp_ask *ask, amp_case_result *result,
                      double *levelised, amp_error *err) {
  list l = {amp_context_or_plain(ctx), ask, n, NULL, NULL, levelised};
  size_t plans = n * sizeof *l.plan, seats = n * sizeof *l.seat;
  amp_status st = amp_check_range(err, "draws", (double)ask->draws, 1.0, 1e7);
  if (st != AMP_OK)
    return st;
  l.plan = amp_alloc(l.ctx, plans);
  l.seat = amp_alloc(l.ctx, seats);
  if (l.plan == NULL || l.seat == NULL)
    st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu cases", n);
  else {
    set_order(&l, cases);
    st = take_all(&l, cases, result, err);
  }
  amp_free(l.ctx, l.plan, plans);
  amp_free(l.ctx, l.seat, seats);
  return st;
}

amp_status amp_cases (const amp_context *ctx, const amp_case *cases, size_t n,
                      const amp_ask *ask, amp_case_result *result,
                      amp_error *err) {
  ctx = amp_context_or_plain(ctx);
  size_t rows = n * sizeof(double), costs;
  amp_status st = amp_check_range(err, "draws", (double)ask->draws, 1.0, 1e7);
  if (st != AMP_OK)
    return st;
  costs = rows * ask->draws;
  double *levelised = amp_alloc(ctx, costs), *share = amp_alloc(ctx, rows);
  if (levelised == NULL || share == NULL)
    st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu cases", n);
  else
    st = case_list(ctx, cases, n, ask, result, levelised, err);
  if (st == AMP_OK)
    case_shares(levelised, n, ask->draws, share);
  for (size_t i = 0; st == AMP_OK && i < n; i++)
    result[i].cheapest = share[i];
  amp_free(ctx, levelised, costs);
  amp_free(ctx, share, rows);
  return st;
}

/* ---- what turns the order ---- */

bool case_two_cheapest (const amp_case_result *r, size_t n, size_t *first,
                        size_t *second) {
  size_t a = n, b = n;
  for (size_t i = 0; i < n; i++) {
    double v = r[i].levelised.p50;
    if (r[i].status != AMP_OK || !(v < (double)INFINITY))
      continue;
    if (a == n || v < r[a].levelised.p50) {
      b = a;
      a = i;
    } else if (b == n || v < r[b].levelised.p50)
      b = i;
  }
  *first = a;
  *second = b;
  return b < n;
}

typedef struct flip {
  const amp_case *c;
  double landed;  /* now */
  double present; /* kWh, discounted, of the cheapest */
  double gap;     /* levelised, second less first */
  bool failed;
} flip;

/* Landed cost with 'by' more a module. */
static double landed_at (flip *f, double by) {
  amp_offer o = f->c->offer;
  amp_landed out;
  if (!f->c->from_offer)
    return f->landed + by * f->c->series * f->c->parallel;
  switch (o.price_is) {
  case AMP_PRICE_LOT:
    o.price += by * o.count;
    break;
  case AMP_PRICE_EACH:
    o.price += by;
    break;
  case AMP_PRICE_PER_KWH:
    o.price += by / o.kwh_each;
    break;
  }
  if (amp_offer_landed(&o, &out, NULL) == AMP_OK)
    return out.total;
  f->failed = true;
  return f->landed;
}

/* Levelised cost of the first less that of the second. */
static double lead (void *arg, double by) {
  flip *f = arg;
  return (landed_at(f, by) - f->landed) / f->present - f->gap;
}

amp_status amp_case_flip (const amp_case *cases,
                          const amp_case_result *result, size_t n,
                          size_t *first, size_t *second, double *per_module,
                          amp_error *err) {
  size_t a, b;
  flip f = {0};
  double hi = 1.0, by;
  amp_status st;
  if (!case_two_cheapest(result, n, &a, &b))
    return amp_failf(err, AMP_EREFUSED, "levelised",
                     "fewer than two cases have a levelised cost");
  f.c = &cases[a];
  f.landed = f.c->from_offer ? result[a].landed.total : f.c->cost;
  f.present = result[a].energy_present;
  f.gap = result[b].levelised.p50 - result[a].levelised.p50;
  while (lead(&f, hi) < 0.0 && hi < 1e12 && !f.failed)
    hi *= 2.0;
  if (f.failed || !(lead(&f, hi) >= 0.0))
    return amp_failf(err, AMP_EREFUSED, "price",
                     "no price of the first makes them trade places");
  st = amp_root(lead, &f, 0.0, hi, 1e-9, &by, err);
  if (st != AMP_OK)
    return st;
  *first = a;
  *second = b;
  *per_module = by;
  return AMP_OK;
}
