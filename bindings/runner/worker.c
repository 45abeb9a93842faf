/*
** worker.c -- the process that runs the script. Its memory is counted, its
** descriptors are three, and it stands in the cage of cage.h.
*/
#include "module/ampstead_module.h"
#include "runner/cage.h"
#include "runner/scope.h"
#include <lauxlib.h>
#include <lualib.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

typedef struct worker {
  const runner_task *task;
  int link;
  lua_State *L;
  atomic_size_t used; /* bytes; the core may allocate from several threads */
  size_t limit;
  bool warnings;
} worker;

static worker *current; /* for the signal handler: one worker a process */

static volatile sig_atomic_t late; /* the deadline has passed */

/* ---- memory ---- */

static void *counted (void *ud, void *old, size_t old_n, size_t n) {
  worker *w = ud;
  void *p;
  if (old == NULL)
    old_n = 0; /* Lua passes a type there */
  if (n == 0) {
    free(old);
    atomic_fetch_sub(&w->used, old_n);
    return NULL;
  }
  if (n > old_n &&
      atomic_fetch_add(&w->used, n - old_n) + (n - old_n) > w->limit) {
    atomic_fetch_sub(&w->used, n - old_n);
    return NULL;
  }
  p = realloc(old, n);
  if (n <= old_n)
    atomic_fetch_sub(&w->used, old_n - n);
  else if (p == NULL)
    atomic_fetch_sub(&w->used, n - old_n);
  return p;
}

/* ---- the script's name ---- */

/* The script's name without folders: what a script can read of itself, in a
** message it caught, must not depend on where somebody keeps it. */
static const char *base_name (const worker *w) {
  const char *slash = strrchr(w->task->name, '/');
  return slash != NULL ? slash + 1 : w->task->name;
}

/* What is missing before a message of "hut.lua:3: ..": the person typed it */
static void put_folder (const worker *w, const char *text) {
  const char *base = w->task->name != NULL ? base_name(w) : "";
  size_t n = strlen(base);
  if (n > 0 && strncmp(text, base, n) == 0 && text[n] == ':')
    scope_put(STDERR_FILENO, w->task->name, (size_t)(base - w->task->name));
}

/* ---- time ---- */

/* The script's own line that is running, or the nearest caller of it. */
static void stop_here (lua_State *L, lua_Debug *ar) {
  char text[200];
  lua_Debug at;
  int level = 0, n;
  while (lua_getstack(L, level, &at) != 0) {
    lua_getinfo(L, "Sl", &at);
    if (at.source[0] == '@') {
      ar = &at;
      break;
    }
    level++;
  }
  if (ar != &at)
    lua_getinfo(L, "Sl", ar);
  n = snprintf(text, sizeof text, "%s:%d: stopped: time limit of %g s\n",
               at.short_src, at.currentline, current->task->o->time);
  scope_put(STDERR_FILENO, "ampstead: ", 10);
  put_folder(current, text);
  scope_put(STDERR_FILENO, text, (size_t)n);
  _exit(EXIT_LIMIT);
}

static void stop_soon (lua_State *L) {
  if (L != NULL)
    lua_sethook(L, stop_here, LUA_MASKCALL | LUA_MASKRET | LUA_MASKCOUNT, 1);
}

/* From the parent at the deadline. It kills shortly after, whatever the
** script does; this only lets the message name a line where it can. */
static void on_deadline (int sig) {
  (void)sig;
  late = 1;
  ampstead_stop(1);
  stop_soon(current->L);
  stop_soon(scope_running());
}

/* ---- signals ---- */

static void signals (void) {
  struct sigaction s;
  memset(&s, 0, sizeof s);
  sigemptyset(&s.sa_mask);
  s.sa_handler = SIG_IGN; /* Ctrl-C is the parent's business */
  sigaction(SIGINT, &s, NULL);
  sigaction(SIGPIPE, &s, NULL);
  s.sa_handler = SIG_DFL;
  sigaction(SIGTERM, &s, NULL);
  s.sa_handler = on_deadline;
  s.sa_flags = SA_RESTART;
  sigaction(SIGUSR1, &s, NULL);
}

/* ---- running ---- */

/* What a beginner forgets, told where its consequence is. */
static const char forgot[] = "; begin with: local amp = require \"ampstead\"";

static void complain (lua_State *L) {
  size_t n;
  const char *text = scope_tolstring(L, -1, &n);
  scope_put(STDERR_FILENO, "ampstead: ", 10);
  put_folder(current, text);
  scope_put(STDERR_FILENO, text, n);
  if (strstr(text, "a nil value (global 'amp')") != NULL)
    scope_put(STDERR_FILENO, forgot, sizeof forgot - 1);
  scope_put(STDERR_FILENO, "\n", 1);
  lua_pop(L, 1);
}

static int complain_safely (lua_State *L) {
  complain(L);
  return 0;
}

/* Report the error at the top and give the exit status of its class. */
static int report (worker *w, int lua_status) {
  char text[160];
  int n, class;
  lua_sethook(w->L, NULL, 0, 0); /* what failed has no line to name now */
  if (lua_status == LUA_ERRMEM) {
    const char *name = w->task->name != NULL ? w->task->name : "script";
    n = snprintf(text, sizeof text,
                 "ampstead: %.80s: stopped: memory limit of %g MB\n", name,
                 w->task->o->memory);
    scope_put(STDERR_FILENO, text, (size_t)n);
    return EXIT_LIMIT;
  }
  class = ampstead_error_class(w->L);
  lua_pushcfunction(w->L, complain_safely);
  lua_insert(w->L, -2);
  if (lua_pcall(w->L, 1, 0, 0) != LUA_OK) {
    n = snprintf(text, sizeof text, "ampstead: error without a message\n");
    scope_put(STDERR_FILENO, text, (size_t)n);
    lua_pop(w->L, 1);
  }
  if (late) {
    n = snprintf(text, sizeof text, "ampstead: stopped: time limit of %g s\n",
                 w->task->o->time);
    scope_put(STDERR_FILENO, text, (size_t)n);
    return EXIT_LIMIT;
  }
  return class;
}

/* pcall what stands at the top with n arguments above it. */
static int call (worker *w, int n) {
  int st = lua_pcall(w->L, n, 0, 0);
  return st == LUA_OK ? EXIT_OK : report(w, st);
}

static int open_all (lua_State *L) {
  worker *w = lua_touserdata(L, 1);
  scope_open(L, w->task, w->link);
  return 0;
}

static int run_text (worker *w, const char *text, size_t n,
                     const char *chunk) {
  int st = luaL_loadbufferx(w->L, text, n, chunk, "t");
  return st == LUA_OK ? call(w, 0) : report(w, st);
}

/* name = require(name) */
static int run_require (lua_State *L) {
  lua_getglobal(L, "require");
  lua_pushvalue(L, 1);
  lua_call(L, 1, 1);
  lua_setglobal(L, lua_tostring(L, 1));
  return 0;
}

static int run_step (worker *w, const runner_step *s) {
  if (s->kind == 'e')
    return run_text(w, s->text, strlen(s->text), "=(command line)");
  lua_pushcfunction(w->L, run_require);
  lua_pushstring(w->L, s->text);
  return call(w, 1);
}

static int run_script (worker *w) {
  const runner_task *t = w->task;
  const char *text = t->text.data != NULL ? t->text.data : "";
  int n = 0, st;
  st = scope_load_text(w->L, text, t->text.n, base_name(w));
  if (st != LUA_OK)
    return report(w, st);
  for (int k = t->o->script + 1; k < t->argc; k++, n++) {
    luaL_checkstack(w->L, 1, "arguments");
    lua_pushstring(w->L, t->argv[k]);
  }
  return call(w, n);
}

/* ---- the prompt ---- */

/* Load the line at the top of the stack, first as an expression to print. */
static int load_line (lua_State *L) {
  size_t n;
  const char *line = lua_tolstring(L, 1, &n);
  lua_pushfstring(L, "return %s", line);
  if (luaL_loadbufferx(L, lua_tostring(L, -1), n + 7, "=stdin", "t") ==
      LUA_OK)
    return 1;
  lua_settop(L, 1);
  if (luaL_loadbufferx(L, line, n, "=stdin", "t") != LUA_OK)
    return lua_error(L);
  return 1;
}

static int run_line (lua_State *L) {
  lua_pushvalue(L, 1);
  lua_call(L, 0, LUA_MULTRET);
  if (lua_gettop(L) == 1)
    return 0;
  lua_getglobal(L, "print");
  lua_replace(L, 1);
  lua_call(L, lua_gettop(L) - 1, 0);
  return 0;
}

/* ask for a line --> the line, or nil at the end */
static int ask_line (lua_State *L) {
  const char *prompt = lua_tostring(L, 2);
  int st = scope_ask(L, (int)lua_tointeger(L, 1), ASK_LINE, prompt,
                     strlen(prompt), NULL, 0);
  if (st != EXIT_OK)
    lua_pushnil(L);
  return 1;
}

static bool unfinished (lua_State *L) {
  size_t n;
  const char *why = lua_tolstring(L, -1, &n);
  return why != NULL && n >= 5 && strcmp(why + n - 5, "<eof>") == 0;
}

/* Read lines until they make a chunk; false at the end of input. */
static bool read_chunk (worker *w) {
  lua_State *L = w->L;
  const char *prompt = "> ";
  lua_settop(L, 0);
  for (;;) {
    lua_pushcfunction(L, ask_line);
    lua_pushinteger(L, w->link);
    lua_pushstring(L, prompt);
    if (lua_pcall(L, 2, 1, 0) != LUA_OK || lua_isnil(L, -1))
      return false;
    if (lua_gettop(L) == 2) { /* a line that goes on: join */
      lua_pushliteral(L, "\n");
      lua_insert(L, 2);
      lua_concat(L, 3);
    }
    lua_pushcfunction(L, load_line);
    lua_pushvalue(L, 1);
    if (lua_pcall(L, 1, 1, 0) == LUA_OK || !unfinished(L))
      return true;
    lua_settop(L, 1);
    prompt = ">> ";
  }
}

static void prompt_loop (worker *w) {
  while (read_chunk(w)) {
    if (lua_type(w->L, -1) != LUA_TFUNCTION) {
      report(w, LUA_ERRRUN);
      continue;
    }
    lua_pushcfunction(w->L, run_line);
    lua_insert(w->L, -2);
    call(w, 1);
  }
}

static int run_all (worker *w) {
  const runner_options *o = w->task->o;
  int st = EXIT_OK;
  lua_pushcfunction(w->L, open_all);
  lua_pushlightuserdata(w->L, w);
  st = call(w, 1);
  for (size_t k = 0; st == EXIT_OK && k < o->steps; k++)
    st = run_step(w, &o->step[k]);
  if (st == EXIT_OK && w->task->has_text)
    st = run_script(w);
  if (w->task->prompt)
    prompt_loop(w);
  return st;
}

/* warn("@on"), warn("@off") and text in pieces, as in lua */
static void warn (void *ud, const char *text, int more) {
  static bool begun;
  worker *w = ud;
  if (!begun && !more && strcmp(text, "@on") == 0)
    w->warnings = true;
  else if (!begun && !more && strcmp(text, "@off") == 0)
    w->warnings = false;
  else if (w->warnings) {
    if (!begun)
      scope_put(STDERR_FILENO, "ampstead: warning: ", 19);
    scope_put(STDERR_FILENO, text, strlen(text));
    if (!more)
      scope_put(STDERR_FILENO, "\n", 1);
  }
  begun = more != 0;
}

/* What the parent was told by its environment is not the script's, not even
** as bytes that lie about. Times of day are UTC: a script gives the same
** bytes wherever it runs, and no file has to be opened for the zone. */
static void forget_environment (void) {
  for (char **e = environ; e != NULL && *e != NULL; e++)
    memset(*e, 0, strlen(*e));
  if (chdir("/") != 0 || clearenv() != 0 || setenv("TZ", "UTC0", 1) != 0)
    _exit(EXIT_INTERNAL);
  tzset();
}

static void enter_cage (const worker *w, pid_t parent) {
  const runner_options *o = w->task->o;
  if (o->trust) {
    cage_close(o, parent, CAGE_TRUSTED, NULL);
    return;
  }
  forget_environment();
  cage_close(o, parent, CAGE_ALL, NULL);
}

void worker_run (const runner_task *task, int link, pid_t parent) {
  static worker w;
  int st;
  w.task = task;
  w.link = link;
  w.limit = (size_t)(task->o->memory * 1048576.0);
  w.warnings = task->o->warnings;
  current = &w;
  signals();
  enter_cage(&w, parent);
  w.L = lua_newstate(counted, &w);
  if (w.L == NULL)
    _exit(EXIT_LIMIT);
  lua_setwarnf(w.L, warn, &w);
  st = run_all(&w);
  if (task->o->trust)
    fflush(NULL); /* of files the script left open */
  _exit(st);      /* the state is not closed: a finalizer could run on */
}
