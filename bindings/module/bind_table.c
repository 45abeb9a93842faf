/*
** bind_table.c -- tables as scripts see them: rows, cells and words to read.
** The other files of a table: bind_table_parts.h.
*/
#include "bind_table_parts.h"
#include <math.h>
#include <string.h>

#define TABLE "ampstead.table"
#define ROW "ampstead.row"

typedef struct bind_row {
  const amp_table *t; /* lives as long as user value 1 */
  int row;
} bind_row;

/* Room for n ints that the collector frees. */
int *bind_table_ints (lua_State *L, int n) {
  return lua_newuserdatauv(L, sizeof(int) * ((size_t)n + 1), 0);
}

int bind_table_no_memory (lua_State *L) {
  return luaL_error(L, "not enough memory");
}

const amp_table *bind_table_check (lua_State *L, int arg) {
  const bind_table *b = luaL_checkudata(L, arg, TABLE);
  if (!b->t) /* only after its finalizer was called by hand */
    bind_error(L, NULL, "table: this one is gone");
  return b->t;
}

bind_table *bind_table_box (lua_State *L) {
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

int bind_table_find (lua_State *L, const amp_table *t, const char *key) {
  int c = amp_table_find(t, key);
  return c >= 0 ? c : no_column(L, t, key);
}

/* The column that argument 'arg' names. */
int bind_table_column (lua_State *L, const amp_table *t, int arg,
                       const char *call) {
  if (lua_type(L, arg) != LUA_TSTRING)
    return bind_error(L, NULL, "table: %s takes a column's name (got %s)",
                      call, luaL_typename(L, arg));
  return bind_table_find(L, t, lua_tostring(L, arg));
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
void bind_table_push_value (lua_State *L, const amp_table *t, int row,
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
    bind_table_push_value(L, t, row, column);
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
      bind_table_push_value(L, t, row, column);
    else
      lua_pushnumber(L, v);
  }
  return 1;
}

/* The string field 'key' of the table on top, or NULL; it is left on the
** stack (one slot either way), so that it lives. */
const char *bind_table_string (lua_State *L, int at, const char *key) {
  if (lua_getfield(L, at, key) == LUA_TSTRING)
    return lua_tostring(L, -1);
  return NULL;
}

/* #t */
static int table_len (lua_State *L) {
  lua_pushinteger(L, amp_table_rows(bind_table_check(L, 1)));
  return 1;
}

int bind_table_push_row (lua_State *L, int table, int row) {
  bind_row *r = lua_newuserdatauv(L, sizeof *r, 1);
  r->t = bind_table_check(L, table);
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

/* t[i], t:method, t.fact, and of a table of one row t.current_a */
static int table_index (lua_State *L) {
  const amp_table *t = bind_table_check(L, 1);
  int whole = 0;
  lua_Integer i = lua_tointegerx(L, 2, &whole);
  const char *key;
  if (lua_type(L, 2) == LUA_TNUMBER) {
    if (!whole || i < 1 || i > amp_table_rows(t))
      return 0;
    return bind_table_push_row(L, 1, (int)i - 1);
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
    bind_table_push_value(L, r->t, r->row, c);
    if (!lua_isnil(L, -1)) {
      lua_pushfstring(L, "%s%s = %s", shown++ ? ", " : "",
                      amp_table_key(r->t, c), bind_plain_text(L, -1));
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
  const amp_table *t = bind_table_check(L, 1);
  lua_Integer i = luaL_checkinteger(L, 2);
  int column = bind_table_column(L, t, 3, "cell");
  const amp_cell_data *c;
  if (i < 1 || i > amp_table_rows(t))
    return bind_error(L, NULL, "table: row must lie in 1 .. %d (got %I)",
                      amp_table_rows(t), (LUAI_UACINT)i);
  c = amp_table_get(t, (int)i - 1, column);
  lua_createtable(L, 0, 8);
  bind_table_push_value(L, t, (int)i - 1, column);
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
  const amp_table *t = bind_table_check(L, 1);
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
  const amp_table *t = bind_table_check(L, 1);
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
  const amp_table *t = bind_table_check(L, 1);
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

/* ---- opening ---- */

static const luaL_Reg table_reading[] = {{"cell", table_cell},
                                         {"keys", table_keys},
                                         {"heads", table_heads},
                                         {"notes", table_notes},
                                         {NULL, NULL}};

static const luaL_Reg table_meta[] = {{"__gc", table_gc},
                                      {"__len", table_len},
                                      {"__tostring", bind_table_tostring},
                                      {"__newindex", fixed_newindex},
                                      {NULL, NULL}};

static const luaL_Reg row_meta[] = {{"__index", row_index},
                                    {"__tostring", row_tostring},
                                    {"__newindex", fixed_newindex},
                                    {NULL, NULL}};

void bind_table_methods (lua_State *L, int core, const luaL_Reg *list) {
  lua_pushnil(L);
  lua_pushvalue(L, core);
  luaL_setfuncs(L, list, 2);
}

/* The class of tables, and that of their rows. getmetatable tells a script
** the name, and hands nothing out. */
static void open_classes (lua_State *L, int core) {
  luaL_newmetatable(L, TABLE);
  luaL_setfuncs(L, table_meta, 0);
  lua_newtable(L);
  bind_table_methods(L, core, table_reading);
  bind_table_methods(L, core, bind_table_choosing);
  bind_table_methods(L, core, bind_table_writing);
  bind_table_methods(L, core, bind_table_plotting);
  lua_pushcclosure(L, table_index, 1);
  lua_setfield(L, -2, "__index");
  bind_put_text(L, "__metatable", "table");
  luaL_newmetatable(L, ROW);
  luaL_setfuncs(L, row_meta, 0);
  bind_put_text(L, "__metatable", "row");
}

/* core.table_new, core.post_text, and the metatables; the core table is on
** top. */
void bind_table_open (lua_State *L) {
  int core = lua_gettop(L);
  open_classes(L, core);
  bind_table_plot_open(L, core);
  lua_settop(L, core);
  lua_pushcfunction(L, bind_table_new);
  lua_setfield(L, core, "table_new");
  lua_pushcfunction(L, bind_table_post_text);
  lua_setfield(L, core, "post_text");
}
