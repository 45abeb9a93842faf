/*
** bench_agreement.c -- the fit beside measured drives: fitted on the pulse
** tests and the slow discharge of one 18650, then each drive open loop from
** its measured current and the chamber's temperature, with the model's own
** heat. Prints the table of root mean square errors, the wanted figures
** beside; a second one with a drive among the fitted logs where "drive" is
** given. "skipped" without AMPSTEAD_SHARED.
*/
#include "support/drives.h"
#include <stdio.h>
#include <time.h>

static const double want_above[] = {15, 24, 32, 55};
static const double want_whole[] = {18, 26, 42, 60};

static void print_row (const char *what, const double *v, int n,
                       const char *format) {
  printf("  %-38s", what);
  for (int k = 0; k < n; k++)
    printf(format, v[k]);
  printf("\n");
}

static void print_drives (const amp_fit *f) {
  double above[4], whole[4], skin[4], late[4], simple[4];
  for (int k = 0; k < 4; k++) {
    drive_score s, plain;
    if (!drive_measure(f, true, k, &s) || !drive_measure(f, false, k, &plain))
      return;
    above[k] = 1e3 * s.above;
    whole[k] = 1e3 * s.whole;
    skin[k] = s.skin;
    late[k] = 100.0 * s.late;
    simple[k] = 1e3 * plain.above;
  }
  printf("  %-38s%8s%8s%8s%8s\n", "chamber, C", "25", "10", "0", "-10");
  print_row("detailed, above 20 % SoC, mV", above, 4, "%8.1f");
  print_row("  wanted at most", want_above, 4, "%8.0f");
  print_row("detailed, whole drive, mV", whole, 4, "%8.1f");
  print_row("  wanted at most", want_whole, 4, "%8.0f");
  print_row("cut-off at 2.5 V late by, % (2 wanted)", late, 2, "%8.2f");
  print_row("surface, K", skin, 4, "%8.2f");
  print_row("simple, above 20 % SoC, mV", simple, 4, "%8.1f");
}

static int report (const char *title, int drive) {
  static amp_fit f;
  amp_error err = {0};
  clock_t from = clock();
  if (!drive_fit(&f, drive, &err)) {
    printf("skipped: the measured logs are not at hand %s\n", err.text);
    return 0;
  }
  printf("%s: fitted in %.1f s; rms over the pulse logs", title,
         (double)(clock() - from) / CLOCKS_PER_SEC);
  for (int k = 0; k < 4; k++)
    printf(" %.1f", 1e3 * f.rms_detailed[k]);
  printf(" mV (simple");
  for (int k = 0; k < 4; k++)
    printf(" %.1f", 1e3 * f.rms_simple[k]);
  printf(")\n");
  print_drives(&f);
  for (int k = 0; k < f.warnings; k++)
    printf("  note: %s\n", f.warning[k]);
  return 0;
}

int main (int argc, char **argv) {
  (void)argv;
  report("Fitted on pulses", -1);
  if (argc > 1)
    report("Fitted on pulses and the 10 C drive", 1);
  return 0;
}
