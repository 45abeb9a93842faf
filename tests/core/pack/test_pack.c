/*
** test_pack.c -- the tree of groups: what it can hold (in series the least,
** in parallel the sum), both orders, folding, and trees that are refused.
*/
#include "support/close.h"
#include "pack/pack.h"

/* A made-up chemistry, straight from 3 V to 4 V, so that sums are by hand. */
static amp_chemistry straight (void) {
  static const double soc[] = {0.0, 1.0}, v[] = {3.0, 4.0};
  amp_chemistry c = {.name = "straight",
                     .v_nominal = 3.5,
                     .v_min = 2.5,
                     .v_max = 4.2,
                     .v_daily_min = 3.1,
                     .v_daily_max = 3.9};
  assert_int_equal(amp_curve_make(soc, v, 2, AMP_INTERP_LINEAR, &c.ocv, NULL),
                   AMP_OK);
  return c;
}

static amp_group group_of (const amp_chemistry *c, double capacity) {
  return (amp_group){.chemistry = c,
                     .cell = amp_cell_from_r10s(capacity, 1e-3),
                     .series = 1,
                     .parallel = 1,
                     .soc_min = 0.2,
                     .soc_max = 0.8,
                     .v_min = 2.5,
                     .v_max = 4.2,
                     .soc_start = 0.8};
}

/*
** Three strings of two: (100, 90), (80, 95), (99, 70). String-first
** 90 + 80 + 70 = 240; parallel-first the lesser of 100 + 80 + 99 = 279 and
** 90 + 95 + 70 = 255. By hand.
*/
static void order_of_joining_decides_what_unequal_modules_hold (void **s) {
  static const double capacity[] = {100, 90, 80, 95, 99, 70};
  amp_chemistry c = straight();
  amp_group module[6];
  static amp_pack p;
  (void)s;
  for (size_t i = 0; i < 6; i++)
    module[i] = group_of(&c, capacity[i]);
  assert_int_equal(amp_pack_build(module, 2, 3, 1, &p, NULL), AMP_OK);
  assert_int_equal(amp_pack_check(&p, NULL), AMP_OK);
  assert_close(amp_pack_capacity(&p), 240.0, 1e-12);
  assert_int_equal(p.node[0].level, AMP_PARALLEL);
  assert_int_equal(amp_pack_build(module, 2, 3, 0, &p, NULL), AMP_OK);
  assert_int_equal(amp_pack_check(&p, NULL), AMP_OK);
  assert_close(amp_pack_capacity(&p), 255.0, 1e-12);
  assert_int_equal(p.node[0].level, AMP_SERIES);
}

/* 20 % to 80 % of a straight 3..4 V: 0.6 C at 3.5 V a group, by hand. */
static void energy_of_the_window_is_charge_times_mean_voltage (void **s) {
  amp_chemistry c = straight();
  amp_group g = group_of(&c, 100.0);
  static amp_pack p;
  (void)s;
  g.series = 7;
  amp_pack_uniform(&g, 2, 5, &p);
  assert_int_equal(amp_pack_check(&p, NULL), AMP_OK);
  assert_close(amp_pack_capacity(&p), 500.0, 1e-12);
  assert_close(amp_pack_energy(&p), 500 * 0.6 * 3.5 * 14, 1e-9);
}

/* 100 C and 50 C in series, both full: 50 C flow. The strong one falls to
** 50 %, mean 3.75 V; the weak one to 0, mean 3.5 V: 362.5 J, by hand. */
static void weakest_group_in_series_ends_the_discharge (void **s) {
  amp_chemistry c = straight();
  amp_group g[2] = {group_of(&c, 100.0), group_of(&c, 50.0)};
  static amp_pack p;
  (void)s;
  for (int i = 0; i < 2; i++) {
    g[i].soc_min = 0.0;
    g[i].soc_max = 1.0;
  }
  assert_int_equal(amp_pack_build(g, 2, 1, 1, &p, NULL), AMP_OK);
  assert_close(amp_pack_capacity(&p), 50.0, 1e-12);
  assert_close(amp_pack_energy(&p), 362.5, 1e-9);
  assert_int_equal(amp_pack_build(g, 1, 2, 1, &p, NULL), AMP_OK);
  assert_close(amp_pack_capacity(&p), 150.0, 1e-12);
  assert_close(amp_pack_energy(&p), 150 * 3.5, 1e-9);
}

static void folding_equal_levels_changes_nothing (void **state) {
  amp_group module[15];
  static amp_pack folded, open, turned;
  (void)state;
  for (int i = 0; i < 15; i++) {
    module[i] = group_of(amp_chemistry_find("nmc111"), 93.75 * 3600);
    module[i].series = 4;
  }
  amp_pack_uniform(&module[0], 3, 5, &folded);
  assert_int_equal(amp_pack_build(module, 3, 5, 1, &open, NULL), AMP_OK);
  assert_int_equal(amp_pack_build(module, 3, 5, 0, &turned, NULL), AMP_OK);
  double e = amp_pack_energy(&folded);
  assert_close(amp_pack_capacity(&open), amp_pack_capacity(&folded), 1e-6);
  assert_close(amp_pack_energy(&open), e, 1e-12 * e);
  assert_close(amp_pack_energy(&turned), e, 1e-12 * e);
}

/* Resistance and heat of the whole leaf go with the number of modules. */
static void uniform_pack_scales_what_belongs_to_the_whole (void **state) {
  amp_chemistry c = straight();
  amp_group g = group_of(&c, 100.0);
  static amp_pack p;
  (void)state;
  g.r_joint = 1e-3;
  g.heat_capacity = 1000.0;
  g.cooling = 2.0;
  amp_pack_uniform(&g, 2, 5, &p);
  assert_close(p.leaf[0].r_joint, 0.4e-3, 1e-15);
  assert_close(p.leaf[0].heat_capacity, 10000.0, 1e-9);
  assert_close(p.leaf[0].cooling, 20.0, 1e-12);
  assert_close(p.leaf[0].cell.r0, g.cell.r0, 0.0);
}

static void long_and_wide_packs_fit_up_to_the_limit (void **state) {
  amp_chemistry c = straight();
  static amp_group module[AMP_PACK_LEAVES];
  static const int shape[][2] = {{128, 1}, {1, 128}, {2, 64},
                                 {64, 2},  {11, 11}, {1, 1}};
  static amp_pack p;
  (void)state;
  for (size_t i = 0; i < AMP_PACK_LEAVES; i++)
    module[i] = group_of(&c, 100.0);
  for (size_t i = 0; i < LEN(shape); i++)
    for (int first = 0; first < 2; first++) {
      assert_int_equal(
          amp_pack_build(module, shape[i][0], shape[i][1], first, &p, NULL),
          AMP_OK);
      assert_int_equal(amp_pack_check(&p, NULL), AMP_OK);
      assert_close(amp_pack_capacity(&p), 100.0 * shape[i][1], 1e-9);
    }
}

static void build_refuses_and_leaves_the_pack_alone (void **state) {
  amp_chemistry c = straight();
  static amp_group module[4];
  static amp_pack p;
  amp_error err;
  (void)state;
  for (int i = 0; i < 4; i++)
    module[i] = group_of(&c, 100.0);
  amp_pack_uniform(&module[0], 1, 1, &p);
  assert_int_equal(amp_pack_build(module, 2, 65, 1, &p, &err), AMP_ERANGE);
  assert_int_equal(amp_pack_build(module, 0, 2, 1, &p, &err), AMP_ERANGE);
  module[2].cell.capacity = NAN;
  assert_int_equal(amp_pack_build(module, 2, 2, 1, &p, &err), AMP_ERANGE);
  assert_string_equal(err.field, "capacity");
  assert_int_equal(err.line, 3);
  assert_int_equal(p.leaves, 1);
}

static void check_refuses_trees_that_are_not_whole (void **state) {
  amp_chemistry c = straight();
  amp_group module[4];
  static amp_pack good, p;
  amp_error err;
  (void)state;
  for (int i = 0; i < 4; i++)
    module[i] = group_of(&c, 100.0);
  assert_int_equal(amp_pack_build(module, 2, 2, 1, &good, NULL), AMP_OK);
  p = good;
  p.node[1].first = 4; /* two parents */
  assert_int_equal(amp_pack_check(&p, &err), AMP_EDATA);
  p = good;
  p.node[2].count = 1; /* one node without a parent */
  assert_int_equal(amp_pack_check(&p, &err), AMP_EDATA);
  p = good;
  p.node[6].first = 0; /* a leaf twice */
  assert_int_equal(amp_pack_check(&p, &err), AMP_EDATA);
  p = good;
  p.node[1].first = 0; /* a child that is its own parent */
  assert_int_equal(amp_pack_check(&p, &err), AMP_EDATA);
  p = good;
  p.node[2].count = 2147483647;
  assert_int_equal(amp_pack_check(&p, &err), AMP_EDATA);
  p = good;
  p.nodes = 500;
  assert_int_equal(amp_pack_check(&p, &err), AMP_ERANGE);
  p = good;
  p.leaf[3].soc_min = 0.9; /* above soc_max */
  assert_int_equal(amp_pack_check(&p, &err), AMP_ERANGE);
  assert_string_equal(err.field, "soc_max");
  assert_int_equal(err.line, 4);
  p = good;
  p.leaf[0].chemistry = NULL;
  assert_int_equal(amp_pack_check(&p, &err), AMP_EMISSING);
  assert_int_equal(err.line, 1);
  assert_int_equal(amp_pack_check(&good, &err), AMP_OK);
}

int main (void) {
  const struct CMUnitTest test[] = {
      cmocka_unit_test(order_of_joining_decides_what_unequal_modules_hold),
      cmocka_unit_test(energy_of_the_window_is_charge_times_mean_voltage),
      cmocka_unit_test(weakest_group_in_series_ends_the_discharge),
      cmocka_unit_test(folding_equal_levels_changes_nothing),
      cmocka_unit_test(uniform_pack_scales_what_belongs_to_the_whole),
      cmocka_unit_test(long_and_wide_packs_fit_up_to_the_limit),
      cmocka_unit_test(build_refuses_and_leaves_the_pack_alone),
      cmocka_unit_test(check_refuses_trees_that_are_not_whole),
  };
  return cmocka_run_group_tests(test, NULL, NULL);
}
