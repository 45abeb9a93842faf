/*
** recheck.c -- the verdict on a saved post.
*/
#include "runner/recheck.h"
#include "runner/post_diff.h"
#include "runner/post_mend.h"
#include "runner/post_tail.h"
#include "runner/post_unwrap.h"
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
  ERRORS_KEPT = 2000, /* bytes of the script's standard error */
  WIDE = 78
};

/* ---- while the script runs ---- */

static const char *without_dot (const char *path) {
  while (path[0] == '.' && path[1] == '/')
    path += 2;
  return path;
}

static const post_file *named (const post *p, const char *path) {
  for (size_t k = 0; k < p->files; k++)
    if (strcmp(without_dot(p->file[k].name), without_dot(path)) == 0)
      return &p->file[k];
  return NULL;
}

/* Below the folder as the script names it, or beside the post. */
static int read_either (int dir, const char *path, runner_buffer *text,
                        char *why, size_t why_size) {
  const char *slash = strrchr(path, '/');
  int st = file_read_below(dir, path, text, why, why_size);
  if (st != EXIT_MISSING || slash == NULL)
    return st;
  return file_read_below(dir, slash + 1, text, why, why_size);
}

int recheck_read (recheck *r, int dir, const char *path, runner_buffer *text,
                  char *why, size_t why_size) {
  const post_file *f = named(r->post, path);
  int st = EXIT_MISSING;
  if (f == NULL)
    snprintf(why, why_size, "the post does not name the file '%.150s'", path);
  else if (dir < 0)
    snprintf(why, why_size, "cannot read '%.150s': no such folder", path);
  else
    st = read_either(dir, path, text, why, why_size);
  if (st == EXIT_OK &&
      !sum_is(text->data != NULL ? text->data : "", text->n, f->sum)) {
    snprintf(why, why_size,
             "the file '%.150s' here is another one: its checksum differs",
             path);
    st = EXIT_DATA;
  }
  if (st != EXIT_OK && r->why[0] == '\0')
    snprintf(r->why, sizeof r->why, "%s", why);
  return st;
}

/* The sum decides, and of two tables with the same one the number. */
bool recheck_posted (recheck *r, const char *line, const char *text,
                     size_t n) {
  bool fits = sum_is(text, n, r->post->table_sum);
  int rank = 2 * fits + (++r->seen == r->post->number);
  if (rank <= r->rank)
    return true;
  r->rank = rank;
  r->table.n = r->line.n = 0;
  r->has_table = buffer_add(&r->table, text, n) &&
                 buffer_add(&r->table, "", 0) &&
                 buffer_add(&r->line, line, strlen(line) + 1);
  r->fits = fits;
  return r->has_table;
}

bool recheck_output (recheck *r, int fd, const char *text, size_t n) {
  size_t room = ERRORS_KEPT - r->errors.n;
  if (fd != STDERR_FILENO)
    return true;
  return buffer_add(&r->errors, text, n < room ? n : room);
}

/* ---- what is said ---- */

typedef struct report {
  runner_buffer text;
  bool failed;
} report;

static void put (report *t, const char *s, size_t n) {
  t->failed = t->failed || !buffer_add(&t->text, s, n);
}

/* Append words in lines of WIDE columns, later ones with two blanks before. */
static void fold_text (report *t, const char *s) {
  size_t column = 0;
  while (*s != '\0') {
    size_t n = strcspn(s, " \n"), shown = 0;
    for (size_t k = 0; k < n; k++)
      shown += ((unsigned char)s[k] & 0xc0) != 0x80;
    if (column > 0 && column + 1 + shown > WIDE) {
      put(t, "\n  ", 3);
      column = 2;
    } else if (column > 0) {
      put(t, " ", 1);
      column++;
    }
    put(t, s, n);
    column += shown;
    s += n;
    s += strspn(s, " \n");
  }
  put(t, "\n", 1);
}

/* The same of a text in which names and cells are a stranger's: what would
** command a terminal is made visible. */
static void fold (report *t, const char *s) {
  runner_visible v = {{0}, 0};
  runner_buffer b = {NULL, 0, 0};
  if (visible_add(&v, s, strlen(s), &b) && visible_end(&v, &b) &&
      buffer_add(&b, "", 1))
    fold_text(t, b.data);
  else
    t->failed = true;
  free(b.data);
}

#if defined(__GNUC__)
__attribute__((format(printf, 2, 3)))
#endif
static void
say (report *t, const char *form, ...) {
  char s[1500];
  va_list args;
  va_start(args, form);
  vsnprintf(s, sizeof s, form, args);
  va_end(args);
  fold(t, s);
}

static int publish (report *t) {
  size_t n = t->text.n;
  bool fine = !t->failed;
  if (!fine)
    fputs("ampstead: not enough memory\n", stderr);
  else
    fine = fwrite(t->text.data, 1, n, stdout) == n && fflush(stdout) == 0;
  free(t->text.data);
  return fine ? EXIT_OK : t->failed ? EXIT_INTERNAL : EXIT_IO;
}

/* ---- one post ---- */

typedef struct checked {
  post *p;
  mend_proof script, table;
  unsigned script_mended, table_mended;
  unwrapped wrap;      /* of the script */
  size_t table_joined; /* lines of the table that were parts of others */
  report *t;
  const char *name;   /* how this post is called in the report */
  bool lost;          /* the table's columns: its blanks ran together */
  bool other;         /* another version made it */
  bool line_differs;  /* its last line does: */
  runner_buffer line; /* sentences that say in what */
} checked;

static int cannot (checked *c, const char *why) {
  say(c->t, "%s: cannot be repeated: %s.", c->name, why);
  return EXIT_DATA;
}

static int cannot_sum (checked *c) {
  char mended[300], broken[200] = "";
  if (c->wrap.line > 0)
    snprintf(broken, sizeof broken,
             " Line %zu of it seems to be the rest of the line before, which "
             "ends at column %zu: join such lines by hand.",
             c->wrap.line, c->wrap.width);
  mended_text(c->script_mended, mended, sizeof mended);
  say(c->t,
      "%s: cannot be repeated: the script in it is not the one that was run. "
      "Its checksum stays another one after all that boards are known to "
      "change was undone%s%s%s. Somebody changed it, or a mail program broke "
      "its long lines otherwise than at one width.%s",
      c->name, mended[0] != '\0' ? " (" : "", mended,
      mended[0] != '\0' ? ")" : "", broken);
  say(c->t, "It was not run.");
  return EXIT_DATA;
}

/* What was wrong with the post and is mended, and how sure that is. */
static void tell_mended (const checked *c) {
  unsigned proven = 0, other = 0;
  char text[300];
  *(c->script == MEND_EXACT ? &proven : &other) |= c->script_mended;
  *(c->table == MEND_EXACT ? &proven : &other) |= c->table_mended;
  if (c->p->quoted)
    say(c->t, "quoted: the quote marks before its lines were taken off.");
  if (c->p->unfenced)
    say(c->t, "no marks  of its blocks are left: they were found by counting "
              "lines.");
  mended_text(proven, text, sizeof text);
  if (text[0] != '\0')
    say(c->t, "repaired: %s; certain, by checksum.", text);
  mended_text(other & ~proven, text, sizeof text);
  if (text[0] != '\0')
    say(c->t, "repaired: %s; not certain.", text);
  if (c->table_joined > 0)
    say(c->t,
        "table: %zu of its lines were the rest of others; joined. Blanks "
        "where they were broken are not known.",
        c->table_joined);
  if (c->script == MEND_WORDS)
    say(c->t, "script: its words are those that were run, by checksum; its "
              "blanks are not, and cannot be restored.");
}

/* Name the script's first complaint, without line ends. */
static void first_line (const runner_buffer *errors, char *to, size_t size) {
  size_t n = 0;
  while (n < errors->n && errors->data[n] != '\n')
    n++;
  snprintf(to, size, "%.*s", (int)(n < 300 ? n : 300),
           errors->data != NULL ? errors->data : "");
}

static int no_table (checked *c, const recheck *r, int st) {
  char text[400];
  if (r->why[0] != '\0')
    return cannot(c, r->why);
  first_line(&r->errors, text, sizeof text);
  if (st != EXIT_OK)
    say(c->t,
        "%s: cannot be repeated: the script stopped before its table%s%s",
        c->name, text[0] != '\0' ? ": " : ".", text);
  else
    say(c->t,
        "%s: cannot be repeated: the script ended and made %d posts; "
        "this is number %d.",
        c->name, r->seen, c->p->number);
  return st == EXIT_INTERRUPT || st == EXIT_INTERNAL ? st : EXIT_DATA;
}

static void tell_difference (checked *c, const recheck *r, size_t n) {
  if (c->other)
    say(c->t, "Run here, its script gives another table:");
  else if (n == 0)
    say(c->t,
        "%s: differs: the table is the same word for word, but not the one "
        "whose checksum the post names.",
        c->name);
  else if (r->fits)
    say(c->t,
        "%s: differs: the script gives the table whose checksum the post "
        "names, but another one stands in the post.",
        c->name);
  else
    say(c->t,
        "%s: differs: the script gives another table here than the one in "
        "the post.",
        c->name);
}

static void fold_lines (report *t, const runner_buffer *list) {
  const char *s = list->data, *stop = s != NULL ? s + list->n : s;
  while (s < stop) {
    const char *end = memchr(s, '\n', (size_t)(stop - s));
    char *line = strndup(s, (size_t)(end - s));
    if (line != NULL)
      fold(t, line);
    else
      t->failed = true;
    free(line);
    s = end + 1;
  }
}

static int differs (checked *c, const recheck *r, const runner_buffer *list,
                    size_t n) {
  tell_difference(c, r, n);
  fold_lines(c->t, list);
  fold_lines(c->t, &c->line);
  return c->other ? EXIT_DATA : EXIT_DIFFERS;
}

static int same (checked *c) {
  if (c->other)
    say(c->t, "Run here, its script gives the same table, byte for byte.");
  else if (c->line_differs)
    say(c->t,
        "%s: differs: its table is the one that the script gives, byte for "
        "byte, but its last line is not what it was or not what was run.",
        c->name);
  else
    say(c->t,
        "%s: the same. ampstead %s ran its script%s%s again and it gave "
        "the table of the post, %s (sha256 %.8s..).",
        c->name, AMPSTEAD_VERSION, c->p->name[0] != '\0' ? " " : "",
        c->p->name,
        c->table == MEND_EXACT
            ? "byte for byte"
            : "word for word; its blanks or line ends are others",
        c->p->table_sum);
  if (c->lost)
    say(c->t, "columns: not vouched for. Blanks of the table ran together or "
              "were taken off its lines; in which column a cell stood in the "
              "post is not known.");
  fold_lines(c->t, &c->line);
  return c->other ? EXIT_DATA : c->line_differs ? EXIT_DIFFERS : EXIT_OK;
}

/* ---- the last line ---- */

/* Name and arguments as they were used: what a changed line may have changed,
** as nothing in the run can say otherwise. */
static bool put_used (const post *p, runner_buffer *to) {
  bool fine = buffer_add(to, "It was run as \"", 15) &&
              buffer_add(to, p->name, strlen(p->name));
  for (size_t k = 0; fine && k < p->arguments; k++)
    fine = buffer_add(to, " ", 1) &&
           buffer_add(to, p->argument[k], strlen(p->argument[k]));
  return fine && buffer_add(to, "\".\n", 3);
}

/* Say in c->line what of the last line the run does not bear out. False where
** memory ends. */
static bool compare_line (checked *c, const recheck *r) {
  static const char none[] = "its last line does not hold its own checksum. ",
                    other[] = "its last line was changed: its own checksum "
                              "is another one. ",
                    behind[] = "words stand behind its last line that are "
                               "not its own.\n";
  const char *why = c->p->line_sum[0] == '\0' ? none : other;
  unsigned skip = (c->other ? TAIL_VERSION : 0u) |
                  (c->script == MEND_EXACT ? 0u : TAIL_SCRIPT) |
                  (r->fits ? 0u : TAIL_TABLE);
  size_t n = post_tail_diff(c->p, r->line.data, skip, &c->line);
  bool fine = n != (size_t)-1;
  if (fine && !c->p->line_fits && !(c->other && why == none)) {
    n++;
    fine = buffer_add(&c->line, why, strlen(why)) && put_used(c->p, &c->line);
  }
  if (fine && c->p->more && !c->p->unfenced) {
    n++;
    fine = buffer_add(&c->line, behind, sizeof behind - 1);
  }
  c->line_differs = n > 0;
  return fine;
}

/* The script came to its table: is it the post's? */
static int compare (checked *c, const recheck *r) {
  runner_buffer list = {NULL, 0, 0};
  size_t n = 0;
  int st;
  if (c->table != MEND_EXACT || !r->fits) {
    c->table_joined = post_rejoin(&c->p->table, &r->table);
    n = c->table_joined == (size_t)-1
            ? c->table_joined
            : post_diff(&c->p->table, &r->table, &list, &c->lost);
  }
  if (n == (size_t)-1 || !compare_line(c, r))
    st = EXIT_INTERNAL;
  else if (n == 0 && r->fits)
    st = same(c);
  else if (c->script == MEND_WORDS && !r->fits)
    st = cannot(c, "its table came out differently, and the blanks that the "
                   "script lost may be why");
  else if (r->why[0] != '\0' && !r->fits)
    st = cannot(c, r->why);
  else
    st = differs(c, r, &list, n);
  free(list.data);
  return st;
}

/* The post's script as any script: its options, arguments and folder. */
static int run_script (checked *c, const runner_options *o,
                       const char *folder, recheck *r) {
  char *argv[POST_ARGUMENTS + 3];
  runner_options own = *o;
  runner_task task;
  int st;
  memset(&task, 0, sizeof task);
  own.out = NULL;
  own.overwrite = own.interactive = own.show_version = false;
  own.has_seed = c->p->has_seed;
  own.seed = c->p->has_seed ? c->p->seed : 1;
  own.steps = 0;
  own.script = 1;
  task.argv = argv;
  argv[task.argc++] = (char *)(uintptr_t) "ampstead";
  argv[task.argc++] = c->p->name;
  for (size_t k = 0; k < c->p->arguments; k++)
    argv[task.argc++] = c->p->argument[k];
  argv[task.argc] = NULL;
  task.o = &own;
  task.name = c->p->name;
  task.text = c->p->script;
  task.has_text = true;
  task.folder = folder;
  task.recheck = r;
  st = parent_run(&task);
  return st;
}

static int run_and_compare (checked *c, const runner_options *o,
                            const char *folder) {
  recheck r;
  int st;
  memset(&r, 0, sizeof r);
  r.post = c->p;
  st = run_script(c, o, folder, &r);
  if (!r.has_table)
    st = no_table(c, &r, st);
  else
    st = compare(c, &r);
  free(r.table.data);
  free(r.line.data);
  free(c->line.data);
  free(r.errors.data);
  return st;
}

/* The script as it was, and if its lines were broken with them joined. */
static mend_proof mend_script (checked *c) {
  post *p = c->p;
  const char *words = p->words_sum[0] != '\0' ? p->words_sum : NULL;
  runner_buffer raw = {NULL, 0, 0};
  bool fine = buffer_add(&raw, p->script.data, p->script.n);
  mend_proof proof =
      post_mend(&p->script, p->script_sum, words, &c->script_mended);
  if (proof == MEND_NONE && fine &&
      post_unwrap(&raw, &p->cut, p->script_lines, p->script_sum, p->words_sum,
                  &c->wrap)) {
    free(p->script.data);
    p->script = raw;
    proof = post_mend(&p->script, p->script_sum, words, &c->script_mended);
    c->script_mended |= MENDED_BROKEN;
    c->script_mended |= c->wrap.decoded ? MENDED_ENTITIES : 0u;
  } else
    free(raw.data);
  return proof;
}

/* What can be said without running anything: EXIT_OK, go on. */
static int look (checked *c) {
  post *p = c->p;
  char why[300];
  if (p->script_sum[0] == '\0')
    return cannot(c, "its script is not known; it was typed at a prompt");
  if (!p->found)
    return cannot(c, "script and table do not stand above its last line");
  c->other = strcmp(p->version, AMPSTEAD_VERSION) != 0;
  if (c->other) { /* said, and run all the same: its answer may be the same */
    snprintf(why, sizeof why,
             "it was made by ampstead %s, and this is " AMPSTEAD_VERSION,
             p->version);
    cannot(c, why);
  }
  if (p->lost[0] != '\0') {
    snprintf(why, sizeof why, "it was %s%s, which the post does not hold",
             strncmp(p->lost, "without", 7) == 0 ? "posted " : "", p->lost);
    return cannot(c, why);
  }
  c->script = mend_script(c);
  if (c->script == MEND_NONE)
    return cannot_sum(c);
  c->table = post_mend(&p->table, p->table_sum, NULL, &c->table_mended);
  return EXIT_OK;
}

static int check_post (post *p, const char *name, const runner_options *o,
                       const char *folder) {
  report t = {{NULL, 0, 0}, false};
  checked c = {.p = p, .t = &t, .name = name};
  int st = look(&c), put;
  if (st == EXIT_OK) {
    st = run_and_compare(&c, o, folder);
    tell_mended(&c);
  }
  put = publish(&t);
  return put == EXIT_OK ? st : put;
}

/* ---- the saved file ---- */

static int load (const char *path, runner_buffer *text) {
  bool from_stdin = strcmp(path, "-") == 0;
  int fd =
      from_stdin ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
  int st = fd < 0 ? EXIT_MISSING : file_read_all(fd, text);
  if (st == EXIT_MISSING || st == EXIT_IO)
    fprintf(stderr, "ampstead: cannot read %s: %s\n", path, strerror(errno));
  if (fd > STDIN_FILENO)
    close(fd);
  if (st == EXIT_DATA || (st == EXIT_OK && text->n > POST_LONGEST)) {
    fprintf(stderr, "ampstead: %s: a post is no longer than 4 MB\n", path);
    st = EXIT_DATA;
  }
  return st;
}

/* The folder in which the saved post stands, from malloc. */
static char *folder_of (const char *path) {
  const char *slash = strrchr(path, '/');
  if (slash == NULL)
    return strdup(".");
  return strndup(path, (size_t)(slash - path) + 1);
}

static const char *base_name (const char *path) {
  const char *slash = strrchr(path, '/');
  return slash != NULL ? slash + 1 : path;
}

static const char *no_post (const runner_buffer *b) {
  if (b->n >= 2 && (memcmp(b->data, "\xff\xfe", 2) == 0 ||
                    memcmp(b->data, "\xfe\xff", 2) == 0))
    return "it is saved as UTF-16; save it as UTF-8";
  return "no line 'rerun: ampstead ..' with its checksums is in it";
}

static int tell_none (const char *path, const char *why) {
  report t = {{NULL, 0, 0}, false};
  int st;
  say(&t, "%.200s: cannot be repeated: %s.", base_name(path), why);
  st = publish(&t);
  return st == EXIT_OK ? EXIT_DATA : st;
}

/* One post that is the same does not speak for another that nobody can read.
 */
static int tell_damaged (const char *path, size_t line) {
  report t = {{NULL, 0, 0}, false};
  int st;
  say(&t,
      "%.200s: the last line at line %zu cannot be read; what stands above "
      "it "
      "was not checked.",
      base_name(path), line);
  st = publish(&t);
  return st == EXIT_OK ? EXIT_DATA : st;
}

/* Of several posts: what differs outweighs what cannot be repeated. */
static int worse (int a, int b) {
  if (a == EXIT_OK || b == EXIT_OK)
    return a == EXIT_OK ? b : a;
  if (a != EXIT_DIFFERS && a != EXIT_DATA)
    return a;
  return b == EXIT_DATA ? a : b;
}

static int check_all (post *list, size_t n, bool more,
                      const runner_options *o, const char *folder) {
  const char *base = base_name(o->recheck);
  int st = EXIT_OK;
  char name[300];
  for (size_t k = 0; k < n; k++) {
    snprintf(name, sizeof name, n > 1 ? "%.200s, post at line %zu" : "%.200s",
             base, list[k].line);
    st = worse(st, check_post(&list[k], name, o, folder));
  }
  if (more)
    printf("Only the first %d posts were looked at.\n", POST_MOST);
  return st;
}

int recheck_run (const runner_options *o) {
  runner_buffer text = {NULL, 0, 0};
  post *list = calloc(POST_MOST, sizeof *list);
  char *folder = folder_of(o->recheck);
  bool more = false;
  size_t n = 0, damaged = 0;
  int st = list == NULL || folder == NULL ? EXIT_INTERNAL
                                          : load(o->recheck, &text);
  if (st == EXIT_OK)
    n = post_find(text.data != NULL ? text.data : "", text.n, list, &more,
                  &damaged);
  if (n == (size_t)-1)
    st = EXIT_INTERNAL;
  else if (st == EXIT_OK && n == 0) {
    st = tell_none(o->recheck, no_post(&text));
  } else if (st == EXIT_OK) {
    st = check_all(list, n, more, o, folder);
    if (damaged > 0)
      st = worse(st, tell_damaged(o->recheck, damaged));
  }
  for (size_t k = 0; n != (size_t)-1 && k < n; k++)
    post_free(&list[k]);
  free(list);
  free(folder);
  free(text.data);
  return st;
}
