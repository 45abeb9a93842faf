/*
** record.c -- which script made which file in out/, so that a script may
** replace its own earlier results and nobody else's. One line a result in
** out/.results: path, tab, script; the last line of a path counts.
*/
#include "runner/runner.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char RECORD[] = ".results";

/* A line from its path and script; control bytes cannot make a second one.
** The caller frees; NULL: no memory. */
static char *make_line (const char *path, const char *script) {
  size_t n = strlen(path) + strlen(script) + 3;
  char *line = malloc(n);
  if (line == NULL)
    return NULL;
  snprintf(line, n, "%s\t%s\n", path, script);
  for (char *p = line + strlen(path) + 1; p < line + n - 2; p++)
    if ((unsigned char)*p < 0x20)
      *p = '?';
  return line;
}

/* Is 'line' the last one in 'text' that begins with the path? */
static bool last_of_path (const char *text, const char *line) {
  size_t path_n = strcspn(line, "\t") + 1;
  bool found = false;
  while (*text != '\0') {
    size_t n = strcspn(text, "\n") + 1;
    if (strncmp(text, line, path_n) == 0)
      found = strncmp(text, line, n) == 0 && line[n] == '\0';
    text += text[n - 1] == '\0' ? n - 1 : n;
  }
  return found;
}

/* The record as a plain file; a fifo of that name would wait for a reader. */
static int open_record (int dir, int flags) {
  struct stat s;
  int fd =
      openat(dir, RECORD, flags | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC, 0666);
  if (fd >= 0 && (fstat(fd, &s) != 0 || !S_ISREG(s.st_mode))) {
    close(fd);
    return -1;
  }
  return fd;
}

static bool recorded (int dir, const char *line) {
  runner_buffer text = {NULL, 0, 0};
  int fd = open_record(dir, O_RDONLY);
  bool yes = fd >= 0 && file_read_all(fd, &text) == EXIT_OK &&
             buffer_add(&text, "", 1) && last_of_path(text.data, line);
  if (fd >= 0)
    close(fd);
  free(text.data);
  return yes;
}

bool record_allows (int dir, const char *path, const char *script) {
  struct stat s;
  char *line;
  bool yes;
  if (fstatat(dir, path, &s, AT_SYMLINK_NOFOLLOW) != 0)
    return true;
  line = make_line(path, script);
  yes = line != NULL && recorded(dir, line);
  free(line);
  return yes;
}

static bool append (int dir, const char *line) {
  size_t n = strlen(line);
  int fd = open_record(dir, O_WRONLY | O_CREAT | O_APPEND);
  off_t end = fd < 0 ? -1 : lseek(fd, 0, SEEK_END);
  bool ok = end >= 0 && write(fd, line, n) == (ssize_t)n;
  if (end >= 0 && !ok && ftruncate(fd, end) != 0)
    ok = false; /* half a line stays; the next one ends it */
  if (fd >= 0)
    close(fd);
  return ok;
}

bool record_add (int dir, const char *path, const char *script) {
  char *line = make_line(path, script);
  bool ok = line != NULL && (recorded(dir, line) || append(dir, line));
  free(line);
  return ok;
}
