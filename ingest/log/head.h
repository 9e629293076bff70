/* The head of a log, read line by line: what stands in %-lines, checked and put into program units. */
#ifndef TIDEMARK_INGEST_LOG_HEAD_H
#define TIDEMARK_INGEST_LOG_HEAD_H

#include "ingest/log/line.h"

struct log_head {
    struct recording_info info; /* start, rate, subject ... as far as the lines say */
    size_t fields;              /* channels in file order */
    enum channel field[LINE_FIELDS]; /* CH_N: a channel of a later version, passed over */
    double factor[LINE_FIELDS];      /* program value = file value * factor */
    bool has_version, has_origin;
    int64_t origin_ns; /* source time of recording time 0, on the clock as it runs in this member */
};

enum head_rc {
    HEAD_LINE_OK,
    HEAD_LINE_UNKNOWN, /* a line or item of a later version: passed over */
    HEAD_LINE_BAD      /* the log can't be read by it: why says so */
};

void log_head_init(struct log_head *h);

/* One line with its %, without LF. why (256 bytes) is set for HEAD_LINE_BAD; mend likewise, maybe "". */
enum head_rc log_head_line(struct log_head *h, const char *p, size_t n, char why[256], char mend[256]);

/* After the last line: is everything there that a reader needs? Sets what follows from it (gap limit). */
bool log_head_check(struct log_head *h, char why[256], char mend[256]);

/* May the samples under b go on where those under a ended? Decimals may differ, channels and units may not. */
bool log_head_same_channels(const struct log_head *a, const struct log_head *b);

#endif
