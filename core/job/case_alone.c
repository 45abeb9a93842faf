/*
** case_alone.c -- what the supply serves by itself in a year, with no
** battery, for any draw of load and sun: straight between a few sums over
** the whole duty. What an offer is worth is what is served beyond it.
*/
#include "job/case_parts.h"
#include <math.h>

static void widen (double v, double range[2]) {
  range[0] = fmin(range[0], v);
  range[1] = fmax(range[1], v);
}

static double node_at (const double range[2], int k) {
  return range[0] + (range[1] - range[0]) * k / (CASE_ALONE - 1);
}

static void fill (const amp_need *need, case_alone *a) {
  const amp_duty *d = need->duty;
  double year = CASE_YEAR / ((double)d->n * d->dt);
  for (int i = 0; i < CASE_ALONE; i++)
    for (int j = 0; j < CASE_ALONE; j++) {
      bool again_i = i > 0 && !(a->load[1] > a->load[0]);
      bool again_j = j > 0 && !(a->sun[1] > a->sun[0]);
      a->at[i][j] = again_i ? a->at[0][j]
                    : again_j
                        ? a->at[i][0]
                        : year * amp_converter_alone(&need->converter, d,
                                                     node_at(a->load, i),
                                                     node_at(a->sun, j));
      a->any = a->any || a->at[i][j] > 0.0;
    }
}

/* Twice the error in the middle of the two cells about the middle. */
static double error_of (const amp_need *need, const case_alone *a) {
  const amp_duty *d = need->duty;
  double year = CASE_YEAR / ((double)d->n * d->dt), off = 0.0;
  for (int k = 0; k < 2; k++) {
    double part = (CASE_ALONE / 2 - 0.5 + k) / (CASE_ALONE - 1);
    double load = a->load[0] + part * (a->load[1] - a->load[0]);
    double sun = a->sun[0] + part * (a->sun[1] - a->sun[0]);
    double is = year * amp_converter_alone(&need->converter, d, load, sun);
    off = fmax(off, 2.0 * fabs(is - case_alone_of(a, load, sun)));
  }
  return off;
}

void case_alone_make (const case_plan *p, case_alone *a) {
  const amp_duty *d = p->c->need->duty;
  *a = (case_alone){.load = {1.0, 1.0}, .sun = {1.0, 1.0}};
  if (d->supply_free || d->amps != NULL || d->phases > 0)
    return;
  a->load[0] = a->load[1] = p->draw[0].load;
  a->sun[0] = a->sun[1] = p->draw[0].sun;
  for (size_t i = 1; i < p->draws; i++) {
    widen(p->draw[i].load, a->load);
    widen(p->draw[i].sun, a->sun);
  }
  fill(p->c->need, a);
  if (a->any && (a->load[1] > a->load[0] || a->sun[1] > a->sun[0]))
    a->off = error_of(p->c->need, a);
}

/* Node below v, and how far v is on its way to the next. */
static int between (const double range[2], double v, double *part) {
  double wide = range[1] - range[0];
  double x = wide > 0.0 ? (v - range[0]) / wide * (CASE_ALONE - 1) : 0.0;
  int k = (int)fmin(fmax(x, 0.0), CASE_ALONE - 2);
  *part = fmin(fmax(x - k, 0.0), 1.0);
  return k;
}

double case_alone_of (const case_alone *a, double load, double sun) {
  double x, y;
  int i = between(a->load, load, &x), j = between(a->sun, sun, &y);
  double low = a->at[i][j] + y * (a->at[i][j + 1] - a->at[i][j]);
  double high = a->at[i + 1][j] + y * (a->at[i + 1][j + 1] - a->at[i + 1][j]);
  return low + x * (high - low);
}
