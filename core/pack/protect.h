/*
** protect.h -- the main circuit: the current it is built for, the fuse that
** asks for, the prospective short circuit as a range, and what is wrong with
** a fuse, a cable and a pack that are put together. Nothing here is a
** verdict that a circuit is fit: findings name what is wrong, and what could
** not be looked at. SI units. Model: docs/model/protect.md.
*/
#ifndef AMP_PACK_PROTECT_H
#define AMP_PACK_PROTECT_H

#include "base/error.h"
#include "pack/build.h"
#include "pack/trip.h"
#include <stdbool.h>

/* A of a load of 'power' W through an inverter at 'v' V: P / (eta V). */
amp_status amp_design_current (double power, double efficiency, double v,
                               double *out, amp_error *err);

/* 1.25 I of a load that stays on: common practice, no source. */
#define AMP_FUSE_FACTOR 1.25

/* The next standard rating at or above 'a' A (10 .. 600, NEC 240.6(A), from
** memory); NaN above them. */
double amp_fuse_next (double a);

/* ---- time against current ---- */

/*
** s until a fuse of this curve opens at 'current' A. AMP_EMISSING: no curve
** (NULL). Up to its first point whether it ever opens is not told:
** AMP_EREFUSED; above the last point that one's time is the most: *most.
*/
amp_status amp_fuse_time (const amp_trip *curve, double current,
                          double *time, bool *most, amp_error *err);

/* ---- prospective short circuit ---- */

enum { AMP_SHORT_STRINGS = 1000 };

typedef struct amp_short_spec {
  int strings;
  const double *r; /* ohm of each string by a pulse of 10 s; NaN: unknown */
  double v;        /* V of the full pack */
  double out;      /* ohm from the busbar to the fault; NaN: not given */
} amp_short_spec;

typedef struct amp_short {
  double bus;    /* A at the busbar, the strings' currents added */
  double low;    /* A at the fault with what lies between; NaN: not given */
  double high;   /* A: the first moment has less resistance than 10 s show */
  double string; /* A, the strongest string alone */
  double into;   /* A, the most that the others send into one of them */
  int known;     /* strings whose resistance is known */
  bool bound;    /* some are not: bus, low and into are at least that */
} amp_short;

/*
** AMP_EMISSING where no string's resistance is known. 'high' is twice 'bus':
** common practice, no source (1.5 .. 2); the cell of docs/model/cell.md shows
** 1.32 between the first sample and 10 s.
*/
amp_status amp_short_of (const amp_short_spec *s, amp_short *out,
                         amp_error *err);

/*
** The same of a pack as it is put together, with the joints and leads it was
** given; a module without a measured resistance leaves its string unknown.
** Parallel-first is one string of levels: nothing is told of strings, and a
** level with an unknown module counts what is known of it: a bound.
*/
amp_status amp_short_of_build (const amp_build *b, double v, double out,
                               amp_short *a, amp_error *err);

/*
** Stationary lead-acid after IEC 61660-1, from memory: 'nominal' V charged,
** 'r' ohm of the battery, 'out' ohm outside: peak and quasi-steady, A. Not
** written for lithium.
*/
void amp_short_lead_acid (double nominal, double r, double out, double *peak,
                          double *steady);

/* ---- a circuit looked at ---- */

typedef struct amp_circuit {
  double current;   /* A for ever; NaN each: not given */
  double surge;     /* A */
  double surge_time; /* s */
  double v_full;    /* V */
  double fuse;      /* A */
  double fuse_v;    /* V */
  double interrupt; /* A */
  bool alternating; /* its voltage is told for alternating current */
  bool polarised;   /* a breaker that minds the direction */
  const amp_trip *curve; /* NULL: not given */
  double ampacity;  /* A of the cable, corrected */
  double drop, drop_limit; /* 0..1 of the voltage */
  const amp_short *prospective; /* NULL: not known */
} amp_circuit;

enum { AMP_FINDINGS = 24 };

typedef struct amp_finding {
  const char *id; /* "fuse_above_cable": what is wrong */
  bool unknown;   /* could not be looked at: something was not given */
  double value, limit; /* what was compared with what, SI */
  amp_error say;  /* .text: a sentence without a full stop */
} amp_finding;

typedef struct amp_findings {
  int n;
  amp_finding row[AMP_FINDINGS + 1];
  int checked; /* comparisons that were made */
  int clear;   /* of them, those that do not stand out */
  struct {
    const char *id;
    double value, limit;
  } passed[AMP_FINDINGS];
} amp_findings;

/* Nothing given. */
amp_circuit amp_circuit_defaults (void);
amp_status amp_circuit_check (const amp_circuit *c, amp_error *err);

/*
** Compare all that is given; what is missing becomes a finding 'unknown'.
** Order: fuse, cable, voltage, short circuit, surge, touch.
*/
amp_status amp_circuit_look (const amp_circuit *c, amp_findings *out,
                             amp_error *err);

/* A row to fill: amp_failf(&row->say, AMP_OK, NULL, ..) gives the sentence.
** A full list keeps what it has, and the row that is given counts nowhere. */
amp_finding *amp_finding_add (amp_findings *f, const char *id, bool unknown,
                              double value, double limit);

#endif
