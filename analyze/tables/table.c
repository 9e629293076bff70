#include "analyze/tables/table.h"

#include <string.h>

#define COUNT(a) ((int)(sizeof(a) / sizeof(a)[0]))

static const struct field breaths_fields[] = {
#define COLUMN(id, type, unit, decimals, built, title, meaning, validity, source)                                     \
    {#id, TYPE_##type, unit, decimals, built, title, meaning, validity, source},
#include "analyze/tables/columns.def"
#undef COLUMN
};

#define FIELD(name, type, unit, decimals, built, title, meaning, validity, source)                                    \
    {name, TYPE_##type, unit, decimals, built, title, meaning, validity, source},
static const struct field flags_fields[] = {
#define FIELDS_FLAGS
#include "analyze/tables/fields.def"
#undef FIELDS_FLAGS
};
static const struct field events_fields[] = {
#define FIELDS_EVENTS
#include "analyze/tables/fields.def"
#undef FIELDS_EVENTS
};
static const struct field trials_fields[] = {
#define FIELDS_TRIALS
#include "analyze/tables/fields.def"
#undef FIELDS_TRIALS
};
static const struct field limits_fields[] = {
#define FIELDS_LIMITS
#include "analyze/tables/fields.def"
#undef FIELDS_LIMITS
};
#undef FIELD

enum { /* a threshold is built as soon as its column is */
#define COLUMN(id, type, unit, decimals, built, ...) BUILT_##id = built,
#include "analyze/tables/columns.def"
#undef COLUMN
};

static const struct field hours_fields[] = {
#define FIELD(id, type, unit, decimals, built, title, meaning, validity, source)                                      \
    {#id, TYPE_##type, unit, decimals, built, title, meaning, validity, source},
#define MEDIAN(id, n_id, column, unit, decimals, built, title)                                                        \
    {#id, TYPE_NUMBER, unit, decimals, built, title ", median",                                                       \
     "Median of " #column " over the usable breaths of the hour that have a value.",                                  \
     "Empty: few_breaths (no usable breath has a value); not_built with its column.", "definition"},                  \
        {#n_id, TYPE_INTEGER, "", 0, built, title ", number of breaths", "Breaths that the median is of.",            \
         "Never empty; 0 where no breath has a value.", "definition"},
#include "analyze/tables/hours.def"
#undef MEDIAN
#undef FIELD
#define PATTERN(id, built, title, meaning, source)                                                                    \
    {#id "_definite", TYPE_INTEGER, "", 0, built, title ", definite",                                                 \
     "Flags of this pattern in the hour with confidence definite.", "Empty where none of the hour's breaths was judged.",  \
     "definition"},                                                                                                   \
        {#id "_possible", TYPE_INTEGER, "", 0, built, title ", possible",                                             \
         "Flags of this pattern in the hour with confidence possible.", "Empty where none of the hour's breaths was judged.", \
         "definition"},                                                                                               \
        {#id "_judged", TYPE_INTEGER, "", 0, built, title ", judged",                                                 \
         "Breaths of the hour in which the pattern could be judged: what a share is of.",                             \
         "Never empty; 0: none could be judged, or not built in this version.", "definition"},
#include "analyze/tables/patterns.def"
#undef PATTERN
#define TARGET(id, column, side, threshold, among, title, meaning, source)                                            \
    {#id "_min", TYPE_NUMBER, "min", 2, BUILT_##column, title ", minutes",                                           \
     "Cycle times of the breaths of " #id "_breaths.", "Empty where none of the hour's breaths was judged: few_breaths.", source},  \
        {#id "_breaths", TYPE_INTEGER, "", 0, BUILT_##column, title ", breaths",                                     \
         "Breaths of the hour in which " #column ", unrounded, was beyond the threshold.",                            \
         "Empty where none of the hour's breaths was judged: few_breaths.", source},                                  \
        {#id "_judged", TYPE_INTEGER, "", 0, BUILT_##column, title ", judged",                                       \
         "Breaths of the hour that could be judged, since they have " #column ": what a share is of.",                \
         "Never empty; 0: none could be judged, or not built in this version.", "definition"},
#include "analyze/session/targets.def"
#undef TARGET
#define BURDEN(id, type, unit, decimals, title, meaning, validity, source)                                            \
    {#id, TYPE_##type, unit, decimals, true, title, meaning, validity, source},
#include "analyze/session/burden.def"
#undef BURDEN
    {"why_empty", TYPE_TEXT, "", 0, true, "Why cells are empty", "code:column,column;code:... as in breaths.csv.",
     "Empty where every cell has a value.", "common practice, no source"},
};

const struct table *table_get(enum table_id t)
{
    static const struct table tables[TABLE_N] = {
        [TABLE_BREATHS] = {"breaths.csv", "Breaths", "One row for each machine or unassisted breath.",
                           COUNT(breaths_fields), breaths_fields, "breath", true},
        [TABLE_FLAGS] = {"flags.csv", "Flags", "One row for each pattern seen, in the order of the breaths.",
                         COUNT(flags_fields), flags_fields, "", true},
        [TABLE_EVENTS] = {"events.csv", "Events", "What is no breath, in order of emission (by end).", COUNT(events_fields),
                          events_fields, "", true},
        [TABLE_HOURS] = {"hours.csv", "Hours", "One row for each recorded hour.", COUNT(hours_fields), hours_fields,
                         "hour", true},
        [TABLE_TRIALS] = {"trials.csv", "Breathing trials",
                          "One row for each minute of a breathing trial. Not built in this version: only the header.",
                          COUNT(trials_fields), trials_fields, "trial minute", false},
        [TABLE_LIMITS] = {"limits.csv", "Limits looked back at",
                          "One row for each episode outside a limit. Not built in this version: only the header.",
                          COUNT(limits_fields), limits_fields, "", false},
    };
    return (int)t >= 0 && t < TABLE_N ? &tables[t] : &tables[0];
}

const struct field *column_field(enum col c)
{
    return &breaths_fields[(int)c >= 0 && c < COL_N ? (int)c : 0];
}

int table_find(const struct table *t, const char *name)
{
    for (int i = 0; i < t->n_fields; i++)
        if (strcmp(t->fields[i].name, name) == 0)
            return i;
    return -1;
}

const struct pattern_info *pattern_info(enum pattern_id p)
{
    static const struct pattern_info patterns[] = {
#define PATTERN(id, built, title, meaning, source) {#id, built, title, meaning, source},
#include "analyze/tables/patterns.def"
#undef PATTERN
    };
    return &patterns[(int)p >= 0 && p < PATTERN_N ? (int)p : 0];
}

const struct event_info *event_info(enum event_id e)
{
    static const struct event_info events[] = {
#define EVENT(id, built, title, meaning, values, source) {#id, built, title, meaning, values, source},
#include "analyze/breath/events.def"
#undef EVENT
    };
    return &events[(int)e >= 0 && e < EVENT_N ? (int)e : 0];
}

const struct format_info *format_info(size_t i)
{
    static const struct format_info lines[] = {
#define FORMAT(name, title, meaning) {name, title, meaning},
#include "analyze/tables/format.def"
#undef FORMAT
    };
    return i < sizeof lines / sizeof lines[0] ? &lines[i] : NULL;
}
