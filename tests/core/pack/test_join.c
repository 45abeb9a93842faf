/*
** test_join.c -- what flows when two modules are joined. Expected figures
** are worked by hand beside each.
*/
#include "support/close.h"
#include "pack/join.h"
#include "base/value.h"

/* 0.35 V over (2.0 + 1.9 + 1.0) mohm = 71.4 A, by hand */
static void first_current_is_ohms_law (void **state) {
  amp_join_side a = {25.75, 1.9e-3, 0, NAN}, b = {25.40, 2.0e-3, 0, NAN};
  amp_join j;
  (void)state;
  assert_int_equal(amp_join_two(&b, &a, 1e-3, NULL, &j, NULL), AMP_OK);
  assert_close(j.current, 71.4, 0.05);
  assert_close(j.dv, 0.35, 1e-12);
  assert_false(j.bound);
  assert_false(amp_given(j.charge));
}

/* On a straight line of 10 mV a percent, 7 groups, 0.35 V = 5 %; equal
** charge of 100 Ah: half of 5 Ah moves. */
static void half_the_difference_moves_between_equals (void **state) {
  static const double soc[] = {0.0, 1.0}, volt[] = {3.2, 4.2};
  amp_chemistry c = {0};
  amp_join_side a = {7 * 3.80, 2e-3, 7, 100 * 3600.0};
  amp_join_side b = {7 * 3.75, 2e-3, 7, 100 * 3600.0};
  amp_join j;
  (void)state;
  assert_int_equal(
      amp_curve_make(soc, volt, 2, AMP_INTERP_LINEAR, &c.ocv, NULL), AMP_OK);
  c.v_min = 3.0;
  c.v_max = 4.3;
  assert_int_equal(amp_join_two(&a, &b, 0.0, &c, &j, NULL), AMP_OK);
  assert_close(j.charge / 3600.0, 2.5, 1e-9);
  b.charge *= 4; /* four alike: dSoC C 4/5 */
  assert_int_equal(amp_join_two(&a, &b, 0.0, &c, &j, NULL), AMP_OK);
  assert_close(j.charge / 3600.0, 4.0, 1e-9);
}

static void a_missing_resistance_gives_a_bound (void **state) {
  amp_join_side a = {25.75, NAN, 0, NAN}, b = {25.40, 2.0e-3, 0, NAN};
  amp_join j = {0};
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, NULL), AMP_OK);
  assert_true(j.bound);
  assert_close(j.current, 175.0, 1e-9);
  b.r = NAN;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, &err), AMP_EMISSING);
}

/* Between the knees of a flat curve the current is Ohm's law still, and the
** charge is not told: only the most that the plateau may hide, half of it
** between equals. */
static void iron_phosphate_between_its_knees_tells_no_charge (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  amp_join_side a = {8 * 3.300, 1e-3, 8, 1e5}, b = {8 * 3.298, 1e-3, 8, 1e5};
  amp_join j = {0};
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 0.0, c, &j, NULL), AMP_OK);
  assert_close(j.current, 8.0, 1e-9);
  assert_true(j.flat);
  assert_false(amp_given(j.charge));
  assert_false(amp_given(j.soc_high));
  assert_close(j.charge_most, (c->flat_hi - c->flat_lo) * 0.5e5, 1e-6);
  b.v = a.v; /* voltages that agree say nothing */
  assert_int_equal(amp_join_two(&a, &b, 0.0, c, &j, NULL), AMP_OK);
  assert_close(j.current, 0.0, 0.0);
  assert_true(j.flat && j.charge_most > 1e4);
}

static void nonsense_is_refused (void **state) {
  amp_join_side a = {NAN, 1e-3, 0, NAN}, b = {25.4, -1.0, 0, NAN};
  amp_join j;
  amp_error err = {0};
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, &err), AMP_ERANGE);
  assert_string_equal(err.field, "v");
  a.v = 25.0;
  assert_int_equal(amp_join_two(&a, &b, 0.0, NULL, &j, &err), AMP_ERANGE);
  assert_string_equal(err.field, "r");
}

/* ---- how it goes on ---- */

#define AH 3600.0

/* V a group, straight from 'empty' to 'empty' + 1 V */
static amp_chemistry straight (double empty) {
  static const double soc[] = {0.0, 1.0};
  double volt[] = {empty, empty + 1.0};
  amp_chemistry c = {0};
  amp_curve_make(soc, volt, 2, AMP_INTERP_LINEAR, &c.ocv, NULL);
  c.v_min = empty - 0.1;
  c.v_max = empty + 1.1;
  return c;
}

/* The invented nickel-rich table of the hand sums, % : V a cell. */
static amp_chemistry invented (void) {
  static const double soc[] = {0,   0.05, 0.1, 0.2, 0.3, 0.4,
                               0.5, 0.6,  0.7, 0.8, 0.9, 1.0};
  static const double volt[] = {3.00, 3.30, 3.42, 3.52, 3.58, 3.62,
                                3.67, 3.75, 3.84, 3.93, 4.05, 4.18};
  amp_chemistry c = {0};
  amp_curve_make(soc, volt, 12, AMP_INTERP_LINEAR, &c.ocv, NULL);
  c.v_min = 3.0;
  c.v_max = 4.18;
  return c;
}

/*
** 57.4 and 55.3 V, 22.4 mohm each, link 3 mohm: 43.93 A. With 1.0 V a unit
** of charge and cell, 14 in series, 50 Ah each: C = 3600 x 50/14 = 12857 F,
** C_eff 6429 F, tau = 47.8 mohm C_eff = 307 s, 13500 C = 3.75 Ah; the heat
** C_eff dV^2/2, a current that falls as exp(-t/tau). By hand.
*/
static void a_straight_curve_falls_as_an_exponential (void **state) {
  amp_chemistry c = straight(3.4);
  amp_join_side a = {57.4, 22.4e-3, 14, 50 * AH};
  amp_join_side b = {55.3, 22.4e-3, 14, 50 * AH};
  amp_join_way w = amp_join_way_defaults();
  amp_joined j;
  double c_eff = 50 * AH / 14 / 2, tau = 47.8e-3 * c_eff;
  (void)state;
  w.lead = 3e-3;
  assert_int_equal(amp_join_follow(&b, &a, &w, &c, &j, NULL), AMP_OK);
  assert_close(j.first.current, 43.93, 5e-3);
  assert_close(tau, 307, 0.5);
  assert_close(j.charge, 13500, 1e-3);
  assert_close(j.half, tau * log(2), 1e-6 * tau);
  assert_close(j.tenth, tau * log(10), 1e-6 * tau);
  assert_close(j.hundredth, tau * log(100), 1e-6 * tau);
  assert_close(j.heat, 0.5 * c_eff * 2.1 * 2.1, 1e-6);
  assert_close(j.heat_lead / j.heat, 3.0 / 47.8, 1e-12);
  assert_close(j.i2t, j.heat / 47.8e-3, 1e-6);
}

/* 0.4 V apart, 8 + 8 + 2 mohm: 22.22 A */
static void two_strings_of_eight_milliohm (void **state) {
  amp_join_side a = {51.6, 8e-3, 0, NAN}, b = {51.2, 8e-3, 0, NAN};
  amp_join j;
  (void)state;
  assert_int_equal(amp_join_two(&a, &b, 2e-3, NULL, &j, NULL), AMP_OK);
  assert_close(j.current, 22.22, 5e-3);
}

/* Hut, modules 9 and 2: 0.35 V / 4.9 mohm = 71 A; (51.07 - 41.71) % x 93.75
** / 2 = 4.4 Ah. */
static void the_huts_ninth_module (void **state) {
  amp_chemistry c = invented();
  amp_join_side nine = {25.40, 2.0e-3, 7, 93.75 * AH};
  amp_join_side two = {25.75, 1.9e-3, 7, 93.75 * AH};
  amp_join_way w = amp_join_way_defaults();
  amp_joined j;
  (void)state;
  w.lead = 1e-3;
  assert_int_equal(amp_join_follow(&nine, &two, &w, &c, &j, NULL), AMP_OK);
  assert_close(j.first.current, 71, 0.5);
  assert_close(j.charge / AH, 4.4, 0.05);
  assert_close(j.first.soc_high * 100, 51.07, 5e-3);
  assert_close(j.first.soc_low * 100, 41.71, 5e-3);
}

/* Mast, F to the other seven, G without resistance: 0.75 / (14 + 14/7 + 4
** mohm) = 37.5 A, 0.73C; 22.5 % of 51.35 Ah x 7/8 = 10.1 Ah. With G's
** resistance next to nothing 0.75 / 18 mohm = 41.7 A at most. */
static void the_masts_seven_peers (void **state) {
  amp_chemistry c = invented();
  amp_join_side f = {24.86, 14e-3, 7, 51.35 * AH};
  amp_join_side bank = {25.61, 14e-3 / 7, 7, 7 * 51.35 * AH};
  amp_join_way w = amp_join_way_defaults();
  amp_joined j;
  (void)state;
  w.lead = 4e-3;
  assert_int_equal(amp_join_follow(&f, &bank, &w, &c, &j, NULL), AMP_OK);
  assert_close(j.first.current, 37.5, 1e-6);
  assert_close(j.first.current / 51.35, 0.73, 5e-3);
  assert_close(j.charge / AH, 10.1, 0.05);
  bank.r = NAN;
  assert_int_equal(amp_join_follow(&f, &bank, &w, &c, &j, NULL), AMP_OK);
  assert_true(j.first.bound);
  assert_close(j.first.current, 41.67, 5e-3);
  assert_false(amp_given(j.half));
  assert_true(amp_given(j.charge));
}

/* A real curve, followed in small steps of time by Euler's way: the same
** charge, heat and times. 20 mV of the curve's bend are within. */
static void a_bent_curve_agrees_with_small_steps (void **state) {
  const amp_chemistry *c = amp_chemistry_find("nmc811");
  double sa = 0.80, sb = 0.35, ca = 90 * AH, cb = 60 * AH, dt = 0.05;
  double r = 0.02, q = 0.0, heat = 0.0, half = 0.0, tenth = 0.0;
  amp_join_side a = {7 * amp_chemistry_ocv(c, sa), 9e-3, 7, ca};
  amp_join_side b = {7 * amp_chemistry_ocv(c, sb), 8e-3, 7, cb};
  amp_join_way w = amp_join_way_defaults();
  amp_joined j;
  (void)state;
  w.lead = 3e-3;
  assert_int_equal(amp_join_follow(&a, &b, &w, c, &j, NULL), AMP_OK);
  for (double t = 0.0; t < 20000.0; t += dt) {
    double i = 7 *
               (amp_chemistry_ocv(c, sa - q / ca) -
                amp_chemistry_ocv(c, sb + q / cb)) /
               r;
    q += i * dt;
    heat += i * i * r * dt;
    half = i > 0.5 * j.first.current ? t : half;
    tenth = i > 0.1 * j.first.current ? t : tenth;
  }
  assert_close(j.charge, (sa - sb) * ca * cb / (ca + cb), 1e-3);
  assert_close(q, j.charge, 2e-3 * j.charge);
  assert_close(heat, j.heat, 2e-3 * j.heat);
  assert_close(half, j.half, 2e-3 * half + 0.1);
  assert_close(tenth, j.tenth, 2e-3 * tenth + 0.1);
}

/* ---- limits ---- */

/* 0.35 V over 4.9 mohm. Four links of 8 A carry 32 A, the lead 60: 32 A is
** the limit, 32 x 4.9 mohm = 0.157 V; 0.35/32 - 4.9 mohm = 6.04 mohm to put
** between, 6.18 W. By hand. */
static void the_least_limit_rules (void **state) {
  amp_join_side a = {25.75, 1.9e-3, 0, NAN}, b = {25.40, 2.0e-3, 0, NAN};
  amp_join_way w = amp_join_way_defaults();
  amp_joined j;
  (void)state;
  w.lead = 1e-3;
  assert_int_equal(amp_join_follow(&a, &b, &w, NULL, &j, NULL), AMP_OK);
  assert_false(amp_given(j.limit));
  assert_int_equal(j.limit_by, AMP_JOIN_FREE);
  w.links = 4;
  w.link = 8.0;
  w.lead_a = 60;
  assert_int_equal(amp_join_follow(&a, &b, &w, NULL, &j, NULL), AMP_OK);
  assert_close(j.limit, 32, 0);
  assert_int_equal(j.limit_by, AMP_JOIN_LINK);
  assert_false(j.within);
  assert_close(j.dv_most, 0.1568, 1e-9);
  assert_close(j.resistor, 6.0375e-3, 1e-9);
  assert_close(j.resistor_peak, 32 * 32 * 6.0375e-3, 1e-9);
  assert_close(j.link_current, 71.43 / 4, 5e-3);
  w.charge_a = 20;
  w.fuse = 25;
  assert_int_equal(amp_join_follow(&a, &b, &w, NULL, &j, NULL), AMP_OK);
  assert_int_equal(j.limit_by, AMP_JOIN_CHARGE);
  w.resistor = j.resistor; /* put between: the first current is the limit */
  assert_int_equal(amp_join_follow(&a, &b, &w, NULL, &j, NULL), AMP_OK);
  assert_close(j.first.current, 20, 1e-9);
}

/* State of charge by counting lets a flat curve tell: 60 and 50 %, 100 Ah:
** 5 Ah move. */
static void counted_charge_lets_a_flat_curve_tell (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  amp_join_side a = {8 * 3.30, 2e-3, 8, 100 * AH};
  amp_join_side b = {8 * 3.29, 2e-3, 8, 100 * AH};
  amp_join_way w = amp_join_way_defaults();
  amp_joined j;
  (void)state;
  assert_int_equal(amp_join_follow(&a, &b, &w, c, &j, NULL), AMP_OK);
  assert_true(j.first.flat);
  assert_false(amp_given(j.charge));
  w.soc_a = 0.5;
  w.soc_b = 0.6;
  assert_int_equal(amp_join_follow(&a, &b, &w, c, &j, NULL), AMP_OK);
  assert_false(j.first.flat);
  assert_close(j.charge / AH, 5.0, 1e-6);
  assert_close(j.first.soc_high, 0.6, 0.0);
}

/* ---- order ---- */

/* The largest first current of an order, worked the long way. */
static double worst_of (const amp_join_side *s, const int *at, int n,
                        double lead) {
  double v = s[at[0]].v, g = 1 / s[at[0]].r, worst = 0.0;
  for (int k = 1; k < n; k++) {
    const amp_join_side *x = &s[at[k]];
    worst = fmax(worst, fabs(x->v - v) / (x->r + 1 / g + lead));
    v = (v * k + x->v) / (k + 1);
    g += 1 / x->r;
  }
  return worst;
}

static double best_of_all (const amp_join_side *s, int *at, int k, int n) {
  double best = HUGE_VAL;
  if (k == n)
    return worst_of(s, at, n, 1e-3);
  for (int i = k; i < n; i++) {
    int t = at[k];
    at[k] = at[i];
    at[i] = t;
    best = fmin(best, best_of_all(s, at, k + 1, n));
    at[i] = at[k];
    at[k] = t;
  }
  return best;
}

/* Against all 720 orders of six strings. */
static void the_order_is_the_gentlest_of_all (void **state) {
  static const double v[] = {50.1, 49.2, 50.9, 50.3, 48.8, 51.6};
  amp_join_side s[6];
  amp_join_step step[6];
  bool bound = true, exact = false;
  int at[6], got[6];
  double worst = 0.0;
  (void)state;
  for (int i = 0; i < 6; i++) {
    s[i] = (amp_join_side){v[i], (8 + i % 3) * 1e-3, 14, NAN};
    at[i] = i;
  }
  assert_int_equal(
      amp_join_order(s, 6, 1e-3, NULL, step, &bound, &exact, NULL), AMP_OK);
  assert_false(bound);
  for (int i = 0; i < 6; i++) {
    got[i] = step[i].which;
    worst = fmax(worst, step[i].current);
  }
  assert_close(worst, worst_of(s, got, 6, 1e-3), 1e-9);
  assert_close(worst, best_of_all(s, at, 0, 6), 1e-9);
  assert_close(step[5].v, (50.1 + 49.2 + 50.9 + 50.3 + 48.8 + 51.6) / 6,
               1e-9);
}

/* Thirteen strings, more than are tried in every order: each takes its turn
** once, and the largest first current is the one that is told. */
static void many_strings_come_from_either_end (void **state) {
  amp_join_side s[13];
  amp_join_step step[13];
  bool bound, exact = true;
  int got[13], seen = 0;
  double worst = 0.0, plain;
  (void)state;
  for (int i = 0; i < 13; i++)
    s[i] = (amp_join_side){50.0 + 0.01 * (i * 5 % 13) * (i * 5 % 13), 8e-3,
                           14, NAN};
  assert_int_equal(
      amp_join_order(s, 13, 1e-3, NULL, step, &bound, &exact, NULL), AMP_OK);
  assert_false(exact);
  for (int i = 0; i < 13; i++) {
    got[i] = step[i].which;
    seen |= 1 << got[i];
    worst = fmax(worst, step[i].current);
  }
  assert_int_equal(seen, (1 << 13) - 1);
  assert_close(worst, worst_of(s, got, 13, 1e-3), 1e-9);
  for (int i = 0; i < 13; i++) /* from the lowest upwards */
    got[i * 5 % 13] = i;
  plain = worst_of(s, got, 13, 1e-3);
  assert_true(worst < 0.8 * plain);
  for (int i = 0; i < 13; i++) /* from the highest downwards */
    got[12 - i * 5 % 13] = i;
  assert_true(worst <= worst_of(s, got, 13, 1e-3) + 1e-9);
}

/* With a curve the bank rests where the charges meet, and dSoC C k/(k + 1)
** moves: 60, 45 and 40 % of 100 Ah. The first two before the third: 131 and
** 146 A (the last two first: 44 and 204): 15 % x 100/2 = 7.5 Ah, then 12.5 %
** x 100 x 2/3 = 8.33 Ah. By hand. */
static void the_order_tells_the_charge_that_moves (void **state) {
  amp_chemistry c = straight(3.4);
  amp_join_side s[3] = {{14 * 4.0, 8e-3, 14, 100 * AH},
                        {14 * 3.85, 8e-3, 14, 100 * AH},
                        {14 * 3.8, 8e-3, 14, 100 * AH}};
  amp_join_step step[3];
  bool bound, exact;
  (void)state;
  assert_int_equal(amp_join_order(s, 3, 0.0, &c, step, &bound, &exact, NULL),
                   AMP_OK);
  assert_close(step[1].charge / AH, 7.5, 1e-9);
  assert_close(step[1].current, 131.25, 1e-6);
  assert_int_equal(step[2].which, 2);
  assert_close(step[2].charge / AH, 8.3333, 1e-4);
  assert_close(step[2].current, 1.75 / 12e-3, 1e-6);
  assert_close(step[2].v, 14 * (3.4 + 1.45 / 3), 1e-9);
}

static void an_order_by_plateau_voltages_is_refused (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  amp_join_side s[2] = {{8 * 3.30, 2e-3, 8, AH}, {8 * 3.29, NAN, 8, AH}};
  amp_join_step step[2] = {{7, 7, 7, 7}};
  amp_error err = {0};
  bool bound = false, exact = false;
  (void)state;
  assert_int_equal(amp_join_order(s, 2, 1e-3, c, step, &bound, &exact, &err),
                   AMP_EREFUSED);
  assert_int_equal(
      amp_join_order(s, 2, 0.0, NULL, step, &bound, &exact, &err),
      AMP_EMISSING);
  assert_int_equal(
      amp_join_order(s, 1, 1e-3, NULL, step, &bound, &exact, &err),
      AMP_ERANGE);
  assert_int_equal(step[0].which, 7);
  assert_int_equal(
      amp_join_order(s, 2, 1e-3, NULL, step, &bound, &exact, &err), AMP_OK);
  assert_true(bound);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(first_current_is_ohms_law),
      cmocka_unit_test(half_the_difference_moves_between_equals),
      cmocka_unit_test(a_missing_resistance_gives_a_bound),
      cmocka_unit_test(iron_phosphate_between_its_knees_tells_no_charge),
      cmocka_unit_test(nonsense_is_refused),
      cmocka_unit_test(a_straight_curve_falls_as_an_exponential),
      cmocka_unit_test(two_strings_of_eight_milliohm),
      cmocka_unit_test(the_huts_ninth_module),
      cmocka_unit_test(the_masts_seven_peers),
      cmocka_unit_test(a_bent_curve_agrees_with_small_steps),
      cmocka_unit_test(the_least_limit_rules),
      cmocka_unit_test(counted_charge_lets_a_flat_curve_tell),
      cmocka_unit_test(the_order_is_the_gentlest_of_all),
      cmocka_unit_test(many_strings_come_from_either_end),
      cmocka_unit_test(the_order_tells_the_charge_that_moves),
      cmocka_unit_test(an_order_by_plateau_voltages_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
