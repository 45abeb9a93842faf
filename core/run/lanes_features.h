/*
** lanes_features.h -- what a tree of leaves may have besides: passive
** balancing, fuses, current limits by temperature, entropic heat, a coolant,
** a heater, bodies of several leaves; sums of each leaf; the error of a step
** measured by halving it. Included by lanes_kernel.h; not a header of its
** own. Equations and symbols: docs/model/pack.md, docs/model/heat.md.
**
** Only blocks that use something of it come here (b->features), so plain
** loops serve: a case with a heater is one of few.
*/

#define EACH_LEAF for (int k = 0; k < b->leaves; k++)
#define OPEN_R 1e30    /* ohm of a leaf whose fuse has opened */
#define DEAD_R 1e20    /* above it a level carries nothing */
#define LIVE 1e-12     /* share of the pack's current that counts */
#define WORN_OUT 0.999 /* at an event located to 1e-9 of the step */
#define NEAR_K 1e-5    /* K, likewise for the thermostat */

/* r of a leaf of cells, whatever its fuse. */
static inline double NAME (cells_r)(const amp_block *b, const double *coef,
                                    int k, int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
  const NAME(coef) *c = (const NAME(coef) *)coef + k;
  const NAME(work) *w = (const NAME(work) *)b->work + k;
  return w->r0[l] + c->rp[l] + c->kq[l] * p->slope[l];
}

/* What bleeds out of a leaf's groups this step, and open fuses: seen from
** outside, e - r (i + bleed). */
static void NAME (extra_terms)(const amp_block *b, const double *coef, int l0,
                               int l1) {
  double low[L];
  for (int l = l0; l < l1; l++)
    low[l] = BIG;
  EACH_LEAF for (int l = l0; l < l1; l++) {
    double v = ((const NAME(leaf) *)b->leaf + k)->vend[l];
    low[l] = NAME(least)(low[l], v);
  }
  EACH_LEAF {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    for (int l = l0; l < l1; l++) {
      double r = NAME(cells_r)(b, coef, k, l);
      bool on = p->bleed[l] > 0.0 && p->vend[l] > p->vbleed[l] &&
                p->vend[l] > low[l] + b->of[k * L + l]->bleed_band;
      w->bl[l] = on ? p->bleed[l] : 0.0;
      w->e[l] -= r * w->bl[l];
      w->r[l] = p->open[l] > 0.5 ? OPEN_R : r;
    }
  }
}

/* The same for the tree at the end of the step. */
static void NAME (extra_open)(const amp_block *b, int l0, int l1) {
  EACH_LEAF {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    for (int l = l0; l < l1; l++) {
      w->e[l] -= w->r[l] * w->bl[l];
      w->r[l] = p->open[l] > 0.5 ? OPEN_R : w->r[l];
    }
  }
}

/* The pack's current may not take a leaf past what its temperature allows;
** it is never turned round for that. */
static void NAME (extra_bounds)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  for (int l = l0; l < l1; l++) {
    s->thi[l] = BIG;
    s->tlo[l] = -BIG;
  }
  for (int n = 0; n < b->nodes; n++) {
    int k = b->node[n].first;
    if (b->node[n].level != AMP_LEAF)
      continue;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const double *a = b->a + (size_t)n * L, *c = b->b + (size_t)n * L;
    for (int l = l0; l < l1; l++) {
      const amp_rates *t = b->of[k * L + l]->rates;
      double base = p->q[l] * (1.0 / 3600.0);
      if (t == NULL || !(a[l] > LIVE))
        continue;
      double most = amp_rate_at(&t->discharge, p->temp[l]) * base;
      double least = -amp_rate_at(&t->charge, p->temp[l]) * base;
      double hi = NAME(most)((most - c[l]) / a[l], 0.0);
      double lo = NAME(least)((least - c[l]) / a[l], 0.0);
      s->thi[l] = NAME(least)(s->thi[l], hi);
      s->tlo[l] = NAME(most)(s->tlo[l], lo);
    }
  }
  for (int l = l0; l < l1; l++) {
    s->hi[l] = NAME(least)(s->hi[l], s->thi[l]);
    s->lo[l] = NAME(most)(s->lo[l], s->tlo[l]);
  }
}

/* What the heater gets: in a shortfall AC load is dropped first, then DC
** load, then the heater. And whether temperature set the current. */
static void NAME (extra_current)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  for (int l = l0; l < l1; l++) {
    double watt = g->heating[l] > 0.5 ? g->hw[l] : 0.0;
    double gap = s->power[l] > 0.0 && s->limited[l] > 0.5
                     ? NAME(most)(s->power[l] - s->v[l] * s->i[l], 0.0)
                     : 0.0;
    double ac = NAME(least)(gap, s->ac[l] * g->ieta[l]);
    double rest = NAME(most)(gap - ac - s->dc[l], 0.0);
    bool met = s->power[l] > 0.0 ? s->i[l] == s->thi[l]
                                 : s->i[l] == s->tlo[l];
    s->fed[l] = g->hpack[l] > 0.5 ? NAME(most)(watt - rest, 0.0) : watt;
    s->cold[l] = s->limited[l] > 0.5 && met ? 1.0 : 0.0;
  }
}

/* Leaves of one body end at one temperature: heat is shared at once. */
static void NAME (mix_bodies)(const amp_block *b, int l) {
  for (int k = 0, to; k < b->leaves; k = to) {
    double heat = 0.0, sum = 0.0;
    to = k + 1;
    if (b->shape->leaf[k].body == 0)
      continue;
    while (to < b->leaves &&
           b->shape->leaf[to].body == b->shape->leaf[k].body)
      to++;
    for (int j = k; j < to; j++) {
      double c = ((const NAME(leaf) *)b->leaf + j)->heat[l];
      heat += c;
      sum += c * ((NAME(work) *)b->work + j)->temp[l];
    }
    for (int j = k; heat > 0.0 && j < to; j++)
      ((NAME(work) *)b->work + j)->temp[l] = sum / heat;
  }
}

/* dU/dT at a charge, V/K, from the table's spare column. */
static inline double NAME (entropic_at)(const amp_block *b, double base,
                                        double z) {
  NAME(spot) k = NAME(spot_at)(base, z * AMP_ROWS);
  const double *row = NAME(row_of)(b->table, k.row);
  return row[ROW_SPARE] + k.in * (row[ROW_SPARE + AMP_ROW] - row[ROW_SPARE]);
}

/* End of the step again, with all heat, what was bled, and the fuse. */
static void NAME (extra_leaf)(const amp_block *b, const double *coef,
                              double tau, int k, int l) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
  const NAME(coef) *c = (const NAME(coef) *)coef + k;
  NAME(work) *w = (NAME(work) *)b->work + k;
  const amp_group *of = b->of[k * L + l];
  double r = NAME(cells_r)(b, coef, k, l), out = w->i[l] - w->bl[l];
  double mid = 0.5 * (p->z[l] + w->z[l]);
  double slope = NAME(entropic_at)(b, p->base[l], mid);
  double rev = -w->i[l] * p->temp[l] * p->kv[l] * slope;
  double warm = w->heat[l] / tau + rev + s->fed[l] * p->hshare[l];
  double end = s->tamb[l] + p->gshare[l] * (g->tin[l] - s->tamb[l]) +
               warm * p->icool[l];
  w->rev[l] = rev * tau;
  w->bled[l] = w->bl[l] * (w->e[l] - r * out) * tau;
  if (of->detailed == NULL) /* else it has its own nodes */
    w->temp[l] = p->heat[l] > 0.0 ? end + c->at[l] * (p->temp[l] - end)
                                  : s->tamb[l];
  s->term[l] -= w->bled[l];
  w->worn[l] = 0.0;
  if (of->trip != NULL) {
    double time = amp_trip_time(of->trip, out);
    w->worn[l] = time < BIG
                     ? p->worn[l] + tau / time
                     : p->worn[l] * amp_exp_inline(-tau / of->trip->time[0]);
  }
}

static void NAME (extra_ends)(const amp_block *b, const double *coef,
                              double tau, int l0, int l1) {
  EACH_LEAF for (int l = l0; l < l1; l++)
    NAME(extra_leaf)(b, coef, tau, k, l);
  for (int l = l0; l < l1; l++)
    NAME(mix_bodies)(b, l);
}

/* K of the coldest leaf that has a mass; BIG: none has. */
static double NAME (coldest)(const amp_block *b, bool end, int l) {
  double t = BIG;
  EACH_LEAF {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    if (p->heat[l] > 0.0)
      t = NAME(least)(t, end ? w->temp[l] : p->temp[l]);
  }
  return t;
}

/* What is left of the life of the most worn fuse that is whole; BIG: none. */
static double NAME (fuse_room)(const amp_block *b, int l) {
  double room = BIG;
  EACH_LEAF {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    if (p->open[l] < 0.5)
      room = NAME(least)(room, 1.0 - w->worn[l]);
  }
  return room;
}

/* Room to a fuse's opening and to the thermostat's turn. */
static void NAME (extra_room)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  for (int l = l0; l < l1; l++) {
    double room = NAME(fuse_room)(b, l);
    if (g->hw[l] > 0.0) {
      double t = NAME(coldest)(b, true, l);
      double to = g->heating[l] > 0.5 ? g->hoff[l] - t : t - g->hon[l];
      room = NAME(least)(room, 1e-3 * to);
    }
    s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
  }
}

/* The thermostat at a step's start; then the power that is asked. */
static void NAME (thermostat)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  for (int l = l0; l < l1; l++) {
    double t = NAME(coldest)(b, false, l);
    bool on = g->heating[l] > 0.5;
    if (!(g->hw[l] > 0.0))
      continue;
    on = t <= g->hon[l] + NEAR_K || (on && t < g->hoff[l] - NEAR_K);
    double net = s->net[l] + (on && g->hpack[l] > 0.5 ? g->hw[l] : 0.0);
    g->heating[l] = on ? 1.0 : 0.0;
    s->power[l] = net > 0.0 ? net : net * g->ce[l];
  }
}

/* Sums of one leaf for whoever looks at single strings and groups. */
static void NAME (leaf_stats)(const amp_block *b, double tau, int k, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  NAME(leaf) *p = (NAME(leaf) *)b->leaf + k;
  const NAME(work) *w = (const NAME(work) *)b->work + k;
  double i = w->i[l] - w->bl[l], all = s->i[l];
  p->qout[l] += NAME(most)(i, 0.0) * tau;
  p->qin[l] += NAME(most)(-i, 0.0) * tau;
  p->ihi[l] = NAME(most)(p->ihi[l], i);
  p->ilo[l] = NAME(least)(p->ilo[l], i);
  p->thi[l] = NAME(most)(p->thi[l], p->temp[l]);
  p->tlo[l] = NAME(least)(p->tlo[l], p->temp[l]);
  p->zlo[l] = NAME(least)(p->zlo[l], p->z[l]);
  p->zhi[l] = NAME(most)(p->zhi[l], p->z[l]);
  if (fabs(all) >= g->ishare[l])
    p->share[l] = NAME(most)(p->share[l], i / all);
}

/* Take the step's end of what stands in this file; where margin >= 0. */
static void NAME (extra_take)(const amp_block *b, double tau, int l0,
                              int l1) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  for (int l = l0; l < l1; l++) {
    if (!(s->margin[l] >= 0.0))
      continue;
    EACH_LEAF {
      NAME(leaf) *p = (NAME(leaf) *)b->leaf + k;
      const NAME(work) *w = (const NAME(work) *)b->work + k;
      double open = p->kv[l] * w->ocv[l] - w->v1[l] - w->v2[l];
      if (b->features) {
        p->worn[l] = w->worn[l];
        p->vend[l] = (open - w->rend[l] * w->i[l]) * p->ikv[l];
        g->bled[l] += w->bled[l];
        g->rev[l] += w->rev[l];
      }
      if (b->stats)
        NAME(leaf_stats)(b, tau, k, l);
    }
    if (b->features)
      g->heater[l] += s->fed[l] * tau;
  }
}

/* What temperature cost in a step: the part of these sums that it added. */
static void NAME (extra_cost)(const amp_block *b, double tau, double now,
                              const double *lack, const double *spilt, int l0,
                              int l1) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  for (int l = l0; l < l1; l++) {
    bool on = s->margin[l] >= 0.0 && s->cold[l] > 0.5;
    double more = g->unserved[l] + g->dc_unserved[l] - lack[l];
    if (!on)
      continue;
    g->cold_unserved[l] += more - s->over[l] * tau;
    g->cold_curtailed[l] += g->curtailed[l] - spilt[l];
    g->cold_time[l] += tau;
    if (g->first_cold[l] < 0.0)
      g->first_cold[l] = now;
    g->last_cold[l] = now + tau;
  }
}

/* Fuses that are worn out open; true where one did. */
static bool NAME (open_worn)(const amp_block *b, double now, int l) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  bool any = false;
  EACH_LEAF {
    NAME(leaf) *p = (NAME(leaf) *)b->leaf + k;
    if (!(p->worn[l] > WORN_OUT && p->open[l] < 0.5))
      continue;
    p->open[l] = 1.0;
    p->opened[l] = now;
    if (g->first_open[l] < 0.0)
      g->first_open[l] = now;
    any = true;
  }
  return any;
}

/* SoC or V of a group that leaf k has left to the limit it moves to. */
static double NAME (end_room)(const amp_block *b, int k, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
  const NAME(work) *w = (const NAME(work) *)b->work + k;
  double open = p->kv[l] * p->ocv[l] - p->v1[l] - p->v2[l];
  double v = open - w->rend[l] * w->i[l];
  if (!(fabs(w->i[l]) > LIVE))
    return BIG;
  return s->i[l] > 0.0 ? NAME(least)(p->z[l] - p->zmin[l],
                                     (v - p->vmin[l]) * p->ikv[l])
                       : NAME(least)(p->zmax[l] - p->z[l],
                                     (p->vmax[l] - v) * p->ikv[l]);
}

/* After a located event: fuses that are worn out open, else the leaf that
** stands at its end is counted. */
static void NAME (extra_event)(const amp_block *b, double now, bool ended,
                               int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  double least = 1e-6; /* farther away it was not this leaf */
  int who = -1;
  bool opened = NAME(open_worn)(b, now, l);
  for (int k = 0; ended && !opened && k < b->leaves; k++) {
    double room = NAME(end_room)(b, k, l);
    who = room < least ? k : who;
    least = NAME(least)(least, room);
  }
  if (who < 0)
    return;
  NAME(leaf) *p = (NAME(leaf) *)b->leaf + who;
  bool low = s->i[l] > 0.0;
  double *times = low ? p->lows : p->highs;
  double *first = low ? p->first_low : p->first_high;
  times[l] += 1.0;
  first[l] = first[l] < 0.0 ? now : first[l];
}

/* Fuse worn out at once, at the very start of what is left of the step. */
static bool NAME (opens_now)(const amp_block *b, double now, int l) {
  bool any = false;
  EACH_LEAF {
    NAME(leaf) *p = (NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    if (p->open[l] < 0.5 && w->worn[l] > 1.0) {
      p->worn[l] = w->worn[l];
      any = true;
    }
  }
  return any && NAME(open_worn)(b, now, l);
}
