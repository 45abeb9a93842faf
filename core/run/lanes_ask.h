/*
** lanes_ask.h -- what a step of the duty asks of each lane: power by way of
** the converter, current, or the phase of a test. Included by lanes_kernel.h;
** not a header of its own.
*/

/* Efficiencies of this step, where they go by load. In a shortfall that of
** the load asked stands. */
static void NAME (efficiencies)(const amp_block *b, double ac) {
  NAME(lane) *g = (NAME(lane) *)b->lane;
  for (int l = 0; l < L; l++) {
    double through = NAME(least)(ac * g->lf[l], g->pmax[l]);
    g->eta[l] = amp_converter_efficiency(b->converter[l], through);
    g->ieta[l] = 1.0 / g->eta[l];
  }
}

/* What a duty step asks of each lane. */
static void NAME (ask)(const amp_block *b, const amp_chunk *c, size_t t,
                       int l0, int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  NAME(asked)
  q = {c->ac[t], c->dc[t], c->pv[t], c->temp[t], c->on[t] ? 1.0 : 0.0, 0.0};
  EACH_LANE {
    double load = q.ac * g->lf[l], through = NAME(least)(load, g->pmax[l]);
    double net = NAME(net_of)(g, through, &q, l);
    s->ac[l] = through;
    s->over[l] = load - through;
    s->dc[l] = q.dc * g->lf[l];
    s->net[l] = net;
    s->power[l] = NAME(power_of)(net, g->ce[l]);
    s->tamb[l] = q.temp + g->shift[l];
  }
}

/* A step that asks current: the sign of 'power' is that of the current. */
static inline void NAME (ask_amps)(const amp_block *b, double amps, int l0,
                                   int l1) {
  NAME(step) *s = (NAME(step) *)b->step;
  const NAME(lane) *g = (const NAME(lane) *)b->lane;
  EACH_LANE {
    double want = amps * (amps > 0.0 ? g->lf[l] : g->sf[l]);
    s->want[l] = want;
    s->power[l] = want;
    s->ac[l] = 0.0;
    s->over[l] = 0.0;
  }
}

/* The phase of step t, if there are any; at its first step its own voltage
** narrows the window, and no lane is through with it. */
static void NAME (ask_phase)(amp_block *b, const amp_chunk *c, size_t t) {
  NAME(step) *s = (NAME(step) *)b->step;
  NAME(lane) *g = (NAME(lane) *)b->lane;
  const int l0 = 0, l1 = L;
  size_t k;
  if (!b->phase)
    b->phase = c->phase;
  while (b->phase->last <= t)
    b->phase++;
  k = (size_t)(b->phase - c->phase);
  b->ended = c->ended ? c->ended + k : NULL;
  if (t == (k > 0 ? c->phase[k - 1].last : 0))
    EACH_LANE {
      double v = b->phase->until_v, ask = b->phase->ask;
      double lo = g->ownmin[l], hi = g->ownmax[l];
      g->rvmin[l] = ask > 0.0 && v > lo ? v : lo;
      g->rvmax[l] = ask < 0.0 && v < hi ? v : hi;
      g->over[l] = 0.0;
    }
  EACH_LANE {
    double on = 1.0 - g->over[l];
    s->want[l] *= on;
    s->power[l] *= on;
    s->dc[l] *= on;
  }
}
