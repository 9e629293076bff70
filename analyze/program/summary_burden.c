#include "analyze/program/summary_burden.h"
#include "analyze/tables/story_words.h"
#include "analyze/tables/table.h"
#include "analyze/tables/wording.h"

#include <math.h>

static json_t *count(uint64_t n)
{
    return json_integer((json_int_t)n);
}

static json_t *rounded(double v, double unit)
{
    return isfinite(v) ? json_real(round(v * unit) / unit) : json_null();
}

static json_t *number(double v)
{
    return rounded(v, 100);
}

static json_t *seconds(int64_t ns)
{
    return json_real((double)(ns / 1000000) / 1000.0);
}

static json_t *both(const uint64_t v[2])
{
    return json_pack("{s:o,s:o}", "definite", count(v[DEFINITE]), "with_possible", count(v[WITH_POSSIBLE]));
}

static json_t *both_numbers(double definite, double with_possible)
{
    return json_pack("{s:o,s:o}", "definite", number(definite), "with_possible", number(with_possible));
}

static json_t *why(bool given)
{
    return given ? json_null() : json_string(reason_name(WHY_few_breaths));
}

static json_t *index_of(const struct burden_count *c, int set)
{
    const struct burden_index *i = &c->set[set];
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "pct",
                     both_numbers(burden_index_pct(c, set, DEFINITE), burden_index_pct(c, set, WITH_POSSIBLE)), "events", both(i->events),
                     "ineffective_efforts", both(i->ineffective), "per_h",
                     both_numbers(burden_events_per_h(c, set, DEFINITE), burden_events_per_h(c, set, WITH_POSSIBLE)), "judged",
                     count(i->judged), "of", count(c->machine), "why_empty", why(burden_covered(c, set)));
}

static json_t *named_index(const struct burden_count *c, int set)
{
    json_t *o = index_of(c, set), *names = json_array();
    for (int p = 0; p < PATTERN_N; p++)
        if (burden_names(set) >> p & 1u)
            (void)json_array_append_new(names, json_string(pattern_name((enum pattern_id)p)));
    (void)json_object_set_new(o, "title", json_string(burden_title(set)));
    (void)json_object_set_new(o, "meaning", json_string(burden_meaning(set)));
    (void)json_object_set_new(o, "sums", names);
    return o;
}

static json_t *limits(const struct interval *i)
{
    json_t *o = json_object();
    for (int w = DEFINITE; w <= WITH_POSSIBLE; w++) {
        double low, high;
        (void)json_object_set_new(o, w == DEFINITE ? "definite" : "with_possible",
                                  interval_pct(i, w, &low, &high) ? json_pack("[o,o]", number(low), number(high)) : json_null());
    }
    return o;
}

static json_t *by_pattern(const struct burden_count *c)
{
    json_t *o = json_object();
    for (int p = 0; p < PATTERN_N; p++)
        if (pattern_info((enum pattern_id)p)->built)
            (void)json_object_set_new(o, pattern_name((enum pattern_id)p), index_of(c, BURDEN_PATTERN + p));
    return o;
}

static json_t *clusters(const struct clusters *c)
{
    json_t *kept = json_array();
    for (uint64_t i = 0; i < c->n && i < CLUSTERS_KEPT; i++)
        (void)json_array_append_new(kept, json_pack("{s:o,s:o,s:o,s:o}", "start_s", seconds(c->kept[i].start_ns), "end_s",
                                                    seconds(c->kept[i].end_ns), "efforts", count(c->kept[i].n), "peak_per_min",
                                                    number((double)c->kept[i].peak * 60 / CLUSTER_WINDOW_S)));
    return json_pack("{s:o,s:o,s:o}", "n", count(c->n), "total_s", seconds(clusters_total_ns(c)), "first", kept);
}

static json_t *stacked(const struct burden_count *c)
{
    return json_pack("{s:o,s:o,s:o,s:o}", "breaths", both(c->stacked), "without_volume", both(c->stacked_unread), "ml",
                     both_numbers((double)c->stacked_ul[DEFINITE] / 1000, (double)c->stacked_ul[WITH_POSSIBLE] / 1000), "ml_per_h",
                     both_numbers(burden_stacked_ml_h(c, DEFINITE), burden_stacked_ml_h(c, WITH_POSSIBLE)));
}

static json_t *time_of(const struct burden_count *c)
{
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "pct", number(burden_time_pct(c)), "trigger_delays_s", seconds(c->delay_ns),
                     "cycling_errors_s", seconds(c->cycling_ns), "unanswered_efforts_s", seconds(c->unanswered_ns), "of_s",
                     seconds(c->timed_ns), "why_empty", why(isfinite(burden_time_pct(c))));
}

static json_t *side(const struct story_side *s)
{
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "from_s", seconds(s->from_ns), "to_s", seconds(s->to_ns), "ineffective_efforts",
                     both(s->ineffective), "per_h", both_numbers(story_per_h(s, DEFINITE), story_per_h(s, WITH_POSSIBLE)), "judged",
                     count(s->judged), "of", count(s->machine));
}

static json_t *steps(const struct story *s)
{
    const struct story_step *v;
    uint64_t all;
    const int n = story_steps(s, &v, &all);
    json_t *a = json_array();
    for (int i = 0; i < n; i++) {
        char words[STORY_WORDS_MAX];
        const struct setting_info *x = setting_info(v[i].setting);
        const bool kind = v[i].setting == SETTING_kind;
        story_step_words(words, &v[i]);
        (void)json_array_append_new(
            a, json_pack("{s:o,s:s,s:o,s:o,s:s,s:o,s:o,s:s}", "at_s", seconds(v[i].at_ns), "what", x->name, "from",
                         kind ? json_string(setting_kind_name(v[i].from)) : number(v[i].from), "to",
                         kind ? json_string(setting_kind_name(v[i].to)) : number(v[i].to), "unit", x->unit, "before", side(&v[i].before),
                         "after", side(&v[i].after), "sentence", words));
    }
    return json_pack("{s:s,s:o,s:o}", "note", wording_story_note(), "n", count(all), "kept", a);
}

static json_t *marks(const struct story *s)
{
    const struct story_block *v;
    uint64_t all;
    const int n = story_blocks(s, &v, &all);
    json_t *a = json_array();
    for (int i = 0; i < n; i++) {
        char words[STORY_WORDS_MAX];
        story_mark_words(words, &v[i]);
        (void)json_array_append_new(
            a, json_pack("{s:s,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:s}", "kind", v[i].kind, "text", v[i].text, "mark_s",
                         seconds(v[i].mark_ns), "from_s", seconds(v[i].from_ns), "to_s", seconds(v[i].to_ns), "core",
                         index_of(&v[i].count, BURDEN_core), "patient", index_of(&v[i].count, BURDEN_patient), "ineffective",
                         index_of(&v[i].count, BURDEN_PATTERN + PATTERN_ineffective_effort), "asynchrony_time", time_of(&v[i].count),
                         "before", side(&v[i].before), "after", side(&v[i].after), "sentence", words));
    }
    return json_pack("{s:o,s:o}", "n", count(all), "first", a);
}

json_t *summary_burden(const struct tally *t)
{
    const struct burden_count *c = &t->burden;
    const double iti[2] = {burden_ineffective_index_pct(c, DEFINITE), burden_ineffective_index_pct(c, WITH_POSSIBLE)};
    json_t *core = named_index(c, BURDEN_core);
    (void)json_object_set_new(core, "interval_95_pct", limits(&t->interval));
    return json_pack(
        "{s:o,s:o,s:o,s:{s:i,s:s},s:o,s:{s:o,s:o,s:o},s:{s:i,s:i,s:o,s:o},s:o,s:o,s:o,s:o}", "core", core, "patient", named_index(c, BURDEN_patient), "all", named_index(c, BURDEN_all),
        "line", "pct", BURDEN_LINE_PCT, "meaning", wording_index_line(), "by_pattern", by_pattern(c), "ineffective_triggering", "pct",
        both_numbers(iti[0], iti[1]), "triggered", count(c->triggered), "why_empty", why(isfinite(iti[1])), "clusters", "window_s",
        CLUSTER_WINDOW_S, "over_efforts", CLUSTER_OVER, "definite", clusters(&t->clusters[DEFINITE]), "with_possible",
        clusters(&t->clusters[WITH_POSSIBLE]), "stacked", stacked(c), "asynchrony_time", time_of(c), "changes", steps(t->story), "marks",
        marks(t->story));
}
