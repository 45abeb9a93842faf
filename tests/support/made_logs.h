/*
** made_logs.h -- logs of a cell that is known: what a tester would write
** down, with the faults a test asks for.
*/
#ifndef AMP_TESTS_MADE_LOGS_H
#define AMP_TESTS_MADE_LOGS_H

#include "base/log.h"
#include "cell/cell.h"
#include <math.h>
#include <stdlib.h>

typedef struct maker {
  const amp_cell *cell;
  const amp_chemistry *chem;
  amp_cell_state st;
  double t;
  double offset; /* A, added to the current that is written down */
  double noise;  /* V, largest, evenly spread, of the voltage written down */
  double leads;  /* ohm, seen by the voltage */
  double wander; /* V, standard deviation of an error of the voltage that
                    forgets itself within 'memory' s */
  double memory;
  double wandered, wandered_at; /* where it stands: V, s */
  unsigned seed;
  size_t n, room;
  double *time, *column[AMP_LOG_COLUMNS];
} maker;

/* 0 < u < 1. */
static double maker_random (maker *m) {
  m->seed = m->seed * 1664525u + 1013904223u; /* any will do */
  return ((m->seed >> 8) + 0.5) / 16777216.0;
}

/* The error that wanders, at m->t: a stationary Gauss-Markov process, the
** normal number the sum of twelve even ones. */
static double maker_wander (maker *m) {
  double keep = exp(-(m->t - m->wandered_at) / m->memory), normal = -6.0;
  for (int k = 0; k < 12; k++)
    normal += maker_random(m);
  m->wandered = keep * m->wandered + sqrt(1.0 - keep * keep) * normal;
  m->wandered_at = m->t;
  return m->wander * m->wandered;
}

static void maker_row (maker *m, double i) {
  double v = amp_chemistry_ocv(m->chem, m->st.soc) -
             i * (amp_cell_r0(m->cell, m->st.soc, m->st.temp) + m->leads) -
             m->st.v1 - m->st.v2;
  if (m->n == m->room) {
    m->room = m->room * 2 + 1000;
    m->time = realloc(m->time, m->room * sizeof(double));
    for (int c = 0; c <= AMP_LOG_TEMP; c++)
      m->column[c] = realloc(m->column[c], m->room * sizeof(double));
  }
  m->seed = m->seed * 1664525u + 1013904223u; /* any will do */
  if (m->wander > 0.0)
    v += maker_wander(m);
  m->time[m->n] = m->t;
  m->column[AMP_LOG_CURRENT][m->n] = i + m->offset;
  m->column[AMP_LOG_VOLTAGE][m->n] =
      v + m->noise * ((double)(m->seed >> 8) / 8388608.0 - 1.0);
  m->column[AMP_LOG_TEMP][m->n++] = m->st.temp;
}

static maker make_log (const amp_cell *cell, const amp_chemistry *chem,
                       double soc, double temp) {
  maker m = {.cell = cell, .chem = chem, .seed = 1};
  m.st = (amp_cell_state){soc, 0.0, 0.0, temp};
  maker_row(&m, 0.0);
  return m;
}

static double maker_volt (const maker *m, double i) {
  return amp_chemistry_ocv(m->chem, m->st.soc) -
         i * amp_cell_r0(m->cell, m->st.soc, m->st.temp) - m->st.v1 -
         m->st.v2;
}

/*
** Current i for 'duration' s: rows each second for 30 s, then in steps that
** grow to 'widest' s. Ends early (false) where the cell would pass
** 0..1 SoC, or its voltage v_min or v_max.
*/
static bool maker_run (maker *m, double i, double duration, double widest) {
  double done = 0.0;
  while (done < duration - 1e-9) {
    double dt = done < 29.5 ? 1.0 : done < 299.5 ? 10.0 : widest;
    if (dt > duration - done)
      dt = duration - done;
    if (amp_cell_step(m->cell, m->chem, &m->st, i, dt, NULL, NULL) != AMP_OK)
      return false;
    done += dt;
    m->t += dt;
    maker_row(m, i);
    if ((i > 0 && maker_volt(m, i) <= m->chem->v_min) ||
        (i < 0 && maker_volt(m, i) >= m->chem->v_max))
      return false;
  }
  return true;
}

/* Pulses of 1C, and from 80 % down of charge, at each tenth down to empty,
** an hour's rest between. */
static void maker_pulses (maker *m) {
  double c = m->cell->capacity / 3600.0;
  bool on = maker_run(m, 0, 600, 60);
  for (int level = 0; level < 10 && on; level++) {
    on = maker_run(m, c, 10, 10) && maker_run(m, 0, 1200, 60);
    if (level > 1)
      on = on && maker_run(m, -0.75 * c, 10, 10) && maker_run(m, 0, 1200, 60);
    on = on && maker_run(m, 0.5 * c, 720 - 5, 60);
    maker_run(m, 0, 3600, 60);
  }
}

/* The log of it; false: out of memory. What was made is given back. */
static bool maker_done (maker *m, amp_test_log *out) {
  bool good = amp_log_make(NULL, m->n, m->time,
                           (const double *const *)m->column, 0, out,
                           NULL) == AMP_OK;
  free(m->time);
  for (int c = 0; c < AMP_LOG_COLUMNS; c++)
    free(m->column[c]);
  return good;
}

#endif
