/*
** readings.c -- rows from the bench, and what they say of a lot as a whole.
*/
#include "pack/readings.h"
#include "base/remark.h"
#include "base/text.h"
#include <math.h>
#include <string.h>

/* Limits of one field in the user's unit; beyond them no module of this
** kind exists and the number is a slip. */
static const struct {
  const char *key;
  size_t offset;
  double factor, shift, lo, hi;
  const char *unit;
} fields[] = {
    {"ocv_v", offsetof(amp_reading, ocv), 1.0, 0.0, 0.0, 1500.0, "V"},
    /* a reversed group stands below 0 */
    {"group_min_v", offsetof(amp_reading, group_min), 1.0, 0.0, -5.0, 10.0,
     "V"},
    {"group_max_v", offsetof(amp_reading, group_max), 1.0, 0.0, -5.0, 10.0,
     "V"},
    {"r10s_mohm", offsetof(amp_reading, r10s), 1e-3, 0.0, 0.001, 10000.0,
     "mohm"},
    {"ah", offsetof(amp_reading, charge), 3600.0, 0.0, 0.1, 5000.0, "Ah"},
    {"temp_c", offsetof(amp_reading, temp), 1.0, 273.15, -60.0, 150.0, "C"}};

amp_reading amp_reading_defaults (void) {
  amp_reading r;
  memset(&r, 0, sizeof r);
  r.ocv = r.group_min = r.group_max = r.r10s = AMP_NOT_GIVEN;
  r.charge = r.temp = r.day = AMP_NOT_GIVEN;
  r.before_ocv = r.before_min = r.before_max = AMP_NOT_GIVEN;
  r.before_day = AMP_NOT_GIVEN;
  return r;
}

double amp_reading_get (const amp_reading *r, amp_reading_field f) {
  return *(const double *)((const char *)r + fields[f].offset);
}

static amp_status check_field (const amp_reading *r, int f, amp_error *err) {
  double v = amp_reading_get(r, (amp_reading_field)f);
  double user = (v - fields[f].shift) / fields[f].factor;
  double slack = 1e-9 * fabs(fields[f].hi);
  if (!amp_given(v) ||
      (user >= fields[f].lo - slack && user <= fields[f].hi + slack))
    return AMP_OK;
  return amp_failf(err, AMP_ERANGE, fields[f].key,
                   "%s must lie in %g .. %g %s (got %g%s)", fields[f].key,
                   fields[f].lo, fields[f].hi, fields[f].unit, user,
                   user >= 1000.0 && user / 1000.0 <= fields[f].hi &&
                           strcmp(fields[f].unit, "V") == 0
                       ? ": mV?"
                       : "");
}

amp_status amp_reading_check (const amp_reading *r, amp_error *err) {
  bool says = false;
  if (r->id[0] == '\0')
    return amp_failf(err, AMP_EDATA, "id", "id is wanted");
  for (int f = 0; f < AMP_READING_FIELDS; f++) {
    amp_status st = check_field(r, f, err);
    if (st != AMP_OK)
      return st;
    says = says || amp_given(amp_reading_get(r, (amp_reading_field)f));
  }
  if (r->group_min > r->group_max)
    return amp_failf(err, AMP_EDATA, "group_min_v",
                     "group_min_v %g is above group_max_v %g", r->group_min,
                     r->group_max);
  if (r->ocv < r->group_max - 0.02) /* a module of one group, two meters */
    return amp_failf(err, AMP_EDATA, "ocv_v",
                     "ocv_v %g of the module is below its group_max_v %g",
                     r->ocv, r->group_max);
  if (!says && r->remark[0] == '\0')
    return amp_failf(err, AMP_EDATA, "id", "nothing was measured");
  return AMP_OK;
}

/* ---- lots ---- */

size_t amp_lot_find (const amp_lot *lot, const char *id) {
  size_t flawed = (size_t)-1;
  for (size_t i = 0; i < lot->n; i++)
    if (strcmp(lot->reading[i].id, id) == 0) {
      if (lot->reading[i].flaw[0] == '\0')
        return i;
      flawed = i;
    }
  return flawed;
}

int amp_lot_modules (const amp_lot *lot) {
  int n = 0;
  for (size_t i = 0; i < lot->n; i++)
    n += amp_lot_find(lot, lot->reading[i].id) == i;
  return n;
}

static void fill (double *gap, double from) {
  if (!amp_given(*gap))
    *gap = from;
}

/* At most n bytes of s, no letter cut in two. */
static size_t whole_letters (const char *s, size_t n) {
  size_t len = strlen(s);
  n = len < n ? len : n;
  while (n > 0 && ((unsigned char)s[n] & 0xc0u) == 0x80u)
    n--;
  return n;
}

/* What ends a remark that was cut */
static const char cut_mark[] = " [cut";

/* "[cut]", or with the first word of damage that 'all' says and 'kept', its
** beginning, does not. */
static void name_cut (const char *all, const char *kept, char out[48]) {
  const char *word = amp_remark_damage(all);
  size_t n = sizeof cut_mark - 1;
  memcpy(out, cut_mark, n);
  if (word != NULL && amp_remark_damage(kept) == NULL) {
    memcpy(out + n, ": ", 2);
    amp_remark_word(word, out + n + 2, 24);
    n = strlen(out);
  }
  memcpy(out + n, "]", 2);
}

/* 's' into out[size], of 48 bytes at least; its end cut and marked where it
** does not fit. 'all' is what 's' was before anything of it was left out. */
static void keep_remark (const char *s, const char *all, char *out,
                         size_t size) {
  char mark[48];
  size_t n = strlen(s);
  if (n < size) {
    memcpy(out, s, n + 1);
    return;
  }
  memcpy(out, s, size - 1);
  out[whole_letters(s, size - sizeof cut_mark - 1)] = '\0';
  name_cut(all, out, mark);
  n = whole_letters(out, size - 1 - strlen(mark));
  memcpy(out + n, mark, strlen(mark) + 1);
}

void amp_reading_set_remark (amp_reading *r, const char *s, size_t n) {
  char wide[AMP_READING_REMARK + 16]; /* longer where it does not fit */
  amp_text_visible(s, n, sizeof wide, wide, sizeof wide);
  keep_remark(wide, s, r->remark, sizeof r->remark);
}

bool amp_reading_remark_is_cut (const amp_reading *r) {
  const char *s = r->remark;
  while ((s = strstr(s, cut_mark)) != NULL) {
    s += sizeof cut_mark - 1;
    if (*s == ']' || *s == ':')
      return true;
  }
  return false;
}

/* The earlier remark before the later one: a crust that was seen stays seen.
** Where both do not fit, each has at least half of the room. */
static void join_remarks (amp_reading *r, const char *old) {
  char later[AMP_READING_REMARK];
  const size_t room = sizeof r->remark - 3; /* "; " and NUL */
  if (old[0] == '\0' || strcmp(r->remark, old) == 0)
    return;
  memcpy(later, r->remark, sizeof later);
  if (later[0] == '\0') {
    memcpy(r->remark, old, strlen(old) + 1);
    return;
  }
  size_t more = strlen(later);
  size_t n = more < room / 2 ? room - more : room / 2;
  keep_remark(old, old, r->remark, n + 1);
  n = strlen(r->remark);
  memcpy(r->remark + n, "; ", 2);
  keep_remark(later, later, r->remark + n + 2, room - n + 1);
}

/* The later of the two becomes the present one, the other what was before. */
static amp_reading joined (const amp_reading *a, const amp_reading *b) {
  const amp_reading *old = a->day < b->day ? a : b;
  amp_reading r = a->day < b->day ? *b : *a;
  fill(&r.ocv, old->ocv);
  fill(&r.group_min, old->group_min);
  fill(&r.group_max, old->group_max);
  fill(&r.r10s, old->r10s);
  fill(&r.charge, old->charge);
  fill(&r.temp, old->temp);
  join_remarks(&r, old->remark);
  if (!amp_given(r.before_day) || !(r.before_day <= old->day)) {
    r.before_ocv = old->ocv;
    r.before_min = old->group_min;
    r.before_max = old->group_max;
    r.before_day = old->day;
  }
  if (amp_given(old->before_day) && old->before_day < r.before_day) {
    r.before_ocv = old->before_ocv;
    r.before_min = old->before_min;
    r.before_max = old->before_max;
    r.before_day = old->before_day;
  }
  return r;
}

static amp_status grow (const amp_context *ctx, amp_lot *lot,
                        amp_error *err) {
  size_t room = lot->room > 0 ? 2 * lot->room : 16;
  if (lot->n < lot->room)
    return AMP_OK;
  if (lot->n >= AMP_LOT_MOST)
    return amp_failf(err, AMP_ERANGE, "readings",
                     "a lot holds at most %d readings", (int)AMP_LOT_MOST);
  amp_reading *more =
      amp_realloc(ctx, lot->reading, lot->room * sizeof *lot->reading,
                  room * sizeof *lot->reading);
  if (more == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for this lot");
  lot->reading = more;
  lot->room = room;
  return AMP_OK;
}

amp_status amp_lot_add (const amp_context *ctx, amp_lot *lot,
                        const amp_reading *r, amp_error *err) {
  size_t same = r->flaw[0] == '\0' ? amp_lot_find(lot, r->id) : (size_t)-1;
  if (same != (size_t)-1 && lot->reading[same].flaw[0] == '\0') {
    amp_reading *have = &lot->reading[same];
    if (!amp_given(have->day) || !amp_given(r->day) || have->day == r->day)
      return amp_failf(err, AMP_EDATA, "id",
                       "id %s stands twice, without two dates", r->id);
    *have = joined(have, r);
    return AMP_OK;
  }
  amp_status st = grow(ctx, lot, err);
  if (st == AMP_OK)
    lot->reading[lot->n++] = *r;
  return st;
}

void amp_lot_free (const amp_context *ctx, amp_lot *lot) {
  amp_free(ctx, lot->reading, lot->room * sizeof *lot->reading);
  lot->reading = NULL;
  lot->n = lot->room = 0;
}

/* ---- statistics ---- */

amp_status amp_lot_mean (const amp_lot *lot, amp_reading_field f,
                         amp_value *out, amp_error *err) {
  double sum = 0.0, square = 0.0;
  int n = 0;
  for (size_t i = 0; i < lot->n; i++) {
    double v = amp_reading_get(&lot->reading[i], f);
    if (lot->reading[i].flaw[0] == '\0' && amp_given(v)) {
      sum += v;
      n++;
    }
  }
  if (n == 0)
    return amp_failf(err, AMP_EMISSING, fields[f].key,
                     "no reading of the lot has %s", fields[f].key);
  double mean = sum / n;
  for (size_t i = 0; i < lot->n; i++) {
    double v = amp_reading_get(&lot->reading[i], f) - mean;
    if (lot->reading[i].flaw[0] == '\0' && amp_given(v))
      square += v * v;
  }
  amp_value v = amp_value_fixed(mean, AMP_BASIS_MEASURED);
  v.spread = AMP_TESTED;
  v.sd = n > 1 ? sqrt(square / (n - 1)) : 0.0;
  v.n = n;
  v.of = amp_lot_modules(lot);
  v.of = lot->of > v.of ? lot->of : v.of;
  v.lo = -1e300;
  v.hi = 1e300;
  *out = v;
  return AMP_OK;
}

/* The k-th smallest, counted without room to sort in. */
static double nth (const amp_lot *lot, amp_reading_field f, size_t k) {
  for (size_t i = 0; i < lot->n; i++) {
    double v = amp_reading_get(&lot->reading[i], f);
    size_t less = 0, equal = 0;
    if (lot->reading[i].flaw[0] != '\0' || !amp_given(v))
      continue;
    for (size_t m = 0; m < lot->n; m++) {
      double x = amp_reading_get(&lot->reading[m], f);
      bool counts = lot->reading[m].flaw[0] == '\0';
      less += counts && x < v;
      equal += counts && x == v;
    }
    if (less <= k && k < less + equal)
      return v;
  }
  return AMP_NOT_GIVEN;
}

double amp_lot_median (const amp_lot *lot, amp_reading_field f) {
  size_t n = 0;
  for (size_t i = 0; i < lot->n; i++)
    n += lot->reading[i].flaw[0] == '\0' &&
         amp_given(amp_reading_get(&lot->reading[i], f));
  if (n == 0)
    return AMP_NOT_GIVEN;
  return 0.5 * (nth(lot, f, (n - 1) / 2) + nth(lot, f, n / 2));
}

amp_status amp_lot_side (const amp_lot *lot, double charge,
                         amp_join_side *out, amp_error *err) {
  amp_value v;
  double ah = 0.0, n = 0.0;
  for (size_t i = 0; i < lot->n; i++)
    if (lot->reading[i].flaw[0] == '\0') {
      double q = lot->reading[i].charge;
      ah += amp_given(q) ? q : charge;
      n += 1.0;
    }
  amp_status st = amp_lot_mean(lot, AMP_READING_OCV, &v, err);
  if (st != AMP_OK)
    return st;
  double r = amp_lot_median(lot, AMP_READING_R10S) / n;
  *out = (amp_join_side){v.value, r, lot->groups, ah};
  return AMP_OK;
}

/* ---- capacity ---- */

/* Share of interval k at which group g crosses v_end, > 1: not in it. */
static double crossing (const double *v, size_t k, double v_end) {
  if (!(v[k] <= v_end))
    return 2.0;
  double fall = v[k - 1] - v[k];
  return fall > 0.0 && v[k - 1] > v_end ? (v[k - 1] - v_end) / fall : 0.0;
}

static void add_interval (amp_discharge *d, double dt, double share,
                          double current, int groups, const double *const *v,
                          size_t k) {
  double t = dt * share;
  d->charge += current * t;
  d->seconds += t;
  for (int g = 0; g < groups; g++) {
    double end = v[g][k - 1] + share * (v[g][k] - v[g][k - 1]);
    d->energy += current * t * 0.5 * (v[g][k - 1] + end);
  }
}

amp_status amp_discharge_until (size_t n, const double *time,
                                const double *current, int groups,
                                const double *const *v, double v_end,
                                amp_discharge *out, amp_error *err) {
  amp_discharge d = {0.0, 0.0, 0.0, -1};
  for (int g = 0; g < groups; g++)
    if (n > 0 && v[g][0] <= v_end)
      return amp_failf(err, AMP_EREFUSED, "v",
                       "the log begins below the limit of %g V", v_end);
  for (size_t k = 1; k < n && d.first < 0; k++) {
    double dt = time[k] - time[k - 1], share = 1.0;
    if (!(dt > 0.0))
      return amp_failf(err, AMP_EDATA, "time",
                       "time does not rise at row %zu", k + 1);
    for (int g = 0; g < groups; g++) {
      double x = crossing(v[g], k, v_end);
      if (x <= 1.0 && (d.first < 0 || x < share)) {
        share = x;
        d.first = g;
      }
    }
    add_interval(&d, dt, share, current[k], groups, v, k);
  }
  if (d.first < 0)
    return amp_failf(err, AMP_EREFUSED, "v",
                     "no group reaches the limit of %g V: the charge is at "
                     "least %g Ah",
                     v_end, d.charge / 3600.0);
  *out = d;
  return AMP_OK;
}

double amp_bench_seconds (double charge, double current, int n, int channels,
                          double rest) {
  double rounds = ceil((double)n / channels);
  return rounds * (charge / current + rest);
}
