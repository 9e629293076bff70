#include "ingest/import/rows.h"

#include "ingest/decimal.h"
#include "ingest/import/cell.h"

#include <math.h>
#include <string.h>

/* Far beyond any sensor, in program units: a slip of the decimal point or a full-scale code, not a measurement. */
static double plausible(enum quantity q, bool uncalibrated)
{
    switch (q) {
    case Q_PRESSURE:
        return 1100; /* more than an atmosphere */
    case Q_FLOW:
        return uncalibrated ? 1e9 : 100;
    case Q_VOLUME:
        return 1e4; /* it may be a running total */
    case Q_PARTIAL:
        return 1000;
    case Q_FRACTION:
        return 1.5;
    default:
        return 1e9;
    }
}

void row_plan_steps(struct row_plan *plan)
{
    int at = 0;
    plan->steps = 0;
    for (int c = 0; c < (int)plan->columns && c < COLUMNS_MAX; c++) {
        int slot = c == plan->time ? (int)SLOTS : -1;
        for (int s = 0; s < (int)SLOTS; s++)
            slot = plan->column[s] == c ? s : slot;
        if (slot < 0)
            continue;
        plan->step[plan->steps++] = (struct row_step){.pass = c - at, .slot = slot};
        at = c + 1;
    }
    plan->behind = (int)plan->columns - at;
}

void row_plan_make(struct row_plan *plan, const struct layout *l, const struct mapping *m)
{
    memset(plan, 0, sizeof *plan);
    plan->columns = l->columns;
    plan->delimiter = l->delimiter;
    plan->point = l->point;
    plan->stamp = m->stamp;
    plan->time = m->stamp == STAMP_NONE ? -1 : m->time;
    for (size_t s = 0; s < SLOTS; s++) {
        const struct mapped *c = &m->of[s];
        plan->column[s] = c->column;
        if (c->column < 0)
            continue;
        plan->factor[s] = c->unit->factor * c->sign;
        plan->limit[s] = plausible(c->unit->quantity, c->unit->uncalibrated);
    }
    plan->places = 9 - stamp_unit_places(m->stamp);
    plan->scale = 1;
    for (int i = 0; i < plan->places; i++)
        plan->scale *= 10;
    bool number = m->stamp != STAMP_CLOCK && m->stamp != STAMP_DATE;
    plan->may_be_fast = number && l->point == '.' && l->columns <= COLUMNS_MAX;
    row_plan_steps(plan);
}

static struct row_fault *fault_add(struct row_fault *fault, int *n, enum row_wrong wrong, int column,
                                   const struct field *f)
{
    struct row_fault *x = &fault[(*n)++];
    *x = (struct row_fault){.wrong = wrong, .column = column};
    size_t len = f->n < sizeof x->text - 1 ? f->n : sizeof x->text - 1;
    for (size_t i = 0; i < len; i++)
        x->text[i] = (char)(f->p[i] >= ' ' && f->p[i] < 0x7F ? f->p[i] : '?');
    return x;
}

/* The first byte, from 1, that can't be in a number. */
static size_t odd_byte(const struct field *f, char point)
{
    for (size_t i = 0; i < f->n; i++) {
        char c = f->p[i];
        if (!(c >= '0' && c <= '9') && c != point && c != '-' && c != '+' && !(i > 0 && (c == 'e' || c == 'E')))
            return i + 1;
    }
    return f->n > 0 ? f->n : 1; /* it breaks off */
}

static void careful_value(const struct row_plan *plan, const struct field *f, int slot, struct row *row,
                          struct row_fault *fault, int *n)
{
    double x;
    int column = plan->column[slot];
    switch (cell_kind(f->p, f->n)) {
    case CELL_EMPTY:
    case CELL_MISSING:
        row->empty++;
        return;
    case CELL_NAN:
    case CELL_INF:
        fault_add(fault, n, ROW_BAD_VALUE, column, f);
        return;
    default:
        break;
    }
    switch (decimal_parse(f->p, f->n, plan->point, &x, NULL)) {
    case DECIMAL_OK:
        x *= plan->factor[slot];
        if (fabs(x) <= plan->limit[slot])
            row->v[slot] = x;
        else
            fault_add(fault, n, ROW_BAD_VALUE, column, f);
        return;
    case DECIMAL_RANGE:
        fault_add(fault, n, ROW_BAD_VALUE, column, f);
        return;
    default:
        fault_add(fault, n, ROW_BAD_NUMBER, column, f)->byte = odd_byte(f, plan->point);
        return;
    }
}

bool row_careful(const struct row_plan *plan, const struct record *r, struct row *out, struct row_fault *fault, int *n)
{
    struct field f[COLUMNS_MAX];
    size_t have = record_split(r, plan->delimiter, f, COLUMNS_MAX);
    *n = 0;
    *out = (struct row){.empty = 0};
    for (size_t s = 0; s < SLOTS; s++)
        out->v[s] = (double)NAN;
    if (have != plan->columns) {
        struct field all = {r->p, r->n};
        fault_add(fault, n, ROW_RAGGED, (int)have, &all)->have = have;
        return false;
    }
    if (plan->time >= 0) {
        const struct field *t = &f[plan->time];
        if (!stamp_parse(plan->stamp, t->p, t->n, plan->point, &out->stamp)) {
            fault_add(fault, n, ROW_BAD_TIME, plan->time, t);
            return false;
        }
    }
    for (int s = 0; s < (int)SLOTS; s++)
        if (plan->column[s] >= 0)
            careful_value(plan, &f[plan->column[s]], s, out, fault, n);
    return true;
}
