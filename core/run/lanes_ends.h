/*
** lanes_ends.h -- a try of a step, second half: the leaves at its end, how
** far that is from the nearest limit, and what ends a phase of a test.
** Included by lanes_kernel.h; not a header of its own.
*/

/* End of the step of every leaf, from its current; and the room left. */
static inline void NAME (leaf_ends)(const amp_block *b, const double *coef,
                                    double tau, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  EACH_LANE {
    s->term[l] = 0.0;
  }
  for (int n = 0; n < b->nodes; n++) {
    if (b->node[n].level != AMP_LEAF)
      continue;
    int k = b->node[n].first;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(coef) *c = (const NAME(coef) *)coef + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    const double *a = b->a + (size_t)n * L, *base = b->b + (size_t)n * L;
    if (b->detail && b->shape->leaf[k].detailed)
      continue;
    EACH_LANE {
      double i = a[l] * s->i[l] + base[l] + w->bl[l];
      double z = p->z[l] - i * c->tiq[l];
      NAME(look) at = NAME(look_up)(b->table, p->base[l], z);
      double pairs = c->k1[l] * p->v1[l] + c->k2[l] * p->v2[l];
      double warm = i * (i * (w->r0[l] + c->rp[l]) + pairs);
      double t_end = s->tamb[l] + warm * p->icool[l];
      w->i[l] = i;
      w->z[l] = z;
      w->v1[l] = c->a1[l] * p->v1[l] + c->b1[l] * i;
      w->v2[l] = c->a2[l] * p->v2[l] + c->b2[l] * i;
      w->temp[l] = t_end + c->at[l] * (p->temp[l] - t_end);
      w->rend[l] =
          p->kr[l] * at.shape * NAME(warm_factor)(p, l) + p->rj[l];
      w->ocv[l] = at.ocv;
      w->slope[l] = at.slope;
      w->shape[l] = at.shape;
      w->f[l] = at.f;
      w->chem[l] = p->kvq[l] * (p->f[l] - w->f[l]);
      w->heat[l] = warm * tau;
      s->term[l] += w->chem[l] - w->heat[l];
    }
  }
}

/* Room to the nearest limit at the end of the step, < 0: passed inside it.
** A voltage limit that holds already is not asked again. */
static inline void NAME (room)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  for (int n = b->nodes - 1; n >= 0; n--) {
    if (b->node[n].level != AMP_LEAF)
      continue;
    int k = b->node[n].first;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    EACH_LANE {
      double open = p->kv[l] * w->ocv[l] - w->v1[l] - w->v2[l];
      double v = open - w->rend[l] * w->i[l];
      double low =
          NAME(least)(w->z[l] - p->zmin[l],
                      s->keep[l] > 0.5 ? BIG : (v - p->vmin[l]) * p->ikv[l]);
      double high =
          NAME(least)(p->zmax[l] - w->z[l],
                      s->keep[l] < -0.5 ? BIG : (p->vmax[l] - v) * p->ikv[l]);
      double room = s->i[l] > 0.0 && w->i[l] > LIVE    ? low
                    : s->i[l] < 0.0 && w->i[l] < -LIVE ? high
                                                       : BIG;
      s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
      w->e[l] = open; /* for the converter's limit: the tree at the end */
      w->r[l] = w->rend[l];
    }
  }
  if (b->features)
    NAME(extra_open)(b, l0, l1);
  NAME(tree_up)(b, l0, l1);
  EACH_LANE {
    double v = b->e[l] - b->r[l] * s->i[l];
    double low = s->keep[l] > 0.5 ? BIG : v - g->rvmin[l];
    double high = s->keep[l] < -0.5 ? BIG : g->rvmax[l] - v;
    double room = s->i[l] > 0.0 ? low : s->i[l] < 0.0 ? high : BIG;
    s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
  }
}

/* Mean SoC by charge, from fields 'at' the leaves or at the step's end. */
static inline void NAME (mean_soc)(const amp_block *b, bool end, double *mean,
                                   int l0, int l1) {
  double q[L];
  EACH_LANE {
    q[l] = 0.0;
    mean[l] = 0.0;
  }
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    EACH_LANE {
      q[l] += p->q[l];
      mean[l] += p->q[l] * (end ? w->z[l] : p->z[l]);
    }
  }
  EACH_LANE {
    mean[l] /= q[l];
  }
}

/* Room to what ends a phase besides the limits: its SoC; and where a voltage
** holds, the current that goes on holding it at the end, down to the taper.
** The tree at the end of the step is there from NAME (room). */
static inline void NAME (phase_room)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  double taper = b->phase->taper, until = b->phase->until_soc, soc[L];
  double itaper = taper > 0.0 ? 1.0 / taper : 0.0;
  NAME(mean_soc)(b, true, soc, l0, l1);
  EACH_LANE {
    double sign = s->i[l] > 0.0 ? 1.0 : -1.0;
    double next = (b->e[l] - s->v[l]) / b->r[l] * sign;
    double fall = itaper * (next - taper), left = (soc[l] - until) * sign;
    double room = itaper > 0.0 && s->keep[l] != 0.0 ? fall : BIG;
    room = left < room ? left : room; /* NaN: no SoC ends it */
    room = s->i[l] == 0.0 ? BIG : room;
    s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
  }
}

/* Is a leaf at the charge that a current of this sign goes to? */
static bool NAME (at_charge)(const amp_block *b, double sign, int l) {
  for (int k = 0; sign != 0.0 && k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    double left = sign > 0.0 ? p->z[l] - p->zmin[l] : p->zmax[l] - p->z[l];
    if (left <= 2.0 * SLACK)
      return true;
  }
  return false;
}

/* Where a phase has come to a limit: is it over, or does the limit hold? Only
** a voltage holds, and only down to a taper. */
static bool NAME (phase_ends)(const amp_block *b, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double soc[L], sign = s->power[l] > 0.0 ? 1.0 : -1.0;
  if (!b->phase)
    return false;
  NAME(mean_soc)(b, false, soc, l, l + 1);
  return !(b->phase->taper > 0.0) || g->held[l] * sign > 0.0 ||
         NAME(at_charge)(b, sign, l) ||
         (soc[l] - b->phase->until_soc) * sign <= 2.0 * SLACK;
}

static void NAME (phase_end)(const amp_block *b, double now, int l) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  if (s->power[l] > 0.0 && g->first_empty[l] < 0.0)
    g->first_empty[l] = now;
  g->over[l] = 1.0;
  g->held[l] = 0.0;
  s->want[l] = 0.0;
  s->power[l] = 0.0;
  s->dc[l] = 0.0;
  if (b->ended)
    *b->ended = now;
}
