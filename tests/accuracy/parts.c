#include "tests/accuracy/parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *stratum(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    (void)buf;
    return stratum_word(p->stratum);
}

static const char *size(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    (void)buf;
    return p->size;
}

static const char *lung(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    (void)buf;
    return p->lung;
}

static const char *ward(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    (void)buf;
    return p->ward;
}

static const char *rate(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    (void)buf;
    return p->rate;
}

static const char *leak(const struct record *rec, const struct patient *p, char *buf)
{
    (void)p;
    (void)buf;
    double x = rec->leak_pct;
    return isnan(x) ? "" : x < 2 ? "under 2 %" : x < 8 ? "2 to 8 %" : x < 15 ? "8 to 15 %" : x < 30 ? "15 to 30 %" : "over 30 %";
}

static const char *control(const struct record *rec, const struct patient *p, char *buf)
{
    (void)p;
    (void)buf;
    return rec->control;
}

static const char *troubles(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    snprintf(buf, 64, "%s", p->troubles > 2 ? "three or more" : p->troubles == 2 ? "two" : p->troubles ? "one" : "none");
    return buf;
}

static const char *sensor(const struct record *rec, const struct patient *p, char *buf)
{
    (void)rec;
    (void)buf;
    return p->exact_sensor ? "gain and zero exact" : "gain or zero off";
}

static const char *trigger(const struct record *rec, const struct patient *p, char *buf)
{
    (void)p;
    (void)buf;
    return rec->false_trigger ? "fired by no effort" : "all others";
}

static const struct dimension dimensions[] = {
    {"stratum", stratum}, {"size", size},         {"lung", lung},         {"ward", ward},       {"rate", rate},
    {"leak", leak},       {"control", control},   {"troubles", troubles}, {"sensor", sensor},   {"trigger", trigger},
};

size_t dimensions_count(void)
{
    return sizeof dimensions / sizeof *dimensions;
}

const struct dimension *dimensions_get(size_t i)
{
    return &dimensions[i];
}

size_t dimension_words(const struct dimension *d, const struct records *r, const struct patient *patients,
                       char words[PART_VALUES_MAX][64])
{
    size_t n = 0;
    char buf[64];
    for (size_t i = 0; i < r->n && n < PART_VALUES_MAX; i++) {
        const char *w = d->word(&r->v[i], &patients[r->v[i].patient], buf);
        size_t k = 0;
        while (k < n && strcmp(words[k], w) != 0) {
            k++;
        }
        if (k == n && *w) {
            snprintf(words[n++], 64, "%s", w);
        }
    }
    return n;
}

bool part_is(const struct record *rec, const struct patient *p, const void *part_of)
{
    const struct part_of *of = part_of;
    char buf[64];
    return strcmp(of->dimension->word(rec, p, buf), of->word) == 0;
}

bool part_patient(const struct record *rec, const struct patient *p, const void *index)
{
    (void)p;
    return rec->patient == *(const size_t *)index;
}

bool part_all(const struct record *rec, const struct patient *p, const void *unused)
{
    (void)rec;
    (void)p;
    (void)unused;
    return true;
}
