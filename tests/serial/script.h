/* A port that follows a script, on a clock that only the script moves: no test sleeps. */
#ifndef TIDEMARK_TEST_SCRIPT_H
#define TIDEMARK_TEST_SCRIPT_H

#include "ingest/serial/port.h"

#include <stdint.h>

enum step_kind {
    STEP_BYTES, /* text arrives (n bytes; 0: strlen), whole if the reader's buffer holds it */
    STEP_SHORT, /* the same, but every read gives n bytes at most */
    STEP_QUIET, /* ms of silence */
    STEP_WAKE,  /* the wake-up descriptor fires */
    STEP_GONE,
    STEP_END,
    STEP_ERR
};

struct step {
    enum step_kind kind;
    const char *text;
    size_t n;
    int ms; /* with bytes: they arrive so much later */
};

struct script {
    const struct step *steps; /* ended by STEP_GONE, STEP_END, STEP_ERR or STEP_WAKE, which then repeats */
    size_t at;      /* the present step */
    size_t done;    /* bytes of it already given */
    int waited_ms;  /* silence of it already served */
    int64_t now_ns; /* the clock */
    int opened, closed;
    void (*on_open)(void *user);
    void *user;
};

/* path of port_open is not looked at; the script travels here. One script at a time. */
const struct port_ops *script_ops(struct script *s);

#endif
