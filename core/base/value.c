/*
** value.c -- numbers with their spread and basis, and their draws.
*/
#include "base/value.h"
#include "base/elementary.h"
#include "base/sample.h"
#include <math.h>

amp_value amp_value_fixed (double v, amp_basis basis) {
  return (amp_value){.spread = AMP_FIXED, .basis = basis, .value = v};
}

amp_value amp_value_normal (double v, double sd, amp_basis basis) {
  return (amp_value){
      .spread = AMP_NORMAL, .basis = basis, .value = v, .sd = sd};
}

amp_value amp_value_even (double lo, double hi) {
  return (amp_value){.spread = AMP_EVEN,
                     .basis = AMP_BASIS_ASSUMED,
                     .value = lo + 0.5 * (hi - lo),
                     .lo = lo,
                     .hi = hi};
}

/* Mean and standard deviation with n-1 (0 for a single number). */
static void moments (const double *v, size_t n, double *mean, double *sd) {
  double sum = 0.0, squares = 0.0;
  for (size_t i = 0; i < n; i++)
    sum += v[i];
  *mean = sum / (double)n;
  for (size_t i = 0; i < n; i++)
    squares += (v[i] - *mean) * (v[i] - *mean);
  *sd = n > 1 ? sqrt(squares / (double)(n - 1)) : 0.0;
}

amp_status amp_value_tested (const double *result, size_t n, int of,
                             double lo, double hi, amp_value *out,
                             amp_error *err) {
  amp_value v = {.spread = AMP_TESTED,
                 .basis = AMP_BASIS_MEASURED,
                 .lo = lo,
                 .hi = hi,
                 .n = (int)n,
                 .of = of};
  if (n == 0)
    return amp_failf(err, AMP_EMISSING, "tested", "no test result given");
  if (of < 1 || n > (size_t)of)
    return amp_failf(err, AMP_EDATA, "tested",
                     "%zu test results from a lot of %d", n, of);
  for (size_t i = 0; i < n; i++) {
    amp_status status = amp_check_range(err, "tested", result[i], lo, hi);
    if (status != AMP_OK)
      return status;
  }
  moments(result, n, &v.value, &v.sd);
  *out = v;
  return AMP_OK;
}

/* Standard error of the lot's mean; none is left when all were tested. */
static double error_of_mean (const amp_value *v) {
  double n = v->n;
  return v->sd / sqrt(n) * sqrt(1.0 - n / v->of);
}

double amp_value_half_width (const amp_value *v) {
  if (v->spread != AMP_TESTED || v->n < 2)
    return __builtin_nan("");
  return amp_t_quantile(0.975, v->n - 1) * error_of_mean(v);
}

amp_value amp_value_scaled (const amp_value *v, double factor) {
  amp_value out = *v;
  out.value *= factor;
  out.sd *= fabs(factor);
  out.lo = (factor < 0.0 ? v->hi : v->lo) * factor;
  out.hi = (factor < 0.0 ? v->lo : v->hi) * factor;
  return out;
}

bool amp_value_is_set (const amp_value *v) {
  return v->spread != AMP_UNSET;
}

bool amp_value_is_fixed (const amp_value *v) {
  switch (v->spread) {
  case AMP_FIXED:
    return true;
  case AMP_NORMAL:
    return v->sd == 0.0;
  case AMP_EVEN:
    return v->lo == v->hi;
  case AMP_TESTED:
    return v->n < 2 || error_of_mean(v) == 0.0;
  case AMP_UNSET:
    break;
  }
  return false;
}

/* What place u of its distribution holds. */
static double placed (const amp_value *v, double u) {
  if (v->spread == AMP_EVEN)
    return v->lo + u * (v->hi - v->lo);
  double x = v->value + error_of_mean(v) * amp_t_quantile(u, v->n - 1);
  return fmin(fmax(x, v->lo), v->hi);
}

double amp_value_at (const amp_value *v, double u) {
  if (!amp_value_is_set(v))
    return __builtin_nan("");
  if (amp_value_is_fixed(v))
    return v->value;
  if (v->spread == AMP_NORMAL)
    return v->value + v->sd * amp_normal_quantile(u);
  return placed(v, u);
}

double amp_value_draw (const amp_value *v, uint64_t seed, size_t draw,
                       size_t draws) {
  if (!amp_value_is_set(v) || amp_value_is_fixed(v))
    return amp_value_at(v, 0.5);
  return amp_value_at(v,
                      amp_uniform_stratified(seed, v->stream, draw, draws));
}

void amp_value_draws (const amp_context *ctx, const amp_value *v,
                      uint64_t seed, size_t from, size_t count, size_t draws,
                      double *out) {
  if (!amp_value_is_set(v) || amp_value_is_fixed(v)) {
    for (size_t i = 0; i < count; i++)
      out[i] = amp_value_at(v, 0.5);
    return;
  }
  amp_uniforms_stratified(ctx, seed, v->stream, from, count, draws, out);
  if (v->spread == AMP_NORMAL) {
    amp_normal_quantiles(ctx, out, count);
    for (size_t i = 0; i < count; i++)
      out[i] = v->value + v->sd * out[i];
    return;
  }
  for (size_t i = 0; i < count; i++)
    out[i] = placed(v, out[i]);
}

amp_basis amp_basis_worse (amp_basis a, amp_basis b) {
  return a > b ? a : b;
}

const char *amp_basis_name (amp_basis b) {
  switch (b) {
  case AMP_BASIS_MEASURED:
    return "measured";
  case AMP_BASIS_COMPUTED:
    return "computed";
  case AMP_BASIS_CLAIMED:
    return "claimed";
  case AMP_BASIS_ASSUMED:
    return "assumed";
  case AMP_BASIS_NONE:
    break;
  }
  return "";
}

amp_status amp_check_given (amp_error *err, const char *field, double v,
                            double lo, double hi) {
  return amp_given(v) ? amp_check_range(err, field, v, lo, hi) : AMP_OK;
}
