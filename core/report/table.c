/*
** table.c -- columns, rows and sentences held in memory; selecting and
** ordering.
*/
#include "report/table.h"
#include <limits.h>
#include <string.h>

typedef struct column {
  char *key, *label, *unit;
  amp_column_kind kind;
  bool hidden, folded;
} column;

typedef struct sentence {
  char *label, *line;
} sentence;

typedef struct sentences {
  sentence *at;
  int n, room;
} sentences;

struct amp_table {
  amp_context ctx;
  char *title, *corner;
  bool across;
  column *column;
  int columns;
  amp_cell_data *cell; /* row by row */
  int rows, room;      /* in rows */
  sentences head, note;
};

static char *keep (const amp_context *ctx, const char *s) {
  size_t n = strlen(s) + 1;
  char *p = amp_alloc(ctx, n);
  if (p)
    memcpy(p, s, n);
  return p;
}

static void drop (const amp_context *ctx, const char *s) {
  if (s)
    amp_free(ctx, (void *)(uintptr_t)s, strlen(s) + 1);
}

amp_table *amp_table_new (const amp_context *ctx, const char *title) {
  amp_table *t = amp_alloc(ctx, sizeof *t);
  if (!t)
    return NULL;
  t->ctx = *amp_context_or_plain(ctx);
  t->title = keep(&t->ctx, title ? title : "");
  t->corner = keep(&t->ctx, "");
  if (t->title && t->corner)
    return t;
  amp_table_free(t);
  return NULL;
}

static void drop_sentences (const amp_context *ctx, sentences *all) {
  for (int i = 0; i < all->n; i++) {
    drop(ctx, all->at[i].label);
    drop(ctx, all->at[i].line);
  }
  amp_free(ctx, all->at, (size_t)all->room * sizeof *all->at);
}

static void drop_column (const amp_context *ctx, column *c) {
  drop(ctx, c->key);
  drop(ctx, c->label);
  drop(ctx, c->unit);
}

void amp_table_free (amp_table *t) {
  amp_context ctx;
  if (!t)
    return;
  ctx = t->ctx;
  for (int i = 0; i < t->rows * t->columns; i++) {
    drop(&ctx, t->cell[i].text);
    drop(&ctx, t->cell[i].why);
  }
  amp_free(&ctx, t->cell,
           (size_t)t->room * (size_t)t->columns * sizeof *t->cell);
  for (int i = 0; i < t->columns; i++)
    drop_column(&ctx, &t->column[i]);
  amp_free(&ctx, t->column, (size_t)t->columns * sizeof *t->column);
  drop_sentences(&ctx, &t->head);
  drop_sentences(&ctx, &t->note);
  drop(&ctx, t->title);
  drop(&ctx, t->corner);
  amp_free(&ctx, t, sizeof *t);
}

int amp_table_add_column (amp_table *t, const char *key, const char *label,
                          const char *unit, amp_column_kind kind) {
  size_t size = (size_t)t->columns * sizeof *t->column;
  column c = {NULL, NULL, NULL, kind, false, false};
  column *grown;
  if (!key || !*key || t->rows > 0 || amp_table_find(t, key) >= 0)
    return -1;
  c.key = keep(&t->ctx, key);
  c.label = keep(&t->ctx, label ? label : key);
  c.unit = keep(&t->ctx, unit ? unit : "");
  grown = c.key && c.label && c.unit
              ? amp_realloc(&t->ctx, t->column, size, size + sizeof c)
              : NULL;
  if (!grown) {
    drop_column(&t->ctx, &c);
    return -1;
  }
  t->column = grown;
  t->column[t->columns] = c;
  return t->columns++;
}

static bool has_column (const amp_table *t, int column) {
  return column >= 0 && column < t->columns;
}

void amp_table_hide_column (amp_table *t, int column, bool hidden) {
  if (has_column(t, column))
    t->column[column].hidden = hidden;
}

void amp_table_fold_column (amp_table *t, int column, bool folded) {
  if (has_column(t, column))
    t->column[column].folded = folded;
}

static amp_cell_data empty_cell (void) {
  amp_cell_data c = {AMP_NOT_GIVEN,  AMP_NOT_GIVEN, AMP_NOT_GIVEN,
                     AMP_BASIS_NONE, false,         false,
                     NULL,           NULL};
  return c;
}

static bool make_rows (amp_table *t) {
  size_t row = (size_t)t->columns * sizeof *t->cell;
  int room = t->room ? 2 * t->room : 4;
  amp_cell_data *grown;
  if (t->rows < t->room)
    return true;
  if (t->columns == 0 || room > INT_MAX / 2 / t->columns)
    return false;
  grown = amp_realloc(&t->ctx, t->cell, (size_t)t->room * row,
                      (size_t)room * row);
  if (!grown)
    return false;
  t->cell = grown;
  t->room = room;
  return true;
}

int amp_table_add_row (amp_table *t) {
  if (!make_rows(t))
    return -1;
  for (int i = 0; i < t->columns; i++)
    t->cell[t->rows * t->columns + i] = empty_cell();
  return t->rows++;
}

bool amp_table_set (amp_table *t, int row, int column,
                    const amp_cell_data *cell) {
  amp_cell_data c = *cell, *old;
  if (row < 0 || row >= t->rows || !has_column(t, column))
    return false;
  c.text = c.text ? keep(&t->ctx, c.text) : NULL;
  c.why = c.why ? keep(&t->ctx, c.why) : NULL;
  if ((cell->text && !c.text) || (cell->why && !c.why)) {
    drop(&t->ctx, c.text);
    drop(&t->ctx, c.why);
    return false;
  }
  old = &t->cell[row * t->columns + column];
  drop(&t->ctx, old->text);
  drop(&t->ctx, old->why);
  *old = c;
  return true;
}

/* Room for one more. */
static bool grow_sentences (const amp_context *ctx, sentences *all) {
  size_t size = (size_t)all->room * sizeof *all->at;
  sentence *grown;
  if (all->n < all->room)
    return true;
  grown = amp_realloc(ctx, all->at, size, size + sizeof *all->at);
  if (!grown)
    return false;
  all->at = grown;
  all->room++;
  return true;
}

static bool add_sentence (amp_table *t, sentences *all, const char *label,
                          const char *line) {
  sentence s = {keep(&t->ctx, label ? label : ""),
                keep(&t->ctx, line ? line : "")};
  if (!s.label || !s.line || !grow_sentences(&t->ctx, all)) {
    drop(&t->ctx, s.label);
    drop(&t->ctx, s.line);
    return false;
  }
  all->at[all->n++] = s;
  return true;
}

bool amp_table_add_head (amp_table *t, const char *line) {
  return add_sentence(t, &t->head, NULL, line);
}

bool amp_table_add_note (amp_table *t, const char *label, const char *line) {
  return add_sentence(t, &t->note, label, line);
}

void amp_table_drop_note (amp_table *t, int i) {
  if (i < 0 || i >= t->note.n)
    return;
  drop(&t->ctx, t->note.at[i].label);
  drop(&t->ctx, t->note.at[i].line);
  for (t->note.n--; i < t->note.n; i++)
    t->note.at[i] = t->note.at[i + 1];
}

void amp_table_set_across (amp_table *t, bool across) {
  t->across = across;
}

void amp_table_set_corner (amp_table *t, const char *corner) {
  char *kept = keep(&t->ctx, corner ? corner : "");
  if (!kept)
    return;
  drop(&t->ctx, t->corner);
  t->corner = kept;
}

bool amp_table_across (const amp_table *t) {
  return t->across;
}

const char *amp_table_corner (const amp_table *t) {
  return t->corner;
}

bool amp_table_hidden (const amp_table *t, int column) {
  return has_column(t, column) && t->column[column].hidden;
}

bool amp_table_folded (const amp_table *t, int column) {
  return has_column(t, column) && t->column[column].folded;
}

const char *amp_table_title (const amp_table *t) {
  return t->title;
}

int amp_table_rows (const amp_table *t) {
  return t->rows;
}

int amp_table_columns (const amp_table *t) {
  return t->columns;
}

int amp_table_find (const amp_table *t, const char *key) {
  for (int i = 0; key && i < t->columns; i++)
    if (strcmp(t->column[i].key, key) == 0)
      return i;
  return -1;
}

const char *amp_table_key (const amp_table *t, int column) {
  return has_column(t, column) ? t->column[column].key : NULL;
}

const char *amp_table_label (const amp_table *t, int column) {
  return has_column(t, column) ? t->column[column].label : NULL;
}

const char *amp_table_unit (const amp_table *t, int column) {
  return has_column(t, column) ? t->column[column].unit : NULL;
}

amp_column_kind amp_table_kind (const amp_table *t, int column) {
  return has_column(t, column) ? t->column[column].kind : AMP_COLUMN_TEXT;
}

const amp_cell_data *amp_table_get (const amp_table *t, int row, int column) {
  if (row < 0 || row >= t->rows || !has_column(t, column))
    return NULL;
  return &t->cell[row * t->columns + column];
}

int amp_table_heads (const amp_table *t) {
  return t->head.n;
}

const char *amp_table_head (const amp_table *t, int i) {
  return i >= 0 && i < t->head.n ? t->head.at[i].line : NULL;
}

int amp_table_notes (const amp_table *t) {
  return t->note.n;
}

const char *amp_table_note (const amp_table *t, int i, const char **label) {
  if (i < 0 || i >= t->note.n)
    return NULL;
  if (label)
    *label = t->note.at[i].label;
  return t->note.at[i].line;
}

static bool copy_columns (amp_table *to, const amp_table *t,
                          const int *column, int columns) {
  for (int i = 0; i < columns; i++) {
    int c = column ? column[i] : i;
    if (!has_column(t, c) ||
        amp_table_add_column(to, t->column[c].key, t->column[c].label,
                             t->column[c].unit, t->column[c].kind) < 0)
      return false;
    to->column[i].hidden = t->column[c].hidden;
    to->column[i].folded = t->column[c].folded;
  }
  return true;
}

static bool copy_rows (amp_table *to, const amp_table *t, const int *row,
                       int rows, const int *column) {
  for (int r = 0; r < rows; r++) {
    int from = row ? row[r] : r;
    if (from < 0 || from >= t->rows || amp_table_add_row(to) != r)
      return false;
    for (int i = 0; i < to->columns; i++)
      if (!amp_table_set(to, r, i,
                         amp_table_get(t, from, column ? column[i] : i)))
        return false;
  }
  return true;
}

static bool copy_sentences (amp_table *to, const amp_table *t) {
  for (int i = 0; i < t->head.n; i++)
    if (!amp_table_add_head(to, t->head.at[i].line))
      return false;
  for (int i = 0; i < t->note.n; i++)
    if (!amp_table_add_note(to, t->note.at[i].label, t->note.at[i].line))
      return false;
  to->across = t->across;
  amp_table_set_corner(to, t->corner);
  return strcmp(to->corner, t->corner) == 0; /* else no memory */
}

amp_table *amp_table_select (const amp_table *t, const int *row, int rows,
                             const int *column, int columns) {
  amp_table *to = amp_table_new(&t->ctx, t->title);
  if (to && copy_columns(to, t, column, column ? columns : t->columns) &&
      copy_rows(to, t, row, row ? rows : t->rows, column) &&
      copy_sentences(to, t))
    return to;
  amp_table_free(to);
  return NULL;
}

amp_table *amp_table_copy (const amp_table *t) {
  return amp_table_select(t, NULL, 0, NULL, 0);
}

/* < 0: row a comes before row b. Never 0 for a != b, so that heap sort,
** which needs no memory, still keeps equal rows in order. */
static int compare_rows (const amp_table *t, int column, bool down, int a,
                         int b) {
  const amp_cell_data *p = amp_table_get(t, a, column);
  const amp_cell_data *q = amp_table_get(t, b, column);
  bool words = amp_table_kind(t, column) == AMP_COLUMN_TEXT;
  int by_index = (a > b) - (a < b);
  bool p_none, q_none;
  int by;
  if (!p || !q)
    return by_index;
  p_none = words ? !p->text : !amp_given(p->value);
  q_none = words ? !q->text : !amp_given(q->value);
  if (p_none || q_none)
    return p_none == q_none ? by_index : p_none ? 1 : -1;
  if (words)
    by = strcmp(p->text, q->text);
  else
    by = (p->value > q->value) - (p->value < q->value);
  if (by == 0)
    return by_index;
  return down == (by > 0) ? -1 : 1;
}

static void sift (const amp_table *t, int column, bool down, int *order,
                  int i, int n) {
  for (;;) {
    int child = 2 * i + 1, kept;
    if (child >= n)
      return;
    if (child + 1 < n &&
        compare_rows(t, column, down, order[child], order[child + 1]) < 0)
      child++;
    if (compare_rows(t, column, down, order[i], order[child]) >= 0)
      return;
    kept = order[i];
    order[i] = order[child];
    order[child] = kept;
    i = child;
  }
}

void amp_table_order (const amp_table *t, int column, bool down, int *order) {
  int n = t->rows;
  for (int i = 0; i < n; i++)
    order[i] = i;
  for (int i = n / 2; i-- > 0;)
    sift(t, column, down, order, i, n);
  while (n > 1) {
    int last = order[--n];
    order[n] = order[0];
    order[0] = last;
    sift(t, column, down, order, 0, n);
  }
}
