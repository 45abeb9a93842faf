/*
** bind_table.c -- tables as scripts see them: rows and cells to read, new
** tables made by sorting and choosing, the written forms, and charts.
** Userdata that never change after they were made: a table (user value 1:
** facts that it gives besides its cells, or nil), a row (user value 1: its
** table) and a chart (user value 1: its bytes).
*/
#include "bind.h"
#include "report/plot.h"
#include "report/table.h"
#include "report/write.h"
#include <math.h>
#include <string.h>

#define TABLE "ampstead.table"
#define ROW "ampstead.row"
#define CHART "ampstead.chart"

typedef struct bind_table {
  amp_table *t;
} bind_table;

typedef struct bind_row {
  const amp_table *t; /* lives as long as user value 1 */
  int row;
} bind_row;

/* bytes that the core allocated, given back by the collector */
typedef struct bind_bytes {
  char *s;
  size_t n;
} bind_bytes;

/* ---- small helpers ---- */

static int no_memory (lua_State *L) {
  return luaL_error(L, "not enough memory");
}

static const amp_table *to_table (lua_State *L, int arg) {
  const bind_table *b = luaL_checkudata(L, arg, TABLE);
  if (!b->t) /* only after its finalizer was called by hand */
    bind_error(L, NULL, "table: this one is gone");
  return b->t;
}

static bind_table *new_table (lua_State *L) {
  bind_table *b = lua_newuserdatauv(L, sizeof *b, 1);
  b->t = NULL;
  luaL_setmetatable(L, TABLE);
  return b;
}

static int table_gc (lua_State *L) {
  bind_table *b = luaL_checkudata(L, 1, TABLE);
  amp_table_free(b->t);
  b->t = NULL;
  return 0;
}

/* Name the key that is not there, and the nearest one that is. */
static int no_column (lua_State *L, const amp_table *t, const char *key) {
  int n = amp_table_columns(t);
  const char **keys = lua_newuserdatauv(L, sizeof *keys * ((size_t)n + 1), 0);
  const char *near;
  for (int i = 0; i < n; i++)
    keys[i] = amp_table_key(t, i);
  keys[n] = NULL;
  near = bind_nearest(key, keys);
  if (near)
    return bind_error(L, NULL, "table: no column '%s' (did you mean '%s'?)",
                      key, near);
  return bind_error(L, NULL, "table: no column '%s'", key);
}

static int find_column (lua_State *L, const amp_table *t, const char *key) {
  int c = amp_table_find(t, key);
  return c >= 0 ? c : no_column(L, t, key);
}

/* The column that argument 'arg' names. */
static int check_column (lua_State *L, const amp_table *t, int arg,
                         const char *call) {
  if (lua_type(L, arg) != LUA_TSTRING)
    return bind_error(L, NULL, "table: %s takes a column's name (got %s)",
                      call, luaL_typename(L, arg));
  return find_column(L, t, lua_tostring(L, arg));
}

static void push_number (lua_State *L, double v) {
  if (v != v)
    lua_pushnil(L);
  else if (v == floor(v) && fabs(v) < 9007199254740992.0 /* 2^53 */)
    lua_pushinteger(L, (lua_Integer)v);
  else
    lua_pushnumber(L, v);
}

/* A cell as a script reads it: whole counts as integers, others as floats,
** true and false as they were given (words that hold 1 or 0 besides). */
static void push_value (lua_State *L, const amp_table *t, int row,
                        int column) {
  const amp_cell_data *c = amp_table_get(t, row, column);
  amp_column_kind kind = amp_table_kind(t, column);
  if (kind == AMP_COLUMN_TEXT && c && c->text && amp_given(c->value))
    lua_pushboolean(L, c->value != 0.0);
  else if (kind == AMP_COLUMN_TEXT && c && c->text)
    lua_pushstring(L, c->text);
  else if (kind == AMP_COLUMN_TEXT || !c || c->value != c->value)
    lua_pushnil(L);
  else if (kind == AMP_COLUMN_COUNT)
    push_number(L, c->value);
  else
    lua_pushnumber(L, c->value);
}

/* "years_p10": the column "years" and its end -1 or 1; 0: another key. */
static int spread_key (const char *key, char *stem, size_t size) {
  size_t n = strlen(key);
  int end = 0;
  if (n <= 4 || n - 4 >= size)
    return 0;
  if (strcmp(key + n - 4, "_p10") == 0)
    end = -1;
  else if (strcmp(key + n - 4, "_p90") == 0)
    end = 1;
  memcpy(stem, key, n - 4);
  stem[n - 4] = '\0';
  return end;
}

/* Push what row[key] reads; a fixed value is its own P10 and P90. */
static int push_key (lua_State *L, const amp_table *t, int row,
                     const char *key) {
  char stem[64];
  int column = amp_table_find(t, key), end;
  if (column >= 0) {
    push_value(L, t, row, column);
    return 1;
  }
  end = spread_key(key, stem, sizeof stem);
  column = end ? amp_table_find(t, stem) : -1;
  if (column < 0)
    return 0;
  {
    const amp_cell_data *c = amp_table_get(t, row, column);
    double v = end < 0 ? c->low : c->high;
    if (v != v)
      push_value(L, t, row, column);
    else
      lua_pushnumber(L, v);
  }
  return 1;
}

/* ---- building ---- */

static double field_number (lua_State *L, const char *key) {
  double v = AMP_NOT_GIVEN;
  if (lua_getfield(L, -1, key) == LUA_TNUMBER)
    v = lua_tonumber(L, -1);
  lua_pop(L, 1);
  return v;
}

static bool field_true (lua_State *L, const char *key) {
  bool v;
  lua_getfield(L, -1, key);
  v = lua_toboolean(L, -1);
  lua_pop(L, 1);
  return v;
}

static amp_basis basis_of_name (const char *name) {
  static const amp_basis all[] = {AMP_BASIS_MEASURED, AMP_BASIS_COMPUTED,
                                  AMP_BASIS_CLAIMED, AMP_BASIS_ASSUMED};
  for (size_t i = 0; name && i < sizeof all / sizeof *all; i++)
    if (strcmp(name, amp_basis_name(all[i])) == 0)
      return all[i];
  return AMP_BASIS_NONE;
}

/* The string field 'key' of the table on top, or NULL; it is left on the
** stack (one slot either way), so that it lives. */
static const char *keep_string (lua_State *L, int at, const char *key) {
  if (lua_getfield(L, at, key) == LUA_TSTRING)
    return lua_tostring(L, -1);
  return NULL;
}

/* The cell that stands on top of the stack: a number, a string, true or
** false, or {value, low, high, basis, beyond, high_beyond, text, why}. */
static bool set_cell (lua_State *L, amp_table *t, int row, int column) {
  amp_cell_data c = {AMP_NOT_GIVEN,  AMP_NOT_GIVEN, AMP_NOT_GIVEN,
                     AMP_BASIS_NONE, false,         false,
                     NULL,           NULL};
  int at = lua_gettop(L);
  bool fine;
  if (lua_type(L, at) == LUA_TNUMBER)
    c.value = lua_tonumber(L, at);
  else if (lua_type(L, at) == LUA_TSTRING)
    c.text = lua_tostring(L, at);
  else if (lua_type(L, at) == LUA_TBOOLEAN) {
    c.value = lua_toboolean(L, at);
    c.text = lua_toboolean(L, at) ? "yes" : "no";
  } else if (lua_type(L, at) == LUA_TTABLE) {
    c.value = field_number(L, "value");
    c.low = field_number(L, "low");
    c.high = field_number(L, "high");
    c.beyond = field_true(L, "beyond");
    c.high_beyond = field_true(L, "high_beyond");
    c.basis = basis_of_name(keep_string(L, at, "basis"));
    c.text = keep_string(L, at, "text");
    c.why = keep_string(L, at, "why");
  } else
    return true;
  fine = amp_table_set(t, row, column, &c);
  lua_settop(L, at);
  return fine;
}

static amp_column_kind kind_of_name (lua_State *L, const char *name) {
  static const char *const names[] = {"text",  "number", "money",
                                      "count", "share",  NULL};
  for (int i = 0; name && names[i]; i++)
    if (strcmp(name, names[i]) == 0)
      return (amp_column_kind)i;
  bind_error(L, NULL,
             "table: kind must be text, number, money, count or share "
             "(got %s)",
             name ? name : "nothing");
  return AMP_COLUMN_NUMBER;
}

/* The column described by the table on top: {key, label, unit, kind}. */
static void add_column (lua_State *L, amp_table *t) {
  int at = lua_gettop(L), c;
  const char *key, *label, *unit;
  amp_column_kind kind;
  if (!lua_istable(L, at))
    bind_error(L, NULL, "table: a column is a table with a key");
  key = keep_string(L, at, "key");
  label = keep_string(L, at, "label");
  unit = keep_string(L, at, "unit");
  kind = kind_of_name(L, keep_string(L, at, "kind"));
  if (!key || !*key)
    bind_error(L, NULL, "table: a column needs a key");
  if (amp_table_find(t, key) >= 0)
    bind_error(L, NULL, "table: the column '%s' stands twice", key);
  c = amp_table_add_column(t, key, label ? label : key, unit ? unit : "",
                           kind);
  if (c < 0)
    no_memory(L);
  lua_pushvalue(L, at);
  amp_table_hide_column(t, c, field_true(L, "hidden"));
  amp_table_fold_column(t, c, field_true(L, "folded"));
  lua_settop(L, at);
}

static void add_rows (lua_State *L, amp_table *t, int rows) {
  lua_Integer n = luaL_len(L, rows);
  int columns = amp_table_columns(t);
  for (lua_Integer i = 1; i <= n; i++) {
    int row = amp_table_add_row(t);
    if (row < 0)
      no_memory(L);
    if (lua_geti(L, rows, i) != LUA_TTABLE)
      bind_error(L, NULL, "table: row %d is not a table", (int)i);
    for (int c = 0; c < columns; c++) {
      lua_getfield(L, -1, amp_table_key(t, c));
      if (!set_cell(L, t, row, c))
        no_memory(L);
      lua_pop(L, 1);
    }
    lua_pop(L, 1);
  }
}

static void add_words (lua_State *L, amp_table *t, int spec) {
  if (lua_getfield(L, spec, "heads") == LUA_TTABLE)
    for (lua_Integer i = 1; lua_geti(L, -1, i) == LUA_TSTRING; i++) {
      if (!amp_table_add_head(t, lua_tostring(L, -1)))
        no_memory(L);
      lua_pop(L, 1);
    }
  lua_settop(L, spec + 1);
  if (lua_getfield(L, spec, "notes") == LUA_TTABLE)
    for (lua_Integer i = 1; lua_geti(L, -1, i) == LUA_TTABLE; i++) {
      lua_geti(L, -1, 1);
      lua_geti(L, -2, 2);
      if (!amp_table_add_note(t, luaL_optstring(L, -2, ""),
                              luaL_checkstring(L, -1)))
        no_memory(L);
      lua_pop(L, 3);
    }
  lua_settop(L, spec + 1);
}

/* Across and corner, read from the layout table at 'spec'. */
static void lay_out (lua_State *L, amp_table *t, int spec) {
  const char *corner;
  lua_getfield(L, spec, "across");
  amp_table_set_across(t, lua_toboolean(L, -1));
  corner = keep_string(L, spec, "corner");
  if (corner)
    amp_table_set_corner(t, corner);
  lua_pop(L, 2);
}

/*
** core.table_new{title, columns = {{key, label, unit, kind, hidden,
**   folded}, ..},
**   rows = {{[key] = cell}, ..}, heads, notes, across, corner, facts}
**   --> table
** A cell is a number, a string or a table, see set_cell; facts = {total = 3}
** reads as t.total, whatever rows and columns are chosen.
*/
static int table_new (lua_State *L) {
  bind_table *b;
  luaL_checktype(L, 1, LUA_TTABLE);
  lua_settop(L, 1);
  b = new_table(L); /* at 2 = spec + 1 */
  b->t = amp_table_new(bind_context(L), keep_string(L, 1, "title"));
  if (!b->t)
    return no_memory(L);
  lua_settop(L, 2);
  if (lua_getfield(L, 1, "columns") != LUA_TTABLE)
    return bind_error(L, NULL, "table: needs columns");
  for (lua_Integer i = 1; lua_geti(L, 3, i) != LUA_TNIL; i++) {
    add_column(L, b->t);
    lua_pop(L, 1);
  }
  lua_settop(L, 2);
  if (lua_getfield(L, 1, "rows") == LUA_TTABLE)
    add_rows(L, b->t, 3);
  lua_settop(L, 2);
  add_words(L, b->t, 1);
  lay_out(L, b->t, 1);
  lua_getfield(L, 1, "facts");
  lua_setiuservalue(L, 2, 1);
  return 1;
}

/* ---- reading ---- */

/* #t */
static int table_len (lua_State *L) {
  lua_pushinteger(L, amp_table_rows(to_table(L, 1)));
  return 1;
}

static int push_row (lua_State *L, int table, int row) {
  bind_row *r = lua_newuserdatauv(L, sizeof *r, 1);
  r->t = to_table(L, table);
  r->row = row;
  lua_pushvalue(L, table);
  lua_setiuservalue(L, -2, 1);
  luaL_setmetatable(L, ROW);
  return 1;
}

/* The fact 'key' of the table at 1, copied: it never changes. */
static bool push_fact (lua_State *L, const char *key) {
  bool there = lua_getiuservalue(L, 1, 1) == LUA_TTABLE &&
               lua_getfield(L, -1, key) != LUA_TNIL;
  if (there)
    bind_push_copy(L, -1);
  return there;
}

static void keep_facts (lua_State *L) {
  lua_getiuservalue(L, 1, 1);
  lua_setiuservalue(L, -2, 1);
}

/* t[i], t:method, t.fact, and of a table of one row t.current_a */
static int table_index (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  int whole = 0;
  lua_Integer i = lua_tointegerx(L, 2, &whole);
  const char *key;
  if (lua_type(L, 2) == LUA_TNUMBER) {
    if (!whole || i < 1 || i > amp_table_rows(t))
      return 0;
    return push_row(L, 1, (int)i - 1);
  }
  if (lua_type(L, 2) != LUA_TSTRING)
    return bind_error(L, NULL, "table: rows are t[1] .. t[#t] (got a %s)",
                      luaL_typename(L, 2));
  lua_pushvalue(L, 2);
  if (lua_rawget(L, lua_upvalueindex(1)) != LUA_TNIL)
    return 1;
  key = lua_tostring(L, 2);
  if (amp_table_rows(t) == 1 && push_key(L, t, 0, key))
    return 1;
  if (push_fact(L, key))
    return 1;
  if (amp_table_rows(t) != 1 && amp_table_find(t, key) >= 0)
    return bind_error(L, NULL, "table: '%s' of which row? t[1] .. t[%d]", key,
                      amp_table_rows(t));
  return no_column(L, t, key);
}

static bind_row *check_row (lua_State *L) {
  return luaL_checkudata(L, 1, ROW);
}

/* t[i].years, t[i].years_p10, t[i].years_p90 */
static int row_index (lua_State *L) {
  bind_row *r = check_row(L);
  const char *key;
  if (lua_type(L, 2) != LUA_TSTRING)
    return bind_error(L, NULL, "table: a row's cells have names (got a %s)",
                      luaL_typename(L, 2));
  key = lua_tostring(L, 2);
  return push_key(L, r->t, r->row, key) ? 1 : no_column(L, r->t, key);
}

static int row_tostring (lua_State *L) {
  bind_row *r = check_row(L);
  int shown = 0;
  luaL_Buffer b;
  luaL_buffinit(L, &b);
  for (int c = 0; c < amp_table_columns(r->t); c++) {
    push_value(L, r->t, r->row, c);
    if (!lua_isnil(L, -1)) {
      lua_pushfstring(L, "%s%s = %s", shown++ ? ", " : "",
                      amp_table_key(r->t, c), luaL_tolstring(L, -1, NULL));
      lua_replace(L, -3);
      lua_pop(L, 1);
      luaL_addvalue(&b);
    } else
      lua_pop(L, 1);
  }
  luaL_pushresult(&b);
  return 1;
}

static int fixed_newindex (lua_State *L) {
  return bind_error(L, NULL,
                    "table: tables never change; t:add(key, fn) gives a "
                    "new one");
}

/* t:cell(i, "years") --> {value, low, high, basis, text, why, beyond} */
static int table_cell (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  lua_Integer i = luaL_checkinteger(L, 2);
  int column = check_column(L, t, 3, "cell");
  const amp_cell_data *c;
  if (i < 1 || i > amp_table_rows(t))
    return bind_error(L, NULL, "table: row must lie in 1 .. %d (got %I)",
                      amp_table_rows(t), (LUAI_UACINT)i);
  c = amp_table_get(t, (int)i - 1, column);
  lua_createtable(L, 0, 8);
  push_value(L, t, (int)i - 1, column);
  lua_setfield(L, -2, "value");
  if (c->low == c->low)
    lua_pushnumber(L, c->low), lua_setfield(L, -2, "low");
  if (c->high == c->high)
    lua_pushnumber(L, c->high), lua_setfield(L, -2, "high");
  if (c->basis != AMP_BASIS_NONE)
    lua_pushstring(L, amp_basis_name(c->basis)), lua_setfield(L, -2, "basis");
  if (c->text)
    lua_pushstring(L, c->text), lua_setfield(L, -2, "text");
  if (c->why)
    lua_pushstring(L, c->why), lua_setfield(L, -2, "why");
  bind_put_flag(L, "beyond", c->beyond);
  bind_put_flag(L, "high_beyond", c->high_beyond);
  bind_plain(L);
  return 1;
}

/* t:keys() --> {"name", "layout", ..}, hidden ones too */
static int table_keys (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  lua_newtable(L);
  for (int c = 0; c < amp_table_columns(t); c++) {
    lua_pushstring(L, amp_table_key(t, c));
    lua_rawseti(L, -2, c + 1);
  }
  bind_plain(L);
  return 1;
}

/* t:heads() --> the sentences above the table */
static int table_heads (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  lua_newtable(L);
  for (int i = 0; i < amp_table_heads(t); i++) {
    lua_pushstring(L, amp_table_head(t, i));
    lua_rawseti(L, -2, i + 1);
  }
  bind_plain(L);
  return 1;
}

/* t:notes() --> {{label, sentence}, ..} */
static int table_notes (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  lua_newtable(L);
  for (int i = 0; i < amp_table_notes(t); i++) {
    const char *label = NULL, *line = amp_table_note(t, i, &label);
    lua_createtable(L, 2, 0);
    lua_pushstring(L, label ? label : "");
    lua_rawseti(L, -2, 1);
    lua_pushstring(L, line);
    lua_rawseti(L, -2, 2);
    bind_plain(L);
    lua_rawseti(L, -2, i + 1);
  }
  bind_plain(L);
  return 1;
}

/* ---- new tables from old ---- */

/* Room for n ints that the collector frees. */
static int *int_array (lua_State *L, int n) {
  return lua_newuserdatauv(L, sizeof(int) * ((size_t)n + 1), 0);
}

/* Push a table of chosen rows and columns of the table at index 1. */
static bind_table *push_select (lua_State *L, const int *row, int rows,
                                const int *column, int columns) {
  const amp_table *t = to_table(L, 1);
  bind_table *b = new_table(L);
  b->t = amp_table_select(t, row, rows, column, columns);
  if (!b->t)
    no_memory(L);
  keep_facts(L);
  return b;
}

/* t:sort(key [, "down"]): nothing last both ways, equal rows keep their
** order */
static int table_sort (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  int column = check_column(L, t, 2, "sort");
  const char *way = luaL_optstring(L, 3, "up");
  bool down = strcmp(way, "down") == 0;
  int *order = int_array(L, amp_table_rows(t));
  if (!down && strcmp(way, "up") != 0)
    return bind_error(
        L, NULL, "table: sort goes \"up\" or \"down\" (got \"%s\")", way);
  amp_table_order(t, column, down, order);
  push_select(L, order, amp_table_rows(t), NULL, 0);
  return 1;
}

/* t:top(n): the first n rows, or all there are */
static int table_top (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  int whole = 0, rows = amp_table_rows(t), *row;
  lua_Integer n = lua_tointegerx(L, 2, &whole);
  if (!whole || n < 0)
    return bind_error(L, NULL,
                      "table: top takes a whole number of rows (got %s)",
                      luaL_tolstring(L, 2, NULL));
  if (n < rows)
    rows = (int)n;
  row = int_array(L, rows);
  for (int i = 0; i < rows; i++)
    row[i] = i;
  push_select(L, row, rows, NULL, 0);
  return 1;
}

/* Does the row have the values that the table at index 2 wants? */
static bool row_fits (lua_State *L, const amp_table *t, int row) {
  bool fits = true;
  lua_pushnil(L);
  while (lua_next(L, 2)) {
    int column;
    if (lua_type(L, -2) != LUA_TSTRING)
      return bind_error(L, NULL, "table: where takes {column = value}");
    column = find_column(L, t, lua_tostring(L, -2));
    push_value(L, t, row, column);
    fits = fits && lua_compare(L, -1, -2, LUA_OPEQ);
    lua_pop(L, 2);
  }
  return fits;
}

/* Does the function at index 2 say yes to the row? */
static bool row_asked (lua_State *L, int row) {
  bool fits;
  lua_pushvalue(L, 2);
  push_row(L, 1, row);
  lua_call(L, 1, 1);
  fits = lua_toboolean(L, -1);
  lua_pop(L, 1);
  return fits;
}

/* t:where{strings = 4, temp_c = 10}, t:where(function (row) .. end) */
static int table_where (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  int n = amp_table_rows(t), rows = 0, *row = int_array(L, n);
  int type = lua_type(L, 2);
  if (type != LUA_TTABLE && type != LUA_TFUNCTION)
    return bind_error(L, NULL,
                      "table: where takes {column = value} or a function "
                      "of a row (got %s)",
                      luaL_typename(L, 2));
  for (int i = 0; i < n; i++)
    if (type == LUA_TTABLE ? row_fits(L, t, i) : row_asked(L, i))
      row[rows++] = i;
  push_select(L, row, rows, NULL, 0);
  return 1;
}

/* t:columns{"name", "years"}: these, in this order, shown */
static int table_columns (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  int n, rows = amp_table_rows(t), *column, *row;
  bind_table *b;
  if (!lua_istable(L, 2) || luaL_len(L, 2) < 1)
    return bind_error(L, NULL, "table: columns takes a list of names");
  n = (int)luaL_len(L, 2);
  column = int_array(L, n);
  for (int i = 0; i < n; i++) {
    lua_geti(L, 2, i + 1);
    column[i] = check_column(L, t, lua_gettop(L), "columns");
    lua_pop(L, 1);
    for (int j = 0; j < i; j++)
      if (column[j] == column[i])
        return bind_error(L, NULL, "table: columns names '%s' twice",
                          amp_table_key(t, column[i]));
  }
  row = int_array(L, rows);
  for (int i = 0; i < rows; i++)
    row[i] = i;
  b = push_select(L, row, rows, column, n);
  for (int i = 0; i < n; i++)
    amp_table_hide_column(b->t, i, false);
  return 1;
}

static void copy_columns (lua_State *L, const amp_table *t, amp_table *to) {
  for (int c = 0; c < amp_table_columns(t); c++) {
    if (amp_table_add_column(to, amp_table_key(t, c), amp_table_label(t, c),
                             amp_table_unit(t, c), amp_table_kind(t, c)) < 0)
      no_memory(L);
    amp_table_hide_column(to, c, amp_table_hidden(t, c));
    amp_table_fold_column(to, c, amp_table_folded(t, c));
  }
}

static bool copy_cells (const amp_table *t, amp_table *to, int row) {
  bool fine = amp_table_add_row(to) == row;
  for (int c = 0; fine && c < amp_table_columns(t); c++)
    fine = amp_table_set(to, row, c, amp_table_get(t, row, c));
  return fine;
}

static bool copy_words (const amp_table *t, amp_table *to) {
  bool fine = true;
  for (int i = 0; fine && i < amp_table_heads(t); i++)
    fine = amp_table_add_head(to, amp_table_head(t, i));
  for (int i = 0; fine && i < amp_table_notes(t); i++) {
    const char *label = NULL, *line = amp_table_note(t, i, &label);
    fine = amp_table_add_note(to, label, line);
  }
  amp_table_set_across(to, amp_table_across(t));
  amp_table_set_corner(to, amp_table_corner(t));
  return fine;
}

/* fn(row) of every row, in a list on top; "text" or "number" by the first
** value that is not nil */
static amp_column_kind ask_rows (lua_State *L, int rows) {
  int type = LUA_TNIL;
  lua_createtable(L, rows, 0);
  for (int i = 0; i < rows; i++) {
    int got;
    lua_pushvalue(L, 3);
    push_row(L, 1, i);
    lua_call(L, 1, 1);
    got = lua_type(L, -1);
    if (got != LUA_TNIL && got != LUA_TNUMBER && got != LUA_TSTRING &&
        got != LUA_TBOOLEAN)
      bind_error(L, NULL,
                 "table: add takes numbers or strings (row %d gave a %s)",
                 i + 1, luaL_typename(L, -1));
    if (type == LUA_TNIL)
      type = got;
    else if (got != LUA_TNIL && got != type)
      bind_error(L, NULL, "table: add got numbers and strings (row %d)",
                 i + 1);
    lua_rawseti(L, -2, i + 1);
  }
  return type == LUA_TSTRING || type == LUA_TBOOLEAN ? AMP_COLUMN_TEXT
                                                     : AMP_COLUMN_NUMBER;
}

/* t:add(key, fn [, {label, unit}]): a further column, fn(row) in each row */
static int table_add (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  const char *key = luaL_checkstring(L, 2), *label = key, *unit = "";
  int rows = amp_table_rows(t), columns = amp_table_columns(t);
  amp_column_kind kind;
  bind_table *b;
  luaL_checktype(L, 3, LUA_TFUNCTION);
  if (!*key || amp_table_find(t, key) >= 0)
    return bind_error(L, NULL, "table: the column '%s' stands already", key);
  lua_settop(L, 4);
  kind = ask_rows(L, rows); /* at 5 */
  if (lua_istable(L, 4)) {
    const char *s = keep_string(L, 4, "label");
    label = s ? s : key;
    s = keep_string(L, 4, "unit");
    unit = s ? s : "";
  }
  b = new_table(L);
  b->t = amp_table_new(bind_context(L), amp_table_title(t));
  if (!b->t)
    return no_memory(L);
  copy_columns(L, t, b->t);
  if (amp_table_add_column(b->t, key, label, unit, kind) < 0)
    return no_memory(L);
  for (int i = 0; i < rows; i++) {
    bool fine = copy_cells(t, b->t, i);
    lua_rawgeti(L, 5, i + 1);
    if (!fine || !set_cell(L, b->t, i, columns))
      return no_memory(L);
    lua_pop(L, 1);
  }
  if (!copy_words(t, b->t))
    return no_memory(L);
  keep_facts(L);
  return 1;
}

/* ---- writing ---- */

static int bytes_gc (lua_State *L) {
  bind_bytes *b = lua_touserdata(L, 1);
  if (b->s)
    amp_free(bind_lent(L), b->s, b->n + 1);
  b->s = NULL;
  return 0;
}

/* A box on the stack for bytes of the core; the collector empties it. */
static bind_bytes *new_bytes (lua_State *L) {
  bind_bytes *b = lua_newuserdatauv(L, sizeof *b, 0);
  b->s = NULL;
  b->n = 0;
  bind_finalizer(L, "ampstead.bytes", bytes_gc);
  return b;
}

/* The box on top becomes a Lua string, and its bytes are given back. */
static void bytes_to_string (lua_State *L, bind_bytes *b) {
  lua_pushlstring(L, b->s, b->n);
  amp_free(bind_lent(L), b->s, b->n + 1);
  b->s = NULL;
  lua_remove(L, -2);
}

static int push_written (lua_State *L, const amp_table *t, amp_format f) {
  amp_error err = {0};
  bind_bytes *b = new_bytes(L);
  if (amp_table_write(bind_context(L), t, f, &b->s, &b->n, &err) != AMP_OK)
    return bind_error(L, NULL, "table: %s",
                      err.text[0] ? err.text : amp_status_text(err.status));
  bytes_to_string(L, b);
  return 1;
}

static int table_text (lua_State *L) {
  return push_written(L, to_table(L, 1), AMP_FORMAT_TEXT);
}
static int table_markdown (lua_State *L) {
  return push_written(L, to_table(L, 1), AMP_FORMAT_MARKDOWN);
}
static int table_bbcode (lua_State *L) {
  return push_written(L, to_table(L, 1), AMP_FORMAT_BBCODE);
}
static int table_csv (lua_State *L) {
  return push_written(L, to_table(L, 1), AMP_FORMAT_CSV);
}
static int table_json (lua_State *L) {
  return push_written(L, to_table(L, 1), AMP_FORMAT_JSON);
}
static int table_html (lua_State *L) {
  return push_written(L, to_table(L, 1), AMP_FORMAT_HTML);
}

/* print(t): the text form without its last line end, which print adds */
static int table_tostring (lua_State *L) {
  size_t n;
  const char *s;
  push_written(L, to_table(L, 1), AMP_FORMAT_TEXT);
  s = lua_tolstring(L, -1, &n);
  if (n > 0 && s[n - 1] == '\n')
    lua_pushlstring(L, s, n - 1);
  return 1;
}

/* core.post_text(t) --> the text form without the line that begins with
** "rerun: ", and that line or nil: a post says it in its own words */
static int post_text (lua_State *L) {
  static const char begins[] = "rerun: ";
  const amp_table *t = to_table(L, 1);
  bind_table *copy = new_table(L);
  const char *label, *line;
  lua_pushnil(L);
  copy->t = amp_table_copy(t);
  if (!copy->t)
    return no_memory(L);
  for (int i = 0; i < amp_table_notes(copy->t); i++) {
    line = amp_table_note(copy->t, i, &label);
    if (*label || strncmp(line, begins, sizeof begins - 1) != 0)
      continue;
    lua_pushstring(L, line);
    lua_replace(L, -2);
    amp_table_drop_note(copy->t, i--);
  }
  push_written(L, copy->t, AMP_FORMAT_TEXT);
  lua_insert(L, -2);
  return 2;
}

/* t:post{ board = "markdown" }, made by the Lua half */
static int table_post (lua_State *L) {
  to_table(L, 1);
  lua_settop(L, 2);
  lua_getfield(L, lua_upvalueindex(2), "post");
  lua_insert(L, 1);
  lua_call(L, 2, 1);
  return 1;
}

/* core.write(path, bytes): the stack's top is the bytes */
static void host_write (lua_State *L, const char *path) {
  lua_getfield(L, lua_upvalueindex(2), "write");
  lua_pushstring(L, path);
  lua_pushvalue(L, -3);
  lua_call(L, 2, 0);
}

/* t:write("name.html"): the form its ending asks for; gives the table */
static int table_write (lua_State *L) {
  const amp_table *t = to_table(L, 1);
  const char *path = luaL_checkstring(L, 2);
  int format = amp_format_of_path(path);
  if (format < 0)
    return bind_error(L, NULL,
                      "table: write takes a name ending in .txt .md "
                      ".bbcode .csv .json .html (got \"%s\")",
                      path);
  push_written(L, t, (amp_format)format);
  host_write(L, path);
  lua_settop(L, 1);
  return 1;
}

/* ---- charts ---- */

enum { PLOT_LINES = 8 }; /* report/plot.h */

typedef struct plot_want {
  const amp_table *t;
  int x, y, by; /* columns; by -1: one line */
} plot_want;

static bool same_cell (const amp_table *t, int a, int b, int column) {
  const amp_cell_data *p = amp_table_get(t, a, column);
  const amp_cell_data *q = amp_table_get(t, b, column);
  if (amp_table_kind(t, column) == AMP_COLUMN_TEXT)
    return strcmp(p->text ? p->text : "", q->text ? q->text : "") == 0;
  return p->value == q->value ||
         (p->value != p->value && q->value != q->value);
}

/* "strings = 4", pushed */
static void push_place (lua_State *L, const amp_table *t, int row,
                        int column) {
  const amp_cell_data *c = amp_table_get(t, row, column);
  const char *s = c->text ? c->text : "nothing";
  if (amp_table_kind(t, column) != AMP_COLUMN_TEXT && c->value == c->value)
    s = bind_push_number(L, c->value);
  else
    lua_pushnil(L);
  lua_pushfstring(L, "%s = %s", amp_table_key(t, column), s);
  lua_remove(L, -2);
}

/* Two rows at one point: say which, and what tells them apart. */
static int refuse_point (lua_State *L, const plot_want *w, int a, int b) {
  int apart = -1;
  push_place(L, w->t, a, w->x);
  if (w->by >= 0) {
    lua_pushliteral(L, ", ");
    push_place(L, w->t, a, w->by);
    lua_concat(L, 3);
  }
  for (int c = 0; c < amp_table_columns(w->t) && apart < 0; c++)
    if (c != w->x && c != w->by && c != w->y && !same_cell(w->t, a, b, c))
      apart = c;
  if (apart < 0)
    return bind_error(L, NULL, "plot: several rows stand at %s",
                      lua_tostring(L, -1));
  return bind_error(L, NULL,
                    "plot: several rows stand at %s; they differ in '%s' "
                    "(choose with t:where{%s = ..})",
                    lua_tostring(L, -1), amp_table_key(w->t, apart),
                    amp_table_key(w->t, apart));
}

/* Lines in the order in which their 'by' comes first: first[] rows. */
static int find_lines (lua_State *L, const plot_want *w, int *first) {
  int lines = 0;
  for (int i = 0; i < amp_table_rows(w->t); i++) {
    bool known = false;
    for (int k = 0; k < lines; k++)
      known = known || w->by < 0 || same_cell(w->t, first[k], i, w->by);
    if (known)
      continue;
    if (lines == PLOT_LINES)
      bind_error(L, NULL,
                 "plot: a chart holds at most %d lines ('%s' has more "
                 "values)",
                 PLOT_LINES, amp_table_key(w->t, w->by));
    first[lines++] = i;
  }
  if (lines == 0)
    bind_error(L, NULL, "plot: the table has no rows");
  return lines;
}

/* The points of one line, by rising x; returns their number. 'order' holds
** the table's rows by x. */
static size_t fill_line (lua_State *L, const plot_want *w, int first,
                         const int *order, double *x, double *y) {
  size_t n = 0;
  int last = -1;
  for (int k = 0; k < amp_table_rows(w->t); k++) {
    int i = order[k];
    double at = amp_table_get(w->t, i, w->x)->value;
    if (at != at || (w->by >= 0 && !same_cell(w->t, first, i, w->by)))
      continue;
    if (last >= 0 && same_cell(w->t, last, i, w->x))
      refuse_point(L, w, last, i);
    x[n] = at;
    y[n++] = amp_table_get(w->t, i, w->y)->value;
    last = i;
  }
  return n;
}

/* "usable kWh" holds its unit already */
static const char *push_axis (lua_State *L, const amp_table *t, int column) {
  const char *unit = amp_table_unit(t, column);
  const char *label = amp_table_label(t, column);
  if (unit && *unit && !strstr(label, unit))
    return lua_pushfstring(L, "%s, %s", label, unit);
  return lua_pushstring(L, label);
}

/* The column that field 'key' of the options at index 2 names; numbers. */
static int plot_column (lua_State *L, const amp_table *t, const char *key,
                        bool numbers) {
  int column;
  const char *name = keep_string(L, 2, key);
  if (!name)
    return bind_error(L, NULL, "plot: needs %s = a column's name", key);
  column = find_column(L, t, name);
  if (numbers && amp_table_kind(t, column) == AMP_COLUMN_TEXT)
    return bind_error(L, NULL, "plot: %s = '%s' holds words, not numbers",
                      key, name);
  lua_pop(L, 1);
  return column;
}

static void check_plot_keys (lua_State *L) {
  static const char *const keys[] = {"x", "y", "by", "below", "title", NULL};
  lua_pushnil(L);
  while (lua_next(L, 2)) {
    int i = 0;
    const char *key =
        lua_type(L, -2) == LUA_TSTRING ? lua_tostring(L, -2) : "?";
    while (keys[i] && strcmp(keys[i], key) != 0)
      i++;
    if (!keys[i])
      bind_error(L, NULL, "plot: unknown key '%s' (x, y, by, below, title)",
                 key);
    lua_pop(L, 1);
  }
}

/* "drawn at the bound" where a value lies beyond, pushed; or nil */
static const char *push_plot_note (lua_State *L, const plot_want *w) {
  for (int i = 0; i < amp_table_rows(w->t); i++) {
    const amp_cell_data *c = amp_table_get(w->t, i, w->y);
    if (c->beyond)
      return lua_pushfstring(L,
                             "%s: what lies beyond the horizon is drawn "
                             "at it",
                             amp_table_key(w->t, w->y));
  }
  lua_pushnil(L);
  return NULL;
}

/* Fill 'line' (user memory on the stack), one for each value of 'by'. */
static size_t fill_lines (lua_State *L, const plot_want *w, amp_line *line) {
  int rows = amp_table_rows(w->t), first[PLOT_LINES];
  int lines = find_lines(L, w, first);
  size_t room = sizeof(double) * 2 * (size_t)rows * (size_t)lines;
  double *xy = lua_newuserdatauv(L, room + 1, 0);
  int *order = int_array(L, rows);
  amp_table_order(w->t, w->x, false, order);
  for (int k = 0; k < lines; k++) {
    double *x = xy + (size_t)2 * (size_t)rows * (size_t)k;
    line[k].x = x;
    line[k].y = x + rows;
    line[k].n = fill_line(L, w, first[k], order, x, x + rows);
    if (w->by >= 0)
      push_place(L, w->t, first[k], w->by);
    else
      lua_pushstring(L, amp_table_label(w->t, w->y));
    line[k].label = lua_tostring(L, -1);
  }
  return (size_t)lines;
}

/* y = "years", or y = {"measured_v", "simulated_v"}: how many */
static int plot_ys (lua_State *L, const amp_table *t, int *y) {
  int n = 0;
  if (lua_getfield(L, 2, "y") != LUA_TTABLE) {
    lua_pop(L, 1);
    y[0] = plot_column(L, t, "y", true);
    return 1;
  }
  for (; lua_geti(L, -1, n + 1) != LUA_TNIL; n++) {
    if (n == PLOT_LINES - 1 || lua_type(L, -1) != LUA_TSTRING)
      bind_error(L, NULL, "plot: y holds 1 .. %d names of columns",
                 PLOT_LINES - 1);
    y[n] = find_column(L, t, lua_tostring(L, -1));
    if (amp_table_kind(t, y[n]) == AMP_COLUMN_TEXT)
      bind_error(L, NULL, "plot: y = '%s' holds words, not numbers",
                 amp_table_key(t, y[n]));
    lua_pop(L, 1);
  }
  if (n == 0)
    bind_error(L, NULL, "plot: y holds 1 .. %d names of columns",
               PLOT_LINES - 1);
  lua_pop(L, 2);
  return n;
}

/* The lines of the panel or panels; *line holds PLOT_LINES. */
static void fill_plot (lua_State *L, plot_want *w, const int *y, int ys,
                       amp_line *line, amp_plot *p) {
  if (lua_getfield(L, 2, "by") != LUA_TNIL)
    w->by = plot_column(L, w->t, "by", false);
  if (w->by >= 0 && ys > 1)
    bind_error(L, NULL, "plot: by wants one column under y");
  for (int k = 0; k < ys; k++) {
    w->y = y[k];
    p->lines += fill_lines(L, w, &line[k]);
  }
  p->line = line;
  if (lua_getfield(L, 2, "below") == LUA_TNIL)
    return;
  if (w->by >= 0)
    bind_error(L, NULL, "plot: give by or below, not both");
  w->y = plot_column(L, w->t, "below", true);
  p->below = &line[ys];
  p->below_lines = fill_lines(L, w, &line[ys]);
  line[ys].label = "";
  p->below_label = push_axis(L, w->t, w->y);
}

typedef amp_status drawing (const amp_context *ctx, const amp_plot *p,
                            char **out, size_t *n, amp_error *err);

/* The chart as a string, SVG or text, at the top. */
static void push_drawn (lua_State *L, const amp_plot *p, drawing *draw) {
  amp_error err = {0};
  bind_bytes *b = new_bytes(L);
  if (draw(bind_context(L), p, &b->s, &b->n, &err) != AMP_OK)
    bind_error(L, NULL, "plot: %s",
               err.text[0] ? err.text : amp_status_text(err.status));
  bytes_to_string(L, b);
}

/* t:plot{x = "soc_max_pct", y = "years", by = "temp_c"} --> chart */
static int table_plot (lua_State *L) {
  plot_want w;
  amp_line line[PLOT_LINES];
  amp_plot p = {0};
  int y[PLOT_LINES], ys;
  w.t = to_table(L, 1);
  luaL_checktype(L, 2, LUA_TTABLE);
  check_plot_keys(L);
  w.x = plot_column(L, w.t, "x", true);
  ys = plot_ys(L, w.t, y);
  w.by = -1;
  luaL_checkstack(L, 6 * PLOT_LINES + 12, "plot");
  fill_plot(L, &w, y, ys, line, &p);
  w.y = y[0];
  p.title = keep_string(L, 2, "title");
  if (!p.title)
    p.title = lua_pushfstring(L, "%s against %s", amp_table_label(w.t, w.y),
                              amp_table_label(w.t, w.x));
  p.x_label = push_axis(L, w.t, w.x);
  p.y_label = ys > 1 ? amp_table_unit(w.t, w.y) : push_axis(L, w.t, w.y);
  p.note = push_plot_note(L, &w);
  push_drawn(L, &p, amp_plot_svg);
  push_drawn(L, &p, amp_plot_text);
  lua_newuserdatauv(L, 0, 2);
  lua_insert(L, -3);
  lua_setiuservalue(L, -3, 2);
  lua_setiuservalue(L, -2, 1);
  luaL_setmetatable(L, CHART);
  return 1;
}

/* chart:svg() --> the file's bytes */
static int chart_svg (lua_State *L) {
  luaL_checkudata(L, 1, CHART);
  lua_getiuservalue(L, 1, 1);
  return 1;
}

/* chart:write("name.svg"); gives the chart */
static int chart_write (lua_State *L) {
  size_t n;
  const char *path = luaL_checklstring(L, 2, &n);
  luaL_checkudata(L, 1, CHART);
  if (n < 5 || strcmp(path + n - 4, ".svg") != 0)
    return bind_error(L, NULL,
                      "plot: write takes a name ending in .svg (got "
                      "\"%s\")",
                      path);
  lua_getiuservalue(L, 1, 1);
  host_write(L, path);
  lua_settop(L, 1);
  return 1;
}

/* chart:text(), print(chart): as characters */
static int chart_tostring (lua_State *L) {
  size_t n;
  luaL_checkudata(L, 1, CHART);
  lua_getiuservalue(L, 1, 2);
  const char *s = lua_tolstring(L, -1, &n);
  lua_pushlstring(L, s, n > 0 ? n - 1 : 0); /* print ends the line */
  return 1;
}

/* ---- opening ---- */

static const luaL_Reg table_methods[] = {{"cell", table_cell},
                                         {"keys", table_keys},
                                         {"heads", table_heads},
                                         {"notes", table_notes},
                                         {"sort", table_sort},
                                         {"top", table_top},
                                         {"where", table_where},
                                         {"columns", table_columns},
                                         {"add", table_add},
                                         {"text", table_text},
                                         {"markdown", table_markdown},
                                         {"bbcode", table_bbcode},
                                         {"csv", table_csv},
                                         {"json", table_json},
                                         {"html", table_html},
                                         {"post", table_post},
                                         {"write", table_write},
                                         {"plot", table_plot},
                                         {NULL, NULL}};

static const luaL_Reg table_meta[] = {{"__gc", table_gc},
                                      {"__len", table_len},
                                      {"__tostring", table_tostring},
                                      {"__newindex", fixed_newindex},
                                      {NULL, NULL}};

static const luaL_Reg row_meta[] = {{"__index", row_index},
                                    {"__tostring", row_tostring},
                                    {"__newindex", fixed_newindex},
                                    {NULL, NULL}};

static const luaL_Reg chart_methods[] = {{"svg", chart_svg},
                                         {"text", chart_tostring},
                                         {"write", chart_write},
                                         {NULL, NULL}};

/* Functions with upvalues 1 (nil) and 2 (core), into the table on top. */
static void set_methods (lua_State *L, int core, const luaL_Reg *list) {
  lua_pushnil(L);
  lua_pushvalue(L, core);
  luaL_setfuncs(L, list, 2);
}

/* getmetatable tells a script the name, and hands nothing out. */
static void close_meta (lua_State *L, const char *name) {
  bind_put_text(L, "__metatable", name);
}

/* core.table_new, core.post_text, and the metatables; the core table is on top. */
void bind_table_open (lua_State *L) {
  int core = lua_gettop(L);
  luaL_newmetatable(L, TABLE);
  luaL_setfuncs(L, table_meta, 0);
  lua_newtable(L);
  set_methods(L, core, table_methods);
  lua_pushcclosure(L, table_index, 1);
  lua_setfield(L, -2, "__index");
  close_meta(L, "table");
  luaL_newmetatable(L, ROW);
  luaL_setfuncs(L, row_meta, 0);
  close_meta(L, "row");
  luaL_newmetatable(L, CHART);
  lua_newtable(L);
  set_methods(L, core, chart_methods);
  lua_setfield(L, -2, "__index");
  lua_pushcfunction(L, chart_tostring);
  lua_setfield(L, -2, "__tostring");
  close_meta(L, "chart");
  lua_settop(L, core);
  lua_pushcfunction(L, table_new);
  lua_setfield(L, core, "table_new");
  lua_pushcfunction(L, post_text);
  lua_setfield(L, core, "post_text");
}
