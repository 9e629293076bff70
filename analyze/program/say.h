/* The program's voice: errors, notices and the caution, on stderr. The only way commands speak there. */
#ifndef TIDEMARK_PROGRAM_SAY_H
#define TIDEMARK_PROGRAM_SAY_H

#include "analyze/program/command.h"
#include "ingest/notice.h"

/* "tidemark breaths: FILE:LINE:COLUMN: what: strerror (mend)". cmd may be NULL. Flushes stdout first. */
void say_error(const struct command *cmd, const struct err *e);

/* "tidemark breaths: ..." and where help is; returns EXIT_USAGE so that `return say_usage(...)` reads well. */
int say_usage(const struct command *cmd, const char *fmt, ...) PRINTF_LIKE(2, 3);

/* "tidemark breaths: ..." for everything else that is told. */
void say(const struct command *cmd, const char *fmt, ...) PRINTF_LIKE(2, 3);

/* Status for a failed call: EXIT_NOTHING for input and memory, EXIT_USAGE for usage. Commands that know that an
 * output failed return EXIT_OUTPUT themselves. */
int status_of(int tm_rc);

/* The short caution, once, if stderr is a terminal. */
void say_caution(void);

/* Bytes to stdout, as a sink of json_write and its like; TM_ERR_SYSTEM if not all went. */
int say_bytes(void *unused, const void *data, size_t n);

/* Flushes and checks stdout: EXIT_OUTPUT with a message if anything written there was lost, else `status`. */
int say_flushed(const struct command *cmd, int status);

/* Collects notices: prints the first few of each code and counts the rest.
 *   struct notices *n = notices_new(cmd);  source_open(..., &(struct notice_sink){notices_hear, n}, ...)
 *   ...  status = notices_end(n);  notices_free(n); */
struct notices;

#define NOTICES_SHOWN 3

struct notice_count {
    const char *code;
    enum notice_level level; /* the worst heard */
    unsigned long long count;
    unsigned long long first_line; /* 0: none */
    char first_what[256];
};

struct notices *notices_new(const struct command *cmd); /* NULL: out of memory */
void notices_hear(void *notices, const struct notice *n);
int notices_end(struct notices *n); /* prints "... and 97 more of bad_number"; EXIT_WRONG if anything was wrong */
size_t notices_count(const struct notices *n);
const struct notice_count *notices_get(const struct notices *n, size_t i); /* in order of first occurrence */
void notices_free(struct notices *n);

#endif
