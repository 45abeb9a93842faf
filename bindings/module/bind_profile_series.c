/*
** bind_profile_series.c -- a duty from a file or a text, in equal steps: which
** column is which, and where what is wrong with it stands.
*/
#include "bind_profile_parts.h"
#include <string.h>

static const bind_field series_fields[] = {
    F_TEXT("name", bind_profile, name, "where it came from"),
    F_ELSE("text", BIND_LIST, "", "the file's text"),
    F_ELSE("columns", BIND_LIST, "",
           "{our name = theirs} of time_s load_w dc_load_w pv_w temp_c"),
    F_ELSE("sep", BIND_CHOICE, "",
           "what parts the columns; found unless "
           "given"),
    F_ELSE("decimal", BIND_CHOICE, "",
           "the decimal mark; a point unless "
           "given"),
    F_TEMPS_AS("temp", bind_profile, place, "temp", -50.0, 70.0, 1,
               "temperature of the place where no column gives it; 20 C "
               "unless given"),
    F_NUM("first_s", bind_profile, first, 1.0, 0.0, 86399.0, "s",
          "seconds after midnight of the first row; 0 unless given"),
    {"leap", BIND_FLAG, offsetof(bind_profile, leap), 1.0, 0.0, 0.0, 0.0, "",
     "leap", 0, "true: the year has a 29 February"},
    F_END};

static const char *const series_names[] = {"time_s", "load_w", "dc_load_w",
                                           "pv_w",   "temp_c", NULL};

static const bind_class series_class;

/* Which column of the file holds ours, or -1. */
static size_t column_of (lua_State *L, int keys, const amp_csv *csv,
                         const char *ours, const char *who) {
  size_t c = (size_t)-1;
  if (bind_get(L, keys, "columns")) {
    if (lua_istable(L, -1) && bind_get(L, -1, ours)) {
      const char *theirs = lua_tostring(L, -1);
      c = theirs != NULL ? amp_csv_find(csv, theirs) : (size_t)-1;
      if (c == (size_t)-1)
        bind_error(L, "data", "%s: no column is named '%s' (wanted for %s)",
                   who, theirs != NULL ? theirs : "?", ours);
      lua_pop(L, 2);
      return c;
    }
    lua_pop(L, 1);
  }
  return amp_csv_find(csv, ours);
}

/* What is read lives in a userdata until the object is made. */
typedef struct reading {
  const amp_context *ctx;
  amp_csv *csv;
  double *v[5];
  size_t n;
} reading;

static int reading_gc (lua_State *L) {
  reading *r = lua_touserdata(L, 1);
  for (int k = 0; k < 5; k++)
    amp_free(r->ctx, r->v[k], r->n * sizeof(double));
  if (r->csv != NULL)
    amp_csv_free(r->ctx, r->csv);
  memset(r, 0, sizeof *r);
  return 0;
}

static reading *new_reading (lua_State *L) {
  reading *r = lua_newuserdatauv(L, sizeof *r, 0);
  memset(r, 0, sizeof *r);
  r->ctx = bind_context(L);
  bind_finalizer(L, "ampstead.reading", reading_gc);
  return r;
}

static void read_column (lua_State *L, reading *r, int k, size_t col,
                         const char *who) {
  r->v[k] = amp_alloc(r->ctx, r->n * sizeof(double));
  if (r->v[k] == NULL)
    bind_error(L, "memory", "%s: no memory for %d rows", who, (int)r->n);
  for (size_t i = 0; i < r->n; i++) {
    amp_error err = {0};
    bool given;
    double v;
    if (amp_csv_number(r->csv, i, col, &v, &given, &err) != AMP_OK)
      bind_bad_data(L, who, &err);
    if (!given)
      bind_bad_cell(L, r->csv, i, col, who,
                    "a gap: every row needs its number");
    if (k == 0 && i > 0 && !(v > r->v[0][i - 1]))
      bind_bad_cell(L, r->csv, i, col, who,
                    v < r->v[0][i - 1] ? "time goes back here"
                                       : "time repeats here");
    if (k >= 1 && k <= 3 && v < 0.0)
      bind_bad_cell(L, r->csv, i, col, who,
                    "negative: loads and supply are both counted above 0");
    r->v[k][i] = k == 4 ? v + 273.15 : v;
  }
}

/* A header that nobody asked for is refused unless columns are named. */
static void refuse_headers (lua_State *L, int keys, const reading *r,
                            const char *who) {
  if (bind_get(L, keys, "columns")) {
    lua_pop(L, 1);
    return;
  }
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++) {
    const char *h = amp_csv_header(r->csv, c);
    int i = 0;
    while (series_names[i] != NULL && strcmp(series_names[i], h) != 0)
      i++;
    if (series_names[i] != NULL)
      continue;
    const char *near = bind_nearest(h, series_names);
    bind_error(L, "data",
               "%s:1: unknown column '%s'%s%s%s; say columns = { %s = "
               "\"%s\" }",
               who, h, near != NULL ? " (did you mean '" : "",
               near != NULL ? near : "", near != NULL ? "'?)" : "",
               near != NULL ? near : "load_w", h);
  }
}

static void read_series (lua_State *L, int keys, const char *who,
                         reading *r) {
  amp_csv_options opt = {0};
  amp_error err = {0};
  size_t n, col;
  opt.sep = bind_char(L, keys, "sep", who);
  opt.decimal = bind_char(L, keys, "decimal", who);
  lua_getfield(L, keys, "text");
  const char *text = lua_tolstring(L, -1, &n);
  if (text == NULL)
    bind_error(L, NULL, "%s: text is wanted", who);
  if (amp_csv_read(r->ctx, text, n, &opt, &r->csv, &err) != AMP_OK)
    bind_bad_data(L, who, &err);
  lua_pop(L, 1);
  r->n = amp_csv_rows(r->csv);
  refuse_headers(L, keys, r, who);
  for (int k = 0; k < 5; k++)
    if ((col = column_of(L, keys, r->csv, series_names[k], who)) !=
        (size_t)-1)
      read_column(L, r, k, col, who);
  if (r->v[0] == NULL ||
      (r->v[1] == NULL && r->v[2] == NULL && r->v[3] == NULL))
    bind_error(L, "data", "%s: %s is wanted", who,
               r->v[0] == NULL
                   ? "a column time_s"
                   : "one of the columns load_w, dc_load_w, pv_w");
}

static void constant_temp (lua_State *L, reading *r, double temp,
                           const char *who) {
  if (r->v[4] != NULL)
    return;
  r->v[4] = amp_alloc(r->ctx, r->n * sizeof(double));
  if (r->v[4] == NULL)
    bind_error(L, "memory", "%s: no memory for %d rows", who, (int)r->n);
  for (size_t i = 0; i < r->n; i++)
    r->v[4][i] = temp;
}

static void series_finish (lua_State *L, int keys, void *spec) {
  bind_profile *p = spec;
  amp_series s = {0};
  amp_error err = {0};
  const char *who = p->name[0] != '\0' ? p->name : "text";
  reading *r = new_reading(L);
  read_series(L, keys, who, r);
  p->temp_assumed = r->v[4] == NULL && !(p->place > 0.0);
  constant_temp(L, r, p->temp_assumed ? 293.15 : p->place, who);
  s.n = r->n;
  s.time = r->v[0];
  s.first = p->first;
  s.leap = p->leap;
  s.ac = r->v[1];
  s.dc = r->v[2];
  s.pv = r->v[3];
  s.temp = r->v[4];
  if (amp_duty_series(r->ctx, &s, &p->duty, &err) != AMP_OK) {
    if (err.line > 0) /* the core counts rows; the reader counts lines */
      amp_csv_place(r->csv, err.line - 1,
                    column_of(L, keys, r->csv, "time_s", who), &err.line,
                    &err.column);
    bind_bad_data(L, who, &err);
  }
}

static const bind_class series_class = {"profile",
                                        "series",
                                        "a duty read from a file or a text",
                                        series_fields,
                                        sizeof(bind_profile),
                                        NULL,
                                        series_finish,
                                        bind_profile_tell,
                                        bind_profile_free,
                                        bind_profile_methods};

/* The options and the text become the keys of the object. */
static int make_series (lua_State *L, bool file) {
  static const char *const keys[] = {"columns", "sep",    "decimal",
                                     "temp_c",  "temp_f", "first_s",
                                     "leap",    "name",   NULL};
  luaL_checkstring(L, 1);
  lua_settop(L, 2);
  bind_options(L, 2, "profile", keys);
  bind_text_keys(L, keys, file);
  return bind_new(L, &series_class, 3);
}

/* amp.profile.csv("load.csv", { columns = { load_w = "load_W" } }) */
static int profile_csv (lua_State *L) {
  return make_series(L, true);
}

static int profile_text (lua_State *L) {
  return make_series(L, false);
}

static const luaL_Reg functions[] = {{"profile_csv", profile_csv},
                                     {"profile_text", profile_text},
                                     {NULL, NULL}};

void bind_profile_series_open (lua_State *L) {
  bind_class_open(L, &series_class);
  luaL_setfuncs(L, functions, 0);
}
