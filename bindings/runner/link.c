/*
** link.c -- the few bytes that worker and parent agree on.
*/
#include "runner/runner.h"
#include <errno.h>
#include <sys/types.h>
#include <sys/socket.h>
#include <unistd.h>

void link_head (unsigned char head[LINK_HEAD], int kind, size_t n) {
  head[0] = (unsigned char)kind;
  for (int k = 0; k < 4; k++)
    head[1 + k] = (unsigned char)(n >> (8 * k) & 0xff);
}

size_t link_length (const unsigned char head[LINK_HEAD]) {
  size_t n = 0;
  for (int k = 3; k >= 0; k--)
    n = n << 8 | head[1 + k];
  return n;
}

bool link_send (int fd, const void *data, size_t n) {
  const char *p = data;
  while (n > 0) {
    ssize_t got = send(fd, p, n, MSG_NOSIGNAL);
    if (got < 0 && errno == EINTR)
      continue;
    if (got <= 0)
      return false;
    p += got;
    n -= (size_t)got;
  }
  return true;
}

bool link_receive (int fd, void *data, size_t n) {
  char *p = data;
  while (n > 0) {
    ssize_t got = read(fd, p, n);
    if (got < 0 && errno == EINTR)
      continue;
    if (got <= 0)
      return false;
    p += got;
    n -= (size_t)got;
  }
  return true;
}
