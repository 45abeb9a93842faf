/*
** check.h -- a build looked at as a whole: the pack, its inverter, its main
** circuit, the place where it stands and what it has to do, held against the
** cautions of job/caution.h. What stands out, what was looked at and does
** not, and what could not be looked at, for want of what. It calculates
** nothing of its own where another header does. Nothing here is a verdict
** that a build is fit. SI units; a row also tells in which unit people read
** it. Model: docs/model/check.md.
*/
#ifndef AMP_JOB_CHECK_H
#define AMP_JOB_CHECK_H

#include "job/case.h"
#include "job/caution.h"
#include "pack/build.h"
#include "pack/judge.h"
#include "pack/link.h"
#include "pack/place.h"
#include "pack/precharge.h"
#include "pack/protect.h"
#include <stdbool.h>

typedef enum amp_look {
  AMP_LOOK_RAISED,  /* stands out */
  AMP_LOOK_UNKNOWN, /* could not be looked at */
  AMP_LOOK_CLEAR    /* looked at, does not stand out */
} amp_look;

/* People's unit: SI times 'factor' plus 'shift'. */
typedef struct amp_told {
  const char *unit;
  double factor, shift;
} amp_told;

typedef struct amp_check_row {
  const amp_caution *caution; /* its source, and who decides */
  const char *id;
  const char *end; /* "full", "lower": where one name is compared at several
                      ends, which this is; else "" */
  amp_look look;
  amp_weight weight;    /* what decides first */
  const amp_told *told; /* of value and limit */
  double value, limit;  /* what was compared with what; NaN: nothing to tell */
  amp_basis basis;      /* what the worse of them rests on */
  amp_error say;        /* .text: a sentence without a full stop */
} amp_check_row;

/* What is known of the modules' origin: a pack from a plan knows its lot. */
typedef struct amp_origin {
  int known;              /* modules whose reading is known; 0: typed */
  int accepted;           /* of them */
  char worst[AMP_READING_ID]; /* one that was not, and its verdict */
  amp_verdict verdict;
  double soc_low, soc_high; /* 0..1 among them; NaN: not told */
} amp_origin;

/* What a BMS is set to; NaN: not told. */
typedef struct amp_bms {
  double v_min, v_max;      /* V of a group at which it opens */
  double discharge, charge; /* A that it lets through */
  double charge_from;       /* K below which it stops charging */
  bool each;                /* every string has its own */
} amp_bms;

amp_bms amp_bms_defaults (void);
amp_status amp_bms_check (const amp_bms *b, amp_error *err);

typedef struct amp_check {
  const amp_build *build;
  const amp_module *mean; /* of unequal modules their mean */
  amp_window window;      /* of the pack at rest, without an inverter */
  int series, strings;    /* modules in a string, strings */
  double usable;          /* J by charge, inside that window */
  amp_basis usable_basis;
  /* what follows may be NULL: not given */
  const amp_need *need;   /* with its duty and converter */
  const amp_converter *converter;
  double v_abs_max, surge, capacitance; /* of it; 0: not given */
  const amp_findings *circuit;
  const amp_circuit *parts; /* of that */
  bool fuse, cable;         /* were given */
  const amp_precharge *precharge;
  const amp_precharge_answer *filled;
  const amp_link_answer *link; /* behind every cell */
  const amp_site *site;
  const amp_bms *bms;
  const amp_origin *origin;
  double unserved; /* J a year of a run with this duty; NaN: none was made */
} amp_check;

/* What the comparisons worked out on their way; NaN: not told. */
typedef struct amp_check_facts {
  double v_full, v_empty;   /* V; full while charging */
  double v_load, v_surge;   /* V left at the empty end under full load, in a
                               surge, at 25 C or at the place's coldest */
  double usable;            /* J, inside the inverter's window too */
  double current, surge;    /* A */
  double bus;               /* A, short circuit */
  double share;             /* largest share over an even one */
  double mass, pressure, area_least, lowest; /* kg, Pa, m2, kg */
  double heat, rise, cells; /* W, K, K */
  double warm, warm_to;     /* J, K */
  double charge_from, charge_to; /* K */
  double closed, idle, idle_on;  /* s; until empty, inverter off and on */
  double need, supply, empties;  /* J a day, s of the worst month */
  int month;                /* from 0; -1: none */
} amp_check_facts;

enum { AMP_CHECK_ROWS = 80 };

typedef struct amp_checked {
  int n;
  amp_check_row row[AMP_CHECK_ROWS + 1]; /* raised, unknown, clear; of the
                      raised what decides first: safety, doubt, economy */
  int count[3];       /* by amp_look */
  amp_check_facts facts;
} amp_checked;

/* Every comparison that the data allows. AMP_ERANGE, AMP_EDATA only where
** the description itself makes no sense. */
amp_status amp_check_look (const amp_check *c, amp_checked *out,
                           amp_error *err);

#endif
