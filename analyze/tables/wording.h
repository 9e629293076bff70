/* What the tool says about itself: one table, used by help, man pages, docs, logs, tables and pages.
 *
 * All strings are static ASCII. Wording is changed here or nowhere; wording_version counts the changes and
 * stands in every summary. */
#ifndef TIDEMARK_TABLES_WORDING_H
#define TIDEMARK_TABLES_WORDING_H

#include <stddef.h>

int wording_version(void);

const char *wording_short(void); /* one line, at most 79 characters */

/* Line i of the medium form (3 lines) and of the long form (12 lines); NULL beyond the last. */
const char *wording_medium(size_t i);
const char *wording_long(size_t i);

/* `intended_use` and `identifiability` of the summaries. */
const char *wording_intended_use(void);
const char *wording_identifiability(void);

/* Limits of inference. NULL beyond the last. */
struct wording_limit {
    const char *statement; /* "Effort is inferred, not measured." */
    const char *why;
    const char *where;     /* columns and patterns it belongs to */
};
const struct wording_limit *wording_limit(size_t i);

/* Sentences of what changed when. {words} are filled in (analyze/tables/story_words.h); neither advice nor a reason why. */
enum wording_story { WORDING_STEP, WORDING_KIND, WORDING_MARK, WORDING_BOTH, WORDING_ONE, WORDING_NONE, WORDING_STORIES };
const char *wording_story(enum wording_story i);
const char *wording_story_note(void);
const char *wording_index_short(void); /* the same for a line to read aloud */
const char *wording_index_line(void); /* what the published 10 % line is */

/* Lines for the recorder. */
const char *wording_electrical(void);
const char *wording_privacy(void);
const char *wording_export(void); /* said where absolute times are written */

#endif
