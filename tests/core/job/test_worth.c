/*
** test_worth.c -- what more tests are worth: against closed forms where
** there are any, against plain simulation where there are none, and the
** laws that every value of information keeps.
*/
#include "support/close.h"
#include "base/elementary.h"
#include "base/sample.h"
#include "job/worth.h"
#include <stdio.h>
#include <string.h>

/* Twelve modules, two tested: 96.1 and 91.4 (sum 187.5, sd 3.323). One
** ampere-hour of a module is worth 3.2, so that the lot is worth 3,600 in
** the middle. */
static amp_worth_ask lot (double price) {
  return (amp_worth_ask){.tested = 2,
                         .sum = 187.5,
                         .untested = 10,
                         .mean = 93.75,
                         .weight = 2,
                         .dof = 1,
                         .sd = 3.3234018715767735,
                         .lo = 0.0,
                         .hi = 112.0,
                         .value = 3.2,
                         .price = price,
                         .cost = 25.0};
}

static amp_worth answer (const amp_worth_ask *a) {
  amp_worth w;
  amp_error err = {0};
  if (amp_worth_testing(a, &w, &err) != AMP_OK)
    fail_msg("refused: %s %s", err.field, err.text);
  return w;
}

/*
** Spread known and no limits: the mean after k tests is normal about the
** mean now, with variance v0 - vk, v the variance of the lot's mean, and the
** gain is s N(D) with N(u) = phi(u) - u (1 - Phi(u)), the unit normal loss
** (H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory, 1961,
** section 5.4 and its table of it).
*/
static double normal_loss (double u) {
  return amp_exp(-0.5 * u * u) / sqrt(2.0 * AMP_PI) - u * amp_normal_cdf(-u);
}

static void known_spread_is_the_unit_normal_loss (void **state) {
  (void)state;
  for (double price = 3400.0; price <= 3800.0; price += 50.0) {
    amp_worth_ask a = lot(price);
    a.dof = 0;
    a.lo = -INFINITY;
    a.hi = INFINITY;
    a.cost = 0.0;
    amp_worth w = answer(&a);
    assert_int_equal(w.steps, 10);
    assert_close(w.expected, 3600.0, 1e-9);
    double v0 = a.sd * a.sd / 2.0 * (1.0 - 2.0 / 12.0);
    for (int k = 1; k <= 10; k++) {
      double n = 2.0 + k, vk = a.sd * a.sd / n * (1.0 - n / 12.0);
      double s = 12.0 * 3.2 * sqrt(v0 - vk);
      double want = s * normal_loss(fabs(3600.0 - price) / s);
      assert_close(w.step[k - 1].gain, want, 1e-6 * want + 1e-9);
      assert_close(w.step[k - 1].half_width, 1.9599639845400545 * sqrt(vk),
                   1e-8);
    }
    assert_close(w.chance,
                 amp_normal_cdf((3600.0 - price) / (12.0 * 3.2 * sqrt(v0))),
                 1e-9);
  }
}

/* Values of N(u) as its printed tables have them (four figures). */
static void unit_normal_loss_as_printed (void **state) {
  (void)state;
  assert_close(normal_loss(0.0), 0.3989, 0.5e-4);
  assert_close(normal_loss(0.5), 0.1978, 0.5e-4);
  assert_close(normal_loss(1.0), 0.08332, 0.5e-5);
  assert_close(normal_loss(2.0), 0.008491, 0.5e-6);
}

/*
** Spread estimated from dof >= 2, no limits: the mean after k tests has a t
** law of the prior's dof, and its loss is s [ (dof + u^2)/(dof - 1) f(u) -
** u (1 - F(u)) ] (same book, chapter 11).
*/
static void estimated_spread_is_the_t_loss (void **state) {
  (void)state;
  for (int dof = 3; dof <= 9; dof += 2) {
    amp_worth_ask a = lot(3550.0);
    a.tested = dof + 1;
    a.sum = 93.75 * a.tested;
    a.weight = a.tested;
    a.untested = 12 - a.tested;
    a.dof = dof;
    a.lo = -INFINITY;
    a.hi = INFINITY;
    a.cost = 0.0;
    amp_worth w = answer(&a);
    double n = a.tested;
    for (int k = 1; k < a.untested; k++) {
      double s = 12.0 * 3.2 * a.sd * sqrt(1.0 / n - 1.0 / (n + k)),
             u = 50 / s;
      /* density by the slope of the cumulative law */
      double f = (amp_t_cdf(u + 1e-4, dof) - amp_t_cdf(u - 1e-4, dof)) / 2e-4;
      double want =
          s * ((dof + u * u) / (dof - 1.0) * f - u * amp_t_cdf(-u, dof));
      assert_close(w.step[k - 1].gain, want, 2e-6 * want);
    }
  }
}

/* More tests never tell less, and none more than the lot itself. */
static void gain_rises_up_to_perfect_knowledge (void **state) {
  (void)state;
  for (int duds = 0; duds <= 2; duds++)
    for (double price = 1800.0; price <= 2800.0; price += 250.0) {
      amp_worth_ask a = lot(price);
      double last = 0.0;
      a.cost = 0.0;
      a.untested = 6;
      a.dud = duds > 0 ? 0.1 : 0.0;
      a.dud_sd = duds > 1 ? 0.08 : 0.0;
      amp_worth w = answer(&a);
      assert_int_equal(w.steps, 6);
      for (int k = 0; k < w.steps; k++) {
        double g = w.step[k].gain;
        if (!(g >= last * (1.0 - 1e-6) - 1e-9 &&
              g <= w.perfect * (1.0 + 1e-6) + 1e-9))
          fail_msg("duds %d, price %g, %d tests: %.9g after %.9g of %.9g",
                   duds, price, k + 1, g, last, w.perfect);
        last = g;
        assert_true(k == 0 ||
                    w.step[k].half_width < w.step[k - 1].half_width);
      }
      assert_close(last, w.perfect, 0.0);
      assert_true(w.chance >= 0.0 && w.chance <= 1.0);
    }
}

/* ---- simulation: nothing shared with the library but random numbers ---- */

static uint64_t stream;

static double uniform (void) {
  return amp_uniform(7, 1, stream++);
}

static double normal (void) {
  return amp_normal_quantile(uniform());
}

/* sum of squares of n normal numbers */
static double chi2 (int n) {
  double sum = 0.0;
  for (int i = 0; i < n; i++) {
    double z = normal();
    sum += z * z;
  }
  return sum;
}

/*
** Draw lots as the belief has them (spread, mean, each module good or not),
** keep those within the limits, test k of each, and sort the outcomes into
** cells by what a buyer sees; in each cell the better of buying and leaving.
*/
enum { CELLS = 40, DRAWS = 60000 };

static double simulated (const amp_worth_ask *a, int k, double *expected) {
  static double sum[16][CELLS], count[16][CELLS];
  double all = 0.0, kept = 0.0, best = 0.0;
  memset(sum, 0, sizeof sum);
  memset(count, 0, sizeof count);
  stream = 0;
  for (int i = 0; i < DRAWS; i++) {
    double sd = a->sd * (a->dof > 0 ? sqrt(a->dof / chi2(a->dof)) : 1.0);
    double mu = a->mean + sd / sqrt(a->weight) * normal();
    double total = a->sum, seen = 0.0, n = a->tested;
    int good = 0;
    for (int m = 0; m < a->untested; m++) {
      double x = mu + sd * normal();
      if (uniform() < a->dud)
        continue;
      n++;
      total += x;
      if (m < k) {
        seen += x;
        good++;
      }
    }
    double low = a->sum + (n - a->tested) * a->lo;
    if (total < low || total > a->sum + (n - a->tested) * a->hi)
      continue;
    double at = good > 0 ? (seen / good - a->mean) / (2.0 * a->sd) : 0.0;
    int cell = (int)(CELLS * (0.5 + 0.5 * at / (1.0 + fabs(at))));
    sum[good][cell] += total * a->value - a->price;
    count[good][cell] += 1.0;
    all += total * a->value - a->price;
    kept += 1.0;
  }
  for (int g = 0; g <= k; g++)
    for (int c = 0; c < CELLS; c++)
      best += fmax(sum[g][c], 0.0);
  *expected = all / kept + a->price;
  return best / kept - fmax(all / kept, 0.0);
}

/* The cells keep of an outcome its mean alone (all that matters where the
** spread is known or one module is tested), in 40 steps: a little below. */
static void simulation_agrees (void **state) {
  static const struct {
    int dof, tests;
    double dud, price;
  } cases[] = {{0, 3, 0.0, 3620.0},
               {1, 1, 0.0, 3500.0},
               {1, 1, 0.1, 3300.0},
               {4, 1, 0.2, 3050.0},
               {0, 4, 0.1, 3280.0}};
  (void)state;
  for (size_t i = 0; i < LEN(cases); i++) {
    amp_worth_ask a = lot(cases[i].price);
    double expected;
    a.dof = cases[i].dof;
    a.dud = cases[i].dud;
    a.sd = 6.0;
    a.cost = 8.0; /* else all ten are gone through, at leisure */
    amp_worth w = answer(&a);
    assert_true(w.steps >= cases[i].tests);
    double want = simulated(&a, cases[i].tests, &expected);
    double got = w.step[cases[i].tests - 1].gain;
    assert_close(w.expected, expected, 0.002 * expected);
    if (!(want <= got * 1.02 + 1.0 && want >= got * 0.95 - 1.0))
      fail_msg("case %zu: %g, simulated %g", i, got, want);
  }
}

/* Where the outcome can't turn the decision there is nothing to gain. */
static void decided_is_worth_nothing (void **state) {
  (void)state;
  amp_worth_ask dear = lot(4300.0), cheap = lot(500.0);
  amp_worth w = answer(&dear);
  assert_close(w.most, 3.2 * (187.5 + 10 * 112.0), 1e-9); /* 4,184 */
  assert_int_equal(w.best, 0);
  assert_close(w.perfect, 0.0, 0.0);
  assert_close(w.chance, 0.0, 0.0);
  assert_close(w.step[0].gain, 0.0, 1e-12);
  w = answer(&cheap);
  assert_close(w.least, 600.0, 1e-9); /* what is tested alone is worth it */
  assert_close(w.perfect, 0.0, 0.0);
  assert_close(w.chance, 1.0, 1e-12);
  assert_int_equal(w.best, 0);
}

/* A test that costs more than perfect knowledge is never made; one that
** costs nothing always is. */
static void the_cost_decides_how_many (void **state) {
  (void)state;
  amp_worth_ask a = lot(3500.0);
  a.cost = 0.0;
  amp_worth w = answer(&a);
  assert_true(w.best >= 9 && w.perfect > 0.0);
  a.cost = w.perfect * 1.01;
  w = answer(&a);
  assert_int_equal(w.best, 0);
  assert_int_equal(w.steps, 1);
  a.cost = 25.0;
  w = answer(&a);
  assert_true(w.best >= 1 && w.best <= 9);
  for (int k = 0; k < w.steps; k++)
    assert_true(w.step[k].gain - w.step[k].cost <=
                w.step[w.best - 1].gain - w.step[w.best - 1].cost + 1e-9);
}

/* 12.706 x 3.323/sqrt(2) x sqrt(1 - 2/12) = 27.26 by hand; the tests that
** bring it to +- 2, the spread staying so: 2.365 x 3.323/sqrt(8)
** x sqrt(1/3) = 1.60, with 7: 2.447 x 3.323/sqrt(7) x sqrt(5/12) = 1.98. */
static void band_now_and_tests_wanted (void **state) {
  (void)state;
  amp_worth_ask a = lot(3500.0);
  amp_worth w = answer(&a);
  assert_close(w.half_width, 27.26, 0.005);
  for (int k = 1; k < w.steps; k++)
    assert_true(w.step[k].half_width < w.step[k - 1].half_width);
  assert_int_equal(amp_worth_tests_for(12, 2, a.sd, 0, 2.0), 7);
  assert_int_equal(amp_worth_tests_for(12, 2, a.sd, 0, 1.9), 8);
  assert_int_equal(amp_worth_tests_for(12, 2, a.sd, 0, 30.0), 2);
  assert_int_equal(amp_worth_tests_for(12, 2, a.sd, 0, 0.0), 12);
  /* sd known: 1.960 x 3.323/sqrt(5) x sqrt(7/12) = 2.22, with 6: 1.88 */
  assert_int_equal(amp_worth_tests_for(12, 0, a.sd, 1, 2.0), 6);
}

/* The band as its formula stands in the header, one number of tests after
** the other. */
static int walked (int of, int tested, double sd, int known, double width) {
  for (int n = tested > 2 || known ? tested : 2; n < of; n++) {
    double q =
        known ? amp_normal_quantile(0.975) : amp_t_quantile(0.975, n - 1);
    if (n > 0 && q * sd / sqrt(n) * sqrt(1.0 - (double)n / of) <= width)
      return n;
  }
  return of;
}

static void tests_wanted_are_the_first_that_do (void **state) {
  (void)state;
  for (int of = 1; of <= 40; of += 1 + of / 8)
    for (int tested = 0; tested <= of; tested += 1 + tested / 4)
      for (int known = 0; known <= 1; known++)
        for (double width = 0.05; width < 40.0; width *= 1.31)
          assert_int_equal(amp_worth_tests_for(of, tested, 3.3, known, width),
                           walked(of, tested, 3.3, known, width));
  assert_int_equal(amp_worth_tests_for(20, 2, 0.0, 0, 0.0), 2);
  assert_int_equal(amp_worth_tests_for(20, 0, 3.3, 1, NAN), 20);
}

/* By hand: (1.95996 x 5/0.05)^2 = 38,414.6 of an endless lot, of 100,000
** 38,414.6/1.384146 = 27,753.3. Student's t is wider by (1.96^2 + 1)/4 in so
** many: twice that, times 1 - 0.278, is 1.75 more. */
static void a_large_lot_takes_no_time (void **state) {
  (void)state;
  assert_int_equal(amp_worth_tests_for(100000, 0, 5.0, 1, 0.05), 27754);
  assert_int_equal(amp_worth_tests_for(100000, 2, 5.0, 0, 0.05), 27756);
}

static void wrong_questions_are_refused (void **state) {
  amp_worth w;
  amp_error err = {0};
  (void)state;
  amp_worth_ask a = lot(3500.0);
  a.untested = 0;
  assert_int_equal(amp_worth_testing(&a, &w, &err), AMP_EREFUSED);
  a = lot(3500.0);
  a.hi = INFINITY;
  assert_int_equal(amp_worth_testing(&a, &w, &err), AMP_EREFUSED);
  a = lot(NAN);
  assert_int_equal(amp_worth_testing(&a, &w, &err), AMP_ERANGE);
  assert_string_equal(err.field, "price");
  a = lot(3500.0);
  a.sd = 0.0;
  assert_int_equal(amp_worth_testing(&a, &w, &err), AMP_ERANGE);
  assert_string_equal(err.field, "sd");
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(known_spread_is_the_unit_normal_loss),
      cmocka_unit_test(unit_normal_loss_as_printed),
      cmocka_unit_test(estimated_spread_is_the_t_loss),
      cmocka_unit_test(gain_rises_up_to_perfect_knowledge),
      cmocka_unit_test(simulation_agrees),
      cmocka_unit_test(decided_is_worth_nothing),
      cmocka_unit_test(the_cost_decides_how_many),
      cmocka_unit_test(band_now_and_tests_wanted),
      cmocka_unit_test(tests_wanted_are_the_first_that_do),
      cmocka_unit_test(a_large_lot_takes_no_time),
      cmocka_unit_test(wrong_questions_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
