/*
** link.h -- thin wires that fuse: the current at which one melts, what a
** group of cells behind such links may give, and the cascade: how many may
** go, at this load, before the rest follow. SI units.
** Model: docs/model/protect.md.
*/
#ifndef AMP_PACK_LINK_H
#define AMP_PACK_LINK_H

#include "base/error.h"
#include "pack/wire.h"
#include <stdbool.h>

typedef struct amp_link {
  const amp_metal *metal;
  double diameter; /* m */
  double length;   /* m; NaN: not given */
  double fusing;   /* A, measured by the user; NaN: by Preece's law */
  double ambient;  /* K */
} amp_link;

typedef struct amp_link_answer {
  double fusing;    /* A, steady, free still air; NaN: no constant is known */
  double low, high; /* A, the band: below it holds, above it goes */
  double i2t;       /* A2 s to melt without loss; NaN: copper alone is told */
  double brief;     /* s, longest time for which i2t is told */
  double r;         /* ohm at 20 C; NaN without a length */
  bool measured;    /* fusing is the user's */
  bool thin;        /* under 0.2 mm: Preece's exponent is too steep there */
  bool end_cooled;  /* shorter than 100 diameters: it fuses higher */
} amp_link_answer;

/* I = a d^1.5, A; NaN where no constant is known. W. H. Preece. */
double amp_preece (const amp_metal *metal, double diameter);

/*
** Onderdonk's law for copper of 'area' m2 that melts after 't' s from
** 'ambient' K without losing any heat, A. The formula alone: it knows no
** limit of time. A wire gets amp_link_melts.
*/
double amp_onderdonk (double area, double t, double ambient);

/* 0.05 .. 10 mm; AMP_ERANGE, AMP_EMISSING names the field. */
amp_status amp_link_answer_of (const amp_link *l, amp_link_answer *out,
                               amp_error *err);

/*
** Current that melts the link after 't' s. Told up to 'brief', a quarter of
** the time at which the law without losses would meet Preece's steady one:
** AMP_EREFUSED beyond, AMP_EMISSING for another metal than copper.
*/
amp_status amp_link_melts (const amp_link *l, double t, double *current,
                           amp_error *err);

/* ---- a group of cells behind links ---- */

enum { AMP_LINK_CELLS = 256 };

typedef enum amp_link_state {
  AMP_LINKS_HOLD,    /* under the band */
  AMP_LINKS_MAY_GO,  /* within it */
  AMP_LINKS_FOLLOW   /* over it: the next goes, and then the rest */
} amp_link_state;

typedef struct amp_cascade_row {
  int gone;          /* links that are open */
  int went;          /* index of the cell whose link opened last; -1: none */
  double current;    /* A in the most loaded link left; all gone: NaN */
  double v;          /* V of the group under load; all gone: NaN */
  double share;      /* of the group's charge that is left */
  amp_link_state state;
} amp_cascade_row;

typedef struct amp_cascade {
  int cells;
  amp_cascade_row row[AMP_LINK_CELLS + 1]; /* 0 .. cells gone */
  int hold;      /* most links that may be gone with the rest still under the
                    band; -1: not even all of them hold */
  int may;       /* the same under the band's upper end */
  double group_low;  /* A, load at which the first link may go */
  double group_high; /* A, at which it goes */
} amp_cascade;

/*
** 'n' cells in parallel, r[n] ohm each with its link, at 'e' V and a load of
** 'current' A on the group, band low .. high A a link. Each next one to go
** is the most loaded (the first of equals). The cells are at one voltage:
** what a moment shows, before charge shifts between them.
*/
amp_status amp_link_cascade (int n, const double *r, double e, double current,
                             double low, double high, amp_cascade *out,
                             amp_error *err);

/*
** A cell that shorts inside draws through its own link what the n - 1 others
** send: *fault A at most (a dead short, r ohm a cell with its link, alike),
** *others A in each of theirs. With two cells both links carry the same.
*/
amp_status amp_link_fault (int n, double r_cell, double r_link, double e,
                           double *fault, double *others, amp_error *err);

#endif
