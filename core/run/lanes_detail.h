/*
** lanes_detail.h -- leaves of detailed cells (cell/detailed.h) in a block of
** lanes: the same equations and the same step, with the voltage taken along
** its tangent about a guess of the current, the tree solved, and the guess
** put right until it stays (Newton). Included by lanes_kernel.h; not a header
** of its own. Only blocks with such leaves come here (b->detail).
**
** Tables are looked up lane by lane, everything else runs across lanes. A
** lane whose currents have settled keeps its guesses while others go on, so
** that its bits do not depend on who stands beside it.
*/

/* 2 R / F in V/K: exact constants of the SI (2019) */
#define TWO_R_OVER_F (2.0 * 8.314462618 / 96485.33212)
#define NEWTON_MOST 16
#define SETTLED 1e-7 /* of the current, or of 1C: the rest is its square */
#define SETTLED_PEAK 1e-3 /* the same of the most power there is */

#define EACH_DETAILED                                                        \
  for (int k = 0; k < b->leaves; k++)                                        \
    if (b->shape->leaf[k].detailed != NULL)

/* lambda_n^2, tan(lambda_n) = lambda_n: as in cell/detailed.c */
static const double NAME(lambda2)[AMP_DETAIL_MODES] = {
    20.190728556426629, 59.679515944109411, 118.89986916362645,
    197.85781119337719, 296.55441213573141, 414.98998425907814};

/* Between two knots: a[k] + w (a[next] - a[k]). */
typedef struct NAME(knot) {
  int k, next;
  double w, rate; /* dw/dx */
} NAME(knot);

static inline NAME (knot) NAME(knot_soc)(const amp_detailed *c, double z) {
  int last = c->socs - 1, k = 0;
  double span;
  if (!(z > c->soc[0]))
    return (NAME(knot)){0, 0, 0.0, 0.0};
  if (!(z < c->soc[last]))
    return (NAME(knot)){last, last, 0.0, 0.0};
  while (z >= c->soc[k + 1])
    k++;
  span = c->soc[k + 1] - c->soc[k];
  return (NAME(knot)){k, k + 1, (z - c->soc[k]) / span, 1.0 / span};
}

static inline NAME (knot) NAME(knot_temp)(const amp_detailed *c, double t) {
  int k = 0;
  double from, to;
  if (c->temps == 1)
    return (NAME(knot)){0, 0, 1.0 / t - 1.0 / c->temp[0], 0.0};
  while (k < c->temps - 2 && t >= c->temp[k + 1])
    k++;
  from = 1.0 / c->temp[k];
  to = 1.0 / c->temp[k + 1];
  return (NAME(knot)){k, k + 1, (1.0 / t - from) / (to - from), 0.0};
}

static inline double NAME (across)(const amp_detailed *c, double w, double lo,
                                   double hi, double sign) {
  return c->temps == 1 ? lo + sign * c->activation * w : lo + w * (hi - lo);
}

/* ln of a table at a knot of charge, at the line's temperature. */
static inline double NAME (ln_at)(const amp_detailed *c,
                                  const double table[][AMP_DETAIL_SOC],
                                  const NAME(line) * n, int z, double sign,
                                  int l) {
  return NAME(across)(c, n->tw[l], table[(int)n->tk[l]][z],
                      table[(int)n->tn[l]][z], sign);
}

static inline const amp_detailed *NAME (cell_of)(const amp_block *b, int k,
                                                 int l) {
  return b->of[k * L + l]->detailed;
}

/* Where the line's temperature stands in the tables; then what diffusion and
** the slow pairs are at it and at the mean charge z. */
static void NAME (detail_tables)(const amp_block *b, int k, NAME(line) * n,
                                 const double *z, double *tau, double *slow0,
                                 double *slow1, int l0, int l1) {
  for (int l = l0; l < l1; l++) {
    const amp_detailed *c = NAME(cell_of)(b, k, l);
    NAME(knot) t = NAME(knot_temp)(c, n->temp[l]);
    NAME(knot) s = NAME(knot_soc)(c, z[l]);
    double lo, hi;
    n->tk[l] = t.k;
    n->tn[l] = t.next;
    n->tw[l] = t.w;
    lo = NAME(ln_at)(c, c->ln_tau_d, n, s.k, 1.0, l);
    hi = NAME(ln_at)(c, c->ln_tau_d, n, s.next, 1.0, l);
    tau[l] = lo + s.w * (hi - lo);
    slow0[l] = slow1[l] = -708.0; /* no such pair */
    if (c->tau_slow[0] > 0.0)
      slow0[l] = NAME(across)(c, t.w, c->ln_slow[0][t.k],
                              c->ln_slow[0][t.next], 1.0);
    if (c->tau_slow[1] > 0.0)
      slow1[l] = NAME(across)(c, t.w, c->ln_slow[1][t.k],
                              c->ln_slow[1][t.next], 1.0);
  }
  EACH_LANE {
    tau[l] = amp_exp_inline(tau[l]);
    slow0[l] = amp_exp_inline(slow0[l]);
    slow1[l] = amp_exp_inline(slow1[l]);
  }
}

/* Mean over the step of what is left of a state, from what is left at its
** end; x = dt / tau. */
static inline double NAME (fade_mean)(double x, double end) {
  double small = 1.0 - x * (1.0 / 2 - x * (1.0 / 6 - x * (1.0 / 24)));
  return x < 1e-4 ? small : (1.0 - end) / (x + 1e-300);
}

/* What a current does over a step of 'dt': charge at the surface, current
** through charge transfer and voltage of the slow pairs, each a + b i. */
static void NAME (detail_line)(const amp_block *b, int k, double dt, int l0,
                               int l1) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
  NAME(detail) *d = (NAME(detail) *)b->detail + k;
  NAME(line) *n = &d->line;
  double tau[L], slow0[L], slow1[L];
  EACH_LANE {
    n->temp[l] = d->warm[l] > 0.5 ? p->temp[l] : s->tamb[l];
  }
  NAME(detail_tables)(b, k, n, p->z, tau, slow0, slow1, l0, l1);
  EACH_LANE {
    double x0 = dt / d->tau0[l], x1 = dt / d->tau1[l], xc = dt / d->tauc[l];
    double e0 = amp_exp_inline(-x0), e1 = amp_exp_inline(-x1);
    double ec = d->layer[l] * amp_exp_inline(-xc);
    double m0 = NAME(fade_mean)(x0, e0), m1 = NAME(fade_mean)(x1, e1);
    double mc = d->layer[l] * NAME(fade_mean)(xc, ec);
    d->left6[l] = e0;
    d->left7[l] = e1;
    d->leftc[l] = ec;
    n->slow[l] = slow0[l] * d->s0[l] * m0 + slow1[l] * d->s1[l] * m1;
    n->slow_i[l] = slow0[l] * (1.0 - m0) + slow1[l] * (1.0 - m1);
    n->ct[l] = d->ct[l] * mc;
    n->ct_i[l] = 1.0 - mc;
    n->zs[l] = p->z[l];
    n->zs_i[l] = -0.5 * dt * d->icap[l];
  }
  double rest = 0.2;
  for (int m = 0; m < AMP_DETAIL_MODES; m++) {
    double lambda = NAME(lambda2)[m], weight = 2.0 / lambda;
    double *left = (double *)d + (DETAIL_left0 + m) * L;
    const double *mode = (const double *)d + (DETAIL_m0 + m) * L;
    rest -= weight;
    EACH_LANE {
      double quick = m > 0 ? d->quick[l] : 1.0;
      double spread = tau[l] * (1.0 / 3) * d->icap[l] * weight * quick;
      double x = dt * lambda / tau[l], end = amp_exp_inline(-x);
      double mean = NAME(fade_mean)(x, end);
      left[l] = end;
      n->zs[l] -= spread * mode[l] * mean;
      n->zs_i[l] -= spread * (1.0 - mean);
    }
  }
  EACH_LANE {
    n->zs_i[l] -= tau[l] * (1.0 / 3) * d->icap[l] * rest * d->quick[l];
  }
}

/* The same for the instant at the step's end: dt = 0. */
static void NAME (detail_line_end)(const amp_block *b, int k, NAME(line) * n,
                                   const double *x, int l0, int l1) {
  const NAME(work) *w = (const NAME(work) *)b->work + k;
  const NAME(detail) *d = (const NAME(detail) *)b->detail + k;
  double tau[L], slow0[L], slow1[L];
  NAME(detail_tables)(b, k, n, w->z, tau, slow0, slow1, l0, l1);
  EACH_LANE {
    double s0 = x[l] + (d->s0[l] - x[l]) * d->left6[l];
    double s1 = x[l] + (d->s1[l] - x[l]) * d->left7[l];
    double ct = x[l] + (d->ct[l] - x[l]) * d->leftc[l];
    n->slow[l] = slow0[l] * s0 + slow1[l] * s1;
    n->slow_i[l] = 0.0;
    n->ct[l] = d->layer[l] * ct;
    n->ct_i[l] = 1.0 - d->layer[l];
    n->zs[l] = w->z[l];
  }
  double rest = 0.2;
  for (int m = 0; m < AMP_DETAIL_MODES; m++) {
    double weight = 2.0 / NAME(lambda2)[m];
    const double *left = (const double *)d + (DETAIL_left0 + m) * L;
    const double *mode = (const double *)d + (DETAIL_m0 + m) * L;
    rest -= weight;
    EACH_LANE {
      double now = x[l] + (mode[l] - x[l]) * left[l];
      double quick = m > 0 ? d->quick[l] : 1.0;
      n->zs[l] -= tau[l] * (1.0 / 3) * d->icap[l] * weight * quick * now;
    }
  }
  EACH_LANE {
    n->zs_i[l] = -tau[l] * (1.0 / 3) * d->icap[l] * rest * d->quick[l];
  }
}

/* Voltage of one cell at current x along a line, and its slope. */
static void NAME (detail_voltage)(const amp_block *b, int k,
                                  const NAME(line) * n, const double *x,
                                  double *v, double *dv, int l0, int l1) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
  double r_lo[L], r_hi[L], i_lo[L], i_hi[L], s_lo[L], s_hi[L], w[L], rate[L];
  for (int l = l0; l < l1; l++) {
    const amp_detailed *c = NAME(cell_of)(b, k, l);
    NAME(knot) z = NAME(knot_soc)(c, n->zs[l] + n->zs_i[l] * x[l]);
    r_lo[l] = NAME(ln_at)(c, c->ln_r0, n, z.k, 1.0, l);
    r_hi[l] = NAME(ln_at)(c, c->ln_r0, n, z.next, 1.0, l);
    i_lo[l] = NAME(ln_at)(c, c->ln_i0, n, z.k, -1.0, l);
    i_hi[l] = NAME(ln_at)(c, c->ln_i0, n, z.next, -1.0, l);
    s_lo[l] = c->entropic[z.k];
    s_hi[l] = c->entropic[z.next];
    w[l] = z.w;
    rate[l] = z.rate;
  }
  EACH_LANE {
    double zs = n->zs[l] + n->zs_i[l] * x[l];
    double in = NAME(least)(NAME(most)(zs, 0.0), 1.0);
    NAME(look) at = NAME(look_up)(b->table, p->base[l], in);
    double rise = AMP_ROWS * at.slope;
    double r0 = amp_exp_inline(r_lo[l] + w[l] * (r_hi[l] - r_lo[l]));
    double i0 = amp_exp_inline(i_lo[l] + w[l] * (i_hi[l] - i_lo[l]));
    double ln_r = (r_hi[l] - r_lo[l]) * rate[l];
    double ln_i = (i_hi[l] - i_lo[l]) * rate[l];
    double heat = s_lo[l] + (s_hi[l] - s_lo[l]) * w[l];
    double heat_z = (s_hi[l] - s_lo[l]) * rate[l];
    double warm = n->temp[l] - 298.15, bt = TWO_R_OVER_F * n->temp[l];
    double y = (n->ct[l] + n->ct_i[l] * x[l]) / (2.0 * i0);
    double root = sqrt(1.0 + y * y);
    double u = at.ocv + rise * (zs - in) + warm * heat;
    v[l] = u - (r0 * x[l] + bt * amp_asinh_inline(y) + n->slow[l] +
                n->slow_i[l] * x[l]);
    dv[l] = n->zs_i[l] * (rise + warm * heat_z - r0 * x[l] * ln_r +
                          bt * y * ln_i / root) -
            r0 - bt * n->ct_i[l] / (2.0 * i0 * root) - n->slow_i[l];
    /* against a table that rises too steeply: the tree wants r > 0 */
    dv[l] = NAME(least)(dv[l], -0.1 * r0);
  }
}

/* Lines of the step, and the first guess: the current asked, where it is
** known, else the last. */
static void NAME (detail_open)(const amp_block *b, double tau, int l0,
                               int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  EACH_DETAILED {
    NAME(detail) *d = (NAME(detail) *)b->detail + k;
    NAME(detail_line)(b, k, tau, l0, l1);
    EACH_LANE {
      d->guess[l] = b->amps ? s->want[l] * d->share[l] : d->flow[l];
    }
  }
  EACH_LANE {
    s->done[l] = 0.0;
  }
}

/* e - r i of each detailed leaf about its guess. */
static void NAME (detail_terms)(const amp_block *b, int l0, int l1) {
  EACH_DETAILED {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    NAME(detail) *d = (NAME(detail) *)b->detail + k;
    double x[L], v[L], dv[L];
    EACH_LANE {
      x[l] = d->guess[l] * d->ip[l];
    }
    NAME(detail_voltage)(b, k, &d->line, x, v, dv, l0, l1);
    EACH_LANE {
      double r = p->rj[l] - p->kv[l] * dv[l] * d->ip[l];
      double e = p->kv[l] * (v[l] - dv[l] * x[l]);
      d->e[l] = e;
      d->r[l] = r;
      w->e[l] = e;
      w->r[l] = r;
      w->r0[l] = r;
    }
  }
}

/* Have the currents that the tree found met the guesses? Else those are the
** next; half way where the power asked is more than there is, for the search
** for the peak is no Newton step, and now and then 0.6 of the way, for at a
** kink of a table whole steps may go to and fro. */
static bool NAME (detail_settled)(const amp_block *b, int round, int l0,
                                  int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  double off[L], part[L], fine[L], way = round % 4 == 0 ? 0.6 : 1.0;
  int left = 0;
  EACH_LANE {
    double e = b->e[l], r = b->r[l];
    bool weak = e * e - 4.0 * r * s->power[l] < 0.0;
    part[l] = weak ? 0.5 : way;
    fine[l] = weak ? SETTLED_PEAK : SETTLED;
    off[l] = 0.0;
  }
  for (int n = 0; n < b->nodes; n++) {
    int k = b->node[n].first;
    if (b->node[n].level != AMP_LEAF || !b->shape->leaf[k].detailed)
      continue;
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    const NAME(detail) *d = (const NAME(detail) *)b->detail + k;
    const double *a = b->a + (size_t)n * L, *base = b->b + (size_t)n * L;
    EACH_LANE {
      double i = a[l] * s->i[l] + base[l] + w->bl[l];
      double unit = p->q[l] * (1.0 / 3600.0);
      double size = NAME(most)(fabs(i), unit);
      w->i[l] = i;
      off[l] = NAME(most)(off[l], fabs(i - d->guess[l]) / size);
    }
  }
  EACH_LANE {
    s->done[l] = off[l] <= fine[l] ? 1.0 : s->done[l];
  }
  EACH_DETAILED {
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    NAME(detail) *d = (NAME(detail) *)b->detail + k;
    EACH_LANE {
      double i = w->i[l], guess = d->guess[l];
      double next = guess + part[l] * (i - guess);
      d->guess[l] = s->done[l] > 0.5 ? guess : next;
    }
  }
  for (int l = l0; l < l1; l++)
    left += s->done[l] > 0.5 ? 0 : 1;
  return left == 0;
}

/* Both nodes after 'tau' with 'watt' a cell in the core: exact for constant
** heating, each of the two modes fading on its own. */
static inline void NAME (detail_heat)(const NAME(detail) * d,
                                      const NAME(leaf) * p, double watt,
                                      double ambient, double tau,
                                      double *core, double *skin, int l) {
  double skin_end = ambient + watt * d->air[l];
  double core_end = skin_end + watt * d->wall[l];
  double y1 = d->root_core[l] * (p->temp[l] - core_end);
  double y2 = d->root_skin[l] * (d->skin[l] - skin_end);
  double u1 = d->u1[l], u2 = d->u2[l];
  double q1 = amp_exp_inline(-d->fast[l] * tau) * (u1 * y1 + u2 * y2);
  double q2 = amp_exp_inline(-d->late[l] * tau) * (u2 * y1 - u1 * y2);
  bool warm = d->warm[l] > 0.5;
  double c = core_end + (u1 * q1 + u2 * q2) / d->root_core[l];
  double k = skin_end + (u2 * q1 - u1 * q2) / d->root_skin[l];
  *core = warm ? c : ambient;
  *skin = warm ? k : ambient;
}

/* Heat of a cell in W: what the open-circuit voltage of the mean charge would
** have given and did not, and the heat of reaction. v: of one cell. */
static void NAME (detail_watts)(const amp_block *b, int k, const double *x,
                                const double *v, double *watt, int l0,
                                int l1) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
  const NAME(work) *w = (const NAME(work) *)b->work + k;
  double s[L];
  for (int l = l0; l < l1; l++) {
    const amp_detailed *c = NAME(cell_of)(b, k, l);
    NAME(knot) z = NAME(knot_soc)(c, 0.5 * (p->z[l] + w->z[l]));
    double lo = c->entropic[z.k];
    s[l] = lo + (c->entropic[z.next] - lo) * z.w;
  }
  EACH_LANE {
    double mid = 0.5 * (p->z[l] + w->z[l]);
    double u = NAME(look_up)(b->table, p->base[l], mid).ocv;
    watt[l] = x[l] * (u - 298.15 * s[l] - v[l]);
  }
}

/* End of the step of each detailed leaf. Of its chemical energy, against the
** open-circuit voltage at 298.15 K, what did not leave at its ends is loss. */
static void NAME (detail_ends)(const amp_block *b, const double *coef,
                               double tau, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  EACH_DETAILED {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(coef) *c = (const NAME(coef) *)coef + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    NAME(detail) *d = (NAME(detail) *)b->detail + k;
    double x[L], cell_v[L], watt[L], v[L], dv[L];
    NAME(line) end;
    EACH_LANE {
      double i = w->i[l], out = d->e[l] - d->r[l] * i;
      double z = p->z[l] - i * c->tiq[l];
      double f = NAME(look_up)(b->table, p->base[l], z).f;
      double chem = p->kvq[l] * (p->f[l] - f);
      x[l] = i * d->ip[l];
      cell_v[l] = (out + p->rj[l] * i) * p->ikv[l];
      w->z[l] = z;
      w->f[l] = f;
      w->chem[l] = chem;
      w->heat[l] = chem - out * i * tau;
      s->term[l] += out * i * tau;
    }
    NAME(detail_watts)(b, k, x, cell_v, watt, l0, l1);
    EACH_LANE {
      double core, skin;
      NAME(detail_heat)(d, p, watt[l], s->tamb[l], tau, &core, &skin, l);
      w->temp[l] = core;
      d->skin_end[l] = skin;
      end.temp[l] = core;
    }
    NAME(detail_line_end)(b, k, &end, x, l0, l1);
    NAME(detail_voltage)(b, k, &end, x, v, dv, l0, l1);
    EACH_LANE {
      double r = p->rj[l] - p->kv[l] * dv[l] * d->ip[l];
      w->rend[l] = r;
      w->ocv[l] = v[l] - dv[l] * x[l]; /* so that kv ocv - r i is the end */
      w->shape[l] = r - p->rj[l];
      w->slope[l] = 0.0;
      w->v1[l] = 0.0;
      w->v2[l] = 0.0;
    }
  }
}

/* A limit is met as well where the mean over the step has passed it: its own
** heat may bring a cell back by the end of a long step. */
static void NAME (detail_room)(const amp_block *b, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  EACH_DETAILED {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    const NAME(detail) *d = (const NAME(detail) *)b->detail + k;
    EACH_LANE {
      double i = w->i[l], v = d->e[l] - d->r[l] * i;
      double low = s->keep[l] > 0.5 ? BIG : (v - p->vmin[l]) * p->ikv[l];
      double high = s->keep[l] < -0.5 ? BIG : (p->vmax[l] - v) * p->ikv[l];
      double room = s->i[l] > 0.0 && i > LIVE    ? low
                    : s->i[l] < 0.0 && i < -LIVE ? high
                                                 : BIG;
      s->margin[l] = NAME(least)(s->margin[l], room + SLACK);
    }
  }
}

static inline void NAME (detail_move)(double *state, const double *x,
                                      const double *left, const double *ok,
                                      int l0, int l1) {
  EACH_LANE {
    double was = state[l], now = x[l] + (was - x[l]) * left[l];
    state[l] = ok[l] > 0.5 ? now : was;
  }
}

/* Take the step's end; where margin >= 0. */
static void NAME (detail_take)(const amp_block *b, int l0, int l1) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double ok[L], x[L];
  EACH_LANE {
    ok[l] = s->margin[l] >= 0.0 ? 1.0 : 0.0;
    g->unsolved[l] += ((ok[l] > 0.5) & (s->done[l] < 0.5)) ? 1.0 : 0.0;
  }
  EACH_DETAILED {
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    NAME(detail) *d = (NAME(detail) *)b->detail + k;
    EACH_LANE {
      double i = w->i[l], flow = d->flow[l];
      double skin = d->skin[l], skin_end = d->skin_end[l];
      x[l] = i * d->ip[l];
      d->flow[l] = ok[l] > 0.5 ? i : flow;
      d->skin[l] = ok[l] > 0.5 ? skin_end : skin;
    }
    for (int m = 0; m < AMP_DETAIL_MODES; m++)
      NAME(detail_move)((double *)d + (DETAIL_m0 + m) * L, x,
                        (double *)d + (DETAIL_left0 + m) * L, ok, l0, l1);
    NAME(detail_move)(d->s0, x, d->left6, ok, l0, l1);
    NAME(detail_move)(d->s1, x, d->left7, ok, l0, l1);
    NAME(detail_move)(d->ct, x, d->leftc, ok, l0, l1);
  }
}
