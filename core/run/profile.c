/*
** profile.c -- duties: a day that repeats, a series from a file, the load of
** one with the sun of another, a test. Definitions: docs/model/profile.md.
** Every maker builds a fresh duty and hands it over only when it is whole.
*/
#include "run/profile.h"
#include "base/elementary.h"
#include "base/text.h"
#include <math.h>
#include <string.h>

enum { YEAR_DAYS = 365, YEAR_HOURS = 8760, LEAP_DAY = 59 };

static const double DAY = 86400.0;
static const double HOUR = 3600.0;
static const double POWER_MOST = 1e9;      /* W, a typing error above */
static const double KELVIN_LEAST = 173.15; /* -100 C */
static const double KELVIN_MOST = 423.15;  /* 150 C */
static const double ROOM = 298.15;         /* K, 25 C */

static const char no_temp[] = "no temperature given, 25 C assumed";

/* A year without 29 February. */
static const int month_days[12] = {31, 28, 31, 30, 31, 30,
                                   31, 31, 30, 31, 30, 31};

void amp_duty_free (const amp_context *ctx, amp_duty *d) {
  size_t bytes = d->n * sizeof(double);
  amp_free(ctx, d->ac, bytes);
  amp_free(ctx, d->dc, bytes);
  amp_free(ctx, d->pv, bytes);
  amp_free(ctx, d->temp, bytes);
  amp_free(ctx, d->on, d->n);
  amp_free(ctx, d->amps, bytes);
  amp_free(ctx, d->edge, bytes + sizeof(double));
  amp_free(ctx, d->phase, d->phases * sizeof *d->phase);
  memset(d, 0, sizeof *d);
}

double amp_duty_start (const amp_duty *d, size_t i) {
  return d->edge != NULL ? d->edge[i] - d->edge[0] : (double)i * d->dt;
}

double amp_duty_length (const amp_duty *d, size_t i) {
  return d->edge != NULL ? d->edge[i + 1] - d->edge[i] : d->dt;
}

/* Zeros in all arrays, factors of one. Frees what it got where it fails. */
static amp_status duty_make (const amp_context *ctx, size_t n, double dt,
                             amp_duty *d, amp_error *err) {
  memset(d, 0, sizeof *d);
  if (n > (size_t)-1 / sizeof(double))
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu steps", n);
  d->n = n;
  d->dt = dt;
  d->ac = amp_alloc(ctx, n * sizeof(double));
  d->dc = amp_alloc(ctx, n * sizeof(double));
  d->pv = amp_alloc(ctx, n * sizeof(double));
  d->temp = amp_alloc(ctx, n * sizeof(double));
  d->on = amp_alloc(ctx, n);
  d->charge_efficiency = 1.0;
  d->load_factor = amp_value_fixed(1.0, AMP_BASIS_NONE);
  d->sun_factor = amp_value_fixed(1.0, AMP_BASIS_NONE);
  d->temp_shift = amp_value_fixed(0.0, AMP_BASIS_NONE);
  if (d->ac != NULL && d->dc != NULL && d->pv != NULL && d->temp != NULL &&
      d->on != NULL)
    return AMP_OK;
  amp_duty_free(ctx, d);
  return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu steps", n);
}

/* Months by running days from 'first' (0: 1 January) of a 365-day year. */
static void duty_months_from (amp_duty *d, int first) {
  size_t per_day = (size_t)(DAY / d->dt + 0.5);
  size_t end = 0;
  for (int m = 0; m < 12; m++) {
    end += (size_t)month_days[m];
    size_t day = end > (size_t)first ? end - (size_t)first : 0;
    d->month_end[m] = day * per_day < d->n ? day * per_day : d->n;
  }
  d->month_end[11] = d->n; /* days past 31 December stand with December */
}

/* Add a sentence to the note; what does not fit is cut. */
static void note_add (amp_duty *d, const char *text) {
  size_t used = strlen(d->note);
  const char *joint = used > 0 ? "; " : "";
  for (; *joint != '\0' && used + 1 < AMP_DUTY_NOTE; joint++)
    d->note[used++] = *joint;
  for (; *text != '\0' && used + 1 < AMP_DUTY_NOTE; text++)
    d->note[used++] = *text;
  d->note[used] = '\0';
}

/* "3 rows of a part day at the start dropped" */
static void note_count (amp_duty *d, size_t n, const char *text) {
  char line[AMP_DUTY_NOTE];
  size_t used = amp_format_shortest((double)n, line);
  line[used++] = ' ';
  for (; *text != '\0' && used + 1 < sizeof line; text++)
    line[used++] = *text;
  line[used] = '\0';
  note_add(d, line);
}

/* ---- months ---------------------------------------------------------- */

static bool day_runs (const amp_duty *d, size_t from, size_t to) {
  for (size_t i = from; i < to; i++)
    if (d->on[i] != 0 || d->ac[i] > 0.0 || d->dc[i] > 0.0 ||
        (d->amps != NULL && d->amps[i] > 0.0))
      return true;
  return false;
}

/* Days from midnight to midnight of the start's clock in which a test, whose
** steps may be of any length, has load. */
static double test_days (const amp_duty *d, size_t from, size_t to) {
  double days = 0.0, next = 0.0; /* next: the first day not yet counted */
  for (size_t i = from; i < to; i++) {
    double first = fmax(floor(amp_duty_start(d, i) / DAY), next);
    double last = ceil(amp_duty_start(d, i + 1) / DAY);
    if (last > first && day_runs(d, i, i + 1)) {
      days += last - first;
      next = last;
    }
  }
  return days;
}

static void month_sum (const amp_duty *d, size_t from, size_t to,
                       amp_duty_month *m) {
  size_t per_day = (size_t)(DAY / d->dt + 0.5);
  memset(m, 0, sizeof *m);
  double time = amp_duty_start(d, to) - amp_duty_start(d, from);
  for (size_t i = from; i < to; i++) {
    double dt = amp_duty_length(d, i);
    m->ac += d->ac[i] * dt;
    m->dc += d->dc[i] * dt;
    m->pv += d->pv[i] * dt;
    m->on_time += d->on[i] != 0 ? dt : 0.0;
    m->temp += d->edge != NULL ? d->temp[i] * (dt / time)
                               : d->temp[i] / (double)(to - from);
  }
  if (d->edge != NULL)
    m->days = test_days(d, from, to);
  for (size_t i = from; d->edge == NULL && i < to; i += per_day)
    m->days += day_runs(d, i, i + per_day < to ? i + per_day : to);
}

void amp_duty_months (const amp_duty *d, amp_duty_month out[12]) {
  for (int m = 0; m < 12; m++)
    month_sum(d, m > 0 ? d->month_end[m - 1] : 0, d->month_end[m], &out[m]);
}

/* ---- spreads as factors ---------------------------------------------- */

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

/* ---- a day that repeats ---------------------------------------------- */

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

static amp_status check_list (const char *field, const double *v, size_t n,
                              double lo, double hi, amp_error *err) {
  amp_status s = AMP_OK;
  for (size_t i = 0; i < n && s == AMP_OK; i++) {
    s = amp_check_range(err, field, v[i], lo, hi);
    if (s != AMP_OK && err != NULL)
      err->line = i + 1;
  }
  return s;
}

static int active_days (const amp_daily *d) {
  int days = 0;
  for (int m = 0; m < 12; m++)
    days += d->month[m] ? month_days[m] : 0;
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

/* Joules a day that a steady POWER_MOST would give. */
static double energy_most (void) {
  return POWER_MOST * DAY;
}

static amp_status check_loads (const amp_daily *d, amp_error *err) {
  amp_status s = check_days(d, err);
  if (s == AMP_OK)
    s = check_value("from_battery", &d->from_battery, 0, energy_most(), err);
  if (s == AMP_OK)
    s = check_value("load_kwh", &d->load_kwh, 0, energy_most(), err);
  if (s == AMP_OK && !amp_value_is_set(&d->load_kwh))
    s = check_list("load", d->load, 24, 0.0, POWER_MOST, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "dc_load", d->dc_load, 0.0, POWER_MOST);
  return s;
}

static amp_status check_supply (const amp_daily *d, amp_error *err) {
  amp_status s =
      check_value("solar_peak", &d->solar_peak, 0, POWER_MOST, err);
  if (s == AMP_OK)
    s = check_value("performance", &d->performance, 0.0, 1.0, err);
  if (s == AMP_OK && amp_value_is_set(&d->sun_one))
    s = check_value("sun", &d->sun_one, 0.0, 24.0, err);
  else if (s == AMP_OK)
    s = check_list("sun", d->sun, 12, 0.0, 24.0, err);
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
    return check_list("temp", d->temp, 12, KELVIN_LEAST, KELVIN_MOST, err);
  return amp_check_range(err, "temp", d->temp_one.value, KELVIN_LEAST,
                         KELVIN_MOST);
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
  double joules = 4.0 * (d->from_battery.value + d->dc_load * DAY);
  int free_hours = SUPPLY_TO - SUPPLY_FROM;
  joules += 100.0 * DAY;
  for (int h = 0; h < 24; h++) {
    bool free_now = h >= SUPPLY_FROM && h < SUPPLY_TO;
    s->ac[h] =
        free_now ? 0.0 : d->from_battery.value / (HOUR * (24 - free_hours));
    s->pv[h] = free_now ? joules / (HOUR * free_hours) : 0.0;
  }
}

static void shape_load_and_sun (const amp_daily *d, int month, day_shape *s) {
  double sun =
      amp_value_is_set(&d->sun_one) ? d->sun_one.value : d->sun[month];
  double watt_hours =
      has_sun(d) ? d->solar_peak.value * d->performance.value * sun : 0.0;
  for (int h = 0; h < 24; h++) {
    s->ac[h] =
        amp_value_is_set(&d->load_kwh) ? d->load_kwh.value / DAY : d->load[h];
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
    for (int day = 0; day < month_days[m]; day++, at += 24) {
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
    s = duty_make(ctx, YEAR_HOURS, HOUR, &made, err);
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

/* ---- a series from a file -------------------------------------------- */

/* Refuse with the row, from 1. */
static amp_status fail_row (amp_error *err, size_t row, const char *what,
                            double got, double step) {
  amp_status s = amp_failf(err, AMP_EDATA, "time",
                           "%s: %g s after the row before, steps are %g s",
                           what, got, step);
  if (err != NULL)
    err->line = row + 1;
  return s;
}

static amp_status check_times (const amp_series *s, amp_error *err) {
  if (s->n < 2)
    return amp_failf(err, AMP_EDATA, "time", "less than two rows");
  double dt = s->time[1] - s->time[0];
  for (size_t i = 1; i < s->n; i++) {
    double step = s->time[i] - s->time[i - 1];
    if (!(step > 0.0))
      return fail_row(err, i, "time does not rise", step, dt);
    if (!(fabs(step - dt) <= 1e-6 * dt + 1e-6))
      return fail_row(err, i, step > dt ? "gap" : "step too short", step, dt);
  }
  double per_day = DAY / dt;
  if (!(fabs(per_day - floor(per_day + 0.5)) <= 1e-6 * per_day) ||
      per_day < 0.5)
    return amp_failf(err, AMP_EDATA, "time",
                     "steps of %g s do not divide a day", dt);
  return amp_check_range(err, "first", s->first, 0.0, DAY - 1e-3);
}

static amp_status check_column (const char *field, const double *v, size_t n,
                                double lo, double hi, amp_error *err) {
  return v != NULL ? check_list(field, v, n, lo, hi, err) : AMP_OK;
}

static amp_status check_series (const amp_series *s, amp_error *err) {
  amp_status e = check_times(s, err);
  if (e == AMP_OK)
    e = amp_check_range(err, "first_day_of_year", s->first_day_of_year, -1,
                        s->leap ? YEAR_DAYS : YEAR_DAYS - 1);
  if (e == AMP_OK)
    e = check_column("ac", s->ac, s->n, 0.0, POWER_MOST, err);
  if (e == AMP_OK)
    e = check_column("dc", s->dc, s->n, 0.0, POWER_MOST, err);
  if (e == AMP_OK)
    e = check_column("pv", s->pv, s->n, 0.0, POWER_MOST, err);
  if (e == AMP_OK)
    e = check_column("temp", s->temp, s->n, KELVIN_LEAST, KELVIN_MOST, err);
  return e;
}

/* Which rows are kept: 'days' whole days from row 'skip', without day
** 'leap_day' of them (or -1), and turned so that 'turn' days come last. */
typedef struct cut {
  size_t per_day, skip, tail;
  int days, leap_day, first, turn;
  bool too_many;
} cut;

static cut cut_series (const amp_series *s) {
  double dt = s->time[1] - s->time[0];
  cut c = {.per_day = (size_t)(DAY / dt + 0.5), .leap_day = -1};
  size_t step = (size_t)(s->first / dt + 1e-6); /* of the first row */
  c.skip = step > 0 ? c.per_day - step : 0;
  if (c.skip > s->n)
    c.skip = s->n;
  size_t days = (s->n - c.skip) / c.per_day;
  c.tail = s->n - c.skip - days * c.per_day;
  c.first = (s->first_day_of_year > 0 ? s->first_day_of_year : 0) +
            (step > 0 ? 1 : 0);
  if (s->leap && s->first_day_of_year >= 0) {
    if (c.first <= LEAP_DAY && days > (size_t)(LEAP_DAY - c.first))
      c.leap_day = LEAP_DAY - c.first;
    else if (c.first > LEAP_DAY)
      c.first--;
  }
  days -= c.leap_day >= 0;
  c.first %= YEAR_DAYS;
  c.too_many = days > YEAR_DAYS;
  c.days = (int)(c.too_many ? YEAR_DAYS : days);
  c.turn = c.days == YEAR_DAYS && c.first > 0 ? YEAR_DAYS - c.first : 0;
  return c;
}

/* Row of the file at which day 'day' of the duty begins. */
static size_t cut_row (const cut *c, int day) {
  int source = c->turn > 0 ? (day + c->turn) % c->days : day;
  if (c->leap_day >= 0 && source >= c->leap_day)
    source++;
  return c->skip + (size_t)source * c->per_day;
}

static void cut_copy (const cut *c, const double *from, double *to) {
  for (int day = 0; from != NULL && day < c->days; day++)
    memcpy(to + (size_t)day * c->per_day, from + cut_row(c, day),
           c->per_day * sizeof *to);
}

static void series_note (const amp_series *s, const cut *c, amp_duty *d) {
  double inside = s->first - floor(s->first / d->dt + 1e-6) * d->dt;
  if (c->skip > 0)
    note_count(d, c->skip, "rows of a part day at the start dropped");
  if (c->tail > 0)
    note_count(d, c->tail, "rows of a part day at the end dropped");
  if (c->leap_day >= 0)
    note_add(d, "29 February dropped");
  if (c->too_many)
    note_add(d, "only the first 365 days kept");
  if (c->turn > 0)
    note_add(d, "the year turned to begin on 1 January");
  if (inside > 1e-3)
    note_add(d, "times lie inside their steps");
  if (s->first_day_of_year < 0)
    note_add(d, "date not known, taken as 1 January");
  if (s->temp == NULL)
    note_add(d, no_temp);
}

static void series_fill (const amp_series *s, const cut *c, amp_duty *d) {
  amp_basis basis = s->basis != AMP_BASIS_NONE ? s->basis : AMP_BASIS_ASSUMED;
  memset(d->on, 1, d->n);
  for (size_t i = 0; i < d->n; i++)
    d->temp[i] = ROOM;
  cut_copy(c, s->ac, d->ac);
  cut_copy(c, s->dc, d->dc);
  cut_copy(c, s->pv, d->pv);
  cut_copy(c, s->temp, d->temp);
  d->basis = basis;
  d->load_factor.basis =
      s->ac != NULL || s->dc != NULL ? basis : AMP_BASIS_NONE;
  d->sun_factor.basis = s->pv != NULL ? basis : AMP_BASIS_NONE;
  d->temp_shift.basis = s->temp != NULL ? basis : AMP_BASIS_ASSUMED;
  series_note(s, c, d);
}

amp_status amp_duty_series (const amp_context *ctx, const amp_series *s,
                            amp_duty *out, amp_error *err) {
  amp_duty made;
  amp_status e = check_series(s, err);
  if (e != AMP_OK)
    return e;
  cut c = cut_series(s);
  if (c.days < 1)
    return amp_failf(err, AMP_EDATA, "time",
                     "the rows hold no whole day, midnight to midnight");
  e = duty_make(ctx, (size_t)c.days * c.per_day, DAY / (double)c.per_day,
                &made, err);
  if (e != AMP_OK)
    return e;
  series_fill(s, &c, &made);
  duty_months_from(&made, c.turn > 0 ? 0 : c.first);
  *out = made;
  return AMP_OK;
}

/* ---- load of one, sun of another ------------------------------------- */

enum { STEPS_A_DAY_MOST = 864000 }; /* a tenth of a second */

static size_t steps_a_day (const amp_duty *d) {
  return (size_t)(DAY / d->dt + 0.5);
}

/* Least common multiple: the finest step, where the others are whole
** multiples of it; else the longest that divides all. */
static size_t common_steps (size_t a, size_t b) {
  size_t x = a, y = b;
  while (y != 0) {
    size_t rest = x % y;
    x = y;
    y = rest;
  }
  return a / x * b;
}

/* Repeat every mean as often as the finer step needs. */
static void repeat (const double *from, size_t n, double factor,
                    const amp_duty *d, double *to) {
  size_t times = d->n / n;
  for (size_t i = 0; i < d->n; i++)
    to[i] = from[i / times] * factor;
}

static size_t days_of (const amp_duty *d) {
  return d->n / steps_a_day(d);
}

static amp_status check_days_equal (const amp_duty *load, const char *what,
                                    const amp_duty *other, amp_error *err) {
  if (other == NULL || days_of(load) == days_of(other))
    return AMP_OK;
  return amp_failf(err, AMP_EDATA, what,
                   "the load has %zu days, the %s has %zu", days_of(load),
                   what, days_of(other));
}

static amp_status check_no_test (const char *what, const amp_duty *d,
                                 amp_error *err) {
  if (d == NULL || (d->amps == NULL && d->edge == NULL))
    return AMP_OK;
  return amp_failf(err, AMP_EDATA, what,
                   "a test at the terminals has no days to join");
}

/* The note of a part; its temperature is spoken of only where it is used. */
static void note_part (amp_duty *d, const amp_duty *part, bool with_temp) {
  char text[AMP_DUTY_NOTE];
  memcpy(text, part->note, sizeof text);
  char *temp = strstr(text, no_temp);
  if (temp != NULL && !with_temp)
    temp[temp - text >= 2 ? -2 : 0] = '\0'; /* with the "; " before it */
  if (text[0] != '\0' && strstr(d->note, text) == NULL)
    note_add(d, text);
}

static bool same_months (const amp_duty *a, const amp_duty *b) {
  for (int m = 0; m < 12; m++)
    if (a->month_end[m] * b->n != b->month_end[m] * a->n)
      return false;
  return true;
}

static void net_fill (const amp_duty *load, const amp_duty *pv,
                      double pv_factor, const amp_duty *temp, amp_duty *d) {
  size_t times = d->n / load->n;
  repeat(load->ac, load->n, 1.0, d, d->ac);
  repeat(load->dc, load->n, 1.0, d, d->dc);
  repeat(pv->pv, pv->n, pv_factor, d, d->pv);
  repeat(temp->temp, temp->n, 1.0, d, d->temp);
  for (size_t i = 0; i < d->n; i++)
    d->on[i] = load->on[i / times];
  for (int m = 0; m < 12; m++)
    d->month_end[m] = load->month_end[m] * times;
  d->charge_efficiency = fmin(load->charge_efficiency, pv->charge_efficiency);
  d->supply_free = pv->supply_free;
  d->load_factor = load->load_factor;
  d->sun_factor = pv->sun_factor;
  d->temp_shift = temp->temp_shift;
  d->basis = amp_basis_worse(
      amp_basis_worse(d->load_factor.basis, d->sun_factor.basis),
      d->temp_shift.basis);
}

static void net_note (const amp_duty *load, const amp_duty *pv,
                      const amp_duty *temp, amp_duty *d) {
  note_part(d, load, temp == load);
  note_part(d, pv, temp == pv);
  if (temp != load && temp != pv)
    note_part(d, temp, true);
  if (d->n != load->n)
    note_add(d, "means of the load repeated in finer steps");
  if (d->n != pv->n)
    note_add(d, "means of the sun repeated in finer steps");
  if (!same_months(load, pv))
    note_add(d, "load and sun begin on different days of the year");
}

amp_status amp_duty_net (const amp_context *ctx, const amp_duty *load,
                         const amp_duty *pv, double pv_factor,
                         const amp_duty *temp, amp_duty *out,
                         amp_error *err) {
  amp_duty made;
  amp_status s = check_no_test("load", load, err);
  if (s == AMP_OK)
    s = check_no_test("sun", pv, err);
  if (s == AMP_OK)
    s = check_no_test("temperature", temp, err);
  if (s == AMP_OK)
    s = check_days_equal(load, "sun", pv, err);
  if (s == AMP_OK)
    s = check_days_equal(load, "temperature", temp, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "pv_factor", pv_factor, 0.0, POWER_MOST);
  if (s != AMP_OK)
    return s;
  size_t steps = common_steps(steps_a_day(load), steps_a_day(pv));
  if (temp != NULL && steps <= STEPS_A_DAY_MOST)
    steps = common_steps(steps, steps_a_day(temp));
  if (steps > STEPS_A_DAY_MOST)
    return amp_failf(err, AMP_EDATA, "time",
                     "steps of %g s and %g s have no common step above 0.1 s",
                     load->dt, pv->dt);
  s = duty_make(ctx, steps * days_of(load), DAY / (double)steps, &made, err);
  if (s != AMP_OK)
    return s;
  net_fill(load, pv, pv_factor, temp != NULL ? temp : load, &made);
  net_note(load, pv, temp != NULL ? temp : load, &made);
  *out = made;
  return AMP_OK;
}

/* ---- a test ----------------------------------------------------------- */

static const double AMPS_MOST = 1e6; /* A, a typing error above */
static const double STEP_MOST = 1e7; /* s */

static amp_status check_edges (const double *edge, size_t n, amp_error *err) {
  if (n < 1)
    return amp_failf(err, AMP_EDATA, "time", "a test needs a step");
  for (size_t i = 0; i < n; i++) {
    double dt = edge[i + 1] - edge[i];
    if (dt > 0.0 && dt <= STEP_MOST)
      continue;
    amp_failf(err, AMP_EDATA, "time",
              "a step must last more than 0 and at most 1e7 s (got %g s)",
              dt);
    if (err != NULL)
      err->line = i + 1;
    return AMP_EDATA;
  }
  return AMP_OK;
}

static amp_status check_test (size_t n, const double *edge,
                              const double *amps, const double *watts,
                              const double *temp, amp_error *err) {
  amp_status s = check_edges(edge, n, err);
  if (s == AMP_OK && (amps == NULL) == (watts == NULL))
    s = amp_failf(err, AMP_EMISSING, "amps",
                  "a test asks either current or power");
  if (s == AMP_OK && amps != NULL)
    s = check_list("amps", amps, n, -AMPS_MOST, AMPS_MOST, err);
  if (s == AMP_OK && watts != NULL)
    s = check_list("watts", watts, n, -POWER_MOST, POWER_MOST, err);
  if (s == AMP_OK && temp != NULL)
    s = check_list("temp", temp, n, KELVIN_LEAST, KELVIN_MOST, err);
  return s;
}

/* A duty with edges, and 'amps' where wanted; all of it in one month. */
static amp_status test_make (const amp_context *ctx, size_t n, double time,
                             bool amps, amp_duty *d, amp_error *err) {
  amp_status s = duty_make(ctx, n, time / (double)n, d, err);
  if (s != AMP_OK)
    return s;
  d->edge = amp_alloc(ctx, (n + 1) * sizeof(double));
  d->amps = amps ? amp_alloc(ctx, n * sizeof(double)) : NULL;
  if (d->edge == NULL || (amps && d->amps == NULL)) {
    amp_duty_free(ctx, d);
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu steps", n);
  }
  for (int m = 0; m < 12; m++)
    d->month_end[m] = n;
  return AMP_OK;
}

/* Power at the terminals: a DC load, or a supply. */
static void put_watts (amp_duty *d, size_t i, double watts) {
  d->dc[i] = fmax(watts, 0.0);
  d->pv[i] = fmax(-watts, 0.0);
}

amp_status amp_duty_test (const amp_context *ctx, size_t n,
                          const double *edge, const double *amps,
                          const double *watts, const double *temp,
                          amp_duty *out, amp_error *err) {
  amp_duty made;
  amp_status s = check_test(n, edge, amps, watts, temp, err);
  if (s == AMP_OK)
    s = test_make(ctx, n, edge[n] - edge[0], amps != NULL, &made, err);
  if (s != AMP_OK)
    return s;
  memcpy(made.edge, edge, (n + 1) * sizeof *edge);
  if (amps != NULL)
    memcpy(made.amps, amps, n * sizeof *amps);
  for (size_t i = 0; i < n; i++) {
    made.temp[i] = temp != NULL ? temp[i] : ROOM;
    if (watts != NULL)
      put_watts(&made, i, watts[i]);
  }
  made.temp_shift.basis = temp != NULL ? AMP_BASIS_NONE : AMP_BASIS_ASSUMED;
  made.basis = made.temp_shift.basis;
  if (temp == NULL)
    note_add(&made, no_temp);
  *out = made;
  return AMP_OK;
}

static void log_note (const amp_test_log *log, bool given, amp_duty *d) {
  bool seen = log->column[AMP_LOG_TEMP] != NULL;
  d->load_factor.basis = AMP_BASIS_MEASURED;
  d->temp_shift.basis =
      given || seen ? AMP_BASIS_MEASURED : AMP_BASIS_ASSUMED;
  d->basis = d->temp_shift.basis;
  if (!given && seen)
    note_add(d, "surroundings taken at the log's first temperature");
  if (!given && !seen)
    note_add(d, no_temp);
  if (log->note[0] != '\0')
    note_add(d, log->note);
}

static amp_status check_log (const amp_test_log *log, double temp,
                             amp_error *err) {
  const double *amps = log->column[AMP_LOG_CURRENT];
  const double *watts = log->column[AMP_LOG_POWER];
  if (log->n < 2)
    return amp_failf(err, AMP_EDATA, "time", "less than two rows");
  if (amps == NULL && watts == NULL)
    return amp_failf(err, AMP_EMISSING, "current",
                     "the log has neither current nor power");
  if (!isnan(temp))
    return amp_check_range(err, "temp", temp, KELVIN_LEAST, KELVIN_MOST);
  return AMP_OK;
}

amp_status amp_duty_log (const amp_context *ctx, const amp_test_log *log,
                         double temp, amp_duty *out, amp_error *err) {
  const double *amps = log->column[AMP_LOG_CURRENT];
  const double *watts = amps == NULL ? log->column[AMP_LOG_POWER] : NULL;
  const double *seen = log->column[AMP_LOG_TEMP];
  double around = !isnan(temp) ? temp : seen != NULL ? seen[0] : ROOM;
  amp_status s = check_log(log, temp, err);
  if (s == AMP_OK)
    s = amp_duty_test(ctx, log->n - 1, log->time, amps ? amps + 1 : NULL,
                      watts ? watts + 1 : NULL, NULL, out, err);
  if (s != AMP_OK)
    return s;
  for (size_t i = 0; i < out->n; i++)
    out->temp[i] = around;
  out->note[0] = '\0';
  log_note(log, !isnan(temp), out);
  return AMP_OK;
}

/* ---- a test of phases -------------------------------------------------- */

static const double STEPS_MOST = 1e7;

static amp_status check_phase (const amp_phase *p, amp_error *err) {
  bool rest = p->ask == 0.0;
  double most = p->power ? POWER_MOST : AMPS_MOST;
  amp_status s =
      amp_check_range(err, p->power ? "watts" : "amps", p->ask, -most, most);
  if (s == AMP_OK)
    s = amp_check_range(err, "time", p->time, 1e-3, 3.2e7);
  if (s == AMP_OK && !isnan(p->until_v))
    s = amp_check_range(err, "until_v", p->until_v, 1e-3, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "taper", p->taper, 0.0, AMPS_MOST);
  if (s == AMP_OK && !isnan(p->until_soc))
    s = amp_check_range(err, "until_soc", p->until_soc, 0.0, 1.0);
  if (s == AMP_OK && rest &&
      (!isnan(p->until_v) || !isnan(p->until_soc) || p->taper > 0.0))
    s = amp_failf(err, AMP_EDATA, "time", "a rest ends by its time alone");
  return s;
}

static size_t phase_steps (const amp_phase *p, double dt) {
  return (size_t)fmax(ceil(p->time / dt - 1e-9), 1.0);
}

/* Says the step that would do, rounded up to two digits; the caller's word
** for it is step_s. */
static amp_status too_fine (double time, double dt, amp_error *err) {
  double least = time / STEPS_MOST, unit = 1e-3;
  while (unit * 100.0 < least)
    unit *= 10.0;
  return amp_failf(err, AMP_EDATA, NULL,
                   "step_s of %g s makes more than %g steps: from %g s up "
                   "they fit",
                   dt, STEPS_MOST, ceil(least / unit + 1.0) * unit);
}

/* Steps of the whole test in *steps, its time in *time. */
static amp_status check_phases (const amp_phase *p, size_t n, size_t times,
                                double dt, double temp, size_t *steps,
                                double *time, amp_error *err) {
  amp_status s = AMP_OK;
  double most = STEPS_MOST / (double)times, all = 0.0;
  *time = 0.0;
  if (n < 1 || times < 1)
    return amp_failf(err, AMP_EDATA, NULL, "a test needs a phase");
  if (!isnan(temp))
    s = amp_check_range(err, "temp", temp, KELVIN_LEAST, KELVIN_MOST);
  if (s == AMP_OK)
    s = amp_check_range(err, "dt", dt, 1e-3, 600.0);
  for (size_t i = 0; i < n && s == AMP_OK; i++) {
    s = check_phase(&p[i], err);
    if (s == AMP_OK)
      all += (double)phase_steps(&p[i], dt);
    if (s != AMP_OK && err != NULL)
      err->line = i + 1;
    *time += p[i].time * (double)times;
  }
  if (s == AMP_OK && !(all <= most))
    s = too_fine(*time, dt, err);
  *steps = (size_t)all * times;
  return s;
}

/* Phase k into the steps from 'at'; gives the step after its last. */
static size_t put_phase (amp_duty *d, size_t k, size_t at, double dt) {
  amp_phase *p = &d->phase[k];
  size_t n = phase_steps(p, dt);
  double from = d->edge[at];
  for (size_t i = 0; i < n; i++) {
    d->edge[at + i + 1] = from + p->time * (double)(i + 1) / (double)n;
    d->amps[at + i] = p->power ? NAN : p->ask;
    if (p->power)
      put_watts(d, at + i, p->ask);
  }
  p->last = at + n;
  return p->last;
}

amp_status amp_duty_phases (const amp_context *ctx, const amp_phase *phase,
                            size_t n, size_t times, double dt, double temp,
                            amp_duty *out, amp_error *err) {
  double step = dt > 0.0 ? dt : 60.0, time = 0.0;
  size_t steps = 0, at = 0;
  amp_duty made;
  amp_status s =
      check_phases(phase, n, times, step, temp, &steps, &time, err);
  if (s == AMP_OK)
    s = test_make(ctx, steps, time, true, &made, err);
  if (s != AMP_OK)
    return s;
  made.phases = n * times;
  made.phase = amp_alloc(ctx, made.phases * sizeof *made.phase);
  if (made.phase == NULL) {
    made.phases = 0;
    amp_duty_free(ctx, &made);
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for %zu phases", n);
  }
  for (size_t k = 0; k < made.phases; k++) {
    made.phase[k] = phase[k % n];
    at = put_phase(&made, k, at, step);
  }
  for (size_t i = 0; i < steps; i++)
    made.temp[i] = isnan(temp) ? ROOM : temp;
  made.temp_shift.basis = isnan(temp) ? AMP_BASIS_ASSUMED : AMP_BASIS_NONE;
  made.basis = made.temp_shift.basis;
  if (isnan(temp))
    note_add(&made, no_temp);
  *out = made;
  return AMP_OK;
}
