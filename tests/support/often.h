/*
** often.h -- how often a test tries what is one of many: lines drawn at
** random, an allocation refused after another. With AMPSTEAD_FEW in the
** environment fewer times: scripts/test.sh sets it where a step takes 20 to
** 60 times as long and memory is looked at, not numbers (sanitizers,
** valgrind). The plain builds try all.
*/
#ifndef AMP_TESTS_OFTEN_H
#define AMP_TESTS_OFTEN_H

#include <stdbool.h>
#include <stdlib.h>

static inline bool few (void) {
  return getenv("AMPSTEAD_FEW") != NULL;
}

static inline int often (int n) {
  return few() ? n / 20 + 1 : n;
}

#endif
