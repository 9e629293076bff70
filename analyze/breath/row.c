#include "analyze/breath/row.h"

static const char *pick(const char *const *names, int n, int i)
{
    return i >= 0 && i < n ? names[i] : "unknown";
}

#define COUNT(a) ((int)(sizeof(a) / sizeof(a)[0]))

const char *kind_name(enum breath_kind k)
{
    static const char *const names[] = {"unknown", "mandatory", "assisted", "supported", "unassisted", "manual"};
    return pick(names, COUNT(names), (int)k);
}

const char *initiation_name(enum breath_initiation i)
{
    static const char *const names[] = {"unknown", "patient", "machine"};
    return pick(names, COUNT(names), (int)i);
}

const char *control_name(enum breath_control c)
{
    static const char *const names[] = {"unknown", "volume", "pressure", "none"};
    return pick(names, COUNT(names), (int)c);
}

const char *pplat_basis_name(enum pplat_basis b)
{
    static const char *const names[] = {"", "hold", "pause", "zero_flow"};
    return pick(names, COUNT(names), (int)b);
}

const char *cstat_basis_name(enum cstat_basis b)
{
    static const char *const names[] = {"", "total_peep", "airway_peep"};
    return pick(names, COUNT(names), (int)b);
}

const char *autopeep_basis_name(enum autopeep_basis b)
{
    static const char *const names[] = {"", "hold", "flow", "fit"};
    return pick(names, COUNT(names), (int)b);
}

const char *p01_basis_name(enum p01_basis b)
{
    static const char *const names[] = {"", "trigger_phase", "exp_hold"};
    return pick(names, COUNT(names), (int)b);
}

const char *confidence_name(enum confidence c)
{
    static const char *const names[] = {"", "possible", "definite"};
    return pick(names, COUNT(names), (int)c);
}

static const struct {
    const char *code, *meaning;
} reasons[] = {{"", ""},
#define REASON(code, meaning) {#code, meaning},
#include "analyze/breath/reasons.def"
#undef REASON
};

const char *reason_name(enum reason r)
{
    return (int)r >= 0 && (int)r < WHY_N ? reasons[r].code : "";
}

const char *reason_meaning(enum reason r)
{
    return (int)r >= 0 && (int)r < WHY_N ? reasons[r].meaning : "";
}

const char *event_name(enum event_id e)
{
    static const char *const names[] = {
#define EVENT(id, ...) #id,
#include "analyze/breath/events.def"
#undef EVENT
    };
    return pick(names, COUNT(names), (int)e);
}

const char *pattern_name(enum pattern_id p)
{
    static const char *const names[] = {
#define PATTERN(id, ...) #id,
#include "analyze/tables/patterns.def"
#undef PATTERN
    };
    return pick(names, COUNT(names), (int)p);
}
