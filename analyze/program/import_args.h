/* The options that say how delimited text is to be read, shared by breaths, convert and check. */
#ifndef TIDEMARK_PROGRAM_IMPORT_ARGS_H
#define TIDEMARK_PROGRAM_IMPORT_ARGS_H

#include "analyze/program/command.h"
#include "ingest/source.h"

/* Entries of an option table. */
#define IMPORT_OPTS                                                                                                   \
    {"columns", 'c', "LIST", "", "by the header's names",                                                              \
     "Which column of the text is what, by name or number from 1: time=t_s,pressure=2,flow=flow_lps. Also flow_in and "    \
     "flow_out (two columns, both positive), volume, pes."},                                                          \
        {"flow-unit", 0, "UNIT", "", "as the header says",                                                            \
         "Unit of flow: L/s, L/min, mL/s, or uncalibrated (timing only: volumes and flows stay empty)."},             \
        {"pressure-unit", 0, "UNIT", "", "as the header says", "Unit of airway pressure: cmH2O, mbar, hPa or kPa."},  \
        {"time-unit", 0, "UNIT", "", "as the header says", "Unit of time: s, ms or clock (time of day)."},            \
        {"delimiter", 0, "CHAR", "", "found out", "Between columns: a comma, a semicolon, tab, space, or the character itself."}, \
        {"decimal-comma", 0, NULL, "", "", "Numbers have a decimal comma (never with a comma as delimiter)."},        \
        {"invert", 0, "LIST", "", "", "Turn the sign of flow, pressure or both: flow,pressure."},                     \
        {"rate", 0, "HZ", "Hz", "", "The text has no time column: samples come at this rate, 25 to 1000."},           \
        {"average", 0, "N", "", "1", "Average every N samples into one, for rates above 1000 Hz."},                   \
        {"header", 0, NULL, "", "", "The first line that is no comment holds names."},                                \
        {"no-header", 0, NULL, "", "", "There is no line of names."},                                                 \
        {"start", 0, "TIME", "", "as the recording says",                                                             \
         "Date and time of the first sample of a text, RFC 3339 with offset: 2026-03-04T22:30:00+01:00."}

/* Says what is wrong on stderr and returns EXIT_USAGE, else EXIT_DONE. */
int import_from_args(const struct args *a, struct import_opts *o);

#endif
