/*
** bind_caution.c -- the registry of cautions, and the ranges outside which a
** number was probably typed in another unit, for the Lua half.
*/
#include "bind.h"
#include <string.h>

/* "offer, need": where it is raised. */
static void put_places (lua_State *L, unsigned at) {
  luaL_Buffer b;
  int n = 0;
  luaL_buffinit(L, &b);
  for (int i = 0; i < AMP_AT_PLACES; i++) {
    if (!(at & (1U << i)))
      continue;
    if (n++ > 0)
      luaL_addstring(&b, ", ");
    luaL_addstring(&b, amp_caution_place(i));
  }
  luaL_pushresult(&b);
  lua_setfield(L, -2, "at");
}

/* core.cautions() --> {{id, at, what, compared, source, who, refused}, ..} */
static int core_cautions (lua_State *L) {
  const amp_caution *c;
  lua_newtable(L);
  for (int i = 0; (c = amp_caution_nth(i)) != NULL; i++) {
    lua_newtable(L);
    bind_put_text(L, "id", c->id);
    bind_put_text(L, "what", c->what);
    bind_put_text(L, "compared", c->compared);
    bind_put_text(L, "source", c->source);
    bind_put_text(L, "who", c->who);
    if (c->refused != NULL)
      bind_put_text(L, "refused", c->refused);
    put_places(L, c->at);
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

/* core.caution_places() --> {"offer", ..} */
static int core_places (lua_State *L) {
  lua_newtable(L);
  for (int i = 0; amp_caution_place(i) != NULL; i++) {
    lua_pushstring(L, amp_caution_place(i));
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

/* core.caution_is(id) --> does it stand in the registry? */
static int core_is (lua_State *L) {
  lua_pushboolean(L, lua_type(L, 1) == LUA_TSTRING &&
                         amp_caution_find(lua_tostring(L, 1)) != NULL);
  return 1;
}

/* core.caution_free(id) --> may a script's own be called so? */
static int core_free (lua_State *L) {
  size_t n;
  const char *id = luaL_checklstring(L, 1, &n);
  lua_pushboolean(L, n == strlen(id) && amp_caution_may_be(id, true));
  return 1;
}

/* core.plausible(kind, key, value) --> nil, or {id, words, lo, hi} */
static int core_plausible (lua_State *L) {
  const amp_plausible *p = amp_plausible_look(
      luaL_checkstring(L, 1), luaL_checkstring(L, 2), luaL_checknumber(L, 3));
  if (p == NULL)
    return 0;
  lua_newtable(L);
  bind_put_text(L, "id", p->id);
  bind_put_text(L, "words", p->words);
  bind_put(L, "lo", p->lo);
  bind_put(L, "hi", p->hi);
  return 1;
}

/* core.plausible_keys() --> {{kind, key}, ..} */
static int core_plausible_keys (lua_State *L) {
  const amp_plausible *p;
  lua_newtable(L);
  for (int i = 0; (p = amp_plausible_nth(i)) != NULL; i++) {
    lua_newtable(L);
    bind_put_text(L, "kind", p->kind);
    bind_put_text(L, "key", p->key);
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

/* core.damage_word(remark) --> the word of it that speaks of damage, or nil */
static int core_damage_word (lua_State *L) {
  const char *word = amp_remark_damage(luaL_checkstring(L, 1));
  char shown[40];
  if (word == NULL)
    return 0;
  amp_remark_word(word, shown, sizeof shown);
  lua_pushstring(L, shown);
  return 1;
}

static const luaL_Reg functions[] = {{"cautions", core_cautions},
                                     {"caution_places", core_places},
                                     {"caution_is", core_is},
                                     {"caution_free", core_free},
                                     {"damage_word", core_damage_word},
                                     {"plausible", core_plausible},
                                     {"plausible_keys", core_plausible_keys},
                                     {NULL, NULL}};

void bind_caution_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
