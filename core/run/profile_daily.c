/*
** profile_daily.c -- a duty of one day that repeats: its load and sun month by
** month over a year of hours, the spread of each as factors of the whole.
*/
#include "run/profile_parts.h"
#include "base/elementary.h"
#include <math.h>

enum { YEAR_HOURS = 8760 };

/* 'v' over its own middle: about 1, the same draw. */
static amp_value about_one (const amp_value *v) {
  if (amp_value_is_fixed(v))
    return amp_value_fixed(1.0, v->basis);
  return amp_value_scaled(v, 1.0 / v->value);
}

/* 'v' less its own middle: about 0, the same draw. */
static amp_value about_zero (const amp_value *v) {
  amp_value out = *v;
  if (amp_value_is_fixed(v))
    return amp_value_fixed(0.0, v->basis);
  out.lo = v->lo - v->value;
  out.hi = v->hi - v->value;
  out.value = 0.0;
  return out;
}

/* Standard deviation over the middle. */
static double relative_sd (const amp_value *v) {
  double sd = v->sd;
  if (v->spread == AMP_EVEN)
    sd = (v->hi - v->lo) / sqrt(12.0);
  if (v->spread == AMP_TESTED)
    sd *= sqrt((1.0 - (double)v->n / v->of) / v->n);
  return sd / v->value;
}

/*
** The product of some values as a factor about 1. One of them spread: its
** own form and draw. Several: normal, with the root of the summed squares
** of their relative standard deviations (first order), and a stream made
** from theirs, so that the same values give the same draw again.
*/
static amp_value product_factor (const amp_value *const *v, size_t n) {
  amp_value out = amp_value_fixed(1.0, AMP_BASIS_NONE);
  size_t spread = 0;
  double variance = 0.0;
  uint64_t stream = 0;
  amp_basis basis = AMP_BASIS_NONE;
  for (size_t i = 0; i < n; i++) {
    if (!amp_value_is_set(v[i]))
      continue;
    basis = amp_basis_worse(basis, v[i]->basis);
    if (amp_value_is_fixed(v[i]))
      continue;
    double sd = relative_sd(v[i]);
    variance += sd * sd;
    stream = stream * UINT64_C(0x100000001b3) ^ v[i]->stream;
    out = about_one(v[i]);
    spread++;
  }
  if (spread > 1) {
    out = amp_value_normal(1.0, sqrt(variance), basis);
    out.stream = stream;
  }
  out.basis = basis;
  return out;
}

/* ---- the day ---- */

static amp_status check_value (const char *field, const amp_value *v,
                               double lo, double hi, amp_error *err) {
  if (!amp_value_is_set(v))
    return AMP_OK;
  amp_status s = amp_check_range(err, field, v->value, lo, hi);
  if (s == AMP_OK && v->value == 0.0 && !amp_value_is_fixed(v))
    s = amp_failf(err, AMP_ERANGE, field,
                  "a spread about 0 cannot be a share of it");
  return s;
}

static int active_days (const amp_daily *d) {
  int days = 0;
  for (int m = 0; m < 12; m++)
    days += d->month[m] ? duty_month_days[m] : 0;
  return days;
}

static amp_status check_days (const amp_daily *d, amp_error *err) {
  int most = active_days(d);
  if (most == 0)
    return amp_failf(err, AMP_EMISSING, "months", "no month is active");
  amp_status s =
      amp_check_range(err, "days_per_year", d->days_per_year, 0.0, most);
  if (s == AMP_OK && d->days_per_year != floor(d->days_per_year))
    s = amp_failf(err, AMP_ERANGE, "days_per_year",
                  "days_per_year must be whole (got %g)", d->days_per_year);
  return s;
}

/* Joules a day that a steady DUTY_POWER_MOST would give. */
static double energy_most (void) {
  return DUTY_POWER_MOST * DUTY_DAY;
}

static amp_status check_loads (const amp_daily *d, amp_error *err) {
  amp_status s = check_days(d, err);
  if (s == AMP_OK)
    s = check_value("from_battery", &d->from_battery, 0, energy_most(), err);
  if (s == AMP_OK)
    s = check_value("load_kwh", &d->load_kwh, 0, energy_most(), err);
  if (s == AMP_OK && !amp_value_is_set(&d->load_kwh))
    s = duty_check_list("load", d->load, 24, 0.0, DUTY_POWER_MOST, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "dc_load", d->dc_load, 0.0, DUTY_POWER_MOST);
  return s;
}

static amp_status check_supply (const amp_daily *d, amp_error *err) {
  amp_status s =
      check_value("solar_peak", &d->solar_peak, 0, DUTY_POWER_MOST, err);
  if (s == AMP_OK)
    s = check_value("performance", &d->performance, 0.0, 1.0, err);
  if (s == AMP_OK && amp_value_is_set(&d->sun_one))
    s = check_value("sun", &d->sun_one, 0.0, 24.0, err);
  else if (s == AMP_OK)
    s = duty_check_list("sun", d->sun, 12, 0.0, 24.0, err);
  if (s == AMP_OK && d->solar_peak.value > 0.0 &&
      !amp_value_is_set(&d->performance))
    s = amp_failf(err, AMP_EMISSING, "performance",
                  "solar power needs a performance ratio");
  if (s == AMP_OK)
    s = amp_check_range(err, "charge_efficiency", d->charge_efficiency, 0.01,
                        1.0);
  return s;
}

static amp_status check_temp (const amp_daily *d, amp_error *err) {
  if (!amp_value_is_set(&d->temp_one))
    return duty_check_list("temp", d->temp, 12, DUTY_KELVIN_LEAST,
                           DUTY_KELVIN_MOST, err);
  return amp_check_range(err, "temp", d->temp_one.value, DUTY_KELVIN_LEAST,
                         DUTY_KELVIN_MOST);
}

static bool has_sun (const amp_daily *d) {
  return amp_value_is_set(&d->solar_peak) && d->solar_peak.value > 0.0;
}

static bool any_above_zero (const double *v, size_t n) {
  for (size_t i = 0; i < n; i++)
    if (v[i] > 0.0)
      return true;
  return false;
}

/* Plain numbers, which have no basis of their own, are assumed. */
static void daily_basis (const amp_daily *d, amp_duty *out) {
  amp_basis load = d->load_kwh.basis;
  if (amp_value_is_set(&d->from_battery))
    load = d->from_battery.basis;
  else if (!amp_value_is_set(&d->load_kwh) && any_above_zero(d->load, 24))
    load = AMP_BASIS_ASSUMED;
  if (d->dc_load > 0.0)
    load = AMP_BASIS_ASSUMED;
  out->load_factor.basis = load;
  if (!out->supply_free && has_sun(d) && !amp_value_is_set(&d->sun_one))
    out->sun_factor.basis = AMP_BASIS_ASSUMED;
  if (!amp_value_is_set(&d->temp_one))
    out->temp_shift.basis = AMP_BASIS_ASSUMED;
  out->basis = amp_basis_worse(amp_basis_worse(load, out->sun_factor.basis),
                               out->temp_shift.basis);
}

static void daily_factors (const amp_daily *d, amp_duty *out) {
  const amp_value *sun[] = {&d->solar_peak, &d->performance, &d->sun_one};
  if (amp_value_is_set(&d->from_battery))
    out->load_factor = about_one(&d->from_battery);
  else if (amp_value_is_set(&d->load_kwh))
    out->load_factor = about_one(&d->load_kwh);
  if (!out->supply_free && has_sun(d))
    out->sun_factor = product_factor(sun, 3);
  if (amp_value_is_set(&d->temp_one))
    out->temp_shift = about_zero(&d->temp_one);
  daily_basis(d, out);
}

/* Mean over hour h .. h+1 of a half sine from 6 to 18 h with energy 1 (in
** power times hours): the integral pi/24 sin(pi (t-6)/12) dt. */
static double sun_hour (int h) {
  if (h < 6 || h >= 18)
    return 0.0;
  return 0.5 * (amp_cos(AMP_PI * (h - 6) / 12.0) -
                amp_cos(AMP_PI * (h - 5) / 12.0));
}

/* Watts of load and supply for the hours of an active day of month m. */
typedef struct day_shape {
  double ac[24], pv[24];
} day_shape;

enum { SUPPLY_FROM = 11, SUPPLY_TO = 13 };

/* Out of the battery: the load spread over the 22 h without supply; then,
** in two hours, four times the day's energy and 100 W of idle draw for a
** day, which is as large as needed. */
static void shape_from_battery (const amp_daily *d, day_shape *s) {
  double joules = 4.0 * (d->from_battery.value + d->dc_load * DUTY_DAY);
  int free_hours = SUPPLY_TO - SUPPLY_FROM;
  joules += 100.0 * DUTY_DAY;
  for (int h = 0; h < 24; h++) {
    bool free_now = h >= SUPPLY_FROM && h < SUPPLY_TO;
    s->ac[h] = free_now
                   ? 0.0
                   : d->from_battery.value / (DUTY_HOUR * (24 - free_hours));
    s->pv[h] = free_now ? joules / (DUTY_HOUR * free_hours) : 0.0;
  }
}

static void shape_load_and_sun (const amp_daily *d, int month, day_shape *s) {
  double sun =
      amp_value_is_set(&d->sun_one) ? d->sun_one.value : d->sun[month];
  double watt_hours =
      has_sun(d) ? d->solar_peak.value * d->performance.value * sun : 0.0;
  for (int h = 0; h < 24; h++) {
    s->ac[h] = amp_value_is_set(&d->load_kwh) ? d->load_kwh.value / DUTY_DAY
                                              : d->load[h];
    s->pv[h] = watt_hours * sun_hour(h);
  }
}

/* One day into the arrays. A day off inside an active month has sun, but
** no load and no inverter. */
static void put_day (const amp_daily *d, const day_shape *s, bool works,
                     size_t at, amp_duty *out) {
  for (size_t h = 0; h < 24; h++) {
    out->pv[at + h] = s->pv[h];
    out->ac[at + h] = works ? s->ac[h] : 0.0;
    out->dc[at + h] = works ? d->dc_load : 0.0;
    out->on[at + h] = works;
  }
}

static void daily_fill (const amp_daily *d, amp_duty *out) {
  int most = active_days(d);
  int want = d->days_per_year > 0.0 ? (int)d->days_per_year : most;
  int seen = 0;
  size_t at = 0;
  for (int m = 0; m < 12; m++) {
    day_shape s;
    if (amp_value_is_set(&d->from_battery))
      shape_from_battery(d, &s);
    else
      shape_load_and_sun(d, m, &s);
    double temp =
        amp_value_is_set(&d->temp_one) ? d->temp_one.value : d->temp[m];
    for (int day = 0; day < duty_month_days[m]; day++, at += 24) {
      for (size_t h = 0; h < 24; h++)
        out->temp[at + h] = temp;
      if (!d->month[m])
        continue;
      /* day j of the active ones works where j want/most passes a whole */
      bool works = (seen + 1) * want / most > seen * want / most;
      put_day(d, &s, works, at, out);
      seen++;
    }
  }
}

amp_status amp_duty_daily (const amp_context *ctx, const amp_daily *d,
                           amp_duty *out, amp_error *err) {
  amp_duty made;
  amp_status s = check_loads(d, err);
  if (s == AMP_OK)
    s = check_supply(d, err);
  if (s == AMP_OK)
    s = check_temp(d, err);
  if (s == AMP_OK)
    s = duty_make(ctx, YEAR_HOURS, DUTY_HOUR, &made, err);
  if (s != AMP_OK)
    return s;
  made.supply_free = amp_value_is_set(&d->from_battery);
  made.charge_efficiency = d->charge_efficiency;
  daily_fill(d, &made);
  daily_factors(d, &made);
  duty_months_from(&made, 0);
  *out = made;
  return AMP_OK;
}
