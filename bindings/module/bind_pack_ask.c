/*
** bind_pack_ask.c -- what a pack is asked: energy, groups and mass, days
** without sun, how long balancing and warming take.
*/
#include "bind_pack_parts.h"
#include <math.h>
#include <stdio.h>

/* J at nominal voltage, as tested */
static double tested_energy (const bind_pack *s) {
  const amp_module *m = &s->module->m;
  return bind_module_tested(m, NULL) * amp_module_nominal_v(m) * s->series *
         s->parallel;
}

static int pack_tested (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "tested_kwh");
  lua_pushnumber(L, tested_energy(s) / 3.6e6);
  return 1;
}

/* By charge, as is common: tested kWh times the share of charge used */
static int pack_usable (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "usable_kwh");
  amp_window w;
  if (bind_pack_window_in(s, NULL, 0.0, &w, NULL) != AMP_OK)
    return 0;
  lua_pushnumber(L, tested_energy(s) * amp_window_by_charge(&w) / 3.6e6);
  return 1;
}

/* How well its charge is known: of the test, else of the label. */
static amp_basis tested_basis (const amp_module *m) {
  if (amp_value_is_set(&m->tested))
    return m->tested.basis;
  return amp_value_is_set(&m->soh)
             ? amp_basis_worse(m->soh.basis, m->capacity.basis)
             : m->capacity.basis;
}

int bind_pack_sums (lua_State *L) {
  const bind_pack *s = lua_touserdata(L, 1);
  const amp_module *m = &s->module->m;
  char v[40], ah[40], kwh[40], text[240];
  bool label;
  double charge = bind_module_tested(m, &label) * s->parallel;
  amp_format_double(amp_module_nominal_v(m) * s->series, 3, v);
  amp_format_double(charge / 3600.0, 3, ah);
  amp_format_double(tested_energy(s) / 3.6e6, 3, kwh);
  snprintf(text, sizeof text, "%d groups, %s V nominal, %s Ah, %s kWh (%s%s)",
           amp_build_groups(&s->build), v, ah, kwh,
           label ? "nameplate, " : "", amp_basis_name(tested_basis(m)));
  lua_pushstring(L, text);
  return 1;
}

static int pack_groups (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "groups");
  lua_pushinteger(L, amp_build_groups(&s->build));
  return 1;
}

static int pack_mass (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "mass_kg");
  double mass = s->module->m.mass;
  if (!amp_given(mass) || !(mass > 0.0))
    return 0;
  lua_pushnumber(L, mass * amp_build_modules(&s->build));
  return 1;
}

/*
** pack:autonomy(duty, inverter) --> {days, usable_kwh, need_kwh, load_kwh,
** supply_kwh, month}: days without sun in the month that asks most, usable
** over the daily need at the battery
*/
static int pack_autonomy (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "autonomy");
  bind_profile *p = bind_check(L, 2, "profile", "autonomy: duty");
  amp_need need = {0};
  amp_window w;
  amp_error err = {0};
  need.duty = &p->duty;
  need.converter.efficiency = 1.0;
  if (!lua_isnoneornil(L, 3)) {
    bind_inverter *i = bind_check(L, 3, "inverter", "autonomy: inverter");
    need.converter = i->c;
    need.v_abs_max = i->v_abs_max;
  }
  bind_push_keys(L, 1);
  const char *who = bind_who(L, &bind_pack_class, -1);
  if (bind_pack_window_in(s, &need.converter, need.v_abs_max, &w, &err) !=
      AMP_OK)
    return bind_raise(L, &bind_pack_class, who, &err);
  amp_worst_month worst = amp_need_worst_month(&need);
  double usable = tested_energy(s) * amp_window_by_charge(&w);
  lua_newtable(L);
  bind_put(L, "usable_kwh", usable / 3.6e6);
  bind_put(L, "need_kwh", worst.need / 3.6e6);
  bind_put(L, "load_kwh", worst.load / 3.6e6);
  bind_put(L, "supply_kwh", worst.supply / 3.6e6);
  bind_put(L, "days", worst.need > 0.0 ? usable / worst.need : NAN);
  if (worst.month >= 0) {
    lua_pushinteger(L, worst.month + 1);
    lua_setfield(L, -2, "month");
  }
  return 1;
}

/* The pack of 's' in its own window, at the top of the stack. */
static amp_pack *push_pack (lua_State *L, const bind_pack *s,
                            amp_place *place, const char *who) {
  amp_error err = {0};
  amp_window w;
  amp_pack *p = lua_newuserdatauv(L, sizeof *p, 0);
  if (bind_pack_window_in(s, NULL, 0.0, &w, &err) != AMP_OK ||
      bind_pack_build(s, &w, p, place, &err) != AMP_OK)
    bind_raise(L, &bind_pack_class, who, &err);
  return p;
}

/*
** pack:balance() --> {ah, hours, lost_ah, string (level), module, name,
** group}: what the fullest group has to lose until all of its string are full
** together, and how long that takes with bleed_a without a pause (nil: no
** bleed_a)
*/
static int pack_balance (lua_State *L) {
  bind_pack *s = bind_check(L, 1, "pack", "balance");
  amp_place place[AMP_PACK_LEAVES];
  amp_pack *p = push_pack(L, s, place, "balance");
  amp_balance b = amp_pack_balance(p);
  const amp_build *of = &s->build;
  const amp_place *at = &place[b.leaf];
  int n = at->inner;
  for (int o = 0; of->all == NULL && o < at->outer; o++)
    n += of->inner[o];
  const amp_module *m = of->all != NULL ? of->all : of->module[n];
  lua_newtable(L);
  bind_put(L, "ah", b.charge / 3600.0);
  bind_put(L, "lost_ah", b.lost / 3600.0);
  bind_put(L, "hours", b.time < HUGE_VAL ? b.time / 3600.0 : NAN);
  if (!(b.charge > 0.0))
    return 1;
  bind_put(L, of->string_first ? "string" : "level", at->outer + 1);
  bind_put(L, "module", at->inner + 1);
  bind_put(L, "group", at->group + 1);
  if (m->name[0] != '\0') {
    bind_put_text(L, "name", m->name);
  }
  return 1;
}

/* C of what was typed in Fahrenheit */
#define WARM_F(key)                                                          \
  {                                                                          \
    key, BIND_NUMBER, BIND_NONE, 5.0 / 9.0, -160.0 / 9.0, -76.0, 140.0, "F", \
        "", 0, ""                                                            \
  }

static const bind_field warm_fields[] = {
    F_ELSE_OF("from_c", BIND_NUMBER, 1.0, -60.0, 60.0, "C", 0, ""),
    F_ELSE_OF("to_c", BIND_NUMBER, 1.0, -60.0, 60.0, "C", 0, ""),
    F_ELSE_OF("heater_w", BIND_NUMBER, 1.0, 0.1, 1e6, "W", 0, ""),
    F_ELSE_OF("ambient_c", BIND_NUMBER, 1.0, -60.0, 60.0, "C", 0, ""),
    WARM_F("from_f"),
    WARM_F("to_f"),
    F_ELSE_OF("", BIND_NUMBER, 1.0, 0.0, 0.0, "", 0, ""), /* of heater_w */
    WARM_F("ambient_f"),
    F_END};

enum { SIBLING = 4 }; /* the same in Fahrenheit stands so much further on */

/* No cell is one any more far below: 100 C. Common practice, no source. */
static const double END_MOST = 373.15;

/* Option of warm, or what is taken where it is not given. */
static double warm_option (lua_State *L, int k, double otherwise) {
  const bind_field *f = &warm_fields[k], *other = f + SIBLING;
  double v = otherwise;
  bool one = bind_get(L, 2, f->key), two = bind_get(L, 2, other->key);
  if (one && two)
    bind_error(L, NULL, "warm: give %s or %s, not both", f->key, other->key);
  if (one || two)
    v = bind_number(L, -1, one ? f : other, "warm");
  else if (k < 2)
    bind_error(L, NULL, "warm: %s is wanted", f->key);
  lua_settop(L, 2);
  return v;
}

/* With a heater as amp_warm has it; without one what stays in the cells, and
** what holds them there. C. */
static amp_status warm_of (double heat, double cooling, double ambient,
                           double power, double from, double to,
                           amp_warming *w, amp_error *err) {
  if (amp_given(power))
    return amp_warm(heat, cooling, ambient + 273.15, power, from + 273.15,
                    to + 273.15, w, err);
  *w = (amp_warming){
      NAN, NAN, heat * (to - from), NAN, fmax(cooling * (to - ambient), 0.0),
      NAN};
  return AMP_OK;
}

/*
** pack:warm{ from_c, to_c, heater_w, ambient_c, or _f } --> {hours, kwh,
** stored_kwh, lost_kwh, hold_w, end_c, usable_pct}, end_far where end_c would
** be above 100 C and is withheld: heater_w is the pack's
** own unless given (none: neither hours nor losses), ambient_c the
** temperature it starts from
*/
static int pack_warm (lua_State *L) {
  static const char *const keys[] = {"from_c",    "to_c",   "heater_w",
                                     "ambient_c", "from_f", "to_f",
                                     "ambient_f", NULL};
  bind_pack *s = bind_check(L, 1, "pack", "warm");
  amp_place place[AMP_PACK_LEAVES];
  amp_warming w;
  amp_error err = {0};
  double heat = 0.0, cooling = 0.0;
  lua_settop(L, 2);
  bind_options(L, 2, "warm", keys);
  if (!lua_istable(L, 2))
    bind_error(L, NULL, "warm: from_c is wanted");
  double own = s->heater.power > 0.0 ? s->heater.power : NAN;
  double from = warm_option(L, 0, NAN), to = warm_option(L, 1, NAN);
  double power = warm_option(L, 2, own);
  double ambient = warm_option(L, 3, from);
  if (!(to >= from))
    bind_error(L, NULL, "warm: to_c must not be below from_c");
  amp_pack *p = push_pack(L, s, place, "warm");
  for (int k = 0; k < p->leaves; k++) {
    heat += p->leaf[k].heat_capacity;
    cooling += p->leaf[k].cooling;
  }
  if (!(heat > 0.0))
    bind_error(L, NULL, "warm: mass_kg of the module is wanted");
  if (warm_of(heat, cooling, ambient, power, from, to, &w, &err) != AMP_OK)
    return bind_raise(L, NULL, "warm", &err);
  lua_newtable(L);
  bind_put(L, "hours", w.time / 3600.0);
  bind_put(L, "kwh", w.energy / 3.6e6);
  bind_put(L, "stored_kwh", w.stored / 3.6e6);
  bind_put(L, "lost_kwh", w.lost / 3.6e6);
  bind_put(L, "hold_w", w.hold);
  bool far = w.end > END_MOST; /* also where nothing cools it */
  bind_put(L, "end_c", far ? NAN : w.end - 273.15);
  bind_put_flag(L, "end_far", far);
  bind_put(L, "heat_kj_per_k", heat / 1000.0);
  bind_put(L, "cooling_w_per_k", cooling);
  return 1;
}

const luaL_Reg bind_pack_methods[] = {{"autonomy", pack_autonomy},
                                      {"balance", pack_balance},
                                      {"warm", pack_warm},
                                      {"get_tested_kwh", pack_tested},
                                      {"get_usable_kwh", pack_usable},
                                      {"get_groups", pack_groups},
                                      {"get_mass_kg", pack_mass},
                                      {NULL, NULL}};
