/*
** chance.h -- how many modules of a lot are good, and how many tests show
** that some are not. Small lots, exactly: binomial where the share of duds
** is known, beta-binomial where it is known only so far (one flooded car:
** its duds come together), hypergeometric for tests of a lot that holds a
** number of duds. No physics. docs/model/cost.md.
*/
#ifndef AMP_COST_CHANCE_H
#define AMP_COST_CHANCE_H

/* The share of good modules. a = 0: exactly 'good'; else a beta law. */
typedef struct amp_share {
  double good, a, b;
} amp_share;

/* From a share of duds 0..1 and its standard deviation; 0: exact. A spread
** too wide for a share is taken as all or none. */
amp_share amp_share_of (double dud, double sd);

/* Chance that j of k are good, after 'seen' good ones and 'duds' others of
** the same lot. */
double amp_share_chance (const amp_share *s, int j, int k, int seen,
                         int duds);

/* Into chance[0..k], that j of k are good, in one go for large lots. */
void amp_share_chances (const amp_share *s, int k, double *chance);
/* Those become the chances that at least j are good; the answer is the
** median, the least j with P(good <= j) >= 1/2. */
int amp_share_summed (int k, double *chance);

/* Into chance[0..n], that so many tests of a lot of n show none of its d
** duds. */
void amp_chances_no_dud (int n, int d, double *chance);

/* Least number of tests of a lot of n with d duds that shows one of them
** with a chance of 'sure' (0..1); d = 0: n, since none can be shown. */
int amp_tests_to_see (int n, int d, double sure);

#endif
