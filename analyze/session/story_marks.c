/* Marks: blocks from one of a kind to the next, and what lay around each. */
#include "analyze/session/story_internal.h"

#include <string.h>

#define AROUND_NS (STORY_MARK_MIN * MINUTE_NS)

void story_mark(struct story *s, const struct mark *m)
{
    if (s->n_marks == STORY_MARKS) { /* so many within two minutes: the first is let go without a block */
        s->all_blocks++;
        memmove(s->mark, s->mark + 1, (size_t)--s->n_marks * sizeof s->mark[0]);
    }
    int at = s->n_marks++;
    for (; at > 0 && s->mark[at - 1].at_ns > m->at_ns; at--)
        s->mark[at] = s->mark[at - 1];
    s->mark[at] = *m;
}

/* One lower-case word or number: no name of a person looks like it. */
static bool plain(const char *v, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!strchr("abcdefghijklmnopqrstuvwxyz0123456789_.+-", v[i]))
            return false;
    return n > 0 && n <= 24;
}

/* Pairs of a mark's text that are no free text: whatever stands under `text` may be a name, one word or more. */
static void copy_pairs(char out[64], const char *text)
{
    size_t n = 0;
    for (const char *p = text; *p;) {
        const size_t len = strcspn(p, " ");
        const char *eq = memchr(p, '=', len);
        const bool keep = eq && strncmp(p, "text=", 5) != 0 && plain(p, (size_t)(eq - p)) && plain(eq + 1, len - (size_t)(eq - p) - 1);
        if (keep && n + len + 2 < 64) {
            if (n)
                out[n++] = ' ';
            memcpy(out + n, p, len);
            n += len;
        }
        p += len + (p[len] == ' ');
    }
    out[n] = '\0';
}

/* A marks file may be in any encoding: JSON wants one that is known. */
static void copy_kind(char out[32], const char *kind)
{
    size_t n = 0;
    for (; kind[n] && n < 31; n++)
        out[n] = kind[n] > ' ' && kind[n] < 0x7f ? kind[n] : '?';
    out[n] = '\0';
}

static void close_kind(struct story *s, const char *kind, int64_t at_ns)
{
    for (int i = 0; i < s->n_open; i++) {
        if (strcmp(s->block[s->open[i]].kind, kind) != 0)
            continue;
        s->block[s->open[i]].to_ns = at_ns;
        s->n_open--;
        memmove(s->open + i, s->open + i + 1, (size_t)(s->n_open - i) * sizeof s->open[0]);
        return;
    }
}

static void open_block(struct story *s, const struct mark *m)
{
    const bool late = s->n_breaths > 0 && m->at_ns <= s->before.t0_ns;
    const int64_t from = late ? s->last_ns : m->at_ns;
    char kind[32];
    copy_kind(kind, m->kind);
    close_kind(s, kind, from);
    s->all_blocks++;
    if (s->n_blocks == STORY_BLOCKS || s->n_open == STORY_KINDS)
        return;
    struct story_block *b = &s->block[s->n_blocks];
    memset(b, 0, sizeof *b);
    memcpy(b->kind, kind, sizeof b->kind);
    copy_pairs(b->text, m->text);
    b->mark_ns = m->at_ns;
    b->from_ns = from;
    b->to_ns = INT64_MAX;
    s->open[s->n_open++] = s->n_blocks++;
}

static void settle(struct story *s, int64_t now_ns)
{
    for (; s->unsettled < s->n_blocks && s->block[s->unsettled].mark_ns + AROUND_NS <= now_ns; s->unsettled++) {
        struct story_block *b = &s->block[s->unsettled];
        b->before = story_sum(s, b->mark_ns - AROUND_NS, b->mark_ns);
        b->after = story_sum(s, b->mark_ns, b->mark_ns + AROUND_NS);
    }
}

void story_marks_row(struct story *s, const struct breath_row *r)
{
    int n = 0;
    for (; n < s->n_marks && s->mark[n].at_ns <= r->t0_ns; n++)
        open_block(s, &s->mark[n]);
    s->n_marks -= n;
    memmove(s->mark, s->mark + n, (size_t)s->n_marks * sizeof s->mark[0]);
    settle(s, r->t0_ns);
    for (int i = 0; i < s->n_open; i++)
        burden_row(&s->block[s->open[i]].count, r);
}

void story_marks_flag(struct story *s, const struct flag *f)
{
    for (int i = 0; i < s->n_open; i++)
        burden_flag(&s->block[s->open[i]].count, f);
}

void story_marks_end(struct story *s)
{
    for (int i = 0; i < s->n_marks; i++)
        open_block(s, &s->mark[i]);
    s->n_marks = 0;
    settle(s, INT64_MAX);
    for (int i = 0; i < s->n_open; i++)
        s->block[s->open[i]].to_ns = s->last_ns > s->block[s->open[i]].from_ns ? s->last_ns : s->block[s->open[i]].from_ns;
    s->n_open = 0;
}
