/*
** bind_table_write.c -- the written forms of a table as strings, for a post,
** and as files through the host.
*/
#include "bind_table_parts.h"
#include "report/write.h"
#include <string.h>

static int bytes_gc (lua_State *L) {
  bind_bytes *b = lua_touserdata(L, 1);
  if (b->s)
    amp_free(bind_lent(L), b->s, b->n + 1);
  b->s = NULL;
  return 0;
}

/* A box on the stack for bytes of the core; the collector empties it. */
bind_bytes *bind_bytes_box (lua_State *L) {
  bind_bytes *b = lua_newuserdatauv(L, sizeof *b, 0);
  b->s = NULL;
  b->n = 0;
  bind_finalizer(L, "ampstead.bytes", bytes_gc);
  return b;
}

/* The box on top becomes a Lua string, and its bytes are given back. */
void bind_bytes_push (lua_State *L, bind_bytes *b) {
  lua_pushlstring(L, b->s, b->n);
  amp_free(bind_lent(L), b->s, b->n + 1);
  b->s = NULL;
  lua_remove(L, -2);
}

static int push_written (lua_State *L, const amp_table *t, amp_format f) {
  amp_error err = {0};
  bind_bytes *b = bind_bytes_box(L);
  if (amp_table_write(bind_context(L), t, f, &b->s, &b->n, &err) != AMP_OK)
    return bind_error(L, NULL, "table: %s",
                      err.text[0] ? err.text : amp_status_text(err.status));
  bind_bytes_push(L, b);
  return 1;
}

static int table_text (lua_State *L) {
  return push_written(L, bind_table_check(L, 1), AMP_FORMAT_TEXT);
}
static int table_markdown (lua_State *L) {
  return push_written(L, bind_table_check(L, 1), AMP_FORMAT_MARKDOWN);
}
static int table_bbcode (lua_State *L) {
  return push_written(L, bind_table_check(L, 1), AMP_FORMAT_BBCODE);
}
static int table_csv (lua_State *L) {
  return push_written(L, bind_table_check(L, 1), AMP_FORMAT_CSV);
}
static int table_json (lua_State *L) {
  return push_written(L, bind_table_check(L, 1), AMP_FORMAT_JSON);
}
static int table_html (lua_State *L) {
  return push_written(L, bind_table_check(L, 1), AMP_FORMAT_HTML);
}

/* print(t): the text form without its last line end, which print adds */
int bind_table_tostring (lua_State *L) {
  size_t n;
  const char *s;
  push_written(L, bind_table_check(L, 1), AMP_FORMAT_TEXT);
  s = lua_tolstring(L, -1, &n);
  if (n > 0 && s[n - 1] == '\n')
    lua_pushlstring(L, s, n - 1);
  return 1;
}

/* core.post_text(t) --> the text form without the line that begins with
** "rerun: ", and that line or nil: a post says it in its own words */
int bind_table_post_text (lua_State *L) {
  static const char begins[] = "rerun: ";
  const amp_table *t = bind_table_check(L, 1);
  bind_table *copy = bind_table_box(L);
  const char *label, *line;
  lua_pushnil(L);
  copy->t = amp_table_copy(t);
  if (!copy->t)
    return bind_table_no_memory(L);
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
  bind_table_check(L, 1);
  lua_settop(L, 2);
  lua_getfield(L, lua_upvalueindex(2), "post");
  lua_insert(L, 1);
  lua_call(L, 2, 1);
  return 1;
}

/* core.write(path, bytes): the stack's top is the bytes */
void bind_table_host_write (lua_State *L, const char *path) {
  lua_getfield(L, lua_upvalueindex(2), "write");
  lua_pushstring(L, path);
  lua_pushvalue(L, -3);
  lua_call(L, 2, 0);
}

/* t:write("name.html"): the form its ending asks for; gives the table */
static int table_write (lua_State *L) {
  const amp_table *t = bind_table_check(L, 1);
  const char *path = bind_check_path(L, 2);
  int format = amp_format_of_path(path);
  if (format < 0)
    return bind_error(L, NULL,
                      "table: write takes a name ending in .txt .md "
                      ".bbcode .csv .json .html (got \"%s\")",
                      path);
  push_written(L, t, (amp_format)format);
  bind_table_host_write(L, path);
  lua_settop(L, 1);
  return 1;
}

const luaL_Reg bind_table_writing[] = {{"text", table_text},
                                       {"markdown", table_markdown},
                                       {"bbcode", table_bbcode},
                                       {"csv", table_csv},
                                       {"json", table_json},
                                       {"html", table_html},
                                       {"post", table_post},
                                       {"write", table_write},
                                       {NULL, NULL}};
