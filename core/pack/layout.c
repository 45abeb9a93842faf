/*
** layout.c -- how far sag lifts the floor of a series count.
*/
#include "pack/layout.h"
#include "base/elementary.h"
#include "base/solve.h"
#include "base/value.h"
#include "cell/cell.h"
#include <math.h>

amp_status amp_sag (double e, double r, double p, double *v, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "e", e, 1e-3, 1e5)) != AMP_OK ||
      (s = amp_check_range(err, "r", r, 0.0, 1e3)) != AMP_OK ||
      (s = amp_check_range(err, "p", p, 0.0, 1e9)) != AMP_OK)
    return s;
  double d = e * e - 4.0 * p * r;
  if (!(d >= 0.0))
    return amp_failf(err, AMP_EREFUSED, "p",
                     "%g V behind %g ohm give %g W at most", e, r,
                     e * e / (4.0 * r));
  *v = 0.5 * (e + sqrt(d));
  return AMP_OK;
}

typedef struct sagging {
  const amp_group *g;
  double temp, current, v_cut;
  bool brief;
} sagging;

/* ohm of the bank: what 10 s show, or all that ever comes. */
static double bank_r (const sagging *s, double soc) {
  const amp_cell *c = &s->g->cell;
  double one = s->brief ? -amp_expm1(-10.0 / c->tau1) : 1.0;
  double two = s->brief ? -amp_expm1(-10.0 / c->tau2) : 1.0;
  double r = amp_cell_r0(c, soc, s->temp) + one * c->r1 + two * c->r2;
  return r * s->g->series / s->g->parallel;
}

/* V above the cut-out under the load */
static double above (void *arg, double soc) {
  const sagging *s = arg;
  double e = s->g->series * amp_chemistry_ocv(s->g->chemistry, soc);
  return e - s->current * bank_r(s, soc) - s->v_cut;
}

static amp_status check_load (const amp_layout *a,
                              const amp_layout_load *load, amp_error *err) {
  amp_status s;
  if (!a->fits)
    return amp_failf(err, AMP_EREFUSED, "fits",
                     "%d groups in series do not fit", a->groups);
  if ((s = amp_check_range(err, "strings", load->strings, 1, 10000)) !=
          AMP_OK ||
      (s = amp_check_range(err, "v_min", load->v_cut, 0.1, 2000.0)) !=
          AMP_OK ||
      (s = amp_check_range(err, "power", load->power, 0.0, 1e8)) != AMP_OK ||
      (s = amp_check_range(err, "efficiency", load->efficiency, 0.01, 1.0)) !=
          AMP_OK)
    return s;
  return amp_check_range(err, "temp", load->temp, 200.0, 400.0);
}

amp_status amp_layout_under (const amp_module *m, const amp_layout *a,
                             double capacity, double r10s,
                             const amp_layout_load *load, amp_layout_sag *out,
                             amp_error *err) {
  amp_layout_sag o = {0};
  amp_group g;
  const amp_window *w = &a->window;
  amp_status st = check_load(a, load, err);
  if (st == AMP_OK)
    st = amp_module_leaf(m, w, capacity, r10s, a->modules, load->strings, &g,
                         err);
  if (st != AMP_OK)
    return st;
  sagging s = {&g, load->temp, load->power / load->efficiency / load->v_cut,
               load->v_cut, load->brief};
  o.floor = w->soc_min;
  o.never = !(above(&s, w->soc_max) > 0.0);
  if (o.never)
    o.floor = w->soc_max;
  else if (above(&s, w->soc_min) < 0.0)
    st = amp_root(above, &s, w->soc_min, w->soc_max, 1e-9, &o.floor, err);
  if (st != AMP_OK)
    return st;
  double mid = 0.5 * (w->soc_min + w->soc_max);
  if (amp_sag(g.series * amp_chemistry_ocv(g.chemistry, mid), bank_r(&s, mid),
              load->power / load->efficiency, &o.v_mid, NULL) != AMP_OK)
    o.v_mid = AMP_NOT_GIVEN;
  o.bites = o.floor > w->soc_min;
  o.current = s.current;
  o.r = bank_r(&s, o.floor);
  o.sag = o.current * o.r;
  *out = o;
  return AMP_OK;
}

amp_status amp_layout_of_groups (const amp_module *m, int groups,
                                 amp_error *err) {
  amp_status s = amp_check_range(err, "groups", groups, 1, 10000);
  int below = groups / m->series * m->series;
  if (s != AMP_OK || below == groups)
    return s;
  if (below == 0)
    return amp_failf(err, AMP_EREFUSED, "groups",
                     "a module has %d groups in series already: %d cannot "
                     "be made",
                     m->series, groups);
  return amp_failf(err, AMP_EREFUSED, "groups",
                   "modules of %d groups cannot make %d in series: %d or %d",
                   m->series, groups, below, below + m->series);
}
