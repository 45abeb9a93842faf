/*
** fuzz_options.c -- tables of options as scripts write them: the input is a
** small program that builds Lua tables (keys mostly those of the class or call
** that is called, values mostly of their kind and near their limits, objects
** made before) and calls the module's functions, and the methods of what they
** gave, with them. Each call ends with an answer or an error that has words;
** nothing crashes, and no call goes on for ever.
**
** What there is to call comes from the module, words and the keys of calls
** from docs/reference (scripts/dev/fuzz_words.lua): nothing here goes stale
** when something is added. A byte pair of the input names a call or a key by
** its place on a ring of hashes, so that an input goes on meaning what it
** meant. With AMPSTEAD_SEEDS=DIR the program writes an input for each call and
** each of its keys there, and ends.
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

enum { KNOWN_KEYS = 42 };
#include "fuzz_words.h" /* known_words, known_calls */

#define HOLD(what)                                                           \
  do {                                                                       \
    if (!(what))                                                             \
      abort();                                                               \
  } while (0)

enum {
  RING = 65536, /* places: two bytes */
  NAMES_MOST = 3000,
  CLASSES_MOST = 64,
  CALLS_MOST = 500,
  DEEPEST = 3,
  MADE = 8
};
static const size_t MEMORY_MOST = (size_t)256 << 20;

static lua_State *state;
static size_t used;
static const bind_class *classes[CLASSES_MOST];
static size_t classes_n;

typedef struct callee {
  const char *name;
  int ref;                 /* of the function; of a method LUA_NOREF */
  const bind_class *c;     /* what it makes, or NULL */
  const char *const *keys; /* that the reference writes in its braces */
  int object;              /* one that is ready and has the method, from 0 */
} callee;
static callee calls[CALLS_MOST];
static size_t calls_n;

/* Names around a ring, each at the hash of itself. */
typedef struct ring {
  unsigned at[NAMES_MOST]; /* rising */
  const char *name[NAMES_MOST];
  int what[NAMES_MOST];
  size_t n;
} ring;
static ring key_ring, call_ring;
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

/* ---- rings ---- */

/* FNV-1a, 32 bits folded to two bytes */
static unsigned hash_of (const char *name) {
  uint32_t h = 2166136261u;
  for (; *name != '\0'; name++)
    h = (h ^ (unsigned char)*name) * 16777619u;
  return (h >> 16 ^ h) & (RING - 1);
}

/* Where to look for place 'at': the first name there or behind it. */
static size_t ring_find (const ring *r, unsigned at) {
  size_t lo = 0, hi = r->n;
  while (lo < hi) {
    size_t mid = (lo + hi) / 2;
    if (r->at[mid] < at)
      lo = mid + 1;
    else
      hi = mid;
  }
  return lo;
}

static void ring_add (ring *r, const char *name, int what) {
  unsigned at = hash_of(name);
  size_t k = ring_find(r, at);
  for (size_t i = k; i < r->n && r->at[i] == at; i++)
    if (strcmp(r->name[i], name) == 0)
      return;
  HOLD(r->n < NAMES_MOST);
  for (; k < r->n && r->at[k] == at; k++)
    at++; /* two of one hash stand side by side */
  for (size_t i = r->n++; i > k; i--) {
    r->at[i] = r->at[i - 1];
    r->name[i] = r->name[i - 1];
    r->what[i] = r->what[i - 1];
  }
  r->at[k] = at;
  r->name[k] = name;
  r->what[k] = what;
}

static size_t take_name (const ring *r, source *s) {
  unsigned at = take(s) * 256;
  at += take(s);
  return ring_find(r, at) % r->n;
}

/* ---- what there is to call, and with what keys ---- */

/* Texts, and words that the reference leaves to others. */
static void add_words (void) {
  static const char *const words[] = {
      "id,ocv_v\nA,52.1\nB,52.3\n",
      "time_s,current_a\n0,1\n9,2\n19,1\n",
      "time_s,load_w,pv_w\n0,100,0\n3600,200,50\n",
      "offer,price_lot\nA,100\n",
      "8 modules 7s2p, 112 Ah, 84 % SoH, 2600 EUR plus freight",
      "nmc111",
      "lfp",
      "nca",
      "monotone",
      "linear",
      "markdown"};
  for (size_t k = 0; k < sizeof words / sizeof *words; k++)
    ring_add(&key_ring, words[k], 0);
  for (size_t k = 0; k < sizeof known_words / sizeof *known_words; k++)
    ring_add(&key_ring, known_words[k], 0);
}

static void add_call (const char *name, int ref, const bind_class *c,
                      int object) {
  callee *to = &calls[calls_n];
  for (size_t k = 0; k < calls_n; k++)
    if (ref == LUA_NOREF && strcmp(calls[k].name, name) == 0)
      return;
  HOLD(calls_n < CALLS_MOST);
  to->name = name;
  to->ref = ref;
  to->c = c;
  to->object = object;
  for (size_t k = 0; k < sizeof known_calls / sizeof *known_calls; k++)
    if (strcmp(known_calls[k].call, name) == 0)
      to->keys = known_calls[k].keys;
  ring_add(&call_ring, name, (int)calls_n++);
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
    if (lua_isfunction(L, -1)) {
      int ref = luaL_ref(L, LUA_REGISTRYINDEX);
      add_call(name, ref, class_made_by(name), 0);
      continue;
    }
    if (lua_istable(L, -1) && depth > 0)
      add_calls(L, depth - 1);
    lua_pop(L, 1);
  }
  lua_settop(L, t);
}

/* Objects in order, and after them the names of their methods: those of an
** object's metatable, and of the tables that its __index function sees. */
static const char objects[] =
    "local amp = require 'ampstead'\n"
    "local m = amp.module{ name = 'm', chemistry = 'nmc111', series = 7,\n"
    "  parallel = 2, capacity_ah = 60, soh_pct = 85, r10s_mohm = 12,\n"
    "  mass_kg = 20, life_model = 'nmc_voltage_depth', soh_end_pct = 60 }\n"
    "local inv = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,\n"
    "  power_w = 3000, capacitance_uf = 9000 }\n"
    "local duty = amp.profile.daily{ load_w = 200, temp_c = 15,\n"
    "  solar_kwp = 2, sun_hours = 3 }\n"
    "local test = amp.profile.steps{ { discharge_a = 5, hours = 1 },\n"
    "  { rest_s = 600 } }\n"
    "local need = amp.need{ duty = duty, inverter = inv, currency = 'EUR',\n"
    "  horizon_years = 5, discount_pct = 4 }\n"
    "local offer = amp.offer{ name = 'o', module = m, count = 4,\n"
    "  price_each = 90, currency = 'EUR', dud_pct = 10 }\n"
    "local pack = amp.pack{ module = m, series = 2, parallel = 2 }\n"
    "local log = amp.log.text('time_s,current_a,voltage_v\\n0,1,4\\n"
    "9,1,3.9\\n19,2,3.8\\n')\n"
    "local lot = amp.readings.text('id,ocv_v,r10s_mohm,ah\\nA,26,11,50\\n"
    "B,26,11,51\\nC,26,11,52\\nD,26,11,50\\n', { module = m })\n"
    "local plan = amp.match(lot, { series = 2, parallel = 2 })\n"
    "local cell = amp.cell{ chemistry = 'nca', capacity_ah = 3,\n"
    "  r10s_mohm = 40 }\n"
    "local cable = amp.cable{ one_way_m = 2, area_mm2 = 35, current_a = 50,\n"
    "  v = 50 }\n"
    "local fuse = amp.fuse{ rating_a = 100, voltage_v = 80 }\n"
    "local list = { m, inv, duty, need, offer, pack, amp.measured(3, 0.2),\n"
    "  amp.between(1, 2), log, lot, amp.table{ columns = { 'n' },\n"
    "  rows = { { n = 1 }, { n = 2 } } }, test, plan, cell, cable, fuse,\n"
    "  pack:simulate(test), pack:sheet{}, cell:simulate(test),\n"
    "  pack:check{ inverter = inv }, amp.circuit{ pack = pack,\n"
    "  inverter = inv, cable = cable, fuse = fuse },\n"
    "  amp.place{ coldest_c = 2 }, amp.caution{ id = 'own', what = 'w',\n"
    "  test = function () return false end },\n"
    "  amp.chemistry{ name = 'c', ocv_v = { { 0, 3 }, { 100, 4 } } },\n"
    "  amp.life_model{ calendar_pct_per_year = 1, cycle_pct_per_efc = 0.01 "
    "},\n"
    "  "
    "amp.offers.text('offer,chemistry,modules,capacity_ah,voltage_v,price_"
    "lot\\nA,NMC,4,60,25,100\\n') }\n"
    "local names, seen = {}, {}\n"
    "local function take (t, i)\n"
    "  for name, fn in next, t do\n"
    "    if type(name) == 'string' and type(fn) == 'function' and\n"
    "      not name:find '^get_' and not name:find '^__' and\n"
    "      not seen[name] then\n"
    "      names[#names + 1], seen[name] = name, i\n"
    "    end\n"
    "  end\n"
    "end\n"
    "for n, x in ipairs(list) do\n"
    "  local meta = debug.getmetatable(x)\n"
    "  local index = meta and meta.__index\n"
    "  if type(index) == 'table' then take(index, n) end\n"
    "  for i = 1, type(index) == 'function' and 60 or 0 do\n"
    "    local name, up = debug.getupvalue(index, i)\n"
    "    if not name then break end\n"
    "    if type(up) == 'table' then take(up, n) end\n"
    "  end\n"
    "end\n"
    "table.sort(names)\n"
    "return list, names, seen\n";

static void open_module (void) {
  lua_State *L = state = lua_newstate(limited, NULL);
  HOLD(L != NULL);
  luaL_openlibs(L);
  set_host(L);
  luaL_requiref(L, "ampstead", luaopen_ampstead, 0);
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.classes");
  for (lua_Integer k = 1; lua_rawgeti(L, -1, k) != LUA_TNIL; k++) {
    HOLD(classes_n < CLASSES_MOST);
    classes[classes_n++] = lua_touserdata(L, -1);
    for (const bind_field *f = classes[classes_n - 1]->fields; f->key; f++)
      ring_add(&key_ring, f->key, 0);
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
  for (lua_Integer k = 1; lua_rawgeti(L, 2, k) != LUA_TNIL; k++) {
    const char *name = lua_tostring(L, -1);
    lua_getfield(L, 3, name);
    add_call(name, LUA_NOREF, NULL, (int)lua_tointeger(L, -1) - 1);
    lua_pop(L, 2);
  }
  lua_settop(L, 2);
  luaL_ref(L, LUA_REGISTRYINDEX); /* the list keeps the names */
  ready = luaL_ref(L, LUA_REGISTRYINDEX);
  HOLD(key_ring.n > 500 && calls_n > 100);
  signal(SIGVTALRM, on_alarm);
}

/* ---- programs ---- */

static const char *key_of (source *s) {
  return key_ring.name[take_name(&key_ring, s)];
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

/* The keys that the reference writes for a call, with any values. */
static void push_known (lua_State *L, source *s, int made,
                        const char *const *keys) {
  lua_newtable(L);
  for (; *keys != NULL; keys++) {
    if (take(s) & 1)
      continue;
    push_value(L, s, made, 1);
    lua_setfield(L, -2, *keys);
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

/* The class of the object at the top; NULL: it has none. */
static const bind_class *class_at (lua_State *L) {
  const bind_class *c = NULL;
  if (lua_isuserdata(L, -1) && lua_getmetatable(L, -1)) {
    lua_getfield(L, -1, "__class");
    c = lua_touserdata(L, -1);
    lua_pop(L, 2);
  }
  return c;
}

static void push_argument (lua_State *L, source *s, const callee *to,
                           const bind_class *c) {
  unsigned how = take(s);
  if (how & 3 && c != NULL)
    push_keys(L, s, 2, c);
  else if (how & 3 && to->keys != NULL)
    push_known(L, s, 2, to->keys);
  else if (how & 4)
    push_object(L, s, 2);
  else if (how & 8)
    push_table(L, s, 2, 0);
  else
    push_value(L, s, 2, 0);
}

/* Push the function or method, the object of a method, and what they are
** given; how many arguments. */
static int push_call (lua_State *L, source *s) {
  const callee *to = &calls[call_ring.what[take_name(&call_ring, s)]];
  int n = 1 + (int)(take(s) & 1), object = to->ref == LUA_NOREF;
  const bind_class *c = to->c;
  if (object) {
    push_object(L, s, 2);
    if (lua_isnil(L, -1) || lua_isboolean(L, -1))
      return -1;
    if (strcmp(to->name, "with") == 0)
      c = class_at(L);
    lua_getfield(L, -1, to->name); /* may raise: there is none */
    lua_insert(L, -2);
  } else
    lua_rawgeti(L, LUA_REGISTRYINDEX, to->ref);
  for (int k = 0; k < n; k++)
    push_argument(L, s, to, c);
  return n + object;
}

/* One call of the program at 1, whose objects stand at 2. */
static int one_call (lua_State *L) {
  int n = push_call(L, lua_touserdata(L, 1));
  if (n < 0)
    return 0;
  lua_call(L, n, 1);
  return 1;
}

static int run (lua_State *L) {
  source *s = lua_touserdata(L, 1);
  lua_settop(L, 1);
  lua_newtable(L); /* 2: what was made */
  for (int k = 1; k <= MADE && s->p < s->end; k++) {
    lua_pushcfunction(L, one_call);
    lua_pushvalue(L, 1);
    lua_pushvalue(L, 2);
    if (lua_pcall(L, 2, 1, 0) != LUA_OK) {
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

/* ---- inputs that name each call and each key ---- */

static size_t put_name (uint8_t *to, const ring *r, const char *name) {
  for (size_t k = 0; k < r->n; k++)
    if (strcmp(r->name[k], name) == 0) {
      to[0] = (uint8_t)(r->at[k] >> 8);
      to[1] = (uint8_t)r->at[k];
    }
  return 2;
}

static void write_seed (const char *dir, const uint8_t *p, size_t n) {
  static int count;
  char path[4096];
  snprintf(path, sizeof path, "%s/%04d", dir, ++count);
  FILE *f = fopen(path, "wb");
  HOLD(f != NULL && fwrite(p, 1, n, f) == n && fclose(f) == 0);
}

/* Fitting values of the k-th key of a class, or of all (k < 0). */
static size_t put_fields (uint8_t *to, const bind_class *c, int k) {
  size_t n = 0;
  int i = 0;
  for (const bind_field *f = c->fields; f->key != NULL; f++, i++) {
    if (k >= 0 && i != k) {
      to[n++] = 1;
      continue;
    }
    to[n++] = 0x38;
    to[n++] = 4; /* the middle */
    if (f->kind == BIND_TEXT || f->kind == BIND_CHOICE)
      n += put_name(to + n, &key_ring, f->key);
    else if (f->kind == BIND_OBJECT || f->kind == BIND_LAW)
      to[n++] = 0;
  }
  return n;
}

/* The same of a call's known keys: objects, and the number 1. */
static size_t put_known (uint8_t *to, const char *const *keys, int k) {
  size_t n = 0;
  for (int i = 0; keys != NULL && keys[i] != NULL; i++) {
    to[n++] = k >= 0 && i != k;
    if (to[n - 1])
      continue;
    to[n++] = i & 1 ? 6 : 0;
    to[n++] = i & 1 ? (uint8_t)(4 * i) : 0;
    if (!(i & 1))
      to[n++] = 17;
  }
  return n;
}

static size_t keys_in (const bind_class *c, const char *const *keys) {
  size_t n = 0;
  while (c != NULL ? c->fields[n].key != NULL
                   : keys != NULL && keys[n] != NULL)
    n++;
  return n;
}

/* A call with all of its keys, then with each, of class 'c' where it has
** one; a method is that of object 'object'. */
static void seed_call (const char *dir, const callee *to, const bind_class *c,
                       int object) {
  for (int k = -1; k < (int)keys_in(c, to->keys); k++) {
    uint8_t p[4000];
    size_t n = put_name(p, &call_ring, to->name);
    p[n++] = 0; /* one argument */
    if (to->ref == LUA_NOREF)
      p[n++] = (uint8_t)(2 * object);
    p[n++] = 1; /* its keys */
    n += c != NULL ? put_fields(p + n, c, k) : put_known(p + n, to->keys, k);
    write_seed(dir, p, n);
  }
}

/* object:with{key} for each object that is ready and has a class. */
static void seed_changes (const char *dir, const callee *with) {
  lua_rawgeti(state, LUA_REGISTRYINDEX, ready);
  for (int i = 0; lua_rawgeti(state, 1, i + 1) != LUA_TNIL; i++) {
    const bind_class *c = class_at(state);
    if (c != NULL)
      seed_call(dir, with, c, i);
    lua_settop(state, 1);
  }
  lua_settop(state, 0);
}

static void write_seeds (const char *dir) {
  for (size_t k = 0; k < calls_n; k++)
    if (strcmp(calls[k].name, "with") == 0)
      seed_changes(dir, &calls[k]);
    else
      seed_call(dir, &calls[k], calls[k].c, calls[k].object);
}

int LLVMFuzzerInitialize (int *argc, char ***argv);
int LLVMFuzzerInitialize (int *argc, char ***argv) {
  const char *dir = getenv("AMPSTEAD_SEEDS");
  (void)argc;
  (void)argv;
  open_module();
  if (dir != NULL) {
    write_seeds(dir);
    exit(0);
  }
  return 0;
}

int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n);
int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n) {
  static unsigned turns;
  source s = {data, data + n};
  lua_pushcfunction(state, run);
  lua_pushlightuserdata(state, &s);
  time_limit(50);
  lua_pcall(state, 1, 0, 0);
  time_limit(0);
  lua_settop(state, 0);
  if (++turns % 64 == 0)
    lua_gc(state, LUA_GCCOLLECT);
  return 0;
}
