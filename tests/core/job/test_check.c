/*
** test_check.c -- a build looked at: laws of the list (order, counts, every
** name in the registry), what is missing is said and never guessed, and the
** hut's worked numbers.
*/
#include "support/close.h"
#include "ampstead.h"
#include "job/check_parts.h"
#include <string.h>

#define AH 3600.0

typedef struct hut {
  amp_module module;
  amp_build build;
  amp_converter converter;
  amp_site site;
  amp_check check;
} hut;

/* Ten modules of the mountain hut (invented), strings of two. */
static void make (hut *h) {
  amp_check *c = &h->check;
  memset(h, 0, sizeof *h);
  h->module = amp_module_defaults();
  h->module.chemistry = amp_chemistry_find("nmc111");
  h->module.series = 7;
  h->module.parallel = 2;
  h->module.mass = 17.5;
  h->module.capacity = amp_value_fixed(112 * AH, AMP_BASIS_CLAIMED);
  h->module.tested = amp_value_fixed(93.75 * AH, AMP_BASIS_ASSUMED);
  h->module.r10s = amp_value_fixed(2.01e-3, AMP_BASIS_MEASURED);
  amp_build_uniform(&h->module, 2, 5, true, &h->build);
  h->site = amp_site_defaults();
  c->build = &h->build;
  c->mean = &h->module;
  c->series = 2;
  c->strings = 5;
  c->usable = 21.28 * 3.6e6;
  c->usable_basis = AMP_BASIS_ASSUMED;
  c->unserved = NO;
  assert_int_equal(amp_window_of(h->module.chemistry, 14, NO, NO, 3.3, 4.1, 0,
                                 0, 0, &c->window, NULL),
                   AMP_OK);
}

static const amp_check_row *find (const amp_checked *out, const char *id) {
  for (int i = 0; i < out->n; i++)
    if (strcmp(out->row[i].id, id) == 0)
      return &out->row[i];
  return NULL;
}

/* Raised, unknown, clear; raised by weight; each name in the registry, each
** raised or unknown with its sentence. */
static void check_laws (const amp_checked *out) {
  int n[3] = {0};
  for (int i = 0; i < out->n; i++) {
    const amp_check_row *r = &out->row[i];
    n[r->look]++;
    if (r->caution == NULL)
      fail_msg("%s is not in the registry", r->id);
    if (r->look != AMP_LOOK_CLEAR)
      assert_true(strlen(r->say.text) > 10);
    if (r->look == AMP_LOOK_RAISED)
      assert_true(amp_given(r->value));
    if (i > 0) {
      assert_true(out->row[i - 1].look <= r->look);
      if (r->look == AMP_LOOK_RAISED)
        assert_true(out->row[i - 1].weight <= r->weight);
    }
  }
  for (int k = 0; k < 3; k++)
    assert_int_equal(n[k], out->count[k]);
}

/* A pack alone: nothing is guessed of what was not given. */
static void what_is_missing_is_said (void **state) {
  static hut h;
  static amp_checked out;
  const char *const unknown[] = {
      "window_crossed",          "fuse_below_load",  "cable_below_load",
      "module_not_accepted",     "charge_not_level", "temperature_not_given",
      "place_too_warm",          "floor_overloaded", "idle_empties_pack",
      "deficit_no_battery_cures"};
  (void)state;
  make(&h);
  assert_int_equal(amp_check_look(&h.check, &out, NULL), AMP_OK);
  check_laws(&out);
  for (size_t i = 0; i < LEN(unknown); i++) {
    if (find(&out, unknown[i]) == NULL)
      fail_msg("nothing is said of %s", unknown[i]);
    assert_int_equal(find(&out, unknown[i])->look, AMP_LOOK_UNKNOWN);
  }
  assert_false(amp_given(out.facts.pressure));
  assert_false(amp_given(out.facts.warm));
  assert_int_equal(out.facts.month, -1);
}

/* 14 x 4.10 = 57.4 V; -12 C; 175 kg by 17 K = 0.826 kWh; 6 W for 181 days. */
static void the_hut_reads_as_worked_out (void **state) {
  static hut h;
  static amp_checked out;
  (void)state;
  make(&h);
  h.converter = (amp_converter){.efficiency = 0.92,
                                .idle = 32.0,
                                .power = 3000.0,
                                .v_min = 42.0,
                                .v_max = 58.0};
  h.check.converter = &h.converter;
  h.check.v_abs_max = 60.0;
  h.check.surge = 6000.0;
  h.site.coldest = 261.15;
  h.site.closed = 181 * 86400.0;
  h.site.idle = 6.0;
  h.check.site = &h.site;
  assert_int_equal(amp_check_look(&h.check, &out, NULL), AMP_OK);
  check_laws(&out);
  assert_close(out.facts.v_full, 57.4, 1e-9);
  assert_close(out.facts.warm / 3.6e6, 0.826, 5e-4);
  assert_close(out.facts.idle / 86400.0, 148.0, 0.5);
  assert_close(out.facts.idle_on / 86400.0, 23.0, 0.5);
  assert_int_equal(find(&out, "charge_below_freezing")->look,
                   AMP_LOOK_RAISED);
  assert_int_equal(find(&out, "idle_empties_pack")->look, AMP_LOOK_RAISED);
  assert_int_equal(find(&out, "window_crossed")->look, AMP_LOOK_CLEAR);
  assert_int_equal(find(&out, "lift_for_two")->look, AMP_LOOK_CLEAR);
  /* the full pack past what must never be passed */
  h.check.v_abs_max = 57.0;
  assert_int_equal(amp_check_look(&h.check, &out, NULL), AMP_OK);
  check_laws(&out);
  assert_int_equal(out.row[0].weight, AMP_WEIGHT_SAFETY);
  assert_int_equal(find(&out, "window_crossed")->look, AMP_LOOK_RAISED);
}

/* The same build gives the same list, byte for byte. */
static void the_list_is_a_function_of_the_build (void **state) {
  static hut h;
  static amp_checked a, b;
  (void)state;
  make(&h);
  assert_int_equal(amp_check_look(&h.check, &a, NULL), AMP_OK);
  assert_int_equal(amp_check_look(&h.check, &b, NULL), AMP_OK);
  assert_int_equal(a.n, b.n);
  for (int i = 0; i < a.n; i++) {
    assert_string_equal(a.row[i].id, b.row[i].id);
    assert_string_equal(a.row[i].say.text, b.row[i].say.text);
  }
}

static void a_place_that_makes_no_sense_is_refused (void **state) {
  static hut h;
  static amp_checked out;
  amp_error err = {0};
  (void)state;
  make(&h);
  h.site.floor_area = -1.0;
  h.check.site = &h.site;
  assert_int_equal(amp_check_look(&h.check, &out, &err), AMP_ERANGE);
  assert_string_equal(err.field, "floor_area");
}

/* All that the look at a circuit tells of this one is a kind that the check
** knows; 'seen' gathers the ids. */
static int gather (const amp_circuit *c, const char *seen[], int n) {
  amp_findings f;
  assert_int_equal(amp_circuit_look(c, &f, NULL), AMP_OK);
  for (int i = 0; i < f.n + f.clear; i++) {
    const char *id = i < f.n ? f.row[i].id : f.passed[i - f.n].id;
    int k = 0;
    if (!check_finding_is(id))
      fail_msg("%s has no unit and weight in check_circuit.c", id);
    while (k < n && strcmp(seen[k], id) != 0)
      k++;
    if (k == n)
      seen[n++] = id;
  }
  return n;
}

/* Circuits that between them tell each of the sixteen findings. */
static void each_finding_has_a_kind (void **state) {
  static const double r[] = {2e-3, 2e-3}, hidden[] = {2e-3, NAN};
  static const double fuse[] = {NAN, 60, 160}, ampacity[] = {NAN, 50, 200},
                      drop[] = {NAN, 0.001, 0.05},
                      breaks[] = {NAN, 10e3, 60e3}, lasts[] = {NAN, 5, 3600};
  const char *seen[64];
  amp_short_spec spec[] = {{2, r, 57.4, NAN}, {2, hidden, 57.4, NAN}};
  amp_short s[2];
  int n = 0;
  (void)state;
  for (int k = 0; k < 2; k++)
    assert_int_equal(amp_short_of(&spec[k], &s[k], NULL), AMP_OK);
  for (int k = 0; k < 3 * 3 * 3 * 3 * 3 * 2; k++) {
    amp_trip curve = {2, {100, 300}, {3600, 10}};
    amp_circuit c = amp_circuit_defaults();
    c.current = 72.0;
    c.surge = 145.0;
    c.v_full = k % 2 ? 57.4 : 65.6;
    c.fuse = fuse[k % 3];
    c.fuse_v = 60.0;
    c.alternating = c.polarised = k % 2 == 0;
    c.ampacity = ampacity[k / 3 % 3];
    c.drop = drop[k / 9 % 3];
    c.drop_limit = 0.02;
    c.interrupt = breaks[k / 27 % 3];
    c.surge_time = lasts[k / 81 % 3];
    c.curve = k / 243 ? &curve : NULL;
    c.prospective = &s[k % 2];
    n = gather(&c, seen, n);
  }
  assert_int_equal(n, 16);
  assert_false(check_finding_is("window_crossed"));
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_is_missing_is_said),
      cmocka_unit_test(the_hut_reads_as_worked_out),
      cmocka_unit_test(the_list_is_a_function_of_the_build),
      cmocka_unit_test(a_place_that_makes_no_sense_is_refused),
      cmocka_unit_test(each_finding_has_a_kind)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
