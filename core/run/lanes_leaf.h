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
** - exp, the longest piece, is taken anew every WARM_TIME only, one step
**   late, and brought forward by its slope: it is seldom, and off the chain.
** - There is one division on the way to the current: whatever limit acts
**   chooses numerator and denominator, not a quotient of its own.
*/

/* What a leaf's curve says at a SoC. */
typedef struct NAME(look) {
  double ocv, slope, shape, f;
} NAME(look);

/* Where in the table: row as the lowest bits, fraction 0..1. */
typedef struct NAME(spot) {
  double row, in;
} NAME(spot);

/* The current of a step and whether a limit made it. */
typedef struct NAME(flow) {
  double i, keep;
  bool limited;
} NAME(flow);

/* Factor of r0 at 'temp', some minutes' warming away from 'tref'. */
static ALWAYS double NAME (warm_factor)(const NAME(leaf) * p, int l) {
  double x = p->dhot[l] * (p->temp[l] - p->tref[l]);
  return p->hot[l] * (1.0 + x * (1.0 + 0.5 * x));
}

/* Take the present temperature for 'tref', before the step that warms. */
static ALWAYS void NAME (warm_next)(NAME(leaf) * p, int l) {
  double temp = p->temp[l], cold = 1.0 / temp, ea = p->ea[l];
  p->tref[l] = temp;
  p->hot[l] = amp_exp_inline(ea * cold - ea * (1.0 / 298.15));
  p->dhot[l] = -ea * cold * cold;
}

/* Row and how far in it, of leaf p at SoC z. 1.5 * 2^52 pushes the fraction
** out of x - 1/2, the row stands in the lowest bits. Between two rows either
** is right. */
static ALWAYS NAME (spot) NAME(spot_at)(double base, double z) {
  double x = z * AMP_ROWS, low = x - 0.5, at;
  NAME(spot) k;
  if (L > 1 || low < 0.0 || low > AMP_ROWS - 1.0)
    low = NAME(least)(NAME(most)(low, 0.0), AMP_ROWS - 1.0);
  at = (low + MAGIC) - MAGIC;
  k.row = at + (base + MAGIC);
  k.in = x - at;
  return k;
}

static ALWAYS const double *NAME (row_of)(const double *table, double row) {
  uint64_t bits;
  memcpy(&bits, &row, sizeof bits);
  return table + (bits - MAGIC_BITS) * AMP_ROW;
}

static ALWAYS NAME (look)
    NAME(curve_at)(double c0, double c1, double c2, double c3, double r,
                   double dr, double from, double f) {
  double ff = f * f;
  NAME(look) k;
  k.ocv = (c0 + f * c1) + ff * (c2 + f * c3);
  k.slope = AMP_ROWS * (c1 + f * (2.0 * c2 + f * (3.0 * c3)));
  k.shape = r + f * dr;
  k.f = from +
        f * (1.0 / AMP_ROWS) *
            ((c0 + f * (c1 * 0.5)) + ff * (c2 * (1.0 / 3) + f * (c3 * 0.25)));
  return k;
}

static ALWAYS NAME (look)
    NAME(look_up)(const double *table, double base, double z) {
  NAME(spot) k = NAME(spot_at)(base, z);
  const double *at = NAME(row_of)(table, k.row);
  return NAME(curve_at)(at[ROW_C0], at[ROW_C1], at[ROW_C2], at[ROW_C3],
                        at[ROW_R], at[ROW_DR], at[ROW_F], k.in);
}

/* The rows of all lanes turned into fields, four by four: whole loads of a
** cache line and 16 shuffles where a compiler's gather takes 28 loads. */
static inline void NAME (rows_turn)(const amp_block *b) {
  const NAME(work) *w = (const NAME(work) *)b->work;
  double *to = b->work + offsetof(NAME(work), c0) / sizeof *to;
  for (int l = 0; l + 4 <= L; l += 4)
    for (int half = 0; half < AMP_ROW; half += 4) {
      const double *t = b->table + half;
      lanes_turn(NAME(row_of)(t, w->row[l]), NAME(row_of)(t, w->row[l + 1]),
                 NAME(row_of)(t, w->row[l + 2]),
                 NAME(row_of)(t, w->row[l + 3]), to + half * L + l, L);
    }
}

/* The current of power p over the step's mean voltage e - r i. 'held': the
** voltage limit that may hold; 'stuck': SoC is at the limit p moves to. */
static ALWAYS NAME (flow)
    NAME(flow_of)(double e, double r, double p, double held, bool stuck,
                  double vmin, double vmax) {
  double d = e * e - 4.0 * r * p, num = 2.0 * p;
  double twice_v = e + sqrt(L > 1 ? NAME(most)(d, 0.0) : d);
  double den = twice_v;
  NAME(flow) w = {0.0, 0.0, false};
  if (L > 1 || !(d >= 0.0) || stuck || held != 0.0) {
    if (L == 1 && stuck) { /* what the quotient below comes to */
      w.limited = true;
      w.keep = held * p > 0.0 ? held : 0.0;
      return w;
    }
    double limit = held > 0.0 ? vmin : vmax;
    bool weak = d < 0.0; /* more than it can give: the most it can */
    double due = held * p;
    double want = 0.5 * (L == 1 && weak ? e : twice_v);
    bool past = NAME(least)(due, held * (limit - want)) > 0.0;
    double to_limit = held * NAME(most)(held * (e - limit), 0.0);
    num = weak ? 0.5 * e : num;
    num = past ? to_limit : num;
    num = stuck ? 0.0 : num;
    den = (weak | past) ? r : den;
    w.limited = weak | past | stuck;
    w.keep = ((due > 0.0) & (past | stuck)) ? held : 0.0;
  }
  w.i = num / den;
  return w;
}

/* Loads met; what a limit, or a load above the inverter, cost in this step.
** 'rare' false: nothing, known before. */
static ALWAYS void NAME (leaf_served)(const NAME(step) * s, NAME(lane) * g,
                                      double tau, double now, bool rare,
                                      int l) {
  double on = s->on[l], asked = s->power[l];
  if (!rare) {
    g->served[l] += s->ac[l] * on;
    g->dc_served[l] += s->dc[l] * on;
    return;
  }
  double got = s->term[l] * (1.0 / tau), first = g->first_unserved[l];
  double last = g->last_unserved[l], spilt = g->first_curtailed[l];
  bool drawn = asked > 0.0;
  double gap = drawn ? asked - got : got - asked;
  double missing = s->limited[l] > 0.5 ? NAME(most)(gap, 0.0) : 0.0;
  double short_w = drawn ? missing : 0.0;
  double ac = NAME(least)(short_w * g->eta[l], s->ac[l]);
  double rest = NAME(most)(short_w - ac * g->ieta[l], 0.0);
  double dc = NAME(least)(rest, s->dc[l]), unmet = ac + s->over[l];
  double spill = (drawn ? 0.0 : missing) * g->ice[l];
  double late = unmet + dc > 0.0 ? on : 0.0;
  double begun = late > 0.0 ? now : -1.0, empty = g->first_empty[l];
  double empty_at = short_w * on > 0.0 ? now : -1.0;
  double lost = spill * on > 0.0 ? now : -1.0;
  g->served[l] += (s->ac[l] - ac) * on;
  g->dc_served[l] += (s->dc[l] - dc) * on;
  g->unserved[l] += unmet * on;
  g->dc_unserved[l] += dc * on;
  g->curtailed[l] += spill * on;
  g->unserved_time[l] += late;
  g->first_unserved[l] = first < 0.0 ? begun : first;
  g->last_unserved[l] = late > 0.0 ? now + tau : last;
  g->first_curtailed[l] = spilt < 0.0 ? lost : spilt;
  g->first_empty[l] = empty < 0.0 ? empty_at : empty;
}

/* Sums and extremes of a step taken; on = 0 where it was not. */
static ALWAYS void NAME (leaf_sums)(NAME(lane) * g, double i, double v,
                                    double term, bool ok, double on, int l) {
  double i_max = g->i_max[l], i_min = g->i_min[l], charge = i * on;
  double v_low = g->v_low[l], v_high = g->v_high[l];
  double i_hi = NAME(most)(i_max, i), i_lo = NAME(least)(i_min, i);
  double v_lo = NAME(least)(v_low, v), v_hi = NAME(most)(v_high, v);
  g->i_max[l] = ok ? i_hi : i_max;
  g->i_min[l] = ok ? i_lo : i_min;
  g->v_low[l] = ok ? v_lo : v_low;
  g->v_high[l] = ok ? v_hi : v_high;
  g->out[l] += NAME(most)(term, 0.0);
  g->in[l] += NAME(most)(-term, 0.0);
  g->leaf_charge[l] += charge;
  g->charge_out[l] += NAME(most)(charge, 0.0);
  g->charge_in[l] += NAME(most)(-charge, 0.0);
  g->v_time[l] += v * on;
  g->v2_time[l] += v * v * on;
  g->discharge_time[l] += i > 0.0 ? on : 0.0;
}

/* Room to the nearest limit at the end of the step, < 0: passed inside it.
** A voltage limit that holds already is not asked again. */
static ALWAYS double NAME (leaf_room)(const NAME(leaf) * p, double z,
                                      double v, double i, double keep,
                                      int l) {
  double dz = i > 0.0 ? z - p->zmin[l] : p->zmax[l] - z;
  double dv = i > 0.0 ? v - p->vmin[l] : p->vmax[l] - v;
  double room = NAME(least)(dz, keep != 0.0 ? BIG : dv * p->ikv[l]);
  return (i == 0.0 ? BIG : room) + SLACK;
}

/* 1. The current, from the state and the power asked. */
static ALWAYS void NAME (leaf_current)(const amp_block *b, const double *coef,
                                       NAME(work) * w, NAME(step) * s,
                                       int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double z0 = p->z[l], power = s->power[l], kr = p->kr[l] * p->shape[l];
  double pairs = c->k1[l] * p->v1[l] + c->k2[l] * p->v2[l];
  double r0 = kr * NAME(warm_factor)(p, l) + p->rj[l];
  double r = r0 + (c->rp[l] + c->kq[l] * p->slope[l]);
  double e = p->kv[l] * p->ocv[l] - pairs;
  bool empty = (z0 <= p->zmin[l] + SLACK) & (power > 0.0);
  bool full = (z0 >= p->zmax[l] - SLACK) & (power < 0.0);
  NAME(flow)
  f = NAME(flow_of)(e, r, power, g->held[l], empty | full, p->vmin[l],
                    p->vmax[l]);
  w->r0[l] = r0;
  w->pairs[l] = pairs;
  w->i[l] = f.i;
  w->z[l] = z0 - f.i * c->tiq[l];
  NAME(spot) k = NAME(spot_at)(p->base[l], w->z[l]);
  w->row[l] = k.row;
  w->in[l] = k.in;
  s->v[l] = e - r * f.i;
  s->keep[l] = f.keep;
  s->limited[l] = f.limited ? 1.0 : 0.0;
}

/* 2. The end of the step by that current, and the room left. 'turned': the
** table's row lies in fields. */
static ALWAYS void NAME (leaf_end)(const amp_block *b, const double *coef,
                                   double tau, bool turned, NAME(work) * w,
                                   NAME(step) * s, int l) {
  const NAME(leaf) *p = (const NAME(leaf) *)b->leaf;
  const NAME(coef) *c = (const NAME(coef) *)coef;
  double i = w->i[l], r0 = w->r0[l], in = w->in[l];
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
  s->margin[l] = NAME(leaf_room)(p, w->z[l], v, i, s->keep[l], l);
}

/* 3. Take it, where 'ok' over 'on' s; a lane that is not keeps its state, so
** that its chemical energy and heat are 0 as well. */
static ALWAYS void NAME (leaf_state)(const amp_block *b, bool ok, double on,
                                     const NAME(work) * w, NAME(step) * s,
                                     int l) {
  NAME(leaf) *p = (NAME(leaf) *)b->leaf;
  NAME(lane) *g = (NAME(lane) *)b->lane;
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
  g->loss[l] += heat;
  g->soc_low[l] = NAME(least)(g->soc_low[l], z);
  g->soc_high[l] = NAME(most)(g->soc_high[l], z);
  g->temp_low[l] = NAME(least)(g->temp_low[l], t);
  g->temp_high[l] = NAME(most)(g->temp_high[l], t);
  g->soc_time[l] += 0.5 * (z0 + z) * on;
  g->temp_time[l] += t * on;
}

static ALWAYS void NAME (leaf_take)(const amp_block *b, double tau,
                                    amp_take mode, const NAME(work) * w,
                                    NAME(step) * s, int l) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  bool ok = mode == AMP_TAKE || s->margin[l] >= 0.0;
  double on = ok ? tau : 0.0, held = g->held[l], keep = s->keep[l], error;
  NAME(leaf_state)(b, ok, on, w, s, l);
  NAME(leaf_sums)(g, w->i[l], s->v[l], s->term[l], ok, on, l);
  error = s->term[l] - s->power[l] * on;
  g->power_residual[l] += s->limited[l] > 0.5 ? 0.0 : error;
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
  NAME(leaf_current)(b, coef, w, s, l);
  NAME(leaf_end)(b, coef, tau, false, w, s, l);
  all->margin[l] = s->margin[l];
  if (mode == AMP_TRY)
    return s->margin[l];
  if (fresh)
    NAME(warm_next)((NAME(leaf) *)b->leaf, l);
  if (mode == AMP_TAKE_IF && !(s->margin[l] >= 0.0))
    return s->margin[l];
  NAME(leaf_take)(b, tau, AMP_TAKE, w, s, l);
  NAME(leaf_served)(s, g, tau, now, s->limited[l] + s->over[l] > 0.0, l);
  all->soc[l] = s->soc[l];
  all->i[l] = w->i[l];
  return s->margin[l];
}
