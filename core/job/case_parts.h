/*
** case_parts.h -- what the files of a case share: the plan of one case, its
** draws, and the simulated years they refer to. Private to core/job.
**   case_draw.c   what is bought, in which layout, and the draws of it
**   case_run.c    the distinct years behind the draws, as lanes
**   case_money.c  each draw's life and money, and their quantiles
**   case_worst.c  the worst month of a need
**   case_answer.c the answer of a case that is refused
**   case.c        all of it for a list, and what turns the order
*/
#ifndef AMP_JOB_CASE_PARTS_H
#define AMP_JOB_CASE_PARTS_H

#include "job/case.h"
#include "life/project.h"

enum { CASE_NODES = 5 }; /* states of health simulated, <= AMP_LIFE_NODES */

#define CASE_YEAR 31536000.0 /* s, 365 days */
#define CASE_KWH 3.6e6       /* J */
#define CASE_NO_KEY ((size_t)-1)

/* One draw of everything that is spread. */
typedef struct case_draw {
  int strings;             /* accepted modules in whole strings */
  double dud;              /* 0..1, chance of a dud */
  double capacity;         /* C, nameplate of a module */
  double tested;           /* C, a module */
  double soh;              /* tested / capacity */
  double load, sun, shift; /* factors and K, of the duty */
  size_t key; /* the year behind it; CASE_NO_KEY: no string at all */
} case_draw;

/* A distinct year: so many strings under such a duty. */
typedef struct case_key {
  int strings;
  double load, sun, shift;
} case_key;

/* That year at one state of health; per model what ages. */
typedef struct case_node {
  amp_life_node year; /* term and outside unused; SoH of the middle
                         nameplate; brief.efc counts nameplate energy */
  double unserved, curtailed;
  double term[AMP_CASE_MODELS][AMP_AGEING_TERMS];
  unsigned outside[AMP_CASE_MODELS];
} case_node;

typedef struct case_plan {
  const amp_case *c;
  size_t place; /* of the case in its list */
  amp_case_result *r;
  amp_module module; /* with the case's own window */
  const amp_life_choice *life;
  double soh_end, horizon; /* NaN: none */
  double share;            /* usable, by charge */
  double v_nominal;        /* V of a module */
  int series, count;       /* modules in a string; bought */
  amp_basis basis_each, basis_dud, basis_usable, basis_run;
  size_t draws, keys;
  int nodes;
  double node_soh[CASE_NODES];
  case_draw *draw; /* [draws] */
  case_key *key;   /* [draws], 'keys' in use */
  case_node *node; /* [keys * nodes] */
  size_t node_bytes;
} case_plan;

/* Refuse this case, keep the reason; returns the status. */
amp_status case_refuse (case_plan *p, const amp_error *why);

/* A number that is not given; those of life and use; all of the result. */
amp_stat case_no_stat (void);
void case_no_life_stats (amp_case_result *r);
void case_no_stats (amp_case_result *r);

/* Fill the plan and the result's fixed part. AMP_ENOMEM or AMP_OK; a case
** that is refused says so in r->status. */
amp_status case_plan_make (const amp_context *ctx, const amp_case *cases,
                           size_t place, const amp_ask *ask,
                           amp_case_result *result, case_plan *p,
                           amp_error *err);
void case_plan_free (const amp_context *ctx, case_plan *p);

/* Simulate the years of all plans; those on one duty together. */
amp_status case_run (const amp_context *ctx, case_plan *plan, size_t n,
                     amp_error *err);

/* Life, money and quantiles; levelised[draws] keeps each draw's cost for
** the comparison (NaN: none). */
amp_status case_money (const amp_context *ctx, case_plan *p,
                       const amp_ask *ask, double *levelised, amp_error *err);

/* The worst of the duty's months at these factors of load and sun. */
amp_worst_month case_worst_month (const amp_need *need,
                                  const amp_duty_month month[12], double load,
                                  double sun);

#endif
