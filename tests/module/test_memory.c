/*
** test_memory.c -- memory that ends at the n-th time it is asked for, under
** the whole module in a Lua state of its own. For each n: the script gets an
** error that speaks of memory, what it does next is answered as if nothing
** had been, and when the state closes every block has come back.
** Lua collects and asks once more where it is refused, so from the n-th time
** on all growth is refused until the script has ended.
*/
#include "module/ampstead_module.h"
#include "support/lender.h"
#include "support/often.h"
#include <cmocka.h>
#include <lauxlib.h>
#include <lualib.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

/* Each ends with a text, and asks for most of what its object can do. */
static const char *const jobs[] = {
    "local amp = require 'ampstead'\n"
    "local m = amp.module{ chemistry = 'nmc111', series = 7, parallel = 2,\n"
    "  capacity_ah = 112, mass_kg = 17.5 }\n"
    "local l = amp.readings.text('id;ocv_v;group_min_v;group_max_v;'\n"
    "  ..'r10s_mohm;ah_c3_25c\\n1;25.76;3.679;3.682;1.9;96.1\\n'\n"
    "  ..'2;25.75;3.677;3.681;1.9;95\\n3;25.74;3.674;3.680;1.8;91\\n',\n"
    "  { module = m })\n"
    "local plan = amp.match(l:accepted(), { series = 1, parallel = 2 })\n"
    "return tostring(l)..tostring(l:judge())..tostring(plan)",

    "local amp = require 'ampstead'\n"
    "local rows = { 'time_s,voltage_v,current_a' }\n"
    "for i = 0, 40 do\n"
    "  rows[#rows + 1] = ('%d,%.3f,%d'):format(60 * i, 4.1 - i / 100,\n"
    "    i < 30 and -2 or 0)\n"
    "end\n"
    "local log = amp.log.text(table.concat(rows, '\\n'), { name = 'test' })\n"
    "return tostring(log)..tostring(log:profile{ ambient_c = 20 })",

    "local amp = require 'ampstead'\n"
    "local rows = { 'time_s,load_w' }\n"
    "for i = 0, 47 do rows[#rows + 1] = i * 3600 ..','.. 100 + i % 24 end\n"
    "local p = amp.profile.text(table.concat(rows, '\\n'))\n"
    "local day = amp.profile.daily{ load_w = 200, temp_c = 10 }\n"
    "return tostring(p)..tostring(day)..p.year_kwh",

    "local amp = require 'ampstead'\n"
    "local m = amp.module{ chemistry = 'nmc111', series = 7, parallel = 2,\n"
    "  capacity_ah = 112, r10s_mohm = 1.9, mass_kg = 17.5 }\n"
    "local pack = amp.pack{ module = m, series = 2, parallel = 2 }\n"
    "local day = amp.profile.daily{ load_w = 150, temp_c = 10 }\n"
    "local run = pack:simulate(amp.profile.steps{\n"
    "  { discharge_a = 10, hours = 1 }, { rest_s = 600 } })\n"
    "return tostring(pack)..tostring(run)\n"
    "  ..tostring(pack:check{ duty = day })",
};

#define JOBS (sizeof jobs / sizeof jobs[0])

/* Lua says what kind of object it wants where others say how large the old
** block was; and it is never refused what does not grow. */
static void *lua_lend (void *user, void *old, size_t old_size,
                       size_t new_size) {
  lender *l = user;
  size_t had = old != NULL ? old_size : 0, last = l->last;
  if (old == NULL && new_size == 0)
    return NULL;
  if (new_size <= had)
    l->last = SIZE_MAX;
  void *p = lend(user, old, had, new_size);
  l->last = last;
  return p;
}

static lua_State *open_state (lender *l) {
  lua_State *L = lua_newstate(lua_lend, l);
  assert_non_null(L);
  luaL_openlibs(L);
  luaL_getsubtable(L, LUA_REGISTRYINDEX, LUA_PRELOAD_TABLE);
  lua_pushcfunction(L, luaopen_ampstead);
  lua_setfield(L, -2, "ampstead");
  lua_pop(L, 1);
  lua_pushinteger(L, 1);
  lua_setfield(L, LUA_REGISTRYINDEX, "ampstead.jobs");
  return L;
}

static void close_state (lua_State *L, const lender *l) {
  lua_close(L);
  assert_int_equal(l->blocks, 0);
  assert_int_equal(l->bytes, 0);
}

/* Run the job with the allocations of now + 'more' granted; its text, or the
** error, is at the top. */
static int run (lua_State *L, lender *l, const char *job, size_t more) {
  assert_int_equal(luaL_loadstring(L, job), LUA_OK);
  l->last = more < SIZE_MAX ? l->calls + more : SIZE_MAX;
  int status = lua_pcall(L, 0, 1, 0);
  l->last = SIZE_MAX;
  return status;
}

static void says_memory (lua_State *L) {
  const char *why = lua_tostring(L, -1);
  if (why == NULL || strstr(why, "memory") == NULL)
    fail_msg("refused memory, but said '%s'",
             why != NULL ? why : "(no text)");
  lua_pop(L, 1);
}

/* Leaves the answer at the top. */
static const char *answer (lua_State *L, lender *l, const char *job) {
  int status = run(L, l, job, SIZE_MAX);
  const char *text = lua_tostring(L, -1);
  assert_non_null(text);
  if (status != LUA_OK)
    fail_msg("%s", text);
  return text;
}

/* From nothing: the module and the parts of it that the job asks for are
** read under the same rule. */
static void ends_while_opening (void **state) {
  (void)state;
  for (size_t k = 0; k < JOBS; k++) {
    size_t refused = 0;
    for (size_t n = 1; n < SIZE_MAX / 2; n += 1 + n / (few() ? 3 : 4)) {
      lender l = {.last = SIZE_MAX};
      lua_State *L = open_state(&l);
      bool done = run(L, &l, jobs[k], n) == LUA_OK;
      if (done)
        lua_pop(L, 1);
      else {
        says_memory(L);
        refused++;
        answer(L, &l, jobs[k]);
      }
      close_state(L, &l);
      if (done)
        break;
    }
    assert_true(refused > 20);
  }
}

/* Again and again in one state: what is kept from time to time stays whole. */
static void ends_at_work (void **state) {
  (void)state;
  for (size_t k = 0; k < JOBS; k++) {
    lender l = {.last = SIZE_MAX};
    lua_State *L = open_state(&l);
    const char *wanted = answer(L, &l, jobs[k]);
    size_t refused = 0;
    for (size_t n = 1; run(L, &l, jobs[k], n) != LUA_OK;
         n += 1 + n / (few() ? 12 : 24)) {
      says_memory(L);
      refused++;
      assert_string_equal(answer(L, &l, jobs[k]), wanted);
      lua_pop(L, 1);
    }
    assert_string_equal(lua_tostring(L, -1), wanted);
    assert_true(refused > 20);
    close_state(L, &l);
  }
}

/* The first call of each kind makes what later ones share: there every n is
** tried, in a state where the module stands and nothing has been asked. */
static void ends_the_first_time (void **state) {
  static const char *const calls[] = {
      "amp.profile.text('time_s,load_w\\n0,1\\n43200,2\\n')",
      "amp.profile.daily{ load_w = 200 }",
      "amp.log.text('time_s,voltage_v,current_a\\n0,4,1\\n1,4,1\\n2,4,1\\n')",
  };
  (void)state;
  for (size_t k = 0; k < sizeof calls / sizeof calls[0]; k++) {
    char job[256];
    size_t n = 0;
    bool done = false;
    snprintf(job, sizeof job, "local x = %s return ''", calls[k]);
    while (!done) {
      lender l = {.last = SIZE_MAX};
      lua_State *L = open_state(&l);
      answer(L, &l, "amp = require 'ampstead' return ''");
      done = run(L, &l, job, ++n) == LUA_OK;
      if (!done) {
        says_memory(L);
        answer(L, &l, job);
      }
      close_state(L, &l);
    }
    assert_true(n > 10);
  }
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ends_while_opening),
      cmocka_unit_test(ends_the_first_time),
      cmocka_unit_test(ends_at_work),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
