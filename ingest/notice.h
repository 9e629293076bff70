/* Saying what went wrong, without printing.
 *
 * Two things are told to a caller:
 *   struct err     why a call failed; filled by the layer that knows file, line and column. The caller
 *                  owns it; it holds no pointers and needs no release.
 *   struct notice  something worth saying while the work goes on: a bad line, a gap, a damaged member.
 *                  It is handed to the caller's sink as it is met, in input order.
 * Neither prints: only analyze/program/ does. `what` says what is there, `mend` what would help. Both are
 * one line without a full stop, ASCII. */
#ifndef TIDEMARK_INGEST_NOTICE_H
#define TIDEMARK_INGEST_NOTICE_H

#include <stdarg.h>
#include <stdint.h>

#if defined(__GNUC__) || defined(__clang__)
#define MUST_USE __attribute__((warn_unused_result))
#define PRINTF_LIKE(fmt, args) __attribute__((format(printf, fmt, args)))
#else
#define MUST_USE
#define PRINTF_LIKE(fmt, args)
#endif

/* Return codes shared by all rooms: 0 is success. Each tells the caller what to do. */
enum tm_rc {
    TM_OK = 0,
    TM_ERR_INPUT = -1,  /* the input can't be used: tell the user (struct err says where and the mend) */
    TM_ERR_SYSTEM = -2, /* the system said no: err.sys_errno is set */
    TM_ERR_MEMORY = -3, /* out of memory */
    TM_ERR_USAGE = -4   /* the caller's (or the command line's) fault */
};

struct err {
    char file[256];   /* as the user named it; "" where there is none; cut with "..." in front if longer */
    uint64_t line;    /* 1-based; 0: no line */
    uint64_t column;  /* 1-based field or byte column; 0: none */
    int sys_errno;    /* errno of the failed call; 0: none */
    char what[256];
    char mend[256];   /* may be "" */
};

/* Fills e (which may be NULL). Returns rc, so that `return err_set(...)` reads well. */
int err_set(struct err *e, int rc, const char *file, uint64_t line, const char *mend, const char *fmt, ...)
    PRINTF_LIKE(6, 7);

enum notice_level {
    NOTICE_NOTE,  /* said, exit status unchanged: how something was read, what was assumed */
    NOTICE_WRONG, /* something in the input was wrong and was handled: exit status 1 */
    NOTICE_FATAL  /* what follows can't be used (the good part before it is kept): exit status 1 or 3 */
};

struct notice {
    enum notice_level level;
    const char *code; /* short fixed word, e.g. "bad_number"; static storage; the key for counting */
    const char *file; /* valid during the call only; may be NULL */
    uint64_t line;    /* 0: none */
    uint64_t column;  /* 0: none */
    char what[256];
    char mend[256];
};

/* The sink is called synchronously and must not call back into the emitter. fn may be NULL: then nothing
 * is heard. Emitters report each occurrence; the program's sink counts by code and prints the first few. */
struct notice_sink {
    void (*fn)(void *user, const struct notice *n);
    void *user;
};

void notice_send(const struct notice_sink *sink, enum notice_level level, const char *code, const char *file,
                 uint64_t line, const char *mend, const char *fmt, ...) PRINTF_LIKE(7, 8);

#endif
