/*
** bind_inside.h -- what the infrastructure files share among themselves.
*/
#ifndef AMPSTEAD_BIND_INSIDE_H
#define AMPSTEAD_BIND_INSIDE_H

#include <lua.h>
#include <stdbool.h>

bool bind_is_value (lua_State *L, int idx);
/* Push "112 Ah, claimed, sd 2" of the value object at 'idx'. */
void bind_push_value_text (lua_State *L, int idx, const char *unit);
void bind_objects_open (lua_State *L);
void bind_errors_open (lua_State *L);

#endif
