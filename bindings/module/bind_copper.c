/*
** bind_copper.c -- conductors: a cable, a busbar with its strings, a thin
** wire that fuses and the cells behind it.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

static bool is_given (lua_State *L, int keys, const char *key) {
  bool given = bind_get(L, keys, key);
  if (given)
    lua_pop(L, 1);
  return given;
}

/* Which of the words (ended by NULL) stands under 'key'; 0: none is given. */
static int read_word (lua_State *L, int keys, const char *who,
                      const char *key, const char *const *words) {
  int at = 0;
  if (!bind_get(L, keys, key))
    return 0;
  const char *s = lua_type(L, -1) == LUA_TSTRING ? lua_tostring(L, -1) : "";
  while (words[at] != NULL && strcmp(words[at], s) != 0)
    at++;
  if (words[at] == NULL) {
    luaL_Buffer b;
    luaL_buffinit(L, &b);
    for (int i = 0; words[i] != NULL; i++) {
      luaL_addstring(&b, i == 0 ? "" : words[i + 1] ? ", " : " or ");
      luaL_addstring(&b, words[i]);
    }
    luaL_pushresult(&b);
    bind_error(L, NULL, "%s: %s must be %s (got '%s')", who, key,
               lua_tostring(L, -1), s);
  }
  lua_pop(L, 1);
  return at;
}

/* A gauge at the top: 10, "10" or "2/0". */
static int read_gauge (lua_State *L, const char *who, const char *key) {
  amp_error err = {0};
  int n = 0;
  bool number = lua_type(L, -1) == LUA_TNUMBER && lua_isinteger(L, -1);
  if (!number && lua_type(L, -1) != LUA_TSTRING)
    bind_error(L, NULL, "%s: %s must be a gauge such as 10 or \"2/0\"", who,
               key);
  lua_pushvalue(L, -1); /* lua_tostring would change the user's number */
  if (amp_awg_parse(lua_tostring(L, -1), &n, &err) != AMP_OK)
    bind_error(L, NULL, "%s: %s", who, err.text);
  lua_pop(L, 1);
  return n;
}

static const amp_metal *read_metal (lua_State *L, int keys, const char *who,
                                    bool cables, const amp_metal *otherwise) {
  const char *words[16];
  int n = 0;
  for (int i = 0; amp_metal_at(i) != NULL && n < 15; i++)
    if (!cables || amp_metal_at(i)->conductor)
      words[n++] = amp_metal_at(i)->name;
  words[n] = NULL;
  if (!bind_get(L, keys, "metal"))
    return otherwise;
  lua_pop(L, 1);
  return amp_metal_find(words[read_word(L, keys, who, "metal", words)]);
}

/* ---- a cable ---- */

static const bind_field cable_fields[] = {
    F_TEXT("name", bind_cable, name, "what to call it"),
    F_NUM_OF("one_way_m", bind_cable, c.one_way, 1.0, 0.0, 10000.0, "m", 1,
             "length one way; the current flows through both"),
    F_NUM_OF("one_way_ft", bind_cable, c.one_way, 0.3048, 0.0, 32808.0, "ft",
             1, "the same in feet"),
    F_NUM_OF("area_mm2", bind_cable, c.area, 1e-6, 0.01, 10000.0, "mm2", 2,
             "cross-section; without one the size is the answer"),
    F_ELSE_OF("awg", BIND_CHOICE, 1.0, 0.0, 0.0, "", 2,
              "gauge: 10, or \"2/0\" in quotes"),
    F_NUM("current_a", bind_cable, c.current, 1.0, 0.0, 1e5, "A",
          "current that lasts"),
    F_NUM("v", bind_cable, c.v, 1.0, 0.1, 2000.0, "V",
          "voltage of the circuit, of which the drop is a share"),
    F_NUM("ampacity_a", bind_cable, c.ampacity, 1.0, 0.1, 1e5, "A",
          "what it may carry where it lies, by your code, corrected"),
    F_ELSE("ampacities", BIND_LIST, "A",
           "your code's table {{mm2 or \"gauge\", A}, ..}, sizes rising"),
    F_NUM("correction_pct", bind_cable, c.correction, 0.01, 5.0, 150.0, "%",
          "of the table's figure, for heat and bundling; 100 unless given"),
    F_WHOLE("lug_c", bind_cable, c.lug, 60, 90,
            "what its lugs are made for: 60, 75 or 90 C; 75 unless given"),
    F_WHOLE("insulation_c", bind_cable, c.insulation, 60, 90,
            "what its insulation is made for; as the lug unless given"),
    F_NUM("fuse_a", bind_cable, c.carry, 1.0, 0.0, 1e5, "A",
          "fuse it must stand; 1.25 times the current unless given"),
    F_NUM("drop_max_pct", bind_cable, c.drop_limit, 0.01, 0.0001, 50.0, "%",
          "largest drop that is wanted"),
    F_ELSE("metal", BIND_CHOICE, "copper aluminium", "copper unless given"),
    {"tinned", BIND_FLAG, offsetof(bind_cable, c.tinned), 1.0, 0.0, 0.0, 0.0,
     "", "tinned", 0, "true: tinned copper, by IEC 60228"},
    F_ELSE("resistance_by", BIND_CHOICE,
           "plain iec_class_2 iec_class_5 nec_table_8",
           "how its resistance is told; plain unless given"),
    F_ELSE("sizes", BIND_CHOICE, "mm2 awg",
           "which sizes to pick among; mm2 unless given"),
    F_TEMPS("temp", bind_cable, c.temp, -60.0, 200.0, 3,
            "temperature of the metal; 20 C unless given"),
    F_END};

static const bind_class cable_class;

static void cable_defaults (void *spec) {
  ((bind_cable *)spec)->c = amp_cable_defaults();
}

/* {{16, 80}, {"2/0", 175}, ..} */
static void read_ampacities (lua_State *L, int keys, const char *who,
                             amp_cable *c) {
  if (!bind_get(L, keys, "ampacities"))
    return;
  int list = lua_gettop(L);
  lua_Integer n = lua_istable(L, list) ? (lua_Integer)lua_rawlen(L, list) : 0;
  if (n < 1 || n > AMP_AMPACITIES)
    bind_error(L, NULL,
               "%s: ampacities must be a list {{mm2 or \"gauge\", A}, ..} of "
               "at most %d sizes",
               who, AMP_AMPACITIES);
  for (lua_Integer i = 1; i <= n; i++) {
    if (lua_rawgeti(L, list, i) != LUA_TTABLE ||
        lua_rawgeti(L, -1, 2) != LUA_TNUMBER)
      bind_error(L, NULL, "%s: ampacities: row %d must be {mm2, A}", who,
                 (int)i);
    c->table[i - 1].a = lua_tonumber(L, -1);
    lua_pop(L, 1);
    lua_rawgeti(L, -1, 1);
    c->table[i - 1].area = lua_type(L, -1) == LUA_TNUMBER
                               ? lua_tonumber(L, -1) * 1e-6
                               : amp_awg_area(read_gauge(L, who, "size"));
    lua_pop(L, 2);
  }
  c->rows = (int)n;
  lua_pop(L, 1);
}

static void cable_finish (lua_State *L, int keys, void *spec) {
  static const char *const rules[] = {"plain", "iec_class_2", "iec_class_5",
                                      "nec_table_8", NULL};
  static const char *const sizes[] = {"mm2", "awg", NULL};
  bind_cable *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &cable_class, keys);
  s->metal_given = is_given(L, keys, "metal");
  s->rule_given = is_given(L, keys, "resistance_by");
  s->c.metal = read_metal(L, keys, who, true, s->c.metal);
  s->c.rule = (amp_wire_rule)read_word(L, keys, who, "resistance_by", rules);
  s->c.awg_sizes = read_word(L, keys, who, "sizes", sizes) == 1;
  if (bind_get(L, keys, "awg")) {
    s->c.awg = read_gauge(L, who, "awg");
    lua_pop(L, 1);
  }
  read_ampacities(L, keys, who, &s->c);
  if (amp_cable_answer_of(&s->c, &s->a, &err) != AMP_OK)
    bind_raise(L, &cable_class, who, &err);
}

static void cable_tell (lua_State *L, const void *spec) {
  const bind_cable *s = spec;
  if (!s->metal_given)
    bind_say(L, "metal: copper is taken");
  if (!s->rule_given && amp_given(s->c.one_way))
    bind_say(L, s->c.metal == amp_metal_find("copper")
                    ? "resistance_by: plain, 0.0175 ohm mm2/m at 20 C"
                    : "resistance_by: plain, 0.0283 ohm mm2/m at 20 C");
  if (s->c.temp == 293.15 && amp_given(s->c.one_way))
    bind_say(L, "temp_c: 20 C is taken; a loaded cable is warmer");
  if (s->a.from == AMP_AMPACITY_NEC && s->c.lug == 0)
    bind_say(L, "lug_c: 75 C is taken");
  if ((s->a.from == AMP_AMPACITY_NEC || s->a.from == AMP_AMPACITY_TABLE) &&
      s->c.correction == 1.0)
    bind_say(L, "correction_pct: none, as the table states it");
}

BIND_READ(cable, area_mm2, s->a.area * 1e6)
BIND_READ(cable, r_mohm, s->a.r * 1e3)
BIND_READ(cable, drop_v, s->a.drop)
BIND_READ(cable, drop_pct, s->a.share * 100.0)
BIND_READ(cable, loss_w, s->a.loss)
BIND_READ(cable, ampacity_a, s->a.ampacity)
BIND_READ(cable, area_by_drop_mm2, s->a.area_by_drop * 1e6)
BIND_READ(cable, area_by_ampacity_mm2, s->a.area_by_ampacity * 1e6)

static int cable_awg (lua_State *L) {
  const bind_cable *s = bind_check(L, 1, "cable", "awg");
  char name[8];
  if (s->a.awg == AMP_AWG_NONE)
    return 0;
  amp_awg_name(s->a.awg, name);
  lua_pushstring(L, name);
  return 1;
}

/* cable:stands_s(10000) --> s that copper stands a short circuit, or nil
** and why not: its insulation made for 90 C ends at 250 C, else at 160 C */
static int cable_stands (lua_State *L) {
  const bind_cable *s = bind_check(L, 1, "cable", "stands_s");
  double a = lua_type(L, 2) == LUA_TNUMBER ? lua_tonumber(L, 2) : NAN;
  bool hot = s->c.insulation == 90;
  if (!(a > 0.0 && a <= 1e7))
    return bind_error(L, NULL, "stands_s: amperes are wanted, above 0");
  if (s->c.metal != amp_metal_find("copper")) {
    lua_pushnil(L);
    lua_pushliteral(L, "told of copper alone");
    return 2;
  }
  double k = hot ? amp_wire_short_time(363.15, 523.15)
                 : amp_wire_short_time(343.15, 433.15);
  double t = k * s->a.area / a * (k * s->a.area / a);
  if (!(t >= 0.1 && t <= 5.0)) {
    lua_pushnil(L);
    lua_pushstring(L, t < 0.1 ? "less than 0.1 s, where the law ends"
                              : "more than 5 s, where the law ends");
    return 2;
  }
  lua_pushnumber(L, t);
  return 1;
}

static const luaL_Reg cable_methods[] = {
    {"stands_s", cable_stands},
    {"get_area_mm2", cable_area_mm2},
    {"get_awg", cable_awg},
    {"get_r_mohm", cable_r_mohm},
    {"get_drop_v", cable_drop_v},
    {"get_drop_pct", cable_drop_pct},
    {"get_loss_w", cable_loss_w},
    {"get_ampacity_a", cable_ampacity_a},
    {"get_area_by_drop_mm2", cable_area_by_drop_mm2},
    {"get_area_by_ampacity_mm2", cable_area_by_ampacity_mm2},
    {NULL, NULL}};

static const bind_class cable_class = {"cable",
                                       "cable",
                                       "a cable, there and back",
                                       cable_fields,
                                       sizeof(bind_cable),
                                       cable_defaults,
                                       cable_finish,
                                       cable_tell,
                                       NULL,
                                       cable_methods};

/* core.cable_raw(cable) --> all that is told of it */
static int cable_raw (lua_State *L) {
  static const char *const from[] = {"none", "given", "table", "nec"};
  const bind_cable *s = bind_check(L, 1, "cable", "cable");
  char name[8];
  lua_newtable(L);
  bind_put(L, "area_mm2", s->a.area * 1e6);
  if (s->a.awg != AMP_AWG_NONE) {
    amp_awg_name(s->a.awg, name);
    bind_put_text(L, "awg", name);
  }
  bind_put(L, "r_mohm", s->a.r * 1e3);
  bind_put(L, "drop_v", s->a.drop);
  bind_put(L, "drop_pct", s->a.share * 100.0);
  bind_put(L, "loss_w", s->a.loss);
  bind_put(L, "current_a", s->c.current);
  bind_put(L, "ampacity_a", s->a.ampacity);
  bind_put(L, "carry_a", s->a.carry);
  bind_put(L, "area_by_drop_mm2", s->a.area_by_drop * 1e6);
  bind_put(L, "area_by_ampacity_mm2", s->a.area_by_ampacity * 1e6);
  bind_put(L, "drop_max_pct", s->c.drop_limit * 100.0);
  bind_put_text(L, "from", from[s->a.from]);
  bind_put_flag(L, "lug_decides", s->a.lug_decides);
  return 1;
}

/* ---- a busbar ---- */

static const bind_field busbar_fields[] = {
    F_TEXT("name", bind_busbar, name, "what to call it"),
    F_WHOLE("strings", bind_busbar, n, 1, AMP_RAIL_STRINGS,
            "strings side by side; the length of a list unless given"),
    F_ELSE_OF(
        "string_mohm", BIND_LIST, 1e-3, 0.000001, 1e6, "mohm", 0,
        "resistance of a string with its leads: one, or a list, in which "
        "false stands for one that nobody measured"),
    F_ELSE_OF("string_v", BIND_LIST, 1.0, 0.0, 2000.0, "V", 0,
              "rest voltage of each string; alike unless given"),
    F_NUM("segment_mohm", bind_busbar, segment, 1e-3, 0.0, 1000.0, "mohm",
          "of one rail between neighbours"),
    F_NUM("current_a", bind_busbar, current, 1.0, -1e6, 1e6, "A",
          "current of the pack; > 0 discharges"),
    F_ELSE("take_off", BIND_CHOICE, "one_end diagonal",
           "both cables at the first string, or at opposite ends"),
    F_WHOLE("plus_at", bind_busbar, plus, 1, AMP_RAIL_STRINGS,
            "string at which the positive cable leaves, from 1"),
    F_WHOLE("minus_at", bind_busbar, minus, 1, AMP_RAIL_STRINGS,
            "string at which the negative cable leaves, from 1"),
    F_END};

static const bind_class busbar_class;

static void busbar_defaults (void *spec) {
  ((bind_busbar *)spec)->current = NO;
}

/* One figure for all, or one each; the number of strings follows a list. A
** string that nobody measured stands as false: NaN. */
static bool read_each (lua_State *L, int keys, const char *who,
                       const char *key, int *n, double *out) {
  const bind_field *f = bind_field_find(&busbar_class, key);
  if (!bind_get(L, keys, key))
    return false;
  bool list = lua_istable(L, -1);
  int got = list ? (int)lua_rawlen(L, -1) : 1;
  if (!list)
    out[0] = bind_number(L, -1, f, who);
  for (int i = 0; list && i < got && i < AMP_RAIL_STRINGS; i++) {
    lua_rawgeti(L, -1, i + 1);
    out[i] = lua_isboolean(L, -1) && !lua_toboolean(L, -1)
                 ? NO
                 : bind_number(L, -1, f, who);
    lua_pop(L, 1);
  }
  lua_pop(L, 1);
  if (list && *n == 0)
    *n = got;
  if (got > AMP_RAIL_STRINGS || (list && got != *n))
    bind_error(L, NULL,
               "%s: %s must list one figure a string (got %d for %d)", who,
               key, got, *n);
  for (int i = 1; !list && i < *n; i++)
    out[i] = out[0];
  return true;
}

/* Currents, or where a resistance is missing the most and the least. */
static amp_status share (bind_busbar *s, const double *e, amp_error *err) {
  for (int i = 0; i < s->n; i++)
    s->bound = s->bound || !amp_given(s->r[i]);
  if (!s->bound)
    return amp_rail_currents(s->n, e, s->r, s->segment, s->plus - 1,
                             s->minus - 1, s->current, s->i, err);
  if (e != NULL)
    return amp_failf(err, AMP_EMISSING, "r",
                     "with a resistance missing bounds are told of strings "
                     "at one voltage alone");
  return amp_rail_bounds(s->n, s->r, s->segment, s->plus - 1, s->minus - 1,
                         s->current, s->low, s->i, err);
}

static void busbar_finish (lua_State *L, int keys, void *spec) {
  static const char *const ends[] = {"one_end", "diagonal", NULL};
  bind_busbar *s = spec;
  amp_error err = {0};
  double e[AMP_RAIL_STRINGS] = {0};
  const char *who = bind_who(L, &busbar_class, keys);
  bool r = read_each(L, keys, who, "string_mohm", &s->n, s->r);
  if (!r || s->n == 0)
    bind_error(L, NULL, "%s: %s is wanted", who,
               r ? "strings" : "string_mohm");
  bool apart = read_each(L, keys, who, "string_v", &s->n, e);
  if (!amp_given(s->current))
    bind_error(L, NULL, "%s: current_a is wanted", who);
  int diagonal = read_word(L, keys, who, "take_off", ends);
  s->plus = s->plus == 0 ? 1 : s->plus;
  s->minus = s->minus != 0 ? s->minus : diagonal ? s->n : s->plus;
  if (s->plus > s->n || s->minus > s->n)
    bind_error(L, NULL, "%s: there are %d strings to take off at", who, s->n);
  if (share(s, apart ? e : NULL, &err) != AMP_OK)
    bind_raise(L, &busbar_class, who, &err);
}

static double most_of (const bind_busbar *s) {
  double most = s->i[0];
  for (int i = 1; i < s->n; i++)
    most = fabs(s->i[i]) > fabs(most) ? s->i[i] : most;
  return most;
}

BIND_READ(busbar, most_a, most_of(s))

static const luaL_Reg busbar_methods[] = {{"get_most_a", busbar_most_a},
                                          {NULL, NULL}};

static const bind_class busbar_class = {
    "busbar",
    "busbar",
    "strings side by side on two rails, and where the cables leave",
    busbar_fields,
    sizeof(bind_busbar),
    busbar_defaults,
    busbar_finish,
    NULL,
    NULL,
    busbar_methods};

static void put_list (lua_State *L, const char *key, const double *v, int n) {
  lua_createtable(L, n, 0);
  for (int i = 0; i < n; i++) {
    lua_pushnumber(L, v[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, key);
}

/* core.busbar_raw(busbar) --> {current_a, plus, minus, currents}; 'least'
** where a resistance is missing */
static int busbar_raw (lua_State *L) {
  const bind_busbar *s = bind_check(L, 1, "busbar", "busbar");
  lua_newtable(L);
  bind_put(L, "current_a", s->current);
  bind_put(L, "most_a", most_of(s));
  lua_pushinteger(L, s->plus);
  lua_setfield(L, -2, "plus");
  lua_pushinteger(L, s->minus);
  lua_setfield(L, -2, "minus");
  put_list(L, "currents", s->i, s->n);
  if (s->bound)
    put_list(L, "least", s->low, s->n);
  return 1;
}

/* ---- a fuse link ---- */

static const bind_field link_fields[] = {
    F_TEXT("name", bind_fuse_link, name, "what to call it"),
    F_ELSE("metal", BIND_CHOICE,
           "copper aluminium nickel tin lead iron german_silver "
           "nickel_plated_steel",
           "of the wire; for nickel and plated steel no constant is known"),
    F_NUM("diameter_mm", bind_fuse_link, l.diameter, 1e-3, 0.05, 10.0, "mm",
          "of the round wire"),
    F_NUM("length_mm", bind_fuse_link, l.length, 1e-3, 0.1, 10000.0, "mm",
          "between its joints"),
    F_NUM("fusing_a", bind_fuse_link, l.fusing, 1.0, 0.01, 1e5, "A",
          "steady current at which yours went; by Preece unless given"),
    F_TEMPS("temp", bind_fuse_link, l.ambient, -60.0, 120.0, 1,
            "around the wire; 25 C unless given"),
    F_END};

static const bind_class link_class;

static void link_defaults (void *spec) {
  ((bind_fuse_link *)spec)->l = (amp_link){NULL, NO, NO, NO, 298.15};
}

static void link_finish (lua_State *L, int keys, void *spec) {
  bind_fuse_link *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &link_class, keys);
  s->l.metal = read_metal(L, keys, who, false, NULL);
  if (s->l.metal == NULL || !amp_given(s->l.diameter))
    bind_error(L, NULL, "%s: %s is wanted", who,
               s->l.metal == NULL ? "metal" : "diameter_mm");
  if (amp_link_answer_of(&s->l, &s->a, &err) != AMP_OK)
    bind_raise(L, &link_class, who, &err);
}

BIND_READ(fuse_link, fusing_a, s->a.fusing)
BIND_READ(fuse_link, low_a, s->a.low)
BIND_READ(fuse_link, high_a, s->a.high)
BIND_READ(fuse_link, i2t_a2s, s->a.i2t)
BIND_READ(fuse_link, brief_s, s->a.brief)
BIND_READ(fuse_link, r_mohm, s->a.r * 1e3)

/* link:melting_a(0.1) --> A that melt it in 0.1 s, or nil and why not */
static int link_melting (lua_State *L) {
  const bind_fuse_link *s = bind_check(L, 1, "fuse_link", "melting_a");
  amp_error err = {0};
  double a, t = lua_type(L, 2) == LUA_TNUMBER ? lua_tonumber(L, 2) : NAN;
  if (!(t >= 1e-6 && t <= 1e6))
    return bind_error(L, NULL, "melting_a: seconds are wanted, above 0");
  if (amp_link_melts(&s->l, t, &a, &err) == AMP_OK) {
    lua_pushnumber(L, a);
    return 1;
  }
  lua_pushnil(L);
  bind_push_error(L, &link_class, "", &err);
  return 2;
}

static const luaL_Reg link_methods[] = {
    {"melting_a", link_melting},        {"get_fusing_a", fuse_link_fusing_a},
    {"get_low_a", fuse_link_low_a},     {"get_high_a", fuse_link_high_a},
    {"get_i2t_a2s", fuse_link_i2t_a2s}, {"get_brief_s", fuse_link_brief_s},
    {"get_r_mohm", fuse_link_r_mohm},   {NULL, NULL}};

static const bind_class link_class = {
    "fuse_link",
    "fuse_link",
    "a thin wire between a cell and the bus that fuses",
    link_fields,
    sizeof(bind_fuse_link),
    link_defaults,
    link_finish,
    NULL,
    NULL,
    link_methods};

/* core.link_raw(link) */
static int link_raw (lua_State *L) {
  const bind_fuse_link *s = bind_check(L, 1, "fuse_link", "fuse_link");
  lua_newtable(L);
  bind_put(L, "fusing_a", s->a.fusing);
  bind_put(L, "low_a", s->a.low);
  bind_put(L, "high_a", s->a.high);
  bind_put(L, "i2t_a2s", s->a.i2t);
  bind_put(L, "brief_s", s->a.brief);
  bind_put(L, "r_mohm", s->a.r * 1e3);
  bind_put_text(L, "metal", s->l.metal->name);
  bind_put(L, "diameter_mm", s->l.diameter * 1e3);
  bind_put_flag(L, "measured", s->a.measured);
  bind_put_flag(L, "thin", s->a.thin);
  bind_put_flag(L, "end_cooled", s->a.end_cooled);
  return 1;
}

enum { CELLS, LOAD, VOLT };
static const bind_field cascade_fields[] = {
    F_ELSE_OF("cells", BIND_WHOLE, 1.0, 1.0, AMP_LINK_CELLS, "", 0, ""),
    F_ELSE_OF("current_a", BIND_NUMBER, 1.0, 0.0, 1e5, "A", 0, ""),
    F_ELSE_OF("v", BIND_NUMBER, 1.0, 0.0, 1000.0, "V", 0, ""), F_END};

/* The number under that key, or 'otherwise'. */
static double cascade_number (lua_State *L, int at, double otherwise) {
  const bind_field *f = &cascade_fields[at];
  double v = otherwise;
  if (bind_get(L, 2, f->key)) {
    v = bind_number(L, -1, f, "cascade");
    lua_pop(L, 1);
  }
  if (f->kind == BIND_WHOLE && v != floor(v))
    bind_error(L, NULL, "cascade: %s must be a whole number (got %s)", f->key,
               bind_push_number(L, v));
  return v;
}

/* Resistances of the cells, each with its link, from cell_mohm. */
static int read_cells (lua_State *L, int opts, const bind_fuse_link *s,
                       double *r) {
  static const bind_field f =
      F_ELSE_OF("cell_mohm", BIND_LIST, 1e-3, 0.001, 1e6, "mohm", 0, "");
  double link = amp_given(s->a.r) ? s->a.r : 0.0;
  int n = (int)cascade_number(L, CELLS, 0.0);
  if (!bind_get(L, opts, "cell_mohm"))
    bind_error(L, NULL, "cascade: cell_mohm is wanted");
  bool list = lua_istable(L, -1);
  int got = bind_list(L, -1, &f, "cascade", r, AMP_LINK_CELLS);
  lua_pop(L, 1);
  n = n == 0 && list ? got : n;
  if (n < 1 || n > AMP_LINK_CELLS || (list && got != n))
    bind_error(L, NULL,
               "cascade: cells must lie in 1 .. %d, one cell_mohm each where "
               "it is a list",
               AMP_LINK_CELLS);
  for (int i = n - 1; i >= 0; i--)
    r[i] = (list ? r[i] : r[0]) + link;
  return n;
}

static void push_row (lua_State *L, const amp_cascade_row *row) {
  static const char *const states[] = {"hold", "may go", "follow"};
  lua_newtable(L);
  bind_put(L, "gone", row->gone);
  bind_put(L, "went", row->went < 0 ? NO : row->went + 1);
  bind_put(L, "link_a", row->current);
  bind_put(L, "group_v", row->v);
  bind_put(L, "left_pct", row->share * 100.0);
  bind_put_text(L, "state", states[row->state]);
}

/* What a cell that shorts inside would draw: cells alike. */
static void put_fault (lua_State *L, int n, const double *r, double link,
                       double v) {
  double mean = 0.0, fault, others;
  for (int i = 0; i < n; i++)
    mean += r[i] / n;
  link = amp_given(link) ? link : 0.0;
  if (amp_link_fault(n, mean - link, link, v, &fault, &others, NULL) ==
      AMP_OK) {
    bind_put(L, "fault_a", fault);
    bind_put(L, "others_a", others);
  }
}

/* core.cascade_raw(link, {cells, cell_mohm, v, current_a}) */
static int cascade_raw (lua_State *L) {
  static const char *const words[] = {"cells", "cell_mohm", "v", "current_a",
                                      NULL};
  const bind_fuse_link *s = bind_check(L, 1, "fuse_link", "cascade: link");
  amp_cascade *c = lua_newuserdatauv(L, sizeof *c, 0);
  double r[AMP_LINK_CELLS];
  amp_error err = {0};
  if (!lua_istable(L, 2))
    bind_error(L, NULL, "cascade: a table of keys is wanted");
  bind_options(L, 2, "cascade", words);
  int n = read_cells(L, 2, s, r);
  double v = cascade_number(L, VOLT, NO);
  double load = cascade_number(L, LOAD, NO);
  if (!amp_given(v) || !amp_given(load))
    bind_error(L, NULL, "cascade: %s is wanted",
               amp_given(v) ? "current_a" : "v");
  if (amp_link_cascade(n, r, v, load, s->a.low, s->a.high, c, &err) != AMP_OK)
    return bind_raise(L, &link_class, "cascade", &err);
  lua_newtable(L);
  bind_put(L, "hold", c->hold);
  bind_put(L, "may", c->may);
  bind_put(L, "cells", n);
  bind_put(L, "group_low_a", c->group_low);
  bind_put(L, "group_high_a", c->group_high);
  put_fault(L, n, r, s->a.r, v);
  lua_createtable(L, n + 1, 0);
  for (int i = 0; i <= n; i++) {
    push_row(L, &c->row[i]);
    lua_rawseti(L, -2, i + 1);
  }
  lua_setfield(L, -2, "rows");
  return 1;
}

static const luaL_Reg functions[] = {{"cable_raw", cable_raw},
                                     {"busbar_raw", busbar_raw},
                                     {"link_raw", link_raw},
                                     {"cascade_raw", cascade_raw},
                                     {NULL, NULL}};

void bind_copper_open (lua_State *L) {
  bind_class_open(L, &cable_class);
  bind_class_open(L, &busbar_class);
  bind_class_open(L, &link_class);
  luaL_setfuncs(L, functions, 0);
}
