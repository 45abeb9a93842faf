/*
** precharge.h -- filling a capacitor through a resistor before the contactor
** closes, what a load that was left on does to that, emptying it again; the
** isolation of a pack by two voltmeter readings; hours of balancing. SI.
** Model: docs/model/protect.md.
*/
#ifndef AMP_PACK_PRECHARGE_H
#define AMP_PACK_PRECHARGE_H

#include "base/error.h"
#include <stdbool.h>

typedef struct amp_precharge {
  double v;       /* V of the battery */
  double c;       /* F, all that hangs on the bus */
  double current; /* A, first; one of current, r and time is given, */
  double r;       /* ohm                     the others are NaN */
  double fill_time; /* s until 'done' of v is there */
  double done;    /* 0..1 that counts as done; NaN: five time constants */
  double load;    /* ohm left on the bus; NaN: none */
  double loop;    /* ohm of battery, leads and capacitor; NaN: not given */
  double bleed;   /* ohm across the capacitor when off; NaN: none */
  double bleed_to; /* V to which it must fall */
} amp_precharge;

typedef struct amp_precharge_answer {
  double r, tau, current, peak; /* ohm, s, A, W at the first moment */
  double energy;  /* J in the resistor, as much as in the capacitor */
  double time;    /* s until done */
  double t95, t99, t_within_1v; /* s */
  double v_end;   /* V that the bus comes to: v without a load */
  bool completes; /* 'done' of v is reached */
  double standing; /* W that stay in the resistor under the load */
  double left;    /* V across the contactor when done, or for ever */
  double closing; /* A of that over the loop; NaN: no loop was given */
  double bare;    /* A without any pre-charge; NaN: no loop was given */
  double bleed_time, bleed_power; /* s, W; NaN: no bleed was given */
} amp_precharge_answer;

/* Nothing given. */
amp_precharge amp_precharge_defaults (void);
amp_status amp_precharge_answer_of (const amp_precharge *p,
                                    amp_precharge_answer *out,
                                    amp_error *err);

/* Bus voltage, current and energy so far in the resistor, 't' s after the
** start, without a load. */
void amp_precharge_at (double v, double r, double c, double t, double *v_bus,
                       double *current, double *energy);

/*
** Isolation of a pack of 'vb' V by two readings of a voltmeter to the frame:
** 'v1' the larger of both sides, 'v1_loaded' the same side again with 'ro'
** ohm across it. Ri = Ro Vb (1/V1' - 1/V1), ohm; *per_v ohm a volt. AMP_EDATA
** where the readings contradict each other.
*/
amp_status amp_isolation (double vb, double v1, double v1_loaded, double ro,
                          double *ri, double *per_v, amp_error *err);

/* 100 ohm a volt is asked for direct current alone: from memory, after
** consautoregs.com (UN regulation 100). */
#define AMP_ISOLATION_PER_V 100.0

/* s to move 'charge' C at 'current' A during 'share' 0..1 of the time. */
amp_status amp_balance_time (double charge, double current, double share,
                             double *time, amp_error *err);

#endif
