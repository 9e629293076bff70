/* Parameters of the patterns, changed by option and by file: --set PATTERN.PARAM=VALUE,... and --settings FILE. The names, ranges
 * and defaults are those of the patterns' descriptors. */
#ifndef TIDEMARK_PROGRAM_PATTERN_ARGS_H
#define TIDEMARK_PROGRAM_PATTERN_ARGS_H

#include "analyze/patterns/pattern.h"
#include "analyze/program/command.h"

/* Entries of an option table. */
#define PATTERN_OPTS                                                                                                  \
    {"set", 0, "LIST", "", "as `tidemark describe PATTERN` says",                                                    \
     "Parameters of patterns: flow_limitation.tau_s=0.9,incomplete_exhalation.flow_l_s=0.06. They win over --settings."}, \
        {"settings", 0, "FILE", "", "", "The same from a file: one to a line, # begins a comment."}

/* Defaults, then the file, then --set. Says what is wrong on stderr and returns EXIT_USAGE, else EXIT_DONE. */
int patterns_from_args(const struct args *a, struct pattern_settings *s);

#endif
