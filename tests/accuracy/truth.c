#include "tests/accuracy/truth.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fixtures/table/table.h"

/* A breath that starts this soon has no rest before it to be told from: cut by the recording's start. */
#define EDGE_S 0.3

static int open_table(struct table *t, const char *folder, const char *name)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return table_read(t, path);
}

static void word(char *out, size_t cap, const struct table *t, size_t r, const char *column)
{
    snprintf(out, cap, "%s", table_text(t, r, table_column(t, column)));
}

static double number(const struct table *t, size_t r, const char *column)
{
    return table_number(t, r, table_column(t, column));
}

static int read_events(struct breaths *b, const char *folder)
{
    struct table t;
    if (open_table(&t, folder, "events.csv")) {
        return -1;
    }
    b->events = calloc(t.rows + 1, sizeof *b->events);
    for (size_t r = 0; b->events && r < t.rows; r++) {
        struct event *e = &b->events[b->n_events++];
        word(e->name, sizeof e->name, &t, r, "event");
        e->opening = strcmp(e->name, "disconnection") == 0 || strcmp(table_text(&t, r, table_column(&t, "detail")), "open") == 0;
        word(e->values, sizeof e->values, &t, r, "values");
        e->from_s = number(&t, r, "start_s");
        e->to_s = number(&t, r, "end_s");
    }
    table_free(&t);
    return b->events ? 0 : -1;
}

/* The same names in both files. */
static void work(struct breath *b, const struct table *t, size_t r)
{
    b->power_j_min = number(t, r, "power_j_min");
    b->wob_j_l = number(t, r, "wob_j_l");
    b->stress_index = number(t, r, "stress_index");
}

static void true_breath(struct breath *b, const struct table *t, size_t r)
{
    b->t0_s = number(t, r, "t0_s");
    b->t1_s = number(t, r, "t1_s");
    b->t2_s = number(t, r, "t2_s");
    word(b->kind, sizeof b->kind, t, r, "kind");
    word(b->initiation, sizeof b->initiation, t, r, "initiation");
    word(b->control, sizeof b->control, t, r, "control");
    b->vti_ml = number(t, r, "vti_ml");
    b->vte_ml = number(t, r, "vte_ml");
    b->pip = number(t, r, "pip_cmh2o");
    b->pmean = number(t, r, "pmean_cmh2o");
    b->peep = number(t, r, "peep_scored") > 0 ? number(t, r, "peep_cmh2o") : (double)NAN;
    b->autopeep = isnan(b->peep) ? (double)NAN : number(t, r, "total_peep_cmh2o") - b->peep;
    b->counts = number(t, r, "scored") > 0 && b->t0_s >= EDGE_S;
    word(b->why, sizeof b->why, t, r, "why");
    if (b->t0_s < EDGE_S) {
        snprintf(b->why, sizeof b->why, "edge");
    }
    b->passive = number(t, r, "effort") == 0 && strcmp(b->kind, "mandatory") == 0;
    b->leak_pct = number(t, r, "leak_pct");
    work(b, t, r);
    b->efl_share = number(t, r, "efl_share");
    for (size_t i = 0; i < PATTERNS_SCORED; i++) {
        double is = number(t, r, pattern_scored(i)->name);
        b->is[i] = isnan(is) ? -1 : is > 0;
    }
    b->pmus_max_cmh2o = number(t, r, "pmus_max_cmh2o");
    b->auto_triggered = number(t, r, "auto_trigger") > 0;
    /* Of a lung that is not one linear compartment: what the same fit gives without noise. Else mechanics.csv says. */
    b->c_ml_cmh2o = number(t, r, "dyn_c_ml_cmh2o");
    b->r_cmh2o_s_l = number(t, r, "dyn_ri_cmh2o_s_l");
    b->re_cmh2o_s_l = number(t, r, "dyn_re_cmh2o_s_l");
}

/* Of breaths that the patient triggered: from the start of the counting effort (2 cmH2O) under way at t0. */
static int read_delays(struct breaths *b, const char *folder)
{
    struct table t;
    if (open_table(&t, folder, "efforts.csv")) {
        return -1;
    }
    size_t r = 0;
    for (size_t i = 0; i < b->n; i++) {
        struct breath *v = &b->v[i];
        v->trigger_delay_s = NAN;
        while (r + 1 < t.rows && number(&t, r + 1, "start_s") < v->t0_s) {
            r++;
        }
        bool own = r < t.rows && number(&t, r, "start_s") < v->t0_s && number(&t, r, "end_s") > v->t0_s;
        if (own && v->counts && strcmp(v->initiation, "patient") == 0 && strcmp(v->kind, "unassisted") != 0 &&
            number(&t, r, "peak_cmh2o") >= 2) {
            v->trigger_delay_s = v->t0_s - number(&t, r, "start_s");
        }
    }
    table_free(&t);
    return 0;
}

static bool nebulised(const struct breaths *b, double from_s, double to_s)
{
    for (size_t i = 0; i < b->n_events; i++) {
        const struct event *e = &b->events[i];
        if (strcmp(e->name, "nebulisation") == 0 && e->from_s < to_s && e->to_s > from_s) {
            return true;
        }
    }
    return false;
}

/* What a breath's neighbours tell, two on each side: the leak, and whether an event is near. */
static void neighbours(struct breaths *b)
{
    for (size_t i = 0; i < b->n; i++) {
        struct breath *v = &b->v[i];
        bool quiet = true;
        double in = 0, out = 0;
        for (size_t k = i >= 2 ? i - 2 : 0; k <= i + 2 && k < b->n; k++) {
            quiet = quiet && (b->v[k].counts || strcmp(b->v[k].why, "edge") == 0);
            in += b->v[k].counts ? b->v[k].vti_ml : 0;
            out += b->v[k].counts ? b->v[k].vte_ml : 0;
        }
        v->leak_near_pct = in > 0 ? 100 * (in - out) / in : (double)NAN;
        v->eligible = quiet && v->counts && v->passive && v->leak_near_pct < 15 && !(v->efl_share >= 0.1) &&
                      !nebulised(b, v->t0_s, v->t2_s);
    }
}

static int read_mechanics(struct breaths *b, const char *folder)
{
    struct table t;
    if (open_table(&t, folder, "mechanics.csv")) {
        return -1;
    }
    for (size_t i = 0; i < b->n && t.rows; i++) {
        struct breath *v = &b->v[i];
        size_t r = 0;
        while (r + 1 < t.rows && number(&t, r + 1, "from_s") <= fmax(0, v->t0_s)) {
            r++;
        }
        v->plain = !(number(&t, r, "one_compartment") == 0) && !(number(&t, r, "linear") == 0);
        v->unequal = number(&t, r, "one_compartment") == 0;
        if (v->plain && isnan(v->c_ml_cmh2o)) {
            v->c_ml_cmh2o = number(&t, r, "c_ml_cmh2o");
            v->r_cmh2o_s_l = number(&t, r, "ri_cmh2o_s_l");
            v->re_cmh2o_s_l = number(&t, r, "re_cmh2o_s_l");
        }
        /* the heart's bump in muscle pressure, at 78 beats a minute: the flow it moves times what stands against it, the limb's 3
         * cmH2O s/L with the airways' */
        double heart_l_s = number(&t, r, "heart_l_s"), re = number(&t, r, "re_cmh2o_s_l"), e = number(&t, r, "e_cmh2o_l");
        pattern_band(v->is, v->pmus_max_cmh2o, heart_l_s > 0 ? heart_l_s * hypot(re + 3, e / 8.2) : 0);
        b->heart = b->heart || number(&t, r, "heart_l_s") > 0;
    }
    table_free(&t);
    return 0;
}

int truth_read(struct breaths *b, const char *folder)
{
    struct table t;
    memset(b, 0, sizeof *b);
    if (open_table(&t, folder, "breaths.csv")) {
        return -1;
    }
    b->v = calloc(t.rows + 1, sizeof *b->v);
    for (size_t r = 0; b->v && r < t.rows; r++) {
        true_breath(&b->v[b->n++], &t, r);
    }
    table_free(&t);
    if (!b->v || read_events(b, folder) || read_mechanics(b, folder) || read_delays(b, folder)) {
        return -1;
    }
    neighbours(b);
    return 0;
}

/* Which flags are definite, and those that breaths.csv doesn't tell apart. */
static int read_flags(struct breaths *b, const char *folder)
{
    struct table t;
    if (open_table(&t, folder, "flags.csv")) {
        return -1;
    }
    for (size_t r = 0; r < t.rows; r++) {
        double n = number(&t, r, "breath");
        size_t place = pattern_place(table_text(&t, r, table_column(&t, "pattern")));
        bool definite = strcmp(table_text(&t, r, table_column(&t, "confidence")), "definite") == 0;
        if (n >= 1 && n <= (double)b->n && place < PATTERNS_SCORED && definite) {
            b->v[(size_t)n - 1].said[place] = SAID_DEFINITE;
        }
    }
    table_free(&t);
    return 0;
}

int found_read(struct breaths *b, const char *folder)
{
    struct table t;
    memset(b, 0, sizeof *b);
    if (open_table(&t, folder, "breaths.csv")) {
        return -1;
    }
    b->v = calloc(t.rows + 1, sizeof *b->v);
    for (size_t r = 0; b->v && r < t.rows; r++) {
        struct breath *f = &b->v[b->n++];
        f->t0_s = number(&t, r, "start_s");
        f->t1_s = f->t0_s + number(&t, r, "ti_s");
        f->t2_s = f->t0_s + number(&t, r, "ttot_s");
        word(f->kind, sizeof f->kind, &t, r, "kind");
        word(f->initiation, sizeof f->initiation, &t, r, "initiation");
        word(f->control, sizeof f->control, &t, r, "control");
        f->vti_ml = number(&t, r, "vti_ml");
        f->vte_ml = number(&t, r, "vte_ml");
        f->pip = number(&t, r, "pip_cmh2o");
        f->pmean = number(&t, r, "pmean_cmh2o");
        f->peep = number(&t, r, "peep_cmh2o");
        f->c_ml_cmh2o = number(&t, r, "fit_crs_ml_cmh2o");
        f->r_cmh2o_s_l = number(&t, r, "fit_r_cmh2o_s_l");
        f->re_cmh2o_s_l = number(&t, r, "fit_re_cmh2o_s_l");
        f->leak_pct = number(&t, r, "leak_pct");
        work(f, &t, r);
        f->trigger_delay_s = number(&t, r, "trigger_delay_s");
        for (size_t i = 0; i < PATTERNS_SCORED; i++) {
            f->said[i] = pattern_said(table_text(&t, r, table_column(&t, "flags")), table_text(&t, r, table_column(&t, "unjudged")),
                                      pattern_scored(i)->name);
        }
        f->autopeep = number(&t, r, "autopeep_cmh2o");
    }
    table_free(&t);
    return b->v && read_flags(b, folder) == 0 ? read_events(b, folder) : -1;
}

void breaths_free(struct breaths *b)
{
    free(b->v);
    free(b->events);
    memset(b, 0, sizeof *b);
}
