/*
** test_spread.c -- the default spreads of a lot are those of the measured
** lots they name.
*/
#include "support/close.h"
#include "support/measured.h"
#include "cell/chemistry.h"
#include "cell/spread.h"

static void each_chemistry_has_a_lot_or_none (void **state) {
  (void)state;
  assert_string_equal(amp_spread_find("lfp")->chemistry, "lfp");
  assert_string_equal(amp_spread_find("nca")->chemistry, "nmc");
  assert_string_equal(amp_spread_find("lmo_blend")->chemistry, "nmc");
  assert_null(amp_spread_find("lead_acid"));
  assert_null(amp_spread_find("unobtainium"));
  assert_null(amp_spread_find(NULL));
  for (int i = 0; amp_chemistry_name(i) != NULL; i++) {
    const amp_spread_of_lot *s = amp_spread_find(amp_chemistry_name(i));
    if (s != NULL) {
      assert_true(s->capacity_sd > 0.01 && s->capacity_sd < 0.2);
      assert_true(s->resistance_sd > s->capacity_sd);
      assert_true(s->correlation < 0 && s->correlation > -1);
    }
  }
}

typedef struct lot {
  int n;
  double x[200], y[200];
} lot;

/* Capacity share and resistance of each cell at 50 % of rated charge. */
static bool read_lot (const char *file, lot *out) {
  size_t size;
  char *text = measured_text(file, &size);
  amp_csv *csv = NULL;
  out->n = 0;
  if (text == NULL ||
      amp_csv_read(NULL, text, size, NULL, &csv, NULL) != AMP_OK) {
    free(text);
    return false;
  }
  double *level = measured_column(csv, "charge_percent_of_rated", 0);
  double *soh = measured_column(csv, "soh_1", 0);
  double *r = measured_column(csv, "r_discharge_5s_1C_mohm", 0);
  for (size_t k = 0; k < amp_csv_rows(csv); k++)
    if (level[k] == 50 && r[k] == r[k] && out->n < 200) {
      out->x[out->n] = soh[k];
      out->y[out->n++] = r[k];
    }
  free(level);
  free(soh);
  free(r);
  free(text);
  amp_csv_free(NULL, csv);
  return true;
}

static double mean (const double *v, int n) {
  double sum = 0;
  for (int k = 0; k < n; k++)
    sum += v[k];
  return sum / n;
}

static double product (const double *a, const double *b, int n) {
  double ma = mean(a, n), mb = mean(b, n), sum = 0;
  for (int k = 0; k < n; k++)
    sum += (a[k] - ma) * (b[k] - mb);
  return sum / (n - 1);
}

static void check_lot (const char *file, const char *chemistry) {
  const amp_spread_of_lot *s = amp_spread_find(chemistry);
  static lot l;
  if (!read_lot(file, &l)) {
    print_message("skipped: %s is not at hand\n", file);
    return;
  }
  double sx = sqrt(product(l.x, l.x, l.n)), sy = sqrt(product(l.y, l.y, l.n));
  assert_int_equal(l.n, s->cells);
  assert_close(mean(l.x, l.n), s->soh_mean, 0.0006);
  assert_close(sx / mean(l.x, l.n), s->capacity_sd, 0.0006);
  assert_close(sy / mean(l.y, l.n), s->resistance_sd, 0.0006);
  assert_close(product(l.x, l.y, l.n) / (sx * sy), s->correlation, 0.006);
}

static void defaults_are_those_of_the_measured_lots (void **state) {
  (void)state;
  check_lot("spread/retired_nmc_21Ah.csv", "nmc111");
  check_lot("spread/retired_lfp_35Ah.csv", "lfp");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_chemistry_has_a_lot_or_none),
      cmocka_unit_test(defaults_are_those_of_the_measured_lots)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
