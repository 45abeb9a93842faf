/*
** builds.h -- the same cases through every build of the lanes that this
** machine can run: each gives what each case gave alone, bit for bit.
*/
#ifndef AMP_TESTS_BUILDS_H
#define AMP_TESTS_BUILDS_H

#include "ampstead.h"
#include "support/close.h"
#include <stdlib.h>
#include <string.h>

static inline bool build_runs_here (amp_isa isa) {
  return isa == AMP_ISA_V3   ? __builtin_cpu_supports("avx2")
         : isa == AMP_ISA_V4 ? __builtin_cpu_supports("avx512dq")
                             : true;
}

static inline void each_build_gives (const amp_sim_case *c, size_t n,
                                     const amp_duty *d,
                                     const amp_sim_options *o,
                                     const amp_sim_result *alone) {
  amp_sim_result *all = calloc(n, sizeof *all);
  assert_non_null(all);
  for (int isa = AMP_ISA_BASE; isa <= AMP_ISA_V4; isa++) {
    amp_context ctx = *amp_context_or_plain(NULL);
    ctx.isa = (amp_isa)isa;
    if (!build_runs_here(ctx.isa))
      continue;
    memset(all, 0, n * sizeof *all);
    assert_int_equal(amp_simulate(&ctx, c, n, d, o, all, NULL, NULL, NULL),
                     AMP_OK);
    assert_memory_equal(alone, all, n * sizeof *all);
  }
  free(all);
}

#endif
