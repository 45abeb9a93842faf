/*
** lanes_both.h -- the kernel for one lane and for a whole block; included
** by each build of it.
*/
#include "run/lanes.h"
#include "base/elementary_inline.h"
#include <math.h>
#include <stdbool.h>

#if defined(__GNUC__)
#define ALWAYS inline __attribute__((always_inline))
#else
#define ALWAYS inline
#endif

/* What becomes of a step: only tried, taken where it met no limit, taken. */
typedef enum amp_take { AMP_TRY, AMP_TAKE_IF, AMP_TAKE } amp_take;

#define STRING(x) #x

/* s between two evaluations of r0's exp: the cubic term that is left out is
** 4e-6 of r0 for 1 K, 1e-4 the change of its slope */
#define WARM_TIME 300.0

/* 1.5 * 2^52 and its bits: see look_up */
#define MAGIC 0x1.8p+52
#define MAGIC_BITS 0x4338000000000000u

#define L 1
#define NAME(f) f##_1
#define ENTRY LANES_NAME(1)
#include "run/lanes_kernel.h"
#undef L
#undef NAME
#undef ENTRY

#define L AMP_LANES
#define NAME(f) f##_n
#define ENTRY LANES_NAME(n)
#include "run/lanes_kernel.h"
