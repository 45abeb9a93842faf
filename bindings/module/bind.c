/*
** bind.c -- objects made from tables of keys: read by a table of fields,
** kept with the keys as given, printed and copied by the same table.
*/
#include "bind.h"
#include "bind_inside.h"
#include <math.h>
#include <string.h>

/* ---- objects ---- */

#define PLAIN "ampstead.plain"

static const bind_class *class_of (lua_State *L, int idx) {
  const bind_class *c = NULL;
  if (lua_type(L, idx) != LUA_TUSERDATA || !lua_getmetatable(L, idx))
    return NULL;
  lua_getfield(L, -1, "__class");
  c = lua_touserdata(L, -1);
  lua_pop(L, 2);
  return c;
}

const char *bind_class_of (lua_State *L, int idx) {
  const bind_class *c = class_of(L, idx);
  if (c != NULL)
    return c->name;
  return bind_is_value(L, idx) ? "value" : NULL;
}

void *bind_test (lua_State *L, int idx, const char *class_name) {
  const bind_class *c = class_of(L, idx);
  if (c == NULL || strcmp(c->name, class_name) != 0)
    return NULL;
  return lua_touserdata(L, idx);
}

static const char *type_of (lua_State *L, int idx) {
  const char *name = bind_class_of(L, idx);
  return name != NULL ? name : luaL_typename(L, idx);
}

void *bind_check (lua_State *L, int idx, const char *class_name,
                  const char *who) {
  void *p = bind_test(L, idx, class_name);
  if (p == NULL)
    bind_error(L, NULL, "%s must be %s %s (got %s)", who,
               strchr("aeiou", *class_name) != NULL ? "an" : "a", class_name,
               type_of(L, idx));
  return p;
}

void bind_push_keys (lua_State *L, int idx) {
  lua_getiuservalue(L, idx, 1);
}

bool bind_get (lua_State *L, int keys, const char *key) {
  lua_getfield(L, keys, key);
  if (!lua_isnil(L, -1))
    return true;
  lua_pop(L, 1);
  return false;
}

const bind_field *bind_field_find (const bind_class *c, const char *key) {
  for (const bind_field *f = c->fields; f->key != NULL; f++)
    if (strcmp(f->key, key) == 0)
      return f;
  return NULL;
}

/* Text of strangers: control bytes are shown, not sent to a terminal. */
static const char *push_visible (lua_State *L, int idx) {
  char out[900];
  size_t n;
  const char *s = lua_tolstring(L, idx, &n);
  amp_text_visible(s, n, 200, out, sizeof out);
  return lua_pushstring(L, out);
}

/* The string stays alive in the registry until the next call. */
const char *bind_who (lua_State *L, const bind_class *c, int keys) {
  int top = lua_gettop(L);
  keys = lua_absindex(L, keys);
  if (bind_get(L, keys, "name") && lua_type(L, -1) == LUA_TSTRING)
    lua_pushfstring(L, "%s \"%s\"", c->name, push_visible(L, -1));
  else
    lua_pushstring(L, c->name);
  const char *s = lua_tostring(L, -1);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.who");
  lua_settop(L, top);
  return s;
}

/* ---- copying tables of keys, so that objects never change ---- */

/* The deepest that is read is costs = {{"crane", 120}}; a table that holds
** itself ends here too. */
static void copy_value (lua_State *L, int idx, int depth) {
  idx = lua_absindex(L, idx);
  if (!lua_istable(L, idx)) {
    lua_pushvalue(L, idx);
    return;
  }
  if (depth > 3)
    bind_error(L, NULL, "tables lie too deep within the table of keys");
  luaL_checkstack(L, 6, NULL);
  lua_newtable(L);
  lua_pushnil(L);
  while (lua_next(L, idx) != 0) {
    copy_value(L, -1, depth + 1);
    lua_pushvalue(L, -3);
    lua_insert(L, -2);
    lua_rawset(L, -5);
    lua_pop(L, 1);
  }
}

void bind_plain (lua_State *L) {
  luaL_setmetatable(L, PLAIN);
}

void bind_push_copy (lua_State *L, int idx) {
  copy_value(L, idx, 0);
  if (lua_istable(L, -1))
    bind_plain(L);
}

/* ---- reading ---- */

/* The text of the key at the top, or NULL where it is none or holds a NUL. */
static const char *key_text (lua_State *L) {
  size_t n;
  const char *s =
      lua_type(L, -1) == LUA_TSTRING ? lua_tolstring(L, -1, &n) : NULL;
  return s != NULL && strlen(s) == n ? s : NULL;
}

bool bind_is_named (lua_State *L, int idx) {
  idx = lua_absindex(L, idx);
  lua_pushnil(L);
  while (lua_next(L, idx) != 0) {
    lua_pop(L, 1);
    if (key_text(L) == NULL) {
      lua_pop(L, 1);
      return false;
    }
  }
  return true;
}

/* What kind of thing stands for a name: of several, the same each run. */
static const char *nameless (lua_State *L, int idx) {
  const char *worst = NULL;
  lua_pushnil(L);
  while (lua_next(L, idx) != 0) {
    lua_pop(L, 1);
    const char *kind = luaL_typename(L, -1);
    if (key_text(L) == NULL && (worst == NULL || strcmp(kind, worst) < 0))
      worst = kind;
  }
  return worst;
}

/* Name the unknown key that comes first in byte order: the same each run. */
static void refuse_unknown (lua_State *L, const bind_class *c, int keys) {
  const char *worst = NULL, *kind = nameless(L, keys);
  if (kind != NULL)
    bind_error(L, NULL, "%s: keys are names (got a %s %s)",
               bind_who(L, c, keys), kind,
               strcmp(kind, "string") == 0 ? "with a NUL" : "without a name");
  lua_pushnil(L);
  while (lua_next(L, keys) != 0) {
    lua_pop(L, 1);
    const char *key = key_text(L);
    if (bind_field_find(c, key) == NULL &&
        (worst == NULL || strcmp(key, worst) < 0))
      worst = key;
  }
  if (worst == NULL)
    return;
  const char *words[64];
  int n = 0;
  for (const bind_field *f = c->fields; f->key != NULL && n < 63; f++)
    words[n++] = f->key;
  words[n] = NULL;
  const char *near = bind_nearest(worst, words);
  if (near != NULL)
    bind_error(L, NULL, "%s: unknown key '%s' (did you mean '%s'?)",
               bind_who(L, c, keys), worst, near);
  bind_error(L, NULL, "%s: unknown key '%s'", bind_who(L, c, keys), worst);
}

static void refuse_siblings (lua_State *L, const bind_class *c, int keys) {
  for (const bind_field *f = c->fields; f->key != NULL; f++)
    for (const bind_field *g = f + 1; f->group != 0 && g->key != NULL; g++)
      if (g->group == f->group && bind_get(L, keys, f->key)) {
        lua_pop(L, 1);
        if (bind_get(L, keys, g->key))
          bind_error(L, NULL, "%s: give %s or %s, not both",
                     bind_who(L, c, keys), f->key, g->key);
      }
}

/* Is there more than blanks, control bytes and UTF-8's spaces without ink
** (U+00A0, U+2000 .. U+200F, U+2028 .. U+202F, U+FEFF)? */
static bool is_seen (const char *s) {
  const unsigned char *u = (const unsigned char *)s;
  for (; *u != '\0'; u++)
    if (u[0] == 0xc2 && u[1] == 0xa0)
      u += 1;
    else if ((u[0] == 0xe2 && u[1] == 0x80 && u[2] >= 0x80 &&
              (u[2] <= 0x8f || (u[2] >= 0xa8 && u[2] <= 0xaf))) ||
             (u[0] == 0xef && u[1] == 0xbb && u[2] == 0xbf))
      u += 2;
    else if (*u > ' ' && *u != 127)
      return true;
  return false;
}

static void read_text (lua_State *L, const bind_field *f, const char *who,
                       char *out) {
  size_t n;
  if (lua_type(L, -1) != LUA_TSTRING)
    bind_error(L, NULL, "%s: %s must be text (got %s)", who, f->key,
               type_of(L, -1));
  const char *s = lua_tolstring(L, -1, &n);
  if (strcmp(f->key, "remark") == 0) /* kept as given; never enters a sum */
    return;
  if (n > 63 || strlen(s) != n)
    bind_error(L, NULL, "%s: %s must be at most 63 bytes of text", who,
               f->key);
  if (strcmp(f->key, "name") == 0 && !is_seen(s))
    bind_error(L, NULL, "%s: name has no visible character", who);
  for (size_t i = 0; i <= n; i++) { /* the key itself stays as given */
    bool control = (unsigned char)s[i] < 32 || s[i] == 127;
    out[i] = control && s[i] != '\0' ? ' ' : s[i];
  }
}

amp_value bind_field_value (lua_State *L, const bind_class *c,
                            const bind_field *f, int keys) {
  const char *who = bind_who(L, c, keys), *name = c->name;
  if (bind_get(L, keys, "name")) {
    name = lua_tostring(L, -1);
    lua_pop(L, 1); /* still in 'keys' */
  }
  return bind_value(L, -1, f, who, name);
}

static void read_field (lua_State *L, const bind_class *c,
                        const bind_field *f, int keys, char *spec) {
  const char *who = bind_who(L, c, keys);
  void *at = spec + f->offset;
  if (f->kind == BIND_PRICE && bind_is_value(L, -1))
    *(double *)at = bind_field_value(L, c, f, keys).value;
  else if (f->kind == BIND_NUMBER || f->kind == BIND_PRICE)
    *(double *)at = bind_number(L, -1, f, who);
  else if (f->kind == BIND_WHOLE) {
    double v = bind_number(L, -1, f, who);
    if (v != floor(v))
      bind_error(L, NULL, "%s: %s must be a whole number (got %s)", who,
                 f->key, bind_push_number(L, v));
    *(int *)at = (int)v;
  } else if (f->kind == BIND_FLAG) {
    if (!lua_isboolean(L, -1))
      bind_error(L, NULL, "%s: %s must be true or false (got %s)", who,
                 f->key, type_of(L, -1));
    *(bool *)at = lua_toboolean(L, -1);
  } else if (f->kind == BIND_TEXT)
    read_text(L, f, who, at);
  else if (f->kind == BIND_VALUE)
    *(amp_value *)at = bind_field_value(L, c, f, keys);
}

static void read_all (lua_State *L, const bind_class *c, int keys,
                      void *spec) {
  refuse_unknown(L, c, keys);
  refuse_siblings(L, c, keys);
  for (const bind_field *f = c->fields; f->key != NULL; f++)
    if (f->offset != BIND_NONE && bind_get(L, keys, f->key)) {
      read_field(L, c, f, keys, spec);
      lua_pop(L, 1);
    }
}

int bind_new (lua_State *L, const bind_class *c, int arg) {
  if (!lua_istable(L, arg))
    bind_error(L, NULL, "%s: one table of keys is wanted, %s{ ... } (got %s)",
               c->name, c->make, type_of(L, arg));
  luaL_checkstack(L, 20, NULL);
  copy_value(L, arg, 0);
  int keys = lua_gettop(L);
  void *spec = lua_newuserdatauv(L, c->size, 2);
  int self = lua_gettop(L);
  memset(spec, 0, c->size);
  if (c->defaults != NULL)
    c->defaults(spec);
  lua_pushvalue(L, keys);
  lua_setiuservalue(L, self, 1);
  lua_pushfstring(L, BIND_OBJECT_OF "%s", c->make);
  lua_rawget(L, LUA_REGISTRYINDEX);
  lua_setmetatable(L, self); /* from here on memory in 'spec' is freed */
  read_all(L, c, keys, spec);
  if (c->finish != NULL)
    c->finish(L, keys, spec);
  lua_settop(L, self);
  lua_remove(L, keys);
  return 1;
}

void bind_finalizer (lua_State *L, const char *name, lua_CFunction gc) {
  if (luaL_newmetatable(L, name)) {
    lua_pushcfunction(L, gc);
    lua_setfield(L, -2, "__gc"); /* takes no memory: there is room for two */
  } else {
    lua_getfield(L, -1, "__gc");
    if (lua_tocfunction(L, -1) != gc)
      luaL_error(L, "'%s' names two kinds of memory", name);
    lua_pop(L, 1);
  }
  lua_setmetatable(L, -2);
}

/* bind_new puts the object right above its keys. */
void bind_keep (lua_State *L, int keys) {
  lua_setiuservalue(L, keys + 1, 2);
}

/* ---- copies with changes ---- */

static void drop_group (lua_State *L, const bind_class *c, int keys,
                        const bind_field *given) {
  for (const bind_field *f = c->fields; f->key != NULL; f++)
    if (f != given && given->group != 0 && f->group == given->group) {
      lua_pushnil(L);
      lua_setfield(L, keys, f->key);
    }
}

/* iron:with{ mass_kg = 46 } --> a copy with that changed */
static int object_with (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  if (c == NULL)
    return bind_error(L, NULL, "with: call it as object:with{ ... }");
  if (!lua_istable(L, 2))
    return bind_error(L, NULL, "%s: with{ ... } wants a table of keys",
                      c->name);
  bind_push_keys(L, 1);
  copy_value(L, -1, 0);
  int keys = lua_gettop(L);
  lua_pushnil(L);
  while (lua_next(L, 2) != 0) {
    const bind_field *f = NULL;
    if (lua_type(L, -2) == LUA_TSTRING)
      f = bind_field_find(c, lua_tostring(L, -2));
    if (f != NULL)
      drop_group(L, c, keys, f);
    lua_pop(L, 1);
  }
  lua_pushnil(L); /* only now, so that no change drops another */
  while (lua_next(L, 2) != 0) {
    lua_pushvalue(L, -2);
    lua_insert(L, -2);
    lua_settable(L, keys);
  }
  return bind_new(L, c, keys);
}

/* ---- reading back ---- */

enum { NAMES_MOST = 200 };

/* Keys and methods of a class, ended by NULL. */
static void all_names (const bind_class *c, const char **names) {
  int n = 0;
  for (const bind_field *f = c->fields; f->key && n < NAMES_MOST - 1; f++)
    names[n++] = f->key;
  for (const luaL_Reg *m = c->methods; m != NULL && m->name != NULL; m++)
    if (n < NAMES_MOST - 1)
      names[n++] = strncmp(m->name, "get_", 4) == 0 ? m->name + 4 : m->name;
  names[n] = NULL;
}

/* What was not given reads as nil, and so does what another kind of object in
** the same list has; what is nearly a key is a slip. */
static int not_given (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  const char *names[NAMES_MOST], *key = lua_tostring(L, 2), *near = NULL;
  if (c != NULL && bind_field_find(c, key) == NULL) {
    all_names(c, names);
    near = bind_nearest(key, names);
  }
  if (near != NULL)
    return bind_error(L, NULL, "%s: no key '%s' (did you mean '%s'?)",
                      c->name, key, near);
  lua_pushnil(L);
  return 1;
}

static int object_index (lua_State *L) {
  bind_push_keys(L, 1);
  if (lua_istable(L, -1)) {
    lua_pushvalue(L, 2);
    lua_rawget(L, -2);
    if (!lua_isnil(L, -1)) {
      bind_push_copy(L, -1);
      return 1;
    }
  }
  lua_pushvalue(L, 2);
  lua_rawget(L, lua_upvalueindex(1)); /* methods */
  if (!lua_isnil(L, -1) || lua_type(L, 2) != LUA_TSTRING)
    return 1;
  lua_pushfstring(L, "get_%s", lua_tostring(L, 2)); /* computed keys */
  lua_rawget(L, lua_upvalueindex(1));
  if (lua_isnil(L, -1))
    return not_given(L);
  lua_pushvalue(L, 1);
  lua_call(L, 1, 1);
  return 1;
}

static int object_newindex (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  const char *name = c != NULL ? c->name : "value";
  const char *key = lua_type(L, 2) == LUA_TSTRING ? lua_tostring(L, 2) : "x";
  return bind_error(L, NULL,
                    "a %s never changes; use :with{ %s = ... } for a changed"
                    " copy",
                    name, key);
}

static int object_gc (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  if (c != NULL && c->free != NULL)
    c->free(L, lua_touserdata(L, 1));
  return 0;
}

/* ---- printing ---- */

/* Of what was pushed above 'top' keep the last alone. */
static void keep_one (lua_State *L, int top) {
  if (lua_gettop(L) > top + 1)
    lua_replace(L, top + 1);
  lua_settop(L, top + 1);
}

static void push_given (lua_State *L, int idx, const char *unit);

const char *bind_next_name (lua_State *L, int idx, const char *last) {
  const char *best = NULL;
  idx = lua_absindex(L, idx);
  lua_pushnil(L);
  while (lua_next(L, idx) != 0) {
    lua_pop(L, 1);
    const char *key = key_text(L);
    if (key != NULL && (last == NULL || strcmp(key, last) > 0) &&
        (best == NULL || strcmp(key, best) < 0))
      best = key;
  }
  return best;
}

/* The entry at the top, ", key = value", joins the text below it. */
static void join_entry (lua_State *L, const char *name, bool first) {
  int top = lua_gettop(L) - 2;
  push_given(L, -1, "");
  lua_pushfstring(L, "%s%s%s%s%s", lua_tostring(L, top + 1),
                  first ? "" : ", ", name != NULL ? name : "",
                  name != NULL ? " = " : "", lua_tostring(L, -1));
  keep_one(L, top);
}

static void push_list (lua_State *L, int idx, const char *unit) {
  int n = (int)lua_rawlen(L, idx);
  luaL_checkstack(L, 12, NULL);
  lua_pushliteral(L, "{");
  for (int i = 1; i <= n; i++) {
    lua_rawgeti(L, idx, i);
    join_entry(L, NULL, i == 1);
  }
  const char *name = NULL;
  for (bool first = n == 0; (name = bind_next_name(L, idx, name)) != NULL;
       first = false) {
    lua_getfield(L, idx, name);
    join_entry(L, name, first);
  }
  lua_pushfstring(L, "%s}%s%s", lua_tostring(L, -1),
                  unit[0] != '\0' ? " " : "", unit);
}

/* Push one given value as people read it, without address. */
static void push_given (lua_State *L, int idx, const char *unit) {
  int top = lua_gettop(L);
  idx = lua_absindex(L, idx);
  if (lua_type(L, idx) == LUA_TNUMBER)
    lua_pushfstring(L, "%s%s%s", bind_push_number(L, lua_tonumber(L, idx)),
                    unit[0] != '\0' ? " " : "", unit);
  else if (lua_type(L, idx) == LUA_TSTRING && lua_rawlen(L, idx) > 200)
    lua_pushfstring(L, "(%d bytes)", (int)lua_rawlen(L, idx));
  else if (lua_type(L, idx) == LUA_TSTRING)
    push_visible(L, idx);
  else if (lua_isboolean(L, idx))
    lua_pushstring(L, lua_toboolean(L, idx) ? "yes" : "no");
  else if (lua_isfunction(L, idx))
    lua_pushstring(L, "a function of the script");
  else if (bind_is_value(L, idx))
    bind_push_value_text(L, idx, unit);
  else if (bind_class_of(L, idx) != NULL) {
    bind_push_keys(L, idx);
    lua_pushstring(L, bind_who(L, class_of(L, idx), -1));
  } else if (lua_istable(L, idx))
    push_list(L, idx, unit);
  else
    lua_pushstring(L, luaL_typename(L, idx));
  keep_one(L, top);
}

enum { LABEL = 24, LINE = 78 }; /* columns: of the value, of a line */

/* Characters up to the next blank, and the bytes they take. */
static size_t word_of (const char *s, size_t *bytes) {
  size_t wide = 0;
  for (*bytes = 0; s[*bytes] != '\0' && s[*bytes] != ' '; ++*bytes)
    wide += ((unsigned char)s[*bytes] & 0xc0) != 0x80;
  return wide;
}

/* Add a line to the text at 3: the label, then the value, folded at blanks;
** what is continued stands under the value. A longer word stays whole. */
static void say_line (lua_State *L, const char *label, const char *value) {
  luaL_Buffer b;
  size_t at = LABEL, bytes;
  luaL_buffinit(L, &b);
  luaL_addstring(&b, lua_tostring(L, 3));
  luaL_addstring(&b, "\n  ");
  luaL_addstring(&b, label);
  for (size_t i = strlen(label) + 2; i < LABEL; i++)
    luaL_addchar(&b, ' ');
  for (bool first = true; *value != '\0' || first; first = false) {
    size_t wide = word_of(value, &bytes);
    if (!first && at + 1 + wide > LINE) {
      luaL_addchar(&b, '\n');
      for (at = 0; at < LABEL; at++)
        luaL_addchar(&b, ' ');
    } else if (!first) {
      luaL_addchar(&b, ' ');
      at++;
    }
    luaL_addlstring(&b, value, bytes);
    at += wide;
    value += bytes;
    value += *value == ' ';
  }
  luaL_pushresult(&b);
  lua_replace(L, 3);
}

/* What it comes to, in the words of the class's own function "__sums". */
static void say_sums (lua_State *L) {
  if (luaL_getmetafield(L, 1, "__sums") == LUA_TNIL)
    return;
  lua_pushvalue(L, 1);
  lua_call(L, 1, 1);
  say_line(L, "together", lua_tostring(L, -1));
  lua_settop(L, 3);
}

/* A short line a key, in the order of the field table; or as the Lua half
** says it. */
static int object_tostring (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  lua_settop(L, 1);
  if (luaL_getmetafield(L, 1, "__text") != LUA_TNIL) {
    lua_insert(L, 1);
    lua_call(L, 1, 1);
    return 1;
  }
  bind_push_keys(L, 1);
  lua_pushstring(L, bind_who(L, c, 2)); /* 3: text so far */
  for (const bind_field *f = c->fields; f->key != NULL; f++) {
    if (strcmp(f->key, "name") == 0 || !bind_get(L, 2, f->key))
      continue;
    push_given(L, 4, f->kind == BIND_CHOICE ? "" : f->unit);
    if (f->kind == BIND_VALUE && lua_isnumber(L, 4)) {
      lua_pushliteral(L, ", assumed");
      lua_concat(L, 2);
    }
    say_line(L, f->key, lua_tostring(L, 5));
    lua_settop(L, 3);
  }
  say_sums(L);
  if (c->tell != NULL) {
    lua_newtable(L);
    c->tell(L, lua_touserdata(L, 1));
    for (int i = 1; i <= (int)lua_rawlen(L, 4); i++) {
      lua_rawgeti(L, 4, i);
      say_line(L, "taken", lua_tostring(L, -1));
      lua_settop(L, 4);
    }
  }
  lua_settop(L, 3);
  return 1;
}

/* ---- opening a class ---- */

static int object_new (lua_State *L) {
  return bind_new(L, lua_touserdata(L, lua_upvalueindex(1)), 1);
}

static void remember_class (lua_State *L, const bind_class *c) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.classes");
  lua_pushlightuserdata(L, (void *)(uintptr_t)c);
  lua_rawseti(L, -2, (lua_Integer)lua_rawlen(L, -2) + 1);
  lua_pop(L, 1);
}

void bind_class_open (lua_State *L, const bind_class *c) {
  static const luaL_Reg none[] = {{NULL, NULL}};
  remember_class(L, c);
  luaL_newmetatable(L, lua_pushfstring(L, BIND_OBJECT_OF "%s", c->make));
  lua_remove(L, -2);
  lua_pushlightuserdata(L, (void *)(uintptr_t)c);
  lua_setfield(L, -2, "__class");
  lua_pushstring(L, c->name);
  lua_setfield(L, -2, "__metatable");
  lua_newtable(L);
  luaL_setfuncs(L, c->methods != NULL ? c->methods : none, 0);
  lua_pushcfunction(L, object_with);
  lua_setfield(L, -2, "with");
  lua_pushvalue(L, -1);
  lua_setfield(L, -3, "__methods");
  lua_pushcclosure(L, object_index, 1);
  lua_setfield(L, -2, "__index");
  lua_pushcfunction(L, object_newindex);
  lua_setfield(L, -2, "__newindex");
  lua_pushcfunction(L, object_tostring);
  lua_setfield(L, -2, "__tostring");
  lua_pushcfunction(L, object_gc);
  lua_setfield(L, -2, "__gc");
  lua_pop(L, 1);
  lua_pushlightuserdata(L, (void *)(uintptr_t)c);
  lua_pushcclosure(L, object_new, 1);
  lua_setfield(L, -2, c->make);
}

void bind_put (lua_State *L, const char *key, double v) {
  if (!amp_given(v))
    return;
  lua_pushnumber(L, v);
  lua_setfield(L, -2, key);
}

void bind_put_flag (lua_State *L, const char *key, bool v) {
  lua_pushboolean(L, v);
  lua_setfield(L, -2, key);
}

void bind_put_text (lua_State *L, const char *key, const char *s) {
  lua_pushstring(L, s);
  lua_setfield(L, -2, key);
}

int bind_told (lua_State *L, double v) {
  if (!amp_given(v))
    return 0;
  lua_pushnumber(L, v);
  return 1;
}

void bind_say (lua_State *L, const char *sentence) {
  lua_pushstring(L, sentence);
  lua_rawseti(L, -2, (lua_Integer)lua_rawlen(L, -2) + 1);
}

int bind_list (lua_State *L, int idx, const bind_field *f, const char *who,
               double *out, int most) {
  idx = lua_absindex(L, idx);
  if (!lua_istable(L, idx)) {
    out[0] = bind_number(L, idx, f, who);
    return 1;
  }
  int n = (int)lua_rawlen(L, idx);
  for (int i = 0; i < n && i < most; i++) {
    lua_rawgeti(L, idx, i + 1);
    out[i] = bind_number(L, -1, f, who);
    lua_pop(L, 1);
  }
  return n;
}

/* ---- what the Lua half asks of objects ---- */

static int core_kind (lua_State *L) {
  lua_pushstring(L, bind_class_of(L, 1));
  return 1;
}

static int core_keys (lua_State *L) {
  luaL_argcheck(L, class_of(L, 1) != NULL, 1, "object wanted");
  bind_push_keys(L, 1);
  copy_value(L, -1, 0);
  return 1;
}

static int core_name (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  luaL_argcheck(L, c != NULL, 1, "object wanted");
  bind_push_keys(L, 1);
  if (!bind_get(L, -1, "name"))
    lua_pushstring(L, c->name);
  return 1;
}

static int core_defaults (lua_State *L) {
  const bind_class *c = class_of(L, 1);
  luaL_argcheck(L, c != NULL, 1, "object wanted");
  lua_newtable(L);
  if (c->tell != NULL)
    c->tell(L, lua_touserdata(L, 1));
  return 1;
}

static int core_methods (lua_State *L) {
  lua_pushfstring(L, BIND_OBJECT_OF "%s", luaL_checkstring(L, 1));
  lua_rawget(L, LUA_REGISTRYINDEX);
  if (lua_istable(L, -1))
    lua_getfield(L, -1, "__methods");
  return 1;
}

/* print_by(make, fn): what print shows of an object is fn(object) */
static int core_print_by (lua_State *L) {
  lua_pushfstring(L, BIND_OBJECT_OF "%s", luaL_checkstring(L, 1));
  lua_rawget(L, LUA_REGISTRYINDEX);
  luaL_checktype(L, -1, LUA_TTABLE);
  lua_pushvalue(L, 2);
  lua_setfield(L, -2, "__text");
  return 0;
}

static void describe_field (lua_State *L, const bind_field *f) {
  static const char *const kinds[] = {"number", "value",  "whole", "value",
                                      "text",   "object", "list",  "choice",
                                      "law",    "flag"};
  lua_newtable(L);
  lua_pushstring(L, f->key);
  lua_setfield(L, -2, "key");
  lua_pushstring(L, kinds[f->kind]);
  lua_setfield(L, -2, "kind");
  lua_pushstring(L, f->unit);
  lua_setfield(L, -2, "unit");
  lua_pushstring(L, f->doc);
  lua_setfield(L, -2, "doc");
  if (f->lo < f->hi) {
    lua_pushnumber(L, f->lo);
    lua_setfield(L, -2, "lo");
    lua_pushnumber(L, f->hi);
    lua_setfield(L, -2, "hi");
  }
}

/* describe() --> list of {name, doc, keys = {{key, kind, unit, lo, hi, doc},
** ..}, methods = {names}} in the order in which a user meets them */
static int core_describe (lua_State *L) {
  lua_settop(L, 0); /* what a caller passes would shift the indices */
  lua_newtable(L);
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.classes");
  for (int i = 1; i <= (int)lua_rawlen(L, 2); i++) {
    lua_rawgeti(L, 2, i);
    const bind_class *c = lua_touserdata(L, -1);
    lua_newtable(L);
    lua_pushstring(L, c->name);
    lua_setfield(L, -2, "name");
    lua_pushstring(L, c->make);
    lua_setfield(L, -2, "make");
    lua_pushstring(L, c->doc);
    lua_setfield(L, -2, "doc");
    lua_newtable(L);
    for (int k = 0; c->fields[k].key != NULL; k++) {
      describe_field(L, &c->fields[k]);
      lua_rawseti(L, -2, k + 1);
    }
    lua_setfield(L, -2, "keys");
    lua_newtable(L);
    for (int k = 0; c->methods != NULL && c->methods[k].name != NULL; k++) {
      lua_pushstring(L, c->methods[k].name);
      lua_rawseti(L, -2, k + 1);
    }
    lua_setfield(L, -2, "methods");
    lua_rawseti(L, 1, i);
    lua_settop(L, 2);
  }
  lua_settop(L, 1);
  return 1;
}

static const luaL_Reg core_functions[] = {
    {"kind", core_kind},         {"keys", core_keys},
    {"name", core_name},         {"defaults", core_defaults},
    {"methods", core_methods},   {"print_by", core_print_by},
    {"describe", core_describe}, {NULL, NULL}};

/* What makes a plain table print as what it holds: 'core.plain', to which
** the Lua half adds how. */
void bind_objects_open (lua_State *L) {
  luaL_setfuncs(L, core_functions, 0);
  luaL_newmetatable(L, PLAIN);
  lua_setfield(L, -2, "plain");
}
