/*
** fit_replay.c -- voltage of a fitted cell along a log's own current.
*/
#include "cell/fit.h"
#include <math.h>
#include <string.h>

/* What may be asked for, and where it stands. */
typedef struct replay {
  const amp_fit *fit;
  const amp_test_log *log;
  double ambient; /* K, NaN: the log's */
  double *v, *mean, *soc, *temp;
} replay;

static double surroundings (const replay *r, size_t k) {
  const double *temp = r->log->column[AMP_LOG_TEMP];
  if (r->ambient == r->ambient)
    return r->ambient;
  return temp != NULL ? temp[k] : 298.15;
}

static void note (const replay *r, size_t k, double v, double mean,
                  double soc, double temp) {
  if (r->v != NULL)
    r->v[k] = v;
  if (r->mean != NULL)
    r->mean[k] = mean;
  if (r->soc != NULL)
    r->soc[k] = soc;
  if (r->temp != NULL)
    r->temp[k] = temp;
}

static double simple_volt (const amp_cell *c, const amp_chemistry *chem,
                           const amp_cell_state *st, double i) {
  return amp_chemistry_ocv(chem, st->soc) -
         i * amp_cell_r0(c, st->soc, st->temp) - st->v1 - st->v2;
}

/* AMP_ERANGE from a step that leaves 0..1 SoC is the end, no failure, and
** then 'err' stays. */
static amp_status end_or_fail (amp_status st, const amp_error *at,
                               amp_error *err) {
  if (st == AMP_ERANGE && at->field != NULL && strcmp(at->field, "soc") == 0)
    return AMP_OK;
  if (err != NULL)
    *err = *at;
  return st;
}

static amp_status replay_simple (const replay *r, double capacity, double soc,
                                 size_t *done, amp_error *err) {
  const amp_chemistry *chem = &r->fit->chemistry;
  const double *i = r->log->column[AMP_LOG_CURRENT];
  amp_cell c = r->fit->simple;
  amp_cell_state st = {soc, 0.0, 0.0, surroundings(r, 0)};
  amp_error at = {0};
  double v = simple_volt(&c, chem, &st, i[0]), mean;
  c.capacity = capacity;
  note(r, 0, v, v, soc, st.temp);
  for (*done = 1; *done < r->log->n; ++*done) {
    size_t k = *done;
    amp_status status;
    st.temp = surroundings(r, k);
    status = amp_cell_step(&c, chem, &st, i[k],
                           r->log->time[k] - r->log->time[k - 1], &mean, &at);
    if (status != AMP_OK)
      return end_or_fail(status, &at, err);
    note(r, k, simple_volt(&c, chem, &st, i[k]), mean, st.soc, st.temp);
  }
  return AMP_OK;
}

static amp_status replay_detailed (const replay *r, double capacity,
                                   double soc, size_t *done, amp_error *err) {
  const amp_chemistry *chem = &r->fit->chemistry;
  const double *i = r->log->column[AMP_LOG_CURRENT];
  amp_detailed c = r->fit->detailed;
  amp_detailed_state st = amp_detailed_rest(soc, surroundings(r, 0));
  amp_detailed_out out;
  amp_error at = {0};
  c.capacity = capacity;
  double v = amp_detailed_voltage(&c, chem, &st, i[0]);
  note(r, 0, v, v, soc, st.skin);
  for (*done = 1; *done < r->log->n; ++*done) {
    size_t k = *done;
    amp_status status = amp_detailed_step(
        &c, chem, &st, AMP_HOLD_CURRENT, i[k],
        r->log->time[k] - r->log->time[k - 1], surroundings(r, k), &out, &at);
    if (status != AMP_OK)
      return end_or_fail(status, &at, err);
    note(r, k, out.v_end, out.v_mean, st.soc, st.skin);
  }
  return AMP_OK;
}

amp_status amp_fit_replay (const amp_context *ctx, const amp_fit *fit,
                           bool detailed, const amp_test_log *log,
                           double capacity, double soc, double ambient,
                           double *v, double *mean, double *soc_of,
                           double *temp_of, size_t *done, amp_error *err) {
  replay r = {fit, log, ambient, v, mean, soc_of, temp_of};
  amp_status st;
  (void)ctx;
  *done = 0;
  if (log->column[AMP_LOG_CURRENT] == NULL)
    return amp_failf(err, AMP_EDATA, "current", "the log has no current");
  if ((st = amp_check_range(err, "soc", soc, 0.0, 1.0)) != AMP_OK ||
      (st = amp_check_range(err, "capacity", capacity, 1.0, 1e9)) != AMP_OK)
    return st;
  if (ambient == ambient &&
      (st = amp_check_range(err, "ambient", ambient, 150.0, 500.0)) != AMP_OK)
    return st;
  return detailed ? replay_detailed(&r, capacity, soc, done, err)
                  : replay_simple(&r, capacity, soc, done, err);
}
