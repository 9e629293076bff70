#include "tests/accuracy/efforts_scored.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fixtures/table/table.h"
#include "tests/accuracy/match.h"

#define LEAST_CMH2O 3.0
#define HEARTS      2.0
#define LIMB        3.0 /* cmH2O s/L: common practice, no source */
#define HEART_RAD_S 8.2 /* 78 beats a minute */
#define WITHIN_S    0.3
#define UNKNOWN_S   20.0
#define EVENT_S     3.0
#define NEAR_S      1.0
#define FALSE_CMH2O 1.0 /* a true effort under it is none */

static bool same_effort(const struct effort_true *t, const struct effort_found *f)
{
    double both = fmin(t->neural_end_s, f->neural_end_s) - fmax(t->start_s, f->start_s);
    double shorter = fmin(t->neural_end_s - t->start_s, f->neural_end_s - f->start_s);
    return fabs(f->start_s - t->start_s) <= WITHIN_S || both >= 0.5 * shorter;
}

void efforts_pair(const struct effort_true *t, size_t n, const struct effort_found *f, size_t n_found, size_t *partner, bool *used)
{
    for (size_t i = 0; i < n; i++) {
        size_t best = MATCH_NONE;
        for (size_t k = 0; k < n_found; k++) {
            if (!used[k] && same_effort(&t[i], &f[k]) &&
                (best == MATCH_NONE || fabs(f[k].start_s - t[i].start_s) < fabs(f[best].start_s - t[i].start_s))) {
                best = k;
            }
        }
        partner[i] = best;
        if (best != MATCH_NONE) {
            used[best] = true;
        }
    }
}

static bool scored_at(const struct breaths *truth, double t_s)
{
    bool at = t_s > UNKNOWN_S;
    for (size_t i = 0; i < truth->n_events && at; i++) {
        at = t_s < truth->events[i].from_s - EVENT_S || t_s > truth->events[i].to_s + EVENT_S;
    }
    return at;
}

/* The heart's bump by the last of the patient's constants. */
static int heart_bump(const char *folder, double *bump)
{
    struct table t;
    char path[1024];
    snprintf(path, sizeof path, "%s/mechanics.csv", folder);
    if (table_read(&t, path)) {
        return -1;
    }
    *bump = 0;
    if (t.rows) {
        double flow = table_number(&t, t.rows - 1, table_column(&t, "heart_l_s"));
        double e = table_number(&t, t.rows - 1, table_column(&t, "e_cmh2o_l"));
        double r = table_number(&t, t.rows - 1, table_column(&t, "re_cmh2o_s_l"));
        *bump = flow > 0 ? flow * hypot(r + LIMB, e / HEART_RAD_S) : 0;
    }
    table_free(&t);
    return 0;
}

static struct effort_true *read_true(const char *folder, const struct breaths *truth, size_t *n)
{
    struct table t;
    char path[1024];
    snprintf(path, sizeof path, "%s/efforts.csv", folder);
    if (table_read(&t, path)) {
        return NULL;
    }
    struct effort_true *v = calloc(t.rows + 1, sizeof *v);
    *n = v ? t.rows : 0;
    for (size_t r = 0; r < *n; r++) {
        v[r].start_s = table_number(&t, r, table_column(&t, "start_s"));
        v[r].neural_end_s = table_number(&t, r, table_column(&t, "neural_end_s"));
        v[r].peak_cmh2o = table_number(&t, r, table_column(&t, "peak_cmh2o"));
        v[r].answered = table_number(&t, r, table_column(&t, "answered")) > 0;
        v[r].scored = scored_at(truth, v[r].start_s);
    }
    table_free(&t);
    return v;
}

static struct effort_found *read_found(const char *path, size_t *n)
{
    struct table t;
    if (table_read(&t, path)) {
        return NULL;
    }
    struct effort_found *v = calloc(t.rows + 1, sizeof *v);
    *n = v ? t.rows : 0;
    for (size_t r = 0; r < *n; r++) {
        v[r].start_s = table_number(&t, r, table_column(&t, "start_s"));
        v[r].neural_end_s = table_number(&t, r, table_column(&t, "neural_end_s"));
        v[r].peak_cmh2o = table_number(&t, r, table_column(&t, "peak_cmh2o"));
        v[r].sd_cmh2o = table_number(&t, r, table_column(&t, "sd_cmh2o"));
        v[r].definite = strcmp(table_text(&t, r, table_column(&t, "confidence")), "definite") == 0;
        snprintf(v[r].known, sizeof v[r].known, "%s", table_text(&t, r, table_column(&t, "known")));
    }
    table_free(&t);
    return v;
}

static int add(struct efforts_scored *s, const struct effort_record *rec)
{
    if (s->n == s->cap) {
        size_t cap = s->cap ? 2 * s->cap : 1024;
        struct effort_record *v = realloc(s->v, cap * sizeof *v);
        if (!v) {
            return -1;
        }
        s->v = v;
        s->cap = cap;
    }
    s->v[s->n++] = *rec;
    return 0;
}

static int add_true(struct efforts_scored *s, size_t patient, const struct effort_true *t, const struct effort_found *f)
{
    struct effort_record rec = {.patient = patient, .answered = t->answered, .hit = f != NULL, .start_off_s = NAN, .end_off_s = NAN};
    if (f) {
        rec.start_off_s = f->start_s - t->start_s;
        rec.end_off_s = f->neural_end_s - t->neural_end_s;
        rec.covered = fabs(f->peak_cmh2o - t->peak_cmh2o) <= 2 * f->sd_cmh2o;
        snprintf(rec.known, sizeof rec.known, "%s", f->known);
    }
    return add(s, &rec);
}

static bool is_false(const struct effort_found *f, const struct effort_true *t, size_t n, const struct breaths *truth)
{
    bool lone = scored_at(truth, f->start_s);
    for (size_t i = 0; i < n && lone; i++) {
        lone = t[i].peak_cmh2o < FALSE_CMH2O || fabs(f->start_s - t[i].start_s) >= NEAR_S;
    }
    return lone;
}

int efforts_score(struct efforts_scored *s, const struct patient *p, const struct breaths *truth, const char *folder, const char *found)
{
    size_t n = 0, n_found = 0;
    double bump = 0;
    struct effort_true *t = read_true(folder, truth, &n);
    struct effort_found *f = read_found(found, &n_found);
    size_t *partner = calloc(n + 1, sizeof *partner);
    bool *used = calloc(n_found + 1, sizeof *used), active = false;
    int rc = t && f && partner && used ? heart_bump(folder, &bump) : -1;
    if (rc == 0) {
        efforts_pair(t, n, f, n_found, partner, used);
    }
    for (size_t i = 0; i < n && rc == 0; i++) {
        active = active || t[i].peak_cmh2o >= FALSE_CMH2O;
        if (t[i].scored && t[i].peak_cmh2o >= fmax(LEAST_CMH2O, HEARTS * bump)) {
            rc = add_true(s, p->index, &t[i], partner[i] == MATCH_NONE ? NULL : &f[partner[i]]);
        }
    }
    if (rc == 0 && !active) {
        s->passive[p->stratum].hours += p->seconds / 3600;
        for (size_t k = 0; k < n_found; k++) {
            bool lone = !used[k] && is_false(&f[k], t, n, truth);
            s->passive[p->stratum].definite += lone && f[k].definite;
            s->passive[p->stratum].possible += lone && !f[k].definite;
        }
    }
    free(t);
    free(f);
    free(partner);
    free(used);
    return rc;
}

void efforts_free(struct efforts_scored *s)
{
    free(s->v);
    *s = (struct efforts_scored){0};
}
