/*
** least_block.h -- what residuals that hang together in blocks say about the
** parameters of a least-squares fit: the sandwich of K.-Y. Liang and S. L.
** Zeger, Biometrika 73 (1986) 13-22, each block's residuals put back to what
** they would be without that block in the fit (the jackknife form, "CR3", in
** A. C. Cameron and D. L. Miller, J. Human Resources 50 (2015) 317-372). Not
** part of the interface; mathematics: docs/model/least.md.
*/
#ifndef AMP_BASE_LEAST_BLOCK_H
#define AMP_BASE_LEAST_BLOCK_H

#include "base/context.h"
#include "base/error.h"
#include <stdbool.h>

typedef struct amp_block_input {
  size_t m, n;
  double *j;            /* m * n, column by column: the Jacobian; overwritten */
  const double *r;      /* m residuals */
  const int *block;     /* m, see amp_least_options */
  const double *v;      /* n * n, column by column, and */
  const double *sigma;  /* n: j = u sigma v^T; 0: a direction not in the data */
  double doubt;         /* variance of a row at the least */
} amp_block_input;

typedef struct amp_block_result {
  size_t blocks;    /* of data */
  double widening;  /* of the deviations, all parameters together */
  bool bounded;     /* too few blocks: widening is its upper bound */
} amp_block_result;

/*
** variance[n], of each parameter: that of its blocks' scores, drawn towards
** what all blocks show together the less of them have seen it, and that of
** the beliefs. AMP_ENOMEM.
*/
amp_status amp_block_variance (const amp_context *ctx,
                               const amp_block_input *in, double *variance,
                               amp_block_result *out);

#endif
