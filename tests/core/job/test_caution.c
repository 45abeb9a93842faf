/*
** test_caution.c -- the registry of cautions: sorted, complete, found by
** name; which names a script's own may have; numbers in another unit.
*/
#include "support/close.h"
#include "job/caution.h"
#include <string.h>

static void entries_are_sorted_and_full (void **state) {
  const amp_caution *c, *last = NULL;
  int n = 0;
  (void)state;
  for (; (c = amp_caution_nth(n)) != NULL; n++, last = c) {
    if (last != NULL && strcmp(last->id, c->id) >= 0)
      fail_msg("%s stands after %s", c->id, last->id);
    assert_true(amp_caution_may_be(c->id, false));
    assert_true(c->at != 0 && c->at < 1U << AMP_AT_PLACES);
    assert_true(c->what[0] != '\0' && c->compared[0] != '\0');
    assert_true(c->source[0] != '\0' && c->who[0] != '\0');
    assert_ptr_equal(amp_caution_find(c->id), c);
  }
  assert_true(n > 90);
  assert_null(amp_caution_nth(-1));
  assert_null(amp_caution_find("fuse_above"));
  assert_null(amp_caution_find(""));
  assert_null(amp_caution_find("zz"));
}

/* Nothing is called safe, compliant or guaranteed. */
static void no_entry_promises (void **state) {
  static const char *const never[] = {"safe", "compliant", "guarantee",
                                      "insured"};
  const amp_caution *c;
  (void)state;
  for (int i = 0; (c = amp_caution_nth(i)) != NULL; i++)
    for (size_t k = 0; k < sizeof never / sizeof *never; k++)
      assert_true(strstr(c->what, never[k]) == NULL &&
                  strstr(c->compared, never[k]) == NULL);
}

static void own_names_have_a_shape (void **state) {
  (void)state;
  assert_true(amp_caution_may_be("no_fire_detector", true));
  assert_false(amp_caution_may_be("fuse_above_cable", true));
  assert_true(amp_caution_may_be("fuse_above_cable", false));
  assert_false(amp_caution_may_be("", true));
  assert_false(amp_caution_may_be("ab", true));
  assert_false(amp_caution_may_be("2_fast", true));
  assert_false(amp_caution_may_be("Fire", true));
  assert_false(amp_caution_may_be("no fire", true));
  assert_false(amp_caution_may_be(
      "a_name_of_forty_eight_bytes_which_is_one_too_long", true));
}

/* 3 kW typed as watts, 0.0019 ohm typed as mohm, 68 F typed as C,
** 30 cents typed as money. */
static void units_are_guessed_from_the_range (void **state) {
  const amp_plausible *p;
  (void)state;
  p = amp_plausible_look("inverter", "power_w", 3.0);
  assert_non_null(p);
  assert_string_equal(p->id, "watts_like_kilowatts");
  assert_null(amp_plausible_look("inverter", "power_w", 3000.0));
  assert_null(amp_plausible_look("inverter", "power_w", 0.0));
  assert_non_null(amp_plausible_look("module", "r10s_mohm", 0.0019));
  assert_null(amp_plausible_look("module", "r10s_mohm", 1.9));
  assert_non_null(amp_plausible_look("profile", "temp_c", 68.0));
  assert_null(amp_plausible_look("profile", "temp_c", NAN));
  assert_null(amp_plausible_look("profile", "nothing", 1.0));
  assert_non_null(amp_plausible_look("need", "import_price", 30.0));
  assert_null(amp_plausible_look("need", "import_price", 0.30));
  assert_null(amp_plausible_look("need", "export_price", -0.02));
  for (int i = 0; (p = amp_plausible_nth(i)) != NULL; i++)
    assert_non_null(amp_caution_find(p->id));
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(entries_are_sorted_and_full),
      cmocka_unit_test(no_entry_promises),
      cmocka_unit_test(own_names_have_a_shape),
      cmocka_unit_test(units_are_guessed_from_the_range)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
