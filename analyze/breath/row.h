/* One breath as a row, and one event: what the engine hands to the tables.
 *
 * Plain data. Numbers are in the column's own unit (analyze/tables/columns.def), NAN = not available, with
 * the reason in why[]. Row n covers t0 to t2 of breath n; its PEEP stands at its end. */
#ifndef TIDEMARK_ANALYZE_ROW_H
#define TIDEMARK_ANALYZE_ROW_H

#include "ingest/sample.h"

enum col {
#define COLUMN(id, ...) COL_##id,
#include "analyze/tables/columns.def"
#undef COLUMN
    COL_N
};

enum reason {
    WHY_NONE = 0,
#define REASON(code, meaning) WHY_##code,
#include "analyze/breath/reasons.def"
#undef REASON
    WHY_N
};

enum event_id {
#define EVENT(id, ...) EVENT_##id,
#include "analyze/breath/events.def"
#undef EVENT
    EVENT_N
};

enum pattern_id {
#define PATTERN(id, ...) PATTERN_##id,
#include "analyze/tables/patterns.def"
#undef PATTERN
    PATTERN_N
};

enum breath_kind { KIND_UNKNOWN, KIND_MANDATORY, KIND_ASSISTED, KIND_SUPPORTED, KIND_UNASSISTED, KIND_MANUAL };
enum breath_initiation { INIT_UNKNOWN, INIT_PATIENT, INIT_MACHINE };
enum breath_control { CONTROL_UNKNOWN, CONTROL_VOLUME, CONTROL_PRESSURE, CONTROL_NONE };
enum pplat_basis { PPLAT_NONE, PPLAT_HOLD, PPLAT_PAUSE, PPLAT_ZERO_FLOW };
enum cstat_basis { CSTAT_NONE, CSTAT_TOTAL_PEEP, CSTAT_AIRWAY_PEEP };
enum autopeep_basis { AUTOPEEP_NONE, AUTOPEEP_HOLD, AUTOPEEP_FLOW, AUTOPEEP_FIT };
enum p01_basis { P01_NONE, P01_TRIGGER_PHASE, P01_EXP_HOLD };
enum confidence { CONF_NONE, CONF_POSSIBLE, CONF_DEFINITE };

/* Words of the tables: "unknown", "mandatory", ... Never NULL for a value of the enum. */
const char *kind_name(enum breath_kind k);
const char *initiation_name(enum breath_initiation i);
const char *control_name(enum breath_control c);
const char *pplat_basis_name(enum pplat_basis b); /* "", hold, ... */
const char *cstat_basis_name(enum cstat_basis b);
const char *autopeep_basis_name(enum autopeep_basis b);
const char *p01_basis_name(enum p01_basis b);
const char *confidence_name(enum confidence c); /* "", possible, definite */
const char *reason_name(enum reason r);         /* the code; "" for WHY_NONE */
const char *reason_meaning(enum reason r);
const char *event_name(enum event_id e);
const char *pattern_name(enum pattern_id p);

struct breath_row {
    uint64_t number;   /* 1-based, in order of t0 */
    int64_t t0_ns, t1_ns, t2_ns; /* recording time; t2 of an incomplete breath is where it was cut */
    bool complete;     /* has a t2 of its own; incomplete breaths (gap, end, apnoea) keep what can be said */
    enum breath_kind kind;
    enum breath_initiation initiation;
    enum breath_control control;
    enum pplat_basis pplat_basis;
    enum cstat_basis cstat_basis;
    enum autopeep_basis autopeep_basis;
    enum p01_basis p01_basis;
    double v[COL_N];       /* numeric columns; NAN = empty. Text columns unused, but for the enums above */
    uint8_t why[COL_N];    /* enum reason for each empty cell */
    uint8_t pattern[PATTERN_N];  /* enum confidence of each pattern seen in it */
    uint8_t unjudged[PATTERN_N]; /* enum reason of each pattern that could not be judged; WHY_NONE: it was, or is not built */
    uint8_t efforts;       /* definite ones that peak in it, where v[COL_effort] is a number */
    uint64_t quality;      /* bit r set: code r (enum reason); 0: good */
};

#define EVENT_VALUES_MAX 14
struct event_value {
    const char *key;  /* static: "hold_s" */
    double number;    /* NAN: text is used */
    int decimals;
    const char *text; /* static; NULL: number is used */
};
struct event {
    int64_t start_ns, end_ns;
    enum event_id id;
    enum confidence confidence;
    int n_values;
    struct event_value values[EVENT_VALUES_MAX];
    char note[48]; /* a gap's reason: printed as reason=..., percent-encoded by the writer; "" none */
};

#endif
