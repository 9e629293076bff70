#include "tests/accuracy/report.h"

#include <math.h>

#include "tests/accuracy/parts.h"

static void first_mismatches(FILE *o, const struct records *r, const struct patient *p)
{
    int told = 0;
    for (size_t i = 0; i < r->n && told < 6; i++) {
        const struct record *rec = &r->v[i];
        if (rec->patient != p->index) {
            continue;
        }
        const char *what = rec->outcome == MISS ? "missed" : rec->outcome == EXTRA ? "extra"
                           : fabs(rec->f[F_VTI_PCT]) > 10 ? "VTi off by over 10 %"
                           : fabs(rec->f[F_C_PCT]) > 20   ? "compliance off by over 20 %"
                           : rec->w[W_KIND] == 0          ? "another kind"
                                                     : NULL;
        if (what) {
            fprintf(o, "    %.2f s: %s (%s %s%s%s)\n", rec->t_s, what, rec->kind, rec->control,
                    rec->w[W_KIND] == 0 ? ", found " : "", rec->w[W_KIND] == 0 ? rec->found_kind : "");
            told++;
        }
    }
}

int report_patients(FILE *o, const struct records *r, const struct patient *patients, size_t n)
{
    int rc = 0;
    fputs("series number stratum size lung ward rate | breaths missed extra | machine onset p95 ms | VTi VTe % | "
          "PIP PEEP mean | kind initiation control % | C % wrong all given/eligible\n", o);
    for (size_t i = 0; i < n; i++) {
        const struct patient *p = &patients[i];
        struct sum s;
        rc |= sum_part(&s, r, patients, part_patient, &p->index);
        fprintf(o, "%s %zu %s %s %s; %s; %s; %d troubles | %zu %zu %zu | %.1f | %+.2f %+.2f | %+.2f %+.2f %+.3f | %.1f %.1f %.1f "
                "| %+.1f %zu %zu %zu/%zu\n",
                series_name(p->series), p->number, stratum_word(p->stratum), p->size, p->lung, p->ward, p->rate, p->troubles,
                s.hit + s.miss, s.miss, s.extra, 1000 * numbers_quantile(&s.onset_machine, 0.95),
                numbers_mean(&s.f[F_VTI_PCT]), numbers_mean(&s.f[F_VTE_PCT]), numbers_mean(&s.f[F_PIP]),
                numbers_mean(&s.f[F_PEEP]), numbers_mean(&s.f[F_PMEAN]), 100 * numbers_mean(&s.w[W_KIND]),
                100 * numbers_mean(&s.w[W_INITIATION]), 100 * numbers_mean(&s.w[W_CONTROL]), numbers_mean(&s.f[F_C_PCT]),
                s.c_wrong, s.c_all, s.c_given, s.eligible);
        first_mismatches(o, r, p);
        sum_free(&s);
    }
    return rc;
}
