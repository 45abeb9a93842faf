/*
** packs.h -- what tests of the run build again and again: one leaf as a
** whole pack, a case without an inverter, a detailed cell.
*/
#ifndef AMP_TESTS_PACKS_H
#define AMP_TESTS_PACKS_H

#include "ampstead.h"
#include <math.h>

static inline amp_pack one_leaf (amp_group g) {
  amp_pack p;
  amp_pack_uniform(&g, 1, 1, &p);
  return p;
}

/* At the terminals, factors 1. */
static inline amp_sim_case plain_case (const amp_pack *p) {
  amp_sim_case c = {p, {.efficiency = 1.0}, 1.0, 1.0, 0.0};
  return c;
}

/* A 2.9 Ah cell of the size of those in docs/model/detailed.md; invented. */
static inline amp_detailed sample_cell (void) {
  amp_detailed c = {.capacity = 10440.0,
                    .socs = 3,
                    .temps = 2,
                    .soc = {0.1, 0.5, 1.0},
                    .temp = {273.15, 298.15},
                    .tau_slow = {60.0, 0.0},
                    .tau_ct = 0.7,
                    .heat_core = 31.0,
                    .heat_skin = 6.5,
                    .core_skin = 1 / 2.8,
                    .skin_air = 1 / 6.3,
                    .entropic = {-2e-4, 1e-4, 1e-4},
                    .mass = 0.0475};
  for (int k = 0; k < 3; k++) {
    c.ln_r0[0][k] = log(0.05) - 0.05 * k;
    c.ln_r0[1][k] = log(0.028) - 0.05 * k;
    c.ln_i0[0][k] = log(0.4) + 0.2 * k;
    c.ln_i0[1][k] = log(2.0) + 0.2 * k;
    c.ln_tau_d[0][k] = log(17000.0) - 0.1 * k;
    c.ln_tau_d[1][k] = log(3500.0) - 0.1 * k;
  }
  c.ln_slow[0][0] = log(0.03);
  c.ln_slow[0][1] = log(0.012);
  return c;
}

#endif
