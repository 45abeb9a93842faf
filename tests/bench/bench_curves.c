/*
** bench_curves.c -- 1C discharges of three measured cells down to the cut-
** off, and four drives, open loop: the error of the energy and of the voltage
** above 20 % SoC with the simple and the detailed model, each fitted on the
** cell's own logs, and with a cell of two numbers. "skipped" without
** AMPSTEAD_SHARED.
*/
#include "support/curves.h"
#include <time.h>

static void print_score (const amp_fit *f, bool detailed,
                         const curve_log *l) {
  curve_score s;
  if (curve_measure(f, detailed, l, &s))
    printf("  %+6.2f %% %5.1f mV", 100.0 * s.energy, 1000.0 * s.rms);
  else
    printf("  %17s", "-");
}

static void print_warm (amp_fit *f, const curve_log *l) {
  curve_score s;
  if (curve_measure_warm(f, l, &s))
    printf("  %+6.2f %% %5.1f mV", 100.0 * s.energy, 1000.0 * s.rms);
  else
    printf("  %17s", "-");
}

static void print_cell (int c) {
  static amp_fit f, two;
  amp_error err = {0};
  clock_t from = clock();
  if (!curve_fit(c, 0, false, &f, &err)) {
    printf("skipped: the logs of %s are not at hand %s\n",
           curve_cells[c].name, err.text);
    return;
  }
  curve_two_numbers(&f, c, &two);
  printf("%s: fitted in %.1f s\n", curve_cells[c].name,
         (double)(clock() - from) / CLOCKS_PER_SEC);
  printf("  %-32s  %17s  %17s  %17s  %17s\n", "", "simple", "detailed",
         "detailed, warm*", "two numbers");
  for (int k = 0; k < CURVE_LOGS; k++)
    if (curve_logs[k].cell == c) {
      printf("  %-32s", curve_logs[k].what);
      print_score(&f, false, &curve_logs[k]);
      print_score(&f, true, &curve_logs[k]);
      print_warm(&f, &curve_logs[k]);
      print_score(&two, false, &curve_logs[k]);
      printf("\n");
    }
}

int main (void) {
  for (int c = 0; c < CURVE_CELLS; c++)
    print_cell(c);
  printf("  * at the temperature as measured, not in its chamber with its own"
         " heat\n");
  return 0;
}
