#include "ingest/log/head_words.h"

#include "ingest/decimal.h"
#include "ingest/log/line.h"

#include <string.h>

bool head_next_word(struct head_words *ws, struct head_word *w)
{
    while (ws->p < ws->end && *ws->p == ' ')
        ws->p++;
    if (ws->p == ws->end)
        return false;
    const char *from = ws->p;
    const char *to = memchr(from, ' ', (size_t)(ws->end - from));
    ws->p = to ? to : ws->end;
    const char *eq = memchr(from, '=', (size_t)(ws->p - from));
    w->key = eq ? from : NULL;
    w->key_n = eq ? (size_t)(eq - from) : 0;
    const char *v = eq ? eq + 1 : from;
    (void)line_decode(w->value, sizeof w->value, v, (size_t)(ws->p - v));
    return true;
}

bool head_is_key(const struct head_word *w, const char *key)
{
    return w->key && strlen(key) == w->key_n && memcmp(w->key, key, w->key_n) == 0;
}

void head_copy(char *dst, size_t cap, const char *src)
{
    size_t n = strlen(src);
    n = n < cap ? n : cap - 1;
    memcpy(dst, src, n);
    dst[n] = '\0';
}

bool head_number(const char *text, double *out)
{
    const char *end = text + strlen(text);
    double v;
    if (decimal_scan(text, end, &v) != end)
        return false;
    *out = v;
    return true;
}
