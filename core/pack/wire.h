/*
** wire.h -- conductors: what a length of cable drops, warms and may carry,
** which size that asks for, and how strings share on a busbar. SI units;
** a length is one way, the current flows through both. Tables are published
** ones, each with its source in wire.c; a user's own code table comes in as
** data. Model: docs/model/wire.md.
*/
#ifndef AMP_PACK_WIRE_H
#define AMP_PACK_WIRE_H

#include "base/error.h"
#include <stdbool.h>

/* ---- metals ---- */

typedef struct amp_metal {
  const char *name;
  double rho;    /* ohm m at 293.15 K */
  double alpha;  /* 1/K at 293.15 K */
  double preece; /* A/m^1.5, fusing of a thin wire; NaN: none was found */
  bool conductor; /* wire.c has cable sizes of it */
} amp_metal;

/* "copper" "aluminium" "nickel" "tin" "lead" "iron" "german_silver"
** "nickel_plated_steel"; else NULL. */
const amp_metal *amp_metal_find (const char *name);
const amp_metal *amp_metal_at (int i); /* NULL past the last */

/* ---- sizes ---- */

enum { AMP_AWG_LEAST = -3, AMP_AWG_MOST = 40, AMP_AWG_NONE = 99 };

/* m2; n = 0, -1, -2, -3 are 1/0, 2/0, 3/0, 4/0. ASTM B258. */
double amp_awg_area (int n);
double amp_awg_diameter (int n); /* m, solid */

/* "10", "1/0", "4/0" into n; AMP_EDATA says what is wanted. */
amp_status amp_awg_parse (const char *text, int *n, amp_error *err);
/* "2/0" into out[8]. */
void amp_awg_name (int n, char *out);

/* How the resistance of a length is told. */
typedef enum amp_wire_rule {
  AMP_WIRE_PLAIN, /* rho L / A, copper 0.0175 ohm mm2/m at 20 C */
  AMP_WIRE_IEC_2, /* IEC 60228, greatest allowed, stranded */
  AMP_WIRE_IEC_5, /* the same, fine-stranded */
  AMP_WIRE_NEC    /* NEC chapter 9 table 8, stranded, at 75 C */
} amp_wire_rule;

/*
** ohm/m of 'area' m2 (or of gauge 'awg' under AMP_WIRE_NEC) at 'temp' K.
** AMP_EMISSING where the rule's table does not list that size or metal.
*/
amp_status amp_wire_resistance (amp_wire_rule rule, const amp_metal *metal,
                                bool tinned, double area, int awg,
                                double temp, double *out, amp_error *err);

/* The sizes of IEC 60228 from 0.5 to 630 mm2 in m2; NaN past the last. */
double amp_wire_size (int i);

/*
** A, NEC table 310.16, copper, of the column 60, 75 or 90 C: not more than
** three loaded conductors in raceway, cable or earth, 30 C around. NaN for
** another column or a size that is not listed (14 .. 4/0).
*/
double amp_wire_nec_ampacity (int awg, int column);

/* Factor that brings a resistance measured at 'temp' K to 20 C: as printed
** with IEC 60228 (250 / (230 + t)), or the copper form 254.5/(234.5 + t). */
double amp_wire_to_20 (double temp, bool copper);

/*
** Adiabatic short-time rating of copper: A s^0.5/m2 from 'from' to 'to' K.
** Holds for 0.1 .. 5 s. IEC 60364-5-54, from memory.
*/
double amp_wire_short_time (double from, double to);

/* ---- a cable ---- */

enum { AMP_AMPACITIES = 64 };

typedef struct amp_ampacity {
  double area; /* m2 */
  double a;    /* A */
} amp_ampacity;

typedef enum amp_ampacity_from {
  AMP_AMPACITY_NONE,  /* nobody told any */
  AMP_AMPACITY_GIVEN, /* one figure of the user's */
  AMP_AMPACITY_TABLE, /* the user's table of a code */
  AMP_AMPACITY_NEC    /* NEC table 310.16 */
} amp_ampacity_from;

typedef struct amp_cable {
  const amp_metal *metal;
  amp_wire_rule rule;
  bool tinned, awg_sizes;   /* pick among gauges, not among mm2 */
  double one_way;           /* m; NaN: no drop is told */
  double area;              /* m2; NaN: the size is asked for */
  int awg;                  /* AMP_AWG_NONE: the size is an area */
  double current;           /* A; NaN: no drop is told */
  double carry;             /* A it must be able to carry, its fuse; NaN:
                               1.25 current */
  double v;                 /* V of the circuit; NaN: no share is told */
  double temp;              /* K of the metal */
  double drop_limit;        /* 0..1 of v; NaN: none */
  double ampacity;          /* A, corrected; NaN: by table, or none */
  int lug, insulation;      /* C: 60, 75, 90; 0: 75, and as the lug */
  double correction;        /* on the insulation's column, 0..1.5 */
  int rows;
  amp_ampacity table[AMP_AMPACITIES]; /* the user's, areas rising */
} amp_cable;

typedef struct amp_cable_answer {
  double area;      /* m2, given or picked; NaN: none does */
  int awg;
  double r;         /* ohm, there and back; NaN: not told */
  double drop;      /* V */
  double share;     /* of v */
  double loss;      /* W */
  double ampacity;  /* A; NaN: not known */
  amp_ampacity_from from;
  double carry;     /* A it is held against; NaN: no current was given */
  bool lug_decides; /* the lug's column is below the corrected insulation's */
  double area_by_drop, area_by_ampacity; /* m2, where the size is asked
                                            for; NaN: not told */
} amp_cable_answer;

/* Copper, rho L / A at 20 C, nothing else given. */
amp_cable amp_cable_defaults (void);

/*
** AMP_ERANGE names the field; AMP_EMISSING says what is wanted, or that no
** listed size does; AMP_EDATA: the table's areas do not rise.
*/
amp_status amp_cable_answer_of (const amp_cable *c, amp_cable_answer *out,
                                amp_error *err);

/* ---- strings on a busbar ---- */

enum { AMP_RAIL_STRINGS = 64 };

/*
** Strings 0 .. n-1 hang side by side between two rails, each rail with
** 'segment' ohm between neighbours; the load takes 'current' A off the
** positive rail at string 'plus' and off the negative at 'minus' (both 0:
** one end; 0 and n-1: diagonal). 'e' V (NULL: all alike) and 'r' ohm of each
** string with its own leads. Exact: Kirchhoff's ladder.
*/
amp_status amp_rail_currents (int n, const double *e, const double *r,
                              double segment, int plus, int minus,
                              double current, double *out, amp_error *err);

/*
** The same, strings at one voltage, where some r[i] are NaN: what each may
** carry at least and at most, whatever those are. A known string carries most
** where the unknown carry nothing, least where they are next to nothing; an
** unknown one most where it alone is.
*/
amp_status amp_rail_bounds (int n, const double *r, double segment, int plus,
                            int minus, double current, double *low,
                            double *high, amp_error *err);

#endif
