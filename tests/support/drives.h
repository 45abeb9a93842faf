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

/*
** Open loop from full with the measured current, the capacity of the pulse
** test at that temperature, and the chamber at the first row's temperature.
** The cut-off is where the mean voltage of a second first falls to 2.5 V
** (measured: to the last row under load where it never does).
*/
static inline bool drive_measure (const amp_fit *f, bool detailed, int which,
                                  drive_score *out) {
  amp_test_log log;
  double a = 0, b = 0, t = 0, e = 0, e0 = 0, cut = 0, was = 0, *room;
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
    if (cut == 0.0 && room[k] <= 2.5)
      cut = log.time[k];
    if (fabs(i[k]) > 0.05)
      was = log.time[k];
  }
  if (cut == 0.0)
    cut = was; /* not reached before the log's own end */
  *out = (drive_score){sqrt(a / (double)na), sqrt(b / (double)(done - 1)),
                       sqrt(t / (double)(done - 1)), cut / was - 1.0,
                       e / e0 - 1.0};
  free(room);
  amp_log_free(NULL, &log);
  return st == AMP_OK && done == n;
}

#endif
