/*
** sample.h -- random numbers as a function of (seed, stream, draw), and what
** is asked of samples: quantiles, and the exact chances of small lots.
*/
#ifndef AMP_BASE_SAMPLE_H
#define AMP_BASE_SAMPLE_H

#include "base/context.h"
#include <stddef.h>
#include <stdint.h>

/* 64-bit FNV-1a of a name, never 0: the stream of "H1 used nickel/soh_pct" */
uint64_t amp_stream (const char *name);

/* Number in 0 < u < 1, 53 bits, of this (seed, stream, draw). */
double amp_uniform (uint64_t seed, uint64_t stream, uint64_t draw);

/* The same, stratified: u lies in stratum k of 'draws' equal ones, k a
** keyed permutation of 'draw'. 1 <= draws < 2^31. */
double amp_uniform_stratified (uint64_t seed, uint64_t stream, size_t draw,
                               size_t draws);

/* Draws 'from' .. from + count - 1 of them (<= draws) into u[count], ten
** times faster and with the same bits. ctx lends its instruction set. */
void amp_uniforms_stratified (const amp_context *ctx, uint64_t seed,
                              uint64_t stream, size_t from, size_t count,
                              size_t draws, double *u);

/* Each of v[n], in 0 < v < 1, becomes its standard normal quantile, as
** amp_normal_quantile gives it. */
void amp_normal_quantiles (const amp_context *ctx, double *v, size_t n);

/* n numbers in rising order, in place. NaN: the order is not told. */
void amp_sort (double *v, size_t n);

/* Quantile p of n >= 1 numbers: linear between order statistics, position
** p (n-1) (the common "type 7"). Reorders v. NaN in v: NaN out. */
double amp_quantile (double *v, size_t n, double p);

/* m <= 5 of them, in two readings of v where no number stands too often. One
** p outside 0 .. 1: all NaN. */
void amp_quantiles (double *v, size_t n, const double *p, size_t m,
                    double *out);

/* Binomial: P(X = k), P(X >= k), and the least k with P(X <= k) >= p, of n
** trials of chance q. */
double amp_binomial_pmf (int n, int k, double q);
double amp_binomial_at_least (int n, int k, double q);
int amp_binomial_quantile (int n, double q, double p);

/*
** Of n modules, each a dud with chance q: chance that at most k = 0 .. n-1
** are good, into at_most[n]. 'together', 0..1, is the correlation of any two:
** 0 each for itself (binomial), 1 all or none, between them beta-binomial
** (J. G. Skellam, J. R. Statist. Soc. B 10 (1948) 257-261): the share of the
** lot itself varies about q. And how many are good at place 0 < u < 1.
*/
void amp_good_chances (int n, double q, double together, double *at_most);
int amp_good_at (const double *at_most, int n, double u);

/* Hypergeometric: chance that 'tested' of a lot of n, in which d are duds,
** show no dud. */
double amp_chance_no_dud (int n, int d, int tested);

#endif
