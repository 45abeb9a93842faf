/*
** bind.h -- what the files of the Lua module share: classes described by
** tables of fields, values with spread, errors at the user's own line, the
** host through which files are reached, and the context lent to the core.
**
** How the two halves meet. luaopen_ampstead builds one table 'core', loads
** the chunk "init" of the Lua half and calls it with (core, loader);
** loader "compare" loads another chunk. What init returns is what
** require "ampstead" gives. In 'core' stand
**   chemistry cell module offer need inverter life_model pack   {} -> object
**   daily net  {} -> profile;  profile_csv(path, opts) profile_text(s, opts)
**   profile_steps({phase, ..}) drawn{log, ..}
**   cell fit log reading fuse_link cable busbar circuit .. {} -> object
**   offers_raw(text, file, opts) -> rows of adverts
**   measured claimed assumed between tested -> value
**   fixed(v, decimals) short(v) trim(v, digits)   a number as text
**   range version at_least params levelised bid_ceiling layouts rainflow
**   chemistries life_models sha256 describe
**   compare_raw(offers, need, opts, others) sweep_raw(cases, opts)
**   simulate_raw(pack, duty, inverter, settled)
**   trace_raw(pack, duty, inverter, settled, every)
**   kind(x)      "module", "value", ... or nil for what is not ours
**   keys(x)      a copy of the table of keys as given
**   name(x)      the name of an object, or its class
**   defaults(x)  list of sentences: what was not given and what stands in
**   value(v)     {value, sd, lo, hi, basis, n, of, half_width, spread}
**   methods(k)   the table of methods of class k, to add to
**   print_by(k, fn)   what print shows of an object of class k is fn(object)
**   fail(class, text)  raise at the user's line; class "data", "missing",
**                "policy", "io", "create", "usage" or "script"
**   warn(text) progress(share) read(path) write(path, bytes)
**   script()     text and name, its arguments, what was run besides it
**   modules()    list of {path, text} of what it required
**   post_text(t) words(text) for posts, which core.post of the Lua half makes
**   params_used() list of {name, value, default, given} in name order
**   settings()   {seed, jobs, draws} as the runner set them, or nil in each
** Each bind_<subject>.c adds its own with bind_<subject>_open, 'core' on the
** top of the stack.
*/
#ifndef AMPSTEAD_BIND_H
#define AMPSTEAD_BIND_H

#include "ampstead.h"
#include <lauxlib.h>
#include <lua.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- classes and their fields ---- */

typedef enum bind_kind {
  BIND_NUMBER, /* double at offset */
  BIND_PRICE,  /* double at offset: number, or value object: its middle */
  BIND_WHOLE,  /* int at offset */
  BIND_VALUE,  /* amp_value at offset: number or value object */
  BIND_TEXT,   /* char[64] at offset */
  BIND_OBJECT, /* left to the class: an object or a name */
  BIND_LIST,   /* left to the class: a table, often also a number */
  BIND_CHOICE, /* left to the class: one of the words in 'unit' */
  BIND_LAW,    /* left to the class: a function */
  BIND_FLAG    /* bool at offset */
} bind_kind;

typedef struct bind_field {
  const char *key;
  bind_kind kind;
  size_t offset;
  double factor, shift; /* SI = given * factor + shift */
  double lo, hi;        /* in the user's unit */
  const char *unit;     /* "Ah", "%", or "" */
  const char *core;     /* what the core calls it in its errors */
  int group;            /* not 0: keys of one group replace each other */
  const char *doc;
} bind_field;

#define BIND_NONE ((size_t)-1)
#define F_NUM(key, S, m, factor, lo, hi, unit, doc)                          \
  { key, BIND_NUMBER, offsetof(S, m), factor, 0.0, lo, hi, unit, #m, 0, doc }
#define F_PRICE(key, S, m, hi, group, doc)                                    \
  { key, BIND_PRICE, offsetof(S, m), 1.0, 0.0, 0.0, hi, "", #m, group, doc }
#define F_DRAWN(key, S, m, factor, lo, hi, unit, group, doc)                  \
  {                                                                          \
    key, BIND_PRICE, offsetof(S, m), factor, 0.0, lo, hi, unit, #m, group,   \
        doc                                                                  \
  }
#define F_NUM_OF(key, S, m, factor, lo, hi, unit, group, doc)                \
  {                                                                          \
    key, BIND_NUMBER, offsetof(S, m), factor, 0.0, lo, hi, unit, #m, group,  \
        doc                                                                  \
  }
#define F_TEMP(key, S, m, lo, hi, doc)                                       \
  { key, BIND_NUMBER, offsetof(S, m), 1.0, 273.15, lo, hi, "C", #m, 0, doc }
/* A temperature under two keys: "coldest" makes coldest_c and coldest_f. */
#define F_TEMPS(key, S, m, lo, hi, group, doc)                               \
  F_TEMPS_AS(key, S, m, #m, lo, hi, group, doc)
#define F_TEMPS_AS(key, S, m, spec, lo, hi, group, doc)                      \
  {key "_c", BIND_NUMBER, offsetof(S, m), 1.0, 273.15, lo,                   \
   hi,       "C",         spec,           group, doc},                       \
      {key "_f", BIND_NUMBER, offsetof(S, m), 5.0 / 9.0,                     \
       273.15 - 160.0 / 9.0, (lo) * 1.8 + 32.0, (hi) * 1.8 + 32.0, "F",      \
       spec, group, "the same in Fahrenheit"}
#define F_WHOLE(key, S, m, lo, hi, doc)                                      \
  { key, BIND_WHOLE, offsetof(S, m), 1.0, 0.0, lo, hi, "", #m, 0, doc }
#define F_VALUE(key, S, m, factor, lo, hi, unit, doc)                        \
  { key, BIND_VALUE, offsetof(S, m), factor, 0.0, lo, hi, unit, #m, 0, doc }
#define F_TEXT(key, S, m, doc)                                               \
  { key, BIND_TEXT, offsetof(S, m), 1.0, 0.0, 0.0, 0.0, "", #m, 0, doc }
#define F_FLAG(key, S, m, doc)                                               \
  { key, BIND_FLAG, offsetof(S, m), 1.0, 0.0, 0.0, 0.0, "", #m, 0, doc }
#define F_ELSE(key, kind, unit, doc)                                         \
  { key, kind, BIND_NONE, 1.0, 0.0, 0.0, 0.0, unit, key, 0, doc }
#define F_ELSE_OF(key, kind, factor, lo, hi, unit, group, doc)               \
  { key, kind, BIND_NONE, factor, 0.0, lo, hi, unit, key, group, doc }
#define F_END                                                                \
  { NULL, BIND_NUMBER, 0, 0.0, 0.0, 0.0, 0.0, NULL, NULL, 0, NULL }

typedef struct bind_class {
  const char *name; /* "module" */
  const char *make; /* constructor in 'core'; several classes may
                                share a name: "daily" and "net" both make a
                                "profile" */
  const char *doc;
  const bind_field *fields; /* ended by F_END */
  size_t size;              /* of the C spec */
  void (*defaults)(void *spec);
  /* Read what bind_read leaves out and check; 'keys' is the index of the
  ** table of keys. Raises through bind_error. May be NULL. */
  void (*finish)(lua_State *L, int keys, void *spec);
  /* Push one sentence for each default taken to the list at the top. */
  void (*tell)(lua_State *L, const void *spec);
  void (*free)(lua_State *L, void *spec);
  const luaL_Reg *methods; /* besides 'with'; may be NULL */
} bind_class;

/* The registry's name of a class's metatable begins so: nothing else there
** does, whatever a class is called. */
#define BIND_OBJECT_OF "ampstead.object."

/* Make the class known (metatable BIND_OBJECT_OF <make>) and put its
** constructor into the table at the top. */
void bind_class_open (lua_State *L, const bind_class *c);

/* From the table of keys at 'arg' make an object, left at the top. */
int bind_new (lua_State *L, const bind_class *c, int arg);

/* The spec of the object at 'idx', or NULL when it is not of the class. */
void *bind_test (lua_State *L, int idx, const char *class_name);
/* The same, raising "<who> must be a <class>" at the user's line. */
void *bind_check (lua_State *L, int idx, const char *class_name,
                  const char *who);
/* Push the table of keys of the object at 'idx' (not a copy). */
void bind_push_keys (lua_State *L, int idx);
const char *bind_class_of (lua_State *L, int idx); /* or NULL */
/* In 'finish': the object keeps what is at the top of the stack alive, and
** it is popped. */
void bind_keep (lua_State *L, int keys);

/* Give the userdata on top the metatable 'name', made here where it is not
** there yet, with the finalizer 'gc'. No two finalizers share a name. */
void bind_finalizer (lua_State *L, const char *name, lua_CFunction gc);
/* Name of the object that is being made, for errors: 'offer "H1"'. */
const char *bind_who (lua_State *L, const bind_class *c, int keys);
/* To go through the keys of a table in the same order each run: the least key
** of text in byte order above 'last' (NULL: the first), or NULL. Keys that
** hold a NUL are passed over: bind_is_named finds them. */
const char *bind_next_name (lua_State *L, int idx, const char *last);
/* Is every key of the table text without a NUL? */
bool bind_is_named (lua_State *L, int idx);
/* Push a copy of what stands at 'idx'; a table in it prints as what it
** holds. */
void bind_push_copy (lua_State *L, int idx);
/* The plain table at the top prints as what it holds, not as an address. */
void bind_plain (lua_State *L);
/* keys[key] is pushed; false (and nothing pushed) where it is nil. */
bool bind_get (lua_State *L, int keys, const char *key);
const bind_field *bind_field_find (const bind_class *c, const char *key);

/* The number at 'idx' checked against the field, in SI; warns for a likely
** fraction where percent is meant. 'who' starts the message. */
double bind_number (lua_State *L, int idx, const bind_field *f,
                    const char *who);
/* The same for number or value object; names its stream "<name>/<key>". */
amp_value bind_value (lua_State *L, int idx, const bind_field *f,
                      const char *who, const char *name);
/* The number or value object at the top, field f of the object whose keys
** stand at 'keys': its stream is named by both. */
amp_value bind_field_value (lua_State *L, const bind_class *c,
                            const bind_field *f, int keys);

/* Into the table at the top; a number that is not given leaves no key. */
void bind_put (lua_State *L, const char *key, double v);
void bind_put_flag (lua_State *L, const char *key, bool v);
void bind_put_text (lua_State *L, const char *key, const char *s);
/* Return this of a computed key: nil where the number is not told. */
int bind_told (lua_State *L, double v);
/* A computed key of class 'class' whose spec is a bind_<class>, 's'. */
#define BIND_READ(class, key, expression)                                    \
  static int class##_##key (lua_State *L) {                                  \
    const bind_##class *s = bind_check(L, 1, #class, #key);                  \
    return bind_told(L, expression);                                         \
  }

/* In 'tell': add one sentence to the list at the top. */
void bind_say (lua_State *L, const char *sentence);
/* Numbers of the list (or the one number) at 'idx' in SI into out[most];
** returns how many; values with basis are not taken here. */
int bind_list (lua_State *L, int idx, const bind_field *f, const char *who,
               double *out, int most);

/* Options of a call: a number under 'key' in the table at 'idx' (which may
** be none), else 'otherwise'. Unknown keys: bind_options names them; 'keys'
** ends with NULL. */
double bind_option (lua_State *L, int idx, const char *key, double otherwise);
void bind_options (lua_State *L, int idx, const char *call,
                   const char *const *keys);

/* An option of one character, as sep and decimal; '\0' where it is not given
** or there is no table of options at 'idx'. */
char bind_char (lua_State *L, int idx, const char *key, const char *who);

/* ---- errors ---- */

/* Push "hut.lua:14: ", or "" where no line of a script is running. */
void bind_push_place (lua_State *L);
/* Raise at the user's line. Format as lua_pushfstring: %s %d, and %f is
** printed without a locale through bind_push_number. Class: NULL "script". */
int bind_error (lua_State *L, const char *error_class, const char *format,
                ...);
/* An error of the core, its field in the words and unit of the class. */
int bind_raise (lua_State *L, const bind_class *c, const char *who,
                const amp_error *err);
/* Push the sentence bind_raise would use, without place. */
void bind_push_error (lua_State *L, const bind_class *c, const char *who,
                      const amp_error *err);
/* Raise for bytes that were read, class "data": "load.csv:4:6: ...", the
** place where the core tells one; 'who' is the file. */
int bind_bad_data (lua_State *L, const char *who, const amp_error *err);
/* The same for one field of a CSV, which is shown. */
int bind_bad_cell (lua_State *L, const amp_csv *csv, size_t row, size_t col,
                   const char *who, const char *why);
const char *bind_push_number (lua_State *L, double v); /* 6 digits */
/* Nearest of the words (ended by NULL) to 'word', or NULL: none is near. */
const char *bind_nearest (const char *word, const char *const *words);
void bind_warn (lua_State *L, const char *text);

/* ---- host and context ---- */

/* The number, string or truth at 'idx' as text, which is pushed; of anything
** else its type: an address would differ from run to run. */
const char *bind_plain_text (lua_State *L, int idx);
/* The path at 'idx'; raises where it is no text, or holds a NUL: cut off there
** it would be another path. */
const char *bind_check_path (lua_State *L, int idx);
/* Push the file's bytes, or raise ("missing" or "io"). */
void bind_read_file (lua_State *L, const char *path);
/* The part of a path behind its last '/': inside 'path'. */
const char *bind_file_name (const char *path);
/*
** Push the table of keys of an object made from text: the options at 2 named
** in 'keys' (ended by NULL), 'text', and 'name' where the string at 1 names
** the file that holds the text, rather than being it.
*/
void bind_text_keys (lua_State *L, const char *const *keys, bool file);
const amp_context *bind_context (lua_State *L);

/* The same for giving back alone: what a finalizer may use. */
const amp_context *bind_lent (lua_State *L);
/* Re-raise what a function of the user's raised inside the core, if any. */
void bind_rethrow (lua_State *L);
/* Call before the core may call back into Lua. */
void bind_enter (lua_State *L);
/* The state that is inside the core, from the context's 'user'. */
lua_State *bind_inside (const void *context_user);

/* ---- specs that more than one subject reads ---- */

typedef struct bind_chemistry {
  char name[64];
  amp_chemistry c;
} bind_chemistry;

typedef struct bind_fit {
  char name[64];
  amp_fit_input in;
  const amp_context *ctx;
  amp_fit *f; /* owned; large */
} bind_fit;

typedef struct bind_cell {
  char name[64];
  const amp_chemistry *chemistry;
  amp_cell c;          /* the simple level */
  double r10s;         /* ohm; 0: not given */
  const bind_fit *fit; /* NULL: from its label */
  bool detailed;       /* the level in use */
} bind_cell;

typedef struct bind_log {
  char name[64];
  double gap, from, to; /* s */
  double place;         /* K; 0: not given */
  const amp_context *ctx;
  amp_test_log log;
  char unused[120]; /* headers that nothing was taken from */
  bool turned;      /* voltage rises with the current */
} bind_log;

typedef struct bind_life_model {
  char name[64];
  amp_ageing ageing;
  amp_value calendar, per_cycle; /* 1/year, per EFC */
  const amp_context *lent;       /* leads the user's law back to Lua */
  bool doubling_assumed;
} bind_life_model;

typedef struct bind_fuse_link {
  char name[64];
  amp_link l;
  amp_link_answer a;
} bind_fuse_link;

typedef struct bind_module {
  amp_module m;
  bool parallel_assumed;
  amp_life_choice life;
  const bind_fuse_link *link; /* of each cell; NULL: none is told */
} bind_module;

typedef struct bind_inverter {
  char name[64];
  amp_converter c;
  double v_abs_max, surge, capacitance;
  bool efficiency_assumed;
} bind_inverter;

typedef struct bind_profile {
  char name[64];
  const bind_log *log; /* log:profile{}; else NULL */
  amp_duty duty;
  amp_daily daily;     /* where made by daily */
  double first, place; /* series: s after midnight; K, NaN: not given */
  bool leap;           /* series */
  double factor;       /* net: kW of the array */
  bool temp_assumed, temp_filled, performance_assumed;
} bind_profile;

typedef struct bind_need {
  char name[64];
  amp_need n;
  double import_price, export_price; /* the first as n.tariff has it */
  bool forgone; /* charge_price is what a stored kWh would have sold for */
  bool by_hour;         /* import_at is given */
  double import_at[24]; /* money for a kWh, by the hour of the day */
  unsigned char charge_hours[24], serve_hours[24]; /* 1: in them */
  bool charged_by_hour, served_by_hour;
  bool horizon_assumed, discount_assumed;
} bind_need;

typedef struct bind_alternative {
  char name[64], remark[64];
  amp_alternative a;
} bind_alternative;

typedef struct bind_offer {
  char name[64];
  const bind_module *module;
  amp_offer o;
  double premium, price_lot, price_each, price_per_kwh;
  amp_value dud, tested, soh;
  double together; /* 0..1, of its duds */
  double bos, bos_mass, extra, residual;
  int laters; /* costs of later years */
  amp_later_cost later[AMP_CASE_LATER];
  double again;    /* bought again for so much; NaN: it is not */
  int prices;      /* that are spread, as the case will hold them */
  amp_price_spread price[AMP_CASE_PRICES];
  char currency[64], dated[64], remark[64];
  double rate;      /* of its currency, by its own rates; 0: none */
  char rate_to[64]; /* in which currency; "": the need's */
  bool dud_assumed;
} bind_offer;

typedef struct bind_pack {
  char name[64];
  const bind_module *module; /* of unequal ones their mean: 'mean' below */
  int series, parallel;
  bool string_first;
  double soc_min, soc_max, cell_v_min, cell_v_max;
  bool even;       /* equal modules, of which 'module' is one */
  amp_build build; /* points into what follows and into the modules */
  bind_module mean; /* module of a pack of unequal ones: nameplate their mean,
                       tested so that the pack holds what it holds */
  amp_trip trip;
  amp_rates rates;
  amp_heater heater;
  double link, lead, bleed, v_bleed, bleed_band;
  double cooling, coolant_flow, coolant_wall, coolant_temp;
  bool entropic, glycol;
} bind_pack;

/* Equal modules and nothing besides: no wiring, fuse, balancing, heat. */
bool bind_pack_bare (const bind_pack *p);

/* The pack of 'p' in this window, as it stands now; place as amp_build_pack. */
amp_status bind_pack_build (const bind_pack *p, const amp_window *w,
                            amp_pack *out, amp_place *place, amp_error *err);

typedef struct bind_reading {
  char id[64], date[64];
  const bind_module *module; /* or NULL */
  amp_reading r;
} bind_reading;

typedef struct bind_lot {
  const bind_module *module;
  const amp_context *ctx;
  amp_lot lot;
  bool accepted; /* made by lot:accepted(), unchanged since */
} bind_lot;

typedef struct bind_cable {
  char name[64];
  amp_cable c;
  amp_cable_answer a;
  bool metal_given, rule_given;
} bind_cable;

typedef struct bind_busbar {
  char name[64];
  int n, plus, minus; /* plus, minus from 1 */
  double segment, current;
  bool bound; /* a resistance is missing: i is the most, low the least */
  double r[AMP_RAIL_STRINGS], i[AMP_RAIL_STRINGS], low[AMP_RAIL_STRINGS];
} bind_busbar;

typedef struct bind_fuse {
  char name[64];
  double rating, voltage, interrupt; /* A, V, A; NaN: not given */
  amp_trip curve;                    /* n 0: not given */
  bool alternating, polarised;
} bind_fuse;

typedef struct bind_circuit {
  char name[64];
  amp_circuit c;
  double at_v, fall, short_ka; /* V; largest drop 0..1; A */
  double out;                  /* ohm from the busbar to the fault */
  double need;                 /* A: 1.25 times the current; NaN */
  amp_short s;
  bool at_v_assumed, short_given;
  amp_findings f;
} bind_circuit;

typedef struct bind_precharge {
  char name[64];
  amp_precharge p;
  amp_precharge_answer a;
  double load_w;
  double rated_w, rated_j; /* of the resistor; NaN: not given */
  bool done_given;
} bind_precharge;

/* Names, objects or a list of them at 'idx' into 'out'. */
void bind_life_choice (lua_State *L, int idx, const char *who,
                       amp_life_choice *out);
/* The chemistry at 'idx': a name or an object. */
const amp_chemistry *bind_chemistry_at (lua_State *L, int idx,
                                        const char *who);
/* Window of the pack at rest, without an inverter. */
amp_status bind_pack_window (const bind_pack *s, amp_window *w,
                             amp_error *err);
/* Tested charge (C) of a module in its middle, and whether it is assumed. */
double bind_module_tested (const amp_module *m, bool *assumed);

/* Tests of a lot say nothing above the nameplate (C), unless they did. */
void bind_cut_tested (amp_value *tested, double nameplate);

/* What is at the top is a word of 1 to 8 letters. */
void bind_check_currency (lua_State *L, const char *who);

/* The table {USD = 0.88, dated = ".."} at the top, checked. */
void bind_check_rates (lua_State *L, const char *who);

/* What one of the offer's currency is in that of the table of keys {currency,
** rates} at 'keys'. Where it is not known the reason is pushed, and 0 comes
** back. */
double bind_rate (lua_State *L, const bind_offer *o, int keys);

/* Push {total =, lines = {{what, amount, base =, rate =}, ..}}. */
void bind_push_landed (lua_State *L, const amp_landed *a);

/* Push a handle for replay_against and replay_rows of n rows of a run:
** column[] are time (s from its start), current, voltage at the row and its
** mean since the row before, charge 0..1, K. 'began': s of a log's time at
** the start; 'idle': A that counts as rest. */
void bind_push_replay (lua_State *L, size_t n, const double *const column[6],
                       double began, double idle);

/* ---- one opener a subject; 'core' is at the top ---- */
void bind_value_open (lua_State *L);
void bind_chemistry_open (lua_State *L);
void bind_cell_open (lua_State *L); /* fit, cell */
void bind_module_open (lua_State *L);
void bind_log_open (lua_State *L); /* log_csv, log_text, log_facts */
void bind_life_open (lua_State *L);
void bind_profile_open (lua_State *L);
void bind_need_open (lua_State *L); /* inverter, need */
void bind_offer_open (lua_State *L);
void bind_pack_open (lua_State *L);
void bind_copper_open (lua_State *L);  /* cable, busbar, fuse_link */
void bind_protect_open (lua_State *L); /* fuse, precharge, circuit .. */
void bind_layout_open (lua_State *L);  /* layouts, layout_loads */
void bind_check_open (lua_State *L);   /* place, check_raw */
void bind_join_open (lua_State *L);    /* paralleling */
void bind_match_open (lua_State *L);   /* match_raw */
void bind_bench_open (lua_State *L);   /* bench_raw */
void bind_air_open (lua_State *L);     /* still_air */
void bind_alternative_open (lua_State *L); /* alternative, tariff, .. */
const bind_class *bind_alternative_words (void); /* for errors of its core */
void bind_chance_open (lua_State *L);  /* accepted_raw, missed_raw, .. */
void bind_worth_open (lua_State *L);   /* worth_raw, tests_for */
void bind_readings_open (lua_State *L); /* reading, lot, readings_csv .. */
void bind_case_open (lua_State *L);    /* compare_raw, sweep_raw */
void bind_caution_open (lua_State *L); /* cautions, plausible */
void bind_run_open (lua_State *L);     /* simulate_raw, trace_raw */
void bind_replay_open (lua_State *L);  /* replay, replay_rows, .. */
void bind_money_open (lua_State *L);   /* levelised, bid_ceiling */
void bind_listing_open (lua_State *L); /* offers_raw */
void bind_tools_open (lua_State *L);   /* range, params, sha256, ... */
void bind_host_open (lua_State *L);    /* read, write, warn, ... */
void bind_table_open (lua_State *L);   /* tables: bind_table.c */

#endif
