/*
** bind_air.c -- what still air takes from a module's walls.
*/
#include "bind.h"
#include "pack/air.h"

typedef struct bind_still_air {
  char name[64];
  double height, area, wall, air, emissivity; /* m, m2, K, K, 0..1 */
  double half, through;                       /* m, W/(m K); NaN: not given */
  amp_still s;
} bind_still_air;

static const bind_field still_fields[] = {
    F_TEXT("name", bind_still_air, name, "what to call it"),
    F_NUM("height_m", bind_still_air, height, 1.0, 0.01, 5.0, "m",
          "of the upright walls"),
    F_NUM("area_m2", bind_still_air, area, 1.0, 1e-4, 1000.0, "m2",
          "of them, as far as open air reaches them"),
    F_TEMPS("wall", bind_still_air, wall, -60.0, 120.0, 1,
            "temperature of the walls"),
    F_TEMPS("air", bind_still_air, air, -60.0, 120.0, 2,
            "of the air, and of what the walls see"),
    F_NUM("emissivity_pct", bind_still_air, emissivity, 0.01, 0.0, 100.0, "%",
          "of the walls; 90 unless given, bare metal has 10 or less"),
    F_NUM("half_thick_mm", bind_still_air, half, 1e-3, 0.01, 1000.0, "mm",
          "volume over cooled surface: half the thickness where both faces "
          "are cooled"),
    F_NUM("through_w_mk", bind_still_air, through, 1.0, 0.01, 500.0,
          "W/(m K)", "heat conducted through it, with half_thick_mm"),
    F_END};

static const bind_class still_class;

static void still_defaults (void *spec) {
  bind_still_air *s = spec;
  s->height = s->area = s->wall = s->air = AMP_NOT_GIVEN;
  s->emissivity = s->half = s->through = AMP_NOT_GIVEN;
}

static void still_finish (lua_State *L, int keys, void *spec) {
  bind_still_air *s = spec;
  amp_error err = {0};
  const char *who = bind_who(L, &still_class, keys);
  const char *wanted = !amp_given(s->height) ? "height_m"
                       : !amp_given(s->area) ? "area_m2"
                       : !amp_given(s->wall) ? "wall_c"
                       : !amp_given(s->air)  ? "air_c"
                                             : NULL;
  if (wanted != NULL)
    bind_error(L, NULL, "%s: %s is wanted", who, wanted);
  double e = amp_given(s->emissivity) ? s->emissivity : 0.9;
  if (amp_still_air(s->height, s->wall, s->air, e, &s->s, &err) != AMP_OK)
    bind_raise(L, &still_class, who, &err);
}

static void still_tell (lua_State *L, const void *spec) {
  if (!amp_given(((const bind_still_air *)spec)->emissivity))
    bind_say(L, "emissivity_pct: 90, as of painted or coated walls");
}

static double biot (const bind_still_air *s) {
  return amp_biot(s->s.high + s->s.radiation, s->half, s->through);
}

BIND_READ(still_air, convection_low, s->s.low)
BIND_READ(still_air, convection_high, s->s.high)
BIND_READ(still_air, radiation, s->s.radiation)
BIND_READ(still_air, w_low, (s->s.low + s->s.radiation) * s->area)
BIND_READ(still_air, w_high, (s->s.high + s->s.radiation) * s->area)
BIND_READ(still_air, biot, biot(s))

static const luaL_Reg still_methods[] = {
    {"get_convection_low_w_m2k", still_air_convection_low},
    {"get_convection_high_w_m2k", still_air_convection_high},
    {"get_radiation_w_m2k", still_air_radiation},
    {"get_low_w_per_k", still_air_w_low},
    {"get_high_w_per_k", still_air_w_high},
    {"get_biot", still_air_biot},
    {NULL, NULL}};

static const bind_class still_class = {
    "still_air",
    "still_air",
    "what still air and radiation take from the upright walls of a module",
    still_fields,
    sizeof(bind_still_air),
    still_defaults,
    still_finish,
    still_tell,
    NULL,
    still_methods};

void bind_air_open (lua_State *L) {
  bind_class_open(L, &still_class);
}
