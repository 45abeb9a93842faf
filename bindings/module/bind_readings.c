/*
** bind_readings.c -- readings of the bench and lots of them: read from text,
** looked up, changed in a copy, judged.
*/
#include "bind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- one reading ---- */

static const bind_field reading_fields[] = {
    F_TEXT("id", bind_reading, id, "the sticker, kept as text: \"03\""),
    F_ELSE("module", BIND_OBJECT, "", "amp.module{} that it is one of"),
    F_NUM("ocv_v", bind_reading, r.ocv, 1.0, 0.0, 1500.0, "V",
          "voltage of the module at rest"),
    F_NUM("group_min_v", bind_reading, r.group_min, 1.0, -5.0, 10.0, "V",
          "its lowest group at rest"),
    F_NUM("group_max_v", bind_reading, r.group_max, 1.0, -5.0, 10.0, "V",
          "its highest group at rest"),
    F_NUM("r10s_mohm", bind_reading, r.r10s, 1e-3, 0.001, 10000.0, "mohm",
          "its resistance by a pulse of 10 s"),
    F_NUM("ah", bind_reading, r.charge, 3600.0, 0.1, 5000.0, "Ah",
          "its capacity by test"),
    F_TEMPS("temp", bind_reading, r.temp, -60.0, 150.0, 1,
            "its temperature when it was measured"),
    F_TEXT("date", bind_reading, date, "when: \"2026-11-25\""),
    F_TEXT("remark", bind_reading, r.remark, "what was seen"),
    F_END};

static const bind_class reading_class;

static void reading_defaults (void *spec) {
  ((bind_reading *)spec)->r = amp_reading_defaults();
}

static void take_remark (lua_State *L, int keys, amp_reading *out) {
  size_t n;
  if (!bind_get(L, keys, "remark"))
    return;
  const char *s = lua_tolstring(L, -1, &n);
  amp_reading_set_remark(out, s, n);
  lua_pop(L, 1);
}

static void reading_finish (lua_State *L, int keys, void *spec) {
  bind_reading *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &reading_class, keys);
  if (strlen(s->id) >= sizeof s->r.id)
    bind_error(L, NULL, "%s: id must be at most %d bytes of text", who,
               (int)sizeof s->r.id - 1);
  memcpy(s->r.id, s->id, sizeof s->r.id);
  take_remark(L, keys, &s->r);
  if (s->date[0] != '\0' && amp_parse_day(s->date, &s->r.day, &err) != AMP_OK)
    bind_raise(L, &reading_class, who, &err);
  if (amp_reading_check(&s->r, &err) != AMP_OK)
    bind_raise(L, &reading_class, who, &err);
  if (bind_get(L, keys, "module")) {
    s->module = bind_check(L, -1, "module", "reading: module");
    lua_pop(L, 1);
  }
}

static const bind_class reading_class = {
    "reading",
    "reading",
    "one module as the bench read it; what is not given was not measured",
    reading_fields,
    sizeof(bind_reading),
    reading_defaults,
    reading_finish,
    NULL,
    NULL,
    NULL};

/* ---- lots ---- */

static const bind_field lot_fields[] = {
    F_ELSE("module", BIND_OBJECT, "", "amp.module{} that all of them are"),
    F_ELSE("readings", BIND_LIST, "",
           "list of readings: {{id = \"1\", ocv_v = 25.7}, ..}"),
    F_WHOLE("of", bind_lot, lot.of, 1, AMP_LOT_MOST,
            "modules delivered, rejects included; all that were read unless "
            "given"),
    F_END};

static const bind_class lot_class;

static void lot_defaults (void *spec) {
  ((bind_lot *)spec)->lot.nameplate = NAN;
}

static void lot_free (lua_State *L, void *spec) {
  bind_lot *s = spec;
  if (s->ctx != NULL)
    amp_lot_free(s->ctx, &s->lot);
  s->ctx = NULL;
  (void)L;
}

/* The module says chemistry, groups and label. */
static void set_module (bind_lot *s, const bind_module *m) {
  s->module = m;
  s->lot.chemistry = m->m.chemistry;
  s->lot.groups = m->m.series;
  s->lot.nameplate = m->m.capacity.value;
}

/* A reading as an object at 'idx', made of a plain table where it is one. */
static const bind_reading *to_reading (lua_State *L, int idx) {
  idx = lua_absindex(L, idx);
  if (bind_test(L, idx, "reading") == NULL) {
    bind_new(L, &reading_class, idx);
    lua_replace(L, idx);
  }
  return lua_touserdata(L, idx);
}

static void add (lua_State *L, bind_lot *s, const amp_reading *r) {
  amp_error err = {0};
  if (amp_lot_add(s->ctx, &s->lot, r, &err) != AMP_OK)
    bind_raise(L, NULL, "lot", &err);
}

static void lot_finish (lua_State *L, int keys, void *spec) {
  bind_lot *s = spec;
  s->ctx = bind_context(L);
  if (bind_get(L, keys, "module")) {
    set_module(s, bind_check(L, -1, "module", "lot: module"));
    lua_pop(L, 1);
  }
  if (!bind_get(L, keys, "readings") || !lua_istable(L, -1) ||
      lua_rawlen(L, -1) == 0)
    bind_error(L, NULL, "lot: readings = { {id = \"1\", ..}, .. } is wanted");
  int list = lua_gettop(L), n = (int)lua_rawlen(L, list);
  for (int i = 1; i <= n; i++) {
    lua_rawgeti(L, list, i);
    add(L, s, &to_reading(L, -1)->r);
    lua_settop(L, list);
  }
  lua_pop(L, 1);
  lua_pushnil(L); /* the rows are kept here; 'get' gives them back */
  lua_setfield(L, keys, "readings");
}

/* A lot without rows yet, like the one at 'from' (0: none). */
static bind_lot *push_lot (lua_State *L, int from) {
  const bind_lot *old = from != 0 ? lua_touserdata(L, from) : NULL;
  bind_lot *s = lua_newuserdatauv(L, sizeof *s, 2);
  memset(s, 0, sizeof *s);
  lot_defaults(s);
  s->ctx = bind_context(L);
  lua_pushliteral(L, BIND_OBJECT_OF "lot");
  lua_rawget(L, LUA_REGISTRYINDEX);
  lua_setmetatable(L, -2);
  lua_newtable(L);
  if (old != NULL) {
    int n = amp_lot_modules(&old->lot);
    n = old->lot.of > n ? old->lot.of : n;
    s->lot.of = n;
    bind_push_keys(L, from);
    lua_getfield(L, -1, "module");
    lua_setfield(L, -3, "module");
    lua_pop(L, 1);
    lua_pushinteger(L, n);
    lua_setfield(L, -2, "of");
    if (old->module != NULL)
      set_module(s, old->module);
  }
  lua_setiuservalue(L, -2, 1);
  return s;
}

static bind_lot *check_lot (lua_State *L, int idx, const char *call) {
  bind_lot *s = bind_test(L, idx, "lot");
  if (s == NULL)
    bind_error(L, NULL, "%s: call it with a colon on a lot, lot:%s()", call,
               call);
  return s;
}

/* Row of the id at 'idx'; raises with the nearest id there is. */
static size_t check_id (lua_State *L, int idx, const bind_lot *s) {
  if (lua_type(L, idx) != LUA_TSTRING && lua_type(L, idx) != LUA_TNUMBER)
    bind_error(L, NULL, "lot: an id is text, \"9\" (got %s)",
               luaL_typename(L, idx));
  lua_pushvalue(L, idx);
  const char *id = lua_tostring(L, -1);
  size_t at = amp_lot_find(&s->lot, id);
  if (at == (size_t)-1) {
    char shown[120];
    amp_text_visible(id, strlen(id), 30, shown, sizeof shown);
    bind_error(L, NULL, "lot: no module has the id \"%s\"", shown);
  }
  lua_pop(L, 1);
  return at;
}

/* ---- rows as objects ---- */

/* Numbers of the row that lie within the limits, into the table at top. */
static void push_numbers (lua_State *L, const amp_reading *r) {
  for (const bind_field *f = reading_fields; f->key != NULL; f++) {
    if (f->kind != BIND_NUMBER)
      continue;
    size_t at = f->offset - offsetof(bind_reading, r);
    double v = *(const double *)((const char *)r + at);
    double user = (v - f->shift) / f->factor;
    double near = 1e9 * round(user * 1e9) / 1e18; /* 1.9, not 1.90000..02 */
    if (fabs(near - user) <= 1e-12 * fabs(user))
      user = near;
    if (user >= f->lo && user <= f->hi) {
      lua_pushnumber(L, user);
      lua_setfield(L, -2, f->key);
    }
  }
}

static void set_text (lua_State *L, const char *key, const char *s) {
  if (s[0] == '\0')
    return;
  lua_pushstring(L, s);
  lua_setfield(L, -2, key);
}

/* "2026-11-25" or "2026-11-25 14:30" of days since 1970-01-01 */
static void set_date (lua_State *L, double day) {
  char out[64];
  if (!amp_given(day))
    return;
  double whole = floor(day + 0.5 / 1440.0);
  int minute = (int)floor((day - whole) * 1440.0 + 0.5);
  int d = (int)whole + 719468, era = d / 146097, of_era = d % 146097;
  int year =
      (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
  int of_year = of_era - (365 * year + year / 4 - year / 100);
  int m = (5 * of_year + 2) / 153, dd = of_year - (153 * m + 2) / 5 + 1;
  int month = m < 10 ? m + 3 : m - 9;
  int y = year + era * 400 + (month <= 2);
  if (minute > 0)
    snprintf(out, sizeof out, "%04d-%02d-%02d %02d:%02d", y, month, dd,
             minute / 60, minute % 60);
  else
    snprintf(out, sizeof out, "%04d-%02d-%02d", y, month, dd);
  set_text(L, "date", out);
}

/* The table of keys of row 'at'. */
static void push_row (lua_State *L, int lot, size_t at) {
  const bind_lot *s = lua_touserdata(L, lot);
  const amp_reading *r = &s->lot.reading[at];
  lua_newtable(L);
  set_text(L, "id", r->id);
  set_text(L, "remark", r->remark);
  set_date(L, r->day);
  push_numbers(L, r);
  if (s->module != NULL) {
    bind_push_keys(L, lot);
    lua_getfield(L, -1, "module");
    lua_setfield(L, -3, "module");
    lua_pop(L, 1);
  }
}

/* lot:get("9") --> reading */
static int lot_get (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "get");
  size_t at = check_id(L, 2, s);
  const amp_reading *r = &s->lot.reading[at];
  if (r->flaw[0] != '\0')
    return bind_error(L, NULL,
                      "lot: module \"%s\", line %d, makes no sense: "
                      "%s; mend it by lot:with(\"%s\", { .. })",
                      r->id, (int)r->line, r->flaw, r->id);
  push_row(L, 1, at);
  bind_new(L, &reading_class, lua_gettop(L));
  bind_reading *out = lua_touserdata(L, -1);
  out->r = *r; /* with what was before, and no digit lost */
  return 1;
}

/* A copy of the lot without the rows of drop[]. */
static bind_lot *copy_lot (lua_State *L, int from, const bool *drop) {
  const bind_lot *old = lua_touserdata(L, from);
  bind_lot *s = push_lot(L, from);
  for (size_t i = 0; i < old->lot.n; i++)
    if (drop == NULL || !drop[i])
      add(L, s, &old->lot.reading[i]);
  return s;
}

/* lot:with("6", { r10s_mohm = 2.0 }) --> lot with that row changed */
static int lot_with (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "with");
  size_t at = check_id(L, 2, s);
  if (!lua_istable(L, 3))
    return bind_error(L, NULL, "lot: with(id, { .. }) wants a table of keys");
  lua_settop(L, 3);
  push_row(L, 1, at);
  lua_pushnil(L);
  while (lua_next(L, 3) != 0) {
    lua_pushvalue(L, -2);
    lua_insert(L, -2);
    lua_settable(L, 4);
  }
  bind_new(L, &reading_class, 4);
  amp_reading r = ((bind_reading *)lua_touserdata(L, -1))->r;
  const amp_reading *old = &s->lot.reading[at];
  r.before_ocv = old->before_ocv;
  r.before_min = old->before_min;
  r.before_max = old->before_max;
  r.before_day = old->before_day;
  r.line = old->line;
  bind_lot *out = copy_lot(L, 1, NULL);
  size_t other = amp_lot_find(&out->lot, r.id);
  if (other != (size_t)-1 && other != at)
    return bind_error(L, NULL, "lot: the id \"%s\" stands already", r.id);
  out->lot.reading[at] = r;
  return 1;
}

/* Room for a mark a row, on the stack as a userdata. */
static bool *push_marks (lua_State *L, size_t n, bool value) {
  bool *marks = lua_newuserdatauv(L, (n + 1) * sizeof *marks, 0);
  for (size_t i = 0; i <= n; i++)
    marks[i] = value;
  return marks;
}

/* lot:without("5", "11") --> lot without these */
static int lot_without (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "without");
  int given = lua_gettop(L);
  bool *drop = push_marks(L, s->lot.n, false);
  for (int i = 2; i <= given; i++) {
    const char *id = s->lot.reading[check_id(L, i, s)].id;
    for (size_t k = 0; k < s->lot.n; k++)
      drop[k] = drop[k] || strcmp(s->lot.reading[k].id, id) == 0;
  }
  bind_lot *out = copy_lot(L, 1, drop);
  if (out->lot.n == 0)
    return bind_error(L, NULL, "lot: no module is left");
  out->accepted = s->accepted;
  return 1;
}

/* core.lot_accept(lot, {rows from 1}) --> lot of these, as accepted */
static int lot_accept (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "accepted");
  luaL_checktype(L, 2, LUA_TTABLE);
  bool *drop = push_marks(L, s->lot.n, true);
  for (int i = 1; i <= (int)lua_rawlen(L, 2); i++) {
    lua_rawgeti(L, 2, i);
    lua_Integer row = lua_tointeger(L, -1);
    if (row >= 1 && row <= (lua_Integer)s->lot.n)
      drop[row - 1] = false;
    lua_pop(L, 1);
  }
  copy_lot(L, 1, drop)->accepted = true;
  return 1;
}

static int lot_is_accepted (lua_State *L) {
  lua_pushboolean(L, check_lot(L, 1, "match")->accepted);
  return 1;
}

/* lot:ids() --> list, in the order of the rows */
static int lot_ids (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "ids");
  lua_newtable(L);
  for (size_t i = 0; i < s->lot.n; i++) {
    lua_pushstring(L, s->lot.reading[i].id);
    lua_rawseti(L, -2, (lua_Integer)i + 1);
  }
  bind_plain(L);
  return 1;
}

/* core.lot_rows(lot) --> list of {id, ocv_v, .., flaw, line} */
static int lot_rows (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "rows");
  lua_newtable(L);
  for (size_t i = 0; i < s->lot.n; i++) {
    push_row(L, 1, i);
    set_text(L, "flaw", s->lot.reading[i].flaw);
    lua_pushinteger(L, (lua_Integer)s->lot.reading[i].line);
    lua_setfield(L, -2, "line");
    lua_rawseti(L, -2, (lua_Integer)i + 1);
  }
  return 1;
}

static int lot_len (lua_State *L) {
  lua_pushinteger(L, (lua_Integer)check_lot(L, 1, "#")->lot.n);
  return 1;
}

/* ---- statistics ---- */

/* core.lot_mean(lot, "ah") --> {mean, sd, half_width, n, of, unit} or nil,
** why */
static int lot_mean (lua_State *L) {
  static const char *const keys[] = {
      "ocv_v", "group_min_v", "group_max_v", "r10s_mohm",
      "ah",    "temp_c",      NULL};
  bind_lot *s = check_lot(L, 1, "mean");
  const char *key = luaL_checkstring(L, 2);
  int k = 0;
  while (keys[k] != NULL && strcmp(keys[k], key) != 0)
    k++;
  if (keys[k] == NULL) {
    const char *near = bind_nearest(key, keys);
    return bind_error(L, NULL, "mean: no reading has '%s'%s%s%s", key,
                      near != NULL ? " (did you mean '" : "",
                      near != NULL ? near : "", near != NULL ? "'?)" : "");
  }
  const bind_field *f = bind_field_find(&reading_class, keys[k]);
  amp_value v;
  amp_error err = {0};
  if (amp_lot_mean(&s->lot, (amp_reading_field)k, &v, &err) != AMP_OK) {
    lua_pushnil(L);
    lua_pushstring(L, err.text);
    return 2;
  }
  lua_newtable(L);
  bind_put(L, "mean", (v.value - f->shift) / f->factor);
  bind_put(L, "sd", v.n > 1 ? v.sd / f->factor : NAN);
  bind_put(L, "half_width", amp_value_half_width(&v) / f->factor);
  bind_put(L, "n", v.n);
  bind_put(L, "of", v.of);
  set_text(L, "unit", f->unit);
  return 1;
}

/* core.bench_hours(lot, current_a, channels, rest_h, ah) --> {hours,
** rounds, modules, ah, basis}: what was tested, else the module's middle */
static int bench_hours (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "bench_time");
  double current = luaL_checknumber(L, 2), channels = luaL_checknumber(L, 3);
  double rest = luaL_checknumber(L, 4);
  amp_value v = amp_value_fixed(NAN, AMP_BASIS_ASSUMED);
  if (lua_isnumber(L, 5))
    v.value = lua_tonumber(L, 5) * 3600.0;
  else if (amp_lot_mean(&s->lot, AMP_READING_CHARGE, &v, NULL) != AMP_OK &&
           s->module != NULL) {
    bool assumed;
    v.value = bind_module_tested(&s->module->m, &assumed);
    v.basis = s->module->m.capacity.basis;
  }
  if (!(v.value > 0.0))
    return bind_error(L, NULL,
                      "bench_time: ah is wanted: nothing was tested "
                      "and no module is given");
  if (!(channels >= 1.0 && channels <= 1000.0 && channels == floor(channels)))
    return bind_error(L, NULL,
                      "bench_time: channels must be a whole number, "
                      "1 .. 1000");
  int n = (int)s->lot.n, wide = (int)channels;
  lua_newtable(L);
  bind_put(L, "hours",
           amp_bench_seconds(v.value, current, n, wide, rest * 3600.0) /
               3600.0);
  bind_put(L, "rounds", ceil((double)n / wide));
  bind_put(L, "modules", n);
  bind_put(L, "ah", v.value / 3600.0);
  set_text(L, "basis", amp_basis_name(v.basis));
  return 1;
}

enum { GROUPS_MOST = 64 };

/* The log at 'idx', with current and voltage, and as long as the first. */
static const amp_test_log *check_log (lua_State *L, int idx,
                                      const amp_test_log *first) {
  const bind_log *l = bind_check(L, idx, "log", "capacity: each");
  if (l->log.column[AMP_LOG_CURRENT] == NULL ||
      l->log.column[AMP_LOG_VOLTAGE] == NULL)
    bind_error(L, NULL,
               "capacity: a log with current_a and voltage_v is "
               "wanted");
  for (size_t i = 0; first != NULL && i < first->n; i++)
    if (l->log.n != first->n || l->log.time[i] != first->time[i])
      bind_error(L, NULL,
                 "capacity: the logs of the groups differ in their "
                 "times");
  return &l->log;
}

/*
** core.discharge({log, ..}, v_end) --> {ah, kwh, hours, first}: until the
** first of the logs (one a group, the same times) reaches v_end; or nil, why
*/
static int discharge (lua_State *L) {
  const double *v[GROUPS_MOST];
  const amp_test_log *first = NULL;
  amp_discharge d;
  amp_error err = {0};
  luaL_checktype(L, 1, LUA_TTABLE);
  int n = (int)lua_rawlen(L, 1);
  if (n < 1 || n > GROUPS_MOST)
    return bind_error(L, NULL, "capacity: 1 .. %d logs are wanted (got %d)",
                      GROUPS_MOST, n);
  for (int g = 0; g < n; g++) {
    lua_rawgeti(L, 1, g + 1);
    const amp_test_log *log = check_log(L, -1, first);
    first = first != NULL ? first : log;
    v[g] = log->column[AMP_LOG_VOLTAGE];
    lua_pop(L, 1); /* still in the list */
  }
  amp_status st = amp_discharge_until(first->n, first->time,
                                      first->column[AMP_LOG_CURRENT], n, v,
                                      luaL_checknumber(L, 2), &d, &err);
  if (st != AMP_OK) {
    lua_pushnil(L);
    lua_pushstring(L, err.text);
    return 2;
  }
  lua_newtable(L);
  bind_put(L, "ah", d.charge / 3600.0);
  bind_put(L, "kwh", d.energy / 3.6e6);
  bind_put(L, "hours", d.seconds / 3600.0);
  lua_pushinteger(L, d.first + 1);
  lua_setfield(L, -2, "first");
  return 1;
}

/* ---- judging ---- */

static amp_judging read_rules (lua_State *L, int opts) {
  amp_judging j = amp_judging_defaults();
  const amp_judging_rule *r;
  const char *words[40];
  int n = 0;
  for (; (r = amp_judging_rule_at(n)) != NULL && n < 39; n++)
    words[n] = r->key;
  words[n] = NULL;
  bind_options(L, opts, "judge", words);
  for (int i = 0; (r = amp_judging_rule_at(i)) != NULL; i++) {
    double v = bind_option(L, opts, r->key, r->value);
    if (!(v >= r->lo && v <= r->hi)) {
      const char *lo = bind_push_number(L, r->lo);
      const char *hi = bind_push_number(L, r->hi);
      bind_error(L, NULL, "judge: %s must lie in %s .. %s %s (got %s)",
                 r->key, lo, hi, r->unit, bind_push_number(L, v));
    }
    *(double *)((char *)&j + r->offset) = v * r->factor + r->shift;
  }
  return j;
}

static void push_finding (lua_State *L, const amp_judgement *f) {
  static const char *const weights[] = {"safety", "doubt", "economy",
                                        "remark"};
  lua_newtable(L);
  set_text(L, "name", f->name);
  set_text(L, "weight", weights[f->weight]);
  set_text(L, "verdict", amp_verdict_name(f->verdict));
  bind_put(L, "value", f->value);
  bind_put(L, "limit", f->limit);
  bind_put(L, "other", f->other);
  bind_put(L, "typed", f->typed);
  bind_put(L, "meant", f->meant);
  set_text(L, "word", f->word);
}

static void push_judged (lua_State *L, const amp_judged *j) {
  lua_newtable(L);
  set_text(L, "verdict", amp_verdict_name(j->verdict));
  bind_put(L, "group", j->group);
  bind_put(L, "spread", j->spread);
  bind_put(L, "soc", j->soc);
  bind_put(L, "r10s", j->r10s);
  bind_put(L, "r_times", j->r_times);
  bind_put(L, "leak", j->leak);
  bind_put(L, "leak_current", j->leak_current);
  bind_put(L, "leak_least", j->leak_least);
  lua_newtable(L);
  for (int i = 0; i < j->n; i++) {
    push_finding(L, &j->finding[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "findings");
}

static void put_count (lua_State *L, const char *key, int n) {
  lua_pushinteger(L, n);
  lua_setfield(L, -2, key);
}

static void push_summary (lua_State *L, const amp_lot_summary *s) {
  lua_newtable(L);
  for (int v = 0; v < 4; v++)
    put_count(L, amp_verdict_name((amp_verdict)v), s->count[v]);
  put_count(L, "with_groups", s->with_groups);
  put_count(L, "with_r", s->with_r);
  put_count(L, "with_charge", s->with_charge);
  bind_put(L, "ocv", s->ocv);
  bind_put(L, "spread", s->spread);
  bind_put(L, "r10s", s->r10s);
  bind_put(L, "charge", s->charge);
  bind_put(L, "soc", s->soc);
  bind_put(L, "leak", s->leak);
  bind_put_flag(L, "flat", s->flat);
}

/*
** core.lot_judge(lot, {group_reject_v = 2.0, ..}) --> list of {verdict,
** group, spread, soc, r10s, r_times, leak .., findings = {{name, weight,
** verdict, value, limit, other, typed, meant, word}, ..}} in SI, and a summary
*/
static int lot_judge (lua_State *L) {
  bind_lot *s = check_lot(L, 1, "judge");
  lua_settop(L, 2);
  luaL_checkstack(L, 20, NULL);
  amp_judging by = read_rules(L, 2);
  amp_lot_summary sum;
  amp_error err = {0};
  amp_judged *out = lua_newuserdatauv(L, (s->lot.n + 1) * sizeof *out, 0);
  if (amp_lot_judge(s->ctx, &s->lot, &by, out, &sum, &err) != AMP_OK)
    return bind_raise(L, NULL, "judge", &err);
  lua_newtable(L);
  for (size_t i = 0; i < s->lot.n; i++) {
    push_judged(L, &out[i]);
    lua_rawseti(L, -2, (lua_Integer)i + 1);
  }
  push_summary(L, &sum);
  return 2;
}

/* core.judging_rules() --> list of {key, value, lo, hi, unit, reason} */
static int judging_rules (lua_State *L) {
  const amp_judging_rule *r;
  lua_newtable(L);
  for (int i = 0; (r = amp_judging_rule_at(i)) != NULL; i++) {
    lua_newtable(L);
    set_text(L, "key", r->key);
    bind_put(L, "value", r->value);
    bind_put(L, "lo", r->lo);
    bind_put(L, "hi", r->hi);
    set_text(L, "unit", r->unit);
    set_text(L, "reason", r->reason);
    lua_rawseti(L, -2, i + 1);
  }
  return 1;
}

/* ---- from text ---- */

enum { PAIRS_MOST = 64 };

typedef struct text_options {
  amp_readings_options o;
  const char *ours[PAIRS_MOST], *theirs[PAIRS_MOST];
  const char *skip[PAIRS_MOST];
} text_options;

/* Our names that columns = { ours = "theirs" } may use. */
static void check_columns (lua_State *L, int idx) {
  const char *words[32],
      *bare[] = {"ocv", "group_min", "group_max", "r10s", "temp", NULL};
  int n = 0;
  for (; amp_readings_column(n) != NULL; n++)
    words[n] = amp_readings_column(n);
  for (int i = 0; bare[i] != NULL; i++)
    words[n++] = bare[i];
  words[n] = NULL;
  bind_options(L, idx, "readings: columns", words);
}

static void read_columns (lua_State *L, int opts, text_options *t) {
  if (!lua_istable(L, opts) || !bind_get(L, opts, "columns"))
    return;
  int list = lua_gettop(L);
  if (!lua_istable(L, list))
    bind_error(L, NULL, "readings: columns must be { ours = \"theirs\" }");
  check_columns(L, list);
  const char *ours = NULL; /* one by one in byte order: of several that are
                           ** wrong the same one is named each run */
  while ((ours = bind_next_name(L, list, ours)) != NULL &&
         t->o.columns < PAIRS_MOST) {
    if (lua_getfield(L, list, ours) != LUA_TSTRING)
      bind_error(L, NULL, "readings: columns.%s must be text", ours);
    t->ours[t->o.columns] = ours;
    t->theirs[t->o.columns++] = lua_tostring(L, -1);
    lua_pop(L, 1);
  }
  lua_pop(L, 1); /* the strings stay in the table of options */
  t->o.ours = t->ours;
  t->o.theirs = t->theirs;
}

static void read_skip (lua_State *L, int opts, text_options *t) {
  if (!lua_istable(L, opts) || !bind_get(L, opts, "skip"))
    return;
  if (!lua_istable(L, -1))
    bind_error(L, NULL, "readings: skip must be a list of headers");
  for (int i = 1; i <= (int)lua_rawlen(L, -1) && i <= PAIRS_MOST; i++) {
    if (lua_rawgeti(L, -1, i) != LUA_TSTRING)
      bind_error(L, NULL, "readings: skip must be a list of headers");
    t->skip[t->o.skipped++] = lua_tostring(L, -1);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
  t->o.skip = t->skip;
}

static int bad_file (lua_State *L, const char *file, const amp_error *err) {
  bind_push_error(L, NULL, "", err);
  const char *why = lua_tostring(L, -1);
  const char *class = err->status == AMP_EDATA ? "data" : NULL;
  if (err->line > 0 && err->column > 0)
    return bind_error(L, class, "%s:%d:%d: %s", file, (int)err->line,
                      (int)err->column, why);
  if (err->line > 0)
    return bind_error(L, class, "%s:%d: %s", file, (int)err->line, why);
  return bind_error(L, class, "%s: %s", file, why);
}

/* The text is at 'text', the options at 'opts'. */
static int read_readings (lua_State *L, int text, int opts,
                          const char *file) {
  static const char *const keys[] = {"module",  "columns", "sep",
                                     "decimal", "skip",    NULL};
  text_options t = {0};
  amp_error err = {0};
  size_t n;
  luaL_checkstack(L, 40, NULL);
  bind_options(L, opts, "readings", keys);
  const char *s = lua_tolstring(L, text, &n);
  bind_lot *lot = push_lot(L, 0);
  int self = lua_gettop(L);
  if (lua_istable(L, opts) && bind_get(L, opts, "module")) {
    set_module(lot, bind_check(L, -1, "module", "readings: module"));
    bind_push_keys(L, self);
    lua_insert(L, -2);
    lua_setfield(L, -2, "module");
    lua_pop(L, 1);
  }
  t.o.sep = bind_char(L, opts, "sep", "readings");
  t.o.decimal = bind_char(L, opts, "decimal", "readings");
  if (t.o.decimal != '\0' && t.o.decimal != ',' && t.o.decimal != '.')
    bind_error(L, NULL, "readings: decimal must be ',' or '.'");
  if (t.o.sep != '\0' && t.o.sep == t.o.decimal)
    bind_error(L, NULL, "readings: sep and decimal are the same mark");
  read_columns(L, opts, &t);
  read_skip(L, opts, &t);
  if (amp_lot_read(lot->ctx, s, n, &t.o, &lot->lot, &err) != AMP_OK)
    return bad_file(L, file, &err);
  lua_settop(L, self);
  return 1;
}

static const char *check_text (lua_State *L, const char *what) {
  if (lua_type(L, 1) != LUA_TSTRING)
    bind_error(L, NULL, "readings: %s is wanted (got %s)", what,
               luaL_typename(L, 1));
  return lua_tostring(L, 1);
}

/* amp.readings.csv("arrived.csv", { module = m, decimal = "," }) --> lot */
static int readings_csv (lua_State *L) {
  check_text(L, "the path of a file");
  const char *path = bind_check_path(L, 1);
  lua_settop(L, 2);
  bind_read_file(L, path);
  return read_readings(L, 3, 2, bind_file_name(path));
}

static int readings_text (lua_State *L) {
  check_text(L, "a text");
  lua_settop(L, 2);
  return read_readings(L, 1, 2, "text");
}

/* ---- opening ---- */

static const luaL_Reg lot_methods[] = {{"get", lot_get},
                                       {"without", lot_without},
                                       {"ids", lot_ids},
                                       {NULL, NULL}};

static const bind_class lot_class = {
    "lot",
    "lot",
    "the modules that came together, as the bench read them",
    lot_fields,
    sizeof(bind_lot),
    lot_defaults,
    lot_finish,
    NULL,
    lot_free,
    lot_methods};

static const luaL_Reg functions[] = {{"readings_csv", readings_csv},
                                     {"readings_text", readings_text},
                                     {"lot_with", lot_with},
                                     {"lot_accept", lot_accept},
                                     {"lot_is_accepted", lot_is_accepted},
                                     {"lot_rows", lot_rows},
                                     {"lot_mean", lot_mean},
                                     {"bench_hours", bench_hours},
                                     {"discharge", discharge},
                                     {"lot_judge", lot_judge},
                                     {"judging_rules", judging_rules},
                                     {NULL, NULL}};

void bind_readings_open (lua_State *L) {
  bind_class_open(L, &reading_class);
  bind_class_open(L, &lot_class);
  luaL_getmetatable(L, BIND_OBJECT_OF "lot");
  lua_pushcfunction(L, lot_len);
  lua_setfield(L, -2, "__len");
  lua_pop(L, 1);
  luaL_setfuncs(L, functions, 0);
}
