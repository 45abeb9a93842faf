/*
** protect.c -- fuse, short circuit, and a circuit looked at as a whole.
*/
#include "pack/protect.h"
#include "base/text.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

amp_status amp_design_current (double power, double efficiency, double v,
                               double *out, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "power", power, 0.0, 1e8)) != AMP_OK ||
      (s = amp_check_range(err, "efficiency", efficiency, 0.01, 1.0)) !=
          AMP_OK ||
      (s = amp_check_range(err, "v", v, 0.1, 2000.0)) != AMP_OK)
    return s;
  *out = power / (efficiency * v);
  return AMP_OK;
}

double amp_fuse_next (double a) {
  /* NEC 240.6(A), from memory; a few European steps (63, 125, 160) differ */
  static const double size[] = {10,  15,  20,  25,  30,  35,  40,  45,  50,
                                60,  70,  80,  90,  100, 110, 125, 150, 175,
                                200, 225, 250, 300, 350, 400, 450, 500, 600};
  for (size_t i = 0; i < sizeof size / sizeof *size; i++)
    if (a <= size[i] * (1.0 + 1e-12))
      return size[i];
  return NO;
}

/* ---- time against current ---- */

amp_status amp_fuse_time (const amp_trip *curve, double current, double *time,
                          bool *most, amp_error *err) {
  amp_status s;
  if (!curve)
    return amp_failf(err, AMP_EMISSING, "curve",
                     "the fuse's time-current curve is wanted: a rating "
                     "alone does not tell how long it holds");
  if ((s = amp_trip_check(curve, err)) != AMP_OK ||
      (s = amp_check_range(err, "current", current, 0.0, 1e7)) != AMP_OK)
    return s;
  if (!(current > curve->amp[0]))
    return amp_failf(err, AMP_EREFUSED, "current",
                     "the curve begins at %g A: whether and when it opens "
                     "at %g A is not told",
                     curve->amp[0], current);
  *most = current > curve->amp[curve->n - 1];
  *time = amp_trip_time(curve, current);
  return AMP_OK;
}

/* ---- prospective short circuit ---- */

amp_status amp_short_of (const amp_short_spec *s, amp_short *out,
                         amp_error *err) {
  amp_short a = {0};
  amp_status st;
  double g = 0.0, least = 0.0; /* 1/ohm: of all, of the weakest string */
  if ((st = amp_check_range(err, "strings", s->strings, 1, 10000)) !=
          AMP_OK ||
      (st = amp_check_range(err, "v", s->v, 0.1, 2000.0)) != AMP_OK)
    return st;
  if (amp_given(s->out) &&
      (st = amp_check_range(err, "out", s->out, 0.0, 100.0)) != AMP_OK)
    return st;
  for (int i = 0; i < s->strings; i++) {
    if (!amp_given(s->r[i]))
      continue;
    if ((st = amp_check_range(err, "r", s->r[i], 1e-7, 1e3)) != AMP_OK)
      return st;
    g += 1.0 / s->r[i];
    a.string = fmax(a.string, s->v / s->r[i]);
    least = a.known++ == 0 ? 1.0 / s->r[i] : fmin(least, 1.0 / s->r[i]);
  }
  if (a.known == 0)
    return amp_failf(err, AMP_EMISSING, "r",
                     "no resistance is known: the short circuit has no "
                     "bound");
  a.bound = a.known < s->strings;
  a.bus = s->v * g;
  a.low = s->v / (1.0 / g + s->out);
  a.high = a.bound ? NO : 2.0 * a.bus;
  a.into = a.bound ? a.bus : s->v * (g - least);
  if (s->strings == 1)
    a.into = 0.0;
  *out = a;
  return AMP_OK;
}

/* ohm, NaN where nobody measured it */
static double measured_r (const amp_build *b, int at) {
  const amp_module *m = b->all ? b->all : b->module[at];
  return amp_value_is_set(&m->r10s) ? m->r10s.value : NO;
}

/* String 'k' whose first module is 'at', with its joints and leads. */
static double string_r (const amp_build *b, int k, int at) {
  int n = b->inner[b->all ? 0 : k];
  double r = b->lead + b->link * (n - 1);
  for (int i = 0; i < n; i++)
    r += measured_r(b, at + i);
  return r;
}

/* All levels in series; a module that is not known carries nothing here. */
static double levels_r (const amp_build *b, bool *bound) {
  double r = b->link * (b->outer - 1);
  int at = 0;
  for (int k = 0; k < b->outer; k++) {
    int n = b->inner[b->all ? 0 : k];
    double g = 0.0;
    for (int i = 0; i < n; i++) {
      double one = measured_r(b, at + i);
      *bound = *bound || !amp_given(one);
      g += amp_given(one) ? 1.0 / (one + b->lead) : 0.0;
    }
    r = g > 0.0 ? r + 1.0 / g : NO;
    at += n;
  }
  return r;
}

amp_status amp_short_of_build (const amp_build *b, double v, double out,
                               amp_short *a, amp_error *err) {
  double r[AMP_SHORT_STRINGS];
  amp_short_spec s = {1, r, v, out};
  bool bound = false;
  int at = 0;
  amp_status st =
      amp_check_range(err, "strings", b->outer, 1, AMP_SHORT_STRINGS);
  if (st != AMP_OK)
    return st;
  if (b->string_first) {
    s.strings = b->outer;
    for (int k = 0; k < b->outer; k++) {
      r[k] = string_r(b, k, at);
      at += b->inner[b->all ? 0 : k];
    }
  } else
    r[0] = levels_r(b, &bound);
  if ((st = amp_short_of(&s, a, err)) != AMP_OK || b->string_first)
    return st;
  a->string = a->into = NO;
  a->bound = bound;
  a->high = bound ? NO : a->high;
  return AMP_OK;
}

void amp_short_lead_acid (double nominal, double r, double out, double *peak,
                          double *steady) {
  double e = 1.05 * nominal, first = 0.9 * r + out;
  *peak = e / first;
  *steady = 0.95 * e / (first + 0.1 * r);
}

/* ---- a circuit looked at ---- */

amp_circuit amp_circuit_defaults (void) {
  amp_circuit c;
  memset(&c, 0, sizeof c);
  c.current = c.surge = c.surge_time = c.v_full = c.fuse = c.fuse_v = NO;
  c.interrupt = c.ampacity = c.drop = c.drop_limit = NO;
  return c;
}

amp_status amp_circuit_check (const amp_circuit *c, amp_error *err) {
  amp_status s;
  if ((s = amp_check_given(err, "current", c->current, 0.0, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "surge", c->surge, 0.0, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "surge_time", c->surge_time, 1e-6, 1e5)) !=
          AMP_OK ||
      (s = amp_check_given(err, "v_full", c->v_full, 0.1, 2000.0)) !=
          AMP_OK ||
      (s = amp_check_given(err, "fuse", c->fuse, 0.01, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "fuse_v", c->fuse_v, 0.1, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "interrupt", c->interrupt, 1.0, 1e7)) !=
          AMP_OK ||
      (s = amp_check_given(err, "ampacity", c->ampacity, 0.1, 1e5)) !=
          AMP_OK ||
      (s = amp_check_given(err, "drop", c->drop, 0.0, 1e3)) != AMP_OK ||
      (s = amp_check_given(err, "drop_limit", c->drop_limit, 0.0, 1.0)) !=
          AMP_OK)
    return s;
  return c->curve ? amp_trip_check(c->curve, err) : AMP_OK;
}

amp_finding *amp_finding_add (amp_findings *f, const char *id, bool unknown,
                              double value, double limit) {
  amp_finding *row = &f->row[f->n < AMP_FINDINGS ? f->n : AMP_FINDINGS];
  if (f->n < AMP_FINDINGS)
    f->n++;
  memset(row, 0, sizeof *row);
  row->id = id;
  row->unknown = unknown;
  row->value = value;
  row->limit = limit;
  return row;
}

/* A comparison that was made and does not stand out. */
static void pass (amp_findings *f, const char *id, double value,
                  double limit) {
  if (f->clear >= AMP_FINDINGS)
    return;
  f->passed[f->clear].id = id;
  f->passed[f->clear].value = value;
  f->passed[f->clear].limit = limit;
  f->clear++;
}

/* As people are told it: three digits. */
static double three (double v) {
  char text[40];
  double out = v;
  size_t n = amp_format_double(v, 3, text);
  return amp_parse_double(text, n, '.', &out, NULL) == AMP_OK ? out : v;
}

/* The same of what must not be less: never rounded down. */
static double three_up (double v) {
  double told = three(v), digit = 1.0;
  if (!(v > 0.0 && told < v * (1.0 - 1e-12)))
    return told;
  while (digit * 1000.0 <= v)
    digit *= 10.0;
  while (digit * 100.0 > v)
    digit /= 10.0;
  return three(told + digit);
}

/*
** One comparison: 'value' must not lie below 'limit', which people are told
** as 'told'. Something not given makes an unknown finding; else one where it
** fails. 'sentence' takes both, over 'unit'.
*/
static void at_least_told (amp_findings *f, const char *id, double value,
                           double limit, double unit, double told,
                           const char *sentence, const char *missing) {
  if (!amp_given(value) || !amp_given(limit)) {
    amp_finding *row = amp_finding_add(f, id, true, value, limit);
    amp_failf(&row->say, AMP_OK, id, "%s", missing);
    return;
  }
  f->checked++;
  if (value >= limit * (1.0 - 1e-12)) {
    pass(f, id, value, limit);
    return;
  }
  amp_finding *row = amp_finding_add(f, id, false, value, limit);
  amp_failf(&row->say, AMP_OK, id, sentence, three(value / unit), told);
}

static void at_least (amp_findings *f, const char *id, double value,
                      double limit, double unit, const char *sentence,
                      const char *missing) {
  at_least_told(f, id, value, limit, unit, three(limit / unit), sentence,
                missing);
}

static void look_fuse (const amp_circuit *c, amp_findings *f) {
  double wanted = AMP_FUSE_FACTOR * c->current;
  at_least_told(
      f, "fuse_below_load", c->fuse, wanted, 1.0, three_up(wanted),
      "the fuse of %g A lies below 1.25 times the lasting current, %g A",
      "fuse against load: the rating or the lasting current is missing");
  at_least(f, "fuse_above_cable", c->ampacity, c->fuse, 1.0,
           "the cable may carry %g A, and the fuse lets %g A through",
           "fuse against cable: the rating or the ampacity is missing");
  at_least(f, "fuse_voltage_below_full", c->fuse_v, c->v_full, 1.0,
           "the fuse is made for %g V, the full pack has %g V",
           "fuse voltage against the full pack: one of them is missing");
  if (c->alternating)
    amp_failf(&amp_finding_add(f, "fuse_for_alternating_current", false,
                               c->fuse_v, c->v_full)
                   ->say,
              AMP_OK, NULL,
              "its voltage is told for alternating current, which says "
              "nothing about direct current");
  if (c->polarised)
    amp_failf(&amp_finding_add(f, "breaker_polarised", false, NO, NO)->say,
              AMP_OK, NULL,
              "a breaker that minds the direction does not clear while the "
              "pack charges");
}

static void look_cable (const amp_circuit *c, amp_findings *f) {
  bool amps = amp_given(c->ampacity), drop = amp_given(c->drop);
  at_least(f, "cable_below_load", c->ampacity, c->current, 1.0,
           "the cable may carry %g A, the lasting current is %g A",
           "cable against load: the ampacity or the current is missing");
  if (drop && !amps)
    amp_failf(
        &amp_finding_add(f, "cable_by_drop_only", true, c->drop, NO)->say,
        AMP_OK, NULL,
        "the cable was reckoned by its drop alone: its ampacity is missing");
  if (amps && !drop)
    amp_failf(
        &amp_finding_add(f, "cable_by_ampacity_only", true, c->ampacity, NO)
             ->say,
        AMP_OK, NULL,
        "the cable was reckoned by ampacity alone: its length, the current "
        "or the voltage is missing");
  if (!drop || !amp_given(c->drop_limit))
    return;
  f->checked++;
  if (!(c->drop > c->drop_limit * (1.0 + 1e-12)))
    pass(f, "drop_above_limit", c->drop, c->drop_limit);
  else
    amp_failf(
        &amp_finding_add(f, "drop_above_limit", false, c->drop, c->drop_limit)
             ->say,
        AMP_OK, NULL, "the cable drops %g %%, the limit is %g %%",
        three(c->drop * 100.0), three(c->drop_limit * 100.0));
}

/* Range against rating: below what 10 s show is certain, below the upper end
** possible. */
static void look_short (const amp_circuit *c, amp_findings *f) {
  const amp_short *p = c->prospective;
  double bus = p ? p->bus : NO;
  at_least(f, "interrupt_below_short", c->interrupt, bus, 1e3,
           "the fuse breaks %g kA, the busbar may give %g kA and more in "
           "the first moment",
           p ? "interrupt rating against the short circuit: it is missing"
             : "no resistance is known: nothing is said of the interrupt "
               "rating");
  if (!p || !amp_given(c->interrupt) || c->interrupt < bus)
    return;
  if (p->bound)
    amp_failf(&amp_finding_add(f, "short_circuit_only_bounded", true,
                               c->interrupt, bus)
                   ->say,
              AMP_OK, NULL,
              "some resistances are missing: the short circuit is %g kA or "
              "more",
              three(bus / 1e3));
  else if (c->interrupt < p->high)
    amp_failf(&amp_finding_add(f, "interrupt_within_range_of_short", false,
                               c->interrupt, p->high)
                   ->say,
              AMP_OK, NULL,
              "the fuse breaks %g kA, the short circuit may reach %g kA",
              three(c->interrupt / 1e3), three(p->high / 1e3));
}

/* A surge that outlasts the fuse at that current. */
static void look_surge (const amp_circuit *c, amp_findings *f) {
  double time = NO;
  bool most = false;
  amp_error why = {0};
  if (!amp_given(c->surge) || !amp_given(c->fuse))
    return;
  if (c->surge <= c->fuse) {
    pass(f, "surge_above_fuse", c->surge, c->fuse);
    return;
  }
  if (amp_fuse_time(c->curve, c->surge, &time, &most, &why) != AMP_OK) {
    amp_failf(
        &amp_finding_add(f, "surge_above_fuse", true, c->surge, c->fuse)->say,
        AMP_OK, NULL, "a surge of %g A passes the fuse of %g A: %s",
        three(c->surge), three(c->fuse),
        why.status == AMP_EREFUSED ? "its curve does not reach there"
                                   : "its time-current curve decides "
                                     "and is missing");
    return;
  }
  if (!amp_given(c->surge_time)) {
    amp_failf(
        &amp_finding_add(f, "surge_time_missing", true, c->surge, time)->say,
        AMP_OK, NULL,
        "the fuse holds a surge of %g A for %s%g s: how long "
        "it lasts is missing",
        three(c->surge), most ? "at most " : "", three(time));
    return;
  }
  f->checked++;
  if (!(c->surge_time >= time))
    pass(f, "surge_outlasts_fuse", c->surge_time, time);
  else
    amp_failf(
        &amp_finding_add(f, "surge_outlasts_fuse", false, c->surge_time, time)
             ->say,
        AMP_OK, NULL, "a surge of %g A lasts %g s, the fuse opens after %g s",
        three(c->surge), three(c->surge_time), three(time));
}

/* IEC 61140 takes 60 V of direct current for parts that may be touched. */
static void look_touch (const amp_circuit *c, amp_findings *f) {
  if (!amp_given(c->v_full))
    return;
  f->checked++;
  if (!(c->v_full > 60.0))
    pass(f, "above_60_v", c->v_full, 60.0);
  else
    amp_failf(
        &amp_finding_add(f, "above_60_v", false, c->v_full, 60.0)->say,
        AMP_OK, NULL,
        "the full pack has %g V: above 60 V of direct current bare parts "
        "must not be touched",
        three(c->v_full));
}

amp_status amp_circuit_look (const amp_circuit *c, amp_findings *out,
                             amp_error *err) {
  amp_status s = amp_circuit_check(c, err);
  if (s != AMP_OK)
    return s;
  memset(out, 0, sizeof *out);
  look_fuse(c, out);
  look_cable(c, out);
  look_short(c, out);
  look_surge(c, out);
  look_touch(c, out);
  return AMP_OK;
}
