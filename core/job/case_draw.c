/*
** case_draw.c -- the plan of a case: the layout, what is known of one
** module, and the draws. Modules in use follow the accepted number of each
** draw, in whole strings; the layout is chosen once, at the middle values.
*/
#include "base/sample.h"
#include "job/case_parts.h"
#include <math.h>
#include <string.h>

/* A year costs milliseconds: of a duty with spread so many draws are
** simulated and serve all others in turn. */
enum { DUTY_DRAWS = 32, NODES_OF_SPREAD = 3 };

#define MONEY 1e11   /* a typing error above */
#define HORIZON 15.0 /* years, where the need says nothing */

static double given_or (double v, double instead) {
  return amp_given(v) ? v : instead;
}

/* ---- what one module is ---- */

/* The module with the case's window and values in place of its own. */
static void own_module (case_plan *p) {
  const amp_case *c = p->c;
  amp_module *m = &p->module;
  *m = *c->module;
  amp_module_rewindow(m, c->soc_min, c->soc_max, c->cell_v_min,
                      c->cell_v_max);
  if (amp_value_is_set(&c->tested) || amp_value_is_set(&c->soh)) {
    m->tested = c->tested;
    m->soh = c->soh;
  }
  p->soh_end = given_or(c->soh_end, m->soh_end);
  p->life = c->life.models > 0 ? &c->life : &c->need->life;
  p->horizon = fmin(given_or(c->need->horizon, HORIZON), AMP_LIFE_YEARS);
  p->v_nominal = amp_module_nominal_v(m);
}

static void missing (amp_error *err, const char *field, const char *text) {
  amp_failf(err, AMP_EMISSING, field, "%s", text);
}

/* A published law, all of which were fitted to lithium cells; or NULL. */
static const amp_ageing *published (const amp_life_choice *life) {
  for (int k = 0; k < life->models; k++)
    if (life->model[k]->source != NULL)
      return life->model[k];
  return NULL;
}

/* Why there will be no years, or AMP_OK in r->years_why. */
static void ask_for_years (case_plan *p) {
  const amp_module *m = &p->module;
  amp_error *why = &p->r->years_why;
  if (!amp_value_is_set(&m->tested) && !amp_value_is_set(&m->soh))
    missing(why, "soh", "neither a tested capacity nor a SoH was given");
  else if (!amp_given(p->soh_end))
    missing(why, "soh_end", "no SoH was given at which its life ends");
  else if (p->life->models <= 0)
    missing(why, "life_model", "no model of its fading was given");
  else if (strcmp(m->chemistry->name, "lead_acid") == 0 && published(p->life))
    amp_failf(why, AMP_EREFUSED, "life_model",
              "%s was fitted to lithium cells and says nothing of lead-acid: "
              "give its own cycles_at_dod",
              published(p->life)->name);
}

static void bases (case_plan *p) {
  const amp_module *m = &p->module;
  const amp_value *r = &m->r10s;
  amp_basis each = m->capacity.basis, duty = p->c->need->duty->basis;
  if (amp_value_is_set(&m->tested))
    each = m->tested.basis; /* the nameplate does not enter */
  else if (amp_value_is_set(&m->soh))
    each = amp_basis_worse(each, m->soh.basis);
  else
    each = AMP_BASIS_ASSUMED; /* the nameplate taken for the truth */
  p->basis_each = each;
  p->basis_dud = AMP_BASIS_NONE;
  if (p->c->from_offer) /* no share of duds given: none assumed */
    p->basis_dud =
        amp_value_is_set(&p->c->dud) ? p->c->dud.basis : AMP_BASIS_ASSUMED;
  p->basis_usable = amp_basis_worse(each, p->basis_dud);
  if (p->r->window.assumed_low || p->r->window.assumed_high)
    p->basis_usable = AMP_BASIS_ASSUMED;
  p->basis_run = amp_basis_worse(p->basis_usable, duty);
  p->basis_run = amp_basis_worse(
      p->basis_run, amp_value_is_set(r) ? r->basis : AMP_BASIS_ASSUMED);
}

/* ---- layout ---- */

static double dud_middle (const amp_case *c) {
  return amp_value_is_set(&c->dud) ? c->dud.value : 0.0;
}

/* Too few modules for a string that would fit, or none fits: then the
** reason of the longest string that stays below the absolute limit. */
static amp_status no_layout (const case_plan *p, const amp_layout *row, int n,
                             amp_error *err) {
  int tell = 0;
  for (int i = 0; i < n; i++) {
    if (row[i].fits)
      return amp_failf(err, AMP_EREFUSED, "count",
                       "%d modules, less duds, make no string of %d",
                       p->count, row[i].modules);
    if (!(row[i].margin < 0.0))
      tell = i;
  }
  if (n == 0)
    return amp_failf(err, AMP_EREFUSED, "soc_min",
                     "the cell limits leave no window");
  if (err != NULL)
    *err = row[tell].why;
  return row[tell].why.status;
}

static int groups_of (const case_plan *p) {
  return p->c->build ? amp_build_groups(p->c->build)
                     : p->series * p->module.series;
}

/* The series count with most usable energy of the modules in use; on a tie
** the shorter string. */
static amp_status best_layout (case_plan *p, amp_error *err) {
  amp_layout row[AMP_LAYOUTS];
  const amp_converter *v = &p->c->need->converter;
  int n =
      amp_layouts(&p->module, v->v_min, v->v_max, p->c->need->v_abs_max, row);
  double most = 0.0;
  for (int i = 0; i < n; i++) {
    int used = amp_modules_in_use(p->count, dud_middle(p->c), row[i].modules);
    double usable = used * amp_window_by_charge(&row[i].window);
    if (row[i].fits && usable > most) {
      most = usable;
      p->series = row[i].modules;
      p->r->window = row[i].window;
    }
  }
  if (most > 0.0)
    return AMP_OK;
  return no_layout(p, row, n, err);
}

static amp_status given_layout (case_plan *p, amp_error *err) {
  const amp_module *m = &p->module;
  const amp_need *need = p->c->need;
  amp_status st = amp_check_range(err, "series", p->c->series, 1, 1000);
  if (st == AMP_OK)
    st = amp_check_range(err, "parallel", p->c->parallel, 1, 1000);
  if (st != AMP_OK)
    return st;
  p->series = p->c->series;
  p->count = p->c->series * p->c->parallel;
  return amp_window_of(m->chemistry, groups_of(p), m->soc_min, m->soc_max,
                       m->cell_v_min, m->cell_v_max, need->converter.v_min,
                       need->converter.v_max, need->v_abs_max, &p->r->window,
                       err);
}

static void note_layout (case_plan *p) {
  amp_case_result *r = p->r;
  double dud = p->c->from_offer ? dud_middle(p->c) : 0.0;
  r->used = p->c->from_offer ? amp_modules_in_use(p->count, dud, p->series)
                             : p->count;
  r->modules_in_string = p->series;
  r->strings = r->used / p->series;
  r->groups = groups_of(p);
  r->count = p->count;
  r->accepted_mean = p->count * (1.0 - dud);
  r->r_assumed = !amp_value_is_set(&p->module.r10s);
  r->capacity_assumed = !amp_value_is_set(&p->module.tested) &&
                        !amp_value_is_set(&p->module.soh);
  r->nameplate = p->count * p->v_nominal * p->module.capacity.value;
  p->share = amp_window_by_charge(&r->window);
}

/* Inside what amp_levelised takes: it must not fail later, draw by draw. */
static amp_status check_sums (const amp_case *c, amp_error *err) {
  const amp_need *need = c->need;
  const struct {
    const char *field;
    double v, lo, hi;
  } row[] = {{"discount", need->discount, -0.5, 1.0},
             {"charge_price", need->charge_price, -1e6, 1e6},
             {"carry_per_kg", need->carry_per_kg, 0.0, 1e6},
             {"bos", c->bos, 0.0, MONEY},
             {"bos_kg", c->bos_mass, 0.0, 1e5},
             {"costs", c->extra, -MONEY, MONEY},
             {"residual", c->residual, -MONEY, MONEY}};
  amp_status st = AMP_OK;
  for (size_t i = 0; st == AMP_OK && i < sizeof row / sizeof *row; i++)
    if (amp_given(row[i].v))
      st = amp_check_range(err, row[i].field, row[i].v, row[i].lo, row[i].hi);
  return st;
}

static amp_status check_landed (const case_plan *p, amp_error *err) {
  amp_status st = amp_offer_landed(&p->c->offer, &p->r->landed, err);
  if (st == AMP_OK)
    st = amp_check_range(err, "landed", p->r->landed.total, 0.0, MONEY);
  return st;
}

static amp_status check_money (const case_plan *p, amp_error *err) {
  const amp_case *c = p->c;
  double carry = given_or(c->need->carry_per_kg, 0.0);
  amp_status st = check_sums(c, err);
  if (st == AMP_OK && !c->from_offer)
    return amp_check_range(err, "cost", c->cost, -MONEY, MONEY);
  if (st != AMP_OK)
    return st;
  if (carry > 0.0 && !amp_given(p->module.mass))
    return amp_failf(err, AMP_EMISSING, "mass",
                     "carriage is paid by weight and the module's mass was "
                     "not given");
  return check_landed(p, err);
}

static amp_status check_life (const case_plan *p, amp_error *err) {
  amp_status st =
      amp_check_range(err, "life_model", p->life->models, 0, AMP_CASE_MODELS);
  for (int k = 0; st == AMP_OK && k < p->life->models; k++)
    st = amp_ageing_check(p->life->model[k], err);
  if (st == AMP_OK && amp_given(p->soh_end))
    st = amp_check_range(err, "soh_end", p->soh_end, 0.001, 1.0);
  if (st == AMP_OK)
    st = amp_check_range(err, "horizon", p->horizon, 1.0, AMP_LIFE_YEARS);
  return st;
}

static amp_status check_case (case_plan *p, amp_error *err) {
  const amp_case *c = p->c;
  amp_status st;
  if (!amp_value_is_set(&p->module.capacity))
    return amp_failf(err, AMP_EMISSING, "capacity",
                     "the module's nameplate capacity was not given");
  st = amp_module_check(&p->module, err);
  p->count = c->offer.count;
  if (st == AMP_OK && c->from_offer)
    st = amp_check_range(err, "dud", dud_middle(c), 0.0, 1.0);
  if (st == AMP_OK)
    st = check_life(p, err);
  if (st == AMP_OK)
    st = check_money(p, err);
  if (st == AMP_OK)
    st = c->from_offer ? best_layout(p, err) : given_layout(p, err);
  return st;
}

/* ---- draws ---- */

typedef struct lot {
  const case_plan *p;
  const amp_ask *ask;
  uint64_t stream; /* of the number of duds */
  double *at_most; /* [count] chance of at most so many accepted; NULL where
                      the share of duds is spread or nothing is a dud */
} lot;

static double drawn (const lot *l, const amp_value *v, size_t i,
                     double unset) {
  if (!amp_value_is_set(v))
    return unset;
  return amp_value_draw(v, l->ask->seed, i, l->ask->draws);
}

static bool has_spread (const amp_value *v) {
  return amp_value_is_set(v) && !amp_value_is_fixed(v);
}

/* One share of duds for all draws: its sums are taken once, as
** amp_binomial_quantile would take them for each. */
static amp_status sum_chances (const amp_context *ctx, lot *l,
                               amp_error *err) {
  const amp_case *c = l->p->c;
  size_t n = (size_t)l->p->count;
  double sum = 0.0;
  if (!c->from_offer || has_spread(&c->dud) || !(dud_middle(c) > 0.0))
    return AMP_OK;
  l->at_most = amp_alloc(ctx, n * sizeof *l->at_most);
  if (l->at_most == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the duds");
  for (size_t k = 0; k < n; k++) {
    sum += amp_binomial_pmf((int)n, (int)k, 1.0 - c->dud.value);
    l->at_most[k] = sum;
  }
  return AMP_OK;
}

/* The first place of at_most[n] that reaches u, less the rounding that
** amp_binomial_quantile allows; n where none does. */
static int first_reaching (const double *at_most, int n, double u) {
  int lo = 0, hi = n;
  while (lo < hi) {
    int middle = lo + (hi - lo) / 2;
    if (at_most[middle] >= u - 1e-12)
      hi = middle;
    else
      lo = middle + 1;
  }
  return lo;
}

/* Accepted modules at a random place of the binomial distribution. */
static int accepted (const lot *l, double dud, size_t i) {
  int n = l->p->count;
  double u;
  if (!l->p->c->from_offer || dud <= 0.0)
    return n;
  u = amp_uniform_stratified(l->ask->seed, l->stream, i, l->ask->draws);
  return l->at_most != NULL ? first_reaching(l->at_most, n, u)
                            : amp_binomial_quantile(n, 1.0 - dud, u);
}

/* A capacity is never below 1 % of the label, whatever a normal spread
** says, nor above 1.5 times it. */
static void draw_module (const lot *l, size_t i, case_draw *d) {
  const amp_module *m = &l->p->module;
  double label = drawn(l, &m->capacity, i, 0.0), has;
  d->capacity = fmax(label, 0.01 * m->capacity.value);
  if (amp_value_is_set(&m->tested))
    has = drawn(l, &m->tested, i, 0.0);
  else
    has = d->capacity * drawn(l, &m->soh, i, 1.0);
  d->tested = fmin(fmax(has, 0.01 * d->capacity), 1.5 * d->capacity);
  d->soh = d->tested / d->capacity;
}

/* One of the duty's draws. Each round of them starts one later, so that no
** duty always meets the same life model. */
static void draw_duty (const lot *l, size_t i, case_draw *d) {
  const amp_duty *duty = l->p->c->need->duty;
  lot few = *l;
  amp_ask ask = *l->ask;
  if (ask.draws > DUTY_DRAWS) {
    ask.draws = DUTY_DRAWS;
    i = (i + i / DUTY_DRAWS) % DUTY_DRAWS;
  }
  few.ask = &ask;
  d->load = fmax(drawn(&few, &duty->load_factor, i, 1.0), 0.0);
  d->sun = fmax(drawn(&few, &duty->sun_factor, i, 1.0), 0.0);
  d->shift = drawn(&few, &duty->temp_shift, i, 0.0);
}

static void draw_one (const lot *l, size_t i, case_draw *d) {
  d->dud = fmin(fmax(drawn(l, &l->p->c->dud, i, 0.0), 0.0), 1.0);
  d->strings = accepted(l, d->dud, i) / l->p->series;
  draw_module(l, i, d);
  draw_duty(l, i, d);
  d->key = CASE_NO_KEY;
}

static bool same_year (const case_key *a, const case_draw *d) {
  return a->strings == d->strings && a->load == d->load && a->sun == d->sun &&
         a->shift == d->shift;
}

/* The key of a draw: duties repeat, so there are few. */
static void find_key (case_plan *p, case_draw *d) {
  if (d->strings <= 0)
    return;
  for (size_t i = 0; i < p->keys; i++)
    if (same_year(&p->key[i], d)) {
      d->key = i;
      return;
    }
  d->key = p->keys++;
  p->key[d->key] = (case_key){d->strings, d->load, d->sun, d->shift};
}

static int most_nodes (const case_plan *p) {
  const amp_duty *d = p->c->need->duty;
  bool spread = has_spread(&d->load_factor) || has_spread(&d->sun_factor) ||
                has_spread(&d->temp_shift);
  return spread ? NODES_OF_SPREAD : CASE_NODES;
}

/* States of health to simulate, evenly from the end of life (or the lowest
** drawn) up to the highest drawn; one where all are the same. In the middle
** nameplate's measure. */
static void spread_nodes (case_plan *p) {
  double lo = 10.0, hi = 0.0, end = p->soh_end;
  for (size_t i = 0; i < p->draws; i++) {
    double soh = p->draw[i].tested / p->module.capacity.value;
    lo = fmin(lo, soh);
    hi = fmax(hi, soh);
  }
  if (p->r->years_why.status == AMP_OK && end < lo)
    lo = fmin(lo, fmax(end, 0.3));
  p->nodes = hi - lo > 1e-9 ? most_nodes(p) : 1;
  for (int k = 0; k < p->nodes; k++)
    p->node_soh[k] = p->nodes == 1 ? hi : lo + (hi - lo) * k / (p->nodes - 1);
  p->node_soh[p->nodes - 1] = hi;
}

/* Lots may share a share of duds, one value object, but not their luck. */
static uint64_t luck_of (const case_plan *p) {
  uint64_t own = p->c->stream != 0 ? p->c->stream : p->place + 1;
  return own ^ amp_stream("accepted of the lot");
}

static void draw_all (const lot *l, case_plan *p) {
  for (size_t i = 0; i < p->draws; i++) {
    draw_one(l, i, &p->draw[i]);
    find_key(p, &p->draw[i]);
  }
}

static amp_status make_draws (const amp_context *ctx, const amp_ask *ask,
                              case_plan *p, amp_error *err) {
  lot l = {p, ask, luck_of(p), NULL};
  amp_status st = sum_chances(ctx, &l, err);
  if (st != AMP_OK)
    return st;
  p->draws = ask->draws;
  p->draw = amp_alloc(ctx, p->draws * sizeof *p->draw);
  p->key = amp_alloc(ctx, p->draws * sizeof *p->key);
  if (p->draw != NULL && p->key != NULL)
    draw_all(&l, p);
  else
    st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for the draws");
  amp_free(ctx, l.at_most, (size_t)p->count * sizeof *l.at_most);
  return st;
}

static amp_status make_nodes (const amp_context *ctx, case_plan *p,
                              amp_error *err) {
  spread_nodes(p);
  p->node_bytes = p->keys * (size_t)p->nodes * sizeof *p->node;
  p->node = amp_alloc(ctx, p->node_bytes);
  if (p->node == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the years");
  return AMP_OK;
}

amp_status case_plan_make (const amp_context *ctx, const amp_case *cases,
                           size_t place, const amp_ask *ask,
                           amp_case_result *result, case_plan *p,
                           amp_error *err) {
  amp_error why = {0};
  amp_case_result *r = &result[place];
  amp_status st;
  memset(p, 0, sizeof *p);
  memset(r, 0, sizeof *r);
  case_no_stats(r);
  p->c = &cases[place];
  p->place = place;
  p->r = r;
  own_module(p);
  if (check_case(p, &why) != AMP_OK) {
    case_refuse(p, &why);
    return AMP_OK;
  }
  ask_for_years(p);
  note_layout(p);
  bases(p);
  if (r->strings < 1) {
    amp_failf(&why, AMP_EREFUSED, "dud",
              "the median accepted number makes no whole string");
    case_refuse(p, &why);
    return AMP_OK;
  }
  st = make_draws(ctx, ask, p, err);
  return st == AMP_OK ? make_nodes(ctx, p, err) : st;
}

void case_plan_free (const amp_context *ctx, case_plan *p) {
  amp_free(ctx, p->draw, p->draws * sizeof *p->draw);
  amp_free(ctx, p->key, p->draws * sizeof *p->key);
  amp_free(ctx, p->node, p->node_bytes);
}
