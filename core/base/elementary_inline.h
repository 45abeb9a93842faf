/*
** elementary_inline.h -- amp_exp and amp_asinh without a branch or a call,
** for loops over lanes: gcc and clang turn them into vector code of any
** width, and every lane holds the same bits as amp_exp and amp_asinh. Not
** part of the interface.
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

#endif
