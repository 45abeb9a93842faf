/*
** bind_table_plot.c -- charts of a table's columns, drawn once as SVG and as
** text.
*/
#include "bind_table_parts.h"
#include "report/plot.h"
#include <string.h>

#define CHART "ampstead.chart"

enum { PLOT_LINES = 8 }; /* report/plot.h */

typedef struct plot_want {
  const amp_table *t;
  int x, y, by; /* columns; by -1: one line */
} plot_want;

static bool same_cell (const amp_table *t, int a, int b, int column) {
  const amp_cell_data *p = amp_table_get(t, a, column);
  const amp_cell_data *q = amp_table_get(t, b, column);
  if (amp_table_kind(t, column) == AMP_COLUMN_TEXT)
    return strcmp(p->text ? p->text : "", q->text ? q->text : "") == 0;
  return p->value == q->value ||
         (p->value != p->value && q->value != q->value);
}

/* "strings = 4", pushed */
static void push_place (lua_State *L, const amp_table *t, int row,
                        int column) {
  const amp_cell_data *c = amp_table_get(t, row, column);
  const char *s = c->text ? c->text : "nothing";
  if (amp_table_kind(t, column) != AMP_COLUMN_TEXT && c->value == c->value)
    s = bind_push_number(L, c->value);
  else
    lua_pushnil(L);
  lua_pushfstring(L, "%s = %s", amp_table_key(t, column), s);
  lua_remove(L, -2);
}

/* Two rows at one point: say which, and what tells them apart. */
static int refuse_point (lua_State *L, const plot_want *w, int a, int b) {
  int apart = -1;
  push_place(L, w->t, a, w->x);
  if (w->by >= 0) {
    lua_pushliteral(L, ", ");
    push_place(L, w->t, a, w->by);
    lua_concat(L, 3);
  }
  for (int c = 0; c < amp_table_columns(w->t) && apart < 0; c++)
    if (c != w->x && c != w->by && c != w->y && !same_cell(w->t, a, b, c))
      apart = c;
  if (apart < 0)
    return bind_error(L, NULL, "plot: several rows stand at %s",
                      lua_tostring(L, -1));
  return bind_error(L, NULL,
                    "plot: several rows stand at %s; they differ in '%s' "
                    "(choose with t:where{%s = ..})",
                    lua_tostring(L, -1), amp_table_key(w->t, apart),
                    amp_table_key(w->t, apart));
}

/* Lines in the order in which their 'by' comes first: first[] rows. */
static int find_lines (lua_State *L, const plot_want *w, int *first) {
  int lines = 0;
  for (int i = 0; i < amp_table_rows(w->t); i++) {
    bool known = false;
    for (int k = 0; k < lines; k++)
      known = known || w->by < 0 || same_cell(w->t, first[k], i, w->by);
    if (known)
      continue;
    if (lines == PLOT_LINES)
      bind_error(L, NULL,
                 "plot: a chart holds at most %d lines ('%s' has more "
                 "values)",
                 PLOT_LINES, amp_table_key(w->t, w->by));
    first[lines++] = i;
  }
  if (lines == 0)
    bind_error(L, NULL, "plot: the table has no rows");
  return lines;
}

/* The points of one line, by rising x; returns their number. 'order' holds
** the table's rows by x. */
static size_t fill_line (lua_State *L, const plot_want *w, int first,
                         const int *order, double *x, double *y) {
  size_t n = 0;
  int last = -1;
  for (int k = 0; k < amp_table_rows(w->t); k++) {
    int i = order[k];
    double at = amp_table_get(w->t, i, w->x)->value;
    if (at != at || (w->by >= 0 && !same_cell(w->t, first, i, w->by)))
      continue;
    if (last >= 0 && same_cell(w->t, last, i, w->x))
      refuse_point(L, w, last, i);
    x[n] = at;
    y[n++] = amp_table_get(w->t, i, w->y)->value;
    last = i;
  }
  return n;
}

/* "usable kWh" holds its unit already */
static const char *push_axis (lua_State *L, const amp_table *t, int column) {
  const char *unit = amp_table_unit(t, column);
  const char *label = amp_table_label(t, column);
  if (unit && *unit && !strstr(label, unit))
    return lua_pushfstring(L, "%s, %s", label, unit);
  return lua_pushstring(L, label);
}

/* The column that field 'key' of the options at index 2 names; numbers. */
static int plot_column (lua_State *L, const amp_table *t, const char *key,
                        bool numbers) {
  int column;
  const char *name = bind_table_string(L, 2, key);
  if (!name)
    return bind_error(L, NULL, "plot: needs %s = a column's name", key);
  column = bind_table_find(L, t, name);
  if (numbers && amp_table_kind(t, column) == AMP_COLUMN_TEXT)
    return bind_error(L, NULL, "plot: %s = '%s' holds words, not numbers",
                      key, name);
  lua_pop(L, 1);
  return column;
}

static void check_plot_keys (lua_State *L) {
  static const char *const keys[] = {"x", "y", "by", "below", "title", NULL};
  const char *key = bind_is_named(L, 2) ? bind_next_name(L, 2, NULL) : "?";
  for (; key != NULL; key = bind_next_name(L, 2, key)) {
    int i = 0;
    while (keys[i] && strcmp(keys[i], key) != 0)
      i++;
    if (!keys[i])
      bind_error(L, NULL, "plot: unknown key '%s' (x, y, by, below, title)",
                 key);
  }
}

/* "drawn at the bound" where a value lies beyond, pushed; or nil */
static const char *push_plot_note (lua_State *L, const plot_want *w) {
  for (int i = 0; i < amp_table_rows(w->t); i++) {
    const amp_cell_data *c = amp_table_get(w->t, i, w->y);
    if (c->beyond)
      return lua_pushfstring(L,
                             "%s: what lies beyond the horizon is drawn "
                             "at it",
                             amp_table_key(w->t, w->y));
  }
  lua_pushnil(L);
  return NULL;
}

/* Fill 'line' (user memory on the stack), one for each value of 'by'. */
static size_t fill_lines (lua_State *L, const plot_want *w, amp_line *line) {
  int rows = amp_table_rows(w->t), first[PLOT_LINES];
  int lines = find_lines(L, w, first);
  size_t room = sizeof(double) * 2 * (size_t)rows * (size_t)lines;
  double *xy = lua_newuserdatauv(L, room + 1, 0);
  int *order = bind_table_ints(L, rows);
  amp_table_order(w->t, w->x, false, order);
  for (int k = 0; k < lines; k++) {
    double *x = xy + (size_t)2 * (size_t)rows * (size_t)k;
    line[k].x = x;
    line[k].y = x + rows;
    line[k].n = fill_line(L, w, first[k], order, x, x + rows);
    if (w->by >= 0)
      push_place(L, w->t, first[k], w->by);
    else
      lua_pushstring(L, amp_table_label(w->t, w->y));
    line[k].label = lua_tostring(L, -1);
  }
  return (size_t)lines;
}

/* y = "years", or y = {"measured_v", "simulated_v"}: how many */
static int plot_ys (lua_State *L, const amp_table *t, int *y) {
  int n = 0;
  if (lua_getfield(L, 2, "y") != LUA_TTABLE) {
    lua_pop(L, 1);
    y[0] = plot_column(L, t, "y", true);
    return 1;
  }
  for (; lua_geti(L, -1, n + 1) != LUA_TNIL; n++) {
    if (n == PLOT_LINES - 1 || lua_type(L, -1) != LUA_TSTRING)
      bind_error(L, NULL, "plot: y holds 1 .. %d names of columns",
                 PLOT_LINES - 1);
    y[n] = bind_table_find(L, t, lua_tostring(L, -1));
    if (amp_table_kind(t, y[n]) == AMP_COLUMN_TEXT)
      bind_error(L, NULL, "plot: y = '%s' holds words, not numbers",
                 amp_table_key(t, y[n]));
    lua_pop(L, 1);
  }
  if (n == 0)
    bind_error(L, NULL, "plot: y holds 1 .. %d names of columns",
               PLOT_LINES - 1);
  lua_pop(L, 2);
  return n;
}

/* The lines of the panel or panels; *line holds PLOT_LINES. */
static void fill_plot (lua_State *L, plot_want *w, const int *y, int ys,
                       amp_line *line, amp_plot *p) {
  if (lua_getfield(L, 2, "by") != LUA_TNIL)
    w->by = plot_column(L, w->t, "by", false);
  if (w->by >= 0 && ys > 1)
    bind_error(L, NULL, "plot: by wants one column under y");
  for (int k = 0; k < ys; k++) {
    w->y = y[k];
    p->lines += fill_lines(L, w, &line[k]);
  }
  p->line = line;
  if (lua_getfield(L, 2, "below") == LUA_TNIL)
    return;
  if (w->by >= 0)
    bind_error(L, NULL, "plot: give by or below, not both");
  w->y = plot_column(L, w->t, "below", true);
  p->below = &line[ys];
  p->below_lines = fill_lines(L, w, &line[ys]);
  line[ys].label = "";
  p->below_label = push_axis(L, w->t, w->y);
}

typedef amp_status drawing (const amp_context *ctx, const amp_plot *p,
                            char **out, size_t *n, amp_error *err);

/* The chart as a string, SVG or text, at the top. */
static void push_drawn (lua_State *L, const amp_plot *p, drawing *draw) {
  amp_error err = {0};
  bind_bytes *b = bind_bytes_box(L);
  if (draw(bind_context(L), p, &b->s, &b->n, &err) != AMP_OK)
    bind_error(L, NULL, "plot: %s",
               err.text[0] ? err.text : amp_status_text(err.status));
  bind_bytes_push(L, b);
}

/* t:plot{x = "soc_max_pct", y = "years", by = "temp_c"} --> chart */
static int table_plot (lua_State *L) {
  plot_want w;
  amp_line line[PLOT_LINES];
  amp_plot p = {0};
  int y[PLOT_LINES], ys;
  w.t = bind_table_check(L, 1);
  luaL_checktype(L, 2, LUA_TTABLE);
  check_plot_keys(L);
  w.x = plot_column(L, w.t, "x", true);
  ys = plot_ys(L, w.t, y);
  w.by = -1;
  luaL_checkstack(L, 6 * PLOT_LINES + 12, "plot");
  fill_plot(L, &w, y, ys, line, &p);
  w.y = y[0];
  p.title = bind_table_string(L, 2, "title");
  if (!p.title)
    p.title = lua_pushfstring(L, "%s against %s", amp_table_label(w.t, w.y),
                              amp_table_label(w.t, w.x));
  p.x_label = push_axis(L, w.t, w.x);
  p.y_label = ys > 1 ? amp_table_unit(w.t, w.y) : push_axis(L, w.t, w.y);
  p.note = push_plot_note(L, &w);
  push_drawn(L, &p, amp_plot_svg);
  push_drawn(L, &p, amp_plot_text);
  lua_newuserdatauv(L, 0, 2);
  lua_insert(L, -3);
  lua_setiuservalue(L, -3, 2);
  lua_setiuservalue(L, -2, 1);
  luaL_setmetatable(L, CHART);
  return 1;
}

/* chart:svg() --> the file's bytes */
static int chart_svg (lua_State *L) {
  luaL_checkudata(L, 1, CHART);
  lua_getiuservalue(L, 1, 1);
  return 1;
}

/* chart:write("name.svg"); gives the chart */
static int chart_write (lua_State *L) {
  const char *path = bind_check_path(L, 2);
  size_t n = strlen(path);
  luaL_checkudata(L, 1, CHART);
  if (n < 5 || strcmp(path + n - 4, ".svg") != 0)
    return bind_error(L, NULL,
                      "plot: write takes a name ending in .svg (got "
                      "\"%s\")",
                      path);
  lua_getiuservalue(L, 1, 1);
  bind_table_host_write(L, path);
  lua_settop(L, 1);
  return 1;
}

/* chart:text(), print(chart): as characters */
static int chart_tostring (lua_State *L) {
  size_t n;
  luaL_checkudata(L, 1, CHART);
  lua_getiuservalue(L, 1, 2);
  const char *s = lua_tolstring(L, -1, &n);
  lua_pushlstring(L, s, n > 0 ? n - 1 : 0); /* print ends the line */
  return 1;
}

const luaL_Reg bind_table_plotting[] = {{"plot", table_plot}, {NULL, NULL}};

static const luaL_Reg chart_methods[] = {{"svg", chart_svg},
                                         {"text", chart_tostring},
                                         {"write", chart_write},
                                         {NULL, NULL}};

void bind_table_plot_open (lua_State *L, int core) {
  luaL_newmetatable(L, CHART);
  lua_newtable(L);
  bind_table_methods(L, core, chart_methods);
  lua_setfield(L, -2, "__index");
  lua_pushcfunction(L, chart_tostring);
  lua_setfield(L, -2, "__tostring");
  bind_put_text(L, "__metatable", "chart");
}
