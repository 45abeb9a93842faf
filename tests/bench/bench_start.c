/*
** bench_start.c -- what the runner's two processes and its cage cost at each
** start: the same empty job by a stock interpreter that loads the module, by
** the runner without its cage, and by the runner, many starts in turn.
**   bench_start STOCK-LUA RUNNER [STARTS]
** Judge by the middle of the differences within a round: what else runs on
** the machine then hits both alike; and where much else runs, by processor
** time, which counts both processes.
*/
#define _GNU_SOURCE /* wait4 */
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <fcntl.h>
#include <unistd.h>

extern char **environ;

enum { STARTS_MOST = 2000, WAYS = 3 };

static double now (void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

typedef struct cost {
  double wall, cpu; /* ms */
} cost;

static double seconds (struct timeval t) {
  return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

/* One start, from before the fork to after the end; exits on failure. */
static cost start (char *const *argv, const posix_spawn_file_actions_t *a) {
  double t = now();
  struct rusage u;
  pid_t pid;
  int st;
  if (posix_spawnp(&pid, argv[0], a, NULL, argv, environ) != 0 ||
      wait4(pid, &st, 0, &u) != pid || st != 0) {
    fprintf(stderr, "bench_start: %s does not run\n", argv[0]);
    exit(1);
  }
  return (cost){1e3 * (now() - t),
                1e3 * (seconds(u.ru_utime) + seconds(u.ru_stime))};
}

static int by_size (const void *a, const void *b) {
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static double middle (double *v, size_t n) {
  qsort(v, n, sizeof *v, by_size);
  return v[n / 2];
}

/* Of a - b where b is given, else of a. */
static cost middle_of (const cost *a, const cost *b, size_t n) {
  static double wall[STARTS_MOST], cpu[STARTS_MOST];
  for (size_t k = 0; k < n; k++) {
    wall[k] = a[k].wall - (b != NULL ? b[k].wall : 0.0);
    cpu[k] = a[k].cpu - (b != NULL ? b[k].cpu : 0.0);
  }
  return (cost){middle(wall, n), middle(cpu, n)};
}

static void show (const char *what, cost c, const char *wanted) {
  printf("%-40s %6.2f ms  processor %6.2f ms%s\n", what, c.wall, c.cpu,
         wanted);
}

int main (int argc, char **argv) {
  static cost ms[WAYS][STARTS_MOST];
  static char job[] = "require 'ampstead'";
  char *stock[] = {argv[1], "-e", job, NULL};
  char *open_cage[] = {argv[2], "--trust", "-e", job, NULL};
  char *caged[] = {argv[2], "-e", job, NULL};
  char *const *ways[WAYS] = {stock, open_cage, caged};
  posix_spawn_file_actions_t quiet;
  size_t n = argc > 3 ? (size_t)atoi(argv[3]) : 300;
  if (argc < 3 || n < 1 || n > STARTS_MOST)
    return 64;
  posix_spawn_file_actions_init(&quiet);
  posix_spawn_file_actions_addopen(&quiet, 2, "/dev/null", O_WRONLY, 0);
  for (size_t k = 0; k < n; k++)
    for (int w = 0; w < WAYS; w++)
      ms[w][k] = start(ways[w], &quiet);
  show("stock lua that loads the module", middle_of(ms[0], NULL, n), "");
  show("the runner without its cage", middle_of(ms[1], NULL, n), "");
  show("the runner", middle_of(ms[2], NULL, n), "");
  show("of it the cage", middle_of(ms[2], ms[1], n), "");
  show("all protection, over stock lua", middle_of(ms[2], ms[0], n),
       "  (wanted 1)");
  return 0;
}
