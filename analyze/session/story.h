/* What changed when: steps of what is seen of the settings (settings.def), and marks, each with the patient's ineffective efforts
 * before and after; and what asynchrony came to from one mark of a kind to the next.
 *
 * Before and after of a step are 30 minutes each, cut at the next step of any setting; steps within 2 minutes of each other are one moment
 * and don't cut. Of a mark 10 minutes each, never cut. A relation in time, not why. Common practice, no source. Fixed memory. */
#ifndef TIDEMARK_SESSION_STORY_H
#define TIDEMARK_SESSION_STORY_H

#include "analyze/session/burden.h"

#define STORY_STEP_MIN   30
#define STORY_MARK_MIN   10
#define STORY_STEPS_KEPT 50  /* the largest, by how often they hold what counts; all are counted */
#define STORY_BLOCKS     100 /* the first; all are counted */
#define STORY_LEAST      20  /* judged breaths, before a rate is given */

enum setting {
#define SETTING(id, ...) SETTING_##id,
#include "analyze/session/settings.def"
#undef SETTING
    SETTINGS
};
struct setting_info {
    const char *name, *title, *unit, *meaning;
    int decimals;
    double least, share;
};
const struct setting_info *setting_info(enum setting s);

/* Values of SETTING_kind, and their words; "" for any other value. */
const char *setting_kind_name(double v);

/* One side of a moment. */
struct story_side {
    int64_t from_ns, to_ns;
    uint64_t machine;                 /* machine breaths that start in [from, to) */
    uint64_t judged;                  /* of them: ineffective_effort could be judged */
    int64_t judged_ns;                /* their cycle times */
    uint64_t ineffective[2];          /* DEFINITE, WITH_POSSIBLE */
    uint64_t core_judged, core_events[2], core_ineffective[2]; /* of ai_core */
};
double story_per_h(const struct story_side *s, int which); /* NAN: under STORY_LEAST judged */

struct story_step {
    enum setting setting;
    int64_t at_ns;
    double from, to;
    struct story_side before, after;
};

struct story_block {
    char kind[32], text[64]; /* of the mark; text: its key=value pairs whose value is one lower-case word or a number */
    int64_t mark_ns, from_ns, to_ns; /* from: later than the mark if that came too late for its first breaths */
    struct burden_count count;
    struct story_side before, after; /* of the mark */
};

struct story;

int story_new(struct story **out) MUST_USE;
void story_mark(struct story *s, const struct mark *m); /* as it comes */
void story_row(struct story *s, const struct breath_row *r);
void story_flag(struct story *s, const struct flag *f); /* directly after its row */
void story_end(struct story *s);
void story_destroy(struct story *s); /* NULL is legal */

/* After story_end. Kept ones in order of time; *all: how many there were. */
int story_steps(const struct story *s, const struct story_step **out, uint64_t *all);
int story_blocks(const struct story *s, const struct story_block **out, uint64_t *all);

#endif
