/*
** spread.h -- how far cells of one lot lie apart after their first life:
** capacity, resistance and how the two go together, as defaults for those
** who have tested few. Ranges and sources: docs/model/cell.md.
*/
#ifndef AMP_CELL_SPREAD_H
#define AMP_CELL_SPREAD_H

typedef struct amp_spread_of_lot {
  const char *chemistry;  /* measured on */
  int cells;              /* in the lot */
  double soh_mean;        /* capacity over rated, mean of the lot */
  double capacity_sd;     /* of the capacity, over its mean */
  double resistance_sd;   /* of the 5 s resistance at 1C, 50 %, the same */
  double correlation;     /* of the two */
  const char *source;
} amp_spread_of_lot;

/*
** For a chemistry by name: "lfp" has a lot of its own, each nickel-rich and
** the LMO blend take the NMC lot's; "lead_acid", other names and NULL: NULL.
*/
const amp_spread_of_lot *amp_spread_find (const char *chemistry);

#endif
