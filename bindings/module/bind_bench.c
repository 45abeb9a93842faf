/*
** bind_bench.c -- the numbers of the page for the bench.
*/
#include "bind.h"
#include "job/bench.h"

/* Rest voltages of the list at 'idx', false where none was read. */
static void read_rest (lua_State *L, int idx,
                       double rest[AMP_BUILD_MODULES]) {
  for (int i = 0; i < AMP_BUILD_MODULES; i++) {
    rest[i] = AMP_NOT_GIVEN;
    if (!lua_istable(L, idx))
      continue;
    if (lua_rawgeti(L, idx, i + 1) == LUA_TNUMBER)
      rest[i] = lua_tonumber(L, -1);
    lua_pop(L, 1);
  }
}

static void put_module (lua_State *L, const amp_bench_module *m) {
  lua_createtable(L, 0, 6);
  bind_put(L, "rest_v", m->rest);
  bind_put(L, "soc_pct", m->soc * 100.0);
  bind_put(L, "add_ah", m->add / 3600.0);
  bind_put(L, "level_v", m->level);
  bind_put(L, "full_v", m->full);
  bind_put(L, "empty_v", m->empty);
}

static void put_row (lua_State *L, const amp_bench_row *r) {
  lua_createtable(L, 0, 6);
  bind_put(L, "first", r->first + 1);
  bind_put(L, "modules", r->modules);
  bind_put(L, "rest_v", r->rest);
  bind_put(L, "level_v", r->level);
  bind_put(L, "full_v", r->full);
  bind_put(L, "empty_v", r->empty);
}

static void put_step (lua_State *L, const amp_bench_step *s) {
  lua_createtable(L, 0, 4);
  bind_put(L, "row", s->row + 1);
  bind_put(L, "which", s->which + 1);
  bind_put(L, "current_a", s->current);
  bind_put(L, "v", s->v);
}

static void put_lists (lua_State *L, const amp_bench *b) {
  lua_createtable(L, b->listed, 0);
  for (int i = 0; i < b->listed; i++) {
    put_module(L, &b->module[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "module");
  lua_createtable(L, b->rows_listed, 0);
  for (int i = 0; i < b->rows_listed; i++) {
    put_row(L, &b->row[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "row");
  lua_createtable(L, b->steps, 0);
  for (int i = 0; i < b->steps; i++) {
    put_step(L, &b->step[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "step");
}

static void put_pieces (lua_State *L, const amp_bench *b) {
  bind_put(L, "modules", b->modules);
  bind_put(L, "rows", b->rows);
  bind_put(L, "groups", b->groups);
  bind_put(L, "terminals", b->terminals);
  bind_put(L, "links", b->links);
  bind_put(L, "leads", b->leads);
  bind_put(L, "bars", b->bars);
  bind_put(L, "managers", b->managers);
  bind_put(L, "unread", b->unread);
}

static void put_answer (lua_State *L, const amp_bench *b) {
  bind_put(L, "full_v", b->full);
  bind_put(L, "empty_v", b->empty);
  bind_put(L, "charge_v", b->charge);
  bind_put(L, "soc_pct", b->soc * 100.0);
  bind_put(L, "joined_v", b->joined);
  bind_put(L, "bare_a", b->bare);
  bind_put(L, "worst_a", b->worst);
  bind_put_flag(L, "flat", b->flat);
  bind_put_flag(L, "bound", b->bound);
  bind_put_flag(L, "exact", b->exact);
}

static void put_window (lua_State *L, const bind_pack *p,
                        const amp_window *w) {
  const amp_chemistry *c = p->module->m.chemistry;
  bind_put(L, "cell_v_min", w->v_min);
  bind_put(L, "cell_v_max", w->v_max);
  bind_put(L, "cell_charge_v", w->v_charge);
  bind_put(L, "soc_min_pct", w->soc_min * 100.0);
  bind_put(L, "soc_max_pct", w->soc_max * 100.0);
  bind_put(L, "limit_v_min", c->v_min);
  bind_put(L, "limit_v_max", c->v_max);
  bind_put_flag(L, "assumed_low", w->assumed_low);
  bind_put_flag(L, "assumed_high", w->assumed_high);
  bind_put(L, "daily_v_min", c->v_daily_min);
  bind_put(L, "daily_v_max", c->v_daily_max);
  bind_put(L, "flat_low_pct", c->flat_lo * 100.0);
  bind_put(L, "flat_high_pct", c->flat_hi * 100.0);
  bind_put_flag(L, "rest_low", w->rest_low);
  bind_put_flag(L, "rest_high", w->rest_high);
  bind_put_flag(L, "plateau", c->flat_lo < c->flat_hi);
  bind_put_flag(L, "string_first", p->build.string_first);
  bind_put_text(L, "chemistry", c->name);
}

/* core.bench_raw(pack, {rest voltages or false}) --> {..}: bench.h, in the
** units of the keys */
static int bench_raw (lua_State *L) {
  const bind_pack *p = bind_check(L, 1, "pack", "sheet");
  double rest[AMP_BUILD_MODULES];
  amp_error err = {0};
  amp_window w;
  amp_bench *b = lua_newuserdatauv(L, sizeof *b, 0);
  read_rest(L, 2, rest);
  if (bind_pack_window(p, &w, &err) != AMP_OK ||
      amp_bench_of(&p->build, &w, rest, b, &err) != AMP_OK)
    return bind_raise(L, NULL, "sheet", &err);
  lua_newtable(L);
  put_pieces(L, b);
  put_answer(L, b);
  put_window(L, p, &w);
  put_lists(L, b);
  return 1;
}

void bind_bench_open (lua_State *L) {
  lua_pushcfunction(L, bench_raw);
  lua_setfield(L, -2, "bench_raw");
}
