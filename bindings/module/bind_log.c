/*
** bind_log.c -- logged tests read from a tester's or a meter's text: columns
** against time, by any names, with gaps. What is damaged is refused with its
** place; what was mended is said.
**
** amp.log.csv(path, opts) amp.log.text(string, opts) --> log
** log.rows .hours .out_ah .in_ah ..; log:column("voltage_v") --> list;
** log:row(i) --> {time_s, current_a, ..}; log:at("voltage_v", t_s)
** core.log_facts(log) --> what print(log) is made from
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- the columns people have ---- */

enum { TIME = -1, ROLES = AMP_LOG_COLUMNS + 1, FILE_COLUMNS = 256 };

/* SI = theirs * factor + shift */
static const struct {
  const char *name;
  int role; /* TIME or an amp_log_column */
  double factor, shift;
  bool clock; /* "2024-05-01 13:05:07", "13:05:07" */
} columns[] = {
    {"time_s", TIME, 1.0, 0.0, false},
    {"time_min", TIME, 60.0, 0.0, false},
    {"time_h", TIME, 3600.0, 0.0, false},
    {"clock", TIME, 1.0, 0.0, true},
    {"current_a", AMP_LOG_CURRENT, 1.0, 0.0, false},
    {"current_ma", AMP_LOG_CURRENT, 1e-3, 0.0, false},
    {"charge_current_a", AMP_LOG_CURRENT, -1.0, 0.0, false},
    {"voltage_v", AMP_LOG_VOLTAGE, 1.0, 0.0, false},
    {"voltage_mv", AMP_LOG_VOLTAGE, 1e-3, 0.0, false},
    {"temp_c", AMP_LOG_TEMP, 1.0, 273.15, false},
    {"temp_f", AMP_LOG_TEMP, 5.0 / 9.0, 273.15 - 160.0 / 9.0, false},
    {"power_w", AMP_LOG_POWER, 1.0, 0.0, false},
};
enum { COLUMNS = sizeof columns / sizeof *columns };

static const bind_field log_fields[] = {
    F_TEXT("name", bind_log, name, "where it came from"),
    F_ELSE("text", BIND_LIST, "", "the file's text"),
    F_ELSE("columns", BIND_LIST, "",
           "{our name = theirs} of time_s time_min time_h clock current_a "
           "current_ma charge_current_a voltage_v voltage_mv temp_c temp_f "
           "power_w"),
    F_ELSE("sep", BIND_CHOICE, "",
           "what parts the columns; found unless given"),
    F_ELSE("decimal", BIND_CHOICE, "",
           "the decimal mark; a point unless given"),
    F_TEMPS_AS("temp", bind_log, place, "temp", -60.0, 150.0, 1,
               "temperature of the test, where no column gives it"),
    F_NUM("gap_s", bind_log, gap, 1.0, 0.001, 1e8, "s",
          "a longer interval is called a gap; 10 times the usual one and at "
          "least 120 unless given"),
    F_NUM("from_s", bind_log, from, 1.0, -1e12, 1e12, "s",
          "rows before this time are left out"),
    F_NUM("to_s", bind_log, to, 1.0, -1e12, 1e12, "s",
          "rows after this time are left out"),
    F_END};

static const bind_class log_class;

static void log_defaults (void *spec) {
  bind_log *s = spec;
  s->from = -INFINITY;
  s->to = INFINITY;
}

/* ---- what is read lives in a userdata until the log is made ---- */

typedef struct reading {
  const amp_context *ctx;
  amp_csv *csv;
  const char *who;
  double *v[ROLES]; /* v[0] time */
  size_t at[ROLES]; /* column of the file */
  int which[ROLES]; /* entry of 'columns'; -1: not there */
  size_t *line;     /* row of the file of each row kept */
  size_t n, kept;
} reading;

static int reading_gc (lua_State *L) {
  reading *r = lua_touserdata(L, 1);
  for (int k = 0; k < ROLES; k++)
    amp_free(r->ctx, r->v[k], r->n * sizeof(double));
  amp_free(r->ctx, r->line, r->n * sizeof(size_t));
  if (r->csv != NULL)
    amp_csv_free(r->ctx, r->csv);
  memset(r, 0, sizeof *r);
  return 0;
}

static reading *new_reading (lua_State *L, const char *who) {
  reading *r = lua_newuserdatauv(L, sizeof *r, 0);
  memset(r, 0, sizeof *r);
  r->ctx = bind_context(L);
  r->who = who;
  for (int k = 0; k < ROLES; k++)
    r->which[k] = -1;
  bind_finalizer(L, "ampstead.log_reading", reading_gc);
  return r;
}

static void read_csv (lua_State *L, int keys, reading *r) {
  amp_csv_options opt = {0};
  amp_error err = {0};
  size_t n;
  opt.sep = bind_char(L, keys, "sep", r->who);
  opt.decimal = bind_char(L, keys, "decimal", r->who);
  lua_getfield(L, keys, "text");
  const char *text = lua_tolstring(L, -1, &n);
  if (text == NULL)
    bind_error(L, NULL, "%s: text is wanted", r->who);
  if (amp_csv_read(r->ctx, text, n, &opt, &r->csv, &err) != AMP_OK)
    bind_bad_data(L, r->who, &err);
  lua_pop(L, 1);
  r->n = amp_csv_rows(r->csv);
}

/* ---- which column is which ---- */

static void check_names (lua_State *L, int columns_at, const char *who) {
  const char *words[COLUMNS + 1];
  for (int i = 0; i < COLUMNS; i++)
    words[i] = columns[i].name;
  words[COLUMNS] = NULL;
  if (!lua_istable(L, columns_at))
    bind_error(L, NULL, "%s: columns must be {our name = theirs} (got %s)",
               who, luaL_typename(L, columns_at));
  bind_options(L, columns_at, lua_pushfstring(L, "%s: columns", who), words);
  lua_pop(L, 1);
}

/* Nearest header of the file to 'word', or NULL. */
static const char *nearest_header (const amp_csv *csv, const char *word) {
  const char *words[FILE_COLUMNS + 1];
  size_t n = amp_csv_columns(csv), c = 0;
  for (; c < n && c < FILE_COLUMNS; c++)
    words[c] = amp_csv_header(csv, c);
  words[c] = NULL;
  return bind_nearest(word, words);
}

/* Push a header with control bytes made visible. */
static const char *push_shown (lua_State *L, const char *s) {
  char out[200];
  amp_text_visible(s, strlen(s), 40, out, sizeof out);
  return lua_pushstring(L, out);
}

static int no_such (lua_State *L, const reading *r, const char *theirs,
                    const char *ours) {
  const char *near = nearest_header(r->csv, theirs);
  const char *seen = push_shown(L, theirs);
  if (near == NULL)
    return bind_error(L, "data",
                      "%s:1: no column is named '%s', wanted for %s", r->who,
                      seen, ours);
  near = push_shown(L, near);
  return bind_error(L, "data",
                    "%s:1: no column is named '%s', wanted for %s (did you "
                    "mean '%s'?)",
                    r->who, seen, ours, near);
}

static void take (lua_State *L, reading *r, int i, size_t col) {
  int k = columns[i].role + 1;
  if (r->which[k] >= 0)
    bind_error(L, NULL, "%s: columns: give %s or %s, not both", r->who,
               columns[r->which[k]].name, columns[i].name);
  r->which[k] = i;
  r->at[k] = col;
}

/* By opts.columns, else by our own names as headers. */
static void find_columns (lua_State *L, int keys, reading *r) {
  bool named = bind_get(L, keys, "columns");
  int given = lua_gettop(L);
  if (named)
    check_names(L, given, r->who);
  for (int i = 0; named && i < COLUMNS; i++) {
    if (!bind_get(L, given, columns[i].name))
      continue;
    const char *theirs =
        lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : NULL;
    if (theirs == NULL)
      bind_error(L, NULL, "%s: columns: %s must be a header's text (got %s)",
                 r->who, columns[i].name, luaL_typename(L, -1));
    size_t c = amp_csv_find(r->csv, theirs);
    if (c == (size_t)-1)
      no_such(L, r, theirs, columns[i].name);
    take(L, r, i, c);
    lua_pop(L, 1);
  }
  for (int i = 0; i < COLUMNS; i++) {
    size_t c = amp_csv_find(r->csv, columns[i].name);
    if (c != (size_t)-1 && (!named || r->which[columns[i].role + 1] < 0))
      take(L, r, i, c);
  }
  lua_settop(L, named ? given - 1 : given);
}

/* A column that is wanted is not there: what the file has instead. */
static int wanted (lua_State *L, const reading *r, const char *ours,
                   const char *what) {
  const char *near = nearest_header(r->csv, ours);
  size_t n = amp_csv_columns(r->csv), most = n < 12 ? n : 12;
  lua_pushliteral(L, "");
  for (size_t c = 0; c < most; c++) {
    push_shown(L, amp_csv_header(r->csv, c));
    lua_pushfstring(L, "%s%s'%s'", lua_tostring(L, -2), c > 0 ? ", " : "",
                    lua_tostring(L, -1));
    lua_replace(L, -3);
    lua_pop(L, 1);
  }
  const char *has = lua_tostring(L, -1);
  const char *theirs = near != NULL ? push_shown(L, near) : "theirs";
  return bind_error(L, "data",
                    "%s:1: %s is wanted; the file has %s%s: say columns = { "
                    "%s = \"%s\" }",
                    r->who, what, has, n > most ? ", .." : "", ours, theirs);
}

static void check_enough (lua_State *L, const reading *r) {
  if (r->which[TIME + 1] < 0)
    wanted(L, r, "time_s", "a column time_s (or time_min, time_h, clock)");
  if (r->which[AMP_LOG_CURRENT + 1] < 0 && r->which[AMP_LOG_POWER + 1] < 0)
    wanted(L, r, "current_a",
           "a column current_a (or current_ma, charge_current_a, power_w)");
}

/* ---- the numbers ---- */

/* Two digits (or more where 'most' says so) at *s, a number below 'limit'. */
static bool digits (const char **s, int most, int limit, int *out) {
  int n = 0, v = 0;
  while (n < most && **s >= '0' && **s <= '9') {
    v = v * 10 + *(*s)++ - '0';
    n++;
  }
  *out = v;
  return n > 0 && v < limit;
}

/* Days since 1970-01-01 of the Gregorian calendar: count years from March,
** so that the leap day comes last (own derivation; tested by known dates). */
static double civil_days (int y, int m, int d) {
  int shifted = m > 2 ? m - 3 : m + 9;
  int year = m > 2 ? y : y - 1;
  return 365.0 * year + floor(year / 4.0) - floor(year / 100.0) +
         floor(year / 400.0) + (153 * shifted + 2) / 5 + d - 719469.0;
}

/* "2024-05-01 13:05:07.5", "2024-05-01T13:05", "13:05:07", "37:05:07" */
static bool read_clock (const char *s, char point, double *out, bool *dated) {
  int y = 0, m = 1, d = 1, h, min, sec = 0;
  const char *p = s;
  double part = 0.0, unit = 0.1;
  *dated = strlen(s) > 10 && s[4] == '-' && s[7] == '-';
  if (*dated) {
    if (!digits(&p, 4, 10000, &y) || *p++ != '-' || !digits(&p, 2, 13, &m) ||
        m == 0 || *p++ != '-' || !digits(&p, 2, 32, &d) || d == 0 ||
        (*p != ' ' && *p != 'T'))
      return false;
    p++;
  }
  if (!digits(&p, 6, *dated ? 24 : 1000000, &h) || *p++ != ':' ||
      !digits(&p, 2, 60, &min))
    return false;
  if (*p == ':') {
    p++;
    if (!digits(&p, 2, 61, &sec))
      return false;
    if (*p == '.' || *p == point)
      for (p++; *p >= '0' && *p <= '9'; p++, unit *= 0.1)
        part += unit * (*p - '0');
  }
  if (*p == 'Z' && p[1] == '\0')
    p++;
  *out = (*dated ? civil_days(y, m, d) : 0.0) * 86400.0 + h * 3600.0 +
         min * 60.0 + sec + part;
  return *p == '\0';
}

/* Seconds after the first row; a clock without date that goes back by more
** than half a day has passed midnight. */
static void read_clocks (lua_State *L, reading *r, char point) {
  double first = NAN, last = NAN, days = 0.0;
  for (size_t i = 0; i < r->n; i++) {
    const char *s = amp_csv_field(r->csv, i, r->at[0]);
    bool dated = false;
    double t = 0.0;
    if (s[0] == '\0') {
      r->v[0][i] = NAN;
      continue;
    }
    if (!read_clock(s, point != '\0' ? point : '.', &t, &dated))
      bind_bad_cell(L, r->csv, i, r->at[0], r->who,
                    "not a clock: wanted is 13:05:07 or 2024-05-01 13:05:07");
    if (!dated && t + days < last - 43200.0)
      days += 86400.0;
    t += dated ? 0.0 : days;
    if (!(first == first))
      first = t;
    last = t;
    r->v[0][i] = t - first;
  }
}

static void read_numbers (lua_State *L, reading *r, int k) {
  double factor = columns[r->which[k]].factor;
  double shift = columns[r->which[k]].shift;
  for (size_t i = 0; i < r->n; i++) {
    amp_error err = {0};
    bool given;
    double v;
    if (amp_csv_number(r->csv, i, r->at[k], &v, &given, &err) != AMP_OK)
      bind_bad_data(L, r->who, &err);
    r->v[k][i] = given ? v * factor + shift : NAN;
  }
}

static void read_columns (lua_State *L, int keys, reading *r) {
  char point = bind_char(L, keys, "decimal", r->who);
  for (int k = 0; k < ROLES; k++) {
    if (r->which[k] < 0)
      continue;
    r->v[k] = amp_alloc(r->ctx, r->n * sizeof(double));
    if (r->v[k] == NULL)
      bind_error(L, "memory", "%s: no memory for %d rows", r->who, (int)r->n);
    if (columns[r->which[k]].clock)
      read_clocks(L, r, point);
    else
      read_numbers(L, r, k);
  }
}

/* Keep the rows between from_s and to_s, and know where each stood. */
static void cut (lua_State *L, const bind_log *s, reading *r) {
  r->line = amp_alloc(r->ctx, r->n * sizeof(size_t));
  if (r->line == NULL)
    bind_error(L, "memory", "%s: no memory for %d rows", r->who, (int)r->n);
  for (size_t i = 0; i < r->n; i++) {
    double t = r->v[0][i];
    if (t < s->from || t > s->to)
      continue;
    for (int k = 0; k < ROLES; k++)
      if (r->v[k] != NULL)
        r->v[k][r->kept] = r->v[k][i];
    r->line[r->kept++] = i;
  }
  if (r->kept < 3 && (isfinite(s->from) || isfinite(s->to)))
    bind_error(L, "data", "%s: %d of %d rows lie between from_s and to_s",
               r->who, (int)r->kept, (int)r->n);
}

/* One temperature of the whole test, where no column gives it. */
static void constant_temp (lua_State *L, const bind_log *s, reading *r) {
  int k = AMP_LOG_TEMP + 1;
  if (!(s->place > 0.0))
    return;
  if (r->v[k] != NULL)
    bind_error(L, NULL,
               "%s: give temp_c or a column of temperatures, not both",
               r->who);
  r->v[k] = amp_alloc(r->ctx, r->n * sizeof(double));
  if (r->v[k] == NULL)
    bind_error(L, "memory", "%s: no memory for %d rows", r->who, (int)r->n);
  for (size_t i = 0; i < r->n; i++)
    r->v[k][i] = s->place;
}

/* ---- making ---- */

/* Headers that nothing was taken from, to say so. */
static void note_unused (const reading *r, bind_log *s) {
  size_t used = 0;
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++) {
    bool taken = false;
    char shown[80];
    for (int k = 0; k < ROLES; k++)
      taken = taken || (r->which[k] >= 0 && r->at[k] == c);
    if (taken)
      continue;
    const char *h = amp_csv_header(r->csv, c);
    amp_text_visible(h, strlen(h), 24, shown, sizeof shown);
    int n = snprintf(s->unused + used, sizeof s->unused - used, "%s%s",
                     used > 0 ? ", " : "", shown);
    if (n < 0 || (size_t)n >= sizeof s->unused - used) {
      snprintf(s->unused + used, sizeof s->unused - used, "%s", "");
      return;
    }
    used += (size_t)n;
  }
}

/* Where current rises by a step, voltage falls: else its sign is turned. */
static bool sign_turned (const amp_test_log *g) {
  const double *i = g->column[AMP_LOG_CURRENT];
  const double *v = g->column[AMP_LOG_VOLTAGE];
  double sum = 0.0;
  for (size_t k = 1; i != NULL && v != NULL && k < g->n; k++)
    sum += (i[k] - i[k - 1]) * (v[k] - v[k - 1]);
  return sum > 0.0;
}

/* The core counts rows; the reader counts lines. */
static void row_to_line (const reading *r, amp_error *err) {
  char *row = strstr(err->text, " in row ");
  if (err->line == 0 || err->line > r->kept)
    return;
  amp_csv_place(r->csv, r->line[err->line - 1], r->at[0], &err->line,
                &err->column);
  if (row != NULL)
    *row = '\0';
}

static void log_finish (lua_State *L, int keys, void *spec) {
  bind_log *s = spec;
  amp_error err = {0};
  const double *column[AMP_LOG_COLUMNS];
  const char *who = s->name[0] != '\0' ? s->name : "text";
  if (!(s->from < s->to))
    bind_error(L, NULL, "log: from_s must lie before to_s");
  reading *r = new_reading(L, who);
  read_csv(L, keys, r);
  find_columns(L, keys, r);
  check_enough(L, r);
  read_columns(L, keys, r);
  constant_temp(L, s, r);
  cut(L, s, r);
  for (int k = 0; k < AMP_LOG_COLUMNS; k++)
    column[k] = r->v[k + 1];
  s->ctx = r->ctx;
  if (amp_log_make(r->ctx, r->kept, r->v[0], column, s->gap, &s->log, &err) !=
      AMP_OK) {
    row_to_line(r, &err);
    bind_bad_data(L, who, &err);
  }
  note_unused(r, s);
  s->turned = sign_turned(&s->log);
}

static void log_free (lua_State *L, void *spec) {
  bind_log *s = spec;
  (void)L;
  if (s->ctx != NULL)
    amp_log_free(s->ctx, &s->log);
  memset(&s->log, 0, sizeof s->log);
  s->ctx = NULL;
}

/* ---- reading ---- */

static const struct {
  const char *name;
  int role;
  double factor, shift; /* theirs = SI * factor + shift */
} shown[] = {{"time_s", TIME, 1.0, 0.0},
             {"current_a", AMP_LOG_CURRENT, 1.0, 0.0},
             {"voltage_v", AMP_LOG_VOLTAGE, 1.0, 0.0},
             {"temp_c", AMP_LOG_TEMP, 1.0, -273.15},
             {"power_w", AMP_LOG_POWER, 1.0, 0.0}};
enum { SHOWN = sizeof shown / sizeof *shown };

static const double *values_of (const amp_test_log *g, int k) {
  return shown[k].role == TIME ? g->time : g->column[shown[k].role];
}

/* The column named at 'arg', which has to be there. */
static int check_column (lua_State *L, const bind_log *s, int arg,
                         const char *call) {
  const char *words[SHOWN + 1];
  const char *name =
      lua_type(L, arg) == LUA_TSTRING ? lua_tostring(L, arg) : NULL;
  for (int k = 0; k < SHOWN; k++)
    words[k] = shown[k].name;
  words[SHOWN] = NULL;
  if (name == NULL)
    return bind_error(L, NULL, "log: %s takes a column's name (got %s)", call,
                      luaL_typename(L, arg));
  for (int k = 0; k < SHOWN; k++) {
    if (strcmp(words[k], name) != 0)
      continue;
    if (values_of(&s->log, k) == NULL)
      return bind_error(L, NULL, "log: %s has no column %s",
                        s->name[0] != '\0' ? s->name : "this one", name);
    return k;
  }
  const char *near = bind_nearest(name, words);
  if (near != NULL)
    return bind_error(L, NULL, "log: no column '%s' (did you mean '%s'?)",
                      name, near);
  return bind_error(L, NULL, "log: no column '%s'", name);
}

/* log:column("voltage_v") --> list, a number a row */
static int log_column (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "column");
  int k = check_column(L, s, 2, "column");
  const double *v = values_of(&s->log, k);
  lua_createtable(L, (int)s->log.n, 0);
  for (size_t i = 0; i < s->log.n; i++) {
    lua_pushnumber(L, v[i] * shown[k].factor + shown[k].shift);
    lua_rawseti(L, -2, (lua_Integer)i + 1);
  }
  bind_plain(L);
  return 1;
}

/* log:row(i) --> {time_s = .., current_a = .., voltage_v = ..} or nil */
static int log_row (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "row");
  int whole = 0;
  lua_Integer i = lua_tointegerx(L, 2, &whole);
  if (!whole)
    return bind_error(L, NULL, "log: row takes a whole number (got %s)",
                      luaL_typename(L, 2));
  if (i < 1 || i > (lua_Integer)s->log.n)
    return 0;
  lua_createtable(L, 0, SHOWN);
  for (int k = 0; k < SHOWN; k++) {
    const double *v = values_of(&s->log, k);
    if (v == NULL)
      continue;
    lua_pushnumber(L, v[i - 1] * shown[k].factor + shown[k].shift);
    lua_setfield(L, -2, shown[k].name);
  }
  bind_plain(L);
  return 1;
}

/* log:at("voltage_v", t_s) --> number, between rows on a straight line */
static int log_at (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "at");
  int k = check_column(L, s, 2, "at");
  if (lua_type(L, 3) != LUA_TNUMBER || shown[k].role == TIME)
    return bind_error(L, NULL,
                      "log: at takes a column and a time in s, "
                      "log:at(\"voltage_v\", 3600)");
  double t = lua_tonumber(L, 3);
  if (!(fabs(t) <= 1e12))
    return bind_error(
        L, NULL, "log: at: the time must lie in -1e12 .. 1e12 s (got %s)",
        bind_push_number(L, t));
  double v = amp_log_at(&s->log, (amp_log_column)shown[k].role, t);
  lua_pushnumber(L, v * shown[k].factor + shown[k].shift);
  return 1;
}

/* ---- what it is ---- */

/* Ah drawn (sign 1) or put in (-1); of power alone NaN. */
static double moved (const amp_test_log *g, double sign) {
  const double *i = g->column[AMP_LOG_CURRENT];
  double sum = 0.0;
  for (size_t k = 1; i != NULL && k < g->n; k++)
    sum += fmax(sign * i[k], 0.0) * (g->time[k] - g->time[k - 1]);
  return i != NULL ? sum / 3600.0 : NAN;
}

/* key_min, key_max */
static void set_range (lua_State *L, const char *key, const double *v,
                       size_t n, double shift) {
  double lo = HUGE_VAL, hi = -HUGE_VAL;
  for (size_t i = 0; v != NULL && i < n; i++) {
    lo = fmin(lo, v[i]);
    hi = fmax(hi, v[i]);
  }
  if (v == NULL || n == 0)
    return;
  lua_pushfstring(L, "%s_min", key);
  lua_pushnumber(L, lo + shift);
  lua_rawset(L, -3);
  lua_pushfstring(L, "%s_max", key);
  lua_pushnumber(L, hi + shift);
  lua_rawset(L, -3);
}

static void set_steps (lua_State *L, const amp_test_log *g) {
  double lo = HUGE_VAL, hi = 0.0;
  for (size_t k = 1; k < g->n; k++) {
    lo = fmin(lo, g->time[k] - g->time[k - 1]);
    hi = fmax(hi, g->time[k] - g->time[k - 1]);
  }
  bind_put(L, "step_min_s", lo);
  bind_put(L, "step_max_s", hi);
}

/* log_facts(log) --> {rows hours step_min_s step_max_s out_ah in_ah
** current_min current_max voltage_min .. temp_min .. power_min ..
** dropped filled gaps longest_gap_s note unused turned} */
static int log_facts (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "log_facts");
  const amp_test_log *g = &s->log;
  lua_newtable(L);
  bind_put(L, "rows", (double)g->n);
  bind_put(L, "hours", (g->time[g->n - 1] - g->time[0]) / 3600.0);
  set_steps(L, g);
  bind_put(L, "out_ah", moved(g, 1.0));
  bind_put(L, "in_ah", moved(g, -1.0));
  set_range(L, "current", g->column[AMP_LOG_CURRENT], g->n, 0.0);
  set_range(L, "voltage", g->column[AMP_LOG_VOLTAGE], g->n, 0.0);
  set_range(L, "temp", g->column[AMP_LOG_TEMP], g->n, -273.15);
  set_range(L, "power", g->column[AMP_LOG_POWER], g->n, 0.0);
  bind_put(L, "dropped", (double)g->dropped);
  bind_put(L, "filled", (double)g->filled);
  bind_put(L, "gaps", (double)g->gaps);
  bind_put(L, "longest_gap_s", g->longest_gap);
  bind_put_text(L, "note", g->note);
  bind_put_text(L, "unused", s->unused);
  bind_put_flag(L, "turned", s->turned);
  return 1;
}

static int get_rows (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "rows");
  lua_pushinteger(L, (lua_Integer)s->log.n);
  return 1;
}

static int get_hours (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "hours");
  lua_pushnumber(L, (s->log.time[s->log.n - 1] - s->log.time[0]) / 3600.0);
  return 1;
}

/* Of a log of power alone nil. */
static int push_moved (lua_State *L, const char *key, double sign) {
  const bind_log *s = bind_check(L, 1, "log", key);
  double ah = moved(&s->log, sign);
  if (ah != ah)
    return 0;
  lua_pushnumber(L, ah);
  return 1;
}

static int get_out_ah (lua_State *L) {
  return push_moved(L, "out_ah", 1.0);
}

static int get_in_ah (lua_State *L) {
  return push_moved(L, "in_ah", -1.0);
}

static int get_gaps (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "gaps");
  lua_pushinteger(L, (lua_Integer)s->log.gaps);
  return 1;
}

static int get_note (lua_State *L) {
  const bind_log *s = bind_check(L, 1, "log", "note");
  lua_pushstring(L, s->log.note);
  return 1;
}

static const luaL_Reg log_methods[] = {{"get_rows", get_rows},
                                       {"get_hours", get_hours},
                                       {"get_out_ah", get_out_ah},
                                       {"get_in_ah", get_in_ah},
                                       {"get_gaps", get_gaps},
                                       {"get_note", get_note},
                                       {"column", log_column},
                                       {"row", log_row},
                                       {"at", log_at},
                                       {NULL, NULL}};

static const bind_class log_class = {
    "log",
    "log",
    "a logged test: columns against time, as a tester or a meter wrote them",
    log_fields,
    sizeof(bind_log),
    log_defaults,
    log_finish,
    NULL,
    log_free,
    log_methods};

/* The options and the text become the keys of the object. */
static int make_log (lua_State *L, bool file) {
  static const char *const keys[] = {"temp_c",  "temp_f", "columns", "sep",
                                     "decimal", "gap_s",  "from_s",  "to_s",
                                     "name",    NULL};
  if (lua_type(L, 1) != LUA_TSTRING)
    return bind_error(L, NULL, "log: %s is wanted (got %s)",
                      file ? "a file's name" : "the text",
                      luaL_typename(L, 1));
  lua_settop(L, 2);
  bind_options(L, 2, "log", keys);
  bind_text_keys(L, keys, file);
  return bind_new(L, &log_class, 3);
}

/* amp.log.csv("pulse.csv", { columns = { voltage_v = "U" } }) --> log */
static int log_csv (lua_State *L) {
  return make_log(L, true);
}

/* amp.log.text("time_s,current_a\n0,0\n..", opts) --> log */
static int log_text (lua_State *L) {
  return make_log(L, false);
}

static const luaL_Reg functions[] = {{"log_csv", log_csv},
                                     {"log_text", log_text},
                                     {"log_facts", log_facts},
                                     {NULL, NULL}};

void bind_log_open (lua_State *L) {
  bind_class_open(L, &log_class);
  luaL_setfuncs(L, functions, 0);
}
