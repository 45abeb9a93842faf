/*
** detailed.c -- the detailed cell, one step at a time. Everything that a
** current decides over a step is affine in it (charge at the surface, charge
** transfer's own current, the slow pairs), so a step is a 'line', and the
** voltage a function of one scalar with a known slope.
*/
#include "cell/detailed.h"
#include "base/elementary.h"
#include <math.h>

/* 2 R / F in V/K: exact constants of the SI (2019) */
#define TWO_R_OVER_F (2.0 * 8.314462618 / 96485.33212)
#define T_REF 298.15

/* lambda_n^2, tan(lambda_n) = lambda_n: the n-th root lies just below
** (n + 1/2) pi; worked out by Newton's method, checked by the test */
static const double lambda2[AMP_DETAIL_MODES] = {
    20.190728556426629, 59.679515944109411, 118.89986916362645,
    197.85781119337719, 296.55441213573141, 414.98998425907814};

/* Between two knots: value = a[k] + w (a[k + 1] - a[k]). */
typedef struct place {
  int k, next;
  double w;
  double rate; /* dw/dx */
} place;

static place place_soc (const amp_detailed *c, double z) {
  int k = 0;
  double span;
  if (!(z > c->soc[0]))
    return (place){0, 0, 0.0, 0.0};
  if (!(z < c->soc[c->socs - 1]))
    return (place){c->socs - 1, c->socs - 1, 0.0, 0.0};
  while (z >= c->soc[k + 1])
    k++;
  span = c->soc[k + 1] - c->soc[k];
  return (place){k, k + 1, (z - c->soc[k]) / span, 1.0 / span};
}

/* Goes on beyond the ends; with one temperature w is 1/T - 1/T0 in 1/K. */
static place place_temp (const amp_detailed *c, double temp) {
  int k = 0;
  double from, to;
  if (c->temps == 1)
    return (place){0, 0, 1.0 / temp - 1.0 / c->temp[0], 0.0};
  while (k < c->temps - 2 && temp >= c->temp[k + 1])
    k++;
  from = 1.0 / c->temp[k];
  to = 1.0 / c->temp[k + 1];
  return (place){k, k + 1, (1.0 / temp - from) / (to - from), 0.0};
}

static double across (const amp_detailed *c, place t, double lo, double hi,
                      double sign) {
  return c->temps == 1 ? lo + sign * c->activation * t.w
                       : lo + t.w * (hi - lo);
}

/* ln of a table at a place and its slope in charge. */
static double look (const amp_detailed *c,
                    const double table[][AMP_DETAIL_SOC], place t, place z,
                    double sign, double *slope) {
  double a = across(c, t, table[t.k][z.k], table[t.next][z.k], sign);
  double b = across(c, t, table[t.k][z.next], table[t.next][z.next], sign);
  if (slope != NULL)
    *slope = (b - a) * z.rate;
  return a + z.w * (b - a);
}

/* What the current over a step does: each of these is a + b i. */
typedef struct line {
  double zs0, zs1;     /* charge at the surface */
  double ct0, ct1;     /* A, through charge transfer */
  double slow0, slow1; /* V, of the slow pairs */
  double temp;         /* K, of the core */
  place at;            /* of temp */
} line;

static double spread_of (const amp_detailed *c, place t, double soc,
                         double *tau) {
  *tau = amp_exp(look(c, c->ln_tau_d, t, place_soc(c, soc), 1.0, NULL));
  return *tau / (3.0 * c->capacity);
}

static double resistance_slow (const amp_detailed *c, place t, int k) {
  return amp_exp(
      across(c, t, c->ln_slow[k][t.k], c->ln_slow[k][t.next], 1.0));
}

/* Share of a state that is left after dt, and its mean over dt. */
typedef struct fade {
  double end, mean;
} fade;

static fade fade_of (double tau, double dt) {
  double x = dt / tau;
  fade f = {1.0, 1.0};
  if (x > 0.0) {
    double lost = -amp_expm1(-x);
    f.end = 1.0 - lost;
    f.mean = lost / x;
  }
  return f;
}

typedef struct fades {
  fade mode[AMP_DETAIL_MODES], slow[AMP_DETAIL_SLOW], ct;
} fades;

/* dt = 0 gives the instant. Also what is left of each state. */
static line line_of (const amp_detailed *c, const amp_detailed_state *st,
                     double dt, fades *f) {
  line l = {.temp = st->core};
  double tau, spread, rest = 0.2, quick = 1.0 - c->blunt;
  l.at = place_temp(c, st->core);
  spread = spread_of(c, l.at, st->soc, &tau);
  l.zs0 = st->soc;
  l.zs1 = -0.5 * dt / c->capacity;
  for (int n = 0; n < AMP_DETAIL_MODES; n++) {
    double weight = 2.0 / lambda2[n];
    f->mode[n] = fade_of(tau / lambda2[n], dt);
    rest -= weight;
    weight *= n > 0 ? quick : 1.0;
    l.zs0 -= spread * weight * st->mode[n] * f->mode[n].mean;
    l.zs1 -= spread * weight * (1.0 - f->mode[n].mean);
  }
  l.zs1 -= spread * rest * quick;
  for (int k = 0; k < AMP_DETAIL_SLOW; k++)
    if (c->tau_slow[k] > 0.0) {
      double r = resistance_slow(c, l.at, k);
      f->slow[k] = fade_of(c->tau_slow[k], dt);
      l.slow0 += r * st->slow[k] * f->slow[k].mean;
      l.slow1 += r * (1.0 - f->slow[k].mean);
    }
  f->ct = c->tau_ct > 0.0 ? fade_of(c->tau_ct, dt) : (fade){0.0, 0.0};
  l.ct0 = st->ct * f->ct.mean;
  l.ct1 = 1.0 - f->ct.mean;
  return l;
}

/* The curve goes on straight beyond empty and full, where a surface may be
** while the mean is not. */
static double open_circuit (const amp_chemistry *chem, double z,
                            double *slope) {
  const amp_curve *u = &chem->ocv;
  double in = fmin(fmax(z, u->x[0]), u->x[u->n - 1]);
  *slope = amp_curve_slope(u, in);
  return amp_curve_at(u, in) + *slope * (z - in);
}

static double entropic_at (const amp_detailed *c, double z, double *slope) {
  place p = place_soc(c, z);
  double rise = c->entropic[p.next] - c->entropic[p.k];
  *slope = rise * p.rate;
  return c->entropic[p.k] + rise * p.w;
}

static double asinh_of (double y) {
  double a = fabs(y);
  double v = amp_log1p(a + a * a / (1.0 + sqrt(1.0 + a * a)));
  return y < 0.0 ? -v : v;
}

/* Voltage at current i, and dv/di. */
static double voltage_on (const amp_detailed *c, const amp_chemistry *chem,
                          const line *l, double i, double *slope) {
  double zs = l->zs0 + l->zs1 * i, rise, rise_s, ln_r_z, ln_i_z;
  place z = place_soc(c, zs);
  double r0 = amp_exp(look(c, c->ln_r0, l->at, z, 1.0, &ln_r_z));
  double i0 = amp_exp(look(c, c->ln_i0, l->at, z, -1.0, &ln_i_z));
  double y = (l->ct0 + l->ct1 * i) / (2.0 * i0), b = TWO_R_OVER_F * l->temp;
  double root = sqrt(1.0 + y * y), warm = l->temp - T_REF;
  double v = open_circuit(chem, zs, &rise);
  v += warm * entropic_at(c, zs, &rise_s);
  v -= r0 * i + b * asinh_of(y) + l->slow0 + l->slow1 * i;
  *slope = l->zs1 * (rise + warm * rise_s - r0 * i * ln_r_z +
                     b * y * ln_i_z / root) -
           r0 - b * l->ct1 / (2.0 * i0 * root) - l->slow1;
  return v;
}

/* What the search looks at: its root is the current. */
static double miss (const amp_detailed *c, const amp_chemistry *chem,
                    const line *l, amp_hold hold, double value, double i,
                    double *slope) {
  double dv, v = voltage_on(c, chem, l, i, &dv);
  if (hold == AMP_HOLD_VOLTAGE) {
    *slope = -dv;
    return value - v;
  }
  *slope = v + i * dv;
  return v * i - value;
}

static amp_status too_much (amp_hold hold, double value, amp_error *err) {
  if (hold == AMP_HOLD_POWER)
    return amp_failf(err, AMP_EREFUSED, "power",
                     "the cell cannot give %g W as it is now", value);
  return amp_failf(err, AMP_EREFUSED, "voltage",
                   "no current brings the cell to %g V as it is now", value);
}

/*
** Newton from no current. Power over current is concave and voltage falls,
** so a step to the right never passes the root of power; where the slope is
** gone, the peak of power is passed and there is no root. Between currents
** that are known to miss on either side, a step that leaves is halved.
*/
static amp_status find_current (const amp_detailed *c,
                                const amp_chemistry *chem, const line *l,
                                amp_hold hold, double value, double *current,
                                amp_error *err) {
  double lo = -INFINITY, hi = INFINITY, i = 0.0, slope;
  double unit = c->capacity / 3600.0;
  for (int n = 0; n < 30; n++) {
    double f = miss(c, chem, l, hold, value, i, &slope), next;
    if (f <= 0.0)
      lo = i;
    if (f >= 0.0)
      hi = i;
    next = slope > 0.0 ? i - f / slope : INFINITY;
    if (fabs(next - i) <= 1e-12 * fmax(fabs(i), unit)) {
      *current = next;
      return AMP_OK;
    }
    if (!(next > lo && next < hi)) {
      if (!isfinite(lo) || !isfinite(hi))
        return too_much(hold, value, err);
      next = 0.5 * (lo + hi);
    }
    if (!(fabs(next) < 1e6 * unit))
      return too_much(hold, value, err);
    i = next;
  }
  return too_much(hold, value, err);
}

/*
** Two nodes under constant heating 'watt' in the core. With the deviation
** from the steady state in y = (sqrt(C1) dT1, sqrt(C2) dT2) the matrix is
** symmetric, and its two modes fade each on its own.
*/
static void warm (const amp_detailed *c, amp_detailed_state *st, double watt,
                  double dt, double ambient) {
  double a = c->core_skin / c->heat_core;
  double d = (c->core_skin + c->skin_air) / c->heat_skin;
  double b = c->core_skin / sqrt(c->heat_core * c->heat_skin);
  double half = 0.5 * (d - a), root = sqrt(half * half + b * b);
  double fast = 0.5 * (a + d) + root, slow = (a * d - b * b) / fast;
  double skin = ambient + watt / c->skin_air,
         core = skin + watt / c->core_skin;
  double y1 = sqrt(c->heat_core) * (st->core - core);
  double y2 = sqrt(c->heat_skin) * (st->skin - skin);
  /* the fast mode's direction (b, a - fast), turned so that nothing cancels
     where a > d */
  double u1 = b, u2 = a - fast, norm = sqrt(u1 * u1 + u2 * u2);
  double p, q, f = amp_exp(-fast * dt), s = amp_exp(-slow * dt);
  u1 /= norm;
  u2 /= norm;
  p = f * (u1 * y1 + u2 * y2);
  q = s * (u2 * y1 - u1 * y2);
  st->core = core + (u1 * p + u2 * q) / sqrt(c->heat_core);
  st->skin = skin + (u2 * p - u1 * q) / sqrt(c->heat_skin);
}

static bool has_heat (const amp_detailed *c) {
  return c->heat_core > 0.0;
}

/* The nodes after dt; what left through the skin is what is not kept. */
static double heat_step (const amp_detailed *c, amp_detailed_state *st,
                         double heat, double dt, double ambient) {
  amp_detailed_state was = *st;
  if (!has_heat(c)) {
    st->core = st->skin = ambient;
    return heat;
  }
  if (!(dt > 0.0))
    return 0.0;
  warm(c, st, heat / dt, dt, ambient);
  return heat - c->heat_core * (st->core - was.core) -
         c->heat_skin * (st->skin - was.skin);
}

static void move (amp_detailed_state *st, const fades *f,
                  const amp_detailed *c, double i) {
  for (int n = 0; n < AMP_DETAIL_MODES; n++)
    st->mode[n] = i + (st->mode[n] - i) * f->mode[n].end;
  for (int k = 0; k < AMP_DETAIL_SLOW; k++)
    if (c->tau_slow[k] > 0.0)
      st->slow[k] = i + (st->slow[k] - i) * f->slow[k].end;
  st->ct = i + (st->ct - i) * f->ct.end;
}

/* J over the step: what the open-circuit voltage of the mean charge would
** have given and did not, and the heat of reaction. */
static double heat_of (const amp_detailed *c, const amp_chemistry *chem,
                       double z, double temp, double i, double v, double dt) {
  double slope, s = entropic_at(c, z, &slope);
  double u = open_circuit(chem, z, &slope) + (temp - T_REF) * s;
  return i * (u - v - temp * s) * dt;
}

static amp_status check_soc (amp_error *err, double *soc) {
  /* 1e-12 beyond is rounding */
  if (!(*soc >= -1e-12 && *soc <= 1.0 + 1e-12))
    return amp_fail(err, AMP_ERANGE, "soc", *soc, 0.0, 1.0);
  *soc = fmin(fmax(*soc, 0.0), 1.0);
  return AMP_OK;
}

static amp_status check_step (amp_error *err, double value, double dt,
                              double ambient) {
  amp_status s = amp_check_range(err, "value", value, -1e9, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "dt", dt, 0.0, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "ambient", ambient, 150.0, 500.0);
  return s;
}

amp_status amp_detailed_step (const amp_detailed *c,
                              const amp_chemistry *chem,
                              amp_detailed_state *st, amp_hold hold,
                              double value, double dt, double ambient,
                              amp_detailed_out *out, amp_error *err) {
  amp_detailed_state next = *st;
  amp_detailed_out o = {.current = value};
  fades f;
  line l;
  double slope;
  amp_status s = check_step(err, value, dt, ambient);
  if (s != AMP_OK)
    return s;
  if (!has_heat(c))
    next.core = next.skin = ambient;
  l = line_of(c, &next, dt, &f);
  if (hold != AMP_HOLD_CURRENT) {
    s = find_current(c, chem, &l, hold, value, &o.current, err);
    if (s != AMP_OK)
      return s;
  }
  next.soc = st->soc - o.current * dt / c->capacity;
  s = check_soc(err, &next.soc);
  if (s != AMP_OK)
    return s;
  o.v_mean = voltage_on(c, chem, &l, o.current, &slope);
  o.heat = heat_of(c, chem, 0.5 * (st->soc + next.soc), l.temp, o.current,
                   o.v_mean, dt);
  move(&next, &f, c, o.current);
  o.cooling = heat_step(c, &next, o.heat, dt, ambient);
  o.v_end = amp_detailed_voltage(c, chem, &next, o.current);
  *st = next;
  if (out != NULL)
    *out = o;
  return AMP_OK;
}

double amp_detailed_voltage (const amp_detailed *c, const amp_chemistry *chem,
                             const amp_detailed_state *st, double i) {
  fades f;
  double slope;
  line l = line_of(c, st, 0.0, &f);
  return voltage_on(c, chem, &l, i, &slope);
}

amp_detailed_state amp_detailed_rest (double soc, double temp) {
  amp_detailed_state st = {.soc = soc, .core = temp, .skin = temp};
  return st;
}

amp_detailed amp_detailed_like (const amp_detailed *c, double capacity,
                                double times) {
  amp_detailed p = *c;
  double ln = amp_log(times), n = capacity / c->capacity;
  p.capacity = capacity;
  for (int t = 0; t < p.temps; t++) {
    for (int k = 0; k < p.socs; k++) {
      p.ln_r0[t][k] += ln;
      p.ln_i0[t][k] -= ln;
    }
    for (int k = 0; k < AMP_DETAIL_SLOW; k++)
      p.ln_slow[k][t] += ln;
  }
  p.heat_core *= n;
  p.heat_skin *= n;
  p.core_skin *= n;
  p.skin_air *= n;
  p.mass *= n;
  return p;
}

amp_detailed amp_detailed_parallel (const amp_detailed *c, double n) {
  amp_detailed p = *c;
  double ln_n = amp_log(n);
  p.capacity *= n;
  for (int t = 0; t < p.temps; t++) {
    for (int k = 0; k < p.socs; k++) {
      p.ln_r0[t][k] -= ln_n;
      p.ln_i0[t][k] += ln_n;
    }
    for (int k = 0; k < AMP_DETAIL_SLOW; k++)
      p.ln_slow[k][t] -= ln_n;
  }
  p.heat_core *= n;
  p.heat_skin *= n;
  p.core_skin *= n;
  p.skin_air *= n;
  p.mass *= n;
  return p;
}

static amp_status check_rising (amp_error *err, const char *field,
                                const double *x, int n, double lo,
                                double hi) {
  for (int k = 0; k < n; k++) {
    amp_status s = amp_check_range(err, field, x[k], lo, hi);
    if (s != AMP_OK)
      return s;
    if (k > 0 && !(x[k] > x[k - 1]))
      return amp_fail(err, AMP_ERANGE, field, x[k], x[k - 1], hi);
  }
  return AMP_OK;
}

static amp_status check_tables (const amp_detailed *c, amp_error *err) {
  amp_status s = AMP_OK;
  for (int t = 0; t < c->temps && s == AMP_OK; t++) {
    for (int k = 0; k < c->socs && s == AMP_OK; k++) {
      s = amp_check_range(err, "ln_r0", c->ln_r0[t][k], -50.0, 50.0);
      if (s == AMP_OK)
        s = amp_check_range(err, "ln_i0", c->ln_i0[t][k], -50.0, 50.0);
      if (s == AMP_OK)
        s = amp_check_range(err, "ln_tau_d", c->ln_tau_d[t][k], -50.0, 50.0);
    }
    for (int k = 0; k < AMP_DETAIL_SLOW && s == AMP_OK; k++)
      if (c->tau_slow[k] > 0.0)
        s = amp_check_range(err, "ln_slow", c->ln_slow[k][t], -50.0, 50.0);
  }
  for (int k = 0; k < c->socs && s == AMP_OK; k++)
    s = amp_check_range(err, "entropic", c->entropic[k], -0.01, 0.01);
  return s;
}

/* Both nodes or none; a node without a way out would not cool. */
static amp_status check_heat (const amp_detailed *c, amp_error *err) {
  double most = has_heat(c) ? 1e9 : 0.0, least = has_heat(c) ? 1e-9 : 0.0;
  amp_status s = amp_check_range(err, "heat_core", c->heat_core, 0.0, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "heat_skin", c->heat_skin, least, most);
  if (s == AMP_OK && has_heat(c))
    s = amp_check_range(err, "core_skin", c->core_skin, least, most);
  if (s == AMP_OK && has_heat(c))
    s = amp_check_range(err, "skin_air", c->skin_air, least, most);
  return s;
}

amp_status amp_detailed_check (const amp_detailed *c, amp_error *err) {
  amp_status s = amp_check_range(err, "capacity", c->capacity, 1e-6, 1e12);
  if (s == AMP_OK)
    s = amp_check_range(err, "socs", c->socs, 1, AMP_DETAIL_SOC);
  if (s == AMP_OK)
    s = amp_check_range(err, "temps", c->temps, 1, AMP_DETAIL_TEMP);
  if (s == AMP_OK)
    s = check_rising(err, "soc", c->soc, c->socs, 0.0, 1.0);
  if (s == AMP_OK)
    s = check_rising(err, "temp", c->temp, c->temps, 150.0, 500.0);
  for (int k = 0; k < AMP_DETAIL_SLOW && s == AMP_OK; k++)
    s = amp_check_range(err, "tau_slow", c->tau_slow[k], 0.0, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "tau_ct", c->tau_ct, 0.0, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "blunt", c->blunt, 0.0, 1.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "activation", c->activation, -2e4, 2e4);
  if (s == AMP_OK)
    s = check_tables(c, err);
  if (s == AMP_OK)
    s = check_heat(c, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "mass", c->mass, 0.0, 1e9);
  return s;
}
