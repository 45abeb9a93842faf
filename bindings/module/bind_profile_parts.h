/*
** bind_profile_parts.h -- what the files of a duty share: each class of it is
** a "profile" and prints, is freed and answers alike. Private to
** bindings/module.
**   bind_profile.c        a day that repeats; load of one with the sun of
**                         another; what a log drew
**   bind_profile_series.c a series from a file
**   bind_profile_steps.c  a test of phases
*/
#ifndef AMPSTEAD_BIND_PROFILE_PARTS_H
#define AMPSTEAD_BIND_PROFILE_PARTS_H

#include "bind.h"

void bind_profile_tell (lua_State *L, const void *spec);
void bind_profile_free (lua_State *L, void *spec);
extern const luaL_Reg bind_profile_methods[];

/* Their classes and functions into 'core', which is at the top. */
void bind_profile_series_open (lua_State *L);
void bind_profile_steps_open (lua_State *L);

#endif
