/*
** check.c -- a build looked at as a whole: the list that the comparisons of
** check_*.c fill, and its order.
*/
#include "base/text.h"
#include "job/check_parts.h"
#include <math.h>
#include <string.h>

const amp_told check_v = {"V", 1.0, 0.0}, check_a = {"A", 1.0, 0.0},
               check_ka = {"kA", 1e-3, 0.0}, check_pct = {"%", 100.0, 0.0},
               check_c = {"C", 1.0, -273.15}, check_kg = {"kg", 1.0, 0.0},
               check_kpa = {"kPa", 1e-3, 0.0},
               check_days = {"days", 1.0 / 86400.0, 0.0},
               check_kwh = {"kWh", 1.0 / 3.6e6, 0.0},
               check_w = {"W", 1.0, 0.0}, check_s = {"s", 1.0, 0.0},
               check_j = {"J", 1.0, 0.0}, check_uf = {"uF", 1e6, 0.0},
               check_modules = {"modules", 1.0, 0.0},
               check_times = {"times", 1.0, 0.0},
               check_per_h = {"C-rate", 1.0, 0.0},
               check_plain = {"", 1.0, 0.0};

amp_check_row *check_add (amp_checked *out, const char *id, amp_look look,
                          amp_weight weight, const amp_told *told,
                          double value, double limit, amp_basis basis) {
  amp_check_row *row =
      &out->row[out->n < AMP_CHECK_ROWS ? out->n : AMP_CHECK_ROWS];
  if (out->n < AMP_CHECK_ROWS) {
    out->n++;
    out->count[look]++;
  }
  memset(row, 0, sizeof *row);
  row->id = id;
  row->caution = amp_caution_find(id);
  row->end = "";
  row->look = look;
  row->weight = weight;
  row->told = told;
  row->value = value;
  row->limit = limit;
  row->basis = basis;
  return row;
}

void check_missing (amp_checked *out, const char *id, const char *what) {
  amp_check_row *row = check_add(out, id, AMP_LOOK_UNKNOWN, AMP_WEIGHT_DOUBT,
                                 &check_plain, NO, NO, AMP_BASIS_NONE);
  amp_failf(&row->say, AMP_OK, NULL, "%s", what);
}

void check_clear (amp_checked *out, const char *id, const amp_told *told,
                  double value, double limit, amp_basis basis) {
  check_add(out, id, AMP_LOOK_CLEAR, AMP_WEIGHT_REMARK, told, value, limit,
            basis);
}

amp_check_row *check_held (amp_checked *out, const char *id, bool stands,
                           amp_weight weight, const amp_told *told,
                           double value, double limit, amp_basis basis) {
  if (stands)
    return check_add(out, id, AMP_LOOK_RAISED, weight, told, value, limit,
                     basis);
  check_clear(out, id, told, value, limit, basis);
  return NULL;
}

void check_end (amp_checked *out, const char *end) {
  if (out->n > 0)
    out->row[out->n - 1].end = end;
}

double check_three (double v) {
  char text[40];
  double out = v;
  size_t n = amp_format_double(v, 3, text);
  return amp_parse_double(text, n, '.', &out, NULL) == AMP_OK ? out : v;
}

const amp_module *check_module (const amp_check *c, int i) {
  return c->build->all ? c->build->all : c->build->module[i];
}

int check_listed (const amp_check *c) {
  return c->build->all ? 1 : amp_build_modules(c->build);
}

/* Strings of series, or levels of modules side by side: as they are given,
** a module without a measured resistance by its chemistry, assumed. */
double check_bank (const amp_check *c, amp_basis *basis) {
  const amp_build *b = c->build;
  double r = 0.0, g = 0.0;
  *basis = AMP_BASIS_MEASURED;
  for (int o = 0, at = 0; o < b->outer; o++) {
    double one = 0.0, across = 0.0;
    int n = b->inner[b->all ? 0 : o];
    for (int i = 0; i < n; i++, at++) {
      const amp_module *m = check_module(c, at);
      bool known = amp_value_is_set(&m->r10s);
      one += amp_module_r10s(m);
      across += 1.0 / amp_module_r10s(m);
      *basis =
          amp_basis_worse(*basis, known ? m->r10s.basis : AMP_BASIS_ASSUMED);
    }
    g += 1.0 / one;
    r += 1.0 / across;
  }
  return b->string_first ? 1.0 / g : r;
}

/* Raised before unknown before clear; raised by weight; else as they came. */
static bool before (const amp_check_row *a, const amp_check_row *b) {
  if (a->look != b->look)
    return a->look < b->look;
  return a->look == AMP_LOOK_RAISED && a->weight < b->weight;
}

static void order (amp_checked *out) {
  for (int i = 1; i < out->n; i++) {
    amp_check_row row = out->row[i];
    int k = i;
    for (; k > 0 && before(&row, &out->row[k - 1]); k--)
      out->row[k] = out->row[k - 1];
    out->row[k] = row;
  }
}

static void no_facts (amp_check_facts *f) {
  f->v_load = f->v_surge = NO;
  f->v_full = f->v_empty = f->current = f->surge = f->bus = f->share = NO;
  f->mass = f->pressure = f->area_least = f->lowest = NO;
  f->heat = f->rise = f->cells = f->warm = f->warm_to = NO;
  f->charge_from = f->charge_to = f->closed = f->idle = f->idle_on = NO;
  f->need = f->supply = f->empties = NO;
  f->month = -1;
}

amp_status amp_check_look (const amp_check *c, amp_checked *out,
                           amp_error *err) {
  amp_status s = amp_build_check(c->build, err);
  if (s == AMP_OK && c->site != NULL)
    s = amp_site_check(c->site, err);
  if (s == AMP_OK && c->bms != NULL)
    s = amp_bms_check(c->bms, err);
  if (s == AMP_OK && c->circuit != NULL)
    s = amp_circuit_check(c->parts, err);
  if (s != AMP_OK)
    return s;
  memset(out, 0, sizeof *out);
  no_facts(&out->facts);
  out->facts.usable = c->usable;
  check_window(c, out);
  check_circuit(c, out);
  check_modules_of(c, out);
  check_links(c, out);
  check_bms(c, out);
  check_place_of(c, out);
  check_energy(c, out);
  order(out);
  return AMP_OK;
}
