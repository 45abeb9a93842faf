/*
** error.h -- how a call of the core says no. Every call that can fail
** returns an amp_status and, where the caller gave an amp_error, fills it
** with what a person needs to mend the input: the field, the value, the
** limits, or a sentence. A refused call leaves the caller's data as it was.
** Units of value, lo and hi are those of the field (SI); the bindings turn
** them into the user's unit before they show them.
*/
#ifndef AMP_BASE_ERROR_H
#define AMP_BASE_ERROR_H

#include <stdarg.h>
#include <stddef.h>

typedef enum amp_status {
  AMP_OK = 0,
  AMP_ERANGE,   /* a value lies outside its limits, or is NaN or infinite */
  AMP_EDATA,    /* input data is damaged or contradicts itself */
  AMP_EMISSING, /* a value that the answer needs was not given */
  AMP_EREFUSED, /* the question has no honest answer (LFP plateau, ...) */
  AMP_ENOMEM,   /* the caller's allocator gave nothing */
  AMP_ESTOP,    /* the caller's stop flag was up */
  AMP_EUSER,    /* a function of the caller (a fade law, a case) failed */
  AMP_EINTERNAL /* a fault of this library */
} amp_status;

enum { AMP_ERROR_TEXT = 200 };

typedef struct amp_error {
  amp_status status;
  const char *field; /* static string, e.g. "capacity"; NULL: see text */
  double value;      /* what was given */
  double lo, hi;     /* what is accepted, both ends included */
  size_t line, column; /* place in a text, from 1; 0: none */
  char text[AMP_ERROR_TEXT]; /* a sentence without a full stop, or "" */
} amp_error;

/* Fill 'err' (or nothing where it is NULL) and return 'status'. */
amp_status amp_fail (amp_error *err, amp_status status, const char *field,
                     double value, double lo, double hi);

/*
** The same with a sentence. Knows %s (cut to what fits), %d (int), %zu and
** %g (a double in at most six significant digits, by amp_format_double, so
** no locale enters); nothing else.
*/
amp_status amp_failf (amp_error *err, amp_status status, const char *field,
                      const char *format, ...);
amp_status amp_failv (amp_error *err, amp_status status, const char *field,
                      const char *format, va_list arg);

/* AMP_OK when lo <= v <= hi; written so that NaN fails. */
amp_status amp_check_range (amp_error *err, const char *field, double v,
                            double lo, double hi);

/* "a value lies outside its limits", ...: one static sentence a status */
const char *amp_status_text (amp_status status);

#endif
