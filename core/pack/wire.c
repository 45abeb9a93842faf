/*
** wire.c -- resistance and ampacity of conductors by table and by formula,
** the size a run asks for, and the ladder of a busbar.
*/
#include "pack/wire.h"
#include "base/elementary.h"
#include "base/value.h"
#include <math.h>
#include <string.h>

#define C20 293.15  /* K */
#define FOOT 0.3048 /* m */
#define NO AMP_NOT_GIVEN
#define PREECE_INCH 128.01 /* inch^1.5 in mm^1.5: 25.4^1.5 */

/* A/inch^1.5 into A/m^1.5 */
#define PREECE(a) ((a) / PREECE_INCH * 31622.776601683795)

/*
** Resistivity: copper 0.0175 ohm mm2/m as is common practice (annealed
** standard 0.017241: a cable's limit carries an allowance for stranding);
** aluminium 0.028264 commercial conductor, tnlab.org; nickel, tin, iron and
** lead preproom.org; nickel-plated steel from memory. German silver 33e-8,
** 0.0004 from memory. Fusing: W. H. Preece, Proc. Royal Society 1884-1888,
** constants in inches as read at nessengr.com; for nickel and plated steel
** none was found, and no other metal's stands in for it.
*/
static const amp_metal metals[] = {
    {"copper", 0.0175e-6, 0.00393, PREECE(10244.0), true},
    {"aluminium", 0.028264e-6, 0.0039, PREECE(7585.0), true},
    {"nickel", 6.99e-8, 0.006, NO, false},
    {"tin", 10.9e-8, 0.0045, PREECE(1642.0), false},
    {"lead", 22e-8, 0.0039, PREECE(1379.0), false},
    {"iron", 10e-8, 0.005, PREECE(3148.0), false},
    {"german_silver", 33e-8, 0.0004, PREECE(5230.0), false},
    {"nickel_plated_steel", 12e-8, 0.005, NO, false}};

const amp_metal *amp_metal_at (int i) {
  int n = (int)(sizeof metals / sizeof *metals);
  return i >= 0 && i < n ? &metals[i] : NULL;
}

const amp_metal *amp_metal_find (const char *name) {
  const amp_metal *m = NULL;
  for (int i = 0; name && (m = amp_metal_at(i)) != NULL; i++)
    if (strcmp(m->name, name) == 0)
      return m;
  return NULL;
}

/* ---- sizes ---- */

double amp_awg_diameter (int n) {
  return 0.127e-3 * amp_pow(92.0, (36 - n) / 39.0);
}

double amp_awg_area (int n) {
  double d = amp_awg_diameter(n);
  return AMP_PI / 4.0 * d * d;
}

amp_status amp_awg_parse (const char *text, int *n, amp_error *err) {
  size_t len = text ? strlen(text) : 0;
  int v = 0;
  if (len == 3 && text[1] == '/' && text[2] == '0' && text[0] >= '1' &&
      text[0] <= '4') {
    *n = 1 - (text[0] - '0');
    return AMP_OK;
  }
  for (size_t i = 0; i < len; i++)
    v = text[i] >= '0' && text[i] <= '9' && v < 1000 ? 10 * v + text[i] - '0'
                                                     : 1000;
  if (len == 0 || v > AMP_AWG_MOST)
    return amp_failf(err, AMP_EDATA, "awg",
                     "awg must be 4/0, 3/0, 2/0, 1/0 or 0 .. %d",
                     AMP_AWG_MOST);
  *n = v;
  return AMP_OK;
}

void amp_awg_name (int n, char *out) {
  size_t i = 0;
  if (n <= 0) {
    out[i++] = (char)('1' - n);
    out[i++] = '/';
    out[i++] = '0';
  } else {
    if (n > 9)
      out[i++] = (char)('0' + n / 10 % 10);
    out[i++] = (char)('0' + n % 10);
  }
  out[i] = '\0';
}

/*
** IEC 60228, greatest resistance at 20 C, ohm/km: copper class 2 and class
** 5, plain and tinned, aluminium class 2. Three listings that agree:
** mycableengineering.com, uecables.com, etechnik-synergie.com.
*/
static const struct {
  double area, cu2, cu2_tinned, cu5, cu5_tinned, al2; /* mm2, ohm/km */
} iec[] = {{0.5, 36.0, 36.7, 39.0, 40.1, NO},
           {0.75, 24.5, 24.8, 26.0, 26.7, NO},
           {1.0, 18.1, 18.2, 19.5, 20.0, NO},
           {1.5, 12.1, 12.2, 13.3, 13.7, NO},
           {2.5, 7.41, 7.56, 7.98, 8.21, NO},
           {4.0, 4.61, 4.70, 4.95, 5.09, NO},
           {6.0, 3.08, 3.11, 3.30, 3.39, NO},
           {10.0, 1.83, 1.84, 1.91, 1.95, 3.08},
           {16.0, 1.15, 1.16, 1.21, 1.24, 1.91},
           {25.0, 0.727, 0.734, 0.780, 0.795, 1.20},
           {35.0, 0.524, 0.529, 0.554, 0.565, 0.868},
           {50.0, 0.387, 0.391, 0.386, 0.393, 0.641},
           {70.0, 0.268, 0.270, 0.272, 0.277, 0.443},
           {95.0, 0.193, 0.195, 0.206, 0.210, 0.320},
           {120.0, 0.153, 0.154, 0.161, 0.164, 0.253},
           {150.0, 0.124, 0.126, 0.129, 0.132, 0.206},
           {185.0, 0.0991, 0.100, 0.106, 0.108, 0.164},
           {240.0, 0.0754, 0.0762, 0.0801, 0.0817, 0.125},
           {300.0, 0.0601, 0.0607, 0.0641, 0.0654, 0.100},
           {400.0, 0.0470, 0.0475, 0.0486, 0.0495, 0.0778},
           {500.0, 0.0366, 0.0369, 0.0384, 0.0391, 0.0605},
           {630.0, 0.0283, 0.0286, 0.0287, 0.0292, 0.0469}};
#define IEC_SIZES ((int)(sizeof iec / sizeof *iec))

/*
** NEC chapter 9 table 8, direct current at 75 C, uncoated stranded copper
** and aluminium, ohm/kft (voltdropcalc.com; 8 .. 14 copper from memory), and
** table 310.16 copper 60, 75, 90 C (intrysys.com, 2023 edition). Older
** editions give 14 and 12 AWG 20 and 25 A at 60 C.
*/
static const struct {
  int awg;
  double cu, al, a60, a75, a90;
} nec[] = {
    {14, 3.14, NO, 15, 20, 25},         {12, 1.98, 3.25, 20, 25, 30},
    {10, 1.24, 2.04, 30, 35, 40},       {8, 0.778, 1.28, 40, 50, 55},
    {6, 0.491, 0.808, 55, 65, 75},      {4, 0.308, 0.508, 70, 85, 95},
    {3, 0.245, 0.403, 85, 100, 115},    {2, 0.194, 0.319, 95, 115, 130},
    {1, 0.154, 0.253, 110, 130, 145},   {0, 0.122, 0.201, 125, 150, 170},
    {-1, 0.0967, 0.159, 145, 175, 195}, {-2, 0.0766, 0.126, 165, 200, 225},
    {-3, 0.0608, 0.100, 195, 230, 260}};
#define NEC_SIZES ((int)(sizeof nec / sizeof *nec))

double amp_wire_size (int i) {
  return i >= 0 && i < IEC_SIZES ? iec[i].area * 1e-6 : NO;
}

static int nec_row (int awg) {
  for (int i = 0; i < NEC_SIZES; i++)
    if (nec[i].awg == awg)
      return i;
  return -1;
}

double amp_wire_nec_ampacity (int awg, int column) {
  int i = nec_row(awg);
  if (i < 0)
    return NO;
  return column == 60   ? nec[i].a60
         : column == 75 ? nec[i].a75
         : column == 90 ? nec[i].a90
                        : NO;
}

double amp_wire_to_20 (double temp, bool copper) {
  double t = temp - 273.15;
  return copper ? 254.5 / (234.5 + t) : 250.0 / (230.0 + t);
}

double amp_wire_short_time (double from, double to) {
  double lift = (to - from) / (234.5 + from - 273.15);
  return 226e6 * sqrt(amp_log1p(lift));
}

/* ohm/km at 20 C of a listed size, NaN where it is not listed */
static double iec_at (amp_wire_rule rule, const amp_metal *metal, bool tinned,
                      double area) {
  bool fine = rule == AMP_WIRE_IEC_5, copper = metal == &metals[0];
  for (int i = 0; i < IEC_SIZES; i++)
    if (fabs(area * 1e6 - iec[i].area) <= 1e-6 * iec[i].area) {
      if (copper && tinned)
        return fine ? iec[i].cu5_tinned : iec[i].cu2_tinned;
      if (copper)
        return fine ? iec[i].cu5 : iec[i].cu2;
      return fine ? NO : iec[i].al2;
    }
  return NO;
}

/* ohm/m at 'temp' by NEC table 8: 0.00323 and 0.00330 /K from 75 C. */
static double nec_at (const amp_metal *metal, int awg, double temp) {
  int i = nec_row(awg);
  bool copper = metal == &metals[0];
  if (i < 0)
    return NO;
  return (copper ? nec[i].cu : nec[i].al) / (1000.0 * FOOT) *
         (1.0 + (copper ? 0.00323 : 0.00330) * (temp - 348.15));
}

amp_status amp_wire_resistance (amp_wire_rule rule, const amp_metal *metal,
                                bool tinned, double area, int awg,
                                double temp, double *out, amp_error *err) {
  double lift = 1.0 + metal->alpha * (temp - C20), r;
  amp_status s = amp_check_range(err, "temp", temp, 200.0, 500.0);
  if (s != AMP_OK)
    return s;
  if (rule == AMP_WIRE_PLAIN)
    r = metal->rho / area * lift;
  else if (rule == AMP_WIRE_NEC)
    r = nec_at(metal, awg, temp);
  else
    r = iec_at(rule, metal, tinned, area) * 1e-3 * lift;
  if (!(r > 0.0 && r < 1e9))
    return amp_failf(err, AMP_EMISSING, "area",
                     "the table of resistances does not list this size in %s",
                     metal->name);
  *out = r;
  return AMP_OK;
}

/* ---- a cable ---- */

amp_cable amp_cable_defaults (void) {
  amp_cable c;
  memset(&c, 0, sizeof c);
  c.metal = &metals[0];
  c.one_way = c.area = c.current = c.carry = c.v = NO;
  c.drop_limit = c.ampacity = NO;
  c.awg = AMP_AWG_NONE;
  c.temp = C20;
  c.correction = 1.0;
  return c;
}

static bool is_column (int c) {
  return c == 0 || c == 60 || c == 75 || c == 90;
}

static amp_status check_table (const amp_cable *c, amp_error *err) {
  for (int i = 0; i < c->rows; i++)
    if (!(c->table[i].area > (i > 0 ? c->table[i - 1].area : 0.0) &&
          c->table[i].area <= 0.01 && c->table[i].a > 0.0 &&
          c->table[i].a <= 1e5))
      return amp_failf(err, AMP_EDATA, "table",
                       "the table of ampacities must rise in size, with "
                       "amperes above 0 (row %d)",
                       i + 1);
  return AMP_OK;
}

static amp_status check_cable (const amp_cable *c, amp_error *err) {
  amp_status s;
  if (!c->metal || !c->metal->conductor)
    return amp_failf(err, AMP_EREFUSED, "metal",
                     "cables are reckoned in copper or aluminium");
  if ((s = amp_check_given(err, "one_way", c->one_way, 0.0, 1e4)) != AMP_OK ||
      (s = amp_check_given(err, "area", c->area, 1e-9, 0.01)) != AMP_OK ||
      (s = amp_check_given(err, "current", c->current, 0.0, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "carry", c->carry, 0.0, 1e5)) != AMP_OK ||
      (s = amp_check_given(err, "v", c->v, 0.1, 2000.0)) != AMP_OK ||
      (s = amp_check_given(err, "drop_limit", c->drop_limit, 1e-6, 0.5)) !=
          AMP_OK ||
      (s = amp_check_given(err, "ampacity", c->ampacity, 0.1, 1e5)) !=
          AMP_OK ||
      (s = amp_check_range(err, "temp", c->temp, 200.0, 500.0)) != AMP_OK ||
      (s = amp_check_range(err, "correction", c->correction, 0.05, 1.5)) !=
          AMP_OK ||
      (s = amp_check_range(err, "rows", c->rows, 0, AMP_AMPACITIES)) !=
          AMP_OK)
    return s;
  if (!is_column(c->lug) || !is_column(c->insulation))
    return amp_failf(err, AMP_EDATA, "lug",
                     "lug and insulation are rated 60, 75 or 90 C");
  return check_table(c, err);
}

/* A of this size, and where that comes from. A size between two of the
** user's table may carry what the smaller one may. */
static double ampacity_of (const amp_cable *c, double area, int awg,
                           amp_cable_answer *a) {
  int lug = c->lug ? c->lug : 75, insulation = c->insulation;
  double found = NO, by_lug;
  a->lug_decides = false;
  a->from = AMP_AMPACITY_GIVEN;
  if (amp_given(c->ampacity))
    return c->ampacity;
  a->from = AMP_AMPACITY_TABLE;
  for (int i = 0; i < c->rows; i++)
    if (c->table[i].area <= area * (1.0 + 1e-9))
      found = c->table[i].a * c->correction;
  if (c->rows > 0)
    return found;
  a->from = AMP_AMPACITY_NEC;
  if (awg != AMP_AWG_NONE && c->metal == &metals[0])
    found = amp_wire_nec_ampacity(awg, insulation ? insulation : lug) *
            c->correction;
  by_lug = amp_wire_nec_ampacity(awg, lug);
  a->lug_decides = by_lug < found;
  if (!amp_given(found))
    a->from = AMP_AMPACITY_NONE;
  return a->lug_decides ? by_lug : found;
}

/* Loop resistance, drop, share and loss of this size. */
static amp_status drop_of (const amp_cable *c, double area, int awg,
                           amp_cable_answer *a, amp_error *err) {
  double per_m;
  amp_status s;
  a->r = a->drop = a->share = a->loss = NO;
  if (!amp_given(c->one_way))
    return AMP_OK;
  if ((s = amp_wire_resistance(c->rule, c->metal, c->tinned, area, awg,
                               c->temp, &per_m, err)) != AMP_OK)
    return s;
  a->r = 2.0 * c->one_way * per_m;
  a->drop = a->r * c->current;
  a->share = a->drop / c->v;
  a->loss = a->drop * c->current;
  return AMP_OK;
}

/* The i-th size to pick from, rising; false past the last. */
static bool size_at (const amp_cable *c, int i, double *area, int *awg) {
  *awg = AMP_AWG_NONE;
  if (c->awg_sizes || c->rule == AMP_WIRE_NEC) {
    if (i >= NEC_SIZES)
      return false;
    *awg = nec[i].awg;
    *area = amp_awg_area(*awg);
  } else
    *area = amp_wire_size(i);
  return amp_given(*area);
}

/* Smallest size that passes by drop, by ampacity, and by both. */
static amp_status pick (const amp_cable *c, amp_cable_answer *a,
                        amp_error *err) {
  bool by_drop = amp_given(c->drop_limit), by_amps = false;
  double area;
  int awg;
  amp_cable_answer t = *a;
  for (int i = 0; size_at(c, i, &area, &awg); i++) {
    double amps = ampacity_of(c, area, awg, &t);
    bool carries = amps >= a->carry;
    bool drops = drop_of(c, area, awg, &t, NULL) == AMP_OK &&
                 t.share <= c->drop_limit * (1.0 + 1e-12);
    by_amps = by_amps || amp_given(amps);
    if (drops && !amp_given(a->area_by_drop))
      a->area_by_drop = area;
    if (carries && !amp_given(a->area_by_ampacity))
      a->area_by_ampacity = area;
    if ((drops || !by_drop) && (carries || !by_amps) && !amp_given(a->area)) {
      a->area = area;
      a->awg = awg;
    }
  }
  if (!by_drop && !by_amps)
    return amp_failf(err, AMP_EMISSING, "area",
                     "no size, no largest drop and no table of ampacities "
                     "is given: there is nothing to pick a size by");
  if (!amp_given(a->area))
    return amp_failf(err, AMP_EMISSING, "area",
                     "no listed size does: lay several side by side");
  return AMP_OK;
}

amp_status amp_cable_answer_of (const amp_cable *c, amp_cable_answer *out,
                                amp_error *err) {
  amp_cable_answer a;
  amp_status s = check_cable(c, err);
  if (s != AMP_OK)
    return s;
  memset(&a, 0, sizeof a);
  a.area = c->area;
  a.awg = c->awg;
  if (c->awg != AMP_AWG_NONE)
    a.area = amp_awg_area(c->awg);
  a.area_by_drop = a.area_by_ampacity = NO;
  a.carry = amp_given(c->carry) ? c->carry : 1.25 * c->current;
  if (!amp_given(a.area) && (s = pick(c, &a, err)) != AMP_OK)
    return s;
  a.ampacity = ampacity_of(c, a.area, a.awg, &a);
  if ((s = drop_of(c, a.area, a.awg, &a, err)) == AMP_OK)
    *out = a;
  return s;
}

/* ---- strings on a busbar ---- */

static amp_status check_rail (int n, const double *e, const double *r,
                              double segment, int plus, int minus,
                              double current, amp_error *err) {
  amp_status s;
  if ((s = amp_check_range(err, "strings", n, 1, AMP_RAIL_STRINGS)) !=
          AMP_OK ||
      (s = amp_check_range(err, "segment", segment, 0.0, 1.0)) != AMP_OK ||
      (s = amp_check_range(err, "plus", plus, 0, n - 1)) != AMP_OK ||
      (s = amp_check_range(err, "minus", minus, 0, n - 1)) != AMP_OK ||
      (s = amp_check_range(err, "current", current, -1e6, 1e6)) != AMP_OK)
    return s;
  for (int i = 0; s == AMP_OK && i < n; i++)
    if ((s = amp_check_range(err, "r", r[i], 1e-9, 1e3)) == AMP_OK && e)
      s = amp_check_range(err, "e", e[i], -2000.0, 2000.0);
  return s;
}

/*
** Unknown are the sums P[k] of the currents of strings 0 .. k. The voltage
** between the rails falls from string k to k + 1 by what flows in both
** segments, 2 segment P[k] less what the take-offs have drawn by then:
**   E[k] - r[k] (P[k] - P[k-1]) - E[k+1] + r[k+1] (P[k+1] - P[k])
**     = 2 segment P[k] - segment I ([k >= plus] + [k >= minus])
** Tridiagonal and diagonally dominant: solved by elimination downwards.
*/
amp_status amp_rail_currents (int n, const double *e, const double *r,
                              double segment, int plus, int minus,
                              double current, double *out, amp_error *err) {
  double up[AMP_RAIL_STRINGS], p[AMP_RAIL_STRINGS];
  amp_status s = check_rail(n, e, r, segment, plus, minus, current, err);
  if (s != AMP_OK)
    return s;
  for (int k = 0; k < n - 1; k++) {
    double drawn = (k >= plus ? 1.0 : 0.0) + (k >= minus ? 1.0 : 0.0);
    double diagonal = r[k] + r[k + 1] + 2.0 * segment;
    double right = segment * current * drawn + (e ? e[k] - e[k + 1] : 0.0);
    if (k == n - 2)
      right += r[k + 1] * current;
    double lower = k > 0 ? r[k] : 0.0;
    double pivot = diagonal - lower * (k > 0 ? up[k - 1] : 0.0);
    up[k] = r[k + 1] / pivot;
    p[k] = (right + lower * (k > 0 ? p[k - 1] : 0.0)) / pivot;
  }
  p[n - 1] = current;
  for (int k = n - 3; k >= 0; k--)
    p[k] += up[k] * p[k + 1];
  for (int k = 0; k < n; k++)
    out[k] = p[k] - (k > 0 ? p[k - 1] : 0.0);
  return AMP_OK;
}

#define NEXT_TO_NOTHING 1e-9 /* ohm */
#define AS_IF_ABSENT 1e3

/* Unknown resistances stand at 'r_unknown', that of string 'one' (-1: none)
** at next to nothing. */
static amp_status supposed (int n, const double *r, double r_unknown, int one,
                            double segment, int plus, int minus,
                            double current, double *out, amp_error *err) {
  double with[AMP_RAIL_STRINGS];
  for (int i = 0; i < n; i++)
    with[i] = amp_given(r[i]) ? r[i] : i == one ? NEXT_TO_NOTHING : r_unknown;
  return amp_rail_currents(n, NULL, with, segment, plus, minus, current, out,
                           err);
}

amp_status amp_rail_bounds (int n, const double *r, double segment, int plus,
                            int minus, double current, double *low,
                            double *high, amp_error *err) {
  double least[AMP_RAIL_STRINGS], most[AMP_RAIL_STRINGS];
  double one[AMP_RAIL_STRINGS];
  amp_status s = amp_check_range(err, "strings", n, 1, AMP_RAIL_STRINGS);
  if (s == AMP_OK)
    s = supposed(n, r, AS_IF_ABSENT, -1, segment, plus, minus, current, most,
                 err);
  if (s == AMP_OK)
    s = supposed(n, r, NEXT_TO_NOTHING, -1, segment, plus, minus, current,
                 least, err);
  for (int i = 0; s == AMP_OK && i < n; i++)
    if (!amp_given(r[i])) {
      s = supposed(n, r, AS_IF_ABSENT, i, segment, plus, minus, current, one,
                   err);
      least[i] = 0.0;
      most[i] = one[i];
    }
  for (int i = 0; s == AMP_OK && i < n; i++) {
    low[i] = least[i];
    high[i] = most[i];
  }
  return s;
}
