/* What asynchrony comes to, and what is seen of settings: on the terminal, as JSON and in docs/metrics.md. */
#include "analyze/program/describe.h"
#include "analyze/session/clusters.h"
#include "analyze/session/interval.h"
#include "analyze/session/steps.h"
#include "analyze/session/story.h"

#include <string.h>

static const char *const index_names[BURDEN_PATTERN] = {
#define INDEX(id, ...) "ai_" #id,
#include "analyze/session/burden.def"
#undef INDEX
};

#define SOURCE "Thille, Intensive Care Med 2006, doi 10.1007/s00134-006-0301-8"

static int describe_index(int set, json_t *found)
{
    json_t *names = json_array();
    if (!found)
        (void)printf("%s (index): %s\n  100 * events / (machine breaths + ineffective efforts), events:", index_names[set], burden_title(set));
    for (int p = 0; p < PATTERN_N; p++) {
        if (!(burden_names(set) >> p & 1u))
            continue;
        if (!found)
            (void)printf(" %s", pattern_name((enum pattern_id)p));
        (void)json_array_append_new(names, json_string(pattern_name((enum pattern_id)p)));
    }
    if (found)
        (void)json_array_append_new(found, json_pack("{s:s,s:s,s:s,s:O,s:s,s:i,s:s}", "is", "index", "title", burden_title(set), "meaning",
                                                     burden_meaning(set), "sums", names, "line", wording_index_line(), "line_pct",
                                                     BURDEN_LINE_PCT, "source", SOURCE));
    else
        (void)printf("\n  %s\n  Of the machine breaths in which every one could be judged; no value under half of them.\n  %s\n  Source: " SOURCE "\n",
                     burden_meaning(set), wording_index_line());
    json_decref(names);
    return 1;
}

static int describe_setting(enum setting s, json_t *found)
{
    const struct setting_info *i = setting_info(s);
    if (found)
        (void)json_array_append_new(found, json_pack("{s:s,s:s,s:s,s:s,s:f,s:f,s:s}", "is", "setting as seen", "title", i->title, "unit", i->unit,
                                                     "meaning", i->meaning, "counts_from", i->least, "counts_from_share", i->share, "source",
                                                     "common practice, no source"));
    else
        (void)printf("%s (setting as seen, in summary.json's burden.changes): %s%s%s\n  %s\n  Source: common practice, no source\n", i->name,
                     i->title, i->unit[0] ? ", " : "", i->unit, i->meaning);
    return 1;
}

int describe_burden(const char *name, json_t *found)
{
    int n = 0;
    for (int set = 0; set < BURDEN_PATTERN; set++)
        n += strcmp(index_names[set], name) == 0 ? describe_index(set, found) : 0;
    for (int s = 0; s < SETTINGS; s++)
        n += strcmp(setting_info((enum setting)s)->name, name) == 0 ? describe_setting((enum setting)s, found) : 0;
    return n;
}

void list_burden(void)
{
    (void)puts("Asynchrony indices:");
    for (int set = 0; set < BURDEN_PATTERN; set++)
        (void)printf("  %-34s %s\n", index_names[set], burden_title(set));
    (void)puts("Settings as seen, whose steps summary.json tells:");
    for (int s = 0; s < SETTINGS; s++)
        (void)printf("  %-34s %s\n", setting_info((enum setting)s)->name, setting_info((enum setting)s)->title);
}

void docs_burden(FILE *out)
{
    (void)fprintf(out,
                  "\n## Asynchrony\n\nsummary.json (`burden`) and hours.csv: index = 100 * events / (machine breaths + ineffective efforts) (" SOURCE
                  "), of definite flags alone and with possible ones, over the machine breaths in which every summed pattern could be judged; "
                  "none under half of them. Unassisted breaths are no machine breaths. %s\n\n",
                  wording_index_line());
    for (int set = 0; set < BURDEN_PATTERN; set++)
        (void)fprintf(out, "- `%s`: %s\n", index_names[set], burden_meaning(set));
    (void)fprintf(out,
                  "- Interval of `ai_core`: blocks of %d s drawn again %d times, their middle 95 %%; none under %d blocks. Bursts that outlast a "
                  "block leave it too narrow.\n"
                  "- Ineffective triggering index: 100 * ineffective efforts / (breaths that the patient started + ineffective efforts), from "
                  "%d such breaths on (de Wit, Crit Care Med 2009, doi 10.1097/CCM.0b013e3181a98a05).\n"
                  "- Clusters: %d s that hold over %d ineffective efforts; windows that touch are one (Vaporidi, Intensive Care Med 2017, doi "
                  "10.1007/s00134-016-4593-z).\n"
                  "- Asynchrony time: a lower bound, since errors under a pattern's threshold have no flag (Mojoli, Crit Care 2022, doi "
                  "10.1186/s13054-022-03895-4, sums all).\n\n### What changed when\n\n%s\n\n",
                  INTERVAL_BLOCK_S, INTERVAL_DRAWS, INTERVAL_LEAST, BURDEN_TRIGGERED_LEAST, CLUSTER_WINDOW_S, CLUSTER_OVER, wording_story_note());
    (void)fprintf(out,
                  "A step is a change of the median of %d values that stays for %d: %d of them on its side, and both levels steady (median "
                  "deviation up to %.0f %% of the step). Before and after are %d min each, cut at the next step; around a mark %d min. A rate "
                  "needs %d judged breaths. Of a mark's text only pairs whose value is one lower-case word or a number are told: "
                  "free text may hold names. All common practice, no source.\n\n"
                  "| setting | what is seen | counts from |\n|---|---|---|\n",
                  STEP_VALUES, STEP_VALUES, STEP_AGREE, STEP_SCATTER * 100, STORY_STEP_MIN, STORY_MARK_MIN, STORY_LEAST);
    for (int s = 0; s < SETTINGS; s++) {
        const struct setting_info *i = setting_info((enum setting)s);
        (void)fprintf(out, "| `%s` | %s | ", i->name, i->meaning);
        if (s == SETTING_kind)
            (void)fputs("any other |\n", out);
        else if (i->share > 0 && i->least > 0)
            (void)fprintf(out, "%g %s and %g %% of the level before |\n", i->least, i->unit, i->share * 100);
        else if (i->share > 0)
            (void)fprintf(out, "%g %% of the level before |\n", i->share * 100);
        else
            (void)fprintf(out, "%g %s |\n", i->least, i->unit);
    }
}
