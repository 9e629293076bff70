#include "ingest/import/rows.h"

#include "ingest/decimal.h"
#include "ingest/import/cell.h"

#include <math.h>
#include <string.h>

#define IMPLAUSIBLE 1e7 /* in any unit that is known: beyond what any sensor writes */

void row_plan_make(struct row_plan *plan, const struct layout *l, const struct mapping *m)
{
    memset(plan->what, PLAN_SKIP, sizeof plan->what);
    plan->n = m->last + 1;
    plan->delimiter = l->delimiter;
    plan->point = l->point;
    plan->stamp = m->stamp;
    plan->places = m->stamp == STAMP_SECONDS ? 9 : m->stamp == STAMP_MILLI ? 6 : m->stamp == STAMP_MICRO ? 3 : -1;
    plan->scale = 1;
    for (int i = 0; i < plan->places; i++)
        plan->scale *= 10;
    if (m->time >= 0)
        plan->what[m->time] = PLAN_TIME;
    for (int u = 0; u <= USE_FLOW_OUT; u++)
        if (m->of[u].column >= 0)
            plan->what[m->of[u].column] = (signed char)u;
}

/* A stamp without sign or exponent. */
static const char *fast_stamp(const struct row_plan *plan, const char *p, int64_t *ns)
{
    static const int64_t pow10[10] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};
    const char *first = p;
    int64_t whole = 0, part = 0;
    unsigned d;
    while ((d = (unsigned)(unsigned char)*p - '0') < 10) {
        whole = whole * 10 + (int64_t)d;
        p++;
    }
    ptrdiff_t digits = p - first, got = 0;
    if (digits == 0 || digits > 9)
        return NULL;
    if (*p == '.') {
        const char *point = ++p;
        while ((d = (unsigned)(unsigned char)*p - '0') < 10) {
            part = part * 10 + (int64_t)d;
            p++;
        }
        got = p - point;
        if (got == 0 || got > plan->places)
            return NULL;
    }
    *ns = whole * plan->scale + part * pow10[plan->places - (int)got];
    return p;
}

const char *row_fast(const struct row_plan *plan, const char *p, struct row *out)
{
    const char *const no_end = p + DECIMAL_TEXT_MAX; /* a line feed comes first and stops every scan */
    char d = plan->delimiter;
    for (int c = 0; c < plan->n; c++) {
        int what = plan->what[c];
        if (what == PLAN_SKIP) {
            while (*p != d && *p != '\n' && *p != '"' && *p != '\r')
                p++;
        } else if (what == PLAN_TIME) {
            p = fast_stamp(plan, p, &out->stamp_ns);
        } else {
            p = decimal_scan(p, no_end, &out->v[what]);
            if (p && fabs(out->v[what]) > IMPLAUSIBLE)
                return NULL;
        }
        if (!p)
            return NULL;
        if (*p == d && c + 1 < plan->n)
            p++;
        else if (c + 1 < plan->n)
            return NULL;
    }
    while (*p != '\n') {
        if (*p == '"' || (*p == '\r' && p[1] != '\n'))
            return NULL;
        p++;
    }
    return p + 1;
}

static void fault_add(struct row_fault *fault, int max, int *n, int column, const char *what, const struct field *f)
{
    if (*n < max) {
        struct row_fault *x = &fault[*n];
        x->column = column;
        x->what = what;
        size_t len = f->n < sizeof x->text - 1 ? f->n : sizeof x->text - 1;
        for (size_t i = 0; i < len; i++)
            x->text[i] = (char)(f->p[i] >= ' ' && f->p[i] < 0x7F ? f->p[i] : '?');
        x->text[len] = '\0';
    }
    ++*n;
}

static void careful_value(const struct row_plan *plan, const struct field *f, int c, double *v,
                          struct row_fault *fault, int max, int *n)
{
    switch (cell_kind(f->p, f->n)) {
    case CELL_EMPTY:
    case CELL_MISSING:
        return;
    case CELL_INF:
        fault_add(fault, max, n, c, "an infinite value", f);
        return;
    default:
        break;
    }
    double x;
    enum decimal_rc rc = decimal_parse(f->p, f->n, plan->point, &x, NULL);
    if (rc == DECIMAL_OK && fabs(x) <= IMPLAUSIBLE)
        *v = x;
    else
        fault_add(fault, max, n, c, rc == DECIMAL_BAD ? "not a number" : "a number no sensor writes", f);
}

bool row_careful(const struct row_plan *plan, const struct record *r, struct row *out, struct row_fault *fault,
                 int max, int *n)
{
    struct field f[COLUMNS_MAX];
    size_t have = record_split(r, plan->delimiter, f, COLUMNS_MAX);
    *n = 0;
    for (int u = 0; u <= USE_FLOW_OUT; u++)
        out->v[u] = (double)NAN;
    out->has_stamp = false;
    if (have < (size_t)plan->n) {
        struct field whole = {r->p, r->n};
        fault_add(fault, max, n, (int)have, "too few fields", &whole);
        return false;
    }
    for (int c = 0; c < plan->n; c++) {
        int what = plan->what[c];
        if (what == PLAN_SKIP)
            continue;
        if (what >= 0) {
            careful_value(plan, &f[c], c, &out->v[what], fault, max, n);
            continue;
        }
        out->has_stamp = stamp_read(f[c].p, f[c].n, plan->stamp, plan->point, &out->stamp_ns, &out->dated,
                                    &out->offset_min, &out->offset_known);
        if (!out->has_stamp) {
            fault_add(fault, max, n, c, "not a time", &f[c]);
            return false;
        }
    }
    return true;
}
