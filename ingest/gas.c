#include "ingest/gas.h"

#include <math.h>
#include <string.h>

#define ZERO_K   273.15
#define BODY_C   37.0
#define STP_HPA  1013.25

double gas_water_hpa(double temp_c)
{
    return 6.1094 * exp(17.625 * temp_c / (temp_c + 243.04));
}

int gas_factor_to_btps(const char *condition, double temp_c, double baro_hpa, double *factor, struct err *e)
{
    double t = temp_c, p = baro_hpa, w = 0;
    if (!(baro_hpa >= 500 && baro_hpa <= 1100) || !(temp_c >= 0 && temp_c <= 50))
        return err_set(e, TM_ERR_USAGE, NULL, 0, "0 to 50 C, 500 to 1100 hPa", "temperature or barometer out of range");
    if (strcmp(condition, "BTPS") == 0) {
        *factor = 1;
        return TM_OK;
    }
    if (strcmp(condition, "ATPS") == 0) {
        w = gas_water_hpa(t);
    } else if (strcmp(condition, "STPD") == 0) {
        t = 0;
        p = STP_HPA;
    } else if (strcmp(condition, "ATPD") != 0) {
        return err_set(e, TM_ERR_USAGE, NULL, 0, "BTPS, ATPS, ATPD or STPD", "`%.20s` is no gas condition", condition);
    }
    *factor = (p - w) / (baro_hpa - gas_water_hpa(BODY_C)) * (ZERO_K + BODY_C) / (ZERO_K + t);
    return TM_OK;
}
