/*
** error.c -- filling an amp_error: limits, or a sentence put together
** without the C library's printf, whose decimal point follows the locale.
*/
#include "base/error.h"
#include "base/text.h"
#include <string.h>

/* A sentence under way: 'n' bytes of 'to' are used, the NUL not counted. */
typedef struct sentence {
  char *to;
  size_t n;
} sentence;

amp_status amp_fail (amp_error *err, amp_status status, const char *field,
                     double value, double lo, double hi) {
  if (err != NULL) {
    memset(err, 0, sizeof *err);
    err->status = status;
    err->field = field;
    err->value = value;
    err->lo = lo;
    err->hi = hi;
  }
  return status;
}

/* Append s[0..n), cut to what fits and never inside a UTF-8 character. */
static void put (sentence *out, const char *s, size_t n) {
  size_t room = AMP_ERROR_TEXT - 1 - out->n;
  if (n > room) {
    n = room;
    while (n > 0 && ((unsigned char)s[n] & 0xC0u) == 0x80u)
      n--;
  }
  memcpy(out->to + out->n, s, n);
  out->n += n;
  out->to[out->n] = '\0';
}

static void put_count (sentence *out, size_t v) {
  char digit[24];
  size_t at = sizeof digit;
  do {
    digit[--at] = (char)('0' + v % 10);
    v /= 10;
  } while (v != 0);
  put(out, digit + at, sizeof digit - at);
}

static void put_int (sentence *out, int v) {
  if (v < 0)
    put(out, "-", 1);
  put_count(out, v < 0 ? (size_t)(-(v + 1)) + 1 : (size_t)v);
}

static void put_double (sentence *out, double v) {
  char text[32];
  put(out, text, amp_format_double(v, 6, text));
}

static void put_format (sentence *out, const char *f, va_list arg) {
  while (*f != '\0') {
    size_t plain = strcspn(f, "%");
    put(out, f, plain);
    f += plain;
    if (f[0] == '\0')
      return;
    if (f[1] == 's') {
      const char *s = va_arg(arg, const char *);
      put(out, s, strlen(s));
    } else if (f[1] == 'd')
      put_int(out, va_arg(arg, int));
    else if (f[1] == 'g')
      put_double(out, va_arg(arg, double));
    else if (f[1] == 'z' && f[2] == 'u') {
      put_count(out, va_arg(arg, size_t));
      f++;
    } else { /* a plain per cent sign, as in "82 % of" */
      put(out, f, 1);
      f -= f[1] == '%' ? 0 : 1;
    }
    f += 2;
  }
}

amp_status amp_failv (amp_error *err, amp_status status, const char *field,
                      const char *format, va_list arg) {
  double none = __builtin_nan("");
  if (err != NULL) {
    amp_error made; /* arguments may point into *err itself */
    sentence out = {made.text, 0};
    amp_fail(&made, status, field, none, none, none);
    put_format(&out, format, arg);
    *err = made;
  }
  return status;
}

amp_status amp_failf (amp_error *err, amp_status status, const char *field,
                      const char *format, ...) {
  va_list arg;
  va_start(arg, format);
  amp_failv(err, status, field, format, arg);
  va_end(arg);
  return status;
}

amp_status amp_check_range (amp_error *err, const char *field, double v,
                            double lo, double hi) {
  if (!(v >= lo && v <= hi))
    return amp_fail(err, AMP_ERANGE, field, v, lo, hi);
  return AMP_OK;
}

const char *amp_status_text (amp_status status) {
  switch (status) {
  case AMP_OK:
    return "all is well";
  case AMP_ERANGE:
    return "a value lies outside its limits";
  case AMP_EDATA:
    return "the data is damaged or contradicts itself";
  case AMP_EMISSING:
    return "a value that the answer needs was not given";
  case AMP_EREFUSED:
    return "the question has no honest answer";
  case AMP_ENOMEM:
    return "there is not enough memory";
  case AMP_ESTOP:
    return "stopped by the caller";
  case AMP_EUSER:
    return "a function of the caller failed";
  case AMP_EINTERNAL:
    break;
  }
  return "a fault of this library";
}
