#include "analyze/session/lane_effort.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"
#include "analyze/session/drive_cells.h"
#include "analyze/session/lane.h"
#include "analyze/session/lane_patterns.h"

#include <string.h>

#define BEFORE_NS    (22 * NS_PER_S / 10)
#define AFTER_NS     (2 * NS_PER_S)
#define HEART_RAD_S  8.2  /* 78 beats a minute */
#define LEAK_MOST_PCT 40.0
#define PEEP_MOVED   1.0  /* cmH2O */
#define SWING        10.0 /* cmH2O that fills the usual breath, where nothing else is known of the lung */
#define QUIET_LEAST  5
#define QUIET_MORE   1.3 /* beats differ, and the least of several stretches is taken */
#define HEART_MOST   0.045 /* L/s: amplitude; 5 L/min from peak to peak are a strong heart's */
#define LEAST_E      5.0   /* cmH2O/L, cmH2O s/L: nobody has a softer chest, and a tube alone has nearly so much; less is a valve or water */
#define LEAST_R      2.0
#define TAU_S        0.5  /* where no expiration shows its own */
#define TAU_MOST_S   1.5
#define DOUBTED      0.4  /* of ln R: half as much again */
#define BLIND_SHARE  0.02 /* hardly one in the last forty */
#define BLIND_CMH2O  5.0
#define PULLED_GAIN  0.1
#define PULLED_SHARE 0.2
#define OWED_BEFORE_NS (NS_PER_S / 5)
#define OWED_AFTER_NS  (NS_PER_S / 10)
#define LIMB         3.0  /* cmH2O s/L of the expiratory limb: the heart's gas passes it too */

/* The heart's bump in the estimate, from peak to peak: the flow it makes late in expiration times what stands against it. Efforts
 * late in expiration look like more; but there are stretches without, and the heart is in those too. */
static double heart_bump(struct lane *l, const struct effort_watch *w)
{
    const struct mechanics *m = &w->m;
    double by_flow = 2 * smaller(l->heart_resid_l_s, HEART_MOST * l->scale.flow) * hypot(m->re_cmh2o_s_l + LIMB, m->e_cmh2o_l / HEART_RAD_S), v[LANE_HEARTS];
    double quiet = effort_quiet(&l->curve, w->b.t0_ns, w->b.t2_ns);
    if (!isnan(quiet))
        l->quiet[l->n_quiet++ % LANE_HEARTS] = quiet;
    int n = l->n_quiet < LANE_HEARTS ? l->n_quiet : LANE_HEARTS;
    if (n < QUIET_LEAST)
        return by_flow;
    memcpy(v, l->quiet, sizeof v);
    return smaller(by_flow, QUIET_MORE * order_median(v, n));
}

static void read_muscle(struct lane *l, const struct effort_watch *w, const struct effort_limits *lim, const struct effort *found, int n,
                        struct muscle *out)
{
    struct effort reach[EFFORTS_MOST + 1];
    int m = 0;
    const struct effort *last = l->pending.n_efforts ? &l->pending.efforts[l->pending.n_efforts - 1] : NULL;
    if (last && last->end_ns > w->b.t0_ns - NS_PER_S) /* the breath before's, that reaches into this one */
        reach[m++] = *last;
    for (int i = 0; i < n; i++)
        reach[m++] = found[i];
    muscle_read(&(struct muscle_in){.curve = &l->curve, .lim = lim, .t0_ns = w->b.t0_ns, .t1_ns = w->b.t1_ns, .t2_ns = w->b.t2_ns,
                                    .efforts = reach, .n = m}, out);
}

/* The column of the breath's row, and what the patterns read of the curve. */
static void say(struct lane *l, const struct effort_watch *w, const struct effort_limits *lim, const struct effort *found, int n)
{
    double most = 0;
    int sure = 0;
    for (int i = 0; i < n; i++) {
        most = larger(most, found[i].confidence == CONF_DEFINITE ? 2 : 1);
        sure += found[i].confidence == CONF_DEFINITE;
    }
    for (uint64_t i = l->pending.tail; i > l->pending.head; i--) {
        struct pending_row *p = pending_at(&l->pending, i - 1);
        struct breath_row *row = &p->row;
        if (row->t0_ns > w->b.t0_ns)
            continue;
        if (row->t0_ns < w->b.t0_ns || row->why[COL_effort] == WHY_event)
            return;
        read_muscle(l, w, lim, found, n, &p->muscle);
        row->efforts = (uint8_t)sure;
        if (row->v[COL_leak_pct] > LEAK_MOST_PCT)
            row_empty(row, COL_effort, WHY_leak_high);
        else
            row_set(row, COL_effort, most);
        if (most > 1 && w->m.source == SOURCE_FIT)
            pending_take_back(row, WHY_effort_suspected);
        return;
    }
}

/* An effort drew this breath, or pulled on the machine before it. One that pulls now and then is taken for noise. */
static void owe(const struct lane *l, struct effort_limits *lim, int i, const struct seg_breath *b, bool pulled)
{
    bool owed = b && l->pulled_share > PULLED_SHARE && (pulled || !b->machine);
    lim->owed_from_ns[i] = owed ? b->t0_ns - OWED_BEFORE_NS : 0;
    lim->owed_to_ns[i] = owed ? b->t1_ns + OWED_AFTER_NS : -1;
}

/* next: the breath after it; NULL where the run ends. pulled: something departed before it. */
static void judge(struct lane *l, const struct effort_watch *w, const struct seg_breath *next, bool pulled)
{
    if (w->m.quality == MECHANICS_NONE || w->b.i0 < ring_first(l->ring)) {
        lane_expiration(l, &w->b, &w->m, NULL, 0);
        return;
    }
    const struct ring *r = l->ring;
    uint64_t first = ring_first(r), last = r->end - 1;
    uint64_t from = ring_find(r, first, w->b.i0 + 1, w->b.t0_ns - BEFORE_NS);
    uint64_t to = ring_find(r, w->b.i2, last + 1, w->b.t2_ns + AFTER_NS);
    struct leak_law_now leak;
    leak_now(&l->leak, &leak);
    effort_curve(r, from, to, &w->m, l->lag.lag_s, &leak, l->infant ? 0.5 : 1, &l->curve);
    lane_alike_curve(l, &w->b);
    int64_t valves[4];
    int n_valves = 0;
    if (w->b.machine) {
        valves[n_valves++] = w->b.t0_ns;
        valves[n_valves++] = w->b.t1_ns;
    }
    if (next && next->machine) {
        valves[n_valves++] = next->t0_ns;
        valves[n_valves++] = next->t1_ns;
    }
    effort_bridge(&l->curve, valves, n_valves);
    double k = larger(1, 0.1 * r->rate_hz), noise_q = l->noise.q_sd_l_s * w->m.re_cmh2o_s_l;
    struct effort_limits lim = {.m = &w->m, .heart_cmh2o = heart_bump(l, w),
                                .noise_cmh2o = hypot(l->noise.p_sd_cmh2o, noise_q) / sqrt(k),
                                .from_ns = w->b.t0_ns, .to_ns = w->b.t2_ns,
                                .opens_ns = {w->b.machine ? w->b.t0_ns : -1, next && next->machine ? next->t0_ns : -1},
                                .turn_ns = w->b.t1_ns};
    owe(l, &lim, 0, &w->b, w->pulled);
    owe(l, &lim, 1, next, pulled);
    struct effort found[EFFORTS_MOST];
    /* Where nobody pulls and the constants are guesses, only a large one is told from their errors. */
    lim.least_cmh2o = w->m.quality <= MECHANICS_POOR && l->pulled_share < BLIND_SHARE ? BLIND_CMH2O : 0;
    int n = effort_find(&l->curve, &lim, found);
    say(l, w, &lim, found, n);
    lane_expiration(l, &w->b, &w->m, found, n);
    for (int i = 0; i < n; i++) {
        found[i].breath_t0_ns = w->b.t0_ns;
        lane_alike_effort(l, &found[i]);
        pending_effort(&l->pending, &found[i]);
        drive_effort(&l->pending, &found[i]);
    }
}

/* PEEP moved by over 1 cmH2O: the lung stands elsewhere on its curve. By the median of ordinary breaths, which an effort's dip
 * does not move. */
static void follow_peep(struct lane *l, int64_t now_ns)
{
    double peep = l->ordinary.peep_cmh2o;
    if (isnan(peep) || fabs(peep - l->tracked_peep_cmh2o) <= PEEP_MOVED)
        return;
    if (!isnan(l->tracked_peep_cmh2o))
        tracker_reset(&l->tracker, now_ns);
    l->tracked_peep_cmh2o = peep;
}

void lane_effort_breath(struct lane *l, const struct seg_breath *b, bool pulled, struct breath_row *row)
{
    if (l->watch.waits && l->watch.b.i0 >= l->ring->begin)
        judge(l, &l->watch, b, pulled);
    if (b->complete && b->has_t1) {
        steps_breath(&l->steps, l->ring, b, l->lag.lag_s, l->noise.q_sd_l_s);
    }
    follow_peep(l, b->t0_ns);
    if (b->complete && b->has_t1 && (l->pulled_share > PULLED_SHARE || !tracker_fed(&l->tracker, b->t0_ns))) {
        struct steps_now now;
        steps_now(&l->steps, &now);
        bool credible = now.e_cmh2o_l > LEAST_E / l->scale.volume && now.r_cmh2o_s_l > LEAST_R / sqrt(l->scale.flow);
        tracker_steps(&l->tracker, credible ? now.e_cmh2o_l : (double)NAN, credible ? now.r_cmh2o_s_l : (double)NAN, now.spread, now.agree);
        tracker_doubt(&l->tracker, credible && l->pulled_share > PULLED_SHARE && now.agree && fabs(log(l->tracker.x.ri_cmh2o_s_l / now.r_cmh2o_s_l)) > DOUBTED);
        double tau = now.tau_s > TAU_MOST_S ? TAU_MOST_S : now.tau_s;
        if (isnan(tau) && l->pulled_share > PULLED_SHARE)
            tau = l->infant ? 0.5 * TAU_S : TAU_S;
        tracker_assume(&l->tracker, SWING / leak_volume_l(&l->leak), tau);
    }
    l->pulled_share += PULLED_GAIN * ((pulled || !b->machine ? 1 : 0) - l->pulled_share);
    l->watch = (struct effort_watch){.waits = true, .b = *b, .pulled = pulled};
    tracker_now(&l->tracker, b->t0_ns, row->v[COL_leak_pct], &l->watch.m);
    row_empty(row, COL_effort, l->watch.m.quality == MECHANICS_NONE ? WHY_no_mechanics : WHY_gap);
    tracker_breath(&l->tracker);
}

void lane_effort_cut(struct lane *l)
{
    if (l->watch.waits && l->watch.b.i0 >= l->ring->begin && l->ring->end > l->watch.b.i2)
        judge(l, &l->watch, NULL, false);
    lane_expiration_cut(l);
    l->watch.waits = false;
}
