/*
** ampstead.h -- the whole core, for programs that use it.
*/
#ifndef AMPSTEAD_H
#define AMPSTEAD_H

#include "base/agree.h"
#include "base/context.h"
#include "base/elementary.h"
#include "base/error.h"
#include "base/interp.h"
#include "base/log.h"
#include "base/sample.h"
#include "base/solve.h"
#include "base/text.h"
#include "base/value.h"
#include "cell/cell.h"
#include "cell/chemistry.h"
#include "cell/detailed.h"
#include "cell/fit.h"
#include "cost/cash.h"
#include "cost/offer.h"
#include "job/case.h"
#include "life/ageing.h"
#include "life/project.h"
#include "pack/heat.h"
#include "pack/join.h"
#include "pack/judge.h"
#include "pack/link.h"
#include "pack/module.h"
#include "pack/pack.h"
#include "pack/precharge.h"
#include "pack/protect.h"
#include "pack/readings.h"
#include "pack/trip.h"
#include "pack/wire.h"
#include "report/plot.h"
#include "report/table.h"
#include "report/write.h"
#include "run/profile.h"
#include "run/rainflow.h"
#include "run/simulate.h"

#endif
