/*
** curves.h -- the three measured cells, fitted on their own logs, and what
** they are held against: 1C discharges down to the cut-off and two drives.
** Used by the test that keeps the figures and by the benchmark that prints
** them.
*/
#ifndef AMP_TESTS_CURVES_H
#define AMP_TESTS_CURVES_H

#include "cell/fit.h"
#include "support/measured.h"
#include <math.h>

typedef struct curve_cell {
  const char *name, *chemistry;
  double ah;
  int pulses;
  const char *pulse[4];
  double celsius[4]; /* of the chamber */
  const char *slow;  /* NULL: none */
} curve_cell;

enum { CURVE_NCA, CURVE_POUCH, CURVE_LFP, CURVE_CELLS };

static const curve_cell curve_cells[CURVE_CELLS] = {
    {"NCA 18650", "nca", 2.9, 4,
     {"cell_nca_18650/pulse_25degC.csv", "cell_nca_18650/pulse_10degC.csv",
      "cell_nca_18650/pulse_00degC.csv", "cell_nca_18650/pulse_m10degC.csv"},
     {25, 10, 0, -10}, "cell_nca_18650/c20_discharge_charge_25degC.csv"},
    {"33 Ah pouch", "lmo_blend", 33, 2,
     {"cell_ev_pouch_33Ah/pulse_25degC.csv",
      "cell_ev_pouch_33Ah/pulse_10degC.csv"},
     {25, 10}, "cell_ev_pouch_33Ah/c15_cycles_10_24_40degC_all.csv"},
    {"LFP 26650", "lfp", 2.6, 2,
     {"cell_lfp_26650/pulse_20degC.csv", "cell_lfp_26650/pulse_40degC.csv"},
     {20, 40}, NULL}};

typedef struct curve_log {
  int cell;
  const char *what, *file;
  double celsius;   /* of the chamber */
  size_t from, to;  /* rows; to 0: the last */
  double ah;        /* 0: the fitted cell's; drives: near the pulse test's */
  double soc;       /* at row 'from' */
} curve_log;

/* The NCA cell's 1C log begins up to 10 s into the discharge: 5 s are
** taken. Rows 345 and so on of the pouch's are the last of a rest. */
static const curve_log curve_logs[] = {
    {CURVE_NCA, "1C at 25 C", "cell_nca_18650/discharge_1C_25degC_1.csv", 25,
     0, 348, 0, 1.0 - 5.0 / 3600.0},
    {CURVE_POUCH, "1C at room temperature, first",
     "cell_ev_pouch_33Ah/cycles_1C_discharge.csv", 25, 345, 464, 0, 1.0},
    {CURVE_POUCH, "1C at room temperature, second",
     "cell_ev_pouch_33Ah/cycles_1C_discharge.csv", 25, 811, 930, 0, 1.0},
    {CURVE_POUCH, "1C at room temperature, third",
     "cell_ev_pouch_33Ah/cycles_1C_discharge.csv", 25, 1277, 1396, 0, 1.0},
    {CURVE_LFP, "1C at 20 C", "cell_lfp_26650/discharge_1C_20degC.csv", 20, 0,
     0, 0, 1.0},
    {CURVE_NCA, "US06 at 25 C", "cell_nca_18650/drive_us06_25degC.csv", 25, 0,
     0, 2.8, 1.0},
    {CURVE_NCA, "US06 at 10 C", "cell_nca_18650/drive_us06_10degC.csv", 10, 0,
     0, 2.7, 1.0},
    {CURVE_NCA, "US06 at 0 C", "cell_nca_18650/drive_us06_00degC.csv", 0, 0,
     0, 2.68, 1.0},
    {CURVE_NCA, "US06 at -10 C", "cell_nca_18650/drive_us06_m10degC.csv", -10,
     0, 0, 2.62, 1.0}};
enum { CURVE_LOGS = sizeof curve_logs / sizeof *curve_logs };

/* Fit cell c on the first 'pulses' of its logs (0: all of them). false: not
** at hand, or refused (err). */
static inline bool curve_fit (int c, int pulses, bool simple_only, amp_fit *f,
                              amp_error *err) {
  static amp_test_log log[4], slow;
  const curve_cell *cell = &curve_cells[c];
  amp_fit_input in = {.chemistry = amp_chemistry_find(cell->chemistry),
                      .capacity = cell->ah * 3600.0,
                      .pulses = pulses > 0 ? pulses : cell->pulses,
                      .simple_only = simple_only};
  bool ok;
  for (int k = 0; k < in.pulses; k++) {
    if (!measured_log(cell->pulse[k], cell->celsius[k], &log[k]))
      return false;
    in.pulse[k] = &log[k];
    in.pulse_name[k] = cell->pulse[k];
  }
  if (cell->slow != NULL && measured_log(cell->slow, 25, &slow))
    in.slow = &slow;
  ok = amp_fit_cell(NULL, &in, f, err) == AMP_OK;
  for (int k = 0; k < in.pulses; k++)
    amp_log_free(NULL, &log[k]);
  if (in.slow != NULL)
    amp_log_free(NULL, &slow);
  return ok;
}

typedef struct curve_score {
  double energy; /* model over measured, less 1 */
  double rms;    /* V, above 20 % SoC */
  double end;    /* V, model less measured at the last row reached */
} curve_score;

/* The drives' rows hold the mean voltage of their second, the others that
** at their time. */
static inline void curve_sum (const amp_test_log *log, bool means,
                              size_t done, const double *v,
                              const double *mean, const double *z,
                              curve_score *out) {
  const double *u = log->column[AMP_LOG_VOLTAGE];
  double got = 0, want = 0, n = 0;
  *out = (curve_score){.end = v[done - 1] - u[done - 1]};
  for (size_t k = 1; k < done; k++) {
    double q = log->column[AMP_LOG_CURRENT][k] *
               (log->time[k] - log->time[k - 1]);
    double e = (means ? mean[k] : v[k]) - u[k];
    got += mean[k] * q;
    want += (means ? u[k] : 0.5 * (u[k] + u[k - 1])) * q;
    if (z[k] > 0.2) {
      out->rms += e * e;
      n++;
    }
  }
  out->energy = got / want - 1.0;
  out->rms = sqrt(out->rms / n);
}

/* Log 'l' with fit f in surroundings of 'ambient' K, or, NaN, at the measured
** temperature. false: not at hand, or the model ran empty more than two rows
** early. */
static inline bool curve_measure_at (const amp_fit *f, bool detailed,
                                     const curve_log *l, double ambient,
                                     curve_score *out) {
  amp_test_log log, part;
  size_t done = 0;
  bool ok;
  if (!measured_log(l->file, l->celsius, &log))
    return false;
  part = log;
  part.n = (l->to > 0 ? l->to + 1 : log.n) - l->from;
  part.time += l->from;
  for (int c = 0; c < AMP_LOG_COLUMNS; c++)
    if (part.column[c] != NULL)
      part.column[c] += l->from;
  double *v = malloc(3 * part.n * sizeof *v);
  ok = v != NULL &&
       amp_fit_replay(NULL, f, detailed, &part,
                      l->ah > 0 ? l->ah * 3600.0 : f->simple.capacity, l->soc,
                      ambient, v, v + part.n, v + 2 * part.n, NULL, &done,
                      NULL) == AMP_OK &&
       done + 2 >= part.n;
  if (ok)
    curve_sum(&part, strstr(l->file, "drive") != NULL, done, v, v + part.n,
              v + 2 * part.n, out);
  free(v);
  amp_log_free(NULL, &log);
  return ok;
}

/* The simple model at the measured temperature, the detailed one in its
** chamber with its own heat. */
static inline bool curve_measure (const amp_fit *f, bool detailed,
                                  const curve_log *l, curve_score *out) {
  return curve_measure_at(
      f, detailed, l, detailed ? l->celsius + 273.15 : (double)NAN, out);
}

/* The detailed model held at the measured temperature, without heat of its
** own. */
static inline bool curve_measure_warm (amp_fit *f, const curve_log *l,
                                       curve_score *out) {
  amp_detailed own = f->detailed;
  bool ok;
  f->detailed.heat_core = f->detailed.heat_skin = 0.0;
  ok = curve_measure_at(f, true, l, (double)NAN, out);
  f->detailed = own;
  return ok;
}

/* The cell somebody knows by two numbers: the fitted one's capacity and 10 s
** resistance at 50 %, its chemistry's table and the defaults for the rest. */
static inline void curve_two_numbers (const amp_fit *f, int c, amp_fit *two) {
  memset(two, 0, sizeof *two);
  two->chemistry = *amp_chemistry_find(curve_cells[c].chemistry);
  two->simple =
      amp_cell_from_r10s(f->simple.capacity, amp_cell_r10s(&f->simple));
}

#endif
