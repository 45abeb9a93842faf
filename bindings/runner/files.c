/*
** files.c -- the files a script may reach: regular ones below one folder,
** opened so that neither ".." nor a symbolic link leads out: by openat2 where
** the system has it, else step by step.
*/
#include "runner/runner.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#ifdef __linux__
#include <linux/openat2.h>
#include <sys/syscall.h>
#endif

enum { NAME_LONGEST = 200, PATH_LONGEST = 1000, DEEPEST = 16 };

bool buffer_add (runner_buffer *b, const void *data, size_t n) {
  if (n == 0)
    return true;
  if (n > b->room - b->n) {
    size_t room = b->room * 2 + n + 256;
    char *p = realloc(b->data, room);
    if (p == NULL)
      return false;
    b->data = p;
    b->room = room;
  }
  memcpy(b->data + b->n, data, n);
  b->n += n;
  return true;
}

/* Status and sentence for the errno of a call on 'path'. */
static int told (int e, const char *verb, const char *path, char *why,
                 size_t why_size) {
  int st = e == ENOENT || e == ENOTDIR ? EXIT_MISSING : EXIT_IO;
  if (e == ELOOP)
    st = EXIT_REFUSED;
  snprintf(why, why_size, "cannot %s '%.200s': %s", verb, path,
           e == ELOOP ? "symbolic links are not followed" : strerror(e));
  return st;
}

static int refused (const char *path, const char *rule, char *why,
                    size_t why_size) {
  snprintf(why, why_size, "'%.200s' refused: %s", path, rule);
  return EXIT_REFUSED;
}

/* No byte of it does anything else in a listing than stand there. */
static bool shows_as_it_is (const char *name, size_t n) {
  runner_visible v = {{0}, 0};
  runner_buffer b = {NULL, 0, 0};
  bool same = visible_add(&v, name, n, &b) && visible_end(&v, &b) &&
              b.n == n && memcmp(b.data, name, n) == 0 &&
              memchr(name, '\n', n) == NULL && memchr(name, '\t', n) == NULL;
  free(b.data);
  return same;
}

/* The rules for one name between slashes; NULL: it keeps them. */
static const char *rule_broken (const char *name, size_t n) {
  if (n == 0 || n > NAME_LONGEST)
    return "a name is empty or too long";
  if (n == 2 && name[0] == '.' && name[1] == '.')
    return "'..' leads out of the folder";
  if (name[0] == '.')
    return "hidden names are not reachable";
  return shows_as_it_is(name, n)
             ? NULL
             : "control bytes, broken UTF-8 or marks that "
               "turn the direction in a name";
}

/* "./a" is "a" */
static const char *without_dot (const char *path) {
  while (strncmp(path, "./", 2) == 0)
    path += 2;
  return path;
}

int file_path_check (const char *path, char *why, size_t why_size) {
  const char *p;
  int depth = 0;
  path = without_dot(path);
  p = path;
  if (*path == '/')
    return refused(path,
                   "no absolute paths: --data names the folder to read "
                   "in, --out the one to write in",
                   why, why_size);
  if (strlen(path) > PATH_LONGEST)
    return refused(path, "too long", why, why_size);
  for (;;) {
    size_t n = strcspn(p, "/");
    const char *rule = rule_broken(p, n);
    if (rule != NULL)
      return refused(path, rule, why, why_size);
    if (p[n] == '\0')
      return EXIT_OK;
    if (++depth > DEEPEST)
      return refused(path, "too many folders", why, why_size);
    p += n + 1;
  }
}

/*
** openat2 that never leaves the folder and follows no link, checked by the
** kernel while it walks. -1 and ENOSYS where there is none; a container may
** say EPERM instead.
*/
static int open_beneath (int dir, const char *path, int flags) {
#ifdef SYS_openat2
  struct open_how how = {0};
  int fd;
  how.flags = (uint64_t)(unsigned)(flags | O_NOFOLLOW | O_CLOEXEC);
  how.resolve = RESOLVE_BENEATH | RESOLVE_NO_SYMLINKS | RESOLVE_NO_MAGICLINKS;
  do
    fd = (int)syscall(SYS_openat2, dir, path, &how, sizeof how);
  while (fd < 0 && (errno == EINTR || errno == EAGAIN));
  if (fd < 0 && errno == EPERM)
    errno = ENOSYS;
  return fd;
#else
  (void)dir, (void)path, (void)flags;
  errno = ENOSYS;
  return -1;
#endif
}

/* Open a folder; a symbolic link there is ELOOP, whatever it points to. */
static int open_step (int at, const char *name, bool make) {
  int flags = O_RDONLY | O_DIRECTORY;
  struct stat s;
  int fd;
  if (make && mkdirat(at, name, 0777) != 0 && errno != EEXIST)
    return -1;
  fd = open_beneath(at, name, flags);
  if (fd < 0 && errno == ENOSYS)
    fd = openat(at, name, flags | O_NOFOLLOW | O_CLOEXEC);
  if (fd < 0 && errno == ENOTDIR) {
    int link =
        fstatat(at, name, &s, AT_SYMLINK_NOFOLLOW) == 0 && S_ISLNK(s.st_mode);
    errno = link ? ELOOP : ENOTDIR;
  }
  return fd;
}

/*
** Go down to the folder of a checked path. Returns its descriptor (the
** caller closes), with '*last' the final name; -1 and errno otherwise.
*/
static int go_down (int dir, const char *path, bool make, const char **last) {
  char name[NAME_LONGEST + 1];
  int at = fcntl(dir, F_DUPFD_CLOEXEC, 0);
  const char *slash;
  while (at >= 0 && (slash = strchr(path, '/')) != NULL) {
    int next, e;
    memcpy(name, path, (size_t)(slash - path));
    name[slash - path] = '\0';
    next = open_step(at, name, make);
    e = errno;
    close(at);
    errno = e;
    at = next;
    path = slash + 1;
  }
  *last = path;
  return at;
}

/* Open what a checked path names for reading; no waiting for a writer where
** it is a fifo, which is refused afterwards. */
static int open_to_read (int dir, const char *path) {
  int flags = O_RDONLY | O_NONBLOCK | O_NOCTTY, at, fd, e;
  const char *last;
  fd = open_beneath(dir, path, flags);
  if (fd >= 0 || errno != ENOSYS)
    return fd;
  at = go_down(dir, path, false, &last);
  if (at < 0)
    return -1;
  fd = openat(at, last, flags | O_NOFOLLOW | O_CLOEXEC);
  e = errno;
  close(at);
  errno = e;
  return fd;
}

int file_read_all (int fd, runner_buffer *text) {
  char block[16384];
  for (;;) {
    ssize_t got = read(fd, block, sizeof block);
    if (got < 0 && errno == EINTR)
      continue;
    if (got < 0)
      return EXIT_IO;
    if (got == 0)
      return EXIT_OK;
    if (text->n + (size_t)got > LINK_LONGEST - 4096)
      return EXIT_DATA;
    if (!buffer_add(text, block, (size_t)got))
      return EXIT_IO;
  }
}

static int read_open (int fd, const char *path, runner_buffer *text,
                      char *why, size_t why_size) {
  struct stat s;
  int st;
  if (fstat(fd, &s) != 0 || !S_ISREG(s.st_mode))
    return refused(path, "not a regular file", why, why_size);
  st = file_read_all(fd, text);
  if (st == EXIT_DATA)
    snprintf(why, why_size, "'%.200s': longer than 64 MB", path);
  else if (st != EXIT_OK)
    return told(errno, "read", path, why, why_size);
  return st;
}

int file_read_below (int dir, const char *path, runner_buffer *text,
                     char *why, size_t why_size) {
  int fd, st;
  path = without_dot(path);
  st = file_path_check(path, why, why_size);
  if (st != EXIT_OK)
    return st;
  fd = open_to_read(dir, path);
  if (fd < 0)
    return told(errno, "read", path, why, why_size);
  st = read_open(fd, path, text, why, why_size);
  close(fd);
  return st;
}

static bool write_all (int fd, const char *data, size_t n) {
  while (n > 0) {
    ssize_t got = write(fd, data, n);
    if (got < 0 && errno == EINTR)
      continue;
    if (got <= 0)
      return false;
    data += got;
    n -= (size_t)got;
  }
  return true;
}

/* What stands at the name now, if anything, has to be a plain file. */
static bool may_stand (int at, const char *last) {
  struct stat s;
  if (fstatat(at, last, &s, AT_SYMLINK_NOFOLLOW) != 0 || S_ISREG(s.st_mode))
    return true;
  errno = S_ISLNK(s.st_mode) ? ELOOP : EISDIR;
  return false;
}

/* Give the written neighbour its name; link() keeps what exists. */
static int put_in_place (int at, const char *temp, const char *last,
                         bool replace) {
  if (!may_stand(at, last))
    return -1;
  if (!replace)
    return linkat(at, temp, at, last, 0) == 0 ? unlinkat(at, temp, 0) : -1;
  return renameat(at, temp, at, last);
}

/* A file without a name, which is gone if this process ends before it gets
** one; 'temp' is left to be made. -1: this system has none. */
static int open_nameless (int at) {
#ifdef O_TMPFILE
  return openat(at, ".", O_TMPFILE | O_WRONLY | O_CLOEXEC, 0666);
#else
  (void)at;
  return -1;
#endif
}

static int give_name (int fd, int at, const char *temp) {
  char self[40];
  snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
  return linkat(AT_FDCWD, self, at, temp, AT_SYMLINK_FOLLOW);
}

static int open_named (int at, const char *temp) {
  return openat(at, temp,
                O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
}

/* All bytes into the open file, which is closed and, where it has no name
** yet, gets 'temp'; or errno. */
static int fill (int fd, int at, const char *temp, const char *data,
                 size_t n) {
  int e = 0;
  if (!write_all(fd, data, n) ||
      (temp != NULL && give_name(fd, at, temp) != 0))
    e = errno;
  if (close(fd) != 0 && e == 0)
    e = errno;
  return e;
}

/* All bytes in a file named 'temp' in the folder, or errno. */
static int write_temp (int at, const char *temp, const char *data, size_t n) {
  int fd = open_nameless(at), e = ENOENT;
  unlinkat(at, temp, 0); /* of a run that had our number and was killed */
  if (fd >= 0)
    e = fill(fd, at, temp, data, n);
  if (e != ENOENT) /* no /proc to name it by */
    return e;
  fd = open_named(at, temp);
  return fd < 0 ? errno : fill(fd, at, NULL, data, n);
}

static int write_at (int at, const char *last, const char *data, size_t n,
                     bool replace) {
  char temp[NAME_LONGEST + 40];
  int e;
  snprintf(temp, sizeof temp, ".%s.%ld", last, (long)getpid());
  e = write_temp(at, temp, data, n);
  if (e == 0 && put_in_place(at, temp, last, replace) != 0)
    e = errno;
  if (e != 0)
    unlinkat(at, temp, 0);
  return e;
}

int file_write_below (int dir, const char *path, const char *data, size_t n,
                      bool replace, char *why, size_t why_size) {
  const char *last;
  int at, e, st;
  path = without_dot(path);
  st = file_path_check(path, why, why_size);
  if (st != EXIT_OK)
    return st;
  at = go_down(dir, path, true, &last);
  e = at < 0 ? errno : write_at(at, last, data, n, replace);
  if (at >= 0)
    close(at);
  if (e == 0)
    return EXIT_OK;
  if (e == EEXIST) {
    snprintf(why, why_size,
             "'%.200s' exists already; --overwrite would replace it", path);
    return EXIT_CREATE;
  }
  st = told(e, "create", path, why, why_size);
  if (e == ENOSPC || e == EIO || e == EDQUOT || e == EFBIG)
    return EXIT_IO;
  return st == EXIT_REFUSED ? st : EXIT_CREATE;
}
