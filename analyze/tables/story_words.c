#include "analyze/tables/story_words.h"
#include "analyze/tables/number.h"
#include "analyze/tables/wording.h"

#include <math.h>
#include <string.h>

struct word {
    const char *name, *value;
};

/* The sentence with each {name} replaced; what does not fit is cut. */
static void fill(char *out, size_t cap, const char *sentence, const struct word *words, size_t n_words)
{
    size_t n = 0;
    for (const char *p = sentence; *p && n + 1 < cap;) {
        const char *end = *p == '{' ? strchr(p, '}') : NULL;
        if (!end) {
            out[n++] = *p++;
            continue;
        }
        for (size_t i = 0; i < n_words; i++) {
            const size_t len = (size_t)(end - p) - 1;
            if (strlen(words[i].name) != len || strncmp(words[i].name, p + 1, len) != 0)
                continue;
            for (const char *v = words[i].value; *v && n + 1 < cap; v++)
                out[n++] = *v;
        }
        p = end + 1;
    }
    out[n] = '\0';
}

#define WORD_MAX 48

static void put_number(char out[WORD_MAX], double v, int decimals)
{
    out[number_put(out, v, decimals)] = '\0';
}

static size_t put_two(char *out, int64_t v) /* two digits */
{
    out[0] = (char)('0' + v / 10 % 10);
    out[1] = (char)('0' + v % 10);
    return 2;
}

/* "2:10:05" since the start. */
static void put_when(char out[WORD_MAX], int64_t ns)
{
    const int64_t s = ns > 0 ? ns / NS_PER_S : 0;
    size_t n = number_put_scaled(out, s / 3600, 0);
    out[n++] = ':';
    n += put_two(out + n, s / 60 % 60);
    out[n++] = ':';
    n += put_two(out + n, s % 60);
    out[n] = '\0';
}

/* "30 min", "40 s". */
static void put_span(char out[WORD_MAX], const struct story_side *s)
{
    const int64_t ns = s->to_ns - s->from_ns;
    const bool short_ = ns < 120 * NS_PER_S;
    const size_t n = number_put(out, (double)ns / (short_ ? 1e9 : 60e9), 0);
    strcpy(out + n, short_ ? " s" : " min");
}

static void put_rate(char out[WORD_MAX], double per_h)
{
    put_number(out, per_h, per_h < 9.95 && per_h > 0 ? 1 : 0);
}

static void around(char out[STORY_WORDS_MAX], const struct story_side *before, const struct story_side *after)
{
    const double b = story_per_h(before, WITH_POSSIBLE), a = story_per_h(after, WITH_POSSIBLE);
    const bool only_before = isfinite(b) && !isfinite(a);
    char rate[2][WORD_MAX], span[2][WORD_MAX], n[2][WORD_MAX];
    put_rate(rate[0], b);
    put_rate(rate[1], a);
    put_span(span[0], before);
    put_span(span[1], after);
    put_number(n[0], (double)before->judged, 0);
    put_number(n[1], (double)after->judged, 0);
    const int one = only_before ? 0 : 1;
    static const char *const side[] = {"before", "after"};
    const struct word words[] = {
        {"before", rate[0]},     {"after", rate[1]},          {"before_min", span[0]},       {"after_min", span[1]},
        {"before_n", n[0]},      {"after_n", n[1]},           {"rate", rate[one]},           {"rate_min", span[one]},
        {"rate_side", side[one]}, {"rate_n", n[one]},         {"other_min", span[1 - one]},  {"other_side", side[1 - one]},
        {"other_n", n[1 - one]},
    };
    const enum wording_story which = isfinite(a) && isfinite(b) ? WORDING_BOTH : isfinite(a) || isfinite(b) ? WORDING_ONE : WORDING_NONE;
    fill(out, STORY_WORDS_MAX, wording_story(which), words, sizeof words / sizeof words[0]);
}

void story_step_words(char out[STORY_WORDS_MAX], const struct story_step *x)
{
    const struct setting_info *i = setting_info(x->setting);
    const bool kind = x->setting == SETTING_kind;
    char when[WORD_MAX], from[WORD_MAX], to[WORD_MAX], unit[WORD_MAX] = "", rest[STORY_WORDS_MAX];
    put_when(when, x->at_ns);
    put_number(from, x->from, i->decimals);
    put_number(to, x->to, i->decimals);
    if (i->unit[0]) {
        unit[0] = ' ';
        strcpy(unit + 1, i->unit);
    }
    around(rest, &x->before, &x->after);
    const struct word words[] = {
        {"when", when}, {"what", i->title}, {"from", kind ? setting_kind_name(x->from) : from}, {"to", kind ? setting_kind_name(x->to) : to},
        {"unit", unit}, {"around", rest},
    };
    fill(out, STORY_WORDS_MAX, wording_story(kind ? WORDING_KIND : WORDING_STEP), words, sizeof words / sizeof words[0]);
}

void story_mark_words(char out[STORY_WORDS_MAX], const struct story_block *b)
{
    char when[WORD_MAX], what[sizeof b->kind + sizeof b->text + 4], rest[STORY_WORDS_MAX];
    put_when(when, b->mark_ns);
    strcpy(what, b->kind);
    if (b->text[0]) {
        strcat(what, " (");
        strcat(what, b->text);
        strcat(what, ")");
    }
    around(rest, &b->before, &b->after);
    const struct word words[] = {{"when", when}, {"what", what}, {"around", rest}};
    fill(out, STORY_WORDS_MAX, wording_story(WORDING_MARK), words, sizeof words / sizeof words[0]);
}
