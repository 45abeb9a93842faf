/*
** bench.c -- what a builder measures, brings level and joins.
*/
#include "job/bench.h"
#include <math.h>
#include <string.h>

#define NO AMP_NOT_GIVEN

static const amp_module *module_at (const amp_build *b, int i) {
  return b->all != NULL ? b->all : b->module[i];
}

static int modules_in (const amp_build *b, int row) {
  return b->inner[b->all != NULL ? 0 : row];
}

/* ---- each module ---- */

static void one_module (const amp_module *m, const amp_window *w, double rest,
                        amp_bench *out, amp_bench_module *to) {
  amp_status s = AMP_EMISSING;
  *to = (amp_bench_module){
      rest, NO, NO, NO, m->series * w->v_max, m->series * w->v_min};
  if (amp_given(rest))
    s = amp_chemistry_soc(m->chemistry, rest / m->series, &to->soc, NULL);
  if (s != AMP_OK)
    to->soc = NO;
  out->flat = out->flat || s == AMP_EREFUSED;
  out->unread += amp_given(rest) ? 0 : 1;
}

/* The middle of those that are told; NaN: none is. */
static double median_soc (const amp_bench *b) {
  double list[AMP_BUILD_MODULES];
  int n = 0;
  for (int i = 0; i < b->listed; i++) {
    double soc = b->module[i].soc;
    int at = n;
    if (!amp_given(soc))
      continue;
    for (; at > 0 && list[at - 1] > soc; at--)
      list[at] = list[at - 1];
    list[at] = soc;
    n++;
  }
  return n == 0 ? NO : 0.5 * (list[(n - 1) / 2] + list[n / 2]);
}

static void bring_level (const amp_build *b, amp_bench *out) {
  out->soc = out->flat ? NO : median_soc(out);
  for (int i = 0; i < out->listed; i++) {
    const amp_module *m = module_at(b, i);
    amp_bench_module *at = &out->module[i];
    double apart = out->soc - at->soc;
    double charge = m->capacity.value * amp_module_health(m);
    if (!(fabs(apart) >= 0.0))
      continue; /* not told */
    at->add = fabs(apart) > AMP_BENCH_LEVEL ? apart * charge : 0.0;
    at->level = at->add != 0.0
                    ? m->series * amp_chemistry_ocv(m->chemistry, out->soc)
                    : at->rest;
  }
}

static void look_at_modules (const amp_build *b, const amp_window *w,
                             const double *rest, amp_bench *out) {
  out->modules = amp_build_modules(b);
  out->listed = out->modules > AMP_BUILD_MODULES ? 0 : out->modules;
  for (int i = 0; i < out->listed; i++)
    one_module(module_at(b, i), w, rest != NULL ? rest[i] : NO, out,
               &out->module[i]);
  bring_level(b, out);
}

/* ---- strings, or levels ---- */

static void add_up (const amp_bench *b, amp_bench_row *row, bool series) {
  double share = series ? 1.0 : 1.0 / row->modules;
  for (int i = row->first; i < row->first + row->modules; i++) {
    row->rest += share * b->module[i].rest;
    row->level += share * b->module[i].level;
    row->full += share * b->module[i].full;
    row->empty += share * b->module[i].empty;
  }
}

static void look_at_rows (const amp_build *b, amp_bench *out) {
  out->rows = b->outer;
  for (int r = 0, at = 0; out->listed > 0 && r < b->outer; r++) {
    amp_bench_row *row = &out->row[out->rows_listed++];
    *row = (amp_bench_row){at, modules_in(b, r), 0.0, 0.0, 0.0, 0.0};
    add_up(out, row, b->string_first);
    at += row->modules;
  }
}

/* ---- joining ---- */

/* What stands at one side: 'n' modules in series from 'first' on. */
static amp_join_side side_of (const amp_build *b, const amp_bench *out,
                              int first, int n, bool as_read) {
  amp_join_side s = {0.0, (n - 1) * b->link, 0, HUGE_VAL};
  for (int i = first; i < first + n; i++) {
    const amp_module *m = module_at(b, i);
    s.v += as_read ? out->module[i].rest : out->module[i].level;
    s.r += amp_value_is_set(&m->r10s) ? m->r10s.value : NO;
    s.groups += m->series;
    s.charge = fmin(s.charge, m->capacity.value * amp_module_health(m));
  }
  return s;
}

static double largest (const amp_join_step *step, int n) {
  double most = 0.0;
  for (int i = 0; i < n; i++)
    most = fmax(most, step[i].current);
  return most;
}

/* Join 'n' sides, each of 'per' modules, the first from 'first' on, into the
** steps of 'out'. */
static amp_status join_sides (const amp_build *b, amp_bench *out, int row,
                              const int *first, const int *per, int n,
                              amp_error *err) {
  amp_join_side side[AMP_BENCH_ROWS];
  amp_join_step step[AMP_BENCH_ROWS];
  bool bound, exact;
  amp_status s = AMP_OK;
  for (int pass = 0; pass < 2 && s == AMP_OK; pass++) {
    for (int k = 0; k < n; k++)
      side[k] = side_of(b, out, first[k], per[k], pass == 0);
    s = amp_join_order(side, n, b->lead, module_at(b, 0)->chemistry, step,
                       &bound, &exact, err);
    if (s == AMP_OK && pass == 0)
      out->bare = fmax(out->bare, largest(step, n));
  }
  if (s != AMP_OK)
    return s;
  out->worst = fmax(out->worst, largest(step, n));
  out->bound = out->bound || bound;
  out->exact = out->exact && exact;
  for (int k = 0; k < n; k++)
    out->step[out->steps++] = (amp_bench_step){
        row, b->string_first ? step[k].which : first[step[k].which],
        step[k].current, step[k].v};
  return AMP_OK;
}

static amp_status join_strings (const amp_build *b, amp_bench *out,
                                amp_error *err) {
  int first[AMP_BENCH_ROWS], per[AMP_BENCH_ROWS];
  for (int r = 0; r < out->rows; r++) {
    first[r] = out->row[r].first;
    per[r] = out->row[r].modules;
  }
  return join_sides(b, out, 0, first, per, out->rows, err);
}

static amp_status join_levels (const amp_build *b, amp_bench *out,
                               amp_error *err) {
  int first[AMP_BENCH_ROWS], per[AMP_BENCH_ROWS];
  amp_status s = AMP_OK;
  for (int r = 0; r < out->rows && s == AMP_OK; r++) {
    int n = out->row[r].modules;
    for (int k = 0; k < n; k++) {
      first[k] = out->row[r].first + k;
      per[k] = 1;
    }
    if (n > 1)
      s = join_sides(b, out, r, first, per, n, err);
  }
  return s;
}

/* Whether every place of the order can be told. */
static bool can_join (const amp_build *b, const amp_bench *out) {
  if (out->listed == 0 || out->unread > 0 || out->flat ||
      !amp_given(out->soc))
    return false;
  for (int i = 0; i < out->listed; i++)
    if (!amp_given(out->module[i].level))
      return false; /* off the curve */
  for (int r = 0; r < out->rows; r++)
    if (!b->string_first && out->row[r].modules > AMP_BENCH_ROWS)
      return false;
  return !b->string_first || (out->rows > 1 && out->rows <= AMP_BENCH_ROWS);
}

/* Strings rest at the bank's voltage; levels add up theirs. */
static double joined_v (const amp_build *b, const amp_bench *out) {
  double v = 0.0;
  if (b->string_first)
    return out->steps > 0   ? out->step[out->steps - 1].v
           : out->rows == 1 ? out->row[0].level
                            : NO;
  for (int r = 0; r < out->rows_listed; r++)
    v += out->row[r].level;
  return out->rows_listed > 0 ? v : NO;
}

/* What joining asks; where it has no bound the order is left untold. */
static void look_at_joining (const amp_build *b, amp_bench *out) {
  out->bare = out->worst = 0.0;
  out->exact = true;
  if (!can_join(b, out) ||
      (b->string_first ? join_strings(b, out, NULL)
                       : join_levels(b, out, NULL)) != AMP_OK)
    out->steps = 0;
  if (out->steps == 0)
    out->bare = out->worst = NO;
  out->joined = joined_v(b, out);
}

/* ---- pieces ---- */

static void count_pieces (const amp_build *b, const amp_window *w,
                          amp_bench *out) {
  out->groups = amp_build_groups(b);
  out->full = out->groups * w->v_max;
  out->charge = out->groups * w->v_charge;
  out->empty = out->groups * w->v_min;
  out->terminals = 2 * out->modules;
  out->links = b->string_first ? out->modules - out->rows : out->rows - 1;
  out->leads = 2 * (b->string_first ? out->rows : out->modules);
  out->bars = b->string_first ? 2 : 2 * out->rows;
  out->managers = b->string_first ? out->rows : 1;
}

amp_status amp_bench_of (const amp_build *b, const amp_window *w,
                         const double *rest, amp_bench *out, amp_error *err) {
  amp_status s = amp_build_check(b, err);
  int n = s == AMP_OK && rest != NULL ? amp_build_modules(b) : 0;
  for (int i = 0; i < n && i < AMP_BUILD_MODULES && s == AMP_OK; i++)
    s = amp_check_given(err, "rest", rest[i], 0.0, 1500.0);
  if (s != AMP_OK)
    return s;
  memset(out, 0, sizeof *out);
  look_at_modules(b, w, rest, out);
  look_at_rows(b, out);
  look_at_joining(b, out);
  count_pieces(b, w, out);
  return AMP_OK;
}
