/* The head of a log, and of each of its members, as text. */
#ifndef TIDEMARK_INGEST_LOG_HEAD_WRITE_H
#define TIDEMARK_INGEST_LOG_HEAD_WRITE_H

#include "ingest/sample.h"

#define HEAD_TEXT_MAX 4096

/* Lines with their LF; returns the length, at most cap - 1 (what does not fit is left out whole lines at a time;
 * HEAD_TEXT_MAX always suffices). decimals: per channel, as to be declared. origin_ns: source time of recording
 * time 0. caution may be NULL. info's units are UCUM codes. */
size_t head_write(char *buf, size_t cap, const struct recording_info *info, const int decimals[CH_N],
                  int64_t origin_ns, const char *caution);

#endif
