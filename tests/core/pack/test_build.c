/*
** test_build.c -- packs put together from unequal modules and groups: what
** they hold, wiring, where charge stands, hours to balance, refusals.
*/
#include "support/close.h"
#include "ampstead.h"
#include <stdlib.h>
#include <string.h>

static amp_module module_of (double ah, double mohm) {
  amp_module m = amp_module_defaults();
  m.chemistry = amp_chemistry_find("nmc111");
  m.series = 7;
  m.parallel = 2;
  m.capacity = amp_value_fixed(112.0 * 3600.0, AMP_BASIS_CLAIMED);
  m.tested = amp_value_fixed(ah * 3600.0, AMP_BASIS_MEASURED);
  m.r10s = amp_value_fixed(mohm * 1e-3, AMP_BASIS_MEASURED);
  m.mass = 17.5;
  m.soc_min = 0.1;
  m.soc_max = 0.9;
  return m;
}

static amp_window window_for (const amp_module *m, int groups) {
  amp_window w;
  assert_int_equal(amp_window_of(m->chemistry, groups, 0.1, 0.9, NAN, NAN,
                                 0.0, 0.0, 0.0, &w, NULL),
                   AMP_OK);
  return w;
}

/* Three strings of two: (100, 90), (80, 95), (99, 70). */
static amp_build three_strings (const amp_module m[6], bool string_first) {
  amp_build b = amp_build_defaults();
  b.string_first = string_first;
  b.outer = string_first ? 3 : 2;
  for (int s = 0; s < 3; s++)
    for (int i = 0; i < 2; i++)
      b.module[string_first ? 2 * s + i : 3 * i + s] = &m[2 * s + i];
  for (int o = 0; o < b.outer; o++)
    b.inner[o] = 6 / b.outer;
  return b;
}

static const double six[] = {100, 90, 80, 95, 99, 70};

static void six_modules (amp_module m[6]) {
  for (int i = 0; i < 6; i++)
    m[i] = module_of(six[i], 1.9);
}

/* By hand as in test_pack.c: 240 and 255 Ah. */
static void order_of_joining_decides_what_it_holds (void **state) {
  amp_module m[6];
  amp_pack *p = malloc(sizeof *p);
  (void)state;
  six_modules(m);
  for (int first = 0; first < 2; first++) {
    amp_build b = three_strings(m, first);
    amp_window w = window_for(&m[0], amp_build_groups(&b));
    amp_place place[AMP_PACK_LEAVES];
    assert_int_equal(amp_build_pack(&b, &w, 1.0, p, place, NULL), AMP_OK);
    assert_int_equal(p->leaves, 6);
    assert_int_equal(amp_build_groups(&b), 14);
    assert_close(amp_build_nominal_v(&b), 14 * m[0].chemistry->v_nominal,
                 1e-9);
    assert_close(amp_pack_capacity(p) / 3600.0, first ? 240.0 : 255.0, 1e-9);
    /* leaf 3: string 2, module 2; or level 2, the first of three */
    assert_int_equal(place[3].outer, 1);
    assert_int_equal(place[3].inner, first ? 1 : 0);
  }
  free(p);
}

static void fading_takes_every_module_along (void **state) {
  amp_module m[6];
  amp_pack *p = malloc(sizeof *p), *q = malloc(sizeof *q);
  (void)state;
  six_modules(m);
  amp_build b = three_strings(m, true);
  amp_window w = window_for(&m[0], 14);
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, NULL), AMP_OK);
  assert_int_equal(amp_build_pack(&b, &w, 0.8, q, NULL, NULL), AMP_OK);
  for (int k = 0; k < 6; k++) {
    assert_close(q->leaf[k].cell.capacity, 0.8 * p->leaf[k].cell.capacity,
                 1e-6);
    assert_true(q->leaf[k].cell.r0 > p->leaf[k].cell.r0);
  }
  free(p);
  free(q);
}

static void equal_modules_are_one_leaf_as_before (void **state) {
  amp_module m = module_of(95.0, 1.9);
  amp_pack *p = malloc(sizeof *p);
  amp_build b;
  amp_group g;
  amp_window w = window_for(&m, 14);
  (void)state;
  amp_build_uniform(&m, 2, 5, true, &b);
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, NULL), AMP_OK);
  assert_int_equal(p->nodes, 1);
  assert_int_equal(
      amp_module_leaf_at(&m, &w, amp_module_health(&m), 2, 5, &g, NULL),
      AMP_OK);
  assert_close(p->leaf[0].cell.capacity, g.cell.capacity, 0.0);
  assert_close(p->leaf[0].cell.r0, g.cell.r0, 0.0);
  assert_close(p->leaf[0].cooling, g.cooling, 0.0);
  free(p);
}

/* Two modules in a string: one link, one pair of leads, 5 strings. */
static void joints_stand_in_the_current_path (void **state) {
  amp_module m[2] = {module_of(95.0, 1.9), module_of(94.0, 1.9)};
  amp_pack *p = malloc(sizeof *p);
  amp_build b;
  amp_window w = window_for(m, 14);
  (void)state;
  amp_build_uniform(m, 2, 5, true, &b);
  b.link = 0.2e-3;
  b.lead = 1.0e-3;
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, NULL), AMP_OK);
  assert_close(p->leaf[0].r_joint, 1.2e-3 / 5.0, 1e-15);
  b = amp_build_defaults();
  b.outer = 1;
  b.inner[0] = 2;
  b.module[0] = &m[0];
  b.module[1] = &m[1];
  b.link = 0.2e-3;
  b.lead = 1.0e-3;
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, NULL), AMP_OK);
  assert_close(p->leaf[0].r_joint + p->leaf[1].r_joint, 1.2e-3, 1e-15);
  free(p);
}

/* Group 3 has lost a cell of two: half the charge, twice the resistance; a
** measured group says what it is. Neighbours alike share a leaf. */
static void groups_stand_by_themselves (void **state) {
  amp_module m = module_of(100.0, 1.4);
  amp_group_own g[7];
  amp_pack *p = malloc(sizeof *p);
  amp_place place[AMP_PACK_LEAVES];
  amp_build b;
  amp_window w = window_for(&m, 7);
  (void)state;
  for (int i = 0; i < 7; i++)
    g[i] = amp_group_own_defaults();
  g[2].blown = 1;
  g[5].capacity = 80.0 * 3600.0;
  g[5].r10s = 0.3e-3;
  m.group = g;
  amp_build_uniform(&m, 1, 1, true, &b);
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, place, NULL), AMP_OK);
  assert_int_equal(p->leaves, 5); /* 1-2, 3, 4-5, 6, 7 */
  assert_close(p->leaf[0].series, 2.0, 0.0);
  assert_close(p->leaf[1].cell.capacity, 50.0 * 3600.0, 1e-6);
  assert_close(p->leaf[1].cell.r0, 2.0 * p->leaf[0].cell.r0, 1e-15);
  assert_close(p->leaf[3].cell.capacity, 80.0 * 3600.0, 1e-6);
  /* 1.4 mohm are 0.2 a group: 0.3 is half as much again */
  assert_close(p->leaf[3].cell.r0, 1.5 * p->leaf[0].cell.r0, 1e-15);
  assert_int_equal(place[3].group, 5);
  assert_close(amp_pack_capacity(p), 50.0 * 3600.0, 1e-6);
  double heat = 0.0;
  for (int k = 0; k < 5; k++) {
    heat += p->leaf[k].heat_capacity;
    assert_int_equal(p->leaf[k].body, p->leaf[0].body);
  }
  assert_close(heat, 17500.0, 1e-6); /* 1000 J/(kg K) */
  free(p);
}

/* 50, 58, 54 %: at the top when the second is full, the first is 8 % below.
** By hand: 8 Ah at 0.1 A are 80 h. */
static void hours_to_balance_follow_from_charge_and_current (void **state) {
  amp_module m = module_of(100.0, 1.4);
  amp_group_own g[7];
  amp_pack *p = malloc(sizeof *p);
  amp_build b;
  amp_window w = window_for(&m, 7);
  (void)state;
  for (int i = 0; i < 7; i++) {
    g[i] = amp_group_own_defaults();
    g[i].soc = i == 1 ? 0.58 : i == 2 ? 0.54 : 0.50;
  }
  m.group = g;
  amp_build_uniform(&m, 1, 1, true, &b);
  b.bleed = 0.1;
  b.v_bleed = 3.9;
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, NULL), AMP_OK);
  assert_close(p->leaf[1].soc_start, 0.9, 1e-12);
  assert_close(p->leaf[0].soc_start, 0.82, 1e-12);
  amp_balance a = amp_pack_balance(p);
  assert_close(a.charge / 3600.0, 8.0, 1e-9);
  assert_close(a.time / 3600.0, 80.0, 1e-7);
  assert_int_equal(a.leaf, 1);
  assert_close(a.lost / 3600.0, 8.0, 1e-9); /* the lowest is 8 Ah short */
  b.bleed = 0.0;
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, NULL), AMP_OK);
  assert_true(amp_pack_balance(p).time > 1e300);
  free(p);
}

static void unlike_strings_are_refused (void **state) {
  amp_module m[2] = {module_of(100.0, 1.4), module_of(90.0, 1.4)};
  amp_pack *p = malloc(sizeof *p);
  amp_build b = amp_build_defaults();
  amp_window w = window_for(m, 14);
  amp_error err = {0};
  (void)state;
  b.outer = 2;
  b.inner[0] = 1;
  b.inner[1] = 2;
  b.module[0] = &m[0];
  b.module[1] = b.module[2] = &m[1];
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, &err), AMP_EREFUSED);
  b.inner[1] = 1;
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, &err), AMP_OK);
  m[1].chemistry = amp_chemistry_find("lfp");
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, &err), AMP_EREFUSED);
  assert_int_equal(amp_build_pack(&b, &w, NAN, p, NULL, &err), AMP_EREFUSED);
  free(p);
}

static void groups_of_unknown_charge_are_refused (void **state) {
  amp_module m = module_of(100.0, 1.4);
  amp_group_own g[7];
  amp_error err = {0};
  (void)state;
  for (int i = 0; i < 7; i++)
    g[i] = amp_group_own_defaults();
  g[3].soc = 0.5;
  m.group = g;
  assert_int_equal(amp_module_check(&m, &err), AMP_EMISSING);
  g[3] = amp_group_own_defaults();
  g[3].blown = 2; /* of two: nothing would be left */
  assert_int_equal(amp_module_check(&m, &err), AMP_ERANGE);
  assert_string_equal(err.field, "blown");
}

static void too_many_leaves_are_refused (void **state) {
  amp_module m[20];
  amp_group_own g[7];
  amp_pack *p = malloc(sizeof *p);
  amp_build b = amp_build_defaults();
  amp_error err = {0};
  (void)state;
  for (int i = 0; i < 7; i++) {
    g[i] = amp_group_own_defaults();
    g[i].capacity = (90.0 + i) * 3600.0;
  }
  b.outer = 20;
  for (int i = 0; i < 20; i++) {
    m[i] = module_of(100.0, 1.4);
    m[i].group = g;
    b.inner[i] = 1;
    b.module[i] = &m[i];
  }
  amp_window w = window_for(m, 7);
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, &err), AMP_EREFUSED);
  b.outer = 18; /* 126 leaves */
  assert_int_equal(amp_build_pack(&b, &w, 1.0, p, NULL, &err), AMP_OK);
  free(p);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(order_of_joining_decides_what_it_holds),
      cmocka_unit_test(fading_takes_every_module_along),
      cmocka_unit_test(equal_modules_are_one_leaf_as_before),
      cmocka_unit_test(joints_stand_in_the_current_path),
      cmocka_unit_test(groups_stand_by_themselves),
      cmocka_unit_test(hours_to_balance_follow_from_charge_and_current),
      cmocka_unit_test(unlike_strings_are_refused),
      cmocka_unit_test(groups_of_unknown_charge_are_refused),
      cmocka_unit_test(too_many_leaves_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
