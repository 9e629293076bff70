#include "tests/accuracy/score.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/accuracy/match.h"

static int add(struct records *r, const struct record *rec)
{
    if (r->n == r->cap) {
        size_t cap = r->cap ? 2 * r->cap : 4096;
        struct record *v = realloc(r->v, cap * sizeof *v);
        if (!v) {
            return -1;
        }
        r->v = v;
        r->cap = cap;
    }
    r->v[r->n++] = *rec;
    return 0;
}

static double same(const char *a, const char *b)
{
    return *a ? (strcmp(a, b) == 0 ? 1 : 0) : (double)NAN;
}

static double percent(double found, double truth, double of)
{
    return 100 * (found - truth) / of;
}

static bool spoken(const char *word)
{
    return *word && strcmp(word, "unknown") != 0;
}

static void compare_values(struct record *rec, const struct breath *t, const struct breath *f)
{
    rec->f[F_ONSET_S] = f->t0_s - t->t0_s;
    /* Both in % of the inspired volume: a breath that the next one cuts short may have hardly been breathed out. */
    rec->f[F_VTI_PCT] = percent(f->vti_ml, t->vti_ml, t->vti_ml);
    rec->f[F_VTE_PCT] = percent(f->vte_ml, t->vte_ml, t->vti_ml);
    rec->f[F_PIP] = f->pip - t->pip;
    rec->f[F_PEEP] = f->peep - t->peep;
    rec->f[F_PMEAN] = f->pmean - t->pmean;
    rec->f[F_C_PCT] = percent(f->c_ml_cmh2o, t->c_ml_cmh2o, t->c_ml_cmh2o);
    rec->f[F_RI_PCT] = percent(f->r_cmh2o_s_l, t->r_cmh2o_s_l, t->r_cmh2o_s_l);
    rec->f[F_RE_PCT] = percent(f->re_cmh2o_s_l, t->re_cmh2o_s_l, t->re_cmh2o_s_l);
    memcpy(rec->said, f->said, sizeof rec->said);
    pattern_either(rec->is, rec->said);
    rec->f[F_AUTOPEEP] = f->autopeep - t->autopeep;
    rec->f[F_POWER_PCT] = percent(f->power_j_min, t->power_j_min, t->power_j_min);
    rec->f[F_WOB] = f->wob_j_l - t->wob_j_l;
    rec->stress = f->stress_index;
    rec->delay_s = f->trigger_delay_s;
    rec->auto_given = !isnan(f->autopeep);
    rec->c_given = !isnan(f->c_ml_cmh2o);
    rec->r_given = !isnan(f->r_cmh2o_s_l);
}

static struct record compare(const struct breath *t, const struct breath *f)
{
    struct record rec = {.outcome = f ? HIT : MISS, .t_s = t->t0_s, .leak_pct = t->leak_near_pct, .eligible = t->eligible,
                         .efl_share = t->efl_share, .plain = t->plain, .unequal = t->unequal, .passive = t->passive, .auto_known = !isnan(t->autopeep), .false_trigger = t->auto_triggered,
                         .stress_true = t->stress_index, .stress = NAN, .delay_true_s = t->trigger_delay_s, .delay_s = NAN};
    memcpy(rec.is, t->is, sizeof rec.is);
    memcpy(rec.is_raw, t->is, sizeof rec.is_raw);
    rec.unassisted = strcmp(t->kind, "unassisted") == 0;
    snprintf(rec.control, sizeof rec.control, "%s", t->control);
    snprintf(rec.kind, sizeof rec.kind, "%s", t->kind);
    for (int i = 0; i < F_N; i++) {
        rec.f[i] = NAN;
    }
    for (int i = 0; i < W_N; i++) {
        rec.w[i] = NAN;
    }
    if (!f) {
        return rec;
    }
    memcpy(rec.said_raw, f->said, sizeof rec.said_raw);
    compare_values(&rec, t, f);
    snprintf(rec.found_kind, sizeof rec.found_kind, "%s", f->kind);
    rec.initiation_given = spoken(f->initiation);
    rec.w[W_KIND] = same(t->kind, f->kind);
    rec.w[W_INITIATION] = rec.initiation_given ? same(t->initiation, f->initiation) : (double)NAN;
    rec.w[W_CONTROL] = same(t->control, f->control);
    return rec;
}

const char *judged_event(size_t i)
{
    static const char *const names[EVENT_NAMES] = {"insp_hold",     "exp_hold",            "suction",
                                                   "disconnection", "sustained_inflation", "apnoea"};
    return names[i];
}

/* Position among the judged events; EVENT_NAMES where it is another, which goes on beside breathing (a leak). */
static size_t event_index(const struct event *e)
{
    size_t i = 0;
    while (i < EVENT_NAMES && strcmp(e->name, judged_event(i)) != 0) {
        i++;
    }
    return i;
}

/* The kind of judged event that t_s lies in; EVENT_NAMES: none. */
static size_t event_at(const struct breaths *b, double t_s)
{
    for (size_t i = 0; i < b->n_events; i++) {
        size_t kind = event_index(&b->events[i]);
        if (kind < EVENT_NAMES && t_s >= b->events[i].from_s && t_s < b->events[i].to_s) {
            return kind;
        }
    }
    return EVENT_NAMES;
}

/* A found breath without a partner is extra; or it is in the band: inside an event or a breath that is not scored, or
 * beyond the recording's first and last true breath. */
static int add_extra(struct records *r, const struct patient *p, const struct breath *f, const struct breaths *truth)
{
    size_t kind = event_at(truth, f->t0_s);
    if (kind < EVENT_NAMES) {
        r->events[kind].breaths++;
    }
    if (kind < EVENT_NAMES && p->series != SERIES_QUIET) {
        return 0;
    }
    for (size_t i = 0; i < truth->n && p->series != SERIES_QUIET; i++) {
        const struct breath *t = &truth->v[i];
        if (!t->counts && f->t0_s >= t->t0_s - MATCH_WITHIN_S && (f->t0_s < t->t2_s || isnan(t->t2_s))) {
            return 0;
        }
    }
    if (p->series != SERIES_QUIET && truth->n && (f->t0_s < truth->v[0].t0_s || f->t0_s > truth->v[truth->n - 1].t0_s)) {
        return 0;
    }
    struct record rec = compare(f, NULL);
    rec.outcome = EXTRA;
    memcpy(rec.said_raw, f->said, sizeof rec.said_raw);
    snprintf(rec.found_kind, sizeof rec.found_kind, "%s", f->kind);
    rec.patient = p->index;
    rec.leak_pct = NAN;
    return add(r, &rec);
}

/* Of an open circuit pressure and flow do not tell whether somebody put a catheter in: either name is accepted. */
static bool same_name(const struct event *t, const struct event *f)
{
    bool open_name = strcmp(f->name, "suction") == 0 || strcmp(f->name, "disconnection") == 0;
    return strcmp(t->name, f->name) == 0 || (t->opening && open_name);
}

/* Starts within 1 s and overlaps by half. */
static bool same_event(const struct event *t, const struct event *f)
{
    double overlap = fmin(t->to_s, f->to_s) - fmax(t->from_s, f->from_s);
    return same_name(t, f) && fabs(t->from_s - f->from_s) <= 1 && overlap >= 0.5 * (t->to_s - t->from_s);
}

static int score_events(struct records *r, const struct breaths *truth, const struct breaths *found)
{
    int rc = 0;
    for (size_t i = 0; i < truth->n_events; i++) {
        size_t kind = event_index(&truth->events[i]);
        bool hit = false;
        for (size_t k = 0; k < found->n_events && !hit; k++) {
            hit = same_event(&truth->events[i], &found->events[k]);
            rc |= hit ? holds_compare(&r->holds, &truth->events[i], &found->events[k]) : 0;
        }
        if (kind < EVENT_NAMES) {
            r->events[kind].truly++;
            r->events[kind].found += hit;
        }
    }
    for (size_t k = 0; k < found->n_events; k++) {
        const struct event *f = &found->events[k];
        size_t kind = event_index(f);
        bool near = false;
        for (size_t i = 0; i < truth->n_events; i++) {
            const struct event *t = &truth->events[i];
            near = near || (same_name(t, f) && t->from_s < f->to_s + 1 && t->to_s > f->from_s - 1);
        }
        if (kind < EVENT_NAMES) {
            r->events[kind].extra += !near;
        }
    }
    return rc;
}

/* Leak over this breath and the four before it, found (leak_pct is a mean over five) less true, in percentage points; NAN
 * unless all five are matched and both sides know. */
static double leak_of_five(const struct breaths *truth, const struct breaths *found, const size_t *of_t, size_t i)
{
    double in = 0, lost = 0;
    if (i < 4 || of_t[i] == MATCH_NONE) {
        return NAN;
    }
    for (size_t k = i - 4; k <= i; k++) {
        const struct breath *t = &truth->v[k];
        if (!t->counts || of_t[k] == MATCH_NONE || isnan(t->leak_pct)) {
            return NAN;
        }
        in += t->vti_ml;
        lost += t->leak_pct / 100 * t->vti_ml;
    }
    return found->v[of_t[i]].leak_pct - 100 * lost / in;
}

static int score_pairs(struct records *r, const struct patient *p, const struct breaths *truth,
                       const struct breaths *found, double *times, size_t *partners)
{
    double *t = times, *f = times + truth->n;
    size_t *of_t = partners, *of_f = partners + truth->n;
    for (size_t i = 0; i < truth->n; i++) {
        t[i] = truth->v[i].t0_s;
    }
    for (size_t k = 0; k < found->n; k++) {
        f[k] = found->v[k].t0_s;
    }
    int rc = match_times(t, truth->n, f, found->n, MATCH_WITHIN_S, of_t, of_f);
    for (size_t i = 0; i < truth->n && rc == 0; i++) {
        if (truth->v[i].counts) {
            struct record rec = compare(&truth->v[i], of_t[i] == MATCH_NONE ? NULL : &found->v[of_t[i]]);
            rec.patient = p->index;
            rec.f[F_LEAK5] = leak_of_five(truth, found, of_t, i);
            rc = add(r, &rec);
        }
    }
    for (size_t k = 0; k < found->n && rc == 0; k++) {
        if (of_f[k] == MATCH_NONE) {
            rc = add_extra(r, p, &found->v[k], truth);
        }
    }
    return rc;
}

int score_patient(struct records *r, const struct patient *p, const struct breaths *truth, const struct breaths *found)
{
    size_t n = truth->n + found->n + 1;
    double *times = calloc(n, sizeof *times);
    size_t *partners = calloc(n, sizeof *partners);
    int rc = times && partners ? score_pairs(r, p, truth, found, times, partners) : -1;
    rc |= score_events(r, truth, found);
    r->holds.seconds += p->seconds;
    r->quiet_seconds += p->series == SERIES_QUIET ? p->seconds : 0;
    free(times);
    free(partners);
    return rc;
}

void records_free(struct records *r)
{
    free(r->v);
    holds_free(&r->holds);
    efforts_free(&r->efforts);
    memset(r, 0, sizeof *r);
}
