/*
** project.c -- years from nodes: the sums advance a year at a time with the
** terms of the year's middle, the end of life is located inside its year.
*/
#include "life/project.h"
#include "base/interp.h"
#include "base/solve.h"
#include <math.h>
#include <stddef.h>
#include <string.h>

#define YEAR 31536000.0 /* s, 365 days */

/* A monotone cubic through at most AMP_LIFE_NODES knots. */
typedef struct small {
  double y[AMP_LIFE_NODES], m[AMP_LIFE_NODES];
} small;

enum { SERVED = AMP_AGEING_TERMS, CHARGED, QUANTITIES };
enum { BRIEF = 10 };

/* The means handed to a user's function, in the order of brief[]. */
static const size_t brief_at[BRIEF] = {
    offsetof(amp_stress, time),   offsetof(amp_stress, temp),
    offsetof(amp_stress, soc),    offsetof(amp_stress, v_mean),
    offsetof(amp_stress, v_rms),  offsetof(amp_stress, fec),
    offsetof(amp_stress, fec_in), offsetof(amp_stress, efc),
    offsetof(amp_stress, c_rate), offsetof(amp_stress, dod)};

typedef struct life {
  const amp_life_ask *ask;
  int n, terms; /* nodes; terms that the loss hangs on, the others stay 0 */
  double x[AMP_LIFE_NODES];
  small q[QUANTITIES];
  small brief[BRIEF];
  double sum[AMP_AGEING_TERMS];
  double soh;    /* where it stands */
  double offset; /* soh = offset - loss(sum): 1, or what rounds it there */
} life;

static amp_status fit (const life *l, const double *y, small *out,
                       amp_error *err) {
  memcpy(out->y, y, (size_t)l->n * sizeof *y);
  out->m[0] = 0.0;
  if (l->n == 1)
    return AMP_OK;
  return amp_monotone_slopes(l->x, y, l->n, out->m, err);
}

static amp_spot spot (const life *l, double soh) {
  return amp_monotone_spot(l->x, l->n, soh);
}

static double at (amp_spot where, const small *s) {
  return amp_monotone_there(where, s->y, s->m);
}

static double quantity (const amp_life_node *node, int k) {
  return k == SERVED    ? node->served
         : k == CHARGED ? node->charged
                        : node->term[k];
}

static double brief (const amp_stress *s, int k) {
  double v;
  memcpy(&v, (const char *)s + brief_at[k], sizeof v);
  return v;
}

static amp_status fit_all (const amp_life_node *node, life *l,
                           amp_error *err) {
  double y[AMP_LIFE_NODES];
  amp_status st = AMP_OK;
  for (int k = 0; st == AMP_OK && k < QUANTITIES; k++) {
    if (k >= l->terms && k < AMP_AGEING_TERMS)
      continue;
    for (int i = 0; i < l->n; i++)
      y[i] = quantity(&node[i], k);
    st = fit(l, y, &l->q[k], err);
  }
  if (l->ask->model->kind != AMP_AGEING_USER)
    return st;
  for (int k = 0; st == AMP_OK && k < BRIEF; k++) {
    for (int i = 0; i < l->n; i++)
      y[i] = brief(&node[i].brief, k);
    st = fit(l, y, &l->brief[k], err);
  }
  return st;
}

static amp_status check (const amp_life_node *node, int n,
                         const amp_life_ask *a, amp_error *err) {
  amp_status st = amp_check_range(err, "nodes", n, 1, AMP_LIFE_NODES);
  if (st == AMP_OK)
    st = amp_check_range(err, "soh_start", a->soh_start, 0.0, 1.5);
  if (st == AMP_OK)
    st = amp_check_range(err, "soh_end", a->soh_end, 0.001, 1.0);
  if (st == AMP_OK)
    st = amp_check_range(err, "horizon", a->horizon, 0.0, AMP_LIFE_YEARS);
  if (st == AMP_OK)
    st = amp_ageing_check(a->model, err);
  for (int i = 1; st == AMP_OK && i < n; i++)
    if (!(node[i].soh > node[i - 1].soh))
      st = amp_failf(err, AMP_EDATA, "soh", "nodes must rise in SoH");
  return st;
}

static void terms_at (const life *l, double soh, double term[]) {
  amp_spot where = spot(l, soh);
  for (int k = 0; k < AMP_AGEING_TERMS; k++)
    term[k] = k < l->terms ? at(where, &l->q[k]) : 0.0;
}

static double soh_after (const life *l, const double term[], double years) {
  double sum[AMP_AGEING_TERMS];
  for (int k = 0; k < AMP_AGEING_TERMS; k++)
    sum[k] = l->sum[k] + years * term[k];
  return l->offset - amp_ageing_loss(l->ask->model, sum);
}

/* The sums that belong to the SoH at the start. Where no amount of this use
** explains it (no use at all, or better than new), the fall is counted from
** new sums: soh_start - loss. */
static amp_status start (life *l, amp_error *err) {
  const amp_life_ask *a = l->ask;
  double term[AMP_AGEING_TERMS], loss = 1.0 - a->soh_start;
  amp_status st = AMP_OK;
  l->soh = a->soh_start;
  terms_at(l, l->soh, term);
  if (a->model->kind != AMP_AGEING_USER && loss > 0.0)
    st = amp_ageing_continue(a->model, term, loss, l->sum, err);
  if (st != AMP_OK && st != AMP_EREFUSED && st != AMP_ERANGE)
    return st;
  if (st != AMP_OK)
    memset(l->sum, 0, sizeof l->sum);
  l->offset = a->soh_start + amp_ageing_loss(a->model, l->sum);
  return AMP_OK;
}

/* Loss a year by the user's function at a SoH and a time. */
static amp_status user_loss (const life *l, double soh, double years,
                             double *loss, amp_error *err) {
  const amp_ageing *m = l->ask->model;
  amp_stress s = {0};
  amp_error why = {0};
  amp_spot where = spot(l, soh);
  double rate;
  for (int k = 0; k < BRIEF; k++) {
    double v = at(where, &l->brief[k]);
    memcpy((char *)&s + brief_at[k], &v, sizeof v);
  }
  rate = m->fade(m->arg, &s, soh, l->ask->age + years, &why);
  if (!(rate >= 0.0 && rate <= 1.0)) {
    if (why.text[0] == '\0' && why.field == NULL)
      return amp_failf(err, AMP_EUSER, "fade",
                       "the fade function gave %g, wanted a loss per second "
                       "of 0 or more",
                       rate);
    if (err != NULL)
      *err = why;
    if (err != NULL)
      err->status = AMP_EUSER;
    return AMP_EUSER;
  }
  *loss = rate * YEAR;
  return AMP_OK;
}

/* What one begun year is like: terms (or the user's loss) of its middle. */
typedef struct year {
  double term[AMP_AGEING_TERMS];
  double loss; /* USER: a year */
  const life *l;
} year;

static double soh_in (const year *y, double part) {
  if (y->l->ask->model->kind == AMP_AGEING_USER)
    return y->l->soh - y->loss * part;
  return soh_after(y->l, y->term, part);
}

static amp_status middle (const life *l, double begin, double span, year *y,
                          amp_error *err) {
  bool user = l->ask->model->kind == AMP_AGEING_USER;
  amp_status st = AMP_OK;
  double half;
  y->l = l;
  y->loss = 0.0;
  terms_at(l, l->soh, y->term);
  if (user)
    st = user_loss(l, l->soh, begin, &y->loss, err);
  if (st != AMP_OK)
    return st;
  half = soh_in(y, 0.5 * span);
  terms_at(l, half, y->term);
  if (user)
    st = user_loss(l, half, begin + 0.5 * span, &y->loss, err);
  return st;
}

static double above_end (void *arg, double part) {
  const year *y = arg;
  return soh_in(y, part) - y->l->ask->soh_end;
}

/* Advance at most 'span' of a year; *part is what was lived of it. */
static amp_status live (life *l, year *y, double span, double *part,
                        amp_error *err) {
  double end = soh_in(y, span);
  *part = span;
  if (end < l->ask->soh_end) {
    amp_status st = amp_root(above_end, y, 0.0, span, 1e-12, part, err);
    if (st != AMP_OK)
      return st;
    end = l->ask->soh_end;
  }
  for (int k = 0; k < AMP_AGEING_TERMS; k++)
    l->sum[k] += *part * y->term[k];
  l->soh = end;
  return AMP_OK;
}

static void note_year (const life *l, double before, double part,
                       amp_life *out) {
  amp_spot where = spot(l, 0.5 * (before + l->soh));
  out->served[out->n] = part * at(where, &l->q[SERVED]);
  out->charged[out->n] = part * at(where, &l->q[CHARGED]);
  out->years += part;
  out->soh[++out->n] = l->soh;
}

static amp_status live_all (life *l, amp_life *out, amp_error *err) {
  const amp_life_ask *a = l->ask;
  year y;
  out->soh[0] = a->soh_start;
  while (l->soh > a->soh_end && out->n < AMP_LIFE_YEARS) {
    double span = fmin(1.0, a->horizon - out->n), before = l->soh, part;
    amp_status st;
    if (!(span > 0.0))
      break;
    st = middle(l, out->n, span, &y, err);
    if (st == AMP_OK)
      st = live(l, &y, span, &part, err);
    if (st != AMP_OK)
      return st;
    note_year(l, before, part, out);
  }
  out->beyond = l->soh > a->soh_end;
  return AMP_OK;
}

amp_status amp_project (const amp_life_node *node, int n,
                        const amp_life_ask *ask, amp_life *out,
                        amp_error *err) {
  amp_life r = {0};
  life l = {.ask = ask, .n = n};
  amp_status st = check(node, n, ask, err);
  if (st != AMP_OK)
    return st;
  l.terms = amp_ageing_loss_terms(ask->model);
  for (int i = 0; i < n; i++) {
    l.x[i] = node[i].soh;
    r.outside |= node[i].outside;
  }
  st = fit_all(node, &l, err);
  if (st == AMP_OK)
    st = start(&l, err);
  if (st == AMP_OK)
    st = live_all(&l, &r, err);
  if (st == AMP_OK)
    *out = r;
  return st;
}
