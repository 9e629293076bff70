/* Shared by the files of `tidemark record`; nobody else includes it. */
#ifndef TIDEMARK_PROGRAM_RECORD_H
#define TIDEMARK_PROGRAM_RECORD_H

#include "analyze/program/say.h"
#include "ingest/serial/recorder.h"

extern const struct opt record_opts_table[];

/* Reads the command line; says what is wrong with it and returns EXIT_USAGE, else EXIT_DONE. */
int record_parse(const struct args *a, struct recorder_opts *o, struct port_opts *port);

/* What is told on stderr before the file is created and the port opened. */
void record_introduce(const struct args *a, const struct recorder_opts *o, const struct port_opts *port,
                      const struct port_ops *backend);

/* On a terminal (and without --yes) asks whether to begin. */
bool record_agreed(const struct args *a);

/* Two lines at the foot of a terminal: the short caution, and how old the newest sample is and how much is on
 * the disk. Whatever else is told stands above them. */
struct record_view {
    bool on;       /* stderr is a terminal */
    bool drawn;    /* they stand there now */
    long long last_ms;
    struct notices *notices;
};

void record_view_status(void *view, const struct recorder *r); /* a recorder_status_fn */
void record_view_hear(void *view, const struct notice *n);     /* clears the lines, then hears */
void record_view_clear(struct record_view *v);

#endif
