/*
** rainflow.h -- cycles in a history, counted by ASTM E1049-85 (2017) section
** 5.4.4 (three-point stack form). Works on a stream: points may arrive in
** pieces; the stack is carried over the cut. What is left at the end counts
** as half cycles.
*/
#ifndef AMP_RUN_RAINFLOW_H
#define AMP_RUN_RAINFLOW_H

#include "base/context.h"
#include "base/error.h"

typedef struct amp_cycle {
  double range; /* >= 0, unit of the history */
  double mean;
  double count; /* 0.5 or 1 */
} amp_cycle;

typedef void amp_cycle_sink (void *arg, const amp_cycle *cycle);

typedef struct amp_rainflow amp_rainflow; /* opaque: it grows */

/* Ranges not above 'least' (>= 0) are not reversals. Cycles go to 'sink'
** in the order in which they close. NULL: no memory. */
amp_rainflow *amp_rainflow_new (const amp_context *ctx, double least,
                                amp_cycle_sink *sink, void *arg);
void amp_rainflow_free (amp_rainflow *r);
/* n points, 'stride' doubles apart. A refused call (AMP_ENOMEM; AMP_ERANGE
** for NaN or infinite, place in err->line from 1) takes none of them. */
amp_status amp_rainflow_feed (amp_rainflow *r, const double *v, size_t n,
                              size_t stride, amp_error *err);
/* The last point is a reversal too; count the rest; ready to start anew.
** Needs no memory, cannot fail. */
amp_status amp_rainflow_end (amp_rainflow *r, amp_error *err);

/* All at once: cycle[] holds at least n entries; returns how many. None
** where a point is NaN or infinite. */
size_t amp_rainflow_count (const double *v, size_t n, amp_cycle *cycle);

#endif
