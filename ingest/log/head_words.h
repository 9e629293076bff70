/* The words of a head line after its name: bare words and key=value items, decoded. */
#ifndef TIDEMARK_INGEST_LOG_HEAD_WORDS_H
#define TIDEMARK_INGEST_LOG_HEAD_WORDS_H

#include <stdbool.h>
#include <stddef.h>

struct head_words {
    const char *p, *end; /* what is left of the line */
};

struct head_word {
    const char *key; /* points into the line; NULL: a bare word, in value */
    size_t key_n;
    char value[128]; /* decoded, cut if longer */
};

bool head_next_word(struct head_words *ws, struct head_word *w);
bool head_is_key(const struct head_word *w, const char *key);

/* Copies, cut to cap - 1. */
void head_copy(char *dst, size_t cap, const char *src);

/* False, and *out as it was, where text is no decimal number. */
bool head_number(const char *text, double *out);

#endif
