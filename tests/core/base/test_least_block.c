/*
** test_least_block.c -- deviations where residuals are not independent: a
** straight line with noise that follows itself, whose true deviation is
** known in closed form; the same noise independent; the jackknife written
** out; and what too few blocks leave open.
*/
#include "support/close.h"
#include "base/least.h"
#include "base/sample.h"
#include <stdbool.h>
#include <string.h>

enum { ROWS = 1000, BLOCK = 100, REPEATS = 200 };

typedef struct line {
  size_t rows;
  double x[ROWS], y[ROWS];
  int block[ROWS + 1];
} line;

static amp_status straight (void *arg, const double *p, size_t n, double *r,
                            size_t m) {
  const line *l = arg;
  (void)n;
  for (size_t k = 0; k < m; k++)
    r[k] = p[0] + p[1] * l->x[k] - l->y[k];
  return AMP_OK;
}

/* Stationary noise of variance 1: e(k) = rho e(k-1) + normal. */
static void make_noise (double rho, unsigned seed, double *e) {
  double u[ROWS];
  for (int k = 0; k < ROWS; k++)
    u[k] = amp_uniform(seed, amp_stream("noise"), (uint64_t)k);
  amp_normal_quantiles(NULL, u, ROWS);
  e[0] = u[0];
  for (int k = 1; k < ROWS; k++)
    e[k] = rho * e[k - 1] + sqrt(1.0 - rho * rho) * u[k];
}

static void make_line (double rho, unsigned seed, int rows_a_block, line *l) {
  make_noise(rho, seed, l->y);
  l->rows = ROWS;
  for (int k = 0; k < ROWS; k++) {
    l->x[k] = (k + 0.5) / ROWS;
    l->y[k] += 2.0 + 3.0 * l->x[k];
    l->block[k] = k / rows_a_block;
  }
}

/* (X^T X)^-1, of the line. */
static void inverse (const line *l, double a[2][2]) {
  double s = (double)l->rows, sx = 0, sxx = 0;
  for (size_t k = 0; k < l->rows; k++) {
    sx += l->x[k];
    sxx += l->x[k] * l->x[k];
  }
  double det = s * sxx - sx * sx;
  a[0][0] = sxx / det;
  a[1][1] = s / det;
  a[0][1] = a[1][0] = -sx / det;
}

/* True deviation of ordinary least squares under such noise: the root of
** (X^T X)^-1 X^T R X (X^T X)^-1, R(i, j) = rho^|i - j|. */
static void true_deviations (const line *l, double rho, double *sd) {
  double a[2][2], lag[ROWS];
  inverse(l, a);
  for (int k = 0; k < ROWS; k++)
    lag[k] = k == 0 ? 1.0 : rho * lag[k - 1];
  for (int p = 0; p < 2; p++) {
    double sum = 0;
    for (int i = 0; i < ROWS; i++)
      for (int j = 0; j < ROWS; j++)
        sum += (a[p][0] + a[p][1] * l->x[i]) * (a[p][0] + a[p][1] * l->x[j]) *
               lag[i > j ? i - j : j - i];
    sd[p] = sqrt(sum);
  }
}

/* Over the repeats, of intercept and slope. */
typedef struct tally {
  double truth[2];
  double mean[2][2]; /* of the deviation: plain, by blocks; over the truth */
  double inside[2][2]; /* share of truths within two deviations */
} tally;

static const double truth[2] = {2.0, 3.0};

static void count (const double *p, const double *sd, const tally *t,
                   double *mean, double *inside) {
  for (int k = 0; k < 2; k++) {
    mean[k] += sd[k] / t->truth[k] / REPEATS;
    inside[k] += fabs(p[k] - truth[k]) <= 2.0 * sd[k] ? 1.0 / REPEATS : 0.0;
  }
}

static tally repeat (double rho, int rows_a_block) {
  static line l;
  tally t = {.truth = {0}};
  for (unsigned seed = 1; seed <= REPEATS; seed++) {
    double p[2] = {0, 0}, q[2] = {0, 0}, plain[2], sd[2];
    make_line(rho, seed, rows_a_block, &l);
    amp_least_options opt = {.block = l.block};
    if (seed == 1)
      true_deviations(&l, rho, t.truth);
    assert_int_equal(amp_least(NULL, straight, &l, p, 2, ROWS, NULL, plain,
                               NULL, NULL, NULL),
                     AMP_OK);
    assert_int_equal(
        amp_least(NULL, straight, &l, q, 2, ROWS, &opt, sd, NULL, NULL, NULL),
        AMP_OK);
    assert_memory_equal(p, q, sizeof p); /* blocks move no parameter */
    count(p, plain, &t, t.mean[0], t.inside[0]);
    count(p, sd, &t, t.mean[1], t.inside[1]);
  }
  for (int k = 0; k < 2; k++)
    print_message("  rho %.2f, %s: plain sd %.2f of the true one, by blocks"
                  " %.2f; within two: %.3f, %.3f\n",
                  rho, k == 0 ? "intercept" : "slope", t.mean[0][k],
                  t.mean[1][k], t.inside[0][k], t.inside[1][k]);
  return t;
}

/* Closed form of a mean: plain low by sqrt((1 + rho) / (1 - rho)) = 6.2. */
static void noise_that_follows_itself_is_seen_in_blocks (void **state) {
  tally t = repeat(0.95, BLOCK);
  (void)state;
  for (int k = 0; k < 2; k++) {
    assert_close(t.mean[0][k], sqrt(0.05 / 1.95), 0.02);
    assert_close(t.mean[1][k], 1.0, 0.2);
    assert_true(t.inside[0][k] < 0.35);
    /* 0.954 if the deviation were known; ten blocks tell it to a quarter */
    assert_true(t.inside[1][k] > 0.85 && t.inside[1][k] <= 0.99);
  }
}

static void independent_noise_keeps_its_plain_deviation (void **state) {
  tally t = repeat(0.0, BLOCK);
  (void)state;
  for (int k = 0; k < 2; k++) {
    assert_close(t.mean[0][k], 1.0, 0.02);
    assert_close(t.mean[1][k], 1.0, 0.2);
    assert_true(t.mean[1][k] >= t.mean[0][k]);
    assert_close(t.inside[1][k], 0.954, 0.04);
  }
  t = repeat(0.0, 1); /* each row a block of its own */
  for (int k = 0; k < 2; k++) {
    assert_close(t.mean[1][k], 1.0, 0.03);
    assert_close(t.inside[1][k], 0.954, 0.04);
  }
}

/* ---- written out ---- */

/* Line through all rows but those of one block (-1: all). */
static void line_without (const line *l, int block, double *p) {
  double s = 0, sx = 0, sxx = 0, sy = 0, sxy = 0;
  for (size_t k = 0; k < l->rows; k++)
    if (l->block[k] != block) {
      s += 1;
      sx += l->x[k];
      sxx += l->x[k] * l->x[k];
      sy += l->y[k];
      sxy += l->x[k] * l->y[k];
    }
  p[0] = (sxx * sy - sx * sxy) / (s * sxx - sx * sx);
  p[1] = (s * sxy - sx * sy) / (s * sxx - sx * sx);
}

typedef struct jackknife {
  double own[2];   /* variance by leaving out blocks */
  double seen[2];  /* blocks, as many as would share evenly */
  double total[2]; /* diagonal of (X^T X)^-1 */
  double wide;     /* pooled, of the variance */
  double row;      /* variance of a row */
} jackknife;

static void leave_out (const line *l, int blocks, const double *p,
                       jackknife *j) {
  double a[2][2], x2[2][2], d[2], q, meat = 0, square[2] = {0}, det;
  inverse(l, a);
  det = a[0][0] * a[1][1] - a[0][1] * a[0][1];
  x2[0][0] = a[1][1] / det;
  x2[1][1] = a[0][0] / det;
  x2[0][1] = -a[0][1] / det;
  for (int b = 0; b < blocks; b++) {
    line_without(l, b, d);
    d[0] -= p[0];
    d[1] -= p[1];
    meat += d[0] * d[0] * x2[0][0] + 2 * d[0] * d[1] * x2[0][1] +
            d[1] * d[1] * x2[1][1];
    for (int k = 0; k < 2; k++) {
      j->own[k] += d[k] * d[k] * (blocks - 1) / blocks;
      q = 0;
      for (size_t i = 0; i < l->rows; i++)
        if (l->block[i] == b)
          q += pow(a[k][0] + a[k][1] * l->x[i], 2);
      j->total[k] += q;
      square[k] += q * q;
    }
  }
  j->wide = meat * (blocks - 1) / blocks / (2 * j->row);
  for (int k = 0; k < 2; k++)
    j->seen[k] = j->total[k] * j->total[k] / square[k];
}

/* docs/model/least.md, with each block left out in turn by its own fit. */
static void blocks_are_left_out_one_by_one (void **state) {
  static line l;
  jackknife j = {.row = 0};
  double p[2] = {0, 0}, sd[2], all[2];
  amp_least_result got;
  (void)state;
  make_line(0.9, 7, 7, &l);
  l.rows = 60; /* nine blocks, the last of four rows */
  amp_least_options opt = {.block = l.block};
  assert_int_equal(
      amp_least(NULL, straight, &l, p, 2, l.rows, &opt, sd, NULL, &got, NULL),
      AMP_OK);
  assert_int_equal(got.blocks, 9);
  assert_false(got.bounded);
  line_without(&l, -1, all);
  j.row = got.sum / (double)(l.rows - 2);
  leave_out(&l, 9, all, &j);
  assert_close(got.widening, sqrt(fmax(j.wide, 1.0)), 1e-6 * got.widening);
  for (int k = 0; k < 2; k++) {
    double others = fmax(j.wide, 1.0) * j.row * j.total[k];
    double want =
        sqrt((j.seen[k] * j.own[k] + 3.0 * others) / (j.seen[k] + 3.0));
    assert_true(want > 1.1 * sqrt(j.row * j.total[k]));
    assert_close(sd[k], want, 1e-6 * want);
  }
}

/* ---- what blocks leave open ---- */

/* Rows in one block count at the most as one: sqrt(rows) times. */
static void too_few_blocks_give_the_bound (void **state) {
  static line l;
  double p[2] = {0, 0}, plain[2], sd[2];
  amp_least_result got;
  (void)state;
  make_line(0.5, 3, 500, &l); /* two blocks, two parameters */
  amp_least_options opt = {.block = l.block};
  amp_least(NULL, straight, &l, p, 2, ROWS, NULL, plain, NULL, NULL, NULL);
  assert_int_equal(
      amp_least(NULL, straight, &l, p, 2, ROWS, &opt, sd, NULL, &got, NULL),
      AMP_OK);
  assert_true(got.bounded);
  assert_int_equal(got.blocks, 2);
  assert_close(got.widening, sqrt(500.0), 1e-9);
  for (int k = 0; k < 2; k++)
    assert_close(sd[k], sqrt(500.0) * plain[k], 1e-5 * sd[k]);
}

/* The second parameter is a level of the first block alone, and the third
** one only believed: 77 +- 5. */
static amp_status steps (void *arg, const double *p, size_t n, double *r,
                         size_t m) {
  const line *l = arg;
  (void)n;
  for (size_t k = 0; k + 1 < m; k++)
    r[k] = p[0] + (l->block[k] == 0 ? p[1] : 0.0) - l->y[k];
  r[m - 1] = (p[2] - 77.0) / 5.0;
  return AMP_OK;
}

static void what_one_block_alone_knows_is_widened_as_the_rest (void **state) {
  static line l;
  double p[3] = {0, 0, 70}, sd[3], plain[3];
  amp_least_result got;
  (void)state;
  make_line(0.95, 11, 50, &l);
  l.block[ROWS] = AMP_LEAST_BELIEF;
  amp_least_options opt = {.block = l.block};
  assert_int_equal(amp_least(NULL, steps, &l, p, 3, ROWS + 1, NULL, plain,
                             NULL, NULL, NULL),
                   AMP_OK);
  assert_int_equal(
      amp_least(NULL, steps, &l, p, 3, ROWS + 1, &opt, sd, NULL, &got, NULL),
      AMP_OK);
  assert_false(got.bounded);
  assert_true(got.widening > 3.0 && got.widening < 9.0); /* 6.2, 5 of 50 */
  assert_true(sd[1] > 2.0 * plain[1] && sd[1] < 9.0 * plain[1]);
  /* a belief brings its own deviation, whatever the rows are off by */
  assert_close(p[2], 77.0, 1e-6);
  assert_close(sd[2], 5.0 * fmax(1.0, plain[2] / 5.0), 1e-6);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(noise_that_follows_itself_is_seen_in_blocks),
      cmocka_unit_test(independent_noise_keeps_its_plain_deviation),
      cmocka_unit_test(blocks_are_left_out_one_by_one),
      cmocka_unit_test(too_few_blocks_give_the_bound),
      cmocka_unit_test(what_one_block_alone_knows_is_widened_as_the_rest)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
