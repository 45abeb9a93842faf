/*
** fit_detail.h -- what the files of the detailed fit share: logs cut into
** stretches of one current, heat from the surface's temperature, and the
** model along the stretches. Not part of the interface.
*/
#ifndef AMP_CELL_FIT_DETAIL_H
#define AMP_CELL_FIT_DETAIL_H

#include "cell/fit_parts.h"

/* One stretch of (nearly) constant current. */
typedef struct amp_stretch {
  double dt, i;   /* s, A (mean) */
  double v, temp; /* V, K at its end; temp NaN: not logged */
  double v_mean;  /* V, mean over it as logged */
  double soc;     /* at its end, by the log's own charge */
  double sigma;   /* V, how far the model may be off; 0: not compared */
  bool of_mean;   /* compared with the mean, not the end */
  int block;      /* of the log: neighbours in it are off together */
} amp_stretch;

typedef struct amp_stretches {
  size_t n, compared;
  amp_stretch *at;
  double start;    /* K, of the cell at the first row */
  double ambient;  /* K */
  double warmest;  /* K, of the surface; NaN: not logged */
  double capacity; /* C */
  double soc;      /* at the first row */
} amp_stretches;

/* at[] is for amp_free with room * sizeof *at. */
amp_status amp_stretch_cut (const amp_context *ctx, const amp_test_log *log,
                            const amp_fit *fit, int k, double labelled,
                            amp_stretches *out, size_t *room,
                            amp_error *err);

/* Heat capacities, conductances and dU/dT into 'c' (soc, socs set) from the
** logs' temperatures; *found false: they say nothing, and nothing is set. */
amp_status amp_fit_heat (const amp_context *ctx, const amp_stretches *log,
                         int logs, double mass, amp_detailed *c, amp_fit *fit,
                         bool *found, amp_error *err);

#endif
