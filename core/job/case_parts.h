/*
** case_parts.h -- what the files of a case share: the plan of one case, its
** draws, and the simulated years they refer to. Private to core/job.
**   case_draw.c   what is bought, in which layout, and the draws of it
**   case_space.c  the years behind the draws, put together from a few
**   case_run.c    those few, as lanes
**   case_money.c  each draw's life and money, and their quantiles
**   case_twins.c  which draws come to the same
**   case_alone.c  what the supply serves with no battery
**   case_stat.c   those quantiles, and a need's own numbers
**   case_worst.c  the worst month of a need
**   case_answer.c the answer of a case that is refused
**   case_levers.c which input moves the order, and where it flips
**   case.c        all of it for a list, and the price that flips it
*/
#ifndef AMP_JOB_CASE_PARTS_H
#define AMP_JOB_CASE_PARTS_H

#include "job/case.h"
#include "life/project.h"

/* States of health handed to a life, <= AMP_LIFE_NODES; directions of the
** box in which years are simulated, and the most points of its grid:
** 2 d^2 + 2 d + 1 of d directions. */
enum { CASE_NODES = 5, CASE_DIMS = 5, CASE_POINTS = 61 };

/* Draws simulated in full, at so many states of health each, to know the
** error of years put together. */
enum { CASE_CHECKS = 3, CASE_CHECK_NODES = AMP_LIFE_NODES };

#define CASE_YEAR 31536000.0 /* s, 365 days */
#define CASE_KWH 3.6e6       /* J */

/* An infinite cost (no string, no energy) as a number that can be
** interpolated; what comes out above CASE_HUGE / 1e50 is infinite again. */
#define CASE_HUGE 1e250

/* One draw of everything that is spread. */
typedef struct case_draw {
  int strings;      /* accepted modules in whole strings */
  double dud;       /* 0..1, chance of a dud */
  double capacity;  /* C, nameplate of a module */
  double tested;    /* C, a module */
  double soh;       /* tested / capacity */
  double r;         /* ohm of a module; 1 where it is not spread */
  double load, sun, shift; /* factors and K, of the duty */
} case_draw;

/* What a year depends on. */
typedef struct case_state {
  int strings;
  double soh; /* of the middle nameplate */
  double r, load, sun, shift;
} case_state;

typedef enum case_direction {
  CASE_SOH,
  CASE_R,
  CASE_LOAD,
  CASE_SUN,
  CASE_SHIFT
} case_direction;

/* The box that the spread ones span, and the points of its grid: the first
** 'few' are a coarser grid of their own. SoH comes first where it is one. */
typedef struct case_space {
  int dims, points, few;
  case_direction is[CASE_DIMS];
  double lo[CASE_DIMS], hi[CASE_DIMS];
  unsigned char node[CASE_POINTS][CASE_DIMS];
  double between[CASE_NODES][CASE_NODES];
  double soh, r; /* where they are no direction */
} case_space;

/* What-ifs: inputs held at a number instead of drawn. */
typedef struct case_held {
  bool is[AMP_IN_COUNT];
  double at[AMP_IN_COUNT];
  const case_space *space; /* of the case as it is */
} case_held;

/* What is kept of a year: J, then each model's terms, then the means that a
** user's model is handed. */
enum {
  CASE_SERVED,
  CASE_UNSERVED,
  CASE_CURTAILED,
  CASE_CHARGED,
  CASE_OUT,
  CASE_TERMS,
  CASE_BRIEF = 10,
  CASE_FIELDS = CASE_TERMS + AMP_CASE_MODELS * AMP_AGEING_TERMS + CASE_BRIEF
};

/* That year at one state of health; per model what ages. */
typedef struct case_node {
  amp_life_node year; /* term and outside unused; SoH of the middle
                         nameplate; brief.efc counts nameplate energy */
  double term[AMP_CASE_MODELS][AMP_AGEING_TERMS];
  unsigned outside[AMP_CASE_MODELS]; /* only of one simulated */
} case_node;

/* The years of so many strings: [points][fields]. */
typedef struct case_year {
  int asked, points; /* wanted, and simulated */
  bool floor_terms;  /* no term of any model is below zero */
  double *value;
  unsigned outside[CASE_POINTS][AMP_CASE_MODELS];
} case_year;

/* Shared by the cases that differ in nothing that a year depends on. */
typedef struct case_years {
  int most;        /* strings */
  case_year *year; /* [most + 1], by strings */
  double energy_residual;
} case_years;

/* A draw in full. */
typedef struct case_check {
  size_t draw;
  case_node node[CASE_CHECK_NODES];
} case_check;

typedef struct case_plan {
  const amp_case *c;
  size_t place; /* of the case in its list */
  const case_held *held; /* NULL: nothing */
  amp_case_result *r;
  amp_module module; /* with the case's own window */
  const amp_life_choice *life;
  double soh_end, horizon; /* NaN: none */
  double share;            /* usable, by charge */
  double v_nominal;        /* V of a module */
  int series, count;       /* modules in a string; bought */
  int median;              /* accepted; of an offer */
  amp_basis basis_each, basis_dud, basis_usable, basis_run;
  size_t draws;
  case_draw *draw; /* [draws] */
  int most;        /* strings that may be */
  unsigned char *level; /* [most + 1]: 0 never drawn, 1 rarely, 2 */
  case_space space;
  int fields;
  case_years own, *years; /* years: its own, or those of a case alike */
  bool checked;           /* some draws are to be simulated in full */
  int checks;             /* of check[], in use */
  case_check check[CASE_CHECKS];
} case_plan;

/* Refuse this case, keep the reason; returns the status. */
amp_status case_refuse (case_plan *p, const amp_error *why);

/* A number that is not given; those of life and use; all of the result. */
amp_stat case_no_stat (void);
void case_no_life_stats (amp_case_result *r);
void case_no_stats (amp_case_result *r);

/* Quantiles of v[n], whose order is lost; infinite ones stand in it as
** CASE_HUGE and are larger than all. */
amp_stat case_stat (double *v, size_t n, amp_basis basis);
double case_finite_again (double v);

/* The middle of a need's number; 0 where none is given. Drawn ones v[n] are
** kept within what can be reckoned with. */
double case_term (const amp_need *need, amp_term k);
void case_clip_term (amp_term k, size_t n, double *v);

/* Fill the plan of cases[place] and the fixed part of its result. AMP_ENOMEM
** or AMP_OK; a case that is refused says so in r->status. */
amp_status case_plan_make (const amp_context *ctx, const amp_case *cases,
                           size_t place, const amp_ask *ask,
                           const case_held *held, amp_case_result *r,
                           case_plan *p, amp_error *err);

/* Draws 'from' .. from + n - 1 of an input, 'unset' where it is not given. */
void case_draws (const amp_context *ctx, const case_plan *p,
                 const amp_ask *ask, amp_case_input in, double unset,
                 size_t from, size_t n, double *out);
void case_plan_free (const amp_context *ctx, case_plan *p);

/* ---- years ---- */

/* The box of a plan whose states of health go from soh_lo to soh_hi. */
void case_space_make (case_plan *p, double soh_lo, double soh_hi);

/* Is anything but the state of health spread? */
bool case_space_is_wide (const case_space *s);

case_state case_space_point (const case_plan *p, int strings, int point);

/* Rising states of health at which years are put together; their number. */
int case_space_nodes (const case_space *s, double soh[CASE_NODES]);

/* From the simulated values to what each point adds. */
void case_space_settle (const case_plan *p, case_year *y);

/* Points behind the years of so many strings; 0: never drawn. */
int case_space_points (const case_plan *p, int strings);

/* The year of a draw, at each of the nodes; returns their number. */
int case_space_year (const case_plan *p, const case_state *x,
                     case_node out[CASE_NODES]);

/* A node's fields, one after another. */
void case_space_pack (const case_plan *p, const case_node *n, double *v);

case_state case_state_of (const case_draw *d, double soh);

/* Simulate the years of all plans; those on one duty together, and once for
** plans whose years are alike. The first 'old' have been run before. */
amp_status case_run (const amp_context *ctx, case_plan *plan, size_t old,
                     size_t n, amp_error *err);

/* Life, money and quantiles; levelised[draws] keeps each draw's cost for
** the comparison (NaN: none). */
amp_status case_money (const amp_context *ctx, case_plan *p,
                       const amp_ask *ask, double *levelised, amp_error *err);

/* ---- without a battery ---- */

enum { CASE_ALONE = 5 };

/* J a year over the box that the draws of load and sun span. */
typedef struct case_alone {
  double load[2], sun[2]; /* least and most of each */
  double at[CASE_ALONE][CASE_ALONE];
  double off; /* J, how far the straight lines are off between two of them */
  bool any;   /* false: nothing, for any draw */
} case_alone;

void case_alone_make (const case_plan *p, case_alone *a);
double case_alone_of (const case_alone *a, double load, double sun);

/* ---- draws that come to the same ---- */

enum { CASE_TWINS = 64 };

typedef struct case_twins {
  size_t kinds; /* 0: each draw counts for itself */
  size_t first[CASE_TWINS];
  unsigned char *of; /* [draws], the caller's: the kind of each */
} case_twins;

void case_twins_find (const case_plan *p, case_twins *t);

/* The first draw that comes to the same as draw i, itself included. */
size_t case_twin_of (const case_twins *t, size_t i);

/* amp_cases without its shares: levelised[n][draws] is the caller's; NaN
** where a case is refused or has no years. */
amp_status case_list (const amp_context *ctx, const amp_case *cases, size_t n,
                      const amp_ask *ask, amp_case_result *result,
                      double *levelised, amp_error *err);

/* Share of the draws in which each row of cost[rows][draws] is the least,
** split evenly among equals; infinite ones and NaN never are. */
void case_shares (const double *cost, size_t rows, size_t draws,
                  double *share);

/* The two lowest medians; false where there are not two. */
bool case_two_cheapest (const amp_case_result *r, size_t n, size_t *first,
                        size_t *second);

/* The amp_value behind an input of a case; NULL: none. */
const amp_value *case_value_of (const case_plan *p, amp_case_input in);

/* The worst of the duty's months at these factors of load and sun. */
amp_worst_month case_worst_month (const amp_need *need,
                                  const amp_duty_month month[12], double load,
                                  double sun);

#endif
