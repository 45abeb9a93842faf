/*
** bind_case.c -- offers and sweeps taken all the way, as plain numbers for
** the Lua half to lay out.
**
** compare_raw(offers, need, {draws, seed}, alternatives) and
** sweep_raw(cases, {draws, seed}); cases[i] = {pack or offer, need, cost,
** soh_end_pct, life_model} or {refused = "reason"}. Both give
**   {draws, seed, n, flip = {first, second, per_module} or nil, levers = {..}
**   or nil, [i] = row}
** compare_raw also others = {[k] = row of an alternative}: {name, kind,
**   refused or years, life, unused, hours, fuel_l, energy_cost,
**   energy_present, first .. break_even_years: stat, cheapest_pct,
**   failed_pct, saves_pct, paid_pct, paid_late_pct}, and in each row
**   against[k] = {more = stat, cheaper_pct}: its levelised cost less that of
**   alternative k, draw by draw.
** row: {refused = "why" or nil, refused_class, name, groups,
**   modules_in_string, strings, used, count, accepted_mean,
**   window = {v_min, v_max, soc_min_pct, soc_max_pct, assumed_low,
**             assumed_high, clipped_low, clipped_high, clipped_charge},
**   r_assumed, capacity_assumed, outside = {temp, rate, depth},
**   landed = {total, lines = {{what, amount}, ..}} (offers only; of refused
**   ones too where it is known),
**   nameplate_kwh, cheapest_pct, energy_present, energy_residual_pct,
**   models = {names},
**   check = {draws, points, served_pct, levelised_pct}: how far the years put
**   together are off in draws simulated in full, or nil,
**   levelised_life (median without a horizon), horizon_years,
**   years_why, life_by_model = {stat, ..}, soh_end_pct,
**   worst = {month, load_kwh, need_kwh, supply_kwh, days} a day of it, and
**   goods total tested_kwh usable_kwh delivered_kwh days unserved_kwh
**   curtailed_kwh served_kwh efc soh_start_pct years per_nameplate
**   per_accepted per_usable per_delivered levelised levelised_added (over
**   the kWh beyond alone_kwh, which the supply serves by itself; a year)
**   counted per_year
**   over_horizon npv saving break_even_years: stat; saves_pct, paid_pct,
**   paid_late_pct: shares of draws, where the need has a tariff}
** stat: {p50, p10, p90, spread, beyond, p10_beyond, p90_beyond, basis}; nil
** where the number is refused.
*/
#include "bind.h"
#include "base/sample.h"
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

/* Cases live in a userdata until the answer is laid out. */
typedef struct work {
  amp_case *c;
  amp_case_result *r;
  int *at;              /* index in c[] of row i, or -1: refused before */
  amp_need *need;       /* one a case, its duty shared where equal */
  const bind_need **of; /* the need object of each row */
  int rows, n;
} work;

static void *part (lua_State *L, size_t n, size_t size) {
  void *p = lua_newuserdatauv(L, n * size + 1, 0);
  memset(p, 0, n * size + 1);
  return p;
}

/* The parts stay on the stack: six slots, from 'work' on. */
static work *new_work (lua_State *L, int rows) {
  luaL_checkstack(L, 40, NULL);
  size_t n = (size_t)rows;
  work *w = part(L, 1, sizeof *w);
  w->rows = rows;
  w->c = part(L, n, sizeof *w->c);
  w->r = part(L, n, sizeof *w->r);
  w->at = part(L, n, sizeof *w->at);
  w->need = part(L, n, sizeof *w->need);
  w->of = part(L, n, sizeof *w->of);
  return w;
}

/* ---- cases from objects ---- */

static bool same_value (const amp_value *a, const amp_value *b) {
  return a->spread == b->spread && a->stream == b->stream &&
         (a->value == b->value || a->spread == AMP_UNSET) &&
         a->basis == b->basis && a->sd == b->sd && a->lo == b->lo &&
         a->hi == b->hi;
}

static bool same_series (const double *a, const double *b, size_t n) {
  if (a == b || a == NULL || b == NULL)
    return a == b;
  return memcmp(a, b, n * sizeof *a) == 0;
}

static bool same_duty (const amp_duty *a, const amp_duty *b) {
  return a == b ||
         (a->n == b->n && a->dt == b->dt &&
          a->supply_free == b->supply_free &&
          a->charge_efficiency == b->charge_efficiency &&
          a->basis == b->basis &&
          same_value(&a->load_factor, &b->load_factor) &&
          same_value(&a->sun_factor, &b->sun_factor) &&
          same_value(&a->temp_shift, &b->temp_shift) &&
          memcmp(a->month_end, b->month_end, sizeof a->month_end) == 0 &&
          memcmp(a->on, b->on, a->n) == 0 &&
          same_series(a->temp, b->temp, a->n) &&
          same_series(a->ac, b->ac, a->n) &&
          same_series(a->dc, b->dc, a->n) &&
          same_series(a->pv, b->pv, a->n) &&
          same_series(a->amps, b->amps, a->n) &&
          same_series(a->edge, b->edge, a->n + 1) && !a->phase && !b->phase);
}

/* Cases of one module share their years: equal ones become one. So do packs
** that are put together the same. */
static void share_module (work *w, int k) {
  amp_case *c = &w->c[k];
  for (int i = k - 1; i >= 0; i--)
    if (w->c[i].module == c->module ||
        memcmp(w->c[i].module, c->module, sizeof *c->module) == 0) {
      c->module = w->c[i].module;
      break;
    }
  for (int i = k - 1; c->build != NULL && i >= 0; i--)
    if (w->c[i].build != NULL && w->c[i].module == c->module &&
        memcmp(w->c[i].build, c->build, sizeof *c->build) == 0) {
      c->build = w->c[i].build;
      break;
    }
}

/* Cases that share a duty advance together: equal ones become one. */
static void set_need (work *w, int k, const bind_need *need, int row) {
  w->need[k] = need->n;
  w->of[row] = need;
  for (int i = k - 1; i >= 0; i--)
    if (same_duty(w->need[i].duty, need->n.duty)) {
      w->need[k].duty = w->need[i].duty;
      break;
    }
  w->c[k].need = &w->need[k];
}

static void plain_case (amp_case *c) {
  memset(c, 0, sizeof *c);
  c->soh_end = c->soc_min = c->soc_max = NAN;
  c->cell_v_min = c->cell_v_max = NAN;
}

static void set_module (amp_case *c, const bind_module *m) {
  c->module = &m->m;
  c->life = m->life;
}

static void set_offer (amp_case *c, const bind_offer *o) {
  set_module(c, o->module);
  c->tested = o->tested;
  c->soh = o->soh;
  c->from_offer = true;
  c->offer = o->o;
  c->dud = o->dud;
  c->together = o->together;
  c->prices = o->prices;
  memcpy(c->price, o->price, sizeof c->price);
  c->stream = o->name[0] != '\0' ? amp_stream(o->name) : 0;
  c->bos = o->bos;
  c->bos_mass = o->bos_mass;
  c->extra = o->extra;
  c->laters = o->laters;
  memcpy(c->later, o->later, sizeof c->later);
  c->residual = o->residual;
  c->bought_again = amp_given(o->again);
  c->again = c->bought_again ? o->again : 0.0;
}

static void set_pack (amp_case *c, const bind_pack *p) {
  set_module(c, p->module);
  c->series = p->series;
  c->parallel = p->parallel;
  c->build = bind_pack_bare(p) ? NULL : &p->build;
  c->soc_min = p->soc_min;
  c->soc_max = p->soc_max;
  c->cell_v_min = p->cell_v_min;
  c->cell_v_max = p->cell_v_max;
}

/* What one of the offer's currency is in the need's. Where it is not known
** the row is refused: the reason is pushed, and 0 comes back. */
static double rate_of (lua_State *L, const bind_offer *o, int need_idx) {
  bind_push_keys(L, need_idx);
  double rate = bind_rate(L, o, lua_gettop(L));
  lua_remove(L, rate > 0.0 ? -1 : -2);
  return rate;
}

/* ---- results ---- */

static void set_whole (lua_State *L, const char *key, int v) {
  lua_pushinteger(L, v);
  lua_setfield(L, -2, key);
}

/* A refused number is nil. */
static void push_stat (lua_State *L, const amp_stat *s, double unit) {
  if (!amp_given(s->p50)) {
    lua_pushnil(L);
    return;
  }
  lua_createtable(L, 0, 8);
  bind_put(L, "p50", s->p50 / unit);
  bind_put(L, "p10", s->p10 / unit);
  bind_put(L, "p90", s->p90 / unit);
  bind_put_flag(L, "spread", s->spread);
  bind_put_flag(L, "beyond", s->beyond);
  bind_put_flag(L, "p10_beyond", s->p10_beyond);
  bind_put_flag(L, "p90_beyond", s->p90_beyond);
  bind_put_text(L, "basis", amp_basis_name(s->basis));
}

typedef struct named_stat {
  const char *key;
  const amp_stat *s;
  double unit; /* of the core in that of the key */
} named_stat;

/* Into the table at the top. */
static void put_stats (lua_State *L, const named_stat *all, size_t n) {
  for (size_t i = 0; i < n; i++) {
    push_stat(L, all[i].s, all[i].unit);
    lua_setfield(L, -2, all[i].key);
  }
}

static void push_stats (lua_State *L, const amp_case_result *r) {
  const named_stat all[] = {{"goods", &r->goods, 1.0},
                            {"total", &r->total, 1.0},
                            {"tested_kwh", &r->tested, 3.6e6},
                            {"usable_kwh", &r->usable, 3.6e6},
                            {"delivered_kwh", &r->delivered, 3.6e6},
                            {"days", &r->days, 1.0},
                            {"unserved_kwh", &r->unserved, 3.6e6},
                            {"curtailed_kwh", &r->curtailed, 3.6e6},
                            {"served_kwh", &r->served, 3.6e6},
                            {"efc", &r->efc, 1.0},
                            {"soh_start_pct", &r->soh_start, 0.01},
                            {"years", &r->years, 1.0},
                            {"per_nameplate", &r->per_nameplate, 1.0},
                            {"per_accepted", &r->per_accepted, 1.0},
                            {"per_usable", &r->per_usable, 1.0},
                            {"per_delivered", &r->per_delivered, 1.0},
                            {"levelised", &r->levelised, 1.0},
                            {"levelised_added", &r->added, 1.0},
                            {"counted", &r->counted, 1.0},
                            {"per_year", &r->per_year, 1.0},
                            {"over_horizon", &r->over_horizon, 1.0},
                            {"npv", &r->npv, 1.0},
                            {"saving", &r->saving, 1.0},
                            {"break_even_years", &r->break_even, 1.0}};
  put_stats(L, all, sizeof all / sizeof all[0]);
}

/* A share of draws, in percent; no key where it is not given. */
static void push_share (lua_State *L, const char *key, double share) {
  bind_put(L, key, share * 100.0);
}

static void push_window (lua_State *L, const amp_window *w) {
  lua_newtable(L);
  bind_put(L, "v_min", w->v_min);
  bind_put(L, "v_max", w->v_max);
  bind_put(L, "soc_min_pct", w->soc_min * 100.0);
  bind_put(L, "soc_max_pct", w->soc_max * 100.0);
  bind_put_flag(L, "assumed_low", w->assumed_low);
  bind_put_flag(L, "assumed_high", w->assumed_high);
  bind_put_flag(L, "clipped_low", w->clipped_low);
  bind_put_flag(L, "clipped_high", w->clipped_high);
  bind_put_flag(L, "clipped_charge", w->clipped_charge);
  lua_setfield(L, -2, "window");
}

static void push_life (lua_State *L, const amp_case *c,
                       const amp_case_result *r) {
  const amp_life_choice *l = c->life.models > 0 ? &c->life : &c->need->life;
  lua_newtable(L);
  for (int i = 0; i < l->models; i++) {
    lua_pushstring(L, l->model[i]->name);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "models");
  lua_newtable(L);
  for (int i = 0; i < l->models; i++) {
    push_stat(L, &r->life_by_model[i], 1.0);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "life_by_model");
  lua_newtable(L);
  bind_put_flag(L, "temp", (r->outside & AMP_OUTSIDE_TEMP) != 0);
  bind_put_flag(L, "rate", (r->outside & AMP_OUTSIDE_RATE) != 0);
  bind_put_flag(L, "depth", (r->outside & AMP_OUTSIDE_DEPTH) != 0);
  lua_setfield(L, -2, "outside");
  if (amp_given(r->levelised_life))
    bind_put(L, "levelised_life", r->levelised_life);
  bind_put(L, "horizon_years", c->need->horizon);
  double end = amp_given(c->soh_end) ? c->soh_end : c->module->soh_end;
  bind_put(L, "soh_end_pct", end * 100.0);
  if (!amp_given(r->years.p50)) {
    bind_push_error(L, NULL, "", &r->years_why);
    lua_setfield(L, -2, "years_why");
  }
}

static void push_worst (lua_State *L, const amp_need *need) {
  amp_worst_month w = amp_need_worst_month(need);
  lua_newtable(L);
  if (w.month >= 0)
    set_whole(L, "month", w.month + 1);
  bind_put(L, "load_kwh", w.load / 3.6e6);
  bind_put(L, "need_kwh", w.need / 3.6e6);
  bind_put(L, "supply_kwh", w.supply / 3.6e6);
  bind_put(L, "days", w.days);
  lua_setfield(L, -2, "worst");
}

static const char *const refused_class[] = {"",        "range",   "data",
                                            "missing", "refused", "memory",
                                            "stop",    "user",    "fault"};

/* How far years put together are off, where some were simulated in full. */
static void push_check (lua_State *L, const amp_case_result *r) {
  lua_newtable(L);
  set_whole(L, "draws", r->checked);
  set_whole(L, "points", r->simulated);
  bind_put(L, "served_pct", r->check_served * 100.0);
  bind_put(L, "levelised_pct", r->check_levelised * 100.0);
  lua_setfield(L, -2, "check");
}

static void push_landed (lua_State *L, const amp_landed *landed) {
  bind_push_landed(L, landed);
  lua_setfield(L, -2, "landed");
}

/* What a refused offer costs at the gate is told where that can be known. */
static void push_refused (lua_State *L, const amp_case *c,
                          const amp_case_result *r) {
  amp_landed landed;
  amp_error err = {0};
  bind_push_error(L, NULL, "", &r->why);
  lua_setfield(L, -2, "refused");
  bind_put_text(L, "refused_class", refused_class[r->status]);
  if (c->from_offer && amp_offer_landed(&c->offer, &landed, &err) == AMP_OK)
    push_landed(L, &landed);
}

/* Into the row at the top. */
static void push_result (lua_State *L, const amp_case *c,
                         const amp_case_result *r) {
  if (r->status != AMP_OK) {
    push_refused(L, c, r);
    return;
  }
  set_whole(L, "groups", r->groups);
  set_whole(L, "modules_in_string", r->modules_in_string);
  set_whole(L, "strings", r->strings);
  set_whole(L, "used", r->used);
  set_whole(L, "count", r->count);
  bind_put(L, "accepted_mean", r->accepted_mean);
  bind_put_flag(L, "r_assumed", r->r_assumed);
  bind_put_flag(L, "capacity_assumed", r->capacity_assumed);
  bind_put(L, "nameplate_kwh", r->nameplate / 3.6e6);
  bind_put(L, "cheapest_pct", r->cheapest * 100.0);
  bind_put(L, "energy_present", r->energy_present);
  bind_put(L, "energy_residual_pct", r->energy_residual * 100.0);
  if (r->checked > 0)
    push_check(L, r);
  push_window(L, &r->window);
  if (c->from_offer)
    push_landed(L, &r->landed);
  push_life(L, c, r);
  push_stats(L, r);
  bind_put(L, "alone_kwh", r->alone / 3.6e6);
  push_share(L, "saves_pct", r->saves);
  push_share(L, "paid_pct", r->paid);
  push_share(L, "paid_late_pct", r->paid_late);
  push_worst(L, c->need);
}

/* ---- asking ---- */

/* The command line's seed and draws win over the script's. */
static double setting (lua_State *L, const char *key, double otherwise) {
  lua_pushfstring(L, "ampstead.%s", key);
  lua_rawget(L, LUA_REGISTRYINDEX);
  if (lua_isnumber(L, -1))
    otherwise = lua_tonumber(L, -1);
  lua_pop(L, 1);
  return otherwise;
}

static amp_ask read_ask (lua_State *L, int opts, const char *call) {
  static const char *const keys[] = {"draws", "seed", NULL};
  amp_ask ask;
  bind_options(L, opts, call, keys);
  double draws = setting(L, "draws", bind_option(L, opts, "draws", 2000.0));
  double seed = setting(L, "seed", bind_option(L, opts, "seed", 1.0));
  if (!(draws >= 1.0 && draws <= 1e6 && draws == floor(draws)))
    bind_error(L, NULL,
               "%s: draws must be a whole number 1 .. 1000000 (got "
               "%s)",
               call, bind_push_number(L, draws));
  if (!(seed >= 0.0 && seed <= 9007199254740992.0 && seed == floor(seed)))
    bind_error(L, NULL, "%s: seed must be a whole number from 0 (got %s)",
               call, bind_push_number(L, seed));
  ask.draws = (size_t)draws;
  ask.seed = (uint64_t)seed;
  return ask;
}

/* Which row case c came from; from 1. */
static int row_of (const work *w, size_t c) {
  for (int i = 0; i < w->rows; i++)
    if (w->at[i] == (int)c)
      return i + 1;
  return 0;
}

static void push_flip (lua_State *L, const work *w) {
  size_t first, second;
  double each;
  if (w->n < 2 || amp_case_flip(w->c, w->r, (size_t)w->n, &first, &second,
                                &each, NULL) != AMP_OK)
    return;
  lua_newtable(L);
  set_whole(L, "first", row_of(w, first));
  set_whole(L, "second", row_of(w, second));
  bind_put(L, "per_module", each);
  lua_setfield(L, -2, "flip");
}

/* How an input is called and what one of its SI is in that key's unit. */
typedef struct input_name {
  const char *key;
  double unit;
} input_name;

static input_name name_of (const amp_case *c, amp_case_input in) {
  static const input_name names[] = {
      [AMP_IN_DUD] = {"dud_pct", 0.01},
      [AMP_IN_LABEL] = {"capacity_ah", 3600.0},
      [AMP_IN_TESTED] = {"tested_ah", 3600.0},
      [AMP_IN_SOH] = {"soh_pct", 0.01},
      [AMP_IN_R] = {"r10s_mohm", 1e-3},
      [AMP_IN_LOAD] = {"load", 0.01}, /* % of its middle */
      [AMP_IN_SUN] = {"sun", 0.01},
      [AMP_IN_SHIFT] = {"temperature", 1.0}}; /* K about its middle */
  static const input_name terms[] = {
      [AMP_TERM_DISCOUNT] = {"discount_pct", 0.01},
      [AMP_TERM_CHARGE] = {"charge_price", 1.0},
      [AMP_TERM_TARIFF] = {"import_price", 1.0},
      [AMP_TERM_RISE] = {"import_rise_pct", 0.01}};
  if (in >= AMP_IN_TERM)
    return terms[in - AMP_IN_TERM];
  if (in >= AMP_IN_PRICE)
    return (input_name){c->price[in - AMP_IN_PRICE].name, 1.0};
  if (in >= AMP_IN_CYCLE)
    return (input_name){"cycle_pct_per_efc", 0.01};
  return in >= AMP_IN_CALENDAR ? (input_name){"calendar_pct_per_year", 0.01}
                               : names[in];
}

/* {key, of_first, of_second, value, p10, p90, gap_p10, gap_p90, moves,
** flips_at or nil} */
static void push_lever (lua_State *L, const work *w,
                        const amp_case_levers *all, const amp_case_lever *m) {
  const amp_case *c = &w->c[m->of_first ? all->first : all->second];
  input_name n = name_of(c, m->in);
  lua_newtable(L);
  bind_put_text(L, "key", n.key);
  bind_put_flag(L, "of_first", m->of_first);
  bind_put_flag(L, "of_second", m->of_second);
  bind_put(L, "value", m->v.value / n.unit);
  bind_put(L, "p10", m->p10 / n.unit);
  bind_put(L, "p90", m->p90 / n.unit);
  bind_put(L, "gap_p10", m->gap_p10);
  bind_put(L, "gap_p90", m->gap_p90);
  bind_put(L, "moves", m->moves);
  if (amp_given(m->flips_at))
    bind_put(L, "flips_at", m->flips_at / n.unit);
}

/* levers = {first, second, draws, {key, ..}, ..}, what moves most first */
static void push_levers (lua_State *L, const work *w,
                         const amp_case_levers *all) {
  lua_newtable(L);
  set_whole(L, "first", row_of(w, all->first));
  set_whole(L, "second", row_of(w, all->second));
  set_whole(L, "draws", (int)all->draws);
  for (int i = 0; i < all->n; i++) {
    push_lever(L, w, all, &all->lever[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "levers");
}

/* ---- what else would carry the load ---- */

typedef struct rivals {
  size_t n;
  const bind_need *asked;
  const amp_need *need;
  const bind_alternative **of;
  amp_alternative *a;
  amp_alternative_result *r;
  amp_pair *pair; /* [cases][n] */
} rivals;

/* The list at 'idx', nil for none; its parts stay on the stack. */
static rivals *read_rivals (lua_State *L, int idx, const bind_need *need,
                            size_t cases) {
  rivals *o = part(L, 1, sizeof *o);
  o->n = lua_istable(L, idx) ? (size_t)lua_rawlen(L, idx) : 0;
  o->asked = need;
  o->need = &need->n;
  o->of = part(L, o->n, sizeof *o->of);
  o->a = part(L, o->n, sizeof *o->a);
  o->r = part(L, o->n, sizeof *o->r);
  o->pair = part(L, o->n * cases, sizeof *o->pair);
  for (size_t k = 0; k < o->n; k++) {
    lua_rawgeti(L, idx, (lua_Integer)k + 1);
    o->of[k] =
        bind_check(L, -1, "alternative", "compare: each of alternatives");
    o->a[k] = o->of[k]->a;
    lua_pop(L, 1); /* the list holds it */
  }
  return o;
}

/* against = {[k] = {more = stat, cheaper_pct}} into the row at the top */
static void push_against (lua_State *L, const rivals *o, size_t c) {
  lua_newtable(L);
  for (size_t k = 0; k < o->n; k++) {
    const amp_pair *p = &o->pair[c * o->n + k];
    lua_newtable(L);
    push_share(L, "cheaper_pct", p->cheaper);
    push_stat(L, &p->more, 1.0);
    lua_setfield(L, -2, "more");
    lua_rawseti(L, -2, (lua_Integer)k + 1);
  }
  lua_setfield(L, -2, "against");
}

static void push_rival_stats (lua_State *L, const amp_alternative_result *r) {
  const named_stat all[] = {{"total", &r->first, 1.0},
                            {"served_kwh", &r->served, 3.6e6},
                            {"unserved_kwh", &r->unserved, 3.6e6},
                            {"usable_kwh", &r->usable, 3.6e6},
                            {"per_usable", &r->per_usable, 1.0},
                            {"years", &r->years, 1.0},
                            {"per_delivered", &r->per_delivered, 1.0},
                            {"levelised", &r->levelised, 1.0},
                            {"per_year", &r->per_year, 1.0},
                            {"npv", &r->npv, 1.0},
                            {"saving", &r->saving, 1.0},
                            {"break_even_years", &r->break_even, 1.0}};
  put_stats(L, all, sizeof all / sizeof all[0]);
}

/* What it comes to by its middle numbers, and over the draws. */
static void push_rival (lua_State *L, const amp_alternative_result *r,
                        bool generator) {
  const amp_alternative_answer *m = &r->middle;
  bind_put(L, "first", m->first);
  set_whole(L, "whole_years", m->years);
  set_whole(L, "life", m->life);
  set_whole(L, "unused", m->unused);
  bind_put(L, "year_kwh", m->served / 3.6e6);
  bind_put(L, "energy_cost", m->energy_cost);
  bind_put(L, "energy_present", m->present);
  if (generator) {
    bind_put(L, "hours", m->run_time / 3600.0);
    bind_put(L, "fuel_l", m->fuel);
  }
  push_rival_stats(L, r);
  push_share(L, "cheapest_pct", r->cheapest);
  push_share(L, "failed_pct", r->failed);
  if (m->spares) {
    push_share(L, "saves_pct", r->saves);
    push_share(L, "paid_pct", r->paid);
    push_share(L, "paid_late_pct", r->paid_late);
  }
}

/* others = {rows} into the table at the top */
static void push_rivals (lua_State *L, const rivals *o) {
  static const char *const kinds[] = {"grid", "generator", "battery"};
  lua_newtable(L);
  for (size_t k = 0; k < o->n; k++) {
    const amp_alternative_result *r = &o->r[k];
    lua_newtable(L);
    bind_put_text(L, "name", o->of[k]->name);
    bind_put_text(L, "kind", kinds[o->a[k].kind]);
    if (r->status == AMP_OK)
      push_rival(L, r, o->a[k].kind == AMP_ALTERNATIVE_GENERATOR);
    else {
      bind_push_error(L, bind_alternative_words(), "", &r->why);
      lua_setfield(L, -2, "refused");
    }
    lua_rawseti(L, -2, (lua_Integer)k + 1);
  }
  lua_setfield(L, -2, "others");
}

/* The rows stand at 'rows' in the stack, some with 'refused' set. */
static int answer (lua_State *L, work *w, int rows, const amp_ask *ask,
                   const char *call, rivals *others) {
  amp_error err = {0};
  amp_case_levers levers = {0};
  bool flip = others != NULL;
  bind_enter(L);
  amp_status st = AMP_OK;
  if (others != NULL)
    st = amp_compare(bind_context(L), w->c, (size_t)w->n, others->need,
                     others->a, others->n, ask, w->r, others->r, others->pair,
                     &err);
  else if (w->n > 0)
    st = amp_cases(bind_context(L), w->c, (size_t)w->n, ask, w->r, &err);
  if (st == AMP_OK && flip && w->n > 1)
    st = amp_case_levers_of(bind_context(L), w->c, w->r, (size_t)w->n, ask,
                            &levers, &err);
  if (st == AMP_EREFUSED)
    st = AMP_OK; /* fewer than two have a cost */
  bind_rethrow(L);
  if (st != AMP_OK)
    return bind_raise(L, NULL, call, &err);
  for (int i = 0; i < w->rows; i++)
    if (w->at[i] >= 0) {
      lua_rawgeti(L, rows, i + 1);
      push_result(L, &w->c[w->at[i]], &w->r[w->at[i]]);
      if (others != NULL)
        push_against(L, others, (size_t)w->at[i]);
      lua_pop(L, 1);
    }
  lua_pushvalue(L, rows);
  bind_put(L, "draws", (double)ask->draws);
  bind_put(L, "seed", (double)ask->seed);
  set_whole(L, "n", w->rows);
  if (flip)
    push_flip(L, w);
  if (flip)
    push_rivals(L, others);
  if (levers.draws > 0 && levers.n > 0)
    push_levers(L, w, &levers);
  return 1;
}

static int list_length (lua_State *L, int idx, const char *call) {
  int n = lua_istable(L, idx) ? (int)lua_rawlen(L, idx) : 0;
  if (n < 1 || n > 100000)
    bind_error(L, NULL, "%s: a list of 1 .. 100000 is wanted", call);
  return n;
}

/* The row at the top is refused for the reason above it. */
static void refuse_row (lua_State *L, const char *why_class) {
  lua_setfield(L, -2, "refused");
  bind_put_text(L, "refused_class", why_class);
}

/* An advert that was refused when it was read, at the top: {name, refused};
** false where it is not one. The row is below. */
static bool refused_before (lua_State *L) {
  if (!lua_istable(L, -1))
    return false;
  lua_getfield(L, -1, "refused");
  if (lua_type(L, -1) != LUA_TSTRING) {
    lua_pop(L, 1);
    return false;
  }
  lua_getfield(L, -2, "name");
  lua_setfield(L, -4, "name");
  lua_remove(L, -2);
  refuse_row(L, "data");
  return true;
}

/* One offer at the top of the stack becomes case w->n; the row is below. */
static void add_offer (lua_State *L, work *w, int i, int need_idx) {
  w->at[i] = -1;
  if (refused_before(L))
    return;
  const bind_offer *o = bind_check(L, -1, "offer", "compare: each of offers");
  const bind_need *need = lua_touserdata(L, need_idx);
  lua_pop(L, 1); /* the list holds it */
  bind_put_text(L, "name", o->name);
  double rate = rate_of(L, o, need_idx);
  if (!(rate > 0.0)) {
    refuse_row(L, "missing");
    return;
  }
  amp_case *c = &w->c[w->n];
  plain_case(c);
  set_offer(c, o);
  c->offer.to_currency = rate;
  share_module(w, w->n);
  set_need(w, w->n, need, i);
  w->at[i] = w->n++;
}

/* compare_raw(offers, need, opts, alternatives) --> rows */
static int compare_raw (lua_State *L) {
  lua_settop(L, 4);
  bool others = lua_istable(L, 4) && lua_rawlen(L, 4) > 0;
  bool any = !others || (lua_istable(L, 1) && lua_rawlen(L, 1) > 0);
  int n = any ? list_length(L, 1, "compare") : 0;
  const bind_need *need = bind_check(L, 2, "need", "compare: need");
  amp_ask ask = read_ask(L, 3, "compare");
  work *w = new_work(L, n);
  rivals *o = read_rivals(L, 4, need, (size_t)n);
  lua_newtable(L);
  int rows = lua_gettop(L);
  for (int i = 0; i < n; i++) {
    lua_newtable(L);
    lua_rawgeti(L, 1, i + 1);
    add_offer(L, w, i, 2);
    lua_rawseti(L, rows, i + 1);
  }
  return answer(L, w, rows, &ask, "compare", o);
}

static const bind_field case_fields[] = {
    F_NUM("soh_end_pct", amp_case, soh_end, 0.01, 1.0, 100.0, "%", ""),
    F_NUM("cost", amp_case, cost, 1.0, 0.0, 1e12, "", ""), F_END};

static void check_case_keys (lua_State *L, int idx, const char *who) {
  static const char *const keys[] = {"pack", "offer",       "need",
                                     "cost", "soh_end_pct", "life_model",
                                     "name", "refused",     NULL};
  bind_options(L, idx, who, keys);
}

static void case_numbers (lua_State *L, int idx, const char *who,
                          amp_case *c) {
  if (bind_get(L, idx, "soh_end_pct")) {
    c->soh_end = bind_number(L, -1, &case_fields[0], who);
    lua_pop(L, 1);
  }
  if (bind_get(L, idx, "cost")) {
    double cost = bind_number(L, -1, &case_fields[1], who);
    lua_pop(L, 1);
    if (c->from_offer)
      c->extra += cost;
    else
      c->cost = cost;
  } else if (!c->from_offer)
    bind_error(L, NULL, "%s: cost is wanted beside pack", who);
  if (bind_get(L, idx, "life_model")) {
    bind_life_choice(L, -1, who, &c->life);
    lua_pop(L, 1);
  }
}

/* The case's pack or offer; false where an offer's currency has no rate
** (the reason is pushed). */
static bool case_subject (lua_State *L, int idx, int need_idx,
                          const char *who, amp_case *c) {
  bool pack = bind_get(L, idx, "pack"), offer = bind_get(L, idx, "offer");
  if (pack == offer)
    bind_error(L, NULL, "%s: one of pack and offer is wanted", who);
  if (pack) {
    if (bind_test(L, -1, "pack") == NULL)
      bind_error(L, NULL, "%s: pack must be amp.pack{}", who);
    set_pack(c, lua_touserdata(L, -1));
    lua_pop(L, 1);
    return true;
  }
  if (bind_test(L, -1, "offer") == NULL)
    bind_error(L, NULL, "%s: offer must be amp.offer{}", who);
  const bind_offer *o = lua_touserdata(L, -1);
  set_offer(c, o);
  lua_pop(L, 1);
  c->offer.to_currency = rate_of(L, o, need_idx);
  return c->offer.to_currency > 0.0;
}

/* The case at 'idx' (a table) for row i, whose table is at 'row'. */
static void add_case (lua_State *L, work *w, int i, int idx, int row) {
  char who[40];
  snprintf(who, sizeof who, "sweep: case %d", i + 1);
  w->at[i] = -1;
  if (!lua_istable(L, idx))
    bind_error(L, NULL, "%s must be a table (got %s)", who,
               luaL_typename(L, idx));
  check_case_keys(L, idx, who);
  if (bind_get(L, idx, "refused")) {
    lua_pushvalue(L, row);
    lua_insert(L, -2);
    refuse_row(L, "refused");
    return;
  }
  if (!bind_get(L, idx, "need") || bind_test(L, -1, "need") == NULL)
    bind_error(L, NULL, "%s: need = amp.need{} is wanted", who);
  int need_idx = lua_gettop(L);
  amp_case *c = &w->c[w->n];
  plain_case(c);
  if (!case_subject(L, idx, need_idx, who, c)) {
    lua_pushvalue(L, row);
    lua_insert(L, -2);
    refuse_row(L, "missing");
    return;
  }
  case_numbers(L, idx, who, c);
  share_module(w, w->n);
  set_need(w, w->n, lua_touserdata(L, need_idx), i);
  w->at[i] = w->n++;
}

/* sweep_raw(cases, opts) --> rows */
static int sweep_raw (lua_State *L) {
  lua_settop(L, 2);
  int n = list_length(L, 1, "sweep");
  amp_ask ask = read_ask(L, 2, "sweep");
  work *w = new_work(L, n);
  lua_newtable(L);
  int rows = lua_gettop(L);
  for (int i = 0; i < n; i++) {
    lua_newtable(L);
    lua_pushvalue(L, -1);
    lua_rawseti(L, rows, i + 1);
    lua_rawgeti(L, 1, i + 1);
    add_case(L, w, i, rows + 2, rows + 1);
    lua_settop(L, rows);
  }
  return answer(L, w, rows, &ask, "sweep", NULL);
}

/* ---- the bid that meets a target ---- */

static const struct {
  const char *per;
  size_t stat;
  bool landed; /* what is paid at the gate alone counts */
} bid_kinds[] = {
    {"nameplate", offsetof(amp_case_result, per_nameplate), true},
    {"accepted", offsetof(amp_case_result, per_accepted), true},
    {"usable", offsetof(amp_case_result, per_usable), false},
    {"delivered", offsetof(amp_case_result, per_delivered), false},
    {"levelised", offsetof(amp_case_result, levelised), false},
    {NULL, 0, false}};

static int bid_kind (lua_State *L) {
  const char *per = "usable";
  if (lua_istable(L, 3) && bind_get(L, 3, "per"))
    per = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  for (int i = 0; bid_kinds[i].per != NULL; i++)
    if (strcmp(bid_kinds[i].per, per) == 0)
      return i;
  return bind_error(L, NULL,
                    "bid_ceiling: per must be \"nameplate\", \"accepted\", "
                    "\"usable\", \"delivered\" or \"levelised\" (got '%s')",
                    per);
}

/* Its price is sought: whatever it was, and however spread. */
static void give_away (amp_case *c) {
  int n = 0;
  for (int k = 0; k < c->prices; k++)
    if (c->price[k].at != offsetof(amp_case, offer.price))
      c->price[n++] = c->price[k];
  c->prices = n;
  c->offer.price = 0.0;
}

/* The offer at 1 for the need at 2, alone and given away */
static work *lone_case (lua_State *L) {
  work *w = new_work(L, 1);
  lua_newtable(L);
  lua_pushvalue(L, 1);
  add_offer(L, w, 0, 2);
  if (w->n == 0) {
    lua_getfield(L, -1, "refused");
    bind_error(L, NULL, "bid_ceiling: %s", lua_tostring(L, -1));
  }
  give_away(w->c);
  return w;
}

/* An own trip that costs 'more', in each draw: untaxed, and landed. */
static void add_trip (amp_case *c, double more) {
  c->offer.collection += more;
  for (int k = 0; k < c->prices; k++)
    if (c->price[k].at == offsetof(amp_case, offer.collection)) {
      c->price[k].v.value += more;
      c->price[k].v.lo += more;
      c->price[k].v.hi += more;
    }
}

/* The cost that is asked for, with 'more' money paid than for nothing: as an
** own trip where only what is landed counts. */
static double cost_at (lua_State *L, const work *w, const amp_ask *ask,
                       int kind, double more) {
  amp_error err = {0};
  amp_case c = *w->c;
  amp_stat stat;
  if (bid_kinds[kind].landed)
    add_trip(&c, more / c.offer.to_currency);
  else
    c.extra += more;
  bind_enter(L);
  amp_status st = amp_cases(bind_context(L), &c, 1, ask, w->r, &err);
  bind_rethrow(L);
  if (st == AMP_OK && w->r->status != AMP_OK)
    err = w->r->why;
  if (st != AMP_OK || w->r->status != AMP_OK)
    bind_raise(L, NULL, "bid_ceiling", &err);
  memcpy(&stat, (const char *)w->r + bid_kinds[kind].stat, sizeof stat);
  if (!amp_given(stat.p50) && w->r->years_why.status != AMP_OK)
    bind_raise(L, NULL, "bid_ceiling", &w->r->years_why);
  if (!amp_given(stat.p50))
    bind_error(L, NULL, "bid_ceiling: no energy to divide by");
  return stat.p50;
}

/*
** How much more than for nothing may be paid. The median over the draws
** follows at each trial, as amp.compare has it. What a bid adds to the landed
** cost (premium, customs, tax) is the same in each draw, whatever the prices
** beside it are.
*/
static double money_for (lua_State *L, const work *w, const amp_ask *ask,
                         int kind, double target) {
  double a = 0.0, b = 1000.0;
  double at_a = cost_at(L, w, ask, kind, a) - target;
  double at_b = cost_at(L, w, ask, kind, b) - target;
  for (int i = 0; i < 40 && fabs(at_b) > 1e-13 * target; i++) {
    double c = b - at_b * (b - a) / (at_b - at_a);
    if (at_a == at_b || !(c != b))
      break;
    if (bid_kinds[kind].landed && c < 0.0)
      return c; /* nothing is cheap enough; trips cost no less than 0 */
    a = b;
    at_a = at_b;
    b = c;
    at_b = cost_at(L, w, ask, kind, b) - target;
  }
  return b;
}

static double bid_target (lua_State *L) {
  static const char *const keys[] = {"target", "per", "draws", "seed", NULL};
  bind_options(L, 3, "bid_ceiling", keys);
  double target = bind_option(L, 3, "target", NAN);
  if (!(target > 0.0 && target < 1e9))
    bind_error(L, NULL, "bid_ceiling: target = money per kWh is wanted");
  return target;
}

/* The options of the draws alone are pushed. */
static amp_ask bid_ask (lua_State *L) {
  lua_newtable(L);
  for (int i = 0; i < 2 && lua_istable(L, 3); i++) {
    lua_getfield(L, 3, i == 0 ? "draws" : "seed");
    lua_setfield(L, -2, i == 0 ? "draws" : "seed");
  }
  return read_ask(L, lua_gettop(L), "bid_ceiling");
}

/*
** bid_raw(offer, need, { target = 150, per = "usable", draws, seed }) -->
** {price = as the offer states it (lot, each, per kWh), negative where no
** bid is low enough; landed = what that lands at; spent = paid before any
** bid, allowed = by the target, besides = of both, beside the landed cost}
*/
static int bid_raw (lua_State *L) {
  amp_error err = {0};
  amp_landed landed;
  double price;
  lua_settop(L, 3);
  bind_check(L, 1, "offer", "bid_ceiling: offer");
  bind_check(L, 2, "need", "bid_ceiling: need");
  double target = bid_target(L);
  int kind = bid_kind(L);
  amp_ask ask = bid_ask(L);
  work *w = lone_case(L);
  double more = money_for(L, w, &ask, kind, target);
  double nothing = cost_at(L, w, &ask, kind, 0.0), money;
  (void)nothing; /* w->r is that of a price of 0 again */
  money = w->r->landed.total + more;
  double besides = w->r->total.p50 - w->r->landed.total;
  if (money > 1e9)
    bind_error(L, NULL,
               "bid_ceiling: this target allows %s landed, more than any "
               "price may be (1000000000)",
               bind_push_number(L, money));
  if (amp_bid_ceiling(&w->c->offer, 1.0, fmax(money, 0.0), fmax(-money, 0.0),
                      &price, &err) != AMP_OK)
    return bind_raise(L, NULL, "bid_ceiling", &err);
  w->c->offer.price = fmax(price, 0.0);
  if (amp_offer_landed(&w->c->offer, &landed, &err) != AMP_OK)
    return bind_raise(L, NULL, "bid_ceiling", &err);
  lua_newtable(L);
  bind_put(L, "price", price);
  bind_put(L, "landed", landed.total);
  bind_put(L, "allowed", money + (bid_kinds[kind].landed ? 0.0 : besides));
  bind_put(L, "besides", bid_kinds[kind].landed ? 0.0 : besides);
  bind_put(L, "spent", w->r->landed.total);
  bind_put_text(L, "per", bid_kinds[kind].per);
  return 1;
}

/* ---- the life of one pack ---- */

static const bind_field life_fields[] = {F_NUM("horizon_years", amp_need,
                                               horizon, 1.0, 1.0,
                                               AMP_LIFE_YEARS, "years", ""),
                                         F_END};

/* {inverter, life_model, soh_end_pct, horizon_years} at 3 */
static void life_options (lua_State *L, amp_need *need, amp_case *c) {
  need->converter.efficiency = 1.0;
  need->horizon = 15.0;
  need->autonomy_days = need->charge_price = NAN;
  if (!lua_istable(L, 3))
    return;
  if (bind_get(L, 3, "inverter")) {
    const bind_inverter *i = bind_check(L, -1, "inverter", "life: inverter");
    need->converter = i->c;
    need->v_abs_max = i->v_abs_max;
    lua_pop(L, 1);
  }
  if (bind_get(L, 3, "life_model")) {
    bind_life_choice(L, -1, "life", &c->life);
    lua_pop(L, 1);
  }
  if (bind_get(L, 3, "soh_end_pct")) {
    c->soh_end = bind_number(L, -1, &case_fields[0], "life");
    lua_pop(L, 1);
  }
  if (bind_get(L, 3, "horizon_years")) {
    need->horizon = bind_number(L, -1, &life_fields[0], "life");
    lua_pop(L, 1);
  }
}

/*
** pack:life(duty, { inverter, life_model, soh_end_pct, horizon_years,
** draws, seed }) --> one row as in compare_raw, with draws and seed; the
** Lua half makes a table of it
*/
static int pack_life (lua_State *L) {
  static const char *const keys[] = {
      "inverter", "life_model", "soh_end_pct", "horizon_years",
      "draws",    "seed",       NULL};
  amp_need need = {0};
  amp_case c;
  amp_case_result r = {0};
  amp_error err = {0};
  lua_settop(L, 3);
  const bind_pack *p = bind_check(L, 1, "pack", "life");
  const bind_profile *duty = bind_check(L, 2, "profile", "life: duty");
  bind_options(L, 3, "life", keys);
  plain_case(&c);
  set_pack(&c, p);
  need.duty = &duty->duty;
  life_options(L, &need, &c);
  c.need = &need;
  lua_newtable(L);
  lua_pushnumber(L, bind_option(L, 3, "draws", 2000.0));
  lua_setfield(L, 4, "draws");
  lua_pushnumber(L, bind_option(L, 3, "seed", 1.0));
  lua_setfield(L, 4, "seed");
  amp_ask ask = read_ask(L, 4, "life");
  bind_enter(L);
  amp_status st = amp_cases(bind_context(L), &c, 1, &ask, &r, &err);
  bind_rethrow(L);
  if (st == AMP_OK && r.status != AMP_OK)
    err = r.why;
  if (st != AMP_OK || r.status != AMP_OK)
    return bind_raise(L, NULL, "life", &err);
  lua_newtable(L);
  push_result(L, &c, &r);
  bind_put(L, "draws", (double)ask.draws);
  bind_put(L, "seed", (double)ask.seed);
  return 1;
}

static const luaL_Reg functions[] = {{"compare_raw", compare_raw},
                                     {"sweep_raw", sweep_raw},
                                     {"bid_raw", bid_raw},
                                     {NULL, NULL}};

void bind_case_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
  luaL_getmetatable(L, BIND_OBJECT_OF "pack");
  lua_getfield(L, -1, "__methods");
  lua_pushcfunction(L, pack_life);
  lua_setfield(L, -2, "life");
  lua_pop(L, 2);
}
