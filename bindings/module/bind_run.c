/*
** bind_run.c -- a duty run on a pack at its middle values, as plain numbers
** for the Lua half to lay out.
**
** simulate_raw(pack, duty, inverter or nil, settled) --> {total = sums,
**   [1..12] = sums with asked_kwh and month_h (h from the start to the
**   month's end),
**   first_unserved_h last_unserved_h first_curtailed_h first_empty_h (a
**   limit held a discharge down; nil: never),
**   balance_kwh stored_kwh asked_kwh supply_kwh (nil: as much as needed)
**   voltage_min_v voltage_min_h (lowest at the terminals, and when)
**   soc_min_pct soc_max_pct soc_start_pct soc_end_pct temp_min_c temp_max_c
**   current_max_a current_min_a efc days steps step_s window_min_pct
**   window_max_pct basis, level ("detailed"; "mixed" or "heat": why it is
**   simple though a cell is detailed; nil: no cell is)}
** sums: hours served_kwh unserved_kwh (AC and DC) dc_served_kwh
**   dc_unserved_kwh curtailed_kwh out_kwh in_kwh loss_kwh soc_mean_pct
**   soc_low_pct unserved_h
** trace_raw(pack, duty, inverter, settled, every) --> list of {time_h,
**   soc_pct, current_a, voltage_v, temp_c, power_w, unserved_w,
**   curtailed_w, voltage_end_v}: time, charge, temperature and voltage_end_v
**   at the end of 'every' steps, the others their mean
** trace_handle(pack, duty, inverter, settled) --> handle, groups in series
** of unequal modules or groups besides:
**   strings: list of {string module (or level module) modules name out_ah
**     in_ah share_pct share_max_pct current_max_a current_min_a opened_h}
**   leaves: list of {string module modules name group groups soc_low_pct
**     soc_high_pct soc_end_pct temp_min_c temp_max_c empty_times full_times
**     first_empty_h first_full_h}
**   trace rows: string_<n>_a, where strings stand side by side
** a test of phases besides:
**   phases: list of {start_h ended_h hours (till it ended) out_ah in_ah
**     out_kwh in_kwh voltage_end_v soc_end_pct temp_max_c (the last three at
**     and over the whole of its time)}
** of all: cold_unserved_kwh cold_curtailed_kwh cold_h first_cold_h
**   last_cold_h heater_kwh heater_pack_kwh bled_kwh reversible_kwh cold_charge_h
**   first_opened_h share_error_pct even
** settled: the duty runs before, unseen, until a year is over, so that it
** starts as it ends; else it starts full
*/
#include "bind.h"
#include "run/simulate.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* What a run needs; the amp_pack is large, so it lives in a userdata. */
typedef struct run {
  const bind_pack *p;
  const amp_duty *duty;
  amp_converter converter;
  double v_abs_max;
  amp_module module; /* with the pack's limits */
  amp_window window;
  amp_pack pack;
  amp_place place[AMP_PACK_LEAVES];
  amp_detailed detailed[AMP_PACK_LEAVES]; /* of the leaves, where in use */
  const char *level; /* NULL: no module knows more than the simple one */
  amp_sim_result result;
  amp_trace *trace;
} run;

static int run_gc (lua_State *L) {
  run *r = lua_touserdata(L, 1);
  amp_trace_free(bind_lent(L), r->trace);
  r->trace = NULL;
  return 0;
}

/* The module with the pack's window. */
static void own_module (run *r) {
  const bind_pack *p = r->p;
  r->module = p->module->m;
  amp_module_rewindow(&r->module, p->soc_min, p->soc_max, p->cell_v_min,
                      p->cell_v_max);
}

static amp_status make_pack (run *r, amp_error *err) {
  const amp_module *m = &r->module;
  amp_status st = amp_window_of(
      m->chemistry, amp_build_groups(&r->p->build), m->soc_min, m->soc_max,
      m->cell_v_min, m->cell_v_max, r->converter.v_min, r->converter.v_max,
      r->v_abs_max, &r->window, err);
  if (st == AMP_OK)
    st = bind_pack_build(r->p, &r->window, &r->pack, r->place, err);
  return st;
}

/* The module's detailed cell as one group of this leaf: its capacity, and
** resistance in the proportion in which the leaf's stands to the cell's. The
** module's own mass and cooling, where the leaf has them. */
static amp_detailed group_of (const amp_module *m, const amp_group *g) {
  double n = g->series * g->parallel;
  double times = amp_cell_r10s(&g->cell) / amp_cell_r10s(m->cell);
  amp_detailed d = amp_detailed_like(m->detailed, g->cell.capacity, times);
  double heat = d.heat_core + d.heat_skin;
  if (g->heat_capacity > 0.0 && heat > 0.0) {
    double by = g->heat_capacity / n / heat;
    d.heat_core *= by;
    d.heat_skin *= by;
    d.core_skin *= by;
    d.skin_air = g->cooling / n;
  }
  return d;
}

/* What a detailed cell, which keeps its own heat, does not go with. */
static bool keeps_heat (const amp_pack *p) {
  bool other = p->heater.power > 0.0;
  for (int i = 0; i < p->leaves; i++)
    other = other || p->leaf[i].body > 0 || p->leaf[i].coolant > 0.0 ||
            p->leaf[i].entropic != NULL;
  return other;
}

/* Step the detailed level where every module's cell has one. */
static void use_detailed (run *r) {
  int with = 0;
  for (int i = 0; i < r->pack.leaves; i++) {
    const amp_module *m = amp_build_module_at(&r->p->build, &r->place[i]);
    with += m->detailed != NULL && m->cell != NULL;
  }
  if (with == 0)
    return;
  r->level = with < r->pack.leaves  ? "mixed"
             : keeps_heat(&r->pack) ? "heat"
                                    : "detailed";
  for (int i = 0; r->level[0] == 'd' && i < r->pack.leaves; i++) {
    const amp_module *m = amp_build_module_at(&r->p->build, &r->place[i]);
    r->detailed[i] = group_of(m, &r->pack.leaf[i]);
    r->pack.leaf[i].detailed = &r->detailed[i];
  }
}

/* Run pack, duty and inverter at 1, 2, 3, settled where 4 is true; the run
** is left at the top. */
static run *new_run (lua_State *L) {
  amp_error err = {0};
  const bind_pack *p = bind_check(L, 1, "pack", "simulate");
  const bind_profile *d = bind_check(L, 2, "profile", "simulate: duty");
  const bind_inverter *i = NULL;
  if (!lua_isnoneornil(L, 3))
    i = bind_check(L, 3, "inverter", "simulate: inverter");
  run *r = lua_newuserdatauv(L, sizeof *r, 0);
  memset(r, 0, sizeof *r);
  lua_newtable(L);
  lua_pushcfunction(L, run_gc);
  lua_setfield(L, -2, "__gc");
  lua_setmetatable(L, -2);
  r->p = p;
  r->duty = &d->duty;
  r->converter.efficiency = 1.0;
  if (i != NULL) {
    r->converter = i->c;
    r->v_abs_max = i->v_abs_max;
  }
  own_module(r);
  amp_sim_case c = {&r->pack, r->converter, 1.0, 1.0, 0.0};
  amp_sim_options opt = amp_sim_settled(r->duty);
  if (!lua_toboolean(L, 4))
    opt.warm_up = 0;
  amp_status st = make_pack(r, &err);
  if (st == AMP_OK) {
    use_detailed(r);
    bind_enter(L);
    st = amp_simulate_trace(bind_context(L), &c, r->duty, &opt, &r->trace,
                            &r->result, &err);
    bind_rethrow(L);
  }
  if (st != AMP_OK)
    bind_raise(L, NULL, "simulate", &err);
  return r;
}

/* ---- sums ---- */

static void set (lua_State *L, const char *key, double v) {
  if (v == v) {
    lua_pushnumber(L, v);
    lua_setfield(L, -2, key);
  }
}

/* Lowest charge at the ends of the steps first .. last-1 of the trace */
static double lowest (const run *r, size_t first, size_t last) {
  const double *soc = amp_trace_column(r->trace, "soc");
  double low = HUGE_VAL;
  for (size_t i = first; i < last; i++)
    low = fmin(low, soc[i]);
  return low;
}

static void push_sums (lua_State *L, const amp_sim_month *m, double low) {
  lua_createtable(L, 0, 16);
  set(L, "hours", m->time / 3600.0);
  set(L, "served_kwh", (m->served + m->dc_served) / 3.6e6);
  set(L, "unserved_kwh", (m->unserved + m->dc_unserved) / 3.6e6);
  set(L, "dc_served_kwh", m->dc_served / 3.6e6);
  set(L, "dc_unserved_kwh", m->dc_unserved / 3.6e6);
  set(L, "curtailed_kwh", m->curtailed / 3.6e6);
  set(L, "out_kwh", m->out / 3.6e6);
  set(L, "in_kwh", m->in / 3.6e6);
  set(L, "loss_kwh", m->loss / 3.6e6);
  set(L, "soc_mean_pct", m->soc_time / m->time * 100.0);
  set(L, "soc_low_pct", low * 100.0);
  set(L, "unserved_h", m->unserved_time / 3600.0);
}

/* Into the table at the top; what the duty asks stands beside. */
static void push_months (lua_State *L, const run *r) {
  const amp_duty *d = r->duty;
  amp_duty_month asked[12];
  size_t first = 0;
  double all = 0.0, supply = 0.0;
  amp_duty_months(d, asked);
  for (int m = 0; m < 12; m++) {
    size_t last = m < 11 ? d->month_end[m] : d->n;
    if (last <= first)
      continue;
    push_sums(L, &r->result.month[m],
              lowest(r, amp_trace_begin(r->trace, d, first),
                     amp_trace_begin(r->trace, d, last)));
    set(L, "asked_kwh", (asked[m].ac + asked[m].dc) / 3.6e6);
    set(L, "month_h", amp_duty_start(d, last) / 3600.0);
    lua_rawseti(L, -2, m + 1);
    all += asked[m].ac + asked[m].dc;
    supply += asked[m].pv;
    first = last;
  }
  set(L, "asked_kwh", all / 3.6e6);
  set(L, "supply_kwh", d->supply_free ? NAN : supply / 3.6e6);
}

/* Charge and energy of the trace's rows from .. to-1 into the table at the
** top, and the state at their end. */
static void push_stretch (lua_State *L, const run *r, size_t from,
                          size_t to) {
  const double *end = amp_trace_column(r->trace, "time_s");
  const double *amps = amp_trace_column(r->trace, "current_a");
  const double *watts = amp_trace_column(r->trace, "power_w");
  const double *kelvin = amp_trace_column(r->trace, "temp_k");
  double out = 0.0, in = 0.0, given = 0.0, taken = 0.0, warm = 0.0;
  for (size_t i = from; i < to; i++) {
    double dt = end[i] - (i > 0 ? end[i - 1] : 0.0);
    out += fmax(amps[i], 0.0) * dt;
    in += fmax(-amps[i], 0.0) * dt;
    given += fmax(watts[i], 0.0) * dt;
    taken += fmax(-watts[i], 0.0) * dt;
    warm = fmax(warm, kelvin[i]);
  }
  set(L, "out_ah", out / 3600.0);
  set(L, "in_ah", in / 3600.0);
  set(L, "out_kwh", given / 3.6e6);
  set(L, "in_kwh", taken / 3.6e6);
  set(L, "voltage_end_v",
      amp_trace_column(r->trace, "voltage_end_v")[to - 1]);
  set(L, "soc_end_pct", amp_trace_column(r->trace, "soc")[to - 1] * 100.0);
  set(L, "temp_max_c", warm - 273.15);
}

/* The phases of a test, into the list at the top. */
static void push_phases (lua_State *L, const run *r) {
  const amp_duty *d = r->duty;
  for (size_t k = 0, first = 0; k < d->phases; first = d->phase[k++].last) {
    double start = amp_duty_start(d, first);
    double end = amp_trace_phase_end(r->trace, k);
    lua_createtable(L, 0, 10);
    set(L, "start_h", start / 3600.0);
    set(L, "ended_h", end / 3600.0);
    set(L, "hours", (end - start) / 3600.0);
    push_stretch(L, r, amp_trace_begin(r->trace, d, first),
                 amp_trace_begin(r->trace, d, d->phase[k].last));
    lua_rawseti(L, -2, (lua_Integer)k + 1);
  }
}

/* J at nominal voltage, as tested: what a full cycle is counted in */
static double tested_energy (const run *r) {
  return bind_module_tested(&r->module, NULL) *
         amp_module_nominal_v(&r->module) * r->p->series * r->p->parallel;
}

/* No better than the worst number that went in */
static amp_basis basis_of (const run *r) {
  const amp_module *m = &r->module;
  amp_basis b = r->duty->basis;
  if (amp_value_is_set(&m->tested))
    b = amp_basis_worse(b, m->tested.basis);
  else if (amp_value_is_set(&m->soh))
    b = amp_basis_worse(amp_basis_worse(b, m->capacity.basis), m->soh.basis);
  else
    b = AMP_BASIS_ASSUMED; /* the nameplate taken for the truth */
  if (r->window.assumed_low || r->window.assumed_high ||
      !amp_value_is_set(&m->r10s))
    return AMP_BASIS_ASSUMED;
  return amp_basis_worse(amp_basis_worse(b, m->r10s.basis),
                         AMP_BASIS_COMPUTED);
}

static double hours_or_never (double s) {
  return s < 0.0 ? NAN : s / 3600.0;
}

/* The lowest voltage at the terminals and the end of the step it was in. */
static void push_sag (lua_State *L, const run *r) {
  const double *v = amp_trace_column(r->trace, "voltage_low_v");
  const double *end = amp_trace_column(r->trace, "time_s");
  size_t n = amp_trace_length(r->trace), low = 0;
  for (size_t i = 1; i < n; i++)
    low = v[i] < v[low] ? i : low;
  set(L, "voltage_min_v", v[low]);
  set(L, "voltage_min_h", end[low] / 3600.0);
}

static void push_extremes (lua_State *L, const run *r) {
  const amp_sim_result *a = &r->result;
  push_sag(L, r);
  set(L, "soc_min_pct", a->soc_low * 100.0);
  set(L, "soc_max_pct", a->soc_high * 100.0);
  set(L, "soc_start_pct", a->soc_start * 100.0);
  set(L, "soc_end_pct", a->soc_end * 100.0);
  set(L, "temp_min_c", a->temp_low - 273.15);
  set(L, "temp_max_c", a->temp_high - 273.15);
  set(L, "current_max_a", a->i_max);
  set(L, "current_min_a", a->i_min);
  set(L, "window_min_pct", r->window.soc_min * 100.0);
  set(L, "window_max_pct", r->window.soc_max * 100.0);
  set(L, "first_unserved_h", hours_or_never(a->first_unserved));
  set(L, "last_unserved_h", hours_or_never(a->last_unserved));
  set(L, "first_curtailed_h", hours_or_never(a->first_curtailed));
  set(L, "first_empty_h", hours_or_never(a->first_empty));
}

/* ---- strings, modules, groups ---- */

static const amp_module *module_at (const amp_build *b, int outer,
                                    int inner) {
  int at = inner;
  if (b->all != NULL)
    return b->all;
  for (int o = 0; o < outer; o++)
    at += b->inner[o];
  return b->module[at];
}

/* Where leaf k stands into the table at the top: string and module in it, or
** level and which of it, from 1; the module's name. */
static void push_place (lua_State *L, const run *r, size_t k) {
  const amp_build *b = &r->p->build;
  const amp_place *p = &r->place[k];
  const amp_module *m = module_at(b, p->outer, p->inner);
  set(L, b->string_first ? "string" : "level", p->outer + 1);
  set(L, "module", p->inner + 1);
  set(L, "modules", p->modules);
  if (m->name[0] != '\0') {
    bind_put_text(L, "name", m->name);
  }
  if (p->groups < m->series) {
    set(L, "group", p->group + 1);
    set(L, "groups", p->groups);
  }
}

/* What stands side by side: strings, or the modules of each level. The first
** leaf of it tells its current. */
static void push_strings (lua_State *L, const run *r) {
  const amp_build *b = &r->p->build;
  const amp_sim_result *a = &r->result;
  int outer = -1, inner = -1, n = 0;
  lua_newtable(L);
  for (size_t k = 0; k < amp_trace_leaves(r->trace); k++) {
    const amp_leaf_sum *s = amp_trace_leaf(r->trace, k);
    const amp_place *p = &r->place[k];
    if (p->outer == outer && (b->string_first || p->inner == inner))
      continue;
    outer = p->outer;
    inner = p->inner;
    lua_newtable(L);
    push_place(L, r, k);
    set(L, "out_ah", s->charge_out / 3600.0);
    set(L, "in_ah", s->charge_in / 3600.0);
    if (a->total.charge_out > 0.0)
      set(L, "share_pct", s->charge_out / a->total.charge_out * 100.0);
    set(L, "share_max_pct", s->share_max * 100.0);
    set(L, "current_max_a", s->i_max);
    set(L, "current_min_a", s->i_min);
    set(L, "opened_h", hours_or_never(s->opened));
    lua_rawseti(L, -2, ++n);
  }
}

/* Every leaf: its charge and heat, and the limits it set. */
static void push_leaves (lua_State *L, const run *r) {
  lua_newtable(L);
  for (size_t k = 0; k < amp_trace_leaves(r->trace); k++) {
    const amp_leaf_sum *s = amp_trace_leaf(r->trace, k);
    lua_newtable(L);
    push_place(L, r, k);
    set(L, "soc_low_pct", s->soc_low * 100.0);
    set(L, "soc_high_pct", s->soc_high * 100.0);
    set(L, "soc_end_pct", s->soc_end * 100.0);
    set(L, "temp_min_c", s->temp_low - 273.15);
    set(L, "temp_max_c", s->temp_high - 273.15);
    set(L, "empty_times", (double)s->lows);
    set(L, "full_times", (double)s->highs);
    set(L, "first_empty_h", hours_or_never(s->first_low));
    set(L, "first_full_h", hours_or_never(s->first_high));
    lua_rawseti(L, -2, (lua_Integer)k + 1);
  }
}

/* Hours in which a cell of lithium colder than 0 C was charged. */
static double cold_charge (const run *r) {
  const double *i = amp_trace_column(r->trace, "current_a");
  const double *t = amp_trace_column(r->trace, "temp_k");
  const double *end = amp_trace_column(r->trace, "time_s");
  double then = 0.0, sum = 0.0;
  if (strcmp(r->module.chemistry->name, "lead_acid") == 0)
    return 0.0;
  for (size_t n = 0; n < amp_trace_length(r->trace); then = end[n++])
    sum += i[n] < -1e-3 && t[n] < 273.15 ? end[n] - then : 0.0;
  return sum / 3600.0;
}

static void push_heat (lua_State *L, const run *r) {
  const amp_sim_result *a = &r->result;
  set(L, "cold_unserved_kwh", a->total.cold_unserved / 3.6e6);
  set(L, "cold_curtailed_kwh", a->total.cold_curtailed / 3.6e6);
  set(L, "cold_h", a->total.cold_time / 3600.0);
  set(L, "first_cold_h", hours_or_never(a->first_cold));
  set(L, "last_cold_h", hours_or_never(a->last_cold));
  set(L, "heater_kwh", a->total.heater / 3.6e6);
  set(L, "heater_pack_kwh",
      r->pack.heater.from_pack ? a->total.heater / 3.6e6 : 0.0);
  set(L, "bled_kwh", a->total.bled / 3.6e6);
  set(L, "reversible_kwh", a->total.reversible / 3.6e6);
  set(L, "cold_charge_h", cold_charge(r));
  set(L, "first_opened_h", hours_or_never(a->first_opened));
  set(L, "share_error_pct", a->share_error * 100.0);
}

/* simulate_raw(pack, duty, inverter, settled) --> see the file's head */
static int simulate_raw (lua_State *L) {
  lua_settop(L, 4);
  run *r = new_run(L);
  const amp_sim_result *a = &r->result;
  double steps = (double)amp_trace_length(r->trace);
  lua_newtable(L);
  push_months(L, r);
  push_extremes(L, r);
  push_sums(L, &a->total, a->soc_low);
  lua_setfield(L, -2, "total");
  set(L, "balance_kwh", a->energy_residual / 3.6e6);
  set(L, "stored_kwh", (a->stored_end - a->stored_start) / 3.6e6);
  set(L, "efc", a->total.out / tested_energy(r));
  set(L, "days", a->total.time / 86400.0);
  set(L, "steps", steps);
  set(L, "step_s", a->total.time / steps);
  bind_put_text(L, "basis", amp_basis_name(basis_of(r)));
  bind_put_text(L, "level", r->level);
  bind_put_flag(L, "even", r->p->even);
  push_heat(L, r);
  if (r->duty->phases > 0) {
    lua_createtable(L, (int)r->duty->phases, 0);
    push_phases(L, r);
    lua_setfield(L, -2, "phases");
  }
  if (amp_trace_leaves(r->trace) > 1) {
    push_strings(L, r);
    lua_setfield(L, -2, "strings");
    push_leaves(L, r);
    lua_setfield(L, -2, "leaves");
  }
  return 1;
}

/* ---- the trace ---- */

typedef struct trace_column {
  const char *key, *core;
  double factor, shift;
  bool mean; /* over the steps of a row; else at its end */
} trace_column;

static const trace_column trace_columns[] = {
    {"time_h", "time_s", 1.0 / 3600.0, 0.0, false},
    {"soc_pct", "soc", 100.0, 0.0, false},
    {"current_a", "current_a", 1.0, 0.0, true},
    {"voltage_v", "voltage_v", 1.0, 0.0, true},
    {"temp_c", "temp_k", 1.0, -273.15, false},
    {"power_w", "power_w", 1.0, 0.0, true},
    {"unserved_w", "unserved_w", 1.0, 0.0, true},
    {"curtailed_w", "curtailed_w", 1.0, 0.0, true},
    {"voltage_end_v", "voltage_end_v", 1.0, 0.0, false}};

/* The column over steps first .. last-1, by their lengths */
static double stretch (const trace_column *c, const double *v,
                       const double *end, size_t first, size_t last) {
  double from = first > 0 ? end[first - 1] : 0.0, sum = 0.0, then = from;
  if (!c->mean)
    return v[last - 1] * c->factor + c->shift;
  for (size_t i = first; i < last; then = end[i++])
    sum += v[i] * (end[i] - then);
  double mean = sum / (end[last - 1] - from) * c->factor + c->shift;
  return fabs(mean) < 1e-9 ? 0.0 : mean; /* W or A: rounding at a limit */
}

/* The current of each string, where strings stand side by side. */
static void push_string_row (lua_State *L, const run *r, size_t first,
                             size_t last) {
  static const trace_column column = {"", "", 1.0, 0.0, true};
  const double *end = amp_trace_column(r->trace, "time_s");
  int outer = -1;
  char key[32];
  if (!r->p->build.string_first || amp_trace_leaves(r->trace) < 2)
    return;
  for (size_t k = 0; k < amp_trace_leaves(r->trace); k++) {
    const double *i = amp_trace_leaf_column(r->trace, k, "current_a");
    if (i == NULL || r->place[k].outer == outer)
      continue;
    outer = r->place[k].outer;
    snprintf(key, sizeof key, "string_%d_a", outer + 1);
    set(L, key, stretch(&column, i, end, first, last));
  }
}

static void push_row (lua_State *L, const run *r, size_t first, size_t last) {
  enum { COLUMNS = sizeof trace_columns / sizeof *trace_columns };
  lua_createtable(L, 0, COLUMNS);
  for (int k = 0; k < COLUMNS; k++) {
    const trace_column *c = &trace_columns[k];
    set(L, c->key,
        stretch(c, amp_trace_column(r->trace, c->core),
                amp_trace_column(r->trace, "time_s"), first, last));
  }
  push_string_row(L, r, first, last);
}

/* trace_raw(pack, duty, inverter, settled, every) --> rows */
static int trace_raw (lua_State *L) {
  double every = luaL_checknumber(L, 5);
  lua_settop(L, 4);
  run *r = new_run(L);
  size_t n = amp_trace_length(r->trace), row = 0;
  size_t step = every >= 1.0 && every < (double)n ? (size_t)every : n;
  lua_newtable(L);
  for (size_t first = 0; first < n; first += step) {
    push_row(L, r, first, n - first < step ? n : first + step);
    lua_rawseti(L, -2, (lua_Integer)++row);
  }
  return 1;
}

/* trace_handle(pack, duty, inverter, settled) --> handle, groups in series;
** for replay_against and replay_rows */
static int trace_handle (lua_State *L) {
  static const char *const names[] = {
      "time_s", "current_a", "voltage_end_v", "voltage_v", "soc", "temp_k"};
  const double *column[6];
  lua_settop(L, 4);
  run *r = new_run(L);
  const bind_profile *d = lua_touserdata(L, 2);
  double began = d->log != NULL ? d->log->log.time[0] : 0.0;
  double capacity = amp_pack_capacity(&r->pack) / 3600.0;
  for (int k = 0; k < 6; k++)
    column[k] = amp_trace_column(r->trace, names[k]);
  bind_push_replay(L, amp_trace_length(r->trace), column, began,
                   capacity / 50.0);
  lua_pushinteger(L, amp_build_groups(&r->p->build));
  return 2;
}

static const luaL_Reg functions[] = {{"simulate_raw", simulate_raw},
                                     {"trace_raw", trace_raw},
                                     {"trace_handle", trace_handle},
                                     {NULL, NULL}};

void bind_run_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
