/*
** options.c -- the command line: short options as the stock lua interpreter
** has them, long ones our own.
*/
#include "runner/cage.h"
#include <lua.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int wrong (const char *option, const char *why) {
  fprintf(stderr, "ampstead: %s: %s (try --help)\n", option, why);
  return EXIT_USE;
}

/* A number without a tail, lo <= v <= hi; NaN fails. */
static bool number (const char *text, double lo, double hi, double *v) {
  char *end;
  double x = strtod(text, &end);
  if (end == text || *end != '\0' || !(x >= lo && x <= hi))
    return false;
  *v = x;
  return true;
}

static int read_number (const char *option, const char *text, double lo,
                        double hi, bool whole, double *v) {
  char why[96];
  double x;
  if (number(text, lo, hi, &x) && !(whole && x != (double)(int64_t)x)) {
    *v = x;
    return EXIT_OK;
  }
  snprintf(why, sizeof why, "wants %s %.16g .. %.16g",
           whole ? "a whole number" : "a number", lo, hi);
  return wrong(option, why);
}

/* Long options that take a value; the value is argument 'text'. */
static int long_value (runner_options *o, const char *name,
                       const char *text) {
  double jobs = 1;
  int st;
  if (strcmp(name, "--out") == 0)
    return o->out = text, EXIT_OK;
  if (strcmp(name, "--data") == 0)
    return o->data = text, EXIT_OK;
  if (strcmp(name, "--recheck") == 0)
    return o->recheck = text, EXIT_OK;
  if (strcmp(name, "--time") == 0)
    return read_number(name, text, 0.1, 86400, false, &o->time);
  if (strcmp(name, "--memory") == 0)
    return read_number(name, text, 8, 1e6, false, &o->memory);
  if (strcmp(name, "--seed") == 0) {
    o->has_seed = true; /* 2^53: doubles are exact to here */
    return read_number(name, text, 0, 9007199254740992.0, true, &o->seed);
  }
  st = read_number(name, text, 1, 256, true, &jobs);
  o->jobs = (int)jobs;
  return st;
}

static bool among (const char *const *names, const char *name) {
  while (*names != NULL && strcmp(*names, name) != 0)
    names++;
  return *names != NULL;
}

/* Options with a value of their own. */
static const char *const valued[] = {"--out",     "--data", "--time",
                                     "--memory",  "--seed", "--jobs",
                                     "--recheck", NULL};

static int long_option (runner_options *o, int argc, char **argv, int *k) {
  static const char *const later[] = {"--shard", "--merge", "--store", NULL};
  char name[32];
  const char *arg = argv[*k], *eq = strchr(arg, '=');
  size_t n = eq != NULL ? (size_t)(eq - arg) : strlen(arg);
  snprintf(name, sizeof name, "%.*s", (int)(n < 31 ? n : 31), arg);
  if (among(valued, name)) {
    if (eq == NULL && *k + 1 >= argc)
      return wrong(name, "wants a value");
    return long_value(o, name, eq != NULL ? eq + 1 : argv[++*k]);
  }
  if (among(later, name))
    return wrong(name, "not in this version");
  if (strcmp(arg, "--help") == 0)
    return o->help = true, EXIT_OK;
  if (strcmp(arg, "--version") == 0)
    return o->show_version = true, EXIT_OK;
  if (strcmp(arg, "--trust") == 0)
    return o->trust = true, EXIT_OK;
  if (strcmp(arg, "--overwrite") == 0)
    return o->overwrite = true, EXIT_OK;
  return wrong(arg, "unknown option");
}

static int add_step (runner_options *o, char kind, int argc, char **argv,
                     int *k) {
  const char *text = argv[*k] + 2;
  char name[3] = {'-', kind, '\0'};
  if (*text == '\0') {
    if (*k + 1 >= argc)
      return wrong(name, "wants a value");
    text = argv[++*k];
  }
  if (o->steps == RUNNER_STEPS)
    return wrong(name, "given too often");
  o->step[o->steps].kind = kind;
  o->step[o->steps++].text = text;
  return EXIT_OK;
}

static int short_option (runner_options *o, int argc, char **argv, int *k) {
  const char *arg = argv[*k];
  if (arg[1] == 'e' || arg[1] == 'l')
    return add_step(o, arg[1], argc, argv, k);
  if (arg[2] != '\0')
    return wrong(arg, "unknown option");
  switch (arg[1]) {
  case 'i':
    o->interactive = true;
    return EXIT_OK;
  case 'v':
    o->show_version = true;
    return EXIT_OK;
  case 'W':
    o->warnings = true;
    return EXIT_OK;
  default:
    return wrong(arg, "unknown option");
  }
}

/* Asked once, here: the worker may not look at the machine any more. */
static int threads (int asked) {
  enum { MOST = 64 }; /* what the module's pool takes */
  long n = asked > 0 ? asked : sysconf(_SC_NPROCESSORS_ONLN);
  return n < 1 ? 1 : n > MOST ? MOST : (int)n;
}

/* What stands behind the script goes to it, as with lua; who typed an option
** of ours there did not mean that. */
static void tell_behind (int script, int argc, char **argv) {
  static const char *const plain[] = {"--trust", "--overwrite", NULL};
  for (int k = script + 1; k < argc; k++) {
    char name[32];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(argv[k], "="), argv[k]);
    if (among(valued, name) || among(plain, name))
      fprintf(stderr,
              "ampstead: %s stands behind the script and goes to it: options "
              "of\nampstead stand before it\n",
              name);
  }
}

int options_read (runner_options *o, int argc, char **argv) {
  int k, st = EXIT_OK;
  memset(o, 0, sizeof *o);
  o->time = 60;
  o->memory = 512;
  o->seed = 1;
  for (k = 1; st == EXIT_OK && k < argc; k++) {
    const char *arg = argv[k];
    if (arg[0] != '-' || strcmp(arg, "-") == 0)
      break;
    if (strcmp(arg, "--") == 0) {
      k++;
      break;
    }
    st = arg[1] == '-' ? long_option(o, argc, argv, &k)
                       : short_option(o, argc, argv, &k);
  }
  o->script = k < argc ? k : argc;
  o->jobs = threads(o->jobs);
  tell_behind(o->script, argc, argv);
  if (st == EXIT_OK && o->recheck != NULL &&
      (k < argc || o->steps > 0 || o->interactive))
    return wrong("--recheck", "takes a post, and no script besides");
  if (st == EXIT_OK && o->recheck != NULL && o->trust)
    return wrong("--recheck", "trusts no post: leave --trust out");
  return st;
}

void options_help (void) {
  fputs("ampstead [options] [script [args | key=value ...]]\n"
        "  -e TEXT       run TEXT            -l NAME  require NAME\n"
        "  -i            prompt after the script      -W  show warnings\n"
        "  -v, --version say what this is    -  read the script from"
        " stdin\n"
        "  --            end of options\n"
        "  --out DIR     results go here (default: out, made when needed)\n"
        "  --data DIR    files to read (default: the script's folder)\n"
        "  --time S      stop after S seconds (60)\n"
        "  --memory MB   most memory for the script (512)\n"
        "  --seed N      wins over the script's seed (1)\n"
        "  --jobs N      threads (default: one per processor)\n"
        "  --recheck POST  run a saved post's script again and compare its"
        " table\n"
        "  --overwrite   replace files that exist in --out\n"
        "  --trust       run the script as you, without a cage: all files,\n"
        "                programs, network (only for what you wrote)\n"
        "key=value answers amp.params{ key = ... } in the script.\n"
        "Exit status: 0 ok, 1 script error, 2 a rechecked post differs,\n"
        "64 usage, 65 bad data or a post that cannot be repeated,\n"
        "66 input missing, 70 internal, 73 cannot create, 74 I/O,\n"
        "77 refused, 124 stopped by a limit, 130 interrupted.\n",
        stdout);
}

void options_version (const runner_options *o, bool detail) {
  printf("ampstead %s\n", AMPSTEAD_VERSION);
  if (!detail)
    return;
  printf("%s\n", LUA_RELEASE);
  puts(
      "A script runs in a process of its own: no io, no programs, no native\n"
      "code; files only through its parent, which also ends it at the "
      "limits\n"
      "of time, memory and output.");
  cage_describe(o);
}
