/*
** post_tail.c -- the last line of a post: what it says, and what of that the
** run here says otherwise.
*/
#include "runner/post_tail.h"
#include "base/words.h"
#include "runner/post_mend.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- its words ---- */

typedef struct reader {
  char *at;   /* the rest of the line, blanks as single spaces */
  bool comma; /* one stood behind the last word */
  char *end;  /* of the last word, without its comma */
} reader;

/* The next word, ended by NUL; a comma behind it is taken off and told. */
static char *next_word (reader *r, bool *comma) {
  char *w = r->at, *end;
  size_t n;
  while (*w == ' ' || *w == '\n')
    w++;
  n = strcspn(w, " \n");
  end = w + n;
  r->at = *end != '\0' ? end + 1 : end;
  *end = '\0';
  *comma = n > 0 && w[n - 1] == ',';
  if (*comma)
    *--end = '\0';
  r->comma = *comma;
  r->end = end;
  return w;
}

static int hex_digit (char c) {
  if (c >= '0' && c <= '9')
    return c - '0';
  c = (char)(c | 0x20);
  return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* "b%2C%20c" into "b, c"; false where it is too long or holds a NUL. */
static bool decode (const char *w, char to[POST_NAME + 1]) {
  size_t n = 0;
  for (; *w != '\0'; w++) {
    int a = *w == '%' ? hex_digit(w[1]) : -1;
    int b = a >= 0 ? hex_digit(w[2]) : -1;
    if (n == POST_NAME || (b >= 0 && 16 * a + b == 0))
      return false;
    to[n++] = b >= 0 ? (char)(16 * a + b) : *w;
    if (b >= 0)
      w += 2;
  }
  to[n] = '\0';
  return true;
}

static bool read_sum (const char *w, char to[POST_SUM + 1]) {
  if (strlen(w) != POST_SUM)
    return false;
  for (size_t k = 0; k < POST_SUM; k++) {
    int d = hex_digit(w[k]);
    if (d < 0)
      return false;
    to[k] = "0123456789abcdef"[d];
  }
  to[POST_SUM] = '\0';
  return true;
}

static bool read_count (const char *w, size_t *to) {
  char *end;
  unsigned long v = strtoul(w, &end, 10);
  *to = v;
  return *w >= '0' && *w <= '9' && *end == '\0' && v <= 10000000;
}

/* One of "--seed 9", "draws 2000", "post 2", "run with -e or -l". */
static void read_setting (post *p, const char *s) {
  double v = strtod(s + strcspn(s, "0123456789"), NULL);
  if (s[0] == '-' && strstr(s, "seed ") != NULL && v <= 0x1p53) {
    p->has_seed = true;
    p->seed = v;
  } else if (strncmp(s, "post ", 5) == 0 && v >= 1 && v <= 1e6)
    p->number = (int)v;
  else if (strncmp(s, "without ", 8) == 0 || strncmp(s, "run with ", 9) == 0)
    snprintf(p->lost, sizeof p->lost, "%.110s", s);
}

/* What stands in brackets; false where they don't close. */
static bool read_settings (post *p, reader *r) {
  char *s = r->at + 1, *end = strchr(s, ')'), *comma;
  if (end == NULL)
    return false;
  *end = '\0';
  r->at = end + 1;
  while ((comma = strchr(s, ',')) != NULL) {
    *comma = '\0';
    read_setting(p, s);
    s = comma + 1 + strspn(comma + 1, " \n");
  }
  read_setting(p, s);
  return true;
}

/* Name and arguments, up to the settings or the sums. */
static bool read_call (post *p, reader *r) {
  bool comma;
  for (size_t k = 0;; k++) {
    const char *w;
    r->at += strspn(r->at, " \n");
    if (*r->at == '(')
      return read_settings(p, r) &&
             strcmp(next_word(r, &comma), "sha256") == 0;
    w = next_word(r, &comma);
    if (strcmp(w, "sha256") == 0)
      return true;
    if (*w == '\0' || k > POST_ARGUMENTS ||
        !decode(w, k == 0 ? p->name : p->argument[k - 1]))
      return false;
    p->arguments = k;
  }
}

/* "24 lines 5fc9.." */
static bool read_block_sum (reader *r, size_t *lines_n, char *sum) {
  bool comma;
  if (!read_count(next_word(r, &comma), lines_n))
    return false;
  next_word(r, &comma); /* "lines" */
  return read_sum(next_word(r, &comma), sum);
}

static bool read_file (post *p, reader *r) {
  bool comma;
  post_file *f;
  if (p->files == POST_FILES)
    return false;
  f = &p->file[p->files++];
  return decode(next_word(r, &comma), f->name) &&
         read_sum(next_word(r, &comma), f->sum);
}

/* The table's sum stands last of them and has to be there. */
static bool read_sums (post *p, reader *r) {
  bool fine = true, comma;
  while (fine && p->table_sum[0] == '\0') {
    const char *w = next_word(r, &comma);
    if (strcmp(w, "script") == 0)
      fine = read_block_sum(r, &p->script_lines, p->script_sum);
    else if (strcmp(w, "words") == 0)
      fine = read_sum(next_word(r, &comma), p->words_sum);
    else if (strcmp(w, "file") == 0)
      fine = read_file(p, r);
    else if (strcmp(w, "table") == 0)
      fine = read_block_sum(r, &p->table_lines, p->table_sum);
    else
      fine = false;
  }
  return fine;
}

/* The sum of the line itself, where a comma says that it follows. */
static bool read_own_sum (post *p, reader *r) {
  bool comma;
  return strcmp(next_word(r, &comma), "line") == 0 &&
         read_sum(next_word(r, &comma), p->line_sum);
}

/* *n: where the table's sum ends, and with it what the line says. */
static bool read_words (post *p, char *words, size_t *n) {
  reader r = {words, false, words};
  bool comma;
  next_word(&r, &comma); /* "rerun:" */
  next_word(&r, &comma); /* "ampstead" */
  snprintf(p->version, sizeof p->version, "%s", next_word(&r, &comma));
  p->number = 1;
  if (!read_call(p, &r) || !read_sums(p, &r))
    return false;
  *n = (size_t)(r.end - words);
  if (r.comma && !read_own_sum(p, &r))
    return false;
  p->more = *next_word(&r, &comma) != '\0';
  return true;
}

/* ---- how it was broken, and its dashes ---- */

/* What may have happened to the line besides what its words forgive. */
enum {
  AS_IT_IS,
  DASHES, /* a hyphen became a dash; else a dash was two hyphens */
  CUT,    /* broken within words, at the width of its longest lines; and on
          ** from here, of the first FULL of these some are whole: one each */
  FULL = 6,
  READINGS = CUT + (1 << FULL)
};

static bool is_dash (const char *s, size_t n) {
  return n >= 3 && (memcmp(s, "\xe2\x80\x93", 3) == 0 ||
                    memcmp(s, "\xe2\x80\x94", 3) == 0);
}

static size_t longest_line (const char *s, size_t n) {
  size_t longest = 0, from = 0;
  for (size_t k = 0; k < n; k++)
    if (s[k] == '\n') {
      longest = k - from > longest ? k - from : longest;
      from = k + 1;
    }
  return longest;
}

/* How many readings there are: one more for each set of full lines. */
static int readings_of (const char *s, size_t n) {
  size_t longest = longest_line(s, n), from = 0;
  int full = 0;
  for (size_t k = 0; k < n; k++)
    if (s[k] == '\n') {
      full += full < FULL && k - from == longest;
      from = k + 1;
    }
  return CUT + (1 << full);
}

/* One reading of the raw line, as words in one line; NULL where memory ends
** or a NUL is in it. */
static char *words_as (const char *s, size_t n, int reading) {
  char *raw = malloc(n + 2), *w = malloc(n + 3);
  size_t m = 0, from = 0, longest = longest_line(s, n);
  int full = 0;
  for (size_t k = 0; raw != NULL && k < n; k++) {
    bool cut = s[k] == '\n' && reading >= CUT && k - from == longest;
    if (s[k] == '\n')
      from = k + 1;
    if (cut && full < FULL)
      cut = !((reading - CUT) & 1 << full++);
    if (reading == DASHES && is_dash(s + k, n - k)) {
      raw[m++] = '-';
      k += 2;
    } else if (!cut)
      raw[m++] = s[k] == '\n' ? ' ' : s[k];
  }
  if (raw != NULL && w != NULL) {
    m = amp_words(raw, m, w);
    w[m > 0 ? m - 1 : 0] = '\0'; /* its one line end */
  }
  if (raw == NULL || w == NULL || strlen(w) + 1 != m) {
    free(w);
    w = NULL;
  }
  free(raw);
  return w;
}

/* Read it in one way; p->said is what it says, p->line_fits whether that is
** what it said when it was made. */
static bool read_as (post *p, const char *s, size_t n, int reading) {
  post clean = {.quoted = p->quoted, .line = p->line};
  char *words = words_as(s, n, reading), *copy;
  size_t said = 0;
  bool fine;
  free(p->said);
  *p = clean;
  p->said = words;
  copy = words != NULL ? strdup(words) : NULL;
  fine = copy != NULL && read_words(p, copy, &said);
  free(copy);
  if (fine) {
    p->said[said] = '\0';
    p->line_fits = sum_is(p->said, said, p->line_sum);
  }
  return fine;
}

bool post_tail_read (post *p, const char *s, size_t n) {
  int first = READINGS, last = readings_of(s, n);
  for (int k = AS_IT_IS; k < last; k++) {
    if (!read_as(p, s, n, k))
      continue;
    if (p->line_fits)
      return true;
    first = k < first ? k : first;
  }
  return first < READINGS && read_as(p, s, n, first);
}

/* ---- two of them ---- */

enum { ITEMS_MOST = POST_ARGUMENTS + POST_FILES + 16 };

typedef struct item {
  const char *s;
  size_t n;
  bool argument, met;
} item;

typedef struct items {
  item at[ITEMS_MOST];
  size_t n;
} items;

static void add_item (items *to, const char *s, size_t n, bool argument) {
  if (to->n < ITEMS_MOST && n > 0)
    to->at[to->n++] = (item){s, n, argument, false};
}

/* "seed 9, draws 2000" up to 'end' */
static void add_listed (items *to, const char *s, const char *end) {
  while (s < end) {
    const char *comma = s;
    while (comma < end && *comma != ',')
      comma++;
    add_item(to, s, (size_t)(comma - s), false);
    s = comma;
    while (s < end && (*s == ',' || *s == ' '))
      s++;
  }
}

/* "rerun: ampstead 0.1.0 hut.lua price=1 (seed 9) sha256 .." into parts */
static void split_items (const char *line, items *to) {
  static const char begin[] = "rerun: ", sha[] = " sha256 ";
  const char *s = line + sizeof begin - 1, *sums = strstr(line, sha), *open;
  bool argument = false;
  to->n = 0;
  if (strncmp(line, begin, sizeof begin - 1) != 0 || sums == NULL)
    return;
  open = memchr(line, '(', (size_t)(sums - line));
  for (const char *end = open != NULL ? open : sums; s < end; s++) {
    const char *stop = s;
    while (stop < end && *stop != ' ')
      stop++;
    if (!argument && strncmp(s, "ampstead ", 9) == 0) /* and its version */
      for (stop++; stop < end && *stop != ' ';)
        stop++;
    add_item(to, s, (size_t)(stop - s), argument);
    argument = true;
    s = stop;
  }
  if (open != NULL)
    add_listed(to, open + 1, sums[-1] == ')' ? sums - 1 : sums);
  add_listed(to, sums + sizeof sha - 1, line + strlen(line));
}

static bool same_item (const item *a, const item *b) {
  return a->n == b->n && memcmp(a->s, b->s, a->n) == 0;
}

/* Both tell of the same: the first word, of a file its name too. */
static bool same_kind (const item *a, const item *b) {
  size_t n = strcspn(a->s, " ");
  if (n < a->n && n == 4 && memcmp(a->s, "file", 4) == 0)
    n += 1 + strcspn(a->s + n + 1, " ");
  return !a->argument && !b->argument && n < a->n && n < b->n &&
         memcmp(a->s, b->s, n + 1) == 0;
}

static bool skipped (const item *a, unsigned skip) {
  static const char *const kind[] = {"ampstead ", "script ", "table ",
                                     "line "};
  skip |= 8; /* the sum of the line, which is compared by itself */
  for (unsigned k = 0; k < 4; k++)
    if (skip & 1u << k && strncmp(a->s, kind[k], strlen(kind[k])) == 0)
      return true;
  return false;
}

static void meet (items *a, items *b, unsigned skip) {
  for (size_t k = 0; k < a->n; k++) {
    a->at[k].met = skipped(&a->at[k], skip);
    for (size_t j = 0; j < b->n && !a->at[k].met; j++)
      if (!b->at[j].met && same_item(&a->at[k], &b->at[j]))
        a->at[k].met = b->at[j].met = true;
  }
  for (size_t j = 0; j < b->n; j++)
    b->at[j].met = b->at[j].met || skipped(&b->at[j], skip);
}

static item *other_of (const item *a, items *b) {
  for (size_t j = 0; j < b->n; j++)
    if (!b->at[j].met && same_kind(a, &b->at[j]))
      return &b->at[j];
  return NULL;
}

static bool tell (runner_buffer *out, const char *before, const item *a,
                  const char *behind) {
  return buffer_add(out, before, strlen(before)) &&
         buffer_add(out, a->s, a->n) &&
         buffer_add(out, behind, strlen(behind));
}

size_t post_tail_diff (const post *p, const char *here, unsigned skip,
                       runner_buffer *out) {
  items a, b;
  size_t n = 0;
  bool fine = true;
  split_items(p->said, &a);
  split_items(here, &b);
  meet(&a, &b, skip);
  for (size_t k = 0; fine && k < a.n; k++) {
    item *other = a.at[k].met ? NULL : other_of(&a.at[k], &b);
    if (a.at[k].met)
      continue;
    n++;
    fine = tell(out, "its last line says \"", &a.at[k], "\", ") &&
           (other != NULL ? tell(out, "the run here \"", other, "\".\n")
                          : buffer_add(out, "the run here does not.\n", 23));
    if (other != NULL)
      other->met = true;
  }
  for (size_t j = 0; fine && j < b.n; j++)
    if (!b.at[j].met) {
      n++;
      fine = tell(out, "the run here says \"", &b.at[j],
                  "\", its last line does not.\n");
    }
  return fine ? n : (size_t)-1;
}
