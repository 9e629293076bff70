/* A lung of two parts behind a quadratic tube, with stress relaxation, through two breaths of square flow: prints the
 * constants, then t, airway pressure, both volumes and the relaxation's pressure every 10 ms, for two_parts.py. */
#include <stdio.h>

#include "fixtures/judge/plant.h"

int main(void)
{
    struct judge_case c;
    case_plain(&c);
    c.lung = (struct lung_set){.parts = 2, .e = {30.0, 45.0}, .r_i = 5.0, .r_e = 7.0, .k2 = 4.0, .branch_r = {4.0, 25.0},
                               .relax_e = 5.0, .relax_tau = 0.9};
    struct plant p;
    plant_rest(&p, &c.lung, 5.0);
    const struct lung_set *l = &c.lung;
    const struct vent_make *m = &c.make;
    printf("%.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g\n", l->e[0], l->e[1], l->r_i, l->r_e,
           l->k2, l->branch_r[0], l->branch_r[1], l->relax_e, l->relax_tau, m->valve_tau, m->exp_r, m->exp_k, m->exp_tau, m->circuit_c);
    for (int k = 0; k < 6000; k++) {
        bool in = k % 3000 < 1000;
        struct plant_in order = {.q_cmd = in ? 0.5 : 0.0, .valve_set = in ? 60.0 : 5.0, .r_times = 1.0};
        plant_ms(&p, l, m, &order);
        if (k % 10 == 9)
            printf("%.3f %.9g %.9g %.9g %.9g\n", (k + 1) * 0.001, p.paw, p.v[0], p.v[1], p.p_relax);
    }
    return 0;
}
