/*
** test_fit_ocv.c -- the open-circuit curve and the capacity come back from
** logs of a cell that is known, and the faults of a log are named.
*/
#include "support/close.h"
#include "support/made_logs.h"
#include "cell/fit.h"
#include <string.h>

#define AH 3600.0

/* Known: the built-in NCA table with 3 Ah and 30 mohm in all. */
static amp_cell known_cell (void) {
  amp_cell c = amp_cell_defaults();
  c.capacity = 3.0 * AH;
  c.r0 = 0.020;
  c.r1 = 0.006;
  c.r2 = 0.004;
  c.tau1 = 10;
  c.tau2 = 300;
  return c;
}

static amp_test_log slow_log (const amp_cell *cell, const amp_chemistry *chem,
                              double offset, double leads, bool both) {
  maker m = make_log(cell, chem, 1.0, 298.15);
  amp_test_log log;
  double i = cell->capacity / 3600.0 / 20.0;
  m.offset = offset;
  m.leads = leads;
  maker_run(&m, 0, 60, 60);
  maker_run(&m, i, 80000, 60);
  maker_run(&m, 0, 3600, 60);
  if (both)
    maker_run(&m, -i, 80000, 60);
  assert_true(maker_done(&m, &log));
  return log;
}

static amp_test_log pulse_log (const amp_cell *cell,
                               const amp_chemistry *chem, double soc) {
  maker m = make_log(cell, chem, soc, 298.15);
  amp_test_log log;
  maker_pulses(&m);
  assert_true(maker_done(&m, &log));
  return log;
}

static bool warned (const amp_fit *fit, const char *word) {
  for (int k = 0; k < fit->warnings; k++)
    if (strstr(fit->warning[k], word) != NULL)
      return true;
  return false;
}

static amp_fit fit; /* large */

static void fit_now (const amp_fit_input *in) {
  amp_error err = {0};
  memset(&fit, 0, sizeof fit);
  if (amp_fit_ocv(NULL, in, &fit, &err) != AMP_OK)
    fail_msg("%s", err.text);
}

static double worst (const amp_chemistry *want, double from, double to) {
  double most = 0.0;
  for (double z = from; z <= to; z += 0.01)
    most = fmax(most, fabs(amp_curve_at(&fit.chemistry.ocv, z) -
                           amp_chemistry_ocv(want, z)));
  return most;
}

static void slow_log_gives_the_curve_back (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  const amp_chemistry *shape = amp_chemistry_find("nmc111"); /* not used */
  amp_cell cell = known_cell();
  amp_test_log log = slow_log(&cell, nca, 0, 0, true);
  amp_fit_input in = {.chemistry = shape, .capacity = 3 * AH, .slow = &log};
  (void)state;
  fit_now(&in);
  assert_true(worst(nca, 0.1, 0.98) < 0.003);
  assert_true(worst(nca, 0.02, 0.1) < 0.010);
  assert_int_equal(fit.warnings, 0);
  assert_close(fit.chemistry.v_min, shape->v_min, 0);
  assert_close(fit.current_offset, 0, 0.001);
  amp_log_free(NULL, &log);
}

static void offset_of_the_current_is_found_and_harmless (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  amp_cell cell = known_cell();
  amp_test_log log = slow_log(&cell, nca, 0.009, 0, true);
  amp_fit_input in = {.chemistry = nca, .capacity = 3 * AH, .slow = &log};
  (void)state;
  fit_now(&in);
  assert_close(fit.current_offset, 0.009, 0.0005);
  assert_true(warned(&fit, "current offset"));
  assert_true(worst(nca, 0.1, 0.98) < 0.004);
  amp_log_free(NULL, &log);
}

static void lead_resistance_is_found_and_taken_off (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  amp_cell cell = known_cell();
  amp_test_log log = slow_log(&cell, nca, 0, 0.5, false); /* 75 mV at C/20 */
  amp_test_log pulses = pulse_log(&cell, nca, 1.0);
  amp_fit_input in = {.chemistry = nca,
                      .capacity = 3 * AH,
                      .slow = &log,
                      .pulses = 1,
                      .pulse = {&pulses}};
  (void)state;
  fit_now(&in);
  assert_true(warned(&fit, "lead resistance"));
  assert_true(warned(&fit, "520.")); /* mohm: leads and r0 */
  assert_true(worst(nca, 0.1, 0.98) < 0.005);
  amp_log_free(NULL, &log);
  amp_log_free(NULL, &pulses);
}

static void capacity_of_each_log_comes_from_its_rests (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  amp_cell cell = known_cell(), weak = known_cell();
  weak.capacity = 2.6 * AH;
  amp_test_log slow = slow_log(&cell, nca, 0, 0, true);
  amp_test_log a = pulse_log(&cell, nca, 1.0), b = pulse_log(&weak, nca, 1.0);
  amp_test_log part = pulse_log(&cell, nca, 0.8);
  amp_fit_input in = {.chemistry = nca,
                      .capacity = 3 * AH,
                      .slow = &slow,
                      .pulses = 3,
                      .pulse = {&a, &b, &part}};
  (void)state;
  fit_now(&in);
  assert_close(fit.capacity_at[0], 3.0 * AH, 0.02 * AH);
  assert_close(fit.capacity_at[1], 2.6 * AH, 0.02 * AH);
  assert_close(fit.capacity_at[2], 3.0 * AH, 0.03 * AH);
  assert_close(fit.soc_at[0], 1.0, 0.0);
  assert_close(fit.soc_at[2], 0.8, 0.01); /* not full: found */
  in.pulse_capacity[1] = 2.7 * AH;        /* given: taken */
  fit_now(&in);
  assert_close(fit.capacity_at[1], 2.7 * AH, 1e-9);
  amp_log_free(NULL, &slow);
  amp_log_free(NULL, &a);
  amp_log_free(NULL, &b);
  amp_log_free(NULL, &part);
}

static void rests_move_a_table_of_another_cell (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  const amp_chemistry *other = amp_chemistry_find("nmc811");
  amp_cell cell = known_cell();
  amp_test_log a = pulse_log(&cell, nca, 1.0);
  amp_fit_input in = {
      .chemistry = other, .capacity = 3 * AH, .pulses = 1, .pulse = {&a}};
  double before = 0.0;
  (void)state;
  fit_now(&in);
  for (double z = 0.1; z < 0.98; z += 0.01)
    before = fmax(before, fabs(amp_chemistry_ocv(other, z) -
                               amp_chemistry_ocv(nca, z)));
  assert_true(before > 0.04);
  assert_true(worst(nca, 0.1, 0.98) < 0.5 * before);
  amp_log_free(NULL, &a);
}

static void curve_of_a_flat_chemistry_still_rises (void **state) {
  const amp_chemistry *lfp = amp_chemistry_find("lfp");
  amp_cell cell = known_cell();
  maker m = make_log(&cell, lfp, 1.0, 298.15);
  amp_test_log a;
  amp_fit_input in = {.chemistry = lfp, .capacity = 3 * AH, .pulses = 1};
  (void)state;
  m.noise = 0.002;
  maker_pulses(&m);
  assert_true(maker_done(&m, &a));
  in.pulse[0] = &a;
  fit_now(&in);
  for (int k = 1; k < fit.chemistry.ocv.n; k++)
    assert_true(fit.chemistry.ocv.y[k] > fit.chemistry.ocv.y[k - 1]);
  assert_true(worst(lfp, 0.05, 0.98) < 0.006);
  assert_close(fit.capacity_at[0], 3 * AH, 0.06 * AH);
  amp_log_free(NULL, &a);
}

static void logs_that_do_not_serve_are_refused (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  amp_cell cell = known_cell();
  amp_test_log good = pulse_log(&cell, nca, 1.0), brief, dumb = good;
  maker m = make_log(&cell, nca, 1.0, 298.15);
  maker_run(&m, 3, 100, 60);
  assert_true(maker_done(&m, &brief));
  dumb.column[AMP_LOG_VOLTAGE] = NULL;
  amp_fit_input in = {.chemistry = nca,
                      .capacity = 3 * AH,
                      .pulses = 2,
                      .pulse = {&good, &brief}};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_fit_ocv(NULL, &in, &fit, &err), AMP_EDATA);
  assert_int_equal(err.line, 2);
  assert_string_equal(err.text,
                      "the log moves 0.08333 Ah, and 0.3 Ah are needed");
  in.pulse[1] = &dumb;
  assert_int_equal(amp_fit_ocv(NULL, &in, &fit, &err), AMP_EDATA);
  assert_string_equal(err.text, "the log has no voltage");
  in.pulses = 1;
  in.slow = &brief;
  assert_int_equal(amp_fit_ocv(NULL, &in, &fit, &err), AMP_EDATA);
  amp_log_free(NULL, &good);
  amp_log_free(NULL, &brief);
}

static void log_of_another_chemistry_is_said_or_refused (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  amp_cell cell = known_cell();
  amp_test_log lfp = pulse_log(&cell, amp_chemistry_find("lfp"), 1.0);
  amp_fit_input in = {
      .chemistry = nca, .capacity = 3 * AH, .pulses = 1, .pulse = {&lfp}};
  amp_error err = {0};
  (void)state;
  fit_now(&in);
  assert_true(warned(&fit, "is the chemistry right?"));
  /* a start from empty cannot give off 3 Ah */
  in.pulse_capacity[0] = 0.5 * AH;
  in.capacity = 0.5 * AH;
  memset(&fit, 0, sizeof fit);
  lfp.column[AMP_LOG_VOLTAGE][0] = 2.0;
  assert_int_equal(amp_fit_ocv(NULL, &in, &fit, &err), AMP_EDATA);
  assert_int_equal(err.line, 1);
  assert_non_null(strstr(err.text, "the log does not fit the curve"));
  amp_log_free(NULL, &lfp);
}

static void log_that_never_rests_is_said_to_begin_full (void **state) {
  const amp_chemistry *nca = amp_chemistry_find("nca");
  amp_cell cell = known_cell();
  maker m = make_log(&cell, nca, 1.0, 298.15);
  amp_test_log log;
  amp_fit_input in = {.chemistry = nca, .capacity = 2.9 * AH, .pulses = 1};
  (void)state;
  for (int k = 0; k < 12; k++) {
    maker_run(&m, 3, 200, 10);
    maker_run(&m, 1, 100, 10);
  }
  assert_true(maker_done(&m, &log));
  log.column[AMP_LOG_CURRENT][0] = 3; /* it begins under load */
  in.pulse[0] = &log;
  fit_now(&in);
  assert_true(warned(&fit, "holds no rest; it is taken to begin full"));
  assert_true(warned(&fit, "its rests do not determine the capacity"));
  assert_true(warned(&fit, "2.9 Ah of the label are taken"));
  assert_close(fit.capacity_at[0], 2.9 * AH, 1e-6);
  /* beside a log that knows better, that one's */
  amp_test_log pulses = pulse_log(&cell, nca, 1.0);
  in.pulses = 2;
  in.pulse[1] = &pulses;
  fit_now(&in);
  assert_close(fit.capacity_at[1], 3.0 * AH, 0.03 * AH);
  assert_close(fit.capacity_at[0], fit.capacity_at[1], 0);
  amp_log_free(NULL, &pulses);
  amp_log_free(NULL, &log);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(slow_log_gives_the_curve_back),
      cmocka_unit_test(offset_of_the_current_is_found_and_harmless),
      cmocka_unit_test(lead_resistance_is_found_and_taken_off),
      cmocka_unit_test(capacity_of_each_log_comes_from_its_rests),
      cmocka_unit_test(rests_move_a_table_of_another_cell),
      cmocka_unit_test(curve_of_a_flat_chemistry_still_rises),
      cmocka_unit_test(log_of_another_chemistry_is_said_or_refused),
      cmocka_unit_test(log_that_never_rests_is_said_to_begin_full),
      cmocka_unit_test(logs_that_do_not_serve_are_refused)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
