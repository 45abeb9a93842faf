/*
** fit_simple.c -- resistance over charge and two RC pairs by least squares
** over the pulse logs near 25 C, then how the resistance moves with
** temperature from all of them. Method, weights and what the deviations
** mean: docs/model/fit.md.
*/
#include "base/elementary.h"
#include "base/least.h"
#include "cell/fit_parts.h"
#include <math.h>
#include <string.h>

#define T_REF 298.15     /* K */
#define SETTLED 600.0    /* s at rest before a log counts */
#define AFTER_EDGE 0.9   /* s after a step that are left out */
#define NEXT_ROW 1.3     /* rows taken at times that grow by this */
#define STEP_LEAST 0.1   /* of the current: a new step */
#define SIGMA_V 0.002    /* V, of a row */
#define SIGMA_SHARE 0.05 /* of the loss of voltage, added in squares */
#define SIGMA_SOC 0.004  /* of the counted charge */
#define AT_REST 0.5      /* weight of a row at rest beside one under load */
#define SETTLES 3.0      /* time constants in the longest load */
#define TAU_LEAST 2.0    /* s; faster counts as resistance */
#define TAU_PARTS 30.0   /* s, between the two pairs */
#define LEAP 0.7      /* of ln r0 between knots, expected before the data */
#define KNOT_ROWS 4   /* rows under current that make a knot known */
#define WARM_SPAN 5.0 /* K between logs that show an activation */
#define SHAPE_LEAST 0.02 /* as amp_cell_check takes them, with room */
#define SHAPE_MOST 50.0
#define FAR_OFF 0.1 /* V: said */
#define KNOWN 0.7   /* sd of a logarithm: a factor of two either way */

enum { R1, TAU1, R2, TAU2, FIXED, MOST = FIXED + AMP_R_KNOTS };

/* One row as the search needs it. */
typedef struct row {
  double dt, i, v, u; /* s, A, V measured, V open circuit */
  double warm;        /* 1/T - 1/T_REF, 1/K */
  double weight;      /* 1/V; 0: row not taken */
  double share;       /* of the knot above */
  int knot, log;      /* knot below; log that begins here, or -1 */
  int block;          /* its error hangs together with theirs of this one */
} row;

typedef struct simple {
  row *rows;                        /* those of the logs near 25 C first */
  size_t room, n[2];                /* [0] near 25 C, [1] all */
  size_t taken[2];                  /* of them with a weight */
  size_t knots, place[AMP_R_KNOTS]; /* parameter of each knot */
  bool used[AMP_R_KNOTS];           /* own parameter, or a neighbour's */
  bool pulse;                       /* seen in the log at hand */
  double longest;                   /* s under one current */
  double activation;                /* K */
  int blocks;                       /* of rows, so far */
  int few;                          /* blocks, where they are too few */
  const double *p; /* held while the activation is searched for */
} simple;

/* ---- rows ---- */

/* Rows at times that grow from AFTER_EDGE after each step of the current. */
typedef struct chooser {
  double since, next; /* s */
  double settled;     /* s at rest so far; INFINITY: long enough, once */
} chooser;

static bool choose (chooser *c, const amp_test_log *log, size_t k,
                    double idle) {
  const double *i = log->column[AMP_LOG_CURRENT];
  double dt = log->time[k] - log->time[k - 1];
  double step = fabs(i[k] - i[k - 1]);
  if (step > fmax(2.0 * idle, STEP_LEAST * fabs(i[k])))
    *c = (chooser){0.0, AFTER_EDGE, c->settled};
  c->since += dt;
  c->settled = fabs(i[k]) <= idle ? c->settled + dt
                                  : (c->settled >= SETTLED ? INFINITY : 0.0);
  if (!(c->settled >= SETTLED) || c->since < c->next)
    return false;
  c->next = NEXT_ROW * c->since;
  return true;
}

static double row_weight (const amp_chemistry *chem, double soc,
                          const row *r) {
  double loss = SIGMA_SHARE * (r->v - r->u);
  double slip = SIGMA_SOC * amp_curve_slope(&chem->ocv, soc);
  return 1.0 / sqrt(SIGMA_V * SIGMA_V + loss * loss + slip * slip);
}

static void add_row (const amp_test_log *log, size_t k, double soc,
                     double temp, const amp_fit *fit, row *r) {
  double at = fmin(fmax(soc, 0.0), 1.0) * (AMP_R_KNOTS - 1);
  r->dt = log->time[k] - log->time[k - 1];
  r->i = log->column[AMP_LOG_CURRENT][k];
  r->v = log->column[AMP_LOG_VOLTAGE][k];
  r->u = amp_chemistry_ocv(&fit->chemistry, soc);
  r->warm = 1.0 / temp - 1.0 / T_REF;
  r->knot = at < AMP_R_KNOTS - 1 ? (int)at : AMP_R_KNOTS - 2;
  r->share = at - r->knot;
}

/* All rows of log k. */
static void add_log (simple *s, const amp_fit_input *in, const amp_fit *fit,
                     int k) {
  const amp_test_log *log = in->pulse[k];
  const double *i = log->column[AMP_LOG_CURRENT];
  const double *temp = log->column[AMP_LOG_TEMP];
  double idle = amp_fit_idle(in->capacity), q = 0.0;
  chooser c = {0.0, AFTER_EDGE, fabs(i[0]) <= idle ? SETTLED : 0.0};
  amp_fit_block block = {.n = s->blocks};
  for (size_t j = 1; j < log->n; j++) {
    row *r = &s->rows[s->n[1]++];
    amp_fit_next_block(&block, i[j], log->time[j] - log->time[j - 1], idle);
    r->block = block.n;
    q += i[j] * (log->time[j] - log->time[j - 1]);
    double soc = fit->soc_at[k] - q / fit->capacity_at[k];
    add_row(log, j, soc, temp != NULL ? temp[j] : fit->temp_at[k], fit, r);
    r->log = j == 1 ? k : -1;
    r->weight = 0.0;
    if (choose(&c, log, j, idle)) {
      bool load = fabs(r->i) > idle;
      r->weight =
          row_weight(&fit->chemistry, soc, r) * (load ? 1.0 : AT_REST);
      s->longest = load ? fmax(s->longest, c.since) : s->longest;
      s->taken[1]++;
    }
    if (fabs(i[j] - i[j - 1]) > 10.0 * idle && r->dt <= 10.0)
      s->pulse = true;
  }
  s->blocks = block.n + 1;
}

/* ---- residuals ---- */

/* R at the row's charge and temperature from the logarithms at the knots. */
static double row_ohm (const simple *s, const double *p, const row *r) {
  double a = amp_exp(p[s->place[r->knot]]);
  double b = amp_exp(p[s->place[r->knot + 1]]);
  return (a + r->share * (b - a)) * amp_exp(s->activation * r->warm);
}

typedef struct pair {
  double r, tau, v, dt, gone;
} pair;

static void step_pair (pair *p, double i, double dt) {
  if (dt != p->dt) {
    p->dt = dt;
    p->gone = -amp_expm1(-dt / p->tau);
  }
  p->v += (i * p->r - p->v) * p->gone;
}

/* Residuals of the rows taken until there are m of them. */
static void run_rows (const simple *s, const double *p, double *out,
                      size_t m) {
  pair a = {amp_exp(p[R1]), amp_exp(p[TAU1]), 0, -1, 0};
  pair b = {amp_exp(p[R2]), amp_exp(p[TAU2]), 0, -1, 0};
  size_t at = 0;
  for (size_t k = 0; at < m; k++) {
    const row *r = &s->rows[k];
    if (r->log >= 0)
      a.v = b.v = 0.0;
    step_pair(&a, r->i, r->dt);
    step_pair(&b, r->i, r->dt);
    if (r->weight > 0.0)
      out[at++] =
          r->weight * (r->v - r->u + r->i * row_ohm(s, p, r) + a.v + b.v);
  }
}

/* The rows, and that the resistance is not known to leap between knots. */
static amp_status shape_residuals (void *arg, const double *p, size_t n,
                                   double *out, size_t m) {
  size_t leaps = n - FIXED - 1, rows = m - leaps;
  run_rows(arg, p, out, rows);
  for (size_t k = 0; k < leaps; k++)
    out[rows + k] = (p[FIXED + k + 1] - p[FIXED + k]) / LEAP;
  return AMP_OK;
}

static amp_status warm_residuals (void *arg, const double *p, size_t n,
                                  double *out, size_t m) {
  simple *s = arg;
  (void)n;
  s->activation = 1000.0 * p[0];
  run_rows(s, s->p, out, m);
  return AMP_OK;
}

/* ---- parameters ---- */

/* Knots with rows under current become parameters; each other one is that
** of the nearest. */
static size_t place_knots (simple *s, double idle) {
  int rows[AMP_R_KNOTS] = {0};
  size_t n = FIXED;
  for (size_t k = 0; k < s->n[0]; k++) {
    const row *r = &s->rows[k];
    if (r->weight > 0.0 && fabs(r->i) > idle)
      rows[r->share < 0.5 ? r->knot : r->knot + 1]++;
  }
  s->knots = 0;
  for (int k = 0; k < AMP_R_KNOTS; k++) {
    s->used[k] = rows[k] >= KNOT_ROWS;
    if (s->used[k]) {
      s->place[k] = n++;
      s->knots++;
    }
  }
  for (int k = 0; k < AMP_R_KNOTS && s->knots > 0; k++) {
    int near = 1;
    while (!s->used[k] && near < AMP_R_KNOTS) {
      if (k - near >= 0 && s->used[k - near]) {
        s->place[k] = s->place[k - near];
        break;
      }
      if (k + near < AMP_R_KNOTS && s->used[k + near]) {
        s->place[k] = s->place[k + near];
        break;
      }
      near++;
    }
  }
  return n;
}

/* Start: the first sample of the steps, half of it in each pair. */
static void start_values (double edge, double longest, size_t n, double *p,
                          double *lo, double *hi) {
  double r = amp_log(edge);
  const double tau_lo[2] = {TAU_LEAST, TAU_PARTS};
  const double tau_hi[2] = {TAU_PARTS, fmax(60.0, longest / SETTLES)};
  for (size_t k = 0; k < n; k++) {
    p[k] = k < FIXED ? r - 0.7 : r;
    lo[k] = r - (k < FIXED ? 7.0 : 3.0);
    hi[k] = r + 3.0;
  }
  for (int k = 0; k < 2; k++) {
    size_t at = k == 0 ? TAU1 : TAU2;
    lo[at] = amp_log(tau_lo[k]);
    hi[at] = amp_log(tau_hi[k]);
    p[at] = 0.5 * (lo[at] + hi[at]);
  }
}

/* ---- what comes out ---- */

/* A deviation on a bound, or of more than half the value, says nothing. */
static double known_sd (double sd) {
  return sd < KNOWN ? sd : INFINITY;
}

static void report_resistance (const simple *s, const double *sd,
                               const amp_cell *cell, amp_fit *fit) {
  int missing = 0, first = 0;
  for (int k = 0; k < AMP_R_KNOTS; k++) {
    double r = cell->r0 * cell->r0_shape[k];
    double d = s->used[k] ? known_sd(sd[s->place[k]]) : INFINITY;
    amp_fit_add(fit, "r0", "ohm", 0.1 * k, r, d * r);
    if (!isfinite(d))
      first = missing++ == 0 ? 10 * k : first;
  }
  if (missing == 1)
    amp_fit_warn(fit,
                 "r0 at %d %% is not determined: its neighbour's is"
                 " taken",
                 first);
  else if (missing > 1)
    amp_fit_warn(fit,
                 "r0 is not determined at %d of 11 states of charge"
                 " (from %d %%): their neighbours' is taken",
                 missing, first);
}

static void report_pairs (const double *sd, const amp_cell *cell,
                          amp_fit *fit) {
  const struct {
    const char *name, *unit;
    double value;
    int at;
  } row[] = {{"r1", "ohm", cell->r1, R1},
             {"tau1", "s", cell->tau1, TAU1},
             {"r2", "ohm", cell->r2, R2},
             {"tau2", "s", cell->tau2, TAU2}};
  for (size_t k = 0; k < sizeof row / sizeof *row; k++) {
    double d = known_sd(sd[row[k].at]);
    amp_fit_add(fit, row[k].name, row[k].unit, __builtin_nan(""),
                row[k].value, d * row[k].value);
    if (!isfinite(d))
      amp_fit_warn(fit, "%s is not determined by the logs (%g %s is used)",
                   row[k].name, amp_fit_round(row[k].value), row[k].unit);
  }
}

static void report_warm (bool searched, double sd, const amp_cell *cell,
                         amp_fit *fit) {
  double d = searched && isfinite(sd) ? 1000.0 * sd : INFINITY;
  amp_fit_add(fit, "activation", "K", __builtin_nan(""), cell->r0_activation,
              d);
  if (!searched)
    amp_fit_warn(fit,
                 "all pulse logs are at about one temperature: the"
                 " activation of r0 is not determined, %g K of another"
                 " cell is taken",
                 amp_fit_round(cell->r0_activation));
  else if (!isfinite(d))
    amp_fit_warn(fit, "the activation of r0 ended on its bound, %g K",
                 cell->r0_activation);
}

/* The log nearest 25 C. */
static int reference_log (const amp_fit_input *in, const amp_fit *fit) {
  int best = 0;
  for (int k = 1; k < in->pulses; k++)
    if (fabs(fit->temp_at[k] - T_REF) < fabs(fit->temp_at[best] - T_REF))
      best = k;
  return best;
}

static void set_cell (const simple *s, const double *p,
                      const amp_fit_input *in, amp_fit *fit) {
  amp_cell *c = &fit->simple;
  *c = amp_cell_defaults();
  c->capacity = fit->capacity_at[reference_log(in, fit)];
  c->mass = in->mass;
  c->r0 = amp_exp(p[s->place[5]]);
  for (int k = 0; k < AMP_R_KNOTS; k++)
    c->r0_shape[k] =
        fmin(fmax(amp_exp(p[s->place[k]]) / c->r0, SHAPE_LEAST), SHAPE_MOST);
  c->r1 = amp_exp(p[R1]);
  c->tau1 = amp_exp(p[TAU1]);
  c->r2 = amp_exp(p[R2]);
  c->tau2 = amp_exp(p[TAU2]);
  c->r0_activation = s->activation;
}

/* ---- how well it agrees ---- */

/* Error of the voltage over log k, time-weighted root mean square and
** largest, the first 0.9 s after steps left out. */
static amp_status agree (const amp_context *ctx, const amp_fit_input *in,
                         int k, amp_fit *fit, amp_error *err) {
  const amp_test_log *log = in->pulse[k];
  const double *v = log->column[AMP_LOG_VOLTAGE];
  double sum = 0.0, time = 0.0, worst = 0.0, idle;
  chooser c = {0.0, AFTER_EDGE, INFINITY};
  size_t done, size = log->n * sizeof(double);
  double *got = amp_alloc(ctx, size);
  amp_status st;
  if (got == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)log->n, 0, 0);
  idle = amp_fit_idle(in->capacity);
  st = amp_fit_replay(
      ctx, fit, false, log, fit->capacity_at[k], fit->soc_at[k],
      log->column[AMP_LOG_TEMP] != NULL ? __builtin_nan("") : fit->temp_at[k],
      got, NULL, NULL, NULL, &done, err);
  for (size_t j = 1; j < done && st == AMP_OK; j++) {
    double dt = log->time[j] - log->time[j - 1], e = got[j] - v[j];
    choose(&c, log, j, idle);
    if (c.since < AFTER_EDGE)
      continue;
    sum += e * e * dt;
    time += dt;
    worst = fmax(worst, fabs(e));
  }
  fit->rms_simple[k] = time > 0.0 ? sqrt(sum / time) : __builtin_nan("");
  fit->worst_simple[k] = worst;
  if (!(fit->rms_simple[k] < FAR_OFF))
    amp_fit_warn(fit,
                 "%s: the simple model is %g mV off on the average: is it of"
                 " this cell, and its temperature right?",
                 in->pulse_name[k] != NULL ? in->pulse_name[k] : "pulse log",
                 amp_fit_round(1000.0 * fit->rms_simple[k]));
  amp_free(ctx, got, size);
  return st;
}

/* ---- the call ---- */

/* Which of m residuals hang together: those of rows, then beliefs. */
static void name_blocks (const simple *s, size_t rows, int *block, size_t m) {
  size_t at = 0;
  for (size_t k = 0; at < rows; k++)
    if (s->rows[k].weight > 0.0)
      block[at++] = s->rows[k].block;
  while (at < m)
    block[at++] = AMP_LEAST_BELIEF;
}

/* Deviations at p in place of 'sd', those of independent residuals: by the
** blocks, unless they are few, and by the correlation of neighbours,
** whichever is more. */
static amp_status widen (const amp_context *ctx, simple *s, amp_residuals *f,
                         const double *p, size_t n, size_t rows, size_t m,
                         amp_least_options opt, int *block, double *r,
                         double *sd, amp_error *err) {
  double q[MOST], wide[MOST], times;
  amp_least_result got;
  amp_status st;
  memcpy(q, p, n * sizeof *q);
  name_blocks(s, rows, block, m);
  opt.block = block;
  if ((st = amp_least(ctx, f, s, q, n, m, &opt, wide, NULL, &got, err)) !=
          AMP_OK ||
      (st = f(s, p, n, r, m)) != AMP_OK)
    return st;
  times = amp_fit_neighbours(r, rows);
  s->few = got.bounded ? got.blocks : s->few;
  for (size_t k = 0; k < n; k++)
    sd[k] = isfinite(wide[k]) && !got.bounded ? fmax(times * sd[k], wide[k])
                                              : times * sd[k];
  return AMP_OK;
}

/* Least squares over 'rows' rows and m - rows beliefs. */
static amp_status search (const amp_context *ctx, simple *s, amp_residuals *f,
                          double *p, size_t n, size_t rows, size_t m,
                          const amp_least_options *opt, double *sd,
                          amp_error *err) {
  size_t size = m * (sizeof(double) + sizeof(int));
  double *r = amp_alloc(ctx, size);
  amp_status st;
  if (r == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)m, 0, 0);
  st = amp_least(ctx, f, s, p, n, m, opt, sd, NULL, NULL, err);
  if (st == AMP_OK)
    st = widen(ctx, s, f, p, n, rows, m, *opt, (int *)(r + m), r, sd, err);
  amp_free(ctx, r, size);
  return st;
}

/* Resistance and pairs over the rows near 25 C, the activation held. */
static amp_status search_shape (const amp_context *ctx, simple *s, double *p,
                                size_t n, const amp_least_options *opt,
                                double *sd, amp_error *err) {
  size_t rows = s->taken[0];
  return search(ctx, s, shape_residuals, p, n, rows, rows + n - FIXED - 1,
                opt, sd, err);
}

/* The activation over all rows, the rest held. */
static amp_status search_warm (const amp_context *ctx, simple *s,
                               const double *p, double *sd, amp_error *err) {
  const double lo = 0.0, hi = 8.0, scale = 1.0;
  amp_least_options opt = {
      .lo = &lo, .hi = &hi, .scale = &scale, .doubt = 1.0};
  double b = 1e-3 * s->activation;
  amp_status st;
  s->p = p;
  st = search(ctx, s, warm_residuals, &b, 1, s->taken[1], s->taken[1], &opt,
              sd, err);
  s->activation = 1000.0 * b;
  return st;
}

/* Two rounds: the rows near 25 C know a little of the activation too. */
static amp_status search_cell (const amp_context *ctx, simple *s,
                               const amp_fit_input *in, double edge,
                               amp_fit *fit, amp_error *err) {
  double p[MOST], lo[MOST], hi[MOST], sd[MOST], scale[MOST], sd_warm = 0.0;
  size_t n = place_knots(s, amp_fit_idle(in->capacity));
  amp_least_options opt = {.lo = lo, .hi = hi, .scale = scale, .doubt = 1.0};
  bool warm = s->n[1] > s->n[0];
  amp_status st = AMP_OK;
  if (s->knots == 0 || s->taken[0] < n)
    return amp_failf(err, AMP_EDATA, "pulses",
                     "the pulse logs hold too few rows under current after"
                     " a rest");
  start_values(edge, s->longest, n, p, lo, hi);
  for (size_t k = 0; k < n; k++)
    scale[k] = 1.0;
  for (int round = 0; round < (warm ? 2 : 1) && st == AMP_OK; round++) {
    st = search_shape(ctx, s, p, n, &opt, sd, err);
    if (st == AMP_OK && warm)
      st = search_warm(ctx, s, p, &sd_warm, err);
  }
  if (st != AMP_OK)
    return st;
  set_cell(s, p, in, fit);
  if (s->few > 0)
    amp_fit_warn_of_blocks(fit, "simple", s->few,
                           "its deviations go by neighbouring rows alone");
  report_resistance(s, sd, &fit->simple, fit);
  report_pairs(sd, &fit->simple, fit);
  report_warm(warm, sd_warm, &fit->simple, fit);
  return AMP_OK;
}

static amp_status first_edge (const amp_context *ctx, const amp_fit_input *in,
                              int k, double *edge, amp_error *err) {
  double idle = amp_fit_idle(in->capacity);
  amp_fit_run *run;
  size_t runs;
  amp_status st = amp_fit_runs(ctx, in->pulse[k], idle, &run, &runs, err);
  if (st != AMP_OK)
    return st;
  *edge = amp_fit_edge(in->pulse[k], run, runs, idle);
  amp_free(ctx, run, runs * sizeof *run);
  if (!(*edge > 1e-6)) /* slow rows, or none: 5 % of 4 V at 1C */
    *edge = 0.2 * 3600.0 / in->capacity;
  return AMP_OK;
}

static amp_status gather_log (const amp_fit_input *in, const amp_fit *fit,
                              int k, simple *s, amp_error *err) {
  s->pulse = false;
  add_log(s, in, fit, k);
  if (s->pulse)
    return AMP_OK;
  amp_failf(err, AMP_EDATA, "pulses",
            "the log holds no pulse: no step of the current of a twentieth"
            " of the capacity an hour within 10 s");
  if (err != NULL)
    err->line = (size_t)k + 1;
  return AMP_EDATA;
}

/* Logs near the reference's temperature first, then the others. */
static amp_status gather (const amp_fit_input *in, const amp_fit *fit,
                          simple *s, amp_error *err) {
  double at = fit->temp_at[reference_log(in, fit)];
  amp_status st = AMP_OK;
  s->activation = amp_cell_from_r10s(1.0, 1.0).r0_activation;
  for (int far = 0; far < 2; far++) {
    for (int k = 0; k < in->pulses && st == AMP_OK; k++)
      if ((fabs(fit->temp_at[k] - at) >= WARM_SPAN) == (far == 1))
        st = gather_log(in, fit, k, s, err);
    if (far == 0) {
      s->n[0] = s->n[1];
      s->taken[0] = s->taken[1];
    }
  }
  return st;
}

amp_status amp_fit_simple (const amp_context *ctx, const amp_fit_input *in,
                           amp_fit *out, amp_error *err) {
  simple s;
  double edge = 0.0;
  amp_status st;
  memset(&s, 0, sizeof s);
  if (in->pulses < 1)
    return amp_failf(err, AMP_EMISSING, "pulses", "no pulse log is given");
  for (int k = 0; k < in->pulses; k++)
    s.room += in->pulse[k]->n;
  if ((s.rows = amp_alloc(ctx, s.room * sizeof *s.rows)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)s.room, 0, 0);
  st = gather(in, out, &s, err);
  if (st == AMP_OK)
    st = first_edge(ctx, in, reference_log(in, out), &edge, err);
  if (st == AMP_OK)
    st = search_cell(ctx, &s, in, edge, out, err);
  amp_free(ctx, s.rows, s.room * sizeof *s.rows);
  for (int k = 0; k < in->pulses && st == AMP_OK; k++)
    st = agree(ctx, in, k, out, err);
  return st;
}
