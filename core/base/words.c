/*
** words.c -- texts that differ in what boards change, made alike.
*/
#include "base/words.h"
#include <stdbool.h>
#include <string.h>

typedef struct fold {
  const char *from; /* UTF-8, from the code charts of Unicode 15 */
  const char *to;   /* never longer */
} fold;

/* Blocks General Punctuation, Latin-1 and CJK: what stands for a space, for
** nothing, for a quote, for dots and for a dash. */
static const fold folds[] = {
    {"\xc2\xa0", " "},      {"\xe2\x80\x80", " "},   {"\xe2\x80\x81", " "},
    {"\xe2\x80\x82", " "},  {"\xe2\x80\x83", " "},   {"\xe2\x80\x84", " "},
    {"\xe2\x80\x85", " "},  {"\xe2\x80\x86", " "},   {"\xe2\x80\x87", " "},
    {"\xe2\x80\x88", " "},  {"\xe2\x80\x89", " "},   {"\xe2\x80\x8a", " "},
    {"\xe2\x80\xaf", " "},  {"\xe2\x81\x9f", " "},   {"\xe3\x80\x80", " "},
    {"\xc2\xad", ""},       {"\xe2\x80\x8b", ""},    {"\xe2\x80\x8c", ""},
    {"\xe2\x80\x8d", ""},   {"\xe2\x81\xa0", ""},    {"\xef\xbb\xbf", ""},
    {"\xe2\x80\x98", "'"},  {"\xe2\x80\x99", "'"},   {"\xe2\x80\x9a", "'"},
    {"\xe2\x80\x9b", "'"},  {"\xe2\x80\xb2", "'"},   {"\xe2\x80\x9c", "\""},
    {"\xe2\x80\x9d", "\""}, {"\xe2\x80\x9e", "\""},  {"\xe2\x80\x9f", "\""},
    {"\xe2\x80\xb3", "\""}, {"\xe2\x80\xa6", "..."}, {"\xe2\x80\x90", "-"},
    {"\xe2\x80\x91", "-"},  {"\xe2\x88\x92", "-"},   {"\xe2\x80\x93", "--"},
    {"\xe2\x80\x94", "--"}};

/* The fold whose bytes begin s[0..n), or NULL. */
static const fold *find (const char *s, size_t n) {
  if ((unsigned char)s[0] < 0x80)
    return NULL;
  for (size_t k = 0; k < sizeof folds / sizeof *folds; k++) {
    size_t m = strlen(folds[k].from);
    if (m <= n && memcmp(s, folds[k].from, m) == 0)
      return &folds[k];
  }
  return NULL;
}

static unsigned class_of (const fold *f) {
  if (strcmp(f->to, " ") == 0)
    return AMP_FOLD_SPACES;
  if (strcmp(f->to, "") == 0)
    return AMP_FOLD_UNSEEN;
  if (strcmp(f->to, "...") == 0)
    return AMP_FOLD_DOTS;
  if (strcmp(f->to, "-") == 0)
    return AMP_FOLD_HYPHENS;
  if (strcmp(f->to, "--") != 0)
    return AMP_FOLD_QUOTES;
  return f->from[2] == '\x93' ? AMP_FOLD_EN : AMP_FOLD_EM;
}

size_t amp_fold (const char *s, size_t n, unsigned classes, char *out) {
  size_t m = 0;
  for (size_t k = 0; k < n;) {
    const fold *f = find(s + k, n - k);
    if (f == NULL || !(class_of(f) & classes)) {
      out[m++] = s[k++];
      continue;
    }
    memcpy(out + m, f->to, strlen(f->to));
    m += strlen(f->to);
    k += strlen(f->from);
  }
  return m;
}

typedef struct writer {
  char *out;
  size_t n;
  bool blank; /* one waits; it is written before the next word of the line */
} writer;

static void put (writer *w, char c) {
  bool begun = w->n > 0 && w->out[w->n - 1] != '\n';
  if (c == ' ' || c == '\t' || c == '\v' || c == '\f') {
    w->blank = begun;
  } else if (c == '\n') {
    if (begun)
      w->out[w->n++] = '\n';
    w->blank = false;
  } else if (c != '\r') {
    if (w->blank)
      w->out[w->n++] = ' ';
    w->blank = false;
    w->out[w->n++] = c;
  }
}

size_t amp_words (const char *s, size_t n, char *out) {
  writer w = {out, 0, false};
  for (size_t k = 0; k < n;) {
    const fold *f = find(s + k, n - k);
    if (f == NULL) {
      put(&w, s[k++]);
      continue;
    }
    for (const char *p = f->to; *p != '\0'; p++)
      put(&w, *p);
    k += strlen(f->from);
  }
  put(&w, '\n');
  return w.n;
}
