/*
** match.c -- which module goes where. Charges are whole numbers of 1e-6 Ah
** here, so that sums and bounds are exact. Parallel-first is the problem of
** covering equal bins: a good arrangement by swaps, upper bounds by counting,
** and for small lots a search to the end.
*/
#include "pack/match.h"
#include "base/sample.h"
#include "base/value.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

#define MICRO_AH 3.6e-3 /* C in 1e-6 Ah */

enum {
  SEARCH_MOST = 60000000, /* steps, about half a second */
  KICKS = 600,            /* small disorders from which swaps begin anew */
  PAIRS_FROM = 24 /* modules of a position that are swapped in pairs */
};

typedef int64_t whole;

static whole to_whole (double charge) {
  return (whole)floor(charge / MICRO_AH + 0.5);
}

/* ---- what an arrangement gives ---- */

static int rows_of (const amp_match_spec *s) {
  return s->string_first ? s->parallel : s->series;
}

static int each_of (const amp_match_spec *s) {
  return s->string_first ? s->series : s->parallel;
}

/* Least (string-first) or sum (parallel-first) of row 'k'. */
static whole row_charge (size_t n, const amp_match_module *m,
                         const amp_match_spec *s, const int *place, int k,
                         size_t without) {
  whole least = INT64_MAX, sum = 0;
  bool broken = false;
  for (size_t i = 0; i < n; i++)
    if (place[i] == k) {
      whole q = to_whole(m[i].charge);
      broken = broken || i == without;
      least = q < least ? q : least;
      sum += i == without ? 0 : q;
    }
  if (!s->string_first)
    return sum;
  return broken || least == INT64_MAX ? 0 : least;
}

static whole total_charge (size_t n, const amp_match_module *m,
                           const amp_match_spec *s, const int *place,
                           size_t without) {
  whole sum = 0, least = INT64_MAX;
  for (int k = 0; k < rows_of(s); k++) {
    whole q = row_charge(n, m, s, place, k, without);
    sum += q;
    least = q < least ? q : least;
  }
  return s->string_first ? sum : least;
}

double amp_match_charge (size_t n, const amp_match_module *m,
                         const amp_match_spec *spec, const int *place,
                         size_t without) {
  return (double)total_charge(n, m, spec, place, without) * MICRO_AH;
}

/* ---- shares of the current ---- */

/* The lower median of the resistances given, counted without room to sort. */
static double typical (size_t n, const amp_match_module *m) {
  size_t given = 0;
  for (size_t i = 0; i < n; i++)
    given += amp_given(m[i].r);
  for (size_t i = 0; i < n; i++) {
    size_t less = 0, equal = 0;
    for (size_t k = 0; k < n && amp_given(m[i].r); k++) {
      less += m[k].r < m[i].r;
      equal += m[k].r == m[i].r;
    }
    if (less <= (given - 1) / 2 && (given - 1) / 2 < less + equal)
      return m[i].r;
  }
  return AMP_NOT_GIVEN;
}

static double r_of (const amp_match_module *m, double mid) {
  return amp_given(m->r) ? m->r : mid;
}

/* Sums of one row: resistance, conductance, charge, least charge. */
typedef struct row_sums {
  double r, g, q, least;
  size_t some; /* one of its modules */
} row_sums;

static row_sums sums_of (size_t n, const amp_match_module *m,
                         const int *place, int k, double mid,
                         size_t without) {
  row_sums s = {0.0, 0.0, 0.0, INFINITY, 0};
  for (size_t i = 0; i < n; i++)
    if (place[i] == k && i != without) {
      double r = r_of(&m[i], mid);
      s.r += r;
      s.g += 1.0 / r;
      s.q += m[i].charge;
      s.least = fmin(s.least, m[i].charge);
      s.some = i;
    }
  return s;
}

static double stress_strings (size_t n, const amp_match_module *m,
                              const amp_match_spec *spec, const int *place,
                              double mid, size_t *who) {
  double g = 0.0, q = 0.0, worst = 0.0;
  for (int pass = 0; pass < 2; pass++)
    for (int k = 0; k < spec->parallel; k++) {
      row_sums s = sums_of(n, m, place, k, mid, (size_t)-1);
      if (pass == 0) {
        g += 1.0 / s.r;
        q += s.least;
      } else if (1.0 / s.r / g > worst * (s.least / q)) {
        worst = 1.0 / s.r / g / (s.least / q);
        *who = s.some;
      }
    }
  return worst;
}

static double stress_positions (size_t n, const amp_match_module *m,
                                const amp_match_spec *spec, const int *place,
                                double mid, size_t *who) {
  double worst = 0.0;
  for (int k = 0; k < spec->series; k++) {
    row_sums s = sums_of(n, m, place, k, mid, (size_t)-1);
    for (size_t i = 0; i < n; i++) {
      double r = r_of(&m[i], mid);
      if (place[i] == k && 1.0 / r / s.g > worst * (m[i].charge / s.q)) {
        worst = 1.0 / r / s.g / (m[i].charge / s.q);
        *who = i;
      }
    }
  }
  return worst;
}

static double stress_of (size_t n, const amp_match_module *m,
                         const amp_match_spec *spec, const int *place,
                         double mid, size_t *who) {
  if (!amp_given(mid))
    return AMP_NOT_GIVEN;
  if (spec->string_first)
    return stress_strings(n, m, spec, place, mid, who);
  return stress_positions(n, m, spec, place, mid, who);
}

double amp_match_stress (size_t n, const amp_match_module *m,
                         const amp_match_spec *spec, const int *place,
                         size_t *who) {
  size_t nobody;
  return stress_of(n, m, spec, place, typical(n, m),
                   who != NULL ? who : &nobody);
}

/* All rows in parallel (string-first) or those of one position: without one
** of them the others share its current as their conductances tell, each
** then carries g / (g - gone) times what it did. */
double amp_match_surge (size_t n, const amp_match_module *m,
                        const amp_match_spec *spec, const int *place,
                        size_t without) {
  double mid = typical(n, m), all = 0.0, gone = 0.0;
  if (!amp_given(mid))
    mid = 1.0; /* nothing is known: equal shares */
  if (place[without] < 0)
    return 1.0;
  if (spec->string_first)
    for (int k = 0; k < spec->parallel; k++) {
      double g = 1.0 / sums_of(n, m, place, k, mid, (size_t)-1).r;
      all += g;
      gone += k == place[without] ? g : 0.0;
    }
  else {
    all = sums_of(n, m, place, place[without], mid, (size_t)-1).g;
    gone = 1.0 / r_of(&m[without], mid);
  }
  return all > gone ? all / (all - gone) : INFINITY;
}

/* ---- work under way ---- */

typedef struct match {
  const amp_context *ctx;
  size_t n;
  const amp_match_module *m;
  amp_match_spec spec;
  int rows, each, used; /* rows x each = used */
  int *order;           /* modules, the largest charge first */
  whole *q;             /* charge by place in 'order' */
  int *row, *best_row;  /* by place in 'order', of the first 'used' */
  whole *sum;           /* by row */
  whole best, bound;
  uint64_t kick;
  size_t steps;
  bool stopped;
} match;

static void sort_modules (match *w) {
  for (size_t i = 0; i < w->n; i++) {
    size_t k = i;
    whole q = to_whole(w->m[i].charge);
    for (; k > 0 && w->q[k - 1] < q; k--) {
      w->q[k] = w->q[k - 1];
      w->order[k] = w->order[k - 1];
    }
    w->q[k] = q;
    w->order[k] = (int)i;
  }
}

/* ---- upper bounds for the least sum ---- */

/* Sum of q[from .. from + count). */
static whole stretch (const match *w, int from, int count) {
  whole s = 0;
  for (int i = from; i < from + count; i++)
    s += w->q[i];
  return s;
}

static whole ceil_div (whole a, whole b) {
  return (a + b - 1) / b;
}

/*
** The j smallest lie in some count m of rows; those rows hold at most these
** and the largest m each - j others; the least of them is at most their
** mean. m is unknown: the largest of the bounds stands.
*/
static whole bound_by_smallest (const match *w, int j) {
  whole most = 0;
  for (int m = (int)ceil_div(j, w->each); m <= w->rows && m <= j; m++) {
    whole s = stretch(w, w->used - j, j) + stretch(w, 0, m * w->each - j);
    most = s / m > most ? s / m : most;
  }
  return most;
}

/* Mean of x rows that hold 'q' of the j smallest each, filled with the
** largest of all. */
static whole crowded (const match *w, int j, int q, int x) {
  return (stretch(w, w->used - j, x * q < j ? x * q : j) +
          stretch(w, 0, x * (w->each - q))) /
         x;
}

/*
** By pigeonholes: with q = j / rows, rounded up, either some row holds more
** than q of the j smallest, or at least j - rows (q - 1) rows hold q each.
*/
static whole bound_by_crowding (const match *w, int j) {
  int q = (int)ceil_div(j, w->rows);
  whole one = q < w->each ? crowded(w, j, q + 1, 1) : 0;
  whole all = crowded(w, j, q, j - w->rows * (q - 1));
  return one > all ? one : all;
}

/* The j largest take m rows and with them at least the smallest others; what
** is left is shared by the rest. */
static whole bound_by_largest (const match *w, int j) {
  whole total = stretch(w, 0, w->used), most = 0;
  for (int m = (int)ceil_div(j, w->each); m <= w->rows && m <= j; m++) {
    int others = m * w->each - j;
    whole s = total;
    int left = w->rows;
    if (m < w->rows) {
      s -= stretch(w, 0, j) + stretch(w, w->used - others, others);
      left -= m;
    }
    most = s / left > most ? s / left : most;
  }
  return most;
}

static whole divisor (whole a, whole b) {
  while (b != 0) {
    whole t = a % b;
    a = b;
    b = t;
  }
  return a;
}

static whole least_of (whole a, whole b) {
  return a < b ? a : b;
}

/* No arrangement in rows has a greater least sum. */
static whole bound_of (const match *w) {
  whole step = 0, b = stretch(w, 0, w->used) / w->rows;
  for (int j = 1; j < w->used; j++) {
    b = least_of(b, bound_by_smallest(w, j));
    b = least_of(b, bound_by_crowding(w, j));
    if (j < w->rows)
      b = least_of(b, bound_by_largest(w, j));
  }
  for (int i = 0; i < w->used; i++) /* sums come in steps of what all share */
    step = divisor(step, w->q[i]);
  return step > 0 ? b / step * step : b;
}

/* ---- arranging by swaps ---- */

static int least_row (const match *w) {
  int a = 0;
  for (int k = 1; k < w->rows; k++)
    if (w->sum[k] < w->sum[a])
      a = k;
  return a;
}

static void keep_best (match *w) {
  whole least = w->sum[least_row(w)];
  if (least <= w->best)
    return;
  w->best = least;
  memcpy(w->best_row, w->row, (size_t)w->used * sizeof *w->row);
}

/* The largest first, each to the row with the least that has room. */
static void begin (match *w, int *count) {
  memset(count, 0, (size_t)w->rows * sizeof *count);
  memset(w->sum, 0, (size_t)w->rows * sizeof *w->sum);
  for (int i = 0; i < w->used; i++) {
    int to = -1;
    for (int k = 0; k < w->rows; k++)
      if (count[k] < w->each && (to < 0 || w->sum[k] < w->sum[to]))
        to = k;
    w->row[i] = to;
    w->sum[to] += w->q[i];
    count[to]++;
  }
}

static void swap (match *w, int i, int j) {
  int a = w->row[i], b = w->row[j];
  w->sum[a] += w->q[j] - w->q[i];
  w->sum[b] += w->q[i] - w->q[j];
  w->row[i] = b;
  w->row[j] = a;
}

/* What the worse of two rows has after 'more' went from b to a. */
static whole after (const match *w, int a, int b, whole more) {
  return least_of(w->sum[a] + more, w->sum[b] - more);
}

/* The best single swap that lifts the least row; false: there is none. */
static bool swap_one (match *w, int a) {
  whole most = w->sum[a];
  int from = -1, to = -1;
  for (int i = 0; i < w->used; i++)
    for (int j = 0; w->row[i] == a && j < w->used; j++) {
      if (w->row[j] == a || w->q[j] <= w->q[i])
        continue;
      whole got = after(w, a, w->row[j], w->q[j] - w->q[i]);
      if (got > most) {
        most = got;
        from = i;
        to = j;
      }
    }
  if (from < 0)
    return false;
  swap(w, from, to);
  return true;
}

/* Modules of a row, at most PAIRS_FROM of them. */
static int members (const match *w, int k, int *out) {
  int n = 0;
  for (int i = 0; i < w->used && n < PAIRS_FROM; i++)
    if (w->row[i] == k)
      out[n++] = i;
  return n;
}

/* Two of the least row against two of another. */
static bool swap_two (match *w, int a) {
  int in[PAIRS_FROM], other[PAIRS_FROM], n = members(w, a, in);
  for (int b = 0; b < w->rows; b++) {
    if (b == a)
      continue;
    int k = members(w, b, other);
    for (int i = 1; i < n; i++)
      for (int h = 0; h < i; h++)
        for (int x = 1; x < k; x++)
          for (int y = 0; y < x; y++) {
            whole more =
                w->q[other[x]] + w->q[other[y]] - w->q[in[i]] - w->q[in[h]];
            if (more <= 0 || after(w, a, b, more) <= w->sum[a])
              continue;
            swap(w, in[i], other[x]);
            swap(w, in[h], other[y]);
            return true;
          }
  }
  return false;
}

static void climb (match *w) {
  while (w->best < w->bound && !amp_stopped(w->ctx)) {
    int a = least_row(w);
    if (!swap_one(w, a) && !swap_two(w, a))
      break;
  }
  keep_best(w);
}

/* Some swaps by chance, from the best so far. */
static void disturb (match *w) {
  memcpy(w->row, w->best_row, (size_t)w->used * sizeof *w->row);
  memset(w->sum, 0, (size_t)w->rows * sizeof *w->sum);
  for (int i = 0; i < w->used; i++)
    w->sum[w->row[i]] += w->q[i];
  for (int k = 0; k < 4; k++) {
    uint64_t stream = amp_stream("match");
    int i = (int)(amp_uniform(1, stream, w->kick++) * w->used);
    int j = (int)(amp_uniform(1, stream, w->kick++) * w->used);
    if (w->row[i] != w->row[j])
      swap(w, i, j);
  }
}

/* A hundred thousandth: no capacity test tells less than that. */
static void arrange (match *w, int *count) {
  whole enough = w->bound - w->bound / 100000;
  begin(w, count);
  keep_best(w);
  climb(w);
  for (int k = 0; k < KICKS && w->best < enough; k++) {
    disturb(w);
    climb(w);
  }
}

/* ---- searching to the end ---- */

/*
** Rows are filled one after another, each with the smallest module that is
** left and companions. A row needs more than the best least sum so far, and
** must leave as much for each of the others. A row that has at least 'cap'
** (what the least sum can be at all) never is the least: of those only the
** ones are tried in which no companion can be changed for a smaller one
** without falling below 'cap', since the others can only gain by the change.
*/
typedef struct fill {
  match *w;
  int at[AMP_MATCH_PROVEN]; /* places in 'order' that are left, smallest
                                first */
  bool taken[AMP_MATCH_PROVEN];
  int n, rows; /* left */
  whole total, cap;
} fill;

static void search (match *w, const int *at, int n, whole total, whole cap);

static whole of (const fill *f, int p) {
  return f->w->q[f->at[p]];
}

static bool is_wasteful (const fill *f, whole sum) {
  int below = -1; /* nearest smaller one that is not taken */
  if (sum < f->cap)
    return false;
  for (int p = 0; p < f->n; p++) {
    if (!f->taken[p])
      below = p;
    else if (p > 0 && below >= 0 && of(f, below) < of(f, p) &&
             sum - of(f, p) + of(f, below) >= f->cap)
      return true;
  }
  return false;
}

static void close_row (fill *f, whole sum) {
  int left[AMP_MATCH_PROVEN], n = 0;
  match *w = f->w;
  if (is_wasteful(f, sum))
    return;
  for (int p = 0; p < f->n; p++)
    if (f->taken[p])
      w->row[f->at[p]] = f->rows - 1;
    else
      left[n++] = f->at[p];
  search(w, left, n, f->total - sum, least_of(f->cap, sum));
}

/* Companions from place 'p' on; 'need' are wanted, 'sum' stands. */
static void companions (fill *f, int p, int need, whole sum) {
  match *w = f->w;
  whole lo = w->best + 1, top = 0, bottom = 0;
  whole hi = f->total - (whole)(f->rows - 1) * lo;
  if (++w->steps > SEARCH_MOST ||
      ((w->steps & 0xffff) == 0 && amp_stopped(w->ctx)))
    w->stopped = true;
  if (w->stopped || w->best >= w->bound)
    return;
  if (need == 0) {
    if (sum >= lo && sum <= hi)
      close_row(f, sum);
    return;
  }
  for (int k = 0; k < need; k++)
    top += of(f, f->n - 1 - k);
  if (sum + top < lo)
    return;
  for (; p + need <= f->n; p++) {
    bottom = 0;
    for (int k = 0; k < need; k++)
      bottom += of(f, p + k);
    if (sum + bottom > hi)
      return;
    if (p > 1 && !f->taken[p - 1] && of(f, p - 1) == of(f, p))
      continue; /* an equal one was tried in its place */
    f->taken[p] = true;
    companions(f, p + 1, need - 1, sum + of(f, p));
    f->taken[p] = false;
  }
}

static void search (match *w, const int *at, int n, whole total, whole cap) {
  fill f = {.w = w, .n = n, .rows = n / w->each, .total = total, .cap = cap};
  if (f.rows == 1) {
    for (int p = 0; p < n; p++)
      w->row[at[p]] = 0;
    if (least_of(cap, total) > w->best) {
      w->best = least_of(cap, total);
      memcpy(w->best_row, w->row, (size_t)w->used * sizeof *w->row);
    }
    return;
  }
  if (total / f.rows <= w->best || cap <= w->best)
    return;
  memcpy(f.at, at, (size_t)n * sizeof *at);
  f.taken[0] = true;
  companions(&f, 1, w->each - 1, of(&f, 0));
}

static void prove (match *w) {
  int at[AMP_MATCH_PROVEN];
  for (int p = 0; p < w->used; p++)
    at[p] = w->used - 1 - p;
  search(w, at, w->used, stretch(w, 0, w->used), w->bound);
  if (!w->stopped)
    w->bound = w->best;
}

/* ---- the second aim ---- */

/* Swap two places where that lowers the stress and keeps the charge. */
static bool relieve (match *w, int *place, whole floor_, double mid,
                     double *stress) {
  size_t who = 0, nobody;
  stress_of(w->n, w->m, &w->spec, place, mid, &who);
  int hit = place[who];
  for (size_t i = 0; i < w->n; i++)
    for (size_t j = 0; place[i] == hit && j < w->n; j++) {
      if (place[j] == hit)
        continue;
      int a = place[i], b = place[j];
      place[i] = b;
      place[j] = a;
      double s = stress_of(w->n, w->m, &w->spec, place, mid, &nobody);
      if (s < *stress * (1.0 - 1e-9) &&
          total_charge(w->n, w->m, &w->spec, place, (size_t)-1) >= floor_) {
        *stress = s;
        return true;
      }
      place[i] = a;
      place[j] = b;
    }
  return false;
}

/* About 2e8 looks at a module, so that large lots end too. */
static void even_out (match *w, int *place, double *stress) {
  double mid = typical(w->n, w->m), n = (double)w->n;
  size_t who = 0;
  whole best = total_charge(w->n, w->m, &w->spec, place, (size_t)-1);
  whole floor_ = (whole)ceil((double)best * (1.0 - w->spec.give) - 1e-9);
  *stress = stress_of(w->n, w->m, &w->spec, place, mid, &who);
  double rounds = 2e8 / (n * n * w->each * w->rows);
  for (double k = 0.0; amp_given(*stress) && k < rounds; k += 1.0)
    if (amp_stopped(w->ctx) || !relieve(w, place, floor_, mid, stress))
      break;
}

/* ---- all of it ---- */

static amp_status check (size_t n, const amp_match_module *m,
                         const amp_match_spec *s, amp_error *err) {
  amp_status st =
      amp_check_range(err, "series", s->series, 1, AMP_MATCH_MOST);
  if (st == AMP_OK)
    st = amp_check_range(err, "parallel", s->parallel, 1, AMP_MATCH_MOST);
  if (st == AMP_OK)
    st = amp_check_range(err, "modules", (double)n, 1, AMP_MATCH_MOST);
  if (st == AMP_OK)
    st = amp_check_range(err, "give", s->give, 0.0, 0.5);
  for (size_t i = 0; i < n && st == AMP_OK; i++) {
    st = amp_check_range(err, "charge", m[i].charge, 1.0, 1.8e7);
    if (st == AMP_OK && amp_given(m[i].r))
      st = amp_check_range(err, "r", m[i].r, 1e-9, 1e3);
  }
  if (st == AMP_OK && n < (size_t)s->series * (size_t)s->parallel)
    st = amp_failf(err, AMP_EMISSING, "modules",
                   "%d in series and %d in parallel are %d modules, and "
                   "there are %zu",
                   s->series, s->parallel, s->series * s->parallel, n);
  return st;
}

/* String-first: in descending order every 'series' make a string. A string
** counts its weakest, so that any other order wastes more; proven. */
static void in_strings (match *w) {
  for (int i = 0; i < w->used; i++)
    w->best_row[i] = i / w->each;
  w->best = 0;
  for (int k = 0; k < w->rows; k++)
    w->best += w->q[(k + 1) * w->each - 1];
  w->bound = w->best;
}

/* Two side by side: the largest with the smallest, and so on inward, is the
** optimum; by exchange. */
static void in_pairs (match *w) {
  for (int i = 0; i < w->rows; i++)
    w->best_row[i] = w->best_row[w->used - 1 - i] = i;
  w->best = INT64_MAX;
  for (int i = 0; i < w->rows; i++)
    w->best = least_of(w->best, w->q[i] + w->q[w->used - 1 - i]);
  w->bound = w->best;
}

static void in_positions (match *w, int *count) {
  w->bound = bound_of(w);
  w->best = -1;
  if (w->each == 2) {
    in_pairs(w);
    return;
  }
  arrange(w, count);
  if (w->best < w->bound && w->used <= AMP_MATCH_PROVEN)
    prove(w);
}

static void solve (match *w, int *count, int *place, amp_matched *out) {
  sort_modules(w);
  if (w->spec.string_first)
    in_strings(w);
  else
    in_positions(w, count);
  for (size_t i = 0; i < w->n; i++)
    place[w->order[i]] = i < (size_t)w->used ? w->best_row[i] : -1;
  out->best = (double)w->best * MICRO_AH;
  out->bound = (double)w->bound * MICRO_AH;
  out->proven = w->best >= w->bound;
  out->steps = w->steps;
  even_out(w, place, &out->stress);
  out->charge = amp_match_charge(w->n, w->m, &w->spec, place, (size_t)-1);
}

amp_status amp_match (const amp_context *ctx, size_t n,
                      const amp_match_module *m, const amp_match_spec *spec,
                      int *place, amp_matched *out, amp_error *err) {
  match w = {.ctx = ctx, .n = n, .m = m, .spec = *spec};
  amp_matched got = {0};
  amp_status st = check(n, m, spec, err);
  if (st != AMP_OK)
    return st;
  w.rows = rows_of(spec);
  w.each = each_of(spec);
  w.used = w.rows * w.each;
  size_t rows = (size_t)w.rows;
  size_t size = (n + rows) * sizeof(whole) + (4 * n + rows) * sizeof(int);
  whole *block = amp_alloc(ctx, size);
  if (block == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory to match this lot");
  w.q = block;
  w.sum = block + n;
  w.order = (int *)(block + n + rows);
  w.row = w.order + n;
  w.best_row = w.row + n;
  int *mine = w.best_row + n;
  solve(&w, mine + n, mine, &got);
  if (amp_stopped(ctx))
    st = amp_failf(err, AMP_ESTOP, NULL, "stopped while matching");
  else {
    memcpy(place, mine, n * sizeof *place);
    *out = got;
  }
  amp_free(ctx, block, size);
  return st;
}
