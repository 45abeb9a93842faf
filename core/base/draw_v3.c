/*
** draw_v3.c -- the loops of draw.h built for one instruction set.
*/
#define DRAW_NAME(what) amp_draw_##what##_v3
#include "base/draw_kernel.h"
