/*
** sim_tables.c -- the chemistry's curves as rows that the lanes look up
** (lanes.h), made once for all leaves that share one.
*/
#include "run/sim_parts.h"
#include <stdint.h>
#include <string.h>

/* From a cache line's start: a vector or a table's row lies in one line. */
double *sim_at_line (double *p) {
  return p + (64 - (uintptr_t)p % 64) % 64 / sizeof *p;
}

/* The chemistry's curve, row by row: where a row lies within one piece of
** the curve it is the same cubic. */
static void table_fill (double *row, const amp_group *g) {
  const amp_chemistry *chem = g->chemistry;
  const amp_cell *cell = &g->cell;
  const double *entropic = g->entropic;
  double sum = 0.0;
  for (int i = 0; i <= AMP_ROWS; i++, row += AMP_ROW) {
    int k = i < AMP_ROWS ? i : AMP_ROWS - 1;
    double h = 1.0 / AMP_ROWS, x0 = k * h, x1 = (k + 1) * h;
    double y0 = amp_curve_at(&chem->ocv, x0);
    double y1 = amp_curve_at(&chem->ocv, x1), d = y1 - y0;
    bool linear = chem->ocv.kind == AMP_INTERP_LINEAR;
    double m0 = linear ? d : h * amp_curve_slope(&chem->ocv, x0);
    double m1 = linear ? d : h * amp_curve_slope(&chem->ocv, x1);
    double c2 = 3.0 * d - 2.0 * m0 - m1, c3 = m0 + m1 - 2.0 * d;
    row[ROW_C0] = y0;
    row[ROW_C1] = m0;
    row[ROW_C2] = c2;
    row[ROW_C3] = c3;
    row[ROW_R] = amp_cell_shape(cell, x0);
    row[ROW_DR] = amp_cell_shape(cell, x1) - row[ROW_R];
    row[ROW_F] = i < AMP_ROWS ? sum : row[ROW_F - AMP_ROW];
    row[ROW_SPARE] = entropic ? amp_entropic_at(entropic, i * h) : 0.0;
    sum += y0 + m0 / 2.0 + c2 / 3.0 + c3 / 4.0;
  }
}

static bool same_table (const amp_group *a, const amp_group *b) {
  const amp_curve *x = &a->chemistry->ocv, *y = &b->chemistry->ocv;
  if (memcmp(a->cell.r0_shape, b->cell.r0_shape, sizeof a->cell.r0_shape))
    return false;
  if (a->entropic != b->entropic)
    return false;
  if (a->chemistry == b->chemistry)
    return true;
  return x->n == y->n && x->kind == y->kind &&
         !memcmp(x->x, y->x, (size_t)x->n * sizeof *x->x) &&
         !memcmp(x->y, y->y, (size_t)x->n * sizeof *x->y);
}

/* Give every leaf its table; leaves that share curve and shape share it. */
amp_status sim_tables_make (sim_batch *w, size_t n) {
  size_t room = 0, k = 0;
  const amp_group **owner;
  owner = amp_alloc(w->ctx, w->all_leaves * sizeof *owner);
  if (!owner)
    return AMP_ENOMEM;
  for (size_t i = 0; i < n; i++)
    for (int j = 0; j < w->cases[i].pack->leaves; j++, k++) {
      const amp_group *g = &w->cases[i].pack->leaf[j];
      size_t t = 0;
      while (t < room && !same_table(owner[t], g))
        t++;
      if (t == room)
        owner[room++] = g;
      w->table_of[k] = (int)t * (AMP_ROWS + 1);
    }
  w->table_size = (room * (AMP_ROWS + 1) + 1) * AMP_ROW * sizeof(double);
  w->table = amp_alloc(w->ctx, w->table_size);
  for (size_t t = 0; w->table && t < room; t++)
    table_fill(sim_at_line(w->table) + t * (AMP_ROWS + 1) * AMP_ROW,
               owner[t]);
  w->tables = room;
  amp_free(w->ctx, owner, w->all_leaves * sizeof *owner);
  return w->table ? AMP_OK : AMP_ENOMEM;
}
