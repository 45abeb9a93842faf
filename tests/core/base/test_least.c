/*
** test_least.c -- least squares against certified regressions, closed forms
** and its own words about what data do not say.
*/
#include "support/close.h"
#include "base/least.h"
#include "base/elementary.h"
#include <string.h>

/*
** NIST Statistical Reference Datasets, nonlinear regression (US government,
** public domain), www.itl.nist.gov/div898/strd/nls: data, certified
** parameters and standard deviations.
*/
static const double misra_y[] = {10.07, 14.73, 17.94, 23.93, 29.61,
                                 35.18, 40.02, 44.82, 50.76, 55.05,
                                 61.01, 66.40, 75.47, 81.78};
static const double misra_x[] = {77.6,  114.9, 141.1, 190.8, 239.9,
                                 289.0, 332.8, 378.4, 434.8, 477.3,
                                 536.8, 593.1, 689.1, 760.0};

static const double thurber_y[] = {
    80.574,   84.248,   87.264,   87.195,   89.076,   89.608,   89.868,
    90.101,   92.405,   95.854,   100.696,  101.060,  401.672,  390.724,
    567.534,  635.316,  733.054,  759.087,  894.206,  990.785,  1090.109,
    1080.914, 1122.643, 1178.351, 1260.531, 1273.514, 1288.339, 1327.543,
    1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.350, 1468.705,
    1447.894, 1457.628};
static const double thurber_x[] = {
    -3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699,
    -2.633, -2.481, -2.363, -2.322, -1.501, -1.460, -1.274, -1.212,
    -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309,
    -0.109, -0.103, 0.010,  0.119,  0.377,  0.790,  0.963,  1.006,
    1.115,  1.572,  1.841,  2.047,  2.200};

static amp_status misra (void *arg, const double *p, size_t n, double *r,
                         size_t m) {
  (void)arg;
  (void)n;
  for (size_t k = 0; k < m; k++)
    r[k] = misra_y[k] - p[0] * (1.0 - amp_exp(-p[1] * misra_x[k]));
  return AMP_OK;
}

static amp_status thurber (void *arg, const double *p, size_t n, double *r,
                           size_t m) {
  (void)arg;
  (void)n;
  for (size_t k = 0; k < m; k++) {
    double x = thurber_x[k];
    r[k] = thurber_y[k] - (p[0] + x * (p[1] + x * (p[2] + x * p[3]))) /
                              (1 + x * (p[4] + x * (p[5] + x * p[6])));
  }
  return AMP_OK;
}

static void misra1a_gives_its_certified_values (void **state) {
  const double start[2][2] = {{500, 1e-4}, {250, 5e-4}};
  (void)state;
  for (int i = 0; i < 2; i++) {
    double p[2], sd[2];
    amp_least_result got;
    memcpy(p, start[i], sizeof p);
    assert_int_equal(
        amp_least(NULL, misra, NULL, p, 2, 14, NULL, sd, NULL, &got, NULL),
        AMP_OK);
    assert_true(got.converged);
    assert_close(p[0], 2.3894212918E+02, 1e-6 * 239);
    assert_close(p[1], 5.5015643181E-04, 1e-6 * 5.5e-4);
    assert_close(sd[0], 2.7070075241E+00, 1e-5 * 2.7);
    assert_close(sd[1], 7.2668688436E-06, 1e-5 * 7.3e-6);
    assert_close(got.sum, 1.2455138894E-01, 1e-9);
  }
}

static void thurber_gives_its_certified_values (void **state) {
  const double want[7] = {
      1.2881396800E+03, 1.4910792535E+03, 5.8323836877E+02, 7.5416644291E+01,
      9.6629502864E-01, 3.9797285797E-01, 4.9727297349E-02};
  const double want_sd[7] = {
      4.6647963344E+00, 3.9571156086E+01, 2.8698696102E+01, 5.5675370270E+00,
      3.1333340687E-02, 1.4984928198E-02, 6.5842344623E-03};
  double p[7] = {1000, 1000, 400, 40, 0.7, 0.3, 0.03}, sd[7], c[49];
  amp_least_options opt = {.tolerance = 1e-12};
  amp_least_result got;
  (void)state;
  assert_int_equal(
      amp_least(NULL, thurber, NULL, p, 7, 37, &opt, sd, c, &got, NULL),
      AMP_OK);
  assert_close(got.sum, 5.6427082397E+03, 1e-6);
  for (int i = 0; i < 7; i++) {
    assert_close(p[i], want[i], 1e-6 * fabs(want[i]));
    assert_close(sd[i], want_sd[i], 1e-5 * want_sd[i]);
    assert_close(c[8 * i], 1.0, 0.0);
    for (int j = 0; j < 7; j++)
      assert_true(fabs(c[7 * i + j]) <= 1.0 + 1e-12);
  }
}

/* ---- a straight line: everything in closed form ---- */

enum { POINTS = 20 };
typedef struct line {
  double x[POINTS], y[POINTS];
} line;

static line made_line (void) {
  line l;
  for (int k = 0; k < POINTS; k++) {
    l.x[k] = 3.0 + 0.5 * k;
    l.y[k] = 1.5 + 0.25 * l.x[k] + (k % 3 == 0 ? 0.02 : -0.01);
  }
  return l;
}

static amp_status straight (void *arg, const double *p, size_t n, double *r,
                            size_t m) {
  const line *l = arg;
  (void)n;
  for (size_t k = 0; k < m; k++)
    r[k] = p[0] + p[1] * l->x[k] - l->y[k];
  return AMP_OK;
}

static void line_has_the_covariance_of_its_closed_form (void **state) {
  line l = made_line();
  double p[2] = {0.0, 1.0}, sd[2], c[4], sx = 0, sxx = 0, sy = 0, sxy = 0;
  amp_least_result got;
  (void)state;
  for (int k = 0; k < POINTS; k++) {
    sx += l.x[k];
    sxx += l.x[k] * l.x[k];
    sy += l.y[k];
    sxy += l.x[k] * l.y[k];
  }
  double det = POINTS * sxx - sx * sx;
  assert_int_equal(
      amp_least(NULL, straight, &l, p, 2, POINTS, NULL, sd, c, &got, NULL),
      AMP_OK);
  assert_close(p[0], (sxx * sy - sx * sxy) / det, 1e-7);
  assert_close(p[1], (POINTS * sxy - sx * sy) / det, 1e-8);
  double variance = got.sum / (POINTS - 2);
  assert_close(sd[0], sqrt(variance * sxx / det), 1e-9);
  assert_close(sd[1], sqrt(variance * POINTS / det), 1e-10);
  assert_close(c[1], -sx / sqrt(POINTS * sxx), 1e-7);
  assert_close(c[2], c[1], 0.0);
}

/* ---- what the data do not say ---- */

static amp_status twins (void *arg, const double *p, size_t n, double *r,
                         size_t m) { /* p[0] + p[1] count as one */
  const line *l = arg;
  (void)n;
  for (size_t k = 0; k < m; k++)
    r[k] = p[0] + p[1] + p[2] * l->x[k] - l->y[k];
  return AMP_OK;
}

static void what_the_data_do_not_determine_is_said (void **state) {
  line l = made_line();
  double p[3] = {0.4, 0.4, 0.1}, sd[3], q[3] = {1.0, 0.1, 77.0};
  (void)state;
  assert_int_equal(
      amp_least(NULL, twins, &l, p, 3, POINTS, NULL, sd, NULL, NULL, NULL),
      AMP_OK);
  assert_true(isinf(sd[0]) && isinf(sd[1]));
  assert_true(sd[2] > 0 && sd[2] < 0.01);
  /* a parameter that no residual knows keeps its value */
  assert_int_equal(
      amp_least(NULL, straight, &l, q, 3, POINTS, NULL, sd, NULL, NULL, NULL),
      AMP_OK);
  assert_true(isinf(sd[2]) && isfinite(sd[0]) && isfinite(sd[1]));
  assert_close(q[2], 77.0, 0.0);
}

static void bound_in_the_way_is_reached_exactly (void **state) {
  line l = made_line();
  double lo[2] = {-10, 0.0}, hi[2] = {10, 0.2}, p[2] = {0, 0.1}, sd[2];
  double sum = 0, n = POINTS;
  amp_least_options opt = {.lo = lo, .hi = hi};
  (void)state;
  assert_int_equal(
      amp_least(NULL, straight, &l, p, 2, POINTS, &opt, sd, NULL, NULL, NULL),
      AMP_OK);
  assert_close(p[1], 0.2, 0.0); /* 0.25 is wanted */
  assert_true(isnan(sd[1]));
  for (int k = 0; k < POINTS; k++) /* closed form with the slope held */
    sum += l.y[k] - 0.2 * l.x[k];
  assert_close(p[0], sum / n, 1e-4);
  assert_true(isfinite(sd[0]));
}

static void bounds_out_of_the_way_change_nothing (void **state) {
  line l = made_line();
  double lo[2] = {-50, 0.0}, hi[2] = {INFINITY, 3.0};
  double p[2] = {0, 1.0}, q[2] = {0, 1.0}, sp[2], sq[2];
  amp_least_options opt = {.lo = lo, .hi = hi};
  (void)state;
  assert_int_equal(
      amp_least(NULL, straight, &l, p, 2, POINTS, &opt, sp, NULL, NULL, NULL),
      AMP_OK);
  assert_int_equal(
      amp_least(NULL, straight, &l, q, 2, POINTS, NULL, sq, NULL, NULL, NULL),
      AMP_OK);
  for (int i = 0; i < 2; i++) {
    assert_close(p[i], q[i], 1e-6);
    assert_close(sp[i], sq[i], 1e-6 * sq[i]);
  }
}

/* ---- refusals ---- */

static amp_status logarithm (void *arg, const double *p, size_t n, double *r,
                             size_t m) { /* no value below 0 */
  (void)arg;
  (void)n;
  for (size_t k = 0; k < m; k++)
    r[k] = amp_log(p[0]) - 1.0;
  return AMP_OK;
}

static bool always (void *user) {
  (void)user;
  return true;
}

static void refusals_leave_the_start_as_it_was (void **state) {
  line l = made_line();
  double p[2] = {0.0, 1.0}, bad[1] = {-1.0}, lo[2] = {1, 1}, hi[2] = {2, 2};
  amp_least_options opt = {.lo = lo, .hi = hi};
  amp_context ctx = {.workers = 1, .stop = always};
  amp_error err;
  (void)state;
  assert_int_equal(
      amp_least(NULL, straight, &l, p, 2, 1, NULL, NULL, NULL, NULL, &err),
      AMP_EDATA);
  assert_string_equal(err.text, "1 values do not determine 2 parameters");
  assert_int_equal(amp_least(NULL, straight, &l, p, 2, POINTS, &opt, NULL,
                             NULL, NULL, &err),
                   AMP_ERANGE);
  assert_int_equal(amp_least(NULL, logarithm, NULL, bad, 1, 3, NULL, NULL,
                             NULL, NULL, &err),
                   AMP_EDATA);
  assert_string_equal(err.text,
                      "residual 1 is not a finite number at the start");
  assert_int_equal(amp_least(&ctx, straight, &l, p, 2, POINTS, NULL, NULL,
                             NULL, NULL, &err),
                   AMP_ESTOP);
  assert_close(p[0], 0.0, 0.0);
  assert_close(p[1], 1.0, 0.0);
}

static void a_hole_on_the_way_is_walked_around (void **state) {
  double p[1] = {50.0}; /* the first step would lead below 0 */
  (void)state;
  assert_int_equal(
      amp_least(NULL, logarithm, NULL, p, 1, 3, NULL, NULL, NULL, NULL, NULL),
      AMP_OK);
  assert_close(p[0], 2.718281828459045, 1e-6);
}

static void too_few_calls_are_said (void **state) {
  double p[7] = {1000, 1000, 400, 40, 0.7, 0.3, 0.03};
  amp_least_options opt = {.evaluations = 9};
  amp_least_result got;
  (void)state;
  assert_int_equal(
      amp_least(NULL, thurber, NULL, p, 7, 37, &opt, NULL, NULL, &got, NULL),
      AMP_OK);
  assert_false(got.converged);
  assert_true(got.evaluations < 30);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(misra1a_gives_its_certified_values),
      cmocka_unit_test(thurber_gives_its_certified_values),
      cmocka_unit_test(line_has_the_covariance_of_its_closed_form),
      cmocka_unit_test(what_the_data_do_not_determine_is_said),
      cmocka_unit_test(bound_in_the_way_is_reached_exactly),
      cmocka_unit_test(bounds_out_of_the_way_change_nothing),
      cmocka_unit_test(refusals_leave_the_start_as_it_was),
      cmocka_unit_test(a_hole_on_the_way_is_walked_around),
      cmocka_unit_test(too_few_calls_are_said)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
