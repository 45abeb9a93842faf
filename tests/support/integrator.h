/*
** integrator.h -- SUNDIALS CVODE (A. C. Hindmarsh and others, ACM Trans.
** Math. Softw. 31 (2005) 363-396) for tests that write the equations down
** again: BDF, dense, relative tolerance 1e-10. Put the start into 'y' between
** integrator_open and the first integrator_go.
*/
#ifndef AMP_TESTS_INTEGRATOR_H
#define AMP_TESTS_INTEGRATOR_H

#include "support/close.h"
#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

typedef struct integrator {
  SUNContext context;
  SUNMatrix matrix;
  SUNLinearSolver solver;
  N_Vector y;
  void *memory;
} integrator;

/* 'absolute': tolerance in the units of the states; 'y' starts at 0. */
static inline void integrator_open (integrator *in, CVRhsFn rhs, int states,
                                    double absolute, void *arg) {
  assert_int_equal(SUNContext_Create(NULL, &in->context), 0);
  in->y = N_VNew_Serial(states, in->context);
  N_VConst(0.0, in->y);
  in->memory = CVodeCreate(CV_BDF, in->context);
  assert_int_equal(CVodeInit(in->memory, rhs, 0.0, in->y), 0);
  CVodeSStolerances(in->memory, 1e-10, absolute);
  CVodeSetUserData(in->memory, arg);
  CVodeSetMaxNumSteps(in->memory, 100000);
  in->matrix = SUNDenseMatrix(states, states, in->context);
  in->solver = SUNLinSol_Dense(in->y, in->matrix, in->context);
  CVodeSetLinearSolver(in->memory, in->solver, in->matrix);
}

/* From 'from' to 'to' s, begun anew: what is held may have leapt between. */
static inline void integrator_go (integrator *in, double from, double to) {
  double t;
  CVodeReInit(in->memory, from, in->y);
  CVodeSetStopTime(in->memory, to);
  assert_true(CVode(in->memory, to, in->y, &t, CV_NORMAL) >= 0);
}

static inline void integrator_close (integrator *in) {
  CVodeFree(&in->memory);
  SUNLinSolFree(in->solver);
  SUNMatDestroy(in->matrix);
  N_VDestroy(in->y);
  SUNContext_Free(&in->context);
}

#endif
