/*
** fuzz_loader.c -- what a stranger's script meets before its first line runs,
** and what its output meets on the way to a terminal: the loader, the rules
** for names of files, and the filter that makes control bytes visible.
*/
#include "runner/runner.h"
#include "runner/scope.h"
#include <lauxlib.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HOLD(what)                                                           \
  do {                                                                       \
    if (!(what))                                                             \
      abort();                                                               \
  } while (0)

static const size_t MOST = 64 << 20; /* bytes of a Lua state */

static void *counted (void *ud, void *old, size_t old_n, size_t n) {
  size_t *used = ud;
  void *p = NULL;
  old_n = old != NULL ? old_n : 0;
  if (n > old_n && *used + (n - old_n) > MOST)
    return NULL;
  if (n == 0)
    free(old);
  else if ((p = realloc(old, n)) == NULL)
    return NULL;
  *used += n - old_n;
  return p;
}

/* Loads as text or says why not; compiled chunks never load. */
static void load (const char *text, size_t n, const char *name) {
  size_t used = 0;
  lua_State *L = lua_newstate(counted, &used);
  HOLD(L != NULL);
  int st = scope_load_text(L, text, n, name);
  HOLD(lua_gettop(L) == 1);
  HOLD(lua_type(L, 1) == (st == LUA_OK ? LUA_TFUNCTION : LUA_TSTRING));
  if (n > 0 && text[0] == '\033')
    HOLD(st != LUA_OK);
  lua_close(L);
  HOLD(used == 0);
}

/* An accepted path leads nowhere but down, and names nothing hidden. */
static void check_path (const char *path) {
  char why[512] = "";
  if (file_path_check(path, why, sizeof why) != EXIT_OK) {
    HOLD(why[0] != '\0');
    return;
  }
  while (strncmp(path, "./", 2) == 0)
    path += 2;
  HOLD(path[0] != '/' && path[0] != '.' && path[0] != '\0');
  HOLD(strstr(path, "//") == NULL && strstr(path, "/.") == NULL);
  for (; *path != '\0'; path++)
    HOLD((unsigned char)*path >= 0x20 && *path != 0x7f);
}

static void make_visible (const char *text, size_t n, size_t cut,
                          runner_buffer *out) {
  runner_visible v = {{0}, 0};
  HOLD(visible_add(&v, text, cut, out));
  HOLD(visible_add(&v, text + cut, n - cut, out));
  HOLD(visible_end(&v, out));
}

static bool commands_terminal (const runner_buffer *b) {
  for (size_t k = 0; k < b->n; k++) {
    unsigned char c = (unsigned char)b->data[k];
    unsigned char next = k + 1 < b->n ? (unsigned char)b->data[k + 1] : 0;
    if ((c < 0x20 && c != '\n' && c != '\t' &&
         !(c == '\r' && next == '\n')) ||
        c == 0x7f || (c == 0xc2 && next >= 0x80 && next < 0xa0))
      return true;
  }
  return false;
}

/* The same bytes wherever a write was cut, and what is visible stays so. */
static void check_visible (const char *text, size_t n) {
  runner_buffer whole = {NULL, 0, 0}, cut = {NULL, 0, 0},
                again = {NULL, 0, 0};
  make_visible(text, n, 0, &whole);
  make_visible(text, n, n / 2, &cut);
  HOLD(whole.n == cut.n);
  HOLD(whole.n == 0 || memcmp(whole.data, cut.data, whole.n) == 0);
  HOLD(!commands_terminal(&whole));
  if (whole.n > 0) {
    make_visible(whole.data, whole.n, whole.n / 3, &again);
    HOLD(again.n == whole.n && memcmp(again.data, whole.data, again.n) == 0);
  }
  free(whole.data);
  free(cut.data);
  free(again.data);
}

int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n);
int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n) {
  char *text = malloc(n + 1);
  HOLD(text != NULL);
  if (n > 0)
    memcpy(text, data, n);
  text[n] = '\0';
  load(text, n, "hut.lua");
  load(text, n, text); /* its name is a stranger's too */
  check_path(text);
  check_visible(text, n);
  free(text);
  return 0;
}
