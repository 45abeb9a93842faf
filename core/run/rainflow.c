/*
** rainflow.c -- cycle counting on a stream: first the turning points of the
** history, then the three-point stack of ASTM E1049-85 (2017), 5.4.4.
** Mathematics and examples: docs/model/rainflow.md.
*/
#include "run/rainflow.h"
#include <math.h>
#include <stdbool.h>
#include <stdint.h>

/* Points that are taken at once where none of them turns; that are worked on
** together. */
enum { RUN = 16, PIECE = 256 };

/* Turning points: 'edge' is the newest extreme, not yet sure to be one. */
typedef struct turns {
  bool started;
  int way; /* +1 rising, -1 falling, 0: nothing but the first point yet */
  double edge;
  double least;
} turns;

/* The open reversals. Item k stands in base[k * step].mean, so that
** amp_rainflow_count can keep them in the unused end of its answer. */
typedef struct pile {
  amp_cycle *base;
  ptrdiff_t step;
  size_t n;
} pile;

typedef struct outlet {
  amp_cycle_sink *sink;
  void *arg;
} outlet;

struct amp_rainflow {
  const amp_context *ctx;
  turns turn;
  pile open;
  size_t room; /* items that open.base holds */
  outlet out;
};

/* Take the next point; true when *reversal is now known to be one. */
static bool turns_take (turns *t, double v, double *reversal) {
  if (!t->started) {
    t->started = true;
    t->edge = v;
    return false;
  }
  double up = v - t->edge;
  bool onward = t->way > 0 ? up >= 0.0 : t->way < 0 && up <= 0.0;
  if (!onward && !(fabs(up) > t->least))
    return false;
  *reversal = t->edge;
  t->edge = v;
  if (onward)
    return false;
  t->way = up > 0.0 ? 1 : -1;
  return true;
}

static double *pile_at (const pile *p, size_t k) {
  return &p->base[(ptrdiff_t)k * p->step].mean;
}

static void emit (const outlet *out, double a, double b, double count) {
  amp_cycle c = {
      .range = fabs(a - b), .mean = 0.5 * a + 0.5 * b, .count = count};
  out->sink(out->arg, &c);
}

/* Count the older of the two newest ranges when the newer is not smaller.
** Items leave before the cycle goes out: their place may be its place. */
static bool pile_fold (pile *p, const outlet *out) {
  double a = *pile_at(p, p->n - 3);
  double b = *pile_at(p, p->n - 2);
  double c = *pile_at(p, p->n - 1);
  if (fabs(b - c) < fabs(a - b))
    return false;
  bool holds_start = p->n == 3;
  p->n -= holds_start ? 1 : 2;
  if (holds_start)
    *pile_at(p, 0) = b;
  *pile_at(p, p->n - 1) = c;
  emit(out, a, b, holds_start ? 0.5 : 1.0);
  return true;
}

static void pile_push (pile *p, double v, const outlet *out) {
  *pile_at(p, p->n++) = v;
  while (p->n >= 3 && pile_fold(p, out)) {
  }
}

/* What is left counts as half cycles, oldest first. */
static void pile_empty (pile *p, const outlet *out) {
  for (size_t k = 0; k + 1 < p->n; k++) {
    double a = *pile_at(p, k);
    emit(out, a, *pile_at(p, k + 1), 0.5);
  }
  p->n = 0;
}

amp_rainflow *amp_rainflow_new (const amp_context *ctx, double least,
                                amp_cycle_sink *sink, void *arg) {
  amp_rainflow *r = amp_alloc(ctx, sizeof *r);
  if (r == NULL)
    return NULL;
  r->ctx = ctx;
  r->turn.least = least > 0.0 ? least : 0.0;
  r->open.step = 1;
  r->out = (outlet){.sink = sink, .arg = arg};
  return r;
}

void amp_rainflow_free (amp_rainflow *r) {
  if (r == NULL)
    return;
  amp_free(r->ctx, r->open.base, r->room * sizeof *r->open.base);
  amp_free(r->ctx, r, sizeof *r);
}

static bool is_number (double x) {
  return fabs(x) <= 1e300;
}

/* RUN points that go on as before, all of them: no turn among them. A NaN
** does not; where the last is a number the others are. */
static bool turns_run (turns *t, const double *v) {
  int64_t off = !(t->way > 0 ? v[0] >= t->edge : v[0] <= t->edge);
  if (t->way > 0)
    for (int i = 1; i < RUN; i++)
      off |= v[i] >= v[i - 1] ? 0 : 1;
  else
    for (int i = 1; i < RUN; i++)
      off |= v[i] <= v[i - 1] ? 0 : 1;
  if (off || !is_number(v[RUN - 1]))
    return false;
  t->edge = v[RUN - 1];
  return true;
}

/* The reversals of n points, in v one after another, into reversal[n]; gives
** at which point one is no number, else n. */
static size_t turns_of (turns *t, const double *v, size_t n, double *reversal,
                        size_t *count) {
  size_t i = 0;
  while (i < n) {
    size_t stop;
    while (t->way != 0 && i + RUN <= n && turns_run(t, v + i))
      i += RUN;
    stop = i + RUN < n ? i + RUN : n;
    for (; i < stop; i++) {
      if (!is_number(v[i]))
        return i;
      if (turns_take(t, v[i], &reversal[*count]))
        (*count)++;
    }
  }
  return n;
}

/* n <= PIECE points, 'stride' apart, one after another. */
static const double *beside (const double *v, size_t n, size_t stride,
                             double *to) {
  if (stride == 1)
    return v;
  to[0] = 0.0;
  for (size_t i = 0; i < n; i++)
    to[i] = v[i * stride];
  return to;
}

static size_t piece_of (size_t n, size_t done) {
  return n - done < PIECE ? n - done : PIECE;
}

static amp_status no_number (amp_error *err, double x, size_t at) {
  amp_status s = amp_fail(err, AMP_ERANGE, "history", x, -1e300, 1e300);
  if (err != NULL)
    err->line = at + 1;
  return s;
}

/* How many reversals these points will give; refuses what is no number. */
static amp_status dry_run (turns t, const double *v, size_t n, size_t stride,
                           size_t *reversals, amp_error *err) {
  double own[PIECE], ignored[PIECE];
  *reversals = 0;
  for (size_t done = 0; done < n; done += PIECE) {
    size_t piece = piece_of(n, done), count = 0;
    const double *p = beside(v + done * stride, piece, stride, own);
    size_t at = turns_of(&t, p, piece, ignored, &count);
    if (at < piece)
      return no_number(err, p[at], done + at);
    *reversals += count;
  }
  return AMP_OK;
}

static amp_status reserve (amp_rainflow *r, size_t room, amp_error *err) {
  if (room <= r->room)
    return AMP_OK;
  if (room < 2 * r->room)
    room = 2 * r->room;
  amp_cycle *grown = NULL;
  if (room <= (size_t)-1 / sizeof *grown)
    grown = amp_realloc(r->ctx, r->open.base, r->room * sizeof *grown,
                        room * sizeof *grown);
  if (grown == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu reversals",
                     room);
  r->open.base = grown;
  r->room = room;
  return AMP_OK;
}

static void take_all (amp_rainflow *r, const double *reversal, size_t n) {
  for (size_t i = 0; i < n; i++)
    pile_push(&r->open, reversal[i], &r->out);
}

/* n <= PIECE points, each looked at once. */
static amp_status feed_piece (amp_rainflow *r, const double *v, size_t n,
                              size_t stride, amp_error *err) {
  double own[PIECE], reversal[PIECE];
  turns t = r->turn;
  size_t count = 0;
  const double *p = beside(v, n, stride, own);
  size_t at = turns_of(&t, p, n, reversal, &count);
  amp_status s = at < n ? no_number(err, p[at], at)
                        : reserve(r, r->open.n + count + 1, err);
  if (s != AMP_OK)
    return s;
  r->turn = t;
  take_all(r, reversal, count);
  return AMP_OK;
}

amp_status amp_rainflow_feed (amp_rainflow *r, const double *v, size_t n,
                              size_t stride, amp_error *err) {
  size_t reversals;
  amp_status s;
  if (n <= PIECE)
    return feed_piece(r, v, n, stride, err);
  s = dry_run(r->turn, v, n, stride, &reversals, err);
  if (s == AMP_OK) /* one more: the last point, so that the end cannot fail */
    s = reserve(r, r->open.n + reversals + 1, err);
  for (size_t done = 0; s == AMP_OK && done < n; done += PIECE)
    s = feed_piece(r, v + done * stride, piece_of(n, done), stride, err);
  return s;
}

amp_status amp_rainflow_end (amp_rainflow *r, amp_error *err) {
  (void)err; /* amp_rainflow_feed made the room */
  if (r->turn.started)
    pile_push(&r->open, r->turn.edge, &r->out);
  pile_empty(&r->open, &r->out);
  r->turn = (turns){.least = r->turn.least};
  return AMP_OK;
}

typedef struct list {
  amp_cycle *cycle;
  size_t n;
} list;

static void list_add (void *arg, const amp_cycle *cycle) {
  list *l = arg;
  l->cycle[l->n++] = *cycle;
}

/* The pile grew down from the end of the answer: turn it round, so that the
** half cycles, written from its low end, only overwrite what is done. */
static void pile_turn (pile *p) {
  for (size_t lo = 0, hi = p->n; lo + 1 < hi; lo++, hi--) {
    double kept = *pile_at(p, lo);
    *pile_at(p, lo) = *pile_at(p, hi - 1);
    *pile_at(p, hi - 1) = kept;
  }
  p->base += ((ptrdiff_t)p->n - 1) * p->step;
  p->step = -p->step;
}

/*
** No memory but the answer: every reversal gives at most one cycle, and it
** has left the pile by then, so cycles + open reversals <= n always.
*/
size_t amp_rainflow_count (const double *v, size_t n, amp_cycle *cycle) {
  list found = {.cycle = cycle};
  outlet out = {.sink = list_add, .arg = &found};
  turns t = {.least = 0.0};
  double reversal;
  if (n == 0 || dry_run(t, v, n, 1, &(size_t){0}, NULL) != AMP_OK)
    return 0;
  pile open = {.base = &cycle[n - 1], .step = -1};
  for (size_t i = 0; i < n; i++)
    if (turns_take(&t, v[i], &reversal))
      pile_push(&open, reversal, &out);
  pile_push(&open, t.edge, &out);
  pile_turn(&open);
  pile_empty(&open, &out);
  return found.n;
}
