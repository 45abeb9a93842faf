/*
** lanes_leaf.h -- the step of a pack that is one leaf, the commonest shape,
** as one function of a lane. Included by lanes_kernel.h for each L; not a
** header of its own. Equations and symbols: docs/model/simulate.md.
**
** Why it looks as it does (measured: docs/decisions/0003-lanes.md):
** - Functions of a lane: flow, current, end, tally. One lane runs them in turn
**   on copies that stay in registers; for many lanes each is a loop, short
**   enough for the processor to overlap one vector's chain with the next's.
**   A step's tally shares the loop of the next step's root and quotient.
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
**   of its own, and little between the root and the one division.
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

/* What all lanes of a step are asked. */
typedef struct NAME(asked) {
  double ac, dc, pv, temp, on, now;
} NAME(asked);

/* Factor of r0 at 'temp', some minutes' warming away from 'tref'. */
static ALWAYS double NAME (warm_from)(const NAME(leaf) * p, double temp,
                                      int l) {
  double d = temp - p->tref[l];
  return p->hot[l] + d * (p->hot1[l] + d * p->hot2[l]);
}

static ALWAYS double NAME (warm_factor)(const NAME(leaf) * p, int l) {
  return NAME(warm_from)(p, p->temp[l], l);
}

/* Take temperature 'temp' for 'tref', before the step that warms. */
static ALWAYS void NAME (warm_at)(NAME(leaf) * p, double temp, int l) {
  double cold = 1.0 / temp, ea = p->ea[l];
  double slope = -ea * cold * cold;
  double hot = amp_exp_inline(ea * cold - ea * (1.0 / 298.15));
  double hot1 = hot * slope;
  p->tref[l] = temp;
  p->hot[l] = hot;
  p->hot1[l] = hot1;
  p->hot2[l] = 0.5 * hot1 * slope;
}

static ALWAYS void NAME (warm_next)(NAME(leaf) * p, int l) {
  NAME(warm_at)(p, p->temp[l], l);
}

/* Row and how far in it, of leaf p at x rows. 1.5 * 2^52 pushes the fraction
** out of x - 1/2, the row stands in the lowest bits. Between two rows either
** is right. 'last', AMP_ROWS - 1, is no constant for the compiler: it would
** make of two bounds four comparisons. */
static ALWAYS NAME (spot) NAME(spot_in)(double base, double last, double x) {
  double low = x - 0.5, at;
  NAME(spot) k;
  if (L > 1 || !(low >= 0.0 && low <= last)) { /* NaN: the last row */
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

/* Power at the terminals, by the loads and the supply of a step. */
static ALWAYS double NAME (power_of)(double net, double ce) {
  return net > 0.0 ? net : net * ce;
}

static ALWAYS double NAME (net_of)(const NAME(lane) * g, double through,
                                   const NAME(asked) * q, int l) {
  return through * g->ieta[l] + g->idle[l] * q->on + q->dc * g->lf[l] -
         q->pv * g->sf[l];
}

/* What a limit, or a load above the inverter, cost in a step of 'on' s that
** asks 'through' and 'over' AC and 'direct' DC. */
static ALWAYS void NAME (leaf_short)(NAME(lane) * g, const NAME(outcome) * o,
                                     double through, double over,
                                     double direct, double now, double on,
                                     int l) {
  double first = g->first_unserved[l], last = g->last_unserved[l];
  double spilt = g->first_curtailed[l], empty = g->first_empty[l];
  double gap = o->lack[l] != 0.0 ? o->gap[l] : 0.0;
  bool drawn = o->power[l] > 0.0;
  double want = NAME(most)(drawn ? gap : 0.0, 0.0);
  double spill = NAME(most)(drawn ? 0.0 : -gap, 0.0) * g->ice[l];
  double ac = NAME(least)(want * g->eta[l], through * on);
  double rest = NAME(most)(want - ac * g->ieta[l], 0.0);
  double dc = NAME(least)(rest, direct * on), unmet = ac + over * on;
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

/* Sums and extremes of a step taken, 'share' of dt, that ends at 'at'. */
static ALWAYS void NAME (leaf_tally)(NAME(tally) * t, NAME(lane) * g,
                                     const NAME(state) * at,
                                     const NAME(outcome) * o, double share,
                                     int l) {
  double i = o->i[l], v = o->v[l], term = o->term[l];
  double z = at->z[l], temp = at->temp[l];
  t->heat[l] += o->heat[l];
  t->out[l] += NAME(most)(term, 0.0);
  t->net[l] += term;
  t->charge[l] += i * share;
  t->charge_out[l] += NAME(most)(i, 0.0) * share;
  t->z[l] += o->zz[l] * share;
  t->v[l] += v * share;
  t->v2[l] += v * v * share;
  t->temp[l] += temp * share;
  t->discharge[l] += i > 0.0 ? share : 0.0;
  t->error[l] -= o->lack[l] != 0.0 ? 0.0 : o->gap[l];
  g->i_max[l] = NAME(most)(g->i_max[l], i);
  g->i_min[l] = NAME(least)(g->i_min[l], i);
  g->v_low[l] = NAME(least)(g->v_low[l], v);
  g->v_high[l] = NAME(most)(g->v_high[l], v);
  g->soc_low[l] = NAME(least)(g->soc_low[l], z);
  g->soc_high[l] = NAME(most)(g->soc_high[l], z);
  g->temp_low[l] = NAME(least)(g->temp_low[l], temp);
  g->temp_high[l] = NAME(most)(g->temp_high[l], temp);
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
                                    const NAME(state) * at, double power,
                                    NAME(work) * w, NAME(outcome) * o,
                                    int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double z = at->z[l], kr = p->kr[l] * at->shape[l];
  double pairs = c->k1[l] * at->v1[l] + c->k2[l] * at->v2[l];
  double r0 = kr * NAME(warm_from)(p, at->temp[l], l) + p->rj[l];
  double r = r0 + (c->rp[l] + c->kq[l] * at->slope[l]);
  double e = p->kv[l] * at->ocv[l] - pairs;
  bool empty = z <= p->zmin[l] + SLACK, full = z >= p->zmax[l] - SLACK;
  NAME(flow)
  f = NAME(flow_of)(e, r, power, g->held[l], empty, full, p->vmin[l],
                    p->vmax[l]);
  w->e[l] = e;
  w->r[l] = r;
  w->r0[l] = r0;
  w->pairs[l] = pairs;
  w->d[l] = f.d;
  w->num[l] = f.num;
  w->by[l] = f.by;
  o->power[l] = power;
  o->lack[l] = f.lack;
}

/* 2. The current, and where in the table it leads. */
static ALWAYS void NAME (leaf_current)(const amp_block *b, const double *coef,
                                       const NAME(state) * at, double last,
                                       NAME(work) * w, NAME(outcome) * o,
                                       int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  double e = w->e[l], num = w->num[l], i;
  if (L > 1 || w->by[l] != 1.0) {
    i = 0.0; /* what the quotient comes to, where num is */
    if (L > 1 || num != 0.0)
      i = num / (w->by[l] * (e + sqrt(w->d[l])));
  } else {
    i = num / (e + sqrt(w->d[l]));
  }
  double x = at->z[l] * AMP_ROWS - i * c->tix[l];
  NAME(spot) k = NAME(spot_in)(p->base[l], last, x);
  w->z[l] = x * (1.0 / AMP_ROWS);
  w->row[l] = k.row;
  w->in[l] = k.in;
  o->i[l] = i;
  o->v[l] = e - w->r[l] * i;
}

/* 3. The end 'to' of the step by that current, and the room left. 'turned':
** the table's row lies in fields. */
static ALWAYS double NAME (leaf_end)(const amp_block *b, const double *coef,
                                     const NAME(state) * at, double tau,
                                     double tamb, bool turned,
                                     const NAME(work) * w, NAME(state) * to,
                                     NAME(outcome) * o, int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double i = o->i[l], r0 = w->r0[l], in = w->in[l], z = w->z[l];
  bool keep = g->held[l] * o->lack[l] > 0.0;
  const double *row = NAME(row_of)(b->table, w->row[l]);
  NAME(look)
  k = L > 1 && turned
          ? NAME(curve_at)(w->c0[l], w->c1[l], w->c2[l], w->c3[l], w->cr[l],
                           w->cdr[l], w->cf[l], in)
          : NAME(curve_at)(row[ROW_C0], row[ROW_C1], row[ROW_C2], row[ROW_C3],
                           row[ROW_R], row[ROW_DR], row[ROW_F], in);
  double v1 = c->a1[l] * at->v1[l] + c->b1[l] * i;
  double v2 = c->a2[l] * at->v2[l] + c->b2[l] * i;
  double warm = i * (i * (r0 + c->rp[l]) + w->pairs[l]), heat = warm * tau;
  double t_end = tamb + warm * p->icool[l];
  double v = p->kv[l] * k.ocv - v1 - v2 - r0 * i;
  double term = p->kvq[l] * (at->f[l] - k.f) - heat;
  o->zz[l] = at->z[l] + z;
  o->heat[l] = heat;
  o->term[l] = term;
  o->gap[l] = o->power[l] * tau - term;
  to->temp[l] = t_end + c->at[l] * (at->temp[l] - t_end);
  to->z[l] = z;
  to->v1[l] = v1;
  to->v2[l] = v2;
  to->ocv[l] = k.ocv;
  to->slope[l] = k.slope;
  to->shape[l] = k.shape;
  to->f[l] = k.f;
  return NAME(leaf_room)(p, z, v, i, keep, l);
}

static ALWAYS void NAME (leaf_copy)(const NAME(state) * from,
                                    NAME(state) * to, int l) {
  to->z[l] = from->z[l];
  to->v1[l] = from->v1[l];
  to->v2[l] = from->v2[l];
  to->temp[l] = from->temp[l];
  to->ocv[l] = from->ocv[l];
  to->slope[l] = from->slope[l];
  to->shape[l] = from->shape[l];
  to->f[l] = from->f[l];
}

static ALWAYS NAME (state) * NAME(leaf_home)(const amp_block *b) {
  NAME(leaf) *p = (NAME(leaf) *)b->leaf;
  return (NAME(state) *)p->z;
}

/* Lane l goes 'tau' on from its state, or only tries. Gives the room left.
** One lane works on copies, which the compiler keeps in registers. */
static ALWAYS double NAME (leaf_step)(const amp_block *b, const double *coef,
                                      double tau, double now, amp_take mode,
                                      bool whole, bool fresh, int l) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(work) own, *w = L == 1 ? &own : (NAME(work) *)b->work;
  NAME(state) to, *home = NAME(leaf_home)(b);
  NAME(outcome) o;
  double room, held = g->held[l];
  NAME(leaf_flow)(b, coef, home, s->power[l], w, &o, l);
  NAME(leaf_current)(b, coef, home, b->last_row, w, &o, l);
  room = NAME(leaf_end)(b, coef, home, tau, s->tamb[l], false, w, &to, &o, l);
  s->margin[l] = room;
  if (mode == AMP_TRY)
    return room;
  if (fresh)
    NAME(warm_at)((NAME(leaf) *)b->leaf, home->temp[l], l);
  if (mode == AMP_TAKE_IF && !(room >= 0.0))
    return room;
  NAME(leaf_copy)(&to, home, l);
  g->held[l] = held * o.lack[l] > 0.0 ? held : 0.0;
  NAME(leaf_tally)
  ((NAME(tally) *)b->tally, g, home, &o, whole ? 1.0 : tau / b->dt, l);
  if (o.lack[l] != 0.0 || s->over[l] > 0.0)
    NAME(leaf_short)(g, &o, s->ac[l], s->over[l], s->dc[l], now, tau, l);
  s->soc[l] = home->z[l];
  s->i[l] = o.i[l];
  return room;
}

/* A part of a step of one lane, tried or taken; of none, what holds now. */
static double NAME (leaf_part)(const amp_block *b, double tau, double now,
                               amp_take mode, int l) {
  const double *coef = NAME(coef_for)(b, tau, l);
  return NAME(leaf_step)(b, coef, tau, now, mode, false, false, l);
}

/* Where the parabola t(h) through three points meets h = 0; NaN: nowhere. */
static double NAME (through)(const double t[3], const double h[3]) {
  double a = h[0] - h[1], b = h[1] - h[2], c = h[0] - h[2];
  return t[0] * (h[1] * h[2]) / (a * c) - t[1] * (h[0] * h[2]) / (a * b) +
         t[2] * (h[0] * h[1]) / (c * b);
}

/*
** The longest part of 'left' that meets no limit, to a SLACK of room or 1e-9
** of it; 0: at the limit already. 'left' itself had 'over' < 0 of room. A
** bracket t[0], t[1] and a third point; the parabola through them or, where
** that leaves the bracket or gains too little on it, half of it.
*/
static double NAME (leaf_until)(const amp_block *b, double left, double over,
                                int l) {
  const double aim = 0.25 * SLACK;
  double t[3] = {0.0, left, left}, h[3], next, wide = left;
  h[0] = NAME(leaf_part)(b, 0.0, 0.0, AMP_TRY, l) - aim;
  h[1] = over - aim;
  if (!(h[0] > 0.0))
    return 0.0;
  next = left * h[0] / (h[0] - h[1]);
  for (int turn = 0; turn < 60; turn++) {
    double m = NAME(leaf_part)(b, next, 0.0, AMP_TRY, l) - aim;
    int side = m >= 0.0 ? 0 : 1;
    if (fabs(m) <= aim)
      return next;
    t[2] = t[side];
    h[2] = h[side];
    t[side] = next;
    h[side] = m;
    if (t[1] - t[0] <= left * 1e-9)
      break;
    next = NAME(through)(t, h);
    if (turn % 4 == 3) { /* has it come down to an eighth in four? */
      next = t[1] - t[0] > 0.125 * wide ? t[0] : next;
      wide = t[1] - t[0];
    }
    if (!(next > t[0] && next < t[1]))
      next = 0.5 * (t[0] + t[1]);
  }
  return t[0];
}

/* A step of one lane that meets limits: go to each, then on. Where it is not
** the charge that ends, a voltage holds from there on. */
static void NAME (leaf_limits)(const amp_block *b, double dt, double now,
                               int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double left = dt, over = s->margin[l],
         sign = s->power[l] > 0.0 ? 1.0 : -1.0;
  bool stuck = false; /* it holds and there is no way on */
  for (int turn = 0; left > 0.0; turn++) {
    stuck |= turn == 12;
    if (turn > 0 || !(over < 0.0))
      over = NAME(leaf_part)(b, left, now, stuck ? AMP_TAKE : AMP_TAKE_IF, l);
    if (stuck || !(over < 0.0))
      return;
    double part = NAME(leaf_until)(b, left, over, l);
    g->events[l] += 1.0;
    if (part > 0.0)
      NAME(leaf_part)(b, part, now, AMP_TAKE, l);
    now += part;
    left = part < left ? left - part : 0.0;
    stuck = part <= 0.0 && g->held[l] == sign;
    if (sign > 0.0 ? p->z[l] > p->zmin[l] + SLACK
                   : p->z[l] < p->zmax[l] - SLACK)
      g->held[l] = sign;
  }
}

/* Many lanes between steps: the present state and the other one, and a step
** whose sums are still to be taken. */
typedef struct NAME(leaves) {
  NAME(state) other;
  NAME(outcome) came[2];
  NAME(state) * at, *to;
  NAME(outcome) * o, *due; /* NULL: none */
  NAME(asked) was;
  bool rare;   /* in what is due a limit or a load above the inverter acts */
  bool beyond; /* loads above the inverter's power there may be */
} NAME(leaves);

/* The sums that are due. */
static ALWAYS void NAME (leaf_due)(const amp_block *b, const NAME(leaves) * k,
                                   bool rare, int l) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(leaf_tally)((NAME(tally) *)b->tally, g, k->at, k->due, 1.0, l);
  if (rare) {
    double load = k->was.ac * g->lf[l];
    double through = NAME(least)(load, g->pmax[l]);
    NAME(leaf_short)
    (g, k->due, through, load - through, k->was.dc * g->lf[l], k->was.now,
     b->dt, l);
  }
}

/* Root and quotient of the current, while they keep the divider busy the
** sums of the step before. */
static inline void NAME (leaf_currents)(const amp_block *b,
                                        const NAME(leaves) * k) {
  NAME(work) *w = (NAME(work) *)b->work;
  const NAME(state) *at = k->at;
  NAME(outcome) *o = k->o;
  const int l0 = 0, l1 = L;
  double last = b->last_row;
  if (!k->due)
    EACH_LANE {
      NAME(leaf_current)(b, b->whole, at, last, w, o, l);
    }
  else if (!k->rare)
    EACH_LANE {
      NAME(leaf_current)(b, b->whole, at, last, w, o, l);
      NAME(leaf_due)(b, k, false, l);
    }
  else
    EACH_LANE {
      NAME(leaf_current)(b, b->whole, at, last, w, o, l);
      NAME(leaf_due)(b, k, true, l);
    }
}

/* A step of all lanes, tried. Gives ONE_BAD for each that meets a limit, and 1
** for each in which a limit holds. */
static inline int64_t NAME (leaf_steps)(const amp_block *b,
                                        const NAME(leaves) * k,
                                        const NAME(asked) * q, bool fresh) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(work) *w = (NAME(work) *)b->work;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  const NAME(state) *at = k->at;
  NAME(state) *to = k->to;
  NAME(outcome) *o = k->o;
  const int l0 = 0, l1 = L;
  double tau = b->dt, ac = q->ac, temp = q->temp;
  int64_t count = 0;
  EACH_LANE {
    double through = NAME(least)(ac * g->lf[l], g->pmax[l]);
    double net = NAME(net_of)(g, through, q, l);
    NAME(leaf_flow)
    (b, b->whole, at, NAME(power_of)(net, g->ce[l]), w, o, l);
  }
  NAME(leaf_currents)(b, k);
  NAME(rows_turn)(b);
  EACH_LANE {
    double held = g->held[l];
    s->margin[l] = NAME(leaf_end)(b, b->whole, at, tau, temp + g->shift[l],
                                  true, w, to, o, l);
    w->held[l] = held;
    g->held[l] = held * o->lack[l] > 0.0 ? held : 0.0;
  }
  if (fresh)
    EACH_LANE {
      NAME(warm_at)((NAME(leaf) *)b->leaf, at->temp[l], l);
    }
  SUM_LANES(count)
  count += (s->margin[l] >= 0.0 ? 0 : ONE_BAD) + (o->lack[l] != 0.0 ? 1 : 0);
  return count;
}

/* Some lanes meet a limit inside the step: sums of the others, then those
** from one limit to the next. */
static void NAME (leaf_events)(const amp_block *b, NAME(leaves) * k,
                               const NAME(asked) * q) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(work) *w = (const NAME(work) *)b->work;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  NAME(state) *home = NAME(leaf_home)(b), *at = k->at;
  k->due = k->o;
  k->was = *q;
  k->at = k->to;
  for (int l = 0; l < L; l++) {
    bool ok = s->margin[l] >= 0.0;
    g->held[l] = ok ? g->held[l] : w->held[l];
    if (ok)
      NAME(leaf_due)(b, k, (k->o->lack[l] != 0.0) | k->beyond, l);
    NAME(leaf_copy)(ok ? k->to : at, home, l);
  }
  k->at = home;
  k->to = &k->other;
  k->due = NULL;
  for (int l = 0; l < L; l++)
    if (!(s->margin[l] >= 0.0))
      NAME(leaf_limits)(b, b->dt, q->now, l);
}

/* The step is taken by all lanes. */
static ALWAYS void NAME (leaf_next)(NAME(leaves) * k, const NAME(asked) * q,
                                    int64_t count) {
  NAME(state) *at = k->at;
  k->due = k->o;
  k->was = *q;
  k->rare = (count > 0) | k->beyond;
  k->at = k->to;
  k->to = at;
  k->o = k->o == k->came ? k->came + 1 : k->came;
}

/* The sums that are due, now. */
static void NAME (leaf_settle)(const amp_block *b, NAME(leaves) * k) {
  const int l0 = 0, l1 = L;
  if (k->due && k->rare)
    EACH_LANE {
      NAME(leaf_due)(b, k, true, l);
    }
  else if (k->due)
    EACH_LANE {
      NAME(leaf_due)(b, k, false, l);
    }
  k->due = NULL;
}

/* The state back to its home. */
static void NAME (leaf_rest)(const amp_block *b, NAME(leaves) * k) {
  NAME(leaf_settle)(b, k);
  for (int l = 0; l < L; l++)
    if (k->at != NAME(leaf_home)(b))
      NAME(leaf_copy)(k->at, NAME(leaf_home)(b), l);
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
    double direct = g->dc_served[l] + (dc * g->lf[l] - g->dc_unserved[l]);
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

/* Is any lane ever asked more than its inverter's power? */
static bool NAME (leaf_beyond)(const amp_block *b, const amp_chunk *c) {
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double most = 0.0;
  bool beyond = false;
  for (size_t t = c->first; t < c->last; t++)
    most = NAME(most)(most, c->ac[t]);
  for (int l = 0; l < L; l++)
    beyond |= most * g->lf[l] > g->pmax[l];
  return beyond;
}

static void NAME(ask)(const amp_block *b, const amp_chunk *c, size_t t,
                      int l0, int l1);

static void NAME(efficiencies)(const amp_block *b, double ac);

/* A chunk for many lanes of one leaf, steps of one length. */
static void NAME (leaf_chunk)(const amp_block *b, const amp_chunk *c) {
  NAME(leaves) k;
  size_t done = 0, every = amp_lanes_warm(b->dt);
  double each = b->dt * c->split, ac = 0.0, dc = 0.0;
  NAME(leaf_open)(b);
  k.at = NAME(leaf_home)(b);
  k.to = &k.other;
  k.o = k.came;
  k.due = NULL;
  k.beyond = NAME(leaf_beyond)(b, c);
  for (size_t t = c->first; t < c->last; t++) {
    NAME(asked)
    q = {c->ac[t], c->dc[t], c->pv[t], c->temp[t], c->on[t] ? 1.0 : 0.0, 0.0};
    ac += q.ac * each;
    dc += q.dc * each;
    if (b->curved) { /* what is due goes by those of the step before */
      NAME(leaf_settle)(b, &k);
      NAME(efficiencies)(b, q.ac);
    }
    for (int sub = 0; sub < c->split; sub++, done++) {
      q.now = ((double)t * c->split + sub) * b->dt;
      int64_t count = NAME(leaf_steps)(b, &k, &q, done % every == 0);
      if (count >= ONE_BAD) {
        NAME(ask)(b, c, t, 0, L);
        NAME(leaf_events)(b, &k, &q);
      } else {
        NAME(leaf_next)(&k, &q, count);
      }
      if (c->soc)
        memcpy(c->soc + done * L, k.at->z, sizeof k.at->z);
    }
  }
  NAME(leaf_rest)(b, &k);
  NAME(leaf_close)(b, ac, dc);
}

/* The same for one lane alone. */
static void NAME (leaf_alone)(const amp_block *b, const amp_chunk *c) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  size_t done = 0, every = amp_lanes_warm(b->dt);
  double dt = b->dt, each = dt * c->split, ac = 0.0, dc = 0.0;
  NAME(leaf_open)(b);
  for (size_t t = c->first; t < c->last; t++) {
    ac += c->ac[t] * each;
    dc += c->dc[t] * each;
    if (b->curved)
      NAME(efficiencies)(b, c->ac[t]);
    NAME(ask)(b, c, t, 0, L);
    for (int sub = 0; sub < c->split; sub++, done++) {
      double now = ((double)t * c->split + sub) * dt;
      if (!(NAME(leaf_step)(b, b->whole, dt, now, AMP_TAKE_IF, true,
                            done % every == 0, 0) >= 0.0))
        NAME(leaf_limits)(b, dt, now, 0);
      if (c->soc)
        c->soc[done] = s->soc[0];
    }
  }
  NAME(leaf_close)(b, ac, dc);
}
