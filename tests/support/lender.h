/*
** lender.h -- memory that ends at the n-th call, and what of it is lent out
** now; a stop flag that comes up at any time it is asked.
*/
#ifndef AMP_TESTS_LENDER_H
#define AMP_TESTS_LENDER_H

#include "support/close.h"
#include <stdbool.h>
#include <stdlib.h>

typedef struct lender {
  size_t calls, last; /* allocations so far; the last that is granted */
  size_t blocks, bytes;
  size_t asked, stop_at; /* of the stop flag; 0: never */
} lender;

static inline void *lend (void *user, void *old, size_t old_size, size_t new_size) {
  lender *l = user;
  void *p;
  assert_true((old == NULL) == (old_size == 0));
  if (new_size == 0) {
    free(old);
    l->blocks--;
    l->bytes -= old_size;
    return NULL;
  }
  if (++l->calls > l->last || (p = realloc(old, new_size)) == NULL)
    return NULL;
  l->blocks += old == NULL;
  l->bytes += new_size - old_size; /* wraps back where it shrinks */
  return p;
}

static inline bool stop (void *user) {
  lender *l = user;
  return ++l->asked == l->stop_at;
}

#endif
