/*
** often.h -- how often a test tries what it draws at random. With
** AMPSTEAD_FEW in the environment, which scripts/test.sh sets for valgrind
** alone (60 times slower, and it looks at memory, not at numbers), one time
** in twenty.
*/
#ifndef AMP_TESTS_OFTEN_H
#define AMP_TESTS_OFTEN_H

#include <stdlib.h>

static inline int often (int n) {
  return getenv("AMPSTEAD_FEW") != NULL ? n / 20 + 1 : n;
}

#endif
