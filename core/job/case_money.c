/*
** case_money.c -- each draw's life, energy and costs, and the quantiles over
** all draws. Draws are independent: they may run on any number of workers,
** each writes its own places, and what is summed is summed in draw order.
*/
#include "base/elementary.h"
#include "base/interp.h"
#include "base/sample.h"
#include "cost/cash.h"
#include "job/case_parts.h"
#include <math.h>
#include <stddef.h>
#include <string.h>

/* What is kept of each draw. */
typedef enum column {
  C_GOODS,
  C_TOTAL,
  C_TESTED,
  C_USABLE,
  C_DELIVERED,
  C_DAYS,
  C_UNSERVED,
  C_CURTAILED,
  C_SERVED,
  C_EFC,
  C_SOH,
  C_YEARS,
  C_NAMEPLATE,
  C_ACCEPTED,
  C_PER_USABLE,
  C_PER_DELIVERED,
  C_LEVELISED,
  C_ADDED,
  C_PRESENT,
  C_COUNTED,
  C_PER_YEAR,
  C_OVER_HORIZON,
  C_NPV,
  C_SAVING,
  C_BREAK_EVEN,
  C_LIFE,  /* levelised without a horizon, of the first LIVED draws */
  C_MODEL, /* years by each model alone, from here on */
  C_COUNT = C_MODEL + AMP_CASE_MODELS
} column;

enum { LIVED = 512 };
enum { DRAWS_A_TURN = 64 }; /* draws in one work item */

typedef struct money {
  case_plan *p;
  const amp_context *ctx;
  const amp_ask *ask;
  double carry; /* per kg */
  amp_duty_month month[12];
  case_alone alone;
  double *v; /* [C_COUNT][draws] */
  case_twins twins;
  amp_error *err; /* one a work item: the first that failed in it */
} money;

/* Of one nothing is asked but what its life costs. */
static bool is_what_if (const case_plan *p) {
  return p->held != NULL;
}

/* What one work item draws besides what the plan holds. */
typedef struct turn {
  double rate[2 * AMP_CASE_MODELS][DRAWS_A_TURN];
  double price[AMP_CASE_PRICES][DRAWS_A_TURN];
  double term[AMP_TERMS][DRAWS_A_TURN];
} turn;

/* One draw on its way. */
typedef struct one {
  size_t i;
  const case_draw *d;
  int at; /* in its turn */
  const turn *t;
  case_node node[AMP_LIFE_NODES];
  int nodes; /* 0: not one string */
  double goods, total, residual, again;
} one;

static double given_or (double v, double instead) {
  return amp_given(v) ? v : instead;
}

static void put (const money *g, column c, size_t i, double v) {
  if (v > CASE_HUGE)
    v = CASE_HUGE;
  g->v[(size_t)c * g->p->draws + i] = v;
}

/* ---- the year at a state of health ---- */

/* What stands at the state of health of the draw, between the nodes. */
static double between (const case_plan *p, const one *o,
                       double (*of)(const case_node *)) {
  double x[AMP_LIFE_NODES], y[AMP_LIFE_NODES], m[AMP_LIFE_NODES];
  for (int k = 0; k < o->nodes; k++) {
    x[k] = o->node[k].year.soh;
    y[k] = of(&o->node[k]);
  }
  if (o->nodes == 1 || amp_monotone_slopes(x, y, o->nodes, m, NULL))
    return y[0];
  return amp_monotone_at(x, y, m, o->nodes,
                         o->d->tested / p->module.capacity.value);
}

static double served_of (const case_node *n) {
  return n->year.served;
}

static double unserved_of (const case_node *n) {
  return n->year.unserved;
}

static double curtailed_of (const case_node *n) {
  return n->year.curtailed;
}

static double out_of (const case_node *n) {
  return n->year.out;
}

/* What is asked for and offered in the year of a draw without a string. */
static void idle_year (const money *g, size_t i, const case_draw *d) {
  const amp_duty *duty = g->p->c->need->duty;
  double load = 0.0, dc = 0.0, sun = 0.0, time = (double)duty->n * duty->dt;
  for (size_t k = 0; k < duty->n; k++) {
    load += duty->ac[k] * amp_duty_length(duty, k);
    dc += duty->dc[k] * amp_duty_length(duty, k);
    sun += duty->pv[k] * amp_duty_length(duty, k);
  }
  put(g, C_UNSERVED, i,
      (load > 0.0 ? load : dc) * d->load * CASE_YEAR / time);
  put(g, C_CURTAILED, i, sun * d->sun * CASE_YEAR / time);
  put(g, C_SERVED, i, 0.0);
  put(g, C_EFC, i, 0.0);
}

static void first_year (const money *g, const one *o, double tested) {
  const case_plan *p = g->p;
  if (o->nodes == 0) {
    idle_year(g, o->i, o->d);
    return;
  }
  put(g, C_SERVED, o->i, between(p, o, served_of));
  put(g, C_UNSERVED, o->i, between(p, o, unserved_of));
  put(g, C_CURTAILED, o->i, between(p, o, curtailed_of));
  put(g, C_EFC, o->i, between(p, o, out_of) / tested);
}

/* ---- life ---- */

/* Model k with the rates that this draw has. */
static amp_ageing model_of (const money *g, int k, const one *o) {
  amp_ageing m = *g->p->life->model[k];
  if (m.kind == AMP_AGEING_RATES) {
    m.calendar = fmax(o->t->rate[k][o->at], 0.0);
    m.per_cycle = fmax(o->t->rate[AMP_CASE_MODELS + k][o->at], 0.0);
  }
  return m;
}

/* The nodes as model k sees them, for this draw: SoH in its own nameplate's
** measure, cycles counted in its own tested energy. */
static void life_nodes (const money *g, const one *o, int k,
                        amp_life_node out[AMP_LIFE_NODES]) {
  const case_plan *p = g->p;
  const case_draw *d = o->d;
  double label = p->module.capacity.value;
  for (int j = 0; j < o->nodes; j++) {
    out[j] = o->node[j].year;
    out[j].soh *= label / d->capacity;
    memcpy(out[j].term, o->node[j].term[k], sizeof out[j].term);
    out[j].brief.efc *= label / d->tested;
    if (p->life->model[k]->kind == AMP_AGEING_RATES)
      out[j].term[1] *= label / d->tested;
  }
}

static amp_status live (const money *g, const one *o, int k, double horizon,
                        amp_life *out, amp_error *err) {
  const case_plan *p = g->p;
  amp_life_node node[AMP_LIFE_NODES];
  amp_ageing m = model_of(g, k, o);
  amp_life_ask ask = {&m, o->d->soh, p->soh_end,
                      given_or(p->module.age, 0.0) / CASE_YEAR, horizon};
  if (o->nodes == 0) {
    memset(out, 0, sizeof *out);
    return AMP_OK;
  }
  life_nodes(g, o, k, node);
  return amp_project(node, o->nodes, &ask, out, err);
}

/* ---- money of a life ---- */

/* The whole years of a life as money: what is paid, and kWh. */
typedef struct stretch {
  double energy[AMP_LIFE_YEARS + 1], running[AMP_LIFE_YEARS + 1];
  double bought[AMP_LIFE_YEARS + 1]; /* of running, the charging */
  double dated[AMP_LIFE_YEARS + 1];  /* of running, in its own years */
  double rise;                       /* a year, of its price */
  amp_levelised_ask ask; /* of all these, the rest from the draw */
  double present;        /* kWh, discounted */
  double levelised;      /* infinite where nothing is served */
} stretch;

static double term_of (const one *o, amp_term k) {
  return o->t->term[k][o->at];
}

/* kWh and money of each whole year; the first counts as begun even where
** the pack does not last it out. */
static int whole_years (const money *g, const one *o, const amp_life *l,
                        stretch *s) {
  const amp_need *need = g->p->c->need;
  double price = term_of(o, AMP_TERM_CHARGE);
  int n = (int)floor(l->years + 1e-9);
  n = n < 1 ? 1 : n;
  s->rise = need->charge_rises ? term_of(o, AMP_TERM_RISE) : 0.0;
  /* no begun year at all: l->n is 0 */
  s->energy[0] = s->running[0] = s->bought[0] = 0.0;
  memset(s->dated, 0, sizeof s->dated);
  for (int t = 0; t < n && t < l->n; t++) {
    s->energy[t] = l->served[t] / CASE_KWH;
    s->bought[t] =
        price * l->charged[t] / need->duty->charge_efficiency / CASE_KWH;
    s->running[t] = s->bought[t];
    price *= 1.0 + s->rise;
  }
  amp_cash_later(g->p->c->later, g->p->c->laters, n, s->dated);
  for (int t = 0; t < n; t++)
    s->running[t] += s->dated[t];
  return n;
}

/* Energy and levelised cost of the years that stand in s. */
static void discount (stretch *s) {
  s->levelised = (double)INFINITY;
  s->present = 0.0;
  for (int t = 0; t < s->ask.years; t++)
    s->present += s->energy[t] / amp_cash_fp(s->ask.rate, t + 1);
  if (s->present > 0.0 &&
      amp_levelised(&s->ask, &s->levelised, NULL) != AMP_OK)
    s->levelised = AMP_NOT_GIVEN;
}

/* Levelised cost over the whole years of a life, and what it rests on. */
static void stretch_of (const money *g, const one *o, const amp_life *l,
                        stretch *s) {
  double rate = term_of(o, AMP_TERM_DISCOUNT);
  int n = whole_years(g, o, l, s);
  s->ask =
      (amp_levelised_ask){o->total, n,   rate,        s->energy, s->running,
                          0.0,      1.0, o->residual, s->dated};
  discount(s);
}

/* The same over what the battery adds: the supply's own part of each year's
** energy is taken off. Infinite where nothing is added. */
static void beyond_alone (const money *g, const one *o, stretch *s) {
  double own = case_alone_of(&g->alone, o->d->load, o->d->sun) / CASE_KWH;
  double off = g->alone.off / CASE_KWH;
  if (!g->alone.any)
    return;
  for (int t = 0; t < s->ask.years; t++) {
    double beyond = s->energy[t] - own;
    /* what rounding and the straight lines leave is nothing */
    s->energy[t] = beyond > 1e-6 * s->energy[t] + off ? beyond : 0.0;
  }
  discount(s);
}

static double levelised_of (const money *g, const one *o, const amp_life *l) {
  stretch s;
  stretch_of(g, o, l, &s);
  return s.levelised;
}

/* What is spared of the grid, and when that has paid the price back. */
static void put_savings (const money *g, const one *o, const stretch *s) {
  double tariff[AMP_LIFE_YEARS + 1], rate = s->ask.rate;
  int n = s->ask.years;
  amp_savings saves = {.npv = s->ask.residual / amp_cash_fp(rate, n) -
                              s->ask.first,
                       .break_even = (double)INFINITY};
  tariff[0] = term_of(o, AMP_TERM_TARIFF);
  for (int t = 1; t < n; t++)
    tariff[t] = tariff[t - 1] * (1.0 + term_of(o, AMP_TERM_RISE));
  if (s->present > 0.0 &&
      amp_cash_savings_by_year(&s->ask, tariff, &saves, NULL) != AMP_OK)
    saves.npv = saves.break_even = AMP_NOT_GIVEN;
  put(g, C_NPV, o->i, saves.npv);
  put(g, C_BREAK_EVEN, o->i, saves.break_even);
  put(g, C_SAVING, o->i,
      (saves.npv + s->ask.first - s->ask.residual / amp_cash_fp(rate, n)) *
          amp_cash_ap(rate, n));
}

/* Payments that come each year alike, and what it is until the horizon. */
static void put_years (const money *g, const one *o, const stretch *s) {
  int years = (int)floor(g->p->horizon + 1e-9);
  double all = s->levelised;
  put(g, C_COUNTED, o->i, s->ask.years);
  put(g, C_PER_YEAR, o->i,
      s->present > 0.0
          ? s->levelised * s->present * amp_cash_ap(s->ask.rate, s->ask.years)
          : (double)INFINITY);
  if (s->present > 0.0 && g->p->c->bought_again &&
      amp_cash_again(&s->ask, o->again, s->bought, s->rise, g->p->c->later,
                     g->p->c->laters, years, &all, NULL) != AMP_OK)
    all = AMP_NOT_GIVEN;
  put(g, C_OVER_HORIZON, o->i, all);
}

static void costs_of_life (const money *g, const one *o, const amp_life *l) {
  double sum = 0.0;
  stretch s;
  stretch_of(g, o, l, &s);
  for (int t = 0; t < l->n; t++)
    sum += l->served[t];
  put(g, C_DELIVERED, o->i, sum);
  put(g, C_PER_DELIVERED, o->i,
      sum > 0.0 ? o->total / (sum / CASE_KWH) : (double)INFINITY);
  put(g, C_LEVELISED, o->i, s.levelised);
  put(g, C_PRESENT, o->i, s.present);
  if (is_what_if(g->p))
    return;
  put_years(g, o, &s);
  beyond_alone(g, o, &s);
  put(g, C_ADDED, o->i, s.levelised);
  if (g->p->c->need->spares)
    put_savings(g, o, &s);
}

/* The life that a horizon cuts short, to its end. */
static amp_status whole_life (const money *g, const one *o, int k,
                              const amp_life *l, amp_error *err) {
  double per = g->v[(size_t)C_LEVELISED * g->p->draws + o->i];
  amp_status st = AMP_OK;
  if (o->i >= LIVED || is_what_if(g->p))
    return AMP_OK;
  if (l->beyond && g->p->horizon < AMP_LIFE_YEARS) {
    amp_life all;
    st = live(g, o, k, AMP_LIFE_YEARS, &all, err);
    if (st == AMP_OK)
      per = levelised_of(g, o, &all);
  }
  put(g, C_LIFE, o->i, per);
  return st;
}

static amp_status life_of (const money *g, const one *o, amp_error *err) {
  const case_plan *p = g->p;
  int models = p->life->models, turn = (int)(o->i % (size_t)models);
  for (int k = 0; k < models; k++) {
    amp_life l;
    amp_status st;
    if (k != turn && is_what_if(p))
      continue;
    st = live(g, o, k, p->horizon, &l, err);
    if (st != AMP_OK)
      return st;
    put(g, (column)(C_MODEL + k), o->i, l.years);
    if (k != turn)
      continue;
    put(g, C_YEARS, o->i, l.years);
    costs_of_life(g, o, &l);
    st = whole_life(g, o, k, &l, err);
    if (st != AMP_OK)
      return st;
  }
  return AMP_OK;
}

/* ---- one draw ---- */

static double per_kwh (double money, double j) {
  return j > 0.0 ? money / (j / CASE_KWH) : (double)INFINITY;
}

/* The case with the prices of this draw; 'own' takes a changed copy. */
static const amp_case *priced (const money *g, const one *o, amp_case *own) {
  const amp_case *c = g->p->c;
  if (c->prices == 0)
    return c;
  *own = *c;
  for (int k = 0; k < c->prices; k++) {
    double v = fmax(o->t->price[k][o->at], 0.0); /* as far as tails go */
    memcpy((char *)own + c->price[k].at, &v, sizeof v);
  }
  return own;
}

/* Goods alone, as they count per nameplate and per accepted kWh, then
** all that is paid at the start. */
static amp_status take_prices (const money *g, one *o, amp_error *err) {
  const case_plan *p = g->p;
  amp_case own;
  const amp_case *c = priced(g, o, &own);
  int used = p->c->from_offer ? o->d->strings * p->series : 0;
  amp_landed landed = {.total = c->cost};
  amp_status st = AMP_OK;
  if (c->from_offer && c->prices == 0)
    landed.total = p->r->landed.total;
  else if (c->from_offer)
    st = amp_offer_landed(&c->offer, &landed, err);
  o->goods = landed.total;
  o->total = o->goods + given_or(c->extra, 0.0);
  if (c->from_offer)
    o->total += given_or(c->bos, 0.0) + g->carry * given_or(c->bos_mass, 0.0);
  if (used > 0 && g->carry > 0.0)
    o->total += g->carry * used * p->module.mass;
  o->residual = given_or(c->residual, 0.0);
  o->again = given_or(c->again, 0.0);
  return st;
}

static void pack_of (const money *g, const one *o, double tested) {
  const case_plan *p = g->p;
  const case_draw *d = o->d;
  size_t i = o->i;
  double usable = tested * p->share, each = d->tested * p->v_nominal;
  double good = p->c->from_offer ? p->count * (1.0 - d->dud) : p->count;
  double need = case_worst_month(p->c->need, g->month, d->load, d->sun).need;
  put(g, C_GOODS, i, o->goods);
  put(g, C_TOTAL, i, o->total);
  put(g, C_TESTED, i, tested);
  put(g, C_USABLE, i, usable);
  put(g, C_SOH, i, d->soh);
  put(g, C_DAYS, i, need > 0.0 ? usable / need : AMP_NOT_GIVEN);
  put(g, C_NAMEPLATE, i,
      per_kwh(o->goods, p->count * p->v_nominal * d->capacity));
  put(g, C_ACCEPTED, i, per_kwh(o->goods, good * each));
  put(g, C_PER_USABLE, i, per_kwh(o->total, usable));
}

static amp_status draw_money (const money *g, const turn *t, int at, size_t i,
                              amp_error *err) {
  const case_plan *p = g->p;
  one o = {.i = i, .d = &p->draw[i], .at = at, .t = t};
  double tested = o.d->tested * p->v_nominal * o.d->strings * p->series;
  case_state x = case_state_of(o.d, 0.0);
  amp_status st = take_prices(g, &o, err);
  if (st != AMP_OK)
    return st;
  if (x.strings > 0)
    o.nodes = case_space_year(p, &x, o.node);
  if (!is_what_if(p)) {
    pack_of(g, &o, tested);
    first_year(g, &o, tested);
  }
  return p->r->years_why.status == AMP_OK ? life_of(g, &o, err) : AMP_OK;
}

/* Rates of the models and prices of draws 'from' .. from + n - 1. */
static void take_turn (const money *g, size_t from, size_t n, turn *t) {
  const case_plan *p = g->p;
  const amp_life_choice *life = p->life;
  for (int k = 0; k < life->models; k++) {
    const amp_ageing *m = life->model[k];
    if (m->kind != AMP_AGEING_RATES)
      continue;
    case_draws(g->ctx, p, g->ask, (amp_case_input)(AMP_IN_CALENDAR + k),
               m->calendar, from, n, t->rate[k]);
    case_draws(g->ctx, p, g->ask, (amp_case_input)(AMP_IN_CYCLE + k),
               m->per_cycle, from, n, t->rate[AMP_CASE_MODELS + k]);
  }
  for (int k = 0; k < p->c->prices; k++)
    case_draws(g->ctx, p, g->ask, (amp_case_input)(AMP_IN_PRICE + k), 0.0,
               from, n, t->price[k]);
  for (int k = 0; k < AMP_TERMS; k++) {
    const amp_value *v = case_value_of(p, (amp_case_input)(AMP_IN_TERM + k));
    case_draws(g->ctx, p, g->ask, (amp_case_input)(AMP_IN_TERM + k),
               case_term(p->c->need, (amp_term)k), from, n, t->term[k]);
    if (amp_value_is_set(v))
      case_clip_term((amp_term)k, n, t->term[k]);
  }
}

static void some_draws (void *arg, size_t item, size_t worker) {
  const money *g = arg;
  size_t i = item * DRAWS_A_TURN, n = g->p->draws - i;
  turn t;
  size_t new = 0; /* draws that are no other's twin */
  (void)worker;
  if (n > DRAWS_A_TURN)
    n = DRAWS_A_TURN;
  for (size_t k = 0; k < n; k++)
    new += case_twin_of(&g->twins, i + k) == i + k;
  if (new == 0)
    return;
  take_turn(g, i, n, &t);
  for (size_t k = 0; k < n; k++)
    if (case_twin_of(&g->twins, i + k) == i + k &&
        draw_money(g, &t, (int)k, i + k, &g->err[item]) != AMP_OK)
      return;
}

/* What the first of its kind came to, each twin comes to. */
static void copy_twins (const money *g) {
  size_t n = g->p->draws;
  if (g->twins.kinds == 0)
    return;
  for (int c = 0; c < C_MODEL + g->p->life->models; c++) {
    double *v = &g->v[(size_t)c * n];
    for (size_t i = 0; i < n; i++)
      v[i] = v[case_twin_of(&g->twins, i)];
  }
}

/* ---- years put together, against years simulated ---- */

/* Of one draw simulated in full: by what share its first year and its
** levelised cost are off. */
static amp_status check_one (const money *g, const case_check *c,
                             amp_error *err) {
  case_plan *p = g->p;
  size_t i = c->draw, at = i % DRAWS_A_TURN;
  turn t;
  one o = {.i = i, .d = &p->draw[i], .at = (int)at, .t = &t};
  double soh[CASE_NODES], served, known;
  int k = (int)(i % (size_t)(p->life->models > 0 ? p->life->models : 1));
  amp_life l;
  amp_status st;
  take_turn(g, i - at, at + 1, &t);
  st = take_prices(g, &o, err);
  if (st != AMP_OK)
    return st;
  o.nodes = case_space_nodes(&p->space, soh) > 1 ? CASE_CHECK_NODES : 1;
  memcpy(o.node, c->node, sizeof c->node);
  served = between(p, &o, served_of);
  known = g->v[(size_t)C_SERVED * p->draws + i];
  p->r->check_served =
      fmax(p->r->check_served, served > 0.0 ? fabs(known / served - 1) : 0);
  if (p->r->years_why.status != AMP_OK)
    return AMP_OK;
  st = live(g, &o, k, p->horizon, &l, err);
  if (st != AMP_OK)
    return st;
  served = levelised_of(g, &o, &l);
  known = g->v[(size_t)C_LEVELISED * p->draws + i];
  if (served < (double)INFINITY && known < CASE_HUGE)
    p->r->check_levelised =
        fmax(p->r->check_levelised, fabs(known / served - 1.0));
  return AMP_OK;
}

static amp_status check_all (const money *g, amp_error *err) {
  case_plan *p = g->p;
  amp_status st = AMP_OK;
  p->r->checked = p->checks;
  p->r->simulated = p->checks > 0 ? p->space.points : 0;
  for (int c = 0; st == AMP_OK && c < p->checks; c++)
    st = check_one(g, &p->check[c], err);
  return st;
}

/* ---- quantiles ---- */

static amp_stat stat_of (const money *g, column c, amp_basis basis) {
  return case_stat(&g->v[(size_t)c * g->p->draws], g->p->draws, basis);
}

/* Years that reach the horizon are a bound only; so is what lies between the
** last that do not and the horizon, where two models part for example. */
static amp_stat years_stat (const money *g, column c, amp_basis basis) {
  const double *v = &g->v[(size_t)c * g->p->draws];
  amp_stat s = stat_of(g, c, basis);
  double known = -1.0;
  for (size_t i = 0; i < g->p->draws; i++)
    if (v[i] < g->p->horizon)
      known = fmax(known, v[i]);
  s.beyond = s.p50 > known;
  s.p10_beyond = s.p10 > known;
  s.p90_beyond = s.p90 > known;
  return s;
}

/* What a model's years rest on. Published ones count as computed inside the
** range of their fit, as an assumption outside it. */
static amp_basis model_basis (const case_plan *p, int k) {
  const amp_life_choice *life = p->life;
  amp_basis b = AMP_BASIS_ASSUMED;
  unsigned outside = 0;
  for (int s = 1; s <= p->most; s++)
    for (int i = 0; i < case_space_points(p, s); i++)
      outside |= p->years->year[s].outside[i][k];
  p->r->outside |= outside;
  if (life->model[k]->source != NULL && outside == 0)
    b = AMP_BASIS_COMPUTED;
  if (life->model[k]->kind == AMP_AGEING_RATES &&
      amp_value_is_set(&life->calendar[k]) &&
      amp_value_is_set(&life->per_cycle[k]))
    b = amp_basis_worse(life->calendar[k].basis, life->per_cycle[k].basis);
  return b;
}

/* The median over all draws, times what the few that were lived to their end
** change of theirs. */
static double life_cost (const money *g) {
  const case_plan *p = g->p;
  size_t n = p->draws < LIVED ? p->draws : LIVED;
  double few[LIVED], all, end;
  memcpy(few, &g->v[(size_t)C_LEVELISED * p->draws], n * sizeof *few);
  all = case_finite_again(amp_quantile(few, n, 0.5));
  end = case_finite_again(
      amp_quantile(&g->v[(size_t)C_LIFE * p->draws], n, 0.5));
  return all > 0.0 && all < (double)INFINITY ? end / all : AMP_NOT_GIVEN;
}

/* In how many draws; before they lose their order. */
static void savings_stats (const money *g, amp_basis basis) {
  const case_plan *p = g->p;
  amp_case_result *r = p->r;
  const double *years = &g->v[(size_t)C_COUNTED * p->draws];
  const double *npv = &g->v[(size_t)C_NPV * p->draws];
  const double *back = &g->v[(size_t)C_BREAK_EVEN * p->draws];
  double saves = 0.0, paid = 0.0, late = 0.0;
  for (size_t i = 0; i < p->draws; i++) {
    saves += npv[i] > 0.0;
    paid += back[i] <= years[i];
    late += back[i] <= p->horizon;
  }
  r->saves = saves / (double)p->draws;
  r->paid = paid / (double)p->draws;
  r->paid_late = late / (double)p->draws;
  r->npv = stat_of(g, C_NPV, basis);
  r->saving = stat_of(g, C_SAVING, basis);
  r->break_even = stat_of(g, C_BREAK_EVEN, basis);
}

static void life_stats (const money *g) {
  const case_plan *p = g->p;
  amp_case_result *r = p->r;
  amp_basis all = p->basis_run;
  for (int k = 0; k < p->life->models; k++) {
    amp_basis b = amp_basis_worse(p->basis_run, model_basis(p, k));
    all = amp_basis_worse(all, b);
    r->life_by_model[k] = years_stat(g, (column)(C_MODEL + k), b);
  }
  if (p->c->need->spares)
    savings_stats(g, all);
  r->years = years_stat(g, C_YEARS, all);
  r->counted = stat_of(g, C_COUNTED, all);
  r->per_year = stat_of(g, C_PER_YEAR, all);
  if (p->c->bought_again)
    r->over_horizon = stat_of(g, C_OVER_HORIZON, all);
  r->delivered = stat_of(g, C_DELIVERED, all);
  r->per_delivered = stat_of(g, C_PER_DELIVERED, all);
  r->levelised_life = life_cost(g); /* before the draws lose their order */
  r->levelised = stat_of(g, C_LEVELISED, all);
  r->added = stat_of(g, C_ADDED, all);
  r->levelised_life *= r->levelised.p50;
  r->energy_present = stat_of(g, C_PRESENT, all).p50;
}

static void all_stats (const money *g) {
  const case_plan *p = g->p;
  amp_case_result *r = p->r;
  amp_basis label = p->module.capacity.basis, run = p->basis_run;
  amp_basis pack = amp_basis_worse(p->basis_each, p->basis_dud);
  amp_basis carried = g->carry > 0.0 ? p->basis_dud : AMP_BASIS_NONE;
  r->goods = stat_of(g, C_GOODS, AMP_BASIS_NONE);
  r->total = stat_of(g, C_TOTAL, carried);
  r->tested = stat_of(g, C_TESTED, pack);
  r->usable = stat_of(g, C_USABLE, p->basis_usable);
  r->days = stat_of(
      g, C_DAYS, amp_basis_worse(p->basis_usable, p->c->need->duty->basis));
  r->unserved = stat_of(g, C_UNSERVED, run);
  r->curtailed = p->c->need->duty->supply_free
                     ? case_no_stat() /* as much as needed is offered */
                     : stat_of(g, C_CURTAILED, run);
  r->served = stat_of(g, C_SERVED, run);
  r->efc = stat_of(g, C_EFC, run);
  r->soh_start = stat_of(g, C_SOH, p->basis_each);
  r->per_nameplate = stat_of(g, C_NAMEPLATE, label);
  r->per_accepted = stat_of(g, C_ACCEPTED, pack);
  r->per_usable = stat_of(g, C_PER_USABLE, p->basis_usable);
  if (r->years_why.status == AMP_OK)
    life_stats(g);
  else
    case_no_life_stats(r);
}

/* ---- a whole case ---- */

static bool has_user_model (const case_plan *p) {
  for (int k = 0; k < p->life->models; k++)
    if (p->life->model[k]->kind == AMP_AGEING_USER)
      return true;
  return false;
}

/* The caller's own functions are called from the calling thread only. */
static void run_draws (const amp_context *ctx, money *g, size_t items) {
  if (items > 1 && !has_user_model(g->p))
    amp_parallel_for(ctx, items, some_draws, g);
  else
    for (size_t i = 0; i < items; i++)
      some_draws(g, i, 0);
  copy_twins(g);
}

static amp_status finish (const money *g, size_t items, double *levelised) {
  size_t n = g->p->draws;
  for (size_t i = 0; i < items; i++)
    if (g->err[i].status != AMP_OK)
      return case_refuse(g->p, &g->err[i]);
  amp_error why = {0};
  if (check_all(g, &why) != AMP_OK)
    return case_refuse(g->p, &why);
  column cost = g->ask->by_added && !is_what_if(g->p) ? C_ADDED : C_LEVELISED;
  for (size_t i = 0; i < n; i++)
    levelised[i] = g->p->r->years_why.status == AMP_OK
                       ? case_finite_again(g->v[(size_t)cost * n + i])
                       : AMP_NOT_GIVEN;
  if (!is_what_if(g->p))
    all_stats(g);
  else if (g->p->r->years_why.status == AMP_OK)
    g->p->r->levelised = stat_of(g, C_LEVELISED, AMP_BASIS_NONE);
  else
    case_no_life_stats(g->p->r);
  return AMP_OK;
}

static double alone_in_the_middle (const case_plan *p, const case_alone *a) {
  const amp_duty *d = p->c->need->duty;
  const amp_value *v[2] = {&d->load_factor, &d->sun_factor};
  return a->any ? case_alone_of(a, amp_value_is_set(v[0]) ? v[0]->value : 1.0,
                                amp_value_is_set(v[1]) ? v[1]->value : 1.0)
                : 0.0;
}

amp_status case_money (const amp_context *ctx, case_plan *p,
                       const amp_ask *ask, double *levelised,
                       amp_error *err) {
  const amp_case *c = p->c;
  size_t items = (p->draws + DRAWS_A_TURN - 1) / DRAWS_A_TURN;
  size_t bytes = C_COUNT * p->draws * sizeof(double);
  money g = {.p = p,
             .ctx = ctx,
             .ask = ask,
             .carry = given_or(c->need->carry_per_kg, 0.0)};
  amp_status st = AMP_OK;
  amp_duty_months(c->need->duty, g.month);
  g.v = amp_alloc(ctx, bytes);
  g.err = amp_alloc(ctx, items * sizeof *g.err);
  g.twins.of = amp_alloc(ctx, p->draws);
  if (g.v == NULL || g.err == NULL || g.twins.of == NULL)
    st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for the draws");
  else {
    if (!is_what_if(p)) {
      case_alone_make(p, &g.alone);
      p->r->alone = alone_in_the_middle(p, &g.alone);
    }
    case_twins_find(p, &g.twins);
    run_draws(ctx, &g, items);
    finish(&g, items, levelised);
  }
  amp_free(ctx, g.v, bytes);
  amp_free(ctx, g.err, items * sizeof *g.err);
  amp_free(ctx, g.twins.of, p->draws);
  return st;
}
