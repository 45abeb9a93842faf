/*
** scope.c -- the script's environment. Base functions, string, table, math,
** utf8, coroutine, three functions of os and io.write are copied by name;
** what is not named here does not exist for a script.
*/
#include "runner/scope.h"
#include "module/ampstead_module.h"
#include <errno.h>
#include <lauxlib.h>
#include <lualib.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void scope_put (int fd, const char *data, size_t n) {
  while (n > 0) {
    ssize_t got = write(fd, data, n);
    if (got < 0 && errno == EINTR)
      continue;
    if (got <= 0)
      _exit(EXIT_IO);
    data += got;
    n -= (size_t)got;
  }
}

int scope_ask (lua_State *L, int link, int kind, const char *a, size_t a_n,
               const char *b, size_t b_n) {
  unsigned char head[LINK_HEAD];
  luaL_Buffer text;
  size_t n;
  link_head(head, kind, a_n + b_n);
  if (!link_send(link, head, sizeof head) || !link_send(link, a, a_n) ||
      !link_send(link, b, b_n) || !link_receive(link, head, sizeof head))
    _exit(EXIT_INTERNAL); /* the parent is gone: nobody to tell */
  n = link_length(head);
  if (!link_receive(link, luaL_buffinitsize(L, &text, n), n))
    _exit(EXIT_INTERNAL);
  luaL_pushresultsize(&text, n);
  return head[0];
}

/* ---- printing ---- */

/* io.write(...): strings and numbers, to standard output */
static int scope_write (lua_State *L) {
  int n = lua_gettop(L);
  for (int k = 1; k <= n; k++) {
    size_t len;
    const char *text = luaL_checklstring(L, k, &len);
    scope_put(STDOUT_FILENO, text, len);
  }
  return 0;
}

/* ---- loading, requiring, randomness ---- */

/* load(text or function, name, mode, env) with mode always "t" */
static int scope_load (lua_State *L) {
  int n = lua_gettop(L);
  if (n < 3)
    lua_settop(L, n = 3);
  lua_pushliteral(L, "t");
  lua_replace(L, 3);
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_insert(L, 1);
  lua_call(L, n, LUA_MULTRET);
  return lua_gettop(L);
}

/* math.randomseed() without a seed would differ from run to run */
static int scope_randomseed (lua_State *L) {
  int n = lua_gettop(L);
  if (n == 0) {
    lua_pushvalue(L, lua_upvalueindex(2));
    n = 1;
  }
  lua_pushvalue(L, lua_upvalueindex(1));
  lua_insert(L, 1);
  lua_call(L, n, 0);
  return 0;
}

static int link_of (lua_State *L) {
  return (int)lua_tointeger(L, lua_upvalueindex(1));
}

/* "parts.cells" --> "parts/cells.lua"; other signs are refused */
static void push_module_path (lua_State *L, const char *name) {
  luaL_Buffer b;
  luaL_buffinit(L, &b);
  for (const char *p = name; *p != '\0'; p++) {
    bool plain = (*p >= 'a' && *p <= 'z') || (*p >= 'A' && *p <= 'Z') ||
                 (*p >= '0' && *p <= '9') || *p == '_' || *p == '-' ||
                 *p == '.';
    if (!plain)
      luaL_error(L, "module name '%s': only letters, digits, _ - .", name);
    luaL_addchar(&b, *p == '.' ? '/' : *p);
  }
  luaL_addstring(&b, ".lua");
  luaL_pushresult(&b);
}

/* Remember path and text (at 'text') of a module: a post names its sum. */
static void note_module (lua_State *L, const char *path, int text) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.modules");
  lua_createtable(L, 0, 2);
  lua_pushstring(L, path);
  lua_setfield(L, -2, "path");
  lua_pushvalue(L, text);
  lua_setfield(L, -2, "text");
  lua_rawseti(L, -2, (lua_Integer)lua_rawlen(L, -2) + 1);
  lua_pop(L, 1);
}

/* Push the function of a module of the script's folder, or the sentence that
** says why there is none: false. Raises where its text is no Lua. */
static bool load_module (lua_State *L, int link, const char *name) {
  const char *path, *text;
  size_t n;
  push_module_path(L, name);
  path = lua_tostring(L, -1);
  if (scope_ask(L, link, ASK_MODULE, path, strlen(path), NULL, 0) != 0)
    return false;
  text = lua_tolstring(L, -1, &n);
  note_module(L, path, lua_gettop(L));
  lua_pushfstring(L, "@%s", path);
  if (luaL_loadbufferx(L, text, n, lua_tostring(L, -1), "t") != LUA_OK)
    lua_error(L);
  return true;
}

/* While a module is read this stands for what it will give. */
static const char being_read;

/* require(name): "ampstead", or name.lua in the script's folder */
static int scope_require (lua_State *L) {
  const char *name = luaL_checkstring(L, 1);
  lua_settop(L, 1);
  lua_getfield(L, lua_upvalueindex(2), name);
  if (lua_touserdata(L, -1) == &being_read)
    return luaL_error(L, "module '%s' requires itself, or failed before",
                      name);
  if (!lua_isnil(L, -1))
    return 1;
  if (strcmp(name, "ampstead") == 0)
    lua_pushcfunction(L, luaopen_ampstead);
  else if (!load_module(L, link_of(L), name))
    return luaL_error(L, "module '%s' not found: %s", name,
                      lua_tostring(L, -1));
  lua_pushlightuserdata(L, (void *)(uintptr_t)&being_read);
  lua_setfield(L, lua_upvalueindex(2), name);
  lua_pushvalue(L, 1);
  lua_call(L, 1, 1);
  if (lua_isnil(L, -1)) {
    lua_pop(L, 1);
    lua_pushboolean(L, 1);
  }
  lua_pushvalue(L, -1);
  lua_setfield(L, lua_upvalueindex(2), name);
  return 1;
}

/* ---- what the Lua module asks of its host ---- */

/* "missing: cannot ...": the module reads the class from the first word */
static int no (lua_State *L, int status) {
  const char *kind = "io";
  if (status == EXIT_MISSING)
    kind = "missing";
  else if (status == EXIT_REFUSED)
    kind = "policy";
  else if (status == EXIT_CREATE)
    kind = "create";
  else if (status == EXIT_DATA)
    kind = "data";
  lua_pushnil(L);
  lua_pushfstring(L, "%s: %s", kind, lua_tostring(L, -2));
  return 2;
}

/* A path as bytes without NUL: with one it would name another file. */
static const char *check_path (lua_State *L, size_t *n) {
  const char *path = luaL_checklstring(L, 1, n);
  luaL_argcheck(L, strlen(path) == *n, 1, "NUL byte in a path");
  return path;
}

/* read(path) --> text, or nil and why */
static int host_read (lua_State *L) {
  size_t n;
  const char *path = check_path(L, &n);
  int st = scope_ask(L, link_of(L), ASK_READ, path, n, NULL, 0);
  return st == EXIT_OK ? 1 : no(L, st);
}

/* write(path, text) --> true, or nil and why */
static int host_write (lua_State *L) {
  size_t n, text_n;
  const char *path = check_path(L, &n);
  const char *text = luaL_checklstring(L, 2, &text_n);
  int st = scope_ask(L, link_of(L), ASK_WRITE, path, n + 1, text, text_n);
  if (st != EXIT_OK)
    return no(L, st);
  lua_pushboolean(L, 1);
  return 1;
}

/* progress(share): 0..1 */
static int host_progress (lua_State *L) {
  unsigned char head[LINK_HEAD];
  double share = luaL_checknumber(L, 1);
  const char *text;
  size_t n;
  if (!(share >= 0.0 && share <= 1.0))
    return 0;
  text = lua_pushfstring(L, "%d %%", (int)(100.0 * share));
  n = strlen(text);
  link_head(head, ASK_PROGRESS, n);
  if (!link_send(link_of(L), head, sizeof head) ||
      !link_send(link_of(L), text, n))
    _exit(EXIT_INTERNAL);
  return 0;
}

/* warn(text) */
static int host_warn (lua_State *L) {
  size_t n;
  const char *text;
  lua_settop(L, 1);
  lua_pushfstring(L, "ampstead: %s\n", luaL_checkstring(L, 1));
  text = lua_tolstring(L, -1, &n);
  scope_put(STDERR_FILENO, text, n);
  return 0;
}

/* The arguments after the script, as a list. */
static void push_arguments (lua_State *L, const runner_task *t) {
  lua_newtable(L);
  for (int k = t->o->script + 1; k < t->argc; k++) {
    lua_pushstring(L, t->argv[k]);
    lua_rawseti(L, -2, k - t->o->script);
  }
}

/* posted(text, line): the parent compares them with those of the post */
static int host_posted (lua_State *L) {
  size_t n;
  const char *text = luaL_checklstring(L, 1, &n);
  const char *line = luaL_checkstring(L, 2);
  scope_ask(L, link_of(L), ASK_POST, line, strlen(line) + 1, text, n);
  return 0;
}

/* script() --> its text and its name without folders, or nil twice; the list
** of its arguments; what was run besides it, or nil. One -e is a script. */
static int host_script (lua_State *L) {
  const runner_task *t = lua_touserdata(L, lua_upvalueindex(2));
  const runner_options *o = t->o;
  bool one = !t->has_text && o->steps == 1 && o->step[0].kind == 'e';
  const char *name = t->has_text ? t->name : "-e", *slash;
  if (one)
    lua_pushstring(L, o->step[0].text);
  else if (t->has_text)
    lua_pushlstring(L, t->text.data != NULL ? t->text.data : "", t->text.n);
  else
    lua_pushnil(L);
  slash = strrchr(name, '/');
  if (one || t->has_text)
    lua_pushstring(L, slash != NULL ? slash + 1 : name);
  else
    lua_pushnil(L);
  push_arguments(L, t);
  if (t->prompt)
    lua_pushliteral(L, "a prompt");
  else if (o->steps > (one ? 1 : 0))
    lua_pushliteral(L, "-e or -l");
  else if (o->trust)
    lua_pushliteral(L, "--trust");
  else
    lua_pushnil(L);
  return 4;
}

static void open_host (lua_State *L, const runner_task *task, int link) {
  static const luaL_Reg calls[] = {
      {"read", host_read},         {"write", host_write},
      {"progress", host_progress}, {"warn", host_warn},
      {"script", host_script},     {NULL, NULL}};
  luaL_newlibtable(L, calls);
  lua_pushinteger(L, link);
  lua_pushlightuserdata(L, (void *)(uintptr_t)task);
  luaL_setfuncs(L, calls, 2);
  if (task->recheck != NULL) {
    lua_pushinteger(L, link);
    lua_pushcclosure(L, host_posted, 1);
    lua_setfield(L, -2, "posted");
  }
  ampstead_set_host(L, lua_gettop(L));
  lua_pop(L, 1);
}

/* ---- the environment ---- */

static const char *const base_names[] = {
    "_VERSION",     "assert",   "collectgarbage", "error",
    "getmetatable", "ipairs",   "pcall",          "rawequal",
    "rawget",       "rawlen",   "rawset",         "select",
    "setmetatable", "tonumber", "type",           "warn",
    "xpcall",       NULL};
static const char *const string_names[] = {
    "byte",    "char",  "find",   "format", "gmatch",   "gsub",
    "len",     "lower", "match",  "pack",   "packsize", "rep",
    "reverse", "sub",   "unpack", "upper",  NULL};
static const char *const os_names[] = {"time", "clock", "date", NULL};

/* From the table at the top to the one below it. */
static void copy_names (lua_State *L, const char *const *names) {
  for (; *names != NULL; names++) {
    lua_getfield(L, -1, *names);
    lua_setfield(L, -3, *names);
  }
}

/* Open a library and leave the wanted part of it as globals.name; 'names'
** NULL: all of it. 'globals' is the table at the top. */
static void add_library (lua_State *L, const char *name, lua_CFunction open,
                         const char *const *names) {
  lua_newtable(L);
  lua_pushcfunction(L, open);
  lua_pushstring(L, name);
  lua_call(L, 1, 1);
  if (names != NULL) {
    copy_names(L, names);
    lua_pop(L, 1);
  } else
    lua_remove(L, -2);
  lua_setfield(L, -2, name);
}

/* All strings share one metatable: methods from our table, and locked. */
static void lock_strings (lua_State *L) {
  lua_pushliteral(L, "");
  lua_getmetatable(L, -1);
  lua_getfield(L, -3, "string");
  lua_setfield(L, -2, "__index");
  lua_pushboolean(L, 0);
  lua_setfield(L, -2, "__metatable");
  lua_pop(L, 2);
}

/* The state's own globals hold everything luaopen_base gives; a fresh table
** with the wanted names takes their place. Leaves it at the top. */
static void add_base (lua_State *L) {
  lua_newtable(L);
  lua_pushcfunction(L, luaopen_base);
  lua_call(L, 0, 1);
  copy_names(L, base_names);
  lua_getfield(L, -1, "load");
  lua_pushcclosure(L, scope_load, 1);
  lua_setfield(L, -3, "load");
  lua_pop(L, 1);
  lua_pushvalue(L, -1);
  lua_setfield(L, -2, "_G");
  lua_pushvalue(L, -1);
  lua_rawseti(L, LUA_REGISTRYINDEX, LUA_RIDX_GLOBALS);
}

static void seed_random (lua_State *L, double seed) {
  lua_getfield(L, -1, "math");
  lua_getfield(L, -1, "randomseed");
  lua_pushinteger(L, (lua_Integer)seed);
  lua_pushcclosure(L, scope_randomseed, 2);
  lua_pushvalue(L, -1);
  lua_call(L, 0, 0);
  lua_setfield(L, -2, "randomseed");
  lua_pop(L, 1);
}

static void add_own (lua_State *L, int link) {
  lua_pushinteger(L, link);
  lua_newtable(L);
  lua_pushcclosure(L, scope_require, 2);
  lua_setfield(L, -2, "require");
  lua_newtable(L);
  lua_pushcfunction(L, scope_write);
  lua_setfield(L, -2, "write");
  lua_setfield(L, -2, "io");
}

/* arg as in lua: arg[0] the script, arg[1].. what follows, below 0 before */
static void add_arg (lua_State *L, const runner_task *t) {
  int zero = t->o->script < t->argc ? t->o->script : 0;
  lua_newtable(L);
  for (int k = 0; k < t->argc; k++) {
    lua_pushstring(L, t->argv[k]);
    lua_rawseti(L, -2, k - zero);
  }
  lua_setfield(L, -2, "arg");
}

/* key=value after the script: answers for amp.params */
static void keep_params (lua_State *L, const runner_task *t) {
  lua_newtable(L);
  for (int k = t->o->script + 1; k < t->argc; k++) {
    const char *eq = strchr(t->argv[k], '=');
    if (eq == NULL || eq == t->argv[k])
      continue;
    lua_pushlstring(L, t->argv[k], (size_t)(eq - t->argv[k]));
    lua_pushstring(L, eq + 1);
    lua_settable(L, -3);
  }
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.params");
}

static void keep_settings (lua_State *L, const runner_options *o) {
  if (o->has_seed) {
    lua_pushinteger(L, (lua_Integer)o->seed);
    lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.seed");
  }
  lua_pushinteger(L, o->jobs);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.jobs");
}

/* What a script sees in the cage. Leaves the table of globals at the top. */
static void add_caged (lua_State *L, int link) {
  add_base(L);
  add_library(L, "string", luaopen_string, string_names);
  lock_strings(L);
  add_library(L, "table", luaopen_table, NULL);
  add_library(L, "math", luaopen_math, NULL);
  add_library(L, "utf8", luaopen_utf8, NULL);
  add_library(L, "coroutine", luaopen_coroutine, NULL);
  add_library(L, "os", luaopen_os, os_names);
  add_own(L, link);
}

/* searcher(name): the module beside the script, for a trusted one */
static int search_beside (lua_State *L) {
  load_module(L, link_of(L), luaL_checkstring(L, 1));
  return 1;
}

/* Under --trust: all of Lua's own libraries; modules are looked for beside
** the script before they are looked for in the system. */
static void add_trusted (lua_State *L, int link) {
  luaL_openlibs(L);
  setvbuf(stdout, NULL, _IONBF, 0); /* io.write and print keep their order */
  lua_getglobal(L, "package");
  lua_getfield(L, -1, "preload");
  lua_pushcfunction(L, luaopen_ampstead);
  lua_setfield(L, -2, "ampstead");
  lua_getfield(L, -2, "searchers");
  lua_getglobal(L, "table");
  lua_getfield(L, -1, "insert");
  lua_pushvalue(L, -3);
  lua_pushinteger(L, 2);
  lua_pushinteger(L, link);
  lua_pushcclosure(L, search_beside, 1);
  lua_call(L, 3, 0);
  lua_pop(L, 4);
  lua_pushglobaltable(L);
}

void scope_open (lua_State *L, const runner_task *task, int link) {
  if (task->o->trust)
    add_trusted(L, link);
  else
    add_caged(L, link);
  scope_add_walks(L);
  scope_add_sort(L);
  scope_add_text(L);
  scope_add_threads(L);
  seed_random(L, task->o->seed);
  add_arg(L, task);
  lua_pop(L, 1);
  keep_params(L, task);
  keep_settings(L, task->o);
  open_host(L, task, link);
}
