/*
** text.c -- numbers to and from text with whole-number arithmetic as wide as
** it takes, so that every digit is right and no locale enters.
*/
#include "base/text.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

/* ---- wide whole numbers ---- */

enum {
  WIDE = 192,        /* 32-bit parts: 6144 bits; the widest case below is
                        800 digits with an exponent of 10^-1150: 3850 bits */
  DIGITS_KEPT = 800, /* 767 decide any rounding, the rest only "more" */
  DIGITS_MADE = 48   /* of a double: more than any 'out' can hold */
};

typedef struct wide {
  int n; /* parts in use, lowest first; none: 0 */
  uint32_t part[WIDE];
} wide;

static void wide_set (wide *w, uint64_t v) {
  w->n = 0;
  for (; v != 0; v >>= 32)
    w->part[w->n++] = (uint32_t)v;
}

/* w = w * by + add */
static void wide_mul (wide *w, uint32_t by, uint32_t add) {
  uint64_t carry = add;
  for (int i = 0; i < w->n; i++) {
    carry += (uint64_t)w->part[i] * by;
    w->part[i] = (uint32_t)carry;
    carry >>= 32;
  }
  if (carry != 0)
    w->part[w->n++] = (uint32_t)carry;
}

static void wide_mul_power10 (wide *w, int power) {
  for (; power >= 9; power -= 9)
    wide_mul(w, 1000000000u, 0);
  for (; power > 0; power--)
    wide_mul(w, 10u, 0);
}

static void wide_shift (wide *w, int bits) {
  int parts = bits / 32;
  wide_mul(w, (uint32_t)1 << (bits % 32), 0);
  if (w->n == 0 || parts == 0)
    return;
  memmove(w->part + parts, w->part, (size_t)w->n * sizeof *w->part);
  memset(w->part, 0, (size_t)parts * sizeof *w->part);
  w->n += parts;
}

/* w = w / by, giving the remainder */
static uint32_t wide_div (wide *w, uint32_t by) {
  uint64_t rest = 0;
  for (int i = w->n; i-- > 0;) {
    rest = rest << 32 | w->part[i];
    w->part[i] = (uint32_t)(rest / by);
    rest %= by;
  }
  while (w->n > 0 && w->part[w->n - 1] == 0)
    w->n--;
  return (uint32_t)rest;
}

static int wide_bits (const wide *w) {
  int n = 32 * (w->n - 1);
  if (w->n == 0)
    return 0;
  for (uint32_t top = w->part[w->n - 1]; top != 0; top >>= 1)
    n++;
  return n;
}

static int wide_compare (const wide *a, const wide *b) {
  if (a->n != b->n)
    return a->n < b->n ? -1 : 1;
  for (int i = a->n; i-- > 0;)
    if (a->part[i] != b->part[i])
      return a->part[i] < b->part[i] ? -1 : 1;
  return 0;
}

/* a = a - b, for a >= b */
static void wide_sub (wide *a, const wide *b) {
  uint64_t borrow = 0;
  for (int i = 0; i < a->n; i++) {
    uint64_t take = borrow + (i < b->n ? b->part[i] : 0);
    borrow = a->part[i] < take;
    a->part[i] = (uint32_t)(a->part[i] - take);
  }
  while (a->n > 0 && a->part[a->n - 1] == 0)
    a->n--;
}

/* ---- text into a double ---- */

/* What was read: digit[0..n) times 10^exp10, and whether digits other than
** 0 were left out behind them. */
typedef struct decimal {
  bool minus, more;
  int n;
  long exp10;
  unsigned char digit[DIGITS_KEPT];
} decimal;

static bool is_digit (char c) {
  return c >= '0' && c <= '9';
}

static void take_digit (decimal *d, int digit, bool fraction) {
  if (d->n == 0 && digit == 0) { /* a leading 0 counts as place only */
    d->exp10 -= fraction;
    return;
  }
  if (d->n < DIGITS_KEPT) {
    d->digit[d->n++] = (unsigned char)digit;
    d->exp10 -= fraction;
  } else {
    d->more = d->more || digit != 0;
    d->exp10 += !fraction;
  }
}

/* The digits after "e"; false where there are none. Cut at a million. */
static bool scan_exponent (const char *s, const char *end, decimal *d) {
  bool minus = s < end && *s == '-';
  long e = 0;
  if (s < end && (*s == '-' || *s == '+'))
    s++;
  if (s == end)
    return false;
  for (; s < end; s++) {
    if (!is_digit(*s))
      return false;
    if (e < 1000000)
      e = 10 * e + (*s - '0');
  }
  d->exp10 += minus ? -e : e;
  return true;
}

static bool scan (const char *s, size_t n, char point, decimal *d) {
  const char *end = s + n;
  bool fraction = false, any = false;
  d->minus = d->more = false;
  d->n = 0;
  d->exp10 = 0;
  if (s < end && (*s == '-' || *s == '+'))
    d->minus = *s++ == '-';
  for (; s < end; s++) {
    if (is_digit(*s)) {
      take_digit(d, *s - '0', fraction);
      any = true;
    } else if (*s == point && !fraction)
      fraction = true;
    else
      break;
  }
  if (!any)
    return false;
  if (s < end && (*s == 'e' || *s == 'E'))
    return scan_exponent(s + 1, end, d);
  return s == end;
}

/* m 2^e, m < 2^54 and e such that the result is a finite double or 0 */
static double scaled (uint64_t m, int e) {
  double v = (double)m; /* exact: at most 53 bits are set by the caller */
  for (; e > 1000; e -= 1000)
    v *= 0x1p1000;
  for (; e < -1000; e += 1000)
    v *= 0x1p-1000; /* exact: only the last step may reach subnormals */
  uint64_t bits = (uint64_t)(e + 1023) << 52;
  double p;
  memcpy(&p, &bits, sizeof p);
  return v * p;
}

/*
** num / den, rounded to the nearest double, ties to even; 'more': the true
** quotient lies a little above. Long division gives as many bits as the
** double has there, and what is left decides. False: too large.
*/
static bool divide (wide *num, wide *den, bool more, double *out) {
  int e = wide_bits(num) - wide_bits(den) - 53, keep, cmp;
  uint64_t m = 0;
  if (e > 1100)
    return false;
  if (e < -1074)
    e = -1074; /* the last bit of the subnormals */
  wide_shift(e > 0 ? den : num, e > 0 ? e : -e);
  keep = wide_bits(num) - wide_bits(den); /* bits of the quotient, about */
  if (keep > 0)
    wide_shift(den, keep);
  for (int i = keep > 0 ? keep : 0; i >= 0; i--) {
    m <<= 1;
    if (wide_compare(num, den) >= 0) {
      wide_sub(num, den);
      m |= 1;
    }
    wide_shift(num, 1);
  }
  cmp = wide_compare(num, den); /* twice the rest against the divisor */
  if (m >= (uint64_t)1 << 53) { /* one bit too many: it joins the rest */
    bool half = (m & 1) != 0;
    more = more || num->n != 0;
    m >>= 1;
    e++;
    m += half && (more || (m & 1) != 0);
  } else
    m += cmp > 0 || (cmp == 0 && (more || (m & 1) != 0));
  *out = scaled(m, e);
  return *out <= 0x1.fffffffffffffp+1023;
}

static const double ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                             1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                             1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* At most 15 digits and a power of ten that a double holds: one exact
** operation (W. D. Clinger, 1990). */
static bool quick (const decimal *d, double *out) {
  double v = 0.0;
  if (d->n > 15 || d->exp10 < -22 || d->exp10 > 22)
    return false;
  for (int i = 0; i < d->n; i++)
    v = 10.0 * v + d->digit[i];
  *out = d->exp10 < 0 ? v / ten[-d->exp10] : v * ten[d->exp10];
  return true;
}

/* The value without its sign; false: too large. */
static bool value_of (const decimal *d, double *out) {
  wide num, den;
  *out = 0.0;
  if (quick(d, out) || d->exp10 + d->n < -350)
    return true;
  if (d->exp10 + d->n > 310)
    return false;
  wide_set(&num, 0);
  for (int i = 0; i < d->n; i++)
    wide_mul(&num, 10, d->digit[i]);
  wide_set(&den, 1);
  if (d->exp10 > 0)
    wide_mul_power10(&num, (int)d->exp10);
  else
    wide_mul_power10(&den, (int)-d->exp10);
  return divide(&num, &den, d->more, out);
}

/* The same for what most numbers look like, digits around a point or none:
** false for all others. */
static bool plain (const char *s, size_t n, char point, double *out) {
  bool minus = n > 0 && s[0] == '-';
  size_t i = minus ? 1 : 0, first = i, points = 0, behind = 0;
  int64_t v = 0;
  if (n - i > 16 || n <= i || (unsigned char)(s[n - 1] - '0') > 9)
    return false;
  for (; i < n; i++) {
    unsigned char digit = (unsigned char)(s[i] - '0');
    if (digit <= 9) {
      v = 10 * v + digit;
      behind += points;
    } else if (s[i] == point && points == 0 && i > first)
      points = 1;
    else
      return false;
  }
  if (n - first - points > 15)
    return false;
  *out = (double)v / ten[behind];
  *out = minus ? -*out : *out;
  return true;
}

amp_status amp_parse_double (const char *s, size_t n, char point, double *out,
                             bool *underflow) {
  decimal d;
  double v = 0.0;
  if (underflow != NULL)
    *underflow = false;
  if (plain(s, n, point, out))
    return AMP_OK;
  if (!scan(s, n, point, &d))
    return AMP_EDATA;
  if (d.n > 0 && !value_of(&d, &v))
    return AMP_ERANGE;
  if (underflow != NULL)
    *underflow = d.n > 0 && v < 0x1p-1022;
  *out = d.minus ? -v : v;
  return AMP_OK;
}

/* ---- a double into text ---- */

/* |v| = 0.d1 d2 d3 ... times 10^point, the first DIGITS_MADE digits, exact
** as far as they go; n = 0 for 0. */
typedef struct digits {
  int n, point;
  unsigned char d[DIGITS_MADE + 320];
} digits;

static void add_nine (digits *x, uint32_t v) {
  for (int i = 8; i >= 0; i--) {
    x->d[x->n + i] = (unsigned char)(v % 10);
    v /= 10;
  }
  x->n += 9;
}

/* Cut leading zeros, counting them off the point. */
static void trim_front (digits *x) {
  int zeros = 0;
  while (zeros < x->n && x->d[zeros] == 0)
    zeros++;
  memmove(x->d, x->d + zeros, (size_t)(x->n - zeros));
  x->n -= zeros;
  x->point -= zeros;
}

/* The whole number w as digits: nine at a time from the lowest. */
static void whole_digits (digits *x, wide *w) {
  uint32_t nine[WIDE];
  int n = 0;
  while (w->n > 0)
    nine[n++] = wide_div(w, 1000000000u);
  while (n > 0)
    add_nine(x, nine[--n]);
  x->point = x->n;
  trim_front(x);
}

/* w / 2^bits < 1 as digits: times 10^9 brings nine above the point. */
static void fraction_digits (digits *x, wide *w, int bits) {
  int part = bits / 32, shift = bits % 32;
  while (w->n > 0 && x->n < DIGITS_MADE) {
    uint64_t nine = 0;
    wide_mul(w, 1000000000u, 0);
    for (int i = w->n; i-- > part;)
      nine = nine << 32 | w->part[i];
    add_nine(x, (uint32_t)(nine >> shift));
    if (w->n > part) { /* keep what is below the point */
      w->part[part] &= ((uint32_t)1 << shift) - 1;
      w->n = part + 1;
    }
    while (w->n > 0 && w->part[w->n - 1] == 0)
      w->n--;
    if (x->point <= 0)
      trim_front(x);
  }
}

static void digits_of (double v, digits *x) {
  uint64_t bits;
  wide w;
  memcpy(&bits, &v, sizeof bits);
  int e = (int)(bits >> 52 & 0x7ff);
  uint64_t m = bits & 0xfffffffffffffu;
  if (e > 0)
    m |= (uint64_t)1 << 52;
  else
    e = 1;
  e -= 1075;
  x->n = x->point = 0;
  if (e >= 0 || (e > -64 && m >> -e != 0)) {
    wide_set(&w, e >= 0 ? m : m >> -e);
    wide_shift(&w, e >= 0 ? e : 0);
    whole_digits(x, &w);
    if (e >= 0)
      return;
    m &= ((uint64_t)1 << -e) - 1;
  }
  wide_set(&w, m);
  fraction_digits(x, &w, -e);
}

/* Round to n >= 0 digits, half away from zero; zeros at the end are cut. */
static void round_to (digits *x, int n) {
  bool up = n < x->n && n >= 0 && x->d[n] >= 5;
  if (n < x->n)
    x->n = n > 0 ? n : 0;
  if (up) {
    while (x->n > 0 && x->d[x->n - 1] == 9)
      x->n--;
    if (x->n > 0)
      x->d[x->n - 1]++;
    else {
      x->d[x->n++] = 1;
      x->point++;
    }
  }
  while (x->n > 0 && x->d[x->n - 1] == 0)
    x->n--;
}

static char digit_at (const digits *x, int i) {
  return (char)('0' + (i >= 0 && i < x->n ? x->d[i] : 0));
}

/* 1.25e+300; at least 'least' digits. */
static char *write_exponent (const digits *x, int least, char *to) {
  int n = x->n > least ? x->n : least, e = x->n > 0 ? x->point - 1 : 0;
  *to++ = digit_at(x, 0);
  if (n > 1)
    *to++ = '.';
  for (int i = 1; i < n; i++)
    *to++ = digit_at(x, i);
  *to++ = 'e';
  *to++ = e < 0 ? '-' : '+';
  if (e < 0)
    e = -e;
  if (e >= 100)
    *to++ = (char)('0' + e / 100);
  *to++ = (char)('0' + e / 10 % 10);
  *to++ = (char)('0' + e % 10);
  return to;
}

/* 1234.5 with 'decimals' digits after the point. */
static char *write_plain (const digits *x, int decimals, char *to) {
  if (x->point <= 0 || x->n == 0)
    *to++ = '0';
  else
    for (int i = 0; i < x->point; i++)
      *to++ = digit_at(x, i);
  if (decimals > 0)
    *to++ = '.';
  for (int i = 0; i < decimals; i++)
    *to++ = digit_at(x, (x->n > 0 ? x->point : 0) + i);
  return to;
}

/* nan, inf, -inf; 0 for a finite number. */
static size_t write_odd (double v, char *out) {
  if (isfinite(v))
    return 0;
  strcpy(out, v != v ? "nan" : v < 0 ? "-inf" : "inf");
  return strlen(out);
}

/* Digits after the point that x has. */
static int decimals_of (const digits *x) {
  int n = x->n - x->point;
  return x->n > 0 && n > 0 ? n : 0;
}

static size_t finish (char *out, char *end) {
  *end = '\0';
  return (size_t)(end - out);
}

/* x as the C notation chooses: plain for 1e-4 <= |v| < 10^most. */
static size_t write_general (const digits *x, bool minus, int most,
                             char *out) {
  char *to = out;
  if (minus)
    *to++ = '-';
  if (x->n > 0 && (x->point < -3 || x->point > most))
    to = write_exponent(x, 1, to);
  else
    to = write_plain(x, decimals_of(x), to);
  return finish(out, to);
}

static bool reads_back (const char *s, size_t n, double v) {
  double got;
  return amp_parse_double(s, n, '.', &got, NULL) == AMP_OK && got == v;
}

/* One unit more or less in digit n, for the search beside the nearest. */
static void nudge (digits *x, int n, bool up) {
  int i = n - 1;
  for (; x->n < n; x->n++)
    x->d[x->n] = 0;
  while (i > 0 && x->d[i] == (up ? 9 : 0))
    x->d[i--] = up ? 0 : 9;
  x->d[i] = (unsigned char)(x->d[i] + (up ? 1 : -1));
  if (x->d[0] == 10) {
    x->d[0] = 1;
    x->point++;
  }
  trim_front(x);
  while (x->n > 0 && x->d[x->n - 1] == 0)
    x->n--;
}

/*
** Fifteen digits survive the way into a double and back, so where the
** fifteen nearest read back, they without their zeros are the shortest.
** Else 16, 17; below the normal numbers every length is tried. Beside the
** nearest digits their neighbours are tried: just below a power of two the
** doubles lie closer, and a shorter text may lie on the wide side only.
*/
size_t amp_format_shortest (double v, char *out) {
  digits all, x;
  bool minus = v < 0 || (v == 0 && 1 / v < 0);
  size_t len = write_odd(v, out);
  if (len > 0)
    return len;
  digits_of(v, &all);
  for (int n = fabs(v) < 0x1p-1022 ? 1 : 15; n <= 17; n++) {
    for (int side = 0; side < 3; side++) {
      x = all;
      round_to(&x, n);
      if (side > 0 && (n < 16 || v == 0))
        break;
      if (side > 0)
        nudge(&x, n, side == 1);
      len = write_general(&x, minus, 15, out);
      if (reads_back(out, len, v))
        return len;
    }
  }
  return len;
}

size_t amp_format_double (double v, int digits_wanted, char *out) {
  digits x;
  size_t len = write_odd(v, out);
  if (len > 0)
    return len;
  digits_of(v, &x);
  round_to(&x, digits_wanted < 1    ? 1
               : digits_wanted > 17 ? 17
                                    : digits_wanted);
  return write_general(&x, v < 0, 15, out);
}

size_t amp_format_significant (double v, int digits_wanted, char *out) {
  digits x;
  char *to = out;
  int n = digits_wanted < 1 ? 1 : digits_wanted > 17 ? 17 : digits_wanted;
  size_t len = write_odd(v, out);
  if (len > 0)
    return len;
  digits_of(v, &x);
  round_to(&x, x.point > n && x.point <= 15 ? x.point : n);
  if (v < 0)
    *to++ = '-';
  if (x.n > 0 && (x.point < -3 || x.point > 15))
    to = write_exponent(&x, n, to);
  else if (x.n == 0)
    to = write_plain(&x, n - 1, to);
  else
    to = write_plain(&x, n > x.point ? n - x.point : 0, to);
  return finish(out, to);
}

/* More than 15 digits before the point would not fit: 1.2e+20. */
size_t amp_format_fixed (double v, int decimals, char *out) {
  digits x;
  char *to = out;
  int n = decimals < 0 ? 0 : decimals > 12 ? 12 : decimals;
  size_t len = write_odd(v, out);
  if (len > 0)
    return len;
  digits_of(v, &x);
  if (x.n > 0 && x.point > 15) {
    round_to(&x, 15);
    return write_general(&x, v < 0, 15, out);
  }
  round_to(&x, x.point + n);
  if (v < 0 && x.n > 0) /* no "-0.00" */
    *to++ = '-';
  return finish(out, write_plain(&x, n, to));
}

/* ---- words ---- */

static bool same_word (const char *s, const char *lower) {
  for (; *s != '\0' && *lower != '\0'; s++, lower++)
    if (*s != *lower && !(*s >= 'A' && *s <= 'Z' && *s - 'A' + 'a' == *lower))
      return false;
  return *s == *lower;
}

bool amp_text_is_one_of (const char *s, const char *const *word) {
  for (; *word != NULL; word++)
    if (same_word(s, *word))
      return true;
  return false;
}
