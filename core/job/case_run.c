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

/* One lane: a year of a plan at one state of health. */
typedef struct lane {
  case_plan *plan;
  size_t key;
  int k;         /* node */
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
  return l->plan->module.capacity.value * l->plan->key[l->key].strings;
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

static bool has_ac (const amp_duty *d) {
  for (size_t i = 0; i < d->n; i++)
    if (d->ac[i] > 0.0)
      return true;
  return false;
}

/* Everything to a year of 365 days, where the duty is shorter. */
static void to_year (const amp_sim_month *t, bool ac, double per_year,
                     case_node *n) {
  n->year.served = per_year * (ac ? t->served : t->dc_served);
  n->year.unserved = per_year * (ac ? t->unserved : t->dc_unserved);
  n->year.curtailed = per_year * t->curtailed;
  n->year.charged = per_year * t->in;
  n->year.out = per_year * t->out;
  n->unserved = n->year.unserved;
  n->curtailed = n->year.curtailed;
  for (int k = 0; k < AMP_CASE_MODELS; k++)
    for (int j = 0; j < AMP_AGEING_TERMS; j++)
      n->term[k][j] *= per_year;
  n->year.brief.time *= per_year;
  n->year.brief.fec *= per_year;
  n->year.brief.fec_in *= per_year;
  n->year.brief.efc *= per_year;
}

static void keep (const batch *b, size_t i, bool ac) {
  const lane *l = &b->lane[i];
  const amp_sim_result *r = &b->result[i];
  case_plan *p = l->plan;
  case_node *n = &p->node[l->key * (size_t)p->nodes + (size_t)l->k];
  double moved = fmax(r->total.out, r->total.in);
  *n = l->sum;
  n->year.soh = p->node_soh[l->k];
  means(l, &r->total, &n->year.brief);
  n->year.brief.dod = l->r1 > 0.0 ? clamp01(l->r2 / l->r1) : 0.0;
  to_year(&r->total, ac, CASE_YEAR / r->total.time, n);
  if (moved > 0.0)
    p->r->energy_residual =
        fmax(p->r->energy_residual, fabs(r->energy_residual) / moved);
}

/* ---- lanes ---- */

static amp_status make_pack (const lane *l, amp_pack *pack, amp_error *err) {
  const case_plan *p = l->plan;
  double soh = p->node_soh[l->k];
  amp_group g;
  if (p->c->build != NULL) /* every module fades as their mean does */
    return amp_build_pack(p->c->build, &p->r->window,
                          soh / amp_module_health(&p->module), pack, NULL,
                          err);
  amp_status st =
      amp_module_leaf_at(&p->module, &p->r->window, soh, p->series,
                         p->key[l->key].strings, &g, err);
  if (st == AMP_OK)
    amp_pack_uniform(&g, 1, 1, pack);
  return st;
}

static amp_status add_lane (batch *b, case_plan *p, size_t key, int k,
                            amp_error *err) {
  size_t i = b->n;
  const case_key *y = &p->key[key];
  amp_status st;
  memset(&b->lane[i], 0, sizeof b->lane[i]);
  b->lane[i].plan = p;
  b->lane[i].key = key;
  b->lane[i].k = k;
  st = make_pack(&b->lane[i], &b->pack[i], err);
  if (st != AMP_OK)
    return st;
  b->sim[i] = (amp_sim_case){&b->pack[i], p->c->need->converter, y->load,
                             y->sun, y->shift};
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
  bool ac = has_ac(b->duty);
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

/* All years of one plan; a full batch is run on the way. */
static amp_status add_plan (const amp_context *ctx, batch *b, case_plan *p,
                            amp_error *err) {
  for (size_t key = 0; key < p->keys; key++)
    for (int k = 0; k < p->nodes && p->r->status == AMP_OK; k++) {
      amp_error why = {0};
      amp_status st = AMP_OK;
      if (add_lane(b, p, key, k, &why) != AMP_OK) {
        case_refuse(p, &why);
        drop_case(b, p);
      } else if (b->n == LANES_AT_ONCE)
        st = run_batch(ctx, b, err);
      if (st != AMP_OK)
        return st;
      if (amp_stopped(ctx))
        return amp_failf(err, AMP_ESTOP, NULL, "stopped");
    }
  return AMP_OK;
}

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

amp_status case_run (const amp_context *ctx, case_plan *plan, size_t n,
                     amp_error *err) {
  amp_status st = AMP_OK;
  batch *b = amp_alloc(ctx, sizeof *b);
  if (b == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the years");
  for (size_t i = 0; i < n; i++)
    if (plan[i].r->status == AMP_OK)
      b->all += plan[i].keys * (size_t)plan[i].nodes;
  for (size_t i = 0; st == AMP_OK && i < n; i++)
    if (!seen_before(plan, i))
      st = run_duty(ctx, b, plan, i, n, err);
  amp_free(ctx, b, sizeof *b);
  return st;
}
