/*
** profile.h -- a duty: what the pack must do, hour by hour, over one year.
** AC load through the inverter, DC load at the battery, sun (or any supply)
** at the battery, and the temperature where it stands. Means over equal
** steps; a year has 8,760 h (a 29 February is dropped). Watts and kelvin.
** Everything drawn is > 0. Or a test: current or power asked at the
** terminals, over steps of any length.
*/
#ifndef AMP_RUN_PROFILE_H
#define AMP_RUN_PROFILE_H

#include "base/context.h"
#include "base/error.h"
#include "base/log.h"
#include "base/value.h"
#include <stdbool.h>

enum { AMP_DUTY_NOTE = 240 };

/*
** A phase of a test: what is asked until it ends. It ends at the latest after
** 'time'; or when the voltage at the terminals or the state of charge (mean
** by charge) has come to what is named here; or at a limit of the pack. With
** a 'taper' a voltage limit doesn't end it: the voltage is held until the
** current has fallen to the taper. From its end the current is 0 until the
** phase's time is over, so that many cases go through a test together.
*/
typedef struct amp_phase {
  bool power;       /* 'ask' is W at the terminals, else A */
  double ask;       /* > 0 discharges, 0 rests, < 0 charges */
  double time;      /* s, most */
  double until_v;   /* V at the terminals; NaN: none */
  double taper;     /* A, > 0; 0: none */
  double until_soc; /* 0..1; NaN: none */
  size_t last;      /* of a duty: step after its last */
} amp_phase;

typedef struct amp_duty {
  size_t n;        /* steps */
  double dt;       /* s per step; n dt = 365 days for a year; where 'edge'
                      is given the mean, so that n dt is the whole time */
  double *ac;      /* W, AC load */
  double *dc;      /* W, DC load at the battery */
  double *pv;      /* W, supply offered at the battery */
  double *temp;    /* K */
  unsigned char *on; /* 1: inverter on (idle draw), 0: closed season */
  double *amps;    /* A asked at the battery's terminals, > 0 discharges; ac,
                      dc, pv and the inverter then play no part. NaN in a
                      step: that step asks power, as above. NULL: no step
                      asks current */
  double *edge;    /* s, n + 1 ends of steps, strictly rising; NULL: n equal
                      steps of dt */
  amp_phase *phase; /* of a test, in order, up to step n; NULL: none */
  size_t phases;
  size_t month_end[12]; /* step after the last of each month; a duty of less
                           than a year starts late (earlier months are 0)
                           and ends early (later months equal n) */
  double charge_efficiency; /* 0..1, share of charging energy that arrives */
  bool supply_free; /* supply as large as needed: curtailed means nothing */
  /* Spreads as factors about 1 (load, sun) and a shift in K, for draws */
  amp_value load_factor, sun_factor, temp_shift;
  amp_basis basis; /* worst of what it was made from */
  char note[AMP_DUTY_NOTE]; /* what was dropped or repeated, or "" */
} amp_duty;

/* What a month asks for, from the arrays; per day of an active day. */
typedef struct amp_duty_month {
  double days;           /* days on which anything runs */
  double ac, dc, pv;     /* J over the month */
  double on_time;        /* s with the inverter on */
  double temp;           /* K, mean over the month */
} amp_duty_month;

void amp_duty_months (const amp_duty *d, amp_duty_month out[12]);
void amp_duty_free (const amp_context *ctx, amp_duty *d);

/* s from the start of the duty to the start of step i (n: to its end). */
double amp_duty_start (const amp_duty *d, size_t i);

/* s that step i lasts. */
double amp_duty_length (const amp_duty *d, size_t i);

/* W of each step, the load that counts: ac, or dc where no step asks AC. */
const double *amp_duty_load (const amp_duty *d);

/* A day that repeats: see docs/reference/objects.md for each field. */
typedef struct amp_daily {
  double load[24];      /* W AC, hour by hour */
  amp_value load_kwh;   /* J AC a day, flat; set: load[] is not used */
  double dc_load;       /* W */
  amp_value from_battery; /* J AC a day out of the battery, recharged from a
                             free supply from 11 to 13 h; overrides load and
                             sun */
  bool month[12];       /* active months */
  double days_per_year; /* 0: every day of the active months; else that many,
                           spread evenly over them */
  amp_value solar_peak; /* kWp as W; 0 or unset: none */
  amp_value performance; /* 0..1, PV performance ratio */
  double sun[12];       /* h a day of full sun, by month */
  amp_value sun_one;    /* set: one figure for all months, sun[] unused */
  double charge_efficiency; /* 0..1 */
  double temp[12];      /* K by month */
  amp_value temp_one;   /* K; set: one figure, temp[] unused */
} amp_daily;

/*
** One year of hours. A day's sun is a half sine from 6 to 18 h whose energy
** is solar_peak * performance * sun hours; hour means are exact integrals.
*/
amp_status amp_duty_daily (const amp_context *ctx, const amp_daily *d,
                           amp_duty *out, amp_error *err);

/*
** A series read from a file: column of values against time. Times in s,
** strictly rising in equal steps; whole local days are kept, part days at
** the ends are dropped and said in out->note; 29 February of a year of 366
** days that starts on 1 January too. Fewer than 365 days: kept as they are.
** The values go to the arrays that are not NULL.
*/
typedef struct amp_series {
  size_t n;
  const double *time;  /* s from any start: only differences count. A row is
                          the mean over the step that begins at its time */
  double first;        /* s after midnight of the first row */
  int first_day_of_year; /* 0: 1 January; -1: not known, taken as 0 */
  bool leap;           /* the year has a 29 February */
  const double *ac, *dc, *pv, *temp; /* any may be NULL */
  amp_basis basis; /* what the rows rest on; NONE: assumed */
} amp_series;

amp_status amp_duty_series (const amp_context *ctx, const amp_series *s,
                            amp_duty *out, amp_error *err);

/*
** Load of one duty, sun of another (scaled by 'pv_factor', e.g. kWp of an
** array given per kWp), temperature of a third or NULL; resampled to the
** finest step among them by repeating means. Lengths must be equal in days.
*/
amp_status amp_duty_net (const amp_context *ctx, const amp_duty *load,
                         const amp_duty *pv, double pv_factor,
                         const amp_duty *temp, amp_duty *out,
                         amp_error *err);

/*
** A test at the terminals: n steps between n + 1 edges (s, strictly rising,
** at most 1e7 s a step), 'amps' (A) or 'watts' (W), one of the two, > 0
** discharges, held over each step; 'temp' (K) around the battery or NULL: 25
** C, assumed. All of it stands in the first month: a test has no calendar.
*/
amp_status amp_duty_test (const amp_context *ctx, size_t n,
                          const double *edge, const double *amps,
                          const double *watts, const double *temp,
                          amp_duty *out, amp_error *err);

/*
** The current of a logged test (its power where it has no current) as a
** duty of n - 1 steps: row k's value is the mean over the interval that ends
** there. 'temp': K of the surroundings; NaN: the log's temperature at its
** first row, which a rested cell shares with its surroundings (none: 25 C,
** assumed). The duty's note says which.
*/
amp_status amp_duty_log (const amp_context *ctx, const amp_test_log *log,
                         double temp, amp_duty *out, amp_error *err);

/*
** A test of phases, the list run through 'times' times. Each phase is cut
** into equal steps of at most 'dt' s (0: 60). 'temp' as above, NaN: 25 C,
** assumed. A refusal names the phase in err->line (from 1).
*/
amp_status amp_duty_phases (const amp_context *ctx, const amp_phase *phase,
                            size_t n, size_t times, double dt, double temp,
                            amp_duty *out, amp_error *err);

#endif
