/*
** post_diff.c -- a table is read as the text form lays it out: headings above
** a rule of hyphens, rows under it, two blanks between columns. Where a board
** took the blanks away, words still stand in their order, and the columns
** are those of the table that came out here.
*/
#include "runner/post_diff.h"
#include "runner/post_blanks.h"
#include "base/text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LABEL = 80, WORDS_MOST = 200 };

typedef struct row {
  const char *s;
  size_t n;
} row;

typedef struct rows {
  row *at;
  size_t n;
} rows;

typedef struct word {
  size_t from, to; /* bytes of the line */
} word;

typedef struct differ {
  const rows *here; /* headings are read from it */
  runner_buffer *out;
  size_t n;
  bool failed;
} differ;

/* ---- lines and words ---- */

static bool is_rule (row r) {
  size_t k = 0;
  while (k < r.n && (r.s[k] == '-' || r.s[k] == ' '))
    k++;
  return r.n >= 3 && k == r.n && memchr(r.s, '-', r.n) != NULL;
}

/* The lines of a text; blank ones and, of the posted one, rules are none. */
static bool split (const runner_buffer *b, bool whole, rows *to) {
  size_t from = 0;
  to->n = 0;
  to->at = malloc((b->n + 1) * sizeof *to->at);
  if (to->at == NULL)
    return false;
  for (size_t k = 0; k < b->n; k++) {
    row r = {b->data + from, k - from};
    bool blank = true;
    if (b->data[k] != '\n')
      continue;
    for (size_t j = 0; j < r.n && blank; j++)
      blank = r.s[j] == ' ' || r.s[j] == '\t';
    if (whole || (!blank && !is_rule(r)))
      to->at[to->n++] = r;
    from = k + 1;
  }
  return true;
}

static bool gap (char c) {
  return c == ' ' || c == '\t';
}

static bool same_word (row a, word x, row b, word y) {
  return x.to - x.from == y.to - y.from &&
         memcmp(a.s + x.from, b.s + y.from, x.to - x.from) == 0;
}

/* The next word from byte *k on; false at the end of the line. */
static bool next_word (row r, size_t *k, word *w) {
  while (*k < r.n && gap(r.s[*k]))
    ++*k;
  w->from = *k;
  while (*k < r.n && !gap(r.s[*k]))
    ++*k;
  w->to = *k;
  return w->to > w->from;
}

static bool same_line (row a, row b) {
  size_t j = 0, k = 0;
  word x, y;
  for (;;) {
    bool one = next_word(a, &j, &x), other = next_word(b, &k, &y);
    if (!one || !other)
      return one == other;
    if (!same_word(a, x, b, y))
      return false;
  }
}

/* The words of a line, WORDS_MOST at most. */
static size_t words (row r, word *to) {
  size_t n = 0, k = 0;
  while (n < WORDS_MOST && next_word(r, &k, &to[n]))
    n++;
  return n;
}

/* Is byte k a blank between two cells: one of two, or at an end? */
static bool parts (row r, size_t k) {
  return gap(r.s[k]) &&
         (k == 0 || gap(r.s[k - 1]) || k + 1 == r.n || gap(r.s[k + 1]));
}

/* The cell around a word. */
static word cell (row r, word w) {
  while (w.from > 0 && !parts(r, w.from - 1))
    w.from--;
  while (w.to < r.n && !parts(r, w.to))
    w.to++;
  return w;
}

/* ---- where a cell stands ---- */

/* Characters before byte k: letters of several bytes count once. */
static size_t place (row r, size_t k) {
  size_t n = 0;
  for (size_t j = 0; j < k && j < r.n; j++)
    n += ((unsigned char)r.s[j] & 0xc0) != 0x80;
  return n;
}

static void append (char *to, size_t size, const char *s, size_t n) {
  size_t have = strlen(to);
  snprintf(to + have, size - have, "%s%.*s", have > 0 ? " " : "", (int)n, s);
}

/* The rule above line k of the whole table under which it is a row: rules
** come in pairs. (size_t)-1: it stands in no body. */
static size_t rule_above (const rows *t, size_t k) {
  size_t last = (size_t)-1, n = 0;
  for (size_t j = 0; j < k; j++)
    if (is_rule(t->at[j])) {
      last = j;
      n++;
    }
  return n % 2 == 1 ? last : (size_t)-1;
}

/* Headings that overlap the cell, from the lines above the rule. */
static void heading (const rows *t, size_t rule, row r, word c, char *to) {
  size_t a = place(r, c.from), b = place(r, c.to), top = rule;
  to[0] = '\0';
  while (top > 0 && t->at[top - 1].n > 0 && !is_rule(t->at[top - 1]))
    top--;
  for (; top < rule; top++) {
    word w[WORDS_MOST];
    size_t n = words(t->at[top], w);
    for (size_t k = 0; k < n; k++) {
      word h = cell(t->at[top], w[k]);
      if (k > 0 && cell(t->at[top], w[k - 1]).from == h.from)
        continue; /* the same heading */
      if (place(t->at[top], h.from) < b + 1 &&
          a < place(t->at[top], h.to) + 1)
        append(to, LABEL, t->at[top].s + h.from, h.to - h.from);
    }
  }
}

/* Does the line begin right of the first column? Then it holds the spreads
** of the row above it. */
static bool is_spread (const rows *t, size_t rule, size_t k) {
  word w[WORDS_MOST], v[WORDS_MOST];
  row h = t->at[rule > 0 ? rule - 1 : 0];
  if (k <= rule + 1 || words(t->at[k], w) == 0 || words(h, v) == 0)
    return false;
  return place(t->at[k], w[0].from) > place(h, cell(h, v[0]).to);
}

/* The first cell of the row, or of the one above whose spread this is. */
static void label (const rows *t, size_t rule, size_t k, char *to) {
  bool spread = is_spread(t, rule, k);
  row r = t->at[spread ? k - 1 : k];
  word w[WORDS_MOST];
  to[0] = '\0';
  if (words(r, w) > 0) {
    word c = cell(r, w[0]);
    append(to, LABEL, r.s + c.from, c.to - c.from);
  }
  if (spread)
    append(to, LABEL, "(spread)", 8);
}

/* ---- sentences ---- */

static void put (differ *d, const char *s, size_t n) {
  d->failed = d->failed || !buffer_add(d->out, s, n);
}

static void puts_to (differ *d, const char *s) {
  put(d, s, strlen(s));
}

/* The number in a cell: marks of basis, bounds and units left out. */
static bool number (row r, word w, double *v) {
  static const char *const head = "><(+", *const tail = "'?%),:;.";
  while (w.from < w.to && strchr(head, r.s[w.from]) != NULL)
    w.from++;
  while (w.to > w.from && strchr(tail, r.s[w.to - 1]) != NULL)
    w.to--;
  return w.to > w.from && amp_parse_double(r.s + w.from, w.to - w.from, '.',
                                           v, NULL) == AMP_OK;
}

/* " (20 less here, 16.7 %)" */
static void put_distance (differ *d, row a, word x, row b, word y) {
  double posted, here, by;
  char text[40], share[40];
  if (!number(a, x, &posted) || !number(b, y, &here))
    return;
  by = here - posted;
  amp_format_double(fabs(by), 6, text);
  puts_to(d, ": ");
  puts_to(d, text);
  puts_to(d, by > 0 ? " more here" : by < 0 ? " less here" : " apart");
  if (posted != 0.0 && by != 0.0) {
    amp_format_significant(fabs(100.0 * by / posted), 3, share);
    puts_to(d, ", ");
    puts_to(d, share);
    puts_to(d, " %");
  }
}

static bool shown (differ *d) {
  return d->n++ < DIFF_SHOWN;
}

/* 'row "L1", column "price": ' of the cell y of line k */
static void put_where (differ *d, size_t k, word y) {
  size_t rule = rule_above(d->here, k);
  char of[LABEL + 12];
  if (rule == (size_t)-1) {
    puts_to(d, "in the words: ");
    return;
  }
  label(d->here, rule, k, of);
  puts_to(d, "row \"");
  puts_to(d, of);
  heading(d->here, rule, d->here->at[k], y, of);
  puts_to(d, "\", column \"");
  puts_to(d, of);
  puts_to(d, "\": ");
}

/* row "L1", column "price": posted 100.00, here 120.00: 20 more here */
static void put_cell (differ *d, row a, word x, size_t k, word y) {
  row b = d->here->at[k];
  if (!shown(d))
    return;
  put_where(d, k, y);
  puts_to(d, "posted ");
  put(d, a.s + x.from, x.to - x.from);
  puts_to(d, ", here ");
  put(d, b.s + y.from, y.to - y.from);
  put_distance(d, a, x, b, y);
  puts_to(d, "\n");
}

/* row "string 2", column "string-first": M4 stands elsewhere in the post */
static void put_moved (differ *d, size_t k, const line_blanks *l) {
  row b = d->here->at[k];
  word w = {l->at, l->at};
  if (!shown(d))
    return;
  while (w.to < b.n && !gap(b.s[w.to]))
    w.to++;
  w = cell(b, w);
  put_where(d, k, w);
  put(d, b.s + w.from, w.to - w.from);
  puts_to(d, l->are == BLANKS_ONE
                 ? " stands elsewhere in the post: blanks ran together in "
                   "this line, and not in others\n"
                 : " stands elsewhere in the post, by its blanks\n");
}

static void put_line (differ *d, const char *where, row r) {
  word w[WORDS_MOST];
  size_t n = words(r, w);
  if (!shown(d))
    return;
  puts_to(d, where);
  for (size_t k = 0; k < n; k++) {
    puts_to(d, " ");
    put(d, r.s + w[k].from, w[k].to - w[k].from);
  }
  puts_to(d, "\n");
}

/* ---- comparing ---- */

/* Words of 'a' that stand for those of the cell c of 'b', word for word. */
static word counterpart (const word *x, const word *y, size_t n, word c) {
  word w = {(size_t)-1, 0};
  for (size_t k = 0; k < n; k++)
    if (y[k].from >= c.from && y[k].to <= c.to) {
      w.from = w.from == (size_t)-1 ? x[k].from : w.from;
      w.to = x[k].to;
    }
  return w;
}

static void compare_lines (differ *d, row a, size_t k) {
  word x[WORDS_MOST], y[WORDS_MOST];
  row b = d->here->at[k];
  size_t n = words(a, x), done = 0;
  if (d->n >= DIFF_SHOWN) {
    d->n++; /* counted by lines from here on */
    return;
  }
  if (n != words(b, y) || n == WORDS_MOST) {
    put_line(d, "only in the post:", a);
    put_line(d, "only here:", b);
    return;
  }
  for (size_t j = 0; j < n; j++) {
    word c = y[j];
    if (y[j].from < done || same_word(a, x[j], b, y[j]))
      continue;
    if (rule_above(d->here, k) != (size_t)-1)
      c = cell(b, y[j]);
    put_cell(d, a, counterpart(x, y, n, c), k, c);
    done = c.to;
  }
}

/* Places in the whole table of its lines that are compared. */
static size_t *places (const rows *whole, size_t *n) {
  size_t *at = malloc((whole->n + 1) * sizeof *at);
  *n = 0;
  for (size_t k = 0; at != NULL && k < whole->n; k++) {
    word w[1 + WORDS_MOST];
    if (words(whole->at[k], w) > 0 && !is_rule(whole->at[k]))
      at[(*n)++] = k;
  }
  return at;
}

static void compare (differ *d, const rows *posted, const size_t *at,
                     size_t n) {
  size_t a = 0, m = posted->n, end = 0, both;
  const row *b = d->here->at;
  while (a < m && a < n && same_line(posted->at[a], b[at[a]]))
    a++;
  while (end < m - a && end < n - a &&
         same_line(posted->at[m - 1 - end], b[at[n - 1 - end]]))
    end++;
  both = m == n ? n - end : a;
  for (size_t k = a; k < both; k++)
    if (!same_line(posted->at[k], b[at[k]]))
      compare_lines(d, posted->at[k], at[k]);
  for (size_t k = both; k < m - end; k++)
    put_line(d, "only in the post:", posted->at[k]);
  for (size_t k = both; k < n - end; k++)
    put_line(d, "only here:", b[at[k]]);
}

static line_blanks blanks_of (row a, row b) {
  return post_blanks(a.s, a.n, b.s, b.n);
}

/* Lines that agree word for word: may a board have changed their blanks? */
static void compare_blanks (differ *d, const rows *posted, const size_t *at,
                            bool *lost) {
  table_blanks t = {0};
  const row *b = d->here->at;
  for (size_t k = 0; k < posted->n; k++) {
    line_blanks l = blanks_of(posted->at[k], b[at[k]]);
    if (same_line(posted->at[k], b[at[k]]))
      post_blanks_count(&t, &l);
  }
  for (size_t k = 0; k < posted->n; k++) {
    line_blanks l = blanks_of(posted->at[k], b[at[k]]);
    if (same_line(posted->at[k], b[at[k]]) &&
        !post_blanks_fit(&t, &l, k, lost))
      put_moved(d, at[k], &l);
  }
}

size_t post_diff (const runner_buffer *posted, const runner_buffer *here,
                  runner_buffer *out, bool *lost) {
  rows mine = {NULL, 0}, theirs = {NULL, 0};
  differ d = {&mine, out, 0, false};
  char more[40];
  size_t n, *at = NULL;
  *lost = false;
  d.failed = !split(posted, false, &theirs) || !split(here, true, &mine) ||
             (at = places(&mine, &n)) == NULL;
  if (!d.failed)
    compare(&d, &theirs, at, n);
  if (!d.failed && theirs.n == n) /* else lines differ, and were told */
    compare_blanks(&d, &theirs, at, lost);
  if (d.n > DIFF_SHOWN) {
    snprintf(more, sizeof more, "and %zu more\n", d.n - DIFF_SHOWN);
    puts_to(&d, more);
  }
  free(at);
  free(mine.at);
  free(theirs.at);
  return d.failed ? (size_t)-1 : d.n;
}
