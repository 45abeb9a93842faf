/*
** fit_detailed.c -- parameters of the detailed cell from pulses, discharges
** and rests at one or several temperatures: least squares over the model's
** own steps, held smooth in charge and in 1/T by what is believed of such
** cells beforehand. Method and every number below: docs/model/detailed.md.
*/
#include "base/elementary.h"
#include "base/least.h"
#include "base/sample.h"
#include "cell/fit_detail.h"
#include <math.h>
#include <string.h>

enum {
  SOCS = 14,           /* knots of the tables */
  CURVE = 26,          /* knots of the curve's correction */
  EACH = 3 * SOCS + 1, /* parameters a temperature */
  MOST = AMP_DETAIL_TEMP * EACH + CURVE + 1,
  R0 = 0,
  I0 = 1,
  TAU_D = 2 /* tables */
};

static const double soc_knot[SOCS] = {0.01, 0.03, 0.06, 0.1, 0.15, 0.2, 0.3,
                                      0.4,  0.5,  0.6,  0.7, 0.8,  0.9, 1.0};
static const double curve_knot[CURVE] = {
    0.0,  0.01, 0.02, 0.035, 0.05, 0.075, 0.1,  0.125, 0.15,
    0.2,  0.25, 0.3,  0.35,  0.4,  0.45,  0.5,  0.55,  0.6,
    0.65, 0.7,  0.75, 0.8,   0.85, 0.9,   0.95, 1.0};

/* Believed beforehand. ln unless a unit stands. */
#define BEND_SOC 0.02   /* bend over 10 % SoC, of r0 and tau_d */
#define BEND_I0 0.01    /* of i0, about sqrt(z (1 - z)) */
#define BEND_TEMP 0.02  /* off the line in 1/T, of r0 and i0 */
#define BEND_TAU_D 0.03 /* of tau_d */
#define BEND_SLOW 0.3   /* of the slow pair */
#define STEP_TAU_D 1.7  /* from knot to knot */
#define LEVEL 2.0       /* i0 and tau_d about their start */
#define LEVEL_SLOW 1.5
#define CURVE_OFF 0.010  /* V, the curve in use about the one at rest */
#define CURVE_BEND 0.010 /* V, its second difference */
#define CURVE_LOW 2.0    /* times both below 10 % SoC */
#define OUTLIER 10.0     /* sigma, beyond which a residual counts less */
#define TAU_SLOW 40.0    /* s */
/* Between one sphere (0), of which pulses of 6C want less, and none of the
** faster modes (1). */
#define BLUNT 0.5
/* SoC: below empty the curve goes on as steeply as over this stretch */
#define END_SLOPE 0.1
#define ONE_TEMP 3000.0   /* K, activation where all logs are alike warm */
#define SAME_TEMP 3.0     /* K, logs this close count as one temperature */
#define REACH 8.0         /* K, core above the surface's warmest */
#define REST_LEAST 1500.0 /* s: a rest that tells the charge */
#define NEARLY_FULL 0.95  /* SoC */
#define STEEP_LEAST 0.3   /* V per unit SoC: flatter says nothing */
#define MOST_BELOW 0.03   /* SoC */
#define TOLD 1.0          /* ln: a deviation above this says nothing */

/* K: least and most activation that is carried on beyond the tests, and
** the least and most believed in between (weakly). */
static const double activation[3][2] = {
    {0.0, 4500.0}, {2000.0, 9500.0}, {0.0, 6000.0}};

typedef struct cache {
  double key[2][MOST];
  double *residual[2];
  bool have[2];
} cache;

typedef struct job {
  const amp_context *ctx;
  amp_fit *fit;
  int logs, temps;
  amp_stretches log[AMP_FIT_LOGS];
  size_t room[AMP_FIT_LOGS];
  bool touches[AMP_FIT_LOGS][AMP_DETAIL_TEMP];
  cache cache[AMP_FIT_LOGS];
  amp_detailed base;  /* heat and dU/dT, temperatures, knots */
  amp_chemistry chem; /* the curve at rest */
  double start[MOST];
  size_t n, curve_at, ct_at; /* places in p */
  size_t rows, priors;
  int *block;      /* rows + priors */
  double widening; /* of the deviations, as their blocks show it */
} job;

static size_t place (int t, int table, int k) {
  return (size_t)(t * EACH + table * SOCS + k);
}

static size_t place_slow (int t) {
  return (size_t)(t * EACH + 3 * SOCS);
}

/* ---- parameters into a cell ---- */

static double correction (const double *at, double soc) {
  int k = 0;
  while (k < CURVE - 2 && soc >= curve_knot[k + 1])
    k++;
  return at[k] + (at[k + 1] - at[k]) * (soc - curve_knot[k]) /
                     (curve_knot[k + 1] - curve_knot[k]);
}

static amp_status corrected (const job *j, const double *p, amp_curve *out) {
  const amp_curve *rest = &j->chem.ocv;
  double y[AMP_CURVE_MAX];
  amp_status st;
  for (int k = 0; k < rest->n; k++) {
    y[k] = rest->y[k] + correction(p + j->curve_at, rest->x[k]);
    if (k > 0)
      y[k] = fmax(y[k], y[k - 1] + 1e-5);
  }
  st = amp_curve_make(rest->x, y, rest->n, AMP_INTERP_MONOTONE, out, NULL);
  if (st == AMP_OK)
    out->m[0] =
        fmin(out->m[0], (amp_curve_at(out, END_SLOPE) - y[0]) / END_SLOPE);
  return st;
}

static void into_cell (const job *j, const double *p, amp_detailed *c) {
  *c = j->base;
  for (int t = 0; t < j->temps; t++) {
    for (int k = 0; k < SOCS; k++) {
      c->ln_r0[t][k] = p[place(t, R0, k)];
      c->ln_i0[t][k] = p[place(t, I0, k)];
      c->ln_tau_d[t][k] = p[place(t, TAU_D, k)];
    }
    c->ln_slow[0][t] = p[place_slow(t)];
  }
  c->tau_ct = amp_exp(p[j->ct_at]);
}

/* ---- residuals ---- */

/* Quadratic up to OUTLIER sigma, then as its root (Huber). */
static double tamed (double x) {
  double size = fabs(x);
  if (!(size > OUTLIER))
    return x;
  return copysign(sqrt(2.0 * OUTLIER * size - OUTLIER * OUTLIER), x);
}

/* The model along one log; where it cannot go on, nothing is compared. */
static void run_log (const job *j, int l, const amp_detailed *cell,
                     const amp_chemistry *chem, double *out) {
  const amp_stretches *log = &j->log[l];
  amp_detailed c = *cell;
  amp_detailed_state st = amp_detailed_rest(log->soc, log->start);
  amp_detailed_out step;
  size_t at = 0;
  c.capacity = log->capacity;
  for (size_t k = 0; k < log->n; k++) {
    const amp_stretch *s = &log->at[k];
    if (amp_detailed_step(&c, chem, &st, AMP_HOLD_CURRENT, s->i, s->dt,
                          log->ambient, &step, NULL) != AMP_OK)
      break;
    if (s->sigma > 0.0) {
      double v = s->of_mean ? step.v_mean : step.v_end;
      double of = s->of_mean ? s->v_mean : s->v;
      out[at++] = tamed((v - of) / s->sigma);
    }
  }
  while (at < log->compared)
    out[at++] = 0.0;
}

static bool concerns (const job *j, int l, size_t i) {
  if (i < j->curve_at)
    return j->touches[l][i / EACH];
  return true;
}

/* How many of the parameters that concern log l differ from a key's. */
static int differing (const job *j, int l, const double *p, int slot) {
  int n = 0;
  for (size_t i = 0; i < j->n; i++)
    n += concerns(j, l, i) && p[i] != j->cache[l].key[slot][i] ? 1 : 0;
  return n;
}

/*
** Residuals of log l. Differences for the Jacobian change one parameter at
** a time, and most do not concern most logs: what stands in the cache's
** first place is kept for them, a single change goes into its second.
*/
static const double *log_residuals (job *j, int l, const double *p,
                                    const amp_detailed *cell,
                                    const amp_chemistry *chem) {
  cache *c = &j->cache[l];
  int off = c->have[0] ? differing(j, l, p, 0) : (int)j->n;
  int slot = off == 1 ? 1 : 0;
  if (off == 0)
    return c->residual[0];
  if (slot == 1 && c->have[1] && differing(j, l, p, 1) == 0)
    return c->residual[1];
  run_log(j, l, cell, chem, c->residual[slot]);
  memcpy(c->key[slot], p, j->n * sizeof *p);
  c->have[slot] = true;
  return c->residual[slot];
}

/* ---- what is believed beforehand, as residuals ---- */

/* ln of the exchange current's shape over a particle, sqrt(z (1 - z)). */
static double exchange_shape (double soc) {
  double z = fmin(fmax(soc, 0.01), 0.97);
  return 0.5 * amp_log(z * (1.0 - z));
}

static size_t believe_soc (const double *p, int t, double *r) {
  size_t n = 0;
  for (int k = 1; k + 1 < SOCS; k++) {
    double h1 = soc_knot[k] - soc_knot[k - 1];
    double h2 = soc_knot[k + 1] - soc_knot[k], mean = 0.5 * (h1 + h2);
    double scale = 0.02 * sqrt(mean / 0.1); /* of a bend in slope */
    for (int table = R0; table <= TAU_D; table++) {
      const double *v = p + place(t, table, k);
      double a = v[0] - v[-1], b = v[1] - v[0];
      if (table == I0) {
        double here = exchange_shape(soc_knot[k]);
        a -= here - exchange_shape(soc_knot[k - 1]);
        b -= exchange_shape(soc_knot[k + 1]) - here;
      }
      r[n++] = (b / h2 - a / h1) * scale / (table == I0 ? BEND_I0 : BEND_SOC);
    }
  }
  for (int k = 1; k < SOCS; k++)
    r[n++] = (p[place(t, TAU_D, k)] - p[place(t, TAU_D, k - 1)]) / STEP_TAU_D;
  return n;
}

/* Off the line in 1/T through both neighbours. */
static double bend (const job *j, const double *p, int t, size_t at) {
  double a = 1.0 / j->base.temp[t - 1], b = 1.0 / j->base.temp[t];
  double c = 1.0 / j->base.temp[t + 1], w = (b - a) / (c - a);
  return p[at] - p[at - EACH] - w * (p[at + EACH] - p[at - EACH]);
}

static size_t believe_temp (const job *j, const double *p, double *r) {
  static const double width[3] = {BEND_TEMP, BEND_TEMP, BEND_TAU_D};
  size_t n = 0;
  for (int t = 1; t + 1 < j->temps; t++) {
    for (int table = R0; table <= TAU_D; table++)
      for (int k = 0; k < SOCS; k++)
        r[n++] = bend(j, p, t, place(t, table, k)) / width[table];
    r[n++] = bend(j, p, t, place_slow(t)) / BEND_SLOW;
  }
  for (int t = 0; t + 1 < j->temps; t++)
    for (int table = R0; table <= TAU_D; table++)
      for (int k = 0; k < SOCS; k++) {
        double rise = 1.0 / j->base.temp[t] - 1.0 / j->base.temp[t + 1];
        double per = (p[place(t, table, k)] - p[place(t + 1, table, k)]) /
                     rise * (table == I0 ? -1.0 : 1.0);
        const double *a = activation[table];
        r[n++] = (per - 0.5 * (a[0] + a[1])) / (a[1] - a[0]);
      }
  return n;
}

static size_t believe_rest (const job *j, const double *p, double *r) {
  const double *u = p + j->curve_at;
  size_t n = 0;
  for (int t = 0; t < j->temps; t++) {
    size_t i0 = place(t, I0, SOCS / 2), tau = place(t, TAU_D, SOCS / 2);
    size_t slow = place_slow(t);
    r[n++] = (p[i0] - j->start[i0]) / LEVEL;
    r[n++] = (p[tau] - j->start[tau]) / LEVEL;
    r[n++] = (p[slow] - j->start[slow]) / LEVEL_SLOW;
  }
  for (int k = 0; k < CURVE; k++) {
    bool low = curve_knot[k] < 0.1; /* steep: SoC counts, not volts */
    r[n++] = u[k] / (low ? CURVE_LOW * CURVE_OFF : CURVE_OFF);
    if (k > 0 && k + 1 < CURVE)
      r[n++] = (u[k + 1] - 2.0 * u[k] + u[k - 1]) /
               (low ? CURVE_LOW * CURVE_BEND : CURVE_BEND);
  }
  r[n++] = (p[j->ct_at] - j->start[j->ct_at]) / LEVEL;
  return n;
}

static size_t believe (const job *j, const double *p, double *r) {
  size_t n = 0;
  for (int t = 0; t < j->temps; t++)
    n += believe_soc(p, t, r + n);
  n += believe_temp(j, p, r + n);
  return n + believe_rest(j, p, r + n);
}

static amp_status residuals (void *arg, const double *p, size_t n, double *r,
                             size_t m) {
  job *j = arg;
  amp_chemistry chem = j->chem;
  amp_detailed cell;
  size_t at = 0;
  (void)n;
  if (amp_stopped(j->ctx))
    return AMP_ESTOP;
  if (corrected(j, p, &chem.ocv) != AMP_OK) {
    for (size_t k = 0; k < m; k++)
      r[k] = INFINITY; /* a bad point, not the end */
    return AMP_OK;
  }
  into_cell(j, p, &cell);
  for (int l = 0; l < j->logs; l++) {
    memcpy(r + at, log_residuals(j, l, p, &cell, &chem),
           j->log[l].compared * sizeof *r);
    at += j->log[l].compared;
  }
  believe(j, p, r + at);
  return AMP_OK;
}

/* ---- the start ---- */

/* Temperatures of the table: those of the logs, close ones as one. */
static void find_temps (job *j) {
  double t[AMP_FIT_LOGS];
  int n = 0;
  for (int l = 0; l < j->logs; l++)
    t[l] = j->log[l].ambient;
  amp_sort(t, (size_t)j->logs);
  for (int l = 0; l < j->logs; l++)
    if (n == 0 || t[l] - j->base.temp[n - 1] > SAME_TEMP) {
      if (n < AMP_DETAIL_TEMP)
        j->base.temp[n++] = t[l];
    }
  j->temps = j->base.temps = n;
}

/* Tables a log's temperatures can reach: the knots on either side. */
static void find_touched (job *j) {
  for (int l = 0; l < j->logs; l++) {
    double lo = j->log[l].ambient - SAME_TEMP;
    double hi = j->log[l].warmest + REACH; /* NaN: all */
    for (int t = 0; t < j->temps; t++) {
      bool below = t + 1 < j->temps && j->base.temp[t + 1] < lo;
      bool above = t > 0 && j->base.temp[t - 1] > hi;
      j->touches[l][t] = !below && !above;
    }
  }
}

/* A 2.9 Ah cell's: 1 A, 4000 s, 10 mohm at 25 C, by capacity; resistance
** from the steps of the log nearest in temperature. */
static void start_values (job *j, double edge, double capacity) {
  double size = amp_log(capacity / (2.9 * 3600.0));
  for (int t = 0; t < j->temps; t++) {
    double cold = 1.0 / j->base.temp[t] - 1.0 / 298.15;
    for (int k = 0; k < SOCS; k++) {
      j->start[place(t, R0, k)] = amp_log(edge) + 2000.0 * cold;
      j->start[place(t, I0, k)] = size - 6000.0 * cold +
                                  exchange_shape(soc_knot[k]) -
                                  exchange_shape(0.5);
      j->start[place(t, TAU_D, k)] = amp_log(4000.0) + 3500.0 * cold;
    }
    j->start[place_slow(t)] = amp_log(0.01) - size + 3000.0 * cold;
  }
  j->start[j->ct_at] = amp_log(0.5);
}

/* Middle of the logs' own steps; they are of different temperatures, which
** the first iterations put right. */
static amp_status first_edge (const job *j, const amp_fit_input *in,
                              double *edge, amp_error *err) {
  double found[AMP_FIT_LOGS], idle = amp_fit_idle(in->capacity);
  int n = 0;
  for (int l = 0; l < j->logs; l++) {
    amp_fit_run *run;
    size_t runs;
    amp_status st =
        amp_fit_runs(j->ctx, in->pulse[l], idle, &run, &runs, err);
    if (st != AMP_OK)
      return st;
    found[n] = amp_fit_edge(in->pulse[l], run, runs, idle);
    n += found[n] > 0.0 ? 1 : 0;
    amp_free(j->ctx, run, runs * sizeof *run);
  }
  amp_sort(found, (size_t)n);
  *edge = n > 0 ? found[n / 2] : 0.1 * 3600.0 / in->capacity;
  return AMP_OK;
}

/* Voltage at the first row where the log begins full and at rest, else 0. */
static double full_voltage (const amp_fit_input *in, const amp_fit *fit,
                            int l) {
  const amp_test_log *log = in->pulse[l];
  bool rests =
      fabs(log->column[AMP_LOG_CURRENT][0]) <= amp_fit_idle(in->capacity);
  return rests && fit->soc_at[l] >= NEARLY_FULL
             ? log->column[AMP_LOG_VOLTAGE][0]
             : 0.0;
}

/* Charge given off up to a rest, mean over the rests, C. */
static double mean_of_rests (const amp_fit_input *in, int l) {
  const amp_test_log *log = in->pulse[l];
  double idle = amp_fit_idle(in->capacity), since = 0.0, charge = 0.0;
  double sum = 0.0;
  int n = 0;
  for (size_t k = 1; k < log->n; k++) {
    double dt = log->time[k] - log->time[k - 1];
    double i = log->column[AMP_LOG_CURRENT][k];
    bool rests = fabs(i) <= idle;
    if (!rests && since >= REST_LEAST) {
      sum += charge;
      n++;
    }
    since = rests ? since + dt : 0.0;
    charge += i * dt;
  }
  return n > 0 ? sum / n : 0.0;
}

/*
** "Full" is not alike in each log: a charge that ends early rests lower. The
** highest is full; the others begin below it by what their voltage says.
*/
static void level_starts (const amp_fit_input *in, amp_fit *fit) {
  double top = 0.0, slope, was[AMP_FIT_LOGS];
  const amp_curve *u = &fit->chemistry.ocv;
  slope = (amp_curve_at(u, 1.0) - amp_curve_at(u, NEARLY_FULL)) /
          (1.0 - NEARLY_FULL);
  for (int l = 0; l < in->pulses; l++)
    top = fmax(top, full_voltage(in, fit, l));
  for (int l = 0; l < in->pulses && slope > STEEP_LEAST; l++) {
    double v = full_voltage(in, fit, l);
    double below = v > 0.0 ? fmin((top - v) / slope, MOST_BELOW) : 0.0;
    double mean = mean_of_rests(in, l);
    was[l] = fit->capacity_at[l];
    fit->soc_at[l] -= below;
    if (in->pulse_capacity[l] == 0.0 && mean > 0.0)
      fit->capacity_at[l] /= 1.0 - below * fit->capacity_at[l] / mean;
  }
  for (int l = 0; l < in->pulses && slope > STEEP_LEAST; l++)
    for (int m = 0; m < in->pulses; m++) /* borrowed: from the mended one */
      if (fit->capacity_at[l] == was[m] && mean_of_rests(in, l) == 0.0)
        fit->capacity_at[l] = fit->capacity_at[m];
}

static amp_status gather (job *j, const amp_fit_input *in, amp_error *err) {
  bool heat = false;
  amp_status st = AMP_OK;
  level_starts(in, j->fit);
  for (int l = 0; l < in->pulses && st == AMP_OK; l++) {
    st = amp_stretch_cut(j->ctx, in->pulse[l], j->fit, l, in->capacity,
                         &j->log[l], &j->room[l], err);
    j->rows += j->log[l].compared;
  }
  if (st != AMP_OK)
    return st;
  find_temps(j);
  find_touched(j);
  st = amp_fit_heat(j->ctx, j->log, j->logs, in->mass, &j->base, j->fit,
                    &heat, err);
  if (st == AMP_OK && !heat)
    amp_fit_warn(j->fit, "no log's temperature rises enough to show the heat"
                         " of the cell: it is taken at its surroundings'");
  for (int l = 0; l < j->logs && st == AMP_OK; l++)
    for (int s = 0; s < 2 && st == AMP_OK; s++) {
      double **to = &j->cache[l].residual[s];
      *to = amp_alloc(j->ctx, j->log[l].compared * sizeof **to);
      if (*to == NULL)
        st = amp_fail(err, AMP_ENOMEM, "fit", (double)j->rows, 0, 0);
    }
  return st;
}

static void release (job *j) {
  amp_free(j->ctx, j->block, (j->rows + j->priors) * sizeof *j->block);
  for (int l = 0; l < j->logs; l++) {
    amp_free(j->ctx, j->log[l].at, j->room[l] * sizeof *j->log[l].at);
    for (int s = 0; s < 2; s++)
      amp_free(j->ctx, j->cache[l].residual[s],
               j->log[l].compared * sizeof(double));
  }
}

/* ---- the result ---- */

/*
** One more row of the table on either side, a typical winter and summer
** away, with what the tests show in between carried on no steeper (and no
** flatter) than 'activation'.
*/
static double carried (const amp_detailed *c, double table[][AMP_DETAIL_SOC],
                       int k, int from, int next, double temp,
                       const double *limit, double sign) {
  double a = sign * (table[from][k] - table[next][k]) /
             (1.0 / c->temp[from] - 1.0 / c->temp[next]);
  a = fmin(fmax(a, limit[0]), limit[1]);
  return table[from][k] + sign * a * (1.0 / temp - 1.0 / c->temp[from]);
}

static void carry_on (amp_detailed *c, int from, int next, int to,
                      double temp) {
  double slope;
  for (int k = 0; k < c->socs; k++) {
    c->ln_r0[to][k] =
        carried(c, c->ln_r0, k, from, next, temp, activation[R0], 1.0);
    c->ln_i0[to][k] =
        carried(c, c->ln_i0, k, from, next, temp, activation[I0], -1.0);
    c->ln_tau_d[to][k] =
        carried(c, c->ln_tau_d, k, from, next, temp, activation[TAU_D], 1.0);
  }
  slope = (c->ln_slow[0][from] - c->ln_slow[0][next]) /
          (1.0 / c->temp[from] - 1.0 / c->temp[next]);
  slope = fmin(fmax(slope, activation[TAU_D][0]), activation[TAU_D][1]);
  c->ln_slow[0][to] =
      c->ln_slow[0][from] + slope * (1.0 / temp - 1.0 / c->temp[from]);
}

static void widen (amp_detailed *c) {
  int n = c->temps;
  if (n < 2 || n + 2 > AMP_DETAIL_TEMP)
    return;
  carry_on(c, n - 1, n - 2, n, c->temp[n - 1] + 20.0);
  c->temp[n] = c->temp[n - 1] + 20.0;
  carry_on(c, 0, 1, n + 1, c->temp[0] - 20.0);
  for (int k = 0; k < SOCS; k++) {
    double r = c->ln_r0[n + 1][k], i = c->ln_i0[n + 1][k];
    double d = c->ln_tau_d[n + 1][k];
    for (int t = n + 1; t > 0; t--) {
      c->ln_r0[t][k] = c->ln_r0[t - 1][k];
      c->ln_i0[t][k] = c->ln_i0[t - 1][k];
      c->ln_tau_d[t][k] = c->ln_tau_d[t - 1][k];
    }
    c->ln_r0[0][k] = r;
    c->ln_i0[0][k] = i;
    c->ln_tau_d[0][k] = d;
  }
  double slow = c->ln_slow[0][n + 1], cold = c->temp[0] - 20.0;
  for (int t = n + 1; t > 0; t--) {
    c->ln_slow[0][t] = c->ln_slow[0][t - 1];
    c->temp[t] = c->temp[t - 1];
  }
  c->ln_slow[0][0] = slow;
  c->temp[0] = cold;
  c->temps = n + 2;
}

/* What the logs alone say of parameter i: its deviation if the others were
** known, in the parameter's unit, before widening. */
static double told (const job *j, const double *p, size_t i,
                    const amp_chemistry *chem, double *room) {
  double q[MOST], sum = 0.0, h = 1e-4;
  amp_detailed c;
  memcpy(q, p, j->n * sizeof *q);
  q[i] += h;
  into_cell(j, q, &c);
  for (int l = 0; l < j->logs; l++) {
    const double *was = j->cache[l].residual[0];
    if (!concerns(j, l, i))
      continue;
    run_log(j, l, &c, chem, room);
    for (size_t k = 0; k < j->log[l].compared; k++) {
      double d = (room[k] - was[k]) / h;
      sum += d * d;
    }
  }
  return sum > 0.0 ? 1.0 / sqrt(sum) : INFINITY;
}

static void report_one (job *j, const double *p, const double *sd, size_t i,
                        const char *name, const char *unit, double soc,
                        double temp, const amp_chemistry *chem, double *room,
                        int *silent) {
  double value = amp_exp(p[i]), d = sd[i] * value;
  if (!(j->widening * told(j, p, i, chem, room) < TOLD)) {
    d = INFINITY;
    ++*silent;
  }
  amp_fit_add_detailed(j->fit, name, unit, soc, temp, value, d);
}

static void report (job *j, const double *p, const double *sd,
                    const amp_chemistry *chem, double *room) {
  static const int at[] = {3, 6, 8, 10, 12}; /* 10, 30 .. 90 % */
  static const char *const name[] = {"r0", "i0", "tau_d"};
  static const char *const unit[] = {"ohm", "A", "s"};
  double nan = __builtin_nan("");
  int silent = 0, asked = 0;
  for (int t = 0; t < j->temps; t++) {
    double temp = j->base.temp[t];
    for (int table = R0; table <= TAU_D; table++)
      for (int k = 0; k < 5; k++, asked++)
        report_one(j, p, sd, place(t, table, at[k]), name[table], unit[table],
                   soc_knot[at[k]], temp, chem, room, &silent);
    report_one(j, p, sd, place_slow(t), "slow", "ohm", nan, temp, chem, room,
               &silent);
    asked++;
  }
  report_one(j, p, sd, j->ct_at, "tau_ct", "s", nan, nan, chem, room,
             &silent);
  if (silent > 0)
    amp_fit_warn(j->fit,
                 "the logs do not determine %d of %d parameters of the"
                 " detailed model (sd: infinite); there they follow their"
                 " neighbours and what is typical",
                 silent, asked + 1);
}

/* Error over log l: time-weighted root mean square and largest, rows soon
** after a step left out, with the model's own heat. */
static amp_status agree (const job *j, const amp_fit_input *in, int l,
                         amp_error *err) {
  const amp_test_log *log = in->pulse[l];
  const double *v = log->column[AMP_LOG_VOLTAGE];
  const double *i = log->column[AMP_LOG_CURRENT];
  double sum = 0.0, time = 0.0, worst = 0.0, since = 0.0;
  size_t done, size = 2 * log->n * sizeof(double);
  double *got = amp_alloc(j->ctx, size), *mean;
  amp_status st;
  if (got == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)log->n, 0, 0);
  mean = got + log->n;
  st = amp_fit_replay(j->ctx, j->fit, true, log, j->fit->capacity_at[l],
                      j->fit->soc_at[l], j->log[l].ambient, got, mean, NULL,
                      NULL, &done, err);
  for (size_t k = 1; k < done && st == AMP_OK; k++) {
    double dt = log->time[k] - log->time[k - 1], e = got[k] - v[k];
    if (fabs(i[k] - i[k - 1]) > 4.0 * amp_fit_idle(in->capacity)) {
      since = 0.0;
      e = mean[k] - v[k];
    }
    since += dt;
    if (since < 0.9)
      continue;
    sum += e * e * dt;
    time += dt;
    worst = fmax(worst, fabs(e));
  }
  j->fit->rms_detailed[l] = time > 0.0 ? sqrt(sum / time) : __builtin_nan("");
  j->fit->worst_detailed[l] = worst;
  amp_free(j->ctx, got, size);
  return st;
}

/* The log nearest 25 C gives the capacity. */
static double own_capacity (const job *j) {
  int best = 0;
  for (int l = 1; l < j->logs; l++)
    if (fabs(j->log[l].ambient - 298.15) <
        fabs(j->log[best].ambient - 298.15))
      best = l;
  return j->log[best].capacity;
}

static amp_status keep (job *j, const amp_fit_input *in, const double *p,
                        const double *sd, amp_error *err) {
  amp_fit *fit = j->fit;
  amp_status st = corrected(j, p, &fit->chemistry.ocv);
  size_t most = 0;
  double *room;
  for (int l = 0; l < j->logs; l++)
    most = j->log[l].compared > most ? j->log[l].compared : most;
  if ((room = amp_alloc(j->ctx, most * sizeof *room)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)most, 0, 0);
  report(j, p, sd, &fit->chemistry, room);
  amp_free(j->ctx, room, most * sizeof *room);
  into_cell(j, p, &fit->detailed);
  fit->detailed.capacity = own_capacity(j);
  fit->detailed.mass = in->mass;
  fit->detailed.activation = ONE_TEMP;
  widen(&fit->detailed);
  if (st == AMP_OK)
    st = amp_detailed_check(&fit->detailed, err);
  fit->has_detailed = st == AMP_OK;
  for (int l = 0; l < j->logs && st == AMP_OK; l++)
    st = agree(j, in, l, err);
  return st;
}

/* Which residuals hang together: those of a log's blocks; beliefs don't. */
static amp_status name_blocks (job *j, amp_error *err) {
  size_t m = j->rows + j->priors, at = 0;
  int first = 0;
  if ((j->block = amp_alloc(j->ctx, m * sizeof *j->block)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)m, 0, 0);
  for (int l = 0; l < j->logs; l++) {
    const amp_stretches *log = &j->log[l];
    for (size_t k = 0; k < log->n; k++)
      if (log->at[k].sigma > 0.0)
        j->block[at++] = first + log->at[k].block;
    first += log->n > 0 ? log->at[log->n - 1].block + 1 : 0;
  }
  while (at < m)
    j->block[at++] = AMP_LEAST_BELIEF;
  return AMP_OK;
}

static amp_status search (job *j, const amp_fit_input *in, amp_error *err) {
  double p[MOST], sd[MOST], scale[MOST], edge, *room;
  amp_least_options opt = {.tolerance = 1e-4, .scale = scale};
  amp_least_result result;
  size_t most = 8 * j->n + 4 * MOST;
  amp_status st = first_edge(j, in, &edge, err);
  if (st != AMP_OK)
    return st;
  start_values(j, edge, in->capacity);
  memcpy(p, j->start, sizeof p);
  for (size_t i = 0; i < j->n; i++)
    scale[i] = i >= j->curve_at && i < j->ct_at ? 0.01 : 1.0;
  if ((room = amp_alloc(j->ctx, most * sizeof *room)) == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", (double)most, 0, 0);
  j->priors = believe(j, p, room);
  amp_free(j->ctx, room, most * sizeof *room);
  if ((st = name_blocks(j, err)) != AMP_OK)
    return st;
  opt.block = j->block;
  opt.evaluations = (int)(40 * (j->n + 1));
  st = amp_least(j->ctx, residuals, j, p, j->n, j->rows + j->priors, &opt, sd,
                 NULL, &result, err);
  if (st != AMP_OK)
    return st;
  j->widening = result.widening;
  if (result.bounded)
    amp_fit_warn_of_blocks(j->fit, "detailed", result.blocks,
                           "its deviations are upper bounds");
  if (!result.converged)
    amp_fit_warn(j->fit,
                 "the search of the detailed model stopped at %d"
                 " steps; the best found is kept",
                 result.evaluations);
  if (j->temps == 1)
    amp_fit_warn(j->fit,
                 "one temperature alone: an activation of %g K is assumed for"
                 " the detailed model",
                 ONE_TEMP);
  return keep(j, in, p, sd, err);
}

amp_status amp_fit_detailed (const amp_context *ctx, const amp_fit_input *in,
                             amp_fit *out, amp_error *err) {
  job *j = amp_alloc(ctx, sizeof *j);
  amp_status st;
  if (j == NULL)
    return amp_fail(err, AMP_ENOMEM, "fit", 0, 0, 0);
  j->ctx = ctx;
  j->fit = out;
  j->logs = in->pulses;
  j->chem = out->chemistry;
  j->base.socs = SOCS;
  memcpy(j->base.soc, soc_knot, sizeof soc_knot);
  j->base.tau_slow[0] = TAU_SLOW;
  j->base.blunt = BLUNT;
  j->base.capacity = 1.0; /* until it is known */
  st = gather(j, in, err);
  if (st == AMP_OK) {
    j->curve_at = (size_t)(j->temps * EACH);
    j->ct_at = j->curve_at + CURVE;
    j->n = j->ct_at + 1;
    st = search(j, in, err);
  }
  if (st != AMP_OK)
    out->has_detailed = false;
  release(j);
  amp_free(ctx, j, sizeof *j);
  return st;
}
