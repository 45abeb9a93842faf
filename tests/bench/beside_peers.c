/*
** beside_peers.c -- ours beside the textbook, turn and turn about in one
** program: rainflow, a 20-year life, reading CSV; and what a limit inside a
** step costs in accuracy. Built by scripts/bench.sh with the peers' folder on
** the include path. Usage: beside_peers PROFILE CSV
** Each line: what, ours, theirs, how many times faster, and what is wanted.
*/
#define _POSIX_C_SOURCE 200809L
#include "model.h"
#include "rainflow.h"
#include "ampstead.h"

enum { ROUNDS = 9, PACKS = 16, YEARS = 20, NODES = 8 };

static const char *const isa_name[] = {"baseline", "AVX2", "AVX-512"};

static amp_context best_context (void) {
  amp_context c = *amp_context_or_plain(NULL);
  c.isa = AMP_ISA_BASE;
#if defined(__x86_64__)
  if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi2"))
    c.isa = AMP_ISA_V3;
  if (__builtin_cpu_supports("avx512f") &&
      __builtin_cpu_supports("avx512dq") &&
      __builtin_cpu_supports("avx512vl") &&
      __builtin_cpu_supports("avx512bw"))
    c.isa = AMP_ISA_V4;
#endif
  return c;
}

static void row (const char *what, double ours, double theirs,
                 const char *unit, const char *wanted) {
  printf("%-34s %9.3f %9.3f %-8s %6.2fx  (wanted %s)\n", what, ours, theirs,
         unit, theirs / ours, wanted);
}

/* ---- rainflow ---- */

static void count_damage (void *arg, const amp_cycle *c) {
  rf_result *r = arg;
  if (c->count == 1.0)
    r->full++;
  else
    r->half++;
  r->sum += c->count * c->range;
  r->damage += c->count * stress_dod(c->range) * stress_soc(c->mean);
}

static rf_result rainflow_ours (const double *x, size_t n) {
  rf_result r = {0};
  amp_rainflow *f = amp_rainflow_new(NULL, 0.0, count_damage, &r);
  if (!f || amp_rainflow_feed(f, x, n, 1, NULL) != AMP_OK)
    exit(1);
  amp_rainflow_end(f, NULL);
  amp_rainflow_free(f);
  return r;
}

static void rainflow_row (const double *power) {
  static double soc[NYEAR];
  double ours[ROUNDS], theirs[ROUNDS];
  rf_result a = {0}, b = {0};
  cfg c;
  state s;
  cfg_number(&c, 0);
  state_init(&s, &c);
  for (int t = 0; t < NYEAR; t++) {
    step(&s, &c, power[t]);
    soc[t] = s.z;
  }
  for (int k = 0; k < ROUNDS; k++) {
    double t = now();
    a = rainflow(soc, NYEAR);
    theirs[k] = now() - t;
    t = now();
    b = rainflow_ours(soc, NYEAR);
    ours[k] = now() - t;
  }
  row("rainflow of a year of minutes", median(ours, ROUNDS) / NYEAR * 1e9,
      median(theirs, ROUNDS) / NYEAR * 1e9, "ns/point", "1x 2.5x 5x");
  printf("    cycles %ld full, %ld half; theirs %ld, %ld; damage differs by "
         "%.1e\n",
         b.full, b.half, a.full, a.half, fabs(b.damage / a.damage - 1.0));
}

/* ---- packs ---- */

static amp_chemistry chemistry (void) {
  static double x[NT];
  amp_chemistry c = {0};
  for (int i = 0; i < NT; i++)
    x[i] = i / 100.0;
  if (amp_curve_make(x, OCV, NT, AMP_INTERP_MONOTONE, &c.ocv, NULL))
    exit(1);
  c.v_nominal = 3.7;
  c.v_min = c.v_daily_min = 2.5;
  c.v_max = c.v_daily_max = 4.3;
  return c;
}

static amp_pack pack_at (const amp_chemistry *chem, double ns, double np,
                         double soh, double rs) {
  amp_group g = {0};
  amp_pack p;
  g.chemistry = chem;
  g.cell = amp_cell_defaults();
  g.cell.capacity = 50 * 3600.0 * soh;
  g.cell.r0 = 1.5e-3 * rs;
  for (int i = 0; i < AMP_R_KNOTS; i++)
    g.cell.r0_shape[i] = res_formula(i / 10.0) / 1.5e-3;
  g.cell.r0_activation = EAR;
  g.cell.r1 = rs * 0.8e-3;
  g.cell.r2 = rs * 1.0e-3;
  g.cell.tau1 = 30.0;
  g.cell.tau2 = 900.0;
  g.series = ns;
  g.parallel = np;
  g.soc_min = ZMIN;
  g.soc_max = ZMAX;
  g.soc_start = 0.5;
  g.v_min = 3.0;
  g.v_max = 4.15;
  g.heat_capacity = ns * np * 900.0;
  g.cooling = ns * np * 0.12;
  amp_pack_uniform(&g, 1, 1, &p);
  return p;
}

static amp_sim_case case_of (const amp_pack *p, double load) {
  amp_sim_case c = {0};
  c.pack = p;
  c.converter.efficiency = 1.0;
  c.load_factor = c.sun_factor = load;
  return c;
}

/* The duty; of 'every' > 1 minutes the means. */
static amp_duty duty_of (const double *p, int every) {
  amp_duty d = {0};
  size_t n = NYEAR / (size_t)every;
  d.n = n;
  d.dt = 60.0 * every;
  d.ac = calloc(n, sizeof(double));
  d.dc = calloc(n, sizeof(double));
  d.pv = calloc(n, sizeof(double));
  d.temp = calloc(n, sizeof(double));
  d.on = calloc(n, 1);
  d.charge_efficiency = 1.0;
  for (size_t i = 0; i < n; i++) {
    double sum = 0.0;
    for (size_t k = 0; k < (size_t)every; k++)
      sum += p[i * (size_t)every + k] / every;
    d.dc[i] = sum > 0 ? sum : 0;
    d.pv[i] = sum < 0 ? -sum : 0;
    d.temp[i] = 293.15;
  }
  for (size_t m = 0; m < 12; m++)
    d.month_end[m] = n * (m + 1) / 12;
  return d;
}

/* ---- a life ---- */

typedef struct term_sums {
  const amp_ageing *model;
  double term[PACKS * NODES][AMP_AGEING_TERMS];
  bool failed;
} term_sums;

static void add_month (void *arg, size_t i, int m, const amp_sim_month *sum,
                       const amp_cycle *cycle, size_t n) {
  term_sums *t = arg;
  amp_stress s = {0};
  double term[AMP_AGEING_TERMS];
  unsigned outside = 0;
  (void)m;
  s.time = sum->time;
  s.temp = sum->temp_time / sum->time;
  s.soc = sum->soc_time / sum->time;
  s.cycle = cycle;
  s.cycles = n;
  t->failed |= amp_ageing_terms(t->model, &s, term, &outside, NULL) != AMP_OK;
  for (int k = 0; k < AMP_AGEING_TERMS; k++)
    t->term[i][k] += term[k];
}

static double soh_resistance (double soh) {
  return 1 + 2 * (1 - soh);
}

/* A year of n packs at their SoH: what it adds to the sums of ageing. */
static void year (const amp_context *ctx, const amp_chemistry *chem,
                  const amp_duty *d, const double *soh, size_t n,
                  term_sums *t) {
  static amp_pack pack[PACKS * NODES];
  static amp_sim_case c[PACKS * NODES];
  static amp_sim_result r[PACKS * NODES];
  amp_sim_options o = amp_sim_defaults();
  o.warm_up = 0;
  o.want_cycles = true;
  memset(t->term, 0, sizeof t->term);
  for (size_t i = 0; i < n; i++) {
    pack[i] = pack_at(chem, 14, 4, soh[i], soh_resistance(soh[i]));
    c[i] = case_of(&pack[i], 1.0 + 0.01 * (double)(i / NODES));
  }
  if (amp_simulate(ctx, c, n, d, &o, r, add_month, t, NULL) != AMP_OK ||
      t->failed)
    exit(1);
}

/* Each year simulated at its own SoH: what the projection is held against. */
static double final_by_years (const amp_context *ctx,
                              const amp_chemistry *chem, const amp_duty *d,
                              term_sums *t) {
  double sum[AMP_AGEING_TERMS], soh = 0.80;
  for (int y = 0; y < YEARS; y++) {
    year(ctx, chem, d, &soh, 1, t);
    if (y == 0 && amp_ageing_continue(t->model, t->term[0], 1 - soh, sum,
                                      NULL) != AMP_OK)
      exit(1);
    for (int k = 0; k < AMP_AGEING_TERMS; k++)
      sum[k] += t->term[0][k];
    soh = 1 - amp_ageing_loss(t->model, sum);
  }
  return soh;
}

/* The same by one year at 'nodes' states of health. */
static double final_by_nodes (const double term[][AMP_AGEING_TERMS],
                              const double *at, int nodes,
                              const amp_ageing *model) {
  amp_life_node node[NODES] = {0};
  amp_life_ask ask = {
      .model = model, .soh_start = 0.80, .soh_end = 0.05, .horizon = YEARS};
  amp_life life;
  for (int k = 0; k < nodes; k++) {
    node[k].soh = at[k];
    memcpy(node[k].term, term[k], sizeof node[k].term);
  }
  if (amp_project(node, nodes, &ask, &life, NULL) != AMP_OK)
    exit(1);
  return life.soh[life.n];
}

/* What the textbook does: k5 of plain.c, one pack, a year after a year. */
static double life_theirs (const double *power, double *final) {
  static double soc[NYEAR];
  double soh = 0.80, fd = fd_of_loss(1 - soh), t = now();
  state s;
  cfg c;
  for (int y = 0; y < YEARS; y++) {
    double temp = 0, z = 0;
    soh = 1 - loss_of_fd(fd);
    cfg_make(&c, 14, 4, soh, 1 + 2 * (1 - soh), 293.15, DT);
    if (y == 0)
      state_init(&s, &c);
    for (int i = 0; i < NYEAR; i++) {
      step(&s, &c, power[i]);
      soc[i] = s.z;
      temp += s.T;
      z += s.z;
    }
    rf_result r = rainflow(soc, NYEAR);
    fd += r.damage * stress_T(temp / NYEAR) +
          calendar(NYEAR * DT, z / NYEAR, temp / NYEAR);
  }
  *final = 1 - loss_of_fd(fd);
  return now() - t;
}

static void life_row (const amp_context *ctx, const double *power) {
  static term_sums t;
  amp_chemistry chem = chemistry();
  amp_duty d = duty_of(power, 1);
  double soh[PACKS * NODES], ours[3], theirs[3], final, textbook = 0, end = 0;
  const int nodes = 5; /* over a range of 0.4 of SoH; see case_draw.c */
  t.model = amp_ageing_find("lmo_stress");
  for (int i = 0; i < PACKS * nodes; i++)
    soh[i] = 0.4 + 0.4 * (i % nodes) / (nodes - 1);
  for (int k = 0; k < 3; k++) {
    double from = now();
    year(ctx, &chem, &d, soh, (size_t)(PACKS * nodes), &t);
    for (int i = 0; i < PACKS; i++)
      end = final_by_nodes((const double(*)[AMP_AGEING_TERMS]) &
                               t.term[i * nodes],
                           soh, nodes, t.model);
    if (k == 0)
      final = final_by_nodes((const double(*)[AMP_AGEING_TERMS])t.term, soh,
                             nodes, t.model);
    ours[k] = (now() - from) / PACKS;
    theirs[k] = life_theirs(power, &textbook);
  }
  (void)end;
  row("20-year life, one of a sweep of 16", median(ours, 3) * 1e3,
      median(theirs, 3) * 1e3, "ms", "15x 30x 70x");
  double each = final_by_years(ctx, &chem, &d, &t);
  printf("    final SoH %.6f; each year simulated %.6f: error %.1e (wanted "
         "1e-3 1e-4 1e-4); textbook %.4f\n",
         final, each, fabs(final - each), textbook);
}

/* ---- CSV ---- */

static char *slurp (const char *path, size_t *n) {
  FILE *f = fopen(path, "rb");
  char *text;
  if (!f || fseek(f, 0, SEEK_END))
    exit(1);
  *n = (size_t)ftell(f);
  rewind(f);
  text = malloc(*n + 1);
  if (!text || fread(text, 1, *n, f) != *n)
    exit(1);
  text[*n] = 0;
  fclose(f);
  return text;
}

static double csv_ours (const char *path) {
  size_t n;
  char *text = slurp(path, &n);
  double sum = 0.0, v;
  amp_csv *csv;
  bool given;
  if (amp_csv_read(NULL, text, n, NULL, &csv, NULL) != AMP_OK)
    exit(1);
  for (size_t i = 0; i < amp_csv_rows(csv); i++)
    for (size_t k = 0; k < 3; k++) {
      if (amp_csv_number(csv, i, k, &v, &given, NULL) != AMP_OK)
        exit(1);
      sum += v;
    }
  amp_csv_free(NULL, csv);
  free(text);
  return sum;
}

/* Whole file, strtod: (b) of the peers' csv.c. */
static double csv_theirs (const char *path) {
  size_t n;
  char *text = slurp(path, &n), *p = strchr(text, '\n') + 1, *end;
  double sum = 0.0;
  while (*p) {
    sum += strtod(p, &end);
    p = end + (*end == ',' || *end == '\n');
  }
  free(text);
  return sum;
}

static void csv_row (const char *path) {
  double ours[31], theirs[31], a = 0, b = 0;
  for (int k = 0; k < 31; k++) {
    double t = now();
    a = csv_ours(path);
    ours[k] = now() - t;
    t = now();
    b = csv_theirs(path);
    theirs[k] = now() - t;
  }
  row("CSV, 10,000 rows of 3, strtod", median(ours, 31) * 1e3,
      median(theirs, 31) * 1e3, "ms", "- against strtod");
  if (a != b)
    printf("    sums differ: %.17g %.17g\n", a, b);
}

/* ---- offers ---- */

/* The peers' k6 by our draws: 100,000 offers of ten modules, each module's
** health and the price normal, three in a hundred duds, cost per kWh. How
** many are accepted is one draw of the binomial, as in job/case_draw.c: which
** of ten alike modules are duds does not matter to their sum. Each of the
** twelve is a stratified stream of its own. */
enum { OFFERS = 100000, TURN = 500, LOT = 10 };

typedef struct offers {
  const amp_context *ctx;
  amp_value price, health[LOT];
  uint64_t luck;
  double at_most[LOT]; /* chance of at most so many accepted */
  double *x;
} offers;

static void some_offers (const offers *o, size_t from) {
  double kwh[TURN] = {0}, h[TURN], u[TURN];
  amp_uniforms_stratified(o->ctx, 7, o->luck, from, TURN, OFFERS, u);
  for (int m = 0; m < LOT; m++) {
    amp_value_draws(o->ctx, &o->health[m], 7, from, TURN, OFFERS, h);
    for (int i = 0; i < TURN; i++) { /* accepted > m where u is above */
      double has = h[i] > 1.0 ? 1.0 : h[i];
      has = has < 0.4 ? 0.4 : has;
      kwh[i] += u[i] > o->at_most[m] ? 2.4 * has : 0.0;
    }
  }
  amp_value_draws(o->ctx, &o->price, 7, from, TURN, OFFERS, h);
  for (int i = 0; i < TURN; i++)
    o->x[from + (size_t)i] = LOT * h[i] / (kwh[i] > 1e-3 ? kwh[i] : 1e-3);
}

static void set_offers (offers *o) {
  double sum = 0.0;
  o->price = amp_value_normal(120, 15, AMP_BASIS_CLAIMED);
  o->price.stream = amp_stream("price");
  o->luck = amp_stream("accepted");
  for (int m = 0; m < LOT; m++) {
    char name[16];
    snprintf(name, sizeof name, "soh %d", m);
    o->health[m] = amp_value_normal(0.78, 0.06, AMP_BASIS_CLAIMED);
    o->health[m].stream = amp_stream(name);
    sum += amp_binomial_pmf(LOT, m, 0.97);
    o->at_most[m] = sum;
  }
}

static double offers_ours (const amp_context *ctx, double q[3]) {
  static double x[OFFERS];
  static const double p[3] = {0.05, 0.5, 0.95};
  offers o = {.ctx = ctx, .x = x};
  double t = now();
  set_offers(&o);
  for (size_t n = 0; n < OFFERS; n += TURN)
    some_offers(&o, n);
  amp_quantiles(x, OFFERS, p, 3, q);
  return now() - t;
}

static void offers_line (const amp_context *ctx) {
  double ms[9], q[3];
  for (int k = 0; k < 9; k++)
    ms[k] = offers_ours(ctx, q) * 1e3;
  printf("offers %.2f ms, p5 %.3f p50 %.3f p95 %.3f per kWh\n", median(ms, 9),
         q[0], q[1], q[2]);
}

/* ---- limits ---- */

static void energy_out (const amp_context *ctx, const amp_duty *d, double dt,
                        amp_sim_result *r) {
  static amp_pack pack[PACKS];
  amp_chemistry chem = chemistry();
  amp_sim_case c[PACKS];
  amp_sim_options o = amp_sim_defaults();
  o.warm_up = 0;
  o.dt_max = dt;
  for (int i = 0; i < PACKS; i++) {
    pack[i] = pack_at(&chem, 12 + i % 5, 2 + i / 5, 0.7 + 0.015 * i, 1.4);
    c[i] = case_of(&pack[i], 1.0);
  }
  if (amp_simulate(ctx, c, PACKS, d, &o, r, NULL, NULL, NULL) != AMP_OK)
    exit(1);
}

static void limits_row (const amp_context *ctx, const double *power) {
  static amp_sim_result a[PACKS], b[PACKS];
  const struct {
    int every;
    double step, fine;
    const char *wanted;
  } ask[] = {{1, 60, 3, "2e-4 5e-5 1e-5"}, {60, 600, 20, "-"}};
  for (int k = 0; k < 2; k++) {
    amp_duty d = duty_of(power, ask[k].every);
    double most = 0.0;
    energy_out(ctx, &d, ask[k].step, a);
    energy_out(ctx, &d, ask[k].fine, b);
    for (int i = 0; i < PACKS; i++)
      most = fmax(most, fabs(a[i].total.out / b[i].total.out - 1.0));
    printf(
        "energy out of a year with limits, steps of %.0f s against %.0f s: "
        "%.1e  (wanted %s)\n",
        ask[k].step, ask[k].fine, most, ask[k].wanted);
  }
}

int main (int argc, char **argv) {
  amp_context ctx = best_context();
  double *power = profile_load();
  if (argc < 3)
    return 2;
  (void)argv;
  tables_init();
  printf("%-34s %9s %9s %-8s %7s  (%s, one thread)\n", "", "ours", "theirs",
         "", "ratio", isa_name[ctx.isa]);
  rainflow_row(power);
  life_row(&ctx, power);
  csv_row(argv[2]);
  offers_line(&ctx);
  limits_row(&ctx, power);
  return 0;
}
