/*
** elementary.c -- elementary functions from the four operations and the
** bits of a double. Series are the plain Taylor ones after a reduction that
** makes them short; docs/decisions/0001-elementary.md says why.
*/
#include "base/elementary.h"
#include "base/elementary_inline.h"
#include "base/solve.h"
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#define LN2_HI 0x1.62e42feep-1 /* ln 2: 32 bits, and the rest */
#define LN2_LO 0x1.a39ef35793c76p-33
#define INF ((double)INFINITY)
#define NONE ((double)__builtin_nan(""))

double amp_exp (double x) {
  if (x < -708.0)
    return 0.0;
  if (x > 709.7)
    return INF;
  return amp_exp_inline(x);
}

/* c[0] + z (c[1] + z (c[2] + ...)) */
static double horner (const double *c, size_t n, double z) {
  double sum = c[n - 1];
  for (size_t i = n - 1; i-- > 0;)
    sum = sum * z + c[i];
  return sum;
}

#define SERIES(c, z) horner((c), sizeof(c) / sizeof *(c), (z))

/* 2^k for -1022 <= k <= 1023 */
static double power_of_two (int k) {
  uint64_t bits = (uint64_t)(k + 1023) << 52;
  double p;
  memcpy(&p, &bits, sizeof p);
  return p;
}

double amp_expm1 (double x) {
  static const double c[] = {
      /* 1/(n+2)! */
      1.0 / 2,       1.0 / 6,        1.0 / 24,        1.0 / 120,
      1.0 / 720,     1.0 / 5040,     1.0 / 40320,     1.0 / 362880,
      1.0 / 3628800, 1.0 / 39916800, 1.0 / 479001600, 1.0 / 6227020800};
  if (x != x)
    return x;
  if (x > 38.0 || x < -38.0) /* the 1 is below half a unit */
    return amp_exp(x) - 1.0;
  double k = floor(x * 0x1.71547652b82fep+0 + 0.5);
  double hi = x - k * LN2_HI, lo = k * LN2_LO;
  double r = hi - lo, rest = (hi - r) - lo;
  double p = r + (rest + r * r * SERIES(c, r));
  if (k == 0.0)
    return p;
  double two = power_of_two((int)k);
  return two * p + (two - 1.0);
}

/* x = 2^k m with m in sqrt(1/2) .. sqrt(2); x positive and finite. */
static double split (double x, double *k) {
  uint64_t bits;
  int e = 0;
  if (x < 0x1p-1022) { /* subnormal */
    x *= 0x1p54;
    e = -54;
  }
  memcpy(&bits, &x, sizeof bits);
  e += (int)(bits >> 52) - 1023;
  bits = (bits & 0xfffffffffffffu) | 0x3ff0000000000000u;
  memcpy(&x, &bits, sizeof x);
  if (x > 0x1.6a09e667f3bcdp+0) {
    x *= 0.5;
    e++;
  }
  *k = e;
  return x;
}

/* z (1/3 + z/5 + z^2/7 + ...), z = s^2 <= 0.0295: atanh(s)/s - 1 */
static double atanh_tail (double z) {
  static const double c[] = {1.0 / 3,  1.0 / 5,  1.0 / 7,  1.0 / 9,
                             1.0 / 11, 1.0 / 13, 1.0 / 15, 1.0 / 17,
                             1.0 / 19, 1.0 / 21, 1.0 / 23};
  return z * SERIES(c, z);
}

/*
** k ln 2 + log(1 + f) + rest, for -0.293 <= f <= 0.4143. log(1+f) =
** 2 atanh(s), s = f/(2+f), and 2 s = f - f^2/2 + s f^2/2 keeps the leading
** f exact.
*/
static double log_of_parts (double k, double f, double rest) {
  double s = f / (2.0 + f), half = 0.5 * f * f;
  double tail = s * (half + 2.0 * atanh_tail(s * s));
  return k * LN2_HI - ((half - (tail + (k * LN2_LO + rest))) - f);
}

double amp_log (double x) {
  double k, m;
  if (x == 0.0)
    return -INF;
  if (!(x > 0.0))
    return NONE;
  if (x > 0x1.fffffffffffffp+1023)
    return x;
  m = split(x, &k);
  return log_of_parts(k, m - 1.0, 0.0);
}

double amp_log1p (double x) {
  double k, m, u = 1.0 + x, lost;
  if (x > -0.29 && x < 0.41)
    return x == 0.0 ? x : log_of_parts(0.0, x, 0.0);
  if (!(x > -1.0) || x > 0x1p60)
    return amp_log(u);
  lost = x < 1.0 ? x - (u - 1.0) : 1.0 - (u - x);
  m = split(u, &k);
  return log_of_parts(k, m - 1.0, lost / u);
}

double amp_asinh (double y) {
  return amp_asinh_inline(y);
}

/* A number as the exact sum of two doubles. */
typedef struct twin {
  double hi, lo;
} twin;

static inline twin sum_of (double a, double b) { /* Knuth's exact sum */
  double s = a + b, t = s - a;
  return (twin){s, (a - (s - t)) + (b - t)};
}

static inline twin product_of (double a,
                               double b) { /* Dekker's exact product */
  double p = a * b;
  double ca = a * 134217729.0, cb = b * 134217729.0; /* 2^27 + 1 */
  double ah = ca - (ca - a), al = a - ah;
  double bh = cb - (cb - b), bl = b - bh;
  return (twin){p, ((ah * bh - p) + ah * bl + al * bh) + al * bl};
}

static inline twin twin_mul (twin a, twin b) {
  twin p = product_of(a.hi, b.hi);
  return sum_of(p.hi, p.lo + (a.hi * b.lo + a.lo * b.hi));
}

/* log(x) to about 2^-65, x positive, finite and not 1. */
static inline twin log_twin (double x) {
  static const double c[] = {1.0 / 5,  1.0 / 7,  1.0 / 9,  1.0 / 11,
                             1.0 / 13, 1.0 / 15, 1.0 / 17, 1.0 / 19,
                             1.0 / 21, 1.0 / 23, 1.0 / 25};
  double k, f = split(x, &k) - 1.0;
  twin d = sum_of(2.0, f);
  double sh = f / d.hi;
  twin back = product_of(sh, d.hi);
  twin s = {sh, (((f - back.hi) - back.lo) - sh * d.lo) / d.hi};
  twin z = twin_mul(s, s);
  /* 1/3 in two parts, and z (1/5 + ...), which one double holds */
  twin third = sum_of(0x1.5555555555555p-2,
                      0x1.5555555555555p-56 + z.hi * SERIES(c, z.hi));
  twin tail = twin_mul(s, twin_mul(z, third));
  twin sum = sum_of(s.hi, tail.hi);
  sum = sum_of(2.0 * sum.hi, 2.0 * (sum.lo + (s.lo + tail.lo)));
  twin all = sum_of(k * LN2_HI, sum.hi);
  return sum_of(all.hi, all.lo + (sum.lo + k * LN2_LO));
}

/* The cases that need no arithmetic; true: *out is the answer. */
static inline bool pow_plain (double x, double y, double *out) {
  if (y == 0.0 || x == 1.0)
    *out = 1.0;
  else if (!(x >= 0.0) || y != y)
    *out = NONE;
  else if (y == 1.0)
    *out = x;
  else if (y == 2.0)
    *out = x * x;
  else if (y == 0.5)
    *out = sqrt(x);
  else if (x == 0.0 || x > 0x1.fffffffffffffp+1023)
    *out = (x == 0.0) == (y > 0.0) ? 0.0 : INF;
  else if (fabs(y) > 1e19) /* even the double next to 1 gets lost */
    *out = (x > 1.0) == (y > 0.0) ? INF : 0.0;
  else
    return false;
  return true;
}

double amp_pow (double x, double y) {
  double out;
  if (pow_plain(x, y, &out))
    return out;
  twin l = log_twin(x);
  twin p = product_of(l.hi, y);
  twin sum = sum_of(p.hi, p.lo + l.lo * y);
  double e = amp_exp(sum.hi);
  return e == 0.0 || e > 0x1.fffffffffffffp+1023 ? e : e + e * sum.lo;
}

/*
** x = n pi/2 + r, |r| <= pi/4; gives n mod 4 and r. pi/2 in three parts of
** 33, 33 and 53 bits: n times the first two is exact for |x| <= 1e6.
*/
static int quarter_turns (double x, double *r) {
  double n = floor(x * 0x1.45f306dc9c883p-1 + 0.5);
  *r = ((x - n * 0x1.921fb544p+0) - n * 0x1.0b4611a6p-34) -
       n * 0x1.3198a2e037073p-69;
  return (int)(n - 4.0 * floor(0.25 * n));
}

static double sin_near_0 (double r) {
  static const double c[] = {-1.0 / 6,
                             1.0 / 120,
                             -1.0 / 5040,
                             1.0 / 362880,
                             -1.0 / 39916800,
                             1.0 / 6227020800,
                             -1.0 / 1307674368000,
                             1.0 / 355687428096000};
  double z = r * r;
  return r + r * (z * SERIES(c, z));
}

static double cos_near_0 (double r) {
  static const double c[] = {1.0 / 24,
                             -1.0 / 720,
                             1.0 / 40320,
                             -1.0 / 3628800,
                             1.0 / 479001600,
                             -1.0 / 87178291200,
                             1.0 / 20922789888000};
  double z = r * r;
  return 1.0 - (0.5 * z - z * (z * SERIES(c, z)));
}

/* sin(x + turns pi/2); beyond 1e6 no digit would be worth its name */
static double sin_turned (double x, int turns) {
  double r, v;
  if (!(fabs(x) <= 1e6))
    return NONE;
  turns += quarter_turns(x, &r);
  v = (turns & 1) != 0 ? cos_near_0(r) : sin_near_0(r);
  return (turns & 2) != 0 ? -v : v;
}

double amp_sin (double x) {
  return sin_turned(x, 0);
}

double amp_cos (double x) {
  return sin_turned(x, 1);
}

double amp_tan (double x) {
  double r, s, c;
  if (!(fabs(x) <= 1e6))
    return NONE;
  int odd = quarter_turns(x, &r) & 1;
  s = sin_near_0(r);
  c = cos_near_0(r);
  return odd ? -c / s : s / c;
}

/* atan(t) for 0 <= t <= 1 about the nearest of 0, 1/4, 1/2, 3/4, 1, plus
** 'hi' + 'lo' from the caller: hi + lo + sign * atan(t). */
static double atan_about (double t, double sign, double hi, double lo) {
  static const double c[] = {-1.0 / 3,  1.0 / 5,   -1.0 / 7,
                             1.0 / 9,   -1.0 / 11, 1.0 / 13,
                             -1.0 / 15, 1.0 / 17,  -1.0 / 19};
  static const twin at[] = {{0, 0},
                            {0x1.f5b75f92c80ddp-3, 0x1.8ab6e3cf7afbdp-57},
                            {0x1.dac670561bb4fp-2, 0x1.a2b7f222f65e2p-56},
                            {0x1.4978fa3269ee1p-1, 0x1.2419a87f2a458p-56},
                            {0x1.921fb54442d18p-1, 0x1.1a62633145c07p-55}};
  int i = (int)(4.0 * t + 0.5);
  double near = 0.25 * i, d = (t - near) / (1.0 + t * near), z = d * d;
  twin sum = sum_of(hi, sign * at[i].hi);
  double small = sum.lo + (lo + sign * at[i].lo);
  return sum.hi + (small + sign * (d + d * (z * SERIES(c, z))));
}

double amp_atan (double x) {
  double a = fabs(x), v;
  if (x != x)
    return x;
  if (a <= 1.0)
    v = atan_about(a, 1.0, 0.0, 0.0);
  else /* pi/2 - atan(1/a) */
    v = atan_about(1.0 / a, -1.0, 0x1.921fb54442d18p+0,
                   0x1.1a62633145c07p-54);
  return copysign(v, x);
}

/* Density of the standard normal. */
static double normal_density (double x) {
  return 0.39894228040143267794 * amp_exp(-0.5 * x * x); /* 1/sqrt(2 pi) */
}

/* Chance beyond x >= 3: density over the continued fraction x + 1/(x +
** 2/(x + 3/(x + ...))), Abramowitz and Stegun (1964) 26.2.14. */
static double normal_tail (double x) {
  double below = x;
  for (int n = 60; n >= 1; n--)
    below = x + n / below;
  return normal_density(x) / below;
}

double amp_normal_cdf (double x) {
  double term = x, sum = x;
  if (x != x)
    return x;
  if (x < -3.0)
    return normal_tail(-x);
  if (x > 3.0)
    return 1.0 - normal_tail(x);
  /* 1/2 + density (x + x^3/3 + x^5/(3 5) + ...), ibid. 26.2.11 */
  for (int n = 3; fabs(term) > 1e-18 * fabs(sum); n += 2) {
    term *= x * x / n;
    sum += term;
  }
  return 0.5 + normal_density(x) * sum;
}

double amp_normal_quantile (double p) {
  double q = p - 0.5, r;
  if (!(p > 0.0 && p < 1.0))
    return p == 0.0 ? -INF : p == 1.0 ? INF : NONE;
  if (fabs(q) <= AMP_NORMAL_MIDDLE)
    return amp_normal_middle_inline(q);
  r = sqrt(-amp_log(q < 0.0 ? p : 1.0 - p));
  return copysign(
      r <= 5.0 ? amp_normal_tail_inline(r) : amp_normal_far_inline(r), q);
}

/*
** Chance that |T| <= t, t >= 0: the finite sums of Abramowitz and Stegun
** (1964) 26.7.3 (odd dof) and 26.7.4 (even).
*/
static double t_within (double t, int dof) {
  double c2 = dof / (dof + t * t); /* cos^2 of theta = atan(t/sqrt(dof)) */
  double s = t / sqrt(dof + t * t), term = 1.0, sum = 0.0;
  int odd = dof & 1;
  for (int k = 2 + odd; k <= dof; k += 2) {
    sum += term;
    term *= c2 * (k - 1) / k;
    if (term < 1e-18 * sum)
      break;
  }
  if (!odd)
    return s * sum;
  return 2.0 / AMP_PI * (amp_atan(t / sqrt(dof)) + s * sqrt(c2) * sum);
}

/* Gamma(a + 1/2) / Gamma(a) for a = dof/2, from a = 1/2 or 1 upwards. */
static double gamma_step (int dof) {
  /* 1/sqrt(pi) and sqrt(pi)/2 */
  double g = (dof & 1) != 0 ? 0.56418958354775628695 : 0.88622692545275801365;
  for (int k = (dof & 1) != 0 ? 1 : 2; k < dof; k += 2)
    g *= (k + 1.0) / k;
  return g;
}

/*
** Chance that |T| > t. Far out the finite sums would end in 1 - 1; there the
** power series of the incomplete beta function I_x(dof/2, 1/2) with x =
** dof/(dof + t^2) < 0.9, ibid. 26.5.4, has only positive terms.
*/
static double t_beyond (double t, int dof) {
  double a = 0.5 * dof, x = dof / (dof + t * t), term = 1.0, sum = 1.0;
  if (!(9.0 * t * t > dof))
    return 1.0 - t_within(t, dof);
  for (int n = 0; term > 1e-18 * sum; n++) {
    term *= (a + 0.5 + n) / (a + 1.0 + n) * x;
    sum += term;
  }
  return amp_pow(x, a) * (t / sqrt(dof + t * t)) * gamma_step(dof) * sum /
         (a * 1.77245385090551602730); /* sqrt(pi) */
}

double amp_t_cdf (double t, int dof) {
  double out;
  if (t != t || dof < 1)
    return NONE;
  if (fabs(t) > 1e150) /* t^2 would overflow */
    return t < 0.0 ? 0.0 : 1.0;
  out = 0.5 * t_beyond(fabs(t), dof);
  return t < 0.0 ? out : 1.0 - out;
}

typedef struct t_goal {
  int dof;
  double q; /* chance above t */
} t_goal;

static double t_excess (void *arg, double t) {
  const t_goal *g = arg;
  return 0.5 * t_beyond(t, g->dof) - g->q;
}

/* t >= 0 with chance q <= 1/2 above it. */
static double t_upper (double q, int dof) {
  t_goal g = {dof, q};
  double lo, hi, t = 0.0;
  if (dof == 1) /* both forms are the cotangent of pi q */
    return q < 0.25 ? 1.0 / amp_tan(AMP_PI * q) : amp_tan(AMP_PI * (0.5 - q));
  if (dof == 2)
    return (1.0 - 2.0 * q) / sqrt(2.0 * q * (1.0 - q));
  lo = 0.999 * fabs(amp_normal_quantile(q)); /* t has the wider tails */
  hi = lo + 0.5;
  while (t_excess(&g, hi) > 0.0) {
    lo = hi;
    hi *= 2.0;
  }
  if (amp_root(t_excess, &g, lo, hi, 1e-14, &t, NULL) != AMP_OK)
    return NONE;
  return t;
}

double amp_t_quantile (double p, int dof) {
  if (!(p > 0.0 && p < 1.0) || dof < 1)
    return dof < 1 ? NONE : p == 0.0 ? -INF : p == 1.0 ? INF : NONE;
  return p < 0.5 ? -t_upper(p, dof) : t_upper(1.0 - p, dof);
}

/* log n! - (n log n - n + log(2 pi n)/2): Stirling's series, n >= 30. */
static double stirling_rest (double n) {
  static const double c[] = {1.0 / 12, -1.0 / 360, 1.0 / 1260, -1.0 / 1680};
  return SERIES(c, 1.0 / (n * n)) / n;
}

/*
** A sum of logarithms for short ones; else Stirling's formula for the three
** factorials with the large parts cancelled by hand, so that only positive
** terms are added.
*/
double amp_log_choose (int n, int k) {
  double sum = 0.0, m = n, a, b;
  if (k < 0 || k > n)
    return -INF;
  if (k > n - k)
    k = n - k;
  if (k < 30) {
    for (int i = 1; i <= k; i++)
      sum += amp_log((m - k + i) / i);
    return sum;
  }
  a = k;
  b = m - a;
  sum = stirling_rest(m) - stirling_rest(a) - stirling_rest(b);
  sum += 0.5 * amp_log(m / (2.0 * AMP_PI * a * b));
  return sum + (a * amp_log(m / a) - b * amp_log1p(-a / m));
}
