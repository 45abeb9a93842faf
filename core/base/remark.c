/*
** remark.c -- words of damage and others in a remark, and what denies them.
*/
#include "base/remark.h"
#include <string.h>

/* Every word that speaks of damage, with its inflections. Followed by one of
** 'part', or right behind one of 'behind', it is a part or a property; where
** 'only' is given it counts before one of these alone. The words of a row
** begin with one letter, by which rows are passed over. Common practice, no
** source. */
static const struct {
  const char *words, *part, *only, *behind;
} damage[] = {
    {"crust crusts crusty crusted", "", "", ""},
    {"leak leaks leaked leaking leaky", "proof tight", "", ""},
    {"leakage leakages", "current currents", "", ""},
    {"swell swells swelled swelling swellings swollen", "", "", ""},
    {"bulge bulges bulged bulging", "", "", ""},
    {"puff puffs puffed puffing puffy", "", "", ""},
    {"smell smells smelled smelling smelly", "", "", ""},
    {"odor odors odour odours", "", "", ""},
    {"wet waterlogged", "", "", ""},
    {"soaked submerged", "", "", ""},
    {"damp", "proof", "", ""},
    {"moisture", "proof", "", ""},
    {"water",
     "cooled cooling cooler pump pumps jacket heater heating block hose "
     "hoses "
     "circuit plate plates channel channels glycol proof resistant tight",
     "", ""},
    {"flood floods flooded flooding", "light lights", "", ""},
    {"salt salty", "", "", ""},
    {"corrode corrodes corroded corroding corrosion corrosive",
     "proof resistant protection", "", ""},
    {"rust rusts rusted rusting rusty", "proof", "", ""},
    {"burn burns burned burnt burning", "in", "", ""},
    {"charred", "", "", ""},
    {"singed", "", "", ""},
    {"scorch scorches scorched scorching", "", "", ""},
    {"smoke smokes smoked smoking smoky", "detector detectors alarm alarms",
     "", ""},
    {"melt melts melted melting molten", "", "", ""},
    {"dent dents dented denting", "", "", ""},
    {"crack cracks cracked cracking", "", "", ""},
    {"puncture punctures punctured", "", "", ""},
    {"crush crushes crushed crushing", "zone", "", ""},
    {"pierce pierces pierced piercing", "", "", ""},
    {"spark sparks sparked sparking", "plug plugs", "", ""},
    {"broken breakage", "", "", ""},
    {"damage damages damaged damaging", "deposit waiver", "", ""},
    {"bent", "", "", ""},
    {"deform deforms deformed deforming deformation", "", "", ""},
    {"hiss hisses hissed hissing", "", "", ""},
    {"vented venting",
     "hose hoses tube tubes pipe pipes duct ducts kit system port ports "
     "valve "
     "valves channel channels cap caps box cover lid case enclosure cabinet "
     "rack gap",
     "", ""},
    {"vent vents", "",
     "open opened opens burst blown blew popped torn "
     "ruptured released",
     ""},
    {"burst bursts", "", "", ""},
    {"rupture ruptured", "", "", ""},
    {"exploded explosion", "proof", "", ""},
    {"overheat overheats overheated overheating", "protection", "", ""},
    {"fire fires",
     "extinguisher extinguishers blanket blankets alarm alarms proof "
     "resistant retardant wall brigade department safe safety rated sale",
     "", ""},
    {"crash crashes crashed", "tested", "", ""},
    {"wreck wrecked wreckage", "", "", ""},
    {"accident accidents", "", "", ""},
    /* heat */
    {"hot hotter",
     "deal deals price prices glue swap swappable plug pluggable day days "
     "weather climate summer room garage shed water topic",
     "", ""},
    {"hotspot hotspots", "", "", ""},
    {"heat", "", "mark marks spot spots stain stains damage damaged", ""},
    {"heats heated", "", "up itself", ""},
    {"warm warmer warms warmed",
     "room rooms garage shed hall house cellar storage store stored place "
     "day days weather climate country summer dry",
     "", "kept stored keep"},
    {"runaway", "", "", ""},
    {"fume fumes fuming", "", "", ""},
    {"soot sooty", "", "", ""},
    {"blackened", "", "", ""},
    {"arced arcing", "", "", ""},
    /* a fall or a blow */
    {"dropped", "off below", "", "price prices voltage ocv soc capacity"},
    {"fell fallen", "below within short behind", "",
     "price prices voltage ocv soc capacity"},
    {"tipped", "", "over", ""},
    {"knocked bumped", "", "", ""},
    /* water and what it leaves */
    {"underwater", "", "", ""},
    {"seawater saltwater", "", "", ""},
    {"rain rained rainwater", "proof cover coat", "", ""},
    {"drenched drowned", "", "", ""},
    {"moist", "", "", ""},
    {"mud muddy", "", "", ""},
    {"silt sludge", "", "", ""},
    {"condensation", "", "", ""},
    /* what runs out of a cell, and what it leaves */
    {"ooze oozes oozed oozing", "", "", ""},
    {"seep seeps seeped seeping seepage", "", "", ""},
    {"drip drips dripped dripping", "tray", "", ""},
    {"residue residues", "", "", ""},
    {"powder powders powdery", "coat coated coating", "", ""},
    {"crystal crystals crystallised crystallized", "clear", "", ""},
    /* shape */
    {"bloat bloats bloated bloating", "", "", ""},
    {"balloon ballooned ballooning", "", "", ""},
    {"inflated", "", "", "price"},
    {"pillowed pillowing", "", "", ""},
    {"bowed", "", "", ""},
    {"warp warped warping", "", "", ""},
    {"distorted distortion", "", "", ""},
    {"blister blisters blistered blistering", "pack packs", "", ""},
    /* smell */
    {"stink stinks stinking stank stinky", "", "", ""},
    {"stench", "", "", ""},
    {"reek reeks reeking", "", "", ""},
    /* electricity */
    {"shorted", "", "", ""},
    {"short", "", "circuited", ""}};

enum { DAMAGES = sizeof damage / sizeof *damage };

static const char denial[] =
    "no not never without none non nor neither isn wasn aren weren "
    "hasn haven hadn doesn didn";

/* A count of none. It is a denial only where it counts something: at the
** beginning of a breath or behind one of these, never as the number of a cell
** ("cell 0") or of a reading ("OCV 0", "25.0"). */
static const char none_counted[] = "zero 0";
static const char counts_behind[] =
    "with and or but has have had are were shows show showing there found "
    "seen ok okay good fine clean";

/* A count behind one of these, or behind a number, names a part. */
static const char numbered[] =
    "cell cells module modules group groups string strings slot slots bank "
    "banks nr no number num";

/* What may stand between a denial and the word that it denies. None of it
** lets some of the damage stand, as "major" or "other" would. */
static const char between[] =
    "a an any the of on in at from by through sign signs trace traces "
    "evidence hint hints visible apparent known noticeable ever even been be "
    "is are was were get got has have had them electrolyte coolant oil gas "
    "fluid acid t or nor";

/* These too, but not right behind "no" and "without", which may deny the part
** alone: "without case, swollen" is typed without its comma. */
static const char parts[] =
    "cell cells module modules group groups pack packs case cases housing "
    "housings side sides";

/* Behind a denied word, in its breath: it was so once, or may be; or what is
** denied is denied of the rest. */
static const char lapsed[] =
    "anymore now yet since today currently again until unless except "
    "excepting apart besides only than one two three four most some half "
    "1 2 3 4 5 6 7 8 9";

/* Nouns that a denied word may stand before: "no water damage" */
static const char nouns[] =
    "damage damages damaged smell smells odor odour leak leaks leakage water";

/* ---- words ---- */

/* How a word is parted from the one before it, the weakest first. */
typedef enum parted { HYPHEN, BLANK, SLASH, COLON, MARK } parted;

typedef struct word {
  const char *s;
  size_t n;
  parted before;
} word;

static bool plain (char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
         (c >= '0' && c <= '9');
}

/* A sign of two bytes behind 0xc2: blanks, quotes, a point, inverted marks */
static size_t latin_sign (const char *s, parted *kind) {
  *kind = s[1] == '\xa0' ? BLANK : s[1] == '\xad' ? HYPHEN : MARK;
  return s[1] != '\0' && strchr("\xa0\xad\xab\xbb\xb7\xa1\xbf", s[1]) != NULL
             ? 2
             : 0;
}

/* A sign of three bytes: general punctuation (U+2000 .. U+203F), the minus,
** the blanks and commas of wide scripts. */
static size_t wide_sign (const char *s, parted *kind) {
  unsigned char b = (unsigned char)s[1];
  unsigned char c = b != 0 ? (unsigned char)s[2] : 0;
  if ((unsigned char)s[0] == 0xe2u && b == 0x80u && c != 0) {
    bool blank = c <= 0x8bu || c == 0xafu;
    bool hyphen = c == 0x90u || c == 0x91u || c == 0x99u;
    *kind = blank ? BLANK : hyphen ? HYPHEN : MARK;
    return 3;
  }
  *kind = MARK;
  if (c != 0 &&
      (memcmp(s, "\xe2\x88\x92", 3) == 0 || memcmp(s, "\xe3\x80", 2) == 0 ||
       memcmp(s, "\xef\xbc\x8c", 3) == 0))
    return 3;
  return 0;
}

/* The length of the sign at 's'; 0: a letter, or the end. */
static size_t sign_at (const char *s, parted *kind) {
  unsigned char c = (unsigned char)*s;
  if (c >= 0x80u)
    return c == 0xc2u ? latin_sign(s, kind) : wide_sign(s, kind);
  if (c == '\0' || plain(*s))
    return 0;
  *kind = c == ' ' || c == '\t'   ? BLANK
          : c == '-' || c == '\'' ? HYPHEN
          : c == '/' || c == '|'  ? SLASH
          : c == ':' || c == '='  ? COLON
                                  : MARK;
  return 1;
}

/* The next word from 's' on; false: none. A hyphen beside a blank is a
** dash, and parts as a mark does. */
static bool next_word (const char *s, word *w) {
  parted most = HYPHEN, kind = HYPHEN;
  bool blank = false, hyphen = false;
  for (size_t n; (n = sign_at(s, &kind)) > 0; s += n) {
    blank = blank || kind == BLANK;
    hyphen = hyphen || kind == HYPHEN;
    most = kind > most ? kind : most;
  }
  w->before = blank && hyphen ? MARK : most;
  w->s = s;
  while (*s != '\0' && sign_at(s, &kind) == 0)
    s++;
  w->n = (size_t)(s - w->s);
  return w->n > 0;
}

static char lower (char c) {
  return (char)(c >= 'A' && c <= 'Z' ? c + ('a' - 'A') : c);
}

/* Is it the n letters at 't', without case? */
static bool word_is (const word *w, const char *t, size_t n) {
  size_t i = 0;
  while (i < n && i < w->n && lower(w->s[i]) == t[i])
    i++;
  return i == n && i == w->n;
}

/* Is it one of the words of 'list', parted by blanks? */
static bool one_of (const word *w, const char *list) {
  for (size_t n; *list != '\0'; list += n + (list[n] == ' ')) {
    n = strcspn(list, " ");
    if (word_is(w, list, n))
      return true;
  }
  return false;
}

/* The word behind 'w', in the same breath. */
static bool follows (const word *w, word *next) {
  return next_word(w->s + w->n, next) && next->before <= BLANK;
}

/* ---- damage ---- */

/* Does this word, with those beside it, speak of damage? */
static bool of_damage (const word *w, const word *last) {
  word next;
  char initial = lower(w->s[0]);
  for (int i = 0; i < DAMAGES; i++) {
    if (damage[i].words[0] != initial || !one_of(w, damage[i].words) ||
        (w->before <= BLANK && one_of(last, damage[i].behind)))
      continue;
    bool more = follows(w, &next);
    return damage[i].only[0] != '\0'
               ? more && one_of(&next, damage[i].only)
               : !(more && one_of(&next, damage[i].part));
  }
  return false;
}

/* Does the sentence end behind the word? */
static bool ends (const word *w) {
  word next;
  return !next_word(w->s + w->n, &next) || next.before == MARK;
}

static bool digit (char c) {
  return c >= '0' && c <= '9';
}

/* Is "none" taken back behind it? "0.8 mm", "0 - 3", "no, two", "none?" */
static bool taken_back (const word *w) {
  word next, last;
  bool more = next_word(w->s + w->n, &next);
  size_t gap = (size_t)(next.s - (w->s + w->n));
  if (memchr(w->s + w->n, '?', gap) != NULL)
    return true;
  return more &&
         (digit(next.s[0]) ||
          one_of(&next, "one two three four five six several some few many "
                        "both only but except")) &&
         !(follows(&next, &last) && one_of(&last, "wire wires"));
}

/* "leak-free", "leak free.", "leaks: none", "leaks: 0", "leak tested ok" */
static bool denied_behind (const word *w) {
  word next, last;
  if (!next_word(w->s + w->n, &next))
    return false;
  if (next.before <= BLANK && one_of(&next, "free"))
    return next.before == HYPHEN || ends(&next);
  if (next.before <= BLANK && one_of(&next, "test tested check checked"))
    return follows(&next, &last) &&
           one_of(&last, "ok okay passed good fine negative");
  if (next.before == COLON || next.before == MARK)
    return ends(&next) && !taken_back(&next) &&
           one_of(&next, next.before == COLON ? "none nil no never zero 0"
                                              : "none nil");
  return false;
}

/* "not leaking any more", "not leaking, yet.": what lapses counts as said. */
static bool lapses (word w) {
  word next;
  for (; follows(&w, &next); w = next)
    if (one_of(&next, lapsed) || (one_of(&w, "any") && one_of(&next, "more")))
      return true;
  return next.n > 0 && one_of(&next, lapsed) && ends(&next);
}

/* ---- denials ---- */

/* Where a reader of the remark stands. */
typedef struct state {
  bool deny;  /* what comes is denied */
  bool after; /* and something was */
  bool was;   /* the word before was the denial */
  bool bare;  /* and "no" or "without", articles aside */
  bool names; /* a number would be the name of a part */
  word last;  /* the word before */
} state;

static state at_start (const char *s) {
  return (state){.last = {s, 0, MARK}};
}

/* Nothing of a longer number, and no "#0" */
static bool stands_alone (const state *k, const word *w) {
  const char *gap = k->last.s + k->last.n, *end = w->s + w->n;
  if (memchr(gap, '#', (size_t)(w->s - gap)) != NULL ||
      (w->s > gap && strchr(".,'-", w->s[-1]) != NULL))
    return false;
  return *end == '\0' || strchr(".,'", *end) == NULL || !digit(end[1]);
}

/* "0 dents", "with zero leaks" */
static bool counts_none (const state *k, const word *w) {
  return one_of(w, none_counted) && stands_alone(k, w) && !k->names &&
         (k->last.n == 0 || w->before == MARK ||
          (w->before == BLANK && one_of(&k->last, counts_behind)));
}

static bool is_denial (const state *k, const word *w) {
  word next;
  return one_of(w, denial) || counts_none(k, w) ||
         (one_of(w, "free") && follows(w, &next) && one_of(&next, "of from"));
}

/* Before the word itself is looked at. */
static void arrive (state *k, const word *w) {
  if (w->before >= COLON)
    k->deny = k->after = k->was = k->bare = false;
  if (w->before == SLASH && k->after)
    k->after = false;
}

/* Does the denial hold for this word of a list? */
static bool holds (const state *k, const word *w) {
  return k->deny && (!k->after || one_of(w, nouns));
}

/* The word is the one before now. */
static void step (state *k, const word *w) {
  k->names = digit(w->s[0]) || one_of(w, numbered) ||
             (k->names && one_of(w, "and or to"));
  k->last = *w;
}

/* Past a word of no list. Two denials are none: "not without". */
static void pass (state *k, const word *w) {
  if (is_denial(k, w)) {
    bool list = k->after && one_of(w, "nor");
    k->deny = list || !k->was;
    k->after = false;
    k->was = !list;
    k->bare = one_of(w, "no without");
    return;
  }
  if (k->after)
    k->after = !one_of(w, "or nor");
  else if (!one_of(w, between) && (k->bare || !one_of(w, parts)))
    k->deny = false;
  k->deny = k->deny && !k->after;
  k->was = false;
  k->bare = k->bare && one_of(w, "a an any the");
}

/* Past a word of a list: "no leaks or dents" goes on. */
static void pass_damage (state *k) {
  k->after = k->deny;
  k->was = k->bare = false;
}

static const char *find (const char *s, bool denied) {
  state k = at_start(s);
  for (word w = k.last; next_word(w.s + w.n, &w); step(&k, &w)) {
    arrive(&k, &w);
    if (!of_damage(&w, &k.last)) {
      pass(&k, &w);
      continue;
    }
    bool no = (holds(&k, &w) || denied_behind(&w)) && !lapses(w);
    if (no == denied)
      return w.s;
    pass_damage(&k);
  }
  return NULL;
}

const char *amp_remark_damage (const char *s) {
  return find(s, false);
}

const char *amp_remark_denied (const char *s) {
  return find(s, true);
}

/* ---- phrases ---- */

/* Do the words from 'w' on begin with this phrase? */
static bool begins (word w, const char *phrase) {
  for (size_t n; *phrase != '\0'; phrase += n + (phrase[n] == ' ')) {
    n = strcspn(phrase, " ");
    if (!word_is(&w, phrase, n))
      return false;
    if (phrase[n] == ' ' && !follows(&w, &w))
      return false;
  }
  return true;
}

bool amp_remark_speaks_of (const char *s, const char *const *list, size_t n) {
  state k = at_start(s);
  for (word w = k.last; next_word(w.s + w.n, &w); step(&k, &w)) {
    arrive(&k, &w);
    for (size_t i = 0; i < n; i++)
      if (!k.deny && begins(w, list[i]))
        return true;
    pass(&k, &w);
  }
  return false;
}

/* ---- remarks that say nothing ---- */

/* Whole parts of a remark that speak of no module's health. Common practice,
** no source. */
static const char *const plain_parts[] = {"ok",
                                          "okay",
                                          "all ok",
                                          "looks ok",
                                          "good",
                                          "looks good",
                                          "very good",
                                          "fine",
                                          "looks fine",
                                          "clean",
                                          "looks clean",
                                          "new",
                                          "as new",
                                          "like new",
                                          "none",
                                          "nothing",
                                          "nothing seen",
                                          "nothing found",
                                          "nothing to see",
                                          "no label",
                                          "no sticker",
                                          "label missing",
                                          "sticker missing",
                                          "label gone",
                                          "sticker gone",
                                          "tested",
                                          "tested ok",
                                          "tested again",
                                          "retested",
                                          "retested ok",
                                          "measured again",
                                          "measured twice",
                                          "read again",
                                          "clean lugs",
                                          "cleaned lugs",
                                          "lugs clean",
                                          "lugs cleaned",
                                          "new lugs",
                                          "four wire",
                                          "four wires",
                                          "4 wire",
                                          "4 wires",
                                          "rested",
                                          "at rest"};

/* Is the phrase all that stands there? */
static bool is_whole (const char *part, const char *phrase) {
  word w = {part, 0, MARK};
  for (size_t n; *phrase != '\0'; phrase += n + (phrase[n] == ' ')) {
    n = strcspn(phrase, " ");
    if (!next_word(w.s + w.n, &w) || !word_is(&w, phrase, n))
      return false;
  }
  return !next_word(w.s + w.n, &w);
}

bool amp_remark_plain (const char *part) {
  word w;
  if (!next_word(part, &w))
    return true;
  if (strchr(part, '?') != NULL)
    return false;
  for (size_t i = 0; i < sizeof plain_parts / sizeof *plain_parts; i++)
    if (is_whole(part, plain_parts[i]))
      return true;
  return false;
}

bool amp_remark_part (const char **s, char *out, size_t size) {
  word w, next;
  if (!next_word(*s, &w))
    return false;
  const char *from = w.s;
  while (next_word(w.s + w.n, &next) && next.before < MARK)
    w = next;
  *s = next.n > 0 ? next.s : next.s + strlen(next.s);
  size_t n = (size_t)(*s - from);
  n = n < size ? n : size - 1;
  memcpy(out, from, n);
  out[n] = '\0';
  return true;
}

void amp_remark_word (const char *word, char *out, size_t size) {
  size_t n = 0;
  parted kind;
  for (; word[n] != '\0' && sign_at(word + n, &kind) == 0 && n + 1 < size;
       n++)
    out[n] = word[n];
  out[n] = '\0';
}
