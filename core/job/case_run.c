/*
** case_run.c -- the distinct years behind all draws as lanes of as few
** simulations as there are duties; each month's cycles become ageing terms
** as it ends, so that no history is kept.
*/
#include "job/case_parts.h"
#include <math.h>
#include <string.h>

/* Lanes of one simulation: bounds the memory (a pack is some 40 kB). */
enum { LANES_AT_ONCE = 256 };

/* One lane: a year of a plan in one state. Its result goes to a point of the
** plan's years, or to a node of a draw in full. */
typedef struct lane {
  case_plan *plan;
  case_state state;
  double *point; /* NULL: */
  case_node *node;
  double r2, r1; /* sums of range^2 and range of the cycles */
  amp_error err;
  case_node sum; /* what the months have added */
} lane;

typedef struct batch {
  const amp_duty *duty;
  size_t n, done, all; /* lanes now, before and in all */
  lane lane[LANES_AT_ONCE];
  amp_pack pack[LANES_AT_ONCE];
  amp_sim_case sim[LANES_AT_ONCE];
  amp_sim_result result[LANES_AT_ONCE];
} batch;

/* ---- from a month to terms ---- */

static double clamp01 (double v) {
  return fmin(fmax(v, 0.0), 1.0);
}

/* C, nameplate of the lane's pack at its terminals. */
static double pack_nameplate (const lane *l) {
  return l->plan->module.capacity.value * l->state.strings;
}

/* J of that at nominal voltage. */
static double pack_energy (const lane *l) {
  return pack_nameplate(l) * l->plan->v_nominal * l->plan->series;
}

/* Means of a stretch from its sums; cycles and depth are left to do. */
static void means (const lane *l, const amp_sim_month *m, amp_stress *s) {
  double c = pack_nameplate(l);
  memset(s, 0, sizeof *s);
  s->time = m->time;
  s->temp = m->temp_time / m->time;
  s->soc = clamp01(m->soc_time / m->time);
  s->v_mean = m->v_time / m->time;
  s->v_rms = sqrt(fmax(m->v2_time / m->time, 0.0));
  s->fec = m->charge_out / c;
  s->fec_in = m->charge_in / c;
  s->efc = m->out / pack_energy(l);
  if (m->discharge_time > 0.0)
    s->c_rate = m->charge_out / m->discharge_time / c * 3600.0;
}

static void depths (lane *l, const amp_cycle *cycle, size_t n,
                    amp_stress *s) {
  double r2 = 0.0, r1 = 0.0;
  for (size_t i = 0; i < n; i++) {
    r1 += cycle[i].range * cycle[i].count;
    r2 += cycle[i].range * cycle[i].range * cycle[i].count;
  }
  l->r1 += r1;
  l->r2 += r2;
  s->dod = r1 > 0.0 ? clamp01(r2 / r1) : 0.0;
  s->cycle = cycle;
  s->cycles = n;
}

/* What one month adds; the first refusal of a lane is kept. */
static void take_month (void *arg, size_t i, int m, const amp_sim_month *sum,
                        const amp_cycle *cycle, size_t n) {
  lane *l = &((batch *)arg)->lane[i];
  const amp_life_choice *life = l->plan->life;
  amp_stress s;
  (void)m;
  if (!(sum->time > 0.0) || l->err.status != AMP_OK)
    return;
  means(l, sum, &s);
  depths(l, cycle, n, &s);
  for (int k = 0; k < life->models; k++) {
    double term[AMP_AGEING_TERMS];
    if (amp_ageing_terms(life->model[k], &s, term, &l->sum.outside[k],
                         &l->err) != AMP_OK)
      return;
    for (int j = 0; j < AMP_AGEING_TERMS; j++)
      l->sum.term[k][j] += term[j];
  }
}

/* ---- from a result to a node ---- */

/* Everything to a year of 365 days, where the duty is shorter. */
static void to_year (const amp_sim_month *t, bool ac, double per_year,
                     case_node *n) {
  n->year.served = per_year * (ac ? t->served : t->dc_served);
  n->year.unserved = per_year * (ac ? t->unserved : t->dc_unserved);
  n->year.curtailed = per_year * t->curtailed;
  n->year.charged = per_year * t->in;
  n->year.out = per_year * t->out;
  for (int k = 0; k < AMP_CASE_MODELS; k++)
    for (int j = 0; j < AMP_AGEING_TERMS; j++)
      n->term[k][j] *= per_year;
  n->year.brief.time *= per_year;
  n->year.brief.fec *= per_year;
  n->year.brief.fec_in *= per_year;
  n->year.brief.efc *= per_year;
}

/* Where the result of a lane belongs. */
static void put_year (const lane *l, const case_node *n) {
  case_year *y = &l->plan->years->year[l->state.strings];
  if (l->point == NULL) {
    *l->node = *n;
    return;
  }
  case_space_pack(l->plan, n, l->point);
  memcpy(y->outside[(l->point - y->value) / l->plan->fields], n->outside,
         sizeof n->outside);
}

static void keep (const batch *b, size_t i, bool ac) {
  const lane *l = &b->lane[i];
  const amp_sim_result *r = &b->result[i];
  case_years *y = l->plan->years;
  double moved = fmax(r->total.out, r->total.in);
  case_node n = l->sum;
  n.year.soh = l->state.soh;
  means(l, &r->total, &n.year.brief);
  n.year.brief.dod = l->r1 > 0.0 ? clamp01(l->r2 / l->r1) : 0.0;
  to_year(&r->total, ac, CASE_YEAR / r->total.time, &n);
  put_year(l, &n);
  if (moved > 0.0)
    y->energy_residual =
        fmax(y->energy_residual, fabs(r->energy_residual) / moved);
}

/* ---- lanes ---- */

static amp_status make_pack (const lane *l, amp_pack *pack, amp_error *err) {
  const case_plan *p = l->plan;
  double soh = l->state.soh;
  amp_module m = p->module;
  amp_group g;
  if (p->c->build != NULL) /* every module fades as their mean does */
    return amp_build_pack(p->c->build, &p->r->window,
                          soh / amp_module_health(&p->module), pack, NULL,
                          err);
  if (amp_value_is_set(&m.r10s))
    m.r10s.value = l->state.r;
  amp_status st = amp_module_leaf_at(&m, &p->r->window, soh, p->series,
                                     l->state.strings, &g, err);
  if (st == AMP_OK)
    amp_pack_uniform(&g, 1, 1, pack);
  return st;
}

static amp_status add_lane (batch *b, case_plan *p, const case_state *x,
                            double *point, case_node *node, amp_error *err) {
  size_t i = b->n;
  amp_status st;
  memset(&b->lane[i], 0, sizeof b->lane[i]);
  b->lane[i].plan = p;
  b->lane[i].state = *x;
  b->lane[i].point = point;
  b->lane[i].node = node;
  st = make_pack(&b->lane[i], &b->pack[i], err);
  if (st != AMP_OK)
    return st;
  b->sim[i] = (amp_sim_case){&b->pack[i], p->c->need->converter, x->load,
                             x->sun, x->shift};
  b->n++;
  return AMP_OK;
}

/* Take the lanes of a refused case out of the batch. */
static void drop_case (batch *b, const case_plan *p) {
  size_t to = 0;
  for (size_t i = 0; i < b->n; i++)
    if (b->lane[i].plan != p) {
      b->lane[to] = b->lane[i];
      b->pack[to] = b->pack[i];
      b->sim[to] = b->sim[i];
      b->sim[to].pack = &b->pack[to];
      to++;
    }
  b->n = to;
}

/* Sums start anew when a batch is run again. */
static void clear_sums (batch *b) {
  for (size_t i = 0; i < b->n; i++) {
    lane *l = &b->lane[i];
    memset(&l->sum, 0, sizeof l->sum);
    memset(&l->err, 0, sizeof l->err);
    l->r1 = l->r2 = 0.0;
  }
}

static bool ends_all (amp_status st) {
  return st == AMP_ENOMEM || st == AMP_ESTOP;
}

/* Simulate what the batch holds. A refused case is taken out alone and the
** others run again. */
static amp_status run_batch (const amp_context *ctx, batch *b,
                             amp_error *err) {
  amp_sim_options opt = amp_sim_settled(b->duty);
  double all = (double)(b->all > 0 ? b->all : 1);
  amp_context part = amp_context_part(ctx, (double)b->done / all,
                                      (double)(b->done + b->n) / all);
  bool ac = amp_duty_load(b->duty) == b->duty->ac;
  opt.want_cycles = true;
  b->done += b->n;
  while (b->n > 0) {
    amp_error why = {0};
    amp_status st;
    case_plan *bad;
    clear_sums(b);
    st = amp_simulate(&part, b->sim, b->n, b->duty, &opt, b->result,
                      take_month, b, &why);
    if (st == AMP_OK)
      break;
    if (ends_all(st)) {
      if (err != NULL)
        *err = why;
      return st;
    }
    bad = b->lane[why.line >= 1 && why.line <= b->n ? why.line - 1 : 0].plan;
    case_refuse(bad, &why);
    drop_case(b, bad);
  }
  for (size_t i = 0; i < b->n; i++) {
    if (b->lane[i].err.status != AMP_OK)
      case_refuse(b->lane[i].plan, &b->lane[i].err);
    else
      keep(b, i, ac);
  }
  b->n = 0;
  return AMP_OK;
}

/* One more year to simulate; a full batch is run on the way. */
static amp_status want (const amp_context *ctx, batch *b, case_plan *p,
                        const case_state *x, double *point, case_node *node,
                        amp_error *err) {
  amp_error why = {0};
  if (add_lane(b, p, x, point, node, &why) != AMP_OK) {
    case_refuse(p, &why);
    drop_case(b, p);
    return AMP_OK;
  }
  if (amp_stopped(ctx))
    return amp_failf(err, AMP_ESTOP, NULL, "stopped");
  return b->n == LANES_AT_ONCE ? run_batch(ctx, b, err) : AMP_OK;
}

/* The points that 's' strings still lack. */
static amp_status want_points (const amp_context *ctx, batch *b, case_plan *p,
                               int s, amp_error *err) {
  case_year *y = &p->own.year[s];
  size_t room = CASE_POINTS * (size_t)p->fields * sizeof *y->value;
  amp_status st = AMP_OK;
  if (y->value == NULL && (y->value = amp_alloc(ctx, room)) == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the years");
  for (int i = y->points; i < y->asked; i++) {
    case_state x = case_space_point(p, s, i);
    if (st == AMP_OK && p->r->status == AMP_OK)
      st = want(ctx, b, p, &x, y->value + i * p->fields, NULL, err);
  }
  return st;
}

/* Draws in full, at even states of health over the span of the nodes. */
static amp_status want_checks (const amp_context *ctx, batch *b, case_plan *p,
                               amp_error *err) {
  double soh[CASE_NODES];
  int n = case_space_nodes(&p->space, soh);
  int m = n > 1 ? CASE_CHECK_NODES : 1;
  amp_status st = AMP_OK;
  for (int c = 0; c < p->checks; c++)
    for (int j = 0; j < m; j++) {
      double at =
          n > 1 ? soh[0] + (soh[n - 1] - soh[0]) * j / (m - 1) : soh[0];
      case_state x = case_state_of(&p->draw[p->check[c].draw], at);
      if (st == AMP_OK && p->r->status == AMP_OK)
        st = want(ctx, b, p, &x, NULL, &p->check[c].node[j], err);
    }
  return st;
}

/* All years of one plan. */
static amp_status add_plan (const amp_context *ctx, batch *b, case_plan *p,
                            amp_error *err) {
  amp_status st = AMP_OK;
  for (int s = 1; p->years == &p->own && s <= p->own.most; s++)
    if (st == AMP_OK && p->own.year[s].asked > p->own.year[s].points)
      st = want_points(ctx, b, p, s, err);
  return st == AMP_OK ? want_checks(ctx, b, p, err) : st;
}

/* ---- years that several cases share ---- */

static bool same_converter (const amp_converter *a, const amp_converter *b) {
  bool same = a->v_min == b->v_min && a->v_max == b->v_max &&
              a->power == b->power && a->efficiency == b->efficiency &&
              a->idle == b->idle && a->points == b->points;
  for (int i = 0; same && i < a->points; i++)
    same = a->load[i] == b->load[i] && a->at[i] == b->at[i];
  return same;
}

static bool same_space (const case_space *a, const case_space *b) {
  bool same = a->dims == b->dims && a->soh == b->soh && a->r == b->r;
  for (int k = 0; same && k < a->dims; k++)
    same =
        a->is[k] == b->is[k] && a->lo[k] == b->lo[k] && a->hi[k] == b->hi[k];
  return same;
}

/* Do both make the same terms of a stretch? Rates are drawn later. */
static bool same_law (const amp_ageing *a, const amp_ageing *b) {
  amp_ageing x, y;
  if (a == b)
    return true;
  memcpy(&x, a, sizeof x);
  memcpy(&y, b, sizeof y);
  if (x.kind == AMP_AGEING_RATES && y.kind == AMP_AGEING_RATES)
    x.calendar = x.per_cycle = y.calendar = y.per_cycle = 0.0;
  return memcmp(&x, &y, sizeof x) == 0;
}

static bool same_models (const amp_life_choice *a, const amp_life_choice *b) {
  bool same = a->models == b->models;
  for (int k = 0; same && k < a->models; k++)
    same = same_law(a->model[k], b->model[k]);
  return same;
}

/* Would the same years be simulated? A resistance that was measured, and all
** of a build, count from the health they were measured at, which then has to
** be the same. */
static bool alike (const case_plan *a, const case_plan *b) {
  const amp_window *v = &a->r->window, *w = &b->r->window;
  if (a->c->module != b->c->module || a->c->build != b->c->build ||
      a->series != b->series || a->c->need->duty != b->c->need->duty)
    return false;
  if ((a->c->build != NULL || amp_value_is_set(&a->module.r10s)) &&
      amp_module_health(&a->module) != amp_module_health(&b->module))
    return false;
  return v->v_min == w->v_min && v->v_max == w->v_max &&
         v->soc_min == w->soc_min && v->soc_max == w->soc_max &&
         same_converter(&a->c->need->converter, &b->c->need->converter) &&
         same_space(&a->space, &b->space) && same_models(a->life, b->life);
}

static amp_status grow (const amp_context *ctx, case_years *y, int most,
                        amp_error *err) {
  size_t had = ((size_t)y->most + 1) * sizeof *y->year;
  size_t room = ((size_t)most + 1) * sizeof *y->year;
  case_year *to;
  if (most <= y->most)
    return AMP_OK;
  to = amp_realloc(ctx, y->year, had, room);
  if (to == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the years");
  memset((char *)to + had, 0, room - had);
  y->year = to;
  y->most = most;
  return AMP_OK;
}

/* Plan i takes the years of the first plan that is alike, and asks there for
** what its draws want. */
static amp_status share (const amp_context *ctx, case_plan *plan, size_t i,
                         amp_error *err) {
  case_plan *p = &plan[i];
  size_t j = 0;
  amp_status st;
  while (j < i && !(plan[j].r->status == AMP_OK &&
                    plan[j].years == &plan[j].own && alike(&plan[j], p)))
    j++;
  p->years = &plan[j].own;
  st = grow(ctx, p->years, p->most, err);
  for (int s = 1; st == AMP_OK && s <= p->most; s++) {
    case_year *y = &p->years->year[s];
    int points = case_space_points(p, s);
    y->asked = points > y->asked ? points : y->asked;
  }
  return st;
}

/* Which draws are simulated in full: spread over all, those with strings. */
static void choose_checks (case_plan *p) {
  p->checks = 0;
  for (size_t k = 0; case_space_is_wide(&p->space) && k < CASE_CHECKS; k++) {
    size_t i = (2 * k + 1) * p->draws / (2 * CASE_CHECKS);
    if (p->checked && p->draws > 2 * CASE_CHECKS && p->draw[i].strings > 0)
      p->check[p->checks++].draw = i;
  }
}

/* The simulated points become what each adds. */
static void settle (case_plan *p) {
  for (int s = 1; s <= p->own.most; s++) {
    case_year *y = &p->own.year[s];
    if (y->asked > y->points)
      case_space_settle(p, y);
  }
}

static amp_status prepare (const amp_context *ctx, case_plan *plan,
                           size_t old, size_t n, size_t *lanes,
                           amp_error *err) {
  amp_status st = AMP_OK;
  for (size_t i = old; st == AMP_OK && i < n; i++)
    if (plan[i].r->status == AMP_OK) {
      choose_checks(&plan[i]);
      st = share(ctx, plan, i, err);
    }
  for (size_t i = 0; st == AMP_OK && i < n; i++) {
    *lanes += (size_t)plan[i].checks * CASE_CHECK_NODES;
    for (int s = 1; plan[i].own.year != NULL && s <= plan[i].own.most; s++)
      *lanes +=
          (size_t)(plan[i].own.year[s].asked - plan[i].own.year[s].points);
  }
  return st;
}

/* ---- all of it ---- */

static bool seen_before (const case_plan *plan, size_t i) {
  for (size_t j = 0; j < i; j++)
    if (plan[j].c->need->duty == plan[i].c->need->duty)
      return true;
  return false;
}

/* All plans on the duty of plan i. */
static amp_status run_duty (const amp_context *ctx, batch *b, case_plan *plan,
                            size_t i, size_t n, amp_error *err) {
  amp_status st = AMP_OK;
  b->duty = plan[i].c->need->duty;
  b->n = 0;
  for (size_t j = i; st == AMP_OK && j < n; j++)
    if (plan[j].c->need->duty == b->duty && plan[j].r->status == AMP_OK)
      st = add_plan(ctx, b, &plan[j], err);
  return st == AMP_OK ? run_batch(ctx, b, err) : st;
}

/* A case whose years another simulates is refused with it. */
static void finish (case_plan *plan, size_t n) {
  for (size_t i = 0; i < n; i++)
    if (plan[i].r->status == AMP_OK && plan[i].years == &plan[i].own)
      settle(&plan[i]);
  for (size_t i = 0; i < n; i++)
    for (size_t j = 0; plan[i].r->status == AMP_OK && j < i; j++)
      if (plan[i].years == &plan[j].own && plan[j].r->status != AMP_OK)
        case_refuse(&plan[i], &plan[j].r->why);
  for (size_t i = 0; i < n; i++)
    if (plan[i].r->status == AMP_OK)
      plan[i].r->energy_residual = plan[i].years->energy_residual;
}

amp_status case_run (const amp_context *ctx, case_plan *plan, size_t old,
                     size_t n, amp_error *err) {
  size_t lanes = 0;
  amp_status st = prepare(ctx, plan, old, n, &lanes, err);
  batch *b;
  if (st != AMP_OK || lanes == 0)
    return st; /* all years are there */
  b = amp_alloc(ctx, sizeof *b);
  if (b == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the years");
  b->all = lanes;
  for (size_t i = 0; st == AMP_OK && i < n; i++)
    if (!seen_before(plan, i))
      st = run_duty(ctx, b, plan, i, n, err);
  if (st == AMP_OK)
    finish(plan, n);
  amp_free(ctx, b, sizeof *b);
  return st;
}
