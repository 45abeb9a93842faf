/*
** bind_table_new.c -- a table from what the Lua half lays out: columns, rows
** of cells, heads and notes, facts.
*/
#include "bind_table_parts.h"
#include <string.h>

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

/* The cell that stands on top of the stack: a number, a string, true or
** false, or {value, low, high, basis, beyond, high_beyond, text, why}. */
bool bind_table_set_cell (lua_State *L, amp_table *t, int row, int column) {
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
    c.basis = basis_of_name(bind_table_string(L, at, "basis"));
    c.text = bind_table_string(L, at, "text");
    c.why = bind_table_string(L, at, "why");
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
  key = bind_table_string(L, at, "key");
  label = bind_table_string(L, at, "label");
  unit = bind_table_string(L, at, "unit");
  kind = kind_of_name(L, bind_table_string(L, at, "kind"));
  if (!key || !*key)
    bind_error(L, NULL, "table: a column needs a key");
  if (amp_table_find(t, key) >= 0)
    bind_error(L, NULL, "table: the column '%s' stands twice", key);
  c = amp_table_add_column(t, key, label ? label : key, unit ? unit : "",
                           kind);
  if (c < 0)
    bind_table_no_memory(L);
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
      bind_table_no_memory(L);
    if (lua_geti(L, rows, i) != LUA_TTABLE)
      bind_error(L, NULL, "table: row %d is not a table", (int)i);
    for (int c = 0; c < columns; c++) {
      lua_getfield(L, -1, amp_table_key(t, c));
      if (!bind_table_set_cell(L, t, row, c))
        bind_table_no_memory(L);
      lua_pop(L, 1);
    }
    lua_pop(L, 1);
  }
}

static void add_words (lua_State *L, amp_table *t, int spec) {
  if (lua_getfield(L, spec, "heads") == LUA_TTABLE)
    for (lua_Integer i = 1; lua_geti(L, -1, i) == LUA_TSTRING; i++) {
      if (!amp_table_add_head(t, lua_tostring(L, -1)))
        bind_table_no_memory(L);
      lua_pop(L, 1);
    }
  lua_settop(L, spec + 1);
  if (lua_getfield(L, spec, "notes") == LUA_TTABLE)
    for (lua_Integer i = 1; lua_geti(L, -1, i) == LUA_TTABLE; i++) {
      lua_geti(L, -1, 1);
      lua_geti(L, -2, 2);
      if (!amp_table_add_note(t, luaL_optstring(L, -2, ""),
                              luaL_checkstring(L, -1)))
        bind_table_no_memory(L);
      lua_pop(L, 3);
    }
  lua_settop(L, spec + 1);
}

/* Across and corner, read from the layout table at 'spec'. */
static void lay_out (lua_State *L, amp_table *t, int spec) {
  const char *corner;
  lua_getfield(L, spec, "across");
  amp_table_set_across(t, lua_toboolean(L, -1));
  corner = bind_table_string(L, spec, "corner");
  if (corner)
    amp_table_set_corner(t, corner);
  lua_pop(L, 2);
}

/*
** core.table_new{title, columns = {{key, label, unit, kind, hidden,
**   folded}, ..},
**   rows = {{[key] = cell}, ..}, heads, notes, across, corner, facts}
**   --> table
** A cell is a number, a string or a table, see bind_table_set_cell; facts = {total = 3}
** reads as t.total, whatever rows and columns are chosen.
*/
int bind_table_new (lua_State *L) {
  bind_table *b;
  luaL_checktype(L, 1, LUA_TTABLE);
  lua_settop(L, 1);
  b = bind_table_box(L); /* at 2 = spec + 1 */
  b->t = amp_table_new(bind_context(L), bind_table_string(L, 1, "title"));
  if (!b->t)
    return bind_table_no_memory(L);
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
