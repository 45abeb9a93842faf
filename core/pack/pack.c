/*
** pack.c -- building the tree of groups, checking it, and what it can hold.
** The time step lives in run/; this file knows no duty. Model (series:
** least, parallel: sum): docs/model/pack.md.
*/
#include "pack/pack.h"
#include <math.h>
#include <stdbool.h>
#include <string.h>

/* One leaf; refusals carry its number from 1 in err->line. */
/* A detailed cell has its own heat, and the charge of the simple one. */
static amp_status check_detailed (const amp_group *g, amp_error *err) {
  double c = g->cell.capacity;
  amp_status st = amp_detailed_check(g->detailed, err);
  if (st == AMP_OK)
    st = amp_check_range(err, "capacity", g->detailed->capacity,
                         c * (1.0 - 1e-9), c * (1.0 + 1e-9));
  if (st == AMP_OK &&
      (g->body > 0 || g->coolant > 0.0 || g->entropic != NULL))
    st = amp_failf(err, AMP_EDATA, "detailed",
                   "a detailed cell keeps its own heat: no body, coolant or "
                   "entropic table of the leaf");
  return st;
}

static amp_status check_leaf (const amp_group *g, amp_error *err) {
  const struct {
    const char *field;
    double v, lo, hi;
  } row[] = {{"series", g->series, 1.0, 1e4},
             {"parallel", g->parallel, 1e-6, 1e6},
             {"r_joint", g->r_joint, 0.0, 1e3},
             {"soc_min", g->soc_min, 0.0, 1.0},
             {"soc_max", g->soc_max, 0.0, 1.0},
             {"v_min", g->v_min, 0.0, 10.0},
             {"v_max", g->v_max, 0.0, 10.0},
             {"soc_start", g->soc_start, 0.0, 1.0},
             {"heat_capacity", g->heat_capacity, 0.0, 1e12},
             {"cooling", g->cooling, 0.0, 1e12},
             {"body", g->body, 0, 1e6},
             {"coolant", g->coolant, 0.0, 1e12},
             {"bleed", g->bleed, 0.0, 1e3},
             {"v_bleed", g->v_bleed, 0.0, 10.0},
             {"bleed_band", g->bleed_band, 0.0, 1.0}};
  amp_status st = amp_chemistry_check(g->chemistry, err);
  if (st != AMP_OK || (st = amp_cell_check(&g->cell, err)) != AMP_OK)
    return st;
  for (size_t i = 0; i < sizeof row / sizeof *row; i++)
    if ((st = amp_check_range(err, row[i].field, row[i].v, row[i].lo,
                              row[i].hi)) != AMP_OK)
      return st;
  if (!(g->soc_min < g->soc_max))
    return amp_fail(err, AMP_ERANGE, "soc_max", g->soc_max, g->soc_min, 1.0);
  if (!(g->v_min < g->v_max))
    return amp_fail(err, AMP_ERANGE, "v_max", g->v_max, g->v_min, 10.0);
  if (g->detailed != NULL && (st = check_detailed(g, err)) != AMP_OK)
    return st;
  if (g->trip != NULL && (st = amp_trip_check(g->trip, err)) != AMP_OK)
    return st;
  return g->rates != NULL ? amp_rates_check(g->rates, err) : AMP_OK;
}

/*
** Every node but the first has one parent and stands behind it; every leaf
** is used once. Counting is enough: children ranges that overlap or leave a
** node out give a count other than 1.
*/
static amp_status check_tree (const amp_pack *p, amp_error *err) {
  unsigned char parents[AMP_PACK_NODES] = {0}, used[AMP_PACK_LEAVES] = {0};
  for (int n = 0; n < p->nodes; n++) {
    const amp_node *node = &p->node[n];
    if (node->level == AMP_LEAF) {
      if (node->first < 0 || node->first >= p->leaves || used[node->first]++)
        return amp_failf(err, AMP_EDATA, "node",
                         "node %d names leaf %d, which is missing or taken",
                         n, node->first);
      continue;
    }
    if ((node->level != AMP_SERIES && node->level != AMP_PARALLEL) ||
        node->count < 1 || node->first <= n || node->first > p->nodes ||
        node->count > p->nodes - node->first)
      return amp_failf(err, AMP_EDATA, "node", "node %d has no such children",
                       n);
    for (int k = 0; k < node->count; k++)
      if (parents[node->first + k]++)
        return amp_failf(err, AMP_EDATA, "node", "node %d has two parents",
                         node->first + k);
  }
  for (int n = 1; n < p->nodes; n++)
    if (parents[n] != 1)
      return amp_failf(err, AMP_EDATA, "node", "node %d has no parent", n);
  for (int i = 0; i < p->leaves; i++)
    if (used[i] != 1)
      return amp_failf(err, AMP_EDATA, "node", "leaf %d is not in the tree",
                       i);
  return AMP_OK;
}

/* A heater wants something to heat; a coolant a temperature. */
static amp_status check_heat (const amp_pack *p, amp_error *err) {
  bool cooled = false, warm = p->heater.power == 0.0;
  amp_status st = amp_heater_check(&p->heater, err);
  for (int i = 0; i < p->leaves; i++) {
    cooled = cooled || p->leaf[i].coolant > 0.0;
    warm = warm || p->leaf[i].heat_capacity > 0.0;
    if (st == AMP_OK && p->leaf[i].detailed && p->heater.power > 0.0)
      st = amp_failf(err, AMP_EDATA, "detailed",
                     "a heater does not reach a detailed cell");
  }
  if (st == AMP_OK && cooled)
    st = amp_check_range(err, "coolant_temp", p->coolant_temp, 150.0, 500.0);
  if (st == AMP_OK && !warm)
    st = amp_failf(err, AMP_EMISSING, "heat_capacity",
                   "a heater is given, but no mass that it could warm");
  return st;
}

amp_status amp_pack_check (const amp_pack *p, amp_error *err) {
  amp_status st;
  if ((st = amp_check_range(err, "leaves", p->leaves, 1, AMP_PACK_LEAVES)) !=
          AMP_OK ||
      (st = amp_check_range(err, "nodes", p->nodes, 1, AMP_PACK_NODES)) !=
          AMP_OK)
    return st;
  for (int i = 0; i < p->leaves; i++)
    if ((st = check_leaf(&p->leaf[i], err)) != AMP_OK) {
      if (err != NULL)
        err->line = (size_t)i + 1;
      return st;
    }
  if ((st = check_heat(p, err)) != AMP_OK)
    return st;
  return check_tree(p, err);
}

void amp_pack_uniform (const amp_group *group, int series, int parallel,
                       amp_pack *out) {
  amp_group g = *group;
  double s = series, p = parallel;
  g.series *= s;
  g.parallel *= p;
  g.r_joint *= s / p;
  g.heat_capacity *= s * p;
  g.cooling *= s * p;
  g.coolant *= s * p;
  memset(out, 0, sizeof *out);
  out->leaves = out->nodes = 1;
  out->leaf[0] = g;
  out->node[0] = (amp_node){.level = AMP_LEAF, .first = 0, .count = 1};
}

/*
** 'outer' levels of 'inner' leaves each; the leaf of (outer o, inner i) is
** o * step_o + i * step_i. A level of one is folded away.
*/
static void build_tree (amp_pack *p, amp_level top, int outer, int step_o,
                        amp_level below, int inner, int step_i) {
  int n = 0, leaf_at;
  if (outer > 1)
    p->node[n++] = (amp_node){top, 1, outer};
  leaf_at = inner > 1 ? n + outer : n;
  for (int o = 0; inner > 1 && o < outer; o++)
    p->node[n++] = (amp_node){below, leaf_at + o * inner, inner};
  for (int o = 0; o < outer; o++)
    for (int i = 0; i < inner; i++)
      p->node[n++] = (amp_node){AMP_LEAF, o * step_o + i * step_i, 1};
  p->nodes = n;
}

amp_status amp_pack_build (const amp_group *module, int series, int parallel,
                           int string_first, amp_pack *out, amp_error *err) {
  amp_status st;
  if ((st = amp_check_range(err, "series", series, 1, AMP_PACK_LEAVES)) !=
          AMP_OK ||
      (st = amp_check_range(err, "parallel", parallel, 1,
                            AMP_PACK_LEAVES / series)) != AMP_OK)
    return st;
  for (int i = 0; i < series * parallel; i++)
    if ((st = check_leaf(&module[i], err)) != AMP_OK) {
      if (err != NULL)
        err->line = (size_t)i + 1;
      return st;
    }
  memset(out, 0, sizeof *out);
  out->leaves = series * parallel;
  memcpy(out->leaf, module, (size_t)out->leaves * sizeof *module);
  if (string_first)
    build_tree(out, AMP_PARALLEL, parallel, series, AMP_SERIES, series, 1);
  else
    build_tree(out, AMP_SERIES, series, 1, AMP_PARALLEL, parallel, series);
  return AMP_OK;
}

/* Charge of every node, children before parents. 'window' 0: all of
** the cell; 1: what lies between the ends of its window. */
static void charges (const amp_pack *p, int window, double *q) {
  for (int n = p->nodes - 1; n >= 0; n--) {
    const amp_node *node = &p->node[n];
    if (node->level == AMP_LEAF) {
      const amp_group *g = &p->leaf[node->first];
      double share = window ? g->soc_max - g->soc_min : 1.0;
      q[n] = g->cell.capacity * g->parallel * share;
      continue;
    }
    q[n] = q[node->first];
    for (int k = 1; k < node->count; k++) {
      double c = q[node->first + k];
      q[n] = node->level == AMP_SERIES ? fmin(q[n], c) : q[n] + c;
    }
  }
}

double amp_pack_capacity (const amp_pack *p) {
  double q[AMP_PACK_NODES];
  charges(p, 0, q);
  return q[0];
}

/* J of one leaf from the top of its window down by 'share' of it. */
static double leaf_energy (const amp_group *g, double share) {
  double low = g->soc_max - share * (g->soc_max - g->soc_min);
  return g->cell.capacity * g->parallel * g->series *
         amp_curve_integral(&g->chemistry->ocv, low, g->soc_max);
}

double amp_pack_energy (const amp_pack *p) {
  double q[AMP_PACK_NODES], share[AMP_PACK_NODES], sum = 0.0;
  charges(p, 1, q);
  share[0] = 1.0;
  for (int n = 0; n < p->nodes; n++) {
    const amp_node *node = &p->node[n];
    if (node->level == AMP_LEAF) {
      sum += leaf_energy(&p->leaf[node->first], share[n]);
      continue;
    }
    for (int k = node->first; k < node->first + node->count; k++)
      share[k] = node->level == AMP_SERIES && q[k] > 0.0
                     ? share[n] * q[n] / q[k]
                     : share[n];
  }
  return sum;
}
