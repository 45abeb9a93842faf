/*
** case_draw.c -- the plan of a case: the layout, what is known of one
** module, and the draws. Modules in use follow the accepted number of each
** draw, in whole strings; the layout is chosen once, at the middle values.
*/
#include "base/sample.h"
#include "job/case_parts.h"
#include <math.h>
#include <string.h>

enum { TURN = 256 }; /* draws taken together */

/* Drawn in fewer than one of so many draws: a coarser grid will do. */
enum { RARE = 25 };

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
  p->fields = CASE_TERMS + p->life->models * AMP_AGEING_TERMS + CASE_BRIEF;
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

/* The middle share of duds, as held where a what-if holds it. */
static double dud_now (const case_plan *p) {
  return p->held != NULL && p->held->is[AMP_IN_DUD] ? p->held->at[AMP_IN_DUD]
                                                    : dud_middle(p->c);
}

/* Median of the accepted ones, in whole strings. */
static int in_use (const case_plan *p, int series) {
  return p->median - p->median % series;
}

static amp_status take_median (const amp_context *ctx, case_plan *p,
                               amp_error *err) {
  size_t bytes = (size_t)p->count * sizeof(double);
  double *at_most;
  p->median = amp_modules_in_use(p->count, dud_now(p), 1);
  if (!(p->c->together > 0.0))
    return AMP_OK;
  at_most = amp_alloc(ctx, bytes);
  if (at_most == NULL)
    return amp_failf(err, AMP_ENOMEM, NULL, "no memory for the duds");
  amp_good_chances(p->count, dud_now(p), p->c->together, at_most);
  p->median = amp_good_at(at_most, p->count, 0.5);
  amp_free(ctx, at_most, bytes);
  return AMP_OK;
}

/* Too few modules for a string that would fit, or none fits: then the
** reason of the longest string that stays below the absolute limit, and that
** of the next longer one. */
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
  if (tell + 1 < n)
    return amp_failf(err, row[tell].why.status, row[tell].why.field, "%s; %s",
                     row[tell].why.text, row[tell + 1].why.text);
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
    int used = in_use(p, row[i].modules);
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
  double dud = p->c->from_offer ? dud_now(p) : 0.0;
  r->used = p->c->from_offer ? in_use(p, p->series) : p->count;
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
             {"tariff", need->tariff, 0.0, 1e3},
             {"rise", need->rise, -0.5, 0.5},
             {"again", c->again, 0.0, MONEY},
             {"carry_per_kg", need->carry_per_kg, 0.0, 1e6},
             {"bos", c->bos, 0.0, MONEY},
             {"bos_kg", c->bos_mass, 0.0, 1e5},
             {"costs", c->extra, -MONEY, MONEY},
             {"residual", c->residual, -MONEY, MONEY}};
  amp_status st = AMP_OK;
  for (size_t i = 0; st == AMP_OK && i < sizeof row / sizeof *row; i++)
    if (amp_given(row[i].v))
      st = amp_check_range(err, row[i].field, row[i].v, row[i].lo, row[i].hi);
  if (st == AMP_OK)
    st = amp_check_range(err, "laters", c->laters, 0, AMP_CASE_LATER);
  for (int i = 0; st == AMP_OK && i < c->laters; i++)
    st = amp_later_check(&c->later[i], err);
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

static amp_status check_case (const amp_context *ctx, case_plan *p,
                              amp_error *err) {
  const amp_case *c = p->c;
  amp_status st;
  if (!amp_value_is_set(&p->module.capacity))
    return amp_failf(err, AMP_EMISSING, "capacity",
                     "the module's nameplate capacity was not given");
  st = amp_module_check(&p->module, err);
  p->count = c->offer.count;
  if (st == AMP_OK && c->from_offer)
    st = amp_check_range(err, "dud", dud_middle(c), 0.0, 1.0);
  if (st == AMP_OK && c->from_offer)
    st = amp_check_range(err, "dud_together", c->together, 0.0, 1.0);
  if (st == AMP_OK)
    st = amp_check_range(err, "prices", c->prices, 0, AMP_CASE_PRICES);
  if (st == AMP_OK)
    st = check_life(p, err);
  if (st == AMP_OK)
    st = check_money(p, err);
  if (st == AMP_OK && c->from_offer)
    st = take_median(ctx, p, err);
  if (st == AMP_OK)
    st = c->from_offer ? best_layout(p, err) : given_layout(p, err);
  return st;
}

/* ---- draws ---- */

static const amp_value *price_of (const amp_case *c, int k) {
  return k < c->prices ? &c->price[k].v : NULL;
}

const amp_value *case_value_of (const case_plan *p, amp_case_input in) {
  const amp_duty *d = p->c->need->duty;
  const amp_value *v[AMP_IN_CALENDAR] = {
      &p->c->dud,     &p->module.capacity, &p->module.tested,
      &p->module.soh, &p->module.r10s,     &d->load_factor,
      &d->sun_factor, &d->temp_shift};
  if (in >= AMP_IN_TERM)
    return &p->c->need->term[in - AMP_IN_TERM];
  if (in >= AMP_IN_PRICE)
    return price_of(p->c, (int)(in - AMP_IN_PRICE));
  if (in >= AMP_IN_CYCLE)
    return &p->life->per_cycle[in - AMP_IN_CYCLE];
  if (in >= AMP_IN_CALENDAR)
    return &p->life->calendar[in - AMP_IN_CALENDAR];
  return v[in];
}

void case_draws (const amp_context *ctx, const case_plan *p,
                 const amp_ask *ask, amp_case_input in, double unset,
                 size_t from, size_t n, double *out) {
  const amp_value *v = case_value_of(p, in);
  bool held = p->held != NULL && p->held->is[in];
  if (!held && v != NULL && amp_value_is_set(v)) {
    amp_value_draws(ctx, v, ask->seed, from, n, ask->draws, out);
    return;
  }
  for (size_t i = 0; i < n; i++)
    out[i] = held ? p->held->at[in] : unset;
}

typedef struct lot {
  const amp_context *ctx;
  case_plan *p;
  const amp_ask *ask;
  uint64_t stream; /* of the number of duds */
  double *at_most; /* [count] chance of at most so many accepted, */
  double of;       /* at this share of duds */
} lot;

/* Accepted modules at place u of their distribution. */
static int accepted (lot *l, double dud, double u) {
  if (!l->p->c->from_offer || dud <= 0.0)
    return l->p->count;
  if (dud != l->of)
    amp_good_chances(l->p->count, dud, l->p->c->together, l->at_most);
  l->of = dud;
  return amp_good_at(l->at_most, l->p->count, u);
}

/* A capacity is never below 1 % of the label, whatever a normal spread
** says, nor above 1.5 times it. */
static void set_module (const case_plan *p, double label, double tested,
                        double soh, case_draw *d) {
  double has;
  d->capacity = fmax(label, 0.01 * p->module.capacity.value);
  has = amp_value_is_set(&p->module.tested) ? tested : d->capacity * soh;
  d->tested = fmin(fmax(has, 0.01 * d->capacity), 1.5 * d->capacity);
  d->soh = d->tested / d->capacity;
}

/* Draws 'from' .. from + n - 1, n <= TURN. */
static void draw_some (lot *l, size_t from, size_t n) {
  double in[AMP_IN_CALENDAR][TURN], u[TURN];
  case_plan *p = l->p;
  static const double unset[AMP_IN_CALENDAR] = {[AMP_IN_SOH] = 1.0,
                                                [AMP_IN_R] = 1.0,
                                                [AMP_IN_LOAD] = 1.0,
                                                [AMP_IN_SUN] = 1.0};
  for (int k = 0; k < AMP_IN_CALENDAR; k++)
    case_draws(l->ctx, p, l->ask, (amp_case_input)k, unset[k], from, n,
               in[k]);
  amp_uniforms_stratified(l->ctx, l->ask->seed, l->stream, from, n,
                          l->ask->draws, u);
  for (size_t i = 0; i < n; i++) {
    case_draw *to = &p->draw[from + i];
    to->dud = fmin(fmax(in[AMP_IN_DUD][i], 0.0), 1.0);
    to->strings = accepted(l, to->dud, u[i]) / p->series;
    set_module(p, in[AMP_IN_LABEL][i], in[AMP_IN_TESTED][i],
               in[AMP_IN_SOH][i], to);
    to->r = in[AMP_IN_R][i];
    to->load = fmax(in[AMP_IN_LOAD][i], 0.0);
    to->sun = fmax(in[AMP_IN_SUN][i], 0.0);
    to->shift = in[AMP_IN_SHIFT][i];
  }
}

case_state case_state_of (const case_draw *d, double soh) {
  return (case_state){d->strings, soh, d->r, d->load, d->sun, d->shift};
}

/* Lots may share a share of duds, one value object, but not their luck. */
static uint64_t luck_of (const case_plan *p) {
  uint64_t own = p->c->stream != 0 ? p->c->stream : p->place + 1;
  return own ^ amp_stream("accepted of the lot");
}

static amp_status make_draws (const amp_context *ctx, const amp_ask *ask,
                              case_plan *p, amp_error *err) {
  lot l = {ctx, p, ask, luck_of(p), NULL, -1.0};
  size_t duds = (size_t)p->count * sizeof *l.at_most;
  amp_status st = AMP_OK;
  p->draws = ask->draws;
  p->draw = amp_alloc(ctx, p->draws * sizeof *p->draw);
  l.at_most = amp_alloc(ctx, duds);
  if (p->draw == NULL || l.at_most == NULL)
    st = amp_failf(err, AMP_ENOMEM, NULL, "no memory for the draws");
  for (size_t i = 0; st == AMP_OK && i < p->draws; i += TURN)
    draw_some(&l, i, p->draws - i < TURN ? p->draws - i : TURN);
  amp_free(ctx, l.at_most, duds);
  return st;
}

/* ---- the years that are wanted ---- */

/* May a what-if use the years of the case as it is? */
static bool inside (const case_space *s, double lo, double hi) {
  if (s->dims == 0 || s->is[0] != CASE_SOH)
    return lo == s->soh && hi == s->soh;
  return lo >= s->lo[0] && hi <= s->hi[0];
}

/*
** States of health that years are simulated for, in the middle nameplate's
** measure: all but four in a hundred draws, down to the end of life; where
** they are spread on steps of 5 %, so that lots alike share their years. v:
** room for the draws.
*/
static void set_space (case_plan *p, double *v) {
  static const double at[2] = {0.02, 0.98};
  double q[2], lo, hi, end = p->soh_end;
  for (size_t i = 0; i < p->draws; i++)
    v[i] = p->draw[i].tested / p->module.capacity.value;
  amp_quantiles(v, p->draws, at, 2, q);
  lo = q[0];
  hi = q[1];
  if (p->r->years_why.status == AMP_OK && end < lo)
    lo = fmin(lo, fmax(end, 0.3));
  if (q[1] - q[0] > 1e-9) { /* else it starts at a node, to the last bit */
    lo = fmax(floor(lo * 20.0 + 1e-9), 1.0) / 20.0;
    hi = ceil(hi * 20.0 - 1e-9) / 20.0;
  }
  if (p->held != NULL && inside(p->held->space, q[0], q[1]))
    p->space = *p->held->space;
  else
    case_space_make(p, lo, hi);
}

/* Which strings come up, and how often. */
static void set_levels (case_plan *p, uint32_t *times) {
  bool wide = case_space_is_wide(&p->space);
  for (size_t i = 0; i < p->draws; i++)
    times[p->draw[i].strings]++;
  for (int s = 1; s <= p->most; s++)
    if (times[s] > 0)
      p->level[s] = wide && (size_t)times[s] * RARE < p->draws ? 1 : 2;
}

static amp_status make_space (const amp_context *ctx, case_plan *p,
                              amp_error *err) {
  size_t places = (size_t)p->count / (size_t)p->series + 1;
  double *v = amp_alloc(ctx, p->draws * sizeof *v);
  uint32_t *times = amp_alloc(ctx, places * sizeof *times);
  p->most = (int)places - 1;
  p->own.most = p->most;
  p->level = amp_alloc(ctx, places);
  p->own.year = amp_alloc(ctx, places * sizeof *p->own.year);
  p->years = &p->own;
  if (v != NULL && times != NULL && p->level != NULL && p->own.year != NULL) {
    set_space(p, v);
    set_levels(p, times);
  }
  bool got =
      v != NULL && times != NULL && p->level != NULL && p->own.year != NULL;
  amp_free(ctx, v, p->draws * sizeof *v);
  amp_free(ctx, times, places * sizeof *times);
  return got ? AMP_OK
             : amp_failf(err, AMP_ENOMEM, NULL, "no memory for the years");
}

amp_status case_plan_make (const amp_context *ctx, const amp_case *cases,
                           size_t place, const amp_ask *ask,
                           const case_held *held, amp_case_result *r,
                           case_plan *p, amp_error *err) {
  amp_error why = {0};
  amp_status st;
  memset(p, 0, sizeof *p);
  memset(r, 0, sizeof *r);
  case_no_stats(r);
  p->c = &cases[place];
  p->place = place;
  p->held = held;
  p->r = r;
  own_module(p);
  st = check_case(ctx, p, &why);
  if (st == AMP_ENOMEM) {
    if (err != NULL)
      *err = why;
    return st;
  }
  if (st != AMP_OK) {
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
  return st == AMP_OK ? make_space(ctx, p, err) : st;
}

void case_plan_free (const amp_context *ctx, case_plan *p) {
  size_t places = (size_t)p->own.most + 1;
  amp_free(ctx, p->draw, p->draws * sizeof *p->draw);
  amp_free(ctx, p->level, (size_t)p->most + 1);
  for (size_t s = 0; p->own.year != NULL && s < places; s++)
    amp_free(ctx, p->own.year[s].value,
             CASE_POINTS * (size_t)p->fields * sizeof(double));
  amp_free(ctx, p->own.year, places * sizeof *p->own.year);
}
