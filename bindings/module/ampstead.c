/*
** ampstead.c -- opens the Lua module: builds the table 'core' of everything
** written in C, loads the Lua half that was built in, and gives what that
** gives.
*/
#include "bind.h"
#include "bind_inside.h"
#include "ampstead_module.h"
#include <string.h>

/*
** The Lua half's own globals: those there were when the module was opened. A
** part may be read long after, and a script may have a variable called 'table'
** by then.
*/
static void keep_globals (lua_State *L) {
  lua_newtable(L);
  lua_pushglobaltable(L);
  lua_pushnil(L);
  while (lua_next(L, -2) != 0) {
    lua_pushvalue(L, -2);
    lua_insert(L, -2);
    lua_rawset(L, -5);
  }
  lua_pop(L, 1);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.globals");
}

/* loader(name): run a chunk of the Lua half with (core, loader), once */
static int load_chunk (lua_State *L) {
  const char *name = luaL_checkstring(L, 1);
  lua_settop(L, 1);
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.loaded");
  if (lua_getfield(L, 2, name) != LUA_TNIL)
    return 1;
  const ampstead_chunk *c = ampstead_chunks;
  while (c->name != NULL && strcmp(c->name, name) != 0)
    c++;
  if (c->name == NULL)
    return luaL_error(L, "ampstead: no part is named '%s'", name);
  lua_pushfstring(L, "=[ampstead %s]", name);
  if (luaL_loadbufferx(L, c->text, c->n, lua_tostring(L, -1), "t") != LUA_OK)
    return lua_error(L);
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.globals");
  lua_setupvalue(L, -2, 1);
  lua_getfield(L, LUA_REGISTRYINDEX, "ampstead.core");
  lua_pushcfunction(L, load_chunk);
  lua_call(L, 2, 1);
  lua_pushvalue(L, -1);
  lua_setfield(L, 2, name);
  return 1;
}

static void open_core (lua_State *L) {
  static void (*const parts[])(lua_State *) = {
      /* a line each, in the order of opening */
      /* clang-format off */
      bind_objects_open,
      bind_errors_open,
      bind_host_open,
      bind_value_open,
      bind_log_open,
      bind_chemistry_open,
      bind_cell_open,
      bind_module_open,
      bind_life_open,
      bind_offer_open,
      bind_profile_open,
      bind_need_open,
      bind_pack_open,
      bind_case_open,
      bind_caution_open,
      bind_run_open,
      bind_replay_open,
      bind_money_open,
      bind_listing_open,
      bind_tools_open,
      bind_copper_open,
      bind_protect_open,
      bind_layout_open,   bind_check_open,
      bind_join_open,
      bind_readings_open,
      bind_match_open,
      bind_bench_open,
      bind_air_open,
      bind_chance_open,
      bind_alternative_open,
      bind_worth_open,
      bind_table_open,
      /* clang-format on */
  };
  lua_newtable(L);
  for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
    int top = lua_gettop(L);
    parts[i](L);
    lua_settop(L, top);
  }
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.core");
}

/* require "ampstead" */
int luaopen_ampstead (lua_State *L) {
  lua_settop(L, 0);
  keep_globals(L);
  open_core(L);
  lua_pushcfunction(L, load_chunk);
  lua_pushliteral(L, "init");
  lua_call(L, 1, 1);
  return 1;
}
