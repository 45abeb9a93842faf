/*
** bind_listing.c -- adverts read from a spreadsheet's text: one row, one
** advert. A damaged file and an unknown column are refused with their place;
** a row that makes no sense stays, with what is wrong with it.
**
** offers_raw(text, file, opts) gives {rows = {row, ..}, as_of = "..",
** newest = true or nil}. row: {line, module = amp.module{} or nil,
** text = {column = as typed}, v = {column = number}, price_is, tax, tests,
** claim_ah, claim_soh, money, same = number of the row it repeats, apart =
** "remark": the cells that differ from a row like it, refused = true or nil,
** findings = {{id, decides, column, a, b, text, place, words}, ..}}; the Lua
** half makes offers of them.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- the columns ---- */

typedef enum column_kind {
  TEXT,  /* kept as words */
  FIELD, /* read by the core */
  PRICE, /* its name says of what the price is */
  BOTH,  /* words that the core reads too */
  LEFT   /* named in opts.ignore */
} column_kind;

/* Our names of the columns: what each row may say of its advert or of its
** module. The first name of a key is the one in the errors. */
static const struct column {
  const char *name, *key;
  column_kind kind;
  int field; /* amp_listing_field, or amp_price */
} columns[] = {{"name", "name", TEXT, 0},
               {"offer", "name", TEXT, 0},
               {"listing", "name", TEXT, 0},
               {"advert", "name", TEXT, 0},
               {"id", "name", TEXT, 0},
               {"seller", "seller", TEXT, 0},
               {"module", "module", TEXT, 0},
               {"chemistry", "chemistry", TEXT, 0},
               {"cell", "chemistry", TEXT, 0},
               {"currency", "currency", TEXT, 0},
               {"remark", "remark", BOTH, AMP_LIST_REMARK},
               {"remarks", "remark", BOTH, AMP_LIST_REMARK},
               {"note", "remark", BOTH, AMP_LIST_REMARK},
               {"notes", "remark", BOTH, AMP_LIST_REMARK},
               {"dated", "dated", BOTH, AMP_LIST_SEEN},
               {"seen", "dated", BOTH, AMP_LIST_SEEN},
               {"date", "dated", BOTH, AMP_LIST_SEEN},
               {"count", "count", FIELD, AMP_LIST_COUNT},
               {"modules", "count", FIELD, AMP_LIST_COUNT},
               {"price", "price", FIELD, AMP_LIST_PRICE},
               {"price_is", "price_is", BOTH, AMP_LIST_PRICE_IS},
               {"price_for", "price_is", BOTH, AMP_LIST_PRICE_IS},
               {"price_each", "price_each", PRICE, AMP_PRICE_EACH},
               {"price_lot", "price_lot", PRICE, AMP_PRICE_LOT},
               {"price_per_kwh", "price_per_kwh", PRICE, AMP_PRICE_PER_KWH},
               {"premium_pct", "premium_pct", FIELD, AMP_LIST_PREMIUM},
               {"premium", "premium_pct", FIELD, AMP_LIST_PREMIUM},
               {"freight", "freight", FIELD, AMP_LIST_FREIGHT},
               {"shipping", "freight", FIELD, AMP_LIST_FREIGHT},
               {"hazmat", "hazmat", FIELD, AMP_LIST_HAZMAT},
               {"fees", "fees", FIELD, AMP_LIST_FEES},
               {"collection", "collection", FIELD, AMP_LIST_COLLECTION},
               {"customs_pct", "customs_pct", FIELD, AMP_LIST_CUSTOMS},
               {"tax", "tax", FIELD, AMP_LIST_TAX},
               {"tax_pct", "tax_pct", FIELD, AMP_LIST_TAX_RATE},
               {"claimed", "claimed", FIELD, AMP_LIST_CLAIM},
               {"claim", "claimed", FIELD, AMP_LIST_CLAIM},
               {"tested_ah", "tested_ah", FIELD, AMP_LIST_TESTS},
               {"tests", "tested_ah", FIELD, AMP_LIST_TESTS},
               {"soh_pct", "soh_pct", FIELD, AMP_LIST_SOH},
               {"soh", "soh_pct", FIELD, AMP_LIST_SOH},
               {"dud_pct", "dud_pct", FIELD, AMP_LIST_DUDS},
               {"duds", "dud_pct", FIELD, AMP_LIST_DUDS},
               {"bos", "bos", FIELD, AMP_LIST_BOS},
               {"bos_kg", "bos_kg", FIELD, AMP_LIST_BOS_MASS},
               {"capacity_ah", "capacity_ah", FIELD, AMP_LIST_CAPACITY},
               {"nominal_v", "nominal_v", FIELD, AMP_LIST_VOLTS},
               {"voltage_v", "nominal_v", FIELD, AMP_LIST_VOLTS},
               {"mass_kg", "mass_kg", FIELD, AMP_LIST_MASS},
               {"series", "series", FIELD, AMP_LIST_SERIES},
               {"parallel", "parallel", FIELD, AMP_LIST_PARALLEL},
               {"", "", LEFT, 0},
               {NULL, NULL, TEXT, 0}};

enum { NAMES = sizeof columns / sizeof *columns };

/* The chemistries as spreadsheets spell them, without case. */
static const struct {
  const char *theirs, *ours;
} spelled[] = {{"NMC", "nmc111"},
               {"LFP", "lfp"},
               {"NCA", "nca"},
               {"LMO", "lmo_blend"},
               {NULL, NULL}};

enum { COLUMNS_MOST = 256, ROWS_MOST = 20000 };

/* What is read of one row. */
typedef struct row {
  amp_listing l;
  const bind_module *module;   /* kept by the row's table; NULL: none */
  const char *name, *currency; /* in the file's text; NULL: none */
  char own_currency[12];       /* the same in capitals, a sign by its name */
  uint64_t digest[2];          /* of its cells; without remark and day */
} row;

typedef struct reading {
  lua_State *L;
  const amp_context *ctx;
  amp_csv *csv;
  row *rows;
  size_t n;
  const char *file;
  int opts, list; /* places in the stack */
  char decimal;
  int map[COLUMNS_MOST];
} reading;

static int reading_gc (lua_State *L) {
  reading *r = lua_touserdata(L, 1);
  if (r->csv != NULL)
    amp_csv_free(bind_lent(L), r->csv);
  r->csv = NULL;
  return 0;
}

static reading *new_reading (lua_State *L) {
  reading *r = lua_newuserdatauv(L, sizeof *r, 0);
  memset(r, 0, sizeof *r);
  r->L = L;
  r->ctx = bind_context(L);
  bind_finalizer(L, "ampstead.listing", reading_gc);
  return r;
}

static const char *push_place (const reading *r, size_t row, size_t col) {
  size_t line = 0, place = 0;
  amp_csv_place(r->csv, row, col, &line, &place);
  return lua_pushfstring(r->L, "%s:%d:%d", r->file, (int)line, (int)place);
}

/* ---- which column is which ---- */

/* "Tested Ah" and "tested_ah" are the same header. */
static bool same_header (const char *ours, const char *theirs) {
  for (; *ours != '\0' && *theirs != '\0'; ours++, theirs++) {
    char a = *ours, b = *theirs;
    if (b >= 'A' && b <= 'Z')
      b = (char)(b + ('a' - 'A'));
    if (b == ' ' || b == '-')
      b = '_';
    if (a != b)
      return false;
  }
  return *ours == *theirs;
}

/* Does opts.ignore name it? */
static bool ignored (const reading *r, const char *h) {
  lua_State *L = r->L;
  bool found = false;
  if (!lua_istable(L, r->opts) || !bind_get(L, r->opts, "ignore"))
    return false;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "offers: ignore must be a list of their columns");
  for (int i = 1; i <= (int)lua_rawlen(L, -1); i++) {
    lua_rawgeti(L, -1, i);
    const char *s =
        lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : NULL;
    found = found || (s != NULL && strcmp(s, h) == 0);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
  return found;
}

/* Our name of the column headed 'h': by opts.columns, or as it stands. */
static int which (const reading *r, const char *h) {
  lua_State *L = r->L;
  const char *ours = ignored(r, h) ? "" : h;
  if (lua_istable(L, r->opts) && bind_get(L, r->opts, "columns")) {
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
    if (same_header(columns[i].name, ours))
      return i;
  return -1;
}

static void check_options_columns (const reading *r) {
  const char *names[NAMES];
  for (int i = 0; i < NAMES; i++)
    names[i] = columns[i].name;
  if (lua_istable(r->L, r->opts) && bind_get(r->L, r->opts, "columns")) {
    if (lua_istable(r->L, -1))
      bind_options(r->L, lua_gettop(r->L), "offers: columns", names);
    lua_pop(r->L, 1);
  }
}

static void unknown_column (const reading *r, size_t c, const char *h) {
  const char *words[NAMES];
  char shown[200];
  for (int i = 0; i < NAMES; i++)
    words[i] = columns[i].name;
  amp_text_visible(h, strlen(h), 40, shown, sizeof shown);
  const char *near = bind_nearest(h, words);
  bind_error(r->L, "data",
             "%s:1: column %d, '%s', is not known%s%s%s; name it as columns "
             "= { ours = \"%s\" }, or in ignore",
             r->file, (int)c + 1, shown,
             near != NULL ? " (did you mean '" : "", near != NULL ? near : "",
             near != NULL ? "'?)" : "", shown);
}

static void map_columns (reading *r) {
  size_t n = amp_csv_columns(r->csv);
  if (n > COLUMNS_MOST)
    bind_error(r->L, "data", "%s:1: over %d columns", r->file, COLUMNS_MOST);
  check_options_columns(r);
  for (size_t c = 0; c < n; c++) {
    const char *h = amp_csv_header(r->csv, c);
    r->map[c] = which(r, h);
    if (r->map[c] < 0)
      unknown_column(r, c, h);
    for (size_t d = 0; d < c; d++)
      if (columns[r->map[c]].kind != LEFT &&
          strcmp(columns[r->map[d]].key, columns[r->map[c]].key) == 0)
        bind_error(r->L, "data", "%s:1: columns %d and %d both give %s",
                   r->file, (int)d + 1, (int)c + 1, columns[r->map[c]].key);
  }
}

/* ---- one row ---- */

/* "-", "n/a", "?": nothing was written. */
static bool blank (const char *s) {
  double v;
  return amp_number_written(s, strlen(s), '.', false, &v) ==
         AMP_WRITTEN_NOTHING;
}

static const char *ours_of (const char *chemistry) {
  for (int i = 0; spelled[i].theirs != NULL; i++) {
    const char *a = chemistry, *b = spelled[i].theirs;
    while (*a != '\0' && (*a & ~32) == *b) {
      a++;
      b++;
    }
    if (*a == '\0' && *b == '\0')
      return spelled[i].ours;
  }
  return chemistry;
}

/* The words of a column into text = {..} at the top; a name also as it was
** typed, whatever bytes it has. */
static void keep_text (const reading *r, const struct column *c,
                       const char *s) {
  char shown[1000];
  amp_text_visible(s, strlen(s), 200, shown, sizeof shown);
  bind_put_text(r->L, c->key, shown);
  if (strcmp(c->key, "name") == 0)
    bind_put_text(r->L, "typed", s);
}

/* "eur", "\xe2\x82\xac": as the rates are called; the table of texts is at
** the top. A dollar sign stays one. */
static void name_currency (const reading *r, row *w) {
  static const char *const signs[][2] = {
      {"\xe2\x82\xac", "EUR"}, {"euro", "EUR"}, {"\xc2\xa3", "GBP"}};
  if (w->currency == NULL || strlen(w->currency) >= sizeof w->own_currency)
    return;
  char *own = w->own_currency;
  for (size_t i = 0; i <= strlen(w->currency); i++) {
    char c = w->currency[i];
    own[i] = (char)(c >= 'a' && c <= 'z' ? c - ('a' - 'A') : c);
  }
  for (size_t i = 0; i < sizeof signs / sizeof *signs; i++)
    if (amp_cell_alike(w->currency, signs[i][0], 0))
      memcpy(own, signs[i][1], 4);
  if (strcmp(own, "$") == 0) { /* as if it stood beside the price */
    memcpy(w->l.money, "$", 2);
    w->currency = NULL;
  } else
    w->currency = own;
  bind_put_text(r->L, "currency", w->currency);
}

/* Field by field; the table of texts is at the top. */
static void take_fields (const reading *r, size_t i, row *w) {
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++) {
    const struct column *k = &columns[r->map[c]];
    const char *s = amp_csv_field(r->csv, i, c);
    if (blank(s) || k->kind == LEFT)
      continue;
    keep_text(r, k, s);
    if (strcmp(k->key, "name") == 0)
      w->name = s;
    if (strcmp(k->key, "currency") == 0)
      w->currency = s;
    if (k->kind == PRICE)
      amp_listing_take_price(&w->l, (amp_price)k->field, s, r->decimal);
    else if (k->kind != TEXT)
      amp_listing_take(&w->l, (amp_listing_field)k->field, s, r->decimal);
  }
}

/* The field of the row under 'key', or NULL. */
static const char *field_text (const reading *r, size_t i, const char *key) {
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++)
    if (strcmp(columns[r->map[c]].key, key) == 0) {
      const char *s = amp_csv_field(r->csv, i, c);
      return blank(s) ? NULL : s;
    }
  return NULL;
}

/* ---- the module of a row ---- */

/* A refusal in words of its own, into row.words at 'at'. */
static void say_refused (const reading *r, row *w, int at, const char *id) {
  amp_listing_find(&w->l, id, AMP_DECIDES_REFUSED, AMP_LIST_FIELDS, NAN, NAN);
  lua_setfield(r->L, at, "words"); /* the sentence at the top */
}

/* Groups in series, from the voltage that the row gives and the chemistry's
** own; 0 and a sentence at the top where they do not agree. */
static int series_of (const reading *r, const row *w,
                      const amp_chemistry *c) {
  double v = w->l.v[AMP_LIST_VOLTS];
  if (amp_given(w->l.v[AMP_LIST_SERIES]))
    return (int)w->l.v[AMP_LIST_SERIES];
  double n = floor(v / c->v_nominal + 0.5);
  if (n >= 1.0 && fabs(v / n - c->v_nominal) <= 0.05 * c->v_nominal)
    return (int)n;
  const char *shown = bind_push_number(r->L, v);
  lua_pushfstring(r->L, "%s V is no whole number of %s groups", shown,
                  c->name);
  lua_remove(r->L, -2);
  return 0;
}

/* Call core[name] with the table at the top; false: the sentence stands
** there, without the script's place. */
static bool construct (lua_State *L, const char *name) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.core");
  lua_getfield(L, -1, name);
  lua_remove(L, -2);
  lua_insert(L, -2);
  if (lua_pcall(L, 1, 1, 0) == LUA_OK)
    return true;
  const char *s = lua_tostring(L, -1), *colon;
  lua_Debug ar;
  for (int level = 0; s != NULL && lua_getstack(L, level, &ar); level++) {
    lua_getinfo(L, "Sl", &ar);
    size_t n = strlen(ar.short_src);
    if (strcmp(ar.what, "C") != 0 && strncmp(s, ar.short_src, n) == 0 &&
        (colon = strstr(s + n + 1, ": ")) != NULL) {
      lua_pushstring(L, colon + 2);
      lua_replace(L, -2);
      break;
    }
  }
  return false;
}

/* capacity_ah = amp.claimed(v) into the table at the top: a listing claims */
static void put_claimed (lua_State *L, double ah) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.core");
  lua_getfield(L, -1, "claimed");
  lua_pushnumber(L, ah);
  lua_call(L, 1, 1);
  lua_setfield(L, -3, "capacity_ah");
  lua_pop(L, 1);
}

/* Push the keys of a module that only the row knows; false: a sentence. */
static bool push_own_keys (const reading *r, size_t i, const row *w) {
  lua_State *L = r->L;
  const double *v = w->l.v;
  const char *chemistry = field_text(r, i, "chemistry");
  if (chemistry == NULL || !amp_given(v[AMP_LIST_CAPACITY]) ||
      !(amp_given(v[AMP_LIST_VOLTS]) || amp_given(v[AMP_LIST_SERIES]))) {
    lua_pushliteral(L, "a row needs module, or chemistry, capacity_ah and "
                       "voltage_v");
    return false;
  }
  const amp_chemistry *c = amp_chemistry_find(ours_of(chemistry));
  if (c == NULL) {
    char shown[200];
    amp_text_visible(chemistry, strlen(chemistry), 40, shown, sizeof shown);
    lua_pushfstring(L, "chemistry '%s' is not known (see amp.chemistries())",
                    shown);
    return false;
  }
  int series = series_of(r, w, c);
  if (series == 0)
    return false;
  lua_newtable(L);
  bind_put_text(L, "chemistry", c->name);
  lua_pushinteger(L, series);
  lua_setfield(L, -2, "series");
  if (amp_given(v[AMP_LIST_PARALLEL])) {
    lua_pushinteger(L, (lua_Integer)v[AMP_LIST_PARALLEL]);
    lua_setfield(L, -2, "parallel");
  }
  bind_put(L, "nominal_v", v[AMP_LIST_VOLTS]);
  bind_put(L, "mass_kg", v[AMP_LIST_MASS]);
  put_claimed(L, v[AMP_LIST_CAPACITY]);
  return true;
}

/* Push modules[name] of the table at the top, or else the one whose name
** differs in case and blanks alone; nil: none, or several. */
static void push_module (lua_State *L, const char *name) {
  int modules = lua_gettop(L), found = 0;
  lua_getfield(L, modules, name);
  if (!lua_isnil(L, -1))
    return;
  lua_pushnil(L);
  for (; lua_next(L, modules) != 0; lua_pop(L, 1))
    if (lua_type(L, -2) == LUA_TSTRING &&
        amp_cell_alike(lua_tostring(L, -2), name, 0) && found++ == 0) {
      lua_pushvalue(L, -1);
      lua_replace(L, modules + 1);
    }
  if (found > 1) {
    lua_pushnil(L);
    lua_replace(L, modules + 1);
  }
}

/* opts.modules[name] into row.module at 'at'. */
static void named_module (const reading *r, row *w, int at,
                          const char *name) {
  lua_State *L = r->L;
  int top = lua_gettop(L);
  if (lua_istable(L, r->opts) && bind_get(L, r->opts, "modules") &&
      lua_istable(L, -1)) {
    push_module(L, name);
    w->module = bind_test(L, -1, "module");
    if (w->module != NULL)
      lua_setfield(L, at, "module");
  }
  lua_settop(L, top);
  if (w->module != NULL)
    return;
  char shown[200];
  amp_text_visible(name, strlen(name), 40, shown, sizeof shown);
  lua_pushfstring(L, "module '%s' is not among opts.modules", shown);
  say_refused(r, w, at, "module_not_known");
}

static void own_module (const reading *r, size_t i, row *w, int at) {
  lua_State *L = r->L;
  static const amp_listing_field needs[] = {AMP_LIST_CAPACITY, AMP_LIST_VOLTS,
                                            AMP_LIST_SERIES};
  for (int k = 0; k < w->l.findings; k++)
    for (size_t j = 0; j < sizeof needs / sizeof *needs; j++)
      if (w->l.finding[k].field == needs[j])
        return; /* that says why */
  if (push_own_keys(r, i, w) && construct(L, "module")) {
    w->module = bind_test(L, -1, "module");
    lua_setfield(L, at, "module");
  } else
    say_refused(r, w, at, "module_not_known");
}

static amp_listing_module known_of (const bind_module *m) {
  amp_listing_module k = {NAN, NAN, NAN};
  if (m != NULL) {
    k.ah = m->m.capacity.value / 3600.0;
    k.v = amp_module_nominal_v(&m->m);
    k.kwh = amp_module_nameplate(&m->m) / 3.6e6;
  }
  return k;
}

static bool is_dollar (const char *name) {
  static const char *const known[] = {"USD", "CAD", "AUD", "NZD",
                                      "SGD", "HKD", "MXN"};
  for (size_t i = 0; i < sizeof known / sizeof *known; i++)
    if (amp_cell_alike(known[i], name, 0))
      return true;
  return false;
}

static bool is_priced (const amp_listing *l) {
  bool any = amp_given(l->v[AMP_LIST_PRICE]);
  for (int i = 0; i < 3; i++)
    any = any || amp_given(l->priced[i]);
  return any;
}

/* "140 each" and freight "90 GBP": the 140 may be of the list's currency, or
** pounds too. Asked, unless both are one. */
static void settle_lent_currency (row *w, const char *of_list) {
  amp_listing *l = &w->l;
  if (l->money[0] != '\0' && w->currency == NULL && !l->money_priced &&
      is_priced(l) &&
      (of_list == NULL || !amp_cell_alike(l->money, of_list, 0)))
    amp_listing_find(l, "currencies_mixed", AMP_DECIDES_REFUSED,
                     l->money_beside, 1.0, NAN);
}

/* The currency beside a sum, where the column or the call says one too. A
** dollar sign alone is that of many countries. */
static void settle_currency (const reading *r, row *w) {
  lua_State *L = r->L;
  int top = lua_gettop(L);
  const char *named = w->currency;
  bool sign = w->l.money[0] == '$';
  if (named == NULL && lua_istable(L, r->opts) &&
      bind_get(L, r->opts, "currency"))
    named = lua_tostring(L, -1);
  if (sign && named != NULL && is_dollar(named))
    memset(w->l.money, 0, sizeof w->l.money);
  else if (sign && w->currency == NULL) {
    amp_listing_find(&w->l, "dollar_of_which", AMP_DECIDES_REFUSED,
                     AMP_LIST_FIELDS, NAN, NAN);
    memset(w->l.money, 0, sizeof w->l.money); /* no rate to ask for besides */
  } else if (w->l.money[0] != '\0' && w->currency != NULL &&
             !amp_cell_alike(w->l.money, w->currency, 0))
    amp_listing_find(&w->l, "currencies_mixed", AMP_DECIDES_REFUSED,
                     AMP_LIST_FIELDS, NAN, NAN);
  settle_lent_currency(w, named);
  lua_settop(L, top);
}

/* A bare number under a header that does not say percent. */
static void look_at_duds (const reading *r, size_t i, row *w) {
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++) {
    double v = 0.0;
    const char *s = amp_csv_field(r->csv, i, c);
    if (strcmp(columns[r->map[c]].key, "dud_pct") == 0 &&
        strstr(amp_csv_header(r->csv, c), "pct") == NULL &&
        strchr(amp_csv_header(r->csv, c), '%') == NULL &&
        amp_number_written(s, strlen(s), r->decimal, false, &v) ==
            AMP_WRITTEN_NUMBER &&
        v > 0.0 && amp_given(w->l.v[AMP_LIST_DUDS]))
      amp_listing_find(&w->l, "duds_of_what", AMP_DECIDES_ENERGY,
                       AMP_LIST_DUDS, v, NAN);
  }
}

/* Push the table of row i. */
static void read_row (reading *r, size_t i) {
  lua_State *L = r->L;
  row *w = &r->rows[i];
  amp_listing_open(&w->l);
  lua_newtable(L);
  int at = lua_gettop(L);
  lua_newtable(L);
  take_fields(r, i, w);
  name_currency(r, w);
  lua_setfield(L, at, "text");
  settle_currency(r, w);
  look_at_duds(r, i, w);
  const char *name = field_text(r, i, "module");
  if (name != NULL)
    named_module(r, w, at, name);
  else
    own_module(r, i, w, at);
  amp_listing_module known = known_of(w->module);
  amp_listing_check(&w->l, &known);
  lua_settop(L, at);
}

/* ---- rows against each other ---- */

static bool same_text (const char *a, const char *b) {
  return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

/* What a remark that says so may excuse: itself, and another day. */
static bool excused (const struct column *k) {
  return k->field == AMP_LIST_REMARK || k->field == AMP_LIST_SEEN;
}

/* Does this column tell adverts apart? A name is only what the list calls
** it; 'again': both are one by what a remark says. */
static bool tells_apart (const struct column *k, bool again) {
  return strcmp(k->key, "name") != 0 &&
         !(again && k->kind == BOTH && excused(k));
}

/* A number for the cells of a row; rows of other numbers are not alike. */
static uint64_t row_digest (const reading *r, size_t i, bool again) {
  uint64_t h = 0;
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++)
    if (tells_apart(&columns[r->map[c]], again))
      h = h * 31u + amp_cell_digest(amp_csv_field(r->csv, i, c), r->decimal);
  return h;
}

static void take_digests (reading *r) {
  for (size_t i = 0; i < r->n; i++)
    for (int again = 0; again < 2; again++)
      r->rows[i].digest[again] = row_digest(r, i, again == 1);
}

static bool says_again (const reading *r, size_t i, size_t k) {
  return ((r->rows[i].l.says | r->rows[k].l.says) & AMP_SAYS_AGAIN) != 0;
}

/* The first column in which rows i and k differ, or the number of columns:
** they are one advert. */
static size_t differs_in (const reading *r, size_t i, size_t k) {
  bool again = says_again(r, i, k);
  size_t c = 0, n = amp_csv_columns(r->csv);
  while (c < n && (!tells_apart(&columns[r->map[c]], again) ||
                   amp_cell_alike(amp_csv_field(r->csv, i, c),
                                  amp_csv_field(r->csv, k, c), r->decimal)))
    c++;
  return c;
}

/* The row that row i repeats, or n: every cell alike. *like is the first
** whose numbers alone are, or n. */
static size_t repeats (const reading *r, size_t i, size_t *like) {
  const row *w = &r->rows[i];
  *like = r->n;
  for (size_t k = 0; k < i; k++) {
    const row *v = &r->rows[k];
    int again = says_again(r, i, k);
    bool whole = v->digest[again] == w->digest[again];
    if ((!whole && *like < r->n) || v->module != w->module ||
        w->module == NULL || !same_text(v->currency, w->currency) ||
        !amp_listing_alike(&v->l, &w->l))
      continue;
    if (whole && differs_in(r, i, k) == amp_csv_columns(r->csv))
      return k;
    *like = *like < r->n ? *like : k;
  }
  return r->n;
}

/* row.apart = "seen, remark": the headers of the cells that differ */
static void put_apart (const reading *r, size_t i, size_t k) {
  lua_State *L = r->L;
  char text[240] = "", shown[60];
  for (size_t c = 0; c < amp_csv_columns(r->csv); c++) {
    const char *h = amp_csv_header(r->csv, c);
    size_t used = strlen(text);
    if (!tells_apart(&columns[r->map[c]], false) ||
        amp_cell_alike(amp_csv_field(r->csv, i, c),
                       amp_csv_field(r->csv, k, c), r->decimal))
      continue;
    amp_text_visible(h, strlen(h), 20, shown, sizeof shown);
    if (used + strlen(shown) + 3 < sizeof text)
      snprintf(text + used, sizeof text - used, "%s%s", used ? ", " : "",
               shown);
  }
  bind_put_text(L, "apart", text);
}

/* What one of its currency is in opts.currency; NaN: not known. */
static double rate_of (const reading *r, const row *w) {
  lua_State *L = r->L;
  int top = lua_gettop(L);
  const char *theirs = w->currency != NULL     ? w->currency
                       : w->l.money[0] != '\0' ? w->l.money
                                               : NULL;
  double rate = NAN;
  if (theirs == NULL || !lua_istable(L, r->opts))
    return theirs == NULL ? 1.0 : NAN;
  if (bind_get(L, r->opts, "currency") &&
      same_text(lua_tostring(L, -1), theirs))
    rate = 1.0;
  else if (bind_get(L, r->opts, "rates") && lua_istable(L, -1)) {
    lua_getfield(L, -1, theirs);
    if (lua_type(L, -1) == LUA_TNUMBER)
      rate = lua_tonumber(L, -1);
  }
  lua_settop(L, top);
  return rate;
}

/* As stated, per kWh of nameplate, in one currency. */
static double price_per_kwh (const reading *r, const row *w) {
  const amp_listing *l = &w->l;
  double p = l->v[AMP_LIST_PRICE], n = l->v[AMP_LIST_COUNT];
  double kwh = known_of(w->module).kwh;
  if (!l->price_is_known || amp_listing_refused(l))
    return NAN;
  if (l->price_is != AMP_PRICE_PER_KWH)
    p /= l->price_is == AMP_PRICE_LOT ? n * kwh : kwh;
  return p * rate_of(r, w);
}

static void compare_prices (reading *r) {
  double *per = lua_newuserdatauv(r->L, r->n * sizeof *per + 1, 0);
  amp_listing *all = lua_newuserdatauv(r->L, r->n * sizeof *all + 1, 0);
  for (size_t i = 0; i < r->n; i++) {
    per[i] = price_per_kwh(r, &r->rows[i]);
    all[i] = r->rows[i].l;
  }
  amp_listings_compare_prices(all, per, r->n);
  for (size_t i = 0; i < r->n; i++)
    r->rows[i].l = all[i];
  lua_pop(r->L, 2);
}

/* opts.as_of, or the newest day in the list; NaN: none. */
static double as_of (const reading *r, bool *newest) {
  double day = NAN;
  *newest = true;
  if (lua_istable(r->L, r->opts) && bind_get(r->L, r->opts, "as_of")) {
    const char *s = lua_tostring(r->L, -1);
    if (s == NULL || amp_day_written(s, &day) != AMP_WRITTEN_NUMBER)
      bind_error(r->L, NULL, "offers: as_of must be a day, \"2026-07-01\"");
    lua_pop(r->L, 1);
    *newest = false;
    return day;
  }
  for (size_t i = 0; i < r->n; i++) {
    double v = r->rows[i].l.v[AMP_LIST_SEEN];
    if (amp_given(v) && !(day >= v))
      day = v;
  }
  return day;
}

/* Row i after those above it: the same again, or like one of them. */
static void find_again (reading *r, size_t i) {
  lua_State *L = r->L;
  amp_listing *l = &r->rows[i].l;
  size_t like, k = repeats(r, i, &like);
  lua_rawgeti(L, r->list, (lua_Integer)i + 1);
  if (k < r->n) {
    amp_listing_find(l, "listing_twice", AMP_DECIDES_REFUSED, AMP_LIST_FIELDS,
                     (double)k + 1, NAN);
    lua_pushinteger(L, (lua_Integer)k + 1);
    lua_setfield(L, -2, "same");
    bind_put_flag(L, "says_again", says_again(r, i, k));
  } else if (like < r->n) {
    amp_listing_find(l, "listing_alike", AMP_DECIDES_LITTLE, AMP_LIST_FIELDS,
                     (double)like + 1, NAN);
    put_apart(r, i, like);
  }
  lua_pop(L, 1);
}

static void judge_together (reading *r) {
  bool newest;
  double today = as_of(r, &newest);
  take_digests(r);
  for (size_t i = 0; i < r->n; i++) {
    find_again(r, i);
    if (!(rate_of(r, &r->rows[i]) > 0.0))
      amp_listing_find(&r->rows[i].l, "currency_without_rate",
                       AMP_DECIDES_NO_SUM, AMP_LIST_FIELDS, NAN, NAN);
    amp_listing_age(&r->rows[i].l, today);
  }
  compare_prices(r);
}

/* ---- what the Lua half gets ---- */

static const char *key_of (amp_listing_field field) {
  for (int i = 0; columns[i].name != NULL; i++)
    if ((columns[i].kind == FIELD || columns[i].kind == BOTH) &&
        columns[i].field == (int)field)
      return columns[i].key;
  return NULL;
}

/* The column of the file that gives a field, or none. */
static size_t column_of (const reading *r, amp_listing_field field) {
  size_t n = amp_csv_columns(r->csv);
  for (size_t c = 0; c < n; c++) {
    const struct column *k = &columns[r->map[c]];
    if (((k->kind == FIELD || k->kind == BOTH) && k->field == (int)field) ||
        (k->kind == PRICE && field == AMP_LIST_PRICE))
      return c;
  }
  return n;
}

static void push_finding (const reading *r, size_t i, const amp_doubt *f) {
  static const char *const decides[] = {"refused", "no_sum", "sum", "energy",
                                        "little"};
  lua_State *L = r->L;
  size_t c = column_of(r, f->field), n = amp_csv_columns(r->csv);
  lua_newtable(L);
  bind_put_text(L, "id", f->id);
  bind_put_text(L, "decides", decides[f->decides]);
  bind_put(L, "a", f->a);
  bind_put(L, "b", f->b);
  push_place(r, i, c < n ? c : 0);
  lua_setfield(L, -2, "place");
  if (c < n) {
    char shown[200];
    const char *s = amp_csv_field(r->csv, i, c);
    bind_put_text(L, "column", columns[r->map[c]].key);
    amp_text_visible(s, strlen(s), 40, shown, sizeof shown);
    bind_put_text(L, "text", shown);
  } else if (key_of(f->field) != NULL)
    bind_put_text(L, "column", key_of(f->field));
}

static void put_numbers (lua_State *L, const amp_listing *l) {
  lua_newtable(L);
  for (int i = 0; i < AMP_LIST_FIELDS; i++) {
    const char *key = key_of((amp_listing_field)i);
    if (key != NULL && i != AMP_LIST_COUNT)
      bind_put(L, key, l->v[i]);
  }
  if (amp_given(l->v[AMP_LIST_COUNT])) {
    lua_pushinteger(L, (lua_Integer)l->v[AMP_LIST_COUNT]);
    lua_setfield(L, -2, "count");
  }
  lua_setfield(L, -2, "v");
  lua_createtable(L, l->tests, 0);
  for (int i = 0; i < l->tests; i++) {
    lua_pushnumber(L, l->test[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "tests");
}

/* The table of row i is at the top: what was read of it is added. */
static void finish_row (const reading *r, size_t i) {
  static const char *const prices[] = {"price_lot", "price_each",
                                       "price_per_kwh"};
  static const char *const taxes[] = {NULL, "included", "excluded", "none"};
  lua_State *L = r->L;
  amp_listing *l = &r->rows[i].l;
  size_t line = 0, place = 0;
  amp_listing_close(l);
  amp_csv_place(r->csv, i, 0, &line, &place);
  bind_put(L, "line", (double)line);
  put_numbers(L, l);
  if (l->price_is_known)
    bind_put_text(L, "price_is", prices[l->price_is]);
  if (taxes[l->tax] != NULL)
    bind_put_text(L, "tax", taxes[l->tax]);
  if (l->money[0] != '\0')
    bind_put_text(L, "money", l->money);
  bind_put(L, "claim_ah", l->claim_ah);
  bind_put(L, "claim_soh", l->claim_soh);
  bind_put_flag(L, "refused", amp_listing_refused(l));
  lua_createtable(L, l->findings, 0);
  for (int k = 0; k < l->findings; k++) {
    push_finding(r, i, &l->finding[k]);
    lua_rawseti(L, -2, k + 1);
  }
  lua_setfield(L, -2, "findings");
}

static void read_options (reading *r) {
  static const char *const keys[] = {
      "modules", "columns", "sep",    "decimal", "currency",
      "rates",   "as_of",   "ignore", "ask",     NULL};
  bind_options(r->L, r->opts, "offers", keys);
  if (lua_istable(r->L, r->opts) && bind_get(r->L, r->opts, "ask")) {
    if (!lua_isboolean(r->L, -1))
      bind_error(r->L, NULL, "offers: ask must be true or false");
    lua_pop(r->L, 1);
  }
  if (lua_istable(r->L, r->opts) && bind_get(r->L, r->opts, "rates")) {
    bind_check_rates(r->L, "offers");
    lua_pop(r->L, 1);
  }
  r->decimal = bind_char(r->L, r->opts, "decimal", "offers");
}

/* offers_raw(text, file, opts) --> {rows, as_of} */
static int offers_raw (lua_State *L) {
  amp_csv_options o = {0};
  amp_error err = {0};
  size_t n;
  lua_settop(L, 3);
  luaL_checkstack(L, 60, NULL);
  const char *s = luaL_checklstring(L, 1, &n);
  reading *r = new_reading(L);
  r->file = bind_file_name(luaL_checkstring(L, 2));
  r->opts = 3;
  read_options(r);
  o.sep = bind_char(L, r->opts, "sep", "offers");
  o.decimal = r->decimal;
  o.max_rows = ROWS_MOST;
  if (amp_csv_read(r->ctx, s, n, &o, &r->csv, &err) != AMP_OK)
    return bind_bad_data(L, r->file, &err);
  map_columns(r);
  r->n = amp_csv_rows(r->csv);
  r->rows = lua_newuserdatauv(L, r->n * sizeof *r->rows, 0);
  memset(r->rows, 0, r->n * sizeof *r->rows);
  lua_createtable(L, (int)r->n, 0);
  r->list = lua_gettop(L);
  for (size_t i = 0; i < r->n; i++) {
    read_row(r, i);
    lua_rawseti(L, r->list, (lua_Integer)i + 1);
  }
  judge_together(r);
  for (size_t i = 0; i < r->n; i++) {
    lua_rawgeti(L, r->list, (lua_Integer)i + 1);
    finish_row(r, i);
    lua_settop(L, r->list);
  }
  return 1;
}

static const luaL_Reg functions[] = {{"offers_raw", offers_raw},
                                     {NULL, NULL}};

void bind_listing_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
