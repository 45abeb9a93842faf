/*
** sample.h -- random numbers as a function of (seed, stream, draw), and what
** is asked of samples: quantiles, and the exact chances of small lots.
*/
#ifndef AMP_BASE_SAMPLE_H
#define AMP_BASE_SAMPLE_H

#include "base/error.h"
#include <stddef.h>
#include <stdint.h>

/* 64-bit FNV-1a of a name, never 0: the stream of "H1 used nickel/soh_pct" */
uint64_t amp_stream (const char *name);

/* Number in 0 < u < 1, 53 bits, of this (seed, stream, draw). */
double amp_uniform (uint64_t seed, uint64_t stream, uint64_t draw);

/* The same, stratified: u lies in stratum k of 'draws' equal ones, k a
** keyed permutation of 'draw'. draws >= 1. */
double amp_uniform_stratified (uint64_t seed, uint64_t stream, size_t draw,
                               size_t draws);

/* n numbers in rising order, in place. NaN: the order is not told. */
void amp_sort (double *v, size_t n);

/* Quantile p of n >= 1 numbers: linear between order statistics, position
** p (n-1) (the common "type 7"). Reorders v. NaN in v: NaN out. */
double amp_quantile (double *v, size_t n, double p);

/* Binomial: P(X = k), P(X >= k), and the least k with P(X <= k) >= p, of n
** trials of chance q. */
double amp_binomial_pmf (int n, int k, double q);
double amp_binomial_at_least (int n, int k, double q);
int amp_binomial_quantile (int n, double q, double p);

/* Hypergeometric: chance that 'tested' of a lot of n, in which d are duds,
** show no dud. */
double amp_chance_no_dud (int n, int d, int tested);

#endif
