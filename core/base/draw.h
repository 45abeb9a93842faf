/*
** draw.h -- blocks of stratified random numbers, many at a time: what
** sample.h and value.h give one by one, with the same bits. Private to core:
** built once for each instruction set (draw_base.c, draw_v3.c,
** draw_v4.c). Why a walk over a keyed permutation: docs/model/numbers.md.
*/
#ifndef AMP_BASE_DRAW_H
#define AMP_BASE_DRAW_H

#include <stddef.h>
#include <stdint.h>

enum { AMP_DRAW_ROUNDS = 4 };

/* What seed, stream and number of draws make of a permutation. */
typedef struct amp_draw_key {
  uint32_t n, mask; /* draws; the next power of two less 1 */
  uint32_t shift;   /* half its bits */
  uint32_t times[AMP_DRAW_ROUNDS], plus[AMP_DRAW_ROUNDS]; /* times: odd */
  uint32_t jitter_times, jitter_plus;
  double per; /* 1/n */
} amp_draw_key;

amp_draw_key amp_draw_key_of (uint64_t seed, uint64_t stream, size_t draws);

/* Draws 'from' .. from + count - 1, each in 0 < u < 1; from + count <= n. */
typedef void amp_draw_block (const amp_draw_key *k, size_t from, size_t count,
                             double *u);
amp_draw_block amp_draw_block_base, amp_draw_block_v3, amp_draw_block_v4;

/* v[i] becomes the standard normal quantile of v[i], each in 0 < v < 1. */
typedef void amp_draw_normal (double *v, size_t count);
amp_draw_normal amp_draw_normal_base, amp_draw_normal_v3, amp_draw_normal_v4;

/* One number, the same bits. */
double amp_draw_one (const amp_draw_key *k, size_t draw);

#endif
