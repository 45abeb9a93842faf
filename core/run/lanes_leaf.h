/*
** lanes_leaf.h -- the step of a pack that is one leaf, the commonest shape,
** as one function of a lane. Included by lanes_kernel.h for each L; not a
** header of its own. Equations and symbols: docs/model/simulate.md.
**
** Why it looks as it does (measured: docs/decisions/0003-lanes.md):
** - Three functions of a lane: current, end, take. One lane runs them in turn
**   on copies that stay in registers; for many lanes each is a loop, short
**   enough for the processor to overlap one vector's chain with the next's.
** - One lane is a chain of latencies: current -> SoC -> table -> voltage ->
**   root -> quotient -> current. What is rare (a limit that holds, a SoC off
**   the table, a shortfall) stands behind 'L > 1 ||': a branch that is
**   foretold well for one lane, selects for many. Both give the same bits.
** - Many lanes are a matter of how many operations there are: what is the same
**   for all lanes or can be had once a chunk is not summed step by step, and
**   sums over time count steps, the seconds come at the end of a chunk.
** - exp, the longest piece, is taken anew every WARM_TIME only, one step
**   late, and brought forward by its slope: it is seldom, and off the chain.
** - A limit clips power before the root, not current after it: no quotient
**   of its own, and nothing between the root and the one division.
*/

/* What a leaf's curve says at a SoC. */
typedef struct NAME(look) {
  double ocv, slope, shape, f;
} NAME(look);

/* Where in the table: row as the lowest bits, fraction 0..1. */
typedef struct NAME(spot) {
  double row, in;
} NAME(spot);

/* What the current of a step is made of; what limits took of power times
** resistance. */
typedef struct NAME(flow) {
  double d, num, by, lack;
} NAME(flow);

/* Factor of r0 at 'temp', some minutes' warming away from 'tref'. */
static ALWAYS double NAME (warm_factor)(const NAME(leaf) * p, int l) {
  double d = p->temp[l] - p->tref[l];
  return p->hot[l] + d * (p->hot1[l] + d * p->hot2[l]);
}

/* Take the present temperature for 'tref', before the step that warms. */
static ALWAYS void NAME (warm_next)(NAME(leaf) * p, int l) {
  double temp = p->temp[l], cold = 1.0 / temp, ea = p->ea[l];
  double slope = -ea * cold * cold;
  double hot = amp_exp_inline(ea * cold - ea * (1.0 / 298.15));
  double hot1 = hot * slope;
  p->tref[l] = temp;
  p->hot[l] = hot;
  p->hot1[l] = hot1;
  p->hot2[l] = 0.5 * hot1 * slope;
}

/* Row and how far in it, of leaf p at x rows. 1.5 * 2^52 pushes the fraction
** out of x - 1/2, the row stands in the lowest bits. Between two rows either
** is right. 'last', AMP_ROWS - 1, is no constant for the compiler: it would
** make of two bounds four comparisons. */
static ALWAYS NAME (spot) NAME(spot_in)(double base, double last, double x) {
  double low = x - 0.5, at;
  NAME(spot) k;
  if (L > 1 || low < 0.0 || low > last) {
    low = NAME(least)(low, last);
    low = NAME(most)(low, 0.0);
  }
  at = low + MAGIC;
  k.row = at + base;
  k.in = x - (at - MAGIC);
  return k;
}

static ALWAYS NAME (spot) NAME(spot_at)(double base, double x) {
  return NAME(spot_in)(base, AMP_ROWS - 1.0, x);
}

static ALWAYS const double *NAME (row_of)(const double *table, double row) {
  uint64_t bits;
  memcpy(&bits, &row, sizeof bits);
  return table + (bits - MAGIC_BITS) * AMP_ROW;
}

static ALWAYS NAME (look)
    NAME(curve_at)(double c0, double c1, double c2, double c3, double r,
                   double dr, double from, double u) {
  double uu = u * u, p = u * c1, q = u * c3;
  NAME(look) k;
  k.ocv = (c0 + p) + uu * (c2 + q);
  k.slope = c1 + u * (2.0 * c2 + 3.0 * q);
  k.shape = r + u * dr;
  k.f = from + u * ((c0 + 0.5 * p) + uu * (c2 * (1.0 / 3) + 0.25 * q));
  return k;
}

static ALWAYS NAME (look)
    NAME(look_up)(const double *table, double base, double z) {
  NAME(spot) k = NAME(spot_at)(base, z * AMP_ROWS);
  const double *at = NAME(row_of)(table, k.row);
  return NAME(curve_at)(at[ROW_C0], at[ROW_C1], at[ROW_C2], at[ROW_C3],
                        at[ROW_R], at[ROW_DR], at[ROW_F], k.in);
}

/* The rows of all lanes turned into fields, piece by piece: whole loads of a
** cache line and shuffles where a compiler's gather takes 28 loads. */
static inline void NAME (rows_turn)(const amp_block *b) {
  const NAME(work) *w = (const NAME(work) *)b->work;
  double *to = b->work + offsetof(NAME(work), c0) / sizeof *to;
  for (int l = 0; l + LANES_WIDE <= L; l += LANES_WIDE)
    for (int part = 0; part < AMP_ROW; part += LANES_WIDE) {
      const double *from[LANES_WIDE];
      for (int k = 0; k < LANES_WIDE; k++)
        from[k] = NAME(row_of)(b->table + part, w->row[l + k]);
      lanes_turn(from, to + part * L + l, L);
    }
}

/* The current of power p over the step's mean voltage e - r i is
** num / (by (e + root of d)). A limit is one of r p = v (e - v): half of e,
** where power is greatest; the floor or ceiling that is held; 0 where the
** cells are empty or full. */
static ALWAYS NAME (flow)
    NAME(flow_of)(double e, double r, double p, double held, bool empty,
                  bool full, double vmin, double vmax) {
  double x = r * p, ee = e * e;
  NAME(flow) w = {ee - 4.0 * x, 2.0 * p, 1.0, 0.0};
  if (L > 1 || !(w.d >= 0.0) || empty || full || held != 0.0) {
    double floor_v = NAME(most)(held > 0.0 ? vmin : 0.0, 0.5 * e);
    double top_v = held < 0.0 ? vmax : 1e100;
    double hi = NAME(most)(floor_v * (e - floor_v), 0.0);
    double lo = NAME(least)(top_v * (e - top_v), 0.0);
    double to = NAME(least)(x, empty ? 0.0 : hi);
    to = NAME(most)(to, full ? 0.0 : lo);
    bool clipped = to != x;
    w.lack = x - to;
    w.d = NAME(most)(ee - 4.0 * to, 0.0);
    w.num = clipped ? 2.0 * to : w.num;
    w.by = clipped ? r : 1.0;
  }
  return w;
}

/* What a limit, or a load above the inverter, cost in a step of 'on' s. */
static ALWAYS void NAME (leaf_short)(const NAME(step) * s, NAME(lane) * g,
                                     double now, int l) {
  double on = s->on[l], due = s->power[l] * on, gap = due - s->term[l];
  double first = g->first_unserved[l], last = g->last_unserved[l];
  double spilt = g->first_curtailed[l], empty = g->first_empty[l];
  bool drawn = due > 0.0;
  gap = s->lack[l] != 0.0 ? gap : 0.0;
  double want = NAME(most)(drawn ? gap : 0.0, 0.0);
  double spill = NAME(most)(drawn ? 0.0 : -gap, 0.0) * g->ice[l];
  double ac = NAME(least)(want * g->eta[l], s->ac[l] * on);
  double rest = NAME(most)(want - ac * g->ieta[l], 0.0);
  double dc = NAME(least)(rest, s->dc[l] * on), unmet = ac + s->over[l] * on;
  double late = unmet + dc > 0.0 ? on : 0.0;
  double begun = late > 0.0 ? now : -1.0, lost = spill > 0.0 ? now : -1.0;
  double empty_at = want > 0.0 ? now : -1.0;
  g->unserved[l] += unmet;
  g->dc_unserved[l] += dc;
  g->curtailed[l] += spill;
  g->unserved_time[l] += late;
  g->first_unserved[l] = first < 0.0 ? begun : first;
  g->last_unserved[l] = late > 0.0 ? now + on : last;
  g->first_curtailed[l] = spilt < 0.0 ? lost : spilt;
  g->first_empty[l] = empty < 0.0 ? empty_at : empty;
}

/* Sums of a step taken; 'share' of dt, 0 where it was not. */
static ALWAYS void NAME (leaf_sums)(NAME(tally) * t, const NAME(work) * w,
                                    const NAME(step) * s, double heat,
                                    double share, double on, int l) {
  double i = w->i[l], v = s->v[l], term = s->term[l];
  double error = term - s->power[l] * on;
  t->heat[l] += heat;
  t->out[l] += NAME(most)(term, 0.0);
  t->net[l] += term;
  t->charge[l] += i * share;
  t->charge_out[l] += NAME(most)(i, 0.0) * share;
  t->v[l] += v * share;
  t->v2[l] += v * v * share;
  t->discharge[l] += i > 0.0 ? share : 0.0;
  t->error[l] += s->lack[l] != 0.0 ? 0.0 : error;
}

static ALWAYS void NAME (leaf_extremes)(NAME(lane) * g, double i, double v,
                                        bool ok, int l) {
  double i_max = g->i_max[l], i_min = g->i_min[l];
  double v_low = g->v_low[l], v_high = g->v_high[l];
  double i_hi = NAME(most)(i_max, i), i_lo = NAME(least)(i_min, i);
  double v_lo = NAME(least)(v_low, v), v_hi = NAME(most)(v_high, v);
  g->i_max[l] = ok ? i_hi : i_max;
  g->i_min[l] = ok ? i_lo : i_min;
  g->v_low[l] = ok ? v_lo : v_low;
  g->v_high[l] = ok ? v_hi : v_high;
}

/* Room to the nearest limit at the end of the step, < 0: passed inside it.
** A voltage limit that holds already is not asked again. */
static ALWAYS double NAME (leaf_room)(const NAME(leaf) * p, double z,
                                      double v, double i, bool keep, int l) {
  double dz = i > 0.0 ? z - p->zmin[l] : p->zmax[l] - z;
  double dv = i > 0.0 ? v - p->vmin[l] : p->vmax[l] - v;
  double room = NAME(least)(dz, keep ? BIG : dv * p->ikv[l]);
  return (i == 0.0 ? BIG : room) + SLACK;
}

/* 1. What the current is made of, from the state and the power asked. */
static ALWAYS void NAME (leaf_flow)(const amp_block *b, const double *coef,
                                    NAME(work) * w, NAME(step) * s, int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double z = p->z[l], kr = p->kr[l] * p->shape[l];
  double pairs = c->k1[l] * p->v1[l] + c->k2[l] * p->v2[l];
  double r0 = kr * NAME(warm_factor)(p, l) + p->rj[l];
  double r = r0 + (c->rp[l] + c->kq[l] * p->slope[l]);
  double e = p->kv[l] * p->ocv[l] - pairs;
  bool empty = z <= p->zmin[l] + SLACK, full = z >= p->zmax[l] - SLACK;
  NAME(flow)
  f = NAME(flow_of)(e, r, s->power[l], g->held[l], empty, full, p->vmin[l],
                    p->vmax[l]);
  w->e[l] = e;
  w->r[l] = r;
  w->r0[l] = r0;
  w->pairs[l] = pairs;
  w->d[l] = f.d;
  w->num[l] = f.num;
  w->by[l] = f.by;
  s->lack[l] = f.lack;
}

/* 2. The current, and where in the table it leads. */
static ALWAYS void NAME (leaf_current)(const amp_block *b, const double *coef,
                                       double last, NAME(work) * w,
                                       NAME(step) * s, int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  double e = w->e[l], num = w->num[l], i;
  if (L > 1 || !(num == 0.0 && w->by[l] != 1.0))
    i = num / (w->by[l] * (e + sqrt(w->d[l])));
  else
    i = 0.0; /* what the quotient comes to */
  double x = p->z[l] * AMP_ROWS - i * c->tix[l];
  NAME(spot) k = NAME(spot_in)(p->base[l], last, x);
  w->i[l] = i;
  w->z[l] = x * (1.0 / AMP_ROWS);
  w->row[l] = k.row;
  w->in[l] = k.in;
  s->v[l] = e - w->r[l] * i;
}

/* 3. The end of the step by that current, and the room left. 'turned': the
** table's row lies in fields. */
static ALWAYS void NAME (leaf_end)(const amp_block *b, const double *coef,
                                   double tau, bool turned, NAME(work) * w,
                                   NAME(step) * s, int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double i = w->i[l], r0 = w->r0[l], in = w->in[l];
  bool keep = g->held[l] * s->lack[l] > 0.0;
  const double *at = NAME(row_of)(b->table, w->row[l]);
  NAME(look)
  k = L > 1 && turned
          ? NAME(curve_at)(w->c0[l], w->c1[l], w->c2[l], w->c3[l], w->cr[l],
                           w->cdr[l], w->cf[l], in)
          : NAME(curve_at)(at[ROW_C0], at[ROW_C1], at[ROW_C2], at[ROW_C3],
                           at[ROW_R], at[ROW_DR], at[ROW_F], in);
  double v1 = c->a1[l] * p->v1[l] + c->b1[l] * i;
  double v2 = c->a2[l] * p->v2[l] + c->b2[l] * i;
  double warm = i * (i * (r0 + c->rp[l]) + w->pairs[l]);
  double t_end = s->tamb[l] + warm * p->icool[l];
  double v = p->kv[l] * k.ocv - v1 - v2 - r0 * i;
  w->temp[l] = t_end + c->at[l] * (p->temp[l] - t_end);
  w->heat[l] = warm * tau;
  w->v1[l] = v1;
  w->v2[l] = v2;
  w->ocv[l] = k.ocv;
  w->slope[l] = k.slope;
  w->shape[l] = k.shape;
  w->f[l] = k.f;
  s->margin[l] = NAME(leaf_room)(p, w->z[l], v, i, keep, l);
}

/* 4. Take it, where 'ok'; a lane that is not keeps its state, so that its
** chemical energy and heat are 0 as well. Gives the heat. */
static ALWAYS double NAME (leaf_state)(const amp_block *b, bool ok,
                                       double share, const NAME(work) * w,
                                       NAME(step) * s, int l) {
  NAME(leaf) *p = (NAME(leaf) *)b->leaf;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(tally) *sum = (NAME(tally) *)b->tally;
  double z0 = p->z[l], z = w->z[l], t0 = p->temp[l], t = w->temp[l];
  double v1 = w->v1[l], v2 = w->v2[l], u1 = p->v1[l], u2 = p->v2[l];
  double ocv = w->ocv[l], slope = w->slope[l], shape = w->shape[l];
  double ocv0 = p->ocv[l], slope0 = p->slope[l], shape0 = p->shape[l];
  double f0 = p->f[l], f = w->f[l], heat = w->heat[l];
  z = ok ? z : z0;
  t = ok ? t : t0;
  f = ok ? f : f0;
  heat = ok ? heat : 0.0;
  p->z[l] = z;
  p->temp[l] = t;
  p->v1[l] = ok ? v1 : u1;
  p->v2[l] = ok ? v2 : u2;
  p->ocv[l] = ok ? ocv : ocv0;
  p->slope[l] = ok ? slope : slope0;
  p->shape[l] = ok ? shape : shape0;
  p->f[l] = f;
  s->soc[l] = z;
  s->term[l] = p->kvq[l] * (f0 - f) - heat;
  g->soc_low[l] = NAME(least)(g->soc_low[l], z);
  g->soc_high[l] = NAME(most)(g->soc_high[l], z);
  g->temp_low[l] = NAME(least)(g->temp_low[l], t);
  g->temp_high[l] = NAME(most)(g->temp_high[l], t);
  sum->z[l] += (z0 + z) * share;
  sum->temp[l] += t * share;
  return heat;
}

/* 'share': what 'tau' is of dt. */
static ALWAYS void NAME (leaf_take)(const amp_block *b, double tau,
                                    double share, amp_take mode,
                                    const NAME(work) * w, NAME(step) * s,
                                    int l) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  bool ok = mode == AMP_TAKE || s->margin[l] >= 0.0;
  double part = ok ? share : 0.0, on = ok ? tau : 0.0, held = g->held[l];
  double keep = held * s->lack[l] > 0.0 ? held : 0.0;
  double heat = NAME(leaf_state)(b, ok, part, w, s, l);
  NAME(leaf_sums)((NAME(tally) *)b->tally, w, s, heat, part, on, l);
  NAME(leaf_extremes)(g, w->i[l], s->v[l], ok, l);
  g->held[l] = ok ? keep : held;
  s->on[l] = on;
}

/* Lane l goes 'tau' on from its state, or only tries. Gives the room left.
** One lane works on copies, which the compiler keeps in registers. */
static ALWAYS double NAME (leaf_step)(const amp_block *b, const double *coef,
                                      double tau, double now, amp_take mode,
                                      bool fresh, int l) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(step) *all = (NAME(step) *)b->step, own_step, *s = all;
  NAME(work) own_work, *w = (NAME(work) *)b->work;
  if (L == 1) {
    own_step = *all;
    s = &own_step;
    w = &own_work;
  }
  NAME(leaf_flow)(b, coef, w, s, l);
  NAME(leaf_current)(b, coef, b->last_row, w, s, l);
  NAME(leaf_end)(b, coef, tau, false, w, s, l);
  all->margin[l] = s->margin[l];
  if (mode == AMP_TRY)
    return s->margin[l];
  if (fresh)
    NAME(warm_next)((NAME(leaf) *)b->leaf, l);
  if (mode == AMP_TAKE_IF && !(s->margin[l] >= 0.0))
    return s->margin[l];
  NAME(leaf_take)
  (b, tau, mode == AMP_TAKE ? tau / b->dt : 1.0, AMP_TAKE, w, s, l);
  if (s->lack[l] != 0.0 || s->over[l] > 0.0)
    NAME(leaf_short)(s, g, now, l);
  all->soc[l] = s->soc[l];
  all->i[l] = w->i[l];
  return s->margin[l];
}

/* A whole step of all lanes. What is rare is asked for once for all. */
static inline int64_t NAME (whole_leaf)(const amp_block *b, double now,
                                        bool fresh) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(work) *w = (NAME(work) *)b->work;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  const int l0 = 0, l1 = L;
  const int64_t one_bad = 1 << 8;
  double tau = b->dt, last = b->last_row;
  int64_t count = 0;
  if (L == 1)
    return NAME(leaf_step)(b, b->whole, tau, now, AMP_TAKE_IF, fresh, 0) >=
                   0.0
               ? 0
               : 1;
  EACH_LANE {
    NAME(leaf_flow)(b, b->whole, w, s, l);
  }
  EACH_LANE {
    NAME(leaf_current)(b, b->whole, last, w, s, l);
  }
  NAME(rows_turn)(b);
  EACH_LANE {
    NAME(leaf_end)(b, b->whole, tau, true, w, s, l);
  }
  if (fresh)
    EACH_LANE {
      NAME(warm_next)((NAME(leaf) *)b->leaf, l);
    }
  SUM_LANES(count)
  count += (s->margin[l] >= 0.0 ? 0 : one_bad) +
           (((s->lack[l] != 0.0) | (s->over[l] > 0.0)) ? 1 : 0);
  if (count >= one_bad)
    EACH_LANE {
      NAME(leaf_take)(b, tau, 1.0, AMP_TAKE_IF, w, s, l);
    }
  else
    EACH_LANE {
      NAME(leaf_take)(b, tau, 1.0, AMP_TAKE, w, s, l);
    }
  if (count % one_bad > 0)
    EACH_LANE {
      NAME(leaf_short)(s, g, now, l);
    }
  return count / one_bad;
}

/* Energies, times and charges from what was counted in steps of dt. */
static void NAME (leaf_flush)(const amp_block *b) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(tally) *t = (NAME(tally) *)b->tally;
  double dt = b->dt;
  for (int l = 0; l < L; l++) {
    g->loss[l] += t->heat[l];
    g->out[l] += t->out[l];
    g->in[l] += t->out[l] - t->net[l];
    g->leaf_charge[l] += dt * t->charge[l];
    g->charge_out[l] += dt * t->charge_out[l];
    g->charge_in[l] += dt * (t->charge_out[l] - t->charge[l]);
    g->soc_time[l] += 0.5 * dt * t->z[l];
    g->v_time[l] += dt * t->v[l];
    g->v2_time[l] += dt * t->v2[l];
    g->temp_time[l] += dt * t->temp[l];
    g->discharge_time[l] += dt * t->discharge[l];
    g->power_residual[l] += t->error[l];
  }
  memset(t, 0, sizeof *t);
}

/* A chunk that asks 'ac' and 'dc' joule of a lane with load factor 1 begins,
** and ends: served is what was asked and not left unserved. */
static void NAME (leaf_open)(const amp_block *b) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  memset(b->tally, 0, sizeof(NAME(tally)));
  for (int l = 0; l < L; l++) {
    g->served[l] += g->unserved[l];
    g->dc_served[l] += g->dc_unserved[l];
  }
}

static void NAME (leaf_close)(const amp_block *b, double ac, double dc) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(leaf_flush)(b);
  for (int l = 0; l < L; l++) {
    double served = g->served[l] + (ac * g->lf[l] - g->unserved[l]);
    double direct = g->dc_served[l] + (dc - g->dc_unserved[l]);
    g->served[l] = NAME(most)(served, 0.0);
    g->dc_served[l] = NAME(most)(direct, 0.0);
  }
}

/* What of the sums a trace reads is still counted in steps. */
static void NAME (leaf_counted)(const amp_block *b, double *sum) {
  const NAME(tally) *t = (const NAME(tally) *)b->tally;
  sum[0] += t->out[0];
  sum[1] += t->out[0] - t->net[0];
  sum[2] += t->charge_out[0] * b->dt;
  sum[3] += (t->charge_out[0] - t->charge[0]) * b->dt;
  sum[6] += t->v[0] * b->dt;
}
