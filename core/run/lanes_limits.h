/*
** lanes_limits.h -- a step of one lane that meets limits: up to each, located
** inside the step, then on with the limit held. Included by lanes_kernel.h;
** not a header of its own.
*/

static double NAME (try_part)(const amp_block *b, double tau, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const double *coef = NAME(coef_for)(b, tau, l);
  NAME(try)(b, coef, tau, l, l + 1);
  return s->margin[l];
}

/* Take 'tau', whatever its margin says: that is bounded by SLACK. */
static void NAME (take_part)(const amp_block *b, double tau, double now,
                             int l) {
  NAME(step) *s = (NAME(step) *)b->step;
  const double *coef = NAME(coef_for)(b, tau, l);
  NAME(try)(b, coef, tau, l, l + 1);
  s->margin[l] = BIG;
  NAME(take)(b, tau, now, l, l + 1);
}

/*
** The longest part of 'left' that meets no limit, found to 1e-9 of it by
** bracketing (regula falsi, Illinois form); 0 when there is none. The try
** of 'left' itself had 'over' < 0.
*/
static double NAME (until_limit)(const amp_block *b, double left, double over,
                                 int l) {
  double t0 = left * 1e-7, m0 = NAME(try_part)(b, t0, l);
  double t1 = left, m1 = over;
  if (!(m0 >= 0.0))
    return 0.0;
  for (int turn = 0, side = 0; turn < 60; turn++) {
    double t = (t0 * m1 - t1 * m0) / (m1 - m0);
    double m = NAME(try_part)(b, t, l);
    if (m >= 0.0) {
      t0 = t;
      m0 = m;
      m1 = side == 1 ? 0.5 * m1 : m1;
      side = 1;
    } else {
      t1 = t;
      m1 = m;
      m0 = side == -1 ? 0.5 * m0 : m0;
      side = -1;
    }
    if (t1 - t0 <= left * 1e-9 || (m >= 0.0 && m < 0.5 * SLACK))
      break;
  }
  return t0;
}

/* At a limit already: what part of 'left' goes on from here. The limit holds
** from now on, or it ends the phase. */
static double NAME (at_limit)(const amp_block *b, double left, double now,
                              int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double to;
  if (NAME(phase_ends)(b, l)) {
    NAME(phase_end)(b, now, l);
    return left;
  }
  g->held[l] = s->power[l] > 0.0 ? 1.0 : -1.0;
  if (NAME(try_part)(b, left, l) >= 0.0)
    return left;
  to = NAME(until_limit)(b, left, s->margin[l], l);
  if (to <= 0.0 && b->phase)
    NAME(phase_end)(b, now, l);
  return to > 0.0 ? to : left;
}

/* Voltage at the terminals now, of one lane alone, at its last current. */
static double NAME (voltage_now)(const amp_block *b) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  const int l = 0;
  for (int k = 0; k < b->leaves; k++) {
    const NAME(leaf) *p = (const NAME(leaf) *)b->leaf + k;
    NAME(work) *w = (NAME(work) *)b->work + k;
    w->e[l] = p->kv[l] * p->ocv[l] - p->v1[l] - p->v2[l];
    w->r[l] = p->kr[l] * p->shape[l] * NAME(warm_factor)(p, l) + p->rj[l];
  }
  NAME(tree_up)(b, 0, 1);
  return b->e[l] - b->r[l] * s->i[l];
}

/* A step of one lane that meets limits: go to each, then on. */
static void NAME (limits)(amp_block *b, double dt, double now, int l) {
  const NAME(step) *s = (const NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  double left = dt;
  int most = b->features ? 40 : 12;
  for (int turn = 0; left > 0.0; turn++) {
    double part = left, room = NAME(try_part)(b, part, l);
    if (room < 0.0 && turn < most) {
      part = NAME(until_limit)(b, left, room, l);
      g->events[l] += 1.0;
      if (part <= 0.0 && b->features && NAME(opens_now)(b, now, l))
        continue;
      if (part <= 0.0)
        part = NAME(at_limit)(b, left, now, l);
    }
    NAME(take_part)(b, part, now, l);
    now += part;
    if (L == 1 && b->traced)
      b->low = NAME(least)(b->low, NAME(voltage_now)(b));
    if (b->phase && NAME(at_charge)(b, s->power[l], l))
      NAME(phase_end)(b, now, l);
    if (b->features | b->stats)
      NAME(extra_event)(b, now, part < left, l);
    if (b->features)
      NAME(thermostat)(b, l, l + 1);
    left = part < left ? left - part : 0.0;
  }
}
