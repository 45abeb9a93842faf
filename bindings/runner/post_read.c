/*
** post_read.c -- where in a saved file a post stands. The last line is looked
** for first (post_tail.c reads it): its quote marks tell how deep the post is
** quoted, its counts of lines where table and script end.
*/
#include "runner/post_read.h"
#include "runner/post_tail.h"
#include "base/words.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
  TAIL_LINES = 200, /* the last line may be broken into so many */
  TAIL_LONGEST = 64 << 10,
  GAP_LINES = 12,      /* between table and script, where no marks are left */
  STYLE_LINES = 400,   /* looked at for how quote marks are written */
  REACH_LINES = 40000, /* above the last line */
  TRIES_MOST = 64      /* lines that begin like a last line */
};

typedef struct view {
  const char *s;
  size_t n;
  size_t cut; /* columns of quote marks taken off before it */
} view;

typedef struct lines {
  view *at;
  size_t n, room;
} lines;

static bool add_line (lines *l, view v) {
  if (l->n == l->room) {
    size_t room = l->room > 0 ? 2 * l->room : 256;
    view *at = realloc(l->at, room * sizeof *at);
    if (at == NULL)
      return false;
    l->at = at;
    l->room = room;
  }
  l->at[l->n++] = v;
  return true;
}

/* LF, CR LF, or CR alone end a line. */
static bool split (const char *s, size_t n, lines *to) {
  size_t from = 0;
  for (size_t k = 0; k <= n; k++) {
    if (k < n && s[k] != '\n' && s[k] != '\r')
      continue;
    if ((k < n || k > from) && !add_line(to, (view){s + from, k - from, 0}))
      return false;
    if (k + 1 < n && s[k] == '\r' && s[k + 1] == '\n')
      k++;
    from = k + 1;
  }
  return true;
}

/* ---- blanks, quote marks, block marks ---- */

static bool begins (view v, const char *with) {
  size_t n = strlen(with);
  if (v.n < n)
    return false;
  for (size_t k = 0; k < n; k++)
    if (tolower((unsigned char)v.s[k]) != with[k])
      return false;
  return true;
}

static view from (view v, size_t k) {
  return (view){v.s + k, v.n - k, v.cut};
}

/* Bytes of the blank that begins 'v': space, tab or no-break space. */
static size_t blank (view v) {
  if (v.n > 0 && (*v.s == ' ' || *v.s == '\t'))
    return 1;
  if (begins(v, "&nbsp;"))
    return 6;
  return v.n > 1 && memcmp(v.s, "\xc2\xa0", 2) == 0 ? 2 : 0;
}

static view skip_blanks (view v) {
  size_t k;
  while ((k = blank(v)) > 0)
    v = from(v, k);
  return v;
}

static bool is_blank (view v) {
  return skip_blanks(v).n == 0;
}

/* Bytes of the quote mark that begins 'v'. */
static size_t mark (view v) {
  if (v.n > 0 && *v.s == '>')
    return 1;
  return begins(v, "&gt;") ? 4 : begins(v, "&amp;gt;") ? 8 : 0;
}

/* Take off at most 'most' marks, with one blank between two; *n: how many */
static view skip_marks (view v, size_t most, size_t *n) {
  for (*n = 0; *n < most; ++*n) {
    view w = *n > 0 && mark(v) == 0 ? from(v, blank(v)) : v;
    size_t k = mark(*n == 0 ? skip_blanks(w) : w);
    if (k == 0)
      break;
    v = from(*n == 0 ? skip_blanks(w) : w, k);
  }
  return v;
}

/* A fence of Markdown: its length, and its sign in *sign; 0: none. */
static size_t fence (view v, char *sign) {
  size_t k = 0;
  v = skip_blanks(v);
  if (v.n < 3 || (*v.s != '`' && *v.s != '~'))
    return 0;
  *sign = *v.s;
  while (k < v.n && v.s[k] == *sign)
    k++;
  for (size_t j = k; j < v.n; j++) /* "```lua" */
    if (!isalnum((unsigned char)v.s[j]) && v.s[j] != ' ' && v.s[j] != '\r')
      return 0;
  return k >= 3 ? k : 0;
}

/* "[code]", "[code=lua]": bytes up to the bracket, 0: none. */
static size_t opening_tag (view v) {
  const char *end;
  if (!begins(v, "[code") || v.n < 6 ||
      (v.s[5] != ']' && v.s[5] != '=' && v.s[5] != ' '))
    return 0;
  end = memchr(v.s, ']', v.n < 40 ? v.n : 40);
  return end != NULL ? (size_t)(end - v.s) + 1 : 0;
}

static const char closing_tag[] = "[/code]";
enum { CLOSING = sizeof closing_tag - 1 };

static bool opens (view v) {
  view w = skip_blanks(v);
  size_t k = opening_tag(w);
  return k > 0 && is_blank(from(w, k));
}

static bool closes (view v) {
  view w = skip_blanks(v);
  return begins(w, closing_tag) && is_blank(from(w, CLOSING));
}

/* A line in which tags stand beside text, as several. */
static bool add_parted (lines *to, view v) {
  view w = skip_blanks(v);
  size_t k, n;
  while ((k = opening_tag(w)) > 0 && !is_blank(from(w, k))) {
    if (!add_line(to, (view){w.s, k, 0}))
      return false;
    v = from(w, k);
    w = skip_blanks(v);
  }
  for (n = v.n; n > 0 && (v.s[n - 1] == ' ' || v.s[n - 1] == '\t');)
    n--;
  if (n > CLOSING && !is_blank((view){v.s, n - CLOSING, 0}) &&
      begins((view){v.s + n - CLOSING, CLOSING, 0}, closing_tag))
    return add_line(to, (view){v.s, n - CLOSING, 0}) &&
           add_line(to, (view){v.s + n - CLOSING, CLOSING, 0});
  return add_line(to, v);
}

/* ---- the last line ---- */

/* Does the text of a line begin a last line? */
static bool is_tail (view v) {
  static const char begin[] = "rerun: ampstead ";
  char w[128];
  size_t n;
  v = skip_blanks(v);
  n = amp_words(v.s, v.n < 100 ? v.n : 100, w);
  return n > sizeof begin - 1 && memcmp(w, begin, sizeof begin - 1) == 0;
}

/* The last line begins at l->at[first]: take it in up to a blank line or a
** block mark; *next: the first line behind it. */
static bool read_tail (post *p, const lines *l, size_t first, size_t *next) {
  runner_buffer b = {NULL, 0, 0};
  char sign;
  size_t k = first;
  bool fine = true;
  for (; fine && k < l->n && k < first + TAIL_LINES && b.n < TAIL_LONGEST;
       k++) {
    if (is_blank(l->at[k]) || closes(l->at[k]) || fence(l->at[k], &sign) > 0)
      break;
    fine = buffer_add(&b, l->at[k].s, l->at[k].n) && buffer_add(&b, "\n", 1);
  }
  *next = k;
  fine = fine && b.n > 0 && post_tail_read(p, b.data, b.n);
  free(b.data);
  return fine;
}

/* ---- the blocks ---- */

static bool join (const lines *l, size_t a, size_t b, runner_buffer *to) {
  for (; a < b; a++)
    if (!buffer_add(to, l->at[a].s, l->at[a].n) || !buffer_add(to, "\n", 1))
      return false;
  return true;
}

/* The script's lines, and beside each its columns of quote marks. */
static bool join_script (const lines *l, size_t a, size_t b, post *p) {
  bool fine = join(l, a, b, &p->script);
  for (; fine && a < b; a++) {
    char c = (char)(l->at[a].cut < 255 ? l->at[a].cut : 255);
    fine = buffer_add(&p->cut, &c, 1);
  }
  return fine;
}

typedef struct marks {
  size_t ticks; /* 0: tags of BBCode */
  char sign;
} marks;

static bool is_open (const marks *m, view v) {
  char sign = 0;
  return m->ticks == 0 ? opens(v)
                       : fence(v, &sign) >= m->ticks && sign == m->sign;
}

static bool is_close (const marks *m, view v) {
  return m->ticks == 0 ? closes(v) : is_open(m, v);
}

/* The nearest line above 'k' that is such a mark; k itself: none. */
static size_t above (const lines *l, size_t k, const marks *m, bool open) {
  for (size_t j = k; j-- > 0;)
    if (open ? is_open(m, l->at[j]) : is_close(m, l->at[j]))
      return j;
  return k;
}

static size_t cut_blank (const lines *l, size_t a, size_t b) {
  while (b > a && is_blank(l->at[b - 1]))
    b--;
  return b;
}

/* By block marks: those behind the last line tell which. */
static bool by_marks (post *p, const lines *l, size_t tail, size_t next) {
  marks m = {0, 0};
  size_t open, close, top;
  while (next < l->n && is_blank(l->at[next]))
    next++;
  if (next == l->n)
    return false;
  m.ticks = fence(l->at[next], &m.sign);
  if (m.ticks == 0 && !closes(l->at[next]))
    return false;
  open = above(l, tail, &m, true);
  close = above(l, open, &m, false);
  top = above(l, close, &m, true);
  if (open == tail || close == open || top == close)
    return false;
  p->found = true;
  return join(l, open + 1, cut_blank(l, open, tail), &p->table) &&
         join_script(l, top + 1, close, p);
}

/* Up from 'b' until so many lines that are not blank; (size_t)-1: too few */
static size_t count_up (const lines *l, size_t b, size_t want) {
  while (want > 0 && b > 0)
    want -= !is_blank(l->at[--b]);
  return want == 0 ? b : (size_t)-1;
}

/* Between script and table: blank, a mark, a piece of our own sentence, or
** what boards write over a block. */
static bool is_gap (view v) {
  static const char lead[] =
      "What it prints. To check it, save this post and type: ampstead "
      "--recheck FILE";
  static const char *const others[] = {
      "code:", "code", "copy", "lua", "select all", "code: select all"};
  char sign, w[401];
  size_t n;
  if (v.n > 400)
    return is_blank(v);
  n = amp_words(v.s, v.n, w);
  w[n > 0 ? n - 1 : 0] = '\0';
  v = (view){w, n > 0 ? n - 1 : 0, 0};
  if (is_blank(v) || opens(v) || closes(v) || fence(v, &sign) > 0)
    return true;
  for (size_t k = 0; k < sizeof others / sizeof *others; k++)
    if (begins((view){w, n, 0}, others[k]) && strlen(others[k]) + 1 == n)
      return true;
  return n > 8 && strstr(lead, w) != NULL;
}

/* By counting, where a browser left no marks. */
static bool by_count (post *p, const lines *l, size_t tail) {
  size_t end = cut_blank(l, 0, tail);
  size_t table = count_up(l, end, p->table_lines), top, gap = 0;
  p->unfenced = true;
  if (table == (size_t)-1)
    return true;
  top = table;
  while (top > 0 && gap++ < GAP_LINES && is_gap(l->at[top - 1]))
    top--;
  end = top;
  top = count_up(l, end, p->script_lines);
  if (top == (size_t)-1 || p->script_lines == 0)
    return true;
  p->found = true;
  return join(l, table, cut_blank(l, table, tail), &p->table) &&
         join_script(l, top, end, p);
}

/* ---- a page that a browser saved ---- */

static bool is_page (const char *s, size_t n) {
  view v = {s, n, 0};
  if (begins(v, "\xef\xbb\xbf"))
    v = from(v, 3);
  while (v.n > 0 && (blank(v) > 0 || *v.s == '\n' || *v.s == '\r'))
    v = from(v, 1);
  return begins(v, "<!doctype html") || begins(v, "<html");
}

/* Elements that stand on lines of their own. */
static bool breaks (view tag) {
  static const char *const name[] = {"br", "pre", "p",  "div", "li",
                                     "h1", "h2",  "h3", "td",  "blockquote"};
  if (tag.n > 0 && *tag.s == '/')
    tag = from(tag, 1);
  for (size_t k = 0; k < sizeof name / sizeof *name; k++) {
    size_t n = strlen(name[k]);
    if (begins(tag, name[k]) &&
        (tag.n == n || !isalnum((unsigned char)tag.s[n])))
      return true;
  }
  return false;
}

/* The text of a page: tags left out, a line end for those that break. What
** is "<" in a script stands there as "&lt;". False where memory ends. */
static bool strip_tags (const char *s, size_t n, runner_buffer *to) {
  size_t k = 0;
  while (k < n) {
    const char *at = memchr(s + k, '<', n - k), *end;
    size_t stop = at != NULL ? (size_t)(at - s) : n;
    if (!buffer_add(to, s + k, stop - k))
      return false;
    if (at == NULL)
      return true;
    end = memchr(at, '>', n - stop);
    k = end != NULL ? (size_t)(end - s) + 1 : n;
    if (breaks((view){at + 1, k - stop - 1, 0}) && !buffer_add(to, "\n", 1))
      return false;
  }
  return true;
}

/* ---- the whole ---- */

/* Does a blank follow each mark? Then it belongs to the mark. */
static bool marks_are_spaced (const lines *l, size_t a, size_t b,
                              size_t depth) {
  for (; a < b; a++) {
    size_t n;
    view v = skip_marks(l->at[a], depth, &n);
    if (n == depth && v.n > 0 && blank(v) == 0)
      return false;
  }
  return true;
}

/* Columns of quote marks: entities and letters of several bytes are one. */
static size_t columns (const char *s, size_t n) {
  size_t c = 0;
  for (size_t k = 0; k < n; k++) {
    c += ((unsigned char)s[k] & 0xc0) != 0x80;
    if (s[k] == '&')
      while (k + 1 < n && s[k] != ';')
        k++;
  }
  return c;
}

/* Lines a .. b without 'depth' quote marks, tags on lines of their own. */
static bool unquote (const lines *l, size_t a, size_t b, size_t depth,
                     lines *to) {
  size_t from_style = b > a + STYLE_LINES ? b - STYLE_LINES : a, n;
  bool spaced = marks_are_spaced(l, from_style, b, depth);
  for (; a < b; a++) {
    view v = skip_marks(l->at[a], depth, &n);
    if (n > 0 && spaced)
      v = from(v, blank(v));
    v.cut = columns(l->at[a].s, (size_t)(v.s - l->at[a].s));
    if (!add_parted(to, v))
      return false;
  }
  return true;
}

/* One post whose last line is l->at[tail]; it reaches up to 'floor'.
** False where memory ends; a post that is none has no table_sum. */
static bool read_post (post *p, const lines *l, size_t floor, size_t tail) {
  lines own = {NULL, 0, 0};
  size_t depth, at, next, end = tail + TAIL_LINES;
  bool fine;
  skip_marks(l->at[tail], l->n + l->at[tail].n, &depth);
  if (tail > REACH_LINES && floor < tail - REACH_LINES)
    floor = tail - REACH_LINES;
  fine = unquote(l, floor, tail, depth, &own);
  at = own.n;
  fine = fine && unquote(l, tail, end < l->n ? end : l->n, depth, &own);
  p->quoted = depth > 0;
  p->line = tail + 1;
  if (fine && at < own.n && read_tail(p, &own, at, &next)) {
    fine = by_marks(p, &own, at, next);
    if (!p->found)
      fine = by_count(p, &own, at);
  } else
    p->table_sum[0] = '\0';
  free(own.at);
  return fine;
}

void post_free (post *p) {
  free(p->script.data);
  free(p->table.data);
  free(p->cut.data);
  free(p->said);
  memset(p, 0, sizeof *p);
}

static bool line_is_tail (view v) {
  size_t n;
  v = skip_blanks(skip_marks(v, v.n, &n));
  return v.n > 15 && (*v.s == 'r' || (unsigned char)*v.s >= 0x80) &&
         is_tail(v);
}

/* A last line that cannot be read: not the one under a table that was only
** printed, "rerun: ampstead 0.1.0, hut.lua ..". */
static bool is_damaged (view v) {
  char w[200], *blank;
  size_t n;
  v = skip_blanks(skip_marks(v, v.n, &n));
  n = amp_words(v.s, v.n < 150 ? v.n : 150, w);
  w[n > 0 ? n - 1 : 0] = '\0';
  blank = n > 0 ? strchr(w, ' ') : NULL; /* "rerun: ampstead 0.1.0" */
  blank = blank != NULL ? strchr(blank + 1, ' ') : NULL;
  if (blank == NULL)
    return true;
  n = strcspn(blank + 1, " \n");
  return n == 0 || blank[n] != ',';
}

static size_t find_in (const char *s, size_t n, post *list, bool *more,
                       size_t *damaged) {
  lines l = {NULL, 0, 0};
  size_t found = 0, floor = 0, tries = 0;
  bool fine = split(s, n, &l);
  *more = false;
  *damaged = 0;
  for (size_t k = 0; fine && k < l.n && !*more; k++) {
    if (!line_is_tail(l.at[k]))
      continue;
    *more = found == POST_MOST || ++tries > TRIES_MOST;
    if (*more)
      break;
    memset(&list[found], 0, sizeof list[found]);
    fine = read_post(&list[found], &l, floor, k);
    if (fine && floor > 0 && !list[found].found &&
        list[found].table_sum[0] != '\0') {
      post_free(&list[found]); /* the one above it may stand in its script */
      fine = read_post(&list[found], &l, 0, k);
    }
    if (list[found].table_sum[0] == '\0') {
      *damaged = is_damaged(l.at[k]) ? k + 1 : *damaged;
      post_free(&list[found]);
      continue;
    }
    floor = k + 1;
    found++;
  }
  free(l.at);
  if (fine)
    return found;
  while (found > 0)
    post_free(&list[--found]);
  return (size_t)-1;
}

size_t post_find (const char *s, size_t n, post *list, bool *more,
                  size_t *damaged) {
  runner_buffer text = {NULL, 0, 0};
  size_t found = (size_t)-1;
  if (!is_page(s, n))
    return find_in(s, n, list, more, damaged);
  *more = false;
  *damaged = 0;
  if (strip_tags(s, n, &text) && buffer_add(&text, "", 0))
    found = find_in(text.data != NULL ? text.data : "", text.n, list, more,
                    damaged);
  free(text.data);
  return found;
}
