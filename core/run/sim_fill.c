/*
** sim_fill.c -- a worker's memory, laid out as the fields of a block, and a
** case written into its lane: everything of it that a step reads, as it
** stands when the duty begins.
*/
#include "run/sim_parts.h"
#include "base/elementary.h"
#include <math.h>
#include <string.h>

static size_t bench_doubles (const sim_batch *w) {
  size_t leaf = LEAF_COUNT + 2 * (size_t)COEF_COUNT + WORK_COUNT;
  size_t grades = (size_t)(AMP_GRADES + 1) * COEF_COUNT;
  size_t more = w->most_nodes > 1 ? LEAF_COUNT + 1 + grades : 0;
  if (w->detailed)
    more += (size_t)SIM_DETAILED * (w->most_nodes > 1 ? 2 : 1);
  return ((size_t)w->most_leaves * (leaf + more) + (size_t)STEP_COUNT +
          (size_t)TALLY_COUNT + 2 * (size_t)LANE_COUNT +
          4 * (size_t)w->most_nodes) *
         AMP_LANES;
}

bool sim_bench_new (const sim_batch *w, sim_bench *b) {
  b->size = (bench_doubles(w) + 8) * sizeof(double);
  b->memory = amp_alloc(w->ctx, b->size);
  b->of_size = (size_t)w->most_leaves * AMP_LANES * sizeof *b->of;
  b->of = amp_alloc(w->ctx, b->of_size);
  for (int l = 0; l < AMP_LANES; l++)
    b->list[l].ctx = w->ctx;
  return b->memory && b->of;
}

/* What is kept of a month for cycle counting, where anybody counts. */
bool sim_bench_soc (const sim_batch *w, sim_bench *b, size_t longest) {
  if (!(w->sink && w->opt.want_cycles))
    return true;
  b->soc_size = longest * AMP_LANES * sizeof(double);
  b->soc = amp_alloc(w->ctx, b->soc_size);
  return b->soc != NULL;
}

void sim_bench_free (const sim_batch *w, sim_bench *b) {
  amp_free(w->ctx, b->memory, b->size);
  amp_free(w->ctx, b->of, b->of_size);
  amp_free(w->ctx, b->soc, b->soc_size);
  for (int l = 0; l < AMP_LANES; l++)
    amp_free(w->ctx, b->list[l].cycle, b->list[l].room * sizeof(amp_cycle));
}

/* Give each field of a block its place in p[], one after another. */
static void lay_fields (amp_block *k, double *p) {
  size_t n = (size_t)k->leaves, m = (size_t)k->nodes, l = (size_t)k->lanes;
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
  k->detail = sim_detailed(k->shape) ? p : NULL;
  p += k->detail ? n * SIM_DETAILED * l : 0;
  if (m > 1) { /* else no step is ever halved */
    k->half = p;
    for (size_t g = 1; g < AMP_GRADES + 2; g++)
      k->grade[g] = k->half + (g - 1) * n * COEF_COUNT * l;
    k->flow = k->half + (AMP_GRADES + 1) * n * COEF_COUNT * l;
    k->saved = k->flow + n * l;
  }
}

void sim_bench_lay (const sim_batch *w, sim_bench *b,
                    const amp_sim_case *first, int lanes, double step) {
  const amp_pack *shape = first->pack;
  amp_block *k = &b->block;
  memset(b->memory, 0, b->size);
  k->lanes = lanes;
  k->leaves = shape->leaves;
  k->nodes = shape->nodes;
  k->node = shape->node;
  k->table = sim_at_line(w->table);
  k->last_row = AMP_ROWS - 1;
  k->dt = w->duty->dt / amp_lanes_split(w->duty->dt, step);
  k->shape = shape;
  k->features = sim_uses(shape);
  k->curved = sim_has_curve(first);
  k->single = shape->nodes == 1 && !w->duty->amps && !w->duty->phase &&
              !k->features && !sim_detailed(shape) && !k->curved;
  k->stats = w->leaf_sum != NULL && !k->single;
  k->of = b->of;
  lay_fields(k, sim_at_line(b->memory));
}

static void fill_warm (amp_block *b, int leaf, int l, double temp) {
  double ea = *sim_leaf(b, leaf, LEAF_ea, l), slope = -ea / (temp * temp);
  double hot = amp_exp(ea * (1.0 / temp - 1.0 / 298.15));
  *sim_leaf(b, leaf, LEAF_temp, l) = temp;
  *sim_leaf(b, leaf, LEAF_tref, l) = temp;
  *sim_leaf(b, leaf, LEAF_hot, l) = hot;
  *sim_leaf(b, leaf, LEAF_hot1, l) = hot * slope;
  *sim_leaf(b, leaf, LEAF_hot2, l) = 0.5 * hot * slope * slope;
}

static void fill_state (amp_block *b, int leaf, int l, double temp) {
  double z = *sim_leaf(b, leaf, LEAF_z, l);
  double x = z * AMP_ROWS;
  int at = x >= AMP_ROWS - 1 ? AMP_ROWS - 1 : (int)x;
  double u = x - at;
  const double *row =
      b->table +
      ((size_t)*sim_leaf(b, leaf, LEAF_base, l) + (size_t)at) * AMP_ROW;
  double c0 = row[ROW_C0], c1 = row[ROW_C1], c2 = row[ROW_C2];
  double c3 = row[ROW_C3];
  *sim_leaf(b, leaf, LEAF_opened, l) = -1.0;
  fill_warm(b, leaf, l, temp);
  *sim_leaf(b, leaf, LEAF_ocv, l) = c0 + u * (c1 + u * (c2 + u * c3));
  *sim_leaf(b, leaf, LEAF_slope, l) = c1 + u * (2.0 * c2 + u * (3.0 * c3));
  *sim_leaf(b, leaf, LEAF_shape, l) = row[ROW_R] + u * row[ROW_DR];
  *sim_leaf(b, leaf, LEAF_vend, l) = *sim_leaf(b, leaf, LEAF_ocv, l);
  *sim_leaf(b, leaf, LEAF_f, l) =
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
  *sim_leaf(b, k, LEAF_bleed, l) = g->bleed;
  *sim_leaf(b, k, LEAF_vbleed, l) = g->v_bleed;
  *sim_leaf(b, k, LEAF_gshare, l) = warm ? g->coolant / cool : 0.0;
  *sim_leaf(b, k, LEAF_base, l) = base;
  *sim_leaf(b, k, LEAF_kv, l) = g->series;
  *sim_leaf(b, k, LEAF_kr, l) = c->r0 * ohm;
  *sim_leaf(b, k, LEAF_rj, l) = g->r_joint;
  *sim_leaf(b, k, LEAF_ea, l) = c->r0_activation;
  *sim_leaf(b, k, LEAF_q, l) = c->capacity * g->parallel;
  *sim_leaf(b, k, LEAF_iq, l) = 1.0 / (c->capacity * g->parallel);
  *sim_leaf(b, k, LEAF_ikv, l) = 1.0 / g->series;
  *sim_leaf(b, k, LEAF_kvq, l) =
      g->series * c->capacity * g->parallel * (1.0 / AMP_ROWS);
  *sim_leaf(b, k, LEAF_r1, l) = c->r1 * ohm;
  *sim_leaf(b, k, LEAF_tau1, l) = c->tau1;
  *sim_leaf(b, k, LEAF_r2, l) = c->r2 * ohm;
  *sim_leaf(b, k, LEAF_tau2, l) = c->tau2;
  *sim_leaf(b, k, LEAF_zmin, l) = g->soc_min;
  *sim_leaf(b, k, LEAF_zmax, l) = g->soc_max;
  *sim_leaf(b, k, LEAF_vmin, l) = g->v_min * g->series;
  *sim_leaf(b, k, LEAF_vmax, l) = g->v_max * g->series;
  *sim_leaf(b, k, LEAF_heat, l) = g->heat_capacity;
  *sim_leaf(b, k, LEAF_cool, l) = cool;
  *sim_leaf(b, k, LEAF_icool, l) = warm ? 1.0 / cool : 0.0;
  *sim_leaf(b, k, LEAF_z, l) = g->soc_start;
  fill_state(b, k, l, temp);
}

/* The two modes of a cell's heat: docs/model/detailed.md. */
static void fill_heat (amp_block *b, int k, int l, const amp_detailed *c) {
  double a = c->core_skin / c->heat_core;
  double d = (c->core_skin + c->skin_air) / c->heat_skin;
  double side = c->core_skin / sqrt(c->heat_core * c->heat_skin);
  double half = 0.5 * (d - a), root = sqrt(half * half + side * side);
  double fast = 0.5 * (a + d) + root;
  double norm = sqrt(side * side + (a - fast) * (a - fast));
  *sim_detail(b, k, DETAIL_warm, l) = 1.0;
  *sim_detail(b, k, DETAIL_air, l) = 1.0 / c->skin_air;
  *sim_detail(b, k, DETAIL_wall, l) = 1.0 / c->core_skin;
  *sim_detail(b, k, DETAIL_root_core, l) = sqrt(c->heat_core);
  *sim_detail(b, k, DETAIL_root_skin, l) = sqrt(c->heat_skin);
  *sim_detail(b, k, DETAIL_fast, l) = fast;
  *sim_detail(b, k, DETAIL_late, l) = (a * d - side * side) / fast;
  *sim_detail(b, k, DETAIL_u1, l) = side / norm;
  *sim_detail(b, k, DETAIL_u2, l) = (a - fast) / norm;
}

/* A leaf of detailed cells: of the simple one's fields those that would add
** something are 0, and r0 is what lanes_detail.h says. */
static void fill_detail (amp_block *b, int k, int l, const amp_group *g,
                         double temp) {
  const amp_detailed *c = g->detailed;
  *sim_leaf(b, k, LEAF_kr, l) = 1.0;
  *sim_leaf(b, k, LEAF_ea, l) = 0.0;
  *sim_leaf(b, k, LEAF_r1, l) = *sim_leaf(b, k, LEAF_r2, l) = 0.0;
  *sim_leaf(b, k, LEAF_tau1, l) = *sim_leaf(b, k, LEAF_tau2, l) = 1.0;
  *sim_leaf(b, k, LEAF_heat, l) = *sim_leaf(b, k, LEAF_icool, l) = 0.0;
  fill_warm(b, k, l, temp);
  *sim_leaf(b, k, LEAF_slope, l) = 0.0;
  *sim_detail(b, k, DETAIL_ip, l) = 1.0 / g->parallel;
  *sim_detail(b, k, DETAIL_icap, l) = 1.0 / c->capacity;
  *sim_detail(b, k, DETAIL_tau0, l) = c->tau_slow[0] > 0 ? c->tau_slow[0] : 1;
  *sim_detail(b, k, DETAIL_tau1, l) = c->tau_slow[1] > 0 ? c->tau_slow[1] : 1;
  *sim_detail(b, k, DETAIL_tauc, l) = c->tau_ct > 0.0 ? c->tau_ct : 1.0;
  *sim_detail(b, k, DETAIL_quick, l) = 1.0 - c->blunt;
  *sim_detail(b, k, DETAIL_layer, l) = c->tau_ct > 0.0 ? 1.0 : 0.0;
  *sim_detail(b, k, DETAIL_root_core, l) = 1.0;
  *sim_detail(b, k, DETAIL_root_skin, l) = 1.0;
  *sim_detail(b, k, DETAIL_skin, l) = temp;
  if (c->heat_core > 0.0)
    fill_heat(b, k, l, c);
}

/* Each branch's part of the current, were the branches of a level alike. */
static void fill_shares (amp_block *b, const amp_pack *p, int node, int l,
                         double share) {
  const amp_node *n = &p->node[node];
  if (n->level == AMP_LEAF) {
    *sim_detail(b, n->first, DETAIL_share, l) = share;
    return;
  }
  for (int k = n->first; k < n->first + n->count; k++)
    fill_shares(b, p, k, l,
                n->level == AMP_SERIES ? share : share / n->count);
}

static void fill_heater (amp_block *b, const amp_pack *p, int l) {
  const amp_heater *h = &p->heater;
  double heat = 0.0;
  for (int k = 0; k < p->leaves; k++)
    heat += p->leaf[k].heat_capacity;
  for (int k = 0; heat > 0.0 && k < p->leaves; k++)
    *sim_leaf(b, k, LEAF_hshare, l) = p->leaf[k].heat_capacity / heat;
  *sim_lane(b, LANE_hw, l) = h->power;
  *sim_lane(b, LANE_hon, l) = h->on;
  *sim_lane(b, LANE_hoff, l) = h->off;
  *sim_lane(b, LANE_hpack, l) = h->from_pack ? 1.0 : 0.0;
}

static void fill_converter (amp_block *b, const amp_converter *v, int l) {
  b->converter[l] = v;
  *sim_lane(b, LANE_eta, l) = v->efficiency;
  *sim_lane(b, LANE_ieta, l) = 1.0 / v->efficiency;
  *sim_lane(b, LANE_idle, l) = v->idle;
  *sim_lane(b, LANE_pmax, l) = v->power > 0.0 ? v->power : 1e300;
  *sim_lane(b, LANE_rvmin, l) = v->v_min;
  *sim_lane(b, LANE_rvmax, l) = v->v_max > 0.0 ? v->v_max : 1e300;
  *sim_lane(b, LANE_ownmin, l) = *sim_lane(b, LANE_rvmin, l);
  *sim_lane(b, LANE_ownmax, l) = *sim_lane(b, LANE_rvmax, l);
}

void sim_fill_lane (const sim_batch *w, amp_block *b, int l, size_t i) {
  const amp_sim_case *c = &w->cases[i];
  const amp_pack *p = c->pack;
  const int *table = w->table_of + w->leaf_table[i];
  double temp = w->duty->temp[0] + c->temp_shift;
  for (int k = 0; k < p->leaves; k++) {
    fill_leaf(b, k, l, &p->leaf[k], table[k], temp);
    if (p->leaf[k].detailed)
      fill_detail(b, k, l, &p->leaf[k], temp);
  }
  if (b->detail)
    fill_shares(b, p, 0, l, 1.0);
  fill_heater(b, p, l);
  fill_converter(b, &c->converter, l);
  *sim_lane(b, LANE_tin, l) = p->coolant_temp;
  *sim_lane(b, LANE_ishare, l) = amp_pack_capacity(p) / 3600.0 / 20.0;
  *sim_lane(b, LANE_lf, l) = c->load_factor;
  *sim_lane(b, LANE_sf, l) = c->sun_factor;
  *sim_lane(b, LANE_ce, l) = w->duty->charge_efficiency;
  *sim_lane(b, LANE_ice, l) = 1.0 / w->duty->charge_efficiency;
  *sim_lane(b, LANE_shift, l) = c->temp_shift;
  if (b->single) { /* one leaf: its window and the converter's are one */
    double *lo = sim_leaf(b, 0, LEAF_vmin, l);
    double *hi = sim_leaf(b, 0, LEAF_vmax, l);
    *lo = fmax(*lo, *sim_lane(b, LANE_rvmin, l));
    *hi = fmin(*hi, *sim_lane(b, LANE_rvmax, l));
  }
}
