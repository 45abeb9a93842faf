/*
** case_twins.c -- draws that come to the same. Where little is spread, many
** draws of a case are equal in all that their money is reckoned from: where
** nothing is, all of one life model are; where only duds are, all of one
** number of strings. What the first of them comes to, the others come to,
** bit by bit, so it is reckoned once.
*/
#include "job/case_parts.h"
#include <math.h>

static bool varies (const case_plan *p, amp_case_input in) {
  const amp_value *v = case_value_of(p, in);
  bool held = p->held != NULL && p->held->is[in];
  return !held && v != NULL && amp_value_is_set(v) && !amp_value_is_fixed(v);
}

/* A price, a rate or a number of the need that is drawn, which no case_draw
** shows. */
static bool draws_more (const case_plan *p) {
  bool more = p->c->prices > 0;
  for (int k = 0; !more && k < p->life->models; k++)
    more = varies(p, (amp_case_input)(AMP_IN_CALENDAR + k)) ||
           varies(p, (amp_case_input)(AMP_IN_CYCLE + k));
  for (int k = 0; !more && k < AMP_TERMS; k++)
    more = varies(p, (amp_case_input)(AMP_IN_TERM + k));
  return more;
}

static bool same_draw (const case_draw *a, const case_draw *b) {
  return a->strings == b->strings && a->tested == b->tested &&
         a->soh == b->soh && a->r == b->r && a->load == b->load &&
         a->sun == b->sun && a->shift == b->shift && a->dud == b->dud &&
         a->capacity == b->capacity;
}

/* Draws take the life models in turn. */
static bool same_model (const case_plan *p, size_t a, size_t b) {
  size_t models = (size_t)p->life->models;
  return models < 2 || a % models == b % models;
}

/* The kind of draw i among those that are known; their number where it is
** of none. */
static size_t kind_of (const case_plan *p, const case_twins *t, size_t i) {
  size_t k = 0;
  while (k < t->kinds && !(same_model(p, i, t->first[k]) &&
                           same_draw(&p->draw[i], &p->draw[t->first[k]])))
    k++;
  return k;
}

void case_twins_find (const case_plan *p, case_twins *t) {
  t->kinds = 0;
  if (draws_more(p))
    return;
  for (size_t i = 0; i < p->draws; i++) {
    size_t k = kind_of(p, t, i);
    if (k == CASE_TWINS) { /* too many to be worth it */
      t->kinds = 0;
      return;
    }
    if (k == t->kinds)
      t->first[t->kinds++] = i;
    t->of[i] = (unsigned char)k;
  }
}

size_t case_twin_of (const case_twins *t, size_t i) {
  return t->kinds > 0 ? t->first[t->of[i]] : i;
}
