/*
** readings_text.c -- readings from text as people type it: which column is
** which by its words, units in headers and behind numbers, either decimal
** mark, columns set apart by blanks.
*/
#include "base/text.h"
#include "pack/readings.h"
#include <math.h>
#include <string.h>

enum { WORDS = 12, WORD = 24, MOST_COLUMNS = 64 };

/* ---- words of a header ---- */

typedef struct words {
  int n;
  char word[WORDS][WORD];
} words;

/* Bytes of one character that is a word's own: 'to' gets its spelling. */
static size_t spell (const char *s, const char **to, char *one) {
  static const struct {
    const char *utf8, *text;
  } marks[] = {{"\xce\xa9", "ohm"},     /* capital omega */
               {"\xe2\x84\xa6", "ohm"}, /* the ohm sign */
               {"\xc2\xb0", ""}};       /* degrees */
  for (size_t i = 0; i < sizeof marks / sizeof *marks; i++) {
    size_t n = strlen(marks[i].utf8);
    if (strncmp(s, marks[i].utf8, n) == 0) {
      *to = marks[i].text;
      return n;
    }
  }
  char c = *s;
  *to = one;
  one[0] = one[1] = '\0';
  if (c >= 'A' && c <= 'Z')
    c = (char)(c - 'A' + 'a');
  if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '#')
    one[0] = c;
  else
    *to = NULL; /* between words */
  return 1;
}

static words words_of (const char *s) {
  words w = {0};
  size_t at = 0;
  while (*s != '\0' && w.n < WORDS) {
    const char *to;
    char one[2];
    s += spell(s, &to, one);
    if (to == NULL) {
      w.n += at > 0;
      at = 0;
    } else
      for (; *to != '\0'; to++)
        if (at < WORD - 1) {
          w.word[w.n][at++] = *to;
          w.word[w.n][at] = '\0';
        }
  }
  if (at > 0 && w.n < WORDS)
    w.n++;
  return w;
}

/* ---- units ---- */

typedef enum dimension {
  DIM_NONE,
  DIM_VOLT,
  DIM_OHM,
  DIM_CHARGE,
  DIM_TEMP
} dimension;

static const struct unit {
  const char *word;
  dimension dim;
  double factor, shift;
} units[] = {{"v", DIM_VOLT, 1.0, 0.0},
             {"volt", DIM_VOLT, 1.0, 0.0},
             {"volts", DIM_VOLT, 1.0, 0.0},
             {"mv", DIM_VOLT, 1e-3, 0.0},
             {"ohm", DIM_OHM, 1.0, 0.0},
             {"ohms", DIM_OHM, 1.0, 0.0},
             {"mohm", DIM_OHM, 1e-3, 0.0},
             {"mohms", DIM_OHM, 1e-3, 0.0},
             {"milliohm", DIM_OHM, 1e-3, 0.0},
             {"milliohms", DIM_OHM, 1e-3, 0.0},
             {"uohm", DIM_OHM, 1e-6, 0.0},
             {"ah", DIM_CHARGE, 3600.0, 0.0},
             {"mah", DIM_CHARGE, 3.6, 0.0},
             {"c", DIM_TEMP, 1.0, 273.15},
             {"degc", DIM_TEMP, 1.0, 273.15},
             {"celsius", DIM_TEMP, 1.0, 273.15},
             {"f", DIM_TEMP, 5.0 / 9.0, 459.67 * 5.0 / 9.0},
             {"degf", DIM_TEMP, 5.0 / 9.0, 459.67 * 5.0 / 9.0},
             {"fahrenheit", DIM_TEMP, 5.0 / 9.0, 459.67 * 5.0 / 9.0},
             {"k", DIM_TEMP, 1.0, 0.0},
             {NULL, DIM_NONE, 0.0, 0.0}};

static const struct unit *unit_of (const char *word) {
  for (const struct unit *u = units; u->word != NULL; u++)
    if (strcmp(u->word, word) == 0)
      return u;
  return NULL;
}

/* ---- columns ---- */

typedef enum role {
  ROLE_REMARK,
  ROLE_DATE,
  ROLE_MIN,
  ROLE_MAX,
  ROLE_R,
  ROLE_TEMP,
  ROLE_AH,
  ROLE_OCV,
  ROLE_ID,
  ROLES
} role;

/* In the order in which they are looked for: "group_min_v" says both volt
** and least. 'unit' is the one that our key names, NULL: none. */
static const struct {
  const char *key, *bare; /* as we write it, with and without unit */
  dimension dim;
  const char *unit;
  bool assumed; /* without any unit in the header the key's stands in */
  const char *words[12];
} roles[ROLES] = {
    {"remark",
     "remark",
     DIM_NONE,
     NULL,
     true,
     {"remark", "remarks", "note", "notes", "comment", "comments"}},
    {"date", "date", DIM_NONE, NULL, true, {"date", "day", "when"}},
    {"group_min_v",
     "group_min",
     DIM_VOLT,
     "v",
     true,
     {"min", "lowest", "low", "least", "vmin", "minimum"}},
    {"group_max_v",
     "group_max",
     DIM_VOLT,
     "v",
     true,
     {"max", "highest", "high", "most", "vmax", "maximum"}},
    {"r10s_mohm",
     "r10s",
     DIM_OHM,
     "mohm",
     false,
     {"r", "r10s", "ri", "ir", "resistance", "dcir", "dcr", "mohm", "ohm"}},
    {"temp_c",
     "temp",
     DIM_TEMP,
     "c",
     false,
     {"temp", "temperature", "t", "celsius", "fahrenheit"}},
    {"ah", "ah", DIM_CHARGE, "ah", false, {"ah", "mah", "capacity", "cap"}},
    {"ocv_v",
     "ocv",
     DIM_VOLT,
     "v",
     true,
     {"ocv", "voltage", "volt", "volts", "v", "u", "uoc", "voc", "rest"}},
    {"id",
     "id",
     DIM_NONE,
     NULL,
     true,
     {"id", "module", "no", "nr", "number", "sticker", "name", "#", "mod"}}};

const char *amp_readings_column (int i) {
  return i >= 0 && i < ROLES ? roles[ROLES - 1 - i].key : NULL;
}

typedef struct column {
  int role; /* -1: not read */
  double factor, shift;
} column;

typedef struct reader {
  const amp_csv *csv;
  const amp_readings_options *opt;
  char decimal;
  column column[MOST_COLUMNS];
  int at[ROLES]; /* column of each role, -1 */
} reader;

static amp_status at_place (amp_error *err, amp_status st, size_t line,
                            size_t place) {
  if (err != NULL) {
    err->line = line;
    err->column = place;
  }
  return st;
}

/* The role that the options give to this header, or -1. */
static int role_given (const reader *r, const char *header) {
  for (size_t i = 0; i < r->opt->columns; i++)
    if (strcmp(r->opt->theirs[i], header) == 0)
      for (int k = 0; k < ROLES; k++)
        if (strcmp(r->opt->ours[i], roles[k].key) == 0 ||
            strcmp(r->opt->ours[i], roles[k].bare) == 0)
          return k;
  return -1;
}

static bool is_skipped (const reader *r, const char *header) {
  for (size_t i = 0; i < r->opt->skipped; i++)
    if (strcmp(r->opt->skip[i], header) == 0)
      return true;
  return false;
}

static const struct unit *unit_in (const words *w) {
  for (int i = w->n - 1; i >= 0; i--)
    if (unit_of(w->word[i]) != NULL)
      return unit_of(w->word[i]);
  return NULL;
}

/* A unit of this dimension among the words. */
static const struct unit *unit_like (const words *w, dimension dim) {
  for (int i = w->n - 1; i >= 0; i--)
    if (unit_of(w->word[i]) != NULL && unit_of(w->word[i])->dim == dim)
      return unit_of(w->word[i]);
  return NULL;
}

static bool in_list (const char *word, const char *const *list) {
  for (; *list != NULL; list++)
    if (strcmp(word, *list) == 0)
      return true;
  return false;
}

/* By the words that are no unit; by a unit alone where there are none. */
static int role_by_words (const words *w) {
  /* a meter at 1 kHz sees a fraction of the 10 s resistance */
  static const char *const other[] = {"ac", "khz", "1khz", "impedance", NULL};
  for (int i = 0; i < w->n; i++)
    if (in_list(w->word[i], other))
      return -1;
  for (int units_too = 0; units_too < 2; units_too++)
    for (int k = 0; k < ROLES; k++)
      for (int i = 0; i < w->n; i++)
        if ((units_too || unit_of(w->word[i]) == NULL) &&
            in_list(w->word[i], roles[k].words))
          return k;
  return -1;
}

static amp_status refuse_column (size_t c, const char *header,
                                 const char *why, amp_error *err) {
  char shown[100];
  amp_text_visible(header, strlen(header), 24, shown, sizeof shown);
  amp_failf(err, AMP_EDATA, NULL, "column %zu, '%s', %s", c + 1, shown, why);
  return at_place(err, AMP_EDATA, 1, 0);
}

/* What a header says: role, and the unit that brings it to SI. */
static amp_status know_column (reader *r, size_t c, amp_error *err) {
  const char *h = amp_csv_header(r->csv, c);
  words w = words_of(h);
  int given = role_given(r, h), k = given >= 0 ? given : role_by_words(&w);
  r->column[c] = (column){-1, 1.0, 0.0};
  if (is_skipped(r, h) || h[0] == '\0')
    return AMP_OK;
  if (k < 0)
    return refuse_column(c, h,
                         "is not known: say columns = { ours = theirs }, or "
                         "skip it",
                         err);
  r->column[c].role = k;
  if (roles[k].dim == DIM_NONE)
    return AMP_OK;
  const struct unit *u = unit_like(&w, roles[k].dim);
  if (u == NULL && unit_in(&w) != NULL &&
      !(given >= 0 && unit_in(&w)->dim == DIM_TEMP)) /* "R at 25 C" */
    return refuse_column(c, h, "has a unit of another kind", err);
  if (u == NULL && given < 0 && !roles[k].assumed)
    return refuse_column(
        c, h, "does not say its unit: write it behind the name", err);
  if (u == NULL)
    u = unit_of(roles[k].unit);
  r->column[c].factor = u->factor;
  r->column[c].shift = u->shift;
  return AMP_OK;
}

/* Every "theirs" of the options has to stand in the header. */
static amp_status columns_stand (const reader *r, amp_error *err) {
  for (size_t i = 0; i < r->opt->columns; i++) {
    char shown[100];
    const char *theirs = r->opt->theirs[i];
    if (amp_csv_find(r->csv, theirs) != (size_t)-1)
      continue;
    amp_text_visible(theirs, strlen(theirs), 24, shown, sizeof shown);
    amp_failf(err, AMP_EDATA, NULL, "there is no column '%s' (columns.%s)",
              shown, r->opt->ours[i]);
    return at_place(err, AMP_EDATA, 1, 0);
  }
  return AMP_OK;
}

static amp_status know_columns (reader *r, amp_error *err) {
  size_t n = amp_csv_columns(r->csv);
  amp_status st = columns_stand(r, err);
  if (st == AMP_OK && n > MOST_COLUMNS)
    st =
        amp_failf(err, AMP_EDATA, NULL, "over %d columns", (int)MOST_COLUMNS);
  for (int k = 0; k < ROLES; k++)
    r->at[k] = -1;
  for (size_t c = 0; c < n && st == AMP_OK; c++) {
    if ((st = know_column(r, c, err)) != AMP_OK || r->column[c].role < 0)
      continue;
    int *at = &r->at[r->column[c].role];
    if (*at >= 0) {
      amp_failf(err, AMP_EDATA, NULL,
                "columns %d and %zu both give %s: name what "
                "they are in columns, or leave one out with skip",
                *at + 1, c + 1, roles[r->column[c].role].key);
      return at_place(err, AMP_EDATA, 1, 0);
    }
    *at = (int)c;
  }
  if (st == AMP_OK && r->at[ROLE_ID] < 0) {
    st = amp_failf(err, AMP_EDATA, NULL,
                   "no column holds the id of the module: say columns = "
                   "{ id = \"theirs\" }");
    at_place(err, st, 1, 0);
  }
  return st;
}

/* ---- numbers ---- */

static bool is_gap (const char *s) {
  static const char *const word[] = {"",    "-",    "--",   "?",  "na", "n/a",
                                     "nan", "#n/a", "n.a.", "??", NULL};
  return amp_text_is_one_of(s, word);
}

/* Length of the number that 's' begins with; blanks and a unit may follow. */
static size_t number_length (const char *s) {
  size_t n = strspn(s, "0123456789.,+-");
  if (n > 0 && (s[n] == 'e' || s[n] == 'E')) {
    size_t more = strspn(s + n + 1, "0123456789+-");
    n += more > 0 ? 1 + more : 0;
  }
  return n;
}

/* Volts in a column of mV: no meter shows less than 10 mV of a group, or 1 V
** of a module, to a hundredth of a millivolt, but "3,299" is typed for 3299
** mV or 3.299 V. This program's own, no source. */
static bool is_volts_as_mv (const reader *r, int k, const char *s, size_t n,
                            double factor, double v) {
  double most = k == ROLE_OCV ? 1000.0 : 10.0;
  const char *mark = memchr(s, r->decimal, n);
  return roles[k].dim == DIM_VOLT && factor < 0.5 && mark != NULL &&
         (size_t)(mark - s) + 2 < n && v > 0.0 && v < most;
}

/* One field into *out (SI). A message in 'flaw' where it is no number. */
static void read_number (const reader *r, size_t row, int k, double *out,
                         char *flaw) {
  amp_error err = {0};
  int c = r->at[k];
  if (c < 0 || is_gap(amp_csv_field(r->csv, row, (size_t)c)))
    return;
  const char *s = amp_csv_field(r->csv, row, (size_t)c);
  double factor = r->column[c].factor, shift = r->column[c].shift, v = NAN;
  char shown[60];
  size_t n = number_length(s);
  bool under = false;
  amp_status st = amp_parse_double(s, n, r->decimal, &v, &under);
  words w = words_of(s + n);
  const struct unit *u = w.n == 1 ? unit_like(&w, roles[k].dim) : NULL;
  amp_text_visible(s, strlen(s), 14, shown, sizeof shown);
  if (st == AMP_ERANGE || under)
    amp_failf(&err, AMP_EDATA, NULL, "%s '%s' is out of range", roles[k].key,
              shown);
  else if (st != AMP_OK || (w.n > 0 && u == NULL))
    amp_failf(&err, AMP_EDATA, NULL,
              "%s '%s' is not a number with decimal '%s'", roles[k].key,
              shown, r->decimal == ',' ? "," : ".");
  else if (strpbrk(s + n, "?*!~<>+") != NULL) /* "25.7?": not to be trusted */
    amp_failf(&err, AMP_EDATA, NULL,
              "%s '%s' has a mark of doubt: read it again, or write why in "
              "the remark",
              roles[k].key, shown);
  if (u != NULL) {
    factor = u->factor;
    shift = u->shift;
  }
  if (err.text[0] == '\0' && is_volts_as_mv(r, k, s, n, factor, v))
    amp_failf(&err, AMP_EDATA, NULL,
              "%s makes no sense, check the cell '%s': %g mV, or %g V?",
              roles[k].key, shown, v * 1000.0, v);
  if (err.text[0] == '\0')
    *out = v * factor + shift;
  else if (flaw[0] == '\0')
    amp_text_visible(err.text, strlen(err.text), 100, flaw, AMP_READING_FLAW);
}

/* Which decimal mark the numbers use: each that reads with one alone. */
static amp_status find_decimal (reader *r, amp_error *err) {
  size_t rows = amp_csv_rows(r->csv), place[2][2] = {{0}};
  bool seen[2] = {false, false};
  r->decimal = r->opt->decimal != '\0' ? r->opt->decimal : '.';
  if (r->opt->decimal != '\0')
    return AMP_OK;
  for (size_t row = 0; row < rows; row++)
    for (int k = ROLE_MIN; k <= ROLE_OCV; k++) {
      if (r->at[k] < 0)
        continue;
      const char *s = amp_csv_field(r->csv, row, (size_t)r->at[k]);
      size_t n = number_length(s);
      double v;
      for (int m = 0; m < 2; m++)
        if (amp_parse_double(s, n, m ? ',' : '.', &v, NULL) == AMP_OK &&
            amp_parse_double(s, n, m ? '.' : ',', &v, NULL) != AMP_OK) {
          if (!seen[m])
            amp_csv_place(r->csv, row, (size_t)r->at[k], &place[m][0],
                          &place[m][1]);
          seen[m] = true;
        }
    }
  if (seen[0] && seen[1]) {
    int later = place[1][0] > place[0][0] ||
                (place[1][0] == place[0][0] && place[1][1] > place[0][1]);
    amp_failf(err, AMP_EDATA, NULL,
              "decimal points and decimal commas both stand here: mend the "
              "one or say decimal = ','");
    return at_place(err, AMP_EDATA, place[later][0], place[later][1]);
  }
  r->decimal = seen[1] ? ',' : '.';
  return AMP_OK;
}

/* ---- rows ---- */

static void take_text (const reader *r, size_t row, int k, char *out,
                       size_t size) {
  if (r->at[k] < 0)
    return;
  const char *s = amp_csv_field(r->csv, row, (size_t)r->at[k]);
  amp_text_visible(s, strlen(s), size, out, size);
}

static void take_remark (const reader *r, size_t row, amp_reading *out) {
  if (r->at[ROLE_REMARK] < 0)
    return;
  const char *s = amp_csv_field(r->csv, row, (size_t)r->at[ROLE_REMARK]);
  amp_reading_set_remark(out, s, strlen(s));
}

static void note_flaw (amp_reading *row, const amp_error *err) {
  if (row->flaw[0] == '\0')
    amp_text_visible(err->text, strlen(err->text), 100, row->flaw,
                     sizeof row->flaw);
}

static amp_reading read_row (const reader *r, size_t row) {
  amp_reading out = amp_reading_defaults();
  amp_error err = {0};
  char day[40] = "";
  amp_csv_place(r->csv, row, 0, &out.line, &(size_t){0});
  take_text(r, row, ROLE_ID, out.id, sizeof out.id);
  take_remark(r, row, &out);
  read_number(r, row, ROLE_OCV, &out.ocv, out.flaw);
  read_number(r, row, ROLE_MIN, &out.group_min, out.flaw);
  read_number(r, row, ROLE_MAX, &out.group_max, out.flaw);
  read_number(r, row, ROLE_R, &out.r10s, out.flaw);
  read_number(r, row, ROLE_AH, &out.charge, out.flaw);
  read_number(r, row, ROLE_TEMP, &out.temp, out.flaw);
  take_text(r, row, ROLE_DATE, day, sizeof day);
  if (!is_gap(day) && amp_parse_day(day, &out.day, &err) != AMP_OK)
    note_flaw(&out, &err);
  if (out.flaw[0] == '\0' && amp_reading_check(&out, &err) != AMP_OK)
    note_flaw(&out, &err);
  return out;
}

/* A spreadsheet's empty row: separators and nothing else. */
static bool is_empty_row (const reader *r, size_t row) {
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++)
    if (amp_csv_field(r->csv, row, c)[0] != '\0')
      return false;
  return true;
}

/* An id is kept whole: cut, two modules would be taken for one. */
static amp_status check_id (const reader *r, size_t row, amp_error *err) {
  char shown[4 * AMP_READING_ID], start[64];
  size_t line = 0, place = 0, n;
  if (r->at[ROLE_ID] < 0)
    return AMP_OK;
  const char *s = amp_csv_field(r->csv, row, (size_t)r->at[ROLE_ID]);
  n = amp_text_visible(s, strlen(s), sizeof shown, shown, sizeof shown);
  if (n < AMP_READING_ID)
    return AMP_OK;
  amp_csv_place(r->csv, row, (size_t)r->at[ROLE_ID], &line, &place);
  amp_text_visible(s, strlen(s), 24, start, sizeof start);
  amp_failf(err, AMP_EDATA, "id",
            "id '%s' is longer than %d bytes: ids are kept whole, shorten it "
            "(or move the rest into the remark)",
            start, (int)AMP_READING_ID - 1);
  return at_place(err, AMP_EDATA, line, place);
}

static amp_status read_rows (const amp_context *ctx, const reader *r,
                             amp_lot *lot, amp_error *err) {
  size_t rows = amp_csv_rows(r->csv), good = 0;
  for (size_t row = 0; row < rows; row++) {
    amp_error why = {0};
    if (is_empty_row(r, row))
      continue;
    amp_status st = check_id(r, row, err);
    if (st != AMP_OK)
      return st;
    amp_reading one = read_row(r, row);
    st = amp_lot_add(ctx, lot, &one, &why);
    if (st == AMP_EDATA) { /* the id stands twice */
      note_flaw(&one, &why);
      st = amp_lot_add(ctx, lot, &one, &why);
    }
    if (st != AMP_OK) {
      if (err != NULL)
        *err = why;
      return st;
    }
    good += one.flaw[0] == '\0';
  }
  if (good > 0)
    return AMP_OK;
  if (lot->n == 0) {
    amp_failf(err, AMP_EDATA, NULL, "no rows but empty ones");
    return at_place(err, AMP_EDATA, 2, 1);
  }
  amp_failf(err, AMP_EDATA, NULL, "no row can be used: %s",
            lot->reading[0].flaw);
  return at_place(err, AMP_EDATA, lot->reading[0].line, 1);
}

/* ---- columns set apart by blanks ---- */

typedef struct span {
  size_t from, to;
} span;

/* Tokens of s[0..n): split at runs of at least 'least' blanks. */
static int tokens (const char *s, size_t n, size_t least, span *out) {
  int count = 0;
  size_t i = 0;
  while (i < n && count < MOST_COLUMNS) {
    while (i < n && s[i] == ' ')
      i++;
    size_t from = i, blanks = 0;
    while (i < n && blanks < least) {
      blanks = s[i] == ' ' ? blanks + 1 : 0;
      i++;
    }
    size_t to = blanks > 0 ? i - blanks : i;
    if (to > from)
      out[count++] = (span){from, to};
  }
  return count;
}

/* How far two stretches of a line are apart; 0 where they overlap. */
static size_t apart (span a, span b) {
  if (a.to <= b.from)
    return b.from - a.to + 1;
  return b.to <= a.from ? a.from - b.to + 1 : 0;
}

/* The column, 'first' or right of it, that a token stands under. */
static int under (const span *head, int heads, int first, span token) {
  int best = first;
  for (int c = first; c < heads; c++)
    if (apart(head[c], token) < apart(head[best], token))
      best = c;
  return best;
}

/*
** One line with tabs in place of the blanks between columns, so that every
** character stays where it stood. Tokens go under the header they stand
** under; as many tokens as headers go in turn. False where there is no room
** for the tabs of the gaps.
*/
static bool set_tabs (char *s, size_t n, const span *head, int heads,
                      size_t least, int *tabs) {
  span t[MOST_COLUMNS];
  int count = tokens(s, n, least, t), last = 0;
  size_t free_from = 0;
  for (int i = 0; i < count && last < heads; i++) {
    int c = count >= heads ? i : under(head, heads, last, t[i]);
    for (; last <= c; last++) {
      if (last == 0)
        continue;
      if (free_from >= t[i].from)
        return false;
      s[free_from++] = '\t';
    }
    free_from = t[i].to;
  }
  *tabs = heads - last;
  return true;
}

/* Length of the line at s[0..n), its break not counted. */
static size_t line_length (const char *s, size_t n) {
  size_t i = 0;
  while (i < n && s[i] != '\n' && s[i] != '\r')
    i++;
  return i;
}

static bool is_blank_line (const char *s, size_t n) {
  for (size_t i = 0; i < n; i++)
    if (s[i] != ' ')
      return false;
  return true;
}

/* The header line of the text has none of , ; tab outside quotes. */
static bool is_aligned (const char *text, size_t n) {
  size_t at = 0, len = 0;
  if (n >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
    at = 3;
  for (; at < n; at += len + 1) {
    len = line_length(text + at, n - at);
    if (!is_blank_line(text + at, len))
      break;
  }
  if (at >= n)
    return false;
  for (size_t i = at; i < at + len; i++)
    if (text[i] == ',' || text[i] == ';' || text[i] == '\t')
      return false;
  for (size_t i = at; i < at + len; i++)
    if (text[i] == ' ' && i > at && text[i - 1] != ' ')
      return true;
  return false;
}

typedef struct aligned {
  char *text;
  size_t n, room;
  span head[MOST_COLUMNS];
  int heads;
  size_t least;
} aligned;

static amp_status append (const amp_context *ctx, aligned *a, const char *s,
                          size_t n, amp_error *err) {
  if (a->room - a->n < n) {
    size_t room = 2 * a->room + n + 256;
    char *more = amp_realloc(ctx, a->text, a->room, room);
    if (more == NULL)
      return amp_failf(err, AMP_ENOMEM, NULL, "no memory for this text");
    a->text = more;
    a->room = room;
  }
  if (n > 0)
    memcpy(a->text + a->n, s, n);
  a->n += n;
  return AMP_OK;
}

static amp_status align_line (const amp_context *ctx, aligned *a,
                              const char *s, size_t n, size_t line,
                              amp_error *err) {
  size_t from = a->n;
  int tabs = 0;
  amp_status st = append(ctx, a, s, n, err);
  if (st != AMP_OK || is_blank_line(s, n))
    return st;
  if (a->heads == 0) {
    a->least = 1;
    for (size_t i = 1; i + 1 < n; i++)
      if (s[i] == ' ' && s[i + 1] == ' ' && !is_blank_line(s, i) &&
          !is_blank_line(s + i, n - i))
        a->least = 2;
    a->heads = tokens(s, n, a->least, a->head);
  }
  if (!set_tabs(a->text + from, n, a->head, a->heads, a->least, &tabs)) {
    amp_failf(err, AMP_EDATA, NULL,
              "line %zu does not stand in the columns of the header", line);
    return at_place(err, AMP_EDATA, line, 1);
  }
  for (; tabs > 0 && st == AMP_OK; tabs--)
    st = append(ctx, a, "\t", 1, err);
  return st;
}

/* The text with tabs between its columns, in a->text. */
static amp_status align (const amp_context *ctx, const char *text, size_t n,
                         aligned *a, amp_error *err) {
  size_t line = 1;
  amp_status st = AMP_OK;
  if (n >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
    text += 3;
    n -= 3;
  }
  while (n > 0 && st == AMP_OK) {
    size_t len = line_length(text, n);
    size_t ends = len < n ? 1 : 0;
    if (ends && text[len] == '\r' && len + 1 < n && text[len + 1] == '\n')
      ends = 2;
    st = align_line(ctx, a, text, len, line++, err);
    if (st == AMP_OK)
      st = append(ctx, a, text + len, ends, err);
    text += len + ends;
    n -= len + ends;
  }
  return st;
}

/* ---- all of it ---- */

static amp_status read_csv (const amp_context *ctx, const char *text,
                            size_t n, char sep,
                            const amp_readings_options *opt, amp_lot *lot,
                            amp_error *err) {
  amp_csv_options o = {0};
  amp_csv *csv = NULL;
  o.sep = sep;
  o.max_rows = AMP_LOT_MOST;
  amp_status st = amp_csv_read(ctx, text, n, &o, &csv, err);
  if (st != AMP_OK)
    return st;
  reader r = {.csv = csv, .opt = opt};
  st = know_columns(&r, err);
  if (st == AMP_OK)
    st = find_decimal(&r, err);
  if (st == AMP_OK)
    st = read_rows(ctx, &r, lot, err);
  amp_csv_free(ctx, csv);
  if (st != AMP_OK)
    amp_lot_free(ctx, lot);
  return st;
}

amp_status amp_lot_read (const amp_context *ctx, const char *text, size_t n,
                         const amp_readings_options *opt, amp_lot *lot,
                         amp_error *err) {
  static const amp_readings_options none = {0};
  aligned a = {0};
  if (opt == NULL)
    opt = &none;
  if (opt->sep != ' ' && !(opt->sep == '\0' && is_aligned(text, n)))
    return read_csv(ctx, text, n, opt->sep, opt, lot, err);
  amp_status st = align(ctx, text, n, &a, err);
  if (st == AMP_OK)
    st = read_csv(ctx, a.text, a.n, '\t', opt, lot, err);
  amp_free(ctx, a.text, a.room);
  return st;
}

/* ---- dates ---- */

/* Days since 1970-01-01 of a date of the Gregorian calendar: counted from
** March, so that the leap day ends the year. */
static double civil_day (int y, int m, int d) {
  int years = m > 2 ? y : y - 1;
  int era = years / 400, of_era = years - era * 400;
  int of_year = (153 * (m > 2 ? m - 3 : m + 9) + 2) / 5 + d - 1;
  int days = of_era * 365 + of_era / 4 - of_era / 100 + of_year;
  return era * 146097.0 + days - 719468.0;
}

/* Whole number of 1 .. 4 digits at *s, which moves on; -1: none. */
static int digits (const char **s) {
  int v = 0, n = 0;
  for (; **s >= '0' && **s <= '9' && n < 4; n++)
    v = 10 * v + *(*s)++ - '0';
  return n > 0 ? v : -1;
}

static bool month_holds (int y, int m, int d) {
  static const int most[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  bool leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
  return y >= 1990 && y <= 2100 && m >= 1 && m <= 12 && d >= 1 &&
         d <= most[m - 1] && (m != 2 || d <= 28 || leap);
}

/* " 14:30" or "T14:30:05" as a share of a day; -1: something else. */
static double clock_share (const char *s) {
  double share = 0.0;
  if (*s == '\0')
    return 0.0;
  if (*s != ' ' && *s != 'T')
    return -1.0;
  while (*s == ' ' || *s == 'T')
    s++;
  static const double unit[] = {24.0, 1440.0, 86400.0};
  static const int most[] = {23, 59, 59};
  for (int i = 0; i < 3; i++) {
    int v = digits(&s);
    if (v < 0 || v > most[i])
      return -1.0;
    share += v / unit[i];
    if (*s != ':')
      break;
    s++;
  }
  return *s == '\0' ? share : -1.0;
}

amp_status amp_parse_day (const char *s, double *day, amp_error *err) {
  const char *p = s;
  char shown[100], mark;
  int a = digits(&p);
  mark = *p;
  int b = a >= 0 && mark != '\0' ? (p++, digits(&p)) : -1;
  int c = b >= 0 && *p == mark ? (p++, digits(&p)) : -1;
  double share = clock_share(p);
  int y = 0, m = 0, d = 0;
  amp_text_visible(s, strlen(s), 20, shown, sizeof shown);
  if (mark == '-' && a >= 1000)
    y = a, m = b, d = c;
  else if (mark == '.' || (mark == '/' && a > 12))
    y = c, m = b, d = a;
  else if (mark == '/' && b > 12)
    y = c, m = a, d = b;
  else if (mark == '/' && a >= 1 && b >= 1)
    return amp_failf(err, AMP_EDATA, "date",
                     "date '%s' may be read two ways: write 2026-11-25",
                     shown);
  if (c < 0 || share < 0.0 || !month_holds(y, m, d))
    return amp_failf(err, AMP_EDATA, "date",
                     "date '%s' is not known: write 2026-11-25", shown);
  *day = civil_day(y, m, d) + share;
  return AMP_OK;
}
