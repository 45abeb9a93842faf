/*
** parent.c -- the process that owns the terminal and the files. It never
** runs a line of the script; it reads what the worker prints, answers what
** the worker asks, and ends it at a limit.
*/
#include "runner/recheck.h"
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum {
  OUTPUT_LONGEST = 16 << 20, /* bytes on both streams and in files */
  WRITTEN_MOST = 256         /* files one run may make */
};
static const double GRACE = 0.25; /* s between the request to stop and the
                                     kill: time to name the script's line */

typedef struct stream {
  int from, to;
  runner_visible visible;
} stream;

typedef struct parent {
  const runner_task *task;
  pid_t worker;
  stream stream[2];                  /* the worker's stdout and stderr */
  int link;                          /* -1: closed */
  runner_buffer asked, answer;       /* bytes of the socket, in and out */
  size_t answered;                   /* bytes of 'answer' already sent */
  int data_dir, script_dir, out_dir; /* -1: not open */
  char *written[WRITTEN_MOST];       /* this run's own files */
  size_t written_n;
  size_t shown; /* bytes of output so far */
  double start, deadline;
  bool warned;   /* the worker was asked to stop at the deadline */
  int status;    /* exit status decided here, -1: the worker's own */
  bool progress; /* a progress line stands on the terminal */
} parent;

static volatile sig_atomic_t interrupted;

static void on_interrupt (int sig) {
  (void)sig;
  interrupted = 1;
}

static double now (void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* ---- ending the worker ---- */

static void end_worker (parent *p, int status) {
  if (p->status < 0)
    p->status = status;
  kill(-p->worker, SIGKILL);
  kill(p->worker, SIGKILL);
}

/* A script's name is a stranger's text too. */
static void print_name (const char *name) {
  runner_visible v = {{0}, 0};
  runner_buffer b = {NULL, 0, 0};
  if (name != NULL && visible_add(&v, name, strlen(name), &b) &&
      visible_end(&v, &b))
    fprintf(stderr, "%.*s: ", (int)b.n, b.data);
  free(b.data);
}

static void say (parent *p, const char *text) {
  fflush(stdout);
  if (p->progress)
    fputs("\r\033[K", stderr);
  p->progress = false;
  if (p->task->recheck != NULL) {
    recheck_output(p->task->recheck, STDERR_FILENO, text, strlen(text));
    return;
  }
  fputs("ampstead: ", stderr);
  print_name(p->task->name);
  fprintf(stderr, "%s\n", text);
}

static void stop_for (parent *p, int status, const char *text) {
  if (p->status >= 0)
    return;
  end_worker(p, status);
  say(p, text);
}

/* ---- output ---- */

static bool put (int fd, const char *data, size_t n) {
  while (n > 0) {
    ssize_t got = write(fd, data, n);
    if (got < 0 && errno == EINTR && !interrupted)
      continue;
    if (got <= 0)
      return false;
    data += got;
    n -= (size_t)got;
  }
  return true;
}

/* Our own output cannot be written: silent where its reader went away. */
static void lost_output (parent *p) {
  char text[80];
  snprintf(text, sizeof text, "output cannot be written: %s",
           strerror(errno));
  if (interrupted)
    end_worker(p, EXIT_INTERRUPT);
  else if (errno == EPIPE)
    end_worker(p, EXIT_IO);
  else
    stop_for(p, EXIT_IO, text);
}

/* Show what is in 'b'; a slow reader of ours costs the script no time. */
static void show (parent *p, int fd, const runner_buffer *b) {
  size_t room = OUTPUT_LONGEST - p->shown;
  double before = now();
  if (p->task->recheck != NULL) {
    if (!recheck_output(p->task->recheck, fd, b->data, b->n))
      end_worker(p, EXIT_INTERNAL);
  } else if (p->progress && b->n > 0) {
    fputs("\r\033[K", stderr);
    p->progress = false;
  }
  if (p->task->recheck == NULL &&
      !put(fd, b->data, b->n < room ? b->n : room) && p->status < 0)
    lost_output(p);
  p->deadline += now() - before;
  p->shown += b->n < room ? b->n : room;
  if (b->n > room)
    stop_for(p, EXIT_LIMIT, "stopped: output limit of 16 MB");
}

/* Read once; false when there is nothing now. Closes at the end. */
static bool drain_once (parent *p, stream *s) {
  char block[65536];
  runner_buffer b = {NULL, 0, 0};
  ssize_t got = s->from < 0 ? -1 : read(s->from, block, sizeof block);
  if (s->from < 0 || (got < 0 && (errno == EAGAIN || errno == EINTR)))
    return false;
  if (got <= 0) {
    visible_end(&s->visible, &b);
    close(s->from);
    s->from = -1;
  } else if (!visible_add(&s->visible, block, (size_t)got, &b))
    end_worker(p, EXIT_INTERNAL);
  if (p->status < 0)
    show(p, s->to, &b);
  free(b.data);
  return got > 0;
}

static void drain (parent *p) {
  for (int k = 0; k < 2; k++)
    while (p->status < 0 && drain_once(p, &p->stream[k]))
      ;
}

/* ---- requests ---- */

static void reply (parent *p, int status, const char *text, size_t n) {
  unsigned char head[LINK_HEAD];
  link_head(head, status, n);
  if (!buffer_add(&p->answer, head, sizeof head) ||
      !buffer_add(&p->answer, text, n))
    end_worker(p, EXIT_INTERNAL);
}

static void answer_read (parent *p, int dir, const char *path) {
  runner_buffer text = {NULL, 0, 0};
  char why[512];
  int st;
  if (p->task->recheck != NULL)
    st = recheck_read(p->task->recheck, dir, path, &text, why, sizeof why);
  else if (dir < 0)
    st = EXIT_MISSING,
    snprintf(why, sizeof why, "cannot read '%.200s': no such folder", path);
  else
    st = file_read_below(dir, path, &text, why, sizeof why);
  if (st == EXIT_OK)
    reply(p, st, text.data != NULL ? text.data : "", text.n);
  else
    reply(p, st, why, strlen(why));
  free(text.data);
}

/* The output folder, made when first needed. out/ itself may be no link:
** it was not named by the person who started this. */
static int open_out (parent *p) {
  const char *dir = p->task->o->out != NULL ? p->task->o->out : "out";
  int flags = O_RDONLY | O_DIRECTORY | O_CLOEXEC;
  if (p->out_dir >= 0)
    return p->out_dir;
  if (mkdir(dir, 0777) != 0 && errno != EEXIST)
    return -1;
  p->out_dir =
      open(dir, p->task->o->out != NULL ? flags : flags | O_NOFOLLOW);
  return p->out_dir;
}

static bool own (const parent *p, const char *path) {
  for (size_t k = 0; k < p->written_n; k++)
    if (strcmp(p->written[k], path) == 0)
      return true;
  return false;
}

static const char *script_name (const parent *p) {
  const char *name = p->task->name, *slash;
  if (name == NULL)
    return "(command line)";
  slash = strrchr(name, '/');
  return slash != NULL ? slash + 1 : name;
}

/* In out/ a script replaces what it made itself; in a folder that --out
** names what exists stays; --overwrite lifts both. */
static bool may_replace (const parent *p, const char *path) {
  if (p->task->o->overwrite)
    return true;
  return p->task->o->out == NULL &&
         record_allows(p->out_dir, path, script_name(p));
}

static void remember (parent *p, const char *path) {
  if ((p->written[p->written_n] = strdup(path)) != NULL)
    p->written_n++;
  if (p->task->o->out == NULL &&
      !record_add(p->out_dir, path, script_name(p)))
    say(p, "out/.results cannot be written: a later run will not replace "
           "this result");
}

static int write_result (parent *p, const char *path, const char *text,
                         size_t n, char *why, size_t why_size) {
  bool mine = own(p, path);
  int st;
  if (!mine && p->written_n == WRITTEN_MOST) {
    snprintf(why, why_size, "more than %d files", WRITTEN_MOST);
    return EXIT_REFUSED;
  }
  st = file_path_check(path, why, why_size);
  if (st != EXIT_OK)
    return st; /* no folder is made for what is refused anyway */
  if (open_out(p) < 0) {
    snprintf(why, why_size, "cannot make the output folder: %s",
             strerror(errno));
    return EXIT_CREATE;
  }
  st = file_write_below(p->out_dir, path, text, n,
                        mine || may_replace(p, path), why, why_size);
  if (st == EXIT_OK && !mine)
    remember(p, path);
  return st;
}

/* 'asked' is path, NUL, text. */
static void answer_write (parent *p, const char *asked, size_t n) {
  const char *nul = memchr(asked, '\0', n);
  char why[512] = "";
  size_t rest;
  int st;
  if (nul == NULL) {
    end_worker(p, EXIT_INTERNAL);
    return;
  }
  rest = n - (size_t)(nul - asked) - 1;
  if (rest > OUTPUT_LONGEST - p->shown) {
    stop_for(p, EXIT_LIMIT, "stopped: output limit of 16 MB");
    return;
  }
  st = p->task->recheck != NULL
           ? EXIT_OK /* as if it had been written */
           : write_result(p, asked, nul + 1, rest, why, sizeof why);
  if (st == EXIT_OK)
    p->shown += rest;
  reply(p, st, why, strlen(why));
}

/* 'asked' is the last line, NUL, the table of a post; it counts as output. */
static void answer_post (parent *p, const char *asked, size_t n) {
  const char *nul = memchr(asked, '\0', n);
  size_t line = nul != NULL ? (size_t)(nul - asked) + 1 : n;
  if (nul == NULL || p->task->recheck == NULL ||
      !recheck_posted(p->task->recheck, asked, asked + line, n - line))
    end_worker(p, EXIT_INTERNAL);
  else if (n > OUTPUT_LONGEST - p->shown)
    stop_for(p, EXIT_LIMIT, "stopped: output limit of 16 MB");
  else
    reply(p, EXIT_OK, "", 0);
  p->shown += n < OUTPUT_LONGEST - p->shown ? n : OUTPUT_LONGEST - p->shown;
}

static void show_prompt (const char *prompt) {
  runner_visible v = {{0}, 0};
  runner_buffer b = {NULL, 0, 0};
  if (isatty(STDIN_FILENO) && visible_add(&v, prompt, strlen(prompt), &b))
    put(STDOUT_FILENO, b.data, b.n);
  free(b.data);
}

/* Prompt and read a line; the person's time is not the script's. */
static void answer_line (parent *p, const char *prompt) {
  char *line = NULL;
  size_t room = 0;
  ssize_t n;
  if (!p->task->prompt) { /* no function of a script asks this */
    end_worker(p, EXIT_INTERNAL);
    return;
  }
  show_prompt(prompt);
  n = getline(&line, &room, stdin);
  if (n > 0 && line[n - 1] == '\n')
    n--;
  p->deadline = now() + p->task->o->time;
  if (n < 0)
    reply(p, EXIT_MISSING, "", 0);
  else
    reply(p, EXIT_OK, line, (size_t)n);
  free(line);
}

/* Only on a terminal, and only when the work takes over a second. */
static void show_progress (parent *p, const char *text, size_t n) {
  runner_visible v = {{0}, 0};
  runner_buffer b = {NULL, 0, 0};
  if (!isatty(STDERR_FILENO) || now() - p->start < 1.0)
    return;
  if (visible_add(&v, text, n < 70 ? n : 70, &b))
    fprintf(stderr, "\r\033[K%.*s", (int)b.n, b.data);
  p->progress = true;
  free(b.data);
}

static void answer (parent *p, int kind, const char *text, size_t n) {
  drain(p); /* what was printed before the request stands before it */
  switch (kind) {
  case ASK_READ:
    answer_read(p, p->data_dir, text);
    break;
  case ASK_MODULE:
    answer_read(p, p->script_dir, text);
    break;
  case ASK_WRITE:
    answer_write(p, text, n);
    break;
  case ASK_POST:
    answer_post(p, text, n);
    break;
  case ASK_LINE:
    answer_line(p, text);
    break;
  case ASK_PROGRESS:
    show_progress(p, text, n);
    break;
  default:
    end_worker(p, EXIT_INTERNAL);
  }
}

/* Answer the first whole request in 'asked'; false: there is none. */
static bool answer_next (parent *p) {
  unsigned char head[LINK_HEAD];
  size_t n;
  if (p->asked.n < LINK_HEAD || p->status >= 0)
    return false;
  memcpy(head, p->asked.data, LINK_HEAD);
  n = link_length(head);
  if (n > LINK_LONGEST) {
    end_worker(p, EXIT_INTERNAL);
    return false;
  }
  if (p->asked.n < LINK_HEAD + n || !buffer_add(&p->asked, "", 1))
    return false;
  /* the NUL just added ends the text where this request is the last one;
  ** a worker asks one thing at a time, more is a fault of its own */
  if (p->asked.n != LINK_HEAD + n + 1 && head[0] != ASK_PROGRESS) {
    end_worker(p, EXIT_INTERNAL);
    return false;
  }
  p->asked.n--;
  answer(p, head[0], p->asked.data + LINK_HEAD, n);
  p->asked.n -= LINK_HEAD + n;
  memmove(p->asked.data, p->asked.data + LINK_HEAD + n, p->asked.n);
  return true;
}

static void close_link (parent *p) {
  close(p->link);
  p->link = -1;
}

static void link_in (parent *p) {
  char block[65536];
  ssize_t got = recv(p->link, block, sizeof block, MSG_DONTWAIT);
  if (got < 0 && (errno == EAGAIN || errno == EINTR))
    return;
  if (got <= 0)
    close_link(p);
  else if (!buffer_add(&p->asked, block, (size_t)got))
    end_worker(p, EXIT_INTERNAL);
  while (answer_next(p))
    ;
}

static void link_out (parent *p) {
  ssize_t got = send(p->link, p->answer.data + p->answered,
                     p->answer.n - p->answered, MSG_DONTWAIT | MSG_NOSIGNAL);
  if (got < 0 && (errno == EAGAIN || errno == EINTR))
    return;
  if (got < 0) {
    close_link(p);
    return;
  }
  p->answered += (size_t)got;
  if (p->answered == p->answer.n)
    p->answered = p->answer.n = 0;
}

/* ---- the loop ---- */

static void check_time (parent *p) {
  char text[64];
  double t = now();
  if (interrupted && p->status < 0) {
    end_worker(p, EXIT_INTERRUPT);
    return;
  }
  if (p->status >= 0 || t < p->deadline)
    return;
  if (!p->warned) {
    p->warned = true;
    kill(p->worker, SIGUSR1);
    return;
  }
  if (t < p->deadline + GRACE)
    return;
  snprintf(text, sizeof text, "stopped: time limit of %g s",
           p->task->o->time);
  stop_for(p, EXIT_LIMIT, text);
}

/* ms until something has to be looked at again */
static int patience (const parent *p) {
  double t = p->deadline + (p->warned ? GRACE : 0.0) - now();
  if (!(t > 0.0))
    return 1;
  return t > 1.0 ? 1000 : (int)ceil(t * 1e3);
}

static bool all_closed (const parent *p) {
  return p->stream[0].from < 0 && p->stream[1].from < 0 && p->link < 0;
}

static void serve (parent *p) {
  while (p->status < 0 && !all_closed(p)) {
    short more = p->answer.n > p->answered ? POLLOUT : 0;
    struct pollfd fd[3] = {{p->stream[0].from, POLLIN, 0},
                           {p->stream[1].from, POLLIN, 0},
                           {p->link, (short)(POLLIN | more), 0}};
    if (poll(fd, 3, patience(p)) > 0) {
      for (int k = 0; k < 2; k++)
        if (fd[k].revents != 0)
          drain_once(p, &p->stream[k]);
      if (p->link >= 0 && fd[2].revents & POLLOUT)
        link_out(p);
      if (p->link >= 0 && fd[2].revents & (POLLIN | POLLHUP | POLLERR))
        link_in(p);
    }
    check_time(p);
  }
}

/* A worker that closed everything still has to end by itself or by us. */
static int wait_worker (parent *p) {
  struct timespec nap = {0, 50000}; /* ns: it is mostly gone by then */
  int st;
  pid_t got;
  while ((got = waitpid(p->worker, &st, WNOHANG)) == 0) {
    if (p->status >= 0)
      end_worker(p, p->status);
    else
      check_time(p);
    nanosleep(&nap, NULL);
    if (nap.tv_nsec < 2000000)
      nap.tv_nsec *= 2;
  }
  kill(-p->worker, SIGKILL);
  return got == p->worker ? st : -1;
}

static bool known_status (int st) {
  static const int known[] = {
      EXIT_OK,       EXIT_SCRIPT, EXIT_USE, EXIT_DATA,    EXIT_MISSING,
      EXIT_INTERNAL, EXIT_CREATE, EXIT_IO,  EXIT_REFUSED, EXIT_LIMIT};
  for (size_t k = 0; k < sizeof known / sizeof *known; k++)
    if (st == known[k])
      return true;
  return false;
}

static int final_status (parent *p, int st) {
  char text[64];
  if (p->status >= 0)
    return p->status;
  if (st != -1 && WIFEXITED(st) &&
      (known_status(WEXITSTATUS(st)) || p->task->o->trust))
    return WEXITSTATUS(st); /* os.exit is there under --trust */
  if (st != -1 && WIFSIGNALED(st) && WTERMSIG(st) == SIGSYS) {
    say(p, "ended: its process asked the system for what it may not have");
    return EXIT_INTERNAL;
  }
  if (st != -1 && WIFSIGNALED(st) && WTERMSIG(st) == SIGXCPU) {
    say(p, "stopped: processor time limit");
    return EXIT_LIMIT;
  }
  if (st != -1 && WIFSIGNALED(st) && WTERMSIG(st) == SIGKILL) {
    say(p, "stopped by the system, most likely for its memory");
    return EXIT_LIMIT;
  }
  snprintf(text, sizeof text, "the worker died (%s %d)",
           st != -1 && WIFSIGNALED(st) ? "signal" : "status",
           st == -1          ? -1
           : WIFSIGNALED(st) ? WTERMSIG(st)
                             : WEXITSTATUS(st));
  say(p, text);
  return EXIT_INTERNAL;
}

/* ---- setting up ---- */

static int open_dir (const char *dir) {
  return open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

static int open_script_dir (const runner_task *t) {
  const char *script = t->name;
  const char *slash = script == NULL ? NULL : strrchr(script, '/');
  char *dir;
  int fd;
  if (t->folder != NULL)
    return open_dir(t->folder);
  if (slash == NULL)
    return open_dir(".");
  dir = strndup(script, (size_t)(slash - script) + 1);
  fd = dir == NULL ? -1 : open_dir(dir);
  free(dir);
  return fd;
}

static bool nonblocking (int fd) {
  int flags = fcntl(fd, F_GETFL);
  return flags >= 0 && fcntl(fd, F_SETFL, flags | O_NONBLOCK) == 0;
}

/* Standard input is the script's only where it is trusted and where that
** takes no terminal away from us. */
static int input (const runner_task *t) {
  if (t->o->trust && !isatty(STDIN_FILENO))
    return fcntl(STDIN_FILENO, F_DUPFD, 10);
  return open("/dev/null", O_RDONLY);
}

/* In the child: descriptors 0 (nothing), 1, 2, 3 and no other. */
_Noreturn static void become_worker (const parent *p, pid_t me, int out,
                                     int err, int link) {
  int nothing = input(p->task);
  setpgid(0, 0);
  out = fcntl(out, F_DUPFD, 10);
  err = fcntl(err, F_DUPFD, 10);
  link = fcntl(link, F_DUPFD, 10);
  if (nothing < 0 || dup2(nothing, 0) < 0 || dup2(out, 1) < 0 ||
      dup2(err, 2) < 0 || dup2(link, 3) < 0)
    _exit(EXIT_INTERNAL);
  closefrom(4);
  worker_run(p->task, 3, me);
}

static bool start_worker (parent *p) {
  int out[2], err[2], link[2];
  pid_t me = getpid();
  if (pipe2(out, O_CLOEXEC) != 0 || pipe2(err, O_CLOEXEC) != 0 ||
      socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, link) != 0)
    return false;
  fflush(NULL);
  p->worker = fork();
  if (p->worker == 0)
    become_worker(p, me, out[1], err[1], link[1]);
  close(out[1]);
  close(err[1]);
  close(link[1]);
  p->stream[0] = (stream){out[0], STDOUT_FILENO, {{0}, 0}};
  p->stream[1] = (stream){err[0], STDERR_FILENO, {{0}, 0}};
  p->link = link[0];
  if (p->worker > 0)
    setpgid(p->worker, p->worker);
  return p->worker > 0 && nonblocking(out[0]) && nonblocking(err[0]);
}

static void signals (void) {
  struct sigaction s;
  memset(&s, 0, sizeof s);
  sigemptyset(&s.sa_mask);
  s.sa_handler = on_interrupt; /* no SA_RESTART: poll and getline return */
  sigaction(SIGINT, &s, NULL);
  sigaction(SIGTERM, &s, NULL);
  sigaction(SIGHUP, &s, NULL);
  s.sa_handler = SIG_IGN; /* what then fails is told in words */
  sigaction(SIGPIPE, &s, NULL);
  sigaction(SIGXFSZ, &s, NULL);
}

static void release (parent *p) {
  for (size_t k = 0; k < p->written_n; k++)
    free(p->written[k]);
  free(p->asked.data);
  free(p->answer.data);
}

/* What the person just opened, before the script does anything with it. */
static void tell_trust (const runner_task *t) {
  if (!t->o->trust)
    return;
  fputs("ampstead: --trust: ", stderr);
  print_name(t->name);
  fputs(
      "no cage. As you, it may read, change and\n"
      "  delete your files, start programs, use the network and load native "
      "code.\n",
      stderr);
  fprintf(stderr,
          "  Still limited: %g s, %g MB of memory, 16 MB of output.\n",
          t->o->time, t->o->memory);
}

int parent_run (runner_task *task) {
  parent p;
  int st;
  memset(&p, 0, sizeof p);
  p.task = task;
  p.status = -1;
  p.out_dir = -1;
  p.script_dir = open_script_dir(task);
  p.data_dir =
      task->o->data != NULL ? open_dir(task->o->data) : dup(p.script_dir);
  if (p.data_dir < 0 && task->o->data != NULL) {
    fprintf(stderr, "ampstead: --data %s: %s\n", task->o->data,
            strerror(errno));
    return EXIT_MISSING;
  }
  tell_trust(task);
  signals();
  p.start = now();
  p.deadline = p.start + task->o->time;
  if (!start_worker(&p)) {
    fprintf(stderr, "ampstead: cannot start: %s\n", strerror(errno));
    return EXIT_INTERNAL;
  }
  serve(&p);
  st = final_status(&p, wait_worker(&p));
  release(&p);
  return st;
}
