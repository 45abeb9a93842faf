/*
** bind_join.c -- what flows when two modules are joined.
*/
#include "bind.h"
#include "pack/join.h"
#include <math.h>

typedef struct side_keys {
  double v, r, ah;
} side_keys;

static const bind_field side_fields[] = {
    F_NUM("ocv_v", side_keys, v, 1.0, 0.0, 1500.0, "V",
          "rest voltage of the module"),
    F_NUM("r10s_mohm", side_keys, r, 1e-3, 0.0, 1e5, "mohm",
          "10 s resistance; none: the current is a bound"),
    F_NUM("ah", side_keys, ah, 3600.0, 0.0, 5000.0, "Ah",
          "tested capacity; the module's where there is none"),
    F_END};

/* of a reading more stands in its table than matters here */
static const char *const side_words[] = {
    "ocv_v",       "r10s_mohm",   "ah",     "id",     "date",   "remark",
    "group_min_v", "group_max_v", "temp_c", "module", "unread", NULL};
static const char *const option_words[] = {
    "lead_mohm", "module",    "resistor_mohm", "links",
    "link",      "link_a",    "lead_a",        "fuse_a",
    "charge_a",  "soc_a_pct", "soc_b_pct",     NULL};
static const char *const order_words[] = {"lead_mohm", "module", NULL};

/* A reading, or a table with its keys. */
static amp_join_side read_side (lua_State *L, int idx, const char *who) {
  side_keys k = {NAN, NAN, NAN};
  if (!lua_istable(L, idx))
    bind_error(L, NULL, "%s: a table with ocv_v and r10s_mohm is wanted",
               who);
  bind_options(L, idx, who, side_words);
  for (const bind_field *f = side_fields; f->key != NULL; f++)
    if (bind_get(L, idx, f->key)) {
      *(double *)((char *)&k + f->offset) = bind_number(L, -1, f, who);
      lua_pop(L, 1);
    }
  if (!amp_given(k.v))
    bind_error(L, NULL, "%s: ocv_v is wanted", who);
  return (amp_join_side){k.v, k.r, 0, k.ah};
}

/* The keys of a lot whose modules stand side by side: each against k peers. */
static void push_peers (lua_State *L, int idx, const char *who) {
  const bind_lot *lot = lua_touserdata(L, idx);
  amp_join_side side;
  amp_error err = {0};
  int unread = 0;
  double ah = lot->module != NULL
                  ? bind_module_tested(&lot->module->m, &(bool){false})
                  : NAN;
  if (amp_lot_side(&lot->lot, ah, &side, &err) != AMP_OK)
    bind_raise(L, NULL, who, &err);
  lua_newtable(L);
  bind_put(L, "ocv_v", side.v);
  bind_put(L, "r10s_mohm", side.r * 1e3);
  bind_put(L, "ah", side.charge / 3600.0);
  for (size_t i = 0; i < lot->lot.n; i++)
    unread += amp_given(lot->lot.reading[i].r10s) ? 0 : 1;
  bind_put(L, "unread", unread);
  bind_push_keys(L, idx);
  lua_getfield(L, -1, "module");
  lua_setfield(L, -3, "module");
  lua_pop(L, 1);
}

/* A reading or a lot at 'idx' becomes its table of keys; the module that
** it knows stands in where the options name none. */
static void to_table (lua_State *L, int idx, const char *who) {
  if (bind_test(L, idx, "reading") != NULL)
    bind_push_keys(L, idx);
  else if (bind_test(L, idx, "lot") != NULL)
    push_peers(L, idx, who);
  else
    return;
  lua_replace(L, idx);
  if (!bind_get(L, idx, "module"))
    return;
  if (lua_isnil(L, 3)) {
    lua_newtable(L);
    lua_replace(L, 3);
  }
  if (lua_istable(L, 3) && !bind_get(L, 3, "module"))
    lua_setfield(L, 3, "module");
}

/* Groups and, where none was tested, capacity from the module. */
static const amp_chemistry *read_module (lua_State *L, amp_join_side *a,
                                         amp_join_side *b) {
  if (lua_isnoneornil(L, 3) || !bind_get(L, 3, "module"))
    return NULL;
  const bind_module *m = bind_check(L, -1, "module", "paralleling: module");
  double ah = bind_module_tested(&m->m, &(bool){false});
  a->groups = b->groups = m->m.series;
  if (!amp_given(a->charge))
    a->charge = ah;
  if (!amp_given(b->charge))
    b->charge = ah;
  return m->m.chemistry;
}

/* The options of the caller at 'idx' become a copy to add to. */
static void own_options (lua_State *L, int idx) {
  if (!lua_istable(L, idx))
    return;
  bind_push_copy(L, idx);
  lua_replace(L, idx);
}

static const bind_field way_fields[] = {
    F_NUM("lead_mohm", amp_join_way, lead, 1e-3, 0.0, 1e6, "mohm", ""),
    F_NUM("resistor_mohm", amp_join_way, resistor, 1e-3, 0.0, 1e9, "mohm",
          ""),
    F_WHOLE("links", amp_join_way, links, 1, 10000, ""),
    F_NUM("link_a", amp_join_way, link, 1.0, 0.001, 1e5, "A", ""),
    F_NUM("lead_a", amp_join_way, lead_a, 1.0, 0.001, 1e5, "A", ""),
    F_NUM("fuse_a", amp_join_way, fuse, 1.0, 0.001, 1e5, "A", ""),
    F_NUM("charge_a", amp_join_way, charge_a, 1.0, 0.001, 1e5, "A", ""),
    F_NUM("soc_a_pct", amp_join_way, soc_a, 0.01, 0.0, 100.0, "%", ""),
    F_NUM("soc_b_pct", amp_join_way, soc_b, 0.01, 0.0, 100.0, "%", ""),
    F_END};

/* What one link holds, and how many stand side by side in a group: by the
** options, else by the module. */
static void read_links (lua_State *L, amp_join_way *w) {
  const bind_fuse_link *l = NULL;
  const bind_module *m = NULL;
  if (bind_get(L, 3, "module")) {
    m = bind_check(L, -1, "module", "paralleling: module");
    l = m->link;
    lua_pop(L, 1);
  }
  if (bind_get(L, 3, "link")) {
    l = bind_check(L, -1, "fuse_link", "paralleling: link");
    lua_pop(L, 1);
  }
  if (!amp_given(w->link) && l != NULL)
    w->link = l->a.low;
  if (w->links == 0 && amp_given(w->link) && m != NULL)
    w->links = m->m.parallel;
}

static amp_join_way read_way (lua_State *L) {
  amp_join_way w = amp_join_way_defaults();
  bind_options(L, 3, "paralleling", option_words);
  if (!lua_istable(L, 3))
    return w;
  for (const bind_field *f = way_fields; f->key != NULL; f++)
    if (bind_get(L, 3, f->key)) {
      double v = bind_number(L, -1, f, "paralleling");
      if (f->kind == BIND_WHOLE)
        *(int *)((char *)&w + f->offset) = (int)v;
      else
        *(double *)((char *)&w + f->offset) = v;
      lua_pop(L, 1);
    }
  read_links(L, &w);
  return w;
}

static void put_first (lua_State *L, const amp_join *j) {
  bind_put(L, "current_a", j->current);
  bind_put(L, "dv_v", j->dv);
  bind_put(L, "soc_high_pct", j->soc_high * 100.0);
  bind_put(L, "soc_low_pct", j->soc_low * 100.0);
  bind_put_flag(L, "bound", j->bound);
  bind_put_flag(L, "flat", j->flat);
  if (j->flat)
    bind_put(L, "ah_most", j->charge_most / 3600.0);
}

static void put_rest (lua_State *L, const amp_joined *j) {
  static const char *const by[] = {"", "link", "lead", "fuse", "charge"};
  bind_put(L, "ah", j->charge / 3600.0);
  bind_put(L, "half_s", j->half);
  bind_put(L, "tenth_s", j->tenth);
  bind_put(L, "hundredth_s", j->hundredth);
  bind_put(L, "heat_wh", j->heat / 3600.0);
  bind_put(L, "lead_wh", j->heat_lead / 3600.0);
  bind_put(L, "resistor_wh", j->heat_resistor / 3600.0);
  bind_put(L, "i2t_a2s", j->i2t);
  bind_put(L, "link_a", j->link_current);
  bind_put(L, "link_i2t_a2s", j->link_i2t);
  if (!amp_given(j->limit))
    return;
  bind_put(L, "limit_a", j->limit);
  bind_put_text(L, "limit_by", by[j->limit_by]);
  bind_put_flag(L, "within", j->within);
  bind_put(L, "dv_most_v", j->dv_most);
  bind_put(L, "resistor_mohm", j->resistor * 1e3);
  bind_put(L, "resistor_w", j->resistor_peak);
}

/* Some peers' resistances are missing: the most that may flow. */
static void put_unread (lua_State *L, amp_join_side *a, amp_join_side *b,
                        const amp_join_way *w) {
  double unread = 0.0;
  amp_join j;
  for (int i = 1; i <= 2; i++) {
    double n = bind_option(L, i, "unread", 0.0);
    if (n > 0.0)
      *(i == 1 ? &a->r : &b->r) = NAN;
    unread += n;
  }
  if (unread == 0.0)
    return;
  bind_put(L, "unread", unread);
  if (amp_join_two(a, b, w->lead + w->resistor, NULL, &j, NULL) == AMP_OK)
    bind_put(L, "current_most_a", j.current);
}

/*
** amp.paralleling({ocv_v = 25.75, r10s_mohm = 1.9}, {..}, {lead_mohm = 1})
** --> {current_a, dv_v, bound, ah, soc_high_pct, soc_low_pct, half_s, ..}
*/
static int paralleling (lua_State *L) {
  amp_joined j;
  amp_error err = {0};
  lua_settop(L, 3);
  own_options(L, 3);
  to_table(L, 1, "paralleling: the first");
  to_table(L, 2, "paralleling: the second");
  lua_settop(L, 3);
  amp_join_side a = read_side(L, 1, "paralleling: the first");
  amp_join_side b = read_side(L, 2, "paralleling: the second");
  amp_join_way w = read_way(L);
  const amp_chemistry *c = read_module(L, &a, &b);
  if (amp_join_follow(&a, &b, &w, c, &j, &err) != AMP_OK)
    return bind_raise(L, NULL, "paralleling", &err);
  lua_newtable(L);
  put_first(L, &j.first);
  put_rest(L, &j);
  put_unread(L, &a, &b, &w);
  bind_plain(L);
  return 1;
}

/* ---- in which order ---- */

/* The strings of the list at 1, each in place of its reading. */
static int read_strings (lua_State *L, amp_join_side *side) {
  lua_Integer n = lua_istable(L, 1) ? (lua_Integer)lua_rawlen(L, 1) : 0;
  if (n < 2 || n > AMP_JOIN_STRINGS)
    bind_error(L, NULL, "joining_order: a list of 2 .. %d strings is wanted",
               AMP_JOIN_STRINGS);
  for (int i = 0; i < (int)n; i++) {
    lua_pushfstring(L, "joining_order: string %d", i + 1);
    const char *who = lua_tostring(L, -1);
    lua_rawgeti(L, 1, i + 1);
    if (bind_test(L, -1, "reading") != NULL)
      bind_push_keys(L, -1);
    side[i] = read_side(L, lua_gettop(L), who);
    lua_settop(L, 3);
  }
  return (int)n;
}

/* core.joining_order(list, {lead_mohm, module}) --> {{which, current_a, ah,
** v}, .., bound, exact} */
static int joining_order (lua_State *L) {
  amp_join_side side[AMP_JOIN_STRINGS];
  amp_join_step step[AMP_JOIN_STRINGS];
  bool bound, exact;
  amp_error err = {0};
  lua_settop(L, 2);
  lua_pushvalue(L, 2); /* where read_module looks */
  int n = read_strings(L, side);
  bind_options(L, 2, "joining_order", order_words);
  double lead = bind_option(L, 2, "lead_mohm", 0.0) * 1e-3;
  const amp_chemistry *c = NULL;
  for (int i = 0; i < n; i++)
    c = read_module(L, &side[i], &side[i]);
  if (amp_join_order(side, n, lead, c, step, &bound, &exact, &err) != AMP_OK)
    return bind_raise(L, NULL, "joining_order", &err);
  lua_createtable(L, n, 2);
  for (int i = 0; i < n; i++) {
    lua_newtable(L);
    lua_pushinteger(L, step[i].which + 1);
    lua_setfield(L, -2, "which");
    bind_put(L, "current_a", step[i].current);
    bind_put(L, "ah", step[i].charge / 3600.0);
    bind_put(L, "v", step[i].v);
    lua_rawseti(L, -2, i + 1);
  }
  bind_put_flag(L, "bound", bound);
  bind_put_flag(L, "exact", exact);
  return 1;
}

static const luaL_Reg functions[] = {{"paralleling", paralleling},
                                     {"joining_order", joining_order},
                                     {NULL, NULL}};

void bind_join_open (lua_State *L) {
  luaL_setfuncs(L, functions, 0);
}
