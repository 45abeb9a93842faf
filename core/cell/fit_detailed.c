/*
** fit_detailed.c -- place of the detailed fit. Until it is here, a fit holds
** the simple model alone, and says so.
*/
#include "cell/fit_parts.h"

amp_status amp_fit_detailed (const amp_context *ctx, const amp_fit_input *in,
                             amp_fit *out, amp_error *err) {
  (void)ctx;
  (void)in;
  (void)err;
  out->has_detailed = false;
  amp_fit_warn(out, "the detailed model is not fitted");
  return AMP_OK;
}
