/*
** test_cell.c -- laws of the equivalent circuit: exact steps, what a pulse
** shows, and refusals that leave the state alone.
*/
#include "support/close.h"
#include "base/elementary.h"
#include "cell/cell.h"
#include <string.h>

static const amp_chemistry *nmc (void) {
  return amp_chemistry_find("nmc111");
}

static amp_cell_state rested (double soc) {
  return (amp_cell_state){.soc = soc, .temp = 298.15};
}

/* Terminal voltage this instant: a step of no length. */
static double volts (const amp_cell *c, amp_cell_state st, double i) {
  double v = NAN;
  assert_int_equal(amp_cell_step(c, nmc(), &st, i, 0.0, &v, NULL), AMP_OK);
  return v;
}

/* Resistance that a pulse of this length shows, charge taken as endless. */
static double seen_after (const amp_cell *c, double seconds) {
  amp_cell_state st = rested(0.5);
  assert_int_equal(amp_cell_step(c, nmc(), &st, 1.0, seconds, NULL, NULL),
                   AMP_OK);
  return volts(c, rested(st.soc), 0.0) - volts(c, st, 1.0);
}

/* The pulse that the parameters were made from comes out again. */
static void ten_second_pulse_shows_the_resistance_given (void **state) {
  amp_cell c = amp_cell_from_r10s(1e9, 2.03e-3);
  (void)state;
  assert_close(seen_after(&c, 10.0), 2.03e-3, 1e-12);
}

/* A known cell at another 10 s resistance: the pulse shows that one, later
** and earlier readings keep their shares of it. */
static void a_cell_like_another_keeps_its_shares (void **state) {
  amp_cell c = amp_cell_from_r10s(1e9, 2.03e-3);
  c.tau1 = 7.0; /* shares of its own */
  amp_cell like = amp_cell_like(&c, 2e9, 5e-3);
  double times = 5e-3 / seen_after(&c, 10.0);
  (void)state;
  assert_close(amp_cell_r10s(&c), seen_after(&c, 10.0), 1e-12);
  assert_close(seen_after(&like, 10.0), 5e-3, 1e-12);
  assert_close(seen_after(&like, 0.0), times * seen_after(&c, 0.0), 1e-12);
  assert_close(seen_after(&like, 60.0), times * seen_after(&c, 60.0), 1e-12);
  assert_close(like.capacity, 2e9, 0.0);
}

/* 33 Ah pouch at 25 C, mid charge, doi 10.5281/zenodo.2580327: first sample
** 1.57, 10 s 2.03, 30 s 2.53 mohm; readings in steps of 0.03. */
static void other_pulse_lengths_agree_with_the_measured_pouch (void **s) {
  amp_cell c = amp_cell_from_r10s(1e9, 2.03e-3);
  (void)s;
  assert_close(seen_after(&c, 0.0), 1.57e-3, 0.05e-3);
  assert_close(seen_after(&c, 30.0), 2.53e-3, 0.05e-3);
}

static void splitting_a_step_changes_nothing (void **state) {
  amp_cell c = amp_cell_from_r10s(112 * 3600.0, 0.3e-3);
  amp_cell_state whole = rested(0.83), split = rested(0.83);
  double v, v1, v2;
  (void)state;
  whole.v1 = split.v1 = -0.01;
  assert_int_equal(amp_cell_step(&c, nmc(), &whole, 60.0, 3600.0, &v, NULL),
                   AMP_OK);
  assert_int_equal(amp_cell_step(&c, nmc(), &split, 60.0, 1100.0, &v1, NULL),
                   AMP_OK);
  assert_int_equal(amp_cell_step(&c, nmc(), &split, 60.0, 2500.0, &v2, NULL),
                   AMP_OK);
  assert_close(split.soc, whole.soc, 1e-15);
  assert_close(split.v1, whole.v1, 1e-16);
  assert_close(split.v2, whole.v2, 1e-16);
  assert_close((1100.0 * v1 + 2500.0 * v2) / 3600.0, v, 1e-13);
}

/* Mean voltage against a sum of 40000 instants written out here. */
static void mean_voltage_is_the_integral_over_the_step (void **state) {
  amp_cell c = amp_cell_from_r10s(2.9 * 3600.0, 37.5e-3);
  amp_cell_state st = rested(0.97);
  double i = 2.1, dt = 4000.0, v, sum = 0.0;
  int n = 40000;
  (void)state;
  st.v2 = 0.02;
  st.temp = 288.15;
  for (int k = 0; k < n; k++) {
    double t = (k + 0.5) * dt / n, soc = 0.97 - i * t / c.capacity;
    sum += amp_chemistry_ocv(nmc(), soc) - i * amp_cell_r0(&c, soc, 288.15) -
           i * c.r1 * (1 - exp(-t / c.tau1)) -
           (i * c.r2 + (0.02 - i * c.r2) * exp(-t / c.tau2));
  }
  assert_int_equal(amp_cell_step(&c, nmc(), &st, i, dt, &v, NULL), AMP_OK);
  assert_close(v, sum / n, 1e-7);
}

/* exp(1600 (1/283.15 - 1/298.15)) = exp(0.28430) = 1.3288, by hand */
static void cold_raises_the_resistance (void **state) {
  amp_cell c = amp_cell_from_r10s(3600.0, 1.0);
  (void)state;
  assert_close(amp_cell_r0(&c, 0.5, 283.15) / amp_cell_r0(&c, 0.5, 298.15),
               1.3288, 1e-4);
  assert_close(amp_cell_r0(&c, 0.5, 298.15), c.r0, 1e-15);
  assert_close(amp_cell_r0(&c, 0.05, 298.15), 1.075 * c.r0, 1e-12);
  assert_close(amp_cell_r0(&c, 2.0, 298.15), 1.13 * c.r0, 1e-12);
}

static void cells_in_parallel_act_as_one_larger_cell (void **state) {
  amp_cell one = amp_cell_from_r10s(3.3 * 3600.0, 40e-3);
  amp_cell many = amp_cell_parallel(&one, 74.0);
  amp_cell_state a = rested(0.7), b = rested(0.7);
  double va, vb;
  (void)state;
  assert_close(many.capacity, 74 * 3.3 * 3600.0, 1e-6);
  amp_cell_step(&one, nmc(), &a, 1.5, 900.0, &va, NULL);
  amp_cell_step(&many, nmc(), &b, 74 * 1.5, 900.0, &vb, NULL);
  assert_close(va, vb, 1e-12);
  assert_close(a.soc, b.soc, 1e-14);
}

static void empty_cell_refuses_and_keeps_its_state (void **state) {
  amp_cell c = amp_cell_from_r10s(3600.0, 1e-3);
  amp_cell_state st = rested(0.10), was = st;
  static const struct {
    double i, dt;
    const char *field;
  } bad[] = {{1.0, 361.0, "soc"},  {-1.0, 3241.0, "soc"}, {NAN, 1.0, "i"},
             {INFINITY, 1.0, "i"}, {1.0, -1.0, "dt"},     {1.0, NAN, "dt"}};
  amp_error err;
  double v = 7.0;
  (void)state;
  for (size_t k = 0; k < LEN(bad); k++) {
    assert_int_equal(
        amp_cell_step(&c, nmc(), &st, bad[k].i, bad[k].dt, &v, &err),
        AMP_ERANGE);
    assert_string_equal(err.field, bad[k].field);
    assert_close(st.soc, was.soc, 0.0);
    assert_close(st.v1, 0.0, 0.0);
    assert_close(v, 7.0, 0.0);
  }
}

/* 0.1 is no binary number: ten steps of a tenth must still be allowed. */
static void rounding_does_not_refuse_the_last_step (void **state) {
  amp_cell c = amp_cell_from_r10s(3600.0, 1e-3);
  amp_cell_state st = rested(1.0);
  (void)state;
  for (int k = 0; k < 10; k++)
    assert_int_equal(amp_cell_step(&c, nmc(), &st, 0.1, 3600.0, NULL, NULL),
                     AMP_OK);
  assert_close(st.soc, 0.0, 1e-12);
  assert_true(st.soc >= 0.0);
}

static void check_names_the_field_that_is_wrong (void **state) {
  amp_cell c = amp_cell_from_r10s(3600.0, 1e-3);
  amp_error err;
  (void)state;
  assert_int_equal(amp_cell_check(&c, &err), AMP_OK);
  c.r1 = -1e-6;
  assert_int_equal(amp_cell_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "r1");
  c = amp_cell_defaults(); /* no capacity yet */
  assert_int_equal(amp_cell_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "capacity");
  c = amp_cell_from_r10s(3600.0, 1e-3);
  c.r0_shape[7] = NAN;
  assert_int_equal(amp_cell_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "r0_shape");
}

static void what_two_numbers_leave_open_is_listed (void **state) {
  amp_cell c = amp_cell_from_r10s(3600.0, 1.0);
  const double used[] = {c.r0,           c.r2,          c.tau1,
                         c.tau2,         c.r0_shape[0], c.r0_shape[10],
                         c.r0_activation};
  int n = 0;
  (void)state;
  for (; amp_cell_assumption(n) != NULL; n++) {
    assert_true(n < (int)LEN(used));
    assert_close(amp_cell_assumption(n)->value, used[n], 1e-12);
    assert_true(strlen(amp_cell_assumption(n)->source) > 10);
  }
  assert_int_equal(n, LEN(used));
  assert_null(amp_cell_assumption(-1));
}

int main (void) {
  const struct CMUnitTest test[] = {
      cmocka_unit_test(ten_second_pulse_shows_the_resistance_given),
      cmocka_unit_test(a_cell_like_another_keeps_its_shares),
      cmocka_unit_test(other_pulse_lengths_agree_with_the_measured_pouch),
      cmocka_unit_test(splitting_a_step_changes_nothing),
      cmocka_unit_test(mean_voltage_is_the_integral_over_the_step),
      cmocka_unit_test(cold_raises_the_resistance),
      cmocka_unit_test(cells_in_parallel_act_as_one_larger_cell),
      cmocka_unit_test(empty_cell_refuses_and_keeps_its_state),
      cmocka_unit_test(rounding_does_not_refuse_the_last_step),
      cmocka_unit_test(what_two_numbers_leave_open_is_listed),
      cmocka_unit_test(check_names_the_field_that_is_wrong),
  };
  return cmocka_run_group_tests(test, NULL, NULL);
}
