/*
** measured.h -- logs of the measured data named by AMPSTEAD_SHARED, for
** tests and benchmarks; where that is not set there are none, and the test
** says "skipped".
*/
#ifndef AMP_TESTS_MEASURED_H
#define AMP_TESTS_MEASURED_H

#include "base/log.h"
#include "base/text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Whole file under AMPSTEAD_SHARED/data, or NULL; free() it. */
static inline char *measured_text (const char *file, size_t *n) {
  const char *shared = getenv("AMPSTEAD_SHARED");
  char path[600];
  FILE *f;
  char *text = NULL;
  if (shared == NULL || strlen(shared) + strlen(file) + 8 > sizeof path)
    return NULL;
  snprintf(path, sizeof path, "%s/data/%s", shared, file);
  if ((f = fopen(path, "rb")) == NULL)
    return NULL;
  if (fseek(f, 0, SEEK_END) == 0) {
    long size = ftell(f);
    rewind(f);
    if (size > 0 && (text = malloc((size_t)size)) != NULL)
      *n = fread(text, 1, (size_t)size, f);
  }
  fclose(f);
  return text;
}

/* One column by its name, NaN where empty; NULL: no such column. */
static inline double *measured_column (const amp_csv *csv, const char *name,
                                double offset) {
  size_t at = amp_csv_find(csv, name), n = amp_csv_rows(csv);
  double *v;
  bool given;
  if (at == (size_t)-1 || (v = malloc(n * sizeof *v)) == NULL)
    return NULL;
  for (size_t i = 0; i < n; i++) {
    if (amp_csv_number(csv, i, at, &v[i], &given, NULL) != AMP_OK || !given)
      v[i] = (double)NAN;
    v[i] += offset;
  }
  return v;
}

/* A log of the folder, at 'celsius' throughout where it has no column of
** temperature; false: not at hand (or broken). */
static inline bool measured_log (const char *file, double celsius,
                                 amp_test_log *out) {
  size_t size;
  char *text = measured_text(file, &size);
  amp_csv *csv = NULL;
  bool good = false;
  if (text == NULL)
    return false;
  if (amp_csv_read(NULL, text, size, NULL, &csv, NULL) == AMP_OK) {
    double *time = measured_column(csv, "time_s", 0.0);
    double *column[AMP_LOG_COLUMNS] = {
        measured_column(csv, "current_A", 0.0),
        measured_column(csv, "voltage_V", 0.0),
        measured_column(csv, "temperature_degC", 273.15), NULL};
    if (column[AMP_LOG_TEMP] == NULL &&
        (column[AMP_LOG_TEMP] = measured_column(csv, "time_s", 0.0)) != NULL)
      for (size_t i = 0; i < amp_csv_rows(csv); i++)
        column[AMP_LOG_TEMP][i] = celsius + 273.15;
    good = time != NULL &&
           amp_log_make(NULL, amp_csv_rows(csv), time,
                        (const double *const *)column, 0, out,
                        NULL) == AMP_OK;
    free(time);
    for (int c = 0; c < AMP_LOG_COLUMNS; c++)
      free(column[c]);
    amp_csv_free(NULL, csv);
  }
  free(text);
  return good;
}

#endif
