/*
** bind_table_parts.h -- what the files of a table share. Userdata that never
** change after they were made: a table (user value 1: facts that it gives
** besides its cells, or nil), a row (user value 1: its table) and a chart
** (user values: its bytes as SVG and as text). Private to bindings/module.
**   bind_table.c        rows, cells and words to read; what a script sees
**   bind_table_new.c    a table from what the Lua half lays out
**   bind_table_choose.c new tables by sorting, choosing, adding a column
**   bind_table_write.c  the written forms, and files
**   bind_table_plot.c   charts
*/
#ifndef AMPSTEAD_BIND_TABLE_PARTS_H
#define AMPSTEAD_BIND_TABLE_PARTS_H

#include "bind.h"
#include "report/table.h"

typedef struct bind_table {
  amp_table *t;
} bind_table;

/* bytes that the core allocated, given back by the collector */
typedef struct bind_bytes {
  char *s;
  size_t n;
} bind_bytes;

/* ---- bind_table.c ---- */

/* The table that is argument 'arg'. */
const amp_table *bind_table_check (lua_State *L, int arg);

/* Push a table that is still to be filled. */
bind_table *bind_table_box (lua_State *L);
int bind_table_no_memory (lua_State *L);

/* The column 'key', or that which argument 'arg' of 'call' names. Raises,
** with the nearest name there is. */
int bind_table_find (lua_State *L, const amp_table *t, const char *key);
int bind_table_column (lua_State *L, const amp_table *t, int arg,
                       const char *call);

/* The string field 'key' of the table at 'at', or NULL; it is left on the
** stack (one slot either way), so that it lives. */
const char *bind_table_string (lua_State *L, int at, const char *key);

/* A cell as a script reads it: whole counts as integers, others as floats,
** true and false as they were given (words that hold 1 or 0 besides). */
void bind_table_push_value (lua_State *L, const amp_table *t, int row,
                            int column);

/* Row 'row', from 0, of the table at 'table'. */
int bind_table_push_row (lua_State *L, int table, int row);

/* Room for n ints that the collector frees. */
int *bind_table_ints (lua_State *L, int n);

/* Functions with upvalues 1 (nil) and 2 (core), into the table on top. */
void bind_table_methods (lua_State *L, int core, const luaL_Reg *list);

/* ---- bind_table_new.c ---- */

/* core.table_new */
int bind_table_new (lua_State *L);

/* The cell that stands on top of the stack; false: no memory. */
bool bind_table_set_cell (lua_State *L, amp_table *t, int row, int column);

/* ---- bind_table_choose.c, bind_table_write.c, bind_table_plot.c ---- */

extern const luaL_Reg bind_table_choosing[]; /* t:sort, t:top, .. */
extern const luaL_Reg bind_table_writing[];  /* t:text, t:write, .. */
extern const luaL_Reg bind_table_plotting[]; /* t:plot */

int bind_table_tostring (lua_State *L);
int bind_table_post_text (lua_State *L); /* core.post_text */

/* A box on the stack for bytes of the core; the collector empties it. */
bind_bytes *bind_bytes_box (lua_State *L);

/* The box on top becomes a Lua string, and its bytes are given back. */
void bind_bytes_push (lua_State *L, bind_bytes *b);

/* core.write(path, bytes): the stack's top is the bytes */
void bind_table_host_write (lua_State *L, const char *path);

/* The metatable of charts. */
void bind_table_plot_open (lua_State *L, int core);

#endif
