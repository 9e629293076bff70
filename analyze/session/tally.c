#include "analyze/session/tally.h"
#include "analyze/patterns/pattern.h"
#include "analyze/session/usable.h"
#include "analyze/tables/median.h"

#include <math.h>
#include <string.h>

int tally_init(struct tally *t)
{
    memset(t, 0, sizeof *t);
    const int told = story_new(&t->story);
    if (told != TM_OK)
        return told;
    for (int c = 0; c < COL_N; c++) {
        if (!median_known((enum col)c) || !column_field((enum col)c)->built)
            continue;
        const int rc = median_new(&t->median[c], (enum col)c);
        if (rc != TM_OK)
            return rc;
    }
    return targets_init(&t->targets);
}

void tally_breath(struct tally *t, const struct breath_row *r)
{
    t->breaths++;
    targets_breath(&t->targets, r);
    burden_row(&t->burden, r);
    interval_row(&t->interval, &t->burden, BURDEN_core, r);
    story_row(t->story, r);
    t->complete += r->complete;
    if ((int)r->kind >= 0 && r->kind <= KIND_MANUAL)
        t->kind[r->kind]++;
    if ((int)r->initiation >= 0 && r->initiation <= INIT_MACHINE)
        t->initiation[r->initiation]++;
    if ((int)r->control >= 0 && r->control <= CONTROL_NONE)
        t->control[r->control]++;
    for (int q = 1; q < WHY_N && q < 64; q++)
        t->quality[q] += r->quality >> q & 1u;
    for (int p = 0; p < PATTERN_N; p++) {
        t->definite[p] += r->pattern[p] == CONF_DEFINITE;
        t->possible[p] += r->pattern[p] == CONF_POSSIBLE;
        t->judged[p] += r->unjudged[p] == WHY_NONE;
    }
    if (!breath_usable(r))
        return;
    t->usable++;
    t->usable_ns += r->t2_ns - r->t0_ns;
    for (int c = 0; c < COL_N; c++)
        if (t->median[c])
            median_add(t->median[c], r->v[c]);
}

void tally_flag(struct tally *t, const struct flag *f)
{
    burden_flag(&t->burden, f);
    interval_flag(&t->interval, BURDEN_core, f);
    story_flag(t->story, f);
    if (f->pattern != PATTERN_ineffective_effort)
        return;
    if (f->what.confidence == CONF_DEFINITE)
        clusters_add(&t->clusters[DEFINITE], f->what.at_ns);
    clusters_add(&t->clusters[WITH_POSSIBLE], f->what.at_ns);
}

void tally_mark(struct tally *t, const struct mark *m)
{
    story_mark(t->story, m);
}

void tally_end(struct tally *t)
{
    story_end(t->story);
}

void tally_event(struct tally *t, const struct event *e)
{
    if ((int)e->id < 0 || e->id >= EVENT_N)
        return;
    struct tally_events *x = &t->event[e->id];
    if (x->n < TALLY_EVENT_TIMES)
        x->start_ns[x->n] = e->start_ns;
    x->n++;
    x->definite += e->confidence == CONF_DEFINITE;
    x->total_ns += e->end_ns - e->start_ns;
}

void tally_release(struct tally *t)
{
    targets_release(&t->targets);
    story_destroy(t->story);
    t->story = NULL;
    for (int c = 0; c < COL_N; c++) {
        median_destroy(t->median[c]);
        t->median[c] = NULL;
    }
}
