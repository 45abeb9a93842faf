/*
** bind_listing.c -- offers read from a spreadsheet's text: one row, one
** offer. A damaged file, an unknown column or an impossible number is
** refused with its place; nothing is guessed.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Our names of the columns: what each row may say of its offer or of its
** module. 'text' columns are taken as words. */
static const struct {
  const char *name;
  const char *field; /* key of the offer or of the module */
  bool text, of_module;
} columns[] = {{"offer", "name", true, false},
               {"name", "name", true, false},
               {"module", "module", true, false},
               {"modules", "count", false, false},
               {"count", "count", false, false},
               {"cell", "chemistry", true, true},
               {"chemistry", "chemistry", true, true},
               {"capacity_ah", "capacity_ah", false, true},
               {"voltage_v", "nominal_v", false, true},
               {"nominal_v", "nominal_v", false, true},
               {"series", "series", false, true},
               {"parallel", "parallel", false, true},
               {"mass_kg", "mass_kg", false, true},
               {"price_each", "price_each", false, false},
               {"price_lot", "price_lot", false, false},
               {"price_per_kwh", "price_per_kwh", false, false},
               {"premium_pct", "premium_pct", false, false},
               {"freight", "freight", false, false},
               {"hazmat", "hazmat", false, false},
               {"fees", "fees", false, false},
               {"collection", "collection", false, false},
               {"customs_pct", "customs_pct", false, false},
               {"tax", "tax", true, false},
               {"tax_pct", "tax_pct", false, false},
               {"currency", "currency", true, false},
               {"dated", "dated", true, false},
               {"dud_pct", "dud_pct", false, false},
               {"tested_ah", "tested_ah", false, false},
               {"soh_pct", "soh_pct", false, false},
               {"bos", "bos", false, false},
               {"bos_kg", "bos_kg", false, false},
               {"remark", "remark", true, false},
               {NULL, NULL, false, false}};

/* The chemistries as spreadsheets spell them, without case. */
static const struct {
  const char *theirs, *ours;
} spelled[] = {{"NMC", "nmc111"},
               {"LFP", "lfp"},
               {"NCA", "nca"},
               {"LMO", "lmo_blend"},
               {NULL, NULL}};

typedef struct listing {
  const amp_context *ctx;
  amp_csv *csv;
} listing;

static int listing_gc (lua_State *L) {
  listing *l = lua_touserdata(L, 1);
  if (l->csv != NULL)
    amp_csv_free(l->ctx, l->csv);
  l->csv = NULL;
  return 0;
}

static listing *new_listing (lua_State *L) {
  listing *l = lua_newuserdatauv(L, sizeof *l, 0);
  l->ctx = bind_context(L);
  l->csv = NULL;
  if (luaL_newmetatable(L, "ampstead.listing")) {
    lua_pushcfunction(L, listing_gc);
    lua_setfield(L, -2, "__gc");
  }
  lua_setmetatable(L, -2);
  return l;
}

static const char *push_place (lua_State *L, const amp_csv *csv, size_t row,
                               size_t col, const char *file) {
  size_t line = 0, place = 0;
  amp_csv_place(csv, row, col, &line, &place);
  return lua_pushfstring(L, "%s:%d:%d", file, (int)line, (int)place);
}

/* ---- which column is which ---- */

enum { COLUMNS_MOST = 256, ROWS_MOST = 100000 };

/* Our name of the column headed 'h': by opts.columns, or as it stands. */
static int which (lua_State *L, int opts, const char *h) {
  const char *ours = h;
  if (lua_istable(L, opts) && bind_get(L, opts, "columns")) {
    if (!lua_istable(L, -1))
      bind_error(L, NULL, "offers: columns must be {our name = theirs}");
    for (int i = 0; columns[i].name != NULL; i++)
      if (bind_get(L, -1, columns[i].name)) {
        const char *theirs = lua_tostring(L, -1);
        if (theirs != NULL && strcmp(theirs, h) == 0)
          ours = columns[i].name;
        lua_pop(L, 1);
      }
    lua_pop(L, 1);
  }
  for (int i = 0; columns[i].name != NULL; i++)
    if (strcmp(columns[i].name, ours) == 0)
      return i;
  return -1;
}

static void map_columns (lua_State *L, int opts, const amp_csv *csv,
                         const char *file, int *map) {
  const char *words[sizeof columns / sizeof columns[0]];
  size_t n = amp_csv_columns(csv);
  if (n > COLUMNS_MOST)
    bind_error(L, "data", "%s:1: over %d columns", file, COLUMNS_MOST);
  for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
    words[i] = columns[i].name;
  for (size_t c = 0; c < n; c++) {
    char shown[200];
    const char *h = amp_csv_header(csv, c);
    map[c] = which(L, opts, h);
    for (size_t d = 0; d < c && map[c] >= 0; d++)
      if (map[d] >= 0 &&
          strcmp(columns[map[c]].field, columns[map[d]].field) == 0)
        bind_error(L, "data", "%s:1: columns %d and %d both give %s", file,
                   (int)d + 1, (int)c + 1, columns[map[c]].field);
    if (map[c] >= 0)
      continue;
    amp_text_visible(h, strlen(h), 40, shown, sizeof shown);
    const char *near = bind_nearest(h, words);
    bind_error(L, "data",
               "%s:1: column %d, '%s', is not known%s%s%s; name it "
               "as columns = { ours = \"%s\" }",
               file, (int)c + 1, shown,
               near != NULL ? " (did you mean '" : "",
               near != NULL ? near : "", near != NULL ? "'?)" : "", shown);
  }
}

/* ---- one row ---- */

/* Field (row, col) as the key of the offer (table at 'into'). */
static void read_number (lua_State *L, const amp_csv *csv, size_t row,
                         size_t col, const char *file, const char *key,
                         int into) {
  amp_error err = {0};
  double v;
  bool given;
  if (amp_csv_number(csv, row, col, &v, &given, &err) != AMP_OK)
    bind_bad_data(L, file, &err);
  if (!given)
    return;
  if (strcmp(key, "count") == 0 || strcmp(key, "series") == 0 ||
      strcmp(key, "parallel") == 0) {
    if (!(v >= 1.0 && v <= 100000.0 && v == floor(v)))
      bind_error(L, "data",
                 "%s: %s must be a whole number above 0 (got '%s')",
                 push_place(L, csv, row, col, file), key,
                 amp_csv_field(csv, row, col));
    lua_pushinteger(L, (lua_Integer)v);
  } else
    lua_pushnumber(L, v);
  lua_setfield(L, into, key);
}

static void read_word (lua_State *L, const char *s, const char *key,
                       int into) {
  if (s[0] == '\0')
    return;
  for (int i = 0; strcmp(key, "chemistry") == 0 && spelled[i].theirs; i++) {
    const char *a = s, *b = spelled[i].theirs;
    while (*a != '\0' && (*a & ~32) == *b) {
      a++;
      b++;
    }
    if (*a == '\0' && *b == '\0')
      s = spelled[i].ours;
  }
  lua_pushstring(L, s);
  lua_setfield(L, into, key);
}

/* Limits of the field tables, told with the place in the file. */
static void check_number (lua_State *L, const amp_csv *csv, size_t row,
                          size_t col, const char *file, const char *key,
                          int into) {
  static const struct {
    const char *key;
    double lo, hi;
    const char *unit;
  } limits[] = {{"capacity_ah", 0.1, 5000.0, " Ah"},
                {"tested_ah", 0.1, 5000.0, " Ah"},
                {"nominal_v", 0.5, 2000.0, " V"},
                {"soh_pct", 1e-9, 120.0, " %"},
                {"dud_pct", 0.0, 100.0, " %"},
                {"price_each", 1e-9, 1e9, ""},
                {"price_lot", 1e-9, 1e9, ""},
                {"price_per_kwh", 1e-9, 1e6, ""},
                {NULL, 0.0, 0.0, NULL}};
  if (!bind_get(L, into, key))
    return;
  double v = lua_tonumber(L, -1);
  for (int i = 0; limits[i].key != NULL; i++)
    if (strcmp(limits[i].key, key) == 0 &&
        !(v >= limits[i].lo && v <= limits[i].hi)) {
      bool above = limits[i].lo > 0.0 && limits[i].lo < 1e-3;
      const char *hi = bind_push_number(L, limits[i].hi);
      const char *lo = above ? "above 0" : bind_push_number(L, limits[i].lo);
      bind_error(L, "data", "%s: %s must lie %s%s%s%s%s (got %s)",
                 push_place(L, csv, row, col, file), key, above ? "" : "in ",
                 lo, above ? " and up to " : " .. ", hi, limits[i].unit,
                 amp_csv_field(csv, row, col));
    }
  lua_pop(L, 1);
}

/* Groups in series, from the voltage that the row gives and the chemistry's
** own; the reading is told as assumed by the module. */
static void fill_series (lua_State *L, int module, const char *where) {
  if (bind_get(L, module, "series")) {
    lua_pop(L, 1);
    return;
  }
  lua_getfield(L, module, "chemistry");
  lua_getfield(L, module, "nominal_v");
  const amp_chemistry *c =
      lua_isstring(L, -2) ? amp_chemistry_find(lua_tostring(L, -2)) : NULL;
  double v = lua_tonumber(L, -1);
  if (c == NULL && lua_isstring(L, -2))
    bind_error(L, "data",
               "%s: chemistry '%s' is not known (see "
               "amp.chemistries())",
               where, lua_tostring(L, -2));
  if (c == NULL || !(v > 0.0))
    bind_error(L, "data",
               "%s: a row needs module, or chemistry, capacity_ah "
               "and voltage_v",
               where);
  double n = floor(v / c->v_nominal + 0.5);
  if (n < 1.0 || fabs(v / n - c->v_nominal) > 0.05 * c->v_nominal) {
    const char *shown = bind_push_number(L, v);
    bind_error(L, "data", "%s: %s V is no whole number of %s groups", where,
               shown, c->name);
  }
  lua_pop(L, 2);
  lua_pushinteger(L, (lua_Integer)n);
  lua_setfield(L, module, "series");
}

/* Call core[name] with the table at the top; errors get the row's place. */
static void construct (lua_State *L, const char *name, const char *where) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.core");
  lua_getfield(L, -1, name);
  lua_remove(L, -2);
  lua_insert(L, -2);
  if (lua_pcall(L, 1, 1, 0) != LUA_OK) {
    const char *s = lua_tostring(L, -1), *colon;
    lua_Debug ar; /* drop the script's place: bind_error adds it again */
    for (int level = 0; s != NULL && lua_getstack(L, level, &ar); level++) {
      lua_getinfo(L, "Sl", &ar);
      size_t n = strlen(ar.short_src);
      if (strcmp(ar.what, "C") != 0 && strncmp(s, ar.short_src, n) == 0 &&
          (colon = strstr(s + n + 1, ": ")) != NULL) {
        s = colon + 2;
        break;
      }
    }
    bind_error(L, "data", "%s: %s", where, s != NULL ? s : "refused");
  }
}

/* The module of the row: by name from opts.modules, or as the row has it */
static void push_module (lua_State *L, int opts, int offer, int module,
                         const char *where) {
  if (bind_get(L, offer, "module")) {
    const char *name = lua_tostring(L, -1);
    bool found = false;
    if (lua_istable(L, opts) && bind_get(L, opts, "modules")) {
      lua_getfield(L, -1, name);
      lua_remove(L, -2);
      found = bind_test(L, -1, "module") != NULL;
    }
    if (!found)
      bind_error(L, "data", "%s: module '%s' is not among opts.modules",
                 where, name);
    lua_remove(L, -2);
    return;
  }
  fill_series(L, module, where);
  if (bind_get(L, module, "capacity_ah")) { /* a listing claims */
    lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.core");
    lua_getfield(L, -1, "claimed");
    lua_pushvalue(L, -3);
    lua_call(L, 1, 1);
    lua_setfield(L, module, "capacity_ah");
    lua_pop(L, 2);
  }
  lua_pushvalue(L, module);
  construct(L, "module", where);
}

/* Pushes the offer of one row. */
static void read_row (lua_State *L, const amp_csv *csv, size_t row, int opts,
                      const char *file, const int *map) {
  lua_newtable(L);
  int offer = lua_gettop(L);
  lua_newtable(L);
  int module = lua_gettop(L);
  for (size_t c = 0; c < amp_csv_columns(csv); c++) {
    const char *key = columns[map[c]].field;
    int into = columns[map[c]].of_module ? module : offer;
    if (columns[map[c]].text)
      read_word(L, amp_csv_field(csv, row, c), key, into);
    else {
      read_number(L, csv, row, c, file, key, into);
      check_number(L, csv, row, c, file, key, into);
    }
  }
  const char *where = push_place(L, csv, row, 0, file);
  push_module(L, opts, offer, module, where);
  lua_setfield(L, offer, "module");
  if (!bind_get(L, offer, "currency") && lua_istable(L, opts) &&
      bind_get(L, opts, "currency"))
    lua_setfield(L, offer, "currency");
  lua_settop(L, module + 1);
  lua_pushvalue(L, offer);
  construct(L, "offer", where);
  lua_replace(L, offer);
  lua_settop(L, offer);
}

/* The text is at 'text', the options at 'opts'. */
static int read_offers (lua_State *L, int text, int opts, const char *file) {
  static const char *const keys[] = {"modules", "columns",  "sep",
                                     "decimal", "currency", "rates",
                                     "as_of",   NULL};
  int map[COLUMNS_MOST];
  amp_csv_options o = {0};
  amp_error err = {0};
  size_t n;
  luaL_checkstack(L, 40, NULL);
  bind_options(L, opts, "offers", keys);
  const char *s = lua_tolstring(L, text, &n);
  listing *l = new_listing(L);
  o.sep = bind_char(L, opts, "sep", "offers");
  o.decimal = bind_char(L, opts, "decimal", "offers");
  o.max_rows = ROWS_MOST;
  if (amp_csv_read(l->ctx, s, n, &o, &l->csv, &err) != AMP_OK)
    return bind_bad_data(L, file, &err);
  map_columns(L, opts, l->csv, file, map);
  lua_newtable(L);
  int list = lua_gettop(L);
  for (size_t row = 0; row < amp_csv_rows(l->csv); row++) {
    read_row(L, l->csv, row, opts, file, map);
    lua_rawseti(L, list, (lua_Integer)row + 1);
    lua_settop(L, list);
  }
  return 1;
}

/* amp.offers.csv("listings.csv", { modules = {...}, decimal = "," }) */
static int offers_csv (lua_State *L) {
  const char *path = luaL_checkstring(L, 1);
  lua_settop(L, 2);
  bind_read_file(L, path);
  return read_offers(L, 3, 2, bind_file_name(path));
}

static int offers_text (lua_State *L) {
  luaL_checkstring(L, 1);
  lua_settop(L, 2);
  return read_offers(L, 1, 2, "text");
}

static const luaL_Reg functions[] = {
    {"offers_csv", offers_csv}, {"offers_text", offers_text}, {NULL, NULL}};

void bind_listing_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
