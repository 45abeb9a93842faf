/*
** elementary_inline.h -- amp_exp, amp_log, amp_asinh and the parts of
** amp_normal_quantile without a branch or a call, for loops over lanes: gcc
** and clang turn them into vector code of any width, and every lane holds
** the same bits as the functions of elementary.h. Not part of the interface.
*/
#ifndef AMP_BASE_ELEMENTARY_INLINE_H
#define AMP_BASE_ELEMENTARY_INLINE_H

#include <math.h>
#include <stdint.h>
#include <string.h>

/*
** exp(x); x is cut to -708 .. 709.7, where results are normal numbers. NaN
** stays NaN. x = k ln 2 + r with |r| <= ln 2 / 2 (Cody and Waite: ln 2 in
** two parts, the first with 32 bits so that k times it is exact), then the
** Taylor sum of exp(r) to r^13 in even and odd halves; what it leaves out is
** below 5e-18.
*/
static inline double amp_exp_inline (double x) {
  double c = x < -708.0 ? -708.0 : x;
  c = c > 709.7 ? 709.7 : c;
  /* 1.5 * 2^52 pushes the fraction out: k stands in the lowest bits */
  double shifted = c * 0x1.71547652b82fep+0 + 0x1.8p+52;
  double k = shifted - 0x1.8p+52;
  double r = (c - k * 0x1.62e42feep-1) - k * 0x1.a39ef35793c76p-33;
  double z = r * r;
  double even =
      1.0 / 2 +
      z * (1.0 / 24 +
           z * (1.0 / 720 + z * (1.0 / 40320 + z * (1.0 / 3628800 +
                                                    z * (1.0 / 479001600)))));
  double odd =
      1.0 / 6 +
      z * (1.0 / 120 + z * (1.0 / 5040 + z * (1.0 / 362880 +
                                              z * (1.0 / 39916800 +
                                                   z * (1.0 / 6227020800)))));
  double e = 1.0 + (r + z * (even + r * odd));
  /* 2^(k-1) from its bits, and once more 2: k = 1024 has no bits */
  uint64_t bits;
  double power;
  memcpy(&bits, &shifted, sizeof bits);
  bits = (bits + 1022u) << 52;
  memcpy(&power, &bits, sizeof power);
  return (e + e) * power;
}

/*
** log(1 + x), 0 <= x <= 1e300. 1 + x = 2^k m with m in sqrt(1/2) .. sqrt(2),
** what rounding 1 + x loses is put back at first order; log(1 + f) = 2
** atanh(s), s = f / (2 + f), whose 2 s = f - f^2/2 + s f^2/2 keeps the
** leading f exact. Below 0.41 f is x itself.
*/
static inline double amp_log1p_inline (double x) {
  double u = 1.0 + x, below = x - (u - 1.0), above = 1.0 - (u - x);
  double lost = x < 1.0 ? below : above;
  uint64_t bits, high;
  double m, k;
  memcpy(&bits, &u, sizeof bits);
  high = (bits >> 52) | 0x4330000000000000u; /* 2^52 + exponent */
  bits = (bits & 0xfffffffffffffu) | 0x3ff0000000000000u;
  memcpy(&m, &bits, sizeof m);
  memcpy(&k, &high, sizeof k);
  k -= 0x1p52 + 1023.0;
  k = m > 0x1.6a09e667f3bcdp+0 ? k + 1.0 : k;
  m = m > 0x1.6a09e667f3bcdp+0 ? 0.5 * m : m;
  double f = x < 0.41 ? x : m - 1.0;
  double rest = x < 0.41 ? 0.0 : lost / u;
  k = x < 0.41 ? 0.0 : k;
  double s = f / (2.0 + f), half = 0.5 * f * f, z = s * s;
  double tail =
      1.0 / 3 +
      z * (1.0 / 5 +
           z * (1.0 / 7 +
                z * (1.0 / 9 +
                     z * (1.0 / 11 +
                          z * (1.0 / 13 +
                               z * (1.0 / 15 +
                                    z * (1.0 / 17 +
                                         z * (1.0 / 19 +
                                              z * (1.0 / 21 +
                                                   z * (1.0 / 23))))))))));
  double sum = s * (half + 2.0 * (z * tail));
  return k * 0x1.62e42feep-1 -
         ((half - (sum + (k * 0x1.a39ef35793c76p-33 + rest))) - f);
}

/* asinh(y), |y| cut to 1e150; NaN stays NaN. Of |y|: log1p(a + a^2 / (1 +
** sqrt(1 + a^2))), which loses nothing near 0. */
static inline double amp_asinh_inline (double y) {
  double a = y < 0.0 ? -y : y;
  a = a > 1e150 ? 1e150 : a;
  double square = a * a;
  double v =
      amp_log1p_inline(a + square / (1.0 + sqrt(1.0 + square)));
  return y < 0.0 ? -v : v;
}

/* log(x) of a normal number above 0; the steps of amp_log. */
static inline double amp_log_inline (double x) {
  uint64_t bits, high;
  double m, k;
  memcpy(&bits, &x, sizeof bits);
  high = (bits >> 52) | 0x4330000000000000u; /* 2^52 + exponent */
  bits = (bits & 0xfffffffffffffu) | 0x3ff0000000000000u;
  memcpy(&m, &bits, sizeof m);
  memcpy(&k, &high, sizeof k);
  k -= 0x1p52 + 1023.0;
  k = m > 0x1.6a09e667f3bcdp+0 ? k + 1.0 : k;
  m = m > 0x1.6a09e667f3bcdp+0 ? 0.5 * m : m;
  double f = m - 1.0, s = f / (2.0 + f), half = 0.5 * f * f, z = s * s;
  double tail = 1.0 / 23;
  tail = tail * z + 1.0 / 21;
  tail = tail * z + 1.0 / 19;
  tail = tail * z + 1.0 / 17;
  tail = tail * z + 1.0 / 15;
  tail = tail * z + 1.0 / 13;
  tail = tail * z + 1.0 / 11;
  tail = tail * z + 1.0 / 9;
  tail = tail * z + 1.0 / 7;
  tail = tail * z + 1.0 / 5;
  tail = tail * z + 1.0 / 3;
  double sum = s * (half + 2.0 * (z * tail));
  return k * 0x1.62e42feep-1 - ((half - (sum + k * 0x1.a39ef35793c76p-33)) - f);
}

/*
** The standard normal quantile in three pieces: rational functions of
** M. J. Wichura, Algorithm AS 241, Appl. Statist. 37 (1988) 477-484
** (PPND16). q = p - 1/2 up to AMP_NORMAL_MIDDLE either way; beyond it
** r = sqrt(-log(p or 1 - p)) up to 5, and above.
*/
#define AMP_NORMAL_MIDDLE 0.425

/* (a[0] + z (a[1] + ...)) / (b[0] + z (b[1] + ...)), eight of each */
static inline double amp_rational_inline (const double a[8],
                                          const double b[8], double z) {
  double up = a[7], down = b[7];
  up = up * z + a[6], down = down * z + b[6];
  up = up * z + a[5], down = down * z + b[5];
  up = up * z + a[4], down = down * z + b[4];
  up = up * z + a[3], down = down * z + b[3];
  up = up * z + a[2], down = down * z + b[2];
  up = up * z + a[1], down = down * z + b[1];
  up = up * z + a[0], down = down * z + b[0];
  return up / down;
}

static inline double amp_normal_middle_inline (double q) {
  static const double a[8] = {
      3.3871328727963666080, 133.14166789178437745, 1971.5909503065514427,
      13731.693765509461125, 45921.953931549871457, 67265.770927008700853,
      33430.575583588128105, 2509.0809287301226727};
  static const double b[8] = {
      1.0,                   42.313330701600911252, 687.18700749205790830,
      5394.1960214247511077, 21213.794301586595867, 39307.895800092710610,
      28729.085735721942674, 5226.4952788528545610};
  return q * amp_rational_inline(a, b, 0.180625 - q * q);
}

static inline double amp_normal_tail_inline (double r) {
  static const double a[8] = {
      1.42343711074968357734,    4.63033784615654529590,
      5.76949722146069140550,    3.64784832476320460504,
      1.27045825245236838258,    2.41780725177450611770e-1,
      2.27238449892691845833e-2, 7.74545014278341407640e-4};
  static const double b[8] = {
      1.0,
      2.05319162663775882187,
      1.67638483018380384940,
      6.89767334985100004550e-1,
      1.48103976427480074590e-1,
      1.51986665636164571966e-2,
      5.47593808499534494600e-4,
      1.05075007164441684324e-9};
  return amp_rational_inline(a, b, r - 1.6);
}

static inline double amp_normal_far_inline (double r) {
  static const double a[8] = {
      6.65790464350110377720,    5.46378491116411436990,
      1.78482653991729133580,    2.96560571828504891230e-1,
      2.65321895265761230930e-2, 1.24266094738807843860e-3,
      2.71155556874348757815e-5, 2.01033439929228813265e-7};
  static const double b[8] = {
      1.0,
      5.99832206555887937690e-1,
      1.36929880922735805310e-1,
      1.48753612908506148525e-2,
      7.86869131145613259100e-4,
      1.84631831751005468180e-5,
      1.42151175831644588870e-7,
      2.04426310338993978564e-15};
  return amp_rational_inline(a, b, r - 5.0);
}

#endif
