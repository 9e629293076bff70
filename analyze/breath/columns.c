#include "analyze/breath/columns.h"

static const bool built[] = {
#define COLUMN(id, type, unit, decimals, is_built, ...) is_built != 0,
#include "analyze/tables/columns.def"
#undef COLUMN
};

bool column_built(enum col c)
{
    return built[c];
}

/* Times and pressures stand on their own; every other number is a flow, a volume, or made of them. */
bool column_needs_flow(enum col c)
{
    switch (c) {
    case COL_vti_ml:
    case COL_vte_ml:
    case COL_vt_ml_kg:
    case COL_leak_pct:
    case COL_ve_l_min:
    case COL_peak_insp_flow_l_s:
    case COL_peak_exp_flow_l_s:
    case COL_end_exp_flow_l_s:
    case COL_cdyn_ml_cmh2o:
    case COL_cstat_ml_cmh2o:
    case COL_fit_crs_ml_cmh2o:
    case COL_fit_r_cmh2o_s_l:
    case COL_fit_re_cmh2o_s_l:
    case COL_fit_p0_cmh2o:
    case COL_fit_r2:
    case COL_effort:
    case COL_total_peep_cmh2o:
    case COL_autopeep_cmh2o:
    case COL_autopeep_basis:
    case COL_autopeep_flow_cmh2o:
    case COL_autopeep_fit_cmh2o:
    case COL_pplat_cmh2o:
    case COL_pplat_basis:
    case COL_driving_cmh2o:
    case COL_driving_airway_cmh2o:
    case COL_cstat_basis:
    case COL_rc_exp_s:
    case COL_trapped_ml:
    case COL_stress_index:
    case COL_wob_j_l:
    case COL_power_j_min:
    case COL_p01_cmh2o: /* that no gas moved */
    case COL_p01_basis:
    case COL_rsbi_per_min_l:
    case COL_rsbi_support_cmh2o:
    case COL_trigger_delay_s:
    case COL_trigger_drop_cmh2o:
        return true;
    default:
        return false;
    }
}
