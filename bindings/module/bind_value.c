/*
** bind_value.c -- numbers with what is known about them: measured, claimed,
** assumed, between, tested. A value object is one draw wherever it is used;
** its stream is named by the object and key that used it first.
*/
#include "bind.h"
#include "bind_inside.h"
#include <math.h>
#include <string.h>

#define VALUE "ampstead.value"

/* In the user's unit, whatever the key will say it is. */
typedef struct value_object {
  amp_value v;
  char by[64];
} value_object;

bool bind_is_value (lua_State *L, int idx) {
  return lua_type(L, idx) == LUA_TUSERDATA &&
         luaL_testudata(L, idx, VALUE) != NULL;
}

static value_object *new_value (lua_State *L) {
  value_object *o = lua_newuserdatauv(L, sizeof *o, 0);
  memset(o, 0, sizeof *o);
  luaL_setmetatable(L, VALUE);
  return o;
}

/* ---- making ---- */

static double finite_arg (lua_State *L, int arg, const char *call) {
  if (lua_type(L, arg) != LUA_TNUMBER)
    bind_error(L, NULL, "%s: argument %d must be a number (got %s)", call,
               arg, luaL_typename(L, arg));
  double v = lua_tonumber(L, arg);
  if (!isfinite(v))
    bind_error(L, NULL, "%s: argument %d must be finite (got %s)", call, arg,
               v > 0.0   ? "inf"
               : v < 0.0 ? "-inf"
                         : "nan");
  return v;
}

static int with_basis (lua_State *L, amp_basis basis) {
  const char *call = amp_basis_name(basis);
  double v = finite_arg(L, 1, call), sd = 0.0;
  if (!lua_isnoneornil(L, 2))
    sd = finite_arg(L, 2, call);
  if (!(sd >= 0.0))
    return bind_error(L, NULL, "%s: the standard deviation is negative (%s)",
                      call, bind_push_number(L, sd));
  value_object *o = new_value(L);
  o->v =
      sd > 0.0 ? amp_value_normal(v, sd, basis) : amp_value_fixed(v, basis);
  return 1;
}

/* amp.measured(93.8, 3.0) --> value, normal about 93.8 */
static int value_measured (lua_State *L) {
  return with_basis(L, AMP_BASIS_MEASURED);
}

static int value_claimed (lua_State *L) {
  return with_basis(L, AMP_BASIS_CLAIMED);
}

static int value_assumed (lua_State *L) {
  return with_basis(L, AMP_BASIS_ASSUMED);
}

/* amp.between(1.0, 2.2) --> value, anything between equally likely */
static int value_between (lua_State *L) {
  double lo = finite_arg(L, 1, "between"), hi = finite_arg(L, 2, "between");
  if (!(lo <= hi))
    return bind_error(L, NULL, "between: %s is above %s",
                      bind_push_number(L, lo), bind_push_number(L, hi));
  value_object *o = new_value(L);
  o->v = lo < hi ? amp_value_even(lo, hi)
                 : amp_value_fixed(lo, AMP_BASIS_ASSUMED);
  return 1;
}

enum { TESTED_MOST = 1000 };

static size_t read_results (lua_State *L, double *result) {
  if (!lua_istable(L, 1))
    bind_error(L, NULL,
               "tested: a list of results is wanted, tested({96.1, "
               "91.4}, {of = 12})");
  size_t n = (size_t)lua_rawlen(L, 1);
  if (n < 1 || n > TESTED_MOST)
    bind_error(L, NULL, "tested: 1 .. %d results are wanted (got %d)",
               TESTED_MOST, (int)n);
  for (size_t i = 0; i < n; i++) {
    lua_rawgeti(L, 1, (lua_Integer)i + 1);
    if (lua_type(L, -1) != LUA_TNUMBER)
      bind_error(L, NULL, "tested: result %d must be a number (got %s)",
                 (int)i + 1, luaL_typename(L, -1));
    result[i] = lua_tonumber(L, -1);
    if (!(result[i] >= 0.0 && result[i] <= 1e6))
      bind_error(L, NULL,
                 "tested: result %d must lie in 0 .. 1000000 "
                 "(got %s)",
                 (int)i + 1, bind_push_number(L, result[i]));
    lua_pop(L, 1);
  }
  return n;
}

static void read_tester (lua_State *L, value_object *o) {
  if (!bind_get(L, 2, "by"))
    return;
  size_t n = 0;
  const char *by =
      lua_type(L, -1) == LUA_TSTRING ? lua_tolstring(L, -1, &n) : NULL;
  if (by == NULL || n >= sizeof o->by)
    bind_error(L, NULL, "tested: by must be a word, \"seller\" or \"me\"");
  memcpy(o->by, by, n + 1);
  if (strcmp(by, "seller") == 0)
    o->v.basis = AMP_BASIS_CLAIMED;
  lua_pop(L, 1);
}

/* amp.tested({96.1, 91.4}, {of = 12, by = "seller"}) --> value */
static int value_tested (lua_State *L) {
  static const char *const keys[] = {"of", "by", NULL};
  double result[TESTED_MOST];
  amp_error err = {0};
  size_t n = read_results(L, result);
  bind_options(L, 2, "tested", keys);
  double of = bind_option(L, 2, "of", NAN);
  if (!(of >= 1.0 && of <= 1e5 && of == floor(of)))
    return bind_error(L, NULL,
                      "tested: of = how many modules the lot holds "
                      "is wanted, a whole number");
  value_object *o = new_value(L);
  if (amp_value_tested(result, n, (int)of, 0.0, 1e6, &o->v, &err) != AMP_OK)
    return bind_raise(L, NULL, "", &err);
  read_tester(L, o);
  return 1;
}

/* ---- printing ---- */

/* One or more pieces at the top become one string. */
static void add (lua_State *L, const char *format, double a, double b) {
  const char *x = bind_push_number(L, a), *y = bind_push_number(L, b);
  lua_pushfstring(L, format, x, y);
  lua_insert(L, -3);
  lua_pop(L, 2);
  lua_concat(L, 2);
}

static void push_spread (lua_State *L, const value_object *o) {
  const amp_value *v = &o->v;
  if (v->spread == AMP_NORMAL)
    add(L, ", sd %s", v->sd, 0.0);
  else if (v->spread == AMP_EVEN)
    add(L, ", between %s and %s", v->lo, v->hi);
  if (v->n >= 1 && v->of >= 1) {
    add(L, ", %s of %s tested", v->n, v->of);
    double half = amp_value_half_width(v);
    if (half == half)
      add(L, ", 95 %% of means between %s and %s", v->value - half,
          v->value + half);
    else {
      lua_pushliteral(L, ", one test says nothing of the spread");
      lua_concat(L, 2);
    }
  }
}

void bind_push_value_text (lua_State *L, int idx, const char *unit) {
  const value_object *o = lua_touserdata(L, idx);
  luaL_checkstack(L, 8, NULL);
  const char *v = bind_push_number(L, o->v.value);
  lua_pushfstring(L, "%s%s%s, %s", v, unit[0] != '\0' ? " " : "", unit,
                  amp_basis_name(o->v.basis));
  lua_remove(L, -2);
  push_spread(L, o);
  if (o->by[0] != '\0') {
    lua_pushfstring(L, ", by %s", o->by);
    lua_concat(L, 2);
  }
}

static int value_tostring (lua_State *L) {
  luaL_checkudata(L, 1, VALUE);
  bind_push_value_text(L, 1, "");
  return 1;
}

static void push_fields (lua_State *L, const value_object *o) {
  static const char *const spreads[] = {"unset", "fixed", "normal", "even",
                                        "tested"};
  lua_newtable(L);
  bind_put(L, "value", o->v.value);
  bind_put_text(L, "basis", amp_basis_name(o->v.basis));
  bind_put_text(L, "spread", spreads[o->v.spread]);
  if (o->v.spread == AMP_NORMAL || o->v.spread == AMP_TESTED)
    bind_put(L, "sd", o->v.sd);
  if (o->v.spread == AMP_EVEN) {
    bind_put(L, "lo", o->v.lo);
    bind_put(L, "hi", o->v.hi);
  }
  if (o->v.n >= 1) {
    bind_put(L, "n", o->v.n);
    bind_put(L, "of", o->v.of);
    bind_put(L, "half_width", amp_value_half_width(&o->v));
  }
  if (o->by[0] != '\0') {
    bind_put_text(L, "by", o->by);
  }
}

/* v.value, v.sd, v.basis, ... */
static int value_index (lua_State *L) {
  push_fields(L, luaL_checkudata(L, 1, VALUE));
  lua_pushvalue(L, 2);
  lua_rawget(L, -2);
  return 1;
}

static int value_newindex (lua_State *L) {
  return bind_error(L, NULL, "a value never changes; make another");
}

static int core_value (lua_State *L) {
  push_fields(L, luaL_checkudata(L, 1, VALUE));
  return 1;
}

/* ---- reading numbers and values into specs ---- */

/* 0.82 where 82 is meant: a common slip with percent. 1 % is plain where the
** most is 50: a drop, an interest. */
static void warn_fraction (lua_State *L, const bind_field *f, double v,
                           const char *who) {
  size_t n = strlen(f->key);
  if (n < 4 || strcmp(f->key + n - 4, "_pct") != 0 ||
      !(v > 0.0 && v <= 1.0) || (v == 1.0 && f->hi <= 50.0))
    return;
  bind_push_place(L);
  const char *place = lua_tostring(L, -1), *got = bind_push_number(L, v);
  bind_warn(L, lua_pushfstring(L,
                               "%s%s: %s = %s looks like a fraction; percent "
                               "is meant",
                               place, who, f->key, got));
  lua_pop(L, 3);
}

static void check_limits (lua_State *L, const bind_field *f, double v,
                          const char *who) {
  if (v >= f->lo && v <= f->hi)
    return;
  const char *got = v != v ? "nan" : bind_push_number(L, v);
  if (v == v && !isfinite(v))
    got = v > 0.0 ? "inf" : "-inf";
  const char *lo = bind_push_number(L, f->lo),
             *hi = bind_push_number(L, f->hi);
  bind_error(L, NULL, "%s: %s must lie in %s .. %s%s%s (got %s)", who, f->key,
             lo, hi, f->unit[0] != '\0' ? " " : "", f->unit, got);
}

double bind_number (lua_State *L, int idx, const bind_field *f,
                    const char *who) {
  if (lua_type(L, idx) != LUA_TNUMBER)
    bind_error(L, NULL, "%s: %s must be a number (got %s)", who, f->key,
               bind_is_value(L, idx) ? "a value with basis; it has none"
                                     : luaL_typename(L, idx));
  double v = lua_tonumber(L, idx);
  check_limits(L, f, v, who);
  warn_fraction(L, f, v, who);
  return v * f->factor + f->shift;
}

/* "H1 used nickel/soh_pct", "#2" behind it when another value has it. */
static uint64_t name_stream (lua_State *L, const char *name,
                             const char *key) {
  luaL_getsubtable(L, LUA_REGISTRYINDEX, "ampstead.streams");
  lua_pushfstring(L, "%s/%s", name, key);
  lua_pushvalue(L, -1);
  lua_rawget(L, -3);
  int n = (int)lua_tointeger(L, -1) + 1;
  lua_pop(L, 1);
  lua_pushvalue(L, -1);
  lua_pushinteger(L, n);
  lua_rawset(L, -4);
  if (n > 1)
    lua_pushfstring(L, "%s#%d", lua_tostring(L, -1), n);
  uint64_t stream = amp_stream(lua_tostring(L, -1));
  lua_pop(L, n > 1 ? 3 : 2);
  return stream;
}

/* The ends of the spread are checked as the middle is; a normal one may
** reach outside with its tails and is cut by what uses it. */
static void check_spread (lua_State *L, const bind_field *f,
                          const amp_value *v, const char *who) {
  check_limits(L, f, v->value, who);
  if (v->spread == AMP_EVEN) {
    check_limits(L, f, v->lo, who);
    check_limits(L, f, v->hi, who);
  }
  warn_fraction(L, f, v->value, who);
}

static amp_value shifted (amp_value v, double factor, double shift) {
  v = amp_value_scaled(&v, factor);
  v.value += shift;
  v.lo += shift;
  v.hi += shift;
  return v;
}

amp_value bind_value (lua_State *L, int idx, const bind_field *f,
                      const char *who, const char *name) {
  if (!bind_is_value(L, idx)) {
    double v = bind_number(L, idx, f, who);
    return amp_value_fixed(v, AMP_BASIS_ASSUMED);
  }
  value_object *o = lua_touserdata(L, idx);
  check_spread(L, f, &o->v, who);
  if (o->v.stream == 0)
    o->v.stream = name_stream(L, name, f->key);
  return shifted(o->v, f->factor, f->shift);
}

/* ---- options of calls ---- */

double bind_option (lua_State *L, int idx, const char *key,
                    double otherwise) {
  if (!lua_istable(L, idx) || !bind_get(L, idx, key))
    return otherwise;
  if (lua_type(L, -1) != LUA_TNUMBER)
    bind_error(L, NULL, "%s must be a number (got %s)", key,
               luaL_typename(L, -1));
  double v = lua_tonumber(L, -1);
  lua_pop(L, 1);
  return v;
}

char bind_char (lua_State *L, int idx, const char *key, const char *who) {
  size_t n = 0;
  if (!lua_istable(L, idx) || !bind_get(L, idx, key))
    return '\0';
  const char *s =
      lua_type(L, -1) == LUA_TSTRING ? lua_tolstring(L, -1, &n) : NULL;
  if (n != 1)
    bind_error(L, NULL, "%s: %s must be one character", who, key);
  lua_pop(L, 1);
  return s[0];
}

/* " (did you mean 'x'?)", or all that are known where none is near. */
static void refuse_option (lua_State *L, const char *call, const char *key,
                           const char *const *keys) {
  const char *near = bind_nearest(key, keys);
  luaL_Buffer b;
  if (near != NULL)
    bind_error(L, NULL, "%s: unknown key '%s' (did you mean '%s'?)", call,
               key, near);
  luaL_buffinit(L, &b);
  for (int i = 0; keys[i] != NULL; i++) {
    luaL_addstring(&b, i > 0 ? ", " : "");
    luaL_addstring(&b, keys[i]);
  }
  luaL_pushresult(&b);
  bind_error(L, NULL, "%s: unknown key '%s' (known: %s)", call, key,
             lua_tostring(L, -1));
}

static bool is_one_of (const char *key, const char *const *keys) {
  while (*keys != NULL && strcmp(*keys, key) != 0)
    keys++;
  return *keys != NULL;
}

/* The unknown key that comes first in byte order, the same each run; a key
** that is no text counts as "". */
void bind_options (lua_State *L, int idx, const char *call,
                   const char *const *keys) {
  if (lua_isnoneornil(L, idx))
    return;
  if (!lua_istable(L, idx))
    bind_error(L, NULL, "%s: a table of options is wanted (got %s)", call,
               luaL_typename(L, idx));
  const char *worst = NULL;
  lua_pushnil(L);
  for (; lua_next(L, idx) != 0; lua_pop(L, 1)) {
    const char *key =
        lua_type(L, -2) == LUA_TSTRING ? lua_tostring(L, -2) : "";
    if (*key != '\0' && strlen(key) != lua_rawlen(L, -2))
      key = ""; /* a NUL in it: what stands before it was not written */
    if (!is_one_of(key, keys) && (worst == NULL || strcmp(key, worst) < 0))
      worst = key;
  }
  if (worst == NULL)
    return;
  refuse_option(L, call, worst, keys);
}

static const luaL_Reg meta[] = {{"__index", value_index},
                                {"__newindex", value_newindex},
                                {"__tostring", value_tostring},
                                {NULL, NULL}};

static const luaL_Reg functions[] = {{"measured", value_measured},
                                     {"claimed", value_claimed},
                                     {"assumed", value_assumed},
                                     {"between", value_between},
                                     {"tested", value_tested},
                                     {"value", core_value},
                                     {NULL, NULL}};

void bind_value_open (lua_State *L) {
  luaL_newmetatable(L, VALUE);
  luaL_setfuncs(L, meta, 0);
  lua_pushliteral(L, "value");
  lua_setfield(L, -2, "__metatable");
  lua_pop(L, 1);
  luaL_setfuncs(L, functions, 0);
}
