#include "tests/patterns/window.h"

static int64_t ns(double s) {
    return (int64_t)floor(s * 1e9 + 0.5);
}

double made_t0(int k) {
    return 100 + LENGTH_S * k;
}

void made_times(struct made *m, int k, double t0_s, double t1_s, double t2_s) {
    m->row[k].t0_ns = ns(t0_s);
    m->row[k].t1_ns = ns(t1_s);
    m->row[k].t2_ns = ns(t2_s);
}

void made_breaths(struct made *m, int n, enum breath_kind kind, enum breath_initiation initiation, enum breath_control control) {
    const double none = (double)NAN;
    memset(m, 0, sizeof *m);
    m->n = n;
    m->own = n / 2;
    m->time_scale = 1;
    m->rate_hz = 100;
    pattern_defaults(&m->settings);
    for (int k = 0; k < n; k++) {
        struct breath_row *row = &m->row[k];
        row->number = (uint64_t)k + 1;
        row->complete = true;
        row->kind = kind;
        row->initiation = initiation;
        row->control = control;
        for (int c = 0; c < COL_N; c++)
            row->v[c] = none;
        row->v[COL_effort] = 0;
        row->v[COL_ttot_s] = LENGTH_S;
        row->v[COL_vti_ml] = 400;
        row->v[COL_vte_ml] = 400;
        made_times(m, k, made_t0(k), made_t0(k) + TI_S, made_t0(k + 1));
        m->muscle[k] = (struct muscle){.read = true, .quality = MECHANICS_GOOD, .source = SOURCE_FIT, .mid_sd = 0.2, .after_sd = 0.2};
        m->over[k] = (struct overshoot){.plateau_cmh2o = 20, .plateau_s = 0.4, .foot_cmh2o = 5, .peak_flow_l_s = 1, .at_ns = row->t0_ns};
        m->exp[k].why_tail = WHY_few_breaths;
        m->beat[k].before_s = none;
    }
}

struct effort *made_effort(struct made *m, double start_s, double neural_end_s, double peak_cmh2o) {
    assert_true(m->n_efforts < 64);
    struct effort *e = &m->effort[m->n_efforts++];
    *e = (struct effort){.start_ns = ns(start_s), .neural_end_ns = ns(neural_end_s), .end_ns = ns(neural_end_s + 0.1),
                         .peak_ns = ns(0.3 * start_s + 0.7 * neural_end_s), .peak_cmh2o = peak_cmh2o, .rise_cmh2o = peak_cmh2o, .sd_cmh2o = 0.3,
                         .confidence = CONF_DEFINITE, .quality = MECHANICS_GOOD, .source = SOURCE_FIT};
    return e;
}

double *made_param(struct made *m, enum pattern_id p, const char *name) {
    const struct pattern *d = pattern_of(p);
    for (int i = 0; d && d->params[i].name; i++)
        if (strcmp(d->params[i].name, name) == 0)
            return &m->settings.v[p][i];
    fail_msg("%s has no parameter %s", pattern_name(p), name);
    return NULL;
}

/* Evidence stands in the descriptor's order, each key once, each with a value. */
static void listed(const struct pattern *d, const struct pattern_verdict *v) {
    int k = 0;
    for (int i = 0; i < v->n; i++) {
        while (d->evidence[k].key && strcmp(d->evidence[k].key, v->evidence[i].key) != 0)
            k++;
        if (!d->evidence[k].key)
            fail_msg("%s is not in its place in the list of evidence", v->evidence[i].key);
        k++;
        assert_true(v->evidence[i].text ? v->evidence[i].text[0] != '\0' : !isnan(v->evidence[i].number));
    }
}

static struct pattern_window window_of(const struct made *m) {
    struct pattern_window w = {.n = m->n, .own = m->own, .effort = m->effort, .n_efforts = m->n_efforts, .nth = m->nth,
                               .flow_scale = 1, .time_scale = m->time_scale, .rate_hz = m->rate_hz};
    for (int k = 0; k < m->n; k++)
        w.at[k] = (struct pattern_breath){.row = &m->row[k], .more = &m->more[k], .exp = &m->exp[k], .muscle = &m->muscle[k], .over = &m->over[k], .beat = &m->beat[k]};
    return w;
}

struct pattern_verdict made_verdict(const struct made *m, enum pattern_id p) {
    const struct pattern_window w = window_of(m);
    struct pattern_verdict v;
    memset(&v, 0, sizeof v);
    pattern_of(p)->judge(&w, m->settings.v[p], &v);
    assert_true(v.unjudged == WHY_NONE || v.confidence == CONF_NONE);
    if (v.confidence != CONF_NONE) {
        listed(pattern_of(p), &v);
        assert_in_range(v.at_ns, m->row[m->own].t0_ns - 2 * NS_PER_S, m->row[m->own].t2_ns);
    }
    return v;
}

enum confidence made_judged(const struct made *m, enum pattern_id p) {
    struct pattern_verdict v = made_verdict(m, p);
    if (v.unjudged != WHY_NONE)
        fail_msg("%s is not judged: %s", pattern_name(p), reason_name(v.unjudged));
    return v.confidence;
}

enum reason made_unjudged(const struct made *m, enum pattern_id p) {
    return made_verdict(m, p).unjudged;
}

static const struct event_value *evidence_of(const struct pattern_verdict *v, const char *key) {
    for (int i = 0; i < v->n; i++)
        if (strcmp(v->evidence[i].key, key) == 0)
            return &v->evidence[i];
    fail_msg("no evidence %s", key);
    return NULL;
}

double made_number(const struct pattern_verdict *v, const char *key) {
    const struct event_value *e = evidence_of(v, key);
    assert_null(e->text);
    return e->number;
}

const char *made_word(const struct pattern_verdict *v, const char *key) {
    const struct event_value *e = evidence_of(v, key);
    assert_non_null(e->text);
    return e->text;
}

void made_whole(const struct made *m, enum pattern_id p) {
    struct pattern_verdict v = made_verdict(m, p);
    assert_int_not_equal(v.confidence, CONF_NONE);
    int n = 0;
    for (const struct pattern_evidence *e = pattern_of(p)->evidence; e->key; e++)
        n++;
    assert_int_equal(v.n, n); /* made_verdict() knows that each is in its place */
}

/* confidences of either side, or -1: any flag inside, none outside */
static void edge(enum pattern_id p, const char *param, made_put *put, int inside, int outside) {
    const struct pattern_param *q = pattern_of(p)->params;
    while (q->name && strcmp(q->name, param) != 0)
        q++;
    if (!q->name)
        fail_msg("%s has no parameter %s", pattern_name(p), param);
    const double value[] = {q->low, q->dflt, q->high};
    for (int i = 0; i < 6; i++) {
        struct made m;
        const int side = i % 2 ? 1 : -1;
        put(&m, value[i / 2], side);
        *made_param(&m, p, param) = value[i / 2];
        const struct pattern_verdict v = made_verdict(&m, p);
        assert_true(v.unjudged == WHY_NONE || v.unjudged == WHY_below_resolution);
        const int got = (int)v.confidence, want = side > 0 ? inside : outside;
        if (want < 0 ? (got != CONF_NONE) != (side > 0) : got != want)
            fail_msg("%s.%s %g, a hair %s: %d", pattern_name(p), param, value[i / 2], side > 0 ? "inside" : "outside", got);
    }
}

void made_edge(enum pattern_id p, const char *param, made_put *put) {
    edge(p, param, put, -1, -1);
}

void made_edge_of(enum pattern_id p, const char *param, made_put *put, enum confidence inside, enum confidence outside) {
    edge(p, param, put, (int)inside, (int)outside);
}

void made_unfit(enum pattern_id p, void (*scene)(struct made *m)) {
    static const enum reason code[] = {WHY_gap, WHY_event};
    struct made m;
    for (int i = 0; i < 2; i++) {
        scene(&m);
        m.row[m.own].quality = UINT64_C(1) << code[i];
        assert_int_equal(made_unjudged(&m, p), code[i]);
    }
    scene(&m);
    m.row[m.own].v[COL_effort] = (double)NAN;
    assert_int_equal(made_unjudged(&m, p), WHY_no_mechanics);
    m.row[m.own].why[COL_effort] = WHY_leak_high;
    assert_int_equal(made_unjudged(&m, p), WHY_leak_high);
}

int made_flags(struct made *m, enum pattern_id p, struct pattern_verdict *out, int most) {
    static struct flag found[FLAGS_MOST];
    struct breath_row row = m->row[m->own];
    struct pattern_window w = window_of(m);
    int n = 0, all = patterns_judge(&w, &m->settings, &row, found);
    for (int i = 0; i < all; i++) {
        assert_int_equal(found[i].breath, row.number);
        if (found[i].pattern == p && n < most)
            out[n++] = found[i].what;
    }
    return n;
}
