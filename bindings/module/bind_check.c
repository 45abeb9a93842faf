/*
** bind_check.c -- the place where a pack stands, and a build looked at as a
** whole.
*/
#include "bind.h"
#include "job/check.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

/* ---- the place ---- */

typedef struct bind_place {
  char name[64];
  amp_site s;
} bind_place;

static const bind_field place_fields[] = {
    F_TEXT("name", bind_place, name, "what to call it"),
    F_TEMPS("coldest", bind_place, s.coldest, -60.0, 70.0, 1,
            "coldest around the pack, all year"),
    F_TEMPS("warmest", bind_place, s.warmest, -60.0, 70.0, 2,
            "warmest around the pack, all year"),
    F_NUM_OF("floor_kpa", bind_place, s.floor_load, 1e3, 0.01, 1e4, "kPa", 3,
             "what the floor may carry, spread evenly"),
    F_NUM_OF("floor_psf", bind_place, s.floor_load, 47.88, 0.2, 2e5, "psf", 3,
             "the same in pounds a square foot"),
    F_NUM_OF("floor_m2", bind_place, s.floor_area, 1.0, 0.01, 1e4, "m2", 4,
             "area under all of it"),
    F_NUM_OF("floor_ft2", bind_place, s.floor_area, 0.09290304, 0.1, 1e5,
             "ft2", 4, "the same in square feet"),
    F_NUM_OF("extra_kg", bind_place, s.extra_mass, 1.0, 0.0, 1e5, "kg", 6,
             "on the same floor besides the modules: rack, inverter, copper; "
             "0 unless given"),
    F_NUM_OF("extra_lb", bind_place, s.extra_mass, 0.45359237, 0.0, 2.2e5,
             "lb", 6, "the same in pounds"),
    F_WHOLE("stack_high", bind_place, s.stack, 1, 100,
            "modules one on another"),
    F_NUM_OF("stack_kg", bind_place, s.stack_limit, 1.0, 0.0, 1e4, "kg", 7,
             "what the housing of a module bears, by its maker"),
    F_NUM_OF("stack_lb", bind_place, s.stack_limit, 0.45359237, 0.0, 2.2e4,
             "lb", 7, "the same in pounds"),
    F_TEMPS("warm_to", bind_place, s.warm_to, -60.0, 70.0, 5,
            "where charging shall begin; 5 C above the end of the lock-out "
            "unless given"),
    F_NUM("heater_w", bind_place, s.heater, 1.0, 0.0, 1e5, "W",
          "heater of the place; the pack's own unless given"),
    F_NUM("loss_w_per_k", bind_place, s.loss, 1.0, 0.0, 1e5, "W/K",
          "of the whole pack to the place; by the modules' mass unless "
          "given"),
    F_NUM("closed_days", bind_place, s.closed, 86400.0, 0.0, 366.0, "days",
          "in which nothing charges it; the days the duty leaves out unless "
          "given"),
    F_NUM("idle_w", bind_place, s.idle, 1.0, 0.0, 1e5, "W",
          "drawn meanwhile with the inverter off: telemetry, BMS"),
    F_END};

static const bind_class place_class;

static void place_defaults (void *spec) {
  ((bind_place *)spec)->s = amp_site_defaults();
}

static void place_finish (lua_State *L, int keys, void *spec) {
  bind_place *p = spec;
  amp_error err = {0};
  if (amp_site_check(&p->s, &err) != AMP_OK)
    bind_raise(L, &place_class, bind_who(L, &place_class, keys), &err);
}

static void place_tell (lua_State *L, const void *spec) {
  const amp_site *s = &((const bind_place *)spec)->s;
  if (s->extra_mass == 0.0)
    bind_say(L, "extra_kg: nothing besides the modules stands on the floor");
  if (!amp_given(s->warm_to))
    bind_say(L, "warm_to_c: 5 above the end of the charge lock-out");
  if (!amp_given(s->loss))
    bind_say(L, "loss_w_per_k: by the modules' mass");
  if (!amp_given(s->closed))
    bind_say(L, "closed_days: the days of the year that the duty leaves out");
}

static const bind_class place_class = {
    "place",
    "place",
    "the room and floor where a pack stands",
    place_fields,
    sizeof(bind_place),
    place_defaults,
    place_finish,
    place_tell,
    NULL,
    NULL};

/* ---- a BMS as it is set ---- */

typedef struct bind_bms {
  char name[64];
  amp_bms b;
} bind_bms;

static const bind_field bms_fields[] = {
    F_TEXT("name", bind_bms, name, "what to call it"),
    {"cell_v_min", BIND_NUMBER, offsetof(bind_bms, b.v_min), 1.0, 0.0, 0.1,
     10.0, "V", "v_min", 0, "of a group, at which it stops a discharge"},
    {"cell_v_max", BIND_NUMBER, offsetof(bind_bms, b.v_max), 1.0, 0.0, 0.1,
     10.0, "V", "v_max", 0, "of a group, at which it stops a charge"},
    F_NUM("discharge_a", bind_bms, b.discharge, 1.0, 0.1, 1e5, "A",
          "it lets through for ever"),
    F_NUM("charge_a", bind_bms, b.charge, 1.0, 0.1, 1e5, "A",
          "it lets in for ever"),
    F_TEMPS("charge_min", bind_bms, b.charge_from, -60.0, 60.0, 1,
            "coldest cell at which it lets a charge begin"),
    F_FLAG("each_string", bind_bms, b.each,
           "true: every string has one of its own"),
    F_END};

static const bind_class bms_class;

static void bms_defaults (void *spec) {
  ((bind_bms *)spec)->b = amp_bms_defaults();
}

static void bms_finish (lua_State *L, int keys, void *spec) {
  amp_error err = {0};
  if (amp_bms_check(&((bind_bms *)spec)->b, &err) != AMP_OK)
    bind_raise(L, &bms_class, bind_who(L, &bms_class, keys), &err);
}

static const bind_class bms_class = {"bms",
                                     "bms",
                                     "what guards each group, as it is set",
                                     bms_fields,
                                     sizeof(bind_bms),
                                     bms_defaults,
                                     bms_finish,
                                     NULL,
                                     NULL,
                                     NULL};

/* ---- a build looked at ---- */

/* The object under opts[key] (at 2), or NULL where there is none. */
static const void *option (lua_State *L, const char *key,
                           const char *class_name) {
  const void *p = NULL;
  lua_getfield(L, 2, key);
  if (!lua_isnil(L, -1)) {
    lua_pushfstring(L, "check: %s", key);
    p = bind_check(L, -2, class_name, lua_tostring(L, -1));
    lua_pop(L, 1);
  }
  lua_pop(L, 1); /* the table of options keeps it */
  return p;
}

/* opts.origin = {known, accepted, worst, verdict, soc_low, soc_high} */
static bool read_origin (lua_State *L, amp_origin *o) {
  size_t n = 0;
  memset(o, 0, sizeof *o);
  if (lua_getfield(L, 2, "origin") != LUA_TTABLE) {
    lua_pop(L, 1);
    return false;
  }
  int at = lua_gettop(L);
  o->known = (int)bind_option(L, at, "known", 0.0);
  o->accepted = (int)bind_option(L, at, "accepted", 0.0);
  o->soc_low = bind_option(L, at, "soc_low", NO);
  o->soc_high = bind_option(L, at, "soc_high", NO);
  lua_getfield(L, at, "worst");
  const char *worst = luaL_optlstring(L, -1, "", &n);
  memcpy(o->worst, worst, n < sizeof o->worst ? n : sizeof o->worst - 1);
  lua_getfield(L, at, "verdict");
  const char *verdict = luaL_optstring(L, -1, "accept");
  for (int v = AMP_ACCEPT; v <= AMP_REJECT; v++)
    if (strcmp(verdict, amp_verdict_name((amp_verdict)v)) == 0)
      o->verdict = (amp_verdict)v;
  lua_settop(L, at - 1);
  return true;
}

static void put_rows (lua_State *L, const amp_checked *out, amp_look look,
                      const char *key) {
  int n = 0;
  lua_newtable(L);
  for (int i = 0; i < out->n; i++) {
    const amp_check_row *r = &out->row[i];
    if (r->look != look)
      continue;
    lua_newtable(L);
    bind_put_text(L, "id", r->id);
    if (*r->end)
      bind_put_text(L, "which", r->end);
    bind_put_text(L, "text", r->say.text);
    bind_put_text(L, "unit", r->told->unit);
    bind_put(L, "value", r->value * r->told->factor + r->told->shift);
    bind_put(L, "limit", r->limit * r->told->factor + r->told->shift);
    bind_put_text(L, "basis", amp_basis_name(r->basis));
    bind_put_text(L, "weight",
                  r->weight == AMP_WEIGHT_SAFETY    ? "safety"
                  : r->weight == AMP_WEIGHT_DOUBT   ? "doubt"
                  : r->weight == AMP_WEIGHT_ECONOMY ? "economy"
                                                    : "remark");
    if (r->caution != NULL) {
      bind_put_text(L, "wrong", r->caution->what);
      bind_put_text(L, "compared", r->caution->compared);
      bind_put_text(L, "source", r->caution->source);
      bind_put_text(L, "who", r->caution->who);
    }
    lua_rawseti(L, -2, ++n);
  }
  lua_setfield(L, -2, key);
}

static double finite (double v) {
  return v < HUGE_VAL && v > -HUGE_VAL ? v : NO;
}

static void put_facts (lua_State *L, const amp_check_facts *f) {
  lua_newtable(L);
  bind_put(L, "v_full", f->v_full);
  bind_put(L, "v_empty", f->v_empty);
  bind_put(L, "v_load", f->v_load);
  bind_put(L, "v_surge", f->v_surge);
  bind_put(L, "usable_kwh", f->usable / 3.6e6);
  bind_put(L, "current_a", f->current);
  bind_put(L, "surge_a", f->surge);
  bind_put(L, "bus_ka", f->bus / 1e3);
  bind_put(L, "share", f->share);
  bind_put(L, "mass_kg", f->mass);
  bind_put(L, "floor_kpa", f->pressure / 1e3);
  bind_put(L, "floor_least_m2", f->area_least);
  bind_put(L, "lowest_carries_kg", f->lowest);
  bind_put(L, "heat_w", f->heat);
  bind_put(L, "rise_k", finite(f->rise));
  bind_put(L, "cells_c", finite(f->cells) - 273.15);
  bind_put(L, "warm_kwh", f->warm / 3.6e6);
  bind_put(L, "warm_to_c", f->warm_to - 273.15);
  bind_put(L, "charge_from_c", finite(f->charge_from) - 273.15);
  bind_put(L, "charge_to_c", finite(f->charge_to) - 273.15);
  bind_put(L, "closed_days", f->closed / 86400.0);
  bind_put(L, "idle_days", finite(f->idle) / 86400.0);
  bind_put(L, "idle_on_days", finite(f->idle_on) / 86400.0);
  bind_put(L, "need_kwh", f->need / 3.6e6);
  bind_put(L, "supply_kwh", f->supply / 3.6e6);
  bind_put(L, "empty_days", f->empties / 86400.0);
  if (f->month >= 0)
    bind_put(L, "month", f->month + 1);
  lua_setfield(L, -2, "facts");
}

static amp_basis charge_basis (const amp_module *m) {
  if (amp_value_is_set(&m->tested))
    return m->tested.basis;
  return amp_value_is_set(&m->soh)
             ? amp_basis_worse(m->capacity.basis, m->soh.basis)
             : amp_basis_worse(m->capacity.basis, AMP_BASIS_CLAIMED);
}

static void take_pack (lua_State *L, const bind_pack *p, amp_check *c) {
  amp_error err = {0};
  const amp_module *m = &p->module->m;
  if (bind_pack_window(p, &c->window, &err) != AMP_OK)
    bind_raise(L, NULL, "check", &err);
  c->build = &p->build;
  c->mean = m;
  c->series = p->series;
  c->strings = p->parallel;
  c->usable = bind_module_tested(m, NULL) * amp_module_nominal_v(m) *
              p->series * p->parallel * amp_window_by_charge(&c->window);
  c->usable_basis = amp_basis_worse(AMP_BASIS_COMPUTED, charge_basis(m));
}

static void take_circuit (const bind_circuit *s, amp_check *c) {
  if (s == NULL)
    return;
  c->circuit = &s->f;
  c->parts = &s->c;
}

static void take_inverter (const bind_inverter *i, amp_check *c) {
  if (i == NULL)
    return;
  c->converter = &i->c;
  c->v_abs_max = i->v_abs_max;
  c->surge = i->surge;
  c->capacitance = i->capacitance;
}

static void take_rest (lua_State *L, amp_check *c) {
  const bind_precharge *p = option(L, "precharge", "precharge");
  const bind_fuse_link *link = option(L, "link", "fuse_link");
  const bind_place *place = option(L, "place", "place");
  const bind_bms *bms = option(L, "bms", "bms");
  if (p != NULL) {
    c->precharge = &p->p;
    c->filled = &p->a;
  }
  c->link = link ? &link->a : NULL;
  c->site = place ? &place->s : NULL;
  c->bms = bms ? &bms->b : NULL;
  c->fuse = option(L, "fuse", "fuse") != NULL;
  c->cable = option(L, "cable", "cable") != NULL;
  c->unserved = bind_option(L, 2, "unserved_kwh", NO) * 3.6e6;
}

/*
** core.check_raw(pack, {duty, inverter, circuit, fuse, cable, precharge,
** link, place, bms, origin, unserved_kwh}) --> {raised = {..}, unknown = {..},
** clear = {..}, facts}: rows {id, which, text, value, limit, unit, basis,
** weight, wrong, compared, source, who}; 'which' end, of a name with several
*/
static int check_raw (lua_State *L) {
  const bind_pack *p = bind_check(L, 1, "pack", "check");
  amp_check c = {0};
  amp_need need = {0};
  amp_origin origin;
  amp_error err = {0};
  lua_settop(L, 2);
  luaL_checktype(L, 2, LUA_TTABLE);
  take_pack(L, p, &c);
  take_circuit(option(L, "circuit", "circuit"), &c);
  take_inverter(option(L, "inverter", "inverter"), &c);
  take_rest(L, &c);
  if (c.link == NULL && p->module->link != NULL)
    c.link = &p->module->link->a;
  const bind_profile *duty = option(L, "duty", "profile");
  if (duty != NULL) {
    need.duty = &duty->duty;
    need.converter.efficiency = 1.0;
    if (c.converter != NULL)
      need.converter = *c.converter;
    c.need = &need;
  }
  if (read_origin(L, &origin))
    c.origin = &origin;
  amp_checked *out = lua_newuserdatauv(L, sizeof *out, 0);
  if (amp_check_look(&c, out, &err) != AMP_OK)
    return bind_raise(L, NULL, "check", &err);
  lua_newtable(L);
  put_rows(L, out, AMP_LOOK_RAISED, "raised");
  put_rows(L, out, AMP_LOOK_UNKNOWN, "unknown");
  put_rows(L, out, AMP_LOOK_CLEAR, "clear");
  put_facts(L, &out->facts);
  return 1;
}

static const luaL_Reg functions[] = {{"check_raw", check_raw}, {NULL, NULL}};

void bind_check_open (lua_State *L) {
  bind_class_open(L, &place_class);
  bind_class_open(L, &bms_class);
  luaL_setfuncs(L, functions, 0);
}
