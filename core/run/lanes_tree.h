/*
** lanes_tree.h -- a try of a step, first half: each leaf as e - r i, the tree
** of levels put together up to the terminals, the pack's current, and its
** part through every level. Included by lanes_kernel.h; not a header of its
** own. Equations and symbols: docs/model/simulate.md.
*/

/* Mean voltage e - r i of each leaf over 'tau': order 2, the mean of the RC
** pairs exact and the open-circuit voltage along its tangent. */
static inline void NAME (leaf_terms)(const amp_block *b, const double *coef,
                                     int l0, int l1) {
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(coef) *c = (const NAME(coef) *)coef + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    if (b->detail && b->shape->leaf[k].detailed)
      continue;
    EACH_LANE {
      double hot = NAME(warm_factor)(p, l);
      w->r0[l] = p->kr[l] * p->shape[l] * hot + p->rj[l];
      w->e[l] =
          p->kv[l] * p->ocv[l] - c->k1[l] * p->v1[l] - c->k2[l] * p->v2[l];
      w->r[l] = w->r0[l] + c->rp[l] + c->kq[l] * p->slope[l];
    }
  }
}

/* e and r of every level from its leaves' (node lists parents first). */
static inline void NAME (tree_up)(const amp_block *b, int l0, int l1) {
  for (int n = b->nodes - 1; n >= 0; n--) {
    const amp_node *node = &b->node[n];
    double *e = b->e + (size_t)n * L, *r = b->r + (size_t)n * L;
    if (node->level == AMP_LEAF) {
      const NAME(work) *w = (const NAME(work) *)b->work + node->first;
      EACH_LANE {
        e[l] = w->e[l];
        r[l] = w->r[l];
      }
      continue;
    }
    EACH_LANE {
      e[l] = 0.0;
      r[l] = 0.0;
    }
    for (int k = node->first; k < node->first + node->count; k++) {
      const double *ek = b->e + (size_t)k * L, *rk = b->r + (size_t)k * L;
      if (node->level == AMP_SERIES)
        EACH_LANE {
          e[l] += ek[l];
          r[l] += rk[l];
        }
      else
        EACH_LANE {
          e[l] += ek[l] / rk[l];
          r[l] += 1.0 / rk[l];
        }
    }
    if (node->level == AMP_PARALLEL)
      EACH_LANE {
        r[l] = 1.0 / r[l];
        e[l] *= r[l];
      }
  }
}

/* Current of every level as a I + b of the pack's current I. */
static inline void NAME (tree_down)(const amp_block *b, int l0, int l1) {
  EACH_LANE {
    b->a[l] = 1.0;
    b->b[l] = 0.0;
  }
  for (int n = 0; n < b->nodes; n++) {
    const amp_node *node = &b->node[n];
    const double *e = b->e + (size_t)n * L, *r = b->r + (size_t)n * L;
    const double *a = b->a + (size_t)n * L, *c = b->b + (size_t)n * L;
    if (node->level == AMP_LEAF)
      continue;
    for (int k = node->first; k < node->first + node->count; k++) {
      const double *ek = b->e + (size_t)k * L, *rk = b->r + (size_t)k * L;
      double *ak = b->a + (size_t)k * L, *ck = b->b + (size_t)k * L;
      if (node->level == AMP_SERIES)
        EACH_LANE {
          ak[l] = a[l];
          ck[l] = c[l];
        }
      else
        EACH_LANE {
          double share = r[l] / rk[l];
          ak[l] = share * a[l];
          ck[l] = share * c[l] + (ek[l] - e[l]) / rk[l];
        }
    }
  }
}

/* lo and hi: the pack's current at which a leaf or the converter sits on a
** limit it has already met; BIG where none acts. */
static inline void NAME (bounds)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double hi = (b->e[l] - g->rvmin[l]) / b->r[l];
    double lo = (b->e[l] - g->rvmax[l]) / b->r[l];
    s->hi[l] = g->held[l] > 0.5 ? NAME(most)(hi, 0.0) : BIG;
    s->lo[l] = g->held[l] < -0.5 ? NAME(least)(lo, 0.0) : -BIG;
  }
  for (int n = 0; n < b->nodes; n++) {
    if (b->node[n].level != AMP_LEAF)
      continue;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + b->node[n].first;
    const NAME(work) *w = (const NAME(work) *)b->work + b->node[n].first;
    const double *a = b->a + (size_t)n * L, *c = b->b + (size_t)n * L;
    EACH_LANE {
      double ia = 1.0 / a[l];
      double hi = ((w->e[l] - p->vmin[l]) / w->r[l] - c[l]) * ia;
      double lo = ((w->e[l] - p->vmax[l]) / w->r[l] - c[l]) * ia;
      double rest = -(c[l] + w->bl[l]) * ia;
      hi = g->held[l] > 0.5 ? NAME(most)(hi, 0.0) : BIG;
      lo = g->held[l] < -0.5 ? NAME(least)(lo, 0.0) : -BIG;
      hi = p->z[l] <= p->zmin[l] + SLACK
               ? NAME(least)(hi, NAME(most)(rest, 0.0))
               : hi;
      lo = p->z[l] >= p->zmax[l] - SLACK
               ? NAME(most)(lo, NAME(least)(rest, 0.0))
               : lo;
      hi = a[l] > LIVE ? hi : BIG; /* behind an open fuse */
      lo = a[l] > LIVE ? lo : -BIG;
      s->hi[l] = NAME(least)(s->hi[l], hi);
      s->lo[l] = NAME(most)(s->lo[l], lo);
    }
  }
}

/* The pack's current: that of the power asked over the step's mean voltage,
** V I = P with V = e - r I, inside the bounds. */
static inline void NAME (current)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double e = b->e[l], r = b->r[l], p = s->power[l];
    double d = e * e - 4.0 * r * p;
    double root = sqrt(NAME(most)(d, 0.0));
    bool dead = r > DEAD_R;
    double want = d >= 0.0 ? 2.0 * p / (e + root) : 0.5 * e / r;
    want = dead ? 0.0 : want;
    double i = NAME(most)(NAME(least)(want, s->hi[l]), s->lo[l]);
    double held = g->held[l];
    s->i[l] = i;
    s->v[l] = e - r * i;
    s->limited[l] = ((d < 0.0) | (dead & (p != 0.0)) ? 1.0 : 0.0) +
                    (i != want ? 1.0 : 0.0);
    s->keep[l] = i != want && held * p > 0.0 ? held : 0.0;
    s->margin[l] = BIG;
  }
}

/* The same where the current itself is asked. The power asked is what it
** comes to at the voltage that there is: never of the other sign. */
static inline void NAME (current_held)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double e = b->e[l], r = b->r[l], want = s->want[l];
    double i = NAME(most)(NAME(least)(want, s->hi[l]), s->lo[l]);
    i = r > DEAD_R ? 0.0 : i; /* behind open fuses */
    double held = g->held[l], v = e - r * i;
    double power = want * NAME(most)(v, 1e-3);
    s->i[l] = i;
    s->v[l] = v;
    s->power[l] = power;
    s->dc[l] = NAME(most)(power, 0.0);
    s->limited[l] = i != want ? 1.0 : 0.0;
    s->keep[l] = i != want && held * want > 0.0 ? held : 0.0;
    s->margin[l] = BIG;
  }
}
