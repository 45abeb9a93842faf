/*
** elementary_inline.h -- amp_exp without a branch or a call, for loops over
** lanes: gcc and clang turn it into vector code of any width, and every
** lane holds the same bits as amp_exp.
*/
#ifndef AMP_BASE_ELEMENTARY_INLINE_H
#define AMP_BASE_ELEMENTARY_INLINE_H

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

#endif
