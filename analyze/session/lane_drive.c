#include "analyze/session/lane_drive.h"

#define TURNED_NS   (NS_PER_S / 10)     /* the valve's own transient at the start of expiration */
#define LOOK_NS     (3 * NS_PER_S / 10) /* where no departure was seen */
#define LEAST_SD    2.0

/* The row that ends where this one starts; NULL: none. */
static const struct pending_row *before(struct lane *l, const struct breath_row *row)
{
    if (l->pending.tail < l->pending.first + 2)
        return NULL;
    const struct pending_row *r = pending_at(&l->pending, l->pending.tail - 2);
    return !r->dropped && r->row.complete && r->row.t2_ns == row->t0_ns ? r : NULL;
}

static void read_trigger(struct lane *l, const struct seg_breath *b, const struct pending_row *last, struct drive_facts *d)
{
    const struct ring *r = l->ring;
    uint64_t first = ring_first(r);
    uint64_t floor = ring_find(r, first, b->i0 + 1, last->row.t1_ns + TURNED_NS);
    struct trigger_phase_in in = {.ring = r, .floor = floor, .i0 = b->i0, .start_ns = d->departure_ns,
                                  .p_sd_cmh2o = l->noise.p_sd_cmh2o, .flow_scale = l->scale.flow,
                                  .q_base_l_s = base_flow_at(&l->seg.base, last->row.v[COL_peep_cmh2o]),
                                  .circuit_c_l_cmh2o = l->shut_x.circuit_c_l_cmh2o};
    if (isnan(in.q_base_l_s))
        in.q_base_l_s = 0;
    if (d->departure_ns >= 0)
        drive_trigger(&in, &d->p01);
    int64_t from_ns = d->departure_ns >= 0 ? d->departure_ns : b->t0_ns - LOOK_NS;
    uint64_t from = ring_find(r, floor, b->i0 + 1, from_ns);
    double drop = last->row.v[COL_peep_cmh2o] - drive_lowest_cmh2o(r, from, b->i0);
    if (drop > LEAST_SD * l->noise.p_sd_cmh2o) /* NAN: PEEP is not known */
        d->drop_cmh2o = drop;
}

void lane_drive(struct lane *l, const struct seg_breath *b, struct pending_row *p)
{
    struct drive_facts *d = &p->drive;
    const struct pending_row *last = before(l, &p->row);
    const double none = (double)NAN;
    *d = (struct drive_facts){.departure_ns = -1, .start_ns = d->start_ns, .effort_cmh2o = d->effort_cmh2o,
                              .drop_cmh2o = none, .support_cmh2o = none, .p01 = {.p01_cmh2o = none, .why = WHY_no_hold}};
    if (!last || !b->machine)
        return;
    d->follows = true;
    if (last->more.departure)
        d->departure_ns = last->more.departure_ns;
    double foot = isnan(b->peep_before) ? b->p_foot : b->peep_before;
    if (p->more.p_rise_cmh2o > 0)
        d->support_cmh2o = p->more.p_rise_cmh2o + foot - last->row.v[COL_peep_cmh2o];
    read_trigger(l, b, last, d);
}
