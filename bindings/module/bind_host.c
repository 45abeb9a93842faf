/*
** bind_host.c -- the one door to files and people, and what is lent to the
** core. A host (the runner) sets the table in the registry; under a stock
** Lua interpreter a plain one stands in: it reads beside the script and
** writes below out/.
*/
#include "bind.h"
#include "bind_inside.h"
#include "ampstead_module.h"
#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define HOST "ampstead.host"

/* ---- the stand-in under a stock interpreter ---- */

/* arg[0], or NULL */
static const char *push_script (lua_State *L) {
  const char *s = NULL;
  if (lua_getglobal(L, "arg") == LUA_TTABLE) {
    lua_rawgeti(L, -1, 0);
    s = lua_tostring(L, -1);
    lua_remove(L, -2);
  }
  return s;
}

static int push_bytes (lua_State *L, FILE *f) {
  luaL_Buffer b;
  size_t n;
  luaL_buffinit(L, &b);
  do {
    n = fread(luaL_prepbuffer(&b), 1, LUAL_BUFFERSIZE, f);
    luaL_addsize(&b, n);
  } while (n > 0);
  int bad = ferror(f);
  fclose(f);
  luaL_pushresult(&b);
  return bad;
}

static int refuse (lua_State *L, const char *kind, const char *path,
                   const char *why) {
  lua_pushnil(L);
  lua_pushfstring(L, "%s: %s: %s", kind, path, why);
  return 2;
}

const char *bind_file_name (const char *path) {
  const char *slash = strrchr(path, '/');
  return slash != NULL ? slash + 1 : path;
}

static int stock_read (lua_State *L) {
  const char *path = luaL_checkstring(L, 1), *script = push_script(L);
  const char *slash = script != NULL ? strrchr(script, '/') : NULL;
  if (path[0] == '/' || slash == NULL)
    lua_pushstring(L, path);
  else {
    lua_pushlstring(L, script, (size_t)(slash - script) + 1);
    lua_pushstring(L, path);
    lua_concat(L, 2);
  }
  FILE *f = fopen(lua_tostring(L, -1), "rb");
  if (f == NULL)
    return refuse(L, errno == ENOENT ? "missing" : "io", path,
                  strerror(errno));
  if (push_bytes(L, f))
    return refuse(L, "io", path, "cannot be read");
  return 1;
}

static bool stays_inside (const char *path) {
  if (path[0] == '/' || path[0] == '\0')
    return false;
  for (const char *p = path; p != NULL; p = strchr(p, '/')) {
    p += *p == '/';
    if (strncmp(p, "..", 2) == 0 && (p[2] == '/' || p[2] == '\0'))
      return false;
  }
  return true;
}

static FILE *open_below_out (lua_State *L, const char *path) {
  size_t n;
  lua_pushfstring(L, "out/%s", path);
  const char *full = lua_tolstring(L, -1, &n);
  char *copy = lua_newuserdatauv(L, n + 1, 0);
  memcpy(copy, full, n + 1);
  for (char *p = copy; (p = strchr(p, '/')) != NULL; p++) {
    *p = '\0';
    (void)mkdir(copy, 0777); /* it may stand; fopen tells what is wrong */
    *p = '/';
  }
  return fopen(full, "wb");
}

/* Note in out/.results that this script made 'path', as the runner does, so
** that a later run of it may replace the file: a line 'path TAB script', of
** which the last counts. */
static void record (lua_State *L, const char *path) {
  const char *script = push_script(L), *line, *at, *last = NULL;
  size_t n;
  if (script == NULL)
    return;
  line = lua_pushfstring(L, "\n%s\t%s\n", path, bind_file_name(script));
  n = strlen(path) + 2; /* with the breaks before and the tab behind it */
  FILE *f = fopen("out/.results", "rb");
  lua_pushliteral(L, "\n");
  if (f != NULL)
    push_bytes(L, f);
  else
    lua_pushliteral(L, "");
  lua_concat(L, 2);
  for (at = lua_tostring(L, -1); (at = strchr(at, '\n')) != NULL; at++)
    if (strncmp(at, line, n) == 0)
      last = at;
  if (last != NULL && strncmp(last, line, strlen(line)) == 0)
    return;
  f = fopen("out/.results", "ab");
  if (f == NULL)
    return;
  fputs(line + 1, f);
  fclose(f);
}

static int stock_write (lua_State *L) {
  size_t n;
  const char *path = luaL_checkstring(L, 1);
  const char *s = luaL_checklstring(L, 2, &n);
  if (!stays_inside(path))
    return refuse(L, "policy", path, "results stay below out/");
  FILE *f = open_below_out(L, path);
  if (f == NULL)
    return refuse(L, "create", path, strerror(errno));
  size_t done = fwrite(s, 1, n, f);
  if (fclose(f) != 0 || done != n)
    return refuse(L, "io", path, "cannot be written");
  record(L, path);
  lua_pushboolean(L, 1);
  return 1;
}

/* Push the text of the file, or nil. */
static void push_file (lua_State *L, const char *path) {
  FILE *f = path != NULL ? fopen(path, "rb") : NULL;
  if (f == NULL)
    lua_pushnil(L);
  else
    push_bytes(L, f);
}

/* Was -e, -l or -i among what stands before the script in arg? The table is
** on the top. */
static bool run_besides (lua_State *L) {
  bool besides = false;
  for (lua_Integer k = -1; lua_rawgeti(L, -1, k) == LUA_TSTRING; k--) {
    const char *s = lua_tostring(L, -1);
    besides = besides || (s[0] == '-' && s[1] != '\0' && strchr("eli", s[1]));
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
  return besides;
}

/* script() --> text and name or nil, nil; arguments; what was run besides */
static int stock_script (lua_State *L) {
  bool besides = false;
  lua_settop(L, 0);
  push_file(L, push_script(L));
  lua_replace(L, 1); /* the name stood there */
  if (lua_isnil(L, 1))
    lua_pushnil(L);
  else
    lua_pushstring(L, bind_file_name(push_script(L)));
  lua_replace(L, 2);
  lua_settop(L, 2);
  lua_newtable(L);
  if (lua_getglobal(L, "arg") == LUA_TTABLE) {
    for (lua_Integer k = 1; lua_rawgeti(L, 4, k) == LUA_TSTRING; k++)
      lua_rawseti(L, 3, k);
    lua_settop(L, 4);
    besides = run_besides(L);
  }
  lua_settop(L, 3);
  if (besides)
    lua_pushliteral(L, "-e or -l");
  else
    lua_pushnil(L);
  return 4;
}

static int stock_progress (lua_State *L) {
  (void)L;
  return 0;
}

static int stock_warn (lua_State *L) {
  fprintf(stderr, "ampstead: %s\n", luaL_checkstring(L, 1));
  return 0;
}

static const luaL_Reg stock[] = {
    {"read", stock_read},     {"write", stock_write},
    {"script", stock_script}, {"progress", stock_progress},
    {"warn", stock_warn},     {NULL, NULL}};

void ampstead_set_host (lua_State *L, int idx) {
  lua_pushvalue(L, idx);
  lua_setfield(L, LUA_REGISTRYINDEX, HOST);
}

/* ---- asking the host ---- */

/* Push host[name]; nil where there is none. */
static bool push_host (lua_State *L, const char *name) {
  lua_getfield(L, LUA_REGISTRYINDEX, HOST);
  lua_getfield(L, -1, name);
  lua_remove(L, -2);
  if (lua_isfunction(L, -1))
    return true;
  lua_pop(L, 1);
  return false;
}

/* 'why' begins with the class of the error, or is an I/O error. */
static int raise_why (lua_State *L, const char *path, const char *why) {
  static const char *const kinds[] = {"missing", "policy", "create",
                                      "data",    "io",     NULL};
  if (why == NULL)
    why = "no host to ask";
  for (int i = 0; kinds[i] != NULL; i++) {
    size_t n = strlen(kinds[i]);
    if (strncmp(why, kinds[i], n) == 0 && strncmp(why + n, ": ", 2) == 0)
      return bind_error(L, kinds[i], "%s", why + n + 2);
  }
  return bind_error(L, "io", "%s: %s", path, why);
}

const char *bind_plain_text (lua_State *L, int idx) {
  int type = lua_type(L, idx);
  if (type == LUA_TNUMBER || type == LUA_TSTRING || type == LUA_TBOOLEAN ||
      type == LUA_TNIL)
    return luaL_tolstring(L, idx, NULL);
  return lua_pushstring(L, luaL_typename(L, idx));
}

const char *bind_check_path (lua_State *L, int idx) {
  size_t n;
  const char *path = luaL_checklstring(L, idx, &n);
  if (strlen(path) != n)
    bind_error(L, "policy", "'%s' refused: a NUL byte stands behind it",
               path);
  return path;
}

void bind_read_file (lua_State *L, const char *path) {
  if (!push_host(L, "read"))
    bind_error(L, "policy", "%s: files cannot be read here", path);
  lua_pushstring(L, path);
  lua_call(L, 1, 2);
  if (lua_type(L, -2) != LUA_TSTRING)
    raise_why(L, path, lua_tostring(L, -1));
  lua_pop(L, 1);
}

void bind_text_keys (lua_State *L, const char *const *keys, bool file) {
  const char *s = file ? bind_check_path(L, 1) : lua_tostring(L, 1);
  lua_newtable(L);
  int made = lua_gettop(L);
  if (lua_istable(L, 2))
    for (int i = 0; keys[i] != NULL; i++)
      if (bind_get(L, 2, keys[i]))
        lua_setfield(L, made, keys[i]);
  if (file) {
    bind_read_file(L, s);
    lua_setfield(L, made, "text");
    s = bind_file_name(s);
    lua_pushlstring(L, s, strnlen(s, 63));
    lua_setfield(L, made, "name");
  } else {
    lua_pushvalue(L, 1);
    lua_setfield(L, made, "text");
  }
}

/* Each warning once: a sweep would say the same thing for every case. */
void bind_warn (lua_State *L, const char *text) {
  luaL_checkstack(L, 6, NULL);
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.warned");
  bool again = lua_getfield(L, -1, text) != LUA_TNIL;
  lua_pushboolean(L, 1);
  lua_setfield(L, -3, text);
  lua_pop(L, 2);
  if (again || !push_host(L, "warn"))
    return;
  lua_pushstring(L, text);
  lua_call(L, 1, 0);
}

static int core_read (lua_State *L) {
  bind_read_file(L, bind_check_path(L, 1));
  return 1;
}

static int core_write (lua_State *L) {
  const char *path = bind_check_path(L, 1);
  luaL_checkstring(L, 2);
  if (!push_host(L, "write"))
    return bind_error(L, "policy", "%s: files cannot be written here", path);
  lua_pushvalue(L, 1);
  lua_pushvalue(L, 2);
  lua_call(L, 2, 2);
  if (!lua_toboolean(L, -2))
    return raise_why(L, path, lua_tostring(L, -1));
  return 0;
}

static int core_script (lua_State *L) {
  int top = lua_gettop(L);
  if (!push_host(L, "script"))
    return 0;
  lua_call(L, 0, LUA_MULTRET);
  return lua_gettop(L) - top;
}

static int core_warn (lua_State *L) {
  bind_warn(L, luaL_checkstring(L, 1));
  return 0;
}

/* posted(text, line): table and last line of a post, for a host that checks
** one */
static int core_posted (lua_State *L) {
  lua_settop(L, 2);
  if (push_host(L, "posted")) {
    lua_insert(L, 1);
    lua_call(L, 2, 0);
  }
  return 0;
}

static int core_progress (lua_State *L) {
  if (push_host(L, "progress")) {
    lua_pushvalue(L, 1);
    lua_call(L, 1, 0);
  }
  return 0;
}

/* settings() --> {seed, jobs, draws} that the command line asks for */
static int core_settings (lua_State *L) {
  static const char *const keys[] = {"seed", "jobs", "draws"};
  lua_newtable(L);
  for (int i = 0; i < 3; i++) {
    lua_pushfstring(L, "ampstead.%s", keys[i]);
    lua_rawget(L, LUA_REGISTRYINDEX);
    lua_setfield(L, -2, keys[i]);
  }
  return 1;
}

/* ---- what is lent to the core ---- */

enum { WORKERS_MOST = 64 };

static atomic_int stop_asked;

void ampstead_stop (int stop) {
  atomic_store(&stop_asked, stop);
}

typedef struct lent {
  amp_context ctx;
  lua_State *L; /* that is inside the core now */
  lua_Alloc alloc;
  void *alloc_user;
  atomic_size_t kept; /* bytes the core holds, which Lua doesn't see */
  size_t enough;      /* so many are worth a collection */
  double shown;       /* share that was told last */
} lent;

#define ENOUGH ((size_t)32 << 20) /* small beside any limit of a script */

/* Through Lua's own allocator, so that the host's limit counts it too. */
static void *lent_alloc (void *user, void *old, size_t old_size,
                         size_t new_size) {
  lent *l = user;
  void *p = l->alloc(l->alloc_user, old, old_size, new_size);
  if (old == NULL)
    old_size = 0;
  if (p != NULL || new_size == 0) {
    atomic_fetch_add(&l->kept, new_size);
    atomic_fetch_sub(&l->kept, old_size);
  }
  return p;
}

/*
** A log or a run is a few words to Lua and megabytes to the core: without
** this a loop over logs fills the memory with what nobody holds any more.
** A quarter more than what the last collection left is worth the next.
*/
static void collect (lua_State *L, lent *l) {
  if (atomic_load(&l->kept) < l->enough)
    return;
  lua_gc(L, LUA_GCCOLLECT);
  size_t left = atomic_load(&l->kept);
  l->enough = left + (left / 4 > ENOUGH ? left / 4 : ENOUGH);
}

static bool lent_stop (void *user) {
  (void)user;
  return atomic_load(&stop_asked) != 0;
}

typedef struct crowd {
  amp_work *work;
  void *arg;
  size_t n;
  atomic_size_t next;
} crowd;

typedef struct hand {
  crowd *c;
  size_t worker;
  pthread_t thread;
  bool started;
} hand;

static void *hand_run (void *arg) {
  hand *h = arg;
  size_t i;
  while ((i = atomic_fetch_add(&h->c->next, 1)) < h->c->n)
    h->c->work(h->c->arg, i, h->worker);
  return NULL;
}

/* Whoever cannot be started leaves its share to the others. */
static void lent_for (void *user, size_t n, amp_work *work, void *arg) {
  lent *l = user;
  hand h[WORKERS_MOST];
  crowd c;
  size_t workers = l->ctx.workers < n ? l->ctx.workers : n;
  c.work = work;
  c.arg = arg;
  c.n = n;
  atomic_init(&c.next, 0);
  for (size_t i = 0; i < workers; i++) {
    h[i].c = &c;
    h[i].worker = i;
    h[i].started =
        i > 0 && pthread_create(&h[i].thread, NULL, hand_run, &h[i]) == 0;
  }
  if (workers > 0)
    hand_run(&h[0]);
  for (size_t i = 1; i < workers; i++)
    if (h[i].started)
      pthread_join(h[i].thread, NULL);
}

static void lent_progress (void *user, double share) {
  lent *l = user;
  if (share >= l->shown && share < l->shown + 0.01)
    return;
  l->shown = share;
  if (l->L == NULL || !push_host(l->L, "progress"))
    return;
  lua_pushnumber(l->L, share);
  if (lua_pcall(l->L, 1, 0, 0) != LUA_OK)
    lua_pop(l->L, 1);
}

static amp_isa machine_isa (void) {
#if defined(__x86_64__)
  __builtin_cpu_init();
  if (!__builtin_cpu_supports("avx2") || !__builtin_cpu_supports("fma") ||
      !__builtin_cpu_supports("bmi2"))
    return AMP_ISA_BASE;
  if (__builtin_cpu_supports("avx512f") &&
      __builtin_cpu_supports("avx512bw") &&
      __builtin_cpu_supports("avx512cd") &&
      __builtin_cpu_supports("avx512dq") &&
      __builtin_cpu_supports("avx512vl"))
    return AMP_ISA_V4;
  return AMP_ISA_V3;
#else
  return AMP_ISA_BASE;
#endif
}

static lent *lent_of (lua_State *L) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.lent");
  lent *l = lua_touserdata(L, -1);
  lua_pop(L, 1);
  return l;
}

const amp_context *bind_lent (lua_State *L) {
  return &lent_of(L)->ctx;
}

const amp_context *bind_context (lua_State *L) {
  lent *l = lent_of(L);
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.jobs");
  lua_Integer jobs = lua_isinteger(L, -1) ? lua_tointeger(L, -1) : 2;
  lua_pop(L, 1);
  if (jobs < 1 || jobs > WORKERS_MOST)
    jobs = jobs < 1 ? 1 : WORKERS_MOST;
  l->ctx.workers = (size_t)jobs;
  collect(L, l);
  l->L = L;
  return &l->ctx;
}

static void open_lent (lua_State *L) {
  lent *l = lua_newuserdatauv(L, sizeof *l, 0);
  memset(l, 0, sizeof *l);
  l->alloc = lua_getallocf(L, &l->alloc_user);
  l->enough = ENOUGH;
  l->ctx.user = l;
  l->ctx.alloc = lent_alloc;
  l->ctx.parallel_for = lent_for;
  l->ctx.workers = 2;
  l->ctx.stop = lent_stop;
  l->ctx.progress = lent_progress;
  l->ctx.isa = machine_isa();
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.lent");
}

/* ---- functions of the user's that the core calls ---- */

void bind_enter (lua_State *L) {
  lua_pushnil(L);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.user_error");
  lent_of(L)->L = L;
}

void bind_rethrow (lua_State *L) {
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.user_error");
  if (!lua_isnil(L, -1))
    lua_error(L);
  lua_pop(L, 1);
}

lua_State *bind_inside (const void *context_user) {
  return ((const lent *)context_user)->L;
}

static const luaL_Reg functions[] = {
    {"read", core_read},         {"write", core_write},
    {"script", core_script},     {"warn", core_warn},
    {"progress", core_progress}, {"posted", core_posted},
    {"settings", core_settings}, {NULL, NULL}};

void bind_host_open (lua_State *L) {
  if (lua_getfield(L, LUA_REGISTRYINDEX, HOST) == LUA_TNIL) {
    lua_newtable(L);
    luaL_setfuncs(L, stock, 0);
    lua_setfield(L, LUA_REGISTRYINDEX, HOST);
  }
  lua_pop(L, 1);
  open_lent(L);
  luaL_setfuncs(L, functions, 0);
}
