/*
** bind_pack.c -- a pack: its keys, the part of the charge that is used, wiring
** and balancing. Its other files: bind_pack_parts.h.
*/
#include "bind_pack_parts.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const bind_field pack_fields[] = {
    F_TEXT("name", bind_pack, name, "what to call it"),
    F_ELSE_OF("module", BIND_OBJECT, 1.0, 0.0, 0.0, "", 1,
              "amp.module{} it is made of; or a list of series * parallel of "
              "them, string by string"),
    F_ELSE_OF("strings", BIND_LIST, 1.0, 0.0, 0.0, "", 1,
              "the modules of each string in their order: {{m1, m2}, {m3, "
              "m4}}; parallel first, false where one is missing"),
    F_WHOLE("series", bind_pack, series, 1, 500, "modules in a string"),
    F_WHOLE("parallel", bind_pack, parallel, 1, 1000, "strings"),
    F_ELSE("order", BIND_CHOICE, "string_first parallel_first",
           "strings in parallel, or paralleled modules in series"),
    F_NUM("soc_min_pct", bind_pack, soc_min, 0.01, 0.0, 100.0, "%",
          "lowest charge that will be used; the module's unless given"),
    F_NUM("soc_max_pct", bind_pack, soc_max, 0.01, 0.0, 100.0, "%",
          "highest charge that will be used; the module's unless given"),
    F_NUM("cell_v_min", bind_pack, cell_v_min, 1.0, 0.5, 10.0, "V",
          "lowest voltage of a cell that will be used"),
    F_NUM("cell_v_max", bind_pack, cell_v_max, 1.0, 0.5, 10.0, "V",
          "highest voltage of a cell that will be used"),
    F_NUM("link_mohm", bind_pack, link, 1e-3, 0.0, 1000.0, "mohm",
          "from one module to the next, with both its joints"),
    F_NUM("lead_mohm", bind_pack, lead, 1e-3, 0.0, 1000.0, "mohm",
          "both leads of a string together, with joints; parallel first: of "
          "a module to the bars of its level"),
    F_NUM("bleed_a", bind_pack, bleed, 1.0, 0.0, 100.0, "A",
          "passive balancing: what is bled from a group"),
    F_NUM("bleed_above_v", bind_pack, v_bleed, 1.0, 0.5, 10.0, "V",
          "voltage of a group above which it is bled"),
    F_NUM("bleed_band_v", bind_pack, bleed_band, 1.0, 0.0, 1.0, "V",
          "as far as a group must stand above the lowest to be bled; 0.005 "
          "unless given"),
    F_ELSE("string_fuse", BIND_LIST, "",
           "a fuse in each string: {rating_a = 125, time_s = 60} or "
           "{curve = {{a, s}, ..}}; parallel first: in each module"),
    F_ELSE("current_limits", BIND_LIST, "",
           "C-rate by temperature: lfp_prismatic, lfp_small, lithium, or "
           "{charge = {{temp_c, c_rate}, ..}, discharge = {..}}; straight "
           "between the points, no current colder or warmer than they go"),
    F_FLAG("entropic_heat", bind_pack, entropic,
           "true: count heat that comes and goes with charge"),
    F_NUM("cooling_w_per_k", bind_pack, cooling, 1.0, 0.0, 10000.0, "W/K",
          "of a module to the surroundings; by its mass unless given"),
    F_NUM("coolant_l_min", bind_pack, coolant_flow, 1.0, 0.0, 1000.0, "l/min",
          "coolant past a module"),
    F_TEMPS("coolant", bind_pack, coolant_temp, -40.0, 90.0, 11,
            "temperature of the coolant at the inlet"),
    F_NUM("coolant_w_per_k", bind_pack, coolant_wall, 1.0, 0.0, 10000.0,
          "W/K", "of a module to the coolant through plate and wall"),
    F_FLAG("glycol", bind_pack, glycol,
           "true: half glycol, half water by volume; else water"),
    F_NUM("heater_w", bind_pack, heater.power, 1.0, 0.0, 100000.0, "W",
          "heater of the whole pack"),
    F_TEMPS_AS("heater_on", bind_pack, heater.on, "heater_on", -60.0, 60.0,
               12,
               "it goes on where the coldest module is this cold; 5 C unless "
               "given"),
    F_TEMPS_AS("heater_off", bind_pack, heater.off, "heater_off", -60.0, 60.0,
               13,
               "and off where that is this warm; 5 C above heater_on unless "
               "given"),
    F_ELSE("heater_from", BIND_CHOICE, "pack outside",
           "what feeds the heater; pack unless given"),
    F_END};

static void pack_defaults (void *spec) {
  bind_pack *s = spec;
  s->soc_min = s->soc_max = s->cell_v_min = s->cell_v_max = NAN;
  s->string_first = true;
  s->bleed_band = 0.005;
  s->cooling = s->heater.on = s->heater.off = NAN;
  s->coolant_temp = NAN;
  s->v_bleed = NAN;
}

amp_status bind_pack_window_in (const bind_pack *s, const amp_converter *c,
                                double v_abs_max, amp_window *w,
                                amp_error *err) {
  amp_module m = s->module->m;
  amp_module_rewindow(&m, s->soc_min, s->soc_max, s->cell_v_min,
                      s->cell_v_max);
  return amp_window_of(m.chemistry, amp_build_groups(&s->build), m.soc_min,
                       m.soc_max, m.cell_v_min, m.cell_v_max,
                       c != NULL ? c->v_min : 0.0, c != NULL ? c->v_max : 0.0,
                       v_abs_max, w, err);
}

amp_status bind_pack_window (const bind_pack *s, amp_window *w,
                             amp_error *err) {
  return bind_pack_window_in(s, NULL, 0.0, w, err);
}

/* A window that is refused: ends the wrong way round are told as given. */
void bind_pack_raise_window (lua_State *L, const char *who,
                             const bind_pack *s, const amp_error *err) {
  amp_module m = s->module->m;
  amp_module_rewindow(&m, s->soc_min, s->soc_max, s->cell_v_min,
                      s->cell_v_max);
  const char *what = m.cell_v_min >= m.cell_v_max ? "cell_v_min"
                     : m.soc_min >= m.soc_max     ? "soc_min_pct"
                                                  : NULL;
  if (what == NULL)
    bind_raise(L, &bind_pack_class, who, err);
  bool volts = m.cell_v_min >= m.cell_v_max;
  bind_push_number(L, volts ? m.cell_v_min : m.soc_min * 100.0);
  bind_push_number(L, volts ? m.cell_v_max : m.soc_max * 100.0);
  bind_error(L, NULL, "%s: %s must lie below %s (got %s and %s)", who, what,
             volts ? "cell_v_max" : "soc_max_pct", lua_tostring(L, -2),
             lua_tostring(L, -1));
}

static void read_order (lua_State *L, int keys, const char *who,
                        bind_pack *s) {
  if (!bind_get(L, keys, "order"))
    return;
  const char *o = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  s->string_first = strcmp(o, "string_first") == 0;
  if (!s->string_first && strcmp(o, "parallel_first") != 0)
    bind_error(L, NULL,
               "%s: order must be \"string_first\" or "
               "\"parallel_first\" (got '%s')",
               who, o);
  lua_pop(L, 1);
}

static void read_wiring (lua_State *L, const char *who, bind_pack *s) {
  if (s->bleed > 0.0 && s->v_bleed != s->v_bleed)
    bind_error(L, NULL, "%s: bleed_a wants bleed_above_v", who);
  s->build.link = s->link;
  s->build.lead = s->lead;
  s->build.bleed = s->bleed;
  s->build.v_bleed = s->bleed > 0.0 ? s->v_bleed : 0.0;
  s->build.bleed_band = s->bleed_band;
}

bool bind_pack_bare (const bind_pack *p) {
  const amp_build *b = &p->build;
  return p->even && b->trip == NULL && b->rates == NULL && !b->entropic &&
         b->link == 0.0 && b->lead == 0.0 && b->bleed == 0.0 &&
         b->cooling != b->cooling && b->coolant == 0.0 &&
         b->heater.power == 0.0;
}

amp_status bind_pack_build (const bind_pack *p, const amp_window *w,
                            amp_pack *out, amp_place *place, amp_error *err) {
  return amp_build_pack(&p->build, w, 1.0, out, place, err);
}

static void pack_finish (lua_State *L, int keys, void *spec) {
  bind_pack *s = spec;
  amp_window w;
  amp_error err = {0};
  const char *who = bind_who(L, &bind_pack_class, keys);
  read_order(L, keys, who, s);
  bind_pack_read_modules(L, keys, who, s);
  read_wiring(L, who, s);
  bind_pack_read_fitted(L, keys, who, s);
  if (bind_pack_window_in(s, NULL, 0.0, &w, &err) != AMP_OK)
    bind_pack_raise_window(L, who, s, &err);
}

static void pack_tell (lua_State *L, const void *spec) {
  const bind_pack *s = spec;
  amp_window w;
  char line[160], v[40];
  if (bind_pack_window_in(s, NULL, 0.0, &w, NULL) != AMP_OK)
    return;
  if (w.assumed_low) {
    amp_format_double(w.soc_min * 100.0, 3, v);
    snprintf(line, sizeof line,
             "soc_min_pct: %s %% by the chemistry's daily limit, assumed", v);
    bind_say(L, line);
  }
  if (w.assumed_high) {
    amp_format_double(w.soc_max * 100.0, 3, v);
    snprintf(line, sizeof line,
             "soc_max_pct: %s %% by the chemistry's daily limit, assumed", v);
    bind_say(L, line);
  }
}

const bind_class bind_pack_class = {
    "pack",
    "pack",
    "modules joined into strings, strings into a pack",
    pack_fields,
    sizeof(bind_pack),
    pack_defaults,
    pack_finish,
    pack_tell,
    NULL,
    bind_pack_methods};

void bind_pack_open (lua_State *L) {
  bind_class_open(L, &bind_pack_class);
  luaL_getmetatable(L, BIND_OBJECT_OF "pack");
  lua_pushcfunction(L, bind_pack_sums);
  lua_setfield(L, -2, "__sums");
  lua_pop(L, 1);
}
