/*
** lanes_take.h -- a whole try, which moves nothing, and taking it: into the
** state of the leaves and the sums of the lane. Included by lanes_kernel.h;
** not a header of its own.
*/

/* The pack's current from each leaf's e - r i. */
static inline void NAME (solve)(const amp_block *b, const double *coef,
                                int l0, int l1) {
  NAME(leaf_terms)(b, coef, l0, l1);
  if (b->detail)
    NAME(detail_terms)(b, l0, l1);
  if (b->features)
    NAME(extra_terms)(b, coef, l0, l1);
  NAME(tree_up)(b, l0, l1);
  NAME(tree_down)(b, l0, l1);
  NAME(bounds)(b, l0, l1);
  if (b->features)
    NAME(extra_bounds)(b, l0, l1);
  if (b->amps)
    NAME(current_held)(b, l0, l1);
  else
    NAME(current)(b, l0, l1);
}

/* One try of 'tau' from the present state; nothing of the state moves. */
static inline void NAME (try)(const amp_block *b, const double *coef,
                              double tau, int l0, int l1) {
  if (b->detail)
    NAME(detail_open)(b, tau, l0, l1);
  NAME(solve)(b, coef, l0, l1);
  for (int n = 1; b->detail && !NAME(detail_settled)(b, n, l0, l1) &&
                  n < NEWTON_MOST;
       n++)
    NAME(solve)(b, coef, l0, l1);
  if (b->features)
    NAME(extra_current)(b, l0, l1);
  NAME(leaf_ends)(b, coef, tau, l0, l1);
  if (b->detail)
    NAME(detail_ends)(b, coef, tau, l0, l1);
  if (b->features)
    NAME(extra_ends)(b, coef, tau, l0, l1);
  NAME(room)(b, l0, l1);
  if (b->detail)
    NAME(detail_room)(b, l0, l1);
  if (b->phase)
    NAME(phase_room)(b, l0, l1);
  if (b->features)
    NAME(extra_room)(b, l0, l1);
}

/* Take the try: state of the leaves, mean SoC by charge into s->soc. Lanes
** with margin < 0 keep their state. */
static inline void NAME (take_leaves)(const amp_block *b, double tau, int l0,
                                      int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double all[L], soc[L], old[L];
  EACH_LANE {
    all[l] = 0.0;
    soc[l] = 0.0;
    old[l] = 0.0;
  }
  for (int k = 0; k < b->leaves; k++) {
    NAME(leaf) *p = (NAME(leaf) *)b->leaf + k;
    const NAME(work) *w = (const NAME(work) *)b->work + k;
    EACH_LANE {
      bool ok = s->margin[l] >= 0.0;
      double z0 = p->z[l], z1 = w->z[l], t0 = p->temp[l], t1 = w->temp[l];
      double v1 = w->v1[l], v2 = w->v2[l], u1 = p->v1[l], u2 = p->v2[l];
      double ocv = w->ocv[l], slope = w->slope[l], shape = w->shape[l];
      double f = w->f[l], ocv0 = p->ocv[l], slope0 = p->slope[l];
      double shape0 = p->shape[l], f0 = p->f[l];
      double heat = w->heat[l], charge = w->i[l] * tau;
      z1 = ok ? z1 : z0;
      t1 = ok ? t1 : t0;
      p->z[l] = z1;
      p->temp[l] = t1;
      p->v1[l] = ok ? v1 : u1;
      p->v2[l] = ok ? v2 : u2;
      p->ocv[l] = ok ? ocv : ocv0;
      p->slope[l] = ok ? slope : slope0;
      p->shape[l] = ok ? shape : shape0;
      p->f[l] = ok ? f : f0;
      g->loss[l] += ok ? heat : 0.0;
      g->leaf_charge[l] += ok ? charge : 0.0;
      g->soc_low[l] = NAME(least)(g->soc_low[l], z1);
      g->soc_high[l] = NAME(most)(g->soc_high[l], z1);
      g->temp_low[l] = NAME(least)(g->temp_low[l], t1);
      g->temp_high[l] = NAME(most)(g->temp_high[l], t1);
      all[l] += p->q[l];
      soc[l] += p->q[l] * z1;
      old[l] += p->q[l] * z0;
    }
  }
  const NAME(leaf) *first = (const NAME(leaf) *)b->leaf;
  EACH_LANE {
    double on = s->margin[l] >= 0.0 ? tau : 0.0;
    double mean = 0.5 * (soc[l] + old[l]) / all[l];
    s->soc[l] = soc[l] / all[l];
    g->soc_time[l] += mean * on;
    g->temp_time[l] += first->temp[l] * on;
  }
  if (b->detail)
    NAME(detail_take)(b, l0, l1);
}

/* Take the try: sums of the lane. 'now' s: the start of the step. */
static inline void NAME (take_sums)(const amp_block *b, double tau,
                                    double now, int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  bool phase = b->phase != NULL; /* whose limits are meant: nothing lacks */
  EACH_LANE {
    bool ok = s->margin[l] >= 0.0, limited = s->limited[l] > 0.5;
    double on = ok ? tau : 0.0, i = s->i[l];
    double got = s->term[l] / tau, v = s->v[l], keep = s->keep[l];
    double asked = (phase & limited) ? got : s->power[l];
    double load = (phase & limited) ? NAME(most)(got, 0.0) : s->dc[l];
    double term = ok ? s->term[l] : 0.0;
    bool drawn = asked > 0.0;
    double gap = drawn ? asked - got : got - asked;
    double missing = limited ? NAME(most)(gap, 0.0) : 0.0;
    double short_w = drawn ? missing : 0.0;
    double ac = NAME(least)(short_w * g->eta[l], s->ac[l]);
    double dc =
        NAME(least)(NAME(most)(short_w - ac * g->ieta[l], 0.0), load);
    double unmet = ac + s->over[l];
    double spill = (drawn ? 0.0 : missing) * g->ice[l];
    double late = unmet + dc > 0.0 ? on : 0.0;
    double lost = spill > 0.0 ? on : 0.0;
    double error = limited ? 0.0 : term - asked * on;
    double held = g->held[l], first = g->first_unserved[l];
    double last = g->last_unserved[l], spilt = g->first_curtailed[l];
    double begun = late > 0.0 ? now : -1.0, lost_at = lost > 0.0 ? now : -1.0;
    double empty = g->first_empty[l];
    double empty_at = short_w * on > 0.0 ? now : -1.0;
    double i_hi = ok ? i : -BIG, i_lo = ok ? i : BIG;
    double v_hi = ok ? v : -BIG, v_lo = ok ? v : BIG;
    g->held[l] = ok ? keep : held;
    g->served[l] += (s->ac[l] - ac) * on;
    g->unserved[l] += unmet * on;
    g->dc_served[l] += (load - dc) * on;
    g->dc_unserved[l] += dc * on;
    g->curtailed[l] += spill * on;
    g->out[l] += NAME(most)(term, 0.0);
    g->in[l] += NAME(most)(-term, 0.0);
    g->charge_out[l] += NAME(most)(i, 0.0) * on;
    g->charge_in[l] += NAME(most)(-i, 0.0) * on;
    g->v_time[l] += v * on;
    g->v2_time[l] += v * v * on;
    g->discharge_time[l] += i > 0.0 ? on : 0.0;
    g->unserved_time[l] += late;
    g->power_residual[l] += error;
    g->i_max[l] = NAME(most)(g->i_max[l], i_hi);
    g->i_min[l] = NAME(least)(g->i_min[l], i_lo);
    g->v_low[l] = NAME(least)(g->v_low[l], v_lo);
    g->v_high[l] = NAME(most)(g->v_high[l], v_hi);
    g->first_unserved[l] = first < 0.0 ? begun : first;
    g->last_unserved[l] = late > 0.0 ? now + tau : last;
    g->first_curtailed[l] = spilt < 0.0 ? lost_at : spilt;
    g->first_empty[l] = empty < 0.0 ? empty_at : empty;
  }
}

/* Take a try of 'tau' whose sums begin at 'now', and what it costs. */
static void NAME (take)(const amp_block *b, double tau, double now, int l0,
                        int l1) {
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  double lack[L], spilt[L];
  NAME(take_leaves)(b, tau, l0, l1);
  if (!b->features && !b->stats) {
    NAME(take_sums)(b, tau, now, l0, l1);
    return;
  }
  NAME(extra_take)(b, tau, l0, l1);
  for (int l = l0; l < l1; l++) {
    lack[l] = g->unserved[l] + g->dc_unserved[l];
    spilt[l] = g->curtailed[l];
  }
  NAME(take_sums)(b, tau, now, l0, l1);
  if (b->features)
    NAME(extra_cost)(b, tau, now, lack, spilt, l0, l1);
}
