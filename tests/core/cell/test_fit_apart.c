/*
** test_fit_apart.c -- one cell fitted by its pulse test alone and by a drive
** alone (AMPSTEAD_SHARED; "skipped" where it is not set): the parameters lie
** as far apart as their deviations let expect. docs/model/detailed.md has
** the table.
*/
#include "support/close.h"
#include "support/drives.h"
#include <string.h>

typedef struct apart {
  double square;
  int n, beyond; /* beyond two deviations */
} apart;

/* Parameters of one level that both tests tell: differences over what their
** deviations let expect. */
static apart differences (const amp_fit *a, const amp_fit *b, bool detailed) {
  apart out = {0};
  for (int i = 0; i < a->parameters; i++)
    for (int j = 0; j < b->parameters; j++) {
      const amp_fit_parameter *p = &a->parameter[i], *q = &b->parameter[j];
      if (p->detailed != detailed || q->detailed != detailed ||
          strcmp(p->name, q->name) != 0 || !isfinite(p->sd) ||
          !isfinite(q->sd) || strcmp(p->name, "capacity") == 0 ||
          strcmp(p->name, "hysteresis") == 0 || /* both of the slow log */
          (p->soc == p->soc && fabs(p->soc - q->soc) > 1e-9))
        continue;
      double z = (p->value - q->value) / hypot(p->sd, q->sd);
      out.square += z * z;
      out.beyond += fabs(z) > 2.0 ? 1 : 0;
      out.n++;
    }
  return out;
}

/* Pulses and a drive tell the same cell; so far as its model is right, their
** parameters differ by chance, else by more. With deviations as of
** independent rows it was 6.2 and 6.4 on the detailed level. */
static void two_tests_differ_by_what_they_tell (void **state) {
  static amp_fit pulses, drive;
  amp_error err = {0};
  (void)state;
  for (int k = 0; k < 2; k++) {
    if (!drive_fit_one(&pulses, drive_pulse_file[k], drive_chamber[k], 0,
                       &err)) {
      if (err.status != AMP_OK)
        fail_msg("%s", err.text);
      print_message("skipped: the measured logs are not at hand\n");
      return;
    }
    assert_true(drive_fit_one(&drive, drive_file[k], drive_chamber[k],
                              pulses.capacity_at[0] / 3600.0, &err));
    for (int level = 0; level < 2; level++) {
      apart d = differences(&pulses, &drive, level == 1);
      double rms = sqrt(d.square / d.n);
      print_message("  %g C, %s: pulses and drive %.2f deviations apart (rms"
                    " of %d, %d beyond two)\n",
                    drive_chamber[k], level == 1 ? "detailed" : "simple", rms,
                    d.n, d.beyond);
      assert_true(d.n >= 10);
      assert_true(rms > 0.3 && rms < 1.8);
    }
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(two_tests_differ_by_what_they_tell)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
