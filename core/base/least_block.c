/*
** least_block.c -- variance of parameters whose residuals hang together in
** blocks. Everything is done in the directions of the singular values,
** u = j v / sigma, in which the inner products of all rows are 1; a block's
** own share of them is its leverage.
*/
#include "base/least_block.h"
#include <math.h>
#include <string.h>

/* Of what is known of a direction, the others' share: with less, taking the
** block away shows how little they know, not how far it is off. */
#define ALONE 0.05
/* So many blocks of the average kind are added to those a parameter has seen,
** since few say little of their own spread: after G. K. Smyth, Stat. Appl.
** Genet. Mol. Biol. 3 (2004) 3; the number is a choice. */
#define BORROWED 3.0

typedef struct sums {
  const amp_block_input *in;
  double *row;    /* n, at hand */
  double *score;  /* n, of the block at hand */
  double *y;      /* n */
  double *small;  /* n * n */
  double *meat;   /* n * n, sum of score score^T */
  double *belief; /* n, variance that beliefs bring, by parameter */
  double *share;  /* n, of the blocks at hand and */
  double *total;  /* n, of all, by parameter */
  double *usable; /* n, of the blocks that tell their spread */
  double *square; /* n, sum of squared shares */
  double trace, usable_trace; /* leverage: parameters the data decide */
  double sum;                 /* of squares, data */
  size_t rows, longest, blocks, told;
} sums;

/* ---- small pieces ---- */

static double *at (const amp_block_input *in, size_t row, size_t column) {
  return &in->j[column * in->m + row];
}

/* Rows of j into rows of u. */
static void turn_rows (const sums *s) {
  const amp_block_input *in = s->in;
  for (size_t k = 0; k < in->m; k++) {
    for (size_t i = 0; i < in->n; i++)
      s->row[i] = *at(in, k, i);
    for (size_t d = 0; d < in->n; d++) {
      const double *v = in->v + d * in->n;
      double sum = 0.0;
      for (size_t i = 0; i < in->n && in->sigma[d] > 0.0; i++)
        sum += s->row[i] * v[i];
      *at(in, k, d) = in->sigma[d] > 0.0 ? sum / in->sigma[d] : 0.0;
    }
  }
}

/* From directions to parameters: v sigma^-1 x. */
static void to_parameters (const amp_block_input *in, const double *x,
                           double *out) {
  memset(out, 0, in->n * sizeof *out);
  for (size_t d = 0; d < in->n; d++) {
    const double *v = in->v + d * in->n;
    double share = in->sigma[d] > 0.0 ? x[d] / in->sigma[d] : 0.0;
    for (size_t i = 0; i < in->n; i++)
      out[i] += v[i] * share;
  }
}

/* Solve a x = b, a symmetric (n by n, lower half used, overwritten by its
** root); false: not positive definite. */
static bool solve_positive (double *a, size_t n, double *b) {
  for (size_t i = 0; i < n; i++) {
    for (size_t j = 0; j <= i; j++) {
      double sum = a[i * n + j];
      for (size_t k = 0; k < j; k++)
        sum -= a[i * n + k] * a[j * n + k];
      if (i == j && !(sum > ALONE))
        return false;
      a[i * n + j] = i == j ? sqrt(sum) : sum / a[j * n + j];
    }
    for (size_t k = 0; k < i; k++)
      b[i] -= a[i * n + k] * b[k];
    b[i] /= a[i * n + i];
  }
  for (size_t i = n; i-- > 0;) {
    for (size_t k = i + 1; k < n; k++)
      b[i] -= a[k * n + i] * b[k];
    b[i] /= a[i * n + i];
  }
  return true;
}

/* ---- a block ---- */

static void weigh (sums *s, size_t from, size_t to, const double *x) {
  const amp_block_input *in = s->in;
  for (size_t d = 0; d < in->n; d++) {
    s->score[d] = 0.0;
    for (size_t k = from; k < to; k++)
      s->score[d] += *at(in, k, d) * x[k - from];
  }
}

/*
** u_b^T (1 - u_b u_b^T)^-1 r_b into 'score': with few rows as it stands, with
** many as (1 - u_b^T u_b)^-1 u_b^T r_b. false: the block alone knows of some
** direction.
*/
static bool score_block (sums *s, size_t from, size_t to) {
  const amp_block_input *in = s->in;
  size_t rows = to - from, n = in->n, size = rows < n ? rows : n;
  for (size_t i = 0; i < size; i++)
    for (size_t j = 0; j <= i; j++) {
      double sum = 0.0;
      if (rows < n)
        for (size_t d = 0; d < n; d++)
          sum += *at(in, from + i, d) * *at(in, from + j, d);
      else
        for (size_t k = from; k < to; k++)
          sum += *at(in, k, i) * *at(in, k, j);
      s->small[i * size + j] = (i == j ? 1.0 : 0.0) - sum;
    }
  if (rows >= n) {
    weigh(s, from, to, in->r + from);
    return solve_positive(s->small, n, s->score);
  }
  memcpy(s->y, in->r + from, rows * sizeof *s->y);
  if (!solve_positive(s->small, rows, s->y))
    return false;
  weigh(s, from, to, s->y);
  return true;
}

/* Leverage of the rows, and their share in each parameter's variance. */
static double share_of (sums *s, size_t from, size_t to) {
  const amp_block_input *in = s->in;
  double trace = 0.0;
  memset(s->share, 0, in->n * sizeof *s->share);
  for (size_t k = from; k < to; k++) {
    for (size_t d = 0; d < in->n; d++) {
      s->row[d] = *at(in, k, d);
      trace += s->row[d] * s->row[d];
    }
    to_parameters(in, s->row, s->y);
    for (size_t i = 0; i < in->n; i++)
      s->share[i] += s->y[i] * s->y[i];
  }
  return trace;
}

static void add_block (sums *s, size_t from, size_t to) {
  const amp_block_input *in = s->in;
  size_t n = in->n;
  double trace = share_of(s, from, to);
  bool told = score_block(s, from, to);
  s->blocks++;
  s->told += told ? 1 : 0;
  s->rows += to - from;
  s->longest = to - from > s->longest ? to - from : s->longest;
  s->trace += trace;
  s->usable_trace += told ? trace : 0.0;
  for (size_t k = from; k < to; k++)
    s->sum += in->r[k] * in->r[k];
  for (size_t i = 0; i < n; i++) {
    s->total[i] += s->share[i];
    s->square[i] += s->share[i] * s->share[i];
    s->usable[i] += told ? s->share[i] : 0.0;
    for (size_t j = 0; j < n && told; j++)
      s->meat[i * n + j] += s->score[i] * s->score[j];
  }
}

static void add_all (sums *s) {
  const amp_block_input *in = s->in;
  for (size_t from = 0, to; from < in->m; from = to) {
    to = from + 1;
    if (in->block[from] < 0) {
      share_of(s, from, to);
      for (size_t i = 0; i < in->n; i++)
        s->belief[i] += s->share[i];
      continue;
    }
    while (to < in->m && in->block[to] == in->block[from])
      to++;
    add_block(s, from, to);
  }
}

/* ---- all of them ---- */

/* Variance of parameter i by the scores, factor (v sigma^-1 meat sigma^-1
** v^T) on its diagonal. */
static double own_variance (const sums *s, double factor, size_t i) {
  const amp_block_input *in = s->in;
  double sum = 0.0;
  for (size_t d = 0; d < in->n; d++)
    s->row[d] =
        in->sigma[d] > 0.0 ? in->v[d * in->n + i] / in->sigma[d] : 0.0;
  for (size_t d = 0; d < in->n; d++)
    for (size_t e = 0; e < in->n; e++)
      sum += s->row[d] * s->meat[d * in->n + e] * s->row[e];
  return factor * sum;
}

/*
** By how much the blocks' variance is more than that of rows on their own,
** 'row' each. Without more blocks than parameters the data decide, it is the
** most that correlation within blocks can make of it: the rows of the
** longest one.
*/
static double widening (const sums *s, double factor, double row,
                        bool *bounded) {
  double meat = 0.0;
  *bounded = !((double)s->told > s->trace + 1.0 && row > 0.0);
  if (*bounded)
    return (double)s->longest;
  for (size_t d = 0; d < s->in->n; d++)
    meat += s->meat[d * s->in->n + d];
  return fmax(factor * meat / (row * s->usable_trace), 1.0);
}

/*
** A parameter's own variance says the more the more blocks have seen it: as
** many as would, sharing evenly, have the same sum of squared shares. What
** blocks that do not tell their spread bring to it is taken as the rest's.
*/
static double drawn (const sums *s, size_t i, double factor, double others) {
  double usable = s->usable[i], seen, own;
  if (!(usable > 0.0))
    return others;
  seen = usable * usable / s->square[i];
  own = own_variance(s, factor, i) * s->total[i] / usable;
  return (seen * own + BORROWED * others) / (seen + BORROWED);
}

static void finish (sums *s, double *variance, amp_block_result *out) {
  double told = (double)s->told, freedom = (double)s->rows - s->trace;
  double factor = told > 1.0 ? (told - 1.0) / told : 0.0;
  double shown = freedom > 0.0 ? s->sum / freedom : 0.0;
  double row = fmax(shown, s->in->doubt);
  double wide = widening(s, factor, shown, &out->bounded);
  factor *= shown > 0.0 ? row / shown : 1.0;
  for (size_t i = 0; i < s->in->n; i++) {
    double others = wide * row * s->total[i];
    variance[i] =
        s->belief[i] + (out->bounded ? others : drawn(s, i, factor, others));
  }
  out->blocks = s->blocks;
  out->widening = sqrt(wide);
}

amp_status amp_block_variance (const amp_context *ctx,
                               const amp_block_input *in, double *variance,
                               amp_block_result *out) {
  size_t n = in->n, size = (8 * n + 2 * n * n) * sizeof(double);
  sums s = {.in = in};
  double *room = amp_alloc(ctx, size);
  if (room == NULL)
    return AMP_ENOMEM;
  memset(room, 0, size);
  s.small = room;
  s.meat = s.small + n * n;
  s.row = s.meat + n * n;
  s.score = s.row + n;
  s.y = s.score + n;
  s.belief = s.y + n;
  s.share = s.belief + n;
  s.total = s.share + n;
  s.usable = s.total + n;
  s.square = s.usable + n;
  turn_rows(&s);
  add_all(&s);
  finish(&s, variance, out);
  amp_free(ctx, room, size);
  return AMP_OK;
}
