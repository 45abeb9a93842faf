/*
** draw_v4.c -- the loops of draw.h built for one instruction set.
*/
#define DRAW_NAME(what) amp_draw_##what##_v4
#include "base/draw_kernel.h"
