#include "analyze/program/import_args.h"
#include "analyze/program/say.h"
#include "ingest/rfc3339.h"

#include <string.h>

int import_from_args(const struct args *a, struct import_opts *o)
{
    import_opts_defaults(o);
    o->columns = args_value(a, "columns");
    o->flow_unit = args_value(a, "flow-unit");
    o->pressure_unit = args_value(a, "pressure-unit");
    o->time_unit = args_value(a, "time-unit");
    o->delimiter = args_value(a, "delimiter");
    o->decimal_comma = args_given(a, "decimal-comma");
    o->invert = args_value(a, "invert");
    o->start = args_value(a, "start");
    if (args_given(a, "header") && args_given(a, "no-header"))
        return say_usage(a->cmd, "--header and --no-header contradict each other");
    o->header = args_given(a, "header") ? 1 : args_given(a, "no-header") ? -1 : 0;
    int64_t ns;
    if (o->start && !rfc3339_parse(o->start, strlen(o->start), &ns, NULL))
        return say_usage(a->cmd, "--start takes a time with offset, as 2026-03-04T22:30:00+01:00, not '%s'", o->start);
    int rc = args_number(a, "rate", 0.001, 1e6, &o->rate_hz);
    if (rc == EXIT_DONE)
        rc = args_integer(a, "average", 1, 1000000, &o->average);
    return rc;
}
