/*
** fuzz_post.c -- saved posts: bytes of anybody's are taken apart, mended and
** compared. Besides not crashing: blanks at the end are no words, what is said
** to be proven has its checksum, a table is like itself, and nothing stays
** allocated.
*/
#include "base/words.h"
#include "runner/post_diff.h"
#include "runner/post_mend.h"
#include "runner/post_tail.h"
#include "runner/post_unwrap.h"
#include <stdlib.h>
#include <string.h>

#define HOLD(what)                                                           \
  do {                                                                       \
    if (!(what))                                                             \
      abort();                                                               \
  } while (0)

int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n);

/* Blank lines and blanks at the end are no words. */
static void check_words (const char *s, size_t n) {
  static const char blank[] = " \t\r\n\n \r\n";
  char *more = malloc(n + sizeof blank), *a = malloc(n + 1);
  char *b = malloc(n + sizeof blank + 1);
  size_t m, k;
  HOLD(more != NULL && a != NULL && b != NULL);
  memcpy(more, s, n);
  memcpy(more + n, blank, sizeof blank - 1);
  m = amp_words(s, n, a);
  k = amp_words(more, n + sizeof blank - 1, b);
  HOLD(m <= n + 1 && k == m && memcmp(a, b, m) == 0);
  free(more);
  free(a);
  free(b);
}

static void check_mended (runner_buffer *b, const char *sum,
                          const char *words) {
  unsigned mended;
  char text[300];
  mend_proof proof = post_mend(b, sum, words, &mended);
  mended_text(mended, text, sizeof text);
  HOLD(strlen(text) < sizeof text);
  if (proof == MEND_EXACT)
    HOLD(sum_is(b->data != NULL ? b->data : "", b->n, sum));
}

/* Like itself; and a difference that is counted is told. */
static void check_diff (const runner_buffer *a, const runner_buffer *b) {
  runner_buffer out = {NULL, 0, 0};
  bool lost;
  HOLD(post_diff(a, a, &out, &lost) == 0 && out.n == 0 && !lost);
  HOLD((post_diff(a, b, &out, &lost) == 0) == (out.n == 0));
  free(out.data);
}

/* What was joined has its sum; a table is a part of itself; parts joined to
** another are its lines or as many as before. */
static void check_joined (post *p) {
  unwrapped u;
  char *w;
  if (p->words_sum[0] != '\0' &&
      post_unwrap(&p->script, &p->cut, p->script_lines, p->script_sum,
                  p->words_sum, &u)) {
    w = malloc(p->script.n + 1);
    HOLD(w != NULL && u.joined > 0);
    HOLD(sum_is(w, amp_words(p->script.data, p->script.n, w), p->words_sum));
    free(w);
  }
  HOLD(post_rejoin(&p->table, &p->script) != (size_t)-1);
}

/* The same line says the same; what one says more, the other says less. */
static void check_lines (const post *a, const post *b) {
  runner_buffer out = {NULL, 0, 0};
  HOLD(post_tail_diff(a, a->said, 0, &out) == 0 && out.n == 0);
  HOLD((post_tail_diff(a, b->said, 0, &out) == 0) ==
       (post_tail_diff(b, a->said, 0, &out) == 0));
  free(out.data);
}

int LLVMFuzzerTestOneInput (const uint8_t *data, size_t n) {
  static post list[POST_MOST];
  bool more;
  size_t damaged, found;
  found = post_find((const char *)data, n, list, &more, &damaged);
  HOLD(found <= POST_MOST);
  check_words((const char *)data, n);
  for (size_t k = 0; k < found; k++) {
    post *p = &list[k];
    check_diff(&p->table, &p->script);
    check_lines(p, &list[0]);
    check_joined(p);
    if (p->words_sum[0] != '\0')
      check_mended(&p->script, p->script_sum, p->words_sum);
    if (p->table.n < 500)
      check_mended(&p->table, p->table_sum, NULL);
  }
  while (found > 0)
    post_free(&list[--found]);
  return 0;
}
