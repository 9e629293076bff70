/* Breaths and minutes beyond thresholds (targets.def), and what auto-PEEP went along with. Bounded memory.
 *
 * A breath is judged for a threshold if it is among those that count for it and its column has a value; of the others the
 * reason is counted. Minutes are the sum of the cycle times of judged breaths. */
#ifndef TIDEMARK_SESSION_TARGETS_H
#define TIDEMARK_SESSION_TARGETS_H

#include "analyze/breath/row.h"

enum target_id {
#define TARGET(id, ...) TARGET_##id,
#include "analyze/session/targets.def"
#undef TARGET
    TARGET_N
};

struct target_info {
    const char *name;
    enum col column;
    bool under;        /* beyond is under the threshold, else over it */
    double threshold;  /* in the column's unit */
    bool usable_only;  /* among usable breaths; else among all complete ones */
    const char *title, *meaning, *source;
};

const struct target_info *target_info(enum target_id t);
bool target_level(enum target_id t); /* a level of auto-PEEP */
bool target_built(enum target_id t); /* its column is computed by this version */

struct target_count {
    uint64_t judged, beyond;       /* breaths */
    int64_t judged_ns, beyond_ns;  /* their cycle times */
};

enum target_verdict { TARGET_UNJUDGED, TARGET_WITHIN, TARGET_BEYOND };

/* why: the reason if unjudged, else WHY_NONE. */
enum target_verdict target_judge(enum target_id t, const struct breath_row *r, enum reason *why);

void target_add(struct target_count *c, enum target_verdict v, const struct breath_row *r);

#define TARGET_BASES 4 /* enum pplat_basis and enum autopeep_basis; 0 where the column has no basis */

/* The word of a basis; "" for 0 and where the target's column has none. */
const char *target_basis_name(enum target_id t, int basis);

enum { COMPANION_RATE, COMPANION_VTE, COMPANION_TE, COMPANIONS };
enum col companion_column(int companion);

#define COMPANION_LEAST 30 /* breaths on each side of a level before their medians are given: common practice, no source */

/* The whole recording. */
struct targets {
    struct target_count count[TARGET_N][TARGET_BASES];
    uint64_t why[TARGET_N][WHY_N];                     /* breaths not judged */
    struct median *companion[TARGET_N][2][COMPANIONS]; /* of levels: usable breaths not over and over it; else NULL */
};

int targets_init(struct targets *t) MUST_USE;
void targets_breath(struct targets *t, const struct breath_row *r);
struct target_count targets_sum(const struct targets *t, enum target_id id); /* over the bases */
void targets_release(struct targets *t); /* legal after a failed targets_init */

#endif
