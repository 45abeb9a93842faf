/*
** remark.c -- words of damage and others in a remark.
*/
#include "base/remark.h"

/* Beginnings of words that speak of damage. */
static const char *const damage[] = {
    "crust",  "leak",  "swell",  "swoll", "bulg",   "puff",  "smell",
    "odor",   "odour", "wet",    "water", "flood",  "salt",  "corro",
    "rust",   "burn",  "scorch", "smok",  "melt",   "dent",  "crack",
    "punct",  "crush", "pierc",  "spark", "broken", "damag", "bent",
    "deform", "hiss",  "vent",   "fire",  "crash"};
static const char *const denial[] = {"no", "not", "without", "never", "non"};

static bool letter (char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c & 0x80);
}

/* The word at 's' begins with (whole: is) 'w', without case. */
static bool word_is (const char *s, const char *w, bool whole) {
  for (; *w != '\0'; s++, w++) {
    char c = *s >= 'A' && *s <= 'Z' ? (char)(*s - 'A' + 'a') : *s;
    if (c != *w)
      return false;
  }
  return !whole || !letter(*s);
}

static bool one_of (const char *s, const char *const *list, size_t n,
                    bool whole) {
  for (size_t i = 0; i < n; i++)
    if (word_is(s, list[i], whole))
      return true;
  return false;
}

bool amp_remark_speaks_of (const char *s, const char *const *list, size_t n) {
  for (bool in = false; *s != '\0'; s++) {
    bool was = in;
    in = letter(*s) || (*s >= '0' && *s <= '9');
    if (in && !was && one_of(s, list, n, false))
      return true;
  }
  return false;
}

const char *amp_remark_damage (const char *s) {
  int denied = 0;
  for (bool in = false; *s != '\0'; s++) {
    bool was = in;
    in = letter(*s);
    if (!in && *s != ' ' && *s != '-')
      denied = 0;
    if (!in || was)
      continue;
    if (one_of(s, damage, sizeof damage / sizeof *damage, false) &&
        denied == 0)
      return s;
    denied -= denied > 0;
    if (one_of(s, denial, sizeof denial / sizeof *denial, true))
      denied = 2;
  }
  return NULL;
}

void amp_remark_word (const char *word, char *out, size_t size) {
  size_t n = 0;
  for (; letter(word[n]) && n + 1 < size; n++)
    out[n] = word[n];
  out[n] = '\0';
}
