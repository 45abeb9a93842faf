/*
** bench_match.c -- how long placing modules takes, and how far the best
** found is from what no arrangement can pass: 24 to the proof, 40 as 4 of
** 10, 200 as 20 of 10 and as 66 of 3. Three kinds of invented lots. Ends
** with 1 where a promise is missed: 24 unproven, 40 above 0.1 % or a second,
** 200 above ten seconds.
*/
#include "base/sample.h"
#include "pack/match.h"
#include <stdio.h>
#include <time.h>

enum { MOST = 200 };

static double now (void) {
  struct timespec t;
  timespec_get(&t, TIME_UTC);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Ah: near equal; two heaps; wild */
static double some_ah (int kind, uint64_t i) {
  double u = amp_uniform(3, 1, i), v = amp_uniform(3, 2, i);
  if (kind == 0)
    return 90.0 + 10.0 * u;
  if (kind == 1)
    return (v < 0.5 ? 100.0 : 60.0) + 3.0 * u;
  return 5.0 + 200.0 * u * u;
}

static int measure (int series, int parallel, double seconds, double gap) {
  static amp_match_module m[MOST];
  static int place[MOST];
  amp_match_spec s = {series, parallel, false, 0.0};
  size_t n = (size_t)series * (size_t)parallel;
  int missed = 0;
  for (int kind = 0; kind < 3; kind++) {
    amp_matched out;
    for (size_t i = 0; i < n; i++)
      m[i] = (amp_match_module){some_ah(kind, i) * 3600.0,
                                2e-3 + 1e-4 * amp_uniform(3, 3, i)};
    double began = now();
    if (amp_match(NULL, n, m, &s, place, &out, NULL) != AMP_OK)
      return 1;
    double took = now() - began, off = 1.0 - out.best / out.bound;
    printf("%3zu as %2d of %2d, lot %d  %8.4f s  %s %.2g\n", n, series,
           parallel, kind + 1, took,
           out.proven ? "proven, steps" : "gap at most",
           out.proven ? (double)out.steps : off);
    missed += took > seconds || off > gap;
  }
  return missed;
}

int main (void) {
  int missed = measure(4, 6, 1.0, 0.0) + measure(8, 3, 1.0, 0.0) +
               measure(4, 10, 1.0, 1e-3) + measure(20, 10, 10.0, 1.0) +
               measure(66, 3, 10.0, 1.0);
  printf("%d missed\n", missed);
  return missed > 0;
}
