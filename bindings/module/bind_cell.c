/*
** bind_cell.c -- one cell: from a label, from one measured resistance, or
** fitted to logged tests. What a fit found is an object of its own ("fit"),
** which the cell keeps under that key: a cell at another level is a copy
** that shares it.
**
** core.fit{ chemistry, capacity_ah, pulses, slow, .. } --> fit
** core.cell{ fit = f, level = "simple" } --> cell
** core.cell_facts(cell) --> what print(cell) is made from, see below
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- what a fit found ---- */

static const bind_field fit_fields[] = {
    F_TEXT("name", bind_fit, name, "what to call the cell"),
    F_ELSE("chemistry", BIND_OBJECT, "", "a name or amp.chemistry{}"),
    F_NUM("capacity_ah", bind_fit, in.capacity, 3600.0, 0.01, 5000.0, "Ah",
          "on the label: for C-rates, and to judge the logs by"),
    F_ELSE("pulses", BIND_LIST, "",
           "a log of pulses and rests, or a list of them, each at one "
           "temperature"),
    F_ELSE("slow", BIND_OBJECT, "",
           "a log of a slow discharge (and charge), for the rest voltage"),
    F_NUM("mass_kg", bind_fit, in.mass, 1.0, 0.001, 100.0, "kg",
          "mass of one cell, for its own heat"),
    {"simple_only", BIND_FLAG, offsetof(bind_fit, in.simple_only), 1.0, 0.0,
     0.0, 0.0, "", "simple_only", 0,
     "true: leave out the detailed level, which takes longest"},
    F_END};

static const bind_class fit_class;

static const bind_log *read_log (lua_State *L, const char *who) {
  const bind_log *g = bind_check(L, -1, "log", who);
  return g;
}

static void add_pulse (lua_State *L, bind_fit *s) {
  char who[40];
  int i = s->in.pulses;
  if (i == AMP_FIT_LOGS)
    bind_error(L, NULL, "fit: pulses holds at most %d logs", AMP_FIT_LOGS);
  snprintf(who, sizeof who, "fit: pulses[%d]", i + 1);
  const bind_log *g = read_log(L, who);
  s->in.pulse[i] = &g->log;
  s->in.pulse_name[i] = g->name[0] != '\0' ? g->name : NULL;
  s->in.pulses++;
}

static void read_pulses (lua_State *L, int keys, bind_fit *s) {
  if (!bind_get(L, keys, "pulses"))
    return;
  if (!lua_istable(L, -1))
    add_pulse(L, s);
  else
    for (int i = 1; i <= (int)lua_rawlen(L, -1); i++) {
      lua_rawgeti(L, -1, i);
      add_pulse(L, s);
      lua_pop(L, 1);
    }
  lua_pop(L, 1);
}

/* 'fit: pulses[2] "pulse_10degC.csv": no pulse in it' */
static int fit_failed (lua_State *L, const bind_fit *s, const char *who,
                       const amp_error *err) {
  char where[160];
  size_t i = err->line;
  if (i < 1 || i > (size_t)s->in.pulses || err->status != AMP_EDATA)
    return bind_raise(L, &fit_class, who, err);
  const char *name = s->in.pulse_name[i - 1];
  snprintf(where, sizeof where, "%s: pulses[%zu]%s%s%s", who, i,
           name != NULL ? " \"" : "", name != NULL ? name : "",
           name != NULL ? "\"" : "");
  bind_push_error(L, NULL, where, err);
  return bind_error(L, "data", "%s", lua_tostring(L, -1));
}

static void fit_finish (lua_State *L, int keys, void *spec) {
  bind_fit *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &fit_class, keys);
  if (!bind_get(L, keys, "chemistry"))
    bind_error(L, NULL, "%s: chemistry is wanted", who);
  s->in.chemistry = bind_chemistry_at(L, -1, who);
  lua_pop(L, 1);
  if (!(s->in.capacity > 0.0))
    bind_error(L, NULL, "%s: capacity_ah is wanted, the label's", who);
  read_pulses(L, keys, s);
  if (bind_get(L, keys, "slow")) {
    s->in.slow = &read_log(L, "fit: slow")->log;
    lua_pop(L, 1);
  }
  if (s->in.pulses == 0)
    bind_error(L, NULL, "%s: pulses is wanted, a log or a list of logs", who);
  s->ctx = bind_context(L);
  s->f = amp_alloc(s->ctx, sizeof *s->f);
  if (s->f == NULL)
    bind_error(L, "memory", "%s: no memory", who);
  bind_enter(L);
  amp_status st = amp_fit_cell(s->ctx, &s->in, s->f, &err);
  bind_rethrow(L);
  if (st != AMP_OK)
    fit_failed(L, s, who, &err);
}

static void fit_free (lua_State *L, void *spec) {
  bind_fit *s = spec;
  (void)L;
  if (s->f != NULL)
    amp_free(s->ctx, s->f, sizeof *s->f);
  s->f = NULL;
}

static const bind_class fit_class = {
    "fit",
    "fit",
    "a cell fitted to logged tests: gives a cell, which holds both levels",
    fit_fields,
    sizeof(bind_fit),
    NULL,
    fit_finish,
    NULL,
    fit_free,
    NULL};

/* ---- cell ---- */

static const bind_field cell_fields[] = {
    F_TEXT("name", bind_cell, name, "what to call it"),
    F_ELSE("chemistry", BIND_OBJECT, "", "a name or amp.chemistry{}"),
    F_NUM("capacity_ah", bind_cell, c.capacity, 3600.0, 0.01, 5000.0, "Ah",
          "charge between full and empty at 25 C"),
    F_NUM_OF("r10s_mohm", bind_cell, r10s, 1e-3, 0.001, 1000.0, "mohm", 1,
             "measured by a pulse of 10 s at half charge, 25 C; the others "
             "are then shares of it"),
    F_NUM_OF("r0_mohm", bind_cell, c.r0, 1e-3, 0.0, 1000.0, "mohm", 1,
             "ohmic resistance at half charge, 25 C"),
    F_NUM("r1_mohm", bind_cell, c.r1, 1e-3, 0.0, 1000.0, "mohm",
          "resistance of the fast pair"),
    F_NUM("tau1_s", bind_cell, c.tau1, 1.0, 0.01, 1e5, "s",
          "time constant of the fast pair"),
    F_NUM("r2_mohm", bind_cell, c.r2, 1e-3, 0.0, 1000.0, "mohm",
          "resistance of the slow pair"),
    F_NUM("tau2_s", bind_cell, c.tau2, 1.0, 0.01, 1e6, "s",
          "time constant of the slow pair"),
    F_NUM("mass_kg", bind_cell, c.mass, 1.0, 0.001, 100.0, "kg",
          "mass of one cell"),
    F_ELSE("fit", BIND_OBJECT, "", "what amp.fit{} found; it puts it here"),
    F_ELSE("level", BIND_CHOICE, "simple detailed",
           "resistance and two RC pairs, or kinetics and diffusion, which a "
           "fit alone knows; a fit's cell is detailed unless said"),
    F_END};

static const bind_class cell_class;

static void cell_defaults (void *spec) {
  ((bind_cell *)spec)->c = amp_cell_defaults();
}

/* Keys that say the same as another one in a different way. */
static void refuse_with (lua_State *L, int keys, const char *who,
                         const char *key, const char *const *others) {
  for (int i = 0; others[i] != NULL; i++)
    if (bind_get(L, keys, others[i]))
      bind_error(L, NULL, "%s: %s comes with %s: give one of them", who,
                 others[i], key);
}

static const char *const pairs[] = {"r1_mohm", "tau1_s", "r2_mohm", "tau2_s",
                                    NULL};
static const char *const fitted[] = {"chemistry", "r10s_mohm", "r0_mohm",
                                     "r1_mohm",   "tau1_s",    "r2_mohm",
                                     "tau2_s",    NULL};

/* The simple level as fitted, at the capacity and mass given here. */
static void from_fit (lua_State *L, int keys, const char *who, bind_cell *s) {
  double capacity = s->c.capacity, mass = s->c.mass;
  s->fit = bind_check(L, -1, "fit", "cell: fit");
  refuse_with(L, keys, who, "fit", fitted);
  s->chemistry = &s->fit->f->chemistry;
  s->c = s->fit->f->simple;
  s->detailed = s->fit->f->has_detailed;
  if (capacity > 0.0)
    s->c.capacity = capacity;
  if (mass > 0.0)
    s->c.mass = mass;
}

static void from_label (lua_State *L, int keys, const char *who,
                        bind_cell *s) {
  double mass = s->c.mass;
  if (!bind_get(L, keys, "chemistry"))
    bind_error(L, NULL, "%s: chemistry is wanted", who);
  s->chemistry = bind_chemistry_at(L, -1, who);
  lua_pop(L, 1);
  if (!(s->r10s > 0.0))
    return;
  refuse_with(L, keys, who, "r10s_mohm", pairs);
  s->c = amp_cell_from_r10s(s->c.capacity, s->r10s);
  s->c.mass = mass;
}

static void read_level (lua_State *L, int keys, const char *who,
                        bind_cell *s) {
  if (!bind_get(L, keys, "level"))
    return;
  const char *word =
      lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  if (strcmp(word, "simple") != 0 && strcmp(word, "detailed") != 0)
    bind_error(L, NULL, "%s: level must be \"simple\" or \"detailed\"", who);
  bool detailed = word[0] == 'd';
  if (detailed && s->fit == NULL)
    bind_error(L, NULL,
               "%s: level \"detailed\" wants amp.fit{}: a label says nothing "
               "of kinetics and diffusion",
               who);
  if (detailed && !s->fit->f->has_detailed)
    bind_error(L, NULL,
               "%s: the fit has no detailed level (simple_only = true)", who);
  s->detailed = detailed;
  lua_pop(L, 1);
}

static void cell_finish (lua_State *L, int keys, void *spec) {
  bind_cell *s = spec;
  const char *who = bind_who(L, &cell_class, keys);
  amp_error err = {0};
  if (bind_get(L, keys, "fit")) {
    from_fit(L, keys, who, s);
    lua_pop(L, 1);
  } else
    from_label(L, keys, who, s);
  read_level(L, keys, who, s);
  if (amp_cell_check(&s->c, &err) != AMP_OK)
    bind_raise(L, &cell_class, who, &err);
}

/* ---- reading ---- */

static int get_capacity (lua_State *L) {
  const bind_cell *s = bind_check(L, 1, "cell", "capacity_ah");
  lua_pushnumber(L, s->c.capacity / 3600.0);
  return 1;
}

static int get_r10s (lua_State *L) {
  const bind_cell *s = bind_check(L, 1, "cell", "r10s_mohm");
  lua_pushnumber(L, amp_cell_r10s(&s->c) * 1e3);
  return 1;
}

static int get_level (lua_State *L) {
  const bind_cell *s = bind_check(L, 1, "cell", "level");
  lua_pushstring(L, s->detailed ? "detailed" : "simple");
  return 1;
}

static const luaL_Reg cell_methods[] = {{"get_capacity_ah", get_capacity},
                                        {"get_r10s_mohm", get_r10s},
                                        {"get_level", get_level},
                                        {NULL, NULL}};

static const bind_class cell_class = {
    "cell",
    "cell",
    "one cell: from its label, from one measured resistance, or fitted",
    cell_fields,
    sizeof(bind_cell),
    cell_defaults,
    cell_finish,
    NULL,
    NULL,
    cell_methods};

/* ---- what print(cell) is made from ---- */

static void push_log_facts (lua_State *L, const bind_fit *s, int i) {
  const amp_fit *f = s->f;
  lua_newtable(L);
  bind_put_text(L, "name",
                s->in.pulse_name[i] != NULL ? s->in.pulse_name[i] : "");
  bind_put(L, "capacity_ah", f->capacity_at[i] / 3600.0);
  bind_put(L, "temp_c", f->temp_at[i] - 273.15);
  bind_put(L, "simple_rmse_mv", f->rms_simple[i] * 1e3);
  bind_put(L, "simple_worst_mv", f->worst_simple[i] * 1e3);
  bind_put(L, "detailed_rmse_mv", f->rms_detailed[i] * 1e3);
  bind_put(L, "detailed_worst_mv", f->worst_detailed[i] * 1e3);
}

static void push_parameter (lua_State *L, const amp_fit_parameter *p) {
  bool ohm = strcmp(p->unit, "ohm") == 0;
  bool small = ohm || strcmp(p->unit, "V/K") == 0;
  double factor = small ? 1e3 : 1.0;
  lua_newtable(L);
  bind_put_text(L, "name", p->name);
  bind_put_text(L, "unit", ohm ? "mohm" : small ? "mV/K" : p->unit);
  bind_put_text(L, "level", p->detailed ? "detailed" : "simple");
  bind_put(L, "soc_pct", p->soc * 100.0);
  bind_put(L, "temp_c", p->temp - 273.15);
  bind_put(L, "value", p->value * factor);
  if (isfinite(p->sd))
    bind_put(L, "sd", p->sd * factor);
}

static void push_fit (lua_State *L, const bind_fit *s) {
  const amp_fit *f = s->f;
  lua_newtable(L);
  lua_newtable(L);
  for (int i = 0; i < s->in.pulses; i++) {
    push_log_facts(L, s, i);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "logs");
  lua_newtable(L);
  for (int i = 0; i < f->parameters; i++) {
    push_parameter(L, &f->parameter[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "parameters");
  lua_newtable(L);
  for (int i = 0; i < f->warnings; i++) {
    lua_pushstring(L, f->warning[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "warnings");
  bind_put(L, "offset_ma", f->current_offset * 1e3);
  bind_put_flag(L, "has_detailed", f->has_detailed);
  bind_put_flag(L, "has_slow", s->in.slow != NULL);
  bind_put(L, "label_ah", s->in.capacity / 3600.0);
}

/* Of a plain cell what stands for it. */
static void push_simple (lua_State *L, const amp_cell *c) {
  bind_put(L, "r0_mohm", c->r0 * 1e3);
  bind_put(L, "r1_mohm", c->r1 * 1e3);
  bind_put(L, "r2_mohm", c->r2 * 1e3);
  bind_put(L, "tau1_s", c->tau1);
  bind_put(L, "tau2_s", c->tau2);
  bind_put(L, "activation_k", c->r0_activation);
  bind_put(L, "shape_full", c->r0_shape[AMP_R_KNOTS - 1]);
  bind_put(L, "shape_empty", c->r0_shape[0]);
  bind_put(L, "mass_kg", c->mass > 0.0 ? c->mass : NAN);
}

/* cell_facts(cell) --> {level chemistry source capacity_ah v_min v_max
** ocv_0_v ocv_50_v ocv_100_v r10s_mohm r0_mohm .. from_r10s
** fit = {logs = {{name capacity_ah temp_c simple_rmse_mv ..}, ..},
** parameters = {{name unit level soc_pct temp_c value sd}, ..}, warnings,
** offset_ma has_detailed has_slow label_ah} or nil} */
static int cell_facts (lua_State *L) {
  const bind_cell *s = bind_check(L, 1, "cell", "cell_facts");
  const amp_chemistry *c = s->chemistry;
  lua_newtable(L);
  bind_put_text(L, "level", s->detailed ? "detailed" : "simple");
  bind_put_text(L, "chemistry", c->name);
  if (c->source != NULL)
    bind_put_text(L, "source", c->source);
  bind_put(L, "capacity_ah", s->c.capacity / 3600.0);
  bind_put(L, "v_min", c->v_min);
  bind_put(L, "v_max", c->v_max);
  bind_put(L, "ocv_0_v", amp_chemistry_ocv(c, 0.0));
  bind_put(L, "ocv_50_v", amp_chemistry_ocv(c, 0.5));
  bind_put(L, "ocv_100_v", amp_chemistry_ocv(c, 1.0));
  bind_put(L, "r10s_mohm", amp_cell_r10s(&s->c) * 1e3);
  push_simple(L, &s->c);
  lua_pushboolean(L, s->r10s > 0.0);
  lua_setfield(L, -2, "from_r10s");
  if (s->fit != NULL) {
    push_fit(L, s->fit);
    lua_setfield(L, -2, "fit");
  }
  return 1;
}

static const luaL_Reg functions[] = {{"cell_facts", cell_facts},
                                     {NULL, NULL}};

void bind_cell_open (lua_State *L) {
  bind_class_open(L, &fit_class);
  bind_class_open(L, &cell_class);
  luaL_setfuncs(L, functions, 0);
}
