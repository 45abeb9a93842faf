/*
** test_chemistry.c -- the built-in tables against their sources, and what a
** voltage may and may not tell.
*/
#include "support/close.h"
#include "cell/chemistry.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void every_built_in_passes_its_own_check (void **state) {
  int n = 0;
  (void)state;
  for (const char *name; (name = amp_chemistry_name(n)) != NULL; n++) {
    const amp_chemistry *c = amp_chemistry_find(name);
    assert_non_null(c);
    assert_string_equal(c->name, name);
    assert_int_equal(amp_chemistry_check(c, NULL), AMP_OK);
    assert_non_null(c->source);
  }
  assert_int_equal(n, 6);
  assert_null(amp_chemistry_find("nmc"));
  assert_null(amp_chemistry_find(NULL));
  assert_null(amp_chemistry_name(-1));
}

/* The constant slopes are those that amp_curve_make works out. */
static void built_in_slopes_are_those_of_the_curve (void **state) {
  (void)state;
  for (int k = 0; amp_chemistry_name(k) != NULL; k++) {
    const amp_curve *c = &amp_chemistry_find(amp_chemistry_name(k))->ocv;
    amp_curve made;
    assert_int_equal(
        amp_curve_make(c->x, c->y, c->n, AMP_INTERP_MONOTONE, &made, NULL),
        AMP_OK);
    for (int i = 0; i < c->n; i++)
      assert_close(c->m[i], made.m[i], 1e-12 * (1.0 + made.m[i]));
  }
}

/* Mid-charge voltages as the notes on the sources give them. */
static void rest_voltages_at_half_charge_are_the_published_ones (void **s) {
  static const struct {
    const char *name;
    double v;
  } want[] = {{"lfp", 3.299},       {"nca", 3.753},
              {"nmc811", 3.717},    {"nmc111", 3.672},
              {"lmo_blend", 3.917}, {"lead_acid", 12.2 / 6}};
  (void)s;
  for (size_t i = 0; i < LEN(want); i++)
    assert_close(amp_chemistry_ocv(amp_chemistry_find(want[i].name), 0.5),
                 want[i].v, 1e-12);
}

/*
** Sum of each table in mV, and the sum with every knot times its number from
** 0, worked out apart from the source file: a slip of a digit shows.
*/
static void tables_add_up_to_their_sources (void **state) {
  static const struct {
    const char *name;
    double sum, weighted; /* mV */
  } want[] = {{"lfp", 67979, 701234},
              {"nca", 77398, 819714},
              {"nmc811", 77439, 818754},
              {"nmc111", 77785, 811394},
              {"lmo_blend", 81613, 839407}};
  (void)state;
  for (size_t k = 0; k < LEN(want); k++) {
    const amp_curve *c = &amp_chemistry_find(want[k].name)->ocv;
    double sum = 0.0, weighted = 0.0;
    for (int i = 0; i < c->n; i++) {
      sum += 1000 * c->y[i];
      weighted += 1000 * i * c->y[i];
    }
    assert_close(sum, want[k].sum, 1e-6);
    assert_close(weighted, want[k].weighted, 1e-6);
  }
}

/*
** A second derivation of NMC111/graphite: full-cell voltage computed from
** the two published electrode functions of the same parameter file, 10, 15
** .. 95 % SoC. The two agree within 14 mV (own calculation from the file).
*/
static void nmc111_agrees_with_its_half_cells (void **state) {
  static const double half[] = {3.463, 3.495, 3.531, 3.571, 3.598, 3.615,
                                3.631, 3.650, 3.673, 3.701, 3.736, 3.777,
                                3.824, 3.877, 3.935, 3.997, 4.063, 4.131};
  const amp_chemistry *c = amp_chemistry_find("nmc111");
  (void)state;
  for (size_t i = 0; i < LEN(half); i++)
    assert_close(amp_chemistry_ocv(c, 0.10 + 0.05 * (double)i), half[i],
                 0.0145);
}

static void voltage_rises_with_charge_and_never_overshoots (void **state) {
  (void)state;
  for (int k = 0; amp_chemistry_name(k) != NULL; k++) {
    const amp_chemistry *c = amp_chemistry_find(amp_chemistry_name(k));
    double last = amp_chemistry_ocv(c, 0.0);
    assert_close(last, c->ocv.y[0], 0.0);
    for (int i = 1; i <= 2000; i++) {
      double v = amp_chemistry_ocv(c, i / 2000.0);
      assert_true(v > last);
      last = v;
    }
    assert_close(last, c->ocv.y[c->ocv.n - 1], 0.0);
  }
}

static void charge_from_voltage_is_the_way_back (void **state) {
  (void)state;
  for (int k = 0; amp_chemistry_name(k) != NULL; k++) {
    const amp_chemistry *c = amp_chemistry_find(amp_chemistry_name(k));
    for (int i = 0; i <= 50; i++) {
      double soc = i / 50.0, got = -1.0;
      if (c->flat_lo < c->flat_hi && soc > c->flat_lo - 1e-9 &&
          soc < c->flat_hi + 1e-9)
        continue;
      assert_int_equal(
          amp_chemistry_soc(c, amp_chemistry_ocv(c, soc), &got, NULL),
          AMP_OK);
      assert_close(got, soc, 1e-9);
    }
  }
}

/* A known mistake: no charge from a plateau voltage. */
static void lfp_refuses_charge_between_its_knees (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  static const double plateau[] = {3.279, 3.29, 3.30, 3.32, 3.34, 3.342};
  amp_error err;
  double soc = 0.123;
  (void)state;
  for (size_t i = 0; i < LEN(plateau); i++) {
    assert_int_equal(amp_chemistry_soc(c, plateau[i], &soc, &err),
                     AMP_EREFUSED);
    assert_close(soc, 0.123, 0.0);
    assert_close(err.value, plateau[i], 0.0);
    assert_close(err.lo, 0.30, 0.0);
    assert_close(err.hi, 0.95, 0.0);
    assert_int_equal(amp_chemistry_soc(c, plateau[i], &soc, NULL),
                     AMP_EREFUSED);
  }
  assert_int_equal(amp_chemistry_soc(c, 3.203, &soc, &err), AMP_OK);
  assert_close(soc, 0.10, 1e-12); /* a knot of the table */
  assert_int_equal(amp_chemistry_soc(c, 3.40, &soc, &err), AMP_OK);
  assert_true(soc > 0.95);
}

/* 2 mV a per cent is the mark: outside the band the table is steeper. */
static void the_band_is_flat_and_its_surroundings_are_not (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  double inside =
      amp_chemistry_ocv(c, c->flat_hi) - amp_chemistry_ocv(c, c->flat_lo);
  (void)state;
  assert_true(inside / (100 * (c->flat_hi - c->flat_lo)) < 0.002);
  assert_true((amp_chemistry_ocv(c, 0.30) - amp_chemistry_ocv(c, 0.25)) / 5 >
              0.002);
  assert_true((amp_chemistry_ocv(c, 1.00) - amp_chemistry_ocv(c, 0.95)) / 5 >
              0.002);
}

static void voltages_off_the_table_are_out_of_range (void **state) {
  const amp_chemistry *c = amp_chemistry_find("nmc111");
  amp_error err;
  double soc = 0.5;
  (void)state;
  assert_int_equal(amp_chemistry_soc(c, 2.5, &soc, &err), AMP_ERANGE);
  assert_close(err.lo, 2.895, 0.0);
  assert_close(err.hi, 4.194, 0.0);
  assert_string_equal(err.field, "v");
  assert_int_equal(amp_chemistry_soc(c, NAN, &soc, &err), AMP_ERANGE);
  assert_close(soc, 0.5, 0.0);
}

static void a_charge_limit_is_a_setting_and_is_never_refused (void **state) {
  const amp_chemistry *c = amp_chemistry_find("lfp");
  (void)state;
  assert_close(amp_chemistry_soc_at_limit(c, 3.301), 0.55, 1e-9);
  assert_close(amp_chemistry_soc_at_limit(c, 1.0), 0.0, 0.0);
  assert_close(amp_chemistry_soc_at_limit(c, 3.65), 1.0, 0.0);
  assert_close(amp_chemistry_soc_at_limit(c, NAN), 0.0, 0.0);
}

static void check_names_the_field_that_is_wrong (void **state) {
  amp_chemistry c = *amp_chemistry_find("nmc111");
  amp_error err;
  (void)state;
  c.v_max = 2.0;
  assert_int_equal(amp_chemistry_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "v_max");
  c = *amp_chemistry_find("nmc111");
  c.v_nominal = NAN;
  assert_int_equal(amp_chemistry_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "v_nominal");
  c = *amp_chemistry_find("nmc111");
  c.v_daily_max = 4.3; /* above the absolute limit */
  assert_int_equal(amp_chemistry_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "v_daily_max");
  c = *amp_chemistry_find("nmc111");
  c.ocv.y[3] = c.ocv.y[2];
  assert_int_equal(amp_chemistry_check(&c, &err), AMP_ERANGE);
  assert_string_equal(err.field, "ocv");
  c = *amp_chemistry_find("nmc111");
  c.ocv.n = 12; /* ends at 55 % */
  assert_int_equal(amp_chemistry_check(&c, &err), AMP_ERANGE);
  assert_int_equal(amp_chemistry_check(NULL, &err), AMP_EMISSING);
}

/* Column of reference/ocv-tables.csv, line by line, to the last digit. */
static void tables_are_the_reference_tables (void **state) {
  static const struct {
    const char *name;
    int column;
  } of[] = {
      {"lfp", 1}, {"nca", 3}, {"nmc811", 4}, {"nmc111", 6}, {"lmo_blend", 8}};
  const char *root = getenv("AMPSTEAD_SHARED");
  char path[1024], line[1024];
  (void)state;
  if (root == NULL)
    skip();
  snprintf(path, sizeof path, "%s/reference/ocv-tables.csv", root);
  FILE *f = fopen(path, "r");
  assert_non_null(f);
  assert_non_null(fgets(line, sizeof line, f));
  int row = 0;
  for (; fgets(line, sizeof line, f) != NULL; row++) {
    double v[9];
    char *at = line;
    for (int k = 0; k < 9; k++, at++)
      v[k] = strtod(at, &at);
    for (size_t k = 0; k < LEN(of); k++) {
      const amp_curve *c = &amp_chemistry_find(of[k].name)->ocv;
      assert_true(row < c->n);
      assert_close(c->x[row], v[0] / 100.0, 1e-15);
      assert_close(c->y[row], v[of[k].column], 0.0);
    }
  }
  fclose(f);
  assert_int_equal(row, 21);
}

/* As adverts and labels spell them. */
static void spellings_of_the_trade_have_our_names (void **state) {
  static const char *const pairs[][2] = {
      {"LiFePO4", "lfp"},
      {"LFP", "lfp"},
      {"lead-acid", "lead_acid"},
      {"NMC", "nmc111 or nmc811"},
      {"NMC 811", "nmc811"},
      {"NCA", "nca"},
      {"LMO", "lmo_blend"},
      {"LTO", NULL},
      {"", NULL},
      {"lithium iron phosphate", "lfp"},
      {"a name that is much too long", NULL}};
  (void)state;
  for (size_t i = 0; i < LEN(pairs); i++) {
    const char *ours = amp_chemistry_like(pairs[i][0]);
    if ((ours == NULL) != (pairs[i][1] == NULL) ||
        (ours != NULL && strcmp(ours, pairs[i][1]) != 0))
      fail_msg("'%s': %s", pairs[i][0], ours != NULL ? ours : "none");
  }
  for (int k = 0; amp_chemistry_name(k) != NULL; k++) /* and themselves */
    assert_string_equal(amp_chemistry_like(amp_chemistry_name(k)),
                        amp_chemistry_name(k));
}

int main (void) {
  const struct CMUnitTest test[] = {
      cmocka_unit_test(spellings_of_the_trade_have_our_names),
      cmocka_unit_test(every_built_in_passes_its_own_check),
      cmocka_unit_test(built_in_slopes_are_those_of_the_curve),
      cmocka_unit_test(rest_voltages_at_half_charge_are_the_published_ones),
      cmocka_unit_test(tables_add_up_to_their_sources),
      cmocka_unit_test(nmc111_agrees_with_its_half_cells),
      cmocka_unit_test(voltage_rises_with_charge_and_never_overshoots),
      cmocka_unit_test(charge_from_voltage_is_the_way_back),
      cmocka_unit_test(lfp_refuses_charge_between_its_knees),
      cmocka_unit_test(the_band_is_flat_and_its_surroundings_are_not),
      cmocka_unit_test(voltages_off_the_table_are_out_of_range),
      cmocka_unit_test(a_charge_limit_is_a_setting_and_is_never_refused),
      cmocka_unit_test(check_names_the_field_that_is_wrong),
      cmocka_unit_test(tables_are_the_reference_tables),
  };
  return cmocka_run_group_tests(test, NULL, NULL);
}
