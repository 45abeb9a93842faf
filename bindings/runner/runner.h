/*
** runner.h -- the program ampstead in two processes. The parent owns the
** terminal and the files; a forked worker holds the Lua state and reaches
** nothing but three descriptors: two pipes for what it prints and a socket
** for what it asks. The parent stops the worker at the limits of time and
** output; the worker's own allocator stops it at the limit of memory.
*/
#ifndef AMPSTEAD_RUNNER_H
#define AMPSTEAD_RUNNER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

/* Exit statuses, after sysexits.h and timeout(1); what each one means is
** part of the contract with scripts that call the runner. */
enum {
  EXIT_OK = 0,
  EXIT_SCRIPT = 1,     /* the script raised an error */
  EXIT_DIFFERS = 2,    /* a rechecked post differs */
  EXIT_USE = 64,       /* wrong options */
  EXIT_DATA = 65,      /* bad input data */
  EXIT_MISSING = 66,   /* an input file is missing */
  EXIT_INTERNAL = 70,  /* a fault of the runner, or a dead worker */
  EXIT_CREATE = 73,    /* an output file cannot be made */
  EXIT_IO = 74,        /* reading or writing failed */
  EXIT_REFUSED = 77,   /* against the rules for scripts */
  EXIT_LIMIT = 124,    /* stopped by a limit */
  EXIT_INTERRUPT = 130 /* Ctrl-C */
};

/* ---- options.c ---- */

enum { RUNNER_STEPS = 64 };

typedef struct runner_step {
  char kind;        /* 'e' run this text, 'l' require this module */
  const char *text; /* points into argv */
} runner_step;

typedef struct runner_options {
  const char *out;  /* --out, NULL: out/ here */
  const char *data; /* --data, NULL: the script's folder */
  const char *recheck; /* --recheck, NULL: none */
  double time;      /* s, 0.1 .. 86400 */
  double memory;    /* MB, 8 .. 1e6 */
  double seed;      /* whole number, 0 .. 2^53 */
  int jobs;         /* threads lent to the core, 1 .. 64 */
  bool has_seed, overwrite, interactive, show_version, help, warnings;
  bool trust; /* --trust: no cage, all of Lua's own libraries */
  runner_step step[RUNNER_STEPS]; /* -e and -l in the order given */
  size_t steps;
  int script; /* argv index of the script, or argc where there is none */
} runner_options;

/* Read argv into 'o'. EXIT_OK, or EXIT_USE after a line on stderr. */
int options_read (runner_options *o, int argc, char **argv);
void options_help (void);
/* 'detail': also what stands around a script on this machine */
void options_version (const runner_options *o, bool detail);

/* ---- files.c: what a script may reach, decided in the parent ---- */

typedef struct runner_buffer {
  char *data; /* from malloc; the holder frees */
  size_t n, room;
} runner_buffer;

/* Append; false where there is no memory. */
bool buffer_add (runner_buffer *b, const void *data, size_t n);

/* EXIT_OK, or EXIT_REFUSED and the rule that the path breaks in 'why'. */
int file_path_check (const char *path, char *why, size_t why_size);

/*
** Read a regular file below the folder 'dir': relative paths only, no "..",
** no name that begins with a dot, no symbolic link on the way. EXIT_OK and
** the bytes in 'text', or a status and a sentence in 'why'.
*/
int file_read_below (int dir, const char *path, runner_buffer *text,
                     char *why, size_t why_size);

/*
** Write a file below 'dir' by a temporary neighbour that is then renamed, so
** that a reader sees the old file or the whole new one. 'replace' false: a
** file that exists stays (EXIT_CREATE).
*/
int file_write_below (int dir, const char *path, const char *data, size_t n,
                      bool replace, char *why, size_t why_size);

/* The whole of an open descriptor. EXIT_OK, EXIT_DATA (too long), EXIT_IO */
int file_read_all (int fd, runner_buffer *text);

/* ---- record.c: whose results stand in out/ ---- */

/* May 'script' write 'path' (checked) in the folder: it is not there yet, or
** the script made it before. */
bool record_allows (int dir, const char *path, const char *script);
/* Remember that it did; false where that failed. */
bool record_add (int dir, const char *path, const char *script);

/* ---- visible.c: output that cannot command a terminal ---- */

typedef struct runner_visible {
  unsigned char held[4]; /* start of a UTF-8 sequence not yet complete */
  size_t n;
} runner_visible;

/* Append the n bytes to 'to' with control bytes, broken UTF-8 and direction
** marks shown as \xNN. What is cut in the middle waits for the next call. */
bool visible_add (runner_visible *v, const char *data, size_t n,
                  runner_buffer *to);
/* At the end: what still waits, shown as \xNN. */
bool visible_end (runner_visible *v, runner_buffer *to);

/* ---- link.c: length-prefixed messages between worker and parent ---- */

/*
** A request is kind, length and that many bytes; the answer is a status (one
** of the above), length and bytes. The parent answers every request but
** ASK_PROGRESS, one at a time, in order.
*/
enum {
  ASK_READ = 'R',    /* path of a data file -> its text */
  ASK_MODULE = 'M',  /* path of a Lua file beside the script -> its text */
  ASK_WRITE = 'W',   /* path, NUL, text -> nothing */
  ASK_LINE = 'L',    /* prompt -> a line without its end, EXIT_MISSING: end */
  ASK_POST = 'T',    /* last line, NUL, table, under --recheck -> nothing */
  ASK_PROGRESS = 'P' /* a short text; no answer */
};
enum { LINK_HEAD = 5, LINK_LONGEST = 64 << 20 };

void link_head (unsigned char head[LINK_HEAD], int kind, size_t n);
size_t link_length (const unsigned char head[LINK_HEAD]);
/* Blocking, whole; false at the end of the other side. */
bool link_send (int fd, const void *data, size_t n);
bool link_receive (int fd, void *data, size_t n);

/* ---- parent.c, worker.c, scope.c ---- */

typedef struct runner_task {
  const runner_options *o;
  int argc;
  char **argv;
  const char *name;   /* the script as typed, "stdin", or NULL */
  runner_buffer text; /* its text */
  bool has_text;
  bool prompt; /* read lines and run them, after the script */
  const char *folder;      /* of its files, NULL: the one in 'name' */
  struct recheck *recheck; /* recheck.h; NULL: an ordinary run */
} runner_task;

/* Run the task to its end and return the exit status. */
int parent_run (runner_task *task);

/* In the forked worker: descriptors 1, 2 for output, 'link' for requests,
** 'parent' the process that must live on. Never returns. */
_Noreturn void worker_run (const runner_task *task, int link, pid_t parent);

#endif
