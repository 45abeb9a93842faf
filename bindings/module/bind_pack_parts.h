/*
** bind_pack_parts.h -- what the files of a pack share. Private to
** bindings/module.
**   bind_pack.c         its keys, window, wiring; the class
**   bind_pack_modules.c which module stands where
**   bind_pack_fitted.c  fuses, current limits, coolant, heater
**   bind_pack_ask.c     energy, days, balancing, warming
*/
#ifndef AMPSTEAD_BIND_PACK_PARTS_H
#define AMPSTEAD_BIND_PACK_PARTS_H

#include "bind.h"

extern const bind_class bind_pack_class;
extern const luaL_Reg bind_pack_methods[]; /* bind_pack_ask.c */

/* The pack's window at the converter 'c' (NULL: none), never above
** 'v_abs_max' (V; 0: no such limit). */
amp_status bind_pack_window_in (const bind_pack *s, const amp_converter *c,
                                double v_abs_max, amp_window *w,
                                amp_error *err);

/* A window that is refused: ends the wrong way round are told as given. */
void bind_pack_raise_window (lua_State *L, const char *who,
                             const bind_pack *s, const amp_error *err);

/* From the keys 'module' or 'strings' into module, mean, even and build. */
void bind_pack_read_modules (lua_State *L, int keys, const char *who,
                             bind_pack *s);

/* From the keys of fuse, current limits and heat into trip, rates, build. */
void bind_pack_read_fitted (lua_State *L, int keys, const char *who,
                            bind_pack *s);

/* The pack at 1 in a line: groups, V, Ah and kWh. */
int bind_pack_sums (lua_State *L);

#endif
