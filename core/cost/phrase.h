/*
** phrase.h -- numbers and words as people write them in adverts: "2.480,00",
** "92 % SoH", "94 Ah, 14.6 V", "97.2; 95.0; 88.1". Nothing is guessed: a
** number that may be read in two ways says so. No physics, no money.
*/
#ifndef AMP_COST_PHRASE_H
#define AMP_COST_PHRASE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum amp_written {
  AMP_WRITTEN_NUMBER,
  AMP_WRITTEN_NOTHING,  /* empty, "-", "?", "n/a" */
  AMP_WRITTEN_TWO_WAYS, /* 1.500 or 1,500: thousands or decimals? */
  AMP_WRITTEN_COMMA,    /* 60,5: a decimal comma that was not announced */
  AMP_WRITTEN_RANGE,    /* too large, or too small to be told from 0 */
  AMP_WRITTEN_WORDS     /* not a number */
} amp_written;

/*
** The whole of s[0..n) as one number. 'decimal' is '.' or ',', or 0 where
** nobody said. Thousands stand in groups of three, parted by the other mark,
** by blanks or by apostrophes. Where nobody said: two kinds of marks tell
** which is which by their order, and a lone comma is not read. A lone point
** before exactly three digits is read as a decimal point unless 'money':
** sums have no three decimals, so there it may part thousands.
*/
amp_written amp_number_written (const char *s, size_t n, char decimal,
                                bool money, double *out);

enum { AMP_PHRASE_TOKENS = 40, AMP_PHRASE_WORD = 16 };

typedef struct amp_token {
  bool number;
  amp_written how;            /* of a number */
  double value;
  char word[AMP_PHRASE_WORD]; /* lower case, cut; single signs are words: %
                                 ? / ~ < > + $, the euro, the pound, and "-"
                                 between numbers or blanks */
} amp_token;

typedef struct amp_phrase {
  int n;
  amp_token t[AMP_PHRASE_TOKENS]; /* the first ones */
} amp_phrase;

/* Split into numbers and words; "7s2p" is a word. */
void amp_phrase_read (const char *s, char decimal, bool money,
                      amp_phrase *out);

/* "85-95", "85 to 95": two numbers of which nobody knows which holds. */
bool amp_phrase_is_range (const amp_phrase *p);

/*
** The text with plain signs in place of typographic ones: blanks that hold a
** line and narrow ones, tabs, dashes, the minus, apostrophes. Into 'out';
** gives 'out', or 's' itself where it is as long as 'size' or longer.
*/
const char *amp_cell_plain (const char *s, char *out, size_t size);

/* Is one of the words (parted by blanks in 'list') in the phrase? */
bool amp_phrase_has (const amp_phrase *p, const char *list);

/* Is the word of token 'i' one of 'list'? Past the end: no. */
bool amp_phrase_is (const amp_phrase *p, int i, const char *list);

/*
** Two cells of a list, as typed: alike where both are empty, both the same
** number, or the same words (ASCII case and the length of blanks aside).
** Cells that are alike have the same digest.
*/
bool amp_cell_alike (const char *a, const char *b, char decimal);
uint64_t amp_cell_digest (const char *s, char decimal);

/*
** A day as people write it: 2026-06-28, 28.06.2026, 28/06/2026 (day first
** where the first is above 12, else told two ways). Days since 1970-01-01.
*/
amp_written amp_day_written (const char *s, double *day);

#endif
