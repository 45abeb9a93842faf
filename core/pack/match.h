/*
** match.h -- which module goes where. String-first (modules in series make a
** string, strings in parallel): the charge of the pack is the sum over the
** strings of their weakest module. Parallel-first (modules in parallel make
** a position, positions in series): the least sum of a position. Both are
** maximised; what the resistances ask comes second. Model:
** docs/model/match.md.
*/
#ifndef AMP_PACK_MATCH_H
#define AMP_PACK_MATCH_H

#include "base/context.h"
#include "base/error.h"
#include <stdbool.h>

enum {
  AMP_MATCH_MOST = 1000,  /* modules */
  AMP_MATCH_PROVEN = 24   /* up to here the optimum is searched to the end */
};

typedef struct amp_match_module {
  double charge; /* C */
  double r;      /* ohm; NaN: not measured, the median stands in */
} amp_match_module;

typedef struct amp_match_spec {
  int series, parallel; /* modules in series, and side by side */
  bool string_first;
  double give; /* share of the charge that may be given up for resistance */
} amp_match_spec;

typedef struct amp_matched {
  double charge; /* C of the pack */
  double best;   /* C, most that was found; charge is at least
                    (1 - give) of it */
  double bound;  /* C, no arrangement has more */
  bool proven;   /* best is the optimum */
  double stress; /* largest share of current over share of charge of any
                    string (module of a position); NaN: no resistance */
  size_t steps;  /* of the search that proves; 0: none was needed */
} amp_matched;

/*
** Place n modules: place[i] is the string (string-first) or the position
** (parallel-first) of module i, from 0, or -1 for a spare. The spares are
** the smallest. Charges count in steps of 1e-6 Ah. AMP_ERANGE names series,
** parallel, charge or r; AMP_EMISSING with fewer modules than places.
*/
amp_status amp_match (const amp_context *ctx, size_t n,
                      const amp_match_module *m, const amp_match_spec *spec,
                      int *place, amp_matched *out, amp_error *err);

/* C of the pack with these places; module 'without' taken out (its string
** then counts nothing, its position lacks it); (size_t)-1: none is. */
double amp_match_charge (size_t n, const amp_match_module *m,
                         const amp_match_spec *spec, const int *place,
                         size_t without);

/* Current of the hardest hit that is left over what it carried before, when
** module 'without' is taken out: shares by resistance (a missing one is the
** median). */
double amp_match_surge (size_t n, const amp_match_module *m,
                        const amp_match_spec *spec, const int *place,
                        size_t without);

/* The largest share of current over share of charge, as in amp_matched;
** *who (or NULL) is the module or, string-first, one of its string. */
double amp_match_stress (size_t n, const amp_match_module *m,
                         const amp_match_spec *spec, const int *place,
                         size_t *who);

#endif
