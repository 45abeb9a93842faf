/*
** check_circuit.c -- the electrical side of check.h: the window against the
** inverter, sag, the main circuit, pre-charge, fuses of strings, cell links.
*/
#include "cell/chemistry.h"
#include "job/check_parts.h"
#include "pack/layout.h"
#include <math.h>
#include <string.h>

/* ---- window ---- */

static void full_against_absolute (const amp_check *c, double full,
                                   amp_checked *out) {
  amp_check_row *row;
  if (!(c->v_abs_max > 0.0)) {
    check_missing(out, "no_margin_to_limit",
                  "v_abs_max of the inverter is not given: how far the full "
                  "pack stays below what must never be passed is not known");
    return;
  }
  if (full > c->v_abs_max) {
    row = check_add(out, "window_crossed", AMP_LOOK_RAISED, AMP_WEIGHT_SAFETY,
                    &check_v, full, c->v_abs_max, AMP_BASIS_COMPUTED);
    check_end(out, "full");
    amp_failf(&row->say, AMP_OK, NULL,
              "the full pack has %g V, the inverter must never see more than "
              "%g V",
              check_three(full), c->v_abs_max);
  } else if (full > c->v_abs_max - 1.0) {
    row = check_add(out, "no_margin_to_limit", AMP_LOOK_RAISED,
                    AMP_WEIGHT_SAFETY, &check_v, full, c->v_abs_max - 1.0,
                    AMP_BASIS_COMPUTED);
    amp_failf(&row->say, AMP_OK, NULL,
              "the full pack has %g V, less than 1 V under the %g V that "
              "must never be passed",
              check_three(full), c->v_abs_max);
  } else
    check_clear(out, "no_margin_to_limit", &check_v, full, c->v_abs_max - 1.0,
                AMP_BASIS_COMPUTED);
}

/* An end of the window that the inverter's setting cuts off. */
static void end_cut (double mine, double its, bool cut, const char *what,
                     double soc, double now, amp_checked *out) {
  if (!(its > 0.0))
    return;
  amp_check_row *row =
      check_held(out, "window_crossed", cut, AMP_WEIGHT_ECONOMY, &check_v,
                 mine, its, AMP_BASIS_COMPUTED);
  check_end(out, what);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "%s at %g V, the inverter ends at %g V: %g %% of charge in place "
            "of %g %%",
            what, check_three(mine), its, check_three(now * 100.0),
            check_three(soc * 100.0));
}

/* The pack's window clipped by the inverter's; false: nothing is left. */
static bool clip (const amp_check *c, double full, double empty,
                  amp_window *w, amp_checked *out) {
  amp_error err = {0};
  const amp_window *own = &c->window;
  int groups = amp_build_groups(c->build);
  if (amp_window_of(c->mean->chemistry, groups, own->soc_min, own->soc_max,
                    NO, NO, c->converter->v_min, c->converter->v_max, 0.0, w,
                    &err) != AMP_OK) {
    amp_check_row *row = check_add(
        out, "series_not_reachable", AMP_LOOK_RAISED, AMP_WEIGHT_SAFETY,
        &check_v, full, c->converter->v_max, AMP_BASIS_COMPUTED);
    amp_failf(&row->say, AMP_OK, NULL,
              "%d groups, %g to %g V, have no charge inside the inverter's "
              "%g to %g V",
              groups, check_three(empty), check_three(full),
              c->converter->v_min, c->converter->v_max);
    return false;
  }
  check_clear(out, "series_not_reachable", &check_v,
              groups * amp_chemistry_ocv(c->mean->chemistry, w->soc_max),
              groups * amp_chemistry_ocv(c->mean->chemistry, w->soc_min),
              AMP_BASIS_COMPUTED);
  end_cut(groups * own->v_max, c->converter->v_max, w->clipped_high, "full",
          own->soc_max, w->soc_max, out);
  end_cut(empty, c->converter->v_min, w->clipped_low, "empty", own->soc_min,
          w->soc_min, out);
  return true;
}

/* What the inverter can be set to, a group. */
static void settable (const amp_check *c, amp_checked *out) {
  double most = c->mean->chemistry->v_max;
  double group = c->converter->v_max / amp_build_groups(c->build);
  if (!(c->converter->v_max > 0.0)) {
    check_missing(out, "charge_above_cell_limit",
                  "v_max of the inverter is not given: to which charge "
                  "voltage it can be set is not known");
    return;
  }
  amp_check_row *row = check_held(out, "charge_above_cell_limit",
                                  group > most + 1e-9, AMP_WEIGHT_SAFETY,
                                  &check_v, group, most, AMP_BASIS_COMPUTED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "the inverter can be set to %g V, %g V a group; a cell stands %g "
            "V at most",
            c->converter->v_max, check_three(group), most);
}

/* ---- sag ---- */

typedef struct sag {
  amp_layout_sag s;
  double v, temp; /* V under it at the window's lower end; K */
  bool surge;
} sag;

static double lesser (double a, double b) {
  return b < a || !amp_given(a) ? b : a;
}

/* The load under which least voltage is left; of load and surge the least. */
static bool worst_sag (const amp_check *c, const amp_window *w, sag *worst,
                       amp_check_facts *f) {
  const double temps[] = {298.15, c->site ? c->site->coldest : NO};
  const double power[] = {c->converter->power, c->surge};
  amp_layout a = {.fits = true, .window = *w};
  const amp_module *m = c->mean;
  double r10s = amp_value_is_set(&m->r10s) ? m->r10s.value : NO;
  double full = amp_module_health(m) * m->capacity.value;
  bool any = false;
  a.modules = c->series;
  a.groups = amp_build_groups(c->build);
  double rest = a.groups * amp_chemistry_ocv(m->chemistry, w->soc_min);
  for (int k = 0; k < 4; k++) {
    amp_layout_load load = {c->strings,   c->converter->v_min,
                            power[k % 2], c->converter->efficiency,
                            temps[k / 2], k % 2 == 1};
    sag one = {.temp = load.temp, .surge = load.brief};
    if (!(load.power > 0.0 && load.v_cut > 0.0 && amp_given(load.temp)) ||
        amp_layout_under(m, &a, full, r10s, &load, &one.s, NULL) != AMP_OK)
      continue;
    one.v = rest - one.s.sag;
    if (one.surge)
      f->v_surge = lesser(f->v_surge, one.v);
    else
      f->v_load = lesser(f->v_load, one.v);
    if (!any || one.v < worst->v)
      *worst = one;
    any = true;
  }
  return any;
}

static void look_sag (const amp_check *c, const amp_window *w,
                      amp_checked *out) {
  sag worst = {0};
  double cut = c->converter->v_min;
  amp_basis basis = amp_value_is_set(&c->mean->r10s) ? c->mean->r10s.basis
                                                     : AMP_BASIS_ASSUMED;
  basis = amp_basis_worse(AMP_BASIS_COMPUTED, basis);
  if (!worst_sag(c, w, &worst, &out->facts)) {
    check_missing(out, "surge_sag_crosses_cutout",
                  "v_min and power_w of the inverter are wanted: whether it "
                  "cuts out under load is not known");
    return;
  }
  amp_check_row *row = check_held(
      out, "surge_sag_crosses_cutout", !(!worst.s.bites && !worst.s.never),
      AMP_WEIGHT_ECONOMY, &check_v, worst.v, cut, basis);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "%s of %g A at %g C leaves %g V of an empty pack, the cut-out is "
            "%g V: it cuts out %s%g %% of charge",
            worst.surge ? "a surge" : "full load",
            check_three(worst.s.current), check_three(worst.temp - 273.15),
            check_three(worst.v), cut, worst.s.never ? "even at " : "from ",
            check_three(worst.s.floor * 100.0));
}

void check_window (const amp_check *c, amp_checked *out) {
  int groups = amp_build_groups(c->build);
  double full = groups * c->window.v_charge;
  double empty = groups * c->window.v_min;
  amp_window w;
  out->facts.v_full = full;
  out->facts.v_empty = empty;
  if (c->converter == NULL) {
    check_missing(out, "window_crossed",
                  "no inverter is given: its voltages, sag and surge, "
                  "pre-charge and idle draw could not be looked at");
    return;
  }
  full_against_absolute(c, full, out);
  if (clip(c, full, empty, &w, out)) {
    out->facts.usable *=
        amp_window_by_charge(&w) / amp_window_by_charge(&c->window);
    look_sag(c, &w, out);
  } else
    out->facts.usable = 0.0;
  settable(c, out);
}

/* ---- the main circuit ---- */

/* How amp_circuit_look's findings read, and how they weigh. */
static const struct {
  const char *id;
  const amp_told *told;
  amp_weight weight;
} kinds[] = {
    {"fuse_below_load", &check_a, AMP_WEIGHT_ECONOMY},
    {"fuse_above_cable", &check_a, AMP_WEIGHT_SAFETY},
    {"fuse_voltage_below_full", &check_v, AMP_WEIGHT_SAFETY},
    {"fuse_for_alternating_current", &check_v, AMP_WEIGHT_SAFETY},
    {"breaker_polarised", &check_plain, AMP_WEIGHT_SAFETY},
    {"cable_below_load", &check_a, AMP_WEIGHT_SAFETY},
    {"cable_by_drop_only", &check_pct, AMP_WEIGHT_DOUBT},
    {"cable_by_ampacity_only", &check_a, AMP_WEIGHT_DOUBT},
    {"drop_above_limit", &check_pct, AMP_WEIGHT_ECONOMY},
    {"interrupt_below_short", &check_ka, AMP_WEIGHT_SAFETY},
    {"interrupt_within_range_of_short", &check_ka, AMP_WEIGHT_SAFETY},
    {"short_circuit_only_bounded", &check_ka, AMP_WEIGHT_DOUBT},
    {"surge_above_fuse", &check_a, AMP_WEIGHT_DOUBT},
    {"surge_time_missing", &check_a, AMP_WEIGHT_DOUBT},
    {"surge_outlasts_fuse", &check_s, AMP_WEIGHT_ECONOMY},
    {"above_60_v", &check_v, AMP_WEIGHT_SAFETY}};

bool check_finding_is (const char *id) {
  for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
    if (strcmp(kinds[k].id, id) == 0)
      return true;
  return false;
}

/* One that is not in the list weighs as safety, without a unit: too heavy
** rather than another's. */
static void kind_of (const char *id, const amp_told **told,
                     amp_weight *weight) {
  *told = &check_plain;
  *weight = AMP_WEIGHT_SAFETY;
  for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
    if (strcmp(kinds[k].id, id) == 0) {
      *told = kinds[k].told;
      *weight = kinds[k].weight;
    }
}

static bool starts (const char *id, const char *with) {
  return strncmp(id, with, strlen(with)) == 0;
}

/* A finding that only says that the whole part is missing: said once. */
static bool said_already (const amp_check *c, const amp_finding *f) {
  if (!f->unknown)
    return false;
  if (!c->fuse && (starts(f->id, "fuse_") || starts(f->id, "interrupt_")))
    return true;
  return !c->cable &&
         (starts(f->id, "cable_") || strcmp(f->id, "fuse_above_cable") == 0);
}

static amp_basis circuit_basis (const char *id, amp_basis r) {
  return starts(id, "interrupt_") || starts(id, "short_")
             ? amp_basis_worse(AMP_BASIS_COMPUTED, r)
             : AMP_BASIS_COMPUTED;
}

static void copy_findings (const amp_check *c, amp_checked *out) {
  const amp_findings *f = c->circuit;
  const amp_told *told;
  amp_weight weight;
  amp_basis r;
  check_bank(c, &r);
  for (int i = 0; i < f->n; i++) {
    const amp_finding *one = &f->row[i];
    kind_of(one->id, &told, &weight);
    if (said_already(c, one))
      continue;
    check_add(out, one->id, one->unknown ? AMP_LOOK_UNKNOWN : AMP_LOOK_RAISED,
              weight, told, one->value, one->limit, circuit_basis(one->id, r))
        ->say = one->say;
  }
  for (int i = 0; i < f->clear; i++) {
    kind_of(f->passed[i].id, &told, &weight);
    check_clear(out, f->passed[i].id, told, f->passed[i].value,
                f->passed[i].limit, circuit_basis(f->passed[i].id, r));
  }
}

/* ---- pre-charge ---- */

static void look_precharge (const amp_check *c, double full,
                            amp_checked *out) {
  double cap = c->capacitance, energy = 0.5 * cap * full * full;
  amp_check_row *row;
  if (c->converter == NULL)
    return; /* said with the inverter */
  if (!(cap > 0.0)) {
    check_missing(out, "precharge_missing",
                  "capacitance_uf of the inverter is not given: what flows "
                  "when the contactor closes is not known");
    return;
  }
  if (c->precharge == NULL) {
    row =
        check_add(out, "precharge_missing", AMP_LOOK_RAISED,
                  AMP_WEIGHT_SAFETY, &check_uf, cap, NO, AMP_BASIS_COMPUTED);
    amp_failf(&row->say, AMP_OK, NULL,
              "no pre-charge is given: %g mF take %g J at %g V through bare "
              "leads when the contactor closes",
              check_three(cap * 1e3), check_three(energy), check_three(full));
  } else if (!(c->precharge->c >= cap * (1.0 - 1e-9) &&
               c->precharge->v >= full - 0.05)) {
    row = check_add(out, "precharge_missing", AMP_LOOK_RAISED,
                    AMP_WEIGHT_SAFETY, &check_uf, cap, c->precharge->c,
                    AMP_BASIS_COMPUTED);
    amp_failf(
        &row->say, AMP_OK, NULL,
        "the pre-charge is reckoned for %g mF at %g V, here it is %g mF "
        "at %g V",
        check_three(c->precharge->c * 1e3), check_three(c->precharge->v),
        check_three(cap * 1e3), check_three(full));
  } else
    check_clear(out, "precharge_missing", &check_uf, cap, c->precharge->c,
                AMP_BASIS_COMPUTED);
}

static void look_filled (const amp_check *c, amp_checked *out) {
  const amp_precharge_answer *a = c->filled;
  if (a == NULL)
    return;
  amp_check_row *row = check_held(
      out, "precharge_with_load_on", !(a->completes), AMP_WEIGHT_SAFETY,
      &check_v, a->v_end, c->precharge->v, AMP_BASIS_COMPUTED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "with that load left on the bus comes to %g of %g V and stays "
            "there",
            check_three(a->v_end), check_three(c->precharge->v));
}

/* ---- strings and links ---- */

static int most_beside (const amp_build *b) {
  int most = 0;
  if (b->string_first)
    return b->outer;
  for (int o = 0; o < b->outer; o++) {
    int n = b->inner[b->all ? 0 : o];
    most = n > most ? n : most;
  }
  return most;
}

/* Beside others a string that fails takes what they all send. */
static void look_string_fuse (const amp_check *c, amp_checked *out) {
  const amp_build *b = c->build;
  int n = most_beside(b);
  const amp_short *s = c->parts ? c->parts->prospective : NULL;
  double into = s ? s->into : NO;
  if (n < 2 || b->trip != NULL) {
    check_clear(out, "strings_without_fuse", &check_plain, n, NO,
                AMP_BASIS_NONE);
    return;
  }
  amp_check_row *row =
      check_add(out, "strings_without_fuse", AMP_LOOK_RAISED,
                AMP_WEIGHT_SAFETY, amp_given(into) ? &check_ka : &check_plain,
                amp_given(into) ? into : n, NO, AMP_BASIS_COMPUTED);
  if (amp_given(into))
    amp_failf(&row->say, AMP_OK, NULL,
              "no string has a fuse of its own: one that fails takes up to "
              "%g kA from the others, by 10 s resistance",
              check_three(into / 1e3));
  else
    amp_failf(&row->say, AMP_OK, NULL,
              "%d %s stand side by side, and none has a fuse of its own", n,
              b->string_first ? "strings" : "modules of a level");
}

/* A cell's share of the lasting current, worst string first. */
static void look_link (const amp_check *c, amp_checked *out) {
  const amp_link_answer *l = c->link;
  const amp_check_facts *f = &out->facts;
  double cells = (double)c->strings * c->mean->parallel;
  double share = amp_given(f->share) ? f->share : 1.0;
  double each = f->current * share / cells;
  if (l == NULL)
    return;
  if (!amp_given(l->low) || !amp_given(each)) {
    check_missing(out, "link_without_constant",
                  amp_given(l->low)
                      ? "the lasting current is not known: nothing is said "
                        "of the cell links"
                      : "no fusing constant is known for this metal: nothing "
                        "is said of the cell links");
    return;
  }
  amp_check_row *row =
      check_held(out, "link_below_load", !(each < l->low), AMP_WEIGHT_SAFETY,
                 &check_a, each, l->low, AMP_BASIS_COMPUTED);
  if (row == NULL)
    return;
  amp_failf(&row->say, AMP_OK, NULL,
            "a cell carries %g A of the lasting current, its link surely "
            "holds %g A",
            check_three(each), check_three(l->low));
}

void check_circuit (const amp_check *c, amp_checked *out) {
  if (!c->fuse)
    check_missing(out, "fuse_below_load",
                  "no fuse is given: its rating, voltage, interrupt rating "
                  "and curve could not be looked at");
  if (!c->cable)
    check_missing(out, "cable_below_load",
                  "no cable is given: ampacity, drop and the fuse against it "
                  "could not be looked at");
  if (c->circuit != NULL) {
    out->facts.current = c->parts->current;
    out->facts.surge = c->parts->surge;
    out->facts.bus = c->parts->prospective ? c->parts->prospective->bus : NO;
    copy_findings(c, out);
  }
  look_precharge(c, out->facts.v_full, out);
  look_filled(c, out);
  look_string_fuse(c, out);
}

void check_links (const amp_check *c, amp_checked *out) {
  look_link(c, out);
}
