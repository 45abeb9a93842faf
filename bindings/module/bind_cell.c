/*
** bind_cell.c -- one cell: from a label, from one measured resistance, or
** fitted to logged tests.
*/
#include "bind.h"
#include <math.h>
#include <string.h>

static const bind_field cell_fields[] = {
    F_TEXT("name", bind_cell, name, "what to call it"),
    F_ELSE("chemistry", BIND_OBJECT, "", "a name or amp.chemistry{}"),
    F_NUM("capacity_ah", bind_cell, c.capacity, 3600.0, 0.01, 5000.0, "Ah",
          "charge between full and empty at 25 C"),
    F_NUM("r0_mohm", bind_cell, c.r0, 1e-3, 0.0, 1000.0, "mohm",
          "ohmic resistance at half charge, 25 C"),
    F_NUM("r1_mohm", bind_cell, c.r1, 1e-3, 0.0, 1000.0, "mohm",
          "resistance of the fast pair"),
    F_NUM("tau1_s", bind_cell, c.tau1, 1.0, 0.01, 1e5, "s",
          "time constant of the fast pair"),
    F_NUM("r2_mohm", bind_cell, c.r2, 1e-3, 0.0, 1000.0, "mohm",
          "resistance of the slow pair"),
    F_NUM("tau2_s", bind_cell, c.tau2, 1.0, 0.01, 1e6, "s",
          "time constant of the slow pair"),
    F_NUM("mass_kg", bind_cell, c.mass, 1.0, 0.001, 100.0, "kg",
          "mass of one cell"),
    F_END};

static void cell_defaults (void *spec) {
  ((bind_cell *)spec)->c = amp_cell_defaults();
}

static const bind_class cell_class;

static void cell_finish (lua_State *L, int keys, void *spec) {
  bind_cell *s = spec;
  const char *who = bind_who(L, &cell_class, keys);
  amp_error err = {0};
  if (!bind_get(L, keys, "chemistry"))
    bind_error(L, NULL, "%s: chemistry is wanted", who);
  s->chemistry = bind_chemistry_at(L, -1, who);
  lua_pop(L, 1);
  if (amp_cell_check(&s->c, &err) != AMP_OK)
    bind_raise(L, &cell_class, who, &err);
}

static const bind_class cell_class = {"cell",
                                      "cell",
                                      "one cell as an equivalent circuit",
                                      cell_fields,
                                      sizeof(bind_cell),
                                      cell_defaults,
                                      cell_finish,
                                      NULL,
                                      NULL,
                                      NULL};

void bind_cell_open (lua_State *L) {
  bind_class_open(L, &cell_class);
}
