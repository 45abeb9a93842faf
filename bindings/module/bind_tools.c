/*
** bind_tools.c -- small things: ranges, the version, what the command line
** may change, cycles in a list, a fingerprint, the words of a text.
*/
#include "bind.h"
#include <math.h>
#include <sha256.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>

#ifndef AMPSTEAD_VERSION
#define AMPSTEAD_VERSION "0.1.0"
#endif

/* amp.range(5, 10) --> {5, 6, 7, 8, 9, 10}; amp.range(0, 1, 0.25) */
static int range (lua_State *L) {
  for (int i = 1; i <= 3; i++)
    if (lua_type(L, i) != LUA_TNUMBER && !(i == 3 && lua_isnoneornil(L, 3)))
      return bind_error(L, NULL,
                        "range: argument %d must be a number (got "
                        "%s)",
                        i, luaL_typename(L, i));
  double a = lua_tonumber(L, 1), b = lua_tonumber(L, 2);
  double step = luaL_optnumber(L, 3, 1.0);
  bool whole =
      lua_isinteger(L, 1) && (lua_isinteger(L, 3) || lua_isnoneornil(L, 3));
  /* the last point counts when rounding alone keeps it out */
  double n = floor((b - a) / step + 1e-9) + 1.0;
  if (!(step != 0.0 && n <= 1e6))
    return bind_error(L, NULL,
                      "range: %s .. %s by %s has no end or over a "
                      "million steps",
                      bind_push_number(L, a), bind_push_number(L, b),
                      bind_push_number(L, step));
  if (n < 0.0)
    n = 0.0;
  lua_Unsigned first = (lua_Unsigned)lua_tointeger(L, 1);
  lua_Unsigned by =
      lua_isnoneornil(L, 3) ? 1 : (lua_Unsigned)lua_tointeger(L, 3);
  lua_newtable(L);
  for (int i = 0; i < (int)n; i++) {
    if (whole) /* wraps instead of overflowing */
      lua_pushinteger(L, (lua_Integer)(first + (lua_Unsigned)i * by));
    else
      lua_pushnumber(L, a + i * step);
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

/* "1.2" or "1.2.3" into numbers; false where it is neither. */
static bool read_version (const char *s, long v[3]) {
  char *end;
  v[0] = v[1] = v[2] = 0;
  for (int i = 0; i < 3; i++) {
    if (*s < '0' || *s > '9')
      return false;
    v[i] = strtol(s, &end, 10);
    if (*end == '\0')
      return true;
    if (*end != '.')
      return false;
    s = end + 1;
  }
  return false;
}

/* amp.at_least "1.2": raises where this is older */
static int at_least (lua_State *L) {
  long want[3], have[3];
  const char *s = lua_type(L, 1) == LUA_TSTRING ? lua_tostring(L, 1) : "";
  if (!read_version(s, want) || !read_version(AMPSTEAD_VERSION, have))
    return bind_error(L, NULL,
                      "at_least: a version such as \"1.2\" is "
                      "wanted");
  for (int i = 0; i < 3; i++) {
    if (have[i] > want[i])
      return 0;
    if (have[i] < want[i])
      return bind_error(L, NULL,
                        "this is ampstead %s; the script wants at "
                        "least %s",
                        AMPSTEAD_VERSION, s);
  }
  return 0;
}

/* ---- defaults that the command line may override ---- */

/* Overrides from the runner, or from a stock interpreter's 'arg'. */
static void push_overrides (lua_State *L) {
  if (lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.params") == LUA_TTABLE)
    return;
  lua_pop(L, 1);
  lua_newtable(L);
  if (lua_getglobal(L, "arg") == LUA_TTABLE)
    for (int i = 1; i <= (int)lua_rawlen(L, -1); i++) {
      lua_rawgeti(L, -1, i);
      const char *s = lua_tostring(L, -1);
      const char *eq = s != NULL ? strchr(s, '=') : NULL;
      if (eq != NULL && eq > s) {
        lua_pushlstring(L, s, (size_t)(eq - s));
        lua_pushstring(L, eq + 1);
        lua_rawset(L, -5);
      }
      lua_pop(L, 1);
    }
  lua_pop(L, 1);
  lua_pushvalue(L, -1);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.params");
}

/* Text of the command line as the kind of value that stands in the script */
static void push_typed (lua_State *L, const char *key, const char *text,
                        int type) {
  double v;
  if (type == LUA_TNUMBER) {
    if (amp_parse_double(text, strlen(text), '.', &v, NULL) != AMP_OK)
      bind_error(L, "usage", "params: %s must be a number (got '%s')", key,
                 text);
    if (v == floor(v) && fabs(v) < 1e15)
      lua_pushinteger(L, (lua_Integer)v);
    else
      lua_pushnumber(L, v);
  } else if (type == LUA_TBOOLEAN) {
    bool yes = strcmp(text, "true") == 0 || strcmp(text, "yes") == 0;
    if (!yes && strcmp(text, "false") != 0 && strcmp(text, "no") != 0)
      bind_error(L, "usage", "params: %s must be yes or no (got '%s')", key,
                 text);
    lua_pushboolean(L, yes);
  } else
    lua_pushstring(L, text);
}

/* Names of the table at 'idx' in byte order, as a new list at the top. */
static int push_names (lua_State *L, int idx) {
  int n = 0;
  lua_newtable(L);
  lua_pushnil(L);
  while (lua_next(L, idx) != 0) {
    lua_pop(L, 1);
    if (lua_type(L, -1) != LUA_TSTRING)
      bind_error(L, NULL, "params: keys are names");
    const char *key = lua_tostring(L, -1);
    int at = n;
    for (; at > 0; at--) {
      lua_rawgeti(L, -2, at);
      bool after = strcmp(lua_tostring(L, -1), key) > 0;
      if (after)
        lua_rawseti(L, -3, at + 1);
      else
        lua_pop(L, 1);
      if (!after)
        break;
    }
    lua_pushvalue(L, -1);
    lua_rawseti(L, -3, at + 1);
    n++;
  }
  return n;
}

static void refuse_stray (lua_State *L, int overrides) {
  const char *words[64];
  int n = push_names(L, 1), k = 0;
  luaL_checkstack(L, 70, NULL);
  for (; k < n && k < 63; k++) {
    lua_rawgeti(L, -1 - k, k + 1);
    words[k] = lua_tostring(L, -1);
  }
  words[k] = NULL;
  lua_pop(L, k);
  int stray = push_names(L, overrides);
  for (int i = 1; i <= stray; i++) {
    lua_rawgeti(L, -1, i);
    const char *key = lua_tostring(L, -1);
    lua_getfield(L, 1, key);
    if (lua_isnil(L, -1)) {
      const char *near = bind_nearest(key, words);
      bind_error(L, "usage", "params: the script has no '%s'%s%s%s", key,
                 near != NULL ? " (did you mean '" : "",
                 near != NULL ? near : "", near != NULL ? "'?)" : "");
    }
    lua_pop(L, 2);
  }
  lua_pop(L, 2);
}

/* One line of what was asked, kept for the notes under a result. */
static void remember_param (lua_State *L, const char *key, int value,
                            bool given) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.params_used");
  lua_createtable(L, 0, 4);
  bind_put_text(L, "name", key);
  lua_pushvalue(L, value);
  lua_setfield(L, -2, "value");
  lua_getfield(L, 1, key);
  lua_setfield(L, -2, "default");
  bind_put_flag(L, "given", given);
  lua_rawseti(L, -2, (lua_Integer)lua_rawlen(L, -2) + 1);
  lua_pop(L, 1);
}

/* amp.params{ freight = 260 } --> {freight = 520}, given freight=520 */
static int params (lua_State *L) {
  lua_settop(L, 1);
  if (!lua_istable(L, 1))
    return bind_error(L, NULL, "params: one table of defaults is wanted");
  push_overrides(L); /* 2 */
  refuse_stray(L, 2);
  lua_newtable(L);          /* 3: the answer */
  int n = push_names(L, 1); /* 4 */
  for (int i = 1; i <= n; i++) {
    lua_rawgeti(L, 4, i); /* 5 */
    const char *key = lua_tostring(L, 5);
    int type = lua_getfield(L, 1, key);                  /* 6 */
    bool given = lua_getfield(L, 2, key) == LUA_TSTRING; /* 7 */
    if (given) {
      push_typed(L, key, lua_tostring(L, 7), type);
      lua_replace(L, 6);
    }
    remember_param(L, key, 6, given);
    lua_settop(L, 6);
    lua_setfield(L, 3, key);
    lua_settop(L, 4);
  }
  lua_settop(L, 3);
  return 1;
}

static int params_used (lua_State *L) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.params_used");
  return 1;
}

/* ---- cycles ---- */

/* amp.rainflow({-2, 1, -3, 5}) --> list of {range, mean, count} */
static int rainflow (lua_State *L) {
  lua_settop(L, 1);
  size_t n = lua_istable(L, 1) ? (size_t)lua_rawlen(L, 1) : 0;
  if (n < 1 || n > 10000000)
    return bind_error(L, NULL, "rainflow: a list of numbers is wanted");
  double *v = lua_newuserdatauv(L, n * sizeof *v, 0);
  amp_cycle *c = lua_newuserdatauv(L, n * sizeof *c, 0);
  for (size_t i = 0; i < n; i++) {
    lua_rawgeti(L, 1, (lua_Integer)i + 1);
    v[i] = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : NAN;
    if (!isfinite(v[i]))
      return bind_error(L, NULL, "rainflow: number %d of the list is none",
                        (int)i + 1);
    lua_pop(L, 1);
  }
  size_t cycles = amp_rainflow_count(v, n, c);
  lua_createtable(L, (int)cycles, 0);
  for (size_t i = 0; i < cycles; i++) {
    lua_createtable(L, 0, 3);
    lua_pushnumber(L, c[i].range);
    lua_setfield(L, -2, "range");
    lua_pushnumber(L, c[i].mean);
    lua_setfield(L, -2, "mean");
    lua_pushnumber(L, c[i].count);
    lua_setfield(L, -2, "count");
    lua_rawseti(L, -2, (lua_Integer)i + 1);
  }
  return 1;
}

/* sha256(text) --> 64 hex digits */
static int sha256 (lua_State *L) {
  char hex[SHA256_DIGEST_STRING_LENGTH];
  size_t n;
  const char *s = luaL_checklstring(L, 1, &n);
  SHA256Data((const uint8_t *)s, n, hex);
  lua_pushstring(L, hex);
  return 1;
}

/* words(text) --> the text without what boards change, base/words.h */
static int words (lua_State *L) {
  size_t n;
  const char *s = luaL_checklstring(L, 1, &n);
  char *out = lua_newuserdatauv(L, n + 1, 0);
  lua_pushlstring(L, out, amp_words(s, n, out));
  return 1;
}

/* modules() --> list of {path, text}: Lua files that the script required;
** nil where the host can't know */
static int modules (lua_State *L) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.modules");
  return 1;
}

/* ---- numbers in sentences ---- */

/* Not by the C library's printf and log10: libraries round ties and print
** exponents each their own way. */

/* core.fixed(v, decimals) --> "4485.00" */
static int fixed (lua_State *L) {
  char text[40];
  size_t n = amp_format_fixed(luaL_checknumber(L, 1),
                              (int)luaL_optinteger(L, 2, 2), text);
  lua_pushlstring(L, text, n);
  return 1;
}

/* core.trim(v, digits) --> "93.75", "0.008": no zeros at the end */
static int trim (lua_State *L) {
  char text[40];
  size_t n = amp_format_double(luaL_checknumber(L, 1),
                               (int)luaL_optinteger(L, 2, 4), text);
  lua_pushlstring(L, text, n);
  return 1;
}

/* core.short(v) --> three significant digits and never fewer than stand
** before the point; below 1e-4 plain as well, with 12 decimals at most */
static int three_digits (lua_State *L) {
  double v = luaL_checknumber(L, 1), x = fabs(v);
  char text[40];
  size_t n;
  int decimals = 2;
  if (v == 0.0 || !(x < 1e-4)) {
    n = v == 0.0 ? amp_format_fixed(0.0, 0, text)
                 : amp_format_significant(v, 3, text);
    lua_pushlstring(L, text, n);
    return 1;
  }
  for (; x < 1.0 && decimals < 12; decimals++)
    x *= 10.0;
  lua_pushlstring(L, text, amp_format_fixed(v, decimals, text));
  return 1;
}

static const luaL_Reg functions[] = {{"range", range},
                                     {"fixed", fixed},
                                     {"trim", trim},
                                     {"short", three_digits},
                                     {"at_least", at_least},
                                     {"params", params},
                                     {"params_used", params_used},
                                     {"rainflow", rainflow},
                                     {"sha256", sha256},
                                     {"words", words},
                                     {"modules", modules},
                                     {NULL, NULL}};

void bind_tools_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
  lua_pushliteral(L, AMPSTEAD_VERSION);
  lua_setfield(L, -2, "version");
}
