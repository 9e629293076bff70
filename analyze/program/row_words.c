/* One breath in words: each column with its title, unit and value, or why there is none. */
#include "analyze/program/night.h"
#include "analyze/tables/csv.h"
#include "analyze/tables/number.h"
#include "analyze/tables/wallclock.h"

#include <stdio.h>

void row_print(const struct csv_context *x, const struct breath_row *r)
{
    char text[CSV_TEXT_MAX], number[WALLCLOCK_MAX + 1];
    (void)printf("Breath %llu\n", (unsigned long long)r->number);
    for (int i = 0; i < COL_N; i++) {
        const enum col c = (enum col)i;
        const struct field *f = column_field(c);
        if (c == COL_breath || c == COL_unjudged || c == COL_why_empty || !f->built)
            continue;
        (void)printf("  %-48s ", f->title);
        const enum reason why = csv_why(x, r, c);
        if (why != WHY_NONE) {
            (void)printf("not available: %s (%s)\n", reason_meaning(why), reason_name(why));
            continue;
        }
        size_t n;
        if (c == COL_start_s)
            n = number_put_ns(number, r->t0_ns);
        else if (c == COL_start_time)
            n = wallclock_put(number, x->info, r->t0_ns);
        else if (f->type == TYPE_TEXT) {
            (void)printf("%s\n", csv_text(r, c, text));
            continue;
        } else
            n = number_put(number, r->v[i], f->decimals);
        number[n] = '\0';
        const char *unit = f->unit[0] == '1' && !f->unit[1] ? "" : f->unit;
        (void)printf("%s%s%s\n", n ? number : "not available", unit[0] ? " " : "", unit);
    }
}
