/*
** module.c -- a module's numbers checked, its voltage window against an
** inverter (which series counts fit), and its
** groups as leaves for the simulation. Model: docs/model/pack.md.
*/
#include "pack/module.h"
#include "base/elementary.h"
#include <math.h>
#include <string.h>

enum { STRINGS_MOST = 10000 };

/*
** Assumed resistance of a cell: 10 s at mid charge and 25 C, times its
** measured capacity, ohm Ah. Retired cells of cars ("PulseBat" data set,
** doi 10.1038/s41467-024-54454-0), means: NMC 2.86 mohm x 20.6 Ah, LFP 3.03
** x 29.7 after 5 s, here times 1.118 (the pulse shape of cell.c from 5 to
** 10 s). The blend pouch, doi 10.5281/zenodo.2580327: 2.03 mohm x 30.5. NCA
** 18650, doi 10.17632/wykht8y7tg.1: 37.5 mohm x 2.8. Lead-acid: from
** memory. NMC811: taken as NMC. A user's own chemistry: assumed.
*/
static const struct {
  const char *name;
  double ohm_ah;
} resistance[] = {{"nmc111", 0.066},    {"nmc811", 0.066},
                  {"nca", 0.105},       {"lfp", 0.101},
                  {"lmo_blend", 0.062}, {"lead_acid", 0.10}};
#define RESISTANCE_OTHER 0.10 /* ohm Ah */

/*
** Heat: 1000 J/(kg K) (from memory; published estimates for cells lie at
** 800 .. 1100). Cooling, assumed: free convection and radiation together
** 8 W/(m2 K), over half the surface of a cube of 2000 kg/m3, since modules
** stand beside each other.
*/
#define HEAT_PER_KG 1000.0
#define COOLING_PER_M2 8.0
#define COOLED_SHARE 0.5
#define DENSITY 2000.0

amp_module amp_module_defaults (void) {
  amp_module m;
  memset(&m, 0, sizeof m);
  m.nominal_v = m.mass = m.cell_v_min = m.cell_v_max = AMP_NOT_GIVEN;
  m.soc_min = m.soc_max = m.soh_end = AMP_NOT_GIVEN;
  m.age = m.throughput = AMP_NOT_GIVEN;
  return m;
}

/* A number with its spread inside lo .. hi; not set is fine. */
static amp_status check_value (const char *field, const amp_value *v,
                               double lo, double hi, amp_error *err) {
  amp_status st;
  if (!amp_value_is_set(v))
    return AMP_OK;
  if ((st = amp_check_range(err, field, v->value, lo, hi)) != AMP_OK)
    return st;
  if (v->spread == AMP_EVEN &&
      ((st = amp_check_range(err, field, v->lo, lo, hi)) != AMP_OK ||
       (st = amp_check_range(err, field, v->hi, v->lo, hi)) != AMP_OK))
    return st;
  return v->spread == AMP_NORMAL || v->spread == AMP_TESTED
             ? amp_check_range(err, field, v->sd, 0.0, hi)
             : AMP_OK;
}

/* Capacity, what was tested of it, and health, one against the other. */
static amp_status check_capacity (const amp_module *m, amp_error *err) {
  const double most = 5000.0 * 3600.0; /* C: 5000 Ah, a slip beyond */
  amp_status st;
  if (!amp_value_is_set(&m->capacity) && !amp_value_is_set(&m->tested))
    return amp_failf(err, AMP_EMISSING, "capacity",
                     "neither a nameplate nor a tested capacity is given");
  if ((st = check_value("capacity", &m->capacity, 360.0, most, err)) !=
          AMP_OK ||
      (st = check_value("tested", &m->tested, 360.0, most, err)) != AMP_OK ||
      (st = check_value("soh", &m->soh, 0.01, 1.2, err)) != AMP_OK)
    return st;
  if (!amp_value_is_set(&m->capacity) || !amp_value_is_set(&m->tested))
    return AMP_OK;
  double soh = m->tested.value / m->capacity.value;
  if (!(soh <= 1.2))
    return amp_fail(err, AMP_ERANGE, "tested", m->tested.value, 360.0,
                    1.2 * m->capacity.value);
  if (amp_value_is_set(&m->soh) && !(fabs(soh - m->soh.value) <= 0.02))
    return amp_failf(err, AMP_EDATA, "soh",
                     "%g %% of health and the tested capacity disagree: "
                     "tested is %g %% of nameplate",
                     100.0 * m->soh.value, 100.0 * soh);
  return AMP_OK;
}

/* Where given: NaN stands for "not given". */
static amp_status check_given (const char *field, double v, double lo,
                               double hi, amp_error *err) {
  return amp_given(v) ? amp_check_range(err, field, v, lo, hi) : AMP_OK;
}

static bool has_nominal (const amp_module *m) {
  return amp_given(m->nominal_v) && m->nominal_v != 0.0;
}

/* Groups that are known by themselves. SoC of all of them, or of none: one
** voltage says nothing of the others. */
static amp_status check_groups (const amp_module *m, amp_error *err) {
  amp_status st = AMP_OK;
  for (int i = 0; m->group != NULL && st == AMP_OK && i < m->series; i++) {
    const amp_group_own *g = &m->group[i];
    st = check_given("group_capacity", g->capacity, 36.0, 1.8e7, err);
    if (st == AMP_OK)
      st = check_given("group_r10s", g->r10s, 1e-7, 1.0, err);
    if (st == AMP_OK)
      st = check_given("group_soc", g->soc, 0.0, 1.0, err);
    if (st == AMP_OK)
      st = amp_check_range(err, "blown", g->blown, 0, m->parallel - 1);
    if (st == AMP_OK && amp_given(g->soc) != amp_given(m->group[0].soc))
      st = amp_failf(err, AMP_EMISSING, "group_soc",
                     "charge is given of some groups, not of group %d",
                     amp_given(g->soc) ? 1 : i + 1);
  }
  return st;
}

amp_status amp_module_check (const amp_module *m, amp_error *err) {
  const amp_chemistry *c = m->chemistry;
  amp_status st;
  if ((st = amp_chemistry_check(c, err)) != AMP_OK ||
      (st = amp_check_range(err, "series", m->series, 1, 400)) != AMP_OK ||
      (st = amp_check_range(err, "parallel", m->parallel, 1, 1000)) !=
          AMP_OK ||
      (st = check_capacity(m, err)) != AMP_OK ||
      (st = check_value("r10s", &m->r10s, 1e-6, 10.0, err)) != AMP_OK)
    return st;
  if (has_nominal(m) &&
      (st = amp_check_range(err, "nominal_v", m->nominal_v,
                            m->series * c->v_min, m->series * c->v_max)) !=
          AMP_OK)
    return st;
  const struct {
    const char *field;
    double v, lo, hi;
  } row[] = {
      {"mass", m->mass, 0.01, 5000.0},
      {"cell_v_min", m->cell_v_min, c->v_min, c->v_max},
      {"cell_v_max", m->cell_v_max, c->v_min, c->v_max},
      {"soc_min", m->soc_min, 0.0, 1.0},
      {"soc_max", m->soc_max, 0.0, 1.0},
      {"soh_end", m->soh_end, 0.01, 1.0},
      {"age", m->age, 0.0, 100.0 * 365.25 * 86400.0},
      {"throughput", m->throughput, 0.0, 1e12},
  };
  for (size_t i = 0; i < sizeof row / sizeof *row; i++)
    if ((st = check_given(row[i].field, row[i].v, row[i].lo, row[i].hi,
                          err)) != AMP_OK)
      return st;
  if (amp_given(m->soc_min) && amp_given(m->soc_max) &&
      !(m->soc_min < m->soc_max))
    return amp_fail(err, AMP_ERANGE, "soc_max", m->soc_max, m->soc_min, 1.0);
  if (amp_given(m->cell_v_min) && amp_given(m->cell_v_max) &&
      !(m->cell_v_min < m->cell_v_max))
    return amp_fail(err, AMP_ERANGE, "cell_v_max", m->cell_v_max,
                    m->cell_v_min, c->v_max);
  return check_groups(m, err);
}

amp_group_own amp_group_own_defaults (void) {
  amp_group_own g = {AMP_NOT_GIVEN, AMP_NOT_GIVEN, AMP_NOT_GIVEN, 0};
  return g;
}

double amp_module_nominal_v (const amp_module *m) {
  return has_nominal(m) ? m->nominal_v : m->series * m->chemistry->v_nominal;
}

double amp_module_nameplate (const amp_module *m) {
  return amp_value_is_set(&m->capacity)
             ? amp_module_nominal_v(m) * m->capacity.value
             : AMP_NOT_GIVEN;
}

/*
** The wanted window before any inverter: the caller's SoC or cell voltage
** (the narrower where both are given), else the chemistry's daily limit.
*/
static void wanted_low (const amp_chemistry *c, double soc, double v,
                        amp_window *w) {
  w->assumed_low = !amp_given(soc) && !amp_given(v);
  w->v_min = amp_given(v) ? v : c->v_daily_min;
  w->soc_min = amp_chemistry_soc_at_limit(c, w->v_min);
  if (amp_given(soc) && (!amp_given(v) || soc > w->soc_min)) {
    w->soc_min = soc;
    w->v_min = amp_chemistry_ocv(c, soc);
    w->rest_low = true;
  }
}

static void wanted_high (const amp_chemistry *c, double soc, double v,
                         amp_window *w) {
  w->assumed_high = !amp_given(soc) && !amp_given(v);
  w->v_max = amp_given(v) ? v : c->v_daily_max;
  w->soc_max = amp_chemistry_soc_at_limit(c, w->v_max);
  if (amp_given(soc) && (!amp_given(v) || soc < w->soc_max)) {
    w->soc_max = soc;
    w->v_max = amp_chemistry_ocv(c, soc);
    w->rest_high = true;
  }
  /* 3.34 V at rest are no setting for LFP: it would neither fill nor balance.
  ** Below the flat part the daily limit would fill a pack meant to stay low:
  ** there the rest voltage is kept. */
  w->v_charge = w->v_max;
  if (w->rest_high && c->flat_lo < c->flat_hi && w->soc_max >= c->flat_lo)
    w->v_charge = fmax(w->v_max, amp_given(v) ? v : c->v_daily_max);
}

/* 14 x 4.10 V must not pass 57.4 V by a rounding. */
static bool passes (double v, double limit) {
  return limit > 0.0 && v > limit * (1.0 + 1e-12);
}

/* What the inverter's two limits leave of it; 0: no limit. */
static void clip (const amp_chemistry *c, int groups, double v_min,
                  double v_max, amp_window *w) {
  if (v_min > 0.0 && w->v_min * groups < v_min) {
    w->v_min = v_min / groups;
    w->soc_min = fmax(w->soc_min, amp_chemistry_soc_at_limit(c, w->v_min));
    w->clipped_low = true;
  }
  if (passes(w->v_max * groups, v_max)) {
    w->v_max = v_max / groups;
    w->soc_max = fmin(w->soc_max, amp_chemistry_soc_at_limit(c, w->v_max));
    w->clipped_high = true;
  }
  if (passes(w->v_charge * groups, v_max)) {
    w->v_charge = v_max / groups;
    w->clipped_charge = true;
  }
}

/* Refuses settings that no window can come of; fills w unclipped. */
static amp_status wanted (const amp_chemistry *c, int groups, double soc_min,
                          double soc_max, double v_min, double v_max,
                          amp_window *w, amp_error *err) {
  amp_status st;
  memset(w, 0, sizeof *w);
  if ((st = amp_check_range(err, "groups", groups, 1, 100000)) != AMP_OK ||
      (st = check_given("soc_min", soc_min, 0.0, 1.0, err)) != AMP_OK ||
      (st = check_given("soc_max", soc_max, 0.0, 1.0, err)) != AMP_OK ||
      (st = check_given("cell_v_min", v_min, c->v_min, c->v_max, err)) !=
          AMP_OK ||
      (st = check_given("cell_v_max", v_max, c->v_min, c->v_max, err)) !=
          AMP_OK)
    return st;
  wanted_low(c, soc_min, v_min, w);
  wanted_high(c, soc_max, v_max, w);
  return AMP_OK;
}

void amp_module_rewindow (amp_module *m, double soc_min, double soc_max,
                          double cell_v_min, double cell_v_max) {
  if (amp_given(soc_min) || amp_given(cell_v_min)) {
    m->soc_min = soc_min;
    m->cell_v_min = cell_v_min;
  }
  if (amp_given(soc_max) || amp_given(cell_v_max)) {
    m->soc_max = soc_max;
    m->cell_v_max = cell_v_max;
  }
}

amp_status amp_window_of (const amp_chemistry *c, int groups, double soc_min,
                          double soc_max, double cell_v_min,
                          double cell_v_max, double inv_v_min,
                          double inv_v_max, double v_abs_max, amp_window *out,
                          amp_error *err) {
  amp_window w;
  amp_status st =
      wanted(c, groups, soc_min, soc_max, cell_v_min, cell_v_max, &w, err);
  if (st != AMP_OK)
    return st;
  double full = w.v_charge * groups, empty = w.v_min * groups;
  if (passes(full, v_abs_max))
    return amp_failf(err, AMP_EREFUSED, "v_abs_max",
                     "%d groups in series reach %g V when full, over the "
                     "absolute %g V",
                     groups, full, v_abs_max);
  clip(c, groups, inv_v_min, inv_v_max, &w);
  if (!(w.soc_max > w.soc_min && w.v_max > w.v_min))
    return amp_failf(err, AMP_EREFUSED, "v_min",
                     "%d groups in series go from %g V to %g V: nothing of "
                     "that lies inside the inverter's %g .. %g V",
                     groups, empty, full, inv_v_min > 0.0 ? inv_v_min : 0.0,
                     inv_v_max > 0.0 ? inv_v_max : full);
  *out = w;
  return AMP_OK;
}

double amp_window_by_charge (const amp_window *w) {
  return w->soc_max - w->soc_min;
}

double amp_window_by_energy (const amp_chemistry *c, const amp_window *w,
                             double v_nominal) {
  return amp_curve_integral(&c->ocv, w->soc_min, w->soc_max) / v_nominal;
}

/* One series count; 'w' is the wanted window. */
static void judge (const amp_module *m, int modules, const amp_window *w,
                   double inv_v_min, double inv_v_max, double v_abs_max,
                   amp_layout *out) {
  memset(out, 0, sizeof *out);
  out->modules = modules;
  out->groups = modules * m->series;
  out->window = *w;
  out->fits =
      amp_window_of(m->chemistry, out->groups, m->soc_min, m->soc_max,
                    m->cell_v_min, m->cell_v_max, inv_v_min, inv_v_max,
                    v_abs_max, &out->window, &out->why) == AMP_OK;
  out->v_full = out->window.v_charge * out->groups;
  out->v_empty = out->window.v_min * out->groups;
  out->margin = v_abs_max > 0.0 ? v_abs_max - out->v_full : AMP_NOT_GIVEN;
}

int amp_layouts (const amp_module *m, double inv_v_min, double inv_v_max,
                 double v_abs_max, amp_layout out[AMP_LAYOUTS]) {
  amp_window w;
  int n = 0;
  double most = inv_v_max > 0.0 ? inv_v_max : v_abs_max;
  if (wanted(m->chemistry, m->series, m->soc_min, m->soc_max, m->cell_v_min,
             m->cell_v_max, &w, NULL) != AMP_OK)
    return 0;
  do {
    judge(m, n + 1, &w, inv_v_min, inv_v_max, v_abs_max, &out[n]);
    n++;
  } while (n < AMP_LAYOUTS && !passes((n + 1) * m->series * w.v_min, most));
  return n;
}

/* ohm of the whole module, where nobody measured it. */
static double default_r10s (const amp_module *m, double capacity) {
  double ohm_ah = RESISTANCE_OTHER;
  for (size_t i = 0; i < sizeof resistance / sizeof *resistance; i++)
    if (strcmp(m->chemistry->name, resistance[i].name) == 0)
      ohm_ah = resistance[i].ohm_ah;
  return ohm_ah / (capacity / 3600.0) * m->series;
}

double amp_module_health (const amp_module *m) {
  double q = m->capacity.value;
  if (amp_value_is_set(&m->tested))
    q = m->tested.value;
  else if (amp_value_is_set(&m->soh))
    q *= m->soh.value;
  return q / m->capacity.value;
}

double amp_module_r10s (const amp_module *m) {
  return amp_value_is_set(&m->r10s) ? m->r10s.value
                                    : default_r10s(m, m->capacity.value);
}

/* W/K of one module of this mass. */
static double default_cooling (double mass) {
  double face = amp_pow(mass / DENSITY, 2.0 / 3.0); /* m2 */
  return COOLING_PER_M2 * COOLED_SHARE * 6.0 * face;
}

amp_status amp_module_leaf (const amp_module *m, const amp_window *w,
                            double capacity, double r10s, int modules,
                            int strings, amp_group *out, amp_error *err) {
  amp_status st;
  if ((st = amp_chemistry_check(m->chemistry, err)) != AMP_OK ||
      (st = amp_check_range(err, "series", m->series, 1, 400)) != AMP_OK ||
      (st = amp_check_range(err, "capacity", capacity, 1.0, 1e9)) != AMP_OK ||
      (st = check_given("r10s", r10s, 1e-9, 1e3, err)) != AMP_OK ||
      (st = amp_check_range(err, "modules", modules, 1, 10000)) != AMP_OK)
    return st;
  if (!(strings >= 1 && strings <= STRINGS_MOST))
    return amp_failf(err, AMP_ERANGE, "strings",
                     "%d strings side by side; 1 .. %d are reckoned", strings,
                     STRINGS_MOST);
  double r = amp_given(r10s) ? r10s : default_r10s(m, capacity);
  double n = (double)modules * strings;
  amp_group g;
  memset(&g, 0, sizeof g);
  g.chemistry = m->chemistry;
  g.cell = m->cell != NULL && amp_cell_r10s(m->cell) > 0.0
               ? amp_cell_like(m->cell, capacity, r / m->series)
               : amp_cell_from_r10s(capacity, r / m->series);
  g.cell.mass = 0.0;
  g.series = (double)m->series * modules;
  g.parallel = strings;
  g.soc_min = w->soc_min;
  g.soc_max = g.soc_start = w->soc_max;
  g.v_min = amp_given(m->cell_v_min) ? m->cell_v_min : m->chemistry->v_min;
  g.v_max = amp_given(m->cell_v_max) ? m->cell_v_max : m->chemistry->v_max;
  if (amp_given(m->mass)) {
    g.cell.mass = m->mass / m->series;
    g.heat_capacity = HEAT_PER_KG * m->mass * n;
    g.cooling = default_cooling(m->mass) * n;
  }
  *out = g;
  return AMP_OK;
}

/* Resistance grows by 1 % of new per 1 % of capacity lost: assumption after
** the nickel-rich cells of doi:10.18154/RWTH-2021-04545 (1.20 at 80 %). */
#define R_PER_LOSS 1.0

/* The default resistance belongs to a new cell, a measured one to the state
** in which the module stands now. */
static double growth (const amp_module *m, double soh) {
  double now = 1.0;
  if (amp_value_is_set(&m->r10s) && amp_value_is_set(&m->tested))
    now = m->tested.value / m->capacity.value;
  else if (amp_value_is_set(&m->r10s) && amp_value_is_set(&m->soh))
    now = m->soh.value;
  return fmax(1.0 + R_PER_LOSS * (1.0 - soh), 0.1) /
         fmax(1.0 + R_PER_LOSS * (1.0 - now), 0.1);
}

amp_status amp_module_leaf_at (const amp_module *m, const amp_window *w,
                               double soh, int modules, int strings,
                               amp_group *out, amp_error *err) {
  double r10s = amp_value_is_set(&m->r10s) ? m->r10s.value : AMP_NOT_GIVEN;
  double grown = growth(m, soh);
  amp_group g;
  amp_status st = amp_check_range(err, "soh", soh, 0.001, 2.0);
  if (st == AMP_OK)
    st = amp_module_leaf(m, w, m->capacity.value, r10s, modules, strings, &g,
                         err);
  if (st != AMP_OK)
    return st;
  g.cell.capacity *= soh;
  g.cell.r0 *= grown;
  g.cell.r1 *= grown;
  g.cell.r2 *= grown;
  *out = g;
  return AMP_OK;
}
