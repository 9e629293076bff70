/* Test help: the real program recording from a pseudo-terminal that libserialport takes for a serial port. */
#ifndef TIDEMARK_TEST_RIG_H
#define TIDEMARK_TEST_RIG_H

#include <stddef.h>
#include <sys/types.h>

struct rig {
    int master;     /* the feeder's side; -1 once the cable is out */
    int slave;      /* kept open so that the line keeps its settings; -1 likewise */
    int err;        /* the program's stderr (pipe or terminal); -1 where it goes to the notes */
    pid_t pid;      /* -1 once waited for */
    char port[64];  /* the name that `record` is given */
    char log[128];  /* the recording */
    char notes[128]; /* what the preload saw */
};

/* Before the group of tests: where program and preload are. */
void rig_paths(const char *program, const char *preload);

/* Opens the pseudo-terminal; name is the recording's name in folder. */
void rig_open(struct rig *r, const char *folder, const char *name);

/* Where the program's stderr goes: into a pipe; into the notes, in order with what the preload saw; to a terminal
 * (the other side of which is r->err). */
enum rig_stderr { RIG_PIPE, RIG_NOTES, RIG_TERMINAL };

/* Starts `tidemark record PORT -o LOG [extra]` (extra: NULL-ended, may be NULL). Limits the size of
 * files to limit bytes (0: no limit). Returns when the program says that it listens. */
void rig_start(struct rig *r, const char *const *extra, enum rig_stderr kind, unsigned long limit);

/* Writes all of it to the line, waiting for the reader where its buffer is full. */
void rig_send(struct rig *r, const char *text, size_t n);

/* Waits until the log has at least n bytes, or half a minute: then the test fails. */
void rig_wait_log(const struct rig *r, off_t n);

void rig_pull_cable(struct rig *r);
void rig_signal(struct rig *r, int number);
/* Reads stderr to its end into words (cap bytes; may be NULL) and returns the exit status, or 128 + signal. */
int rig_wait(struct rig *r, char *words, size_t cap);
void rig_close(struct rig *r); /* also removes the files */

#endif
