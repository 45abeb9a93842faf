/*
** bind_protect.c -- a fuse, a circuit looked at as a whole, the short circuit
** of a pack, pre-charge, isolation, hours of balancing.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

/* ---- a fuse ---- */

static const bind_field fuse_fields[] = {
    F_TEXT("name", bind_fuse, name, "what to call it"),
    F_NUM("rating_a", bind_fuse, rating, 1.0, 0.01, 1e5, "A",
          "current on its body"),
    F_NUM("voltage_v", bind_fuse, voltage, 1.0, 0.1, 1e5, "V",
          "voltage it is made for, direct current"),
    F_NUM("interrupt_ka", bind_fuse, interrupt, 1e3, 0.001, 1e4, "kA",
          "current it can break at that voltage"),
    F_ELSE("curve", BIND_LIST, "",
           "{{A, s}, ..} from its maker's sheet, currents rising"),
    {"alternating", BIND_FLAG, offsetof(bind_fuse, alternating), 1.0, 0.0,
     0.0, 0.0, "", "alternating", 0,
     "true: its sheet tells alternating current alone"},
    {"polarised", BIND_FLAG, offsetof(bind_fuse, polarised), 1.0, 0.0, 0.0,
     0.0, "", "polarised", 0, "true: a breaker that minds the direction"},
    F_END};

/* Points of the curve in the user's words, for errors alone. */
static const bind_field point_fields[] = {
    {"a point's current", BIND_NUMBER, BIND_NONE, 1.0, 0.0, 0.0, 0.0, "A",
     "trip_current", 0, ""},
    {"a point's time", BIND_NUMBER, BIND_NONE, 1.0, 0.0, 0.0, 0.0, "s",
     "trip_time", 0, ""},
    F_END};

static const bind_class point_class = {
    "fuse", "fuse", "", point_fields, 0, NULL, NULL, NULL, NULL, NULL};

static const bind_class fuse_class;

static void fuse_defaults (void *spec) {
  bind_fuse *s = spec;
  s->rating = s->voltage = s->interrupt = NO;
}

/* {{125, 3600}, {200, 30}, ..} */
static void read_curve (lua_State *L, int keys, const char *who,
                        amp_trip *c) {
  amp_error err = {0};
  if (!bind_get(L, keys, "curve"))
    return;
  int list = lua_gettop(L);
  lua_Integer n = lua_istable(L, list) ? (lua_Integer)lua_rawlen(L, list) : 0;
  if (n < 1 || n > AMP_TRIP_MAX)
    bind_error(L, NULL,
               "%s: curve must be a list {{A, s}, ..} of at most %d "
               "points",
               who, AMP_TRIP_MAX);
  for (lua_Integer i = 1; i <= n; i++) {
    if (lua_rawgeti(L, list, i) != LUA_TTABLE ||
        lua_rawgeti(L, -1, 1) != LUA_TNUMBER ||
        lua_rawgeti(L, -2, 2) != LUA_TNUMBER)
      bind_error(L, NULL, "%s: curve: point %d must be {A, s}", who, (int)i);
    c->amp[i - 1] = lua_tonumber(L, -2);
    c->time[i - 1] = lua_tonumber(L, -1);
    lua_pop(L, 3);
  }
  c->n = (int)n;
  lua_pop(L, 1);
  if (amp_trip_check(c, &err) != AMP_OK) {
    if (err.text[0] != '\0')
      lua_pushstring(L, err.text);
    else
      bind_push_error(L, &point_class, "", &err);
    bind_error(L, NULL, "%s: curve: %s", who, lua_tostring(L, -1));
  }
}

static void fuse_finish (lua_State *L, int keys, void *spec) {
  bind_fuse *s = spec;
  const char *who = bind_who(L, &fuse_class, keys);
  if (!amp_given(s->rating))
    bind_error(L, NULL, "%s: rating_a is wanted", who);
  read_curve(L, keys, who, &s->curve);
}

static void fuse_tell (lua_State *L, const void *spec) {
  const bind_fuse *s = spec;
  if (!amp_given(s->voltage))
    bind_say(L, "voltage_v: not known, and nothing is held against it");
  if (!amp_given(s->interrupt))
    bind_say(L, "interrupt_ka: not known, and nothing is held against it");
  if (s->curve.n == 0)
    bind_say(L, "curve: not known, so a surge is not judged");
}

/* fuse:opens_after_s(145) --> s, true where that is the most; or nil, why */
static int fuse_opens (lua_State *L) {
  const bind_fuse *s = bind_check(L, 1, "fuse", "opens_after_s");
  amp_error err = {0};
  bool most = false;
  double t, i = lua_type(L, 2) == LUA_TNUMBER ? lua_tonumber(L, 2) : NAN;
  if (!(i >= 0.0 && i <= 1e7))
    return bind_error(L, NULL, "opens_after_s: amperes are wanted");
  if (amp_fuse_time(s->curve.n > 0 ? &s->curve : NULL, i, &t, &most, &err) ==
      AMP_OK) {
    lua_pushnumber(L, t);
    lua_pushboolean(L, most);
    return 2;
  }
  lua_pushnil(L);
  bind_push_error(L, NULL, "", &err);
  return 2;
}

static const luaL_Reg fuse_methods[] = {{"opens_after_s", fuse_opens},
                                        {NULL, NULL}};

static const bind_class fuse_class = {"fuse",
                                      "fuse",
                                      "a fuse or breaker as its sheet has it",
                                      fuse_fields,
                                      sizeof(bind_fuse),
                                      fuse_defaults,
                                      fuse_finish,
                                      fuse_tell,
                                      NULL,
                                      fuse_methods};

/* ---- the short circuit of a pack ---- */

static amp_status full_voltage (const bind_pack *p, double *v,
                                amp_error *err) {
  amp_window w;
  amp_status s = bind_pack_window(p, &w, err);
  if (s == AMP_OK)
    *v = w.v_charge * amp_build_groups(&p->build);
  return s;
}

static void put_short (lua_State *L, const amp_short *a) {
  bind_put(L, "bus_ka", a->bus / 1e3);
  bind_put(L, "low_ka", a->low / 1e3);
  bind_put(L, "high_ka", a->high / 1e3);
  bind_put(L, "string_ka", a->string / 1e3);
  bind_put(L, "into_string_ka", a->into / 1e3);
}

/* core.short_raw(pack, {v, out_mohm}) --> {.. or why} */
static int short_raw (lua_State *L) {
  static const char *const words[] = {"v", "out_mohm", NULL};
  const bind_pack *p = bind_check(L, 1, "pack", "short_circuit");
  double full = NO, peak, steady;
  amp_short a;
  amp_error err = {0};
  bind_options(L, 2, "short_circuit", words);
  if (full_voltage(p, &full, &err) != AMP_OK)
    return bind_raise(L, NULL, "short_circuit", &err);
  double v = bind_option(L, 2, "v", full);
  double out = bind_option(L, 2, "out_mohm", NO) * 1e-3;
  amp_status s = amp_short_of_build(&p->build, v, out, &a, &err);
  if (s != AMP_OK && s != AMP_EMISSING)
    return bind_raise(L, NULL, "short_circuit", &err);
  lua_newtable(L);
  bind_put(L, "v", v);
  bind_put(L, "out_mohm", out * 1e3);
  bind_put(L, "strings", p->parallel);
  if (s == AMP_OK) {
    put_short(L, &a);
    bind_put(L, "r_mohm", v / a.bus * 1e3);
    bind_put_flag(L, "bound", a.bound);
    bind_put(L, "known", a.known);
    bind_put_text(L, "basis", amp_basis_name(p->module->m.r10s.basis));
  }
  if (s == AMP_OK && strcmp(p->module->m.chemistry->name, "lead_acid") == 0) {
    amp_short_lead_acid(amp_build_nominal_v(&p->build), v / a.bus,
                        amp_given(out) ? out : 0.0, &peak, &steady);
    bind_put(L, "peak_ka", peak / 1e3);
    bind_put(L, "lasting_ka", steady / 1e3);
  }
  return 1;
}

/* ---- a circuit ---- */

static const bind_field circuit_fields[] = {
    F_TEXT("name", bind_circuit, name, "what to call it"),
    F_ELSE("fuse", BIND_OBJECT, "", "amp.fuse{} in it"),
    F_ELSE("cable", BIND_OBJECT, "", "amp.cable{} behind it"),
    F_ELSE("pack", BIND_OBJECT, "", "amp.pack{} that feeds it"),
    F_ELSE("inverter", BIND_OBJECT, "", "amp.inverter{} at its end"),
    F_NUM("at_v", bind_circuit, at_v, 1.0, 0.1, 2000.0, "V",
          "voltage the power is drawn at; the inverter's v_min unless given"),
    F_NUM("current_a", bind_circuit, c.current, 1.0, 0.0, 1e5, "A",
          "current that lasts; by the inverter unless given"),
    F_NUM("surge_a", bind_circuit, c.surge, 1.0, 0.0, 1e5, "A",
          "current of a surge; by the inverter unless given"),
    F_NUM("surge_s", bind_circuit, c.surge_time, 1.0, 1e-6, 1e5, "s",
          "how long a surge lasts"),
    F_NUM("v_full", bind_circuit, c.v_full, 1.0, 0.1, 2000.0, "V",
          "voltage of the full pack; the pack's unless given"),
    F_NUM("drop_max_pct", bind_circuit, c.drop_limit, 0.01, 0.0001, 50.0, "%",
          "largest drop that is wanted"),
    F_NUM("short_ka", bind_circuit, short_ka, 1e3, 0.001, 1e4, "kA",
          "prospective short circuit, where you know it"),
    F_NUM("out_mohm", bind_circuit, out, 1e-3, 0.0, 1e5, "mohm",
          "from the busbar to the fault"),
    F_END};

static const bind_class circuit_class;

static void circuit_defaults (void *spec) {
  bind_circuit *s = spec;
  s->c = amp_circuit_defaults();
  s->at_v = s->short_ka = s->out = s->need = NO;
}

/* The object under 'key', or NULL. It stays in the keys. */
static void *part (lua_State *L, int keys, const char *key, const char *who) {
  void *p = NULL;
  if (bind_get(L, keys, key)) {
    lua_pushfstring(L, "%s: %s", who, key);
    p = bind_check(L, -2, key, lua_tostring(L, -1));
    lua_pop(L, 2);
  }
  return p;
}

static void take_inverter (const bind_inverter *i, bind_circuit *s) {
  if (!amp_given(s->at_v) && i->c.v_min > 0.0) {
    s->at_v = i->c.v_min;
    s->at_v_assumed = true;
  }
  if (!amp_given(s->at_v))
    return;
  if (!amp_given(s->c.current) && i->c.power > 0.0)
    amp_design_current(i->c.power, i->c.efficiency, s->at_v, &s->c.current,
                       NULL);
  if (!amp_given(s->c.surge) && i->surge > 0.0)
    amp_design_current(i->surge, i->c.efficiency, s->at_v, &s->c.surge, NULL);
}

static void take_fuse (const bind_fuse *f, bind_circuit *s) {
  s->c.fuse = f->rating;
  s->c.fuse_v = f->voltage;
  s->c.interrupt = f->interrupt;
  s->c.alternating = f->alternating;
  s->c.polarised = f->polarised;
  if (f->curve.n > 0)
    s->c.curve = &f->curve;
}

/* The cable under this circuit's current and voltage. */
static void take_cable (lua_State *L, const bind_cable *b, const char *who,
                        bind_circuit *s) {
  amp_cable c = b->c;
  amp_cable_answer a;
  amp_error err = {0};
  c.current = amp_given(s->c.current) ? s->c.current : c.current;
  c.v = amp_given(s->at_v) ? s->at_v : c.v;
  c.carry = amp_given(s->c.fuse) ? s->c.fuse : c.carry;
  if (amp_cable_answer_of(&c, &a, &err) != AMP_OK)
    bind_raise(L, &circuit_class, who, &err);
  s->c.ampacity = a.ampacity;
  s->c.drop = a.share;
  if (!amp_given(s->c.drop_limit))
    s->c.drop_limit = c.drop_limit;
  if (!amp_given(s->c.current))
    s->c.current = c.current;
}

static void take_pack (lua_State *L, const bind_pack *p, const char *who,
                       bind_circuit *s) {
  double full = NO;
  amp_error err = {0};
  if (full_voltage(p, &full, &err) != AMP_OK)
    bind_raise(L, &circuit_class, who, &err);
  if (!amp_given(s->c.v_full) && full > 2000.0)
    bind_error(L, NULL,
               "%s: the full pack stands at %s V; above 2000 V nothing is "
               "looked at",
               who, bind_push_number(L, full));
  if (!amp_given(s->c.v_full))
    s->c.v_full = full;
  if (!s->short_given && amp_short_of_build(&p->build, s->c.v_full, s->out,
                                            &s->s, NULL) == AMP_OK)
    s->c.prospective = &s->s;
}

static void circuit_finish (lua_State *L, int keys, void *spec) {
  bind_circuit *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &circuit_class, keys);
  const bind_fuse *fuse = part(L, keys, "fuse", who);
  const bind_cable *cable = part(L, keys, "cable", who);
  const bind_inverter *inverter = part(L, keys, "inverter", who);
  const bind_pack *pack = part(L, keys, "pack", who);
  if (amp_given(s->short_ka)) { /* the user's own figure is the whole range */
    s->short_given = true;
    s->s = (amp_short){s->short_ka, NO, s->short_ka, NO, NO, 1, false};
    s->c.prospective = &s->s;
  }
  if (inverter != NULL)
    take_inverter(inverter, s);
  if (fuse != NULL)
    take_fuse(fuse, s);
  if (cable != NULL)
    take_cable(L, cable, who, s);
  if (pack != NULL)
    take_pack(L, pack, who, s);
  s->need = AMP_FUSE_FACTOR * s->c.current;
  if (amp_circuit_look(&s->c, &s->f, &err) != AMP_OK)
    bind_raise(L, &circuit_class, who, &err);
}

static void circuit_tell (lua_State *L, const void *spec) {
  const bind_circuit *s = spec;
  if (s->at_v_assumed && amp_given(s->c.current))
    bind_say(L, "at_v: the inverter's v_min, where the current is largest");
}

BIND_READ(circuit, current_a, s->c.current)
BIND_READ(circuit, surge_a, s->c.surge)
BIND_READ(circuit, v_full, s->c.v_full)
BIND_READ(circuit, fuse_least_a, s->need)
BIND_READ(circuit, fuse_next_a, amp_fuse_next(s->need))
BIND_READ(circuit, drop_pct, s->c.drop * 100.0)

static const luaL_Reg circuit_methods[] = {
    {"get_current_a", circuit_current_a},
    {"get_surge_a", circuit_surge_a},
    {"get_v_full", circuit_v_full},
    {"get_fuse_least_a", circuit_fuse_least_a},
    {"get_fuse_next_a", circuit_fuse_next_a},
    {"get_drop_pct", circuit_drop_pct},
    {NULL, NULL}};

static const bind_class circuit_class = {
    "circuit",
    "circuit",
    "the main circuit: what is put together, held against each other",
    circuit_fields,
    sizeof(bind_circuit),
    circuit_defaults,
    circuit_finish,
    circuit_tell,
    NULL,
    circuit_methods};

/* core.circuit_raw(circuit) --> {findings = {{id, unknown, text, value,
** limit}, ..}, checked, ..} */
static int circuit_raw (lua_State *L) {
  const bind_circuit *s = bind_check(L, 1, "circuit", "circuit");
  lua_newtable(L);
  bind_put(L, "checked", s->f.checked);
  bind_put(L, "current_a", s->c.current);
  bind_put(L, "surge_a", s->c.surge);
  bind_put(L, "fuse_least_a", s->need);
  bind_put(L, "fuse_next_a", amp_fuse_next(s->need));
  bind_put(L, "v_full", s->c.v_full);
  bind_put(L, "at_v", s->at_v);
  bind_put(L, "drop_pct", s->c.drop * 100.0);
  bind_put(L, "ampacity_a", s->c.ampacity);
  bind_put(L, "fuse_a", s->c.fuse);
  bind_put(L, "interrupt_ka", s->c.interrupt / 1e3);
  if (s->c.prospective != NULL)
    put_short(L, s->c.prospective);
  lua_createtable(L, s->f.n, 0);
  for (int i = 0; i < s->f.n; i++) {
    const amp_finding *f = &s->f.row[i];
    lua_newtable(L);
    bind_put_text(L, "id", f->id);
    bind_put_text(L, "text", f->say.text);
    bind_put_flag(L, "unknown", f->unknown);
    bind_put(L, "value", f->value);
    bind_put(L, "limit", f->limit);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "findings");
  return 1;
}

/* ---- pre-charge ---- */

static const bind_field precharge_fields[] = {
    F_TEXT("name", bind_precharge, name, "what to call it"),
    F_NUM("v", bind_precharge, p.v, 1.0, 0.1, 2000.0, "V",
          "voltage of the full pack"),
    F_NUM("capacitance_uf", bind_precharge, p.c, 1e-6, 0.001, 1e8, "uF",
          "all that hangs on the bus"),
    F_NUM_OF("current_a", bind_precharge, p.current, 1.0, 1e-6, 1e5, "A", 1,
             "first current that is wanted"),
    F_NUM_OF("r_ohm", bind_precharge, p.r, 1.0, 1e-6, 1e9, "ohm", 1,
             "resistor that you have"),
    F_NUM_OF("time_s", bind_precharge, p.fill_time, 1.0, 1e-6, 1e6, "s", 1,
             "time until it is done"),
    F_NUM("done_pct", bind_precharge, p.done, 0.01, 1.0, 99.99999, "%",
          "of the voltage, that counts as done; five time constants (99.3) "
          "unless given"),
    F_NUM_OF("load_ohm", bind_precharge, p.load, 1.0, 1e-6, 1e12, "ohm", 2,
             "load that was left on"),
    F_NUM_OF("load_w", bind_precharge, load_w, 1.0, 1e-6, 1e7, "W", 2,
             "the same, as what it draws at the full voltage"),
    F_NUM("loop_mohm", bind_precharge, p.loop, 1e-3, 0.001, 1e6, "mohm",
          "of pack, leads and capacitor, once the contactor closes"),
    F_NUM("bleed_ohm", bind_precharge, p.bleed, 1.0, 0.001, 1e9, "ohm",
          "across the capacitor, when off"),
    F_NUM("bleed_to_v", bind_precharge, p.bleed_to, 1.0, 0.001, 2000.0, "V",
          "voltage to which that must come down; 60 or half unless given"),
    F_NUM("resistor_w", bind_precharge, rated_w, 1.0, 0.001, 1e6, "W",
          "what the resistor's sheet tells for lasting power"),
    F_NUM("resistor_j", bind_precharge, rated_j, 1.0, 0.001, 1e9, "J",
          "what its sheet tells for one pulse"),
    F_END};

static const bind_class precharge_class;

static void precharge_defaults (void *spec) {
  bind_precharge *s = spec;
  s->p = amp_precharge_defaults();
  s->load_w = s->rated_w = s->rated_j = NO;
}

static void precharge_finish (lua_State *L, int keys, void *spec) {
  bind_precharge *s = spec;
  amp_precharge *p = &s->p;
  amp_error err = {0};
  const char *who = bind_who(L, &precharge_class, keys);
  if (!amp_given(p->v) || !amp_given(p->c))
    bind_error(L, NULL, "%s: %s is wanted", who,
               amp_given(p->v) ? "capacitance_uf" : "v");
  if (amp_given(p->current) + amp_given(p->r) + amp_given(p->fill_time) == 0)
    bind_error(L, NULL, "%s: one of current_a, r_ohm and time_s is wanted",
               who);
  if (amp_given(s->load_w))
    p->load = p->v * p->v / s->load_w;
  if (amp_given(p->bleed) && !amp_given(p->bleed_to))
    p->bleed_to = p->v > 60.0 ? 60.0 : 0.5 * p->v;
  if (amp_precharge_answer_of(p, &s->a, &err) != AMP_OK)
    bind_raise(L, &precharge_class, who, &err);
}

static void precharge_tell (lua_State *L, const void *spec) {
  const bind_precharge *s = spec;
  if (!amp_given(s->p.done))
    bind_say(L, "done_pct: 99.3, five time constants");
  if (!amp_given(s->p.load))
    bind_say(L, "load_ohm: nothing is on while it fills");
  if (amp_given(s->load_w))
    bind_say(L, "load_w: taken as a resistance; a converter that starts "
                "meanwhile draws more");
}

BIND_READ(precharge, r_ohm, s->a.r)
BIND_READ(precharge, current_a, s->a.current)
BIND_READ(precharge, time_s, s->a.time)
BIND_READ(precharge, tau_s, s->a.tau)
BIND_READ(precharge, energy_j, s->a.energy)
BIND_READ(precharge, peak_w, s->a.peak)
BIND_READ(precharge, t95_s, s->a.t95)
BIND_READ(precharge, t99_s, s->a.t99)
BIND_READ(precharge, within_1v_s, s->a.t_within_1v)
BIND_READ(precharge, end_v, s->a.v_end)
BIND_READ(precharge, left_v, s->a.left)
BIND_READ(precharge, standing_w, s->a.standing)
BIND_READ(precharge, closing_a, s->a.closing)
BIND_READ(precharge, bare_a, s->a.bare)
BIND_READ(precharge, bleed_s, s->a.bleed_time)
BIND_READ(precharge, bleed_w, s->a.bleed_power)

static int precharge_completes (lua_State *L) {
  const bind_precharge *s = bind_check(L, 1, "precharge", "completes");
  lua_pushboolean(L, s->a.completes);
  return 1;
}

/* precharge:at_s(0.5) --> V of the bus, A, J in the resistor so far; without
** a load */
static int precharge_at (lua_State *L) {
  const bind_precharge *s = bind_check(L, 1, "precharge", "at_s");
  double v, i, e,
      t = lua_type(L, 2) == LUA_TNUMBER ? lua_tonumber(L, 2) : NAN;
  if (!(t >= 0.0 && t <= 1e9))
    return bind_error(L, NULL, "at_s: seconds are wanted");
  if (amp_given(s->p.load)) {
    lua_pushnil(L);
    lua_pushliteral(L, "told without a load alone");
    return 2;
  }
  amp_precharge_at(s->p.v, s->a.r, s->p.c, t, &v, &i, &e);
  lua_pushnumber(L, v);
  lua_pushnumber(L, i);
  lua_pushnumber(L, e);
  return 3;
}

static const luaL_Reg precharge_methods[] = {
    {"at_s", precharge_at},
    {"get_r_ohm", precharge_r_ohm},
    {"get_current_a", precharge_current_a},
    {"get_time_s", precharge_time_s},
    {"get_tau_s", precharge_tau_s},
    {"get_energy_j", precharge_energy_j},
    {"get_peak_w", precharge_peak_w},
    {"get_t95_s", precharge_t95_s},
    {"get_t99_s", precharge_t99_s},
    {"get_within_1v_s", precharge_within_1v_s},
    {"get_end_v", precharge_end_v},
    {"get_left_v", precharge_left_v},
    {"get_completes", precharge_completes},
    {"get_standing_w", precharge_standing_w},
    {"get_closing_a", precharge_closing_a},
    {"get_bare_a", precharge_bare_a},
    {"get_bleed_s", precharge_bleed_s},
    {"get_bleed_w", precharge_bleed_w},
    {NULL, NULL}};

static const bind_class precharge_class = {
    "precharge",
    "precharge",
    "filling the capacitors of an inverter before the contactor closes",
    precharge_fields,
    sizeof(bind_precharge),
    precharge_defaults,
    precharge_finish,
    precharge_tell,
    NULL,
    precharge_methods};

/* ---- isolation and balancing ---- */

typedef struct bind_isolation {
  char name[64];
  double v, side, loaded, across; /* V, V, V, ohm */
  double ri, per_v;
} bind_isolation;

static const bind_field isolation_fields[] = {
    F_TEXT("name", bind_isolation, name, "what to call it"),
    F_NUM("v", bind_isolation, v, 1.0, 1.0, 2000.0, "V",
          "voltage of the pack"),
    F_NUM("side_v", bind_isolation, side, 1.0, 0.0, 2000.0, "V",
          "from the frame to the side that reads more"),
    F_NUM("side_loaded_v", bind_isolation, loaded, 1.0, 0.001, 2000.0, "V",
          "the same side with the resistor across it"),
    F_NUM("across_kohm", bind_isolation, across, 1e3, 0.001, 1e6, "kohm",
          "that resistor"),
    F_END};

static const bind_class isolation_class;

static void isolation_defaults (void *spec) {
  bind_isolation *s = spec;
  s->v = s->side = s->loaded = s->across = NO;
}

static void isolation_finish (lua_State *L, int keys, void *spec) {
  bind_isolation *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &isolation_class, keys);
  const char *wanted = !amp_given(s->v)        ? "v"
                       : !amp_given(s->side)   ? "side_v"
                       : !amp_given(s->loaded) ? "side_loaded_v"
                       : !amp_given(s->across) ? "across_kohm"
                                               : NULL;
  if (wanted != NULL)
    bind_error(L, NULL, "%s: %s is wanted", who, wanted);
  if (amp_isolation(s->v, s->side, s->loaded, s->across, &s->ri, &s->per_v,
                    &err) != AMP_OK)
    bind_raise(L, &isolation_class, who, &err);
}

BIND_READ(isolation, kohm, s->ri / 1e3)
BIND_READ(isolation, ohm_per_v, s->per_v)

static const luaL_Reg isolation_methods[] = {
    {"get_kohm", isolation_kohm},
    {"get_ohm_per_v", isolation_ohm_per_v},
    {NULL, NULL}};

static const bind_class isolation_class = {
    "isolation",
    "isolation",
    "isolation of a pack from its frame by two readings of a voltmeter",
    isolation_fields,
    sizeof(bind_isolation),
    isolation_defaults,
    isolation_finish,
    NULL,
    NULL,
    isolation_methods};

typedef struct bind_balancing {
  char name[64];
  double charge, spread, capacity, current, share, time;
} bind_balancing;

static const bind_field balancing_fields[] = {
    F_TEXT("name", bind_balancing, name, "what to call it"),
    F_NUM("ah", bind_balancing, charge, 3600.0, 0.0, 5000.0, "Ah",
          "charge that the fullest group must lose"),
    F_NUM("spread_pct", bind_balancing, spread, 0.01, 0.0, 100.0, "%",
          "in place of ah: how far fullest and emptiest are apart"),
    F_NUM("capacity_ah", bind_balancing, capacity, 3600.0, 0.1, 5000.0, "Ah",
          "of a group, with spread_pct"),
    F_NUM("balance_a", bind_balancing, current, 1.0, 1e-6, 1e4, "A",
          "current of the balancer"),
    F_NUM("on_pct", bind_balancing, share, 0.01, 0.0001, 100.0, "%",
          "of the time that it works; all of it unless given"),
    F_END};

static const bind_class balancing_class;

static void balancing_defaults (void *spec) {
  bind_balancing *s = spec;
  s->charge = s->spread = s->capacity = s->current = NO;
  s->share = 1.0;
}

static void balancing_finish (lua_State *L, int keys, void *spec) {
  bind_balancing *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &balancing_class, keys);
  if (!amp_given(s->charge))
    s->charge = s->spread * s->capacity;
  if (!amp_given(s->charge) || !amp_given(s->current))
    bind_error(L, NULL, "%s: %s is wanted", who,
               amp_given(s->charge) ? "balance_a"
                                    : "ah, or spread_pct and capacity_ah,");
  if (amp_balance_time(s->charge, s->current, s->share, &s->time, &err) !=
      AMP_OK)
    bind_raise(L, &balancing_class, who, &err);
}

static void balancing_tell (lua_State *L, const void *spec) {
  if (((const bind_balancing *)spec)->share == 1.0)
    bind_say(L, "on_pct: 100, as if it worked all the time");
}

BIND_READ(balancing, hours, s->time / 3600.0)

static const luaL_Reg balancing_methods[] = {{"get_hours", balancing_hours},
                                             {NULL, NULL}};

static const bind_class balancing_class = {
    "balancing",
    "balancing",
    "how long a balancer works on a spread of charge",
    balancing_fields,
    sizeof(bind_balancing),
    balancing_defaults,
    balancing_finish,
    balancing_tell,
    NULL,
    balancing_methods};

static const luaL_Reg functions[] = {
    {"short_raw", short_raw}, {"circuit_raw", circuit_raw}, {NULL, NULL}};

void bind_protect_open (lua_State *L) {
  bind_class_open(L, &fuse_class);
  bind_class_open(L, &circuit_class);
  bind_class_open(L, &precharge_class);
  bind_class_open(L, &isolation_class);
  bind_class_open(L, &balancing_class);
  luaL_setfuncs(L, functions, 0);
}
