/*
** main.c -- the program ampstead: options, the script's text, then the two
** processes of runner.h.
*/
#include "runner/recheck.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int load_script (runner_task *t, const char *path) {
  bool from_stdin = strcmp(path, "-") == 0;
  int fd = from_stdin ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
  int st = fd < 0 ? EXIT_MISSING : file_read_all(fd, &t->text);
  if (fd > STDIN_FILENO)
    close(fd);
  t->name = from_stdin ? "stdin" : path;
  t->has_text = st == EXIT_OK;
  if (st == EXIT_DATA)
    fprintf(stderr, "ampstead: %s: longer than 64 MB\n", t->name);
  else if (st != EXIT_OK)
    fprintf(stderr, "ampstead: cannot read %s: %s\n", t->name,
            strerror(errno));
  return st;
}

/* --trust is a person's word: a script's first line, which the system turns
** into options, cannot give it. */
static int trust_was_typed (const runner_task *t) {
  static const char word[] = "--trust";
  const runner_buffer *b = &t->text;
  size_t n = 0;
  while (n < b->n && b->data[n] != '\n')
    n++;
  if (!t->o->trust || n < 2 || memcmp(b->data, "#!", 2) != 0 ||
      memmem(b->data, n, word, sizeof word - 1) == NULL)
    return EXIT_OK;
  fputs("ampstead: --trust stands in the script's own first line; it has to "
        "be\ntyped: ampstead --trust SCRIPT\n",
        stderr);
  return EXIT_REFUSED;
}

/* As lua does: no script and nothing else to do means stdin, a prompt where
** that is a terminal. */
static int prepare (runner_task *t) {
  const runner_options *o = t->o;
  t->prompt = o->interactive;
  if (o->script < t->argc)
    return load_script(t, t->argv[o->script]);
  if (o->steps > 0 || o->interactive || o->show_version)
    return EXIT_OK;
  if (isatty(STDIN_FILENO)) {
    t->prompt = true;
    return EXIT_OK;
  }
  return load_script(t, "-");
}

static int run (const runner_options *o, int argc, char **argv) {
  runner_task task;
  int st;
  memset(&task, 0, sizeof task);
  task.o = o;
  task.argc = argc;
  task.argv = argv;
  st = prepare(&task);
  if (st == EXIT_OK)
    st = trust_was_typed(&task);
  if (st == EXIT_OK && (task.has_text || o->steps > 0 || task.prompt))
    st = parent_run(&task);
  free(task.text.data);
  return st;
}

/* --version -v and -v -v say more */
static bool wants_detail (int argc, char **argv) {
  int n = 0;
  for (int k = 1; k < argc; k++)
    n += strcmp(argv[k], "-v") == 0 || strcmp(argv[k], "--version") == 0;
  return n > 1;
}

/* Whoever started this with one of them closed gets /dev/null there: a pipe
** to the worker must not take its number. */
static void open_standard (void) {
  int fd;
  do
    fd = open("/dev/null", O_RDWR);
  while (fd >= 0 && fd <= STDERR_FILENO);
  if (fd >= 0)
    close(fd);
}

int main (int argc, char **argv) {
  runner_options o;
  int st;
  open_standard();
  st = options_read(&o, argc, argv);
  if (st != EXIT_OK)
    return st;
  if (o.help) {
    options_help();
    return EXIT_OK;
  }
  if (o.recheck != NULL)
    return recheck_run(&o);
  if (o.show_version)
    options_version(&o, wants_detail(o.script, argv));
  return run(&o, argc, argv);
}
