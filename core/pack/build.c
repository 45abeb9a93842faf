/*
** build.c -- modules by place into a tree of leaves; hours to balance.
*/
#include "pack/build.h"
#include <math.h>
#include <string.h>

amp_build amp_build_defaults (void) {
  amp_build b;
  memset(&b, 0, sizeof b);
  b.string_first = true;
  b.cooling = AMP_NOT_GIVEN;
  return b;
}

void amp_build_uniform (const amp_module *m, int series, int parallel,
                        bool string_first, amp_build *out) {
  *out = amp_build_defaults();
  out->string_first = string_first;
  out->all = m;
  out->outer = string_first ? parallel : series;
  out->inner[0] = string_first ? series : parallel;
}

static int inner_of (const amp_build *b, int o) {
  return b->inner[b->all ? 0 : o];
}

static const amp_module *module_of (const amp_build *b, int i) {
  return b->all ? b->all : b->module[i];
}

const amp_module *amp_build_module_at (const amp_build *b,
                                       const amp_place *place) {
  int k = place->inner;
  for (int o = 0; o < place->outer; o++)
    k += inner_of(b, o);
  return module_of(b, k);
}

int amp_build_modules (const amp_build *b) {
  int n = 0;
  for (int o = 0; o < b->outer; o++)
    n += inner_of(b, o);
  return n;
}

/* Groups in series of outer element o: a string adds up, a level is one. */
static int groups_of (const amp_build *b, int first, int inner) {
  int n = 0;
  for (int i = 0; i < (b->string_first ? inner : 1); i++)
    n += module_of(b, first + i)->series;
  return n;
}

int amp_build_groups (const amp_build *b) {
  int n = 0, first = 0;
  for (int o = 0; o < (b->string_first ? 1 : b->outer); o++) {
    n += groups_of(b, first, inner_of(b, o));
    first += inner_of(b, o);
  }
  return n;
}

double amp_build_nominal_v (const amp_build *b) {
  double v = 0.0;
  int at = 0;
  if (b->string_first) {
    for (int i = 0; i < inner_of(b, 0); i++)
      v += amp_module_nominal_v(module_of(b, i));
    return v;
  }
  for (int o = 0; o < b->outer; at += inner_of(b, o++))
    v += amp_module_nominal_v(module_of(b, at));
  return v;
}

bool amp_build_is_uniform (const amp_build *b) {
  int n = b->all ? 1 : amp_build_modules(b);
  for (int i = 0; i < n; i++)
    if (module_of(b, i) != module_of(b, 0) || module_of(b, i)->group != NULL)
      return false;
  for (int o = 1; o < b->outer; o++)
    if (inner_of(b, o) != inner_of(b, 0))
      return false;
  return b->trip == NULL;
}

static amp_status check_shape (const amp_build *b, amp_error *err) {
  int at = 0, groups = 0;
  int most = b->all ? 100000 : AMP_BUILD_MODULES;
  amp_status st = amp_check_range(err, "parallel", b->outer, 1, most);
  if (b->all)
    return st == AMP_OK ? amp_check_range(err, "series", b->inner[0], 1, most)
                        : st;
  for (int o = 0; st == AMP_OK && o < b->outer; o++) {
    st = amp_check_range(err, "series", inner_of(b, o), 1,
                         AMP_BUILD_MODULES - at);
    if (st != AMP_OK)
      return st;
    int own = groups_of(b, at, inner_of(b, o));
    if (b->string_first && o > 0 && own != groups)
      return amp_failf(err, AMP_EREFUSED, "module",
                       "string %d has %d groups in series, string 1 has %d: "
                       "they cannot stand side by side",
                       o + 1, own, groups);
    for (int i = 0; !b->string_first && i < inner_of(b, o); i++)
      if (module_of(b, at + i)->series != own)
        return amp_failf(err, AMP_EREFUSED, "module",
                         "level %d joins modules of %d and %d groups in "
                         "series",
                         o + 1, own, module_of(b, at + i)->series);
    groups = own;
    at += inner_of(b, o);
  }
  return st;
}

static bool same_chemistry (const amp_chemistry *a, const amp_chemistry *b) {
  return a == b ||
         (a->ocv.n == b->ocv.n && a->ocv.kind == b->ocv.kind &&
          memcmp(a->ocv.x, b->ocv.x, (size_t)a->ocv.n * sizeof(double)) ==
              0 &&
          memcmp(a->ocv.y, b->ocv.y, (size_t)a->ocv.n * sizeof(double)) == 0);
}

amp_status amp_build_check (const amp_build *b, amp_error *err) {
  amp_status st = check_shape(b, err);
  int n = st != AMP_OK ? 0 : b->all ? 1 : amp_build_modules(b);
  for (int i = 0; i < n; i++) {
    if ((st = amp_module_check(module_of(b, i), err)) != AMP_OK) {
      if (err != NULL)
        err->line = (size_t)i + 1;
      return st;
    }
    if (!same_chemistry(module_of(b, i)->chemistry,
                        module_of(b, 0)->chemistry))
      return amp_failf(err, AMP_EREFUSED, "module",
                       "modules 1 and %d are of two chemistries (%s, %s)",
                       i + 1, module_of(b, 0)->chemistry->name,
                       module_of(b, i)->chemistry->name);
  }
  if (st == AMP_OK)
    st = amp_check_range(err, "link", b->link, 0.0, 1.0);
  if (st == AMP_OK)
    st = amp_check_range(err, "lead", b->lead, 0.0, 1.0);
  if (st == AMP_OK && amp_given(b->cooling))
    st = amp_check_range(err, "cooling", b->cooling, 0.0, 1e6);
  return st;
}

/* ---- leaves ---- */

typedef struct maker {
  const amp_build *b;
  const amp_window *w;
  double fade;
  amp_pack *out;
  amp_place *place;
  double soc[AMP_PACK_LEAVES]; /* as stated; NaN: not */
  amp_error *err;
} maker;

/* What the pack gives every leaf; 'g' is one module of 'k' in series. */
static void dress (const maker *k, double modules, amp_group *g) {
  const amp_build *b = k->b;
  g->bleed = b->bleed;
  g->v_bleed = b->v_bleed;
  g->bleed_band = b->bleed_band;
  g->rates = b->rates;
  g->entropic =
      b->entropic ? amp_entropic_find(g->chemistry->name, NULL) : NULL;
  if (amp_given(b->cooling))
    g->cooling = b->cooling * modules;
  g->coolant = b->coolant * modules;
}

/* Resistance of a whole group in this state, from what the leaf has. */
static void scale_r (amp_cell *c, double by) {
  c->r0 *= by;
  c->r1 *= by;
  c->r2 *= by;
}

/* One group of a module, from the leaf of the whole module. */
static amp_group own_group (const maker *k, const amp_module *m, int i,
                            const amp_group *whole) {
  const amp_group_own *o = &m->group[i];
  double left = 1.0 - (double)o->blown / m->parallel;
  amp_group g = *whole;
  g.series = 1.0;
  g.heat_capacity /= m->series;
  g.cooling /= m->series;
  g.coolant /= m->series;
  g.cell.mass = whole->cell.mass;
  g.cell.capacity = amp_given(o->capacity) ? o->capacity * k->fade
                                           : whole->cell.capacity * left;
  if (amp_given(o->r10s)) {
    double now = amp_module_r10s(m) / m->series;
    scale_r(&g.cell, o->r10s / now);
  } else
    scale_r(&g.cell, 1.0 / left);
  return g;
}

static bool alike (const amp_group_own *a, const amp_group_own *b) {
  return a->blown == b->blown &&
         memcmp(&a->capacity, &b->capacity, sizeof a->capacity) == 0 &&
         memcmp(&a->r10s, &b->r10s, sizeof a->r10s) == 0 &&
         memcmp(&a->soc, &b->soc, sizeof a->soc) == 0;
}

static amp_status too_many (const maker *k) {
  return amp_failf(k->err, AMP_EREFUSED, "module",
                   "more than %d unlike groups and modules", AMP_PACK_LEAVES);
}

static amp_status add_leaf (maker *k, const amp_group *g, double soc,
                            amp_place place) {
  amp_pack *p = k->out;
  if (p->leaves >= AMP_PACK_LEAVES)
    return too_many(k);
  k->soc[p->leaves] = soc;
  if (k->place != NULL)
    k->place[p->leaves] = place;
  p->leaf[p->leaves++] = *g;
  return AMP_OK;
}

/* 'count' equal modules in series from place (o, i) on, as leaves. */
static amp_status module_leaves (maker *k, const amp_module *m, int o, int i,
                                 int count) {
  amp_group whole, g;
  amp_status st = amp_module_leaf_at(m, k->w, amp_module_health(m) * k->fade,
                                     count, 1, &whole, k->err);
  if (st != AMP_OK)
    return st;
  dress(k, count, &whole);
  if (m->group == NULL)
    return add_leaf(k, &whole, AMP_NOT_GIVEN,
                    (amp_place){o, i, count, 0, m->series});
  for (int from = 0, to; st == AMP_OK && from < m->series; from = to) {
    for (to = from + 1;
         to < m->series && alike(&m->group[to], &m->group[from]); to++)
      ;
    g = own_group(k, m, from, &whole);
    g.series = to - from;
    g.heat_capacity *= to - from;
    g.cooling *= to - from;
    g.coolant *= to - from;
    g.body = to - from < m->series ? 1 + o * AMP_BUILD_MODULES + i : 0;
    st = add_leaf(k, &g, m->group[from].soc,
                  (amp_place){o, i, 1, from, to - from});
  }
  return st;
}

/* ---- where charge stands at the start ---- */

/* Leaves first .. last-1 of one string come up together until the first is
** full; those of unknown charge stand with the highest. */
static void start_string (maker *k, int first, int last) {
  double high = -1.0, room = HUGE_VAL;
  for (int i = first; i < last; i++)
    if (amp_given(k->soc[i]))
      high = fmax(high, k->soc[i]);
  if (high < 0.0)
    return;
  for (int i = first; i < last; i++) {
    amp_group *g = &k->out->leaf[i];
    g->soc_start = amp_given(k->soc[i]) ? k->soc[i] : high;
    room = fmin(room, (g->soc_max - g->soc_start) * g->cell.capacity);
  }
  for (int i = first; i < last; i++) {
    amp_group *g = &k->out->leaf[i];
    double z = g->soc_start + room / g->cell.capacity;
    g->soc_start = fmin(fmax(z, 0.0), g->soc_max);
  }
}

/* ---- the tree ---- */

/* Every inner node has at least two below it, so there are fewer of them than
** leaves: AMP_PACK_NODES is enough.
** The nodes of one module: its leaves, in a series level where several. */
typedef struct span {
  int first, last; /* leaves */
} span;

static void put_leaves (amp_pack *p, int *free_node, int at, span s) {
  if (s.last - s.first == 1) {
    p->node[at] = (amp_node){AMP_LEAF, s.first, 1};
    return;
  }
  p->node[at] = (amp_node){AMP_SERIES, *free_node, s.last - s.first};
  for (int i = s.first; i < s.last; i++)
    p->node[(*free_node)++] = (amp_node){AMP_LEAF, i, 1};
}

/* Elements of one outer place side by side or in series at node 'at'. */
static void put_outer (amp_pack *p, int *free_node, int at, amp_level level,
                       const span *s, int n) {
  int first = *free_node;
  if (n == 1) {
    put_leaves(p, free_node, at, s[0]);
    return;
  }
  p->node[at] = (amp_node){level, first, n};
  *free_node += n;
  for (int i = 0; i < n; i++)
    put_leaves(p, free_node, first + i, s[i]);
}

/* Equal modules that follow each other in a string fold into one leaf. */
static int fold (const amp_build *b, int at, int left) {
  int n = 1;
  if (!b->string_first || module_of(b, at)->group != NULL)
    return 1;
  while (n < left && module_of(b, at + n) == module_of(b, at))
    n++;
  return n;
}

/* Joints: the lead on the first leaf, links on the last of what they follow;
** between levels each module carries its part of what one link carries. */
static void wire (const amp_build *b, amp_pack *p, int o, int at, int count,
                  span s) {
  int inner = inner_of(b, o);
  amp_group *first = &p->leaf[s.first], *last = &p->leaf[s.last - 1];
  if (b->string_first) {
    first->r_joint += at == 0 ? b->lead : 0.0;
    last->r_joint += b->link * (at + count < inner ? count : count - 1);
    first->trip = at == 0 ? b->trip : NULL;
    return;
  }
  first->r_joint += b->lead;
  last->r_joint += o + 1 < b->outer ? b->link * inner : 0.0;
  first->trip = b->trip;
}

static amp_status outer_place (maker *k, int o, int module, int at,
                               int *free_node) {
  const amp_build *b = k->b;
  span s[AMP_BUILD_MODULES], all;
  int n = 0, count;
  all.first = k->out->leaves;
  for (int i = 0; i < inner_of(b, o); i += count) {
    count = fold(b, module + i, inner_of(b, o) - i);
    if (n >= AMP_BUILD_MODULES)
      return too_many(k);
    s[n].first = k->out->leaves;
    amp_status st = module_leaves(k, module_of(b, module + i), o, i, count);
    if (st != AMP_OK)
      return st;
    s[n].last = k->out->leaves;
    wire(b, k->out, o, i, count, s[n]);
    if (!b->string_first)
      start_string(k, s[n].first, s[n].last);
    n++;
  }
  all.last = k->out->leaves;
  if (!b->string_first) {
    put_outer(k->out, free_node, at, AMP_PARALLEL, s, n);
    return AMP_OK;
  }
  start_string(k, all.first, all.last);
  put_leaves(k->out, free_node, at, all); /* a string is one row of leaves */
  return AMP_OK;
}

/* The equal pack: one leaf, with what every leaf gets. */
static amp_status uniform_pack (maker *k) {
  const amp_build *b = k->b;
  const amp_module *m = module_of(b, 0);
  int series = b->string_first ? inner_of(b, 0) : b->outer;
  int parallel = b->string_first ? b->outer : inner_of(b, 0);
  amp_group g;
  amp_status st = amp_module_leaf_at(m, k->w, amp_module_health(m) * k->fade,
                                     series, parallel, &g, k->err);
  if (st != AMP_OK)
    return st;
  dress(k, (double)series * parallel, &g);
  g.r_joint = b->string_first
                  ? (b->lead + b->link * (series - 1)) / parallel
                  : b->lead * series / parallel + b->link * (series - 1);
  amp_pack_uniform(&g, 1, 1, k->out);
  if (k->place != NULL)
    k->place[0] = (amp_place){0, 0, series, 0, m->series};
  return AMP_OK;
}

static amp_status tree_pack (maker *k) {
  const amp_build *b = k->b;
  amp_pack *p = k->out;
  int node = b->outer > 1 ? 1 + b->outer : 1, module = 0;
  amp_level top = b->string_first ? AMP_PARALLEL : AMP_SERIES;
  if (b->outer > AMP_PACK_LEAVES)
    return too_many(k);
  for (int o = 0; o < b->outer; o++) {
    amp_status st =
        outer_place(k, o, module, b->outer > 1 ? 1 + o : 0, &node);
    if (st != AMP_OK)
      return st;
    module += inner_of(b, o);
  }
  if (b->outer > 1)
    p->node[0] = (amp_node){top, 1, b->outer};
  p->nodes = node;
  return AMP_OK;
}

amp_status amp_build_pack (const amp_build *b, const amp_window *w,
                           double fade, amp_pack *out, amp_place *place,
                           amp_error *err) {
  maker k = {.b = b, .w = w, .fade = fade, .out = out, .place = place};
  amp_status st = amp_build_check(b, err);
  k.err = err;
  if (st == AMP_OK)
    st = amp_check_range(err, "fade", fade, 1e-3, 10.0);
  if (st != AMP_OK)
    return st;
  memset(out, 0, sizeof *out);
  st = amp_build_is_uniform(b) ? uniform_pack(&k) : tree_pack(&k);
  out->heater = b->heater;
  out->coolant_temp = b->coolant_temp;
  return st == AMP_OK ? amp_pack_check(out, err) : st;
}

/* ---- balance ---- */

/* Charge of the leaves below a series level: up to the top of the window,
** down to its bottom, and between the two. */
typedef struct chain {
  double least, most;     /* C of room */
  int fullest;            /* leaf */
  double content, window; /* C, least */
} chain;

static void chain_leaves (const amp_pack *p, int node, chain *c) {
  const amp_node *n = &p->node[node];
  if (n->level == AMP_LEAF) {
    const amp_group *g = &p->leaf[n->first];
    double q = g->cell.capacity * g->parallel;
    double room = (g->soc_max - g->soc_start) * q;
    if (room < c->least)
      c->fullest = n->first;
    c->least = fmin(c->least, room);
    c->most = fmax(c->most, room);
    c->content = fmin(c->content, (g->soc_start - g->soc_min) * q);
    c->window = fmin(c->window, (g->soc_max - g->soc_min) * q);
    return;
  }
  for (int i = n->first; i < n->first + n->count; i++)
    chain_leaves(p, i, c);
}

amp_balance amp_pack_balance (const amp_pack *p) {
  amp_balance b = {0};
  for (int n = 0; n < p->nodes; n++) {
    chain c = {HUGE_VAL, 0.0, 0, HUGE_VAL, HUGE_VAL};
    if (p->node[n].level != AMP_SERIES)
      continue;
    chain_leaves(p, n, &c);
    if (c.most - c.least > b.charge) {
      b.charge = c.most - c.least;
      b.leaf = c.fullest;
      b.lost = c.window - fmin(c.least + c.content, c.window);
    }
  }
  double bleed = p->leaf[b.leaf].bleed * p->leaf[b.leaf].parallel;
  b.time = b.charge == 0.0 ? 0.0 : bleed > 0.0 ? b.charge / bleed : HUGE_VAL;
  return b;
}
