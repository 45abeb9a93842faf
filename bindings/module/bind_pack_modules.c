/*
** bind_pack_modules.c -- which module of a pack stands where: equal ones, a
** list or strings of unlike ones, and the mean module that stands for these.
*/
#include "bind_pack_parts.h"
#include <string.h>

/* Modules string by string, as they were given; NULL: none there. */
typedef struct shelf {
  const bind_module *at[AMP_BUILD_MODULES];
  int strings, count[AMP_BUILD_MODULES], all;
} shelf;

static void shelf_add (lua_State *L, const char *who, shelf *h) {
  if (h->all >= AMP_BUILD_MODULES)
    bind_error(L, NULL, "%s: at most %d modules can be listed", who,
               AMP_BUILD_MODULES);
  bool none = lua_isboolean(L, -1) && !lua_toboolean(L, -1);
  h->at[h->all++] = none ? NULL : bind_check(L, -1, "module", who);
}

/* The first that is there. */
static const bind_module *shelf_first (const shelf *h) {
  for (int i = 0; i < h->all; i++)
    if (h->at[i] != NULL)
      return h->at[i];
  return NULL;
}

/* The table at the top is a list with nothing beside its places 1 .. n: what
** stands past a hole or under a name would be left out in silence. */
static void only_places (lua_State *L, const char *who, const char *what) {
  lua_Integer n = (lua_Integer)lua_rawlen(L, -1), held = 0;
  for (lua_pushnil(L); lua_next(L, -2) != 0; lua_pop(L, 1))
    held++;
  if (held != n)
    bind_error(L, NULL,
               "%s: %s must be a list without holes or names (%d places in a "
               "row, %d things in it)",
               who, what, (int)n, (int)held);
}

/* {{m1, m2}, {m3, m4}} at the top */
static void read_strings (lua_State *L, const char *who, shelf *h) {
  int n = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
  if (n < 1 || n > AMP_BUILD_MODULES)
    bind_error(L, NULL, "%s: strings wants a list of lists of modules", who);
  only_places(L, who, "strings");
  for (int s = 0; s < n; s++, lua_pop(L, 1)) {
    lua_rawgeti(L, -1, s + 1);
    h->count[s] = lua_istable(L, -1) ? (int)lua_rawlen(L, -1) : 0;
    if (h->count[s] < 1)
      bind_error(L, NULL, "%s: strings[%d] must be a list of modules", who,
                 s + 1);
    only_places(L, who, "a string");
    for (int i = 0; i < h->count[s]; i++, lua_pop(L, 1)) {
      lua_rawgeti(L, -1, i + 1);
      shelf_add(L, who, h);
    }
  }
  h->strings = n;
}

/* Where strings say which module stands where, series and parallel beside
** them only repeat what these are. */
static void agree_with_strings (lua_State *L, const char *who,
                                const bind_pack *s, const shelf *h) {
  int longest = 0;
  for (int k = 0; k < h->strings; k++)
    longest = h->count[k] > longest ? h->count[k] : longest;
  if (s->series != 0 && s->series != longest)
    bind_error(L, NULL,
               "%s: series = %d beside strings of %d: strings say which "
               "module stands where; for another shape give other strings, "
               "or module, series and parallel",
               who, s->series, longest);
  if (s->parallel != 0 && s->parallel != h->strings)
    bind_error(L, NULL,
               "%s: parallel = %d beside %d strings: strings say which "
               "module stands where; for another shape give other strings, "
               "or module, series and parallel",
               who, s->parallel, h->strings);
}

/* {m1, m2, ..} at the top, as many as series * parallel */
static void read_list (lua_State *L, const char *who, bind_pack *s,
                       shelf *h) {
  int n = (int)lua_rawlen(L, -1);
  if (s->series == 0 || s->parallel == 0)
    bind_error(L, NULL, "%s: %s is wanted", who,
               s->series == 0 ? "series" : "parallel");
  if (n != s->series * s->parallel)
    bind_error(L, NULL,
               "%s: %d modules are listed, %d in series times %d in parallel "
               "are %d",
               who, n, s->series, s->parallel, s->series * s->parallel);
  only_places(L, who, "module");
  for (int i = 0; i < n; i++, lua_pop(L, 1)) {
    lua_rawgeti(L, -1, i + 1);
    shelf_add(L, who, h);
  }
  h->strings = s->parallel;
  for (int k = 0; k < h->strings; k++)
    h->count[k] = s->series;
}

/* Position i of every string that has one; parallel-first joins those. */
static int level_of (const shelf *h, int i, const amp_module **out) {
  int n = 0, at = 0;
  for (int s = 0; s < h->strings; at += h->count[s++])
    if (i < h->count[s] && h->at[at + i] != NULL)
      out[n++] = &h->at[at + i]->m;
  return n;
}

/* The shelf as a build. */
static void place_modules (lua_State *L, const char *who, bind_pack *s,
                           const shelf *h) {
  amp_build *b = &s->build;
  int longest = 0, at = 0;
  for (int k = 0; k < h->strings; k++)
    longest = h->count[k] > longest ? h->count[k] : longest;
  s->series = longest;
  s->parallel = h->strings;
  if (s->string_first) {
    b->outer = h->strings;
    for (int k = 0; k < h->strings; k++)
      b->inner[k] = h->count[k];
    for (int i = 0; i < h->all; i++) {
      if (h->at[i] == NULL)
        bind_error(L, NULL,
                   "%s: a string with a module missing carries nothing: "
                   "leave the string out",
                   who);
      b->module[i] = &h->at[i]->m;
    }
    return;
  }
  b->outer = longest;
  for (int i = 0; i < longest; at += b->inner[i++])
    if ((b->inner[i] = level_of(h, i, &b->module[at])) == 0)
      bind_error(L, NULL, "%s: nothing is left of level %d", who, i + 1);
}

/* ---- the mean module of unequal ones ---- */

static amp_basis module_basis (const amp_module *m) {
  if (amp_value_is_set(&m->tested))
    return m->tested.basis;
  return amp_value_is_set(&m->soh)
             ? amp_basis_worse(m->capacity.basis, m->soh.basis)
             : AMP_BASIS_ASSUMED;
}

static double mean_of (const shelf *h, double (*f)(const amp_module *)) {
  double sum = 0.0;
  int n = 0;
  for (int i = 0; i < h->all; i++)
    if (h->at[i] != NULL) {
      sum += f(&h->at[i]->m);
      n++;
    }
  return sum / n;
}

static double capacity_of (const amp_module *m) {
  return m->capacity.value;
}

static double mass_of (const amp_module *m) {
  return m->mass;
}

static double nominal_of (const amp_module *m) {
  return amp_module_nominal_v(m);
}

/* Nameplate, resistance and mass are means; the state of health is what the
** pack holds over that. What nobody gave stays open. */
static void mean_module (bind_pack *s, const shelf *h, double holds) {
  amp_module *m = &s->mean.m;
  amp_basis tested = AMP_BASIS_MEASURED, r10s = AMP_BASIS_MEASURED;
  bool measured = true;
  s->mean = *shelf_first(h);
  for (int i = 0; i < h->all; i++) {
    if (h->at[i] == NULL)
      continue;
    const amp_module *one = &h->at[i]->m;
    tested = amp_basis_worse(tested, module_basis(one));
    measured = measured && amp_value_is_set(&one->r10s);
    r10s = amp_basis_worse(r10s, one->r10s.basis);
  }
  m->group = NULL;
  m->name[0] = '\0';
  m->nominal_v = mean_of(h, nominal_of);
  m->capacity = amp_value_fixed(mean_of(h, capacity_of), tested);
  m->tested = amp_value_fixed(holds / s->parallel, tested);
  memset(&m->soh, 0, sizeof m->soh);
  memset(&m->r10s, 0, sizeof m->r10s);
  if (measured)
    m->r10s = amp_value_fixed(mean_of(h, amp_module_r10s), r10s);
  m->mass = mean_of(h, mass_of);
}

static bool all_one (const shelf *h) {
  for (int i = 1; i < h->all; i++)
    if (h->at[i] != h->at[0])
      return false;
  for (int k = 1; k < h->strings; k++)
    if (h->count[k] != h->count[0])
      return false;
  return true;
}

static void place_even (bind_pack *s, const bind_module *m) {
  s->even = true;
  s->module = m;
  amp_build_uniform(&m->m, s->series, s->parallel, s->string_first,
                    &s->build);
}

/* What a pack of unlike modules, or of unlike groups, holds: its mean module
** stands for it from now on. */
static void take_mean (lua_State *L, const char *who, bind_pack *s,
                       shelf *h) {
  amp_error err = {0};
  amp_window w;
  amp_pack *p = lua_newuserdatauv(L, sizeof *p, 0);
  if (h->all == 0) {
    h->at[0] = s->module;
    h->all = h->strings = h->count[0] = 1;
  }
  s->module = shelf_first(h);
  if (bind_pack_window_in(s, NULL, 0.0, &w, &err) != AMP_OK)
    bind_pack_raise_window(L, who, s, &err);
  if (amp_build_pack(&s->build, &w, 1.0, p, NULL, &err) != AMP_OK)
    bind_raise(L, &bind_pack_class, who, &err);
  mean_module(s, h, amp_pack_capacity(p));
  s->module = &s->mean;
  s->even = false;
  lua_pop(L, 1);
}

void bind_pack_read_modules (lua_State *L, int keys, const char *who,
                             bind_pack *s) {
  shelf h = {.strings = 0};
  bool strings = bind_get(L, keys, "strings");
  if (strings) {
    read_strings(L, who, &h);
    agree_with_strings(L, who, s, &h);
  } else if (!bind_get(L, keys, "module") ||
             (bind_test(L, -1, "module") == NULL && !lua_istable(L, -1)))
    bind_error(L, NULL, "%s: module = amp.module{} is wanted", who);
  else if (lua_istable(L, -1))
    read_list(L, who, s, &h);
  if (h.all == 0) {
    if (s->series == 0 || s->parallel == 0)
      bind_error(L, NULL, "%s: %s is wanted", who,
                 s->series == 0 ? "series" : "parallel");
    place_even(s, lua_touserdata(L, -1));
  } else {
    s->build = amp_build_defaults();
    s->build.string_first = s->string_first;
    place_modules(L, who, s, &h);
    if (all_one(&h))
      place_even(s, h.at[0]);
  }
  lua_pop(L, 1);
  if (!s->even || s->module->m.group != NULL)
    take_mean(L, who, s, &h);
}
