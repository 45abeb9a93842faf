/*
** lanes_both.h -- the kernel for one lane and for a whole block; included
** by each build of it.
*/
#include "run/lanes.h"
#include "base/elementary_inline.h"
#include <math.h>
#include <stdbool.h>

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
