#include "analyze/session/story.h"
#include "analyze/patterns/pattern.h"
#include "analyze/session/story_internal.h"
#include "analyze/session/usable.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STEP_NS     (STORY_STEP_MIN * MINUTE_NS)
#define TOGETHER_NS (2 * MINUTE_NS)
#define LATE_NS     (STEP_SPAN_S * NS_PER_S) /* a step is known so long after it at most */

/* No mean of two is a third: a median of kinds half and half is none. */
enum { KIND_VOLUME = 0, KIND_PRESSURE = 1, KIND_SUPPORT = 3, KIND_ALONE = 7 };

const struct setting_info *setting_info(enum setting s)
{
    static const struct setting_info infos[SETTINGS] = {
#define SETTING(id, title, unit, decimals, least, share, meaning) {#id, title, unit, meaning, decimals, least, share},
#include "analyze/session/settings.def"
#undef SETTING
    };
    return &infos[(int)s >= 0 && s < SETTINGS ? (int)s : 0];
}

const char *setting_kind_name(double v)
{
    static const struct {
        double v;
        const char *name;
    } names[] = {{KIND_VOLUME, "volume-controlled"}, {KIND_PRESSURE, "pressure-controlled"}, {KIND_SUPPORT, "supported"}, {KIND_ALONE, "unassisted"}};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (v == names[i].v)
            return names[i].name;
    return "";
}

double story_per_h(const struct story_side *s, int which)
{
    return s->judged >= STORY_LEAST && s->judged_ns > 0 ? (double)s->ineffective[which] * 3600e9 / (double)s->judged_ns : (double)NAN;
}

int story_new(struct story **out)
{
    *out = calloc(1, sizeof **out);
    return *out ? TM_OK : TM_ERR_MEMORY;
}

void story_destroy(struct story *s)
{
    free(s);
}

struct story_side story_sum(const struct story *s, int64_t from_ns, int64_t to_ns)
{
    struct story_side o = {.from_ns = from_ns, .to_ns = to_ns};
    const uint64_t oldest = s->n_breaths > STORY_BREATHS ? s->n_breaths - STORY_BREATHS : 0;
    const int64_t begins = oldest > 0 ? s->breath[oldest % STORY_BREATHS].t0_ns : s->first_ns;
    o.from_ns = from_ns > begins ? from_ns : begins;
    o.to_ns = to_ns < s->last_ns ? to_ns : s->last_ns;
    if (o.to_ns < o.from_ns)
        o.to_ns = o.from_ns;
    for (uint64_t i = s->n_breaths; i > oldest; i--) {
        const struct story_breath *b = &s->breath[(i - 1) % STORY_BREATHS];
        if (b->t0_ns < from_ns)
            break;
        if (b->t0_ns >= to_ns)
            continue;
        o.machine += b->machine;
        o.judged += b->judged;
        o.judged_ns += b->judged ? b->cycle_ns : 0;
        o.core_judged += b->core_judged;
        for (int w = 0; w < 2; w++) {
            o.ineffective[w] += b->ineffective[w];
            o.core_events[w] += b->core_events[w];
            o.core_ineffective[w] += b->core_ineffective[w];
        }
    }
    return o;
}

/* How many times what counts. */
static double size_of(const struct story_step *x)
{
    const struct setting_info *i = setting_info(x->setting);
    return x->setting == SETTING_kind ? (double)INFINITY : fabs(x->to - x->from) / fmax(i->least, i->share * fabs(x->from));
}

static void keep(struct story *s, const struct story_step *x)
{
    if (s->n_kept == STORY_STEPS_KEPT) {
        int least = 0;
        for (int i = 1; i < s->n_kept; i++)
            if (size_of(&s->kept[i]) < size_of(&s->kept[least]))
                least = i;
        if (size_of(x) <= size_of(&s->kept[least]))
            return;
        s->n_kept--;
        memmove(s->kept + least, s->kept + least + 1, (size_t)(s->n_kept - least) * sizeof s->kept[0]);
    }
    int at = s->n_kept++;
    for (; at > 0 && s->kept[at - 1].at_ns > x->at_ns; at--)
        s->kept[at] = s->kept[at - 1];
    s->kept[at] = *x;
}

/* The first pending step: its windows end at the nearest steps that are not of its moment. */
static void settle_first(struct story *s)
{
    struct story_step x = s->pending[0];
    int64_t from = x.at_ns - STEP_NS, to = x.at_ns + STEP_NS;
    for (int i = 0; i < s->n_times; i++) {
        const int64_t t = s->step_ns[i];
        if (t <= x.at_ns - TOGETHER_NS && t > from)
            from = t;
        if (t >= x.at_ns + TOGETHER_NS && t < to)
            to = t;
    }
    x.before = story_sum(s, from, x.at_ns);
    x.after = story_sum(s, x.at_ns, to);
    keep(s, &x);
    s->n_pending--;
    memmove(s->pending, s->pending + 1, (size_t)s->n_pending * sizeof s->pending[0]);
}

static void note_step(struct story *s, enum setting setting, const struct step *found)
{
    if (setting == SETTING_kind && (!setting_kind_name(found->from)[0] || !setting_kind_name(found->to)[0]))
        return;
    s->n_steps++;
    if (s->n_pending == STORY_PENDING)
        settle_first(s);
    int at = s->n_pending++;
    for (; at > 0 && s->pending[at - 1].at_ns > found->at_ns; at--)
        s->pending[at] = s->pending[at - 1];
    s->pending[at] = (struct story_step){.setting = setting, .at_ns = found->at_ns, .from = found->from, .to = found->to};
    if (s->n_times == STORY_TIMES)
        memmove(s->step_ns, s->step_ns + 1, (size_t)--s->n_times * sizeof s->step_ns[0]);
    s->step_ns[s->n_times++] = found->at_ns;
}

static double kind_of(const struct breath_row *r)
{
    const bool assured = r->kind == KIND_MANDATORY || r->kind == KIND_ASSISTED;
    if (r->kind == KIND_SUPPORTED)
        return KIND_SUPPORT;
    if (r->kind == KIND_UNASSISTED)
        return KIND_ALONE;
    return assured && r->control == CONTROL_VOLUME ? KIND_VOLUME : assured && r->control == CONTROL_PRESSURE ? KIND_PRESSURE : (double)NAN;
}

/* What a row shows of the settings; NAN where nothing. The clock's rate is seen when its next breath begins. */
static void look(const struct story *s, const struct breath_row *r, double v[SETTINGS])
{
    const bool next = s->before.number + 1 == r->number && s->before.number > 0;
    for (int i = 0; i < SETTINGS; i++)
        v[i] = (double)NAN;
    if (next && s->before.clock && r->kind == KIND_MANDATORY && s->before.complete && r->t0_ns > s->before.t0_ns)
        v[SETTING_rate] = 60e9 / (double)(r->t0_ns - s->before.t0_ns);
    if (!breath_usable(r))
        return;
    const double kind = kind_of(r), above = next ? r->v[COL_pip_cmh2o] - s->before.peep : (double)NAN;
    v[SETTING_kind] = kind;
    v[SETTING_peep] = r->v[COL_peep_cmh2o];
    v[SETTING_pressure] = kind == KIND_SUPPORT || kind == KIND_PRESSURE ? above : (double)NAN; /* one is taken for the other at times */
    v[SETTING_volume] = kind == KIND_VOLUME ? r->v[COL_vti_ml] : (double)NAN;
}

static void remember(struct story *s, const struct breath_row *r)
{
    struct burden_count *c = &s->scratch;
    burden_row(c, r);
    if (s->n_breaths == 0)
        s->first_ns = r->t0_ns;
    s->last_ns = r->t2_ns;
    s->breath[s->n_breaths++ % STORY_BREATHS] = (struct story_breath){
        .t0_ns = r->t0_ns,
        .cycle_ns = r->t2_ns - r->t0_ns,
        .machine = r->kind != KIND_UNASSISTED,
        .judged = c->last_sets >> (BURDEN_PATTERN + PATTERN_ineffective_effort) & 1u,
        .core_judged = c->last_sets >> BURDEN_core & 1u,
    };
}

/* Single breaths can be misnamed, and runs of them too: of kinds the finder sees what two of three breaths are, and so a kind has to last for
 * 60 breaths. False: three are not together yet, or all differ. *at_ns: the first of the two. */
static bool kind_of_three(struct story_kinds *k, double kind, int64_t t0_ns, double *v, int64_t *at_ns)
{
    k->kind[k->n] = kind;
    k->t0_ns[k->n++] = t0_ns;
    if (k->n < 3)
        return false;
    k->n = 0;
    const int first = k->kind[0] == k->kind[1] || k->kind[0] == k->kind[2] ? 0 : 1;
    *v = k->kind[first];
    *at_ns = k->t0_ns[first];
    return first == 0 || k->kind[1] == k->kind[2];
}

static void find_step(struct story *s, enum setting setting, double v, int64_t at_ns)
{
    const struct setting_info *info = setting_info(setting);
    struct step found;
    if (!isfinite(v) || (setting == SETTING_kind && !kind_of_three(&s->kinds, v, at_ns, &v, &at_ns)))
        return;
    if (step_add(&s->finder[setting], v, at_ns, info->least, info->share, &found))
        note_step(s, setting, &found);
}

void story_row(struct story *s, const struct breath_row *r)
{
    double v[SETTINGS];
    while (s->n_pending > 0 && s->pending[0].at_ns + STEP_NS + LATE_NS <= r->t0_ns)
        settle_first(s);
    story_marks_row(s, r);
    remember(s, r);
    look(s, r, v);
    for (int i = 0; i < SETTINGS; i++)
        find_step(s, (enum setting)i, v[i], i == SETTING_rate ? s->before.t0_ns : r->t0_ns);
    s->before.number = r->number;
    s->before.clock = r->kind == KIND_MANDATORY;
    s->before.complete = breath_usable(r);
    s->before.t0_ns = r->t0_ns;
    s->before.peep = r->v[COL_peep_cmh2o];
}

void story_flag(struct story *s, const struct flag *f)
{
    if (s->n_breaths == 0)
        return;
    struct story_breath *b = &s->breath[(s->n_breaths - 1) % STORY_BREATHS];
    const bool ineffective = f->pattern == PATTERN_ineffective_effort, core = burden_names(BURDEN_core) >> f->pattern & 1u;
    for (int w = f->what.confidence == CONF_DEFINITE ? DEFINITE : WITH_POSSIBLE; w <= WITH_POSSIBLE; w++) {
        b->ineffective[w] = (uint8_t)(b->ineffective[w] + (b->judged && ineffective));
        b->core_events[w] = (uint8_t)(b->core_events[w] + (b->core_judged && core));
        b->core_ineffective[w] = (uint8_t)(b->core_ineffective[w] + (b->core_judged && ineffective));
    }
    story_marks_flag(s, f);
}

void story_end(struct story *s)
{
    while (s->n_pending > 0)
        settle_first(s);
    story_marks_end(s);
}

int story_steps(const struct story *s, const struct story_step **out, uint64_t *all)
{
    *out = s->kept;
    *all = s->n_steps;
    return s->n_kept;
}

int story_blocks(const struct story *s, const struct story_block **out, uint64_t *all)
{
    *out = s->block;
    *all = s->all_blocks;
    return s->n_blocks;
}
