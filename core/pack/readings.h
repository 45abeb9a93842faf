/*
** readings.h -- what the bench wrote down: a reading is one row (a module at
** one moment), a lot is the modules that came together. Reading from text
** as people type it, and the plain statistics of a lot. SI units; what was
** not measured is NaN and stays so. Judging: pack/judge.h. Model:
** docs/model/readings.md.
*/
#ifndef AMP_PACK_READINGS_H
#define AMP_PACK_READINGS_H

#include "base/context.h"
#include "base/error.h"
#include "base/value.h"
#include "cell/chemistry.h"
#include "pack/join.h"

enum {
  AMP_READING_ID = 64, /* a longer id is refused: cut, two become one */
  AMP_READING_REMARK = 200,
  AMP_READING_FLAW = 120,
  AMP_LOT_MOST = 5000 /* rows */
};

typedef struct amp_reading {
  char id[AMP_READING_ID];         /* the sticker: "3", "M3", "03" */
  char remark[AMP_READING_REMARK]; /* as written, cut with a mark, or "" */
  double ocv;                  /* V of the module, at rest */
  double group_min, group_max; /* V, lowest and highest group at rest */
  double r10s;                 /* ohm, module, 10 s pulse */
  double charge;               /* C, tested */
  double temp;                 /* K */
  double day;                  /* days since 1970-01-01 */
  double before_ocv, before_min, before_max, before_day; /* V, V, V, days:
                                  an earlier reading of the same module */
  size_t line;                 /* in the text it came from; 0: none */
  char flaw[AMP_READING_FLAW]; /* why the row makes no sense, or "" */
} amp_reading;

typedef struct amp_lot {
  const amp_chemistry *chemistry; /* NULL: not known */
  int groups;       /* in series in a module; 0: not known */
  double nameplate; /* C; NaN: not known */
  int of;           /* modules delivered, rejects included; 0: all read */
  size_t n, room;
  amp_reading *reading;
} amp_lot;

/* All NaN and "". */
amp_reading amp_reading_defaults (void);

/*
** The remark s[0..n), made visible, into r->remark. One that does not fit
** ends with "[cut]", or with "[cut: swollen]" where it speaks of damage and
** what is kept of it does not; the mark stays with every copy of the text.
*/
void amp_reading_set_remark (amp_reading *r, const char *s, size_t n);

/* Was the remark cut, here or where two of them were joined? */
bool amp_reading_remark_is_cut (const amp_reading *r);

/*
** Does one row make sense? AMP_ERANGE or AMP_EDATA with the field and the
** limits (docs/model/readings.md); a row that does not say anything of the
** module is none either. Nothing is compared with the lot here.
*/
amp_status amp_reading_check (const amp_reading *r, amp_error *err);

/*
** Append a copy. A second reading of the same id with another date becomes
** the module's present one, gaps filled from the first, and the earlier
** rest voltages stay as before_*, both remarks in their order (each cut with
** its mark where both do not fit). Without two dates that differ it is
** AMP_EDATA: the id stands twice. A reading whose 'flaw' is set is appended
** as it is. AMP_ERANGE past AMP_LOT_MOST.
*/
amp_status amp_lot_add (const amp_context *ctx, amp_lot *lot,
                        const amp_reading *r, amp_error *err);
void amp_lot_free (const amp_context *ctx, amp_lot *lot);

/* Index of the id, of a row that makes sense where there is one, or
** (size_t)-1; and how many ids there are, rows without sense included. */
size_t amp_lot_find (const amp_lot *lot, const char *id);
int amp_lot_modules (const amp_lot *lot);

/* ---- from text ---- */

typedef struct amp_readings_options {
  char sep;      /* 0: found out; ' ': aligned columns */
  char decimal;  /* 0: found out, refused where both marks stand */
  size_t columns;
  const char *const *ours;   /* our names of them, with or without unit */
  const char *const *theirs; /* their headers, as they stand */
  size_t skipped;
  const char *const *skip;        /* headers that are not read */
} amp_readings_options;

/*
** Rows of 'text' into the empty 'lot' (its chemistry, groups and nameplate
** stay). Headers are known by their words ("OCV (V)", "R mOhm",
** "group_min_mv"), a unit in a header or behind a number is converted.
** "", "-", "?", "n/a", "na", "nan" are gaps. AMP_EDATA with line and column
** where the file is damaged: what amp_csv_read refuses, no id column, an
** unknown or doubled column, a unit that is wanting, both decimal marks.
** A row whose numbers make no sense is kept with its flaw; where no row is
** left without one: AMP_EDATA with the first flaw. Without a decimal given
** the one mark that is used counts.
*/
amp_status amp_lot_read (const amp_context *ctx, const char *text, size_t n,
                         const amp_readings_options *opt, amp_lot *lot,
                         amp_error *err);

/* "id", "ocv_v", ..: the i-th of our names of columns, NULL past the last. */
const char *amp_readings_column (int i);

/* "2026-11-25", "25.11.2026", "2026-11-25 14:30" into days since
** 1970-01-01; 3/4/2026 may be read two ways: AMP_EDATA. */
amp_status amp_parse_day (const char *s, double *day, amp_error *err);

/* ---- statistics ---- */

typedef enum amp_reading_field {
  AMP_READING_OCV,
  AMP_READING_MIN,
  AMP_READING_MAX,
  AMP_READING_R10S,
  AMP_READING_CHARGE,
  AMP_READING_TEMP,
  AMP_READING_FIELDS
} amp_reading_field;

double amp_reading_get (const amp_reading *r, amp_reading_field f);

/*
** Mean of what was measured in rows that make sense, as a value of a lot of
** 'of' (n, sd, half width: base/value.h). AMP_EMISSING where nothing was.
*/
amp_status amp_lot_mean (const amp_lot *lot, amp_reading_field f,
                         amp_value *out, amp_error *err);

/* Median of the same rows, NaN where nothing was measured. */
double amp_lot_median (const amp_lot *lot, amp_reading_field f);

/*
** The lot as one side of a joint, all modules side by side: mean rest
** voltage, the median resistance over the count (one that was not measured
** is taken as typical), the sum of charges ('charge' C where none was
** tested). AMP_EMISSING where no voltage was read.
*/
amp_status amp_lot_side (const amp_lot *lot, double charge,
                         amp_join_side *out, amp_error *err);

/*
** Charge of a logged discharge until the first of 'groups' columns reaches
** 'v_end': sum of the interval means 'current' (A, > 0 discharges, over the
** interval that ends at its row) times the intervals, the last one cut where
** the voltage crosses (linear). v[g][row] in V. AMP_EREFUSED where no group
** reaches the limit; AMP_EDATA for time that does not rise. energy (J) and
** first (index of the group) may be NULL.
*/
typedef struct amp_discharge {
  double charge, energy, seconds; /* C; J of all columns given; s */
  int first;                      /* the group that ended it */
} amp_discharge;
amp_status amp_discharge_until (size_t n, const double *time,
                                const double *current, int groups,
                                const double *const *v, double v_end,
                                amp_discharge *out, amp_error *err);

/* s on the bench for one pass of n modules at 'current' A, 'channels'
** at a time, whole rounds; 'rest' s of waiting for each round. */
double amp_bench_seconds (double charge, double current, int n, int channels,
                          double rest);

#endif
