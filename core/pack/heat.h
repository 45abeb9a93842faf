/*
** heat.h -- what temperature does to a pack and the other way round: how much
** current it may carry, heat that comes and goes with charge, a coolant, a
** heater, and what it takes to bring a cold pack to charging temperature.
** Model: docs/model/heat.md.
*/
#ifndef AMP_PACK_HEAT_H
#define AMP_PACK_HEAT_H

#include "base/error.h"

enum { AMP_RATES_MAX = 16, AMP_ENTROPIC = 21 };

/* Largest current by temperature, as C-rate: 1C empties or fills in an hour.
** Straight between the points; outside them no current at all. */
typedef struct amp_rate_curve {
  int n; /* 0: no limit */
  double temp[AMP_RATES_MAX]; /* K, rising; two alike: a jump, the lower
                                 value holds there */
  double rate[AMP_RATES_MAX]; /* 1/h */
} amp_rate_curve;

typedef struct amp_rates {
  const char *name, *source; /* NULL: the user's own */
  amp_rate_curve charge, discharge;
} amp_rates;

/* "lfp_prismatic", "lfp_small", "lithium": else NULL. The i-th name. */
const amp_rates *amp_rates_find (const char *name);
const char *amp_rates_name (int i);
amp_status amp_rates_check (const amp_rates *r, amp_error *err);
double amp_rate_at (const amp_rate_curve *c, double temp); /* 1/h */

/* dU/dT of one group at 0, 5 .. 100 % SoC, V/K; NULL where there is no table
** for this chemistry's name. 'source' (or NULL) is told where it was read. */
const double *amp_entropic_find (const char *chemistry, const char **source);
double amp_entropic_at (const double *table, double soc); /* V/K */

/*
** Coolant past one body: W/K between body and inlet, from the flow's heat
** capacity rate w = kg/s times J/(kg K) and the conductance of the wall, ua:
** w (1 - exp(-ua / w)). Never above either.
*/
double amp_coolant_conductance (double w, double ua);

/* A heater in the pack. It goes on where the coldest leaf falls below 'on'
** and off where that reaches 'off'. */
typedef struct amp_heater {
  double power;    /* W; 0: none */
  double on, off;  /* K, on < off */
  int from_pack;   /* 1: at the battery's terminals; 0: fed from outside */
} amp_heater;

amp_status amp_heater_check (const amp_heater *h, amp_error *err);

/* A body of 'heat' J/K, losing 'cooling' W/K to 'ambient', heated with
** 'power' W from 'from' to 'to' K. */
typedef struct amp_warming {
  double time;   /* s */
  double energy; /* J the heater takes */
  double stored; /* J of it that stay in the body */
  double lost;   /* J that went to the surroundings meanwhile */
  double hold;   /* W to hold 'to' afterwards */
  double end;    /* K it would reach in the end; infinite without cooling */
} amp_warming;

/* AMP_EREFUSED, with the temperature that is reached, where 'to' never is. */
amp_status amp_warm (double heat, double cooling, double ambient,
                     double power, double from, double to, amp_warming *out,
                     amp_error *err);

#endif
