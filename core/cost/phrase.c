/*
** phrase.c -- numbers, words and days as people write them.
*/
#include "cost/phrase.h"
#include "base/text.h"
#include <string.h>

static bool is_digit (char c) {
  return c >= '0' && c <= '9';
}

static char lower (char c) {
  return (char)(c >= 'A' && c <= 'Z' ? c + ('a' - 'A') : c);
}

static bool is_letter (char c) {
  c = lower(c);
  return (c >= 'a' && c <= 'z') || (unsigned char)c >= 0x80u;
}

/* ---- numbers ---- */

static bool is_nothing (const char *s, size_t n) {
  static const char *const words[] = {"", "-", "--", "?", "n/a", "na", NULL};
  for (int i = 0; words[i] != NULL; i++) {
    size_t k = 0;
    while (k < n && words[i][k] != '\0' && lower(s[k]) == words[i][k])
      k++;
    if (k == n && words[i][k] == '\0')
      return true;
  }
  return false;
}

/* Where and how often a mark stands. */
typedef struct marks {
  size_t count, first, last;
} marks;

static marks find_marks (const char *s, size_t n, char mark) {
  marks m = {0, 0, 0};
  for (size_t i = 0; i < n; i++)
    if (s[i] == mark) {
      m.first = m.count++ == 0 ? i : m.first;
      m.last = i;
    }
  return m;
}

/* Digits behind place 'at' up to the end or the next thing. */
static size_t digits_after (const char *s, size_t n, size_t at) {
  size_t k = 0;
  while (at + 1 + k < n && is_digit(s[at + 1 + k]))
    k++;
  return k;
}

static bool parts_thousands (char c, char group) {
  return c == group || c == ' ' || c == '\'';
}

enum { LONGEST = 64 };

/* Drop the marks between groups of three before 'point' (n: none); false
** where they do not stand so. */
static bool drop_groups (const char *s, size_t n, size_t point, char group,
                         char *out, size_t *used) {
  size_t k = 0;
  bool before = false; /* a digit stands before the first mark */
  if (n >= LONGEST)
    return false;
  for (size_t i = 0; i < n; i++) {
    bool mark = parts_thousands(s[i], group);
    if (mark && (i > point || !before || digits_after(s, n, i) != 3))
      return false;
    before = before || is_digit(s[i]);
    if (!mark)
      out[k++] = i == point ? '.' : s[i];
  }
  *used = k;
  return true;
}

static amp_written parse (const char *s, size_t n, double *out) {
  bool tiny = false;
  double v = 0.0;
  amp_status st = amp_parse_double(s, n, '.', &v, &tiny);
  if (st == AMP_ERANGE || tiny)
    return AMP_WRITTEN_RANGE;
  if (st != AMP_OK)
    return AMP_WRITTEN_WORDS;
  *out = v;
  return AMP_WRITTEN_NUMBER;
}

/* With the decimal mark known. */
static amp_written with_mark (const char *s, size_t n, char decimal,
                              double *out) {
  char plain[LONGEST];
  size_t used = 0;
  marks m = find_marks(s, n, decimal);
  if (m.count > 1 || !drop_groups(s, n, m.count == 1 ? m.first : n,
                                  decimal == '.' ? ',' : '.', plain, &used))
    return AMP_WRITTEN_WORDS;
  return parse(plain, used, out);
}

/* Is all of it digits and marks, with one digit at least? */
static bool marks_and_digits (const char *s, size_t n) {
  bool any = false;
  for (size_t i = 0; i < n; i++) {
    any = any || is_digit(s[i]);
    if (!is_digit(s[i]) && strchr(".,' +-", s[i]) == NULL)
      return false;
  }
  return any;
}

/* Three digits behind the mark and at most three before, the first not 0. */
static bool like_thousands (const char *s, size_t n, size_t at) {
  size_t k = at;
  while (k > 0 && is_digit(s[k - 1]))
    k--;
  return at + 4 == n && digits_after(s, n, at) == 3 && at - k >= 1 &&
         at - k <= 3 && s[k] != '0';
}

static amp_written unannounced (const char *s, size_t n, bool money,
                                double *out) {
  marks point = find_marks(s, n, '.'), comma = find_marks(s, n, ',');
  if (!marks_and_digits(s, n))
    return parse(s, n, out); /* 1e3, or words */
  if (point.count > 0 && comma.count > 0)
    return with_mark(s, n, point.last > comma.last ? '.' : ',', out);
  if (comma.count > 1)
    return with_mark(s, n, '.', out);
  if (point.count > 1)
    return with_mark(s, n, ',', out);
  if (comma.count == 1)
    return like_thousands(s, n, comma.first) ? AMP_WRITTEN_TWO_WAYS
                                             : AMP_WRITTEN_COMMA;
  if (money && point.count == 1 && like_thousands(s, n, point.first))
    return AMP_WRITTEN_TWO_WAYS;
  return with_mark(s, n, '.', out);
}

amp_written amp_number_written (const char *s, size_t n, char decimal,
                                bool money, double *out) {
  while (n > 0 && s[0] == ' ') {
    s++;
    n--;
  }
  while (n > 0 && s[n - 1] == ' ')
    n--;
  if (is_nothing(s, n))
    return AMP_WRITTEN_NOTHING;
  if (decimal == '\0')
    return unannounced(s, n, money, out);
  return marks_and_digits(s, n) ? with_mark(s, n, decimal, out)
                                : parse(s, n, out);
}

/* ---- phrases ---- */

/* ---- typographic signs ---- */

static const struct {
  const char *sign;
  char plain;
} signs[] = {{"\t", ' '},
             {"\n", ' '},
             {"\r", ' '},
             {"\xc2\xa0", ' '},
             {"\xe2\x80\x89", ' '},
             {"\xe2\x80\xaf", ' '},
             {"\xe2\x80\x90", '-'},
             {"\xe2\x80\x91", '-'},
             {"\xe2\x80\x92", '-'},
             {"\xe2\x80\x93", '-'},
             {"\xe2\x80\x94", '-'},
             {"\xe2\x88\x92", '-'},
             {"\xe2\x80\x98", '\''},
             {"\xe2\x80\x99", '\''},
             {"\xe2\x89\x88", '~'}};
enum { SIGNS = sizeof signs / sizeof *signs };

static size_t sign_length (const char *s, char *plain) {
  if ((unsigned char)*s >= ' ' && (unsigned char)*s < 0x80u)
    return 0;
  for (int i = 0; i < SIGNS; i++) {
    size_t n = strlen(signs[i].sign);
    if (strncmp(s, signs[i].sign, n) == 0) {
      *plain = signs[i].plain;
      return n;
    }
  }
  return 0;
}

const char *amp_cell_plain (const char *s, char *out, size_t size) {
  size_t k = 0, n = strlen(s);
  if (n >= size)
    return s;
  while (*s != '\0') {
    size_t long_one = sign_length(s, &out[k]);
    if (long_one == 0)
      out[k] = *s;
    k++;
    s += long_one > 0 ? long_one : 1;
  }
  out[k] = '\0';
  return out;
}

/* ---- phrases: tokens ---- */

/* Does a blank at s[i] part thousands: one or two digits before it, or
** thousands ("1 200 000"), and three behind? Three before are two numbers
** rather ("140 160"). */
static bool is_thousands_blank (const char *s, size_t i) {
  size_t k = i, n = strspn(s + i + (s[i] == ' '), "0123456789");
  while (k > 0 && is_digit(s[k - 1]))
    k--;
  bool more = k > 0 && s[k - 1] == ' '; /* within the number: read already */
  return s[i] == ' ' && n == 3 && !is_letter(s[i + 4]) &&
         (more ? i - k == 3 : i - k == 1 || i - k == 2) &&
         (k == 0 || strchr(" +-", s[k - 1]) != NULL);
}

/* The length of the number that begins at s: digits, and marks that stand
** between digits, of money blanks too. Letters right behind it (7s2p, 3x)
** make it a word, units do not. */
static size_t number_length (const char *s, bool money) {
  size_t i = 0;
  if (s[0] == '-' || s[0] == '+')
    i++;
  if (!is_digit(s[i]) &&
      !((s[i] == '.' || s[i] == ',') && is_digit(s[i + 1])))
    return 0;
  while (
      is_digit(s[i]) ||
      (strchr(".,'", s[i]) != NULL && s[i] != '\0' && is_digit(s[i + 1])) ||
      (money && is_thousands_blank(s, i)))
    i++;
  return i;
}

/* "7s2p": letters and digits after digits */
static bool is_code (const char *s) {
  size_t i = 0;
  while (is_digit(s[i]))
    i++;
  if (i == 0 || !is_letter(s[i]))
    return false;
  while (is_letter(s[i]))
    i++;
  return is_digit(s[i]);
}

/* A sign of money, with no letters or digits joined to it. */
static size_t money_length (const char *s) {
  if (*s == '$')
    return 1;
  if (strncmp(s, "\xe2\x82\xac", 3) == 0)
    return 3;
  return strncmp(s, "\xc2\xa3", 2) == 0 ? 2 : 0;
}

/* "EUR140": letters of a currency right before a number. */
static size_t code_length (const char *s) {
  static const char codes[] = "eur gbp usd chf sek nok dkk pln czk";
  for (const char *c = codes;; c += 4) {
    if (lower(s[0]) == c[0] && lower(s[1]) == c[1] && lower(s[2]) == c[2] &&
        is_digit(s[3]))
      return 3;
    if (c[3] == '\0')
      return 0;
  }
}

/* A dash between numbers or blanks: "85-95", "85 - 95"; not that of "140,-" */
static bool is_dash (const char *s, char before) {
  return *s == '-' && (is_digit(before) || before == ' ') &&
         (is_digit(s[1]) || s[1] == ' ');
}

static size_t word_length (const char *s, char before) {
  size_t i = money_length(s);
  if (i == 0)
    i = is_letter(before) || is_digit(before) ? 0 : code_length(s);
  if (i > 0)
    return i;
  if ((*s != '\0' && strchr("%?/~<>+$", *s) != NULL) || is_dash(s, before))
    return 1;
  while (money_length(s + i) == 0 &&
         (is_letter(s[i]) || (is_digit(s[i]) && (i > 0 || is_code(s)))))
    i++;
  return i;
}

static void keep_word (amp_token *t, const char *s, size_t n) {
  size_t k = 0;
  t->number = false;
  for (; k < n && k + 1 < AMP_PHRASE_WORD; k++)
    t->word[k] = lower(s[k]);
  t->word[k] = '\0';
}

void amp_phrase_read (const char *s, char decimal, bool money,
                      amp_phrase *out) {
  char before = ' ';
  memset(out, 0, sizeof *out);
  while (*s != '\0' && out->n < AMP_PHRASE_TOKENS) {
    amp_token *t = &out->t[out->n];
    bool dash = is_digit(before) && *s == '-';
    size_t n = is_code(s) || dash ? 0 : number_length(s, money);
    if (n > 0) {
      t->number = true;
      t->how = amp_number_written(s, n, decimal, money, &t->value);
    } else if ((n = word_length(s, before)) > 0)
      keep_word(t, s, n);
    out->n += n > 0;
    s += n > 0 ? n : 1;
    before = s[-1];
  }
}

bool amp_phrase_is_range (const amp_phrase *p) {
  for (int i = 0; i + 2 < p->n; i++)
    if (p->t[i].number && p->t[i + 2].number &&
        amp_phrase_is(p, i + 1, "- to bis"))
      return true;
  return false;
}

bool amp_phrase_is (const amp_phrase *p, int i, const char *list) {
  size_t n;
  if (i < 0 || i >= p->n || p->t[i].number)
    return false;
  n = strlen(p->t[i].word);
  for (const char *s = list; *s != '\0';) {
    size_t k = strcspn(s, " ");
    if (k == n && memcmp(s, p->t[i].word, n) == 0)
      return true;
    s += k;
    s += *s == ' ';
  }
  return false;
}

bool amp_phrase_has (const amp_phrase *p, const char *list) {
  for (int i = 0; i < p->n; i++)
    if (amp_phrase_is(p, i, list))
      return true;
  return false;
}

/* ---- cells beside each other ---- */

/* A blank of any kind: its bytes, or 0. */
static size_t blank_length (const char *s) {
  if (*s == ' ' || *s == '\t' || *s == '\n' || *s == '\r')
    return 1;
  return strncmp(s, "\xc2\xa0", 2) == 0 ? 2 : 0; /* one that holds a line */
}

/* The next letter without case, ' ' for blanks between words, 0 at the end;
** *at moves behind it. */
static char next_folded (const char **at, bool begun) {
  const char *s = *at;
  bool parted = false;
  for (size_t n; (n = blank_length(s)) > 0; s += n)
    parted = begun;
  char c = parted && *s != '\0' ? ' ' : lower(*s);
  *at = c == ' ' || c == '\0' ? s : s + 1;
  return c;
}

/* The one plain number that the cell is. */
static bool cell_number (const char *s, char decimal, double *v) {
  return amp_number_written(s, strlen(s), decimal, true, v) ==
         AMP_WRITTEN_NUMBER;
}

static bool cell_empty (const char *s) {
  double v;
  return amp_number_written(s, strlen(s), '\0', true, &v) ==
         AMP_WRITTEN_NOTHING;
}

bool amp_cell_alike (const char *a, const char *b, char decimal) {
  double va = 0.0, vb = 0.0;
  if (cell_empty(a) || cell_empty(b))
    return cell_empty(a) && cell_empty(b);
  if (cell_number(a, decimal, &va) && cell_number(b, decimal, &vb))
    return va == vb;
  for (bool begun = false;; begun = true) {
    char ca = next_folded(&a, begun), cb = next_folded(&b, begun);
    if (ca != cb || ca == '\0')
      return ca == cb;
  }
}

/* FNV-1a: G. Fowler, L. C. Noll, K.-P. Vo, 1991 (from memory). */
static uint64_t add_byte (uint64_t h, unsigned char c) {
  return (h ^ c) * 0x100000001b3u;
}

uint64_t amp_cell_digest (const char *s, char decimal) {
  uint64_t h = 0xcbf29ce484222325u, bits = 0;
  double v = 0.0;
  if (cell_empty(s))
    return h;
  if (cell_number(s, decimal, &v)) {
    v += 0.0; /* -0 is 0 */
    memcpy(&bits, &v, sizeof bits);
    for (int i = 0; i < 64; i += 8)
      h = add_byte(h, (unsigned char)(bits >> i));
    return h;
  }
  for (bool begun = false;; begun = true) {
    char c = next_folded(&s, begun);
    if (c == '\0')
      return h;
    h = add_byte(h, (unsigned char)c);
  }
}

/* ---- days ---- */

static int month_days (int y, int m) {
  static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  bool leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
  return days[m - 1] + (m == 2 && leap);
}

/* Of the calendar since 1582, counted year by year. */
static bool day_of (int y, int m, int d, double *day) {
  double n = 0.0;
  if (y < 1990 || y > 2200 || m < 1 || m > 12 || d < 1 ||
      d > month_days(y, m))
    return false;
  for (int i = 1970; i < y; i++)
    n += month_days(i, 2) == 29 ? 366.0 : 365.0;
  for (int i = 1; i < m; i++)
    n += month_days(y, i);
  *day = n + d - 1;
  return true;
}

/* Three whole numbers parted by one mark; false else. */
static bool three_numbers (const char *s, int v[3], char *mark) {
  for (int i = 0; i < 3; i++) {
    int k = 0;
    v[i] = 0;
    for (; is_digit(*s) && k < 4; k++)
      v[i] = 10 * v[i] + (*s++ - '0');
    if (k == 0)
      return false;
    if (i == 0)
      *mark = *s;
    if (i < 2 && (*s != *mark || strchr("-./", *s) == NULL || *s++ == '\0'))
      return false;
  }
  return *s == '\0';
}

amp_written amp_day_written (const char *s, double *day) {
  int v[3];
  char mark = '\0';
  if (is_nothing(s, strlen(s)))
    return AMP_WRITTEN_NOTHING;
  if (!three_numbers(s, v, &mark))
    return AMP_WRITTEN_WORDS;
  if (v[0] > 31)
    return day_of(v[0], v[1], v[2], day) ? AMP_WRITTEN_NUMBER
                                         : AMP_WRITTEN_WORDS;
  if (mark == '/' && v[0] <= 12 && v[1] <= 12 && v[0] != v[1])
    return AMP_WRITTEN_TWO_WAYS;
  if (mark == '/' && v[1] > 12)
    return day_of(v[2], v[0], v[1], day) ? AMP_WRITTEN_NUMBER
                                         : AMP_WRITTEN_WORDS;
  return day_of(v[2], v[1], v[0], day) ? AMP_WRITTEN_NUMBER
                                       : AMP_WRITTEN_WORDS;
}
