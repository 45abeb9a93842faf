/*
** check_parts.h -- what the files of a check share: adding a row, the
** modules of the build. Private to core/job.
**   check_circuit.c the window, the main circuit, pre-charge, links
**   check_pack.c    where the modules come from and how alike they are
**   check_place.c   frost, heat, floor, stack, idle draw
**   check_energy.c  what it has to do
**   check_bms.c     what its BMS is set to
**   check.c         all of it, and the order
*/
#ifndef AMP_JOB_CHECK_PARTS_H
#define AMP_JOB_CHECK_PARTS_H

#include "job/check.h"

#define NO AMP_NOT_GIVEN

extern const amp_told check_v, check_a, check_ka, check_pct, check_c,
    check_kg, check_kpa, check_days, check_kwh, check_w, check_s, check_j,
    check_uf, check_modules, check_times, check_per_h, check_plain;

/* A row of the caution 'id', to be filled by amp_failf(&row->say, AMP_OK,
** NULL, ..). A full list keeps what it has. */
amp_check_row *check_add (amp_checked *out, const char *id, amp_look look,
                          amp_weight weight, const amp_told *told,
                          double value, double limit, amp_basis basis);

/* Could not be looked at: what is missing. */
void check_missing (amp_checked *out, const char *id, const char *what);
/* Looked at, does not stand out. */
void check_clear (amp_checked *out, const char *id, const amp_told *told,
                  double value, double limit, amp_basis basis);

/* Looked at: a row to be filled where it 'stands' out, else NULL, and it is
** among those that do not. */
amp_check_row *check_held (amp_checked *out, const char *id, bool stands,
                           amp_weight weight, const amp_told *told,
                           double value, double limit, amp_basis basis);

/* The row last made is of this end, where one name has several. */
void check_end (amp_checked *out, const char *end);

/* As people are told a number: three digits. */
double check_three (double v);

/* The i-th module in the order of the build. */
const amp_module *check_module (const amp_check *c, int i);
/* How many different ones are listed: 1 where all are alike. */
int check_listed (const amp_check *c);
/* ohm of the bank, 10 s, joints and leads left out; basis of the worst. */
double check_bank (const amp_check *c, amp_basis *basis);

void check_window (const amp_check *c, amp_checked *out);
void check_circuit (const amp_check *c, amp_checked *out);
void check_links (const amp_check *c, amp_checked *out); /* wants the shares */
void check_modules_of (const amp_check *c, amp_checked *out);
/* Whether a finding of amp_circuit_look has its unit and weight here. */
bool check_finding_is (const char *id);
void check_bms (const amp_check *c, amp_checked *out); /* wants the shares */
void check_place_of (const amp_check *c, amp_checked *out);
void check_energy (const amp_check *c, amp_checked *out);

#endif
