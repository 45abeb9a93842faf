/*
** check_pack.c -- the modules of a pack in check.h: where they come from,
** what was tested, how alike they are, how the current shares.
*/
#include "job/check_parts.h"
#include "pack/wire.h"
#include <math.h>
#include <string.h>

/* Apart by more than this: told (common practice; of currents ours). */
#define UNEVEN_CHARGE 0.05
#define UNEVEN_LABEL 0.05
#define UNEVEN_SHARE 0.10
#define UNLEVEL 0.05

/* ---- where they come from ---- */

static void look_accepted (const amp_check *c, amp_checked *out) {
  const amp_origin *o = c->origin;
  int n = amp_build_modules(c->build);
  if (o == NULL || o->known == 0) {
    check_missing(out, "module_not_accepted",
                  "the modules were typed by hand: whether each was accepted "
                  "is not known (lot = .., or plan:pack{})");
    return;
  }
  if (o->accepted == o->known) {
    check_clear(out, "module_not_accepted", &check_modules, o->accepted,
                o->known, AMP_BASIS_NONE);
    if (o->known < n)
      check_missing(out, "module_not_accepted",
                    "some modules are not in the lot: whether they were "
                    "accepted is not known");
    return;
  }
  amp_check_row *row = check_add(
      out, "module_not_accepted", AMP_LOOK_RAISED, AMP_WEIGHT_SAFETY,
      &check_modules, o->known - o->accepted, 0.0, AMP_BASIS_MEASURED);
  amp_failf(&row->say, AMP_OK, NULL,
            "%d of %d modules were not accepted, among them \"%s\" (%s)",
            o->known - o->accepted, o->known, o->worst,
            amp_verdict_name(o->verdict));
}

static void look_level (const amp_check *c, amp_checked *out) {
  const amp_origin *o = c->origin;
  amp_check_row *row;
  if (o == NULL || !amp_given(o->soc_low)) {
    check_missing(out, "charge_not_level",
                  "the modules' charge is not known: bring them level before "
                  "joining");
    return;
  }
  row =
      check_held(out, "charge_not_level", o->soc_high - o->soc_low > UNLEVEL,
                 AMP_WEIGHT_SAFETY, &check_pct, o->soc_high - o->soc_low,
                 UNLEVEL, AMP_BASIS_MEASURED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the modules stood between %g and %g %% of charge when read: "
            "bring them level before joining",
            check_three(o->soc_low * 100.0),
            check_three(o->soc_high * 100.0));
}

/* LFP: a rest voltage between the knees tells no charge. */
static void look_flat (const amp_check *c, amp_checked *out) {
  const amp_chemistry *ch = c->mean->chemistry;
  if (!(ch->flat_lo < ch->flat_hi) || c->strings < 2) {
    check_clear(out, "joined_by_flat_voltage", &check_plain, NO, NO,
                AMP_BASIS_NONE);
    return;
  }
  amp_check_row *row = check_add(
      out, "joined_by_flat_voltage", AMP_LOOK_RAISED, AMP_WEIGHT_SAFETY,
      &check_pct, ch->flat_lo, ch->flat_hi, AMP_BASIS_NONE);
  amp_failf(
      &row->say, AMP_OK, NULL,
      "%d strings of a flat curve: between %g and %g %% of charge equal "
      "voltages say nothing; level by a full charge or by counting",
      c->strings, check_three(ch->flat_lo * 100.0),
      check_three(ch->flat_hi * 100.0));
}

/* ---- what was measured ---- */

static void look_tested (const amp_check *c, amp_checked *out) {
  int listed = check_listed(c), tested = 0, healthy = 0;
  int n = amp_build_modules(c->build);
  for (int i = 0; i < listed; i++) {
    const amp_module *m = check_module(c, i);
    tested +=
        amp_value_is_set(&m->tested) && m->tested.basis == AMP_BASIS_MEASURED;
    healthy += amp_value_is_set(&m->tested) || amp_value_is_set(&m->soh);
  }
  if (tested == listed) {
    check_clear(out, "capacity_not_tested", &check_modules, n, n,
                AMP_BASIS_MEASURED);
    return;
  }
  if (listed == 1)
    healthy *= n;
  amp_check_row *row = check_add(
      out, "capacity_not_tested", AMP_LOOK_RAISED, AMP_WEIGHT_ECONOMY,
      &check_modules, listed == 1 ? 0 : tested, n, AMP_BASIS_ASSUMED);
  amp_failf(&row->say, AMP_OK, NULL,
            "the capacity of %d of %d modules was not tested%s",
            listed == 1 ? n : listed - tested, n,
            healthy < n ? ": the label counts, and they may hold far less"
                        : ": a mean or a claim stands in");
}

static void look_resistance (const amp_check *c, amp_checked *out) {
  int listed = check_listed(c), known = 0;
  for (int i = 0; i < listed; i++)
    known += amp_value_is_set(&check_module(c, i)->r10s);
  if (known == listed)
    check_clear(out, "resistance_not_given", &check_modules,
                amp_build_modules(c->build), amp_build_modules(c->build),
                AMP_BASIS_MEASURED);
  else
    check_missing(out, "resistance_not_given",
                  "r10s_mohm of some modules is not measured: shares of "
                  "current, sag and heat rest on a default");
}

/* ---- how alike they are ---- */

static double charge_of (const amp_module *m) {
  return amp_module_health(m) * m->capacity.value;
}

/* Least and mean of 'f' over the modules that share a current, and the
** lowest ratio of both over all of them. */
static double least_share (const amp_check *c,
                           double (*f)(const amp_module *)) {
  const amp_build *b = c->build;
  double lowest = 1.0;
  if (b->all)
    return lowest;
  if (!b->string_first) { /* positions: sums against their mean */
    double sum = 0.0, least = HUGE_VAL;
    for (int o = 0, at = 0; o < b->outer; o++) {
      double one = 0.0;
      for (int i = 0; i < b->inner[o]; i++)
        one += f(b->module[at++]);
      sum += one;
      least = fmin(least, one);
    }
    return least * b->outer / sum;
  }
  for (int o = 0, at = 0; o < b->outer; o++) {
    double sum = 0.0, least = HUGE_VAL;
    for (int i = 0; i < b->inner[o]; i++, at++) {
      sum += f(b->module[at]);
      least = fmin(least, f(b->module[at]));
    }
    lowest = fmin(lowest, least * b->inner[o] / sum);
  }
  return lowest;
}

static double label_of (const amp_module *m) {
  return m->capacity.value;
}

static void look_alike (const amp_check *c, amp_checked *out) {
  double held = least_share(c, charge_of), label = least_share(c, label_of);
  amp_check_row *row;
  row = check_held(out, "series_capacity_uneven", held < 1.0 - UNEVEN_CHARGE,
                   AMP_WEIGHT_ECONOMY, &check_pct, held, 1.0 - UNEVEN_CHARGE,
                   AMP_BASIS_COMPUTED);
  if (row != NULL)
    amp_failf(&row->say, AMP_OK, NULL,
              "the weakest in series holds %g %% of the mean beside it, and "
              "the others give no more",
              check_three(held * 100.0));
  row = check_held(out, "generation_mixed", label < 1.0 - UNEVEN_LABEL,
                   AMP_WEIGHT_DOUBT, &check_pct, label, 1.0 - UNEVEN_LABEL,
                   AMP_BASIS_CLAIMED);
  if (row != NULL)
    amp_failf(&row->say, AMP_OK, NULL,
              "unlike modules in series: one label says %g %% of the mean "
              "beside it",
              check_three(label * 100.0));
}

/* One module in two places; their names are stickers where a lot is known. */
static void look_twice (const amp_check *c, amp_checked *out) {
  int n = check_listed(c);
  if (c->origin == NULL || c->origin->known == 0 || n < 2)
    return;
  for (int i = 0; i < n; i++)
    for (int k = 0; k < i; k++)
      if (strcmp(check_module(c, i)->name, check_module(c, k)->name) == 0 &&
          check_module(c, i)->name[0] != '\0') {
        amp_check_row *row = check_add(
            out, "module_in_two_places", AMP_LOOK_RAISED, AMP_WEIGHT_DOUBT,
            &check_plain, 2.0, 1.0, AMP_BASIS_NONE);
        amp_failf(&row->say, AMP_OK, NULL,
                  "the module \"%s\" stands in two places",
                  check_module(c, i)->name);
        return;
      }
  check_clear(out, "module_in_two_places", &check_plain, NO, NO,
              AMP_BASIS_NONE);
}

/* ---- how the current shares ---- */

static double beside (const double *r, int n) {
  double i[AMP_RAIL_STRINGS], most = 0.0;
  if (n < 2 || n > AMP_RAIL_STRINGS ||
      amp_rail_currents(n, NULL, r, 0.0, 0, 0, n, i, NULL) != AMP_OK)
    return NO;
  for (int k = 0; k < n; k++)
    most = fmax(most, i[k]);
  return most;
}

/* Largest current of those side by side over an even share; NaN: a
** resistance is missing, or there is nothing beside. */
static double worst_share (const amp_check *c) {
  const amp_build *b = c->build;
  double r[AMP_BUILD_MODULES], whole[AMP_BUILD_MODULES], most = NO;
  if (b->all)
    return amp_value_is_set(&b->all->r10s) && c->strings > 1 ? 1.0 : NO;
  for (int o = 0, at = 0; o < b->outer; o++) {
    whole[o] = b->lead;
    for (int i = 0; i < b->inner[o]; i++, at++) {
      const amp_module *m = b->module[at];
      double one = amp_value_is_set(&m->r10s) ? m->r10s.value : NO;
      r[i] = one + b->lead;
      whole[o] += one + (i > 0 ? b->link : 0.0);
    }
    if (!b->string_first)
      most = fmax(most, beside(r, b->inner[o]));
  }
  return b->string_first ? beside(whole, b->outer) : most;
}

static void look_share (const amp_check *c, amp_checked *out) {
  double most = worst_share(c);
  out->facts.share = most;
  if (c->strings < 2) {
    check_clear(out, "string_share_uneven", &check_times, 1.0,
                1.0 + UNEVEN_SHARE, AMP_BASIS_NONE);
    return;
  }
  if (!amp_given(most)) {
    check_missing(out, "string_share_uneven",
                  "the worst string's share is not known: r10s_mohm of every "
                  "module is wanted, and not more than 64 side by side");
    return;
  }
  amp_check_row *row = check_held(
      out, "string_share_uneven", most > 1.0 + UNEVEN_SHARE, AMP_WEIGHT_DOUBT,
      &check_times, most, 1.0 + UNEVEN_SHARE, AMP_BASIS_COMPUTED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the strongest %s carries %g times an even share at first: size "
            "its leads and fuse by that",
            c->build->string_first ? "string" : "module of a level",
            check_three(most));
}

void check_modules_of (const amp_check *c, amp_checked *out) {
  look_accepted(c, out);
  look_level(c, out);
  look_flat(c, out);
  look_twice(c, out);
  look_alike(c, out);
  look_share(c, out);
  look_resistance(c, out);
  look_tested(c, out);
}
