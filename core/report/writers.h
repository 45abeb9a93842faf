/*
** writers.h -- the writers behind amp_table_write, one file each. They
** append to 'out'; lack of memory shows in out->failed. Not part of the interface.
*/
#ifndef AMP_REPORT_WRITERS_H
#define AMP_REPORT_WRITERS_H

#include "report/sheet.h"

enum { AMP_PAGE = 78 }; /* columns of a line of text */

void amp_write_text (const amp_sheet *s, amp_buffer *out);
void amp_write_bbcode (const amp_sheet *s, amp_buffer *out);
void amp_write_markdown (const amp_sheet *s, amp_buffer *out);
void amp_write_html (const amp_sheet *s, amp_buffer *out);
void amp_write_csv (const amp_table *t, amp_buffer *out);
void amp_write_json (const amp_table *t, amp_buffer *out);

#endif
