/*
** post_mend.c -- candidates for what stood there before a board had it.
*/
#include "runner/post_mend.h"
#include "base/words.h"
#include <sha256.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>

enum { HASHED_MOST = 128 << 20 };

typedef struct search {
  const char *sum, *words;
  size_t left; /* bytes that may still be hashed */
} search;

bool sum_is (const char *s, size_t n, const char *sum) {
  char hex[SHA256_DIGEST_STRING_LENGTH];
  SHA256Data((const uint8_t *)s, n, hex);
  return strlen(sum) == POST_SUM && memcmp(hex, sum, POST_SUM) == 0;
}

static bool tried (search *x, const char *s, size_t n, const char *sum) {
  if (n > x->left)
    return false;
  x->left -= n;
  return sum_is(s, n, sum);
}

/* ---- undoing one thing ---- */

static bool copy (const runner_buffer *b, runner_buffer *to) {
  to->data = NULL;
  to->n = to->room = 0;
  return buffer_add(to, b->data != NULL ? b->data : "", b->n);
}

/* Every 'from' becomes 'to'; false where memory ends. */
static bool swap (runner_buffer *b, const char *from, const char *to) {
  runner_buffer out = {NULL, 0, 0};
  size_t n = strlen(from), k = 0;
  bool fine = buffer_add(&out, "", 0);
  while (fine && k < b->n) {
    const char *at = memmem(b->data + k, b->n - k, from, n);
    size_t stop = at != NULL ? (size_t)(at - b->data) : b->n;
    fine = buffer_add(&out, b->data + k, stop - k) &&
           (at == NULL || buffer_add(&out, to, strlen(to)));
    k = at != NULL ? stop + n : stop;
  }
  if (fine) {
    free(b->data);
    *b = out;
  } else
    free(out.data);
  return fine;
}

static bool holds (const runner_buffer *b, const char *what) {
  return b->n > 0 && memmem(b->data, b->n, what, strlen(what)) != NULL;
}

bool mend_entities (runner_buffer *b) {
  static const char *const pair[][2] = {{"&lt;", "<"},
                                        {"&gt;", ">"},
                                        {"&quot;", "\""},
                                        {"&#34;", "\""},
                                        {"&#39;", "'"},
                                        {"&#039;", "'"},
                                        {"&apos;", "'"},
                                        {"&#x27;", "'"},
                                        {"&#91;", "["},
                                        {"&#93;", "]"},
                                        {"&#123;", "{"},
                                        {"&#125;", "}"},
                                        {"&#61;", "="},
                                        {"&#96;", "`"},
                                        {"&#x60;", "`"},
                                        {"&#58;", ":"},
                                        {"&nbsp;", " "},
                                        {"&#160;", " "},
                                        {"&#8211;", "\xe2\x80\x93"},
                                        {"&ndash;", "\xe2\x80\x93"},
                                        {"&mdash;", "\xe2\x80\x94"},
                                        {"&hellip;", "\xe2\x80\xa6"},
                                        {"&amp;", "&"}};
  for (size_t k = 0; k < sizeof pair / sizeof *pair; k++)
    if (holds(b, pair[k][0]) && !swap(b, pair[k][0], pair[k][1]))
      return false;
  return true;
}

static void fold (runner_buffer *b, unsigned classes) {
  if (b->n > 0)
    b->n = amp_fold(b->data, b->n, classes, b->data);
}

static void strip_trailing (runner_buffer *b) {
  size_t m = 0, end = 0; /* 'end': behind the last sign that is no blank */
  for (size_t k = 0; k < b->n; k++) {
    char c = b->data[k];
    if (c == '\n')
      m = end;
    b->data[m++] = c;
    if (c != ' ' && c != '\t')
      end = m;
  }
  b->n = m;
}

/* Blanks that every line has which holds anything. */
static size_t common_indent (const runner_buffer *b) {
  size_t least = (size_t)-1, at = 0;
  bool inside = false;
  for (size_t k = 0; k < b->n; k++) {
    if (b->data[k] == '\n') {
      at = 0;
      inside = false;
    } else if (!inside && b->data[k] == ' ')
      at++;
    else if (!inside) {
      inside = true;
      least = at < least ? at : least;
    }
  }
  return least == (size_t)-1 ? 0 : least;
}

static void strip_indent (runner_buffer *b, size_t by) {
  size_t m = 0, at = 0;
  for (size_t k = 0; k < b->n; k++) {
    char c = b->data[k];
    if (c == '\n')
      at = 0;
    else if (at++ < by)
      continue;
    b->data[m++] = c;
  }
  b->n = m;
}

/* ---- candidates ---- */

/* Lines ended by CR LF, a byte order mark, no end of the last line: of the
** original, where all else is already right. */
static bool try_ends (search *x, const runner_buffer *b, unsigned *mended,
                      runner_buffer *found) {
  for (unsigned k = 0; k < 8 && x->left >= b->n; k++) {
    runner_buffer c = {NULL, 0, 0}, d;
    bool fine = (k & 2 ? buffer_add(&c, "\xef\xbb\xbf", 3) : true) &&
                buffer_add(&c, b->data, b->n);
    if (fine && k & 4 && c.n > 0 && c.data[c.n - 1] == '\n')
      c.n--;
    if (fine && k & 1) {
      fine = copy(&c, &d) && swap(&d, "\n", "\r\n");
      free(c.data);
      c = d;
    }
    if (fine && tried(x, c.data, c.n, x->sum)) {
      *mended |= (k & 1 ? MENDED_CRLF : 0u) | (k & 2 ? MENDED_ORDER : 0u) |
                 (k & 4 ? MENDED_FINAL : 0u);
      *found = c;
      return true;
    }
    free(c.data);
  }
  return false;
}

static bool spaces_for_tabs (runner_buffer *b, int width) {
  char spaces[9];
  snprintf(spaces, sizeof spaces, "%*s", width, "");
  return swap(b, "\t", spaces);
}

/* Blanks: tabs, an indent, what stands at the ends of lines. */
static bool try_blanks (search *x, const runner_buffer *b, unsigned *mended,
                        runner_buffer *found) {
  static const int width[] = {0, 2, 4, 8, 1, 3};
  size_t widths = holds(b, "\t") ? sizeof width / sizeof *width : 1;
  for (size_t w = 0; w < widths; w++)
    for (unsigned k = 0; k < 4 && x->left >= b->n; k++) {
      runner_buffer c;
      unsigned m = *mended | (w > 0 ? MENDED_TABS : 0u) |
                   (k & 1 ? MENDED_TRAILING : 0u) |
                   (k & 2 ? MENDED_INDENT : 0u);
      bool fine = copy(b, &c) && (w == 0 || spaces_for_tabs(&c, width[w]));
      size_t indent = fine && k & 2 ? common_indent(&c) : 0, n = c.n;
      bool useful = !(k & 2) || indent > 0;
      if (fine && indent > 0)
        strip_indent(&c, indent);
      if (fine && k & 1) {
        strip_trailing(&c);
        useful = useful && c.n < n - (indent > 0 ? 1 : 0);
      }
      if (fine && useful && try_ends(x, &c, &m, found)) {
        *mended = m;
        free(c.data);
        return true;
      }
      free(c.data);
    }
  return false;
}

/* Signs: each class of them that occurs, folded and not. */
static bool try_signs (search *x, const runner_buffer *b, unsigned *mended,
                       runner_buffer *found) {
  static const unsigned class[] = {
      AMP_FOLD_SPACES,  AMP_FOLD_UNSEEN, AMP_FOLD_QUOTES, AMP_FOLD_DOTS,
      AMP_FOLD_HYPHENS, AMP_FOLD_EN,     AMP_FOLD_EM};
  static const unsigned name[] = {
      MENDED_SPACES,  MENDED_UNSEEN, MENDED_QUOTES, MENDED_DOTS,
      MENDED_HYPHENS, MENDED_DASHES, MENDED_DASHES};
  unsigned occurs = 0;
  for (unsigned k = 0; k < 7; k++) {
    runner_buffer c;
    if (!copy(b, &c))
      return false;
    fold(&c, class[k]);
    if (c.n != b->n || (c.n > 0 && memcmp(c.data, b->data, c.n) != 0))
      occurs |= 1u << k;
    free(c.data);
  }
  for (unsigned set = 0; set < 128; set++) {
    unsigned classes = 0, m = *mended;
    runner_buffer c;
    if (set & ~occurs || x->left < b->n || !copy(b, &c))
      continue;
    for (unsigned k = 0; k < 7; k++)
      if (set & 1u << k) {
        classes |= class[k];
        m |= name[k];
      }
    fold(&c, classes);
    if (try_blanks(x, &c, &m, found)) {
      *mended = m;
      free(c.data);
      return true;
    }
    free(c.data);
  }
  return false;
}

static bool same_words (search *x, const runner_buffer *b) {
  char *w = malloc(b->n + 1);
  size_t n = w != NULL ? amp_words(b->data, b->n, w) : 0;
  bool same = w != NULL && x->words != NULL && tried(x, w, n, x->words);
  free(w);
  return same;
}

/* All that can be undone without a proof: the likeliest original. */
static void settle (runner_buffer *b, unsigned *mended) {
  static const unsigned class[] = {
      AMP_FOLD_SPACES, AMP_FOLD_UNSEEN,  AMP_FOLD_QUOTES,
      AMP_FOLD_DOTS,   AMP_FOLD_HYPHENS, AMP_FOLD_EN | AMP_FOLD_EM};
  for (unsigned k = 0; k < 6; k++) {
    runner_buffer c;
    if (!copy(b, &c))
      return;
    fold(&c, class[k]);
    if (c.n != b->n || (c.n > 0 && memcmp(c.data, b->data, c.n) != 0))
      *mended |= (unsigned)MENDED_SPACES << k;
    free(b->data);
    *b = c;
  }
}

typedef struct best {
  runner_buffer text;
  unsigned mended;
  mend_proof proof;
} best;

static void keep (best *to, const runner_buffer *b, unsigned mended,
                  mend_proof proof) {
  if (to->proof >= proof && to->text.data != NULL)
    return;
  free(to->text.data);
  if (!copy(b, &to->text))
    return;
  to->mended = mended;
  to->proof = proof;
}

/* One reading of entities and dashes. */
static void try_reading (search *x, const runner_buffer *b, unsigned mended,
                         best *to) {
  runner_buffer found;
  bool words = same_words(x, b);
  if (x->words != NULL && !words)
    return;
  if (try_signs(x, b, &mended, &found)) {
    keep(to, &found, mended, MEND_EXACT);
    free(found.data);
  } else if (words)
    keep(to, b, mended, MEND_WORDS);
}

/* A dash was "--" most often, which folding undoes; or "-" or "---". */
static void try_dashes (search *x, const runner_buffer *b, unsigned mended,
                        best *to) {
  static const char en[] = "\xe2\x80\x93", em[] = "\xe2\x80\x94";
  static const char *const en_to[] = {en, "-"};
  static const char *const em_to[] = {em, "-", "---"};
  int ens = holds(b, en) ? 2 : 1, ems = holds(b, em) ? 3 : 1;
  for (int i = 0; i < ens; i++)
    for (int j = 0; j < ems && to->proof != MEND_EXACT; j++) {
      runner_buffer c;
      bool fine =
          copy(b, &c) && swap(&c, en, en_to[i]) && swap(&c, em, em_to[j]);
      if (fine)
        try_reading(x, &c, mended | (i + j > 0 ? MENDED_DASHES : 0u), to);
      free(c.data);
    }
}

mend_proof post_mend (runner_buffer *b, const char *sum, const char *words,
                      unsigned *mended) {
  search x = {sum, words, HASHED_MOST};
  best to = {{NULL, 0, 0}, 0, MEND_NONE};
  runner_buffer c;
  bool fine = copy(b, &c);
  *mended = 0;
  for (int level = 0; fine && level < 3 && to.proof != MEND_EXACT; level++) {
    if (level > 0 && (!holds(&c, "&") || !mend_entities(&c)))
      break;
    try_dashes(&x, &c, level > 0 ? MENDED_ENTITIES : 0u, &to);
  }
  free(c.data);
  if (to.proof == MEND_NONE || to.text.data == NULL) {
    free(to.text.data);
    to.proof = MEND_NONE;
    settle(b, mended);
    return MEND_NONE;
  }
  free(b->data);
  *b = to.text;
  *mended = to.mended;
  if (to.proof == MEND_WORDS)
    settle(b, mended);
  return to.proof;
}

void mended_text (unsigned mended, char *to, size_t size) {
  static const char *const name[] = {"HTML entities",
                                     "no-break spaces",
                                     "characters without width",
                                     "curly quotes",
                                     "dots joined into one sign",
                                     "other hyphens or minus signs",
                                     "dashes for hyphens",
                                     "tabs for spaces",
                                     "blanks before each line",
                                     "blanks at the ends of lines",
                                     "line ends CR LF lost",
                                     "the byte order mark lost",
                                     "an end of the last line added",
                                     "broken lines"};
  size_t n = 0;
  to[0] = '\0';
  for (unsigned k = 0; k < sizeof name / sizeof *name && n < size; k++)
    if (mended & 1u << k)
      n += (size_t)snprintf(to + n, size - n, "%s%s", n > 0 ? ", " : "",
                            name[k]);
}
