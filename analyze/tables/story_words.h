/* Steps and marks of the story as plain sentences: the words stand in wording.c, the numbers are rounded to what can be read aloud. */
#ifndef TIDEMARK_TABLES_STORY_WORDS_H
#define TIDEMARK_TABLES_STORY_WORDS_H

#include "analyze/session/story.h"

#define STORY_WORDS_MAX 480

/* NUL-terminated, without a full stop. */
void story_step_words(char out[STORY_WORDS_MAX], const struct story_step *x);
void story_mark_words(char out[STORY_WORDS_MAX], const struct story_block *b);

#endif
