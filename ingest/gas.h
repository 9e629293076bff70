/* Gas volume conditions, and the factor that takes a volume or flow to BTPS (body temperature 37 C, ambient
 * pressure, saturated).
 *
 *   V_b = V_a (T_b/T_a) (P_a - w_a)/(P_b - w_b)      T in K, P absolute, w water vapour pressure (0 if dry)
 *
 * with w at saturation = 6.1094 exp(17.625 t/(t + 243.04)) hPa, t in C (from memory: Alduchov, Eskridge, J Appl
 * Meteorol, 1996), which gives 62.7 hPa at 37 C, the customary 47 mmHg. */
#ifndef TIDEMARK_INGEST_GAS_H
#define TIDEMARK_INGEST_GAS_H

#include "ingest/notice.h"

/* Saturated water vapour pressure, hPa. */
double gas_water_hpa(double temp_c);

/* condition: BTPS, ATPS, ATPD or STPD (0 C, 1013.25 hPa, dry). temp_c: of ATPS and ATPD gas, 0 to 50;
 * baro_hpa 500 to 1100. TM_ERR_USAGE: another condition, or values out of range. */
int gas_factor_to_btps(const char *condition, double temp_c, double baro_hpa, double *factor,
                       struct err *e) MUST_USE;

#endif
