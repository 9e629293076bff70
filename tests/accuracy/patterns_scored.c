#include "tests/accuracy/patterns_scored.h"

#include <string.h>

const struct pattern_bar *pattern_scored(size_t i)
{
    static const struct pattern_bar bars[PATTERNS_SCORED] = {
        {"incomplete_exhalation", 90, 90, 98},
        {"flow_limitation", 80, 90, 98},
    };
    return &bars[i];
}

/* Is the name one of those that `text` lists between any of " ;:,"? */
static bool listed(const char *text, const char *name)
{
    size_t n = strlen(name);
    for (const char *p = text; (p = strstr(p, name)) != NULL; p += n) {
        bool starts = p == text || strchr(";:,", p[-1]) != NULL;
        if (starts && (p[n] == '\0' || strchr(";:,", p[n]) != NULL)) {
            return true;
        }
    }
    return false;
}

enum pattern_said pattern_said(const char *flags, const char *unjudged, const char *name)
{
    return listed(flags, name) ? SAID_FLAG : listed(unjudged, name) ? SAID_UNJUDGED : SAID_NOTHING;
}

void pattern_count_add(struct pattern_count *c, int truth, enum pattern_said said)
{
    if (truth == 1) {
        c->is++;
        c->is_flag += said == SAID_FLAG;
        c->is_unjudged += said == SAID_UNJUDGED;
    } else if (truth == 0) {
        c->isnt++;
        c->isnt_flag += said == SAID_FLAG;
    }
}
