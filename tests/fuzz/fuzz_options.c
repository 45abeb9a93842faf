/*
** fuzz_options.c -- tables of options as scripts write them: the input is a
** small program that builds Lua tables (keys mostly those of the class that
** is called, values mostly of their kind and near their limits, objects made
** before) and calls the module's functions with them. Each call ends with an answer or an error that has words; nothing
** crashes, and no call goes on for ever.
*/
#include "bind.h"
#include "ampstead_module.h"
#include <lualib.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/time.h>

#define HOLD(what)                                                           \
  do {                                                                       \
    if (!(what))                                                             \
      abort();                                                               \
  } while (0)

enum {
  KEYS_MOST = 1000,
  CLASSES_MOST = 64,
  CALLS_MOST = 200,
  DEEPEST = 3,
  MADE = 8
};
static const size_t MEMORY_MOST = (size_t)256 << 20;

static lua_State *state;
static size_t used;
static const char *keys[KEYS_MOST];
static size_t keys_n;
static const bind_class *classes[CLASSES_MOST];
static size_t classes_n;
typedef struct callee {
  int ref;             /* of the function */
  const bind_class *c; /* what it makes, or NULL */
} callee;
static callee calls[CALLS_MOST];
static size_t calls_n;
static int ready; /* reference to a list of objects that are in order */

typedef struct source {
  const uint8_t *p, *end;
} source;

static unsigned take (source *s) {
  return s->p < s->end ? *s->p++ : 0;
}

/* ---- a host without files ---- */

static void *limited (void *ud, void *old, size_t old_n, size_t n) {
  void *p = NULL;
  (void)ud;
  old_n = old != NULL ? old_n : 0;
  if (n > old_n && used + (n - old_n) > MEMORY_MOST)
    return NULL;
  if (n == 0)
    free(old);
  else if ((p = realloc(old, n)) == NULL)
    return NULL;
  used += n - old_n;
  return p;
}

static int nothing (lua_State *L) {
  lua_pushnil(L);
  lua_pushliteral(L, "missing: no files here");
  return 2;
}

static int silent (lua_State *L) {
  (void)L;
  return 0;
}

static void set_host (lua_State *L) {
  static const luaL_Reg host[] = {{"read", nothing},    {"write", nothing},
                                  {"script", silent},   {"warn", silent},
                                  {"progress", silent}, {NULL, NULL}};
  luaL_newlib(L, host);
  ampstead_set_host(L, lua_gettop(L));
  lua_pop(L, 1);
}

/* ---- the end of a call that takes too long ---- */

static void too_long (lua_State *L, lua_Debug *ar) {
  (void)ar;
  lua_sethook(L, NULL, 0, 0);
  luaL_error(L, "time is up");
}

static void on_alarm (int sig) {
  (void)sig;
  ampstead_stop(1);
  lua_sethook(state, too_long, LUA_MASKCOUNT, 1);
}

static void time_limit (int ms) {
  struct itimerval t = {{0, 0}, {ms / 1000, ms % 1000 * 1000}};
  setitimer(ITIMER_VIRTUAL, &t, NULL); /* the fuzzer has SIGALRM itself */
  if (ms == 0) {
    ampstead_stop(0);
    lua_sethook(state, NULL, 0, 0);
  }
}

/* ---- what there is to call, and with what keys ---- */

static void add_keys (const bind_class *c) {
  for (const bind_field *f = c->fields; f->key != NULL; f++)
    if (keys_n < KEYS_MOST)
      keys[keys_n++] = f->key;
}

/* Options that no class lists. */
static void add_words (void) {
  static const char *const words[] = {"draws",
                                      "seed",
                                      "over",
                                      "case",
                                      "columns",
                                      "sep",
                                      "decimal",
                                      "rows",
                                      "title",
                                      "modules",
                                      "currency",
                                      "rates",
                                      "as_of",
                                      "module",
                                      "days",
                                      "step_s",
                                      "x",
                                      "y",
                                      "by",
                                      "good",
                                      "duds",
                                      "tested",
                                      "target",
                                      "per",
                                      "nmc111",
                                      "lfp",
                                      "nca",
                                      "monotone",
                                      "linear",
                                      "included",
                                      "none",
                                      "id,ocv_v\nA,52.1\nB,52.3\n",
                                      "time_s,current_a\n0,1\n9,2\n19,1\n",
                                      "offer,price_lot\nA,100\n",
                                      "series",
                                      "parallel",
                                      "copper",
                                      "dated"};
  for (size_t k = 0; k < sizeof words / sizeof *words; k++)
    keys[keys_n++] = words[k];
}

static const bind_class *class_made_by (const char *name) {
  for (size_t k = 0; k < classes_n; k++)
    if (strcmp(classes[k]->make, name) == 0)
      return classes[k];
  return NULL;
}

/* Functions of the table at the top and of tables in it, in name order. */
static void add_calls (lua_State *L, int depth) {
  int t = lua_gettop(L), names;
  lua_newtable(L);
  names = lua_gettop(L);
  lua_pushnil(L);
  while (lua_next(L, t) != 0) {
    lua_pop(L, 1);
    if (lua_type(L, -1) == LUA_TSTRING) {
      lua_pushvalue(L, -1);
      lua_rawseti(L, names, (lua_Integer)lua_rawlen(L, names) + 1);
    }
  }
  lua_getglobal(L, "table");
  lua_getfield(L, -1, "sort");
  lua_pushvalue(L, names);
  lua_call(L, 1, 0);
  for (lua_Integer k = 1; k <= (lua_Integer)lua_rawlen(L, names); k++) {
    lua_rawgeti(L, names, k);
    const char *name = lua_tostring(L, -1);
    lua_gettable(L, t);
    if (lua_isfunction(L, -1) && calls_n < CALLS_MOST) {
      calls[calls_n].c = class_made_by(name);
      calls[calls_n++].ref = luaL_ref(L, LUA_REGISTRYINDEX);
      continue;
    }
    if (lua_istable(L, -1) && depth > 0)
      add_calls(L, depth - 1);
    lua_pop(L, 1);
  }
  lua_settop(L, t);
}

static const char objects[] =
    "local amp = require 'ampstead'\n"
    "local m = amp.module{ name = 'm', chemistry = 'nmc111', series = 7,\n"
    "  parallel = 2, capacity_ah = 60, soh_pct = 85, r10s_mohm = 12 }\n"
    "local inv = amp.inverter{ v_min = 42, v_max = 58, power_w = 3000 }\n"
    "local duty = amp.profile.daily{ load_w = 200, temp_c = 15 }\n"
    "local need = amp.need{ duty = duty, inverter = inv, currency = 'EUR',\n"
    "  horizon_years = 5, discount_pct = 4 }\n"
    "return { m, inv, duty, need,\n"
    "  amp.offer{ name = 'o', module = m, count = 4, price_each = 90,\n"
    "    currency = 'EUR' },\n"
    "  amp.pack{ module = m, series = 2, parallel = 2 },\n"
    "  amp.measured(3, 0.2), amp.between(1, 2),\n"
    "  amp.log.text('time_s,current_a,voltage_v\\n0,1,4\\n9,1,3.9\\n"
    "19,2,3.8\\n'),\n"
    "  amp.readings.text('id,ocv_v,r10s_mohm\\nA,26,11\\nB,26.1,12\\n',\n"
    "    { module = m }),\n"
    "  amp.table{ columns = { 'n' }, rows = { { n = 1 } } } }\n";

static void open_module (void) {
  lua_State *L = state = lua_newstate(limited, NULL);
  HOLD(L != NULL);
  luaL_openlibs(L);
  set_host(L);
  luaL_requiref(L, "ampstead", luaopen_ampstead, 0);
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.classes");
  for (lua_Integer k = 1; lua_rawgeti(L, -1, k) != LUA_TNIL; k++) {
    HOLD(classes_n < CLASSES_MOST);
    add_keys(classes[classes_n++] = lua_touserdata(L, -1));
    lua_pop(L, 1);
  }
  lua_settop(L, 1);
  add_calls(L, 1);
  lua_settop(L, 0);
  add_words();
  if (luaL_dostring(L, objects) != LUA_OK) {
    fprintf(stderr, "%s\n", lua_tostring(L, -1));
    abort();
  }
  ready = luaL_ref(L, LUA_REGISTRYINDEX);
  HOLD(keys_n > 100 && calls_n > 20);
  signal(SIGVTALRM, on_alarm);
}

/* ---- programs ---- */

static const char *key_of (source *s) {
  unsigned k = take(s);
  return keys[(k * 256 + take(s)) % keys_n];
}

static void push_number (lua_State *L, source *s) {
  static const double odd[] = {0.0, -0.0,  1e308, -1e308, 5e-324, 1e-300,
                               0.5, 100.0, 1e15,  -1.0,   1e6,    3600.0};
  unsigned how = take(s);
  double v = 0.0;
  uint8_t raw[sizeof v];
  switch (how & 3) {
  case 0:
    lua_pushinteger(L, (int)take(s) - 16);
    return;
  case 1:
    lua_pushnumber(L, (take(s) * 256 + take(s)) / 100.0);
    return;
  case 2:
    lua_pushnumber(L, odd[take(s) % (sizeof odd / sizeof *odd)]);
    return;
  default:
    for (size_t k = 0; k < sizeof raw; k++)
      raw[k] = (uint8_t)take(s);
    memcpy(&v, raw, sizeof v);
    lua_pushnumber(L, v);
  }
}

static void push_text (lua_State *L, source *s) {
  size_t n = take(s) & 63, left = (size_t)(s->end - s->p);
  n = n < left ? n : left;
  lua_pushlstring(L, (const char *)s->p, n);
  s->p += n;
}

static void push_object (lua_State *L, source *s, int made) {
  unsigned k = take(s);
  if (k & 1) {
    lua_rawgeti(L, made, k / 2 % MADE + 1);
    return;
  }
  lua_rawgeti(L, LUA_REGISTRYINDEX, ready);
  lua_rawgeti(L, -1, k / 2 % (lua_Integer)lua_rawlen(L, -1) + 1);
  lua_remove(L, -2);
}

static void push_value (lua_State *L, source *s, int made, int depth);

/* A value of the field's kind, a number between its limits or at them. */
static void push_fitting (lua_State *L, source *s, int made,
                          const bind_field *f) {
  static const double share[] = {0.0, 1e-6, 0.01, 0.1, 0.5, 0.9, 1.0, 1.001};
  unsigned how = take(s);
  switch (f->kind) {
  case BIND_TEXT:
  case BIND_CHOICE:
    lua_pushstring(L, key_of(s));
    return;
  case BIND_FLAG:
    lua_pushboolean(L, how & 1);
    return;
  case BIND_OBJECT:
  case BIND_LAW:
    push_object(L, s, made);
    return;
  case BIND_WHOLE:
    lua_pushinteger(L, (int)(f->lo < -1e9 ? 0.0 : f->lo) + (int)(how & 15));
    return;
  default:
    lua_pushnumber(L, f->lo + (f->hi - f->lo) * share[how & 7]);
  }
}

/* Keys of the class, each at most once, mostly with fitting values. */
static void push_keys (lua_State *L, source *s, int made,
                       const bind_class *c) {
  lua_newtable(L);
  for (const bind_field *f = c->fields; f->key != NULL; f++) {
    unsigned how = take(s);
    if (how & 1)
      continue;
    if (how & 0x38)
      push_fitting(L, s, made, f);
    else
      push_value(L, s, made, 1);
    lua_setfield(L, -2, f->key);
  }
}

static void push_table (lua_State *L, source *s, int made, int depth) {
  unsigned n = take(s) % 12;
  lua_newtable(L);
  for (unsigned k = 1; k <= n && s->p < s->end; k++) {
    if (take(s) & 7)
      lua_pushstring(L, key_of(s));
    else
      lua_pushinteger(L, k);
    push_value(L, s, made, depth + 1);
    lua_rawset(L, -3);
  }
}

static void push_value (lua_State *L, source *s, int made, int depth) {
  switch (take(s) % 8) {
  case 0:
  case 1:
  case 2:
    push_number(L, s);
    return;
  case 3:
    lua_pushstring(L, key_of(s));
    return;
  case 4:
    push_text(L, s);
    return;
  case 5:
    lua_pushboolean(L, take(s) & 1);
    return;
  case 6:
    push_object(L, s, made);
    return;
  default:
    if (depth < DEEPEST)
      push_table(L, s, made, depth);
    else
      lua_pushboolean(L, 1);
  }
}

/* What the call gave is shown, read and copied as a script would. */
static int use (lua_State *L) {
  luaL_tolstring(L, 1, NULL);
  lua_pop(L, 1);
  if (lua_type(L, 1) == LUA_TNIL || lua_type(L, 1) == LUA_TNUMBER ||
      lua_type(L, 1) == LUA_TBOOLEAN || lua_type(L, 1) == LUA_TSTRING)
    return 0;
  lua_getfield(L, 1, lua_tostring(L, 2));
  return 0;
}

/* An error is a sentence, or an object that can be shown as one. */
static void check_error (lua_State *L) {
  lua_pushcfunction(L, use);
  lua_insert(L, -2);
  lua_pushliteral(L, "class");
  if (lua_pcall(L, 2, 0, 0) != LUA_OK)
    lua_pop(L, 1);
}

static int run (lua_State *L) {
  source *s = lua_touserdata(L, 1);
  lua_settop(L, 1);
  lua_newtable(L); /* 2: what was made */
  for (int k = 1; k <= MADE && s->p < s->end; k++) {
    const callee *to = &calls[take(s) % calls_n];
    lua_rawgeti(L, LUA_REGISTRYINDEX, to->ref);
    unsigned n = 1 + (take(s) & 1);
    for (unsigned j = 0; j < n; j++)
      if (take(s) & 3 && to->c != NULL)
        push_keys(L, s, 2, to->c);
      else if (take(s) & 7)
        push_table(L, s, 2, 0);
      else
        push_value(L, s, 2, 0);
    if (lua_pcall(L, (int)n, 1, 0) != LUA_OK) {
      check_error(L);
      continue;
    }
    lua_pushvalue(L, -1);
    lua_rawseti(L, 2, k);
    lua_pushcfunction(L, use);
    lua_insert(L, -2);
    lua_pushstring(L, key_of(s));
    if (lua_pcall(L, 2, 0, 0) != LUA_OK)
      lua_pop(L, 1);
  }
  return 0;
}

int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n);
int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n) {
  static unsigned turns;
  source s = {data, data + n};
  if (state == NULL)
    open_module();
  lua_pushcfunction(state, run);
  lua_pushlightuserdata(state, &s);
  time_limit(100);
  lua_pcall(state, 1, 0, 0);
  time_limit(0);
  lua_settop(state, 0);
  if (++turns % 64 == 0)
    lua_gc(state, LUA_GCCOLLECT);
  return 0;
}
