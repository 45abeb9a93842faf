/*
** bench.h -- the numbers of the page that a builder takes to the bench: how
** far each module stands from the others in charge and what brings it level,
** what a meter should show at each terminal, string and busbar, in which
** order things are joined and with what first current, how many joints,
** links, leads and bars that makes. Nothing here judges: cautions are
** raised elsewhere (job/caution.h). Model: docs/model/bench.md.
*/
#ifndef AMP_JOB_BENCH_H
#define AMP_JOB_BENCH_H

#include "pack/build.h"
#include "pack/join.h"

/* Modules closer than this in charge are called level: our own choice; a
** meter of 10 mV a module tells about 1 % on a sloped curve. */
#define AMP_BENCH_LEVEL 0.02

typedef struct amp_bench_module {
  double rest;  /* V as read; NaN: not read */
  double soc;   /* 0..1 by that; NaN: not told */
  double add;   /* C to put in (below 0: to take out) to stand level with the
                   others, 0: near enough; NaN: not told */
  double level; /* V expected once that is done; NaN: not told */
  double full, empty; /* V at the ends of the window */
} amp_bench_module;

/* A string; parallel-first: a level, whose modules share one voltage. */
typedef struct amp_bench_row {
  int first, modules; /* of the list of modules */
  double rest, level; /* V, NaN where a module was not read; of a level the
                         mean of its modules */
  double full, empty; /* V */
} amp_bench_row;

/* One joining of strings to the bus, or of modules to the bars of a level. */
typedef struct amp_bench_step {
  int row;        /* parallel-first: the level; else 0 */
  int which;      /* row; parallel-first: module of the list */
  double current; /* A at first once level; the first of a row: 0 */
  double v;       /* V of the bank once at rest */
} amp_bench_step;

enum { AMP_BENCH_ROWS = AMP_JOIN_STRINGS };

typedef struct amp_bench {
  int modules;      /* in all */
  int listed;       /* that stand in module[]: 0 where there are too many */
  amp_bench_module module[AMP_BUILD_MODULES];
  int rows;         /* strings or levels in all */
  int rows_listed;  /* that stand in row[] */
  amp_bench_row row[AMP_BUILD_MODULES];
  int steps;        /* 0: not told, for want of readings */
  amp_bench_step step[AMP_BUILD_MODULES];
  bool bound;       /* currents are bounds: a resistance is missing */
  bool exact;       /* no other order has a smaller largest current */
  double bare;      /* A, largest first current as read, not level; NaN */
  double worst;     /* A, the same once level; NaN */
  double joined;    /* V of the pack once all is joined and at rest; NaN */
  double soc;       /* 0..1 to which all are brought; NaN: not told */
  bool flat;        /* rest voltages tell no charge here */
  int unread;       /* modules without a rest voltage */
  double full, empty; /* V of the pack */
  double charge;      /* V of it while charging: amp_window.v_charge */
  int groups;       /* in series */
  int terminals;    /* joints on modules: two each */
  int links;        /* between modules in series, or between levels */
  int leads;        /* from strings (parallel-first: modules) to bars */
  int bars;
  int managers;     /* battery management boards that the shape asks for */
} amp_bench;

/*
** 'rest' holds a rest voltage for each module in the order of the build, or
** NaN; NULL: none was read. Charge by tested (else nameplate) capacity.
** AMP_ERANGE names "rest". 'out' is large: not for a small stack.
*/
amp_status amp_bench_of (const amp_build *b, const amp_window *w,
                         const double *rest, amp_bench *out, amp_error *err);

#endif
