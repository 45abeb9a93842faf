/*
** bind_replay.c -- one cell led along what a log drew, as plain numbers for
** the Lua half to lay out; and how far it, or the run of a pack, stands from
** what was measured.
**
** replay(cell, profile, soc_start or nil) --> handle; that of a pack's run
** comes from trace_handle in bind_run.c
** replay_facts(handle) --> {rows done hours done_h soc_start_pct
**   soc_end_pct start ambient_c temp capacity_ah voltage_min voltage_max
**   temp_max_c out_ah in_ah out_kwh in_kwh log level}
**   start "given" "full" "rest"; temp "own" "log" "surroundings"
** replay_rows(handle, every, log or nil) --> list of {time_h soc_pct
**   current_a voltage_v temp_c power_w measured_v difference_mv}
** replay_against(handle, log, column, above, below, level, mean) -->
**   {whole = {rows rmse mean worst worst_h worst_soc_pct}, part = the same,
**   rows, level_h level_measured_h drawn_h lowest_v lowest_measured_v};
**   level: V; mean: the voltage's mean since the row before, else that at the
**   row
*/
#include "bind.h"
#include "run/simulate.h"
#include <math.h>
#include <string.h>

#define REPLAY "ampstead.replay"

typedef enum start_kind { START_GIVEN, START_FULL, START_REST } start_kind;

typedef struct replay {
  const amp_context *ctx;
  const bind_cell *cell; /* user value 1; NULL: of a pack */
  const bind_log *log;   /* user value 2: the profile that holds it */
  amp_fit *f;            /* of a cell without a fit; else NULL */
  /* n of each, 'done' of them valid: s, A since the row before, V at the
  ** row and its mean since the row before, 0..1, K */
  double *time, *current, *v, *mean, *soc, *temp;
  size_t n, done;
  double began, idle; /* s; A that counts as rest */
  double soc_start, ambient, capacity;
  double unserved; /* J that a limit kept back */
  start_kind start;
} replay;

static int replay_gc (lua_State *L) {
  replay *r = lua_touserdata(L, 1);
  double *all[] = {r->time, r->current, r->v, r->mean, r->soc, r->temp};
  for (int k = 0; k < 6; k++)
    amp_free(r->ctx, all[k], r->n * sizeof(double));
  amp_free(r->ctx, r->f, sizeof *r->f);
  r->time = r->current = r->v = r->mean = r->soc = r->temp = NULL;
  r->f = NULL;
  return 0;
}

static double *room (lua_State *L, const replay *r) {
  double *p = amp_alloc(r->ctx, r->n * sizeof *p);
  if (p == NULL)
    bind_error(L, "memory", "simulate: no memory for %d rows", (int)r->n);
  return p;
}

/* With room for n rows, at the top. */
static replay *new_replay (lua_State *L, size_t n) {
  replay *r = lua_newuserdatauv(L, sizeof *r, 2);
  memset(r, 0, sizeof *r);
  r->ctx = bind_context(L);
  r->n = n;
  bind_finalizer(L, REPLAY, replay_gc);
  r->time = room(L, r);
  r->current = room(L, r);
  r->v = room(L, r);
  r->mean = room(L, r);
  r->soc = room(L, r);
  r->temp = room(L, r);
  return r;
}

/* Of the cell at 1 along the profile at 2. */
static replay *of_cell (lua_State *L, const bind_cell *c, const bind_log *g) {
  size_t size = g->log.n * sizeof(double);
  replay *r = new_replay(L, g->log.n);
  lua_pushvalue(L, 1);
  lua_setiuservalue(L, -2, 1);
  lua_pushvalue(L, 2);
  lua_setiuservalue(L, -2, 2);
  r->cell = c;
  r->log = g;
  r->began = g->log.time[0];
  memcpy(r->time, g->log.time, size);
  memcpy(r->current, g->log.column[AMP_LOG_CURRENT], size);
  return r;
}

void bind_push_replay (lua_State *L, size_t n, const double *const column[6],
                       double began, double idle) {
  replay *r = new_replay(L, n);
  double *into[] = {r->time, r->current, r->v, r->mean, r->soc, r->temp};
  for (int k = 0; k < 6; k++)
    memcpy(into[k], column[k], n * sizeof(double));
  for (size_t i = 0; i < n; i++)
    r->time[i] += began;
  r->done = n;
  r->began = began;
  r->idle = idle;
}

/* ---- where it starts ---- */

#define REST_C_RATE (1.0 / 50.0) /* less counts as rest, common practice */
#define NEARLY_FULL 0.02 /* V below the curve's end: full, as a cell rests */

/*
** Unless given: by the log's first voltage, where it rests and stands more
** than 20 mV below a full cell's; else full. Where the curve is flat voltage
** tells no charge, and full it is.
*/
static double start_of (lua_State *L, replay *r) {
  const amp_test_log *g = &r->log->log;
  const double *v = g->column[AMP_LOG_VOLTAGE];
  const double *i = g->column[AMP_LOG_CURRENT];
  amp_error err = {0};
  double soc;
  r->start = START_GIVEN;
  if (!lua_isnoneornil(L, 3))
    return luaL_checknumber(L, 3) / 100.0;
  r->start = START_FULL;
  if (v == NULL || i == NULL || fabs(i[0]) > r->idle ||
      v[0] > amp_chemistry_ocv(r->cell->chemistry, 1.0) - NEARLY_FULL ||
      amp_chemistry_soc(r->cell->chemistry, v[0], &soc, &err) != AMP_OK)
    return 1.0;
  r->start = START_REST;
  return soc;
}

/* Capacity at this temperature: that of the pulse logs on both sides, on a
** straight line, held beyond; of a cell without a fit its own. */
static double capacity_at (const bind_cell *c, double temp) {
  const amp_fit *f = c->fit != NULL ? c->fit->f : NULL;
  double lo = -HUGE_VAL, hi = HUGE_VAL, q_lo = NAN, q_hi = NAN;
  double times = f != NULL ? c->c.capacity / f->simple.capacity : 1.0;
  for (int i = 0; f != NULL && i < c->fit->in.pulses; i++) {
    double t = f->temp_at[i], q = f->capacity_at[i];
    if (t <= temp && t > lo) {
      lo = t;
      q_lo = q;
    }
    if (t >= temp && t < hi) {
      hi = t;
      q_hi = q;
    }
  }
  if (q_lo != q_lo && q_hi != q_hi)
    return c->c.capacity;
  if (q_lo != q_lo || q_hi != q_hi || !(hi > lo))
    return times * (q_lo == q_lo ? q_lo : q_hi);
  return times * (q_lo + (q_hi - q_lo) * (temp - lo) / (hi - lo));
}

/* A fit that holds what a label says. */
static const amp_fit *fit_of (lua_State *L, replay *r) {
  if (r->cell->fit != NULL)
    return r->cell->fit->f;
  r->f = amp_alloc(r->ctx, sizeof *r->f);
  if (r->f == NULL)
    bind_error(L, "memory", "simulate: no memory");
  memset(r->f, 0, sizeof *r->f);
  r->f->chemistry = *r->cell->chemistry;
  r->f->simple = r->cell->c;
  return r->f;
}

/* Along a log, open loop: no limit acts, as none did in the test. */
static void along_log (lua_State *L, replay *r, const bind_profile *p) {
  const bind_cell *c = r->cell;
  amp_error err = {0};
  bool given = p->place == p->place; /* ambient_c */
  bool by_log =
      !c->detailed && !given && p->log->log.column[AMP_LOG_TEMP] != NULL;
  r->soc_start = start_of(L, r);
  const amp_fit *f = fit_of(L, r);
  amp_status st =
      amp_fit_replay(r->ctx, f, c->detailed, &p->log->log, r->capacity,
                     r->soc_start, by_log ? NAN : r->ambient, r->v, r->mean,
                     r->soc, r->temp, &r->done, &err);
  if (st != AMP_OK)
    bind_raise(L, NULL, "simulate", &err);
  if (by_log)
    r->ambient = NAN;
}

/* ---- along another duty: the run of a pack, with the cell's limits ---- */

/* What the simulation reads, in one userdata, and what it gives. */
typedef struct single {
  amp_pack pack;
  amp_detailed detailed;
  amp_sim_result result;
  amp_trace *trace;
} single;

static int single_gc (lua_State *L) {
  single *s = lua_touserdata(L, 1);
  amp_trace_free(bind_lent(L), s->trace);
  s->trace = NULL;
  return 0;
}

static single *new_single (lua_State *L) {
  single *s = lua_newuserdatauv(L, sizeof *s, 0);
  memset(s, 0, sizeof *s);
  lua_newtable(L);
  lua_pushcfunction(L, single_gc);
  lua_setfield(L, -2, "__gc");
  lua_setmetatable(L, -2);
  return s;
}

/* One leaf: the cell at this capacity, from the charge given. */
static void make_leaf (const bind_cell *c, double capacity, double soc,
                       single *s) {
  amp_group g;
  memset(&g, 0, sizeof g);
  g.chemistry = c->chemistry;
  g.cell = c->c;
  g.cell.capacity = capacity;
  g.series = g.parallel = 1.0;
  g.soc_max = 1.0;
  g.soc_start = soc;
  g.v_min = c->chemistry->v_min;
  g.v_max = c->chemistry->v_max;
  if (c->detailed) {
    s->detailed = c->fit->f->detailed;
    s->detailed.capacity = capacity;
    g.detailed = &s->detailed;
  }
  amp_pack_uniform(&g, 1, 1, &s->pack);
}

static single *run_single (lua_State *L, const bind_cell *c, double capacity,
                           double soc, const amp_duty *duty) {
  single *s = new_single(L);
  amp_sim_case one = {&s->pack, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  amp_sim_options opt = amp_sim_defaults();
  amp_error err = {0};
  opt.warm_up = 0;
  make_leaf(c, capacity, soc, s);
  bind_enter(L);
  amp_status st = amp_simulate_trace(bind_context(L), &one, duty, &opt,
                                     &s->trace, &s->result, &err);
  bind_rethrow(L);
  if (st != AMP_OK)
    bind_raise(L, NULL, "simulate", &err);
  return s;
}

/* The handle of the run at the top, the cell at 1 and the profile at 2. */
static replay *from_trace (lua_State *L, const amp_trace *t, double idle) {
  static const char *const names[] = {
      "time_s", "current_a", "voltage_end_v", "voltage_v", "soc", "temp_k"};
  const double *column[6];
  for (int k = 0; k < 6; k++)
    column[k] = amp_trace_column(t, names[k]);
  bind_push_replay(L, amp_trace_length(t), column, 0.0, idle);
  lua_pushvalue(L, 1);
  lua_setiuservalue(L, -2, 1);
  lua_pushvalue(L, 2);
  lua_setiuservalue(L, -2, 2);
  return lua_touserdata(L, -1);
}

static replay *along_duty (lua_State *L, const bind_cell *c,
                           const bind_profile *p) {
  bool given = !lua_isnoneornil(L, 3);
  double soc = given ? luaL_checknumber(L, 3) / 100.0 : 1.0;
  double ambient = p->duty.temp[0], capacity = capacity_at(c, ambient);
  single *s = run_single(L, c, capacity, soc, &p->duty);
  replay *r = from_trace(L, s->trace, capacity / 3600.0 * REST_C_RATE);
  r->cell = c;
  r->ambient = ambient;
  r->capacity = capacity;
  r->soc_start = soc;
  r->start = given ? START_GIVEN : START_FULL;
  r->unserved = s->result.total.unserved + s->result.total.dc_unserved;
  return r;
}

/* replay(cell, profile, soc_start) */
static int replay_new (lua_State *L) {
  lua_settop(L, 3);
  const bind_cell *c = bind_check(L, 1, "cell", "simulate");
  const bind_profile *p = bind_check(L, 2, "profile", "simulate: profile");
  if (p->log == NULL || p->log->log.column[AMP_LOG_CURRENT] == NULL) {
    along_duty(L, c, p);
    return 1;
  }
  replay *r = of_cell(L, c, p->log);
  r->ambient = p->duty.temp[0];
  r->capacity = capacity_at(c, r->ambient);
  r->idle = r->capacity / 3600.0 * REST_C_RATE;
  along_log(L, r, p);
  return 1;
}

/* ---- numbers of it ---- */

static replay *check_replay (lua_State *L) {
  return luaL_checkudata(L, 1, REPLAY);
}

static double dt_of (const replay *r, size_t k) {
  return r->time[k] - (k > 0 ? r->time[k - 1] : r->began);
}

/* Charge (Ah) and energy (kWh) drawn, sign 1, or put in, sign -1. */
static void sums (const replay *r, double sign, double *ah, double *kwh) {
  *ah = *kwh = 0.0;
  for (size_t k = 0; k < r->done; k++) {
    double q = fmax(sign * r->current[k], 0.0) * dt_of(r, k);
    *ah += q / 3600.0;
    *kwh += q * r->mean[k] / 3.6e6;
  }
}

static void push_ends (lua_State *L, const replay *r) {
  double lo = HUGE_VAL, hi = -HUGE_VAL, hot = -HUGE_VAL;
  for (size_t k = 0; k < r->done; k++) {
    lo = fmin(lo, r->v[k]);
    hi = fmax(hi, r->v[k]);
    hot = fmax(hot, r->temp[k]);
  }
  if (r->done == 0)
    return;
  bind_put(L, "voltage_min", lo);
  bind_put(L, "voltage_max", hi);
  bind_put(L, "temp_max_c", hot - 273.15);
  bind_put(L, "soc_end_pct", r->soc[r->done - 1] * 100.0);
  bind_put(L, "done_h", (r->time[r->done - 1] - r->began) / 3600.0);
}

static int replay_facts (lua_State *L) {
  static const char *const starts[] = {"given", "full", "rest"};
  const replay *r = check_replay(L);
  double ah, kwh;
  luaL_argcheck(L, r->cell != NULL, 1, "the run of a cell is wanted");
  lua_newtable(L);
  bind_put(L, "rows", (double)r->n);
  bind_put(L, "done", (double)r->done);
  bind_put(L, "hours", (r->time[r->n - 1] - r->began) / 3600.0);
  bind_put(L, "soc_start_pct", r->soc_start * 100.0);
  bind_put_text(L, "start", starts[r->start]);
  bind_put(L, "ambient_c", r->ambient - 273.15);
  bind_put_text(L, "temp",
                r->cell->detailed          ? "own"
                : r->ambient == r->ambient ? "surroundings"
                                           : "log");
  bind_put(L, "capacity_ah", r->capacity / 3600.0);
  bind_put_text(L, "level", r->cell->detailed ? "detailed" : "simple");
  bind_put(L, "unserved_kwh", r->unserved / 3.6e6);
  if (r->log != NULL)
    bind_put_text(L, "log", r->log->name);
  push_ends(L, r);
  sums(r, 1.0, &ah, &kwh);
  bind_put(L, "out_ah", ah);
  bind_put(L, "out_kwh", kwh);
  sums(r, -1.0, &ah, &kwh);
  bind_put(L, "in_ah", ah);
  bind_put(L, "in_kwh", kwh);
  return 1;
}

/* ---- beside another log ---- */

/* Row of the run at or before time t by bisection; t lies within. */
static size_t row_before (const replay *r, double t) {
  const double *time = r->time;
  size_t lo = 0, hi = r->done - 1;
  while (hi - lo > 1) {
    size_t mid = lo + (hi - lo) / 2;
    if (time[mid] <= t)
      lo = mid;
    else
      hi = mid;
  }
  return hi > lo && time[hi] <= t ? hi : lo;
}

/* A column of the run at time t, linear between rows; NaN outside. */
static double run_at (const replay *r, const double *v, double t) {
  const double *time = r->time;
  if (r->done == 0 || !(t >= time[0] && t <= time[r->done - 1]))
    return NAN;
  size_t k = row_before(r, t);
  if (k + 1 >= r->done || t == time[k])
    return v[k];
  return v[k] + (v[k + 1] - v[k]) * (t - time[k]) / (time[k + 1] - time[k]);
}

typedef struct beside {
  const double *measured;
  double *computed, *soc; /* at the log's rows */
  bool *use;
  size_t n;
} beside;

/* Memory that the collector frees, left on the stack. */
static beside new_beside (lua_State *L, const replay *r, const bind_log *g,
                          const double *from) {
  bool of_temp = from == r->temp;
  beside b;
  b.n = g->log.n;
  b.measured = g->log.column[of_temp ? AMP_LOG_TEMP : AMP_LOG_VOLTAGE];
  b.computed = lua_newuserdatauv(L, b.n * sizeof(double), 0);
  b.soc = lua_newuserdatauv(L, b.n * sizeof(double), 0);
  b.use = lua_newuserdatauv(L, b.n * sizeof(bool), 0);
  for (size_t i = 0; i < b.n; i++) {
    b.computed[i] = run_at(r, from, g->log.time[i]);
    b.soc[i] = run_at(r, r->soc, g->log.time[i]);
  }
  return b;
}

static void push_agreement (lua_State *L, const amp_agreement *a,
                            const beside *b, const amp_test_log *g,
                            double factor) {
  lua_newtable(L);
  bind_put(L, "rows", (double)a->n);
  bind_put(L, "rmse", a->rms * factor);
  bind_put(L, "mean", a->mean * factor);
  bind_put(L, "worst", a->worst * factor);
  if (a->n == 0)
    return;
  bind_put(L, "worst_h", (g->time[a->worst_at] - g->time[0]) / 3600.0);
  bind_put(L, "worst_soc_pct", b->soc[a->worst_at] * 100.0);
}

static double lowest (const double *v, size_t n) {
  double low = HUGE_VAL;
  for (size_t i = 0; i < n; i++)
    low = v[i] < low ? v[i] : low;
  return low;
}

/* s: the last row that drew more than a rest does; NaN: none did */
static double end_of_draw (const replay *r, const amp_test_log *g) {
  const double *i = g->column[AMP_LOG_CURRENT];
  double t = NAN;
  for (size_t k = 0; i != NULL && k < g->n; k++)
    if (i[k] > r->idle)
      t = g->time[k];
  return t;
}

/* When both first fall to 'level', and what there is to see where one of
** them doesn't. */
static void push_level (lua_State *L, const replay *r, const beside *b,
                        const amp_test_log *g, double level) {
  double began = g->time[0];
  bind_put(L, "level_measured_h",
           (amp_first_below(g->time, b->measured, b->n, level) - began) /
               3600.0);
  bind_put(L, "level_h",
           (amp_first_below(g->time, b->computed, b->n, level) - began) /
               3600.0);
  bind_put(L, "drawn_h", (end_of_draw(r, g) - began) / 3600.0);
  bind_put(L, "lowest_measured_v", lowest(b->measured, b->n));
  bind_put(L, "lowest_v", lowest(b->computed, b->n));
}

/* replay_against(handle, log, column, above, below, level, mean) */
static int replay_against (lua_State *L) {
  const replay *r = check_replay(L);
  const bind_log *g = bind_check(L, 2, "log", "against");
  bool of_temp = strcmp(luaL_checkstring(L, 3), "temp_c") == 0;
  double above = luaL_optnumber(L, 4, -HUGE_VAL) / 100.0;
  double below = luaL_optnumber(L, 5, HUGE_VAL) / 100.0;
  double level = luaL_optnumber(L, 6, NAN);
  double factor = of_temp ? 1.0 : 1e3;
  const double *from = of_temp               ? r->temp
                       : lua_toboolean(L, 7) ? r->mean
                                             : r->v;
  beside b = new_beside(L, r, g, from);
  for (size_t i = 0; i < b.n; i++)
    b.use[i] = b.soc[i] >= above && b.soc[i] <= below;
  amp_agreement part = amp_agree(b.measured, b.computed, b.use, b.n);
  amp_agreement whole = amp_agree(b.measured, b.computed, NULL, b.n);
  lua_newtable(L);
  push_agreement(L, &part, &b, &g->log, factor);
  lua_setfield(L, -2, "part");
  push_agreement(L, &whole, &b, &g->log, factor);
  lua_setfield(L, -2, "whole");
  bind_put(L, "rows", (double)b.n);
  if (!of_temp)
    push_level(L, r, &b, &g->log, level);
  return 1;
}

/* ---- rows ---- */

/* Rows first .. last as one: means since the row before, else the last. */
static void push_row (lua_State *L, const replay *r, const bind_log *g,
                      size_t first, size_t last) {
  double q = 0.0, e = 0.0, time = 0.0, t = r->time[last];
  for (size_t k = first; k <= last; k++) {
    time += dt_of(r, k);
    q += r->current[k] * dt_of(r, k);
    e += r->current[k] * dt_of(r, k) * r->mean[k];
  }
  lua_createtable(L, 0, 10);
  bind_put(L, "time_h", (t - r->began) / 3600.0);
  bind_put(L, "soc_pct", r->soc[last] * 100.0);
  bind_put(L, "current_a", time > 0.0 ? q / time : r->current[last]);
  bind_put(L, "voltage_v", r->v[last]);
  bind_put(L, "temp_c", r->temp[last] - 273.15);
  bind_put(L, "power_w",
           time > 0.0 ? e / time : r->current[last] * r->v[last]);
  if (g == NULL || !(t >= g->log.time[0] && t <= g->log.time[g->log.n - 1]))
    return;
  double v = amp_log_at(&g->log, AMP_LOG_VOLTAGE, t);
  double temp = amp_log_at(&g->log, AMP_LOG_TEMP, t) - 273.15;
  bind_put(L, "measured_v", v);
  bind_put(L, "difference_mv", (r->v[last] - v) * 1e3);
  bind_put(L, "measured_c", temp);
  bind_put(L, "difference_c", r->temp[last] - 273.15 - temp);
}

/* replay_rows(handle, every, log) */
static int replay_rows (lua_State *L) {
  const replay *r = check_replay(L);
  size_t step = (size_t)luaL_checkinteger(L, 2);
  const bind_log *g = NULL;
  lua_Integer row = 0;
  if (!lua_isnoneornil(L, 3))
    g = bind_check(L, 3, "log", "plot: against");
  lua_newtable(L);
  for (size_t first = 0; first < r->done; first += step) {
    size_t last = r->done - first < step ? r->done - 1 : first + step - 1;
    push_row(L, r, g, first, last);
    lua_rawseti(L, -2, ++row);
  }
  return 1;
}

static const luaL_Reg functions[] = {{"replay", replay_new},
                                     {"replay_facts", replay_facts},
                                     {"replay_rows", replay_rows},
                                     {"replay_against", replay_against},
                                     {NULL, NULL}};

void bind_replay_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
