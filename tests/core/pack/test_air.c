/*
** test_air.c -- still air along an upright wall, radiation, Biot number:
** handbook values and worked figures.
*/
#include "support/close.h"
#include "base/value.h"
#include "pack/air.h"

#define C(t) ((t) + 273.15)

/* Cengel, table A-15 (read in a stored copy): 20, 25, 35, 50 C */
static void air_reads_as_listed (void **state) {
  static const struct {
    double t, rho, k, mu, pr;
  } want[] = {{20, 1.204, 0.02514, 1.825e-5, 0.7309},
              {25, 1.184, 0.02551, 1.849e-5, 0.7296},
              {35, 1.145, 0.02625, 1.895e-5, 0.7268},
              {50, 1.092, 0.02735, 1.963e-5, 0.7228}};
  amp_air a;
  amp_error err = {0};
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    assert_int_equal(amp_air_at(C(want[i].t), &a, NULL), AMP_OK);
    assert_close(a.density, want[i].rho, 1e-12);
    assert_close(a.heat, 1007.0, 0.0);
    assert_close(a.conductivity, want[i].k, 1e-12);
    assert_close(a.viscosity, want[i].mu, 1e-12);
    assert_close(a.prandtl, want[i].pr, 1e-12);
  }
  /* nu and alpha are listed too: 1.655e-5, 2.277e-5 m2/s at 35 C */
  amp_air_at(C(35), &a, NULL);
  assert_close(a.viscosity / a.density, 1.655e-5, 6e-9);
  assert_close(a.conductivity / (a.density * a.heat), 2.277e-5, 6e-9);
  assert_int_equal(amp_air_at(C(55), &a, &err), AMP_ERANGE);
  assert_int_equal(amp_air_at(AMP_NOT_GIVEN, &a, &err), AMP_ERANGE);
}

/* 0.3 m, 20 K, film at 35 C, worked: Ra 4.562e7; Nu 43.05, h 3.767; all
** flows Nu 48.55, h 4.249; radiation at emissivity 0.9 5.973 W/(m2 K) */
static void an_upright_wall_loses_what_was_worked_out (void **state) {
  amp_still s;
  (void)state;
  assert_int_equal(amp_still_air(0.3, C(45), C(25), 0.9, &s, NULL), AMP_OK);
  assert_close(s.film, C(35), 1e-9);
  assert_close(s.rayleigh, 4.562e7, 0.01e7);
  assert_close(s.low, 3.767, 0.003);
  assert_close(s.high, 4.249, 0.004);
  assert_close(s.radiation, 5.973, 5e-4);
  /* a cold wall draws as much in */
  amp_still t;
  assert_int_equal(amp_still_air(0.3, C(25), C(45), 0.9, &t, NULL), AMP_OK);
  assert_close(t.low, s.low, 1e-12);
}

/* An 18650 cell (V/A 3.95 mm) at 10 W/(m2 K) and 1.0 W/(m K): 0.040; at 500:
** 1.98; 50 mm cooled on both faces at 8 and 0.7: 0.286; 7.1 mm: 0.041 */
static void biot_tells_whether_one_temperature_serves (void **state) {
  (void)state;
  assert_close(amp_biot(10, 3.95e-3, 1.0), 0.040, 5e-4);
  assert_close(amp_biot(500, 3.95e-3, 1.0), 1.98, 5e-3);
  assert_close(amp_biot(8, 25e-3, 0.7), 0.286, 5e-4);
  assert_close(amp_biot(8, 3.55e-3, 0.7), 0.041, 5e-4);
}

static void nonsense_is_refused (void **state) {
  amp_still s = {7.0, 0, 0, 0, 0};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_still_air(0.0, C(45), C(25), 0.9, &s, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "height");
  assert_int_equal(amp_still_air(0.3, C(45), C(25), 1.2, &s, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "emissivity");
  assert_int_equal(amp_still_air(0.3, C(-10), C(-20), 0.9, &s, &err),
                   AMP_ERANGE);
  assert_string_equal(err.field, "film");
  assert_close(s.film, 7.0, 0.0);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(air_reads_as_listed),
      cmocka_unit_test(an_upright_wall_loses_what_was_worked_out),
      cmocka_unit_test(biot_tells_whether_one_temperature_serves),
      cmocka_unit_test(nonsense_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
