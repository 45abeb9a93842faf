/*
** files.c -- the files a script may reach: regular ones below one folder,
** opened step by step so that neither ".." nor a symbolic link leads out.
*/
#include "runner/runner.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { NAME_LONGEST = 200, PATH_LONGEST = 1000 };

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

/* The rules for one name between slashes; NULL: it keeps them. */
static const char *rule_broken (const char *name, size_t n) {
  if (n == 0 || n > NAME_LONGEST)
    return "a name is empty or too long";
  if (n == 2 && name[0] == '.' && name[1] == '.')
    return "'..' leads out of the folder";
  if (name[0] == '.')
    return "hidden names are not reachable";
  for (size_t k = 0; k < n; k++)
    if ((unsigned char)name[k] < 0x20 || name[k] == 0x7f)
      return "control bytes in a name";
  return NULL;
}

/* "./a" is "a" */
static const char *without_dot (const char *path) {
  while (strncmp(path, "./", 2) == 0)
    path += 2;
  return path;
}

int file_path_check (const char *path, char *why, size_t why_size) {
  const char *p;
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
    p += n + 1;
  }
}

/* Open a folder; a symbolic link there is ELOOP, whatever it points to. */
static int open_step (int at, const char *name, bool make) {
  struct stat s;
  int fd;
  if (make && mkdirat(at, name, 0777) != 0 && errno != EEXIST)
    return -1;
  fd = openat(at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
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
  int at = dup(dir);
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
  const char *last;
  int at, fd, e, st;
  path = without_dot(path);
  st = file_path_check(path, why, why_size);
  if (st != EXIT_OK)
    return st;
  at = go_down(dir, path, false, &last);
  if (at < 0)
    return told(errno, "read", path, why, why_size);
  fd = openat(at, last, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  e = errno;
  close(at);
  if (fd < 0)
    return told(e, "read", path, why, why_size);
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

/* Give the written neighbour its name; link() keeps what exists. */
static int put_in_place (int at, const char *temp, const char *last,
                         bool replace) {
  struct stat s;
  if (fstatat(at, last, &s, AT_SYMLINK_NOFOLLOW) == 0 &&
      !S_ISREG(s.st_mode)) {
    errno = S_ISLNK(s.st_mode) ? ELOOP : EISDIR;
    return -1;
  }
  if (!replace)
    return linkat(at, temp, at, last, 0) == 0 ? unlinkat(at, temp, 0) : -1;
  return renameat(at, temp, at, last);
}

static int write_at (int at, const char *last, const char *data, size_t n,
                     bool replace) {
  char temp[NAME_LONGEST + 40];
  int fd, e = 0;
  snprintf(temp, sizeof temp, ".%s.%ld", last, (long)getpid());
  fd = openat(at, temp, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
              0666);
  if (fd < 0)
    return errno;
  if (!write_all(fd, data, n))
    e = errno;
  if (close(fd) != 0 && e == 0)
    e = errno;
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
  if (e == ENOSPC || e == EIO || e == EDQUOT)
    return EXIT_IO;
  return st == EXIT_REFUSED ? st : EXIT_CREATE;
}
