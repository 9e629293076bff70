/* Units of measure: one table for every reader and writer, so that a recording read as text and read again
 * from its log gives the same doubles, bit for bit: program value = value as written * factor, nothing else.
 *
 * A log names units by their UCUM code (case-sensitive). Delimited text may also use customary spellings
 * (cmH2O, mbar, LPM, l_s ...), which are matched case-blind.
 *
 * Factors are exact definitions rounded once: 1 cmH2O = 98.0665 Pa (conventional water), 1 mmHg (conventional)
 * = 1.35951 cmH2O. UCUM's own mm[Hg] is 133.322 Pa, 2.9e-6 below the conventional one; we take the latter. */
#ifndef TIDEMARK_INGEST_UNITS_H
#define TIDEMARK_INGEST_UNITS_H

#include "ingest/sample.h"

enum quantity {
    Q_PRESSURE, /* program unit cmH2O */
    Q_FLOW,     /* L/s */
    Q_VOLUME,   /* L */
    Q_PARTIAL,  /* partial pressure of a gas, mmHg (conventional) */
    Q_FRACTION, /* 0..1 */
    Q_NUMBER,   /* a bare number, e.g. the phase bit */
    Q_TIME,     /* s */
    Q_N
};

struct unit {
    const char *ucum; /* canonical UCUM code; static storage */
    enum quantity quantity;
    double factor;     /* program value = value * factor */
    bool uncalibrated; /* flow in unknown units: factor is 1 and means nothing */
};

/* A UCUM code alone. text need not be NUL-terminated. NULL: not a code that we know for this quantity. */
const struct unit *unit_find_ucum(const char *text, size_t n, enum quantity q);

/* A UCUM code or a customary spelling ("uncalibrated" included, for flow). NULL: unknown. */
const struct unit *unit_find(const char *text, size_t n, enum quantity q);

/* The k-th code of a quantity, k from 0; NULL after the last. The first is the program's own unit. */
const struct unit *unit_of_quantity(enum quantity q, size_t k);

enum quantity channel_quantity(enum channel c);

/* The name of a channel in a log's head: paw, flow, volume, pes, co2, spo2, fio2, phase. */
const char *channel_name(enum channel c);

/* The channel of that name; CH_N where there is none. */
enum channel channel_find(const char *text, size_t n);

#endif
