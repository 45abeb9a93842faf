/*
** air.c -- free convection along an upright wall, radiation, Biot number.
*/
#include "pack/air.h"
#include "base/elementary.h"
#include "base/value.h"
#include "pack/place.h"
#include <math.h>

#define STEFAN_BOLTZMANN 5.670374e-8 /* W/(m2 K4) */
#define C(t) ((t) + 273.15)

/* Cengel, table A-15, 1 atm (read in a stored copy); viscosity in 1e-5 Pa s */
static const struct {
  double temp, density, conductivity, viscosity, prandtl;
} listed[] = {{C(20), 1.204, 0.02514, 1.825, 0.7309},
              {C(25), 1.184, 0.02551, 1.849, 0.7296},
              {C(35), 1.145, 0.02625, 1.895, 0.7268},
              {C(50), 1.092, 0.02735, 1.963, 0.7228}};

enum { LISTED = sizeof listed / sizeof *listed };

static double between (double a, double b, double share) {
  return a + share * (b - a);
}

amp_status amp_air_at (double temp, amp_air *out, amp_error *err) {
  amp_status s = amp_check_range(err, "film", temp, listed[0].temp,
                                 listed[LISTED - 1].temp);
  int i = 0;
  if (s != AMP_OK)
    return s;
  while (i < LISTED - 2 && temp > listed[i + 1].temp)
    i++;
  double f = (temp - listed[i].temp) / (listed[i + 1].temp - listed[i].temp);
  *out = (amp_air){
      between(listed[i].density, listed[i + 1].density, f), 1007.0,
      between(listed[i].conductivity, listed[i + 1].conductivity, f),
      between(listed[i].viscosity, listed[i + 1].viscosity, f) * 1e-5,
      between(listed[i].prandtl, listed[i + 1].prandtl, f)};
  return AMP_OK;
}

/* g beta dT L^3 / (nu alpha), beta 1/T of an ideal gas */
static double rayleigh (const amp_air *a, double film, double apart,
                        double length) {
  double nu = a->viscosity / a->density;
  double alpha = a->conductivity / (a->density * a->heat);
  return AMP_GRAVITY / film * apart * length * length * length / (nu * alpha);
}

/* Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1323-1329, from
** memory: laminar, and for all flows. */
static double nusselt_laminar (double ra, double pr) {
  double f = 1.0 + amp_pow(0.492 / pr, 9.0 / 16.0);
  return 0.68 + 0.670 * amp_pow(ra, 0.25) / amp_pow(f, 4.0 / 9.0);
}

static double nusselt_all (double ra, double pr) {
  double f = 1.0 + amp_pow(0.492 / pr, 9.0 / 16.0);
  double root =
      0.825 + 0.387 * amp_pow(ra, 1.0 / 6.0) / amp_pow(f, 8.0 / 27.0);
  return root * root;
}

amp_status amp_still_air (double height, double wall, double air,
                          double emissivity, amp_still *out, amp_error *err) {
  double film = 0.5 * (wall + air);
  amp_air a;
  amp_still r = {film, 0.0, 0.0, 0.0, 0.0};
  amp_status s = amp_check_range(err, "height", height, 0.01, 5.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "air", air, 200.0, 400.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "wall", wall, 200.0, 400.0);
  if (s == AMP_OK)
    s = amp_check_range(err, "emissivity", emissivity, 0.0, 1.0);
  if (s == AMP_OK)
    s = amp_air_at(film, &a, err);
  if (s != AMP_OK)
    return s;
  r.rayleigh = rayleigh(&a, film, fabs(wall - air), height);
  r.low = nusselt_laminar(r.rayleigh, a.prandtl) * a.conductivity / height;
  r.high = nusselt_all(r.rayleigh, a.prandtl) * a.conductivity / height;
  r.radiation = 4.0 * emissivity * STEFAN_BOLTZMANN * film * film * film;
  *out = r;
  return AMP_OK;
}

double amp_biot (double h, double length, double conductivity) {
  return h * length / conductivity;
}
