/*
** simulate.c -- batches of cases over one duty: cases with trees of the same
** shape become lanes of blocks, blocks go to the workers, each block runs
** the duty month by month through the lane kernel (lanes.h) and hands the
** sums and the cycles of every month to the caller.
*/
#include "run/simulate.h"
#include "base/elementary.h"
#include "run/lanes.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

/* A month of 31 days in steps of dt_max is the longest piece that is kept
** for cycle counting; nothing else grows with the duty. */

typedef struct cycle_list {
  const amp_context *ctx;
  amp_cycle *cycle;
  size_t n, room;
  bool full; /* no memory */
} cycle_list;

/* What a worker owns: one block and the buffers around it. */
typedef struct bench {
  amp_block block;
  double *memory, *soc;
  const amp_group **of;
  size_t size, soc_size, of_size;
  cycle_list list[AMP_LANES];
  amp_rainflow *flow[AMP_LANES];
} bench;

/* The steps inside a step of the duty: at most 'step' s each, the first cut
** finer 'grades' times (lanes.h). */
typedef struct pace {
  double step;
  int grades;
} pace;

typedef struct batch {
  const amp_context *ctx;
  const amp_sim_case *cases;
  const amp_duty *duty;
  amp_sim_options opt;
  amp_sim_result *result;
  amp_sim_sink *sink;
  void *arg;
  double *table;
  size_t tables, table_size;
  size_t *order; /* cases in the order of their blocks */
  size_t *first; /* block i: order[first[i]] .. order[first[i+1]-1] */
  size_t blocks;
  size_t *leaf_table; /* [case] offset in table_of[] */
  int *table_of;      /* row of each leaf's table, case by case */
  size_t all_leaves;
  int most_leaves, most_nodes;
  double dt_max;
  bool detailed; /* any case has such leaves */
  pace *pace_of; /* [case] */
  bench *worker;
  size_t workers;
  amp_status *status; /* per block */
  bool want_trace;
  double *trace, *leaf_trace, *ended;
  size_t trace_steps, leaf_size;
  pace trace_pace;
  amp_leaf_sum *leaf_sum;
} batch;

/* Charge that may go through another leaf than in shorter steps: where the
** search for the step stops (1e-3 is promised), and the shortest step. */
#define SHARE_AIM 0.6e-3
#define SHORTEST 5.0 /* s */
#define LEAF_NUMBERS 8000000
#define FEW_STEPS 5000 /* below it every step is halved, else */
#define MEASURE 23     /* every so many steps; prime to hours and days */

amp_sim_options amp_sim_defaults (void) {
  amp_sim_options o = {600.0, 1, false, false};
  return o;
}

amp_sim_options amp_sim_settled (const amp_duty *duty) {
  amp_sim_options o = amp_sim_defaults();
  double days = (double)duty->n * duty->dt / 86400.0;
  o.warm_up = (int)fmax(1.0, ceil(365.0 / days));
  if (duty->edge || duty->amps)
    o.warm_up = 0;
  return o;
}

static double step_most (double dt_max) {
  return dt_max > 0.0 ? dt_max : 600.0;
}

size_t amp_trace_row (const amp_duty *duty, double dt_max, size_t i) {
  double most = step_most(dt_max);
  size_t rows = 0;
  if (!duty->edge)
    return i * (size_t)amp_lanes_split(duty->dt, most);
  for (size_t k = 0; k < i; k++)
    rows += (size_t)amp_lanes_split(amp_duty_length(duty, k), most);
  return rows;
}

/* --- curve tables ------------------------------------------------------ */

/* From a cache line's start: a vector or a table's row lies in one line. */
static double *at_line (double *p) {
  return p + (64 - (uintptr_t)p % 64) % 64 / sizeof *p;
}

/* The chemistry's curve, row by row: where a row lies within one piece of
** the curve it is the same cubic. */
static void table_fill (double *row, const amp_group *g) {
  const amp_chemistry *chem = g->chemistry;
  const amp_cell *cell = &g->cell;
  const double *entropic = g->entropic;
  double sum = 0.0;
  for (int i = 0; i <= AMP_ROWS; i++, row += AMP_ROW) {
    int k = i < AMP_ROWS ? i : AMP_ROWS - 1;
    double h = 1.0 / AMP_ROWS, x0 = k * h, x1 = (k + 1) * h;
    double y0 = amp_curve_at(&chem->ocv, x0);
    double y1 = amp_curve_at(&chem->ocv, x1), d = y1 - y0;
    bool linear = chem->ocv.kind == AMP_INTERP_LINEAR;
    double m0 = linear ? d : h * amp_curve_slope(&chem->ocv, x0);
    double m1 = linear ? d : h * amp_curve_slope(&chem->ocv, x1);
    double c2 = 3.0 * d - 2.0 * m0 - m1, c3 = m0 + m1 - 2.0 * d;
    row[ROW_C0] = y0;
    row[ROW_C1] = m0;
    row[ROW_C2] = c2;
    row[ROW_C3] = c3;
    row[ROW_R] = amp_cell_shape(cell, x0);
    row[ROW_DR] = amp_cell_shape(cell, x1) - row[ROW_R];
    row[ROW_F] = i < AMP_ROWS ? sum : row[ROW_F - AMP_ROW];
    row[ROW_SPARE] = entropic ? amp_entropic_at(entropic, i * h) : 0.0;
    sum += y0 + m0 / 2.0 + c2 / 3.0 + c3 / 4.0;
  }
}

static bool same_table (const amp_group *a, const amp_group *b) {
  const amp_curve *x = &a->chemistry->ocv, *y = &b->chemistry->ocv;
  if (memcmp(a->cell.r0_shape, b->cell.r0_shape, sizeof a->cell.r0_shape))
    return false;
  if (a->entropic != b->entropic)
    return false;
  if (a->chemistry == b->chemistry)
    return true;
  return x->n == y->n && x->kind == y->kind &&
         !memcmp(x->x, y->x, (size_t)x->n * sizeof *x->x) &&
         !memcmp(x->y, y->y, (size_t)x->n * sizeof *x->y);
}

/* Give every leaf its table; leaves that share curve and shape share it. */
static amp_status tables_make (batch *w, size_t n) {
  size_t room = 0, k = 0;
  const amp_group **owner;
  owner = amp_alloc(w->ctx, w->all_leaves * sizeof *owner);
  if (!owner)
    return AMP_ENOMEM;
  for (size_t i = 0; i < n; i++)
    for (int j = 0; j < w->cases[i].pack->leaves; j++, k++) {
      const amp_group *g = &w->cases[i].pack->leaf[j];
      size_t t = 0;
      while (t < room && !same_table(owner[t], g))
        t++;
      if (t == room)
        owner[room++] = g;
      w->table_of[k] = (int)t * (AMP_ROWS + 1);
    }
  w->table_size = (room * (AMP_ROWS + 1) + 1) * AMP_ROW * sizeof(double);
  w->table = amp_alloc(w->ctx, w->table_size);
  for (size_t t = 0; w->table && t < room; t++)
    table_fill(at_line(w->table) + t * (AMP_ROWS + 1) * AMP_ROW, owner[t]);
  w->tables = room;
  amp_free(w->ctx, owner, w->all_leaves * sizeof *owner);
  return w->table ? AMP_OK : AMP_ENOMEM;
}

/* --- checks and blocks ------------------------------------------------- */

double amp_converter_efficiency (const amp_converter *c, double ac) {
  double x = c->power > 0.0 ? ac / c->power : 0.0;
  int k = 0;
  if (c->points == 0)
    return c->efficiency;
  if (!(x > c->load[0]))
    return c->at[0];
  if (!(x < c->load[c->points - 1]))
    return c->at[c->points - 1];
  while (x >= c->load[k + 1])
    k++;
  return c->at[k] + (x - c->load[k]) / (c->load[k + 1] - c->load[k]) *
                        (c->at[k + 1] - c->at[k]);
}

double amp_converter_mean (const amp_converter *c, const amp_duty *duty,
                           double load_factor) {
  double out = 0.0, in = 0.0;
  if (c->points == 0)
    return c->efficiency;
  for (size_t i = 0; i < duty->n; i++) {
    double ac = fmin(duty->ac[i] * load_factor,
                     c->power > 0.0 ? c->power : duty->ac[i] * load_factor);
    double wide = amp_duty_length(duty, i);
    out += ac * wide;
    in += ac * wide / amp_converter_efficiency(c, ac);
  }
  return in > 0.0 ? out / in : amp_converter_efficiency(c, 0.0);
}

static amp_status check_curve (const amp_converter *v, amp_error *err) {
  amp_status s =
      amp_check_range(err, "points", v->points, 0, AMP_CONVERTER_POINTS);
  if (s == AMP_OK && v->points > 0 && !(v->power > 0.0))
    s = amp_failf(err, AMP_EMISSING, "power",
                  "an efficiency by load wants the power it is a share of");
  for (int k = 0; s == AMP_OK && k < v->points; k++) {
    s = amp_check_range(err, "load", v->load[k],
                        k > 0 ? v->load[k - 1] + 1e-9 : 0.0, 10.0);
    if (s == AMP_OK)
      s = amp_check_range(err, "at", v->at[k], 0.01, 1.0);
  }
  return s;
}

static amp_status check_case (const amp_sim_case *c, amp_error *err) {
  const amp_converter *v = &c->converter;
  amp_status s = amp_pack_check(c->pack, err);
  for (int j = 0; s == AMP_OK && j < c->pack->leaves; j++)
    s = amp_check_range(err, "r0", c->pack->leaf[j].cell.r0, 1e-9, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "efficiency", v->efficiency, 0.01, 1.0);
  if (s == AMP_OK)
    s = check_curve(v, err);
  if (s == AMP_OK)
    s = amp_check_range(err, "idle", v->idle, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "power", v->power, 0.0, 1e9);
  if (s == AMP_OK)
    s = amp_check_range(err, "v_min", v->v_min, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "v_max", v->v_max, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "load_factor", c->load_factor, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "sun_factor", c->sun_factor, 0.0, 1e6);
  if (s == AMP_OK)
    s = amp_check_range(err, "temp_shift", c->temp_shift, -200.0, 200.0);
  return s;
}

static amp_status check_all (const amp_sim_case *cases, size_t n,
                             const amp_duty *duty, amp_error *err) {
  amp_status s = amp_check_range(err, "steps", (double)duty->n, 1, 1e8);
  if (s == AMP_OK)
    s = amp_check_range(err, "dt", duty->dt, 1e-3, 1e7);
  if (s == AMP_OK)
    s = amp_check_range(err, "charge_efficiency", duty->charge_efficiency,
                        0.01, 1.0);
  for (size_t i = 0; s == AMP_OK && duty->edge && i < duty->n; i++)
    s = amp_check_range(err, "edge", duty->edge[i + 1] - duty->edge[i], 1e-9,
                        1e7);
  for (size_t i = 0; s == AMP_OK && i < n; i++) {
    s = check_case(&cases[i], err);
    if (s != AMP_OK && err)
      err->line = i + 1;
  }
  return s;
}

/* What it uses of lanes_features.h. */
static unsigned uses_of (const amp_pack *p) {
  unsigned u = p->heater.power > 0.0 ? AMP_USES_HEATER : 0;
  for (int i = 0; i < p->leaves; i++) {
    const amp_group *g = &p->leaf[i];
    u |= g->bleed > 0.0 ? AMP_USES_BLEED : 0;
    u |= g->trip != NULL ? AMP_USES_TRIP : 0;
    u |= g->rates != NULL ? AMP_USES_RATES : 0;
    u |= g->entropic != NULL || g->coolant > 0.0 || g->body > 0
             ? AMP_USES_HEAT
             : 0;
  }
  return u;
}

static bool any_detailed (const amp_pack *p) {
  for (int i = 0; i < p->leaves; i++)
    if (p->leaf[i].detailed)
      return true;
  return false;
}

/* Cases of one block: one tree, one set of features. */
static bool same_shape (const amp_pack *a, const amp_pack *b) {
  if (a->leaves != b->leaves || a->nodes != b->nodes ||
      uses_of(a) != uses_of(b))
    return false;
  for (int i = 0; i < a->leaves; i++)
    if (a->leaf[i].body != b->leaf[i].body ||
        !a->leaf[i].detailed != !b->leaf[i].detailed)
      return false;
  for (int i = 0; i < a->nodes; i++)
    if (a->node[i].level != b->node[i].level ||
        a->node[i].first != b->node[i].first ||
        a->node[i].count != b->node[i].count)
      return false;
  return true;
}

static bool has_curve (const amp_sim_case *c) {
  return c->converter.points > 0;
}

/* Cases of the next block, where 'left' are as case i is: a wide one where
** that leaves enough for every worker. */
static size_t block_size (const batch *w, size_t i, size_t left) {
  size_t workers = w->ctx->workers ? w->ctx->workers : 1;
  if (left < 3)
    return 1;
  if (w->ctx->isa == AMP_ISA_V4 && w->cases[i].pack->nodes == 1 &&
      left >= workers * AMP_LANES)
    return AMP_LANES;
  return left < AMP_BLOCK ? left : (size_t)AMP_BLOCK;
}

/* Cases of one shape in index order, cut into blocks; fewer than three that
** are left over run one by one, which costs less than empty lanes. */
static void blocks_make (batch *w, size_t n, bool *taken) {
  size_t done = 0;
  w->blocks = 0;
  for (size_t i = 0; i < n; i++) {
    size_t start = done, left;
    if (taken[i])
      continue;
    for (size_t j = i; j < n; j++)
      if (!taken[j] && w->pace_of[i].step == w->pace_of[j].step &&
          w->pace_of[i].grades == w->pace_of[j].grades &&
          has_curve(&w->cases[i]) == has_curve(&w->cases[j]) &&
          same_shape(w->cases[i].pack, w->cases[j].pack)) {
        taken[j] = true;
        w->order[done++] = j;
      }
    while (start < done) {
      left = done - start;
      w->first[w->blocks++] = start;
      start += block_size(w, i, left);
    }
  }
  w->first[w->blocks] = done;
}

/* --- one worker's bench ------------------------------------------------ */

enum { DETAILED = DETAIL_COUNT + LINE_COUNT };

static size_t bench_doubles (const batch *w) {
  size_t leaf = LEAF_COUNT + 2 * (size_t)COEF_COUNT + WORK_COUNT;
  size_t grades = (size_t)(AMP_GRADES + 1) * COEF_COUNT;
  size_t more = w->most_nodes > 1 ? LEAF_COUNT + 1 + grades : 0;
  if (w->detailed)
    more += (size_t)DETAILED * (w->most_nodes > 1 ? 2 : 1);
  return ((size_t)w->most_leaves * (leaf + more) + (size_t)STEP_COUNT +
          (size_t)TALLY_COUNT + 2 * (size_t)LANE_COUNT +
          4 * (size_t)w->most_nodes) *
         AMP_LANES;
}

static bool bench_new (const batch *w, bench *b) {
  b->size = (bench_doubles(w) + 8) * sizeof(double);
  b->memory = amp_alloc(w->ctx, b->size);
  b->of_size = (size_t)w->most_leaves * AMP_LANES * sizeof *b->of;
  b->of = amp_alloc(w->ctx, b->of_size);
  for (int l = 0; l < AMP_LANES; l++)
    b->list[l].ctx = w->ctx;
  return b->memory && b->of;
}

/* What is kept of a month for cycle counting, where anybody counts. */
static bool bench_soc (const batch *w, bench *b, size_t longest) {
  if (!(w->sink && w->opt.want_cycles))
    return true;
  b->soc_size = longest * AMP_LANES * sizeof(double);
  b->soc = amp_alloc(w->ctx, b->soc_size);
  return b->soc != NULL;
}

static void bench_free (const batch *w, bench *b) {
  amp_free(w->ctx, b->memory, b->size);
  amp_free(w->ctx, b->of, b->of_size);
  amp_free(w->ctx, b->soc, b->soc_size);
  for (int l = 0; l < AMP_LANES; l++)
    amp_free(w->ctx, b->list[l].cycle, b->list[l].room * sizeof(amp_cycle));
}

/* Lay the fields of a block of 'lanes' cases like 'first' out in the bench's memory. */
static void bench_lay (const batch *w, bench *b, const amp_sim_case *first,
                       int lanes, double step) {
  const amp_pack *shape = first->pack;
  amp_block *k = &b->block;
  size_t n = (size_t)shape->leaves, m = (size_t)shape->nodes;
  size_t l = (size_t)lanes;
  double *p = at_line(b->memory);
  memset(b->memory, 0, b->size);
  k->lanes = lanes;
  k->leaves = shape->leaves;
  k->nodes = shape->nodes;
  k->node = shape->node;
  k->table = at_line(w->table);
  k->last_row = AMP_ROWS - 1;
  k->dt = w->duty->dt / amp_lanes_split(w->duty->dt, step);
  k->shape = shape;
  k->features = uses_of(shape);
  k->single = shape->nodes == 1 && !w->duty->amps && !w->duty->phase &&
              !k->features && !any_detailed(shape) && !has_curve(first);
  k->curved = has_curve(first);
  k->stats = w->leaf_sum != NULL && !k->single;
  k->of = b->of;
  k->leaf = p;
  k->whole = k->leaf + n * LEAF_COUNT * l;
  k->part = k->whole + n * COEF_COUNT * l;
  k->work = k->part + n * COEF_COUNT * l;
  k->step = k->work + n * WORK_COUNT * l;
  k->tally = k->step + STEP_COUNT * l;
  k->lane = k->tally + TALLY_COUNT * l;
  k->e = k->lane + LANE_COUNT * l;
  k->r = k->e + m * l;
  k->a = k->r + m * l;
  k->b = k->a + m * l;
  p = k->b + m * l;
  k->detail = any_detailed(shape) ? p : NULL;
  p += k->detail ? n * DETAILED * l : 0;
  if (m > 1) { /* else no step is ever halved */
    k->half = p;
    for (size_t g = 1; g < AMP_GRADES + 2; g++)
      k->grade[g] = k->half + (g - 1) * n * COEF_COUNT * l;
    k->flow = k->half + (AMP_GRADES + 1) * n * COEF_COUNT * l;
    k->saved = k->flow + n * l;
  }
}

static double *leaf_of (const amp_block *b, int leaf, int field, int lane) {
  return b->leaf +
         ((size_t)leaf * LEAF_COUNT + (size_t)field) * (size_t)b->lanes +
         lane;
}

static double *lane_of (const amp_block *b, int field, int lane) {
  return b->lane + (size_t)field * (size_t)b->lanes + lane;
}

static void fill_warm (amp_block *b, int leaf, int l, double temp) {
  double ea = *leaf_of(b, leaf, LEAF_ea, l), slope = -ea / (temp * temp);
  double hot = amp_exp(ea * (1.0 / temp - 1.0 / 298.15));
  *leaf_of(b, leaf, LEAF_temp, l) = temp;
  *leaf_of(b, leaf, LEAF_tref, l) = temp;
  *leaf_of(b, leaf, LEAF_hot, l) = hot;
  *leaf_of(b, leaf, LEAF_hot1, l) = hot * slope;
  *leaf_of(b, leaf, LEAF_hot2, l) = 0.5 * hot * slope * slope;
}

static void fill_state (amp_block *b, int leaf, int l, double temp) {
  double z = *leaf_of(b, leaf, LEAF_z, l);
  double x = z * AMP_ROWS;
  int at = x >= AMP_ROWS - 1 ? AMP_ROWS - 1 : (int)x;
  double u = x - at;
  const double *row =
      b->table +
      ((size_t)*leaf_of(b, leaf, LEAF_base, l) + (size_t)at) * AMP_ROW;
  double c0 = row[ROW_C0], c1 = row[ROW_C1], c2 = row[ROW_C2];
  double c3 = row[ROW_C3];
  *leaf_of(b, leaf, LEAF_opened, l) = -1.0;
  fill_warm(b, leaf, l, temp);
  *leaf_of(b, leaf, LEAF_ocv, l) = c0 + u * (c1 + u * (c2 + u * c3));
  *leaf_of(b, leaf, LEAF_slope, l) = c1 + u * (2.0 * c2 + u * (3.0 * c3));
  *leaf_of(b, leaf, LEAF_shape, l) = row[ROW_R] + u * row[ROW_DR];
  *leaf_of(b, leaf, LEAF_vend, l) = *leaf_of(b, leaf, LEAF_ocv, l);
  *leaf_of(b, leaf, LEAF_f, l) =
      row[ROW_F] +
      u * (c0 + u * (c1 * (1.0 / 2) + u * (c2 * (1.0 / 3) + u * c3 * 0.25)));
}

/* One leaf of one case into its lane. */
static void fill_leaf (amp_block *b, int k, int l, const amp_group *g,
                       int base, double temp) {
  const amp_cell *c = &g->cell;
  double ohm = g->series / g->parallel;
  bool warm = g->heat_capacity > 0.0;
  /* without any cooling: a time constant of 30 years */
  double cool = fmax(g->cooling + g->coolant, 1e-9 * g->heat_capacity);
  b->of[k * b->lanes + l] = g;
  *leaf_of(b, k, LEAF_bleed, l) = g->bleed;
  *leaf_of(b, k, LEAF_vbleed, l) = g->v_bleed;
  *leaf_of(b, k, LEAF_gshare, l) = warm ? g->coolant / cool : 0.0;
  *leaf_of(b, k, LEAF_base, l) = base;
  *leaf_of(b, k, LEAF_kv, l) = g->series;
  *leaf_of(b, k, LEAF_kr, l) = c->r0 * ohm;
  *leaf_of(b, k, LEAF_rj, l) = g->r_joint;
  *leaf_of(b, k, LEAF_ea, l) = c->r0_activation;
  *leaf_of(b, k, LEAF_q, l) = c->capacity * g->parallel;
  *leaf_of(b, k, LEAF_iq, l) = 1.0 / (c->capacity * g->parallel);
  *leaf_of(b, k, LEAF_ikv, l) = 1.0 / g->series;
  *leaf_of(b, k, LEAF_kvq, l) =
      g->series * c->capacity * g->parallel * (1.0 / AMP_ROWS);
  *leaf_of(b, k, LEAF_r1, l) = c->r1 * ohm;
  *leaf_of(b, k, LEAF_tau1, l) = c->tau1;
  *leaf_of(b, k, LEAF_r2, l) = c->r2 * ohm;
  *leaf_of(b, k, LEAF_tau2, l) = c->tau2;
  *leaf_of(b, k, LEAF_zmin, l) = g->soc_min;
  *leaf_of(b, k, LEAF_zmax, l) = g->soc_max;
  *leaf_of(b, k, LEAF_vmin, l) = g->v_min * g->series;
  *leaf_of(b, k, LEAF_vmax, l) = g->v_max * g->series;
  *leaf_of(b, k, LEAF_heat, l) = g->heat_capacity;
  *leaf_of(b, k, LEAF_cool, l) = cool;
  *leaf_of(b, k, LEAF_icool, l) = warm ? 1.0 / cool : 0.0;
  *leaf_of(b, k, LEAF_z, l) = g->soc_start;
  fill_state(b, k, l, temp);
}

static double *detail_of (const amp_block *b, int leaf, int field, int lane) {
  return b->detail +
         ((size_t)leaf * DETAILED + (size_t)field) * (size_t)b->lanes + lane;
}

/* The two modes of a cell's heat: docs/model/detailed.md. */
static void fill_heat (amp_block *b, int k, int l, const amp_detailed *c) {
  double a = c->core_skin / c->heat_core;
  double d = (c->core_skin + c->skin_air) / c->heat_skin;
  double side = c->core_skin / sqrt(c->heat_core * c->heat_skin);
  double half = 0.5 * (d - a), root = sqrt(half * half + side * side);
  double fast = 0.5 * (a + d) + root;
  double norm = sqrt(side * side + (a - fast) * (a - fast));
  *detail_of(b, k, DETAIL_warm, l) = 1.0;
  *detail_of(b, k, DETAIL_air, l) = 1.0 / c->skin_air;
  *detail_of(b, k, DETAIL_wall, l) = 1.0 / c->core_skin;
  *detail_of(b, k, DETAIL_root_core, l) = sqrt(c->heat_core);
  *detail_of(b, k, DETAIL_root_skin, l) = sqrt(c->heat_skin);
  *detail_of(b, k, DETAIL_fast, l) = fast;
  *detail_of(b, k, DETAIL_late, l) = (a * d - side * side) / fast;
  *detail_of(b, k, DETAIL_u1, l) = side / norm;
  *detail_of(b, k, DETAIL_u2, l) = (a - fast) / norm;
}

/* A leaf of detailed cells: of the simple one's fields those that would add
** something are 0, and r0 is what lanes_detail.h says. */
static void fill_detail (amp_block *b, int k, int l, const amp_group *g,
                         double temp) {
  const amp_detailed *c = g->detailed;
  *leaf_of(b, k, LEAF_kr, l) = 1.0;
  *leaf_of(b, k, LEAF_ea, l) = 0.0;
  *leaf_of(b, k, LEAF_r1, l) = *leaf_of(b, k, LEAF_r2, l) = 0.0;
  *leaf_of(b, k, LEAF_tau1, l) = *leaf_of(b, k, LEAF_tau2, l) = 1.0;
  *leaf_of(b, k, LEAF_heat, l) = *leaf_of(b, k, LEAF_icool, l) = 0.0;
  fill_warm(b, k, l, temp);
  *leaf_of(b, k, LEAF_slope, l) = 0.0;
  *detail_of(b, k, DETAIL_ip, l) = 1.0 / g->parallel;
  *detail_of(b, k, DETAIL_icap, l) = 1.0 / c->capacity;
  *detail_of(b, k, DETAIL_tau0, l) = c->tau_slow[0] > 0 ? c->tau_slow[0] : 1;
  *detail_of(b, k, DETAIL_tau1, l) = c->tau_slow[1] > 0 ? c->tau_slow[1] : 1;
  *detail_of(b, k, DETAIL_tauc, l) = c->tau_ct > 0.0 ? c->tau_ct : 1.0;
  *detail_of(b, k, DETAIL_quick, l) = 1.0 - c->blunt;
  *detail_of(b, k, DETAIL_layer, l) = c->tau_ct > 0.0 ? 1.0 : 0.0;
  *detail_of(b, k, DETAIL_root_core, l) = 1.0;
  *detail_of(b, k, DETAIL_root_skin, l) = 1.0;
  *detail_of(b, k, DETAIL_skin, l) = temp;
  if (c->heat_core > 0.0)
    fill_heat(b, k, l, c);
}

/* Each branch's part of the current, were the branches of a level alike. */
static void fill_shares (amp_block *b, const amp_pack *p, int node, int l,
                         double share) {
  const amp_node *n = &p->node[node];
  if (n->level == AMP_LEAF) {
    *detail_of(b, n->first, DETAIL_share, l) = share;
    return;
  }
  for (int k = n->first; k < n->first + n->count; k++)
    fill_shares(b, p, k, l,
                n->level == AMP_SERIES ? share : share / n->count);
}

static void fill_lane (const batch *w, amp_block *b, int l, size_t i) {
  const amp_sim_case *c = &w->cases[i];
  const amp_converter *v = &c->converter;
  const int *table = w->table_of + w->leaf_table[i];
  double temp = w->duty->temp[0] + c->temp_shift;
  const amp_heater *h = &c->pack->heater;
  double heat = 0.0;
  b->converter[l] = v;
  for (int k = 0; k < c->pack->leaves; k++) {
    fill_leaf(b, k, l, &c->pack->leaf[k], table[k], temp);
    if (c->pack->leaf[k].detailed)
      fill_detail(b, k, l, &c->pack->leaf[k], temp);
    heat += c->pack->leaf[k].heat_capacity;
  }
  if (b->detail)
    fill_shares(b, c->pack, 0, l, 1.0);
  for (int k = 0; heat > 0.0 && k < c->pack->leaves; k++)
    *leaf_of(b, k, LEAF_hshare, l) = c->pack->leaf[k].heat_capacity / heat;
  *lane_of(b, LANE_hw, l) = h->power;
  *lane_of(b, LANE_hon, l) = h->on;
  *lane_of(b, LANE_hoff, l) = h->off;
  *lane_of(b, LANE_hpack, l) = h->from_pack ? 1.0 : 0.0;
  *lane_of(b, LANE_tin, l) = c->pack->coolant_temp;
  *lane_of(b, LANE_ishare, l) = amp_pack_capacity(c->pack) / 3600.0 / 20.0;
  *lane_of(b, LANE_lf, l) = c->load_factor;
  *lane_of(b, LANE_sf, l) = c->sun_factor;
  *lane_of(b, LANE_eta, l) = v->efficiency;
  *lane_of(b, LANE_ieta, l) = 1.0 / v->efficiency;
  *lane_of(b, LANE_idle, l) = v->idle;
  *lane_of(b, LANE_pmax, l) = v->power > 0.0 ? v->power : 1e300;
  *lane_of(b, LANE_ce, l) = w->duty->charge_efficiency;
  *lane_of(b, LANE_ice, l) = 1.0 / w->duty->charge_efficiency;
  *lane_of(b, LANE_shift, l) = c->temp_shift;
  *lane_of(b, LANE_rvmin, l) = v->v_min;
  *lane_of(b, LANE_rvmax, l) = v->v_max > 0.0 ? v->v_max : 1e300;
  *lane_of(b, LANE_ownmin, l) = *lane_of(b, LANE_rvmin, l);
  *lane_of(b, LANE_ownmax, l) = *lane_of(b, LANE_rvmax, l);
  if (b->single) { /* one leaf: its window and the converter's are one */
    double *lo = leaf_of(b, 0, LEAF_vmin, l),
           *hi = leaf_of(b, 0, LEAF_vmax, l);
    *lo = fmax(*lo, *lane_of(b, LANE_rvmin, l));
    *hi = fmin(*hi, *lane_of(b, LANE_rvmax, l));
  }
}

/* --- sums -------------------------------------------------------------- */

static int series_groups (const amp_pack *p, int node) {
  const amp_node *n = &p->node[node];
  int sum = 0;
  if (n->level == AMP_LEAF)
    return (int)p->leaf[n->first].series;
  if (n->level == AMP_PARALLEL)
    return series_groups(p, n->first);
  for (int k = n->first; k < n->first + n->count; k++)
    sum += series_groups(p, k);
  return sum;
}

/* A leaf's sums, and its fuse whole again. */
static void start_leaf (amp_block *b, int k, int l) {
  static const int zero[] = {LEAF_open, LEAF_worn,  LEAF_qout, LEAF_qin,
                             LEAF_lows, LEAF_highs, LEAF_share};
  for (size_t f = 0; f < sizeof zero / sizeof *zero; f++)
    *leaf_of(b, k, zero[f], l) = 0.0;
  *leaf_of(b, k, LEAF_opened, l) = -1.0;
  *leaf_of(b, k, LEAF_first_low, l) = -1.0;
  *leaf_of(b, k, LEAF_first_high, l) = -1.0;
  *leaf_of(b, k, LEAF_ihi, l) = *leaf_of(b, k, LEAF_thi, l) = -1e300;
  *leaf_of(b, k, LEAF_ilo, l) = *leaf_of(b, k, LEAF_tlo, l) = 1e300;
  *leaf_of(b, k, LEAF_zhi, l) = -1e300;
  *leaf_of(b, k, LEAF_zlo, l) = 1e300;
}

static void start_extremes (amp_block *b) {
  for (int l = 0; l < b->lanes; l++) {
    for (int f = LANE_served; f < LANE_COUNT; f++)
      *lane_of(b, f, l) = 0.0;
    *lane_of(b, LANE_soc_low, l) = 1e300;
    *lane_of(b, LANE_soc_high, l) = -1e300;
    *lane_of(b, LANE_temp_low, l) = 1e300;
    *lane_of(b, LANE_temp_high, l) = -1e300;
    *lane_of(b, LANE_i_max, l) = -1e300;
    *lane_of(b, LANE_i_min, l) = 1e300;
    *lane_of(b, LANE_v_low, l) = 1e300;
    *lane_of(b, LANE_v_high, l) = -1e300;
    *lane_of(b, LANE_first_unserved, l) = -1.0;
    *lane_of(b, LANE_last_unserved, l) = -1.0;
    *lane_of(b, LANE_first_curtailed, l) = -1.0;
    *lane_of(b, LANE_first_empty, l) = -1.0;
    *lane_of(b, LANE_first_cold, l) = -1.0;
    *lane_of(b, LANE_last_cold, l) = -1.0;
    *lane_of(b, LANE_first_open, l) = -1.0;
    for (int k = 0; k < b->leaves; k++)
      start_leaf(b, k, l);
  }
}

/* Energy in the cells against their open-circuit voltage; in the pairs. */
static void stored (const amp_block *b, int l, double *chem, double *pairs,
                    double *charge) {
  *chem = *pairs = *charge = 0.0;
  for (int k = 0; k < b->leaves; k++) {
    double r1 = *leaf_of(b, k, LEAF_r1, l), r2 = *leaf_of(b, k, LEAF_r2, l);
    double v1 = *leaf_of(b, k, LEAF_v1, l), v2 = *leaf_of(b, k, LEAF_v2, l);
    double q = *leaf_of(b, k, LEAF_q, l);
    *chem += *leaf_of(b, k, LEAF_kvq, l) * *leaf_of(b, k, LEAF_f, l);
    *charge += q * *leaf_of(b, k, LEAF_z, l);
    if (r1 > 0.0)
      *pairs += 0.5 * *leaf_of(b, k, LEAF_tau1, l) / r1 * v1 * v1;
    if (r2 > 0.0)
      *pairs += 0.5 * *leaf_of(b, k, LEAF_tau2, l) / r2 * v2 * v2;
  }
}

static double mean_soc (const amp_block *b, int l) {
  double charge = 0.0, q = 0.0;
  for (int k = 0; k < b->leaves; k++) {
    q += *leaf_of(b, k, LEAF_q, l);
    charge += *leaf_of(b, k, LEAF_q, l) * *leaf_of(b, k, LEAF_z, l);
  }
  return charge / q;
}

/* A month's sums out of the lane, which starts again at 0. */
static void month_take (amp_block *b, int l, double groups, double time,
                        amp_sim_month *m) {
  m->time = time;
  m->served = *lane_of(b, LANE_served, l);
  m->unserved = *lane_of(b, LANE_unserved, l);
  m->dc_served = *lane_of(b, LANE_dc_served, l);
  m->dc_unserved = *lane_of(b, LANE_dc_unserved, l);
  m->curtailed = *lane_of(b, LANE_curtailed, l);
  m->out = *lane_of(b, LANE_out, l);
  m->in = *lane_of(b, LANE_in, l);
  m->loss = *lane_of(b, LANE_loss, l);
  m->charge_out = *lane_of(b, LANE_charge_out, l);
  m->charge_in = *lane_of(b, LANE_charge_in, l);
  m->soc_time = *lane_of(b, LANE_soc_time, l);
  m->v_time = *lane_of(b, LANE_v_time, l) / groups;
  m->v2_time = *lane_of(b, LANE_v2_time, l) / (groups * groups);
  m->temp_time = *lane_of(b, LANE_temp_time, l);
  m->discharge_time = *lane_of(b, LANE_discharge_time, l);
  m->unserved_time = *lane_of(b, LANE_unserved_time, l);
  m->bled = *lane_of(b, LANE_bled, l);
  m->heater = *lane_of(b, LANE_heater, l);
  m->reversible = *lane_of(b, LANE_rev, l);
  m->cold_unserved = *lane_of(b, LANE_cold_unserved, l);
  m->cold_curtailed = *lane_of(b, LANE_cold_curtailed, l);
  m->cold_time = *lane_of(b, LANE_cold_time, l);
}

static void month_add (amp_sim_month *sum, const amp_sim_month *m) {
  sum->time += m->time;
  sum->served += m->served;
  sum->unserved += m->unserved;
  sum->dc_served += m->dc_served;
  sum->dc_unserved += m->dc_unserved;
  sum->curtailed += m->curtailed;
  sum->out += m->out;
  sum->in += m->in;
  sum->loss += m->loss;
  sum->charge_out += m->charge_out;
  sum->charge_in += m->charge_in;
  sum->soc_time += m->soc_time;
  sum->v_time += m->v_time;
  sum->v2_time += m->v2_time;
  sum->temp_time += m->temp_time;
  sum->discharge_time += m->discharge_time;
  sum->unserved_time += m->unserved_time;
  sum->bled += m->bled;
  sum->heater += m->heater;
  sum->reversible += m->reversible;
  sum->cold_unserved += m->cold_unserved;
  sum->cold_curtailed += m->cold_curtailed;
  sum->cold_time += m->cold_time;
}

/* Sums that are not by month go to the result, all start again at 0. */
static void month_close (amp_block *b, int l, amp_sim_result *r,
                         double *leaf_charge, double *measured) {
  r->power_residual += *lane_of(b, LANE_power_residual, l);
  r->events += (size_t)*lane_of(b, LANE_events, l);
  r->unsolved += (size_t)*lane_of(b, LANE_unsolved, l);
  *leaf_charge += *lane_of(b, LANE_leaf_charge, l);
  r->share_error += *lane_of(b, LANE_strayed, l);
  *measured += *lane_of(b, LANE_measured, l);
  for (int f = LANE_served; f < LANE_soc_low; f++)
    *lane_of(b, f, l) = 0.0;
}

static void extremes_take (const amp_block *b, int l, amp_sim_result *r) {
  r->soc_low = *lane_of(b, LANE_soc_low, l);
  r->soc_high = *lane_of(b, LANE_soc_high, l);
  r->temp_low = *lane_of(b, LANE_temp_low, l);
  r->temp_high = *lane_of(b, LANE_temp_high, l);
  r->i_max = *lane_of(b, LANE_i_max, l);
  r->i_min = *lane_of(b, LANE_i_min, l);
  r->v_low = *lane_of(b, LANE_v_low, l);
  r->v_high = *lane_of(b, LANE_v_high, l);
  r->first_unserved = *lane_of(b, LANE_first_unserved, l);
  r->last_unserved = *lane_of(b, LANE_last_unserved, l);
  r->first_curtailed = *lane_of(b, LANE_first_curtailed, l);
  r->first_empty = *lane_of(b, LANE_first_empty, l);
  r->first_cold = *lane_of(b, LANE_first_cold, l);
  r->last_cold = *lane_of(b, LANE_last_cold, l);
  r->first_opened = *lane_of(b, LANE_first_open, l);
}

/* A leaf of the one lane of a trace. */
static void leaf_sum_take (const amp_block *b, int k, amp_leaf_sum *s) {
  s->charge_out = *leaf_of(b, k, LEAF_qout, 0);
  s->charge_in = *leaf_of(b, k, LEAF_qin, 0);
  s->i_max = *leaf_of(b, k, LEAF_ihi, 0);
  s->i_min = *leaf_of(b, k, LEAF_ilo, 0);
  s->share_max = *leaf_of(b, k, LEAF_share, 0);
  s->soc_end = *leaf_of(b, k, LEAF_z, 0);
  s->soc_low = *leaf_of(b, k, LEAF_zlo, 0);
  s->soc_high = *leaf_of(b, k, LEAF_zhi, 0);
  s->temp_low = *leaf_of(b, k, LEAF_tlo, 0);
  s->temp_high = *leaf_of(b, k, LEAF_thi, 0);
  s->opened = *leaf_of(b, k, LEAF_opened, 0);
  s->lows = (size_t)*leaf_of(b, k, LEAF_lows, 0);
  s->highs = (size_t)*leaf_of(b, k, LEAF_highs, 0);
  s->first_low = *leaf_of(b, k, LEAF_first_low, 0);
  s->first_high = *leaf_of(b, k, LEAF_first_high, 0);
}

/* The pack is the leaf: what the lane says of it. */
static void leaf_sum_plain (const amp_sim_result *r, amp_leaf_sum *s) {
  amp_leaf_sum one = {.charge_out = r->total.charge_out,
                      .charge_in = r->total.charge_in,
                      .i_max = r->i_max,
                      .i_min = r->i_min,
                      .share_max = 1.0,
                      .soc_end = r->soc_end,
                      .soc_low = r->soc_low,
                      .soc_high = r->soc_high,
                      .temp_low = r->temp_low,
                      .temp_high = r->temp_high,
                      .opened = -1.0,
                      .first_low = -1.0,
                      .first_high = -1.0};
  *s = one;
}

/* --- cycles ------------------------------------------------------------ */

static void keep_cycle (void *arg, const amp_cycle *cycle) {
  cycle_list *list = arg;
  if (list->n == list->room) {
    size_t room = list->room ? 2 * list->room : 256;
    amp_cycle *more =
        amp_realloc(list->ctx, list->cycle, list->room * sizeof *more,
                    room * sizeof *more);
    if (!more) {
      list->full = true;
      return;
    }
    list->cycle = more;
    list->room = room;
  }
  list->cycle[list->n++] = *cycle;
}

enum { FLOW_STEPS = 256 };

/* Turns below 1e-6 of the charge are rounding, not cycles. */
#define LEAST_CYCLE 1e-6

static amp_status flows_open (const batch *w, bench *k, int used) {
  for (int l = 0; l < used; l++) {
    k->list[l].n = 0;
    k->list[l].full = false;
    k->flow[l] =
        amp_rainflow_new(w->ctx, LEAST_CYCLE, keep_cycle, &k->list[l]);
    if (!k->flow[l])
      return AMP_ENOMEM;
  }
  return AMP_OK;
}

static void flows_close (bench *k) {
  for (int l = 0; l < AMP_LANES; l++) {
    amp_rainflow_free(k->flow[l]);
    k->flow[l] = NULL;
  }
}

/* A month's charge of the lanes in use to their counts, some steps of all
** lanes at a time: they lie close together. */
static amp_status flow_month (bench *k, int used, size_t steps, bool last) {
  size_t lanes = (size_t)k->block.lanes;
  amp_status s = AMP_OK;
  for (size_t done = 0; done < steps; done += FLOW_STEPS) {
    size_t n = steps - done < FLOW_STEPS ? steps - done : FLOW_STEPS;
    for (int l = 0; l < used && s == AMP_OK; l++)
      s = amp_rainflow_feed(k->flow[l], k->soc + done * lanes + l, n, lanes,
                            NULL);
  }
  for (int l = 0; l < used && s == AMP_OK; l++) {
    if (last)
      s = amp_rainflow_end(k->flow[l], NULL);
    if (k->list[l].full)
      s = AMP_ENOMEM;
  }
  return s;
}

/* --- a block ----------------------------------------------------------- */

static amp_lanes_run *kernel_for (amp_isa isa, int lanes) {
  switch (isa) {
  case AMP_ISA_V4:
    return lanes == 1           ? amp_lanes_run_v4_1
           : lanes == AMP_BLOCK ? amp_lanes_run_v4_n
                                : amp_lanes_run_v4_w;
  case AMP_ISA_V3:
    return lanes == 1 ? amp_lanes_run_v3_1 : amp_lanes_run_v3_n;
  default:
    return lanes == 1 ? amp_lanes_run_base_1 : amp_lanes_run_base_n;
  }
}

static amp_chunk chunk_of (const batch *w, size_t first, size_t last,
                           pace step) {
  const amp_duty *d = w->duty;
  amp_chunk c = {.ac = d->ac,
                 .dc = d->dc,
                 .pv = d->pv,
                 .temp = d->temp,
                 .on = d->on,
                 .amps = d->amps,
                 .edge = d->edge,
                 .dt_max = step.step,
                 .grades = step.grades,
                 .phase = d->phase,
                 .ended = w->ended,
                 .first = first,
                 .last = last,
                 .split = amp_lanes_split(d->dt, step.step)};
  return c;
}

/* Steps inside the duty's steps first .. last-1. */
static size_t rows_of (const batch *w, pace step, size_t first, size_t last) {
  return amp_trace_row(w->duty, step.step, last) -
         amp_trace_row(w->duty, step.step, first) +
         (last - first) * (size_t)step.grades;
}

/* Does anything in this tree share a current? */
static bool shares (const amp_pack *p) {
  for (int i = 0; i < p->nodes; i++)
    if (p->node[i].level == AMP_PARALLEL && p->node[i].count > 1)
      return true;
  return false;
}

/* Sums of month m, the duty's steps first .. last-1, of the lanes in use, to
** results and caller. */
static amp_status month_give (const batch *w, bench *k, size_t at, int used,
                              int m, size_t first, size_t last,
                              double *leaf_charge, double *measured) {
  double time = w->duty->edge ? amp_duty_start(w->duty, last) -
                                    amp_duty_start(w->duty, first)
                              : (double)(last - first) * w->duty->dt;
  pace step = w->pace_of[w->order[at]];
  size_t rows = k->soc ? rows_of(w, step, first, last) : 0;
  amp_status s =
      k->soc ? flow_month(k, used, rows, last == w->duty->n) : AMP_OK;
  for (int l = 0; l < used && s == AMP_OK; l++) {
    size_t i = w->order[at + (size_t)l];
    amp_sim_result *r = &w->result[i];
    amp_sim_month *sum = &r->month[m];
    double groups = series_groups(w->cases[i].pack, 0);
    month_take(&k->block, l, groups, time, sum);
    month_add(&r->total, sum);
    month_close(&k->block, l, r, &leaf_charge[l], &measured[l]);
    if (w->sink)
      w->sink(w->arg, i, m, sum, k->list[l].cycle, k->list[l].n);
    k->list[l].n = 0;
  }
  return s;
}

static void results_open (const batch *w, bench *k, size_t at, int used,
                          double *charge, double *pairs) {
  start_extremes(&k->block);
  for (int l = 0; l < used; l++) {
    amp_sim_result *r = &w->result[w->order[at + (size_t)l]];
    double chem;
    memset(r, 0, sizeof *r);
    stored(&k->block, l, &chem, &pairs[l], &charge[l]);
    r->soc_start = mean_soc(&k->block, l);
    r->stored_start = chem + pairs[l];
  }
}

static void results_close (const batch *w, bench *k, size_t at, int used,
                           const double *charge, const double *pairs,
                           const double *leaf_charge,
                           const double *measured) {
  for (int l = 0; l < used; l++) {
    amp_sim_result *r = &w->result[w->order[at + (size_t)l]];
    double chem, now, left;
    stored(&k->block, l, &chem, &now, &left);
    extremes_take(&k->block, l, r);
    r->soc_end = mean_soc(&k->block, l);
    r->stored_end = chem + now;
    r->total.loss -= now - pairs[l]; /* what the pairs hold is not heat yet */
    r->energy_residual = r->total.in - r->total.out - r->total.loss -
                         r->total.bled - (r->stored_end - r->stored_start);
    r->charge_residual = leaf_charge[l] - (charge[l] - left);
    r->step = w->pace_of[w->order[at]].step;
    r->share_error *= measured[l] > 0.0 ? 1.5 / measured[l] : 0.0;
    for (int j = 0; w->leaf_sum && j < k->block.leaves; j++)
      if (k->block.single)
        leaf_sum_plain(r, &w->leaf_sum[j]);
      else
        leaf_sum_take(&k->block, j, &w->leaf_sum[j]);
  }
}

static amp_status block_run (const batch *w, bench *k, size_t at, int used) {
  amp_lanes_run *run = kernel_for(w->ctx->isa, k->block.lanes);
  double charge[AMP_LANES], pairs[AMP_LANES], given[AMP_LANES] = {0};
  double measured[AMP_LANES] = {0};
  pace step = w->pace_of[w->order[at]];
  amp_chunk all = chunk_of(w, 0, w->duty->n, step);
  amp_status s = AMP_OK;
  size_t first = 0, row = 0;
  int measure = !shares(k->block.shape)                       ? 0
                : rows_of(w, step, 0, w->duty->n) < FEW_STEPS ? 1
                                                              : MEASURE;
  all.ended = NULL;
  start_extremes(&k->block);
  for (int i = 0; i < w->opt.warm_up; i++)
    run(&k->block, &all);
  results_open(w, k, at, used, charge, pairs);
  for (int m = 0; m < 12 && s == AMP_OK; m++) {
    size_t last = m < 11 ? w->duty->month_end[m] : w->duty->n;
    amp_chunk c = chunk_of(w, first, last, step);
    if (last <= first)
      continue;
    if (amp_stopped(w->ctx))
      return AMP_ESTOP;
    c.soc = k->soc;
    c.trace = w->trace ? w->trace + row * AMP_TRACE : NULL;
    c.leaf = w->leaf_trace ? w->leaf_trace + row * AMP_LEAF_TRACE *
                                                 (size_t)k->block.leaves
                           : NULL;
    c.measure = measure;
    run(&k->block, &c);
    s = month_give(w, k, at, used, m, first, last, given, measured);
    row += w->trace ? rows_of(w, step, first, last) : 0;
    first = last;
  }
  results_close(w, k, at, used, charge, pairs, given, measured);
  return s;
}

static void block_work (void *arg, size_t i, size_t worker) {
  batch *w = arg;
  bench *k = &w->worker[worker];
  size_t at = w->first[i];
  int used = (int)(w->first[i + 1] - at);
  int lanes = used == 1 ? 1 : used <= AMP_BLOCK ? AMP_BLOCK : AMP_LANES;
  bench_lay(w, k, &w->cases[w->order[at]], lanes,
            w->pace_of[w->order[at]].step);
  for (int l = 0; l < lanes; l++) /* empty lanes repeat the last case */
    fill_lane(w, &k->block, l,
              w->order[at + (size_t)(l < used ? l : used - 1)]);
  w->status[i] = k->soc ? flows_open(w, k, used) : AMP_OK;
  if (w->status[i] == AMP_OK)
    w->status[i] = block_run(w, k, at, used);
  flows_close(k);
  if (worker == 0)
    amp_progress(w->ctx, (double)(i + 1) / (double)w->blocks);
}

/* --- the step of unequal strings --------------------------------------- */

/* Steps of the duty that stand for month m (of a short duty: all). */
static bool probe_of (const batch *w, int m, amp_chunk *c) {
  const amp_duty *d = w->duty;
  size_t from = m > 0 ? d->month_end[m - 1] : 0;
  size_t to = m < 11 ? d->month_end[m] : d->n;
  size_t day = (size_t)ceil(86400.0 / d->dt);
  if (to <= from)
    return false;
  c->first = from;
  c->last = to;
  if (!d->edge && to - from > 2 * day && d->n > 28 * day) {
    c->first = from + (to - from) / 2;
    c->last = c->first + day;
  }
  return true;
}

/* The error of sharing in steps of this pace, over a day of each month, from
** one case alone. */
static double probe (const batch *w, bench *k, size_t i, pace step) {
  amp_chunk c = chunk_of(w, 0, 0, step);
  double strayed, measured;
  c.measure = 1;
  c.ended = NULL;
  bench_lay(w, k, &w->cases[i], 1, step.step);
  fill_lane(w, &k->block, 0, i);
  start_extremes(&k->block);
  for (int m = 0; m < 12; m++)
    if (probe_of(w, m, &c))
      kernel_for(w->ctx->isa, 1)(&k->block, &c);
  strayed = *lane_of(&k->block, LANE_strayed, 0);
  measured = *lane_of(&k->block, LANE_measured, 0);
  return measured > 0.0 ? 1.5 * strayed / measured : 0.0;
}

/* Cut finer what follows a change of load, then halve the step, until the
** strings of a case share to SHARE_AIM: the same whatever else is in the
** batch. */
static void choose_step (void *arg, size_t i, size_t worker) {
  batch *w = arg;
  pace p = {w->dt_max, 0};
  if (shares(w->cases[i].pack)) {
    if (!w->duty->edge) /* the step there is, not the most it may be */
      p.step = w->duty->dt / amp_lanes_split(w->duty->dt, p.step);
    while (p.step > 2.0 * SHORTEST &&
           probe(w, &w->worker[worker], i, p) > SHARE_AIM) {
      if (!w->duty->edge && p.grades < AMP_GRADES &&
          p.step / (2 << p.grades) > 0.5 * SHORTEST)
        p.grades += p.grades ? 1 : 3;
      else
        p.step *= 0.5;
    }
  }
  w->pace_of[i] = p;
}

/* Most packs share nothing: then nobody is asked to look. */
static void choose_steps (batch *w, size_t n) {
  bool any = false;
  for (size_t i = 0; i < n; i++) {
    w->pace_of[i] = (pace){w->dt_max, 0};
    any = any || shares(w->cases[i].pack);
  }
  if (any && !w->opt.fixed_step)
    amp_parallel_for(w->ctx, n, choose_step, w);
}

/* --- a batch ----------------------------------------------------------- */

static size_t longest_month (const batch *w, pace step) {
  const amp_duty *d = w->duty;
  size_t most = 0, first = 0;
  for (int m = 0; m < 12; m++) {
    size_t last = m < 11 ? d->month_end[m] : d->n;
    size_t rows = last > first ? rows_of(w, step, first, last) : 0;
    most = rows > most ? rows : most;
    first = last > first ? last : first;
  }
  return most;
}

static void batch_measure (batch *w, size_t n) {
  w->dt_max = step_most(w->opt.dt_max);
  for (size_t i = 0; i < n; i++) {
    const amp_pack *p = w->cases[i].pack;
    w->all_leaves += (size_t)p->leaves;
    w->detailed = w->detailed || any_detailed(p);
    if (p->leaves > w->most_leaves)
      w->most_leaves = p->leaves;
    if (p->nodes > w->most_nodes)
      w->most_nodes = p->nodes;
  }
}

static void batch_free (batch *w, size_t n, bool *taken) {
  const amp_context *c = w->ctx;
  for (size_t i = 0; w->worker && i < w->workers; i++)
    bench_free(w, &w->worker[i]);
  amp_free(c, w->worker, w->workers * sizeof *w->worker);
  amp_free(c, w->table, w->table_size);
  amp_free(c, w->table_of, w->all_leaves * sizeof *w->table_of);
  amp_free(c, w->leaf_table, n * sizeof *w->leaf_table);
  amp_free(c, w->order, n * sizeof *w->order);
  amp_free(c, w->pace_of, n * sizeof *w->pace_of);
  amp_free(c, w->first, (n + 1) * sizeof *w->first);
  amp_free(c, w->status, (n + 1) * sizeof *w->status);
  amp_free(c, taken, n * sizeof *taken);
}

static amp_status batch_benches (batch *w) {
  w->workers = w->ctx->workers ? w->ctx->workers : 1;
  w->worker = amp_alloc(w->ctx, w->workers * sizeof *w->worker);
  if (!w->worker)
    return AMP_ENOMEM;
  for (size_t i = 0; i < w->workers; i++)
    if (!bench_new(w, &w->worker[i]))
      return AMP_ENOMEM;
  return AMP_OK;
}

/* What grows with the number of steps: months for the cycle count, a trace. */
static amp_status batch_buffers (batch *w, size_t n) {
  size_t most = 0;
  for (size_t i = 0; i < n; i++) {
    size_t rows = longest_month(w, w->pace_of[i]);
    most = rows > most ? rows : most;
  }
  for (size_t i = 0; i < w->workers; i++)
    if (!bench_soc(w, &w->worker[i], most))
      return AMP_ENOMEM;
  if (!w->want_trace)
    return AMP_OK;
  size_t leaves = (size_t)w->cases[0].pack->leaves;
  w->trace_pace = w->pace_of[0];
  w->trace_steps = rows_of(w, w->trace_pace, 0, w->duty->n);
  w->trace = amp_alloc(w->ctx, w->trace_steps * AMP_TRACE * sizeof *w->trace);
  if (leaves > 1 &&
      w->trace_steps * leaves * AMP_LEAF_TRACE <= LEAF_NUMBERS) {
    w->leaf_size = w->trace_steps * leaves * AMP_LEAF_TRACE * sizeof(double);
    w->leaf_trace = amp_alloc(w->ctx, w->leaf_size);
  }
  return w->trace && (w->leaf_trace || !w->leaf_size) ? AMP_OK : AMP_ENOMEM;
}

static amp_status batch_run (batch *w, size_t n, amp_error *err) {
  bool *taken = amp_alloc(w->ctx, n * sizeof *taken);
  amp_status s = AMP_ENOMEM;
  size_t leaf = 0;
  batch_measure(w, n);
  w->table_of = amp_alloc(w->ctx, w->all_leaves * sizeof *w->table_of);
  w->leaf_table = amp_alloc(w->ctx, n * sizeof *w->leaf_table);
  w->order = amp_alloc(w->ctx, n * sizeof *w->order);
  w->first = amp_alloc(w->ctx, (n + 1) * sizeof *w->first);
  w->status = amp_alloc(w->ctx, (n + 1) * sizeof *w->status);
  w->pace_of = amp_alloc(w->ctx, n * sizeof *w->pace_of);
  if (taken && w->table_of && w->leaf_table && w->order && w->first &&
      w->status && w->pace_of) {
    for (size_t i = 0; i < n; i++) {
      w->leaf_table[i] = leaf;
      leaf += (size_t)w->cases[i].pack->leaves;
    }
    s = tables_make(w, n);
  }
  if (s == AMP_OK)
    s = batch_benches(w);
  if (s == AMP_OK) {
    choose_steps(w, n);
    s = batch_buffers(w, n);
  }
  if (s == AMP_OK) {
    blocks_make(w, n, taken);
    amp_parallel_for(w->ctx, w->blocks, block_work, w);
    for (size_t i = 0; i < w->blocks && s == AMP_OK; i++)
      s = w->status[i];
  }
  batch_free(w, n, taken);
  return s == AMP_OK ? s : amp_fail(err, s, NULL, 0, 0, 0);
}

amp_status amp_simulate (const amp_context *ctx, const amp_sim_case *cases,
                         size_t n, const amp_duty *duty,
                         const amp_sim_options *opt, amp_sim_result *result,
                         amp_sim_sink *sink, void *arg, amp_error *err) {
  batch w = {0};
  amp_status s = check_all(cases, n, duty, err);
  if (s != AMP_OK || n == 0)
    return s;
  w.ctx = amp_context_or_plain(ctx);
  w.cases = cases;
  w.duty = duty;
  w.opt = opt ? *opt : amp_sim_defaults();
  w.result = result;
  w.sink = sink;
  w.arg = arg;
  return batch_run(&w, n, err);
}

/* --- a trace ----------------------------------------------------------- */

struct amp_trace {
  size_t n, size, leaves, phases;
  pace step;
  amp_leaf_sum *leaf;
  double *column[AMP_TRACE], *ended;
  double *leaf_column; /* [leaves][AMP_LEAF_TRACE][n], or NULL */
  double data[];
};

static const char *const trace_name[AMP_TRACE] = {
    "time_s",  "soc",        "current_a",   "voltage_v",     "temp_k",
    "power_w", "unserved_w", "curtailed_w", "voltage_end_v", "voltage_low_v"};

/* Rows of 'fields' numbers as columns of n. */
static void turn (const double *row, size_t n, size_t fields, double *to) {
  for (size_t c = 0; c < fields; c++)
    for (size_t i = 0; i < n; i++)
      to[c * n + i] = row[i * fields + c];
}

static amp_trace *trace_from (const batch *w) {
  size_t n = w->trace_steps, leaves = (size_t)w->cases[0].pack->leaves;
  size_t own = w->leaf_trace ? leaves * AMP_LEAF_TRACE : 0;
  size_t sums = leaves * sizeof(amp_leaf_sum), phases = w->duty->phases;
  size_t numbers = n * (AMP_TRACE + own) + phases;
  size_t size = sizeof(amp_trace) + numbers * sizeof(double) + sums;
  amp_trace *t = amp_alloc(w->ctx, size);
  if (!t)
    return NULL;
  t->n = n;
  t->size = size;
  t->leaves = leaves;
  t->step = w->trace_pace;
  turn(w->trace, n, AMP_TRACE, t->data);
  for (int c = 0; c < AMP_TRACE; c++)
    t->column[c] = t->data + (size_t)c * n;
  t->leaf_column = own ? t->data + AMP_TRACE * n : NULL;
  if (own)
    turn(w->leaf_trace, n, own, t->leaf_column);
  t->phases = phases;
  t->ended = t->data + n * (AMP_TRACE + own);
  if (phases)
    memcpy(t->ended, w->ended, phases * sizeof *t->ended);
  t->leaf = (amp_leaf_sum *)(t->data + numbers);
  memcpy(t->leaf, w->leaf_sum, sums);
  return t;
}

/* Ends of the duty's phases: by their time, until something else ends them.
** One more than there are. */
static double *ends_new (const amp_context *ctx, const amp_duty *d) {
  double *e = amp_alloc(ctx, (d->phases + 1) * sizeof *e);
  for (size_t k = 0; e && k < d->phases; k++)
    e[k] = amp_duty_start(d, d->phase[k].last);
  return e;
}

/* What the rows of a trace and their copy take, as a figure to go by. */
static amp_status no_trace (const amp_duty *duty, amp_error *err) {
  double mb = 2.0 * (double)duty->n * AMP_TRACE * sizeof(double) / 1e6;
  return amp_failf(err, AMP_ENOMEM, NULL,
                   "no memory for %zu steps of %g s, some %g MB: a longer "
                   "step_s needs less",
                   duty->n, duty->dt, ceil(mb));
}

amp_status amp_simulate_trace (const amp_context *ctx, const amp_sim_case *c,
                               const amp_duty *duty,
                               const amp_sim_options *opt, amp_trace **out,
                               amp_sim_result *result, amp_error *err) {
  batch w = {0};
  amp_leaf_sum sum[AMP_PACK_LEAVES];
  amp_status s = check_all(c, 1, duty, err);
  if (s != AMP_OK)
    return s;
  w.ctx = amp_context_or_plain(ctx);
  w.cases = c;
  w.duty = duty;
  w.opt = opt ? *opt : amp_sim_defaults();
  w.result = result;
  w.want_trace = true;
  w.leaf_sum = sum;
  w.ended = ends_new(w.ctx, duty);
  if (!w.ended)
    return amp_fail(err, AMP_ENOMEM, NULL, 0, 0, 0);
  s = batch_run(&w, 1, err);
  if (s == AMP_OK && !(*out = trace_from(&w)))
    s = amp_fail(err, AMP_ENOMEM, NULL, 0, 0, 0);
  amp_free(w.ctx, w.trace, w.trace_steps * AMP_TRACE * sizeof *w.trace);
  amp_free(w.ctx, w.leaf_trace, w.leaf_size);
  amp_free(w.ctx, w.ended, (duty->phases + 1) * sizeof *w.ended);
  return s == AMP_ENOMEM ? no_trace(duty, err) : s;
}

void amp_trace_free (const amp_context *ctx, amp_trace *t) {
  if (t)
    amp_free(ctx, t, t->size);
}

size_t amp_trace_length (const amp_trace *t) {
  return t->n;
}

double amp_trace_phase_end (const amp_trace *t, size_t i) {
  return i < t->phases ? t->ended[i] : -1.0;
}

size_t amp_trace_begin (const amp_trace *t, const amp_duty *duty, size_t i) {
  return amp_trace_row(duty, t->step.step, i) + i * (size_t)t->step.grades;
}

size_t amp_trace_leaves (const amp_trace *t) {
  return t->leaves;
}

const amp_leaf_sum *amp_trace_leaf (const amp_trace *t, size_t leaf) {
  return leaf < t->leaves ? &t->leaf[leaf] : NULL;
}

const double *amp_trace_leaf_column (const amp_trace *t, size_t leaf,
                                     const char *name) {
  size_t c = !strcmp(name, "soc") ? LEAF_TRACE_SOC : LEAF_TRACE_CURRENT;
  if (!t->leaf_column || leaf >= t->leaves ||
      (c == LEAF_TRACE_CURRENT && strcmp(name, "current_a")))
    return NULL;
  return t->leaf_column + (leaf * AMP_LEAF_TRACE + c) * t->n;
}

const double *amp_trace_column (const amp_trace *t, const char *name) {
  for (int c = 0; c < AMP_TRACE; c++)
    if (!strcmp(name, trace_name[c]))
      return t->column[c];
  return NULL;
}
