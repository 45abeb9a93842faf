/*
** bind_table_choose.c -- new tables from a table: rows in another order, some
** of them, some columns, one column more.
*/
#include "bind_table_parts.h"
#include <string.h>

static void keep_facts (lua_State *L) {
  lua_getiuservalue(L, 1, 1);
  lua_setiuservalue(L, -2, 1);
}

/* Push a table of chosen rows and columns of the table at index 1. */
static bind_table *push_select (lua_State *L, const int *row, int rows,
                                const int *column, int columns) {
  const amp_table *t = bind_table_check(L, 1);
  bind_table *b = bind_table_box(L);
  b->t = amp_table_select(t, row, rows, column, columns);
  if (!b->t)
    bind_table_no_memory(L);
  keep_facts(L);
  return b;
}

/* t:sort(key [, "down"]): nothing last both ways, equal rows keep their
** order */
static int table_sort (lua_State *L) {
  const amp_table *t = bind_table_check(L, 1);
  int column = bind_table_column(L, t, 2, "sort");
  const char *way = luaL_optstring(L, 3, "up");
  bool down = strcmp(way, "down") == 0;
  int *order = bind_table_ints(L, amp_table_rows(t));
  if (!down && strcmp(way, "up") != 0)
    return bind_error(
        L, NULL, "table: sort goes \"up\" or \"down\" (got \"%s\")", way);
  amp_table_order(t, column, down, order);
  push_select(L, order, amp_table_rows(t), NULL, 0);
  return 1;
}

/* t:top(n): the first n rows, or all there are */
static int table_top (lua_State *L) {
  const amp_table *t = bind_table_check(L, 1);
  int whole = 0, rows = amp_table_rows(t), *row;
  lua_Integer n = lua_tointegerx(L, 2, &whole);
  if (!whole || n < 0)
    return bind_error(L, NULL,
                      "table: top takes a whole number of rows (got %s)",
                      bind_plain_text(L, 2));
  if (n < rows)
    rows = (int)n;
  row = bind_table_ints(L, rows);
  for (int i = 0; i < rows; i++)
    row[i] = i;
  push_select(L, row, rows, NULL, 0);
  return 1;
}

/* The names in the table at index 2 are columns; of several that are none the
** first in byte order is named. */
static void check_wanted (lua_State *L, const amp_table *t) {
  const char *key = NULL;
  if (!bind_is_named(L, 2))
    bind_error(L, NULL, "table: where takes {column = value}");
  while ((key = bind_next_name(L, 2, key)) != NULL)
    bind_table_find(L, t, key);
}

/* Does the row have the values that the table at index 2 wants? */
static bool row_fits (lua_State *L, const amp_table *t, int row) {
  bool fits = true;
  lua_pushnil(L);
  while (lua_next(L, 2)) {
    int column = amp_table_find(t, lua_tostring(L, -2));
    bind_table_push_value(L, t, row, column);
    fits = fits && lua_compare(L, -1, -2, LUA_OPEQ);
    lua_pop(L, 2);
  }
  return fits;
}

/* Does the function at index 2 say yes to the row? */
static bool row_asked (lua_State *L, int row) {
  bool fits;
  lua_pushvalue(L, 2);
  bind_table_push_row(L, 1, row);
  lua_call(L, 1, 1);
  fits = lua_toboolean(L, -1);
  lua_pop(L, 1);
  return fits;
}

/* t:where{strings = 4, temp_c = 10}, t:where(function (row) .. end) */
static int table_where (lua_State *L) {
  const amp_table *t = bind_table_check(L, 1);
  int n = amp_table_rows(t), rows = 0, *row = bind_table_ints(L, n);
  int type = lua_type(L, 2);
  if (type != LUA_TTABLE && type != LUA_TFUNCTION)
    return bind_error(L, NULL,
                      "table: where takes {column = value} or a function "
                      "of a row (got %s)",
                      luaL_typename(L, 2));
  if (type == LUA_TTABLE)
    check_wanted(L, t);
  for (int i = 0; i < n; i++)
    if (type == LUA_TTABLE ? row_fits(L, t, i) : row_asked(L, i))
      row[rows++] = i;
  push_select(L, row, rows, NULL, 0);
  return 1;
}

/* t:columns{"name", "years"}: these, in this order, shown */
static int table_columns (lua_State *L) {
  const amp_table *t = bind_table_check(L, 1);
  int n, rows = amp_table_rows(t), *column, *row;
  bind_table *b;
  if (!lua_istable(L, 2) || luaL_len(L, 2) < 1)
    return bind_error(L, NULL, "table: columns takes a list of names");
  n = (int)luaL_len(L, 2);
  column = bind_table_ints(L, n);
  for (int i = 0; i < n; i++) {
    lua_geti(L, 2, i + 1);
    column[i] = bind_table_column(L, t, lua_gettop(L), "columns");
    lua_pop(L, 1);
    for (int j = 0; j < i; j++)
      if (column[j] == column[i])
        return bind_error(L, NULL, "table: columns names '%s' twice",
                          amp_table_key(t, column[i]));
  }
  row = bind_table_ints(L, rows);
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
      bind_table_no_memory(L);
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
    bind_table_push_row(L, 1, i);
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
  const amp_table *t = bind_table_check(L, 1);
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
    const char *s = bind_table_string(L, 4, "label");
    label = s ? s : key;
    s = bind_table_string(L, 4, "unit");
    unit = s ? s : "";
  }
  b = bind_table_box(L);
  b->t = amp_table_new(bind_context(L), amp_table_title(t));
  if (!b->t)
    return bind_table_no_memory(L);
  copy_columns(L, t, b->t);
  if (amp_table_add_column(b->t, key, label, unit, kind) < 0)
    return bind_table_no_memory(L);
  for (int i = 0; i < rows; i++) {
    bool fine = copy_cells(t, b->t, i);
    lua_rawgeti(L, 5, i + 1);
    if (!fine || !bind_table_set_cell(L, b->t, i, columns))
      return bind_table_no_memory(L);
    lua_pop(L, 1);
  }
  if (!copy_words(t, b->t))
    return bind_table_no_memory(L);
  keep_facts(L);
  return 1;
}

const luaL_Reg bind_table_choosing[] = {
    {"sort", table_sort},       {"top", table_top}, {"where", table_where},
    {"columns", table_columns}, {"add", table_add}, {NULL, NULL}};
