/*
** post_blanks.c -- were blanks changed by a board, or a cell moved?
*/
#include "runner/post_blanks.h"

typedef struct reader {
  const char *s;
  size_t n, k;   /* bytes, the next one */
  size_t column; /* characters before it: letters of several bytes are one */
  size_t stop;   /* columns from one tab stop to the next */
} reader;

static bool is_blank (char c) {
  return c == ' ' || c == '\t';
}

/* Go to the next word: columns of the gap before it, and where it begins.
** False at the end of the line. */
static bool next_gap (reader *r, size_t *gap, size_t *at) {
  size_t from = r->column;
  for (; r->k < r->n && is_blank(r->s[r->k]); r->k++)
    r->column += r->s[r->k] == ' ' ? 1 : r->stop - r->column % r->stop;
  *gap = r->column - from;
  *at = r->k;
  for (; r->k < r->n && !is_blank(r->s[r->k]); r->k++)
    r->column += ((unsigned char)r->s[r->k] & 0xc0) != 0x80;
  return r->k > *at;
}

static line_blanks with_stops (reader a, reader b) {
  line_blanks l = {BLANKS_KEPT, 0, false, 0, 0};
  size_t x, y, at, there, moved = 0;
  bool alike = true, ones = true;
  if (!next_gap(&a, &l.posted, &there) || !next_gap(&b, &l.here, &at))
    return l;
  l.at = at;
  while (next_gap(&a, &x, &there) && next_gap(&b, &y, &at)) {
    moved = alike && x != y ? at : moved;
    alike = alike && x == y;
    ones = ones && x == 1;
    l.runs = l.runs || y > 1;
  }
  if (!alike) {
    l.are = ones ? BLANKS_ONE : BLANKS_MOVED;
    l.at = moved;
  }
  return l;
}

line_blanks post_blanks (const char *posted, size_t n, const char *here,
                         size_t m) {
  static const size_t stops[] = {8, 4, 2};
  reader a = {posted, n, 0, 0, 1}, b = {here, m, 0, 0, 1};
  line_blanks l = with_stops(a, b);
  for (size_t i = 0; i < 3 && l.are != BLANKS_KEPT; i++) {
    line_blanks other;
    a.stop = b.stop = stops[i];
    other = with_stops(a, b);
    l = other.are == BLANKS_KEPT ? other : l;
  }
  return l;
}

static long shift_of (const line_blanks *l) {
  return (long)l->posted - (long)l->here;
}

/* The shift that more than half of the lines have is what stays of a vote in
** which unlike ones cancel each other. */
void post_blanks_count (table_blanks *t, const line_blanks *l) {
  if (t->votes == 0)
    t->shift = shift_of(l);
  t->votes += shift_of(l) == t->shift ? 1 : (size_t)-1;
  t->kept_runs += l->runs && l->are != BLANKS_ONE;
  t->indented = t->indented || l->here > 0;
  t->widest = l->posted > t->widest ? l->posted : t->widest;
  t->lines++;
}

bool post_blanks_fit (const table_blanks *t, const line_blanks *l, size_t k,
                      bool *lost) {
  bool all_lost = t->widest <= 1 && t->indented; /* of each line */
  bool trimmed = k == 0 && l->posted == 0;       /* of the block's first */
  if (l->are == BLANKS_MOVED || (l->are == BLANKS_ONE && t->kept_runs > 0))
    return false;
  *lost = *lost || l->are == BLANKS_ONE ||
          ((all_lost || (trimmed && shift_of(l) != t->shift)) &&
           l->here > l->posted);
  return all_lost || trimmed || shift_of(l) == t->shift;
}
