/*
** write_json.c -- the table as data (RFC 8259): full digits, and of a cell
** only what it has. What is not a finite number is null.
*/
#include "report/writers.h"
#include "base/text.h"
#include <math.h>
#include <string.h>

static void put_hex (amp_buffer *out, unsigned v) {
  static const char digit[] = "0123456789abcdef";
  char s[6] = {'\\', 'u', '0', '0', digit[v >> 4 & 15], digit[v & 15]};
  amp_buffer_add(out, s, sizeof s);
}

/* Bytes of a well-formed character at s (Unicode 15, table 3-7); 0: none */
static size_t well_formed (const char *s) {
  const unsigned char *u = (const unsigned char *)s;
  size_t n = u[0] < 0x80                    ? 1
             : u[0] >= 0xc2 && u[0] <= 0xdf ? 2
             : u[0] >= 0xe0 && u[0] <= 0xef ? 3
             : u[0] >= 0xf0 && u[0] <= 0xf4 ? 4
                                            : 0;
  for (size_t i = 1; i < n; i++)
    if ((u[i] & 0xc0) != 0x80)
      return 0;
  if ((u[0] == 0xe0 && u[1] < 0xa0) || (u[0] == 0xed && u[1] > 0x9f) ||
      (u[0] == 0xf0 && u[1] < 0x90) || (u[0] == 0xf4 && u[1] > 0x8f))
    return 0;
  return n;
}

/* A byte that is no UTF-8 becomes U+FFFD; C1 controls go as \u00xx. */
static void put_string (amp_buffer *out, const char *s) {
  amp_buffer_puts(out, "\"");
  while (*s) {
    unsigned char c = (unsigned char)*s;
    size_t n = well_formed(s);
    if (n == 0)
      amp_buffer_puts(out, "\\ufffd");
    else if (c < 0x20 || c == 0x7f)
      put_hex(out, c);
    else if (c == 0xc2 && (unsigned char)s[1] < 0xa0)
      put_hex(out, (unsigned char)s[1]);
    else {
      amp_buffer_puts(out, c == '"' || c == '\\' ? "\\" : "");
      amp_buffer_add(out, s, n);
    }
    s += n > 0 ? n : 1;
  }
  amp_buffer_puts(out, "\"");
}

static void put_member (amp_buffer *out, const char *name,
                        const char *value) {
  put_string(out, name);
  amp_buffer_puts(out, ": ");
  put_string(out, value);
}

static void put_number (amp_buffer *out, double v) {
  char s[64];
  if (isfinite(v))
    amp_buffer_add(out, s, amp_format_shortest(v, s));
  else
    amp_buffer_puts(out, "null");
}

static void put_spread (const amp_cell_data *c, amp_buffer *out) {
  if (!amp_cell_has_spread(c))
    return;
  amp_buffer_puts(out, ", \"low\": ");
  put_number(out, c->low);
  amp_buffer_puts(out, ", \"high\": ");
  put_number(out, c->high);
  amp_buffer_puts(out, c->high_beyond ? ", \"high_beyond\": true" : "");
}

static void put_cell (const amp_cell_data *c, amp_buffer *out) {
  const char *basis = amp_basis_name(c->basis);
  amp_buffer_puts(out, "{\"value\": ");
  put_number(out, c->value);
  amp_buffer_puts(out, c->beyond ? ", \"beyond\": true" : "");
  put_spread(c, out);
  if (*basis) {
    amp_buffer_puts(out, ", ");
    put_member(out, "basis", basis);
  }
  if (c->text) {
    amp_buffer_puts(out, ", ");
    put_member(out, "text", c->text);
  }
  if (c->why) {
    amp_buffer_puts(out, ", ");
    put_member(out, "why", c->why);
  }
  amp_buffer_puts(out, "}");
}

static void put_columns (const amp_table *t, amp_buffer *out) {
  static const char *const kind[] = {"text", "number", "money", "count",
                                     "share"};
  amp_buffer_puts(out, "  \"columns\": [");
  for (int c = 0; c < amp_table_columns(t); c++) {
    amp_buffer_puts(out, c > 0 ? ",\n    {" : "\n    {");
    put_member(out, "key", amp_table_key(t, c));
    amp_buffer_puts(out, ", ");
    put_member(out, "label", amp_table_label(t, c));
    amp_buffer_puts(out, ", ");
    put_member(out, "unit", amp_table_unit(t, c));
    amp_buffer_puts(out, ", ");
    put_member(out, "kind", kind[amp_table_kind(t, c)]);
    amp_buffer_puts(out,
                    amp_table_hidden(t, c) ? ", \"hidden\": true}" : "}");
  }
  amp_buffer_puts(out, "\n  ],\n");
}

static void put_rows (const amp_table *t, amp_buffer *out) {
  amp_buffer_puts(out, "  \"rows\": [");
  for (int r = 0; r < amp_table_rows(t); r++) {
    amp_buffer_puts(out, r > 0 ? ",\n    {" : "\n    {");
    for (int c = 0; c < amp_table_columns(t); c++) {
      amp_buffer_puts(out, c > 0 ? ",\n      " : "\n      ");
      put_string(out, amp_table_key(t, c));
      amp_buffer_puts(out, ": ");
      put_cell(amp_table_get(t, r, c), out);
    }
    amp_buffer_puts(out, "\n    }");
  }
  amp_buffer_puts(out, "\n  ],\n");
}

static void put_notes (const amp_table *t, amp_buffer *out) {
  amp_buffer_puts(out, "  \"notes\": [");
  for (int i = 0; i < amp_table_notes(t); i++) {
    const char *label, *line = amp_table_note(t, i, &label);
    amp_buffer_puts(out, i > 0 ? ",\n    {" : "\n    {");
    put_member(out, "label", label);
    amp_buffer_puts(out, ", ");
    put_member(out, "text", line);
    amp_buffer_puts(out, "}");
  }
  amp_buffer_puts(out, "\n  ]\n}\n");
}

void amp_write_json (const amp_table *t, amp_buffer *out) {
  amp_buffer_puts(out, "{\n  ");
  put_member(out, "title", amp_table_title(t));
  amp_buffer_puts(out, ",\n  \"heads\": [");
  for (int i = 0; i < amp_table_heads(t); i++) {
    amp_buffer_puts(out, i > 0 ? ",\n    " : "\n    ");
    put_string(out, amp_table_head(t, i));
  }
  amp_buffer_puts(out, "\n  ],\n");
  put_columns(t, out);
  put_rows(t, out);
  put_notes(t, out);
}
