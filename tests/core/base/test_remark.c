/*
** test_remark.c -- words of damage in remarks: what is said, what is denied,
** what only looks like it. Invented remarks.
*/
#include "support/close.h"
#include "base/remark.h"
#include <string.h>

static void each_says (const char *const *list, size_t n, bool said,
                       bool denied) {
  for (size_t i = 0; i < n; i++)
    if ((amp_remark_damage(list[i]) != NULL) != said ||
        (amp_remark_denied(list[i]) != NULL) != denied)
      fail_msg("'%s': said %d, denied %d", list[i],
               amp_remark_damage(list[i]) != NULL,
               amp_remark_denied(list[i]) != NULL);
}

static void damage_is_said_in_whole_words (void **state) {
  static const char *const list[] = {"swollen",
                                     "SWOLLEN side",
                                     "white crust at a corner",
                                     "it leaks",
                                     "cells bulging a bit",
                                     "salt-water car",
                                     "water-damaged",
                                     "one vented cell",
                                     "vent blown",
                                     "burnt smell",
                                     "burn mark on the lid",
                                     "from a crashed car",
                                     "fire in the yard",
                                     "(dented)",
                                     "dent/scratch",
                                     "swollen?",
                                     ("a\xe2\x80\x94swollen\xe2\x80\x94"
                                      "b"),
                                     "\xe2\x80\x9cleaking\xe2\x80\x9d",
                                     "very\xc2\xa0wet",
                                     "rusty;cracked",
                                     "leakage at the plug",
                                     "water",
                                     "accident car",
                                     "leak test failed",
                                     "broken lug"};
  (void)state;
  each_says(list, LEN(list), true, false);
}

/* What a hand, a nose or an eye tells at the bench. */
static void what_the_bench_feels_and_sees_is_read (void **state) {
  static const char *const list[] = {"hot during charge",
                                     "gets hot",
                                     "hotter than the others",
                                     "warm at rest",
                                     "one end warms up",
                                     "heats up on charge",
                                     "heat marks",
                                     "overheats",
                                     "went into runaway",
                                     "dropped it once",
                                     "fell off the bench",
                                     "has fallen over",
                                     "tipped over",
                                     "knocked in transit",
                                     "stood in rain",
                                     "found underwater",
                                     "seawater car",
                                     "mud inside",
                                     "condensation inside",
                                     "oozing at the tab",
                                     "seeping",
                                     "dripping",
                                     "sticky residue",
                                     "white powder at the vent",
                                     "crystals on the tab",
                                     "bloated",
                                     "ballooning",
                                     "lid warped",
                                     "blisters on it",
                                     "stinks",
                                     "a sweet reek",
                                     "fumes when opened",
                                     "soot on the lid",
                                     "shorted once",
                                     "short-circuited",
                                     "melted lid"};
  static const char *const no[] = {
      "hot deal",           "hot-swap tray",     "kept warm and dry",
      "warm storage",       "price dropped",     "voltage dropped",
      "dropped off by van", "fell below 3 V",    "rain cover",
      "powder-coated tray", "crystal clear lid", "heat shield",
      "heated van",         "short leads",       "short circuit proof",
      "shot of it",         "drop-off possible", "mudguard"};
  static const char *const denied[] = {
      "never hot",      "not dropped",    "never got warm",
      "no rain or mud", "no heat damage", "never been dropped"};
  (void)state;
  each_says(list, LEN(list), true, false);
  each_says(no, LEN(no), false, false);
  each_says(denied, LEN(denied), false, true);
}

static void a_remark_comes_in_parts (void **state) {
  static const char *const want[] = {"retested, ", "clean lugs; ",
                                     ("\xc3\xbc"
                                      "ber alles")};
  const char *s = " retested, clean lugs; \xc3\xbc"
                  "ber alles";
  char out[24];
  (void)state;
  for (size_t i = 0; i < LEN(want); i++) {
    assert_true(amp_remark_part(&s, out, sizeof out));
    assert_string_equal(out, want[i]);
  }
  assert_false(amp_remark_part(&s, out, sizeof out));
  s = "a part that is long";
  assert_true(amp_remark_part(&s, out, 5));
  assert_string_equal(out, "a pa"); /* cut */
  assert_false(amp_remark_part(&s, out, 5));
  s = " .. ";
  assert_false(amp_remark_part(&s, out, sizeof out));
}

static void few_phrases_say_nothing (void **state) {
  static const char *const yes[] = {
      "ok", "OK.", "label missing", "Clean-lugs", "no label", " ", ""};
  static const char *const no[] = {
      "ok?",   "not ok", "lug missing", "clean lugs bent",
      "label", "lid ok", "geschmolzen"};
  (void)state;
  for (size_t i = 0; i < LEN(yes); i++)
    if (!amp_remark_plain(yes[i]))
      fail_msg("'%s'", yes[i]);
  for (size_t i = 0; i < LEN(no); i++)
    if (amp_remark_plain(no[i]))
      fail_msg("'%s'", no[i]);
}

static void words_that_only_begin_alike_are_none (void **state) {
  static const char *const list[] = {"ventilated box",
                                     "venting hose included",
                                     "from Swellendam",
                                     "burnished bars",
                                     "crackle finish",
                                     "dentist's van",
                                     "trust me",
                                     "waterproof case",
                                     "water cooled",
                                     "water-cooling plates",
                                     "fire extinguisher beside it",
                                     "fireproof bag",
                                     "bentley colours",
                                     "saltire sticker",
                                     "smokeless",
                                     "crushproof",
                                     "sparkling clean",
                                     "module with vents",
                                     "adventure van",
                                     "leakage current 2 mA",
                                     "burn-in done",
                                     "vented enclosure",
                                     "firewall",
                                     "meltdown price",
                                     "pierceton",
                                     "undamaged",
                                     "crashpad",
                                     "wetherby",
                                     "puffin logo",
                                     ""};
  (void)state;
  each_says(list, LEN(list), false, false);
}

static void what_is_denied_is_not_said (void **state) {
  static const char *const list[] = {"no swelling",
                                     "not swollen",
                                     "without damage",
                                     "never burnt",
                                     "no leak not swollen",
                                     "No sign of any swelling",
                                     "no leaks or dents",
                                     "no leaks/dents",
                                     "no visible damage",
                                     "no water damage",
                                     "never got wet",
                                     "leak-free",
                                     "damage free",
                                     "leaks: none",
                                     "free of corrosion",
                                     "it isn't leaking",
                                     "it isn\xe2\x80\x99t leaking",
                                     "none of the cells is swollen",
                                     "not in a crash",
                                     "no salt water",
                                     "no\xc2\xa0leaks",
                                     "non-leaking",
                                     "leak tested ok",
                                     "dents: 0",
                                     "neither swollen nor leaking",
                                     "no fire or water damage",
                                     "smell - none",
                                     "no\xe2\x80\x91leak"};
  (void)state;
  each_says(list, LEN(list), false, true);
}

/* What leaves some of it standing is no denial; nor is a doubt. */
static void what_is_in_doubt_counts_as_said (void **state) {
  static const char *const list[] = {"no: swollen",
                                     "not tested, swollen",
                                     "no longer leaking",
                                     "no major damage",
                                     "not without damage",
                                     "not only dented",
                                     "no other damage",
                                     "not sure if swollen",
                                     "not all swollen",
                                     "no idea, leaks?",
                                     "not checked for leaks",
                                     "not yet leaking",
                                     "no test\nswollen",
                                     "no test \xe2\x80\x93 swollen",
                                     "slightly swollen free to collect",
                                     "leaking no idea why",
                                     "no returns leaking",
                                     "no it is swollen",
                                     "hardly any swelling"};
  static const char *const both[] = {
      "no dents, leaks", "not swollen but leaking", "no dents and swollen",
      "leak-free, dented", "no damage, smells burnt"};
  (void)state;
  each_says(list, LEN(list), true, false);
  each_says(both, LEN(both), true, true);
}

/* A nought denies only where it counts: not as the end of a number, and not
** as the number of a cell. */
static void a_nought_denies_only_as_a_count (void **state) {
  static const char *const said[] = {"OCV 51.0 swollen",
                                     "25.0 leaking",
                                     "25,0 leaking",
                                     "cell 0 swollen",
                                     "module 0 leaking",
                                     "cells 1 and 0 leaking",
                                     "cells 3, 0 leaking",
                                     "cell: 0 leaking",
                                     "cell zero leaking",
                                     "slot 0 wet",
                                     "cell no. 0 leaking",
                                     "# 0 leaking",
                                     "#0 leaking",
                                     "OCV 0 swollen",
                                     "SOC: 0 hot",
                                     "at 35.0 hot",
                                     ".0 hot",
                                     "-0 hot",
                                     "swelling: 0.8 mm",
                                     "bulge: 0,5 mm at one side",
                                     "leak: 0.2 ml",
                                     "swelling: 0 - 3 mm",
                                     ("swelling: 0\xe2\x80\x93"
                                      "3 mm"),
                                     "dents: 0?",
                                     "leaks: none?",
                                     "crack: no, two",
                                     "cracks: none, 2 of them"};
  static const char *const denied[] = {"dents: 0",
                                       "0 dents",
                                       "zero dents",
                                       "0 leaks or dents",
                                       "ok, 0 dents",
                                       "OCV 51.0 V, 0 dents",
                                       "with zero leaks",
                                       "- 0 dents",
                                       "0 dents and 0 leaks",
                                       "dents: 0, leaks: 0",
                                       "crack: no, leak: no",
                                       "dents: 0, 4 wire",
                                       "dents: 0."};
  (void)state;
  each_says(said, LEN(said), true, false);
  each_says(denied, LEN(denied), false, true);
}

/* What lapsed was so once, an exception is so; "no case" may be a case that
** is not there. */
static void what_was_so_once_counts_as_said (void **state) {
  static const char *const said[] = {"not leaking any more",
                                     "not leaking anymore",
                                     "not swollen yet",
                                     "isn't leaking now",
                                     "no leak visible now",
                                     "not leaking since it was cleaned",
                                     "not leaking - now",
                                     "not swollen, yet.",
                                     "leak-free now",
                                     "no case swollen cells",
                                     "no cells swollen",
                                     "without case swollen",
                                     "without the housing leaking",
                                     "no swelling except one crack",
                                     "no leaks apart from the lid",
                                     "no swelling on 3 of 4 cells",
                                     "not swollen on one side",
                                     "never dropped more than once"};
  static const char *const denied[] = {
      "not leaking, cleaned now",     "not any more. not leaking",
      "none of the cells is swollen", "no sign of any cell swelling",
      "not a cell leaking",           "no electrolyte leak"};
  (void)state;
  each_says(said, LEN(said), true, false);
  each_says(denied, LEN(denied), false, true);
}

/* Other languages are in no list: neither said nor denied. */
static void other_languages_are_not_read (void **state) {
  static const char *const list[] = {"aufgebl\xc3\xa4ht",
                                     "kein Schaden",
                                     "\xc3\xbc"
                                     "berflutet",
                                     "gonfl\xc3\xa9",
                                     "br\xc3\xbbl\xc3\xa9",
                                     "undichte Zelle",
                                     "hinchado",
                                     "wasserschaden",
                                     "smell\xc3\xa9",
                                     "\xd0\xb2\xd0\xb7\xd0\xb4\xd1\x83\xd1"
                                     "\x82\xd1\x8b\xd0\xb9"};
  (void)state;
  each_says(list, LEN(list), false, false);
}

static void the_word_itself_is_given (void **state) {
  char out[24];
  (void)state;
  amp_remark_word(amp_remark_damage("one side Swollen\xe2\x80\xa6"), out,
                  sizeof out);
  assert_string_equal(out, "Swollen");
  amp_remark_word(amp_remark_denied("no leak, crust"), out, sizeof out);
  assert_string_equal(out, "leak");
  amp_remark_word(amp_remark_damage("no leak, crust"), out, 4);
  assert_string_equal(out, "cru");
}

static void phrases_are_whole_words_too (void **state) {
  static const char *const list[] = {"two wire", "under load", "not rested"};
  static const char *const yes[] = {
      "Two-wire meter",      "read under  load",   "ok; not rested",
      "two\xe2\x80\x90wire", "at 25.0 under load", "cell 0 under load",
      "51.0 two wire"};
  static const char *const no[] = {
      "under loading", "twotwo wire", "two, wire", "never under load",
      "not two-wire",  "rested",      "",          "under",
      "0 under load"};
  (void)state;
  for (size_t i = 0; i < LEN(yes); i++)
    assert_true(amp_remark_speaks_of(yes[i], list, LEN(list)));
  for (size_t i = 0; i < LEN(no); i++)
    assert_false(amp_remark_speaks_of(no[i], list, LEN(list)));
}

/* Bytes of anybody's, cut anywhere: within the text, or nothing. */
static void any_bytes_are_read_to_their_end (void **state) {
  static const char some[] = "no leak\xe2\x80\x94\xc2\xa0-/:,.\xe3\xef\xff t";
  (void)state;
  for (unsigned turn = 0, k = 1; turn < 20000; turn++) {
    char text[16];
    size_t n = turn % sizeof text;
    for (size_t i = 0; i < n; i++) {
      k = k * 1103515245u + 12345u;
      text[i] = some[(k >> 16) % (sizeof some - 1)];
    }
    text[n < sizeof text ? n : n - 1] = '\0';
    const char *said = amp_remark_damage(text);
    const char *denied = amp_remark_denied(text);
    assert_true(said == NULL || (said >= text && said < text + n));
    assert_true(denied == NULL || (denied >= text && denied < text + n));
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(damage_is_said_in_whole_words),
      cmocka_unit_test(what_the_bench_feels_and_sees_is_read),
      cmocka_unit_test(a_remark_comes_in_parts),
      cmocka_unit_test(few_phrases_say_nothing),
      cmocka_unit_test(words_that_only_begin_alike_are_none),
      cmocka_unit_test(what_is_denied_is_not_said),
      cmocka_unit_test(what_is_in_doubt_counts_as_said),
      cmocka_unit_test(a_nought_denies_only_as_a_count),
      cmocka_unit_test(what_was_so_once_counts_as_said),
      cmocka_unit_test(other_languages_are_not_read),
      cmocka_unit_test(the_word_itself_is_given),
      cmocka_unit_test(phrases_are_whole_words_too),
      cmocka_unit_test(any_bytes_are_read_to_their_end)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
