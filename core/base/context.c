/*
** context.c -- what the caller lends, or plain defaults in its place.
*/
#include "base/context.h"
#include <stdlib.h>
#include <string.h>

const amp_context *amp_context_or_plain (const amp_context *ctx) {
  static const amp_context plain = {.workers = 1, .isa = AMP_ISA_BASE};
  return ctx != NULL ? ctx : &plain;
}

/* No size is 0 to the lender: 0 would mean "free". */
static size_t at_least_one (size_t n) {
  return n > 0 ? n : 1;
}

void *amp_realloc (const amp_context *ctx, void *old, size_t old_size,
                   size_t new_size) {
  const amp_context *c = amp_context_or_plain(ctx);
  size_t had = old != NULL ? at_least_one(old_size) : 0;
  if (c->alloc != NULL)
    return c->alloc(c->user, old, had, at_least_one(new_size));
  return realloc(old, at_least_one(new_size));
}

void *amp_alloc (const amp_context *ctx, size_t n) {
  void *p = amp_realloc(ctx, NULL, 0, n);
  if (p != NULL)
    memset(p, 0, at_least_one(n));
  return p;
}

void amp_free (const amp_context *ctx, void *p, size_t size) {
  const amp_context *c = amp_context_or_plain(ctx);
  if (p == NULL)
    return;
  if (c->alloc != NULL)
    c->alloc(c->user, p, at_least_one(size), 0);
  else
    free(p);
}

void amp_parallel_for (const amp_context *ctx, size_t n, amp_work *work,
                       void *arg) {
  const amp_context *c = amp_context_or_plain(ctx);
  if (c->parallel_for != NULL)
    c->parallel_for(c->user, n, work, arg);
  else
    for (size_t i = 0; i < n; i++)
      work(arg, i, 0);
}

bool amp_stopped (const amp_context *ctx) {
  const amp_context *c = amp_context_or_plain(ctx);
  return c->stop != NULL && c->stop(c->user);
}

static double share_of (const amp_context *c, double share) {
  double to = c->share_to > 0.0 ? c->share_to : 1.0;
  return c->share_from + (to - c->share_from) * share;
}

void amp_progress (const amp_context *ctx, double share) {
  const amp_context *c = amp_context_or_plain(ctx);
  if (c->progress)
    c->progress(c->user, share_of(c, share));
}

amp_context amp_context_part (const amp_context *ctx, double from,
                              double to) {
  const amp_context *c = amp_context_or_plain(ctx);
  amp_context part = *c;
  part.share_from = share_of(c, from);
  part.share_to = share_of(c, to);
  return part;
}
