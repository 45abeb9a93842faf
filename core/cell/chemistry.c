/*
** chemistry.c -- the built-in chemistries as tables, and the questions asked
** of them. Every number names where it was read; docs/sources.md has the
** sources in full and what their licences say.
*/
#include "cell/chemistry.h"
#include <math.h>
#include <string.h>

/*
** Slopes of the knots of a rising table with equal steps h, as
** amp_curve_make works them out: harmonic mean inside, three points at the
** ends (cut at 0). Written as constant expressions, so that the tables need
** no code to run before they can be used.
*/
#define RISE(a, b, h) (((b) - (a)) / (h))
#define MID(a, b, c, h)                                                      \
  (2.0 * RISE(a, b, h) * RISE(b, c, h) / (RISE(a, b, h) + RISE(b, c, h)))
#define CUT(m) ((m) > 0.0 ? (m) : 0.0)
#define FIRST(a, b, c, h) CUT(1.5 * RISE(a, b, h) - 0.5 * RISE(b, c, h))
#define LAST(a, b, c, h) CUT(1.5 * RISE(b, c, h) - 0.5 * RISE(a, b, h))

/* 21 voltages at 0, 5 .. 100 % SoC */
#define TABLE_21(a, b, c, d, e, f, g, h, i, j, k, l, m_, n_, o, p, q, r, s,  \
                 t, u)                                                       \
  {                                                                          \
    .n = 21, .kind = AMP_INTERP_MONOTONE,                                    \
    .x = {0.00, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50,  \
          0.55, 0.60, 0.65, 0.70, 0.75, 0.80, 0.85, 0.90, 0.95, 1.00},       \
    .y = {a, b, c, d, e, f, g, h, i, j, k, l, m_, n_, o, p, q, r, s, t, u},  \
    .m = {                                                                   \
      FIRST(a, b, c, 0.05),                                                  \
      MID(a, b, c, 0.05),                                                    \
      MID(b, c, d, 0.05),                                                    \
      MID(c, d, e, 0.05),                                                    \
      MID(d, e, f, 0.05),                                                    \
      MID(e, f, g, 0.05),                                                    \
      MID(f, g, h, 0.05),                                                    \
      MID(g, h, i, 0.05),                                                    \
      MID(h, i, j, 0.05),                                                    \
      MID(i, j, k, 0.05),                                                    \
      MID(j, k, l, 0.05),                                                    \
      MID(k, l, m_, 0.05),                                                   \
      MID(l, m_, n_, 0.05),                                                  \
      MID(m_, n_, o, 0.05),                                                  \
      MID(n_, o, p, 0.05),                                                   \
      MID(o, p, q, 0.05),                                                    \
      MID(p, q, r, 0.05),                                                    \
      MID(q, r, s, 0.05),                                                    \
      MID(r, s, t, 0.05),                                                    \
      MID(s, t, u, 0.05),                                                    \
      LAST(s, t, u, 0.05)                                                    \
    }                                                                        \
  }

/* 5 voltages at 0, 25 .. 100 % SoC */
#define TABLE_5(a, b, c, d, e)                                               \
  {                                                                          \
    .n = 5, .kind = AMP_INTERP_MONOTONE,                                     \
    .x = {0.00, 0.25, 0.50, 0.75, 1.00}, .y = {a, b, c, d, e}, .m = {        \
      FIRST(a, b, c, 0.25),                                                  \
      MID(a, b, c, 0.25),                                                    \
      MID(b, c, d, 0.25),                                                    \
      MID(c, d, e, 0.25),                                                    \
      LAST(c, d, e, 0.25)                                                    \
    }                                                                        \
  }

/*
** v_nominal: common practice, no source: 3.65 V a group for every nickel-
** rich chemistry, 3.2 V for LFP; the blend's 3.8 V is the data set's own
** (the same type counts as 3.75 V elsewhere, from memory). Daily limits:
** common practice, no source, nickel-rich 3.2-3.4 to 4.00-4.10 V and LFP
** 2.9-3.1 to 3.45-3.50 V; one value of each range is taken here.
*/
static const amp_chemistry built_in[] = {
    {.name = "nmc111",
     .ocv = TABLE_21(2.895, 3.384, 3.475, 3.501, 3.539, 3.570, 3.595, 3.615,
                     3.633, 3.651, 3.672, 3.698, 3.732, 3.777, 3.833, 3.891,
                     3.947, 4.003, 4.060, 4.120, 4.194),
     .v_nominal = 3.65,
     .v_min = 2.7, /* 2.7 .. 4.2: parameter file of the same pouch */
     .v_max = 4.2,
     .v_daily_min = 3.30,
     .v_daily_max = 4.10,
     .source = "measured C/20 discharge at 25 C of a 12.5 Ah NMC111/graphite "
               "pouch, published parameter file, 2022; see docs/sources.md"},
    {.name = "nmc811",
     .ocv = TABLE_21(2.520, 3.162, 3.304, 3.401, 3.475, 3.521, 3.576, 3.614,
                     3.644, 3.676, 3.717, 3.765, 3.817, 3.875, 3.920, 3.965,
                     4.018, 4.067, 4.092, 4.116, 4.194),
     .v_nominal = 3.65,
     .v_min = 2.5, /* lowest voltage of the source's file; 2.0 in others */
     .v_max = 4.2,
     .v_daily_min = 3.30,
     .v_daily_max = 4.10,
     .source =
         "mean of slow charge and discharge, 5 Ah 21700 with silicon in "
         "the negative (chemistry from memory); see docs/sources.md"},
    {.name = "nca",
     .ocv = TABLE_21(2.535, 3.133, 3.268, 3.350, 3.413, 3.499, 3.559, 3.610,
                     3.661, 3.706, 3.753, 3.798, 3.839, 3.882, 3.923, 3.979,
                     4.037, 4.075, 4.091, 4.112, 4.175),
     .v_nominal = 3.65,
     .v_min = 2.5, /* 2.5 .. 4.2: Preger et al. 2020, table I */
     .v_max = 4.2,
     .v_daily_min = 3.30,
     .v_daily_max = 4.10,
     .source = "mean of C/20 charge and discharge, 3 Ah 18650 (called NCA or "
               "NMC in different papers); see docs/sources.md"},
    {.name = "lfp",
     .ocv = TABLE_21(2.010, 3.072, 3.203, 3.216, 3.241, 3.262, 3.278, 3.288,
                     3.295, 3.297, 3.299, 3.301, 3.303, 3.307, 3.316, 3.333,
                     3.337, 3.339, 3.341, 3.343, 3.598),
     .v_nominal = 3.2,
     .v_min = 2.5, /* 2.5 .. 3.65: sheet of a 302 Ah prismatic */
     .v_max = 3.65,
     .v_daily_min = 3.00,
     .v_daily_max = 3.45,
     /* rises less than 2 mV a per cent, save one step of 17 mV near 72 % */
     .flat_lo = 0.30,
     .flat_hi = 0.95,
     .source = "C/32 mean of charge and discharge, room temperature, 1.1 Ah "
               "LFP 18650; see docs/sources.md"},
    {.name = "lmo_blend",
     .ocv = TABLE_21(3.480, 3.522, 3.603, 3.695, 3.749, 3.787, 3.822, 3.854,
                     3.879, 3.898, 3.917, 3.937, 3.955, 3.972, 3.992, 4.023,
                     4.051, 4.069, 4.090, 4.136, 4.182),
     .v_nominal = 3.8,
     .v_min = 3.0, /* 3.0 .. 4.2: limits of the data set's tests */
     .v_max = 4.2,
     /* assumed: the table's 0 % rests at 3.48 V, so the nickel-rich floor
      would use all of it */
     .v_daily_min = 3.55,
     .v_daily_max = 4.10,
     .source = "1 h rest voltages at 25 C, 33 Ah LMO/nickel-oxide pouch, doi "
               "10.5281/zenodo.2580327; see docs/sources.md"},
    {.name = "lead_acid",
     .ocv = TABLE_5(11.6 / 6, 12.0 / 6, 12.2 / 6, 12.4 / 6, 12.6 / 6),
     .v_nominal = 2.0,
     .v_min = 1.75,           /* under load, from memory */
     .v_max = 2.45,           /* absorption, from memory */
     .v_daily_min = 12.2 / 6, /* 50 % deep: common practice, no source */
     .v_daily_max = 2.40,     /* absorption, from memory */
     .source = "rest voltages of a flooded 12 V battery over 6, as read on a "
               "mailing list; see docs/sources.md"},
};

enum { BUILT_IN = sizeof built_in / sizeof *built_in };

const amp_chemistry *amp_chemistry_find (const char *name) {
  for (int i = 0; name != NULL && i < BUILT_IN; i++)
    if (strcmp(built_in[i].name, name) == 0)
      return &built_in[i];
  return NULL;
}

/* As the trade spells them; letters and digits alone, lower case. */
static const struct {
  const char *theirs, *ours;
} spellings[] = {{"lfp", "lfp"},
                 {"lifepo4", "lfp"},
                 {"lifepo", "lfp"},
                 {"life", "lfp"},
                 {"ironphosphate", "lfp"},
                 {"lithiumironphosphate", "lfp"},
                 {"nmc", "nmc111 or nmc811"},
                 {"ncm", "nmc111 or nmc811"},
                 {"linimncoo2", "nmc111 or nmc811"},
                 {"nmc111", "nmc111"},
                 {"ncm111", "nmc111"},
                 {"nmc333", "nmc111"},
                 {"nmc532", "nmc111 or nmc811"},
                 {"nmc622", "nmc111 or nmc811"},
                 {"ncm622", "nmc111 or nmc811"},
                 {"nmc811", "nmc811"},
                 {"ncm811", "nmc811"},
                 {"nca", "nca"},
                 {"linicoalo2", "nca"},
                 {"lmo", "lmo_blend"},
                 {"limn2o4", "lmo_blend"},
                 {"lmoblend", "lmo_blend"},
                 {"lead", "lead_acid"},
                 {"leadacid", "lead_acid"},
                 {"pb", "lead_acid"},
                 {"agm", "lead_acid"},
                 {"gel", "lead_acid"}};

const char *amp_chemistry_like (const char *name) {
  char plain[24];
  size_t n = 0;
  for (; *name != '\0' && n + 1 < sizeof plain; name++) {
    char c = *name;
    if (c >= 'A' && c <= 'Z')
      c = (char)(c - 'A' + 'a');
    if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
      plain[n++] = c;
  }
  plain[n] = '\0';
  if (*name != '\0')
    return NULL;
  for (size_t i = 0; i < sizeof spellings / sizeof *spellings; i++)
    if (strcmp(plain, spellings[i].theirs) == 0)
      return spellings[i].ours;
  return NULL;
}

const char *amp_chemistry_name (int i) {
  return i >= 0 && i < BUILT_IN ? built_in[i].name : NULL;
}

/* The table: from 0 to 1, voltage rising with charge, slopes filled in. */
static amp_status check_table (const amp_curve *c, amp_error *err) {
  if (c->n < 2 || c->n > AMP_CURVE_MAX)
    return amp_fail(err, AMP_ERANGE, "ocv", c->n, 2, AMP_CURVE_MAX);
  if (!(c->x[0] == 0.0 && c->x[c->n - 1] == 1.0))
    return amp_failf(err, AMP_ERANGE, "ocv",
                     "the table must go from 0 to 100 %% SoC");
  for (int i = 0; i < c->n; i++) {
    if (!(c->y[i] >= 0.1 && c->y[i] <= 10.0))
      return amp_fail(err, AMP_ERANGE, "ocv", c->y[i], 0.1, 10.0);
    if (!(c->m[i] >= 0.0 && c->m[i] <= 1e6))
      return amp_fail(err, AMP_ERANGE, "ocv", c->m[i], 0.0, 1e6);
    if (i > 0 && !(c->x[i] > c->x[i - 1] && c->y[i] > c->y[i - 1]))
      return amp_failf(err, AMP_ERANGE, "ocv",
                       "voltage must rise with charge: point %d does not "
                       "lie above the one before",
                       i + 1);
  }
  return AMP_OK;
}

amp_status amp_chemistry_check (const amp_chemistry *c, amp_error *err) {
  amp_status st;
  if (c == NULL)
    return amp_failf(err, AMP_EMISSING, "chemistry", "no chemistry given");
  if ((st = check_table(&c->ocv, err)) != AMP_OK)
    return st;
  const struct {
    const char *field;
    double v, lo, hi;
  } row[] = {{"v_min", c->v_min, 0.1, 10.0},
             {"v_max", c->v_max, c->v_min, 10.0},
             {"v_nominal", c->v_nominal, c->v_min, c->v_max},
             {"v_daily_min", c->v_daily_min, c->v_min, c->v_max},
             {"v_daily_max", c->v_daily_max, c->v_daily_min, c->v_max},
             {"flat_lo", c->flat_lo, 0.0, 1.0},
             {"flat_hi", c->flat_hi, 0.0, 1.0}};
  for (size_t i = 0; i < sizeof row / sizeof *row; i++)
    if ((st = amp_check_range(err, row[i].field, row[i].v, row[i].lo,
                              row[i].hi)) != AMP_OK)
      return st;
  if (!(c->v_min < c->v_max))
    return amp_fail(err, AMP_ERANGE, "v_max", c->v_max, c->v_min, 10.0);
  return AMP_OK;
}

double amp_chemistry_ocv (const amp_chemistry *c, double soc) {
  return amp_curve_at(&c->ocv, soc);
}

amp_status amp_chemistry_soc (const amp_chemistry *c, double v, double *soc,
                              amp_error *err) {
  double x = 0.0;
  amp_status st = amp_curve_inverse(&c->ocv, v, &x, err);
  if (st == AMP_ERANGE) /* the same, with our name for the field */
    return amp_fail(err, AMP_ERANGE, "v", v, c->ocv.y[0],
                    c->ocv.y[c->ocv.n - 1]);
  if (st != AMP_OK)
    return st;
  if (c->flat_lo < c->flat_hi && x > c->flat_lo && x < c->flat_hi) {
    amp_failf(err, AMP_EREFUSED, "v",
              "a rest voltage of %g V tells no state of charge here: "
              "anything between %g and %g %% is possible",
              v, 100.0 * c->flat_lo, 100.0 * c->flat_hi);
    if (err != NULL) {
      err->value = v;
      err->lo = c->flat_lo;
      err->hi = c->flat_hi;
    }
    return AMP_EREFUSED;
  }
  *soc = x;
  return AMP_OK;
}

double amp_chemistry_soc_at_limit (const amp_chemistry *c, double v) {
  double x = 0.0;
  if (!(v > c->ocv.y[0]))
    return 0.0;
  if (v >= c->ocv.y[c->ocv.n - 1])
    return 1.0;
  return amp_curve_inverse(&c->ocv, v, &x, NULL) == AMP_OK ? x : 0.0;
}
