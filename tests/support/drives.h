/*
** drives.h -- the measured drives of the NCA 18650 against a fit: used by
** the test that keeps the figures and by the benchmark that prints them.
*/
#ifndef AMP_TESTS_DRIVES_H
#define AMP_TESTS_DRIVES_H

#include "cell/fit.h"
#include "support/measured.h"
#include <math.h>
#include <stdlib.h>

static const char *const drive_pulse_file[] = {
    "cell_nca_18650/pulse_25degC.csv", "cell_nca_18650/pulse_10degC.csv",
    "cell_nca_18650/pulse_00degC.csv", "cell_nca_18650/pulse_m10degC.csv"};
static const char *const drive_file[] = {
    "cell_nca_18650/drive_us06_25degC.csv",
    "cell_nca_18650/drive_us06_10degC.csv",
    "cell_nca_18650/drive_us06_00degC.csv",
    "cell_nca_18650/drive_us06_m10degC.csv"};
static const double drive_chamber[] = {25, 10, 0, -10};

typedef struct drive_score {
  double above, whole; /* V, root mean square above 20 % SoC, and of all */
  double skin;         /* K, root mean square of the surface */
  double late;         /* time of cut-off over the measured, less 1 */
  double energy;       /* over the measured, less 1 */
} drive_score;

/* Fit on the pulse tests and the slow log, and drive number 'drive' (-1:
** none). false: not at hand, or refused (err). */
static inline bool drive_fit (amp_fit *f, int drive, amp_error *err) {
  static amp_test_log log[5], slow;
  amp_fit_input in = {.chemistry = amp_chemistry_find("nca"),
                      .capacity = 2.9 * 3600.0,
                      .pulses = drive < 0 ? 4 : 5,
                      .slow = &slow,
                      .mass = 0.0475};
  bool ok = true;
  int fifth = drive < 0 ? 0 : drive;
  for (int k = 0; k < in.pulses; k++) {
    const char *file = k < 4 ? drive_pulse_file[k] : drive_file[fifth];
    if (!measured_log(file, drive_chamber[k < 4 ? k : fifth], &log[k]))
      return false;
    in.pulse[k] = &log[k];
    in.pulse_name[k] = file;
  }
  if (!measured_log("cell_nca_18650/c20_discharge_charge_25degC.csv", 25,
                    &slow))
    return false;
  ok = amp_fit_cell(NULL, &in, f, err) == AMP_OK;
  for (int k = 0; k < in.pulses; k++)
    amp_log_free(NULL, &log[k]);
  amp_log_free(NULL, &slow);
  return ok;
}

/* Fit on one log, of capacity ah (0: its own), and the slow one. */
static inline bool drive_fit_one (amp_fit *f, const char *file,
                                  double celsius, double ah,
                                  amp_error *err) {
  static amp_test_log log, slow;
  amp_fit_input in = {.chemistry = amp_chemistry_find("nca"),
                      .capacity = 2.9 * 3600.0,
                      .pulses = 1,
                      .pulse = {&log},
                      .pulse_name = {file},
                      .pulse_capacity = {ah * 3600.0},
                      .slow = &slow};
  bool ok;
  if (!measured_log(file, celsius, &log))
    return false;
  if (!measured_log("cell_nca_18650/c20_discharge_charge_25degC.csv", 25,
                    &slow))
    return false;
  ok = amp_fit_cell(NULL, &in, f, err) == AMP_OK;
  amp_log_free(NULL, &log);
  amp_log_free(NULL, &slow);
  return ok;
}

/* Period of a repeated profile: the lag near ten minutes at which the power
** before row 'end' repeats best. */
static inline size_t drive_period (const amp_test_log *log, size_t end) {
  const double *i = log->column[AMP_LOG_CURRENT];
  const double *v = log->column[AMP_LOG_VOLTAGE];
  double best = INFINITY;
  size_t at = 600;
  for (size_t lag = 560; lag <= 640; lag++) {
    double sum = 0;
    for (size_t k = end - 500; k < end; k++)
      sum += pow(i[k] * v[k] - i[k - lag] * v[k - lag], 2);
    if (sum < best) {
      best = sum;
      at = lag;
    }
  }
  return at;
}

/*
** When the simulated cell first falls to 2.5 V at the end of a second, over
** the time of the log's last row under load (where the tester's cut-off at
** 2.5 V, quicker than a second, ended it), less 1. Where it has not by then,
** the power of the last round goes on, as the test would have.
*/
static inline double drive_late (const amp_fit *f, int which,
                                 const amp_test_log *log) {
  const double *i = log->column[AMP_LOG_CURRENT];
  const double *v = log->column[AMP_LOG_VOLTAGE];
  double ambient = log->column[AMP_LOG_TEMP][0];
  amp_detailed c = f->detailed;
  amp_detailed_state st = amp_detailed_rest(1.0, ambient);
  amp_detailed_out out = {0};
  size_t end = log->n - 1, k = 1, period;
  c.capacity = f->capacity_at[which];
  while (fabs(i[end]) < 0.5) /* the last second is cut short */
    end--;
  period = drive_period(log, end);
  for (; k <= end + 2 * period; k++) {
    bool known = k <= end;
    size_t from = known ? k : end + 1 + (k - end - 1) % period - period;
    if (amp_detailed_step(&c, &f->chemistry, &st,
                          known ? AMP_HOLD_CURRENT : AMP_HOLD_POWER,
                          known ? i[k] : i[from] * v[from],
                          known ? log->time[k] - log->time[k - 1] : 1.0,
                          ambient, &out, NULL) != AMP_OK ||
        out.v_end <= 2.5)
      break;
  }
  return (k <= end ? log->time[k] : log->time[end] + (double)(k - end)) /
             log->time[end] -
         1.0;
}

/*
** Open loop from full with the measured current, the capacity of the pulse
** test at that temperature, and the chamber at the first row's temperature.
*/
static inline bool drive_measure (const amp_fit *f, bool detailed, int which,
                                  drive_score *out) {
  amp_test_log log;
  double a = 0, b = 0, t = 0, e = 0, e0 = 0, *room;
  size_t done, na = 0, n;
  amp_status st;
  if (!measured_log(drive_file[which], drive_chamber[which], &log))
    return false;
  n = log.n;
  room = malloc(4 * n * sizeof *room);
  st = amp_fit_replay(NULL, f, detailed, &log, f->capacity_at[which], 1.0,
                      detailed ? log.column[AMP_LOG_TEMP][0] : (double)NAN,
                      room, room + n, room + 2 * n, room + 3 * n, &done,
                      NULL);
  const double *i = log.column[AMP_LOG_CURRENT];
  const double *v = log.column[AMP_LOG_VOLTAGE];
  for (size_t k = 1; k < done && st == AMP_OK; k++) {
    double d = room[n + k] - v[k], dt = log.time[k] - log.time[k - 1];
    double dT = room[3 * n + k] - log.column[AMP_LOG_TEMP][k];
    b += d * d;
    t += dT * dT;
    e += room[n + k] * i[k] * dt;
    e0 += v[k] * i[k] * dt;
    if (room[2 * n + k] > 0.2) {
      a += d * d;
      na++;
    }
  }
  *out = (drive_score){sqrt(a / (double)na), sqrt(b / (double)(done - 1)),
                       sqrt(t / (double)(done - 1)),
                       detailed ? drive_late(f, which, &log) : 0.0,
                       e / e0 - 1.0};
  free(room);
  amp_log_free(NULL, &log);
  return st == AMP_OK && done == n;
}

#endif
