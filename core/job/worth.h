/*
** worth.h -- is it worth testing more modules before paying for a lot? The
** expected value of what k more tests would tell, for the decision at hand:
** buy the lot at its price, or leave it. Preposterior analysis of a normal
** lot with the finite-lot factor (H. Raiffa, R. Schlaifer, Applied
** Statistical Decision Theory, 1961, chapters 5 and 11, from memory).
** Deterministic: quadrature, no draws. Model, symbols: docs/model/worth.md.
**
** What is known of one good module: its mean is 'mean', known as well as
** 'weight' tests would tell it; the spread between modules is either known
** (dof = 0, 'sd') or estimated from 'dof' degrees of freedom. A good module
** not tested yet lies in lo .. hi, which cuts off what few tests would
** otherwise leave possible for the mean. Capacity in any unit, the same
** throughout; money in one currency.
*/
#ifndef AMP_JOB_WORTH_H
#define AMP_JOB_WORTH_H

#include "base/error.h"

enum {
  AMP_WORTH_LOT = 200, /* modules, where no share of duds is given */
  AMP_WORTH_DUDS = 24  /* modules not tested yet, where one is */
};

typedef struct amp_worth_ask {
  int tested;          /* good modules whose capacity is known already */
  double sum;          /* of these capacities */
  int untested;        /* modules of which nothing is known */
  double mean, weight; /* of a good module: mean, in tests */
  int dof;             /* of sd; 0: sd is known */
  double sd;           /* between good modules, > 0 */
  double lo, hi; /* of one module; -INFINITY .. INFINITY: any (then dof is
                     0 or >= 2) */
  double dud, dud_sd; /* share of duds among the untested, and how sure:
                         0: that share exactly; else a beta law */
  double value;       /* money for one unit of capacity of a good module */
  double price;       /* money paid for the lot, whatever it holds */
  double cost;        /* of one test, >= 0 */
} amp_worth_ask;

/* What k tests do, the lot being bought or left by what they say. */
typedef struct amp_worth_step {
  int tests;
  double gain;       /* expected, before their cost, money */
  double cost;       /* money */
  double half_width; /* expected, of the 95 % band of the lot's mean */
} amp_worth_step;

typedef struct amp_worth {
  double expected; /* what the lot is worth, in the mean, money */
  double chance;   /* that it is worth its price */
  double perfect;  /* gain of knowing the lot exactly: no tests gain more */
  double least, most; /* what it can be worth: every untested module a dud
                         or at 'lo', and all of them good at 'hi' */
  double half_width;  /* of the 95 % band now; INFINITY: not told */
  int best;           /* tests with the most gain less cost; 0: none pays */
  int steps;          /* k = 1 .. steps, and where that is not all, more
                        would cost more than perfect knowledge is worth */
  amp_worth_step step[AMP_WORTH_LOT];
} amp_worth;

/*
** AMP_ERANGE names the field. AMP_EREFUSED where nothing is left to test,
** or where no answer is finite (dof 1 without a cut). The gain of all
** untested ones is the perfect one.
*/
amp_status amp_worth_testing (const amp_worth_ask *a, amp_worth *out,
                              amp_error *err);

/*
** The least number of tests after which the 95 % band of the mean of a lot
** of 'of' modules is no wider than +- 'half_width', the spread between
** modules staying 'sd' as 'tested' of them showed it (tested >= 2, or dof 0:
** sd known). 'of' itself where only that will do.
*/
int amp_worth_tests_for (int of, int tested, double sd, int known,
                         double half_width);

#endif
