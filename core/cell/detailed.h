/*
** detailed.h -- one cell with what a cold or hard-driven cell shows and an
** equivalent circuit does not: slow diffusion inside the particles (the
** voltage follows the charge at their surface), charge transfer that is not
** linear in current, a slow RC pair or two, and its own heat in two nodes.
** SI units; current > 0 discharges. Mathematics: docs/model/detailed.md.
**
**   v    = U(z_s) + (T - 298.15 K) S(z_s) - R0 i
**          - (2 R T / F) asinh(x_ct / (2 I0)) - sum_k R_k x_k
**   z_s  = z - tau_d / (3 Q) (sum_n (2 / lambda_n^2) x_n + rest i)
**   each x follows i with its own time constant: x' = (i - x) / tau;
**   tau_n = tau_d / lambda_n^2, tan(lambda_n) = lambda_n,
**   rest = 1/5 - sum_n 2 / lambda_n^2 (the modes left out, at once);
**   all but the first mode count (1 - blunt) times, 'rest' too
**
** R0 and I0 depend on the surface charge and the core's temperature T,
** tau_d on the mean charge and T, R_k on T alone: the logarithm is linear in
** SoC between knots (held beyond them) and linear in 1/T between the
** temperatures of the table; beyond those it goes on with the slope of the
** last pair, or with 'activation' where there is one temperature alone.
** S = dU/dT, linear between the same knots of charge.
*/
#ifndef AMP_CELL_DETAILED_H
#define AMP_CELL_DETAILED_H

#include "base/error.h"
#include "cell/chemistry.h"

enum {
  AMP_DETAIL_SOC = 16,  /* most knots of charge */
  AMP_DETAIL_TEMP = 6,  /* most temperatures */
  AMP_DETAIL_MODES = 6, /* of diffusion */
  AMP_DETAIL_SLOW = 2   /* RC pairs */
};

typedef struct amp_detailed {
  double capacity;              /* C between 100 % and 0 % SoC */
  int socs, temps;              /* knots in use, both >= 1 */
  double soc[AMP_DETAIL_SOC];   /* 0..1, rising */
  double temp[AMP_DETAIL_TEMP]; /* K, rising */
  double ln_r0[AMP_DETAIL_TEMP][AMP_DETAIL_SOC]; /* ln ohm */
  double ln_i0[AMP_DETAIL_TEMP][AMP_DETAIL_SOC]; /* ln A, exchange current */
  double ln_tau_d[AMP_DETAIL_TEMP][AMP_DETAIL_SOC]; /* ln s, diffusion */
  double ln_slow[AMP_DETAIL_SLOW][AMP_DETAIL_TEMP]; /* ln ohm */
  double tau_slow[AMP_DETAIL_SLOW]; /* s; 0: pair not in use */
  double tau_ct;                /* s, double layer; 0: at once */
  double blunt; /* 0..1: so much less than in one sphere the faster modes of
                   diffusion show; 0: one sphere */
  double entropic[AMP_DETAIL_SOC]; /* V/K, dU/dT */
  double activation;            /* K, of all of them with one temperature */
  double heat_core, heat_skin;  /* J/K; both 0: stays at ambient */
  double core_skin, skin_air;   /* W/K */
  double mass;                  /* kg; 0: not given */
} amp_detailed;

typedef struct amp_detailed_state {
  double soc;                      /* 0..1, mean over the particle */
  double mode[AMP_DETAIL_MODES];   /* A */
  double slow[AMP_DETAIL_SLOW];    /* A */
  double ct;                       /* A */
  double core, skin;               /* K */
} amp_detailed_state;

/* Finite, rising, positive: AMP_ERANGE names the field. */
amp_status amp_detailed_check (const amp_detailed *c, amp_error *err);

/* n equal cells in parallel as one (n may be a fraction: blown links). */
amp_detailed amp_detailed_parallel (const amp_detailed *c, double n);

/* Grown to this capacity (heat and mass with it), all resistances times
** 'times' (> 0), the exchange current over it; diffusion as it is. */
amp_detailed amp_detailed_like (const amp_detailed *c, double capacity,
                                double times);

/* At rest at this charge and temperature. */
amp_detailed_state amp_detailed_rest (double soc, double temp);

/* Terminal voltage now, at current i. */
double amp_detailed_voltage (const amp_detailed *c, const amp_chemistry *chem,
                             const amp_detailed_state *st, double i);

/*
** What to hold over the step: current, power at the terminals, or terminal
** voltage. Power and voltage hold for the step's mean; the current is found
** by a bounded Newton search on one scalar (at most 30 steps, to 1e-12 of
** the largest current in play).
*/
typedef enum amp_hold { AMP_HOLD_CURRENT, AMP_HOLD_POWER, AMP_HOLD_VOLTAGE }
amp_hold;

typedef struct amp_detailed_out {
  double current;        /* A, held over the step */
  double v_mean, v_end;  /* V */
  double heat;           /* J, into the core: i (U(z) - v) - i T S(z), what
                            reaction and mixing take up or give in one */
  double cooling;        /* J, from the skin to the surroundings */
} amp_detailed_out;

/*
** Advance by dt with surroundings at 'ambient' K. Parameters are those of
** the temperature and mean charge at the step's beginning; the states are
** exact for constant current and parameters, the nodes of heat for constant
** heating. The mean voltage is taken at the step's mean states (second
** order); v_end is amp_detailed_voltage of the new state. More power than
** the cell can give: AMP_EREFUSED; outside 0..1 SoC: AMP_ERANGE; then the
** state stays. 'out' and 'err' may be NULL.
*/
amp_status amp_detailed_step (const amp_detailed *c,
                              const amp_chemistry *chem,
                              amp_detailed_state *st, amp_hold hold,
                              double value, double dt, double ambient,
                              amp_detailed_out *out, amp_error *err);

#endif
