/*
** context.h -- the one struct through which a caller lends the core what
** the core does not have: memory, threads, a place for rows, a stop flag, a
** view of how far it is, and which instruction set the machine has. Every
** long call takes one; NULL means plain defaults (the C library's memory,
** one thread, no stop, the baseline instruction set).
**
** The core itself keeps no globals and asks no operating system. Results
** never depend on what is lent: any number of workers and any instruction
** set give the same bits.
*/
#ifndef AMP_BASE_CONTEXT_H
#define AMP_BASE_CONTEXT_H

#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

typedef enum amp_isa {
  AMP_ISA_BASE, /* what every machine of this kind has */
  AMP_ISA_V3,   /* x86-64-v3: AVX2 */
  AMP_ISA_V4    /* x86-64-v4: AVX-512 */
} amp_isa;

/* Work item 'i', done by worker 'worker' (0 .. workers-1; 0 is the thread
** that called parallel_for). */
typedef void amp_work (void *arg, size_t i, size_t worker);

typedef struct amp_context {
  void *user; /* handed to every function below */
  /*
  ** As lua_Alloc: new_size 0 frees and gives NULL, old NULL allocates;
  ** NULL when there is no memory, and then 'old' stays valid. May be
  ** called from any worker: it has to cope with several at once.
  */
  void *(*alloc) (void *user, void *old, size_t old_size, size_t new_size);
  /* Do work(arg, 0 .. n-1, worker) in any order; return when all is done. */
  void (*parallel_for) (void *user, size_t n, amp_work *work, void *arg);
  size_t workers; /* greatest number of workers parallel_for uses, >= 1 */
  /* One finished row of a sweep; other than AMP_OK stops the sweep. */
  amp_status (*row) (void *user, size_t index, const double *v, size_t n);
  bool (*stop) (void *user);                   /* true: give up soon */
  /* 0..1, in the thread that called the core; NULL: nobody asks. A call
  ** that is part of a whole counts from share_from to share_to (both 0: it
  ** is all). */
  void (*progress) (void *user, double share);
  double share_from, share_to;
  amp_isa isa;
} amp_context;

/* 'ctx' itself, or the plain defaults where it is NULL. */
const amp_context *amp_context_or_plain (const amp_context *ctx);

/* n bytes set to zero, or NULL. n = 0 gives a pointer that may be freed. */
void *amp_alloc (const amp_context *ctx, size_t n);

/* Grow or shrink; what is new is NOT set to zero. NULL: 'old' is valid. */
void *amp_realloc (const amp_context *ctx, void *old, size_t old_size,
                   size_t new_size);

/* Give back what amp_alloc or amp_realloc gave; NULL is fine. */
void amp_free (const amp_context *ctx, void *p, size_t size);

/* Run the work items through ctx->parallel_for, or one after another. */
void amp_parallel_for (const amp_context *ctx, size_t n, amp_work *work,
                       void *arg);

bool amp_stopped (const amp_context *ctx);

/* Tell ctx->progress that 'share' of this call is done; and the context of
** a part of it, from 'from' to 'to' of this call. */
void amp_progress (const amp_context *ctx, double share);
amp_context amp_context_part (const amp_context *ctx, double from, double to);

#endif
