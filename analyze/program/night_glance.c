/* The night at a glance: a dozen lines to read aloud. Every share has its denominator beside it. */
#include "analyze/program/night.h"
#include "analyze/tables/median.h"
#include "analyze/tables/number.h"
#include "analyze/tables/wallclock.h"
#include "analyze/tables/wording.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* "7 h 58 min", "3 min 10 s", "12.4 s". */
static void put_duration(int64_t ns)
{
    const long long s = (long long)((ns + NS_PER_S / 2) / NS_PER_S);
    if (ns < 60 * NS_PER_S)
        (void)printf("%.1f s", (double)ns / 1e9);
    else if (s < 3600)
        (void)printf("%lld min %lld s", s / 60, s % 60);
    else
        (void)printf("%lld h %lld min", s / 3600, s / 60 % 60);
}

/* "1:02:03" since the start. */
static void put_when(int64_t ns)
{
    const long long s = (long long)(ns / NS_PER_S);
    (void)printf("%lld:%02lld:%02lld", s / 3600, s / 60 % 60, s % 60);
}

static void put_number(double v, int decimals)
{
    char b[NUMBER_MAX + 1];
    b[number_put(b, v, decimals)] = '\0';
    (void)fputs(b, stdout);
}

static double middle(const struct night *n, enum col c)
{
    return n->tally.median[c] ? median_of(n->tally.median[c], 0.5) : (double)NAN;
}

/* Median and the middle 90 %: "451 mL (412 to 500)"; false if no breath has a value. */
static bool put_spread(const struct night *n, enum col c, int decimals, const char *unit)
{
    const struct median *m = n->tally.median[c];
    if (!m || median_n(m) == 0) {
        (void)fputs("not available", stdout);
        return false;
    }
    if (decimals == 0 && median_of(m, 0.5) < 10) /* an infant's compliance of 1.5 is not 2 */
        decimals = 1;
    put_number(median_of(m, 0.5), decimals);
    (void)printf(" %s (", unit);
    put_number(median_of(m, 0.05), decimals);
    (void)fputs(" to ", stdout);
    put_number(median_of(m, 0.95), decimals);
    (void)fputc(')', stdout);
    return true;
}

static void put_share(uint64_t part, uint64_t whole)
{
    (void)printf("%llu of %llu", (unsigned long long)part, (unsigned long long)whole);
    if (whole > 0) {
        (void)fputs(" (", stdout);
        put_number(100.0 * (double)part / (double)whole, 1);
        (void)fputs(" %)", stdout);
    }
}

static void time_line(const struct night *n)
{
    const struct engine_totals *t = &n->totals;
    (void)fputs("  Recorded     ", stdout);
    put_duration(t->last_ns >= 0 ? t->last_ns : 0);
    char start[WALLCLOCK_MAX + 1];
    start[wallclock_put(start, n->info, 0)] = '\0';
    if (start[0])
        (void)printf(" from %s", start);
    (void)fputs("; observed ", stdout);
    put_duration(t->observed_ns);
    if (t->holes_long + t->holes_short > 0) {
        const uint64_t holes = t->holes_long + t->holes_short;
        (void)printf("; %llu gap%s, ", (unsigned long long)holes, holes == 1 ? "" : "s");
        put_duration(t->hole_ns);
        (void)fputs(holes == 1 ? "" : " in all", stdout);
    }
    (void)fputc('\n', stdout);
}

/* All that follows is of the window alone. */
static void window_line(const struct night *n)
{
    if (!n->o->from && !n->o->to)
        return;
    (void)printf("  Looked at    from %s to %s\n", n->o->from ? n->o->from : "the start", n->o->to ? n->o->to : "the end");
}

static void count_lines(const struct night *n)
{
    static const enum breath_kind order[] = {KIND_MANDATORY,  KIND_ASSISTED, KIND_SUPPORTED,
                                             KIND_UNASSISTED, KIND_MANUAL,   KIND_UNKNOWN};
    const struct tally *t = &n->tally;
    (void)printf("  Breaths      %llu", (unsigned long long)t->breaths);
    for (size_t k = 0, shown = 0; k < sizeof order / sizeof order[0]; k++)
        if (t->kind[order[k]] > 0)
            (void)printf("%s%s %llu", shown++ ? ", " : ": ", kind_name(order[k]), (unsigned long long)t->kind[order[k]]);
    (void)fputs("\n  Usable       ", stdout);
    put_share(t->usable, t->breaths);
    size_t shown = 0;
    for (int q = 1; q < WHY_N; q++)
        if (t->quality[q] > 0)
            (void)printf("%s%s %llu", shown++ ? ", " : "; marked ", reason_name((enum reason)q),
                         (unsigned long long)t->quality[q]);
    (void)fputc('\n', stdout);
}

static void volume_lines(const struct night *n)
{
    (void)fputs("  Rate         ", stdout);
    (void)put_spread(n, COL_rate_per_min, 1, "/min");
    (void)fputs("\n  Expired      ", stdout);
    if (put_spread(n, COL_vte_ml, 0, "mL") && isfinite(n->pbw.kg)) {
        (void)fputs("; ", stdout);
        (void)put_spread(n, COL_vt_ml_kg, 1, "mL/kg");
        (void)fputs(" of ", stdout);
        put_number(n->pbw.kg, 1);
        (void)fputs(" kg predicted", stdout);
    }
    (void)fputs("\n  Ventilation  ", stdout);
    (void)put_spread(n, COL_ve_l_min, 1, "L/min");
    (void)fputs("; leak ", stdout);
    (void)put_spread(n, COL_leak_pct, 0, "%");
    (void)fputs("\n  Pressure     peak ", stdout);
    (void)put_spread(n, COL_pip_cmh2o, 1, "cmH2O");
    (void)fputs(", mean ", stdout);
    (void)put_spread(n, COL_pmean_cmh2o, 1, "cmH2O");
    (void)fputs(", end-expiratory ", stdout);
    (void)put_spread(n, COL_peep_cmh2o, 1, "cmH2O");
    (void)fputc('\n', stdout);
}

static void mechanics_line(const struct night *n)
{
    const struct median *m = n->tally.median[COL_fit_crs_ml_cmh2o];
    const uint64_t of = n->tally.usable, have = m ? median_n(m) : 0;
    (void)fputs("  Mechanics    ", stdout);
    if (have == 0) {
        (void)printf("not available: a believable fit in 0 of %llu\n", (unsigned long long)of);
        return;
    }
    (void)fputs("compliance ", stdout);
    (void)put_spread(n, COL_fit_crs_ml_cmh2o, 0, "mL/cmH2O");
    (void)fputs(", resistance ", stdout);
    put_number(middle(n, COL_fit_r_cmh2o_s_l), 0);
    (void)fputs(" in, ", stdout);
    put_number(middle(n, COL_fit_re_cmh2o_s_l), 0);
    (void)fputs(" out cmH2O s/L; a believable fit in ", stdout);
    put_share(have, of);
    (void)fputc('\n', stdout);
}

static void event_lines(const struct night *n)
{
    uint64_t all = 0;
    for (int e = 0; e < EVENT_N; e++) {
        const struct tally_events *x = &n->tally.event[e];
        if (x->n == 0)
            continue;
        (void)printf("  %-12s %s: %llu, at ", all == 0 ? "Events" : "", event_info((enum event_id)e)->title,
                     (unsigned long long)x->n);
        for (uint64_t i = 0; i < x->n && i < TALLY_EVENT_TIMES; i++) {
            if (i)
                (void)fputs(", ", stdout);
            put_when(x->start_ns[i]);
        }
        (void)printf("%s\n", x->n > TALLY_EVENT_TIMES ? " ..." : "");
        all += x->n;
    }
    if (all == 0)
        (void)printf("  Events       none seen in what was %s\n", n->o->from || n->o->to ? "looked at" : "observed");
}

/* Titles of the patterns of one kind, joined; nothing is printed if there are none. */
static void pattern_titles(const struct tally *t, bool judged, const char *head)
{
    bool first = true;
    for (int p = 0; p < PATTERN_N; p++) {
        if (!pattern_info((enum pattern_id)p)->built || t->definite[p] + t->possible[p] > 0 || (t->judged[p] > 0) != judged)
            continue;
        (void)printf("%s%s", first ? head : ", ", pattern_info((enum pattern_id)p)->title);
        first = false;
    }
    if (!first)
        (void)fputs("\n", stdout);
}

/* Those that were seen, a line each; then the others by name. */
static void pattern_lines(const struct night *n)
{
    const struct tally *t = &n->tally;
    bool first = true;
    for (int p = 0; p < PATTERN_N; p++) {
        if (t->definite[p] + t->possible[p] == 0)
            continue;
        (void)printf("  %-12s %s: %llu definite, %llu possible of %llu judged\n", first ? "Patterns" : "",
                     pattern_info((enum pattern_id)p)->title, (unsigned long long)t->definite[p],
                     (unsigned long long)t->possible[p], (unsigned long long)t->judged[p]);
        first = false;
    }
    pattern_titles(t, true, "  Not seen     ");
    pattern_titles(t, false, "  Not judged   ");
}

/* Of the thresholds one a column: a dozen lines is what can be read aloud. */
static void target_lines(const struct night *n)
{
    static const enum target_id shown[] = {TARGET_vt_over_8, TARGET_pplat_over_30, TARGET_driving_airway_over_15, TARGET_power_over_17,
                                           TARGET_autopeep_over_5};
    for (size_t i = 0; i < sizeof shown / sizeof shown[0]; i++) {
        const struct target_count c = targets_sum(&n->tally.targets, shown[i]);
        if (!target_built(shown[i]))
            continue;
        (void)printf("  %-12s %s: ", i == 0 ? "Thresholds" : "", target_info(shown[i])->title);
        if (c.judged == 0) {
            (void)fputs("could be judged in no breath\n", stdout);
            continue;
        }
        put_duration(c.beyond_ns);
        (void)fputs(" in ", stdout);
        put_share(c.beyond, c.judged);
        (void)fputs(" judged\n", stdout);
    }
}

static void put_pct(double v)
{
    put_number(v, 1);
    (void)fputs(" %", stdout);
}

/* The core index, or where auto-trigger could not be judged the one without it. */
static void burden_lines(const struct night *n)
{
    const struct burden_count *c = &n->tally.burden;
    const int set = burden_covered(c, BURDEN_core) ? BURDEN_core : BURDEN_patient;
    const struct story_step *x;
    uint64_t steps;
    if (c->machine == 0)
        return;
    (void)fputs("  Asynchrony   index ", stdout);
    if (burden_covered(c, set)) {
        put_pct(burden_index_pct(c, set, WITH_POSSIBLE)); /* ineffective efforts are possible at most: definite ones alone are no index */
        (void)fputs(" with possible ones", stdout);
    } else {
        (void)fputs("not available", stdout);
    }
    (void)printf(": %s; judged ", set == BURDEN_core ? "ineffective efforts, double and auto-triggers" : "ineffective efforts and double triggers");
    put_share(c->set[set].judged, c->machine);
    (void)printf("\n               %s\n", wording_index_short());
    (void)story_steps(n->tally.story, &x, &steps);
    if (steps > 0)
        (void)printf("  Changes      of settings seen: %llu, with ineffective efforts before and after in summary.json\n", (unsigned long long)steps);
}

void glance_print(const struct night *n)
{
    const char *slash = strrchr(n->o->path, '/');
    (void)printf("At a glance: %s (medians; in brackets the middle 90 %% of the usable breaths)\n",
                 strcmp(n->o->path, "-") == 0 ? "standard input" : slash ? slash + 1 : n->o->path);
    time_line(n);
    window_line(n);
    count_lines(n);
    volume_lines(n);
    mechanics_line(n);
    event_lines(n);
    pattern_lines(n);
    burden_lines(n);
    target_lines(n);
    (void)printf("  %s\n", wording_short());
}
