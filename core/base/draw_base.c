/*
** draw_base.c -- the loops of draw.h built for one instruction set.
*/
#define DRAW_NAME(what) amp_draw_##what##_base
#include "base/draw_kernel.h"
