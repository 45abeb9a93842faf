/*
** bind_error.c -- how the Lua module says no: at the user's own line, with
** the object, the field, the limit and the value in the user's unit. The
** error value stays a string; its class, which picks the exit status, is
** kept beside it in the registry.
*/
#include "bind.h"
#include "bind_inside.h"
#include "ampstead_module.h"
#include <stdarg.h>
#include <string.h>

/* ---- the user's line ---- */

static bool is_ours (const lua_Debug *ar) {
  return strncmp(ar->source, "=[ampstead", 10) == 0;
}

void bind_push_place (lua_State *L) {
  lua_Debug ar;
  for (int level = 0; lua_getstack(L, level, &ar); level++) {
    lua_getinfo(L, "Sl", &ar);
    if (strcmp(ar.what, "C") == 0 || is_ours(&ar) || ar.currentline <= 0)
      continue;
    lua_pushfstring(L, "%s:%d: ", ar.short_src, ar.currentline);
    return;
  }
  lua_pushliteral(L, "");
}

/* ---- raising ---- */

static const struct {
  const char *name;
  int status;
} classes[] = {{"usage", 64},  {"data", 65},  {"missing", 66},
               {"create", 73}, {"io", 74},    {"policy", 77},
               {"stop", 124},  {"fault", 70}, {"memory", 124},
               {NULL, 1}};

static int status_of (const char *name) {
  int i = 0;
  while (classes[i].name != NULL &&
         (name == NULL || strcmp(classes[i].name, name) != 0))
    i++;
  return classes[i].status;
}

/* The sentence is at the top; never returns. */
static int raise (lua_State *L, const char *error_class) {
  bind_push_place(L);
  lua_insert(L, -2);
  lua_concat(L, 2);
  lua_pushvalue(L, -1);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.last_error");
  lua_pushinteger(L, status_of(error_class));
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.class");
  return lua_error(L);
}

int bind_error (lua_State *L, const char *error_class, const char *format,
                ...) {
  va_list args;
  luaL_checkstack(L, 8, NULL);
  va_start(args, format);
  lua_pushvfstring(L, format, args);
  va_end(args);
  return raise(L, error_class);
}

int ampstead_error_class (lua_State *L) {
  int status = 1;
  const char *now = lua_tostring(L, -1);
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.last_error");
  const char *then = lua_tostring(L, -1);
  if (now != NULL && then != NULL && strncmp(now, then, strlen(then)) == 0) {
    lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.class");
    status = (int)lua_tointeger(L, -1);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
  return status;
}

/* ---- errors of the core ---- */

const char *bind_push_number (lua_State *L, double v) {
  char text[40];
  amp_format_double(v, 6, text);
  return lua_pushstring(L, text);
}

/* "m.capacity" and "capacity" are the same field to the core. */
static const char *last_part (const char *s) {
  const char *dot = strrchr(s, '.');
  return dot != NULL ? dot + 1 : s;
}

static const bind_field *field_in (const bind_class *c, const char *core) {
  for (const bind_field *f = c->fields; f->key != NULL; f++)
    if (strcmp(last_part(f->core), core) == 0 || strcmp(f->key, core) == 0)
      return f;
  return NULL;
}

/* Without a class (an error of a whole case): the first class that has it */
static const bind_field *field_of (lua_State *L, const bind_class *c,
                                   const char *core) {
  const bind_field *f = NULL;
  if (core == NULL)
    return NULL;
  if (c != NULL)
    return field_in(c, core);
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.classes");
  for (int i = 1; f == NULL && i <= (int)lua_rawlen(L, -1); i++) {
    lua_rawgeti(L, -1, i);
    f = field_in(lua_touserdata(L, -1), core);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
  return f;
}

static double to_user (const bind_field *f, double si) {
  return f != NULL ? (si - f->shift) / f->factor : si;
}

void bind_push_error (lua_State *L, const bind_class *c, const char *who,
                      const amp_error *err) {
  const bind_field *f = field_of(L, c, err->field);
  const char *key = f != NULL ? f->key : err->field;
  const char *unit = f != NULL ? f->unit : "";
  const char *colon = who[0] != '\0' ? ": " : "";
  if (err->text[0] != '\0') {
    if (key == NULL || strstr(err->text, key) != NULL)
      lua_pushfstring(L, "%s%s%s", who, colon, err->text);
    else
      lua_pushfstring(L, "%s%s%s: %s", who, colon, key, err->text);
    return;
  }
  if (key == NULL || err->status != AMP_ERANGE) {
    lua_pushfstring(L, "%s%s%s%s%s", who, colon, key != NULL ? key : "",
                    key != NULL ? ": " : "", amp_status_text(err->status));
    return;
  }
  int top = lua_gettop(L);
  const char *lo = bind_push_number(L, to_user(f, err->lo));
  const char *hi = bind_push_number(L, to_user(f, err->hi));
  const char *v = bind_push_number(L, to_user(f, err->value));
  lua_pushfstring(L, "%s%s%s must lie in %s .. %s%s%s (got %s)", who, colon,
                  key, lo, hi, unit[0] != '\0' ? " " : "", unit, v);
  lua_replace(L, top + 1);
  lua_settop(L, top + 1);
}

int bind_raise (lua_State *L, const bind_class *c, const char *who,
                const amp_error *err) {
  static const char *const class_of_status[] = {
      NULL, NULL, NULL, NULL, NULL, "memory", "stop", NULL, "fault"};
  luaL_checkstack(L, 8, NULL);
  bind_push_error(L, c, who, err);
  return raise(L, class_of_status[err->status]);
}

/* ---- bytes that were read ---- */

int bind_bad_data (lua_State *L, const char *who, const amp_error *err) {
  if (err->status == AMP_ENOMEM || err->status == AMP_ESTOP)
    return bind_raise(L, NULL, who, err); /* not the file's fault */
  bind_push_error(L, NULL, "", err);
  const char *why = lua_tostring(L, -1);
  if (err->line > 0)
    return bind_error(L, "data", "%s:%d:%d: %s", who, (int)err->line,
                      (int)err->column, why);
  return bind_error(L, "data", "%s: %s", who, why);
}

int bind_bad_cell (lua_State *L, const amp_csv *csv, size_t row, size_t col,
                   const char *who, const char *why) {
  char shown[200];
  size_t line = 0, place = 0;
  const char *s = amp_csv_field(csv, row, col);
  amp_csv_place(csv, row, col, &line, &place);
  amp_text_visible(s, strlen(s), 40, shown, sizeof shown);
  return bind_error(L, "data", "%s:%d:%d: %s (got '%s')", who, (int)line,
                    (int)place, why, shown);
}

/* ---- nearest word ---- */

static size_t least (size_t a, size_t b) {
  return a < b ? a : b;
}

/* Edits (insert, drop, change) between two short words, case ignored. */
static size_t distance (const char *a, const char *b) {
  enum { LONGEST = 40 };
  size_t row[LONGEST + 1], na = strlen(a), nb = strlen(b);
  if (na > LONGEST || nb > LONGEST)
    return LONGEST;
  for (size_t j = 0; j <= nb; j++)
    row[j] = j;
  for (size_t i = 1; i <= na; i++) {
    size_t corner = row[0];
    row[0] = i;
    for (size_t j = 1; j <= nb; j++) {
      char x = (char)(a[i - 1] | 32), y = (char)(b[j - 1] | 32);
      size_t here = corner + (x != y);
      corner = row[j];
      row[j] = least(here, least(row[j], row[j - 1]) + 1);
    }
  }
  return row[nb];
}

/* "capacity" is near "capacity_ah". */
static bool same_stem (const char *a, const char *b) {
  size_t n = strlen(a);
  return n >= 3 && strncmp(a, b, n) == 0;
}

const char *bind_nearest (const char *word, const char *const *words) {
  const char *best = NULL;
  size_t best_d = strlen(word) / 3 + 2;
  for (int i = 0; words[i] != NULL; i++) {
    size_t d = same_stem(word, words[i]) ? 1 : distance(word, words[i]);
    if (d < best_d) {
      best_d = d;
      best = words[i];
    }
  }
  return best;
}

/* ---- for the Lua half ---- */

/* fail(class, text): raise at the user's line */
static int core_fail (lua_State *L) {
  const char *error_class = luaL_optstring(L, 1, NULL);
  luaL_checkstring(L, 2);
  lua_settop(L, 2);
  return raise(L, error_class);
}

static int core_nearest (lua_State *L) {
  const char *words[128];
  int n = 0;
  luaL_checktype(L, 2, LUA_TTABLE);
  luaL_checkstack(L, 130, NULL);
  for (; n < 127 && n < (int)lua_rawlen(L, 2); n++) {
    lua_rawgeti(L, 2, n + 1);
    words[n] = luaL_checkstring(L, -1);
  }
  words[n] = NULL;
  lua_pushstring(L, bind_nearest(luaL_checkstring(L, 1), words));
  return 1;
}

static const luaL_Reg functions[] = {
    {"fail", core_fail}, {"nearest", core_nearest}, {NULL, NULL}};

void bind_errors_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
