/*
** case_space.c -- the years behind the draws. What a year serves and ages
** depends on a few numbers that may be spread: state of health, resistance,
** load, sun, temperature. It is simulated at a few places of the box that
** they span and put together from these for each draw: a sparse grid
** (Smolyak 1963) of polynomials on the extrema of Chebyshev's. How far off
** that is, full simulations of a few draws tell (case_check.c).
*/
#include "job/case_parts.h"
#include <math.h>
#include <string.h>

#define HALF_ROOT 0.70710678118654752440 /* cos 45 degrees */

/* Nodes of one direction in -1 .. 1: the middle, then the ends, then what
** lies between; the first 1, 3 and 5 of them are a grid each. */
static const double node_at[CASE_NODES] = {0.0, -1.0, 1.0, -HALF_ROOT,
                                           HALF_ROOT};
static const int level_of[CASE_NODES] = {0, 1, 1, 2, 2};

/* The nodes in rising order. */
static const int rising[CASE_NODES] = {1, 3, 0, 4, 2};

/* The polynomial through the nodes up to its own level that is 1 at node k
** and 0 at the others. */
static double basis (int k, double t) {
  int n = level_of[k] == 0 ? 1 : level_of[k] == 1 ? 3 : 5;
  double v = 1.0;
  for (int j = 0; j < n; j++)
    if (j != k)
      v *= (t - node_at[j]) / (node_at[k] - node_at[j]);
  return v;
}

/* ---- the box ---- */

static void add_direction (case_space *s, case_direction is, double lo,
                           double hi) {
  if (!(hi - lo > 1e-9))
    return;
  s->is[s->dims] = is;
  s->lo[s->dims] = lo;
  s->hi[s->dims++] = hi;
}

/* All but one or two in a thousand of what 'v' may be. */
static void add_value (case_space *s, case_direction is, const amp_value *v,
                       double least) {
  double lo, hi;
  if (!amp_value_is_set(v) || amp_value_is_fixed(v))
    return;
  lo = amp_value_at(v, v->spread == AMP_EVEN ? 0.0 : 0.001);
  hi = amp_value_at(v, v->spread == AMP_EVEN ? 1.0 : 0.999);
  add_direction(s, is, fmax(lo, least), fmax(hi, least));
}

/* All points whose levels sum to 'level', behind those that are there. */
static void add_points (case_space *s, int level) {
  int many = 1;
  for (int d = 0; d < s->dims; d++)
    many *= CASE_NODES;
  for (int i = 0; i < many; i++) {
    unsigned char node[CASE_DIMS];
    int rest = i, sum = 0;
    for (int d = 0; d < s->dims; d++, rest /= CASE_NODES) {
      node[d] = (unsigned char)(rest % CASE_NODES);
      sum += level_of[node[d]];
    }
    if (sum == level)
      memcpy(s->node[s->points++], node, sizeof node);
  }
}

void case_space_make (case_plan *p, double soh_lo, double soh_hi) {
  const amp_duty *d = p->c->need->duty;
  case_space *s = &p->space;
  memset(s, 0, sizeof *s);
  s->soh = soh_hi;
  s->r = amp_value_is_set(&p->module.r10s) ? p->module.r10s.value : 1.0;
  add_direction(s, CASE_SOH, soh_lo, soh_hi);
  if (p->c->build == NULL)
    add_value(s, CASE_R, &p->module.r10s, 0.1 * s->r);
  add_value(s, CASE_LOAD, &d->load_factor, 0.0);
  add_value(s, CASE_SUN, &d->sun_factor, 0.0);
  add_value(s, CASE_SHIFT, &d->temp_shift, -100.0);
  add_points(s, 0);
  add_points(s, 1);
  s->few = s->points;
  add_points(s, 2);
  for (int j = 0; j < CASE_NODES; j++)
    for (int m = 0; m < CASE_NODES; m++)
      s->between[j][m] = basis(m, node_at[rising[j]]);
}

static double *of_state (case_state *x, case_direction is) {
  switch (is) {
  case CASE_SOH:
    return &x->soh;
  case CASE_R:
    return &x->r;
  case CASE_LOAD:
    return &x->load;
  case CASE_SUN:
    return &x->sun;
  case CASE_SHIFT:
    break;
  }
  return &x->shift;
}

static double middle_of (const amp_value *v, double unset) {
  return amp_value_is_set(v) ? v->value : unset;
}

case_state case_space_point (const case_plan *p, int strings, int point) {
  const amp_duty *d = p->c->need->duty;
  const case_space *s = &p->space;
  case_state x = {strings,
                  s->soh,
                  s->r,
                  middle_of(&d->load_factor, 1.0),
                  middle_of(&d->sun_factor, 1.0),
                  middle_of(&d->temp_shift, 0.0)};
  for (int k = 0; k < s->dims; k++)
    *of_state(&x, s->is[k]) = s->lo[k] + (s->hi[k] - s->lo[k]) * 0.5 *
                                             (node_at[s->node[point][k]] + 1);
  return x;
}

bool case_space_is_wide (const case_space *s) {
  return s->dims > 1 || (s->dims == 1 && s->is[0] != CASE_SOH);
}

/* ---- what each point adds ---- */

static double weight (const case_space *s, int point, const double *t) {
  double w = 1.0;
  for (int k = 0; k < s->dims; k++)
    w *= basis(s->node[point][k], t[k]);
  return w;
}

/* From values, behind the points that were settled before, to what each
** point adds to the sum of those before it. */
void case_space_settle (const case_plan *p, case_year *y) {
  const case_space *s = &p->space;
  int n = p->fields;
  bool fall = y->points > 0 && !y->floor_terms;
  for (int i = y->points; i < y->asked; i++) {
    double t[CASE_DIMS] = {0};
    for (int f = CASE_TERMS; f < n; f++)
      fall = fall || y->value[i * n + f] < 0.0;
    for (int k = 0; k < s->dims; k++)
      t[k] = node_at[s->node[i][k]];
    for (int j = 0; j < i; j++) {
      double w = weight(s, j, t);
      for (int f = 0; w != 0.0 && f < n; f++)
        y->value[i * n + f] -= w * y->value[j * n + f];
    }
  }
  y->floor_terms = !fall;
  y->points = y->asked;
}

/* ---- the year of a draw ---- */

int case_space_nodes (const case_space *s, double soh[CASE_NODES]) {
  if (s->dims == 0 || s->is[0] != CASE_SOH) {
    soh[0] = s->soh;
    return 1;
  }
  for (int j = 0; j < CASE_NODES; j++)
    soh[j] =
        s->lo[0] + (s->hi[0] - s->lo[0]) * 0.5 * (node_at[rising[j]] + 1.0);
  return CASE_NODES;
}

/* Sums over the points, apart by their SoH node: sum[node][field]. */
static void gather (const case_plan *p, const case_year *y, int points,
                    const double b[CASE_DIMS][CASE_NODES], int first,
                    double sum[CASE_NODES][CASE_FIELDS]) {
  const case_space *s = &p->space;
  int n = p->fields;
  for (int i = 0; i < points; i++) {
    const double *v = &y->value[i * n];
    double w = 1.0, *to = sum[first > 0 ? s->node[i][0] : 0];
    for (int k = first; k < s->dims; k++)
      w *= b[k][s->node[i][k]];
    for (int f = 0; f < n; f++)
      to[f] += w * v[f];
  }
}

/* Energies are not negative; what is served and what is not make up the
** load, which the polynomials hold exactly, being in proportion to it. */
static void keep_laws (double *v, bool floor_terms, int n) {
  double asked = v[CASE_SERVED] + v[CASE_UNSERVED];
  v[CASE_SERVED] = fmin(fmax(v[CASE_SERVED], 0.0), fmax(asked, 0.0));
  v[CASE_UNSERVED] = fmax(asked, 0.0) - v[CASE_SERVED];
  for (int f = CASE_CURTAILED; f < (floor_terms ? n : CASE_TERMS); f++)
    v[f] = fmax(v[f], 0.0);
}

/* A node of the fields at one state of health. */
static void unpack (const case_plan *p, const double *v, case_node *out) {
  const double *b = v + CASE_TERMS;
  memset(out, 0, sizeof *out);
  out->year.served = v[CASE_SERVED];
  out->year.unserved = v[CASE_UNSERVED];
  out->year.curtailed = v[CASE_CURTAILED];
  out->year.charged = v[CASE_CHARGED];
  out->year.out = v[CASE_OUT];
  for (int k = 0; k < p->life->models; k++, b += AMP_AGEING_TERMS)
    memcpy(out->term[k], b, sizeof out->term[k]);
  out->year.brief = (amp_stress){.time = b[0],
                                 .temp = b[1],
                                 .soc = b[2],
                                 .v_mean = b[3],
                                 .v_rms = b[4],
                                 .fec = b[5],
                                 .fec_in = b[6],
                                 .efc = b[7],
                                 .c_rate = b[8],
                                 .dod = b[9]};
}

void case_space_pack (const case_plan *p, const case_node *n, double *v) {
  const amp_stress *s = &n->year.brief;
  const double brief[CASE_BRIEF] = {s->time,   s->temp, s->soc,    s->v_mean,
                                    s->v_rms,  s->fec,  s->fec_in, s->efc,
                                    s->c_rate, s->dod};
  double *b = v + CASE_TERMS;
  v[CASE_SERVED] = n->year.served;
  v[CASE_UNSERVED] = n->year.unserved;
  v[CASE_CURTAILED] = n->year.curtailed;
  v[CASE_CHARGED] = n->year.charged;
  v[CASE_OUT] = n->year.out;
  for (int k = 0; k < p->life->models; k++, b += AMP_AGEING_TERMS)
    memcpy(b, n->term[k], sizeof n->term[k]);
  memcpy(b, brief, sizeof brief);
}

/* Where a draw stands in the box, -1 .. 1 each way, cut to it. */
static double place_in (const case_space *s, int k, const case_state *x) {
  case_state own = *x;
  double v = *of_state(&own, s->is[k]);
  double t = 2.0 * (v - s->lo[k]) / (s->hi[k] - s->lo[k]) - 1.0;
  return fmin(fmax(t, -1.0), 1.0);
}

int case_space_points (const case_plan *p, int strings) {
  int level = p->level[strings];
  return level > 1 ? p->space.points : level > 0 ? p->space.few : 0;
}

int case_space_year (const case_plan *p, const case_state *x,
                     case_node out[CASE_NODES]) {
  const case_space *s = &p->space;
  const case_year *y = &p->years->year[x->strings];
  double sum[CASE_NODES][CASE_FIELDS], b[CASE_DIMS][CASE_NODES];
  double soh[CASE_NODES];
  int nodes = case_space_nodes(s, soh), first = nodes > 1, n = p->fields;
  int points = case_space_points(p, x->strings);
  memset(sum, 0, sizeof sum);
  for (int k = first; k < s->dims; k++) {
    double t = place_in(s, k, x);
    for (int j = 0; j < CASE_NODES; j++)
      b[k][j] = basis(j, t);
  }
  gather(p, y, points, (const double(*)[CASE_NODES])b, first, sum);
  for (int j = 0; j < nodes; j++) {
    double v[CASE_FIELDS] = {0};
    for (int m = 0; m < CASE_NODES; m++) {
      double w = nodes > 1 ? s->between[j][m] : m == 0;
      for (int f = 0; w != 0.0 && f < n; f++)
        v[f] += w * sum[m][f];
    }
    keep_laws(v, y->floor_terms, n);
    unpack(p, v, &out[j]);
    out[j].year.soh = soh[j];
  }
  return nodes;
}
