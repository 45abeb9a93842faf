/*
** lanes_v4.c -- the lane kernel built for one instruction set; see lanes.h.
*/
#define LANES_NAME(width) amp_lanes_run_v4_##width
#define LANES_ALSO_WIDE
#include "run/lanes_both.h"
