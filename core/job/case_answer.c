/*
** case_answer.c -- the answer of a case that has none: refused with its
** reason, or not known yet.
*/
#include "job/case_parts.h"

amp_status case_refuse (case_plan *p, const amp_error *why) {
  p->r->status = why->status;
  p->r->why = *why;
  return why->status;
}

amp_stat case_no_stat (void) {
  amp_stat s = {
      .p50 = AMP_NOT_GIVEN, .p10 = AMP_NOT_GIVEN, .p90 = AMP_NOT_GIVEN};
  return s;
}

void case_no_life_stats (amp_case_result *r) {
  for (int k = 0; k < AMP_CASE_MODELS; k++)
    r->life_by_model[k] = case_no_stat();
  r->years = r->delivered = case_no_stat();
  r->per_delivered = r->levelised = r->added = case_no_stat();
  r->counted = r->per_year = r->over_horizon = case_no_stat();
  r->npv = r->saving = r->break_even = case_no_stat();
  r->saves = r->paid = r->paid_late = AMP_NOT_GIVEN;
  r->energy_present = r->levelised_life = AMP_NOT_GIVEN;
}

/* Every number refused: of a case that has not been answered. */
void case_no_stats (amp_case_result *r) {
  r->goods = r->total = r->tested = r->usable = r->delivered = r->days =
      case_no_stat();
  r->unserved = r->curtailed = r->served = r->efc = case_no_stat();
  r->soh_start = r->per_nameplate = r->per_accepted = case_no_stat();
  r->per_usable = case_no_stat();
  case_no_life_stats(r);
}
