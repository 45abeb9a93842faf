/*
** post_unwrap.c -- which lines are the rest of the one before: those without
** the quote marks of the others, those behind a line that ends in a blank (as
** format=flowed leaves it), those whose first word a line of some width had no
** more room for, those behind a line that was cut at that width. For each
** width that is one set of joins; where it holds more than there are lines too
** many, those that look least like rests are left out in turn.
*/
#include "runner/post_unwrap.h"
#include "base/words.h"
#include "runner/post_mend.h"
#include <stdlib.h>
#include <string.h>

enum {
  NARROWEST = 30, /* columns at which lines are broken */
  WIDEST = 120,
  TRIES_MOST = 20000,
  TRIES_EACH = 2500, /* of one set */
  DOUBTS_MOST = 6,   /* of a set that may be none */
  HASHED_MOST = 64 << 20,
  LOOKED_MOST = 256 << 20,
  LINES_MOST = 20000
};

/* A line that is not blank. */
typedef struct piece {
  const char *s; /* without its end */
  size_t n;
  size_t line;    /* in the block, from 1 */
  size_t columns; /* with its quote marks, without blanks at its end */
  size_t full;    /* with those too */
  size_t first;   /* columns of its first word */
  bool loose;     /* fewer quote marks than the others */
  bool flowed;    /* a blank at its end */
  bool follows;   /* no blank line before it */
  bool indented, breakable, remark;
} piece;

typedef struct search {
  piece *p; /* rest[k]: p[k] is to be joined to p[k - 1] */
  bool *rest;
  size_t n, need; /* joins */
  const runner_buffer *b;
  const char *sum, *words;
  size_t tries, most;
  size_t till; /* of tries, for the set that is tried now */
  size_t left; /* bytes that may still be hashed */
  bool cut;    /* the lines were cut within words */
  bool failed, found, decoded;
  runner_buffer joined;
} search;

static bool blank (char c) {
  return c == ' ' || c == '\t';
}

/* The end of an entity that begins at s[k]; k itself where none does. */
static size_t entity_end (const char *s, size_t n, size_t k) {
  size_t j = k + 1;
  while (j < n && j < k + 8 && s[j] != ';' && !blank(s[j]) && s[j] != '&')
    j++;
  return s[k] == '&' && j < n && j > k + 2 && s[j] == ';' ? j : k;
}

/* 'entities': each of them was one sign when the line was broken */
static size_t columns_of (const char *s, size_t n, bool entities) {
  size_t c = 0;
  for (size_t k = 0; k < n; k++) {
    c += ((unsigned char)s[k] & 0xc0) != 0x80;
    if (entities)
      k = entity_end(s, n, k);
  }
  return c;
}

static piece look_at (const char *s, size_t n, size_t cut, bool entities) {
  piece p = {.s = s, .n = n};
  size_t a = 0, b = n, w;
  while (b > 0 && blank(s[b - 1]))
    b--;
  while (a < b && blank(s[a]))
    a++;
  for (w = a; w < b && !blank(s[w]); w++)
    ;
  p.columns = cut + columns_of(s, b, entities);
  p.full = cut + columns_of(s, n, entities);
  p.first = columns_of(s + a, w - a, entities);
  p.flowed = b < n;
  p.indented = a > 0;
  p.breakable = w < b;
  p.remark = b - a >= 2 && s[a] == '-' && s[a + 1] == '-';
  return p;
}

static size_t cut_at (const runner_buffer *cut, size_t line) {
  return line < cut->n ? (unsigned char)cut->data[line] : 0;
}

/* The lines that are not blank; false where there are too many or no memory.
 */
static bool take_apart (search *x, const runner_buffer *cut, bool entities) {
  size_t from = 0, line = 0, most = 0;
  bool follows = false;
  x->n = 0;
  for (size_t k = 0; k < x->b->n; k++) {
    piece p;
    if (x->b->data[k] != '\n')
      continue;
    p = look_at(x->b->data + from, k - from, cut_at(cut, line), entities);
    p.line = ++line;
    p.follows = follows;
    follows = p.columns > cut_at(cut, line - 1);
    if (follows && x->n == LINES_MOST)
      return false;
    if (follows)
      x->p[x->n++] = p;
    from = k + 1;
  }
  for (size_t k = 0; k < x->n; k++)
    most = cut_at(cut, x->p[k].line - 1) > most
               ? cut_at(cut, x->p[k].line - 1)
               : most;
  for (size_t k = 0; k < x->n; k++)
    x->p[k].loose = cut_at(cut, x->p[k].line - 1) < most;
  return true;
}

/* ---- trying ---- */

/* Does a break behind this sign stand for no blank? "pouch-" "cell" */
static bool hyphened (const piece *p) {
  const char *s = p->s + p->n - 1;
  return p->n > 1 && *s == '-' && s[-1] != '-' && !blank(s[-1]);
}

/* What stands between a line and its rest. */
typedef enum glue {
  A_BLANK, /* that was taken at the break, unless one is still there */
  TWO,     /* of two the other is still there */
  HYPHEN,  /* nothing behind a hyphen */
  GLUES
} glue;

static bool needs_blank (const search *x, const piece *p, glue g) {
  if (x->cut || p[-1].flowed || (p->indented && g != TWO))
    return false;
  return g != HYPHEN || !hyphened(&p[-1]);
}

/* The text with its rests joined. */
static bool build (search *x, glue g, runner_buffer *to) {
  const char *from = x->b->data, *stop = from + x->b->n;
  bool fine = true;
  for (size_t k = 1; fine && k < x->n; k++) {
    const piece *p = &x->p[k];
    if (!x->rest[k])
      continue;
    fine = buffer_add(to, from, (size_t)(p[-1].s + p[-1].n - from)) &&
           (!needs_blank(x, p, g) || buffer_add(to, " ", 1));
    from = p->s;
  }
  return fine && buffer_add(to, from, (size_t)(stop - from));
}

static bool has_sum (search *x, const runner_buffer *b) {
  char *w;
  bool is;
  x->left -= b->n < x->left ? b->n : x->left;
  if (x->words[0] == '\0')
    return sum_is(b->data, b->n, x->sum);
  w = malloc(b->n + 1);
  x->failed = x->failed || w == NULL;
  is = w != NULL && sum_is(w, amp_words(b->data, b->n, w), x->words);
  free(w);
  return is;
}

/* One that fits is kept; the one that fits to the byte instead of any. */
static void try_glue (search *x, glue g) {
  runner_buffer c = {NULL, 0, 0};
  bool fits, decoded = false;
  x->failed = x->failed || !build(x, g, &c);
  fits = !x->failed && has_sum(x, &c);
  if (!fits && !x->failed && memchr(c.data, '&', c.n) != NULL) {
    decoded = mend_entities(&c);
    fits = decoded && has_sum(x, &c);
  }
  if (!fits || (x->found && !sum_is(c.data, c.n, x->sum))) {
    free(c.data);
    return;
  }
  free(x->joined.data);
  x->joined = c;
  x->found = true;
  x->decoded = decoded;
}

/* Is it so that the rests marked now are the right ones? */
static bool try_rests (search *x) {
  bool use[GLUES] = {true, false, false};
  if (x->failed || x->tries++ >= x->till || x->left == 0)
    return false;
  for (size_t k = 1; k < x->n; k++)
    if (x->rest[k] && !x->cut) {
      use[TWO] = use[TWO] || x->p[k].indented;
      use[HYPHEN] = use[HYPHEN] || hyphened(&x->p[k - 1]);
    }
  for (int g = A_BLANK; g < GLUES; g++)
    if (use[g])
      try_glue(x, (glue)g);
  return x->found;
}

/* ---- one set of rests, some of which may be none ---- */

/* How little p looks like a rest of the line before it. */
static int doubt (const piece *p) {
  return p->loose ? 0 : 1 + p->indented + 2 * (p->remark && p[-1].remark);
}

typedef struct chosen {
  size_t at[64];
  size_t n;
} chosen;

/* Leave 'out' of the doubtful ones out, from the j-th on, in turn. */
static bool leave_out (search *x, const chosen *c, size_t j, size_t out) {
  if (out == 0)
    return try_rests(x);
  for (; j + out <= c->n && x->tries < x->till; j++) {
    x->rest[c->at[j]] = false;
    if (leave_out(x, c, j + 1, out - 1))
      return true;
    x->rest[c->at[j]] = true;
  }
  return false;
}

/* The doubtful ones, most doubtful first. */
static bool choose (const search *x, chosen *c) {
  c->n = 0;
  for (int d = 4; d > 0; d--)
    for (size_t k = 1; k < x->n; k++)
      if (x->rest[k] && doubt(&x->p[k]) == d) {
        if (c->n == sizeof c->at / sizeof *c->at)
          return false;
        c->at[c->n++] = k;
      }
  return true;
}

/* The marked rests, where they are so many too many, without each so many. */
static bool try_set (search *x, size_t too_many) {
  size_t n = 0;
  chosen c;
  for (size_t k = 1; k < x->n; k++)
    n += x->rest[k];
  if (n != x->need + too_many || !choose(x, &c))
    return false;
  x->till = x->tries + TRIES_EACH;
  x->till = x->till < x->most ? x->till : x->most;
  return leave_out(x, &c, 0, too_many);
}

/* ---- the sets ---- */

static void mark_loose (search *x) {
  for (size_t k = 0; k < x->n; k++)
    x->rest[k] = k > 0 && x->p[k].loose;
}

static void mark_flowed (search *x) {
  mark_loose(x);
  for (size_t k = 1; k < x->n; k++)
    x->rest[k] = x->rest[k] || (x->p[k].follows && x->p[k - 1].flowed);
}

/* Its first word had no room any more in a line of this width. */
static void mark_width (search *x, size_t width, bool indented) {
  mark_loose(x);
  for (size_t k = 1; k < x->n; k++) {
    const piece *a = &x->p[k - 1], *p = &x->p[k];
    bool full = a->columns <= width && a->columns + 1 + p->first > width;
    x->rest[k] =
        x->rest[k] || (p->follows && full && (indented || !p->indented));
  }
}

/* It stands behind a line of just this width. */
static void mark_cut (search *x, size_t width) {
  mark_loose(x);
  for (size_t k = 1; k < x->n; k++)
    x->rest[k] = x->rest[k] || (x->p[k].follows && x->p[k - 1].full == width);
}

/* The longest line that could have been broken, or of all. */
static size_t longest (const search *x, bool breakable) {
  size_t most = 0;
  for (size_t k = 0; k < x->n; k++)
    if (!breakable && x->p[k].full > most)
      most = x->p[k].full;
    else if (x->p[k].breakable && x->p[k].columns > most)
      most = x->p[k].columns;
  return most;
}

static bool try_widths (search *x, bool indented, size_t too_many) {
  size_t width = longest(x, true);
  if (width < NARROWEST)
    width = NARROWEST;
  for (; width <= WIDEST && x->tries < x->most; width++) {
    mark_width(x, width, indented);
    if (try_set(x, too_many))
      return true;
  }
  return false;
}

static bool try_ways (search *x, size_t too_many) {
  bool found;
  mark_loose(x);
  if (too_many == 0 && try_set(x, 0))
    return true;
  mark_flowed(x);
  if (try_set(x, too_many) || try_widths(x, false, too_many) ||
      try_widths(x, true, too_many))
    return true;
  mark_cut(x, longest(x, false));
  x->cut = true;
  found = try_set(x, too_many);
  x->cut = false;
  return found;
}

static bool try_all (search *x) {
  for (size_t k = 0; k <= DOUBTS_MOST && !x->failed; k++)
    if (try_ways(x, k))
      return true;
  return false;
}

/* One that seems broken, for who has to join it by hand. */
static void suspect (search *x, unwrapped *u) {
  mark_loose(x);
  for (int turn = 0; turn < 2; turn++) {
    for (size_t k = 1; k < x->n; k++)
      if (x->rest[k]) {
        u->line = x->p[k].line;
        u->width = x->p[k - 1].columns;
        return;
      }
    mark_width(x, longest(x, true), false);
  }
}

bool post_unwrap (runner_buffer *b, const runner_buffer *cut, size_t lines,
                  const char *sum, const char *words, unwrapped *u) {
  search x = {.b = b, .sum = sum, .words = words, .left = HASHED_MOST};
  memset(u, 0, sizeof *u);
  x.p = calloc(LINES_MOST, sizeof *x.p);
  x.rest = calloc(LINES_MOST, sizeof *x.rest);
  for (int k = 0; k < 2 && x.p != NULL && x.rest != NULL && !x.found; k++)
    if (b->n > 0 && (k == 0 || memchr(b->data, '&', b->n) != NULL) &&
        take_apart(&x, cut, k > 0) && x.n > lines) {
      x.need = x.n - lines;
      x.most = (size_t)(k + 1) * TRIES_MOST / 2;
      if (!try_all(&x))
        suspect(&x, u);
    }
  if (x.found) {
    free(b->data);
    *b = x.joined;
    u->joined = x.need;
    u->decoded = x.decoded;
  }
  free(x.p);
  free(x.rest);
  return x.found;
}

/* ---- a table ---- */

typedef struct text_line {
  const char *s;
  size_t n;
} text_line;

typedef struct text_lines {
  text_line *at;
  size_t n;
  size_t broken; /* rests of rules */
  size_t left;   /* bytes that may still be looked at */
} text_lines;

/* Nothing but hyphens and blanks: a rule, or a part of one. */
static bool is_rule (text_line l) {
  for (size_t k = 0; k < l.n; k++)
    if (l.s[k] != '-' && !blank(l.s[k]))
      return false;
  return true;
}

/* The lines that hold anything, rules left out; of hyphens that stand alone
** the rest of a rule too, not that of a row. */
static bool lines_of (const runner_buffer *b, text_lines *to) {
  size_t from = 0;
  bool in_rule = false;
  to->at = malloc((b->n + 1) * sizeof *to->at);
  to->n = to->broken = 0;
  for (size_t k = 0; to->at != NULL && k < b->n; k++) {
    text_line l = {b->data + from, k - from};
    bool was_rule = in_rule;
    if (b->data[k] != '\n')
      continue;
    in_rule = is_rule(l) && (in_rule || memmem(l.s, l.n, "--", 2) != NULL);
    to->broken += was_rule && in_rule;
    if (!in_rule && !(is_rule(l) && memchr(l.s, '-', l.n) == NULL))
      to->at[to->n++] = l;
    from = k + 1;
  }
  return to->at != NULL;
}

/* The next word of a line from *k on; its length, 0 at the end. */
static size_t word_at (text_line l, size_t *k) {
  size_t from;
  while (*k < l.n && blank(l.s[*k]))
    ++*k;
  from = *k;
  while (from < l.n && !blank(l.s[from]))
    from++;
  return from - *k;
}

static size_t count_words (text_line l) {
  size_t k = 0, n = 0, w;
  for (; (w = word_at(l, &k)) > 0; k += w)
    n++;
  return n;
}

/* There is time to look at so many bytes. */
static bool may_look (text_lines *a, size_t n) {
  n = n < a->left ? n + 1 : a->left;
  a->left -= n;
  return a->left > 0;
}

/* How many lines of 'a' from i on are the parts of 'whole', word for word; a
** word may be broken at the end of a part. 0: they are not. */
static size_t parts_of (text_lines *a, size_t i, text_line whole) {
  size_t at = 0, used = 0, w;
  while (i + used < a->n) {
    text_line part = a->at[i + used];
    if (!may_look(a, part.n))
      return 0;
    for (size_t k = 0; (w = word_at(part, &k)) > 0; k += w) {
      size_t want = word_at(whole, &at), rest = k + w;
      bool last = word_at(part, &rest) == 0;
      if (w > want || (w < want && !last) ||
          memcmp(part.s + k, whole.s + at, w) != 0)
        return 0;
      at += w;
    }
    used++;
    if (word_at(whole, &at) == 0)
      return used;
  }
  return 0;
}

/* Of a row that differs: lines from i on with as many words as 'whole'. */
static size_t as_many (text_lines *a, size_t i, text_line whole) {
  size_t want = may_look(a, whole.n) ? count_words(whole) : 0, n = 0, k = i;
  while (k < a->n && n < want && may_look(a, a->at[k].n))
    n += count_words(a->at[k++]);
  return n == want ? k - i : 1;
}

static bool put_joined (const text_lines *a, size_t i, size_t n,
                        runner_buffer *to) {
  bool fine = true;
  for (size_t k = 0; fine && k < n; k++)
    fine = (k == 0 || buffer_add(to, " ", 1)) &&
           buffer_add(to, a->at[i + k].s, a->at[i + k].n);
  return fine && buffer_add(to, "\n", 1);
}

/* The first line of 'b' from j on, a few at most, whose parts begin at i. */
static size_t find_whole (text_lines *a, size_t i, const text_lines *b,
                          size_t j, size_t *used) {
  enum { AHEAD = 5 };
  for (size_t k = j; k < b->n && k < j + AHEAD; k++)
    if ((*used = parts_of(a, i, b->at[k])) > 0)
      return k;
  return b->n;
}

/* The parts as one line: with their own blanks, and where they were broken
** with those of 'whole', as nobody knows better. */
static bool put_parts (const text_lines *a, size_t i, size_t n,
                       text_line whole, runner_buffer *to) {
  size_t at = 0, end = 0, w;
  bool fine = true;
  for (size_t p = i; p < i + n; p++) {
    text_line part = a->at[p];
    size_t from = 0;
    for (size_t k = 0; fine && (w = word_at(part, &k)) > 0; from = k += w) {
      bool broken = p > i && from == 0;
      word_at(whole, &at);
      fine = (broken ? buffer_add(to, whole.s + end, at - end)
                     : buffer_add(to, part.s + from, k - from)) &&
             buffer_add(to, part.s + k, w);
      end = at += w;
    }
  }
  return fine && buffer_add(to, "\n", 1);
}

static bool rejoin (text_lines *a, const text_lines *b, runner_buffer *to,
                    size_t *joined) {
  bool fine = true;
  for (size_t i = 0, j = 0, used; fine && i < a->n; i += used) {
    size_t k = find_whole(a, i, b, j, &used);
    if (k < b->n) {
      j = k + 1;
      fine = put_parts(a, i, used, b->at[k], to);
    } else {
      used = j < b->n ? as_many(a, i, b->at[j]) : 1;
      j += j < b->n;
      fine = put_joined(a, i, used, to);
    }
    *joined += used - 1;
  }
  return fine;
}

size_t post_rejoin (runner_buffer *posted, const runner_buffer *here) {
  text_lines a = {.left = LOOKED_MOST}, b = {.left = 0};
  runner_buffer to = {NULL, 0, 0};
  size_t joined = 0;
  bool fine = lines_of(posted, &a) && lines_of(here, &b) &&
              rejoin(&a, &b, &to, &joined);
  joined += a.broken;
  if (fine && joined > 0) {
    free(posted->data);
    *posted = to;
  } else
    free(to.data);
  free(a.at);
  free(b.at);
  return fine ? joined : (size_t)-1;
}
