/*
** caution.h -- the one registry of cautions, as data: what may be wrong with
** an offer, a need, a reading, a log, a layout, a joint or a build, what is
** compared with what, after which practice or source, and who decides. A
** caution's name says what is wrong (fuse_above_cable). The registry judges
** nothing: where the data stands, that code compares and raises by the name,
** and no name is raised that does not stand here. What is refused outright
** stands here too, with the words of the refusal. A page for people is
** docs/cautions.md, which a test holds against this list.
**
** Besides it holds the ranges outside which a number was probably typed in
** another unit (kW for W, ohm for mohm, Fahrenheit for Celsius): common
** practice, no source. Such a number is told, never changed.
*/
#ifndef AMP_JOB_CAUTION_H
#define AMP_JOB_CAUTION_H

#include <stdbool.h>

/* Where one is raised: bits of amp_caution.at, in this order. */
enum {
  AMP_AT_OFFER = 1 << 0,
  AMP_AT_NEED = 1 << 1, /* and its duty and inverter */
  AMP_AT_READING = 1 << 2,
  AMP_AT_LOG = 1 << 3,
  AMP_AT_MODULE = 1 << 4, /* and its cell */
  AMP_AT_MATCH = 1 << 5,
  AMP_AT_LAYOUT = 1 << 6,
  AMP_AT_JOINING = 1 << 7,
  AMP_AT_COPPER = 1 << 8, /* cables, fuses, pre-charge, isolation */
  AMP_AT_PACK = 1 << 9,   /* the built pack, where it stands, its sheet */
  AMP_AT_RUN = 1 << 10,   /* a run, or a life */
  AMP_AT_PLACES = 11
};

/* "offer", "need", .. of bit i; NULL past the last. */
const char *amp_caution_place (int i);

typedef struct amp_caution {
  const char *id;       /* a-z, 0-9 and _, begins with a letter */
  unsigned at;          /* AMP_AT_.. */
  const char *what;     /* what is wrong */
  const char *compared; /* what is compared with what, with units */
  const char *source;   /* a name, or "common practice, no source" */
  const char *who;      /* who decides */
  const char *refused;  /* words of the error that refuses it; NULL: told */
} amp_caution;

/* The i-th, sorted by name; NULL past the last. And by its name, or NULL. */
const amp_caution *amp_caution_nth (int i);
const amp_caution *amp_caution_find (const char *id);

enum { AMP_CAUTION_ID = 48 }; /* longest name, with its end */

/* May a caution be called so? Letters a-z, digits, _; not in the registry
** when 'own' (a caution of the user's). */
bool amp_caution_may_be (const char *id, bool own);

/* A number under 'key' of a 'class' of objects, in the key's own unit. */
typedef struct amp_plausible {
  const char *kind, *key; /* "inverter", "power_w" */
  double lo, hi;          /* outside them it is told */
  const char *id;         /* of the caution */
  const char *words;      /* what it looks like */
} amp_plausible;

/* The i-th range, NULL past the last; and the one that 'value' is outside
** of, or NULL. NaN and exactly 0 are outside of none. */
const amp_plausible *amp_plausible_nth (int i);
const amp_plausible *amp_plausible_look (const char *kind, const char *key,
                                         double value);

#endif
