/*
** judge.c -- findings about each module of a lot, and the verdict that the
** first of them gives.
*/
#include "pack/judge.h"
#include "base/remark.h"
#include "base/sample.h"
#include "pack/voltages.h"
#include <math.h>
#include <string.h>

const char *amp_verdict_name (amp_verdict v) {
  static const char *const names[] = {"accept", "not judged", "quarantine",
                                      "reject"};
  return names[v];
}

/* ---- thresholds ---- */

#define RULE(key, m, factor, shift, value, lo, hi, unit, reason)             \
  {                                                                          \
    key, offsetof(amp_judging, m), factor, shift, value, lo, hi, unit,       \
        reason                                                               \
  }

/* Common practice, no source, unless the reason names one. */
static const amp_judging_rule rules[] = {
    RULE("group_reject_v", group_reject, 1.0, 0.0, 2.0, 0.0, 5.0, "V",
         "below it copper of the collector dissolves and may short the cell "
         "when it is charged again; common practice"),
    RULE("group_low_v", group_low, 1.0, 0.0, 2.5, 0.0, 5.0, "V",
         "lowest absolute limit of the lithium chemistries; common practice"),
    RULE("group_alone_v", group_alone, 1.0, 0.0, 0.3, 0.01, 5.0, "V",
         "a deeply discharged group this far under its neighbours discharged "
         "itself, by a leak or a short; common practice"),
    RULE("spread_good_v", spread_good, 1.0, 0.0, 0.020, 0.001, 1.0, "V",
         "rest spread of groups up to here is good; common practice"),
    RULE("spread_wide_v", spread_wide, 1.0, 0.0, 0.050, 0.001, 1.0, "V",
         "rest spread of groups above it is suspicious; common practice"),
    RULE("spread_times", spread_times, 1.0, 0.0, 4.0, 1.0, 100.0, "times",
         "of the lot's median spread: told, also where the spread itself is "
         "good; common practice"),
    RULE("sum_v", sum, 1.0, 0.0, 0.020, 0.001, 5.0, "V",
         "groups and module may differ by two meters' errors; common "
         "practice"),
    RULE("sum_pct", sum_share, 0.01, 0.0, 0.2, 0.0, 10.0, "%",
         "the same for long modules; the larger of the two counts"),
    RULE("resistance_retest_times", resistance_retest, 1.0, 0.0, 1.3, 1.0,
         10.0, "times",
         "clean lugs and four wires often mend it; common practice"),
    RULE("resistance_reject_times", resistance_reject, 1.0, 0.0, 2.0, 1.0,
         100.0, "times",
         "twice the heat, half the share of current; common practice"),
    RULE("soc_band_pct", soc_band, 0.01, 0.0, 20.0, 1.0, 100.0, "%",
         "only modules this near in charge are compared: the 10 s resistance "
         "of a blend pouch changes by 8 % between 20 and 90 %, by 27 % at "
         "the ends (doi 10.5281/zenodo.2580327)"),
    RULE("temp_band_k", temp_band, 1.0, 0.0, 5.0, 0.5, 100.0, "K",
         "only modules this near in temperature are compared: the same pouch "
         "has 1.59 times the resistance at 10 C that it has at 25 C"),
    RULE("temp_most_c", temp_most, 1.0, 273.15, 50.0, 20.0, 120.0, "C",
         "a module at rest above it was read in Fahrenheit, or is in "
         "trouble; common practice"),
    RULE("soh_reject_pct", soh_reject, 0.01, 0.0, 60.0, 1.0, 100.0, "%",
         "planned end of a second life; common practice"),
    RULE("soh_most_pct", soh_most, 0.01, 0.0, 110.0, 100.0, 200.0, "%",
         "more than the label by this much is a slip in the test or another "
         "type; common practice"),
    RULE("leak_pct_per_day", leak, 0.01, 0.0, 0.11, 0.001, 100.0, "%/day",
         "four times 10 % a year, the self-discharge of large cells among "
         "which 4:1 is seen (a builders' mailing list)"),
    RULE("leak_times", leak_times, 1.0, 0.0, 4.0, 1.0, 100.0, "times",
         "cells of one kind differ 2:1 to 4:1 (the same list)"),
    RULE("leak_group_v", leak_group, 1.0, 0.0, 0.010, 0.001, 1.0, "V",
         "one group falls this much more than another between two dates; "
         "common practice")};

const amp_judging_rule *amp_judging_rule_at (int i) {
  int n = (int)(sizeof rules / sizeof *rules);
  return i >= 0 && i < n ? &rules[i] : NULL;
}

amp_judging amp_judging_defaults (void) {
  amp_judging j;
  const amp_judging_rule *r;
  memset(&j, 0, sizeof j);
  for (int i = 0; (r = amp_judging_rule_at(i)) != NULL; i++)
    *(double *)((char *)&j + r->offset) = r->value * r->factor + r->shift;
  return j;
}

/* ---- how it was measured ---- */

static const char *const unrested[] = {
    "after charge",      "after a charge",    "after charging",
    "after load",        "after a load",      "after discharge",
    "after discharging", "after a discharge", "just charged",
    "freshly charged",   "just discharged",   "just off",
    "charging",          "under load",        "not rested",
    "unrested",          "off charger",       "off the charger"};
static const char *const two_wire[] = {"two wire", "two wires", "2 wire",
                                       "2 wires",  "2wire",     "multimeter"};

static bool says_unrested (const char *s) {
  return amp_remark_speaks_of(s, unrested,
                              sizeof unrested / sizeof *unrested);
}

static bool says_two_wire (const char *s) {
  return amp_remark_speaks_of(s, two_wire,
                              sizeof two_wire / sizeof *two_wire);
}

/* ---- what the lot says ---- */

typedef struct judge {
  const amp_lot *lot;
  const amp_judging *by;
  amp_judged *out;
  amp_lot_summary sum;
  amp_voltage_limits volts;
  amp_reading *seen; /* the rows without the numbers that are in doubt */
  double *v;         /* room for one number a row */
} judge;

static bool sane (const judge *j, size_t i) {
  return j->lot->reading[i].flaw[0] == '\0';
}

/* Median of *(double *)(base + i * step) over rows that make sense. */
static double median_of (judge *j, const void *base, size_t step,
                         int *count) {
  size_t n = 0;
  for (size_t i = 0; i < j->lot->n; i++) {
    double x = *(const double *)((const char *)base + i * step);
    if (sane(j, i) && amp_given(x))
      j->v[n++] = x;
  }
  if (count != NULL)
    *count = (int)n;
  return n > 0 ? amp_quantile(j->v, n, 0.5) : AMP_NOT_GIVEN;
}

/* Less than any module has: it was typed in ohm. The same range holds for
** the module's own r10s_mohm; common practice, no source. */
static const double least_r = 0.02e-3;

/* A row as it may be used further: what makes no sense by itself is gone. */
static amp_reading without_doubt (const judge *j, const amp_reading *raw) {
  amp_reading r = *raw;
  if (r.flaw[0] != '\0') {
    r.ocv = r.group_min = r.group_max = r.r10s = r.charge = AMP_NOT_GIVEN;
    r.temp = r.before_ocv = r.before_min = r.before_max = AMP_NOT_GIVEN;
    return r;
  }
  if (amp_voltage_is_none(r.ocv, &j->volts))
    r.ocv = AMP_NOT_GIVEN;
  else if (amp_voltages_of(&r, &j->volts).clash)
    r.ocv = r.group_min = r.group_max = AMP_NOT_GIVEN;
  if (r.r10s < least_r || says_two_wire(r.remark))
    r.r10s = AMP_NOT_GIVEN;
  if (r.temp > j->by->temp_most)
    r.temp = AMP_NOT_GIVEN;
  return r;
}

/* Only the module's voltage was read, no cell stands like that, and a decimal
** mark moved brings it to the lot's median. */
static bool is_decade_off (const judge *j, const amp_reading *r) {
  amp_slip slip;
  if (!amp_given(r->ocv) || amp_given(r->group_min) ||
      amp_given(r->group_max) || r->ocv / j->volts.groups > j->volts.v_min)
    return false;
  slip = amp_voltages_slip(r, &j->volts);
  return fabs(slip.meant - j->sum.ocv) < 0.05 * j->sum.ocv;
}

/* Mean voltage of the groups: module over groups, else between the ends. */
static double group_mean (const amp_lot *lot, const amp_reading *r) {
  if (amp_given(r->ocv))
    return r->ocv / lot->groups;
  return 0.5 * (r->group_min + r->group_max);
}

/* Self-discharge between two dates, where voltage tells charge. */
static void find_leak (const amp_lot *lot, const amp_reading *r,
                       amp_judged *out) {
  double days = r->day - r->before_day, was, slope;
  if (!(days > 0.0) || !amp_given(out->soc) || !amp_given(r->before_ocv))
    return;
  if (amp_chemistry_soc(lot->chemistry, r->before_ocv / lot->groups, &was,
                        NULL) != AMP_OK)
    return;
  slope = amp_curve_slope(&lot->chemistry->ocv, out->soc);
  out->leak = (was - out->soc) / days;
  if (slope > 0.0) /* half a digit of 0.01 V at either end */
    out->leak_least = 0.01 / lot->groups / slope / days;
  double charge = amp_given(r->charge) ? r->charge : lot->nameplate;
  out->leak_current = out->leak * charge / 86400.0;
}

/* Numbers of one row by itself. */
static void measure (judge *j, size_t i) {
  const amp_reading *r = &j->seen[i];
  amp_judged *out = &j->out[i];
  amp_status st = AMP_EMISSING;
  memset(out, 0, sizeof *out);
  out->group = group_mean(j->lot, r);
  out->spread = r->group_max - r->group_min;
  out->r10s = r->r10s;
  out->soc = out->r_times = AMP_NOT_GIVEN;
  out->leak = out->leak_current = out->leak_least = AMP_NOT_GIVEN;
  /* where one group stands apart the mean tells no charge */
  if (amp_given(out->group) && !(out->spread > j->by->spread_wide) &&
      !says_unrested(r->remark))
    st = amp_chemistry_soc(j->lot->chemistry, out->group, &out->soc, NULL);
  if (st == AMP_ERANGE && out->group < j->lot->chemistry->ocv.y[0])
    out->soc = 0.0; /* below the curve: emptier than empty, not unknown */
  else if (st != AMP_OK)
    out->soc = AMP_NOT_GIVEN;
  j->sum.flat = j->sum.flat || st == AMP_EREFUSED;
  find_leak(j->lot, r, out);
}

/* A module apart from the lot whose groups nobody measured: its voltage may
** be one group's, and tells no charge. */
static bool is_apart (const judge *j, const amp_reading *r) {
  return !amp_given(r->group_min) &&
         fabs(r->ocv - j->sum.ocv) > j->by->spread_wide;
}

/* Numbers in doubt are set aside before anything is made of the others. */
static void set_aside (judge *j) {
  for (size_t i = 0; i < j->lot->n; i++)
    j->seen[i] = without_doubt(j, &j->lot->reading[i]);
  j->sum.ocv = median_of(j, &j->seen->ocv, sizeof *j->seen, NULL);
  for (size_t i = 0; i < j->lot->n; i++)
    if (is_decade_off(j, &j->seen[i]))
      j->seen[i].ocv = AMP_NOT_GIVEN;
}

static void summarise (judge *j) {
  const amp_reading *r = j->seen;
  const amp_judged *o = j->out;
  size_t step = sizeof *r, apart = sizeof *o;
  j->sum.ocv = median_of(j, &r->ocv, step, NULL);
  for (size_t i = 0; i < j->lot->n; i++)
    if (is_apart(j, &r[i]))
      j->out[i].soc = AMP_NOT_GIVEN;
  j->sum.r10s = median_of(j, &r->r10s, step, &j->sum.with_r);
  j->sum.charge = median_of(j, &r->charge, step, &j->sum.with_charge);
  j->sum.spread = median_of(j, &o->spread, apart, &j->sum.with_groups);
  j->sum.soc = median_of(j, &o->soc, apart, NULL);
  j->sum.leak = median_of(j, &o->leak, apart, NULL);
}

/* ---- findings ---- */

/* Kept in the order in which they decide: by weight, then the gravest. */
static amp_judgement *find (amp_judged *out, const char *name,
                            amp_weight weight, amp_verdict verdict,
                            double value, double limit, double other) {
  int at = out->n < AMP_JUDGEMENTS ? out->n++ : AMP_JUDGEMENTS - 1;
  for (; at > 0 && (out->finding[at - 1].weight > weight ||
                    (out->finding[at - 1].weight == weight &&
                     out->finding[at - 1].verdict < verdict));
       at--)
    out->finding[at] = out->finding[at - 1];
  out->finding[at] =
      (amp_judgement){name,  weight,        verdict,       value, limit,
                      other, AMP_NOT_GIVEN, AMP_NOT_GIVEN, ""};
  return &out->finding[at];
}

#define SAFETY(name, verdict, value, limit, other)                           \
  find(out, name, AMP_WEIGHT_SAFETY, verdict, value, limit, other)
#define DOUBT(name, value, limit, other)                                     \
  find(out, name, AMP_WEIGHT_DOUBT, AMP_NOT_JUDGED, value, limit, other)
#define ECONOMY(name, value, limit, other)                                   \
  find(out, name, AMP_WEIGHT_ECONOMY, AMP_REJECT, value, limit, other)
#define REMARK(name, value, limit, other)                                    \
  find(out, name, AMP_WEIGHT_REMARK, AMP_ACCEPT, value, limit, other)

/* Voltage of a group that was let go too far, or charged too far: as far as
** the module's voltage and its other end do not exclude it. */
static void look_at_groups (const judge *j, const amp_reading *r,
                            const amp_voltages *v, amp_judged *out) {
  const amp_judging *by = j->by;
  int n = j->lot->groups;
  double read = amp_given(r->group_min) ? r->group_min : out->group;
  double least = amp_given(v->least) ? v->least : out->group;
  double rest =
      n > 1 && !v->clash ? (r->ocv - r->group_min) / (n - 1) : AMP_NOT_GIVEN;
  double spread = v->clash ? v->most - v->least : out->spread;
  if (least < by->group_reject)
    SAFETY("group_below_reject", AMP_REJECT, read, by->group_reject, rest);
  else if (least < by->group_low && spread > by->group_alone)
    SAFETY("one_group_discharged", AMP_REJECT, read, by->group_low, rest);
  else if (least < by->group_low)
    SAFETY("group_deeply_discharged", AMP_QUARANTINE, read, by->group_low,
           rest);
  else if (spread > by->spread_wide)
    SAFETY("group_spread_wide", AMP_QUARANTINE, r->group_max - r->group_min,
           by->spread_wide, j->sum.spread);
  else if (out->spread > by->spread_good)
    REMARK("group_spread_uneven", out->spread, by->spread_good,
           j->sum.spread);
  else if (out->spread > by->spread_times * j->sum.spread)
    REMARK("group_spread_above_lot", out->spread,
           by->spread_times * j->sum.spread, j->sum.spread);
}

static void look_at_limit (const judge *j, const amp_reading *r,
                           const amp_voltages *v, amp_judged *out) {
  double most = amp_given(v->most) ? v->most : out->group;
  if (most > j->volts.v_max + 0.005) /* a meter's last digit */
    SAFETY("group_above_limit", AMP_QUARANTINE,
           amp_given(r->group_max) ? r->group_max : out->group,
           j->volts.v_max, AMP_NOT_GIVEN);
}

/* Which cell it may be, and what it would have to say. */
static void name_cell (const judge *j, const amp_reading *raw,
                       amp_judgement *f) {
  amp_slip slip = amp_voltages_slip(raw, &j->volts);
  if (slip.cell == NULL)
    return;
  memcpy(f->word, slip.cell, strlen(slip.cell) + 1);
  f->typed = slip.typed;
  f->meant = slip.meant;
}

/* Voltages that cannot be: of one module, or beside each other. */
static void look_at_sum (const judge *j, const amp_reading *raw,
                         const amp_reading *r, const amp_voltages *v,
                         amp_judged *out) {
  double n = j->lot->groups;
  if (!amp_given(raw->ocv) && !amp_given(raw->group_min) &&
      !amp_given(raw->group_max)) {
    DOUBT("voltage_not_given", AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
    return;
  }
  if (v->clash)
    name_cell(j, raw,
              DOUBT("groups_disagree_with_module", raw->ocv, v->lo, v->hi));
  else if (amp_given(raw->ocv) && !amp_given(r->ocv))
    name_cell(j, raw,
              DOUBT("voltage_cannot_be", raw->ocv, raw->ocv / n, j->sum.ocv));
  if (!amp_given(raw->group_min)) {
    if (is_apart(j, r))
      DOUBT("module_apart_groups_unknown", r->ocv, j->sum.ocv,
            r->ocv - (n - 1.0) * j->sum.ocv / n);
    REMARK("groups_not_measured", AMP_NOT_GIVEN, AMP_NOT_GIVEN,
           AMP_NOT_GIVEN);
  }
}

static void look_at_dates (const judge *j, const amp_reading *r,
                           amp_judged *out) {
  double days = r->day - r->before_day;
  double more =
      (r->before_min - r->group_min) - (r->before_max - r->group_max);
  if (!(days > 0.0))
    return;
  if (more > j->by->leak_group)
    SAFETY("group_leaks", AMP_QUARANTINE, more, j->by->leak_group, days);
  if (out->leak > out->leak_least && out->leak > j->by->leak)
    SAFETY("self_discharge_high", AMP_QUARANTINE, out->leak, j->by->leak,
           out->leak_current);
  else if (out->leak > out->leak_least && j->sum.leak > 0.0 &&
           out->leak > j->by->leak_times * j->sum.leak)
    SAFETY("self_discharge_above_lot", AMP_QUARANTINE, out->leak,
           j->by->leak_times * j->sum.leak, out->leak_current);
  else if (out->leak < -out->leak_least)
    DOUBT("voltage_rose_between_dates", r->ocv, r->before_ocv, days);
}

/* All that the voltages of a row say. */
static void look_at_voltages (const judge *j, size_t i, amp_judged *out) {
  const amp_reading *raw = &j->lot->reading[i], *r = &j->seen[i];
  amp_reading row = *raw;
  if (amp_voltage_is_none(raw->ocv, &j->volts))
    row.ocv = AMP_NOT_GIVEN;
  amp_voltages v = amp_voltages_of(&row, &j->volts);
  look_at_groups(j, &row, &v, out);
  look_at_limit(j, &row, &v, out);
  look_at_dates(j, r, out);
  look_at_sum(j, raw, r, &v, out);
}

static bool near (double a, double b, double band) {
  return !amp_given(a) || !amp_given(b) || fabs(a - b) <= band;
}

/* Median resistance of the modules that may be compared with row i. */
static double comparable (judge *j, size_t i, int *count) {
  const amp_reading *r = j->seen;
  size_t n = 0;
  for (size_t k = 0; k < j->lot->n; k++)
    if (sane(j, k) && amp_given(r[k].r10s) &&
        near(j->out[k].soc, j->out[i].soc, j->by->soc_band) &&
        near(r[k].temp, r[i].temp, j->by->temp_band))
      j->v[n++] = r[k].r10s;
  *count = (int)n;
  return n > 0 ? amp_quantile(j->v, n, 0.5) : AMP_NOT_GIVEN;
}

static void look_at_resistance (judge *j, size_t i, amp_judged *out) {
  const amp_reading *r = &j->lot->reading[i];
  int count;
  if (!amp_given(r->r10s)) {
    DOUBT("resistance_not_given", AMP_NOT_GIVEN, AMP_NOT_GIVEN,
          AMP_NOT_GIVEN);
    return;
  }
  if (r->r10s < least_r) {
    DOUBT("resistance_like_ohms", r->r10s, least_r, AMP_NOT_GIVEN);
    return;
  }
  if (says_two_wire(r->remark)) {
    DOUBT("resistance_two_wire", r->r10s, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
    return;
  }
  double mid = comparable(j, i, &count);
  if (count < 3) { /* of a lot of two nothing better can be asked */
    if (j->sum.with_r < 3)
      REMARK("resistance_not_comparable", r->r10s, 3.0, count);
    else
      DOUBT("resistance_not_comparable", r->r10s, 3.0, count);
    return;
  }
  out->r_times = r->r10s / mid;
  if (out->r_times > j->by->resistance_reject)
    ECONOMY("resistance_far_above_lot", r->r10s,
            j->by->resistance_reject * mid, mid);
  else if (out->r_times > j->by->resistance_retest)
    DOUBT("resistance_above_lot", r->r10s, j->by->resistance_retest * mid,
          mid);
}

static void look_at_charge (const judge *j, const amp_reading *r,
                            amp_judged *out) {
  double soh = r->charge / j->lot->nameplate;
  if (!amp_given(r->charge))
    REMARK("capacity_not_tested", AMP_NOT_GIVEN, AMP_NOT_GIVEN,
           AMP_NOT_GIVEN);
  if (soh > j->by->soh_most)
    DOUBT("capacity_above_nameplate", r->charge,
          j->by->soh_most * j->lot->nameplate, soh);
  if (soh < j->by->soh_reject)
    ECONOMY("capacity_low", r->charge, j->by->soh_reject * j->lot->nameplate,
            soh);
  if (out->soc < j->sum.soc - 0.05 || out->soc > j->sum.soc + 0.05)
    REMARK(out->soc < j->sum.soc ? "charge_below_lot" : "charge_above_lot",
           out->soc, j->sum.soc, out->group);
}

/* ---- remarks ---- */

/* Is there a part of it, between marks, of which no word was read? */
static bool is_unread (const char *s) {
  char part[AMP_READING_REMARK];
  while (amp_remark_part(&s, part, sizeof part))
    if (amp_remark_damage(part) == NULL && amp_remark_denied(part) == NULL &&
        !says_unrested(part) && !says_two_wire(part) &&
        !amp_remark_plain(part))
      return true;
  return false;
}

static void look_at_remark (const amp_reading *r, amp_judged *out) {
  const char *word = amp_remark_damage(r->remark);
  if (word != NULL) {
    amp_judgement *f = SAFETY("remark_of_damage", AMP_QUARANTINE,
                              AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
    amp_remark_word(word, f->word, sizeof f->word);
    return;
  }
  if (amp_reading_remark_is_cut(r))
    DOUBT("remark_cut", AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
  if (amp_given(r->ocv) && says_unrested(r->remark))
    DOUBT("voltage_not_at_rest", r->ocv, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
  if (amp_remark_denied(r->remark) != NULL)
    REMARK("damage_denied", AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
  if (is_unread(r->remark))
    REMARK("remark_to_read", AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
}

/* ---- verdicts ---- */

static void look (judge *j, size_t i) {
  const amp_reading *r = &j->lot->reading[i];
  amp_judged *out = &j->out[i];
  if (!sane(j, i))
    DOUBT("row_makes_no_sense", AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN);
  else {
    look_at_voltages(j, i, out);
    if (r->temp > j->by->temp_most)
      DOUBT("module_hot_or_fahrenheit", r->temp, j->by->temp_most,
            AMP_NOT_GIVEN);
    look_at_resistance(j, i, out);
    look_at_charge(j, r, out);
  }
  look_at_remark(r, out);
  out->verdict = out->n > 0 ? out->finding[0].verdict : AMP_ACCEPT;
  j->sum.count[out->verdict]++;
}

amp_status amp_lot_judge (const amp_context *ctx, const amp_lot *lot,
                          const amp_judging *by, amp_judged *out,
                          amp_lot_summary *sum, amp_error *err) {
  judge j = {.lot = lot, .by = by, .out = out};
  size_t rows = lot->n + 1, size = rows * (sizeof *j.seen + sizeof *j.v);
  if (lot->chemistry == NULL || lot->groups < 1)
    return amp_failf(err, AMP_EMISSING, "module",
                     "which module is it? Chemistry and groups in series are "
                     "wanted");
  j.seen = amp_alloc(ctx, size);
  if (j.seen == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory to judge this lot");
  j.v = (double *)(j.seen + rows);
  j.volts =
      (amp_voltage_limits){lot->groups, lot->chemistry->v_min,
                           lot->chemistry->v_max, by->sum, by->sum_share};
  set_aside(&j);
  for (size_t i = 0; i < lot->n; i++)
    measure(&j, i);
  summarise(&j);
  for (size_t i = 0; i < lot->n; i++)
    look(&j, i);
  amp_free(ctx, j.seen, size);
  if (sum != NULL)
    *sum = j.sum;
  return AMP_OK;
}
